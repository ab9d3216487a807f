"""Print results to stdout and what is wrong to stderr; end with the right status."""

import json
import re
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from asbuilt.findings import Finding, Severity, needs_attention

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def plain(text: str) -> str:
    """Take out what a terminal would obey: control characters and marks that reverse the reading order."""
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)


def show(text: str) -> None:
    """Print text that may hold words of the record."""
    click.echo(plain(text))


def show_json(value: Any) -> None:
    """Print JSON; numbers that JSON does not have are an error of ours and raise."""
    click.echo(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2))


def warn(text: str) -> None:
    """Print a line to stderr."""
    click.echo(plain(text), err=True)


def warn_findings(findings: Sequence[Finding]) -> None:
    """Print what needs attention to stderr, a line each."""
    for finding in findings:
        if finding.severity is not Severity.NOTE:
            warn(f"{finding.severity}: {finding.sentence()}")


def finish(findings: Sequence[Finding]) -> NoReturn:
    """End the command: status 1 where a finding needs attention, else 0."""
    raise click.exceptions.Exit(1 if needs_attention(list(findings)) else 0)
