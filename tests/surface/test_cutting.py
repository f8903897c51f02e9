"""Cuts by planes: exact curves, order of convergence, planes through vertices, edges and panels."""

import numpy as np
import pytest
from scipy.integrate import quad

from panelcp.errors import SurfaceError
from panelcp.surface.cutting import CutLine, cut_at, cut_by_plane, line_operator
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies

AXES = (3.0, 2.0, 1.0)


def ellipse_length(a, b):
    """Girth of an ellipse by quadrature."""
    return 4.0 * quad(lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), 0.0, 0.5 * np.pi)[0]


def on_the_skin(surface, line):
    """Points lie on their panels, and the middles of pieces inside theirs and those beside."""
    panels = line.panels if line.closed else np.append(line.panels, line.panels[-1])
    shares = line.shares(surface)
    found = np.einsum("nk,nkd->nd", shares, surface.corners[panels])
    assert shares.min() > -1e-9
    assert np.abs(found - line.points).max() < 1e-12
    ends = np.roll(line.points, -1, axis=0)[: len(line.panels)]
    middles = 0.5 * (line.points[: len(line.panels)] + ends)
    for panels in (line.panels, line.beside):
        there = panels >= 0
        if there.any():
            assert _shares(surface, panels[there], middles[there]).min() > -1e-9


def _shares(surface, panels, points):
    line = CutLine(points, np.full((len(points), 2), -1), panels, np.full(len(points), -1), True)
    return line.shares(surface)


@pytest.mark.parametrize(
    ("plane", "place", "exact"),
    [
        ("butt line", 0.0, ellipse_length(3.0, 1.0)),
        ("station", 0.0, ellipse_length(2.0, 1.0)),
        ("station", 1.2, 0.916515138991168 * ellipse_length(2.0, 1.0)),
        ("waterline", -0.6, 0.8 * ellipse_length(3.0, 2.0)),
        ("butt line", 1.0, np.sqrt(0.75) * ellipse_length(3.0, 1.0)),
    ],
)
def test_ellipsoid_is_cut_along_its_exact_ellipse(plane, place, exact):
    """Chords: length and place are second-order accurate, halving the panels leaves a quarter.

    Between vertices a plane meets the chords at another height each time, so the order is a mean.
    """
    errors, off = [], []
    for level in (3, 4, 5, 6):
        (line,) = cut_at(bodies.mirrored_ellipsoid(AXES, level), plane, place).lines
        assert line.closed
        axis = ("station", "butt line", "waterline").index(plane)
        assert np.abs(line.points[:, axis] - place).max() < 1e-12
        errors.append(abs(line.length - exact))
        off.append(np.abs(((line.points / AXES) ** 2).sum(axis=1) - 1.0).max())
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders.mean() == pytest.approx(2.0, abs=0.3)
    assert errors[-1] < 3e-4 * exact
    assert off[-1] < max(0.4 * off[-2], 1e-12)  # 0 where the plane holds vertices only


@pytest.mark.parametrize(("origin", "normal"), [((0.1, 0, 0.2), (1, 2, 3)), ((0, 0, 0), (1, 1, 1))])
def test_sphere_is_cut_along_a_circle_by_any_plane(origin, normal):
    errors = []
    unit = np.array(normal) / np.linalg.norm(normal)
    radius = np.sqrt(1.0 - float(unit @ origin) ** 2)
    for level in (2, 3, 4):
        surface = bodies.ellipsoid((1.0, 1.0, 1.0), level)
        cut = cut_by_plane(surface, origin, normal)
        assert np.abs((cut.lines[0].points - origin) @ unit).max() < 1e-12
        on_the_skin(surface, cut.lines[0])
        errors.append(abs(cut.length - 2.0 * np.pi * radius))
    assert np.log2(errors[0] / errors[2]) / 2.0 == pytest.approx(2.0, abs=0.3)


def test_centre_line_of_a_mirrored_surface_runs_along_its_edges():
    surface = bodies.mirrored_ellipsoid(AXES, 3)
    (line,) = cut_at(surface, "butt line", 0.0).lines
    assert (line.points[:, 1] == 0.0).all()
    assert (line.edges[:, 0] == line.edges[:, 1]).all()
    assert np.array_equal(surface.vertices[line.edges[:, 0]], line.points)
    assert len(np.unique(line.edges[:, 0])) == np.count_nonzero(surface.vertices[:, 1] == 0.0)
    # one panel of each half beside every piece
    sides = np.sign(surface.centroids[[line.panels, line.beside], 1])
    assert np.array_equal(sides, np.array([[-1.0], [1.0]]) * np.ones(len(line.panels)))
    on_the_skin(surface, line)


def test_line_has_the_side_of_the_normal_at_its_right_hand():
    (line,) = cut_at(bodies.ellipsoid(AXES, 3), "station", 0.4).lines
    steps = np.roll(line.points, -1, axis=0) - line.points
    outward = line.points * [0.0, 0.25, 1.0]
    assert (np.cross(outward, [1.0, 0.0, 0.0])[:, 1:] * steps[:, 1:]).sum(axis=1).min() > 0.0


