"""Panels brought to good shape again after their vertices were moved."""

from __future__ import annotations

import numpy as np

from panelcp.surface.panelling_lines import build_chains
from panelcp.surface.panelling_start import (
    SHARP,
    build_tree,
    compacted,
    facet_normals,
    vertex_normals,
    visible,
)

POOR = np.radians(24.0)
"""Panels with a smaller least angle are mended."""

CREASED = np.radians(12.0)
"""Sharp edges of panels with a smaller angle are not kept."""

SWEEPS = 12
"""So often all thin panels are looked at."""


def mended_panels(skin, shown, vertices, names):
    """Thin panels mended where vertices lie now: edges turned, vertices moved along the panels.

    Parameters
    ----------
    skin : Skin, compact
    shown : (n,) int, its vertices that are shown
    vertices : (n, 3) float, m, where these lie now
    names : (n_chains,) int, names of the kept lines

    Returns
    -------
    Skin, compact, and names of its kept lines
    """
    from panelcp.surface.panelling_kernels import mend_shapes

    skin, chains, tree, names = _laid_anew(skin, shown, vertices, names)
    mend_shapes(skin, chains, tree, POOR, SWEEPS)
    return compacted(skin), names


def as_arrays(skin):
    """Vertices of the skin that are shown, their places, m, and triangles between them."""
    shown, triangles = visible(skin)
    index = np.full(len(skin.out), -1)
    index[shown] = np.arange(len(shown))
    return shown, skin.points[shown], index[triangles]


def on_sharp_edges(skin, names) -> np.ndarray:
    """(n,) bool: vertices of the skin from which a chain of sharp edges leads away."""
    found = np.zeros(len(skin.points), dtype=bool)
    edges = np.flatnonzero((skin.chain >= 0) & (skin.start >= 0))
    found[skin.start[edges[names[skin.chain[edges]] == SHARP]]] = True
    return found


def _laid_anew(skin, shown, vertices, names):
    """Skin, chains and tree as if these panels were the surface that was given."""
    points, chain = skin.points.copy(), skin.chain.copy()
    points[shown] = vertices
    kept = chain >= 0
    chain[kept] = names[chain[kept]]
    skin = skin._replace(points=points, chain=chain, normal=np.zeros_like(points))
    _drop_creases(skin)
    _, triangles = visible(skin)
    facing, areas = facet_normals(points, triangles)
    corners = corner_normals(skin, triangles, facing, areas)
    tree, _ = build_tree(points[triangles], facing, corners)
    skin.normal[:] = vertex_normals(triangles, facing, areas, len(points))
    scale = 0.5 * float(np.median(np.sqrt(areas)))
    chains, names = build_chains(skin, scale)
    skin.normal[skin.kind > 0] = 0.0
    return skin, chains, tree, names


def _drop_creases(skin):
    """Unmark sharp edges of very thin panels: creases of what was folded."""
    corners = skin.points[skin.start.reshape(-1, 3)]
    sides = np.roll(corners, -1, axis=1) - corners
    area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    lengths = np.sort(np.linalg.norm(sides, axis=2), axis=1)
    thin = np.repeat(area < np.sin(CREASED) * lengths[:, 1] * lengths[:, 2], 3)
    edges = np.flatnonzero(thin & (skin.chain == SHARP))
    skin.chain[edges] = skin.chain[skin.twin[edges]] = -1


def corner_normals(skin, triangles, facing, areas) -> np.ndarray:
    """(m, 3, 3): normals at the corners; on sharp edges those of the triangle."""
    n = len(skin.points)
    sharp = np.zeros(n, dtype=bool)
    sharp[skin.start[np.flatnonzero(skin.chain == SHARP)]] = True
    normals = vertex_normals(triangles, facing, areas, n)[triangles]
    on_edge = sharp[triangles]
    normals[on_edge] = np.repeat(facing[:, None], 3, axis=1)[on_edge]
    return normals
