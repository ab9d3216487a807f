"""The command line: `asbuilt COMMAND`. Heavy libraries are imported inside the commands only."""

import gc
import os
import sys
from contextlib import suppress
from typing import Any

import click

from asbuilt import __version__
from asbuilt.cli.backfill_check import backfill_check
from asbuilt.cli.clear_of import clear_of
from asbuilt.cli.demo import demo
from asbuilt.cli.drawing import drawing
from asbuilt.cli.due import due
from asbuilt.cli.export import export, import_
from asbuilt.cli.find import find, label, uncovered
from asbuilt.cli.handover import import_packet, packet, sheets
from asbuilt.cli.history import log
from asbuilt.cli.levels import levels
from asbuilt.cli.load import load
from asbuilt.cli.load_cards import load_cards
from asbuilt.cli.photos import photo, photos
from asbuilt.cli.plan import next_tape, ready
from asbuilt.cli.print_ import print_
from asbuilt.cli.printing import notices_shown, warn
from asbuilt.cli.pump import alarm_sheet, pump, service_sheet
from asbuilt.cli.report import report
from asbuilt.cli.route import route
from asbuilt.cli.rules import rules
from asbuilt.cli.service import service
from asbuilt.cli.show import geojson, map_, positions
from asbuilt.cli.tape import correct, tape, withdraw
from asbuilt.cli.trust import backup, restore, verify
from asbuilt.errors import AsbuiltError

REFUSED = 2


class _Group(click.Group):
    """A group whose commands refuse with one message and status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; what the library refuses becomes a message."""
        try:
            with notices_shown():
                return super().invoke(ctx)
        except AsbuiltError as error:
            warn(f"asbuilt: {error}")
            ctx.exit(REFUSED)

    def main(self, *args: Any, **words: Any) -> Any:
        """Run the program; where its answer cannot be written out, one message says so."""
        try:
            return super().main(*args, **words)
        except OSError as error:
            _give_up_output(error)
            sys.exit(REFUSED)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Keep the order of the work: load, see, hand over."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands under the headings of the work."""
        for heading, commands in SECTIONS:
            with formatter.section(heading):
                formatter.write_dl([(each.name or "", each.get_short_help_str(80)) for each in commands])


def _give_up_output(error: OSError) -> None:
    """Say that the answer could not be written, and let nothing be written there any more."""
    what = "the answer" if error.filename is None else str(error.filename)
    with suppress(OSError, ValueError):
        warn(f"asbuilt: {what} could not be written ({error.strerror or error}); what was stored before stays stored")
    # What is left in the buffer would fail once more at the end of the program, with a traceback.
    sys.stdout = sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - closed by the end


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


SECTIONS: tuple[tuple[str, tuple[click.Command, ...]], ...] = (
    ("While the hole is open", (load, tape, next_tape, ready, photo, backfill_check, drawing, print_)),
    ("See what is recorded", (positions, levels, map_, photos, log, rules)),
    ("Find it again, build beside it", (find, uncovered, label, clear_of)),
    ("Service", (service, due, route, pump, service_sheet, alarm_sheet)),
    ("Hand it over, and take it in", (report, packet, import_packet, sheets, geojson, export, import_, load_cards)),
    ("Keep it true and safe", (correct, withdraw, verify, backup, restore)),
    ("Try it", (demo,)),
)
"""All commands, in the order of the work, under the headings of the help."""

for _, commands in SECTIONS:
    for command in commands:
        main.add_command(command)


def run() -> None:
    """Run the program.

    A command lives for a second or so: looking for cycles after every 700 new objects, while the libraries load, would
    cost a fifth of that.
    """
    gc.set_threshold(100_000, 20, 20)
    main()
