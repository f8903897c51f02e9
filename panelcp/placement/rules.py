"""Rules by which a builder refuses a place: zones, edges, glass, bends, other openings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import PlacementError
from panelcp.placement.foot import foot_of_windshield
from panelcp.surface.curved import corner_normals
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import smooth_neighbours
from panelcp.surface.opening import STEEP, Opening
from panelcp.surface.rays import SkinFinder

if TYPE_CHECKING:
    from panelcp.placement.candidates import NoCutZone, SearchRegion

WINDSHIELD = "windshield"
"""Name of the region that is glass."""

FIRE_DISTANCE = 24 * 0.0254
"""m; 24 in, from memory, see `windshield_cautions`."""

ROUNDING = 1e-9
"""m; distances that differ by less are the same."""


class PlaceRules:
    """The rules of one search, ready to be asked about many places.

    Parameters
    ----------
    finder : SkinFinder
    region : SearchRegion, whose distances and least radius are kept where they are given
    zones : no-cut zones
    openings : of the case, from which `opening_distance` is kept

    Raises
    ------
    PlacementError : `windshield_distance` without a region of that name
    """

    def __init__(
        self,
        finder: SkinFinder,
        region: SearchRegion,
        zones: Sequence[NoCutZone] = (),
        openings: Sequence[Opening] = (),
    ):
        self.finder, self.region = finder, region
        self._checks = [(_zone_name(zone), _in_zone(zone)) for zone in zones]
        self._checks += self._distance_checks()
        if region.least_radius is not None:
            name = f"where the skin bends to less than a radius of {_mm(region.least_radius)}"
            self._checks.append((name, lambda opening: self.radius(opening) < region.least_radius))
        if region.opening_distance is not None:
            least = region.opening_distance
            self._checks += [
                (f"nearer than {_mm(least)} to opening {other.name}", _too_near(other, least))
                for other in openings
            ]

    @property
    def names(self) -> list[str]:
        """What each rule is called when it removes a place, in the order of asking."""
        return [name for name, _ in self._checks]

    def broken(self, opening: Opening) -> str:
        """Name of the first rule that an opening breaks, empty when it is admissible."""
        return next((name for name, breaks in self._checks if breaks(opening)), "")

    def _distance_checks(self) -> list[tuple[str, Callable[[Opening], bool]]]:
        """Rules about sharp edges, the border of the region and the windshield."""
        region, surface, checks = self.region, self.finder.surface, []
        if region.edge_distance is not None:
            least = region.edge_distance
            checks += [
                (
                    f"nearer than {_mm(least)} to a sharp edge",
                    lambda opening: self._edges.nearer(opening, least),
                ),
                (
                    f"nearer than {_mm(least)} to the border of the region",
                    lambda opening: self._border.nearer(opening, least),
                ),
            ]
        if region.windshield_distance is not None:
            far = region.windshield_distance - ROUNDING
            if not _has_windshield(surface):
                raise PlacementError(
                    f"search {region.name}: windshield_distance is given, but no [[region]] is "
                    f'called "{WINDSHIELD}"; there are: {", ".join(surface.region_names)}'
                )
            checks.append(
                (
                    f"nearer than {_mm(region.windshield_distance)} to the windshield",
                    lambda opening: self.to_windshield(opening) < far,
                )
            )
        return checks

    def to_windshield(self, opening: Opening) -> float:
        """m: straight from an opening to the glass, at least; exact when that is nearest."""
        return self._glass.distance(_points(opening))

    def radius(self, opening: Opening) -> float:
        """m: least radius of curvature of the skin under an opening, 0 over a sharp edge."""
        if self._edges.under(opening):
            return 0.0
        return float(self._radii[opening.sample_panels].min())

    @cached_property
    def _edges(self) -> _Segments:
        return _Segments(sharp_edges(self.finder.surface))

    @cached_property
    def _border(self) -> _Segments:
        return _Segments(skin_border(self.finder.surface, self.region))

    @cached_property
    def _glass(self) -> _Panels:
        surface = self.finder.surface
        return _Panels(surface.corners[surface.region(WINDSHIELD)])

    @cached_property
    def _radii(self) -> np.ndarray:
        return curvature_radii(self.finder.surface)


def _zone_name(zone: NoCutZone) -> str:
    room = f" or nearer to it than {_mm(zone.clearance)}" if zone.clearance else ""
    return f"in no-cut zone {zone.name}{room}"


def _in_zone(zone: NoCutZone) -> Callable[[Opening], bool]:
    return lambda opening: bool(zone.holds(_points(opening)).any())


def _too_near(other: Opening, least: float) -> Callable[[Opening], bool]:
    return lambda opening: clearance(opening, other, least) < least - ROUNDING


def _has_windshield(surface: SurfaceMesh) -> bool:
    return WINDSHIELD in surface.region_names and bool(surface.region(WINDSHIELD).any())


def _mm(length: float) -> str:
    return f"{1e3 * length:.4g} mm"


def _points(opening: Opening) -> np.ndarray:
    """(n, 3) float, m: an opening's outline and the points inside it."""
    return np.vstack([opening.sample_points, opening.outline])


