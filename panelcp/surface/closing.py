"""Openings of a cowl closed: flush caps, and caps inside ducts that a drawing carries on inward."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RBFInterpolator
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.repair import format_place
from panelcp.surface.scanning import median_edge, open_chains, split_at, without_unused
from panelcp.surface.smoothing import vertex_normals

LARGEST = 0.7
"""m, diameter of the circle of equal area; a larger opening is left open unless it is named."""

FLUSH = np.cos(np.radians(45.0))
"""Skin that meets the cap at less than this angle is carried on smoothly into it."""

BAND = 0.3
"""Skin within this part of the diameter shapes a flush cap."""

SUPPORTS = 300
"""Points through which the height of a cap is laid."""

MOST_POINTS = 4000
MOUTHS = (0.01, 0.02, 0.04, 0.08)
"""m inside the given place at which the width of a duct is looked for."""


def closed_openings(
    vertices,
    triangles,
    places=None,
    names: Sequence[str] | None = None,
    largest: float = LARGEST,
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Close openings of the skin with flush caps.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, one winding; whole, or a half open on y = 0
    places : (k, 3) float, m, near the openings to close; all up to `largest` when not given
    names : of the openings at `places`, for the notes
    largest : m, diameter of the circle of equal area

    Returns
    -------
    vertices, triangles : those given, then those of the caps; the cap of an opening across BL 0
        of a half has its edge at y = 0 exactly
    notes : one line for each opening, closed or left

    Raises
    ------
    SurfaceError : no opening near a place

    Notes
    -----
    Where the skin round an opening looks the same way as the cap, the cap carries on its
    curvature (thin-plate spline through the rim and a band of skin); otherwise, as at a lip or at
    the open end of a duct, it is laid through the rim alone.
    """
    vertices, triangles = np.array(vertices, dtype=float), np.array(triangles, dtype=np.int64)
    chains, closed = open_chains(vertices, triangles)
    sizes = [_size(vertices[c], not loop) for c, loop in zip(chains, closed, strict=True)]
    notes, kept = [], list(range(len(chains)))
    if places is None:
        for chain, size in zip(chains, sizes, strict=True):
            if size > largest:
                where = format_place(vertices[chain].mean(axis=0))
                notes.append(f"opening of {size * 1e3:.0f} mm at {where} left open: too large")
        kept = [k for k in kept if sizes[k] <= largest]
        names = ["opening"] * len(kept)
    else:
        places = np.asarray(places, dtype=float).reshape(-1, 3)
        names = names or [f"opening {k + 1}" for k in range(len(places))]
        kept = [
            _chain_near(vertices, chains, sizes, place, name)
            for place, name in zip(places, names, strict=True)
        ]
    chosen = [(chains[k], closed[k], name) for k, name in zip(kept, names, strict=True)]
    return _all_capped(vertices, triangles, chosen, notes)


