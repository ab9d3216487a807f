"""Lengths and volumes as people write them <-> SI."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from asbuilt.errors import LengthError

FOOT_M = 0.3048
"""Metres in a foot, exact (international foot, 1959)."""

INCH_M = 0.0254
"""Metres in an inch, exact (a twelfth of the international foot)."""

SURVEY_FOOT_M = 1200 / 3937
"""Metres in a US survey foot (85 FR 62698: retired at the end of 2022); never read unless it is named."""

US_GALLON_M3 = 0.003785411784
"""Cubic metres in a US gallon, exact (231 cubic inches, NIST Handbook 44)."""

UNITS = ("ft-in", "ft", "m", "in", "cm")
"""Units that a sheet or a column may have; lengths are shown in the first three."""

LONGEST_TEXT = 60
"""Characters in a length, at most: twice what the wordiest length needs; more is another cell's text."""

LONGEST_KM = 100
"""Kilometres in a length, at most: nothing on a property is near it, so more is a slip of the keyboard."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length as it was read."""

    as_read: str
    metres: float
    step_m: float  #: the smallest step that the writing shows, metres: 1/2 in, 0.1 ft, 0.01 m


_INCH = Fraction(254, 10_000)
_FOOT = 12 * _INCH
_METRIC_UNITS = {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000)}
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_VULGAR |= {"⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}

# What editors, phones and spreadsheets put in place of the plain marks. A fraction gets a space on both
# sides, or the digits beside it would become part of it.
_MARKS = dict.fromkeys("\u2032\u2018\u2019\u02b9\u00b4`", "'") | dict.fromkeys(
    "\u2033\u201c\u201d\u02ba\u301e\uff02", '"'
)
_TYPED = str.maketrans(_MARKS)
_PLAIN = str.maketrans(
    _MARKS
    | dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-")
    | {"\u2044": "/"}
    | {sign: f" {fraction} " for sign, fraction in _VULGAR.items()}
)

_NUMBER = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_INCHES = rf"(?:(?:(?P<whole>[0-9]+)(?: ?- ?| ))?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)|(?P<number>{_NUMBER}))"
_FOOT_MARK = r" ?(?:'|ft\.?|foot|feet)"
_INCH_MARK = r' ?(?:"|inches|inch|in\.?)'
_IN_FEET = re.compile(rf"(?P<feet>{_NUMBER}){_FOOT_MARK}(?: ?-? ?{_INCHES}(?:{_INCH_MARK})?)?")
_IN_INCHES = re.compile(rf"{_INCHES}{_INCH_MARK}")
_IN_METRES = re.compile(rf"(?P<number>{_NUMBER}) ?(?P<unit>m|cm|mm)")
_FEET_THEN_INCHES = re.compile(rf"(?P<feet>{_NUMBER}) {_INCHES}")
_BARE = re.compile(_INCHES)

_LINE_BREAK = re.compile("[\n\r\v\f\x85\u2028\u2029]")
_MONTH = (
    "jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?"
    "|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?"
)
_DATE = re.compile(
    r"[0-9]{1,4}([-/.])[0-9]{1,2}\1[0-9]{1,4}(?:[ t][0-9]{1,2}:.*)?"  # 2025-04-23, 4/12/2025, 23.4.25
    rf"|[0-9 ,./-]*(?:{_MONTH})[0-9 ,./:-]*"  # 4-dec, 23-apr-25
    r"|[0-9]{1,2}:[0-9]{2}.*"  # 12:30
)
_THOUSANDS = re.compile(r"[^0-9,]*[0-9]{1,3}(?:,[0-9]{3})+(?![0-9,])[^,]*")
_DECIMAL_COMMA = re.compile(r"[^,]*[0-9],[0-9]+[^,]*")
_MARKS_MISSING = re.compile(rf"(?P<feet>{_NUMBER})(?: ?- ?| ){_INCHES}(?:{_INCH_MARK})?")
_FOOT_FRACTION = re.compile(rf"(?:(?P<whole>[0-9]+)(?: ?- ?| ))?(?P<top>[0-9]+)/(?P<bottom>[1-9][0-9]*){_FOOT_MARK}")

_ACCEPTED = """accepted are 23' 4 1/2", 23 ft 4.5 in, 23.4', 6", 7.12 m and 712 cm"""


def parse_length(text: str, unit: str | None = None) -> Length:
    r"""Read a length as people write it, exactly (rational arithmetic, one rounding to a float at the end).

    The step of a fraction is one part of it, of whole inches 1 inch, of whole centimetres and millimetres 1,
    of a decimal number its last place. A whole number of feet or metres alone says nothing of its step, as
    nobody reads a tape to the foot: 1 inch and 0.01 m are taken (common practice).

    Parameters
    ----------
    text
        The length as it stands in the notebook.
    unit
        Unit of the sheet or column, one of `UNITS`: how a number without a unit is read. In `ft-in` two
        numbers are feet and inches. None = every length must name its unit.

    Returns
    -------
    Length
        Zero or more metres, with the text as it was read.

    Raises
    ------
    LengthError
        If the text cannot be read, or not in one way only.
    ValueError
        If `unit` is none of `UNITS`.

    Examples
    --------
    >>> parse_length("23' 4 1/2\"")
    Length(as_read='23\' 4 1/2"', metres=7.1247, step_m=0.0127)
    >>> parse_length("23 4.5", "ft-in").metres
    7.1247
    >>> parse_length("23.5", "ft-in")
    Traceback (most recent call last):
    ...
    asbuilt.errors.LengthError: 23.5 could be tenths of a foot or inches; write 23.5' or 23' 5" or 23.5"
    """
    if unit is not None and unit not in UNITS:
        raise ValueError(f"unit {unit!r} is not known; accepted are {', '.join(UNITS)}")
    plain = _plain(text)
    found = _read_marked(text, plain) or _read_bare(text, plain, unit)
    if found is None:
        raise _refusal(text, plain, unit)
    metres, step = found
    if metres > 1000 * LONGEST_KM:
        raise LengthError(text, f"is longer than {LONGEST_KM} km", "check the number and its unit")
    return Length(text, float(metres), float(step))


def format_length(metres: float, units: str, step: Fraction | None = None) -> str:
    r"""Write a length so that `parse_length` reads it back (but for a minus sign, which differences have).

    Parameters
    ----------
    metres
        Any finite length or difference of lengths.
    units
        `ft-in`, `ft` or `m`.
    step
        What to round to, halves away from zero: inches in `ft-in`, else in the unit. None = 1/2 inch,
        0.01 ft, 0.01 m.

    Raises
    ------
    ValueError
        If `metres` is not finite, `units` is another, or `step` is not positive (in `ft` and `m`: or has no
        finite decimal form).

    Examples
    --------
    >>> format_length(7.1247, "ft-in"), format_length(7.1247, "ft"), format_length(7.1247, "m")
    ('23\' 4 1/2"', '23.38 ft', '7.12 m')
    """
    _check_units(units)
    if step is None:
        step = Fraction(1, 2) if units == "ft-in" else Fraction(1, 100)
    if step <= 0:
        raise ValueError(f"step {step} is not above zero")
    size = {"ft-in": _INCH, "ft": _FOOT, "m": Fraction(1)}[units]
    rounded = step * math.floor(abs(_exact(metres)) / size / step + Fraction(1, 2))
    sign = "-" if metres < 0 and rounded else ""
    if units == "ft-in":
        return sign + _feet_inches(rounded)
    return f"{sign}{_decimal(rounded, step)} {units}"


def format_small(metres: float, units: str) -> str:
    """Write an uncertainty in plain words, rounded up so that it never looks better than it is.

    Below 6 inches to the half inch, else to the inch; to 0.01 ft; below 1 cm to the millimetre, else to the
    centimetre.

    Parameters
    ----------
    metres
        Zero or more, finite.
    units
        `ft-in`, `ft` or `m`.

    Raises
    ------
    ValueError
        If `metres` is negative or not finite, or `units` is another.

    Examples
    --------
    >>> format_small(0.05, "ft-in"), format_small(0.38, "ft-in"), format_small(0.05, "ft")
    ('2 in', '1 ft 3 in', '0.17 ft')
    >>> format_small(0.0412, "m"), format_small(0.0042, "m"), format_small(1.2, "m")
    ('5 cm', '5 mm', '1.20 m')
    """
    _check_units(units)
    exact = _exact(metres)
    if metres < 0:
        raise ValueError(f"an uncertainty of {metres} m is negative")
    if metres > 0:
        exact = max(exact, Fraction(1, 10**9))  # what is not nothing is never shown as nothing
    if units == "ft-in":
        return _small_inches(exact / _INCH)
    if units == "ft":
        hundredth = Fraction(1, 100)
        return f"{_decimal(hundredth * math.ceil(100 * exact / _FOOT), hundredth)} ft"
    if 0 < (millimetres := math.ceil(1000 * exact)) < 10:
        return f"{millimetres} mm"
    centimetres = math.ceil(100 * exact)
    return f"{centimetres} cm" if centimetres < 100 else f"{centimetres // 100}.{centimetres % 100:02} m"


def plain_marks(text: str) -> str:
    r"""Write foot and inch marks as a keyboard has them: the same reading, whichever program put other signs there.

    >>> plain_marks("23’ 4 1/2”"), plain_marks("23' 4''")
    ('23\' 4 1/2"', '23\' 4"')
    """
    return text.translate(_TYPED).replace("''", '"')


def _plain(text: str) -> str:
    """Bring all marks, spaces and capitals to one form; refuse what is no single short cell."""
    if _LINE_BREAK.search(text):
        mend = "look for an inch mark at the start of this cell that joined it to the next ones"
        raise LengthError(_shortened(text), "has a line break in it", mend)
    plain = " ".join(text.translate(_PLAIN).lower().replace("''", '"').split())
    if not plain:
        raise LengthError(_shortened(text), "is empty", _ACCEPTED)
    if len(text.strip()) > LONGEST_TEXT:
        raise LengthError(_shortened(text), f"has more than {LONGEST_TEXT} characters", _ACCEPTED)
    return plain


def _shortened(text: str) -> str:
    """Keep a message to one line's length, whatever was in the cell."""
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + "…"


def _read_marked(text: str, plain: str) -> tuple[Fraction, Fraction] | None:
    """Read a length that names its unit: metres and step; None = it does not name one."""
    if match := _IN_FEET.fullmatch(plain):
        return _from_feet(text, match)
    if match := _IN_INCHES.fullmatch(plain):
        inches, step = _from_inches(text, match)
        return inches * _INCH, step * _INCH
    if match := _IN_METRES.fullmatch(plain):
        number, step = _from_number(match["number"])
        size = _METRIC_UNITS[match["unit"]]
        if size == 1 and step == 1:  # whole metres
            step = Fraction(1, 100)
        return number * size, step * size
    return None


def _read_bare(text: str, plain: str, unit: str | None) -> tuple[Fraction, Fraction] | None:
    """Read numbers alone in the unit of the sheet; None = they are not one length in that unit."""
    if match := _BARE.fullmatch(plain):
        _from_inches(text, match)  # a fraction such as 1/0 is refused as what it is, whatever the unit
    if unit == "ft-in":
        if plain == "0":  # nothing is nothing in any unit
            return Fraction(0), _INCH
        pair = _FEET_THEN_INCHES.fullmatch(plain)
        # One number and a fraction may be feet beside inches, or inches alone: left to the refusal.
        if pair is None or (pair["top"] and pair["whole"] is None):
            return None
        return _from_feet(text, pair)
    if unit is None or match is None or (match["top"] and unit != "in"):
        return None
    return _read_marked(text, f"{plain} {unit}")


def _from_feet(text: str, match: re.Match[str]) -> tuple[Fraction, Fraction]:
    """Join feet and inches: metres and step."""
    written = match["feet"]
    feet, step = _from_number(written)
    if match["number"] is None and match["top"] is None:
        return feet * _FOOT, (_FOOT * step if "." in written else _INCH)
    inches, step = _from_inches(text, match)
    if "." in written:
        mend = f"""write {_feet_inches(12 * math.floor(feet) + inches)} or {written}'"""
        raise LengthError(text, "has a decimal part of a foot beside inches", mend)
    if inches >= 12:
        mend = f"inches beside feet stay below 12. Did you mean {_feet_inches(12 * feet + inches)}?"
        raise LengthError(text, f"has {_mixed(inches)} inches beside feet", mend)
    return (12 * feet + inches) * _INCH, step * _INCH


def _from_inches(text: str, match: re.Match[str]) -> tuple[Fraction, Fraction]:
    """Read the inches of a match: inches and step."""
    if match["top"] is None:
        return _from_number(match["number"])
    top, bottom = int(match["top"]), int(match["bottom"])
    if bottom == 0:
        raise LengthError(text, "has a fraction with zero below the line", "write it such as 1/2 or 3/16")
    if top >= bottom:
        raise LengthError(text, f"has the fraction {top}/{bottom}, which is not below one", "check it")
    return int(match["whole"] or 0) + Fraction(top, bottom), Fraction(1, bottom)


def _from_number(digits: str) -> tuple[Fraction, Fraction]:
    """Read a whole or decimal number: the number and its last place."""
    whole, _, decimals = digits.partition(".")
    place = 10 ** len(decimals)
    return Fraction(int(whole + decimals), place), Fraction(1, place)


def _refusal(text: str, plain: str, unit: str | None) -> LengthError:
    """Find the reason why a text is not read, the most telling first."""
    for explain in _EXPLANATIONS:
        if found := explain(plain):
            return LengthError(text, *found)
    reason, mend = _explain_bare(plain, unit) or ("cannot be read as a length", _ACCEPTED)
    return LengthError(text, reason, mend)


def _explain_minus(plain: str) -> tuple[str, str] | None:
    if re.match("- ?[0-9.]", plain):
        return "is negative", "a length is zero or more"
    return None


def _explain_date(plain: str) -> tuple[str, str] | None:
    if _DATE.fullmatch(plain):
        mend = "format the column as text in the spreadsheet, then type the length again with its marks"
        return "is a date or a time, which is what spreadsheets make of some lengths", mend
    return None


def _explain_characters(plain: str) -> tuple[str, str] | None:
    if any(sign.isdigit() and not sign.isascii() for sign in plain):
        return "has digits other than 0 to 9", "write it with the digits 0 to 9"
    if plain.lstrip("+-") in ("inf", "infinity", "nan"):
        return "is not a number", _ACCEPTED
    if re.search(r"[0-9]e[-+]?[0-9]", plain):
        return "has an exponent", "write the number out, such as 1200"
    return None


def _explain_comma(plain: str) -> tuple[str, str] | None:
    without, point = plain.replace(",", ""), plain.replace(",", ".")
    if _THOUSANDS.fullmatch(plain):
        if plain.count(",") > 1 or "." in plain:
            return "has commas between thousands", f"write {without}"
        return "has a comma (between thousands, or for a decimal point?)", f"write {without} or {point}"
    if _DECIMAL_COMMA.fullmatch(plain) and "." not in plain:
        return "has a decimal comma", f"write a point: {point}"
    return ("has a comma", f"write one length without commas; {_ACCEPTED}") if "," in plain else None


def _explain_foot_fraction(plain: str) -> tuple[str, str] | None:
    if match := _FOOT_FRACTION.fullmatch(plain):
        inches = 12 * (int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"])))
        return "has a fraction of a foot", f"write feet and inches. Did you mean {_feet_inches(inches)}?"
    return None


_EXPLANATIONS: tuple[Callable[[str], tuple[str, str] | None], ...] = (
    _explain_minus,
    _explain_date,
    _explain_characters,
    _explain_comma,
    _explain_foot_fraction,
)


def _explain_bare(plain: str, unit: str | None) -> tuple[str, str] | None:
    """Say why numbers without their marks are not read in this unit."""
    match = _BARE.fullmatch(plain)
    if match is None:
        return _explain_two_numbers(plain)
    if unit is None:
        return "has no unit", _ACCEPTED
    if unit != "ft-in":
        return f"has a fraction, which is not read in {unit}", f"write a decimal number; {_ACCEPTED}"
    if match["top"] is None and "." in plain:
        whole, _, decimals = plain.partition(".")
        as_inches = f""" or {int(whole or 0)}' {int(decimals)}\"""" if int(decimals) < 12 else ""
        return "could be tenths of a foot or inches", f"""write {plain}'{as_inches} or {plain}\""""
    if match["top"] is None:
        return "could be feet or inches", f"""write {plain}' or {plain}\""""
    if match["whole"] is None:
        return "has no unit", f"""write {plain}\" if it is inches"""
    whole, fraction = match["whole"], f"{match['top']}/{match['bottom']}"
    reason = f"could be {whole} feet {fraction} inch or {whole} {fraction} inches"
    return reason, f"""write {whole}' {fraction}\" or {whole} {fraction}\""""


def _explain_two_numbers(plain: str) -> tuple[str, str] | None:
    """Say what is missing where feet and inches stand there without a foot mark."""
    match = _MARKS_MISSING.fullmatch(plain)
    if match is None:
        return None
    reason = "has two numbers without a foot mark between them"
    inches = match["number"] or " ".join(filter(None, (match["whole"], f"{match['top']}/{match['bottom']}")))
    guess = f"""{match["feet"]}' {inches}\""""
    try:
        parse_length(guess)
    except LengthError:
        return reason, _ACCEPTED
    return reason, f"mark the feet. Did you mean {guess}?"


def _check_units(units: str) -> None:
    """Refuse units that lengths are not shown in."""
    if units not in UNITS[:3]:
        raise ValueError(f"units {units!r} are not shown; accepted are {', '.join(UNITS[:3])}")


def _exact(metres: float) -> Fraction:
    """Take metres to the nanometre, so that a tie such as 1/4 inch is not decided by binary noise."""
    if not math.isfinite(metres):
        raise ValueError(f"{metres} is not a finite length")
    return Fraction(round(Fraction(float(metres)) * 10**9), 10**9)


def _mixed(number: Fraction) -> str:
    """Write a rational as whole number and fraction: 4 1/2."""
    whole, rest = divmod(number, 1)
    if not rest:
        return f"{whole}"
    return f"{whole} {rest}" if whole else f"{rest}"


def _feet_inches(inches: Fraction) -> str:
    """Write inches as feet and inches, both always there, so that 0' 6" is not taken for 6 feet."""
    feet, rest = divmod(inches, 12)
    shown = _mixed(rest) if rest >= 1 or not rest else f"0 {rest}"
    return f"""{feet}' {shown}\""""


def _small_inches(inches: Fraction) -> str:
    """Round inches up and write them with words: 1/2 in, 1 ft 3 in."""
    rounded = Fraction(math.ceil(2 * inches), 2) if inches <= 6 else Fraction(math.ceil(inches))
    feet, rest = divmod(rounded, 12)
    words = [f"{feet} ft"] if feet else []
    if rest or not feet:
        words.append(f"{_mixed(rest)} in")
    return " ".join(words)


def _decimal(number: Fraction, step: Fraction) -> str:
    """Write a multiple of `step` with as many decimals as the step has."""
    places = next((n for n in range(10) if (step * 10**n).denominator == 1), None)
    if places is None:
        raise ValueError(f"step {step} has no decimal form of up to 9 places")
    digits = f"{int(number * 10**places):0{places + 1}}"
    return f"{digits[:-places]}.{digits[-places:]}" if places else digits
