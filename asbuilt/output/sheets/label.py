"""Labels for the inside of a panel door and of a riser: QR code, two tapes in words, the property's name."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from asbuilt.output.sheets.pdf import render_pdf, shortened
from asbuilt.output.sheets.qr import qr_svg


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on the labels of one lid."""

    property: str
    point: str
    code: str  #: what the QR code holds
    tapes: tuple[str, ...]  #: a line each
    side: str
    facts: tuple[str, ...]  #: circle, depth
    call: str
    draft: bool = False


def label_sheet_pdf(labels: Sequence[Label], paper: str) -> bytes:
    """Set one page a lid, each with labels of three sizes and lines to cut along.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    title = labels[0].property if labels else ""
    return render_pdf("label_sheet", {"title": f"Labels: {title}", "labels": [_label(each) for each in labels]}, paper)


def _label(label: Label) -> dict[str, Any]:
    return {
        "property": shortened(label.property, 40),
        "point": shortened(label.point, 40),
        "qr": list(qr_svg(label.code).encode("utf-8")),
        "is_place": label.code.startswith("geo:"),
        "tapes": [shortened(each, 48) for each in label.tapes],
        "side": shortened(label.side, 110),
        "facts": [shortened(each, 80) for each in label.facts],
        "call": shortened(label.call, 60),
        "draft": label.draft,
    }
