"""A small flow that is made up: only its numbers matter."""

import numpy as np

from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from tests import bodies


def box_flow() -> SurfaceFlow:
    """Two conditions over a box of sharp edges: one fast, one at rest; Bernoulli holds."""
    surface = bodies.box((2.0, 1.0, 0.8), (4, 3, 2))
    draw = np.random.default_rng(1)
    conditions = (
        FlightCondition("fast", true_airspeed=40.0),
        FlightCondition("parked", true_airspeed=0.0),
    )
    velocity = draw.normal(0.0, 30.0, (2, surface.n_panels, 3))
    density = np.array([condition.air.density for condition in conditions])[:, None]
    q = np.array([condition.dynamic_pressure for condition in conditions])[:, None]
    return SurfaceFlow(surface, conditions, velocity, q - 0.5 * density * (velocity**2).sum(axis=2))
