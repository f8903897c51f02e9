"""Static pressure maps: hidden surface, values, lines, marks, page."""

import hashlib
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image
from scipy import ndimage

from panelcp.errors import FlowError, SurfaceError
from panelcp.flow import skin_layers
from panelcp.report.colours import PressureScale, pressure_scale
from panelcp.report.hatching import FREE, HATCH_ORDER, MAY_SEPARATE, SEPARATED
from panelcp.report.labels import Box, Paper, label_place
from panelcp.report.maps import (
    VIEWS,
    Marker,
    draw_colour_bar,
    draw_pressure_map,
    figure_pixels,
    iso_lines,
    legend_of,
    pressure_figure,
    project_view,
    write_picture,
    write_pressure_map,
)
from panelcp.report.projection import DARKENING, View, visible_runs
from panelcp.report.sheet_base import sheet_base, sheet_pixels
from panelcp.report.sheets import (
    cut_at_station,
    hatch_levels,
    last_station,
    map_markers,
    map_scales,
    usual_limit,
)
from panelcp.surface.mesh import SurfaceMesh


def joined(*parts):
    """One surface of several closed bodies."""
    offsets = np.cumsum([0] + [len(vertices) for vertices, _ in parts[:-1]])
    triangles = [part[1] + offset for part, offset in zip(parts, offsets, strict=True)]
    assert all(SurfaceMesh(*part).volume > 0.0 for part in parts)  # normals point outward
    return SurfaceMesh(np.vstack([vertices for vertices, _ in parts]), np.vstack(triangles))


def grid_body(points, closed_ends):
    """Triangles of a ring of rings (rows, columns, 3), both ways round or with end points."""
    rows, columns = points.shape[:2]
    number = np.arange(rows * columns).reshape(rows, columns)
    after_row = np.roll(number, -1, axis=0)
    if closed_ends:
        number, after_row = number[:-1], after_row[:-1]
    a, b = number, np.roll(number, -1, axis=1)
    c, d = after_row, np.roll(after_row, -1, axis=1)
    triangles = np.concatenate([np.stack([a, b, c], -1), np.stack([b, d, c], -1)]).reshape(-1, 3)
    return points.reshape(-1, 3), triangles


def ellipsoid(semi_axes, rows, columns, centre=(0.0, 0.0, 0.0)):
    polar = np.linspace(0.0, np.pi, rows + 2)[1:-1, None]
    round_axis = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)[None]
    x = -np.cos(polar) * np.ones_like(round_axis)
    points = np.stack(
        [x, np.sin(polar) * np.cos(round_axis), np.sin(polar) * np.sin(round_axis)], axis=-1
    )
    vertices, triangles = grid_body(points, closed_ends=True)
    n = len(vertices)
    ring, after = np.arange(columns), np.roll(np.arange(columns), -1)
    ends = [
        np.stack([np.full(columns, n), after, ring], axis=-1),
        np.stack([np.full(columns, n + 1), n - columns + ring, n - columns + after], axis=-1),
    ]
    vertices = np.vstack([vertices, [[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]])
    return vertices * semi_axes + centre, np.vstack([triangles, *ends])


def box(low, high):
    corners = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    sides = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
    triangles = [[(a, b, c), (a, c, d)] for a, b, c, d in sides]
    return np.where(corners, high, low).astype(float), np.array(triangles).reshape(-1, 3)


def ring(centre, radius, thickness, rows=24, columns=10):
    big = np.linspace(0.0, 2.0 * np.pi, rows, endpoint=False)[:, None]
    small = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)[None]
    reach = radius + thickness * np.cos(small)
    points = np.stack(
        [-thickness * np.sin(small) + 0.0 * big, reach * np.cos(big), reach * np.sin(big)], axis=-1
    )
    return grid_body(points + centre, closed_ends=False)


@pytest.fixture(scope="module")
def body():
    """Ellipsoid nose with a box scoop below and a ring round an inlet, invented."""
    return joined(
        ellipsoid((0.8, 0.45, 0.4), 14, 20),
        box((-0.1, -0.12, -0.55), (0.25, 0.08, -0.3)),
        ring((-0.62, 0.25, 0.05), 0.12, 0.035),
    )


def ellipsoid_map(surface):
    """An invented smooth field with both signs at the corners of the panels."""
    x, y, z = np.moveaxis(surface.corners, -1, 0)
    return 0.8 * x - 0.5 * z + 0.3 * x * y


TETRAHEDRON = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]


# --- views --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "toward"),
    [
        ("left", (0, -1, 0)),
        ("right", (0, 1, 0)),
        ("top", (0, 0, 1)),
        ("bottom", (0, 0, -1)),
        ("front", (-1, 0, 0)),
    ],
)
def test_views_look_from_where_they_say(name, toward):
    np.testing.assert_allclose(VIEWS[name].toward, toward, atol=1e-15)


@pytest.mark.parametrize(
    ("name", "nose_across"), [("left", -1), ("top", -1), ("bottom", -1), ("right", 1)]
)
def test_nose_points_left_except_from_the_right(name, nose_across):
    nose = np.array([-1.0, 0.0, 0.0])
    assert nose @ VIEWS[name].right == nose_across


def test_three_quarter_view_sees_nose_left_side_and_top():
    view = VIEWS["three_quarter"]
    assert np.all(view.toward * [-1.0, -1.0, 1.0] > 0.3)
    assert view.right[0] > 0.5
    assert view.right[2] == 0.0


