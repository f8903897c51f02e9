"""Holes in the skin: found, filled with a cap that carries on the skin around, or bridged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist

from panelcp.surface.mesh import frozen_array
from panelcp.surface.repair import (
    close_junctions,
    edge_table,
    format_place,
    half_edge_ends,
    plain_triangles,
    used_only,
)

LARGEST = 0.06
"""m: holes up to this wide are filled when nothing else is asked for."""

SLIT = 0.2
"""A hole narrower than this part of the largest diameter is filled however long it is."""

MOST_RIM_POINTS = 1200
"""Longer rims are not filled: the time grows with the cube of their number."""

SEAM = 0.05
"""Rims nearer to each other than this part of their median edge are one seam."""

FOLDS_UP_TO = 250
"""Rims with more points are filled by area alone, shorter ones by the worst fold first."""

_MOST_ADDED = 6000
_MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True, eq=False)
class Hole:
    """The rim of one opening in the skin.

    Attributes
    ----------
    rim : (n,) int, vertices in the order in which a cap runs along them
    at_plane : True where the rim is half of one that the centre line closes; its ends lie on y = 0
    centre : (3,) float, m
    diameter : m, greatest distance between two of its points, both sides counted
    width : m, 4 area / perimeter, the diameter of a round hole; small for a slit
    """

    rim: np.ndarray
    at_plane: bool
    centre: np.ndarray
    diameter: float
    width: float

    def __post_init__(self):
        object.__setattr__(self, "rim", frozen_array(self.rim, np.int64))
        object.__setattr__(self, "centre", frozen_array(self.centre))

    def told(self) -> str:
        """Size and place in words."""
        half = ", across the centre line" if self.at_plane else ""
        return f"{self.diameter * 1e3:.0f} mm at {format_place(self.centre)}{half}"


def find_holes(vertices, triangles, open_at_plane: bool = False) -> list[Hole]:
    """Rims of all openings; those that touch at a vertex are told apart.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, of one winding
    open_at_plane : True for a half: edges on y = 0 are no opening

    Returns
    -------
    list of Hole, in the order of their first triangles
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    lone = edge_table(len(points), corners).lone
    ends = half_edge_ends(corners, lone)[:, ::-1]  # as a cap runs
    if open_at_plane:
        ends = ends[(points[ends][:, :, 1] != 0.0).any(axis=1)]
    return [_hole(points, np.array(rim), whole) for rim, whole in _simple_lines(ends)]


def fill_holes(
    vertices, triangles, largest: float = LARGEST, open_at_plane: bool = False
) -> tuple[np.ndarray, np.ndarray, list[str], tuple[Hole, ...]]:
    """Fill holes up to a diameter with caps that carry on the skin around them.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, of one winding
    largest : m, wider holes stay open, unless they are slits (see `SLIT`)
    open_at_plane : True for a half: the edge on y = 0 is never filled; a hole across it is filled
        up to y = 0, as half of a whole hole

    Returns
    -------
    vertices, triangles : the arrays that were given when nothing is filled; otherwise the old
        vertices and triangles first, then those of the caps
    notes : lines that say what was done
    left_open : holes that stayed open

    Notes
    -----
    The rim is triangulated so that the worst fold is least, then the area; points are added until
    the triangles are as small as those around (P. Liepa, Filling holes in meshes, 2003); then the
    points are moved to where the skin bends least, as a thin plate clamped to two rings of the
    skin (cotangent weights; M. Botsch, L. Kobbelt, An intuitive framework for real-time freeform
    modeling, 2004; both from memory). A plate so clamped meets quadratic surfaces exactly.
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    holes = find_holes(points, corners, open_at_plane)
    filled, left = [], []
    for hole in holes:
        fits = hole.diameter <= largest * (1.0 + 1e-6) or hole.width <= SLIT * largest
        cap = _cap(points, corners, hole) if fits and len(hole.rim) <= MOST_RIM_POINTS else None
        if cap is None:
            left.append(hole)
            continue
        points, corners = cap
        filled.append(hole)
    if not filled:
        return vertices, triangles, [], tuple(left)
    widest = max(filled, key=lambda hole: hole.diameter)
    added = len(corners) - len(triangles)
    plural = "s" if len(filled) > 1 else ""
    note = (
        f"{len(filled)} hole{plural} filled with {added} triangles, "
        f"{'the widest' if plural else ''} {widest.told()}"
    ).replace("  ", " ")
    return points, corners, [note], tuple(left)


def join_seams(
    vertices, triangles, widest: float, open_at_plane: bool = False
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Join the rims of two parts along a seam that is narrow against their edges.

    A band of triangles across it would be all needles, or fold back where the parts overlap.
    Points that face each other go to their middle; edges are divided at points without one.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, of one winding, outward
    widest : m, and no wider than `SEAM`
    open_at_plane : True for a half; rims may then run from y = 0 to y = 0

    Returns
    -------
    vertices, triangles : the arrays that were given when there is no such seam
    notes : lines that say what was done
    """
    points, corners, notes = vertices, triangles, []
    while widest > 0.0:
        points, corners = np.asarray(points, dtype=float), plain_triangles(corners)
        holes = find_holes(points, corners, open_at_plane)
        pair = _seam(points, part_labels(len(points), corners), holes, widest)
        if pair is None:
            break
        points, corners, line = _joined_seam(points, corners, *pair)
        notes.append(line)
    return (points, corners, notes) if notes else (vertices, triangles, [])


