"""Edges with more than two triangles, and vertices at which two skins touch."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panelcp.errors import SurfaceError
from panelcp.surface.repair import (
    EdgeTable,
    edge_table,
    format_place,
    half_edge_ends,
    plain_triangles,
    used_only,
)


def part_crowded_edges(
    vertices, triangles, open_at_plane: bool = False
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Keep the skin that can be seen from outside where more than two triangles share an edge.

    Fins (air on both sides) and inner walls (no air on either side) are dropped; bodies that
    touch along an edge are parted there.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, any winding, none doubled; of a half none on y = 0
    open_at_plane : True for a half; it is judged together with its mirror image, so that two
        triangles at an edge on y = 0 are four

    Returns
    -------
    vertices, triangles : the arrays that were given when no edge is crowded
    notes : lines that say what was done

    Raises
    ------
    SurfaceError : edges at which no skin with one outside can be told, or more fins than skin

    Notes
    -----
    Triangles joined over edges of two form sheets, each with two sides. Round a crowded edge the
    triangles are sorted by angle; the sides that face each other across a wedge without a
    triangle see the same air, or the same inside. The sides that hang together with the one that
    faces away at the farthest point are outside. A sheet with exactly one side outside is skin.
    Open edges join no sides, so that a half or a body with holes is told like a closed one.
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    n_given, table = len(corners), edge_table(len(points), corners)
    crowded = table.counts > 2
    if open_at_plane:
        crowded |= (table.counts > 1) & _on_plane(points, corners, table)
    if not crowded.any():
        return vertices, triangles, []
    if open_at_plane:
        points, corners = _with_mirror_image(points, corners)
        table = edge_table(len(points), corners)
    outside = _outside_sides(points, corners, table)
    skin = outside[:, 0] != outside[:, 1]
    kept_table = edge_table(len(points), corners[skin])
    fins = outside.all(axis=1)
    told = _area(points, corners[fins]) <= _area(points, corners[skin])
    if np.any(kept_table.counts % 2 & (kept_table.counts > 2)) or not (skin.any() and told):
        raise SurfaceError(_untold_message(points, corners, table))
    _require_nothing_opened(points, corners, table, skin)
    notes = _dropped_notes(points, corners[:n_given], outside[:n_given])
    n_kept = int(np.count_nonzero(skin[:n_given]))
    points, corners, lines = _parted(points, corners[skin], kept_table, outside[skin])
    points, corners = used_only(points, corners[:n_kept])
    return points, corners, notes + lines


def split_touching_vertices(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Give each fan of triangles that only touches others at a point a vertex of its own.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, no crowded edges

    Returns
    -------
    vertices, triangles : the arrays that were given when there is no such vertex
    notes : lines that say what was done
    """
    corners = plain_triangles(triangles)
    mates = edge_table(len(vertices), corners).mates
    split, places = _split_fans(np.asarray(vertices, dtype=float), corners, mates)
    if len(places) == 0:
        return vertices, triangles, []
    return (
        *split,
        [
            f"{len(places)} vertices at which the skin touches itself in one point divided "
            f"(first near {format_place(places[0])})"
        ],
    )


def crowded_edges(vertices, triangles) -> np.ndarray:
    """(k, 2) int: edges that belong to more than two triangles."""
    corners = plain_triangles(triangles)
    table = edge_table(len(vertices), corners)
    return half_edge_ends(corners, table.order[table.starts[:-1][table.counts > 2]])


def _area(points, corners) -> float:
    a, b, c = (points[column] for column in corners.T)
    return 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def _on_plane(points, corners, table: EdgeTable) -> np.ndarray:
    """(n_edges,) bool: edges on y = 0."""
    ends = half_edge_ends(corners, table.order[table.starts[:-1]])
    return (points[ends][:, :, 1] == 0.0).all(axis=1)


def _with_mirror_image(points, corners) -> tuple[np.ndarray, np.ndarray]:
    """A half, then its mirror image; points on y = 0 are shared."""
    off = np.flatnonzero(points[:, 1] != 0.0)
    image = np.arange(len(points))
    image[off] = len(points) + np.arange(len(off))
    mirrored = image[corners][:, [0, 2, 1]]
    return np.vstack([points, points[off] * [1.0, -1.0, 1.0]]), np.vstack([corners, mirrored])


def _outside_sides(points, corners, table: EdgeTable) -> np.ndarray:
    """(m, 2) bool: can the front (along the normal) and the back of each triangle see the air?"""
    from panelcp.surface.repair_kernels import flood_windings

    sheet, turned, _ = flood_windings(corners, table.mates)
    front = 2 * sheet + turned  # node of the side along the triangle's own normal
    back = 2 * sheet + ~turned
    first, second = _facing_sides(points, corners, table, front, back)
    n_sides = 2 * (int(sheet.max()) + 1)
    graph = coo_array((np.ones(len(first)), (first, second)), shape=(n_sides,) * 2)
    space = connected_components(graph, directed=False)[1]
    both = coo_array(
        (
            np.ones(len(first) + len(front)),
            (np.concatenate([first, front]), np.concatenate([second, back])),
        ),
        shape=(n_sides,) * 2,
    )
    body = connected_components(both, directed=False)[1][front]
    seen = np.zeros(n_sides, dtype=bool)
    for side in _seeds(points, corners, body, front, back):
        seen |= space == space[side]
    return np.stack([seen[front], seen[back]], axis=1)


