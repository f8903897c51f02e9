"""Drawing of the plots of pressure along the skin, with the outline of the body or the section.

The first condition of a plot is drawn thick with its band, further ones thin with numbers on their
lines. Top and bottom differ by line style and by words, so that grey prints can be read too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.report.contents import in_pascal
from panelcp.report.curve_drawing import INK, PALE, SOFT, STYLES
from panelcp.report.cut_air import ACROSS, SIDES, CutAir, CutSide, whole_number
from panelcp.report.cut_points import CutOpening, PlacedPoints
from panelcp.report.hatching import MAY_SEPARATE, SEPARATED, SEPARATION_LEGEND
from panelcp.report.labels import text_size, wrapped
from panelcp.report.section_scales import (
    BESIDE,
    ROW,
    inch_column,
    inch_row,
    scale_bars,
    water_column,
)
from panelcp.report.sheets import hatch_levels, picture_text

_FONT, _SMALL, _TITLE = 8.5, 7.5, 10.5
_THIN, _OPEN = "#5f6a71", "#7a2e0e"
_HATCHES = {SEPARATED: "//////", MAY_SEPARATE: "\\\\\\"}
_BAND = 0.22
_ROW = 19.0
"""Points, of a row of brackets."""

WIDTH = 7.5
"""inch, of a figure of one cut: that of the text on a page, so that its letters keep their size."""

_OUTLINE_SHARE, _GAP = 0.52, 0.66
"""Most of the height that the outline may take; inch between plot and outline."""


@dataclass(frozen=True, eq=False)
class ShownCut:
    """What a plot shows: see `plot_centre_line`; `numbers` of the conditions, thick one first."""

    air: CutAir
    numbers: tuple[int, ...]
    openings: tuple[CutOpening, ...]
    landmarks: tuple[tuple[str, float], ...]
    placed: PlacedPoints
    first: float
    last: float

    @property
    def pascal(self) -> bool:
        """Whether it shows Pa, since Cp says nothing in one of the conditions."""
        return any(in_pascal(self.air.conditions[c]) for c in self.numbers)

    def values(self, side: CutSide, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Values and deviations as shown."""
        unit = self.air.divisor(number, self.pascal)
        return side.pressure[number] / unit, side.deviation[number] / unit

    def seen(self, side: CutSide) -> np.ndarray:
        """(n,) bool: points between the ends of the axis."""
        return (side.along >= self.first - 1e-9) & (side.along <= self.last + 1e-9)


def new_cut_figure(air: CutAir, first: float, last: float, foot: float = 0.0):
    """Axes on a figure of their own, as large as the cut needs.

    Parameters
    ----------
    air : CutAir
    first, last : m, ends of the axis
    foot : inch, kept free below
    """
    from matplotlib.figure import Figure

    if air.plane == "station":
        size, edges = (WIDTH, 4.3 + foot), (0.75, 0.25, 0.5, 0.88)
    else:
        width = WIDTH
        tall = (width - 1.0 - BESIDE / 72.0) * _height_over(air, first, last)
        tall = min(tall, 4.4)
        size, edges = (width, 3.4 + 1.38 + _GAP + tall + foot), (0.75, 0.25, 0.5, 0.88)
    figure = Figure(figsize=size, facecolor="#ffffff")
    left, right, bottom, top = edges
    box = [left, bottom + foot, size[0] - left - right, size[1] - bottom - top - foot]
    return figure.add_axes([box[0] / size[0], box[1] / size[1], box[2] / size[0], box[3] / size[1]])


def _height_over(air: CutAir, first: float, last: float) -> float:
    """Height of the outline between two stations over its length, room included."""
    low, high = _outline_range(air, first, last)
    return (high - low) / (last - first)


def _outline_range(air: CutAir, first, last) -> tuple[float, float]:
    axis = ACROSS[air.plane]
    points = np.concatenate([side.line.points for side in air.sides])
    shown = points[(points[:, 0] >= first) & (points[:, 0] <= last)][:, axis]
    room = 0.09 * max(float(np.ptp(shown)), 0.05 * (last - first))
    return float(shown.min()) - room, float(shown.max()) + room


