"""Small folds of a scan taken out of its panels."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, diags_array

from panelcp.surface.crossings import meeting_pairs
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.panelling_shapes import as_arrays, mended_panels, on_sharp_edges
from panelcp.surface.panelling_start import build_tree, facet_normals
from panelcp.surface.repair import format_place

THIN = np.radians(12.0)
"""Panels with a smaller angle are taken for parts of a fold."""

FOLDED = np.cos(np.radians(80.0))
"""Neighbours that turn by more than this lie in a fold."""

RINGS, STEPS, ROUNDS = 1, 15, 8
"""Rings of neighbours moved in the first round (one more in each), steps to the mean, rounds."""

FAR = 0.005
"""m: the user is warned when points move farther than this."""

REPAIRS = 4
"""So often panels are mended and looked at again."""


def unfolded(skin, shown, vertices, names, halved: bool):
    """Skin without folds, its panels mended where that made them thin.

    Parameters
    ----------
    skin : Skin, compact
    shown : (n,) int, its vertices that are shown
    vertices : (n, 3) float, m, where these lie
    names : (n_chains,) int, names of the kept lines
    halved : True for the half of a body, whose rim keeps y = 0

    Returns
    -------
    Skin at these places, compact, and lines that say what was moved, as from `without_folds`
    """
    skin.points[shown] = vertices
    notes = []
    for repair in range(REPAIRS):
        shown, vertices, triangles = as_arrays(skin)
        kept = (skin.plane[shown] & halved, on_sharp_edges(skin, names)[shown])
        vertices, lines = without_folds(vertices, triangles, *kept, thin=repair == 0)
        if not lines:
            break
        notes += lines
        skin, names = mended_panels(skin, shown, vertices, names)
    return skin, notes


def without_folds(
    vertices, triangles, plane, sharp=None, thin: bool = True
) -> tuple[np.ndarray, list[str]]:
    """Vertices in and round folds drawn to the means of their neighbours until the folds are gone.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, panels that cross, are very thin or turn back on their neighbours are
        the folds
    plane : (n,) bool, vertices on the plane of symmetry, which keep y = 0
    sharp : (n,) bool, vertices on sharp edges, which stay unless panels cross there; None: none
    thin : False takes only panels that cross or turn back for folds

    Returns
    -------
    vertices : moved copy, or those given when there are no folds
    note : list with a line that says how many, how far and where, or empty; it begins with
        "warning" where points moved farther than FAR

    Notes
    -----
    Thin panels are looked at once only: one that is left lies in smooth skin, and to go on
    would wear the shape away round it.
    """
    sharp = np.zeros(len(vertices), dtype=bool) if sharp is None else sharp
    moved, links = vertices.copy(), _links(triangles, len(vertices))
    weights = diags_array(1.0 / np.maximum(links.sum(axis=1), 1.0)) @ links
    for growth in range(ROUNDS):
        crossing = _crossing(moved, triangles)
        bad = crossing | _turned(moved, triangles, sharp)
        if growth == 0 and thin:
            bad |= _thin(moved, triangles)
        if not bad.any():
            break
        free = _within(triangles[bad], links, RINGS + growth)
        free &= ~sharp | _within(triangles[crossing], links, 0)
        for _ in range(STEPS):
            means = (weights @ moved)[free]
            means[plane[free], 1] = 0.0
            moved[free] = means
    notes = _note(vertices, triangles, moved)
    return (moved if notes else vertices), notes


def _note(vertices, triangles, moved) -> list[str]:
    far = np.linalg.norm(moved - vertices, axis=1)
    if not far.any():
        return []
    off = _distance(vertices, triangles, moved[far > 0.0])
    line = (
        f"small folds smoothed out of the panels: {np.count_nonzero(far)} of {len(far)} points "
        f"moved, by up to {far.max() * 1e3:.1f} mm, most near "
        f"{format_place(vertices[int(far.argmax())])}; up to {off.max() * 1e3:.1f} mm off the skin"
    )
    if far.max() <= FAR:
        return [line]
    return [
        f"warning: {line}. More than {FAR * 1e3:.0f} mm may change the shape: compare the panels "
        "there with the aeroplane, and mend the scan where they differ"
    ]


def _distance(vertices, triangles, points) -> np.ndarray:
    """(n,) float, m: distance of points from the nearest triangle."""
    from panelcp.surface.panelling_kernels import nearest_many

    facing, _ = facet_normals(vertices, triangles)
    tree, _ = build_tree(vertices[triangles], facing, np.repeat(facing[:, None], 3, axis=1))
    return nearest_many(tree, points, np.zeros_like(points), -2.0, np.inf)[1]


def _within(triangles, links, rings: int) -> np.ndarray:
    """(n,) bool: corners of these triangles and so many rings of neighbours."""
    chosen = np.zeros(links.shape[0], dtype=bool)
    chosen[triangles.ravel()] = True
    for _ in range(rings):
        chosen |= (links @ chosen.astype(float)) > 0.0
    return chosen


def _links(triangles, n: int):
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    both = np.concatenate([ends, ends[:, ::-1]])
    links = coo_array((np.ones(len(both)), both.T), shape=(n, n)).tocsr()
    links.data[:] = 1.0
    return links


def _thin(vertices, triangles) -> np.ndarray:
    """(m,) bool: panels with an angle under THIN."""
    corners = vertices[triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    lengths = np.sort(np.linalg.norm(sides, axis=2), axis=1)
    area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return area < np.sin(THIN) * lengths[:, 1] * lengths[:, 2]


def _turned(vertices, triangles, sharp) -> np.ndarray:
    """(m,) bool: panels that turn back on a neighbour, but not over a sharp edge."""
    surface = SurfaceMesh(vertices, triangles)
    other = surface.edge_neighbours
    facing = np.einsum("nki,ni->nk", surface.normals[np.maximum(other, 0)], surface.normals)
    on_edge = sharp[triangles] & sharp[np.roll(triangles, -1, axis=1)]
    return ((facing < FOLDED) & (other >= 0) & ~on_edge).any(axis=1)


def _crossing(vertices, triangles) -> np.ndarray:
    """(m,) bool: panels that cross others."""
    found = np.zeros(len(triangles), dtype=bool)
    found[meeting_pairs(vertices, triangles)[0].ravel()] = True
    return found
