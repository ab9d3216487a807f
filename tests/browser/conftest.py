"""One Chromium for all browser tests, cut off from the network; where it is missing the tests fail, not skip."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))  # the invented property lives in test_webmap.py

CHROMIUM = "/usr/bin/chromium"

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

SIZES = {390: (390, 844), 1280: (1280, 800)}
"""A phone held upright and a small laptop, CSS pixels."""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    assert Path(CHROMIUM).exists(), f"browser tests need {CHROMIUM}: apt-get install chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


class Watched:
    """A page with all that it asked for and complained about."""

    def __init__(self, context: BrowserContext, document: Path) -> None:
        self.page: Page = context.new_page()
        self.page.set_default_timeout(8000)
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        self.address = document.as_uri()
        self.page.goto(self.address)

    def ran_clean(self) -> None:
        """Check that nothing was said, nothing asked for but the file, and no planted code was run."""
        assert self.complaints == []
        assert [url for url in self.requests if not url.startswith("data:")] == [self.address]
        assert self.page.evaluate("typeof window.pwned") == "undefined"


Opener = Callable[[str, int], Watched]


@pytest.fixture
def opened(chromium: Browser, tmp_path: Path) -> Iterator[Opener]:
    """Open a document from a file, without a network, at a width."""
    contexts: list[BrowserContext] = []

    def open_at(document: str, width: int) -> Watched:
        path = tmp_path / f"map-{len(contexts)}.html"
        path.write_text(document, encoding="utf-8")
        wide, high = SIZES[width]
        phone = width < 800
        contexts.append(
            chromium.new_context(
                viewport={"width": wide, "height": high},
                offline=True,
                has_touch=phone,
                is_mobile=phone,
                reduced_motion="reduce",
            )
        )
        return Watched(contexts[-1], path)

    yield open_at
    for context in contexts:
        context.close()
