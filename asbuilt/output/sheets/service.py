"""The service sheet of one tank: what the pumper must know before the lid comes off, and boxes for what was found."""

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from asbuilt.model.components import Component, parse_compartments
from asbuilt.model.property_record import PropertyRecord
from asbuilt.output.sheets.pdf import render_pdf, shortened
from asbuilt.output.text.positions import Ways
from asbuilt.service.dosing import is_pump_tank
from asbuilt.service.due import Due
from asbuilt.service.flotation import BOOKKEEPING, Flotation, Verdict
from asbuilt.survey.solution import Position, Solution
from asbuilt.units import FOOT_M, format_length, format_small

CAUTIONS = (
    ("GAS KILLS.", "Never enter a tank or lean into it, not even to help someone who fell in: call 911. Never alone."),
    ("LIDS.", "Never leave an open lid alone. Fasten every lid before you go; cover and fence a broken one."),
    ("DIGGING.", "By hand near pipes and cables. Private lines are not marked by 811, and some may not be recorded."),
    ("POWER.", "Switch off and lock the pump's power before you touch panel or floats."),
)
"""Short forms of the usual cautions (common practice; gas: 29 CFR 1910.146)."""

BOXES_SOURCE = "Minn. R. 7083.0770 (version of 2014)"
"""The rule of what a pumper's record must hold; its items carry a dot on the sheet."""

MOST_LIDS = 4
"""Openings that a sheet has room for; a tank has two or three."""