def ducts_cut(
    vertices, triangles, places, axes=None, depths=None, names: Sequence[str] | None = None
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Cut ducts off some way inside their openings and close them there with a flat cap.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, one winding; whole, or a half open on y = 0
    places : (k, 3) float, m, in the middle of each opening, where the duct begins
    axes : (k, 3) direction inward; aft when not given
    depths : (k,) float, m, from the place; one width of the opening when not given. A depth just
        behind the lip closes the duct at the lip
    names : of the ducts, for the notes

    Returns
    -------
    vertices, triangles : the skin, the ducts up to the caps, and the caps
    notes : one line for each duct: depth, width, what was cut off

    Raises
    ------
    SurfaceError : no duct round the line from the place, or a duct that leads out elsewhere (give
        the places of both ends together)
    """
    vertices, triangles = np.array(vertices, dtype=float), np.array(triangles, dtype=np.int64)
    places = np.asarray(places, dtype=float).reshape(-1, 3)
    axes = np.tile([1.0, 0.0, 0.0], (len(places), 1)) if axes is None else np.asarray(axes, float)
    axes = axes.reshape(-1, 3) / np.linalg.norm(axes.reshape(-1, 3), axis=1, keepdims=True)
    depths = [None] * len(places) if depths is None else depths
    names = names or [f"duct {k + 1}" for k in range(len(places))]
    on_line, deep, lines, ended = np.zeros(len(vertices), dtype=bool), [], [], []
    for place, axis, depth, name in zip(places, axes, depths, names, strict=True):
        section = _section(vertices, triangles, place, axis, depth, name)
        if section is None:
            ended.append((place, axis, name))
            continue
        values, mask, depth, width = section
        n = len(vertices)
        vertices, triangles, side = split_at(vertices, triangles, values, mask)
        on_line = np.concatenate([on_line, np.ones(len(vertices) - n, dtype=bool)])
        fresh = (triangles >= n).any(axis=1)
        deep.append(np.unique(triangles[fresh & (side > 0)]))
        lines.append((name, place, depth, width))
    vertices, triangles, on_line, notes = _shallow_part(vertices, triangles, on_line, deep, lines)
    chains, closed = open_chains(vertices, triangles)
    chosen = [
        (chain, loop, "cap in duct")
        for chain, loop in zip(chains, closed, strict=True)
        if on_line[chain].all()
    ]
    for place, axis, name in ended:
        k = _inner_end(vertices, chains, closed, place, axis, name)
        chosen.append((chains[k], closed[k], name))
    return _all_capped(vertices, triangles, chosen, notes)


# --- which opening -------------------------------------------------------------------------------


def _outline(points, mirrored: bool) -> np.ndarray:
    """The whole loop of an opening; of a half its mirror image too."""
    if not mirrored:
        return points
    return np.vstack([points, points[-2:0:-1] * [1.0, -1.0, 1.0]])


def _area_vector(outline) -> np.ndarray:
    return 0.5 * np.cross(outline, np.roll(outline, -1, axis=0)).sum(axis=0)


def _size(points, mirrored: bool) -> float:
    """Diameter, m, of the circle of equal area."""
    outline = _outline(points, mirrored)
    area = np.linalg.norm(_area_vector(outline - outline.mean(axis=0)))
    return float(2.0 * np.sqrt(area / np.pi))


def _chain_near(vertices, chains, sizes, place, name) -> int:
    away = [
        float(np.linalg.norm(vertices[c] - place, axis=1).min()) / max(s, 1e-9)
        for c, s in zip(chains, sizes, strict=True)
    ]
    if not away or min(away) > 1.0:
        shown = ", ".join(format_place(vertices[c].mean(axis=0)) for c in chains[:5])
        raise SurfaceError(
            f"{name}: no open edge near {format_place(place)}; "
            + (
                f"there are {len(chains)} open edges: {shown}. Give a place in the opening"
                if shown
                else "the skin is closed all round. Leave this closing out, or set way = "
                '"inside" where a duct leads in'
            )
        )
    return int(np.argmin(away))


# --- caps ----------------------------------------------------------------------------------------


def _all_capped(vertices, triangles, chosen, notes):
    normals, notes = vertex_normals(vertices, triangles), list(notes)
    points, parts, number = [vertices], [triangles], len(vertices)
    for chain, loop, name in chosen:
        skin = _near_skin(vertices, triangles, normals, chain)
        added, cap, flush = _cap(skin, vertices[chain], not loop)
        whole = np.concatenate([chain, number + np.arange(len(added))])
        points.append(added)
        parts.append(whole[cap])
        number += len(added)
        kind = "flush with the skin" if flush else "laid through its rim"
        notes.append(
            f"{name} closed at {format_place(vertices[chain].mean(axis=0))}: "
            f"{_size(vertices[chain], not loop) * 1e3:.0f} mm across (circle of equal area), "
            f"{len(cap)} triangles, {kind}"
        )
    return np.vstack(points), np.vstack(parts), notes


@dataclass(frozen=True, eq=False)
class _NearSkin:
    """Skin round an opening.

    Attributes
    ----------
    points, normals : (n, 3) float, of its vertices, the rim left out
    rim_normals : (k, 3) float
    joined : pairs of places in the rim that an edge of the skin joins, beside the rim itself
    edge : m, median edge at the rim
    """

    points: np.ndarray
    normals: np.ndarray
    rim_normals: np.ndarray
    joined: set
    edge: float


def _near_skin(vertices, triangles, normals, chain) -> _NearSkin:
    rim = vertices[chain]
    centre = rim.mean(axis=0)
    radius = np.linalg.norm(rim - centre, axis=1).max()
    close = np.linalg.norm(vertices - centre, axis=1) < (1.0 + 2.0 * BAND) * radius
    at = np.full(len(vertices), -1)
    at[chain] = np.arange(len(chain))
    near = triangles[close[triangles[:, 0]] | (at[triangles] >= 0).any(axis=1)]
    own = near[(at[near] >= 0).any(axis=1)]
    ends = at[own[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)]
    ends = np.sort(ends[(ends >= 0).all(axis=1)], axis=1)
    step = ends[:, 1] - ends[:, 0]
    inner = ends[(step > 1) & (step < len(chain) - 1)]
    others = np.setdiff1d(np.unique(near), chain)
    joined = set(map(tuple, inner.tolist()))
    return _NearSkin(
        vertices[others], normals[others], normals[chain], joined, median_edge(vertices, own)
    )


def _cap(skin: _NearSkin, rim, mirrored: bool) -> tuple[np.ndarray, np.ndarray, bool]:
    """New vertices, triangles that count the rim's vertices first, and whether it is flush."""
    outline = _outline(rim, mirrored)
    centre = outline.mean(axis=0)
    axes = _cap_axes(outline - centre, mirrored)
    flat = (rim - centre) @ axes[:2].T
    spacing = max(skin.edge, _size(rim, mirrored) / np.sqrt(MOST_POINTS))
    closing = np.empty((0, 2))
    if mirrored:  # along BL 0, from the last vertex of the rim to the first
        steps = max(1, round(abs(flat[0, 1] - flat[-1, 1]) / spacing))
        way = np.linspace(flat[-1, 1], flat[0, 1], steps + 1)[1:-1]
        closing = np.stack([np.zeros_like(way), way], axis=1)
    polygon = np.vstack([flat, closing])
    inner = _grid_inside(polygon, spacing)
    triangles = _triangulated(polygon, inner)
    triangles, flat = _parted(triangles, np.vstack([polygon, inner]), skin.joined)
    fresh = flat[len(rim) :]
    band = _band(skin, rim, centre, axes, polygon, mirrored)
    flush = float(np.median(skin.rim_normals @ axes[2])) > FLUSH and len(band) > 0
    support = np.vstack([outline, band]) if flush else outline
    points = centre + fresh @ axes[:2]
    points += _height(support - centre, axes, fresh)[:, None] * axes[2]
    if mirrored:
        points[: len(closing), 1] = 0.0
    return points, triangles, flush


def _cap_axes(outline, mirrored: bool) -> np.ndarray:
    """Rows: two axes in the plane of the cap, the first across BL 0 in a half; outward."""
    outward = -_area_vector(outline)
    outward /= np.linalg.norm(outward)
    helper = np.eye(3)[1 if mirrored else np.argmin(np.abs(outward))]
    first = helper - (helper @ outward) * outward
    first /= np.linalg.norm(first)
    return np.array([first, np.cross(outward, first), outward])


def _parted(triangles, points, joined: set) -> tuple[np.ndarray, np.ndarray]:
    """Triangles in which edges that the skin already has get a vertex in their middle."""
    triangles = triangles.tolist()
    ends = {tuple(sorted((t[k - 1], t[k]))) for t in triangles for k in range(3)}
    for a, b in sorted(ends & joined):
        middle = len(points)
        points = np.vstack([points, 0.5 * (points[a] + points[b])])
        for t in [t for t in triangles if a in t and b in t]:
            triangles.remove(t)
            triangles += [[middle if v == end else v for v in t] for end in (a, b)]
    return np.array(triangles, dtype=np.int64), points


def _band(skin: _NearSkin, rim, centre, axes, polygon, mirrored: bool) -> np.ndarray:
    """Skin near the rim that looks the way of the cap, and its mirror image."""
    distance, _ = cKDTree(rim).query(skin.points, distance_upper_bound=BAND * _size(rim, mirrored))
    near = np.isfinite(distance) & (skin.normals @ axes[2] > FLUSH)
    points = skin.points[near]
    points = points[~_inside(polygon, (points - centre) @ axes[:2].T)]
    if mirrored:
        points = np.vstack([points, points[points[:, 1] > 0.0] * [1.0, -1.0, 1.0]])
    return points


def _height(support, axes, flat) -> np.ndarray:
    """Thin-plate spline through the support points, at points of the plane."""
    if len(flat) == 0:
        return np.zeros(0)
    some = support[:: max(1, int(np.ceil(len(support) / SUPPORTS)))]
    u, v, w = (some @ axis for axis in axes)
    known = np.stack([u, v], axis=1)
    return RBFInterpolator(known, w, kernel="thin_plate_spline", degree=1, smoothing=1e-9)(flat)


def _grid_inside(polygon, spacing: float) -> np.ndarray:
    """Points of a triangular grid inside a polygon, not too near to its edges."""
    low, high = polygon.min(axis=0), polygon.max(axis=0)
    rows = np.arange(low[1], high[1], 0.866 * spacing)
    columns = np.arange(-np.ceil(-low[0] / spacing), np.ceil(high[0] / spacing) + 1.0) * spacing
    u, v = np.meshgrid(columns, rows)
    u = u + 0.5 * spacing * (np.arange(len(rows)) % 2)[:, None]
    grid = np.stack([u.ravel(), v.ravel()], axis=1)
    grid = grid[_inside(polygon, grid)]
    ends = np.roll(polygon, -1, axis=0)
    parts = np.linspace(0.0, 1.0, 6)[:-1]
    samples = (polygon[:, None] + parts[:, None] * (ends - polygon)[:, None]).reshape(-1, 2)
    return grid[cKDTree(samples).query(grid)[0] > 0.6 * spacing] if len(grid) else grid


def _inside(polygon, points) -> np.ndarray:
    """(n,) bool: an odd number of edges lies to the right."""
    x, y = np.asarray(points).T
    inside = np.zeros(len(x), dtype=bool)
    for (ax, ay), (bx, by) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if ay != by:
            inside ^= ((ay > y) != (by > y)) & (x < ax + (y - ay) / (by - ay) * (bx - ax))
    return inside


def _triangulated(polygon, inner) -> np.ndarray:
    """Triangles, counter-clockwise, that fill a polygon and have all of its edges."""
    sign = np.sign((polygon[:, 0] * np.roll(polygon[:, 1], -1)
                    - polygon[:, 1] * np.roll(polygon[:, 0], -1)).sum())  # fmt: skip
    points = np.vstack([polygon, inner])
    triangles = Delaunay(points).simplices
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    triangles[area < 0.0] = triangles[area < 0.0][:, [0, 2, 1]]
    size = np.ptp(polygon, axis=0).max()
    kept = _inside(polygon, points[triangles].mean(axis=1)) & (np.abs(area) > 1e-12 * size**2)
    triangles = triangles[kept].astype(np.int64)
    n = len(polygon)
    order = np.arange(n) if sign > 0 else np.arange(n)[::-1]
    wanted = set(zip(order.tolist(), np.roll(order, -1).tolist(), strict=True))
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).tolist()
    edges = set(map(tuple, ends))
    open_edges = {edge for edge in edges if edge[::-1] not in edges}
    return triangles if open_edges == wanted else _ears_cut(polygon, order)


