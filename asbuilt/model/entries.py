"""Service history: what was done to a component on a day, and how that is known."""

from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

PUMP_OUT = "pump-out"
"""The task that empties a tank."""

EVIDENCE = ("own reading", "receipt", "told")
"""How a service entry is known."""

LID = ("sound", "damaged", "missing")
"""How the lids of a tank were found."""


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
    tanks: str | None = None  #: names of all tanks emptied by this one load, with commas; None = `component` alone
    opening: str | None = None  #: through which opening it was reached
    sludge_top: Length | None = None  #: top of the sludge below the liquid level
    scum_bottom: Length | None = None  #: underside of the scum below the liquid level
    runback: bool | None = None  #: liquid ran back from the field while it was emptied
    baffles: str | None = None
    filter: str | None = None  #: what was found and done about the effluent filter
    lid: str | None = None  #: one of LID
    secured: bool | None = None  #: every lid was fastened on leaving
    reason: str | None = None  #: why it was done
    findings: str | None = None
    actions: str | None = None
    disposal: str | None = None  #: where the load went
    ticket: str | None = None  #: the number of the disposal site's ticket
    advice: str | None = None  #: what should be done next, and when
    scan: str | None = None  #: file of the receipt
