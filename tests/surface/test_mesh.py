"""The surface record: shapes, measures, neighbours, copies."""

import dataclasses

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import UNNAMED, SurfaceMesh, mirrored_whole
from tests import bodies

CORNERS = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
FACES = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]


@pytest.fixture(scope="module")
def corner():
    return SurfaceMesh(CORNERS, FACES)


@pytest.mark.parametrize(
    ("vertices", "triangles", "message"),
    [
        (np.zeros((3, 812)), FACES, r"shape \(3, 812\); expected \(n_vertices, 3\). It looks tra"),
        (np.zeros((5, 2)), FACES, r"vertices has shape \(5, 2\); expected \(n_vertices, 3\).$"),
        (np.zeros(9), FACES, r"vertices has shape \(9,\)"),
        (CORNERS, [[0, 1], [1, 2]], r"triangles has shape \(2, 2\); expected \(n_panels, 3\)"),
        (CORNERS, np.empty((0, 3), int), "the surface has no triangles"),
        (CORNERS, [[0.0, 1.0, 2.0]], "triangles must be whole numbers, not float64"),
        (CORNERS, [[0, 1, 4]], "triangles name vertices 0 to 4, but there are only 0 to 3"),
        (CORNERS, [[0, 1, -1]], "triangles name vertices -1 to 1"),
        ([[0, 0, 0], [1, np.nan, 0], [0, np.inf, 0]], [[0, 1, 2]], "2 of 3 vertices.*vertex 1"),
    ],
)
def test_wrong_arrays_are_refused(vertices, triangles, message):
    with pytest.raises(SurfaceError, match=message):
        SurfaceMesh(vertices, triangles)


@pytest.mark.parametrize(
    ("index", "names", "message"),
    [
        ([0, 0], ("a",), r"region_index has shape \(2,\); expected \(4,\)"),
        ([0, 1, 2, 0], ("a", "b"), "runs from 0 to 2, but there are 2 region names"),
        ([0, 1, -1, 0], ("a", "b"), "runs from -1 to 1"),
    ],
)
def test_wrong_regions_are_refused(index, names, message):
    with pytest.raises(SurfaceError, match=message):
        SurfaceMesh(CORNERS, FACES, index, names)


def test_arrays_are_copied_and_protected():
    vertices, triangles = np.array(CORNERS, float), np.array(FACES)
    surface = SurfaceMesh(vertices, triangles)
    vertices[0], triangles[0] = 9.0, 3
    assert surface.vertices[0].tolist() == [0.0, 0.0, 0.0]
    assert surface.triangles[0].tolist() == [0, 2, 1]
    for name in (
        "vertices",
        "triangles",
        "region_index",
        "corners",
        "areas",
        "normals",
        "centroids",
        "area_vectors",
        "bounds",
        "size",
        "edge_neighbours",
    ):
        with pytest.raises(ValueError, match="read-only"):
            getattr(surface, name)[0] = 0
    with pytest.raises(dataclasses.FrozenInstanceError):
        surface.mirrored = True


def test_measures_of_a_corner(corner):
    assert corner.areas == pytest.approx([0.5, 0.5, 0.5, np.sqrt(0.75)])
    assert corner.area == pytest.approx(1.5 + np.sqrt(0.75))
    assert corner.volume == pytest.approx(1.0 / 6.0)
    assert corner.normals[3] == pytest.approx(np.full(3, 1.0 / np.sqrt(3.0)))
    assert corner.normals[:3] == pytest.approx(np.array([[0, 0, -1], [0, -1, 0], [-1, 0, 0]]))
    assert corner.centroids[3] == pytest.approx(np.full(3, 1.0 / 3.0))
    assert corner.area_vectors.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-15)
    assert corner.size.tolist() == [1.0, 1.0, 1.0]
    assert (corner.n_vertices, corner.n_panels, corner.n_solved) == (4, 4, 4)


def test_measures_of_a_box(brick):
    assert brick.volume == pytest.approx(2.0 * 1.0 * 0.8, rel=1e-12)
    assert brick.area == pytest.approx(2.0 * (2.0 * 1.0 + 2.0 * 0.8 + 1.0 * 0.8), rel=1e-12)
    assert brick.bounds.tolist() == [[-1.0, -0.5, -0.4], [1.0, 0.5, 0.4]]


def test_measures_of_a_sphere_approach_the_exact_ones(fine_sphere):
    # inscribed: short by about (edge / radius)^2 / 4
    assert fine_sphere.area == pytest.approx(4.0 * np.pi, rel=1e-3)
    assert fine_sphere.volume == pytest.approx(4.0 / 3.0 * np.pi, rel=1.5e-3)
    assert fine_sphere.volume < 4.0 / 3.0 * np.pi
    facing = (fine_sphere.normals * fine_sphere.centroids).sum(axis=1)
    assert facing.min() > 0.999


