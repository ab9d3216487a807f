"""One parser a kind of cell: from the text of a field sheet to a value, or the reason why not."""

import math
import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from asbuilt.errors import AsbuiltError, LengthError
from asbuilt.model.components import parse_compartments
from asbuilt.model.measurements import parse_side
from asbuilt.model.pipes import inside_diameter_in
from asbuilt.model.tasks import KNOWN_TASKS, parse_months
from asbuilt.units import Length, parse_length, plain_marks

Parser = Callable[[str, str], object]
"""From the text of a cell, stripped and not empty, and the unit of its column to a value."""

LONGEST_TEXT = 10_000
"""Characters in one text; a note of two pages."""

LONGEST_NAME = 80
"""Characters in a name; a longer one fits neither a label on the map nor a card."""

LONGEST_M = 1000.0
"""Metres; no tape and no part of a private system is longer, so more is a slip of unit or comma."""

_MINUS = re.compile("[-\u2010-\u2014\u2212] ?(?=[0-9.])")  # as the trade, phones and spreadsheets write it
_EPSG = re.compile(r"(?:EPSG ?:? ?)?(\d{1,6})", re.ASCII | re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_YES_NO = {
    "yes": True,
    "y": True,
    "true": True,
    "1": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
}
TASK_LIKENESS = 0.85
"""From here on a task is taken for a slip of a known one: `inspecton`, but not `inspected` or `well test`."""

_PUMP_OUT_WORDS = ("pump out", "pumpout", "pumped", "pumping", "pumped out")


class CellError(AsbuiltError, ValueError):
    """A cell that cannot be taken as it is.

    Parameters
    ----------
    reason
        What was read and what is wrong with it.
    accepted
        What would be accepted.
    """

    def __init__(self, reason: str, accepted: str) -> None:
        self.reason = reason
        self.accepted = accepted
        super().__init__(f"{reason}; {accepted}")


@dataclass(frozen=True, slots=True)
class Numeric:
    """The parser of a cell that holds one number or length, in which a comma can be a decimal comma only."""

    read: Parser
    is_length: bool = False

    def __call__(self, words: str, unit: str) -> object:
        """Read the cell."""
        return self.read(words, unit)


@dataclass(frozen=True, slots=True)
class Turn:
    """The turn at the far corner of a wall."""

    as_read: str
    degrees: float | None  #: deflection from straight ahead, left positive; None = unknown


def shown(text: str) -> str:
    """Give what was read for a message: in quotation marks, shortened, nothing invisible in it.

    >>> shown("bend")
    '“bend”'
    """
    short = text if len(text) <= 60 else f"{text[:57]}..."
    return "“" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short) + "”"


def did_you_mean(word: str, known: Iterable[str], otherwise: str, *, likeness: float = 0.6) -> str:
    """Name the known word nearest to this one, else say what is accepted.

    >>> did_you_mean("ne", ["NE", "NW"], "")
    'did you mean “NE”?'
    """
    folded = {each.casefold(): each for each in known}
    if word.casefold() in folded:
        return f"did you mean {shown(folded[word.casefold()])}?"
    near = get_close_matches(word.casefold()[:200], folded, n=1, cutoff=likeness)
    return f"did you mean {shown(folded[near[0]])}?" if near else otherwise


def text(words: str, unit: str = "") -> str:
    """Read free text of one line.

    Raises
    ------
    CellError
        If it holds a control character, or is longer than a note can be.
    """
    if len(words) > LONGEST_TEXT:
        raise CellError(f"{shown(words)} has {len(words):,} characters", f"accepted: at most {LONGEST_TEXT:,}")
    _refuse_control(words, ("Cc",))
    return unguarded(words.strip())


def name(*, slash: bool = False, limit: int = LONGEST_NAME) -> Parser:
    """Give the parser of a name: white space collapsed, composed characters, nothing invisible.

    Parameters
    ----------
    slash
        Whether `/` may stand in it, as it does between a component and its point.
    limit
        The most characters.
    """

    def parse(words: str, unit: str) -> str:
        _refuse_control(words, ("Cc", "Cf", "Cs", "Co", "Zl", "Zp"))
        clean = unicodedata.normalize("NFC", " ".join(unguarded(words).split()))
        for mark in ">" if slash else ">/":
            if mark in clean:
                use = "sides are written A > B" if mark == ">" else "points are written component/point"
                raise CellError(f"{shown(clean)} holds {mark}", f"leave it out of names ({use})")
        if len(clean) > limit:
            raise CellError(f"{shown(clean)} has {len(clean)} characters", f"a name has at most {limit}")
        return clean

    return parse


