"""Candidate places: grids inside search regions, thinned by the rules of a builder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from panelcp.errors import PlacementError, SurfaceError
from panelcp.placement.foot import VIEWS
from panelcp.placement.rules import PlaceRules, clearance
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening, lay_opening, paired
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place

SIDES_OF_PAIR = ("right", "left")
SINGLE, MIRRORED = "single", "mirrored"
PAIRS = (SINGLE, MIRRORED)
"""Whether a place is tried alone, or together with its mirror image about BL 0 as one."""

OFF_SKIN, OVER_EDGE = "off the skin", "over an edge of the body"
OWN_IMAGE = "overlapping its mirror image"
MAX_GRID = 20000
ROUNDING = 1e-9
"""m; grid points on the border of a region are in it."""


@dataclass(frozen=True, eq=False)
class NoCutZone:
    """Room in which nothing may be cut.

    Attributes
    ----------
    name : shown when it removes candidates
    shape : "box", "cylinder", "sphere" or "half space"
    low, high : (3,) float, m, of a box
    start, end : (3,) float, m, ends of a cylinder's axis
    centre : (3,) float, m, of a sphere; a point of the boundary of a half space
    radius : m, of a cylinder or sphere
    direction : (3,) float, points into a half space
    clearance : m, room kept free around it, for hands and tools, heat or movement
    """

    name: str
    shape: str
    low: np.ndarray | None = None
    high: np.ndarray | None = None
    start: np.ndarray | None = None
    end: np.ndarray | None = None
    centre: np.ndarray | None = None
    radius: float | None = None
    direction: np.ndarray | None = None
    clearance: float = 0.0

    def __post_init__(self):
        needed = {
            "box": ("low", "high"),
            "cylinder": ("start", "end", "radius"),
            "sphere": ("centre", "radius"),
            "half space": ("centre", "direction"),
        }
        if self.shape not in needed:
            raise PlacementError(
                f"no-cut zone {self.name}: shape {self.shape!r} is not known; choose one of "
                f"{', '.join(needed)}"
            )
        missing = [key for key in needed[self.shape] if getattr(self, key) is None]
        if missing:
            raise PlacementError(
                f"no-cut zone {self.name}: a {self.shape} needs {' and '.join(missing)}"
            )
        for key in ("low", "high", "start", "end", "centre", "direction"):
            if getattr(self, key) is not None:
                object.__setattr__(self, key, frozen_array(getattr(self, key)))
        fault = self._fault()
        if fault:
            raise PlacementError(f"no-cut zone {self.name}: {fault}")

    def _fault(self) -> str:
        """What makes the zone empty, or nothing."""
        if self.shape == "box" and not (self.low <= self.high).all():
            return (
                f"low ({format_place(self.low)}) is not below high ({format_place(self.high)}) "
                "everywhere"
            )
        if self.shape == "cylinder" and np.array_equal(self.start, self.end):
            return "start and end are the same point; the cylinder has no length"
        if self.shape == "half space" and not np.linalg.norm(self.direction) > 0.0:
            return "its direction is zero; give the direction that points into the half space"
        if self.radius is not None and not self.radius > 0.0:
            return f"radius {1e3 * self.radius:.4g} mm is not positive"
        if not 0.0 <= self.clearance < np.inf:
            return f"clearance {1e3 * self.clearance:.4g} mm is not 0 or more"
        return ""

    def holds(self, points) -> np.ndarray:
        """(n,) bool: which of (n, 3) points lie inside, on the boundary, or within the clearance.

        Examples
        --------
        >>> tank = NoCutZone("tank", "sphere", centre=[1.0, 0, 0], radius=0.2, clearance=0.05)
        >>> tank.holds(np.array([[1.1, 0, 0], [1.24, 0, 0], [1.3, 0, 0]]))
        array([ True,  True, False])
        """
        return self.distance(points) <= self.clearance

    def distance(self, points) -> np.ndarray:
        """(n,) float, m: from (n, 3) points straight to the zone, 0 inside; without clearance."""
        points = np.asarray(points, dtype=float)
        if self.shape == "box":
            outside = np.maximum(np.maximum(self.low - points, points - self.high), 0.0)
            return np.linalg.norm(outside, axis=1)
        if self.shape == "sphere":
            return np.maximum(np.linalg.norm(points - self.centre, axis=1) - self.radius, 0.0)
        if self.shape == "half space":
            inward = self.direction / np.linalg.norm(self.direction)
            return np.maximum(-((points - self.centre) @ inward), 0.0)
        axis = self.end - self.start
        along = (points - self.start) @ axis / (axis @ axis)
        foot = self.start + along[:, None] * axis
        beside = np.maximum(np.linalg.norm(points - foot, axis=1) - self.radius, 0.0)
        beyond = np.maximum(np.maximum(-along, along - 1.0), 0.0) * np.linalg.norm(axis)
        return np.hypot(beside, beyond)


@dataclass(frozen=True, eq=False)
class SearchRegion:
    """Part of the skin on which places for one kind of opening are tried on a grid.

    Attributes
    ----------
    name : the candidates are called name 1, name 2, ...
    use, kind, shape, length, width, turn : of the openings tried, as in `Opening`
    side : side the grid is laid on from: top, bottom, right, left, front or rear
    low, high : (3,) float, m, box that the centres must lie in
    spacing : m, of the grid
    edge_distance : m, least distance of the opening from sharp edges of the skin and from the
        border of the skin inside the box; None for no such rule, as with the next three
    windshield_distance : m, least distance from the panels of the region named "windshield"
    least_radius : m, least radius of curvature of the skin under the opening
    opening_distance : m, least clearance to the openings of the case and between found places
    pairs : "single", or "mirrored": a place and its mirror image about BL 0 are one
    find : at most so many local optima are sought between the grid points

    Raises
    ------
    PlacementError : unknown words, a box that is none, sizes that are not positive
    """

    name: str
    use: str
    kind: str
    length: float
    width: float
    side: str
    low: np.ndarray
    high: np.ndarray
    spacing: float
    shape: str = "rectangle"
    turn: float = 0.0
    edge_distance: float | None = None
    windshield_distance: float | None = None
    least_radius: float | None = None
    opening_distance: float | None = None
    pairs: str = SINGLE
    find: int = 3

    def __post_init__(self):
        if self.side not in VIEWS:
            raise PlacementError(
                f"search {self.name}: side {self.side!r} is not known; choose one of "
                f"{', '.join(VIEWS)}"
            )
        for key in ("low", "high"):
            object.__setattr__(self, key, frozen_array(getattr(self, key)))
        if not (self.low <= self.high).all():
            raise PlacementError(
                f"search {self.name}: low ({format_place(self.low)}) is not below high "
                f"({format_place(self.high)}) everywhere"
            )
        if not self.spacing > 0.0:
            raise PlacementError(f"search {self.name}: spacing must be more than 0")
        if self.pairs not in PAIRS:
            raise PlacementError(
                f"search {self.name}: pairs = {self.pairs!r} is not known; choose one of "
                f"{', '.join(PAIRS)}"
            )
        for key in ("edge_distance", "windshield_distance", "least_radius", "opening_distance"):
            value = getattr(self, key)
            if value is not None and not 0.0 <= value < np.inf:
                raise PlacementError(f"search {self.name}: {key} {value} m is not 0 or more")

    @property
    def view(self) -> tuple[int, float]:
        """Axis and sign of the line of sight from the side it is searched from."""
        return VIEWS[self.side]

    @property
    def mirrored(self) -> bool:
        """True where a place and its mirror image are one."""
        return self.pairs == MIRRORED

    @property
    def axes_seen(self) -> list[int]:
        """The two axes that span what is seen from the side."""
        return [k for k in range(3) if k != self.view[0]]


@dataclass(frozen=True)
class SearchResult:
    """Candidates of one search region and what became of the other grid points.

    Attributes
    ----------
    region : SearchRegion
    openings : the admissible candidates; of a mirrored search right and left in turn
    tried : number of grid points
    removed : rule -> number of grid points it removed
    mates : name -> name of its mirror image, for both of every pair; empty unless mirrored
    """

    region: SearchRegion
    openings: tuple[Opening, ...]
    tried: int
    removed: dict[str, int] = field(default_factory=dict)
    mates: dict[str, str] = field(default_factory=dict)

    @property
    def places(self) -> tuple[Opening, ...]:
        """The openings, mirrored ones two by two as one opening."""
        if not self.mates:
            return self.openings
        two = zip(self.openings[::2], self.openings[1::2], strict=True)
        return tuple(paired(right, left, pair_name(right.name)) for right, left in two)

    def line(self) -> str:
        """One line for the log."""
        rules = ", ".join(f"{count} {rule}" for rule, count in self.removed.items() if count)
        count, word = len(self.openings), "places"
        if self.region.mirrored:
            count, word = count // 2, "pairs of mirrored places"
        return f"search {self.region.name}: {count} admissible {word} of {self.tried} tried" + (
            f"; removed: {rules}" if rules else ""
        )


def pair_name(name: str) -> str:
    """Name of a pair of mirrored places from that of its right one.

    Examples
    --------
    >>> pair_name("side 12 right")
    'side 12 right and left'
    """
    return f"{name} and left"


def mates_of(openings: Sequence[Opening]) -> dict[str, str]:
    """Name -> name of the mate, of openings right and left in turn."""
    names = [opening.name for opening in openings]
    both = [*zip(names[::2], names[1::2], strict=True)]
    return dict(both) | {left: right for right, left in both}


def search(
    skin: SkinFinder | SurfaceMesh,
    region: SearchRegion,
    zones: Sequence[NoCutZone] = (),
    openings: Sequence[Opening] = (),
) -> SearchResult:
    """Lay the candidates of one search region onto the skin.

    Parameters
    ----------
    skin : SurfaceMesh or a SkinFinder of it
    region : SearchRegion
    zones : no-cut zones
    openings : of the case, from which `opening_distance` is kept

    Returns
    -------
    SearchResult

    Raises
    ------
    PlacementError : no admissible place is left; the message counts what each rule removed.
        An opening larger than the body. A rule about a windshield where no region has that name
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    _require_smaller_than_body(finder.surface, region)
    rules = PlaceRules(finder, region, zones, openings)
    centres = _without_images(points_on_skin(finder, region, grid_points(region)), region)
    removed: dict[str, int] = {OFF_SKIN: 0, OVER_EDGE: 0, **dict.fromkeys(rules.names, 0)}
    kept: list[Opening] = []
    for centre in centres:
        number = len(kept) // (2 if region.mirrored else 1) + 1
        laid, rule = admitted(finder, rules, f"{region.name} {number}", centre)
        kept += laid
        if rule:
            removed[rule] = removed.get(rule, 0) + 1
    if not kept:
        raise PlacementError(_nothing_left(finder, region, centres, removed))
    mates = mates_of(kept) if region.mirrored else {}
    return SearchResult(region, tuple(kept), len(centres), removed, mates)


