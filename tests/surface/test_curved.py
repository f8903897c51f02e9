"""Curved panels: fitted normals, 6-node patches, areas, mirror images, cut stencils."""

from itertools import product
from math import factorial

import numpy as np
import pytest

from panelcp.surface import curved
from panelcp.surface.curved import area_vectors, corner_normals, curved_panels, evaluate
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import smooth_neighbours
from tests import bodies
from tests.exact import SPHERE, ellipsoid_normal, onto_ellipsoid

AXES = (3.0, 2.0, 1.0)
CORNERS = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))
MIDDLES = ((0.5, 0.0), (0.5, 0.5), (0.0, 0.5))


def rms(values):
    return np.sqrt(np.mean(np.square(values)))


def order_of(errors):
    return -np.polyfit(np.arange(len(errors)), np.log2(errors), 1)[0]


def angles_between(first, second):
    """Degrees between unit vectors."""
    size = np.linalg.norm(np.cross(first, second), axis=-1)
    return np.degrees(np.arcsin(np.minimum(1.0, size)))


def test_patches_pass_through_the_corners_and_the_control_points():
    surface = bodies.egg(2)
    panels = curved_panels(surface)
    for k, place in enumerate(CORNERS):
        found = evaluate(panels.coefficients, *place)
        assert found == pytest.approx(surface.corners[:, k], abs=1e-14)
    assert panels.points == pytest.approx(evaluate(panels.coefficients, 1 / 3, 1 / 3), abs=1e-14)
    vectors = area_vectors(panels.coefficients, 1 / 3, 1 / 3)
    assert np.linalg.norm(panels.normals, axis=1) == pytest.approx(1.0, abs=1e-14)
    assert (vectors * panels.normals).sum(axis=1) == pytest.approx(
        np.linalg.norm(vectors, axis=1), rel=1e-13
    )
    # outward: the facets' own side
    assert (panels.normals * surface.normals).sum(axis=1).min() > 0.9


@pytest.mark.parametrize(
    "surface",
    [bodies.egg(2), bodies.jittered_ellipsoid(AXES, 3), bodies.box(), bodies.cylinder()],
    ids=["egg", "jittered", "box", "cylinder"],
)
def test_the_skin_stays_closed(surface):
    # both panels of an edge have the same middle node
    panels = curved_panels(surface)
    middles = np.stack([evaluate(panels.coefficients, *place) for place in MIDDLES], axis=1)
    for edge in range(3):
        other = surface.edge_neighbours[:, edge]
        ends = surface.triangles[:, [edge, (edge + 1) % 3]]
        back = np.roll(surface.triangles[other], -1, axis=1)
        place = np.argmax((surface.triangles[other] == ends[:, 1:]) & (back == ends[:, :1]), axis=1)
        across = middles[other, place]
        assert middles[:, edge] == pytest.approx(across, abs=1e-13)


@pytest.mark.parametrize("builder", [bodies.ellipsoid, bodies.jittered_ellipsoid])
@pytest.mark.parametrize("axes", [SPHERE, AXES])
def test_normals_at_the_corners_converge_to_those_of_the_surface(builder, axes):
    errors = []
    for level in (2, 3, 4):
        surface = builder(axes, level)
        exact = ellipsoid_normal(axes, surface.corners)
        errors.append(rms(angles_between(corner_normals(surface), exact)))
    assert order_of(errors) >= 2.5
    assert errors[-1] <= 0.05


@pytest.mark.parametrize("builder", [bodies.ellipsoid, bodies.jittered_ellipsoid])
def test_control_points_and_normals_converge_to_the_surface(builder):
    distances, turns = [], []
    for level in (2, 3, 4):
        panels = curved_panels(builder(AXES, level))
        feet = onto_ellipsoid(AXES, panels.points)
        distances.append(rms(np.linalg.norm(panels.points - feet, axis=1)))
        turns.append(rms(angles_between(panels.normals, ellipsoid_normal(AXES, feet))))
    # flat panels: two and one
    assert order_of(distances) >= 3.0
    assert order_of(turns) >= 2.0
    assert distances[-1] <= 2e-5
    assert turns[-1] <= 0.1


def test_areas_and_centroids_converge_with_fourth_order():
    errors = []
    for level in (1, 2, 3):
        panels = curved_panels(bodies.ellipsoid(SPHERE, level))
        errors.append(abs(panels.areas.sum() - 4.0 * np.pi))
        assert panels.areas @ panels.centroids == pytest.approx(np.zeros(3), abs=1e-12)
    assert order_of(errors) >= 3.5
    assert errors[-1] <= 5e-4


