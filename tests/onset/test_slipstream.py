"""The slipstream: momentum theory carried by vortex cylinders, swirl, rise of total pressure.

Source of the relations: H. Glauert, Airplane Propellers, in W. F. Durand (ed.), Aerodynamic Theory
IV, 1935 (from memory). The worked numbers were reckoned apart from this program.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.onset.momentum import contraction, thrust_from_power
from panelcp.onset.propeller import Loading, Propeller, usual_loading
from panelcp.onset.slipstream import MIXING, Slipstream, cylinder_velocities, swirl_velocity
from panelcp.quantity import UncertainValue
from tests.exact import curl, divergence

OMEGA = 2300.0 * 2.0 * np.pi / 60.0
UNIFORM = Loading([0.0, 1.0], [1.0, 1.0])
LOADINGS = {"usual": usual_loading(), "hollow": Loading([0.3, 1.0], [1.0, 1.0]), "uniform": UNIFORM}


def propeller(loading=None, **fields):
    given = {"diameter": 1.8, "centre": [0.1, -0.2, 0.3], "rotation": "clockwise"}
    given |= {"loading": loading or usual_loading(), "efficiency": UncertainValue(0.85)}
    return Propeller(**{**given, **fields})


def slipstream(loading=None, airspeed=40.0, thrust=1812.287712, density=1.10, **fields):
    given = {"power": 85e3, "rotational_speed": OMEGA}
    disc = fields.pop("propeller", None) or propeller(loading)
    return Slipstream(disc, thrust, airspeed, density, **{**given, **fields})


def places(disc, axial, distance, azimuth=0.3):
    """Points behind a disc: distances behind it and from the thrust line, m."""
    aside = np.cross(disc.aft, [0.0, 0.6, 0.8])
    aside /= np.linalg.norm(aside)
    up = np.cross(disc.aft, aside)
    out = np.cos(azimuth) * aside + np.sin(azimuth) * up
    axial, distance = np.broadcast_arrays(axial, distance)
    return disc.centre + axial[..., None] * disc.aft + distance[..., None] * out


def carried(stream, points):
    """Velocity of the cylinders of a slipstream."""
    return cylinder_velocities(stream.propeller, stream.sheet_strength[None], points)[0]


def rings_of(disc, count=20000):
    """Middles, parts of the radius, and areas of thin rings of the disc."""
    fraction = (np.arange(count) + 0.5) / count
    return fraction, 2.0 * fraction / count * disc.area


def test_axis_behind_a_uniformly_loaded_disc():
    # v(x)/v(0) = 1 + x/sqrt(x^2 + R^2), reckoned apart from this program
    along = np.array([-2.0, -1.0, -0.5, 0.0, 0.25, 0.5, 1.0, 2.0, 4.0])
    listed = [0.105573, 0.292893, 0.552786, 1.0, 1.242536, 1.447214, 1.707107, 1.894427, 1.970143]
    stream = slipstream(UNIFORM, propeller=propeller(UNIFORM, tilt_down=5.0, tilt_right=-3.0))
    disc = stream.propeller
    points = places(disc, along * disc.radius, 0.0)
    velocity = carried(stream, points)
    assert velocity @ disc.aft == pytest.approx(6.902045 * np.array(listed), abs=7e-6)
    assert np.cross(velocity, disc.aft) == pytest.approx(np.zeros((9, 3)), abs=1e-8)


@pytest.mark.parametrize(
    ("thrust", "airspeed", "density", "far", "rise"),
    [
        (3965.217, 0.0, 1.225, 50.438598, 1558.2319),
        (900.136983, 8.0, 1.225, 25.328261, 353.7315),
        (1812.287712, 40.0, 1.10, 53.804090, 712.1841),
        (965.432272, 75.0, 0.9093, 80.370816, 379.3909),
    ],
    ids=["run-up", "taxi", "climb", "cruise"],
)
def test_uniform_disc_has_the_worked_numbers(thrust, airspeed, density, far, rise):
    stream = slipstream(UNIFORM, airspeed, thrust, density)
    disc = stream.propeller
    at_disc, behind = carried(stream, places(disc, np.array([0.0, 1e4]), 0.4))
    assert airspeed + behind @ disc.aft == pytest.approx(far, rel=1e-7)
    assert airspeed + at_disc @ disc.aft == pytest.approx(0.5 * (airspeed + far), rel=1e-7)
    assert stream.mean_rise == pytest.approx(rise, abs=1e-4)
    assert stream.rise(0.7) == pytest.approx(rise, abs=1e-4)
    assert float(contraction(airspeed, stream.induced(0.5), 1.0)) == pytest.approx(
        0.5 * (airspeed + far) / far, rel=1e-7
    )


@pytest.mark.parametrize("factor", [0.0, 0.6, 1.0, 1.2])
@pytest.mark.parametrize("airspeed", [0.0, 8.0, 40.0])
@pytest.mark.parametrize("name", LOADINGS)
def test_far_behind_the_air_has_the_pressure_of_the_outside(name, airspeed, factor):
    # q0 + rise - rho (V + 2 f v)^2 / 2 = 0 at every radius; midway between the rings, where the
    # stepped cylinders carry the loading exactly
    stream = slipstream(LOADINGS[name], airspeed, factor=factor)
    disc = stream.propeller
    rings = np.concatenate([[0.0], disc.loading.ring_fractions, [1.3]])
    middles = 0.5 * (rings[1:] + rings[:-1])
    points = places(disc, 1e4, middles * disc.radius)
    speed = airspeed + factor * carried(stream, points) @ disc.aft
    left = 0.5 * 1.10 * airspeed**2 + stream.rise(middles) - 0.5 * 1.10 * speed**2
    assert left == pytest.approx(np.zeros(len(left)), abs=1e-4)


def test_far_behind_steps_leave_little_of_the_pressure_between_the_rings():
    # 40 rings: half a step of 1/20 of the root of the loading either way, at rest
    stream = slipstream(airspeed=0.0)
    disc = stream.propeller
    fraction = np.linspace(0.0, 1.05, 300)
    speed = carried(stream, places(disc, 1e4, fraction * disc.radius)) @ disc.aft
    left = stream.rise(fraction) - 0.5 * 1.10 * speed**2
    assert np.abs(left).max() < 0.06 * stream.rise(0.6)
    assert abs(np.mean(left * fraction)) < 0.002 * stream.rise(0.6)


@pytest.mark.parametrize("name", LOADINGS)
def test_rise_over_the_disc_is_the_thrust(name):
    stream = slipstream(LOADINGS[name])
    fraction, area = rings_of(stream.propeller)
    assert stream.rise(fraction) @ area == pytest.approx(1812.287712, rel=1e-6)


def test_cylinders_carry_the_thrust():
    # rho V_x (far speed - V) over the disc; steps of the loading: 1e-3
    stream = slipstream(airspeed=0.0)
    disc = stream.propeller
    fraction, area = rings_of(disc, 2000)
    speed = carried(stream, places(disc, 1e4, fraction * disc.radius)) @ disc.aft
    assert 1.10 * (0.5 * speed * speed) @ area == pytest.approx(1812.287712, rel=2e-3)


@pytest.mark.parametrize("airspeed", [0.0, 8.0, 40.0, 75.0])
@pytest.mark.parametrize("name", LOADINGS)
def test_swirl_takes_up_the_shaft_power(name, airspeed):
    # integral of rho Omega r v_t V_x dA over the disc = shaft power
    stream = slipstream(LOADINGS[name], airspeed)
    disc = stream.propeller
    fraction, area = rings_of(disc)
    radius = fraction * disc.radius
    turning = np.linalg.norm(swirl_velocity(disc, places(disc, 1e-9, radius)), axis=1)
    passed = 1.10 * (airspeed + stream.induced(fraction)) @ (OMEGA * radius * turning * area)
    # the strength comes from 2001 places; a step of the loading counts as half a place
    assert stream.swirl_strength * passed == pytest.approx(85e3, rel=1e-3)


@pytest.mark.parametrize(("rotation", "sign"), [("clockwise", 1.0), ("counter-clockwise", -1.0)])
def test_air_above_a_propeller_that_turns_clockwise_moves_right(rotation, sign):
    # as seen from behind: above to the right, right down, below to the left, left up
    disc = propeller(centre=[0.0, 0.0, 0.0], rotation=rotation)
    above, right, below, left = sign * swirl_velocity(
        disc, [[0.5, 0.0, 0.6], [0.5, 0.6, 0.0], [0.5, 0.0, -0.6], [0.5, -0.6, 0.0]]
    )
    size = float(disc.loading.at(0.6 / 0.9)) / 0.6
    assert above == pytest.approx([0.0, size, 0.0])
    assert right == pytest.approx([0.0, 0.0, -size])
    assert below == pytest.approx([0.0, -size, 0.0])
    assert left == pytest.approx([0.0, 0.0, size])


def test_no_swirl_ahead_of_the_disc_beside_it_and_inside_the_hub():
    disc = propeller(hub_diameter=0.3)
    radii = np.array([0.3, 0.5, 0.8])
    assert not swirl_velocity(disc, places(disc, -1e-6, radii)).any()
    assert not swirl_velocity(disc, places(disc, 1.0, np.array([0.0, 0.1, 0.91, 2.0]))).any()
    assert swirl_velocity(disc, places(disc, 1e-6, radii)).any(axis=1).all()


@pytest.mark.parametrize(
    ("airspeed", "power", "low", "high"),
    [(0.0, 75e3, 12.0, 14.0), (75.0, 75e3, 3.5, 5.5), (120.0, 56.25e3, 1.3, 2.5)],
    ids=["static", "climb", "cruise"],
)
def test_swirl_angle_is_that_of_experience(airspeed, power, low, high):
    # common practice, no source: at 60 % radius about 13 deg static, 4-5 in climb, 2 in cruise
    # for 75 kW, 2500 rpm, 1.75 m
    disc = propeller(UNIFORM, diameter=1.75)
    speed = airspeed * 1852.0 / 3600.0
    thrust = thrust_from_power(power, speed, 1.135, disc.area, 0.65, 0.80)
    stream = Slipstream(disc, thrust, speed, 1.135, power, 2500.0 * np.pi / 30.0)
    induced = float(stream.induced(0.6))
    around = stream.swirl_strength / (0.6 * disc.radius)
    angle = np.degrees(np.arctan(around / (speed + 2.0 * induced)))
    assert low <= angle <= high


def test_fields_have_no_divergence_and_the_cylinders_no_curl_outside_the_tube():
    disc = propeller(tilt_down=4.0, tilt_right=2.0)
    stream = slipstream(propeller=disc)
    points = disc.centre + np.random.default_rng(11).uniform(-1.5, 1.5, (150, 3))
    axial, distance, _ = disc.cylinder_coordinates(points)
    gap = np.abs(distance[:, None] - disc.loading.ring_fractions * disc.radius).min(axis=1)
    clear = points[((gap > 0.02) | (axial < -0.05)) & (distance > 0.02) & (np.abs(axial) > 2e-3)]
    assert len(clear) > 100

    def cylinders(places):
        return carried(stream, places)

    # central differences over 1e-4 m; velocities of 7 m/s over sheets 20 mm away
    assert np.abs(divergence(cylinders, clear)).max() < 2e-3
    assert np.abs(divergence(lambda p: swirl_velocity(disc, p), clear)).max() < 1e-5
    axial, distance, _ = disc.cylinder_coordinates(clear)
    outside = (distance > 1.02 * disc.radius) | (axial < -0.05)
    assert outside.sum() > 50
    assert np.abs(curl(cylinders, clear[outside])).max() < 2e-3


def test_velocities_are_linear_in_the_strengths_and_turn_with_the_thrust_line():
    level, tilted = propeller(), propeller(tilt_down=9.0)
    one, two = slipstream(propeller=level), slipstream(propeller=level, airspeed=0.0)
    strengths = np.array([one.sheet_strength, two.sheet_strength, 2.0 * one.sheet_strength])
    axial, distance = np.array([-0.5, 0.2, 1.5]), np.array([0.2, 0.5, 1.4])
    points = places(level, axial, distance)
    first, second, twice = cylinder_velocities(level, strengths, points)
    assert twice == pytest.approx(2.0 * first, rel=1e-13)
    both = cylinder_velocities(level, strengths[:1] + strengths[1:2], points)[0]
    assert both == pytest.approx(first + second, rel=1e-12, abs=1e-12)
    turned = cylinder_velocities(tilted, strengths, places(tilted, axial, distance))[0]
    assert turned @ tilted.aft == pytest.approx(first @ level.aft, rel=1e-12)
    assert np.linalg.norm(turned, axis=1) == pytest.approx(np.linalg.norm(first, axis=1))


def test_factor_scales_induced_air_and_not_the_airspeed():
    one = slipstream()
    half = one.with_factor(0.5)
    v = one.induced(0.6)
    assert half.rise(0.6) == pytest.approx(0.5 * 1.10 * ((40.0 + v) ** 2 - 40.0**2))
    assert half.sheet_strength == pytest.approx(one.sheet_strength)
    assert half.swirl_strength == one.swirl_strength
    assert half.mean_rise == one.mean_rise


def test_swirl_may_be_left_out_and_needs_power():
    assert slipstream(swirling=False).swirl_strength == 0.0
    assert slipstream(power=0.0, rotational_speed=None).swirl_strength == 0.0
    assert slipstream(thrust=0.0, airspeed=0.0).swirl_strength == 0.0
    with pytest.raises(FlowError, match="turns with power, but at no speed: give rpm"):
        slipstream(rotational_speed=None)


def test_braking_propeller_slows_the_air_within_limits():
    brake = slipstream(thrust=-300.0, power=0.0)
    assert brake.predicted
    assert brake.induced(0.6) < 0.0
    share = brake.propeller.loading.at(0.6)
    assert brake.rise(0.6) == pytest.approx(-300.0 / brake.propeller.area * share)
    with pytest.raises(FlowError, match="brakes so hard"):
        slipstream(thrust=-1800.0, power=0.0)
    with pytest.raises(FlowError, match="brakes so hard"):
        slipstream(thrust=-1.0, airspeed=0.0, power=0.0)


def test_wind_from_behind_is_not_predicted_and_takes_the_disc_at_rest():
    still, behind = slipstream(airspeed=0.0), slipstream(airspeed=-5.0)
    assert still.predicted
    assert not behind.predicted
    assert behind.induced(0.6) == still.induced(0.6)
    assert behind.sheet_strength == pytest.approx(still.sheet_strength)
    # the wind is in the far stream, so that its pressure is that of the outside
    v = still.induced(0.6)
    assert behind.rise(0.6) == pytest.approx(0.5 * 1.10 * ((2.0 * v - 5.0) ** 2 - 25.0))
    assert slipstream(airspeed=-50.0).rise(0.6) == 0.0
    # a cross wind has no part along the thrust line but its rounding
    assert slipstream(airspeed=-1e-14).predicted


def test_bounds_of_the_rise_without_a_body():
    stream = slipstream(airspeed=0.0)
    radius = stream.propeller.radius
    distance = radius * np.array([0.2, 0.35, 0.6, 0.95, 1.2])
    upper, lower = stream.rise_bounds(np.full(5, 0.5), distance, np.zeros(5), 0.0)
    assert upper == pytest.approx(stream.rise(distance / radius))
    # the tube contracts: air at a place behind has passed the disc further out
    passed = stream.disc_fraction(np.full(5, 0.5), distance, np.zeros(5), 0.0)
    far = 0.5 / np.hypot(0.5, radius)
    assert passed == pytest.approx(distance / radius * np.sqrt(1.0 + far))
    assert lower == pytest.approx(np.minimum(stream.rise(passed), upper))
    ahead = stream.rise_bounds(np.array([-0.1, 0.0]), np.array([0.5, 0.5]), np.zeros(2), 0.0)
    assert not np.any(ahead)


def test_skin_of_a_body_of_revolution_is_wetted_by_the_air_beside_its_spinner():
    # whatever its section grows to, and however much the tube contracts
    for airspeed in (0.0, 40.0):
        stream = slipstream(airspeed=airspeed)
        axial, radius = np.array([0.01, 0.2, 0.5, 2.0]), np.array([0.14, 0.3, 0.5, 0.8])
        found = stream.disc_fraction(axial, radius, np.pi * radius**2, np.pi * 0.14**2)
        assert found * stream.propeller.radius == pytest.approx(np.full(4, 0.14), rel=1e-12)


def test_air_between_body_and_place_is_what_passed_the_disc():
    # at 75 m/s nothing contracts: ring areas are kept
    stream = slipstream(airspeed=75.0, thrust=1e-6, power=0.0)
    passed = stream.disc_fraction(1.0, np.array([0.7]), np.pi * 0.4**2, np.pi * 0.1**2)
    exact = np.sqrt(0.7**2 - 0.4**2 + 0.1**2)
    assert passed * stream.propeller.radius == pytest.approx([exact], rel=1e-6)


@pytest.mark.parametrize("thrust", [1812.0, -400.0])
def test_lower_bound_is_never_above_the_upper_one_in_size(thrust):
    stream = slipstream(thrust=thrust)
    random = np.random.default_rng(2)
    axial, distance = random.uniform(-1, 3, 500), random.uniform(0, 1.5, 500)
    sections = random.uniform(0.0, 2.0, 500)
    upper, lower = stream.rise_bounds(axial, distance, sections, 0.05)
    assert (np.abs(lower) <= np.abs(upper)).all()
    assert (np.sign(lower) * np.sign(upper) >= 0.0).all()
    assert (lower != upper).any()


def test_mixing_is_half_of_the_change_over_a_tenth_of_the_radius():
    stream = replace(slipstream(airspeed=0.0), swirling=False)
    axial, fraction = np.array([-0.1, 0.2, 0.2, 0.2, 0.2]), np.array([0.3, 0.1, 0.25, 0.6, 0.95])
    found = stream.rise_deviation(axial, fraction * stream.propeller.radius)
    assert MIXING == 0.1
    assert found[[0, 1, 3]] == pytest.approx(np.zeros(3), abs=1e-9)
    change = stream.rise(np.array([0.35, 1.05])) - stream.rise(np.array([0.25, 0.95]))
    assert found[[2, 4]] == pytest.approx(0.5 * np.abs(change))
    assert found[[2, 4]].min() > 10.0


def test_dynamic_pressure_of_the_swirl_is_in_the_deviation():
    stream = slipstream(airspeed=0.0)
    points = np.array([[0.0, 0.0, 0.6 * stream.propeller.radius]]) + stream.propeller.centre
    points = points + 0.3 * stream.propeller.aft
    axial, distance, _ = stream.propeller.cylinder_coordinates(points)
    speed = stream.swirl_strength * np.linalg.norm(swirl_velocity(stream.propeller, points))
    mixed = replace(stream, swirling=False).rise_deviation(axial, distance)
    expected = np.hypot(mixed, 0.5 * stream.density * speed**2)
    assert stream.rise_deviation(axial, distance) == pytest.approx(expected)
    assert expected[0] > 20.0


@pytest.mark.parametrize(
    ("airspeed", "factor", "line"),
    [
        (40.0, 1.0, "thrust 1812 N, mean rise of total pressure 712 Pa, slipstream 54 m/s far beh"),
        (40.0, 0.5, "thrust 1812 N, mean rise of total pressure 712 Pa, slipstream 54 m/s far beh"),
        (-5.0, 1.0, "slipstream 31 m/s far behind, swirl .* wind from behind: not predicted, sign"),
    ],
)
def test_line_for_the_report(airspeed, factor, line):
    stream = slipstream(UNIFORM, airspeed, factor=factor)
    assert re.search(line, stream.line())
    assert stream.mean_induced == pytest.approx(stream.induced(0.5))
    at_60 = places(stream.propeller, 1.0, [0.54])
    turning = np.linalg.norm(swirl_velocity(stream.propeller, at_60))
    assert f"swirl {stream.swirl_strength * turning:.1f} m/s at 60 % radius" in stream.line()
    assert "swirl" not in slipstream(UNIFORM, swirling=False).line()