def admitted(
    finder: SkinFinder, rules: PlaceRules, name: str, centre
) -> tuple[tuple[Opening, ...], str]:
    """Opening of a search at a point, and its mirror image in a mirrored search.

    Parameters
    ----------
    finder : SkinFinder
    rules : PlaceRules of the search
    name : of the opening; right or left is added to it in a mirrored search
    centre : (3,) float, m, on the skin; nan off it

    Returns
    -------
    openings : one, two when mirrored (right, then left), none when a rule is broken
    rule : the first that is broken, else empty
    """
    region = rules.region
    if not np.isfinite(centre).all() or _outside(region, centre):
        return (), OFF_SKIN
    if not region.mirrored:
        opening, rule = _laid(finder, rules, name, centre, region.turn)
        return ((opening,), "") if opening else ((), rule)
    first, rule = _laid(finder, rules, name, centre, region.turn)
    if first is None:
        return (), rule
    second, rule = _laid(finder, rules, name, centre * [1.0, -1.0, 1.0], -region.turn)
    if second is None:
        return (), f"whose mirror image is {rule}"
    if clearance(first, second) <= 0.0:
        return (), OWN_IMAGE
    both = sorted((first, second), key=lambda opening: -opening.centre[1])
    return tuple(
        replace(opening, name=f"{name} {side}")
        for opening, side in zip(both, SIDES_OF_PAIR, strict=True)
    ), ""


