"""Plots for notebooks: numbers read back from what is drawn, names whole, axes as asked for."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

from panelcp.errors import NetworkError, PlacementError
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.curves import Curves, SkinLine
from panelcp.placement.sweeps import BEARING, SIDESLIP, Sweep
from panelcp.report.colours import lab_from_srgb
from panelcp.report.cooling_diagram import budget_parts
from panelcp.report.plots import (
    STEP_COLOURS,
    STEP_HATCHES,
    WORD_COLOURS,
    WORD_HATCHES,
    plot_budget,
    plot_condition_ratios,
    plot_contributors,
    plot_curve,
    plot_fan_points,
    plot_margins,
    plot_ranking,
    plot_sweep,
    ratio_deviation,
)
from tests.cases import ranked
from tests.report.test_cooling_tables import CONDITIONS, HOSTILE, NAN, NO, array, tug

EVIL = 'left <i>"&$x$ and $y$'
TEXTS = (EVIL, "a name of a condition that is far longer than the room beside its bar holds")


@pytest.fixture(scope="module")
def contents():
    return ranked()[1]


@pytest.fixture(scope="module")
def result():
    return tug()


def widths(axes):
    """Row -> width of its bar."""
    return {round(bar.get_y() + 0.5 * bar.get_height()): bar.get_width() for bar in axes.patches}


def bands(axes):
    """Row -> ends of its line."""
    found = {}
    for line in axes.lines:
        x, y = line.get_xdata(), line.get_ydata()
        if line.get_marker() == "|" and len(x) == 2:
            found[int(y[0])] = (float(x[0]), float(x[1]))
    return found


def beside(axes):
    return [text.get_text() for text in axes.texts]


def labels(axes):
    return [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]


def outside_of_figure(axes):
    """Texts that reach beyond the figure."""
    figure = axes.figure
    figure.canvas.draw()
    renderer, page = figure.canvas.get_renderer(), figure.bbox
    low, high = sorted(axes.get_ylim())
    ticks = [label for label in axes.get_yticklabels() if low <= label.get_position()[1] <= high]
    texts = [*axes.texts, *ticks, axes.title, axes.xaxis.label]
    if axes.get_legend():
        texts += axes.get_legend().get_texts()
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in texts if t.get_text()]
    return [
        (text, box)
        for text, box in boxes
        if box.x0 < -1 or box.y0 < -1 or box.x1 > page.x1 + 1 or box.y1 > page.y1 + 1
    ]


def curves():
    """Curves of two conditions with a top and a left line, and sweeps of two exits."""
    some = tuple(FlightCondition(name, true_airspeed=30.0) for name in TEXTS)
    station, places = np.linspace(0.0, 1.0, 11), np.zeros((11, 3))
    lines = tuple(
        SkinLine(side, 0.0, some, station, places, np.outer(scale, np.cos(3 * station)),
                 np.full((2, 11), 20.0))
        for side, scale in (("top", [100.0, 50.0]), ("left", [-80.0, -20.0]))
    )  # fmt: skip
    exits = tuple(SimpleNamespace(name=f"{s} {EVIL}", side=s) for s in ("top", "left"))

    def swept(quantity, values):
        x = np.array([values, values])
        return Sweep(
            quantity, some[0], 0.0, values, some[:1] * len(values), exits, exits, x, x - 1, x + 1,
            3 * x, 3 * x - 9, 3 * x + 9, np.full(len(values), 40.0), np.ones(len(values), bool),
            np.zeros(len(values)),
        )  # fmt: skip

    sweeps = (swept(SIDESLIP, np.linspace(-10.0, 10.0, 5)),)
    return Curves(None, lines, None, 0.8, (), sweeps, swept(BEARING, np.linspace(0.0, 360.0, 13)))


PLOTS = (
    lambda axes: plot_ranking(ranked()[1], axes=axes),
    lambda axes: plot_condition_ratios(ranked()[1], axes=axes),
    lambda axes: plot_contributors(ranked()[1], axes=axes),
    lambda axes: plot_margins(tug(), axes=axes),
    lambda axes: plot_budget(tug(), axes=axes),
    lambda axes: plot_fan_points(tug(), axes=axes),
    lambda axes: plot_curve(curves(), axes=axes),
    lambda axes: plot_sweep(curves(), axes=axes),
)


@cache
def made(plot):
    """Axes of a figure of their own, made once."""
    return plot(None)


@pytest.mark.parametrize("plot", PLOTS)
def test_axes_given_are_returned_and_their_figure_is_left_alone(plot):
    figure = Figure(figsize=(9, 6))
    axes, other = figure.subplots(1, 2)
    other.plot([1, 2], [3, 4])
    engine = figure.get_layout_engine()
    assert plot(axes) is axes
    assert other.lines
    assert axes in figure.axes
    assert figure.get_layout_engine() is engine
    assert figure.get_size_inches().tolist() == [9.0, 6.0]


@pytest.mark.parametrize("plot", PLOTS)
def test_without_axes_a_figure_shows_itself_the_same_every_time(plot):
    first = plot(None)._repr_png_()
    assert first.startswith(b"\x89PNG")
    assert plot(None).figure._repr_png_() == first


@pytest.mark.parametrize("plot", PLOTS)
@pytest.mark.parametrize("dots_per_inch", [72, 200])
def test_no_text_is_cut_off(plot, dots_per_inch):
    """The font's widths do not go evenly with the dots per inch."""
    axes = made(plot)
    axes.figure.set_dpi(dots_per_inch)
    assert outside_of_figure(axes) == []


