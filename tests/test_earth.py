"""Laying a property on the earth: synthetic truth, closed forms, and what does not fit is named.

The truth is made with geodesics of geographiclib and with the magnetic model itself, not with the survey.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray
from pygeomag import GeoMag
from pyproj import Transformer

from asbuilt.findings import Finding, Severity
from asbuilt.jobs.locate import Located, locate
from asbuilt.model.measurements import KnownCoordinate
from asbuilt.model.place import Earth, Measured
from asbuilt.model.property_record import PropertyRecord
from asbuilt.survey.azimuth import WallAzimuth
from asbuilt.survey.coordinates import KnownPlace, on_grid
from asbuilt.survey.earth import LocalFrame, Placement, place_on_earth, turn_matrix
from asbuilt.survey.quality import radius_95
from asbuilt.survey.solution import Fit, Position, Solution
from asbuilt.units import Length
from tests.synthetic import Synthetic, make_property

Array = NDArray[np.float64]

MEASURED = date(2026, 7, 2)
FEET_US = 3560  # NAD83 / Utah North (ftUS)
PER_AXIS = 1 / 1.5096  # standard deviation of one axis by the radius that holds 68 %: 1 / sqrt(-2 ln 0.32)


@dataclass(frozen=True)
class OnEarth:
    """A synthetic property with a true place and direction, and a generator for the errors of what is given."""

    made: Synthetic
    longitude: float
    latitude: float
    azimuth_deg: float  #: of the first wall
    rng: np.random.Generator

    def at(self, name: str) -> tuple[float, float]:
        """Give true longitude and latitude."""
        x, y = self.made.truth[name]
        return moved(self.longitude, self.latitude, self.azimuth_deg - math.degrees(math.atan2(y, x)), math.hypot(x, y))

    def fix(self, name: str, accuracy_m: float) -> tuple[float, float]:
        """Give longitude and latitude as a device of that accuracy reports them."""
        east, north = self.rng.normal(0, accuracy_m * PER_AXIS, 2)
        return moved(*self.at(name), math.degrees(math.atan2(east, north)), math.hypot(east, north))

    def known(self, name: str, accuracy_m: float) -> KnownCoordinate:
        """Give a fix as a row of the sheet."""
        longitude, latitude = self.fix(name, accuracy_m)
        return KnownCoordinate(name, latitude, longitude, accuracy_m)

    def corners_apart(self, count: int) -> list[str]:
        """List house corners, each the farthest from those before it."""
        names = [reference.name for reference in self.made.record.reference_points if reference.kind == "corner"]
        chosen = names[:1]
        while len(chosen) < count:
            gap = {n: min(math.dist(self.made.truth[n], self.made.truth[c]) for c in chosen) for n in names}
            chosen.append(max(gap, key=gap.__getitem__))
        return chosen

    def record(self, earth: Earth | None = None, known: tuple[KnownCoordinate, ...] = ()) -> PropertyRecord:
        """Give the measured property with what places it."""
        place = self.made.record.property
        measured = replace(place.measured, on=MEASURED)
        return replace(
            self.made.record, property=replace(place, earth=earth, measured=measured), known_coordinates=known
        )


def moved(longitude: float, latitude: float, azimuth_deg: float, metres: float) -> tuple[float, float]:
    there = Geodesic.WGS84.Direct(latitude, longitude, azimuth_deg, metres)
    return there["lon2"], there["lat2"]


def on_earth(seed: int, **options: Any) -> OnEarth:
    rng = np.random.default_rng([7, seed])
    made = make_property(rng, **({"points": (3, 6)} | options))
    longitude, latitude, azimuth = rng.uniform((-113.5, 40.7, 0), (-109.5, 41.9, 360))
    return OnEarth(made, float(longitude), float(latitude), float(azimuth), rng)


def one_fix(true: OnEarth, azimuth_deg: float, **more: Any) -> PropertyRecord:
    """Give one phone fix and the azimuth of the first wall."""
    wall = true.made.record.walls[0]
    longitude, latitude = true.fix(wall.from_, 3.0)
    return true.record(Earth(wall.from_, latitude, longitude, 3.0, wall.from_, wall.to, azimuth_deg % 360, **more))


def fix_and_true_bearing(true: OnEarth) -> PropertyRecord:
    return one_fix(true, true.azimuth_deg + true.rng.normal(0, 0.5), azimuth_sigma_deg=0.5)


def fix_and_compass(true: OnEarth) -> PropertyRecord:
    """Give a compass bearing: off by 3 degrees of the compass and by the error of the magnetic model's report."""
    field = GeoMag(coefficients_file="wmm/WMM_2025.COF").calculate(
        glat=true.latitude, glon=true.longitude, alt=0.1, time=2026.5
    )
    model = true.rng.normal(0, math.sqrt(0.26**2 + (5417 / field.h) ** 2))
    return one_fix(true, true.azimuth_deg - field.d - model + true.rng.normal(0, 3.0), north="magnetic")


