"""Checks of a solution that can fail: where the panels are too coarse, or the mesh is at fault."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.panels.influence import InducedVelocity
from panelcp.panels.solving import UnitSolutions
from panelcp.surface.curved import area_vectors, evaluate
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.neighbours import SHARP_ANGLE, smooth_neighbours
from panelcp.surface.refining import grown, parent_operator
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

CHANGE_LIMIT = 0.05
"""Change of Cp on finer panels above which a panel is suspect: as much as the model error of a
patch-mean Cp on an attached forward cowl. Measured: 0.001 on a sphere of 1 280 panels, 0.011 at
the tips of a 4:1 spheroid of as many, where the error is 0.009; 0.03 to 0.28 where a round nose
has so few panels that it is a pyramid, with errors of 0.15 to 0.26. The change is 0.2 to 2.5 times
the error: it shows what the panels leave open, not what the vertices say wrongly."""

EDGE_ANGLE = 60.0
"""Edges folded by more than this many degrees are taken as meant; less sharp ones may be a round
nose with too few panels, and are tried on finer ones."""

WORST_SHARE = 0.02
"""Part of the panels that is tried on finer ones at least, whether they failed a check or not."""

LARGEST_ZONE = 0.1
"""The zone to refine holds at most this part of the panels, so that the finer solution has about
a third more and costs 1.3 (large surfaces) to 1.7 times the first one."""

ZONE_RINGS = 2
"""Rings of panels round the worst that are refined with them."""

NORMAL_KIND = "normal velocity beside the control points"
JUMP_KIND = "jump of velocity between neighbours"
CHANGE_KIND = "change of Cp when the suspect zone is refined"

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
    values : (n_panels,) float, what was found on each panel; zero for a check of the whole
    """

    kind: str
    limit: float
    worst: float
    count: int
    place: str
    panels: np.ndarray
    values: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "panels", frozen_array(self.panels, bool))
        object.__setattr__(self, "values", frozen_array(self.values))

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
        _panel_fault(units, NORMAL_KIND, NORMAL_LIMIT, normals(units)),
        _panel_fault(units, JUMP_KIND, JUMP_LIMIT, jumps(units)),
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


def suspect_zone(surface: SurfaceMesh, checks: Sequence[Fault]) -> np.ndarray:
    """Panels whose pressure is to be tried on finer panels; there are always some.

    Parameters
    ----------
    surface : SurfaceMesh
    checks : what `solution_checks` gives for it

    Returns
    -------
    (n_panels,) bool: the panels that failed a check, those at edges of 40 to 60 deg, which may be
    meant or too coarse, and the 2 % of all with the largest normal velocity or jump away from
    sharp edges; two rings of neighbours; in this order, 10 % of the panels at most; symmetric on a
    mirrored surface
    """
    parts = {check.kind: check.values / check.limit for check in checks}
    severity = np.max(list(parts.values()), axis=0)
    smooth = np.maximum(parts[NORMAL_KIND], parts[JUMP_KIND])
    smooth[beside_edges(surface)] = 0.0
    angle = fold_angles(surface)
    doubtful = ((angle > SHARP_ANGLE) & (angle <= EDGE_ANGLE)).any(axis=1)
    order = np.select([severity > 1.0, doubtful], [1.0 + severity, 1.5], smooth)
    count = np.count_nonzero(order > 1.0) + max(1, int(WORST_SHARE * surface.n_panels))
    return _zone(surface, np.argsort(-order, kind="stable"), min(count, surface.n_panels))


def _zone(surface, worst_first, count) -> np.ndarray:
    """The first panels of an order and rings about them: as many as the largest zone holds."""

    def zone(n):
        chosen = np.zeros(surface.n_panels, dtype=bool)
        chosen[worst_first[:n]] = True
        if surface.mirrored:
            chosen = np.tile(np.logical_or(*np.split(chosen, 2)), 2)
        return grown(surface, chosen, ZONE_RINGS)

    most = LARGEST_ZONE * surface.n_panels
    low, high = 1, count + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if np.count_nonzero(zone(middle)) <= most else (low, middle)
    return zone(low)


def refinement_changes(units: UnitSolutions, finer: UnitSolutions, parents, streams) -> np.ndarray:
    """Change of Cp at the control points when part of the surface has finer panels.

    Parameters
    ----------
    units, finer : UnitSolutions on a surface and on what `surface.refining.refined` made of it
    parents : (n_finer_panels,) int, from `refined`
    streams : (n_streams, 3) float, m/s, not zero

    Returns
    -------
    (n_streams, n_panels) float, Cp on the finer panels less that before
    """
    operator = parent_operator(units.surface, finer.surface, parents)
    changes = []
    for stream in np.asarray(streams, dtype=float):
        before, after = (
            np.einsum("u,upd->pd", stream, solution.velocity[:3]) for solution in (units, finer)
        )
        gain = (before**2).sum(axis=1) - ((operator @ after) ** 2).sum(axis=1)
        changes.append(gain / (stream @ stream))
    return np.array(changes)


def refinement_check(units: UnitSolutions, changes) -> Fault:
    """Whether the pressure is settled: greatest |change| of Cp of each panel against its limit.

    Parameters
    ----------
    units : UnitSolutions
    changes : (n_streams, n_panels) float, from `refinement_changes`

    Notes
    -----
    Panels beside edges sharper than 60 deg are left out: at an edge that bulges outward the exact
    Cp is infinite, at a hollow one it may have an infinite slope, and every refinement changes it.
    Their changes are in `changes` all the same.
    """
    greatest = np.abs(changes).max(axis=0)
    values = np.where(beside_edges(units.surface), 0.0, greatest)
    return _panel_fault(units, CHANGE_KIND, CHANGE_LIMIT, values)


def beside_edges(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) bool: panels at an edge sharper than 60 deg; if it bulges, their neighbours too.

    Beside an edge of 90 deg that bulges, the exact Cp falls with the distance to the power -2/3:
    panels of the first two rows there never settle.
    """
    sharp = fold_angles(surface) > EDGE_ANGLE
    outward = surface.centroids[surface.edge_neighbours] - surface.centroids[:, None]
    bulging = sharp & (np.einsum("nkd,nd->nk", outward, surface.normals) < 0.0)
    return _touching(surface, sharp) | grown(surface, _touching(surface, bulging), 1)


def _touching(surface, edges) -> np.ndarray:
    """(n_panels,) bool: panels with a corner on one of the edges, (n_panels, 3) bool."""
    panel, side = np.nonzero(edges)
    on_edge = np.zeros(surface.n_vertices, dtype=bool)
    for end in (side, (side + 1) % 3):
        on_edge[surface.triangles[panel, end]] = True
    return on_edge[surface.triangles].any(axis=1)


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
    return fold_angles(surface).max(axis=1)


def fold_angles(surface) -> np.ndarray:
    """(n_panels, 3) float, deg: angle between a panel's normal and each neighbour's; 0 for none."""
    facing = np.einsum("nki,ni->nk", surface.normals[surface.edge_neighbours], surface.normals)
    angle = np.degrees(np.arccos(np.clip(facing, -1.0, 1.0)))
    return np.where(surface.edge_neighbours >= 0, angle, 0.0)


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
    count = int(np.count_nonzero(suspect))
    return Fault(kind, limit, float(values.max()), count, place, suspect, values)


def _whole_fault(units, kind, limit, value) -> Fault:
    nothing = np.zeros(units.surface.n_panels)
    return Fault(kind, limit, value, int(value > limit), "the whole body", nothing > 0.0, nothing)
