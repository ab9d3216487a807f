"""The command line: `asbuilt COMMAND`. Heavy libraries are imported inside the commands only."""

import gc
from typing import Any

import click

from asbuilt import __version__
from asbuilt.cli.demo import demo
from asbuilt.cli.due import due
from asbuilt.cli.history import log
from asbuilt.cli.levels import levels
from asbuilt.cli.load import load
from asbuilt.cli.plan import next_tape, ready
from asbuilt.cli.printing import warn
from asbuilt.cli.pump import alarm_sheet, pump, service_sheet
from asbuilt.cli.route import route
from asbuilt.cli.service import service
from asbuilt.cli.show import geojson, map_, positions
from asbuilt.cli.tape import correct, tape, withdraw
from asbuilt.errors import AsbuiltError

REFUSED = 2


class _Group(click.Group):
    """A group whose commands refuse with one message and status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; what the library refuses becomes a message."""
        try:
            return super().invoke(ctx)
        except AsbuiltError as error:
            warn(f"asbuilt: {error}")
            ctx.exit(REFUSED)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Keep the order of the work: load, see, hand over."""
        return list(self.commands)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__)
def main() -> None:
    """Where everything of a buried wastewater system is, how well that is known, and when it is next due.

    Measure with a tape from fixed house corners while the hole is open, type the readings into field sheets,
    and load them. Exit status: 0 done; 1 done, and something needs attention; 2 refused, nothing changed.

    \b
    Example:
      asbuilt demo --out demo
    """


for command in (
    load,
    tape,
    next_tape,
    ready,
    correct,
    withdraw,
    log,
    positions,
    levels,
    map_,
    geojson,
    service,
    due,
    route,
    pump,
    service_sheet,
    alarm_sheet,
    demo,
):
    main.add_command(command)


def run() -> None:
    """Run the program.

    A command lives for a second or so: looking for cycles after every 700 new objects, while the libraries load, would
    cost a fifth of that.
    """
    gc.set_threshold(100_000, 20, 20)
    main()
