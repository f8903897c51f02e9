"""Signs that a closed surface is not the body that was meant: wrong axes, swapped ends, walls."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.rays import SkinFinder

IMPOSSIBLE_LENGTH = 0.5
"""A body shorter than this part of its width or height is refused: its axes are wrong."""

DOUBTFUL_LENGTH = 0.8
"""A body shorter than this part of its width or height is doubted."""

DOUBTFUL_ASYMMETRY = 0.05
"""Left and right that differ by more than this part of the width are doubted."""

DOUBTFUL_FULLNESS = 1.5
"""A last part this many times fuller than the first is doubted: a tractor is full in front."""

END = 0.30
"""Part of the length that is the first or the last part."""

WALL_REACH = 0.05
"""Part of the length, from the end, in which a flat wall is looked for."""

WALL_COSINE = np.cos(np.radians(10.0))
"""A wall's normal lies within 10 degrees of the axis."""

DOUBTFUL_WALL = 0.30
"""A wall behind of more than this part of the frontal area is doubted; twice that in front."""

FEW_PANELS = 500
"""Fewer solved panels than this are too coarse for any pressure."""

_LOOKED_AT = 500  # vertices farthest from any mirrored one, whose distance from the skin is found

WRONG_AXES = (
    "the axes of the file are probably not x aft, y right, z up; set axes in [surface], or --axes"
)


def surface_doubts(surface: SurfaceMesh) -> tuple[str, ...]:
    """What a person should settle before trusting a result on this surface.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward

    Returns
    -------
    One line for each doubt; none for a surface that raises no doubt

    Notes
    -----
    All limits are common practice, no source. A body upside down cannot be told.
    """
    lines = [
        *_proportions(surface),
        *_asymmetry(surface),
        *_ends(surface),
        *_coarseness(surface),
    ]
    return tuple(lines)


def require_lengthwise(vertices):
    """Refuse a body that is far longer across than along: its axes are not those of the program.

    Parameters
    ----------
    vertices : (n, 3) float, m, body axes

    Raises
    ------
    SurfaceError : the length is less than half of the width or of the height
    """
    size = np.ptp(np.asarray(vertices, dtype=float), axis=0)
    if size[0] < IMPOSSIBLE_LENGTH * size[1:].max():
        raise SurfaceError(_size_line(size))


def section_volume(surface: SurfaceMesh, start: float, end: float) -> float:
    """Volume, m3, of the body between two stations, m.

    The area of a section at x is the sum of -n_x dA over the skin ahead of x (a closed body);
    its integral counts each panel by the distance of its centroid from the end. Exact for panels
    that do not cross the two stations.

    Examples
    --------
    >>> corner = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> round(section_volume(corner, 0.0, 1.0), 6)
    0.166667
    """
    ahead = [np.maximum(station - surface.centroids[:, 0], 0.0) for station in (start, end)]
    return float(-surface.area_vectors[:, 0] @ (ahead[1] - ahead[0]))


def end_wall(surface: SurfaceMesh, sign: float) -> tuple[float, float]:
    """Flat skin at one end that stands across the axis.

    Parameters
    ----------
    surface : SurfaceMesh
    sign : 1.0 for the rear, -1.0 for the front

    Returns
    -------
    area : m2
    station : m, the mean of the wall; nan when there is none
    """
    low, high = surface.bounds[:, 0]
    end = high if sign > 0.0 else low
    wall = np.abs(surface.centroids[:, 0] - end) <= WALL_REACH * (high - low)
    wall &= sign * surface.normals[:, 0] >= WALL_COSINE
    if not wall.any():
        return 0.0, np.nan
    areas = surface.areas[wall]
    return float(areas.sum()), float(np.average(surface.centroids[wall, 0], weights=areas))


def _size_line(size: np.ndarray) -> str:
    length, width, height = size
    side, name = (width, "wide") if width >= height else (height, "high")
    return f"the body is {side:.3g} m {name} but only {length:.3g} m long: {WRONG_AXES}"


def _proportions(surface: SurfaceMesh) -> list[str]:
    size = surface.size
    return [_size_line(size)] if size[0] < DOUBTFUL_LENGTH * size[1:].max() else []


def _asymmetry(surface: SurfaceMesh) -> list[str]:
    """Distance of mirrored vertices from the skin, so that the pattern of panels counts nothing."""
    if surface.mirrored:
        return []
    width = float(surface.size[1])
    limit = DOUBTFUL_ASYMMETRY * width
    mirror = surface.vertices * [1.0, -1.0, 1.0]
    distances = cKDTree(surface.vertices).query(mirror)[0]
    lonely = np.argsort(-distances)[: min(_LOOKED_AT, np.count_nonzero(distances > limit))]
    finder = SkinFinder(surface)
    worst = max((finder.nearest(point)[2] for point in mirror[lonely]), default=0.0)
    if worst <= limit:
        return []
    return [
        f"left and right differ by up to {worst * 1e3:.0f} mm, {100 * worst / width:.0f} % of the "
        "width: the axes or the datum of the file are probably wrong (BL 0 is the middle)"
    ]


def _ends(surface: SurfaceMesh) -> list[str]:
    """Flat walls at the ends; without one, a body fuller behind than in front."""
    frontal = float(np.maximum(surface.area_vectors[:, 0], 0.0).sum())
    area, station = end_wall(surface, 1.0)
    if area > DOUBTFUL_WALL * frontal:
        return [
            f"the body ends in a flat wall of {area:.2g} m2 at STA {station * 1e3:.0f}: add the "
            "fuselage behind, or a fairing; the pressures near it are wrong"
        ]
    area, station = end_wall(surface, -1.0)
    if area > 2.0 * DOUBTFUL_WALL * frontal:
        return [
            f"the body begins with a flat wall of {area:.2g} m2 at STA {station * 1e3:.0f}: nose "
            "and tail may be swapped"
        ]
    low, high = surface.bounds[:, 0]
    part = END * (high - low)
    first, last = (section_volume(surface, x, x + part) for x in (low, high - part))
    if last > DOUBTFUL_FULLNESS * first:
        return ["fuller behind than in front: nose and tail may be swapped"]
    return []


def _coarseness(surface: SurfaceMesh) -> list[str]:
    count = surface.n_solved
    if count >= FEW_PANELS:
        return []
    return [f"only {count} panels: far too coarse; a few thousand are right"]
