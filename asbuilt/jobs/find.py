"""Find it again: which lids of a property, from what still stands, with everything that is recorded round them."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from asbuilt.errors import UnknownNameError
from asbuilt.findings import Finding, Severity
from asbuilt.jobs.locate import Located
from asbuilt.model.components import Component, Point, split_name
from asbuilt.output.find.lid import FindSet, Lid, LidDepth, wind_of
from asbuilt.output.find.surroundings import NEAR_M, Surroundings
from asbuilt.record.profiles import profile_of
from asbuilt.record.prompt import Prompt
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.survey.finding import AlongWall, Crossing, Finder
from asbuilt.survey.solution import Position

PICTURE_PX = 480
"""Longer side of a photo on the sheet: sharp at two inches, and a page stays light (our own)."""

LID_WORDS = frozenset(["lid", "riser", "opening", "manhole", "access", "port", "cap", "turn-up", "hatch", "cover"])
"""Words in a point's own name by which it is something that one opens."""

LID_KINDS = ("cleanout", "inspection port", "distribution box", "valve", "drop box")
"""Words in the kind of a component whose points are all things that one opens."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Which lids, and from what they are to be found."""

    names: tuple[str, ...] = ()  #: components or points; empty = every lid
    lost: tuple[str, ...] = ()  #: reference points that are gone or blocked
    visible: tuple[str, ...] = ()  #: all that can be seen, reference points or open points; empty = what stands
    care: str = "normal"  #: how the finder's tapes are pulled
    pictures: Mapping[str, bytes] = field(default_factory=dict)  #: small pictures by the hash of their photo


def find_lids(located: Located, today: date, asked: Asked | None = None) -> FindSet:
    """Say how to find lids again.

    Raises
    ------
    PromptError
        If a name is not known, or fewer than two marks can be used.
    UnknownNameError
        If there is no such component or point, or the property has nothing that one opens.
    """
    return _Searching(located, today, asked or Asked()).run()


def find_pdf(found: FindSet, lang: str, paper: str, *, one_page_each: bool) -> bytes:
    """Set what was found out as PDF."""
    from asbuilt.output.find.sheet import find_sheet_pdf

    return find_sheet_pdf(found, lang, paper, one_page_each=one_page_each)


def pictures_of(record_file: Path, located: Located) -> dict[str, bytes]:
    """Give small pictures of a property's photos, by hash; those that are missing are left out."""
    if not located.record.photos:
        return {}
    from asbuilt.record.photos import thumbnails

    return thumbnails(record_file, located.record.photos, PICTURE_PX)


def lost_findings(found: FindSet) -> list[Finding]:
    """Say of which lids no way can be told."""
    return [
        Finding(
            "no-way",
            lid.name,
            f"{lid.name} cannot be found from the record: "
            + ("it has no place." if lid.r95_m is None else "no two marks are left to tape it from."),
            Severity.ATTENTION,
            f'Say what is missing: asbuilt ready "{found.property}".' if lid.r95_m is None else "Name more marks.",
        )
        for lid in found.lids
        if lid.crossing is None
    ]


def lid_names(located: Located, today: date, names: Sequence[str] = ()) -> tuple[str, ...]:
    """Give the full names of the points that are asked for, or of every point that one opens.

    Raises
    ------
    UnknownNameError
        If there is no such component or point, or nothing that one opens.
    PromptError
        If a short name may mean several points.
    """
    record = located.record
    standing = {each.name: each for each in _standing(located, today)}
    found: dict[str, None] = {}
    for name in names:
        points = _of(located, standing, name)
        found |= dict.fromkeys(points)
    if not names:
        for component in standing.values():
            found |= dict.fromkeys(n for n in record.points_of(component.name) if _is_lid(component, n))
    if not found:
        raise UnknownNameError(f"{record.property.name} has no lid, cap or cleanout; name a component or a point")
    return tuple(found)


def _of(located: Located, standing: dict[str, Component], name: str) -> list[str]:
    """Points of a component that one opens, else all of its points; or the one point of that name."""
    record = located.record
    if name in standing and name not in record.point_names():
        points = list(record.points_of(name))
        if not points:
            raise UnknownNameError(f"{name} has no points: nothing of it was measured")
        return [each for each in points if _is_lid(standing[name], each)] or points
    prompt = Prompt(record)
    if not prompt.called(name) and name not in record.point_names():
        names = [*standing, *record.point_names()]
        accepted = did_you_mean(name, names, f"its components are: {', '.join(standing) or 'none'}")
        raise UnknownNameError(f"{record.property.name} has no component or point {shown(name)}; {accepted}")
    known = prompt.known_name("the point", name)
    prompt.stop()
    return [] if known is None else [known]


def _is_lid(component: Component, name: str) -> bool:
    own = (split_name(name)[1] or name).casefold()
    words = set(re.split(r"[^\w-]+", own))
    return bool(words & LID_WORDS) or any(kind in component.kind.casefold() for kind in LID_KINDS)


def _standing(located: Located, today: date) -> list[Component]:
    """Components in the ground on that day, with those that only points name."""
    record = located.record
    listed = [each for each in record.components if each.stands_on(today)]
    known = {each.name for each in record.components}
    named = dict.fromkeys(record.component_of(name) for name in record.point_names())
    return listed + [Component(name, name) for name in named if name not in known]


