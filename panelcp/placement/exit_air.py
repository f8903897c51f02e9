"""Where the hot air of an exit goes along the skin, and what lies in its way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from panelcp.flow.streamlines import skin_velocity, trace
from panelcp.flow.superposition import SurfaceFlow
from panelcp.placement.ranking import opening_pressures
from panelcp.quantity import UncertainValue
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening

PLUME_GROWTH = UncertainValue(
    0.12,
    0.08,
    0.20,
    "memory",
    "half width of a turbulent jet grows by about a tenth of its way; more allowed for here",
)
LONGEST = 4.0
"""m, exit air is followed so far."""

STARTS = 8
"""Lines from the outline of an exit, besides that from its middle."""

WATCHED_USES = {
    "cabin": "cabin opening",
    "fresh air": "fresh-air inlet",
    "static port": "static port",
    "inlet": "cooling-air inlet",
    "both": "cooling-air opening",
}
"""Uses of openings that hot air should not reach, and how they are called."""


@dataclass(frozen=True, eq=False)
class Target:
    """Something that hot air should not reach.

    Attributes
    ----------
    name : str
    kind : what it is, one of the words of WATCHED_USES, "windshield" or "wing root"
    points : (n, 3) float, m, places of it
    reach : m, half of its size
    opening : the Opening, or None
    """

    name: str
    kind: str
    points: np.ndarray
    reach: float = 0.0
    opening: Opening | None = None

    def __post_init__(self):
        object.__setattr__(self, "points", frozen_array(self.points))


@dataclass(frozen=True)
class Hit:
    """Exit air that comes near a target in one condition.

    Attributes
    ----------
    exit, target, kind : names
    condition : number of the condition
    way : m, from the exit along the skin to the nearest place
    clearance : m, from the edge of the plume, its allowance included, to the target; negative
        where the plume covers it
    pressure_difference : Pa, exit less target: positive drives air from the exit's bay into an
        opening; nan where the target is no opening
    """

    exit: str
    target: str
    kind: str
    condition: int
    way: float
    clearance: float
    pressure_difference: float

    @property
    def reached(self) -> bool:
        """Whether the plume covers the target."""
        return self.clearance <= 0.0


def targets_of(
    surface: SurfaceMesh, openings: Sequence[Opening], wing_centre=None, regions=("windshield",)
) -> list[Target]:
    """What hot air should not reach: openings by their use, named regions, the wing roots.

    Parameters
    ----------
    surface : SurfaceMesh
    openings : all openings of the case
    wing_centre : (3,) float, m, quarter chord of the wing at the centre line, or None
    regions : words; regions of the surface whose name begins with one of them are watched

    Returns
    -------
    list of Target
    """
    targets = [
        Target(o.name, WATCHED_USES[o.use], o.centre[None], 0.5 * max(o.length, o.width), o)
        for o in openings
        if o.use in WATCHED_USES
    ]
    for index, name in enumerate(surface.region_names):
        panels = surface.region_index == index
        if name.lower().startswith(tuple(regions)) and panels.any():
            reach = 0.5 * float(np.sqrt(surface.areas[panels].mean()))
            targets.append(Target(name, "windshield", surface.centroids[panels], reach))
    if wing_centre is not None:
        targets += _wing_roots(surface, np.asarray(wing_centre, dtype=float))
    return targets


def _wing_roots(surface: SurfaceMesh, centre) -> list[Target]:
    """Places of the skin abreast of the wing's quarter chord, on both sides."""
    offset = surface.centroids - centre
    targets = []
    for side, name in ((1.0, "right wing root"), (-1.0, "left wing root")):
        beside = side * surface.normals[:, 1] > 0.5
        if not beside.any():
            continue
        distance = np.where(beside, np.hypot(offset[:, 0], offset[:, 2]), np.inf)
        panel = int(np.argmin(distance))
        targets.append(Target(name, "wing root", surface.centroids[panel][None], 0.1))
    return targets


