"""Entries, vents, ducts, heated cores, sums of losses, flaps: laws, slopes, limits, refusals."""

import numpy as np
import pytest

from panelcp.cooling import ducts, inlets, vents
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.elements import (
    LEAST_DROP,
    CoreLaw,
    ElementAir,
    LossCoefficient,
    Orifice,
    QuadraticLaw,
)
from panelcp.cooling.flow_elements import (
    LEAST_ENTRY_LOSS,
    FlushVent,
    HeatedCore,
    InletEntry,
    Losses,
    OneWayFlap,
    StraightDuct,
)
from panelcp.cooling.network import Network, Node, solve_network

AIR = ElementAir(300.0, 330.0, 295.0, 95000.0)
FLOW = np.array([-0.9, -0.31, -0.013, 3e-6, 0.047, 0.13, 0.29, 0.41, 0.83])


def entry(stream=40.0, share=0.4, incidence=10.0, across=0.7, back=0.6):
    return InletEntry("i", "a", "b", 0.01, stream, share, incidence, across, back)


def vent(stream=50.0, deviation=0.0):
    return FlushVent("v", "a", "b", 0.01, stream, 0.62, deviation)


def duct(roughness=1e-4, aspect=None, deviation=0.0):
    return StraightDuct("d", "a", "b", 1.2, 0.1, 0.008, roughness, aspect, deviation)


ODD = [
    vent(), vent(0.0), vent(80.0, -1.5), duct(), duct(0.0, 0.3, 1.0), duct(4e-3, None, -2.0),
    HeatedCore("c", "a", "b", 20.0, 4.0, 0.1, 1.2, 1.8e-5, 0.75, 1.1),
    Losses("l", "a", "b", 900.0, 900.0),
]  # fmt: skip
ALL = [
    *ODD,
    entry(),
    entry(0.0),
    entry(90.0, 1.0, 0.0, 0.0),
    entry(30.0, 1.0, 90.0, 1.0),
    Losses("l", "a", "b", 900.0, 2500.0),
    OneWayFlap("f", "a", "b", 0.6, 0.02, 0.05),
]


def named(element):
    return f"{type(element).__name__} {ALL.index(element)}"


@pytest.mark.parametrize("element", ALL, ids=named)
def test_falls_rise_with_the_flow_and_their_slopes_are_exact(element):
    flow = np.concatenate([-np.geomspace(2.0, 1e-8, 400), [0.0], np.geomspace(1e-8, 2.0, 400)])
    drop, slope = element.drop(flow, AIR)
    assert np.all(np.diff(drop) > 0.0)
    assert np.all(slope > 1e-3)
    assert drop[400] == 0.0
    step = 1e-5 * np.abs(FLOW)
    change = element.drop(FLOW + step, AIR)[0] - element.drop(FLOW - step, AIR)[0]
    np.testing.assert_allclose(element.drop(FLOW, AIR)[1], change / (2.0 * step), rtol=1e-6)


@pytest.mark.parametrize("element", ODD, ids=named)
def test_some_laws_are_odd(element):
    np.testing.assert_allclose(
        element.drop(-FLOW, AIR)[0], -element.drop(FLOW, AIR)[0], rtol=1e-13, atol=1e-15
    )


@pytest.mark.parametrize("element", ALL, ids=named)
def test_numbers_of_worlds_and_worlds_picked(element):
    numbers = {
        name: np.repeat(value, 9)
        for name, value in vars(element).items()
        if name not in ("name", "start", "end")
    }
    many = type(element)("x", "a", "b", **numbers)
    assert many.mistakes() == []
    picked = np.array([7, 2])
    for got, expected in zip(many.law(AIR).at(picked).drop(FLOW[picked]),
                             element.drop(FLOW[picked], AIR), strict=True):  # fmt: skip
        np.testing.assert_allclose(got, expected, rtol=1e-14)


