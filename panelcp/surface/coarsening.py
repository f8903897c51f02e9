"""A coarser panelling of the same surface, to see how much the panelling matters."""

from __future__ import annotations

import numpy as np

from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.neighbours import corner_groups

PASSES = 2
LEAST_ANGLE = 15.0
"""No removal may leave a corner angle below this many degrees."""

LARGEST_TURN = 30.0
"""No removal may turn the normal of the skin by more than this many degrees."""


def coarsened(surface: SurfaceMesh) -> SurfaceMesh:
    """Surface with about half the panels, its vertices some of those of the finer one.

    Parameters
    ----------
    surface : SurfaceMesh, closed

    Returns
    -------
    SurfaceMesh, without regions; mirrored when `surface` is

    Notes
    -----
    In each pass vertices that are no neighbours of each other are drawn into one of their
    neighbours, the one that leaves the best corner angles. Vertices on sharp edges and on BL 0 of
    a half stay. With second-order panels the difference between the two solutions is about 0.8
    times the error of the finer one.
    """
    fixed = _on_sharp_edges(surface)
    triangles = surface.triangles[: surface.n_solved]
    if surface.mirrored:
        fixed |= surface.vertices[:, 1] == 0.0
    for _ in range(PASSES):
        triangles = _one_pass(surface.vertices, triangles, fixed)
    used, compact = np.unique(triangles, return_inverse=True)
    vertices, triangles = surface.vertices[used], compact.reshape(-1, 3)
    if surface.mirrored:
        return mirrored_whole(vertices, triangles)
    return SurfaceMesh(vertices, triangles)


def _on_sharp_edges(surface: SurfaceMesh) -> np.ndarray:
    """(n_vertices,) bool: vertices at which the skin is not one smooth piece."""
    groups = np.unique(
        np.stack([surface.triangles.ravel(), corner_groups(surface)], axis=1), axis=0
    )
    return np.bincount(groups[:, 0], minlength=surface.n_vertices) != 1


def _one_pass(vertices, triangles, fixed) -> np.ndarray:
    stars = _stars(triangles, len(vertices))
    edges = {tuple(edge) for edge in _sorted_pairs(triangles)}
    degree = np.array([len(star) for star in stars])
    blocked = fixed.copy()
    removed = np.zeros(len(triangles), dtype=bool)
    added = []
    for vertex in np.argsort(degree, kind="stable"):
        star = stars[vertex]
        if blocked[vertex] or not 3 <= len(star) <= 8:
            continue
        ring = _ring(triangles[star], vertex)
        if ring is None:
            continue
        best = _best_fan(vertices, triangles[star], ring, edges)
        if best is None:
            continue
        edges |= {tuple(edge) for edge in _sorted_pairs(best)}
        removed[star] = True
        blocked[ring] = True
        added.append(best)
    return np.concatenate([triangles[~removed], *added])


def _stars(triangles, n_vertices) -> list[np.ndarray]:
    """Triangles at every vertex."""
    order = np.argsort(triangles.ravel(), kind="stable")
    ends = np.cumsum(np.bincount(triangles.ravel(), minlength=n_vertices))
    return np.split(order // 3, ends[:-1])


def _sorted_pairs(triangles) -> np.ndarray:
    return np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)


def _ring(star, vertex) -> list[int] | None:
    """Neighbours round a vertex in order, or None where they do not form one ring."""
    follow = {}
    for triangle in star:
        k = int(np.flatnonzero(triangle == vertex)[0])
        follow[int(triangle[(k + 1) % 3])] = int(triangle[(k + 2) % 3])
    ring = [next(iter(follow))]
    while len(ring) <= len(star):
        after = follow.get(ring[-1])
        if after is None:
            return None
        if after == ring[0]:
            return ring if len(ring) == len(star) else None
        ring.append(after)
    return None


def _best_fan(vertices, old, ring, edges) -> np.ndarray | None:
    """Triangles that fill a ring from one of its vertices, with the largest least angle."""
    normal = _area_vectors(vertices, old).sum(axis=0)
    normal /= np.linalg.norm(normal)
    best, best_angle = None, np.radians(LEAST_ANGLE)
    for k in range(len(ring)):
        turned = ring[k:] + ring[:k]
        if any((min(turned[0], r), max(turned[0], r)) in edges for r in turned[2:-1]):
            continue
        fan = np.array([(turned[0], turned[i], turned[i + 1]) for i in range(1, len(ring) - 1)])
        areas = _area_vectors(vertices, fan)
        facing = areas @ normal / np.maximum(np.linalg.norm(areas, axis=1), 1e-300)
        angle = _least_angle(vertices[fan])
        if facing.min() > np.cos(np.radians(LARGEST_TURN)) and angle > best_angle:
            best, best_angle = fan, angle
    return best


def _area_vectors(vertices, triangles) -> np.ndarray:
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    return np.cross(b - a, c - a)


def _least_angle(corners) -> float:
    ahead = np.roll(corners, -1, axis=1) - corners
    behind = np.roll(corners, 1, axis=1) - corners
    cross = np.linalg.norm(np.cross(ahead, behind), axis=2)
    return float(np.arctan2(cross, (ahead * behind).sum(axis=2)).min())
