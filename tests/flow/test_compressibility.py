"""Compressibility: exact formulas, and Goethert's rule on spheroids."""

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.flow.compressibility import goethert_cp, goethert_velocity, isentropic_cp
from panelcp.flow.solutions import solve
from panelcp.onset.conditions import FlightCondition
from panelcp.surface.curved import curved_panels
from tests import bodies
from tests.exact import alphas

AXIAL = FlightCondition("axial", true_airspeed=50.0)
INCLINED = FlightCondition("inclined", true_airspeed=50.0, alpha=6.0, beta=4.0)


@pytest.mark.parametrize(
    ("ratio", "mach", "cp"),
    [
        # exact isentropic relation, gamma 1.4 (derived): stagnation 1 + M^2/4 + M^4/40 + ...
        (0.0, 0.05, 1.000625),
        (0.0, 0.1, 1.002503),
        (0.0, 0.2, 1.010040),
        (0.0, 0.4, 1.040643),
        (1.2, 0.1, -0.439516),
        (1.2, 0.3, -0.435661),
        (1.5, 0.1, -1.246099),
        (1.5, 0.2, -1.234453),
        (1.5, 0.5, -1.155372),
        (1.0, 0.3, 0.0),
    ],
)
def test_isentropic_pressure(ratio, mach, cp):
    assert isentropic_cp(ratio, mach) == pytest.approx(cp, abs=1e-6)


def test_isentropic_pressure_without_speed_of_sound_is_bernoulli():
    ratio = np.linspace(0.0, 2.0, 9)
    assert isentropic_cp(ratio, 0.0) == pytest.approx(1.0 - ratio**2)
    assert isentropic_cp(ratio, 1e-3) == pytest.approx(1.0 - ratio**2, abs=1e-5)


def k1(slenderness):
    alpha = alphas((slenderness, 1.0, 1.0))[0]
    return alpha / (2.0 - alpha)


@pytest.mark.parametrize("mach", [0.2, 0.3, 0.4])
def test_speed_at_the_middle_of_a_spheroid(mach):
    # linear theory: u / U = k1(f / beta) / beta^2 at the middle, k1 the inertia coefficient of the
    # stretched spheroid. Source: B. Goethert, NACA TM 1105, 1946 (from memory) with H. Lamb, ARC
    # R&M 623, 1918
    surface = bodies.ellipsoid((4.0, 1.0, 1.0), 4)
    velocity = goethert_velocity(surface, AXIAL, mach)
    points = curved_panels(surface).points
    middle = np.abs(points[:, 0]) < 0.1
    beta2 = 1.0 - mach**2
    expected = k1(4.0 / np.sqrt(beta2)) / beta2
    assert velocity[middle, 0] / 50.0 - 1.0 == pytest.approx(
        np.full(middle.sum(), expected), abs=0.001
    )


def test_ratio_lies_below_that_of_plane_flow():
    # 4:1 at M 0.3: 1.0274; 1 / beta = 1.0483 and Karman-Tsien's rule belong to plane flow and
    # over-correct a body
    surface = bodies.ellipsoid((4.0, 1.0, 1.0), 4)
    middle = np.abs(curved_panels(surface).points[:, 0]) < 0.1
    slow, fast = (
        goethert_velocity(surface, AXIAL, mach)[middle, 0].mean() / 50.0 - 1.0
        for mach in (0.0, 0.3)
    )
    assert fast / slow == pytest.approx(1.02738, abs=0.002)
    assert 1.0 < fast / slow < 1.04828


def test_no_mach_number_is_the_usual_solution():
    surface = bodies.ellipsoid((3.0, 2.0, 1.0), 3)
    usual = solve(surface, [INCLINED])
    assert goethert_velocity(surface, INCLINED, 0.0) == pytest.approx(usual.velocity[0], abs=1e-3)
    assert goethert_cp(surface, INCLINED, 0.0) == pytest.approx(usual.cp[0], abs=1e-4)


def test_effect_grows_with_the_square_of_the_mach_number():
    surface = bodies.ellipsoid((3.0, 2.0, 1.0), 3)
    still = goethert_cp(surface, INCLINED, 0.0)
    small, large = (
        np.sqrt(np.mean((goethert_cp(surface, INCLINED, mach) - still) ** 2)) for mach in (0.1, 0.2)
    )
    assert large / small == pytest.approx(4.0, rel=0.05)
    assert small < 0.01


def test_what_has_no_mach_number_or_too_large_a_one():
    surface = bodies.ellipsoid((3.0, 2.0, 1.0), 1)
    with pytest.raises(FlowError, match="without a stream"):
        goethert_velocity(surface, FlightCondition("still", true_airspeed=0.0))
    with pytest.raises(FlowError, match=r"expected 0 to 0\.4"):
        goethert_velocity(surface, AXIAL, 0.5)
