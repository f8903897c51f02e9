"""The exact flows themselves: limits, sums and integrals found another way."""

import numpy as np
import pytest
from scipy.integrate import quad

from tests.exact import (
    SPHERE,
    RankineOvoid,
    alphas,
    ellipsoid_cp,
    interior_velocity,
    onto_ellipsoid,
    stream,
)


@pytest.mark.parametrize("axes", [SPHERE, (2.0, 1.0, 1.0), (0.5, 1.0, 1.0), (3.0, 2.0, 1.0)])
def test_alphas_are_their_defining_integrals_and_add_up_to_two(axes):
    def integrand(t, semi_axis):
        outer = t / (1.0 - t)
        root = np.sqrt(np.prod(np.square(axes) + outer))
        return np.prod(axes) / ((semi_axis**2 + outer) * root * (1.0 - t) ** 2)

    found = [quad(integrand, 0.0, 1.0, args=(a,), epsabs=1e-12)[0] for a in axes]
    assert alphas(axes) == pytest.approx(found, abs=1e-9)
    assert alphas(axes).sum() == pytest.approx(2.0, abs=1e-13)


# H. Lamb, The Inertia-Coefficients of an Ellipsoid Moving in Fluid, ARC R&M 623, 1918, table on
# p. 128: length over diameter and k1, given there to three decimals.
@pytest.mark.parametrize(
    ("ratio", "k1"), [(1.5, 0.305), (2.0, 0.209), (2.99, 0.122), (3.99, 0.082), (6.01, 0.045)]
)
def test_added_mass_of_spheroids_is_lambs(ratio, k1):
    assert interior_velocity((ratio, 1.0, 1.0), [1.0, 0.0, 0.0])[0] - 1.0 == pytest.approx(
        k1, abs=1.5e-3
    )


def test_sphere_has_the_textbook_pressure():
    angle = np.radians([0.0, 30.0, 60.0, 90.0, 180.0])
    points = np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
    expected = 1.0 - 2.25 * np.sin(angle) ** 2
    assert ellipsoid_cp(SPHERE, stream(0.0, 0.0), points) == pytest.approx(expected, abs=1e-14)


def test_foot_points_lie_on_the_ellipsoid():
    axes = (3.0, 2.0, 1.0)
    points = np.random.default_rng(1).normal(size=(50, 3))
    points *= 0.98 / np.sqrt((np.square(points) / np.square(axes)).sum(axis=1, keepdims=True))
    feet = onto_ellipsoid(axes, points)
    assert (np.square(feet) / np.square(axes)).sum(axis=1) == pytest.approx(np.ones(50), abs=1e-9)
    assert np.linalg.norm(feet - points, axis=1).max() < 0.061


@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_ovoid_stops_the_flow_at_its_ends_and_nowhere_crosses_it(strength):
    ovoid = RankineOvoid(strength)
    assert ovoid.velocity(ovoid.half_length, 0.0)[0] == pytest.approx(0.0, abs=1e-12)
    assert ovoid.radius(0.0) == pytest.approx(ovoid.max_radius, abs=1e-12)
    x, step = 0.6 * ovoid.half_length, 1e-5
    slope = (ovoid.radius(x + step) - ovoid.radius(x - step)) / (2.0 * step)
    axial, radial = ovoid.velocity(x, ovoid.radius(x))
    assert radial / axial == pytest.approx(slope, abs=1e-8)


def test_foot_points_lie_on_the_ovoid():
    ovoid = RankineOvoid(0.25)
    inside = [(x, 0.98 * ovoid.radius(x)) for x in (-1.2, -0.9, 0.0, 0.3, 1.1)]
    stations, radii = np.array(inside).T
    feet, radius = ovoid.onto_surface(stations, radii)
    assert radius == pytest.approx([ovoid.radius(x) for x in feet], abs=1e-9)
    assert np.hypot(feet - stations, radius - radii).max() < 0.0101
