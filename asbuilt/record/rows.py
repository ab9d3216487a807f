"""Between a value of the model and the row of its table: each field a column, nested values flattened."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from asbuilt.errors import RecordError
from asbuilt.units import Length

Cell = str | int | float | None
"""What one cell of a strict SQLite table holds here."""

_SHORT: dict[tuple[type, str], str] = {(Length, "metres"): "m"}
"""A length in the record ends in its unit: `distance_m`, beside `distance_as_read` and `distance_step_m`."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a typed table."""

    name: str
    sql_type: str  #: TEXT, REAL or INTEGER
    required: bool  #: NOT NULL


@dataclass(frozen=True, slots=True)
class _Scalar:
    """How one plain Python type is kept in a cell."""

    sql_type: str
    dump: Callable[[Any], Cell]
    load: Callable[[Any], Any] | None = None  #: None = the cell is the value


@dataclass(frozen=True, slots=True)
class _Part:
    """One field of a dataclass: a scalar in one column, or a nested value in several."""

    field: str
    optional: bool
    width: int  #: number of columns
    scalar: _Scalar | None
    inner: "RowCodec | None"
    probe: int = 0  #: column of the nested value that is NULL only when the whole value is None


@dataclass(frozen=True, slots=True)
class RowCodec:
    """The inverse pair `cells` and `value` for one dataclass of the model."""

    cls: type
    columns: tuple[Column, ...]
    parts: tuple[_Part, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns, in the order of the cells."""
        return tuple(column.name for column in self.columns)

    def cells(self, value: Any) -> tuple[Cell, ...]:
        """Flatten a value into the cells of its row.

        Raises
        ------
        RecordError
            If a field holds what the record cannot keep exactly, such as a number that is not finite.
        """
        cells: list[Cell] = []
        for part in self.parts:
            held = getattr(value, part.field)
            if held is None and part.optional:
                cells += [None] * part.width
            elif part.inner is not None:
                cells += part.inner.cells(held)
            elif part.scalar is not None:
                cells.append(self._dump(part.scalar, part.field, held))
        return tuple(cells)

    def value(self, cells: Sequence[Any], start: int = 0) -> Any:
        """Build the value again from its cells, which begin at `start`."""
        held: list[Any] = []
        for part in self.parts:
            if part.inner is not None:
                absent = part.optional and cells[start + part.probe] is None
                held.append(None if absent else part.inner.value(cells, start))
            else:
                cell = cells[start]
                load = None if part.scalar is None or cell is None else part.scalar.load
                held.append(cell if load is None else load(cell))
            start += part.width
        return self.cls(*held)

    def _dump(self, scalar: _Scalar, field: str, held: Any) -> Cell:
        try:
            return scalar.dump(held)
        except (TypeError, ValueError, OverflowError) as error:
            message = f"{self.cls.__name__}, {field}: {held!r} cannot be recorded; accepted: {error}"
            raise RecordError(message) from None


def to_row(value: object) -> dict[str, Cell]:
    """Flatten a value of the model into column names and cells.

    Examples
    --------
    >>> from asbuilt.model.measurements import Side, Tie
    >>> row = to_row(Tie("A", "lid", Length("7.12 m", 7.12, 0.01), Side("left", "A", "B")))
    >>> row["distance_as_read"], row["distance_m"], row["distance_step_m"], row["side_word"], row["held"]
    ('7.12 m', 7.12, 0.01, 'left', None)
    """
    cls: type = type(value)
    codec = row_codec(cls)
    return dict(zip(codec.names, codec.cells(value), strict=True))


@cache
def row_codec(cls: type) -> RowCodec:
    """Work out the columns of a dataclass from its fields and their type hints.

    Raises
    ------
    TypeError
        If a field has a type for which no cell is defined.
    """
    hints = get_type_hints(cls)
    columns: list[Column] = []
    parts: list[_Part] = []
    for field in fields(cls):
        kind, optional = _without_none(hints[field.name])
        name = _SHORT.get((cls, field.name), field.name)
        if isinstance(kind, type) and is_dataclass(kind):
            inner = row_codec(kind)
            own = [
                Column(f"{name}_{column.name}", column.sql_type, column.required and not optional)
                for column in inner.columns
            ]
            parts.append(_Part(field.name, optional, len(own), None, inner, _probe(inner) if optional else 0))
        else:
            scalar = _scalar(cls, field.name, kind)
            own = [Column(name, scalar.sql_type, not optional)]
            parts.append(_Part(field.name, optional, 1, scalar, None))
        columns += own
    return RowCodec(cls, tuple(columns), tuple(parts))


def _without_none(hint: Any) -> tuple[Any, bool]:
    if get_origin(hint) not in (Union, UnionType):
        return hint, False
    kinds = [kind for kind in get_args(hint) if kind is not NoneType]
    return (kinds[0] if len(kinds) == 1 else hint), len(kinds) < len(get_args(hint))


def _probe(inner: RowCodec) -> int:
    # Without a needed column a nested value with nothing in it could not be told from None.
    for place, column in enumerate(inner.columns):
        if column.required:
            return place
    raise TypeError(f"{inner.cls.__name__} has no needed field, so a row cannot tell it from None")


def _scalar(cls: type, field: str, kind: Any) -> _Scalar:
    if kind not in _SCALARS:
        raise TypeError(f"{cls.__name__}.{field}: the record has no column type for {kind}")
    return _SCALARS[kind]


def _dump_text(held: Any) -> Cell:
    if not isinstance(held, str):
        raise TypeError("text")
    try:
        held.encode()
    except UnicodeEncodeError:
        raise ValueError("text of whole characters (this one has half a character in it)") from None
    return str(held)


def _dump_real(held: Any) -> Cell:
    if isinstance(held, bool) or not math.isfinite(number := float(held)):
        raise ValueError("a finite number")
    # SQLite keeps whole numbers of a REAL column as integers, which lose the sign of -0.0.
    return number + 0.0


def _dump_whole(held: Any) -> Cell:
    if isinstance(held, bool) or int(held) != held or not -(2**63) <= held < 2**63:
        raise ValueError("a whole number of up to 18 digits")
    return int(held)


def _dump_flag(held: Any) -> Cell:
    if not isinstance(held, bool):
        raise TypeError("yes or no")
    return int(held)


def _dump_day(held: Any) -> Cell:
    # A datetime is a date to isinstance, but its clock time would be lost.
    if type(held) is not date:
        raise TypeError("a day without a clock time")
    return held.isoformat()


_SCALARS: dict[Any, _Scalar] = {
    str: _Scalar("TEXT", _dump_text),
    float: _Scalar("REAL", _dump_real),
    int: _Scalar("INTEGER", _dump_whole),
    bool: _Scalar("INTEGER", _dump_flag, bool),
    date: _Scalar("TEXT", _dump_day, date.fromisoformat),
}
