"""Fins and inner walls dropped, good skin kept, touching skins parted."""

import numpy as np
import pytest

from panelcp.surface.checking import require_closed
from panelcp.surface.crowded import crowded_edges, part_crowded_edges, split_touching_vertices
from tests import bodies


def walled(box):
    """Box with a fan of triangles across its middle, on the vertices of its skin."""
    ring = np.flatnonzero(np.abs(box.vertices[:, 0]) < 1e-9)
    turn = np.arctan2(box.vertices[ring, 2], box.vertices[ring, 1])
    ring = ring[np.argsort(turn)]
    wall = np.stack([ring, np.roll(ring, -1), np.full(len(ring), box.n_vertices)], axis=1)
    vertices = np.vstack([box.vertices, [[0.0, 0.0, 0.0]]])
    return vertices, np.vstack([box.triangles, wall]), len(wall)


def test_clean_body_is_untouched(sphere):
    for change in (part_crowded_edges, split_touching_vertices):
        vertices, triangles, notes = change(sphere.vertices, sphere.triangles)
        assert vertices is sphere.vertices
        assert triangles is sphere.triangles
        assert notes == []


@pytest.mark.parametrize("share", [0.0, 0.4])
def test_bulkhead_goes_and_all_skin_stays_whatever_the_winding(share):
    box = bodies.box((2.0, 1.0, 1.0), (8, 4, 4))
    vertices, triangles, n_wall = walled(box)
    over = np.random.default_rng(1).random(len(triangles)) < share
    triangles[over] = triangles[over][:, [0, 2, 1]]
    kept_vertices, kept, notes = part_crowded_edges(vertices, triangles)
    assert np.array_equal(kept, triangles[: box.n_panels])
    assert np.array_equal(kept_vertices, box.vertices)
    assert notes == [f"{n_wall} triangles of inner walls dropped (round STA 0 BL 0 WL 0 mm)"]


def test_wall_at_a_sharp_edge_is_not_taken_for_the_skin():
    # from the edge of a box to the opposite one: bends less than the skin does there
    box = bodies.box((2.0, 1.0, 1.0), (2, 1, 1))
    corner = {tuple(np.sign(v).astype(int)): k for k, v in enumerate(box.vertices) if v[0] != 0}
    middle = {tuple(np.sign(v[1:]).astype(int)): k for k, v in enumerate(box.vertices) if v[0] == 0}
    low = [corner[-1, -1, -1], middle[-1, -1], corner[1, -1, -1]]
    high = [corner[-1, 1, 1], middle[1, 1], corner[1, 1, 1]]
    wall = []
    for i in range(2):
        wall += [[low[i], low[i + 1], high[i]], [low[i + 1], high[i + 1], high[i]]]
    _, kept, _ = part_crowded_edges(box.vertices, np.vstack([box.triangles, wall]))
    assert np.array_equal(kept, box.triangles)


def test_fin_and_doubled_sheet_go():
    box = bodies.box((2.0, 1.0, 1.0), (8, 4, 4))
    a, b = box.triangles[40][:2]
    tip = 1.4 * box.vertices[[a, b]].mean(axis=0)
    vertices = np.vstack([box.vertices, [tip]])
    fin = [[a, b, box.n_vertices]]
    kept_vertices, kept, notes = part_crowded_edges(vertices, np.vstack([box.triangles, fin]))
    assert np.array_equal(kept, box.triangles)
    assert len(kept_vertices) == box.n_vertices
    assert notes[0].startswith("1 triangles of fins without thickness dropped")


def test_half_with_a_bulkhead_keeps_its_open_edge():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    ring = np.flatnonzero(np.abs(vertices[:, 0]) < 1e-9)
    ring = ring[np.argsort(np.arctan2(vertices[ring, 2], vertices[ring, 1]))]
    wall = np.stack([ring[:-1], ring[1:], np.full(len(ring) - 1, len(vertices))], axis=1)
    both = np.vstack([triangles, wall])
    _, kept, _ = part_crowded_edges(np.vstack([vertices, [[0.0, 0.0, 0.0]]]), both)
    assert np.array_equal(kept, triangles)


def test_bodies_that_share_an_edge_are_parted_there():
    first = bodies.box((1.0, 1.0, 1.0), (1, 1, 1))
    second = first.vertices + np.array([1.0, 1.0, 0.0])
    both = np.vstack([first.vertices, second])
    names = np.unique(both.round(9), axis=0, return_inverse=True)
    triangles = names[1].ravel()[np.vstack([first.triangles, first.triangles + 8])]
    assert len(crowded_edges(names[0], triangles)) == 1
    vertices, parted, notes = part_crowded_edges(names[0], triangles)
    require_closed(vertices, parted)
    assert len(vertices) == 16
    assert np.array_equal(vertices[parted], names[0][triangles])
    assert notes[0].startswith("skin parted along 1 edges")


def test_bodies_that_share_a_point_are_parted_there():
    first = bodies.box((1.0, 1.0, 1.0), (1, 1, 1))
    both = np.vstack([first.vertices, first.vertices + 1.0])
    names = np.unique(both.round(9), axis=0, return_inverse=True)
    triangles = names[1].ravel()[np.vstack([first.triangles, first.triangles + 8])]
    assert len(names[0]) == 15
    vertices, split, notes = split_touching_vertices(names[0], triangles)
    assert len(vertices) == 16
    assert np.array_equal(vertices[split], names[0][triangles])
    assert notes[0].startswith("1 vertices at which the skin touches itself")
