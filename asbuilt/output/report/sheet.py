"""A report as PDF, set from the same blocks as the page of HTML."""

from typing import Any

from asbuilt.output.report.blocks import Report, Section
from asbuilt.output.report.charts import chart_svg
from asbuilt.output.sheets.pdf import render_pdf


def report_pdf(report: Report, paper: str) -> bytes:
    """Set a report on paper; long tables go on over the pages under their heading.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    images: dict[str, bytes] = {}
    data = {
        "title": report.title,
        "name": report.name,
        "lines": report.lines,
        "draft": report.draft,
        "cautions": report.cautions,
        "sections": [_section(section, images) for section in report.sections],
    }
    return render_pdf("report", data, paper, images=images)


def _section(section: Section, images: dict[str, bytes]) -> dict[str, Any]:
    charts, pictures = [], []
    for chart in section.charts:
        charts.append(name := f"chart-{len(images)}.svg")
        images[name] = chart_svg(chart).encode()
    for picture in section.pictures:
        pictures.append({"file": (name := f"photo-{len(images)}.jpg"), "caption": picture.caption})
        images[name] = picture.content
    return {
        "heading": section.heading,
        "paragraphs": section.paragraphs,
        "items": section.items,
        "tables": [
            {
                "caption": table.caption,
                "head": table.head,
                "cells": [cell for row in table.rows for cell in row],
                "widths": table.widths or (1.0,) * len(table.head),
            }
            for table in section.tables
        ],
        "charts": charts,
        "pictures": pictures,
    }
