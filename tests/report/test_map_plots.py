"""Maps in axes of one's own: what is drawn, on which scale, files of lines, plain errors."""

from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.figure import Figure

from panelcp import FlightCondition, solve
from panelcp.errors import FlowError, PlacementError, SurfaceError
from panelcp.report.colours import PressureScale
from panelcp.report.contents import condition_number
from panelcp.report.map_plots import (
    map_scale,
    plot_colour_bar,
    plot_pressure_map,
    plot_vent_map,
)
from panelcp.report.maps import Marker, project_view, write_pressure_map
from panelcp.report.vent_map_colours import vent_scale
from panelcp.surface.mesh import SurfaceMesh
from tests.report.test_maps import ellipsoid

NAMES = ("tow", "cruise", "tied down")


@pytest.fixture(scope="module")
def flow():
    """Air over an ellipsoid of 224 panels in flight, at twice the speed, and no air at all."""
    surface = SurfaceMesh(*ellipsoid((1.0, 0.4, 0.3), 7, 16))
    conditions = [
        FlightCondition(name=NAMES[0], true_airspeed=30.0, alpha=6.0),
        FlightCondition(name=NAMES[1], true_airspeed=60.0),
        FlightCondition(name=NAMES[2], true_airspeed=0.0),
    ]
    return solve(surface, conditions)


def quick(flow, name="left"):
    return project_view(flow.surface, name, pixel=0.02)


def picture_of(axes):
    return np.asarray(axes.images[0].get_array())


def test_condition_by_name_and_by_number_give_the_same_map(flow):
    view = quick(flow)
    named = plot_pressure_map(flow, "cruise", view)
    counted = plot_pressure_map(flow, 1, view)
    other = plot_pressure_map(flow, "tow", view)
    assert named is not counted
    np.testing.assert_array_equal(picture_of(named), picture_of(counted))
    assert np.any(picture_of(named) != picture_of(other))
    assert named.get_title(loc="left") == "from the left"
    assert (named.get_xlabel(), named.get_ylabel()) == ("STA mm", "WL mm")
    assert plot_pressure_map(SimpleNamespace(flow=flow), 1, view).images


def test_axes_that_are_given_are_filled_and_handed_back(flow):
    figure = Figure(figsize=(8.0, 3.0))
    left, right = figure.subplots(1, 2)
    assert plot_pressure_map(flow, "tow", quick(flow), left) is left
    assert plot_pressure_map(flow, "tow", quick(flow, "front"), axes=right) is right
    assert len(left.images) == len(right.images) == 1
    bar = figure.add_axes([0.95, 0.1, 0.02, 0.8])
    assert plot_colour_bar(map_scale(flow), axes=bar) is bar


def test_figure_that_is_made_shows_itself(flow):
    axes = plot_pressure_map(flow, "tow", quick(flow))
    assert axes.figure._repr_png_().startswith(b"\x89PNG")
    assert tuple(axes.figure.get_size_inches()) == (7.0, 4.5)


def test_scales(flow):
    one, other = (map_scale(flow, [name]) for name in NAMES[:2])
    both = map_scale(flow)
    assert both == map_scale(flow, NAMES[:2])
    assert both.limit == max(one.limit, other.limit)
    assert map_scale(flow, "tow") == one
    assert map_scale(flow, grey_print=True).grey_print
    assert map_scale(flow, pressure="Pa").limit > 100.0
    view = quick(flow)
    alike = [plot_pressure_map(flow, name, view, same_limits=True) for name in NAMES[:2]]
    given = plot_pressure_map(flow, 0, view, scale=both)
    np.testing.assert_array_equal(picture_of(alike[0]), picture_of(given))
    alone = plot_pressure_map(flow, 0, view)
    few = plot_pressure_map(flow, 0, view, same_limits=["tow"])
    np.testing.assert_array_equal(picture_of(alone), picture_of(few))
    grey = plot_pressure_map(flow, 0, view, grey_print=True)
    skin = picture_of(grey)[picture_of(grey)[..., 3] == 255].astype(int)
    assert np.all(skin[:, 2] >= skin[:, 0] - 2)  # one hue, blue grey
    assert np.any(picture_of(alone) != picture_of(grey))