def test_entry_loses_what_the_lip_loses_and_a_little():
    flow = np.array([0.0, 0.1, 0.3, 0.45, 0.8])
    for given in ((40.0, 0.4, 10.0, 0.7), (0.0, 1.0, 0.0, 1.0), (60.0, 0.2, 45.0, 0.3)):
        speed = flow / (AIR.inlet_density * 0.01)
        lip = inlets.lip_pressure_loss(speed, given[0], AIR.inlet_density, *given[1:])
        least = LEAST_ENTRY_LOSS * 0.5 * AIR.inlet_density * speed**2
        drop = entry(*given).drop(flow, AIR)[0]
        np.testing.assert_allclose(drop, lip + least, rtol=1e-12)


def test_entry_that_blows_out_is_an_orifice_and_one_that_spills_loses_next_to_nothing():
    flow = np.array([-0.5, -0.1])
    hole = Orifice("o", "a", "b", 0.6, 0.01)
    np.testing.assert_allclose(entry().drop(flow, AIR)[0], hole.drop(flow, AIR)[0], rtol=1e-12)
    # 20 m/s into an inlet in 40 m/s along its axis: 1e-3 heads of 20 m/s, head by hand
    straight = entry(40.0, 1.0, 0.0, 1.0)
    air = ElementAir.uniform(1.2)
    assert straight.drop(20.0 * 1.2 * 0.01, air)[0][0] == pytest.approx(0.24, rel=1e-12)
    # 50 m/s into it: 1.2 / 2 (50 - 40)^2 and 1e-3 heads of 50 m/s
    assert straight.drop(50.0 * 1.2 * 0.01, air)[0][0] == pytest.approx(60.0 + 1.5, rel=1e-12)


@pytest.mark.parametrize(("stream", "deviation"), [(0.0, 0.0), (30.0, 0.0), (90.0, 1.0)])
def test_vent_is_that_of_its_law(stream, deviation):
    speed = FLOW / (AIR.inlet_density * 0.01)
    law = vents.flush_vent_drop(speed, stream, AIR.inlet_density, 0.62, deviation)
    drop = vent(stream, deviation).drop(FLOW, AIR)[0]
    assert np.all(np.abs(drop - law) <= LEAST_DROP * (1.0 + 1e-6) + 1e-12 * np.abs(law))
    np.testing.assert_allclose(drop[np.abs(law) > 1e2], law[np.abs(law) > 1e2], rtol=1e-6)


def test_vent_in_a_stream_as_fast_as_its_jet():
    """At the pressure that would give a jet as fast as the stream Cd is 0.3 (its band's middle)."""
    air, pressure = ElementAir.uniform(1.2), 0.5 * 1.2 * 50.0**2
    assert vent().drop(0.3 * 0.01 * 1.2 * 50.0, air)[0][0] == pytest.approx(pressure, rel=1e-6)


@pytest.mark.parametrize("aspect", [None, 0.0, 0.4])
@pytest.mark.parametrize("deviation", [-3.0, -1.0, 0.0, 2.0])
def test_duct_is_that_of_its_law(aspect, deviation):
    """Between laminar and turbulent flow only without deviation: with one, that law may fall."""
    reynolds = np.concatenate([np.linspace(0.0, 6000.0, 601), [3e4, 1e6]])
    flow = reynolds * 0.008 * AIR.viscosity / 0.1
    drop, _ = duct(1e-4, aspect, deviation).drop(flow, AIR)
    law = ducts.straight_duct_drop(
        flow / (AIR.mean_density * 0.008), 1.2, 0.1, AIR.mean_density, AIR.viscosity, 1e-4,
        aspect, deviation,
    )  # fmt: skip
    sure = (reynolds <= 2000.0) | (reynolds >= 4000.0) | (deviation == 0.0)
    np.testing.assert_allclose(drop[sure], law[sure], rtol=1e-12)
    assert np.all(np.diff(drop) > 0.0)