def exit_air(
    flow: SurfaceFlow,
    exits: Sequence[Opening],
    targets: Sequence[Target],
    growth: float = PLUME_GROWTH.high,
    nearest: float = 0.2,
) -> list[Hit]:
    """Trace the air of exits in all conditions and note what it comes near.

    Parameters
    ----------
    flow : SurfaceFlow
    exits : openings laid onto its surface
    targets : what to look for
    growth : by how much the plume's half width grows per way; the wide end of its band by default
    nearest : m, targets farther from the plume's edge than this are left out

    Returns
    -------
    list of Hit, in the order of exits, targets and conditions; the nearest line of each

    Notes
    -----
    The air is taken to stay at the skin and to follow its streamlines, from the middle and the
    outline of the exit. An exit's own place is no target. This tells where to look, never that a
    place is safe from exhaust gas.
    """
    if not exits:
        return []
    operator, hits = corner_operator(flow.surface), []
    pressures = _pressures(flow, exits, targets)
    trees = [cKDTree(target.points) for target in targets]
    panels, points = zip(*[_starts(outlet) for outlet in exits], strict=True)
    ends = np.cumsum([0, *map(len, panels)])
    panels, points = np.concatenate(panels), np.concatenate(points)
    for c in np.flatnonzero(flow.moving):
        velocity = skin_velocity(flow.surface, flow.velocity[c], operator)
        lines = trace(velocity, panels, points, longest=LONGEST)
        for outlet, (first, end) in zip(exits, pairwise(ends), strict=True):
            inside = ~np.isnan(lines.speed[first:end])
            way = lines.points[first:end][inside], lines.distance[first:end][inside]
            for target, tree in zip(targets, trees, strict=True):
                hit = _nearest(*way, tree, outlet, target, int(c), growth, pressures)
                if hit is not None and hit.clearance <= nearest:
                    hits.append(hit)
    order = {opening.name: k for k, opening in enumerate(exits)}
    places = {target.name: k for k, target in enumerate(targets)}
    return sorted(hits, key=lambda h: (order[h.exit], places[h.target], h.condition))


def _starts(outlet: Opening) -> tuple[np.ndarray, np.ndarray]:
    """Panels and points in the middle of an exit and at its outermost samples."""
    offset = outlet.sample_points - outlet.centre
    flat = np.stack([offset @ outlet.along, offset @ outlet.across], axis=1)
    turns = 2.0 * np.pi * np.arange(STARTS) / STARTS
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    chosen = [int(np.argmin((flat**2).sum(axis=1))), *np.argmax(ways @ flat.T, axis=1)]
    chosen = np.unique(chosen)
    return outlet.sample_panels[chosen], outlet.sample_points[chosen]


def _nearest(points, way, tree, outlet, target, condition, growth, pressures) -> Hit | None:
    """The place where the plume's edge comes nearest to a target.

    Parameters
    ----------
    points, way : (n, 3) and (n,) float, m, of the lines from the exit
    tree : of the target's points
    """
    if target.name == outlet.name:
        return None
    gap, _ = tree.query(points)
    # the outline's own lines carry the width of the exit; only the growth is added
    clearance = gap - target.reach - growth * way
    best = int(np.argmin(clearance))
    difference = np.nan
    if target.opening is not None:
        difference = pressures[outlet.name][condition] - pressures[target.name][condition]
    return Hit(
        exit=outlet.name,
        target=target.name,
        kind=target.kind,
        condition=condition,
        way=float(way[best]),
        clearance=float(clearance[best]),
        pressure_difference=float(difference),
    )


def _pressures(flow: SurfaceFlow, exits, targets) -> dict[str, np.ndarray]:
    """Patch pressures (n_conditions,) of exits and of targets that are openings."""
    openings = {opening.name: opening for opening in exits}
    openings |= {t.opening.name: t.opening for t in targets if t.opening is not None}
    group = list(openings.values())
    found = opening_pressures(flow, group, np.zeros(len(group))).patch_pressure
    return dict(zip(openings, found.T, strict=True))


@dataclass(frozen=True, eq=False)
class StaticPortErrors:
    """What static ports on the body do to the instruments.

    Attributes
    ----------
    names : of the ports
    pressure : (n_conditions, n_ports) float, Pa, at the port against outside air
    airspeed : (n_conditions, n_ports) float, m/s, calibrated speed shown too high (positive) or too
        low; nan where nothing would be shown
    altitude : (n_conditions, n_ports) float, m, shown too high (positive) or too low
    """

    names: tuple[str, ...]
    pressure: np.ndarray
    airspeed: np.ndarray
    altitude: np.ndarray

    def __post_init__(self):
        for name in ("pressure", "airspeed", "altitude"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


SEA_LEVEL_DENSITY = 1.225
GRAVITY = 9.80665


def static_port_errors(flow: SurfaceFlow, ports: Sequence[Opening]) -> StaticPortErrors:
    """Errors of airspeed and altitude from the pressure at static ports.

    Parameters
    ----------
    flow : SurfaceFlow
    ports : openings laid onto its surface

    Returns
    -------
    StaticPortErrors

    Notes
    -----
    The pitot tube is taken to give the full total pressure of the free stream: shown is
    sqrt(2 (q - p) / rho_0), and the altitude is off by -p / (rho g), p the gauge pressure of the
    port.
    """
    found = opening_pressures(flow, ports, np.zeros(len(ports))).patch_pressure
    q = flow.dynamic_pressure[:, None]
    shown = np.sqrt(np.where(q - found >= 0.0, 2.0 * (q - found) / SEA_LEVEL_DENSITY, np.nan))
    density = np.array([c.air.density for c in flow.conditions])[:, None]
    return StaticPortErrors(
        names=tuple(port.name for port in ports),
        pressure=found,
        airspeed=shown - np.sqrt(2.0 * q / SEA_LEVEL_DENSITY),
        altitude=-found / (density * GRAVITY),
    )
