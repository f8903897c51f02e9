"""A faired afterbody for a cowl that ends open, or in a flat wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import Akima1DInterpolator
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.doubts import WALL_COSINE, WALL_REACH
from panelcp.surface.repair import format_place
from panelcp.surface.scanning import open_chains, without_unused
from panelcp.surface.smoothing import vertex_normals

DIAMETERS = 2.5
"""Length in equivalent diameters of the rim when none is given (common practice, no source)."""

LEAST_RIM = 0.15
"""An open loop round less than this part of the body's width times height is no rear end."""

STEEPEST_FLARE = np.tan(np.radians(12.0))
"""Skin that flares out more than this at the rim is bent in from there."""

STEEPEST_TAPER = np.tan(np.radians(35.0))
FLARE_DECAY = 4
"""The flare dies out as u (1 - u)^4 along the afterbody."""

ROUNDING = 0.3
"""Part of the rounding of the tail: its radius is about 0.15 R^2 / L."""

GROWTH = 1.2
"""Growth of the triangles from ring to ring."""

LARGEST = 0.08
"""Longest edge in equivalent diameters of the rim."""

ROUND = 12
"""Least number of triangles round the body, but for the tail."""

FIT_EDGES = (2.5, 4.0)
FIT_PARTS = (0.06, 0.2)
"""Skin within 4 edges of the rim settles its slope there; within 2.5 where 4 are more than 0.2
diameters, and never within less than 0.06 diameters."""

FIT_POINTS = 200

SAMPLES = 2000
"""Steps along the afterbody in which its length is measured."""


@dataclass(frozen=True, eq=False)
class _Rim:
    """Edge of the open end, and the skin's slope there.

    Attributes
    ----------
    index : (n,) int, vertices in order; round the body, or from BL 0 to BL 0
    points : (n, 3) float, m
    place : (n,) float, part of the length of the edge at each; the last of a loop is below 1
    taper : (n,) float, 1/m: d(ln radius)/dx of the skin
    half : True for an edge from BL 0 to BL 0
    centre : (3,) float, m
    diameter : m, of the circle of the same area
    """

    index: np.ndarray
    points: np.ndarray
    place: np.ndarray
    taper: np.ndarray
    half: bool
    centre: np.ndarray
    diameter: float


