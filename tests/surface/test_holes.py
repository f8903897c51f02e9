"""Holes found, told apart and filled so that the skin carries on; gaps bridged."""

import re

import numpy as np
import pytest

from panelcp.surface.checking import least_angles, require_closed
from panelcp.surface.holes import bridge_gaps, fill_holes, find_holes
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import edge_table, used_only
from tests import bodies


def euler(vertices, triangles):
    return len(vertices) - len(edge_table(len(vertices), triangles).counts) + len(triangles)


def cut(surface, place, radius):
    kept = np.linalg.norm(surface.centroids - place, axis=1) > radius
    return used_only(surface.vertices, surface.triangles[kept])


def test_closed_body_has_no_hole_and_is_untouched(sphere):
    vertices, triangles, notes, left = fill_holes(sphere.vertices, sphere.triangles, 9.0)
    assert vertices is sphere.vertices
    assert triangles is sphere.triangles
    assert (notes, left) == ([], ())


@pytest.mark.parametrize("radius", [0.05, 0.15, 0.3])
def test_cap_carries_on_a_sphere(radius):
    ball = bodies.ellipsoid((1.0, 1.0, 1.0), 5)
    vertices, triangles = cut(ball, [0.6, 0.0, 0.8], radius)
    filled, closed, notes, left = fill_holes(vertices, triangles, 1.0)
    require_closed(filled, closed)
    assert euler(filled, closed) == 2
    assert left == ()
    assert len(notes) == 1
    whole = SurfaceMesh(filled, closed)
    assert np.array_equal(filled[: len(vertices)], vertices)
    assert np.array_equal(closed[: len(triangles)], triangles)
    # a flat cap would lie radius^2 / 2 below the sphere; edges of 35 mm stand 0.6 mm off it
    off = np.abs(np.linalg.norm(filled[len(vertices) :], axis=1) - 1.0)
    assert np.max(off, initial=0.0) <= 0.05 * radius**2 / 2 + 3e-4
    assert whole.volume == pytest.approx(ball.volume, rel=2e-5)
    assert least_angles(whole).min() > 15.0


def test_flat_hole_is_filled_flat():
    box = bodies.box((2.0, 2.0, 2.0), (16, 16, 16))
    vertices, triangles = cut(box, [0.0, 0.0, 1.0], 0.5)
    filled, closed, _, _ = fill_holes(vertices, triangles, 2.0)
    require_closed(filled, closed)
    assert filled[len(vertices) :, 2] == pytest.approx(1.0, abs=1e-9)
    assert SurfaceMesh(filled, closed).volume == pytest.approx(8.0, rel=1e-12)


def test_larger_holes_stay_open_and_are_given_back(sphere):
    vertices, triangles = cut(sphere, [0.0, 0.0, 1.0], 0.5)
    same, still, notes, left = fill_holes(vertices, triangles, 0.4)
    assert same is vertices
    assert still is triangles
    assert notes == []
    (hole,) = left
    rim = vertices[hole.rim]
    apart = np.linalg.norm(rim[:, None] - rim[None], axis=2).max()
    assert hole.diameter == pytest.approx(apart, rel=1e-12)
    assert 0.6 * hole.diameter < hole.width < hole.diameter  # the rim is ragged
    assert re.match(rf"{apart * 1e3:.0f} mm at STA -?0 BL -?0 WL 867 mm$", hole.told())


def test_narrow_slit_is_filled_however_long():
    box = bodies.box((2.0, 1.0, 0.8), (200, 5, 4))
    slit = (np.abs(box.centroids[:, 0] - 0.005) < 0.005) & (box.centroids[:, 2] > 0.399)
    vertices, triangles = used_only(box.vertices, box.triangles[~slit])
    (hole,) = find_holes(vertices, triangles)
    assert hole.diameter > 1.0
    assert hole.width == pytest.approx(4 * 0.01 / 2.02, rel=1e-9)
    assert fill_holes(vertices, triangles, 0.06)[3]
    filled, closed, _, left = fill_holes(vertices, triangles, 0.2)
    require_closed(filled, closed)
    assert left == ()


def test_holes_that_touch_at_a_vertex_are_two():
    ball = bodies.ellipsoid((1.0, 1.0, 1.0), 3)
    around = np.flatnonzero((ball.triangles == 200).any(axis=1))
    one, two = around[0], None
    for k in around:
        if len(np.intersect1d(ball.triangles[k], ball.triangles[one])) == 1:
            two = k
    open_skin = np.delete(ball.triangles, [one, two], axis=0)
    assert [len(hole.rim) for hole in find_holes(ball.vertices, open_skin)] == [3, 3]
    filled, closed, _, _ = fill_holes(ball.vertices, open_skin, 1.0)
    require_closed(filled, closed)
    assert euler(filled, closed) == 2
    expected = {frozenset(t) for t in ball.triangles.tolist()}
    assert {frozenset(t) for t in closed.tolist()} == expected


def test_half_is_filled_off_the_plane_and_across_it_only():
    vertices, triangles = bodies.half_ellipsoid((1.0, 1.0, 1.0), 4)
    assert find_holes(vertices, triangles, open_at_plane=True) == []
    middles = vertices[triangles].mean(axis=1)
    at_plane = np.linalg.norm(middles - [0.0, 0.0, 1.0], axis=1) < 0.25
    beside = np.linalg.norm(middles - [0.0, 1.0, 0.0], axis=1) < 0.2
    open_vertices, skin = used_only(vertices, triangles[~at_plane & ~beside])
    filled, closed, _, left = fill_holes(open_vertices, skin, 1.0, open_at_plane=True)
    assert left == ()
    require_closed(filled, closed, open_at_plane=True)
    added = filled[len(open_vertices) :]
    assert added[:, 1].min() == 0.0
    # a tenth of the depth of a flat cap
    assert np.linalg.norm(added, axis=1) == pytest.approx(1.0, abs=0.1 * 0.25**2 / 2)


@pytest.mark.parametrize("half", [False, True])
def test_ring_gap_between_two_parts_is_bridged(half):
    if half:
        vertices, triangles = bodies.half_ellipsoid((1.0, 1.0, 1.0), 5)
    else:
        ball = bodies.ellipsoid((1.0, 1.0, 1.0), 5)
        vertices, triangles = ball.vertices, ball.triangles
    gap = np.abs(vertices[triangles].mean(axis=1)[:, 0] - 0.5) < 0.04
    parts, skin = used_only(vertices, triangles[~gap])
    before, closed, notes = bridge_gaps(parts, skin, 0.15, half)
    assert before is parts
    require_closed(parts, closed, open_at_plane=half)
    assert euler(parts, closed) == (1 if half else 2)
    assert len(notes) == 1
    assert "between two parts bridged" in notes[0]
    assert bridge_gaps(parts, skin, 0.05, half)[1] is skin


def test_two_holes_of_one_part_are_never_bridged(sphere):
    kept = np.abs(sphere.centroids[:, 0]) < 0.1
    ring, skin = used_only(sphere.vertices, sphere.triangles[kept])
    assert len(find_holes(ring, skin)) == 2
    assert bridge_gaps(ring, skin, 1.0)[1] is skin
