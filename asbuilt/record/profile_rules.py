"""The rules of a profile, each made of one table: limits, tasks, priors, what a record must hold."""

from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Any

from asbuilt.errors import Problem
from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.site_readings import READINGS
from asbuilt.record.profile_table import Table, is_text, seen
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.columns import PROPERTY_KEYS
from asbuilt.rules.keys import BETWEEN, COMPARISONS, INTERVALS, KEYS, NAMES, PRIOR_KEYS, SIZED, STANDINGS
from asbuilt.rules.profile import DISPOSER, MECHANICAL, PUMPED, Limit, Prior, RecordItem, Task
from asbuilt.rules.required import PROPERTY, RequiredFact, RequiredPoint

CONDITIONS = (MECHANICAL, PUMPED, DISPOSER)
"""What a limit may apply to besides a kind of component."""


def read_rules(file: str, content: Mapping[str, Any], problems: list[Problem]) -> dict[str, tuple[Any, ...]]:
    """Read every list of tables of one file: by the names of MAKERS, in the order of the file."""
    made = {key: _tables(file, key, content.get(key, []), problems) for key in MAKERS}
    _refuse_doubles(file, made, problems)
    return {key: tuple(values) for key, values in made.items()}


def read_names(file: str, content: object, problems: list[Problem]) -> dict[str, str]:
    """Read `[names]`: local names, such as the title of the drawing."""
    table = Table(file, "[names]", content, problems)
    told = {key: table.text(key) for key in NAMES}
    table.finish()
    return {key: text for key, text in told.items() if text is not None}


def read_groups(file: str, place: str, content: object, problems: list[Problem]) -> dict[str, tuple[str, ...]]:
    """Read `[groups]` or `[but_not]`: by a word the phrases by which kinds are known, or that do not mean it."""
    table = Table(file, place, content, problems)
    groups = {}
    for word in table.content if table.sound else ():
        if is_text(word):
            groups[word.casefold()] = tuple(phrase.casefold() for phrase in table.texts(word, needed=True))
        else:
            table.read.add(word)
            table.note(None, f"{seen(word)} is no word for kinds", "write a word that can be printed")
    return groups


def _tables(file: str, key: str, content: object, problems: list[Problem]) -> list[Any]:
    if not isinstance(content, list):
        problems.append(Problem(file, None, f"[[{key}]]", "is no list of tables", f"write [[{key}]] above each"))
        return []
    made = []
    for number, each in enumerate(content, start=1):
        table = Table(file, f"[[{key}]] {number}", each, problems)
        if table.sound:
            value = MAKERS[key](table)
            table.finish()
            made += [value] if table.sound else []
    return made


def _limit(table: Table) -> Limit:
    key = table.choice("key", tuple(KEYS))
    value = table.number("value")
    if value < 0:
        table.note("value", f"{seen(table.content['value'])} is below 0", "accepted: a number of 0 or more")
    unit = table.choice("unit", KEYS[key]) if key else table.text("unit") or ""
    if unit in INTERVALS and value <= 0:
        table.note("value", f"{seen(table.content['value'])} is no interval", "accepted: a number above 0")
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
        _to(table, key),
        *_sizes(table, key),
    )


def _to(table: Table, key: str) -> str | None:
    """Read what a setback is measured to; no other limit has it."""
    to = table.text("to", needed=key in BETWEEN)
    if to is not None and key and key not in BETWEEN:
        table.note(
            "to", f"{shown(key)} is not measured to anything", f"accepted: to only beside {' or '.join(BETWEEN)}"
        )
    return to


def _sizes(table: Table, key: str) -> tuple[float | None, float | None]:
    """Read for which sizes a limit holds."""
    first, last = table.size("from_size"), table.size("to_size")
    if (first is not None or last is not None) and key and key not in SIZED:
        which = "from_size" if first is not None else "to_size"
        table.note(which, f"{shown(key)} is the same for every size", f"accepted: beside {', '.join(SIZED)} only")
    if first is not None and last is not None and first > last:
        table.note("from_size", f"{first:g} is above to_size = {last:g}", "write the smaller size first")
    return first, last


def _applies_to(table: Table) -> str:
    """Read what a limit applies to; any kind is accepted, but not a condition that is none or a slip of one."""
    said = table.text("applies_to", needed=True) or ""
    word = " ".join(said.casefold().split())
    if word not in CONDITIONS and (
        word.startswith(("system ", "household ")) or get_close_matches(word[:200], CONDITIONS, n=1, cutoff=0.85)
    ):
        accepted = f"accepted: a kind of component, {', '.join(CONDITIONS)}"
        table.note("applies_to", f"{shown(said)} is no condition", did_you_mean(word, CONDITIONS, accepted))
    return said


