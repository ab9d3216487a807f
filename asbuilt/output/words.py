"""Words of the record made fit for files of other formats: no character that the format or a terminal would obey."""

import re

_LINE_ENDS = re.compile(r"\r\n|[\r\n\v\f\x85\u2028\u2029]")
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


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
