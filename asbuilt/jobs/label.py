"""The labels of a property's lids: what each says, and what its QR code holds."""

from collections.abc import Sequence
from datetime import date

from asbuilt.errors import AsbuiltError
from asbuilt.jobs.find import Asked, find_lids, lid_names
from asbuilt.jobs.locate import Located
from asbuilt.output.find.lid import FindSet, Lid
from asbuilt.output.find.words import FindWords
from asbuilt.output.sheets.label import Label, label_sheet_pdf
from asbuilt.output.sheets.qr import geo_uri


def labels_of(
    located: Located, today: date, *, names: Sequence[str] = (), lost: Sequence[str] = ()
) -> tuple[Label, ...]:
    """Make the labels of the lids that are asked for, or of the lids of every tank.

    Raises
    ------
    AsbuiltError
        If none of them can be found from the record.
    UnknownNameError, PromptError
        See `find_lids`.
    """
    chosen = tuple(names) or _tank_lids(located, today)
    found = find_lids(located, today, Asked(chosen, tuple(lost)))
    labels = tuple(_label(located, found, lid) for lid in found.lids if lid.crossing is not None)
    if not labels:
        listed = ", ".join(lid.name for lid in found.lids)
        raise AsbuiltError(f"no label can be made: {listed} cannot be found from the record; tape it from two corners")
    return labels


def label_sheet(labels: Sequence[Label], paper: str = "us-letter") -> bytes:
    """Set the labels as PDF."""
    return label_sheet_pdf(labels, paper)


def _tank_lids(located: Located, today: date) -> tuple[str, ...]:
    """Names of the lids of tanks; where there is none, of everything that one opens."""
    kinds = {each.name: each.kind.casefold() for each in located.record.components}
    every = lid_names(located, today)
    tanks = tuple(name for name in every if "tank" in kinds.get(located.record.component_of(name), ""))
    return tanks or every


def _label(located: Located, found: FindSet, lid: Lid) -> Label:
    words = FindWords(found)
    way = lid.crossing
    assert way is not None  # noqa: S101 - chosen for it
    tapes = tuple(f"{words.length(tape.distance_m)} from {tape.reference}" for tape in (way.first, way.second))
    side = f"Standing at {way.first.reference}, looking at {way.second.reference}: on your {way.hand}."
    facts = [f"Within {words.small(way.r95_m)} of there, 19 times in 20."]
    if lid.depth is not None:
        facts.append(f"{words.length(lid.depth.depth_m)} deep.")
    code = _place(located, lid.name) or _text(found, lid, tapes, side, facts)
    return Label(found.property, lid.name, code, tapes, side, tuple(facts), found.call, found.draft)


def _place(located: Located, name: str) -> str | None:
    """Write the place on the earth; None where the property has none."""
    placement = located.placement
    if placement is None or name not in placement.coordinates:
        return None
    longitude, latitude = placement.coordinates[name]
    return geo_uri(latitude, longitude, placement.r95_earth_m[name])


def _text(found: FindSet, lid: Lid, tapes: Sequence[str], side: str, facts: Sequence[str]) -> str:
    draft = " (DRAFT)" if found.draft else ""
    return f"{found.property}{draft}\n{lid.name}: {' and '.join(tapes)}, level. {side} {' '.join(facts)}"
