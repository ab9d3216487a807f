"""`asbuilt print`: forms on paper, a command each."""

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.drawing import paper_option
from asbuilt.cli.options import day_option, json_option, out_option, overwrite_option, record_option
from asbuilt.cli.printing import show, show_json
from asbuilt.file_names import file_stem


@click.group("print", short_help="Print forms: a blank field sheet for the trench (PDF).")
def print_() -> None:
    """Print forms on paper; each takes --paper, and --json to say what was written.

    \b
    Example:
      asbuilt print blank --components "septic tank, 4 laterals" --out b.pdf
    """


@print_.command(short_help="Print a blank field sheet for the trench.")
@click.option("--property", "name", metavar="PROPERTY", help="A property of the record: its house, rules and parts.")
@click.option("--components", metavar="LIST", help='What will be built: "septic tank, pump tank, 4 laterals".')
@record_option
@out_option("File to write; default: blank.pdf or the property's name with -blank.pdf, here.")
@paper_option
@day_option
@overwrite_option
@json_option
def blank(
    name: str | None,
    components: str | None,
    record_file: Path,
    out: Path | None,
    paper: str,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Print a form for the trench: a row for each point, level, test and setting that `backfill-check` asks for.

    Its boxes are named as the columns of the field sheets. Without a property the common rules hold and the house is
    sketched by hand; without components a property's own ones are taken, or the rows stay without names.

    \b
    Example:
      asbuilt print blank --property "Fernbank Lane 14" --out blank.pdf
    """
    from asbuilt.jobs.blank import blank_sheet
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole

    path = out or Path("blank.pdf" if name is None else f"{file_stem(name)}-blank.pdf")
    refuse_existing(path, overwrite=overwrite)
    found = None if name is None else located(record_file, name)
    write_whole(path, blank_sheet(found, components, today, paper=paper), overwrite=overwrite)
    if as_json:
        show_json({"property": name, "written": str(path), "paper": paper, "findings": []})
    else:
        show(f"{path}: a blank field sheet" + (f" for {name}" if name else ""))
