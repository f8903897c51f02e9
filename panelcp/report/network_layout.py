"""Where the boxes and lines of the cooling network go in its picture.

The network is laid out in columns: inlets on the left, exits on the right, and between them places
and what joins them, everything behind what feeds it. Cores of one rank share a column. Lines that
pass several columns get a lane of their own in each, so that no line runs through a box.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from panelcp.cooling.installation import OUTSIDE, Installation
from panelcp.report.cooling_texts import wrapped

ELEMENT_WIDTH, PLACE_WIDTH, GAP, LANE, MARGIN = 126, 80, 26, 12, 22
"""Units of the picture: boxes, room between columns, height of a line's lane, edge."""
BETWEEN = 12
"""Least room between two boxes of a column."""
SWEEPS = 16


@dataclass(frozen=True)
class Box:
    """A place, or a thing between two places.

    Attributes
    ----------
    kind : "place", "inlet", "exit", "duct", "core", "fan", "leak" or "doors"
    number : of the port, core, fan or way in the result; -1 of a place
    name : as in the case
    start, end : places; "" outside, and of places themselves
    """

    kind: str
    number: int
    name: str
    start: str = ""
    end: str = ""

    @property
    def width(self) -> int:
        """Units of the picture."""
        return PLACE_WIDTH if self.kind == "place" else ELEMENT_WIDTH


@dataclass(frozen=True)
class Wire:
    """A line between an element and a place, from left to right.

    Attributes
    ----------
    element : number of the element's box, whose flow the line shows
    points : (x, y) of its ends and of the ends of the lanes between
    along : the flow that is meant goes from left to right
    """

    element: int
    points: tuple[tuple[float, float], ...]
    along: bool


@dataclass(frozen=True)
class Layout:
    """Where everything stands.

    Attributes
    ----------
    boxes : of Box
    corners : (x, y, width, height) of every box
    wires : of Wire
    width, height : of the picture
    """

    boxes: tuple[Box, ...]
    corners: tuple[tuple[float, float, float, float], ...]
    wires: tuple[Wire, ...]
    width: float
    height: float


def network_boxes(parts: Installation) -> list[Box]:
    """All places and all things between them, in the order of the installation."""
    boxes = []
    for k, port in enumerate(parts.ports):
        place = parts.place_of(port)
        ends = ("", place) if port.use == "inlet" else (place, "")
        boxes.append(Box(port.use, k, port.name, *ends))
    groups = [("duct", parts.ducts), ("core", parts.cores), ("fan", parts.fans)]
    groups += [("doors", [f for f in parts.fans if f.doors]), ("leak", parts.leaks)]
    for kind, group in groups:
        for k, part in enumerate(group):
            ends = ("" if end == OUTSIDE else end for end in (part.start, part.end))
            name = f"{part.name}, doors" if kind == "doors" else part.name
            boxes.append(Box(kind, k, name, *ends))
    places = dict.fromkeys(end for box in boxes for end in (box.start, box.end) if end)
    return boxes + [Box("place", -1, name) for name in places]


def network_layout(parts: Installation) -> Layout:
    """Lay out any installation; the same for all conditions.

    Parameters
    ----------
    parts : Installation

    Returns
    -------
    Layout
    """
    boxes = network_boxes(parts)
    meant = _links(boxes)
    inlets = [k for k, box in enumerate(boxes) if box.kind == "inlet"]
    links = _without_rings(len(boxes), meant, inlets)
    columns = _columns(boxes, links)
    lanes = _Lanes(columns, links, [_height(box, k, meant) for k, box in enumerate(boxes)])
    lanes.untangle()
    y = lanes.middles()
    lefts, widths, width = _column_places(columns, boxes)
    corners = []
    for k, box in enumerate(boxes):
        x = lefts[columns[k]] + (widths[columns[k]] - box.width) / 2
        top = y[k] - lanes.height[k] / 2 + MARGIN
        corners.append((x, top, float(box.width), float(lanes.height[k])))
    points = _wire_points(lanes, corners, lefts, widths, y)
    wires = [
        Wire(a if boxes[a].kind != "place" else b, tuple(line), (a, b) == pair)
        for (a, b), pair, line in zip(meant, links, points, strict=True)
    ]
    height = max((top + tall for _, top, _, tall in corners), default=0.0)
    height = max([height, *(py for wire in wires for _, py in wire.points)])
    return Layout(tuple(boxes), tuple(corners), tuple(wires), width, height + MARGIN)


def _links(boxes: list[Box]) -> list[tuple[int, int]]:
    """Pairs of boxes in the direction of the flow that is meant."""
    place = {box.name: k for k, box in enumerate(boxes) if box.kind == "place"}
    links = [(place[box.start], k) for k, box in enumerate(boxes) if box.start]
    return links + [(k, place[box.end]) for k, box in enumerate(boxes) if box.end]


