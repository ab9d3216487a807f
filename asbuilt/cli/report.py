"""`asbuilt report`: the history of one property for the buyer's inspector."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.options import (
    at_option,
    day_option,
    json_option,
    out_option,
    overwrite_option,
    property_argument,
    record_option,
)
from asbuilt.cli.printing import show, show_json
from asbuilt.cli.pump import paper_option
from asbuilt.file_names import file_stem


@click.command(short_help="Write the history report: facts and gaps, as HTML or PDF.")
@property_argument
@record_option
@at_option
@out_option("File to write, ending in .html or .pdf; default: the property's name with -history.html, here.")
@paper_option
@day_option
@overwrite_option
@json_option
def report(
    name: str, record_file: Path, out: Path | None, paper: str, today: date, overwrite: bool, as_json: bool
) -> None:
    """Write the history of one property for somebody who buys, sells or inspects it.

    What is not known stands first; then what is there and how well that is known, what was done and how each entry is
    known, intervals kept and missed, tests against the first day, and what a transfer inspection asks for. Facts and
    gaps, no verdict.

    \b
    Example:
      asbuilt report "Fernbank Lane 14" --out history.pdf
    """
    from asbuilt.jobs.properties import located
    from asbuilt.jobs.report import report_of
    from asbuilt.output.files import refuse_existing, write_whole
    from asbuilt.output.report.page import report_html
    from asbuilt.output.report.sheet import report_pdf

    path = out or Path(f"{file_stem(name)}-history.html")
    if path.suffix.lower() not in (".html", ".pdf"):
        raise click.BadParameter(f"{path.name!r} ends in neither .html nor .pdf", param_hint="--out")
    refuse_existing(path, overwrite=overwrite)
    made = report_of(located(record_file, name), today, record_file)
    write_whole(
        path, report_html(made) if path.suffix.lower() == ".html" else report_pdf(made, paper), overwrite=overwrite
    )
    if as_json:
        show_json({"property": name, "written": str(path), "findings": []})
    else:
        show(f"{path}: the history of {name}")
