"""Static pressure maps: a view of the surface in colour, with lines, marks and a scale.

The picture is made pixel by pixel from a depth buffer; everything else is drawn by
matplotlib as lines and text. Axes are marked in the drawing coordinates STA, BL and WL in mm.
Work that depends on the surface and the view only is kept in a `ProjectedView`, which may be
given in place of the view and so serves all conditions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from weakref import WeakKeyDictionary

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.report.colours import PressureScale, pressure_scale
from panelcp.report.hatching import SEPARATION_LEGEND, checked_hatch, draw_hatch
from panelcp.report.isolines import IsoLine, checked_corner_values, iso_lines
from panelcp.report.labels import (
    Box,
    Paper,
    label_place,
    number_place,
    steps,
    text_size,
    without_gap,
)
from panelcp.report.pages import (
    FONT,
    INK,
    arranged,
    page_frame,
    share_of_page,
    title_lines,
    write_notice,
    write_title,
)
from panelcp.report.projection import (
    VIEWS,
    ProjectedView,
    View,
    project_view,
    view_named,
    visible_runs,
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
_MM = 1000.0
_AXIS_LABELS = ("STA mm", "BL mm", "WL mm")
_EDGE_INK = "#59636a"
_PALE = "#e7e9ea"
_NUMBER_FONT = 5.5  # points: numbers on lines
_LEVEL_WIDTH, _ZERO_WIDTH = 0.5, 1.4  # points
_DASHES = (0, (7.0, 4.0))
_MARGIN, _MARGIN_WITH_MARKS = 0.05, 0.14  # of the longest side of the body
_FOOT = 0.11  # of the longest side: room below the body for the scale bar
_VISIBLE_SHARE = 0.3  # of an outline, from which its mark is drawn
_MARK_DEPTH = 0.01  # of the longest side: how far an outline may dive under the skin
_NUMBERS_PER_LEVEL = 2
_LABEL_PADDING = 4.0  # points, of the box round a label
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
    projected = projected_of(surface, view)
    hatched = checked_hatch(surface, hatched)
    if lines is None:
        lines = iso_lines(surface, values, scale.levels) if draw_lines else ()
    draw_frame(axes, projected, bool(markers))
    taken = draw_marks(axes, projected, markers)
    draw_values(axes, projected, values, scale, lines, taken, hatched)
    return axes


def draw_marks(axes, projected: ProjectedView, markers: Sequence) -> list[Box]:
    """Draw scale bar and marks of one view; the boxes that they take, in points."""
    boxes = _draw_scale_bar(axes, projected)
    return boxes + _draw_markers(axes, projected, markers, boxes)


def draw_values(axes, projected, values, scale, lines, taken, hatched=None):
    """Draw what changes from condition to condition: colours, hatches, lines with numbers.

    Parameters
    ----------
    axes : matplotlib Axes, see `draw_frame` and `bare_axes`
    projected : ProjectedView
    values : (n_panels, 3) float
    scale : PressureScale
    lines : sequence of IsoLine
    taken : boxes in points that numbers leave free, as `draw_marks` gives them
    hatched : (n_panels,) int, or None
    """
    paper = Paper.of(axes)
    picture = projected.picture(values, scale.limit, scale.colour_table)
    draw_picture(axes, projected, picture)
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
    views: Sequence = ("left", "top", "bottom", "front"),
    *,
    scale: PressureScale | None = None,
    markers: Sequence = (),
    title: str = "",
    notice: str = "",
    draw_lines: bool = True,
    size: tuple[float, float] = PAGE,
    hatched=None,
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

    Returns
    -------
    matplotlib Figure, not connected to any screen; see `write_picture`
    """
    from matplotlib.figure import Figure

    values = checked_corner_values(surface, corner_values)
    hatched = checked_hatch(surface, hatched)
    scale = pressure_scale(values) if scale is None else scale
    projected = [projected_of(surface, view) for view in views]
    lines = iso_lines(surface, values, scale.levels) if draw_lines else ()
    figure = Figure(figsize=size, facecolor="white")
    legend = legend_of(hatched)
    page = page_frame(size, len(title_lines(title, size[0])), notice, bool(legend))
    write_title(figure, title)
    write_notice(figure, notice, legend)
    spans = [span_of(view, bool(markers)) for view in projected]
    cells, bar = arranged(spans, page)
    for view, cell in zip(projected, cells, strict=True):
        axes = figure.add_axes(share_of_page(cell, size))
        draw_pressure_map(axes, surface, values, view, scale, markers, draw_lines, lines, hatched)
    low, high = seen_range(projected, values)
    draw_colour_bar(figure.add_axes(share_of_page(bar, size)), scale, low, high)
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
    dots_per_inch: int = 200,
    **options,
):
    """Write one view as a PNG picture; `options` as for `pressure_figure`."""
    figure = pressure_figure(surface, corner_values, (view,), size=size, **options)
    write_picture(path, figure, dots_per_inch)


