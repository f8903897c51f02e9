"""Boundary layer, separation and pockets of separated air at places of the skin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.flow.boundary_layer import SEPARATED, BoundaryLayers, boundary_layers
from panelcp.flow.streamlines import Streamlines, skin_velocity, trace
from panelcp.flow.superposition import SurfaceFlow
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import frozen_array

ATTACHED, POCKET, OPEN, REATTACHED, UNKNOWN = 0, 1, 2, 3, -1
"""State of a place: the layer is attached; it lies in a pocket, between separation and the place
where the air comes back; behind separation that does not close; behind a pocket; no line found."""

STATE_NAMES = {
    ATTACHED: "attached",
    POCKET: "in a pocket",
    OPEN: "separated",
    REATTACHED: "behind a pocket",
    UNKNOWN: "not known",
}
FOLLOWED = 2.5
"""m, lines are followed so far behind a place to see whether the air comes back to the skin."""


@dataclass(frozen=True, eq=False)
class SkinLayers:
    """Boundary layer at chosen panels in every condition.

    Attributes
    ----------
    panels : (n,) int
    state : (n_conditions, n) int, ATTACHED, POCKET, OPEN, REATTACHED or UNKNOWN
    way : (n_conditions, n) float, m, along the skin from where the air meets it
    thickness : (n_conditions, n) float, m, of the whole layer; nan behind separation
    momentum_thickness, displacement_thickness : (n_conditions, n) float, m
    shape_factor, skin_friction : (n_conditions, n) float
    margin : (n_conditions, n) float, m, along the line from the place to turbulent separation (H
        2.4); negative behind it, nan where there is none
    warned_margin : the same to H 1.8
    stratford_margin : the same to separation by Stratford's criterion
    plateau : (n_conditions, n) float, Pa, gauge pressure where the line separates; nan where there
        is no pocket at the place
    """

    panels: np.ndarray
    state: np.ndarray
    way: np.ndarray
    thickness: np.ndarray
    momentum_thickness: np.ndarray
    displacement_thickness: np.ndarray
    shape_factor: np.ndarray
    skin_friction: np.ndarray
    margin: np.ndarray
    warned_margin: np.ndarray
    stratford_margin: np.ndarray
    plateau: np.ndarray

    def __post_init__(self):
        for name in ("panels", "state"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        for name in _VALUES:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def pocket_change(self, flow: SurfaceFlow) -> np.ndarray:
        """Half of what the plateau differs from the attached pressure.

        The pressure in a pocket lies between both: its middle is the attached one and this, its
        band reaches as far to both sides.

        Returns
        -------
        (n_conditions, n_panels) float, Pa; zero outside pockets and at panels not looked at
        """
        change = np.zeros(flow.gauge_pressure.shape)
        attached = flow.gauge_pressure[:, self.panels]
        here = (self.state == POCKET) & np.isfinite(self.plateau)
        change[:, self.panels] = np.where(here, 0.5 * (self.plateau - attached), 0.0)
        return change


_VALUES = (
    "way",
    "thickness",
    "momentum_thickness",
    "displacement_thickness",
    "shape_factor",
    "skin_friction",
    "margin",
    "warned_margin",
    "stratford_margin",
    "plateau",
)


def skin_layers(flow: SurfaceFlow, panels, turbulent: Sequence[bool]) -> SkinLayers:
    """Boundary layers along the streamlines through panels.

    Parameters
    ----------
    flow : SurfaceFlow
    panels : (n,) int, the panels of interest
    turbulent : for each condition, whether the skin is turbulent from the nose, as in a slipstream

    Returns
    -------
    SkinLayers

    Notes
    -----
    From the middle of each panel the line is followed back to where the air meets the skin, and on
    for a while. Where the layer separates and the attached pressure farther on rises and then
    falls again below that at separation, the air is taken to come back there: in between lies a
    pocket, whose pressure is that at separation (a plateau) or the attached one, or between.
    Common practice for concave corners; no source is claimed for the place where the air comes
    back. Conditions without moving air have no layer.
    """
    panels = np.asarray(panels, dtype=np.int64)
    operator = corner_operator(flow.surface)
    rows = [
        _one_condition(flow, operator, panels, c, bool(turbulent[c]))
        for c in range(len(flow.conditions))
    ]
    together = {name: np.array([row[name] for row in rows]) for name in ("state", *_VALUES)}
    return SkinLayers(panels=panels, **together)


def _one_condition(
    flow: SurfaceFlow, operator, panels, c: int, turbulent: bool
) -> dict[str, np.ndarray]:
    n = len(panels)
    found = {name: np.full(n, np.nan) for name in _VALUES}
    found["state"] = np.full(n, UNKNOWN)
    if not flow.moving[c] or n == 0:
        return found
    velocity = skin_velocity(flow.surface, flow.velocity[c], operator)
    lines, here = _through(velocity, panels)
    air = flow.conditions[c].air
    layers = boundary_layers(
        lines.distance,
        lines.speed,
        np.where(np.isnan(lines.spreading), np.nan, np.maximum(lines.spreading, 1e-9)),
        air.viscosity / air.density,
        turbulent_start=turbulent,
    )
    _fill(found, lines, layers, here)
    _judge(found, lines, layers, here, flow.gauge_pressure[c])
    return found


def _through(velocity, panels) -> tuple[Streamlines, np.ndarray]:
    """Lines from where the air meets the skin, through panels, and on; the panels' own points."""
    before = trace(velocity, panels, upstream=True).reversed
    behind = trace(velocity, panels, longest=FOLLOWED)
    n, here = len(panels), before.count - 1
    count = before.count + behind.count - 1
    shape = (n, int(count.max()))
    column = np.arange(shape[1])
    first = column[None] < before.count[:, None]
    second = (column[None] >= before.count[:, None]) & (column[None] < count[:, None])
    offset = column[None] - here[:, None]
    rows = np.arange(n)[:, None]

    def joined(start, end, empty=np.nan):
        early = start[rows, np.minimum(column[None], start.shape[1] - 1)]
        late = end[rows, np.clip(offset, 0, end.shape[1] - 1)]
        return np.where(first, early, np.where(second, late, empty))

    rows_flat = np.arange(n)
    way, width = (values[rows_flat, here] for values in (before.distance, before.spreading))
    # points of one place, where a line crosses an edge, are drawn apart by a nanometre
    apart = 1e-9 * column[None]
    return Streamlines(
        points=np.stack(
            [joined(before.points[..., k], behind.points[..., k]) for k in range(3)], axis=2
        ),
        panels=joined(before.panels, behind.panels, -1),
        speed=joined(before.speed, behind.speed),
        distance=joined(before.distance, behind.distance + way[:, None]) + apart,
        spreading=joined(before.spreading, behind.spreading * width[:, None]),
        count=count,
        end=behind.end,
    ), here


