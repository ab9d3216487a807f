"""From measured sludge and scum to the day on which a tank must be pumped, and how well that day is known.

The readings since the last full pump-out and a prior of published rates of rise give the rate of each layer; the
profile's criteria give the depths at which the tank is due. The published table of years takes no part in it: its
implied rate is several times the measured ones, and held against a criterion it would call every tank overdue.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from asbuilt.model.components import Component
from asbuilt.model.household import Household
from asbuilt.rules.profile import Limit, Prior, Profile
from asbuilt.service.pumping import PumpOut, Start, TankHistory, compartments_of
from asbuilt.service.rates import Line, Normal, fit, together
from asbuilt.service.readings import Reading
from asbuilt.service.residence import Stretch, day_of, resident_years, stretches
from asbuilt.service.solids import number_words
from asbuilt.units import FOOT_M, INCH_M, US_GALLON_M3

METHOD = "measured solids"
"""How these dates come about; never mixed with the published table."""

EARLY, LIKELY, LATE = 0.1, 0.5, 0.9
"""Probabilities that the criterion is met by the earliest, the likely and the latest day: 80 % between them."""

SLIGHT = 0.005
"""Share of measurement below which it is not worth a number."""

METRES = {"in": INCH_M, "ft": FOOT_M, "m": 1.0, "cm": 0.01}
_LITRE_M3 = 0.001
_SUM, _SLUDGE, _SCUM = "sludge and scum", "sludge", "scum"


@dataclass(frozen=True, slots=True)
class MeasuredDue:
    """When the profile's criterion is met, by the readings."""

    due_on: date | None  #: the likely day; None = not reached, as the layers rise
    earliest_on: date | None  #: met by then with 10 %
    latest_on: date | None  #: met by then with 90 %; None = perhaps never
    limit: Limit  #: the criterion that is met first
    compartment: str | None
    measured_share: float  #: share of the information on the rate that comes from measurement, 0 to 1
    already: bool  #: a reading itself meets the criterion
    words: str  #: what was measured, and what follows
    remarks: tuple[str, ...]
    reference: str


@dataclass(frozen=True, slots=True)
class _Layer:
    """One quantity of one compartment and the depth at which a criterion is met."""

    limit: Limit
    quantity: str
    compartment: str | None
    bound_m: float
    area_m2: float | None  #: inside area of the compartment


@dataclass(frozen=True, slots=True)
class _Answer:
    """What one layer says."""

    layer: _Layer
    days: tuple[date | None, date | None, date | None]
    line: Line | None  #: None = a reading itself meets the criterion
    last: Reading
    count: int


def measured_due(
    history: TankHistory, readings: Sequence[Reading], household: Sequence[Household], profile: Profile
) -> MeasuredDue | None:
    """Reckon when the profile's criterion is met.

    Parameters
    ----------
    history
        The tank and its pump-outs.
    readings
        What was measured in it, in the order of the days; those up to the last full pump-out are left out.
    household
        Who lives there; where nobody is recorded, the layers rise with time alone and there is no prior.
    profile
        Whose criteria count, and where the prior stands.

    Returns
    -------
    MeasuredDue or None
        None where nothing was measured since the last full pump-out, or a criterion or the tank's liquid depth is
        not known: then readings tell no day.
    """
    tank, start = history.tank, history.start
    usable = [each for each in readings if start is None or not start.empty or each.on > start.on]
    layers = list(_layers(tank, usable, profile))
    if not layers:
        return None
    answers = [answer for layer in layers if (answer := _answer(history, layer, usable, household, profile))]
    if not answers:
        return None
    first = min(answers, key=lambda answer: answer.days[1] or date.max)
    early, likely, late = (min((d for a in answers if (d := a.days[k])), default=None) for k in range(3))
    if first.line is None:
        early = likely = late = first.days[1]
    share = 1.0 if first.line is None else first.line.measured_share
    return MeasuredDue(
        likely,
        early,
        late,
        first.layer.limit,
        first.layer.compartment,
        share,
        first.line is None,
        _words(first, start, household),
        tuple(_remarks(tank, usable, layers, household, profile, None if start is None else start.on)),
        _reference(first, profile, household),
    )


def inside_area_m2(tank: Component) -> float | None:
    """Inside area of a tank: volume by liquid depth, else its length by its width; None = not known."""
    if tank.volume_gal is not None and tank.liquid_depth is not None and tank.liquid_depth.metres > 0:
        return tank.volume_gal * US_GALLON_M3 / tank.liquid_depth.metres
    if tank.length is not None and tank.width is not None:
        return tank.length.metres * tank.width.metres
    return None


