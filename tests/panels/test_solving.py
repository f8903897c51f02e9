"""Unit flows past bodies with exact answers (see tests/exact.py), and the laws of every flow.

Cp is compared at the control points put onto the exact surface, which they leave by 1e-4 at most.
Limits are for 5120 panels: twice to three times what was measured when the scheme was chosen, and
a tenth of what flat panels of uniform density reach on the same bodies.
"""

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.panels import farfield
from panelcp.panels.influence import TOLERANCE, induced_velocity
from panelcp.panels.solving import KRYLOV_TOLERANCE, STREAMS, solve_units
from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from tests import bodies
from tests.exact import (
    SPHERE,
    RankineOvoid,
    ellipsoid_cp,
    ellipsoid_exterior,
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
    areas = units.panels.areas
    strength = units.source_strength
    return np.abs(strength @ areas) / (np.abs(strength) @ areas)


def cp_error(units, cp_in, axes, freestream):
    """(n_panels,) error of Cp on an ellipsoid."""
    feet = onto_ellipsoid(axes, units.panels.points)
    return cp_in(units, freestream) - ellipsoid_cp(axes, freestream, feet)


@pytest.mark.parametrize(
    ("axes", "freestream", "limit_rms", "limit_max"),
    [
        (SPHERE, stream(0.0, 0.0), 0.0005, 0.0015),
        (SPHERE, GENERAL, 0.0005, 0.0015),
        ((2.0, 1.0, 1.0), stream(0.0, 0.0), 0.0006, 0.003),
        ((2.0, 1.0, 1.0), stream(10.0, 0.0), 0.0006, 0.003),
        ((4.0, 1.0, 1.0), stream(0.0, 0.0), 0.0006, 0.003),
        ((4.0, 1.0, 1.0), stream(10.0, 0.0), 0.0006, 0.003),
        ((3.0, 2.0, 1.0), GENERAL, 0.0006, 0.003),
        ((3.0, 2.0, 1.0), stream(-12.0, -15.0), 0.0006, 0.003),
    ],
)
def test_cp_of_ellipsoids(units_of, cp_in, axes, freestream, limit_rms, limit_max):
    error = cp_error(units_of("ellipsoid", axes, FINE), cp_in, axes, freestream)
    assert rms(error) <= limit_rms
    assert np.abs(error).max() <= limit_max


@pytest.mark.parametrize(("axes", "amount"), [(SPHERE, 0.4), ((3.0, 2.0, 1.0), 0.3)])
def test_cp_where_triangles_are_poor(units_of, cp_in, axes, amount):
    # vertices moved along the surface by up to this part of their shortest edge
    units = units_of("jittered_ellipsoid", axes, FINE, amount)
    assert 0.2 < bodies.quality(units.surface).min() < 0.35
    error = cp_error(units, cp_in, axes, GENERAL)
    assert rms(error) <= 0.0010
    assert np.abs(error).max() <= 0.005


@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_cp_of_rankine_ovoids(units_of, cp_in, strength):
    units, ovoid = units_of("rankine_ovoid", strength, FINE), RankineOvoid(strength)
    x, y, z = units.panels.points.T
    error = cp_in(units, stream(0.0, 0.0)) - ovoid.cp(*ovoid.onto_surface(x, np.hypot(y, z)))
    assert rms(error) <= 0.0006
    assert np.abs(error).max() <= 0.003


@pytest.mark.parametrize(
    ("builder", "axes", "freestream"),
    [
        ("ellipsoid", (3.0, 2.0, 1.0), GENERAL),
        ("ellipsoid", (2.0, 1.0, 1.0), stream(10.0, 0.0)),
        ("jittered_ellipsoid", (3.0, 2.0, 1.0), GENERAL),
    ],
)
def test_cp_converges_with_second_order(units_of, cp_in, builder, axes, freestream):
    errors = [
        rms(cp_error(units_of(builder, axes, level), cp_in, axes, freestream))
        for level in (COARSE, MEDIUM, FINE)
    ]
    assert order_of(errors) >= 1.8


def test_cp_converges_with_second_order_over_four_meshes(cp_in):
    # solved as a half, with direct sums: the tolerance of the far field sets no floor
    axes, freestream, errors = (3.0, 2.0, 1.0), stream(8.0, 20.0), []
    for level in (2, 3, 4, 5):
        surface = bodies.mirrored_ellipsoid(axes, level)
        units = solve_units(surface, tolerance=None)
        errors.append(rms(cp_error(units, cp_in, axes, freestream)))
    assert order_of(errors) >= 1.8
    assert errors[-1] <= 0.0005


@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_cp_of_the_ovoid_converges_with_second_order(units_of, cp_in, strength):
    ovoid, errors = RankineOvoid(strength), []
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("rankine_ovoid", strength, level)
        x, y, z = units.panels.points.T
        exact = ovoid.cp(*ovoid.onto_surface(x, np.hypot(y, z)))
        errors.append(rms(cp_in(units, stream(0.0, 0.0)) - exact))
    assert order_of(errors) >= 1.8


@pytest.mark.parametrize("axes", [SPHERE, (3.0, 2.0, 1.0)])
def test_source_density_of_an_ellipsoid_is_minus_the_inner_velocity_along_the_normal(
    units_of, axes
):
    units = units_of("ellipsoid", axes, FINE)
    feet = onto_ellipsoid(axes, units.panels.points)
    for freestream in (*np.eye(3), GENERAL):
        exact = ellipsoid_source(axes, freestream, feet)
        error = freestream @ units.source_strength - exact
        assert rms(error) <= 0.001 * np.abs(exact).max()
        assert np.abs(error).max() <= 0.005 * np.abs(exact).max()


def test_source_density_converges_with_second_order(units_of):
    axes, errors = (3.0, 2.0, 1.0), []
    for level in (COARSE, MEDIUM, FINE):
        units = units_of("ellipsoid", axes, level)
        exact = ellipsoid_source(axes, GENERAL, onto_ellipsoid(axes, units.panels.points))
        errors.append(rms(GENERAL @ units.source_strength - exact))
    assert order_of(errors) >= 1.8


@pytest.mark.parametrize("axes", [SPHERE, (3.0, 2.0, 1.0)])
def test_velocity_inside_an_ellipsoid_is_constant(units_of, axes):
    units = units_of("ellipsoid", axes, FINE)
    points = np.array([[0, 0, 0], [0.5, 0, 0], [-0.3, 0.4, 0.2], [0.1, -0.5, -0.3]]) * axes
    for k, freestream in enumerate(np.eye(3)):
        induced = induced_velocity(units.surface, units.source_strength[k : k + 1], points)[0]
        exact = np.tile(interior_velocity(axes, freestream), (4, 1))
        assert freestream + induced == pytest.approx(exact, abs=0.0005 * exact.max())


def test_velocity_is_the_exact_vector_and_along_the_skin(units_of):
    axes = (3.0, 2.0, 1.0)
    units = units_of("ellipsoid", axes, FINE)
    feet = onto_ellipsoid(axes, units.panels.points)
    found = np.einsum("u,uni->ni", GENERAL, units.velocity)
    error = np.linalg.norm(found - ellipsoid_velocity(axes, GENERAL, feet), axis=1)
    assert rms(error) <= 0.001
    assert np.abs((found * ellipsoid_normal(axes, feet)).sum(axis=1)).max() <= 0.003
    assert units.residuals.max() <= 2.0 * KRYLOV_TOLERANCE


def beside_the_skin(surface, axes, sizes, draw=1):
    """200 points that many panel sizes off an ellipsoid, over random places of random panels."""
    random = np.random.default_rng(draw)
    panels = random.choice(surface.n_panels, 200, replace=False)
    share = random.dirichlet(np.ones(3), 200)
    feet = onto_ellipsoid(axes, np.einsum("nk,nki->ni", share, surface.corners[panels]))
    size = np.sqrt(surface.areas[panels])[:, None]
    return feet + sizes * size * ellipsoid_normal(axes, feet)


@pytest.mark.parametrize("axes", [SPHERE, (3.0, 2.0, 1.0)])
@pytest.mark.parametrize(
    ("sizes", "limit_rms", "limit_max"),
    [
        # where panels meet the density has small jumps: the velocity is infinite there, as a
        # logarithm of the distance, and few of the nearest points show it
        (0.02, 0.001, 0.006),
        (0.1, 0.0008, 0.004),
        (0.5, 0.0005, 0.0015),
        (1.0, 0.0005, 0.0012),
        (3.0, 0.0005, 0.0010),
        (10.0, 0.0005, 0.0010),
    ],
)
def test_flow_beside_the_skin_is_that_of_the_ellipsoid(units_of, axes, sizes, limit_rms, limit_max):
    units = units_of("ellipsoid", axes, FINE)
    points = beside_the_skin(units.surface, axes, sizes)
    induced = induced_velocity(units.surface, GENERAL @ units.source_strength, points)[0]
    error = np.linalg.norm(GENERAL + induced - ellipsoid_exterior(axes, GENERAL, points), axis=1)
    assert rms(error) <= limit_rms
    assert error.max() <= limit_max
    assert np.quantile(error, 0.95) <= 0.002


def test_flow_above_control_points_goes_on_from_the_skin(units_of):
    units = units_of("jittered_ellipsoid", (3.0, 2.0, 1.0), MEDIUM)
    panels = units.panels
    points = panels.points + 1e-4 * np.sqrt(panels.areas)[:, None] * panels.normals
    strength = GENERAL @ units.source_strength
    above = GENERAL + induced_velocity(units.surface, strength, points)[0]
    on_skin = np.einsum("u,upi->pi", GENERAL, units.velocity)
    # the rules differ: 4 divisions and the panel's own part there, 8 divisions here
    assert rms(np.linalg.norm(above - on_skin, axis=1)) <= 0.001
    assert np.abs(above - on_skin).max() <= 0.02


def test_closed_bodies_have_no_net_source(units_of):
    # symmetric bodies have none for any scheme; the egg has no symmetry
    for builder, arguments in (
        ("ellipsoid", ((3.0, 2.0, 1.0), FINE)),
        ("jittered_ellipsoid", ((3.0, 2.0, 1.0), FINE)),
        ("rankine_ovoid", (0.25, FINE)),
        ("egg", (MEDIUM,)),
        ("egg", (FINE,)),
    ):
        assert net_source(units_of(builder, *arguments)).max() <= 1e-3


def test_net_source_of_a_body_without_symmetry_vanishes_with_second_order(units_of):
    net = [net_source(units_of("egg", level)).max() for level in (COARSE, MEDIUM, FINE)]
    assert order_of(net) >= 1.8
    assert net[-1] <= 2e-4


@pytest.mark.parametrize("freestream", [*np.eye(3), stream(8.0, 10.0)])
def test_no_closed_body_feels_a_force(units_of, cp_in, freestream):
    # d'Alembert
    units = units_of("egg", FINE)
    vectors = units.panels.normals * units.panels.areas[:, None]
    frontal = 0.5 * np.abs(vectors @ freestream).sum()
    assert np.linalg.norm(cp_in(units, freestream) @ vectors) / frontal <= 0.0008


def test_incidence_turns_a_spheroid_nose_up_by_the_exact_moment(units_of, cp_in):
    # M = q volume (k2 - k1) sin 2 alpha, nose up: k2 - k1 = 0.778203 for length / diameter 4
    units = units_of("ellipsoid", (4.0, 1.0, 1.0), FINE)
    panels, freestream = units.panels, stream(10.0, 0.0)
    force = -cp_in(units, freestream)[:, None] * panels.normals * panels.areas[:, None]
    moment = np.cross(panels.points, force).sum(axis=0) / (16.0 / 3.0 * np.pi)
    expected = 0.778203 * np.sin(np.radians(20.0))
    # x aft, y right, z up: a moment about +y lifts the nose
    assert moment[1] == pytest.approx(expected, rel=0.002)
    assert moment[[0, 2]] == pytest.approx([0.0, 0.0], abs=1e-5)


def test_turning_body_and_stream_together_changes_nothing(units_of, cp_in):
    units = units_of("egg", COARSE)
    rotation = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
    rotation *= np.linalg.det(rotation)
    turned = solve_units(units.surface.rotated(rotation))
    # the iteration stops at parts of 1e-6 of the right sides, others here and there
    assert cp_in(turned, rotation @ GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-6)


@pytest.mark.parametrize("factor", [1e-3, 25.4])
def test_size_and_place_do_not_matter(units_of, cp_in, factor):
    units = units_of("egg", COARSE)
    moved = solve_units(units.surface.translated([3.0, -1.0, 0.5]).scaled(factor))
    assert cp_in(moved, GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-10)


def test_a_datum_far_away_costs_no_steps(units_of, cp_in):
    # 100 km: inner iterations in single precision must not see it
    units = units_of("egg", COARSE)
    far = solve_units(units.surface.translated([1e5, -1e5, 1e5]))
    assert far.iterations <= units.iterations + 2
    assert cp_in(far, GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-5)


def test_speed_does_not_matter(units_of, cp_in):
    units = units_of("egg", COARSE)
    assert cp_in(units, 77.0 * GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-12)


def shuffled(surface):
    """The same surface with other numbers of panels, vertices and corners, and the order."""
    random = np.random.default_rng(5)
    order = random.permutation(surface.n_panels)
    numbers = random.permutation(surface.n_vertices)
    vertices = np.empty_like(surface.vertices)
    vertices[numbers] = surface.vertices
    triangles = np.roll(numbers[surface.triangles[order]], 1, axis=1)
    return SurfaceMesh(vertices, triangles), order


def test_order_of_panels_and_corners_does_not_matter(units_of, cp_in):
    units = units_of("egg", COARSE)
    surface, order = shuffled(units.surface)
    found = cp_in(solve_units(surface, tolerance=None), GENERAL)
    assert found == pytest.approx(cp_in(units, GENERAL)[order], abs=1e-7)


@pytest.fixture
def _tree_for_all_sums(monkeypatch):
    monkeypatch.setattr(farfield, "DIRECT_PAIRS", 0)


@pytest.mark.usefixtures("_tree_for_all_sums")
@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, TOLERANCE])
def test_far_field_through_the_tree_keeps_its_tolerance(units_of, tolerance):
    direct = units_of("ellipsoid", (3.0, 2.0, 1.0), FINE)
    units = solve_units(direct.surface, tolerance=tolerance)
    # of the induced velocity, which is of the size of the stream here
    difference = units.velocity - direct.velocity
    assert 0.0 < rms(difference) <= tolerance
    assert rms(units.source_strength - direct.source_strength) <= tolerance


