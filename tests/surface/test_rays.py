"""Nearest points and parallel rays."""

import numpy as np
import pytest

from panelcp.surface.rays import SkinFinder


@pytest.mark.parametrize(
    ("point", "foot"),
    [
        ((0.13, 0.07, 0.9), (0.13, 0.07, 0.4)),
        ((0.13, 0.07, 0.31), (0.13, 0.07, 0.4)),
        ((-3.0, 0.2, 0.1), (-1.0, 0.2, 0.1)),
        ((0.2, 0.8, 0.8), (0.2, 0.5, 0.4)),
        ((5.0, 5.0, -5.0), (1.0, 0.5, -0.4)),
        ((-1.0, 0.5, 0.4), (-1.0, 0.5, 0.4)),
    ],
)
def test_nearest_point_of_a_box(brick, point, foot):
    found, panel, distance = SkinFinder(brick).nearest(point)
    assert found == pytest.approx(foot, abs=1e-12)
    assert distance == pytest.approx(np.linalg.norm(np.subtract(point, foot)), abs=1e-12)
    height = (brick.centroids[panel] - foot) @ brick.normals[panel]
    assert height == pytest.approx(0.0, abs=1e-12)


def test_nearest_is_the_nearest_of_all_panels(sphere):
    from trimesh.triangles import closest_point

    finder = SkinFinder(sphere)
    for point in np.random.default_rng(0).normal(size=(20, 3)):
        feet = closest_point(np.array(sphere.corners), np.tile(point, (sphere.n_panels, 1)))
        least = np.linalg.norm(feet - point, axis=1).min()
        assert finder.nearest(point)[2] == pytest.approx(least, abs=1e-12)


def test_rays_enter_from_outside_only(brick):
    origins = [[-5.0, 0.11, 0.07], [-5.0, 0.11, 0.41], [-5.0, -0.49, -0.39], [0.0, 0.0, 0.03]]
    panel, points = SkinFinder(brick).hits(origins, [1.0, 0.0, 0.0])
    assert points[:, 0] == pytest.approx([-1.0, np.nan, -1.0, -1.0], nan_ok=True)
    assert (panel >= 0).tolist() == [True, False, True, True]
    assert brick.normals[panel[[0, 2, 3]], 0] == pytest.approx(-1.0)
    assert points[[0, 2], 1:] == pytest.approx(np.array(origins)[[0, 2], 1:])


def test_rays_through_edges_and_corners_of_panels_are_not_lost(brick, sphere):
    for surface in (brick, sphere):
        top = surface.vertices[surface.vertices[:, 2] > 0.3]
        inside = top[np.abs(top[:, :2]).max(axis=1) < 0.45]
        origins = inside * [1, 1, 0] + np.array([0.0, 0.0, 5.0])
        panel, points = SkinFinder(surface).hits(origins, [0.0, 0.0, -1.0])
        assert (panel >= 0).all()
        assert points == pytest.approx(inside, abs=1e-12)


def test_looking_at_some_panels_only(brick):
    finder = SkinFinder(brick)
    top = np.flatnonzero(brick.normals[:, 2] > 0.5)
    origin, down = [[0.11, 0.07, 3.0]], [0.0, 0.0, -1.0]
    everywhere = finder.hits(origin, down)
    assert finder.hits(origin, down, top)[0] == everywhere[0]
    others = np.flatnonzero(brick.normals[:, 2] < 0.5)
    assert finder.hits(origin, down, others)[0].tolist() == [-1]


def test_panels_near_a_point_include_all_that_reach_into_the_ball(sphere):
    point = np.array([1.0, 0.2, -0.1])
    near = SkinFinder(sphere).near(point, 0.3)
    reaching = np.linalg.norm(sphere.corners - point, axis=2).min(axis=1) <= 0.3
    assert set(np.flatnonzero(reaching)) <= set(near.tolist())
    assert len(near) < sphere.n_panels / 4