def epsg(words: str, unit: str = "") -> int:
    """Read the code of a system of coordinates in the EPSG data set; which codes there are is looked up later.

    Raises
    ------
    CellError
        If it is no such code.

    Examples
    --------
    >>> epsg("EPSG:26915")
    26915
    """
    match = _EPSG.fullmatch(words)
    if match is None:
        raise CellError(f"{shown(words)} is no EPSG code", "accepted: the code of a projected system, such as 26915")
    return int(match[1])


def guarded(words: str) -> str:
    """Put a text so that no spreadsheet takes it for a formula: an apostrophe before `=`, `+`, `-` or `@`.

    Undone by `unguarded`, which every text and name that is read goes through.

    >>> guarded("=1+1"), unguarded(guarded("=1+1")), guarded("lid = green")
    ("'=1+1", '=1+1', 'lid = green')
    """
    return f"'{words}" if _FORMULA.match(words) else words


def unguarded(words: str) -> str:
    """Take off the apostrophe that keeps a text from being taken for a formula."""
    return words[1:] if words.startswith("'") and _FORMULA.match(words) else words


_FORMULA = re.compile(r"'*[\s\ufeff\u200b-\u200f\u2060]*[=+\-@\uff1d\uff0b\uff0d\uff20]")


def _refuse_control(words: str, categories: tuple[str, ...]) -> None:
    for letter in words:
        if letter != "\t" and unicodedata.category(letter) in categories:
            raise CellError(
                f"{shown(words)} holds the invisible character U+{ord(letter):04X}", "one line of plain text"
            )


def number(
    low: float | None = None, high: float | None = None, *, above: float | None = None, whole: bool = False
) -> Parser:
    """Give the parser of a plain number with a decimal point.

    Parameters
    ----------
    low, high
        The least and the greatest value accepted; None = no bound.
    above
        A value that the number must exceed.
    whole
        Whether decimals are refused.
    """
    kind = "whole number" if whole else "number"
    if low is not None and high is not None:
        accepted = f"accepted: a {kind} from {low:g} to {high:g}"
    else:
        ends = ("" if low is None else f" of {low:g} or more") + ("" if above is None else f" above {above:g}")
        accepted = f"accepted: a {kind}{ends}" + ("" if high is None else f", {high:g} at most")

    def parse(words: str, unit: str) -> float | int:
        value = float(words) if _NUMBER.fullmatch(words) else math.nan
        if not math.isfinite(value) or (whole and value != int(value)):
            raise CellError(f"{shown(words)} is not a {kind}", accepted if whole else f"{accepted}, written as 1234.5")
        too_low = (low is not None and value < low) or (above is not None and value <= above)
        if too_low or (high is not None and value > high):
            raise CellError(f"{shown(words)} is too {'small' if too_low else 'large'}", accepted)
        return int(value) if whole else value

    return Numeric(parse)


def length(*, zero: bool = True, longest_m: float = LONGEST_M) -> Parser:
    """Give the parser of a length as people write it, kept as read beside metres.

    Parameters
    ----------
    zero
        Whether zero is accepted.
    longest_m
        The greatest length accepted, metres.
    """

    def parse(words: str, unit: str) -> object:
        words = plain_marks(words)
        try:
            value = parse_length(words, unit)
        except LengthError as error:
            raise CellError(f"{shown(error.as_read)} {error.reason}", error.mend) from None
        if value.metres > longest_m:
            raise CellError(f"{shown(words)} is {value.metres:,.0f} m", f"accepted: at most {longest_m:,.0f} m")
        if value.metres < 0 or (value.metres == 0 and not zero):
            accepted = "accepted: a length of zero or more" if zero else "accepted: a length above zero"
            raise CellError(f"{shown(words)} is {'negative' if value.metres < 0 else 'zero'}", accepted)
        return value

    return Numeric(parse, is_length=True)


