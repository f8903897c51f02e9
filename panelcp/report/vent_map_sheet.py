"""The vent map on paper: what a small opening would be worth all over the searched skin."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from panelcp.errors import PlacementError
from panelcp.report.hatching import NOT_ENOUGH, hatch_image, hatch_swatch
from panelcp.report.isolines import IsoLine, iso_lines
from panelcp.report.labels import Box, Paper, text_size
from panelcp.report.maps import (
    PAGE,
    RESOLUTION,
    SHEET_VIEWS,
    Marker,
    arranged_views,
    draw_frame,
    draw_iso_lines,
    draw_marks,
    draw_picture,
    fitted_view,
    seen_panels,
    write_picture,
)
from panelcp.report.pages import (
    FONT,
    INK,
    SIDE,
    page_frame,
    share_of_page,
    title_lines,
    write_notice,
    write_title,
)
from panelcp.report.projection import SHARP_EDGE_COSINE, visible_runs_of
from panelcp.report.sheets import (
    LONGEST_LABEL,
    LONGEST_TITLE,
    cut_at_station,
    file_word,
    part_of,
    picture_text,
)
from panelcp.report.vent_map_colours import (
    ENOUGH,
    VentScale,
    condition_colours,
    grey_condition_colours,
    unsearched_colour,
    vent_scale,
)

TALL_PAGES = {"A4": (PAGE[0], 2.0 * PAGE[1]), "Letter": (PAGE[0], 14.4)}
"""inch, of a sheet with two rows of views, by paper: as high for its width as a page of the report
leaves room for."""
NOTICE = (
    "Estimate from potential flow. Not approved data. An opening of real size averages over its "
    "own area: the map shows where to look, the short list what a place is worth."
)
LETTERS = "ABCDEF"
OTHERS = "+"
_MM = 1000.0
_HEADING = 0.3  # inch, for a heading
_ENTRY = (0.26, 0.15)  # inch, coloured box of a condition
_LEAST_RADIUS = 5.0  # points, of a patch that has its letter in it
_LETTERS_EACH = 3  # in one view, of one condition
_LETTER_PIXELS = 600  # along the longest side of a view, in which letters are placed


def write_vent_map_sheet(
    surface,
    vent_maps: Sequence,
    markers: Sequence,
    folder: Path,
    *,
    conditions: Sequence[str],
    views: Sequence[str] = SHEET_VIEWS,
    shown: np.ndarray | None = None,
    name: str = "",
    trace: str = "",
    dots_per_inch: int = RESOLUTION,
    same_limits: bool = False,
    grey_print: bool = False,
    paper: str = "A4",
) -> list[tuple[str, str, Path]]:
    """Write one PNG for every vent map: least available over needed, and what decides.

    Parameters
    ----------
    surface : SurfaceMesh of the maps, the whole body
    vent_maps : sequence of VentMap, one for each use
    markers : sequence of Marker
    folder : exists; gets vent-map-exit.png and vent-map-inlet.png
    conditions : names of all conditions
    views : names of views
    shown : (n_panels,) bool, the part of the surface that is drawn; None draws all
    name : of the case, for the title
    trace : sentence that tells which run the sheet is of
    dots_per_inch : int
    same_limits : bool, one scale of the ratio for all maps instead of one for each
    grey_print : bool, conditions in greys; the ratio reads in grey print as it is
    paper : "A4" or "Letter", on which a sheet with two rows of views is as large as it can be

    Returns
    -------
    (title, caption, path) of each sheet

    Raises
    ------
    PlacementError : a map of another number of panels

    Notes
    -----
    Colours and lines join the values of the panels over the skin: at each corner the mean over the
    searched panels round it that bend little, by area. Skin that was not searched stays grey.
    Below the ratios stands which condition decides, unless the same one does everywhere.
    """
    from panelcp.report.sheet_base import own_look

    part = cut_at_station(surface, _last_station(surface, shown))
    for vent_map in vent_maps:
        if len(vent_map.least_ratio) != surface.n_panels:
            raise PlacementError(
                f"vent map for an {vent_map.use} has {len(vent_map.least_ratio)} panels; expected "
                f"the {surface.n_panels} of the surface"
            )
    ratios = [vent_ratio(vent_map)[part.panels] for vent_map in vent_maps]
    scale = vent_scale(np.concatenate(ratios)) if same_limits and ratios else None
    sheets = []
    for vent_map, ratio in zip(vent_maps, ratios, strict=True):
        title, caption = _words(vent_map, conditions, name)
        path = Path(folder) / f"vent-map-{_file_words(vent_map, vent_maps)}.png"
        with own_look():
            figure = vent_map_figure(
                part.surface,
                views,
                ratio,
                np.where(vent_map.searched, vent_map.deciding, -1)[part.panels],
                markers,
                conditions,
                title,
                scale=scale,
                grey_print=grey_print,
                dots_per_inch=dots_per_inch,
                trace=trace,
                paper=paper,
            )
            write_picture(path, figure, dots_per_inch)
        sheets.append((title, caption, path))
    return sheets


def _last_station(surface, shown) -> float:
    """m, where the part that is drawn ends."""
    if shown is None or np.all(shown):
        return float(surface.bounds[1, 0])
    return float(surface.centroids[np.asarray(shown), 0].max())


def vent_ratio(vent_map) -> np.ndarray:
    """(n_panels,) float: least available over needed, nan where the skin was not searched."""
    return np.where(vent_map.searched, vent_map.least_ratio, np.nan)


def _file_words(vent_map, vent_maps) -> str:
    """exit or inlet, with the kind where there are several maps of one use."""
    several = sum(other.use == vent_map.use for other in vent_maps) > 1
    return file_word(f"{vent_map.use} {vent_map.kind}") if several else vent_map.use


def _words(vent_map, conditions, name) -> tuple[str, str]:
    """Title and caption of a map."""
    kind = f" ({vent_map.kind})" if vent_map.kind else ""
    partner = "inlet" if vent_map.use == "exit" else "exit"
    names = [picture_text(text, LONGEST_LABEL) for text in vent_map.partners]
    with_them = f"{partner}{'s' if len(names) > 1 else ''} {', '.join(names)}"
    title = (
        f"vent map, {vent_map.use}s{kind}: least available over needed pressure, with {with_them}"
    )
    deciding = np.unique(vent_map.deciding[vent_map.searched])
    if len(deciding) == 1:
        title += f"; decided by {picture_text(conditions[deciding[0]], LONGEST_TITLE)}"
    enough = vent_map.least_ratio[vent_map.searched] >= ENOUGH
    caption = (
        f"Least available over needed pressure of a small {vent_map.use}{kind} at every panel of "
        f"the searched skin, with {partner} {', '.join(vent_map.partners)}; at least 1 on "
        f"{np.count_nonzero(enough)} of {enough.size} searched panels"
        + ("; what the boundary layer takes is left out" if vent_map.use == "inlet" else "")
    )
    return (f"{picture_text(name, LONGEST_TITLE)}: {title}" if name else title), caption


def vent_map_figure(
    surface,
    views: Sequence,
    ratio: np.ndarray,
    deciding: np.ndarray,
    markers: Sequence,
    conditions: Sequence[str],
    title: str,
    *,
    scale: VentScale | None = None,
    grey_print: bool = False,
    dots_per_inch: int = RESOLUTION,
    trace: str = "",
    paper: str = "A4",
):
    """One page: the ratio, and below it which condition decides.

    Parameters
    ----------
    surface : SurfaceMesh, the part that is drawn
    views : names of views, or View
    ratio : (n_panels,) float, nan where not searched
    deciding : (n_panels,) int, number of a condition; -1 where not searched
    markers : sequence of Marker
    conditions : names of the conditions
    title : str
    scale : VentScale; None takes one of what shows
    grey_print : bool, see `write_vent_map_sheet`
    dots_per_inch : int, of the coloured skin
    trace, paper : see `write_vent_map_sheet`

    Returns
    -------
    matplotlib Figure
    """
    from matplotlib.figure import Figure

    entries = _entries(deciding, conditions)
    size = TALL_PAGES.get(paper, TALL_PAGES["A4"]) if len(entries) > 1 else PAGE
    figure = Figure(figsize=size, facecolor="white")
    write_title(figure, title)
    notice = f"{NOTICE} {trace}".strip()
    write_notice(figure, notice)
    left, bottom, width, height = page_frame(size, len(title_lines(title, size[0])), notice)
    if len(entries) > 1:
        height *= 0.5
        colours = grey_condition_colours() if grey_print else condition_colours()
        legend = _write_entries(figure, entries, colours, bottom + height)
        room = (left, bottom, width, height - legend)
        plain = [Marker(mark.outline, "", mark.style) for mark in markers]
        kinds = (deciding, entries, colours)
        _draw_conditions(figure, surface, views, kinds, plain, room, dots_per_inch)
        bottom += height
    room = (left, bottom + _HEADING, width, height - _HEADING)
    _write_key(figure, bottom + 0.08)
    _draw_ratios(figure, surface, views, ratio, scale, markers, room, dots_per_inch)
    return figure


# --- ratio --------------------------------------------------------------------------------


def _draw_ratios(figure, surface, views, ratio, scale, markers, room, dots_per_inch):
    size = figure.get_size_inches()
    places = arranged_views(surface, views, room, bool(markers), dots_per_inch)
    fitted = []
    for view, cell in zip(views, places.cells, strict=True):
        axes = figure.add_axes(share_of_page(cell, size))
        fitting = (surface, view, bool(markers), places.scale, dots_per_inch)
        fitted.append((axes, fitted_view(axes, *fitting)))
    if scale is None:
        scale = vent_scale(ratio[seen_panels([view for _, view in fitted])])
    drawn = vent_lines(surface, ratio, scale)
    for axes, view in fitted:
        draw_vent_ratio(axes, view, *drawn, scale, markers)
    draw_vent_bar(figure.add_axes(share_of_page(places.bar, size)), scale)


def vent_lines(surface, ratio: np.ndarray, scale: VentScale):
    """Ratio at the corners, (n_panels, 3) float, and its lines, for `draw_vent_ratio`."""
    corners = corner_means(surface, ratio)
    return corners, _searched_lines(surface, np.isfinite(ratio), corners, scale.levels)


def draw_vent_ratio(axes, view, corners, lines, scale: VentScale, markers: Sequence = ()):
    """Draw the ratio in one view.

    Parameters
    ----------
    axes : matplotlib Axes whose limits are set, see `fitted_view`
    view : ProjectedView
    corners, lines : as `vent_lines` gives them
    scale : VentScale
    markers : sequence of Marker
    """
    draw_frame(axes, view)
    taken = draw_marks(axes, view, markers)
    paper = Paper.of(axes)
    draw_picture(axes, view, view.picture(scale.places(corners), 1.0, scale.colour_table))
    numbers = draw_iso_lines(axes, paper, view, lines, scale.text, taken, _line_style)
    values = view.values(np.where(np.isnan(corners), np.inf, corners))
    short = np.nan_to_num(values, nan=np.inf) < ENOUGH
    hatch_image(axes, paper, view, short, NOT_ENOUGH, numbers)


def _line_style(level):
    """Width in points and dashes: thick at 1, dashed below."""
    if level == ENOUGH:
        return 1.6, "solid"
    return 0.5, ("solid" if level > ENOUGH else (0, (7.0, 4.0)))


def corner_means(surface, values: np.ndarray) -> np.ndarray:
    """Values at the corners of the panels from values on the panels.

    Parameters
    ----------
    surface : SurfaceMesh
    values : (n_panels,) float, nan where there is none

    Returns
    -------
    (n_panels, 3) float
        At each corner the mean, by area, over the panels round its vertex that have a value and
        meet this one at less than a sharp edge; nan on panels without a value.
    """
    flat = surface.triangles.ravel()
    owners = np.argsort(flat, kind="stable") // 3
    round_vertex = np.bincount(flat, minlength=surface.n_vertices)
    first = np.cumsum(round_vertex) - round_vertex
    count = round_vertex[flat]
    corner = np.repeat(np.arange(len(flat)), count)
    place = np.arange(len(corner)) - np.repeat(np.cumsum(count) - count, count)
    other = owners[first[flat[corner]] + place]
    cosine = np.einsum("ij,ij->i", surface.normals[corner // 3], surface.normals[other])
    used = np.isfinite(values[other]) & ((cosine >= SHARP_EDGE_COSINE) | (other == corner // 3))
    corner, other = corner[used], other[used]
    weight = np.bincount(corner, surface.areas[other], len(flat))
    total = np.bincount(corner, surface.areas[other] * values[other], len(flat))
    means = np.divide(total, weight, out=np.full(len(flat), np.nan), where=weight > 0.0)
    return np.where(np.isfinite(values)[:, None], means.reshape(-1, 3), np.nan)


def _searched_lines(surface, searched, corners, levels) -> list[IsoLine]:
    """Lines of equal value on the panels that have one."""
    if not searched.any():
        return []
    panels = np.flatnonzero(searched)
    lines = iso_lines(part_of(surface, searched), corners[searched], levels)
    return [IsoLine(line.level, line.points, panels[line.panels]) for line in lines]


def draw_vent_bar(axes, scale: VentScale):
    """Draw the colours and lines of a scale into narrow, tall axes; hands them back."""
    low, high = scale.low, scale.high
    axes.imshow(scale.colours[:, None], extent=(0, 1, low, high), origin="lower", aspect="auto")
    for level in scale.levels:
        width, dashes = _line_style(level)
        axes.plot([0, 1], [level, level], color=INK, lw=width, ls=dashes, solid_capstyle="butt")
    axes.set(xlim=(0, 1), ylim=(low, high), xticks=[])
    axes.set_yticks(scale.levels, [scale.text(level) for level in scale.levels])
    axes.yaxis.tick_right()
    axes.tick_params(labelsize=FONT, length=2.0, width=0.5, color="#59636a", pad=2.0)
    axes.spines[:].set(linewidth=0.5, color="#59636a")
    axes.set_title("available\n/ needed", fontsize=FONT + 0.5, pad=9.0, y=1.0)
    return axes


def _write_key(figure, bottom):
    """What hatch and grey mean, in one line; `bottom` in inch."""
    left, (width, height) = SIDE, figure.get_size_inches()
    box, font = (0.34, 0.13), FONT + 0.5
    for words in ("below 1: does not suffice", "thick line: 1, just enough", "not searched"):
        if words.startswith("below"):
            hatch_swatch(figure, (left, bottom, *box), NOT_ENOUGH)
        elif words.startswith("thick"):
            _patch(figure, (left, bottom + 0.05, box[0], 0.024), INK)
        else:
            _patch(figure, (left, bottom, *box), unsearched_colour())
        left += box[0] + 0.08
        place = (left / width, (bottom + 0.5 * box[1]) / height)
        figure.text(*place, words, fontsize=font, va="center_baseline", color=INK)
        left += text_size(words, font)[0] / 72.0 + 0.3


def _patch(figure, box, colour):
    from matplotlib.patches import Rectangle

    left, bottom, width, height = box
    style = {"facecolor": colour, "edgecolor": "#59636a", "linewidth": 0.5}
    inch = figure.dpi_scale_trans
    figure.add_artist(Rectangle((left, bottom), width, height, transform=inch, **style))


# --- conditions ---------------------------------------------------------------------------


def _entries(deciding, conditions) -> list[tuple[str, str, list[int]]]:
    """(letter, words, numbers of conditions), those that decide most panels first."""
    found, counts = np.unique(deciding[deciding >= 0], return_counts=True)
    order = found[np.argsort(-counts, kind="stable")].tolist()
    own = len(LETTERS)
    entries = [
        (letter, picture_text(conditions[c], LONGEST_TITLE), [c])
        for letter, c in zip(LETTERS, order[:own], strict=False)
    ]
    if len(order) > own:
        entries.append((OTHERS, f"{len(order) - own} other conditions", order[own:]))
    return entries


def _colour_of(letter: str, colours) -> np.ndarray:
    return colours[len(LETTERS) if letter == OTHERS else LETTERS.index(letter)]


def _write_entries(figure, entries, colours, top) -> float:
    """Write heading and legend of the conditions below `top`, inch; the height taken, inch."""
    width, height = figure.get_size_inches()
    font, right = FONT + 0.5, width - SIDE
    place = (SIDE / width, (top - 0.06) / height)
    words = "Which condition decides: that with the least available over needed pressure"
    figure.text(*place, words, fontsize=FONT + 2.0, va="top", color=INK)
    left, bottom = SIDE, top - 0.5
    for letter, text, _ in entries:
        wide = _ENTRY[0] + 0.08 + text_size(text, font)[0] / 72.0 + 0.3
        if left + wide > right and left > SIDE:
            left, bottom = SIDE, bottom - 0.24
        _patch(figure, (left, bottom, *_ENTRY), _colour_of(letter, colours))
        middle = bottom + 0.5 * _ENTRY[1]
        style = {"fontsize": font, "va": "center_baseline", "color": INK}
        centre = ((left + 0.5 * _ENTRY[0]) / width, middle / height)
        figure.text(*centre, letter, ha="center", fontweight="bold", **style)
        figure.text((left + _ENTRY[0] + 0.08) / width, middle / height, text, **style)
        left += wide
    return top - bottom + 0.1


def _draw_conditions(figure, surface, views, kinds, markers, room, dots_per_inch):
    size, (deciding, entries, colours) = figure.get_size_inches(), kinds
    kind = np.full(surface.n_panels, -1)
    for k, (_, _, numbers) in enumerate(entries):
        kind[np.isin(deciding, numbers)] = k
    own = [_colour_of(letter, colours) for letter, _, _ in entries]
    colours = np.vstack([unsearched_colour(), own])
    values = 2.0 * (kind + 1.5) / len(colours) - 1.0
    places = arranged_views(surface, views, room, bool(markers), dots_per_inch)
    borders = _borders(surface, kind)
    for named, cell in zip(views, places.cells, strict=True):
        axes = figure.add_axes(share_of_page(cell, size))
        view = fitted_view(axes, surface, named, bool(markers), places.scale, dots_per_inch)
        draw_frame(axes, view)
        taken = draw_marks(axes, view, markers)
        draw_picture(axes, view, view.picture(np.tile(values[:, None], 3), 1.0, colours))
        _draw_borders(axes, view, *borders)
        for k, (letter, _, _) in enumerate(entries):
            _write_letters(axes, view, kind == k, letter, taken)


def _borders(surface, kind):
    """(n, 2, 3) float, m: edges between panels of two kinds; (n,) int: a panel of each."""
    panels, sides = np.nonzero(surface.edge_neighbours >= 0)
    others = surface.edge_neighbours[panels, sides]
    keep = (kind[panels] != kind[others]) & (kind[panels] >= 0)
    panels, sides = panels[keep], sides[keep]
    ends = np.stack([sides, (sides + 1) % 3], axis=1)
    return surface.corners[panels[:, None], ends], panels


def _draw_borders(axes, view, segments, owners):
    from matplotlib.collections import LineCollection

    seen = view.panel_pixels[owners] > 0
    found = visible_runs_of(view, segments[seen], owners[seen, None])
    runs = [run * _MM for _, run in found]
    lines = LineCollection(runs, colors=INK, linewidths=0.6, capstyle="round", zorder=2.0)
    axes.add_collection(lines, autolim=False)


def _write_letters(axes, view, chosen, letter, taken: list[Box]):
    """Write a letter where patches of the chosen panels are widest; adds its boxes to `taken`."""
    from scipy.ndimage import distance_transform_edt, label

    paper = Paper.of(axes)
    coarser = max(1, max(view.triangle_image.shape) // _LETTER_PIXELS)
    image = (chosen[view.triangle_image] & view.covered)[::coarser, ::coarser]
    image = np.pad(image, 1)
    pixel = view.pixel * coarser
    for other in taken:  # no letter there
        corners = paper.plane([[other.left, other.bottom], [other.right, other.top]]) / _MM
        place = np.sort((corners * view.view.signs - view.origin) / pixel + 1.0, axis=0)
        first, last = np.maximum(place, 0.0).astype(int)
        image[first[1] : last[1] + 1, first[0] : last[0] + 1] = False
    patches, count = label(image)
    radius = distance_transform_edt(image)
    points = pixel * _MM / abs(paper.per_point[0])
    deepest = [(radius[patches == k].max() * points, k) for k in range(1, count + 1)]
    for reach, k in sorted(deepest, reverse=True)[:_LETTERS_EACH]:
        if reach < _LEAST_RADIUS:
            break
        row, column = np.unravel_index(np.argmax(np.where(patches == k, radius, -1.0)), image.shape)
        plane = (view.origin + pixel * (np.array([column, row]) - 0.5)) * view.view.signs
        box = Box.around(paper.points(plane * _MM), (5.0, 5.0))
        if any(box.overlaps(other) for other in taken):
            continue
        taken.append(box)
        style = {"fontsize": FONT + 1.0, "fontweight": "bold", "color": INK, "zorder": 2.5}
        axes.text(*(plane * _MM), letter, ha="center", va="center_baseline", **style)
