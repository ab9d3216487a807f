"""Rule profiles in: from TOML, ours or a user's own, to a `Profile`, or every problem in it.

A profile is named in `property.toml` by `rules`: one of ours by its name, or a user's own by its file, which lies
beside the field sheets and ends in `.toml`. Either may extend another.
"""

import hashlib
import math
import tomllib
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from asbuilt.errors import Problem, ProfileError
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import RuleFile
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.files import read_text
from asbuilt.rules.profile import (
    COMPARISONS,
    DISPOSER,
    INTERVALS,
    KEYS,
    MECHANICAL,
    PRIOR_KEYS,
    PUMPED,
    STANDINGS,
    Limit,
    Prior,
    Profile,
    RecordItem,
    Reference,
    Task,
    extended,
)

DEFAULT = "common"
"""The profile of a property that names none."""

OWN = ".toml"
"""How the name of a user's own profile ends."""

CONDITIONS = (MECHANICAL, PUMPED, DISPOSER)
"""What a limit may apply to besides a kind of component."""

_ROOM = files("asbuilt") / "rules"


def built_in_names() -> tuple[str, ...]:
    """Names of our own profiles, in alphabetical order."""
    return tuple(sorted(each.name.removesuffix(OWN) for each in _ROOM.iterdir() if each.name.endswith(OWN)))


@cache
def built_in(name: str) -> Profile:
    """Read one of our own profiles.

    Raises
    ------
    ProfileError
        If there is none of that name.
    """
    return read_profile(name, {})


def profile_of(record: PropertyRecord) -> Profile:
    """Give the profile that a property goes by.

    Raises
    ------
    ProfileError
        If it is none of ours and the record holds no such file.
    """
    name = record.property.rules or DEFAULT
    if not record.rule_files and not name.endswith(OWN):
        return built_in(name)
    return read_profile(name, {each.name: each.text for each in record.rule_files})


def read_profile(name: str, own: Mapping[str, str]) -> Profile:
    """Read a profile with all that it extends.

    Parameters
    ----------
    name
        One of ours, or the name of a file.
    own
        A user's own files by name.

    Raises
    ------
    ProfileError
        With every problem of all files that were looked at.
    """
    problems: list[Problem] = []
    profile = _read(name, own, (), problems)
    if problems or profile is None:
        raise ProfileError(problems)
    return profile


def gather_own(folder: Path, name: str, problems: list[Problem]) -> list[RuleFile]:
    """Read a user's own profile from the folder of sheets, and those of its files that it extends.

    What is wrong with them is noted.
    """
    found: dict[str, str] = {}
    wanted: str | None = name
    while wanted is not None and wanted.endswith(OWN) and wanted not in found:
        path = folder / wanted
        if Path(wanted).is_absolute() or ".." in Path(wanted).parts or not path.exists():
            break  # told below as a name that is not known
        text = read_text(path, problems)
        if text is None:
            return []
        found[wanted] = text
        wanted = _extends(text)
    before = len(problems)
    _read(name, found, (), problems)
    return [] if len(problems) > before else [RuleFile(each, text) for each, text in found.items()]


def _extends(text: str) -> str | None:
    try:
        table = tomllib.loads(text).get("profile")
    except (ValueError, RecursionError):
        return None
    parent = table.get("extends") if isinstance(table, dict) else None
    return parent if isinstance(parent, str) else None


def reckoned_by(parts: tuple[str, ...] = ("model", "rules", "service")) -> str:
    """Give a mark of the program's own reckoning: it changes whenever its rules or its formulas do.

    The due list is kept in the record together with this mark, so that one reckoned by another version is seen.
    """
    digest = hashlib.sha256()
    for part in parts:
        for each in sorted((files("asbuilt") / part).iterdir(), key=lambda found: found.name):
            if each.name.endswith((".py", OWN)):
                digest.update(each.name.encode() + b"\0" + each.read_bytes())
    return digest.hexdigest()


# Reading


def _read(name: str, own: Mapping[str, str], above: tuple[str, ...], problems: list[Problem]) -> Profile | None:
    """Read one profile and those it extends; None where it cannot be read at all, with the problem noted."""
    file = name if name.endswith(OWN) else f"{name}{OWN}"
    place = above[-1] if above else "property.toml"
    column = "[profile] extends" if above else "rules"
    if name in above:
        reason = f"{shown(name)} extends itself by way of {' > '.join(above)}"
        problems.append(Problem(place, None, column, reason, "extend another profile"))
        return None
    text = own.get(name) if name.endswith(OWN) else _built_in_text(name)
    if text is None:
        accepted = f"accepted: {', '.join(built_in_names())}, or a file ending in {OWN} beside property.toml"
        reason = f"{shown(name)} is no rule profile"
        if name.endswith(OWN) and ".." not in Path(name).parts and not Path(name).is_absolute():
            reason = f"there is no {name} beside property.toml"
        problems.append(Problem(place, None, column, reason, did_you_mean(name, built_in_names(), accepted)))
        return None
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        reason = f"is not TOML: {error}"
        problems.append(Problem(file, None, None, reason, 'accepted: lines such as name = "county"'))
        return None
    return _profile(file, content, own, (*above, name), problems)


