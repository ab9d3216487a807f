"""One table of a rule profile, read key by key; what is wrong is noted with its file, table and key."""

import math
from collections.abc import Callable
from typing import Any

from asbuilt.errors import Problem
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.rules.reference import Reference


class Table:
    """One table of a profile, its keys read one by one; what is wrong is noted with its place."""

    def __init__(self, file: str, place: str, content: object, problems: list[Problem]) -> None:
        self.file = file
        self.place = place
        self.problems = problems
        self.content: dict[str, Any] = content if isinstance(content, dict) else {}
        self.read: set[str] = set()
        self.sound = isinstance(content, dict)
        if not self.sound:
            self.note(None, f"{seen(content)} is no table", f"write {place.split()[0]} on a line of its own")

    def note(self, key: str | None, reason: str, accepted: str) -> None:
        """Note what is wrong with one key; None = with the table."""
        self.sound = False
        where = self.place if key is None else f"{self.place} {key}"
        self.problems.append(Problem(self.file, None, where, reason, accepted))

    def take(self, key: str, what: str, accepts: Callable[[Any], bool], *, needed: bool = False) -> Any:
        """Give the value of a key; None = not there, or not of the kind that is said in `what`."""
        self.read.add(key)
        if key not in self.content:
            if needed:
                self.note(key, "is missing", f"write {key} = ... ({what})")
            return None
        value = self.content[key]
        if not accepts(value):
            self.note(key, f"{seen(value)} is not accepted here", f"accepted: {what}")
            return None
        return value

    def text(self, key: str, *, needed: bool = False) -> str | None:
        """Give a text of one line."""
        value: str | None = self.take(key, "a text in quotation marks", is_text, needed=needed)
        return value

    def number(self, key: str, *, above: float | None = None) -> float:
        """Give a number that must be there; NaN where it is not, with the problem noted."""
        what = "a number" if above is None else f"a number above {above:g}"
        value = self.take(key, what, lambda it: _is_number(it) and (above is None or it > above), needed=True)
        return math.nan if value is None else float(value)

    def size(self, key: str) -> float | None:
        """Give a size in inches above 0; None = not there."""
        value = self.take(key, "a number of inches above 0", lambda it: _is_number(it) and it > 0)
        return None if value is None else float(value)

    def count(self, key: str, usual: int) -> int:
        """Give a whole number of 0 or more; `usual` where it is not there."""
        value = self.take(
            key, "a whole number, 0 or more", lambda it: isinstance(it, int) and _is_number(it) and it >= 0
        )
        return usual if value is None else int(value)

    def choice(self, key: str, words: tuple[str, ...]) -> str:
        """Give one of some words; empty where it is none, with the problem noted."""
        value: str | None = self.take(
            key, ", ".join(words), lambda it: it in words if is_text(it) else False, needed=True
        )
        return value or ""

    def texts(self, key: str, *, needed: bool = False) -> tuple[str, ...]:
        """Give a list of texts; empty where it is not there."""
        what = 'a list of texts, such as ["septic tank"]'
        value = self.take(key, what, _is_texts, needed=needed)
        return () if value is None else tuple(value)

    def flag(self, key: str) -> bool:
        """Give true or false; false where it is not there."""
        return bool(self.take(key, "true or false", lambda it: isinstance(it, bool)))

    def reference(self) -> Reference:
        """Read the inline table that says where a rule stands."""
        self.read.add("reference")
        if "reference" not in self.content:
            self.note("reference", "is missing", 'write reference = { code = "...", section = "..." }')
            return Reference("")
        if isinstance(self.content["reference"], str):
            mend = 'write reference = { code = "...", section = "..." }'
            self.note("reference", f"{seen(self.content['reference'])} is a text", mend)
            return Reference("")
        inner = Table(self.file, f"{self.place} reference", self.content["reference"], self.problems)
        code = inner.text("code", needed=inner.sound)
        rest = [inner.text(key) for key in ("section", "edition", "address")]
        inner.finish()
        self.sound = self.sound and inner.sound
        return Reference(code or "", *rest)

    def finish(self) -> None:
        """Note keys that are none."""
        for key in self.content:
            if key not in self.read:
                accepted = did_you_mean(key, self.read, f"accepted: {', '.join(sorted(self.read))}")
                self.note(key, f"{shown(key)} is no key here", accepted)


def is_text(value: object) -> bool:
    """Tell whether a value is a text that can be printed on one line."""
    return isinstance(value, str) and bool(value.strip()) and value.isprintable()


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(is_text, value))


def seen(value: object) -> str:
    """Show a value as it stands in the file."""
    if isinstance(value, bool):
        return shown(str(value).lower())
    return shown(str(value)) if isinstance(value, str | int | float) else "a list or table"