def sharp_edges(surface: SurfaceMesh) -> np.ndarray:
    """(n, 2, 3) float, m: ends of the edges folded by more than `SHARP_ANGLE`, and of open ones."""
    panel, edge = np.nonzero(smooth_neighbours(surface) < 0)
    first = panel < surface.edge_neighbours[panel, edge]
    alone = surface.edge_neighbours[panel, edge] < 0
    panel, edge = panel[first | alone], edge[first | alone]
    return np.stack([surface.corners[panel, edge], surface.corners[panel, (edge + 1) % 3]], axis=1)


def skin_border(surface: SurfaceMesh, region: SearchRegion) -> np.ndarray:
    """(n, 2, 3) float, m: where the skin that a search looks at leaves the box of the search.

    Lines in which the faces of the box cut the panels that look at its side. Where the box has no
    extent, as when places on one line are tried, it has no border there.
    """
    axis, sign = region.view
    corners = surface.corners[sign * surface.normals[:, axis] < 0.0]
    parts = []
    for k in np.flatnonzero(region.high > region.low):
        for wall in (float(region.low[k]), float(region.high[k])):
            cut = plane_section(corners, k, wall)
            parts.append(_clipped(cut, region.low, region.high, k))
    return np.concatenate([*parts, np.empty((0, 2, 3))])


def plane_section(corners, axis: int, level: float) -> np.ndarray:
    """(n, 2, 3) float, m: where panels, (n_panels, 3, 3), cross the plane axis = level."""
    above = corners[:, :, axis] > level
    ahead = np.roll(corners, -1, axis=1)
    crosses = above != np.roll(above, -1, axis=1)
    cut = crosses.any(axis=1)
    corners, ahead, crosses = corners[cut], ahead[cut], crosses[cut]
    rise = ahead[:, :, axis] - corners[:, :, axis]
    share = np.divide(level - corners[:, :, axis], rise, out=np.zeros_like(rise), where=crosses)
    points = corners + share[:, :, None] * (ahead - corners)
    return points[crosses].reshape(-1, 2, 3)


def _clipped(segments, low, high, axis: int) -> np.ndarray:
    """Parts of segments inside a box, but for the faces across one axis."""
    start, step = segments[:, 0], segments[:, 1] - segments[:, 0]
    begin, end = np.zeros(len(segments)), np.ones(len(segments))
    for k in (k for k in range(3) if k != axis):
        with np.errstate(divide="ignore", invalid="ignore"):
            both = (
                np.array([low[k] - ROUNDING, high[k] + ROUNDING])[:, None] - start[:, k]
            ) / step[:, k]
        still = step[:, k] == 0.0
        inside = (start[:, k] >= low[k] - ROUNDING) & (start[:, k] <= high[k] + ROUNDING)
        both[0, still] = np.where(inside[still], -np.inf, np.inf)
        both[1, still] = np.where(inside[still], np.inf, -np.inf)
        begin, end = np.maximum(begin, both.min(axis=0)), np.minimum(end, both.max(axis=0))
        end[still & ~inside] = -1.0
    kept = begin < end
    ends = np.stack([begin, end], axis=1)[kept]
    return start[kept, None] + ends[:, :, None] * step[kept, None]


class _Segments:
    """Straight pieces of lines, and how near openings come to them."""

    def __init__(self, segments):
        self.segments = segments
        if len(segments):
            self._tree = cKDTree(segments.mean(axis=1))
            self._half = 0.5 * float(np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).max())

    def nearer(self, opening: Opening, limit: float) -> bool:
        """Whether some part of the opening comes nearer to a line than the limit, or lies on it."""
        near = self._near(opening, limit)
        if len(near) == 0:
            return False
        points = _points(opening)
        return bool(_to_segments(points, near).min() < limit - ROUNDING or _crossed(opening, near))

    def under(self, opening: Opening) -> bool:
        """Whether a line crosses the opening."""
        return _crossed(opening, self._near(opening, 0.0))

    def _near(self, opening: Opening, limit: float) -> np.ndarray:
        if len(self.segments) == 0:
            return self.segments
        reach = np.linalg.norm(opening.outline - opening.centre, axis=1).max()
        reach += limit + self._half
        return self.segments[self._tree.query_ball_point(opening.centre, reach)]


