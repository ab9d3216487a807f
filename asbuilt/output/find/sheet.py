"""The find sheet on paper: one page a lid, or all lids of a property on one sheet; large type, a sketch."""

import re
from typing import Any

from asbuilt.output.find.lid import FindSet, Lid
from asbuilt.output.find.sketch import all_sketch, lid_sketch
from asbuilt.output.find.words import FindWords
from asbuilt.output.sheets.pdf import render_pdf, shortened

_FRACTION = re.compile(r"(?<=\d['\d]) (?=\d)|(?<=\d) (?=\d+/\d)")  # a length is not broken over two lines
_HEADINGS = ("stop_head", "how_head", "near_head", "wall_head", "missing_head", "danger_head", "all", "draft", "rules")


def find_sheet_pdf(found: FindSet, lang: str, paper: str, *, one_page_each: bool) -> bytes:
    """Set the sheet.

    Parameters
    ----------
    lang
        A language of the catalogues.
    one_page_each
        A page a lid with everything that is said of it; else all lids in a list round one sketch.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    words = FindWords(found, lang)
    pages = [_page(found, lid, words) for lid in found.lids] if one_page_each else []
    return render_pdf(
        "find_sheet",
        {
            "title": words.say("find", name=found.property),
            "lang": lang,
            "property": shortened(found.property, 60),
            "as_on": shortened(words.say("as_on", property=found.property, day=found.today.isoformat()), 80),
            "draft": found.draft,
            "headings": {key: words.heading(key) for key in _HEADINGS},
            "stop": words.heading("stop"),
            "danger": [words.heading(key) for key in ("danger_probe", "danger_lid", "danger_gas")],
            "level": words.heading("level"),
            "pages": pages,
            "lids": [] if one_page_each else [_item(lid, words) for lid in found.lids],
            "sketch": None if one_page_each else all_sketch(found),
        },
        paper,
    )


def _item(lid: Lid, words: FindWords) -> dict[str, Any]:
    head, *rest = words.summary(lid)
    return {
        "name": shortened(lid.name, 60),
        "head": _glued(shortened(head, 150)),
        "rest": [_glued(shortened(e, 260)) for e in rest],
    }


def _page(found: FindSet, lid: Lid, words: FindWords) -> dict[str, Any]:
    page = words.page(lid)
    data: dict[str, Any] = {
        key: [_glued(shortened(line, 240)) for line in getattr(page, key)]
        for key in ("steps", "hints", "facts", "near", "wall", "missing")
    }
    return data | {
        "title": shortened(page.title, 60),
        "subtitle": shortened(page.subtitle, 90),
        "found": lid.crossing is not None,
        # those of the two tapes and the check; those of the wall are in the sketch
        "corners": [shortened(line, 100) for line in page.corners[:3]],
        "sketch": lid_sketch(found, lid, words),
        "photo": None if lid.photo is None else list(lid.photo),
    }


def _glued(line: str) -> str:
    return _FRACTION.sub("\N{NO-BREAK SPACE}", line)
