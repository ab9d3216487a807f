"""Words of `asbuilt route` and what they mean: places, times of the day, lengths of time, speeds."""

import math
import re
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    _PlaceType = click.ParamType[tuple[float, float]]
    _HoursType = click.ParamType[tuple[int, int]]
    _SecondsType = click.ParamType[int]
    _SpeedType = click.ParamType["Speed"]
else:
    _PlaceType = _HoursType = _SecondsType = _SpeedType = click.ParamType  # generic since click 8.4 only

DAY_S = 86_400
MILE_M = 1609.344

_NUMBER = r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
_PLACE = re.compile(rf"\s*(-?(?:{_NUMBER}))\s*,\s*(-?(?:{_NUMBER}))\s*", re.ASCII)
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})", re.ASCII)
_LASTING = re.compile(rf"(?:({_NUMBER}) ?h)? ?(?:([0-9]+) ?(?:m|min)?)?", re.ASCII)
_SPEED = re.compile(rf"({_NUMBER}) ?(mph|km/h|kmh)?", re.ASCII | re.IGNORECASE)


class Place(_PlaceType):
    """A latitude and a longitude, degrees; handed on as longitude, latitude."""

    name = "LAT,LON"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Read the place; anything else is refused with what is accepted."""
        if isinstance(value, tuple):
            return value
        match = _PLACE.fullmatch(value)
        accepted = "write latitude,longitude in degrees, such as 42.5283,-118.4552"
        if match is None:
            self.fail(f"{value!r} is not a place; {accepted}", param, ctx)
        latitude, longitude = float(match[1]), float(match[2])
        if abs(latitude) > 90 or abs(longitude) > 180:
            self.fail(f"{value!r} lies nowhere: latitude is -90 to 90, longitude -180 to 180; {accepted}", param, ctx)
        return longitude, latitude


class Clock(_SecondsType):
    """A time of the day, HH:MM; handed on as seconds after midnight."""

    name = "HH:MM"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read the time; anything else is refused with what is accepted."""
        if isinstance(value, int):
            return value
        seconds = clock_seconds(value)
        if seconds is None:
            self.fail(f"{value!r} is not a time of the day; write it as 07:00 (00:00 to 24:00)", param, ctx)
        return seconds


class Hours(_HoursType):
    """Two times of the day, HH:MM-HH:MM."""

    name = "HH:MM-HH:MM"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Read the hours; anything else is refused with what is accepted."""
        if isinstance(value, tuple):
            return value
        first, _, last = value.partition("-")
        opens, closes = clock_seconds(first.strip()), clock_seconds(last.strip())
        if opens is None or closes is None or closes <= opens:
            self.fail(f"{value!r} are no hours; write opening and closing time as 07:00-16:00", param, ctx)
        return opens, closes


class Lasting(_SecondsType):
    """A length of time: 10h, 9h30, 570 (minutes)."""

    name = "HOURS"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read the length of time; anything else is refused with what is accepted."""
        if isinstance(value, int):
            return value
        match = _LASTING.fullmatch(value.strip()) if value.strip() else None
        seconds = 0 if match is None else round(float(match[1] or 0) * 3600) + int(match[2] or 0) * 60
        if not 0 < seconds <= DAY_S:
            accepted = "write it as 10h, 9h30 or 570 (minutes), up to 24h"
            self.fail(f"{value!r} is not a length of time; {accepted}", param, ctx)
        return seconds


class Speed(_SpeedType):
    """A speed, miles an hour or, where it says so, kilometres an hour."""

    name = "MPH"

    def __init__(self, metres_a_second: float = 0.0, metric: bool = False) -> None:
        self.metres_a_second, self.metric = metres_a_second, metric

    @property
    def words(self) -> str:
        """Write the speed in the unit in which it was given."""
        rate = self.metres_a_second * 3600 / (1000 if self.metric else MILE_M)
        return f"{rate:g} {'km/h' if self.metric else 'mph'}"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> "Speed":
        """Read the speed; anything else is refused with what is accepted."""
        if isinstance(value, Speed):
            return value
        match = _SPEED.fullmatch(value.strip())
        metric = match is not None and (match[2] or "").lower().startswith("k")
        speed = 0.0 if match is None else float(match[1]) * (1000 if metric else MILE_M) / 3600
        if not 1.0 <= speed <= 50.0:
            accepted = "write 35, 35 mph or 56 km/h (3 to 110 mph)"
            self.fail(f"{value!r} is not a driving speed; {accepted}", param, ctx)
        return Speed(speed, metric)


class Amount(click.FloatRange):
    """A number within bounds; no infinity and nothing that is not a number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the number."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a number", param, ctx)
        return float(number)


def clock_seconds(text: str) -> int | None:
    """Give the seconds after midnight of a time of the day; None = it is none.

    Examples
    --------
    >>> clock_seconds("07:30"), clock_seconds("24:00"), clock_seconds("7.30")
    (27000, 86400, None)
    """
    match = _CLOCK.fullmatch(text)
    if match is None or int(match[2]) > 59:
        return None
    seconds = int(match[1]) * 3600 + int(match[2]) * 60
    return seconds if seconds <= DAY_S else None
