"""`asbuilt drawing`: the record drawing of one property, as PDF and as SVG."""

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
from asbuilt.cli.printing import finish, show, show_json, warn_findings
from asbuilt.file_names import file_stem

paper_option = click.option(
    "--paper",
    type=click.Choice(["us-letter", "tabloid", "a4", "a3"]),
    default="us-letter",
    show_default=True,
    help="What it is printed on.",
)


@click.command(short_help="Draw the record drawing: to scale, with tables (PDF, SVG).")
@property_argument
@record_option
@at_option
@out_option("File to write; default: the property's name with -drawing.pdf, here.")
@paper_option
@click.option("--scale", metavar="SCALE", help='"1 in = 20 ft", "1:200" ...; default: the largest that fits.')
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Also the plan as SVG, the same drawing.")
@day_option
@overwrite_option
@json_option
def drawing(
    name: str,
    record_file: Path,
    out: Path | None,
    paper: str,
    scale: str | None,
    svg: Path | None,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Draw the record drawing of one property: a plan at a true standard scale, then tables.

    The plan shows house, components to size, dimensions and tapes as measured; the tables hold every point with its
    tapes, depth, elevation and accuracy, the schedule of components, tests, deviations, the check before backfill, and
    lines for signatures. What is far off stands on a second plan at a smaller scale. Print it at 100 %, never "fit to
    page": the ruler on it tells.

    \b
    Example:
      asbuilt drawing "Fernbank Lane 14" --paper tabloid --out drawing.pdf
    """
    from asbuilt.jobs.drawing import record_drawing, unnamed_on_drawing
    from asbuilt.jobs.properties import located
    from asbuilt.output.drawing.views import drawing_pdf
    from asbuilt.output.files import refuse_existing, write_whole

    path = out or Path(f"{file_stem(name)}-drawing.pdf")
    for each in (path, *svg_files(svg, 2)):
        refuse_existing(each, overwrite=overwrite)
    if svg is not None and path in svg_files(svg, 2):
        raise click.UsageError(f"--out and --svg both name {path}; the PDF and the SVG are two files")
    found = located(record_file, name)
    drawn = record_drawing(found, today, paper=paper, scale=scale)
    write_whole(path, drawing_pdf(drawn, paper), overwrite=overwrite)
    pages = svg_files(svg, len(drawn.sheets))
    for file, sheet in zip(pages, drawn.sheets, strict=False):
        write_whole(file, sheet.svg, overwrite=overwrite)
    findings = [*found.findings, *unnamed_on_drawing(drawn)]
    plans = [
        {"scale": sheet.scale.name, "ratio": sheet.scale.ratio, "across": sheet.layout.across} for sheet in drawn.sheets
    ]
    if as_json:
        show_json(
            {
                "property": name,
                "written": str(path),
                "svg": [str(page) for page in pages],
                "paper": paper,
                "plans": plans,
                "findings": [finding.as_json() for finding in findings],
            }
        )
    else:
        scales = ", then ".join(str(plan["scale"]) for plan in plans)
        show(f"{path}: {drawn.title.lower()} of {name} at {scales}; print it at 100 %")
        for page in pages:
            show(f"{page}: the plan as SVG")
        warn_findings(findings)
    finish(findings)


def svg_files(svg: Path | None, count: int) -> list[Path]:
    """Name the SVG files of the plans: the first as asked for, the next with -2 before its ending."""
    if svg is None:
        return []
    return [svg, *(svg.with_name(f"{svg.stem}-{k}{svg.suffix}") for k in range(2, count + 1))]
