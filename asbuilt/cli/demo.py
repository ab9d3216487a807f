"""`asbuilt demo`: the main job on the invented sample property."""

import textwrap
from pathlib import Path

import click

from asbuilt.cli.options import json_option, overwrite_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings


@click.command(short_help="All of it on an invented sample property.")
@click.option(
    "--out",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    default="asbuilt-demo",
    show_default=True,
    help="Folder to write into.",
)
@overwrite_option
@json_option
def demo(folder: Path, overwrite: bool, as_json: bool) -> None:
    """Load, solve, map and schedule the invented sample property into a folder.

    It answers as on 2026-06-01, the day on which the invented story ends. A record that is in the folder already is
    never replaced, only added to.

    \b
    Example:
      asbuilt demo --out demo
    """
    from asbuilt.jobs.demo import FILES, run_demo

    done = run_demo(folder, overwrite=overwrite)
    if as_json:
        show_json(
            {
                "written": [str(path) for path in done.written],
                "facts": list(done.facts),
                "findings": [finding.as_json() for finding in done.findings],
            }
        )
    else:
        warn_findings(done.findings)
        show("The sample property is invented: its place, people and readings are nobody's.\n")
        wide = max(len(str(path)) for path in done.written)
        show("\n".join(["Written:", *(f"  {path!s:{wide}}  {FILES[path.name]}" for path in done.written), ""]))
        show("\n".join(["What you would want to know first:", *(_bullet(fact) for fact in done.facts)]))
    finish(done.findings)


def _bullet(fact: str) -> str:
    return textwrap.fill(fact, 100, initial_indent="  - ", subsequent_indent="    ")
