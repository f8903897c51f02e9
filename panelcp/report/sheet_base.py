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
    RESOLUTION,
    arranged_views,
    draw_colour_bar,
    draw_edges,
    draw_frame,
    draw_marks,
    draw_values,
    fitted_view,
    new_renderer,
    seen_range,
    transparent_pixels,
)
from panelcp.report.pages import (
    Frame,
    page_frame,
    share_of_page,
    title_lines,
    write_notice,
    write_title,
)
from panelcp.report.projection import OVERSAMPLING, ProjectedView

_MM = 1000.0
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
class Layer:
    """Drawing on nothing, of which few pixels are covered.

    Attributes
    ----------
    rows, columns : (n,) int, the pixels
    colour : (n, 3) int, already times the share
    rest : (n, 1) int, what of 255 is left of the pixel below
    """

    rows: np.ndarray
    columns: np.ndarray
    colour: np.ndarray
    rest: np.ndarray

    @classmethod
    def of(cls, pixels: np.ndarray) -> Layer:
        """Of a drawing (height, width, 4) uint8 without paper."""
        rows, columns = np.nonzero(pixels[..., 3])
        found = pixels[rows, columns].astype(np.int32)
        return cls(rows, columns, found[:, :3] * found[:, 3:], 255 - found[:, 3:])

    def lay_on(self, page: np.ndarray):
        """Draw it onto a page (height, width, 3 or more) uint8, which is changed."""
        below = page[self.rows, self.columns, :3].astype(np.int32)
        page[self.rows, self.columns, :3] = (self.colour + self.rest * below + 127) // 255


@dataclass(frozen=True, eq=False)
class SheetBase:
    """Frames and marks of the sheets of one run.

    Attributes
    ----------
    views : ProjectedView of each view, their pixels on the dots of the page
    size : (2,) float, inch
    dots_per_inch : int
    cells, bar : boxes of the views and of the colour bar, inch
    limits : of the axes of each view: (across, up), mm
    places : column and row of the page at the upper left corner of each view's picture
    taken : boxes in points that marks take, for each view
    ground : (height, width, 4) uint8, page with frames and notice
    edges, marks : Layer of the edges of the body, above its colours, and of marks, above all
    """

    views: tuple[ProjectedView, ...]
    size: tuple[float, float]
    dots_per_inch: int
    cells: list[Frame]
    bar: Frame
    limits: list[tuple]
    places: list[tuple[int, int]]
    taken: list[list[Box]]
    ground: np.ndarray
    edges: Layer
    marks: Layer

    @cached_property
    def renderer(self):
        """What draws all sheets, one after another."""
        return new_renderer(self.size, self.dots_per_inch)

    @cached_property
    def _figure(self):
        from matplotlib.figure import Figure

        figure = Figure(figsize=self.size, frameon=False)
        for cell, limits in zip(self.cells, self.limits, strict=True):
            _bare_axes(figure, share_of_page(cell, self.size), limits)
        return figure

    def empty_figure(self):
        """A page with bare axes for every view, the same one for all sheets, emptied."""
        figure, n_views = self._figure, len(self.views)
        for bar in figure.axes[n_views:]:
            bar.remove()
        for axes in figure.axes:
            for artist in (*axes.collections, *axes.lines, *axes.texts):
                artist.remove()
        for text in tuple(figure.texts):
            text.remove()
        return figure


def sheet_base(
    surface,
    views: Sequence,
    markers: Sequence = (),
    *,
    titles: Sequence[str] = ("",),
    notice: str = "",
    legend: Sequence[tuple[int, str]] = (),
    size: tuple[float, float] = PAGE,
    dots_per_inch: int = RESOLUTION,
) -> SheetBase:
    """Draw what all sheets have in common.

    Parameters
    ----------
    surface, markers, notice, size : see `pressure_figure`
    views : sequence of view names or View
    titles : of all sheets: the longest sets the room for titles
    legend : (level, words) of the hatches that occur on any sheet
    dots_per_inch : int

    Returns
    -------
    SheetBase
    """
    from matplotlib.figure import Figure

    n_lines = max(len(title_lines(title, size[0])) for title in titles)
    page = page_frame(size, n_lines, notice, bool(legend))
    found = arranged_views(surface, views, page, bool(markers), dots_per_inch)
    ground = Figure(figsize=size, facecolor="white")
    edges, marks = (Figure(figsize=size, frameon=False) for _ in range(2))
    write_notice(ground, notice, legend)
    projected, limits, taken = [], [], []
    for view, cell in zip(views, found.cells, strict=True):
        place = share_of_page(cell, size)
        axes = ground.add_axes(place)
        fitting = (surface, view, bool(markers), found.scale, dots_per_inch)
        projected.append(fitted_view(axes, *fitting))
        draw_frame(axes, projected[-1])
        limits.append((axes.get_xlim(), axes.get_ylim()))
        draw_edges(_bare_axes(edges, place, limits[-1]), projected[-1])
        taken.append(draw_marks(_bare_axes(marks, place, limits[-1]), projected[-1], markers))
    height = int(size[1] * dots_per_inch)
    return SheetBase(
        tuple(projected),
        size,
        dots_per_inch,
        found.cells,
        found.bar,
        limits,
        [
            _picture_place(view, cell, limit, dots_per_inch, height)
            for view, cell, limit in zip(projected, found.cells, limits, strict=True)
        ],
        taken,
        transparent_pixels(ground, dots_per_inch).copy(),
        Layer.of(transparent_pixels(edges, dots_per_inch)),
        Layer.of(transparent_pixels(marks, dots_per_inch)),
    )


def _bare_axes(figure, place, limits):
    """Axes of given limits without frame and numbers; to draw onto a frame."""
    axes = figure.add_axes(place)
    axes.set(xlim=limits[0], ylim=limits[1], aspect="equal")
    axes.set_axis_off()
    return axes


def _picture_place(view, cell, limits, dots_per_inch, height) -> tuple[int, int]:
    """Column and row of the page at the upper left corner of the picture of a view."""
    corner = np.array([limits[0][0], limits[1][0]]) / _MM * view.view.signs
    inside = (view.origin - corner) / (view.pixel * OVERSAMPLING)
    column, row = np.rint(inside + np.array(cell[:2]) * dots_per_inch).astype(int)
    return int(column), int(height - row - view.triangle_image.shape[0] // OVERSAMPLING)


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
    (height, width, 4) uint8, uppermost row first: red, green, blue and 255. The next sheet of
    the same base is drawn into the same array: write it, or copy it, before
    """
    from panelcp.report._kernels import lay_over

    page = np.asarray(base.renderer.buffer_rgba())
    page[:] = base.ground
    figure = base.empty_figure()
    write_title(figure, title)
    lines = iso_lines(base.views[0].surface, values, scale.levels)
    for k, (view, axes) in enumerate(zip(base.views, tuple(figure.axes), strict=True)):
        lay_over(page, view.picture(values, scale.limit, scale.colour_table), *base.places[k])
        draw_values(axes, view, scale, lines, base.taken[k], hatched)
    base.edges.lay_on(page)
    low, high = seen_range(base.views, values)
    draw_colour_bar(figure.add_axes(share_of_page(base.bar, base.size)), scale, low, high)
    transparent_pixels(figure, base.dots_per_inch, base.renderer)
    base.marks.lay_on(page)
    return page
