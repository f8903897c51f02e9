"""Openings laid onto the closed skin: one record for inlets, exits, vents and the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from panelcp.display import Column, block, degrees, number, place, table, words
from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place

KINDS = (
    "forward-facing",
    "scoop",
    "submerged",
    "flush hole",
    "louvre",
    "plain exit",
    "flapped exit",
)
USES = ("inlet", "exit", "both", "cabin", "fresh air", "exhaust", "static port")
SHAPES = ("rectangle", "oval")
SAMPLES = 9
"""Sample points along and across: 81 in all."""

OUTLINE_POINTS = 48
MAX_DISTANCE = 0.05
"""m; a centre farther from the skin than this is taken for a mistake."""

LEAST_COVER = 1e-9
"""Panels covered less than this only touch the outline: what rounding leaves."""

STEEP = 0.25
"""Least cosine between the opening's axis and the skin under it."""

STRAIGHT = 1e-6
"""Sine of an angle in an outline that is none."""

RIM_WIDTHS = 0.25
"""The lip is looked at so many widths outside the outline."""

STEP = 0.8
"""Samples side by side whose heights differ from what the slopes say by more than this part of
their distance lie on different sheets of skin."""


@dataclass(frozen=True, eq=False)
class Opening:
    """One opening on the closed skin.

    Attributes
    ----------
    name : unique in a case
    use : one of USES
    kind : one of KINDS
    shape : "rectangle" or "oval"
    length, width : m, along and across, in the plane of the axes
    turn : deg, of the axes about the normal
    centre : (3,) float, m, on the skin
    along, across, normal : (3,) float, unit; along the local direction of flow (aft; upward on a
        face that looks forward or aft), across to it, outward
    outline : (n, 3) float, m, on the skin, closed by its first point
    sample_points : (n_samples, 3) float, m, inside the outline, on the skin
    sample_panels : (n_samples,) int, the panels they lie on
    sample_weights : (n_samples,) float, shares of the area, their sum is 1
    area : m2, on the skin
    twin : its mirror image, when both together are one opening: then samples and area are those of
        both, while place, axes and outline are its own
    """

    name: str
    use: str
    kind: str
    shape: str
    length: float
    width: float
    turn: float
    centre: np.ndarray
    along: np.ndarray
    across: np.ndarray
    normal: np.ndarray
    outline: np.ndarray
    sample_points: np.ndarray
    sample_panels: np.ndarray
    sample_weights: np.ndarray
    area: float
    twin: Opening | None = None

    def __post_init__(self):
        for name in ("centre", "along", "across", "normal", "outline", "sample_points"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "sample_panels", frozen_array(self.sample_panels, np.int64))
        object.__setattr__(self, "sample_weights", frozen_array(self.sample_weights))

    def __repr__(self):
        where = place(self.centre).replace("\u00a0", " ")
        return f"Opening({self.name!r}, {self.use}, {self.kind}, {self.side}, {where})"

    def _repr_html_(self) -> str:
        columns = [*words("Opening", "Use", "Kind", "Side", "Place")]
        columns += [Column("Along × across", "mm"), Column("Turned", "°"), Column("Area", "cm²")]
        row = [self.name, self.use, f"{self.kind}, {self.shape}", self.side, place(self.centre)]
        row.append(f"{number(1e3 * self.length)} × {number(1e3 * self.width)}")
        row += [degrees(self.turn), number(1e4 * self.area)]
        both = "" if self.twin is None else "With its mirror image; the area is that of both."
        return block(table("Opening", columns, [row], both))

    @property
    def takes_air_in(self) -> bool:
        """True for an opening that may serve as an inlet."""
        return self.use in ("inlet", "both")

    @property
    def lets_air_out(self) -> bool:
        """True for an opening that may serve as an exit."""
        return self.use in ("exit", "both")

    def laid_on(self, skin: SkinFinder | SurfaceMesh) -> Opening:
        """The same opening laid onto another panelling of the skin."""
        if self.twin is not None:
            alone = replace(self, twin=None)
            return paired(alone.laid_on(skin), self.twin.laid_on(skin), self.name)
        return lay_opening(
            skin,
            self.name,
            self.centre,
            self.length,
            self.width,
            use=self.use,
            kind=self.kind,
            shape=self.shape,
            turn=self.turn,
        )

    @property
    def side(self) -> str:
        """The side of the aeroplane it looks at: front, rear, top, bottom, right or left."""
        axis = int(np.argmax(np.abs(self.normal)))
        names = (("front", "rear"), ("left", "right"), ("bottom", "top"))[axis]
        return names[int(self.normal[axis] > 0.0)]


