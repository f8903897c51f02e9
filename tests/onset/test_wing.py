"""The wing: elliptic bound vortex with its wake.

Source of the relations: L. Prandtl's lifting line, e.g. H. Glauert, The Elements of Aerofoil and
Airscrew Theory, 2nd ed., 1948, ch. X and XI (from memory).
"""

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from panelcp.errors import FlowError
from panelcp.onset.wing import CORE_SHARE, GRAVITY, Wing, wing_velocity
from tests.exact import divergence

SPAN, AREA, MASS = 10.0, 12.5, 750.0
CENTRE = np.array([1.4, 0.0, -0.3])


def wing(**fields):
    return Wing(**{"span": SPAN, "area": AREA, "centre": CENTRE, "mass": MASS, **fields})


THIN = wing(core=1e-4)


def elliptic(y):
    """Circulation over the span, 1 m2/s in the middle."""
    return np.sqrt(np.maximum(1.0 - (2.0 * y / SPAN) ** 2, 0.0))


def velocity_by_quadrature(place):
    """Biot-Savart: bound vortex along y, and the wake sheet with vorticity -d Gamma/dy along x."""
    place = np.asarray(place, dtype=float) - CENTRE

    def bound(y):
        arm = place - [0.0, y, 0.0]
        return elliptic(y) * np.cross([0.0, 1.0, 0.0], arm) / (4.0 * np.pi * (arm @ arm) ** 1.5)

    def trailing(angle):
        # y = b/2 cos(angle), -d Gamma = cos(angle) d(angle); a half line from the wing aft
        arm = place - [0.0, 0.5 * SPAN * np.cos(angle), 0.0]
        away = arm[1] ** 2 + arm[2] ** 2
        reach = (1.0 + arm[0] / np.linalg.norm(arm)) / (4.0 * np.pi * away)
        return np.cos(angle) * reach * np.array([0.0, -arm[2], arm[1]])

    half = 0.5 * SPAN
    return np.array(
        [
            quad(lambda y, k=k: bound(y)[k], -half, half, limit=200)[0]
            + quad(lambda t, k=k: trailing(t)[k], 0.0, np.pi, limit=200)[0]
            for k in range(3)
        ]
    )


@pytest.mark.parametrize(
    "place",
    [(-1.4, 0.0, 0.0), (-2.5, 0.6, 0.5), (0.2, -0.4, 0.2), (1.0, 1.0, 0.9), (4.0, -2.0, -1.2)],
    ids=str,
)
def test_velocity_is_that_of_bound_vortex_and_wake_sheet(place):
    # 80 elements, closer at the tips: 1e-3 of the velocity
    exact = velocity_by_quadrature(place)
    found = wing_velocity(THIN, [place])[0]
    assert found == pytest.approx(exact, abs=1e-3 * np.linalg.norm(exact))


def test_trailing_vortices_are_the_whole_of_the_wake_sheet():
    # the wake as a sheet, each of its pieces by the law of Biot and Savart itself
    place = np.array([-0.6, 0.4, 0.8])
    arm = place - CENTRE

    def part(x, angle, component):
        out = arm - [x, 0.5 * SPAN * np.cos(angle), 0.0]
        piece = np.cross([1.0, 0.0, 0.0], out)[component]
        return np.cos(angle) * piece / (4.0 * np.pi * (out @ out) ** 1.5)

    def line(y):
        away = np.array([arm[0], arm[1] - y, arm[2]])
        return -elliptic(y) * arm[0] / (4.0 * np.pi * (away @ away) ** 1.5)

    limits = {"epsabs": 1e-7, "epsrel": 1e-6}
    across, down = (dblquad(part, 0, np.pi, 0, 400, args=(k,), **limits)[0] for k in (1, 2))
    down += quad(line, -0.5 * SPAN, 0.5 * SPAN)[0]
    assert velocity_by_quadrature(place)[1:] == pytest.approx([across, down], abs=2e-6)


@pytest.mark.parametrize(("behind", "times"), [(0.0, 1.0), (1e3, 2.0)], ids=["line", "far"])
def test_downwash_is_even_and_doubles_far_behind(behind, times):
    # w = CL V/(pi A) at the line, twice that in the wake, whatever the place along the span
    speed, density = 30.0, 1.1
    lift = wing().lift_coefficient(1.0, speed, density)
    gamma = wing().circulation(1.0, speed, density)
    # midway in angle between the trailing vortices of 80 elements: there their sum is the integral
    y = 0.5 * SPAN * np.cos(np.pi * (np.arange(80) + 0.5) / 80)
    y = y[np.abs(y) < 0.49 * SPAN]
    places = CENTRE + np.stack([np.full(len(y), behind), y, 0.0 * y], axis=1)
    down = -gamma * wing_velocity(THIN, places)[:, 2]
    exact = times * lift * speed / (np.pi * THIN.aspect_ratio)
    assert down == pytest.approx(np.full(len(y), exact), rel=1e-3)


