"""One winding, outward, for closed and open skins; one-sided ones refused."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.windings import consistent_windings, sheet_volumes
from tests import bodies


def turned(triangles, share, draw=0):
    chosen = np.random.default_rng(draw).random(len(triangles)) < share
    return np.where(chosen[:, None], np.asarray(triangles)[:, [0, 2, 1]], triangles), chosen


def same_facing(first, second):
    """Alike but for where each triangle begins."""
    first, second = np.asarray(first), np.asarray(second)
    rolled = [np.roll(second, k, axis=1) for k in range(3)]
    return np.logical_or.reduce([(first == other).all(axis=1) for other in rolled]).all()


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9])
def test_turned_triangles_of_a_closed_body_are_turned_back_and_counted(share):
    egg = bodies.egg(3)
    mixed, chosen = turned(egg.triangles, share)
    vertices, triangles, notes = consistent_windings(egg.vertices, mixed)
    assert vertices is egg.vertices
    assert same_facing(triangles, egg.triangles)
    assert notes[0].startswith(f"{chosen.sum()} of 1280 triangles turned over to face outward")


def test_body_that_is_inside_out_is_turned_as_a_whole(sphere):
    _, triangles, notes = consistent_windings(sphere.vertices, sphere.triangles[:, [0, 2, 1]])
    assert same_facing(triangles, sphere.triangles)
    assert notes == ["all 1280 triangles turned over: they faced inward"]


def test_right_windings_are_left_untouched(sphere):
    vertices, triangles, notes = consistent_windings(sphere.vertices, sphere.triangles)
    assert vertices is sphere.vertices
    assert triangles is sphere.triangles
    assert notes == []


def test_each_of_two_bodies_is_judged_by_itself(sphere):
    both = bodies.together(sphere, sphere.translated([5.0, 1.0, 0.0]))
    mixed = np.array(both.triangles)
    mixed[1280:] = mixed[1280:, [0, 2, 1]]
    _, triangles, notes = consistent_windings(both.vertices, mixed)
    assert same_facing(triangles, both.triangles)
    assert notes[0].startswith("1280 of 2560 triangles turned over")


def test_open_half_and_body_with_large_holes_face_outward():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    mixed, _ = turned(triangles, 0.6)
    assert same_facing(consistent_windings(vertices, mixed)[1], triangles)
    egg = bodies.egg(3)
    tube = egg.triangles[np.abs(egg.centroids[:, 0]) < 1.0]
    moved = egg.vertices + np.array([9.0, -4.0, 2.0])
    assert same_facing(consistent_windings(moved, tube[:, ::-1])[1], tube)


def test_flat_sheet_keeps_the_winding_of_most_of_it():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0], [1, 1, 0], [2, 1, 0]], float)
    triangles = np.array([[0, 1, 3], [1, 4, 3], [1, 2, 4], [2, 5, 4]])
    mixed = np.array(triangles)
    mixed[0] = [0, 3, 1]
    assert same_facing(consistent_windings(vertices, mixed)[1], triangles)


def test_volume_of_an_open_sheet_is_closed_by_cones():
    cylinder = bodies.cylinder(64)
    tube = cylinder.triangles[np.abs(cylinder.normals[:, 0]) < 0.5]
    volumes = sheet_volumes(cylinder.vertices, tube, np.zeros(len(tube), dtype=int))
    assert volumes == pytest.approx([cylinder.volume], rel=1e-12)


def test_moebius_strip_is_refused_with_its_place():
    n = 20
    a, b = np.arange(n), np.arange(n) + n
    c, d = np.append(a[1:], n), np.append(b[1:], 0)
    strip = np.concatenate([np.stack([a, c, b], axis=1), np.stack([c, d, b], axis=1)])
    angle = 2 * np.pi * np.arange(n) / n
    ring = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    lift = 0.2 * np.column_stack(
        [np.sin(angle / 2) * np.cos(angle), np.sin(angle / 2) * np.sin(angle), np.cos(angle / 2)]
    )
    with pytest.raises(SurfaceError, match=r"one side only .as a Moebius strip.*first near STA"):
        consistent_windings(np.vstack([ring + lift, ring - lift]), strip)
