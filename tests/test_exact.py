"""The exact flows themselves: limits, sums and integrals found another way."""

import numpy as np
import pytest
from scipy.integrate import quad

from tests.exact import (
    SPHERE,
    RankineOvoid,
    abreast_amplitudes,
    alphas,
    ellipsoid_cp,
    ellipsoid_exterior,
    ellipsoid_velocity,
    interior_velocity,
    onto_ellipsoid,
    ring_velocity,
    sphere_beside_source,
    sphere_in_ring,
    sphere_with_cap,
    sphere_with_flow,
    stream,
    tandem_velocity,
)


def cosines(*degrees):
    return np.cos(np.radians(degrees))


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


def test_flow_outside_an_ellipsoid_fits_its_skin_and_is_the_dipole_of_a_sphere():
    axes, freestream = (3.0, 2.0, 1.0), stream(8.0, 5.0)
    skin = onto_ellipsoid(axes, np.array([[2.5, 0.9, 0.3], [-1.0, 1.5, 0.6], [0.3, -0.2, -1.0]]))
    found = ellipsoid_exterior(axes, freestream, skin)
    assert found == pytest.approx(ellipsoid_velocity(axes, freestream, skin), abs=1e-9)
    point = 1.5 * np.array([[0.6, 0.48, 0.64]])
    along = (point @ freestream)[:, None] * point / 1.5**2
    expected = freestream + 0.5 / 1.5**3 * (freestream - 3.0 * along)
    assert ellipsoid_exterior(SPHERE, freestream, point) == pytest.approx(expected, abs=1e-12)


def test_flow_outside_an_ellipsoid_has_neither_source_nor_curl():
    axes, freestream, step = (3.0, 2.0, 1.0), stream(8.0, 5.0), 1e-4
    for point in ([3.3, 0.4, 0.3], [0.5, 2.1, 0.4], [-1.0, 0.2, 1.2]):
        ends = np.array(point) + step * np.concatenate([np.eye(3), -np.eye(3)])
        field = ellipsoid_exterior(axes, freestream, ends)
        gradient = (field[:3] - field[3:]) / (2.0 * step)
        assert np.trace(gradient) == pytest.approx(0.0, abs=1e-6)
        assert gradient == pytest.approx(gradient.T, abs=1e-6)


# Values with six decimals: a multipole series of 120 terms and the sums of images of Hicks, which
# agree to 1e-15; derived, no published table.
@pytest.mark.parametrize(
    ("distance", "cp"),
    [
        (2.2, (0.979756, 0.387089, -0.271303, -1.066322, -0.624181, -0.092570, 0.742611)),
        (2.5, (0.914660, 0.237118, -0.376103, -1.098669, -0.632551, -0.096439, 0.741988)),
    ],
)
def test_spheres_in_tandem(distance, cp):
    found = 1.0 - tandem_velocity(distance, cosines(20, 45, 60, 90, 120, 135, 160)) ** 2
    assert found == pytest.approx(cp, abs=1e-6)


# The same series; no normal velocity is left on either sphere, by finite differences.
@pytest.mark.parametrize(
    ("distance", "cp_ahead", "cp_aside"),
    [
        (
            2.5,
            (-1.354211, -0.020029, 0.531871, 0.997911, 0.395724, -1.035202),
            (-1.981285, -1.625930, -1.495683, -1.368881, -1.321435, -1.300277),
        ),
        (
            3.0,
            (-1.169783, -0.105776, 0.473545, 0.999427, 0.412373, -1.018785),
            (-1.540609, -1.432037, -1.381015, -1.321745, -1.295927, -1.283477),
        ),
    ],
)
def test_spheres_abreast(distance, cp_ahead, cp_aside):
    ahead, aside = abreast_amplitudes(distance, cosines(20, 45, 60, 90, 120, 160))
    assert 1.0 - ahead**2 == pytest.approx(cp_ahead, abs=1e-6)
    assert 1.0 - aside**2 == pytest.approx(cp_aside, abs=1e-6)


# The image of Weiss: a source at the inverse point and a line of sinks from there to the centre.
def test_sphere_beside_a_source_is_that_of_the_images():
    distance = 2.0

    def across(angle):
        point = np.array([np.sin(angle), np.cos(angle)])
        tangent = np.array([np.cos(angle), -np.sin(angle)])

        def from_source(place):
            arm = point - [0.0, place]
            return arm @ tangent / np.linalg.norm(arm) ** 3

        line = quad(from_source, 0.0, 1.0 / distance, epsabs=1e-12)[0]
        return from_source(distance) + from_source(1.0 / distance) / distance - line

    angles = np.radians([30.0, 60.0, 90.0, 120.0, 150.0])
    found = sphere_beside_source(distance, np.cos(angles))
    assert found == pytest.approx([across(angle) for angle in angles], abs=1e-9)
    assert found == pytest.approx((0.880722, 0.511966, 0.252198, 0.123433, 0.051461), abs=1e-6)


def test_ring_vortex_is_the_law_of_biot_and_savart():
    radius, place, point = 2.0, 0.5, np.array([0.3, 0.4, 0.2])

    def element(angle, axis):
        out = np.array([np.cos(angle), np.sin(angle), 0.0])
        arm = point - radius * out - [0.0, 0.0, place]
        along = radius * np.array([-out[1], out[0], 0.0])
        return np.cross(along, arm)[axis] / (4.0 * np.pi * np.linalg.norm(arm) ** 3)

    expected = [quad(element, 0.0, 2.0 * np.pi, args=(k,))[0] for k in range(3)]
    assert ring_velocity(radius, place, [point])[0] == pytest.approx(expected, abs=1e-10)
    centre = ring_velocity(radius, place, [[0.0, 0.0, place]])[0]
    assert centre == pytest.approx([0.0, 0.0, 1.0 / (2.0 * radius)], abs=1e-14)


# The expansion of the bare ring was held against the law of Biot and Savart to 1e-16; derived.
def test_sphere_in_a_ring_vortex():
    found = sphere_in_ring(2.0, 0.0, cosines(30, 60, 90, 120, 150))
    expected = (-0.097360, -0.283059, -0.483844, -0.283059, -0.097360)
    assert found == pytest.approx(expected, abs=1e-6)
    found = sphere_in_ring(1.5, -2.0, cosines(30, 60, 90, 120, 150))
    expected = (-0.012047, -0.032253, -0.076826, -0.164963, -0.191360)
    assert found == pytest.approx(expected, abs=1e-6)


def test_sphere_with_air_through_a_cap_is_the_sum_of_its_harmonics():
    # far from the rim, with the terms of the series rolled off smoothly; derived
    half_angle, n_terms = np.radians(30.0), 2000
    edge = np.append(1.0, np.polynomial.legendre.legvander([np.cos(half_angle)], n_terms)[0])
    harmonics = 0.5 * (edge[:-2] - edge[2:])
    rolled = 0.5 * (1.0 + np.cos(np.pi * np.arange(len(harmonics)) / len(harmonics)))
    angles = np.radians([5.0, 10.0, 60.0, 90.0, 150.0])
    found = sphere_with_cap(half_angle, angles)
    outflow, expected = sphere_with_flow(harmonics * rolled, np.cos(angles))
    assert found == pytest.approx(expected, abs=1e-5)
    assert outflow == pytest.approx([1.0, 1.0, 0.0, 0.0, 0.0], abs=1e-3)
    listed = (-0.019011, -0.039752, -0.027499, -0.009116, -0.001498)
    assert -0.3 * found == pytest.approx(listed, abs=1e-6)