def _built_in_text(name: str) -> str | None:
    return (_ROOM / f"{name}{OWN}").read_text(encoding="utf-8") if name in built_in_names() else None


class _Table:
    """One table of a profile, its keys read one by one; what is wrong is noted with its place."""

    def __init__(self, file: str, place: str, content: object, problems: list[Problem]) -> None:
        self.file = file
        self.place = place
        self.problems = problems
        self.content: dict[str, Any] = content if isinstance(content, dict) else {}
        self.read: set[str] = set()
        self.sound = isinstance(content, dict)
        if not self.sound:
            self.note(None, f"{_seen(content)} is no table", f"write {place.split()[0]} on a line of its own")

    def note(self, key: str | None, reason: str, accepted: str) -> None:
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
            self.note(key, f"{_seen(value)} is not accepted here", f"accepted: {what}")
            return None
        return value

    def text(self, key: str, *, needed: bool = False) -> str | None:
        value: str | None = self.take(key, "a text in quotation marks", _is_text, needed=needed)
        return value

    def number(self, key: str, *, above: float | None = None) -> float:
        what = "a number" if above is None else f"a number above {above:g}"
        value = self.take(key, what, lambda it: _is_number(it) and (above is None or it > above), needed=True)
        return math.nan if value is None else float(value)

    def choice(self, key: str, words: tuple[str, ...]) -> str:
        value: str | None = self.take(
            key, ", ".join(words), lambda it: it in words if _is_text(it) else False, needed=True
        )
        return value or ""

    def texts(self, key: str, *, needed: bool = False) -> tuple[str, ...]:
        what = 'a list of texts, such as ["septic tank"]'
        value = self.take(key, what, _is_texts, needed=needed)
        return () if value is None else tuple(value)

    def flag(self, key: str) -> bool:
        return bool(self.take(key, "true or false", lambda it: isinstance(it, bool)))

    def reference(self) -> Reference:
        """Read the inline table that says where a rule stands."""
        self.read.add("reference")
        if "reference" not in self.content:
            self.note("reference", "is missing", 'write reference = { code = "...", section = "..." }')
            return Reference("")
        if isinstance(self.content["reference"], str):
            mend = 'write reference = { code = "...", section = "..." }'
            self.note("reference", f"{_seen(self.content['reference'])} is a text", mend)
            return Reference("")
        inner = _Table(self.file, f"{self.place} reference", self.content["reference"], self.problems)
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


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip()) and value.isprintable()


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_is_text, value))


def _seen(value: object) -> str:
    if isinstance(value, bool):
        return shown(str(value).lower())
    return shown(str(value)) if isinstance(value, str | int | float) else "a list or table"


def _profile(
    file: str, content: dict[str, Any], own: Mapping[str, str], above: tuple[str, ...], problems: list[Problem]
) -> Profile:
    """Read the tables of one file, and put in what it extends."""
    head = _Table(file, "[profile]", content.get("profile", {}), problems)
    name, title = head.text("name", needed=True), head.text("title", needed=True)
    parent_name = head.text("extends")
    local_code = head.text("local_code", needed=parent_name is None)
    edition, without = head.text("edition"), head.texts("without")
    head.finish()
    for key in (each for each in content if each not in ("profile", *_MAKERS)):
        accepted = did_you_mean(key, _MAKERS, f"accepted: {', '.join(f'[[{each}]]' for each in _MAKERS)}")
        problems.append(Problem(file, None, f"[[{key}]]", "is no table of a rule profile", accepted))
    made = {key: _tables(file, key, content.get(key, []), problems) for key in _MAKERS}
    limits, tasks, priors, items = (tuple(made[key]) for key in _MAKERS)
    _refuse_doubles(file, made, problems)
    profile = Profile(name or "", title or "", local_code or "", edition, limits, tasks, priors, items)
    parent = None if parent_name is None else _read(parent_name, own, above, problems)
    if parent is None:
        return profile
    for key in without:
        if key not in KEYS:
            accepted = did_you_mean(key, KEYS, f"accepted: {', '.join(KEYS)}")
            problems.append(Problem(file, None, "[profile] without", f"{shown(key)} is no key of a limit", accepted))
    profile = extended(profile, parent, without)
    if local_code is None:
        return Profile(**{**_fields(profile), "local_code": parent.local_code})
    return profile


