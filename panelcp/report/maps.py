"""Static pressure maps: a view of the surface in colour, with lines, marks and a scale.

The picture is made pixel by pixel from a depth buffer; everything else is drawn by
matplotlib as lines and text. Axes are marked in the drawing coordinates STA, BL and WL in mm.
Work that depends on the surface and the view only is kept in a `ProjectedView`, which may be
given in place of the view and so serves all conditions. In files for printing (PDF, SVG) the
coloured skin is one picture, and all else stays lines and text.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path, PurePath
from weakref import WeakKeyDictionary

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.report.colours import PressureScale, pressure_scale
from panelcp.report.hatching import SEPARATION_LEGEND, checked_hatch, draw_hatch
from panelcp.report.isolines import IsoLine, checked_corner_values, iso_lines
from panelcp.report.labels import (
    Box,
    Paper,
    label_places,
    number_place,
    steps,
    text_size,
    without_gap,
)
from panelcp.report.pages import (
    FONT,
    INK,
    MARK_MARGINS,
    PLAIN_MARGINS,
    Arrangement,
    arranged,
    page_frame,
    share_of_page,
    title_lines,
    write_notice,
    write_title,
)
from panelcp.report.projection import (
    OVERSAMPLING,
    VIEWS,
    ProjectedView,
    View,
    body_box,
    project_view,
    view_named,
    visible_runs,
    visible_runs_of,
)

__all__ = [
    "VIEWS",
    "IsoLine",
    "Marker",
    "ProjectedView",
    "View",
    "draw_colour_bar",
    "draw_pressure_map",
    "iso_lines",
    "pressure_figure",
    "project_view",
    "write_picture",
    "write_pressure_map",
]

PAGE = (11.69, 8.27)
"""inch, width and height of a page: a sheet of paper on its side, ISO 216 size A4."""
SHEET_VIEWS = ("left", "top", "bottom", "front", "three-quarter")
RESOLUTION = 300
"""Dots per inch of the coloured skin, and of pictures."""
FORMATS = (".png", ".pdf", ".svg")
_MM, _INCH = 1000.0, 25.4  # mm
_AXIS_LABELS = ("STA mm", "BL mm", "WL mm")
_EDGE_INK = "#59636a"
_PALE = "#e7e9ea"
_NUMBER_FONT = 5.5  # points: numbers on lines
_LEVEL_WIDTH, _ZERO_WIDTH = 0.5, 1.4  # points
_DASHES = (0, (7.0, 4.0))
_MOST_MARGIN = 0.16  # of the frame, each side, in frames that are small
_TICK_ROOM, _MOST_TICKS = 0.32, 12  # inch, between two numbers at an axis
_BAR_LENGTH, _BAR_SHARE = 86.0, 0.3  # points and share of the frame: longest scale bar
_BAR_STEP = 12.0  # points, from one scale bar to the next
_VISIBLE_SHARE = 0.3  # of an outline, from which its mark is drawn
_MARK_DEPTH = 0.01  # of the longest side: how far an outline may dive under the skin
_NUMBERS_PER_LEVEL = 2
_PACKING = 3  # of zlib
_LABEL_PADDING = 4.0  # points, of the box round a label
ACROSS_SIGHT = "; bars: square to the line of sight"
# Colour and line width in points of each kind of mark.
MARKER_STYLES = {
    "inlet": ("#1f2a8c", 1.5),
    "exit": ("#8a1253", 1.5),
    "best": ("#000000", 2.2),
    "other": ("#3d464b", 1.0),
    "suspect": ("#b3261e", 0.8),
}


@dataclass(frozen=True, eq=False)
class Marker:
    """Outline to draw on the skin, with a label beside it.

    Any object with these attributes will do.

    Attributes
    ----------
    outline : (n, 3) float, m, points on the skin, closed by the drawing
    label : str
    style : str, one of MARKER_STYLES
    """

    outline: np.ndarray
    label: str
    style: str = "other"


def draw_pressure_map(
    axes,
    surface,
    corner_values,
    view: str | View | ProjectedView,
    scale: PressureScale,
    markers: Sequence = (),
    draw_lines: bool = True,
    lines: Sequence[IsoLine] | None = None,
    hatched=None,
):
    """Draw one view of a surface, coloured by pressure, into a matplotlib Axes.

    Parameters
    ----------
    axes : matplotlib Axes; its limits are set here, with an equal aspect
    surface : SurfaceMesh, the whole body
    corner_values : (n_panels, 3) float, Cp or Pa at the three corners of each panel, linear
        over the panel; may jump from panel to panel at sharp edges
    view : name of a view, a View, or a ProjectedView of this surface made before
    scale : PressureScale
    markers : sequence of Marker or alike; hidden where they lie on the far side
    draw_lines : bool, lines at the levels of the scale: suction dashed, pressure solid, zero
        thick, some with numbers
    lines : what `iso_lines` gives for these values and levels, when it is known already
    hatched : (n_panels,) int, 2 where the air is separated, 1 where it may be, 0 elsewhere; the
        visible parts of those panels are hatched, densely or with dots

    Returns
    -------
    the Axes

    Raises
    ------
    FlowError : wrong shape of `corner_values`, or numbers that are not finite
    SurfaceError : unknown view or style of mark, a ProjectedView of another surface, wrong shape
        or unknown levels of `hatched`
    """
    values = checked_corner_values(surface, corner_values)
    hatched = checked_hatch(surface, hatched)
    projected = fitted_view(axes, surface, view, bool(markers))
    if lines is None:
        lines = iso_lines(surface, values, scale.levels) if draw_lines else ()
    _draw_view(axes, projected, values, scale, markers, lines, hatched)
    return axes


def _draw_view(axes, projected, values, scale, markers, lines, hatched):
    draw_frame(axes, projected)
    taken = draw_marks(axes, projected, markers)
    picture = projected.picture(values, scale.limit, scale.colour_table)
    draw_picture(axes, projected, picture)
    draw_values(axes, projected, scale, lines, taken, hatched)


def draw_marks(axes, projected: ProjectedView, markers: Sequence) -> list[Box]:
    """Draw scale bars and marks of one view; the boxes that they take, in points."""
    boxes = _draw_scale_bars(axes, projected)
    return boxes + _draw_markers(axes, projected, markers, boxes)


def draw_values(axes, projected, scale, lines, taken, hatched=None):
    """Draw lines with numbers and hatches, which change from condition to condition.

    Parameters
    ----------
    axes : matplotlib Axes whose limits are set, see `fitted_view`
    projected : ProjectedView
    scale : PressureScale
    lines : sequence of IsoLine
    taken : boxes in points that numbers leave free, as `draw_marks` gives them
    hatched : (n_panels,) int, or None
    """
    paper = Paper.of(axes)
    numbers = draw_iso_lines(axes, paper, projected, lines, scale.text, taken)
    if hatched is not None:
        draw_hatch(axes, paper, projected, hatched, numbers)


def draw_colour_bar(axes, scale: PressureScale, low: float, high: float):
    """Draw the part of the colour scale that occurs, with the lines as they are on the map.

    Parameters
    ----------
    axes : matplotlib Axes, narrow and tall
    scale : PressureScale
    low, high : float, least and greatest value that occur

    Returns
    -------
    the Axes
    """
    low, high = _bar_range(scale, low, high)
    values = np.linspace(low, high, 512)
    table = scale.colour_table
    place = (values / scale.limit + 1.0) * 0.5 * len(table)
    colours = table[np.clip(place.astype(int), 0, len(table) - 1)]
    axes.imshow(colours[:, None], extent=(0, 1, low, high), origin="lower", aspect="auto")
    shown = [level for level in scale.levels if low - 1e-9 <= level <= high + 1e-9]
    for level in shown:
        width, dashes = line_style(level)
        axes.plot([0, 1], [level, level], color=INK, lw=width, ls=dashes, solid_capstyle="butt")
    axes.set(xlim=(0, 1), ylim=(low, high), xticks=[])
    axes.set_yticks(shown, [scale.text(level) for level in shown])
    axes.yaxis.tick_right()
    axes.tick_params(labelsize=FONT, length=2.0, width=0.5, color=_EDGE_INK, pad=2.0)
    axes.spines[:].set(linewidth=0.5, color=_EDGE_INK)
    axes.set_title(scale.label, fontsize=FONT + 1.0, pad=4.0, y=1.0)
    return axes


def pressure_figure(
    surface,
    corner_values,
    views: Sequence = SHEET_VIEWS,
    *,
    scale: PressureScale | None = None,
    markers: Sequence = (),
    title: str = "",
    notice: str = "",
    draw_lines: bool = True,
    size: tuple[float, float] = PAGE,
    hatched=None,
    dots_per_inch: int = RESOLUTION,
):
    """Several views of one condition on one page, all to the same scale.

    Parameters
    ----------
    surface, corner_values, markers, draw_lines, hatched : see `draw_pressure_map`
    views : sequence of view names, View or ProjectedView
    scale : PressureScale; made from these values when None
    title : str, the condition
    notice : str, one or two lines at the bottom of the page
    size : (2,) float, inch, width and height of the page
    dots_per_inch : int, of the coloured skin; sharpest when the picture is written with the same

    Returns
    -------
    matplotlib Figure, not connected to any screen; see `write_picture`
    """
    from matplotlib.figure import Figure

    values = checked_corner_values(surface, corner_values)
    hatched = checked_hatch(surface, hatched)
    scale = pressure_scale(values) if scale is None else scale
    lines = iso_lines(surface, values, scale.levels) if draw_lines else ()
    figure = Figure(figsize=size, facecolor="white")
    legend = legend_of(hatched)
    page = page_frame(size, len(title_lines(title, size[0])), notice, bool(legend))
    write_title(figure, title)
    write_notice(figure, notice, legend)
    places = arranged_views(surface, views, page, bool(markers), dots_per_inch)
    projected = []
    for view, cell in zip(views, places.cells, strict=True):
        axes = figure.add_axes(share_of_page(cell, size))
        found = fitted_view(axes, surface, view, bool(markers), places.scale, dots_per_inch)
        _draw_view(axes, found, values, scale, markers, lines, hatched)
        projected.append(found)
    low, high = seen_range(projected, values)
    draw_colour_bar(figure.add_axes(share_of_page(places.bar, size)), scale, low, high)
    return figure


def legend_of(*hatched) -> tuple[tuple[int, str], ...]:
    """(level, words) of the hatches that occur in arrays of levels, or None."""
    occurring = [np.unique(levels) for levels in hatched if levels is not None]
    return tuple(
        (level, words)
        for level, words in SEPARATION_LEGEND
        if any(level in levels for levels in occurring)
    )


def write_pressure_map(
    path: str | PathLike,
    surface,
    corner_values,
    view: str | View | ProjectedView = "left",
    *,
    size: tuple[float, float] = (7.0, 4.5),
    dots_per_inch: int = RESOLUTION,
    **options,
):
    """Write one view as a picture (.png) or as a drawing with a picture inside (.pdf, .svg).

    Parameters
    ----------
    path : of the file; its ending says which
    surface, corner_values, view : see `draw_pressure_map`
    size : (2,) float, inch
    dots_per_inch : int, of the picture, or of the coloured skin in a drawing, where lines, marks
        and text have no dots
    options : as for `pressure_figure`

    Raises
    ------
    SurfaceError : another ending; and what `draw_pressure_map` raises
    """
    ending = checked_ending(path)
    figure = pressure_figure(
        surface, corner_values, (view,), size=size, dots_per_inch=dots_per_inch, **options
    )
    if ending == ".png":
        write_picture(path, figure, dots_per_inch)
    else:
        write_drawing(path, figure, dots_per_inch)


def checked_ending(path: str | PathLike) -> str:
    """The ending of a map's file, one of FORMATS.

    >>> checked_ending("left.PDF")
    '.pdf'
    """
    ending = PurePath(path).suffix.lower()
    if ending not in FORMATS:
        raise SurfaceError(
            f"{PurePath(path).name}: maps are not written as {ending or 'a file without ending'}; "
            f"the name must end in one of: {', '.join(FORMATS)}"
        )
    return ending


def write_drawing(path: str | PathLike, figure, dots_per_inch: int = RESOLUTION):
    """Write a figure as PDF or SVG with readable text: same figure, same bytes.

    Parameters
    ----------
    path : of the file, .pdf or .svg
    figure : matplotlib Figure
    dots_per_inch : int, of the pictures inside
    """
    from matplotlib import rc_context

    ending = checked_ending(path)
    settings = {"pdf.fonttype": 42, "svg.fonttype": "none", "svg.hashsalt": "panelcp"}
    nameless = {".pdf": ("Creator", "Producer", "CreationDate"), ".svg": ("Creator", "Date")}
    with rc_context(settings):
        figure.savefig(
            path,
            format=ending[1:],
            dpi=dots_per_inch,
            metadata=dict.fromkeys(nameless.get(ending, ())),
        )


def write_picture(path: str | PathLike, picture, dots_per_inch: int = 150):
    """Write PNG, without date or name of a program: same picture, same bytes.

    Parameters
    ----------
    path : of the file
    picture : matplotlib Figure, or (height, width, 3) uint8 with the uppermost row first
    dots_per_inch : of a figure; of an array that with which it was made
    """
    if not isinstance(picture, np.ndarray):
        picture = figure_pixels(picture, dots_per_inch)
    Path(path).write_bytes(png_bytes(picture, dots_per_inch))


def png_bytes(pixels: np.ndarray, dots_per_inch: int) -> bytes:
    """A picture as PNG.

    Parameters
    ----------
    pixels : (height, width, 3 or 4) uint8, uppermost row first; a fourth value is left out
    dots_per_inch : int

    Notes
    -----
    Every row is stored as its difference from its neighbours, and packed quickly: of maps that
    takes a third of the time of the usual choice among filters, and 8 % more room. PNG: ISO/IEC
    15948 (2004), filter 4; from memory, checked by reading.
    """
    from panelcp.report._kernels import rows_less_neighbours

    height, width = pixels.shape[:2]
    rows = np.empty((height, 3 * width + 1), dtype=np.uint8)
    rows_less_neighbours(np.ascontiguousarray(pixels), rows)
    packing = zlib.compressobj(_PACKING, zlib.DEFLATED, 15, 9)
    packed = packing.compress(rows) + packing.flush()
    per_metre = round(dots_per_inch / 0.0254)
    blocks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
        (b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),
        (b"IDAT", packed),
        (b"IEND", b""),
    )
    found = [b"\x89PNG\r\n\x1a\n"]
    for name, data in blocks:
        check = zlib.crc32(data, zlib.crc32(name))
        found.append(struct.pack(">I", len(data)) + name + data + struct.pack(">I", check))
    return b"".join(found)


def figure_pixels(figure, dots_per_inch: int) -> np.ndarray:
    """Draw a figure into pixels.

    Parameters
    ----------
    figure : matplotlib Figure
    dots_per_inch : int

    Returns
    -------
    (height, width, 3) uint8, uppermost row first
    """
    return transparent_pixels(figure, dots_per_inch)[..., :3].copy()


def transparent_pixels(figure, dots_per_inch: int, renderer=None) -> np.ndarray:
    """(height, width, 4) uint8: a figure, with how much each pixel is covered.

    A renderer that is given is drawn onto, and its own pixels are handed back.
    """
    figure.set_dpi(dots_per_inch)
    if renderer is None:
        renderer = new_renderer(figure.get_size_inches(), dots_per_inch)
    figure.draw(renderer)
    return np.asarray(renderer.buffer_rgba())


def new_renderer(size, dots_per_inch: int):
    """What draws into pixels, for a page of a size (2,) in inch."""
    from matplotlib.backends.backend_agg import RendererAgg

    width, height = (int(side * dots_per_inch) for side in size)
    return RendererAgg(width, height, dots_per_inch)


def direction_of(surface, view: str | View | ProjectedView) -> View:
    """The direction of a view; a ProjectedView must be of this surface."""
    if not isinstance(view, ProjectedView):
        return view_named(view)
    if view.surface is not surface:
        raise SurfaceError(
            f"the projected view {view.view.name!r} belongs to another surface; "
            "call project_view with this one"
        )
    return view.view


def arranged_views(surface, views, page, with_marks: bool, dots_per_inch: int) -> Arrangement:
    """Where the views of a surface go on a page; see `arranged`."""
    found = [direction_of(surface, view) for view in views]
    bodies = [np.ptp(body_box(surface, view), axis=1) for view in found]
    upward = [None if view.axes is None else view.axes[1] for view in found]
    margins = MARK_MARGINS if with_marks else PLAIN_MARGINS
    return arranged(bodies, page, margins, upward, dots_per_inch)


def fitted_view(
    axes,
    surface,
    view: str | View | ProjectedView,
    with_marks: bool,
    scale: float | None = None,
    dots_per_inch: int = RESOLUTION,
) -> ProjectedView:
    """Set the limits of axes, so that a view fits into them with room for labels and scale bars.

    Parameters
    ----------
    axes : matplotlib Axes
    surface, view : see `draw_pressure_map`
    with_marks : bool, whether labels need room
    scale : inch per m; None takes the largest that fits
    dots_per_inch : int

    Returns
    -------
    ProjectedView: the one given, or one whose pixels lie on the dots of the paper
    """
    direction = direction_of(surface, view)
    margins = MARK_MARGINS if with_marks else PLAIN_MARGINS
    corner, scale = _set_limits(axes, body_box(surface, direction), direction, margins, scale)
    if isinstance(view, ProjectedView):
        return view
    pixel = 1.0 / (scale * dots_per_inch * OVERSAMPLING)
    return project_view(surface, direction, pixel, corner)


def _set_limits(axes, box, view, margins, scale):
    """Lower left corner, m to the right and up, and the scale, inch per m."""
    place = axes.get_position(original=True)
    frame = axes.figure.get_size_inches() * [place.width, place.height]
    low, high = box.T
    side = min(margins.side, _MOST_MARGIN * frame[0])
    above, below = np.minimum([margins.above, margins.below], _MOST_MARGIN * frame[1])
    if scale is None:
        scale = float(np.min((frame - [2.0 * side, above + below]) / (high - low)))
    spare = frame / scale - (high - low)
    corner = low - np.array([0.5 * spare[0], 0.5 * (spare[1] + (below - above) / scale)])
    limits = np.stack([corner, corner + frame / scale]) * view.signs * _MM
    axes.set(xlim=limits[:, 0], ylim=limits[:, 1], aspect="equal")
    return corner, scale


def seen_panels(projected) -> np.ndarray:
    """(n_panels,) bool: panels that show in at least one view."""
    return np.any([view.panel_pixels > 0 for view in projected], axis=0)


def seen_range(projected, values):
    """Least and greatest value at a corner of a panel that shows in at least one view."""
    seen = seen_panels(projected)
    shown = values[seen] if seen.any() else values
    return float(shown.min()), float(shown.max())


def _bar_range(scale, low, high):
    """Range widened to whole steps, and to one step at least, inside the scale."""
    low = max(np.floor(low / scale.step + 1e-9) * scale.step, -scale.limit)
    high = min(np.ceil(high / scale.step - 1e-9) * scale.step, scale.limit)
    if high - low < scale.step:
        low, high = max(low - scale.step, -scale.limit), min(low + scale.step, scale.limit)
    return float(low), float(high)


# --- axes ---------------------------------------------------------------------------------


def _longest(projected):
    return float(projected.surface.size.max())


def draw_frame(axes, projected: ProjectedView):
    """Frame, title and numbers of the axes of one view, whose limits are set."""
    from matplotlib.ticker import MaxNLocator

    axes.set_facecolor("white")
    # y given: where the title goes need not be worked out from all other texts
    style = {"fontsize": FONT + 1.0, "loc": "left", "pad": 3.0, "color": INK, "y": 1.0}
    aslant = ACROSS_SIGHT if projected.view.axes is None else ""
    axes.set_title(f"{projected.view.title}{aslant}", **style)
    axes.spines[:].set(linewidth=0.5, color="#9aa3a8")
    axes.set_axisbelow(True)
    if projected.view.axes is None:
        axes.set(xticks=[], yticks=[])
        return
    room = np.maximum(Paper.of(axes).frame / 72.0 / _TICK_ROOM, 2.0).astype(int)
    both = zip((axes.xaxis, axes.yaxis), projected.view.axes, room, strict=True)
    for axis, number, most in both:
        nice = {"steps": [1, 2, 2.5, 5, 10], "min_n_ticks": 2}
        axis.set_major_locator(MaxNLocator(nbins=min(most, _MOST_TICKS), **nice))
        axis.set_label_text(_AXIS_LABELS[number], fontsize=FONT, color=INK)
        axis.labelpad = 2.0
    axes.grid(True, color=_PALE, linewidth=0.4)
    axes.tick_params(labelsize=FONT - 0.5, length=2.0, width=0.5, color="#9aa3a8", pad=2.0)


def draw_picture(axes, projected, picture):
    """Draw a coloured picture of one view, as `ProjectedView.picture` gives it, with its edges."""
    picture[picture[..., 3] == 0, :3] = 200  # hidden, but smoothed into the rim by the drawing
    limits = axes.get_xlim(), axes.get_ylim()
    extent = np.array(projected.extent) * _MM
    axes.imshow(picture, extent=extent, origin="lower", aspect="equal", zorder=1.0)
    axes.set(xlim=limits[0], ylim=limits[1])
    draw_edges(axes, projected)


def draw_edges(axes, projected):
    """Draw the sharp edges and the silhouette of one view."""
    from matplotlib.collections import LineCollection

    edges = [line * _MM for line in projected.edge_lines]
    style = {"colors": _EDGE_INK, "linewidths": 0.6, "capstyle": "round", "zorder": 1.5}
    axes.add_collection(LineCollection(edges, **style), autolim=False)


def _draw_scale_bars(axes, projected):
    """Bars of round lengths in mm and in inches, lower right; the boxes taken, in points."""
    paper = Paper.of(axes)
    per_mm = 1.0 / abs(paper.per_point[0])
    longest = min(_BAR_LENGTH, _BAR_SHARE * paper.frame[0])
    right, taken = paper.frame[0] - 8.0, []
    for number, (unit, size) in enumerate((("in", _INCH), ("mm", 1.0))):
        length = _round_length(longest / per_mm / size)
        left, bottom = right - length * size * per_mm, 7.0 + _BAR_STEP * number
        line = [[left, bottom + 4], [left, bottom], [right, bottom], [right, bottom + 4]]
        axes.plot(*paper.plane(line).T, color=INK, lw=1.0, solid_capstyle="butt", zorder=4.0)
        place, text = paper.plane([left - 3.0, bottom + 2.0]), f"{length:g} {unit}"
        style = {"fontsize": FONT, "va": "center_baseline", "color": INK, "zorder": 4.0}
        axes.text(*place, text, ha="right", **style)
        start = left - 5.0 - text_size(text, FONT)[0]
        taken.append(Box(start, bottom - 3.0, right + 2.0, bottom + 8.0))
    if projected.view.axes is None:
        taken.append(_draw_directions(axes, paper, projected))
    return taken


def _round_length(longest: float) -> float:
    """The greatest of 1, 2, 5 times a power of ten that is not longer.

    >>> _round_length(730.0), _round_length(0.2)
    (500.0, 0.2)
    """
    power = 10.0 ** np.floor(np.log10(longest))
    return float(power * max(factor for factor in (1, 2, 5) if factor * power <= longest * 1.0001))


def _draw_directions(axes, paper, projected):
    """Three short arrows with the names of the body axes, in the emptiest corner; their box."""
    view, half = projected.view, np.array([31.0, 27.0])
    width, height = paper.frame - half
    corners = np.array([[half[0], half[1]], [half[0], height], [width, height]])
    shares = []
    for corner in corners:
        ends = paper.plane([corner - half, corner + half]) / _MM
        shares.append(projected.covered_share(*ends))
    start = corners[int(np.argmin(shares))]
    arrow = {"arrowstyle": "->", "lw": 0.6, "color": INK, "shrinkA": 0, "shrinkB": 0}
    for axis, name in zip(np.eye(3), ("STA", "BL", "WL"), strict=True):
        way = np.array([axis @ view.right, axis @ view.up])
        tail, tip, place = paper.plane([start, start + 15.0 * way, start + 23.0 * way])
        axes.annotate("", tip, tail, arrowprops=arrow, zorder=4.0)
        axes.text(*place, name, fontsize=FONT - 1, ha="center", va="center", color=INK)
    return Box.around(start, half)


# --- lines --------------------------------------------------------------------------------


def line_style(level):
    """Width in points and dashes of the line of a level."""
    if level == 0.0:
        return _ZERO_WIDTH, "solid"
    return _LEVEL_WIDTH, (_DASHES if level < 0.0 else "solid")


def draw_iso_lines(axes, paper, projected, lines, text_of, taken, style_of=line_style):
    """Draw the visible parts of lines, the longest with numbers.

    Parameters
    ----------
    axes, paper, projected : of one view
    lines : sequence of IsoLine
    text_of : level -> number as written
    taken : boxes in points that numbers leave free
    style_of : level -> width in points, dashes

    Returns
    -------
    boxes of the numbers, points
    """
    from matplotlib.collections import LineCollection

    points, panels = [line.points for line in lines], [line.panels for line in lines]
    runs = [
        (lines[number].level, paper.points(run * _MM))
        for number, run in visible_runs_of(projected, points, panels)
    ]
    numbers, pieces = _number_lines(axes, paper, runs, text_of, list(taken))
    styles = [style_of(level) for level, _ in pieces]
    collection = LineCollection(
        [paper.plane(piece) for _, piece in pieces],
        linewidths=[width for width, _ in styles],
        linestyles=[dashes for _, dashes in styles],
        colors=INK,
        capstyle="butt",
        joinstyle="round",
        zorder=2.0,
    )
    axes.add_collection(collection, autolim=False)
    return numbers


def _number_lines(axes, paper, runs, text_of, taken):
    """Write numbers on the longest lines where there is room.

    Returns
    -------
    boxes of the numbers; all lines, with gaps for the numbers
    """
    written, pieces, numbers = {}, [], []
    for level, run in sorted(runs, key=lambda run: -steps(run[1]).sum()):
        text, place = text_of(level), None
        if written.get(level, 0) < _NUMBERS_PER_LEVEL:
            size = text_size(text, _NUMBER_FONT)
            place = number_place(run, size, taken + numbers, paper.frame)
        if place is None:
            pieces.append((level, run))
            continue
        numbers.append(place.box)
        written[level] = written.get(level, 0) + 1
        _write_number(axes, paper, place, text, level)
        pieces += [(level, part) for part in without_gap(run, place.gap)]
    return numbers, pieces


def _write_number(axes, paper, place, text, level):
    axes.text(
        *paper.plane(place.middle),
        text,
        fontsize=_NUMBER_FONT,
        rotation=place.angle,
        rotation_mode="anchor",
        ha="center",
        va="center_baseline",
        color="black",
        fontweight="bold" if level == 0.0 else "normal",
        zorder=2.5,
    )


# --- marks --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _MarkLayout:
    """Where the marks of one view go; the same for all conditions on paper of one size.

    Attributes
    ----------
    outlines : (label, colour and width, visible runs in m) of every mark that can be seen
    boxes : round the outlines, points
    labels : (text, colour, place), points
    """

    outlines: list
    boxes: list
    labels: list


_LAYOUTS: WeakKeyDictionary = WeakKeyDictionary()
"""View -> the marks, the paper, and the layout last made of them."""


def _draw_markers(axes, projected, markers, taken):
    """Draw the marks that can be seen, with labels; the boxes that they take, in points."""
    paper = Paper.of(axes)
    wanted = (tuple(markers), (*paper.start, *paper.per_point), tuple(taken))
    known, layout = _LAYOUTS.get(projected, (None, None))
    if known is None or not _same_layout(known, wanted):
        layout = _mark_layout(paper, projected, markers, taken)
        _LAYOUTS[projected] = (wanted, layout)
    for _, style, runs in layout.outlines:
        _draw_outline(axes, [run * _MM for run in runs], *style)
    for label, colour, place in layout.labels:
        _write_label(axes, paper, label, colour, place)
    return layout.boxes + [place.box for *_, place in layout.labels]


def _same_layout(known, wanted) -> bool:
    """Whether marks (the very same ones), paper and boxes taken are as before."""
    marks = len(known[0]) == len(wanted[0]) and all(
        a is b for a, b in zip(known[0], wanted[0], strict=True)
    )
    return marks and known[1:] == wanted[1:]


def _mark_layout(paper, projected, markers, taken) -> _MarkLayout:
    shown, lines, labels = [], [], []
    for marker in markers:
        style = _marker_style(marker)
        runs = _outline_runs(projected, marker)
        if runs:
            shown.append((marker.label, style, runs))
            lines.append(paper.points(np.vstack(runs) * _MM))
    outlines = [Box(*(line.min(axis=0) - 1), *(line.max(axis=0) + 1)) for line in lines]

    (x, y), (across, upward) = paper.start.tolist(), paper.per_point.tolist()

    def covered(box):
        low = (x + box.left * across) / _MM, (y + box.bottom * upward) / _MM
        high = (x + box.right * across) / _MM, (y + box.top * upward) / _MM
        return projected.covered_share(low, high)

    named = [(mark, line) for mark, line in zip(shown, lines, strict=True) if mark[0]]
    sizes = [np.array(text_size(label, FONT)) + _LABEL_PADDING for (label, *_), _ in named]
    wanted = [(size, line) for size, (_, line) in zip(sizes, named, strict=True)]
    places = label_places(wanted, outlines, taken, paper.frame, covered)
    for ((label, style, _), _), place in zip(named, places, strict=True):
        if place is not None:
            labels.append((label, style[0], place))
    return _MarkLayout(shown, outlines, labels)


def _marker_style(marker):
    if marker.style not in MARKER_STYLES:
        raise SurfaceError(
            f"mark {marker.label!r} has the unknown style {marker.style!r}; "
            f"there are: {', '.join(MARKER_STYLES)}"
        )
    return MARKER_STYLES[marker.style]


def _outline_runs(projected, marker):
    """Visible parts of the outline, m; none when most of it is hidden."""
    outline = np.asarray(marker.outline, dtype=float)
    if outline.ndim != 2 or outline.shape[1] != 3 or not np.isfinite(outline).all():
        raise SurfaceError(
            f"outline of mark {marker.label!r} has shape {outline.shape}; expected (n, 3) with "
            "finite coordinates in m"
        )
    closed = np.vstack([outline, outline[:1]])
    runs = visible_runs(projected, closed, tolerance=_MARK_DEPTH * _longest(projected))
    total = steps(projected.view.plane_coordinates(closed)).sum()
    seen = sum(steps(run).sum() for run in runs)
    return runs if seen >= _VISIBLE_SHARE * total else []


def _draw_outline(axes, runs, colour, width):
    from matplotlib.collections import LineCollection

    for ink, line_width, order in (("white", width + 1.4, 3.0), (colour, width, 3.1)):
        lines = LineCollection(
            runs, colors=ink, linewidths=line_width, capstyle="round", zorder=order
        )
        axes.add_collection(lines, autolim=False)


def _write_label(axes, paper, text, colour, place):
    axes.plot(*paper.plane(place.leader).T, color=colour, lw=0.7, zorder=3.2)
    axes.text(
        *paper.plane(place.box.middle),
        text,
        fontsize=FONT,
        color=colour,
        ha="center",
        va="center",
        bbox={"facecolor": "white", "edgecolor": colour, "linewidth": 0.5, "pad": 1.5},
        zorder=3.3,
    )
