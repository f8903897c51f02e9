"""All repairs together: damaged skins come out closed, clean ones untouched, the rest refused."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import check_surface, require_closed
from panelcp.surface.mending import MendingOptions, _zipped_seams, drop_loose_parts, mended
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.repair import edge_table, half_edge_ends, used_only
from tests import bodies


def ball_at(place, radius):
    return bodies.ellipsoid((radius,) * 3, 2).translated(place)


def whole_of(result):
    return SurfaceMesh(result[0], result[1])


@pytest.mark.parametrize(
    "body", [bodies.egg(3), bodies.box(), bodies.slab(), bodies.ellipsoid((3.0, 0.5, 0.6), 4)]
)
def test_clean_bodies_pass_untouched(body):
    vertices, triangles, notes = mended(body.vertices, body.triangles)
    assert vertices is body.vertices
    assert triangles is body.triangles
    assert notes == []


def test_clean_half_passes_untouched():
    half = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    vertices, triangles, notes = mended(*half, open_at_plane=True)
    assert vertices is half[0]
    assert triangles is half[1]
    assert notes == []


def test_many_faults_at_once_are_mended_and_each_is_told():
    egg = bodies.egg(4)
    random = np.random.default_rng(3)
    kept = np.linalg.norm(egg.centroids - egg.vertices[7], axis=1) > 0.1
    skin = egg.triangles[kept]
    over = random.random(len(skin)) < 0.3
    skin = np.where(over[:, None], skin[:, [0, 2, 1]], skin)
    skin = np.vstack([skin, skin[:5, [1, 0, 2]]])
    screw = ball_at([0.0, 0.0, 0.0], 0.02)
    loose = np.concatenate([egg.vertices[skin], screw.corners]).reshape(-1, 3)
    options = MendingOptions(largest_hole=0.4)
    result = mended(loose, np.arange(len(loose)).reshape(-1, 3), options)
    check_surface(whole_of(result))
    assert whole_of(result).volume == pytest.approx(egg.volume, rel=2e-4)
    told = "; ".join(result[2])
    for words in (
        "vertices merged",
        "5 doubled triangles dropped",
        "triangles turned over",
        "1 loose part of 320 triangles dropped: 40 mm at STA",
        "1 hole filled",
    ):
        assert words in told


def test_half_with_wall_gap_and_scatter_becomes_a_whole():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 4)
    rim = np.flatnonzero(vertices[:, 1] == 0.0)
    order = rim[np.argsort(np.arctan2(vertices[rim, 2], vertices[rim, 0]))]
    wall = np.stack([order, np.roll(order, -1), np.full(len(rim), len(vertices))], axis=1)
    shaken = np.vstack([vertices, [[0.0, 0.0, 0.0]]])
    skin = np.vstack([triangles, wall])
    result = mended(shaken, skin, open_at_plane=True)
    assert np.array_equal(result[1], triangles)
    assert result[2] == [
        f"{len(wall)} triangles of a wall on BL 0 dropped (round STA 0 BL 0 WL 0 mm)"
    ]
    check_surface(mirrored_whole(result[0], result[1]))


@pytest.mark.parametrize("away", [1e-16, -0.3e-3, 0.4e-3])
def test_wall_of_a_closed_half_goes_also_a_little_beside_the_centre_line(away):
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    rim = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    wall = np.column_stack([rim[:, ::-1], np.full(len(rim), len(vertices))])
    closed = np.vstack([vertices, np.zeros(3)]) + np.array([0.0, away, 0.0])
    result = mended(closed, np.vstack([triangles, wall]), open_at_plane=True)
    assert np.array_equal(result[1], triangles)
    assert (result[0][np.unique(rim), 1] == 0.0).all()
    assert result[2][0].startswith(f"{len(wall)} triangles of a wall on BL 0 dropped")
    check_surface(mirrored_whole(result[0], result[1]))


def test_half_that_stops_beside_the_centre_line_is_told_so():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    words = r"lies 0\.8 to 0\.8 mm beside BL 0, farther than plane_tolerance of 0\.5 mm"
    with pytest.raises(SurfaceError, match=words):
        mended(vertices + np.array([0.0, 0.8e-3, 0.0]), triangles, open_at_plane=True)


def test_points_close_together_on_the_centre_line_are_no_crack():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    lone = edge_table(len(vertices), triangles).lone[0]
    a, b = half_edge_ends(triangles, np.array([lone]))[0]
    along = vertices[b] - vertices[a]
    step = 2e-4 * along / np.linalg.norm(along)
    between = 0.5 * (vertices[a] + vertices[b]) + np.arange(3)[:, None] * step
    line = np.concatenate([[a], len(vertices) + np.arange(3), [b]])
    parts = np.column_stack([line[:-1], line[1:], np.full(4, triangles[lone // 3, lone % 3 - 1])])
    cut = np.vstack([vertices, between]), np.vstack([np.delete(triangles, lone // 3, 0), parts])
    result = mended(*cut, MendingOptions(crack_tolerance=5e-4), open_at_plane=True)
    # the first and the third point are nearer to each other than the tolerance of cracks
    assert result[0] is cut[0]
    assert result[1] is cut[1]
    check_surface(mirrored_whole(result[0], result[1]))


@pytest.mark.parametrize("gap", [0.0, 0.2e-3])
def test_a_crack_is_closed_up_to_the_centre_line(gap):
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 4)
    behind = vertices[triangles].mean(axis=1)[:, 0] > 0.3
    front, kept = used_only(vertices, triangles[~behind])
    rear, moved = used_only(vertices, triangles[behind])
    rear = rear + np.array([gap, 0.0, 0.0])
    torn = np.vstack([front, rear]), np.vstack([kept, moved + len(front)])
    result = mended(*torn, MendingOptions(crack_tolerance=5e-4), open_at_plane=True)
    whole = mirrored_whole(result[0], result[1])
    check_surface(whole)
    assert len(result[0]) == len(vertices)
    assert whole.volume == pytest.approx(mirrored_whole(vertices, triangles).volume, rel=1e-3)
    told = "crack closed: " if gap else "vertices merged"
    assert sum(told in line for line in result[2]) == 1


@pytest.mark.parametrize("draw", [2, 4, 12, 71])
def test_caps_do_not_fold_back_onto_triangles_that_hang_on_a_rough_rim(draw):
    vertices, triangles = bodies.icosphere(4)
    random = np.random.default_rng(draw)
    rough = vertices + 0.025 * random.normal(size=vertices.shape)
    centre = vertices[random.integers(len(vertices))]
    away = np.linalg.norm(rough[triangles].mean(axis=1) - centre, axis=1)
    skin = triangles[away > 0.3 + 0.06 * random.random(len(triangles))]
    options = MendingOptions(largest_hole=1.0, crossings=False)
    points, corners, notes = mended(rough, skin, options)
    require_closed(points, corners)
    assert sum("rims of filled holes left out" in line for line in notes) == 1
    whole = SurfaceMesh(rough, triangles).volume
    assert SurfaceMesh(points, corners).volume == pytest.approx(whole, rel=0.01)


def test_half_with_a_shelf_on_its_centre_line_keeps_the_skin_alone():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    rim = half_edge_ends(triangles, edge_table(len(vertices), triangles).lone)
    shelf = np.column_stack([rim[:9], np.full(9, np.argmax(vertices[:, 1]))])
    result = mended(vertices, np.vstack([triangles, shelf]), open_at_plane=True)
    assert np.array_equal(result[0], vertices)
    assert np.array_equal(result[1], triangles)
    assert len(result[2]) == 1


def test_loose_parts_are_dropped_below_the_share_only():
    both = bodies.together(ball_at([0.0, 0.0, 0.0], 1.0), ball_at([2.0, 0.0, 0.0], 0.05))
    vertices, triangles, notes = drop_loose_parts(both.vertices, both.triangles, 0.005)
    assert np.array_equal(triangles, both.triangles[:320])
    assert len(vertices) == both.n_vertices // 2
    assert notes == ["1 loose part of 320 triangles dropped: 100 mm at STA 2000 BL 0 WL 0 mm"]
    assert drop_loose_parts(both.vertices, both.triangles, 0.002)[1] is both.triangles


def test_crack_with_points_of_its_own_on_each_side_is_zipped():
    box = bodies.box((2.0, 1.0, 1.0), (8, 4, 4))
    fine = bodies.box((2.0, 1.0, 1.0), (8, 12, 12))
    front = used_only(box.vertices, box.triangles[box.centroids[:, 0] < 0.0])
    rear = used_only(
        fine.vertices + np.array([2e-4, 0.0, 0.0]), fine.triangles[fine.centroids[:, 0] > 0.0]
    )
    vertices = np.vstack([front[0], rear[0]])
    triangles = np.vstack([front[1], rear[1] + len(front[0])])
    result = mended(vertices, triangles)
    require_closed(result[0], result[1])
    assert whole_of(result).volume == pytest.approx(2.0, abs=2.1e-4)
    assert any(note.startswith("seam zipped") for note in result[2])


@pytest.mark.parametrize("away", [0.8e-3, -0.8e-3])
def test_halves_that_gape_or_overlap_a_little_become_one_skin(away):
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    left = (vertices + np.array([0.0, away, 0.0])) * [1.0, -1.0, 1.0]
    both = np.vstack([triangles, triangles[:, [0, 2, 1]] + len(vertices)])
    result = mended(np.vstack([vertices, left]), both)
    check_surface(whole_of(result))
    assert len(result[1]) == len(both)
    assert [note[:17] for note in result[2]] == ["seam of 0.8 mm be"]


def test_round_seam_in_steps_of_two_lengths_closes_without_a_hole():
    coarse, fine = (bodies.cylinder(around, 6) for around in (48, 96))
    front = used_only(coarse.vertices, coarse.triangles[coarse.centroids[:, 0] < 0.0])
    rear = used_only(fine.vertices, fine.triangles[fine.centroids[:, 0] > 0.0])
    vertices = np.vstack([front[0], rear[0]])
    triangles = np.vstack([front[1], rear[1] + len(front[0])])
    result = mended(vertices, triangles)
    check_surface(whole_of(result))
    assert len(result[1]) == len(triangles) + 48
    words = "seam zipped: open edges divided at 48 points that lie on them, up to 2.14 mm away"
    assert [note[: len(words)] for note in result[2] if "zipped" in note] == [words]
    assert not any("hole" in note for note in result[2])


def test_edges_of_two_sheets_along_the_centre_line_are_no_seam():
    coarse, fine = (bodies.half_ellipsoid((3.0, 1.0, 1.0), level) for level in (4, 5))
    vertices = np.vstack([coarse[0], fine[0] - np.array([0.0, 0.0, 1e-3])])
    triangles = np.vstack([coarse[1], fine[1] + len(coarse[0])])
    assert _zipped_seams(vertices, triangles, 1e-9, half=True)[1] is triangles
    assert len(_zipped_seams(vertices, triangles, 1e-9, half=False)[2]) == 1


def refused():
    egg = bodies.egg(3)
    away = egg.translated([9.0, 0.0, 0.0])
    holed = np.linalg.norm(egg.centroids - egg.vertices[7], axis=1) > 0.3
    behind = egg.centroids[:, 0] < 1.8
    broken = np.array(egg.vertices)
    broken[5, 1] = np.inf
    inside = bodies.together(egg, ball_at(egg.vertices[7], 0.3))
    return {
        "wide hole": (egg.vertices, egg.triangles[holed], r"1 hole stays open: \d+ mm at STA"),
        "no rear": (*used_only(egg.vertices, egg.triangles[behind]), "rear end is missing"),
        "two bodies": (*_of(bodies.together(egg, away)), "2 separate bodies"),
        "crossing": (*_of(inside), r"passes through itself \(\d+ pairs"),
        "not finite": (broken, egg.triangles, "1 of 642 vertices are not finite"),
        "empty": (egg.vertices, egg.triangles[:0], "no triangles"),
    }


def _of(surface):
    return surface.vertices, surface.triangles


@pytest.mark.parametrize("name", refused())
def test_what_cannot_be_mended_is_refused_by_name(name):
    vertices, triangles, words = refused()[name]
    with pytest.raises(SurfaceError, match=words):
        mended(vertices, triangles)


def test_sheet_beside_a_closed_skin_is_named_as_what_is_open():
    egg = bodies.egg(3)
    over = egg.centroids[:, 2] > 0.4
    sheet = used_only(egg.vertices + np.array([0.0, 0.0, 0.05]), egg.triangles[over])
    vertices = np.vstack([egg.vertices, sheet[0]])
    triangles = np.vstack([egg.triangles, sheet[1] + egg.n_vertices])
    words = rf"a sheet that hangs on nothing \({over.sum()} triangles at STA .*leave it out"
    with pytest.raises(SurfaceError, match=words):
        mended(vertices, triangles)
    with pytest.raises(SurfaceError) as told:
        mended(*refused()["wide hole"][:2])
    assert "hangs on nothing" not in str(told.value)
    assert "rear end is missing" not in str(told.value)


def test_parts_that_overlap_unjoined_are_named():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    x = vertices[triangles].mean(axis=1)[:, 0]
    front, rear = (used_only(vertices, triangles[kept]) for kept in (x < 0.6, x > -0.6))
    both = np.vstack([front[0], 0.95 * rear[0]]), np.vstack([front[1], rear[1] + len(front[0])])
    words = "the holes are in 2 parts that are not joined .*widest_gap in .surface"
    with pytest.raises(SurfaceError, match=words):
        mended(*both, open_at_plane=True)


def test_parts_of_which_each_has_the_same_triangles_at_the_seam_become_one_skin():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 3)
    x = vertices[triangles].mean(axis=1)[:, 0]
    front, rear = (used_only(vertices, triangles[kept]) for kept in (x < 0.6, x > -0.6))
    both = np.vstack([front[0], rear[0]]), np.vstack([front[1], rear[1] + len(front[0])])
    points, corners, notes = mended(*both, open_at_plane=True)
    require_closed(points, corners, open_at_plane=True)
    assert len(corners) == len(triangles)
    assert any(note.startswith("60 doubled triangles dropped") for note in notes)


def test_wider_holes_may_stay_open_for_others_to_close():
    vertices, triangles, _ = refused()["wide hole"]
    result = mended(vertices, triangles, leave_larger=True)
    assert result[0] is vertices or len(result[0]) < len(vertices)
    assert len(result[1]) == len(triangles)
    assert any("1 hole stays open" in note for note in result[2])


@pytest.mark.parametrize("value", [-1.0, np.nan])
def test_options_must_be_numbers(value):
    with pytest.raises(SurfaceError, match="largest_hole is"):
        MendingOptions(largest_hole=value)
