"""Which panels carry on one smooth skin, and gradients from the edge neighbours."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panelcp.surface.mesh import SurfaceMesh

SHARP_ANGLE = 40.0
"""Edges folded by more than this many degrees are sharp: nothing is carried across them."""


def smooth_neighbours(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels, 3) int: `edge_neighbours`, with -1 also across sharp edges."""
    neighbours = np.array(surface.edge_neighbours)
    facing = np.einsum("nki,ni->nk", surface.normals[neighbours], surface.normals)
    neighbours[facing < np.cos(np.radians(SHARP_ANGLE))] = -1
    return neighbours


def gradient_weights(points, normals, neighbours) -> np.ndarray:
    """Weights that turn differences to the edge neighbours into a gradient along the skin.

    Parameters
    ----------
    points : (n_panels, 3) float, m, where the values are known
    normals : (n_panels, 3) float, unit
    neighbours : (n_panels, 3) int, -1 where there is none

    Returns
    -------
    (n_panels, 3, 3) float, 1/m: gradient = sum over k of weights[:, k] (value_k - value)

    Notes
    -----
    Least squares over the at most three neighbours with weights 1/distance; the distance vector
    is laid into the tangent plane and stretched to the full length, so that a linear function of
    arc length is met on a curved skin. Singular values below 0.05 of the largest are dropped.
    Panels with fewer than two neighbours have no gradient.
    """
    found = neighbours >= 0
    step = points[neighbours] - points[:, None]
    length = np.linalg.norm(step, axis=2)
    normal = normals[:, None]
    flat = step - (step * normal).sum(axis=2, keepdims=True) * normal
    shadow = np.linalg.norm(flat, axis=2)
    usable = found & (shadow > 0.0)
    stretch = np.divide(length, shadow, out=np.zeros_like(length), where=usable)
    weight = np.divide(1.0, length, out=np.zeros_like(length), where=usable)
    inverse = np.linalg.pinv(flat * (stretch * weight)[:, :, None], rcond=0.05)
    weights = np.swapaxes(inverse, 1, 2) * weight[:, :, None]
    weights[usable.sum(axis=1) < 2] = 0.0
    return weights


def corner_groups(surface: SurfaceMesh) -> np.ndarray:
    """(3 n_panels,) int: corners of the same group share vertex, normal and value."""
    triangles, neighbours = surface.triangles, smooth_neighbours(surface)
    n = surface.n_panels
    panel, edge = np.nonzero(neighbours >= 0)
    other = neighbours[panel, edge]
    links = []
    for end in (edge, (edge + 1) % 3):
        vertex = triangles[panel, end]
        place = np.argmax(triangles[other] == vertex[:, None], axis=1)
        links.append((3 * panel + end, 3 * other + place))
    rows, columns = (np.concatenate(part) for part in zip(*links, strict=True))
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(3 * n, 3 * n))
    return connected_components(graph, directed=False)[1]
