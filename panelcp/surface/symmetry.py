"""The plane of symmetry of a scan: found, laid to BL 0, and the scan cut there to a right half."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import frozen_array
from panelcp.surface.repair import format_place
from panelcp.surface.scanning import (
    SLIVER,
    directed_rim,
    median_edge,
    rim_groups,
    split_at,
    without_unused,
)
from panelcp.surface.smoothing import calmed

LONG_LOOP = 0.25
"""Edges of loops shorter than this part of the longest are holes."""

DRAWS = 400
"""Planes tried through three random points of the edge."""

LOOKED_AT = 4000
"""Points of the edge that vote for a plane."""

MATCHED = 20_000
"""Points of the skin that are reflected and matched."""

OPEN_END = 0.25
"""An edge that leaves the plane by more than this part of the gap in it is an open end."""

LEAST_END = 5.0
"""The gap of an open end is at least this many times the tolerance."""


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """Plane of symmetry laid through points of a scan.

    Attributes
    ----------
    point : (3,) float, m, on the plane, the middle of the points it was laid through
    normal : (3,) float, unit
    rms, largest : m, distances of the points that were used
    n_points : number of points that were used
    method : in words
    """

    point: np.ndarray
    normal: np.ndarray
    rms: float
    largest: float
    n_points: int
    method: str

    def __post_init__(self):
        normal = np.asarray(self.normal, dtype=float)
        object.__setattr__(self, "point", frozen_array(self.point))
        object.__setattr__(self, "normal", frozen_array(normal / np.linalg.norm(normal)))

    @property
    def angle(self) -> float:
        """Between this plane and y = 0, deg."""
        across = np.hypot(self.normal[0], self.normal[2])
        return float(np.degrees(np.arctan2(across, abs(self.normal[1]))))

    @property
    def offset(self) -> float:
        """Distance of the origin from the plane, m."""
        return float(abs(self.normal @ self.point))

    def distances(self, points) -> np.ndarray:
        """(n,) float, m, signed along the normal."""
        return (np.asarray(points, dtype=float) - self.point) @ self.normal

    def reflected(self, points) -> np.ndarray:
        """Mirror images of points, (n, 3) m."""
        return points - 2.0 * self.distances(points)[:, None] * self.normal

    def lines(self) -> list[str]:
        """The fit in one line of text."""
        return [
            f"plane of symmetry from {self.method}: {self.n_points} points, rms "
            f"{self.rms * 1e3:.2f} mm, at most {self.largest * 1e3:.2f} mm from it; "
            f"{self.angle:.2f} deg from BL 0, {self.offset * 1e3:.1f} mm from the datum"
        ]


def symmetry_plane_from_points(points) -> PlaneFit:
    """Plane through marks that were taped onto the centre line.

    Parameters
    ----------
    points : (n, 3) float, m, n at least 3, not in one line

    Raises
    ------
    SurfaceError : too few points, points in one line, points that are not finite

    Examples
    --------
    >>> marks = [[0, 0.1, 0], [2, 0.1, 0], [1, 0.1, 0.8], [1, 0.1, -0.5]]
    >>> fit = symmetry_plane_from_points(marks)
    >>> round(fit.angle, 9), round(fit.offset, 9), fit.n_points
    (0.0, 0.1, 4)
    """
    points = np.asarray(points, dtype=float)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 3 or not np.isfinite(points).all():
        raise SurfaceError(
            f"points on the centre line have shape {points.shape}; expected (n, 3), finite, with "
            "at least three of them"
        )
    middle = points.mean(axis=0)
    spread, axes = np.linalg.svd(points - middle)[1:]
    if spread[1] < 0.02 * spread[0]:
        raise SurfaceError(
            f"the {len(points)} points on the centre line lie nearly in one line: the plane can "
            "turn about it. Tape one mark far above or below the others"
        )
    away = np.abs((points - middle) @ axes[2])
    return _fit(middle, axes[2], away, "taped points")


def symmetry_plane_from_edge(
    vertices, triangles, ragged: float = 0.02, beyond: float = 0.0
) -> PlaneFit:
    """Plane through the long open edge of a scan of one side.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    ragged : m, how far the edge strays from a plane; what is farther is another edge
    beyond : m, how far the scan goes past the centre line

    Returns
    -------
    PlaneFit, its normal towards the body

    Raises
    ------
    SurfaceError : no open edge, or less than a third of the long edge within `ragged` of a plane

    Notes
    -----
    Planes through three random points of the long loops (fixed start of the random numbers) are
    scored by squared distances, none counted beyond `ragged`; the best is improved by least
    squares with weights that fall to zero at three median distances. Source: M. A. Fischler and
    R. C. Bolles, Random sample consensus, Communications of the ACM 24, 1981; J. W. Tukey's
    biweight (both from memory).
    """
    vertices = np.asarray(vertices, dtype=float)
    points, lengths = _long_edges(vertices, triangles)
    centre, normal = _best_of_draws(points, lengths, ragged)
    for _ in range(30):
        away = (points - centre) @ normal
        weights = lengths * _biweight(away, ragged)
        centre, normal = _weighted_plane(points, weights)
    away = np.abs((points - centre) @ normal)
    used = away < ragged
    if lengths[used].sum() < lengths.sum() / 3.0:
        raise SurfaceError(
            f"only {100 * lengths[used].sum() / lengths.sum():.0f} % of the long open edge lie "
            f"within {ragged * 1e3:.0f} mm of one plane: give points on the centre line"
        )
    body = vertices.mean(axis=0)
    normal = normal * np.sign((body - centre) @ normal)
    return _fit(centre + beyond * normal, normal, away[used], "the open edge")


def symmetry_plane_from_both_sides(
    vertices, triangles, start: PlaneFit | None = None, reach: float = 0.05
) -> PlaneFit:
    """Plane in which a scan of both sides is its own mirror image.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    start : first plane; when not given the best of the principal planes of the points
    reach : m, skin farther from its mirror image is seen on one side only and not counted

    Returns
    -------
    PlaneFit, its normal as that of `start`; rms and largest are half of the mismatch of the sides

    Raises
    ------
    SurfaceError : fewer than 50 points have a mirror image in reach

    Notes
    -----
    Points are reflected and matched with the nearest of the skin; the plane moves so that their
    distances along the normals fall, with weights that fall to zero at three median distances.
    Smoothed points are matched, so noise counts little.
    """
    points, normals = calmed(vertices, triangles)
    tree, inner = cKDTree(points), _away_from_rim(len(points), triangles)
    moving = points[inner][:: max(1, np.count_nonzero(inner) // MATCHED)]
    if start is not None:
        close = points[inner & (np.abs(start.distances(points)) < reach)]
        moving = np.vstack([moving, close[:: max(1, len(close) // MATCHED)]])
    widest = reach if start is not None else 0.3 * float(np.ptp(points, axis=0).max())
    bounds = np.concatenate([np.geomspace(max(widest, reach), reach, 8), np.full(12, reach)])
    best, found = None, 0
    for plane in _principal_planes(points) if start is None else [start]:
        matched = _matched(plane, moving, (points, normals, inner), tree, bounds)
        if matched is not None and (best is None or matched[1] > found):
            best, found = matched
    if best is None:
        raise SurfaceError(
            f"fewer than 50 of {len(moving)} points of the scan have a mirror image within "
            f"{reach * 1e3:.0f} mm: it shows one side only, or the first plane is far off"
        )
    return best


def laid_to_plane(
    vertices, triangles, plane: PlaneFit, aft=(1.0, 0.0, 0.0), up=(0.0, 0.0, 1.0), datum=None
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Turn and move a scan so that its plane of symmetry becomes y = 0; nothing is stretched.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    plane : PlaneFit
    aft : (3,) direction in the scan that shall point aft, as far as it lies in the plane
    up : (3,) direction in the scan that is roughly up; it only decides which side is right
    datum : (3,) point of the scan that becomes station 0, waterline 0; as it lies when not given

    Returns
    -------
    vertices, triangles : moved
    notes : lines that say what was done
    """
    vertices = np.asarray(vertices, dtype=float)
    aft, up = np.asarray(aft, dtype=float), np.asarray(up, dtype=float)
    x = aft - (aft @ plane.normal) * plane.normal
    if np.linalg.norm(x) < 0.5 * np.linalg.norm(aft) or not np.linalg.norm(aft) > 0.0:
        raise SurfaceError(
            "the direction given as aft stands across the plane of symmetry: check aft, or the "
            "plane"
        )
    x /= np.linalg.norm(x)
    y = plane.normal if np.cross(x, plane.normal) @ up > 0.0 else -plane.normal
    rotation = np.stack([x, y, np.cross(x, y)])
    moved = (vertices - plane.point) @ rotation.T
    zero = plane.point if datum is None else np.asarray(datum, dtype=float)
    place = rotation @ (zero - plane.point)
    target = zero if datum is None else np.zeros(3)
    moved += [target[0] - place[0], 0.0, target[2] - place[2]]
    turn = np.degrees(np.arccos(np.clip((np.trace(rotation) - 1.0) / 2.0, -1.0, 1.0)))
    note = f"turned by {turn:.2f} deg in all, so that the plane of symmetry is BL 0"
    return moved, np.asarray(triangles), [*plane.lines(), note]


