"""Faces with many corners become triangles of the same area, winding and place."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.polygons import MOST_CORNERS, split_polygons


def area_vectors(vertices, triangles):
    a, b, c = np.moveaxis(np.asarray(vertices)[triangles], 1, 0)
    return 0.5 * np.cross(b - a, c - a)


def least_angle(vertices, triangles):
    corners = np.asarray(vertices)[triangles]
    forward, backward = np.roll(corners, -1, 1) - corners, np.roll(corners, 1, 1) - corners
    sine = np.linalg.norm(np.cross(forward, backward), axis=2)
    return np.degrees(np.arctan2(sine, (forward * backward).sum(axis=2))).min()


def star(n, random):
    """Ring of n corners round the origin in a plane, with deep bays."""
    turn = 2.0 * np.pi * np.arange(n) / n
    radius = 1.0 + 0.5 * np.sin(5 * turn) + 0.3 * random.random(n)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), 0.0 * turn], axis=1)


@pytest.mark.parametrize("n", [4, 5, 6, 9, 20, 150])
def test_area_and_winding_are_kept_in_any_plane(n):
    random = np.random.default_rng(n)
    ring = star(n, random)
    turned = np.linalg.qr(random.normal(size=(3, 3)))[0]
    beside = ring[::-1] + np.array([5.0, 0.0, 1.0])
    vertices = np.vstack([ring, beside]) @ turned + 3.0
    triangles, face = split_polygons(vertices, np.arange(2 * n), [n, n])
    assert face.tolist() == [0] * (n - 2) + [1] * (n - 2)
    expected = 0.5 * np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0) @ turned
    found = area_vectors(vertices, triangles)
    # planar: the parts add up to the whole, and none is turned over
    assert found[face == 0].sum(axis=0) == pytest.approx(expected, abs=1e-12)
    assert found[face == 1].sum(axis=0) == pytest.approx(-expected, abs=1e-12)
    assert (found[face == 0] @ expected > 0.0).all()
    assert (found[face == 1] @ expected < 0.0).all()


def test_every_corner_of_a_face_is_used_and_no_other():
    triangles, _ = split_polygons(star(12, np.random.default_rng(0)), np.arange(12), [12])
    assert sorted(np.unique(triangles)) == list(range(12))


def test_quads_are_cut_along_the_better_diagonal():
    kite = [[0, 0, 0], [2, -0.2, 0], [4, 0, 0], [2, 0.2, 0]]
    triangles, _ = split_polygons(kite, [0, 1, 2, 3], [4])
    assert {1, 3} <= set(triangles[0])
    assert {1, 3} <= set(triangles[1])
    # the inner corner of an arrow head cannot be cut off
    arrow = [[0, 0, 0], [2, 1, 0], [0.5, 0, 0], [2, -1, 0]]
    triangles, _ = split_polygons(arrow, [0, 3, 2, 1], [4])
    assert (area_vectors(arrow, triangles)[:, 2] > 0.0).all()


def test_corners_on_a_straight_side_leave_no_triangle_without_area():
    sides = [[0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0, 0], [3, 1, 0], [1.5, 1, 0], [0, 1, 0]]
    triangles, _ = split_polygons(sides, np.arange(7), [7])
    assert area_vectors(sides, triangles)[:, 2].min() > 0.1
    assert least_angle(sides, triangles) > 15.0


def test_faces_of_all_sizes_stay_in_order():
    vertices = np.random.default_rng(1).random((20, 3))
    triangles, face = split_polygons(vertices, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9], [3, 4, 3])
    assert face.tolist() == [0, 1, 1, 2]
    assert triangles[0].tolist() == [0, 1, 2]
    assert triangles[3].tolist() == [7, 8, 9]


def test_no_faces():
    triangles, face = split_polygons(np.zeros((0, 3)), [], [])
    assert triangles.shape == (0, 3)
    assert face.shape == (0,)


def test_face_in_one_point_is_left_to_later_checks():
    triangles, _ = split_polygons(np.zeros((6, 3)), np.arange(6), [6])
    assert triangles.shape == (4, 3)


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        ([3, 2], "1 of 2 faces have fewer than three corners .first: face 1 with 2."),
        ([MOST_CORNERS + 1], f"1 of 1 faces have more than {MOST_CORNERS} corners"),
    ],
)
def test_impossible_counts(counts, message):
    with pytest.raises(SurfaceError, match=message):
        split_polygons(np.zeros((3, 3)), np.zeros(sum(counts), dtype=int), counts)


def test_face_that_crosses_itself():
    vertices = np.zeros((6, 3))
    vertices[:, :2] = [[3, 4], [2, 3], [4, 3], [3, 2], [2, 4], [1, 4]]
    with pytest.raises(SurfaceError, match=r"a face crosses itself \(face 0, 5 corners left"):
        split_polygons(vertices, np.arange(6), [6])