def draw_along(axes, shown: ShownCut):
    """Pressure against the station, and the outline below."""
    outline = _axes_below(axes, shown)
    axes.set_xlim(1e3 * shown.first, 1e3 * shown.last)
    brackets = _brackets(axes, shown, 1e3)
    _set_limits(axes, shown, brackets)
    _draw_lines(axes, shown, 1e3)
    _draw_outline(outline, shown)
    _draw_landmarks((axes, outline), shown)
    _draw_brackets(axes, brackets)
    _name_sides(axes, shown, 1e3)
    _draw_measured(axes, shown, 1e3)
    axes.tick_params(labelbottom=True)
    outline.set_xlabel("Station, mm; inches above")
    inch_row(outline, above=True)
    inch_column(outline, outline.get_ylabel().replace("mm", "in"))
    _finish(axes, shown)
    return axes


def draw_girth(axes, shown: ShownCut):
    """Pressure against the way round the section, and the section beside it."""
    section = _axes_beside(axes)
    axes.set_xlim(1e3 * shown.first, 1e3 * shown.last)
    brackets = _brackets(axes, shown, 1e3)
    _set_limits(axes, shown, brackets)
    _draw_lines(axes, shown, 1e3)
    _draw_section(section, axes, shown)
    _draw_brackets(axes, brackets)
    _draw_measured(axes, shown, 1e3)
    axes.axvline(0.0, color=SOFT, lw=0.8, zorder=1.2)
    inch_row(axes)
    axes.set_xlabel(
        "Along the skin from the top centre line: left negative, right positive",
        labelpad=ROW + 2.0,
    )
    _finish(axes, shown)
    return axes


def _axes_below(axes, shown: ShownCut):
    """Axes of the outline below, on the same scale of the station; the plot takes the rest."""
    figure, box = axes.figure, axes.get_position()
    width, height = figure.get_size_inches()
    box.x1 -= BESIDE / (72.0 * width)
    tall = box.width * width * _height_over(shown.air, shown.first, shown.last)
    most = _OUTLINE_SHARE * box.height * height
    across = box.width * min(1.0, most / tall)
    tall = min(tall, most)
    figure_share, gap = tall / height, _GAP / height
    outline = figure.add_axes([box.x0, box.y0, across, figure_share], sharex=axes)
    rest = box.height - figure_share - gap
    axes.set_position([box.x0, box.y0 + figure_share + gap, across, rest])
    return outline


def _axes_beside(axes):
    """Square-scaled axes of the section at the right; the plot takes the rest."""
    figure, box = axes.figure, axes.get_position()
    box.y0 += ROW / (72.0 * axes.figure.get_size_inches()[1])
    beside = 0.31 * box.width
    axes.set_position([box.x0, box.y0, box.width - beside - 0.035, box.height])
    return figure.add_axes([box.x1 - beside, box.y0, beside, box.height])


def _set_limits(axes, shown: ShownCut, brackets):
    """Limits that leave out the rare peaks at edges; suction, negative, is up.

    Brackets get room of their own.
    """
    sides, numbers = shown.air.sides, shown.numbers
    rows = [shown.values(side, c)[0][shown.seen(side)] for side in sides for c in numbers]
    for side in sides:
        y, spread = (part[shown.seen(side)] for part in shown.values(side, numbers[0]))
        rows += [y - spread, y + spread]
    every = np.concatenate(rows)
    units = [shown.air.divisor(c, shown.pascal) for c in shown.placed.numbers]
    points = shown.placed.pressure / units if units else np.zeros(0)
    low, high = np.quantile(every, [0.01, 0.99]) if len(every) else (0.0, 0.0)
    low, high = min(low, 0.0, *points), max(high, 0.0, *points)
    span = max(high - low, 1.0 if shown.pascal else 1e-3)
    tall = axes.get_position().height * axes.figure.get_size_inches()[1] * 72.0
    rows = [
        1 + max((row for *_, up, row in brackets if up == upper), default=-1) for upper in (0, 1)
    ]
    below, above = ((8.0 + _ROW * count) / tall if count else 0.0 for count in rows)
    whole = 1.12 * span / max(1.0 - below - above, 0.3)
    axes.set_ylim(high + 0.06 * span + below * whole, low - 0.06 * span - above * whole)


