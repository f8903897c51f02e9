"""Small repairs: points, flat and doubled triangles, cracks; each tells what it changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError

COINCIDENT = 1e-7
"""Vertices nearer than this part of the size of the body are one vertex."""


FLAT = 1e-6
"""A triangle of less double area than this part of its longest edge squared has none."""

NEEDLE = 1e-5
"""Edges shorter than this part of the size of the body, at the point of a needle, are drawn
together."""

SLENDER = 1e-2
"""A needle's shortest edge is less than this part of its longest."""

_ACROSS = np.array([0.4657364, 0.5911321, 0.6585239])
"""A direction that no plane of a body is likely to stand across."""

_MORE_PASSES = 60


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """The edges of a set of triangles; half-edge 3 t + k runs from corner k of t to corner k + 1.

    Attributes
    ----------
    order : (3 m,) int, half-edges, those of one edge together
    starts : (n_edges + 1,) int, where each edge begins in `order`
    edge : (3 m,) int, edge of each half-edge
    """

    order: np.ndarray
    starts: np.ndarray
    edge: np.ndarray

    @property
    def counts(self) -> np.ndarray:
        """(n_edges,) int: triangles at each edge."""
        return np.diff(self.starts)

    @property
    def lone(self) -> np.ndarray:
        """(k,) int: half-edges of edges with one triangle, in the order of the triangles."""
        return np.sort(self.order[self.starts[:-1][self.counts == 1]])

    @property
    def mates(self) -> np.ndarray:
        """(3 m,) int: the other half-edge; -1 at open edges, -2 at more than two triangles."""
        from panelcp.surface.repair_kernels import half_edge_mates

        return half_edge_mates(self.order, self.starts)


def edge_table(n_vertices: int, triangles) -> EdgeTable:
    """Edges of triangles.

    Examples
    --------
    >>> edge_table(4, [[0, 1, 2], [2, 1, 3]]).counts.tolist()
    [1, 1, 2, 1, 1]
    """
    from panelcp.surface.repair_kernels import edge_groups

    order, edge, starts = edge_groups(plain_triangles(triangles), n_vertices)
    return EdgeTable(order, starts, edge)


def half_edge_ends(triangles, half_edges) -> np.ndarray:
    """(k, 2) int: vertices from which and to which half-edges run."""
    triangles, half_edges = np.asarray(triangles), np.asarray(half_edges)
    triangle, corner = half_edges // 3, half_edges % 3
    return np.stack([triangles[triangle, corner], triangles[triangle, (corner + 1) % 3]], axis=1)


def plain_triangles(triangles) -> np.ndarray:
    """Writable (m, 3) int64 for the compiled loops, which meet one kind of array only."""
    triangles = np.ascontiguousarray(triangles, dtype=np.int64)
    return triangles if triangles.flags.writeable else triangles.copy()