@pytest.mark.parametrize("name", list(VIEWS))
def test_axes_are_marked_in_drawing_coordinates(name):
    view, point = VIEWS[name], np.array([0.3, -0.2, 0.7])
    plane = view.plane_coordinates(point)
    if view.axes is None:
        expected = [point @ view.right, point @ view.up]
    else:
        expected = point[list(view.axes)]
    np.testing.assert_allclose(plane, expected, atol=1e-15)


def test_view_refuses_directions_that_are_not_square():
    with pytest.raises(SurfaceError, match="right angle"):
        View("skew", "skew", (1, 0, 0), (0.6, 0.8, 0))


# --- hidden surface -----------------------------------------------------------------------


def ray_cast(surface, view, across, up):
    """Distance towards the viewer of the first surface on rays, by Moeller and Trumbore.

    Moeller and Trumbore, "Fast, minimum storage ray-triangle intersection", Journal of
    Graphics Tools 2 (1997) 21-28. -inf where the ray meets nothing.
    """
    toward = view.toward
    a, b, c = np.moveaxis(surface.corners, 1, 0)
    first, second = b - a, c - a
    across_ray = np.cross(-toward, second)
    determinant = np.einsum("ij,ij->i", first, across_ray)
    facing = np.abs(determinant) > 1e-14
    nearest = np.full(len(across), -np.inf)
    for k, (x, y) in enumerate(zip(across, up, strict=True)):
        start = x * view.right + y * view.up + 10.0 * toward - a
        u = np.einsum("ij,ij->i", start, across_ray)
        turned = np.cross(start, first)
        v = turned @ -toward
        with np.errstate(divide="ignore", invalid="ignore"):
            u, v = u / determinant, v / determinant
            away = np.einsum("ij,ij->i", second, turned) / determinant
            hit = facing & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
        if hit.any():
            nearest[k] = 10.0 - away[hit].min()
    return nearest


def pixel_centres(projected):
    """Right and up coordinate of every pixel centre, m."""
    rows, columns = np.indices(projected.triangle_image.shape)
    return (
        projected.origin[0] + (columns + 0.5) * projected.pixel,
        projected.origin[1] + (rows + 0.5) * projected.pixel,
    )


@pytest.mark.parametrize("name", ["left", "front", "bottom", "three_quarter"])
def test_hidden_surface_against_rays(body, name):
    projected = project_view(body, name, pixel=0.0131)
    across, up = pixel_centres(projected)
    known = ray_cast(body, projected.view, across.ravel(), up.ravel()).reshape(across.shape)
    depth = projected.values(body.corners @ projected.view.toward)
    depth = np.where(projected.covered, depth, -np.inf)
    both = np.isfinite(depth) & np.isfinite(known)
    wrong = np.isfinite(depth) != np.isfinite(known)
    # 1e-5 m: the stored weights have single precision.
    wrong[both] = np.abs(depth[both] - known[both]) > 1e-5
    assert both.sum() > 2000
    assert wrong.mean() < 0.0005


def test_values_at_pixels_are_the_linear_field(body):
    projected = project_view(body, "left", pixel=0.01)
    across, up = pixel_centres(projected)
    field = 2.0 * body.corners[..., 0] - 3.0 * body.corners[..., 2] + 0.25
    expected = 2.0 * across - 3.0 * up + 0.25
    values = projected.values(field)
    assert np.array_equal(np.isfinite(values), projected.covered)
    seen = projected.covered
    # 1e-6: single precision of the weights.
    np.testing.assert_allclose(values[seen], expected[seen], atol=1e-6)


@pytest.mark.parametrize(
    ("view", "sides"),
    [("left", {-2}), ("top", {3}), ("front", {-1}), ("three_quarter", {-1, -2, 3})],
)
def test_values_that_jump_at_sharp_edges_stay_sharp(view, sides):
    surface = SurfaceMesh(*box((0, 0, 0), (1, 1, 1)))
    one_per_side = (surface.normals @ [1.0, 2.0, 3.0])[:, None] * np.ones(3)
    projected = project_view(surface, view, pixel=0.01)
    values = projected.values(one_per_side)[projected.covered]
    np.testing.assert_allclose(values, np.rint(values), atol=1e-6)
    assert set(np.rint(values).astype(int).tolist()) == sides


def test_colours_are_those_of_the_scale_and_shading_is_weak(body):
    projected = project_view(body, "three_quarter", pixel=0.01)
    assert projected.shade_image.min() >= 1.0 - DARKENING - 1e-6
    assert projected.shade_image.max() <= 1.0 + 1e-6
    assert DARKENING <= 0.15
    assert np.ptp(projected.shade_image[projected.covered]) > 0.05
    scale = PressureScale(1.0, 0.1)
    for value, entry in ((-5.0, 0), (-1.0, 0), (0.0, 255), (1.0, -1), (5.0, -1)):
        picture = projected.picture(np.full((body.n_panels, 3), value), 1.0, scale.colour_table)
        whole = picture[picture[..., 3] == 255, :3] / 255.0
        share = whole / scale.colour_table[entry]
        assert share.max() <= 1.0 + 0.02
        assert share.min() >= 0.85 - 0.02
        darkened = share.mean(axis=1, keepdims=True, where=scale.colour_table[entry] > 0.2)
        untinted = darkened * scale.colour_table[entry]
        np.testing.assert_allclose(whole, untinted, atol=1.01 / 255)  # whole steps of 8 bits