@pytest.mark.parametrize("plot", PLOTS)
def test_axes_say_what_they_show(plot):
    axes = made(plot)
    assert axes.get_xlabel()
    assert axes.get_title(loc="left") or axes.figure.texts


def test_legends_stand_beside_the_data(result):
    for axes in (plot_budget(result), plot_fan_points(result)):
        axes.figure.canvas.draw()
        legend = axes.get_legend().get_window_extent(axes.figure.canvas.get_renderer())
        assert legend.x0 >= axes.get_window_extent().x1


def test_bars_are_told_apart_in_grey():
    """By hatch, or by lightness."""
    for colours, hatches in (
        ([WORD_COLOURS[w] for w in ("good", "look", "stop")],
         [WORD_HATCHES[w] for w in ("good", "look", "stop")]),
        (STEP_COLOURS, STEP_HATCHES[: len(STEP_COLOURS)]),
    ):  # fmt: skip
        assert len(set(hatches)) == len(hatches)
        rgb = np.array([[int(to_hex(c)[k : k + 2], 16) / 255 for k in (1, 3, 5)] for c in colours])
        assert lab_from_srgb(rgb)[:, 0].max() < 80.0  # seen on white


# --- ranking -------------------------------------------------------------------------------


def test_ranking_shows_the_least_ratios_with_their_deviations(contents):
    ranking = replace(contents.ranking, mean_ratio=0.0 * contents.ranking.mean_ratio)
    axes = plot_ranking(replace(contents, ranking=ranking))
    assert len(contents.short_list) == 3
    for row, pair in enumerate(contents.short_list):
        least, spread = ranking.least_ratio[pair], ranking.least_ratio_deviation(pair)
        assert widths(axes)[row] == pytest.approx(least)
        assert bands(axes)[row] == pytest.approx((least - spread, least + spread))
        assert f"{least:.2f} ± {spread:.2f}".replace("-", "−") in beside(axes)[row]
        assert ranking.exit(pair).name in labels(axes)[row]


def test_ranking_alone_is_enough(contents):
    assert widths(plot_ranking(contents.ranking, 2)) == {
        row: pytest.approx(contents.ranking.least_ratio[pair])
        for row, pair in enumerate(contents.ranking.distinct(2))
    }


def test_ratios_of_a_pair_by_condition(contents):
    ranking = contents.ranking
    axes, spread = plot_condition_ratios(contents, 1), ratio_deviation(ranking, 1)
    for c, condition in enumerate(contents.flow.conditions):
        assert labels(axes)[c].startswith(condition.name)
        if np.isnan(ranking.ratio[c, 1]):
            assert c not in widths(axes)
            assert "nothing asked for" in beside(axes)[c]
            continue
        value = ranking.ratio[c, 1]
        assert widths(axes)[c] == pytest.approx(value)
        assert bands(axes)[c] == pytest.approx((value - spread[c], value + spread[c]))
        assert f"{ranking.available[c, 1]:.0f} Pa".replace("-", "−") in beside(axes)[c]