def _draw_lines(axes, shown: ShownCut, scale: float):
    """Thin lines with their numbers, then the thick ones with bands and hatches."""
    axes.axhline(0.0, color=INK, lw=1.8, zorder=1.5)
    for c in shown.numbers[1:]:
        for side in shown.air.sides:
            dashes = STYLES[_style(shown, side)][1]
            x, y = scale * side.along, shown.values(side, c)[0]
            axes.plot(x, y, color=_THIN, ls=dashes, lw=0.8, zorder=2.2)
    _number_lines(axes, shown, scale)
    number = shown.numbers[0]
    for side in shown.air.sides:
        (y, spread), (colour, dashes) = shown.values(side, number), STYLES[_style(shown, side)]
        x = scale * side.along
        axes.fill_between(x, y - spread, y + spread, color=colour, alpha=_BAND, lw=0, zorder=2.0)
        _hatch(axes, x, y, spread, side, number)
        axes.plot(x, y, color=colour, ls=dashes, lw=2.0, zorder=3.0)


def _style(shown: ShownCut, side: CutSide) -> int:
    """Number of the style of a side: two along the body, one round a section."""
    first = side.name == SIDES[shown.air.plane][0]
    return 0 if first or shown.air.plane == "station" else 1


def _hatch(axes, x, y, spread, side: CutSide, number: int):
    if side.state is None:
        return
    levels = hatch_levels(side.state[number])
    # the state changes half way between two points
    middle = 0.5 * (np.arange(len(x) - 1) + np.arange(1, len(x)))
    place = np.sort(np.concatenate([np.arange(len(x)), middle - 1e-6, middle + 1e-6]))
    fine = [np.interp(place, np.arange(len(x)), part) for part in (x, y - spread, y + spread)]
    nearest = levels[np.clip(np.floor(place + 0.5).astype(int), 0, len(x) - 1)]
    for level, marks in _HATCHES.items():
        where = nearest == level
        if where.any():
            axes.fill_between(
                *fine,
                where=where,
                facecolor="none",
                edgecolor=SOFT,
                hatch=marks,
                lw=0.0,
                zorder=2.1,
            )


def _number_lines(axes, shown: ShownCut, scale: float):
    """Numbers on the thin lines, at staggered places."""
    others = shown.numbers[1:]
    left, right = axes.get_xlim()
    low, high = sorted(axes.get_ylim())
    for turn, name in enumerate(SIDES[shown.air.plane]):
        side = next((s for s in shown.air.sides if s.name == name), None)
        if side is None:
            continue
        x = scale * side.along[shown.seen(side)]
        ends = max(left, x.min()), min(right, x.max())
        for place, c in enumerate(others):
            share = (place + 0.35 + 0.3 * turn) / len(others)
            at = ends[0] + (0.06 + 0.88 * share) * (ends[1] - ends[0])
            k = int(np.abs(x - at).argmin())
            y = shown.values(side, c)[0][shown.seen(side)][k]
            if low < y < high:
                _tag(axes, x[k], y, str(place + 2))


def _tag(axes, x, y, text: str):
    box = {"boxstyle": "circle,pad=0.12", "fc": "#ffffff", "ec": _THIN, "lw": 0.6}
    axes.text(
        *(x, y, text),
        fontsize=6.5,
        color=INK,
        ha="center",
        va="center",
        zorder=4.0,
        bbox=box,
        clip_on=True,
    )