# --- lines --------------------------------------------------------------------------------


def test_line_of_a_linear_field_is_one_plane_curve(body):
    normal = np.array([0.6, 0.48, 0.64])
    lines = iso_lines(body, body.corners @ normal, [0.0, 0.1])
    assert {line.level for line in lines} == {0.0, 0.1}
    for line in lines:
        np.testing.assert_allclose(line.points @ normal, line.level, atol=1e-14)
        np.testing.assert_array_equal(line.points[0], line.points[-1])  # closed


def test_greater_values_lie_on_the_left_seen_from_outside(body):
    field = ellipsoid_map(body)
    for line in iso_lines(body, field, [-0.2, 0.0, 0.3]):
        along = np.diff(line.points, axis=0)
        left = np.cross(body.normals[line.panels], along)
        corners, values = body.corners[line.panels], field[line.panels]
        best = corners[np.arange(len(values)), values.argmax(axis=1)]
        assert np.all(np.einsum("ij,ij->i", best - line.points[:-1], left) > -1e-12)


def test_lines_end_where_values_jump():
    surface = SurfaceMesh(*box((0, 0, 0), (1, 1, 1)))
    field = surface.corners[..., 2].copy()
    field[surface.normals[:, 1] < 0.0] += 0.3
    lines = iso_lines(surface, field, [0.5])
    ends = sorted(round(float(line.points[0, 2]), 12) for line in lines)
    assert ends == [0.2, 0.5]
    assert all(not np.array_equal(line.points[0], line.points[-1]) for line in lines)


def test_patch_exactly_on_a_level_counts_as_above():
    surface = SurfaceMesh(*box((0, 0, 0), (1, 1, 1)))
    (border,) = iso_lines(surface, surface.corners[..., 2], [1.0])
    assert np.all(border.points[:, 2] == 1.0)
    assert np.linalg.norm(np.diff(border.points, axis=0), axis=1).sum() == pytest.approx(4.0)
    assert iso_lines(surface, surface.corners[..., 2], [0.0]) == ()


def test_point_that_just_reaches_a_level_is_no_line():
    surface = SurfaceMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], TETRAHEDRON)
    assert iso_lines(surface, surface.corners[..., 2], [1.0]) == ()
    assert len(iso_lines(surface, surface.corners[..., 2], [0.999])) == 1


def test_patch_exactly_on_a_level_is_not_filled_with_lines():
    surface = SurfaceMesh(*box((0, 0, 0), (1, 1, 1)))
    assert iso_lines(surface, np.full((12, 3), 0.5), [0.5]) == ()


def sphere(n):
    return joined(ellipsoid((1.0, 1.0, 1.0), 2 * n - 1, 4 * n))


def sphere_zero_error(n):
    """Error in degrees of the line Cp = 0 on a sphere, exact at asin(2 / 3)."""
    surface = sphere(n)
    cosine = surface.corners[..., 0] / np.linalg.norm(surface.corners, axis=-1)
    lines = iso_lines(surface, 1.0 - 2.25 * (1.0 - cosine**2), [0.0])
    assert len(lines) == 2
    worst = 0.0
    for line in lines:
        sine = np.linalg.norm(line.points[:, 1:], axis=1) / np.linalg.norm(line.points, axis=1)
        worst = max(worst, np.abs(np.degrees(np.arcsin(sine)) - 41.8103149).max())
    return worst


def test_zero_line_of_the_sphere_is_at_41_81_degrees():
    # Linear values on panels of side h: error of order h^2, so four times less when halved,
    # give or take where the line falls between two rows of points.
    errors = np.array([sphere_zero_error(n) for n in (20, 40, 80)])
    assert errors[1] < 0.05
    assert np.all(errors[1:] < errors[:-1] / 2.0)
    assert errors[2] < errors[0] / 10.0


def coarse(surface, *names):
    """Views with fewer pixels than by default, so that the tests are quick."""
    return tuple(project_view(surface, name, pixel=0.008) for name in names)


def drawn_axes(surface, values, view, scale, **options):
    axes = Figure(figsize=(6.0, 4.0)).add_axes([0.1, 0.1, 0.8, 0.8])
    (projected,) = coarse(surface, view)
    return draw_pressure_map(axes, surface, values, projected, scale, **options)


def iso_collection(axes):
    return next(found for found in axes.collections if found.zorder == 2.0)


def test_drawn_lines_of_a_linear_field_are_straight_and_where_they_belong(body):
    scale = PressureScale(1.0, 0.2)
    axes = drawn_axes(body, body.corners[..., 0], "left", scale)
    collection = iso_collection(axes)
    found = set()
    for path in collection.get_paths():
        station = path.vertices[:, 0]
        assert np.ptp(station) < 1e-9
        found.add(round(station[0] / 200.0, 6))
    assert found == {-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0}


def test_suction_is_dashed_and_zero_thick(body):
    scale = PressureScale(1.0, 0.2)
    collection = iso_collection(drawn_axes(body, body.corners[..., 0], "left", scale))
    widths, styles = collection.get_linewidths(), collection.get_linestyles()
    for path, width, (_, dashes) in zip(collection.get_paths(), widths, styles, strict=True):
        station = round(float(path.vertices[0, 0]), 6)
        assert (dashes is not None) == (station < 0.0)
        assert (width > 1.0) == (station == 0.0)


