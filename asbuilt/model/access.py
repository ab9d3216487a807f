"""How one gets to the tanks with a truck, and where the pump's panel is: `[access]` and `[panel]`."""

from dataclasses import dataclass

from asbuilt.units import Length


@dataclass(frozen=True, slots=True)
class Access:
    """What the driver of the truck has to know, as given in `[access]`."""

    truck: str | None = None  #: where the truck stands: a reference point or a point
    truck_above: Length | None = None  #: how far the truck's stand lies above the ground at the tank; negative: below
    gate: str | None = None
    dog: str | None = None
    bridge: str | None = None
    wires: str | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Panel:
    """What the people in the house have to know when the alarm sounds, as given in `[panel]`."""

    place: str | None = None  #: where the control panel hangs
    breaker: str | None = None  #: which breaker is the pump's, and where
    alarm_breaker: str | None = None  #: the alarm's own
    silence: str | None = None  #: how the horn is silenced
    call: str | None = None  #: who to call
    phone: str | None = None
    notes: str | None = None
