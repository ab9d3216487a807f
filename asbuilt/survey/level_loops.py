"""Loops of levels: by how much they fail to close, and how much they may.

Metres. A misclosure is what was carried round the loop in the direction of its first reading, less what it should be.
"""

import math
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from asbuilt.survey.level_network import Sight, Target

ALLOWED_SIGMAS = 2.0
"""A loop may miss by twice the standard deviation of a set-up times the root of their number (common practice)."""

FGCC_1984_MM = {"first, class I": 4, "first, class II": 5, "second, class I": 6, "second, class II": 8, "third": 12}
"""Loop misclosure by order, millimetres times the root of the kilometres (FGCC 1984, Standards and Specifications for
Geodetic Control Networks, section 3.5; numbers from memory)."""

_DATUM = "datum"  # joins all fixed targets, so that a line between two benchmarks is a loop too
_Node = Target | tuple[str, str] | str
_Edge = tuple[_Node, _Node, float, int | None]  # from, to, rise, row of the reading; None = a fixed elevation


def fgcc_allowance_m(km: float, order: str = "third") -> float:
    """Give the allowance of a loop by its length, metres; the order is one of `FGCC_1984_MM`."""
    return FGCC_1984_MM[order] / 1000 * math.sqrt(km)


@dataclass(frozen=True, slots=True)
class Loop:
    """One way round through the readings, back to where it began or to another benchmark."""

    setups: tuple[str, ...]
    rows: tuple[int, ...]  #: its readings, in the order of the sights
    misclosure_m: float
    allowance_m: float
    km: float | None  #: length along its sights; None = a sight length is not noted

    @property
    def closes(self) -> bool:
        """Tell whether it misses by no more than it may."""
        return abs(self.misclosure_m) <= self.allowance_m

    @property
    def third_order_m(self) -> float | None:
        """What third order of FGCC 1984 would allow, metres; None without sight lengths."""
        return None if self.km is None else fgcc_allowance_m(self.km)


def find_loops(sights: Sequence[Sight], fixed: Mapping[Target, float]) -> tuple[Loop, ...]:
    """Find as many independent loops as there are readings that check others, each as short as can be."""
    edges = _edges(sights, fixed)
    around: dict[_Node, list[int]] = {}
    for number, edge in enumerate(edges):
        for node in edge[:2]:
            around.setdefault(node, []).append(number)
    tree = _tree(edges, around)
    used = {number for number in tree.values() if number is not None}
    closing = (number for number in range(len(edges)) if number not in used and edges[number][0] in tree)
    return tuple(_loop(sights, [edges[k] for k in _round(number, edges, tree)]) for number in closing)


def _edges(sights: Sequence[Sight], fixed: Mapping[Target, float]) -> list[_Edge]:
    edges: list[_Edge] = [(_DATUM, target, elevation, None) for target, elevation in fixed.items()]
    for row, sight in enumerate(sights):
        edges.append((("setup", sight.setup), sight.target, -sight.reading_m, row))
    return edges


def _tree(edges: Sequence[_Edge], around: Mapping[_Node, Sequence[int]]) -> dict[_Node, int | None]:
    """Reach every node from the datum in the fewest steps: the edge by which each was reached."""
    reached: dict[_Node, int | None] = {_DATUM: None}
    waiting: deque[_Node] = deque([_DATUM])
    while waiting:
        node = waiting.popleft()
        for number in around.get(node, ()):
            other = _other_end(edges[number], node)
            if other not in reached:
                reached[other] = number
                waiting.append(other)
    return reached


def _other_end(edge: _Edge, node: _Node) -> _Node:
    return edge[1] if edge[0] == node else edge[0]


def _round(number: int, edges: Sequence[_Edge], tree: Mapping[_Node, int | None]) -> list[int]:
    """Edges of the loop that one more edge closes, in order round it."""
    forth, back = (list(_to_root(node, edges, tree)) for node in edges[number][:2])
    while forth and back and forth[-1] == back[-1]:
        forth.pop()
        back.pop()
    return [number, *back, *reversed(forth)]


def _to_root(node: _Node, edges: Sequence[_Edge], tree: Mapping[_Node, int | None]) -> Iterator[int]:
    while (number := tree[node]) is not None:
        yield number
        node = _other_end(edges[number], node)


def _loop(sights: Sequence[Sight], edges: Sequence[_Edge]) -> Loop:
    """Sum up one loop, walked so that its first reading is taken as it was: a backsight from rod to instrument."""
    rows = sorted(row for *_, row in edges if row is not None)
    node, total, backward = edges[0][0], 0.0, False
    for start, end, rise, row in edges:
        forward = node == start
        total += rise if forward else -rise
        if row == rows[0]:
            backward = forward == sights[row].back  # an edge runs from the instrument to the rod
        node = end if forward else start
    of_loop = [sights[row] for row in rows]
    known = [sight.sight_m for sight in of_loop if sight.sight_m is not None]
    return Loop(
        setups=tuple(dict.fromkeys(sight.setup for sight in of_loop)),
        rows=tuple(rows),
        misclosure_m=-total if backward else total,
        allowance_m=ALLOWED_SIGMAS * math.hypot(*(sight.sigma_m for sight in of_loop)),
        km=sum(known) / 1000 if len(known) == len(of_loop) else None,
    )
