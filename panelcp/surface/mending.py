"""All repairs in their order: from the triangles of a file to one closed, outward skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.checking import require_closed, require_one_body
from panelcp.surface.crossings import require_no_crossings
from panelcp.surface.crowded import part_crowded_edges, split_touching_vertices
from panelcp.surface.holes import LARGEST, Hole, bridge_gaps, fill_holes, join_seams, part_labels
from panelcp.surface.layers import (
    PARALLEL,
    drop_inner_faces,
    drop_second_copies,
    require_thickness,
)
from panelcp.surface.repair import (
    close_cracks,
    close_junctions,
    draw_needles,
    drop_doubled,
    edge_table,
    format_place,
    half_edge_ends,
    merge_points,
    open_vertices,
    plain_triangles,
    remove_flat,
    snap_to_plane,
    used_only,
)
from panelcp.surface.windings import consistent_windings

SAGITTA, MOST_SAGITTA = 0.02, 0.003
"""Points of a seam this part of an edge beside it, up to this many m, lie on it: a round seam in
steps of 9 degrees against one in finer steps."""

WIDE = 0.2
"""A hole at the rear wider than this part of the body is its open end."""

LOOSE = "a sheet that hangs on nothing"
"""Words of the message about open parts beside a closed skin."""

BESIDE = 0.02
"""The edge of a half no farther from BL 0 than this part of its length was meant to lie there."""


@dataclass(frozen=True)
class MendingOptions:
    """How far repairs may go.

    Attributes
    ----------
    crack_tolerance : m, open edges nearer than this to each other are joined
    plane_tolerance : m, open points of a half this near to y = 0 are put onto it
    largest_hole : m, diameter up to which holes are filled
    widest_gap : m, ring-shaped gaps between two parts up to this wide are bridged
    loose_share : parts with less than this share of the area are dropped; 0 keeps all
    one_body : True refuses several separate bodies
    crossings : True refuses a skin that crosses or touches itself
    """

    crack_tolerance: float = 0.5e-3
    plane_tolerance: float = 0.5e-3
    largest_hole: float = LARGEST
    widest_gap: float = 0.025
    loose_share: float = 0.005
    one_body: bool = True
    crossings: bool = True

    def __post_init__(self):
        for name in (
            "crack_tolerance",
            "plane_tolerance",
            "largest_hole",
            "widest_gap",
            "loose_share",
        ):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0.0):
                raise SurfaceError(f"{name} is {value}; expected a number of 0 or more")


def mended(
    vertices,
    triangles,
    options: MendingOptions | None = None,
    open_at_plane: bool = False,
    leave_larger: bool = False,
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Mend what can be mended, and refuse the rest by name.

    Parameters
    ----------
    vertices : (n, 3) float, m, body axes
    triangles : (m, 3) int, any winding
    options : MendingOptions
    open_at_plane : True for a right half, open on y = 0
    leave_larger : True lets holes wider than `largest_hole` stay open; they are told in the notes

    Returns
    -------
    vertices, triangles : closed (but for y = 0 of a half) and outward; the arrays that were
        given, untouched, when nothing is wrong with them
    notes : lines that say what was done; none when nothing was

    Raises
    ------
    SurfaceError : what is wrong, how often, where, and what to do
    """
    options = options or MendingOptions()
    _require_numbers(vertices, triangles)
    notes: list[str] = []

    def step(change, *settings):
        nonlocal vertices, triangles
        vertices, triangles, lines = change(vertices, triangles, *settings)
        notes.extend(lines)

    step(merge_points)
    step(remove_flat)
    step(drop_doubled)
    if open_at_plane:
        step(_without_wall, options.plane_tolerance)
        step(_laid_to_plane, options.plane_tolerance)
        step(_without_wall)
    step(drop_second_copies, options.crack_tolerance)
    step(_closed_cracks, options.crack_tolerance, open_at_plane)
    if open_at_plane:
        step(_without_wall)
    step(part_crowded_edges, open_at_plane)
    step(consistent_windings)
    step(drop_inner_faces)
    step(_zipped_seams, options.crack_tolerance, open_at_plane)
    step(join_seams, options.widest_gap, open_at_plane)
    step(bridge_gaps, options.widest_gap, open_at_plane)
    step(drop_loose_parts, options.loose_share)
    n_skin = len(triangles)
    vertices, triangles, lines, left = fill_holes(
        vertices, triangles, options.largest_hole, open_at_plane
    )
    notes.extend(lines)
    notes.extend(_left_open(vertices, triangles, left, options, leave_larger, open_at_plane))
    step(_without_pockets, n_skin)
    step(split_touching_vertices)
    step(draw_needles)
    step(consistent_windings)
    _require_sound(vertices, triangles, options, open_at_plane, bool(left))
    return vertices, triangles, notes