def write_picture(path: str | PathLike, picture, dots_per_inch: int = 150):
    """Write PNG, without date or name of a program: same picture, same bytes.

    Parameters
    ----------
    path : of the file
    picture : matplotlib Figure, or (height, width, 3) uint8 with the uppermost row first
    dots_per_inch : of a figure; of an array that with which it was made
    """
    from PIL import Image

    if not isinstance(picture, np.ndarray):
        picture = figure_pixels(picture, dots_per_inch)
    Image.fromarray(picture).save(
        path, format="png", compress_level=4, dpi=(dots_per_inch, dots_per_inch)
    )


def figure_pixels(figure, dots_per_inch: int, ground: np.ndarray | None = None) -> np.ndarray:
    """Draw a figure into pixels.

    Parameters
    ----------
    figure : matplotlib Figure
    dots_per_inch : int
    ground : (height, width, 3) uint8, what is drawn onto; None takes the figure's own paper

    Returns
    -------
    (height, width, 3) uint8, uppermost row first
    """
    return _drawn(figure, dots_per_inch, ground)[..., :3].copy()


def transparent_pixels(figure, dots_per_inch: int) -> np.ndarray:
    """(height, width, 4) uint8: a figure without paper, with how much each pixel covers."""
    return _drawn(figure, dots_per_inch).copy()


def _drawn(figure, dots_per_inch, ground=None):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    figure.set_dpi(dots_per_inch)
    renderer = canvas.get_renderer()
    pixels = np.asarray(renderer.buffer_rgba())
    if ground is not None:
        pixels[..., :3], pixels[..., 3] = ground, 255
    figure.draw(renderer)
    return pixels


def projected_of(surface, view) -> ProjectedView:
    """The view of that name, or the ProjectedView given, which must be of this surface."""
    if not isinstance(view, ProjectedView):
        return project_view(surface, view_named(view))
    if view.surface is not surface:
        raise SurfaceError(
            f"the projected view {view.view.name!r} belongs to another surface; "
            "call project_view with this one"
        )
    return view


def seen_range(projected, values):
    """Least and greatest value at a corner of a panel that shows in at least one view."""
    seen = np.any([view.panel_pixels > 0 for view in projected], axis=0)
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


def _limits(projected, with_marks):
    """(2, 2) m: limits across and up, from left to right and from bottom to top."""
    left, right, low, high = projected.extent
    margin = _longest(projected) * (_MARGIN_WITH_MARKS if with_marks else _MARGIN)
    foot = max(margin, _FOOT * _longest(projected))
    across, upward = projected.view.signs
    return np.array(
        [
            [left - across * margin, right + across * margin],
            [low - upward * foot, high + upward * margin],
        ]
    )


def span_of(projected, with_marks):
    """(2,) float, m: what the axes of a view show across and up, with the signs of the axes."""
    return np.diff(_limits(projected, with_marks), axis=1)[:, 0]


def bare_axes(axes, projected: ProjectedView, with_marks: bool):
    """Limits of the axes of one view, without frame and numbers; to draw onto a frame."""
    set_limits(axes, projected, with_marks)
    axes.set_axis_off()


def set_limits(axes, projected, with_marks):
    """Limits of the axes of one view, mm, with room for labels if there are marks."""
    limits = _limits(projected, with_marks) * _MM
    axes.set(xlim=limits[0], ylim=limits[1], aspect="equal")


