"""Between control points: exact for linear values on flat skin, second order on smooth skin."""

import numpy as np
import pytest

from panelcp.surface.curved import curved_panels
from panelcp.surface.interpolation import corner_operator, point_operator
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.neighbours import corner_groups, gradient_weights, smooth_neighbours
from tests import bodies
from tests.exact import onto_ellipsoid

SLOPE = np.array([1.3, -0.7, 2.1])


def linear(points):
    return 0.4 + points @ SLOPE


def wavy(points):
    x, y, z = np.moveaxis(points, -1, 0)
    return np.sin(1.5 * x + 0.3) * y + np.cos(z) * x


def on_panels(surface, draw=0):
    """One random point on every panel."""
    share = np.random.default_rng(draw).dirichlet(np.ones(3), surface.n_panels)
    return np.einsum("nk,nki->ni", share, surface.corners)


def panel_gradient(surface, values):
    neighbours = smooth_neighbours(surface)
    step = values[neighbours] - values[:, None]
    return np.einsum(
        "nki,nk->ni", gradient_weights(surface.centroids, surface.normals, neighbours), step
    ), neighbours


def test_nothing_is_carried_across_sharp_edges(brick, sphere):
    neighbours = smooth_neighbours(brick)
    panel, edge = np.nonzero(neighbours >= 0)
    same_face = brick.normals[panel] @ np.ones(3) == pytest.approx(
        brick.normals[neighbours[panel, edge]] @ np.ones(3)
    )
    assert same_face
    # along the twelve edges of the box, from both sides
    rim = 2 * 4 * (8 + 5 + 4)
    assert np.count_nonzero(neighbours < 0) == rim
    assert np.array_equal(smooth_neighbours(sphere), sphere.edge_neighbours)


@pytest.mark.parametrize(("fold", "kept"), [(39.0, True), (41.0, False)])
def test_edges_count_as_sharp_above_forty_degrees(fold, kept):
    a = np.radians(fold)
    ridge = SurfaceMesh(
        [[0, 0, 0], [1, 0, 0], [0.5, 1, 0], [0.5, -np.cos(a), -np.sin(a)]],
        [[0, 1, 2], [1, 0, 3]],
    )
    assert (smooth_neighbours(ridge)[0, 0] == 1) == kept


def test_gradient_of_linear_values_on_flat_skin_is_exact(brick):
    found, neighbours = panel_gradient(brick, linear(brick.centroids))
    expected = SLOPE - (brick.normals @ SLOPE)[:, None] * brick.normals
    enough = (neighbours >= 0).sum(axis=1) >= 2
    assert np.count_nonzero(enough) > 300
    assert found[enough] == pytest.approx(expected[enough], abs=1e-12)
    assert not found[~enough].any()


def test_gradient_lies_in_the_skin_and_converges():
    errors = []
    for level in (2, 3, 4):
        sphere = bodies.ellipsoid((1.0, 1.0, 1.0), level)
        found, _ = panel_gradient(sphere, linear(sphere.centroids))
        assert np.abs((found * sphere.normals).sum(axis=1)).max() < 1e-12
        expected = SLOPE - (sphere.normals @ SLOPE)[:, None] * sphere.normals
        errors.append(np.sqrt(np.mean((found - expected) ** 2)))
    assert -np.polyfit(range(3), np.log2(errors), 1)[0] >= 0.9


def test_gradient_is_that_along_the_arc_on_strongly_curved_skin():
    # three neighbours on a unit sphere, values linear in distance and direction from the middle
    angle, azimuth = np.array([0.3, 0.5, 0.4]), np.array([0.2, 2.0, 4.1])
    way = np.stack([np.cos(azimuth), np.sin(azimuth), 0.0 * azimuth], axis=1)
    around = np.sin(angle)[:, None] * way + np.cos(angle)[:, None] * [0.0, 0.0, 1.0]
    points = np.concatenate([[[0.0, 0.0, 1.0]], around])
    slope = np.array([1.3, -0.7, 0.0])
    values = np.linalg.norm(around - points[0], axis=1) * (way @ slope)
    neighbours = np.array([[1, 2, 3], [0, -1, -1], [0, -1, -1], [0, -1, -1]])
    weights = gradient_weights(points, points, neighbours)
    assert values @ weights[0] == pytest.approx(slope, abs=1e-12)
    assert not weights[1:].any()


def test_constants_are_kept_everywhere(brick, sphere):
    for surface in (brick, sphere):
        panels = np.arange(surface.n_panels)
        operator = point_operator(surface, on_panels(surface), panels)
        assert operator @ np.ones(surface.n_panels) == pytest.approx(1.0, abs=1e-12)
        corners = corner_operator(surface)
        assert corners.shape == (3 * surface.n_panels, surface.n_panels)
        assert corners @ np.ones(surface.n_panels) == pytest.approx(1.0, abs=1e-12)