def _ears_cut(polygon, order) -> np.ndarray:
    """Triangles of a polygon without further points, the best shaped corner first."""
    from panelcp.surface._rings import shape_quality

    left, triangles = list(order), []
    raised = np.column_stack([polygon, np.zeros(len(polygon))])
    while len(left) >= 3:
        here = np.array(left)
        p, q, r = polygon[np.roll(here, 1)], polygon[here], polygon[np.roll(here, -1)]
        turn = (q[:, 0] - p[:, 0]) * (r[:, 1] - q[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - q[:, 0])
        ears = (raised[np.roll(here, 1)], raised[here], raised[np.roll(here, -1)])
        quality = np.where(turn > 0.0, shape_quality(*ears), -1.0)
        for k in np.argsort(-quality, kind="stable"):
            others = np.delete(here, [k - 1, k, (k + 1) % len(here)])
            corner = np.array([p[k], q[k], r[k]])
            if quality[k] > 0.0 and not _inside(corner, polygon[others]).any():
                break
        else:
            raise SurfaceError("the rim of an opening crosses itself: mend the skin there first")
        triangles.append((left[k - 1], left[k], left[(k + 1) % len(left)]))
        del left[k]
    return np.array(triangles, dtype=np.int64)


# --- ducts ---------------------------------------------------------------------------------------


def _section(vertices, triangles, place, axis, depth, name):
    """Value, divided triangles, depth and width of a section of a duct; None where it ended."""
    arm = (vertices - place) @ axis
    width = None
    for mouth in MOUTHS:
        found = _inward_loop(vertices, triangles, arm - mouth, place, axis)
        if found is not None:
            width = found[1]
            break
    if width is None:
        raise SurfaceError(
            f"{name}: no duct wall goes round the line from {format_place(place)} along "
            f"({axis[0]:.2f}, {axis[1]:.2f}, {axis[2]:.2f}) within {MOUTHS[-1] * 1e3:.0f} mm: give "
            "the middle of the opening and the direction inward"
        )
    depth = width if depth is None else float(depth)
    depth = _between_vertices(arm, depth, median_edge(vertices, triangles[found[0]]))
    found = _inward_loop(vertices, triangles, arm - depth, place, axis)
    if found is None:
        return None
    return arm - depth, found[0], depth, width


def _between_vertices(arm, depth: float, edge: float) -> float:
    """Depth moved by less than half an edge to where fewest vertices are near."""
    near = np.sort(arm[(arm > depth - 0.5 * edge) & (arm < depth + 0.5 * edge)])
    near = np.concatenate([[depth - 0.5 * edge], near, [depth + 0.5 * edge]])
    gap = np.diff(near)
    best = int(np.argmax(gap))
    return float(0.5 * (near[best] + near[best + 1]))


def _inward_loop(vertices, triangles, values, place, axis):
    """Triangles of the section of a duct: its skin looks towards the middle; and its width."""
    at = values[triangles]
    crossed = np.flatnonzero((at.min(axis=1) < 0.0) & (at.max(axis=1) > 0.0))
    if len(crossed) == 0:
        return None
    label = _joined_by_crossed_edges(triangles[crossed], values)
    best, nearest = None, np.inf
    for k in range(label.max() + 1):
        own = crossed[label == k]
        points, outward = _crossing_points(vertices, triangles[own], values)
        low, high = points.min(axis=0), points.max(axis=0)
        middle = 0.5 * (low + high)
        if low[1] == 0.0:
            middle[1], low[1] = 0.0, -high[1]
        facing = (outward * (middle - points)).sum()
        step = middle - place
        away = np.linalg.norm(step - (step @ axis) * axis)
        size = np.linalg.norm(high - low)
        if facing > 0.0 and away < min(nearest, 0.75 * size) and len(own) > 3:
            sides = np.sort(high - low)
            best, nearest = (own, float(np.sqrt(sides[1] * sides[2]))), away
    if best is None:
        return None
    mask = np.zeros(len(triangles), dtype=bool)
    mask[best[0]] = True
    return mask, best[1]


def _joined_by_crossed_edges(triangles, values) -> np.ndarray:
    ends = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    crossing = values[ends[:, 0]] * values[ends[:, 1]] < 0.0
    _, index = np.unique(ends, axis=0, return_inverse=True)
    owner = np.repeat(np.arange(len(triangles)), 3)[crossing]
    n, m = len(triangles), int(index.max()) + 1
    graph = coo_array(
        (np.ones(len(owner)), (owner, n + index.ravel()[crossing])), shape=(n + m,) * 2
    )
    return np.unique(connected_components(graph, directed=False)[1][:n], return_inverse=True)[1]


def _crossing_points(vertices, triangles, values) -> tuple[np.ndarray, np.ndarray]:
    """Middles of the crossing lines, and the area vectors of their triangles."""
    corners, at = vertices[triangles], values[triangles]
    ahead, ahead_at = np.roll(corners, -1, axis=1), np.roll(at, -1, axis=1)
    crossing = at * ahead_at < 0.0
    part = np.divide(at, at - ahead_at, out=np.zeros_like(at), where=crossing)
    points = corners + part[:, :, None] * (ahead - corners)
    points = np.repeat(points.reshape(-1, 3), crossing.ravel().astype(int), axis=0)
    a, b, c = np.moveaxis(corners, 1, 0)
    vectors = np.cross(b - a, c - a)
    return points, np.repeat(vectors, crossing.sum(axis=1), axis=0)


def _shallow_part(vertices, triangles, on_line, deep, lines):
    """What is left when everything behind the cuts is taken away."""
    if not deep:
        return vertices, triangles, on_line, []
    label = _parts_between_lines(triangles, on_line)
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    area = np.bincount(label, weights=0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))
    outer = int(np.argmax(area))
    gone, notes = np.zeros(len(area), dtype=bool), []
    for inside, (name, place, depth, width) in zip(deep, lines, strict=True):
        off_line = inside[~on_line[inside]]
        behind = np.unique(label[np.isin(triangles, off_line).any(axis=1)])
        if outer in behind:
            raise SurfaceError(
                f"{name} at {format_place(place)}: the duct leads out elsewhere; give the places "
                "of all its ends together"
            )
        gone[behind] = True
        notes.append(
            f"{name} at {format_place(place)}: {width * 1e3:.0f} mm wide, cut off "
            f"{depth * 1e3:.0f} mm inside; {np.isin(label, behind).sum()} triangles "
            f"({area[behind].sum():.3g} m2) behind taken away"
        )
    kept = ~gone[label]
    used = np.unique(triangles[kept])
    vertices, triangles = without_unused(vertices, triangles[kept])
    return vertices, triangles, on_line[used], notes


