"""Names across the sheets: which are known, which are new, and what a name written short stands for."""

from collections.abc import Collection, Iterable
from itertools import chain

from asbuilt.errors import Problem
from asbuilt.model.components import full_name, split_name
from asbuilt.model.measurements import Side
from asbuilt.record.sheets.cells import CellError, did_you_mean, shown
from asbuilt.record.sheets.columns import TAPES
from asbuilt.record.sheets.rows import Row, Sheet

MOST_HINTS = 50
"""Near names looked for in one run, or a large wrong sheet takes minutes; later messages go without."""


class Names:
    """The names of one folder of sheets.

    Parameters
    ----------
    sheets
        The sheets by file name; names in their cells are replaced by full names.
    problems
        Where what is wrong is noted.
    """

    def __init__(self, sheets: dict[str, Sheet], problems: list[Problem]) -> None:
        self.references: dict[str, Row] = {}
        self.points: dict[str, Row] = {}  #: by full name: the points of points.csv
        self.added: dict[str, Row] = {}  #: by full name: points that only ties and offsets name
        self.components: dict[str, Row] = {}
        self._short: dict[str, list[str]] = {}  # a point's own name -> full names
        self._folded: dict[str, tuple[str, Row]] = {}  # any reference point or point, whatever its case
        self._hints = 0
        self._problems = problems
        self._sheets = sheets
        # Where a sheet of names is itself unreadable, "unknown" would be said of every name in the others.
        named = ("reference_points.csv", "points.csv", "components.csv")
        self.complete = all(sheets[each].readable for each in named) and sheets[named[0]].present
        self._open = not sheets["points.csv"].rows
        self._take_references(sheets["reference_points.csv"].rows)
        self._take_points(sheets["points.csv"].rows)
        self._take_components(sheets["components.csv"], sheets["points.csv"].rows)

    def _take_references(self, rows: list[Row]) -> None:
        for row in rows:
            name = _written(row, "name")
            if name is not None and self._is_new(row, "name", name, name):
                self.references[name] = row

    def _take_points(self, rows: list[Row]) -> None:
        for row in rows:
            component, point = _written(row, "component"), _written(row, "point")
            if component is None or point is None:
                continue
            name = full_name(component, point)
            earlier = self._folded.get(point.casefold())
            if earlier is not None and earlier[0] in self.references:
                reason = f"{shown(point)} is named like the reference point {shown(earlier[0])} in {earlier[1].place}"
                self._problems.append(row.problem("point", reason, "give the point another name"))
            elif self._is_new(row, "point", name, point):
                self.points[name] = row
                self._short.setdefault(point, []).append(name)

    def _is_new(self, row: Row, column: str, name: str, written: str) -> bool:
        """Note a name, or the problem that it is there already."""
        earlier = self._folded.setdefault(name.casefold(), (name, row))
        if earlier[1] is row:
            return True
        if earlier[0] == name:
            reason = f"{shown(written)} stands already in {earlier[1].place}"
        else:
            reason = f"{shown(written)} differs only by capitals from {shown(earlier[0])} in {earlier[1].place}"
        self._problems.append(row.problem(column, reason, "give each its own name"))
        return False

    def _take_components(self, sheet: Sheet, points: list[Row]) -> None:
        rows, column = (sheet.rows, "name") if sheet.present else (points, "component")
        folded: dict[str, tuple[str, Row]] = {}
        for row in rows:
            name = _written(row, column)
            if name is None:
                continue
            earlier, place = folded.setdefault(name.casefold(), (name, row))
            if earlier != name:
                reason = f"{shown(name)} differs only by capitals from {shown(earlier)} in {place.place}"
                self._problems.append(row.problem(column, reason, "write one name one way"))
            self.components.setdefault(name, row)
        if sheet.present:
            for row in points:
                self.resolve_component(row, "component", "a component of components.csv")

    # Looking up

    def find(self, written: str) -> str:
        """Give the full name of a reference point or a point.

        Raises
        ------
        CellError
            If no such name is known, or several points are called so.
        """
        found = self._known(written)
        if found is None:
            raise self._unknown(written, self._all())
        return found

    def find_reference(self, written: str) -> str:
        """Give the name of a reference point.

        Raises
        ------
        CellError
            If no such reference point is known.
        """
        if written not in self.references and self.complete:
            raise self._unknown(written, self.references, "reference point", "a name of reference_points.csv")
        return written

    def find_or_add(self, written: str, row: Row) -> str:
        """Give the full name of a reference point or a point, which may be a new one.

        Raises
        ------
        CellError
            If it is neither known nor of the form of a new point.
        """
        found = self._known(written)
        if found is None:
            earlier = self._folded.get(written.casefold())
            if earlier is not None or not self._may_be_new(written):
                raise self._unknown(written, self._all())
            self._folded[written.casefold()] = (written, row)
            self.added[written] = row
            found = written
        return found

    def find_levelled(self, written: str, turning_points: Collection[str]) -> str:
        """Give the full name of what a rod stood on: a reference point, a point, or one of the turning points.

        Raises
        ------
        CellError
            If it is none of these, nor a new point of a known component.
        """
        found = self._known(written)
        if found is None:
            folds = written.casefold() in self._folded
            new_point = "/" in written and self._may_be_new(written)
            if folds or not (written in turning_points or new_point):
                where = "a known name, or a turning point (shot from two set-ups, or the benchmark)"
                raise self._unknown(written, self._all(), "reference point or point", where)
        return found or written

    def _known(self, written: str) -> str | None:
        if written in self.references or written in self.points or written in self.added:
            return written
        full = self._short.get(written, [])
        if len(full) > 1:
            several = " or ".join(map(shown, full[:4]))
            raise CellError(f"{shown(written)} may be {several}", "write component/point")
        return full[0] if full else None if self.complete else written

    def _all(self) -> Iterable[str]:
        return chain(self.references, self.points, self.added, self._short)

    def _may_be_new(self, written: str) -> bool:
        component, point = split_name(written)
        well_formed = bool(component.strip()) and (bool(point.strip()) or "/" not in written)
        return well_formed and (self._open or ("/" in written and component in self.components))

    def _unknown(
        self,
        written: str,
        known: Iterable[str],
        what: str = "reference point or point",
        where: str = "a name of reference_points.csv or points.csv, or component/point of a known component",
    ) -> CellError:
        self._hints += 1
        near = known if self._hints <= MOST_HINTS else ()
        return CellError(f"{shown(written)} is no {what}", did_you_mean(written, near, f"accepted: {where}"))

    # Replacing names in rows

    def resolve(self, row: Row, column: str, *, add: bool = False) -> None:
        """Replace a name in a row by its full name, or note why not."""
        if row.get(column) is not None:
            try:
                written = row.get(column)
                row.values[column] = self.find_or_add(written, row) if add else self.find(written)
            except CellError as error:
                self._problems.append(row.problem(column, error.reason, error.accepted))

    def resolve_reference(self, row: Row, column: str) -> None:
        """Note where a name in a row is not a reference point."""
        if row.get(column) is not None:
            try:
                self.find_reference(row.get(column))
            except CellError as error:
                self._problems.append(row.problem(column, error.reason, error.accepted))

    def resolve_component(self, row: Row, column: str, accepted: str) -> None:
        """Note where a name in a row is not a component."""
        name = row.get(column)
        if name is not None and name not in self.components and self.complete:
            error = self._unknown(name, self.components, "component", accepted)
            self._problems.append(row.problem(column, error.reason, error.accepted))

    def resolve_side(self, row: Row) -> None:
        """Replace the two names of a side by full names."""
        side = row.get("side")
        if side is not None and side.a is not None:
            try:
                row.values["side"] = Side(side.word, self.find(side.a), self.find(side.b))
            except CellError as error:
                self._problems.append(row.problem("side", error.reason, error.accepted))


