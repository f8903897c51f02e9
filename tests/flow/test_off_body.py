"""Velocity and pressure beside the body, on the skin, near the ground, and where there is none."""

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.flow.off_body import REACH, gauge_pressure_at, velocity_at
from panelcp.onset.conditions import FlightCondition
from panelcp.panels.solving import GroundPlane, solve_units
from tests import bodies
from tests.exact import (
    SPHERE,
    ellipsoid_exterior,
    ellipsoid_normal,
    ellipsoid_velocity,
    onto_ellipsoid,
)

LONG = (3.0, 2.0, 1.0)
GENERAL = FlightCondition("general", true_airspeed=1.0, alpha=8.0, beta=5.0)
FLAT = FlightCondition("level", true_airspeed=30.0)


def beside(surface, axes, sizes):
    """400 points that many panel sizes off an ellipsoid, over random places of random panels."""
    random = np.random.default_rng(7)
    panels = random.choice(surface.n_panels, 400, replace=False)
    share = random.dirichlet(np.ones(3), 400)
    feet = onto_ellipsoid(axes, np.einsum("nk,nki->ni", share, surface.corners[panels]))
    return feet + sizes * np.sqrt(surface.areas[panels])[:, None] * ellipsoid_normal(axes, feet)


@pytest.mark.parametrize("axes", [SPHERE, LONG])
@pytest.mark.parametrize("sizes", [0.0, 0.005, 0.02, 0.1, 0.3, 0.45, 0.55, 1.0, 3.0, 10.0])
def test_flow_beside_an_ellipsoid_is_the_exact_one_at_any_height(units_of, axes, sizes):
    # H. Lamb, Hydrodynamics, 6th ed., 1932, Arts. 111-115 (from memory)
    units = units_of("ellipsoid", axes, 4)
    points = beside(units.surface, axes, sizes)
    stream = np.array(GENERAL.stream)
    exact = ellipsoid_velocity if sizes == 0.0 else ellipsoid_exterior
    error = velocity_at(units, [GENERAL], points)[0] - exact(axes, stream, points)
    size = np.linalg.norm(error, axis=1)
    assert np.sqrt(np.mean(size**2)) <= 0.0006
    # on the skin itself the error of the solution between control points counts in full
    assert size.max() <= (0.002 if sizes >= 0.02 else 0.0025)


def test_control_points_have_the_velocity_of_their_panels(units_of):
    units = units_of("ellipsoid", LONG, 3)
    found = velocity_at(units, [GENERAL], units.panels.points)[0]
    own = np.einsum("u,upd->pd", GENERAL.stream, units.velocity[:3])
    assert found == pytest.approx(own, abs=1e-9)


def test_velocity_goes_on_without_a_step_where_interpolation_ends(units_of):
    units = units_of("ellipsoid", LONG, 3)
    panels = units.panels
    height = REACH * np.sqrt(panels.areas)[:, None]
    below, above = (panels.points + s * height * panels.normals for s in (0.9999, 1.0001))
    step = velocity_at(units, [GENERAL], above) - velocity_at(units, [GENERAL], below)
    assert np.abs(step).max() <= 2e-4


def test_pressure_follows_from_bernoulli(units_of):
    units = units_of("ellipsoid", LONG, 3)
    points = beside(units.surface, LONG, 0.8)
    velocity = velocity_at(units, [GENERAL, FLAT], points)
    for k, condition in enumerate((GENERAL, FLAT)):
        kinetic = 0.5 * condition.air.density * (velocity[k] ** 2).sum(axis=1)
        total = gauge_pressure_at(units, [GENERAL, FLAT], points)[k] + kinetic
        assert total == pytest.approx(condition.dynamic_pressure, rel=1e-12)


def test_half_and_whole_give_the_same_air():
    half = bodies.mirrored_ellipsoid(LONG, 3)
    points = beside(half, LONG, 0.2)
    found, whole = (
        velocity_at(solve_units(surface, tolerance=None), [GENERAL], points)
        for surface in (half, half.unmirrored())
    )
    assert found == pytest.approx(whole, abs=1e-5)


def test_air_flows_along_the_ground():
    body = bodies.ellipsoid(SPHERE, 2)
    ground = GroundPlane([0.0, 0.0, -1.3], [0.0, 0.0, 1.0])
    units = solve_units(body, ground=ground)
    x, y = (part.ravel() for part in np.meshgrid(np.linspace(-3, 3, 7), np.linspace(-2, 2, 5)))
    points = np.stack([x, y, np.full(len(x), -1.3)], axis=1)
    velocity = velocity_at(units, [FLAT], points)[0] / 30.0
    assert velocity[:, 2] == pytest.approx(np.zeros(len(x)), abs=1e-9)
    # squeezed between body and ground it is faster than the stream
    assert velocity[np.argmin(np.hypot(x, y)), 0] > 1.3
    with pytest.raises(FlowError, match=r"1 of 1 points lie under the ground \(first at STA 3000"):
        velocity_at(units, [FLAT], [[3.0, 0.0, -1.4]])


def test_points_inside_are_refused_with_their_place(units_of):
    units = units_of("ellipsoid", LONG, 3)
    with pytest.raises(FlowError, match=r"1 of 2 points lie inside the body \(first at STA 500 BL"):
        velocity_at(units, [GENERAL], [[5.0, 0.0, 0.0], [0.5, 0.1, 0.2]])


def test_points_in_a_concave_corner_are_outside():
    # between two spheres nearly everything is near skin that faces away from something
    units = solve_units(
        bodies.together(
            bodies.ellipsoid(SPHERE, 2), bodies.ellipsoid(SPHERE, 2).translated([2.2, 0, 0])
        )
    )
    velocity = velocity_at(units, [FLAT], [[1.1, 0.0, 0.0], [1.1, 0.3, 0.0]])
    assert np.isfinite(velocity).all()


def test_sharp_edges_are_refused_on_the_edge_and_finite_beside_it(brick):
    units = solve_units(brick)
    edge = np.array([-1.0, 0.5, 0.11])
    beside_edge = np.array([-1.01, 0.51, 0.11])
    assert np.isfinite(velocity_at(units, [FLAT], [beside_edge])).all()
    with pytest.raises(FlowError, match=r"1 of 1 points lie on a sharp edge"):
        velocity_at(units, [FLAT], [edge])


@pytest.mark.parametrize("points", [[1.0, 2.0, 3.0], [[np.nan, 0.0, 5.0]], [[1.0, 2.0]]])
def test_points_of_wrong_shape_are_refused(units_of, points):
    with pytest.raises(FlowError, match=r"expected \(n_points, 3\) finite numbers"):
        velocity_at(units_of("ellipsoid", LONG, 3), [GENERAL], points)
