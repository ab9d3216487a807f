"""What the reckoning noticed: doubt in words, with its number and the next act."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters, least first."""

    NOTE = "note"  #: weak or unchecked; the result stands
    ATTENTION = "attention"  #: somebody should act; exit status 1
    REFUSED = "refused"  #: cannot be taken as it is; sheets that bring it are not stored

    @property
    def rank(self) -> int:
        """Order of the severities, 0 the least."""
        return list(Severity).index(self)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing worth saying about one subject."""

    code: str  #: stable short word, such as "weak-crossing"
    subject: str  #: the point, tie or component it is about
    message: str  #: one or two sentences with the number in them
    severity: Severity
    next_act: str = ""  #: what to do about it, one sentence

    def sentence(self) -> str:
        """Give message and next act as one text."""
        return f"{self.message} {self.next_act}".strip()

    def as_json(self) -> dict[str, str]:
        """Give the finding with the keys of every `--json` output."""
        return {
            "code": self.code,
            "subject": self.subject,
            "message": self.sentence(),
            "severity": str(self.severity),
        }


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Order findings by severity, worst first, else as they came."""
    return sorted(findings, key=lambda finding: -finding.severity.rank)


def needs_attention(findings: list[Finding]) -> bool:
    """Tell whether exit status 1 is due."""
    return any(finding.severity.rank >= Severity.ATTENTION.rank for finding in findings)