def two_fixes(true: OnEarth) -> PropertyRecord:
    return true.record(known=tuple(true.known(name, 0.5) for name in true.corners_apart(2)))


def four_fixes(true: OnEarth) -> PropertyRecord:
    return true.record(known=tuple(true.known(name, 1.0) for name in true.corners_apart(4)))


def two_on_a_grid(true: OnEarth) -> PropertyRecord:
    """Give two coordinates in US survey feet, with the 4 m in common that the shift of their datum may be off."""
    to_grid = Transformer.from_crs(4326, FEET_US, always_xy=True)
    east, north = true.rng.normal(0, 4.0 * PER_AXIS, 2)
    known = []
    for name in true.corners_apart(2):
        place = moved(*true.fix(name, 0.3), math.degrees(math.atan2(east, north)), math.hypot(east, north))
        easting, northing = to_grid.transform(*place)
        known.append(KnownCoordinate(name, None, None, 0.3, epsg=FEET_US, easting=easting, northing=northing))
    return true.record(known=tuple(known))


def placed(record: PropertyRecord) -> Placement:
    placement = locate(record).placement
    assert placement is not None
    return placement


def misses(true: OnEarth, placement: Placement) -> Mapping[str, float]:
    """How far each located name is from its true place, metres."""
    away = {}
    for name, (longitude, latitude) in placement.coordinates.items():
        lon, lat = true.at(name)
        away[name] = Geodesic.WGS84.Inverse(lat, lon, latitude, longitude)["s12"]
    return away


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:Best transformation is not available")  # the test's own, of the grid
@pytest.mark.parametrize("kind", [fix_and_true_bearing, fix_and_compass, two_fixes, four_fixes, two_on_a_grid])
def test_earth_radii_hold_95_percent_over_300_properties(kind: Callable[[OnEarth], PropertyRecord]) -> None:
    counts = []
    for seed in range(300):
        true = on_earth(seed)
        placement = placed(kind(true))
        away = misses(true, placement)
        points = [name for name in away if "/" in name]
        counts.append((sum(away[name] <= placement.r95_earth_m[name] for name in points), len(points)))
    table = np.array(counts)
    picks = np.random.default_rng(0).integers(len(table), size=(2000, len(table)))
    resampled = table[picks].sum(axis=1)
    low, high = np.quantile(resampled[:, 0] / resampled[:, 1], [0.025, 0.975])
    share = table[:, 0].sum() / table[:, 1].sum()
    print(
        f"\n{kind.__name__}: {share:.4f} of {table[:, 1].sum()} points within r95_earth; band {low:.4f} to {high:.4f}"
    )
    assert low <= 0.95 <= high
    assert high - low < 0.06


# ------------------------------------------------------------ closed forms


def flat(places: Mapping[str, tuple[float, float]], azimuth_deg: float | None = None) -> Solution:
    """Give a solution without any error of its own, in a frame that is north up where an azimuth is given."""
    points = tuple(Position(n, None, np.array(p, dtype=float), np.zeros((2, 2)), 0.0) for n, p in places.items())
    size = 2 * len(points)
    return Solution("flat", points, (), Fit(0, 0, 0.0, None), (), tuple(places), np.zeros((size, size)), azimuth_deg)