def test_numbers_on_lines_name_their_level(body):
    axes = drawn_axes(body, body.corners[..., 0], "left", PressureScale(1.0, 0.2))
    numbers = [text for text in axes.texts if text.get_text()[-3:] not in (" mm", " in")]
    assert len(numbers) >= 6
    for text in numbers:
        level = float(text.get_text().replace("−", "-"))
        assert text.get_position()[0] == pytest.approx(1000.0 * level, abs=1e-6)


def test_lines_behind_something_else_are_not_drawn():
    near = box((0.0, -1.0, 0.0), (1.0, -0.9, 1.0))
    far = box((0.0, 0.0, -1.0), (1.0, 0.1, 1.0))
    surface = joined(near, far)
    field = surface.corners[..., 0].copy()
    field[:12] = 9.0  # no lines on the near box
    projected = project_view(surface, "left", pixel=0.004)
    (line,) = iso_lines(surface, field, [0.5])
    runs = visible_runs(projected, line.points, line.panels)
    assert len(runs) == 1
    heights = np.sort(runs[0][:, 1])
    # Cut to within one piece of the drawing, two pixels.
    assert heights[[0, -1]] == pytest.approx([-1.0, 0.0], abs=2 * 0.004)
    hidden_from_right = visible_runs(
        project_view(surface, "right", pixel=0.004), line.points, line.panels
    )
    assert np.ptp(np.vstack(hidden_from_right)[:, 1]) == pytest.approx(2.0, abs=0.01)


# --- marks --------------------------------------------------------------------------------


def side_mark(side, x=0.0, z=0.0, label="vent", style="exit"):
    """Small loop on the side of the ellipsoid of `body`."""
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    x, z = x + 0.05 * np.cos(turn), z + 0.04 * np.sin(turn)
    y = side * 0.45 * np.sqrt(1.0 - (x / 0.8) ** 2 - (z / 0.4) ** 2)
    return Marker(np.stack([x, y, z], axis=1), label, style)


@pytest.mark.parametrize(
    ("view", "shown"), [("left", "port"), ("right", "starboard"), ("three_quarter", "port")]
)
def test_marks_on_the_far_side_are_hidden(body, view, shown):
    marks = [side_mark(-1.0, label="port"), side_mark(1.0, label="starboard")]
    scale = PressureScale(1.0, 0.1)
    axes = drawn_axes(body, ellipsoid_map(body), view, scale, markers=marks, draw_lines=False)
    labels = {text.get_text() for text in axes.texts} & {"port", "starboard"}
    assert labels == {shown}
    outlines = [found for found in axes.collections if found.zorder == 3.1]
    assert len(outlines) == 1


def test_outline_is_drawn_where_the_mark_is(body):
    mark = side_mark(-1.0, x=0.2, z=0.1)
    axes = drawn_axes(body, ellipsoid_map(body), "left", PressureScale(1.0, 0.1), markers=[mark])
    (outline,) = [found for found in axes.collections if found.zorder == 3.1]
    drawn = np.vstack([path.vertices for path in outline.get_paths()])
    np.testing.assert_allclose(drawn.min(axis=0), [150.0, 60.0], atol=1.0)
    np.testing.assert_allclose(drawn.max(axis=0), [250.0, 140.0], atol=1.0)


def test_many_labels_do_not_overlap(body):
    marks = [
        side_mark(-1.0, x, z, f"candidate {k}", "other")
        for k, (x, z) in enumerate(
            (x, z) for x in (-0.3, -0.12, 0.06, 0.24) for z in (-0.14, 0.0, 0.14)
        )
    ]
    values = ellipsoid_map(body)
    axes = drawn_axes(body, values, "left", PressureScale(1.0, 0.1), markers=marks)
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    frame = axes.get_window_extent()
    boxes = []
    for text in axes.texts:
        if text.get_text().startswith("candidate") or text.get_text().endswith("mm"):
            found = text.get_window_extent(canvas.get_renderer())
            boxes.append(Box(found.x0, found.y0, found.x1, found.y1))
            assert frame.x0 <= found.x0 < found.x1 <= frame.x1
            assert frame.y0 <= found.y0 < found.y1 <= frame.y1
    assert len(boxes) == 13
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])


@pytest.mark.parametrize("corner", [(6.0, 6.0), (294.0, 6.0), (6.0, 194.0), (294.0, 194.0)])
def test_label_of_a_mark_in_a_corner_stays_on_the_paper(corner):
    outline = np.add(corner, [[-4.0, -4.0], [4.0, -4.0], [4.0, 4.0], [-4.0, 4.0]])
    # Most of the paper is body, so the free places are outside the frame.
    place = label_place((60.0, 10.0), outline, [], [], (300.0, 200.0), lambda box: 1.0)
    assert place.box.inside((300.0, 200.0))


def test_label_larger_than_the_paper_is_left_out():
    outline = np.array([[10.0, 10.0], [20.0, 20.0]])
    assert label_place((400.0, 10.0), outline, [], [], (300.0, 200.0), lambda box: 0.0) is None


# --- scale, page, files -------------------------------------------------------------------


