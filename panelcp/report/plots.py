"""Plots for notebooks and scripts of what is no map; each gives the matplotlib Axes it drew on.

Without `axes` a figure is made that has the room it needs and shows itself in a notebook, under
any backend. With `axes` nothing of its figure is cleared or moved. Everything is told apart in
grey too: by place, hatch, dashes or mark, and by words. Pressures are in Pa, margins in K.

What is drawn may be given as a finished run, its contents, or the record itself::

    run = run_case("cowl.toml")
    plot_margins(run)
    plot_condition_ratios(run, pair=0)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np

from panelcp.cooling.results import CoolingResult
from panelcp.display import ENOUGH_MARGIN, LEAST_MARGIN, LOOK, STOP, ratio_word
from panelcp.errors import NetworkError, PlacementError
from panelcp.placement.curves import Curves
from panelcp.placement.ranking import OpeningRanking
from panelcp.placement.sweeps import Sweep
from panelcp.report.contents import percent
from panelcp.report.cooling_diagram import budget_parts, kelvin_text
from panelcp.report.cooling_section import hardest
from panelcp.report.cooling_tables import (
    core_word,
    readable,
    watched,
)
from panelcp.report.curve_drawing import (
    INK,
    PALE,
    SOFT,
    STYLES,
    draw_skin_lines,
    draw_sweep,
    draw_wind,
)
from panelcp.report.curves import shown_pairs
from panelcp.report.page_style import LIGHT
from panelcp.report.sensitivity_section import LEAST_SHARE
from panelcp.report.sheets import picture_text

WIDTH = 7.2
"""Inch."""

DOTS_PER_INCH = 110
FONT, SMALL = 9.5, 8.5
NAME_WIDTH = 150.0
"""Points; longer names go on in the next line."""

LONGEST_NAME = 90
WORD_COLOURS = {STOP: LIGHT["bad"], LOOK: LIGHT["warn"], "good": LIGHT["good"], "": SOFT}
WORD_HATCHES = {STOP: "////", LOOK: "..", "good": "", "": "xx"}
"""The words stand beside the bars, too."""

FAN_MARKS = "osD^v<>Ph*X"
STEP_HATCHES = ("", "///", "...", "\\\\\\", "xx", "---", "ooo", "|||")
STEP_COLOURS = ("#0a6b86", "#d9a441", "#5a3d99", "#8f9a3c", "#b4480c", "#9aa5ab", "#8f1d53")
SCALE_ENDS = (-40.0, 60.0)
"""K; bars that are longer end with an arrow, their numbers stand beside them."""

FAR = 1e4
"""K; where no air flows the margin has no end, and a bar must have one."""

RATIO_ENDS = (-1.0, 4.0)
"""Of available over needed; the same."""


# --- figures -------------------------------------------------------------------------------


@cache
def own_classes():
    """Figure and Axes that show themselves in a notebook, whatever the backend."""
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.projections.polar import PolarAxes

    class NotebookFigure(Figure):
        """A figure with pixels of its own."""

        def __init__(self, *arguments, **options):
            super().__init__(*arguments, **options)
            FigureCanvasAgg(self)

        def _repr_png_(self) -> bytes:
            return figure_png(self)

    class Shown:
        """Shows the figure that it is on."""

        def _repr_png_(self) -> bytes:
            return figure_png(self.figure)

    class NotebookAxes(Shown, Axes):
        """Axes that show themselves."""

    class NotebookPolarAxes(Shown, PolarAxes):
        """Polar axes that show themselves."""

    return NotebookFigure, NotebookAxes, NotebookPolarAxes


def figure_png(figure) -> bytes:
    """A figure as PNG, at its own dots per inch."""
    import io

    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi="figure", metadata={"Software": None})
    return stream.getvalue()


def _drawn(draw: Callable, axes, height: float):
    """Let `draw` fill the axes given, or those of a new figure of a height in inch."""
    from panelcp.report.sheet_base import own_look

    with own_look():
        if axes is None:
            figure_class, axes_class, _ = own_classes()
            figure = figure_class(
                figsize=(WIDTH, height),
                dpi=DOTS_PER_INCH,
                facecolor="#ffffff",
                layout="constrained",
            )
            figure.get_layout_engine().set(w_pad=0.1, h_pad=0.1)
            axes = figure.add_subplot(axes_class=axes_class)
        draw(axes)
    return axes


def _rows_height(count: int, lines: int = 1) -> float:
    return 1.3 + (0.16 + 0.2 * lines) * count


def _name(text: str) -> str:
    """A name in as many lines as it needs, in letters that the font has."""
    from panelcp.report.labels import wrapped

    return "\n".join(wrapped(picture_text(text, LONGEST_NAME), NAME_WIDTH, FONT))


def _rows(axes, names: Sequence[str], title: str):
    """One row for every name, the first uppermost."""
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_yticks(range(len(names)), [_name(name) for name in names])
    axes.set_title(title, loc="left", fontsize=FONT + 1.5, weight="bold", color=INK)
    axes.tick_params(labelsize=FONT, color=SOFT, labelcolor=INK)
    axes.grid(axis="x", color=PALE, lw=0.7)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set(color=SOFT, linewidth=0.7)
    for label in axes.get_yticklabels():
        label.set_parse_math(False)


def _beside(axes, row: float, text: str, colour: str = INK, weight: str = "normal"):
    """A text to the right of the axes, in the row of its bar."""
    axes.annotate(
        text,
        (1.0, row),
        xycoords=("axes fraction", "data"),
        xytext=(4.0, 0.0),
        textcoords="offset points",
        va="center",
        fontsize=SMALL,
        color=colour,
        weight=weight,
        annotation_clip=False,
        parse_math=False,
    )


def _axis_name(axes, text: str):
    axes.set_xlabel(text, fontsize=FONT, color=INK)


# --- what is drawn -------------------------------------------------------------------------


def _contents(found):
    """The contents of a run, or what was given."""
    return getattr(found, "contents", found)


def _ranking(found) -> tuple[OpeningRanking, tuple[str, ...], np.ndarray]:
    """A ranking, the names of its conditions, and which of them are predicted."""
    found = _contents(found)
    if isinstance(found, OpeningRanking):
        sampled = None if found.bands is None else found.bands.samples.predicted
        every = np.ones(len(found.decides), dtype=bool)
        return found, found.condition_names, every if sampled is None else sampled
    ranking = getattr(found, "ranking", None)
    if ranking is None:
        raise PlacementError(
            f"{type(found).__name__} holds no ranking of openings; give a run of run_case or "
            "rank_case, its contents, or an OpeningRanking"
        )
    names = tuple(condition.name for condition in found.flow.conditions)
    return ranking, names, found.flow.predicted


def _cooling(found) -> CoolingResult:
    found = _contents(found)
    result = found if isinstance(found, CoolingResult) else getattr(found, "cooling", None)
    if result is None:
        raise NetworkError(
            f"{type(found).__name__} holds no cooling network; give at least one [[core]] in the "
            "case and run it with run_case or cool_case"
        )
    return readable(result)


def _curves(found) -> Curves:
    found = _contents(found)
    curves = found if isinstance(found, Curves) else getattr(found, "curves", None)
    if curves is None:
        raise PlacementError(
            f"{type(found).__name__} holds no curves; give a run of run_case, its contents, or "
            "Curves"
        )
    return curves


def _pair(ranking: OpeningRanking, pair: int) -> int:
    if not 0 <= pair < ranking.n_pairs:
        raise PlacementError(
            f"pair {pair} is not there; the ranking has {ranking.n_pairs}, counted from 0, the best"
        )
    return pair


def _number_of(names: Sequence[str], wanted, what: str, error) -> int:
    """Number of a thing by its name or its number."""
    if isinstance(wanted, str):
        if wanted in names:
            return list(names).index(wanted)
    elif 0 <= wanted < len(names):
        return int(wanted)
    raise error(f"no {what} {wanted!r}; there are: {', '.join(names) or 'none'}")


# --- ranking -------------------------------------------------------------------------------


def plot_ranking(found, count: int | None = None, axes=None):
    """Least available over needed pressure of the best places that do not overlap.

    Parameters
    ----------
    found : a run, its contents, or an OpeningRanking
    count : of places; that of the case, or 5
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes

    Raises
    ------
    PlacementError : no ranking in it
    """
    ranking, names, _ = _ranking(found)
    count = count or getattr(_contents(found), "best", 5)
    pairs = ranking.distinct(count)

    def draw(axes):
        ratio = ranking.least_ratio[pairs]
        deviation = np.array([ranking.least_ratio_deviation(pair) for pair in pairs])
        _ratio_bars(axes, ratio, deviation)
        labels = [
            f"{k}: {ranking.exit(p).name}, in by {ranking.inlet(p).name}"
            for k, p in enumerate(pairs, start=1)
        ]
        _rows(axes, labels, "Best places, by pressure")
        for row, pair in enumerate(pairs):
            sure = percent(ranking.least_sufficiency[pair])
            where = picture_text(names[ranking.limiting[pair]], 34)
            _beside(
                axes, row, f"{_ratio_text(ratio[row], deviation[row])}\nenough: {sure}\n{where}"
            )
        _axis_name(axes, "Least available over needed pressure (1 is just enough)")

    return _drawn(draw, axes, _rows_height(len(pairs), 2))


def plot_condition_ratios(found, pair: int = 0, axes=None):
    """Available over needed pressure of one pair in every condition, with its deviation.

    Parameters
    ----------
    found : a run, its contents, or an OpeningRanking
    pair : number in the ranking, 0 the best
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes; bars of conditions in which nothing is asked for are left out and named beside

    Raises
    ------
    PlacementError : no ranking in it, no such pair
    """
    ranking, names, predicted = _ranking(found)
    pair = _pair(ranking, pair)
    ratio = ranking.ratio[:, pair]
    deviation = ratio_deviation(ranking, pair)

    def draw(axes):
        _ratio_bars(axes, np.where(predicted, ratio, np.nan), deviation, ~ranking.decides)
        labels = [
            name if decides else f"{name} (does not decide)"
            for name, decides in zip(names, ranking.decides, strict=True)
        ]
        title = f"Out at {ranking.exit(pair).name}, in by {ranking.inlet(pair).name}"
        _rows(axes, labels, "\n".join([picture_text(title, 70)]))
        for row, (value, spread) in enumerate(zip(ratio, deviation, strict=True)):
            limiting = row == ranking.limiting[pair]
            text = "nothing asked for" if np.isnan(value) else _ratio_text(value, spread)
            text += f"; {ranking.available[row, pair]:.0f} Pa".replace("-", "−")
            text = text if predicted[row] else "not predicted, sign only"
            _beside(axes, row, text, weight="bold" if limiting else "normal")
        _axis_name(
            axes,
            "Available over needed pressure (1 is just enough)\n"
            "bold: the hardest; lines: one deviation",
        )

    return _drawn(draw, axes, _rows_height(len(names)))


def ratio_deviation(ranking: OpeningRanking, pair: int) -> np.ndarray:
    """(n_conditions,) float: one deviation of available over needed of a pair.

    Available and needed pressure are taken for independent of each other.
    """
    needed = np.where(ranking.needed > 0.0, ranking.needed, np.nan)
    by_needed = ranking.available[:, pair] * ranking.needed_deviation / needed**2
    return np.hypot(ranking.deviation[:, pair] / needed, by_needed)


def _ratio_bars(axes, ratio, deviation, pale=None):
    """Horizontal bars from 0 with deviations; what reaches beyond the scale gets an arrow."""
    pale = np.zeros(len(ratio), dtype=bool) if pale is None else pale
    for row, (value, spread, light) in enumerate(zip(ratio, deviation, pale, strict=True)):
        if not np.isfinite(value):
            continue
        word = ratio_word(value, spread)
        axes.barh(
            row, value, height=0.56, color=WORD_COLOURS[word], hatch=WORD_HATCHES[word],
            edgecolor=INK, lw=0.8, alpha=0.55 if light else 1.0, zorder=2,
        )  # fmt: skip
        if np.isfinite(spread):
            _band(axes, row, value - spread, value + spread)
    axes.axvline(0.0, color=INK, lw=0.9, zorder=1)
    axes.axvline(1.0, color=INK, lw=1.8, ls=(0, (4.0, 2.0)), zorder=4)
    _limits(axes, [0.0, 1.2, *ratio, *(ratio - deviation), *(ratio + deviation)], RATIO_ENDS)
    _arrows(axes, ratio)


def _band(axes, row: int, low: float, high: float):
    """A line with ends from low to high."""
    axes.plot([low, high], [row, row], color=INK, lw=1.6, marker="|", ms=7.0, zorder=5)


def _limits(axes, values, ends: tuple[float, float]):
    """Limits that hold all values, but end with the scale."""
    known = np.clip([value for value in values if np.isfinite(value)], *ends)
    room = 0.03 * np.ptp(known)
    axes.set_xlim(known.min() - room, known.max() + room)


def _arrows(axes, values):
    """A mark at the edge where a bar goes on beyond it."""
    low, high = axes.get_xlim()
    for row, value in enumerate(values):
        if value > high or value < low:
            place, mark = (0.985, ">") if value > high else (0.015, "<")
            axes.plot(
                [place], [row], mark, transform=axes.get_yaxis_transform(), ms=7.0, mfc="#ffffff",
                mec=INK, zorder=6,
            )  # fmt: skip


def _ratio_text(ratio: float, deviation: float) -> str:
    word = ratio_word(ratio, deviation)
    return f"{ratio:.2f} ± {deviation:.2f} {word}".replace("-", "−")


def plot_contributors(found, pair: int = 0, axes=None):
    """What the deviation of a pair is made of, in parts of its variance.

    Parameters
    ----------
    found : a run, its contents, or an OpeningRanking with samples
    pair : number in the ranking, 0 the best
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes

    Raises
    ------
    PlacementError : no ranking in it, no such pair, nothing was sampled
    """
    ranking, *_ = _ranking(found)
    shares = ranking.contributors(_pair(ranking, pair))
    shares = {name: share for name, share in shares.items() if share >= LEAST_SHARE}
    if not shares:
        raise PlacementError(
            "nothing was sampled, or nothing is uncertain: there are no parts of the variance to "
            "draw; rank with samples, as run_case does"
        )

    def draw(axes):
        values = 100.0 * np.array(list(shares.values()))
        axes.barh(
            range(len(values)), values, height=0.56, color=STYLES[0][0], edgecolor=INK, lw=0.8,
            zorder=2,
        )  # fmt: skip
        _rows(axes, list(shares), f"Least known of {picture_text(ranking.exit(pair).name, 50)}")
        for row, share in enumerate(shares.values()):
            _beside(axes, row, percent(share))
        axes.set_xlim(0.0, 1.02 * values.max())
        _axis_name(axes, "Part of the variance of least available over needed, %")

    return _drawn(draw, axes, _rows_height(len(shares)))


# --- cooling network -----------------------------------------------------------------------


def plot_margins(found, axes=None, cores: Sequence[str] | None = None):
    """Margin of every core in every condition, with its band and the limits good, look, stop.

    Parameters
    ----------
    found : a run, its contents, or a CoolingResult
    axes : matplotlib Axes to draw on, or None
    cores : names of cores; all with a margin when not given

    Returns
    -------
    the Axes; conditions that are not predicted are named and have no bar

    Raises
    ------
    NetworkError : no cooling network in it, no such core, no core with a limit
    """
    result = _cooling(found)
    names = [core.name for core in result.cores]
    wanted = names if cores is None else list(cores)
    chosen = [_number_of(names, name, "core", NetworkError) for name in wanted]
    chosen = [k for k in chosen if not np.isnan(result.cores[k].margin.value).all()]
    if not chosen:
        raise NetworkError("no core has a limit, so there is no margin to draw")
    rows = [(c, k) for c in range(len(result.conditions)) for k in chosen]

    def draw(axes):
        for row, (c, k) in enumerate(rows):
            _margin_bar(axes, result, row, c, k)
        labels = [
            f"{result.conditions[c] if k == chosen[0] else ''}"
            f"{': ' if k == chosen[0] else ''}{result.cores[k].name}"
            for c, k in rows
        ]
        _rows(axes, labels, "Margins: limit less temperature")
        for place in range(len(chosen), len(rows), len(chosen)):
            axes.axhline(place - 0.5, color=SOFT, lw=0.7)
        axes.axvline(0.0, color=INK, lw=1.8, zorder=1)
        for limit in (LEAST_MARGIN, ENOUGH_MARGIN):
            axes.axvline(limit, color=INK, lw=1.0, ls=(0, (4.0, 2.0)), zorder=4)
        shown = [result.cores[k].margin.value[c] if result.told(c) else np.nan for c, k in rows]
        bands = [part[c] for c, k in rows for part in (result.cores[k].margin.low,
                                                       result.cores[k].margin.high)]  # fmt: skip
        _limits(axes, [0.0, 1.5 * ENOUGH_MARGIN, *shown, *bands], SCALE_ENDS)
        _arrows(axes, shown)
        _axis_name(
            axes,
            f"Margin, K (dashed: stop below {LEAST_MARGIN:g} K, good above {ENOUGH_MARGIN:g} K; "
            "lines: 16 to 84 %;\npale: does not decide)",
        )

    return _drawn(draw, axes, _rows_height(len(rows)))


def _margin_bar(axes, result: CoolingResult, row: int, c: int, k: int):
    """Bar, band and words of a core in a condition."""
    core = result.cores[k]
    value, low, high = (part[c] for part in (core.margin.value, core.margin.low, core.margin.high))
    if np.isnan(value) or not result.told(c):
        _beside(axes, row, "no limit" if np.isnan(value) else "not predicted", SOFT)
        return
    word = core_word(result, k, c)
    axes.barh(
        row, np.clip(value, -FAR, FAR), height=0.56, color=WORD_COLOURS[word],
        hatch=WORD_HATCHES[word], edgecolor=INK, lw=0.8, zorder=2,
        alpha=1.0 if result.decides[c] else 0.55,
    )  # fmt: skip
    if np.isfinite(low) and np.isfinite(high):
        _band(axes, row, low, high)
    solved = "" if result.converged[c] else ", not solved"
    _beside(axes, row, f"{kelvin_text(value)} {word}{solved}", WORD_COLOURS[word], "bold")


def plot_budget(found, core: str | None = None, condition: str | int | None = None, axes=None):
    """What drives the air through a core and what takes the pressure, as two stacked bars.

    Parameters
    ----------
    found : a run, its contents, or a CoolingResult
    core : name; that with the least margin when not given
    condition : name or number; that in which it has the least margin when not given
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes

    Raises
    ------
    NetworkError : no cooling network in it, no such core or condition, no budget of it
    """
    result = _cooling(found)
    names = [part.name for part in result.cores]
    worst = hardest(result)
    core = core or (result.limiting_core[worst] if worst is not None else (names or [""])[0])
    k = _number_of(names, core, "core", NetworkError)
    if condition is None:
        margin = result.cores[k].margin.value
        condition = min(watched(result), key=lambda c: np.nan_to_num(margin[c], nan=np.inf))
    c = _number_of(result.conditions, condition, "condition", NetworkError)
    drives, takes, left = budget_parts(result, core, c)
    if not drives and not takes:
        raise NetworkError(f"core {core}: no step of its pressure is known in that condition")

    def draw(axes):
        numbers = sorted({number for number, _, _ in (*drives, *takes)})
        total = max(sum(value for _, _, value in parts) for parts in (drives, takes))
        for row, parts in enumerate((drives, takes)):
            start = 0.0
            for number, what, value in parts:
                _step_bar(axes, row, start, (number, what, value), numbers.index(number))
                if value > 0.025 * total:
                    _step_number(axes, row, start + 0.5 * value, number)
                start += value
        where = f"{core} in {result.conditions[c]}"
        _rows(axes, ["drives the air", "takes the pressure"], picture_text(where, 70))
        axes.legend(
            loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=SMALL,
            handlelength=2.2, borderaxespad=0.0,
        )  # fmt: skip
        rest = f"; the steps leave {left:.0f} Pa over" if abs(left) >= 1.0 else ""
        _axis_name(axes, f"Pressure, Pa{rest}".replace("-", "−"))

    return _drawn(draw, axes, max(2.4, 0.9 + 0.24 * (len(drives) + len(takes))))


def _step_bar(axes, row: int, start: float, step, style: int):
    """A part of a stacked bar, with its number and words in the legend."""
    number, what, value = step
    axes.barh(
        row, value, left=start, height=0.56, color=STEP_COLOURS[style % len(STEP_COLOURS)],
        hatch=STEP_HATCHES[style % len(STEP_HATCHES)], edgecolor=INK, lw=0.8, zorder=2,
        label=f"{number} {_name(what)}: {value:.0f} Pa",
    )  # fmt: skip


def _step_number(axes, row: int, middle: float, number: int):
    axes.text(
        *(middle, row - 0.32, str(number)), ha="center", va="bottom", fontsize=SMALL, color=INK
    )


def plot_fan_points(found, fan: str | int = 0, axes=None):
    """Measured curve of a fan and where it works in every condition.

    Parameters
    ----------
    found : a run, its contents, or a CoolingResult
    fan : name or number
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes; filled marks: running, hollow: off

    Raises
    ------
    NetworkError : no cooling network in it, no such fan
    """
    result = _cooling(found)
    k = _number_of([part.name for part in result.fans], fan, "fan", NetworkError)
    point, unit = result.fans[k], result.installation.fans[k]

    def draw(axes):
        axes.plot(
            unit.volume_flow, unit.pressure_rise, color=INK, lw=2.0, marker=".", zorder=2,
            label=f"measured, at {unit.density:.2f} kg/m³",
        )  # fmt: skip
        for c, name in enumerate(result.conditions):
            if not (np.isfinite(point.flow[c]) and np.isfinite(point.pressure_rise[c])):
                continue
            _fan_mark(axes, point, c, name)
        _fan_numbers(axes, point)
        axes.axhline(0.0, color=INK, lw=1.4, zorder=1)
        axes.set_title(
            picture_text(unit.name, 60), loc="left", fontsize=FONT + 1.5, weight="bold", color=INK
        )
        axes.grid(color=PALE, lw=0.7)
        axes.set_axisbelow(True)
        axes.tick_params(labelsize=FONT, color=SOFT, labelcolor=INK)
        axes.spines[["top", "right"]].set_visible(False)
        axes.set_ylabel("Rise of total pressure, Pa", fontsize=FONT, color=INK)
        _axis_name(axes, "Volume flow, m³/s")
        axes.legend(
            loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=SMALL,
            borderaxespad=0.0,
        )  # fmt: skip

    return _drawn(draw, axes, max(3.6, 0.8 + 0.3 * len(result.conditions)))


def _fan_mark(axes, point, c: int, name: str):
    """Mark of a condition, hollow where the fan is off."""
    looked = (
        ("near its stall dip", point.near_dip[c]),
        ("holds the ram air back", point.holds_back[c]),
    )
    said = [word for word, flag in looked if flag]
    state = "; ".join(["running" if point.running[c] else "off", *said])
    colour = STYLES[c % len(STYLES)][0]
    axes.plot(
        [point.flow[c]], [point.pressure_rise[c]], ls="none", marker=FAN_MARKS[c % len(FAN_MARKS)],
        ms=7.0, color=colour, mfc=colour if point.running[c] else "#ffffff", zorder=4,
        label=_name(f"{c + 1} {name}: {state}"),
    )  # fmt: skip


def _fan_numbers(axes, point):
    """Numbers beside the marks; of marks that lie on each other the first one's alone."""
    spans = [np.ptp(ends) for ends in (axes.get_xlim(), axes.get_ylim())]
    written: list[np.ndarray] = []
    for c, place in enumerate(zip(point.flow, point.pressure_rise, strict=True)):
        share = np.array(place) / spans
        if not np.isfinite(share).all() or any(np.abs(share - o).max() < 0.05 for o in written):
            continue
        written.append(share)
        axes.annotate(
            str(c + 1), place, xytext=(5.0, 4.0), textcoords="offset points", fontsize=SMALL,
            color=INK,
        )  # fmt: skip


