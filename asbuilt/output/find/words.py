"""How to find one lid, in plain words: the same sentences on screen and on paper, in the language asked for."""

import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from asbuilt.output.find.catalogue import CATALOGUES
from asbuilt.output.find.lid import FindSet, Lid, LidDepth
from asbuilt.output.text.positions import WIDTH
from asbuilt.units import FOOT_M, format_length, format_small

MOST_NEAR = 5
"""Things near a lid that are named one by one; the nearest, cables and water first."""

BY_HAND_M = 2 * FOOT_M
"""Tolerance zone of a buried line, in which one digs by hand: 24 in (Sunshine 811, my.sunshine811.com/tolerance-zone;
18 to 30 in by state)."""

_LOW_M = 0.3  # a drop of less than a foot is taken up by holding the tape level
_UNIT = re.compile(r"(?<=\d )(ft|in|m|cm|mm)\b")
_OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True, slots=True)
class Page:
    """One lid in sentences, by what they are for."""

    title: str
    subtitle: str
    stop: tuple[str, ...]
    steps: tuple[str, ...]  #: to be done in this order
    hints: tuple[str, ...]  #: what goes with them
    facts: tuple[str, ...]  #: circle, depth, looks
    near: tuple[str, ...]
    wall: tuple[str, ...]
    missing: tuple[str, ...]  #: to be done in this order where it is not there
    danger: tuple[str, ...]
    corners: tuple[str, ...]


class FindWords:
    """Puts the lids of one property into words.

    Raises
    ------
    KeyError
        If there is no catalogue of that language.
    """

    def __init__(self, found: FindSet, lang: str = "en") -> None:
        self._found, self._texts = found, CATALOGUES[lang]

    def say(self, key: str, **words: object) -> str:
        """Give one sentence of the catalogue with the record's words in it."""
        return self._texts[key].format(**words)

    def heading(self, key: str) -> str:
        """Give a heading."""
        return self._texts[key]

    def page(self, lid: Lid) -> Page:
        """Say everything of one lid."""
        found = self._found
        subtitle = self.say("as_on", property=found.property, day=found.today.isoformat())
        return Page(
            self.say("find", name=lid.name),
            f"{subtitle}. {self._texts['draft']}" if found.draft else subtitle,
            (self._texts["stop"],),
            tuple(self._steps(lid)),
            tuple(self._hints(lid)),
            tuple(self._facts(lid)),
            tuple(self._near(lid)),
            tuple(self._wall(lid)),
            tuple(self._missing(lid)) if lid.crossing is not None else (),
            tuple(self._texts[key] for key in ("danger_probe", "danger_lid", "danger_gas")),
            tuple(self._corners(lid)),
        )

    def summary(self, lid: Lid) -> list[str]:
        """Say one lid in a few words, for the sheet of all of them."""
        if lid.crossing is None:
            return [self._lost(lid)]
        a, b = lid.crossing.first, lid.crossing.second
        one, two = self.length(a.distance_m), self.length(b.distance_m)
        tapes = self.say("sum_tapes", one=one, a=a.reference, two=two, b=b.reference)
        hand = self._texts[lid.crossing.hand]
        parts = [self.say("sum_side", a=a.reference, b=b.reference, hand=hand)]
        if lid.crossing.check is not None:
            third = lid.crossing.check.tape
            parts.append(self.say("sum_check", distance=self.length(third.distance_m), corner=third.reference))
        parts.append(self.say("sum_within", within=self.small(lid.crossing.r95_m)))
        depth = self.length(lid.depth.depth_m) if lid.depth is not None else None
        parts.append(self._texts["sum_no_depth"] if depth is None else self.say("sum_depth", depth=depth))
        if lid.cover is not None:
            parts.append(self.say("sum_cover", name=lid.cover))
        if lid.near:
            parts.append(self.say("sum_near", names=", ".join(each.name for each in lid.near[:3])))
        return [tapes, "; ".join(parts)]

    def length(self, metres: float) -> str:
        """Write a distance as printed on a tape."""
        return self._translated(format_length(metres, self._found.units))

    def small(self, metres: float) -> str:
        """Write how well something is known."""
        return self._translated(format_small(metres, self._found.units))

    def _translated(self, length: str) -> str:
        return _UNIT.sub(lambda match: self._texts[match[1]], length)

    def _lost(self, lid: Lid) -> str:
        return self.say("no_place" if lid.r95_m is None else "no_way", name=lid.name)

    def _steps(self, lid: Lid) -> Iterator[str]:
        way = lid.crossing
        if way is None:
            yield self._lost(lid)
            return
        for tape in (way.first, way.second):
            yield self.say("tape", corner=tape.reference, distance=self.length(tape.distance_m))
        a, b = way.first.reference, way.second.reference
        meet = self.say("meet", a=a, b=b, hand=self._texts[way.hand])
        wind = "" if lid.wind is None else " " + self.say("wind", a=a, wind=self._texts[f"wind_{lid.wind}"])
        yield meet + wind
        if way.check is None:
            yield self._texts["no_check"]
            return
        third = way.check.tape
        distance, within = self.length(third.distance_m), self.small(way.check.within_m)
        yield self.say("check", corner=third.reference, distance=distance, within=within)

    def _hints(self, lid: Lid) -> Iterator[str]:
        if lid.crossing is None:
            return
        yield self._texts["level"]
        for tape in (lid.crossing.first, lid.crossing.second):
            if tape.through_m > 0:
                yield self.say("through", corner=tape.reference)
        low: dict[str, list[str]] = {}
        for tape in (lid.crossing.first, lid.crossing.second):
            if (drop := lid.drops.get(tape.reference, 0.0)) > _LOW_M:
                low.setdefault(self.length(drop), []).append(tape.reference)
        for words, corners in low.items():
            yield self.say("drop", drop=words, corner=", ".join(corners))

    def _facts(self, lid: Lid) -> Iterator[str]:
        if lid.cover is not None:
            yield self.say("cover", name=lid.cover)
        if lid.crossing is not None:
            yield self.say("circle", within=self.small(lid.crossing.r95_m))
            if not lid.checked:
                yield self._texts["unchecked"]
        if lid.known_by is not None and f"known_by_{lid.known_by}" in self._texts:
            yield self._texts[f"known_by_{lid.known_by}"]
        yield self._depth(lid.depth, lid.kind)
        looks = [each for each in (lid.size, lid.color, lid.material, lid.description) if each]
        if looks:
            yield self.say("look", what=", ".join(looks))
        if lid.landmark is not None:
            yield self.say("landmark", landmark=lid.landmark)

    def _depth(self, depth: LidDepth | None, kind: str) -> str:
        if depth is None:
            return self._texts["depth_none"]
        to = self._texts[f"to_{depth.to}"] if depth.to else ""
        words = self.length(depth.depth_m)
        if depth.how == "cover":
            return self.say("depth_cover", depth=words, kind=kind)
        if depth.day is None:
            return self.say("depth_no_day", depth=words, to=to)
        if depth.how == "found":
            return self.say("depth_found", depth=words, day=depth.day.isoformat())
        return self.say("depth", depth=words, day=depth.day.isoformat(), to=to)

    def _near(self, lid: Lid) -> Iterator[str]:
        if lid.r95_m is None:
            return
        for each in lid.near[:MOST_NEAR]:
            toward = "" if each.wind is None else self.say("toward", wind=self._texts[f"wind_{each.wind}"])
            distance = self.length(each.distance_m)
            kind = "" if each.kind.casefold() in each.name.casefold() else f" ({each.kind})"
            if each.distance_m <= each.r95_m:
                yield self.say("near_at", name=each.name, kind=kind)
            else:
                yield self.say("near", name=each.name, kind=kind, distance=distance, toward=toward)
        if len(lid.near) > MOST_NEAR:
            yield self.say("near_more", count=len(lid.near) - MOST_NEAR)
        if lid.near:
            yield self.say("near_care", distance=self.small(BY_HAND_M))
        else:
            yield self.say("near_none", distance=self.small(self._found.near_m))
        if lid.no_place:
            yield self.say("near_no_place", names=", ".join(lid.no_place))

    def _wall(self, lid: Lid) -> Iterator[str]:
        way = lid.wall
        if way is None:
            return
        past = "" if way.past_m <= 0 else self.say("past", past=self.length(way.past_m), b=way.wall_to)
        words: Mapping[str, str] = {
            "a": way.wall_from,
            "b": way.wall_to,
            "along": self.length(way.along_m),
            "out": self.length(way.out_m),
            "hand": self._texts[way.hand],
            "within": self.small(way.r95_m),
        }
        yield self.say("wall", past=past, **words)
        yield self._texts["square_m" if self._found.units == "m" else "square"]

    def _missing(self, lid: Lid) -> Iterator[str]:
        way = lid.crossing
        assert way is not None  # noqa: S101 - asked for before
        yield self.say("missing_probe", within=self.small(way.r95_m))
        a, b = way.first.reference, way.second.reference
        if lid.mirror_in_house:
            yield self._texts["missing_house"]
        else:
            yield self.say("missing_mirror", a=a, b=b, hand=self._texts[_OTHER[way.hand]])
        other = "" if way.check is None else " " + self.say("missing_other", corner=way.check.tape.reference)
        yield self._texts["missing_corner"] + other
        yield self.say("missing_stop", call=self._found.call or self._texts["missing_anyone"])

    def _corners(self, lid: Lid) -> Iterator[str]:
        for name, description in lid.corners.items():
            yield self.say("corner_is", corner=name, description=description)


