"""Coolant circuit with thermostat: balance, regulation, too cold, wide open."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.heat import CoreDuty, steady_core
from panelcp.cooling.thermostat import Thermostat, regulated_core
from panelcp.errors import NetworkError

LAW = ConductanceLaw(950.0, 1.2, 2.0)
THERMOSTAT = Thermostat(355.0, 367.0, 0.01)


def duty(heat):
    return CoreDuty("radiator", 2.0, 3600.0, LAW, heat=heat)


@given(
    heat=st.floats(0.0, 9e4),
    air=st.just(0.0) | st.floats(0.01, 3.0),
    inlet=st.floats(240.0, 330.0),
    other=st.just(0.0) | st.floats(0.1, 60.0),
    least=st.floats(0.0, 0.3),
)
@settings(deadline=None, max_examples=60)
def test_balance_and_regulation(heat, air, inlet, other, least):
    thermostat = Thermostat(355.0, 367.0, least)
    state = regulated_core(duty(heat), thermostat, air, inlet, other)
    if np.isinf(state.engine_outlet):
        assert heat > 0.0
        assert (air == 0.0) & (other == 0.0)
        assert state.wide_open
        return
    assert state.radiator.heat + state.other_heat == pytest.approx(heat, rel=1e-6, abs=1e-5)
    circuit = 2.0 * 3600.0 * (state.engine_outlet - state.engine_inlet)
    assert circuit == pytest.approx(state.radiator.heat, rel=1e-9, abs=1e-6)
    # what comes back is what went through the radiator and what went round it
    mixed = state.share * state.radiator.hot_outlet + (1.0 - state.share) * state.engine_outlet
    assert mixed == pytest.approx(state.engine_inlet, rel=1e-9)
    assert state.engine_outlet >= inlet - 1e-9
    assert state.share == pytest.approx(thermostat.share(state.engine_outlet), abs=1e-6)
    assert bool(state.too_cold) == bool(
        state.engine_outlet < 355.0 and state.share == pytest.approx(least)
    )


def test_full_power_on_a_hot_day_is_wide_open_and_as_without_thermostat():
    state = regulated_core(duty(45e3), THERMOSTAT, 1.2, 311.0)
    assert state.wide_open
    assert state.share == 1.0
    assert state.engine_outlet == pytest.approx(steady_core(duty(45e3), 1.2, 311.0).hot_inlet)


def test_descent_at_idle_is_too_cold_with_a_leak_and_regulated_without():
    leaks = Thermostat(355.0, 367.0, 0.05)
    heat = np.array([0.0, 5e3, 45e3])
    state = regulated_core(duty(heat), leaks, 1.5, 285.0)
    assert state.too_cold.tolist() == [True, True, False]
    assert state.share[:2] == pytest.approx(0.05)
    tight = regulated_core(duty(5e3), Thermostat(355.0, 367.0, 0.0), 1.5, 285.0)
    assert 355.0 < tight.engine_outlet < 357.0
    assert not tight.too_cold
    # unless hoses and block lose more than the engine gives: 5 kW over 100 W/K are 50 K
    lossy = regulated_core(duty(5e3), Thermostat(355.0, 367.0, 0.0), 1.5, 285.0, 100.0)
    assert lossy.too_cold
    assert lossy.engine_outlet == pytest.approx(335.0)
    assert lossy.other_heat == pytest.approx(5e3)


def test_outlet_rises_with_heat_and_with_the_air():
    heat = np.linspace(0.0, 7e4, 60)
    state = regulated_core(duty(heat), THERMOSTAT, 1.2, 300.0)
    assert np.all(np.diff(state.engine_outlet) > 0.0)
    assert np.all(np.diff(state.share) >= 0.0)
    warm = regulated_core(duty(3e4), THERMOSTAT, 1.2, np.linspace(260.0, 330.0, 40))
    assert np.all(np.diff(warm.engine_outlet) > 0.0)


def test_the_thermostat_holds_its_temperature_over_a_wide_range_of_air():
    flow = np.linspace(0.9, 2.5, 20)
    with_it = regulated_core(duty(3e4), THERMOSTAT, flow, 285.0).engine_outlet
    without = steady_core(duty(3e4), flow, 285.0).hot_inlet
    assert np.ptp(with_it) < 0.25 * np.ptp(without)


def test_surroundings_of_their_own():
    # a bay warmer than the coolant warms it
    state = regulated_core(duty(1e3), THERMOSTAT, 0.0, 300.0, 20.0, other_temperature=320.0)
    assert state.engine_outlet == pytest.approx(320.0 + 1e3 / 20.0)
    assert state.other_heat == pytest.approx(1e3)
    # regulated, with a loss to a bay of its own temperature
    state = regulated_core(duty(2e4), THERMOSTAT, 1.2, 285.0, 40.0, other_temperature=330.0)
    assert 0.01 < state.share < 1.0
    assert state.other_heat == pytest.approx(40.0 * (state.engine_outlet - 330.0))
    assert state.radiator.heat + state.other_heat == pytest.approx(2e4, rel=1e-9)
    assert state.share == pytest.approx(THERMOSTAT.share(state.engine_outlet), abs=1e-9)


@pytest.mark.parametrize("heat", [5e-324, 1e-38, 1e-9, 1e-3])
@pytest.mark.parametrize("least", [0.0, 5e-324, 1e-14, 1e-12, 0.01])
@pytest.mark.parametrize("other", [0.0, 1e-30, 1e-12])
def test_next_to_no_heat_leaves_through_next_to_no_share(heat, least, other):
    """A shut thermostat lets the engine warm up until it opens, or what leaks keeps it cold."""
    state = regulated_core(duty(heat), Thermostat(355.0, 367.0, least), 1.2, 285.0, other)
    assert 285.0 <= state.engine_outlet <= 355.001
    # 2 kg/s of 3600 J/(kg K), 70 K above the air; what is no flow at all counts as none
    assert least <= state.share <= max(least, 1.01 * heat / (7200.0 * 70.0) + 1e-12)
    assert not state.wide_open
    assert state.too_cold or least < 0.01
    assert state.radiator.heat + state.other_heat == pytest.approx(heat, rel=1e-4, abs=1e-6)


def test_without_heat_all_is_as_warm_as_the_air():
    air = np.array([285.0, 355.0, 361.0, 367.0, 400.0])
    for flow in (0.0, 1.2):
        for least in (0.0, 0.01):
            thermostat = Thermostat(355.0, 367.0, least)
            state = regulated_core(duty(0.0), thermostat, flow, air)
            assert state.engine_outlet == pytest.approx(air, rel=1e-14)
            assert state.engine_inlet == pytest.approx(air, rel=1e-14)
            assert state.share == pytest.approx(thermostat.share(air))
            assert state.too_cold.tolist() == [True, False, False, False, False]
            assert state.wide_open.tolist() == [False, False, False, True, True]


def test_heat_without_a_way_out_has_no_steady_temperature():
    for heat in (1e-38, 1e3):
        state = regulated_core(duty(heat), THERMOSTAT, 0.0, 285.0)
        assert np.isinf(state.engine_outlet)
        assert state.wide_open


def test_share_and_temperature_are_inverse():
    share = np.linspace(0.01, 1.0, 9)
    assert THERMOSTAT.share(THERMOSTAT.temperature(share)) == pytest.approx(share)
    assert THERMOSTAT.share([300.0, 400.0]) == pytest.approx([0.01, 1.0])


def test_mistakes_are_refused():
    with pytest.raises(NetworkError, match="full_at is not above"):
        Thermostat(360.0, 360.0)
    with pytest.raises(NetworkError, match="least_share outside"):
        Thermostat(355.0, 367.0, 1.0)
    charge = CoreDuty("charge air", 0.1, 1005.0, 100.0, hot_inlet=350.0)
    with pytest.raises(NetworkError, match="needs the heat of the engine"):
        regulated_core(charge, THERMOSTAT, 1.0, 300.0)
    with pytest.raises(NetworkError, match="other_conductance"):
        regulated_core(duty(1e3), THERMOSTAT, 1.0, 300.0, -1.0)