HOUSE = {"A": (0.0, 0.0), "B": (12.0, 0.0), "C": (12.0, 8.0), "D": (0.0, 8.0)}
FRAME = LocalFrame(-111.0, 41.0)


def given(
    places: Mapping[str, tuple[float, float]], sigma_m: float, turn: float = 0.0, **errors: Any
) -> list[KnownPlace]:
    """Give the coordinates of places turned by an angle, with errors where named."""
    known = []
    for name, place in places.items():
        laid = turn_matrix(turn) @ np.array(place) + errors.get(name, (0.0, 0.0))
        longitude, latitude = FRAME.to_earth(*laid)
        known.append(KnownPlace(name, float(longitude), float(latitude), sigma_m / PER_AXIS))
    return known


def test_the_radius_grows_with_the_distance_from_the_middle_of_the_fixes_as_the_closed_form_says() -> None:
    """Radial variance s^2/n, tangential s^2 (1/n + rho^2/S), with S the sum of squares from the centroid."""
    sigma, spread = 0.5, 4 * (6.0**2 + 4.0**2)
    far = {"here": (6.0, 4.0), "lid": (25.0, -10.0), "end": (-40.0, 30.0)}
    placement, _ = place_on_earth(flat(HOUSE | far), given(HOUSE, sigma))
    assert placement is not None
    assert spread == 208
    assert math.radians(placement.rotation_sigma_deg) == pytest.approx(sigma / math.sqrt(spread), rel=1e-6)
    assert placement.rotation_sigma_deg == pytest.approx(1.9864, abs=5e-5)
    for name, (x, y) in far.items():
        rho = math.hypot(x - 6, y - 4)
        axes = sigma**2 * np.array([1 / 4, 1 / 4 + rho**2 / spread])
        assert placement.r95_earth_m[name] == pytest.approx(float(radius_95(np.diag(axes))), rel=1e-6)
    drms = math.sqrt(sigma**2 * (2 / 4 + ((25 - 6) ** 2 + 14**2) / spread))
    assert drms == pytest.approx(0.8913, abs=5e-5)


def test_the_scatter_of_four_fixes_is_the_closed_form_by_drawing_lots() -> None:
    rng, sigma = np.random.default_rng(1), 0.5
    off = []
    for _ in range(700):
        errors = dict(zip(HOUSE, rng.normal(0, sigma, (4, 2)), strict=True))
        placement, _ = place_on_earth(flat(HOUSE | {"lid": (25.0, -10.0)}), given(HOUSE, sigma, **errors))
        assert placement is not None
        off.append(np.hypot(*(np.array(FRAME.to_plane(*placement.coordinates["lid"])) - (25.0, -10.0))))
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(0.8913, rel=0.06)


def test_one_fix_and_a_bearing_swing_a_point_across_the_line_to_it() -> None:
    """Covariance of the fix plus (rho s)^2 across: 1.05 m at 30 m for 2 degrees."""
    azimuth = WallAzimuth(0.0, 2.0)
    known = given({"A": (0.0, 0.0)}, 1.0)
    placement, _ = place_on_earth(flat({"A": (0.0, 0.0), "lid": (0.0, 30.0)}, 0.0), known, azimuth)
    assert placement is not None
    across = 30 * math.radians(2)
    assert across == pytest.approx(1.05, abs=0.005)
    expected = radius_95(np.diag([1.0 + across**2, 1.0]))
    assert placement.r95_earth_m["lid"] == pytest.approx(float(expected), rel=1e-6)
    assert placement.r95_earth_m["A"] == pytest.approx(2.447747, rel=1e-5)


