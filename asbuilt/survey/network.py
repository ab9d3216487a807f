"""Which of its possible places each node takes: from a first wall outward, mirrors told apart or left open."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asbuilt.survey.observations import Distance, Observations, Turn, WallOffset
from asbuilt.survey.sides import Sides
from asbuilt.survey.start import Candidate, Prior, circle_gap, locate_point

Array = NDArray[np.float64]

TOLD_APART_CHI2 = 9.0
"""The second place must be worse by this much before the tapes alone tell a mirror (three sigma)."""

PROVISIONAL_CHI2 = 4.0
"""Worse by this much is taken for now; the joint solution has the last word."""

AGAINST_SIDE_CHI2 = 25.0
"""The tapes must be this much against a noted side to outweigh it: a word written down is seldom wrong (our own)."""

CLEAR_CHI2 = 60.0
"""Worse by this much needs no second look."""

ONE_PLACE_M = 0.15
"""Two places closer than this are one place that is poorly known across the line."""

MEET_LIMIT = 3.29
"""Two tapes that miss by more than this many standard deviations do not meet."""

_BEAM = 64


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a node has no place."""

    code: str  #: open-mirror, tapes-do-not-meet, single-tied, no-ties, unconnected or hangs-on-open
    places: tuple[Array, ...] = ()  #: the places that stay possible
    others: tuple[int, ...] = ()  #: nodes it was taped from, or hangs on
    gap_m: float = 0.0


@dataclass(slots=True)
class Network:
    """Approximate places, and what stayed open."""

    places: dict[int, Array] = field(default_factory=dict)
    doubts: dict[int, Doubt] = field(default_factory=dict)
    mirrors: dict[int, Array] = field(default_factory=dict)  #: second-best place of nodes told apart by tapes


