"""Where a rule stands written."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reference:
    """Where something stands written."""

    code: str
    section: str | None = None
    edition: str | None = None
    address: str | None = None

    def words(self) -> str:
        """Give it as it is printed beside an answer."""
        named = " ".join(part for part in (self.code, self.section) if part)
        return f"{named} ({self.edition})" if self.edition else named

    def source(self, standing: str) -> str:
        """Give it with how well it is known, where we have not read the rule itself."""
        return self.words() if standing in ("seen", "seen in copies") else f"{self.words()} ({standing})"