_LIDS = ("lid", "riser", "opening", "manhole", "access", "port")


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the truck stands."""

    name: str
    above_m: float | None  #: above the ground at the tank; None = not known
    words: str  #: where that height is from


@dataclass(frozen=True, slots=True)
class TankSheet:
    """What one page is made of."""

    tank: Component
    flotation: Flotation | None  #: None = the rule profile has no factors
    stand: Stand | None
    last: str  #: when it was last pumped, in words
    dues: tuple[Due, ...]


def service_sheet_pdf(
    record: PropertyRecord, solution: Solution, sheets: tuple[TankSheet, ...], today: date, paper: str
) -> bytes:
    """Set one page a tank.

    Raises
    ------
    SheetPdfError
        If it cannot be set: a fault of ours.
    """
    pages = [_page(record, solution, sheet) for sheet in sheets]
    place = record.property
    return render_pdf(
        "service_sheet",
        {
            "title": f"Service sheet: {place.name}",
            "name": shortened(place.name, 60),
            "address": shortened(place.address, 90),
            "owner": shortened(place.owner, 50),
            "phone": shortened(place.phone, 30),
            "as_of": today.isoformat(),
            "draft": place.draft,
            "cautions": [list(each) for each in CAUTIONS],
            "boxes_source": BOXES_SOURCE,
            "pages": pages,
        },
        paper,
    )


def _page(record: PropertyRecord, solution: Solution, sheet: TankSheet) -> dict[str, Any]:
    tank, access = sheet.tank, record.property.access
    lids = openings(record, solution, tank)
    return {
        "tank": shortened(tank.name, 40),
        "facts": shortened(_facts(tank), 150),
        "last": shortened(sheet.last, 130),
        "due": [shortened(f"{due.task} {due.due_on or 'no date'}", 40) for due in sheet.dues[:4]],
        "lids": [_lid(record, solution, lid, sheet.stand) for lid in lids[:MOST_LIDS]],
        "more_lids": max(0, len(lids) - MOST_LIDS),
        "float": _float(sheet.flotation, record.property.units),
        "stand": None if sheet.stand is None else shortened(sheet.stand.name, 60),
        "lift": shortened(_lift(tank, sheet.stand, record.property.units), 110),
        "access": [
            [word, shortened(text, 95)]
            for word, text in (
                ("Gate", access.gate),
                ("Dog", access.dog),
                ("Bridge", access.bridge),
                ("Wires", access.wires),
                ("Notes", access.notes),
            )
            if text
        ],
        "compartments": _compartments(tank),
        "openings": [shortened(lid.name.partition("/")[2] or lid.name, 14) for lid in lids[:3]],
        "pump": is_pump_tank(tank),
    }


def openings(record: PropertyRecord, solution: Solution, tank: Component) -> list[Position]:
    """Give the points of a tank that are openings, else all of its points."""
    own = [position for position in solution.points if position.component == tank.name]
    lids = [each for each in own if any(word in each.name.partition("/")[2].casefold() for word in _LIDS)]
    return lids or own


def _facts(tank: Component) -> str:
    parts = [tank.kind if tank.kind != tank.name else "", tank.material or ""]
    if tank.volume_gal is not None:
        parts.append(f"{tank.volume_gal:,.0f} gal")
    if tank.compartments:
        parts.append(f"compartments {tank.compartments}")
    if tank.liquid_depth is not None:
        parts.append(f"liquid {tank.liquid_depth.as_read} deep")
    if tank.installed_on is not None:
        parts.append(f"put in {tank.installed_on.isoformat()}")
    return ", ".join(part for part in parts if part)


def _lid(record: PropertyRecord, solution: Solution, lid: Position, stand: Stand | None) -> dict[str, Any]:
    units = record.property.units
    row = next((each for each in record.points if each.name == lid.name), None)
    ways = Ways(record, solution)
    tapes = [shortened(way, 70) for way in ways.to(lid)]
    deep = "not recorded" if row is None or row.depth is None else row.depth.as_read
    return {
        "name": shortened(lid.name.partition("/")[2] or lid.name, 34),
        "mark": "" if row is None or row.mark is None else shortened(row.mark, 10),
        "what": "" if row is None else shortened(row.description, 90),
        "size": "" if row is None or row.size is None else shortened(row.size, 12),
        "tapes": tapes or ["no tapes recorded"],
        "check": shortened(ways.check(lid), 80) or "none",
        "deep": shortened(deep, 14),
        "within": "not located" if lid.r95_m is None else format_small(lid.r95_m, units),
        "checked": lid.checked,
        "hose": _hose(solution, lid, stand, units),
    }


def _hose(solution: Solution, lid: Position, stand: Stand | None, units: str) -> str:
    """Straight distance over the ground, rounded up to the foot or half metre; empty where it is not known."""
    if stand is None or lid.place is None:
        return ""
    try:
        place = solution.position(stand.name).place
    except KeyError:
        return ""
    if place is None:
        return ""
    metres = float(np.hypot(*(place - lid.place)))
    if units == "m":
        return f"{math.ceil(2 * metres) / 2:g} m"
    return f"{math.ceil(metres / FOOT_M)} ft"


def _lift(tank: Component, stand: Stand | None, units: str) -> str:
    """From the tank's outside bottom up to the ground at the truck."""
    if tank.height is None or tank.cover is None:
        missing = " and ".join(each for each in ("height", "cover") if getattr(tank, each) is None)
        return f"not known: {missing} of the tank not recorded"
    deep = tank.cover.metres + tank.height.metres
    if stand is None or stand.above_m is None:
        return f"{format_length(deep, units)} from the tank's bottom to the ground over it"
    return f"{format_length(deep + stand.above_m, units)} from the tank's bottom to the truck ({stand.words})"


def _float(answer: Flotation | None, units: str) -> dict[str, Any]:
    verdict = str(Verdict.UNKNOWN if answer is None else answer.verdict)
    words = "The rule profile has no factors." if answer is None else answer.words
    sources = () if answer is None else answer.sources
    safe = answer is not None and answer.verdict is Verdict.HOLDS
    held = ""
    if answer is not None and answer.water_inside_m is not None:
        held = f"{format_length(answer.water_inside_m, units)} of water left in it holds it by these figures."
    elif answer is not None and answer.no_water:
        held = f"What water left in it would hold it is not told: {answer.no_water}."
    return {
        "verdict": verdict[0].upper() + verdict[1:],
        "safe": safe,
        "words": words,
        "held": held,
        "fragile": answer is None or answer.fragile,
        "bookkeeping": BOOKKEEPING,
        "sources": "; ".join(sources),
    }


def _compartments(tank: Component) -> list[str]:
    """Names of the rows for sludge and scum: the compartments, else two blank ones."""
    names = list(parse_compartments(tank.compartments)) if tank.compartments else []
    return [shortened(name, 18) for name in names[:3]] or ["inlet side", "outlet side"]
