"""Pressure along cuts: exact flows, the bands of the curves, what the plots show and name."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from panelcp.errors import FlowError, SurfaceError
from panelcp.flow.skin_layers import ATTACHED, POCKET, POSSIBLE
from panelcp.flow.solutions import solve, solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.curves import pressure_line
from panelcp.report.cut_air import CutAir, air_on_cut
from panelcp.report.cut_points import NEAR, MeasuredPoint, cut_openings, placed_points
from panelcp.report.section_plots import (
    condition_numbers,
    cut_caption,
    plot_centre_line,
    plot_section,
)
from panelcp.report.section_scales import inch_row, round_length
from panelcp.report.sheets import hatch_levels
from panelcp.surface.curved import roughness_band
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies
from tests.exact import ellipsoid_cp, onto_ellipsoid
from tests.placement.test_curves import AROUND, CLIMB, CRUISE, ROLL

AXES = (3.0, 2.0, 1.0)
BODY = (2.0, 0.5, 0.5)
SLIP = FlightCondition("slip", true_airspeed=40.0, alpha=4.0, beta=6.0)


@pytest.fixture(scope="module")
def flow():
    """Three conditions behind a propeller, the last on the ground."""
    body = bodies.mirrored_ellipsoid(BODY, 3)
    return solve_conditions(body, [CLIMB, CRUISE, ROLL], AROUND).flow()


@pytest.fixture(scope="module")
def openings(flow):
    """One over the top centre line, one over the bottom one, one at the right, one elsewhere."""
    finder = SkinFinder(flow.surface)
    places = {
        "top vent": (-0.5, 0.0, 0.48),
        "bottom exit": (-0.5, 0.0, -0.48),
        "right $louvre$": (-0.5, 0.48, 0.0),
        "far": (0.9, 0.4, 0.1),
    }
    return [lay_opening(finder, name, place, 0.2, 0.12) for name, place in places.items()]


def states_of(flow):
    """A pocket on top behind the middle, and a doubt behind it."""
    x, z = flow.surface.centroids[:, 0], flow.surface.centroids[:, 2]
    state = np.full((len(flow.conditions), flow.surface.n_panels), ATTACHED)
    state[:, (x > 0.2) & (z > 0.1)] = POCKET
    state[:, (x > 1.2) & (z > 0.1)] = POSSIBLE
    return state


@pytest.mark.parametrize(("plane", "place"), [("butt line", 0.0), ("station", 1.1)])
def test_cp_along_a_cut_of_the_ellipsoid_is_exact_to_the_accuracy_of_the_panels(plane, place):
    """3:2:1 in a stream from below and the right: errors fall with the order of the solver."""
    worst, mean = [], []
    for level in (3, 4):
        flow = solve(bodies.mirrored_ellipsoid(AXES, level), [SLIP])
        air = air_on_cut(flow, plane, place)
        stream = SLIP.stream / SLIP.speed
        errors = []
        for side in air.sides:
            exact = ellipsoid_cp(AXES, stream, onto_ellipsoid(AXES, side.points))
            errors.append(side.pressure[0] / SLIP.dynamic_pressure - exact)
        error = np.abs(np.concatenate(errors))
        worst.append(error.max())
        mean.append(error.mean())
    assert mean[1] < 0.4 * mean[0]
    assert mean[1] < 0.004
    assert worst[1] < 0.03


def test_pressure_and_band_are_those_of_the_curves(flow):
    """The curve of single points takes rays every 10 mm; between points of the cut both are lines.

    Its band has no roughness of the mesh; the rest is the same.
    """
    error = 0.05 + 0.02 * (flow.surface.centroids[:, 2] > 0.0)
    air = air_on_cut(flow, "butt line", 0.0, error)
    rough = roughness_band(flow.surface).max()
    reference = flow.reference_pressure
    assert (flow.wetting < 0.99).any()
    for side in air.sides:
        line = pressure_line(flow, side.name, -1.6, 1.6, 0.0, error)
        for c in range(len(flow.conditions)):
            pressure = np.interp(line.station, side.along, side.pressure[c])
            deviation = np.interp(line.station, side.along, side.deviation[c])
            assert np.abs(pressure - line.pressure[c]).max() < 0.02 * reference[c]
            excess = deviation - line.deviation[c]
            assert excess.min() > -0.004 * reference[c]
            assert excess.max() < 0.004 * reference[c] + rough * reference[c]


def test_smooth_body_at_rest_air_has_the_model_error_and_roughness_as_its_band():
    flow = solve(bodies.mirrored_ellipsoid(AXES, 3), [SLIP])
    q = SLIP.dynamic_pressure
    rough = roughness_band(flow.surface)
    low, high = (np.hypot(0.07, part) * q for part in (rough.min(), rough.max()))
    for side in air_on_cut(flow, "waterline", 0.2, 0.07).sides:
        assert side.deviation.min() >= low - 1e-9
        assert side.deviation.max() <= high + 1e-9
    first, *_ = air_on_cut(flow, "waterline", 0.2).sides
    assert first.deviation.min() >= 0.1 * q - 1e-9  # from memory, where nothing is given


def test_separated_air_moves_the_line_and_widens_the_band(flow):
    there = states_of(flow) == POCKET
    apart = flow.with_separation(np.where(there, -30.0, 0.0), np.where(there, 400.0, 0.0))
    before, after = (air_on_cut(f, "butt line", 0.0, 0.05, states_of(flow)) for f in (flow, apart))
    for one, other in zip(before.sides, after.sides, strict=True):
        inside = (other.along > 0.5) & (other.along < 0.9) & (other.points[:, 2] > 0.2)
        assert inside.any() == (other.name == "top")
        assert (other.state[0, inside] == POCKET).all()
        assert np.allclose(other.pressure[:, inside], one.pressure[:, inside] - 30.0)
        spread = np.hypot(one.deviation[:, inside], 400.0)
        assert np.allclose(other.deviation[:, inside], spread)
        outside = other.along < 0.0
        assert np.array_equal(other.pressure[:, outside], one.pressure[:, outside])
    assert [side.name for side in after.sides] == ["top", "bottom"]


def test_wind_from_behind_is_not_predicted(flow):
    blind = replace(flow, predicted=[True, True, False])
    sides = air_on_cut(blind, "butt line").sides
    assert (sides[0].deviation[2] >= flow.reference_pressure[2]).all()


def test_way_round_a_section_begins_at_the_top_and_is_negative_to_the_left(flow):
    right, left = air_on_cut(flow, "station", -0.3).sides
    assert (right.name, left.name) == ("right", "left")
    girth = 2.0 * np.pi * 0.5 * np.sqrt(1.0 - (0.3 / 2.0) ** 2)
    assert right.along[-1] == pytest.approx(0.5 * girth, rel=8e-3)  # chords
    assert np.allclose(left.along, -left.arc)
    for side in (right, left):
        assert np.allclose(side.points[0, 1], 0.0, atol=1e-12)
        assert side.points[0, 2] > 0.48
        assert side.points[-1, 2] < -0.48
    assert right.points[:, 1].min() > -1e-12
    assert left.points[:, 1].max() < 1e-12
    # a mirrored body without sideslip, but for the swirl
    still = solve(flow.surface, [FlightCondition("still", true_airspeed=40.0, alpha=4.0)])
    right, left = air_on_cut(still, "station", -0.3).sides
    assert np.allclose(right.pressure, left.pressure, atol=1e-6 * 980.0)


def test_top_and_bottom_of_a_box_part_in_the_middle_of_its_faces():
    flow = solve(bodies.box().unmirrored(), [SLIP])
    top, bottom = air_on_cut(flow, "butt line", 0.01).sides
    assert top.line.points[0, 2] == pytest.approx(0.0, abs=0.21)
    assert top.line.length == pytest.approx(bottom.line.length, abs=0.45)
    assert (top.name, bottom.name) == ("top", "bottom")


# --- measured points -----------------------------------------------------------------------


def test_measured_points_are_moved_onto_the_cut_or_left_out_and_counted(flow):
    air = air_on_cut(flow, "butt line")
    measured = (
        MeasuredPoint("T1", (0.0, 0.03, 0.5), "climb", pressure=-80.0, deviation=12.0),
        MeasuredPoint("B1", (0.5, -0.04, -0.48), "cruise", cp=-0.2, deviation=0.05),
        MeasuredPoint("side", (0.0, NEAR + 0.001, 0.49), "climb", pressure=0.0),
        MeasuredPoint("inside", (0.0, 0.0, 0.3), "climb", pressure=0.0),
        MeasuredPoint("ground", (0.0, 0.0, 0.5), "roll", pressure=0.0),
        MeasuredPoint("unknown", (0.0, 0.0, 0.5), "loop", pressure=0.0),
    )
    placed = placed_points(air, (0, 1), measured)
    q = CRUISE.dynamic_pressure
    assert [point.name for point in placed.points] == ["T1", "B1"]
    assert placed.sides.tolist() == [0, 1]
    assert np.allclose(placed.along, [0.0, 0.5], atol=2e-3)
    assert np.allclose(placed.pressure, [-80.0, -0.2 * q])
    assert np.allclose(placed.deviation, [12.0, 0.05 * q])
    assert (placed.far, placed.others) == (2, 2)
    caption = cut_caption(air, (0, 1), measured)
    assert "2 measured points with one standard deviation; 2 left out, more than 50 mm" in caption
    assert "2 of other conditions left out" in caption
    assert placed_points(air, (0, 1), measured, near=0.06).far == 1


def test_measured_points_round_a_section(flow):
    air = air_on_cut(flow, "station", 0.0)
    measured = [MeasuredPoint("L", (0.02, -0.5, 0.0), "climb", pressure=5.0)]
    (along,) = placed_points(air, (0,), measured).along
    assert along == pytest.approx(-0.25 * np.pi, abs=5e-3)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"pressure": None}, "either a pressure"),
        ({"cp": 0.1}, "either a pressure"),
        ({"place": (0.0, 1.0)}, "three finite numbers"),
        ({"pressure": np.nan}, "finite"),
        ({"deviation": -1.0}, "at least 0"),
    ],
)
def test_a_measured_point_with_a_mistake_is_refused(wrong, message):
    given = {"name": "T", "place": (0.0, 0.0, 0.0), "condition": "climb", "pressure": 1.0}
    with pytest.raises(FlowError, match=message):
        MeasuredPoint(**(given | wrong))


# --- openings ------------------------------------------------------------------------------


def test_openings_that_a_plane_goes_through(flow, openings):
    centre = air_on_cut(flow, "butt line")
    found = cut_openings(centre, openings)
    assert [(o.name, centre.sides[o.side].name) for o in found] == [
        ("top vent", "top"),
        ("bottom exit", "bottom"),
    ]
    for opening in found:
        side = centre.sides[opening.side]
        ends = [centre.along_at(side, arc) for arc in (opening.first, opening.last)]
        assert np.allclose(ends, [-0.6, -0.4], atol=6e-3)


def test_an_opening_over_the_centre_line_has_a_part_on_both_sides(flow, openings):
    air = air_on_cut(flow, "station", -0.5)
    found = {(o.name, air.sides[o.side].name): o for o in cut_openings(air, openings)}
    assert set(found) == {
        *(("top vent", "right"), ("top vent", "left"), ("right $louvre$", "right")),
        *(("bottom exit", "right"), ("bottom exit", "left")),
    }
    for side in ("right", "left"):
        vent, exit_ = found["top vent", side], found["bottom exit", side]
        assert (vent.first, vent.last) == (0.0, pytest.approx(0.06, abs=2e-3))
        length = air.sides[exit_.side].line.length
        assert (exit_.first, exit_.last) == (pytest.approx(length - 0.06, abs=2e-3), length)


# --- plots ---------------------------------------------------------------------------------


def lines_with(axes, width):
    return [line for line in axes.lines if line.get_linewidth() == width]


def texts(axes):
    return [text.get_text() for text in axes.texts]


def test_centre_line_shows_the_numbers_suction_up_and_words_at_the_lines(flow, openings):
    given = Figure(figsize=(7, 9)).add_subplot()
    axes = plot_centre_line(
        *(flow, ["climb", "cruise"], given),
        openings=openings,
        landmarks=[("firewall", 0.4), ("behind", 9.0)],
        state=states_of(flow),
        last_station=1.5,
    )
    assert axes is given
    air = air_on_cut(flow, "butt line")
    thick, thin = lines_with(axes, 2.0), lines_with(axes, 0.8)
    assert len(thick) == len(thin) == 2
    for line, side in zip(thick, air.sides, strict=True):
        assert np.allclose(line.get_xdata(), 1e3 * side.along)
        assert np.allclose(line.get_ydata(), side.pressure[0] / CLIMB.dynamic_pressure)
    for line, side in zip(thin, air.sides, strict=True):
        assert np.allclose(line.get_ydata(), side.pressure[1] / CRUISE.dynamic_pressure)
    dashes = [line._dash_pattern[1] for line in thick]
    assert not dashes[0]  # top is solid, bottom dashed
    assert dashes[1]
    low, high = axes.get_ylim()
    assert low > 0.0 > high
    assert "suction up" in axes.get_ylabel()
    assert axes.get_xlim() == pytest.approx((-2000.0, 1500.0))
    assert {"top", "bottom", "top vent", "bottom exit", "2"} <= set(texts(axes))
    assert any("2 cruise" in text for text in texts(axes))
    assert axes.get_title(loc="left") == "Centre line, BL 0: climb"
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == ["separated air: the pressure is a band", "the air may separate here"]
    outline = axes.figure.axes[1]
    assert "firewall" in texts(outline)
    assert "behind" not in texts(outline)
    drawn_to_scale_below(outline, axes)
    hatches = {c.get_hatch() for c in axes.collections} - {None}
    assert len(hatches) == 2  # separated, and may be
    hatched_half_way_to_the_next_point(axes, air_on_cut(flow, "butt line", state=states_of(flow)))


def hatched_half_way_to_the_next_point(axes, air):
    """Every hatch begins and ends in the middle between a point inside and one outside."""
    ends = set()
    for collection in axes.collections:
        if collection.get_hatch():
            for path in collection.get_paths():
                ends |= {path.vertices[:, 0].min(), path.vertices[:, 0].max()}
    wanted = set()
    for side in air.sides:
        levels = hatch_levels(side.state[0])
        turns = np.flatnonzero(np.diff(levels))
        wanted |= set(500.0 * (side.along[turns] + side.along[turns + 1]))
        wanted |= {1e3 * side.along[0], 1e3 * side.along[-1]}
    assert ends
    for end in ends:
        assert min(abs(end - w) for w in wanted) < 0.01


def drawn_to_scale_below(outline, axes):
    """One scale in both directions, and the stations under each other."""
    box, size = outline.get_position(), axes.figure.get_size_inches()
    across, upward = np.ptp(outline.get_xlim()), np.ptp(outline.get_ylim())
    assert across / (box.width * size[0]) == pytest.approx(upward / (box.height * size[1]))
    assert box.x0 == pytest.approx(axes.get_position().x0)
    assert box.width == pytest.approx(axes.get_position().width)
    assert box.y1 < axes.get_position().y0
    assert outline.get_xlim() == axes.get_xlim()


def test_outline_keeps_its_scale_on_a_low_page(flow):
    given = Figure(figsize=(12, 4)).add_subplot()
    axes = plot_centre_line(flow, 0, given, last_station=-0.5)
    drawn_to_scale_below(axes.figure.axes[1], axes)
    assert axes.get_position().height > 0.2


def test_band_of_the_thick_line_only(flow):
    axes = plot_centre_line(flow, [0, 1])
    side = air_on_cut(flow, "butt line").sides[0]
    (band, other) = (c for c in axes.collections if c.get_alpha() is not None)
    del other
    reached = band.get_paths()[0].vertices[:, 1]
    unit = CLIMB.dynamic_pressure
    assert reached.max() == pytest.approx((side.pressure + side.deviation)[0].max() / unit)
    assert reached.min() == pytest.approx((side.pressure - side.deviation)[0].min() / unit)


def test_on_the_ground_pressures_are_shown(flow):
    axes = plot_section(flow, ["climb", "roll"], -0.5)
    assert axes.get_ylabel().startswith("Pressure, Pa")
    air = air_on_cut(flow, "station", -0.5)
    assert np.allclose(lines_with(axes, 2.0)[0].get_ydata(), air.sides[0].pressure[0])


def test_section_has_a_drawing_tied_to_the_axis(flow, openings):
    axes = plot_section(flow, "climb", -0.5, openings=openings)
    drawing = axes.figure.axes[1]
    assert drawing.get_aspect() == 1.0
    numbers = [text for text in texts(drawing) if text]
    assert {"0", "500", "−500"} <= set(numbers)
    air = air_on_cut(flow, "station", -0.5)
    place = 1e3 * air.sides[0].line.place_at(0.5)[1:]
    dots = [line.get_xydata()[0] for line in drawing.lines if line.get_markersize() == 3.0]
    assert min(np.linalg.norm(dot - place) for dot in dots) < 1e-6
    names = texts(axes)
    assert names.count("top vent") == 1  # both parts under one bracket
    assert names.count("bottom exit") == 2  # at both ends of the axis
    assert "right $louvre$" in names


def test_measured_points_are_drawn_with_bars(flow):
    point = MeasuredPoint("T1", (0.0, 0.0, 0.5), "cruise", cp=-0.9, deviation=0.1)
    axes = plot_centre_line(flow, ["climb", "cruise"], measured=[point])
    (bar,) = (c for c in axes.containers if len(c) == 3)
    assert bar.lines[0].get_ydata()[0] == pytest.approx(-0.9)
    ends = bar.lines[2][0].get_segments()[0][:, 1]
    assert np.allclose(ends, [-1.0, -0.8])
    assert "T1 (2)" in texts(axes)
    low, high = axes.get_ylim()
    assert high < -0.9 < low


def test_cuts_at_a_butt_line_and_waterline(flow):
    side = plot_section(flow, 0, waterline=0.1, last_station=0.0)
    assert {"right", "left"} <= set(texts(side))
    assert side.get_title(loc="left") == "WL 100 mm: climb"
    beside = plot_section(flow, 0, butt_line=-0.2)
    assert {"top", "bottom"} <= set(texts(beside))


def test_wrong_places_and_conditions_are_refused(flow):
    with pytest.raises(FlowError, match="at 0 places"):
        plot_section(flow, "climb")
    with pytest.raises(FlowError, match="at 2 places"):
        plot_section(flow, "climb", 0.0, waterline=0.1)
    with pytest.raises(FlowError, match="no condition is called 'loop'; there are: 'climb', 'cr"):
        plot_centre_line(flow, "loop")
    with pytest.raises(FlowError, match="no condition is called 7"):
        plot_centre_line(flow, 7)
    with pytest.raises(FlowError, match="no condition to plot"):
        condition_numbers(flow.conditions, [])
    with pytest.raises(SurfaceError, match="STA 3000 mm misses"):
        plot_section(flow, "climb", 3.0)


def test_a_cut_in_two_lines_is_told():
    small = bodies.ellipsoid((0.5, 0.5, 0.5), 2).translated([0.0, 3.0, 0.0])
    flow = solve(bodies.together(bodies.ellipsoid((1.0, 1.0, 1.0), 2), small), [SLIP])
    air = air_on_cut(flow, "station", 0.1)
    assert [side.name for side in air.sides] == ["right", "left"] * 2
    assert "cuts the body in 2 lines; each begins at its own top" in cut_caption(air, 0)
    axes = plot_section(flow, 0, air=air, station=0.1)
    assert len(lines_with(axes, 2.0)) == 4


def test_captions_say_what_the_band_holds(flow):
    air = air_on_cut(flow, "butt line", state=states_of(flow))
    assert "Hatched" in cut_caption(air, 0)
    assert "model error of Cp" in cut_caption(air, 0)
    assert "Model error 0.1 (memory)" in cut_caption(air, 0, given_error=False)
    plain = air_on_cut(flow, "butt line")
    assert "was not looked at" in cut_caption(plain, 0)
    assert CutAir("station", -0.25, (), ()).name == "STA −250 mm"


def shown_limits(axes, direction):
    """Limits of the second scales, where these show numbers of their own."""
    axes.figure.draw_without_rendering()
    found = []
    for child in axes.child_axes:
        axis = getattr(child, f"{direction}axis")
        if child._orientation == direction and any(t.get_text() for t in axis.get_ticklabels()):
            found.append(np.array(getattr(child, f"get_{direction}lim")()))
    return found


def test_centre_line_has_inches_beside_mm(flow):
    axes = plot_centre_line(flow, 0, last_station=1.5)
    outline = axes.figure.axes[1]
    for direction in ("x", "y"):
        (found,) = shown_limits(outline, direction)
        wanted = np.array(getattr(outline, f"get_{direction}lim")())
        assert np.allclose(25.4 * found, wanted)
    assert "inches above" in outline.get_xlabel()
    assert {"in", "Waterline, in"} <= {*texts(outline), outline.child_axes[1].get_ylabel()}
    row = axes.figure.axes[0].get_tightbbox()
    assert outline.child_axes[0].get_tightbbox().y1 < row.y0 + 1.0  # below the other numbers


def test_section_has_inches_below_mm_and_two_scale_bars(flow):
    axes = plot_section(flow, "climb", -0.5)
    (found,) = shown_limits(axes, "x")
    assert np.allclose(25.4 * found, axes.get_xlim())
    drawing = axes.figure.axes[1]
    bars = [line.get_xdata() for line in drawing.lines if len(line.get_xdata()) == 4]
    words = [text for text in texts(drawing) if text.endswith((" mm", " in"))]
    assert len(bars) == len(words) == 2
    for bar, word in zip(bars, words, strict=True):
        length, unit = word.split()
        assert np.ptp(bar) == pytest.approx(float(length) * {"mm": 1.0, "in": 25.4}[unit])
        assert np.ptp(bar) < 0.5 * np.ptp(drawing.dataLim.intervalx)


def test_pressures_on_the_ground_have_inches_of_water(flow):
    axes = plot_centre_line(flow, 2)
    assert "Pa" in axes.get_ylabel()
    (found,) = shown_limits(axes, "y")
    assert np.allclose(249.08891 * found, axes.get_ylim())
    assert not shown_limits(plot_centre_line(flow, 0), "y")


def test_rows_of_inches_follow_the_axis():
    axes = Figure().add_subplot()
    axes.set_xlim(-254.0, 508.0)
    row = inch_row(axes)
    axes.figure.draw_without_rendering()
    assert row.get_xlim() == pytest.approx((-10.0, 20.0))
    assert [round_length(x) for x in (9.9, 10.0, 49.0)] == [5.0, 10.0, 20.0]