def test_linear_values_on_flat_skin_are_exact_at_points(brick):
    points = on_panels(brick)
    operator = point_operator(brick, points, np.arange(brick.n_panels))
    enough = (smooth_neighbours(brick) >= 0).sum(axis=1) >= 2
    found = operator @ linear(brick.centroids)
    assert found[enough] == pytest.approx(linear(points)[enough], abs=1e-12)


def test_values_at_control_points_are_the_panel_values(sphere):
    points = curved_panels(sphere).points
    operator = point_operator(sphere, points, np.arange(sphere.n_panels))
    values = wavy(points)
    assert operator @ values == pytest.approx(values, abs=1e-14)


def test_quadratic_values_on_flat_skin_are_exact_at_points(brick):
    def bent(points):
        x, y, z = points.T
        return 1.0 + x - 2.0 * y + 0.5 * z + x * y - y * z + 3.0 * z * x + x * x - 2.0 * z * z

    points = on_panels(brick)
    found = point_operator(brick, points, np.arange(brick.n_panels)) @ bent(brick.centroids)
    # away from the edges of the faces, where every corner has panels enough for its fit
    low, high = brick.bounds
    inner = (np.abs(brick.normals[:, 2]) > 0.9) & (
        (brick.centroids[:, :2] > low[:2] + 0.3) & (brick.centroids[:, :2] < high[:2] - 0.3)
    ).all(axis=1)
    assert np.count_nonzero(inner) > 20
    assert found[inner] == pytest.approx(bent(points)[inner], abs=1e-12)


def test_values_do_not_jump_where_smooth_panels_meet(sphere):
    values = wavy(curved_panels(sphere).points)
    panel, edge = np.nonzero(sphere.edge_neighbours > np.arange(sphere.n_panels)[:, None])
    ends = sphere.corners[panel, edge], sphere.corners[panel, (edge + 1) % 3]
    points = 0.3 * ends[0] + 0.7 * ends[1]
    sides = panel, sphere.edge_neighbours[panel, edge]
    here, there = (point_operator(sphere, points, side) @ values for side in sides)
    assert here == pytest.approx(there, abs=1e-12)


def test_only_the_asked_panels_count_and_in_the_asked_order(sphere):
    panels = np.array([700, 3, 3, 41])
    controls = curved_panels(sphere).points
    points = controls[panels] + 0.01
    some = point_operator(sphere, points, panels) @ wavy(controls)
    one_by_one = [
        (point_operator(sphere, [point], [panel]) @ wavy(controls))[0]
        for point, panel in zip(points, panels, strict=True)
    ]
    assert some == pytest.approx(one_by_one, abs=1e-15)


def errors_between_control_points(where, builder, *arguments):
    """Rms errors of values between the control points, each mesh twice as fine."""
    errors = []
    for level in (2, 3, 4):
        surface = builder(*arguments, level)
        if where == "points":
            points = onto_ellipsoid(arguments[0], on_panels(surface))
            operator = point_operator(surface, points, np.arange(surface.n_panels))
        else:
            points, operator = surface.corners.reshape(-1, 3), corner_operator(surface)
        error = operator @ wavy(curved_panels(surface).points) - wavy(points)
        errors.append(np.sqrt(np.mean(error**2)))
    return errors


@pytest.mark.parametrize("where", ["points", "corners"])
@pytest.mark.parametrize("builder", [bodies.ellipsoid, bodies.jittered_ellipsoid])
def test_smooth_values_are_met_with_third_order(where, builder):
    errors = errors_between_control_points(where, builder, (1.5, 1.0, 0.8))
    assert -np.polyfit(range(3), np.log2(errors), 1)[0] >= 2.5
    assert errors[-1] < 3e-4


def test_corners_that_meet_on_smooth_skin_have_one_value(sphere):
    values = (corner_operator(sphere) @ wavy(curved_panels(sphere).points)).reshape(-1, 3)
    of_vertex = np.full(sphere.n_vertices, np.nan)
    of_vertex[sphere.triangles.ravel()] = values.ravel()
    assert np.array_equal(of_vertex[sphere.triangles], values)
    assert len(np.unique(corner_groups(sphere))) == sphere.n_vertices


def test_corners_on_sharp_edges_have_one_value_per_face(brick):
    groups = corner_groups(brick)
    n = np.array([8, 5, 4]) + 1
    faces = 2 * (n[0] * n[1] + n[1] * n[2] + n[2] * n[0])
    assert len(np.unique(groups)) == faces
    # one value on top, another in front: nothing is smeared round the edge
    front_only = (brick.normals[:, 0] < -0.5).astype(float)
    values = (corner_operator(brick) @ front_only).reshape(-1, 3)
    assert values == pytest.approx(np.repeat(front_only[:, None], 3, axis=1), abs=1e-12)