def with_afterbody(
    vertices,
    triangles,
    length: float | None = None,
    replace_wall: bool = False,
    tail_height: float | None = None,
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Close a body that ends open behind by a faired afterbody.

    Parameters
    ----------
    vertices : (n, 3) float, m, x aft; a half when all its y >= 0 and open edges lie on y = 0
    triangles : (m, 3) int, one winding, outward
    length : m, from the rear of the rim to the tail; 2.5 equivalent diameters of the rim when not
        given, or less where the skin already tapers so fast that it would meet sooner
    replace_wall : True takes a flat wall at the rear end away first
    tail_height : m, waterline of the tail; that of the rim's middle when not given

    Returns
    -------
    vertices : those given (a wall's left out), then those of the afterbody
    triangles : those given, then those of the afterbody, from the rim to the tail
    notes : lines that say what was added, where, and how many triangles

    Raises
    ------
    SurfaceError : no open rear end (or wall, when it shall be replaced), several, a rim that no
        point sees all of, a length that is not positive

    Notes
    -----
    Along each lengthwise curve the distance from the middle falls as
    r/r0 = sqrt(f^2 + k u^4 (1 - u)), u from 0 at the rim to 1 at the tail, with
    f = (1 - u)(1 + (1 - s) u) for a taper 0 <= s = -L d(ln r)/dx <= 2, (1 - u)^s beyond (there
    1 - u under the root becomes (1 - u)^(2 s - 3)), and 1 - u^2 - s u (1 - u)^4 for a flare.
    Slopes meet those of the skin at the rim, up to 12 degrees outward and 35 degrees inward;
    roughness of the rim dies out over a quarter of the diameter. No curve crosses another, as
    each stays in its own direction from the middle. The
    shape is our own.
    """
    vertices, triangles = np.array(vertices, dtype=float), np.array(triangles, dtype=np.int64)
    if length is not None and not (np.isfinite(length) and length > 0.0):
        raise SurfaceError(f"afterbody: length is {length} m; expected more than 0")
    notes = []
    if replace_wall:
        vertices, triangles, notes = without_wall(vertices, triangles)
    rim = _rear_rim(vertices, triangles)
    shape = _Shape.behind(rim, length, tail_height)
    points, parts = _panelled(rim, shape, len(vertices))
    note = (
        f"afterbody added: {shape.length:.3f} m long, from STA {rim.points[:, 0].max() * 1e3:.0f} "
        f"to STA {shape.tail[0] * 1e3:.0f} mm, {len(parts)} triangles; "
        f"{shape.length / rim.diameter:.2f} diameters of {rim.diameter:.3f} m, {shape.reason}"
    )
    if shape.held:
        note += (
            f"; slope held within 12 deg outward and 35 deg inward at {shape.held} of "
            f"{len(rim.index)} points of the rim"
        )
    return np.vstack([vertices, points]), np.vstack([triangles, parts]), [*notes, note]


def without_wall(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Take away the flat wall at the rear end of a body.

    The wall: triangles that look aft within 10 degrees and lie in the last 5 % of the length.
    """
    vertices, triangles = np.asarray(vertices, dtype=float), np.asarray(triangles)
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    vectors = 0.5 * np.cross(b - a, c - a)
    areas = np.linalg.norm(vectors, axis=1)
    station = vertices[triangles, 0].min(axis=1)
    low, high = vertices[:, 0].min(), vertices[:, 0].max()
    wall = (station >= high - WALL_REACH * (high - low)) & (vectors[:, 0] >= WALL_COSINE * areas)
    size = np.ptp(vertices, axis=0)
    area = float(areas[wall].sum())
    if area < 0.5 * LEAST_RIM * size[1] * size[2]:
        raise SurfaceError(
            f"no flat wall at the rear end (STA {high * 1e3:.0f} mm) that could be replaced: only "
            f"{area:.3g} m2 look aft within 10 degrees"
        )
    place = np.average(station[wall], weights=areas[wall])
    note = (
        f"flat wall of {area:.3g} m2 at STA {place * 1e3:.0f} mm taken away, "
        f"{np.count_nonzero(wall)} triangles"
    )
    return *without_unused(vertices, triangles[~wall]), [note]


# --- the rim -------------------------------------------------------------------------------------


def _rear_rim(vertices, triangles) -> _Rim:
    """The one open edge that goes round the rear end."""
    chains, closed = open_chains(vertices, triangles)
    size = np.ptp(vertices, axis=0)
    wide = [
        (chain, loop)
        for chain, loop in zip(chains, closed, strict=True)
        if np.prod(np.ptp(vertices[chain], axis=0)[1:]) > LEAST_RIM * size[1] * size[2]
        and vertices[chain, 0].mean() > vertices[:, 0].mean()
    ]
    if len(wide) != 1:
        where = ", ".join(f" near {format_place(vertices[c].mean(axis=0))}" for c, _ in wide)
        raise SurfaceError(
            f"{len(wide)} open edges go round the rear part of the body{where}"
            + (": close all but one" if wide else ": it does not end open behind")
        )
    index, half = wide[0][0], not wide[0][1]
    points = vertices[index]
    centre, diameter = _middle(points, half)
    width = _smoothing_width(points)
    normals = _fitted_normals(vertices, triangles, index, diameter)
    taper = _even(_taper(points, normals, centre)[:, None], 3.0 * width, half)[:, 0]
    steps = np.linalg.norm(np.diff(points, axis=0, append=points[:1]), axis=1)
    total = steps[:-1].sum() if half else steps.sum()
    place = np.concatenate([[0.0], np.cumsum(steps[:-1])]) / total
    return _Rim(index, points, place, taper, half, centre, diameter)


def _middle(points, half: bool) -> tuple[np.ndarray, float]:
    """A point inside from which the whole rim is seen; diameter of the circle of equal area."""
    outline = np.vstack([points, points[-2:0:-1] * [1.0, -1.0, 1.0]]) if half else points
    y, z = outline[:, 1], outline[:, 2]
    ahead_y, ahead_z = np.roll(y, -1), np.roll(z, -1)
    cross = y * ahead_z - ahead_y * z
    area = 0.5 * cross.sum()
    if area == 0.0:
        raise SurfaceError("the open rear edge encloses no area")
    centre = np.array([outline[:, 0].mean(), 0.0, 0.0])
    centre[1] = ((y + ahead_y) * cross).sum() / (6.0 * area)
    centre[2] = ((z + ahead_z) * cross).sum() / (6.0 * area)
    if half:
        centre[1] = 0.0
    return _seeing(outline, centre, np.sign(area), half), float(2.0 * np.sqrt(abs(area) / np.pi))


def _seeing(outline, centre, sense: float, half: bool) -> np.ndarray:
    """Centre moved, where need be, to a point that sees the evened outline all round."""
    from scipy.optimize import linprog

    flat = _even(outline[:, 1:], _smoothing_width(outline), False)
    step = np.roll(flat, -1, axis=0) - flat
    normal = sense * np.stack([step[:, 1], -step[:, 0]], axis=1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    room = (normal * (flat - centre[1:])).sum(axis=1)
    wanted = 0.05 * np.sqrt(abs(np.ptp(flat, axis=0).prod()))
    if room.min() >= wanted:
        return centre
    bounds = [(0.0, 0.0) if half else (None, None), (None, None), (None, wanted)]
    done = linprog(
        [0.0, 0.0, -1.0],
        A_ub=np.column_stack([normal, np.ones(len(normal))]),
        b_ub=(normal * flat).sum(axis=1),
        bounds=bounds,
    )
    if not done.success or done.x[2] <= 0.0:
        worst = outline[int(np.argmin(room))]
        raise SurfaceError(
            "no point inside the open rear edge sees all of it (hidden part near "
            f"{format_place(worst)}): close openings and folds there first"
        )
    return np.array([centre[0], done.x[0], done.x[1]])


def _smoothing_width(points) -> float:
    """Points of the rim over which roughness is evened out: 1 % of its length, at least one."""
    return max(1.0, 0.01 * len(points))


def _even(values, width: float, half: bool) -> np.ndarray:
    """Values evened out along the rim, freed of most of the shrinkage; ends of a half stay."""
    if half:
        mirror = [1.0, -1.0, 1.0] if values.shape[1] == 3 else [1.0]
        values = np.vstack([values, values[-2:0:-1] * mirror])
    once = gaussian_filter1d(values, width, axis=0, mode="wrap")
    result = 2.0 * once - gaussian_filter1d(once, width, axis=0, mode="wrap")
    return result[: len(values) // 2 + 1] if half else result


def _fitted_normals(vertices, triangles, index, diameter: float) -> np.ndarray:
    """(n, 3) float: outward normals at the rim from quadratic fits to the skin near it."""
    used = np.unique(triangles)
    points, rim = vertices[used], vertices[index]
    if (vertices[index, 1] == 0.0).any():  # the fit at BL 0 sees both sides
        points = np.vstack([points, points[points[:, 1] > 0.0] * [1.0, -1.0, 1.0]])
    first = vertex_normals(vertices, triangles)[index]
    count = min(FIT_POINTS, len(points))
    normals = np.array(first)
    tree = cKDTree(points)
    distance, near = tree.query(rim, count)
    edge = _longest_edges(vertices, triangles, index)
    bound = np.maximum(FIT_EDGES[0] * edge, FIT_PARTS[1] * diameter)
    scale = np.clip(FIT_EDGES[1] * edge, FIT_PARTS[0] * diameter, bound)[:, None]
    weight = np.exp(-2.0 * (distance / scale) ** 2) * (distance < scale)
    for _ in range(2):
        e1 = np.cross(normals, np.eye(3)[np.abs(normals).argmin(axis=1)])
        e1 /= np.linalg.norm(e1, axis=1, keepdims=True)
        e2 = np.cross(normals, e1)
        step = points[near] - rim[:, None]
        x, y, z = (np.einsum("nkd,nd->nk", step, e) / scale for e in (e1, e2, normals))
        terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
        fit = np.linalg.pinv(terms * weight[:, :, None], rcond=1e-6) @ (weight * z)[:, :, None]
        turned = normals - fit[:, 1] * e1 - fit[:, 2] * e2
        normals = turned / np.linalg.norm(turned, axis=1, keepdims=True)
    lost = (normals * first).sum(axis=1) < 0.7  # a sharp edge near: the fit is no use
    normals[lost] = first[lost]
    return normals


def _longest_edges(vertices, triangles, index) -> np.ndarray:
    """(n,) float, m: longest edge of the triangles at each vertex of the rim."""
    at = np.full(len(vertices), -1)
    at[index] = np.arange(len(index))
    near = triangles[(at[triangles] >= 0).any(axis=1)]
    corners = vertices[near]
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max(axis=1)
    result = np.zeros(len(index))
    for k in range(3):
        on = at[near[:, k]] >= 0
        np.maximum.at(result, at[near[on, k]], longest[on])
    return result


def _taper(points, normals, centre) -> np.ndarray:
    """d(ln r)/dx so that curves away from the middle leave the rim in the skin's own plane."""
    arm = (points - centre) * [0.0, 1.0, 1.0]
    facing = (normals * arm).sum(axis=1)
    least = 0.1 * np.linalg.norm(arm, axis=1)
    return -normals[:, 0] * facing / np.maximum(facing**2, least**2)


# --- the shape -----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Shape:
    """The afterbody as a function of the place round the rim and the way u to the tail."""

    rough: Akima1DInterpolator  # what is uneven in the rim, (3,) m
    even: Akima1DInterpolator  # x, y, z of the evened rim, m, and the taper, 1/m
    half: bool
    centre: np.ndarray
    tail: np.ndarray
    length: float
    fade: float
    held: int
    reason: str

    @classmethod
    def behind(cls, rim: _Rim, length: float | None, tail_height: float | None) -> _Shape:
        radius = np.linalg.norm((rim.points - rim.centre)[:, 1:], axis=1)
        slope = np.clip(rim.taper * radius, -STEEPEST_TAPER, STEEPEST_FLARE)
        held = int(np.count_nonzero(np.abs(slope - rim.taper * radius) > 1e-9))
        reason = "as asked"
        if length is None:
            length, reason = _natural_length(slope / radius, rim.diameter)
        even = _even(rim.points, _smoothing_width(rim.points), rim.half)
        if rim.half:
            even[[0, -1], 1] = 0.0
        tail = rim.centre + 0.0
        tail[0] = rim.points[:, 0].max() + length
        tail[2] = rim.centre[2] if tail_height is None else tail_height
        known = np.column_stack([even, slope / radius])
        return cls(
            _along_rim(rim.place, rim.points - even, rim.half),
            _along_rim(rim.place, known, rim.half),
            rim.half,
            rim.centre,
            tail,
            float(length),
            0.25 * rim.diameter,
            held,
            reason,
        )

    def points(self, place, u) -> np.ndarray:
        """(n, 3) float, m: points at the same u round the afterbody."""
        known = self.even(np.asarray(place))
        reach = self.tail[0] - known[:, 0]
        ratio = radius_ratio(u, -known[:, 3] * reach)
        result = np.empty((len(known), 3))
        result[:, 0] = known[:, 0] + u * reach
        rise = (3.0 - 2.0 * u) * u * u * (self.tail - self.centre)
        result[:, 1:] = (
            self.centre[1:] + rise[1:] + ratio[:, None] * (known[:, 1:3] - self.centre[1:])
        )
        way = min(1.0, u * self.length / self.fade)
        result += (1.0 - way) ** 2 * (1.0 + 2.0 * way) * self.rough(np.asarray(place))
        if self.half:
            result[[0, -1], 1] = 0.0
        return result


def radius_ratio(u: float, taper) -> np.ndarray:
    """Distance from the middle over that at the rim; see `with_afterbody`.

    Parameters
    ----------
    u : float, 0 at the rim to 1 at the tail
    taper : (n,) float, s = -L d(ln r)/dx at the rim

    Examples
    --------
    >>> radius_ratio(0.0, np.array([-1.0, 0.0, 1.0, 3.0]))
    array([1., 1., 1., 1.])
    """
    s = np.asarray(taper, dtype=float)
    f = (1.0 - u) * (1.0 + (1.0 - s) * u)
    f = np.where(s > 2.0, (1.0 - u) ** np.maximum(s, 2.0), f)
    f = np.where(s < 0.0, 1.0 - u * u - s * u * (1.0 - u) ** FLARE_DECAY, f)
    blunt = (1.0 - u) ** (1.0 + 2.0 * np.maximum(s - 2.0, 0.0))
    return np.sqrt(f * f + ROUNDING * u**4 * blunt)


def _natural_length(taper, diameter: float) -> tuple[float, str]:
    """Default length: shorter where the skin tapers, that no hollow curve is needed."""
    mean = float(-taper.mean())
    length = DIAMETERS * diameter
    if mean * length > 1.5:
        return max(1.5 / mean, diameter), "shortened to suit the taper of the skin"
    return length, f"the default of {DIAMETERS:g}"


def _along_rim(place, values, half: bool) -> Akima1DInterpolator:
    """Smooth curve through values along the rim, continued round it or through its mirror image."""
    if half:
        mirror = np.ones(values.shape[1])
        mirror[1] = -1.0
        before, behind = values[3:0:-1] * mirror, values[-2:-5:-1] * mirror
        at = np.concatenate([-place[3:0:-1], place, 2.0 - place[-2:-5:-1]])
    else:
        before, behind = values[-3:], values[:3]
        at = np.concatenate([place[-3:] - 1.0, place, 1.0 + place[:3]])
    return Akima1DInterpolator(at, np.vstack([before, values, behind]), axis=0)


# --- the triangles -------------------------------------------------------------------------------


def _panelled(rim: _Rim, shape: _Shape, first: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of the afterbody and triangles that join them to the rim; `first` new number."""
    ways, counts = _rings(rim, shape)
    before_index, before_place = rim.index, rim.place
    points, triangles, number = [], [], first
    for k, (u, count) in enumerate(zip(ways, counts, strict=True)):
        place = _ring_places(count, k, rim.half)
        points.append(shape.points(place, u))
        index = number + np.arange(len(place))
        number += len(place)
        triangles.append(_strip(before_index, before_place, index, place, rim.half))
        before_index, before_place = index, place
    points.append(shape.tail[None])
    ends = before_index if rim.half else np.append(before_index, before_index[0])
    tip = np.full(len(ends) - 1, number)
    triangles.append(np.stack([ends[1:], ends[:-1], tip], axis=1))
    return np.vstack(points), np.vstack(triangles)


def _rings(rim: _Rim, shape: _Shape) -> tuple[list[float], list[int]]:
    """Way u and number of steps round the body of every ring behind the rim."""
    u = 1.0 - (1.0 - np.linspace(0.0, 1.0, SAMPLES)) ** 2
    some = rim.place[:: max(1, len(rim.place) // 40)]
    rings = np.array([shape.points(some, float(way)) for way in u])
    along = np.linalg.norm(np.diff(rings, axis=0), axis=2).mean(axis=1)
    along = np.concatenate([[0.0], np.cumsum(along)])
    rings = rings[:, :, 1:] - rings[:, :, 1:].mean(axis=1, keepdims=True) * [not rim.half, True]
    radius = np.linalg.norm(rings, axis=2).mean(axis=1)
    turn = np.pi if rim.half else 2.0 * np.pi
    round_rim = len(rim.index) - 1 if rim.half else len(rim.index)
    scale = _length_round(rim) / (turn * radius[0])
    edge = _length_round(rim) / round_rim
    ways, counts, at = [], [], 0.0
    least = ROUND // 2 if rim.half else ROUND
    blunt = turn * scale * 0.5 * ROUNDING * radius[0] ** 2 / shape.length
    while True:
        here = float(np.interp(at, along, radius)) * scale * turn
        edge = min(GROWTH * edge, LARGEST * rim.diameter, here / least)
        at += 0.87 * edge
        around = float(np.interp(at, along, radius)) * scale * turn
        if at > along[-1] - 0.6 * edge or around < blunt:
            break
        ways.append(float(np.interp(at, along, u)))
        counts.append(max(round(around / edge), least // 2))
    return ways, counts


def _length_round(rim: _Rim) -> float:
    """Length, m, of the evened rim: teeth do not count."""
    points = _even(rim.points, _smoothing_width(rim.points), rim.half)
    steps = np.linalg.norm(np.diff(points, axis=0, append=points[:1]), axis=1)
    return float(steps[:-1].sum() if rim.half else steps.sum())


def _ring_places(count: int, k: int, half: bool) -> np.ndarray:
    """Places round a ring; every second ring of a whole body half a step on."""
    if half:
        return np.linspace(0.0, 1.0, count + 1)
    return (np.arange(count) + 0.5 * (k % 2)) / count


def _strip(ahead, ahead_place, behind, behind_place, half: bool) -> np.ndarray:
    """Triangles between two rings, by the order of their places."""
    if not half:
        ahead, behind = np.append(ahead, ahead[0]), np.append(behind, behind[0])
        ahead_place = np.append(ahead_place, ahead_place[0] + 1.0)
        behind_place = np.append(behind_place, behind_place[0] + 1.0)
        start = int(np.argmin(np.abs(behind_place[:-1] - ahead_place[0])))
        behind = np.append(np.roll(behind[:-1], -start), behind[start])
        behind_place = np.append(np.roll(behind_place[:-1], -start), 1.0 + behind_place[start])
        behind_place[len(behind) - 1 - start : -1] += 1.0
    first, second = (
        0.5 * (ahead_place[1:] + ahead_place[:-1]),
        0.5 * (behind_place[1:] + behind_place[:-1]),
    )
    i = np.searchsorted(second, first)  # steps taken behind before each step ahead
    j = np.searchsorted(first, second, side="right")
    on_ahead = np.stack([ahead[1:], ahead[:-1], behind[i]], axis=1)
    on_behind = np.stack([behind[:-1], behind[1:], ahead[j]], axis=1)
    return np.vstack([on_ahead, on_behind])
