"""What was seen of an uncovered point, as typed, read against what is known of the property."""

import math
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from asbuilt.errors import Problem, PromptError
from asbuilt.jobs.find import Asked, find_lids
from asbuilt.jobs.locate import Located
from asbuilt.jobs.tape import point_of
from asbuilt.model.measurements import Tie
from asbuilt.model.sightings import TOWARD_WORDS, Sighting, Toward, parse_toward
from asbuilt.record.prompt import Prompt, Typed, read_tapes
from asbuilt.record.sheets.cells import shown
from asbuilt.survey.finding import Finder
from asbuilt.survey.observations import TAPE_SIGMA_M, observe
from asbuilt.survey.uncovering import Readings, compare
from asbuilt.units import Length, format_length, parse_length

Array = NDArray[np.float64]

TOWARD_SIGMA_DEG = 5.0
"""How well one points from a hole at a corner that one sees, standard deviation (our own judgement)."""

WIND_SIGMA_DEG = 13.0
"""A word of the compass stands for an eighth of the horizon: 45 degrees over the root of 12."""

ASIDE_M = 0.03
"""How far aside the words of a direction may leave a point that is still taken for taped (ours: two tapes' errors)."""


@dataclass(frozen=True, slots=True)
class Uncovering:
    """What was seen, as typed."""

    point: str
    tapes: tuple[str, ...] = ()  #: reference point and reading in turn, taped anew
    off: str | None = None  #: how far from the mark, in place of tapes
    toward: str | None = None
    mark: tuple[str | None, str | None, str | None, str | None] = (None, None, None, None)  #: from1 tape1 from2 tape2
    depth: str | None = None
    landmark: str | None = None
    by: str | None = None
    note: str | None = None
    held: str | None = None
    drop: str | None = None
    lost: tuple[str, ...] = ()  #: of the mark that `find` gave: what could not be used then
    visible: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Understood:
    """The words as they are understood."""

    point: str
    readings: Readings | None  #: None where the point had no place to compare with
    ties: tuple[Tie, ...]
    sighting: Sighting
    coarse: bool = False


def finder_of(found: Located) -> Finder:
    """Give the finder of a property that may use every mark, with the care of its own measurer."""
    positions = (*found.solution.references, *found.solution.points)
    care = found.record.property.measured.care
    return Finder(found.record, found.solution, [p.name for p in positions if p.place is not None], care=care)


