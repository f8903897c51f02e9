"""The closed triangle surface that every later room takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelcp.display import block, counted, facts, number
from panelcp.errors import SurfaceError

UNNAMED = "unnamed"


def frozen_array(values, dtype=float) -> np.ndarray:
    """Copy of `values` that cannot be written to, row after row in memory.

    Another layout is another type to the compiler and would cost a second compilation.
    """
    array = np.array(values, dtype=dtype, order="C")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class SurfaceMesh:
    """Closed triangle surface of cowl and fuselage; one triangle is one panel.

    Attributes
    ----------
    vertices : (n_vertices, 3) float, m, body axes (x aft, y right, z up)
    triangles : (n_panels, 3) int, vertex indices, counter-clockwise seen from outside
    region_index : (n_panels,) int, index into `region_names`; all zero when not given
    region_names : names of the regions, the first usually "unnamed"
    mirrored : True where the second half of the triangles is the mirror image (y -> -y) of
        the first half, in the same order; the solver then works on one half
    notes : what was done to the surface since it was read, one line each

    Raises
    ------
    SurfaceError : wrong shapes, indices outside the vertices, values that are not finite

    Examples
    --------
    >>> corner = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> corner.n_panels, round(corner.volume, 6)
    (4, 0.166667)
    """

    vertices: np.ndarray
    triangles: np.ndarray
    region_index: np.ndarray | None = None
    region_names: Sequence[str] = (UNNAMED,)
    mirrored: bool = False
    notes: Sequence[str] = ()

    def __post_init__(self):
        vertices = _checked_vertices(self.vertices)
        triangles = _checked_triangles(self.triangles, len(vertices))
        regions = self.region_index
        if regions is None:
            regions = np.zeros(len(triangles), dtype=np.int64)
        regions = frozen_array(regions, np.int64)
        names = tuple(self.region_names)
        if regions.shape != (len(triangles),):
            raise SurfaceError(
                f"region_index has shape {regions.shape}; expected ({len(triangles)},), "
                "one per panel"
            )
        if len(regions) and not 0 <= regions.min() <= regions.max() < len(names):
            raise SurfaceError(
                f"region_index runs from {regions.min()} to {regions.max()}, but there are "
                f"{len(names)} region names"
            )
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "triangles", triangles)
        object.__setattr__(self, "region_index", regions)
        object.__setattr__(self, "region_names", names)
        object.__setattr__(self, "notes", tuple(self.notes))
        if self.mirrored:
            _check_mirrored(self)

    def __repr__(self):
        half = ", mirrored" if self.mirrored else ""
        panels, vertices = counted(self.n_panels, "panel"), counted(self.n_vertices, "point")
        return f"SurfaceMesh({panels}, {vertices}{half})"

    def _repr_html_(self) -> str:
        low, high = 1e3 * self.bounds
        length, width, height = (number(part, 3) for part in self.size)
        sides = np.linalg.norm(np.diff(self.corners[:, [0, 1, 2, 0]], axis=1), axis=2)
        least, median, greatest = 1e3 * np.quantile(sides, [0.0, 0.5, 1.0])
        spans = [
            f"{name} {number(start)} to {number(end)}"
            for name, start, end in zip(("STA", "BL", "WL"), low, high, strict=True)
        ]
        solved = "solved as a half" if self.mirrored else "solved as a whole"
        rows = [
            ("size", f"{length} m long, {width} m wide, {height} m high"),
            ("place", f"{', '.join(spans)} mm; the nose has the least station"),
            ("panels", f"{self.n_panels}, {self.n_solved} of them {solved}"),
            ("edges", f"{least:.1f} to {greatest:.0f} mm, median {median:.0f} mm"),
            ("area and volume", f"{number(self.area, 3)} m², {number(self.volume, 3)} m³"),
            ("regions", ", ".join(self.region_names)),
            *(("note", note) for note in self.notes),
        ]
        note = "Whether it is closed, outward and of one piece: check_surface."
        return block(facts("Surface", rows, note))

    @property
    def n_vertices(self) -> int:
        """Number of vertices."""
        return len(self.vertices)

    @property
    def n_panels(self) -> int:
        """Number of triangles, both halves counted."""
        return len(self.triangles)

    @property
    def n_solved(self) -> int:
        """Number of panels with an unknown of their own: half of them when mirrored."""
        return self.n_panels // 2 if self.mirrored else self.n_panels

    @cached_property
    def corners(self) -> np.ndarray:
        """(n_panels, 3, 3) float, m: corner, then coordinate."""
        return frozen_array(self.vertices[self.triangles])

    @cached_property
    def area_vectors(self) -> np.ndarray:
        """(n_panels, 3) float, m2: outward normal times area."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return frozen_array(0.5 * np.cross(b - a, c - a))

    @cached_property
    def areas(self) -> np.ndarray:
        """(n_panels,) float, m2."""
        return frozen_array(np.linalg.norm(self.area_vectors, axis=1))

    @cached_property
    def normals(self) -> np.ndarray:
        """(n_panels, 3) float, unit, outward."""
        return frozen_array(self.area_vectors / self.areas[:, None])

    @cached_property
    def centroids(self) -> np.ndarray:
        """(n_panels, 3) float, m."""
        return frozen_array(self.corners.mean(axis=1))

    @cached_property
    def area(self) -> float:
        """Wetted area, m2."""
        return float(self.areas.sum())

    @cached_property
    def volume(self) -> float:
        """Enclosed volume, m3; positive when the normals point outward."""
        return float((self.centroids * self.area_vectors).sum() / 3.0)

    @cached_property
    def bounds(self) -> np.ndarray:
        """(2, 3) float, m: least and greatest coordinates."""
        return frozen_array([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @cached_property
    def size(self) -> np.ndarray:
        """(3,) float, m: length, width, height."""
        return frozen_array(self.bounds[1] - self.bounds[0])

    @cached_property
    def edge_neighbours(self) -> np.ndarray:
        """(n_panels, 3) int: panel across the edge from corner k to corner k + 1.

        -1 where the edge belongs to this panel only, or to more than two.
        """
        return frozen_array(_edge_neighbours(self.triangles), np.int64)

    def region(self, name: str) -> np.ndarray:
        """(n_panels,) bool: the panels of one named region."""
        if name not in self.region_names:
            raise SurfaceError(
                f"no region is called {name!r}; there are: {', '.join(self.region_names)}"
            )
        return self.region_index == self.region_names.index(name)

    def scaled(self, factor: float) -> SurfaceMesh:
        """Copy with every coordinate multiplied by a positive factor."""
        if not factor > 0:
            raise SurfaceError(f"scale factor {factor} is not positive")
        return replace(self, vertices=self.vertices * factor)

    def translated(self, offset) -> SurfaceMesh:
        """Copy moved by `offset`, (3,) m; no longer mirrored if moved sideways."""
        offset = np.asarray(offset, dtype=float)
        keeps = self.mirrored and offset[1] == 0.0
        return replace(self, vertices=self.vertices + offset, mirrored=keeps)

    def rotated(self, rotation) -> SurfaceMesh:
        """Copy turned by a (3, 3) rotation matrix about the origin; no longer mirrored."""
        rotation = np.asarray(rotation, dtype=float)
        return replace(self, vertices=self.vertices @ rotation.T, mirrored=False)

    def with_regions(self, region_index, region_names) -> SurfaceMesh:
        """Copy with other region names."""
        return replace(self, region_index=region_index, region_names=tuple(region_names))

    def with_notes(self, *lines: str) -> SurfaceMesh:
        """Copy with further lines of history."""
        return replace(self, notes=(*self.notes, *lines))

    def unmirrored(self) -> SurfaceMesh:
        """Copy that is solved as a whole, without use of its symmetry."""
        return replace(self, mirrored=False)


def mirrored_whole(vertices, triangles, tolerance: float = 0.0, notes=()) -> SurfaceMesh:
    """Whole surface from the half with y >= 0: the half first, then its mirror image.

    Parameters
    ----------
    vertices : (n, 3) float, m; points within `tolerance` of y = 0 are put onto it and shared
    triangles : (n_half, 3) int
    tolerance : float, m
    notes : lines of history to carry

    Returns
    -------
    SurfaceMesh with 2 n_half panels and `mirrored` true
    """
    half = np.array(vertices, dtype=float)
    on_plane = np.abs(half[:, 1]) <= tolerance
    half[on_plane, 1] = 0.0
    triangles = np.asarray(triangles, dtype=np.int64)
    image_of = np.empty(len(half), dtype=np.int64)
    image_of[on_plane] = np.flatnonzero(on_plane)
    image_of[~on_plane] = len(half) + np.arange(np.count_nonzero(~on_plane))
    image = half[~on_plane] * [1.0, -1.0, 1.0]
    reversed_triangles = image_of[triangles][:, [0, 2, 1]]
    return SurfaceMesh(
        np.vstack([half, image]),
        np.vstack([triangles, reversed_triangles]),
        mirrored=True,
        notes=notes,
    )


def _checked_vertices(vertices) -> np.ndarray:
    array = np.asarray(vertices, dtype=float)
    if array.ndim != 2 or array.shape[1] != 3:
        hint = " It looks transposed." if array.ndim == 2 and array.shape[0] == 3 else ""
        raise SurfaceError(f"vertices has shape {array.shape}; expected (n_vertices, 3).{hint}")
    bad = ~np.isfinite(array).all(axis=1)
    if bad.any():
        raise SurfaceError(
            f"{np.count_nonzero(bad)} of {len(array)} vertices are not finite numbers "
            f"(first: vertex {np.flatnonzero(bad)[0]}); export the surface again"
        )
    return frozen_array(array)


def _checked_triangles(triangles, n_vertices: int) -> np.ndarray:
    array = np.asarray(triangles)
    if array.ndim != 2 or array.shape[1] != 3:
        raise SurfaceError(f"triangles has shape {array.shape}; expected (n_panels, 3)")
    if len(array) == 0:
        raise SurfaceError("the surface has no triangles")
    if not np.issubdtype(array.dtype, np.integer):
        raise SurfaceError(f"triangles must be whole numbers, not {array.dtype}")
    if array.min() < 0 or array.max() >= n_vertices:
        raise SurfaceError(
            f"triangles name vertices {array.min()} to {array.max()}, "
            f"but there are only 0 to {n_vertices - 1}"
        )
    return frozen_array(array, np.int64)


def _check_mirrored(surface: SurfaceMesh):
    n = surface.n_panels
    if n % 2:
        raise SurfaceError(f"a mirrored surface needs an even number of panels, not {n}")
    image = surface.vertices[surface.triangles[n // 2 :]] * [1.0, -1.0, 1.0]
    if not np.array_equal(image[:, [0, 2, 1]], surface.vertices[surface.triangles[: n // 2]]):
        raise SurfaceError(
            "mirrored is set, but the second half of the panels is not the mirror image of the "
            "first (corner order 0, 2, 1, y reversed)"
        )


def _edge_neighbours(triangles: np.ndarray) -> np.ndarray:
    n = len(triangles)
    starts = triangles.ravel()
    ends = triangles[:, [1, 2, 0]].ravel()
    # one number for each edge: sorting these is far faster than sorting pairs
    keys = np.minimum(starts, ends) * (triangles.max() + 1) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    starts_run = np.concatenate([[True], ~same])
    run = np.cumsum(starts_run) - 1
    length = np.bincount(run)
    first = np.flatnonzero(starts_run)[length == 2]
    neighbours = np.full(3 * n, -1, dtype=np.int64)
    neighbours[order[first]] = order[first + 1] // 3
    neighbours[order[first + 1]] = order[first] // 3
    return neighbours.reshape(n, 3)