@pytest.mark.usefixtures("_tree_for_all_sums")
@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, TOLERANCE])
def test_the_error_found_at_a_few_panels_is_about_that_of_all(units_of, tolerance):
    direct = units_of("ellipsoid", (3.0, 2.0, 1.0), FINE)
    units = solve_units(direct.surface, tolerance=tolerance)
    far = [part.velocity - np.eye(3)[:, None] for part in (units, direct)]
    true = np.linalg.norm(far[0] - far[1], axis=2) / rms(far[1] * np.sqrt(3.0))
    assert 0.2 * rms(true) <= units.far_error <= 3.0 * rms(true)
    assert units.far_error <= units.far_error_greatest <= 3.0 * true.max()
    assert direct.far_error == direct.far_error_greatest == 0.0


@pytest.mark.usefixtures("_tree_for_all_sums")
def test_cp_through_the_tree_is_as_exact(cp_in):
    for axes, limit_rms, limit_max in ((SPHERE, 0.0005, 0.0015), ((3.0, 2.0, 1.0), 0.0006, 0.003)):
        units = solve_units(bodies.ellipsoid(axes, FINE))
        error = cp_error(units, cp_in, axes, GENERAL)
        assert rms(error) <= limit_rms
        assert np.abs(error).max() <= limit_max
        assert net_source(units).max() <= 1e-4


