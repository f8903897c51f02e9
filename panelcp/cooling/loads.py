"""Heat that the engine gives to coolant, oil and charge air.

All shares are rules of thumb and carry their marks; a number from the engine's own papers or from a
measurement takes their place. Functions take floats or arrays of worlds.
"""

from __future__ import annotations

import numpy as np

from panelcp.atmosphere import HEAT_RATIO
from panelcp.cooling.network import HEAT_CAPACITY
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

AIR_SPECIFIC_HEAT = HEAT_CAPACITY
"""J/(kg K); the same in the network, so that heat balances. Real air has 1006 at 15 degC, 1007.4 at
50 degC and 1011 at 100 degC (CoolProp 8.0.0)."""

COOLANT_SHARE = UncertainValue(
    0.6, 0.5, 0.7, "common practice", "coolant heat over shaft power at full power, light aircraft"
)
COOLANT_SHARE_EXTREMES = UncertainValue(
    0.6, 0.45, 0.8, "common practice", "the same, range for trials of what happens at worst"
)
OIL_SHARE = UncertainValue(
    0.10,
    0.06,
    0.15,
    "common practice",
    "oil heat over shaft power; higher with oil-cooled pistons or a turbocharger",
)
CHARGE_SHARE = UncertainValue(
    0.05, 0.03, 0.08, "memory", "charge-air heat over shaft power with mild boost"
)
IDLE_SHARE = UncertainValue(
    0.11, 0.08, 0.15, "memory", "coolant heat at idle over that at rated power, range"
)
IDLE_FUEL_SHARE = UncertainValue(
    0.30, 0.25, 0.35, "memory", "coolant heat at idle over the heat of the fuel"
)
PETROL_HEAT = UncertainValue(
    32e9, 31e9, 33e9, "memory", "lower heat of petrol per m3 (32 MJ per litre)", "number"
)
COMPRESSOR_EFFICIENCY = UncertainValue(
    0.65, 0.55, 0.72, "memory", "isentropic, of small turbochargers; belt-driven ones are lower"
)

COOLANT_LIMIT = UncertainValue(
    390.65,
    388.15,
    393.15,
    "common practice",
    "115 to 120 degC for half-and-half coolant under a cap; the engine's own document rules",
    "temperature",
)
COOLANT_CAUTION = UncertainValue(
    380.65, 378.15, 383.15, "common practice", "105 to 110 degC; see the limit", "temperature"
)
OIL_LIMIT = UncertainValue(
    395.65, 388.15, 403.15, "common practice", "115 to 130 degC by grade", "temperature"
)
OIL_LEAST = UncertainValue(
    323.15, mark="common practice", source="50 degC, least for full power", kind="temperature"
)

ENERGY_BALANCE = {
    "shaft": UncertainValue(0.265, 0.25, 0.28, "memory", "range, see energy_balance"),
    "coolant": UncertainValue(0.215, 0.17, 0.26, "memory", "range, see energy_balance"),
    "oil and surface": UncertainValue(0.065, 0.03, 0.10, "memory", "range, see energy_balance"),
    "exhaust": UncertainValue(0.395, 0.34, 0.45, "memory", "range, see energy_balance"),
    "unburned": UncertainValue(0.035, 0.02, 0.05, "memory", "range, see energy_balance"),
}
"""Shares of the fuel's heat in a petrol engine at maximum power.
J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, Table 12.1 (from memory)."""


def coolant_heat(
    shaft_power,
    rated_power,
    share=COOLANT_SHARE.value,
    idle_share=IDLE_SHARE.value,
    running=True,
) -> np.ndarray:
    """Heat to the coolant, W: a share of the shaft power, with a floor for the running engine.

    Parameters
    ----------
    shaft_power : W, 0 or more
    rated_power : W, above 0
    share : heat over shaft power at rated power
    idle_share : heat at idle over heat at rated power, 0 to 1
    running : bool; no heat where False

    Notes
    -----
    Q = share max(P, idle_share P_rated). At part power the share of a real engine rises towards
    idle, so that heat is low between idle and about half power (from memory).

    Examples
    --------
    >>> coolant_heat([75e3, 3e3], 75e3, share=0.6, idle_share=0.1)
    array([45000.,  4500.])
    """
    power = _at_least_zero("shaft_power", shaft_power)
    rated = _positive("rated_power", rated_power)
    share = _at_least_zero("share", share)
    idle = _at_least_zero("idle_share", idle_share)
    if np.any(idle > 1.0):
        raise NetworkError(
            "idle_share above 1; it is the coolant heat at idle over that at full power"
        )
    return np.where(running, share * np.maximum(power, idle * rated), 0.0)


