"""Skin laid flat: what can be unrolled is met exactly, the rest with the least stretch."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.flattening import flattened, require_disc, stretches
from tests import bodies


def grid(rows=12, columns=16):
    """Flat grid of a unit square: places (n, 2) and triangles."""
    u, v = np.meshgrid(np.linspace(0, 1, columns + 1), np.linspace(0, 1, rows + 1))
    index = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
    a, b, c, d = (
        p.ravel() for p in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1])
    )
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return np.stack([u.ravel(), v.ravel()], axis=1), triangles


def cylinder_roll(places):
    angle = 1.5 * places[:, 1]
    return np.stack([places[:, 0], np.cos(angle), np.sin(angle)], axis=1)


def cone_roll(places):
    radius, angle = 0.5 + places[:, 0], 2.0 * (places[:, 1] - 0.5)
    return np.stack([radius, 0.4 * radius * np.cos(angle), 0.4 * radius * np.sin(angle)], axis=1)


def crumpled(places):
    """Folded twice along parallel lines."""
    x = places[:, 0]
    height = 0.3 * np.abs(np.mod(x + 0.25, 0.5) - 0.25)
    return np.stack([x, places[:, 1], height], axis=1)


def areas(flat, triangles):
    a, b, c = np.moveaxis(flat[triangles], 1, 0)
    u, v = b - a, c - a
    return 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


@pytest.mark.parametrize("roll", [cylinder_roll, cone_roll, crumpled])
def test_what_can_be_unrolled_is_unrolled_without_stretch(roll):
    """A mesh of a cylinder in rings is a folded plane; of a cone too, between its rulings."""
    places, triangles = grid()
    flat = flattened(roll(places), triangles)
    # rings of a cone are cut into flat trapezoids: unrolled exactly as well
    np.testing.assert_allclose(stretches(roll(places), triangles, flat), 1.0, atol=1e-6)


def test_lengths_on_an_unrolled_cylinder_are_those_of_its_polygon():
    places, triangles = grid()
    flat = flattened(cylinder_roll(places), triangles)
    chord = 2.0 * np.sin(0.5 * 1.5 / 12) * 12
    corners = flat[[0, 16, -1, -17]]
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    np.testing.assert_allclose(sides, [1.0, chord, 1.0, chord], rtol=1e-8)
    diagonal = np.linalg.norm(corners[2] - corners[0])
    assert diagonal == pytest.approx(np.hypot(1.0, chord), rel=1e-8)


def sphere_cap(angle, level=5):
    vertices, triangles = bodies.icosphere(level)
    kept = triangles[(vertices[triangles][:, :, 0] > np.cos(angle)).all(axis=1)]
    used, index = np.unique(kept, return_inverse=True)
    return vertices[used], index.reshape(-1, 3)


def test_seen_from_outside_no_triangle_is_turned_over():
    vertices, triangles = sphere_cap(0.6)
    assert areas(flattened(vertices, triangles), triangles).min() > 0.0


def test_the_stretch_of_a_cap_falls_with_the_square_of_its_size():
    """Gauss: what cannot be flattened grows with the curvature inside, so with the square."""
    worst = []
    for angle in (0.6, 0.3):
        vertices, triangles = sphere_cap(angle)
        stretch = stretches(vertices, triangles, flattened(vertices, triangles))
        rim = np.arccos(vertices[:, 0].min())
        worst.append(max(stretch.max() - 1.0, 1.0 - stretch.min()) / rim**2)
    assert worst[0] == pytest.approx(worst[1], rel=0.2)


def test_no_other_map_of_a_cap_has_less_stretch():
    """The map as rigid as possible has the least mean square of stretch less 1."""
    vertices, triangles = sphere_cap(0.6)
    polar = np.arccos(vertices[:, 0])
    sideways = vertices[:, 1:] / np.sin(np.maximum(polar, 1e-9))[:, None]
    maps = {
        "equidistant": polar[:, None] * sideways,
        "equal area": 2.0 * np.sin(0.5 * polar)[:, None] * sideways,
        "conformal": 2.0 * np.tan(0.5 * polar)[:, None] * sideways,
        "ours": flattened(vertices, triangles),
    }
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    mean = {
        name: (area * ((stretches(vertices, triangles, flat) - 1.0) ** 2).sum(axis=1)).sum()
        for name, flat in maps.items()
    }
    assert mean["ours"] < 0.8 * min(mean[name] for name in mean if name != "ours")


def test_small_changes_of_the_map_of_a_cap_only_add_stretch():
    """At rest: what a change adds is of second order in it."""
    vertices, triangles = sphere_cap(0.6, level=4)
    flat = flattened(vertices, triangles)
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    x, y = flat.T
    zero = np.zeros_like(x)
    for change in ((x, zero), (x, y), (x**3, zero), (x * (x**2 + y**2), y * (x**2 + y**2))):
        step = 1e-3 * np.stack(change, axis=1) / np.abs(change).max()
        less, rest, more = (
            (area * ((stretches(vertices, triangles, moved) - 1.0) ** 2).sum(axis=1)).sum()
            for moved in (flat - step, flat, flat + step)
        )
        assert abs(more - less) < 1e-4 * (more + less - 2.0 * rest)


def test_weights_move_the_stretch_to_where_it_counts_less():
    vertices, triangles = sphere_cap(0.6)
    middle = vertices[triangles].mean(axis=1)[:, 0] > np.cos(0.3)
    plain, weighted = (
        stretches(vertices, triangles, flattened(vertices, triangles, weights))[middle]
        for weights in (None, np.where(middle, 1.0, 0.03))
    )
    assert np.sqrt(((weighted - 1.0) ** 2).mean()) < 0.7 * np.sqrt(((plain - 1.0) ** 2).mean())


def test_a_turn_and_a_move_of_the_skin_change_no_length_on_the_paper():
    vertices, triangles = sphere_cap(0.4, level=4)
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    first = flattened(vertices, triangles)
    second = flattened(vertices @ turn.T + [1.0, 2.0, 3.0], triangles)
    gaps = [np.linalg.norm(flat - flat[0], axis=1) for flat in (first, second)]
    np.testing.assert_allclose(*gaps, atol=1e-6)


def test_pieces_that_are_no_disc_are_refused():
    places, triangles = grid()
    skin = cylinder_roll(places)
    centre = places[triangles].mean(axis=1)
    ring = triangles[np.abs(centre - 0.5).max(axis=1) > 0.2]
    with pytest.raises(SurfaceError, match=r"no disc: 1 piece.*Euler number 0"):
        require_disc(skin, ring)
    two = triangles[np.abs(centre[:, 0] - 0.5) > 0.2]
    with pytest.raises(SurfaceError, match="2 piece"):
        flattened(skin, two)
    vertices, closed = bodies.icosphere(1)
    with pytest.raises(SurfaceError, match="Euler number 2"):
        flattened(vertices, closed)
