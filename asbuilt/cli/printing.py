"""Print results to stdout and what is wrong to stderr; end with the right status."""

import json
import logging
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NoReturn, TextIO

import click

from asbuilt.findings import Finding, Severity, needs_attention

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def plain(text: str) -> str:
    """Take out control characters, marks that turn the reading order and halves of characters."""
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)


def show(text: str) -> None:
    """Print text that may hold words of the record."""
    click.echo(_printable(plain(text), sys.stdout))


def show_json(value: Any) -> None:
    """Print JSON; numbers that JSON does not have are an error of ours and raise."""
    show_json_text(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n")


def show_json_text(text: str) -> None:
    """Print JSON text; what the terminal would obey or its character set lacks is escaped as JSON escapes it."""
    if text.isascii() and text.replace("\n", "").isprintable():  # many times faster than looking for what is not
        click.echo(text, nl=False)
        return
    text = _UNPRINTABLE.sub(lambda match: f"\\u{ord(match[0]):04x}", text)
    if _printable(text, sys.stdout) != text:
        text = "".join(c if c.isascii() else json.dumps(c)[1:-1] for c in text)
    click.echo(text, nl=False)


def _printable(text: str, stream: TextIO) -> str:
    """Put a question mark for each character that the stream's character set lacks."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)


def warn(text: str) -> None:
    """Print a line to stderr."""
    click.echo(_printable(plain(text), sys.stderr), err=True)


class _Notices(logging.Handler):
    """Prints what the record says beside the result."""

    def emit(self, record: logging.LogRecord) -> None:
        """Print one notice."""
        warn(f"note: {record.getMessage()}")


@contextmanager
def notices_shown() -> Iterator[None]:
    """Print the record's notices to stderr while the block lasts: a clock set back, a backup long ago, a share."""
    told, handler = logging.getLogger("asbuilt"), _Notices()
    passed_on, told.propagate = told.propagate, False
    told.addHandler(handler)
    try:
        yield
    finally:
        told.removeHandler(handler)
        told.propagate = passed_on


def warn_findings(findings: Sequence[Finding]) -> None:
    """Print what needs attention to stderr, a line each."""
    for finding in findings:
        if finding.severity is not Severity.NOTE:
            warn(f"{finding.severity}: {finding.sentence()}")


def finish(findings: Sequence[Finding]) -> NoReturn:
    """End the command: status 1 where a finding needs attention, else 0."""
    raise click.exceptions.Exit(1 if needs_attention(list(findings)) else 0)
