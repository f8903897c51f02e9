"""First steps with a scan: its scale from one taped length, fewer triangles, cuts along a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from panelcp.errors import SurfaceError
from panelcp.surface.repair import format_place

DOUBTED_SCALE = 0.05
"""A scale that is wrong by more than this part is warned of (scans: 0.5 to 2 %, memory)."""

REFUSED_SCALE = 0.30
"""A scale that is wrong by more than this part is a wrong unit or a wrong pair of points."""

GROWTH = 1.12
"""The length up to which edges are merged grows by this factor from sweep to sweep."""

SWEEPS = 40
FOLD = 10.0
"""deg; an edge along which the skin turns by this counts as 1.4 times as long, by 45, 4.5 times."""

SLIVER = 0.01
"""Vertices nearer to a cut than this part of the median edge are put onto it."""


@dataclass(frozen=True, eq=False)
class Adjacency:
    """Vertices joined by an edge.

    Attributes
    ----------
    starts : (n_vertices + 1,) int, where the neighbours of a vertex begin in `links`
    links : (k,) int, neighbours
    single : (k,) bool, True where the edge belongs to one triangle only
    """

    starts: np.ndarray
    links: np.ndarray
    single: np.ndarray

    @property
    def rows(self) -> np.ndarray:
        """(k,) int: the vertex each link starts from."""
        return np.repeat(np.arange(len(self.starts) - 1), np.diff(self.starts))

    @property
    def on_rim(self) -> np.ndarray:
        """(n_vertices,) bool: vertices of open edges."""
        rim = np.zeros(len(self.starts) - 1, dtype=bool)
        rim[self.links[self.single]] = True
        return rim


def adjacency(n_vertices: int, triangles) -> Adjacency:
    """Neighbours of each vertex of a triangle surface."""
    a, b, c = np.asarray(triangles).T
    rows, columns = np.concatenate([a, b, c, b, c, a]), np.concatenate([b, c, a, a, b, c])
    counts = np.ones(len(rows), dtype=np.int32)
    matrix = csr_array(coo_array((counts, (rows, columns)), shape=(n_vertices,) * 2))
    matrix.sum_duplicates()
    return Adjacency(
        matrix.indptr.astype(np.int64), matrix.indices.astype(np.int64), matrix.data == 1
    )


def vertex_normals(vertices, triangles) -> np.ndarray:
    """(n, 3) float, unit: mean of the triangles at a vertex, weighted with their area."""
    a, b, c = np.moveaxis(np.asarray(vertices)[triangles], 1, 0)
    vectors = np.cross(b - a, c - a)
    sums = np.zeros((len(vertices), 3))
    for axis in range(3):
        for corner in range(3):
            sums[:, axis] += np.bincount(
                np.asarray(triangles)[:, corner], weights=vectors[:, axis], minlength=len(sums)
            )
    return sums / np.maximum(np.linalg.norm(sums, axis=1, keepdims=True), 1e-300)


def scaled_to_tape(
    vertices, triangles, point_a, point_b, taped_length: float, reach: float = 0.05
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Scale a scan so that two of its points are as far apart as the tape says.

    Parameters
    ----------
    vertices : (n, 3) float, m by the scan's own measure
    triangles : (m, 3) int
    point_a, point_b : (3,) float, m, in the same coordinates; put onto the nearest skin
    taped_length : m, straight distance between both points on the aeroplane
    reach : m, a point farther from the skin than this is refused

    Returns
    -------
    vertices, triangles : scaled about the origin
    notes : lines that say what was done; one that begins with "warning" beyond 5 %

    Raises
    ------
    SurfaceError : a length that is not positive, a point away from the skin, two points that are
        one, a factor that only a wrong unit or a wrong pair of points explains

    Examples
    --------
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0]]
    >>> scaled, _, notes = scaled_to_tape(corners, [[0, 1, 2]], corners[0], corners[1], 1.02)
    >>> scaled[1].tolist(), notes[-1]
    ([1.02, 0.0, 0.0], 'scan scaled by 1.02000: 1000.0 mm in the scan, 1020.0 mm by the tape')
    """
    vertices, triangles = np.asarray(vertices, dtype=float), np.asarray(triangles)
    if not (np.isfinite(taped_length) and taped_length > 0.0):
        raise SurfaceError(f"taped length is {taped_length} m; expected more than 0")
    feet, notes = [], []
    for name, point in (("A", point_a), ("B", point_b)):
        point = np.asarray(point, dtype=float)
        foot, distance = nearest_on_skin(vertices, triangles, point)
        if distance > reach:
            raise SurfaceError(
                f"taped point {name} at {format_place(point)} is {distance * 1e3:.0f} mm from the "
                f"skin (allowed {reach * 1e3:.0f} mm); the nearest skin is {format_place(foot)}"
            )
        if distance > 0.0:
            notes.append(
                f"taped point {name} moved {distance * 1e3:.2g} mm onto the skin at "
                f"{format_place(foot)}"
            )
        feet.append(foot)
    apart = float(np.linalg.norm(feet[1] - feet[0]))
    if apart == 0.0:
        raise SurfaceError("both taped points lie at the same place of the skin")
    factor = taped_length / apart
    text = f"{apart * 1e3:.1f} mm in the scan, {taped_length * 1e3:.1f} mm by the tape"
    if not 1.0 / (1.0 + REFUSED_SCALE) <= factor <= 1.0 + REFUSED_SCALE:
        raise SurfaceError(
            f"scale factor {factor:.4g} ({text}) cannot be an error of a scan: check the length "
            "unit of the file, the two points and the taped length"
        )
    notes.append(f"scan scaled by {factor:.5f}: {text}")
    if abs(factor - 1.0) > DOUBTED_SCALE:
        notes.append(
            f"warning: the scale was wrong by {100 * (factor - 1.0):+.1f} %; scans are seldom "
            "wrong by more than 2 %: measure a second length"
        )
    return vertices * factor, triangles, notes