def _name_sides(axes, shown: ShownCut, scale: float):
    """Words at the thick lines, where these are far from each other."""
    pair = shown.air.sides[:2]
    if len(pair) < 2:
        return
    number, grid = shown.numbers[0], np.linspace(shown.first, shown.last, 61)[6:-6]
    low, high = sorted(axes.get_ylim())
    lines = [_on_grid(side.along, shown.values(side, number)[0], grid) for side in pair]
    gap = np.abs(np.clip(lines[0], low, high) - np.clip(lines[1], low, high))
    room = np.min([np.roll(gap, turn) for turn in (-2, -1, 0, 1, 2)], axis=0)
    k = 2 + int(room[2:-2].argmax())
    for side, line, other in zip(pair, lines, lines[::-1], strict=True):
        above = line[k] < other[k]  # suction is up
        y = float(np.clip(line[k], low, high))
        axes.annotate(
            side.name,
            (scale * grid[k], y),
            xytext=(0.0, 9.0 if above else -9.0),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=_FONT + 1.0,
            weight="bold",
            color=STYLES[_style(shown, side)][0],
            zorder=5.0,
            bbox={"boxstyle": "square,pad=0.08", "fc": "#ffffff", "ec": "none", "alpha": 0.8},
        )


def _on_grid(along, values, grid) -> np.ndarray:
    """Values at stations, whichever way a line goes there."""
    order = np.argsort(along, kind="stable")
    return np.interp(grid, along[order], values[order])


def _draw_measured(axes, shown: ShownCut, scale: float):
    """Points with bars: filled for the first side, open for the second, a number for the others."""
    placed = shown.placed
    for k in range(len(placed.points)):
        c, side = int(placed.numbers[k]), shown.air.sides[int(placed.sides[k])]
        unit = shown.air.divisor(c, shown.pascal)
        first = side.name == SIDES[shown.air.plane][0]
        x, y = scale * placed.along[k], placed.pressure[k] / unit
        axes.errorbar(
            *(x, y, placed.deviation[k] / unit),
            fmt="o" if first else "s",
            color=INK,
            mfc=INK if first else "#ffffff",
            ms=4.5,
            elinewidth=1.1,
            capsize=2.5,
            zorder=6.0,
        )
        label = picture_text(placed.points[k].name, 16)
        if c != shown.numbers[0]:
            label += f" ({shown.numbers.index(c) + 1})"
        axes.annotate(
            *(label, (x, y)),
            xytext=(5.0, 3.0),
            textcoords="offset points",
            fontsize=6.5,
            color=INK,
            zorder=6.0,
            annotation_clip=True,
        )


def _brackets(axes, shown: ShownCut, scale: float) -> list[tuple]:
    """(ends, middle of the name, name, whether at the upper edge, row) of every opening.

    At the upper edge, along the body those of the second side at the lower one.
    """
    left, right = axes.get_xlim()
    inch = axes.get_position().width * axes.figure.get_size_inches()[0]
    taken: dict[bool, list[tuple[float, float, int]]] = {True: [], False: []}
    found = []
    for name, upper, ends in _spans(shown, scale):
        ends = sorted(np.clip(ends, left, right))
        if ends[1] - ends[0] <= 0.0:
            continue
        text = picture_text(name, 24)
        half = 0.5 * (right - left) * (text_size(text, _SMALL)[0] + 6.0) / (72.0 * inch)
        middle = float(np.clip(np.mean(ends), left + half, right - half))
        span = min(ends[0], middle - half), max(ends[1], middle + half)
        row = _free_row(taken[upper], span)
        taken[upper].append((*span, row))
        found.append((ends, middle, text, upper, row))
    return found


def _spans(shown: ShownCut, scale: float) -> list[tuple[str, bool, list[float]]]:
    """Name, edge and ends on the axis of every opening; parts that touch are one."""
    spans: list[tuple[str, bool, list[float]]] = []
    for opening in shown.openings:
        side = shown.air.sides[opening.side]
        ends = [scale * shown.air.along_at(side, arc) for arc in (opening.first, opening.last)]
        upper = _style(shown, side) == 0
        name, edge, before = spans[-1] if spans else ("", upper, [])
        if name == opening.name and edge == upper and set(before) & set(ends):
            spans[-1] = (name, edge, [min(*before, *ends), max(*before, *ends)])
        else:
            spans.append((opening.name, upper, ends))
    return spans


def _draw_brackets(axes, brackets):
    tall = axes.get_position().height * axes.figure.get_size_inches()[1] * 72.0
    for ends, middle, text, upper, row in brackets:
        depth = (7.0 + _ROW * row) / tall
        y, step = (1.0 - depth, -4.0 / tall) if upper else (depth, 4.0 / tall)
        _bracket(axes, ends, y, step, middle, text, 2.2 * step)