def test_what_a_datum_shift_may_be_off_moves_all_and_turns_nothing() -> None:
    grids = {name: on_grid(FEET_US, 1.7e6 + x / 0.3048, 3.4e6 + y / 0.3048) for name, (x, y) in HOUSE.items()}
    known = [KnownPlace(name, grid.longitude, grid.latitude, 0.02, grid) for name, grid in grids.items()]
    placement, _ = place_on_earth(flat(HOUSE | {"lid": (60.0, 0.0)}), known)
    assert placement is not None
    assert placement.rotation_sigma_deg < 0.06
    alone = 4.0 * PER_AXIS * math.sqrt(-2 * math.log(0.05))
    assert placement.r95_earth_m["lid"] == pytest.approx(alone, rel=0.001)


# ------------------------------------------------------------ the shape is never altered


@pytest.mark.parametrize("seed", range(6))
def test_coordinates_never_alter_the_relative_shape(seed: int) -> None:
    """To the last bit, though they are metres off and disagree."""
    true = on_earth(seed)
    bare = locate(true.record())
    wild = tuple(
        true.known(name, accuracy) for name, accuracy in zip(true.corners_apart(3), (9, 0.01, 40), strict=True)
    )
    laid = locate(true.record(known=wild))
    assert bare.placement is None and laid.placement is not None
    assert laid.solution.names == bare.solution.names
    assert laid.solution.covariance.tobytes() == bare.solution.covariance.tobytes()
    for name in bare.solution.names:
        before, after = bare.solution.position(name), laid.solution.position(name)
        assert (before.place is None) == (after.place is None)
        assert before.place is None or after.place is None or before.place.tobytes() == after.place.tobytes()
        assert before.r95_m == after.r95_m


# ------------------------------------------------------------ what does not fit


def findings(code: str, known: list[KnownPlace], azimuth: WallAzimuth | None = None) -> list[Finding]:
    north = None if azimuth is None else azimuth.degrees
    _, found = place_on_earth(flat(HOUSE, north), known, azimuth)
    return [finding for finding in found if finding.code == code]


def attention(known: list[KnownPlace], azimuth: WallAzimuth | None = None, **more: Any) -> list[Finding]:
    north = None if azimuth is None else azimuth.degrees
    _, found = place_on_earth(flat(more.get("places", HOUSE), north), known, azimuth)
    return [finding for finding in found if finding.severity is Severity.ATTENTION]


@pytest.mark.parametrize("wrong", HOUSE)
def test_of_four_coordinates_the_wrong_one_is_named(wrong: str) -> None:
    (finding,) = attention(given(HOUSE, 0.3, 0.7, **{wrong: (3.0, 4.0)}))
    assert (finding.code, finding.subject) == ("coordinate-outlier", wrong)
    assert f"Without {wrong} all the others agree, and nothing else explains it." in finding.message
    assert finding.next_act == f"Check the coordinate of {wrong}, or take it out."


def test_of_three_a_wrong_one_is_named_where_only_it_explains_the_misfit() -> None:
    three = {name: HOUSE[name] for name in "ABC"}
    (finding,) = attention(given(three, 0.1, **{"A": (3.0, 3.0)}))
    assert (finding.code, finding.subject) == ("coordinate-outlier", "A")


def test_of_three_none_is_named_where_two_would_explain_the_misfit() -> None:
    """C moved round B keeps its distance from B: the coordinate of A being wrong would explain as much."""
    three = {name: HOUSE[name] for name in "ABC"}
    turned = np.array(HOUSE["B"]) + turn_matrix(0.6) @ (np.array(HOUSE["C"]) - HOUSE["B"])
    (finding,) = attention(given(three, 0.1, **{"C": turned - HOUSE["C"]}))
    assert finding.code == "coordinates-disagree"
    assert finding.message.endswith("It may be A or C: the rest cannot tell.")


def test_two_that_disagree_are_not_told_apart() -> None:
    two = {name: HOUSE[name] for name in "AC"}
    (finding,) = attention(given(two, 0.3, C=(5.0, 4.0)))
    assert finding.code == "coordinates-disagree"
    assert finding.message.endswith("It may be A or C: the rest cannot tell.")
    assert finding.next_act == "Check the coordinates; one more known coordinate would tell."