@pytest.mark.parametrize("reynolds", [1500.0, 2040.0, 2600.0, 3300.0, 3950.0, 5e3, 2e5])
@pytest.mark.parametrize("deviation", [-2.0, 0.0, 1.5])
def test_slope_of_a_duct_between_laminar_and_turbulent(reynolds, deviation):
    law = duct(2e-4, 0.5, deviation).law(AIR)
    near = reynolds * np.array([1.0 - 1e-6, 1.0, 1.0 + 1e-6])
    number, rise = law.friction(near)
    change = (number[2] - number[0]) / (near[2] - near[0])
    assert rise[1] == pytest.approx(change, rel=1e-5, abs=1e-9)


def test_deviation_of_a_duct_is_the_band_s_where_it_is_small():
    reynolds, small = np.linspace(100.0, 9000.0, 90), 1e-5
    number = {d: duct(1e-4, 0.4, d).law(AIR).friction(reynolds)[0] for d in (-small, small)}
    band = [ducts.friction_number(reynolds, 1e-3, 0.4, d) for d in (-small, small)]
    np.testing.assert_allclose(number[small] - number[-small], band[1] - band[0], rtol=1e-4)


def test_deviations_of_a_duct_count_up_to_three():
    for far, kept in ((-5.0, -3.0), (9.0, 3.0)):
        drops = [duct(1e-4, 0.0, d).drop(FLOW / 50.0, AIR)[0] for d in (far, kept)]
        np.testing.assert_array_equal(*drops)


def test_core_that_heats_its_air():
    law = DropLaw(20.0, 4.0, 1.2, 1.8e-5, 1.0, 10.0)
    core = HeatedCore("c", "a", "b", 20.0, 4.0, 0.1, 1.2, 1.8e-5, 0.7, 1.3)
    plain = CoreLaw("c", "a", "b", 20.0, 4.0, 0.1, 1.2, 1.8e-5)
    flow, density = np.array([-0.5, 0.2, 0.8]), (AIR.inlet_density, AIR.outlet_density)
    whole = law.heated_drop(flow / 0.1, *density, AIR.viscosity, 0.7)
    # the scatter is one of the bench law alone
    bench = plain.drop(flow, AIR)[0]
    drop = core.drop(flow, AIR)[0]
    assert isinstance(core.law(AIR), QuadraticLaw)
    np.testing.assert_allclose(drop, whole + 0.3 * bench, rtol=1e-6)
    even = ElementAir.uniform(1.1)
    np.testing.assert_allclose(
        core.drop(flow, even)[0], 1.3 * plain.drop(flow, even)[0], rtol=1e-12
    )


def test_core_that_cools_its_air_still_resists():
    core = HeatedCore("c", "a", "b", 0.0, 0.1, 0.1, 1.2, 1.8e-5, 0.5, 1.0)
    cold = ElementAir(600.0, 300.0, 300.0, 95000.0)
    drop, slope = core.drop(np.array([-0.3, 0.0, 0.3]), cold)
    assert drop[0] < 0.0 == drop[1] < drop[2]
    assert np.all(slope > 0.0)


def test_losses_in_series_as_one():
    """h = sum of K / A^2: 0.4 / 0.02^2 + 1.5 / 0.05^2 = 1600; 1600 * 0.3^2 / 2 rho by hand."""
    series = Losses("s", "a", "b", 0.4 / 0.02**2 + 1.5 / 0.05**2, 2000.0)
    alone = [LossCoefficient("k", "a", "b", 0.4, 1.0, 0.02),
             LossCoefficient("k", "a", "b", 1.5, 1.0, 0.05)]  # fmt: skip
    drop = series.drop(0.3, AIR)[0][0]
    assert drop == pytest.approx(sum(e.drop(0.3, AIR)[0][0] for e in alone), rel=1e-12)
    assert drop == pytest.approx(72.0 / AIR.inlet_density, rel=1e-12)
    assert series.drop(-0.3, AIR)[0][0] == pytest.approx(-90.0 / AIR.inlet_density, rel=1e-12)


