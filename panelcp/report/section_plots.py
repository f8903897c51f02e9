"""Plots of pressure along the skin: the centre line, and cuts at a station, butt line or waterline.

The first condition of a plot is drawn thick with its band, further ones thin with numbers on their
lines. Top and bottom differ by line style and by words, so that grey prints can be read too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from panelcp.errors import FlowError, SurfaceError
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.curves import AMPLIFIED
from panelcp.quantity import UncertainValue
from panelcp.report.contents import condition_number, in_pascal
from panelcp.report.curve_drawing import INK, PALE, SOFT, STYLES
from panelcp.report.hatching import MAY_SEPARATE, SEPARATED, SEPARATION_LEGEND
from panelcp.report.labels import text_size, wrapped
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import hatch_levels, picture_text
from panelcp.surface.curved import roughness_band
from panelcp.surface.cutting import PLANES, CutLine, cut_at, line_operators, mean_over
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening

MODEL_ERROR = UncertainValue(
    0.10, mark="memory", source="model error of Cp, sides and bottom of a cowl, attached flow"
)
"""Taken where no model error is given."""

NEAR = 0.05
"""m; measured points farther from the plane than this are left out, and those whose place in the
plane is twice as far from the skin."""

BAND_HOLDS = (
    "Band: one standard deviation of the model error of Cp by region, the slipstream's wetting and "
    "mixing, separated air and the roughness of the mesh; without angles, strength of the "
    "slipstream and panelling, which the bands of the openings hold besides."
)
ESTIMATE = "Estimate from potential flow. Not approved data."

SIDES = {
    "station": ("right", "left"),
    "butt line": ("top", "bottom"),
    "waterline": ("right", "left"),
}
"""Names of the two ways along the skin, for each plane."""

_ACROSS = {"station": 1, "butt line": 2, "waterline": 1}
"""Coordinate that is greater on the first side."""

_FONT, _SMALL, _TITLE = 8.5, 7.5, 10.5
_THIN, _OPEN = "#5f6a71", "#7a2e0e"
_HATCHES = {SEPARATED: "//////", MAY_SEPARATE: "\\\\\\"}
_BAND = 0.22
_ROW = 19.0
"""Points, of a row of brackets."""

_OUTLINE_SHARE, _GAP = 0.52, 0.62
"""Most of the height that the outline may take; inch between plot and outline."""


# --- values along a cut --------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class CutSide:
    """Pressure along one side of a line of a cut, in all conditions.

    Attributes
    ----------
    name : "top", "bottom", "right" or "left"
    line : CutLine from the nose, or from the top centre line, on
    along : (n,) float, m: station, or at a station the way along the skin, left negative
    points : (n, 3) float, m; those of the line that have neighbours to interpolate between
    arc : (n,) float, m, way along the skin from the first point of the line
    pressure, deviation : (n_conditions, n) float, Pa
    state : (n_conditions, n) int, states of `flow.skin_layers`; None when they are not known
    """

    name: str
    line: CutLine
    along: np.ndarray
    points: np.ndarray
    arc: np.ndarray
    pressure: np.ndarray
    deviation: np.ndarray
    state: np.ndarray | None = None

    def __post_init__(self):
        for name in ("along", "points", "arc", "pressure", "deviation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        if self.state is not None:
            object.__setattr__(self, "state", frozen_array(self.state, np.int64))


@dataclass(frozen=True, eq=False)
class CutAir:
    """Pressure along all lines of a cut.

    Attributes
    ----------
    plane : "station", "butt line" or "waterline"
    place : m
    conditions : in order
    sides : CutSide, two for each line, those of the longest line first
    """

    plane: str
    place: float
    conditions: tuple[FlightCondition, ...]
    sides: tuple[CutSide, ...]

    @property
    def name(self) -> str:
        """The cut in a builder's words.

        Examples
        --------
        >>> CutAir("station", 1.009, (), ()).name, CutAir("butt line", 0.0, (), ()).name
        ('STA 1009 mm', 'centre line, BL 0')
        """
        if self.plane == "butt line" and abs(self.place) < 5e-4:
            return "centre line, BL 0"
        return f"{PLANES[self.plane][1]} {_number(1e3 * self.place)} mm"

    def along_at(self, side: CutSide, arc: float) -> float:
        """m: place on the axis of the plot of a way along the line of a side."""
        if self.plane != "station":
            return float(side.line.place_at(arc)[0])
        return -arc if side.name == "left" else arc

    def divisor(self, number: int, pascal: bool) -> float:
        """Pa: what a pressure is divided by to be shown."""
        return 1.0 if pascal else self.conditions[number].dynamic_pressure


def air_on_cut(
    flow: SurfaceFlow,
    plane: str,
    place: float = 0.0,
    deviation: float | np.ndarray | None = None,
    state: np.ndarray | None = None,
) -> CutAir:
    """Pressure with its deviation along a cut, in all conditions.

    Parameters
    ----------
    flow : SurfaceFlow, separated air included when it is known
    plane : "station", "butt line" or "waterline"
    place : m
    deviation : model error of Cp, one number or (n_panels,), in parts of q and mean rise together;
        MODEL_ERROR when not given
    state : (n_conditions, n_panels) int, states of `flow.skin_layers`

    Returns
    -------
    CutAir

    Raises
    ------
    SurfaceError : the plane misses the body, or meets only panels without enough neighbours
    """
    return air_with_errors(flow, plane, place, panel_errors(flow.surface, deviation), state)


def panel_errors(surface: SurfaceMesh, deviation: float | np.ndarray | None = None) -> np.ndarray:
    """(2, n_panels) float: model error of Cp and what the roughness of the mesh leaves of it."""
    error = MODEL_ERROR.value if deviation is None else deviation
    error = np.broadcast_to(np.asarray(error, dtype=float), surface.n_panels)
    return np.stack([error, roughness_band(surface)])


def air_with_errors(flow: SurfaceFlow, plane: str, place: float, errors, state=None) -> CutAir:
    """As `air_on_cut`, with the errors of `panel_errors`, for several cuts of one surface."""
    wholes = cut_at(flow.surface, plane, place).lines
    lines = [part for whole in wholes for part in _sides_of(whole, plane)]
    operators = line_operators(flow.surface, [line for _, line in lines])
    sides = [
        _air_on_side(flow, plane, *part, operator, errors, state)
        for part, operator in zip(lines, operators, strict=True)
    ]
    sides = tuple(side for side in sides if len(side.along) > 1)
    if not sides:
        raise SurfaceError(
            f"cut at the {plane} {1e3 * place:.0f} mm: no point has enough panels round it to tell "
            "the pressure; make the panels smaller"
        )
    return CutAir(plane, float(place), flow.conditions, sides)


def _sides_of(line: CutLine, plane: str) -> list[tuple[str, CutLine]]:
    """Both ways along a line, the first side first; an open line is one side."""
    names, axis = SIDES[plane], _ACROSS[plane]
    if not line.closed:
        size = np.abs(line.points[:, axis]).max()
        return [(names[0] if line.middle[axis] >= -1e-9 * size else names[1], line)]
    first, last = _ends(line, plane)
    halves = sorted(line.halves(first, last), key=lambda half: -half.middle[axis])
    return list(zip(names, halves, strict=True))


def _ends(line: CutLine, plane: str) -> tuple[float, float]:
    """Ways along a line to its top and bottom on BL 0, or to its foremost and aftmost point."""
    if plane != "station":
        return _extreme(line, 0, -1.0), _extreme(line, 0, 1.0)
    start, step = line.points, np.roll(line.points, -1, axis=0) - line.points
    y, dy = start[:, 1], step[:, 1]
    pieces = np.flatnonzero((np.minimum(y, y + dy) <= 0.0) & (np.maximum(y, y + dy) >= 0.0))
    if len(pieces) < 2:
        return _extreme(line, 2, 1.0), _extreme(line, 2, -1.0)
    share = np.divide(-y, dy, out=np.zeros_like(y), where=dy != 0.0)[pieces]
    heights = start[pieces, 2] + share * step[pieces, 2]
    arcs = line.arc[pieces] + share * line.piece_lengths[pieces]
    return float(arcs[heights.argmax()]), float(arcs[heights.argmin()])


def _extreme(line: CutLine, axis: int, sign: float) -> float:
    """Way to the point farthest along an axis; on a flat face to the one next to its middle."""
    reach = sign * line.points[:, axis]
    tied = np.flatnonzero(reach >= reach.max() - 1e-9 * max(line.length, 1e-9))
    spread = line.points[tied] - line.points[tied].mean(axis=0)
    return float(line.arc[tied[np.linalg.norm(spread, axis=1).argmin()]])


def _air_on_side(flow, plane, name, line: CutLine, operator, errors, state) -> CutSide:
    """Pressure of attached air and its deviation as `placement.curves` has them, then what
    separated air changes."""
    sound = np.abs(operator).sum(axis=1) <= AMPLIFIED
    operator, mean = operator[sound], mean_over(line)[sound]
    panels = line.touched[1]
    nothing = np.zeros(flow.gauge_pressure.shape)
    gauge, total, share = interpolated_air(flow.with_separation(nothing, nothing), operator)
    model, rough = (mean @ part[panels] for part in errors)
    felt = np.divide(gauge, total, out=np.ones_like(gauge), where=total > 0.0).clip(-1.0, 1.0)
    reference = flow.reference_pressure[:, None]
    parts = (
        reference * model,
        reference * rough,
        gauge * (1.0 / share - 1.0),
        felt * (operator @ flow.head_deviation.T).T,
        np.where(flow.predicted[:, None], 0.0, reference),
        (mean @ flow.separation_deviation[:, panels].T).T,
    )
    arc, own = line.arc[sound], np.append(line.panels, line.panels[-1])[sound]
    along = line.points[sound, 0] if plane != "station" else arc * (-1.0 if name == "left" else 1.0)
    return CutSide(
        *(name, line, along, line.points[sound], arc),
        pressure=gauge + (mean @ flow.separation_change[:, panels].T).T,
        deviation=np.sqrt(sum(np.asarray(part) ** 2 for part in parts)),
        state=None if state is None else np.asarray(state)[:, own],
    )


# --- measured points -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class MeasuredPoint:
    """A pressure that was measured on the skin.

    Attributes
    ----------
    name : of the tap
    place : (3,) float, m, on the skin
    condition : name of the condition it was measured in
    pressure : Pa, gauge; or else
    cp : in place of the pressure
    deviation : one standard deviation, Pa or Cp as the value

    Raises
    ------
    FlowError : place of another shape, not one of pressure and Cp, numbers that are not finite, a
        negative deviation
    """

    name: str
    place: np.ndarray
    condition: str
    pressure: float | None = None
    cp: float | None = None
    deviation: float = 0.0

    def __post_init__(self):
        object.__setattr__(self, "place", frozen_array(self.place))
        if self.place.shape != (3,) or not np.isfinite(self.place).all():
            raise FlowError(
                f"measured point {self.name!r}: place {self.place.tolist()}; expected three finite "
                "numbers, STA, BL and WL in m"
            )
        if (self.pressure is None) == (self.cp is None):
            raise FlowError(
                f"measured point {self.name!r}: expected either a pressure (Pa) or a Cp, not both "
                "and not neither"
            )
        value = self.cp if self.pressure is None else self.pressure
        if not (np.isfinite(value) and 0.0 <= self.deviation < np.inf):
            raise FlowError(
                f"measured point {self.name!r}: value {value} with the deviation {self.deviation}; "
                "expected finite numbers, the deviation at least 0"
            )


@dataclass(frozen=True, eq=False)
class PlacedPoints:
    """Measured points on a cut.

    Attributes
    ----------
    points : MeasuredPoint that are shown
    numbers : (n,) int, of their conditions
    sides : (n,) int, of their sides
    along, pressure, deviation : (n,) float: place on the axis of the plot, m, and Pa
    far, others : how many lie too far from the cut, and belong to other conditions
    """

    points: tuple[MeasuredPoint, ...] = ()
    numbers: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    sides: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    along: np.ndarray = field(default_factory=lambda: np.zeros(0))
    pressure: np.ndarray = field(default_factory=lambda: np.zeros(0))
    deviation: np.ndarray = field(default_factory=lambda: np.zeros(0))
    far: int = 0
    others: int = 0

    def __post_init__(self):
        for name in ("numbers", "sides"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        for name in ("along", "pressure", "deviation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def placed_points(
    air: CutAir, numbers: Sequence[int], measured: Sequence[MeasuredPoint], near: float = NEAR
) -> PlacedPoints:
    """Measured points of some conditions, moved onto a cut across its plane.

    Parameters
    ----------
    air : CutAir
    numbers : of the conditions that are shown
    measured : MeasuredPoint of any place and condition
    near : m, see NEAR
    """
    names = {air.conditions[c].name: c for c in numbers}
    axis, rows, far, others = PLANES[air.plane][0], [], 0, 0
    for point in measured:
        if point.condition not in names:
            others += 1
            continue
        inside = point.place.copy()
        inside[axis] = air.place
        found = [side.line.nearest(inside) for side in air.sides]
        k = int(np.argmin([gap for _, gap in found]))
        if abs(point.place[axis] - air.place) > near or found[k][1] > 2.0 * near:
            far += 1
            continue
        c = names[point.condition]
        unit = 1.0 if point.cp is None else air.conditions[c].dynamic_pressure
        value = point.pressure if point.cp is None else point.cp
        along = air.along_at(air.sides[k], found[k][0])
        rows.append((point, c, k, along, value * unit, point.deviation * unit))
    if not rows:
        return PlacedPoints(far=far, others=others)
    return PlacedPoints(*zip(*rows, strict=True), far=far, others=others)


# --- openings that a cut goes through ------------------------------------------------------


@dataclass(frozen=True)
class CutOpening:
    """Where a cut goes through an opening: number of the side, ways along its line, m."""

    name: str
    side: int
    first: float
    last: float


def cut_openings(air: CutAir, openings: Sequence[Opening]) -> list[CutOpening]:
    """The openings, and their mirror images, that the plane of a cut goes through.

    One that reaches over the point where two sides meet, as over the top centre line, has a part on
    each.
    """
    axis, found = PLANES[air.plane][0], []
    for opening in openings:
        for one in (opening, opening.twin):
            if one is None:
                continue
            crossings = _crossings(one.outline, axis, air.place)
            if len(crossings) >= 2:
                found += _pieces_between(air, opening.name, crossings)
    return found


def _pieces_between(air: CutAir, name: str, crossings) -> list[CutOpening]:
    """Parts of an opening between its outermost crossings, on one side or on two that meet."""
    ways: dict[int, list[float]] = {}
    for place in crossings:
        near = [side.line.nearest(place) for side in air.sides]
        k = int(np.argmin([gap for _, gap in near]))
        ways.setdefault(k, []).append(near[k][0])
    if len(ways) == 1:
        ((k, arcs),) = ways.items()
        return [CutOpening(name, k, min(arcs), max(arcs))]
    far = {k: (max(arcs), air.sides[k].line.length - min(arcs)) for k, arcs in ways.items()}
    by_start, by_end = (sum(way) for way in zip(*far.values(), strict=True))
    return [
        CutOpening(name, k, 0.0, max(arcs))
        if by_start <= by_end
        else CutOpening(name, k, min(arcs), air.sides[k].line.length)
        for k, arcs in sorted(ways.items())
    ]


def _crossings(outline, axis: int, place: float) -> np.ndarray:
    """(n, 3) float, m: where a closed outline crosses a plane."""
    start, end = np.asarray(outline), np.roll(outline, -1, axis=0)
    low, high = start[:, axis] - place, end[:, axis] - place
    crossed = np.flatnonzero((low >= 0.0) != (high >= 0.0))
    share = (low[crossed] / (low[crossed] - high[crossed]))[:, None]
    return start[crossed] + share * (end[crossed] - start[crossed])


# --- the plots -----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Shown:
    """What a plot shows: see `plot_centre_line`; `numbers` of the conditions, thick one first."""

    air: CutAir
    numbers: tuple[int, ...]
    openings: tuple[CutOpening, ...]
    landmarks: tuple[tuple[str, float], ...]
    placed: PlacedPoints
    first: float
    last: float

    @property
    def pascal(self) -> bool:
        """Whether it shows Pa, since Cp says nothing in one of the conditions."""
        return any(in_pascal(self.air.conditions[c]) for c in self.numbers)

    def values(self, side: CutSide, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Values and deviations as shown."""
        unit = self.air.divisor(number, self.pascal)
        return side.pressure[number] / unit, side.deviation[number] / unit

    def seen(self, side: CutSide) -> np.ndarray:
        """(n,) bool: points between the ends of the axis."""
        return (side.along >= self.first - 1e-9) & (side.along <= self.last + 1e-9)