def test_two_that_are_wrong_at_once_are_not_named_one_by_one() -> None:
    (finding,) = attention(given(HOUSE, 0.1, A=(5.0, -3.0), C=(-4.0, 6.0)))
    assert finding.code == "coordinates-disagree"
    assert "more than one is off" in finding.message


def test_an_azimuth_that_contradicts_the_coordinates_is_named_itself() -> None:
    """Three that agree with each other, and a wall read from its other end."""
    three = given({name: HOUSE[name] for name in "ABC"}, 0.1)
    assert attention(three, WallAzimuth(0.0, 0.5)) == []
    turned = given({name: HOUSE[name] for name in "ABC"}, 0.1, math.pi)
    (finding,) = attention(turned, WallAzimuth(0.0, 0.5))
    assert finding.code == "azimuth-disagrees"
    assert "The coordinates agree with each other, but not with the azimuth." in finding.message


@pytest.mark.parametrize("factor", [0.3048, 1 / 0.3048])
def test_feet_taken_for_metres_are_told_by_the_scale(factor: float) -> None:
    known = given({name: (factor * x, factor * y) for name, (x, y) in HOUSE.items()}, 0.3, 1.1)
    (finding,) = attention(known)
    assert finding.code == "feet-for-metres"
    assert f"lie {factor:.3g} times as far apart" in finding.message
    placement, _ = place_on_earth(flat(HOUSE), known)
    assert placement is not None
    assert placement.fit.free_scale == pytest.approx(factor, rel=1e-6)


def test_feet_taken_for_metres_are_found_in_a_whole_property() -> None:
    found = 0
    for seed in range(12):
        true = on_earth(seed)
        known = tuple(true.known(name, 1.0) for name in true.corners_apart(3))
        taken = in_feet(true.record(known=known))
        found += "feet-for-metres" in {finding.code for finding in locate(taken).findings}
    assert found == 12


def in_feet(record: PropertyRecord) -> PropertyRecord:
    """Read every length of a property in metres as if it were feet, and back: all 3.28 times too long."""

    def long(length: Length) -> Length:
        return Length(length.as_read, length.metres / 0.3048, length.step_m / 0.3048)

    return replace(
        record,
        walls=tuple(replace(wall, length=long(wall.length)) for wall in record.walls),
        ties=tuple(
            replace(tie, distance=long(tie.distance), drop=None if tie.drop is None else long(tie.drop))
            for tie in record.ties
        ),
        offsets=tuple(replace(each, along=long(each.along), out=long(each.out)) for each in record.offsets),
    )


def test_good_coordinates_are_hardly_ever_doubted() -> None:
    """A test at 5 %: of 400 draws 4 to 36 alarms have a chance of more than 999 in 1000 (binomial)."""
    rng, alarms = np.random.default_rng(3), 0
    for _ in range(400):
        errors = dict(zip(HOUSE, rng.normal(0, 0.4, (4, 2)), strict=True))
        alarms += bool(attention(given(HOUSE, 0.4, 2.0, **errors)))
    assert 6 <= alarms <= 36


def test_residuals_and_the_free_scale_are_shown() -> None:
    known = given(HOUSE, 0.3, A=(0.1, 0.2))
    (note,) = findings("coordinate-residuals", known)
    placement, _ = place_on_earth(flat(HOUSE), known)
    assert placement is not None
    assert [fit.name for fit in placement.fixes] == list("ABCD")
    for fit, place in zip(placement.fixes, HOUSE.values(), strict=True):
        laid = placement.fit.lay(np.array(place))
        target = placement.frame.to_plane(*next((k.longitude, k.latitude) for k in known if k.name == fit.name))
        assert (fit.east_m, fit.north_m) == pytest.approx(laid - np.array(target), abs=1e-9)
        assert f"{fit.name} {fit.off_m:.2f} m" in note.message
        assert fit.sigma_m == pytest.approx(0.3)
    assert sum(fit.redundancy for fit in placement.fixes) == pytest.approx(8 - 3, abs=1e-9)
    assert placement.scale_sigma == pytest.approx(0.3 / math.sqrt(208), rel=1e-3)
    assert f"a scale of {placement.fit.free_scale:.3f}, give or take {2 * placement.scale_sigma:.3f}" in note.message


