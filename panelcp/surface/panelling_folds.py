"""Small folds of a scan taken out of its panels."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, diags_array

from panelcp.surface.crossings import meeting_pairs
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import format_place

THIN = np.radians(12.0)
"""Panels with a smaller angle are taken for parts of a fold."""

FOLDED = np.cos(np.radians(80.0))
"""Neighbours that turn by more than this lie in a fold."""

RINGS = 2
STEPS = 40
ROUNDS = 6


def without_folds(vertices, triangles, plane) -> tuple[np.ndarray, list[str]]:
    """Vertices in and round folds drawn to the means of their neighbours until the folds are gone.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, panels that cross, are very thin or turn back on their neighbours are
        the folds
    plane : (n,) bool, vertices on the plane of symmetry, which keep y = 0

    Returns
    -------
    vertices : moved copy
    note : list with a line that says how many, how far and where, or empty
    """
    moved, links = vertices.copy(), _links(triangles, len(vertices))
    for growth in range(ROUNDS):
        bad = _folded(moved, triangles)
        if not bad.any():
            break
        free = np.zeros(len(vertices), dtype=bool)
        free[triangles[bad].ravel()] = True
        for _ in range(RINGS + growth):
            free |= (links @ free.astype(float)) > 0.0
        weights = diags_array(1.0 / np.maximum(links.sum(axis=1), 1.0)) @ links
        for _ in range(STEPS):
            means = (weights @ moved)[free]
            means[plane[free], 1] = 0.0
            moved[free] = means
    far = np.linalg.norm(moved - vertices, axis=1)
    if not far.any():
        return vertices, []
    return moved, [
        f"small folds smoothed out of the panels: {np.count_nonzero(far)} of {len(far)} points "
        f"moved, by up to {far.max() * 1e3:.1f} mm, most near "
        f"{format_place(vertices[int(far.argmax())])}"
    ]


def _links(triangles, n: int):
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    both = np.concatenate([ends, ends[:, ::-1]])
    links = coo_array((np.ones(len(both)), both.T), shape=(n, n)).tocsr()
    links.data[:] = 1.0
    return links


def _folded(vertices, triangles) -> np.ndarray:
    """(m,) bool: panels that belong to a fold."""
    corners = vertices[triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    lengths = np.sort(np.linalg.norm(sides, axis=2), axis=1)
    doubled = np.cross(sides[:, 0], sides[:, 1])
    area = np.linalg.norm(doubled, axis=1)
    bad = area < np.sin(THIN) * lengths[:, 1] * lengths[:, 2]
    normals = doubled / np.maximum(area, 1e-300)[:, None]
    other = SurfaceMesh(vertices, triangles).edge_neighbours
    facing = np.einsum("nki,ni->nk", normals[np.maximum(other, 0)], normals)
    bad |= ((facing < FOLDED) & (other >= 0)).any(axis=1)
    bad[meeting_pairs(vertices, triangles)[0].ravel()] = True
    return bad
