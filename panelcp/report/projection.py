"""Views of a surface: directions, hidden surface, what of a line can be seen.

All views are true orthographic views, never mirrored. The nose points left in the views
from the left, from above and from below, and right in the view from the right; seen from
the front, the right wing (BL > 0) is on the left of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh, frozen_array

DARKENING = 0.15  # greatest loss of brightness by shading, so that colours match the scale
SHARP_EDGE_COSINE = float(np.cos(np.radians(40.0)))
OVERSAMPLING = 2  # z-buffer pixels per picture pixel, each way
PIXELS_ALONG = 1800  # z-buffer pixels along the longest side of the body
_MARGIN = 2 * OVERSAMPLING  # empty z-buffer pixels round the body
_EDGE_DEPTH = 3.0  # pixels, how far a silhouette may lie behind the panel beside it
_PIECE = 2.0  # pixels, length of the pieces into which lines are cut to see what is hidden
_LIGHT = np.array([-0.35, 0.55, 1.0]) / np.linalg.norm([-0.35, 0.55, 1.0])


@dataclass(frozen=True, eq=False)
class View:
    """Direction of an orthographic view.

    Attributes
    ----------
    name : str, one of the keys of `VIEWS` or a name of your own
    title : str, as written over the picture
    right, up : (3,) float, unit, body axes: what points right and up in the picture
    """

    name: str
    title: str
    right: np.ndarray
    up: np.ndarray

    def __post_init__(self):
        right, up = frozen_array(self.right), frozen_array(self.up)
        products = [right @ right, up @ up, right @ up] if right.shape == up.shape == (3,) else []
        if not products or not np.allclose(products, [1.0, 1.0, 0.0], atol=1e-9):
            raise SurfaceError(
                f"view {self.name!r}: right {right} and up {up} must be unit vectors of three "
                "components at a right angle"
            )
        object.__setattr__(self, "right", right)
        object.__setattr__(self, "up", up)

    @cached_property
    def toward(self) -> np.ndarray:
        """(3,) float, unit: towards the viewer."""
        return np.cross(self.right, self.up)

    @cached_property
    def axes(self) -> tuple[int, int] | None:
        """Numbers of the body axes across and up the picture; None for an oblique view."""
        across, upward = int(np.argmax(np.abs(self.right))), int(np.argmax(np.abs(self.up)))
        if abs(self.right[across]) == 1.0 and abs(self.up[upward]) == 1.0:
            return across, upward
        return None

    @cached_property
    def signs(self) -> tuple[float, float]:
        """+1 where the coordinate grows to the right, or up; -1 where it falls."""
        if self.axes is None:
            return 1.0, 1.0
        return float(self.right[self.axes[0]]), float(self.up[self.axes[1]])

    def plane_coordinates(self, points) -> np.ndarray:
        """(..., 2) float, m: coordinates in which the picture's axes are marked.

        STA, BL or WL along each axis in the six plain views; distances to the right and up
        in an oblique one.
        """
        plane = np.stack([np.asarray(points) @ self.right, np.asarray(points) @ self.up], axis=-1)
        return plane * self.signs


def _oblique(name: str, title: str, toward) -> View:
    toward = np.asarray(toward, dtype=float)
    toward = toward / np.linalg.norm(toward)
    right = np.cross([0.0, 0.0, 1.0], toward)
    right /= np.linalg.norm(right)
    return View(name, title, right, np.cross(toward, right))


VIEWS = {
    view.name: view
    for view in (
        View("left", "from the left", (1, 0, 0), (0, 0, 1)),
        View("right", "from the right", (-1, 0, 0), (0, 0, 1)),
        View("top", "from above", (1, 0, 0), (0, 1, 0)),
        View("bottom", "from below", (1, 0, 0), (0, -1, 0)),
        View("front", "from the front", (0, -1, 0), (0, 0, 1)),
        _oblique("three_quarter", "from ahead, left and above", (-0.68, -0.62, 0.40)),
    )
}


def view_named(view: str | View) -> View:
    """The view of that name; a View is handed back as it is.

    >>> view_named("top").title, view_named("three-quarter").name
    ('from above', 'three_quarter')
    """
    if isinstance(view, View):
        return view
    found = VIEWS.get(str(view).replace("-", "_"))
    if found is None:
        names = ", ".join(VIEWS).replace("_", "-")
        raise SurfaceError(f"no view is called {view!r}; there are: {names}")
    return found


@dataclass(frozen=True, eq=False)
class ProjectedView:
    """What each pixel of a view shows; made once and used for all conditions.

    Attributes
    ----------
    surface : SurfaceMesh
    view : View
    pixel : float, m, side of a pixel
    origin : (2,) float, m, right and up coordinate of the lower left corner of pixel (0, 0)
    triangle_image : (height, width) int32, panel seen, -1 for none; row 0 is the lowest
    weight_image : (height, width, 2) float32, weights of corners 0 and 1 of that panel
    shade_image : (height, width) float32, 1 - DARKENING to 1
    """

    surface: SurfaceMesh
    view: View
    pixel: float
    origin: np.ndarray
    triangle_image: np.ndarray
    weight_image: np.ndarray
    shade_image: np.ndarray

    def __post_init__(self):
        for name in ("origin", "triangle_image", "weight_image", "shade_image"):
            array = getattr(self, name)
            object.__setattr__(self, name, frozen_array(array, np.asarray(array).dtype))

    @property
    def covered(self) -> np.ndarray:
        """(height, width) bool: pixels that show the body."""
        return self.triangle_image >= 0

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """m: left, right, lower and upper border of the picture, in `View.plane_coordinates`."""
        size = np.array(self.triangle_image.shape[::-1]) * self.pixel
        low, high = self.origin * self.view.signs, (self.origin + size) * self.view.signs
        return float(low[0]), float(high[0]), float(low[1]), float(high[1])

    @cached_property
    def pixel_corners(self) -> np.ndarray:
        """(n_panels, 3, 3) float: corners of the panels in pixel units."""
        return frozen_array(self.pixel_points(self.surface.corners))

    def pixel_points(self, points) -> np.ndarray:
        """(..., 3) float, pixel units: across, up, towards the viewer."""
        frame = np.stack([self.view.right, self.view.up, self.view.toward], axis=-1)
        moved = np.asarray(points, dtype=float) @ frame
        moved[..., :2] -= self.origin
        return moved / self.pixel

    @cached_property
    def edge_lines(self) -> tuple[np.ndarray, ...]:
        """Visible sharp edges and the silhouette, each (2 or more, 2) float, m, on the paper."""
        segments, owners = _drawn_edges(self)
        found = visible_runs_of(self, segments, owners[:, None], _EDGE_DEPTH * self.pixel)
        return tuple(run for _, run in found)

    @cached_property
    def panel_pixels(self) -> np.ndarray:
        """(n_panels,) int: how many pixels show each panel."""
        seen = self.triangle_image[self.covered]
        return frozen_array(np.bincount(seen, minlength=self.surface.n_panels), np.int64)

    @cached_property
    def _covered_sums(self) -> np.ndarray:
        """(height + 1, width + 1) int: pixels of the body below and left of each grid point."""
        sums = np.zeros(np.array(self.triangle_image.shape) + 1, dtype=np.int64)
        sums[1:, 1:] = np.cumsum(np.cumsum(self.covered, axis=0), axis=1)
        return sums

    def covered_share(self, low, high) -> float:
        """Share of a box that shows the body; opposite corners (2,) m, `plane_coordinates`."""
        sides = []  # plain numbers: this is asked some thousand times for small boxes
        for axis, most in enumerate(self.triangle_image.shape[::-1]):
            sign, start = self.view.signs[axis], float(self.origin[axis])
            ends = sorted(
                round((float(end[axis]) * sign - start) / self.pixel) for end in (low, high)
            )
            sides.append((*(min(max(end, 0), most) for end in ends), ends[1] - ends[0]))
        (left, right, wide), (lower, upper, tall) = sides
        sums = self._covered_sums
        count = sums[upper, right] - sums[lower, right] - sums[upper, left] + sums[lower, left]
        return float(count) / max(1, wide * tall)

    def values(self, corner_values) -> np.ndarray:
        """(height, width) float: the value seen in each pixel, NaN beside the body."""
        from panelcp.report._kernels import interpolate_pixels

        out = np.full(self.triangle_image.shape, np.nan)
        corner_values = np.ascontiguousarray(corner_values, dtype=float)
        interpolate_pixels(self.triangle_image, self.weight_image, corner_values, out)
        return out

    def picture(self, corner_values, limit: float, colours: np.ndarray) -> np.ndarray:
        """Coloured picture on the scale -limit to +limit.

        Parameters
        ----------
        corner_values : (n_panels, 3) float
        limit : float
        colours : (n_colours, 3) float, red, green, blue from 0 to 1

        Returns
        -------
        (height / OVERSAMPLING, width / OVERSAMPLING, 4) uint8, row 0 is the lowest
        """
        from panelcp.report._kernels import colour_pixels

        height, width = self.triangle_image.shape
        out = np.zeros((height // OVERSAMPLING, width // OVERSAMPLING, 4), dtype=np.uint8)
        colour_pixels(
            self.triangle_image,
            self.weight_image,
            self.shade_image,
            np.ascontiguousarray(corner_values, dtype=float),
            float(limit),
            np.ascontiguousarray(colours, dtype=float) * 255.0,
            out,
        )
        return out


def body_box(surface: SurfaceMesh, view: View) -> np.ndarray:
    """(2, 2) float, m: least and greatest coordinate to the right, then up, in a view."""
    plane = np.stack([surface.vertices @ view.right, surface.vertices @ view.up])
    return np.stack([plane.min(axis=1), plane.max(axis=1)], axis=1)


def project_view(
    surface: SurfaceMesh, view: str | View, pixel: float | None = None, corner=None
) -> ProjectedView:
    """Find the nearest panel at each pixel of a view.

    Parameters
    ----------
    surface : SurfaceMesh, closed, the whole body
    view : View, or a name in `VIEWS`
    pixel : float, m; by default the longest side of the body has PIXELS_ALONG pixels
    corner : (2,) float, m, to the right and up: pixels of the picture begin there, or a whole
        number of them from there; by default the body's own corner

    Returns
    -------
    ProjectedView

    Raises
    ------
    SurfaceError : no such view, or a pixel that is not positive

    Notes
    -----
    Depth buffer at pixel centres: every panel that faces the viewer is filled in turn and the
    nearest stays, so that surfaces that cut each other come out right as well.
    """
    from panelcp.report._kernels import fill_depth

    view = view_named(view)
    pixel = float(surface.size.max() / PIXELS_ALONG if pixel is None else pixel)
    if not (np.isfinite(pixel) and pixel > 0.0):
        raise SurfaceError(f"pixel is {pixel} m; it must be positive")
    low, high = body_box(surface, view).T
    origin = low - _MARGIN * pixel
    if corner is not None:
        block = OVERSAMPLING * pixel
        origin = corner + np.floor((origin - corner) / block) * block
    cells = np.ceil((high - origin) / pixel).astype(int) + _MARGIN
    width, height = -(-cells // OVERSAMPLING) * OVERSAMPLING
    blank = ProjectedView(surface, view, pixel, origin, *_blank_images(height, width))
    triangles, weights, shade = _blank_images(height, width)
    depth = np.full((height, width), -np.inf)
    fill_depth(blank.pixel_corners, triangles, depth, weights)
    _shade(surface, view, triangles, weights, shade)
    return ProjectedView(surface, view, pixel, origin, triangles, weights, shade)


def _blank_images(height, width):
    triangles = np.full((height, width), -1, dtype=np.int32)
    weights = np.zeros((height, width, 2), dtype=np.float32)
    return triangles, weights, np.ones((height, width), dtype=np.float32)


def _shade(surface, view, triangles, weights, shade):
    """Weak light from the upper left of the viewer, smooth over panels that bend little."""
    from panelcp.report._kernels import interpolate_pixels

    frame = np.stack([view.right, view.up, view.toward], axis=-1)
    facing = corner_normals(surface) @ (frame @ _LIGHT)
    brightness = 1.0 - DARKENING * (1.0 - np.clip(facing, 0.0, 1.0))
    interpolate_pixels(triangles, weights, brightness, shade)


def corner_normals(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels, 3, 3) float, unit: smooth normal at each corner, broken at sharp edges."""
    from panelcp.report._kernels import crease_normals

    flat = surface.triangles.ravel()
    members = np.argsort(flat, kind="stable") // 3
    first = np.concatenate([[0], np.cumsum(np.bincount(flat, minlength=surface.n_vertices))])
    out = np.empty((surface.n_panels, 3, 3))
    crease_normals(
        surface.triangles,
        surface.normals,
        surface.area_vectors,
        first,
        members,
        SHARP_EDGE_COSINE,
        out,
    )
    return out