class Placer:
    """Places the nodes of one property one after the other."""

    def __init__(self, observations: Observations, sides: Sides, known_open: Mapping[int, Doubt]) -> None:
        self.observations = observations
        self.sides = sides
        self.network = Network(doubts=dict(known_open))
        self._known_open = known_open
        self._spread: dict[int, float] = {}  # variance of a placed node along its worst direction
        self._distances = observations.tapes()
        self._others: dict[int, list[Turn | WallOffset]] = {}
        others: list[Turn | WallOffset] = [*observations.turns, *observations.offsets]
        for other in others:
            for node in other.nodes:
                self._others.setdefault(node, []).append(other)

    def run(self, seed: Mapping[int, Array]) -> Network:
        """Place all that can be placed, beginning with `seed`."""
        self.network.places.update(seed)
        self._spread.update(dict.fromkeys(seed, 0.0))
        while self._settle_clear() or self._settle_groups():
            pass
        self._explain_rest()
        return self.network

    # -- one node

    def _options(self, node: int, places: Mapping[int, Array]) -> list[Candidate]:
        """All places that the node's own equations to placed nodes allow, cheapest first."""
        ties = [d for d in self._distances.get(node, ()) if d.far(node) in places]
        priors = [p for other in self._others.get(node, ()) for p in _prior(other, node, places, ties)]
        anchors = np.array([places[d.far(node)] for d in ties]).reshape(-1, 2)
        if not priors and len({d.far(node) for d in ties}) < 2:
            return []
        sigmas = [np.sqrt(d.sigma_m**2 + self._spread.get(d.far(node), 0.0)) for d in ties]
        return locate_point(anchors, [d.metres for d in ties], sigmas, priors)

    def _gap(self, node: int, places: Mapping[int, Array]) -> float:
        """Gap of a node that only two tapes hold, where it is beyond noise; else 0."""
        ties = [d for d in self._distances.get(node, ()) if d.far(node) in places]
        if len(ties) != 2 or self._others.get(node):
            return 0.0
        a, b = ties
        gap = circle_gap(places[a.far(node)], a.metres, places[b.far(node)], b.metres)
        spread = sum(self._spread.get(tie.far(node), 0.0) for tie in ties)
        noise = np.sqrt(a.sigma_m**2 + b.sigma_m**2 + spread)
        return gap if gap > MEET_LIMIT * noise else 0.0

    def _put(self, node: int, chosen: Candidate) -> None:
        self.network.places[node] = chosen.place
        self._spread[node] = float(np.linalg.eigvalsh(chosen.covariance)[-1])

    # -- nodes that are clear by themselves

    def _settle_clear(self) -> bool:
        """Place every node whose own tapes and sides leave one place; tell whether any was placed."""
        moved = False
        for node in range(len(self.observations.names)):
            if self._wanting(node) and self._try_alone(node):
                moved = True
        return moved

    def _wanting(self, node: int) -> bool:
        return node not in self.network.places and node not in self._known_open

    def _try_alone(self, node: int) -> bool:
        places = self.network.places
        options = self._options(node, places)
        if not options or not self.sides.ready(node, places) or self._gap(node, places):
            return False
        if self.sides.of.get(node):
            self._put(node, self._on_noted_side(node, options))
            return True
        best, second = options[0], options[1] if len(options) > 1 else None
        told = second is None or second.chi2 - best.chi2 >= PROVISIONAL_CHI2 or _one_place(best, second)
        if not told:
            return False
        if second is not None and second.chi2 - best.chi2 < CLEAR_CHI2 and not _one_place(best, second):
            self.network.mirrors[node] = second.place
        self._put(node, best)
        return True

    def _on_noted_side(self, node: int, options: list[Candidate]) -> Candidate:
        """Choose the best place on the noted side; the best of all where the tapes are clearly against that side."""
        allowed = [o for o in options if self.sides.allow(node, o.place, self.network.places)]
        near = (o for o in allowed if o.chi2 - options[0].chi2 < AGAINST_SIDE_CHI2)
        return next(near, options[0])

    # -- groups of nodes that settle each other

    def _settle_groups(self) -> bool:
        """Try groups of open nodes together; tell whether any node was placed."""
        moved = False
        for group in self._groups():
            states = self._states(group)
            if states:
                moved |= self._agree(group, states)
        return moved

    def _groups(self) -> list[list[int]]:
        """Unplaced nodes that share equations, group by group."""
        left = {n for n in range(len(self.observations.names)) if self._wanting(n)}
        groups = []
        while left:
            group, edge = [], [min(left)]
            while edge:
                node = edge.pop()
                if node in left:
                    left.discard(node)
                    group.append(node)
                    edge += [other for other in self._linked(node) if other in left]
            groups.append(sorted(group))
        return groups

    def _linked(self, node: int) -> set[int]:
        """Nodes that share an equation with this one."""
        tied = {n for d in self._distances.get(node, ()) for n in d.nodes}
        return tied | {n for other in self._others.get(node, ()) for n in other.nodes}

    def _states(self, group: list[int]) -> list[tuple[float, dict[int, Candidate]]]:
        """Cheapest combinations of places for a group: (cost, places), cheapest first."""
        states: list[tuple[float, dict[int, Candidate]]] = [(0.0, {})]
        todo = list(group)
        while todo:
            placed = self.network.places | {n: c.place for n, c in states[0][1].items()}
            ready = (n for n in todo if self.sides.ready(n, placed) and not self._gap(n, placed))
            node = next((n for n in ready if self._options(n, placed)), None)
            if node is None:
                break
            todo.remove(node)
            grown = [
                (cost + option.chi2, state | {node: option})
                for cost, state in states
                for option in self._allowed(node, self.network.places | {n: c.place for n, c in state.items()})
            ]
            grown.sort(key=lambda pair: pair[0])
            states = grown[:_BEAM]
        return states if states[0][1] else []

    def _allowed(self, node: int, places: Mapping[int, Array]) -> list[Candidate]:
        options = self._options(node, places)
        return [o for o in options if self.sides.allow(node, o.place, places)] or options

    def _agree(self, group: list[int], states: list[tuple[float, dict[int, Candidate]]]) -> bool:
        """Place the nodes on which all combinations that stay possible agree; note the others as open."""
        best_cost, best = states[0]
        alive = [state for cost, state in states if cost - best_cost < PROVISIONAL_CHI2]
        moved = False
        for node, chosen in best.items():
            other = next((s[node].place for s in alive if not _one_place(s[node], chosen)), None)
            if other is not None:
                anchors = tuple(dict.fromkeys(d.far(node) for d in self._distances.get(node, ())))
                self.network.doubts[node] = Doubt("open-mirror", (chosen.place, other), anchors)
                continue
            self.network.doubts.pop(node, None)
            near = (state for cost, state in states if cost - best_cost < CLEAR_CHI2)
            rival = next((state for state in near if not _one_place(state[node], chosen)), None)
            if rival is not None:
                self.network.mirrors[node] = rival[node].place
            self._put(node, chosen)
            moved = True
        return moved

    # -- what is left

    def _explain_rest(self) -> None:
        """Give every node without a place its reason."""
        places, doubts = self.network.places, self.network.doubts
        for node in range(len(self.observations.names)):
            if node in places or node in self._known_open:
                continue
            anchors = tuple(dict.fromkeys(d.far(node) for d in self._distances.get(node, ())))
            gap = self._gap(node, places)
            if gap:
                doubts[node] = Doubt("tapes-do-not-meet", (), anchors, gap)
            elif node not in doubts:
                doubts[node] = self._missing(node, anchors)
        for node, doubt in doubts.items():
            if doubt.code == "open-mirror" and self._hangs(node):
                open_anchor = tuple(n for n in doubt.others if n in doubts)
                doubts[node] = Doubt("hangs-on-open", doubt.places, open_anchor)

    def _hangs(self, node: int) -> bool:
        """Tell whether a node is open only because what it was taped from is open."""
        return not self._options(node, self.network.places)

    def _missing(self, node: int, anchors: tuple[int, ...]) -> Doubt:
        walls = [end for o in self.observations.offsets if o.p == node for end in (o.a, o.b)]
        held_by = tuple(dict.fromkeys((*anchors, *walls)))
        if not held_by:
            return Doubt("no-ties")
        if len(held_by) == 1:
            return Doubt("single-tied", (), held_by)
        needed = dict.fromkeys((*held_by, *(n for n in self.sides.waits_for(node, self.network.places) if n >= 0)))
        away = tuple(n for n in needed if n not in self.network.places)
        return Doubt("hangs-on-open" if len(away) < len(needed) else "unconnected", (), away)


