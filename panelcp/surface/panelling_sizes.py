"""How large panels should be from place to place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from panelcp.surface.panelling_start import SHARP, visible
from panelcp.surface.repair import sorted_edges

TURN = 0.3
"""rad: the skin should not turn by more over one panel."""

LARGEST_TURN = 0.8
"""rad: nor by more than this, however small the panels get."""

GROWTH = 0.22
"""Panels grow by this length per length."""

LEAST = 0.125
"""Smallest panels for bends, parts of the size on flat skin ahead."""

SMALLEST = 0.01
"""No panels are smaller, parts of the size on flat skin ahead."""

NARROWEST = 0.03
"""Smallest panels in narrow strips between lines, parts of the size on flat skin ahead."""

AT_SHARP_EDGES = 0.5
"""Size at sharp edges, parts of the size on flat skin ahead."""

AFT = 2.5
"""Size on the last part of slender bodies, parts of the size on flat skin ahead."""

SLENDER = 3.0
"""Bodies longer than this many times their width and height have coarser panels aft."""

WALL_SHARE = 0.3
"""Panels sag by no more than this part of a thin wall or gap, so that its sides stay apart."""

WALL_REACH = 2.0
"""Walls and gaps thicker than this many edges of the fine mesh are not looked at."""

COARSEST = 4.0
"""Flat skin gets this many times coarser than without bends, at most."""

ALIKE = 1.4
"""Then all panels get this many times larger, at most: twice WALL_SHARE is still less than 1."""

NEAR_ENOUGH = 1e-3
"""Sizes are scaled alike once their number is this near to the wanted one, as logarithm."""

EQUAL_SIDES = np.sqrt(3.0) / 4.0


@dataclass(frozen=True, eq=False)
class SizeField:
    """What decides the size of panels, at the vertices of a fine mesh.

    Attributes
    ----------
    points : (n, 3) float, m
    bend : (n,) float, 1/m, greatest curvature
    base : (n,) float, size over that on flat skin ahead
    limit : (n,) float, m, greatest size whatever the number of panels
    strip : (n,) float, m, width of strips between lines
    graph : (n, n) sparse, m, lengths of edges
    triangles, areas : (m, 3) int and (m,) float, m2
    least : least size at very tight bends, part of that on flat skin ahead
    """

    points: np.ndarray
    bend: np.ndarray
    base: np.ndarray
    limit: np.ndarray
    strip: np.ndarray
    graph: csr_array
    triangles: np.ndarray
    areas: np.ndarray
    least: float

    def sizes(self, flat: float, least: float) -> np.ndarray:
        """(n,) float, m: sizes when flat skin ahead has panels of size `flat`.

        `least` : at bends and in strips panels are no smaller, parts of `flat`.
        """
        bend = np.maximum(self.bend, 1e-12)
        size = np.minimum(flat * self.base, np.maximum(TURN / bend, max(LEAST, least) * flat))
        size = np.minimum(size, np.maximum(LARGEST_TURN / bend, least * flat))
        size = np.minimum(size, np.maximum(self.strip, max(NARROWEST, least) * flat))
        return self._grown(np.minimum(size, np.maximum(self.limit, SMALLEST * flat)))

    def number(self, sizes) -> float:
        """Number of panels of these sizes."""
        density = (1.0 / sizes[self.triangles] ** 2).mean(axis=1)
        return float((self.areas * density).sum() / EQUAL_SIDES)

    def sizes_for(self, n_panels: float) -> np.ndarray:
        """(n,) float, m: sizes that give so many panels.

        Flat skin gets up to COARSEST times coarser for the sake of bends; then all panels get up to
        ALIKE times larger; then tight bends get fewer panels.
        """
        flat = np.sqrt(self.areas.sum() / (EQUAL_SIDES * n_panels))

        def by_flat(size):
            return self.sizes(size, self.least)

        def by_least(least):
            return self.sizes(COARSEST * flat, least)

        sizes = self._fitted(n_panels, by_flat, 0.2 * flat, COARSEST * flat)
        most = n_panels * ALIKE**2
        if self.number(sizes) > most:
            sizes = self._fitted(most, by_least, self.least, 1.0)
        return sizes * np.sqrt(self.number(sizes) / n_panels)

    def _fitted(self, n_panels: float, sizes_at, low: float, high: float) -> np.ndarray:
        """Sizes that depend on a number between `low` and `high`, so that there are n_panels."""
        low, high = np.log(low), np.log(high)
        middle, slope, before = high - 1.4, -2.0, None
        for _ in range(14):
            sizes = sizes_at(np.exp(middle))
            excess = np.log(self.number(sizes) / n_panels)
            low, high = (middle, high) if excess > 0.0 else (low, middle)
            if abs(excess) < NEAR_ENOUGH or high - low < NEAR_ENOUGH:
                break
            if before is not None:
                slope = min(-0.2, (excess - before[1]) / (middle - before[0]))
            before = middle, excess
            middle = middle - excess / slope
            if not low < middle < high:
                middle = 0.5 * (low + high)
        return sizes

    def _grown(self, size) -> np.ndarray:
        """Sizes no larger than anywhere else plus GROWTH times the way from there."""
        n = len(size)
        graph = self.graph.tocoo()
        rows = np.concatenate([graph.row, np.full(n, n)])
        columns = np.concatenate([graph.col, np.arange(n)])
        values = np.concatenate([GROWTH * graph.data, size])
        wider = csr_array((values, (rows, columns)), shape=(n + 1, n + 1))
        return dijkstra(wider, directed=True, indices=n)[:n]


def size_field(skin, tree, chains, names, passes: int, finer, bounds) -> SizeField:
    """Find bends, strips and other reasons for small panels on a fine skin.

    Parameters
    ----------
    skin : Skin of small triangles; normals at vertices that are not on lines
    tree : of the surface, for nearest points; None leaves thin walls unlooked at
    chains, names : kept lines
    passes : so often normals are averaged first; 0 for clean skin
    finer : (centre (3,) m, radius m, panel size m) each
    bounds : (2, 3) float, m, of the whole body

    Returns
    -------
    SizeField
    """
    shown, triangles = visible(skin)
    index = np.full(len(skin.out), -1)
    index[shown] = np.arange(len(shown))
    triangles = index[triangles]
    points, normals, kind = skin.points[shown], skin.normal[shown], skin.kind[shown]
    edges = np.unique(sorted_edges(triangles), axis=0)
    lengths = np.maximum(np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1), 1e-12)
    n = len(points)
    both = np.concatenate([edges, edges[:, ::-1]])
    graph = csr_array((np.tile(lengths, 2), (both[:, 0], both[:, 1])), shape=(n, n))
    spacing = float(np.median(lengths))
    free = kind == 0
    normals = _smoothed(normals, both, free, passes)
    bend = _bends(points, normals, both, free)
    bend = np.maximum(_spread_average(bend, both, free), _line_bends(skin, shown, chains, spacing))
    chain_of = _chain_of(skin, shown)
    base = _aft(points, bounds)
    sharp = (chain_of >= 0) & (names[np.maximum(chain_of, 0)] == SHARP) if len(names) else ~free
    base[sharp] *= AT_SHARP_EDGES
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    strip = _strips(graph, edges, lengths, chain_of, kind, chains)
    limit = _limits(points, finer)
    if tree is not None:
        reach = WALL_REACH * spacing
        limit = np.minimum(limit, _wall_limits(tree, points, normals, bend, free, reach))
    least = LEAST if passes else SMALLEST
    return SizeField(points, bend, base, limit, strip, graph, triangles, areas, least)


def sizes_at(field: SizeField, sizes, points) -> np.ndarray:
    """(k,) float, m: sizes at points near those of the field."""
    distance, near = cKDTree(field.points).query(points, k=4)
    weight = 1.0 / (distance + 1e-9 + 0.05 * distance.max(axis=1, keepdims=True))
    return (weight * sizes[near]).sum(axis=1) / weight.sum(axis=1)


def _smoothed(normals, both, free, passes: int) -> np.ndarray:
    """Normals averaged with those of neighbours, not over kept lines."""
    n = len(normals)
    inner = free[both[:, 0]] & free[both[:, 1]]
    rows, columns = both[inner].T
    link = csr_array((np.ones(len(rows)), (rows, columns)), shape=(n, n))
    degree = np.maximum(np.bincount(rows, minlength=n), 1)[:, None]
    for _ in range(passes):
        normals = normals + link @ normals / degree
        size = np.linalg.norm(normals, axis=1, keepdims=True)
        normals = normals / np.maximum(size, 1e-300)
    return normals


def _bends(points, normals, both, free) -> np.ndarray:
    """(n,) greatest curvature, 1/m, from a fit of the turn of the normal to the neighbours."""
    inner = free[both[:, 0]] & free[both[:, 1]]
    v, w = both[inner].T
    axis = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    first = np.cross(normals, axis)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    second = np.cross(normals, first)
    step, turn = points[w] - points[v], normals[w] - normals[v]
    x, y = (step * first[v]).sum(axis=1), (step * second[v]).sum(axis=1)
    p, q = (turn * first[v]).sum(axis=1), (turn * second[v]).sum(axis=1)
    n = len(points)

    def total(values):
        return np.bincount(v, values, minlength=n)

    xx, xy, yy = total(x * x), total(x * y), total(y * y)
    matrix = np.zeros((n, 3, 3))
    matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 0] = xx, xy, xy
    matrix[:, 1, 1], matrix[:, 2, 2] = xx + yy, yy
    matrix[:, 1, 2] = matrix[:, 2, 1] = xy
    right = np.stack([total(x * p), total(y * p + x * q), total(y * q)], axis=1)
    scale = np.maximum(xx + yy, 1e-300)
    matrix = matrix / scale[:, None, None] + 1e-4 * np.eye(3)
    a, b, c = np.linalg.solve(matrix, (right / scale[:, None])[:, :, None])[:, :, 0].T
    return np.abs(0.5 * (a + c)) + np.hypot(0.5 * (a - c), b)


def _spread_average(bend, both, free) -> np.ndarray:
    """Bends averaged over neighbours; on lines, the mean of the free neighbours."""
    n = len(bend)
    inner = free[both[:, 1]]
    rows, columns = both[inner].T
    mean = np.bincount(rows, bend[columns], minlength=n)
    mean /= np.maximum(np.bincount(rows, minlength=n), 1)
    return np.where(free, 0.5 * (bend + mean), mean)


def _chain_of(skin, shown) -> np.ndarray:
    """(n,) chain that each vertex lies on, -1: none; for fixed vertices one of them."""
    result = np.full(len(skin.out), -1)
    edges = np.flatnonzero((skin.chain >= 0) & (skin.start >= 0))
    result[skin.start[edges]] = skin.chain[edges]
    return result[shown]


def _line_bends(skin, shown, chains, spacing: float) -> np.ndarray:
    """(n,) curvature, 1/m, of the kept lines that vertices lie on, seen at `spacing`."""
    bend = np.zeros(len(skin.out))
    edges = np.flatnonzero((skin.chain >= 0) & (skin.start >= 0))
    edges = edges[np.argsort(skin.chain[edges], kind="stable")]
    begin = np.searchsorted(skin.chain[edges], np.arange(len(chains.first)))
    for k in range(len(chains.first) - 1):
        part = edges[begin[k] : begin[k + 1]]
        line = chains.points[chains.first[k] : chains.first[k + 1]]
        place = chains.places[chains.first[k] : chains.first[k + 1]]
        here = skin.place[part]
        reach = np.minimum(2.0 * spacing, np.minimum(here, place[-1] - here))
        middle, behind, ahead = (
            np.stack([np.interp(s, place, column) for column in line.T], axis=1)
            for s in (here, here - reach, here + reach)
        )
        u, v = middle - behind, ahead - middle
        cross = np.linalg.norm(np.cross(u, v), axis=1)
        angle = np.arctan2(cross, (u * v).sum(axis=1))
        seen = reach > 0.5 * spacing
        np.maximum.at(bend, skin.start[part[seen]], angle[seen] / reach[seen])
    return bend[shown]


def _aft(points, bounds) -> np.ndarray:
    """(n,) 1 ahead, rising to AFT between 40 and 70 % of the length of slender bodies."""
    length, width, height = bounds[1] - bounds[0]
    if length < SLENDER * max(width, height):
        return np.ones(len(points))
    share = np.clip(((points[:, 0] - bounds[0, 0]) / length - 0.4) / 0.3, 0.0, 1.0)
    return 1.0 + (AFT - 1.0) * share**2 * (3.0 - 2.0 * share)


def _limits(points, finer) -> np.ndarray:
    limit = np.full(len(points), np.inf)
    for centre, radius, size in finer:
        inside = np.linalg.norm(points - np.asarray(centre, dtype=float), axis=1) <= radius
        limit[inside] = np.minimum(limit[inside], size)
    return limit


def _wall_limits(tree, points, normals, bend, free, reach) -> np.ndarray:
    """(n,) m: sizes at which panels sag by WALL_SHARE of the way to the skin that faces them."""
    from panelcp.surface.panelling_kernels import nearest_many

    limit = np.full(len(points), np.inf)
    found, gap, _ = nearest_many(tree, points[free], -normals[free], 0.5, reach)
    sag = 8.0 * WALL_SHARE * gap / np.maximum(bend[free], 1e-12)
    limit[free] = np.where(found >= 0, np.sqrt(np.maximum(sag, gap**2)), np.inf)
    return limit


def _strips(graph, edges, lengths, chain_of, kind, chains) -> np.ndarray:
    """(n,) m: width of the strip between two kept lines, infinite elsewhere."""
    n = len(kind)
    strip = np.full(n, np.inf)
    on_line = np.flatnonzero(kind > 0)
    if len(on_line) == 0:
        return strip
    reach = 12.0 * float(np.median(lengths))
    gap, _, label = dijkstra(
        graph, indices=on_line, min_only=True, return_predecessors=True, limit=reach
    )
    fixed = np.flatnonzero(kind == 2)
    to_fixed = np.full(n, np.inf)
    if len(fixed):
        to_fixed = dijkstra(graph, indices=fixed, min_only=True, limit=2.0 * reach)
    p, q = edges.T
    near = np.isfinite(gap[p]) & np.isfinite(gap[q])
    p, q, length = p[near], q[near], lengths[near]
    width = gap[p] + gap[q] + length
    a, b = label[p], label[q]
    across = (chain_of[a] != chain_of[b]) & (kind[a] == 1) & (kind[b] == 1)
    across &= np.minimum(to_fixed[p], to_fixed[q]) > 1.5 * width
    for end in (p, q, a, b):
        np.minimum.at(strip, end[across], 1.1 * width[across])
    whole = chains.places[chains.first[1:] - 1]
    lined = kind == 1
    strip[lined] = np.minimum(strip[lined], np.maximum(whole[chain_of[lined]], 0.0))
    return strip