def test_leaving_the_worst_out_takes_as_much_off_the_misfit_as_its_test_says() -> None:
    known = given(HOUSE, 0.3, A=(0.5, 0.2), C=(-0.1, 0.3))
    whole, _ = place_on_earth(flat(HOUSE), known)
    assert whole is not None
    total = sum((fit.off_m / fit.sigma_m) ** 2 for fit in whole.fixes)
    for fit in whole.fixes:
        fewer, _ = place_on_earth(flat(HOUSE), [each for each in known if each.name != fit.name])
        assert fewer is not None
        rest = sum((each.off_m / each.sigma_m) ** 2 for each in fewer.fixes)
        assert fit.chi2 == pytest.approx(total - rest, rel=0.02)


# ------------------------------------------------------------ weak, missing, given twice


def test_fixes_close_together_give_a_weak_direction_and_say_so() -> None:
    (note,) = findings("weak-direction", given({name: HOUSE[name] for name in "AD"}, 2.0))
    assert note.message == "The direction of the property on the earth is known to 20 degrees only."
    assert findings("weak-direction", given(HOUSE, 0.1)) == []


def test_one_coordinate_given_twice_gives_no_direction() -> None:
    twice = given({"A": (0.0, 0.0)}, 1.0) * 2
    placement, found = place_on_earth(flat(HOUSE), twice)
    assert placement is None
    assert [finding.code for finding in found] == ["no-direction"]


def test_one_coordinate_given_twice_and_an_azimuth_place_the_property() -> None:
    twice = given({"A": (0.0, 0.0)}, 1.0) * 2
    placement, found = place_on_earth(flat(HOUSE, 0.0), twice, WallAzimuth(0.0, 1.0))
    assert placement is not None
    assert found == []
    assert placement.scale_sigma is None
    assert placement.r95_earth_m["A"] == pytest.approx(2.447747 / math.sqrt(2), rel=1e-5)


def test_a_coordinate_of_a_name_without_a_place_is_told() -> None:
    known = [*given(HOUSE, 1.0), KnownPlace("well", -111.0, 41.0, 1.0)]
    _, found = place_on_earth(flat(HOUSE), known)
    (finding,) = [each for each in found if each.code == "unused-coordinate"]
    assert finding.message == "The known coordinate of well is not used: well has no place in the survey."


def test_a_recorded_coordinate_that_cannot_be_placed_is_refused_and_the_others_are_used() -> None:
    true = on_earth(1)
    good = [true.known(name, 1.0) for name in true.corners_apart(2)]
    bad = KnownCoordinate("A", None, None, 1.0, epsg=4326, easting=-111.0, northing=41.0)
    found = locate(true.record(known=(*good, bad)))
    (refused,) = [finding for finding in found.findings if finding.severity is Severity.REFUSED]
    assert (refused.code, refused.subject) == ("bad-coordinate", "A")
    assert refused.message == "The known coordinate of A is not used: EPSG 4326 (WGS 84) is a system of degrees."
    assert found.placement is not None
    assert [fit.name for fit in found.placement.fixes] == [each.point for each in good]


# ------------------------------------------------------------ compass


def compass(on: date | None, **changes: Any) -> Located:
    """Locate a house with a compass bearing of its first wall, north-east of a known corner."""
    true = on_earth(0)
    wall = true.made.record.walls[0]
    longitude, latitude = true.at(wall.from_)
    earth = Earth(wall.from_, latitude, longitude, 3.0, wall.from_, wall.to, 40.0, "magnetic")
    record = true.record(replace(earth, **changes))
    return locate(replace(record, property=replace(record.property, measured=Measured(on=on))))