def merge_coincident(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Give triangles that touch the same point the same vertex.

    Triangles that lose a corner this way are dropped and counted; triangles whose three
    different corners lie on one line are an error (`remove_flat` takes them out).

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles : merged
    notes : lines that say what was done
    """
    vertices, triangles, notes = merge_points(vertices, triangles)
    _require_area(vertices, triangles)
    return vertices, triangles, notes


def merge_points(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Give triangles that touch the same point the same vertex; unused vertices are left out.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles : merged; the arrays that were given when nothing is to be done
    notes : lines that say what was done
    """
    given_vertices, given_triangles = vertices, triangles
    vertices, triangles = np.asarray(vertices, dtype=float), np.asarray(triangles)
    step = max(np.ptp(vertices, axis=0).max(), 1e-12) * COINCIDENT
    notes = []
    labels = _coinciding(vertices, step)
    if labels is not None:
        merged = _group_means(vertices, labels)
        notes.append(f"{len(vertices)} vertices merged to {len(merged)} (points that coincide)")
        vertices, triangles = merged, labels[triangles]
    kept = _has_three_corners(triangles)
    if not kept.all():
        notes.append(f"{np.count_nonzero(~kept)} triangles with coinciding corners dropped")
        triangles = triangles[kept]
    if len(triangles) == 0:
        raise SurfaceError("all triangles have coinciding corners: nothing of the skin is left")
    vertices, triangles = used_only(vertices, triangles)
    same = not notes and len(vertices) == len(given_vertices)
    return (given_vertices, given_triangles, []) if same else (vertices, triangles, notes)


def drop_doubled(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Keep one of the triangles that have the same three vertices, whatever their winding.

    Two of opposite winding are a sheet without thickness: one is kept here, and dropped as a fin
    by `crowded.part_crowded_edges` where it stands on a skin.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles, notes
    """
    corners = np.asarray(triangles)
    mates = edge_table(len(vertices), corners).mates.reshape(-1, 3)
    # at each edge a doubled triangle meets its twin alone, or more than one triangle
    twin = (mates // 3).max(axis=1, keepdims=True)
    suspects = np.flatnonzero(((mates == -2) | ((mates >= 0) & (mates // 3 == twin))).all(axis=1))
    _, first = np.unique(np.sort(corners[suspects], axis=1), axis=0, return_index=True)
    doubled = np.ones(len(suspects), dtype=bool)
    doubled[first] = False
    doubled = suspects[doubled]
    if len(doubled) == 0:
        return vertices, triangles, []
    kept = np.ones(len(corners), dtype=bool)
    kept[doubled] = False
    place = format_place(np.asarray(vertices)[corners[doubled[0]]].mean(axis=0))
    return (
        *used_only(np.asarray(vertices), corners[kept]),
        [f"{len(doubled)} doubled triangles dropped (first near {place})"],
    )


def remove_flat(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Take out triangles without area and leave no opening behind.

    One with an open edge is dropped; the longest edge of another is turned to the corner that
    lies on it; where that gives no better triangles, its shortest edge is drawn together.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles : the arrays that were given when no triangle is flat
    notes : lines that say what was done

    Raises
    ------
    SurfaceError : flat triangles that can neither be turned nor drawn together
    """
    flat = flat_triangles(vertices, triangles)
    if not flat.any():
        return vertices, triangles, []
    points, corners = np.array(vertices, dtype=float), np.array(triangles)
    before = np.count_nonzero(flat)
    place = format_place(points[corners[np.flatnonzero(flat)[0]]].mean(axis=0))
    for _ in range(_MORE_PASSES):
        kept, changed = _flat_pass(points, corners, np.flatnonzero(flat))
        corners = corners[kept & _has_three_corners(corners)]
        flat = flat_triangles(points, corners)
        if not changed or not flat.any():
            break
    points, corners = used_only(points, corners)
    _require_area(points, corners)
    return (
        points,
        corners,
        [
            f"{before} triangles without area taken out, the skin around them kept closed "
            f"(first near {place})"
        ],
    )


def draw_needles(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Draw the short edges of needle triangles together (see `NEEDLE` and `SLENDER`).

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles : the arrays that were given when there is no needle
    notes : lines that say what was done; needles that must stay are not told
    """
    points, corners = np.asarray(vertices, dtype=float), np.asarray(triangles)
    needles = _needles(points, corners)
    before = np.count_nonzero(needles)
    if before == 0:
        return vertices, triangles, []
    place = format_place(points[corners[np.flatnonzero(needles)[0]]].mean(axis=0))
    corners, count = corners.copy(), len(corners)
    for _ in range(_MORE_PASSES):
        if not _needle_pass(corners, len(points), np.flatnonzero(needles), points):
            break
        corners = corners[_has_three_corners(corners)]
        needles = _needles(points, corners)
    if len(corners) == count:
        return vertices, triangles, []
    return (
        *used_only(points, corners),
        [f"{count - len(corners)} needle triangles drawn together (first near {place})"],
    )


def flat_triangles(vertices, triangles) -> np.ndarray:
    """(m,) bool: triangles whose corners lie on one line."""
    a, b, c = np.moveaxis(np.asarray(vertices, dtype=float)[np.asarray(triangles)], 1, 0)
    one, two = b - a, c - a
    normal = np.stack(
        [
            one[:, 1] * two[:, 2] - one[:, 2] * two[:, 1],
            one[:, 2] * two[:, 0] - one[:, 0] * two[:, 2],
            one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0],
        ]
    )
    longest = np.maximum.reduce([np.einsum("ni,ni->n", d, d) for d in (one, two, c - b)])
    return np.einsum("in,in->n", normal, normal) < (FLAT * longest) ** 2


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
    joined, triangles = used_only(joined, triangles[kept])
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


def close_junctions(
    vertices,
    triangles,
    tolerance: float,
    share: float = 0.0,
    most: float = 0.0,
    among=None,
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Divide open edges at open vertices that lie on them, so that both sides share the points.

    Closes T-junctions, and zips seams along which each side has points of its own: either side is
    divided at the points of the other. No vertex moves.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    tolerance : float, m, greatest distance of the point from the edge
    share : part of the length of the edge that this distance may be where that is more, as where
        one side follows a round seam in longer steps than the other
    most : m, limit of what `share` allows
    among : (k,) int, vertices of the seam; those of all open edges when None

    Returns
    -------
    vertices, triangles : the vertices that were given, the divided triangles
    notes : lines that say what was done
    """
    if tolerance <= 0.0:
        return vertices, triangles, []
    count, worst, first = 0, 0.0, None
    points, corners = np.asarray(vertices, dtype=float), np.asarray(triangles)
    for _ in range(_MORE_PASSES):
        table = edge_table(len(points), corners)
        lone = table.lone
        if among is not None:
            lone = lone[np.isin(half_edge_ends(corners, lone), among).all(axis=1)]
        reach = (tolerance, share, most)
        edge, vertex, along, away = _on_open_edges(points, corners, lone, *reach)
        if len(edge) == 0:
            break
        corners, used = _divided_edges(corners, edge, vertex, along)
        count += np.count_nonzero(used)
        worst = max(worst, away[used].max())
        first = points[vertex[used][0]] if first is None else first
    if count == 0:
        return vertices, triangles, []
    return (
        vertices,
        corners,
        [
            f"seam zipped: open edges divided at {count} points that lie on them, up to "
            f"{worst * 1e3:.3g} mm away, near {format_place(first)}"
        ],
    )


def open_vertices(triangles) -> np.ndarray:
    """(k,) int: vertices of edges that belong to one triangle only."""
    edges, _, counts = unique_edges(triangles)
    return np.unique(edges[counts == 1])


def unique_edges(triangles) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The edges of triangles, each once.

    Returns
    -------
    edges : (n, 2) int, smaller vertex first, in order
    inverse : (3 m,) int, edge of each row of `sorted_edges`
    counts : (n,) int, triangles at each

    Examples
    --------
    >>> edges, inverse, counts = unique_edges([[0, 1, 2], [2, 1, 3]])
    >>> edges.tolist(), inverse.tolist(), counts.tolist()
    ([[0, 1], [0, 2], [1, 2], [1, 3], [2, 3]], [0, 2, 1, 2, 3, 4], [1, 1, 2, 1, 1])
    """
    pairs = sorted_edges(triangles).astype(np.int64)
    n = int(pairs.max(initial=0)) + 1
    # one number for each edge: sorting these is far faster than sorting rows
    keys, inverse, counts = np.unique(
        pairs[:, 0] * n + pairs[:, 1], return_inverse=True, return_counts=True
    )
    return np.stack([keys // n, keys % n], axis=1), inverse.ravel(), counts


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


def used_only(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and triangles without the vertices that no triangle uses."""
    used = np.zeros(len(vertices), dtype=bool)
    used[triangles.ravel()] = True
    if used.all():
        return vertices, triangles
    return vertices[used], (np.cumsum(used) - 1)[triangles]


def _coinciding(vertices, step: float) -> np.ndarray | None:
    """Label of each vertex, equal where points lie within `step`; None when all are apart.

    Points are sorted along one slanting direction, so that only next ones need be compared.
    """
    along = np.einsum("ni,i->n", vertices, _ACROSS)
    order = np.argsort(along, kind="stable")
    place = vertices[order]
    same = (place[1:] == place[:-1]).all(axis=1)
    lead = np.concatenate([[True], ~same])
    leaders, group = order[lead], np.cumsum(lead) - 1
    pairs = _near_pairs(vertices[leaders], along[leaders], step)
    if len(leaders) == len(vertices) and len(pairs) == 0:
        return None
    labels = np.empty(len(vertices), dtype=np.int64)
    labels[order] = _grouped(len(leaders), pairs)[group] if len(pairs) else group
    first = np.full(labels.max() + 1, len(vertices))
    np.minimum.at(first, labels, np.arange(len(vertices)))
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[labels]


def _near_pairs(points, along, step: float) -> np.ndarray:
    pairs, shift = [], 1
    while shift < len(points):
        near = np.flatnonzero(along[shift:] - along[:-shift] <= step)
        if len(near) == 0:
            break
        apart = np.linalg.norm(points[near + shift] - points[near], axis=1)
        close = near[apart <= step]
        pairs.append(np.stack([close, close + shift], axis=1))
        shift += 1
    return np.concatenate(pairs) if pairs else np.empty((0, 2), dtype=np.int64)


def _flat_pass(points, corners, flat) -> tuple[np.ndarray, bool]:
    """Change flat triangles that do not touch each other; corners are written to.

    Returns which triangles to keep and whether anything was changed.
    """
    table = edge_table(len(points), corners)
    mates, keys = table.mates, _edge_keys(corners, table, len(points))
    fans = _Fans(len(points), corners, table)
    touched = np.zeros(len(points), dtype=bool)
    kept, changed = np.ones(len(corners), dtype=bool), False
    for t in flat:
        if touched[corners[t]].any():
            continue
        if (mates[3 * t : 3 * t + 3] == -1).any():
            kept[t], changed = False, True
            touched[corners[t]] = True
            continue
        around = _turned_pair(points, corners, mates, keys, t)
        if around is None:
            around = _drawn_together(points, corners, fans, t)
        if around is not None:
            touched[around], changed = True, True
    return kept, changed


class _Fans:
    """Triangles round each vertex, and which vertices lie on open edges, as a pass begins.

    They stay right round every vertex that the pass has not touched.
    """

    def __init__(self, n: int, corners, table: EdgeTable):
        self.order = np.argsort(corners.ravel(), kind="stable") // 3
        self.starts = np.concatenate([[0], np.cumsum(np.bincount(corners.ravel(), minlength=n))])
        self.on_rim = np.zeros(n, dtype=bool)
        self.on_rim[half_edge_ends(corners, table.lone)] = True

    def at(self, vertex) -> np.ndarray:
        """Triangles at one vertex."""
        return self.order[self.starts[vertex] : self.starts[vertex + 1]]


def _needles(points, corners) -> np.ndarray:
    ends = [points[column] for column in corners.T]
    lengths = [np.linalg.norm(ends[k - 2] - ends[k], axis=1) for k in range(3)]
    shortest, longest = np.minimum.reduce(lengths), np.maximum.reduce(lengths)
    limit = NEEDLE * np.ptp(points, axis=0).max()
    return (shortest < limit) & (shortest < SLENDER * longest)


def _needle_pass(corners, n: int, needles, points) -> bool:
    """Draw together needles that do not touch each other; corners are written to."""
    table = edge_table(n, corners)
    mates, fans = table.mates, _Fans(n, corners, table)
    touched, changed = np.zeros(n, dtype=bool), False
    for t in needles:
        if touched[corners[t]].any() or (mates[3 * t : 3 * t + 3] == -2).any():
            continue
        around = _drawn_together(points, corners, fans, t)
        if around is not None:
            touched[around], changed = True, True
    return changed


def _edge_keys(corners, table: EdgeTable, n: int) -> np.ndarray:
    low, high = np.sort(half_edge_ends(corners, table.order[table.starts[:-1]]), axis=1).T
    return low * n + high


def _known_edge(keys, n: int, c: int, d: int) -> bool:
    key = min(c, d) * n + max(c, d)
    place = np.searchsorted(keys, key)
    return bool(place < len(keys) and keys[place] == key)


def _turned_pair(points, corners, mates, keys, t):
    """Turn the longest edge of t to the corner on it; the four vertices, or None."""
    ends = points[corners[t]]
    k = int(np.argmax(np.linalg.norm(np.roll(ends, -1, axis=0) - ends, axis=1)))
    mate = mates[3 * t + k]
    if mate < 0:
        return None
    s = mate // 3
    a, b, c = (corners[t, (k + i) % 3] for i in range(3))
    d = corners[s, (mate % 3 + 2) % 3]
    pair = np.array([[c, a, d], [c, d, b]])
    wrong = c == d or _known_edge(keys, len(points), c, d)
    same_way = corners[s, mate % 3] == b
    if wrong or not same_way or flat_triangles(points, pair).any():
        return None
    corners[t], corners[s] = pair
    return np.array([a, b, c, d])


def _drawn_together(points, corners, fans: _Fans, t):
    """Draw the shortest edge of t together where that keeps the skin one; vertices, or None.

    A vertex on an open edge stays where it is, so that the rim keeps its place; an edge that
    joins two rims through the skin is left, since they would touch.
    """
    ends = points[corners[t]]
    lengths = np.linalg.norm(np.roll(ends, -1, axis=0) - ends, axis=1)
    k = int(np.argmin(lengths))
    if lengths[k] > SLENDER * lengths.max():
        return None
    a, c = corners[t, k], corners[t, (k + 1) % 3]
    if fans.on_rim[c]:
        a, c = c, a
    shared = len(np.intersect1d(fans.at(a), fans.at(c)))  # triangles at the edge
    if shared > 1 and fans.on_rim[[a, c]].all():
        return None
    near = [np.unique(corners[fans.at(v)]) for v in (a, c)]
    common = np.setdiff1d(np.intersect1d(*near), [a, c])
    if len(common) != shared:
        return None
    moved = fans.at(c)
    new = np.where(corners[moved] == c, a, corners[moved])
    left = _has_three_corners(new)
    if _turns_over(points, corners[moved][left], new[left]):
        return None
    corners[moved] = new
    return np.union1d(*near)


def _turns_over(points, before, after) -> bool:
    """Does a triangle with area face the other way, or lose its area?"""
    flat = flat_triangles(points, before)
    normals = [np.cross(*np.diff(points[some], axis=1).swapaxes(0, 1)) for some in (before, after)]
    facing = (normals[0] * normals[1]).sum(axis=1) > 0.0
    return bool((~flat & ~facing).any())


def _on_open_edges(points, corners, lone, tolerance: float, share: float, most: float):
    """Open vertices on open edges: half-edge, vertex, place along the edge (0..1), distance, m."""
    ends = half_edge_ends(corners, lone)
    rim = np.unique(ends)
    empty = np.empty(0, dtype=np.int64)
    if len(rim) == 0:
        return empty, empty, np.empty(0), np.empty(0)
    start, span = points[ends[:, 0]], points[ends[:, 1]] - points[ends[:, 0]]
    length = np.linalg.norm(span, axis=1)
    reach = np.maximum(tolerance, np.minimum(share * length, most))
    near = cKDTree(points[rim]).query_ball_point(start + 0.5 * span, 0.5 * length + reach)
    which = np.repeat(np.arange(len(lone)), [len(some) for some in near])
    vertex = rim[np.concatenate(near).astype(np.int64)]
    third = corners[lone // 3, (lone % 3 + 2) % 3]
    other = (vertex != ends[which, 0]) & (vertex != ends[which, 1]) & (vertex != third[which])
    which, vertex = which[other], vertex[other]
    offset = points[vertex] - start[which]
    along = (offset * span[which]).sum(axis=1) / np.maximum(length[which] ** 2, 1e-300)
    away = np.linalg.norm(offset - along[:, None] * span[which], axis=1)
    margin = 1e-6
    good = (along > margin) & (along < 1.0 - margin) & (away <= reach[which])
    # beyond the tolerance only points between the ends, none that face one of them across a gap
    from_end = np.minimum(along, 1.0 - along) * length[which]
    good &= (away <= tolerance) | (from_end > 2.0 * away)
    return lone[which[good]], vertex[good], along[good], away[good]


def _divided_edges(corners, edge, vertex, along) -> tuple[np.ndarray, np.ndarray]:
    """Triangles divided at vertices on one edge each; and which of the entries were used."""
    chosen = np.full(len(corners), -1, dtype=np.int64)
    chosen[edge[::-1] // 3] = edge[::-1]
    used = chosen[edge // 3] == edge
    order = np.flatnonzero(used)[np.lexsort((along[used], edge[used]))]
    kept, extra = np.ones(len(corners), dtype=bool), []
    for part in np.split(order, np.flatnonzero(np.diff(edge[order])) + 1):
        half = edge[part[0]]
        t, k = half // 3, half % 3
        a, b, c = (corners[t, (k + i) % 3] for i in range(3))
        line = np.concatenate([[a], vertex[part], [b]])
        kept[t] = False
        extra.append(np.stack([line[:-1], line[1:], np.full(len(line) - 1, c)], axis=1))
    return np.concatenate([corners[kept], *extra]), used


def _joined_by_an_edge(pairs, triangles, n_vertices: int) -> np.ndarray:
    edges = sorted_edges(triangles)
    pairs = np.sort(pairs, axis=1)
    return np.isin(pairs[:, 0] * n_vertices + pairs[:, 1], edges[:, 0] * n_vertices + edges[:, 1])


def _require_area(vertices, triangles):
    flat = flat_triangles(vertices, triangles)
    if flat.any():
        first = vertices[triangles[np.flatnonzero(flat)[0]]].mean(axis=0)
        raise SurfaceError(
            f"{np.count_nonzero(flat)} of {len(triangles)} triangles have no area (first near "
            f"{format_place(first)}); their corners lie on one line. Remove them in the CAD or "
            "export with another tolerance"
        )