def test_pa_is_cp_times_q(flow):
    q, view = flow.dynamic_pressure[0], quick(flow)
    cp = plot_pressure_map(flow, 0, view, scale=PressureScale(1.0, 0.1), draw_lines=False)
    pa = plot_pressure_map(
        *(flow, 0, view), pressure="Pa", scale=PressureScale(q, 0.1 * q, "Pa"), draw_lines=False
    )
    assert np.abs(picture_of(cp).astype(int) - picture_of(pa)).max() <= 1


def test_openings_are_drawn_with_their_names(flow):
    turn = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
    outline = np.stack([0.1 * np.cos(turn), -0.39 + 0.0 * turn, 0.05 * np.sin(turn)], axis=1)
    opening = SimpleNamespace(
        outline=outline, name="louvres", takes_air_in=False, lets_air_out=True
    )
    axes = plot_pressure_map(flow, 0, quick(flow), markers=[opening, Marker(outline, "patch")])
    assert {"louvres", "patch"} <= {text.get_text() for text in axes.texts}
    with pytest.raises(SurfaceError, match="'louvres' cannot be drawn as a mark; expected a Mark"):
        plot_pressure_map(flow, 0, quick(flow), markers=["louvres"])


def test_colour_bar_of_a_scale(flow):
    axes = plot_colour_bar(PressureScale(1.0, 0.2), -0.6, 0.4)
    assert axes.get_ylim() == pytest.approx((-0.6, 0.4))
    assert plot_colour_bar(PressureScale(1.0, 0.2)).get_ylim() == (-1.0, 1.0)
    assert plot_colour_bar(vent_scale([0.2, 1.9])).get_ylim() == (0.0, 2.0)


def test_vent_map_in_axes(flow):
    surface = flow.surface
    x = surface.centroids[:, 0]
    ratio = np.where(np.abs(x) < 0.8, 1.0 + x, np.nan)
    record = SimpleNamespace(searched=np.isfinite(ratio), least_ratio=np.where(x < 2, 1.0 + x, 0.0))
    view = quick(flow)
    by_hand, by_record = (plot_vent_map(surface, given, view) for given in (ratio, record))
    np.testing.assert_array_equal(picture_of(by_hand), picture_of(by_record))
    wide = plot_vent_map(surface, ratio, view, scale=vent_scale([0.0, 9.0]))
    assert np.any(picture_of(wide) != picture_of(by_hand))


def test_body_is_cut_straight_at_the_last_station(flow):
    for axes in (
        plot_pressure_map(flow, 0, "left", last_station=0.2, hatched=np.full(224, 2)),
        plot_vent_map(flow.surface, np.ones(224), "left", last_station=0.2),
        plot_pressure_map(SimpleNamespace(flow=flow, last_station=0.2), 0, "left"),
    ):
        left, right, *_ = axes.images[0].get_extent()
        assert left == pytest.approx(-1000.0, abs=5.0)
        assert right == pytest.approx(200.0, abs=5.0)
    with pytest.raises(SurfaceError, match=r"last station is -2 m, but the body runs from -1.000"):
        plot_pressure_map(flow, 0, "left", last_station=-2)


def test_a_figure_made_here_has_its_colour_bar_and_given_axes_have_none(flow):
    own = plot_pressure_map(flow, "tow")
    assert len(own.figure.axes) == 2
    assert own.figure.axes[1].get_title() == "Cp"
    vent = plot_vent_map(flow.surface, np.ones(224), "left")
    assert len(vent.figure.axes) == 2
    given = Figure().add_subplot()
    assert plot_pressure_map(flow, "tow", axes=given) is given
    assert given.figure.axes == [given]