def _fields(profile: Profile) -> dict[str, Any]:
    return {each: getattr(profile, each) for each in Profile.__slots__}


def _tables(file: str, key: str, content: object, problems: list[Problem]) -> list[Any]:
    if not isinstance(content, list):
        problems.append(Problem(file, None, f"[[{key}]]", "is no list of tables", f"write [[{key}]] above each"))
        return []
    made = []
    for number, each in enumerate(content, start=1):
        table = _Table(file, f"[[{key}]] {number}", each, problems)
        if table.sound:
            value = _MAKERS[key](table)
            table.finish()
            made += [value] if table.sound else []
    return made


def _limit(table: _Table) -> Limit:
    key = table.choice("key", tuple(KEYS))
    value = table.number("value")
    unit = table.choice("unit", KEYS[key]) if key else table.text("unit") or ""
    if unit in INTERVALS and value <= 0:
        table.note("value", f"{_seen(table.content['value'])} is no interval", "accepted: a number above 0")
    comparison = table.choice("comparison", COMPARISONS)
    if unit in INTERVALS and comparison in ("at least", "more than"):
        reason = f"{shown(comparison)} makes no interval: it would let a task wait for ever"
        table.note("comparison", reason, "accepted: at most, less than")
    return Limit(
        key,
        value,
        unit,
        comparison,
        _applies_to(table),
        table.reference(),
        table.choice("standing", STANDINGS),
        table.text("note"),
    )


def _applies_to(table: _Table) -> str:
    """Read what a limit applies to; any kind is accepted, but not a condition that is none or a slip of one."""
    said = table.text("applies_to", needed=True) or ""
    word = " ".join(said.casefold().split())
    if word not in CONDITIONS and (
        word.startswith(("system ", "household ")) or get_close_matches(word[:200], CONDITIONS, n=1, cutoff=0.85)
    ):
        accepted = f"accepted: a kind of component, {', '.join(CONDITIONS)}"
        table.note("applies_to", f"{shown(said)} is no condition", did_you_mean(word, CONDITIONS, accepted))
    return said


def _task(table: _Table) -> Task:
    name, kinds = table.text("name", needed=True), table.texts("kinds", needed=True)
    key = table.choice("key", tuple(each for each in KEYS if each.endswith("_interval")))
    done_by, where = table.texts("done_by", needed=True), table.texts("where_done_on")
    needs = table.choice("needs", (MECHANICAL, PUMPED)) if "needs" in table.content else table.text("needs")
    return Task((name or "").casefold(), kinds, key, done_by, where, needs, table.flag("once"))


def _prior(table: _Table) -> Prior:
    key = table.choice("key", tuple(PRIOR_KEYS))
    return Prior(
        key,
        table.number("mean"),
        table.number("sd", above=0),
        table.choice("unit", PRIOR_KEYS[key]) if key else table.text("unit") or "",
        table.reference(),
        table.choice("standing", STANDINGS),
        table.text("note"),
    )


def _record_item(table: _Table) -> RecordItem:
    item, task, named = (
        table.text("item", needed=True),
        table.text("task", needed=True),
        table.texts("fields", needed=True),
    )
    columns = [each.rstrip("_") for each in ServiceEntry.__slots__]
    for field in named:
        if field not in columns:
            table.note(
                "fields",
                f"{shown(field)} is no column of service.csv",
                did_you_mean(field, columns, f"accepted: {', '.join(columns)}"),
            )
    return RecordItem(item or "", task or "", named, table.reference(), table.choice("standing", STANDINGS))


_MAKERS: dict[str, Callable[[_Table], Any]] = {
    "limit": _limit,
    "task": _task,
    "prior": _prior,
    "record_item": _record_item,
}
"""What the tables of a profile become, in the order of the fields of `Profile`."""


def _refuse_doubles(file: str, made: Mapping[str, list[Any]], problems: list[Problem]) -> None:
    """Note two rules of one kind that say the same thing twice."""
    for kind, key in _KEYS.items():
        seen: dict[str, int] = {}
        for number, rule in enumerate(made[kind], start=1):
            name = key(rule)
            if seen.setdefault(name, number) != number:
                reason = f"{name} stands there twice"
                problems.append(Problem(file, None, f"[[{kind}]] {number}", reason, "keep one of the two"))


_KEYS: dict[str, Callable[[Any], str]] = {
    "limit": lambda it: f"{shown(it.key)} for {shown(it.applies_to)}",
    "task": lambda it: shown(it.name),
    "prior": lambda it: shown(it.key),
}
"""By what two rules of one file are the same."""