@pytest.mark.parametrize(
    ("plane", "place", "exact"),
    [
        ("station", 0.1, 3.6),
        ("station", 0.25, 3.6),  # through vertices and along edges
        ("station", 1.0, 3.6),  # the face itself: its outline
        ("station", -1.0, 3.6),
        ("waterline", 0.4, 6.0),
        ("butt line", -0.5, 5.6),
        ("butt line", 0.123, 5.6),
    ],
)
def test_box_through_faces_edges_and_in_a_face(brick, plane, place, exact):
    cut = cut_at(brick, plane, place)
    assert cut.length == pytest.approx(exact, abs=1e-12)
    assert len(cut.lines) == 1
    assert cut.lines[0].closed
    on_the_skin(brick, cut.lines[0])


def test_box_on_its_edge_through_two_edges(brick):
    """The plane through two opposite edges along x: a rectangle 2 m by the diagonal."""
    cut = cut_by_plane(brick, (0.0, 0.0, 0.0), (0.0, 0.8, 1.0))
    assert cut.length == pytest.approx(2.0 * (2.0 + np.hypot(1.0, 0.8)), abs=1e-12)


def test_two_bodies_give_two_lines_the_longest_first():
    small = bodies.ellipsoid((0.5, 0.5, 0.5), 2).translated([0.0, 5.0, 0.0])
    cut = cut_at(bodies.together(small, bodies.ellipsoid(AXES, 3)), "station", 0.01)
    assert [line.closed for line in cut.lines] == [True, True]
    assert cut.lines[0].length == pytest.approx(ellipse_length(2.0, 1.0), rel=0.01)
    assert cut.lines[1].length == pytest.approx(np.pi, rel=0.05)
    assert cut.length == pytest.approx(cut.lines[0].length + cut.lines[1].length)


def test_open_surface_gives_an_open_line():
    surface = bodies.ellipsoid((1.0, 1.0, 1.0), 3)
    kept = surface.centroids[:, 2] > -0.5
    half = SurfaceMesh(surface.vertices, surface.triangles[kept])
    (line,) = cut_at(half, "station", 0.013).lines
    assert not line.closed
    assert len(line.panels) == len(line.points) - 1
    assert line.points[[0, -1], 2].max() < -0.3
    on_the_skin(half, line)


@pytest.mark.parametrize("place", [1.2, -1.2])
def test_a_plane_that_misses_says_where_the_body_is(brick, place):
    with pytest.raises(SurfaceError, match=r"STA -?1200 mm misses .* from -1000 to 1000 mm"):
        cut_at(brick, "station", place)


def test_other_mistakes_are_told(brick):
    with pytest.raises(SurfaceError, match="misses the surface, which lies 1700 to 3900 mm"):
        cut_by_plane(brick, (-2.0, -2.0, 0.0), (0.8, 0.6, 0.0))
    with pytest.raises(SurfaceError, match="not zero"):
        cut_by_plane(brick, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    with pytest.raises(SurfaceError, match="expected station, butt line, waterline"):
        cut_at(brick, "frame", 0.0)
    sphere = bodies.ring_sphere(4)
    with pytest.raises(SurfaceError, match="misses"):
        cut_at(sphere, "waterline", sphere.bounds[1, 2])  # touches one vertex


def test_parts_of_a_line_keep_its_way(brick):
    (line,) = cut_at(brick, "butt line", 0.0).lines
    for first, last in ((0.3, 2.0), (2.0, 0.3), (line.arc[3], line.arc[7]), (5.5, 0.0)):
        one, other = line.halves(first, last)
        assert one.length == pytest.approx((last - first) % line.length, abs=1e-12)
        assert one.length + other.length == pytest.approx(line.length, abs=1e-12)
        for half in (one, other):
            assert np.allclose(half.points[0], line.place_at(first), atol=1e-12)
            assert np.allclose(half.points[-1], line.place_at(last), atol=1e-12)
            on_the_skin(brick, half)
    back = line.reversed()
    assert back.length == pytest.approx(line.length)
    assert np.array_equal(back.reversed().points, line.points)
    assert np.array_equal(back.reversed().panels, line.panels)
    on_the_skin(brick, back)


def test_nearest_place_on_a_line(brick):
    (line,) = cut_at(brick, "waterline", 0.1).lines
    arc, gap = line.nearest((0.3, 0.9, 0.1))
    assert np.allclose(line.place_at(arc), (0.3, 0.5, 0.1))
    assert gap == pytest.approx(0.4)


def test_values_on_a_line_are_exact_for_a_quadratic_field():
    """Fits are quadratic: x^2 - y z comes back, at edges, at vertices, on the centre line."""
    errors = []
    for level in (3, 4):
        surface = bodies.mirrored_ellipsoid((1.0, 1.0, 1.0), level)
        from panelcp.surface.curved import curved_panels

        x, y, z = curved_panels(surface).points.T
        worst = 0.0
        for plane, place in (("butt line", 0.0), ("station", 0.3)):
            (line,) = cut_at(surface, plane, place).lines
            u, v, w = (line.points / np.linalg.norm(line.points, axis=1, keepdims=True)).T
            found = line_operator(surface, line) @ (x * x - y * z)
            worst = max(worst, np.abs(found - (u * u - v * w)).max())
        errors.append(worst)
    assert errors[1] < 0.35 * errors[0]
    assert errors[1] < 0.01


def test_both_halves_count_alike_on_the_centre_line():
    surface = bodies.mirrored_ellipsoid(AXES, 2)
    (line,) = cut_at(surface, "butt line", 0.0).lines
    n = surface.n_panels // 2
    antisymmetric = np.concatenate([np.arange(1.0, n + 1.0), -np.arange(1.0, n + 1.0)])
    assert np.abs(line_operator(surface, line) @ antisymmetric).max() < 1e-8
