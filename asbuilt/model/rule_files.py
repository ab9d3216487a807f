"""A user's own rule profile, kept in the record as it was written."""

import re
from dataclasses import dataclass

_STRING_OR_COMMENT = re.compile(
    r'''("""(?:\\.|[^\\])*?"{3,5}|"(?:\\.|[^"\\\n])*"|'''
    r"""'{3}.*?'{3,5}|'[^'\n]*')|[ \t]*\#[^\r\n]*""",
    re.DOTALL,
)
"""A string of TOML 1.0, or a comment with the blanks before it."""


@dataclass(frozen=True, slots=True)
class RuleFile:
    """One TOML file with a rule profile that `property.toml` names, or that such a profile extends."""

    name: str  #: as it is named there, with / between folders: rules.toml
    text: str  #: the whole file


def without_comments(text: str) -> str:
    """Give a TOML file without its comments, in which anything may stand; its values stay as they are written.

    Examples
    --------
    >>> without_comments('title = "lot # 4"  # ask Pat')
    'title = "lot # 4"'
    """
    return _STRING_OR_COMMENT.sub(lambda found: found[1] or "", text)