def nearest_on_skin(vertices, triangles, point) -> tuple[np.ndarray, float]:
    """Nearest point (3,) m of the triangles to a point, and the distance, m."""
    from trimesh.triangles import closest_point

    vertices, triangles = np.asarray(vertices, dtype=float), np.asarray(triangles)
    away = np.linalg.norm(vertices - point, axis=1)[triangles]
    corners_apart = np.ptp(vertices[triangles], axis=1)
    bound = away.min()
    near = np.flatnonzero(away.min(axis=1) - np.linalg.norm(corners_apart, axis=1) <= bound)
    feet = closest_point(vertices[triangles[near]], np.tile(point, (len(near), 1)))
    distances = np.linalg.norm(feet - point, axis=1)
    best = int(np.argmin(distances))
    return feet[best], float(distances[best])


def reduced(vertices, triangles, n: int, places=None) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Fewer triangles of more even size, for a scan of millions before panelling.

    Parameters
    ----------
    vertices : (n_vertices, 3) float, m; open or closed, one winding, no edge of more than two
        triangles
    triangles : (m, 3) int
    n : about how many triangles shall be left; nothing is done to fewer
    places : (n_vertices, 3) float, m, the same vertices on a smoother skin, by which lengths and
        folds are judged, so that which are drawn together does not hang on their noise

    Returns
    -------
    vertices, triangles : every vertex left is the mean of the vertices drawn into it, so noise
        falls; open edges stay where they are, those on BL 0 on it
    notes : lines that say what was done

    Notes
    -----
    The shortest edges are drawn together first, up to a length that grows until the wanted number
    is reached; across a sharp edge of the skin they count as longer than they are. The skin stays
    one sheet: no edge gets a third triangle.
    """
    from panelcp.surface import scanning_kernels as kernels

    vertices = np.array(vertices, dtype=float)
    points = vertices.copy() if places is None else np.array(places, dtype=float)
    triangles = np.array(triangles, dtype=np.int64)
    if n < 4:
        raise SurfaceError(f"{n} triangles wanted; a scan cannot be reduced below 4")
    before = live = len(triangles)
    if before <= n:
        return vertices, triangles, []
    weights, into = np.ones(len(points)), np.arange(len(points))
    on_rim, normals = adjacency(len(points), triangles).on_rim, vertex_normals(points, triangles)
    limit = 0.5 * np.sqrt(4.0 / np.sqrt(3.0) * _area(points, triangles) / n)
    for _ in range(SWEEPS):
        edges, rim = _short_edges(points, normals, triangles, limit)
        chains = kernels.linked_corners(triangles, len(points))
        state = (points, weights, into, triangles)
        live = kernels.merge_short_edges(*state, rim, edges, limit, n, chains)
        triangles = triangles[triangles[:, 0] >= 0]
        if live <= n:
            break
        limit *= GROWTH
    used, compact = np.unique(triangles, return_inverse=True)
    if places is not None:
        points = _means_of_drawn(vertices, into, on_rim)
    note = f"{before} triangles reduced to {live}; edges shorter than {limit * 1e3:.1f} mm merged"
    if live > n:
        note += f" (wanted {n}: no more could be merged without spoiling the skin)"
    return points[used], compact.reshape(-1, 3), [note]


def split_at(vertices, triangles, values, chosen=None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Divide triangles along the line where a value, linear on each of them, is zero.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    values : (n,) float at the vertices; exactly 0 on the line
    chosen : (m,) bool, the triangles that may be divided; all when not given. Those on both sides
        of a crossed edge must be chosen together

    Returns
    -------
    vertices : those given, then one for each crossed edge
    triangles : parts keep winding and shape of the skin
    side : (n_parts,) int, sign of the value over each; 0 where it is zero or was not divided
    """
    vertices, triangles = np.asarray(vertices, dtype=float), np.asarray(triangles)
    sign = np.sign(values).astype(np.int64)
    at = sign[triangles]
    crossed = (at.min(axis=1) < 0) & (at.max(axis=1) > 0)
    if chosen is not None:
        crossed &= chosen
    whole_side = np.where(np.abs(at.min(axis=1)) > np.abs(at.max(axis=1)), -1, at.max(axis=1))
    whole_side[(at.min(axis=1) < 0) & (at.max(axis=1) > 0)] = 0
    cut, at = triangles[crossed], at[crossed]
    first = np.where((at == 0).any(axis=1), (at == 0).argmax(axis=1), _lone_corner(at))
    order = (first[:, None] + np.arange(3)) % 3
    cut, at = np.take_along_axis(cut, order, 1), np.take_along_axis(at, order, 1)
    touching = at[:, 0] == 0
    ends = np.concatenate([cut[~touching][:, [0, 1]], cut[~touching][:, [0, 2]], cut[touching, 1:]])
    new, added = _crossings(vertices, ends, np.asarray(values, dtype=float))
    k = np.count_nonzero(~touching)
    (a, b, c), p, q = cut[~touching].T, new[:k], new[k : 2 * k]
    (d, e, f), r = cut[touching].T, new[2 * k :]
    parts = [(a, p, q), (p, b, c), (p, c, q), (d, e, r), (d, r, f)]
    lone, other, near = at[~touching, 0], at[~touching, 1], at[touching, 1]
    sides = [whole_side[~crossed], lone, other, other, near, -near]
    divided = [np.stack(part, axis=1).reshape(-1, 3) for part in parts]
    return (
        np.vstack([vertices, added]),
        np.vstack([triangles[~crossed], *divided]),
        np.concatenate(sides),
    )


