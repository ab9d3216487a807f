"""Doubts about levels in words, each with its number and the next act."""

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from asbuilt.findings import Finding, Severity
from asbuilt.model.levels import LevelShot
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.level_loops import Loop
from asbuilt.survey.level_network import Collimation, LevelFit, Sight, imbalance_m
from asbuilt.survey.quality import W_LIMIT
from asbuilt.units import FOOT_M, format_length

FOOT_SLIPS = (("10 ft", 10 * FOOT_M), ("1 ft", FOOT_M), ("0.1 ft", FOOT_M / 10))
METRE_SLIPS = (("1 m", 1.0), ("0.1 m", 0.1))
"""What is misread on a rod: the red figure, or the tenth (common practice)."""

KNOCKED = 1e-4
"""Collimation of an instrument that has had a knock: 3 mm in 30 m (common practice)."""

MOST_COLLIMATION = 1e-3
"""Collimation beyond 30 mm in 30 m is no instrument's but a misread rod's (our own)."""

CARRIED_M = 0.003
"""Say that unbalanced sights carry a knocked instrument's error where it exceeds this (our own: one set-up's noise)."""

NEARLY_AS_SUSPECT = 0.9
CANNOT_BE_TOLD_APART = 0.9
"""A reading is named unless another one has nearly its standardised residual and a test correlated with it (our own
limits on Baarda 1968)."""

LOOPS_SHOWN = 2
MOST_SUSPECTS = 3
_ALIKE = 1e-6  # rounding