def test_flap_opens_one_way():
    flap, hole = OneWayFlap("f", "a", "b", 0.6, 0.02, 0.05), Orifice("o", "a", "b", 0.6, 0.02)
    ahead, back = flap.drop(np.array([0.2, -0.2]), AIR)[0]
    assert ahead == pytest.approx(hole.drop(0.2, AIR)[0][0], rel=1e-12)
    assert -back / ahead == pytest.approx(400.0, rel=1e-12)


def test_losses_go_with_one_over_the_density():
    """Density times fall is a function of the mass flow and the flows of the streams, rho A V."""
    thick, thin = ElementAir.uniform(1.2, 300.0), ElementAir.uniform(0.6, 300.0)
    for element, half in (
        (entry(40.0), entry(80.0)), (vent(50.0), vent(100.0)), (duct(), duct()),
        (ODD[-1], ODD[-1]), (ALL[-1], ALL[-1]),
    ):  # fmt: skip
        np.testing.assert_allclose(
            half.drop(FLOW, thin)[0], 2.0 * element.drop(FLOW, thick)[0], rtol=1e-6, atol=1e-3
        )


def test_all_of_them_in_one_network():
    """Ram air through every element in a row; the pressures of the nodes follow the laws."""
    row = [entry(), duct(), Losses("l", "a", "b", 900.0, 900.0), ODD[6], ALL[-1], vent()]
    names = ["in", *"12345", "out"]
    elements = []
    for k, e in enumerate(row):
        numbers = [v for n, v in vars(e).items() if n not in ("name", "start", "end")]
        elements.append(type(e)(f"e{k}", names[k], names[k + 1], *numbers))
    network = Network([Node("in", True), Node("out", True), *(Node(n) for n in "12345")], elements)
    result = solve_network(network, [[1500.0, -100.0], [-300.0, 50.0]], 300.0)
    assert result.converged.all()
    assert result.state.iterations.max() <= 15
    assert result.flow("e0")[0] > 0.0 > result.flow("e0")[1]
    np.testing.assert_allclose(result.state.drop.sum(axis=1), [1600.0, -350.0], rtol=1e-9)


@pytest.mark.parametrize(
    ("element", "words"),
    [
        (entry(-1.0), "stream speed is -1; expected a number not below 0"),
        (entry(share=1.2), "lip share is 1.2; expected at most 1"),
        (entry(incidence=[10.0, 120.0, 100.0]), "incidence is 120 in 2 of 3 worlds"),
        (entry(back=0.0), "back discharge is 0; expected a number above 0"),
        (FlushVent("v", "a", "b", 0.01, 1.0, 1.1, 0.0), "still is 1.1; expected at most 1"),
        (FlushVent("v", "a", "b", 0.01, 1.0, 1e-4, 0.0), "still is below 0.001"),
        (vent(deviation=np.nan), "deviation is nan"),
        (StraightDuct("d", "a", "b", 0.0, 0.1, 0.01, 0.0, None, 0.0), "length is 0"),
        (duct(roughness=0.006), "more than 0.05 diameters"),
        (duct(aspect=1.5), "aspect is not between 0 and 1"),
        (HeatedCore("c", "a", "b", 0.0, 0.0, 0.1, 1.2, 1.8e-5, 0.7, 1.0), "both 0"),
        (HeatedCore("c", "a", "b", 1.0, 1.0, 0.1, 1.2, 1.8e-5, 1.7, 1.0), "free share is 1.7"),
        (HeatedCore("c", "a", "b", 1.0, 1.0, 0.1, 1.2, 1.8e-5, 0.7, 0.0), "scatter is 0"),
        (Losses("l", "a", "b", 0.0, 1.0), "head forward is 0"),
        (OneWayFlap("f", "a", "b", 0.6, 0.02, 0.0), "shut is 0"),
        (OneWayFlap("f", "a", "b", 0.6, 0.02, 2.0), "shut is 2; expected at most 1"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_impossible_numbers_are_said(element, words):
    assert any(words in text for text in element.mistakes())
