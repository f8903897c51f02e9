"""Standard air against ICAO Doc 7488 (3rd edition, 1993) and the U.S. Standard Atmosphere 1976,
whose constants and layers are the same up to 20 km; hot day of 14 CFR 23.1043(b), text before
the rewrite of 2017."""

import dataclasses
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from panelcp.atmosphere import (
    Air,
    calibrated_airspeed,
    dynamic_pressure,
    hot_day_air,
    standard_air,
    true_airspeed,
)
from panelcp.errors import FlowError
from panelcp.units import parse_quantity

SEA_LEVEL = standard_air(0.0)
ALTITUDES = st.floats(-2000.0, 20000.0)

# Height in m, K, Pa, kg/m3, m/s, Pa s, then the density of ISA + 15 K and of ISA + 22.6 K:
# the exact formulas of the two standards.
STANDARD = [
    (0, 288.150, 101325.000, 1.225000, 340.2940, 1.78938e-5, 1.164386, 1.135909),
    (500, 284.900, 95460.835, 1.167269, 338.3695, 1.77366e-5, 1.108886, 1.081479),
    (1000, 281.650, 89874.563, 1.111643, 336.4340, 1.75785e-5, 1.055433, 1.029069),
    (2000, 275.150, 79495.202, 1.006490, 332.5292, 1.72596e-5, 0.954457, 0.930095),
    (2500, 271.900, 74682.518, 0.956859, 330.5594, 1.70989e-5, 0.906831, 0.883429),
    (3000, 268.650, 70108.526, 0.909122, 328.5779, 1.69372e-5, 0.861046, 0.838577),
    (5000, 255.650, 54019.888, 0.736116, 320.5294, 1.62812e-5, 0.695318, 0.676327),
    (8000, 236.150, 35599.785, 0.525167, 308.0626, 1.52677e-5, 0.493801, 0.479297),
    (11000, 216.650, 22632.040, 0.363918, 295.0695, 1.42161e-5, 0.340353, 0.329541),
]


@pytest.mark.parametrize("row", STANDARD, ids=lambda row: f"{row[0]} m")
def test_standard_air_to_the_printed_digits(row):
    altitude, temperature, pressure, density, sound, viscosity, warm, hot = row
    air = standard_air(altitude)
    assert abs(air.temperature - temperature) <= 1e-9
    assert abs(air.pressure - pressure) <= 6e-4
    assert abs(air.density - density) <= 6e-7
    assert abs(air.speed_of_sound - sound) <= 6e-5
    assert abs(air.viscosity - viscosity) <= 6e-11
    assert abs(standard_air(altitude, temperature_offset=15.0).density - warm) <= 6e-7
    assert abs(standard_air(altitude, temperature_offset=22.6).density - hot) <= 6e-7
    assert standard_air(altitude, temperature=air.temperature) == air


def test_tropopause_against_the_printed_table():
    """U.S. Standard Atmosphere 1976: 216.650 K, 226.32 mbar, 0.36392 kg/m3."""
    air = standard_air(11000.0)
    assert abs(air.pressure - 22632.0) <= 0.5
    assert abs(air.density - 0.36392) <= 5e-6


def test_top_of_the_lower_stratosphere():
    """54.7489 mbar and 0.0880349 kg/m3 at 20 km: from memory of both standards."""
    air = standard_air(20000.0)
    assert air.temperature == standard_air(11000.0).temperature
    assert abs(air.pressure - 5474.89) <= 0.02
    assert abs(air.density - 0.0880349) <= 5e-7


@given(altitude=st.floats(-1990.0, 19990.0))
def test_pressure_holds_the_weight_of_the_air(altitude):
    """dp/dh = -rho g in the mean; the step of 10 m leaves an error of (10 m / 6 km)^2 / 6."""
    if abs(altitude - 11000.0) < 10.0:
        return
    slope = (standard_air(altitude + 10.0).pressure - standard_air(altitude - 10.0).pressure) / 20
    assert slope == pytest.approx(-standard_air(altitude).density * 9.80665, rel=1e-6)