@pytest.mark.usefixtures("_tree_for_all_sums")
def test_order_of_panels_does_not_matter_in_the_far_field(units_of, cp_in):
    # other boxes, other truncation: parts of the tolerance, Cp changes by twice the velocity
    units = units_of("egg", FINE)
    surface, order = shuffled(units.surface)
    difference = cp_in(solve_units(surface), GENERAL) - cp_in(units, GENERAL)[order]
    assert rms(difference) <= 2.0 * TOLERANCE


@pytest.mark.usefixtures("_tree_for_all_sums")
def test_half_and_whole_agree_through_the_tree(cp_in):
    # both have the same boxes of sources, but targets of one side or both
    surface = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 4)
    half, whole = solve_units(surface), solve_units(surface.unmirrored())
    difference = cp_in(half, stream(6.0, 12.0)) - cp_in(whole, stream(6.0, 12.0))
    assert rms(difference) <= 2.0 * TOLERANCE


def test_flow_reversed_has_the_same_pressure(units_of, cp_in):
    units = units_of("egg", COARSE)
    assert cp_in(units, -GENERAL) == pytest.approx(cp_in(units, GENERAL), abs=1e-12)


@pytest.mark.parametrize(("alpha", "beta"), [(0.0, 0.0), (6.0, 12.0), (0.0, 90.0)])
def test_mirrored_half_is_the_whole(cp_in, alpha, beta):
    surface = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), MEDIUM)
    half = solve_units(surface, tolerance=None)
    whole = solve_units(surface.unmirrored(), tolerance=None)
    assert surface.n_solved == surface.n_panels // 2
    freestream = stream(alpha, beta)
    assert cp_in(half, freestream) == pytest.approx(cp_in(whole, freestream), abs=1e-7)
    assert half.source_strength == pytest.approx(whole.source_strength, abs=1e-7)
    assert half.velocity == pytest.approx(whole.velocity, abs=1e-7)


