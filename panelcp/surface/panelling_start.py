"""From a closed surface to the half-edge skin that panelling works on."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import format_place

PLANE, SHARP, GIVEN = 0, 1, 2
"""Names of kept lines: plane of symmetry, sharp edges, outlines that were asked for."""

SYMMETRY_TOLERANCE = 1e-3
"""A whole surface counts as symmetric within this, m, or this part of its size."""

NOISY = np.radians(1.5)
"""Surfaces with more both ridges and grooves than this at half of their triangles are smoothed
before sharp edges and bends are looked for; clean lofted bodies have 0 to 0.9 degrees."""

EXACT = 1e-12
"""Vertices nearer to a mirrored one than this part of the size of the body lie on it."""

NEEDLE = 1e-6
"""Triangles lower than this part of the size of the body have no normal of their own."""


def half_or_whole(surface: SurfaceMesh, symmetric: bool | None, tree_of):
    """Vertices, triangles and their index in the surface: the right half of a symmetric body.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    symmetric : True or False, or None to find out
    tree_of : function that gives the tree of nearest points of corners and normals

    Returns
    -------
    vertices (n, 3) m, triangles (m, 3), source (m,) int, difference float or None: greatest
    distance of a mirrored vertex from the surface, None for an asymmetric body
    """
    everything = np.arange(surface.n_panels)
    if symmetric is False:
        return surface.vertices, surface.triangles, everything, None
    if surface.mirrored:
        n = surface.n_panels // 2
        return surface.vertices, surface.triangles[:n], everything[:n], 0.0
    difference = _difference(surface, tree_of)
    limit = SYMMETRY_TOLERANCE * max(1.0, surface.size.max())
    if symmetric is None and difference > limit:
        return surface.vertices, surface.triangles, everything, None
    if difference > 10.0 * limit:
        raise SurfaceError(
            f"the surface was said to be symmetric about BL 0, but left and right differ by up to "
            f"{difference * 1e3:.1f} mm; panel it whole (symmetric = False)"
        )
    return *_right_of_plane(surface), difference


def _difference(surface: SurfaceMesh, tree_of) -> float:
    """Greatest distance, m, of about 4000 mirrored vertices from the surface."""
    from panelcp.surface.panelling_kernels import nearest_many

    low, high = surface.bounds[:, 1]
    if not low < 0.0 < high or abs(low + high) > 0.02 * (high - low):
        return float("inf")
    step = max(1, surface.n_vertices // 4000)
    points = surface.vertices[::step] * [1.0, -1.0, 1.0]
    gap = cKDTree(surface.vertices, balanced_tree=False, compact_nodes=False).query(points)[0]
    apart = gap > EXACT * surface.size.max()
    if apart.any():  # not from vertex to vertex alike
        facing, _ = facet_normals(surface.vertices, surface.triangles)
        tree, _ = tree_of(surface.corners, facing, np.repeat(facing[:, None], 3, axis=1))
        away = np.zeros_like(points[apart])
        gap[apart] = nearest_many(tree, points[apart], away, -2.0, np.inf)[1]
    return float(gap.max())


def _right_of_plane(surface: SurfaceMesh):
    """Part of the triangles with y >= 0, those across the plane cut at it."""
    vertices = np.array(surface.vertices)
    vertices[np.abs(vertices[:, 1]) < 1e-9 * surface.size.max(), 1] = 0.0
    triangles = surface.triangles
    side = np.sign(vertices[:, 1])[triangles]
    right = (side >= 0).all(axis=1) & (side > 0).any(axis=1)
    cut = np.flatnonzero((side > 0).any(axis=1) & (side < 0).any(axis=1))
    points, polygons, counts = _cut_polygons(vertices, triangles[cut], side[cut])
    quads = counts == 4
    parts = [triangles[right], polygons[:, [0, 1, 2]], polygons[quads][:, [0, 2, 3]]]
    source = [np.flatnonzero(right), cut, cut[quads]]
    return np.concatenate([vertices, points]), np.concatenate(parts), np.concatenate(source)


def _cut_polygons(vertices, triangles, side):
    """New vertices on y = 0, and the polygons (n, 4) right of it with their numbers of corners."""
    after = np.roll(triangles, -1, axis=1)
    crosses = side * np.roll(side, -1, axis=1) < 0
    ends = np.sort(np.stack([triangles[crosses], after[crosses]], axis=1), axis=1)
    edges, index = np.unique(ends, axis=0, return_inverse=True)
    a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
    share = a[:, 1] / (a[:, 1] - b[:, 1])
    points = a + share[:, None] * (b - a)
    points[:, 1] = 0.0
    slots = np.full((len(triangles), 6), -1, dtype=np.int64)
    slots[:, 0::2] = np.where(side >= 0, triangles, -1)
    crossing = np.full(triangles.shape, -1, dtype=np.int64)
    crossing[crosses] = len(vertices) + index.ravel()
    slots[:, 1::2] = crossing
    order = np.argsort(slots < 0, axis=1, kind="stable")[:, :4]
    return points, np.take_along_axis(slots, order, axis=1), (slots >= 0).sum(axis=1)


def facet_normals(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    """Unit normals (zero where there is no area) and areas, m2."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    vectors = np.cross(b - a, c - a)
    double = np.linalg.norm(vectors, axis=1)
    return vectors / np.maximum(double, 1e-300)[:, None], 0.5 * double