def test_patches_of_flat_faces_are_the_flat_triangles(brick):
    panels = curved_panels(brick)
    assert panels.points == pytest.approx(brick.centroids, abs=1e-14)
    assert panels.centroids == pytest.approx(brick.centroids, abs=1e-14)
    assert panels.normals == pytest.approx(brick.normals, abs=1e-12)
    assert panels.areas == pytest.approx(brick.areas, rel=1e-12)
    # straight edges and no lift, round the sharp edges as well
    assert panels.coefficients[:, 3:] == pytest.approx(np.zeros((brick.n_panels, 3, 3)), abs=1e-12)


def test_sharp_edges_stay_straight_between_curved_panels():
    # the side of a cylinder bends, its rims and ends do not
    surface = bodies.cylinder()
    panels = curved_panels(surface)
    ends = np.abs(surface.normals[:, 0]) > 0.9
    assert np.abs(panels.normals[ends, 0]) == pytest.approx(1.0, abs=1e-9)
    assert ((panels.neighbours[ends] >= 0).sum(axis=1) == 2).all()
    # away from the rims the side follows the cylinder
    inner = ~ends & (np.abs(panels.points[:, 0]) < 0.5)
    radius = np.hypot(panels.points[:, 1], panels.points[:, 2])
    flat = np.hypot(surface.centroids[:, 1], surface.centroids[:, 2])
    assert np.abs(radius[inner] - 1.0).max() < 0.03 * np.abs(flat[inner] - 1.0).max()
    for edge, place in enumerate(MIDDLES):
        sharp = panels.neighbours[:, edge] < 0
        straight = 0.5 * (surface.corners[:, edge] + surface.corners[:, (edge + 1) % 3])
        found = evaluate(panels.coefficients, *place)
        assert found[sharp] == pytest.approx(straight[sharp], abs=1e-14)


def test_seven_points_are_exact_to_degree_five():
    points, weights = curved._SEVEN_POINTS[:, :2], curved._SEVEN_POINTS[:, 2]
    for i, j in product(range(6), repeat=2):
        if i + j <= 5:
            found = 0.5 * (weights * points[:, 0] ** i * points[:, 1] ** j).sum()
            exact = factorial(i) * factorial(j) / factorial(i + j + 2)
            assert found == pytest.approx(exact, abs=1e-14)


def test_lift_is_cut_where_normals_make_no_sense(monkeypatch):
    # at most 0.25 of the edge in all; 0.15 is out of reach of meshes that make some sense
    monkeypatch.setattr(curved, "MAX_LIFT", 0.05)
    surface = bodies.ellipsoid((1.0, 0.3, 0.3), 2)
    panels = curved_panels(surface)
    shares = []
    for edge, place in enumerate(MIDDLES):
        a, b = surface.corners[:, edge], surface.corners[:, (edge + 1) % 3]
        lift = np.linalg.norm(evaluate(panels.coefficients, *place) - 0.5 * (a + b), axis=1)
        shares.append(lift / np.linalg.norm(b - a, axis=1))
    assert np.max(shares) == pytest.approx(0.05, abs=1e-12)
    assert (np.array(shares) < 0.049).mean() > 0.5


def test_gradients_of_the_skin_are_met_on_curved_panels():
    # the gradient of x along the skin is e_x less its normal part; at least first order
    errors = []
    for level in (2, 3, 4):
        panels = curved_panels(bodies.jittered_ellipsoid(AXES, level))
        values = panels.points[:, 0]
        step = values[panels.neighbours] - values[:, None]
        found = np.einsum("nki,nk->ni", panels.stencil, step)
        exact = np.eye(3)[0] - panels.normals[:, :1] * panels.normals
        errors.append(rms(found - exact))
    assert order_of(errors) >= 0.9
    assert errors[-1] <= 0.05


def test_cut_panels_have_no_gradient_across_the_cut(sphere):
    panels = curved_panels(sphere)
    group = panels.points[:, 2] > 0.4
    parted = panels.cut(group)
    assert np.array_equal(parted.points, panels.points)
    crossing = (panels.neighbours >= 0) & (group[panels.neighbours] != group[:, None])
    assert np.count_nonzero(crossing) > 50
    assert (parted.neighbours[crossing] == -1).all()
    assert np.array_equal(parted.neighbours[~crossing], panels.neighbours[~crossing])
    whole = ~crossing.any(axis=1)
    assert np.array_equal(parted.stencil[whole], panels.stencil[whole])
    # a jump from one group to the other is not seen
    step = group.astype(float)[parted.neighbours] - group.astype(float)[:, None]
    step = np.where(parted.neighbours >= 0, step, 0.0)
    assert not np.einsum("nki,nk->ni", parted.stencil, step).any()