def criterion_quantity(limit: Limit, tank: Component, reading: Reading) -> float | None:
    """Give what a limit is about, in its own unit, from one reading; None = it does not tell.

    Rounded to a millionth: the lengths are exact as they were read, and only their sums in floating point are not.
    """
    depth = None if tank.liquid_depth is None else tank.liquid_depth.metres
    outlet = None if tank.outlet_depth is None else tank.outlet_depth.metres
    if limit.key == "sludge_to_outlet" and None not in (depth, outlet, reading.sludge_m):
        return round((depth - outlet - reading.sludge_m) / METRES[limit.unit], 6)  # type: ignore[operator]
    if limit.key == "scum_to_outlet" and None not in (outlet, reading.scum_bottom_m):
        return round((outlet - reading.scum_bottom_m) / METRES[limit.unit], 6)  # type: ignore[operator]
    if limit.key == "solids_share" and None not in (depth, reading.solids_m):
        return round(100 * reading.solids_m / depth, 6)  # type: ignore[operator]
    return None


# Layers: compartments and criteria


def _layers(tank: Component, readings: Sequence[Reading], profile: Profile) -> Iterator[_Layer]:
    """Give every quantity that a criterion is about and that was read, compartment by compartment."""
    depth = None if tank.liquid_depth is None else tank.liquid_depth.metres
    outlet = None if tank.outlet_depth is None else tank.outlet_depth.metres
    volumes = compartments_of(tank)
    for compartment in dict.fromkeys(reading.compartment for reading in readings):
        area = _area_of(tank, compartment)
        for key, quantity in (("sludge_to_outlet", _SLUDGE), ("scum_to_outlet", _SCUM), ("solids_share", _SUM)):
            for limit in profile.limits_of(key, [tank.kind]):
                if key == "solids_share" and limit.unit.endswith("capacity") and _whole(readings, volumes):
                    continue  # the compartments together, below
                bound = _bound_m(limit, depth, outlet)
                if bound is not None and any(_depth(each, quantity) is not None for each in _of(readings, compartment)):
                    yield _Layer(limit, quantity, compartment, bound, area)
    if depth is not None and _whole(readings, volumes):
        for limit in profile.limits_of("solids_share", [tank.kind]):
            if limit.unit.endswith("capacity"):
                yield _Layer(limit, _SUM, WHOLE, limit.value / 100 * depth, inside_area_m2(tank))


WHOLE = "all compartments"
"""Stands in the place of a compartment where a criterion counts the whole tank."""


def _area_of(tank: Component, compartment: str | None) -> float | None:
    volumes = compartments_of(tank)
    if compartment in volumes and tank.liquid_depth is not None:
        return volumes[compartment] * US_GALLON_M3 / tank.liquid_depth.metres
    return inside_area_m2(tank) if not volumes else None


def _whole(readings: Sequence[Reading], volumes: dict[str, float]) -> bool:
    """Tell whether every compartment was read, so that the share of the whole tank's capacity can be told."""
    read = {reading.compartment for reading in readings if reading.solids_m is not None}
    return len(volumes) > 1 and set(volumes) <= read


def _bound_m(limit: Limit, depth: float | None, outlet: float | None) -> float | None:
    """Depth of a layer at which a criterion is met, metres; None = the tank's own depths are not recorded."""
    if limit.key == "solids_share":
        return None if depth is None else limit.value / 100 * depth
    if outlet is None or (limit.key == "sludge_to_outlet" and depth is None):
        return None
    clear = limit.value * METRES[limit.unit]
    return depth - outlet - clear if limit.key == "sludge_to_outlet" and depth is not None else outlet - clear


def _of(readings: Sequence[Reading], compartment: str | None) -> list[Reading]:
    return [reading for reading in readings if reading.compartment == compartment]


def _depth(reading: Reading, quantity: str) -> float | None:
    return {_SLUDGE: reading.sludge_m, _SCUM: reading.scum_bottom_m, _SUM: reading.solids_m}[quantity]


def _readings_for(layer: _Layer, tank: Component, readings: Sequence[Reading]) -> list[Reading]:
    """Give the readings of a layer; for the whole tank those of one day together, weighted by area."""
    if layer.compartment != WHOLE:
        return [each for each in _of(readings, layer.compartment) if _depth(each, layer.quantity) is not None]
    volumes = compartments_of(tank)
    total = sum(volumes.values())
    whole = []
    for day in sorted({reading.on for reading in readings}):
        of_day = {each.compartment: each for each in readings if each.on == day and each.solids_m is not None}
        if set(volumes) <= set(of_day):
            sludge, scum = (
                sum(volumes[name] * (getattr(of_day[name], field) or 0.0) for name in volumes) / total
                for field in ("sludge_m", "scum_m")
            )
            whole.append(Reading(day, WHOLE, sludge, scum, scum))
    return whole


