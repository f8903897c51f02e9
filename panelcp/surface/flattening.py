"""A piece of doubly curved skin laid flat: as conformal as can be, then as rigid as can be."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csc_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from panelcp.errors import SurfaceError

STEPS = 60
"""At most so many steps of the rigid map; it ends when the points rest."""

RESTING = 1e-7
"""Points that move less than this part of the size of the piece rest."""

LEAST_ANGLE = 1e-3
"""Least sine of a triangle's angle: slimmer triangles are weighted as if they had it."""


def flattened(vertices, triangles, weights=None) -> np.ndarray:
    """Lay a piece of skin flat with as little stretch as can be.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, counter-clockwise seen from outside; together a disc
    weights : (m,) float, how much the stretch of every triangle counts; 1 when not given

    Returns
    -------
    (n, 2) float, m
        Seen from outside: triangles are counter-clockwise here too.

    Raises
    ------
    SurfaceError : the piece is no disc (several pieces, a hole, closed)

    Notes
    -----
    Start: least squares conformal map (Levy, Petitjean, Ray, Maillot, Least squares conformal
    maps for automatic texture atlas generation, ACM Transactions on Graphics 21 (2002)). Then the
    map that is as rigid as possible (Liu, Zhang, Xu, Gotsman, Gortler, A local/global approach to
    mesh parameterization, Computer Graphics Forum 27 (2008)): in turn the best turn of every
    triangle, and the points that fit the turned triangles best. Skin that can be unrolled (flat,
    cylinder, cone) is met without stretch.

    Examples
    --------
    A square folded along its diagonal unrolls to a square:

    >>> square = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0.5, 0.5, 0.5**0.5]]
    >>> flat = flattened(square, [[0, 1, 2], [0, 2, 3]])
    >>> float(np.linalg.norm(flat[1] - flat[3]).round(6))
    1.414214
    """
    vertices = np.asarray(vertices, dtype=float)
    triangles = np.asarray(triangles, dtype=np.int64)
    require_disc(vertices, triangles)
    local = local_triangles(vertices, triangles)
    weights = np.ones(len(triangles)) if weights is None else np.asarray(weights, dtype=float)
    start = _conformal(local, triangles, _two_far_apart(vertices))
    return _rigid(local, triangles, start, weights)


