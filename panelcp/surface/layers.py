"""Skin that is there twice: second copies, inner faces of a shell, shells taken for a body."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.holes import part_labels
from panelcp.surface.repair import format_place, plain_triangles, used_only

PARALLEL = 0.9
"""Skin whose normals enclose less than the angle of this cosine is parallel."""

THICKEST = 0.01
"""m: skin no farther inside than this, all over, is the inner face of a shell."""

COVERED = 0.9
"""Part of its area in which an inner face must be parallel to the outer one and near to it."""

THIN = 0.005
"""A closed skin whose mean thickness is below this part of its size is a shell, not a body."""

_MOST_PARTS = 30  # the largest ones, among which inner faces are looked for


def drop_second_copies(
    vertices, triangles, tolerance: float
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Drop parts every triangle of which is there a second time, but for rounding.

    As when a half is mirrored twice, or a part is exported along with its own copy.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    tolerance : m, between the corners of both; a fifth of the median edge where that is less

    Returns
    -------
    vertices, triangles : the arrays that were given when nothing is dropped
    notes : count, distance and place of what was dropped
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    part = part_labels(len(points), corners)[corners[:, 0]]
    if tolerance <= 0.0 or (part == part[0]).all():
        return vertices, triangles, []
    places = points[corners]
    edges = np.linalg.norm(places - np.roll(places, 1, axis=1), axis=2)
    reach = min(tolerance, 0.2 * float(np.median(edges)))
    pairs = cKDTree(places.mean(axis=1)).query_pairs(reach, output_type="ndarray")
    pairs = np.sort(pairs[part[pairs[:, 0]] != part[pairs[:, 1]]], axis=1)
    apart = np.linalg.norm(places[pairs[:, 0]][:, :, None] - places[pairs[:, 1]][:, None], axis=3)
    same = ((apart <= reach).sum(axis=1) == 1).all(axis=1)
    same &= ((apart <= reach).sum(axis=2) == 1).all(axis=1)
    copied = np.zeros(len(corners), dtype=bool)
    copied[pairs[same, 1]] = True
    dropped = (np.bincount(part, ~copied) == 0)[part]
    if not dropped.any():
        return vertices, triangles, []
    away = apart[same].min(axis=2).max()
    place = format_place(places[dropped].mean(axis=(0, 1)))
    return (
        *used_only(points, corners[~dropped]),
        [
            f"{np.count_nonzero(dropped)} triangles of a second copy of the skin dropped, up to "
            f"{away * 1e3:.2g} mm beside the first (round {place})"
        ],
    )


def drop_inner_faces(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Drop parts that lie close inside another part all over: inner faces of a moulded shell.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, each part of one winding, outward

    Returns
    -------
    vertices, triangles : the arrays that were given when nothing is dropped
    notes : count, depth and place of what was dropped

    Notes
    -----
    A part is an inner face when `COVERED` of its area is parallel to another part, no farther
    from it than `THICKEST` (measured to the plane at the nearest vertex, at most one edge aside),
    and its median depth is inward.
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    part = part_labels(len(points), corners)[corners[:, 0]]
    if (part == part[0]).all():
        return vertices, triangles, []
    areas = np.bincount(part, np.linalg.norm(_area_vectors(points, corners), axis=1))
    largest = np.argsort(-areas, kind="stable")[:_MOST_PARTS]
    sheets = [_Sheet(points, corners[part == k]) for k in largest if areas[k] > 0.0]
    inner: dict[int, float] = {}
    for k in range(len(sheets)):
        depths = [sheets[j].depth_of(sheets[k]) for j in range(len(sheets)) if j != k]
        if max(depths) > 0.0:
            inner[int(largest[k])] = max(depths)
    dropped = np.isin(part, list(inner))
    if not dropped.any() or dropped.all():
        return vertices, triangles, []
    depth = 1e3 * np.array(list(inner.values()))
    place = format_place(points[corners[dropped]].mean(axis=(0, 1)))
    return (
        *used_only(points, corners[~dropped]),
        [
            f"inner faces of a shell dropped: {len(inner)} part{'s' if len(inner) > 1 else ''} of "
            f"{np.count_nonzero(dropped)} triangles, {depth.min():.2g} to {depth.max():.2g} mm "
            f"inside the outer faces (round {place})"
        ],
    )


def require_thickness(vertices, triangles):
    """Refuse a closed skin that is a shell with inside and outside faces.

    Parameters
    ----------
    vertices : (n, 3) float, m; of a half those with y >= 0
    triangles : (m, 3) int, closed, or a half open on y = 0

    Raises
    ------
    SurfaceError : twice volume over area, the mean thickness, is below `THIN` of the size
    """
    points, corners = np.asarray(vertices, dtype=float), np.asarray(triangles)
    vectors = _area_vectors(points, corners)
    size, area = np.ptp(points, axis=0).max(), np.linalg.norm(vectors, axis=1).sum()
    middle = points.mean(axis=0) * [1.0, 0.0, 1.0]  # cones from y = 0 close a half
    volume = (vectors * (points[corners].mean(axis=1) - middle)).sum() / 3.0
    thickness = 2.0 * abs(volume) / area
    if thickness >= THIN * size:
        return
    raise SurfaceError(
        f"the skin is a shell with an outer and an inner face, {thickness * 1e3:.2g} mm thick on "
        f"average (twice the volume of {abs(volume):.2g} m3 by the area of {area:.3g} m2), not "
        f"the outside of a body; at least {THIN * size * 1e3:.2g} mm is expected. Keep the outer "
        "faces only: delete the inner ones in the CAD, or export the outside as a surface; then "
        "name the openings in [[closing]], or set largest_opening in [surface]"
    )


class _Sheet:
    """One part, with what is needed to tell how deep others lie inside it."""

    def __init__(self, points, corners):
        self.points, corners = used_only(points, corners)
        self.low, self.high = self.points.min(axis=0), self.points.max(axis=0)
        self.middles = self.points[corners].mean(axis=1)
        vectors = _area_vectors(self.points, corners)
        self.areas = np.linalg.norm(vectors, axis=1)
        self.normals = vectors / np.maximum(self.areas, 1e-300)[:, None]
        at = [np.bincount(corners.ravel(), np.repeat(column, 3)) for column in vectors.T]
        self.at = np.stack(at, axis=1)
        self.at /= np.maximum(np.linalg.norm(self.at, axis=1), 1e-300)[:, None]
        edges = self.points[corners] - np.roll(self.points[corners], 1, axis=1)
        longest = np.linalg.norm(edges, axis=2).max(axis=1)
        self.edge = np.zeros(len(self.points))
        np.maximum.at(self.edge, corners.ravel(), np.repeat(longest, 3))

    def depth_of(self, other: _Sheet) -> float:
        """Median depth, m, of another part close inside this one; 0 where it is not."""
        apart = np.maximum(self.low - other.low, other.high - self.high)
        if (apart > THICKEST).any():
            return 0.0
        away, nearest = cKDTree(self.points).query(other.middles)
        height = self._height_of(other.middles, nearest)
        parallel = np.einsum("ni,ni->n", other.normals, self.at[nearest])
        near = (np.abs(height) <= THICKEST) & (away <= self.edge[nearest])
        near &= np.abs(parallel) > PARALLEL
        if other.areas[near].sum() < COVERED * other.areas.sum():
            return 0.0
        depths = -self._height_of(other.points, cKDTree(self.points).query(other.points)[1])
        return max(0.0, float(np.median(depths)))

    def _height_of(self, points, nearest) -> np.ndarray:
        """Heights, m, of points over the planes at their nearest vertices."""
        return np.einsum("ni,ni->n", points - self.points[nearest], self.at[nearest])


def _area_vectors(points, corners) -> np.ndarray:
    a, b, c = (points[column] for column in corners.T)
    return 0.5 * np.cross(b - a, c - a)
