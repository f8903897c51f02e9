"""Well-shaped panels on any closed surface: its own triangles are replaced by better ones.

The triangles of the surface are drawn together and divided one edge at a time until all edges
have the wanted length; every vertex stays on the surface that was given.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.checking import least_angles, require_closed, require_one_body, require_outward
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.panelling_curved import onto_patches
from panelcp.surface.panelling_folds import unfolded
from panelcp.surface.panelling_lines import (
    build_chains,
    drop_edges_along_plane,
    drop_short_edges,
    kept_lengths,
    lay_lines,
    mark_sharp_edges,
)
from panelcp.surface.panelling_shapes import as_arrays, corner_normals, on_sharp_edges
from panelcp.surface.panelling_sizes import EQUAL_SIDES, size_field, sizes_at
from panelcp.surface.panelling_start import (
    GIVEN,
    NOISY,
    SHARP,
    along_curve,
    build_skin,
    build_tree,
    compacted,
    half_or_whole,
    reliable_facing,
    vertex_normals,
    visible,
    with_room,
)
from panelcp.surface.repair import sorted_edges

FEWEST = 100
"""Fewer panels than this make no body."""

COUNT_TOLERANCE = 0.03
"""The number of panels is brought this near to the wanted one."""

FINE = 0.3
"""Edges of the mesh on which bends are looked for, parts of the mean wanted edge."""

SHORTEST, LONGEST = 0.72, 1.38
"""Edges shorter or longer than these parts of the wanted size are changed."""

ROUGH_PASSES, SCAN_PASSES = 8, 3
"""Rounds of averaging of the normals before bends are looked for: rough skin, smoothed scans."""

FLOOR = np.radians(12.0)
MENDED = np.radians(26.0)


GOOD, PASSABLE = 0.65, 0.4
"""rad: triangles with larger least angles are left as they are; on the fine mesh, which only serves
to measure bends, those with angles larger than the second."""

FEW_LONG = 1e-3
"""After so few divisions, parts of all triangles, no edges are turned: the next pass does it."""


@dataclass(frozen=True, eq=False)
class _Source:
    """The given surface as it is looked things up in."""

    vertices: np.ndarray
    triangles: np.ndarray
    tree: object
    order: np.ndarray
    index: np.ndarray
    noise: float


def panelled(
    surface: SurfaceMesh,
    n_panels: int = 16000,
    *,
    lines=(),
    finer=(),
    symmetric: bool | None = None,
    folds: bool = False,
    progress: Callable[[str], None] | None = None,
) -> SurfaceMesh:
    """Well-shaped panels on a closed surface of any triangles.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    n_panels : wanted number of panels of the whole body, both halves counted
    lines : polylines (k, 3) float, m, on the surface that panel edges must follow; a closed one
        ends with its first point
    finer : (centre (3,) m, radius m, panel size m) each: places with small panels
    symmetric : True or False; None finds out, within 1 mm or 0.1 % of the size
    folds : True for a scan: small folds are passed over and not taken for thin walls or lips
    progress : called with a short text before each long step

    Returns
    -------
    SurfaceMesh, mirrored when symmetric; regions from the nearest triangles of the surface

    Raises
    ------
    SurfaceError : not closed, inside out or several bodies; lines that are not on the surface

    Notes
    -----
    Vertices lie on curved patches through the triangles that were given (see `curved_panels`) where
    these are well shaped and not much smaller than the panels; else, and on rough skin, on the
    triangles themselves. Edge by edge changes (draw together, divide, turn) and movements along
    the skin, after M. Botsch and L. Kobbelt, A remeshing approach to multiresolution modeling,
    Symposium on Geometry Processing 2004 (from memory); sizes from bends, sharp edges and strips.
    """
    say = progress or (lambda text: None)
    _check_input(surface, n_panels, finer)
    say("looking for sharp edges and symmetry")
    vertices, triangles, index, difference = half_or_whole(surface, symmetric, build_tree)
    halved = difference is not None
    vertices, triangles, order = along_curve(vertices, triangles)
    index = index[order]
    wanted = n_panels / 2 if halved else n_panels
    skin, source, notes, chains, names = _started(
        surface, vertices, triangles, index, wanted, lines, halved
    )
    say("measuring how the surface bends")
    skin, field = _fine_skin(skin, source, chains, names, wanted, finer, surface.bounds, folds)
    say("shaping panels")
    skin = _shaped(skin, source, chains, field, wanted)
    say("checking panels")
    result = _finished(skin, source, surface, halved, names, folds)
    return result.with_notes(*notes, *_what_was_made(result, surface, chains, names, difference))


def _check_input(surface, n_panels, finer):
    if not (np.isfinite(n_panels) and n_panels >= FEWEST):
        raise SurfaceError(f"n_panels is {n_panels}; expected at least {FEWEST}")
    for centre, radius, size in finer:
        if np.shape(centre) != (3,) or not (radius > 0.0 and size > 0.0):
            raise SurfaceError(
                f"finer: expected centre (3,) m, radius and panel size above 0 m, not "
                f"{centre}, {radius}, {size}"
            )
    require_one_body(surface.vertices, surface.triangles)
    require_closed(surface.vertices, surface.triangles)
    require_outward(surface)


def _mean_edge(area: float, n_panels: float) -> float:
    """Edge, m, of so many triangles of equal sides."""
    return float(np.sqrt(area / (EQUAL_SIDES * n_panels)))


def _started(surface, vertices, triangles, index, wanted, lines, halved):
    """Skin with its kept lines, the source to look things up in, and notes."""
    skin, triangles, twin = build_skin(vertices, triangles, 1000)
    points = skin.points[: triangles.max() + 1].copy()
    facing, areas, noise = reliable_facing(points, triangles, twin)
    edge = _mean_edge(areas.sum(), wanted)
    mark_sharp_edges(skin, facing, twin)
    drop_edges_along_plane(skin, 0.1 * edge)
    shortest = (4.0 if noise > NOISY else 1.5) * edge
    dropped, length = drop_short_edges(skin, shortest, edge if noise > NOISY else 0.5 * edge)
    notes = []
    if noise > NOISY:
        notes.append(
            f"rough surface (ridges and grooves of {np.degrees(noise):.1f} deg): smoothed to find "
            "sharp edges and bends; panels keep to the rough surface"
        )
    if dropped:
        notes.append(
            f"{dropped} sharp edges of triangles in short pieces not kept "
            f"({length * 1e3:.0f} mm in all, pieces under {1e3 * shortest:.0f} mm or loose ends)"
        )
    corner = corner_normals(skin, triangles, facing, areas)
    tree, order = build_tree(points[triangles], facing, corner)
    skin.normal[: len(points)] = vertex_normals(triangles, facing, areas, len(points))
    size = float(surface.size.max())
    skin, _ = lay_lines(skin, lines, tree, size, halved)
    chains, names = build_chains(skin, 0.5 * edge)
    skin.normal[skin.kind > 0] = 0.0
    source = _Source(points, triangles, tree, order, index, noise)
    return skin, source, notes, chains, names


def _fine_skin(skin, source, chains, names, wanted, finer, bounds, folds: bool):
    """Skin of even, small triangles, with smooth normals, and the field of sizes from it."""
    area = _area(skin)
    skin.size[:] = FINE * _mean_edge(area, wanted)
    skin = _evened(skin, source, chains, 12, PASSABLE)
    _gather_normals(skin, source)
    skin = compacted(skin)
    passes = ROUGH_PASSES if source.noise > NOISY else SCAN_PASSES * folds
    tree = None if folds else source.tree
    field = size_field(skin, tree, chains, names, passes, _as_tuples(finer), bounds)
    return skin, field


def _as_tuples(finer):
    return [(np.asarray(c, dtype=float), float(r), float(s)) for c, r, s in finer]


def _area(skin) -> float:
    _, triangles = visible(skin)
    a, b, c = np.moveaxis(skin.points[triangles], 1, 0)
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def _evened(skin, source, chains, passes: int, good: float = GOOD):
    """Draw short edges together and divide long ones until few are left."""
    from panelcp.surface.panelling_kernels import thin_out, turn_edges

    skin = _divided(skin, source, chains, good)
    for _ in range(passes):
        gone = thin_out(skin, chains, SHORTEST, LONGEST, FLOOR)
        turn_edges(skin, 1, good)
        skin = _divided(skin, source, chains, good)
        if gone < 0.01 * np.count_nonzero(skin.out >= 0):
            break
    return skin


def _divided(skin, source, chains, good: float):
    from panelcp.surface.panelling_kernels import halve_long_edges, long_edges, turn_edges

    for _ in range(60):
        edges = long_edges(skin, LONGEST)
        if len(edges) == 0:
            break
        skin = with_room(skin, len(edges) + 100)
        done = halve_long_edges(skin, chains, source.tree, edges, LONGEST)
        if len(edges) > FEW_LONG * skin.count[1]:
            turn_edges(skin, 1, good)
        if done == 0:
            break
    return skin


def _gather_normals(skin, source):
    """Normals of the vertices that are left: means over all that were drawn into them."""
    root = skin.into[: len(source.vertices)].copy()
    while True:
        further = skin.into[root]
        if np.array_equal(further, root):
            break
        root = further
    corners = source.tree.corners
    vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(vectors, axis=1)
    owner = root[source.triangles[source.order]].ravel()
    weighted = np.repeat(source.tree.facing * areas[:, None], 3, axis=0)
    n = len(skin.out)
    total = np.stack([np.bincount(owner, column, minlength=n) for column in weighted.T], axis=1)
    length = np.linalg.norm(total, axis=1)
    good = (length > 0.0) & (skin.kind == 0)
    skin.normal[good] = total[good] / length[good, None]


def _shaped(skin, source, chains, field, wanted):
    """Panels of the wanted sizes and number."""
    from panelcp.surface.panelling_kernels import mend_shapes, relax, renew_normals, turn_edges

    renew_normals(skin, source.tree)
    sizes, asked = field.sizes_for(wanted), wanted
    for attempt in range(12):
        for step in range(5 if attempt == 0 else 2):
            n = int(skin.count[0])
            skin.size[:n] = sizes_at(field, sizes, skin.points[:n])
            skin = compacted(_evened(skin, source, chains, 20 if step == 0 else 3))
            relax(skin, chains, source.tree, 3, FLOOR)
            turn_edges(skin, 3, GOOD)
        number = len(visible(skin)[1])
        if abs(number / wanted - 1.0) <= COUNT_TOLERANCE and attempt > 0:
            break
        asked *= np.clip(wanted / number, 0.5, 2.0)
        sizes = field.sizes_for(asked)
    relax(skin, chains, source.tree, 4, FLOOR)
    turn_edges(skin, 4, GOOD)
    mend_shapes(skin, chains, source.tree, MENDED, 12)
    return compacted(skin)


def _finished(skin, source, surface, halved: bool, names, folds: bool) -> SurfaceMesh:
    """The panels as a surface, with the regions of the nearest triangles; checked."""
    shown, vertices, triangles = as_arrays(skin)
    notes = list(surface.notes)
    sharp = on_sharp_edges(skin, names)[shown]
    if source.noise <= NOISY:
        given = (source.vertices, source.triangles)
        places = (source.tree, source.order, given, sharp, halved)
        vertices, lines = onto_patches(vertices, triangles, *places)
        notes += lines
    if folds:
        skin, lines = unfolded(skin, shown, vertices, names, halved)
        shown, vertices, triangles = as_arrays(skin)
        notes += lines
    if halved:
        _require_half(vertices, triangles, skin.plane[shown])
        result = mirrored_whole(vertices, triangles, notes=notes)
    else:
        result = SurfaceMesh(vertices, triangles, notes=notes)
    require_closed(result.vertices, result.triangles)
    require_one_body(result.vertices, result.triangles)
    require_outward(result)
    require_single_fans(result)
    if len(surface.region_names) == 1:
        return result.with_regions(np.zeros(result.n_panels, dtype=int), surface.region_names)
    return result.with_regions(_regions(result, source, surface, halved), surface.region_names)


def _require_half(vertices, triangles, plane):
    """Nothing but the rim may lie on the plane of symmetry, else both halves would touch."""
    touching = (vertices[:, 1] <= 0.0) & ~plane
    if touching.any():
        from panelcp.surface.repair import format_place

        raise SurfaceError(
            f"{np.count_nonzero(touching)} points of the right half lie on or beyond BL 0 (first "
            f"at {format_place(vertices[np.flatnonzero(touching)[0]])}): the body touches itself "
            "there; panel it whole (symmetric = False)"
        )


def require_single_fans(surface: SurfaceMesh):
    """Refuse a surface of which two parts touch in a single vertex."""
    from panelcp.surface.panelling_kernels import own_fans
    from panelcp.surface.panelling_start import twins
    from panelcp.surface.repair import format_place

    triangles = np.array(surface.triangles)
    _, copies = own_fans(triangles.ravel(), twins(triangles), surface.n_vertices)
    if len(copies):
        raise SurfaceError(
            f"{len(copies)} points where two parts of the skin touch (first at "
            f"{format_place(surface.vertices[copies[0]])}); thicken or separate them there"
        )


def _regions(result, source, surface, halved: bool) -> np.ndarray:
    from panelcp.surface.panelling_kernels import nearest_many

    n = result.n_solved
    centroids, normals = result.centroids[:n].copy(), result.normals[:n].copy()
    found, _, _ = nearest_many(source.tree, centroids, normals, 0.3, np.inf)
    lost = found < 0
    if lost.any():
        found[lost] = nearest_many(source.tree, centroids[lost], normals[lost], -2.0, np.inf)[0]
    regions = surface.region_index[source.index[source.order[found]]]
    return np.tile(regions, 2) if halved else regions


def distance_to(panels: SurfaceMesh, points) -> np.ndarray:
    """(n,) float, m: distance of points from the nearest panel."""
    from panelcp.surface.panelling_kernels import nearest_many

    normals = np.repeat(panels.normals[:, None], 3, axis=1)
    tree, _ = build_tree(panels.corners, panels.normals, normals)
    points = np.array(points, dtype=float)
    return nearest_many(tree, points, np.zeros_like(points), -2.0, np.inf)[1]


def _what_was_made(result, surface, chains, names, difference) -> list[str]:
    """Lines of history."""
    angles = least_angles(result)
    edges = np.unique(sorted_edges(result.triangles), axis=0)
    ends = result.vertices[edges]
    lengths = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) * 1e3
    step = max(1, surface.n_vertices // 20000)
    gap = distance_to(result, surface.vertices[::step]) * 1e3
    kept = kept_lengths(chains, names)
    how = "whole"
    if difference is not None:
        how = f"right half, mirrored (left and right differed by up to {difference * 1e3:.2g} mm)"
    return [
        f"panelled anew, {how}: {surface.n_panels} triangles to {result.n_panels} panels; edges "
        f"{lengths.min():.1f} to {lengths.max():.0f} mm, median {np.median(lengths):.0f} mm",
        f"least angle of panels {angles.min():.0f} deg, {100 * (angles < 20).mean():.2f} % under "
        "20 deg",
        f"kept as panel edges: {kept[SHARP]:.2f} m of sharp edges, {kept[GIVEN]:.2f} m of given "
        "lines",
        f"distance of the surface from the panels: mean {gap.mean():.2g} mm, greatest "
        f"{gap.max():.2g} mm; area {100 * (result.area / surface.area - 1):+.2f} %",
    ]
