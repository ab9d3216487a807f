"""Places for labels on a drawing: no two texts overlap, none covers a symbol or leaves the frame.

Greedy, then once more: each label takes the cheapest of its own places that is still free; afterwards the labels that
had to go far away, or shrink to their short text, try again with all others in place. Where some find no room, all is
placed anew with these first. The same labels always get the same places. Paper millimetres, y down; a box is (left,
top, right, bottom), a segment (x1, y1, x2, y2).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAP_MM = (0.9, 0.3)
"""Free paper beside and above every text: so that two of them are not read as one (our own)."""

CROSSED, HIDDEN_LEADER = 1.6, 4.0
"""Cost, in millimetres of distance, of a line under the text, and of a leader over a line or another leader."""

TRIES, BRIEF_FROM = 6, 2
"""How often all is placed anew, those that found no room first, and from which of them on all texts are the short ones
(our own: more seldom helps)."""

CHUNK = 24
"""Candidates that are looked at together: few, since the first ones mostly do."""

RINGS_MM = (0.95, 2.5, 5.0, 8.0, 12.0, 17.0, 23.0, 30.0, 39.0, 50.0, 64.0)
WITHOUT_LEADER_MM = 1.5

_AROUND = tuple(k * math.pi / 8 for k in range(16))
_BEST_SIDES = np.array([0.0, 0.1, 0.3, 0.5, 0.8, 0.5, 0.4, 0.3, 0.2, 0.3, 0.5, 0.6, 1.0, 0.6, 0.4, 0.2])


@dataclass(frozen=True, slots=True)
class Text:
    """One wording of a label with the room it takes, millimetres."""

    words: str
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Label:
    """What wants a place: wordings, the dearest first, and where it may stand."""

    key: str
    texts: tuple[Text, ...]
    at: tuple[float, float] = (0.0, 0.0)  #: what a leader points to
    clear: float = 0.0  #: radius of the symbol there
    spots: tuple[tuple[float, float], ...] = ()  #: centres to try first, without a leader, the best first
    near: float = 7.0  #: a longer wording than the last goes no farther than this from what it names
    around: bool = True  #: may also stand anywhere round `at`, with a leader; if not, it may be left out
    own: frozenset[str] = frozenset()  #: names of lines that it may stand on


@dataclass(frozen=True, slots=True)
class Placed:
    """A label in its place."""

    label: Label
    text: Text
    box: tuple[float, float, float, float]
    leader: tuple[float, float, float, float] | None
    cost: float

    @property
    def short(self) -> bool:
        """Tell whether another wording than the first was taken."""
        return self.text is not self.label.texts[0]


@dataclass(slots=True)
class Ground:
    """What labels must keep clear of: the frame, symbols, lines."""

    frame: tuple[float, float, float, float]
    symbols: list[tuple[float, float, float, float]] = field(default_factory=list)
    lines: list[tuple[str, tuple[float, float, float, float]]] = field(default_factory=list)  #: name, segment


def place_labels(labels: Sequence[Label], ground: Ground) -> dict[str, Placed]:
    """Find a place for each label, the first ones first.

    Returns
    -------
    The placed labels by key; a label for which there is no room anywhere is not among them.
    """
    best: dict[str, Placed] = {}
    order, fewest = list(labels), len(labels) + 1
    for number in range(TRIES):
        placed = _place_in_order(order, _Table(ground, brief=number >= BRIEF_FROM))
        without = [label for label in order if label.around and label.key not in placed]
        if len(without) < fewest:
            best, fewest = placed, len(without)
        if not without:
            break
        order = [*without, *(label for label in order if label not in without)]
    return best


def _place_in_order(labels: Sequence[Label], table: "_Table") -> dict[str, Placed]:
    for label in labels:
        table.put(label)
    for label in labels:
        placed = table.placed.get(label.key)
        if placed is None or placed.short or placed.leader is not None:
            table.try_again(label)
    return table.placed


class _Table:
    """The labels that have a place, and the look for the next one."""

    def __init__(self, ground: Ground, *, brief: bool) -> None:
        self._brief = brief  # every label by its last wording
        self.placed: dict[str, Placed] = {}
        self._frame = ground.frame
        self._symbols = _rows(ground.symbols)
        self._names = [name for name, _ in ground.lines]
        self._lines = _rows([segment for _, segment in ground.lines])

    def put(self, label: Label) -> None:
        found = self._best(label)
        if found is not None:
            self.placed[label.key] = found

    def try_again(self, label: Label) -> None:
        """Look once more; what was found before stands again where nothing better is free."""
        before = self.placed.pop(label.key, None)
        found = self._best(label)
        if found is None or (before is not None and (found.short, found.cost) >= (before.short, before.cost)):
            found = before
        if found is not None:
            self.placed[label.key] = found

    def _best(self, label: Label) -> Placed | None:
        """Take the first wording that has a place near by, else the last one wherever there is room."""
        for text in label.texts[-1:] if self._brief else label.texts:
            found = self._cheapest(label, text)
            if found is not None and (text is label.texts[-1] or found.leader is None or found.cost <= label.near):
                return found
        return None

    def _cheapest(self, label: Label, text: Text) -> Placed | None:
        """Look through the candidates, the cheapest by themselves first, until none of the rest can be cheaper."""
        boxes, leaders, costs = self._free(*_candidates(label, text))
        best: Placed | None = None
        for first in range(0, len(costs), CHUNK):
            if best is not None and best.cost <= costs[first]:
                break
            part = slice(first, first + CHUNK)
            found = self._cheapest_of(label, text, boxes[part], leaders[part], costs[part])
            if found is not None and (best is None or found.cost < best.cost):
                best = found
        return best

    def _free(self, boxes: Array, leaders: Array, costs: Array) -> tuple[Array, Array, Array]:
        """Keep the candidates within the frame that cover neither text nor symbol, by rising cost."""
        taken = np.concatenate([_rows([each.box for each in self.placed.values()]), self._symbols])
        free = _inside(boxes, self._frame)
        free[free] = ~_overlap(_padded(boxes[free]), taken).any(axis=1)
        order = np.flatnonzero(free)
        order = order[np.argsort(costs[order], kind="stable")]
        return boxes[order], leaders[order], costs[order]

    def _cheapest_of(self, label: Label, text: Text, boxes: Array, leaders: Array, costs: Array) -> Placed | None:
        led = np.asarray(~np.isnan(leaders[:, 0]))
        taken = _rows([each.box for each in self.placed.values()])
        others = _rows([each.leader for each in self.placed.values() if each.leader is not None])
        free = np.asarray(~_crossed(_padded(boxes), others).any(axis=1))
        free[led] &= ~_crossed(taken, leaders[led]).any(axis=0)
        if not free.any():
            return None
        mine = np.array([name not in label.own for name in self._names], dtype=bool)
        costs = costs + CROSSED * _crossed(boxes, self._lines[mine]).sum(axis=1)
        costs[led] += HIDDEN_LEADER * _meet(leaders[led], others).sum(axis=1)
        costs[led] += HIDDEN_LEADER * _crossed(_shrunk(self._symbols), leaders[led]).sum(axis=0)
        best = int(np.argmin(np.where(free, costs, np.inf)))
        line = _four(leaders[best]) if led[best] else None
        return Placed(label, text, _four(boxes[best]), line, float(costs[best]))


def _padded(boxes: Array) -> Array:
    return np.asarray(boxes + np.array([-GAP_MM[0], -GAP_MM[1], *GAP_MM]))


def _candidates(label: Label, text: Text) -> tuple[Array, Array, Array]:
    """Boxes that a label may take, the leader of each (nan: none), and what each costs by itself."""
    size = np.array([text.width, text.height])
    centres = [np.array(label.spots, dtype=float).reshape(-1, 2)]
    costs = [0.7 * np.arange(len(label.spots), dtype=float)]
    led = [np.zeros(len(label.spots), dtype=bool)]
    if label.around:
        towards = np.array([(math.cos(a), -math.sin(a)) for a in _AROUND])
        sides = np.clip(1.5 * towards, -1, 1) * size / 2
        for ring in RINGS_MM:
            centres.append(np.array(label.at) + (label.clear + ring) * towards + sides)
            costs.append(ring + _BEST_SIDES)
            led.append(np.full(len(_AROUND), ring > WITHOUT_LEADER_MM))
    centre = np.concatenate(centres)
    boxes = np.hstack([centre - size / 2, centre + size / 2])
    return boxes, _leaders(label, boxes, np.concatenate(led)), np.concatenate(costs)


def _leaders(label: Label, boxes: Array, led: NDArray[np.bool_]) -> Array:
    """Lines from the rim of the symbol to the nearest place of each box; nan where none is wanted."""
    at = np.array(label.at)
    ends = np.clip(at, boxes[:, :2], boxes[:, 2:])
    away = ends - at
    far = np.hypot(away[:, 0], away[:, 1])[:, None]
    starts = at + away * np.minimum(1.0, label.clear / np.maximum(far, 1e-9))
    leaders = np.hstack([starts, ends])
    leaders[~led] = np.nan
    return np.asarray(leaders)


def _rows(four: Sequence[Sequence[float]]) -> Array:
    return np.array(four, dtype=float).reshape(-1, 4)


def _four(row: Array) -> tuple[float, float, float, float]:
    left, top, right, bottom = (float(value) for value in row)
    return left, top, right, bottom


def _shrunk(boxes: Array) -> Array:
    """Symbols as a leader must not run through them; touching the rim of its own is no fault."""
    return np.asarray(boxes + np.array([0.3, 0.3, -0.3, -0.3]))


def _inside(boxes: Array, frame: Sequence[float]) -> NDArray[np.bool_]:
    left, top, right, bottom = frame
    low = (boxes[:, 0] >= left + GAP_MM[0]) & (boxes[:, 1] >= top + GAP_MM[1])
    return np.asarray(low & (boxes[:, 2] <= right - GAP_MM[0]) & (boxes[:, 3] <= bottom - GAP_MM[1]))


def _overlap(a: Array, b: Array) -> NDArray[np.bool_]:
    """Which boxes of `a` overlap which of `b`: (len(a), len(b))."""
    low = (a[:, None, :2] < b[None, :, 2:]).all(axis=2)
    return np.asarray(low & (a[:, None, 2:] > b[None, :, :2]).all(axis=2))


def _crossed(boxes: Array, segments: Array) -> NDArray[np.bool_]:
    """Which boxes are crossed by which segments: (len(boxes), len(segments)), by clipping (Liang and Barsky)."""
    start, step = segments[:, :2], segments[:, 2:] - segments[:, :2]
    with np.errstate(divide="ignore", invalid="ignore"):
        low = (boxes[:, None, :2] - start) / step
        high = (boxes[:, None, 2:] - start) / step
    still = step == 0  # along this axis the segment does not move: within the box or never
    within = (start >= boxes[:, None, :2]) & (start <= boxes[:, None, 2:])
    enter = np.where(still, np.where(within, -np.inf, np.inf), np.minimum(low, high))
    leave = np.where(still, np.where(within, np.inf, -np.inf), np.maximum(low, high))
    first = np.maximum(enter.max(axis=2), 0.0)
    return np.asarray(first < np.minimum(leave.min(axis=2), 1.0))


def _meet(a: Array, b: Array) -> NDArray[np.bool_]:
    """Which segments of `a` properly cross which of `b`."""
    p, r = a[:, None, :2], (a[:, 2:] - a[:, :2])[:, None]
    q, s = b[None, :, :2], (b[:, 2:] - b[:, :2])[None]
    span = _cross(r, s)
    with np.errstate(divide="ignore", invalid="ignore"):
        along, across = _cross(q - p, s) / span, _cross(q - p, r) / span
    return np.asarray((span != 0) & (along > 0) & (along < 1) & (across > 0) & (across < 1))


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