def _fill(found, lines: Streamlines, layers: BoundaryLayers, here):
    """Values of the layer at the panels' own points."""
    rows = np.arange(len(here))
    way = lines.distance[rows, here]
    found["way"] = way
    found["thickness"] = layers.total_thickness[rows, here]
    for name in ("momentum_thickness", "displacement_thickness", "shape_factor", "skin_friction"):
        found[name] = getattr(layers, name)[rows, here]
    found["margin"] = layers.separation - way
    found["warned_margin"] = layers.warned - way
    found["stratford_margin"] = layers.stratford_separation - way


def _judge(found, lines: Streamlines, layers: BoundaryLayers, here, gauge):
    """State of every panel, and the plateau of its pocket."""
    pressure = np.where(lines.panels >= 0, gauge[np.maximum(lines.panels, 0)], np.nan)
    column = np.arange(pressure.shape[1])[None]
    separated = layers.state == SEPARATED
    any_separation = separated.any(axis=1)
    first = np.where(any_separation, separated.argmax(axis=1), pressure.shape[1])
    rows = np.arange(len(here))
    plateau = pressure[rows, np.minimum(first, pressure.shape[1] - 1)]
    behind = column > first[:, None]
    peak = np.maximum.accumulate(np.where(behind, np.nan_to_num(pressure, nan=-np.inf), -np.inf), 1)
    back = behind & (peak > plateau[:, None]) & (pressure < plateau[:, None])
    closes = back.any(axis=1)
    end = np.where(closes, back.argmax(axis=1), pressure.shape[1])
    known = layers.state[rows, np.minimum(here, pressure.shape[1] - 1)] >= 0
    state = np.full(len(here), ATTACHED)
    state[here >= first] = OPEN
    state[(here >= first) & closes & (here < end)] = POCKET
    state[closes & (here >= end)] = REATTACHED
    state[~known & (here < first)] = UNKNOWN
    found["state"] = state
    found["plateau"] = np.where(state == POCKET, plateau, np.nan)