class LevelWording:
    """Findings about the levels of one property, in its units."""

    def __init__(self, record: PropertyRecord) -> None:
        self._name = record.property.name
        self._units = record.property.units

    def fine(self, metres: float) -> str:
        """Give a small height as rods are read: 0.013 ft, 4 mm."""
        if self._units == "m":
            return f"{1000 * metres:.0f} mm"
        return format_length(metres, "ft", Fraction(1, 1000) if abs(metres) < FOOT_M / 10 else Fraction(1, 100))

    def height(self, metres: float) -> str:
        """Give an elevation or a reading as rods are read: 96.42 ft, 29.389 m."""
        step = Fraction(1, 1000) if self._units == "m" else Fraction(1, 100)
        return format_length(metres, "m" if self._units == "m" else "ft", step)

    def no_benchmark(self, name: str, height_m: float) -> Finding:
        """Say what elevations refer to where no benchmark is named, or none that was shot."""
        message = f"No benchmark is given: elevations count from {name}, taken as {self.height(height_m)}."
        act = "Name it under [benchmark] in property.toml to say so for good."
        return Finding("no-benchmark", name, message, Severity.NOTE, act)

    def unconnected(self, apart: Sequence[Sight], benchmark: str) -> list[Finding]:
        """Say which set-ups share nothing with the benchmark."""
        if not apart:
            return []
        setups = list(dict.fromkeys(sight.setup for sight in apart))
        lost = len({sight.target for sight in apart})
        noun = "set-up" if len(setups) == 1 else "set-ups"
        has = "has" if len(setups) == 1 else "have"
        message = (
            f"Levels: {noun} {_listed(setups)} {has} nothing in common with the benchmark {benchmark}, so {lost} "
            f"elevation{'s' if lost > 1 else ''} there cannot be told."
        )
        act = "Shoot the benchmark, or a point that has an elevation, from there."
        return [Finding("levels-unconnected", setups[0], message, Severity.ATTENTION, act)]

    def unchecked(self, count: int, of: int) -> list[Finding]:
        """Say how many elevations a slip on the rod could spoil unnoticed."""
        if count == 0:
            return []
        are = "elevation rests" if count == 1 else "elevations rest"
        slip = "0.03 m" if self._units == "m" else "0.1 ft"
        message = f"Levels: {count} of {of} {are} on a reading in which a slip of {slip} would not show."
        act = "A shot from a second set-up checks it."
        return [Finding("levels-unchecked", self._name, message, Severity.NOTE, act)]

    def doubts(
        self,
        fit: LevelFit,
        loops: Sequence[Loop],
        shots: Sequence[LevelShot],
        collimation: Collimation | None,
        *,
        passed: bool,
    ) -> list[Finding]:
        """Say what does not agree: the one reading that must be wrong, or the loops that do not close.

        Parameters
        ----------
        shots
            The rows, in the order of the sights.
        passed
            Whether all readings together agree, by chi-square at 5 %.
        """
        tests = np.abs(fit.standardised)
        worst = int(tests.argmax())
        if tests[worst] > W_LIMIT and not self._explains(collimation, fit):
            near = tests >= NEARLY_AS_SUSPECT * tests[worst]
            alike = np.flatnonzero(near & (fit.test_correlation(worst) > CANNOT_BE_TOLD_APART))
            if len(alike) == 1:
                return [self._misread(fit, worst, shots[worst])]
            if len(alike) <= MOST_SUSPECTS:
                return [self._one_of(fit, alike.tolist(), shots)]
        open_loops = sorted((x for x in loops if not x.closes), key=lambda x: -abs(x.misclosure_m) / x.allowance_m)
        return [self._open_loop(fit, loop, shots, passed=passed) for loop in open_loops[:LOOPS_SHOWN]]

    def _misread(self, fit: LevelFit, row: int, shot: LevelShot) -> Finding:
        blunder = fit.blunder_m(row)
        fits = self.height(fit.sights[row].reading_m - blunder)
        slip = self._slip(fit, row)
        looks = f"looks {slip}" if slip else f"is {self.fine(abs(blunder))} too {'large' if blunder > 0 else 'small'}"
        message = f"Levels: the {shot.words}, {shot.reading.as_read}, {looks}: {fits} would agree with the others."
        act = "Read it again, or look in the notebook; nothing was changed."
        return Finding("level-misread", str(fit.sights[row].target), message, Severity.ATTENTION, act)

    def _one_of(self, fit: LevelFit, rows: Sequence[int], shots: Sequence[LevelShot]) -> Finding:
        """Say that one of a few readings must be wrong, such as the two of one set-up."""
        suspects = " or ".join(f"the {shots[row].words} ({shots[row].reading.as_read})" for row in rows)
        blunder = self.fine(abs(fit.blunder_m(rows[0])))
        message = f"Levels: {suspects} is {self._looks_off(fit, rows) or blunder} off; the others agree."
        act = "Read both again, or look in the notebook; nothing was changed."
        return Finding("level-misread", str(fit.sights[rows[0]].target), message, Severity.ATTENTION, act)

    def _looks_off(self, fit: LevelFit, rows: Sequence[int]) -> str | None:
        """Give the one size of slip that readings which cannot be told apart look like: `1 ft`."""
        slips = {slip for row in rows if (slip := self._slip(fit, row)) is not None and "too" in slip}
        sizes = {slip.removesuffix(" too large").removesuffix(" too small") for slip in slips}
        return sizes.pop() if len(sizes) == 1 else None

    def _slip(self, fit: LevelFit, row: int) -> str | None:
        """Name the slip that a reading's misfit looks like; None where it looks like none, or like several."""
        blunder, spread = fit.blunder_m(row), 3 * fit.blunder_sigma_m(row)
        slips = METRE_SLIPS if self._units == "m" else FOOT_SLIPS
        too = "too large" if blunder > 0 else "too small"
        found = [f"{words} {too}" for words, size in slips if abs(abs(blunder) - size) < spread < size / 2]
        reading = fit.sights[row].reading_m
        if abs(blunder - 2 * reading) < spread < abs(reading):
            found.append("taken with the rod the other way up")
        return found[0] if len(found) == 1 else None

    def _open_loop(self, fit: LevelFit, loop: Loop, shots: Sequence[LevelShot], *, passed: bool) -> Finding:
        round_ = f"set-up {loop.setups[0]}" if len(loop.setups) == 1 else f"set-ups {_listed(loop.setups)}"
        allowed = f"{self.fine(loop.allowance_m)} may be"
        if loop.third_order_m is not None:
            allowed += f" (third order of FGCC 1984: {self.fine(loop.third_order_m)})"
        message = f"Levels: the loop through {round_} misses by {self.fine(abs(loop.misclosure_m))}; {allowed}."
        size = self._looks_off(fit, loop.rows)
        if size is not None:
            message += f" One of its readings looks {size} off; which one, these readings cannot tell."
        act = "Level it again, or shoot one of its points from another set-up."
        severity = Severity.NOTE if passed else Severity.ATTENTION
        return Finding("level-loop", _listed(loop.setups), message, severity, act)

    def _explains(self, found: Collimation | None, fit: LevelFit) -> bool:
        """Tell whether a tilted line of sight explains the misfit, as well as any one misread rod does.

        With one loop both do alike: then it is the instrument, unless the misfit has the size of a slip.
        """
        tests = np.abs(fit.standardised)
        worst = int(tests.argmax())
        if found is None or abs(found.slope) > MOST_COLLIMATION or found.standardised <= W_LIMIT:
            return False
        if found.standardised > (1 + _ALIKE) * tests[worst]:
            return True
        return found.standardised > (1 - _ALIKE) * tests[worst] and self._slip(fit, worst) is None

    def collimation(self, fit: LevelFit, found: Collimation | None) -> list[Finding]:
        """Say what a line of sight that is not level does to these levels, measured or supposed."""
        if found is not None and self._explains(found, fit):
            rises = "high" if found.slope > 0 else "low"
            at = "30 m" if self._units == "m" else "100 ft"
            far = 30.0 if self._units == "m" else 100 * FOOT_M
            message = (
                f"Levels: the instrument seems to read {self.fine(abs(found.slope) * far)} {rises} in {at}, give or "
                f"take {self.fine(2 * found.sigma * far)}; unequal sights carry it into the elevations."
            )
            act = "Have it adjusted, and set up half-way between backsight and foresight."
            return [Finding("collimation", self._name, message, Severity.ATTENTION, act)]
        unequal = imbalance_m(fit)
        known = found is not None and found.sigma < KNOCKED / W_LIMIT
        if unequal is None or known:
            return []
        carried = KNOCKED * np.abs(unequal)
        worst = int(carried.argmax())
        if carried[worst] <= CARRIED_M:
            return []
        count = int(np.count_nonzero(carried > CARRIED_M))
        message = (
            f"Levels: backsights and foresights are unequal, so an instrument that has had a knock (3 mm in 30 m) "
            f"would put {count} elevation{'s' if count > 1 else ''} off by more than {self.fine(CARRIED_M)}, "
            f"{fit.targets[worst]} by {self.fine(float(carried[worst]))}."
        )
        act = "Set up half-way between backsight and foresight, or check the instrument between two pegs."
        return [Finding("unequal-sights", self._name, message, Severity.NOTE, act)]


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