def cut_to_half(
    vertices, triangles, side: str = "right", tolerance: float = 0.01
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Right half of a scan, cut at y = 0.

    Parameters
    ----------
    vertices : (n, 3) float, m, the plane of symmetry at y = 0
    triangles : (m, 3) int, one winding
    side : "right" keeps y > 0; "left" keeps y < 0 and mirrors it
    tolerance : m, an edge of the scan that stops short of the plane by no more is carried on to it

    Returns
    -------
    vertices, triangles : the half, y >= 0; its centre line has y = 0 exactly
    notes : lines that say what was done

    Raises
    ------
    SurfaceError : an edge that stops farther short of the plane, other than an open end

    Notes
    -----
    A ragged edge is trimmed back to a line that leaves the plane nowhere steeper than 45 degrees,
    so that the strip from there to the plane cannot fold. Pieces of a rough skin that the cut
    leaves loose, nearer to the plane than the tolerance, are left out.
    """
    if side not in ("right", "left"):
        raise SurfaceError(f"side {side!r} is not known; choose right or left")
    vertices = np.array(vertices, dtype=float)
    triangles = np.asarray(triangles)
    notes = []
    if side == "left":
        vertices[:, 1] *= -1.0
        triangles = triangles[:, [0, 2, 1]]
        notes.append("left side mirrored to the right")
    total = len(triangles)
    vertices, triangles, divided = _part_above(vertices, triangles)
    if len(triangles) == 0:
        raise SurfaceError(f"the scan has nothing on the {side} side of BL 0")
    notes.append(
        f"cut at BL 0: {total} triangles before, {len(triangles)} in the half; {divided} edges "
        "divided there"
    )
    vertices, triangles, lines = _carried_to_plane(vertices, triangles, tolerance)
    vertices, triangles, dropped = _without_crumbs(vertices, triangles, tolerance)
    return vertices, triangles, notes + lines + dropped


# --- planes --------------------------------------------------------------------------------------


def _fit(point, normal, away, method: str) -> PlaneFit:
    rms = float(np.sqrt(np.mean(away**2)))
    return PlaneFit(point, normal, rms, float(away.max()), len(away), method)


def _long_edges(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    """Middles and lengths of the open edges of the long loops."""
    edges = directed_rim(triangles)
    if len(edges) == 0:
        raise SurfaceError("the scan has no open edge: it shows no cut along the centre line")
    lengths = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1)
    group = rim_groups(len(vertices), edges)
    total = np.bincount(group, weights=lengths)
    long = (total >= LONG_LOOP * total.max())[group]
    return vertices[edges[long]].mean(axis=1), lengths[long]


def _best_of_draws(points, lengths, ragged: float) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(2)
    chance = lengths / lengths.sum()
    voters = points[random.choice(len(points), min(LOOKED_AT, 4 * len(points)), p=chance)]
    corners = voters[random.integers(len(voters), size=(DRAWS, 3))]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    usable = size > 1e-3 * np.square(np.ptp(points, axis=0).max())
    if not usable.any():
        raise SurfaceError(
            "the long open edge lies in one line: no plane can be laid through it; give points on "
            "the centre line"
        )
    normals, corners = normals[usable] / size[usable, None], corners[usable]
    away = voters @ normals.T - (corners[:, 0] * normals).sum(axis=1)
    score = np.minimum(away**2, ragged**2).sum(axis=0)
    best = int(np.argmin(score))
    return corners[best, 0], normals[best]


def _biweight(away, limit: float) -> np.ndarray:
    within = np.abs(away[np.abs(away) < limit])
    width = min(limit, max(4.5 * float(np.median(within)), 1e-9)) if len(within) else limit
    return np.square(np.maximum(0.0, 1.0 - (away / width) ** 2))


def _weighted_plane(points, weights) -> tuple[np.ndarray, np.ndarray]:
    centre = np.average(points, axis=0, weights=weights)
    step = points - centre
    axes = np.linalg.eigh((weights[:, None] * step).T @ step)[1]
    return centre, axes[:, 0]


def _principal_planes(points) -> list[PlaneFit]:
    centre = points.mean(axis=0)
    axes = np.linalg.svd(np.cov((points - centre).T))[0].T
    return [PlaneFit(centre, axis, 0.0, 0.0, 0, "") for axis in axes]


def _away_from_rim(n_vertices: int, triangles) -> np.ndarray:
    """(n,) bool: vertices more than two edges from an open edge."""
    rim = np.zeros(n_vertices, dtype=bool)
    rim[directed_rim(triangles)] = True
    for _ in range(2):
        rim[triangles[rim[triangles].any(axis=1)]] = True
    return ~rim


def _matched(plane, moving, skin, tree, bounds) -> tuple[PlaneFit, int] | None:
    """The plane moved to the best match of both sides, and how many points matched."""
    points, normals, inner = skin
    for bound in bounds:
        image = plane.reflected(moving)
        distance, index = tree.query(image, distance_upper_bound=bound)
        found = np.flatnonzero(np.isfinite(distance))
        found = found[inner[index[found]]]
        if len(found) < 50:
            return None
        target, normal = points[index[found]], normals[index[found]]
        misfit = ((image[found] - target) * normal).sum(axis=1)
        weights = _biweight(misfit, bound)
        plane = _turned(plane, moving[found], normal, misfit, weights)
    used = weights > 0.0
    half = np.abs(misfit[used]) / 2.0
    fit = _fit(plane.point, plane.normal, half, "matching both sides")
    return fit, len(half)


def _turned(plane: PlaneFit, points, normals, misfit, weights) -> PlaneFit:
    """One step of least squares in two turns and one shift of the plane."""
    helper = np.eye(3)[np.argmin(np.abs(plane.normal))]
    e1 = np.cross(plane.normal, helper)
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(plane.normal, e1)
    arm, away, facing = points - plane.point, plane.distances(points), normals @ plane.normal
    columns = [-2.0 * (facing * (arm @ e) + away * (normals @ e)) for e in (e1, e2)]
    matrix = np.stack([*columns, 2.0 * facing], axis=1)
    normal_matrix = (weights[:, None] * matrix).T @ matrix
    normal_matrix += 1e-9 * np.trace(normal_matrix) * np.eye(3)
    a, b, shift = np.linalg.solve(normal_matrix, -(weights[:, None] * matrix).T @ misfit)
    normal = plane.normal + a * e1 + b * e2
    return PlaneFit(plane.point + shift * plane.normal, normal, 0.0, 0.0, 0, plane.method)


# --- the cut -------------------------------------------------------------------------------------


def _part_above(vertices, triangles) -> tuple[np.ndarray, np.ndarray, int]:
    """Skin with y > 0, divided at y = 0; how many triangles were divided."""
    vertices = np.array(vertices)
    vertices[np.abs(vertices[:, 1]) < SLIVER * median_edge(vertices, triangles), 1] = 0.0
    n, whole = len(vertices), len(triangles)
    vertices, triangles, side = split_at(vertices, triangles, vertices[:, 1])
    vertices[n:, 1] = 0.0
    divided = len(vertices) - n
    if not (side > 0).any():
        return vertices[:0], triangles[:0], whole
    return *without_unused(vertices, triangles[side > 0]), divided


def _carried_to_plane(vertices, triangles, tolerance: float):
    """Trim the ragged edge near the plane and join it to the plane by a strip."""
    rim = directed_rim(triangles)
    ragged = _ragged_vertices(vertices, rim, tolerance) if len(rim) else []
    if len(ragged) == 0:
        return vertices, triangles, []
    places, edge = vertices[ragged], median_edge(vertices, triangles)
    level = _trim_level(vertices, places, 0.5 * edge)
    values = vertices[:, 1] - level
    values[np.abs(values) < SLIVER * edge] = 0.0
    n = len(vertices)
    vertices, triangles, side = split_at(vertices, triangles, values)
    if not (side > 0).any():
        raise SurfaceError(
            "nothing of the scan is left beside BL 0 once its ragged edge is trimmed: all of it "
            f"lies within {level.max() * 1e3:.0f} mm of the centre line; check the plane of "
            "symmetry and the side"
        )
    on_line = np.concatenate([values == 0.0, np.ones(len(vertices) - n, dtype=bool)])
    vertices[on_line & (vertices[:, 1] < SLIVER * edge), 1] = 0.0
    vertices, triangles, added = _with_strip(vertices, triangles[side > 0], on_line)
    worst = places[np.argmax(places[:, 1])]
    note = (
        f"ragged edge carried on to BL 0: {len(places)} points stopped up to "
        f"{worst[1] * 1e3:.1f} mm short of it (tolerance {tolerance * 1e3:g} mm), the farthest "
        f"near {format_place(worst)}; a strip of {added} triangles added"
    )
    return *without_unused(vertices, triangles), [note]


def _without_crumbs(vertices, triangles, tolerance: float):
    """Leave out small pieces between the trimmed edge and the plane; what was left out."""
    ends = (triangles[:, [0, 1]].ravel(), triangles[:, [1, 2]].ravel())
    graph = coo_array((np.ones(len(ends[0])), ends), shape=(len(vertices),) * 2)
    piece = connected_components(graph, directed=False)[1]
    highest = np.zeros(piece.max() + 1)
    np.maximum.at(highest, piece, vertices[:, 1])
    crumb = highest <= tolerance
    crumb[np.bincount(piece).argmax()] = False
    gone = crumb[piece[triangles[:, 0]]]
    if not gone.any():
        return vertices, triangles, []
    note = (
        f"{np.count_nonzero(crumb)} loose pieces within {tolerance * 1e3:g} mm of BL 0 left out: "
        f"{np.count_nonzero(gone)} triangles, the first near "
        f"{format_place(vertices[triangles[gone][0, 0]])}"
    )
    return *without_unused(vertices, triangles[~gone]), [note]


def _ragged_vertices(vertices, edges, tolerance: float) -> np.ndarray:
    """Vertices of the centre-line edge that stop short of the plane by up to the tolerance."""
    group = rim_groups(len(vertices), edges)
    y = vertices[edges, 1]
    length = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1)
    total = np.bincount(group, weights=length)
    touches = np.bincount(group, weights=(y == 0.0).any(axis=1)) > 0
    if not touches.any():
        touches[np.argmax(total)] = True
    own = touches[group]
    edges, y = edges[own], y[own]
    if not (y <= tolerance).any():
        raise SurfaceError(
            f"the edge of the scan comes nowhere nearer than {y.min() * 1e3:.0f} mm to BL 0 "
            f"(tolerance {tolerance * 1e3:g} mm): check the plane of symmetry, or raise the "
            "tolerance"
        )
    _require_short_gaps(vertices, edges, tolerance)
    ends = np.unique(edges)
    return ends[(vertices[ends, 1] > 0.0) & (vertices[ends, 1] <= tolerance)]


def _require_short_gaps(vertices, edges, tolerance: float):
    """Refuse runs of the edge beyond the tolerance from the plane, save open ends."""
    far = vertices[edges, 1] > tolerance
    if not far.any():
        return
    inner, lone = edges[far.all(axis=1)], edges[far & ~far.all(axis=1, keepdims=True)]
    joined = np.concatenate([inner, np.stack([lone, lone], axis=1)])
    names = rim_groups(len(vertices), joined)
    label = np.full(len(vertices), -1)
    label[joined[:, 0]], label[joined[:, 1]] = names, names
    bad = []
    for name in range(names.max() + 1):
        run = np.flatnonzero(label == name)
        ends = vertices[np.unique(lone[label[lone] == name])]
        gap = np.ptp(ends[:, [0, 2]], axis=0) if len(ends) else np.zeros(2)
        depth, span = vertices[run, 1].max(), float(np.hypot(*gap))
        if depth < OPEN_END * span or span < LEAST_END * tolerance:
            bad.append((depth, vertices[run[np.argmax(vertices[run, 1])]]))
    if bad:
        depth, place = max(bad, key=lambda item: item[0])
        raise SurfaceError(
            f"the edge of the scan stops short of BL 0 by more than {tolerance * 1e3:g} mm at "
            f"{len(bad)} places, by up to {depth * 1e3:.0f} mm near {format_place(place)}: fill "
            "these holes first, raise the tolerance, or check the plane of symmetry"
        )


def _trim_level(vertices, ragged, margin: float) -> np.ndarray:
    """(n,) float, m: y up to which the skin is trimmed; falls by 45 degrees from each point."""
    level = np.zeros(len(vertices))
    reach = float(ragged[:, 1].max()) + margin
    near = np.flatnonzero(vertices[:, 1] <= reach)
    tree, others = cKDTree(vertices[near][:, [0, 2]]), cKDTree(ragged[:, [0, 2]])
    pairs = tree.sparse_distance_matrix(others, reach, output_type="ndarray")
    height = ragged[pairs["j"], 1] + margin - pairs["v"]
    np.maximum.at(level, near[pairs["i"]], height)
    return level


def _with_strip(vertices, triangles, on_line) -> tuple[np.ndarray, np.ndarray, int]:
    """Triangles from the trimmed line to its foot on the plane; how many."""
    rim = directed_rim(triangles)
    rim = rim[on_line[rim].all(axis=1) & (vertices[rim, 1] > 0.0).any(axis=1)]
    lifted = np.unique(rim)
    lifted = lifted[vertices[lifted, 1] > 0.0]
    foot = np.arange(len(vertices))
    foot[lifted] = len(vertices) + np.arange(len(lifted))
    vertices = np.vstack([vertices, vertices[lifted] * [1.0, 0.0, 1.0]])
    start, end = rim.T
    parts = np.vstack([np.stack([end, start, foot[start]], axis=1),
                       np.stack([end, foot[start], foot[end]], axis=1)])  # fmt: skip
    a, b, c = parts.T
    parts = parts[(a != b) & (b != c) & (a != c)]
    return vertices, np.vstack([triangles, parts]), len(parts)