def without_unused(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    """The vertices that triangles name, in their order, and the triangles renumbered."""
    used, compact = np.unique(triangles, return_inverse=True)
    return np.asarray(vertices)[used], compact.reshape(-1, 3)


def directed_rim(triangles) -> np.ndarray:
    """(k, 2) int: open edges, in the direction in which their triangle has them."""
    triangles = np.asarray(triangles)
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    n = int(triangles.max()) + 1
    keys = ends.min(axis=1) * n + ends.max(axis=1)
    _, place, counts = np.unique(keys, return_index=True, return_counts=True)
    return ends[np.sort(place[counts == 1])]


def rim_groups(n_vertices: int, edges) -> np.ndarray:
    """(k,) int: which connected group of open edges each of them belongs to."""
    graph = coo_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(n_vertices,) * 2)
    labels = connected_components(graph, directed=False)[1][edges[:, 0]]
    return np.unique(labels, return_inverse=True)[1]


def open_chains(vertices, triangles) -> tuple[list[np.ndarray], list[bool]]:
    """Open edges put in order: loops, and in a half chains from BL 0 to BL 0.

    Returns
    -------
    chains : (k,) int each, in the direction in which the skin's triangles have their edges; no
        vertex twice in one chain: loops that touch each other are parted
    closed : True for a loop, False for a chain that ends on y = 0 of a half, whose edges on y = 0
        are left out
    """
    vertices = np.asarray(vertices)
    edges = directed_rim(triangles)
    at_plane = (vertices[edges, 1] == 0.0).all(axis=1)
    if at_plane.any() and vertices[np.unique(triangles), 1].min() >= 0.0:
        edges = edges[~at_plane]
    follow: dict[int, list[int]] = {}
    for start, end in edges[::-1].tolist():
        follow.setdefault(start, []).append(end)
    arrivals = np.bincount(edges[:, 1], minlength=len(vertices)) if len(edges) else np.zeros(1)
    heads = [v for v, ends in follow.items() if len(ends) > arrivals[v]]
    chains, closed = [], []
    for start in sorted(heads) + sorted(set(follow) - set(heads)):
        while follow.get(start):
            loops, rest = _walked(follow, start)
            chains += [np.array(part) for part in (*loops, rest) if len(part) > 1]
            closed += [True] * len(loops) + [False] * (len(rest) > 1)
    return chains, closed


