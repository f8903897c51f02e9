"""Heat of the engine: worked numbers, floors, and marks."""

import numpy as np
import pytest

from panelcp.cooling import loads
from panelcp.cooling.loads import (
    charge_air_heat,
    compressor_outlet_temperature,
    coolant_heat,
    energy_balance,
    idle_heat_from_fuel,
    oil_heat,
)
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue


def test_every_share_is_marked_as_a_rule_of_thumb():
    values = [v for v in vars(loads).values() if isinstance(v, UncertainValue)]
    values += list(loads.ENERGY_BALANCE.values())
    assert len(values) == 17
    assert {value.mark for value in values} == {"common practice", "memory"}
    assert all(value.source for value in values)


def test_coolant_heat_of_75_kilowatt():
    # 45 kW to the coolant of a 75 kW engine: derived from the share 0.6 (common practice)
    assert coolant_heat(75e3, 75e3) == pytest.approx(45e3)
    assert oil_heat(75e3, 75e3) == pytest.approx(7.5e3)


def test_idle_keeps_a_floor():
    shares = np.array([0.08, 0.15])
    idle = coolant_heat(0.0, 75e3, 0.6, shares)
    assert idle == pytest.approx(45e3 * shares)
    power = np.linspace(0.0, 75e3, 50)
    heat = coolant_heat(power, 75e3)
    assert np.all(np.diff(heat) >= 0.0)
    assert heat[-1] == pytest.approx(45e3)
    assert coolant_heat(75e3, 75e3, running=False) == 0.0


def test_idle_heat_from_fuel():
    # 3 l/h x 32 MJ/l x 30 % = 8 kW: derived
    assert idle_heat_from_fuel(3e-3 / 3600.0) == pytest.approx(8000.0, rel=1e-12)
    # and lies in the band of the other rule for a 75 to 105 kW engine
    low, high = coolant_heat(0.0, 105e3, 0.7, [0.08, 0.15])
    assert low < 8000.0 < high


def test_shares_of_the_fuel_heat():
    shares = loads.ENERGY_BALANCE.values()
    assert sum(s.low for s in shares) < 1.0 < sum(s.high for s in shares)
    assert sum(s.value for s in shares) == pytest.approx(0.975, abs=1e-12)
    heat = energy_balance(100e3)["coolant"]
    # coolant over shaft 0.6 to 1.0 (from memory, Heywood 1988, Table 12.1)
    assert heat.low == pytest.approx(100e3 * 17 / 28)
    assert heat.high == pytest.approx(100e3 * 26 / 25)
    assert round(heat.low / 1e5, 1) == 0.6
    assert round(heat.high / 1e5, 1) == 1.0
    assert heat.mark == "memory"


def test_brake_efficiency_of_aircraft_engines_is_consistent():
    # 25 to 35 % of the fuel's heat reaches the shaft (trade press, read; second hand, so memory);
    # 20 to 27 % at full throttle in another page
    shaft = loads.ENERGY_BALANCE["shaft"]
    assert shaft.low >= 0.20
    assert shaft.high <= 0.35
    # the same page: coolant from over 35 % at low to about 25 % at high engine speed, full throttle
    coolant = loads.ENERGY_BALANCE["coolant"]
    assert coolant.low < 0.25 < coolant.high < 0.35


def test_compression_without_losses_is_isentropic():
    hot = compressor_outlet_temperature(300.0, 1.6, efficiency=1.0)
    assert hot == pytest.approx(300.0 * 1.6 ** (2 / 7))
    assert compressor_outlet_temperature(300.0, 1.0) == 300.0
    assert compressor_outlet_temperature(300.0, 1.6, 0.5) - 300.0 == pytest.approx(
        2.0 * (hot - 300.0)
    )


def test_charge_air_heat_balances():
    flow = np.array([0.0, 0.05, 0.1])
    heat = charge_air_heat(flow, 310.0, 1.5, 0.65, outlet_temperature=330.0)
    hot = compressor_outlet_temperature(310.0, 1.5, 0.65)
    assert heat == pytest.approx(flow * loads.AIR_SPECIFIC_HEAT * (hot - 330.0))
    assert charge_air_heat(0.1, 310.0, 1.1, 0.65, outlet_temperature=360.0) == 0.0
    assert charge_air_heat(0.1, 310.0, 1.5) > heat[-1]


def test_charge_air_heat_with_mild_boost_lies_in_the_remembered_share():
    # air of a 75 kW engine: 75 kW / 0.265 / 43.5 MJ/kg x 12.5 (heat of petrol and mixture of full
    # power from memory), a pressure ratio of 1.4, a cooler of effectiveness 0.65
    flow = 75e3 / 0.265 / 43.5e6 * 12.5
    heat = 0.65 * charge_air_heat(flow, 311.0, 1.4)
    assert loads.CHARGE_SHARE.low < heat / 75e3 < loads.CHARGE_SHARE.high


def test_specific_heat_is_near_that_of_real_air():
    # CoolProp 8.0.0 at 101325 Pa: 15, 50, 100 degC
    for real in (1006.0, 1007.43, 1011.23):
        assert pytest.approx(real, rel=0.006) == loads.AIR_SPECIFIC_HEAT


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: coolant_heat(-1.0, 75e3), "shaft_power below 0"),
        (lambda: coolant_heat(1.0, 0.0), "rated_power not above 0"),
        (lambda: coolant_heat(1.0, 1.0, idle_share=2.0), "idle_share above 1"),
        (lambda: compressor_outlet_temperature(300.0, 0.9), "pressure_ratio of the compressor"),
        (lambda: compressor_outlet_temperature(300.0, 1.5, 1.1), "efficiency of the compressor"),
        (lambda: charge_air_heat(np.nan, 300.0, 1.5), "mass_flow below 0"),
    ],
)
def test_wrong_numbers_are_refused(call, words):
    with pytest.raises(NetworkError, match=words):
        call()