def _around(points, corners, table: EdgeTable):
    """Half-edges at crowded edges, sorted by edge and by angle about it; forward flags.

    The angle is counted about the direction from the lower to the higher vertex; a forward
    half-edge runs that way, and its triangle's normal points to greater angles.
    """
    crowded = np.flatnonzero(table.counts > 2)
    halves = table.order[_ranges(table.starts[crowded], table.counts[crowded])]
    ends = half_edge_ends(corners, halves)
    forward = ends[:, 0] < ends[:, 1]
    low, high = ends.min(axis=1), ends.max(axis=1)
    third = points[corners[halves // 3, (halves % 3 + 2) % 3]] - points[low]
    axis = points[high] - points[low]
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    helper = np.eye(3)[np.abs(axis).argmin(axis=1)]
    across = np.cross(axis, helper)
    up = np.cross(axis, across)
    angle = np.arctan2((third * up).sum(axis=1), (third * across).sum(axis=1))
    order = np.lexsort((angle, table.edge[halves]))
    return halves[order], forward[order]


def _ranges(starts, counts) -> np.ndarray:
    return np.repeat(starts - np.cumsum(counts) + counts, counts) + np.arange(counts.sum())


def _next_around(edge) -> np.ndarray:
    """Place of the next entry of the same edge, the first after the last."""
    n = len(edge)
    following = np.arange(1, n + 1)
    last = np.append(edge[1:] != edge[:-1], True)
    first = np.flatnonzero(np.append(True, edge[1:] != edge[:-1]))
    following[last] = first
    return following


def _facing_sides(points, corners, table: EdgeTable, front, back):
    halves, forward = _around(points, corners, table)
    following = _next_around(table.edge[halves])
    triangle = halves // 3
    ahead = np.where(forward, front[triangle], back[triangle])
    behind = np.where(forward, back[triangle], front[triangle])
    return ahead, behind[following]


def _seeds(points, corners, body, front, back):
    """The side that faces away at a farthest point, one for each body that hangs together."""
    a, b, c = (points[column] for column in corners.T)
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    for name in np.unique(body):
        members = np.flatnonzero(body == name)
        best, chosen = -1.0, None
        for axis in range(3):
            reach = points[corners[members], axis]
            for sign in (1.0, -1.0):
                touching = members[(sign * reach).max(axis=1) == (sign * reach).max()]
                facing = sign * normals[touching, axis]
                k = int(np.argmax(np.abs(facing)))
                if abs(facing[k]) > best + 1e-9:
                    t = touching[k]
                    best, chosen = abs(facing[k]), front[t] if facing[k] > 0 else back[t]
        yield chosen


def _require_nothing_opened(points, corners, table: EdgeTable, skin):
    """Refuse to drop triangles where that would leave an opening in what is kept."""
    kept = edge_table(len(points), corners[skin])
    lone = kept.lone
    original = np.flatnonzero(skin)[lone // 3] * 3 + lone % 3
    opened = original[table.counts[table.edge[original]] > 1]
    if len(opened):
        raise SurfaceError(_untold_message(points, corners, table))


def _untold_message(points, corners, table: EdgeTable) -> str:
    crowded = half_edge_ends(corners, table.order[table.starts[:-1][table.counts > 2]])
    return (
        f"{len(crowded)} edges belong to more than two triangles (first near "
        f"{format_place(points[crowded[0]].mean(axis=0))}), and which of them are the outer skin "
        "cannot be told. Delete inner walls, fins and doubled skin in the CAD"
    )


def _dropped_notes(points, corners, outside) -> list[str]:
    notes = []
    for chosen, what in (
        (~outside.any(axis=1), "inner walls"),
        (outside.all(axis=1), "fins without thickness"),
    ):
        count = np.count_nonzero(chosen)
        if count:
            place = format_place(points[corners[chosen]].mean(axis=(0, 1)))
            notes.append(f"{count} triangles of {what} dropped (round {place})")
    return notes


def _parted(points, corners, table: EdgeTable, outside):
    """Split edges with four triangles or more of skin into pairs with the body between them."""
    if not (table.counts > 2).any():
        return points, corners, []
    mates = table.mates.copy()
    halves, forward = _around(points, corners, table)
    following = _next_around(table.edge[halves])
    inside_ahead = ~np.where(forward, outside[halves // 3, 0], outside[halves // 3, 1])
    first = np.flatnonzero(inside_ahead)
    mates[halves[first]] = halves[following[first]]
    mates[halves[following[first]]] = halves[first]
    (points, corners), places = _split_fans(points, corners, mates)
    count = np.count_nonzero(table.counts > 2)
    place = format_place(places[0]) if len(places) else "an unknown place"
    return points, corners, [f"skin parted along {count} edges at which it touches (near {place})"]


def _split_fans(points, corners, mates):
    """One vertex for each fan of corners; and where vertices were added, (k, 3)."""
    from panelcp.surface.repair_kernels import corner_fans

    fans = corner_fans(corners, mates)
    leaders = np.flatnonzero(fans == np.arange(len(fans)))
    vertex = corners.ravel()[leaders]
    first = np.unique(vertex, return_index=True)[1]
    extra = np.ones(len(leaders), dtype=bool)
    extra[first] = False
    label = np.empty(len(fans), dtype=np.int64)
    label[leaders] = vertex
    label[leaders[extra]] = len(points) + np.arange(np.count_nonzero(extra))
    added = points[vertex[extra]]
    return (np.concatenate([points, added]), label[fans].reshape(-1, 3)), added
