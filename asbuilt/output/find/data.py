"""What is said of lids that are to be found, as plain JSON values; metres to 4 decimals."""

from typing import Any

from asbuilt.output.find.lid import FindSet, Lid
from asbuilt.output.find.words import FindWords
from asbuilt.survey.finding import AlongWall, Crossing, FindTape


def find_json(found: FindSet, lang: str = "en") -> dict[str, Any]:
    """Give every lid with its figures and the sentences made of them."""
    words = FindWords(found, lang)
    return {
        "property": found.property,
        "draft": found.draft,
        "as_on": found.today.isoformat(),
        "language": lang,
        "before_you_dig": words.heading("stop"),
        "danger": [words.heading(key) for key in ("danger_probe", "danger_lid", "danger_gas")],
        "lids": [_lid(lid, words) for lid in found.lids],
    }


def _lid(lid: Lid, words: FindWords) -> dict[str, Any]:
    page = words.page(lid)
    return {
        "name": lid.name,
        "component": lid.component,
        "kind": lid.kind,
        "r95_m": _rounded(lid.r95_m),
        "checked": lid.checked,
        "by_tapes": None if lid.crossing is None else _crossing(lid.crossing, words) | {"wind": lid.wind},
        "by_wall": None if lid.wall is None else _wall(lid.wall),
        "mirror_in_building": lid.mirror_in_house,
        "under": lid.cover,
        "depth": None
        if lid.depth is None
        else {
            "depth_m": _rounded(lid.depth.depth_m),
            "to": lid.depth.to or None,
            "ground_of": None if lid.depth.day is None else lid.depth.day.isoformat(),
            "how": lid.depth.how,
        },
        "size": lid.size,
        "color": lid.color,
        "material": lid.material,
        "description": lid.description,
        "landmark": lid.landmark,
        "known_by": lid.known_by,
        "near": [
            {"component": each.name, "kind": each.kind, "distance_m": _rounded(each.distance_m), "wind": each.wind}
            for each in lid.near
        ],
        "recorded_without_place": list(lid.no_place),
        "steps": [*page.steps, *page.hints],
        "facts": list(page.facts),
        "if_not_there": list(page.missing),
    }


def _crossing(way: Crossing, words: FindWords) -> dict[str, Any]:
    check = way.check
    return {
        "tapes": [_tape(tape, words) for tape in (way.first, way.second)],
        "hand": way.hand,
        "crossing_deg": round(way.crossing_deg, 1),
        "circle_r95_m": _rounded(way.r95_m),
        "check": None if check is None else _tape(check.tape, words) | {"within_m": _rounded(check.within_m)},
    }


def _tape(tape: FindTape, words: FindWords) -> dict[str, Any]:
    return {
        "from": tape.reference,
        "distance_m": _rounded(tape.distance_m),
        "distance_text": words.length(tape.distance_m),
        "through_building_m": _rounded(tape.through_m),
    }


def _wall(way: AlongWall) -> dict[str, Any]:
    return {
        "wall_from": way.wall_from,
        "wall_to": way.wall_to,
        "along_m": _rounded(way.along_m),
        "past_m": _rounded(way.past_m),
        "out_m": _rounded(way.out_m),
        "hand": way.hand,
        "circle_r95_m": _rounded(way.r95_m),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0
