"""Unit flows past bodies with exact answers (see tests/exact.py), and the laws of every flow.

Cp is compared at the panel centroids put onto the exact surface. Limits: flat panels of uniform
density on a skin of curvature 1/R leave errors of the order of (panel size / R); 5 120 panels on
a unit sphere are 0.07 wide. The limits are what a pressure map of a cowl needs, 0.003 rms.
"""

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.panels.influence import induced_velocity, normal_influence
from panelcp.panels.solving import STREAMS, solve_units
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies
from tests.exact import (
    RankineOvoid,
    ellipsoid_cp,
    ellipsoid_normal,
    ellipsoid_source,
    ellipsoid_velocity,
    interior_velocity,
    onto_ellipsoid,
    stream,
)

FINE, MEDIUM, COARSE = 4, 3, 2
GENERAL = stream(8.0, 5.0)


def rms(values):
    return np.sqrt(np.mean(np.square(values)))


def order_of(errors):
    """Fitted order of convergence in panel size; each mesh halves the size."""
    return -np.polyfit(np.arange(len(errors)), np.log2(errors), 1)[0]


def net_source(units):
    areas = units.surface.areas
    strength = units.source_strength
    return np.abs(strength @ areas) / (np.abs(strength) @ areas)


@pytest.mark.parametrize(
    ("axes", "freestream", "limit_rms", "limit_max"),
    [
        ((1.0, 1.0, 1.0), stream(0.0, 0.0), 0.003, 0.010),
        ((1.0, 1.0, 1.0), GENERAL, 0.003, 0.010),
        ((2.0, 1.0, 1.0), stream(0.0, 0.0), 0.003, 0.012),
        ((2.0, 1.0, 1.0), stream(10.0, 0.0), 0.003, 0.012),
        ((4.0, 1.0, 1.0), stream(0.0, 0.0), 0.003, 0.012),
        ((4.0, 1.0, 1.0), stream(10.0, 0.0), 0.003, 0.012),
        ((3.0, 2.0, 1.0), GENERAL, 0.003, 0.012),
        ((3.0, 2.0, 1.0), stream(-12.0, -15.0), 0.003, 0.012),
    ],
)
def test_cp_of_ellipsoids(units_of, cp_in, axes, freestream, limit_rms, limit_max):
    units = units_of("ellipsoid", axes, FINE)
    feet = onto_ellipsoid(axes, units.surface.centroids)
    error = cp_in(units, freestream) - ellipsoid_cp(axes, freestream, feet)
    assert rms(error) <= limit_rms
    assert np.abs(error).max() <= limit_max


@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_cp_of_rankine_ovoids(units_of, cp_in, strength):
    # relatively blunter ends than a spheroid's: one and a half times its limits
    units, ovoid = units_of("rankine_ovoid", strength, FINE), RankineOvoid(strength)
    x, y, z = units.surface.centroids.T
    error = cp_in(units, stream(0.0, 0.0)) - ovoid.cp(*ovoid.onto_surface(x, np.hypot(y, z)))
    assert rms(error) <= 0.0045
    assert np.abs(error).max() <= 0.018


@pytest.mark.parametrize(
    ("axes", "freestream"),
    [((3.0, 2.0, 1.0), GENERAL), ((2.0, 1.0, 1.0), stream(10.0, 0.0))],
)
def test_cp_converges_with_at_least_first_order(units_of, cp_in, axes, freestream):
    errors = []
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("ellipsoid", axes, level)
        feet = onto_ellipsoid(axes, units.surface.centroids)
        errors.append(rms(cp_in(units, freestream) - ellipsoid_cp(axes, freestream, feet)))
    assert order_of(errors) >= 0.9


@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_cp_of_the_ovoid_converges_with_at_least_first_order(units_of, cp_in, strength):
    ovoid, errors = RankineOvoid(strength), []
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("rankine_ovoid", strength, level)
        x, y, z = units.surface.centroids.T
        exact = ovoid.cp(*ovoid.onto_surface(x, np.hypot(y, z)))
        errors.append(rms(cp_in(units, stream(0.0, 0.0)) - exact))
    assert order_of(errors) >= 0.9