def _drawn_edges(projected: ProjectedView):
    """End points (n, 2, 3) of sharp edges and of the silhouette, with a panel facing us."""
    surface = projected.surface
    panels, sides = np.nonzero(surface.edge_neighbours >= 0)
    others = surface.edge_neighbours[panels, sides]
    facing = surface.normals @ projected.view.toward
    bend = np.einsum("ij,ij->i", surface.normals[panels], surface.normals[others])
    silhouette = facing[others] <= 0.0
    sharp = (bend < SHARP_EDGE_COSINE) & (panels < others)
    keep = (facing[panels] > 0.0) & (silhouette | sharp)
    panels, sides = panels[keep], sides[keep]
    ends = np.stack([sides, (sides + 1) % 3], axis=1)
    return surface.corners[panels[:, None], ends], panels


def visible_runs(projected: ProjectedView, points, panels=None, tolerance: float | None = None):
    """The parts of a line on the surface that can be seen in a view.

    Parameters
    ----------
    projected : ProjectedView
    points : (n, 3) float, m, joined by straight segments
    panels : (n - 1,) int, the panel on which each segment lies; segments on panels that face
        away are dropped. None when not known
    tolerance : float, m; what is further than this behind the visible surface is hidden;
        1 pixel by default

    Returns
    -------
    list of (n_k, 2) float arrays, m, in `View.plane_coordinates`
    """
    panels = None if panels is None else np.asarray(panels)
    return [run for _, run in visible_runs_of(projected, [points], [panels], tolerance)]


