"""Triangles from the faces with more corners that some files hold."""

from __future__ import annotations

import numpy as np

from panelcp.errors import SurfaceError

MOST_CORNERS = 2000
"""A face with more corners than this is taken for damage."""

_STRAIGHT = 1e-6  # double area over squared longest edge, below which a corner is straight


def split_polygons(vertices, corners, counts) -> tuple[np.ndarray, np.ndarray]:
    """Split faces into well shaped triangles with the winding of the face.

    Parameters
    ----------
    vertices : (n, 3) float
    corners : (sum of counts,) int, vertex indices of all faces one after the other
    counts : (n_faces,) int, corners of each face, 3 or more

    Returns
    -------
    triangles : (m, 3) int, in the order of the faces
    face : (m,) int, the face that each triangle is part of

    Raises
    ------
    SurfaceError : faces with fewer than three corners, far too many, or that cross themselves

    Notes
    -----
    A four-sided face is cut along the diagonal whose worse triangle is the better one; faces with
    more sides lose their best ear until four sides are left. Points on a straight side are no
    ears, so that no triangle without area is made.
    """
    corners, counts = np.asarray(corners, dtype=np.int64), np.asarray(counts, dtype=np.int64)
    _require_counts(counts)
    start = np.cumsum(counts) - counts
    triangles, face = [], []
    for n in np.unique(counts):
        rows = np.flatnonzero(counts == n)
        rings = corners[start[rows][:, None] + np.arange(n)]
        split = rings if n == 3 else _split_rings(np.asarray(vertices, dtype=float), rings, rows)
        triangles.append(split.reshape(-1, 3))
        face.append(np.repeat(rows, n - 2))
    if not triangles:
        return np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64)
    order = np.argsort(np.concatenate(face), kind="stable")
    return np.concatenate(triangles)[order], np.concatenate(face)[order]


def _require_counts(counts):
    for wrong, words in (
        (counts < 3, "fewer than three corners"),
        (counts > MOST_CORNERS, f"more than {MOST_CORNERS} corners"),
    ):
        if wrong.any():
            first = np.flatnonzero(wrong)[0]
            raise SurfaceError(
                f"{np.count_nonzero(wrong)} of {len(counts)} faces have {words} (first: face "
                f"{first} with {counts[first]}); export the skin as triangles"
            )


def _split_rings(vertices, rings, rows) -> np.ndarray:
    """(k, n - 2, 3) int: triangles of k faces of n corners."""
    found = []
    with np.errstate(all="ignore"):
        points = _in_own_plane(vertices[rings])
        while rings.shape[1] > 4:
            rings, points, ear = _clipped(rings, points, rows)
            found.append(ear)
        found += _split_quads(rings, points)
    return np.stack(found, axis=1)


def _in_own_plane(points) -> np.ndarray:
    """(k, n, 2) float: corners in the mean plane of their face, counter-clockwise."""
    points = points - points.mean(axis=1, keepdims=True)
    normal = np.cross(points, np.roll(points, -1, axis=1)).sum(axis=1)
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.where(size > 0.0, normal / np.where(size > 0.0, size, 1.0), [0.0, 0.0, 1.0])
    least = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    first = np.cross(least, normal)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    frame = np.stack([first, np.cross(normal, first)], axis=1)
    return np.einsum("knc,kdc->knd", points, frame)


def _shape(a, b, c) -> np.ndarray:
    """Double area over the squared longest edge: 0.87 for equal sides, negative turned over."""
    area = (b - a)[..., 0] * (c - a)[..., 1] - (b - a)[..., 1] * (c - a)[..., 0]
    ab, bc, ca = (((p - q) ** 2).sum(axis=-1) for p, q in ((a, b), (b, c), (c, a)))
    longest = np.maximum(np.maximum(ab, bc), ca)
    return np.where(longest > 0.0, area / np.where(longest > 0.0, longest, 1.0), 0.0)


def _split_quads(rings, points) -> list[np.ndarray]:
    a, b, c, d = np.moveaxis(points, 1, 0)
    along_ac = np.minimum(_shape(a, b, c), _shape(a, c, d))
    along_bd = np.minimum(_shape(b, c, d), _shape(b, d, a))
    other = (along_bd > along_ac * (1.0 + 1e-9) + 1e-12)[:, None]
    first = np.where(other, rings[:, [1, 2, 3]], rings[:, [0, 1, 2]])
    return [first, np.where(other, rings[:, [1, 3, 0]], rings[:, [0, 2, 3]])]


def _clipped(rings, points, rows):
    """The faces without their best ear, and that ear."""
    before, after = np.roll(points, 1, axis=1), np.roll(points, -1, axis=1)
    shape = _shape(before, points, after)
    score = np.where(shape > _STRAIGHT, shape, -np.inf)
    best = _free_ear(points, before, after, score, shape, rows)
    each = np.arange(len(rings))
    n = rings.shape[1]
    ear = np.stack([rings[each, (best + step) % n] for step in (-1, 0, 1)], axis=1)
    kept = np.ones(rings.shape, dtype=bool)
    kept[each, best] = False
    return rings[kept].reshape(-1, n - 1), points[kept].reshape(-1, n - 1, 2), ear


def _free_ear(points, before, after, score, shape, rows) -> np.ndarray:
    """(k,) int: the best ear that holds no other corner of its face."""
    best = np.argmax(score, axis=1)
    open_rows = np.arange(len(points))
    while len(open_rows):
        k = best[open_rows]
        a, b, c = (p[open_rows, k][:, None] for p in (before, points, after))
        holds = _holds(a, b, c, points[open_rows]).any(axis=1)
        lost = ~np.isfinite(score[open_rows, k])
        _require_ear(lost, shape[open_rows], rows[open_rows], points.shape[1])
        best[open_rows[lost]] = np.argmax(shape[open_rows[lost]], axis=1)
        score[open_rows[holds], k[holds]] = -np.inf
        open_rows = open_rows[holds & ~lost]
        best[open_rows] = np.argmax(score[open_rows], axis=1)
    return best


def _require_ear(lost, shape, rows, n: int):
    """A face without any ear is an error, unless it has no area at all."""
    crossing = lost & (np.abs(shape) > _STRAIGHT).any(axis=1)
    if crossing.any():
        raise SurfaceError(
            f"a face crosses itself (face {rows[np.flatnonzero(crossing)[0]]}, {n} corners left "
            "to split); export the skin as triangles"
        )


def _holds(a, b, c, points) -> np.ndarray:
    """(k, n) bool: points inside or on the triangle, its own corners left out."""
    inside = np.ones(points.shape[:2], dtype=bool)
    for p, q in ((a, b), (b, c), (c, a)):
        inside &= _shape(p, q, points) > -1e-12
    for p in (a, b, c):
        inside &= ~(points == p).all(axis=2)
    return inside