def _to_segments(points, segments) -> np.ndarray:
    """(n_points, n_segments) float, m: straight from points to segments, (n, 2, 3)."""
    step = segments[:, 1] - segments[:, 0]
    offset = points[:, None] - segments[:, 0]
    square = np.maximum((step**2).sum(axis=1), 1e-300)
    share = np.clip((offset * step).sum(axis=2) / square, 0.0, 1.0)
    return np.linalg.norm(offset - share[:, :, None] * step, axis=2)


def _crossed(opening: Opening, segments) -> bool:
    """Whether one of five points on each segment lies inside the outline of an opening."""
    if len(segments) == 0:
        return False
    share = np.linspace(0.0, 1.0, 5)[:, None, None]
    points = segments[:, 0] + share * (segments[:, 1] - segments[:, 0])
    offset = points.reshape(-1, 3) - opening.centre
    half = 0.5 * np.array([opening.length, opening.width])
    flat = np.abs(offset @ np.array([opening.along, opening.across]).T) / half
    inside = (flat**2).sum(axis=1) < 1.0 if opening.shape == "oval" else (flat < 1.0).all(axis=1)
    return bool((inside & (np.abs(offset @ opening.normal) < half.max())).any())


class _Panels:
    """Some panels, and the straight distance of points to them."""

    def __init__(self, corners):
        self.corners = corners
        centroids = corners.mean(axis=1)
        self._tree = cKDTree(centroids)
        self._reach = float(np.linalg.norm(corners - centroids[:, None], axis=2).max())

    def distance(self, points) -> float:
        """m: least distance of the points."""
        from trimesh.triangles import closest_point

        to_centroid = self._tree.query(points)[0]
        least = to_centroid.min()
        hopeful = points[to_centroid <= least + self._reach]
        near = self._tree.query_ball_point(hopeful, least + self._reach)
        counts = [len(panels) for panels in near]
        chosen = np.concatenate(near).astype(np.int64)
        start = np.repeat(hopeful, counts, axis=0)
        feet = closest_point(self.corners[chosen], start)
        return float(np.linalg.norm(feet - start, axis=1).min())