def test_colour_bar_shows_what_occurs_on_the_symmetric_scale():
    scale = PressureScale(1.0, 0.1)
    axes = draw_colour_bar(Figure().add_axes([0.1, 0.1, 0.05, 0.8]), scale, -0.83, 0.31)
    assert axes.get_ylim() == pytest.approx((-0.9, 0.4))
    assert axes.get_title() == "Cp"
    colours = axes.images[0].get_array()[:, 0, :3]
    places = np.linspace(-0.9, 0.4, len(colours))
    for place, colour in zip(places, colours, strict=True):
        entry = min(int((place + 1.0) / 2.0 * len(scale.colour_table)), 510)
        np.testing.assert_allclose(colour, scale.colour_table[entry], atol=1e-12)


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [(-7.0, 9.0, (-1.0, 1.0)), (0.2, 0.2, (0.1, 0.3)), (-0.45, -0.31, (-0.5, -0.3))],
)
def test_colour_bar_stays_on_the_scale_and_never_empty(low, high, shown):
    axes = draw_colour_bar(Figure().add_axes([0, 0, 0.1, 1]), PressureScale(1.0, 0.1), low, high)
    assert axes.get_ylim() == pytest.approx(shown)


@pytest.mark.parametrize("names", [("left", "top", "bottom", "front"), tuple(VIEWS), ("front",)])
def test_all_views_of_a_page_have_one_scale(body, names):
    figure = pressure_figure(body, ellipsoid_map(body), coarse(body, *names), title="tow, 62 kt")
    maps = [axes for axes in figure.axes if axes.get_title(loc="left")]
    aslant = {True: "; bars: square to the line of sight", False: ""}
    titles = [VIEWS[name].title + aslant[VIEWS[name].axes is None] for name in names]
    assert [axes.get_title(loc="left") for axes in maps] == titles
    per_mm, boxes = [], []
    for axes in maps:
        axes.apply_aspect()
        place = axes.get_position()
        size = figure.get_size_inches()
        per_mm.append(place.width * size[0] / abs(np.diff(axes.get_xlim())[0]))
        per_mm.append(place.height * size[1] / abs(np.diff(axes.get_ylim())[0]))
        boxes.append(Box(place.x0, place.y0, place.x1, place.y1))
        assert boxes[-1].inside((1.0, 1.0), 0.0)
    np.testing.assert_allclose(per_mm, per_mm[0], rtol=1e-6)
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])


def test_axes_run_the_way_the_view_says(body):
    views = coarse(body, "left", "right", "bottom", "front")
    figure = pressure_figure(body, ellipsoid_map(body), views)
    labels = [(axes.get_xlabel(), axes.get_ylabel()) for axes in figure.axes[:4]]
    assert labels == [("STA mm", "WL mm")] * 2 + [("STA mm", "BL mm"), ("BL mm", "WL mm")]
    backwards = [(axes.xaxis_inverted(), axes.yaxis_inverted()) for axes in figure.axes[:4]]
    assert backwards == [(False, False), (True, False), (False, True), (True, False)]


def test_picture_lies_where_the_axes_say(body):
    axes = drawn_axes(body, ellipsoid_map(body), "front", PressureScale(1.0, 0.1))
    left, right, low, high = axes.images[0].get_extent()
    assert left > 450.0 > -450.0 > right  # the right wing is on the left
    rows = np.flatnonzero(axes.images[0].get_array()[..., 3].any(axis=1))
    height = (high - low) / axes.images[0].get_array().shape[0]
    # The lowest point is the scoop's, the highest the nose's; one picture pixel is 16 mm.
    assert low + height * rows[0] == pytest.approx(-550.0, abs=16.0)
    assert low + height * (rows[-1] + 1) == pytest.approx(400.0, abs=16.0)


def test_scale_bars_have_the_lengths_they_state(body):
    axes = drawn_axes(body, ellipsoid_map(body), "left", PressureScale(1.0, 0.1))
    for (length, unit), bar in zip(
        (text.get_text().split() for text in axes.texts[:2]), axes.lines, strict=False
    ):
        size = {"mm": 1.0, "in": 25.4}[unit] * float(length)
        assert np.ptp(bar.get_xdata()) == pytest.approx(size)
        assert float(f"{float(length):e}".split("e")[0]) in (1.0, 2.0, 5.0)
    assert [text.get_text()[-2:] for text in axes.texts[:2]] == ["in", "mm"]


def test_notice_and_title_are_on_the_page(body):
    notice = "Invented values. " * 20
    views = coarse(body, "left")
    figure = pressure_figure(body, ellipsoid_map(body), views, title="tow", notice=notice)
    texts = [text.get_text() for text in figure.texts]
    assert texts[0] == "tow"
    assert texts[1].replace("\n", " ") == notice.strip()
    assert len(texts[1].splitlines()) == 2


