"""Values between the control points: at points on the skin and at the corners of panels."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array

from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import corner_groups

LEAST_POINTS = 8
"""A quadratic fit at a vertex wants at least so many control points."""

WORST_CONDITION = 1e7
"""Fits with a worse condition number of the normal equations are not used."""


def point_operator(surface: SurfaceMesh, points, panels) -> csr_array:
    """Matrix that takes panel values to values at points on given panels, linear on each panel.

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
    value = f_j + g_j . (x - x_j), x_j the control point, g_j the gradient from the edge
    neighbours. Exact for a constant; second-order accurate where the skin is smooth.
    """
    points, panels = np.asarray(points, dtype=float), np.asarray(panels)
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
    fitted, good = _fitted_rows(surface, groups)
    mean = _mean_rows(surface, groups)
    rows = diags_array(good.astype(float)) @ fitted + diags_array((~good).astype(float)) @ mean
    return csr_array(rows.tocsr()[groups])


def _mean_rows(surface: SurfaceMesh, groups) -> csr_array:
    """(n_groups, n_panels): mean of the linear values of the panels at each corner group."""
    n = surface.n_panels
    panels = np.repeat(np.arange(n), 3)
    own = point_operator(surface, surface.corners.reshape(-1, 3), panels)
    counts = np.bincount(groups)
    shape = (len(counts), 3 * n)
    return coo_array((1.0 / counts[groups], (groups, np.arange(3 * n))), shape=shape).tocsr() @ own


def _fitted_rows(surface: SurfaceMesh, groups) -> tuple[csr_array, np.ndarray]:
    """(n_groups, n_panels) weights of the quadratic fit, and which rows are usable."""
    curved, n = curved_panels(surface), surface.n_panels
    n_groups = int(groups.max()) + 1
    near = _panels_near(curved.neighbours, groups, n_groups)
    counts = np.diff(near.indptr)
    rows = np.repeat(np.arange(n_groups), counts)
    place = np.arange(len(rows)) - near.indptr[rows]
    vertex = np.empty((n_groups, 3))
    vertex[groups] = surface.corners.reshape(-1, 3)
    offset, weight = _tangent_offsets(curved, vertex, near.indices, rows, n_groups)
    x, y = offset.T
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    padded = np.zeros((n_groups, counts.max(), 6))
    padded[rows, place] = terms * np.sqrt(weight)[:, None]
    normal_matrix = np.swapaxes(padded, 1, 2) @ padded
    condition = np.linalg.cond(normal_matrix)
    good = (counts >= LEAST_POINTS) & (condition < WORST_CONDITION)
    normal_matrix[~good] = np.eye(6)
    first = np.linalg.solve(normal_matrix, np.broadcast_to(np.eye(6)[:, :1], (n_groups, 6, 1)))
    values = weight * (terms * first[rows, :, 0]).sum(axis=1)
    return csr_array((values, near.indices, near.indptr), shape=(n_groups, n)), good


def _panels_near(neighbours, groups, n_groups) -> csr_array:
    """(n_groups, n_panels): panels at each corner group and their edge neighbours."""
    n = len(neighbours)
    at = coo_array((np.ones(3 * n), (groups, np.repeat(np.arange(n), 3))), shape=(n_groups, n))
    panel, edge = np.nonzero(neighbours >= 0)
    beside = coo_array((np.ones(len(panel)), (panel, neighbours[panel, edge])), shape=(n, n))
    near = csr_array(at.tocsr() + at.tocsr() @ beside.tocsr())
    near.sort_indices()
    return near


def _tangent_offsets(curved, vertex, panels, rows, n_groups):
    """Offsets (n, 2) of control points in the tangent plane at each vertex, and weights.

    Stretched to the full distance and divided by the mean distance of the group.
    """
    normals = curved.normals[panels]
    mean = np.stack([np.bincount(rows, normals[:, k], n_groups) for k in range(3)], axis=1)
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    axis = np.eye(3)[np.argmin(np.abs(mean), axis=1)]
    first = np.cross(mean, axis)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    second = np.cross(mean, first)
    step = curved.points[panels] - vertex[rows]
    flat = np.stack([(step * first[rows]).sum(axis=1), (step * second[rows]).sum(axis=1)], axis=1)
    length = np.linalg.norm(step, axis=1)
    shadow = np.maximum(np.linalg.norm(flat, axis=1), 1e-300)
    scale = (np.bincount(rows, length, n_groups) / np.bincount(rows, minlength=n_groups))[rows]
    return flat * (length / shadow / scale)[:, None], scale / length