def curvature_radii(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) float, m: least radius of curvature of the skin at every panel; inf where flat.

    Notes
    -----
    The second fundamental form of a panel, least squares from the change of the fitted normals
    along its three edges; the radius is one over its greatest principal curvature, bulging or
    hollow (S. Rusinkiewicz, Estimating curvatures and their derivatives on triangle meshes, 2004,
    from memory, with one panel in place of the mean over panels).
    """
    normals = corner_normals(surface)
    edges = np.roll(surface.corners, -1, axis=1) - surface.corners
    change = np.roll(normals, -1, axis=1) - normals
    first = edges[:, 0] / np.linalg.norm(edges[:, 0], axis=1, keepdims=True)
    axes = np.stack([first, np.cross(surface.normals, first)], axis=1)
    step, turn = (np.einsum("nki,nai->nka", part, axes) for part in (edges, change))
    zero = np.zeros(step.shape[:2])
    rows = [
        np.stack([step[..., 0], step[..., 1], zero], axis=2),
        np.stack([zero, step[..., 0], step[..., 1]], axis=2),
    ]
    matrix, right = (
        np.concatenate(rows, axis=1),
        np.concatenate([turn[..., 0], turn[..., 1]], axis=1),
    )
    a, b, c = np.einsum("nij,nj->in", np.linalg.pinv(matrix), right)
    bend = np.abs(0.5 * (a + c)) + np.hypot(0.5 * (a - c), b)
    return np.divide(1.0, bend, out=np.full(len(bend), np.inf), where=bend > 1e-9)


def clearance(first: Opening, second: Opening, limit: float = np.inf) -> float:
    """Straight distance between the outlines of two openings.

    Parameters
    ----------
    first, second : Opening
    limit : m, above it a lower bound will do

    Returns
    -------
    float, m. Negative where they overlap: by how much one must be moved to be clear of the other
    """
    reach = [np.linalg.norm(o.outline - o.centre, axis=1).max() for o in (first, second)]
    bound = float(np.linalg.norm(first.centre - second.centre) - sum(reach))
    if bound >= limit:
        return bound
    depth = _overlap_depth(first, second) if bound < 0.0 else 0.0
    if depth > 0.0:
        return -depth
    sides = [np.stack([o.outline, np.roll(o.outline, -1, axis=0)], 1) for o in (first, second)]
    there = _to_segments(first.outline, sides[1]).min()
    return float(min(there, _to_segments(second.outline, sides[0]).min()))


def _overlap_depth(first: Opening, second: Opening) -> float:
    """m: least shift that parts two openings on one sheet of skin; 0 when they are apart.

    Outlines are convex: some edge of one of them parts them if they are apart.
    """
    if first.normal @ second.normal < STEEP:
        return 0.0
    half = 0.5 * max(first.length, first.width, second.length, second.width)
    if abs((second.centre - first.centre) @ first.normal) > half:
        return 0.0
    plane = np.array([first.along, first.across]).T
    a, b = ((o.outline - first.centre) @ plane for o in (first, second))
    edges = np.vstack([np.roll(part, -1, axis=0) - part for part in (a, b)])
    length = np.linalg.norm(edges, axis=1)
    edges = edges[length > ROUNDING] / length[length > ROUNDING, None]
    across = np.stack([edges[:, 1], -edges[:, 0]], axis=1)
    in_a, in_b = a @ across.T, b @ across.T
    shared = np.minimum(in_a.max(0) - in_b.min(0), in_b.max(0) - in_a.min(0)).min()
    return max(float(shared), 0.0) if shared > ROUNDING else 0.0


def overlapping_openings(openings: Sequence[Opening]) -> list[str]:
    """One line for every two openings of a case that overlap, with both names and by how much.

    Two holes cannot lie on each other: an error. Static ports are told too.

    Parameters
    ----------
    openings : laid onto the skin
    """
    lines = []
    for place, first in enumerate(openings):
        for second in openings[place + 1 :]:
            gap = clearance(first, second, limit=0.0)
            if gap < 0.0:
                lines.append(
                    f"openings {first.name} and {second.name} overlap by {-1e3 * gap:.0f} mm "
                    f"({_where(first)}; {_where(second)}); move one of them or make it smaller"
                )
    return lines


def _where(opening: Opening) -> str:
    x, y, z = 1e3 * opening.centre
    return (
        f"{opening.name}: {1e3 * opening.length:.0f} x {1e3 * opening.width:.0f} mm at STA {x:.0f} "
        f"BL {y:.0f} WL {z:.0f} mm"
    )


def nearest_zone(opening: Opening, zones: Sequence) -> tuple[str, float] | None:
    """The no-cut zone next to an opening, or to its mirror image.

    Parameters
    ----------
    opening : Opening
    zones : sequence of NoCutZone

    Returns
    -------
    name of the zone and the straight way to it, its clearance taken off, m; None without zones
    """
    points = [_points(one) for one in (opening, opening.twin) if one is not None]
    ways = [
        (max(float(zone.distance(np.vstack(points)).min()) - zone.clearance, 0.0), zone.name)
        for zone in zones
    ]
    return min(ways)[::-1] if ways else None


def windshield_cautions(surface: SurfaceMesh, openings: Sequence[Opening]) -> list[str]:
    """A caution for every exit within 24 in of the windshield.

    Parameters
    ----------
    surface : SurfaceMesh; the windshield is its region of that name, and of exits on top also what
        lies behind the place where the skin bends up to it, whichever is nearer
    openings : laid onto it

    Notes
    -----
    The older US rule for light aeroplanes asked for fire-resistant material for 24 in behind an
    opening in the engine cowl: 14 CFR 23.1193(d), text before 2017, from memory.
    """
    exits = [opening for opening in openings if opening.lets_air_out]
    if not exits:
        return []
    foot, glass = foot_of_windshield(surface), None
    if _has_windshield(surface):
        glass = _Panels(surface.corners[surface.region(WINDSHIELD)])
    lines = []
    for opening in exits:
        gap = np.inf if glass is None else glass.distance(_points(opening))
        ahead = _ahead_of(foot, opening)
        if min(gap, ahead) < FIRE_DISTANCE:
            lines.append(
                f"{opening.name} is {_near_glass(gap, ahead, foot)}: an exit there is a path for "
                "flame, smoke and hot fluid to glass and people; measure to the glass itself. The "
                "older US rule for light aeroplanes asked for fire-resistant material for 24 in "
                "(610 mm) behind an opening in the cowl (14 CFR 23.1193(d), before 2017, from "
                "memory); acrylic is not"
            )
    return lines


def _ahead_of(foot: np.ndarray | None, opening: Opening) -> float:
    """m: from an exit on top to the line across the body through the foot; infinite of others."""
    if foot is None or opening.side != "top":
        return np.inf
    away = (_points(opening) - foot)[:, [0, 2]]
    return float(np.hypot(*away.T).min()) if (away[:, 0] < 0.0).any() else np.inf


def _near_glass(gap: float, ahead: float, foot: np.ndarray | None) -> str:
    words = []
    if np.isfinite(gap):
        words.append(f"{_mm(round(gap, 3))} from the region called {WINDSHIELD}")
    if np.isfinite(ahead):
        where = f"the foot of the windshield by the shape of the skin (STA {1e3 * foot[0]:.0f} mm)"
        words.append(f"{_mm(round(ahead, 3))} from {where}")
    return " and ".join(words)
