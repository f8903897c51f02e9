"""Closed surfaces that are probably not the body that was meant."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import check_surface
from panelcp.surface.doubts import end_wall, section_volume, surface_doubts
from panelcp.surface.intake import IntakeOptions, surface_from_triangles
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.reading import ReadingOptions
from tests import bodies

AXES = (2.0, 0.6, 0.5)


@pytest.fixture(scope="module")
def whole():
    return bodies.ellipsoid(AXES, 3)


def pear(forward: float):
    """Body of revolution r = 0.5 sin(u) (1 - forward cos(u)), 4 m long, full in front if > 0."""
    vertices, triangles = bodies.icosphere(3)
    taper = 1.0 - forward * vertices[:, :1]
    return SurfaceMesh(vertices * [2.0, 0.5, 0.5] * np.hstack([taper**0, taper, taper]), triangles)


def cut(surface, station):
    """The body with everything behind a station pressed flat onto it."""
    vertices = np.array(surface.vertices)
    vertices[:, 0] = np.minimum(vertices[:, 0], station)
    kept = ~(vertices[surface.triangles][:, :, 0] == station).all(axis=1)
    rim = vertices[:, 0] == station
    middle = len(vertices)
    triangles = surface.triangles[kept]
    used = np.unique(triangles)
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    edges = edges[rim[edges].all(axis=1)]
    fan = np.column_stack([edges[:, ::-1], np.full(len(edges), middle)])
    vertices = np.vstack([vertices, [[station, 0.0, 0.0]]])
    names = np.concatenate([used, [middle]])
    place = np.full(middle + 1, -1)
    place[names] = np.arange(len(names))
    return SurfaceMesh(vertices[names], place[np.vstack([triangles, fan])])


@pytest.mark.parametrize("body", ["ellipsoid", "half", "pear"])
def test_sound_bodies_raise_no_doubt(whole, body):
    surface = {
        "ellipsoid": whole,
        "half": bodies.mirrored_ellipsoid(AXES, 4),
        "pear": pear(0.4),
    }[body]
    check = check_surface(surface)
    assert check.doubts == ()
    assert not any("doubt" in line for line in check.lines())


def test_nose_is_asked_for(whole):
    lines = check_surface(whole.translated([1.67, 0.0, 0.0])).lines()
    assert "nose at STA -330 (least station): is that right?" in lines


@pytest.mark.parametrize(
    ("size", "words"),
    [
        ((1.0, 1.3, 0.9), "the body is 1.3 m wide but only 1 m long: the axes of the file"),
        ((1.0, 0.9, 1.3), "the body is 1.3 m high but only 1 m long: the axes of the file"),
    ],
)
def test_body_shorter_than_wide_or_high_is_doubted(size, words):
    (doubt,) = surface_doubts(bodies.ellipsoid(np.array(size) / 2, 3))
    assert doubt.startswith(words)
    assert "set axes in [surface], or --axes" in doubt


def test_limit_of_the_doubtful_length():
    assert surface_doubts(bodies.ellipsoid((0.81, 1.0, 0.5), 3)) == ()
    assert len(surface_doubts(bodies.ellipsoid((0.79, 1.0, 0.5), 3))) == 1


@pytest.mark.parametrize("order", [[1, 0, 2], [2, 1, 0]])
def test_body_far_longer_across_is_refused_until_axes_are_given(order):
    in_file = bodies.ellipsoid(AXES, 2)
    vertices, triangles = in_file.vertices[:, order], in_file.triangles[:, [0, 2, 1]]
    side = "wide" if order[1] == 0 else "high"
    with pytest.raises(SurfaceError, match=f"the body is 4 m {side} but only 1.* m long.*--axes"):
        surface_from_triangles(vertices, triangles)
    names = ("aft", "right", "up")
    axes = tuple((names[k], "+" + "xyz"[order.index(k)]) for k in range(3))
    surface = surface_from_triangles(vertices, triangles, IntakeOptions(ReadingOptions(axes=axes)))
    assert surface.size == pytest.approx(in_file.size)


def test_asymmetric_body_is_doubted(whole):
    assert surface_doubts(whole.translated([0.0, 0.02, 0.0])) == ()
    (doubt,) = surface_doubts(whole.translated([0.0, 0.05, 0.0]))
    # the widest vertices are the farthest from the skin: 2 x 50 mm of 1200 mm
    assert doubt.startswith("left and right differ by up to 100 mm, 8 % of the width: the axes or")


def test_pattern_of_panels_is_no_asymmetry():
    body = bodies.jittered_ellipsoid(AXES, 3)
    check = check_surface(body)
    assert check.asymmetry > 0.05 * body.size[1]
    assert check.doubts == ()


def test_volume_of_a_part_of_the_body(whole):
    brick = bodies.box()
    # 8 steps of 0.25 m: no panel crosses these stations
    assert section_volume(brick, -0.5, 0.25) == pytest.approx(0.75 * 0.8)
    assert section_volume(whole, -2.0, 2.0) == pytest.approx(whole.volume)


def test_tail_first_is_doubted():
    words = "fuller behind than in front: nose and tail may be swapped"
    assert surface_doubts(pear(0.4)) == ()
    assert surface_doubts(pear(-0.4)) == (words,)
    assert surface_doubts(pear(-0.05)) == ()


def test_flat_wall_behind_is_measured_and_doubted(whole):
    body = cut(whole, 0.5)
    area, station = end_wall(body, 1.0)
    # a closed body: the wall balances the frontal area of everything ahead of it
    ahead = body.centroids[:, 0] < 0.499
    assert area == pytest.approx(-body.area_vectors[ahead, 0].sum())
    assert area == pytest.approx(np.pi * 0.6 * 0.5 * (1 - 0.25**2), rel=0.05)
    assert station == pytest.approx(0.5)
    (doubt,) = surface_doubts(body)
    assert doubt == (
        f"the body ends in a flat wall of {area:.2g} m2 at STA 500: add the fuselage behind, or a "
        "fairing; the pressures near it are wrong"
    )


def test_flat_wall_in_front_means_swapped_ends(whole):
    body = cut(whole, 0.5)
    turned = body.rotated(np.diag([-1.0, -1.0, 1.0]))
    (doubt,) = surface_doubts(turned)
    assert doubt.startswith("the body begins with a flat wall of 0.8")
    assert doubt.endswith("at STA -500: nose and tail may be swapped")


def test_walls_of_a_cylinder():
    around = 32
    polygon = 0.5 * around * np.sin(2 * np.pi / around)
    inward = bodies.cylinder(around)
    outward = SurfaceMesh(inward.vertices, inward.triangles[:, ::-1])
    for sign in (-1.0, 1.0):
        assert end_wall(outward, sign) == pytest.approx((polygon, sign))
    assert end_wall(bodies.ellipsoid(AXES, 2), 1.0)[0] == 0.0


def test_small_wall_behind_is_no_doubt(whole):
    assert surface_doubts(cut(whole, 1.85)) == ()


def test_twelve_triangles_are_too_few():
    doubts = surface_doubts(bodies.box(steps=(1, 1, 1)))
    assert "only 12 panels: far too coarse; a few thousand are right" in doubts
    assert not any("coarse" in doubt for doubt in surface_doubts(bodies.box(steps=(10, 8, 8))))