def visible_runs_of(projected: ProjectedView, lines, panels, tolerance: float | None = None):
    """The parts of many lines that can be seen, all at once.

    Parameters
    ----------
    projected, tolerance : see `visible_runs`
    lines : sequence of (n, 3) float arrays, m
    panels : sequence of (n - 1,) int arrays, or of None, one for each line

    Returns
    -------
    list of (number of the line, (n_k, 2) float array, m, in `View.plane_coordinates`)
    """
    lines = [np.asarray(line, dtype=float) for line in lines]
    counts = np.array([len(line) for line in lines], dtype=int)
    if counts.sum() - len(counts) <= 0:
        return []
    owners = np.full(counts.sum() - 1, -1)
    ends = np.cumsum(counts)
    for end, count, known in zip(ends, counts, panels, strict=True):
        if known is not None:
            owners[end - count : end - 1] = known
    joins = np.zeros(len(owners), dtype=bool)
    joins[ends[:-1] - 1] = True  # from the end of a line to the start of the next
    pieces, owners, segment = _cut_line(projected, np.vstack(lines), owners, joins)
    tolerance = 1.0 if tolerance is None else tolerance / projected.pixel
    seen = _visible(projected, 0.5 * (pieces[1:] + pieces[:-1]), owners, tolerance)
    seen &= ~joins[segment]
    padded = np.concatenate([[False], seen, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)
    plane = pieces[:, :2] * projected.pixel + projected.origin
    plane = plane * projected.view.signs
    line_of = np.searchsorted(ends, segment[change[:, 0]], side="right")
    return [(int(k), plane[a : b + 1]) for k, (a, b) in zip(line_of, change, strict=True)]


def _cut_line(projected, points, owners, whole):
    """Line in pixel units, cut into short pieces; owner and segment of each piece.

    Segments that `whole` names stay as they are.
    """
    pixels = projected.pixel_points(points)
    steps = np.linalg.norm(np.diff(pixels[:, :2], axis=0), axis=1)
    counts = np.where(whole, 1, np.maximum(1, np.ceil(steps / _PIECE).astype(int)))
    segment = np.repeat(np.arange(len(counts)), counts)
    place = np.arange(len(segment)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = (place / counts[segment])[:, None]
    cut = (1.0 - share) * pixels[segment] + share * pixels[segment + 1]
    return np.vstack([cut, pixels[-1:]]), owners[segment], segment


def _visible(projected, points, owners, tolerance):
    from panelcp.report._kernels import points_visible

    out = np.empty(len(points), dtype=bool)
    points_visible(
        np.ascontiguousarray(points),
        np.ascontiguousarray(owners, dtype=np.int64),
        projected.triangle_image,
        projected.pixel_corners,
        float(tolerance),
        out,
    )
    known = owners >= 0
    away = projected.surface.normals[owners] @ projected.view.toward <= 0.0
    return out & ~(known & away)
