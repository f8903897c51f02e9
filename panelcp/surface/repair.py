"""Small repairs while reading; each returns lines that say what was changed."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError

COINCIDENT = 1e-7
"""Vertices nearer than this part of the size of the body are one vertex."""


def merge_coincident(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Give triangles that touch the same point the same vertex.

    Triangles that lose a corner this way are dropped and counted; triangles whose three
    different corners lie on one line are an error, since dropping them would open the skin.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles : merged
    notes : lines that say what was done
    """
    vertices = np.asarray(vertices, dtype=float)
    step = max(np.ptp(vertices, axis=0).max(), 1e-12) * COINCIDENT
    labels = _grouped(len(vertices), cKDTree(vertices).query_pairs(step, output_type="ndarray"))
    merged = _group_means(vertices, labels)
    triangles = labels[np.asarray(triangles)]
    notes = []
    if len(merged) < len(vertices):
        notes.append(f"{len(vertices)} vertices merged to {len(merged)} (points that coincide)")
    kept = _has_three_corners(triangles)
    if not kept.all():
        notes.append(f"{np.count_nonzero(~kept)} triangles with coinciding corners dropped")
    merged, triangles = _used_only(merged, triangles[kept])
    _require_area(merged, triangles)
    return merged, triangles, notes


def snap_to_plane(vertices, triangles, tolerance: float) -> tuple[np.ndarray, list[str]]:
    """Put the open edge of a half that lies near BL 0 onto it.

    Parameters
    ----------
    vertices : (n, 3) float, m, the right half
    triangles : (m, 3) int
    tolerance : float, m

    Returns
    -------
    vertices : snapped copy
    notes : lines that say what was done
    """
    vertices = np.array(vertices, dtype=float)
    near = np.zeros(len(vertices), dtype=bool)
    near[open_vertices(triangles)] = True
    near &= np.abs(vertices[:, 1]) <= tolerance
    moved = np.abs(vertices[near, 1])
    vertices[near, 1] = 0.0
    if not np.any(moved > 0.0):
        return vertices, []
    return vertices, [
        f"{np.count_nonzero(moved)} points put onto BL 0, moved by up to "
        f"{moved.max() * 1e3:.3g} mm (tolerance {tolerance * 1e3:g} mm)"
    ]


def close_cracks(vertices, triangles, tolerance: float) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Join open edges that lie nearer than `tolerance` to each other.

    Only vertices of open edges move, to the mean of their group; neighbours along one edge
    are never joined.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    tolerance : float, m

    Returns
    -------
    vertices, triangles : joined
    notes : lines that say what was done
    """
    rim = open_vertices(triangles)
    if tolerance <= 0.0 or len(rim) == 0:
        return vertices, triangles, []
    pairs = rim[cKDTree(vertices[rim]).query_pairs(tolerance, output_type="ndarray")]
    pairs = pairs[~_joined_by_an_edge(pairs, triangles, len(vertices))]
    if len(pairs) == 0:
        return vertices, triangles, []
    labels = _grouped(len(vertices), pairs)
    gap = np.linalg.norm(vertices[pairs[:, 0]] - vertices[pairs[:, 1]], axis=1).max()
    place = vertices[pairs[:, 0]].mean(axis=0)
    joined = _group_means(vertices, labels)
    on_plane = np.zeros(len(joined), dtype=bool)
    on_plane[labels[vertices[:, 1] == 0.0]] = True
    joined[on_plane, 1] = 0.0
    triangles = labels[triangles]
    kept = _has_three_corners(triangles)
    joined, triangles = _used_only(joined, triangles[kept])
    dropped = np.count_nonzero(~kept)
    extra = f", {dropped} collapsed triangles dropped" if dropped else ""
    return (
        joined,
        triangles,
        [
            f"crack closed: {len(pairs)} pairs of points joined, up to {gap * 1e3:.3g} mm apart, "
            f"near {format_place(place)}{extra}"
        ],
    )


def open_vertices(triangles) -> np.ndarray:
    """(k,) int: vertices of edges that belong to one triangle only."""
    edges, counts = np.unique(sorted_edges(triangles), axis=0, return_counts=True)
    return np.unique(edges[counts == 1])


def sorted_edges(triangles) -> np.ndarray:
    """(3 m, 2) int: the edges of all triangles, smaller vertex first."""
    triangles = np.asarray(triangles)
    return np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)


def format_place(point) -> str:
    """STA, BL and WL of a point in mm."""
    x, y, z = np.asarray(point, dtype=float) * 1e3
    return f"STA {x:.0f} BL {y:.0f} WL {z:.0f} mm"


def _grouped(n: int, pairs) -> np.ndarray:
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    return connected_components(graph, directed=False)[1]


def _group_means(vertices, labels) -> np.ndarray:
    counts = np.bincount(labels)
    sums = [np.bincount(labels, weights=vertices[:, k]) for k in range(3)]
    return np.stack(sums, axis=1) / counts[:, None]


def _has_three_corners(triangles) -> np.ndarray:
    a, b, c = triangles.T
    return (a != b) & (b != c) & (c != a)


def _used_only(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    used, compact = np.unique(triangles, return_inverse=True)
    return vertices[used], compact.reshape(-1, 3)


def _joined_by_an_edge(pairs, triangles, n_vertices: int) -> np.ndarray:
    edges = sorted_edges(triangles)
    pairs = np.sort(pairs, axis=1)
    return np.isin(pairs[:, 0] * n_vertices + pairs[:, 1], edges[:, 0] * n_vertices + edges[:, 1])


def _require_area(vertices, triangles):
    if len(triangles) == 0:
        raise SurfaceError("all triangles have coinciding corners: nothing of the skin is left")
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    double_area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    longest = np.maximum.reduce([np.linalg.norm(d, axis=1) for d in (b - a, c - b, a - c)])
    flat = double_area < 1e-6 * longest**2
    if flat.any():
        first = vertices[triangles[np.flatnonzero(flat)[0]]].mean(axis=0)
        raise SurfaceError(
            f"{np.count_nonzero(flat)} of {len(triangles)} triangles have no area (first near "
            f"{format_place(first)}); their corners lie on one line. Remove them in the CAD or "
            "export with another tolerance"
        )
