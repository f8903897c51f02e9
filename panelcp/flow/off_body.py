"""Velocity and pressure in the air beside the body, for rakes and streamlines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import FlowError
from panelcp.flow.superposition import (
    refuse_streams_into_the_ground,
    unit_weights,
    wetting_share,
)
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.surroundings import Onset, Surroundings
from panelcp.panels.influence import FINE_DIVISIONS, InducedVelocity
from panelcp.panels.solving import UnitSolutions
from panelcp.surface.curved import area_vectors, evaluate
from panelcp.surface.interpolation import point_operator
from panelcp.surface.repair import format_place

REACH = 0.5
"""Nearer to a smooth skin than this many panel sizes the velocity is interpolated along the normal:
from the skin, and from once and twice this height. Where panels meet the density has small jumps,
by which the velocity itself errs there as the logarithm of the distance."""

CANDIDATES = 12
"""Panels looked at for the nearest place of the skin."""

ON_SKIN = 0.05
"""Points less than this many panel sizes below the skin count as on it."""


def velocity_at(
    units: UnitSolutions,
    conditions: Sequence[FlightCondition],
    points,
    surroundings: Surroundings | None = None,
) -> np.ndarray:
    """Velocity in the air, also close to the skin and on it.

    Parameters
    ----------
    units : UnitSolutions
    conditions : one or more FlightCondition
    points : (n_points, 3) float, m, outside the body
    surroundings : propeller and wing, whose onset fields must be among the units; none if left out

    Returns
    -------
    (n_conditions, n_points, 3) float, m/s

    Raises
    ------
    FlowError : points that are not finite, of wrong shape, inside the body, under the ground, or
        on a sharp edge; a stream into the ground
    """
    return _velocity(units, (surroundings or Surroundings()).onset(conditions), points)


def _velocity(units: UnitSolutions, onset: Onset, points) -> np.ndarray:
    points = np.asarray(points, dtype=float)
    if points.ndim != 2 or points.shape[1] != 3 or not np.isfinite(points).all():
        raise FlowError(f"points has shape {points.shape}; expected (n_points, 3) finite numbers")
    refuse_streams_into_the_ground(units, onset.conditions)
    panel, normal, height = _feet(units, points)
    size = np.sqrt(units.panels.areas[panel])
    _refuse_inside(units, points, height < -ON_SKIN * size)
    _refuse_underground(units, points)
    weights = unit_weights(units, onset, {})
    smooth = (units.panels.neighbours[panel] >= 0).all(axis=1)
    near = smooth & (height < REACH * size)
    velocity = np.empty((len(weights), len(points), 3))
    velocity[:, ~near] = _in_the_air(units, onset, weights, points[~near])
    velocity[:, near] = _near_the_skin(
        *(units, onset, weights, points[near], panel[near], normal[near]),
        np.maximum(height[near] / (REACH * size[near]), 0.0),
    )
    _refuse_edges(points, velocity)
    return velocity


def gauge_pressure_at(
    units: UnitSolutions,
    conditions: Sequence[FlightCondition],
    points,
    surroundings: Surroundings | None = None,
) -> np.ndarray:
    """(n_conditions, n_points) float, Pa: gauge pressure in the air, see `velocity_at`."""
    onset = (surroundings or Surroundings()).onset(conditions)
    velocity = _velocity(units, onset, points)
    upper, lower = onset.heads(np.asarray(points, dtype=float), units.surface)
    kinetic = 0.5 * onset.density[:, None] * (velocity**2).sum(axis=2)
    return wetting_share(upper, lower, onset.mean_rise[:, None]) * (upper - kinetic)


def _in_the_air(units: UnitSolutions, onset: Onset, weights, points) -> np.ndarray:
    """(n_conditions, n_points, 3) m/s: sum of all panels and of what the air brings."""
    if len(points) == 0:
        return np.zeros((len(weights), 0, 3))
    panels = units.all_panels
    copies = len(panels.areas) // units.surface.n_panels
    strengths = np.tile(weights @ units.source_strength, copies)
    operator = InducedVelocity(panels, points, tolerance=None, divisions=FINE_DIVISIONS)
    fields = np.einsum("cu,upd->cpd", onset.weights, onset.velocity(points))
    return operator.apply(strengths) + onset.streams[:, None, :] + fields


def _near_the_skin(units, onset, weights, points, panel, normal, share) -> np.ndarray:
    """Parabola along the normal: `share` is the height, parts of REACH panel sizes."""
    if len(points) == 0:
        return np.zeros((len(weights), 0, 3))
    step = (REACH * np.sqrt(units.panels.areas[panel]))[:, None] * normal
    foot = points - share[:, None] * step
    skin = point_operator(units.surface, foot, panel)
    at_skin = np.einsum("cu,upd->cpd", weights, units.velocity)
    at_skin = np.stack([skin @ values for values in at_skin])
    first, second = (_in_the_air(units, onset, weights, foot + k * step) for k in (1.0, 2.0))
    t = share[None, :, None]
    return (
        0.5 * (t - 1.0) * (t - 2.0) * at_skin + t * (2.0 - t) * first + 0.5 * t * (t - 1.0) * second
    )


def _feet(units: UnitSolutions, points):
    """Nearest panel, unit normal of its patch at the foot, and height (m) above the patch."""
    from trimesh.triangles import closest_point

    n_near = min(CANDIDATES, units.surface.n_panels)
    near = cKDTree(units.panels.points).query(points, k=n_near)[1].reshape(len(points), -1)
    corners = units.surface.corners[near].reshape(-1, 3, 3)
    feet = closest_point(corners, np.repeat(points, n_near, axis=0)).reshape(-1, n_near, 3)
    best = np.linalg.norm(feet - points[:, None], axis=2).argmin(axis=1)
    rows = np.arange(len(points))
    panel, foot = near[rows, best], feet[rows, best]
    xi, eta = _parameters(units.surface.corners[panel], foot)
    patches = units.panels.coefficients[panel]
    normal = area_vectors(patches, xi, eta)
    normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    height = ((points - evaluate(patches, xi, eta)) * normal).sum(axis=1)
    return panel, normal, height


def _parameters(corners, foot) -> tuple[np.ndarray, np.ndarray]:
    """Parameters (xi, eta) of points on flat triangles."""
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    c = foot - corners[:, 0]
    aa, ab, bb = ((u * v).sum(axis=1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=1), (c * b).sum(axis=1)
    scale = aa * bb - ab * ab
    return (ca * bb - cb * ab) / scale, (cb * aa - ca * ab) / scale


def _refuse_inside(units: UnitSolutions, points, suspects):
    """Points below their nearest panel are inside where the skin goes round them once."""
    inside = np.flatnonzero(suspects)
    inside = inside[[_winding(units.surface.corners, points[k]) > 0.5 for k in inside]]
    if len(inside):
        raise FlowError(
            f"{len(inside)} of {len(points)} points lie inside the body (first at "
            f"{format_place(points[inside[0]])}); there is no outer flow there: move them outward"
        )


def _winding(corners, point) -> float:
    """How often the skin goes round a point: solid angle over 4 pi.

    Source: A. van Oosterom, J. Strackee, The solid angle of a plane triangle, IEEE Trans. Biomed.
    Eng. BME-30 (1983) 125-126 (from memory; tested inside and outside).
    """
    a, b, c = np.moveaxis(corners - point, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    volume = (a * np.cross(b, c)).sum(axis=1)
    base = la * lb * lc + (a * b).sum(axis=1) * lc
    base += (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
    return float(np.arctan2(volume, base).sum() / (2.0 * np.pi))


def _refuse_underground(units: UnitSolutions, points):
    if units.ground is None:
        return
    low = np.flatnonzero(units.ground.height(points) < 0.0)
    if len(low):
        raise FlowError(
            f"{len(low)} of {len(points)} points lie under the ground (first at "
            f"{format_place(points[low[0]])}); move them up"
        )


def _refuse_edges(points, velocity):
    wrong = np.flatnonzero(~np.isfinite(velocity).all(axis=(0, 2)))
    if len(wrong):
        raise FlowError(
            f"{len(wrong)} of {len(points)} points lie on a sharp edge of the skin (first at "
            f"{format_place(points[wrong[0]])}), where the velocity is not bounded; move them a "
            "little outward"
        )
