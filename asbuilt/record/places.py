"""Where the properties of a record lie: known coordinates of all of them, without reading everything else."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

from asbuilt.errors import RecordError
from asbuilt.model.measurements import KnownCoordinate
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.record.database import Record
from asbuilt.record.nouns import NOUNS
from asbuilt.record.rows import row_codec


def read_places(record: Record, names: Sequence[str] | None = None) -> Iterator[PropertyRecord]:
    """Read each property with its facts and its known coordinates only, in the order in which they were loaded.

    Parameters
    ----------
    record
        An open record.
    names
        Only these properties; None = all.

    Raises
    ------
    RecordError
        If rows are missing from the file.
    """
    wanted = None if names is None else set(names)
    with record.read():
        known = {number: tuple(rows) for number, rows in _grouped(record, KnownCoordinate)}
        for number, facts in _grouped(record, Property):
            place = facts[0]
            if wanted is None or place.name in wanted:
                yield PropertyRecord(place, (), known_coordinates=known.get(number, ()))


def _grouped(record: Record, cls: type) -> Iterator[tuple[int, list[Any]]]:
    noun, codec = next(each for each in NOUNS if each.cls is cls), row_codec(cls)
    columns = ", ".join(f't."{name}"' for name in codec.names)
    rows = record.connection.execute(
        f"SELECT e.property_id, e.seq, t.entry_id, {columns} "  # noqa: S608 - table and columns are our own
        f"FROM entry e LEFT JOIN {noun.table} t ON t.entry_id = e.id WHERE e.kind = ? AND e.withdrawn = 0 "
        "AND NOT EXISTS (SELECT 1 FROM entry n WHERE n.supersedes = e.id) "
        "ORDER BY e.property_id, e.position, e.seq",
        (noun.kind,),
    )
    for number, cells in groupby(rows, key=itemgetter(0)):
        values = []
        for row in cells:
            if row[2] is None:
                raise RecordError(f"{record.path}: the values of entry {row[1]} ({noun.kind}) are missing")
            values.append(codec.value(row, 3))
        yield number, values
