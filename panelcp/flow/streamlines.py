"""Streamlines on the skin, and the points where they begin and end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import SurfaceMesh, frozen_array

ENDS = ("", "at rest", "full", "stuck", "length")
"""Why a line ended: at a stagnation point; no more room for points; where two panels push it
against their edge and nowhere along it; at the greatest length asked for."""

AT_REST = 0.02
"""Lines end where the speed falls below this part of the greatest."""

KINDS = ("attachment", "separation", "saddle")


@dataclass(frozen=True, eq=False)
class SkinVelocity:
    """Velocity over the skin in one condition, linear over every panel.

    Attributes
    ----------
    surface : SurfaceMesh
    corner : (n_panels, 3, 3) float, m/s, at the three corners of every panel; the same for panels
        that meet smoothly
    """

    surface: SurfaceMesh
    corner: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "corner", frozen_array(self.corner))

    @property
    def greatest(self) -> float:
        """m/s, of the speed at the corners, leaving out the fastest hundredth."""
        return float(np.quantile(np.linalg.norm(self.corner, axis=2), 0.99))

    def at(self, panels, weights) -> np.ndarray:
        """(n, 3) float, m/s, at barycentric coordinates (n, 3) of panels (n,)."""
        return np.einsum("nk,nki->ni", weights, self.corner[panels])


def skin_velocity(surface: SurfaceMesh, velocity, operator=None) -> SkinVelocity:
    """Velocity that is continuous over smooth edges.

    Parameters
    ----------
    surface : SurfaceMesh
    velocity : (n_panels, 3) float, m/s, at the control points, one condition of a SurfaceFlow
    operator : `corner_operator(surface)` where it is known already

    Returns
    -------
    SkinVelocity
    """
    velocity = np.asarray(velocity, dtype=float)
    if velocity.shape != (surface.n_panels, 3) or not np.isfinite(velocity).all():
        raise FlowError(
            f"velocity has shape {velocity.shape}; expected ({surface.n_panels}, 3) finite numbers"
        )
    operator = corner_operator(surface) if operator is None else operator
    return SkinVelocity(surface, (operator @ velocity).reshape(-1, 3, 3))


@dataclass(frozen=True, eq=False)
class Streamlines:
    """Lines along the skin, from their starts on.

    Attributes
    ----------
    points : (n_lines, n_points, 3) float, m; nan behind the end of a line
    panels : (n_lines, n_points) int, the panel of each point; -1 behind the end
    speed : (n_lines, n_points) float, m/s
    distance : (n_lines, n_points) float, m, along the line from its start
    spreading : (n_lines, n_points) float: width of a narrow strip between neighbouring lines,
        parts of that at the start
    count : (n_lines,) int, points of each line
    end : (n_lines,) int, index into ENDS
    """

    points: np.ndarray
    panels: np.ndarray
    speed: np.ndarray
    distance: np.ndarray
    spreading: np.ndarray
    count: np.ndarray
    end: np.ndarray

    def __post_init__(self):
        for name in ("points", "speed", "distance", "spreading"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        for name in ("panels", "count", "end"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))

    @property
    def n_lines(self) -> int:
        """Number of lines."""
        return len(self.count)

    @property
    def last_point(self) -> np.ndarray:
        """(n_lines, 3) float, m."""
        return self.points[np.arange(self.n_lines), self.count - 1]

    @property
    def reversed(self) -> Streamlines:
        """The same lines from their ends to their starts: what was traced back runs downstream."""
        order = self.count[:, None] - 1 - np.arange(self.speed.shape[1])
        inside, order = order >= 0, np.maximum(order, 0)
        rows = np.arange(self.n_lines)[:, None]

        def turned(values, empty=np.nan):
            return np.where(
                inside.reshape(*inside.shape, *(1,) * (values.ndim - 2)), values[rows, order], empty
            )

        total = self.distance[rows, self.count[:, None] - 1]
        width = self.spreading[rows, self.count[:, None] - 1]
        return Streamlines(
            points=turned(self.points),
            panels=turned(self.panels, -1),
            speed=turned(self.speed),
            distance=total - turned(self.distance),
            spreading=turned(self.spreading) / width,
            count=self.count,
            end=self.end,
        )


def trace(
    velocity: SkinVelocity,
    panels,
    points=None,
    *,
    upstream: bool = False,
    n_points: int | None = None,
    longest: float = np.inf,
) -> Streamlines:
    """Follow streamlines from points on the skin.

    Parameters
    ----------
    velocity : SkinVelocity
    panels : (n_lines,) int, the panels of the starts
    points : (n_lines, 3) float, m, the starts; the middles of the panels when not given
    upstream : True goes back against the flow
    n_points : greatest number of points of a line; from the number of panels when not given
    longest : m, lines end there

    Returns
    -------
    Streamlines

    Raises
    ------
    FlowError : panels that do not exist, starts of the wrong shape

    Notes
    -----
    Midpoint steps of at most half a panel in the linear velocity of each panel, cut at its edges,
    so that the lines are second-order accurate. Where two panels push a line against their
    common edge it goes along it. The spreading h follows from the divergence along the skin,
    ln(h U) = integral of div V dt.
    """
    from panelcp.flow.streamline_kernels import follow_all

    surface = velocity.surface
    panels = np.array(panels, dtype=np.int64).ravel()
    if len(panels) and not (panels.min() >= 0 and panels.max() < surface.n_panels):
        raise FlowError(
            f"a streamline starts on a panel that is not among the {surface.n_panels} of the "
            "surface"
        )
    weights = _start_weights(surface, panels, points)
    n = len(panels)
    n_points = int(100 + 4 * np.sqrt(surface.n_panels)) if n_points is None else n_points
    found = {
        "points": np.full((n, n_points, 3), np.nan),
        "panels": np.full((n, n_points), -1, dtype=np.int64),
        "speeds": np.full((n, n_points), np.nan),
        "distances": np.full((n, n_points), np.nan),
        "growth": np.full((n, n_points), np.nan),
    }
    counts, ends = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    follow_all(
        *line_geometry(surface),
        np.array(velocity.corner),
        panels,
        weights,
        -1.0 if upstream else 1.0,
        AT_REST * velocity.greatest,
        float(longest),
        *found.values(),
        counts,
        ends,
    )
    grown = (-1.0 if upstream else 1.0) * found["growth"]
    speed = found["speeds"]
    return Streamlines(
        points=found["points"],
        panels=found["panels"],
        speed=speed,
        distance=found["distances"],
        spreading=_spreading(grown, speed),
        count=counts,
        end=ends,
    )


def _spreading(grown, speed) -> np.ndarray:
    """Width of the strips from ln(h U); 1 at rest, where no line leads on; nan behind the ends."""
    width = np.where(np.isnan(speed), np.nan, 1.0)
    flowing = (speed > 0.0) & (speed[:, :1] > 0.0)
    return np.divide(np.exp(grown) * speed[:, :1], speed, out=width, where=flowing)


def line_geometry(surface: SurfaceMesh):
    """Writable arrays: vertices, triangles, neighbours, normals, gradients, sizes."""
    corners, normals = surface.corners, surface.normals
    edges = np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    # the gradient of coordinate k is normal x (edge opposite to corner k) / (2 area)
    gradients = np.cross(normals[:, None], edges) / (2.0 * surface.areas[:, None, None])
    return (
        np.array(surface.vertices),
        np.array(surface.triangles),
        np.array(surface.edge_neighbours),
        np.array(normals),
        gradients,
        np.sqrt(surface.areas),
    )


def _start_weights(surface: SurfaceMesh, panels, points) -> np.ndarray:
    """(n, 3) float: barycentric coordinates of the starts."""
    if points is None:
        return np.full((len(panels), 3), 1.0 / 3.0)
    points = np.asarray(points, dtype=float)
    if points.shape != (len(panels), 3) or not np.isfinite(points).all():
        raise FlowError(
            f"the starts have shape {points.shape}; expected ({len(panels)}, 3) finite numbers"
        )
    a, b, c = np.moveaxis(surface.corners[panels], 1, 0)
    u, v, w = b - a, c - a, points - a
    uu, uv, vv = ((p * q).sum(axis=1) for p, q in ((u, u), (u, v), (v, v)))
    wu, wv = (w * u).sum(axis=1), (w * v).sum(axis=1)
    area = uu * vv - uv * uv
    second, third = (wu * vv - wv * uv) / area, (wv * uu - wu * uv) / area
    weights = np.maximum(np.stack([1.0 - second - third, second, third], axis=1), 0.0)
    return weights / weights.sum(axis=1, keepdims=True)


@dataclass(frozen=True, eq=False)
class StagnationPoints:
    """Places where the velocity along the skin vanishes.

    Attributes
    ----------
    points : (n, 3) float, m
    panels : (n,) int
    kind : (n,) of KINDS: "attachment" where lines begin, "separation" where they end, "saddle"
    """

    points: np.ndarray
    panels: np.ndarray
    kind: tuple[str, ...]

    def __post_init__(self):
        object.__setattr__(self, "points", frozen_array(self.points))
        object.__setattr__(self, "panels", frozen_array(self.panels, np.int64))


def stagnation_points(velocity: SkinVelocity) -> StagnationPoints:
    """Find the stagnation points inside the panels.

    Parameters
    ----------
    velocity : SkinVelocity

    Returns
    -------
    StagnationPoints

    Notes
    -----
    The velocity along a panel is linear in the barycentric coordinates b, their rates are M b with
    M_ij = grad b_i . v_j; the point is the b with M b = 0 and sum 1, if it lies inside. The kind
    follows from trace and determinant of the rates along the skin. On sharp edges, where the
    velocity jumps, none are found.
    """
    surface = velocity.surface
    gradients = line_geometry(surface)[4]
    rates = np.einsum("nik,njk->nij", gradients, velocity.corner)
    matrix = rates.copy()
    matrix[:, 2] = 1.0
    solvable = np.abs(np.linalg.det(matrix)) > 0.0
    weights = np.full((surface.n_panels, 3), np.nan)
    right = np.tile([0.0, 0.0, 1.0], (int(solvable.sum()), 1))[:, :, None]
    weights[solvable] = np.linalg.solve(matrix[solvable], right)[:, :, 0]
    inside = np.flatnonzero((weights >= -1e-12).all(axis=1))
    spread = np.trace(rates[inside], axis1=1, axis2=2)
    turn = _second_invariant(rates[inside])
    kinds = np.where(turn < 0.0, 2, np.where(spread > 0.0, 0, 1))
    points = np.einsum("nk,nki->ni", weights[inside], surface.corners[inside])
    return StagnationPoints(points, inside, tuple(KINDS[kind] for kind in kinds))


def _second_invariant(rates) -> np.ndarray:
    """Product of the two rates along the panel: sum of the principal minors of M."""
    total = np.zeros(len(rates))
    for i, j in ((0, 1), (0, 2), (1, 2)):
        total += rates[:, i, i] * rates[:, j, j] - rates[:, i, j] * rates[:, j, i]
    return total