def vertex_normals(triangles, facing, areas, n: int) -> np.ndarray:
    """(n, 3) unit: mean of the normals of the triangles at each vertex by area; 0 without any."""
    corners = triangles.ravel()
    weighted = np.repeat(facing * areas[:, None], 3, axis=0)
    total = np.stack([np.bincount(corners, column, minlength=n) for column in weighted.T], axis=1)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)


def twins(triangles) -> np.ndarray:
    """(3 m,) int: half-edge that runs back along each half-edge, -1 on open rims."""
    starts, ends = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    n = int(triangles.max()) + 1
    key = np.minimum(starts, ends) * np.int64(n) + np.maximum(starts, ends)
    order = np.argsort(key, kind="stable")
    same = key[order][1:] == key[order][:-1]
    first = np.flatnonzero(same)
    twin = np.full(len(key), -1, dtype=np.int64)
    twin[order[first]] = order[first + 1]
    twin[order[first + 1]] = order[first]
    return twin


def reliable_facing(vertices, triangles, twin) -> tuple[np.ndarray, np.ndarray, float]:
    """Unit normals to look for edges and bends with, areas, and how noisy the surface is, rad.

    Needles take the normal of the neighbour across their longest edge. Noisy surfaces are
    smoothed, alike neighbours counting most, so that sharp edges stay.
    """
    from panelcp.surface.panelling_kernels import filtered_facing

    facing, areas = facet_normals(vertices, triangles)
    _borrow_for_needles(facing, areas, vertices, triangles, twin)
    middles = vertices[triangles].mean(axis=1)
    noise = _noise(facing, areas, twin, middles)
    left, steps = noise, 0
    if noise > NOISY:
        while left > 0.25 * NOISY and steps < 40:
            width = 0.7 if left < 0.35 else 1.2
            for _ in range(4):
                facing = filtered_facing(facing, areas, twin, width)
            left, steps = _noise(facing, areas, twin, middles), steps + 4
    return facing, areas, noise


