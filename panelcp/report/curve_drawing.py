"""Drawing of the curves a builder asks for.

Every line has a colour and dashes of its own, so that grey prints can be read too, and its name at
its end. Zero is thick; bands are 16 to 84 %, or one standard deviation.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.placement.curves import SideTable, SkinLine, StationAnswer
from panelcp.placement.sweeps import (
    AIRSPEED,
    ALPHA,
    BEARING,
    FACTOR,
    KNOT,
    POWER,
    SIDESLIP,
    Sweep,
)
from panelcp.report.sheets import picture_text
from panelcp.report.tables import IN_H2O

WIDTH = 5.6
"""Inch."""

INK, SOFT, PALE = "#1d2326", "#566067", "#dfe4e6"
_FONT, _SMALL, _TITLE = 10.5, 9.5, 11.5
_BAND = 0.13
_LONGEST = 22

STYLES = (
    ("#0a6b86", (0, ())),
    ("#b4480c", (0, (6.0, 2.0))),
    ("#5a3d99", (0, (6.0, 1.6, 1.2, 1.6))),
    ("#4c6414", (0, (1.4, 1.4))),
    ("#8f1d53", (0, (9.0, 1.6, 1.2, 1.6, 1.2, 1.6))),
    ("#3d464b", (0, (3.0, 3.0))),
)
"""Colour and dashes of lines; the sides take them in the order of SIDE_STYLES."""

SIDE_STYLES = {
    side: STYLES[k] for k, side in enumerate(("top", "bottom", "right", "left", "front", "rear"))
}
ANSWER_MARKS = "oDs"
SIDE_MARKS = {"top": "^", "bottom": "v", "right": ">", "left": "<", "front": "o", "rear": "s"}

AXES = {
    SIDESLIP: "Sideslip, ° (positive: wind from the right)",
    ALPHA: "Angle of attack, °",
    POWER: "Power, % of rated",
    FACTOR: "Slipstream factor",
    AIRSPEED: "Airspeed, kt",
    BEARING: "Wind from, ° right of the nose",
}
SCALES = {POWER: 0.01, AIRSPEED: KNOT}
"""What a value is divided by to be shown."""


def draw_sides(axes, table: SideTable, conditions):
    """Exit Cp of the best exit of each side, one row for every condition in flight.

    Parameters
    ----------
    axes : matplotlib Axes
    table : SideTable
    conditions : FlightCondition, in order

    Returns
    -------
    the Axes
    """
    flying = np.flatnonzero(np.isfinite(table.dynamic_pressure))
    deviation = table.exit_deviation / table.dynamic_pressure[:, None]
    count = len(table.sides)
    for k, side in enumerate(table.sides):
        height = np.arange(len(flying)) + 0.68 * ((k + 0.5) / count - 0.5)
        axes.errorbar(
            *(table.exit_cp[flying, k], height),
            xerr=deviation[flying, k],
            fmt=SIDE_MARKS[side],
            color=SIDE_STYLES[side][0],
            ms=6.0,
            elinewidth=1.2,
            label=side,
        )
    axes.axvline(0.0, color=INK, lw=2.2, zorder=1)
    for place in range(len(flying) - 1):
        axes.axhline(place + 0.5, color=PALE, lw=0.8, zorder=0)
    axes.set_yticks(range(len(flying)), [picture_text(conditions[c].name, 26) for c in flying])
    axes.set_ylim(len(flying) - 0.45, -0.55)
    axes.set_xlabel("Cp at the exit (left of zero draws air out)")
    axes.legend(
        loc="lower right",
        bbox_to_anchor=(1.02, 1.0),
        ncols=count,
        frameon=False,
        fontsize=_SMALL,
        handletextpad=0.1,
        columnspacing=1.0,
    )
    return _plain(axes, grid="x")


def draw_skin_lines(axes, lines: Sequence[SkinLine], number: int, foot: float | None = None):
    """Pressure along top, bottom and sides in one condition, Pa and inH2O.

    Parameters
    ----------
    axes : matplotlib Axes
    lines : SkinLine of different sides
    number : of the condition
    foot : m, station of the windshield's foot

    Returns
    -------
    the Axes
    """
    ends = []
    for line in lines:
        style = SIDE_STYLES[line.side]
        station, pressure = 1e3 * line.station, line.pressure[number]
        _banded(axes, station, pressure, line.deviation[number], style)
        ends.append((pressure[-1], line.side, style))
    _usual_limits(axes, [line.pressure[number] for line in lines])
    _zero(axes)
    _foot(axes, foot)
    _end_labels(axes, ends, room=0.17)
    axes.set_xlabel("Station, mm")
    axes.set_ylabel("Pressure on the skin, Pa")
    _second_axis(axes)
    return _plain(axes)


def draw_forward(
    axes,
    moved: SkinLine,
    numbers: Sequence[int],
    answers: Sequence[StationAnswer] = (),
    foot: float | None = None,
):
    """Cp of an opening moved along the top centre line, in some conditions.

    Parameters
    ----------
    axes : matplotlib Axes
    moved : SkinLine of an opening
    numbers : of conditions in flight; the first has its band and its stations shown
    answers : StationAnswer; those that have a station are marked
    foot : m, station of the windshield's foot

    Returns
    -------
    the Axes
    """
    ends, station = [], 1e3 * moved.station
    for k, number in enumerate(numbers):
        style = STYLES[k]
        if k == 0:
            _banded(axes, station, moved.cp[number], moved.cp_deviation[number], style)
        else:
            axes.plot(station, moved.cp[number], color=style[0], ls=style[1], lw=1.7)
        name = picture_text(moved.conditions[number].name, _LONGEST)
        ends.append((moved.cp[number, -1], name, style))
    _usual_limits(axes, [moved.cp[number] for number in numbers])
    _zero(axes)
    _foot(axes, foot)
    _end_labels(axes, ends, room=0.38)
    for k, answer in enumerate(answers):
        _mark_answer(axes, moved, answer, numbers[0], k)
    axes.set_xlabel("Station of the opening's middle, mm")
    axes.set_ylabel("Cp, mean over the opening")
    return _plain(axes)


def _mark_answer(axes, moved: SkinLine, answer: StationAnswer, number: int, k: int):
    """Mark a station on the curve, its band as a line, and say at the lower right what it is."""
    place, mark = answer.station[number], ANSWER_MARKS[k % len(ANSWER_MARKS)]
    found = np.isfinite(place)
    if found:
        height = float(np.interp(place, moved.station, moved.cp[number]))
        ends = np.array([answer.low[number], answer.high[number]])
        ends = 1e3 * np.where(np.isnan(ends), moved.station[0], ends)
        axes.plot(ends, [height, height], color=INK, lw=1.3, zorder=4)
        style = {"color": INK, "mfc": "#ffffff", "ms": 6.5, "mew": 1.5}
        axes.plot([1e3 * place], [height], mark, zorder=5, **style)
        axes.plot([0.575], [0.20 - 0.07 * k], mark, transform=axes.transAxes, **style)
    word = answer.asked.partition(" with ")[0]
    axes.text(
        *(0.595, 0.20 - 0.07 * k),
        f"{word}: {f'{1e3 * place:.0f}' if found else 'nowhere'}",
        transform=axes.transAxes,
        va="center",
        fontsize=_SMALL,
        color=INK,
        zorder=6,
        bbox={"boxstyle": "square,pad=0.1", "fc": "#ffffff", "ec": "none"},
    )


def draw_sweep(axes, sweep: Sweep, shown: Sequence[int]):
    """Available pressure while one number of a condition changes, Pa and inH2O.

    Parameters
    ----------
    axes : matplotlib Axes
    sweep : Sweep
    shown : numbers of its pairs; those of `banded_pairs` get their bands

    Returns
    -------
    the Axes
    """
    x, ends = shown_values(sweep), []
    for k in banded_pairs(sweep, shown):
        colour = SIDE_STYLES[sweep.exits[k].side][0]
        axes.fill_between(x, sweep.low[k], sweep.high[k], color=colour, alpha=_BAND, lw=0)
    for k in shown:
        style = SIDE_STYLES[sweep.exits[k].side]
        axes.plot(x, sweep.available[k], color=style[0], ls=style[1], lw=1.9)
        ends.append((sweep.available[k, -1], picture_text(sweep.exits[k].name, _LONGEST), style))
    if np.isfinite(sweep.needed).any():
        axes.plot(x, sweep.needed, color=SOFT, lw=3.0, alpha=0.55, solid_capstyle="butt")
        ends.append((sweep.needed[-1], "needed", (SOFT, (0, ()))))
    _zero(axes)
    if np.isfinite(sweep.base_value):
        base = sweep.base_value / SCALES.get(sweep.quantity, 1.0)
        axes.axvline(base, color=SOFT, lw=0.9, ls=(0, (2.0, 2.0)), zorder=1)
    _end_labels(axes, ends, room=0.29)
    axes.set_xlabel(_axis_name(sweep))
    axes.set_ylabel("Available, Pa")
    _second_axis(axes)
    return _plain(axes)


def banded_pairs(sweep: Sweep, shown: Sequence[int]) -> list[int]:
    """The pairs whose bands are drawn: the first, and the best in the middle; more would blur."""
    best = max(shown, key=lambda k: float(np.median(sweep.available[k])))
    return list(dict.fromkeys([shown[0], best]))


def draw_wind(axes, sweep: Sweep, shown: Sequence[int]):
    """Available pressure round the bearings of the wind; outside the thick circle air goes out.

    Parameters
    ----------
    axes : matplotlib polar Axes
    sweep : Sweep of the bearing
    shown : numbers of its pairs

    Returns
    -------
    the Axes
    """
    angle = np.radians(sweep.values)
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    sure = np.where(sweep.predicted, 1.0, np.nan)
    for k in banded_pairs(sweep, shown):
        colour, band = SIDE_STYLES[sweep.exits[k].side][0], (sweep.low[k], sweep.high[k])
        axes.fill_between(angle, *(sure * part for part in band), color=colour, alpha=_BAND, lw=0)
    for k in shown:
        colour, dashes = SIDE_STYLES[sweep.exits[k].side]
        name = f"{picture_text(sweep.exits[k].name, _LONGEST)} ({sweep.exits[k].side})"
        axes.plot(angle, sweep.available[k], color=colour, ls=dashes, lw=1.9, label=name)
    values = np.append(sweep.available[list(shown)], 0.0)
    span = max(float(np.ptp(values)), 1.0)
    low, high = values.min() - 0.35 * span, values.max() + 0.1 * span
    axes.plot(np.linspace(0.0, 2.0 * np.pi, 181), np.zeros(181), color=INK, lw=2.2)
    width = float(np.median(np.diff(angle)))
    blind = np.unique(np.mod(angle[~sweep.predicted], 2.0 * np.pi).round(6))
    axes.bar(blind, high - low, width, low, color=SOFT, alpha=0.16, lw=0, zorder=0)
    axes.set_rlim(low, high)
    axes.yaxis.get_major_locator().base.set_params(nbins=4)
    axes.set_xticks(np.radians([0, 45, 90, 135, 180, 225, 270, 315]))
    axes.set_xticklabels(["ahead", "45°", "right", "135°", "behind", "135°", "left", "45°"])
    axes.tick_params(labelsize=_SMALL)
    axes.set_rlabel_position(-22.0)
    axes.grid(color=PALE, lw=0.7)
    axes.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, -0.08),
        ncols=2,
        frameon=False,
        fontsize=_SMALL,
        handlelength=3.4,
    )
    return axes


def _banded(axes, x, y, deviation, style):
    axes.fill_between(x, y - deviation, y + deviation, color=style[0], alpha=_BAND, lw=0)
    axes.plot(x, y, color=style[0], ls=style[1], lw=1.9)


def _usual_limits(axes, values):
    """Limits that leave out the rare peaks at edges."""
    every = np.concatenate(values)
    low, high = np.quantile(every, [0.02, 0.98])
    low, high = min(low, 0.0), max(high, 0.0)
    room = 0.18 * max(high - low, 1e-9)
    axes.set_ylim(max(every.min(), low - room) - 0.3 * room, min(every.max(), high + room) + room)


def _zero(axes):
    axes.axhline(0.0, color=INK, lw=2.2, zorder=1.5)


def _foot(axes, foot: float | None):
    if foot is None:
        return
    axes.axvline(1e3 * foot, color=SOFT, lw=1.0)
    axes.annotate(
        "windshield foot",
        (1e3 * foot, 0.02),
        xycoords=("data", "axes fraction"),
        xytext=(-3.0, 0.0),
        textcoords="offset points",
        rotation=90,
        ha="right",
        va="bottom",
        fontsize=_SMALL,
        color=SOFT,
        bbox={"boxstyle": "square,pad=0.05", "fc": "#ffffff", "ec": "none", "alpha": 0.8},
    )


def _end_labels(axes, ends, room: float):
    """Names at the ends of lines, moved apart; `room` is kept free for them, parts of the width."""
    data = [line.get_xdata() for line in axes.lines if len(line.get_xdata()) > 2]
    left, right = min(d[0] for d in data), max(d[-1] for d in data)
    axes.set_xlim(left, right + room / (1.0 - room) * (right - left))
    ticks = axes.get_xticks()
    axes.set_xticks(ticks[(ticks >= left - 1e-9) & (ticks <= right + 1e-9)])
    bottom, top = axes.get_ylim()
    axes.set_ylim(bottom, top)
    box = axes.get_position()
    height = box.height * axes.figure.get_size_inches()[1] * 72.0
    gap = 1.2 * _SMALL / height
    wanted = np.array([(y - bottom) / (top - bottom) for y, _, _ in ends])
    places = spread_apart(np.clip(wanted, 0.0, 1.0), gap, 0.5 * gap, 1.0 - 0.5 * gap)
    for place, (_, text, (colour, _)), start in zip(places, ends, wanted, strict=True):
        heights = bottom + np.clip([start, place], 0.0, 1.0) * (top - bottom)
        way = right + np.array([0.0, 0.02]) * (right - left)
        axes.plot(way, heights, color=colour, lw=0.8)
        beside = way[1] + 0.005 * (right - left)
        axes.text(
            *(beside, heights[1], text),
            fontsize=_SMALL,
            color=colour,
            weight="bold",
            va="center",
        )


def spread_apart(wanted, gap: float, low: float, high: float) -> np.ndarray:
    """Places near wanted ones, in the same order, at least a gap apart, between low and high.

    Too many for the room share it evenly.

    Examples
    --------
    >>> spread_apart(np.array([0.5, 0.5, 0.9]), 0.1, 0.0, 1.0).round(3).tolist()
    [0.45, 0.55, 0.9]
    """
    order = np.argsort(wanted, kind="stable")
    places = np.asarray(wanted, dtype=float)[order].copy()
    gap = min(gap, (high - low) / max(len(places) - 1, 1))
    groups = [[place, 1] for place in places]  # middle and count of labels that touch
    k = 0
    while k < len(groups):
        middle, count = groups[k]
        half = 0.5 * gap * (count - 1)
        groups[k][0] = middle = float(np.clip(middle, low + half, high - half))
        before = groups[k - 1] if k else None
        if before and middle - half - before[0] - 0.5 * gap * (before[1] - 1) < gap - 1e-12:
            both = before[1] + count
            groups[k - 1 : k + 1] = [[(before[0] * before[1] + middle * count) / both, both]]
            k -= 1
        else:
            k += 1
    spread = [m + gap * (j - 0.5 * (n - 1)) for m, n in groups for j in range(n)]
    found = np.empty_like(places)
    found[order] = spread
    return found


def _second_axis(axes):
    """inH2O at the right."""
    other = axes.secondary_yaxis("right", functions=(lambda p: p / IN_H2O, lambda h: h * IN_H2O))
    other.set_ylabel("inH2O", fontsize=_FONT, color=INK)
    other.tick_params(labelsize=_SMALL, color=SOFT, labelcolor=INK)
    other.spines[:].set(color=SOFT, linewidth=0.7)


def _plain(axes, grid: str = "both"):
    axes.grid(axis=grid, color=PALE, lw=0.7, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_SMALL, color=SOFT, labelcolor=INK)
    axes.spines[:].set(color=SOFT, linewidth=0.7)
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set(fontsize=_FONT, color=INK)
    return axes


def shown_values(sweep: Sweep) -> np.ndarray:
    """(n,) float: values in the unit of their axis."""
    return sweep.values / SCALES.get(sweep.quantity, 1.0)


def _axis_name(sweep: Sweep) -> str:
    if sweep.quantity != AIRSPEED:
        return AXES[sweep.quantity]
    word = "true" if sweep.base.calibrated_airspeed is None else "calibrated"
    return f"{AXES[AIRSPEED]} {word}"


def new_figure(height: float, title: str, edges, rows: int = 1, space: float = 0.0, **axes_options):
    """A figure with axes below each other; edges left, right, bottom, top in inches."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), facecolor="#ffffff")
    axes = figure.subplots(rows, 1, squeeze=False, subplot_kw=axes_options)[:, 0]
    left, right, bottom, top = edges
    free = (height - bottom - top - space * (rows - 1)) / rows
    figure.subplots_adjust(
        left=left / WIDTH,
        right=1.0 - right / WIDTH,
        bottom=bottom / height,
        top=1.0 - top / height,
        hspace=space / free,
    )
    figure.text(
        *(0.12 / WIDTH, 1.0 - 0.08 / height, title),
        fontsize=_TITLE,
        weight="bold",
        color=INK,
        va="top",
    )
    return figure, axes