# One layer


def _answer(
    history: TankHistory,
    layer: _Layer,
    readings: Sequence[Reading],
    household: Sequence[Household],
    profile: Profile,
) -> _Answer | None:
    """Say when one layer meets its criterion; None = its readings tell no rate."""
    tank = history.tank
    own = _readings_for(layer, tank, readings)
    if not own:
        return None
    cuts = _cuts(history, layer.compartment)
    last = own[-1]
    since_cut = [each for each in own if not any(each.on <= cut.on <= last.on for cut in cuts)] or own[-1:]
    met = [each for each in since_cut if _met(layer, tank, each)]
    if met:
        day = met[0].on
        return _Answer(layer, (day, day, day), None, met[0], len(own))
    priors = {_SLUDGE: ("sludge_rate",), _SCUM: ("scum_rate",), _SUM: ("sludge_rate", "scum_rate")}[layer.quantity]
    prior = _prior_m(profile, priors, tank) if household else None
    fitted = _fitted(history, layer, own, cuts, household, prior, _reading_var(profile, layer.quantity))
    if fitted is None:
        return None
    line, cut = fitted
    days = tuple(_reached(line, layer.bound_m, p, cut, last.on) for p in (EARLY, LIKELY, LATE))
    return _Answer(layer, (days[0], days[1], days[2]), line, last, len(own))


def _met(layer: _Layer, tank: Component, reading: Reading) -> bool:
    quantity = criterion_quantity(layer.limit, tank, reading)
    return quantity is not None and not layer.limit.holds(quantity)


def _cuts(history: TankHistory, compartment: str | None) -> list[PumpOut]:
    """Give the partial pump-outs since the last full one that took something out of a compartment."""
    since = history.start.on if history.start is not None else date.min
    return [
        day
        for day in history.pumped
        if not day.full
        and day.on > since
        and (not day.compartments or compartment in (None, WHOLE) or compartment in day.compartments)
    ]


def _fitted(
    history: TankHistory,
    layer: _Layer,
    own: list[Reading],
    cuts: list[PumpOut],
    household: Sequence[Household],
    prior: Normal | None,
    reading_var: float,
) -> tuple[Line, list[Stretch]] | None:
    """Fit the line piece by piece: a partial pump-out ends one line, and the next starts at an unknown depth.

    A reading on the day of a pump-out was taken before it. The last piece with readings in it is the one that goes
    on: a pump-out after it took something out, which nobody measured, so leaving it in is on the safe side.
    """
    start = history.start if history.start is not None and history.start.empty else None
    ends = [*(cut.on for cut in cuts), date.max]
    begins = [start.on if start is not None else own[0].on, *(cut.on for cut in cuts)]
    before: Normal | None = None
    result: tuple[Line, list[Stretch]] | None = None
    for place, (begin, end) in enumerate(zip(begins, ends, strict=True)):
        inside = [each for each in own if (begin < each.on or (place == 0 and start is None)) and each.on <= end]
        if not inside:
            continue
        cut = _residence(household, begin)
        points = [(resident_years(cut, each.on), _depth(each, layer.quantity) or 0.0) for each in inside]
        line = fit(points, reading_var, prior, before, from_zero=place == 0 and start is not None)
        if line is not None:
            before, result = (line.rate_m, line.rate_var), (line, cut)
    return result


def _residence(household: Sequence[Household], since: date) -> list[Stretch]:
    """Cut the household's history; where none is recorded, one resident stands for the tank."""
    return stretches(household, since) if household else [Stretch(since, Fraction(0), Fraction(1))]


def _reached(line: Line, bound_m: float, probability: float, cut: list[Stretch], last: date) -> date | None:
    """Day on which a bound is reached with a probability; never before the last reading, which did not reach it."""
    years = line.reached(bound_m, probability)
    day = None if years is None else day_of(cut, years)
    return None if day is None else max(day, last)


def _prior_m(profile: Profile, keys: Sequence[str], tank: Component) -> Normal | None:
    """Mean and variance of a rate of rise, metres a resident-year, spread evenly over the tank's inside area."""
    area = inside_area_m2(tank)
    both = together(*(profile.prior(key) for key in keys))
    if both is None or area is None:
        return None
    units = {prior.unit for key in keys if (prior := profile.prior(key))}
    if len(units) != 1:
        return None
    volume = _LITRE_M3 if units == {"L/person/year"} else US_GALLON_M3
    return both[0] * volume / area, both[1] * (volume / area) ** 2