def _free_row(taken, span) -> int:
    used = {row for first, last, row in taken if first < span[1] and span[0] < last}
    return next(row for row in range(len(used) + 1) if row not in used)


def _bracket(axes, ends, y, step, middle, text, below):
    way = axes.get_xaxis_transform()
    heights = [y + step, y, y, y + step]
    axes.plot(
        *([ends[0], ends[0], ends[1], ends[1]], heights),
        color=_OPEN,
        lw=1.6,
        transform=way,
        zorder=5.0,
        solid_capstyle="butt",
    )
    axes.text(
        *(middle, y + below, text),
        transform=way,
        ha="center",
        va="top" if step < 0.0 else "bottom",
        fontsize=_SMALL,
        color=_OPEN,
        zorder=5.0,
        bbox={"boxstyle": "square,pad=0.05", "fc": "#ffffff", "ec": "none", "alpha": 0.85},
    )


def _draw_outline(outline, shown: ShownCut):
    """The body cut by the plane, to scale, with its openings."""
    axis = ACROSS[shown.air.plane]
    for line in _whole_lines(shown.air):
        outline.fill(1e3 * line[:, 0], 1e3 * line[:, axis], fc="#eef1f2", ec=INK, lw=0.9)
    low, high = _outline_range(shown.air, shown.first, shown.last)
    outline.set_ylim(1e3 * low, 1e3 * high)
    _mark_openings(outline, shown, 0, axis)
    word = {"butt line": "Waterline, mm", "waterline": "Butt line, mm (right up)"}[shown.air.plane]
    outline.set_ylabel(word, fontsize=_FONT, color=INK)
    _plain(outline)


def _whole_lines(air: CutAir) -> list[np.ndarray]:
    """Points of every line of a cut, both sides joined."""
    lines, k = [], 0
    while k < len(air.sides):
        pair = air.sides[k : k + 2]
        both = len(pair) == 2 and np.allclose(pair[0].line.points[0], pair[1].line.points[0])
        if both:
            lines.append(np.vstack([pair[0].line.points, pair[1].line.points[::-1]]))
        else:
            lines.append(pair[0].line.points)
        k += 2 if both else 1
    return lines


def _mark_openings(axes, shown: ShownCut, across: int, upward: int):
    """Openings as thick pieces of the outline."""
    for opening in shown.openings:
        side = shown.air.sides[opening.side]
        arcs = np.linspace(opening.first, opening.last, 25)
        way = 1e3 * np.array([side.line.place_at(arc) for arc in arcs])
        axes.plot(way[:, across], way[:, upward], color="#ffffff", lw=3.2, zorder=3.0)
        axes.plot(
            way[:, across], way[:, upward], color=_OPEN, lw=2.2, ls=(0, (1.2, 0.8)), zorder=3.1
        )
        ends = way[[0, -1]]
        axes.plot(ends[:, across], ends[:, upward], "o", ms=3.4, color=_OPEN, zorder=3.2)


def _draw_landmarks(both, shown: ShownCut):
    """Stations with a name: thin lines through plot and outline."""
    for name, station in shown.landmarks:
        if not shown.first < station < shown.last:
            continue
        for part in both:
            part.axvline(1e3 * station, color=SOFT, lw=0.9, ls=(0, (5.0, 2.0)), zorder=1.3)
        both[1].annotate(
            picture_text(name, 24),
            (1e3 * station, 0.98),
            xycoords=("data", "axes fraction"),
            xytext=(-2.0, 0.0),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="top",
            fontsize=_SMALL,
            color=INK,
            bbox={"boxstyle": "square,pad=0.05", "fc": "#ffffff", "ec": "none", "alpha": 0.7},
        )


