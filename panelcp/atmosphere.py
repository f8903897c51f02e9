"""Standard air, hot-day air, and the airspeeds that belong to them.

Notes
-----
Constants: sea level 288.15 K and 101325 Pa, 6.5 K/km to 11 km, constant 216.65 K from there to
20 km (geopotential heights), R = 287.05287 J/(kg K), g = 9.80665 m/s2, ratio of specific heats
1.4, Sutherland viscosity 1.458e-6 T^1.5 / (T + 110.4).
Sources: Manual of the ICAO Standard Atmosphere, ICAO Doc 7488, 3rd edition, 1993;
U.S. Standard Atmosphere 1976, NOAA, NASA and USAF, Washington 1976.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from panelcp.errors import FlowError
from panelcp.units import UNITS

GAS_CONSTANT = 287.05287
"""J/(kg K), dry air."""
GRAVITY = 9.80665
"""m/s2, standard."""
HEAT_RATIO = 1.4
"""Ratio of the specific heats of air."""
SEA_LEVEL_TEMPERATURE = 288.15
"""K"""
SEA_LEVEL_PRESSURE = 101325.0
"""Pa"""

_LAPSE_RATE = 0.0065
_TROPOPAUSE = 11000.0
_LOWEST_ALTITUDE, _HIGHEST_ALTITUDE = -2000.0, 20000.0
_COLDEST, _HOTTEST = 150.0, 1900.0

_HOT_DAY_SEA_LEVEL_DEGF = 100.0
_HOT_DAY_LAPSE_DEGF_PER_FOOT = 3.6e-3
_HOT_DAY_COLDEST_DEGF = -69.7


@dataclass(frozen=True)
class Air:
    """Undisturbed air at one height.

    Attributes
    ----------
    temperature : float, K
    pressure : float, Pa, absolute
    density : float, kg/m3
    speed_of_sound : float, m/s
    viscosity : float, Pa s, dynamic

    Raises
    ------
    FlowError : a number that is not positive and finite

    Examples
    --------
    >>> air = standard_air(0.0)
    >>> round(air.density, 6), round(air.speed_of_sound, 4), f"{air.viscosity:.5e}"
    (1.225, 340.294, '1.78938e-05')
    """

    temperature: float
    pressure: float
    density: float
    speed_of_sound: float
    viscosity: float

    def __post_init__(self):
        for field in fields(self):
            number = getattr(self, field.name)
            if not (math.isfinite(number) and number > 0.0):
                raise FlowError(
                    f"{field.name} of the air is {number!r}; expected a positive, finite number"
                )


def standard_air(
    pressure_altitude: float,
    temperature_offset: float = 0.0,
    temperature: float | None = None,
) -> Air:
    """Air at a pressure altitude of the standard atmosphere, standard or warmer or colder.

    Parameters
    ----------
    pressure_altitude : float, m, geopotential, -2000 to 20000
    temperature_offset : float, K, added to the standard temperature ("ISA + 20 K")
    temperature : float or None, K, 150 to 1900; taken in place of the standard temperature

    Returns
    -------
    Air
        Standard pressure; density from pressure and temperature.

    Raises
    ------
    FlowError : altitude or temperature outside the limits, or both temperature and offset given

    Notes
    -----
    p = p0 (T/T0)^(g/(R L)) below 11 km, p = p11 exp(-g (h - 11 km)/(R T11)) above; rho = p/(R T);
    a = sqrt(1.4 R T). Humidity is left out: it makes air lighter by 0.378 times the share of the
    vapour in the pressure, 1.6 % for saturated air of 30 degC.
    Sources: as in the docstring of the module; the temperature limits are those between which
    Sutherland's formula is used (common practice, no source).

    Examples
    --------
    >>> round(standard_air(2500.0).density, 6)
    0.956859
    >>> round(standard_air(500.0, temperature_offset=15.0).density, 6)
    1.108886
    """
    _check_altitude(pressure_altitude)
    standard = _standard_temperature(pressure_altitude)
    if temperature is None:
        temperature = standard + temperature_offset
    elif temperature_offset != 0.0:
        raise FlowError(
            f"both temperature {temperature:g} K and temperature_offset "
            f"{temperature_offset:g} K are given; give one of them"
        )
    if not _COLDEST <= temperature <= _HOTTEST:
        raise FlowError(
            f"air temperature is {temperature:g} K; expected {_COLDEST:g} to {_HOTTEST:g} K "
            f"(kelvin, not degC or degF)"
        )
    return _air(temperature, _standard_pressure(pressure_altitude))


def hot_day_air(pressure_altitude: float) -> Air:
    """Air of the hot day for cooling tests, at standard pressure.

    Parameters
    ----------
    pressure_altitude : float, m, geopotential, -2000 to 20000

    Returns
    -------
    Air

    Raises
    ------
    FlowError : altitude outside the limits

    Notes
    -----
    100 degF at sea level, 3.6 degF less per 1000 ft, down to -69.7 degF.
    Source: 14 CFR 23.1043(b), text before the rewrite of part 23 in 2017. The rule speaks of
    heights above sea level; below, the same slope is continued here, which is the warmer choice.
    An experimental aircraft need not meet the rule; the day is a yardstick.

    Examples
    --------
    >>> round(hot_day_air(0.0).temperature, 3), round(hot_day_air(0.0).density, 6)
    (310.928, 1.13526)
    """
    _check_altitude(pressure_altitude)
    feet = pressure_altitude / UNITS["length"]["ft"]
    degf = _HOT_DAY_SEA_LEVEL_DEGF - _HOT_DAY_LAPSE_DEGF_PER_FOOT * feet
    degf = max(degf, _HOT_DAY_COLDEST_DEGF)
    temperature = (degf + 459.67) * UNITS["temperature"]["degF"]
    return _air(temperature, _standard_pressure(pressure_altitude))


def dynamic_pressure(true_airspeed: float, air: Air) -> float:
    """Half of density times the square of the true airspeed.

    Parameters
    ----------
    true_airspeed : float, m/s, not negative
    air : Air

    Returns
    -------
    float
        Pa. This is the q0 that scales pressure coefficients; a pitot tube reads the slightly
        larger impact pressure (by Mach^2 / 4 of it).

    Raises
    ------
    FlowError : a speed that is negative or not finite

    Examples
    --------
    >>> round(dynamic_pressure(40.0, standard_air(500.0, temperature_offset=15.0)), 4)
    887.1087
    """
    _check_speed("true_airspeed", true_airspeed)
    return 0.5 * air.density * true_airspeed**2


def true_airspeed(calibrated_airspeed: float, air: Air) -> float:
    """True airspeed at which an error-free airspeed indicator shows a calibrated one.

    Parameters
    ----------
    calibrated_airspeed : float, m/s, not negative
    air : Air

    Returns
    -------
    float
        m/s, below the speed of sound.

    Raises
    ------
    FlowError : a speed that is negative or not finite, or a result at Mach 1 or above

    Notes
    -----
    Impact pressure p_c = p ((1 + 0.2 M^2)^3.5 - 1), the same for the calibrated airspeed in
    standard air at sea level and for the true airspeed in the air of the day.
    Source: W. Gracey, Measurement of Aircraft Speed and Altitude, NASA RP 1046, 1980 (named from
    memory); the relation is the isentropic one for a perfect gas.

    Examples
    --------
    >>> round(true_airspeed(40.0, standard_air(0.0)), 9)
    40.0
    >>> round(true_airspeed(40.0, standard_air(3000.0)), 3)
    46.396
    """
    _check_speed("calibrated_airspeed", calibrated_airspeed)
    sea_level = standard_air(0.0)
    return _same_impact_pressure("calibrated_airspeed", calibrated_airspeed, sea_level, air)


def calibrated_airspeed(true_airspeed: float, air: Air) -> float:
    """Airspeed that an error-free airspeed indicator shows at a true airspeed.

    Parameters
    ----------
    true_airspeed : float, m/s, not negative
    air : Air

    Returns
    -------
    float
        m/s; the inverse of `true_airspeed`, same relation and source.

    Raises
    ------
    FlowError : a speed that is negative, not finite, or at Mach 1 or above

    Examples
    --------
    >>> air = standard_air(3000.0)
    >>> round(calibrated_airspeed(true_airspeed(40.0, air), air), 9)
    40.0
    """
    _check_speed("true_airspeed", true_airspeed)
    return _same_impact_pressure("true_airspeed", true_airspeed, air, standard_air(0.0))


def _same_impact_pressure(name, speed, air, other_air):
    """Speed in the other air at which a pitot tube reads the same; both below Mach 1."""
    half = 0.5 * (HEAT_RATIO - 1.0)
    exponent = HEAT_RATIO / (HEAT_RATIO - 1.0)
    mach = speed / air.speed_of_sound
    ratio = math.expm1(exponent * math.log1p(half * mach**2)) if mach < 1.0 else math.inf
    other_ratio = ratio * air.pressure / other_air.pressure
    other_mach = math.sqrt(math.expm1(math.log1p(other_ratio) / exponent) / half)
    if not other_mach < 1.0:
        raise FlowError(
            f"{name} is {speed:g} m/s: at or above the speed of sound, where the pitot relation "
            f"for subsonic flow does not hold"
        )
    return other_mach * other_air.speed_of_sound


def _standard_temperature(altitude):
    return SEA_LEVEL_TEMPERATURE - _LAPSE_RATE * min(altitude, _TROPOPAUSE)


def _standard_pressure(altitude):
    temperature = _standard_temperature(altitude)
    ratio = temperature / SEA_LEVEL_TEMPERATURE
    pressure = SEA_LEVEL_PRESSURE * ratio ** (GRAVITY / (GAS_CONSTANT * _LAPSE_RATE))
    above = max(altitude - _TROPOPAUSE, 0.0)
    return pressure * math.exp(-GRAVITY * above / (GAS_CONSTANT * temperature))


def _air(temperature, pressure):
    return Air(
        temperature=temperature,
        pressure=pressure,
        density=pressure / (GAS_CONSTANT * temperature),
        speed_of_sound=math.sqrt(HEAT_RATIO * GAS_CONSTANT * temperature),
        viscosity=1.458e-6 * temperature**1.5 / (temperature + 110.4),
    )


def _check_altitude(altitude):
    if not _LOWEST_ALTITUDE <= altitude <= _HIGHEST_ALTITUDE:
        raise FlowError(
            f"pressure_altitude is {altitude:g} m; expected {_LOWEST_ALTITUDE:g} to "
            f"{_HIGHEST_ALTITUDE:g} m (metres, not feet)"
        )


def _check_speed(name, speed):
    if not (math.isfinite(speed) and speed >= 0.0):
        raise FlowError(f"{name} is {speed:g} m/s; expected a finite speed, not negative")