@pytest.mark.parametrize("axes", [(1.0, 1.0, 1.0), (3.0, 2.0, 1.0)])
def test_source_density_of_an_ellipsoid_is_minus_the_inner_velocity_along_the_normal(
    units_of, axes
):
    # The density of a flat panel is off by a part of (size / radius of curvature), which is
    # 0.07 on the sphere and up to 0.2 at the pointed ends of the ellipsoid.
    units = units_of("ellipsoid", axes, FINE)
    feet = onto_ellipsoid(axes, units.surface.centroids)
    for freestream in (*np.eye(3), GENERAL):
        exact = ellipsoid_source(axes, freestream, feet)
        error = freestream @ units.source_strength - exact
        assert rms(error) <= 0.02 * np.abs(exact).max()
        assert np.abs(error).max() <= 0.08 * np.abs(exact).max()


def test_source_density_converges_with_at_least_first_order(units_of):
    axes, errors = (3.0, 2.0, 1.0), []
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("ellipsoid", axes, level)
        feet = onto_ellipsoid(axes, units.surface.centroids)
        exact = ellipsoid_source(axes, GENERAL, feet)
        errors.append(rms(GENERAL @ units.source_strength - exact))
    assert order_of(errors) >= 0.9


@pytest.mark.parametrize("axes", [(1.0, 1.0, 1.0), (3.0, 2.0, 1.0)])
def test_velocity_inside_an_ellipsoid_is_constant(units_of, axes):
    units = units_of("ellipsoid", axes, FINE)
    points = np.array([[0, 0, 0], [0.5, 0, 0], [-0.3, 0.4, 0.2], [0.1, -0.5, -0.3]]) * axes
    for k, freestream in enumerate(np.eye(3)):
        induced = induced_velocity(units.surface, units.source_strength[k : k + 1], points)[0]
        exact = np.tile(interior_velocity(axes, freestream), (4, 1))
        # far from the skin single panels do not show, but their common part of (size / radius)
        # does: 1 % here
        assert freestream + induced == pytest.approx(exact, abs=0.01 * exact.max())


def test_velocity_inside_converges_with_at_least_first_order(units_of):
    axes, errors = (3.0, 2.0, 1.0), []
    points = np.array([[0, 0, 0], [-0.3, 0.4, 0.2]]) * axes
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("ellipsoid", axes, level)
        induced = induced_velocity(units.surface, units.source_strength, points)
        inner = GENERAL + np.einsum("u,upi->pi", GENERAL, induced)
        errors.append(rms(inner - interior_velocity(axes, GENERAL)))
    assert order_of(errors) >= 0.9


def test_velocity_is_the_exact_vector_and_along_the_skin(units_of):
    axes = (3.0, 2.0, 1.0)
    units = units_of("ellipsoid", axes, FINE)
    feet = onto_ellipsoid(axes, units.surface.centroids)
    found = np.einsum("u,uni->ni", GENERAL, units.velocity)
    error = np.linalg.norm(found - ellipsoid_velocity(axes, GENERAL, feet), axis=1)
    # the flat panel's own normal turns up to (size / radius) / 3 from that of the foot point
    assert rms(error) <= 0.01
    assert np.abs((found * ellipsoid_normal(axes, feet)).sum(axis=1)).max() <= 0.03
    assert units.residuals.max() <= 1e-8


def test_flow_outside_the_body_is_the_exact_dipole(units_of):
    # sphere: U + a^3 / 2 (U - 3 (U.e) e) / r^3; twice the part of the velocity inside
    units = units_of("ellipsoid", (1.0, 1.0, 1.0), FINE)
    direction = np.array([0.6, 0.48, 0.64])
    found = induced_velocity(units.surface, units.source_strength, [1.5 * direction])[:, 0]
    exact = 0.5 / 1.5**3 * (np.eye(3) - 3.0 * np.outer(direction, direction))
    assert found == pytest.approx(exact, abs=0.02 * np.abs(exact).max())