# --- files --------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".pdf", ".svg", ".PNG"])
def test_files_are_the_same_each_time_and_their_text_can_be_read(flow, tmp_path, ending):
    values, found = flow.surface.corners[..., 0], []
    for name in ("first", "second"):
        path = tmp_path / (name + ending)
        write_pressure_map(
            *(path, flow.surface, values, "left"), title="tow, 62 kt", dots_per_inch=100
        )
        found.append(path.read_bytes())
    assert found[0] == found[1]
    if ending == ".svg":
        text = found[0].decode()
        assert ">tow, 62 kt<" in text
        assert ">from the left<" in text
        assert text.count("<image") == 2  # skin and colour bar
        assert "date" not in text.lower().replace("validate", "")
    elif ending == ".pdf":
        assert found[0].startswith(b"%PDF")
        assert b"/FontFile2" in found[0]  # outlines of TrueType, not letters drawn as shapes
        assert b"CreationDate" not in found[0]
    else:
        assert found[0].startswith(b"\x89PNG")


def test_skin_in_a_drawing_has_the_dots_asked_for(flow, tmp_path):
    import re

    values = flow.surface.corners[..., 0]
    sizes = []
    for dots in (100, 300):
        path = tmp_path / "left.svg"
        write_pressure_map(path, flow.surface, values, "left", dots_per_inch=dots)
        images = re.findall(r'<image[^>]*width="([\d.]+)', path.read_text())
        sizes.append(max(float(width) for width in images))
    # in points of the drawing the skin is as large, give or take a dot or two at its rim
    assert sizes[0] == pytest.approx(sizes[1], rel=0.02)


def test_unknown_ending_is_one_error_that_lists_the_known(flow, tmp_path):
    values = flow.surface.corners[..., 0]
    for name in ("left.jpg", "left"):
        with pytest.raises(SurfaceError, match=r"end in one of: \.png, \.pdf, \.svg"):
            write_pressure_map(tmp_path / name, flow.surface, values)
    assert not list(tmp_path.iterdir())


# --- mistakes -----------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", ["climb", 3, -4, 1.5, None, True])
def test_unknown_conditions_list_the_known(flow, wrong):
    with pytest.raises(FlowError, match=r"there are: 'tow', 'cruise', 'tied down', or the numbers"):
        plot_pressure_map(flow, wrong, quick(flow))
    assert condition_number(flow.conditions, -1) == 2


def test_unknown_views_list_the_known(flow):
    with pytest.raises(SurfaceError, match=r"'side'; there are: left, right, .*three-quarter"):
        plot_pressure_map(flow, 0, "side")
    with pytest.raises(SurfaceError, match="'side'; there are: left"):
        plot_vent_map(flow.surface, np.ones(flow.surface.n_panels), "side")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"pressure": "psi"}, "pressure is 'psi'; there are: 'Cp', 'Pa'"),
        ({"condition": 2, "pressure": "Cp"}, "'tied down' is at rest and has no Cp"),
        ({"values": np.zeros((3, 3))}, r"values has shape \(3, 3\); expected \(224, 3\)"),
        ({"same_limits": ["climb"]}, "no condition is called 'climb'"),
        ({"same_limits": []}, "no condition is left"),
    ],
)
def test_what_cannot_be_drawn_is_said(flow, options, message):
    with pytest.raises(FlowError, match=message):
        plot_pressure_map(flow, **{"view": quick(flow), "condition": 0} | options)


def test_bodies_without_values_and_wrong_maps_are_refused(flow):
    surface = flow.surface
    with pytest.raises(FlowError, match="a SurfaceMesh has no pressure of its own"):
        plot_pressure_map(surface)
    with pytest.raises(FlowError, match="needs a SurfaceFlow"):
        plot_pressure_map(surface, values=surface.corners[..., 0], same_limits=True)
    with pytest.raises(PlacementError, match=r"shape \(5,\); expected \(224,\)"):
        plot_vent_map(surface, np.ones(5))
    with pytest.raises(PlacementError, match="no searched panel"):
        plot_vent_map(surface, np.full(surface.n_panels, np.nan))
