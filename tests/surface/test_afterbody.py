"""Bodies that end open behind, openings and ducts: closed."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.afterbody import ROUNDING, radius_ratio, with_afterbody, without_wall
from panelcp.surface.checking import least_angles, require_closed, require_outward
from panelcp.surface.closing import _ears_cut, _triangulated, closed_openings, ducts_cut
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.scanning import without_unused
from tests import bodies

RADIUS = 0.5


def revolved(stations, radii, around=48, half=False, shape=(1.0, 1.0)):
    """Open skin through circles (or ovals) about x, in their order; outward when x grows."""
    angle = np.linspace(0.0, np.pi if half else 2.0 * np.pi, around + 1)
    angle = angle if half else angle[:-1]
    ring = np.stack([shape[0] * np.sin(angle), -shape[1] * np.cos(angle)], axis=1)
    if half:
        ring[[0, -1], 0] = 0.0
    n, m = len(stations), len(ring)
    points = np.empty((n, m, 3))
    points[:, :, 0] = np.asarray(stations)[:, None]
    points[:, :, 1:] = np.asarray(radii)[:, None, None] * ring
    i, j = np.meshgrid(np.arange(n - 1), np.arange(m - 1 if half else m), indexing="ij")
    a, b = (i * m + j).ravel(), (i * m + (j + 1) % m).ravel()
    triangles = np.concatenate([np.stack([a, b, b + m], 1), np.stack([a, b + m, a + m], 1)])
    return points.reshape(-1, 3), triangles


def nosed(slope=0.0, around=48, half=False, length=1.5, shape=(1.0, 1.0)):
    """Half sphere and behind it a cylinder or cone, open at x = `length`."""
    theta = np.linspace(0.0, 0.5 * np.pi, 13)[1:]
    ahead = RADIUS * (1.0 - np.cos(theta))
    behind = np.arange(RADIUS + 0.05, length + 1e-9, 0.05)
    stations = np.concatenate([ahead, behind])
    radii = np.concatenate([RADIUS * np.sin(theta), RADIUS + slope * (behind - RADIUS)])
    vertices, triangles = revolved(stations, radii, around, half, shape)
    tip = len(vertices)
    ring = np.arange(around + 1 if half else around)
    after = ring[1:] if half else np.roll(ring, -1)
    first = ring[:-1] if half else ring
    cap = np.stack([np.full(len(first), tip), after, first], axis=1)
    return np.vstack([vertices, [[0.0, 0.0, 0.0]]]), np.vstack([triangles, cap])


def rear_volume(vertices, triangles, station):
    """Volume behind a station of a closed body: sections by what lies behind them."""
    body = SurfaceMesh(vertices, triangles)
    behind = np.maximum(body.centroids[:, 0] - station, 0.0)
    return float(body.area_vectors[:, 0] @ behind)


# --- shape ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("taper", [-1.0, -0.2, 0.0, 0.5, 1.0, 2.0, 3.5])
def test_profile_begins_with_the_slope_of_the_skin_and_ends_in_a_point(taper):
    s = np.array([taper])
    step = 1e-5
    assert radius_ratio(0.0, s)[0] == 1.0
    slope = (radius_ratio(step, s)[0] - 1.0) / step
    assert slope == pytest.approx(-taper, abs=1e-3 + 1e-4 * taper**2)
    assert radius_ratio(1.0, s)[0] == 0.0
    u = np.linspace(0.0, 1.0, 500)
    ratio = np.array([radius_ratio(way, s)[0] for way in u])
    assert (ratio[:-1] > 0.0).all()
    if taper >= 0.0:
        assert (np.diff(ratio) < 1e-4).all()


@pytest.mark.parametrize("half", [False, True])
def test_volume_behind_a_cylinder_is_that_of_the_formula(half):
    vertices, triangles = nosed(around=96 if not half else 48, half=half)
    points, parts, notes = with_afterbody(vertices, triangles, length=2.0)
    if half:
        require_closed(points, parts, open_at_plane=True)
        assert points[:, 1].min() == 0.0
        whole = mirrored_whole(points, parts)
    else:
        require_closed(points, parts)
        whole = SurfaceMesh(points, parts)
    require_outward(whole)
    assert np.array_equal(points[: len(vertices)], vertices)
    assert np.array_equal(parts[: len(triangles)], triangles)
    assert points[:, 0].max() == pytest.approx(3.5, abs=1e-12)
    area = 96 * 0.5 * RADIUS**2 * np.sin(2.0 * np.pi / 96)
    exact = area * 2.0 * (8.0 / 15.0 + ROUNDING / 30.0)
    # flat panels of 80 mm on radii of 0.5 m and less lie inside by up to 1 % of the section
    assert rear_volume(whole.vertices, whole.triangles, 1.5) == pytest.approx(exact, rel=0.012)
    assert f"{len(parts) - len(triangles)} triangles" in notes[0]
    assert "2.000 m long, from STA 1500 to STA 3500 mm" in notes[0]


def test_volume_behind_a_cone_that_the_afterbody_completes():
    vertices, triangles = nosed(slope=-0.1, around=96)
    end = RADIUS - 0.1 * 1.0
    points, parts, _ = with_afterbody(vertices, triangles, length=end / 0.1)
    # taper 1: the cone goes on straight to its tip, but for the rounding
    new = points[len(vertices) : -1]
    u = (new[:, 0] - 1.5) / (end / 0.1)
    wanted = end * np.sqrt((1.0 - u) ** 2 + ROUNDING * u**4 * (1.0 - u))
    # the slope is found to 0.003, carried on over up to 1 m
    assert np.linalg.norm(new[:, 1:], axis=1) == pytest.approx(wanted, abs=0.004)
    # the rings of the thin part have 12 sides: up to 4.5 % less than a circle
    exact = np.pi * end**2 * (end / 0.1) * (1.0 / 3.0 + ROUNDING / 30.0)
    assert rear_volume(points, parts, 1.5) == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("slope", [-0.3, -0.1, 0.0, 0.1])
@pytest.mark.parametrize("half", [False, True])
def test_skin_goes_on_smoothly_at_the_rim(slope, half):
    vertices, triangles = nosed(slope, 96, half, shape=(1.0, 0.7))
    points, parts, _ = with_afterbody(vertices, triangles)
    body = SurfaceMesh(points, parts)
    new = np.arange(len(parts)) >= len(triangles)
    panel, edge = np.nonzero(body.edge_neighbours >= 0)
    other = body.edge_neighbours[panel, edge]
    across = ~new[panel] & new[other]
    assert across.sum() == 96
    facing = (body.normals[panel] * body.normals[other]).sum(axis=1)
    bend = np.degrees(np.arccos(np.clip(facing[across], -1.0, 1.0)))
    # the mean curves turn by up to 2 deg over half of both panels; a flat wall would make 90 deg
    assert bend.max() < 4.0


@pytest.mark.parametrize("slope", [0.0, 0.2, 0.5])
def test_flares_are_limited_and_nothing_crosses(slope):
    vertices, triangles = nosed(slope)
    points, parts, notes = with_afterbody(vertices, triangles)
    require_closed(points, parts)
    new = SurfaceMesh(points, parts[len(triangles) :])
    rim = RADIUS + slope
    radius = np.linalg.norm(points[len(vertices) :, 1:], axis=1)
    assert radius.max() < 1.15 * rim
    # every panel looks away from the middle line: the skin never folds back over itself
    inward = (new.normals[:, 1:] * new.centroids[:, 1:]).sum(axis=1) <= 0.0
    assert not inward.any()
    assert ("slope held" in notes[0]) == (slope > np.tan(np.radians(12.0)))


def test_a_ragged_and_noisy_rim_is_met_and_forgotten():
    vertices, triangles = nosed(around=120)
    random = np.random.default_rng(11)
    vertices = vertices + 0.002 * random.normal(size=vertices.shape)
    rim = np.flatnonzero(vertices[:, 0] > 1.48)
    vertices[rim, 0] += 0.02 * random.random(len(rim))
    points, parts, _ = with_afterbody(vertices, triangles, length=2.5)
    require_closed(points, parts)
    new = SurfaceMesh(points, parts[len(triangles) :])
    assert ((new.normals[:, 1:] * new.centroids[:, 1:]).sum(axis=1) > 0.0).all()
    # behind a quarter of the diameter it is round again
    far = (points[:, 0] > 1.8) & (points[:, 0] < 2.4)
    radius = np.linalg.norm(points[far, 1:], axis=1)
    expected = [RADIUS * radius_ratio(u, np.zeros(1))[0] for u in (points[far, 0] - 1.51) / 2.5]
    # slopes of the skin known to about 0.015 carry on over half a metre
    assert np.std(radius - expected) < 0.008


def test_panels_are_even_and_grow_gently():
    vertices, triangles = nosed(around=240)
    points, parts, _ = with_afterbody(vertices, triangles)
    new = SurfaceMesh(points, parts[len(triangles) :])
    assert least_angles(new).min() > 20.0
    lengths = np.sqrt(new.areas)
    found = new.edge_neighbours >= 0
    growth = lengths[new.edge_neighbours] / lengths[:, None]
    assert growth[found].max() < 1.8


def test_default_length_and_tail():
    vertices, triangles = nosed(around=96)
    points, _, notes = with_afterbody(vertices, triangles, tail_height=0.3)
    diameter = 2.0 * np.sqrt(96 * 0.5 * RADIUS**2 * np.sin(2.0 * np.pi / 96) / np.pi)
    tail = points[np.argmax(points[:, 0])]
    assert tail == pytest.approx([1.5 + 2.5 * diameter, 0.0, 0.3], abs=1e-9)
    assert "the default of 2.5" in notes[0]
    short = with_afterbody(*nosed(slope=-0.3))
    assert "shortened to suit the taper" in short[2][0]


@pytest.mark.parametrize("half", [False, True])
def test_a_flat_wall_is_replaced(half):
    vertices, triangles = nosed(half=half)
    middle = len(vertices)
    rim = np.flatnonzero(np.abs(vertices[:, 0] - 1.5) < 1e-9)
    after, first = (rim[1:], rim[:-1]) if half else (np.roll(rim, -1), rim)
    wall = np.stack([np.full(len(first), middle), first, after], axis=1)
    closed = np.vstack([vertices, [[1.5, 0.0, 0.0]]]), np.vstack([triangles, wall])
    require_closed(*closed, open_at_plane=half)
    points, parts, notes = with_afterbody(*closed, replace_wall=True)
    wanted = with_afterbody(vertices, triangles)
    assert points == pytest.approx(wanted[0], abs=1e-12)
    assert len(parts) == len(wanted[1])
    assert notes[0].startswith("flat wall of")
    with pytest.raises(SurfaceError, match="no flat wall"):
        without_wall(points, parts)


def test_what_cannot_be_closed_is_refused(sphere):
    with pytest.raises(SurfaceError, match="does not end open behind"):
        with_afterbody(sphere.vertices, sphere.triangles)
    with pytest.raises(SurfaceError, match="expected more than 0"):
        with_afterbody(*nosed(), length=-1.0)


# --- openings ------------------------------------------------------------------------------------


def with_holes(vertices, triangles, centres, radius):
    middle = vertices[triangles].mean(axis=1)
    kept = np.ones(len(triangles), dtype=bool)
    for centre in centres:
        kept &= np.linalg.norm(middle - centre, axis=1) > radius
    return without_unused(vertices, triangles[kept])


def test_flush_caps_carry_on_the_skin():
    body = bodies.ellipsoid((1.0, 0.6, 0.8), 5)
    centres = [[0.0, 0.6, 0.0], [0.0, 0.0, 0.8], [0.6, 0.0, -0.64]]
    vertices, triangles = with_holes(body.vertices, body.triangles, centres, 0.2)
    points, parts, notes = closed_openings(vertices, triangles)
    require_closed(points, parts)
    closed = SurfaceMesh(points, parts)
    assert len(notes) == 3
    assert all("flush with the skin" in note for note in notes)
    added = points[len(vertices) :] / [1.0, 0.6, 0.8]
    # a flat cap would lie 20 mm or more inside
    assert np.abs(np.linalg.norm(added, axis=1) - 1.0).max() < 0.004
    assert closed.volume == pytest.approx(body.volume, rel=3e-4)


def test_a_flush_cap_bulges_though_its_rim_is_plane():
    sphere = bodies.ring_sphere(24)
    kept = sphere.centroids[:, 2] < np.cos(np.radians(26.0))
    points, parts, notes = closed_openings(
        *without_unused(sphere.vertices, sphere.triangles[kept]), largest=2.0
    )
    require_closed(points, parts)
    assert "flush with the skin" in notes[0]
    # a flat cap would lie 100 mm inside in the middle
    assert np.linalg.norm(points, axis=1) == pytest.approx(np.ones(len(points)), abs=0.01)


def test_cap_across_the_centre_line_of_a_half():
    vertices, triangles = bodies.half_ellipsoid((1.0, 0.6, 0.8), 5)
    cut = with_holes(vertices, triangles, [[0.0, 0.0, 0.8]], 0.2)
    points, parts, notes = closed_openings(*cut)
    require_closed(points, parts, open_at_plane=True)
    assert points[:, 1].min() == 0.0
    whole = mirrored_whole(points, parts)
    exact = mirrored_whole(vertices, triangles, tolerance=1e-12)
    assert whole.volume == pytest.approx(exact.volume, rel=3e-4)
    assert len(notes) == 1


def test_an_edge_that_looks_another_way_gets_a_flat_cap():
    vertices, triangles = nosed()
    points, parts, notes = closed_openings(vertices, triangles, largest=2.0)
    require_closed(points, parts)
    cap = SurfaceMesh(points, parts[len(triangles) :])
    assert cap.normals == pytest.approx(np.tile([1.0, 0.0, 0.0], (cap.n_panels, 1)), abs=1e-9)
    assert cap.area == pytest.approx(48 * 0.5 * RADIUS**2 * np.sin(2 * np.pi / 48), rel=1e-12)
    assert "laid through its rim" in notes[0]


def test_large_openings_are_left_unless_named():
    vertices, triangles = nosed()
    points, parts, notes = closed_openings(vertices, triangles)
    assert np.array_equal(parts, triangles)
    assert np.array_equal(points, vertices)
    assert "left open: too large" in notes[0]
    _, parts, notes = closed_openings(vertices, triangles, [[1.5, 0.0, 0.5]], ["rear exit"])
    assert notes[0].startswith("rear exit closed at STA 1500")
    assert len(parts) > len(triangles)
    with pytest.raises(SurfaceError, match="chin: no open edge near"):
        closed_openings(vertices, triangles, [[-9.0, 0.0, 0.0]], ["chin"])


def test_hollow_outlines_and_single_missing_triangles_are_closed(brick):
    x, y, z = brick.centroids.T
    corner = (z > 0.39) & (np.abs(x) < 0.75) & (np.abs(y) < 0.3) & ~((x > 0.0) & (y > -0.1))
    vertices, triangles = without_unused(brick.vertices, brick.triangles[~corner])
    points, parts, _ = closed_openings(vertices, triangles, largest=2.0)
    require_closed(points, parts)
    assert SurfaceMesh(points, parts).volume == pytest.approx(brick.volume, rel=1e-6)
    points, parts, _ = closed_openings(brick.vertices, brick.triangles[1:])
    require_closed(points, parts)
    assert SurfaceMesh(points, parts).volume == pytest.approx(brick.volume, rel=1e-12)


def test_a_slot_is_not_bridged():
    right = [[0, 0], [2.3, 0], [2.3, 0.3], [2.3, 0.6], [2.3, 1], [2.1, 1], [2.1, 0.1]]
    left = [[2, 0.1], [2, 0.4], [2, 0.7], [2, 1], [0, 1]]
    polygon = np.array(right + left, dtype=float)
    triangles = _triangulated(polygon, np.empty((0, 2)))
    a, b, c = np.moveaxis(polygon[triangles], 1, 0)
    areas = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert areas.sum() == pytest.approx(2.3 - 0.1 * 0.9, rel=1e-12)
    assert (areas > 0.0).all()


@pytest.mark.parametrize("sense", [1, -1])
def test_corners_are_cut_off_a_polygon_one_by_one(sense):
    teeth = np.array(
        [[0, 0], [5, 0], [5, 3], [4, 0.2], [3, 3], [2, 0.1], [1, 3], [0.1, 0.3], [0, 3]]
    )
    polygon = teeth.astype(float)[::sense]
    order = np.arange(len(polygon))[::sense]
    triangles = _ears_cut(polygon, order)
    a, b, c = np.moveaxis(polygon[triangles], 1, 0)
    areas = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    x, y = polygon[order].T
    assert len(triangles) == len(polygon) - 2
    assert (areas > 0.0).all()
    assert areas.sum() == pytest.approx(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
    crossed = np.array([[0, 0], [1, 1], [1, 0], [0, 1.0]])
    with pytest.raises(SurfaceError, match="crosses itself"):
        _ears_cut(crossed, np.arange(4))


# --- ducts ---------------------------------------------------------------------------------------

DUCT, LIP = 0.12, 0.02


def ducted(depth=0.3, half=False, rear=1.5, through=False):
    """Cowl with a round duct in its nose, from its inner end over the lip to the open rear."""
    inside = np.arange(depth, LIP + 1e-9, -0.023)
    turn = np.linspace(0.0, np.pi, 9)
    lip = LIP * (1.0 - np.sin(turn)), DUCT + LIP * (1.0 - np.cos(turn))
    stations = np.linspace(LIP, rear, 40)[1:]
    outer = DUCT + 2 * LIP + 0.2 * np.sqrt(1.0 - (1.0 - (stations - LIP) / (rear - LIP)) ** 2)
    x = np.concatenate([inside, lip[0], stations])
    radius = np.concatenate([np.full(len(inside), DUCT), lip[1], outer])
    if through:  # and back inside to the front again: a duct from nose to tail
        x = np.concatenate([x, [rear + LIP], np.linspace(rear, depth, 40)])
        radius = np.concatenate([radius, [outer[-1] - LIP], np.full(40, DUCT)])
    return revolved(x, radius, 24 if half else 48, half)


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("depth", [0.03, 0.12])
def test_ducts_end_in_a_flat_cap(half, depth):
    vertices, triangles = ducted(half=half)
    points, parts, notes = ducts_cut(vertices, triangles, [[0.0, 0.0, 0.0]], depths=[depth])
    inner = points[np.linalg.norm(points[:, 1:], axis=1) < DUCT - 1e-6, 0]
    assert np.ptp(inner) < 1e-9
    # moved by less than half an edge, to lie between vertices
    assert inner[0] == pytest.approx(depth, abs=0.02)
    points, parts, _ = with_afterbody(points, parts)
    require_closed(points, parts, open_at_plane=half)
    filled, more, _ = with_afterbody(*closed_openings(vertices, triangles, [[0.3, 0, DUCT]])[:2])
    hollow, whole = (
        (mirrored_whole if half else SurfaceMesh)(*body)
        for body in ((points, parts), (filled, more))
    )
    area = 48 * 0.5 * DUCT**2 * np.sin(2 * np.pi / 48)
    cut = area * (vertices[0, 0] - inner[0])
    assert hollow.volume - whole.volume == pytest.approx(cut, rel=1e-3)
    assert "wide, cut off" in notes[0]
    assert "behind taken away" in notes[0]


def test_default_depth_is_one_width_and_short_ducts_are_capped_at_their_end():
    vertices, triangles = ducted()
    notes = ducts_cut(vertices, triangles, [[0.0, 0.0, 0.0]], names=["cheek"])[2]
    assert notes[0].startswith("cheek at STA 0 BL 0 WL 0 mm: 24")
    points, parts, notes = ducts_cut(vertices, triangles, [[0.0, 0.0, 0.0]], depths=[0.5])
    cap = SurfaceMesh(points, parts[len(triangles) :])
    assert cap.centroids[:, 0] == pytest.approx(np.full(cap.n_panels, vertices[0, 0]), abs=1e-9)
    assert "duct 1 closed at STA 300" in notes[0]


def test_a_duct_through_the_body_needs_both_ends():
    vertices, triangles = ducted(through=True)
    with pytest.raises(SurfaceError, match="no duct wall goes round"):
        ducts_cut(vertices, triangles, [[0.0, 0.9, 0.0]])
    joined = np.concatenate([triangles, _joint(vertices)])
    with pytest.raises(SurfaceError, match="leads out elsewhere"):
        ducts_cut(vertices, joined, [[0.0, 0.0, 0.0]], depths=[0.1])
    points, parts, notes = ducts_cut(
        vertices, joined, [[0, 0, 0], [1.5, 0, 0]], [[1, 0, 0], [-1, 0, 0]], [0.1, 0.1]
    )
    require_closed(points, parts)
    require_outward(SurfaceMesh(points, parts))
    assert len(notes) == 4


def _joint(vertices):
    """Triangles between the last ring and the first."""
    ring, last = np.arange(48), len(vertices) - 48 + np.arange(48)
    after, last_after = np.roll(ring, -1), np.roll(last, -1)
    return np.concatenate(
        [np.stack([last, last_after, after], 1), np.stack([last, after, ring], 1)]
    )
