"""Velocity from unit source density on one triangle: exact values and laws."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from panelcp.panels.influence import induced_velocity, triangle_velocity
from tests import bodies
from tests.exact import SPHERE

FOUR_PI = 4.0 * np.pi
TRIANGLE = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.3, 0.8, 0.0]])
AREA = 0.4
CENTROID = TRIANGLE.mean(axis=0)

# Integral of (X - X')/|X - X'|^3 over TRIANGLE: reduced to its edges and integrated there with
# 25 digits, compared with two-dimensional quadrature. On the panel: principal value.
EXACT = [
    (CENTROID, (0.152396802898, -0.00818297952136, 0.0)),
    (CENTROID - [0, 0, -0.1], (0.126029754951, -0.00802875795435, 4.47699807393)),
    (CENTROID - [0, 0, 0.5], (0.0119489082232, -0.00159361080842, -1.12194557334)),
    ((0.2, 0.1, 0.3), (-0.639074774173, -0.547162556373, 1.57680437265)),
    ((1.5, 0.5, 0.0), (0.337698169556, 0.0911484948166, 0.0)),
    ((1.2, -0.4, 0.25), (0.285443657025, -0.26649858065, 0.115121080045)),
    ((0.0, 0.0, 1.0), (-0.10641696991, -0.067903377661, 0.270012063918)),
    ((5.0, 3.0, 2.0), (0.00993317588563, 0.00595594430081, 0.00436551012143)),
]
POINTS = np.array([[0.2, 0.1, 0.3], [1.2, -0.4, 0.25], [0.5, 0.3, -0.4], [-0.6, 0.9, 0.2]])


def turned(draw):
    """A turn in space that no axis shares."""
    matrix = np.linalg.qr(np.random.default_rng(draw).normal(size=(3, 3)))[0]
    return matrix * np.sign(np.linalg.det(matrix))


def potential(point):
    """-1/(4 pi) integral of 1/R, by quadrature over the unit square folded onto the triangle."""
    a, b, c = TRIANGLE

    def integrand(v, u):
        place = a + u * (1.0 - v) * (b - a) + u * v * (c - a)
        return 2.0 * AREA * u / np.linalg.norm(point - place)

    return -dblquad(integrand, 0.0, 1.0, 0.0, 1.0, epsabs=1e-11, epsrel=1e-11)[0] / FOUR_PI


@pytest.mark.parametrize(("point", "expected"), EXACT)
def test_velocity_is_the_exact_integral(point, expected):
    found = FOUR_PI * triangle_velocity([point], TRIANGLE)[0]
    assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("turn", [1, 2])
def test_velocity_turns_with_the_panel(turn):
    rotation, shift = turned(turn), np.array([3.0, -2.0, 0.5])
    points = np.array([point for point, _ in EXACT])
    found = triangle_velocity(points @ rotation.T + shift, TRIANGLE @ rotation.T + shift)
    expected = np.array([value for _, value in EXACT]) @ rotation.T
    assert FOUR_PI * found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("point", POINTS)
def test_velocity_is_the_gradient_of_the_potential(point):
    step = 1e-3
    slope = [
        (potential(point + step * axis) - potential(point - step * axis)) / (2.0 * step)
        for axis in np.eye(3)
    ]
    # truncation of the central difference: step^2 / 6 times a third derivative of some 10 here
    assert triangle_velocity([point], TRIANGLE)[0] == pytest.approx(slope, abs=1e-5)


def test_normal_part_jumps_by_the_density_across_the_panel():
    normal = np.array([0.0, 0.0, 1e-7])
    above, on, below = triangle_velocity([CENTROID + normal, CENTROID, CENTROID - normal], TRIANGLE)
    assert above[2] == pytest.approx(0.5, abs=1e-6)
    assert below[2] == pytest.approx(-0.5, abs=1e-6)
    assert on[2] == 0.0
    assert above[:2] == pytest.approx(on[:2], abs=1e-6)
    assert below[:2] == pytest.approx(on[:2], abs=1e-6)


def test_square_seen_from_its_axis_has_the_known_solid_angle():
    # centre of a unit square at height 1: 4 arcsin(ab / sqrt((a^2 + 1)(b^2 + 1))), a = b = 1/2
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    point = [[0.5, 0.5, 1.0]]
    found = sum(triangle_velocity(point, corners[list(k)])[0] for k in ((0, 1, 2), (0, 2, 3)))
    angle = 4.0 * np.arcsin(0.25 / 1.25)
    assert FOUR_PI * found == pytest.approx([0.0, 0.0, angle], abs=1e-12)


def test_a_source_has_no_orientation():
    forward = triangle_velocity(POINTS, TRIANGLE)
    assert triangle_velocity(POINTS, TRIANGLE[[0, 2, 1]]) == pytest.approx(forward, abs=1e-14)
    assert triangle_velocity(POINTS, TRIANGLE[[1, 2, 0]]) == pytest.approx(forward, abs=1e-14)


def test_mirror_image_across_the_plane_of_the_panel():
    above = triangle_velocity(POINTS, TRIANGLE)
    below = triangle_velocity(POINTS * [1, 1, -1], TRIANGLE)
    assert below == pytest.approx(above * [1, 1, -1], abs=1e-14)


def test_far_panel_becomes_a_point_source_with_the_distance_squared():
    direction = np.array([0.6, 0.48, 0.64])
    errors = []
    for distance in (4.0, 8.0, 16.0, 32.0):
        point = CENTROID + distance * direction
        expected = AREA * direction / (FOUR_PI * distance**2)
        error = triangle_velocity([point], TRIANGLE)[0] - expected
        errors.append(np.linalg.norm(error) / np.linalg.norm(expected))
    order = np.diff(np.log2(errors))
    assert order == pytest.approx([-2.0] * 3, abs=0.12)
    assert errors[0] < 0.02


@pytest.mark.parametrize("draw", range(3))
def test_points_in_the_plane_of_a_panel_see_no_normal_part(draw):
    # coplanar neighbours, as on every flat face: rounding must not decide between both sides
    rotation = turned(draw)
    shift = np.array([2.0, 0.3, -1.0])
    flat = np.array([[0.65, 0.5, 0.0], [0.5, -0.3, 0.0], [1.3, 0.4, 0.0], [-2.0, 1.0, 0.0]])
    found = triangle_velocity(flat @ rotation.T + shift, TRIANGLE @ rotation.T + shift)
    assert found @ rotation[:, 2] == pytest.approx(np.zeros(4), abs=1e-15)
    assert np.linalg.norm(found, axis=1).min() > 1e-3


def test_needle_panels_give_the_exact_flux():
    needle = np.array([[0.0, 0, 0], [1.0, 0, 0], [0.5, 1e-5, 0]])
    point = np.array([0.5, 0.0, 30.0])
    expected = 0.5e-5 / (FOUR_PI * 30.0**2)
    assert triangle_velocity([point], needle)[0, 2] == pytest.approx(expected, rel=1e-3)


def test_uniform_density_on_a_sphere_is_a_point_source_outside_and_nothing_inside():
    # Newton's shell; the patches of 1280 panels miss 3e-5 of its area
    sphere = bodies.ellipsoid(SPHERE, 3)
    strength = np.ones((1, sphere.n_panels))
    direction = np.array([0.6, 0.48, 0.64])
    outside = induced_velocity(sphere, strength, [2.0 * direction, 5.0 * direction])[0]
    assert outside[0] == pytest.approx(direction / 4.0, rel=3e-4)
    assert outside[1] == pytest.approx(direction / 25.0, rel=3e-4)
    inside = induced_velocity(sphere, strength, [0.5 * direction, [0.0, 0.0, 0.0]])[0]
    assert inside == pytest.approx(np.zeros((2, 3)), abs=1e-3)


def test_mirrored_surface_induces_what_the_whole_does():
    half = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 2)
    strength = np.random.default_rng(2).normal(size=(2, half.n_panels))
    points = [[0.0, 3.0, 0.0], [1.0, -2.5, 0.4]]
    whole = half.unmirrored()
    found = induced_velocity(half, strength, points)
    assert found == pytest.approx(induced_velocity(whole, strength, points), abs=1e-12)
    on_skin = induced_velocity(half, strength)
    assert on_skin.shape == (2, half.n_panels, 3)
    assert on_skin == pytest.approx(induced_velocity(whole, strength), abs=1e-10)
