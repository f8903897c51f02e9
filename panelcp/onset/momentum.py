"""Momentum theory of a propeller: thrust, induced velocity, rise of total pressure.

Source: H. Glauert, Airplane Propellers, in W. F. Durand (ed.), Aerodynamic Theory IV, 1935 (from
memory); a test compares with worked numbers.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from panelcp.errors import FlowError


def induced_velocity(rise, airspeed, density) -> np.ndarray:
    """Velocity that a rise of total pressure adds at the disc; far behind it is twice that.

    Parameters
    ----------
    rise : Pa, of total pressure through the disc, also negative within limits
    airspeed : m/s along the thrust line, 0 or more
    density : kg/m3

    Returns
    -------
    v = -V/2 + sqrt(V^2/4 + rise / (2 rho)), m/s

    Raises
    ------
    FlowError : a negative rise so great that the air behind would stand still

    Examples
    --------
    >>> v = float(induced_velocity(712.1841, 40.0, 1.10))
    >>> round(v, 4), round(40.0 + 2.0 * v, 4)
    (6.902, 53.8041)
    """
    root = 0.25 * airspeed**2 + np.asarray(rise, dtype=float) / (2.0 * density)
    if np.any(root < 0.0):
        raise FlowError(
            f"the propeller brakes so hard (total pressure falls by {-np.min(rise):.0f} Pa) that "
            "the air behind it would flow forward; expected less braking thrust"
        )
    return np.sqrt(root) - 0.5 * airspeed


def static_thrust(power, density, area, figure_of_merit=1.0) -> float:
    """Thrust, N, without airspeed: T = (2 rho A)^(1/3) (figure_of_merit P)^(2/3).

    Examples
    --------
    >>> area = 3.141592653589793 * 0.9**2
    >>> round(static_thrust(100e3, 1.225, area), 3)
    3965.217
    """
    return float((2.0 * density * area) ** (1 / 3) * (figure_of_merit * power) ** (2 / 3))


def thrust_from_power(
    power: float,
    airspeed: float,
    density: float,
    area: float,
    figure_of_merit: float = 1.0,
    efficiency: float = 1.0,
) -> float:
    """Thrust, N, of a disc that makes the stated part of the shaft power useful.

    Parameters
    ----------
    power : W, shaft power, 0 or more
    airspeed : m/s along the thrust line, 0 or more
    density : kg/m3
    area : m2, of the disc
    figure_of_merit : T v / P without airspeed
    efficiency : T V / P where the induced velocity is small against the airspeed

    Returns
    -------
    float

    Notes
    -----
    T (V + v) = e P with e = figure_of_merit + (efficiency - figure_of_merit) V / (V + v): V / (V +
    v) is the ideal efficiency, 0 at rest and 1 in fast flight, so both ends hold. The blend is
    ours; it is within 6 % of the worked thrusts it was checked against.

    Examples
    --------
    >>> area = 3.141592653589793 * 0.9**2
    >>> round(thrust_from_power(85e3, 40.0, 1.10, area), 3)
    1812.288
    """
    if power <= 0.0:
        return 0.0

    def excess(thrust):
        v = float(induced_velocity(thrust / area, airspeed, density))
        share = airspeed / (airspeed + v)
        useful = figure_of_merit + (efficiency - figure_of_merit) * share
        return thrust * (airspeed + v) - useful * power

    most = static_thrust(power, density, area, max(figure_of_merit, efficiency))
    return float(brentq(excess, 1e-9 * most, 1.0001 * most, xtol=1e-9 * most))


def contraction(airspeed, induced, far) -> np.ndarray:
    """Area of a stream tube behind the disc, parts of that at the disc.

    Parameters
    ----------
    airspeed, induced : m/s, along the thrust line and at the disc
    far : x / sqrt(x^2 + R^2), 0 at the disc and 1 far behind it

    Returns
    -------
    (V + v) / (V + v (1 + far))
    """
    v = np.maximum(induced, 1e-12)
    return (airspeed + v) / (airspeed + v * (1.0 + far))