def resolve_names(sheets: dict[str, Sheet], earth: Row | None, problems: list[Problem]) -> Names:
    """Replace every name in the sheets by the full name it stands for, and note those that stand for nothing.

    New points come from ties and offsets, so these go first; the order of rows and files changes nothing.
    """
    names = Names(sheets, problems)
    for row in sheets["ties.csv"].rows:
        names.resolve(row, "from", add=True)
        names.resolve(row, "to", add=True)
    for row in sheets["offsets.csv"].rows:
        names.resolve(row, "point", add=True)
    for row in sheets["offsets.csv"].rows:
        names.resolve(row, "wall_from")
        names.resolve(row, "wall_to")
    for row in sheets["points.csv"].rows:
        for tape in TAPES:
            names.resolve(row, f"from{tape}")
    for row in (*sheets["points.csv"].rows, *sheets["ties.csv"].rows):
        names.resolve_side(row)
    for row in sheets["walls.csv"].rows:
        names.resolve_reference(row, "from")
        names.resolve_reference(row, "to")
    for row in sheets["known_coordinates.csv"].rows:
        names.resolve(row, "point")
    for row in sheets["sightings.csv"].rows:
        for column in ("point", "from1", "from2"):
            names.resolve(row, column)
    _resolve_components(sheets, names)
    if earth is not None:
        for key in ("reference", "wall_from", "wall_to"):
            names.resolve_reference(earth, key)
    return names


def _resolve_components(sheets: dict[str, Sheet], names: Names) -> None:
    """Look up the components that service entries and replacements name."""
    if not sheets["components.csv"].present and not sheets["points.csv"].rows:
        for point, row in names.added.items():
            names.components.setdefault(split_name(point)[0], row)
    for row in sheets["components.csv"].rows:
        names.resolve_component(row, "replaces", "the name of another row of components.csv")
        names.resolve_component(row, "follows", "the name of another row of components.csv")
    for row in sheets["tasks.csv"].rows:
        names.resolve_component(row, "component", f"a component of {_component_sheet(sheets)}")
    for row in (*sheets["service.csv"].rows, *sheets["readings.csv"].rows):
        names.resolve_component(row, "component", f"a component of {_component_sheet(sheets)}")


def _component_sheet(sheets: dict[str, Sheet]) -> str:
    named = [each for each in ("components.csv", "points.csv") if sheets[each].present]
    return named[0] if named else "ties.csv"


def _written(row: Row, column: str) -> str | None:
    """Give a name even where it was refused, so that it is not called unknown elsewhere as well."""
    name = row.get(column)
    return name if isinstance(name, str) else row.raw.get(column)