def test_deviation_of_a_ratio_by_hand():
    one = SimpleNamespace(
        needed=np.array([200.0, 0.0]), available=np.array([[300.0], [5.0]]),
        needed_deviation=np.array([40.0, 0.0]), deviation=np.array([[60.0], [1.0]]),
    )  # fmt: skip
    # 60/200 and 300 * 40/200^2: 0.3 and 0.3
    assert ratio_deviation(one, 0)[0] == pytest.approx(0.3 * np.sqrt(2.0))
    assert np.isnan(ratio_deviation(one, 0)[1])


def test_what_is_not_predicted_has_no_bar(contents):
    flow = replace(contents.flow, predicted=[False, True, True])
    axes = plot_condition_ratios(replace(contents, flow=flow))
    assert 0 not in widths(axes)
    assert beside(axes)[0] == "not predicted, sign only"


def test_bars_beyond_the_scale_end_with_an_arrow(contents):
    ranking = contents.ranking
    far = np.array(ranking.ratio)
    far[0, 0] = 300.0
    axes = plot_condition_ratios(replace(contents, ranking=replace(ranking, ratio=far)))
    assert widths(axes)[0] == 300.0
    assert axes.get_xlim()[1] < 6.0
    assert [line.get_ydata()[0] for line in axes.lines if line.get_marker() == ">"] == [0]


def test_contributors_are_the_parts_of_the_variance(contents):
    axes = plot_contributors(contents)
    shares = {k: v for k, v in contents.ranking.contributors(0).items() if v >= 0.005}
    assert labels(axes) == list(shares)
    assert list(widths(axes).values()) == pytest.approx([100.0 * v for v in shares.values()])


def test_what_cannot_be_drawn_is_said(contents, result):
    ranking = contents.ranking
    with pytest.raises(PlacementError, match=f"pair 999 is not .* has {ranking.n_pairs}"):
        plot_condition_ratios(contents, 999)
    with pytest.raises(PlacementError, match="nothing was sampled"):
        plot_contributors(replace(ranking, bands=None))
    with pytest.raises(PlacementError, match="holds no ranking"):
        plot_ranking(result)
    with pytest.raises(PlacementError, match="holds no curves"):
        plot_sweep(contents)
    with pytest.raises(NetworkError, match="holds no cooling network"):
        plot_margins(contents)
    with pytest.raises(NetworkError, match="no core 'heater'; there are: radiator, oil cooler"):
        plot_budget(result, "heater")
    with pytest.raises(NetworkError, match="no fan 'x'"):
        plot_fan_points(result, "x")
    with pytest.raises(NetworkError, match="no condition 'x'"):
        plot_budget(result, condition="x")
    with pytest.raises(PlacementError, match="no sweep of 'x'"):
        plot_sweep(curves(), "x")


# --- cooling -------------------------------------------------------------------------------


def told(result, c, k):
    return result.told(c) and not np.isnan(result.cores[k].margin.value[c])


def test_margins_by_condition_and_core(result):
    axes = plot_margins(result)
    with_limit = [k for k, core in enumerate(result.cores) if not np.isnan(core.margin.value).all()]
    rows = [(c, k) for c in range(len(CONDITIONS)) for k in with_limit]
    for row, (c, k) in enumerate(rows):
        margin = result.cores[k].margin
        if told(result, c, k):
            assert widths(axes)[row] == pytest.approx(margin.value[c])
            assert bands(axes)[row] == pytest.approx((margin.low[c], margin.high[c]))
        assert labels(axes)[row].endswith(result.cores[k].name)
    text = " ".join(beside(axes))
    assert all(word in text for word in ("good", "stop"))
    lines = {line.get_xdata()[0] for line in axes.lines if len(set(line.get_xdata())) == 1}
    assert {0.0, 5.0, 10.0} <= lines