def test_wind_from_the_right_is_the_mirror_image_of_wind_from_the_left(units_of, cp_in):
    units = units_of("mirrored_ellipsoid", (3.0, 2.0, 1.0), MEDIUM)
    right, left = cp_in(units, stream(5.0, 15.0)), cp_in(units, stream(5.0, -15.0))
    n = units.surface.n_solved
    assert left == pytest.approx(np.concatenate([right[n:], right[:n]]), abs=1e-12)
    x, y, _ = units.panels.points.T
    right_cheek = (x < -2.0) & (y > 0.5)
    assert right[right_cheek].mean() > left[right_cheek].mean() + 0.2


def test_onset_fields_superpose(units_of):
    # a uniform onset field is a stream; twice one and thrice another are their sum
    units = units_of("egg", MEDIUM)
    n = units.surface.n_panels
    onset = np.tile(2.0 * np.eye(3)[0] + 3.0 * np.eye(3)[2], (n, 1))
    both = solve_units(units.surface, onsets=[("gust", onset)])
    assert both.names == (*STREAMS, "gust")
    expected = 2.0 * units.velocity[0] + 3.0 * units.velocity[2]
    assert both.velocity[3] == pytest.approx(expected, abs=3e-6)
    assert both.velocity[:3] == pytest.approx(units.velocity, abs=3e-6)