def _without_rings(count: int, links, first) -> list[tuple[int, int]]:
    """Links, those turned round that would close a ring; boxes of `first` are entered first."""
    after = [[b for a, b in links if a == k] for k in range(count)]
    state, turned = [0] * count, set()

    def enter(k):
        state[k] = 1
        for other in after[k]:
            if state[other] == 1:
                turned.add((k, other))
            elif state[other] == 0:
                enter(other)
        state[k] = 2

    fed = {b for _, b in links}
    for k in [*first, *(k for k in range(count) if k not in fed), *range(count)]:
        if state[k] == 0:
            enter(k)
    return [(b, a) if (a, b) in turned else (a, b) for a, b in links]


def _columns(boxes: list[Box], links) -> list[int]:
    """Column of every box by its longest way from an inlet; even for elements, odd for places."""
    least = [1 if box.kind == "place" else 0 for box in boxes]
    core = [box.kind == "core" for box in boxes]
    rank = _longest(len(boxes), links, [0] * len(boxes), core)
    while True:
        columns = _longest(len(boxes), links, least, [True] * len(boxes))
        raised = list(least)
        for k in np.flatnonzero(core):
            peers = [j for j in np.flatnonzero(core) if rank[j] == rank[k]]
            raised[k] = max(columns[j] for j in peers)
        if raised == least:
            break
        least = raised
    last = max(columns, default=0)
    last += last % 2
    return [last if box.kind == "exit" else columns[k] for k, box in enumerate(boxes)]


def _longest(count: int, links, least, costs) -> list[int]:
    """Longest way to every box: that of a feeding box and its cost, but not less than `least`."""
    values, waiting = list(least), [0] * count
    for _, b in links:
        waiting[b] += 1
    ready = [k for k in range(count) if not waiting[k]]
    while ready:
        k = ready.pop()
        for a, b in links:
            if a == k:
                values[b] = max(values[b], values[a] + int(costs[a]))
                waiting[b] -= 1
                if not waiting[b]:
                    ready.append(b)
    return values


class _Lanes:
    """Boxes and lanes of long lines in columns; orders them and gives them heights."""

    def __init__(self, columns, links, heights):
        self.column, self.height = list(columns), list(heights)
        self.chains, self.pairs = [], []
        for a, b in links:
            chain = [a]
            for column in range(columns[a] + 1, columns[b]):
                chain.append(len(self.column))
                self.column.append(column)
                self.height.append(LANE)
            chain.append(b)
            self.chains.append(chain)
            self.pairs += pairwise(chain)
        self.count, self.boxes = len(self.column), len(columns)
        self.before = [[a for a, b in self.pairs if b == k] for k in range(self.count)]
        self.after = [[b for a, b in self.pairs if a == k] for k in range(self.count)]
        self.rows = [[] for _ in range(max(self.column, default=0) + 1)]
        for k in self._first_order():
            self.rows[self.column[k]].append(k)

    def _first_order(self) -> list[int]:
        """Boxes as they are met on the way from the first inlet on."""
        seen: dict[int, None] = {}

        def meet(k):
            if k in seen:
                return
            seen[k] = None
            for other in self.after[k]:
                meet(other)

        for k in sorted(range(self.count), key=lambda k: (self.column[k], k)):
            meet(k)
        return list(seen)

    def crossings(self) -> int:
        """How many lines cross."""
        at = {k: place for row in self.rows for place, k in enumerate(row)}
        ends = [(self.column[a], at[a], at[b]) for a, b in self.pairs]
        return sum(
            (one[1] - two[1]) * (one[2] - two[2]) < 0
            for i, one in enumerate(ends)
            for two in ends[:i]
            if one[0] == two[0]
        )

    def untangle(self) -> None:
        """Order the boxes of every column by the mean place of their neighbours, to and fro."""
        best, rows = self.crossings(), [list(row) for row in self.rows]
        for sweep in range(SWEEPS):
            if best == 0:
                break
            beside = self.before if sweep % 2 == 0 else self.after
            for row in self.rows if sweep % 2 == 0 else reversed(self.rows):
                at = {k: i / max(len(r) - 1, 1) for r in self.rows for i, k in enumerate(r)}
                middle = {
                    k: sum(at[j] for j in beside[k]) / len(beside[k]) if beside[k] else at[k]
                    for k in row
                }
                row.sort(key=middle.get)
            count = self.crossings()
            if count < best:
                best, rows = count, [list(row) for row in self.rows]
        self.rows = rows

    def middles(self) -> list[float]:
        """Height of the middle of every box and lane, from 0 on downwards."""
        y = [0.0] * self.count
        for row in self.rows:
            for k, value in zip(row, self._stacked(row, [0.0] * len(row)), strict=True):
                y[k] = value
        for sweep in range(2 * SWEEPS):
            forth = sweep % 2 == 0
            for row in self.rows if forth else reversed(self.rows):
                near = self.before if forth else self.after
                if sweep > SWEEPS:
                    near = [a + b for a, b in zip(self.before, self.after, strict=True)]
                wanted = [self._wanted(k, near[k], y) for k in row]
                for k, value in zip(row, self._stacked(row, wanted), strict=True):
                    y[k] = value
        top = min((y[k] - self.height[k] / 2 for k in range(self.count)), default=0.0)
        return [value - top for value in y]

    def _wanted(self, k, near, y) -> float:
        """Mean height of the neighbours; lanes keep to lanes, so that long lines are straight."""
        if not near:
            return y[k]
        weights = [8.0 if min(j, k) >= self.boxes else 1.0 for j in near]
        return sum(w * y[j] for w, j in zip(weights, near, strict=True)) / sum(weights)

    def _stacked(self, row, wanted) -> list[float]:
        """Heights nearest to those wanted, in squares, that leave everything its room."""
        if not row:
            return []
        heights = [self.height[k] for k in row]
        steps = [(a + b) / 2 + BETWEEN for a, b in pairwise(heights)]
        offsets = np.concatenate([[0.0], np.cumsum(steps)])
        pools: list[list[float]] = []
        for k, value in zip(row, np.asarray(wanted) - offsets, strict=True):
            pools.append([float(value), 1.0 if k < self.boxes else 4.0, 1])
            while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
                (v, w, n), (u, t, m) = pools.pop(), pools.pop()
                pools.append([(v * w + u * t) / (w + t), w + t, n + m])
        level = np.concatenate([[value] * int(count) for value, _, count in pools])
        return (level + offsets).tolist()