def test_cut_panels_keep_the_gradient_along_the_cut(brick):
    panels = curved_panels(brick)
    parted = panels.cut(panels.points[:, 0] > 0.0)
    slope = np.array([1.3, -0.7, 2.1])
    values = panels.points @ slope
    step = values[parted.neighbours] - values[:, None]
    found = np.einsum("nki,nk->ni", parted.stencil, step)
    exact = slope - (panels.normals @ slope)[:, None] * panels.normals
    lost = (parted.neighbours < 0) & (panels.neighbours >= 0)
    enough = (parted.neighbours >= 0).sum(axis=1) >= 2
    assert np.count_nonzero(lost.any(axis=1) & enough) > 20
    assert found[enough] == pytest.approx(exact[enough], abs=1e-12)


def test_mirror_image_is_that_of_the_mirrored_mesh():
    surface = bodies.egg(2)
    panels = curved_panels(surface)
    matrix, offset = np.diag([1.0, 1.0, -1.0]), np.array([0.0, 0.0, -2.4])
    image = panels.reflected(matrix, offset)
    mirrored = SurfaceMesh(surface.vertices @ matrix.T + offset, surface.triangles[:, [0, 2, 1]])
    exact = curved_panels(mirrored)
    for name in ("points", "centroids", "normals", "areas"):
        assert getattr(image, name) == pytest.approx(getattr(exact, name), abs=1e-12)
    both = panels.joined(image)
    n = surface.n_panels
    assert both.points[n:] == pytest.approx(image.points)
    assert np.array_equal(
        both.neighbours[n:][image.neighbours >= 0] - n, image.neighbours[image.neighbours >= 0]
    )
    # gradients turn with the image
    values = both.points @ [0.3, -0.2, 0.7]
    step = values[both.neighbours] - values[:, None]
    found = np.einsum("nki,nk->ni", both.stencil, step)
    values = panels.points @ (matrix @ [0.3, -0.2, 0.7])
    step = values[panels.neighbours] - values[:, None]
    assert found[n:] == pytest.approx(
        np.einsum("nki,nk->ni", panels.stencil, step) @ matrix.T, abs=1e-12
    )


def test_mirrored_surface_has_exactly_mirrored_panels():
    surface = bodies.mirrored_ellipsoid(AXES, 3)
    panels, n, flip = curved_panels(surface), surface.n_solved, np.array([1.0, -1.0, 1.0])
    for name in ("points", "centroids", "normals"):
        values = getattr(panels, name)
        assert np.array_equal(values[n:], values[:n] * flip)
    whole = curved_panels(surface.unmirrored())
    for name in ("coefficients", "points", "normals", "areas", "centroids", "stencil"):
        assert getattr(panels, name) == pytest.approx(getattr(whole, name), abs=1e-9)
    # no edge is left at the plane: the skin goes on there
    assert np.array_equal(panels.neighbours, smooth_neighbours(surface))
    assert (panels.neighbours >= 0).all()


def test_size_place_and_direction_change_nothing_else():
    surface = bodies.egg(2)
    panels = curved_panels(surface)
    turn = np.linalg.qr(np.random.default_rng(6).normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    shift, factor = np.array([3.0, -1.0, 0.5]), 25.4
    moved = curved_panels(surface.rotated(turn).translated(shift).scaled(factor))
    assert moved.points == pytest.approx((panels.points @ turn.T + shift) * factor, abs=1e-10)
    assert moved.normals == pytest.approx(panels.normals @ turn.T, abs=1e-10)
    assert moved.areas == pytest.approx(panels.areas * factor**2, rel=1e-11)
    assert moved.stencil == pytest.approx(panels.stencil @ turn.T / factor, abs=1e-9)


def test_panels_are_fitted_once_and_protected(sphere):
    panels = curved_panels(sphere)
    assert curved_panels(sphere) is panels
    for name in ("coefficients", "points", "normals", "areas", "centroids", "stencil"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(panels, name)[0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        panels.neighbours[0] = 0
