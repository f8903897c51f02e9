"""Holes found, told apart and filled so that the skin carries on; gaps bridged."""

import re

import numpy as np
import pytest

from panelcp.surface.checking import least_angles, require_closed
from panelcp.surface.holes import bridge_gaps, fill_holes, find_holes, join_seams
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


def halves_of_a_box(gap, steps=(8, 8)):
    """Front and rear of a box, open at x = 0, the rear moved back; edges of 1/8 m at the rims."""
    parts = []
    for sign, n in zip((-1.0, 1.0), steps, strict=True):
        box = bodies.box((2.0, 1.0, 1.0), (8, n, n))
        part = used_only(box.vertices, box.triangles[sign * box.centroids[:, 0] > 0.0])
        parts.append((part[0] + np.array([gap * (sign > 0), 0.0, 0.0]), part[1]))
    (v, t), (w, u) = parts
    return np.vstack([v, w]), np.vstack([t, u + len(v)])


@pytest.mark.parametrize("gap", [2e-3, -2e-3])
@pytest.mark.parametrize(("steps", "divided"), [((8, 8), 0), ((8, 4), 16), ((4, 8), 16)])
def test_narrow_seam_is_joined_in_its_middle_whether_it_gapes_or_overlaps(gap, steps, divided):
    vertices, triangles = halves_of_a_box(gap, steps)
    points, corners, notes = join_seams(vertices, triangles, 0.025)
    surface = SurfaceMesh(points, corners)
    require_closed(points, corners)
    assert len(corners) == len(triangles) + divided
    rim = np.abs(points[:, 0]) < 5e-3
    facing = 4 * min(steps)
    assert np.count_nonzero(np.abs(points[rim, 0] - 0.5 * gap) < 1e-12) == facing
    assert surface.volume == pytest.approx(2.0 + gap, abs=1e-3 if divided else 1e-12)
    assert len(notes) == 1
    assert notes[0].startswith(f"seam of 2 mm between two parts joined at {facing} points round")


def test_wider_seams_and_rims_of_one_part_are_left(sphere):
    for gap, widest in ((8e-3, 0.025), (2e-3, 1e-3), (2e-3, 0.0)):
        vertices, triangles = halves_of_a_box(gap)
        same, still, notes = join_seams(vertices, triangles, widest)
        assert same is vertices
        assert still is triangles
        assert notes == []
    assert join_seams(sphere.vertices, sphere.triangles, 0.025)[1] is sphere.triangles
    holes = np.delete(sphere.triangles, [3, 500], axis=0)
    assert join_seams(sphere.vertices, holes, 0.025)[1] is holes


def test_seam_across_a_half_keeps_its_ends_on_the_centre_line():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    behind = vertices[triangles].mean(axis=1)[:, 0] > 0.0
    rear = used_only(vertices + np.array([1e-3, 0.0, 0.0]), triangles[behind])
    front = used_only(vertices, triangles[~behind])
    both = np.vstack([front[0], rear[0]]), np.vstack([front[1], rear[1] + len(front[0])])
    points, corners, notes = join_seams(*both, 0.025, open_at_plane=True)
    require_closed(points, corners, open_at_plane=True)
    assert len(points) == len(vertices)
    assert len(notes) == 1