def plot_centre_line(
    flow: SurfaceFlow,
    condition,
    axes=None,
    *,
    deviation: float | np.ndarray | None = None,
    state: np.ndarray | None = None,
    openings: Sequence[Opening] = (),
    landmarks: Sequence[tuple[str, float]] = (),
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    last_station: float | None = None,
    air: CutAir | None = None,
):
    """Pressure along the top and bottom centre line, with the outline of the body to scale below.

    Parameters
    ----------
    flow : SurfaceFlow
    condition : name or number of a condition, or several; the first is thick and has its band
    axes : matplotlib Axes, whose place plot and outline share; on a new figure when not given
    deviation, state : see `air_on_cut`
    openings : laid onto the surface; those that the plane goes through are marked
    landmarks : (name, station in m), as of the firewall
    measured : MeasuredPoint; see `placed_points` for which are shown
    near : m
    last_station : m, end of the axis; the end of the body when not given
    air : CutAir of this plane, when it is there already; `deviation` and `state` are not used then

    Returns
    -------
    matplotlib Axes of the pressure: Cp, or Pa where a condition is on the ground or at rest;
    suction is up

    Raises
    ------
    FlowError : a condition that is not there
    """
    air = air or air_on_cut(flow, "butt line", 0.0, deviation, state)
    end = float(flow.surface.bounds[1, 0]) if last_station is None else float(last_station)
    shown = _shown(air, flow, condition, openings, landmarks, measured, near, end)
    return _plotted(shown, axes)