class _Searching:
    """One question about one property."""

    def __init__(self, located: Located, today: date, asked: Asked) -> None:
        self.located, self.today, self.asked = located, today, asked
        self.record, self.solution = located.record, located.solution
        self.rows = {point.name: point for point in self.record.points}
        self.components = {each.name: each for each in _standing(located, today)}
        self.around = Surroundings(self.record, self.solution, self.components, profile_of(self.record))
        self.places = self.around.places

    def run(self) -> FindSet:
        names = lid_names(self.located, self.today, self.asked.names)
        usable = self._usable()
        rings = self.around.rings()
        finder = Finder(self.record, self.solution, usable, rings=rings, care=self.asked.care)
        lids = tuple(self._lid(name, finder) for name in names)
        place = self.record.property
        marks = {name: self.places[name] for name in usable}
        return FindSet(
            place.name,
            place.units,
            place.draft,
            self.today,
            lids,
            marks,
            tuple(self.around.traces()),
            self.around.north_up,
            NEAR_M,
            " ".join(each for each in (place.panel.call, place.panel.phone) if each),
        )

    def _usable(self) -> list[str]:
        """List what can be measured from: standing, placed, seen, not lost, not inside what was built since."""
        prompt = Prompt(self.record)
        gone = {each.name for each in self.record.reference_points if each.gone_on is not None}
        away = {prompt.known_name("--lost", name) for name in self.asked.lost}
        seen = [name for words in self.asked.visible if (name := prompt.known_name("--visible", words)) is not None]
        for name in seen:
            if name in gone:
                prompt.refuse("--visible", f"{shown(name)} is recorded as gone", "leave it away")
            elif name not in self.places:
                prompt.refuse("--visible", f"{shown(name)} has no place in the record", "leave it away")
        listed = seen or [each for each in self.record.reference_names() if each in self.places]
        hidden = {name for name in listed if not seen and self.around.hides(name)}
        usable = [name for name in listed if name not in gone | away | hidden and name in self.places]
        if not prompt.problems and len(usable) < 2:
            left = f"only {shown(usable[0])} is left" if usable else "nothing is left"
            accepted = "it needs two marks; name what can be seen with --visible, an open lid too"
            prompt.refuse("the property", f"{left} to measure from", accepted)
        prompt.stop()
        return usable

    def _lid(self, name: str, finder: Finder) -> Lid:
        position = self.solution.position(name)
        component = self.record.component_of(name)
        kind = self.components[component].kind if component in self.components else component
        row = self.rows.get(name) or Point(component, split_name(name)[1])
        way, wall = finder.by_tapes(name), finder.by_wall(name)
        named = self._named(way, wall)
        radius_m = way.r95_m if way is not None else position.r95_m or 0.0
        return Lid(
            name,
            component,
            kind,
            position.r95_m,
            position.checked,
            way,
            wall,
            self._wind(position, way),
            self._descriptions(named),
            self._drops(name, named),
            way is not None and self.around.in_house(way.mirror),
            self.around.cover(position, radius_m),
            self._depth(name),
            row.size,
            row.color,
            row.material,
            row.description or kind,
            row.mark,
            self._landmark(row),
            row.known_by,
            tuple(self.around.near(position, radius_m, along=bool(self.asked.names))),
            tuple(self.around.without_place(component)),
            self._photo(name, component),
        )

    def _named(self, way: Crossing | None, wall: AlongWall | None) -> list[str]:
        """List the reference points that the words name, each once."""
        found = [] if way is None else [way.first.reference, way.second.reference]
        if way is not None and way.check is not None:
            found.append(way.check.tape.reference)
        found += [] if wall is None else [wall.wall_from, wall.wall_to]
        return list(dict.fromkeys(found))

    def _descriptions(self, names: Iterable[str]) -> dict[str, str]:
        told = {each.name: each.description for each in self.record.reference_points}
        return {name: words for name in names if (words := told.get(name))}

    def _drops(self, name: str, references: Iterable[str]) -> dict[str, float]:
        """How far a point lies below marks: by levels, else as noted with a tape."""
        noted = {tie.from_: tie.drop.metres for tie in self.record.ties if tie.to == name and tie.drop is not None}
        drops = {}
        for each in references:
            levelled = self.solution.levels.drop(each, name)
            if levelled is not None:
                drops[each] = levelled[0]
            elif each in noted:
                drops[each] = noted[each]
        return drops

    def _wind(self, position: Position, way: Crossing | None) -> str | None:
        if way is None or position.place is None or not self.around.north_up:
            return None
        return wind_of(position.place - self.places[way.first.reference])

    def _depth(self, name: str) -> LidDepth | None:
        """Give the depth last seen: when it was uncovered, else as noted, as levelled, or the component's cover."""
        seen = [each for each in self.record.sightings if each.point == name and each.on <= self.today and each.depth]
        if seen:
            last = max(seen, key=lambda each: each.on)
            assert last.depth is not None  # noqa: S101 - chosen for it
            return LidDepth(last.depth.metres, "", last.on, "found")
        row, component = self.rows.get(name), self.components.get(self.record.component_of(name))
        built = component.installed_on if component is not None else None
        day = self.record.property.measured.on or built
        if row is not None and row.depth is not None:
            return LidDepth(row.depth.metres, row.depth_to or "", day, "noted")
        for to in ("top", "invert"):
            levelled = self.solution.levels.depth(name, to)
            if levelled is not None:
                return LidDepth(levelled.depth_m, to, levelled.day or day, "levelled")
        if component is not None and component.cover is not None:
            return LidDepth(component.cover.metres, "", day, "cover")
        return None

    def _landmark(self, row: Point) -> str | None:
        """Give the newest words of how it lies by eye."""
        seen = [each for each in self.record.sightings if each.point == row.name and each.landmark]
        return max(seen, key=lambda each: each.on).landmark if seen else row.landmark

    def _photo(self, name: str, component: str) -> bytes | None:
        """Give the first picture of a point, else of its component."""
        for of in (name, component):
            for photo in self.record.photos:
                if photo.of == of and photo.sha256 in self.asked.pictures:
                    return self.asked.pictures[photo.sha256]
        return None
