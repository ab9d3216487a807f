"""From the bytes of a text file to its text: UTF-8, UTF-16 with its mark, and Windows-1252 where that is safe."""

import re

MARKS = "‘’“”–—…•·°½¼¾´²³µ×±§©®™€\xa0"
"""Signs outside ASCII that a sheet in Windows-1252 may hold besides letters; the last is the hard space."""

_BOM_16 = (b"\xff\xfe", b"\xfe\xff")
_LETTER = re.compile("[À-ÖØ-öø-ÿ]")
_FOREIGN = re.compile(r"[^\x00-\x7f]+")
_WORD_SHOWN = 24
"""Characters of the word that a note shows."""


def decode(content: bytes) -> tuple[str, str | None]:
    """Turn bytes into text.

    Parameters
    ----------
    content
        A whole file.

    Returns
    -------
    tuple
        The text without its byte order mark, and a note in words where its encoding was guessed, else None.

    Raises
    ------
    ValueError
        With the reason, where it cannot be told in one way what the bytes say.

    Examples
    --------
    >>> decode("34’ 11".encode("cp1252"))
    ('34’ 11', 'is not UTF-8 and was read as Windows-1252, “34’” in line 1 for one; look whether that is right')
    """
    if content.startswith(b"PK\x03\x04"):
        raise ValueError("is a spreadsheet or archive under the name of a text file")
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise ValueError("is a spreadsheet of the old kind under the name of a text file")
    if content.startswith(_BOM_16):
        return _utf_16(content), None
    if b"\0" in content:
        raise ValueError("holds NUL bytes, so it is not plain text")
    try:
        return content.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        byte, line = content[error.start], content.count(b"\n", 0, error.start) + 1
    return _windows(content, f"byte 0x{byte:02X} in line {line}")


def _utf_16(content: bytes) -> str:
    try:
        text = content.decode("utf-16")
    except UnicodeDecodeError as error:
        raise ValueError(f"begins as UTF-16 and is broken at byte {error.start + 1:,}") from None
    if "\0" in text:  # UTF-32 begins with the same mark
        raise ValueError("holds NUL characters, so it is not plain text")
    return text


def _windows(content: bytes, where: str) -> tuple[str, str]:
    """Read Windows-1252 where every sign outside ASCII stands where people write it.

    The same bytes say something else in the code pages of DOS, of the Macintosh before 2001 and of other languages; a
    letter then lands beside a figure, a capital within a word, or a quotation mark within one.
    """
    refusal = ValueError(f"is not UTF-8 ({where}), and no Windows-1252 that makes sense")
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        raise refusal from None
    first = None
    for match in _FOREIGN.finditer(text):
        if not _plausible(text, match.start(), match.end()):
            raise refusal
        first = match.start() if first is None else first
    if first is None or any(ord(c) < 32 and c not in "\t\r\n" for c in text):
        raise refusal
    line = text.count("\n", 0, first) + 1
    note = f"is not UTF-8 and was read as Windows-1252, “{_word_at(text, first)}” in line {line} for one"
    return text, f"{note}; look whether that is right"


def _plausible(text: str, start: int, end: int) -> bool:
    if not all(c in MARKS or _LETTER.fullmatch(c) for c in text[start:end]):
        return False
    return all(_fits(text, place) for place in range(start, end))


def _fits(text: str, place: int) -> bool:
    """Tell whether one sign outside ASCII may stand between its neighbours."""
    sign, before, after = text[place], text[place - 1 : place], text[place + 1 : place + 2]
    if _LETTER.fullmatch(sign):
        if before.isdigit() or after.isdigit():
            return False
        inside = before.islower()
        run = sum(bool(_LETTER.fullmatch(c)) for c in text[max(place - 2, 0) : place + 3])
        return run <= 2 and not (inside and sign.isupper())
    if sign in "“”‘–—…•":
        return not (before.isalpha() and after.isalpha())
    return True


def _word_at(text: str, place: int) -> str:
    """Give the word round a place, for a message."""
    begin = max(text.rfind(mark, 0, place) for mark in ' \t\r\n,;"') + 1
    end = min((at for mark in ' \t\r\n,;"' if (at := text.find(mark, place)) >= 0), default=len(text))
    word = text[begin:end].replace("\xa0", " ").strip()
    return word if len(word) <= _WORD_SHOWN else text[place : place + 1]