def _parts_between_lines(triangles, on_line) -> np.ndarray:
    """(m,) int: parts of the skin that are joined by edges other than those on the lines."""
    ends = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    index = np.unique(ends, axis=0, return_inverse=True)[1].ravel()
    joins = ~on_line[ends].all(axis=1)
    owner = np.repeat(np.arange(len(triangles)), 3)[joins]
    n, m = len(triangles), int(index.max()) + 1
    graph = coo_array((np.ones(len(owner)), (owner, n + index[joins])), shape=(n + m,) * 2)
    return np.unique(connected_components(graph, directed=False)[1][:n], return_inverse=True)[1]


def _inner_end(vertices, chains, closed, place, axis, name) -> int:
    """Open edge at the inner end of a duct that is shorter than the depth."""
    best, nearest = None, np.inf
    for k, chain in enumerate(chains):
        step = vertices[chain].mean(axis=0) - place
        if not closed[k]:
            step[1] = -place[1]
        away = np.linalg.norm(step - (step @ axis) * axis)
        if step @ axis > 0.0 and away < nearest:
            best, nearest = k, away
    if best is None or nearest > _size(vertices[chains[best]], not closed[best]):
        raise SurfaceError(
            f"{name} at {format_place(place)}: the duct ends before the depth, but has no open end "
            "there; give a smaller depth"
        )
    return best