def signed_length(*, longest_m: float) -> Parser:
    """Give the parser of a length that may have a minus before it: an inverted rod, a height below the datum.

    Parameters
    ----------
    longest_m
        The greatest length accepted on either side of zero, metres.
    """
    inner = length(longest_m=longest_m)

    def parse(words: str, unit: str) -> object:
        minus = _MINUS.match(words)
        value = inner(words[minus.end() :] if minus else words, unit)
        if minus is None or not isinstance(value, Length):
            return value
        return Length(plain_marks(words), -value.metres, value.step_m)

    return Numeric(parse, is_length=True)


def choice(*words: str) -> Parser:
    """Give the parser of a cell that holds one of a few words, small or capital letters."""
    accepted = f"accepted: {', '.join(words[:-1])} or {words[-1]}"

    def parse(read: str, unit: str) -> str:
        word = " ".join(read.split()).lower()
        if word not in words:
            raise CellError(f"{shown(read)} is not accepted here", accepted)
        return word

    return parse


def yes_no(words: str, unit: str = "") -> bool:
    """Read yes or no, true or false, 1 or 0.

    Raises
    ------
    CellError
        If it is none of these.
    """
    try:
        return _YES_NO[words.lower()]
    except KeyError:
        raise CellError(f"{shown(words)} is neither yes nor no", "accepted: yes or no") from None


def task(words: str, unit: str = "") -> str:
    """Read a service task in small letters; every way to write a pump-out becomes `pump-out`.

    Raises
    ------
    CellError
        If it is nearly a task that is known: passed over, it would never count as that task done.

    >>> task("Pumped")
    'pump-out'
    """
    word = " ".join(text(words).lower().split())
    if word in _PUMP_OUT_WORDS:
        return "pump-out"
    near = [] if word in KNOWN_TASKS else get_close_matches(word[:200], KNOWN_TASKS, n=1, cutoff=TASK_LIKENESS)
    if near:
        accepted = f"did you mean {shown(near[0])}? A task of your own needs a name that is less like it"
        raise CellError(f"{shown(words)} is no task that is known, but nearly one", accepted)
    return word


def compartments(words: str, unit: str = "") -> str:
    """Read the gallons of each compartment; kept as read.

    Raises
    ------
    CellError
        If it is not names with gallons.
    """
    return _as_read_if(parse_compartments, words, "the compartments of a tank")


def pipe(words: str, unit: str = "") -> str:
    """Read the size of a pipe; kept as read.

    Raises
    ------
    CellError
        If it is none that is known.
    """
    return _as_read_if(inside_diameter_in, words, "the size of a pipe")


def months(words: str, unit: str = "") -> str:
    """Read months of the year; kept as read.

    Raises
    ------
    CellError
        If it is not months or ranges of months.
    """
    return _as_read_if(parse_months, words, "months")


def _as_read_if(parse: Callable[[str], object], words: str, what: str) -> str:
    try:
        parse(words)
    except ValueError as error:
        raise CellError(f"{shown(words)} does not say {what}", str(error)) from None
    return " ".join(words.split())


def turn(words: str, unit: str = "") -> Turn:
    """Read the turn at a corner: L, R, degrees with left positive, or ? = unknown.

    Raises
    ------
    CellError
        If it is none of these.

    Examples
    --------
    >>> turn("r")
    Turn(as_read='R', degrees=-90.0)
    """
    word = words.upper()
    if word in _TURN_WORDS:
        return Turn(word, _TURN_WORDS[word])
    digits = word.removesuffix("°").removesuffix("DEG").strip()
    degrees = float(digits) if _NUMBER.fullmatch(digits) else math.nan
    if not -180 <= degrees <= 180:
        accepted = "accepted: L, R, degrees from -180 to 180 with left positive, or ? for unknown"
        raise CellError(f"{shown(words)} is no turn", accepted)
    return Turn(words, degrees)


_TURN_WORDS = {"L": 90.0, "R": -90.0, "?": None}


def side(words: str, unit: str = "") -> object:
    """Read on which side of a line the point lies; the names in it are looked up later.

    Raises
    ------
    CellError
        If it is none of the accepted forms.
    """
    try:
        return parse_side(words)
    except ValueError as error:
        raise CellError(f"{shown(words)} is no side", str(error)) from None
