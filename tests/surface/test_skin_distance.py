"""Distances along the skin, against great circles, unrolled cylinders and unfolded boxes."""

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.skin_distance import tape_distances
from tests import bodies


def tape(skin, place, firewall=None):
    return tape_distances(skin, lay_opening(skin, "vent", place, 0.04, 0.04), firewall)


def places(count, draw=1):
    """Points of the unit sphere that look clearly up or down, away from both planes."""
    points = np.random.default_rng(draw).normal(size=(20 * count, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    good = (np.abs(points[:, 2]) > 0.35) & (np.abs(points[:, 1]) > 0.1)
    return points[good & (np.abs(points[:, 0] - 0.3) > 0.1)][:count]


def test_arcs_on_a_sphere(sphere):
    # the shortest way to y = 0 and to x = 0.3 is an arc of the great circle through its pole;
    # measured: 0.04 % (0.7 % without the curved patches)
    skin = SkinFinder(sphere)
    for place in places(25):
        found = tape(skin, place, 0.3)
        line, wall = np.arcsin(abs(place[1])), np.arccos(place[0]) - np.arccos(0.3)
        assert found.centre_line == pytest.approx(line, rel=2e-3)
        assert found.firewall == pytest.approx(wall, rel=2e-3)
        assert found.side == ("top" if place[2] > 0.0 else "bottom")


def test_error_falls_with_the_square_of_the_panels():
    def worst(level):
        skin = SkinFinder(bodies.ellipsoid((1.0, 1.0, 1.0), level))
        return max(abs(tape(skin, p).centre_line - np.arcsin(abs(p[1]))) for p in places(15, 2))

    coarse, fine = worst(2), worst(3)
    assert fine < 1e-3
    assert coarse / fine > 2.0


@pytest.mark.parametrize("angle", [70.0, 40.0, -55.0])
def test_unrolled_cylinder(angle):
    inward = bodies.cylinder(64, 8)
    skin = SurfaceMesh(inward.vertices, inward.triangles[:, [0, 2, 1]])
    turn = np.radians(angle)
    found = tape(SkinFinder(skin), [-0.3, np.cos(turn), np.sin(turn)], 0.5)
    assert found.centre_line == pytest.approx(0.5 * np.pi - abs(turn), rel=1e-3)
    assert found.firewall == pytest.approx(0.8, rel=1e-6)
    assert found.side == ("top" if angle > 0 else "bottom")


def test_over_the_edges_of_a_box(brick):
    # on the right side, 0.1 below its upper edge: up over the edge and 0.5 across the top; the
    # side looks neither up nor down, so that the nearer centre line counts
    skin = SkinFinder(brick)
    found = tape(skin, [0.2, 0.5, 0.3], 0.7)
    assert found.centre_line == pytest.approx(0.1 + 0.5, abs=1e-6)
    assert (found.side, found.firewall) == ("top", pytest.approx(0.5, abs=1e-6))
    lower = tape(skin, [0.2, 0.5, -0.25])
    assert (lower.side, lower.centre_line) == ("bottom", pytest.approx(0.15 + 0.5, abs=1e-6))


def test_an_opening_that_looks_up_is_not_measured_round_the_belly(brick):
    found = tape(SkinFinder(brick), [0.0, 0.45, 0.4])
    assert (found.side, found.centre_line) == ("top", pytest.approx(0.45, abs=1e-9))


def test_on_the_centre_line_and_behind_the_firewall(brick):
    found = tape(SkinFinder(brick), [0.4, 0.0, 0.4], 0.1)
    assert found.centre_line == 0.0
    assert found.firewall == pytest.approx(-0.3, abs=1e-9)
    assert tape(brick, [0.1, 0.2, 0.4], 0.1).firewall == 0.0


def test_without_a_firewall_nothing_is_said_of_it(brick):
    assert tape(brick, [0.1, 0.2, 0.4]).firewall is None


def test_firewall_off_the_body_is_refused(brick):
    with pytest.raises(SurfaceError, match=r"opening vent at STA 100 .* firewall at STA 3000 mm"):
        tape(brick, [0.1, 0.2, 0.4], 3.0)


def test_no_way_along_edges_and_over_panels_is_shorter():
    """On a body without symmetry: never longer than along edges, never shorter than straight."""
    surface = bodies.egg(3)
    skin = SkinFinder(surface)
    ends = surface.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    length = np.linalg.norm(surface.vertices[ends[:, 0]] - surface.vertices[ends[:, 1]], axis=1)
    graph = coo_array((length, ends.T), shape=(surface.n_vertices,) * 2).tocsr()
    above = surface.vertices[:, 2] > surface.vertices[:, 2].mean()
    line = np.flatnonzero(above & (np.abs(surface.vertices[:, 1]) < 0.03))
    along_edges = dijkstra(graph, directed=False, indices=line, min_only=True)
    chosen = np.flatnonzero(above & (surface.vertices[:, 1] > 0.3))[::7]
    assert len(chosen) > 5
    for k in chosen:
        opening = lay_opening(skin, "vent", surface.vertices[k], 0.04, 0.04)
        if opening.normal[2] < 0.3:
            continue
        found = tape_distances(skin, opening)
        assert surface.vertices[k, 1] < found.centre_line < along_edges[k] + 0.04