def _task(table: Table) -> Task:
    name, kinds = table.text("name", needed=True), table.texts("kinds", needed=True)
    key = table.choice("key", tuple(each for each in KEYS if each.endswith("_interval")))
    done_by, where = table.texts("done_by", needed=True), table.texts("where_done_on")
    needs = table.choice("needs", (MECHANICAL, PUMPED)) if "needs" in table.content else table.text("needs")
    return Task((name or "").casefold(), kinds, key, done_by, where, needs, table.flag("once"))


def _prior(table: Table) -> Prior:
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


def _record_item(table: Table) -> RecordItem:
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


def _required(table: Table) -> RequiredPoint:
    return RequiredPoint(
        table.texts("kinds", needed=True),
        table.text("what", needed=True) or "",
        table.count("count", 1),
        table.texts("words"),
        table.texts("but_not"),
        table.texts("suggest"),
        table.flag("checked"),
        table.flag("photo"),
        table.reference(),
        table.choice("standing", STANDINGS),
        table.text("note"),
    )


def _required_fact(table: Table) -> RequiredFact:
    kinds, columns = table.texts("kinds", needed=True), table.texts("columns")
    of_property = PROPERTY in kinds
    if of_property and len(kinds) > 1:
        table.note("kinds", f"{shown(PROPERTY)} stands beside a kind of component", "give each a table of its own")
    known = _keys_of_property() if of_property else [each.rstrip("_") for each in Component.__slots__]
    for column in columns:
        if column not in known:
            where = "no key of property.toml" if of_property else "no column of components.csv"
            accepted = did_you_mean(column, known, f"accepted: {', '.join(known)}")
            table.note("columns", f"{shown(column)} is {where}", accepted)
    readings, outline, components = _readings(table), table.flag("outline"), table.texts("components")
    asked = (columns, readings, outline, components)
    if sum(map(bool, asked)) != 1 or (of_property and (outline or readings)) or (components and not of_property):
        accepted = f"columns = [...]; of components also readings = [...], outline = true; of {PROPERTY} components"
        table.note(None, "must ask for one thing", f"accepted: {accepted} = [...]")
    needs = table.choice("needs", (MECHANICAL, PUMPED)) if "needs" in table.content else table.text("needs")
    what = table.text("what", needed=True) or ""
    source = table.reference(), table.choice("standing", STANDINGS), table.text("note")
    return RequiredFact(kinds, what, columns, readings, outline, components, needs, *source)


def _readings(table: Table) -> tuple[str, ...]:
    """Read which readings of readings.csv are asked for."""
    readings = table.texts("readings")
    for reading in readings:
        if reading not in READINGS:
            accepted = did_you_mean(reading, READINGS, f"accepted: {', '.join(READINGS)}")
            table.note("readings", f"{shown(reading)} is no reading of readings.csv", accepted)
    return readings


def _keys_of_property() -> list[str]:
    """Give the keys of `property.toml` with their table: permit, panel.breaker."""
    return [f"{table}.{key.name}" if table else key.name for table, keys in PROPERTY_KEYS.items() for key in keys]


MAKERS: dict[str, Callable[[Table], Any]] = {
    "limit": _limit,
    "task": _task,
    "prior": _prior,
    "record_item": _record_item,
    "required": _required,
    "required_fact": _required_fact,
}
"""What the tables of a profile become, in the order of the fields of `Profile`."""


def _refuse_doubles(file: str, made: Mapping[str, list[Any]], problems: list[Problem]) -> None:
    """Note two rules of one kind that say the same thing twice."""
    for kind, key in _KEYS.items():
        seen: dict[str, int] = {}
        for number, rule in enumerate(made[kind], start=1):
            name = key(rule)
            if seen.setdefault(name, number) != number:
                reason = f"{name.rstrip(chr(0))} stands there twice"
                problems.append(Problem(file, None, f"[[{kind}]] {number}", reason, "keep one of the two"))


def _limit_words(limit: Limit) -> str:
    """Name a limit by what tells it from others."""
    sizes = [
        f"{word} {size:g} in" for word, size in (("from", limit.from_size), ("to", limit.to_size)) if size is not None
    ]
    to = "" if limit.to is None else f" to {shown(limit.to)}"
    return " ".join([f"{shown(limit.key)} for {shown(limit.applies_to)}{to}", *sizes])


_KEYS: dict[str, Callable[[Any], str]] = {
    "limit": lambda it: _limit_words(it) + ("" if it.upper else "\0"),
    "task": lambda it: shown(it.name),
    "prior": lambda it: shown(it.key),
    "required": lambda it: f"{shown(it.what)} of {shown(', '.join(it.kinds))}",
    "required_fact": lambda it: f"{shown(it.what)} of {shown(', '.join(it.kinds))}",
}
"""By what two rules of one file are the same; a limit from below and one from above are two."""