def bridge_gaps(
    vertices, triangles, widest: float, open_at_plane: bool = False
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Close ring-shaped gaps between two parts by a band of triangles, as behind a spinner.

    Two rims of different parts that face each other all along within `widest` are joined.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, of one winding, outward
    widest : m
    open_at_plane : True for a half; rims may then run from y = 0 to y = 0

    Returns
    -------
    vertices : as given
    triangles : the array that was given when there is no such gap
    notes : lines that say what was done
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    holes = find_holes(points, corners, open_at_plane) if widest > 0.0 else []
    if len(holes) < 2:
        return vertices, triangles, []
    part = part_labels(len(points), corners)
    free, notes, bands = list(holes), [], []
    while free:
        hole = free.pop(0)
        other = _facing_hole(points, part, hole, free, widest)
        if other is None:
            continue
        free.remove(other)
        strip = _strip(points, hole, other)
        bands.append(strip)
        gap = cKDTree(points[other.rim]).query(points[hole.rim])[0]
        notes.append(
            f"gap of {gap.min() * 1e3:.1f} to {gap.max() * 1e3:.1f} mm between two parts bridged "
            f"with {len(strip)} triangles round {format_place(hole.centre)}"
        )
    if not bands:
        return vertices, triangles, []
    return vertices, np.concatenate([corners, *bands]), notes


def part_labels(n_vertices: int, triangles) -> np.ndarray:
    """(n_vertices,) int: number of the part, joined through vertices, that each belongs to."""
    triangles = np.asarray(triangles)
    rows = np.concatenate([triangles[:, 0], triangles[:, 1]])
    columns = np.concatenate([triangles[:, 1], triangles[:, 2]])
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(n_vertices,) * 2)
    return connected_components(graph, directed=False)[1]


def _simple_lines(ends):
    """Lines along directed edges that meet no vertex twice: (vertices, closed) of each."""
    following: dict[int, list[int]] = {}
    for a, b in ends.tolist():
        following.setdefault(a, []).append(b)
    reached = set(ends[:, 1].tolist())
    beginnings = [a for a in ends[:, 0].tolist() if a not in reached]
    lines = []
    for start in beginnings + ends[:, 0].tolist():
        while following.get(start):
            _walk(start, following, lines)
    return lines


def _walk(start: int, following, lines):
    """Follow edges from `start`; each closed loop is cut out as soon as a vertex comes again."""
    path, place = [start], {start: 0}
    while following.get(path[-1]):
        here = following[path[-1]].pop(0)
        if here in place:
            cut = place[here]
            lines.append((path[cut:], True))
            for vertex in path[cut + 1 :]:
                del place[vertex]
            path = path[: cut + 1]
            if cut == 0:
                break
        else:
            place[here] = len(path)
            path.append(here)
    if len(path) > 1:
        lines.append((path, False))


