"""Service history: what was done to a component on a day, and how that is known."""

from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

PUMP_OUT = "pump-out"
"""The task that empties a tank."""

EVIDENCE = ("own reading", "receipt", "told")
"""How a service entry is known."""


@dataclass(frozen=True, slots=True)
class ServiceEntry:
    """One pump-out, inspection, repair or test on one day."""

    on: date
    component: str
    task: str  #: pump-out, inspection, filter ...; lower case
    compartment: str | None = None
    by: str | None = None
    gallons: float | None = None  #: US gallons removed
    sludge: Length | None = None  #: depth of settled solids
    scum: Length | None = None  #: thickness of the floating layer
    level_before: str | None = None  #: at, above or below the outlet
    evidence: str | None = None  #: one of EVIDENCE
    note: str | None = None
