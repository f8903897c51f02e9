"""Hatching: lines on the paper, cut to what shows of the chosen panels in a view.

The lines lie on the paper, not on the skin, so that their distance is the same everywhere and no
panel is outlined. What they may cover is read from the panel that each pixel shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.report.labels import Box

FREE, MAY_SEPARATE, SEPARATED, NOT_ENOUGH = 0, 1, 2, 3
"""Levels: no hatch; the air may separate here; it is separated; pressure does not suffice."""

SEPARATION_LEGEND = (
    (SEPARATED, "separated air: the pressure is a band"),
    (MAY_SEPARATE, "the air may separate here"),
)


@dataclass(frozen=True)
class Hatch:
    """Look of one hatch; lengths in points.

    Attributes
    ----------
    angle : degrees from the horizontal
    spacing : between two lines
    width : of a line
    dash, period : length of a dash and distance of two; equal for unbroken lines
    """

    angle: float
    spacing: float
    width: float
    dash: float = 1.0
    period: float = 1.0


HATCHES = {
    SEPARATED: Hatch(45.0, 2.6, 0.4),
    MAY_SEPARATE: Hatch(45.0, 3.2, 0.9, 0.9, 4.5),
    NOT_ENOUGH: Hatch(-45.0, 4.6, 0.4),
}
HATCH_INK, HATCH_STRENGTH = "#20272b", 0.75
HATCH_ORDER = 1.8
"""Above the coloured skin, below lines of equal value and marks."""
_FINEST = 0.12  # points, least distance of the places looked at along a line
_NUMBER_ROOM = 0.3  # points, free round a number
_USUAL_PIECES = 20_000
_MM = 1000.0


def checked_hatch(surface, hatched) -> np.ndarray | None:
    """`hatched` as (n_panels,) int, or None.

    Raises
    ------
    SurfaceError : wrong shape, or a level that is not known
    """
    if hatched is None:
        return None
    levels = np.asarray(hatched)
    if levels.shape != (surface.n_panels,):
        raise SurfaceError(
            f"hatched has shape {levels.shape}; expected ({surface.n_panels},), one level for "
            "each panel"
        )
    unknown = np.setdiff1d(levels, [FREE, *HATCHES])
    if len(unknown):
        raise SurfaceError(
            f"hatched has the unknown level {unknown[0]}; there are: {FREE} for no hatch, "
            f"{', '.join(map(str, sorted(HATCHES)))}"
        )
    return levels.astype(np.int64)


def draw_hatch(axes, paper, projected, levels: np.ndarray, numbers: Sequence[Box] = ()):
    """Hatch the panels of each level where they show.

    Parameters
    ----------
    axes, paper, projected, numbers : see `hatch_image`
    levels : (n_panels,) int
    """
    shown = np.unique(levels[projected.panel_pixels > 0])
    for level in shown[shown > FREE]:
        image = (levels == level)[projected.triangle_image] & projected.covered
        hatch_image(axes, paper, projected, image, int(level), numbers)


def hatch_image(axes, paper, projected, image: np.ndarray, level: int, numbers=()):
    """Hatch chosen pixels of a view.

    Parameters
    ----------
    axes : matplotlib Axes in mm
    paper : Paper of the axes
    projected : ProjectedView
    image : (height, width) bool, pixels of the view
    level : one of HATCHES
    numbers : boxes of numbers, points, which stay free
    """
    height, width = image.shape
    size = np.array([width, height]) * projected.pixel
    signs = projected.view.signs
    corners = np.array([projected.origin, projected.origin + size]) * signs
    corners = np.sort(paper.points(corners * _MM), axis=0)
    pixel = float(projected.pixel * _MM / np.abs(paper.per_point[0]))
    step = max(_FINEST, min(pixel, 0.25 * HATCHES[level].dash))
    start = (paper.start / _MM * signs - projected.origin) / projected.pixel
    per_point = paper.per_point / _MM * signs / projected.pixel
    box = Box(*corners.ravel())
    runs = hatch_runs(HATCHES[level], box, image, (start, per_point), step, numbers)
    axes.add_collection(_collection(HATCHES[level], paper.plane(runs)), autolim=False)


def hatch_runs(hatch: Hatch, box: Box, image, pixels, step: float, numbers=()) -> np.ndarray:
    """Straight pieces of hatch.

    Parameters
    ----------
    hatch : Hatch
    box : part of the paper that is looked at
    image : (height, width) bool, what the hatch covers; row 0 is the lowest
    pixels : two (2,) arrays: pixel of the corner of the paper, and pixels per point, to the right
        and up
    step : points, distance of the places looked at
    numbers : boxes that stay free

    Returns
    -------
    (n, 2, 2) float, points: both ends of every piece

    Notes
    -----
    Both ends of a piece are places that are inside, so no piece is longer than what it covers.
    Lines are counted from the corner of the paper: neighbouring parts have the same lines.
    """
    from panelcp.report._kernels import hatch_pieces

    turn = np.radians(hatch.angle)
    along, aside = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    corners = np.array([[x, y] for x in (box.left, box.right) for y in (box.bottom, box.top)])
    ways, offsets = corners @ along, corners @ aside
    lines = np.ceil(offsets.min() / hatch.spacing), np.floor(offsets.max() / hatch.spacing)
    places = np.floor(ways.min() / step), np.ceil(ways.max() / step)
    room = _NUMBER_ROOM * np.array([-1.0, -1.0, 1.0, 1.0])
    free = [np.add([n.left, n.bottom, n.right, n.top], room) for n in numbers]
    given = (
        np.ascontiguousarray(image, dtype=np.bool_),
        np.concatenate(pixels).astype(float),
        np.array([box.left, box.bottom, box.right, box.top], dtype=float),
        np.reshape(np.array(free, dtype=float), (-1, 4)),
        np.array([*along, *aside, hatch.spacing, step, hatch.dash, hatch.period]),
        np.array([*lines, *places], dtype=np.int64),
    )
    pieces = np.empty((_USUAL_PIECES, 2, 2))
    count = hatch_pieces(*given, pieces)
    if count > len(pieces):
        pieces = np.empty((count, 2, 2))
        hatch_pieces(*given, pieces)
    return pieces[:count]


def _collection(hatch, segments, **options):
    from matplotlib.collections import LineCollection

    return LineCollection(
        segments,
        colors=HATCH_INK,
        alpha=HATCH_STRENGTH,
        linewidths=hatch.width,
        capstyle="butt",
        zorder=HATCH_ORDER,
        **options,
    )


def hatch_swatch(figure, box, level: int):
    """Draw a small framed piece of a hatch onto a page; box: left, bottom, width, height, inch."""
    from matplotlib.patches import Rectangle

    left, bottom, width, height = box
    inch = figure.dpi_scale_trans
    frame = {"facecolor": "#dfe3e4", "edgecolor": "#59636a", "linewidth": 0.5, "zorder": 1.0}
    figure.add_artist(Rectangle((left, bottom), width, height, transform=inch, **frame))
    area = Box(*(72.0 * np.array([left, bottom, left + width, bottom + height])).tolist())
    hatch = HATCHES[level]
    everywhere = (np.full(2, 0.5), np.zeros(2))
    runs = hatch_runs(hatch, area, np.ones((1, 1), dtype=bool), everywhere, _FINEST)
    figure.add_artist(_collection(hatch, runs / 72.0, transform=inch))