def _hole(points, rim, whole: bool) -> Hole:
    at_plane = not whole and len(rim) > 1 and bool((points[rim[[0, -1]], 1] == 0.0).all())
    line = points[rim]
    if at_plane:
        line = np.concatenate([line, (line * _MIRROR)[-2:0:-1]])
    centre = line.mean(axis=0)
    following = np.roll(line, -1, axis=0)
    area = 0.5 * np.linalg.norm(np.cross(line - centre, following - centre).sum(axis=0))
    perimeter = np.linalg.norm(following - line, axis=1).sum()
    thinned = line[:: max(1, len(line) // 600)]
    diameter = float(pdist(thinned).max()) if len(thinned) > 1 else 0.0
    return Hole(rim, at_plane, centre, diameter, float(4.0 * area / max(perimeter, 1e-300)))


def _cap(points, corners, hole: Hole):
    """Points and triangles with the hole filled, or None where no cap fits."""
    from panelcp.surface.repair_kernels import cap_loop, refine_cap

    closed = len(hole.rim) > 2 and not _is_open_line(corners, hole)
    if not (closed or hole.at_plane):
        return None
    rim, points, on_line = _closed_rim(points, hole)
    near = np.flatnonzero(np.isin(corners, rim).any(axis=1))
    beyond, forbidden = _surroundings(points, corners[near], rim)
    line = points[rim]
    local = cap_loop(line, beyond, forbidden, len(rim) <= FOLDS_UP_TO)
    if len(local) == 0:
        return None
    length = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    sizes = 0.5 * (length + np.roll(length, 1))
    sizes = np.maximum(sizes, 0.25 * np.median(sizes))
    finer, local = refine_cap(line, sizes, local, _MOST_ADDED)
    names = np.concatenate([rim, len(points) + np.arange(len(finer) - len(rim))])
    cap = names[local]
    points = np.concatenate([points, finer[len(rim) :]])
    free = np.concatenate([rim[on_line], names[len(rim) :]])
    if len(free):
        points = _relaxed(points, corners, near, cap, rim, free, hole.at_plane)
    return points, np.concatenate([corners, cap])


def _is_open_line(corners, hole: Hole) -> bool:
    first, last = hole.rim[0], hole.rim[-1]
    has_last = (corners == last).any(axis=1)
    touching = corners[has_last & (corners == first).any(axis=1)]
    return len(touching) == 0


def _closed_rim(points, hole: Hole):
    """Rim as a loop, points with those added on y = 0, and which of the rim these are."""
    rim = np.array(hole.rim)
    on_line = np.zeros(len(rim), dtype=bool)
    if not hole.at_plane:
        return rim, points, on_line
    first, last = points[rim[0]], points[rim[-1]]
    step = np.median(np.linalg.norm(np.diff(points[rim], axis=0), axis=1))
    n = max(1, round(float(np.linalg.norm(last - first) / step)))
    between = last + np.arange(1, n)[:, None] / n * (first - last)
    names = len(points) + np.arange(n - 1)
    on_line = np.concatenate([on_line, np.ones(n - 1, dtype=bool)])
    return np.concatenate([rim, names]), np.concatenate([points, between]), on_line


def _surroundings(points, around, rim):
    """Third corner of the skin at each edge of the rim; pairs of the rim that are edges already."""
    n = len(rim)
    place = {int(vertex): k for k, vertex in enumerate(rim)}
    beyond, forbidden = np.full((n, 3), np.nan), np.zeros((n, n), dtype=bool)
    for a, b, c in around.tolist():
        for start, end, third in ((a, b, c), (b, c, a), (c, a, b)):
            i, j = place.get(start), place.get(end)
            if i is None or j is None:
                continue
            if i == (j + 1) % n:  # the skin runs against the cap
                beyond[j] = points[third]
            elif j != (i + 1) % n:
                forbidden[i, j] = forbidden[j, i] = True
    return beyond, forbidden


def _relaxed(points, corners, near, cap, rim, free, at_plane: bool):
    """Free points moved to where a thin plate clamped to the skin around would lie."""
    ring = np.unique(corners[near])
    wide = corners[np.isin(corners, ring).any(axis=1)]
    patch = np.concatenate([wide, cap])
    used, local = np.unique(patch, return_inverse=True)
    local, place = local.reshape(-1, 3), points[used]
    whole, image = place, np.arange(len(used))
    if at_plane:
        off = place[:, 1] != 0.0
        image[off] = len(used) + np.arange(np.count_nonzero(off))
        whole = np.concatenate([place, place[off] * _MIRROR])
        local = np.concatenate([local, image[local][:, [0, 2, 1]]])
    moving = np.unique(image[np.searchsorted(used, free)])
    moving = np.union1d(moving, np.searchsorted(used, free))
    bent = np.union1d(moving, np.searchsorted(used, rim))
    bent = np.union1d(bent, image[np.searchsorted(used, rim)])
    size = np.ptp(whole, axis=0).max()
    for _ in range(3):
        whole = _plate(whole / size, local, moving, bent) * size
    result = points.copy()
    result[free] = whole[np.searchsorted(used, free)]
    if at_plane:
        flat = points[free, 1] == 0.0
        result[free[flat], 1] = 0.0
    return result


def _plate(points, triangles, moving, bent):
    """One solution of the thin plate: least sum over `bent` of area times mean bend squared."""
    stiffness, area = _cotangents(points, triangles)
    rows = (diags_array(1.0 / np.sqrt(np.maximum(area, 1e-12))) @ stiffness).tocsr()[bent]
    columns = rows.tocsc()
    fixed = np.setdiff1d(np.arange(len(points)), moving)
    matrix = columns[:, moving]
    right = -(columns[:, fixed] @ points[fixed])
    normal = (matrix.T @ matrix).tocsc()
    solution = spsolve(normal, matrix.T @ right)
    result = points.copy()
    if np.isfinite(solution).all():
        result[moving] = solution
    return result


def _cotangents(points, triangles) -> tuple[csr_array, np.ndarray]:
    """Stiffness matrix with cotangent weights, (n, n), and a third of the area at each vertex."""
    n = len(points)
    corners = points[triangles]
    rows, columns, values = [], [], []
    for k in range(3):
        a, b, c = corners[:, k], corners[:, (k + 1) % 3], corners[:, (k + 2) % 3]
        double = np.linalg.norm(np.cross(b - a, c - a), axis=1)
        cotangent = ((b - a) * (c - a)).sum(axis=1) / np.maximum(double, 1e-12)
        rows.append(triangles[:, (k + 1) % 3])
        columns.append(triangles[:, (k + 2) % 3])
        values.append(0.5 * np.clip(cotangent, 0.02, 20.0))
    i, j, w = (np.concatenate(part) for part in (rows, columns, values))
    joined = csr_array(coo_array((w, (i, j)), shape=(n, n)))
    joined = joined + joined.T
    stiffness = csr_array(diags_array(joined.sum(axis=1)) - joined)
    area = np.bincount(triangles.ravel(), np.repeat(double / 6.0, 3), minlength=n)
    return stiffness, area


def _facing_hole(points, part, hole: Hole, others, widest: float) -> Hole | None:
    """The nearest rim of another part that lies within `widest` all along."""
    best, chosen = np.inf, None
    for other in others:
        if part[other.rim[0]] == part[hole.rim[0]] or other.at_plane != hole.at_plane:
            continue
        away = max(_farthest(points, hole, other), _farthest(points, other, hole))
        if away <= widest and away < best:
            best, chosen = away, other
    return chosen


def _seam(points, part, holes, widest: float):
    """Two rims that are one seam, and their distance, m; None where there are none."""
    for k, hole in enumerate(holes[:-1]):
        other = _facing_hole(points, part, hole, holes[k + 1 :], widest)
        if other is None:
            continue
        away = max(_farthest(points, hole, other), _farthest(points, other, hole))
        edges = np.concatenate([_rim_edges(points, rim) for rim in (hole, other)])
        if away <= SEAM * np.median(edges) and away <= 0.5 * edges.min():
            return hole, other, away
    return None


def _rim_edges(points, hole: Hole) -> np.ndarray:
    line = points[hole.rim]
    steps = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    return steps[:-1] if hole.at_plane else steps


def _joined_seam(points, corners, hole: Hole, other: Hole, away: float):
    """Points and triangles with two rims joined, and the note."""
    one, two = np.array(hole.rim), np.array(other.rim)
    trees = cKDTree(points[one]), cKDTree(points[two])
    distance, facing = trees[1].query(points[one])
    mutual = trees[0].query(points[two])[1][facing] == np.arange(len(one))
    mutual &= distance <= 2.0 * away
    a, b = one[mutual], two[facing[mutual]]
    points, image = points.copy(), np.arange(len(points))
    on_plane = (points[a, 1] == 0.0) | (points[b, 1] == 0.0)
    points[a] = 0.5 * (points[a] + points[b])
    points[a[on_plane], 1] = 0.0
    image[b] = a
    corners, among = image[corners], np.union1d(one, image[two])
    _, corners, zipped = close_junctions(points, corners, 1.01 * away, among=among)
    note = (
        f"seam of {away * 1e3:.2g} mm between two parts joined at {len(a)} points round "
        f"{format_place(hole.centre)}"
    )
    return (*used_only(points, corners), "; ".join([note, *zipped]))


def _farthest(points, hole: Hole, other: Hole) -> float:
    """Greatest distance, m, of the points of one rim from the line of another."""
    a = points[other.rim]
    b = np.roll(a, -1, axis=0)
    if other.at_plane:
        a, b = a[:-1], b[:-1]
    line = points[hole.rim]
    if len(line) * len(a) > 4e6:
        return float(cKDTree(a).query(line)[0].max())
    span = b - a
    along = np.einsum("nmi,mi->nm", line[:, None] - a, span) / (span**2).sum(axis=1)
    foot = a + np.clip(along, 0.0, 1.0)[:, :, None] * span
    return float(np.linalg.norm(line[:, None] - foot, axis=2).min(axis=1).max())


def _strip(points, hole: Hole, other: Hole) -> np.ndarray:
    """(k, 3) int: band between two rims, which run against each other."""
    from panelcp.surface.repair_kernels import band

    first, second = np.array(hole.rim), np.array(other.rim)[::-1]
    if not hole.at_plane:
        away, place = cKDTree(points[second]).query(points[first])
        i = int(np.argmin(away))
        first = np.append(np.roll(first, -i), first[i])
        second = np.append(np.roll(second, -place[i]), second[place[i]])
    names = np.concatenate([first, second])
    return names[band(points[first], points[second])]
