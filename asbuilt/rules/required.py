"""What the record of a property must hold by a rule profile: points of a kind of component, and facts."""

from dataclasses import dataclass

from asbuilt.rules.reference import Reference

PROPERTY = "the property"
"""Stands in `kinds` of a fact that is about the property itself and not about one of its components."""


@dataclass(frozen=True, slots=True)
class RequiredPoint:
    """Points that every component of some kinds must have."""

    kinds: tuple[str, ...]  #: kinds of components, or groups of kinds
    what: str  #: what they are, as it is said where they are missing: every opening
    count: int  #: how many, at least
    words: tuple[str, ...]  #: one of these stands in the name of such a point; empty = any name
    but_not: tuple[str, ...]  #: and none of these
    suggest: tuple[str, ...]  #: what such points may be called on a blank sheet
    checked: bool  #: a misread tape must show there
    photo: bool  #: a photo must be there
    reference: Reference
    standing: str
    note: str | None = None

    def named_by(self, point: str) -> bool:
        """Tell whether a point's own name is that of such a point.

        Examples
        --------
        >>> lids = RequiredPoint(("tank",), "lids", 1, ("lid",), ("vent",), (), True, True, Reference("R."), "seen")
        >>> lids.named_by("Inlet Lid"), lids.named_by("lid of the vent"), lids.named_by("inlet")
        (True, False, False)
        """
        name = point.casefold()
        wanted = not self.words or any(word.casefold() in name for word in self.words)
        return wanted and not any(word.casefold() in name for word in self.but_not)

    def source(self) -> str:
        """Give where it stands."""
        return self.reference.source(self.standing)


@dataclass(frozen=True, slots=True)
class RequiredFact:
    """Something besides points that must be told of every component of some kinds, or of the property."""

    kinds: tuple[str, ...]  #: kinds of components, groups of kinds, or PROPERTY
    what: str  #: what is told, as it is said where it is missing
    columns: tuple[str, ...]  #: one of these must be filled: columns of components.csv, keys of property.toml
    readings: tuple[str, ...]  #: one of these must be read: words of readings.csv
    outline: bool  #: its outline must be known: its corners, or its size with a direction
    components: tuple[str, ...]  #: of PROPERTY: a component of one of these kinds or groups must be recorded
    needs: str | None  #: MECHANICAL or PUMPED: asked only of such a system
    reference: Reference
    standing: str
    note: str | None = None

    def source(self) -> str:
        """Give where it stands."""
        return self.reference.source(self.standing)
