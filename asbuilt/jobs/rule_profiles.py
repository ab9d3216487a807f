"""Show rule profiles: those that come with the program, or a user's own file with what it extends."""

from pathlib import Path

from asbuilt.errors import Problem, ProfileError, shown
from asbuilt.record.profiles import OWN, built_in, built_in_names, gather_own, read_profile
from asbuilt.record.sheets.cells import did_you_mean
from asbuilt.rules.profile import Profile


def built_in_profiles() -> tuple[Profile, ...]:
    """Give every profile that comes with the program."""
    return tuple(map(built_in, built_in_names()))


def named_profile(name: str) -> Profile:
    """Give a profile by its name, or read it from a file that ends in `.toml`.

    Raises
    ------
    ProfileError
        With every problem of the file and of what it extends, or where there is none of that name.
    """
    if name in built_in_names():
        return built_in(name)
    if not name.endswith(OWN):
        accepted = f"accepted: {', '.join(built_in_names())}, or a file ending in {OWN}"
        reason = "is no rule profile"
        raise ProfileError([Problem(shown(name), None, None, reason, did_you_mean(name, built_in_names(), accepted))])
    path = Path(name)
    if not path.exists():
        accepted = f"accepted: {', '.join(built_in_names())}, or a file that is there"
        raise ProfileError([Problem(name, None, None, "there is no such file", accepted)])
    problems: list[Problem] = []
    files = gather_own(path.parent, path.name, problems)
    if problems:
        raise ProfileError(problems)
    return read_profile(path.name, {each.name: each.text for each in files})