def test_closed_bodies_have_no_net_source(units_of):
    for builder, argument in (("ellipsoid", (3.0, 2.0, 1.0)), ("rankine_ovoid", 0.25)):
        assert net_source(units_of(builder, argument, FINE)).max() <= 1e-3


def test_net_source_of_a_body_without_symmetry_vanishes_with_the_panel_size(units_of):
    net = [net_source(units_of("egg", level)).max() for level in (COARSE, MEDIUM, FINE)]
    assert order_of(net) >= 0.9
    assert net[-1] <= 3e-3


@pytest.mark.parametrize("freestream", [*np.eye(3), stream(8.0, 10.0)])
def test_no_closed_body_feels_a_force(units_of, cp_in, freestream):
    # d'Alembert
    units = units_of("egg", FINE)
    vectors = units.surface.area_vectors
    frontal = 0.5 * np.abs(vectors @ freestream).sum()
    assert np.linalg.norm(cp_in(units, freestream) @ vectors) / frontal <= 0.005


def test_incidence_turns_a_spheroid_nose_up_by_the_exact_moment(units_of, cp_in):
    # M = q volume (k2 - k1) sin 2 alpha, nose up: k2 - k1 = 0.778203 for length / diameter 4
    units = units_of("ellipsoid", (4.0, 1.0, 1.0), FINE)
    surface, freestream = units.surface, stream(10.0, 0.0)
    force = -cp_in(units, freestream)[:, None] * surface.area_vectors
    moment = np.cross(surface.centroids, force).sum(axis=0) / surface.volume
    expected = 0.778203 * np.sin(np.radians(20.0))
    # x aft, y right, z up: a moment about +y lifts the nose
    assert moment[1] == pytest.approx(expected, rel=0.01)
    assert moment[[0, 2]] == pytest.approx([0.0, 0.0], abs=1e-3)


def test_turning_body_and_stream_together_changes_nothing(units_of, cp_in):
    units = units_of("egg", COARSE)
    rotation = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
    rotation *= np.linalg.det(rotation)
    turned = solve_units(units.surface.rotated(rotation))
    # the iterative solution stops at parts of 1e-9, with other right sides here and there
    assert cp_in(turned, rotation @ GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-7)


@pytest.mark.parametrize("factor", [1e-3, 25.4])
def test_size_and_place_do_not_matter(units_of, cp_in, factor):
    units = units_of("egg", COARSE)
    moved = solve_units(units.surface.translated([3.0, -1.0, 0.5]).scaled(factor))
    assert cp_in(moved, GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-8)


def test_speed_does_not_matter(units_of, cp_in):
    units = units_of("egg", COARSE)
    assert cp_in(units, 77.0 * GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-12)


def test_order_of_panels_and_corners_does_not_matter(units_of, cp_in):
    units = units_of("egg", COARSE)
    random = np.random.default_rng(5)
    order = random.permutation(units.surface.n_panels)
    numbers = random.permutation(units.surface.n_vertices)
    vertices = np.empty_like(units.surface.vertices)
    vertices[numbers] = units.surface.vertices
    triangles = np.roll(numbers[units.surface.triangles[order]], 1, axis=1)
    shuffled = solve_units(SurfaceMesh(vertices, triangles))
    assert cp_in(shuffled, GENERAL) == pytest.approx(cp_in(units, GENERAL)[order], abs=1e-8)


def test_flow_reversed_has_the_same_pressure(units_of, cp_in):
    units = units_of("egg", COARSE)
    assert cp_in(units, -GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-12)


