"""Small repairs, each of which is told."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import (
    close_cracks,
    close_junctions,
    draw_needles,
    drop_doubled,
    edge_table,
    flat_triangles,
    format_place,
    half_edge_ends,
    merge_coincident,
    merge_points,
    open_vertices,
    remove_flat,
    snap_to_plane,
    sorted_edges,
)
from tests import bodies


def loose(surface):
    return surface.corners.reshape(-1, 3), np.arange(3 * surface.n_panels).reshape(-1, 3)


def test_merging_makes_loose_triangles_one_skin(sphere):
    vertices, triangles, notes = merge_coincident(*loose(sphere))
    assert len(vertices) == sphere.n_vertices
    assert len(open_vertices(triangles)) == 0
    assert vertices[triangles] == pytest.approx(sphere.corners, abs=1e-15)
    assert notes == [f"3840 vertices merged to {sphere.n_vertices} (points that coincide)"]


def test_merging_a_merged_skin_changes_and_says_nothing(sphere):
    vertices, triangles, notes = merge_coincident(sphere.vertices, sphere.triangles)
    assert notes == []
    assert np.array_equal(vertices[triangles], sphere.corners)


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_rounding_in_the_file_is_merged_whatever_the_unit(sphere, scale):
    vertices, triangles = loose(sphere.scaled(scale))
    shaken = vertices.astype(np.float32).astype(float)
    merged, _, _ = merge_coincident(shaken, triangles)
    assert len(merged) == sphere.n_vertices


def test_what_is_apart_stays_apart(sphere):
    vertices, triangles = loose(sphere)
    vertices = np.array(vertices)
    vertices[:3] *= 1.0 + 1e-5
    assert len(merge_coincident(vertices, triangles)[0]) == sphere.n_vertices + 3


def test_vertices_of_no_triangle_are_left_out(sphere):
    vertices = np.vstack([[[9.0, 9.0, 9.0]], sphere.vertices])
    merged, triangles, _ = merge_coincident(vertices, sphere.triangles + 1)
    assert len(merged) == sphere.n_vertices
    assert np.array_equal(merged[triangles], sphere.corners)


def test_slivers_on_a_line_are_an_error_and_dots_are_dropped(sphere):
    a, b, c = sphere.triangles[0]
    dots = np.vstack([sphere.triangles, [[a, a, b], [c, c, c]]])
    assert merge_coincident(sphere.vertices, dots)[2] == [
        "2 triangles with coinciding corners dropped"
    ]
    on_line = np.vstack([sphere.vertices, [0.3 * sphere.vertices[a] + 0.7 * sphere.vertices[b]]])
    sliver = np.vstack([sphere.triangles, [[a, b, sphere.n_vertices]]])
    place = format_place(on_line[[a, b, -1]].mean(axis=0))
    with pytest.raises(SurfaceError, match=f"1 of 1281 triangles have no area .first near {place}"):
        merge_coincident(on_line, sliver)


def test_only_open_edges_near_the_plane_are_snapped():
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 2)
    shaken = np.array(vertices)
    rim = np.flatnonzero(vertices[:, 1] == 0.0)
    shaken[rim[0], 1], shaken[rim[1], 1] = 0.4e-3, -0.2e-3
    snapped, notes = snap_to_plane(shaken, triangles, 0.5e-3)
    assert np.array_equal(snapped, vertices)
    assert notes == ["2 points put onto BL 0, moved by up to 0.4 mm (tolerance 0.5 mm)"]
    far, notes = snap_to_plane(shaken, triangles, 0.1e-3)
    assert np.array_equal(far, shaken)
    assert notes == []


def test_inner_points_near_the_plane_stay():
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 2)
    inner = np.array(vertices)
    off_rim = np.flatnonzero(vertices[:, 1] > 0.0)[0]
    inner[off_rim, 1] = 0.1e-3
    assert np.array_equal(snap_to_plane(inner, triangles, 0.5e-3)[0], inner)


def halves_apart(gap):
    """Both halves of an ellipsoid, the left one moved away."""
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 3)
    left = vertices * [1.0, -1.0, 1.0] - [0.0, gap, 0.0]
    both = np.vstack([triangles, triangles[:, [0, 2, 1]] + len(vertices)])
    return np.vstack([vertices, left]), both, np.count_nonzero(vertices[:, 1] == 0.0)


def test_crack_is_closed_in_the_middle_and_told():
    vertices, triangles, rim = halves_apart(0.2e-3)
    joined, closed, notes = close_cracks(vertices, triangles, 0.5e-3)
    assert len(open_vertices(closed)) == 0
    assert len(joined) == len(vertices) - rim
    assert len(closed) == len(triangles)
    (note,) = notes
    assert note.startswith(f"crack closed: {rim} pairs of points joined, up to 0.2 mm apart, near")
    moved = np.linalg.norm(joined[closed] - vertices[triangles], axis=2)
    assert moved.max() <= 0.2e-3


def test_gap_is_closed_halfway_unless_one_side_lies_on_the_centre_line():
    vertices, triangles, rim = halves_apart(0.2e-3)
    away = vertices + np.array([0.0, 1.0, 0.0])
    joined, closed, _ = close_cracks(away, triangles, 0.5e-3)
    middle = np.abs(joined[:, 1] - 1.0 + 0.1e-3) < 1e-9
    assert np.count_nonzero(middle) == rim
    on_plane, closed, _ = close_cracks(vertices, triangles, 0.5e-3)
    assert np.count_nonzero(on_plane[:, 1] == 0.0) == rim
    assert len(open_vertices(closed)) == 0


@pytest.mark.parametrize(("gap", "tolerance"), [(0.6e-3, 0.5e-3), (0.2e-3, 0.0)])
def test_wider_cracks_and_tolerance_zero_leave_all_as_it_is(gap, tolerance):
    vertices, triangles, _ = halves_apart(gap)
    same, still, notes = close_cracks(vertices, triangles, tolerance)
    assert same is vertices
    assert still is triangles
    assert notes == []


def test_closed_skin_is_left_alone(sphere):
    same, _, notes = close_cracks(sphere.vertices, sphere.triangles, 10.0)
    assert same is sphere.vertices
    assert notes == []


def test_neighbours_along_an_edge_are_never_joined():
    # a hole whose rim is finer than the tolerance must stay a hole
    sphere = bodies.ellipsoid((1.0, 1.0, 1.0), 2).scaled(1e-3)
    _, triangles, _ = close_cracks(sphere.vertices, sphere.triangles[1:], 0.5e-3)
    assert len(open_vertices(triangles)) == 3


def test_edges_and_open_vertices_of_two_triangles():
    triangles = [[0, 1, 2], [2, 1, 3]]
    assert sorted_edges(triangles).tolist() == [[0, 1], [1, 2], [0, 2], [1, 2], [1, 3], [2, 3]]
    assert open_vertices(triangles).tolist() == [0, 1, 2, 3]
    assert open_vertices([[0, 1, 2], [0, 2, 1]]).tolist() == []


def test_places_are_told_in_millimetres():
    assert format_place([1.2345, -0.4, 0.0999]) == "STA 1234 BL -400 WL 100 mm"


def test_doubled_triangles_of_any_winding_are_kept_once(sphere):
    some = sphere.triangles[3:10]
    doubled = np.vstack([sphere.triangles, some[:, [1, 2, 0]], some[:2, [0, 2, 1]]])
    _, triangles, notes = drop_doubled(sphere.vertices, doubled)
    assert np.array_equal(triangles, sphere.triangles)
    assert notes[0].startswith("9 doubled triangles dropped (first near STA")
    assert drop_doubled(sphere.vertices, sphere.triangles)[1] is sphere.triangles


def test_doubled_triangles_at_the_rim_are_found_too():
    # at an open edge the twins meet alone, at their other edges the skin goes on
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 2)
    at_rim = (vertices[triangles][:, :, 1] == 0.0).sum(axis=1) == 2
    doubled = np.vstack([triangles, triangles[at_rim][:, [1, 0, 2]]])
    _, kept, notes = drop_doubled(vertices, doubled)
    assert np.array_equal(kept, triangles)
    assert notes[0].startswith(f"{at_rim.sum()} doubled triangles dropped")


def test_flat_triangle_between_two_sides_is_turned_and_the_skin_stays_closed(sphere):
    # the edge a b is divided on one side only; a triangle without area closes the slit
    a, b, c = sphere.triangles[0]
    middle = sphere.n_vertices
    vertices = np.vstack([sphere.vertices, 0.3 * sphere.vertices[[a]] + 0.7 * sphere.vertices[[b]]])
    skin = np.vstack([sphere.triangles[1:], [[a, middle, c], [middle, b, c], [a, b, middle]]])
    mended, triangles, notes = remove_flat(vertices, skin)
    assert len(open_vertices(triangles)) == 0
    assert not flat_triangles(mended, triangles).any()
    assert len(triangles) == sphere.n_panels + 2
    assert SurfaceMesh(mended, triangles).volume == pytest.approx(sphere.volume, rel=1e-12)
    assert notes[0].startswith("1 triangles without area taken out")
    assert remove_flat(sphere.vertices, sphere.triangles)[1] is sphere.triangles


def test_needle_is_drawn_together_and_the_skin_stays_closed(sphere):
    t = sphere.triangles[0]
    mate = sphere.edge_neighbours[0, 0]
    a, b, c = t
    (d,) = np.setdiff1d(sphere.triangles[mate], [a, b])
    near = sphere.vertices[a] + 1e-6 * (sphere.vertices[b] - sphere.vertices[a])
    vertices, n = np.vstack([sphere.vertices, [near]]), sphere.n_vertices
    kept = np.delete(sphere.triangles, [0, mate], axis=0)
    skin = np.vstack([kept, [[n, b, c], [a, n, c], [b, n, d], [n, a, d]]])
    drawn, triangles, notes = draw_needles(vertices, skin)
    assert len(triangles) == sphere.n_panels
    assert len(drawn) == sphere.n_vertices
    assert len(open_vertices(triangles)) == 0
    assert SurfaceMesh(drawn, triangles).volume == pytest.approx(sphere.volume, rel=1e-6)
    assert notes[0].startswith("2 needle triangles drawn together")


def with_short_edge(vertices, triangles, a, b):
    """The edge a b divided next to a, on both sides where there are two."""
    near, n = vertices[a] + 1e-6 * (vertices[b] - vertices[a]), len(vertices)
    at = np.flatnonzero(np.isin(triangles, [a, b]).sum(axis=1) == 2)
    parts = [np.where(triangles[at] == end, n, triangles[at]) for end in (a, b)]
    return np.vstack([vertices, near]), np.vstack([np.delete(triangles, at, axis=0), *parts])


@pytest.mark.parametrize("along", [False, True])
@pytest.mark.parametrize("number", range(8))
def test_needle_at_the_rim_of_a_half_leaves_the_rim_in_its_place(number, along):
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    rim = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    a, b = rim[4 * number]
    if not along:  # an edge that leaves the rim
        around = np.unique(triangles[(triangles == a).any(axis=1)])
        b = around[vertices[around, 1] > 0.0][0]
    given = np.random.default_rng(number).permutation(len(triangles) + (1 if along else 2))
    points, skin = with_short_edge(vertices, triangles, a, b)
    drawn, kept, notes = draw_needles(points, skin[given])
    assert notes[0].startswith(f"{1 if along else 2} needle triangles drawn together")
    assert len(kept) == len(triangles)
    ends = half_edge_ends(kept, edge_table(len(drawn), kept).lone)
    assert len(ends) == len(rim)
    assert (drawn[ends][:, :, 1] == 0.0).all()
    apart = np.linalg.norm(drawn[np.unique(ends)][:, None] - vertices[np.unique(rim)], axis=2)
    assert apart.min(axis=0).max() <= (1e-6 if along else 0.0)


def test_short_edge_between_two_rims_is_not_drawn_together():
    # a narrow bridge between two holes: drawn together, the holes would touch in a point
    width = 1e-6
    vertices = np.array([[-1, 0, 0], [0, 0, 0], [0, width, 0], [1, 0, 0.0]])
    bridge = np.array([[0, 1, 2], [1, 3, 2]])
    assert draw_needles(vertices, bridge)[1] is bridge


@pytest.mark.parametrize(("away", "tolerance"), [(0.0, 1e-9), (0.2e-3, 0.5e-3)])
def test_points_on_an_open_edge_divide_it(away, tolerance):
    # one large triangle against three small ones
    vertices = np.array(
        [[0, 0, 0], [3, 0, 0], [1, -2, 0], [1, away, 0], [2, away, 0], [1.5, 2, 0]], dtype=float
    )
    triangles = np.array([[1, 0, 2], [0, 3, 5], [3, 4, 5], [4, 1, 5]])
    same, divided, notes = close_junctions(vertices, triangles, tolerance)
    assert same is vertices
    assert len(divided) == 6
    assert len(edge_table(6, divided).lone) == 4
    assert notes[0].startswith("seam zipped: open edges divided at 2 points that lie on them")
    assert close_junctions(vertices, triangles, 0.4 * away)[1] is triangles or away == 0.0


@pytest.mark.parametrize(
    ("along", "away", "joined"),
    [(0.5, 1.9e-3, 1), (0.5, 2.1e-3, 0), (0.05, 1.9e-3, 1), (0.03, 1.9e-3, 0), (0.03, 0.4e-3, 1)],
)
def test_round_seam_in_longer_steps_is_zipped_within_a_part_of_its_edges(along, away, joined):
    # one long edge of 0.1 m against two short ones that meet beside it
    vertices = np.array([[0, 0, 0], [0.1, 0, 0], [0.05, -0.1, 0], [0.1 * along, away, 0]])
    vertices = np.vstack([vertices, [[0.05, 0.1, 0.0]]])
    triangles = np.array([[1, 0, 2], [0, 3, 4], [3, 1, 4]])
    divided = close_junctions(vertices, triangles, 0.5e-3, share=0.02, most=5e-3)[1]
    assert len(divided) == 3 + joined
    assert len(edge_table(5, divided).lone) == 7 - 3 * joined
    near = close_junctions(vertices, triangles, 0.5e-3, share=0.02, most=1e-3)[1]
    assert len(near) == 3 + (away <= 0.5e-3)


def test_many_equal_points_are_merged_and_keep_their_order():
    places = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    loose = places[np.tile(faces, (500, 1))].reshape(-1, 3)
    vertices, triangles, _ = merge_points(loose, np.arange(6000).reshape(-1, 3))
    assert np.array_equal(vertices, places[[0, 2, 1, 3]])
    assert np.array_equal(vertices[triangles].reshape(-1, 3), loose)


def test_edges_are_grouped_also_round_a_vertex_of_very_many():
    around = np.arange(1, 201)
    fan = np.stack([np.zeros(200, dtype=int), around, np.roll(around, -1)], axis=1)
    table = edge_table(201, fan[np.random.default_rng(0).permutation(200)])
    assert table.counts.sum() == 600
    assert np.count_nonzero(table.counts == 2) == 200
    assert len(table.lone) == 200
    mates = table.mates
    both = np.flatnonzero(mates >= 0)
    assert np.array_equal(mates[mates[both]], both)