@pytest.mark.parametrize(
    ("day", "model", "declination"),
    [
        (date(2012, 6, 14), "WMM-2010", 2012.45),
        (date(2017, 6, 14), "WMM-2015v2", 2017.45),
        (date(2019, 12, 31), "WMM-2015v2", 2020.0),
        (date(2020, 1, 1), "WMM-2020", 2020.0),
        (date(2024, 12, 31), "WMM-2020", 2025.0),
        (date(2029, 12, 31), "WMM-2025", 2030.0),
    ],
)
def test_the_model_is_the_one_of_the_measuring_day(day: date, model: str, declination: float) -> None:
    found = compass(day)
    assert found.placement is not None and found.placement.azimuth is not None
    turned = found.placement.azimuth.declination
    assert turned is not None
    assert (turned.model, turned.day) == (model, day)
    file = f"wmm/{model.replace('-', '_')}.COF"
    truth = GeoMag(coefficients_file=file).calculate(
        glat=found.placement.frame.latitude, glon=found.placement.frame.longitude, alt=0.1, time=declination
    )
    assert turned.degrees == pytest.approx(truth.d, abs=0.002)


def test_the_finding_says_declination_model_and_day_and_how_sure_the_direction_is() -> None:
    found = compass(date(2017, 6, 14))
    (note,) = [finding for finding in found.findings if finding.code == "declination"]
    assert note.severity is Severity.NOTE
    wall = found.record.walls[0]
    assert found.placement is not None and found.placement.azimuth is not None
    assert note.message == (
        f"The compass azimuth 40.0 of {wall.from_} > {wall.to} is {found.placement.azimuth.degrees:.1f} degrees from "
        f"true north: declination {found.placement.azimuth.degrees - 40:.1f} degrees east (WMM-2015v2, 2017-06-14). "
        "The wall's direction is known to 3.0 degrees (standard deviation; compass 3.0, model 0.3)."
    )


def test_a_stated_accuracy_stands_for_the_compass_and_the_models_own_is_added() -> None:
    found = compass(date(2026, 6, 14), azimuth_sigma_deg=0.5).placement
    assert found is not None and found.azimuth is not None and found.azimuth.declination is not None
    model = found.azimuth.declination.sigma_deg
    assert 0.35 < model < 0.4
    assert found.azimuth.sigma_deg == pytest.approx(math.hypot(0.5, model), abs=1e-12)
    assert found.rotation_sigma_deg == pytest.approx(found.azimuth.sigma_deg, rel=1e-9)


@pytest.mark.parametrize("day", [date(2009, 12, 31), date(2030, 1, 1), None])
def test_a_compass_bearing_of_a_day_without_a_model_is_not_used(day: date | None) -> None:
    found = compass(day)
    assert found.placement is None
    messages = [finding.message for finding in found.findings if finding.code == "no-declination"]
    why = "its declination needs a place and the day it was measured"
    if day is not None:
        why = f"the World Magnetic Models at hand cover 2010 to 2029, not {day}"
    assert messages == [f"The magnetic azimuth is not used: {why}."]


def test_near_the_magnetic_pole_a_compass_is_doubted_or_left_aside() -> None:
    doubtful = compass(MEASURED, latitude=75.0, longitude=-90.0)
    assert doubtful.placement is not None
    (finding,) = [each for each in doubtful.findings if each.code == "declination"]
    assert finding.severity is Severity.ATTENTION
    useless = compass(MEASURED, latitude=85.0, longitude=140.0)
    assert useless.placement is None
    (finding,) = [each for each in useless.findings if each.code == "no-declination"]
    assert "a compass is of no use" in finding.message


def test_the_declination_is_that_of_a_known_coordinate_where_earth_has_none() -> None:
    true = on_earth(2)
    wall = true.made.record.walls[0]
    earth = Earth(wall_from=wall.from_, wall_to=wall.to, azimuth_deg=40.0, north="magnetic")
    found = placed(true.record(earth, (true.known(wall.from_, 1.0),)))
    assert found.azimuth is not None and found.azimuth.declination is not None
    field = GeoMag(base_year=2026).calculate(glat=true.latitude, glon=true.longitude, alt=0.1, time=2026.5)
    assert found.azimuth.declination.degrees == pytest.approx(field.d, abs=0.001)
