"""What was read off a levelling rod, and the benchmark that elevations refer to."""

from dataclasses import dataclass
from datetime import date

from asbuilt.units import Length

STOOD_ON = ("top", "invert", "grade", "bottom")
"""What the rod stood on: the top (of a reference point: its mark), the invert, the ground beside it, the bottom."""


@dataclass(frozen=True, slots=True)
class LevelShot:
    """One rod reading from one set-up of the instrument: a backsight or a foresight."""

    setup: str  #: name of the set-up; its readings share one height of instrument
    on: str  #: reference point, point or turning point on which the rod stood
    to: str = "top"  #: one of STOOD_ON
    backsight: Length | None = None  #: reading on what is known; negative where the rod was held upside down
    foresight: Length | None = None  #: reading on what is sought; just one of the two is there
    distance: Length | None = None  #: from the instrument to the rod
    day: date | None = None  #: None = the day of `[measured]`
    note: str | None = None

    @property
    def reading(self) -> Length:
        """The reading, whichever it is."""
        reading = self.foresight if self.backsight is None else self.backsight
        if reading is None:
            raise ValueError(f"the shot on {self.on} from {self.setup} has no reading")  # the sheets refuse it
        return reading

    @property
    def words(self) -> str:
        """The shot as a person names it."""
        sight = "foresight" if self.backsight is None else "backsight"
        what = "" if self.to == "top" else f" {self.to}"
        return f"{sight} on {self.on}{what} from set-up {self.setup}"


@dataclass(frozen=True, slots=True)
class Benchmark:
    """The point that all elevations of a property refer to, as given in `[benchmark]`."""

    on: str  #: a name of `levels.csv`; its mark or top
    elevation: Length | None = None  #: may be negative; None = assumed, 100 of the property's units
    datum: str | None = None  #: what the elevation counts from, such as NAVD 88; None = assumed
