"""Invented tanks whose layers rise at known rates, read with noise: truth for the measured dates.

The truth is reckoned here by its own arithmetic in inches and days and imports nothing of the reckoning under test.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from asbuilt.model.components import Component
from asbuilt.model.entries import ServiceEntry
from asbuilt.model.household import Household
from asbuilt.model.place import Property
from asbuilt.model.property_record import PropertyRecord
from asbuilt.units import Length

PUMPED = date(2020, 1, 1)
LITRES_A_CUBIC_INCH = 0.016387064
GALLON_CUBIC_INCHES = 231.0


@dataclass(frozen=True)
class Tank:
    """One invented tank: geometry in inches, rates in litres a person and year."""

    volume_gal: float = 1250.0
    liquid_depth_in: float = 48.0
    outlet_depth_in: float = 14.0
    people: int = 4
    sludge_rate: float = 50.0
    scum_rate: float = 25.0

    @property
    def area_in2(self) -> float:
        """Inside area, square inches."""
        return self.volume_gal * GALLON_CUBIC_INCHES / self.liquid_depth_in

    def inches_a_year(self, rate: float) -> float:
        """Rise of a layer that so many litres a person and year make."""
        return rate * self.people / LITRES_A_CUBIC_INCH / self.area_in2

    def years_until_due(self, sludge_clear: float = 12.0, scum_clear: float = 6.0, share: float = 0.25) -> float:
        """Years until the first of the three criteria is met (EPA: 12 in, 6 in, 25 % of the liquid depth)."""
        sludge, scum = self.inches_a_year(self.sludge_rate), self.inches_a_year(self.scum_rate)
        return min(
            (self.liquid_depth_in - self.outlet_depth_in - sludge_clear) / sludge,
            (self.outlet_depth_in - scum_clear) / scum,
            share * self.liquid_depth_in / (sludge + scum),
        )


def inches(value: float) -> Length:
    return Length(f"{value:.3f} in", value * 0.0254, 0.0254 * 0.001)


def readings(
    tank: Tank, years: list[float], noise: tuple[float, float], rng: np.random.Generator
) -> list[ServiceEntry]:
    """Read the tank so many years after it was pumped; a depth below nothing is read as nothing."""
    entries = []
    for year in years:
        sludge = tank.inches_a_year(tank.sludge_rate) * year + rng.normal(0, noise[0])
        scum = tank.inches_a_year(tank.scum_rate) * year + rng.normal(0, noise[1])
        on = PUMPED + timedelta(days=round(365.25 * year))
        entries.append(
            ServiceEntry(on, "tank", "inspection", sludge=inches(max(0.0, sludge)), scum=inches(max(0.0, scum)))
        )
    return entries


def record_of(tank: Tank, entries: list[ServiceEntry]) -> PropertyRecord:
    """Give the record that a person would have of it."""
    component = Component(
        "tank",
        "septic tank",
        volume_gal=tank.volume_gal,
        liquid_depth=inches(tank.liquid_depth_in),
        outlet_depth=inches(tank.outlet_depth_in),
        installed_on=PUMPED,
    )
    return PropertyRecord(
        Property("Invented", "ft-in"),
        (),
        components=(component,),
        household=(Household(PUMPED, float(tank.people)),),
        service=tuple(entries),
    )


def drawn_tank(rng: np.random.Generator, **given: float) -> Tank:
    """Draw the rates of a tank from the published spread (50 and 25 L a person and year, sd 25 and 15), above 0."""
    while True:
        sludge, scum = rng.normal(50, 25), rng.normal(25, 15)
        if sludge > 0 and scum > 0:
            return Tank(sludge_rate=sludge, scum_rate=scum, **given)  # type: ignore[arg-type]
