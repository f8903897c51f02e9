"""Propeller, wing and ground together."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.momentum import static_thrust, thrust_from_power
from panelcp.onset.propeller import Loading, Propeller
from panelcp.onset.slipstream import cylinder_velocities, swirl_velocity
from panelcp.onset.surroundings import BLOCKED_LIMIT, EFFECTS, Sections, Surroundings
from panelcp.onset.wing import Wing, wing_velocity
from panelcp.quantity import UncertainValue
from tests import bodies
from tests.exact import divergence

RATED = 105e3
OMEGA = 2300.0 * np.pi / 30.0
DISC = Propeller(
    1.9, [-1.2, 0.0, 0.0], "clockwise", UncertainValue(0.85), OMEGA, tilt_down=2.0, tilt_right=1.5
)
WING = Wing(10.0, 12.5, [1.5, 0.0, -0.4], 750.0)
ALL = Surroundings(DISC, WING, RATED)
CLIMB = FlightCondition("climb", 38.6, alpha=4.0, power=1.0)
GLIDE = FlightCondition("glide", 38.6, alpha=1.0)
RUN_UP = FlightCondition("run-up", ground_speed=0.0, power=1.0, height=1.4, attitude=3.0)
TAXI = FlightCondition(
    "taxi", ground_speed=5.0, wind_speed=4.0, wind_from=60.0, power=0.1, height=1.4, attitude=3.0
)
TAIL_WIND = replace(TAXI, name="tail wind", wind_speed=9.0, wind_from=180.0)
BALL = bodies.ellipsoid((1.0, 1.0, 1.0), 3)


def test_thrust_comes_from_power_and_airspeed():
    stream = ALL.slipstream(CLIMB)
    airspeed = float(CLIMB.stream @ DISC.aft)
    exact = thrust_from_power(RATED, airspeed, CLIMB.air.density, DISC.area, 0.65, 0.85)
    assert stream.thrust == pytest.approx(exact, rel=1e-12)
    assert stream.airspeed == pytest.approx(airspeed)
    assert (stream.power, stream.rotational_speed, stream.factor) == (RATED, OMEGA, 1.0)
    still = ALL.slipstream(replace(RUN_UP, power=0.4))
    exact = static_thrust(0.4 * RATED, RUN_UP.air.density, DISC.area, 0.65)
    assert still.thrust == pytest.approx(exact, rel=1e-8)
    # fixed pitch: power goes with the cube of the rotational speed
    assert still.rotational_speed == pytest.approx(OMEGA * 0.4 ** (1 / 3))


def test_condition_may_give_thrust_efficiency_and_rotational_speed():
    assert ALL.slipstream(replace(CLIMB, thrust=900.0)).thrust == 900.0
    given = replace(CLIMB, propeller_efficiency=0.7, rotational_speed=200.0)
    stream = ALL.slipstream(given)
    assert stream.thrust * stream.airspeed == pytest.approx(0.7 * RATED)
    assert stream.rotational_speed == 200.0
    glide = ALL.slipstream(replace(GLIDE, thrust=-120.0))
    assert (glide.thrust, glide.power, glide.swirl_strength) == (-120.0, 0.0, 0.0)
    assert replace(ALL, factor=0.8).slipstream(CLIMB).factor == 0.8


def test_without_power_or_thrust_there_is_no_slipstream():
    for condition in (GLIDE, replace(GLIDE, power=0.0), replace(GLIDE, thrust=0.0)):
        assert ALL.slipstream(condition) is None
    assert Surroundings(wing=WING).slipstream(CLIMB) is None


def test_efficiencies_act_through_the_induced_velocity():
    """At rest v goes with the cube root of the useful power; fast, thrust with the efficiency."""
    propeller = replace(
        DISC,
        efficiency=UncertainValue(0.80, 0.76, 0.84),
        figure_of_merit=UncertainValue(0.65, 0.5, 0.7),
    )
    around = replace(ALL, propeller=propeller)
    fast = FlightCondition("fast", 120.0, power=0.3)
    conditions = (RUN_UP, fast, GLIDE, replace(CLIMB, thrust=900.0))
    merit = around.efficiency_changes("figure_of_merit", conditions)
    exact = 0.5 * ((0.7 / 0.65) ** (1 / 3) - (0.5 / 0.65) ** (1 / 3))
    assert merit[0] == pytest.approx(exact, rel=1e-6)
    assert abs(merit[1]) < 0.02 * exact
    efficiency = around.efficiency_changes("efficiency", conditions)
    assert efficiency[0] == pytest.approx(0.0, abs=1e-9)
    assert efficiency[1] == pytest.approx(0.05, rel=0.05)
    assert not merit[2:].any()
    assert not efficiency[2:].any()
    climb = (CLIMB, replace(CLIMB, propeller_efficiency=0.6))
    assert (around.efficiency_changes("efficiency", climb) > 0.0).tolist() == [True, False]
    exact = replace(around, propeller=replace(propeller, efficiency=UncertainValue(0.8)))
    assert not exact.efficiency_changes("efficiency", climb).any()


@pytest.mark.parametrize(
    ("surroundings", "condition", "message"),
    [
        (replace(ALL, rated_power=None), CLIMB, "climb: power is given in parts .* rated_power in"),
        (
            replace(ALL, propeller=replace(DISC, rotational_speed=None)),
            CLIMB,
            "climb: the propeller turns with power, but at no speed: give rpm",
        ),
        (ALL, replace(GLIDE, thrust=-3000.0), "glide: the propeller brakes so hard"),
        (ALL, replace(RUN_UP, power=None, thrust=-1.0), "run-up: the propeller brakes so hard"),
        (
            ALL,
            replace(CLIMB, thrust=3000.0),
            "climb: 3000 N of thrust from 105.0 kW at 38.6 m/s; by ",
        ),
        (
            ALL,
            replace(TAXI, propeller_efficiency=0.6),
            "taxi: 889 N of thrust from 10.5 kW at 7.1 m/s; by momentum .* at most 730 N: corr",
        ),
        (ALL, FlightCondition("slow", 15.0), "slow: the wing would need the lift coefficient 4.27"),
        (ALL, replace(RUN_UP, load_factor=1.0), "run-up: the wing would need .* without limit"),
    ],
)
def test_contradictions_are_named_with_their_condition(surroundings, condition, message):
    with pytest.raises(FlowError, match=f"condition {message}"):
        surroundings.onset([condition])


def test_unknown_effects_and_no_conditions_are_refused():
    with pytest.raises(
        FlowError, match="effect 'rain' is not one of slipstream, swirl, wing, ground"
    ):
        Surroundings(effects=("swirl", "rain"))
    with pytest.raises(FlowError, match="no flight condition given"):
        ALL.onset([])
    with pytest.raises(FlowError, match="stand over different grounds; take each on its own"):
        ALL.onset([CLIMB, TAXI])


def test_slipstreams_of_one_name_are_refused():
    # their fields are told apart by the names of the conditions
    with pytest.raises(FlowError, match="two conditions with slipstream are called 'climb'; give"):
        ALL.onset([GLIDE, CLIMB, replace(CLIMB, power=0.5)])
    assert len(ALL.onset([GLIDE, GLIDE, CLIMB]).conditions) == 3


def test_conditions_are_grouped_by_their_ground():
    higher, level = replace(TAXI, height=1.5), replace(TAXI, attitude=0.0)
    conditions = [CLIMB, TAXI, higher, GLIDE, RUN_UP, level]
    assert ALL.groups(conditions) == [[0, 3], [1, 4], [2], [5]]
    assert ALL.without("ground").groups(conditions) == [[0, 1, 2, 3, 4, 5]]


def test_every_effect_is_switched_off_alone():
    names = ("slipstream climb", "swirl", "wing")
    assert ALL.onset([CLIMB, GLIDE]).names == names
    assert ALL.without("swirl").onset([CLIMB, GLIDE]).names == (names[0], "wing")
    assert ALL.without("wing").onset([CLIMB, GLIDE]).names == names[:2]
    assert ALL.without("slipstream").onset([CLIMB, GLIDE]).names == ("wing",)
    assert Surroundings().onset([CLIMB, GLIDE]).names == ()
    assert ALL.onset([TAXI, RUN_UP]).ground is not None
    assert ALL.without("ground").onset([TAXI, RUN_UP]).ground is None
    for effect in EFFECTS:
        assert set(EFFECTS) - set(ALL.without(effect).effects) == {effect}


@pytest.mark.parametrize("effect", ["swirl", "wing"])
def test_what_is_switched_off_is_missing_from_the_sum_and_nothing_else(effect):
    points = np.random.default_rng(1).uniform(-1.0, 1.0, (20, 3))

    def brought(surroundings):
        onset = surroundings.onset([CLIMB])
        return np.einsum("cf,fpd->cpd", onset.weights, onset.velocity(points))[0]

    with_all, stream = brought(ALL), ALL.slipstream(CLIMB)
    if effect == "swirl":
        missing = stream.swirl_strength * swirl_velocity(DISC, points)
    else:
        missing = ALL.circulation(CLIMB) * wing_velocity(WING, points)
    assert np.abs(missing).max() > 0.1
    assert with_all - brought(ALL.without(effect)) == pytest.approx(missing, abs=1e-12)
    rest = brought(ALL.without("swirl").without("wing"))
    own = cylinder_velocities(DISC, stream.sheet_strength[None], points)[0]
    assert rest == pytest.approx(own, abs=1e-12)
    assert not brought(ALL.without("wing").without("slipstream")).any()


def test_weights_are_the_factor_the_swirl_and_the_circulation():
    onset = replace(ALL, factor=0.8).onset([GLIDE, CLIMB, replace(CLIMB, name="more", power=0.9)])
    strong, weak = (onset.slipstreams[k].swirl_strength for k in (1, 2))
    gamma = ALL.circulation(GLIDE)
    assert onset.names == ("slipstream climb", "slipstream more", "swirl", "wing")
    assert onset.weights == pytest.approx(
        np.array([[0, 0, 0, gamma], [0.8, 0, 0.8 * strong, gamma], [0, 0.8, 0.8 * weak, gamma]])
    )
    half = onset.with_factors(0.5)
    assert half.weights[:, :3] == pytest.approx(0.5 * onset.weights[:, :3])
    assert half.weights[:, 3] == pytest.approx(onset.weights[:, 3])
    assert half.slipstreams[0] is None


def test_onset_knows_pressures_of_its_conditions():
    onset = ALL.onset([CLIMB, GLIDE])
    assert onset.dynamic_pressure == pytest.approx([CLIMB.dynamic_pressure] * 2)
    assert onset.density == pytest.approx([CLIMB.air.density] * 2)
    assert onset.mean_rise == pytest.approx([ALL.slipstream(CLIMB).thrust / DISC.area, 0.0])
    turned = onset.with_streams(np.zeros((2, 3)))
    assert not turned.streams.any()
    assert np.array_equal(turned.weights, onset.weights)


def test_tail_wind_is_not_predicted():
    onset = ALL.onset([TAXI, TAIL_WIND, RUN_UP])
    assert onset.predicted.tolist() == [True, False, True]
    assert onset.streams[1] @ DISC.aft < 0.0
    # without slipstream the wind from behind is a stream like others
    assert ALL.without("slipstream").onset([TAXI, TAIL_WIND]).predicted.all()
    straight = replace(ALL, propeller=replace(DISC, tilt_right=0.0, tilt_down=0.0))
    beside = replace(TAXI, ground_speed=0.0, wind_from=270.0, attitude=None)
    assert straight.onset([beside]).predicted.all()


def test_no_air_goes_through_the_ground():
    # slipstream, swirl and wing with their images; the stream flows along
    onset = replace(ALL, propeller=DISC).onset([replace(TAXI, load_factor=0.01), RUN_UP])
    assert onset.names == ("slipstream taxi", "slipstream run-up", "swirl", "wing")
    random = np.random.default_rng(9)
    level = random.uniform(-3.0, 3.0, (200, 3))
    points = level - np.outer(onset.ground.height(level), onset.ground.normal)
    velocity = onset.velocity(points)
    assert velocity @ onset.ground.normal == pytest.approx(np.zeros((4, 200)), abs=1e-12)
    # the ground is below the slipstream, where nothing swirls
    assert (np.abs(velocity).max(axis=(1, 2)) > 0.01).tolist() == [True, True, False, True]
    assert onset.streams @ onset.ground.normal == pytest.approx(np.zeros(2), abs=1e-12)


def test_images_lie_mirrored_below_the_ground():
    # as one more propeller and wing there, turned over: its swirl goes the other way round
    onset = ALL.onset([replace(TAXI, load_factor=0.01)])
    matrix, offset = onset.ground.reflection
    points = np.random.default_rng(10).uniform(-1.0, 1.0, (30, 3))
    in_air = Surroundings(DISC, WING, RATED, effects=("slipstream", "swirl", "wing"))
    free = in_air.onset(onset.conditions)
    image = free.velocity(points @ matrix.T + offset) @ matrix.T
    assert onset.velocity(points) == pytest.approx(free.velocity(points) + image, abs=1e-12)


def test_fields_with_their_images_have_no_divergence():
    onset = ALL.onset([replace(TAXI, load_factor=0.01)])
    points = np.random.default_rng(12).uniform(-1.4, 1.4, (150, 3))
    matrix, offset = onset.ground.reflection
    clear = np.ones(len(points), dtype=bool)
    for places in (points, points @ matrix.T + offset):
        axial, distance, _ = DISC.cylinder_coordinates(places)
        gap = np.abs(distance[:, None] - DISC.loading.ring_fractions * DISC.radius).min(axis=1)
        clear &= ((gap > 0.02) | (axial < -0.05)) & (distance > 0.02) & (np.abs(axial) > 2e-3)
    assert clear.sum() > 80
    for number in range(len(onset.names)):
        found = divergence(lambda p, k=number: onset.velocity(p)[k], points[clear])
        # central differences over 1e-4 m, sheets 20 mm away
        assert np.abs(found).max() < 2e-3


def test_heads_jump_at_the_disc_and_have_bounds():
    # a slender body far behind leaves the air at its radius
    slender = bodies.ellipsoid((1.0, 0.01, 0.01), 2).translated([30.0, 0.0, 0.0])
    onset = replace(ALL, propeller=replace(DISC, tilt_down=0.0, tilt_right=0.0)).onset(
        [CLIMB, GLIDE]
    )
    points = np.array([[-1.3, 0.6, 0.0], [-1.199, 0.6, 0.0], [0.0, 0.0, 0.6], [0.0, 0.0, 1.2]])
    upper, lower = onset.heads(points, slender)
    rise = onset.slipstreams[0].rise(0.6 / 0.95)
    q = CLIMB.dynamic_pressure
    assert upper[0] == pytest.approx([q, q + rise, q + rise, q])
    assert upper[1] == pytest.approx(np.full(4, q))
    assert np.array_equal(upper[1], lower[1])
    assert lower[0] == pytest.approx(upper[0], rel=1e-6)


def test_deviation_of_the_heads_is_that_of_every_slipstream():
    onset = ALL.onset([GLIDE, CLIMB])
    points = DISC.centre + np.array([[0.5, 0.3, 0.0], [0.5, 0.9, 0.0], [-0.5, 0.3, 0.0]])
    axial, distance, _ = DISC.cylinder_coordinates(points)
    found = onset.head_deviation(points)
    assert found[1] == pytest.approx(onset.slipstreams[1].rise_deviation(axial, distance))
    assert (found[1, :2] > 1.0).all()
    assert not found[0].any()
    assert not Surroundings().onset([GLIDE]).head_deviation(points).any()


def test_skin_of_a_body_on_the_thrust_line_may_be_wetted_by_air_of_the_hub():
    # the disc is 0.2 m ahead of a sphere of radius 0.5 m: all its skin by the stagnation streamline
    body = BALL.scaled(0.5)
    disc = replace(DISC, centre=[-0.7, 0.0, 0.0], tilt_down=0.0, tilt_right=0.0)
    onset = replace(ALL, propeller=disc, wing=None).onset([CLIMB, RUN_UP][:1])
    front = body.centroids[body.centroids[:, 0] < 0.0]
    upper, lower = onset.heads(front, body)
    q = CLIMB.dynamic_pressure
    assert lower[0] == pytest.approx(np.full(len(front), q), rel=0.01)
    assert upper[0].max() > 1.3 * q


def test_sections_are_those_of_the_sphere():
    sections = Sections(BALL, replace(DISC, tilt_down=0.0, tilt_right=0.0))
    x = np.linspace(-0.9, 0.9, 19)
    # 1280 panels, each counted from its centroid: 2 % of the greatest section
    assert sections.at(x + 1.2) == pytest.approx(np.pi * (1.0 - x**2), abs=0.02 * np.pi)
    assert sections.at([0.1, 2.3]).tolist() == [0.0, 0.0]
    assert sections.share_ahead() == 0.0
    half = Sections(BALL, replace(DISC, centre=[-0.5, 0.0, 0.0], tilt_down=0.0, tilt_right=0.0))
    assert half.share_ahead() == pytest.approx(0.25, abs=0.02)
    # a tilted thrust line sees a sphere in the same way
    assert Sections(BALL, replace(DISC, centre=[0, 0, 0])).at(0.3) == pytest.approx(
        np.pi * 0.91, abs=0.02 * np.pi
    )


def disc_at(x, diameter=1.9, **fields):
    disc = Propeller(diameter, [x, 0.0, 0.0], "clockwise", UncertainValue(0.85), OMEGA, **fields)
    return Surroundings(disc, rated_power=RATED)


def test_propeller_ahead_of_the_body_is_accepted():
    disc_at(-1.05).check_place(BALL, [CLIMB, RUN_UP, TAXI])
    Surroundings(wing=WING).check_place(BALL, [RUN_UP])
    # a spinner through the disc: section of 0.02 parts of it
    thin = bodies.ellipsoid((2.0, 0.15, 0.15), 2)
    disc_at(-1.0).check_place(thin)


@pytest.mark.parametrize(
    ("x", "diameter", "message"),
    [
        (-0.5, 1.0, r"disc \(1000 mm\) lies inside the body, whose section there is 3.0 times"),
        (-0.95, 1.9, r"fills 1\d % of the propeller disc: .* expected at most 8 % .*forward"),
        (0.98, 1.9, r"99 % of the body's length lies ahead of the propeller disc; only tractor"),
        (3.0, 1.9, r"100 % of the body's length lies ahead"),
    ],
)
def test_propellers_in_or_behind_the_body_are_refused(x, diameter, message):
    assert BLOCKED_LIMIT == 0.08
    with pytest.raises(FlowError, match=message):
        disc_at(x, diameter).check_place(BALL)


def test_propeller_reaches_into_the_ground():
    low = replace(RUN_UP, height=1.0)
    disc = disc_at(-1.3)
    # nose up by 3 deg, the disc's lowest point is forward of the datum and higher
    height = 1.0 + 1.3 * np.sin(np.radians(3.0)) - 0.95 * np.cos(np.radians(3.0))
    assert height > 0.0
    disc.check_place(BALL, [low])
    with pytest.raises(FlowError, match="run-up: the propeller reaches 31 mm into the ground"):
        disc.check_place(BALL, [replace(low, height=1.0 - height - 0.031)])
    level = replace(low, attitude=0.0, height=0.94)
    with pytest.raises(FlowError, match="reaches 10 mm into the ground"):
        disc.check_place(BALL, [CLIMB, level])


def test_uniform_loading_reaches_the_axis():
    uniform = Loading([0.0, 1.0], [1.0, 1.0])
    onset = replace(ALL, propeller=replace(DISC, loading=uniform)).onset([CLIMB])
    assert np.isfinite(onset.velocity([DISC.centre + 0.5 * DISC.aft])).all()