def _laid(finder, rules: PlaceRules, name, centre, turn) -> tuple[Opening | None, str]:
    region = rules.region
    try:
        opening = lay_opening(
            finder,
            name,
            centre,
            region.length,
            region.width,
            use=region.use,
            kind=region.kind,
            shape=region.shape,
            turn=turn,
        )
    except SurfaceError:
        return None, OVER_EDGE
    rule = rules.broken(opening)
    return (None, rule) if rule else (opening, "")


def _outside(region, centre) -> bool:
    return bool((centre < region.low - ROUNDING).any() or (centre > region.high + ROUNDING).any())


def grid_points(region: SearchRegion) -> np.ndarray:
    """(n, 2) float, m: grid of a search region in the two axes seen from its side.

    Raises
    ------
    PlacementError : more than MAX_GRID points
    """
    lines = [_grid_line(region.low[k], region.high[k], region.spacing) for k in region.axes_seen]
    count = len(lines[0]) * len(lines[1])
    if count > MAX_GRID:
        raise PlacementError(
            f"search {region.name}: {count} grid points; at most {MAX_GRID} are tried. "
            "Widen the spacing"
        )
    return np.stack([part.ravel() for part in np.meshgrid(*lines, indexing="ij")], axis=1)


def points_on_skin(finder: SkinFinder, region: SearchRegion, seen) -> np.ndarray:
    """Points on the skin as seen from the side of a search region.

    Parameters
    ----------
    finder : SkinFinder
    region : SearchRegion
    seen : (n, 2) float, m, in the two axes of `SearchRegion.axes_seen`

    Returns
    -------
    (n, 3) float, m, nan where there is no skin
    """
    axis, sign = region.view
    low, high = finder.surface.bounds
    origins = np.empty((len(seen), 3))
    origins[:, axis] = low[axis] - 1.0 if sign > 0.0 else high[axis] + 1.0
    origins[:, region.axes_seen] = seen
    direction = np.zeros(3)
    direction[axis] = sign
    return finder.hits(origins, direction)[1]


