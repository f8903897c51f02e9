"""Finer panels in a zone: closed, on the curved skin, nothing moved, mirrored kept exactly."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import check_surface
from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.refining import grown, parent_operator, refined
from tests import bodies
from tests.noses import random_nose


def marked(surface, *panels):
    mask = np.zeros(surface.n_panels, dtype=bool)
    mask[list(panels)] = True
    return mask


def children(surface, parents):
    return np.bincount(parents, minlength=surface.n_panels)


def test_one_panel_becomes_four_and_its_neighbours_two():
    body = SurfaceMesh(*bodies.icosphere(2))
    finer, parents = refined(body, marked(body, 17))
    counts = children(body, parents)
    assert counts[17] == 4
    assert (counts[body.edge_neighbours[17]] == 2).all()
    assert finer.n_panels == body.n_panels + 3 + 3
    assert finer.n_vertices == body.n_vertices + 3
    assert "1 panels divided into four and 3 into two" in finer.notes[-1]


def test_all_panels_become_four_and_none_stays_as_it_is():
    body = SurfaceMesh(*bodies.icosphere(2))
    everything, parents = refined(body, np.ones(body.n_panels, dtype=bool))
    assert (children(body, parents) == 4).all()
    assert everything.n_vertices == 4 * (body.n_vertices - 2) + 2
    nothing, parents = refined(body, marked(body))
    assert np.array_equal(parents, np.arange(body.n_panels))
    assert np.array_equal(nothing.vertices, body.vertices)
    assert np.array_equal(nothing.triangles, body.triangles)
    assert nothing.notes == body.notes


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.6])
@pytest.mark.parametrize("body", [SurfaceMesh(*bodies.icosphere(2)), random_nose(5, 0.25)])
def test_any_zone_leaves_the_skin_closed_and_old_vertices_where_they_are(body, share):
    zone = np.random.default_rng(int(100 * share)).random(body.n_panels) < share
    if body.mirrored:
        zone |= np.tile(np.logical_or(*np.split(zone, 2)), 2)
    finer, parents = refined(body, zone)
    check_surface(finer)
    assert (finer.edge_neighbours >= 0).all()
    counts = children(body, parents)
    assert set(counts) <= {1, 2, 4}
    assert (counts[zone] == 4).all()
    assert (np.diff(parents) >= 0).all()
    assert np.array_equal(finer.vertices[: body.n_vertices], body.vertices)
    kept = counts[parents] == 1
    assert np.array_equal(finer.triangles[kept], body.triangles[counts == 1])
    assert (finer.normals * body.normals[parents]).sum(axis=1).min() > 0.5


def test_flat_faces_and_sharp_edges_stay_as_they_are():
    box = bodies.box((2.0, 1.0, 0.8), (6, 4, 3))
    finer, parents = refined(box, box.centroids[:, 0] < 0.2)
    check_surface(finer)
    assert finer.volume == pytest.approx(box.volume, rel=1e-13)
    shares = np.bincount(parents, finer.areas)
    assert shares == pytest.approx(box.areas, rel=1e-12)
    counts = children(box, parents)
    whole = 1.0 / counts[parents]
    assert finer.areas == pytest.approx(box.areas[parents] * whole, rel=1e-12)


def test_new_vertices_come_nearer_to_a_sphere_with_the_fourth_power_of_the_edge():
    off = []
    for level in (2, 3):
        body = SurfaceMesh(*bodies.icosphere(level))
        finer, _ = refined(body, np.ones(body.n_panels, dtype=bool))
        off.append(np.abs(np.linalg.norm(finer.vertices, axis=1) - 1.0).max())
        gap = 1.0 - np.linalg.norm(body.corners.mean(axis=1), axis=1).min()
        assert off[-1] < 0.02 * gap
    # between the powers 3.5 and 4.5
    assert 2.0**3.5 < off[0] / off[1] < 2.0**4.5


def test_volume_and_area_of_a_sphere_come_nearer():
    body = SurfaceMesh(*bodies.icosphere(2))
    zone = body.centroids[:, 0] < 0.0
    finer, _ = refined(body, zone)
    for name, exact in (("volume", 4.0 * np.pi / 3.0), ("area", 4.0 * np.pi)):
        before, after = exact - getattr(body, name), exact - getattr(finer, name)
        # half of the body has a quarter of its error
        assert after == pytest.approx(before * (0.5 + 0.5 / 4.0), rel=0.06)


def test_mirrored_surface_stays_the_exact_image_and_one_side_marked_is_enough():
    body = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 3)
    n = body.n_solved
    zone = body.centroids[:, 0] < -1.5
    right = zone & (np.arange(body.n_panels) < n)
    finer, parents = refined(body, right)
    assert finer.mirrored
    check_surface(finer)
    assert (finer.edge_neighbours >= 0).all()
    first, second = np.split(finer.corners, 2)
    assert np.array_equal(second, first[:, [0, 2, 1]] * [1.0, -1.0, 1.0])
    assert np.array_equal(parents[len(parents) // 2 :], parents[: len(parents) // 2] + n)
    other, _ = refined(body, zone & ~right)
    assert np.array_equal(other.triangles, finer.triangles)
    on_plane = body.vertices[:, 1] == 0.0
    assert np.count_nonzero(finer.vertices[:, 1] == 0.0) > np.count_nonzero(on_plane)


def test_half_and_whole_are_divided_alike():
    body = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 2)
    zone = body.centroids[:, 0] < -1.0
    half, _ = refined(body, zone)
    whole, _ = refined(body.unmirrored(), zone)
    assert not whole.mirrored
    assert np.sort(half.areas) == pytest.approx(np.sort(whole.areas), rel=1e-9)
    gaps = np.linalg.norm(half.vertices[:, None] - whole.vertices, axis=2).min(axis=1)
    assert gaps.max() < 1e-11


def test_regions_go_to_the_children():
    body = SurfaceMesh(*bodies.icosphere(2))
    body = body.with_regions((body.centroids[:, 0] < 0.1).astype(int), ("unnamed", "nose"))
    finer, parents = refined(body, body.centroids[:, 2] > 0.0)
    assert finer.region_names == body.region_names
    assert np.array_equal(finer.region_index, body.region_index[parents])


def test_rings_of_neighbours():
    body = SurfaceMesh(*bodies.icosphere(3))
    vertices = body.triangles[700]
    at = [np.count_nonzero((body.triangles == v).any(axis=1)) for v in vertices]
    assert at == [6, 6, 6]
    one = marked(body, 700)
    assert np.array_equal(grown(body, one, 0), one)
    # six triangles at each corner, shared by pairs along the edges: 18 - 2 * 3 + 1
    assert np.count_nonzero(grown(body, one, 1)) == 13
    assert np.array_equal(grown(body, grown(body, one, 1), 1), grown(body, one, 2))


def test_values_come_back_to_the_control_points_of_the_parents():
    body = bodies.ellipsoid(np.array([3.0, 2.0, 1.0]), 3)
    finer, parents = refined(body, body.centroids[:, 0] < -1.5)
    operator = parent_operator(body, finer, parents)
    assert operator @ np.ones(finer.n_panels) == pytest.approx(np.ones(body.n_panels), abs=1e-12)
    counts = children(body, parents)
    same = np.flatnonzero(counts == 1)
    values = np.random.default_rng(3).normal(size=finer.n_panels)
    kept = counts[parents] == 1
    assert np.array_equal((operator @ values)[same], values[kept])
    points = curved_panels(finer).points
    last = np.append(np.diff(parents) > 0, True)
    middle = last & (counts[parents] == 4)
    off = np.linalg.norm(points[middle] - curved_panels(body).points[counts == 4], axis=1)
    assert (off / np.sqrt(body.areas[counts == 4])).max() < 0.05
    there = operator @ points
    gap = np.linalg.norm(there - curved_panels(body).points, axis=1)
    size = np.sqrt(body.areas)
    assert (gap / size)[counts == 4].max() < 2e-3
    assert (gap / size)[counts == 2].max() < 1e-2


def test_linear_values_on_a_plane_come_back_exactly():
    box = bodies.box((1.0, 1.0, 1.0), (8, 8, 8))
    finer, parents = refined(box, np.abs(box.centroids).sum(axis=1) < 0.75)
    slope = np.array([0.3, -1.2, 0.7])
    found = parent_operator(box, finer, parents) @ (curved_panels(finer).points @ slope)
    inside = ~grown(box, (curved_panels(box).neighbours < 0).any(axis=1), 1)
    assert set(children(box, parents)[inside]) == {1, 2, 4}
    expected = curved_panels(box).points @ slope
    assert found[inside] == pytest.approx(expected[inside], abs=1e-12)


@pytest.mark.parametrize("panels", [np.zeros(3, dtype=bool), np.arange(320)], ids=["shape", "int"])
def test_wrong_marks_are_refused(panels):
    with pytest.raises(SurfaceError, match=r"expected \(320,\) true or false"):
        refined(SurfaceMesh(*bodies.icosphere(2)), panels)
