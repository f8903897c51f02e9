"""Scans: scale, noise, plane of symmetry, cut, reduction."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from panelcp.errors import SurfaceError
from panelcp.surface import smoothing
from panelcp.surface.checking import require_closed
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.repair import open_vertices, sorted_edges
from panelcp.surface.scanning import (
    adjacency,
    nearest_on_skin,
    open_chains,
    reduced,
    scaled_to_tape,
    split_at,
    without_unused,
)
from panelcp.surface.scanning_kernels import adapted_fits, apart_nodes, pooled
from panelcp.surface.smoothing import (
    _held,
    _with_mirror_image,
    noise_estimate,
    smoothed,
    vertex_normals,
)
from panelcp.surface.symmetry import (
    PlaneFit,
    cut_to_half,
    laid_to_plane,
    symmetry_plane_from_both_sides,
    symmetry_plane_from_edge,
    symmetry_plane_from_points,
)
from tests import bodies

TURN = Rotation.from_euler("zyx", [20.0, -12.0, 8.0], degrees=True).as_matrix()
SHIFT = np.array([0.4, -1.3, 0.7])


def area(vertices, triangles):
    a, b, c = np.moveaxis(np.asarray(vertices)[triangles], 1, 0)
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()


def pear(level):
    """Smooth body whose one plane of symmetry is y = 0."""
    vertices, triangles = bodies.icosphere(level)
    x, y, z = vertices.T
    taper = 1.0 + 0.3 * x
    return np.stack([2.0 * x, 0.6 * taper * y, 0.8 * taper * z + 0.2 * x * x], axis=1), triangles


def one_side(across, level=5):
    """Pear seen from the right and a little past the centre line, with two holes and a gap."""
    vertices, triangles = pear(level)
    middle = vertices[triangles].mean(axis=1)
    kept = middle[:, 1] > -across
    for centre in ([0.5, 0.6, 0.2], [-0.5, 0.4, 0.5]):
        kept &= np.linalg.norm(middle - centre, axis=1) > 0.12
    return without_unused(vertices, triangles[kept])


# --- scale ---------------------------------------------------------------------------------------


def test_tape_scales_every_length(brick):
    a, b = [-1.0, -0.5, -0.4], [1.0, 0.5, 0.4]
    length = 1.02 * np.linalg.norm(np.subtract(b, a))
    vertices, triangles, notes = scaled_to_tape(brick.vertices, brick.triangles, a, b, length)
    assert vertices == pytest.approx(1.02 * brick.vertices, abs=1e-12)
    assert np.array_equal(triangles, brick.triangles)
    assert len(notes) == 1
    assert "scaled by 1.02000" in notes[0]


def test_taped_points_are_put_onto_the_skin_and_the_move_is_told(brick):
    a, b = [-1.0, 0.1, 0.4 + 0.02], [1.0 + 0.03, 0.1, 0.1]
    feet = np.array([[-1.0, 0.1, 0.4], [1.0, 0.1, 0.1]])
    length = float(np.linalg.norm(feet[1] - feet[0]))
    vertices, _, notes = scaled_to_tape(brick.vertices, brick.triangles, a, b, length)
    assert vertices == pytest.approx(brick.vertices, abs=1e-12)
    assert "point A moved 20 mm" in notes[0]
    assert "point B moved 30 mm" in notes[1]


@pytest.mark.parametrize(("factor", "warned"), [(1.04, False), (1.06, True), (0.94, True)])
def test_doubtful_scales_are_warned_of(brick, factor, warned):
    ends = [-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]
    notes = scaled_to_tape(brick.vertices, brick.triangles, *ends, 2.0 * factor)[2]
    assert notes[-1].startswith("warning") == warned


@pytest.mark.parametrize(
    ("ends", "length", "words"),
    [
        (([-1.0, 0, 0], [1.0, 0, 0]), 2000.0, "cannot be an error of a scan"),
        (([-1.0, 0, 0], [1.0, 0, 0]), -2.0, "expected more than 0"),
        (([-1.2, 0, 0], [1.0, 0, 0]), 2.0, "point A .* is 200 mm from the skin"),
        (([-1.0, 0, 0], [-1.0, 0, 0]), 2.0, "same place"),
    ],
)
def test_impossible_tapes_are_refused(brick, ends, length, words):
    with pytest.raises(SurfaceError, match=words):
        scaled_to_tape(brick.vertices, brick.triangles, *ends, length)


def test_nearest_point_lies_on_a_face_an_edge_or_a_corner(brick):
    for point, foot in (
        ([0.3, 0.9, 0.1], [0.3, 0.5, 0.1]),
        ([0.3, 0.9, 0.8], [0.3, 0.5, 0.4]),
        ([1.5, 0.9, 0.8], [1.0, 0.5, 0.4]),
    ):
        found, distance = nearest_on_skin(brick.vertices, brick.triangles, np.array(point))
        assert found == pytest.approx(foot, abs=1e-12)
        assert distance == pytest.approx(np.linalg.norm(np.subtract(point, foot)), abs=1e-12)


# --- dividing along a line -----------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_both_sides_of_a_cut_make_up_the_whole(draw):
    random = np.random.default_rng(draw)
    body = bodies.ellipsoid((1.0, 0.6, 0.8), 2)
    normal = random.normal(size=3)
    values = body.vertices @ (normal / np.linalg.norm(normal)) - random.uniform(-0.5, 0.5)
    values[random.random(len(values)) < 0.1] = 0.0  # vertices on the line too
    vertices, triangles, side = split_at(body.vertices, body.triangles, values)
    assert area(vertices, triangles) == pytest.approx(body.area, rel=1e-12)
    assert len(open_vertices(triangles)) == 0
    require_closed(vertices, triangles)
    assert SurfaceMesh(vertices, triangles).volume == pytest.approx(body.volume, rel=1e-12)
    both = np.concatenate([values, np.zeros(len(vertices) - len(values))])
    for sign in (-1, 1):
        assert (sign * both[triangles[side == sign]] >= 0.0).all()


def test_loops_that_touch_at_a_point_are_parted():
    body = bodies.box((1.0, 1.0, 1.0), (4, 4, 4))
    place = np.flatnonzero((body.vertices == [0.0, 0.0, 0.5]).all(axis=1))[0]
    around = np.flatnonzero((body.triangles == place).any(axis=1))
    middle = body.centroids[around]
    gone = around[middle[:, 0] * middle[:, 1] > 0.0]
    gone = np.concatenate([gone, np.flatnonzero(_in_squares(body.centroids))])
    triangles = np.delete(body.triangles, np.unique(gone), axis=0)
    chains, closed = open_chains(body.vertices, triangles)
    assert closed == [True, True]
    assert [len(set(chain.tolist())) for chain in chains] == [4, 4]
    assert all(place in chain for chain in chains)


def _in_squares(points):
    """Two squares of the top that have only its middle in common."""
    x, y, z = points.T
    near = (z > 0.49) & (np.abs(x) < 0.25) & (np.abs(y) < 0.25)
    return near & (x * y > 0.0)


# --- noise ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("noise", [0.001, 0.002, 0.005])
def test_noise_is_measured(noise):
    vertices, triangles = bodies.icosphere(5)
    random = np.random.default_rng(1)
    rough = 0.5 * vertices + noise * random.normal(size=vertices.shape)
    # 10 000 vertices, each residual with about 13 degrees of freedom
    assert noise_estimate(rough, triangles) == pytest.approx(noise, rel=0.05)


@pytest.mark.parametrize("noise", [0.001, 0.005])
def test_smoothing_brings_a_sphere_back_without_shrinking_it(noise):
    vertices, triangles = bodies.icosphere(6)
    random = np.random.default_rng(2)
    rough = 0.5 * vertices + noise * random.normal(size=vertices.shape)
    result, same, notes = smoothed(rough, triangles, 4.0 * noise)
    assert same is triangles
    away = np.linalg.norm(result, axis=1) - 0.5
    assert np.sqrt(np.mean(away**2)) < 0.2 * noise
    true = SurfaceMesh(0.5 * vertices, triangles).volume
    # 0.05 % of the volume is 0.08 mm of the radius
    assert SurfaceMesh(result, triangles).volume == pytest.approx(true, rel=5e-4)
    assert notes[0].startswith("smoothed: noise ")
    assert "outward in the mean" in notes[0]


def test_no_vertex_moves_farther_than_allowed():
    vertices, triangles = bodies.icosphere(4)
    random = np.random.default_rng(3)
    rough = vertices + 0.01 * random.normal(size=vertices.shape)
    result, _, notes = smoothed(rough, triangles, 0.008)
    moves = np.linalg.norm(result - rough, axis=1)
    assert moves.max() <= 0.008
    assert (moves > 0.0079).any()
    assert "were held" in notes[1]


def test_what_is_not_noisy_stays():
    body = bodies.ellipsoid((1.0, 0.6, 0.8), 5)
    result, _, notes = smoothed(body.vertices, body.triangles, 0.01)
    assert np.array_equal(result, body.vertices)
    assert "no smoothing" in notes[0]


def test_sharp_edges_stay_sharp():
    body = bodies.box((1.0, 0.6, 0.4), (100, 60, 40))
    random = np.random.default_rng(4)
    rough = body.vertices + 0.001 * random.normal(size=body.vertices.shape)
    result, _, _ = smoothed(rough, body.triangles, 0.005)
    half = np.array([0.5, 0.3, 0.2])
    depth = np.sort(half - np.abs(result), axis=1)
    on_edge = (np.abs(np.abs(body.vertices) - half) < 1e-9).sum(axis=1) == 2
    on_face = np.sort(half - np.abs(body.vertices), axis=1)[:, 1] > 0.05
    # an even mean over the broadest neighbourhood would draw edges in by more than a spacing
    assert np.sqrt(np.mean(depth[on_edge, 1] ** 2)) < 0.004
    assert np.sqrt(np.mean(depth[on_face, 0] ** 2)) < 0.0003


def test_centre_line_stays_in_the_plane():
    vertices, triangles = bodies.half_ellipsoid((1.0, 0.5, 0.6), 5)
    random = np.random.default_rng(5)
    at_plane = vertices[:, 1] == 0.0
    rough = vertices + 0.003 * random.normal(size=vertices.shape)
    rough[at_plane, 1] = 0.0
    result, _, _ = smoothed(rough, triangles, 0.015)
    assert (result[at_plane, 1] == 0.0).all()
    # there too the skin comes back, as both sides of the plane count
    x, _, z = result[at_plane].T
    away = np.hypot(x / 1.0, z / 0.6) - 1.0
    assert np.sqrt(np.mean(away**2)) < 0.002
    assert (vertex_normals(result, triangles)[at_plane, 1] < 0.3).all()


def test_a_broad_smooth_bead_stays(smooth_bead):
    vertices, triangles, height = smooth_bead
    random = np.random.default_rng(11)
    rough = vertices + 0.001 * random.normal(size=vertices.shape)
    result, _, _ = smoothed(rough, triangles, 0.005)
    crest = np.isclose(vertices[:, 0], 0.8) & (np.abs(vertices[:, 1] - 0.8) < 0.6)
    assert result[crest, 2].mean() > 0.8 * height


@pytest.fixture
def smooth_bead():
    """Plane with a ridge 3 edges wide, 6 mm high."""
    height, n = 0.006, 161
    x, y = (0.01 * place for place in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    z = height * np.exp(-np.square((x - 0.8) / 0.015))
    grid = np.arange(n * n).reshape(n, n)
    a, b, c, d = (
        part.ravel() for part in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:])
    )
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return np.stack([x, y, z], axis=-1).reshape(-1, 3), triangles, height


def test_a_known_noise_allows_more_smoothing_than_is_seen():
    vertices, triangles = bodies.icosphere(5)
    random = np.random.default_rng(12)
    wave = 0.002 * np.sin(18.0 * vertices[:, :1])  # alike over two rings: looks like shape
    rough = 0.5 * vertices * (1.0 + wave / 0.5) + 0.0005 * random.normal(size=vertices.shape)
    left = []
    for noise in (None, 0.003):
        result, _, _ = smoothed(rough, triangles, 0.02, noise)
        left.append(np.std(np.linalg.norm(result, axis=1)))
    assert left[0] > 0.0012
    assert left[1] < 0.7 * left[0]


def test_where_moves_are_held_the_part_along_the_skin_is_given_up_first():
    points, normals = np.zeros((4, 3)), np.tile([0.0, 0.0, 1.0], (4, 1))
    wanted = np.array([[3.0, 0.0, 4.0], [3.0, 0.0, 6.0], [0.1, 0.2, 0.3], [0.0, 9.0, -0.0]])
    held, limited = _held(points, wanted, normals, 5.0 - 1e-9)
    assert limited.tolist() == [True, True, False, True]
    expected = [[3.0, 0.0, 4.0], [0.0, 0.0, 5.0], [0.1, 0.2, 0.3], [0.0, 5.0, 0.0]]
    assert held == pytest.approx(np.array(expected), abs=1e-6)
    assert np.linalg.norm(held, axis=1).max() <= 5.0 - 1e-9


@pytest.fixture
def rough_patch():
    """Ellipsoid with noise, its smooth places and normals, and who is joined to whom."""
    body = bodies.ellipsoid((1.0, 0.6, 0.8), 4)
    random = np.random.default_rng(13)
    points = body.vertices + 0.002 * random.normal(size=body.vertices.shape)
    joined = adjacency(len(points), body.triangles)
    return points, np.array(body.vertices), vertex_normals(body.vertices, body.triangles), joined


def test_fits_foretell_as_if_their_vertex_had_been_left_out(rough_patch):
    points, places, normals, joined = rough_patch
    radii, scale, least = np.array([4.0, 6.0]), np.full(len(points), 0.05), np.cos(np.radians(40))
    chosen = np.array([0, 77, 1234])
    surfaces, misfits = adapted_fits(
        chosen, points, places, normals, joined.starts, joined.links, scale, radii, least
    )
    for row, i in enumerate(chosen):
        across = np.linalg.svd(normals[i][None])[2][1:]
        x, y = ((points - places[i]) @ across.T).T
        z = (points - places[i]) @ normals[i]
        terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
        for level, radius in enumerate(radii * 0.05):
            apart = np.square(np.linalg.norm(places - places[i], axis=1) / radius)
            part = (1.0 - normals @ normals[i]) / (1.0 - least)
            weight = np.square(np.maximum(0, 1 - apart)) * np.square(np.maximum(0, 1 - part))
            weight[normals @ normals[i] < least] = 0.0
            root = np.sqrt(weight)
            whole = np.linalg.lstsq(root[:, None] * terms, root * z)[0]
            broad = radii[-1] * 0.05
            parts = whole * np.array([1.0, broad, broad, broad**2, broad**2, broad**2]) / broad
            # heights and mean bend do not hang on the directions of x and y across the normal
            for terms_of in (lambda c: c[0], lambda c: np.hypot(c[1], c[2]), lambda c: c[3] + c[5]):
                found = terms_of(surfaces[row, level])
                assert found == pytest.approx(terms_of(parts), rel=1e-6, abs=1e-12)
            root[i] = 0.0
            without = np.linalg.lstsq(root[:, None] * terms, root * z)[0]
            assert misfits[row, level] == pytest.approx((z[i] - terms[i] @ without) ** 2, rel=1e-6)


def test_neighbours_that_face_another_way_have_no_part(rough_patch):
    _, places, normals, joined = rough_patch
    rows = (np.arange(len(places)), joined.starts, joined.links)
    scale, radii = np.full(len(places), 0.05), np.array([4.0])
    for turn, possible in ((0.01, False), (60.0, True)):
        _, misfits = adapted_fits(
            rows[0], places, places, normals, *rows[1:], scale, radii, np.cos(np.radians(turn))
        )
        assert np.isfinite(misfits).all() == possible
        assert np.isfinite(misfits).any() == possible


def test_pooled_values_are_weighted_means_of_what_faces_alike(rough_patch):
    _, places, normals, joined = rough_patch
    known = np.arange(0, len(places), 2)
    values = np.random.default_rng(14).normal(size=(len(known), 2))
    values[::3, 1] = np.nan
    row = np.full(len(places), -1)
    row[known] = np.arange(len(known))
    reach, least = np.full(len(places), 0.3), np.cos(np.radians(25.0))
    wanted = np.array([2, 77, 1234])
    around = (places, normals, joined.starts, joined.links)
    found = pooled(wanted, values, row, *around, reach, least)
    for line, i in zip(found, wanted, strict=True):
        part = np.maximum(0.0, 1.0 - (1.0 - normals @ normals[i]) / (1.0 - least))
        away = np.linalg.norm(places - places[i], axis=1)
        weight = (np.square(part) * np.maximum(0.0, 1.0 - np.square(away / 0.3)))[known]
        for column in range(2):
            there = np.isfinite(values[:, column])
            mean = np.average(values[there, column], weights=weight[there])
            assert line[column] == pytest.approx(mean, rel=1e-9)


def test_nodes_lie_apart_and_beside_every_other_vertex(rough_patch):
    _, places, _, joined = rough_patch
    chosen = apart_nodes(joined.starts, joined.links, len(places))
    neighbours = np.bincount(joined.rows, weights=chosen[joined.links], minlength=len(places))
    assert (neighbours[chosen] == 0).all()
    assert (neighbours[~chosen] > 0).all()
    assert chosen.mean() < 0.4


def test_quadratic_skin_between_nodes_is_met_exactly(monkeypatch, smooth_bead):
    vertices, triangles, _ = smooth_bead
    x, y, _ = vertices.T
    flat = np.stack([x, y + 0.5, np.zeros_like(x)], axis=1)  # away from the plane of symmetry
    bowl = flat + np.outer(0.1 * x - 0.05 * y + 0.3 * x * x - 0.2 * x * y, [0.0, 0.0, 1.0])
    monkeypatch.setattr(smoothing, "FITTED", 0)
    n, skin = len(flat), _with_mirror_image(bowl, flat, triangles)
    waves = np.column_stack([np.zeros((n, 2)), 0.002 * np.sin(40.0 * x + 25.0 * y)])
    skin = replace(skin, places=flat + waves)  # the first estimate need not be smooth
    nodes, bent = skin.nodes(n)
    assert not bent.any()
    assert len(nodes) < 0.4 * n
    surfaces, misfits = skin.fits(nodes, bent)
    whole = np.isfinite(misfits[:, -1])
    assert whole.mean() > 0.9
    assert np.abs(misfits[whole, -1]).max() < 1e-20
    # beside the rim, too few points may lie in the first fits
    found = skin.on_surfaces(surfaces[:, -1], nodes, n)
    assert found == pytest.approx(bowl, abs=1e-10)


def test_every_vertex_of_a_bent_skin_is_fitted(monkeypatch):
    body = bodies.box((1.0, 0.6, 0.4), (50, 30, 20))
    monkeypatch.setattr(smoothing, "FITTED", 0)
    skin = _with_mirror_image(body.vertices, body.vertices, body.triangles)
    nodes, bent = skin.nodes(body.n_vertices)
    half = np.array([0.5, 0.3, 0.2])
    depth = np.sort(half - np.abs(body.vertices), axis=1)[:, 1]  # from the nearest sharp edge
    near = np.flatnonzero(depth < 0.05)
    assert np.isin(near, nodes[bent]).all()
    far = np.count_nonzero(depth > 0.18)
    assert np.count_nonzero(depth[nodes] > 0.18) < 0.4 * far


@pytest.mark.parametrize("noise", [0.001, 0.005])
def test_fits_at_nodes_are_as_good_as_fits_everywhere(monkeypatch, noise):
    vertices, triangles = bodies.icosphere(6)
    rough = 0.5 * vertices + noise * np.random.default_rng(2).normal(size=vertices.shape)
    monkeypatch.setattr(smoothing, "FITTED", 0)
    result, _, _ = smoothed(rough, triangles, 4.0 * noise)
    assert np.sqrt(np.mean(np.square(np.linalg.norm(result, axis=1) - 0.5))) < 0.2 * noise


def test_a_fine_scan_is_reduced_before_it_is_smoothed(monkeypatch):
    vertices, triangles = bodies.icosphere(6)
    noise = 0.005  # of edges of 8 mm
    rough = 0.5 * vertices + noise * np.random.default_rng(2).normal(size=vertices.shape)
    monkeypatch.setattr(smoothing, "MOST_SMOOTHED", 20_000)
    result, fewer, notes = smoothed(rough, triangles, 4.0 * noise)
    assert 19_900 < len(fewer) <= 20_000
    require_closed(result, fewer)
    away = np.linalg.norm(result, axis=1) - 0.5
    assert np.sqrt(np.mean(away**2)) < 0.1 * noise
    assert np.abs(away).max() < 0.6 * noise  # else edges of 80 mm stand beside those of 8 mm
    assert notes[0].startswith("81920 triangles reduced to ")
    told = float(notes[1].removeprefix("smoothed: noise ").split()[0])
    assert told == pytest.approx(1e3 * noise, rel=0.03)  # as it was scanned
    many, _, _ = smoothed(rough, triangles, 4.0 * noise, 0.005)
    assert np.sqrt(np.mean(np.square(np.linalg.norm(many, axis=1) - 0.5))) < 0.15 * noise


def test_a_half_is_fitted_as_if_its_mirror_image_were_there():
    vertices, triangles = bodies.half_ellipsoid((1.0, 0.5, 0.6), 4)
    random = np.random.default_rng(15)
    rough = vertices + 0.002 * random.normal(size=vertices.shape)
    rough[vertices[:, 1] == 0.0, 1] = 0.0
    whole, both = mirrored_whole(vertices, triangles), mirrored_whole(rough, triangles)
    half = _with_mirror_image(rough, vertices, triangles)
    full = _with_mirror_image(both.vertices, whole.vertices, whole.triangles)
    here = cKDTree(whole.vertices).query(vertices)[1]
    half, full = (replace(skin, edge=np.full(len(skin.places), 0.04)) for skin in (half, full))
    found, expected = (
        skin.fits(*skin.nodes(n))
        for skin, n in ((half, len(vertices)), (full, len(whole.vertices)))
    )
    assert np.isfinite(found[1]).any(axis=1).all()
    for one, other in zip(found, expected, strict=True):
        assert one == pytest.approx(other[here], rel=1e-6, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize("options", [(0.0, None), (np.nan, None), (0.01, -1.0)])
def test_senseless_smoothing_is_refused(sphere, options):
    with pytest.raises(SurfaceError, match="expected more than 0"):
        smoothed(sphere.vertices, sphere.triangles, *options)


# --- plane of symmetry ---------------------------------------------------------------------------


def test_plane_through_noisy_marks():
    random = np.random.default_rng(6)
    marks = np.array([[-2.0, 0, 0], [2.0, 0, 0.3], [0, 0, 0.9], [0.5, 0, -0.8], [1.5, 0, 0.8]])
    noise = 0.002
    plane = symmetry_plane_from_points(marks @ TURN.T + SHIFT + noise * random.normal(size=(5, 3)))
    # 4 noise over the smallest spread of the marks, 0.7 m rms up and down
    angle = np.degrees(np.arccos(abs(plane.normal @ TURN[:, 1])))
    assert angle < np.degrees(4.0 * noise / 0.7)
    assert plane.largest < 3.0 * noise
    assert plane.n_points == 5


def test_marks_in_one_line_are_refused():
    with pytest.raises(SurfaceError, match="nearly in one line"):
        symmetry_plane_from_points([[0, 0, 0], [1, 0, 0], [2, 0, 0.001]])
    with pytest.raises(SurfaceError, match="at least three"):
        symmetry_plane_from_points([[0, 0, 0], [1, 0, 0]])


@pytest.mark.parametrize("across", [0.0, 0.05])
def test_plane_from_a_ragged_edge_with_holes(across):
    vertices, triangles = one_side(across)
    random = np.random.default_rng(7)
    scan = (vertices + 0.002 * random.normal(size=vertices.shape)) @ TURN.T + SHIFT
    plane = symmetry_plane_from_edge(scan, triangles, 0.05, across)
    # the edge is ragged by one triangle, 0.03 m, over 4 m of length and 1.2 m of height
    assert plane.normal @ TURN[:, 1] > np.cos(np.radians(0.5))
    assert abs(plane.distances(SHIFT[None])[0]) < 0.02
    assert 0.002 < plane.rms < 0.03
    assert plane.distances(scan).mean() > 0.1  # the normal points to the body
    other = symmetry_plane_from_edge(-scan, triangles, 0.05, across)
    assert other.distances(-scan).mean() > 0.1


def test_an_edge_that_is_no_plane_is_refused():
    vertices, triangles = pear(4)
    bent = vertices[triangles].mean(axis=1)
    kept = bent[:, 1] > 0.3 * np.sin(3.0 * bent[:, 0])
    with pytest.raises(SurfaceError, match="within 5 mm of one plane"):
        symmetry_plane_from_edge(*without_unused(vertices, triangles[kept]), ragged=0.005)


def test_a_closed_scan_has_no_edge(sphere):
    with pytest.raises(SurfaceError, match="no open edge"):
        symmetry_plane_from_edge(sphere.vertices, sphere.triangles)


@pytest.mark.parametrize("start", [None, (3.0, 0.03)])
def test_plane_from_both_sides(start):
    vertices, triangles = pear(5)
    random = np.random.default_rng(8)
    lean = Rotation.from_euler("x", 37.0, degrees=True).as_matrix()  # no vertex has a mirror image
    whole, _ = bodies.icosphere(5)
    vertices = _pear_of(whole @ lean.T)
    scan = (vertices + 0.002 * random.normal(size=vertices.shape)) @ TURN.T + SHIFT
    if start is not None:
        turned = Rotation.from_euler("zx", [start[0], -start[0]], degrees=True).apply([0, 1, 0])
        start = PlaneFit(SHIFT + start[1], TURN @ turned, 0.0, 0.0, 0, "")
    plane = symmetry_plane_from_both_sides(scan, triangles, start, 0.05)
    angle = np.degrees(np.arccos(min(1.0, abs(plane.normal @ TURN[:, 1]))))
    assert angle < 0.02
    assert abs(plane.distances(SHIFT[None])[0]) < 0.0003
    assert plane.rms < 0.002


def _pear_of(sphere):
    x, y, z = sphere.T
    taper = 1.0 + 0.3 * x
    return np.stack([2.0 * x, 0.6 * taper * y, 0.8 * taper * z + 0.2 * x * x], axis=1)


def test_one_side_does_not_match_itself():
    vertices, triangles = one_side(-0.2, 4)
    plane = PlaneFit(np.zeros(3), [0.0, 1.0, 0.0], 0.0, 0.0, 0, "")
    with pytest.raises(SurfaceError, match="one side only"):
        symmetry_plane_from_both_sides(vertices, triangles, plane, 0.05)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_laying_to_the_plane_moves_rigidly(sign):
    vertices, triangles = pear(3)
    plane = PlaneFit(SHIFT, sign * TURN[:, 1], 0.0, 0.0, 0, "taped points")
    moved, _, notes = laid_to_plane(
        vertices @ TURN.T + SHIFT, triangles, plane, TURN[:, 0], TURN[:, 2], SHIFT
    )
    # back to where it was, whichever way the normal points: right stays right
    assert moved == pytest.approx(vertices, abs=1e-12)
    assert "turned by" in notes[-1]
    free, _, _ = laid_to_plane(vertices @ TURN.T + SHIFT, triangles, plane)
    steps = [np.linalg.norm(p - p[0], axis=1) for p in (free, vertices)]
    assert steps[0] == pytest.approx(steps[1], abs=1e-12)
    assert SurfaceMesh(free, triangles).volume == pytest.approx(
        SurfaceMesh(vertices, triangles).volume, rel=1e-12
    )
    assert free[:, 1] == pytest.approx(vertices[:, 1], abs=1e-12)


def test_aft_across_the_plane_is_refused():
    vertices, triangles = pear(2)
    plane = PlaneFit(np.zeros(3), [1.0, 0.0, 0.0], 0.0, 0.0, 0, "")
    with pytest.raises(SurfaceError, match="stands across"):
        laid_to_plane(vertices, triangles, plane)


# --- the cut -------------------------------------------------------------------------------------


def leaning(level=4):
    """Pear without vertices on the plane."""
    vertices, triangles = bodies.icosphere(level)
    lean = Rotation.from_euler("xy", [37.0, 11.0], degrees=True).as_matrix()
    return _pear_of(vertices @ lean.T), triangles


def test_two_halves_make_up_the_whole_and_are_closed():
    vertices, triangles = leaning()
    halves = [cut_to_half(vertices, triangles, side, 0.01) for side in ("right", "left")]
    for points, parts, _ in halves:
        assert points[:, 1].min() == 0.0
        require_closed(points, parts, open_at_plane=True)
        rim = open_vertices(parts)
        assert (points[rim, 1] == 0.0).all()
    # vertices nearer than 1 % of an edge are put onto the plane: second order in the area
    assert sum(area(p, t) for p, t, _ in halves) == pytest.approx(
        area(vertices, triangles), rel=1e-4
    )
    volume = [_volume(p, t) for p, t, _ in halves]
    assert volume[0] == pytest.approx(volume[1], rel=2e-3)
    assert sum(volume) == pytest.approx(_volume(vertices, triangles), rel=1e-4)
    assert halves[1][2][0] == "left side mirrored to the right"


def _volume(vertices, triangles):
    """Of a body, or of a half: what is open lies on y = 0 and adds nothing."""
    a, b, c = np.moveaxis(np.asarray(vertices)[triangles], 1, 0)
    return float(((a + b + c)[:, 1] * np.cross(b - a, c - a)[:, 1]).sum() / 6.0)


def test_a_ragged_edge_short_of_the_plane_is_carried_on():
    vertices, triangles = leaning(5)
    random = np.random.default_rng(9)
    middle = vertices[triangles].mean(axis=1)
    ragged = 0.01 + 0.015 * random.random(len(middle))
    scan = without_unused(vertices, triangles[middle[:, 1] > ragged])
    points, parts, notes = cut_to_half(*scan, "right", 0.08)
    require_closed(points, parts, open_at_plane=True)
    assert points[:, 1].min() == 0.0
    exact = cut_to_half(vertices, triangles)
    # the strip is straight over at most 80 mm of a skin with 600 mm of radius or more
    assert _volume(points, parts) == pytest.approx(_volume(*exact[:2]), rel=5e-3)
    assert "stopped up to" in notes[1]
    facing = SurfaceMesh(points, parts)
    across = facing.edge_neighbours >= 0
    bend = np.einsum("nki,ni->nk", facing.normals[facing.edge_neighbours], facing.normals)
    assert bend[across].min() > 0.0  # nothing is folded over


def test_an_edge_too_far_from_the_plane_is_refused():
    vertices, triangles = leaning(5)
    middle = vertices[triangles].mean(axis=1)
    bay = (middle[:, 1] < 0.12) & (np.abs(middle[:, 0] - 0.3) < 0.5) & (middle[:, 2] > 0.0)
    scan = without_unused(vertices, triangles[~bay])
    with pytest.raises(SurfaceError, match="at 1 places"):
        cut_to_half(*scan, "right", 0.02)
    far = without_unused(vertices, triangles[middle[:, 1] > 0.2])
    with pytest.raises(SurfaceError, match="nowhere nearer than"):
        cut_to_half(*far, "right", 0.02)
    with pytest.raises(SurfaceError, match="nothing on the left side"):
        cut_to_half(*far, "left", 0.02)
    with pytest.raises(SurfaceError, match="choose right or left"):
        cut_to_half(*far, "top")


def test_crumbs_beside_the_plane_are_left_out_and_told():
    vertices, triangles = leaning()
    crumb = np.array([[0.1, 0.002, 1.2], [0.12, 0.003, 1.2], [0.1, 0.004, 1.22]])
    n = len(vertices)
    scan = np.vstack([vertices, crumb]), np.vstack([triangles, [[n, n + 1, n + 2]]])
    points, parts, notes = cut_to_half(*scan, "right", 0.01)
    clean, same, _ = cut_to_half(vertices, triangles, "right", 0.01)
    assert points == pytest.approx(clean, abs=0.0)
    assert np.array_equal(parts, same)
    assert "1 loose pieces within 10 mm of BL 0 left out: 1 triangles" in notes[-1]
    aloof = scan[0].copy()
    aloof[n:, 1] += 0.02
    _, parts, notes = cut_to_half(aloof, scan[1], "right", 0.01)
    assert len(parts) == len(same) + 1
    assert not any("loose" in note for note in notes)


def test_an_open_rear_end_stays_open():
    vertices, triangles = leaning(5)
    middle = vertices[triangles].mean(axis=1)
    scan = without_unused(vertices, triangles[(middle[:, 0] < 1.2) & (middle[:, 1] > 0.02)])
    points, parts, _ = cut_to_half(*scan, "right", 0.06)
    chains, closed = open_chains(points, parts)
    assert closed == [False]
    assert points[chains[0], 0].mean() > 1.0


# --- reduction -----------------------------------------------------------------------------------


def test_reduction_keeps_one_closed_sheet():
    body = bodies.jittered_ellipsoid((1.0, 0.6, 0.8), 5)
    vertices, triangles, notes = reduced(body.vertices, body.triangles, 5000)
    assert 4990 <= len(triangles) <= 5000
    require_closed(vertices, triangles)
    fewer = SurfaceMesh(vertices, triangles)
    assert fewer.volume == pytest.approx(body.volume, rel=0.01)
    normals = vertices / np.square([1.0, 0.6, 0.8])
    off = np.abs((vertices / [1.0, 0.6, 0.8] * (vertices / [1.0, 0.6, 0.8])).sum(axis=1) - 1.0)
    assert (off / (2.0 * np.linalg.norm(normals, axis=1))).max() < 0.004
    assert notes[0].startswith(f"{body.n_panels} triangles reduced to {len(triangles)}")


def test_reduction_of_a_half_keeps_its_centre_line():
    vertices, triangles = bodies.half_ellipsoid((1.0, 0.5, 0.6), 5)
    points, parts, _ = reduced(vertices, triangles, 2000)
    require_closed(points, parts, open_at_plane=True)
    assert points[:, 1].min() == 0.0
    edges, counts = np.unique(sorted_edges(parts), axis=0, return_counts=True)
    along = (points[edges, 1] == 0.0).all(axis=1)
    assert (counts[along] == 1).all()  # its mirror image would double any other


def test_reduction_averages_noise():
    vertices, triangles = bodies.icosphere(6)
    random = np.random.default_rng(10)
    radius = 1.0 + 0.001 * random.normal(size=(len(vertices), 1))
    points, _, _ = reduced(vertices * radius, triangles, len(triangles) // 4)
    # four vertices in one halve it at best
    assert 0.0004 < np.std(np.linalg.norm(points, axis=1)) < 0.0008


def test_vertices_of_a_reduced_scan_are_means_whatever_skin_they_are_judged_by():
    vertices, triangles = bodies.half_ellipsoid((1.0, 0.5, 0.6), 5)
    heights = 0.01 * np.random.default_rng(16).normal(size=len(vertices))
    rough = np.column_stack([vertices[:, 0] + heights, vertices[:, 1:]])
    smooth, same, _ = reduced(vertices, triangles, 2000, vertices)
    points, parts, _ = reduced(rough, triangles, 2000, vertices)
    assert np.array_equal(parts, same)
    require_closed(points, parts, open_at_plane=True)
    # means of both: what is left of the noise lies along x and has no part of the shape
    assert points[:, 1:] == pytest.approx(smooth[:, 1:], abs=1e-15)
    drawn = len(vertices) / len(points)
    off = np.sqrt(drawn) * (points - smooth)[:, 0] / 0.01
    assert np.std(off) == pytest.approx(1.0, rel=0.25)
    inner = smooth[:, 1] > 0.0
    assert np.array_equal(smooth[:, 1] == 0.0, points[:, 1] == 0.0)
    assert np.isin(open_vertices(parts), np.flatnonzero(~inner)).all()


def test_reduction_keeps_sharp_edges():
    body = bodies.box((1.0, 0.6, 0.4), (100, 60, 40))
    vertices, triangles, _ = reduced(body.vertices, body.triangles, body.n_panels // 4)
    along = np.linspace(-0.4, 0.4, 41)
    places = np.stack([along, np.full(41, 0.3), np.full(41, 0.2)], axis=1)
    away = [nearest_on_skin(vertices, triangles, place)[1] for place in places]
    # where edges across and along count alike, they are cut by up to half an edge of 20 mm
    assert np.sqrt(np.mean(np.square(away))) < 0.001


def test_small_scans_are_not_reduced(sphere):
    vertices, triangles, notes = reduced(sphere.vertices, sphere.triangles, 5000)
    assert np.array_equal(triangles, sphere.triangles)
    assert np.array_equal(vertices, sphere.vertices)
    assert notes == []
    with pytest.raises(SurfaceError, match="below 4"):
        reduced(sphere.vertices, sphere.triangles, 3)
