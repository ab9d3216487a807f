"""Rule profiles as text and as JSON: what each limit is, and where it stands written."""

import textwrap
from collections.abc import Sequence
from typing import Any

from asbuilt.output.words import one_line
from asbuilt.rules.profile import Profile
from asbuilt.rules.required import RequiredFact, RequiredPoint

WIDTH = 100
"""Columns of the text: a small terminal, or a letter sheet across in a fixed-width face."""


def wrapped(text: str, indent: str = "") -> list[str]:
    """Break a text into lines, those after the first indented under it."""
    return textwrap.wrap(
        one_line(text), WIDTH, initial_indent=indent, subsequent_indent=f"{indent}    ", break_on_hyphens=False
    )


def edition_sentence(profile: Profile) -> str:
    """Say which rules these are, of which edition, and that local code decides."""
    edition = f" ({profile.edition})" if profile.edition else ""
    return f"{profile.title}{edition}. {profile.local_code}"


def head_json(profile: Profile) -> dict[str, Any]:
    """Give what a profile is as plain JSON values."""
    return {
        "name": profile.name,
        "title": profile.title,
        "edition": profile.edition,
        "local_code": profile.local_code,
    }


def profiles_text(profiles: Sequence[Profile]) -> str:
    """List the profiles that come with the program, a few lines each."""
    lines = []
    for profile in profiles:
        edition = f" ({profile.edition})" if profile.edition else ""
        asked = len(profile.required) + len(profile.facts)
        counts = f"limits: {len(profile.limits)}, tasks: {len(profile.tasks)}, things that a record must hold: {asked}"
        lines += [f"{profile.name}", *wrapped(f"{profile.title}{edition}; {counts}. {profile.local_code}", "  "), ""]
    lines += wrapped("`asbuilt rules NAME` shows one, `asbuilt rules FILE.toml` one of your own. Local code decides.")
    return "\n".join(lines)


def profiles_json(profiles: Sequence[Profile]) -> list[dict[str, Any]]:
    """Give the profiles that come with the program as plain JSON values."""
    return [{**head_json(profile), "limits": len(profile.limits)} for profile in profiles]


def profile_text(profile: Profile) -> str:
    """Write one profile as tables: limits, what a record must hold, tasks; the sources under them, each once."""
    rows = [_limit_row(row) for row in profile_json(profile)["limits"]]
    asked: list[RequiredPoint | RequiredFact] = [*profile.required, *profile.facts]
    sources = list(dict.fromkeys([*(each.source() for each in profile.limits), *(each.source() for each in asked)]))
    lines = [*wrapped(edition_sentence(profile)), "", "LIMITS"]
    table = [("KEY", "MUST BE", "OF", "SOURCE")]
    for row, limit in zip(rows, profile.limits, strict=True):
        table.append((*row, f"[{sources.index(limit.source()) + 1}]"))
    lines += _columns(table)
    lines += ["", "A RECORD MUST HOLD"] if asked else []
    for each in asked:
        mark = sources.index(each.source()) + 1
        lines += wrapped(f"- {', '.join(each.kinds)}: {each.what} [{mark}]", "  ")
    lines += ["", "TASKS"] if profile.tasks else []
    for task in profile.tasks:
        lines += wrapped(f"- {task.name}: {', '.join(task.kinds)} (how often: {task.key})", "  ")
    lines += [""]
    for number, source in enumerate(sources, start=1):
        lines += wrapped(f"[{number}] {source}")
    return "\n".join(lines)


def _limit_row(row: dict[str, Any]) -> tuple[str, str, str]:
    to = f" to {row['to']}" if row["to"] else ""
    sizes = [f"{word} {row[key]:g} in" for word, key in (("from", "from_size"), ("to", "to_size")) if row[key]]
    size = f", size {' '.join(sizes)}" if sizes else ""
    return row["key"], f"{row['comparison']} {row['value']:g} {row['unit']}", f"{row['applies_to']}{to}{size}"


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Set rows in columns; the third one wraps under itself."""
    widths = [max(len(row[k]) for row in rows) for k in range(2)]
    room = WIDTH - sum(widths) - 14
    lines = []
    for key, value, about, mark in rows:
        parts = textwrap.wrap(about, room, break_on_hyphens=False) or [""]
        lines.append(f"  {key.ljust(widths[0])}  {value.ljust(widths[1])}  {parts[0].ljust(room)}  {mark}".rstrip())
        lines += [" " * (sum(widths) + 6) + part for part in parts[1:]]
    return lines


def profile_json(profile: Profile) -> dict[str, Any]:
    """Give one profile with all that it extends as plain JSON values."""
    return {
        **head_json(profile),
        "names": dict(profile.names),
        "groups": {word: list(phrases) for word, phrases in profile.groups.items()},
        "but_not": {word: list(phrases) for word, phrases in profile.but_not.items()},
        "limits": [
            {
                "key": limit.key,
                "value": limit.value,
                "unit": limit.unit,
                "comparison": limit.comparison,
                "applies_to": limit.applies_to,
                "to": limit.to,
                "from_size": limit.from_size,
                "to_size": limit.to_size,
                **_source(limit.source(), limit.reference.address, limit.standing, limit.note),
            }
            for limit in profile.limits
        ],
        "required": [
            {
                "kinds": list(each.kinds),
                "what": each.what,
                "count": each.count,
                "checked": each.checked,
                "photo": each.photo,
                **_source(each.source(), each.reference.address, each.standing, each.note),
            }
            for each in profile.required
        ],
        "facts": [
            {
                "kinds": list(each.kinds),
                "what": each.what,
                **_source(each.source(), each.reference.address, each.standing, each.note),
            }
            for each in profile.facts
        ],
        "tasks": [{"name": task.name, "kinds": list(task.kinds), "key": task.key} for task in profile.tasks],
    }


def _source(source: str, address: str | None, standing: str, note: str | None) -> dict[str, Any]:
    return {"source": source, "address": address, "standing": standing, "note": note}