def _borrow_for_needles(facing, areas, vertices, triangles, twin):
    corners = vertices[triangles]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    longest = lengths.argmax(axis=1)
    height = 2.0 * areas / np.maximum(lengths.max(axis=1), 1e-300)
    poor = height < NEEDLE * np.ptp(vertices, axis=0).max()
    for _ in range(8):
        index = np.flatnonzero(poor)
        if len(index) == 0:
            return
        other = twin[3 * index + longest[index]]
        good = (other >= 0) & ~poor[other // 3]
        facing[index[good]] = facing[other[good] // 3]
        poor[index[good]] = False


def _noise(facing, areas, twin, middles) -> float:
    """rad: median, by area, of the smaller of a triangle's sharpest ridge and sharpest groove.

    A smooth skin bends one way only over most of its area, so that one of them is next to
    nothing; on a rough one every triangle has both.
    """
    neighbour = np.where(twin >= 0, twin, np.arange(len(twin))).reshape(-1, 3) // 3
    cosine = np.einsum("mk,mjk->mj", facing, facing[neighbour])
    angle = np.arccos(np.clip(cosine, -1.0, 1.0))
    step = middles[neighbour] - middles[:, None]
    groove = np.einsum("mk,mjk->mj", facing, step) > 0.0
    both = np.minimum(
        np.where(groove, angle, 0.0).max(axis=1), np.where(groove, 0.0, angle).max(axis=1)
    )
    order = np.argsort(both)
    share = np.cumsum(areas[order])
    return float(both[order[np.searchsorted(share, 0.5 * share[-1])]])


def along_curve(vertices, triangles):
    """Vertices in use and triangles renumbered along a curve that fills space.

    What lies together on the skin then lies together in memory, which makes large skins several
    times faster to change.

    Returns
    -------
    vertices (n, 3), triangles (m, 3) and order (m,) int: place of each in those given
    """
    used = np.zeros(len(vertices), dtype=bool)
    used[triangles.ravel()] = True
    points = vertices[used]
    low, span = points.min(axis=0), max(float(np.ptp(points, axis=0).max()), 1e-300)
    vertex_order = np.argsort(_interleaved(((points - low) / span * 2097151).astype(np.uint64)))
    place = np.empty(len(points), dtype=np.int64)
    place[vertex_order] = np.arange(len(points))
    new = np.full(len(vertices), -1, dtype=np.int64)
    new[used] = place
    triangles = new[triangles]
    order = np.argsort(triangles.min(axis=1), kind="stable")
    return points[vertex_order], triangles[order], order


def build_skin(vertices, triangles, room: int):
    """Half-edge skin of the triangles, open rims closed by hidden vertices.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    room : further vertices to leave room for

    Returns
    -------
    Skin, triangles with vertices as used there, twin of their half-edges

    Raises
    ------
    SurfaceError : open edges that do not lie on y = 0
    """
    from panelcp.surface.panelling_kernels import HIDDEN, Skin, own_fans

    used, compact = np.unique(triangles, return_inverse=True)
    vertices, triangles = vertices[used], compact.reshape(-1, 3).astype(np.int64)
    twin = twins(triangles)
    start, copies = own_fans(triangles.ravel().copy(), twin, len(vertices))
    vertices = np.concatenate([vertices, vertices[copies]])
    triangles = start.reshape(-1, 3)
    starts, all_twins, hidden = _close_rims(vertices, start, twin)
    n, m = len(vertices) + hidden, len(starts) // 3
    skin = Skin(
        points=_padded(vertices, n + room),
        start=_padded(starts, 3 * (m + 2 * room), -1),
        twin=_padded(all_twins, 3 * (m + 2 * room), -1),
        chain=np.full(3 * (m + 2 * room), -1, dtype=np.int64),
        place=np.zeros(3 * (m + 2 * room)),
        kind=np.zeros(n + room, dtype=np.int64),
        plane=np.zeros(n + room, dtype=bool),
        normal=np.zeros((n + room, 3)),
        size=np.ones(n + room),
        out=np.full(n + room, -1, dtype=np.int64),
        count=np.array([n, m], dtype=np.int64),
        into=np.arange(n + room),
        mark=np.zeros(n + room, dtype=np.int64),
    )
    skin.out[starts] = np.arange(len(starts))
    skin.kind[len(vertices) : n] = HIDDEN
    rim = np.flatnonzero(twin < 0)
    skin.chain[rim] = skin.chain[all_twins[rim]] = PLANE
    skin.plane[start[rim]] = True
    return skin, triangles, twin


def with_room(skin, room: int):
    """The skin with space for at least so many more vertices."""
    n, m = int(skin.count[0]), int(skin.count[1])
    if len(skin.points) - n >= room and len(skin.start) // 3 - m >= 2 * room:
        return skin
    room = max(room, n // 2)
    rows = {"start": -1, "twin": -1, "chain": -1, "place": 0}
    changed = {
        name: _padded(getattr(skin, name)[: 3 * m], 3 * (m + 2 * room), fill)
        for name, fill in rows.items()
    }
    for name in ("points", "kind", "plane", "normal", "size", "out", "into", "mark"):
        changed[name] = _padded(getattr(skin, name)[:n], n + room)
    return skin._replace(**changed)


def compacted(skin):
    """The skin without what is no longer there; `into` starts anew."""
    n, m = int(skin.count[0]), int(skin.count[1])
    vertices = np.flatnonzero(skin.out[:n] >= 0)
    triangles = np.flatnonzero(skin.start[: 3 * m : 3] >= 0)
    new_vertex = np.full(n, -1, dtype=np.int64)
    new_vertex[vertices] = np.arange(len(vertices))
    half_edges = (3 * triangles[:, None] + np.arange(3)).ravel()
    new_edge = np.full(3 * m, -1, dtype=np.int64)
    new_edge[half_edges] = np.arange(len(half_edges))
    changed = {name: getattr(skin, name)[half_edges] for name in ("chain", "place")}
    changed["start"] = new_vertex[skin.start[half_edges]]
    changed["twin"] = new_edge[skin.twin[half_edges]]
    for name in ("points", "kind", "plane", "normal", "size", "mark"):
        changed[name] = getattr(skin, name)[vertices]
    changed["out"] = new_edge[skin.out[vertices]]
    changed["into"] = np.arange(len(vertices))
    changed["count"] = np.array([len(vertices), len(triangles)], dtype=np.int64)
    return skin._replace(**changed)


def visible(skin) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (k,) that are shown, and triangles (m, 3) between them."""
    from panelcp.surface.panelling_kernels import HIDDEN

    n, m = int(skin.count[0]), int(skin.count[1])
    shown = (skin.out[:n] >= 0) & (skin.kind[:n] != HIDDEN)
    triangles = skin.start[: 3 * m].reshape(-1, 3)
    triangles = triangles[triangles[:, 0] >= 0]
    return np.flatnonzero(shown), triangles[shown[triangles].all(axis=1)]


def build_tree(corners, facing, normals):
    """Tree of boxes for nearest points, and the index of each of its triangles."""
    from panelcp.surface.panelling_kernels import Tree

    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    low, span = middle.min(axis=0), max(float(np.ptp(middle, axis=0).max()), 1e-300)
    order = np.argsort(_interleaved(((middle - low) / span * 2097151).astype(np.uint64)))
    corners = np.ascontiguousarray(corners[order])
    n_leaves = max(1, -(-len(corners) // 4))
    leaves = 1 << (n_leaves - 1).bit_length()
    boxes = []
    for pick, empty in ((np.minimum, np.inf), (np.maximum, -np.inf)):
        # far faster than pick.reduce over short axes
        own = pick(pick(corners[:, 0], corners[:, 1]), corners[:, 2])
        own = _padded(own, 4 * leaves, empty)
        box = np.full((2 * leaves, 3), empty)
        box[leaves:] = pick(pick(own[0::4], own[1::4]), pick(own[2::4], own[3::4]))
        level = leaves // 2
        while level:
            box[level : 2 * level] = pick(
                box[2 * level : 4 * level : 2], box[2 * level + 1 : 4 * level : 2]
            )
            level //= 2
        boxes.append(box)
    tree = Tree(
        corners,
        np.ascontiguousarray(facing[order]),
        np.ascontiguousarray(normals[order]),
        boxes[0],
        boxes[1],
        leaves,
    )
    return tree, order


def _interleaved(cells) -> np.ndarray:
    """Z-order number of (n, 3) cells of 21 bits."""
    result = np.zeros(len(cells), dtype=np.uint64)
    masks = (
        (32, 0x1F00000000FFFF),
        (16, 0x1F0000FF0000FF),
        (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3),
        (2, 0x1249249249249249),
    )
    for k in range(3):
        x = cells[:, k] & np.uint64(0x1FFFFF)
        for shift, mask in masks:
            x = (x | (x << np.uint64(shift))) & np.uint64(mask)
        result |= x << np.uint64(k)
    return result


def _padded(array, length: int, fill=0) -> np.ndarray:
    result = np.full((length, *array.shape[1:]), fill, dtype=array.dtype)
    result[: len(array)] = array
    return result


def _close_rims(vertices, start, twin):
    """Starts and twins with triangles from every open rim to a hidden vertex, and their number."""
    rim = np.flatnonzero(twin < 0)
    if len(rim) == 0:
        return start, twin, 0
    after = np.where(rim % 3 == 2, rim - 2, rim + 1)
    a, b = start[rim], start[after]
    off = np.abs(vertices[np.concatenate([a, b]), 1]) > 0.0
    if off.any():
        place = vertices[np.concatenate([a, b])[np.flatnonzero(off)[0]]]
        raise SurfaceError(
            f"surface is not closed: {np.count_nonzero(off)} ends of open edges (first near "
            f"{format_place(place)}); close the surface before panelling it"
        )
    n = len(vertices)
    graph = coo_array((np.ones(len(rim)), (a, b)), shape=(n, n))
    _, hidden = np.unique(connected_components(graph, directed=False)[1][a], return_inverse=True)
    first = len(start) + 3 * np.arange(len(rim))
    new_start = np.stack([b, a, n + hidden], axis=1).ravel()
    ending_at = np.full(n, -1, dtype=np.int64)
    ending_at[b] = first
    new_twin = np.full(3 * len(rim), -1, dtype=np.int64)
    new_twin[0::3] = rim
    new_twin[1::3] = ending_at[a] + 2
    new_twin[(ending_at[a] + 2) - len(start)] = first + 1
    twin = twin.copy()
    twin[rim] = first
    return (
        np.concatenate([start, new_start]),
        np.concatenate([twin, new_twin]),
        int(hidden.max()) + 1,
    )
