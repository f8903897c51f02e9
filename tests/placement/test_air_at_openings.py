"""Slipstream, ground and given flows at openings."""

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.flow.off_body import gauge_pressure_at, velocity_at
from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.placement.effects import effect_shares
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.placement.through_flow import through_flow
from panelcp.quantity import UncertainValue
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening, rim_samples
from panelcp.surface.rays import SkinFinder
from tests import bodies

CLIMB = FlightCondition("climb", true_airspeed=35.0, alpha=5.0, power=1.0, needed_pressure=400.0)
GLIDE = FlightCondition("glide", true_airspeed=35.0, alpha=5.0, power=0.0, decides=False)
RUN_UP = FlightCondition("run-up", ground_speed=0.0, height=1.0, power=1.0, decides=False)
TAIL_WIND = FlightCondition(
    "tail wind", ground_speed=0.0, wind_speed=5.0, wind_from=180.0, power=0.1, decides=False
)
CONDITIONS = (CLIMB, GLIDE, RUN_UP, TAIL_WIND)
PROPELLER = Propeller(
    1.8, (-2.2, 0.0, 0.0), "clockwise", UncertainValue(0.8), rotational_speed=250.0
)
WING = Wing(9.0, 11.0, (0.3, 0.0, -0.3), 600.0)
AROUND = Surroundings(PROPELLER, WING, rated_power=75e3)


@pytest.fixture(scope="module")
def body():
    vertices, triangles = bodies.icosphere(3)
    return SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles)


@pytest.fixture(scope="module")
def openings(body):
    finder = SkinFinder(body)
    places = {"nose": (-1.9, 0.0, -0.16), "left": (-1.2, -0.4, 0.0), "right": (-1.2, 0.4, 0.0)}
    uses = {"nose": "inlet", "left": "exit", "right": "exit"}
    return [
        lay_opening(finder, name, place, 0.1, 0.1, use=uses[name]) for name, place in places.items()
    ]


@pytest.fixture(scope="module")
def solutions(body, openings):
    return solve_conditions(body, CONDITIONS, AROUND, openings=openings)


def pressures(flow, openings, eta=0.0):
    return opening_pressures(flow, openings, np.full(len(openings), eta))


def test_effects_are_differences_with_and_without(solutions, openings, body):
    free = solve_conditions(body, CONDITIONS, AROUND.without("ground"))
    shares = effect_shares(solutions, openings, free)
    assert shares.effects == ("slipstream", "swirl", "wing", "ground")
    for name in ("swirl", "wing", "ground"):
        lacking = solve_conditions(body, CONDITIONS, AROUND.without(name)).flow()
        expected = shares.pressure - pressures(lacking, openings).patch_pressure
        assert shares.share[shares.effects.index(name)] == pytest.approx(expected, abs=0.02)
    bare = AROUND.without("swirl").without("slipstream")
    slipstream = shares.share[0] + shares.share[1]
    lacking = solve_conditions(body, CONDITIONS, bare).flow()
    expected = shares.pressure - pressures(lacking, openings).patch_pressure
    assert slipstream == pytest.approx(expected, abs=0.02)
    # without power no slipstream; lift and swirl need air or power; the ground only where it is
    assert not shares.share[0, 1].any()
    assert not shares.share[1, 1].any()
    assert not shares.share[2, 2].any()
    assert not shares.share[3, :2].any()
    assert np.abs(shares.share[3, 2]).max() > 0.1


def test_swirl_makes_left_and_right_differ(solutions, openings):
    # common practice, no source
    left, right = pressures(solutions.flow(), openings).patch_pressure[0, 1:]
    assert abs(left - right) > 5.0
    calm = solutions.flow_with(AROUND.without("swirl"))
    left, right = pressures(calm, openings).patch_pressure[0, 1:]
    assert left == pytest.approx(right, abs=0.5)


def test_total_pressure_lies_between_its_bounds(solutions, openings):
    flow = solutions.flow()
    found = pressures(flow, openings, eta=1.0)
    assert found.inlet_pressure == pytest.approx(found.total_pressure)
    q, rise = flow.dynamic_pressure[:, None], flow.mean_rise[:, None]
    # quadratic fits over the edge of the tube leave up to 0.2 % of the rise
    assert (found.total_pressure >= q - 2e-3 * (q + rise)).all()
    assert (found.total_pressure <= q + 1.4 * rise + 1e-6).all()
    # places without slipstream have no doubt about it
    assert found.inlet_wetting[1] == pytest.approx(np.zeros(3), abs=1e-9)
    assert found.patch_wetting[1] == pytest.approx(np.zeros(3), abs=1e-9)
    assert (found.inlet_wetting[0] > 0.0).all()


