"""Boundary layer, separation and pockets of separated air at places of the skin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.flow.boundary_layer import (
    SEPARATED,
    SEPARATION_SHAPES,
    TURBULENT,
    BoundaryLayers,
    boundary_layers,
    turbulent_layers,
)
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
NEW_SHAPE = 1.6
"""Shape factor with which the layer goes on where the air comes back to the skin: memory."""

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
    warned_margin : from the place on to where H next is 1.8 or more, where separation may come
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
    back. From there the layer goes on, turbulent, with the momentum thickness it had at separation.
    Conditions without moving air have no layer.
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
    values, back, thick = _values(lines, layers, here, flow.gauge_pressure[c])
    again = np.flatnonzero((back >= 0) & (here >= back))
    if len(again):
        rest = _from(lines, again, back[again])
        layers = turbulent_layers(
            rest.distance - rest.distance[:, :1],
            np.where(np.isnan(rest.speed), np.nan, np.maximum(rest.speed, 1e-6)),
            np.where(np.isnan(rest.spreading), np.nan, np.maximum(rest.spreading, 1e-9)),
            air.viscosity / air.density,
            thick[again],
            NEW_SHAPE,
        )
        later, _, _ = _values(rest, layers, here[again] - back[again], flow.gauge_pressure[c])
        later["state"][later["state"] == ATTACHED] = REATTACHED
        for name, value in later.items():
            values[name][again] = value
    return values


def _from(lines: Streamlines, chosen, first) -> Streamlines:
    """Some of the lines, from a point of each on."""
    column = np.arange(lines.speed.shape[1])[None] + first[:, None]
    inside = column < lines.count[chosen][:, None]
    column = np.minimum(column, lines.speed.shape[1] - 1)
    rows = chosen[:, None]

    def cut(values, empty=np.nan):
        return np.where(inside, values[rows, column], empty)

    return Streamlines(
        points=np.stack([cut(lines.points[..., k]) for k in range(3)], axis=2),
        panels=cut(lines.panels, -1),
        speed=cut(lines.speed),
        distance=cut(lines.distance),
        spreading=cut(lines.spreading),
        count=lines.count[chosen] - first,
        end=lines.end[chosen],
    )


def _through(velocity, panels) -> tuple[Streamlines, np.ndarray]:
    """Lines from where the air meets the skin, through panels, and on; the panels' own points."""
    before = trace(velocity, panels, upstream=True).reversed
    behind = trace(velocity, panels, longest=FOLLOWED)
    n, here = len(panels), before.count - 1
    # every second point is enough for the layer; the panels' own points stay
    odd = here % 2
    whole = before.count + behind.count - 1
    count = (whole - odd + 1) // 2
    column = odd[:, None] + 2 * np.arange(int(count.max()))[None]
    first = column < before.count[:, None]
    second = (column >= before.count[:, None]) & (column < whole[:, None])
    offset = column - here[:, None]
    rows = np.arange(n)[:, None]

    def joined(start, end, empty=np.nan):
        early = start[rows, np.minimum(column, start.shape[1] - 1)]
        late = end[rows, np.clip(offset, 0, end.shape[1] - 1)]
        return np.where(first, early, np.where(second, late, empty))

    rows_flat = np.arange(n)
    way, width = (values[rows_flat, here] for values in (before.distance, before.spreading))
    # points of one place, where a line crosses an edge, are drawn apart by a nanometre
    apart = 1e-9 * column
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
    ), here // 2


def _values(lines: Streamlines, layers: BoundaryLayers, here, gauge):
    """Values at the panels' own points; where the air comes back; thickness at separation.

    Returns
    -------
    values : dict of (n,) arrays
    back : (n,) int, point of the line where the air comes back; -1 where it does not
    thick : (n,) float, m, momentum thickness where the layer separates, or at its end
    """
    rows, n_points = np.arange(len(here)), lines.speed.shape[1]
    way = lines.distance[rows, here] - lines.distance[:, 0]
    names = ("momentum_thickness", "displacement_thickness", "shape_factor", "skin_friction")
    values = {name: getattr(layers, name)[rows, here] for name in names}
    values |= {
        "way": lines.distance[rows, here],
        "thickness": layers.total_thickness[rows, here],
        "margin": layers.separation - way,
        "warned_margin": _warned_margin(lines, layers, here),
        "stratford_margin": layers.stratford_separation - way,
    }
    pressure = np.where(lines.panels >= 0, gauge[np.maximum(lines.panels, 0)], np.nan)
    separated = layers.state == SEPARATED
    first = np.where(separated.any(axis=1), separated.argmax(axis=1), n_points)
    plateau = pressure[rows, np.minimum(first, n_points - 1)]
    back = _back_at_the_skin(pressure, first, plateau)
    state = np.full(len(here), ATTACHED)
    state[here >= first] = OPEN
    state[(here >= first) & (back >= 0) & (here < back)] = POCKET
    state[(back >= 0) & (here >= back)] = REATTACHED
    state[(layers.state[rows, here] < 0) & (here < first)] = UNKNOWN
    values["state"] = state
    values["plateau"] = np.where(state == POCKET, plateau, np.nan)
    last = np.maximum(np.minimum(first, lines.count) - 1, 0)
    thick = np.nan_to_num(layers.momentum_thickness[rows, last], nan=0.0)
    return values, back, np.maximum(thick, 1e-6)


def _warned_margin(lines: Streamlines, layers: BoundaryLayers, here) -> np.ndarray:
    """(n,) float, m: way from the panels on to where H next is 1.8 or more; zero where it is."""
    rows = np.arange(len(here))
    soft = (layers.state == TURBULENT) & (layers.shape_factor >= SEPARATION_SHAPES[0])
    soft |= layers.state == SEPARATED
    soft &= np.arange(soft.shape[1])[None] >= here[:, None]
    found = lines.distance[rows, soft.argmax(axis=1)] - lines.distance[rows, here]
    return np.where(soft.any(axis=1), found, np.nan)


def _back_at_the_skin(pressure, first, plateau) -> np.ndarray:
    """(n,) int: the first point behind separation where the pressure, having risen above that at
    separation, falls below it again; -1 where it does not."""
    behind = np.arange(pressure.shape[1])[None] > first[:, None]
    risen = np.where(behind & ~np.isnan(pressure), pressure, -np.inf)
    peak = np.maximum.accumulate(risen, axis=1)
    back = behind & (peak > plateau[:, None]) & (pressure < plateau[:, None])
    return np.where(back.any(axis=1), back.argmax(axis=1), -1)
