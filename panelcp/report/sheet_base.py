"""What all map sheets of a run have in common, drawn once; and the sheet of each condition.

Frames, numbers at the axes, notice and marks are the same for all conditions. They are drawn once
into pixels; of each condition only title, colours, lines, hatches and colour bar are drawn, onto
the frames and below the marks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelcp.report.colours import PressureScale
from panelcp.report.isolines import iso_lines
from panelcp.report.labels import Box
from panelcp.report.maps import (
    PAGE,
    bare_axes,
    draw_colour_bar,
    draw_frame,
    draw_marks,
    draw_values,
    figure_pixels,
    projected_of,
    seen_range,
    span_of,
    transparent_pixels,
)
from panelcp.report.pages import (
    Frame,
    arranged,
    page_frame,
    share_of_page,
    title_lines,
    write_notice,
    write_title,
)
from panelcp.report.projection import ProjectedView

_NOT_LOOK = ("backend", "toolbar", "interactive", "timezone", "datapath", "webagg", "savefig")


@contextmanager
def own_look() -> Iterator[None]:
    """Draw with matplotlib's first settings, whatever the user's, and formulas as plain text."""
    from matplotlib import rc_context, rcParamsDefault

    look = {
        name: value
        for name, value in rcParamsDefault.items()
        if not name.startswith((*_NOT_LOOK, "backend_"))
    }
    with rc_context({**look, "text.parse_math": False}):
        yield


@dataclass(frozen=True, eq=False)
class SheetBase:
    """Frames and marks of the sheets of one run.

    Attributes
    ----------
    views : ProjectedView of each view
    with_marks : bool, whether the axes have room for labels
    size : (2,) float, inch
    dots_per_inch : int
    cells, bar : boxes of the views and of the colour bar, inch
    taken : boxes in points that marks take, for each view
    ground : (height, width, 3) uint8, page with frames and notice
    marks : (height, width, 4) uint8, marks on nothing
    """

    views: tuple[ProjectedView, ...]
    with_marks: bool
    size: tuple[float, float]
    dots_per_inch: int
    cells: list[Frame]
    bar: Frame
    taken: list[list[Box]]
    ground: np.ndarray
    marks: np.ndarray

    @cached_property
    def _mark_pixels(self):
        """Rows and columns of the pixels with marks; their colour, and the share covered."""
        rows, columns = np.nonzero(self.marks[..., 3])
        found = self.marks[rows, columns].astype(float)
        return rows, columns, found[:, :3], found[:, 3:] / 255.0

    def with_marks_on(self, pixels: np.ndarray) -> np.ndarray:
        """The pixels (height, width, 3) uint8 of a sheet, with the marks drawn onto them."""
        rows, columns, colour, share = self._mark_pixels
        below = pixels[rows, columns]
        pixels[rows, columns] = np.rint(below + share * (colour - below)).astype(np.uint8)
        return pixels


def sheet_base(
    surface,
    views: Sequence,
    markers: Sequence = (),
    *,
    titles: Sequence[str] = ("",),
    notice: str = "",
    legend: Sequence[tuple[int, str]] = (),
    size: tuple[float, float] = PAGE,
    dots_per_inch: int = 150,
) -> SheetBase:
    """Draw what all sheets have in common.

    Parameters
    ----------
    surface, views, markers, notice, size : see `pressure_figure`
    titles : of all sheets: the longest sets the room for titles
    legend : (level, words) of the hatches that occur on any sheet
    dots_per_inch : int

    Returns
    -------
    SheetBase
    """
    from matplotlib.figure import Figure

    projected = tuple(projected_of(surface, view) for view in views)
    with_marks = bool(markers)
    n_lines = max(len(title_lines(title, size[0])) for title in titles)
    page = page_frame(size, n_lines, notice, bool(legend))
    cells, bar = arranged([span_of(view, with_marks) for view in projected], page)
    ground, marks = Figure(figsize=size, facecolor="white"), Figure(figsize=size, frameon=False)
    write_notice(ground, notice, legend)
    taken = []
    for view, cell in zip(projected, cells, strict=True):
        place = share_of_page(cell, size)
        draw_frame(ground.add_axes(place), view, with_marks)
        axes = marks.add_axes(place)
        bare_axes(axes, view, with_marks)
        taken.append(draw_marks(axes, view, markers))
    return SheetBase(
        projected,
        with_marks,
        size,
        dots_per_inch,
        cells,
        bar,
        taken,
        figure_pixels(ground, dots_per_inch),
        transparent_pixels(marks, dots_per_inch),
    )


def sheet_pixels(
    base: SheetBase, values: np.ndarray, scale: PressureScale, title: str = "", hatched=None
) -> np.ndarray:
    """The sheet of one condition, as `pressure_figure` would draw it.

    Parameters
    ----------
    base : SheetBase
    values : (n_panels, 3) float
    scale : PressureScale
    title : str
    hatched : (n_panels,) int, see `draw_pressure_map`, or None

    Returns
    -------
    (height, width, 3) uint8, uppermost row first
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=base.size, frameon=False)
    write_title(figure, title)
    lines = iso_lines(base.views[0].surface, values, scale.levels)
    for view, cell, taken in zip(base.views, base.cells, base.taken, strict=True):
        axes = figure.add_axes(share_of_page(cell, base.size))
        bare_axes(axes, view, base.with_marks)
        draw_values(axes, view, values, scale, lines, taken, hatched)
    low, high = seen_range(base.views, values)
    draw_colour_bar(figure.add_axes(share_of_page(base.bar, base.size)), scale, low, high)
    return base.with_marks_on(figure_pixels(figure, base.dots_per_inch, base.ground))