def drop_loose_parts(vertices, triangles, share: float) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Drop parts that hang on nothing and have little of the area, such as a screw.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    share : parts with less than this of the whole area are dropped

    Returns
    -------
    vertices, triangles : the arrays that were given when nothing is dropped
    notes : count, size and place of what was dropped
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    part = part_labels(len(points), corners)[corners[:, 0]]
    a, b, c = (points[column] for column in corners.T)
    areas = np.bincount(part, 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))
    small = (areas < share * areas.sum()) & (np.bincount(part, minlength=len(areas)) > 0)
    if not small.any():
        return vertices, triangles, []
    dropped = small[part]
    shown = []
    for name in np.flatnonzero(small)[:3]:
        place = points[corners[part == name]].reshape(-1, 3)
        shown.append(f"{np.ptp(place, axis=0).max() * 1e3:.0f} mm at {format_place(place.mean(0))}")
    more = f" and {small.sum() - 3} more" if small.sum() > 3 else ""
    plural = "s" if small.sum() > 1 else ""
    return (
        *used_only(points, corners[~dropped]),
        [
            f"{small.sum()} loose part{plural} of {np.count_nonzero(dropped)} triangles dropped: "
            f"{'; '.join(shown)}{more}"
        ],
    )


def _require_numbers(vertices, triangles):
    if len(triangles) == 0 or len(vertices) == 0:
        raise SurfaceError("the surface has no triangles; export the skin as a triangle mesh")
    bad = ~np.isfinite(np.asarray(vertices, dtype=float)).all(axis=1)
    if bad.any():
        raise SurfaceError(
            f"{np.count_nonzero(bad)} of {len(bad)} vertices are not finite numbers "
            f"(first: vertex {np.flatnonzero(bad)[0]}); export the surface again"
        )


def _laid_to_plane(vertices, triangles, tolerance: float):
    """Open points near y = 0 put onto it; the array that was given when none moves."""
    moved, notes = snap_to_plane(vertices, triangles, tolerance)
    return (moved if notes else vertices), triangles, notes


def _without_wall(vertices, triangles, tolerance: float = 0.0):
    """A half without the wall that closes it on y = 0, or beside it within the tolerance."""
    points, corners = np.asarray(vertices, dtype=float), np.asarray(triangles)
    aside = np.abs(points[:, 1])[corners].max(axis=1)
    wall = aside == 0.0
    near = np.flatnonzero((aside <= tolerance) & ~wall)
    a, b, c = (points[column] for column in corners[near].T)
    normal = np.cross(b - a, c - a)
    wall[near] = np.abs(normal[:, 1]) > PARALLEL * np.linalg.norm(normal, axis=1)
    if not wall.any():
        return vertices, triangles, []
    if wall.all():
        raise SurfaceError("all triangles lie on BL 0: there is no half of a body")
    place = format_place(points[corners[wall]].mean(axis=(0, 1)))
    return (
        *used_only(points, corners[~wall]),
        [f"{np.count_nonzero(wall)} triangles of a wall on BL 0 dropped (round {place})"],
    )


def _closed_cracks(vertices, triangles, tolerance: float, half: bool = False):
    """Points joined to points, then edges divided at points, while that closes anything."""
    notes: list[str] = []
    for _ in range(3):
        plug = _plug(vertices, triangles) if half else np.empty((0, 3), dtype=np.int64)
        if len(open_vertices(np.vstack([triangles, plug]))) == 0:
            break
        vertices, triangles, joined, zipped = _once_closed(vertices, triangles, plug, tolerance)
        notes += joined + zipped
        if not zipped:
            break
        vertices, triangles, lines = remove_flat(vertices, triangles)
        notes += lines
    if notes:
        vertices, triangles, lines = drop_doubled(vertices, triangles)
        notes += lines
    return vertices, triangles, notes


def _plug(vertices, triangles) -> np.ndarray:
    """(k, 3) int: what stands for the mirror image of a half at its open edges on BL 0.

    Triangles from these edges to one vertex more than there are. So the centre line is no open
    edge, however near to each other its points lie: drawn together as if it were a crack, they
    would leave edges on BL 0 inside the half, which its mirror image doubles.
    """
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    ends = half_edge_ends(corners, edge_table(len(points), corners).lone)
    ends = ends[(points[ends][:, :, 1] == 0.0).all(axis=1)]
    return np.column_stack([ends[:, ::-1], np.full(len(ends), len(points))])


def _once_closed(vertices, triangles, plug, tolerance: float):
    """Cracks closed and edges divided once, the plug left out again."""
    points, corners = vertices, triangles
    if len(plug):
        low, high = np.min(vertices, axis=0), np.max(vertices, axis=0)
        tip = 0.5 * (low + high) - [0.0, 2.0 * np.linalg.norm(high - low), 0.0]
        points, corners = np.vstack([vertices, tip]), np.vstack([triangles, plug])
    points, corners, joined = close_cracks(points, corners, tolerance)
    points, corners, zipped = close_junctions(points, corners, tolerance)
    if not (joined or zipped):
        return vertices, triangles, [], []
    if len(plug):
        at_tip = points[:, 1] <= 0.5 * tip[1]
        points, corners = used_only(points, corners[~at_tip[corners].any(axis=1)])
    return points, corners, joined, zipped


