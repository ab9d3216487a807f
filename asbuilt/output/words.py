"""Words of the record made fit for files of other formats: no character that the format or a terminal would obey."""

import re
from html import escape

_LINE_ENDS = re.compile(r"\r\n|[\r\n\v\f\x85\u2028\u2029]")
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
_FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060]*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?|\+\d+( \d+)*", re.ASCII)  # and a telephone's, as ITU-T E.123 writes it


def clean(text: str) -> str:
    r"""Make every line end a newline, and a mark of what cannot be written: controls, halves of characters.

    Examples
    --------
    >>> clean("gate 4\r\ndog\x00")
    'gate 4\ndog�'
    """
    return _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", _LINE_ENDS.sub("\n", text))


def one_line(text: str) -> str:
    """Make it one line with single blanks."""
    return " ".join(clean(text).split())


def html_text(value: object) -> str:
    r"""Make words of the record fit for text and for attributes of HTML: the one escaping of every page.

    Examples
    --------
    >>> html_text("<b>Tom's & Jerry\x00")
    '&lt;b&gt;Tom&#x27;s &amp; Jerry�'
    """
    return escape(clean(str(value)), quote=True)


def csv_text(value: object) -> str:
    """Write a cell that a spreadsheet takes for what it is: text never for a formula, numbers for numbers.

    Text that begins, perhaps behind blanks, with a sign that begins a formula, or with a tab or a line end, gets an
    apostrophe before it; text that is a plain number stays. The one place for lists to read; field sheets have a guard
    of their own, which reading them undoes.

    Examples
    --------
    >>> csv_text("=1+1"), csv_text(-1.5), csv_text("-1.5"), csv_text("-1+1"), csv_text(None)
    ("'=1+1", '-1.5', '-1.5', "'-1+1", '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = clean(str(value))
    return f"'{text}" if _FORMULA.match(text) and not _PLAIN_NUMBER.fullmatch(text) else text
