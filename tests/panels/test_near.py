"""Curved panels with linear density, near field: rules, self part and the sums they give."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from panelcp.panels import near_kernels as kernels
from panelcp.panels.influence import (
    DIVISIONS,
    FINE_DIVISIONS,
    InducedVelocity,
    _rules,
    induced_velocity,
    triangle_velocity,
)
from panelcp.surface.curved import area_vectors, curved_panels, evaluate
from tests import bodies
from tests.exact import SPHERE, ellipsoid_source, interior_velocity, stream

FLAT = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.3, 0.8, 0.0]])


def rms(values):
    return np.sqrt(np.mean(np.square(values)))


def flat_patch(corners):
    """Coefficients of a flat triangle."""
    zero = np.zeros(3)
    a, b, c = np.asarray(corners, dtype=float)
    return np.array([a, b - a, c - a, zero, zero, zero])


def bent_patch():
    """Patch with edges of some 1 m, lifted and stretched unevenly."""
    patch = flat_patch(FLAT @ [[0.8, 0.36, 0.48], [-0.6, 0.48, 0.64], [0.0, -0.8, 0.6]])
    patch[3:] = [[0.02, -0.09, 0.05], [0.03, 0.04, -0.06], [-0.02, 0.05, 0.10]]
    return patch


def middle_of(patch):
    return evaluate(patch[None], 1 / 3, 1 / 3)[0]


def normal_of(patch, xi=1 / 3, eta=1 / 3):
    normal = area_vectors(patch[None], xi, eta)[0]
    return normal / np.linalg.norm(normal)


def by_division(point, patch, levels):
    """u and w of one patch by the rule of the near field."""
    u, w = np.zeros(3), np.zeros((3, 3))
    space = (np.empty((4 * levels + 8, 4)), np.empty((3, 3)), np.empty(3), np.empty(3))
    middle = middle_of(patch)
    kernels.divided(np.asarray(point, float), np.array(patch), middle, levels, u, w, *space)
    return u, w


def by_many_points(point, patch, steps=400):
    """u and w by the middles of steps^2 equal parts of the parameter triangle."""
    i, j = np.meshgrid(np.arange(steps), np.arange(steps), indexing="ij")
    up, down = i + j < steps, i + j < steps - 1
    xi = np.concatenate([i[up] + 1 / 3, i[down] + 2 / 3]) / steps
    eta = np.concatenate([j[up] + 1 / 3, j[down] + 2 / 3]) / steps
    powers = np.stack([np.ones_like(xi), xi, eta, xi * xi, xi * eta, eta * eta], axis=1)
    places = powers @ patch
    _, a, b, c, d, e = patch
    along = a + 2 * xi[:, None] * c + eta[:, None] * d
    across = b + xi[:, None] * d + 2 * eta[:, None] * e
    area = np.linalg.norm(np.cross(along, across), axis=1) / (2 * steps**2)
    arm = point - places
    velocity = area[:, None] * arm / (4 * np.pi * np.linalg.norm(arm, axis=1)[:, None] ** 3)
    return velocity.sum(axis=0), (places - middle_of(patch)).T @ velocity


@cache
def integral_beside(distance, place):
    """A point beside the bent patch, and u and w there; the same for every number of divisions."""
    patch = bent_patch()
    point = evaluate(patch[None], *place)[0] + distance * normal_of(patch, *place)
    return point, *by_many_points(point, patch)


@pytest.mark.parametrize("levels", [DIVISIONS, FINE_DIVISIONS])
@pytest.mark.parametrize("distance", [0.1, 0.2, 0.5, 1.0, 2.0, -0.15])
@pytest.mark.parametrize("place", [(1 / 3, 1 / 3), (0.05, 0.5), (0.0, 0.0), (0.6, -0.1)])
def test_divided_panel_is_the_integral(levels, distance, place):
    point, exact_u, exact_w = integral_beside(distance, place)
    u, w = by_division(point, bent_patch(), levels)
    # of unit density; w has the size of the panel, 1 m here
    assert u == pytest.approx(exact_u, abs=1e-3)
    assert w == pytest.approx(exact_w, abs=1e-3)


@pytest.mark.parametrize("distance", [0.01, 0.002, -0.01])
def test_divided_panel_close_to_the_skin(distance):
    # closer than the parts that remain after four divisions; after eight they are 4 mm wide
    patch = bent_patch()
    for place in ((1 / 3, 1 / 3), (0.2, 0.15), (0.3, 0.6)):
        point = evaluate(patch[None], *place)[0] + distance * normal_of(patch, *place)
        u, w = by_division(point, patch, FINE_DIVISIONS)
        exact_u, exact_w = by_division(point, patch, FINE_DIVISIONS + 3)
        assert u == pytest.approx(exact_u, abs=1e-3)
        assert w == pytest.approx(exact_w, abs=1e-3)
        if abs(distance) >= 0.01:
            brute_u, brute_w = by_many_points(point, patch, steps=800)
            assert u == pytest.approx(brute_u, abs=2e-3)
            assert w == pytest.approx(brute_w, abs=2e-3)


def test_velocity_jumps_by_the_density_across_a_curved_panel():
    patch = bent_patch()
    middle, normal = middle_of(patch), normal_of(patch)
    above, _ = by_division(middle + 1e-5 * normal, patch, FINE_DIVISIONS)
    below, _ = by_division(middle - 1e-5 * normal, patch, FINE_DIVISIONS)
    assert above - below == pytest.approx(normal, abs=1e-3)
    own, _ = own_part(patch)
    assert 0.5 * (above + below) == pytest.approx(own, abs=1e-3)


def own_part(patch):
    """u and w of one patch at its own control point, principal value."""
    u, w = np.zeros(3), np.zeros((3, 3))
    kernels.own_part(patch, normal_of(patch), *_rules(), u, w)
    return u, w


def test_own_part_of_a_flat_panel_is_the_closed_form():
    for corners in (FLAT, FLAT @ np.diag([1.0, 0.2, 1.0]), FLAT[:, [1, 2, 0]] + 3.0):
        u, _ = own_part(flat_patch(corners))
        exact = triangle_velocity([corners.mean(axis=0)], corners)[0]
        assert u == pytest.approx(exact, abs=1e-13)


def test_own_part_of_linear_density_on_a_flat_panel():
    # w is the integral of y' y'/|y'|^3, which goes like 1/r: no principal value needed. In polar
    # form: integral over the angle of the distance to the edge times the directions
    _, w = own_part(flat_patch(FLAT))
    middle = FLAT.mean(axis=0)
    angle = (np.arange(200000) + 0.5) * 2 * np.pi / 200000
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    reach = np.full(len(angle), np.inf)
    for k in range(3):
        a, b = FLAT[k, :2] - middle[:2], FLAT[(k + 1) % 3, :2] - middle[:2]
        out = np.array([b[1] - a[1], a[0] - b[0]])
        facing = way @ out
        reach = np.where(
            facing > 0, np.minimum(reach, (a @ out) / np.where(facing > 0, facing, 1)), reach
        )
    exact = -np.einsum("n,ni,nj->ij", reach, way, way) / len(angle) / 2.0
    assert w[:2, :2] == pytest.approx(exact, abs=2e-5)
    assert w[2] == pytest.approx(np.zeros(3), abs=1e-15)
    assert w[:, 2] == pytest.approx(np.zeros(3), abs=1e-15)


def test_own_part_is_the_limit_of_the_velocity_off_the_panel():
    # mean of both sides; the linear moment has no jump at the control point
    patch = bent_patch()
    u, w = own_part(patch)
    middle, normal = middle_of(patch), normal_of(patch)
    sides = [by_division(middle + s * 1e-4 * normal, patch, FINE_DIVISIONS + 4) for s in (1, -1)]
    assert u == pytest.approx(0.5 * (sides[0][0] + sides[1][0]), abs=1e-3)
    assert w == pytest.approx(0.5 * (sides[0][1] + sides[1][1]), abs=1e-3)


def add_three_points(point, patch, xi, eta, size, share, u, w):
    points, weights = np.empty((3, 3)), np.empty(3)
    kernels.rule_points(patch, float(xi), float(eta), size, share, points, weights)
    kernels.add_points(point, points, weights, middle_of(patch), u, w)


@pytest.mark.parametrize("direction", [(0.6, 0.48, 0.64), (-0.8, 0.6, 0.0), (0.0, 0.28, -0.96)])
def test_three_points_serve_from_three_panel_sizes_on(direction):
    patch = bent_patch()
    size = np.sqrt(np.linalg.norm(area_vectors(patch[None], 1 / 3, 1 / 3)[0]) / 2.0)
    errors = []
    for distance in (3.0, 6.0):
        point = middle_of(patch) + distance * size * np.array(direction)
        u, w = np.zeros(3), np.zeros((3, 3))
        add_three_points(point, patch, 0.0, 0.0, 1.0, 1.0, u, w)
        exact_u, exact_w = by_many_points(point, patch, steps=300)
        assert u == pytest.approx(exact_u, rel=0.01, abs=0.005 * np.linalg.norm(exact_u))
        errors.append(np.abs(u - exact_u).max() / np.linalg.norm(exact_u))
        assert w == pytest.approx(exact_w, abs=0.02 * np.abs(exact_w).max() + 2e-5)
    # two orders of the expansion in (size/distance) are kept
    assert errors[1] < 0.3 * errors[0]


def test_three_points_add_up_over_the_quarters():
    # four quarters, the middle one turned over, together give the area and the moment exactly
    patch, far = bent_patch(), np.array([0.0, 0.0, 1e5])
    u, w = np.zeros(3), np.zeros((3, 3))
    for xi, eta, size in ((0, 0, 0.5), (0.5, 0, 0.5), (0, 0.5, 0.5), (0.5, 0.5, -0.5)):
        add_three_points(far, patch, xi, eta, size, 0.25, u, w)
    area = curved_area(patch)
    assert 4 * np.pi * 1e10 * u[2] == pytest.approx(area, rel=1e-3)


def curved_area(patch, steps=300):
    u, _ = by_many_points(np.array([0.0, 0.0, 1e6]), patch, steps)
    return 4 * np.pi * 1e12 * u[2]


@pytest.mark.parametrize(("level", "limit"), [(2, 5e-3), (3, 6e-4), (4, 6e-4)])
def test_uniform_density_on_a_sphere_blows_along_the_normals_with_unit_speed(level, limit):
    # Newton's shell from its outer side: V = n
    sphere = bodies.ellipsoid(SPHERE, level)
    panels = curved_panels(sphere)
    found = induced_velocity(sphere, np.ones((1, sphere.n_panels)))[0]
    error = found - panels.points / np.linalg.norm(panels.points, axis=1, keepdims=True)
    assert np.abs(error).max() <= limit


@pytest.mark.parametrize("builder", [bodies.ellipsoid, bodies.jittered_ellipsoid])
def test_source_density_of_an_ellipsoid_makes_a_constant_flow_inside(builder):
    # also just inside the skin, where the velocity jumps by the density: outside it is V - (V.n) n
    axes, freestream = (3.0, 2.0, 1.0), stream(8.0, 5.0)
    surface = builder(axes, 4)
    panels = curved_panels(surface)
    strength = ellipsoid_source(axes, freestream, panels.points)
    outside = freestream + induced_velocity(surface, strength)[0]
    inside = outside - strength[:, None] * panels.normals
    error = np.linalg.norm(inside - interior_velocity(axes, freestream), axis=1)
    assert rms(error) <= 0.001
    assert error.max() <= 0.006


@pytest.mark.parametrize("level", [3, 4])
def test_gauss_identity_of_the_normal_velocity(level):
    # the flux of a source on the skin through the skin is half its strength, principal value:
    # sum over i of A_i n_i . u_ij = A_j/2
    surface = bodies.ellipsoid((3.0, 2.0, 1.0), level)
    panels = curved_panels(surface)
    own = np.arange(surface.n_panels)
    chosen = np.arange(0, surface.n_panels, 97)
    strength = np.zeros((len(chosen), surface.n_panels))
    strength[np.arange(len(chosen)), chosen] = 1.0
    operator = InducedVelocity(panels, panels.points, own, tolerance=None)
    flux = (operator.apply(strength) * panels.normals).sum(axis=2) @ panels.areas
    share = flux / panels.areas[chosen]
    assert share.mean() == pytest.approx(0.5, abs=2e-3)


def test_neighbours_carry_the_gradient():
    # linear density on a flat face equals the divided integral of that density
    brick = bodies.box((2.0, 1.0, 0.8), (8, 5, 4))
    panels = curved_panels(brick)
    top = (panels.normals[:, 2] > 0.5) & (np.abs(panels.points[:, :2]) < [0.6, 0.3]).all(axis=1)
    j = np.flatnonzero(top)[np.argmin(np.linalg.norm(panels.points[top, :2], axis=1))]
    slope = np.array([1.3, -0.7, 0.0])
    density = 0.4 + (panels.points - panels.points[j]) @ slope
    point = panels.points[j] + [0.05, 0.02, 0.3]
    alone = np.zeros(brick.n_panels)
    near = np.flatnonzero(top & (np.linalg.norm(panels.points - panels.points[j], axis=1) < 0.3))
    alone[near] = density[near]
    u, w = by_division(point, panels.coefficients[j], FINE_DIVISIONS)
    expected = density[j] * u + slope @ w
    gradient = panels.stencil[j].T @ (alone[panels.neighbours[j]] - alone[j])
    assert gradient == pytest.approx(slope, abs=1e-12)
    only = replace_all_but(panels, j)
    operator = InducedVelocity(only, point[None], tolerance=None, divisions=FINE_DIVISIONS)
    assert operator.apply(alone)[0, 0] == pytest.approx(expected, abs=1e-6)


def replace_all_but(panels, j):
    """The same panels, all but one made too small to matter."""
    shrink = np.where(np.arange(len(panels.areas)) == j, 1.0, 1e-9)
    coefficients = panels.coefficients.copy()
    coefficients[:, 1:] *= shrink[:, None, None]
    coefficients[:, 0] = np.where((shrink < 1.0)[:, None], panels.points, panels.coefficients[:, 0])
    stencil = panels.stencil * (shrink == 1.0)[:, None, None]
    return replace(
        panels, coefficients=coefficients, areas=panels.areas * shrink**2, stencil=stencil
    )
