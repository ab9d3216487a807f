"""Options that several commands share, each defined once."""

import getpass
from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


if TYPE_CHECKING:
    _DateType = click.ParamType[date]
else:
    _DateType = click.ParamType  # generic since click 8.4 only


class Day(_DateType):
    """A date, written YYYY-MM-DD only."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read the date; anything else is refused with what is accepted."""
        if isinstance(value, date):
            return value
        try:
            day = date.fromisoformat(value)
        except ValueError:
            day = None
        if day is None or value != day.isoformat():
            self.fail(f"{value!r} is not a date; write it as 2026-07-31 (year-month-day)", param, ctx)
        return day


record_option = click.option(
    "--record",
    "record_file",
    type=click.Path(dir_okay=False, path_type=Path),
    default="asbuilt.db",
    envvar="ASBUILT_RECORD",
    show_default=True,
    show_envvar=True,
    help="The record file (SQLite).",
)

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")

public_option = click.option(
    "--public", is_flag=True, help="Leave out everything personal: names, phones, who lives there, notes."
)

property_argument = click.argument("name", metavar="PROPERTY")

overwrite_option = click.option("--overwrite", is_flag=True, help="Replace a file that is there already.")

_AT = "asbuilt.at"


def _look_back(ctx: click.Context, _: click.Parameter, day: date | None) -> date | None:
    """Show the record as of that day to all that this command reads."""
    if day is not None:
        from asbuilt.jobs.history import as_known_on

        ctx.meta[_AT] = day
        ctx.with_resource(as_known_on(day))
        click.echo(f"note: as it was known at the end of {day}; what was recorded since is left out", err=True)
    return day


at_option = click.option(
    "--at",
    type=Day(),
    is_eager=True,
    expose_value=False,
    callback=_look_back,
    help="As it was known in the record at the end of that day.",
)


def _today(ctx: click.Context, _: click.Parameter, day: date | None) -> date:
    return day or ctx.meta.get(_AT) or datetime.now().astimezone().date()


day_option = click.option(
    "--on",
    "today",
    type=Day(),
    callback=_today,
    show_default="today, or the day of --at",
    help="Answer as on this day.",
)


def _login_name() -> str:
    with suppress(OSError, KeyError, ImportError):  # a bare machine or a container may know no name
        return getpass.getuser()
    return "not known"


who_option = click.option("--who", default=_login_name, show_default="your login name", help="Who stores it.")


def out_option(help_text: str) -> Callable[[F], F]:
    """Make the `--out FILE` option of a command that writes one file."""
    return click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help=help_text)
