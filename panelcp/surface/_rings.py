"""Triangles between rings of vertices that need not have equally many."""

from __future__ import annotations

import itertools

import numpy as np

_SHARPEST_TURN = np.cos(np.radians(30.0))  # edges that stand out more than this stay


def join_rings(rings: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, triangles and the strip of each triangle from neighbouring rings.

    Parameters
    ----------
    rings : per ring (n, 3) float, m, from bottom to top; (1, 3) for a tip

    Returns
    -------
    points : (n_points, 3) float, the rings one after the other
    triangles : (n_triangles, 3) int, counter-clockwise seen from outside when the rings run
        aft and each goes round the right side from bottom to top
    strip : (n_triangles,) int, index of the ring ahead of each triangle
    """
    starts = np.cumsum([0] + [len(ring) for ring in rings])
    triangles, strip = [], []
    for index, (ahead, behind) in enumerate(itertools.pairwise(rings)):
        part = _strip(ahead, behind, starts[index], starts[index + 1])
        triangles.extend(part)
        strip.extend([index] * len(part))
    return np.concatenate(rings), np.array(triangles, dtype=np.int64), np.array(strip)


def turned_edges(
    points: np.ndarray, triangles: np.ndarray, group: np.ndarray, passes: int = 12
) -> np.ndarray:
    """Triangles with diagonals exchanged where that makes the worse shape of a pair better.

    Pairs of different `group` and pairs that meet at more than 30 degrees are left alone.
    """
    triangles = np.array(triangles)
    for _ in range(passes):
        if not _turn_once(points, triangles, group):
            break
    return triangles


def shape_quality(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Area over sum of squared edges, 1 for equal sides, 0 for a needle; any leading shape."""
    edges = ((b - a) ** 2).sum(-1) + ((c - b) ** 2).sum(-1) + ((a - c) ** 2).sum(-1)
    double_area = np.linalg.norm(np.cross(b - a, c - a), axis=-1)
    return 2.0 * np.sqrt(3.0) * double_area / np.maximum(edges, 1e-300)


def _strip(ahead: np.ndarray, behind: np.ndarray, first: int, second: int) -> list[tuple]:
    """Best triangles between two rings, by dynamic programming over both counts."""
    n, m = len(ahead) - 1, len(behind) - 1
    along_ahead = (1.0 - shape_quality(ahead[:-1, None], ahead[1:, None], behind[None])) ** 2
    along_behind = (1.0 - shape_quality(ahead[:, None], behind[None, :-1], behind[None, 1:])) ** 2
    steps = _cheapest_steps(along_ahead.tolist(), along_behind.tolist(), n, m)
    triangles, i, j = [], n, m
    while i or j:
        if steps[i][j]:
            triangles.append((first + i - 1, first + i, second + j))
            i -= 1
        else:
            triangles.append((first + i, second + j, second + j - 1))
            j -= 1
    return triangles[::-1]


def _cheapest_steps(along_ahead, along_behind, n: int, m: int) -> list[list[bool]]:
    """Whether the cheapest way to (i, j) comes along the ring ahead."""
    cost = [[0.0] * (m + 1) for _ in range(n + 1)]
    steps = [[False] * (m + 1) for _ in range(n + 1)]
    for i in range(n + 1):
        for j in range(m + 1):
            if i == j == 0:
                continue
            by_ahead = cost[i - 1][j] + along_ahead[i - 1][j] if i else np.inf
            by_behind = cost[i][j - 1] + along_behind[i][j - 1] if j else np.inf
            steps[i][j] = by_ahead < by_behind
            cost[i][j] = min(by_ahead, by_behind)
    return steps


def _turn_once(points: np.ndarray, triangles: np.ndarray, group: np.ndarray) -> int:
    """Exchange diagonals of separate pairs in place; how many."""
    pairs = _pairs(triangles)
    left, right, a, b, c, d = (column for column in pairs.T)
    p, q, r, s = points[a], points[b], points[c], points[d]
    before = np.minimum(shape_quality(p, q, r), shape_quality(q, p, s))
    after = np.minimum(shape_quality(r, p, s), shape_quality(s, q, r))
    normals = [
        _unit(np.cross(y - x, z - x)) for x, y, z in ((p, q, r), (q, p, s), (r, p, s), (s, q, r))
    ]
    flat = ((normals[0] * normals[1]).sum(-1) > _SHARPEST_TURN) & (
        (normals[2] * normals[3]).sum(-1) > _SHARPEST_TURN
    )
    same_side = (normals[0] * normals[2]).sum(-1) > 0
    good = (after > before + 1e-6) & flat & same_side & (group[left] == group[right])
    busy = np.zeros(len(triangles), dtype=bool)
    taken = {frozenset(pair) for pair in zip(a.tolist(), b.tolist(), strict=True)}
    turned = 0
    for k in np.flatnonzero(good)[np.argsort(before[good], kind="stable")]:
        new = frozenset((int(c[k]), int(d[k])))
        if busy[left[k]] or busy[right[k]] or new in taken:
            continue
        taken.add(new)
        triangles[left[k]] = (c[k], a[k], d[k])
        triangles[right[k]] = (d[k], b[k], c[k])
        busy[[left[k], right[k]]] = True
        turned += 1
    return turned


def _pairs(triangles: np.ndarray) -> np.ndarray:
    """(n, 6) int: two triangles, their common edge a b, and their far corners c and d.

    The first triangle is (a, b, c), the second (b, a, d).
    """
    table = {}
    pairs = []
    for index, corner in enumerate(triangles.tolist()):
        for k in range(3):
            a, b, c = corner[k], corner[k - 2], corner[k - 1]
            if (b, a) in table:
                other, d = table[b, a]
                pairs.append((index, other, a, b, c, d))
            else:
                table[a, b] = (index, c)
    return np.array(pairs, dtype=np.int64).reshape(-1, 6)


def _unit(vectors: np.ndarray) -> np.ndarray:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300)