@pytest.mark.parametrize(("alpha", "beta"), [(0.0, 0.0), (6.0, 12.0), (0.0, 90.0)])
def test_mirrored_half_is_the_whole(units_of, cp_in, alpha, beta):
    # both stop at parts of 1e-9 of their own right side, hence not to the last digit
    half = units_of("mirrored_ellipsoid", (3.0, 2.0, 1.0), MEDIUM)
    whole = solve_units(half.surface.unmirrored())
    assert half.surface.n_solved == half.surface.n_panels // 2
    freestream = stream(alpha, beta)
    assert cp_in(half, freestream) == pytest.approx(cp_in(whole, freestream), abs=1e-8)
    assert half.source_strength == pytest.approx(whole.source_strength, abs=1e-8)
    assert half.velocity == pytest.approx(whole.velocity, abs=1e-8)


def test_mirrored_equations_are_those_of_the_whole():
    # solved directly, half and whole agree to rounding, sideslip included
    half = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), COARSE)
    even, odd = normal_influence(half)
    (whole,) = normal_influence(half.unmirrored())
    for axis, matrix, sign in ((0, even, 1.0), (1, odd, -1.0), (2, even, 1.0)):
        part = np.linalg.solve(matrix, -half.normals[: half.n_solved, axis])
        expected = np.linalg.solve(whole, -half.normals[:, axis])
        assert np.concatenate([part, sign * part]) == pytest.approx(expected, abs=1e-10)


def test_wind_from_the_right_is_the_mirror_image_of_wind_from_the_left(units_of, cp_in):
    units = units_of("mirrored_ellipsoid", (3.0, 2.0, 1.0), MEDIUM)
    right, left = cp_in(units, stream(5.0, 15.0)), cp_in(units, stream(5.0, -15.0))
    n = units.surface.n_solved
    assert left == pytest.approx(np.concatenate([right[n:], right[:n]]), abs=1e-12)
    x, y, _ = units.surface.centroids.T
    right_cheek = (x < -2.0) & (y > 0.5)
    assert right[right_cheek].mean() > left[right_cheek].mean() + 0.2


def test_mirrored_flow_is_exact_too(units_of, cp_in):
    axes, freestream = (3.0, 2.0, 1.0), stream(8.0, 20.0)
    errors = []
    for level in (COARSE + 1, COARSE + 2):
        units = units_of("mirrored_ellipsoid", axes, level)
        feet = onto_ellipsoid(axes, units.surface.centroids)
        errors.append(rms(cp_in(units, freestream) - ellipsoid_cp(axes, freestream, feet)))
    assert order_of(errors) >= 0.9


def test_record_of_unit_flows(units_of):
    units = units_of("egg", COARSE)
    n = units.surface.n_panels
    assert units.names == STREAMS == ("stream x", "stream y", "stream z")
    assert units.source_strength.shape == (3, n)
    assert units.velocity.shape == (3, n, 3)
    assert 1 <= units.iterations.min() <= units.iterations.max() <= 20
    for array in (units.source_strength, units.velocity, units.iterations, units.residuals):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_progress_is_told_and_nothing_printed(capsys):
    said = []
    surface = bodies.ellipsoid((1.0, 1.0, 1.0), 1)
    solve_units(surface, said.append)
    assert any("80 panels" in line for line in said)
    assert len(said) >= 2
    assert capsys.readouterr() == ("", "")


def test_solving_leaves_the_surface_alone():
    surface = bodies.ellipsoid((3.0, 2.0, 1.0), 1)
    vertices, triangles = surface.vertices.copy(), surface.triangles.copy()
    units = solve_units(surface)
    assert units.surface is surface
    assert np.array_equal(surface.vertices, vertices)
    assert np.array_equal(surface.triangles, triangles)


def test_two_solutions_agree_to_the_last_bit():
    surface = bodies.egg(COARSE)
    first, second = solve_units(surface), solve_units(surface)
    assert np.array_equal(first.velocity, second.velocity)


def test_skin_that_runs_through_itself_everywhere_is_refused():
    vertices, triangles = bodies.icosphere(COARSE)
    crumpled = np.random.default_rng(0).normal(size=vertices.shape)
    with pytest.raises(FlowError, match=r"stream x did not converge in \d+ steps.*interpenetrate"):
        solve_units(SurfaceMesh(crumpled, triangles))