def draw_frame(axes, projected: ProjectedView, with_marks: bool):
    """Limits, frame, title and numbers of the axes of one view."""
    from matplotlib.ticker import MaxNLocator

    set_limits(axes, projected, with_marks)
    axes.set_facecolor("white")
    # y given: where the title goes need not be worked out from all other texts
    style = {"fontsize": FONT + 1.0, "loc": "left", "pad": 3.0, "color": INK, "y": 1.0}
    axes.set_title(projected.view.title, **style)
    axes.spines[:].set(linewidth=0.5, color="#9aa3a8")
    axes.set_axisbelow(True)
    if projected.view.axes is None:
        axes.set(xticks=[], yticks=[])
        return
    for axis, number in zip((axes.xaxis, axes.yaxis), projected.view.axes, strict=True):
        axis.set_major_locator(MaxNLocator(nbins=9, steps=[1, 2, 5, 10], min_n_ticks=3))
        axis.set_label_text(_AXIS_LABELS[number], fontsize=FONT, color=INK)
        axis.labelpad = 2.0
    axes.grid(True, color=_PALE, linewidth=0.4)
    axes.tick_params(labelsize=FONT - 0.5, length=2.0, width=0.5, color="#9aa3a8", pad=2.0)


def draw_picture(axes, projected, picture):
    """Draw a coloured picture of one view, as `ProjectedView.picture` gives it, with its edges."""
    from matplotlib.collections import LineCollection

    picture[picture[..., 3] == 0, :3] = 200  # hidden, but smoothed into the rim by the drawing
    limits = axes.get_xlim(), axes.get_ylim()
    extent = np.array(projected.extent) * _MM
    axes.imshow(picture, extent=extent, origin="lower", aspect="equal", zorder=1.0)
    axes.set(xlim=limits[0], ylim=limits[1])
    edges = [line * _MM for line in projected.edge_lines]
    axes.add_collection(
        LineCollection(edges, colors=_EDGE_INK, linewidths=0.6, capstyle="round", zorder=1.5),
        autolim=False,
    )


def _draw_scale_bar(axes, projected):
    """A bar of round length in the lower right corner; the boxes taken, in points."""
    paper = Paper.of(axes)
    target = 0.2 * _longest(projected) * _MM
    power = 10.0 ** np.floor(np.log10(target))
    length = power * max(factor for factor in (1, 2, 5) if factor * power <= target * 1.0001)
    right, bottom = paper.frame[0] - 8.0, 9.0
    left = right - length / abs(paper.per_point[0])
    line = [[left, bottom + 3], [left, bottom], [right, bottom], [right, bottom + 3]]
    axes.plot(*paper.plane(line).T, color=INK, lw=1.0, solid_capstyle="butt", zorder=4.0)
    middle = paper.plane([0.5 * (left + right), bottom + 2.0])
    text = f"{length:g} mm"
    axes.text(*middle, text, fontsize=FONT, ha="center", va="bottom", color=INK, zorder=4.0)
    taken = [Box(left - 2.0, bottom - 2.0, right + 2.0, bottom + 14.0)]
    if projected.view.axes is None:
        taken.append(_draw_directions(axes, paper, projected.view))
    return taken


def _draw_directions(axes, paper, view):
    """Three short arrows with the names of the body axes, lower left; their box."""
    start = np.array([34.0, 24.0])
    arrow = {"arrowstyle": "->", "lw": 0.6, "color": INK, "shrinkA": 0, "shrinkB": 0}
    for axis, name in zip(np.eye(3), ("STA", "BL", "WL"), strict=True):
        way = np.array([axis @ view.right, axis @ view.up])
        tail, tip, place = paper.plane([start, start + 20.0 * way, start + 29.0 * way])
        axes.annotate("", tip, tail, arrowprops=arrow, zorder=4.0)
        axes.text(*place, name, fontsize=FONT - 1, ha="center", va="center", color=INK)
    return Box.around(start, (37.0, 34.0))


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

    runs = []
    for line in lines:
        for run in visible_runs(projected, line.points, line.panels):
            runs.append((line.level, paper.points(run * _MM)))
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
    shown, lines, labels, placed = [], [], [], []
    for marker in markers:
        style = _marker_style(marker)
        runs = _outline_runs(projected, marker)
        if runs:
            shown.append((marker.label, style, runs))
            lines.append(paper.points(np.vstack(runs) * _MM))
    outlines = [Box(*(line.min(axis=0) - 1), *(line.max(axis=0) + 1)) for line in lines]

    def covered(box):
        corners = paper.plane([[box.left, box.bottom], [box.right, box.top]]) / _MM
        return projected.covered_share(*corners)

    for (label, style, _), line in zip(shown, lines, strict=True):
        if not label:
            continue
        size = np.array(text_size(label, FONT)) + _LABEL_PADDING
        place = label_place(size, line, [*outlines, *taken], placed, paper.frame, covered)
        if place is not None:
            placed.append(place)
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
