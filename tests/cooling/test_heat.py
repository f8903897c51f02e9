"""Temperatures of cores: balance, limits, order of cores, limits of the outside temperature."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.atmosphere import hot_day_air
from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.coolant import boiling_under_cap
from panelcp.cooling.exchangers import ARRANGEMENTS, effectiveness
from panelcp.cooling.heat import (
    MOST_AIR_FLOW,
    CoreDuty,
    air_flow_for_rise,
    cores_in_series,
    heat_per_kelvin,
    heat_to_air,
    highest_outside_temperature,
    margin,
    mixed_temperature,
    needed_air_flow,
    steady_core,
)
from panelcp.cooling.loads import (
    AIR_SPECIFIC_HEAT,
    COOLANT_LIMIT,
    compressor_outlet_temperature,
    idle_heat_from_fuel,
)
from panelcp.errors import NetworkError

RADIATOR = CoreDuty("radiator", 2.0, 3600.0, ConductanceLaw(950.0, 1.2, 2.0), heat=45e3)
COOLER = CoreDuty("charge air", 0.08, 1005.0, 120.0, hot_inlet=365.0)
HOT = hot_day_air(0.0)


@given(
    heat=st.floats(0.0, 2e5),
    air=st.floats(1e-3, 10.0),
    other=st.floats(1e-3, 10.0),
    conductance=st.floats(1.0, 1e4),
    inlet=st.floats(220.0, 340.0),
    arrangement=st.sampled_from(ARRANGEMENTS),
)
@settings(deadline=None, max_examples=80)
def test_balance_of_heat_and_second_law(heat, air, other, conductance, inlet, arrangement):
    duty = CoreDuty("core", other, 3600.0, conductance, heat=heat, arrangement=arrangement)
    state = steady_core(duty, air, inlet)
    to_air = air * AIR_SPECIFIC_HEAT * (state.air_outlet - inlet)
    from_other = other * 3600.0 * (state.hot_inlet - state.hot_outlet)
    rounding = 1e-12 * (heat + (air + other) * 3600.0 * state.hot_inlet)
    assert to_air == pytest.approx(heat, abs=rounding)
    assert from_other == pytest.approx(heat, abs=rounding)
    assert 0.0 <= state.effectiveness <= 1.0
    loose = 1e-9 * state.hot_inlet
    assert state.hot_inlet >= inlet
    assert state.hot_outlet >= inlet - loose
    assert state.air_outlet <= state.hot_inlet + loose
    # the same core, asked with the temperature instead of the heat
    again = CoreDuty(
        "core", other, 3600.0, conductance, hot_inlet=state.hot_inlet, arrangement=arrangement
    )
    assert steady_core(again, air, inlet).heat == pytest.approx(heat, abs=rounding, rel=1e-9)


def test_radiator_by_hand():
    # C_air = 1.2 x 1006 = 1207.2, C = 1207.2 / 7200 = 0.167667, N = 950 / 1207.2 = 0.786945
    state = steady_core(RADIATOR, 1.2, HOT.temperature)
    reached = effectiveness(0.786945, 0.167667)
    assert state.effectiveness == pytest.approx(reached, rel=1e-5)
    assert state.hot_inlet == pytest.approx(HOT.temperature + 45e3 / (reached * 1207.2), rel=1e-6)
    assert state.air_outlet - state.air_inlet == pytest.approx(45e3 / 1207.2, rel=1e-6)
    assert state.hot_inlet - state.hot_outlet == pytest.approx(45e3 / 7200.0)
    assert state.transfer_units == pytest.approx(0.786945, rel=1e-5)


def test_worlds_go_through_at_once():
    rng = np.random.default_rng(3)
    flow, share = rng.uniform(0.5, 2.0, 500), rng.uniform(0.45, 0.8, 500)
    duty = CoreDuty("radiator", 2.0, 3600.0, ConductanceLaw(950.0, 1.2, 2.0), heat=75e3 * share)
    state = steady_core(duty, flow, HOT.temperature)
    assert state.hot_inlet.shape == state.air_inlet.shape == (500,)
    for i in (0, 77, 499):
        one = CoreDuty("radiator", 2.0, 3600.0, duty.conductance, heat=duty.heat[i])
        assert steady_core(one, flow[i], HOT.temperature).hot_inlet == state.hot_inlet[i]


def test_more_air_or_colder_air_or_less_heat_cools():
    flows = np.linspace(0.05, 3.0, 50)
    assert np.all(np.diff(steady_core(RADIATOR, flows, 300.0).hot_inlet) < 0.0)
    inlets = np.linspace(250.0, 320.0, 20)
    hot = steady_core(RADIATOR, 1.2, inlets).hot_inlet
    assert np.diff(hot) == pytest.approx(np.diff(inlets))


def test_without_flow():
    still = steady_core(RADIATOR, [0.0, 1.0], 300.0)
    assert np.isinf(still.hot_inlet).tolist() == [True, False]
    assert np.isinf(still.hot_outlet).tolist() == [True, False]
    assert still.effectiveness[0] == still.transfer_units[0] == 0.0
    cold = CoreDuty("radiator", 2.0, 3600.0, 950.0, heat=0.0)
    state = steady_core(cold, 0.0, 300.0)
    assert state.hot_inlet == state.hot_outlet == state.air_outlet == 300.0
    charge = steady_core(COOLER, [0.0, 1.0], 300.0)
    assert charge.heat[0] == 0.0
    assert charge.hot_outlet[0] == charge.hot_inlet[0] == 365.0
    assert charge.air_outlet[0] == 300.0


def test_usual_radiators_are_of_the_usual_size():
    # air rise 30 to 50 K, effectiveness 0.5 to 0.75 (common practice; memory)
    state = steady_core(RADIATOR, 1.2, HOT.temperature)
    assert 30.0 < state.air_outlet - state.air_inlet < 50.0
    assert 0.5 < state.effectiveness < 0.75


def test_air_flow_for_a_rise():
    # derived, with cp 1006: 45 kW and 50, 40, 30 K; face velocity of 0.12 m2 at 40 K in hot air
    flow = air_flow_for_rise(45e3, np.array([50.0, 40.0, 30.0]))
    assert flow == pytest.approx([0.90, 1.12, 1.49], abs=0.0055)
    assert flow[1] / HOT.density / 0.12 == pytest.approx(8.2, abs=0.05)
    # derived: idle heat of 8 kW and 35 K need 0.20 m3/s
    idle = idle_heat_from_fuel(3e-3 / 3600.0)
    assert air_flow_for_rise(idle, 35.0) / HOT.density == pytest.approx(0.20, abs=0.005)


def test_cores_one_behind_the_other():
    first, second = cores_in_series((COOLER, RADIATOR), 1.2, 311.0)
    assert second.air_inlet == first.air_outlet
    total = 1.2 * AIR_SPECIFIC_HEAT * (second.air_outlet - 311.0)
    assert total == pytest.approx(first.heat + second.heat, rel=1e-12)
    # each is cooler where it stands first
    behind = cores_in_series((RADIATOR, COOLER), 1.2, 311.0)
    assert first.hot_outlet < behind[1].hot_outlet
    assert second.hot_inlet > behind[0].hot_inlet
    # charge air that is colder than the air behind a radiator is warmed: heat is negative
    mild = CoreDuty("charge air", 0.08, 1005.0, 120.0, hot_inlet=330.0)
    assert cores_in_series((RADIATOR, mild), 1.2, 311.0)[1].heat < 0.0
    assert cores_in_series((), 1.2, 311.0) == ()


def test_charge_air_of_a_small_turbocharger():
    hot = compressor_outlet_temperature(311.0, 1.4, 0.65)
    state = steady_core(CoreDuty("charge air", 0.08, 1005.0, 100.0, hot_inlet=hot), 0.3, 311.0)
    # effectiveness 0.5 to 0.75 of charge coolers (from memory)
    assert 0.5 < state.effectiveness < 0.75
    assert state.hot_outlet == pytest.approx(hot - state.effectiveness * (hot - 311.0))


def test_heat_for_a_network():
    flow = np.array([0.4, -0.4, 0.0])
    heat = heat_to_air(COOLER)(flow, np.full(3, 311.0))
    assert heat[:2] == pytest.approx([float(steady_core(COOLER, 0.4, 311.0).heat)] * 2)
    assert heat[2] == 0.0
    assert heat_to_air(RADIATOR)(flow, 311.0) == pytest.approx([45e3, 45e3, 0.0])


def test_air_that_meets_mixes():
    flows = np.array([[0.2, 0.0], [0.6, -1.0]])
    mixed = mixed_temperature(flows, [[300.0, 300.0], [340.0, 340.0]])
    assert mixed[0] == pytest.approx(330.0)
    assert np.isnan(mixed[1])


def test_needed_air_flow_meets_the_limit():
    limits = np.array([370.0, 380.0, COOLANT_LIMIT.value])
    flow = needed_air_flow(RADIATOR, HOT.temperature, limits)
    assert steady_core(RADIATOR, flow, HOT.temperature).hot_inlet == pytest.approx(limits, abs=1e-7)
    assert np.all(np.diff(flow) < 0.0)
    # a core that is too small, and air as hot as the limit
    small = CoreDuty("radiator", 2.0, 3600.0, 300.0, heat=45e3)
    assert np.isinf(needed_air_flow(small, [310.0, 390.0], 390.0)).all()
    assert flow.max() < MOST_AIR_FLOW
    none = CoreDuty("radiator", 2.0, 3600.0, 300.0, heat=0.0)
    assert needed_air_flow(none, 310.0, 390.0) < 1e-3


def test_margin_takes_limit_or_boiling():
    assert margin(COOLANT_LIMIT, COOLANT_LIMIT.value - 7.0) == pytest.approx(7.0)
    open_cap = boiling_under_cap(0.0, 101325.0)
    assert margin(COOLANT_LIMIT, 380.0, open_cap) == pytest.approx(open_cap - 380.0)
    assert margin(390.0, [380.0, 395.0]) == pytest.approx([10.0, -5.0])


def test_highest_outside_temperature_is_degree_for_degree_at_fixed_flow():
    # 14 CFR 23.1043(c), text before 2017: fluid temperatures rise degree for degree
    outside = HOT.temperature - 15.0
    there = margin(COOLANT_LIMIT, steady_core(RADIATOR, 1.2, outside).hot_inlet)
    found = highest_outside_temperature(
        lambda t: margin(COOLANT_LIMIT, steady_core(RADIATOR, 1.2, t).hot_inlet), 250.0, 340.0
    )
    assert found == pytest.approx(outside + there, abs=1e-6)


def test_thinner_hot_air_lowers_the_highest_outside_temperature():
    # flow with the density of the air: hotter air is less of it
    def margin_at(temperature):
        flow = 1.2 * np.sqrt(HOT.temperature / temperature)
        return margin(COOLANT_LIMIT, steady_core(RADIATOR, flow, temperature).hot_inlet)

    found = highest_outside_temperature(margin_at, np.array([250.0, 335.0]), [340.0, 340.0])
    assert margin_at(found[0]) == pytest.approx(0.0, abs=1e-6)
    assert found[1] == -np.inf
    fixed = HOT.temperature + margin_at(HOT.temperature)
    above = found[0] > HOT.temperature
    assert (found[0] < fixed) == above
    assert highest_outside_temperature(margin_at, 200.0, 220.0) == np.inf


def test_heat_per_kelvin_is_effectiveness_times_the_smaller_flow():
    state = steady_core(RADIATOR, 1.2, 311.0)
    assert heat_per_kelvin(RADIATOR, 1.2) * (state.hot_inlet - 311.0) == pytest.approx(45e3)
    assert heat_per_kelvin(RADIATOR, 1.2, 0.0) == 0.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"heat": 1e3, "hot_inlet": 350.0}, "either its heat or the temperature"),
        ({}, "either its heat or the temperature"),
        ({"heat": -1.0}, "heat is below 0"),
        ({"heat": 1.0, "other_flow": -1.0}, "other_flow is below 0"),
        ({"heat": 1.0, "conductance": np.nan}, "conductance is below 0 or not finite"),
        ({"heat": 1.0, "other_specific_heat": 0.0}, "other_specific_heat is not above 0"),
        ({"hot_inlet": -3.0}, "hot_inlet is not above 0"),
        ({"heat": 1.0, "arrangement": "star"}, "unknown arrangement"),
    ],
)
def test_duties_that_make_no_sense_are_refused(change, words):
    given_ = {"other_flow": 1.0, "other_specific_heat": 3600.0, "conductance": 500.0} | change
    with pytest.raises(NetworkError, match=words):
        CoreDuty("core", **given_)


def test_other_mistakes_are_refused():
    with pytest.raises(NetworkError, match="size of the flow"):
        steady_core(RADIATOR, -1.0, 300.0)
    with pytest.raises(NetworkError, match="not above 0 K"):
        steady_core(RADIATOR, 1.0, -20.0)
    with pytest.raises(NetworkError, match="needs the heat"):
        needed_air_flow(COOLER, 300.0, 350.0)
    with pytest.raises(NetworkError, match="rise of the air"):
        air_flow_for_rise(1e3, 0.0)
