"""Solutions of a surface with propeller, wing and ground round it."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.flow.off_body import gauge_pressure_at, velocity_at
from panelcp.flow.solutions import solve, solve_conditions
from panelcp.flow.superposition import superpose, wetting_share
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Loading, Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.panels.solving import solve_units
from panelcp.quantity import UncertainValue
from panelcp.surface.opening import lay_opening
from tests import bodies
from tests.exact import SPHERE, abreast_amplitudes, sphere_in_slipstream
from tests.noses import random_nose

OMEGA = 2300.0 * np.pi / 30.0
RATED = 105e3
DISC = Propeller(1.9, [-0.7, 0.0, 0.0], "clockwise", UncertainValue(0.85), OMEGA)
WING = Wing(10.0, 12.5, [1.5, 0.0, -0.4], 750.0)
ALL = Surroundings(DISC, WING, RATED)
CLIMB = FlightCondition("climb", 38.6, alpha=4.0, power=1.0)
CRUISE = FlightCondition("cruise", 55.0, alpha=1.0, power=0.6)
GLIDE = FlightCondition("glide", 38.6, alpha=1.0)
RUN_UP = FlightCondition("run-up", ground_speed=0.0, power=1.0, height=1.5)
IDLE = replace(RUN_UP, name="idle", power=0.42**3)
TAXI = replace(RUN_UP, name="taxi", ground_speed=6.0, power=0.1)
LOW_TAIL = replace(TAXI, name="low tail", attitude=10.0)
CONDITIONS = [CLIMB, RUN_UP, GLIDE, TAXI, LOW_TAIL, CRUISE, IDLE]
BALL = bodies.ellipsoid(SPHERE, 3)
SMALL = bodies.ellipsoid(SPHERE, 2).scaled(0.5)


def rms(values):
    return np.sqrt(np.mean(np.square(values)))


@pytest.fixture(scope="module")
def solutions():
    """All effects on a sphere of 1 m diameter and 320 panels, 0.2 m behind the disc."""
    return solve_conditions(SMALL, CONDITIONS, ALL)


def test_conditions_that_share_a_ground_share_one_solution(solutions):
    assert [part.numbers for part in solutions.parts] == [(0, 2, 5), (1, 3, 6), (4,)]
    assert [part.units.ground is None for part in solutions.parts] == [True, False, False]
    assert solutions.main is solutions.parts[0].units
    assert solutions.main.names[3:] == ("slipstream climb", "slipstream cruise", "swirl", "wing")
    flow = solutions.flow()
    assert flow.conditions == tuple(CONDITIONS)
    for number in (3, 5):
        alone = solve(SMALL, [CONDITIONS[number]], ALL)
        # the iteration is good to 1e-6 of each unit flow
        assert flow.velocity[number] == pytest.approx(alone.velocity[0], abs=1e-3)
        assert flow.gauge_pressure[number] == pytest.approx(alone.gauge_pressure[0], abs=0.05)


@pytest.mark.parametrize(
    ("body", "ahead"), [(BALL.scaled(0.5), -0.7), (random_nose(11), -0.08)], ids=["sphere", "nose"]
)
def test_body_has_no_net_source_in_any_field(body, ahead):
    # the fields have no divergence; panels see the sheets that run through the skin pointwise
    disc = replace(DISC, centre=[ahead, 0.0, 0.0])
    for part in solve_conditions(body, [CLIMB, RUN_UP], replace(ALL, propeller=disc)).parts:
        sources = part.units.source_strength[3:]
        assert part.units.names[4] == "swirl"
        net = np.abs(sources @ part.units.panels.areas)
        assert (net < 1e-3 * (np.abs(sources) @ part.units.panels.areas)).all()


def test_skin_is_tight_in_every_condition(solutions):
    normals = solutions.main.panels.normals
    through = (solutions.flow().velocity * normals).sum(axis=2)
    assert np.abs(through).max() < 1e-3


def test_bernoulli_between_the_bounds_of_the_total_pressure(solutions):
    flow = solutions.flow()
    for part in solutions.parts:
        upper, lower = part.onset.heads(part.units.panels.points, SMALL)
        rows = list(part.numbers)
        kinetic = 0.5 * part.onset.density[:, None] * (flow.velocity[rows] ** 2).sum(axis=2)
        assert flow.total_pressure[rows] == pytest.approx(upper, abs=1e-6)
        # a tenth of the mean rise added to both lets the share go steadily to 1
        floor = 0.1 * part.onset.mean_rise[:, None]
        share = np.divide(
            lower + floor, upper + floor, out=np.ones_like(upper), where=upper + floor > 0.0
        )
        expected = 0.5 * (1.0 + share) * (upper - kinetic)
        assert flow.gauge_pressure[rows] == pytest.approx(expected, abs=1e-9)
    assert flow.wetting.min() < 0.9


@pytest.mark.parametrize("effect", ["slipstream", "swirl", "wing"])
def test_switched_off_afterwards_is_as_if_solved_without(solutions, effect):
    less = ALL.without(effect)
    afterwards = solutions.flow_with(less)
    alone = solve(SMALL, [CLIMB, TAXI], less)
    assert afterwards.velocity[[0, 3]] == pytest.approx(alone.velocity, abs=1e-3)
    assert afterwards.gauge_pressure[[0, 3]] == pytest.approx(alone.gauge_pressure, abs=0.05)
    assert np.abs(afterwards.velocity - solutions.flow().velocity).max() > 0.5


def test_another_propeller_or_wing_needs_its_own_solution(solutions):
    for other in (replace(ALL, propeller=replace(DISC, diameter=1.5)), replace(ALL, wing=None)):
        with pytest.raises(FlowError, match="solve it anew"):
            solutions.flow_with(other)


def test_pressure_is_continuous_where_the_blade_roots_begin_at_rest():
    share = wetting_share(np.array([[0.0, 1.0, 50.0]]), np.zeros((1, 3)), np.array([[1000.0]]))
    assert share[0, 0] == 1.0
    assert share[0, 1] == pytest.approx(1.0, abs=0.01)
    assert share[0, 2] < 0.9


def test_stored_fields_are_linear_in_the_slipstream_factor(solutions):
    none, half, one, more = (
        solutions.flow(lambda onset, f=f: onset.with_factors(f)).velocity for f in (0, 0.5, 1, 1.3)
    )
    assert half - none == pytest.approx(0.5 * (one - none), abs=1e-12)
    assert more - none == pytest.approx(1.3 * (one - none), abs=1e-12)
    still = solve(SMALL, [CLIMB], ALL.without("slipstream")).velocity
    assert none[0] == pytest.approx(still[0], abs=1e-3)


def test_static_pressure_goes_with_the_square_of_the_rotational_speed(solutions):
    # fixed pitch: power as its cube, thrust and pressure as its square, the swirl's too
    flow = solutions.flow()
    assert flow.gauge_pressure[6] == pytest.approx(
        0.42**2 * flow.gauge_pressure[1], rel=1e-5, abs=0.01
    )
    assert flow.mean_rise[6] == pytest.approx(0.42**2 * flow.mean_rise[1], rel=1e-6)
    assert flow.velocity[6] == pytest.approx(0.42 * flow.velocity[1], abs=1e-3)
    assert flow.dynamic_pressure[1] == 0.0
    assert np.isnan(flow.cp[1]).all()
    assert flow.moving.all()
    assert np.abs(flow.gauge_pressure[1]).max() > 300.0


def test_conditions_without_airspeed_over_the_ground_need_no_others():
    flow = solve(SMALL, [RUN_UP], ALL)
    assert np.isfinite(flow.gauge_pressure).all()
    assert np.abs(flow.gauge_pressure).max() > 300.0
    calm = solve(SMALL, [replace(RUN_UP, power=0.0)], ALL)
    assert not calm.velocity.any()
    assert not calm.gauge_pressure.any()
    assert not calm.moving.any()


@pytest.mark.parametrize(("height", "pull"), [(1.25, 0.180756), (1.5, 0.079370)])
@pytest.mark.parametrize("attitude", [0.0, 12.0])
def test_sphere_over_the_ground(height, pull, attitude):
    # sphere beside a wall: multipoles about both centres, derived in tests/exact.py
    over = FlightCondition("over", true_airspeed=30.0, height=height, attitude=attitude)
    solutions = solve_conditions(BALL, [over])
    panels = solutions.main.panels
    cp = solutions.flow().cp[0]
    up, along = over.ground.normal, over.stream / 30.0
    ahead, aside = abreast_amplitudes(2.0 * height, -panels.points @ up)
    psi = np.arctan2(panels.points @ np.cross(-up, along), panels.points @ along)
    error = cp - (1.0 - (ahead * np.cos(psi)) ** 2 - (aside * np.sin(psi)) ** 2)
    # panels as in tests/panels/test_bodies.py, where these limits come from
    assert rms(error) <= (0.001 if height < 1.5 else 0.0006)
    assert np.abs(error).max() <= (0.006 if height < 1.5 else 0.002)
    force = -(cp * panels.areas) @ panels.normals / np.pi
    assert force == pytest.approx(-pull * up, abs=2e-4)


@pytest.mark.parametrize("ahead", [-1.5, -4.0])
def test_sphere_in_a_slipstream_is_the_sum_of_all_its_rings(ahead):
    # a uniformly loaded disc at rest: one vortex cylinder of strength 2 v; every ring of it with
    # its harmonics about the sphere (tests/exact.py), summed by quadrature
    uniform = Loading([0.0, 1.0], [1.0, 1.0])
    disc = Propeller(4.0, [ahead, 0.0, 0.0], "clockwise", UncertainValue(0.85), loading=uniform)
    still = FlightCondition("still", 0.0, thrust=3000.0, load_factor=0.0)
    surroundings = Surroundings(disc)
    solutions = solve_conditions(BALL, [still], surroundings)
    points, velocity = solutions.main.panels.points, solutions.flow().velocity[0]
    cosine = points[:, 0] / np.linalg.norm(points, axis=1)
    across = np.hypot(points[:, 1], points[:, 2])
    found = velocity[:, 1:] * points[:, 1:] @ np.ones(2) / across * cosine
    found -= velocity[:, 0] * np.sqrt(1.0 - cosine**2)
    strength = 2.0 * float(surroundings.slipstream(still).induced(0.5))
    error = found / strength - sphere_in_slipstream(2.0, ahead, cosine)
    assert rms(error) <= 0.0006
    assert np.abs(error).max() <= 0.002
    # and at the stagnation point the air behind the disc has all of its rise, in the upper bound
    front = np.argmin(points[:, 0])
    assert solutions.flow().total_pressure[0, front] == pytest.approx(3000.0 / disc.area, rel=1e-6)


def test_both_senses_of_rotation_are_mirror_images():
    body = bodies.mirrored_ellipsoid((1.0, 0.6, 0.5), 3)
    disc = replace(DISC, centre=[-1.3, 0.0, 0.0])
    one, other = (
        solve(body, [CLIMB], replace(ALL, propeller=replace(disc, rotation=rotation)))
        for rotation in ("clockwise", "counter-clockwise")
    )
    half = body.n_panels // 2
    pressure, turned = one.gauge_pressure[0], other.gauge_pressure[0]
    assert turned[:half] == pytest.approx(pressure[half:], abs=0.02)
    assert turned[half:] == pytest.approx(pressure[:half], abs=0.02)
    assert np.abs(pressure[:half] - pressure[half:]).max() > 20.0


def test_air_beside_the_body_flows_along_the_ground_and_jumps_at_the_disc(solutions):
    part = solutions.parts[1]
    taxi = solutions.conditions[3]
    level = np.random.default_rng(1).uniform(-2.0, 2.0, (50, 3))
    low = level - np.outer(part.units.ground.height(level) - 1e-9, part.units.ground.normal)
    velocity = velocity_at(part.units, [taxi], low, ALL)[0]
    assert np.abs(velocity @ part.units.ground.normal).max() < 1e-6
    assert np.abs(velocity - taxi.stream).max() > 0.5
    # the velocity goes on through the disc, the pressure jumps by the rise and the swirl's part
    across = np.array([[-0.7 - 1e-7, 0.0, 0.6], [-0.7 + 1e-7, 0.0, 0.6]])
    still = ALL.without("swirl")
    ahead, behind = velocity_at(part.units, [taxi], across, still)[0]
    assert behind == pytest.approx(ahead, abs=1e-4)
    pressure = gauge_pressure_at(part.units, [taxi], across, still)[0]
    upper, lower = part.onset.heads(across, SMALL)
    share = 0.5 * (1.0 + lower[1, 1] / upper[1, 1])
    kinetic = 0.5 * taxi.air.density * ahead @ ahead
    assert pressure == pytest.approx(
        [taxi.dynamic_pressure - kinetic, share * (upper[1, 1] - kinetic)], abs=1e-3
    )
    assert upper[1, 1] - upper[1, 0] > 100.0


def test_openings_add_their_flow():
    vent = lay_opening(SMALL, "vent", (0.0, 0.0, 0.5), 0.2, 0.2, kind="flush hole")
    solutions = solve_conditions(SMALL, [CLIMB, TAXI], ALL, openings=[vent])
    areas = solutions.main.panels.areas
    flow = solutions.flow(flows={"vent": np.array([0.3, -0.1])})
    through = (flow.velocity * solutions.main.panels.normals).sum(axis=2) @ areas
    assert through == pytest.approx([0.3, -0.1], abs=1e-3)
    with pytest.raises(FlowError, match="hold no 'opening door'; give it to solve_units"):
        solutions.flow(flows={"door": np.array([0.1, 0.1])})


def test_fields_and_grounds_that_were_not_solved_are_refused():
    units = solve_units(bodies.ellipsoid(SPHERE, 1).scaled(0.5))
    with pytest.raises(FlowError, match="hold no 'slipstream climb'; give it to solve_units"):
        superpose(units, [CLIMB], ALL)
    with pytest.raises(FlowError, match="hold no 'wing'"):
        superpose(units, [GLIDE], ALL)
    with pytest.raises(FlowError, match="over another ground than that of the unit solutions"):
        superpose(units, [TAXI], Surroundings())


def test_places_are_checked_before_solving():
    behind = replace(ALL, propeller=replace(DISC, centre=[0.6, 0.0, 0.0]))
    with pytest.raises(FlowError, match="lies ahead of the propeller disc"):
        solve_conditions(SMALL, [CLIMB], behind)
    with pytest.raises(FlowError, match="condition taxi: the propeller reaches 150 mm into the gr"):
        solve_conditions(SMALL, [replace(TAXI, height=0.8)], ALL)


def test_progress_tells_what_is_done():
    lines = []
    solve_conditions(bodies.ellipsoid(SPHERE, 1).scaled(0.5), [GLIDE], ALL, progress=lines.append)
    assert lines == ["influence of 80 panels", "solving for unit causes"]