def test_margins_without_end_and_unknown_ones(result):
    core = result.cores[0]
    margin = replace(core.margin, value=array(-np.inf, np.nan, 3.0, 7.0, 12.0, 300.0))
    axes = plot_margins(replace(result, cores=(replace(core, margin=margin),)))
    assert 1 not in widths(axes)
    assert "no limit" in beside(axes)[1]
    assert "no cooling stop" in beside(axes)[0]
    assert axes.get_xlim()[0] > -60.0
    arrows = {line.get_marker(): line.get_ydata()[0] for line in axes.lines}
    assert (arrows["<"], arrows[">"]) == (0, 5)


def test_margins_of_chosen_cores(result):
    axes = plot_margins(result, cores=["oil cooler"])
    assert len(labels(axes)) == len(CONDITIONS)
    nothing = replace(result.cores[0], margin=replace(result.cores[0].margin, value=NAN))
    with pytest.raises(NetworkError, match="no core has a limit"):
        plot_margins(replace(result, cores=(nothing,)))


def test_budget_stacks_all_steps(result):
    drives, takes, _ = budget_parts(result, "radiator", 0)
    axes = plot_budget(result, "radiator", CONDITIONS[0])
    assert [bar.get_width() for bar in axes.patches] == pytest.approx(
        [value for _, _, value in (*drives, *takes)]
    )
    ends = [bar.get_x() + bar.get_width() for bar in axes.patches]
    assert ends[len(drives) - 1] == pytest.approx(sum(value for _, _, value in drives))
    assert ends[-1] == pytest.approx(sum(value for _, _, value in takes))
    words = [text.get_text().replace("\n", " ") for text in axes.get_legend().get_texts()]
    assert words == [f"{n} {what}: {value:.0f} Pa" for n, what, value in (*drives, *takes)]
    assert "Pa" in axes.get_xlabel()


def test_fan_points_lie_where_the_fan_works(result):
    axes, fan, unit = plot_fan_points(result), result.fans[0], result.installation.fans[0]
    curve, *marks = axes.lines[: 1 + len(CONDITIONS)]
    assert np.array_equal(curve.get_xdata(), unit.volume_flow)
    assert np.array_equal(curve.get_ydata(), unit.pressure_rise)
    for c, mark in enumerate(marks):
        assert mark.get_xdata()[0] == fan.flow[c]
        assert mark.get_ydata()[0] == fan.pressure_rise[c]
        filled = mark.get_markerfacecolor() != "#ffffff"
        assert filled == bool(fan.running[c])
        assert ("running" in mark.get_label()) == bool(fan.running[c])


def test_hostile_names_are_drawn_letter_by_letter():
    hostile = tug(names=HOSTILE)
    result = replace(hostile, conditions=(*TEXTS, *CONDITIONS[2:]), decides=~NO)
    texts = []
    for axes in (plot_margins(result), plot_budget(result), plot_fan_points(result)):
        assert outside_of_figure(axes) == []
        texts += axes.figure.findobj(Text)
    formulas = [text for text in texts if "$" in text.get_text()]
    assert formulas
    assert not any(text.get_parse_math() for text in formulas)
    shown = labels(plot_margins(result))
    assert shown[0].startswith(f"{EVIL}:")
    assert any(text.startswith(TEXTS[1]) for text in shown)


# --- curves --------------------------------------------------------------------------------


def test_curve_of_a_condition_by_name():
    found = curves()
    axes = plot_curve(found, TEXTS[1])
    drawn = [line for line in axes.lines if len(line.get_xdata()) == 11]
    for line, one in zip(drawn, found.lines, strict=True):
        assert line.get_xdata() == pytest.approx(1e3 * one.station)
        assert line.get_ydata() == pytest.approx(one.pressure[1])
    with pytest.raises(PlacementError, match="no condition 'x'"):
        plot_curve(found, "x")


def test_sweep_and_wind():
    found = curves()
    axes = plot_sweep(found)
    assert [line.get_ydata() for line in axes.lines[:1]] == [
        pytest.approx(found.sweeps[0].available[0])
    ]
    assert plot_sweep(found.sweeps[0]).get_xlabel() == axes.get_xlabel()
    wind = plot_sweep(found, BEARING)
    assert wind.name == "polar"
    assert wind.lines[0].get_ydata() == pytest.approx(found.wind.available[0])
    assert wind._repr_png_().startswith(b"\x89PNG")
