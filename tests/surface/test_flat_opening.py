"""Outlines on paper against exact geometry of spheres, cylinders, cones and an ellipsoid."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from panelcp.errors import SurfaceError
from panelcp.surface.flat_opening import flat_opening, lengths_across, outline_places
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.skin_patch import patch_round
from tests import bodies

RADIUS = 0.5
AXES = (0.9, 0.6, 0.3)


def girth(line):
    return np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1).sum()


def assert_same_distances(paper, exact, atol):
    pairs = np.random.default_rng(2).integers(0, len(paper), (300, 2))
    gaps = [np.linalg.norm(p[pairs[:, 0]] - p[pairs[:, 1]], axis=1) for p in (paper, exact)]
    np.testing.assert_allclose(*gaps, atol=atol)


def test_a_circle_on_a_sphere_has_its_exact_girth_and_diameter():
    """Geodesic radius r: girth 2 pi R sin(r / R), lengths across 2 r."""
    r = 0.06
    surface = bodies.ellipsoid((RADIUS,) * 3, 4)
    size = 2.0 * RADIUS * np.sin(r / RADIUS)
    opening = lay_opening(surface, "circle", [0, RADIUS, 0], size, size, shape="oval")
    (piece,) = flat_opening(surface, opening)
    exact = 2.0 * np.pi * RADIUS * np.sin(r / RADIUS)
    # 400 straight pieces: short by (pi / 400)^2 / 6 = 1e-5; the rest is the panelling
    assert piece.errors.girth == pytest.approx(exact, rel=3e-5)
    assert girth(piece.outline_on_skin) == pytest.approx(exact, rel=3e-5)
    skin = [skin for _, skin in lengths_across(piece.patch, piece.outline)]
    np.testing.assert_allclose(skin, 2.0 * r, rtol=1e-4)
    # on paper: between what keeps the girth, and what keeps the radius
    assert exact < girth(piece.outline) < 2.0 * np.pi * r
    assert piece.errors.along == pytest.approx(girth(piece.outline) - exact, abs=3e-5)


def geodesic(axes, start, end):
    """m: shortest way on an ellipsoid, by shooting: x'' = -(x'.H x') grad F / |grad F|^2."""
    weight = 1.0 / np.square(axes)

    def slope(_, state):
        x, v = state[:3], state[3:]
        grad = weight * x
        return np.concatenate([v, -(v @ (weight * v)) / (grad @ grad) * grad])

    normal = weight * start / np.linalg.norm(weight * start)
    chord = end - start
    first = chord - (chord @ normal) * normal
    first /= np.linalg.norm(first)
    second = np.cross(normal, first)

    def arrival(unknown):
        direction = np.cos(unknown[0]) * first + np.sin(unknown[0]) * second
        begin = np.concatenate([start, direction])
        way = solve_ivp(slope, (0.0, unknown[1]), begin, rtol=1e-10, atol=1e-12)
        return way.y[:3, -1] - end

    guess = [0.0, np.linalg.norm(chord)]
    return least_squares(arrival, guess, xtol=1e-12, ftol=1e-14).x[1]


def onto(axes, point):
    """A point near an ellipsoid moved onto it along its gradient."""
    for _ in range(4):
        grad = 2.0 * point / np.square(axes)
        point = point - ((point**2 / np.square(axes)).sum() - 1.0) / (grad @ grad) * grad
    return point


def test_lengths_across_an_ellipsoid_are_its_geodesics():
    surface = bodies.ellipsoid(AXES, 5)
    place = onto(AXES, np.array([0.4, 0.3, 0.2]))
    opening = lay_opening(surface, "place", place, 0.16, 0.1, kind="flush hole")
    patch = patch_round(surface, opening)
    outline = np.array(flat_opening(surface, opening)[0].outline)
    paper, skin = np.array(lengths_across(patch, outline)).T
    n = len(outline)
    for line in range(0, 24, 4):
        first = line * n // 48
        ends = patch.on_skin(outline[[first, (first + n // 2) % n]])
        exact = geodesic(AXES, *(onto(AXES, end) for end in ends))
        assert skin[line] == pytest.approx(exact, rel=1e-4)
        assert paper[line] == pytest.approx(exact, rel=3e-3)


def test_an_outline_on_a_cylinder_unrolls_to_the_exact_places():
    """Radius 1: the paper shows station and angle."""
    surface = bodies.cylinder(96, 24)
    opening = lay_opening(surface, "hatch", [0.1, 0.0, 1.0], 0.3, 0.5, kind="flush hole")
    (piece,) = flat_opening(surface, opening)
    x, y, z = piece.outline_on_skin.T
    np.testing.assert_allclose(np.hypot(y, z), 1.0, atol=1e-5)
    assert_same_distances(piece.outline, np.stack([x, np.arctan2(y, z)], axis=1), atol=2e-5)
    assert piece.errors.length < 2e-5
    assert piece.errors.stretch < 2e-4
    assert piece.errors.area == pytest.approx(1.0, abs=1e-5)


def cone(around=96, rings=30, low=0.5, high=1.5, slope=0.4):
    """Frustum about x with radius slope x, closed by flat ends."""
    angle = 2.0 * np.pi * np.arange(around) / around
    stations = np.linspace(low, high, rings + 1)
    body = bodies.cylinder(around, rings)
    vertices = np.array(body.vertices)
    ring = np.repeat(stations, around)
    vertices[:-2, 0] = ring
    vertices[:-2, 1] = slope * ring * np.tile(np.cos(angle), rings + 1)
    vertices[:-2, 2] = slope * ring * np.tile(np.sin(angle), rings + 1)
    vertices[-2:, 0] = low, high
    return SurfaceMesh(vertices, body.triangles)


def test_a_cone_unrolls_with_exact_distances():
    """Unrolled, a cone is a sector: radius r / sin(half angle), angle phi sin(half angle)."""
    surface, slope = cone(), 0.4
    opening = lay_opening(surface, "vent", [1.0, 0.0, 0.4], 0.2, 0.15, kind="louvre")
    (piece,) = flat_opening(surface, opening)
    _, y, z = piece.outline_on_skin.T
    share = slope / np.hypot(1.0, slope)
    radius, angle = np.hypot(y, z) / share, share * np.arctan2(y, z)
    exact = radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    assert_same_distances(piece.outline, exact, atol=2e-5)
    assert piece.errors.length < 5e-5


def test_a_flat_skin_is_met_exactly_and_turned_with_the_opening():
    surface = bodies.box((1.0, 1.0, 0.5), (8, 8, 4))
    opening = lay_opening(surface, "hole", [0, 0, 0.25], 0.2, 0.1, turn=30.0, kind="flush hole")
    (piece,) = flat_opening(surface, opening)
    np.testing.assert_allclose(piece.outline, outline_places(opening)[0], atol=1e-7)
    assert piece.errors.length < 1e-7
    names = dict(piece.levels)
    assert set(names) == {"STA 0", "BL 0"}
    # station and butt line lie at 30 deg to the opening's axes
    for name, angle in (("STA 0", 60.0), ("BL 0", -30.0)):
        run = names[name][-1] - names[name][0]
        assert np.degrees(np.arctan2(run[1], run[0])) % 180 == pytest.approx(angle % 180, abs=1e-3)


def test_a_tightly_curved_skin_is_split_and_the_pieces_meet():
    surface = bodies.ellipsoid((RADIUS,) * 3, 4)
    opening = lay_opening(surface, "wide", [0, RADIUS, 0], 0.24, 0.2, kind="flush hole")
    pieces = flat_opening(surface, opening)
    assert len(pieces) == 4
    assert all(piece.errors.small for piece in pieces)
    marks = [dict(piece.letters) for piece in pieces]
    assert sorted("".join(sorted(m)) for m in marks) == ["ABEF", "ABGH", "CDEF", "CDGH"]
    # the same two letters are equally far apart on both papers, to the error of the lengths
    for two in ("AB", "CD", "EF", "GH"):
        gaps = [np.linalg.norm(m[two[0]] - m[two[1]]) for m in marks if two[0] in m]
        assert len(gaps) == 2
        assert gaps[0] == pytest.approx(gaps[1], abs=2e-4)
    # the cuts of all pieces together are the cut of the whole
    whole = girth(patch_round(surface, opening).projected(opening, outline_places(opening)[0])[0])
    steps = [np.roll(p.outline_on_skin, -1, axis=0) - p.outline_on_skin for p in pieces]
    cut = sum(np.linalg.norm(s[~p.joint], axis=1).sum() for s, p in zip(steps, pieces, strict=True))
    assert cut == pytest.approx(whole, rel=1e-4)


@pytest.mark.parametrize("shape", ["rectangle", "oval"])
def test_pieces_of_an_outline_have_together_its_area(shape):
    surface = bodies.box((1.0, 1.0, 0.5), (4, 4, 2))
    opening = lay_opening(surface, "hole", [0, 0, 0.25], 0.2, 0.1, shape=shape, kind="flush hole")
    half, all_ = ((-np.inf, 0.0), (0.0, np.inf)), (-np.inf, np.inf)

    def area(piece):
        x, y = outline_places(opening, piece)[0].T
        return 0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum()

    whole = area((all_, all_))
    assert whole == pytest.approx(0.02 if shape == "rectangle" else 0.005 * np.pi, rel=1e-4)
    assert sum(area((h, all_)) for h in half) == pytest.approx(whole, rel=1e-9)
    assert sum(area((g, h)) for g in half for h in half) == pytest.approx(whole, rel=1e-9)
    assert all(outline_places(opening, (h, all_))[1].any() for h in half)


def test_a_sharp_edge_inside_the_outline_is_refused_where_it_lies():
    surface = bodies.cylinder(6, 12)
    # 6 flat sides, folded by 60 deg at z = sin 60 deg
    with pytest.raises(SurfaceError, match=r"ridge: the skin folds by 60 deg.*WL 866"):
        flat_opening(
            surface, lay_opening(surface, "ridge", [0, 0.5, 0.866], 0.3, 0.3, kind="flush hole")
        )
    beside = lay_opening(surface, "beside", [0, 0.0, 0.866], 0.3, 0.3, kind="flush hole")
    (piece,) = flat_opening(surface, beside)
    assert piece.errors.length < 1e-7


def test_an_edge_in_the_margin_only_ends_the_paper():
    surface = bodies.cylinder(6, 12)
    near = lay_opening(surface, "near", [0, 0.38, 0.866], 0.3, 0.2, kind="flush hole")
    (piece,) = flat_opening(surface, near)
    # 20 mm of skin from outline to ridge
    assert piece.patch.vertices[:, 1].max() == pytest.approx(0.5, abs=1e-9)
    assert 0.25 < piece.patch.vertices[:, 1].min() < 0.28


def test_a_hole_inside_the_outline_is_refused():
    surface = bodies.box((1.0, 1.0, 0.5), (20, 20, 4))
    gone = np.linalg.norm(surface.centroids - [0.06, 0.0, 0.25], axis=1) < 0.02
    opened = SurfaceMesh(surface.vertices, surface.triangles[~gone])
    whole = lay_opening(surface, "hole", [0, 0, 0.25], 0.2, 0.1, kind="flush hole")
    with pytest.raises(SurfaceError, match="has a hole inside the outline, at STA"):
        flat_opening(opened, whole)


def test_a_hole_beside_the_outline_only_ends_the_paper():
    surface = bodies.box((1.0, 1.0, 0.5), (100, 100, 4))
    opening = lay_opening(surface, "hole", [0, 0, 0.25], 0.2, 0.1, kind="flush hole")
    gone = np.linalg.norm(surface.centroids - [0.117, 0.0, 0.25], axis=1) < 0.006
    assert gone.any()
    opened = SurfaceMesh(surface.vertices, surface.triangles[~gone])
    (piece,) = flat_opening(opened, opening)
    np.testing.assert_allclose(piece.outline, outline_places(opening)[0], atol=1e-7)


def test_a_skin_too_tightly_curved_for_paper_is_refused():
    surface = bodies.ellipsoid((0.1,) * 3, 4)
    opening = lay_opening(surface, "dome", [0, 0.1, 0], 0.18, 0.18, shape="oval")
    with pytest.raises(SurfaceError, match="too tightly curved for paper"):
        flat_opening(surface, opening)