def test_picture_file_has_its_size_and_the_same_bytes_each_time(body, tmp_path):
    values = ellipsoid_map(body)
    options = {"title": "tow", "markers": [side_mark(-1.0)], "scale": pressure_scale(values)}
    digests, (view,) = [], coarse(body, "left")
    for name in ("first.png", "second.png"):
        write_pressure_map(
            tmp_path / name, body, values, view, size=(5.0, 3.5), dots_per_inch=120, **options
        )
        digests.append(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert digests[0] == digests[1]
    with Image.open(tmp_path / "first.png") as picture:
        assert picture.size == (600, 420)
        assert set(picture.info) <= {"dpi"}
        colours = np.asarray(picture.convert("RGB"), dtype=float)
    assert np.ptp(colours[..., 0] - colours[..., 2]) > 100.0  # blue-green and amber are there


def test_view_made_once_gives_the_same_picture(tmp_path):
    needle = joined(ellipsoid((1.0, 0.02, 0.02), 6, 8))  # few pixels in all
    values, (ready,) = needle.corners[..., 0], sheet_base(needle, ("top",)).views
    for name, view in (("fresh.png", "top"), ("ready.png", ready)):
        write_picture(tmp_path / name, pressure_figure(needle, values, (view,)), 60)
    assert (tmp_path / "fresh.png").read_bytes() == (tmp_path / "ready.png").read_bytes()


def test_pixels_of_a_sheet_lie_on_the_dots_of_the_page(body):
    base = sheet_base(body, ("left", "front", "three-quarter"), dots_per_inch=100)
    for view, cell, limits in zip(base.views, base.cells, base.limits, strict=True):
        np.testing.assert_allclose(np.array(cell) * 100, np.rint(np.array(cell) * 100), atol=1e-9)
        corner = np.array([limits[0][0], limits[1][0]]) / 1000.0 * view.view.signs
        inside = (view.origin - corner) / (2 * view.pixel)  # two by two pixels make a dot
        np.testing.assert_allclose(inside, np.rint(inside), atol=1e-6)
        per_dot = abs(limits[0][1] - limits[0][0]) / 1000.0 / (cell[2] * 100)
        assert per_dot == pytest.approx(2 * view.pixel, rel=1e-9)


def test_only_what_is_needed_is_loaded():
    code = (
        "import sys, panelcp.report.maps; "
        "print([m for m in ('matplotlib', 'trimesh', 'numba') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_pyplot_is_never_loaded(tmp_path):
    code = (
        "import sys, numpy as np; from panelcp.surface.mesh import SurfaceMesh; "
        "from panelcp.report.maps import project_view, write_pressure_map; "
        "s = SurfaceMesh([[0,0,0],[1,0,0],[0,1,0],[0,0,1]], [[0,2,1],[0,1,3],[0,3,2],[1,2,3]]); "
        f"write_pressure_map({str(tmp_path / 'a.png')!r}, s, s.corners[..., 0], "
        "project_view(s, 'top', 0.02)); "
        "print('matplotlib.pyplot' in sys.modules, 'trimesh' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False False"


# --- mistakes -----------------------------------------------------------------------------


def test_wrong_number_of_values_is_refused(body):
    with pytest.raises(FlowError, match=r"corner_values has shape \(3, 5\)"):
        pressure_figure(body, np.zeros((3, 5)))


def test_values_that_are_not_finite_are_refused(body):
    values = ellipsoid_map(body)
    values[17, 1] = np.nan
    with pytest.raises(FlowError, match=r"not finite on 1 of .*first: panel 17"):
        pressure_figure(body, values)


def test_unknown_view_is_refused(body):
    with pytest.raises(SurfaceError, match="no view is called 'side'; there are: left, right"):
        project_view(body, "side")


def test_projected_view_of_another_surface_is_refused(body):
    other = sphere(4)
    with pytest.raises(SurfaceError, match="belongs to another surface"):
        pressure_figure(body, ellipsoid_map(body), coarse(other, "left"))


def test_bad_marks_are_refused(body):
    scale = PressureScale(1.0, 0.1)
    with pytest.raises(SurfaceError, match="unknown style 'vent'; there are: inlet, exit"):
        drawn_axes(
            body, ellipsoid_map(body), "left", scale, markers=[side_mark(-1.0, style="vent")]
        )
    flat = Marker(np.zeros((4, 2)), "flat")
    with pytest.raises(SurfaceError, match=r"'flat' has shape \(4, 2\)"):
        drawn_axes(body, ellipsoid_map(body), "left", scale, markers=[flat])


def test_pixel_must_be_positive(body):
    with pytest.raises(SurfaceError, match="pixel is 0"):
        project_view(body, "left", pixel=0.0)


# --- hatching -----------------------------------------------------------------------------


def page_pixels(surface, values, views, **options):
    options = {"scale": PressureScale(1.0, 0.1), "dots_per_inch": 150} | options
    figure = pressure_figure(surface, values, views, **options)
    return figure_pixels(figure, 150).astype(int), figure


def shown_levels(axes, projected, levels, shape):
    """Level of the panel that each pixel of a page shows; 0 beside the body."""
    height, width = shape
    columns, rows = np.meshgrid(np.arange(width) + 0.5, height - np.arange(height) - 0.5)
    places = np.stack([columns.ravel(), rows.ravel()], axis=1)
    axes.apply_aspect()
    plane = axes.transData.inverted().transform(places) / 1000.0 * projected.view.signs
    column, row = np.floor((plane - projected.origin) / projected.pixel).astype(int).T
    image = np.where(projected.covered, levels[projected.triangle_image], 0)
    inside = (column >= 0) & (column < image.shape[1]) & (row >= 0) & (row < image.shape[0])
    found = np.zeros(len(places), dtype=int)
    found[inside] = image[row[inside], column[inside]]
    return found.reshape(shape)


@pytest.mark.parametrize("view", ["left", "bottom"])
def test_hatch_covers_what_shows_of_its_panels_and_nothing_else(body, view):
    # Level 2 on the ellipsoid, also where the scoop or the far side hides it; level 1 on the scoop.
    x, _, z = body.centroids.T
    levels = np.where((x > -0.2) & (z < 0.1), SEPARATED, FREE)
    levels[z < -0.4] = MAY_SEPARATE
    values = np.zeros((body.n_panels, 3))
    options = {"draw_lines": False, "notice": "estimate"}
    hatched, figure = page_pixels(body, values, (view,), hatched=levels, **options)
    legend = ((SEPARATED, ""), (MAY_SEPARATE, ""))
    # The same page without hatch, but with the room of the legend.
    options = {"titles": [""], "notice": "estimate", "legend": legend, "dots_per_inch": 150}
    base = sheet_base(body, (view,), **options)
    plain = sheet_pixels(base, values, PressureScale(1.0, 0.1))[..., :3].astype(int)
    (projected,) = base.views
    lower = 0.16 + 0.145 + 0.04 + 0.22 + 0.15  # inch: notice and legend
    changed = np.abs(hatched - plain).max(axis=2) > 12
    changed[-int(150 * lower) :] = False
    shown = shown_levels(figure.axes[0], projected, levels, changed.shape)
    # 3 pixels: half a line, smoothing, and that the page has pixels of another size
    near = ndimage.maximum_filter(shown, size=7)
    assert np.count_nonzero(changed & (near == FREE)) == 0
    for level, least, most in ((SEPARATED, 0.2, 0.8), (MAY_SEPARATE, 0.03, 0.4)):
        inner = ndimage.binary_erosion(shown == level, iterations=3)
        assert inner.sum() > 200
        assert least < changed[inner].mean() < most  # lines, with skin between them


def test_far_side_is_not_hatched(body):
    levels = np.where(body.centroids[:, 1] > 0.2, SEPARATED, FREE)
    levels[body.centroids[:, 0] < -0.5] = FREE  # the ring round the inlet shows
    for view, known in (("left", False), ("right", True)):
        scale = PressureScale(1.0, 0.1)
        axes = drawn_axes(body, ellipsoid_map(body), view, scale, hatched=levels)
        assert any(found.zorder == HATCH_ORDER for found in axes.collections) == known


def test_hatch_ends_where_its_panels_end(body):
    x = body.centroids[:, 0]
    levels = np.where(x > 0.0, SEPARATED, FREE)
    (projected,) = coarse(body, "left")
    scale = PressureScale(1.0, 0.1)
    axes = drawn_axes(body, ellipsoid_map(body), "left", scale, hatched=levels)
    (lines,) = [found for found in axes.collections if found.zorder == HATCH_ORDER]
    ends = np.concatenate([path.vertices for path in lines.get_paths()]) / 1000.0
    column, row = np.floor((ends - projected.origin) / projected.pixel).astype(int).T
    assert len(ends) > 100
    assert np.all(levels[projected.triangle_image[row, column]] == SEPARATED)
    assert np.all(projected.covered[row, column])


def test_numbers_on_lines_stay_free_of_hatch(body):
    levels = np.full(body.n_panels, SEPARATED)
    scale = PressureScale(1.0, 0.2)
    axes = drawn_axes(body, body.corners[..., 0], "left", scale, hatched=levels)
    paper = Paper.of(axes)
    (lines,) = [found for found in axes.collections if found.zorder == HATCH_ORDER]
    numbers = [paper.points(text.get_position()) for text in axes.texts if "mm" not in str(text)]
    for start, end in (paper.points(path.vertices) for path in lines.get_paths()):
        way = np.linspace(start, end, 50)[:, None] - np.array(numbers)
        assert np.abs(way).max(axis=2).min() > 2.0


def test_without_state_nothing_is_hatched_and_no_legend_stands(body):
    values, views = ellipsoid_map(body), coarse(body, "left")
    plain, figure = page_pixels(body, values, views)
    free, _ = page_pixels(body, values, views, hatched=np.zeros(body.n_panels, dtype=int))
    assert not [found for found in figure.axes[0].collections if found.zorder == HATCH_ORDER]
    assert not figure.texts
    np.testing.assert_array_equal(plain, free)


def test_legend_names_what_occurs(body):
    levels = np.zeros(body.n_panels, dtype=int)
    levels[3] = MAY_SEPARATE
    _, figure = page_pixels(body, ellipsoid_map(body), coarse(body, "left"), hatched=levels)
    assert [text.get_text() for text in figure.texts] == ["the air may separate here"]


def test_hatch_is_darker_than_skin_in_grey_print(body):
    # On the middle grey of the scale lines are darker by a fifth of the whole range at least.
    values, views = np.zeros((body.n_panels, 3)), coarse(body, "left")
    options = {"draw_lines": False, "hatched": np.full(body.n_panels, SEPARATED)}
    pixels, figure = page_pixels(body, values, views, **options)
    grey = pixels @ [0.2126, 0.7152, 0.0722]
    shown = shown_levels(figure.axes[0], views[0], options["hatched"], grey.shape)
    inner = grey[ndimage.binary_erosion(shown > 0, iterations=20)]
    assert np.quantile(inner, 0.95) - np.quantile(inner, 0.1) > 51.0


@pytest.mark.parametrize(
    ("hatched", "message"),
    [(np.zeros(3), r"hatched has shape \(3,\)"), (None, "unknown level 9; there are: 0 for no")],
)
def test_bad_levels_are_refused(body, hatched, message):
    hatched = np.full(body.n_panels, 9) if hatched is None else hatched
    with pytest.raises(SurfaceError, match=message):
        pressure_figure(body, ellipsoid_map(body), coarse(body, "left"), hatched=hatched)


def test_states_of_the_air_are_hatched_by_how_well_the_pressure_is_known():
    states = [skin_layers.ATTACHED, skin_layers.REATTACHED, skin_layers.UNKNOWN]
    assert hatch_levels(states).tolist() == [FREE] * 3
    states = [skin_layers.POCKET, skin_layers.OPEN, skin_layers.LEE]
    assert hatch_levels(states).tolist() == [SEPARATED] * 3
    assert hatch_levels([[skin_layers.POSSIBLE]]).tolist() == [[MAY_SEPARATE]]


# --- what sheets share --------------------------------------------------------------------


def test_sheet_on_what_sheets_share_is_the_whole_figure(body):
    values, views = ellipsoid_map(body), ("left", "front", "three-quarter")
    levels = np.where(body.centroids[:, 0] > 0.3, SEPARATED, FREE)
    markers = [side_mark(-1.0), side_mark(1.0, style="inlet")]
    scale = PressureScale(1.0, 0.1)
    options = {"notice": "Invented values.", "dots_per_inch": 150}
    base = sheet_base(body, views, markers, titles=["tow"], legend=legend_of(levels), **options)
    sheet_pixels(base, -values, scale, "tow")  # of which nothing may stay
    pixels = sheet_pixels(base, values, scale, "tow", levels)[..., :3]
    whole = pressure_figure(
        body, values, views, scale=scale, markers=markers, title="tow", hatched=levels, **options
    )
    apart = np.abs(pixels.astype(int) - figure_pixels(whole, 150)).max(axis=2)
    # Smoothed rims of marks are laid over with 8 bits; frames lie below the picture here.
    assert apart.max() <= 3 or np.mean(apart > 3) < 1e-4


# --- part that is drawn, scales of the sheets ----------------------------------------------


@pytest.mark.parametrize("station", [-0.6, 0.0, 0.137, 0.79])
def test_cut_is_straight_and_keeps_skin_and_values(body, station):
    part = cut_at_station(body, station)
    assert part.surface.bounds[1, 0] == pytest.approx(station, abs=1e-12)
    normal = np.array([0.3, -0.5, 0.8])
    found = part.corner_values(body.corners @ normal)
    np.testing.assert_allclose(found, part.surface.corners @ normal, atol=1e-12)
    np.testing.assert_allclose(part.surface.normals, body.normals[part.panels], atol=1e-6)
    behind = cut_at_station(SurfaceMesh(-body.vertices, body.triangles[:, ::-1]), -station)
    whole = part.surface.areas.sum() + behind.surface.areas.sum()
    assert whole == pytest.approx(body.areas.sum(), rel=1e-12)
    rim = np.abs(part.surface.vertices[:, 0] - station) < 1e-12
    open_edges = np.count_nonzero(part.surface.edge_neighbours < 0)
    assert open_edges == np.count_nonzero(rim)  # one closed rim or several: corners as edges


def test_cut_behind_the_body_is_the_body(body):
    part = cut_at_station(body, 5.0)
    assert part.surface is body
    np.testing.assert_array_equal(part.panels, np.arange(body.n_panels))


def test_without_ranking_the_openings_alone_set_what_is_drawn(body):
    opening = SimpleNamespace(
        outline=np.eye(3), name="duct", takes_air_in=True, lets_air_out=False, centre=[-0.5, 0, 0]
    )
    flow = SimpleNamespace(surface=body)
    contents = SimpleNamespace(
        flow=flow, openings=SimpleNamespace(openings=[opening]), ranking=None, last_station=None
    )
    low, high = body.bounds[:, 0]
    assert last_station(contents) == pytest.approx(-0.5 + 0.12 * (high - low))
    assert [(mark.label, mark.style) for mark in map_markers(contents)] == [("duct", "inlet")]
    contents.openings.openings.clear()
    assert last_station(contents) == high


def scales_of(values, **options):
    flying, tied = (
        SimpleNamespace(on_ground=ground, speed=20.0 * (not ground)) for ground in (False, True)
    )
    flow = SimpleNamespace(conditions=[flying, flying, tied])
    contents = SimpleNamespace(flow=flow, **({"same_limits": True, "grey_print": False} | options))
    return map_scales(contents, np.arange(3), values, np.ones(len(values[0])))


def test_sheets_have_one_scale_of_cp_or_one_each():
    values = [np.full((8, 3), size) for size in (0.8, -2.3, 90.0)]
    one, other, pascal = scales_of(values)
    assert one == other == PressureScale(2.5, 0.5)
    assert (pascal.label, pascal.limit) == ("Pa", 90.0)
    one, other, same = scales_of(values, same_limits=False)
    assert (one.limit, other.limit, same) == (0.8, 2.5, pascal)
    assert all(scale.grey_print for scale in scales_of(values, grey_print=True))
    assert usual_limit(values[:1], np.ones(8), least=1.5) == 1.5


def test_sheet_for_grey_print_has_one_hue_and_the_same_lines(body):
    values = ellipsoid_map(body)
    base = sheet_base(body, ("left",), dots_per_inch=100)
    coloured, grey = (
        sheet_pixels(base, values, PressureScale(1.0, 0.1, grey_print=grey)).copy().astype(int)
        for grey in (False, True)
    )
    # Skin of the one hue is never redder than blue; amber is.
    warmth = [(pixels[..., 0] - pixels[..., 2]).max() for pixels in (coloured, grey)]
    assert warmth[0] > 60
    assert warmth[1] <= 8
    dark = [pixels[..., :3].max(axis=2) < 60 for pixels in (coloured, grey)]
    assert dark[0].sum() > 500
    assert np.mean(dark[0] != dark[1]) < 0.01