def median_edge(vertices, triangles) -> float:
    """Median length, m, of the edges of up to 100 000 triangles."""
    some = np.asarray(triangles)[:: max(1, len(triangles) // 100_000)]
    corners = np.asarray(vertices)[some]
    return float(np.median(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)))


def _walked(follow: dict, start: int) -> tuple[list[list[int]], list[int]]:
    """Loops met on a walk along open edges until it ends, and what of the walk is in none."""
    path, place, loops = [start], {start: 0}, []
    while follow.get(path[-1]):
        vertex = follow[path[-1]].pop()
        if vertex in place:
            first = place[vertex]
            loops.append(path[first:])
            for gone in path[first + 1 :]:
                del place[gone]
            del path[first + 1 :]
        else:
            place[vertex] = len(path)
            path.append(vertex)
    return loops, path


def _lone_corner(at: np.ndarray) -> np.ndarray:
    """Corner whose sign the two others do not have."""
    return (at == -np.sign(at.sum(axis=1))[:, None]).argmax(axis=1)


def _crossings(vertices, ends, values) -> tuple[np.ndarray, np.ndarray]:
    """Number of the new vertex on each crossed edge, and the new vertices."""
    n = len(vertices)
    low, high = ends.min(axis=1), ends.max(axis=1)
    keys, index = np.unique(low * n + high, return_inverse=True)
    low, high = keys // n, keys % n
    part = (values[low] / (values[low] - values[high]))[:, None]
    return n + index.ravel(), vertices[low] + part * (vertices[high] - vertices[low])


def _area(points, triangles) -> float:
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def _means_of_drawn(vertices, into, on_rim) -> np.ndarray:
    """(n, 3) float, m: means of all vertices drawn into each; on the rim of those of the rim."""
    while not np.array_equal(into, into[into]):
        into = into[into]
    counted = on_rim | ~on_rim[into]
    into, some = into[counted], vertices[counted]
    count = np.maximum(np.bincount(into, minlength=len(vertices)), 1)
    sums = [np.bincount(into, weights=some[:, k], minlength=len(vertices)) for k in range(3)]
    return np.stack(sums, axis=1) / count[:, None]


def _short_edges(points, normals, triangles, limit: float) -> tuple[np.ndarray, np.ndarray]:
    """Edges shorter than the limit, shortest first, and the vertices of open edges."""
    joined = adjacency(len(points), triangles)
    rows = joined.rows
    once = rows < joined.links
    edges = np.stack([rows[once], joined.links[once]], axis=1)
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    fold = np.linalg.norm(normals[edges[:, 0]] - normals[edges[:, 1]], axis=1)
    length *= np.sqrt(1.0 + np.square(fold / np.radians(FOLD)))
    short = np.flatnonzero(length < limit)
    return edges[short[np.argsort(length[short], kind="stable")]], joined.on_rim
