"""Values between the control points: at points on the skin and at the corners of panels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array

from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import corner_groups

LEAST_POINTS = 8
"""A quadratic fit at a vertex wants at least so many control points."""

WORST_CONDITION = 1e7
"""Fits with a worse condition number of the normal equations are not used."""

MOST_GAIN = 8.0
"""Nor are fits whose weights, without sign, add up to more than this somewhere round the vertex.

On even panels they add up to 2 to 4. Where the control points lie near one conic, as on both sides
of a centre line, a fit may carry a small difference of theirs up to any value."""

LOOKED_AT = 1.3
"""The ring round the vertex has so many times the scatter of the control points as half axes."""

RING = tuple((np.cos(angle), np.sin(angle)) for angle in 0.25 * np.pi * np.arange(8))


def point_operator(surface: SurfaceMesh, points, panels) -> csr_array:
    """Matrix that takes panel values to values at points on given panels.

    Parameters
    ----------
    surface : SurfaceMesh
    points : (n_points, 3) float, m
    panels : (n_points,) int, the panel each point lies on

    Returns
    -------
    (n_points, n_panels) sparse array

    Notes
    -----
    The quadratic fits at the three corners of the panel (see `corner_operator`), each taken at the
    point and weighted with its barycentric coordinate; what this leaves at the control point is
    added with the product of the three coordinates, one there and zero on the edges. Continuous
    over smooth edges, third-order accurate where the skin is smooth. A corner without a fit gives
    the linear value of the panel, f_j + g_j . (x - x_j), x_j the control point, g_j the gradient
    from the edge neighbours.
    """
    points, panels = np.asarray(points, dtype=float), np.asarray(panels, dtype=np.int64)
    if len(points) == 0:
        return csr_array((0, surface.n_panels))
    used, compact = np.unique(corner_groups(surface).reshape(-1, 3)[panels], return_inverse=True)
    fits, groups = _vertex_fits(surface, used), compact.reshape(-1, 3)
    operator, share = _blended(surface, fits, groups, points, panels)
    controls = curved_panels(surface).points[panels]
    there, middle = _blended(surface, fits, groups, controls, panels)
    own = csr_array((np.ones(len(panels)), panels, np.arange(len(panels) + 1)), shape=there.shape)
    bubble = share.prod(axis=1) / middle.prod(axis=1)
    return csr_array(operator + diags_array(bubble) @ (own - there))


def _blended(surface: SurfaceMesh, fits: _VertexFits, groups, points, panels):
    """Fits at three corners weighted with barycentric coordinates; these coordinates."""
    share = _barycentric(surface.corners[panels], points)
    trusted = share * fits.good[groups]
    operator = diags_array(1.0 - trusted.sum(axis=1)) @ _linear_rows(surface, points, panels)
    for k in range(3):
        operator = operator + diags_array(trusted[:, k]) @ fits.rows(groups[:, k], points)
    return operator, share


def _linear_rows(surface: SurfaceMesh, points, panels) -> csr_array:
    """(n_points, n_panels): linear on each panel."""
    curved = curved_panels(surface)
    offset = points - curved.points[panels]
    normal = curved.normals[panels]
    offset = offset - (offset * normal).sum(axis=1, keepdims=True) * normal
    share = np.einsum("pki,pi->pk", curved.stencil[panels], offset)
    rows = np.repeat(np.arange(len(points)), 4)
    neighbours = np.maximum(curved.neighbours[panels], 0)
    columns = np.hstack([panels[:, None], neighbours]).ravel()
    values = np.hstack([1.0 - share.sum(axis=1, keepdims=True), share]).ravel()
    return coo_array((values, (rows, columns)), shape=(len(points), surface.n_panels)).tocsr()


def _barycentric(corners, points) -> np.ndarray:
    """(n, 3) float: coordinates of points over their flat triangles, at least 0, sum 1."""
    a, b, c = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    aa, ab, bb = ((u * v).sum(axis=1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=1), (c * b).sum(axis=1)
    second, third = ca * bb - cb * ab, cb * aa - ca * ab
    area = aa * bb - ab * ab
    share = np.maximum(np.stack([area - second - third, second, third], axis=1), 0.0)
    return share / share.sum(axis=1, keepdims=True)


def corner_operator(surface: SurfaceMesh) -> csr_array:
    """Matrix that takes panel values to values at the three corners of every panel.

    Panels that meet at a vertex and are joined by smooth edges there get the same value; across
    sharp edges the values differ.

    Parameters
    ----------
    surface : SurfaceMesh

    Returns
    -------
    (3 n_panels, n_panels) sparse array; row 3 j + k is corner k of panel j

    Notes
    -----
    Quadratic least-squares fit, weights 1/distance, through the control points of the panels at
    the corner and of their edge neighbours; where there are too few, the mean of the linear
    values of the panels at the corner.
    """
    groups = corner_groups(surface)
    n_groups = int(groups.max()) + 1
    fits = _vertex_fits(surface, np.arange(n_groups))
    vertex = np.empty((n_groups, 3))
    vertex[groups] = surface.corners.reshape(-1, 3)
    fitted = fits.rows(np.arange(n_groups), vertex)
    mean = _mean_rows(surface, groups)
    good = fits.good
    rows = diags_array(good.astype(float)) @ fitted + diags_array((~good).astype(float)) @ mean
    return csr_array(rows.tocsr()[groups])


def _mean_rows(surface: SurfaceMesh, groups) -> csr_array:
    """(n_groups, n_panels): mean of the linear values of the panels at each corner group."""
    n = surface.n_panels
    panels = np.repeat(np.arange(n), 3)
    own = _linear_rows(surface, surface.corners.reshape(-1, 3), panels)
    counts = np.bincount(groups)
    shape = (len(counts), 3 * n)
    return coo_array((1.0 / counts[groups], (groups, np.arange(3 * n))), shape=shape).tocsr() @ own


@dataclass(frozen=True, eq=False)
class _VertexFits:
    """Quadratic surfaces through the control points near some corner groups.

    Attributes
    ----------
    near : (n_fits, n_panels) sparse, the panels of each fit
    weighted : (n_entries, 6) terms of every panel of a fit, times its weight
    inverse : (n_fits, 6, 6) of the normal equations
    origin, first, second, scale : vertex, tangent axes and length of each fit
    good : (n_fits,) bool, False where there are too few points, or nearly on one line
    """

    near: csr_array
    weighted: np.ndarray
    inverse: np.ndarray
    origin: np.ndarray
    first: np.ndarray
    second: np.ndarray
    scale: np.ndarray
    good: np.ndarray

    def rows(self, fits, points) -> csr_array:
        """(n_points, n_panels): values of the given fits at points, one fit for each."""
        step = points - self.origin[fits]
        offset = _flattened(step, self.first[fits], self.second[fits], self.scale[fits])
        solution = np.einsum("nij,nj->ni", self.inverse[fits], _terms(offset))
        counts = np.diff(self.near.indptr)[fits]
        starts = np.concatenate([[0], np.cumsum(counts)])
        row = np.repeat(np.arange(len(points)), counts)
        entry = np.arange(starts[-1]) - starts[row] + self.near.indptr[np.asarray(fits)[row]]
        values = (self.weighted[entry] * solution[row]).sum(axis=1)
        shape = (len(points), self.near.shape[1])
        return csr_array((values, self.near.indices[entry], starts), shape=shape)


def _vertex_fits(surface: SurfaceMesh, chosen) -> _VertexFits:
    """Fits of the chosen corner groups."""
    curved, groups = curved_panels(surface), corner_groups(surface)
    n_groups = int(groups.max()) + 1
    vertex = np.empty((n_groups, 3))
    vertex[groups] = surface.corners.reshape(-1, 3)
    near = csr_array(_panels_near(curved.neighbours, groups, n_groups)[chosen])
    counts, origin = np.diff(near.indptr), vertex[chosen]
    rows = np.repeat(np.arange(len(chosen)), counts)
    first, second = _tangent_axes(curved.normals[near.indices], rows, len(chosen))
    step = curved.points[near.indices] - origin[rows]
    length = np.linalg.norm(step, axis=1)
    scale = np.bincount(rows, length, len(chosen)) / np.maximum(counts, 1)
    offset = _flattened(step, first[rows], second[rows], scale[rows])
    terms, weight = _terms(offset), scale[rows] / length
    padded = np.zeros((len(chosen), counts.max(), 6))
    padded[rows, np.arange(len(rows)) - near.indptr[rows]] = terms * np.sqrt(weight)[:, None]
    matrix = np.swapaxes(padded, 1, 2) @ padded
    good = (counts >= LEAST_POINTS) & (np.linalg.cond(matrix) < WORST_CONDITION)
    matrix[~good] = np.eye(6)
    inverse, weighted = np.linalg.inv(matrix), terms * weight[:, None]
    good &= _gain(weighted, inverse, offset, rows, len(chosen)) < MOST_GAIN
    return _VertexFits(near, weighted, inverse, origin, first, second, scale, good)


def _gain(weighted, inverse, offset, rows, n: int) -> np.ndarray:
    """(n,) float: greatest sum of the weights' sizes of each fit at its vertex and on a ring.

    The ring is an ellipse as long and wide as the control points lie scattered.
    """
    counts = np.bincount(rows, minlength=n)
    spread = np.empty((n, 2, 2))
    for i, k in ((0, 0), (0, 1), (1, 0), (1, 1)):
        spread[:, i, k] = np.bincount(rows, offset[:, i] * offset[:, k], n) / np.maximum(counts, 1)
    size, axes = np.linalg.eigh(spread)
    half = LOOKED_AT * np.sqrt(2.0 * np.maximum(size, 0.0))
    greatest = np.zeros(n)
    for x, y in [(0.0, 0.0), *RING]:
        place = axes[:, :, 0] * (x * half[:, :1]) + axes[:, :, 1] * (y * half[:, 1:])
        solution = np.einsum("nij,nj->ni", inverse, _terms(place))
        values = np.abs((weighted * solution[rows]).sum(axis=1))
        greatest = np.maximum(greatest, np.bincount(rows, values, n))
    return greatest


def _terms(offset) -> np.ndarray:
    x, y = offset.T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def _panels_near(neighbours, groups, n_groups) -> csr_array:
    """(n_groups, n_panels): panels at each corner group and their edge neighbours."""
    n = len(neighbours)
    at = coo_array((np.ones(3 * n), (groups, np.repeat(np.arange(n), 3))), shape=(n_groups, n))
    panel, edge = np.nonzero(neighbours >= 0)
    beside = coo_array((np.ones(len(panel)), (panel, neighbours[panel, edge])), shape=(n, n))
    near = csr_array(at.tocsr() + at.tocsr() @ beside.tocsr())
    near.sort_indices()
    return near


def _tangent_axes(normals, rows, n) -> tuple[np.ndarray, np.ndarray]:
    """Two unit axes (n, 3) across the mean normal of every group of rows."""
    mean = np.stack([np.bincount(rows, normals[:, k], n) for k in range(3)], axis=1)
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    axis = np.eye(3)[np.argmin(np.abs(mean), axis=1)]
    first = np.cross(mean, axis)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    return first, np.cross(mean, first)


def _flattened(step, first, second, scale) -> np.ndarray:
    """(n, 2) offsets in the tangent plane, stretched to the full distance, parts of `scale`."""
    flat = np.stack([(step * first).sum(axis=1), (step * second).sum(axis=1)], axis=1)
    shadow = np.maximum(np.linalg.norm(flat, axis=1), 1e-300)
    return flat * (np.linalg.norm(step, axis=1) / shadow / scale)[:, None]