def _height(box: Box, k: int, links) -> int:
    """Height of a box: its lines, and room for all lines that end at it."""
    names = name_lines(box)
    lines = {"place": 3, "inlet": 3, "exit": 3, "core": 4, "duct": 3, "fan": 3}.get(box.kind, 2)
    ends = max(sum(a == k for a, _ in links), sum(b == k for _, b in links))
    bar = 8 if box.kind in ("place", "inlet", "exit") else 0
    return max(12 + 14 * (lines - (box.kind == "place") + len(names)) + bar, 12 * ends + 12)


def name_lines(box: Box) -> list[str]:
    """The name of a box in the lines that it takes."""
    size = 11 if box.kind == "place" else 12
    return wrapped(box.name, box.width - 12, size)


def _column_places(columns, boxes) -> tuple[list[float], list[float], float]:
    """Left edge and width of every column, and the width of all."""
    count = max(columns, default=0) + 1
    widths = [0.0] * count
    for column, box in zip(columns, boxes, strict=True):
        widths[column] = max(widths[column], float(box.width))
    lefts, x = [], float(MARGIN)
    for width in widths:
        lefts.append(x)
        x += width + GAP
    return lefts, widths, x - GAP + MARGIN


def _wire_points(lanes: _Lanes, corners, lefts, widths, y) -> list[list[tuple[float, float]]]:
    """Ends of every line spread over the sides of its boxes, and its lanes between."""
    starts = _side(lanes, corners, [(c[0], c[1]) for c in lanes.chains], y)
    ends = _side(lanes, corners, [(c[-1], c[-2]) for c in lanes.chains], y)
    found = []
    for chain, first, last in zip(lanes.chains, starts, ends, strict=True):
        x, _, width, _ = corners[chain[0]]
        points = [(x + width, first)]
        for lane in chain[1:-1]:
            column = lanes.column[lane]
            left, right = lefts[column], lefts[column] + widths[column]
            points += [(left, y[lane] + MARGIN), (right, y[lane] + MARGIN)]
        found.append([*points, (corners[chain[-1]][0], last)])
    return found


def _side(lanes: _Lanes, corners, ends, y) -> list[float]:
    """Heights at which lines end on one side of their boxes: (box, neighbour) of every line."""
    heights = [0.0] * len(ends)
    for box in {box for box, _ in ends}:
        group = sorted((i for i, end in enumerate(ends) if end[0] == box),
                       key=lambda i: y[ends[i][1]])  # fmt: skip
        _, top, _, tall = corners[box]
        step = min(14.0, (tall - 8.0) / len(group))
        for place, i in enumerate(group):
            heights[i] = top + tall / 2 + (place - (len(group) - 1) / 2) * step
    return heights