def plot_section(
    flow: SurfaceFlow,
    condition,
    station: float | None = None,
    axes=None,
    *,
    butt_line: float | None = None,
    waterline: float | None = None,
    deviation: float | np.ndarray | None = None,
    state: np.ndarray | None = None,
    openings: Sequence[Opening] = (),
    landmarks: Sequence[tuple[str, float]] = (),
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    last_station: float | None = None,
    air: CutAir | None = None,
):
    """Pressure round the section at a station, or along a cut at a butt line or waterline.

    Parameters
    ----------
    flow, condition, axes, deviation, state, openings, landmarks, measured, near, last_station,
        air : see `plot_centre_line`
    station, butt_line, waterline : m, one of them. At a station pressure stands against the way
        along the skin from the top centre line, left negative, with a drawing of the section
        beside it; else against the station, with the outline below

    Returns
    -------
    matplotlib Axes of the pressure

    Raises
    ------
    FlowError : not one place, a condition that is not there
    SurfaceError : the plane misses the body
    """
    places = zip(
        ("station", "butt line", "waterline"), (station, butt_line, waterline), strict=True
    )
    given = [(plane, place) for plane, place in places if place is not None]
    if len(given) != 1:
        raise FlowError(
            f"a section at {len(given)} places; expected one of station, butt_line and waterline, "
            "in m"
        )
    air = air or air_on_cut(flow, *given[0], deviation, state)
    end = float(flow.surface.bounds[1, 0]) if last_station is None else float(last_station)
    shown = _shown(air, flow, condition, openings, landmarks, measured, near, end)
    return _plotted(shown, axes)