def paired(opening: Opening, twin: Opening, name: str) -> Opening:
    """An opening and its mirror image as one: the area means are those of both together.

    Parameters
    ----------
    opening, twin : two openings of one size
    name : of the pair
    """
    return replace(
        opening,
        name=name,
        sample_points=np.concatenate([opening.sample_points, twin.sample_points]),
        sample_panels=np.concatenate([opening.sample_panels, twin.sample_panels]),
        sample_weights=0.5 * np.concatenate([opening.sample_weights, twin.sample_weights]),
        area=opening.area + twin.area,
        twin=twin,
    )


def lay_opening(
    skin: SkinFinder | SurfaceMesh,
    name: str,
    centre,
    length: float,
    width: float,
    use: str = "exit",
    kind: str = "plain exit",
    shape: str = "rectangle",
    turn: float = 0.0,
    max_distance: float = MAX_DISTANCE,
) -> Opening:
    """Lay an opening onto the skin at the place nearest to a point.

    Parameters
    ----------
    skin : SurfaceMesh, or a SkinFinder of it (faster for many openings)
    name : of the opening
    centre : (3,) float, m, near the skin
    length, width : m, along and across
    use, kind, shape : see `Opening`
    turn : deg, turns the axes about the outward normal, counter-clockwise seen from outside
    max_distance : m, farther from the skin is an error

    Returns
    -------
    Opening

    Raises
    ------
    SurfaceError : unknown words, sizes that are not positive, a centre far from the skin, an
        outline that hangs over an edge of the body or lies over a step in the skin

    Notes
    -----
    The axis is the mean normal of the skin under the opening, found in three passes. Sample
    points are projected onto the skin along it; each carries the skin area it stands for.
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    _require_words(name, use, kind, shape)
    _require_sizes(name, length, width)
    foot, panel, distance = finder.nearest(centre)
    if distance > max_distance:
        raise SurfaceError(
            f"opening {name}: its centre at {format_place(centre)} is {distance * 1e3:.0f} mm "
            f"from the skin (allowed {max_distance * 1e3:.0f} mm); the nearest point of the skin "
            f"is {format_place(foot)}"
        )
    grid, outline = (part(shape) * [length, width] for part in (_sample_grid, _rim))
    axes = _settled_axes(name, finder, foot, finder.surface.normals[panel], turn, grid)
    panels, points = _project(finder, foot, axes, grid)
    rim_panels, rim = _project(finder, foot, axes, outline)
    _require_on_skin(name, np.concatenate([panels, rim_panels]))
    _require_no_step(name, points, finder.surface.normals[panels], axes)
    weights = _skin_area(finder.surface, panels, axes[2])
    flat_area = length * width * (np.pi / 4 if shape == "oval" else 1.0)
    return Opening(
        name=name,
        use=use,
        kind=kind,
        shape=shape,
        length=float(length),
        width=float(width),
        turn=float(turn),
        centre=foot,
        along=axes[0],
        across=axes[1],
        normal=axes[2],
        outline=rim,
        sample_points=points,
        sample_panels=panels,
        sample_weights=weights / weights.sum(),
        area=float(flat_area * weights.mean()),
    )


def _settled_axes(name, finder: SkinFinder, foot, normal, turn: float, grid) -> np.ndarray:
    """Axes whose normal is the mean of the skin under the samples, in three passes."""
    for _ in range(3):
        axes = _axes(normal, turn)
        panels, _ = _project(finder, foot, axes, grid)
        _require_on_skin(name, panels)
        weights = _skin_area(finder.surface, panels, normal)
        normal = (finder.surface.normals[panels] * weights[:, None]).sum(axis=0)
        normal /= np.linalg.norm(normal)
    return _axes(normal, turn)


def rim_samples(
    finder: SkinFinder, opening: Opening, outside: float = RIM_WIDTHS
) -> tuple[np.ndarray, np.ndarray]:
    """Points of the lip round an opening.

    Parameters
    ----------
    finder : SkinFinder of the surface the opening lies on
    opening : Opening
    outside : distance from the outline, parts of the opening's width

    Returns
    -------
    points : (n, 3) float, m, on the skin; places where there is no skin are left out, and those on
        panels that the opening covers in part, where its flow is smeared
    panels : (n,) int
    """
    margin = 2.0 * outside * opening.width
    flat = _rim(opening.shape) * [opening.length + margin, opening.width + margin]
    axes = np.array([opening.along, opening.across, opening.normal])
    panels, points = _project(finder, opening.centre, axes, flat)
    covered = panel_cover(finder.surface, opening) > 0.0
    good = (panels >= 0) & ~covered[panels]
    return points[good], panels[good]


def panel_cover(surface: SurfaceMesh, opening: Opening) -> np.ndarray:
    """Part of every panel that lies inside the outline of an opening.

    Parameters
    ----------
    surface : SurfaceMesh
    opening : Opening laid onto it

    Returns
    -------
    (n_panels,) float, 0 to 1; its sum times the panel areas is the area of the opening

    Notes
    -----
    Panels that look the same way as the opening are cut with the outline in the opening's plane.
    """
    axes = np.array([opening.along, opening.across])
    window = _bent((opening.outline - opening.centre) @ axes.T)
    sizes = np.linalg.norm(surface.corners - surface.centroids[:, None], axis=2)
    reach = 1.5 * np.linalg.norm(window, axis=1).max() + sizes.max()
    away = np.linalg.norm(surface.centroids - opening.centre, axis=1)
    near = np.flatnonzero((away < reach) & (surface.normals @ opening.normal > STEEP))
    plane = (surface.corners[near] - opening.centre) @ axes.T
    edge = np.roll(window, -1, axis=0) - window
    left = edge[:, 0] * (plane[..., None, 1] - window[:, 1])
    left -= edge[:, 1] * (plane[..., None, 0] - window[:, 0])
    within = (left >= 0.0).all(axis=(1, 2))
    beside = (left < 0.0).all(axis=1).any(axis=1)
    cover = np.zeros(surface.n_panels)
    cover[near[within]] = 1.0
    for k in np.flatnonzero(~within & ~beside):
        part = _polygon_area(_clipped(plane[k], window)) / _polygon_area(plane[k])
        cover[near[k]] = min(1.0, part) if part > LEAST_COVER else 0.0
    return cover


def _bent(outline: np.ndarray) -> np.ndarray:
    """Points of a closed outline (n, 2) at which it bends: others cost time only."""
    behind, ahead = outline - np.roll(outline, 1, axis=0), np.roll(outline, -1, axis=0) - outline
    turn = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    return outline[np.abs(turn) > STRAIGHT * np.hypot(*behind.T) * np.hypot(*ahead.T)]


def _clipped(polygon: np.ndarray, window: np.ndarray) -> np.ndarray:
    """Part of a polygon inside a convex window, both counter-clockwise, (n, 2)."""
    for start, end in zip(window, np.roll(window, -1, axis=0), strict=True):
        if len(polygon) == 0:
            break
        edge = end - start
        inside = edge[0] * (polygon[:, 1] - start[1]) - edge[1] * (polygon[:, 0] - start[0])
        kept = []
        for k in range(len(polygon)):
            a, b, side_a, side_b = polygon[k - 1], polygon[k], inside[k - 1], inside[k]
            if (side_a < 0.0) != (side_b < 0.0):
                kept.append(a + (b - a) * side_a / (side_a - side_b))
            if side_b >= 0.0:
                kept.append(b)
        polygon = np.array(kept).reshape(-1, 2)
    return polygon


def _polygon_area(polygon: np.ndarray) -> float:
    if len(polygon) < 3:
        return 0.0
    x, y = polygon.T
    return 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))


def _axes(normal: np.ndarray, turn: float) -> np.ndarray:
    """Rows: along, across, normal."""
    reference = np.array([0.0, 0.0, 1.0]) if abs(normal[0]) > 0.8 else np.array([1.0, 0.0, 0.0])
    along = reference - (reference @ normal) * normal
    along /= np.linalg.norm(along)
    across = np.cross(normal, along)
    angle = np.radians(turn)
    turned = np.cos(angle) * along + np.sin(angle) * across
    return np.array([turned, np.cross(normal, turned), normal])


def _sample_grid(shape: str) -> np.ndarray:
    """(81, 2) points of equal area in a shape of length 1 and width 1."""
    steps = (np.arange(SAMPLES) + 0.5) / SAMPLES
    first, second = (grid.ravel() for grid in np.meshgrid(steps, steps, indexing="ij"))
    if shape == "oval":
        radius, angle = 0.5 * np.sqrt(first), 2.0 * np.pi * (second + 0.5 * first)
        return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    return np.stack([first, second], axis=1) - 0.5


def _rim(shape: str) -> np.ndarray:
    """(OUTLINE_POINTS, 2) points round a shape of length 1 and width 1."""
    part = np.arange(OUTLINE_POINTS) / OUTLINE_POINTS
    if shape == "oval":
        return 0.5 * np.stack([np.cos(2 * np.pi * part), np.sin(2 * np.pi * part)], axis=1)
    corners = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5], [-0.5, -0.5]])
    return np.stack([np.interp(4 * part, np.arange(5), corners[:, k]) for k in range(2)], axis=1)


def _project(finder: SkinFinder, foot, axes, flat) -> tuple[np.ndarray, np.ndarray]:
    radius = np.linalg.norm(flat, axis=1).max()
    panels = finder.near(foot, 1.5 * radius)
    return finder.hits(foot + flat @ axes[:2], -axes[2], panels)


def _skin_area(surface: SurfaceMesh, panels, normal) -> np.ndarray:
    """Skin area per area of the opening's plane, at each sample."""
    return 1.0 / np.maximum(surface.normals[panels] @ normal, STEEP)