def test_onset_fields_on_a_half_body_may_be_lopsided():
    surface = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), MEDIUM)
    points = curved_panels(surface).points
    arm = points - [0.5, 3.0, 0.4]
    field = arm / np.linalg.norm(arm, axis=1, keepdims=True) ** 3
    half = solve_units(surface, onsets=[("source", field)], tolerance=None)
    whole = solve_units(surface.unmirrored(), onsets=[("source", field)], tolerance=None)
    assert half.velocity[3] == pytest.approx(whole.velocity[3], abs=1e-6)
    assert rms(half.velocity[3]) > 0.05


def test_record_of_unit_flows(units_of):
    units = units_of("egg", COARSE)
    n = units.surface.n_panels
    assert units.names == STREAMS == ("stream x", "stream y", "stream z")
    assert units.source_strength.shape == (3, n)
    assert units.velocity.shape == (3, n, 3)
    assert np.array_equal(units.panels.points, curved_panels(units.surface).points)
    assert 1 <= units.iterations <= 20
    assert units.residuals.shape == (3,)
    assert units.ground is None
    for array in (units.source_strength, units.velocity, units.residuals):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_progress_is_told_and_nothing_printed(capsys):
    said = []
    surface = bodies.ellipsoid(SPHERE, 1)
    solve_units(surface, progress=said.append)
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
    surface = bodies.egg(MEDIUM)
    first, second = solve_units(surface), solve_units(surface)
    assert np.array_equal(first.velocity, second.velocity)


def test_skin_that_runs_through_itself_everywhere_is_refused():
    vertices, triangles = bodies.icosphere(COARSE)
    crumpled = np.random.default_rng(0).normal(size=vertices.shape)
    with pytest.raises(FlowError, match=r"did not converge in \d+ steps.*interpenetrate"):
        solve_units(SurfaceMesh(crumpled, triangles))


@pytest.mark.parametrize("side", [0.7, -0.7, 0.15], ids=["right", "left", "across BL 0"])
def test_opening_beside_the_centre_line_on_a_half_flows_as_on_the_whole(side):
    half = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 3)
    opening = lay_opening(half, "vent", (0.6, side, 1.0), 0.5, 0.4, max_distance=0.3)
    found = solve_units(half, openings=[opening], tolerance=None)
    image = lay_opening(half, "image", (0.6, -side, 1.0), 0.5, 0.4, max_distance=0.3)
    other = solve_units(half, openings=[image], tolerance=None)
    n = half.n_panels // 2
    mirror = np.array([1.0, -1.0, 1.0])
    swapped = np.concatenate([other.velocity[3][n:], other.velocity[3][:n]]) * mirror
    assert found.velocity[3] == pytest.approx(swapped, abs=1e-6)
    flow = np.einsum("pd,pd->p", found.velocity[3], found.panels.normals) @ found.panels.areas
    assert flow == pytest.approx(1.0, rel=1e-5)