# --- curves --------------------------------------------------------------------------------


def plot_curve(found, condition: str | int | None = None, axes=None):
    """Pressure along top, bottom and sides of the cowl in one condition, with its deviation.

    Parameters
    ----------
    found : a run, its contents, or Curves
    condition : name or number; the one that the page shows when not given
    axes : matplotlib Axes to draw on, or None

    Returns
    -------
    the Axes

    Raises
    ------
    PlacementError : no curves in it, no line along the skin, no such condition
    """
    curves = _curves(found)
    if not curves.lines:
        raise PlacementError("no line along the skin was found, so there is none to draw")
    names = [one.name for one in curves.lines[0].conditions]
    if condition is None:
        condition = curves.sweeps[0].base.name if curves.sweeps else 0
    number = _number_of(names, condition, "condition", PlacementError)
    axes = _curve_axes(axes, f"Along the cowl: {picture_text(names[number], 34)}", 3.9)
    return _within_look(draw_skin_lines, axes, curves.lines, number, curves.foot)


def plot_sweep(found, quantity: str | None = None, axes=None):
    """Available pressure while one number of the deciding condition changes, with its band.

    Parameters
    ----------
    found : a run, its contents, Curves, or a Sweep
    quantity : say "sideslip"; the first that was swept when not given
    axes : matplotlib Axes to draw on, polar ones for the wind's bearing; or None

    Returns
    -------
    the Axes

    Raises
    ------
    PlacementError : no curves in it, no such sweep
    """
    if isinstance(found, Sweep):
        swept = found
    else:
        curves = _curves(found)
        sweeps = [*curves.sweeps, *([] if curves.wind is None else [curves.wind])]
        names = [one.quantity for one in sweeps]
        number = _number_of(names, quantity or 0, "sweep of", PlacementError)
        swept = sweeps[number]
    wind = not isinstance(found, Sweep) and swept is curves.wind
    wind = wind or (axes is not None and axes.name == "polar")
    title = f"{swept.quantity.capitalize()}: {picture_text(swept.base.name, 34)}"
    axes = _curve_axes(axes, title, 5.5 if wind else 3.6, wind)
    return _within_look(draw_wind if wind else draw_sweep, axes, swept, shown_pairs(swept))


def _curve_axes(axes, title: str, height: float, polar: bool = False):
    """The axes given, or those of a new figure laid out as on the page."""
    if axes is not None:
        return axes
    from panelcp.report.sheet_base import own_look

    left, right, bottom, top = (0.6, 0.6, 0.95, 0.75) if polar else (0.85, 0.75, 0.55, 0.45)
    place = [left / WIDTH, bottom / height, 1.0 - (left + right) / WIDTH]
    with own_look():
        figure_class, axes_class, polar_class = own_classes()
        figure = figure_class(figsize=(WIDTH, height), dpi=DOTS_PER_INCH, facecolor="#ffffff")
        axes = figure.add_axes(
            [*place, 1.0 - (bottom + top) / height], axes_class=polar_class if polar else axes_class
        )
        figure.text(
            *(0.12 / WIDTH, 1.0 - 0.08 / height, title),
            fontsize=FONT + 1.5, weight="bold", color=INK, va="top",
        )  # fmt: skip
    return axes


def _within_look(draw: Callable, axes, *arguments):
    from panelcp.report.sheet_base import own_look

    with own_look():
        return draw(axes, *arguments)
