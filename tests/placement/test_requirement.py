"""Needed pressure against hand calculation."""

import pytest

from panelcp.atmosphere import Air, hot_day_air
from panelcp.errors import PlacementError
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.requirement import EXPONENT, NeededPressure
from panelcp.quantity import UncertainValue

REFERENCE = UncertainValue(1000.0, 800.0, 1300.0, "memory", kind="pressure")
THIN_AIR = Air(
    temperature=300.0, pressure=86116.0, density=1.0, speed_of_sound=347.2, viscosity=2e-5
)


def needed(limit=400.0, reference=REFERENCE, air=None):
    return NeededPressure(reference, limit, air or hot_day_air(0.0))


def test_reference_condition_needs_the_reference_pressure():
    condition = FlightCondition("tow", true_airspeed=30.0, day="hot day", power=1.0)
    at = needed().at(condition)
    assert (at.value, at.low, at.high) == pytest.approx((1000.0, 800.0, 1300.0), rel=1e-12)
    assert (at.mark, at.kind) == ("memory", "pressure")


def test_power_temperature_and_density_by_hand():
    # 0.8 of the heat; 400 - 300 = 100 K of room in the reference and 400 - 273.15 = 126.85 K now:
    # flow 0.8 / 1.2685 = 0.63067, to the power 1.7: 0.45668. Density of standard air of
    # 273.15 K at 101325 Pa: 1.29224 kg/m3, against 1.0: 0.35340 of the reference.
    condition = FlightCondition("cruise", true_airspeed=50.0, temperature=273.15, power=0.8)
    at = needed(air=THIN_AIR).at(condition)
    flow = 0.8 * 100.0 / 126.85
    density = 101325.0 / (287.05287 * 273.15)
    assert at.value == pytest.approx(1000.0 * flow**1.7 / density, rel=1e-9)
    assert at.value == pytest.approx(353.4, abs=0.1)


def test_band_scales_with_the_value_and_with_the_range_of_exponents():
    full = needed().at(FlightCondition("full", true_airspeed=50.0, power=1.0, day="hot day"))
    assert full.low / full.value == pytest.approx(0.8, rel=1e-12)
    assert full.high / full.value == pytest.approx(1.3, rel=1e-12)
    cruise = FlightCondition("cruise", true_airspeed=50.0, power=0.5)
    at, flow = needed().at(cruise), needed()._flow(cruise)
    assert flow < 0.5
    assert at.low / at.value == pytest.approx(0.8 * flow**0.1, rel=1e-12)
    assert at.high / at.value == pytest.approx(1.3 / flow**0.1, rel=1e-12)


def test_without_a_band_none_is_invented():
    reference = UncertainValue(1000.0, mark="yours", kind="pressure")
    at = needed(reference=reference).at(FlightCondition("a", true_airspeed=1.0, power=0.5))
    assert at.low is None
    assert at.high is None


@pytest.mark.parametrize("power", [0.25, 0.5, 1.2])
def test_without_a_limit_only_power_and_density_count(power):
    condition = FlightCondition("climb", true_airspeed=40.0, day="hot day", power=power)
    at = needed(limit=None).at(condition)
    assert at.value == pytest.approx(1000.0 * power**EXPONENT.value, rel=1e-12)


def test_no_power_needs_nothing_and_unknown_power_is_not_guessed():
    assert needed().at(FlightCondition("glide", true_airspeed=40.0, power=0.0)).value == 0.0
    assert needed().at(FlightCondition("glide", true_airspeed=40.0)) is None


def test_published_number_becomes_derived():
    reference = UncertainValue(1000.0, mark="published", source="invented", kind="pressure")
    at = needed(reference=reference).at(FlightCondition("a", true_airspeed=40.0, power=1.0))
    assert at.mark == "derived"
    assert "needed_pressure in [engine]" in at.source


@pytest.mark.parametrize("limit", [380.0, 370.0])
def test_outside_air_as_hot_as_the_limit(limit):
    condition = FlightCondition("oven", true_airspeed=40.0, temperature=380.0, power=1.0)
    with pytest.raises(PlacementError, match="outside air of 107 degC is not below the limit"):
        needed(limit=limit).at(condition)


def test_limit_below_the_reference_air():
    with pytest.raises(PlacementError, match="38 degC is not below the limit temperature of 27"):
        needed(limit=300.0)
