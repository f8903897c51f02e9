"""From unit solutions and conditions to velocity and pressure on the skin."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.onset import FlightCondition
from panelcp.panels.solving import UnitSolutions, solve_units
from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh, frozen_array


@dataclass(frozen=True, eq=False)
class SurfaceFlow:
    """Flow over the skin in a number of conditions.

    Attributes
    ----------
    surface : SurfaceMesh
    conditions : the conditions, in order
    velocity : (n_conditions, n_panels, 3) float, m/s, outside the skin at the control points
    gauge_pressure : (n_conditions, n_panels) float, Pa, at the control points, against outside
        air at the same height
    """

    surface: SurfaceMesh
    conditions: tuple[FlightCondition, ...]
    velocity: np.ndarray
    gauge_pressure: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "velocity", frozen_array(self.velocity))
        object.__setattr__(self, "gauge_pressure", frozen_array(self.gauge_pressure))

    @property
    def dynamic_pressure(self) -> np.ndarray:
        """(n_conditions,) float, Pa: q of the free stream."""
        return np.array([condition.dynamic_pressure for condition in self.conditions])

    @property
    def cp(self) -> np.ndarray:
        """(n_conditions, n_panels) float: gauge pressure over q; nan where q is zero."""
        q = self.dynamic_pressure[:, None]
        return np.divide(
            self.gauge_pressure, q, out=np.full(self.gauge_pressure.shape, np.nan), where=q > 0.0
        )

    @property
    def force_coefficient(self) -> np.ndarray:
        """(n_conditions,) float: |pressure force| / (q A), A the greatest frontal area.

        Zero in theory for every closed body (d'Alembert): what is left shows the error.
        """
        panels = curved_panels(self.surface)
        area_vectors = panels.normals * panels.areas[:, None]
        force = -self.gauge_pressure @ area_vectors
        frontal = 0.5 * np.abs(area_vectors[:, 0]).sum()
        q = self.dynamic_pressure
        size = np.linalg.norm(force, axis=1) / frontal
        return np.divide(size, q, out=np.full(len(q), np.nan), where=q > 0.0)


def interpolated_pressure(flow: SurfaceFlow, operator) -> np.ndarray:
    """Gauge pressure between the control points.

    Velocity and total pressure are interpolated, and the pressure follows from both: so it is
    exact where the velocity is linear, near stagnation too, and never above the total pressure.

    Parameters
    ----------
    flow : SurfaceFlow
    operator : (n_points, n_panels) sparse array, from `point_operator` or `corner_operator`

    Returns
    -------
    (n_conditions, n_points) float, Pa
    """
    pressures = []
    for condition, velocity, gauge in zip(
        flow.conditions, flow.velocity, flow.gauge_pressure, strict=True
    ):
        half_density = 0.5 * condition.air.density
        total = operator @ (gauge + half_density * (velocity**2).sum(axis=1))
        pressures.append(total - half_density * ((operator @ velocity) ** 2).sum(axis=1))
    return np.array(pressures)


def superpose(units: UnitSolutions, conditions: Sequence[FlightCondition]) -> SurfaceFlow:
    """Flow in every condition as a sum of unit solutions.

    Parameters
    ----------
    units : UnitSolutions
    conditions : one or more FlightCondition

    Returns
    -------
    SurfaceFlow

    Notes
    -----
    Bernoulli, steady and incompressible: p - p0 = q0 - rho |V|^2 / 2.
    """
    conditions = tuple(conditions)
    if not conditions:
        raise FlowError("no flight condition given; at least one is needed")
    refuse_streams_into_the_ground(units, conditions)
    streams = np.array([condition.stream for condition in conditions])
    velocity = np.einsum("cu,uni->cni", streams, units.velocity[:3])
    density = np.array([condition.air.density for condition in conditions])[:, None]
    q = np.array([condition.dynamic_pressure for condition in conditions])[:, None]
    gauge_pressure = q - 0.5 * density * (velocity**2).sum(axis=2)
    return SurfaceFlow(units.surface, conditions, velocity, gauge_pressure)


def refuse_streams_into_the_ground(units: UnitSolutions, conditions):
    """A FlowError where the stream of a condition crosses the ground of a solution."""
    if units.ground is None:
        return
    for condition in conditions:
        into = float(condition.stream @ units.ground.normal)
        if abs(into) > 1e-6 * max(condition.speed, 1e-9):
            raise FlowError(
                f"condition {condition.name}: the stream has {into:+.3f} m/s across the ground; "
                "over ground the air flows along it: set alpha and beta to the attitude"
            )


def solve(
    surface: SurfaceMesh,
    conditions: Sequence[FlightCondition],
    progress: Callable[[str], None] = lambda text: None,
) -> SurfaceFlow:
    """Solve the unit flows of a surface and superpose them for the conditions.

    Never repairs or reorders the surface.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    conditions : one or more FlightCondition
    progress : called with a short text before each long step

    Returns
    -------
    SurfaceFlow
    """
    return superpose(solve_units(surface, progress=progress), conditions)
