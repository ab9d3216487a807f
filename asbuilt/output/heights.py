"""Heights of a property's points in words and attributes: elevation by the benchmark, depth as taped or as levelled."""

from collections.abc import Mapping, Sequence
from typing import Any

from asbuilt.model.components import Point
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_wording import LevelWording
from asbuilt.survey.levels import Depth, Elevation, LevelSolution
from asbuilt.units import format_length


class Heights:
    """What is known of the heights of one property's points."""

    def __init__(self, record: PropertyRecord, levels: LevelSolution) -> None:
        self._levels = levels
        self._rows: Mapping[str, Point] = {point.name: point for point in record.points}
        self._units = record.property.units
        self._words = LevelWording(record)

    def elevation(self, name: str) -> Elevation | None:
        """Give the elevation of a point: of what its depth goes to, else of its top, else of its invert."""
        found = (self._levels.of(name, to) for to in self._parts(name))
        return next((each for each in found if each is not None), None)

    def along(self, names: Sequence[str]) -> tuple[float, ...] | None:
        """Elevations of all these points, metres: all inverts or all tops; None where one is not known."""
        if len(names) == 1:
            found = self.elevation(names[0])
            return None if found is None else (found.elevation_m,)
        for to in ("invert", "top"):
            shot = [each for name in names if (each := self._levels.of(name, to)) is not None]
            if shot and len(shot) == len(names):
                return tuple(each.elevation_m for each in shot)
        return None

    def elevation_attributes(self, name: str) -> dict[str, Any]:
        """Give how high a point lies, as attributes of a feature."""
        found = self.elevation(name)
        if found is None:
            return {"elevation_m": None, "elevation_sigma_m": None, "elevation_to": None, "elevation_text": None}
        held = f"{self._levels.benchmark} = {self._words.height(self._levels.benchmark_m)}, {self._levels.datum}"
        return {
            "elevation_m": round(found.elevation_m, 4),
            "elevation_sigma_m": round(found.sigma_m, 4),
            "elevation_to": found.to,
            "elevation_text": f"{self._words.height(found.elevation_m)} at the {found.to} ({held})",
        }

    def depth_attributes(self, name: str) -> dict[str, Any]:
        """Give how deep a point lies, as attributes of a feature: as taped, else as levelled."""
        row, depth = self._rows.get(name), self._levelled_depth(name)
        words = self.depth_words(name)
        if row is not None and row.depth is not None:
            return {"depth_text": words, "depth_m": row.depth.metres, "depth_to": row.depth_to}
        if depth is None:
            return {"depth_text": None, "depth_m": None, "depth_to": row.depth_to if row is not None else None}
        return {"depth_text": words, "depth_m": round(depth.depth_m, 4), "depth_to": depth.to}

    def depth_words(self, name: str) -> str | None:
        """Say how deep a point lies: `2' 4" below grade to invert`; None where nobody knows."""
        row, depth = self._rows.get(name), self._levelled_depth(name)
        if row is not None and row.depth is not None:
            return f"{row.depth.as_read} below grade" + (f" to {row.depth_to}" if row.depth_to else "")
        if depth is None:
            return None
        day = f" of {depth.day}" if depth.day else ""
        return f"{format_length(depth.depth_m, self._units)} below the ground{day} to {depth.to}, by level"

    def line(self, name: str) -> str | None:
        """Say how high and how deep a levelled point lies, for its row of a table; None where it was not levelled."""
        found, depth = self.elevation(name), self.depth_words(name)
        if found is None:
            return None
        return f"elevation {self._words.height(found.elevation_m)} at the {found.to}" + (f"; {depth}" if depth else "")

    def _levelled_depth(self, name: str) -> Depth | None:
        found = (self._levels.depth(name, to) for to in self._parts(name))
        return next((each for each in found if each is not None), None)

    def _parts(self, name: str) -> Sequence[str]:
        row = self._rows.get(name)
        return tuple(dict.fromkeys(((row.depth_to if row is not None else None) or "top", "top", "invert")))
