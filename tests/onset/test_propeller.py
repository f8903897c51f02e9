"""The propeller: loading, thrust line, coordinates, mistakes."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from panelcp.errors import FlowError
from panelcp.onset.propeller import FULL, N_RINGS, ROOT, TIP, Loading, Propeller, usual_loading
from panelcp.quantity import UncertainValue

EFFICIENCY = UncertainValue(0.85)
LOADINGS = {
    "usual": usual_loading(),
    "uniform": Loading([0.0, 1.0], [3.0, 3.0]),
    "hollow": Loading([0.3, 1.0], [1.0, 1.0]),
    "triangle": Loading([0.0, 0.7, 1.0], [0.0, 2.0, 0.0]),
    "falling": Loading([0.0, 1.0], [1.0, 0.2]),
    "measured": Loading([0.2, 0.35, 0.5, 0.75, 0.95], [0.1, 0.5, 1.1, 1.3, 0.4]),
}


def propeller(**fields):
    given = {"diameter": 1.9, "centre": [0.0, 0.0, 0.0], "rotation": "clockwise"}
    return Propeller(**{**given, "efficiency": EFFICIENCY, **fields})


@pytest.mark.parametrize("name", LOADINGS)
def test_mean_over_the_disc_is_one(name):
    loading = LOADINGS[name]
    places = [0.0, *loading.fraction[1:-1:20], 1.0]
    mean = sum(
        quad(lambda s: 2.0 * s * float(loading.at(s)), a, b, limit=200)[0]
        for a, b in pairwise(places)
    )
    assert mean == pytest.approx(1.0, abs=1e-6)


def test_loading_keeps_its_shape_and_ends_at_its_places():
    loading = LOADINGS["measured"]
    assert loading.at([0.35, 0.425, 0.5]) / loading.at(0.75) == pytest.approx(
        np.array([0.5, 0.8, 1.1]) / 1.3
    )
    assert loading.at([0.0, 0.19, 0.96, 1.2]).tolist() == [0.0] * 4
    assert Loading([0.0, 1.0], [2.0, 1.0]).value == pytest.approx(
        Loading([0.0, 1.0], [20.0, 10.0]).value
    )


def test_usual_loading_has_no_root_a_flat_middle_and_no_tip():
    loading = usual_loading()
    assert loading.at([0.0, 0.5 * ROOT, ROOT, 1.0]).tolist() == [0.0] * 4
    middle = loading.at(np.linspace(FULL, TIP, 20))
    assert middle == pytest.approx(np.full(20, middle[0]), rel=1e-12)
    # smooth steps are at half their height in the middle
    assert loading.at(0.5 * (ROOT + FULL)) == pytest.approx(0.5 * middle[0], rel=1e-3)
    assert loading.at(0.5 * (TIP + 1.0)) == pytest.approx(0.5 * middle[0], rel=1e-3)
    assert middle[0] > 1.0


@pytest.mark.parametrize("name", LOADINGS)
def test_rings_increase_and_lie_where_the_loading_changes(name):
    loading = LOADINGS[name]
    rings = loading.ring_fractions
    assert (np.diff(rings) > 0.0).all()
    assert rings[0] >= loading.fraction[0]
    assert rings[-1] <= loading.fraction[-1]
    assert len(rings) <= N_RINGS


def test_rings_of_loadings_with_steps():
    assert LOADINGS["uniform"].ring_fractions.tolist() == [1.0]
    assert LOADINGS["hollow"].ring_fractions == pytest.approx([0.3, 1.0])
    usual = LOADINGS["usual"].ring_fractions
    # none where the loading is flat; every ring carries the same part of its root
    assert not ((usual > FULL) & (usual < TIP)).any()
    root = np.sqrt(LOADINGS["usual"].at(usual[usual < FULL]))
    assert np.diff(root) == pytest.approx(np.full(len(root) - 1, np.diff(root)[0]), rel=1e-2)


@pytest.mark.parametrize(
    ("fraction", "value", "message"),
    [
        ([0.5], [1.0], "at least two places, each with one value"),
        ([0.0, 0.5, 1.0], [1.0, 1.0], "at least two places, each with one value"),
        ([[0.0, 1.0]], [[1.0, 1.0]], "at least two places"),
        ([0.5, 0.4], [1.0, 1.0], "must increase from 0 to 1"),
        ([0.5, 0.5], [1.0, 1.0], "must increase from 0 to 1"),
        ([-0.1, 1.0], [1.0, 1.0], "must increase from 0 to 1"),
        ([0.2, 1.1], [1.0, 1.0], "must increase from 0 to 1"),
        ([0.2, np.nan], [1.0, 1.0], "must increase from 0 to 1"),
        ([0.2, 1.0], [1.0, -0.1], "negative or not a number"),
        ([0.2, 1.0], [1.0, np.nan], "negative or not a number"),
        ([0.2, 1.0], [0.0, 0.0], "zero everywhere"),
    ],
)
def test_loadings_that_make_no_sense_are_refused(fraction, value, message):
    with pytest.raises(FlowError, match=message):
        Loading(fraction, value)


def test_loading_is_protected():
    with pytest.raises(ValueError, match="read-only"):
        LOADINGS["usual"].value[0] = 1.0


def test_thrust_line_leans_the_way_its_names_say():
    # down and right ahead of the aeroplane: the slipstream goes up and left behind it
    assert propeller().aft.tolist() == [1.0, 0.0, 0.0]
    down = np.radians(4.0)
    assert propeller(tilt_down=4.0).aft == pytest.approx([np.cos(down), 0.0, np.sin(down)])
    assert propeller(tilt_right=4.0).aft == pytest.approx([np.cos(down), -np.sin(down), 0.0])
    both = propeller(tilt_down=3.0, tilt_right=-2.0).aft
    assert np.linalg.norm(both) == pytest.approx(1.0, rel=1e-14)
    assert both[1] > 0.0
    assert both[2] > 0.0


def test_cylinder_coordinates_are_those_of_a_turned_body():
    tilted = propeller(centre=[0.3, -0.2, 0.1], tilt_down=10.0, tilt_right=-7.0)
    random = np.random.default_rng(3)
    points = random.normal(size=(50, 3))
    axial, distance, outward = tilted.cylinder_coordinates(points)
    back = tilted.centre + axial[:, None] * tilted.aft + distance[:, None] * outward
    assert back == pytest.approx(points, abs=1e-14)
    assert outward @ tilted.aft == pytest.approx(np.zeros(50), abs=1e-14)
    assert np.linalg.norm(outward, axis=1) == pytest.approx(np.ones(50), rel=1e-14)
    on_axis = tilted.cylinder_coordinates([tilted.centre])
    assert [part.ravel().tolist() for part in on_axis] == [[0.0], [0.0], [0.0, 0.0, 0.0]]


def test_sizes():
    given = propeller(diameter=1.8, hub_diameter=0.27)
    assert given.radius == 0.9
    assert given.area == pytest.approx(2.544690, abs=1e-6)
    assert given.hub_fraction == pytest.approx(0.15)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"diameter": 0.0}, "diameter 0.0 m; expected more than 0"),
        ({"diameter": np.nan}, "diameter nan m"),
        ({"centre": [0.0, 0.0]}, "not a point of three lengths"),
        ({"centre": [0.0, 0.0, np.inf]}, "not a point of three lengths"),
        ({"rotation": "left"}, "rotation 'left' is not one of .*clockwise"),
        (
            {"hub_diameter": 1.0},
            "hub of 1000 mm; expected less than half of the diameter of 1900 mm",
        ),
        ({"hub_diameter": -0.1}, "hub of -100 mm"),
        ({"hub_diameter": 0.8}, "the loading is not zero inside the hub of 800 mm diameter"),
        ({"tilt_down": 16.0}, "tilt_down is 16.0 deg; expected at most 15 deg either way"),
        ({"tilt_right": np.nan}, "tilt_right is nan deg"),
        ({"efficiency": UncertainValue(0.0)}, "efficiency is 0; expected more than 0 to 1"),
        ({"figure_of_merit": UncertainValue(1.2)}, "figure_of_merit is 1.2"),
    ],
)
def test_mistakes_are_named(fields, message):
    with pytest.raises(FlowError, match=message):
        propeller(**fields)


def test_uniform_loading_with_a_hub_is_refused_and_fits_without():
    uniform = LOADINGS["uniform"]
    with pytest.raises(FlowError, match="loading is not zero inside the hub"):
        propeller(loading=uniform, hub_diameter=0.2)
    assert propeller(loading=uniform).loading is uniform