# Pressure altitude in ft, K, K above standard, Pa, kg/m3, from the rule and standard pressure.
HOT_DAY = [
    (0, 310.928, 22.78, 101325.00, 1.135260),
    (2000, 306.928, 22.74, 94212.90, 1.069331),
    (5000, 300.928, 22.68, 84307.26, 0.975980),
    (8000, 294.928, 22.63, 75262.36, 0.888997),
    (10000, 290.928, 22.59, 69681.64, 0.834394),
]


@pytest.mark.parametrize("row", HOT_DAY, ids=lambda row: f"{row[0]} ft")
def test_hot_day_to_the_printed_digits(row):
    feet, temperature, above_standard, pressure, density = row
    altitude = feet * 0.3048
    air = hot_day_air(altitude)
    assert abs(air.temperature - temperature) <= 5.1e-4
    assert abs(air.temperature - standard_air(altitude).temperature - above_standard) <= 5.1e-3
    assert abs(air.pressure - pressure) <= 5.1e-3
    assert abs(air.density - density) <= 6e-7


def test_hot_day_lapse_and_floor():
    """3.6 degF per 1000 ft is 2 K per 304.8 m; -69.7 degF is 216.65 K, reached at 47139 ft."""
    step = hot_day_air(0.0).temperature - hot_day_air(304.8).temperature
    assert step == pytest.approx(2.0, rel=1e-12)
    floor = (100.0 + 69.7) / 3.6 * 304.8
    assert hot_day_air(floor - 304.8).temperature == pytest.approx(218.65, rel=1e-12)
    for altitude in (floor, 16000.0, 20000.0):
        assert hot_day_air(altitude).temperature == pytest.approx(216.65, rel=1e-12)


@given(altitude=ALTITUDES, offset=st.floats(-40.0, 60.0))
def test_gas_law_and_speed_of_sound(altitude, offset):
    air = standard_air(altitude, temperature_offset=offset)
    assert air.pressure == pytest.approx(air.density * 287.05287 * air.temperature, rel=1e-14)
    assert air.speed_of_sound**2 == pytest.approx(1.4 * air.pressure / air.density, rel=1e-14)


@pytest.mark.parametrize(
    ("speed", "air", "pressure", "mach"),
    [
        (8.0, standard_air(0.0, temperature_offset=22.6), 36.3491, None),
        (40.0, standard_air(500.0, temperature_offset=15.0), 887.1087, 0.11522),
        (75.0, standard_air(2500.0), 2691.1653, 0.22689),
    ],
)
def test_dynamic_pressure_of_taxi_climb_and_cruise(speed, air, pressure, mach):
    assert abs(dynamic_pressure(speed, air) - pressure) <= 6e-5
    if mach is not None:
        assert abs(speed / air.speed_of_sound - mach) <= 6e-6


@pytest.mark.parametrize(
    ("knots", "pascal", "inches"),
    [
        (10, 16, 0.07),
        (20, 65, 0.26),
        (40, 259, 1.04),
        (60, 584, 2.34),
        (75, 912, 3.66),
        (90, 1313, 5.27),
        (110, 1961, 7.87),
        (120, 2334, 9.37),
        (150, 3647, 14.64),
        (180, 5252, 21.1),
    ],
)
def test_dynamic_pressure_of_cockpit_speeds(knots, pascal, inches):
    """0.5 x 1.225 kg/m3 x V^2, rounded as a pilot's table prints it."""
    pressure = dynamic_pressure(parse_quantity(f"{knots} kt", "speed"), SEA_LEVEL)
    assert round(pressure) == pascal
    decimals = 1 if knots == 180 else 2
    assert round(pressure / parse_quantity("1 inH2O", "pressure"), decimals) == inches


@example(speed=1.945274487076346e-160, altitude=0.0)
@given(speed=st.floats(0.0, 200.0), altitude=st.floats(-2000.0, 8000.0))
def test_airspeeds_are_inverse(speed, altitude):
    air = hot_day_air(altitude)
    there = true_airspeed(speed, air)
    # below 1.5e-154 m/s the square of a speed is no longer a normal floating-point number
    assert calibrated_airspeed(there, air) == pytest.approx(speed, rel=1e-13, abs=2e-154)


