"""Fins and inner walls dropped, good skin kept, touching skins parted."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import require_closed
from panelcp.surface.crowded import crowded_edges, part_crowded_edges, split_touching_vertices
from panelcp.surface.mesh import mirrored_whole
from panelcp.surface.repair import edge_table, half_edge_ends
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


@pytest.mark.parametrize("n_inner", [1, 6])
def test_inner_triangles_on_the_centre_line_of_a_half_go(n_inner):
    # at an edge on y = 0 of the half there are two triangles, in the whole four
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    rim = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    far = int(np.argmax(vertices[:, 1]))
    inner = np.column_stack([rim[:n_inner], np.full(n_inner, far)])
    both = np.vstack([triangles, inner])
    same, kept, notes = part_crowded_edges(vertices, both, open_at_plane=True)
    assert np.array_equal(kept, triangles)
    assert np.array_equal(same, vertices)
    assert len(notes) == 1
    assert notes[0].startswith(f"{n_inner} triangles of inner walls dropped (round STA")
    untouched = part_crowded_edges(vertices, triangles, open_at_plane=True)
    assert untouched[1] is triangles


def test_half_that_pinches_on_the_centre_line_is_parted_there():
    # two prisms, one above the other, that meet along an edge on y = 0
    above = np.array([[0, 0, 0], [1, 0, 0], [0, 0, 1], [1, 0, 1], [0, 1, 1], [1, 1, 1]], float)
    prism = np.array(
        [[0, 1, 5], [0, 5, 4], [2, 4, 5], [2, 5, 3], [0, 4, 2], [1, 3, 5]], dtype=np.int64
    )
    below = above[2:] * [1.0, 1.0, -1.0]
    image = np.array([0, 1, 6, 7, 8, 9])
    vertices = np.vstack([above, below])
    triangles = np.vstack([prism[:, [0, 2, 1]], image[prism]])
    parted, kept, notes = part_crowded_edges(vertices, triangles, open_at_plane=True)
    assert np.array_equal(parted[kept], vertices[triangles])
    assert len(parted) == 12
    assert notes == ["skin parted along 1 edges at which it touches (near STA 0 BL 0 WL 0 mm)"]
    whole = mirrored_whole(parted, kept)
    require_closed(whole.vertices, whole.triangles)
    assert whole.volume == pytest.approx(2.0, rel=1e-12)


def test_skin_is_not_dropped_where_all_of_it_would_count_as_fins():
    # a second layer of some triangles lets the air in: each sheet then sees it on both sides
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    rim = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    twice = np.isin(triangles, rim[:1]).sum(axis=1) > 0
    with pytest.raises(SurfaceError, match="which of them are the outer skin cannot be told"):
        part_crowded_edges(vertices, np.vstack([triangles, triangles[twice]]))


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