def _one_place(a: Candidate, b: Candidate) -> bool:
    return bool(np.linalg.norm(a.place - b.place) < ONE_PLACE_M)


def _prior(equation: Turn | WallOffset, node: int, places: Mapping[int, Array], ties: list[Distance]) -> list[Prior]:
    """Tell what a turn or an offset says of a node's place, given the other nodes; empty where it says nothing yet."""
    if isinstance(equation, WallOffset):
        return _offset_prior(equation, node, places)
    return _wall_prior(equation, node, places, ties)


def _offset_prior(offset: WallOffset, node: int, places: Mapping[int, Array]) -> list[Prior]:
    if node != offset.p or not {offset.a, offset.b} <= places.keys():
        return []
    u = places[offset.b] - places[offset.a]
    u = u / np.hypot(*u)
    n = np.array([-u[1], u[0]])
    place = places[offset.a] + offset.along_m * u + offset.left_m * n
    information = np.outer(u, u) / offset.along_sigma_m**2 + np.outer(n, n) / offset.left_sigma_m**2
    return [Prior(place, information)]


def _wall_prior(turn: Turn, node: int, places: Mapping[int, Array], ties: list[Distance]) -> list[Prior]:
    """Direction of the wall that a turn gives: across the wall only, its length being one of `ties`."""
    if node == turn.k and {turn.i, turn.j} <= places.keys():
        along, sign = places[turn.j] - places[turn.i], 1.0
    elif node == turn.i and {turn.j, turn.k} <= places.keys():
        along, sign = places[turn.j] - places[turn.k], -1.0
    else:
        return []
    wall = next((d for d in ties if turn.j in d.nodes), None)
    if wall is None:
        return []
    cos, sin = np.cos(turn.radians), sign * np.sin(turn.radians)
    u = np.array([[cos, -sin], [sin, cos]]) @ (along / np.hypot(*along))
    n = np.array([-u[1], u[0]])
    across = max(turn.sigma_rad, 1e-4) * wall.metres
    return [Prior(places[turn.j] + wall.metres * u, np.outer(n, n) / across**2)]
