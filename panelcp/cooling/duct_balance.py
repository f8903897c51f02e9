"""Force of the cooling air that is taken in, slowed by a core, heated, and let out aft."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.atmosphere import GAS_CONSTANT, HEAT_RATIO
from panelcp.errors import NetworkError

_SPECIFIC_HEAT = HEAT_RATIO / (HEAT_RATIO - 1.0) * GAS_CONSTANT
_EXPONENT = HEAT_RATIO / (HEAT_RATIO - 1.0)


@dataclass(frozen=True, eq=False)
class DuctBalance:
    """What one kilogram per second of cooling air does to the aircraft.

    Attributes
    ----------
    exit_velocity : m/s, aft, expanded to the outside pressure; nan where the loss leaves no
        pressure to drive it
    specific_force : N per kg/s, exit velocity less airspeed; negative is drag
    incompressible_exit_velocity : m/s, without compressibility, to compare
    break_even_loss : loss over dynamic pressure at which the force would be zero
        (incompressible); the heat pays for no more than that
    ideal_efficiency : share of the heat that becomes power in the best duct there is
    """

    exit_velocity: np.ndarray
    specific_force: np.ndarray
    incompressible_exit_velocity: np.ndarray
    break_even_loss: np.ndarray
    ideal_efficiency: np.ndarray


def duct_balance(airspeed, temperature, pressure, loss, temperature_rise) -> DuctBalance:
    """Momentum balance of a heated duct from the free stream to a full exit.

    Parameters
    ----------
    airspeed : m/s, true, 0 or more
    temperature, pressure : K and Pa, of the undisturbed air
    loss : Pa, of total pressure, all parts together, 0 or more
    temperature_rise : K, of the air in the core

    Notes
    -----
    T_t = T0 + V^2 / (2 cp), p_t2 = p_t0 - loss, T_t2 = T_t + rise,
    V_j^2 = 2 cp T_t2 (1 - (p0 / p_t2)^(1/3.5)); incompressible
    V_j^2 = 2 (q - loss) (1 + rise / T0) / rho0, break-even loss / q = rise / (T0 + rise), ideal
    efficiency 1 - T0 / T_t (derived). The loss of pressure by heating the air in the core counts as
    part of `loss`.
    Source of the thought: F. W. Meredith, Cooling of aircraft engines with special reference to
    ethylene glycol radiators enclosed in ducts, ARC R&M 1683, 1935 (title from memory).

    Examples
    --------
    >>> balance = duct_balance(60.0, 288.15, 101325.0, 600.0, 40.0)
    >>> round(float(balance.exit_velocity), 5), round(float(balance.specific_force), 5)
    (54.7883, -5.2117)
    """
    speed, t0, p0, loss, rise = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (airspeed, temperature, pressure, loss, temperature_rise))
    )
    if not (np.all(t0 > 0.0) and np.all(p0 > 0.0) and np.all(speed >= 0.0) and np.all(loss >= 0.0)):
        raise NetworkError(
            "balance of a duct needs airspeed and loss of 0 or more and air above 0 K"
        )
    total = t0 + speed**2 / (2.0 * _SPECIFIC_HEAT)
    left = p0 * (total / t0) ** _EXPONENT - loss
    drives = left >= p0
    expansion = -np.expm1(np.log(p0 / np.where(drives, left, p0)) / _EXPONENT)
    jet = np.where(drives, np.sqrt(2.0 * _SPECIFIC_HEAT * (total + rise) * expansion), np.nan)
    density = p0 / (GAS_CONSTANT * t0)
    head = 0.5 * density * speed**2 - loss
    plain = np.sqrt(2.0 * np.maximum(head, 0.0) * (1.0 + rise / t0) / density)
    return DuctBalance(
        exit_velocity=jet,
        specific_force=jet - speed,
        incompressible_exit_velocity=np.where(head >= 0.0, plain, np.nan),
        break_even_loss=rise / (t0 + rise),
        ideal_efficiency=1.0 - t0 / total,
    )
