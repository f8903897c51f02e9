"""Figures of curves: that they show the numbers, can be told apart, and escape every name."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.figure import Figure

from panelcp.flow.solutions import solve_conditions
from panelcp.placement.curves import StationAnswer, curves_of
from panelcp.placement.sweeps import AIRSPEED, KNOT, POWER, SIDESLIP
from panelcp.report.colours import lab_from_srgb
from panelcp.report.curve_drawing import (
    SIDE_STYLES,
    STYLES,
    banded_pairs,
    draw_forward,
    draw_sides,
    draw_skin_lines,
    draw_sweep,
    draw_wind,
    shown_values,
    spread_apart,
)
from panelcp.report.curves import _station_text, figure_plans, shown_pairs, write_curves
from panelcp.report.curves_section import curves_section
from panelcp.report.markup import html_row, html_table
from panelcp.report.tables import IN_H2O
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies
from tests.placement.test_curves import AROUND, CLIMB, HALF, PLACES, ROLL, ranked

EVIL = 'left <i>"&$x$'
BACK = replace(ROLL, name="tail <b>", ground_speed=0.0, wind_from=180.0, power=0.1)


@pytest.fixture(scope="module")
def curves():
    vertices, triangles = bodies.icosphere(2)
    body = SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles)
    finder = SkinFinder(body)
    openings = [
        lay_opening(
            *(finder, EVIL if name == "left" else name, place, 0.1, 0.1),
            use="inlet" if name == "nose" else "exit",
        )
        for name, place in PLACES.items()
    ]
    climb = replace(CLIMB, name="climb <&>")
    solutions = solve_conditions(body, [climb, HALF, BACK], AROUND)
    flow = solutions.flow()
    return curves_of(solutions, flow, ranked(flow, openings), [EVIL], last=0.5)


@pytest.fixture(scope="module")
def pictures(curves, tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawn") / "curves"
    return write_curves(SimpleNamespace(curves=curves), folder)


def axes_of(**options):
    return Figure(figsize=(5.6, 4.0)).add_subplot(**options)


def sweep_of(curves, quantity):
    return next(sweep for sweep in curves.sweeps if sweep.quantity == quantity)


def line_with(axes, values):
    """Whether a line of the axes has these values."""
    return any(np.array_equal(line.get_ydata(), values) for line in axes.lines)


# --- figures -------------------------------------------------------------------------------


def test_lines_can_be_told_apart_in_grey_too():
    assert len({dashes for _, dashes in STYLES}) == len(STYLES)
    colours = [[int(c[k : k + 2], 16) / 255 for k in (1, 3, 5)] for c, _ in STYLES]
    lab = lab_from_srgb(np.array(colours))
    assert lab[:, 0].max() < 55.0  # dark enough on white
    apart = np.linalg.norm(lab[:, None] - lab[None], axis=2) + 1e3 * np.eye(len(lab))
    assert apart.min() > 20.0
    assert len(set(SIDE_STYLES.values())) == len(SIDE_STYLES)


@pytest.mark.parametrize("quantity", [SIDESLIP, POWER, AIRSPEED])
def test_a_sweep_is_drawn_as_it_is(curves, quantity):
    sweep = sweep_of(curves, quantity)
    axes = draw_sweep(axes_of(), sweep, shown_pairs(sweep))
    for k in shown_pairs(sweep):
        assert line_with(axes, sweep.available[k])
    assert line_with(axes, sweep.needed)
    assert len(axes.collections) == len(banded_pairs(sweep, shown_pairs(sweep)))
    zero = next(line for line in axes.lines if list(line.get_ydata()) == [0, 0])
    drawn = [line for line in axes.lines if len(line.get_xdata()) > 2]
    assert zero.get_linewidth() > max(line.get_linewidth() for line in drawn[:-1])  # needed last
    words = {text.get_text() for text in axes.texts}
    assert words == {sweep.exits[k].name for k in shown_pairs(sweep)} | {"needed"}
    assert axes.get_xticks().max() <= shown_values(sweep)[-1] + 1e-9


def test_values_are_shown_in_the_units_of_their_axis(curves):
    assert shown_values(sweep_of(curves, POWER))[-1] == pytest.approx(100.0)
    speed = sweep_of(curves, AIRSPEED)
    assert shown_values(speed) == pytest.approx(speed.values / KNOT)
    axes = draw_sweep(axes_of(), speed, [0])
    assert axes.get_xlabel() == "Airspeed, kt true"
    assert axes.get_ylabel() == "Available, Pa"


def test_the_second_axis_is_in_inches_of_water(curves):
    axes = draw_skin_lines(axes_of(), curves.lines, 0)
    axes.set_ylim(0.0, IN_H2O)
    axes.figure.draw_without_rendering()
    (other,) = axes.child_axes
    assert other.get_ylim() == pytest.approx((0.0, 1.0))
    assert other.get_ylabel() == "inH2O"


def test_lines_along_the_skin_have_their_band(curves):
    axes = draw_skin_lines(axes_of(), curves.lines, 0, foot=0.2)
    for line in curves.lines:
        assert line_with(axes, line.pressure[0])
    assert len(axes.collections) == len(curves.lines)
    assert "windshield foot" in [text.get_text() for text in axes.texts]


def test_the_sides_stand_in_rows(curves):
    axes = draw_sides(axes_of(), curves.sides, curves.lines[0].conditions)
    assert [label.get_text() for label in axes.get_yticklabels()] == ["climb <&>", "half"]
    assert len(axes.containers) == len(curves.sides.sides)


def test_a_station_is_marked_on_its_curve(curves):
    axes = draw_forward(axes_of(), curves.moved, [0, 1], curves.answers)
    assert line_with(axes, curves.moved.cp[0])
    assert line_with(axes, curves.moved.cp[1])
    said = [text.get_text() for text in axes.texts]
    place = curves.answers[0].station[0]
    assert f"suction: {1e3 * place:.0f}" in said or "suction: nowhere" in said


def test_wind_that_cannot_be_predicted_is_shaded(curves):
    axes = draw_wind(axes_of(projection="polar"), curves.wind, shown_pairs(curves.wind))
    blind = np.unique(np.mod(curves.wind.values[~curves.wind.predicted], 360.0))
    assert 0 < len(blind) == len(axes.patches)
    for k in shown_pairs(curves.wind):
        assert line_with(axes, curves.wind.available[k])


def test_names_are_moved_apart_no_farther_than_they_must():
    random = np.random.default_rng(50_821)
    for count in (1, 2, 5, 9):
        wanted = random.uniform(size=count)
        places = spread_apart(wanted, 0.1, 0.05, 0.95)
        order = np.argsort(wanted, kind="stable")
        assert (np.diff(places[order]) >= 0.1 - 1e-9).all()
        assert places.min() >= 0.05 - 1e-9
        assert places.max() <= 0.95 + 1e-9
    free = np.array([0.8, 0.2, 0.5])
    assert spread_apart(free, 0.1, 0.0, 1.0) == pytest.approx(free)
    assert spread_apart(np.zeros(5), 0.5, 0.0, 1.0) == pytest.approx([0, 0.25, 0.5, 0.75, 1])


def test_every_figure_is_written_narrow_and_the_same_again(curves, pictures, tmp_path):
    from matplotlib.image import imread

    assert [title for title, _, _ in pictures] == [plan.title for plan in figure_plans(curves)]
    assert len(pictures) == 6
    for _, _, path in pictures:
        assert imread(path).shape[1] == 840
    again = write_curves(SimpleNamespace(curves=curves), tmp_path / "again")
    first, second = (found[3][2].read_bytes() for found in (pictures, again))
    assert first == second


# --- words and numbers ---------------------------------------------------------------------


def test_stations_in_words():
    def text(*numbers, asks=True):
        station, low, high = (np.array([float(part)]) for part in numbers)
        return _station_text(StationAnswer("", (), station, low, high, [asks], 1.0), 0)

    assert text(0.5, 0.4, 0.6) == "to STA 500 mm, band 400 to 600"
    assert text(1.0, np.nan, 1.0) == "to STA 1000 mm (end), band nowhere to 1000"
    assert text(np.nan, np.nan, np.nan) == "nowhere"
    assert text(np.nan, np.nan, 0.2) == "nowhere (with luck to 200 mm)"
    assert text(np.nan, np.nan, np.nan, asks=False) == ""


def test_tables_hold_the_numbers_that_are_drawn(curves):
    plans = {plan.title: plan for plan in figure_plans(curves)}
    sides = plans["Top, bottom, sides"]
    table = curves.sides
    assert len(sides.rows) == 3 * len(table.sides)
    assert sides.rows[0][3].startswith(f"{table.exit_pressure[0, 0]:.0f}".replace("-", "−"))
    assert sides.rows[0][6].startswith(f"{table.ratio[0, 0]:.2f}")
    turned, sweep = plans["Sideslip and angle of attack"], sweep_of(curves, SIDESLIP)
    at = int(np.flatnonzero(sweep.values == 0.0)[0])
    row = turned.rows[at]
    assert row[:3] == ("sideslip", "0", "400")
    assert row[3].startswith(f"{sweep.available[0, at]:.0f} ({sweep.low[0, at]:.0f} to ")
    for plan in plans.values():
        assert {len(cells) for cells in plan.rows} <= {len(plan.headings)}
        assert len(plan.alt) > 40


def test_the_section_escapes_every_name(curves, pictures):
    html = curves_section(curves, pictures, html_table, html_row)
    assert EVIL not in html
    assert "left &lt;i&gt;&quot;&amp;$x$" in html
    assert "climb <&>" not in html
    assert "tail <b>" not in html
    assert html.count("<figure>") == html.count("<details>") == len(pictures)
    assert len(re.findall(r'<img alt="[^"]{40,}" ', html)) == len(pictures)
    assert 'href="curves/01-top-bottom-sides.png"' in html
    assert (
        curves_section(curves, [], html_table, html_row)
        == "<p>No curve can be drawn for this case.</p>"
    )