def test_slipstream_raises_the_deviation_and_tail_wind_blinds(solutions, openings):
    flow = solutions.flow()
    ranking = rank_openings(flow, openings[:1], openings[1:], [0.8], [0.0], cp_deviation=0.1)
    reference = flow.reference_pressure
    assert reference == pytest.approx(flow.dynamic_pressure + flow.mean_rise)
    model = 0.1 * reference
    out = pressures(flow, openings[1:])
    expected = np.hypot(model[:, None], out.patch_wetting)
    assert ranking.exit_deviation[:3] == pytest.approx(expected[:3])
    assert flow.predicted.tolist() == [True, True, True, False]
    blind = np.sqrt(expected[3] ** 2 + 0.5 * reference[3] ** 2)
    assert ranking.exit_deviation[3] == pytest.approx(blind)
    wide = rank_openings(
        *(flow, openings[:1], openings[1:], [0.8], [0.0]),
        cp_deviation=0.1,
        slipstream_deviation=np.full((4, 3), 70.0),
    )
    assert wide.exit_deviation == pytest.approx(np.hypot(ranking.exit_deviation, 70.0))
    assert wide.inlet_deviation == pytest.approx(np.hypot(ranking.inlet_deviation, 70.0))


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (FlightCondition("rest", ground_speed=0.0, needed_pressure=9.0), "no air that moves"),
        (
            FlightCondition(
                "wind",
                ground_speed=0.0,
                wind_speed=5.0,
                wind_from=180.0,
                power=0.1,
                needed_pressure=9.0,
            ),
            "cannot be predicted",
        ),
    ],
)
def test_what_cannot_decide(body, openings, condition, words):
    flow = solve_conditions(body, [condition], AROUND).flow()
    with pytest.raises(PlacementError, match=words):
        rank_openings(flow, openings[:1], openings[1:], [0.8], [0.0])


def test_given_flow_by_hand(solutions, openings):
    flows = {"nose": np.array([-0.3, 0.0, -0.2, 0.0]), "left": np.array([0.3, 0.0, 0.0, 0.0])}
    through = through_flow(solutions, openings, flows)
    total = pressures(solutions.flow(), openings).total_pressure
    free = np.sqrt(2.0 * total[0, 0] / CLIMB.air.density)
    ratio = 0.3 / openings[0].area / free
    assert through.velocity_ratio[0, 0] == pytest.approx(ratio)
    assert through.spillage[0, 0] == pytest.approx(1.0 - ratio)
    # air that leaves spills nothing
    assert np.isnan(through.spillage[0, 1])
    assert through.velocity_ratio[1].tolist() == [0.0, 0.0, 0.0]
    assert through.volume_flow[0].tolist() == [-0.3, 0.3, 0.0]
    # no flow anywhere in the glide: nobody is changed
    assert not through.others[1].any()
    assert (through.others[0] != 0.0).all()


def test_small_flow_of_another_opening_changes_the_pressure_linearly(solutions, openings):
    # p = head - rho V^2 / 2, so a small flow Q adds -rho V . u Q, u the unit flow of the opening
    flow = 0.01
    blown = through_flow(solutions, openings, {"nose": np.array([0.0, flow, 0.0, 0.0])})
    (part,) = [part for part in solutions.parts if 1 in part.numbers]
    unit = part.units.velocity[part.units.names.index("opening nose")]
    steady = solutions.flow().velocity[1]
    left = openings[1]
    operator = point_operator(solutions.surface, left.sample_points, left.sample_panels)
    along = ((operator @ steady) * (operator @ unit)).sum(axis=1)
    expected = -GLIDE.air.density * flow * float(along @ left.sample_weights)
    assert abs(expected) > 0.01
    assert blown.others[1, 1] == pytest.approx(expected, rel=0.02)
    assert not blown.others[:, 0].any()


def test_lip_is_outside_the_opening_and_its_panels(openings):
    vertices, triangles = bodies.icosphere(6)
    finder = SkinFinder(SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles))
    for opening in [opening.laid_on(finder) for opening in openings]:
        points, panels = rim_samples(finder, opening)
        assert len(points) >= 8
        offset = points - opening.centre
        along, across = offset @ opening.along, offset @ opening.across
        beside = np.maximum(np.abs(along), np.abs(across))
        assert beside == pytest.approx(0.05 + 0.25 * 0.1, abs=1e-6)
        assert not set(panels) & set(opening.sample_panels)


def test_unknown_opening_with_a_flow(solutions, openings):
    with pytest.raises(PlacementError, match="'tail', which is no opening"):
        through_flow(solutions, openings, {"tail": np.zeros(4)})


def test_air_beside_the_body_carries_the_slipstream(solutions):
    main = solutions.parts[0]
    far = np.array([[30.0, 0.0, 0.55], [30.0, 0.0, 3.0]])
    conditions, slipstream = main.onset.conditions, main.onset.slipstreams[0]
    velocity = velocity_at(main.units, conditions, far, AROUND.without("wing"))
    inside = CLIMB.stream[0] + 2.0 * slipstream.induced(0.55 / 0.9)
    assert velocity[0, 0, 0] == pytest.approx(float(inside), rel=2e-3)
    assert velocity[0, 1, 0] == pytest.approx(CLIMB.stream[0], rel=2e-3)
    gauge = gauge_pressure_at(main.units, conditions, far, AROUND.without("wing"))
    # swirl and the curvature of the flow far behind leave a little
    swirl = 0.5 * CLIMB.air.density * velocity[0, 0, 1] ** 2
    assert gauge[0, 0] == pytest.approx(-swirl, abs=0.01 * slipstream.mean_rise)
    assert gauge[0, 1] == pytest.approx(0.0, abs=1.0)


def test_air_on_the_skin_is_that_of_the_panels(solutions):
    main = solutions.parts[0]
    points = main.units.panels.points[::97]
    flow = solutions.flow()
    velocity = velocity_at(main.units, main.onset.conditions, points, AROUND)
    gauge = gauge_pressure_at(main.units, main.onset.conditions, points, AROUND)
    for row, number in enumerate(main.numbers):
        assert velocity[row] == pytest.approx(flow.velocity[number, ::97], abs=1e-6)
        assert gauge[row] == pytest.approx(flow.gauge_pressure[number, ::97], abs=1e-3)
