"""Candidate places: grids inside search regions, thinned by no-cut zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from panelcp.errors import PlacementError, SurfaceError
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening, lay_opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place

VIEWS = {
    "top": (2, -1.0),
    "bottom": (2, 1.0),
    "right": (1, -1.0),
    "left": (1, 1.0),
    "front": (0, 1.0),
    "rear": (0, -1.0),
}
"""Side looked at from: axis and sign of the line of sight."""

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
        return ""

    def holds(self, points) -> np.ndarray:
        """(n,) bool: which of (n, 3) points lie inside or on the boundary.

        Examples
        --------
        >>> tank = NoCutZone("tank", "sphere", centre=[1.0, 0, 0], radius=0.2)
        >>> tank.holds(np.array([[1.1, 0, 0], [1.3, 0, 0]]))
        array([ True, False])
        """
        points = np.asarray(points, dtype=float)
        if self.shape == "box":
            return ((points >= self.low) & (points <= self.high)).all(axis=1)
        if self.shape == "sphere":
            return np.linalg.norm(points - self.centre, axis=1) <= self.radius
        if self.shape == "half space":
            return (points - self.centre) @ self.direction >= 0.0
        axis = self.end - self.start
        along = (points - self.start) @ axis / (axis @ axis)
        foot = self.start + along[:, None] * axis
        inside = np.linalg.norm(points - foot, axis=1) <= self.radius
        return inside & (along >= 0.0) & (along <= 1.0)


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


@dataclass(frozen=True)
class SearchResult:
    """Candidates of one search region and what became of the other grid points.

    Attributes
    ----------
    region : SearchRegion
    openings : the admissible candidates
    tried : number of grid points
    removed : rule -> number of grid points it removed
    """

    region: SearchRegion
    openings: tuple[Opening, ...]
    tried: int
    removed: dict[str, int] = field(default_factory=dict)

    def line(self) -> str:
        """One line for the log."""
        rules = ", ".join(f"{count} {rule}" for rule, count in self.removed.items() if count)
        return (
            f"search {self.region.name}: {len(self.openings)} admissible places of {self.tried} "
            f"tried" + (f"; removed: {rules}" if rules else "")
        )


def search(
    skin: SkinFinder | SurfaceMesh, region: SearchRegion, zones: Sequence[NoCutZone] = ()
) -> SearchResult:
    """Lay the candidates of one search region onto the skin.

    Parameters
    ----------
    skin : SurfaceMesh or a SkinFinder of it
    region : SearchRegion
    zones : no-cut zones

    Returns
    -------
    SearchResult

    Raises
    ------
    PlacementError : no admissible place is left; the message counts what each rule removed
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    centres = _grid_on_skin(finder, region)
    removed = {"off the skin": 0, "over an edge of the body": 0}
    removed |= {f"in no-cut zone {zone.name}": 0 for zone in zones}
    kept = []
    for centre in centres:
        opening, rule = _admitted(finder, region, zones, f"{region.name} {len(kept) + 1}", centre)
        if opening is None:
            removed[rule] += 1
        else:
            kept.append(opening)
    if not kept:
        counts = ", ".join(f"{count} {rule}" for rule, count in removed.items() if count)
        raise PlacementError(
            f"search {region.name}: no admissible place; {len(centres)} grid points tried, "
            f"removed: {counts or 'none'}. Move or enlarge the region, or shrink the opening"
        )
    return SearchResult(region, tuple(kept), len(centres), removed)


def _admitted(finder, region, zones, name, centre) -> tuple[Opening | None, str]:
    if not np.isfinite(centre).all():
        return None, "off the skin"
    if (centre < region.low - ROUNDING).any() or (centre > region.high + ROUNDING).any():
        return None, "off the skin"
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
            turn=region.turn,
        )
    except SurfaceError:
        return None, "over an edge of the body"
    points = np.vstack([opening.sample_points, opening.outline])
    for zone in zones:
        if zone.holds(points).any():
            return None, f"in no-cut zone {zone.name}"
    return opening, ""


def _grid_on_skin(finder: SkinFinder, region: SearchRegion) -> np.ndarray:
    """(n, 3) float, m: grid points on the skin as seen from the side; nan off the skin."""
    axis, sign = VIEWS[region.side]
    others = [k for k in range(3) if k != axis]
    lines = [_grid_line(region.low[k], region.high[k], region.spacing) for k in others]
    count = len(lines[0]) * len(lines[1])
    if count > MAX_GRID:
        raise PlacementError(
            f"search {region.name}: {count} grid points; at most {MAX_GRID} are tried. "
            "Widen the spacing"
        )
    first, second = np.meshgrid(*lines, indexing="ij")
    low, high = finder.surface.bounds
    origins = np.empty((count, 3))
    origins[:, axis] = low[axis] - 1.0 if sign > 0.0 else high[axis] + 1.0
    origins[:, others[0]], origins[:, others[1]] = first.ravel(), second.ravel()
    direction = np.zeros(3)
    direction[axis] = sign
    return finder.hits(origins, direction)[1]


def _grid_line(low: float, high: float, spacing: float) -> np.ndarray:
    """Multiples of the spacing about the middle of the range, both ends included if they fit."""
    steps = int(np.floor((high - low) / spacing + 1e-9))
    return 0.5 * (low + high) + spacing * (np.arange(steps + 1) - 0.5 * steps)
