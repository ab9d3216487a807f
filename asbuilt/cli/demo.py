"""`asbuilt demo`: the main job on the invented sample property."""

from pathlib import Path

import click

from asbuilt.cli.options import json_option, overwrite_option
from asbuilt.cli.printing import finish, show, show_json, warn_findings


@click.command()
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

    \b
    Example:
      asbuilt demo --out demo
    """
    from asbuilt.jobs.demo import run_demo

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
        show("The sample property is invented: its place, people and readings are nobody's.")
        show("\n".join(["", "Written:", *(f"  {path}" for path in done.written)]))
        show("\n".join(["", "What you would want to know first:", *(f"  - {fact}" for fact in done.facts)]))
        show(f"\nOpen {done.written[1]} in a browser; no network is needed.")
        warn_findings(done.findings)
    finish(done.findings)
