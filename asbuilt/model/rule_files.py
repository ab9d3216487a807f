"""A user's own rule profile, kept in the record as it was written."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RuleFile:
    """One TOML file with a rule profile that `property.toml` names, or that such a profile extends."""

    name: str  #: as it is named there, with / between folders: rules.toml
    text: str  #: the whole file