def cut_caption(
    air: CutAir,
    condition,
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    given_error: bool = True,
) -> str:
    """What a plot of a cut shows, what its band holds and what not, which points are left out.

    Parameters
    ----------
    air, condition, measured, near : as of the plot
    given_error : False where MODEL_ERROR was taken
    """
    numbers = condition_numbers(air.conditions, condition)
    words = [BAND_HOLDS]
    lines = -(-len(air.sides) // 2)
    if lines > 1:
        begin = "each begins at its own top" if air.plane == "station" else "all are shown"
        words.append(f"The plane cuts the body in {lines} lines; {begin}.")
    if not given_error:
        words.append(f"Model error {MODEL_ERROR.value:g} ({MODEL_ERROR.mark}).")
    states = [side.state[numbers[0]] for side in air.sides if side.state is not None]
    if not states:
        words.append("Where the air separates was not looked at.")
    elif any((hatch_levels(part) > 0).any() for part in states):
        words.append("Hatched: the air is or may be separated; there the pressure is a band.")
    if measured:
        words.append(_measured_words(placed_points(air, numbers, measured, near), near))
    words.append("Peaks at edges beyond the axis are cut off.")
    return " ".join([*words, ESTIMATE])


def _measured_words(placed: PlacedPoints, near: float) -> str:
    text = f"{len(placed.points)} measured points with one standard deviation"
    if placed.far:
        text += f"; {placed.far} left out, more than {1e3 * near:.0f} mm from the cut"
    if placed.others:
        text += f"; {placed.others} of other conditions left out"
    return f"{text}."


def condition_numbers(conditions: Sequence[FlightCondition], wanted) -> tuple[int, ...]:
    """Numbers of conditions given by name or number, one or several.

    Raises
    ------
    FlowError : none, or one that is not there
    """
    one = isinstance(wanted, str | int | np.integer)
    numbers = [condition_number(conditions, item) for item in ([wanted] if one else wanted)]
    if not numbers:
        names = ", ".join(condition.name for condition in conditions)
        raise FlowError(f"no condition to plot; there are: {names}")
    return tuple(dict.fromkeys(numbers))


def _shown(air, flow, condition, openings, landmarks, measured, near, end) -> _Shown:
    numbers = condition_numbers(air.conditions, condition)
    along = np.concatenate([side.along for side in air.sides])
    first, last = float(along.min()), float(along.max())
    if air.plane != "station":
        first, last = first, max(min(end, last), first + 0.02 * (last - first))
    placed = placed_points(air, numbers, measured, near)
    cuts = tuple(cut_openings(air, openings))
    return _Shown(air, numbers, cuts, tuple(landmarks), placed, first, last)


def _plotted(shown: _Shown, axes):
    with own_look():
        if axes is None:
            axes = new_cut_figure(shown.air, shown.first, shown.last)
        draw = _draw_girth if shown.air.plane == "station" else _draw_along
        return draw(axes, shown)


def new_cut_figure(air: CutAir, first: float, last: float, foot: float = 0.0):
    """Axes on a figure of their own, as large as the cut needs.

    Parameters
    ----------
    air : CutAir
    first, last : m, ends of the axis
    foot : inch, kept free below
    """
    from matplotlib.figure import Figure

    if air.plane == "station":
        size, edges = (10.0, 4.8 + foot), (0.75, 0.25, 0.6, 0.88)
    else:
        width = 7.5
        tall = (width - 1.0) * _height_over(air, first, last)
        tall = min(tall, 4.4)
        size, edges = (width, 3.4 + 1.38 + _GAP + tall + foot), (0.75, 0.25, 0.5, 0.88)
    figure = Figure(figsize=size, facecolor="#ffffff")
    left, right, bottom, top = edges
    box = [left, bottom + foot, size[0] - left - right, size[1] - bottom - top - foot]
    return figure.add_axes([box[0] / size[0], box[1] / size[1], box[2] / size[0], box[3] / size[1]])


def _height_over(air: CutAir, first: float, last: float) -> float:
    """Height of the outline between two stations over its length, room included."""
    low, high = _outline_range(air, first, last)
    return (high - low) / (last - first)


def _outline_range(air: CutAir, first, last) -> tuple[float, float]:
    axis = _ACROSS[air.plane]
    points = np.concatenate([side.line.points for side in air.sides])
    shown = points[(points[:, 0] >= first) & (points[:, 0] <= last)][:, axis]
    room = 0.09 * max(float(np.ptp(shown)), 0.05 * (last - first))
    return float(shown.min()) - room, float(shown.max()) + room


def _draw_along(axes, shown: _Shown):
    """Pressure against the station, and the outline below."""
    outline = _axes_below(axes, shown)
    axes.set_xlim(1e3 * shown.first, 1e3 * shown.last)
    brackets = _brackets(axes, shown, 1e3)
    _set_limits(axes, shown, brackets)
    _draw_lines(axes, shown, 1e3)
    _draw_outline(outline, shown)
    _draw_landmarks((axes, outline), shown)
    _draw_brackets(axes, brackets)
    _name_sides(axes, shown, 1e3)
    _draw_measured(axes, shown, 1e3)
    axes.tick_params(labelbottom=True)
    outline.set_xlabel("Station, mm")
    _finish(axes, shown)
    return axes


def _draw_girth(axes, shown: _Shown):
    """Pressure against the way round the section, and the section beside it."""
    section = _axes_beside(axes)
    axes.set_xlim(1e3 * shown.first, 1e3 * shown.last)
    brackets = _brackets(axes, shown, 1e3)
    _set_limits(axes, shown, brackets)
    _draw_lines(axes, shown, 1e3)
    _draw_section(section, axes, shown)
    _draw_brackets(axes, brackets)
    _draw_measured(axes, shown, 1e3)
    axes.axvline(0.0, color=SOFT, lw=0.8, zorder=1.2)
    axes.set_xlabel(
        "Along the skin from the top centre line, mm: left side negative, right side positive",
    )
    _finish(axes, shown)
    return axes


def _axes_below(axes, shown: _Shown):
    """Axes of the outline below, on the same scale of the station; the plot takes the rest."""
    figure, box = axes.figure, axes.get_position()
    width, height = figure.get_size_inches()
    tall = box.width * width * _height_over(shown.air, shown.first, shown.last)
    most = _OUTLINE_SHARE * box.height * height
    across = box.width * min(1.0, most / tall)
    tall = min(tall, most)
    figure_share, gap = tall / height, _GAP / height
    outline = figure.add_axes([box.x0, box.y0, across, figure_share], sharex=axes)
    rest = box.height - figure_share - gap
    axes.set_position([box.x0, box.y0 + figure_share + gap, across, rest])
    return outline


def _axes_beside(axes):
    """Square-scaled axes of the section at the right; the plot takes the rest."""
    figure, box = axes.figure, axes.get_position()
    beside = 0.31 * box.width
    axes.set_position([box.x0, box.y0, box.width - beside - 0.035, box.height])
    return figure.add_axes([box.x1 - beside, box.y0, beside, box.height])


def _set_limits(axes, shown: _Shown, brackets):
    """Limits that leave out the rare peaks at edges; suction, negative, is up.

    Brackets get room of their own.
    """
    sides, numbers = shown.air.sides, shown.numbers
    rows = [shown.values(side, c)[0][shown.seen(side)] for side in sides for c in numbers]
    for side in sides:
        y, spread = (part[shown.seen(side)] for part in shown.values(side, numbers[0]))
        rows += [y - spread, y + spread]
    every = np.concatenate(rows)
    units = [shown.air.divisor(c, shown.pascal) for c in shown.placed.numbers]
    points = shown.placed.pressure / units if units else np.zeros(0)
    low, high = np.quantile(every, [0.01, 0.99]) if len(every) else (0.0, 0.0)
    low, high = min(low, 0.0, *points), max(high, 0.0, *points)
    span = max(high - low, 1.0 if shown.pascal else 1e-3)
    tall = axes.get_position().height * axes.figure.get_size_inches()[1] * 72.0
    rows = [
        1 + max((row for *_, up, row in brackets if up == upper), default=-1) for upper in (0, 1)
    ]
    below, above = ((8.0 + _ROW * count) / tall if count else 0.0 for count in rows)
    whole = 1.12 * span / max(1.0 - below - above, 0.3)
    axes.set_ylim(high + 0.06 * span + below * whole, low - 0.06 * span - above * whole)


def _draw_lines(axes, shown: _Shown, scale: float):
    """Thin lines with their numbers, then the thick ones with bands and hatches."""
    axes.axhline(0.0, color=INK, lw=1.8, zorder=1.5)
    for c in shown.numbers[1:]:
        for side in shown.air.sides:
            dashes = STYLES[_style(shown, side)][1]
            x, y = scale * side.along, shown.values(side, c)[0]
            axes.plot(x, y, color=_THIN, ls=dashes, lw=0.8, zorder=2.2)
    _number_lines(axes, shown, scale)
    number = shown.numbers[0]
    for side in shown.air.sides:
        (y, spread), (colour, dashes) = shown.values(side, number), STYLES[_style(shown, side)]
        x = scale * side.along
        axes.fill_between(x, y - spread, y + spread, color=colour, alpha=_BAND, lw=0, zorder=2.0)
        _hatch(axes, x, y, spread, side, number)
        axes.plot(x, y, color=colour, ls=dashes, lw=2.0, zorder=3.0)


def _style(shown: _Shown, side: CutSide) -> int:
    """Number of the style of a side: two along the body, one round a section."""
    first = side.name == SIDES[shown.air.plane][0]
    return 0 if first or shown.air.plane == "station" else 1


def _hatch(axes, x, y, spread, side: CutSide, number: int):
    if side.state is None:
        return
    levels = hatch_levels(side.state[number])
    # the state changes half way between two points
    middle = 0.5 * (np.arange(len(x) - 1) + np.arange(1, len(x)))
    place = np.sort(np.concatenate([np.arange(len(x)), middle - 1e-6, middle + 1e-6]))
    fine = [np.interp(place, np.arange(len(x)), part) for part in (x, y - spread, y + spread)]
    nearest = levels[np.clip(np.floor(place + 0.5).astype(int), 0, len(x) - 1)]
    for level, marks in _HATCHES.items():
        where = nearest == level
        if where.any():
            axes.fill_between(
                *fine,
                where=where,
                facecolor="none",
                edgecolor=SOFT,
                hatch=marks,
                lw=0.0,
                zorder=2.1,
            )


def _number_lines(axes, shown: _Shown, scale: float):
    """Numbers on the thin lines, at staggered places."""
    others = shown.numbers[1:]
    left, right = axes.get_xlim()
    low, high = sorted(axes.get_ylim())
    for turn, name in enumerate(SIDES[shown.air.plane]):
        side = next((s for s in shown.air.sides if s.name == name), None)
        if side is None:
            continue
        x = scale * side.along[shown.seen(side)]
        ends = max(left, x.min()), min(right, x.max())
        for place, c in enumerate(others):
            share = (place + 0.35 + 0.3 * turn) / len(others)
            at = ends[0] + (0.06 + 0.88 * share) * (ends[1] - ends[0])
            k = int(np.abs(x - at).argmin())
            y = shown.values(side, c)[0][shown.seen(side)][k]
            if low < y < high:
                _tag(axes, x[k], y, str(place + 2))


def _tag(axes, x, y, text: str):
    box = {"boxstyle": "circle,pad=0.12", "fc": "#ffffff", "ec": _THIN, "lw": 0.6}
    axes.text(
        *(x, y, text),
        fontsize=6.5,
        color=INK,
        ha="center",
        va="center",
        zorder=4.0,
        bbox=box,
        clip_on=True,
    )


def _name_sides(axes, shown: _Shown, scale: float):
    """Words at the thick lines, where these are far from each other."""
    pair = shown.air.sides[:2]
    if len(pair) < 2:
        return
    number, grid = shown.numbers[0], np.linspace(shown.first, shown.last, 61)[6:-6]
    low, high = sorted(axes.get_ylim())
    lines = [_on_grid(side.along, shown.values(side, number)[0], grid) for side in pair]
    gap = np.abs(np.clip(lines[0], low, high) - np.clip(lines[1], low, high))
    room = np.min([np.roll(gap, turn) for turn in (-2, -1, 0, 1, 2)], axis=0)
    k = 2 + int(room[2:-2].argmax())
    for side, line, other in zip(pair, lines, lines[::-1], strict=True):
        above = line[k] < other[k]  # suction is up
        y = float(np.clip(line[k], low, high))
        axes.annotate(
            side.name,
            (scale * grid[k], y),
            xytext=(0.0, 9.0 if above else -9.0),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=_FONT + 1.0,
            weight="bold",
            color=STYLES[_style(shown, side)][0],
            zorder=5.0,
            bbox={"boxstyle": "square,pad=0.08", "fc": "#ffffff", "ec": "none", "alpha": 0.8},
        )


def _on_grid(along, values, grid) -> np.ndarray:
    """Values at stations, whichever way a line goes there."""
    order = np.argsort(along, kind="stable")
    return np.interp(grid, along[order], values[order])


def _draw_measured(axes, shown: _Shown, scale: float):
    """Points with bars: filled for the first side, open for the second, a number for the others."""
    placed = shown.placed
    for k in range(len(placed.points)):
        c, side = int(placed.numbers[k]), shown.air.sides[int(placed.sides[k])]
        unit = shown.air.divisor(c, shown.pascal)
        first = side.name == SIDES[shown.air.plane][0]
        x, y = scale * placed.along[k], placed.pressure[k] / unit
        axes.errorbar(
            *(x, y, placed.deviation[k] / unit),
            fmt="o" if first else "s",
            color=INK,
            mfc=INK if first else "#ffffff",
            ms=4.5,
            elinewidth=1.1,
            capsize=2.5,
            zorder=6.0,
        )
        label = picture_text(placed.points[k].name, 16)
        if c != shown.numbers[0]:
            label += f" ({shown.numbers.index(c) + 1})"
        axes.annotate(
            *(label, (x, y)),
            xytext=(5.0, 3.0),
            textcoords="offset points",
            fontsize=6.5,
            color=INK,
            zorder=6.0,
            annotation_clip=True,
        )


def _brackets(axes, shown: _Shown, scale: float) -> list[tuple]:
    """(ends, middle of the name, name, whether at the upper edge, row) of every opening.

    At the upper edge, along the body those of the second side at the lower one.
    """
    left, right = axes.get_xlim()
    inch = axes.get_position().width * axes.figure.get_size_inches()[0]
    taken: dict[bool, list[tuple[float, float, int]]] = {True: [], False: []}
    found = []
    for name, upper, ends in _spans(shown, scale):
        ends = sorted(np.clip(ends, left, right))
        if ends[1] - ends[0] <= 0.0:
            continue
        text = picture_text(name, 24)
        half = 0.5 * (right - left) * (text_size(text, _SMALL)[0] + 6.0) / (72.0 * inch)
        middle = float(np.clip(np.mean(ends), left + half, right - half))
        span = min(ends[0], middle - half), max(ends[1], middle + half)
        row = _free_row(taken[upper], span)
        taken[upper].append((*span, row))
        found.append((ends, middle, text, upper, row))
    return found


def _spans(shown: _Shown, scale: float) -> list[tuple[str, bool, list[float]]]:
    """Name, edge and ends on the axis of every opening; parts that touch are one."""
    spans: list[tuple[str, bool, list[float]]] = []
    for opening in shown.openings:
        side = shown.air.sides[opening.side]
        ends = [scale * shown.air.along_at(side, arc) for arc in (opening.first, opening.last)]
        upper = _style(shown, side) == 0
        name, edge, before = spans[-1] if spans else ("", upper, [])
        if name == opening.name and edge == upper and set(before) & set(ends):
            spans[-1] = (name, edge, [min(*before, *ends), max(*before, *ends)])
        else:
            spans.append((opening.name, upper, ends))
    return spans


def _draw_brackets(axes, brackets):
    tall = axes.get_position().height * axes.figure.get_size_inches()[1] * 72.0
    for ends, middle, text, upper, row in brackets:
        depth = (7.0 + _ROW * row) / tall
        y, step = (1.0 - depth, -4.0 / tall) if upper else (depth, 4.0 / tall)
        _bracket(axes, ends, y, step, middle, text, 2.2 * step)


def _free_row(taken, span) -> int:
    used = {row for first, last, row in taken if first < span[1] and span[0] < last}
    return next(row for row in range(len(used) + 1) if row not in used)


def _bracket(axes, ends, y, step, middle, text, below):
    way = axes.get_xaxis_transform()
    heights = [y + step, y, y, y + step]
    axes.plot(
        *([ends[0], ends[0], ends[1], ends[1]], heights),
        color=_OPEN,
        lw=1.6,
        transform=way,
        zorder=5.0,
        solid_capstyle="butt",
    )
    axes.text(
        *(middle, y + below, text),
        transform=way,
        ha="center",
        va="top" if step < 0.0 else "bottom",
        fontsize=_SMALL,
        color=_OPEN,
        zorder=5.0,
        bbox={"boxstyle": "square,pad=0.05", "fc": "#ffffff", "ec": "none", "alpha": 0.85},
    )


def _draw_outline(outline, shown: _Shown):
    """The body cut by the plane, to scale, with its openings."""
    axis = _ACROSS[shown.air.plane]
    for line in _whole_lines(shown.air):
        outline.fill(1e3 * line[:, 0], 1e3 * line[:, axis], fc="#eef1f2", ec=INK, lw=0.9)
    low, high = _outline_range(shown.air, shown.first, shown.last)
    outline.set_ylim(1e3 * low, 1e3 * high)
    _mark_openings(outline, shown, 0, axis)
    word = {"butt line": "Waterline, mm", "waterline": "Butt line, mm (right up)"}[shown.air.plane]
    outline.set_ylabel(word, fontsize=_FONT, color=INK)
    _plain(outline)


def _whole_lines(air: CutAir) -> list[np.ndarray]:
    """Points of every line of a cut, both sides joined."""
    lines, k = [], 0
    while k < len(air.sides):
        pair = air.sides[k : k + 2]
        both = len(pair) == 2 and np.allclose(pair[0].line.points[0], pair[1].line.points[0])
        if both:
            lines.append(np.vstack([pair[0].line.points, pair[1].line.points[::-1]]))
        else:
            lines.append(pair[0].line.points)
        k += 2 if both else 1
    return lines


def _mark_openings(axes, shown: _Shown, across: int, upward: int):
    """Openings as thick pieces of the outline."""
    for opening in shown.openings:
        side = shown.air.sides[opening.side]
        arcs = np.linspace(opening.first, opening.last, 25)
        way = 1e3 * np.array([side.line.place_at(arc) for arc in arcs])
        axes.plot(way[:, across], way[:, upward], color="#ffffff", lw=3.2, zorder=3.0)
        axes.plot(
            way[:, across], way[:, upward], color=_OPEN, lw=2.2, ls=(0, (1.2, 0.8)), zorder=3.1
        )
        ends = way[[0, -1]]
        axes.plot(ends[:, across], ends[:, upward], "o", ms=3.4, color=_OPEN, zorder=3.2)


def _draw_landmarks(both, shown: _Shown):
    """Stations with a name: thin lines through plot and outline."""
    for name, station in shown.landmarks:
        if not shown.first < station < shown.last:
            continue
        for part in both:
            part.axvline(1e3 * station, color=SOFT, lw=0.9, ls=(0, (5.0, 2.0)), zorder=1.3)
        both[1].annotate(
            picture_text(name, 24),
            (1e3 * station, 0.98),
            xycoords=("data", "axes fraction"),
            xytext=(-2.0, 0.0),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="top",
            fontsize=_SMALL,
            color=INK,
            bbox={"boxstyle": "square,pad=0.05", "fc": "#ffffff", "ec": "none", "alpha": 0.7},
        )


def _draw_section(section, axes, shown: _Shown):
    """The section seen from behind, with the numbers of the axis at their places."""
    for line in _whole_lines(shown.air):
        section.fill(1e3 * line[:, 1], 1e3 * line[:, 2], fc="#eef1f2", ec=INK, lw=0.9)
    _mark_openings(section, shown, 1, 2)
    points = np.concatenate([side.line.points for side in shown.air.sides])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))[1:]
    for side in shown.air.sides[:2]:
        for tick in axes.get_xticks():
            sign = -1.0 if side.name == "left" else 1.0
            arc = sign * tick / 1e3
            if not (0.0 < arc < side.line.length or (tick == 0.0 and side.name == "right")):
                continue
            place = side.line.place_at(arc)[1:]
            inward = middle - place
            inward = inward / max(float(np.linalg.norm(inward)), 1e-9)
            section.plot(*(1e3 * place), "o", ms=3.0, color=INK, zorder=4.0)
            section.annotate(
                _number(tick),
                1e3 * place,
                xytext=13.0 * inward,
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=_SMALL,
                color=INK,
            )
    section.set_aspect("equal", adjustable="box", anchor="C")
    section.margins(0.06)
    section.set_title("Seen from behind; numbers as on the axis", fontsize=_SMALL, color=INK)
    section.set_axis_off()