def _without_images(centres, region: SearchRegion) -> np.ndarray:
    """Of a mirrored search over both sides, the points on the right only: each pair once."""
    if not region.mirrored:
        return centres
    image = -centres[:, 1]
    twice = (centres[:, 1] < -ROUNDING) & (image <= region.high[1] + ROUNDING)
    return centres[~twice]


def _require_smaller_than_body(surface: SurfaceMesh, region: SearchRegion):
    room = np.sort(surface.size[region.axes_seen])
    size = np.sort([region.length, region.width])
    if (size > room).any():
        raise PlacementError(
            f"search {region.name}: the opening, {_size_words(size)}, is larger than the body, "
            f"which seen from the {region.side} is {_size_words(room)}; make it smaller"
        )


def _size_words(size) -> str:
    return f"{1e3 * max(size):.0f} x {1e3 * min(size):.0f} mm"


def _nothing_left(finder, region: SearchRegion, centres, removed: Mapping[str, int]) -> str:
    """What the rules removed, and why it was everything."""
    told = {rule: count for rule, count in removed.items() if count}
    counts = ", ".join(f"{count} {rule}" for rule, count in told.items())
    words = (
        f"search {region.name}: no admissible place; {len(centres)} grid points tried, "
        f"removed: {counts or 'none'}. "
    )
    on_skin = {rule: count for rule, count in told.items() if rule != OFF_SKIN}
    if not on_skin:
        words += _where_the_skin_is(finder.surface, region)
    elif list(on_skin) == [OVER_EDGE]:
        words += (
            f"The opening, {_size_words([region.length, region.width])}, is larger than the skin "
            f"there: the box leaves {_size_words((region.high - region.low)[region.axes_seen])} "
            "for its centre. "
        )
    elif len(on_skin) == 1:
        words += f"All of the skin in the box is {next(iter(on_skin))}. "
    return words + "Move or enlarge the region, or shrink the opening"


def _where_the_skin_is(surface: SurfaceMesh, region: SearchRegion) -> str:
    """Where the box lies, and where the skin."""
    axis, sign = region.view
    a, b = region.axes_seen
    inside = (surface.centroids >= region.low) & (surface.centroids <= region.high)
    below = inside[:, a] & inside[:, b] & (sign * surface.normals[:, axis] < 0.0)
    names = ("STA", "BL", "WL")
    if below.any():
        reach = surface.centroids[below, axis]
        skin = f"the skin there lies at {names[axis]} {_reach(reach.min(), reach.max())}"
        box = f"{names[axis]} {_reach(region.low[axis], region.high[axis])}"
    else:
        low, high = surface.bounds
        skin = "the body lies at " + _reaches(names, (a, b), low, high)
        box = _reaches(names, (a, b), region.low, region.high)
    return (
        f"The box lies wholly off the skin seen from the {region.side}: {skin}, the box at {box}. "
    )


def _reaches(names, axes, low, high) -> str:
    return " and ".join(f"{names[k]} {_reach(low[k], high[k])}" for k in axes)


def _reach(low: float, high: float) -> str:
    return f"{1e3 * low:.0f} to {1e3 * high:.0f} mm"


def _grid_line(low: float, high: float, spacing: float) -> np.ndarray:
    """Multiples of the spacing about the middle of the range, both ends included if they fit."""
    steps = int(np.floor((high - low) / spacing + 1e-9))
    return 0.5 * (low + high) + spacing * (np.arange(steps + 1) - 0.5 * steps)