def test_neighbours_share_the_edge_they_are_listed_under(sphere):
    triangles, neighbours = sphere.triangles, sphere.edge_neighbours
    assert neighbours.min() >= 0
    for k in range(3):
        edge = triangles[:, [k, (k + 1) % 3]]
        other = triangles[neighbours[:, k]]
        assert (edge[:, :, None] == other[:, None]).any(axis=2).all()
    assert (neighbours != np.arange(sphere.n_panels)[:, None]).all()


def test_neighbours_of_open_and_crowded_edges():
    strip = SurfaceMesh(np.random.default_rng(0).normal(size=(5, 3)), [[0, 1, 2], [2, 1, 3]])
    assert strip.edge_neighbours.tolist() == [[-1, 1, -1], [0, -1, -1]]
    fin = SurfaceMesh(strip.vertices, [[0, 1, 2], [2, 1, 3], [1, 2, 4]])
    assert fin.edge_neighbours.max() == -1


def test_regions_are_found_by_name(corner):
    named = corner.with_regions([0, 1, 1, 0], ["cowl", "screen"])
    assert named.region("screen").tolist() == [False, True, True, False]
    assert corner.region(UNNAMED).all()
    with pytest.raises(SurfaceError, match="no region is called 'wing'; there are: cowl, screen"):
        named.region("wing")


def test_copies_scaled_moved_and_turned(corner):
    assert corner.scaled(2.0).volume == pytest.approx(8.0 / 6.0)
    assert corner.translated([1.0, 2.0, 3.0]).bounds[0].tolist() == [1.0, 2.0, 3.0]
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    turned = corner.rotated(turn)
    assert turned.vertices[1].tolist() == [0.0, 1.0, 0.0]
    assert turned.volume == pytest.approx(corner.volume)
    for factor in (0.0, -1.0, np.nan):
        with pytest.raises(SurfaceError, match="is not positive"):
            corner.scaled(factor)


def test_history_grows_and_regions_and_history_survive_copies(corner):
    named = corner.with_regions([0, 1, 1, 0], ["cowl", "screen"]).with_notes("first", "second")
    for copy in (named.scaled(2.0), named.translated([0, 0, 1]), named.rotated(np.eye(3))):
        assert copy.notes == ("first", "second")
        assert copy.region_names == ("cowl", "screen")
        assert copy.region_index.tolist() == [0, 1, 1, 0]
    assert corner.notes == ()


def test_mirrored_whole_of_a_half():
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 2)
    whole = mirrored_whole(vertices, triangles, notes=["read"])
    n = len(triangles)
    assert (whole.n_panels, whole.n_solved, whole.notes) == (2 * n, n, ("read",))
    assert whole.edge_neighbours.min() >= 0
    assert whole.centroids[n:] == pytest.approx(whole.centroids[:n] * [1, -1, 1], abs=1e-15)
    assert whole.normals[n:] == pytest.approx(whole.normals[:n] * [1, -1, 1], abs=1e-15)
    assert np.abs(whole.bounds[0] + whole.bounds[1]).max() < 1e-15
    on_plane = np.count_nonzero(vertices[:, 1] == 0.0)
    assert whole.n_vertices == 2 * len(vertices) - on_plane


def test_points_of_a_half_are_shared_within_the_tolerance():
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 2)
    shaken = np.where(vertices[:, [1]] == 0.0, vertices + np.array([0.0, 2e-4, 0.0]), vertices)
    assert mirrored_whole(shaken, triangles, tolerance=1e-3).edge_neighbours.min() >= 0
    assert mirrored_whole(shaken, triangles, tolerance=1e-5).edge_neighbours.min() == -1


def test_mirrored_says_the_truth_or_is_refused(corner):
    with pytest.raises(SurfaceError, match="second half of the panels is not the mirror image"):
        SurfaceMesh(CORNERS, FACES, mirrored=True)
    with pytest.raises(SurfaceError, match="even number of panels, not 3"):
        SurfaceMesh(CORNERS, FACES[:3], mirrored=True)


def test_copies_that_lose_the_mirror_plane_lose_the_mark():
    whole = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 1)
    assert whole.scaled(3.0).mirrored
    assert whole.translated([1.0, 0.0, 2.0]).mirrored
    assert not whole.translated([0.0, 0.1, 0.0]).mirrored
    assert not whole.rotated(np.eye(3)).mirrored
    assert not whole.unmirrored().mirrored
    assert whole.unmirrored().n_solved == whole.n_panels