def _reading_var(profile: Profile, quantity: str) -> float:
    """Variance of one reading, square metres; without one in the profile, an inch."""
    keys = {_SLUDGE: ("sludge_reading",), _SCUM: ("scum_reading",), _SUM: ("sludge_reading", "scum_reading")}[quantity]
    priors: list[Prior | None] = [profile.prior(key) for key in keys]
    return sum((INCH_M if prior is None else prior.sd * METRES[prior.unit]) ** 2 for prior in priors)


# Words


def _words(answer: _Answer, start: Start | None, household: Sequence[Household]) -> str:
    layer, last = answer.layer, answer.last
    where = "" if layer.compartment is None else f" in {_named(layer.compartment)}"
    read = [
        f"{name} {_inches(metres)}"
        for name, metres in (("sludge", last.sludge_m), ("scum", last.scum_m))
        if metres is not None
    ]
    text = f"measured {last.on.isoformat()}{where}: {' and '.join(read)}"
    criterion = _criterion(layer.limit)
    if answer.line is None:
        return f"{text}; {criterion}: met by the reading itself"
    since = "" if start is None else f" since {start.on.isoformat()}"
    count = f"{answer.count} reading{'' if answer.count == 1 else 's'}{since}"
    share = f"{100 * answer.line.measured_share:.0f} % of what is known of the rate is measured ({count})"
    if answer.line.measured_share < SLIGHT:
        share = f"the rate is still the published one, only the depth is measured ({count})"
    return f"{text}; {layer.quantity} rising {_rate(answer.line, layer, household)}; {share}; limit: {criterion}"


def _named(compartment: str) -> str:
    return compartment if compartment == WHOLE else f"the {compartment} compartment"


def _criterion(limit: Limit) -> str:
    number = number_words(limit.value)
    return {
        "sludge_to_outlet": f"top of the sludge {limit.comparison} {number} {limit.unit} below the outlet",
        "scum_to_outlet": f"underside of the scum {limit.comparison} {number} {limit.unit} above the outlet's bottom",
    }.get(limit.key, f"sludge and scum {limit.comparison} {number} {limit.unit}")


def _rate(line: Line, layer: _Layer, household: Sequence[Household]) -> str:
    whose = "a person and year" if household else "a year"
    words = f"{line.rate_m / INCH_M:.1f} in {whose}"
    if layer.area_m2 is not None:
        words += f" ({line.rate_m * layer.area_m2 / US_GALLON_M3:.0f} gal)"
    return words


def _inches(metres: float) -> str:
    return f"{metres / INCH_M:.1f}".removesuffix(".0") + " in"


def _reference(answer: _Answer, profile: Profile, household: Sequence[Household]) -> str:
    source = answer.layer.limit.source()
    prior = profile.prior("sludge_rate")
    if answer.line is None or not household or prior is None or answer.line.measured_share > 0.995:
        return source
    return f"{source}; rates before measuring: {prior.reference.words()} ({prior.standing})"


def _remarks(
    tank: Component,
    readings: Sequence[Reading],
    layers: Sequence[_Layer],
    household: Sequence[Household],
    profile: Profile,
    since: date | None,
) -> Iterator[str]:
    """Say what could not be checked, and what was assumed."""
    checked = {layer.limit.key for layer in layers}
    for key, needed in (("sludge_to_outlet", "outlet_depth"), ("scum_to_outlet", "outlet_depth")):
        if key not in checked and profile.limits_of(key, [tank.kind]) and getattr(tank, needed) is None:
            yield "the distance to the outlet is not checked, because outlet_depth is not recorded"
            break
    for limit in profile.limits_of("scum_top_to_tee_top", [tank.kind]):
        rule = limit.reference.words()
        yield f"the distance from the scum's top to the tee's top is not recorded, so {rule} is checked in part"
    if any(layer.limit.unit.endswith("capacity") and layer.compartment not in (None, WHOLE) for layer in layers):
        yield "the share of the capacity is taken from the compartment that was read, because not all of them were"
    if any(reading.scum_m is not None and reading.scum_m == reading.scum_bottom_m for reading in readings):
        yield "all of the scum is taken as below the liquid level"
    if not household:
        yield "no household is recorded, so the layers rise evenly with time"
    if any(row.disposer and (since is None or row.to is None or row.to > since) for row in household):
        yield "a waste disposer counts for a quarter more while it is in use"
    if tank.liquid_depth is None or tank.volume_gal is None:
        yield "the inside area is taken from length by width, which may be the outside"
