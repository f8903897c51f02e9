"""Flight conditions: stream, pressures, and mistakes."""

import dataclasses

import numpy as np
import pytest

from panelcp.atmosphere import standard_air
from panelcp.errors import FlowError
from panelcp.onset.conditions import MACH_LIMIT, FlightCondition


@pytest.mark.parametrize(
    ("alpha", "beta", "direction"),
    [
        (0.0, 0.0, (1.0, 0.0, 0.0)),
        (30.0, 0.0, (np.sqrt(0.75), 0.0, 0.5)),
        (-30.0, 0.0, (np.sqrt(0.75), 0.0, -0.5)),
        (0.0, 30.0, (np.sqrt(0.75), -0.5, 0.0)),
        (0.0, -30.0, (np.sqrt(0.75), 0.5, 0.0)),
        (45.0, 45.0, (0.5, -np.sqrt(0.5), 0.5)),
        (8.0, 5.0, (0.986500, -0.087156, 0.138644)),
    ],
)
def test_stream_in_body_axes(alpha, beta, direction):
    condition = FlightCondition("c", true_airspeed=40.0, alpha=alpha, beta=beta)
    assert condition.stream == pytest.approx(40.0 * np.array(direction), abs=1e-4)
    assert np.linalg.norm(condition.stream) == pytest.approx(40.0, rel=1e-14)


def test_dynamic_pressure_and_mach_number_at_sea_level():
    condition = FlightCondition("c", true_airspeed=50.0)
    assert condition.dynamic_pressure == pytest.approx(0.5 * 1.225 * 2500.0, rel=1e-4)
    assert condition.mach == pytest.approx(50.0 / 340.294, rel=1e-5)


def test_calibrated_speed_keeps_the_dynamic_pressure_nearly():
    # at low speed calibrated is equivalent airspeed: q does not depend on height
    low = FlightCondition("low", calibrated_airspeed=40.0)
    high = FlightCondition("high", calibrated_airspeed=40.0, altitude=3000.0)
    assert low.speed == pytest.approx(40.0, rel=1e-9)
    assert high.speed > 46.0
    assert high.dynamic_pressure == pytest.approx(low.dynamic_pressure, rel=2e-3)


def test_air_is_the_asked_air():
    given = FlightCondition("c", true_airspeed=30.0, altitude=1500.0, temperature_offset=10.0)
    assert given.air == standard_air(1500.0, temperature_offset=10.0)
    assert FlightCondition("c", true_airspeed=30.0, temperature=300.0).air.temperature == 300.0
    hot = FlightCondition("c", true_airspeed=30.0, day="hot day")
    assert hot.air.temperature - 273.15 == pytest.approx((100.0 - 32.0) / 1.8)


def test_standing_still_is_a_condition():
    still = FlightCondition("run-up", true_airspeed=0.0)
    assert still.stream.tolist() == [0.0, 0.0, 0.0]
    assert (still.dynamic_pressure, still.mach) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({}, "condition tow: give one of true_airspeed, calibrated_airspeed and ground_speed, not 0"),
        ({"true_airspeed": 30.0, "calibrated_airspeed": 30.0}, "ground_speed, not 2"),
        ({"true_airspeed": -1.0}, "speed -1.0 m/s; expected 0 or more"),
        ({"true_airspeed": np.nan}, "speed nan m/s"),
        ({"calibrated_airspeed": np.inf}, "speed inf m/s"),
        ({"true_airspeed": 30.0, "alpha": 46.0}, "alpha is 46 deg; expected -45 to 45 deg"),
        ({"true_airspeed": 30.0, "alpha": np.nan}, "alpha is nan deg"),
        ({"true_airspeed": 30.0, "beta": -45.1}, "beta is -45.1 deg; expected -45 to 45"),
        ({"true_airspeed": 30.0, "day": "cold"}, "day 'cold' is not one of"),
        ({"true_airspeed": 30.0, "day": "hot day", "temperature": 300.0}, "either the hot day or"),
        (
            {"true_airspeed": 30.0, "day": "hot day", "temperature_offset": 5.0},
            "either the hot day or a temperature",
        ),
        (
            {"true_airspeed": 30.0, "temperature": 300.0, "temperature_offset": 5.0},
            "either temperature or temperature_offset",
        ),
        ({"true_airspeed": 30.0, "power": -0.1}, "power is -0.1; expected 0 or more"),
        ({"true_airspeed": 30.0, "weight": -1.0}, "weight is -1.0"),
        ({"true_airspeed": 30.0, "needed_pressure": np.nan}, "needed_pressure is nan"),
        ({"true_airspeed": 137.0}, "Mach number 0.40; the incompressible flow model ends at 0.4"),
    ],
)
def test_mistakes_are_named(fields, message):
    with pytest.raises(FlowError, match=message):
        FlightCondition("tow", **fields)


def test_limit_of_the_mach_number_counts_at_height():
    assert FlightCondition("c", true_airspeed=130.0).mach < MACH_LIMIT
    with pytest.raises(FlowError, match="Mach number"):
        FlightCondition("c", true_airspeed=130.0, altitude=8000.0)


def test_conditions_are_frozen_and_compare_by_value():
    one = FlightCondition("c", true_airspeed=30.0)
    assert one == FlightCondition("c", true_airspeed=30.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.alpha = 3.0
