"""The alarm sheet: one page in large type for the people in the house, to hang beside the panel."""

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

from asbuilt.model.place import Property
from asbuilt.output.sheets.pdf import render_pdf, shortened
from asbuilt.service.pump_tank import PumpReport, Reserve

LONG_HOURS = 72
"""Hours from which days are said: nobody counts 100 hours."""


def alarm_sheet_pdf(place: Property, reports: Sequence[PumpReport], today: date, paper: str) -> bytes:
    """Set one page a pump tank.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    panel = place.panel
    return render_pdf(
        "alarm_sheet",
        {
            "title": f"Alarm sheet: {place.name}",
            "name": shortened(place.name, 45),
            "address": shortened(place.address, 60),
            "as_of": today.isoformat(),
            "draft": place.draft,
            "panel": {
                "place": shortened(panel.place, 75),
                "breaker": shortened(panel.breaker, 75),
                "alarm_breaker": shortened(panel.alarm_breaker, 60),
                "silence": shortened(panel.silence, 75),
                "call": shortened(panel.call, 45),
                "phone": shortened(panel.phone, 24),
                "notes": shortened(panel.notes, 90),
            },
            "pages": [_page(report, several=len(reports) > 1) for report in reports],
        },
        paper,
    )


def _page(report: PumpReport, *, several: bool) -> dict[str, Any]:
    return {
        "tank": shortened(report.tank.name, 30) if several else "",
        "left": None if report.reserve is None else left_words(report.reserve.hours),
        "why": "" if report.reserve is None else shortened(_why(report.reserve), 150),
        "rough": "" if report.reserve is None else _sentence(report.reserve.rough),
    }


def left_words(hours: float) -> str:
    """Say how long is left, rounded down.

    Examples
    --------
    >>> left_words(32.6), left_words(0.7), left_words(100.0)
    ('about 32 hours', 'less than 1 hour', 'about 4 days')
    """
    if hours < 1:
        return "less than 1 hour"
    if hours >= LONG_HOURS:
        return f"about {math.floor(hours / 24)} days"
    whole = math.floor(hours)
    return f"about {whole} hour{'' if whole == 1 else 's'}"


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}." if words else ""


def _why(reserve: Reserve) -> str:
    room, use = math.floor(reserve.gallons), math.ceil(reserve.gal_per_day)
    use_words = "" if reserve.present else f" ({reserve.words})"
    return f"{room:,} gal fit in above the alarm, and about {use:,} gal a day run in{use_words}."
