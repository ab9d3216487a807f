"""What is refused, and why: one family of errors, each says what, where and the mend."""

from collections.abc import Sequence
from dataclasses import dataclass


class AsbuiltError(Exception):
    """The root of everything that this package refuses; its text is one message for the user."""


def shown(text: str) -> str:
    """Show what was read as it stands; escaped only where it is empty or would not print."""
    return text if text.strip() and text.isprintable() else repr(text)


class LengthError(AsbuiltError, ValueError):
    """A length that cannot be read in one way only.

    Parameters
    ----------
    as_read
        The text as it stands in the notebook.
    reason
        What is wrong with it.
    mend
        What would be accepted.
    """

    def __init__(self, as_read: str, reason: str, mend: str) -> None:
        self.as_read = as_read
        self.reason = reason
        self.mend = mend
        super().__init__(f"{shown(as_read)} {reason}; {mend}")


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in one cell of one sheet."""

    file: str  #: name of the sheet, such as "points.csv"
    row: int | None  #: line number as a spreadsheet shows it (the heading is 1); None = the whole file
    column: str | None  #: heading of the column or key of the TOML file; None = the whole row
    reason: str  #: what was read and what is wrong with it
    accepted: str  #: what would be accepted

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f" row {self.row}"
        if self.column is not None:
            place += f", column {self.column}" if self.row is not None else f", {self.column}"
        return f"{place}: {self.reason}; {self.accepted}"


class SheetError(AsbuiltError, ValueError):
    """Field sheets with something wrong in them; nothing of them was stored.

    Parameters
    ----------
    problems
        All problems of all sheets, in the order of the files.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{count} problem{'' if count == 1 else 's'} in the sheets; nothing was stored"
        super().__init__("\n".join([head, *map(str, self.problems)]))


class RecordError(AsbuiltError):
    """The record file is missing, of another kind, of a newer version, or busy."""


class UnknownNameError(AsbuiltError, LookupError):
    """A property, point or component of that name is not in the record."""


class ChangedSheetsError(AsbuiltError):
    """Sheets that differ from what is recorded under the same name, without a reason to supersede it."""


class PlaceError(AsbuiltError, ValueError):
    """What was given to place a property on the earth cannot place it."""


class ProfileError(AsbuiltError, ValueError):
    """A rule profile with something wrong in it.

    Parameters
    ----------
    problems
        All problems of the profile and of those that it extends.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{count} problem{'' if count == 1 else 's'} in the rule profile"
        super().__init__("\n".join([head, *map(str, self.problems)]))


class PromptError(AsbuiltError, ValueError):
    """Words typed at the prompt with something wrong in them; nothing of them was stored.

    Parameters
    ----------
    problems
        Everything that is wrong, in the order of the words.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = [f"{count} problems in what was typed"] if count > 1 else []
        super().__init__("\n".join([*head, *map(str, self.problems)]))