def find_text(found: FindSet, lang: str = "en") -> list[str]:
    """Write everything that is said of all lids, a sentence a line, at most WIDTH wide; the cautions once."""
    words = FindWords(found, lang)
    pages = [words.page(lid) for lid in found.lids]
    lines = [*_block(words.heading("stop_head"), pages[0].stop)]
    for lid, page in zip(found.lids, pages, strict=True):
        lines += ["", page.title, f"  {page.subtitle}"]
        lines += [f"  {k}. {step}" for k, step in enumerate(page.steps, 1)] if lid.crossing is not None else page.steps
        lines += [f"  {line}" for line in (*page.corners, *page.hints, *page.facts)]
        for key, said in (("near_head", page.near), ("wall_head", page.wall)):
            lines += [f"  {line}" for line in _block(words.heading(key), said)]
        if page.missing:
            numbered = [f"{k}. {step}" for k, step in enumerate(page.missing, 1)]
            lines += [f"  {line}" for line in _block(words.heading("missing_head"), numbered)]
    lines += ["", *_block(words.heading("danger_head"), pages[0].danger)]
    return [part for line in lines for part in _wrapped(line)]


def _wrapped(line: str) -> list[str]:
    indent = line[: len(line) - len(line.lstrip())]
    more = indent + ("   " if line.lstrip()[:1].isdigit() else "  ")
    return textwrap.wrap(line.lstrip(), WIDTH, initial_indent=indent, subsequent_indent=more) or [""]


def _block(heading: str, said: Iterable[str]) -> list[str]:
    lines = [f"  {line}" for line in said]
    return [heading, *lines] if lines else []
