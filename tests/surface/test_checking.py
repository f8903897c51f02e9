"""Figures by which a surface is known, and surfaces that are refused."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import (
    asymmetry,
    check_surface,
    least_angles,
    require_closed,
    require_one_body,
    require_outward,
)
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies


def test_figures_of_a_box(brick):
    check = check_surface(brick)
    assert check.size == pytest.approx([2.0, 1.0, 0.8])
    assert check.volume == pytest.approx(1.6)
    assert check.area == pytest.approx(8.8)
    assert check.n_panels == check.n_solved == brick.n_panels == 2 * 2 * (8 * 5 + 8 * 4 + 5 * 4)
    # squares of 0.25 by 0.2 (top, right) and 0.2 by 0.2 (front), each with a diagonal
    assert check.edge_lengths[[0, 2]] == pytest.approx([0.2, np.hypot(0.25, 0.2)])
    assert check.least_angle == pytest.approx(np.degrees(np.arctan2(0.2, 0.25)))
    assert check.share_below_20 == 0.0
    assert check.asymmetry == pytest.approx(0.0, abs=1e-15)


def test_lines_name_place_and_size_in_workshop_terms(brick):
    lines = check_surface(brick.translated([1.5, 0.0, 0.1]).with_notes("read from tape")).lines()
    text = "\n".join(lines)
    assert "size: 2.000 m long, 1.000 m wide, 0.800 m high" in text
    assert "STA 500 to 2500, BL -500 to 500, WL -300 to 500 mm" in text
    assert "panels: 368 (368 solved as a whole)" in text
    assert "area 8.800 m2, volume 1.600 m3" in text
    assert "read from tape" in lines


def test_half_is_counted_as_such():
    check = check_surface(bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 2))
    assert (check.n_panels, check.n_solved) == (128, 64)
    assert "(64 solved as a half)" in "\n".join(check.lines())


def test_asymmetry_is_the_farthest_lonely_vertex(brick):
    assert asymmetry(brick.translated([0.0, 0.03, 0.0])) == pytest.approx(0.06)
    vertices = np.array(brick.vertices)
    index = np.argmax(vertices @ [1.0, 1.0, 1.0])
    vertices[index] += [0.0, 0.004, 0.003]
    assert asymmetry(SurfaceMesh(vertices, brick.triangles)) == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("corners", "angle"),
    [
        ([[0, 0, 0], [1, 0, 0], [0.5, np.sqrt(0.75), 0]], 60.0),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], 45.0),
        ([[0, 0, 0], [2, 0, 0], [0, 0, 2 * np.tan(np.radians(5.0))]], 5.0),
    ],
)
def test_least_angle_of_one_panel(corners, angle):
    for shift in range(3):
        panel = SurfaceMesh(np.roll(corners, shift, axis=0), [[0, 1, 2]])
        assert least_angles(panel) == pytest.approx([angle])


def test_needles_are_counted():
    check = check_surface(bodies.box((2.0, 0.1, 0.1), (2, 1, 1)))
    # the long faces are cut into triangles of 1 by 0.1
    assert check.least_angle == pytest.approx(np.degrees(np.arctan(0.1)))
    assert check.share_below_20 == pytest.approx(16.0 / 20.0)


def test_open_surface_is_refused(sphere):
    with pytest.raises(SurfaceError, match="not closed: 3 edges belong to one triangle only, in 1"):
        check_surface(SurfaceMesh(sphere.vertices, sphere.triangles[:-1]))


def test_inside_out_is_refused(sphere):
    turned = SurfaceMesh(sphere.vertices, sphere.triangles[:, [0, 2, 1]])
    require_closed(turned.vertices, turned.triangles)
    with pytest.raises(SurfaceError, match=r"inside out \(its volume is -4\.1"):
        require_outward(turned)
    with pytest.raises(SurfaceError, match="inside out"):
        check_surface(turned)


def test_bodies_are_counted_largest_first():
    small, large = bodies.ellipsoid((1.0, 1.0, 1.0), 0), bodies.ellipsoid((1.0, 1.0, 1.0), 1)
    parts = [large.translated([k, 0, 0]) for k in (0.0, 5.0)]
    parts += [small.translated([k, 0, 0]) for k in (10.0, 15.0)]
    starts = np.cumsum([0] + [part.n_vertices for part in parts])
    vertices = np.vstack([part.vertices for part in parts])
    triangles = np.vstack([p.triangles + s for p, s in zip(parts, starts, strict=False)])
    with pytest.raises(SurfaceError, match=r"4 separate bodies.*: 80 triangles.*and 1 more\."):
        require_one_body(vertices, triangles)
    require_one_body(parts[0].vertices, parts[0].triangles)


def test_bodies_that_touch_in_an_edge_are_refused(brick):
    # two boxes with one common edge: four triangles at each part of it
    other = bodies.box(centre=(2.0, 1.0, 0.0))
    vertices = np.vstack([brick.vertices, other.vertices]).round(12)
    merged, index = np.unique(vertices, axis=0, return_inverse=True)
    triangles = index[np.vstack([brick.triangles, other.triangles + brick.n_vertices])]
    with pytest.raises(SurfaceError, match="4 edges belong to more than two triangles"):
        require_closed(merged, triangles)


def test_half_may_be_open_on_the_centre_line_only():
    vertices, triangles = bodies.half_ellipsoid((3.0, 2.0, 1.0), 2)
    require_closed(vertices, triangles, open_at_plane=True)
    with pytest.raises(SurfaceError, match="not closed: 16 edges"):
        require_closed(vertices, triangles)
    inner = np.flatnonzero((vertices[triangles][:, :, 1] > 0.0).all(axis=1))[0]
    with pytest.raises(SurfaceError, match=r"3 edges .* in 1 group, besides the centre line"):
        require_closed(vertices, np.delete(triangles, inner, axis=0), open_at_plane=True)


def test_one_panel_turned_over_is_located(sphere):
    triangles = np.array(sphere.triangles)
    triangles[100] = triangles[100, ::-1]
    with pytest.raises(SurfaceError, match="3 edges join triangles of opposite winding"):
        require_closed(sphere.vertices, triangles)


@pytest.mark.parametrize("half", [False, True])
def test_cowl_that_ends_open_is_to_be_continued_behind(half):
    vertices, triangles = bodies.half_ellipsoid((2.0, 0.6, 0.5), 3)
    if not half:
        whole = bodies.mirrored_ellipsoid((2.0, 0.6, 0.5), 3)
        vertices, triangles = whole.vertices, whole.triangles
    ahead = triangles[(vertices[triangles][:, :, 0] <= 1e-9).all(axis=1)]
    used = np.unique(ahead)
    vertices, ahead = vertices[used], np.searchsorted(used, ahead)
    with pytest.raises(SurfaceError, match=r"it ends open at STA -?0: add the fuselage") as caught:
        require_closed(vertices, ahead, open_at_plane=half)
    assert "fill" not in str(caught.value)
    hole = np.flatnonzero((vertices[ahead][:, :, 0] < -1.0).all(axis=1))
    hole = hole[np.argmax(vertices[ahead[hole]][:, :, 1].min(axis=1))]
    with pytest.raises(SurfaceError, match=r"spoil the pressures near it; fill the other holes$"):
        require_closed(vertices, np.delete(ahead, hole, axis=0), open_at_plane=half)


def test_small_hole_at_the_rear_is_to_be_filled(sphere):
    rear = np.argmax(sphere.centroids[:, 0])
    with pytest.raises(
        SurfaceError, match=r"need a closed body; fill the holes, or raise"
    ) as caught:
        require_closed(sphere.vertices, np.delete(sphere.triangles, rear, axis=0))
    assert "fuselage" not in str(caught.value)
