"""Checks of a solution that can fail: where the panels are too coarse, or the mesh is at fault."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.panels.influence import InducedVelocity
from panelcp.panels.solving import UnitSolutions
from panelcp.surface.curved import area_vectors, evaluate
from panelcp.surface.mesh import frozen_array
from panelcp.surface.neighbours import smooth_neighbours
from panelcp.surface.repair import format_place

OFF_CENTRE = ((1 / 6, 1 / 6), (2 / 3, 1 / 6), (1 / 6, 2 / 3))
NORMAL_LIMIT = 0.2
"""Normal velocity beside the control points above which a panel is suspect, parts of the stream.
Panels at sharp edges are left out: there the exact flow is infinite. On a sphere of 1 280 panels
the greatest is 0.0005."""

JUMP_LIMIT = 0.5
"""Jump of velocity between smooth neighbours above which both are suspect, parts of the stream."""

NET_SOURCE_LIMIT = 5e-3
FORCE_LIMIT = 0.01
SLENDER_LIMIT = 25.0
"""Longest edge over height of a panel, above which its pressure is doubtful."""

FOLD_ANGLE = 100.0
"""Edges folded by more than this many degrees look like slivers laid over their neighbours."""

DIVISIONS = 6
"""How often near patches are divided for the normal velocity beside the control points."""


@dataclass(frozen=True, eq=False)
class Fault:
    """One kind of doubt about a solution.

    Attributes
    ----------
    kind : what was checked
    limit : above it a panel, or the whole, is suspect
    worst : greatest value found
    count : number of suspect panels; 1 for a check of the whole
    place : STA, BL, WL of the worst, or "the whole body"
    panels : (n_panels,) bool, the suspect ones
    """

    kind: str
    limit: float
    worst: float
    count: int
    place: str
    panels: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "panels", frozen_array(self.panels, bool))

    @property
    def failed(self) -> bool:
        """True when the worst value is above the limit."""
        return self.worst > self.limit

    def line(self) -> str:
        """One line for log and warnings."""
        many = f" on {self.count} panels, worst at {self.place}" if self.panels.any() else ""
        return f"{self.kind}: up to {self.worst:.2g} (limit {self.limit:g}){many}"


def solution_checks(units: UnitSolutions) -> list[Fault]:
    """All checks of a solution, passed or not; `faults` keeps those that failed.

    Parameters
    ----------
    units : UnitSolutions

    Returns
    -------
    list of Fault, worst against limit; a check that passed has no suspect panel

    Notes
    -----
    - normal velocity at three points of each patch beside its control point, where nothing forces
      it to vanish; greatest over the unit streams
    - jump of the velocity between smooth neighbours, less the jump that their gradients explain
    - net source of the closed body and the force on it in a uniform stream: zero in theory; over
      ground there is a force, and no such check
    - thin and folded panels
    """
    checks = [
        _panel_fault(
            units, "normal velocity beside the control points", NORMAL_LIMIT, normals(units)
        ),
        _panel_fault(units, "jump of velocity between neighbours", JUMP_LIMIT, jumps(units)),
        _panel_fault(units, "length over height of panels", SLENDER_LIMIT, slender(units.surface)),
        _panel_fault(units, "fold between neighbours, deg", FOLD_ANGLE, folds(units.surface)),
        _whole_fault(
            units, "net source, parts of all sources", NET_SOURCE_LIMIT, net_source(units)
        ),
    ]
    if units.ground is None:
        force = stream_force(units)
        checks.append(_whole_fault(units, "force on the closed body, q A", FORCE_LIMIT, force))
    return checks


def faults(units: UnitSolutions) -> list[Fault]:
    """The checks that failed."""
    return [check for check in solution_checks(units) if check.failed]


def normals(units: UnitSolutions) -> np.ndarray:
    """(n_panels,) float, m/s per m/s: greatest normal velocity beside the control points."""
    n = units.surface.n_solved
    coefficients = units.panels.coefficients[:n]
    points, directions = [], []
    for xi, eta in OFF_CENTRE:
        normal = area_vectors(coefficients, xi, eta)
        directions.append(normal / np.linalg.norm(normal, axis=1, keepdims=True))
        lift = 1e-3 * np.sqrt(units.panels.areas[:n, None]) * directions[-1]
        points.append(evaluate(coefficients, xi, eta) + lift)
    copies = len(units.all_panels.areas) // units.surface.n_panels
    operator = InducedVelocity(units.all_panels, np.concatenate(points), divisions=DIVISIONS)
    velocity = operator.apply(np.tile(units.source_strength[:3], copies)) + np.eye(3)[:, None]
    across = np.abs(np.einsum("upd,pd->up", velocity, np.concatenate(directions))).max(axis=0)
    worst = across.reshape(len(OFF_CENTRE), n).max(axis=0)
    worst[(smooth_neighbours(units.surface)[:n] < 0).any(axis=1)] = 0.0
    return np.concatenate([worst, worst]) if units.surface.mirrored else worst


def jumps(units: UnitSolutions) -> np.ndarray:
    """(n_panels,) float, m/s per m/s: velocity of a neighbour less that extrapolated to it."""
    panels, velocity = units.panels, np.moveaxis(units.velocity[:3], 0, 1)
    neighbours = smooth_neighbours(units.surface)
    step = velocity[panels.neighbours] - velocity[:, None]
    gradient = np.einsum("nki,nkud->niud", panels.stencil, step)
    offset = panels.points[neighbours] - panels.points[:, None]
    expected = velocity[:, None] + np.einsum("nki,niud->nkud", offset, gradient)
    expected_back = expected[neighbours, _place_of(neighbours)]
    gap = np.abs(expected + velocity[:, None] - velocity[neighbours] - expected_back)
    jump = 0.5 * np.linalg.norm(gap, axis=3).max(axis=2)
    return np.where(neighbours >= 0, jump, 0.0).max(axis=1)


def slender(surface) -> np.ndarray:
    """(n_panels,) float: longest edge over the height on it."""
    edges = np.roll(surface.corners, -1, axis=1) - surface.corners
    longest = np.linalg.norm(edges, axis=2).max(axis=1)
    return longest**2 / (2.0 * surface.areas)


def folds(surface) -> np.ndarray:
    """(n_panels,) float, deg: greatest angle between a panel's normal and its neighbours'."""
    facing = np.einsum("nki,ni->nk", surface.normals[surface.edge_neighbours], surface.normals)
    angle = np.degrees(np.arccos(np.clip(facing, -1.0, 1.0)))
    return np.where(surface.edge_neighbours >= 0, angle, 0.0).max(axis=1)


def net_source(units: UnitSolutions) -> float:
    """Greatest |sum s A| / sum |s A| over the unit streams."""
    flows = units.source_strength[:3] * units.panels.areas
    return float((np.abs(flows.sum(axis=1)) / np.abs(flows).sum(axis=1)).max())


def stream_force(units: UnitSolutions) -> float:
    """Greatest |force| / (q A) over the unit streams, A the frontal area across the stream."""
    vectors = units.panels.normals * units.panels.areas[:, None]
    cp = 1.0 - (units.velocity[:3] ** 2).sum(axis=2)
    frontal = 0.5 * np.abs(vectors).sum(axis=0)
    return float((np.linalg.norm(cp @ vectors, axis=1) / frontal).max())


def _place_of(neighbours) -> np.ndarray:
    """(n_panels, 3) int: at which place each neighbour lists this panel."""
    own = np.arange(len(neighbours))[:, None, None]
    return np.argmax(neighbours[neighbours] == own, axis=2)


def _panel_fault(units, kind, limit, values) -> Fault:
    suspect = values > limit
    place = format_place(units.panels.points[int(np.argmax(values))])
    return Fault(kind, limit, float(values.max()), int(np.count_nonzero(suspect)), place, suspect)


def _whole_fault(units, kind, limit, value) -> Fault:
    nothing = np.zeros(units.surface.n_panels, dtype=bool)
    return Fault(kind, limit, value, int(value > limit), "the whole body", nothing)
