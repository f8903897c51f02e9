"""Flight conditions: stream, pressures, and mistakes."""

import dataclasses
from dataclasses import replace

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
        (
            {},
            "condition tow: give one of true_airspeed, calibrated_airspeed and ground_speed, not 0",
        ),
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
        ({"true_airspeed": 30.0, "rotational_speed": -1.0}, "rotational_speed is -1.0"),
        ({"true_airspeed": 30.0, "thrust": np.inf}, "thrust is inf; expected a number"),
        ({"true_airspeed": 30.0, "load_factor": np.nan}, "load_factor is nan; expected a number"),
        ({"true_airspeed": 30.0, "propeller_efficiency": -0.1}, "propeller_efficiency is -0.1"),
        ({"true_airspeed": 30.0, "propeller_efficiency": 1.1}, "is 1.1; expected 0 to 1"),
        (
            {"true_airspeed": 30.0, "propeller_efficiency": 0.8, "thrust": 900.0},
            "either thrust or propeller_efficiency, not both",
        ),
        ({"ground_speed": 0.0, "wind_from": 90.0}, "wind_from without wind_speed; give both"),
        ({"true_airspeed": 9.0, "height": 1.0, "alpha": 3.0}, "height puts it on the ground"),
        ({"true_airspeed": 30.0, "attitude": 3.0}, "attitude is that on the ground and needs"),
        ({"true_airspeed": 30.0, "wind_speed": 5.0}, "wind_speed and wind_from go with ground_spe"),
        ({"true_airspeed": 30.0, "wind_from": 90.0}, "wind_speed and wind_from go with ground_spe"),
        ({"true_airspeed": 30.0, "height": 0.0}, "height is 0.0 m; the datum must lie above"),
        ({"true_airspeed": 30.0, "height": -1.0}, "height is -1.0 m"),
        ({"true_airspeed": 30.0, "height": np.nan}, "height is nan m"),
        ({"true_airspeed": 30.0, "height": 1.0, "alpha": 5.0}, "give attitude in place of alpha"),
        ({"ground_speed": 3.0, "alpha": 5.0}, "give attitude in place of alpha"),
        ({"ground_speed": 3.0, "beta": 5.0}, "give wind_speed and wind_from in place of beta"),
        ({"ground_speed": -3.0}, "speed -3.0 m/s; expected 0 or more"),
        ({"ground_speed": 3.0, "wind_speed": -2.0}, "wind_speed is -2.0; expected 0 or more"),
        ({"ground_speed": 3.0, "wind_from": 361.0}, "wind_from is 361 deg; expected -360 to 360"),
        ({"ground_speed": 3.0, "attitude": 31.0}, "attitude is 31 deg; expected -30 to 30 deg"),
        ({"ground_speed": 3.0, "true_airspeed": 3.0}, "ground_speed, not 2"),
        ({"ground_speed": 50.0, "wind_speed": 90.0}, "Mach number 0.41; the incompressible"),
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


@pytest.mark.parametrize(
    ("wind_from", "level"),
    [
        (0.0, (10.0, 0.0)),
        (90.0, (4.0, -6.0)),
        (180.0, (-2.0, 0.0)),
        (270.0, (4.0, 6.0)),
        (-90.0, (4.0, 6.0)),
        (30.0, (4.0 + 6.0 * np.sqrt(0.75), -3.0)),
        (225.0, (4.0 - 6.0 * np.sqrt(0.5), 6.0 * np.sqrt(0.5))),
    ],
)
def test_air_past_the_wheels_is_the_sum_of_taxi_speed_and_wind(wind_from, level):
    # wheels at 4 m/s, wind of 6 m/s from that bearing; beta > 0 is wind from the right
    taxi = FlightCondition("taxi", ground_speed=4.0, wind_speed=6.0, wind_from=wind_from)
    assert taxi.stream == pytest.approx([*level, 0.0], abs=1e-14)
    assert taxi.speed == pytest.approx(np.hypot(*level))
    assert taxi.on_ground
    assert taxi.lift_over_weight == 0.0
    low_tail = replace(taxi, attitude=12.0)
    lean = np.radians(12.0)
    aft, right = level
    assert low_tail.stream == pytest.approx(
        [aft * np.cos(lean), right, aft * np.sin(lean)], abs=1e-14
    )
    assert low_tail.speed == pytest.approx(taxi.speed, rel=1e-14)


def test_head_wind_on_the_ground_is_the_stream_of_flight():
    taxi = FlightCondition("taxi", ground_speed=12.0, wind_speed=8.0, attitude=9.0)
    flight = FlightCondition("flight", true_airspeed=20.0, alpha=9.0)
    assert taxi.stream == pytest.approx(flight.stream, rel=1e-14)
    assert taxi.dynamic_pressure == pytest.approx(flight.dynamic_pressure, rel=1e-14)
    slip = FlightCondition("slip", true_airspeed=20.0, alpha=9.0, beta=20.0)
    lean, aside = np.radians([9.0, 20.0])
    over = FlightCondition("over", true_airspeed=20.0, height=1.5, attitude=9.0, beta=20.0)
    assert over.stream == pytest.approx(slip.stream, rel=1e-14)
    assert over.stream[1] == pytest.approx(-20.0 * np.sin(aside))
    assert over.stream[2] / over.stream[0] == pytest.approx(np.tan(lean))


@pytest.mark.parametrize("attitude", [None, 0.0, 12.0, -4.0])
def test_ground_lies_below_the_datum_and_the_air_flows_along_it(attitude):
    taxi = FlightCondition(
        "taxi", ground_speed=5.0, wind_speed=3.0, wind_from=60.0, height=1.2, attitude=attitude
    )
    ground = taxi.ground
    assert ground.height([[0.0, 0.0, 0.0]]) == pytest.approx([1.2])
    assert taxi.stream @ ground.normal == pytest.approx(0.0, abs=1e-14)
    # nose up: the nose, ahead of the datum, is higher than the tail
    nose, tail = ground.height([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    assert nose - tail == pytest.approx(2.0 * np.sin(np.radians(attitude or 0.0)))
    assert ground.height([[0.0, 1.0, 0.0]]) == pytest.approx([1.2])


def test_without_height_there_is_no_ground_and_in_flight_there_is_lift():
    assert FlightCondition("taxi", ground_speed=5.0, attitude=3.0).ground is None
    flight = FlightCondition("flight", true_airspeed=30.0)
    assert (flight.ground, flight.on_ground, flight.lift_over_weight) == (None, False, 1.0)
    assert FlightCondition("roll", true_airspeed=30.0, height=1.0).lift_over_weight == 0.0
    assert FlightCondition("still", true_airspeed=0.0).lift_over_weight == 0.0
    assert replace(flight, load_factor=2.0).lift_over_weight == 2.0
    assert FlightCondition("roll", ground_speed=30.0, load_factor=0.5).lift_over_weight == 0.5


def test_standing_in_calm_air_and_rolling_with_the_wind_have_no_stream():
    still = FlightCondition("still", ground_speed=0.0, height=1.2, attitude=12.0)
    assert still.stream.tolist() == [0.0, 0.0, 0.0]
    assert still.dynamic_pressure == 0.0
    along = FlightCondition("along", ground_speed=5.0, wind_speed=5.0, wind_from=180.0)
    assert along.stream == pytest.approx(np.zeros(3), abs=1e-14)
