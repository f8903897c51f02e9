"""Lines that panels must follow: sharp edges, the plane of symmetry, given outlines."""

from __future__ import annotations

import itertools

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panelcp.errors import SurfaceError
from panelcp.surface.panelling_start import GIVEN, PLANE, SHARP, with_room
from panelcp.surface.repair import format_place

SHARP_ANGLE = 40.0
"""deg: edges folded by more are kept."""

CORNER_ANGLE = 40.0
"""deg: kept lines that bend by more have a fixed vertex there."""

MAX_OFF_SKIN = 0.01
"""Given lines may lie off the surface by this part of the size of the body."""


def mark_sharp_edges(skin, facing, twin) -> int:
    """Mark edges folded by more than SHARP_ANGLE in the skin; how many."""
    pairs = np.flatnonzero(twin > np.arange(len(twin)))
    across = (facing[pairs // 3] * facing[twin[pairs] // 3]).sum(axis=1)
    sharp = pairs[across < np.cos(np.radians(SHARP_ANGLE))]
    skin.chain[sharp] = skin.chain[twin[sharp]] = SHARP
    return len(sharp)


def drop_edges_along_plane(skin, nearer: float):
    """Unmark sharp edges that run beside the rim of a half, nearer to it than `nearer`, m."""
    if not skin.plane.any():
        return
    edges = _sharp(skin)
    a, b = (skin.points[end] for end in _ends(skin, edges))
    beside = np.maximum(a[:, 1], b[:, 1]) < nearer
    beside &= np.abs(a[:, 1] - b[:, 1]) < 0.7 * _lengths(skin, edges)
    _unmark(skin, edges[beside])


def drop_short_edges(skin, shortest: float, branch: float) -> tuple[int, float]:
    """Unmark sharp edges that lead nowhere; their number and length, m.

    Those that hang together over less than `shortest`, m, branches that end in the open within
    `branch`, m, and bridges shorter than half of it.
    """
    before = _sharp(skin)
    for _ in range(3):
        if not _drop_branches(skin, branch):
            break
    edges = _sharp(skin)
    if len(edges):
        a, b = _ends(skin, edges)
        n = len(skin.points)
        graph = coo_array((np.ones(len(a)), (a, b)), shape=(n, n))
        part = connected_components(graph, directed=False)[1][a]
        short = np.bincount(part, _lengths(skin, edges))[part] < shortest
        _unmark(skin, edges[short])
    gone = before[skin.chain[before] < 0]
    return len(gone), float(_lengths(skin, gone).sum())


def _drop_branches(skin, branch: float) -> int:
    """Unmark short branches and bridges between junctions; how many."""
    edges = _sharp(skin)
    degree = np.bincount(np.concatenate(_ends(skin, _kept(skin))), minlength=len(skin.points))
    dropped = 0
    for walk in _walks(skin, _kept(skin)):
        if skin.chain[walk[0]] != SHARP:
            continue
        ends = degree[[skin.start[walk[0]], skin.start[skin.twin[walk[-1]]]]]
        length = _lengths(skin, walk).sum()
        loose = ends.min() == 1 and length < branch
        bridge = ends.min() > 2 and length < 0.5 * branch
        if (loose or bridge) and len(walk) < len(edges):
            _unmark(skin, walk)
            dropped += 1
    return dropped


def _sharp(skin) -> np.ndarray:
    edges = _kept(skin)
    return edges[skin.chain[edges] == SHARP]


def _lengths(skin, edges) -> np.ndarray:
    a, b = _ends(skin, edges)
    return np.linalg.norm(skin.points[a] - skin.points[b], axis=1)


def _unmark(skin, edges):
    skin.chain[edges] = skin.chain[skin.twin[edges]] = -1


def lay_lines(skin, lines, tree, size: float, halved: bool):
    """Cut the given polylines into the skin; the skin, perhaps with more room, and their number."""
    from panelcp.surface.panelling_kernels import lay_line, nearest_many

    lines = [_checked(line, k) for k, line in enumerate(lines)]
    for k, line in enumerate(lines):
        folded = (
            np.column_stack([line[:, 0], np.abs(line[:, 1]), line[:, 2]]) if halved else line.copy()
        )
        gap = nearest_many(tree, folded, np.zeros_like(line), -2.0, np.inf)[1]
        if gap.max() > MAX_OFF_SKIN * size:
            raise SurfaceError(
                f"line {k + 1} lies up to {gap.max() * 1e3:.0f} mm off the surface (near "
                f"{format_place(line[gap.argmax()])}); its points must lie on the surface"
            )
    if halved:
        lines = _on_the_right(lines, 1e-3 * size)
    for k, line in enumerate(lines):
        feet = nearest_many(tree, line, np.zeros_like(line), -2.0, np.inf)[2]
        if halved:
            feet[np.abs(feet[:, 1]) < 1e-9 * size, 1] = 0.0
        skin = with_room(skin, 20000 + 200 * len(line))
        reached = lay_line(skin, feet, GIVEN, 1e-4)
        if reached < len(line):
            raise SurfaceError(
                f"line {k + 1}: no way over the surface to its point {reached + 1} "
                f"({format_place(line[reached])}); give points nearer to each other"
            )
    return skin, len(lines)


def _checked(line, index: int) -> np.ndarray:
    points = np.asarray(line, dtype=float)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 2:
        raise SurfaceError(
            f"line {index + 1} has shape {points.shape}; expected (n_points, 3) with 2 or more"
        )
    if not np.isfinite(points).all():
        raise SurfaceError(f"line {index + 1} has points that are not finite numbers")
    return points


def _on_the_right(lines, tolerance: float) -> list[np.ndarray]:
    """Parts of lines with y >= 0, and mirror images of parts on the left that have no partner."""
    right, left = [], []
    for line in lines:
        flat = line.copy()
        # a hair beside the plane would leave a step too short to be walked
        flat[np.abs(flat[:, 1]) < 1e-2 * tolerance, 1] = 0.0
        for part in _cut_at_plane(flat):
            (right if part[:, 1].sum() >= 0.0 else left).append(part * [1.0, 1.0, 1.0])
    images = [part * [1.0, -1.0, 1.0] for part in left]
    return right + [image for image in images if not _is_there(image, right, tolerance)]


def _cut_at_plane(line) -> list[np.ndarray]:
    y = line[:, 1]
    where = np.flatnonzero(y[1:] * y[:-1] < 0.0)
    share = y[where] / (y[where] - y[where + 1])
    crossing = line[where] + share[:, None] * (line[where + 1] - line[where])
    crossing[:, 1] = 0.0
    whole = np.insert(line, where + 1, crossing, axis=0)
    cuts = np.flatnonzero(whole[:, 1] == 0.0)
    ends = np.unique(np.concatenate([[0], cuts, [len(whole) - 1]]))
    parts = [whole[i : j + 1] for i, j in itertools.pairwise(ends)]
    return [part for part in parts if np.any(part[:, 1] != 0.0)]


def _is_there(line, others, tolerance: float) -> bool:
    """Whether every point of a line lies on one of the others."""
    from scipy.spatial import cKDTree

    if not others:
        return False
    dense, spacing = [], 0.0
    for other in others:
        steps = np.linspace(0.0, len(other) - 1.0, 40 * len(other))
        dense.append(np.stack([np.interp(steps, np.arange(len(other)), c) for c in other.T], 1))
        spacing = max(spacing, np.linalg.norm(np.diff(dense[-1], axis=0), axis=1).max())
    return bool(cKDTree(np.concatenate(dense)).query(line)[0].max() < tolerance + spacing)


def build_chains(skin, scale: float):
    """Chains of kept edges between fixed vertices; sets kinds, chains and places of the skin.

    Vertices are fixed where other than two kept edges or edges of different names meet, where a
    chain bends by more than CORNER_ANGLE (also when seen at `scale`, m), and one on every ring.

    Returns
    -------
    Chains, names (n_chains,) int
    """
    from panelcp.surface.panelling_kernels import FIXED, HIDDEN, ON_LINE, Chains

    edges = _kept(skin)
    walks = _walks(skin, edges)
    walks = [part for walk in walks for part in _split_at_bends(skin, walk, scale)]
    skin.kind[skin.kind != HIDDEN] = 0
    first, points, places, names = [0], [np.zeros((0, 3))], [np.zeros(0)], []
    for walk in walks:
        vertices = skin.start[walk]
        vertices = np.append(vertices, skin.start[skin.twin[walk[-1]]])
        line = skin.points[vertices]
        place = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
        names.append(int(skin.chain[walk[0]]))
        skin.place[walk], skin.place[skin.twin[walk]] = place[:-1], place[1:]
        skin.kind[vertices[1:-1]] = np.maximum(skin.kind[vertices[1:-1]], ON_LINE)
        skin.kind[vertices[[0, -1]]] = FIXED
        first.append(first[-1] + len(line))
        points.append(line)
        places.append(place)
    for index, walk in enumerate(walks):
        skin.chain[walk] = skin.chain[skin.twin[walk]] = index
    chains = Chains(np.array(first), np.concatenate(points), np.concatenate(places))
    return chains, np.array(names, dtype=np.int64)


def _kept(skin) -> np.ndarray:
    """Half-edges of kept edges, one of each pair."""
    m = 3 * int(skin.count[1])
    index = np.arange(m)
    return np.flatnonzero((skin.chain[:m] >= 0) & (skin.start[:m] >= 0) & (index < skin.twin[:m]))


def _ends(skin, edges) -> tuple[np.ndarray, np.ndarray]:
    return skin.start[edges], skin.start[skin.twin[edges]]


def _walks(skin, edges) -> list[np.ndarray]:
    """Half-edges one after the other, from one junction to the next, or once round a ring."""
    half = np.concatenate([edges, skin.twin[edges]])
    at = skin.start[half]
    degree = np.bincount(at, minlength=1)
    names = skin.chain[half]
    low, high = np.full(len(degree), 9), np.full(len(degree), -1)
    np.minimum.at(low, at, names)
    np.maximum.at(high, at, names)
    junction = (degree > 0) & ((degree != 2) | (low != high))
    order = np.argsort(at, kind="stable")
    begin = np.searchsorted(at[order], np.arange(len(degree) + 1))
    out_of = {int(v): half[order[begin[v] : begin[v + 1]]].tolist() for v in np.unique(at)}
    twin, start = skin.twin, skin.start
    seen, walks = set(), []
    for ring in (False, True):
        for e in half.tolist():
            if e in seen or (not ring and not junction[start[e]]):
                continue
            walk = [e]
            while True:
                seen.update((walk[-1], int(twin[walk[-1]])))
                end = int(start[twin[walk[-1]]])
                if junction[end] or end == start[walk[0]]:
                    break
                back = int(twin[walk[-1]])
                pair = out_of[end]
                walk.append(pair[0] if pair[1] == back else pair[1])
            walks.append(np.array(walk, dtype=np.int64))
    return walks


def _split_at_bends(skin, walk, scale: float) -> list[np.ndarray]:
    """Parts of a walk between its corners."""
    vertices = np.append(skin.start[walk], skin.start[skin.twin[walk[-1]]])
    line = skin.points[vertices]
    ring = bool(vertices[0] == vertices[-1])
    step = np.diff(line, axis=0)
    lengths = np.linalg.norm(step, axis=1)
    place = np.append(0.0, np.cumsum(lengths))
    before = np.roll(step, 1, axis=0)
    direct = _angle_between(before, step)
    if not ring:
        direct[0] = 0.0
    seen = np.zeros(len(direct))
    candidates = np.flatnonzero(direct > CORNER_ANGLE)
    reach = min(scale, 0.25 * place[-1])
    here = place[candidates]
    behind = _at(line, place, here - reach, ring)
    ahead = _at(line, place, here + reach, ring)
    seen[candidates] = _angle_between(line[candidates] - behind, ahead - line[candidates])
    corners = _separate_peaks(candidates, seen, place, 0.8 * reach)
    if ring:
        if len(corners) == 0:
            return [walk]
        walk = np.roll(walk, -corners[0])
        corners = np.array(corners) - corners[0]
    cuts = [0, *[int(c) for c in corners if c > 0], len(walk)]
    return [walk[i:j] for i, j in itertools.pairwise(cuts)]


def _at(line, place, where, ring: bool) -> np.ndarray:
    where = np.mod(where, place[-1]) if ring else np.clip(where, 0.0, place[-1])
    return np.stack([np.interp(where, place, column) for column in line.T], axis=1)


def _angle_between(first, second) -> np.ndarray:
    """deg, of (n, 3) vectors row by row."""
    cross = np.linalg.norm(np.cross(first, second), axis=1)
    return np.degrees(np.arctan2(cross, (first * second).sum(axis=1)))


def _separate_peaks(candidates, seen, place, apart: float) -> list[int]:
    """Those of the candidates that bend most, no two nearer than `apart`, in order."""
    chosen = []
    for k in candidates[np.argsort(-seen[candidates], kind="stable")]:
        if seen[k] <= CORNER_ANGLE:
            break
        if all(abs(place[k] - place[c]) > apart for c in chosen):
            chosen.append(int(k))
    return sorted(chosen)


def kept_lengths(chains, names) -> dict[int, float]:
    """m of kept lines by name."""
    ends = chains.places[chains.first[1:] - 1]
    return {name: float(ends[names == name].sum()) for name in (PLANE, SHARP, GIVEN)}