def oil_heat(
    shaft_power,
    rated_power,
    share=OIL_SHARE.value,
    idle_share=IDLE_SHARE.value,
    running=True,
) -> np.ndarray:
    """Heat to the oil, W; as `coolant_heat`, the same idle share taken (from memory).

    Examples
    --------
    >>> float(oil_heat(75e3, 75e3))
    7500.0
    """
    return coolant_heat(shaft_power, rated_power, share, idle_share, running)


def idle_heat_from_fuel(
    fuel_flow, share=IDLE_FUEL_SHARE.value, heat_of_fuel=PETROL_HEAT.value
) -> np.ndarray:
    """Coolant heat at idle, W, from the fuel flow, m3/s, and the heat of the fuel, J/m3.

    Examples
    --------
    >>> litres_per_hour = 1e-3 / 3600.0
    >>> round(float(idle_heat_from_fuel(3.0 * litres_per_hour)))
    8000
    """
    return (
        _at_least_zero("fuel_flow", fuel_flow)
        * _at_least_zero("share", share)
        * _positive("heat_of_fuel", heat_of_fuel)
    )


def energy_balance(shaft_power) -> dict[str, UncertainValue]:
    """Heat, W, by where it goes at maximum power, with the range that a book gives.

    Notes
    -----
    Each share of `ENERGY_BALANCE` over that of the shaft; the ends pair the least with the most, so
    that coolant over shaft spans 0.6 to 1.0. It is wider than, and lies above, the practice with
    light aircraft (`COOLANT_SHARE`): quote both.
    """
    shaft = ENERGY_BALANCE["shaft"]
    power = float(_positive("shaft_power", shaft_power))
    return {
        name: UncertainValue(
            power * part.value / shaft.value,
            power * part.low / shaft.high,
            power * part.high / shaft.low,
            part.mark,
            "Heywood, Internal Combustion Engine Fundamentals, 1988, Table 12.1 (from memory)",
            "power",
        )
        for name, part in ENERGY_BALANCE.items()
        if name != "shaft"
    }


def compressor_outlet_temperature(
    inlet_temperature, pressure_ratio, efficiency=COMPRESSOR_EFFICIENCY.value
) -> np.ndarray:
    """Temperature, K, of the charge air behind the compressor.

    Parameters
    ----------
    inlet_temperature : K
    pressure_ratio : outlet over inlet, total pressures, 1 or more
    efficiency : isentropic, above 0 to 1

    Notes
    -----
    T2 = T1 (1 + (ratio^(2/7) - 1) / efficiency); a perfect gas, no heat through the housing.

    Examples
    --------
    >>> round(float(compressor_outlet_temperature(300.0, 1.5, 0.65)), 3)
    356.688
    """
    inlet = _positive("inlet_temperature", inlet_temperature)
    ratio = _positive("pressure_ratio", pressure_ratio)
    efficiency = _positive("efficiency", efficiency)
    if np.any(ratio < 1.0):
        raise NetworkError("pressure_ratio of the compressor below 1; it is outlet over inlet")
    if np.any(efficiency > 1.0):
        raise NetworkError("efficiency of the compressor above 1")
    exponent = (HEAT_RATIO - 1.0) / HEAT_RATIO
    return inlet * (1.0 + np.expm1(exponent * np.log(ratio)) / efficiency)


def charge_air_heat(
    mass_flow,
    inlet_temperature,
    pressure_ratio,
    efficiency=COMPRESSOR_EFFICIENCY.value,
    outlet_temperature=None,
) -> np.ndarray:
    """Heat, W, to be taken from charge air between compressor and a wanted temperature.

    Parameters
    ----------
    mass_flow : kg/s, of the charge air, 0 or more
    inlet_temperature, pressure_ratio, efficiency : of the compressor
    outlet_temperature : K, behind the charge-air cooler; None: back to the inlet's temperature,
        which is the most that a cooler in the same air could do

    Returns
    -------
    array
        0 where the air is already colder. In a given cooler the heat follows from its
        effectiveness instead: `heat.CoreDuty` with the hot inlet temperature.

    Examples
    --------
    >>> round(float(charge_air_heat(0.08, 300.0, 1.5, 0.65, outlet_temperature=320.0)), 1)
    2952.7
    """
    hot = compressor_outlet_temperature(inlet_temperature, pressure_ratio, efficiency)
    cold = inlet_temperature if outlet_temperature is None else outlet_temperature
    flow = _at_least_zero("mass_flow", mass_flow)
    return flow * AIR_SPECIFIC_HEAT * np.maximum(hot - _positive("outlet_temperature", cold), 0.0)


def _at_least_zero(name, value):
    value = np.asarray(value, dtype=float)
    if not np.all((value >= 0.0) & np.isfinite(value)):
        raise NetworkError(f"{name} below 0 or not finite; expected 0 or more")
    return value


def _positive(name, value):
    value = np.asarray(value, dtype=float)
    if not np.all((value > 0.0) & np.isfinite(value)):
        raise NetworkError(f"{name} not above 0 or not finite; expected a positive number")
    return value