class Seen:
    """Reads what was seen against what is known of the property."""

    def __init__(self, found: Located, asked: Uncovering, on: date) -> None:
        self.found, self.asked, self.on = found, asked, on
        self.known, self.units = found.record, found.record.property.units
        self.prompt = Prompt(found.record)
        self.point = point_of(found.record, asked.point)

    def read(self) -> Understood:
        """Give the words as they are understood.

        Raises
        ------
        PromptError
            If they cannot be taken, every problem in one go.
        """
        asked = self.asked
        if bool(asked.tapes) == (asked.off is not None):
            reason = "both tapes and --off are given" if asked.tapes else "neither tapes nor --off is given"
            accepted = 'tape it anew ("NE corner" "23 4.5" "SE corner" "17 6"), or say --off LENGTH --toward WORDS'
            self.prompt.refuse("where it was", reason, accepted)
        if asked.off is None and (asked.toward is not None or any(asked.mark)):
            self.prompt.refuse("--toward", "goes with --off LENGTH", "say how far it lay from its mark")
        depth = self.prompt.cell("--depth", "out", asked.depth)
        self.prompt.stop()
        sighting = Sighting(self.on, self.point, depth=depth, by=asked.by, note=asked.note, landmark=asked.landmark)
        return self._off(sighting) if asked.off is not None else self._taped(sighting)

    def _taped(self, sighting: Sighting) -> Understood:
        """Take new tapes, each of the day it was pulled."""
        note = self.asked.note or f"uncovered {self.on.isoformat()}"
        held = self.asked.held or ("level" if self.asked.drop is None else "slope")  # level, as the sheet asks
        typed = Typed(self.point, self.asked.tapes, held=held, drop=self.asked.drop, note=note)
        ties = tuple(replace(tie, on=self.on) for tie in read_tapes(self.known, typed).ties)
        placed = self._is_placed(self.point)
        usable = [tie for tie in ties if self._is_placed(tie.from_)]
        readings = None
        if placed and usable:
            rows = observe(replace(self.known, ties=tuple(usable))).distances[-len(usable) :]
            readings = Readings(
                tuple(tie.from_ for tie in usable),
                tuple(tie.distance for tie in usable),
                np.array([each.metres for each in rows]),
                np.array([each.sigma_m for each in rows]),
                np.zeros(2),
                np.zeros((2, 2)),
            )
        return Understood(self.point, readings, ties, sighting)

    def _off(self, sighting: Sighting) -> Understood:
        """Take how far it lay from its mark, and reckon the tapes that would have found it."""
        prompt, asked = self.prompt, self.asked
        zero = (asked.off or "").strip().rstrip("'\"") == "0"
        off = _NOTHING if zero else prompt.cell("--off", "length", asked.off)
        toward = self._toward(required=off is not None and off.metres > 0)
        if not self._is_placed(self.point):
            reason = f"{shown(self.point)} has no place in the record, so it had no mark"
            prompt.refuse("--off", reason, "tape it anew from two corners")
        prompt.stop()
        marks = self._mark()
        assert off is not None  # noqa: S101 - else it was noted
        references = tuple(name for name, _ in marks)
        step = self._step(toward, off.metres)
        lengths = tuple(length for _, length in marks)
        finder = finder_of(self.found)
        metres = np.array([length.metres for length in lengths])
        sigmas = np.array([finder.sigma_m(length.metres, name) for name, length in marks])
        aside = _aside_m(toward, off.metres)
        readings = Readings(references, lengths, metres, sigmas, step, self._off_covariance(step, aside))
        sighting = replace(
            sighting,
            from1=references[0],
            tape1=lengths[0],
            from2=references[1],
            tape2=lengths[1],
            off=off,
            toward=None if toward is None else str(toward),
        )
        coarse = aside > ASIDE_M
        ties = () if coarse else self._reckoned(finder, readings, sighting)
        return Understood(self.point, readings, ties, sighting, coarse)

    def _toward(self, *, required: bool) -> Toward | None:
        words = self.asked.toward
        if words is None:
            if required:
                accepted = "--toward “NE corner”, --toward north-east, or --toward “away from NE corner”"
                self.prompt.refuse("--toward", "is missing: off which way?", accepted)
            return None
        try:
            toward = parse_toward(words)
        except ValueError as error:
            self.prompt.refuse("--toward", f"{shown(words)} says no direction", str(error))
            return None
        if toward.wind is not None:
            if self.found.solution.azimuth_deg is None:
                reason = f"{shown(words)} needs a direction, and the property has no azimuth"
                self.prompt.refuse("--toward", reason, "write toward or away from a corner")
            return toward
        name = self.prompt.known_name("--toward", toward.name or "")
        if name is not None and (not self._is_placed(name) or name == self.point):
            self.prompt.refuse("--toward", f"{shown(name)} gives no direction", "name another corner")
        return None if name is None else replace(toward, name=name)

    def _mark(self) -> list[tuple[str, Length]]:
        """Give the two tapes that set the mark: as typed, else those that `find` prints today."""
        from1, tape1, from2, tape2 = self.asked.mark
        if any(self.asked.mark):
            if not all(self.asked.mark):
                reason = "the mark is set by two tapes: --from1 --tape1 --from2 --tape2"
                self.prompt.refuse("the mark", "is half given", reason)
            names = [self.prompt.known_name(f"--from{k}", each) for k, each in ((1, from1), (2, from2)) if each]
            tapes = [self.prompt.cell(f"--tape{k}", "distance", each) for k, each in ((1, tape1), (2, tape2)) if each]
            for name in names:
                if name is not None and not self._is_placed(name):
                    self.prompt.refuse("the mark", f"{shown(name)} has no place", "name another corner")
            if len(names) == 2 and names[0] is not None and names[0] == names[1]:
                self.prompt.refuse("the mark", f"{shown(names[0])} is named twice", "name two corners")
            self.prompt.stop()
            return [(name, tape) for name, tape in zip(names, tapes, strict=True) if name is not None]
        asked = Asked((self.point,), self.asked.lost, self.asked.visible)
        way = find_lids(self.found, self.on, asked).lids[0].crossing
        if way is None:
            reason = "no two marks are left that find it"
            raise PromptError([Problem("the mark", None, None, reason, "give --from1 --tape1 --from2 --tape2")])
        return [(tape.reference, self._printed(tape.distance_m)) for tape in (way.first, way.second)]

    def _printed(self, metres: float) -> Length:
        return parse_length(format_length(metres, self.units), self.units)

    def _step(self, toward: Toward | None, metres: float) -> Array:
        """Give the step from the mark to the point, output frame."""
        if toward is None or metres == 0:
            return np.zeros(2)
        if toward.wind is not None:
            azimuth = math.radians(TOWARD_WORDS[toward.wind])
            return metres * np.array([math.sin(azimuth), math.cos(azimuth)])
        there, here = self._place(toward.name or ""), self._place(self.point)
        step = (there - here) / np.hypot(*(there - here)) * metres
        return -step if toward.away else np.asarray(step)

    def _off_covariance(self, step: Array, aside_m: float) -> Array:
        """How well the step is known: as a tape along it, as the words of its direction aside."""
        along = TAPE_SIGMA_M["normal"][0] ** 2
        size = float(np.hypot(*step))
        if size == 0:
            return along * np.eye(2)
        u = step / size
        return np.asarray(along * np.outer(u, u) + max(along, aside_m**2) * (np.eye(2) - np.outer(u, u)))

    def _reckoned(self, finder: Finder, readings: Readings, sighting: Sighting) -> tuple[Tie, ...]:
        """Give the tapes to where it really was, as reckoned from its mark."""
        delta = compare(finder, self.point, readings).delta
        if delta is None:
            return ()
        place = self._place(self.point) + delta
        where = "at its mark" if sighting.toward is None else f"{_as_read(sighting.off)} {sighting.toward} of its mark"
        marks = " and ".join(
            f"{length.as_read} from {name}" for name, length in zip(readings.references, readings.lengths, strict=True)
        )
        note = f"reckoned: uncovered {self.on.isoformat()} {where}, set by {marks}"
        return tuple(
            Tie(
                name,
                self.point,
                self._printed(float(np.hypot(*(place - self._place(name))))),
                held="level",
                note=note,
                on=self.on,
            )
            for name in readings.references
        )

    def _place(self, name: str) -> Array:
        place = self.found.solution.position(name).place
        assert place is not None  # noqa: S101 - asked for before
        return place

    def _is_placed(self, name: str) -> bool:
        try:
            return self.found.solution.position(name).place is not None
        except KeyError:
            return False


_NOTHING = Length("0", 0.0, 0.0254)


def _as_read(length: Length | None) -> str:
    return "" if length is None else length.as_read


def _aside_m(toward: Toward | None, metres: float) -> float:
    """How far aside the words of a direction may leave a point, standard deviation."""
    if toward is None:
        return 0.0
    return metres * math.tan(math.radians(TOWARD_SIGMA_DEG if toward.wind is None else WIND_SIGMA_DEG))