@given(altitude=ALTITUDES)
def test_slow_limit_is_the_density_ratio(altitude):
    """TAS = CAS sqrt(rho0/rho) as the speed goes to zero; the rest falls with Mach squared."""
    air = standard_air(altitude)
    limit = math.sqrt(SEA_LEVEL.density / air.density)
    assert true_airspeed(1e-4, air) == pytest.approx(1e-4 * limit, rel=1e-11)
    slow, fast = (abs(true_airspeed(v, air) / (v * limit) - 1.0) for v in (1.0, 2.0))
    assert fast == pytest.approx(4.0 * slow, rel=1e-2, abs=1e-13)


@given(speed=st.floats(1.0, 250.0), altitude=st.floats(0.0, 5000.0))
def test_pitot_tube_reads_the_same_in_both_airs(speed, altitude):
    """The isentropic relation written out, without the rearrangement of the program."""
    air = standard_air(altitude, temperature_offset=20.0)
    calibrated = calibrated_airspeed(speed, air)
    impact = [
        p * ((1.0 + 0.2 * (v / a) ** 2) ** 3.5 - 1.0)
        for p, v, a in (
            (air.pressure, speed, air.speed_of_sound),
            (101325.0, calibrated, SEA_LEVEL.speed_of_sound),
        )
    ]
    # The written form loses digits as 1 + 0.2 M^2 nears 1: p times rounding is 1e-11 Pa.
    assert impact[0] == pytest.approx(impact[1], rel=1e-12, abs=1e-9)


def test_calibrated_is_true_at_standard_sea_level():
    for speed in (0.0, 1e-3, 32.0, 120.0, 339.0):
        assert true_airspeed(speed, SEA_LEVEL) == pytest.approx(speed, rel=1e-14)


@pytest.mark.parametrize("altitude", [-2000.1, 20000.1, math.nan, math.inf])
@pytest.mark.parametrize("day", [standard_air, hot_day_air])
def test_altitudes_outside_the_tables_are_refused(day, altitude):
    with pytest.raises(FlowError, match=r"pressure_altitude is .* expected -2000 to 20000 m"):
        day(altitude)


def test_limits_of_altitude_are_inside():
    assert standard_air(-2000.0).pressure > SEA_LEVEL.pressure > standard_air(20000.0).pressure


@pytest.mark.parametrize("temperature", [15.0, -20.0, 2000.0, math.nan])
def test_temperatures_that_are_no_kelvin_are_refused(temperature):
    with pytest.raises(FlowError, match=r"expected 150 to 1900 K \(kelvin, not degC"):
        standard_air(0.0, temperature=temperature)


def test_temperature_and_offset_exclude_each_other():
    with pytest.raises(FlowError, match="both temperature 300 K and temperature_offset 20 K"):
        standard_air(0.0, 20.0, 300.0)


@pytest.mark.parametrize("speed", [-1.0, math.nan, math.inf])
@pytest.mark.parametrize("use", [true_airspeed, calibrated_airspeed, dynamic_pressure])
def test_speeds_that_make_no_sense_are_refused(use, speed):
    with pytest.raises(FlowError, match="expected a finite speed, not negative"):
        use(speed, SEA_LEVEL)


def test_supersonic_speeds_are_refused():
    high = standard_air(15000.0)
    with pytest.raises(FlowError, match="true_airspeed is 300 m/s: at or above the speed of sound"):
        calibrated_airspeed(300.0, high)
    with pytest.raises(FlowError, match="calibrated_airspeed is 300 m/s: at or above"):
        true_airspeed(300.0, high)


def test_air_is_frozen_and_checked():
    with pytest.raises(dataclasses.FrozenInstanceError):
        SEA_LEVEL.density = 1.0
    with pytest.raises(FlowError, match=r"density of the air is 0\.0; expected a positive"):
        Air(288.15, 101325.0, 0.0, 340.0, 1.8e-5)