def _zipped_seams(vertices, triangles, tolerance: float, half: bool):
    """Round seams whose sides have steps of different length; not the centre line of a half."""
    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    ends = half_edge_ends(corners, edge_table(len(points), corners).lone)
    if half:
        ends = ends[(points[ends][:, :, 1] != 0.0).any(axis=1)]
    seam = np.unique(ends)
    return close_junctions(vertices, triangles, tolerance, SAGITTA, MOST_SAGITTA, seam)


def _without_pockets(vertices, triangles, n_skin: int):
    """Caps, all triangles from n_skin on, without those that lie back to back with the skin.

    Where a triangle hangs on the rim by one edge, a cap may fold back onto it; both go, and what
    is left of the cap meets the skin at that edge.
    """
    corners = np.sort(np.asarray(triangles), axis=1)
    near = np.flatnonzero(np.isin(corners[:n_skin], corners[n_skin:]).all(axis=1))
    compared = np.concatenate([near, np.arange(n_skin, len(corners))])
    _, index, counts = np.unique(corners[compared], axis=0, return_inverse=True, return_counts=True)
    pocket = compared[counts[index.ravel()] == 2]
    if len(pocket) == 0:
        return vertices, triangles, []
    place = format_place(np.asarray(vertices)[triangles[pocket[0]]].mean(axis=0))
    return (
        *used_only(vertices, np.delete(triangles, pocket, axis=0)),
        [f"{len(pocket) // 2} triangles of the rims of filled holes left out (first near {place})"],
    )


def _left_open(
    vertices, triangles, left: tuple[Hole, ...], options, leave_larger: bool, half: bool
) -> list[str]:
    if not left:
        return []
    widest = sorted(left, key=lambda hole: -hole.diameter)
    shown = "; ".join(hole.told() for hole in widest[:3])
    more = f"; and {len(left) - 3} more" if len(left) > 3 else ""
    plural = "s stay" if len(left) > 1 else " stays"
    line = f"{len(left)} hole{plural} open: {shown}{more}"
    if leave_larger:
        return [line]
    aft = np.asarray(vertices)[:, 0]
    reach = 0.1 * np.ptp(aft)
    across = np.ptp(np.asarray(vertices)[:, 1:], axis=0).max()
    behind = any(
        hole.centre[0] > aft.max() - reach and hole.diameter > WIDE * across for hole in left
    )
    advice = (
        "the rear end is missing: add the fuselage behind, or set afterbody = true in [surface] "
        "for a faired one; "
        if behind
        else ""
    )
    advice += _beside_plane(np.asarray(vertices), left, options) if half else ""
    advice += _loose_sheets(np.asarray(vertices), np.asarray(triangles), left, options)
    raise SurfaceError(
        f"surface is not closed: {line}. Holes up to {options.largest_hole * 1e3:.0f} mm are "
        f"filled here (largest_hole in [surface]); {advice}an opening for air is closed flush with "
        "largest_opening in [surface], or by name in [[closing]]"
    )


def _beside_plane(vertices, left: tuple[Hole, ...], options) -> str:
    """What to do about the edge of a half that lies beside BL 0 all along."""
    for hole in left:
        aside = np.abs(vertices[hole.rim, 1])
        if len(aside) > 3 and aside.max() <= BESIDE * hole.diameter:
            return (
                f"the open edge of this half lies {aside.min() * 1e3:.2g} to "
                f"{aside.max() * 1e3:.2g} mm beside BL 0, farther than plane_tolerance of "
                f"{options.plane_tolerance * 1e3:g} mm: move the datum, or raise plane_tolerance "
                "in [surface]; "
            )
    return ""


def _loose_sheets(vertices, triangles, left: tuple[Hole, ...], options) -> str:
    """What to do where several parts are open, or only parts beside the largest one."""
    label = part_labels(len(vertices), triangles)
    part = label[triangles[:, 0]]
    counts = np.bincount(part)
    sheets = np.unique([label[hole.rim[0]] for hole in left])
    shown = [
        f"{counts[k]} triangles at {format_place(vertices[triangles[part == k]].mean(axis=(0, 1)))}"
        for k in sheets[:3]
    ]
    more = f" and {len(sheets) - 3} more" if len(sheets) > 3 else ""
    if counts.argmax() in sheets:
        return (
            f"the holes are in {len(sheets)} parts that are not joined ({'; '.join(shown)}{more}): "
            "join them along their edges in the CAD, or bring these within "
            f"{options.widest_gap * 1e3:g} mm of each other (widest_gap in [surface]); "
            if len(sheets) > 1
            else ""
        )
    return (
        f"the largest part of the skin is closed; what is open is {LOOSE} ({'; '.join(shown)}"
        f"{more}): leave it out, or join it to the skin in the CAD; "
    )


def _require_sound(vertices, triangles, options, open_at_plane: bool, left: bool):
    if not left:
        require_closed(vertices, triangles, open_at_plane)
        require_thickness(vertices, triangles)
    if options.crossings:
        require_no_crossings(vertices, triangles)
    if options.one_body:
        require_one_body(vertices, triangles)
