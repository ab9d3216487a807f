"""What came of uncovering a point, in words and as JSON: how far off it lay, what explains it, what is known since."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from asbuilt.findings import Finding
from asbuilt.model.measurements import Tie
from asbuilt.model.sightings import Sighting
from asbuilt.output.find.catalogue import ENGLISH
from asbuilt.survey.misreadings import Misreading
from asbuilt.survey.uncovering import Difference, Explanation
from asbuilt.units import format_length, format_small


class UncoveredWords:
    """Puts one uncovering into words, in the property's own units."""

    def __init__(self, point: str, on: date, units: str) -> None:
        self._point, self._on, self._units = point, on, units

    def difference(self, difference: Difference | None, wind: str | None) -> str:
        """Say how far from its recorded place it lay, and whether that is no more than is to be expected."""
        if difference is None:
            return f"{self._point}: it had no place in the record, so there is nothing to compare with"
        far = "" if difference.delta is None else self._far(difference, wind)
        limit = difference.expected_limit if difference.as_expected else difference.believed_limit
        figures = f"(chi-square {difference.chi2:.1f}, limit {limit:.1f} for {difference.count})"
        if difference.as_expected:
            return f"{self._point}: {far}as the record and the tapes allow {figures}"
        if difference.too_large:
            return f"{self._point}: {far}more than the record and the tapes allow {figures}"
        return f"{self._point}: {far}more than 19 finds in 20 give, less than one in a thousand {figures}"

    def _far(self, difference: Difference, wind: str | None) -> str:
        assert difference.delta is not None  # noqa: S101 - asked for before
        metres = float((difference.delta**2).sum() ** 0.5)
        way = "" if wind is None else f" to the {ENGLISH[f'wind_{wind}']}"
        return f"{format_length(metres, self._units)}{way} of its recorded place, "

    def radii(self, before_m: float | None, after_m: float | None) -> str:
        """Say how well it is known before and since."""
        radii = (before_m, after_m)
        said = ["no place" if each is None else f"within {format_small(each, self._units)}" for each in radii]
        return f"known before: {said[0]}; now: {said[1]}, 19 times in 20"

    def explanations(
        self, found: Sequence[Explanation], slips: Sequence[Misreading], *, agree: bool | None
    ) -> Iterator[str]:
        """Say what would explain a difference that is too large; nothing of it is done."""
        for each in found:
            yield f"would explain it: {self._explanation(each)}"
        for slip in slips:
            yield f"would explain it: {slip.sentence()}"
        if agree:
            yield (
                "the new tapes agree with each other: if none of this is it, the lid was moved or replaced, or the "
                "old tapes were wrong"
            )
        elif agree is None:
            yield "with two tapes or one the figures cannot tell a moved lid from a mistake: pull a third"
        else:
            yield "the new tapes do not agree with each other either: pull them again"

    def _explanation(self, each: Explanation) -> str:
        if each.kind == "corner":
            return f"the tape was not from {each.reference} but from {each.other}"
        if each.kind == "exchanged":
            return f"the tapes from {each.reference} and {each.other} were exchanged"
        if each.kind == "misread":
            return f"the tape from {each.reference} was misread, {each.other} it should be"
        if each.kind == "zero":
            by = f"{format_length(abs(each.size_m), self._units)} too {'long' if each.size_m > 0 else 'short'}"
            return f"all new tapes read {by} (where was the tape hooked?)"
        way = "further out" if each.size_m > 0 else "further in"
        size = format_length(abs(each.size_m), self._units)
        return f"the face {each.reference} stands {size} {way} than when it was measured (new siding?)"

    def stored(self, ties: int, *, dry_run: bool, coarse: bool) -> str:
        """Say what was stored."""
        tapes = f"{ties} tape{'' if ties == 1 else 's'} and 1 sighting"
        if coarse:
            tapes = "1 sighting (the direction is too rough to reckon tapes from: tape it from two corners)"
        return f"nothing stored (--dry-run); it would be {tapes}" if dry_run else f"{tapes} stored"


def uncovered_json(
    sighting: Sighting,
    ties: Sequence[Tie],
    difference: Difference | None,
    explanations: Sequence[Explanation],
    findings: Sequence[Finding],
) -> dict[str, Any]:
    """Give what came of it as plain JSON values; metres to 4 decimals."""
    delta = None if difference is None or difference.delta is None else [round(float(v), 4) for v in difference.delta]
    return {
        "point": sighting.point,
        "on": sighting.on.isoformat(),
        "off": None if sighting.off is None else sighting.off.as_read,
        "toward": sighting.toward,
        "depth": None if sighting.depth is None else sighting.depth.as_read,
        "difference": None
        if difference is None
        else {
            "delta_m": delta,
            "chi2": round(difference.chi2, 2),
            "chi2_limit_95": round(difference.expected_limit, 2),
            "chi2_limit_999": round(difference.believed_limit, 2),
            "as_expected": difference.as_expected,
            "too_large": difference.too_large,
        },
        "explanations": [
            {
                "kind": each.kind,
                "reference": each.reference,
                "other": each.other or None,
                "size_m": round(each.size_m, 4) if each.kind in ("face", "zero") else None,
                "chi2": round(each.chi2, 2),
            }
            for each in explanations
        ],
        "ties": [{"from": tie.from_, "to": tie.to, "distance": tie.distance.as_read, "note": tie.note} for tie in ties],
        "findings": [each.as_json() for each in findings],
    }
