"""Every page that is made of a property with hostile words in all its texts, opened in Chromium: nothing runs.

No network; dialogs, the console, errors and requests are watched. Everything that can be pressed is pressed.
"""

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from conftest import Opener

from tests.hostile import WORDS
from tests.injection import NAMED, OUTPUTS, Made, make
from tests.poisoned import Poison, accepted_names

PAGES = {"map.html": "map", "public.html": "public map", "due.html": "due files", "report.html": "report"}
"""Pages and the outputs that write them; the route's and that of what is planned come beside them."""

ROUTE, PLANNED = "route", "clear-of"

PRESS = """() => {
    window.print = () => {};
    const all = document.querySelectorAll("button, summary, [role=button], .leaflet-interactive, label, input");
    for (const each of all) {
        if (/where|locat|gps/i.test(each.getAttribute("aria-label") || each.textContent)) continue;
        each.dispatchEvent(new MouseEvent("mouseover", { bubbles: true }));
        each.dispatchEvent(new FocusEvent("focus"));
        each.dispatchEvent(new MouseEvent("click", { bubbles: true }));
    }
    return all.length;
}"""

FROM_WORDS = "iframe, object, embed, base, link:not([rel=icon]), a[href^=javascript], img[src=x], b[onmouseover], evil"
"""What no page of ours holds and the hostile words would make."""


@cache
def made(turn: int) -> Made:
    folder = Path(mkdtemp(prefix="asbuilt-pages-"))
    (folder / "named").mkdir()
    named = make(folder / "named", Poison(turn, WORDS, accepted_names()), {PLANNED: NAMED[PLANNED]})
    assert named.results[PLANNED].exit_code != 2, named.results[PLANNED].stderr
    wanted = {key: OUTPUTS[key] for key in (*PAGES.values(), ROUTE)}
    return make(folder, Poison(turn, WORDS, WORDS), wanted)


def pages(turn: int) -> dict[str, str]:
    folder = made(turn).folder
    found = {name: (folder / name).read_text(encoding="utf-8") for name in PAGES}
    found["clear.html"] = (folder / "named" / "clear.html").read_text(encoding="utf-8")
    found |= {path.name: path.read_text(encoding="utf-8") for path in (folder / "route").glob("*.html")}
    return found


@pytest.mark.parametrize(
    "turn",
    [0, *(pytest.param(turn, marks=pytest.mark.exhaustive) for turn in range(1, len(WORDS)))],
)
def test_nothing_of_the_record_runs_or_asks_for_anything(opened: Opener, turn: int) -> None:
    found = pages(turn)
    assert len(found) == len(PAGES) + 2
    for number, (name, document) in enumerate(found.items()):
        watched = opened(document, 390 if number % 2 else 1280)
        scripts = watched.page.locator("script").count()
        pressed = watched.page.evaluate(PRESS)
        assert pressed or name == "report.html", name
        watched.page.wait_for_timeout(200)
        assert watched.page.locator("script").count() == scripts, name
        made_of_words = watched.page.locator(FROM_WORDS)
        assert [each.evaluate("it => it.outerHTML") for each in made_of_words.all()] == [], name
        watched.ran_clean()
