"""How much compressibility changes the pressure: Goethert's stretched solution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelcp.errors import FlowError
from panelcp.onset.conditions import MACH_LIMIT, FlightCondition
from panelcp.panels.influence import TOLERANCE
from panelcp.panels.solving import solve_units
from panelcp.surface.mesh import SurfaceMesh

GAMMA = 1.4


def goethert_velocity(
    surface: SurfaceMesh,
    condition: FlightCondition,
    mach: float | None = None,
    tolerance: float | None = TOLERANCE,
) -> np.ndarray:
    """Velocity on the skin in a stream of small Mach number.

    Parameters
    ----------
    surface : SurfaceMesh
    condition : FlightCondition with a stream; propeller, wing and ground are left out
    mach : Mach number in place of the condition's
    tolerance : of the far field

    Returns
    -------
    (n_panels, 3) float, m/s, at the control points

    Raises
    ------
    FlowError : no stream, or a Mach number above the limit

    Notes
    -----
    The body is stretched along x by 1 / beta, beta^2 = 1 - M^2, and solved in the stream (U, beta
    V, beta W); the disturbances u', v', w' found there are u = u' / beta^2, v = v' / beta, w = w' /
    beta. Source: B. Goethert, NACA TM 1105, 1946 (from memory); linear, so that it says how large
    the effect is, but is not exact near stagnation points.
    """
    mach = condition.mach if mach is None else mach
    if not condition.speed > 0.0:
        raise FlowError(f"condition {condition.name}: without a stream there is no Mach number")
    if not 0.0 <= mach <= MACH_LIMIT:
        raise FlowError(f"Mach number {mach:.2f}; expected 0 to {MACH_LIMIT}")
    beta = np.sqrt(1.0 - mach**2)
    stretched = replace(surface, vertices=surface.vertices * [1.0 / beta, 1.0, 1.0])
    units = solve_units(stretched, tolerance=tolerance)
    stream = condition.stream * [1.0, beta, beta]
    disturbance = np.einsum("u,uni->ni", stream, units.velocity[:3]) - stream
    return condition.stream + disturbance / [beta**2, beta, beta]


def isentropic_cp(speed_ratio, mach: float) -> np.ndarray:
    """Cp of air that keeps its entropy, from its speed over that of the stream.

    Notes
    -----
    Cp = 2 / (gamma M^2) ((1 + (gamma - 1) / 2 M^2 (1 - (q/U)^2))^(gamma / (gamma - 1)) - 1);
    1 - (q/U)^2 at M = 0.

    Examples
    --------
    >>> round(float(isentropic_cp(1.2, 0.2)), 6), round(float(isentropic_cp(0.0, 0.3)), 6)
    (-0.438067, 1.022703)
    """
    slowing = 1.0 - np.square(speed_ratio)
    if mach < 1e-6:
        return slowing
    base = 1.0 + 0.5 * (GAMMA - 1.0) * mach**2 * slowing
    return 2.0 / (GAMMA * mach**2) * (base ** (GAMMA / (GAMMA - 1.0)) - 1.0)


def goethert_cp(
    surface: SurfaceMesh, condition: FlightCondition, mach: float | None = None
) -> np.ndarray:
    """(n_panels,) float: Cp with compressibility, see `goethert_velocity`."""
    mach = condition.mach if mach is None else mach
    speed = np.linalg.norm(goethert_velocity(surface, condition, mach), axis=1)
    return isentropic_cp(speed / condition.speed, mach)
