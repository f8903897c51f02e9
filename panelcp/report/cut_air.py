"""Pressure along cuts through the skin, with its deviation and the state of the air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.curves import AMPLIFIED
from panelcp.quantity import UncertainValue
from panelcp.surface.curved import roughness_band
from panelcp.surface.cutting import PLANES, CutLine, cut_at, line_operators, mean_over
from panelcp.surface.mesh import SurfaceMesh, frozen_array

MODEL_ERROR = UncertainValue(
    0.10, mark="memory", source="model error of Cp, sides and bottom of a cowl, attached flow"
)
"""Taken where no model error is given."""

SIDES = {
    "station": ("right", "left"),
    "butt line": ("top", "bottom"),
    "waterline": ("right", "left"),
}
"""Names of the two ways along the skin, for each plane."""

ACROSS = {"station": 1, "butt line": 2, "waterline": 1}
"""Coordinate that is greater on the first side."""


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
        return f"{PLANES[self.plane][1]} {whole_number(1e3 * self.place)} mm"

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
    names, axis = SIDES[plane], ACROSS[plane]
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


def whole_number(value: float) -> str:
    """A whole number with a minus that is as wide as a plus."""
    return f"{round(value) + 0:.0f}".replace("-", "\u2212")
