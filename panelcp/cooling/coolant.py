"""Half-and-half coolant: its properties, and where it boils.

Coolant here is ethylene glycol and water, half of each, by mass or by volume: the difference is
within the bands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

CELSIUS = 273.15

PROPERTY_SOURCE = "CoolProp 8.0.0 (open-source library), 50 % ethylene glycol by mass, MEG-50%"
PROPERTY_BANDS: Mapping[str, float] = {
    "density": 0.02,
    "specific_heat": 0.03,
    "viscosity": 0.30,
    "conductivity": 0.06,
}
"""Relative; by how much tables of the same mixture differ (derived: two fluids of the library, and
two tables of others)."""

_TEMPERATURES = CELSIUS + np.array([20.0, 60.0, 80.0, 100.0])
_TABLE = {
    "density": np.array([1064.9, 1040.5, 1026.4, 1011.5]),
    "specific_heat": np.array([3312.0, 3503.0, 3582.0, 3646.0]),
    "viscosity": np.array([3.693e-3, 1.375e-3, 0.968e-3, 0.690e-3]),
    "conductivity": np.array([0.3891, 0.4138, 0.4257, 0.4371]),
}

WATER_SHARE = UncertainValue(
    0.757,
    0.74,
    0.78,
    "derived",
    "mole fraction of water that boils at 108 degC (a trade page) at 101 325 Pa by Raoult's law; "
    "0.775 for half by mass, 0.756 for half by volume of 1113 and 998 kg/m3",
)
CAP_PRESSURE = UncertainValue(
    1.0e5, 0.9e5, 1.2e5, "common practice", "gauge pressure of radiator caps, range", "pressure"
)

_CRITICAL_TEMPERATURE, _CRITICAL_PRESSURE = 647.096, 22.064e6
_SATURATION = (
    (1.0, -7.85951783),
    (1.5, 1.84408259),
    (3.0, -11.7866497),
    (3.5, 22.6807411),
    (4.0, -15.9618719),
    (7.5, 1.80122502),
)
_COLDEST, _HOTTEST = 255.0, 645.0


@dataclass(frozen=True, eq=False)
class CoolantProperties:
    """Properties at given temperatures; relative bands in `PROPERTY_BANDS`.

    Attributes
    ----------
    density : kg/m3
    specific_heat : J/(kg K)
    viscosity : Pa s
    conductivity : W/(m K)
    outside : bool, the temperature is outside the table; the values are those of its end
    """

    density: np.ndarray
    specific_heat: np.ndarray
    viscosity: np.ndarray
    conductivity: np.ndarray
    outside: np.ndarray


def coolant_properties(temperature) -> CoolantProperties:
    """Properties of half-and-half coolant.

    Parameters
    ----------
    temperature : K, float or array; the table spans 20 to 100 degC

    Notes
    -----
    Straight between the table's temperatures, the viscosity in its logarithm. Source:
    `PROPERTY_SOURCE`, at 3 bar.

    Examples
    --------
    >>> at = coolant_properties(273.15 + 80.0)
    >>> float(at.density), float(at.specific_heat), bool(at.outside)
    (1026.4, 3582.0, False)
    """
    temperature = np.asarray(temperature, dtype=float)
    if not np.all(temperature > 0.0):
        raise NetworkError("temperature of the coolant is not above 0 K; expected kelvin")
    values = {
        name: np.interp(temperature, _TEMPERATURES, row)
        for name, row in _TABLE.items()
        if name != "viscosity"
    }
    viscosity = np.exp(np.interp(temperature, _TEMPERATURES, np.log(_TABLE["viscosity"])))
    outside = (temperature < _TEMPERATURES[0]) | (temperature > _TEMPERATURES[-1])
    return CoolantProperties(viscosity=viscosity, outside=np.asarray(outside), **values)


def vapour_pressure(temperature) -> np.ndarray:
    """Pressure, Pa, at which pure water boils at a temperature.

    Notes
    -----
    ln(p / p_c) = (T_c / T) (a1 t + a2 t^1.5 + a3 t^3 + a4 t^3.5 + a5 t^4 + a6 t^7.5), with
    t = 1 - T / T_c.
    Source: W. Wagner and A. Pruss, International equations for the saturation properties of
    ordinary water substance, J. Phys. Chem. Ref. Data 22 (1993), 783 (coefficients from memory; the
    tests hold them against boiling at 100 degC and at two more pressures).

    Examples
    --------
    >>> round(float(vapour_pressure(373.15)), -1)
    101420.0
    """
    temperature = np.asarray(temperature, dtype=float)
    if not np.all((temperature >= _COLDEST) & (temperature <= _HOTTEST)):
        raise NetworkError(
            f"vapour pressure of water outside {_COLDEST:g} to {_HOTTEST:g} K; expected kelvin"
        )
    below = 1.0 - temperature / _CRITICAL_TEMPERATURE
    total = sum(factor * below**power for power, factor in _SATURATION)
    return _CRITICAL_PRESSURE * np.exp(_CRITICAL_TEMPERATURE / temperature * total)


def boiling_temperature(pressure, water_share=WATER_SHARE.value) -> np.ndarray:
    """Temperature, K, at which coolant boils under an absolute pressure.

    Parameters
    ----------
    pressure : Pa, absolute, 1 kPa to 1 MPa
    water_share : mole fraction of water, above 0 to 1; 1 is pure water

    Notes
    -----
    Raoult's law without the vapour of the glycol: water_share times the vapour pressure of water
    equals the pressure. Solved by Newton's method in 1 / T, in which the logarithm of the vapour
    pressure is nearly straight.

    Examples
    --------
    >>> (boiling_temperature(101325.0, [1.0, 0.757]) - 273.15).round(1)
    array([100., 108.])
    """
    pressure = np.asarray(pressure, dtype=float)
    share = np.asarray(water_share, dtype=float)
    if not np.all((pressure >= 1e3) & (pressure <= 1e6)):
        raise NetworkError("pressure outside 1 kPa to 1 MPa; expected pascal, absolute")
    if not np.all((share > 0.05) & (share <= 1.0)):
        raise NetworkError("water_share outside 0.05 to 1; it is the mole fraction of the water")
    wanted = np.log(pressure / share)
    inverse = np.full(wanted.shape, 1.0 / 380.0)
    for _ in range(8):
        value = np.log(vapour_pressure(1.0 / inverse))
        slope = (np.log(vapour_pressure(1.0 / (1.001 * inverse))) - value) / (0.001 * inverse)
        inverse = np.clip(inverse + (wanted - value) / slope, 1.0 / 640.0, 1.0 / 256.0)
    return 1.0 / inverse


def boiling_under_cap(cap_pressure, outside_pressure, water_share=WATER_SHARE.value) -> np.ndarray:
    """Temperature, K, at which coolant boils behind a cap that opens at a gauge pressure.

    Parameters
    ----------
    cap_pressure : Pa, gauge, 0 or more; 0 for an open system or a cap that leaks
    outside_pressure : Pa, absolute, of the air at the height (`standard_air(h).pressure`)
    water_share : mole fraction of water

    Notes
    -----
    Holds for a system that has been hot long enough for the cap to have opened or its expansion to
    press against it; a system just filled holds less.

    Examples
    --------
    >>> from panelcp.atmosphere import standard_air
    >>> float(boiling_under_cap(103e3, standard_air(1524.0).pressure, 1.0) - 273.15).__round__(1)
    118.2
    """
    cap_pressure = np.asarray(cap_pressure, dtype=float)
    if not np.all(cap_pressure >= 0.0):
        raise NetworkError(
            "cap_pressure below 0; expected the gauge pressure at which the cap opens"
        )
    return boiling_temperature(cap_pressure + outside_pressure, water_share)
