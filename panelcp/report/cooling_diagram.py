"""Pictures of the cooling network: who feeds whom, margins by condition, where the pressure goes.

The network is laid out in columns: inlets on the left, exits on the right, and between them places
and what joins them, everything behind what feeds it. Cores of one rank share a column. Lines that
pass several columns get a lane of their own in each, so that no line runs through a box; every text
stands in a box that cuts off what would leave it. Colours come from the page.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import numpy as np

from panelcp.cooling.installation import OUTSIDE, Installation
from panelcp.cooling.results import CoolingResult
from panelcp.display import ENOUGH_MARGIN, LEAST_MARGIN
from panelcp.display import kelvin as kelvin_text
from panelcp.report.contents import percent
from panelcp.report.cooling_tables import (
    ZERO_CELSIUS,
    core_flags,
    core_word,
    fan_mass_flow,
    margin_word,
)

DIAGRAM_STYLE = """
.cooling { --air:#1f6f7d; --suction:#2f8f8b; --pressure:#c27d15; --spent:#cfd8dc }
@media (prefers-color-scheme: dark) {
  .cooling { --air:#7cc4d1; --suction:#4fb3ad; --pressure:#d99a3c; --spent:#46525a } }
.picture { overflow-x:auto; margin:.6rem 0 } .picture > svg { display:block; height:auto }
.picture text { fill:var(--ink); font-size:12px } .picture .small { font-size:11px }
.picture svg svg text { text-anchor:middle }
.picture .soft-text { fill:var(--soft); font-size:11px } .picture .strong { font-weight:600 }
.picture .bad-text { fill:var(--bad); font-weight:600 }
.picture .look-text { fill:var(--warn); font-weight:600 }
.picture .good-text { fill:var(--good); font-weight:600 }
.picture .element { fill:var(--paper); stroke:var(--soft); stroke-width:1 }
.picture .place { fill:var(--pale); stroke:var(--line); stroke-width:1 }
.picture .stop-box { stroke:var(--bad); stroke-width:2.5 }
.picture .look-box { stroke:var(--warn); stroke-width:2.5 }
.picture .good-box { stroke:var(--good); stroke-width:2.5 }
.picture .wire { fill:none; stroke:var(--air) } .picture .head { fill:var(--air) }
.picture .back { stroke:var(--bad); stroke-dasharray:7 4 } .picture .back-head { fill:var(--bad) }
.picture .still { stroke:var(--soft); stroke-dasharray:1 4 }
.picture .suction { fill:var(--suction) } .picture .pressure { fill:var(--pressure) }
.picture .axis { stroke:var(--ink); stroke-width:1 }
.picture .limit { stroke:var(--soft); stroke-width:1; stroke-dasharray:3 3 }
.picture .good { fill:var(--good) } .picture .look { fill:var(--warn) }
.picture .stop { fill:var(--bad) } .picture .watched { opacity:.5 }
.picture .band { stroke:var(--ink); stroke-width:1.4; fill:none }
.picture .spent { fill:var(--spent); stroke:var(--paper) }
.picture .core-part { fill:var(--pressure); stroke:var(--paper) }
.picture .gain { fill:var(--air); stroke:var(--paper) }
.picture .on-fill { fill:var(--paper); font-size:11px; font-weight:600 }
@media print { .picture { overflow:visible } }
"""

ELEMENT_WIDTH, PLACE_WIDTH, GAP, LANE, MARGIN = 126, 80, 26, 12, 22
"""Units of the picture: boxes, room between columns, height of a line's lane, edge."""
BETWEEN = 12
"""Least room between two boxes of a column."""
SWEEPS = 16
STILL = 1e-4
"""Part of the greatest flow below which a line shows no direction."""
BAR_WIDTH, BAR_EDGE, BAR_WORDS = 390, 8, 46
"""Of the pictures of bars: width, room at both ends, room for the words beside stacked bars."""


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


# ---------------------------------------------------------------------------------- text


def text_width(text: str, size: float = 12.0) -> float:
    """Rough width of a text in a common sans-serif type, on the wide side.

    Examples
    --------
    >>> text_width("ll") < text_width("WW") < text_width("漢字")
    True
    """
    return size * sum(_letter_width(letter) for letter in text)


def _letter_width(letter: str) -> float:
    if unicodedata.combining(letter) or unicodedata.category(letter) == "Cf":
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF" or ord(letter) > 0x1F000:
        return 1.35
    if letter in "ijltfI.,;:'| ()[]!":
        return 0.36
    if letter in "mwMW@%":
        return 0.95
    return 0.72 if letter.isupper() else 0.6


def fitted(text: str, width: float, size: float = 12.0) -> str:
    """The text, or its beginning with an ellipsis where it is too wide.

    Examples
    --------
    >>> fitted("oil cooler", 200), fitted("oil cooler", 45)
    ('oil cooler', 'oil co…')
    """
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return _whole(text.rstrip() + "…")


def _whole(text: str) -> str:
    """A piece of a text whose marks of isolation are in pairs again."""
    opened, closed = text.count("\u2068"), text.count("\u2069")
    return "\u2068" * (closed - opened) + text + "\u2069" * (opened - closed)


def wrapped(text: str, width: float, size: float = 12.0, lines: int = 2) -> list[str]:
    """The text in so many lines at most, broken between words where that can be done.

    Examples
    --------
    >>> wrapped("charge-air cooler", 90), wrapped("oil cooler", 90)
    (['charge-air', 'cooler'], ['oil cooler'])
    """
    text = " ".join(text.split())
    if lines == 1 or text_width(text, size) <= width:
        return [fitted(text, width, size)]
    end = len(text)
    while text_width(text[:end], size) > width:
        end -= 1
    space = text.rfind(" ", 1, end + 1)
    end = space if space > 0 else max(end, 1)
    first, rest = _whole(text[:end].rstrip()), _whole(text[end:].strip())
    return [first, *wrapped(rest, width, size, lines - 1)]


def signed(value: float, unit: str = "Pa") -> str:
    """A number with its sign and unit; nothing known is a question mark.

    Examples
    --------
    >>> signed(311.6), signed(-0.2), signed(-59.7), signed(float("nan"))
    ('+312 Pa', '0 Pa', '−60 Pa', '? Pa')
    """
    if not np.isfinite(value):
        return f"? {unit}"
    number = round(float(value))
    return f"{number:+d} {unit}".replace("-", "−") if number else f"0 {unit}"


def flow_text(flow: float) -> str:
    """Size of a flow, kg/s.

    Examples
    --------
    >>> flow_text(0.8234), flow_text(-0.0042), flow_text(0.00001), flow_text(float("nan"))
    ('0.823 kg/s', '0.0042 kg/s', 'no flow', 'flow not known')
    """
    if not np.isfinite(flow):
        return "flow not known"
    size = abs(flow)
    if size < 5e-5:
        return "no flow"
    return f"{size:.4f} kg/s" if size < 0.00995 else f"{size:.3f} kg/s"


# -------------------------------------------------------------------------------- layout


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


def _height(box: Box, k: int, links) -> int:
    """Height of a box: its lines, and room for all lines that end at it."""
    names = _name_lines(box)
    lines = {"place": 3, "inlet": 3, "exit": 3, "core": 4, "duct": 3, "fan": 3}.get(box.kind, 2)
    ends = max(sum(a == k for a, _ in links), sum(b == k for _, b in links))
    bar = 8 if box.kind in ("place", "inlet", "exit") else 0
    return max(12 + 14 * (lines - (box.kind == "place") + len(names)) + bar, 12 * ends + 12)


def _name_lines(box: Box) -> list[str]:
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


# ------------------------------------------------------------------------------- drawing


def box_flows(result: CoolingResult, layout: Layout, c: int) -> list[float]:
    """Flow through every box in the sense that is meant, kg/s; nan of places and where unknown."""
    masses = fan_mass_flow(result)
    ways = _ways_of_kinds(result)
    flows = []
    for box in layout.boxes:
        if box.kind in ("inlet", "exit"):
            value = result.ports[box.number].flow.value[c]
        elif box.kind == "core":
            value = result.cores[box.number].flow.value[c]
        elif box.kind == "fan":
            value = masses[box.number, c]
        else:
            value = np.nan if box.kind == "place" else ways[box.kind][box.number].flow[c]
        flows.append(float(value))
    return flows


def _ways_of_kinds(result: CoolingResult) -> dict[str, list]:
    return {
        kind: [way for way in result.ways if way.kind == kind] for kind in ("duct", "leak", "doors")
    }


def network_picture(result: CoolingResult, c: int, layout: Layout | None = None) -> str:
    """The network in one condition as SVG within a box that scrolls.

    Parameters
    ----------
    result : CoolingResult
    c : number of the condition
    layout : of `network_layout`, to lay out several conditions once

    Returns
    -------
    str; every text of the case is escaped
    """
    layout = layout or network_layout(result.installation)
    flows = box_flows(result, layout, c)
    scale = _pressure_scale(result, c)
    wires = [_wire(wire, flows[wire.element], flows) for wire in layout.wires]
    stubs = [_stubs(layout, k, flows) for k in range(len(layout.boxes))]
    boxes = [_box(result, c, layout, k, flows[k], scale) for k in range(len(layout.boxes))]
    name = f"cooling-network-{c}"
    title = f"Cooling network: {result.conditions[c]}"
    told = zip(layout.boxes, flows, strict=True)
    words = " ".join(_told(result, c, box, flow) for box, flow in told)
    return (
        '<div class="picture">'
        f'<svg viewBox="0 0 {layout.width:.0f} {layout.height:.0f}" role="img" '
        f'style="width:100%;min-width:{0.92 * layout.width:.0f}px;'
        f'max-width:{1.15 * layout.width:.0f}px" '
        f'aria-labelledby="{name}-title {name}-words">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-words">{escape(words)}</desc>'
        f"{''.join(wires)}{''.join(stubs)}{''.join(boxes)}</svg></div>"
    )


def _pressure_scale(result: CoolingResult, c: int) -> tuple[float, float]:
    """Least and greatest pressure of places and outside openings in a condition, 0 within."""
    values = [pressure[c] for pressure in result.node_pressure.values()]
    values += [port.pressure[c] for port in result.ports]
    known = [float(value) for value in values if np.isfinite(value)]
    return min([0.0, *known]), max([0.0, *known])


def _is_still(flow: float, flows) -> bool:
    known = [abs(f) for f in flows if np.isfinite(f)]
    return not np.isfinite(flow) or abs(flow) <= max(STILL * max(known, default=0.0), 5e-5)


def _wire(wire: Wire, flow: float, flows) -> str:
    """A line with its arrow in the direction of the air."""
    points = list(wire.points)
    rightward = (flow > 0.0) == wire.along
    still = _is_still(flow, flows)
    head = ""
    if not still:
        tip = points[-1] if rightward else points[0]
        head = _head(tip, rightward, flow)
        base = (tip[0] - 7, tip[1]) if rightward else (tip[0] + 7, tip[1])
        points[-1 if rightward else 0] = base
    path = f"M{points[0][0]:.1f} {points[0][1]:.1f}"
    for i, (x, y) in enumerate(points[1:], 1):
        x0, y0 = points[i - 1]
        if i % 2 == 0:
            path += f"L{x:.1f} {y:.1f}"
        else:
            half = (x + x0) / 2
            path += f"C{half:.1f} {y0:.1f} {half:.1f} {y:.1f} {x:.1f} {y:.1f}"
    return f'<path class="{_wire_style(flow, still)}" {_stroke(flow, flows)} d="{path}"/>{head}'


def _wire_style(flow: float, still: bool) -> str:
    return "wire still" if still else "wire back" if flow < 0.0 else "wire"


def _stroke(flow: float, flows) -> str:
    most = max((abs(f) for f in flows if np.isfinite(f)), default=0.0)
    share = abs(flow) / most if np.isfinite(flow) and most > 0.0 else 0.0
    return f'stroke-width="{1.3 + 3.7 * share:.1f}"'


def _head(tip, rightward: bool, flow: float) -> str:
    x, y = tip
    back = x - 9 if rightward else x + 9
    style = "back-head" if flow < 0.0 else "head"
    return (
        f'<polygon class="{style}" points="{x:.1f},{y:.1f} {back:.1f},{y - 5.5:.1f} '
        f'{back:.1f},{y + 5.5:.1f}"/>'
    )


def _stubs(layout: Layout, k: int, flows) -> str:
    """Short arrows at the side of an element that lies outside."""
    box, flow = layout.boxes[k], flows[k]
    if box.kind == "place":
        return ""
    x, top, width, tall = layout.corners[k]
    middle, drawn = top + tall / 2, ""
    if not box.start:
        points = ((x - MARGIN + 3, middle), (x, middle))
        drawn += _wire(Wire(k, points, True), flow, flows)
    if not box.end:
        points = ((x + width, middle), (x + width + MARGIN - 3, middle))
        drawn += _wire(Wire(k, points, True), flow, flows)
    return drawn


def _box(result: CoolingResult, c: int, layout: Layout, k: int, flow: float, scale) -> str:
    """A box with its texts; what would leave it is cut off."""
    box, (x, y, width, tall) = layout.boxes[k], layout.corners[k]
    lines, style = _lines(result, c, box, flow)
    body, at = "", 16.0 if len(lines) < 3 else 15.0
    room = tall - (8 if box.kind in ("place", "inlet", "exit") else 0)
    at += (room - 12 - 14 * len(lines)) / 2
    for text, look in lines:
        size = 11 if "soft-text" in look or "small" in look else 12
        if text:
            body += (
                f'<text{_style(look)} x="{width / 2:.1f}" y="{at:.1f}">'
                f"{escape(fitted(text, width - 6, size))}</text>"
            )
        at += 14
    if box.kind in ("place", "inlet", "exit"):
        body += _bar(_pressure_of(result, c, box), width, at - 7, scale)
    corner = 9 if box.kind == "place" else 3
    shape = "place" if box.kind == "place" else f"element {style}".strip()
    return (
        f'<svg x="{x:.1f}" y="{y:.1f}" width="{width:.0f}" height="{tall:.0f}">'
        f"<title>{escape(_told(result, c, box, flow))}</title>"
        f'<rect class="{shape}" x="1.5" y="1.5" width="{width - 3:.0f}" height="{tall - 3:.0f}" '
        f'rx="{corner}"/>{body}</svg>'
    )


def _style(look: str) -> str:
    return f' class="{look}"' if look else ""


def _pressure_of(result: CoolingResult, c: int, box: Box) -> float:
    """Pressure in a place, or outside an opening; nan where it is not known."""
    if box.kind == "place":
        pressure = result.node_pressure.get(box.name)
        return np.nan if pressure is None else float(pressure[c])
    return float(result.ports[box.number].pressure[c])


def _bar(pressure: float, width: float, top: float, scale) -> str:
    """Small bar of a pressure from the tick that is zero."""
    low, high = scale
    if not np.isfinite(pressure) or high <= low:
        return ""
    left, room = 10.0, width - 20.0
    zero = left + room * (0.0 - low) / (high - low)
    end = left + room * (pressure - low) / (high - low)
    start, stop = sorted((zero, end))
    style = "suction" if pressure < 0.0 else "pressure"
    return (
        f'<rect class="{style}" x="{start:.1f}" y="{top:.1f}" width="{stop - start:.1f}" '
        f'height="5"/><line class="axis" x1="{zero:.1f}" x2="{zero:.1f}" y1="{top - 2:.1f}" '
        f'y2="{top + 7:.1f}"/>'
    )


def _lines(result: CoolingResult, c: int, box: Box, flow: float):
    """Texts of a box with their looks, and the look of its frame."""
    names = [(name, "small" if box.kind == "place" else "strong") for name in _name_lines(box)]
    if box.kind == "place":
        temperature = result.node_temperature.get(box.name)
        warm = "" if temperature is None else _celsius(temperature[c])
        pressure = signed(_pressure_of(result, c, box))
        return [*names, (pressure, "strong"), (warm, "soft-text")], ""
    back = flow < 0.0 and flow_text(flow) != "no flow"
    kind = _kind_words(result, box)
    first = (kind, "soft-text")
    if back:
        whole = f"{kind}, backwards"
        fits = text_width(whole, 11.5) <= box.width - 6
        first = (whole if fits else f"{box.kind}, backwards", "bad-text small")
    lines = [first, *names, (flow_text(flow), "bad-text" if back else "")]
    if box.kind in ("inlet", "exit"):
        pressure = signed(_pressure_of(result, c, box))
        return [*lines, (f"outside {pressure}", "small")], ""
    if box.kind == "core":
        core = result.cores[box.number]
        word = core_word(result, box.number, c)
        look = {"good": "good-text", "look": "look-text", "stop": "bad-text"}.get(word, "soft-text")
        return [
            *lines,
            (f"takes {_size(core.drop[c])}", "small"),
            (margin_text(core.margin.value[c], word), f"{look} small"),
        ], f"{word}-box" if word else ""
    if box.kind == "fan":
        fan = result.fans[box.number]
        watts = fan.electrical_power[c]
        power = f", {watts:.0f} W" if np.isfinite(watts) and watts > 0.0 else ""
        return [*lines, (f"{signed(fan.pressure_rise[c])}{power}", "small")], ""
    if box.kind == "duct":
        drop = _ways_of_kinds(result)["duct"][box.number].drop[c]
        return [*lines, (f"takes {_size(drop)}", "small")], ""
    return lines, ""


def _kind_words(result: CoolingResult, box: Box) -> str:
    if box.kind == "core":
        return result.cores[box.number].role
    if box.kind in ("leak", "fan", "duct") and not box.end:
        return f"{box.kind} to outside"
    if box.kind in ("leak", "fan", "duct") and not box.start:
        return f"{box.kind} from outside"
    return box.kind


def _size(drop: float) -> str:
    return f"{round(float(drop))} Pa".replace("-", "−") if np.isfinite(drop) else "? Pa"


def _celsius(kelvin: float) -> str:
    if not np.isfinite(kelvin):
        return "? °C"
    return f"{kelvin - ZERO_CELSIUS:.0f} °C".replace("-", "−")


def margin_text(margin: float, word: str | None = None) -> str:
    """A margin with its judgement in words, that of the margin alone where none is given.

    Examples
    --------
    >>> margin_text(7.3), margin_text(-4.2), margin_text(float("nan"))
    ('margin 7.3 K, look', 'margin −4.2 K, stop', 'no limit given')
    """
    if np.isnan(margin):
        return "no limit given"
    if word == "":
        return "margin not predicted"
    return f"margin {kelvin_text(margin)}, {margin_word(margin) if word is None else word}"


def _told(result: CoolingResult, c: int, box: Box, flow: float) -> str:
    """A sentence on a box, for readers of the words and for pointing at it."""
    if box.kind == "place":
        temperature = result.node_temperature.get(box.name)
        warm = "" if temperature is None else f", {_celsius(temperature[c])}"
        return f"Place {box.name}: {signed(_pressure_of(result, c, box))}{warm}."
    between = f" from {box.start or OUTSIDE} to {box.end or OUTSIDE}"
    text = f"{_kind_words(result, box).capitalize()} {box.name}{between}: {flow_text(flow)}"
    if flow < 0.0 and flow_text(flow) != "no flow":
        text += " backwards"
    if box.kind in ("inlet", "exit"):
        text += f", outside {signed(_pressure_of(result, c, box))}"
    if box.kind == "core":
        core = result.cores[box.number]
        flags = core_flags(result, box.number, c)
        text += (
            f", {margin_text(core.margin.value[c], core_word(result, box.number, c))}"
            + "".join(f"; {flag}" for flag in flags)
        )
    return text + "."


# ---------------------------------------------------------------------------------- bars


def margin_picture(result: CoolingResult, rows, name: str) -> str:
    """Bars of margins with their bands.

    Parameters
    ----------
    result : CoolingResult
    rows : (condition, core) numbers, in the order to be shown
    name : of the picture, for those who read the words

    Returns
    -------
    str, SVG; nothing where no row has a margin
    """
    rows = [(c, k) for c, k in rows if not np.isnan(result.cores[k].margin.value[c])]
    if not rows:
        return ""
    low, high = _margin_ends(result, rows)
    scale = (BAR_WIDTH - 2 * BAR_EDGE) / (high - low)

    def x(value) -> float:
        return BAR_EDGE + (min(max(value, low), high) - low) * scale

    row, top = 54, 20
    height = top + row * len(rows) + 6
    marks = [(0.0, "0", "axis"), (LEAST_MARGIN, "5 K", "limit"), (ENOUGH_MARGIN, "10 K", "limit")]
    anchors = {"0": "end", "5 K": "middle", "10 K": "start"}
    ticks = [(top + row * i + 32, top + row * i + 50) for i in range(len(rows))]
    lines = "".join(
        f'<path class="{style}" d="{"".join(f"M{x(value):.1f} {a}V{b}" for a, b in ticks)}"/>'
        f'<text class="soft-text" x="{x(value):.1f}" y="{top - 8}" text-anchor="{anchors[text]}">'
        f"{text}</text>"
        for value, text, style in marks
        if value == 0.0 or (x(LEAST_MARGIN) - x(0.0) > 14.0)
    )
    bars = "".join(
        _margin_bar(result, c, k, top + row * i, x, (low, high)) for i, (c, k) in enumerate(rows)
    )
    words = "; ".join(
        f"{result.conditions[c]}, {result.cores[k].name}: "
        f"{margin_text(result.cores[k].margin.value[c], core_word(result, k, c))}"
        for c, k in rows
    )
    return _bars_svg(name, words, height, lines + bars)


def _bars_svg(name: str, words: str, height: float, body: str) -> str:
    label = escape(f"{name}: {words}", quote=True)
    return (
        '<div class="picture">'
        f'<svg viewBox="0 0 {BAR_WIDTH} {height:.0f}" role="img" aria-label="{label}" '
        f'style="width:100%;min-width:330px;max-width:510px"><title>{escape(name)}</title>{body}</svg></div>'
    )


def _margin_ends(result: CoolingResult, rows) -> tuple[float, float]:
    """Ends of the scale, K: all bands, but not beyond what can still be read."""
    values = [0.0, 1.5 * ENOUGH_MARGIN]
    for c, k in rows:
        margin = result.cores[k].margin
        values += [float(part[c]) for part in (margin.value, margin.low, margin.high)]
    known = [value for value in values if np.isfinite(value)]
    return max(min(known), -40.0), min(max(known), 60.0)


def _margin_bar(result: CoolingResult, c: int, k: int, top: float, x, ends) -> str:
    """One bar: condition and core, bar, band, number, chance of being too hot."""
    core = result.cores[k]
    value, low, high = (float(part[c]) for part in (core.margin.value, core.margin.low,
                                                    core.margin.high))  # fmt: skip
    word = core_word(result, k, c)
    left, right = sorted((x(0.0), x(value)))
    style = word if result.decides[c] else f"{word} watched"
    numbers = f"{kelvin_text(value)}, {word}"
    chance = core.chance_too_hot[c]
    doubt = "" if np.isnan(chance) else f"too hot: {percent(chance)}"
    if np.isfinite(low) and np.isfinite(high):
        numbers = f"{kelvin_text(value)} ({band_text(low, high)}), {word}"
    decides = "" if result.decides[c] else ", does not decide"
    room = BAR_WIDTH - 1.1 * text_width(numbers) - 12
    below = BAR_WIDTH - text_width(doubt, 11) - text_width(decides, 11) - 12
    return (
        f'<text class="strong" x="0" y="{top + 12}">'
        f"{escape(fitted(result.conditions[c], room / 1.1))}</text>"
        f'<text class="strong" x="{BAR_WIDTH}" y="{top + 12}" text-anchor="end">{numbers}</text>'
        f'<text class="soft-text" x="0" y="{top + 26}">'
        f"{escape(fitted(core.name, below, 11) + decides)}</text>"
        f'<text class="soft-text" x="{BAR_WIDTH}" y="{top + 26}" text-anchor="end">{doubt}</text>'
        f'<rect class="{style}" x="{left:.1f}" y="{top + 35}" width="{right - left:.1f}" '
        f'height="12"/>{_cut_end(value, style, top + 41, x, ends)}'
        f"{_whisker(low, high, top + 41, x)}"
    )


def _cut_end(value: float, style: str, y: float, x, ends) -> str:
    """A point on a bar that would reach beyond the scale; nothing on others."""
    if ends[0] <= value <= ends[1]:
        return ""
    back = x(value)
    tip = back + 7 if value > 0.0 else back - 7
    return (
        f'<polygon class="{style}" points="{tip:.1f},{y:.1f} {back:.1f},{y - 9:.1f} '
        f'{back:.1f},{y + 9:.1f}"/>'
    )


def band_text(low: float, high: float) -> str:
    """Both ends of a band in K.

    Examples
    --------
    >>> band_text(3.2, 11.4), band_text(-2.0, 5.0)
    ('3 to 11', '−2 to 5')
    """
    return f"{round(low)} to {round(high)}".replace("-", "−")


def _whisker(low: float, high: float, y: float, x) -> str:
    if not (np.isfinite(low) and np.isfinite(high)):
        return ""
    a, b = x(low), x(high)
    return (
        f'<path class="band" d="M{a:.1f} {y - 4:.1f}V{y + 4:.1f}M{a:.1f} {y:.1f}H{b:.1f}'
        f'M{b:.1f} {y - 4:.1f}V{y + 4:.1f}"/>'
    )


def budget_parts(result: CoolingResult, core: str, c: int):
    """What drives the air through a core, and what takes the pressure up again.

    Parameters
    ----------
    result : CoolingResult
    core : name
    c : number of the condition

    Returns
    -------
    drives, takes : (number of the step, words, Pa) of positive pressures; both sums are alike
        where the steps add up
    left : Pa, what they leave over
    """
    steps = [step for step in result.budget if step.core == core]
    drives, takes = [], []
    for number, step in enumerate(steps):
        value = float(step.pressure[c])
        if not np.isfinite(value):
            continue
        drive = value if number == 0 else -value
        if drive > 0.0:
            drives.append((number + 1, step.what, drive))
        elif drive < 0.0:
            takes.append((number + 1, step.what, -drive))
    left = sum(p for _, _, p in drives) - sum(p for _, _, p in takes)
    return drives, takes, left


def budget_picture(result: CoolingResult, rows) -> str:
    """Two stacked bars for every core: what drives the air, and where that pressure goes.

    Parameters
    ----------
    result : CoolingResult
    rows : (core, condition) numbers

    Returns
    -------
    str, SVG; nothing where there are no steps
    """
    found = [(k, c, *budget_parts(result, result.cores[k].name, c)) for k, c in rows]
    found = [row for row in found if row[2]]
    if not found:
        return ""
    most = max(max(_sum(drives), _sum(takes)) for _, _, drives, takes, _ in found)
    scale, row, body, words = (BAR_WIDTH - BAR_WORDS) / most, 78, "", []
    for i, (k, c, drives, takes, _) in enumerate(found):
        core, top = result.cores[k], row * i
        body += _budget_names(core.name, result.conditions[c], _sum(drives), top)
        body += _stack(drives, top + 22, scale, core.name, True)
        body += _stack(takes, top + 44, scale, core.name, False)
        told = ", ".join(f"{words_} {pressure:.0f} Pa" for _, words_, pressure in takes)
        words.append(f"{core.name}, {result.conditions[c]}: {_sum(drives):.0f} Pa drive; {told}")
    return _bars_svg("Where the pressure goes", "; ".join(words), row * len(found) + 4, body)


def _sum(parts) -> float:
    return sum(pressure for _, _, pressure in parts)


def _budget_names(core: str, condition: str, driven: float, top: float) -> str:
    total = f"driven by {driven:.0f} Pa"
    room = (BAR_WIDTH - text_width(total) - 20) / 2
    core = fitted(core, room / 1.1)
    return (
        f'<text class="strong" x="0" y="{top + 14}">{escape(core)}</text>'
        f'<text class="soft-text" x="{1.1 * text_width(core) + 8:.1f}" y="{top + 14}">'
        f"{escape(fitted(condition, room, 11))}</text>"
        f'<text x="{BAR_WIDTH}" y="{top + 14}" text-anchor="end">{total}</text>'
        f'<text class="soft-text" x="0" y="{top + 35}">drives</text>'
        f'<text class="soft-text" x="0" y="{top + 57}">takes</text>'
    )


def _stack(parts, top: float, scale: float, core: str, drives: bool) -> str:
    """One stacked bar; parts bear the numbers of their steps where there is room."""
    x, drawn = float(BAR_WORDS), ""
    for number, what, pressure in parts:
        width = pressure * scale
        own = what in (core, "core") or what.startswith(f"{core},")
        style = "gain" if drives else "core-part" if own else "spent"
        drawn += (
            f'<rect class="{style}" x="{x:.1f}" y="{top}" width="{width:.1f}" height="18">'
            f"<title>{escape(f'{what}: {pressure:.0f} Pa')}</title></rect>"
        )
        if width > text_width(str(number), 11) + 3:
            look = "small" if style == "spent" else "on-fill"
            drawn += (
                f'<text class="{look}" x="{x + width / 2:.1f}" y="{top + 13}" '
                f'text-anchor="middle">{number}</text>'
            )
        x += width
    return drawn