def _require_words(name, use, kind, shape):
    for word, known, what in ((use, USES, "use"), (kind, KINDS, "kind"), (shape, SHAPES, "shape")):
        if word not in known:
            raise SurfaceError(
                f"opening {name}: {what} {word!r} is not known; choose one of {', '.join(known)}"
            )


def _require_sizes(name, length, width):
    for value, what in ((length, "length"), (width, "width")):
        if not (np.isfinite(value) and value > 0.0):
            raise SurfaceError(f"opening {name}: {what} is {value} m; expected more than 0")


def _require_on_skin(name, panels: Sequence[int]):
    missed = int(np.count_nonzero(np.asarray(panels) < 0))
    if missed:
        raise SurfaceError(
            f"opening {name}: {missed} of {len(panels)} points of it hang over the edge of the "
            "body; it is larger than the skin there, or its place or direction is wrong"
        )


def _require_no_step(name, points, normals, axes):
    """Refuse samples side by side that lie at different heights than the slope of the skin says."""
    flat, height = points @ axes[:2].T, points @ axes[2]
    tree = cKDTree(flat)
    reach = 1.6 * np.median(tree.query(flat, k=2)[0][:, 1])
    first, second = tree.query_pairs(reach, output_type="ndarray").T
    slope = -(normals @ axes[:2].T) / np.maximum(normals @ axes[2], STEEP)[:, None]
    run = flat[second] - flat[first]
    rise = (0.5 * (slope[first] + slope[second]) * run).sum(axis=1)
    step = np.abs(height[second] - height[first] - rise) - STEP * np.linalg.norm(run, axis=1)
    worst = int(np.argmax(step))
    if step[worst] > 0.0:
        place = 0.5 * (points[first[worst]] + points[second[worst]])
        drop = abs(height[second[worst]] - height[first[worst]])
        raise SurfaceError(
            f"opening {name}: the skin under it has a step of about {drop * 1e3:.0f} mm (at "
            f"{format_place(place)}): it lies over two sheets or over a lip; move it or make it "
            "smaller"
        )