def _draw_section(section, axes, shown: ShownCut):
    """The section seen from behind, with the numbers of the axis at their places."""
    for line in _whole_lines(shown.air):
        section.fill(1e3 * line[:, 1], 1e3 * line[:, 2], fc="#eef1f2", ec=INK, lw=0.9)
    _mark_openings(section, shown, 1, 2)
    points = np.concatenate([side.line.points for side in shown.air.sides])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))[1:]
    for side in shown.air.sides[:2]:
        for tick in axes.get_xticks():
            sign = -1.0 if side.name == "left" else 1.0
            arc = sign * tick / 1e3
            if not (0.0 < arc < side.line.length or (tick == 0.0 and side.name == "right")):
                continue
            place = side.line.place_at(arc)[1:]
            inward = middle - place
            inward = inward / max(float(np.linalg.norm(inward)), 1e-9)
            section.plot(*(1e3 * place), "o", ms=3.0, color=INK, zorder=4.0)
            section.annotate(
                whole_number(tick),
                1e3 * place,
                xytext=13.0 * inward,
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=_SMALL,
                color=INK,
            )
    foot = scale_bars(section, 1e3 * np.array([points[:, 1].min(), points[:, 1].max()]),
               1e3 * float(points[:, 2].min()))  # fmt: skip
    section.text(
        *(middle[0], foot, "Seen from behind,\nnumbers in mm as on the axis"),
        fontsize=_SMALL,
        color=INK,
        ha="center",
        va="top",
    )
    section.set_aspect("equal", adjustable="box", anchor="C")
    section.margins(0.06)
    section.set_axis_off()


def _finish(axes, shown: ShownCut):
    """Names, key of the thin lines and legend of the hatches."""
    unit = "Pressure, Pa" if shown.pascal else "Cp"
    axes.set_ylabel(f"{unit} (suction up, pressure down)", fontsize=_FONT, color=INK)
    axes.xaxis.label.set(fontsize=_FONT, color=INK)
    _plain(axes)
    if shown.pascal and shown.air.plane != "station":
        water_column(axes)
    for part in axes.figure.axes:
        part.xaxis.label.set(fontsize=_FONT, color=INK)
    box, size = axes.get_position(), axes.figure.get_size_inches()
    # the axes may be narrower than the place: words may use the whole page
    room = (0.98 - box.x0) * size[0] * 72.0
    names = [picture_text(shown.air.conditions[c].name, 40) for c in shown.numbers]
    lines = []
    if len(names) > 1:
        key = "Thin lines: " + "; ".join(f"{k} {n}" for k, n in enumerate(names[1:], start=2))
        lines = wrapped(key, room, _SMALL)
    legend = _legend(axes, shown)
    lift = (2.0 + (13.0 if legend else 0.0)) / (72.0 * size[1] * box.height)
    text = "\n".join(lines)
    axes.text(
        0.0, 1.0 + lift, text, transform=axes.transAxes, fontsize=_SMALL, color=INK, va="bottom"
    )
    pad = 4.0 + (13.0 if legend else 0.0) + 1.22 * _SMALL * len(lines)
    name = shown.air.name[0].upper() + shown.air.name[1:]
    title = f"{name}: {names[0]}"
    axes.set_title(title, loc="left", fontsize=_TITLE, weight="bold", color=INK, pad=pad)


def _legend(axes, shown: ShownCut) -> bool:
    """Words of the hatches that occur, above the plot."""
    from matplotlib.patches import Patch

    number = shown.numbers[0]
    levels = {
        int(level)
        for side in shown.air.sides
        if side.state is not None
        for level in np.unique(hatch_levels(side.state[number])[shown.seen(side)])
    }
    entries = [(level, words) for level, words in SEPARATION_LEGEND if level in levels]
    if not entries:
        return False
    handles = [
        Patch(facecolor="#ffffff", edgecolor=SOFT, hatch=_HATCHES[level], lw=0.6, label=words)
        for level, words in entries
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(-0.005, 0.995),
        ncols=len(handles),
        frameon=False,
        fontsize=_SMALL,
        handlelength=2.6,
        borderpad=0.2,
        borderaxespad=0.0,
        columnspacing=1.6,
    )
    return True


def _plain(axes):
    axes.grid(color=PALE, lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_SMALL, color=SOFT, labelcolor=INK)
    axes.spines[:].set(color=SOFT, linewidth=0.7)