def require_disc(vertices, triangles):
    """Refuse a piece of skin that is not one disc.

    Raises
    ------
    SurfaceError : several pieces, or as many holes or handles as it says
    """
    n = len(np.unique(triangles))
    edges = np.sort(np.concatenate([triangles[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    graph = coo_array((np.ones(len(edges)), edges.T), shape=(len(vertices),) * 2)
    pieces = connected_components(graph, directed=False)[0] - (len(vertices) - n)
    euler = n - len(edges) + len(triangles)
    if pieces != 1 or euler != 1 or count.max() > 2:
        raise SurfaceError(
            f"the piece of skin to lay flat is no disc: {pieces} piece(s), Euler number {euler} "
            f"(expected 1), {int((count > 2).sum())} edges of more than two triangles; it has a "
            "hole, closes round the body or touches itself"
        )


def local_triangles(vertices, triangles) -> np.ndarray:
    """(m, 3, 2) float, m: every triangle in a plane of its own, first corner at the origin."""
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    first, second = b - a, c - a
    length = np.linalg.norm(first, axis=1)
    along = (first * second).sum(axis=1) / length
    height = np.linalg.norm(np.cross(first, second), axis=1) / length
    zero = np.zeros_like(length)
    rows = [zero, zero, length, zero, along, height]
    return np.stack(rows, axis=1).reshape(-1, 3, 2)


def stretches(vertices, triangles, flat) -> np.ndarray:
    """(m, 2) float: least and greatest length on the paper over length on the skin.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    flat : (n, 2) float, m

    Notes
    -----
    The singular values of the map from each triangle's plane to the paper.
    """
    local = local_triangles(np.asarray(vertices, dtype=float), triangles)
    before, after = (np.swapaxes(p[:, 1:] - p[:, :1], 1, 2) for p in (local, flat[triangles]))
    gradient = after @ np.linalg.inv(before)
    return np.sort(np.linalg.svd(gradient, compute_uv=False), axis=1)


def _two_far_apart(vertices) -> tuple[int, int]:
    """Two vertices about as far from each other as any."""
    first = int(np.argmax(np.linalg.norm(vertices - vertices.mean(axis=0), axis=1)))
    second = int(np.argmax(np.linalg.norm(vertices - vertices[first], axis=1)))
    return first, second


def _conformal(local, triangles, pinned) -> np.ndarray:
    """(n, 2): least squares conformal map with two pinned vertices one unit apart."""
    n = int(triangles.max()) + 1
    corners = local[..., 0] + 1j * local[..., 1]
    area = 0.5 * np.abs(((corners[:, 1] - corners[:, 0]).conj() * corners[:, 2]).imag)
    opposite = np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    share = opposite / np.sqrt(2.0 * area)[:, None]
    rows = np.repeat(np.arange(len(triangles)), 3)
    matrix = csc_array((share.ravel(), (rows, triangles.ravel())), shape=(len(triangles), n))
    free = np.setdiff1d(np.arange(n), pinned)
    values = np.zeros(n, dtype=complex)
    values[pinned[1]] = np.abs(corners).max() * np.sqrt(len(triangles))
    left = matrix[:, free]
    right = -(left.conj().T @ (matrix @ values))
    values[free] = splu(csc_array(left.conj().T @ left)).solve(right)
    return _scaled(np.stack([values.real, values.imag], axis=1), triangles, area)


def _scaled(flat, triangles, area) -> np.ndarray:
    """The same map with the area of the skin."""
    a, b, c = np.moveaxis(flat[triangles], 1, 0)
    first, second = b - a, c - a
    paper = 0.5 * np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]).sum()
    return flat * np.sqrt(area.sum() / paper)


def _rigid(local, triangles, flat, weights) -> np.ndarray:
    """(n, 2): the map as rigid as possible, from a start."""
    n, size = len(flat), np.ptp(flat, axis=0).max()
    ahead = np.roll(local, -1, axis=1) - local
    half = 0.5 * weights[:, None] * _cotangents(local)
    start, end = triangles, np.roll(triangles, -1, axis=1)
    edges = [part.ravel() for part in (start, end, half)]
    solve = splu(_laplacian(*edges, n)).solve
    for _ in range(STEPS):
        turn = _turns(half, ahead, flat[end] - flat[start])
        pull = half[..., None] * np.einsum("mij,mkj->mki", turn, ahead)
        right = np.zeros((n, 2))
        for k in range(2):
            right[:, k] = np.bincount(edges[1], pull[..., k].ravel(), n)
            right[:, k] -= np.bincount(edges[0], pull[..., k].ravel(), n)
        right[0] = 0.0
        moved = solve(right)
        step = np.abs((moved - moved.mean(axis=0)) - (flat - flat.mean(axis=0))).max()
        flat = moved
        if step < RESTING * size:
            break
    return flat - flat.mean(axis=0)


def _cotangents(local) -> np.ndarray:
    """(m, 3): cotangent of the angle opposite to the edge from corner k to corner k + 1."""
    apex = np.roll(local, -2, axis=1)
    first, second = local - apex, np.roll(local, -1, axis=1) - apex
    cosine = (first * second).sum(axis=2)
    sine = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    lengths = np.linalg.norm(first, axis=2) * np.linalg.norm(second, axis=2)
    return cosine / np.maximum(sine, LEAST_ANGLE * lengths)


def _laplacian(start, end, weight, n):
    """(n, n) sparse, with vertex 0 held at the origin."""
    rows = np.concatenate([start, end, start, end])
    columns = np.concatenate([start, end, end, start])
    values = np.concatenate([weight, weight, -weight, -weight])
    kept = (rows != 0) & (columns != 0)
    rows, columns, values = (
        np.append(p[kept], q) for p, q in ((rows, 0), (columns, 0), (values, 1))
    )
    return csc_array((values, (rows, columns)), shape=(n, n))


def _turns(half, ahead, laid) -> np.ndarray:
    """(m, 2, 2): the turn of every triangle that brings its edges nearest to those laid flat."""
    cosine = (half * (laid * ahead).sum(axis=2)).sum(axis=1)
    cross = ahead[..., 0] * laid[..., 1] - ahead[..., 1] * laid[..., 0]
    angle = np.arctan2((half * cross).sum(axis=1), cosine)
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([c, -s, s, c], axis=1).reshape(-1, 2, 2)
