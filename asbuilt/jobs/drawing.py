"""The record drawing of one property as on a day, with the check before backfill on it."""

from datetime import date

from asbuilt.findings import Finding, Severity
from asbuilt.jobs.backfill_check import check_before_backfill
from asbuilt.jobs.locate import Located
from asbuilt.output.drawing.scale import parse_scale
from asbuilt.output.drawing.views import Drawing, make_drawing
from asbuilt.output.drawing.words import Subject
from asbuilt.record.profiles import profile_of


def record_drawing(located: Located, today: date, *, paper: str = "us-letter", scale: str | None = None) -> Drawing:
    """Draw one solved property.

    Parameters
    ----------
    paper
        us-letter, tabloid, a4 or a3.
    scale
        A standard scale, such as 1 in = 20 ft or 1:200; None = the largest that fits.

    Raises
    ------
    ScaleError
        If it is no standard scale, or house and system do not fit the paper at it.
    ProfileError
        If the rule profile of the property cannot be read.
    """
    chosen = None if scale is None else parse_scale(scale)
    subject = Subject(
        located.record,
        located.solution,
        located.placement,
        located.findings,
        today,
        profile_of(located.record),
        check_before_backfill(located, today),
    )
    return make_drawing(subject, paper, chosen)


def unnamed_on_drawing(drawing: Drawing) -> tuple[Finding, ...]:
    """Say what the first sheet shows without a name or number, for want of room."""
    act = "A larger --paper has room for it; the tables hold it all the same."
    return tuple(
        Finding("drawing-crowded", name, f"{name}: the plan has no room for its name or number.", Severity.NOTE, act)
        for name in drawing.sheets[0].unnamed
    )
