"""What the limits of a rule profile may be about, and the units of each."""

from collections.abc import Mapping
from types import MappingProxyType

from asbuilt.units import FOOT_M, INCH_M

COMPARISONS = ("at least", "more than", "at most", "less than")
"""How a quantity must stand to the value of a limit for the limit to be kept."""

STANDINGS = ("seen", "seen in copies", "from memory", "common practice", "derived", "our judgement")
"""How well a source is known: read by us, read in copies by others, remembered, or no published rule at all."""

METRES: Mapping[str, float] = MappingProxyType({"in": INCH_M, "ft": FOOT_M, "m": 1.0, "cm": 0.01})
"""Metres in one of each unit of length."""

FALLS: Mapping[str, float] = MappingProxyType({"in/ft": 1 / 12, "in/100 ft": 1 / 1200, "%": 0.01})
"""Fall a unit of length in one of each unit of slope."""

LENGTHS = tuple(METRES)
SLOPES = tuple(FALLS)
INTERVALS = ("months", "years")
SHARES = ("% of liquid depth", "% of liquid capacity")
RATES = ("L/person/year", "gal/person/year")
TIMES = ("times the uplift",)
WEIGHTS = ("lb/ft3",)
PERCENT = ("%",)
COUNTS = ("points",)

KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "sludge_to_outlet": LENGTHS,
        "scum_to_outlet": LENGTHS,
        "scum_top_to_tee_top": LENGTHS,
        "solids_share": SHARES,
        "pump_out_interval": INTERVALS,
        "inspection_interval": INTERVALS,
        "filter_interval": INTERVALS,
        "pump_test_interval": INTERVALS,
        "lateral_flush_interval": INTERVALS,
        "unit_service_interval": INTERVALS,
        "flotation_factor": TIMES,
        "soil_weight": WEIGHTS,
        "location_accuracy": LENGTHS,
        "reference_points": COUNTS,
        "setback": LENGTHS,
        "keep_clear": LENGTHS,
        "pipe_slope": SLOPES,
        "tank_drop": LENGTHS,
        "level_spread": LENGTHS,
        "level_slope": SLOPES,
        "trench_depth": LENGTHS,
        "trench_width": LENGTHS,
        "cover": LENGTHS,
        "separation": LENGTHS,
        "outlet_spread": LENGTHS,
        "watertight_drop": LENGTHS,
        "orifice_size": LENGTHS,
        "squirt_in_lateral": PERCENT,
        "squirt_in_system": PERCENT,
        "residual_head": LENGTHS,
    }
)
"""Keys of limits that the program knows, and the units of each. A check that needs a new limit adds its key here,
so that a mistyped key in a user's own profile is refused and not passed over in silence."""

BETWEEN = ("setback", "keep_clear")
"""Keys whose limits are measured to another kind, which stands in `to`: setbacks of what is buried, and what is to be
kept clear of what is built, planted or driven later."""

SIZED = ("pipe_slope", "residual_head")
"""Keys whose limits may hold for some sizes only: of the pipe, of the orifice."""

PRIOR_KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"sludge_rate": RATES, "scum_rate": RATES, "sludge_reading": LENGTHS, "scum_reading": LENGTHS}
)
"""Keys of priors: rates of rise per person, and how well a depth is read (mean 0)."""

NAMES = ("record_drawing",)
"""Local names that a profile may give: the title of the drawing."""