def test_air_rises_ahead_of_the_wing_and_flows_faster_above_it():
    ahead, above, below, behind = wing_velocity(
        wing(), CENTRE + np.array([[-1.5, 0, 0], [0, 0, 0.8], [0, 0, -0.8], [2.0, 0, 0]])
    )
    assert ahead[2] > 0.0
    assert above[0] > 0.0
    assert below[0] == pytest.approx(-above[0])
    assert behind[2] < 0.0


def test_both_sides_are_mirror_images():
    random = np.random.default_rng(4)
    points = random.uniform(-3.0, 3.0, (40, 3))
    mirror = np.array([1.0, -1.0, 1.0])
    found, other = wing_velocity(wing(), points), wing_velocity(wing(), points * mirror)
    assert other == pytest.approx(found * mirror, abs=1e-14)


def test_lift_is_that_of_kutta_and_joukowski():
    # rho V times the integral of Gamma dy, which is pi b Gamma_0/4
    speed, density, load = 33.0, 1.05, 1.3
    gamma = wing().circulation(load, speed, density)
    lift = density * speed * gamma * quad(elliptic, -0.5 * SPAN, 0.5 * SPAN)[0]
    assert lift == pytest.approx(load * MASS * GRAVITY, rel=1e-8)
    coefficient = wing().lift_coefficient(load, speed, density)
    assert 0.5 * density * speed**2 * AREA * coefficient == pytest.approx(load * MASS * GRAVITY)
    assert wing().circulation(-0.5, speed, density) == pytest.approx(-0.5 / load * gamma)


def test_elements_carry_the_lift_of_the_ellipse():
    # velocity far below a straight line of elements: the dipole of all the circulation
    distance = 3e3
    found = wing_velocity(wing(), [CENTRE - [0.0, 0.0, distance]])[0]
    moment = quad(elliptic, -0.5 * SPAN, 0.5 * SPAN)[0]
    assert found[0] == pytest.approx(-moment / (4.0 * np.pi * distance**2), rel=1e-3)


def test_no_lift_needs_no_airspeed():
    assert wing().lift_coefficient(0.0, 0.0, 1.2) == 0.0
    assert wing().circulation(0.0, 0.0, 1.2) == 0.0


@pytest.mark.parametrize(
    ("load", "speed", "message"),
    [
        (1.0, 20.0, "lift coefficient 2.45, beyond stall .at most 1.6."),
        (-1.0, 20.0, "lift coefficient -2.45, beyond stall"),
        (1.0, 0.0, "lift coefficient without limit, beyond stall"),
        (np.nan, 30.0, "lift coefficient nan"),
    ],
)
def test_more_lift_than_the_wing_can_give_is_refused(load, speed, message):
    with pytest.raises(FlowError, match=message):
        wing().circulation(load, speed, 1.2)


def test_stall_is_where_the_user_says():
    stall = np.sqrt(2.0 * MASS * GRAVITY / (1.2 * AREA * 2.0))
    high = wing(max_lift_coefficient=2.0)
    assert high.lift_coefficient(1.0, 1.0001 * stall, 1.2) == pytest.approx(2.0, rel=1e-3)
    with pytest.raises(FlowError, match="beyond stall"):
        high.lift_coefficient(1.0, 0.9999 * stall, 1.2)


def test_smoothed_over_a_quarter_of_the_mean_chord():
    assert wing().core == pytest.approx(CORE_SHARE * AREA / SPAN)
    assert wing().aspect_ratio == pytest.approx(8.0)
    # finite on the vortex itself, and the same away from it
    assert np.abs(wing_velocity(wing(), CENTRE + np.outer([0.0, 5.0], [0, 1, 0]))).max() < 1.0
    # h/(2 pi (h^2 + core^2)) just above a long smoothed line; the span is 32 cores
    near = np.array([0.02, 0.1, 0.2])
    above = wing_velocity(wing(), CENTRE + np.outer(near, [0.0, 0.0, 1.0]))[:, 0]
    exact = near / (2.0 * np.pi * (near**2 + wing().core ** 2))
    assert above == pytest.approx(exact, rel=0.01)
    away = [[-3.0, 0.5, 1.0]]
    assert wing_velocity(wing(), away) == pytest.approx(wing_velocity(THIN, away), rel=0.02)


def test_no_divergence():
    random = np.random.default_rng(8)
    points = CENTRE + random.uniform(-2.0, 2.0, (100, 3))
    assert np.abs(divergence(lambda p: wing_velocity(wing(), p), points)).max() < 1e-6


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"span": 0.0}, "wing: span is 0.0; expected more than 0"),
        ({"area": -1.0}, "wing: area is -1.0"),
        ({"mass": np.nan}, "wing: mass is nan"),
        ({"max_lift_coefficient": np.inf}, "wing: max_lift_coefficient is inf"),
        ({"centre": [0.0, 1.0]}, "place of the wing is not a point of three lengths"),
        ({"centre": [0.0, 1.0, np.nan]}, "place of the wing"),
    ],
)
def test_mistakes_are_named(fields, message):
    with pytest.raises(FlowError, match=message):
        wing(**fields)