def _finish(axes, shown: _Shown):
    """Names, key of the thin lines and legend of the hatches."""
    unit = "Pressure, Pa" if shown.pascal else "Cp"
    axes.set_ylabel(f"{unit} (suction up, pressure down)", fontsize=_FONT, color=INK)
    axes.xaxis.label.set(fontsize=_FONT, color=INK)
    _plain(axes)
    for part in axes.figure.axes:
        part.xaxis.label.set(fontsize=_FONT, color=INK)
    box, size = axes.get_position(), axes.figure.get_size_inches()
    # the axes may be narrower than the place: words may use the whole page
    room = (0.98 - box.x0) * size[0] * 72.0
    names = [picture_text(shown.air.conditions[c].name, 40) for c in shown.numbers]
    lines = []
    if len(names) > 1:
        key = "Thin lines: " + "; ".join(f"{k} {n}" for k, n in enumerate(names[1:], start=2))
        lines = wrapped(key, room, _SMALL)
    legend = _legend(axes, shown)
    lift = (2.0 + (13.0 if legend else 0.0)) / (72.0 * size[1] * box.height)
    text = "\n".join(lines)
    axes.text(
        0.0, 1.0 + lift, text, transform=axes.transAxes, fontsize=_SMALL, color=INK, va="bottom"
    )
    pad = 4.0 + (13.0 if legend else 0.0) + 1.22 * _SMALL * len(lines)
    name = shown.air.name[0].upper() + shown.air.name[1:]
    title = f"{name}: {names[0]}"
    axes.set_title(title, loc="left", fontsize=_TITLE, weight="bold", color=INK, pad=pad)


def _legend(axes, shown: _Shown) -> bool:
    """Words of the hatches that occur, above the plot."""
    from matplotlib.patches import Patch

    number = shown.numbers[0]
    levels = {
        int(level)
        for side in shown.air.sides
        if side.state is not None
        for level in np.unique(hatch_levels(side.state[number])[shown.seen(side)])
    }
    entries = [(level, words) for level, words in SEPARATION_LEGEND if level in levels]
    if not entries:
        return False
    handles = [
        Patch(facecolor="#ffffff", edgecolor=SOFT, hatch=_HATCHES[level], lw=0.6, label=words)
        for level, words in entries
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(-0.005, 0.995),
        ncols=len(handles),
        frameon=False,
        fontsize=_SMALL,
        handlelength=2.6,
        borderpad=0.2,
        borderaxespad=0.0,
        columnspacing=1.6,
    )
    return True


def _plain(axes):
    axes.grid(color=PALE, lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_SMALL, color=SOFT, labelcolor=INK)
    axes.spines[:].set(color=SOFT, linewidth=0.7)


def _number(value: float) -> str:
    """A whole number with a minus that is as wide as a plus."""
    return f"{round(value) + 0:.0f}".replace("-", "\u2212")
