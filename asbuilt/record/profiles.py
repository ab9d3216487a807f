"""Rule profiles in: from TOML, ours or a user's own, to a `Profile`, or every problem in it.

A profile is named in `property.toml` by `rules`: one of ours by its name, or a user's own by its file, which lies
beside the field sheets and ends in `.toml`. Either may extend another.
"""

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from asbuilt.errors import Problem, ProfileError
from asbuilt.model.property_record import PropertyRecord
from asbuilt.model.rule_files import RuleFile
from asbuilt.record.profile_rules import MAKERS, read_groups, read_names, read_rules
from asbuilt.record.profile_table import Table
from asbuilt.record.sheets.cells import did_you_mean, shown
from asbuilt.record.sheets.files import read_text
from asbuilt.rules.keys import KEYS
from asbuilt.rules.profile import Profile, extended

DEFAULT = "common"
"""The profile of a property that names none."""

OWN = ".toml"
"""How the name of a user's own profile ends."""

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


def _profile(
    file: str, content: dict[str, Any], own: Mapping[str, str], above: tuple[str, ...], problems: list[Problem]
) -> Profile:
    """Read the tables of one file, and put in what it extends."""
    head = Table(file, "[profile]", content.get("profile", {}), problems)
    name, title = head.text("name", needed=True), head.text("title", needed=True)
    parent_name = head.text("extends")
    local_code = head.text("local_code", needed=parent_name is None)
    edition, without = head.text("edition"), head.texts("without")
    head.finish()
    for key in (each for each in content if each not in (*_SINGLE, *MAKERS)):
        accepted = did_you_mean(key, (*MAKERS, *_SINGLE), f"accepted: {', '.join(f'[[{each}]]' for each in MAKERS)}")
        problems.append(Problem(file, None, f"[[{key}]]", "is no table of a rule profile", accepted))
    rules = read_rules(file, content, problems)
    profile = Profile(
        name or "",
        title or "",
        local_code or "",
        edition,
        limits=rules["limit"],
        tasks=rules["task"],
        priors=rules["prior"],
        record_items=rules["record_item"],
        required=rules["required"],
        facts=rules["required_fact"],
        names=read_names(file, content.get("names", {}), problems),
        groups=read_groups(file, "[groups]", content.get("groups", {}), problems),
        but_not=read_groups(file, "[but_not]", content.get("but_not", {}), problems),
    )
    if parent_name is None:  # what a shed or a well is no code says: one that extends nothing has our words too
        told = {key: {**ours, **getattr(profile, key)} for key, ours in _our_words().items()}
        return replace(profile, groups=told["groups"], but_not=told["but_not"])
    parent = _read(parent_name, own, above, problems)
    if parent is None:
        return profile
    for key in without:
        if key not in KEYS:
            accepted = did_you_mean(key, KEYS, f"accepted: {', '.join(KEYS)}")
            problems.append(Problem(file, None, "[profile] without", f"{shown(key)} is no key of a limit", accepted))
    profile = extended(profile, parent, without)
    return replace(profile, local_code=parent.local_code) if local_code is None else profile


@cache
def _our_words() -> dict[str, dict[str, tuple[str, ...]]]:
    """Read the words for kinds, which stand in one of our profiles."""
    content = tomllib.loads((_ROOM / _WORDS).read_text(encoding="utf-8"))
    return {key: read_groups(_WORDS, f"[{key}]", content[key], []) for key in ("groups", "but_not")}


_WORDS = "construction.toml"

_SINGLE = ("profile", "names", "groups", "but_not")
"""Tables that stand once in a profile; all others are lists of tables."""
