"""Elements of the cooling network: their laws, slopes, scalings and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.atmosphere import GRAVITY, standard_air
from panelcp.cooling.elements import (
    LEAST_DROP,
    Buoyancy,
    CoreLaw,
    ElementAir,
    Fan,
    LossCoefficient,
    Orifice,
    Resistance,
    Table,
)

AIR = ElementAir.uniform(1.1, 300.0)
FLOW = np.linspace(0.0, 0.7, 8)
DIP_FLOW, DIP_RISE = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5], [200.0, 150.0, 160.0, 140.0, 90.0, 0.0]


def dipped(speed=100.0, whole=False):
    return Fan("fan", "a", "b", DIP_FLOW, DIP_RISE, 1.2, 100.0, speed, 5.0, 0.05, whole)


def parabola(speed=100.0):
    """250 - 2000 Q^2 Pa, finely tabulated."""
    flow = np.linspace(0.0, 0.3535, 300)
    return Fan("fan", "a", "b", flow, 250.0 - 2000.0 * flow**2, 1.1, 100.0, speed, 5.0, 0.05)


LOSSES = [
    Resistance("r", "a", "b", 50.0, 2000.0, 1.2),
    Resistance("r", "a", "b", 50.0, 0.0, 1.2),
    LossCoefficient("l", "a", "b", 0.4, 0.4, 0.03),
    Orifice("o", "a", "b", 0.62, 0.01),
    CoreLaw("c", "a", "b", 20.0, 4.0, 0.1, 1.2, 1.8e-5),
    Table("t", "a", "b", [0.1, 0.3, 0.6], [20.0, 130.0, 600.0], 1.2),
]
ALL = [
    *LOSSES,
    LossCoefficient("l", "a", "b", 0.2, 0.9, 0.03),
    parabola(),
    dipped(),
    dipped(0.0),
    dipped(100.0, whole=True),
    Buoyancy("h", "a", "b", 0.4),
]


def named(element):
    return f"{type(element).__name__} {element.name}"


@pytest.mark.parametrize("element", LOSSES, ids=named)
def test_losses_are_odd_and_nothing_at_rest(element):
    ahead, back = element.drop(FLOW, AIR)[0], element.drop(-FLOW, AIR)[0]
    np.testing.assert_allclose(back, -ahead, rtol=1e-12, atol=1e-12)
    assert ahead[0] == 0.0
    assert np.all(np.diff(ahead) > 0.0)


@pytest.mark.parametrize("element", ALL, ids=named)
def test_slope_is_that_of_the_drop(element):
    # away from the joints of the pieces, where the slope may jump
    flow = np.array([-0.9, -0.31, -0.013, 3e-6, 0.047, 0.13, 0.29, 0.41, 0.83])
    step = 1e-5 * np.abs(flow)
    slope = (element.drop(flow + step, AIR)[0] - element.drop(flow - step, AIR)[0]) / (2.0 * step)
    np.testing.assert_allclose(element.drop(flow, AIR)[1], slope, rtol=2e-4, atol=1e-2)


@pytest.mark.parametrize("element", LOSSES, ids=named)
def test_slope_never_vanishes(element):
    assert np.all(element.drop(np.array([-1e-12, 0.0, 1e-12, 0.3]), AIR)[1] > 1e-3)


@settings(max_examples=30, derandomize=True, deadline=None)
@given(st.floats(1e-4, 0.2), st.floats(0.3, 1.0), st.floats(-2.0, 2.0))
def test_orifice_is_exact_from_the_least_drop_on(area, discharge, flow):
    drop = Orifice("o", "a", "b", discharge, area).drop(flow, AIR)[0][0]
    exact = flow * abs(flow) / (2.0 * 1.1 * (discharge * area) ** 2)
    if abs(exact) > LEAST_DROP:
        assert drop == pytest.approx(exact, rel=1e-12)
    else:
        assert abs(drop) <= LEAST_DROP * (1.0 + 1e-9)


def test_losses_in_thinner_air_at_the_same_mass_flow():
    """Fall times density is a function of the mass flow; a core's linear part goes with viscosity
    over density."""
    thin = ElementAir.uniform(0.55, 300.0)
    for element in [LOSSES[0], *LOSSES[2:4], LOSSES[5]]:
        np.testing.assert_allclose(
            element.drop(FLOW[1:], thin)[0], 2.0 * element.drop(FLOW[1:], AIR)[0], rtol=1e-12
        )
    air = standard_air(0.0)
    core = CoreLaw("c", "a", "b", 20.0, 4.0, 0.1, air.density, air.viscosity)
    same = ElementAir.uniform(air.density, air.temperature)
    # V = 8 m/s: 20 * 8 + 4 * 64 = 416 Pa
    assert core.drop(8.0 * air.density * 0.1, same)[0][0] == pytest.approx(416.0, rel=1e-12)
    assert same.viscosity == pytest.approx(air.viscosity, rel=1e-12)


def test_densities_upstream_middle_and_downstream():
    air = ElementAir(300.0, 340.0, 290.0, 101325.0)
    assert air.inlet_density == pytest.approx(101325.0 / (287.05287 * 300.0))
    assert 2.0 / air.mean_density == pytest.approx(
        1.0 / air.inlet_density + 1.0 / air.outlet_density
    )
    rise = -Buoyancy("h", "a", "b", 0.5).drop(0.3, air)[0][0]
    assert rise == pytest.approx(GRAVITY * 0.5 * (air.outside_density - air.outlet_density))


def test_coefficients_differ_by_direction():
    element = LossCoefficient("l", "a", "b", 0.2, 0.8, 0.05)
    ahead, back = element.drop(np.array([0.4, -0.4]), AIR)[0]
    assert -back / ahead == pytest.approx(4.0)
    assert ahead == pytest.approx(0.2 * 0.5 * 1.1 * (0.4 / (1.1 * 0.05)) ** 2)


def test_table_goes_through_its_points_and_on_beyond():
    table = LOSSES[-1]
    air = ElementAir.uniform(1.2)
    np.testing.assert_allclose(table.drop(np.array([0.1, 0.3, -0.6]), air)[0], [20, 130, -600])
    beyond = table.drop(np.array([0.6, 0.600001, 1.2]), air)[0]
    assert beyond[0] < beyond[1] < 600.01
    assert beyond[2] > 600.0 * 2.0


def test_fan_laws():
    """Flow with speed, pressure with density and the square of speed; power with the cube."""
    full, slow = parabola(), parabola(80.0)
    rise = -full.drop(1.1 * 0.2, AIR)[0][0]
    assert rise == pytest.approx(250.0 - 2000.0 * 0.04, abs=1e-3)
    assert -slow.drop(0.8 * 1.1 * 0.2, AIR)[0][0] == pytest.approx(0.64 * rise, rel=1e-12)
    thin = ElementAir.uniform(0.55, 300.0)
    assert -full.drop(0.55 * 0.2, thin)[0][0] == pytest.approx(0.5 * rise, rel=1e-12)


def test_fan_that_is_off_is_a_loss_and_a_slow_one_comes_near_it():
    flow = np.array([-0.5, 0.5])
    head = 5.0 * flow * np.abs(flow) / (2.0 * 1.1 * 0.05**2)
    np.testing.assert_allclose(dipped(0.0).drop(flow, AIR)[0], head, rtol=1e-12)
    np.testing.assert_allclose(dipped(0.01).drop(flow, AIR)[0], head, rtol=1e-2)


def test_fan_on_in_some_worlds_only():
    mixed = dipped(np.array([100.0, 0.0])).drop(np.array([0.3, 0.3]), AIR)[0]
    alone = dipped().drop(0.3, AIR)[0][0], dipped(0.0).drop(0.3, AIR)[0][0]
    np.testing.assert_allclose(mixed, alone, rtol=1e-14)


def test_falling_branch_is_used_and_the_dip_flagged():
    fan, whole = dipped(), dipped(whole=True)
    reference = ElementAir.uniform(1.2)
    assert fan.branch_start == 2
    assert fan.monotone
    assert not whole.monotone
    flow = 1.2 * np.linspace(-0.3, 0.7, 301)
    assert np.all(np.diff(fan.drop(flow, reference)[0]) > 0.0)
    assert np.any(np.diff(whole.drop(flow, reference)[0]) < 0.0)
    np.testing.assert_allclose(
        whole.drop(1.2 * np.array(DIP_FLOW), reference)[0], -np.array(DIP_RISE), atol=1e-9
    )
    near = fan.near_dip(1.2 * np.array([0.05, 0.22, 0.24, 0.45]), reference)
    assert near.tolist() == [True, True, False, False]
    back = fan.holds_back(1.2 * np.array([-0.1, 0.3, 0.52]), reference)
    assert back.tolist() == [False, False, True]
    assert not dipped(0.0).near_dip(0.1, reference)


@pytest.mark.parametrize(
    ("element", "words"),
    [
        (Orifice("o", "a", "b", 0.6, 0.0), "area is 0; expected a number above 0"),
        (Orifice("o", "a", "b", 0.6, [0.1, -1.0, 0.0]), "area is -1 in 2 of 3 worlds"),
        (Orifice("o", "a", "b", np.nan, 0.1), "discharge is nan"),
        (LossCoefficient("l", "a", "b", 0.0, 1.0, 0.1), "forward is 0"),
        (Resistance("r", "a", "b", 0.0, 0.0, 1.2), "both 0"),
        (CoreLaw("c", "a", "b", -1.0, 1.0, 0.1, 1.2, 1e-5), "linear is -1"),
        (Buoyancy("h", "a", "b", np.inf), "height is inf"),
        (Table("t", "a", "b", [0.1, 0.1], [1.0, 2.0], 1.2), "flow does not rise"),
        (Table("t", "a", "b", [0.1, 0.2], [2.0, 1.0], 1.2), "pressure does not rise"),
        (Table("t", "a", "b", [0.1, 0.2], [2.0], 1.2), "expected pairs"),
        (
            Fan("f", "a", "b", [0.0, 0.1, 0.2], [50.0, 60.0, 70.0], 1.2, 1.0, 1.0, 4.0, 0.1),
            "no falling branch",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_impossible_numbers_are_said(element, words):
    assert any(words in text for text in element.mistakes())


@pytest.mark.parametrize("element", ALL, ids=named)
def test_possible_numbers_are_not_complained_of(element):
    assert element.mistakes() == []


def test_elements_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        LOSSES[0].linear[...] = 3.0


@pytest.mark.parametrize("element", ALL, ids=named)
def test_some_worlds_of_an_element(element):
    """Curves stay whole, numbers of the worlds are picked."""
    numbers = {
        name: value if name in element.curve or name == "whole_curve" else np.full(3, value)
        for name, value in vars(element).items()
        if name not in ("name", "start", "end") and not name.startswith("_")
    }
    many = type(element)("x", "a", "b", **numbers)
    expected = many.drop(np.array([0.1, -0.2, 0.3]), AIR)
    for part in (many.at([2, 0]), many.at([2, 0]).at([0, 1])):
        for got, wanted in zip(part.drop(np.array([0.3, 0.1]), AIR), expected, strict=True):
            np.testing.assert_allclose(got, wanted[[2, 0]], rtol=1e-13)
