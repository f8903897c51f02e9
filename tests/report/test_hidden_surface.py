"""Hidden surfaces against rays, on a nose with ducts, a scoop, a spinner and a strut.

The reference shares nothing with the drawing: one ray for each pixel centre, met with every
triangle that its place could belong to, by Moeller and Trumbore, "Fast, minimum storage
ray-triangle intersection", Journal of Graphics Tools 2 (1997) 21-28.
"""

import numpy as np
import pytest
from matplotlib.figure import Figure

from panelcp.report.colours import PressureScale
from panelcp.report.maps import Marker, draw_pressure_map
from panelcp.report.projection import OVERSAMPLING, View, project_view, visible_runs_of
from panelcp.surface.mesh import SurfaceMesh
from tests.report.test_maps import box, ellipsoid

N_RAYS = 20_000
DEPTH = 1e-4
"""m, on a body of 2 m; a panel that is hidden wrongly lies many mm away."""
MOST_WRONG = 0.0005
VIEWS = ("left", "front", "bottom", "three-quarter", "from ahead below")
OWN_VIEWS = {
    # 55 deg off the nose, from below: into the duct of the scoop and past the strut
    "from ahead below": View(
        "from ahead below",
        "from ahead, right and below",
        np.array([-0.6, -0.8, 0.0]),
        np.cross([-0.8 * 0.8, 0.6 * 0.8, -0.6], [-0.6, -0.8, 0.0]),
    )
}


def tube(start, end, radius, n=28):
    """Closed cylinder between two points on a line along x."""
    turn = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
    ring = radius * np.stack([0.0 * turn, np.cos(turn), np.sin(turn)], axis=1)
    vertices = np.vstack([start + ring, end + ring, [start, end]])
    a, b = np.arange(n), np.roll(np.arange(n), -1)
    sides = [np.stack([a, b, n + a], 1), np.stack([b, n + b, n + a], 1)]
    ends = [
        np.stack([np.full(n, 2 * n), b, a], 1),
        np.stack([np.full(n, 2 * n + 1), n + a, n + b], 1),
    ]
    return vertices, np.vstack([*sides, *ends])


@pytest.fixture(scope="module")
def body():
    """Nose with two round ducts 0.35 m deep, scoop with a duct, spinner and strut; invented."""
    from manifold3d import Manifold, Mesh

    def solid(vertices, triangles):
        mesh = Mesh(np.ascontiguousarray(vertices, dtype=np.float32), triangles.astype(np.uint32))
        found = Manifold(mesh)
        assert found.volume() > 0.0
        return found

    nose = solid(*ellipsoid((1.0, 0.5, 0.42), 25, 40))
    nose += solid(*box((-0.25, -0.13, -0.58), (0.45, 0.13, -0.2)))  # scoop
    nose += solid(*ellipsoid((0.3, 0.17, 0.17), 13, 24, centre=(-1.0, 0.0, 0.06)))
    nose += solid(*tube(np.array([0.0, 0.72, -0.1]), np.array([0.5, 0.72, -0.1]), 0.05))  # pod
    nose += solid(*box((0.2, 0.3, -0.12), (0.28, 0.74, -0.08)))  # strut
    for side in (-1.0, 1.0):
        nose -= solid(
            *tube(np.array([-1.4, 0.27 * side, 0.0]), np.array([-0.5, 0.27 * side, 0.0]), 0.09)
        )
    nose -= solid(*box((-0.4, -0.1, -0.55), (0.3, 0.1, -0.45)))  # duct of the scoop
    mesh = nose.to_mesh()
    vertices, index = np.unique(
        np.asarray(mesh.vert_properties)[:, :3], axis=0, return_inverse=True
    )
    surface = SurfaceMesh(vertices, index.reshape(-1)[np.asarray(mesh.tri_verts)])
    assert surface.n_panels > 2500
    return surface


def view_of(name):
    return OWN_VIEWS.get(name, name)


def first_met(surface, view, places, far=10.0):
    """Depth towards the viewer of the first skin on rays against `view.toward`, -inf for none.

    Only triangles are tried in whose rows the ray lies: a saving that changes nothing.
    """
    a, b, c = np.moveaxis(surface.corners, 1, 0)
    first, second, along = b - a, c - a, -view.toward
    crossed = np.cross(along, second)
    determinant = np.einsum("ij,ij->i", first, crossed)
    up = surface.corners @ view.up
    order = np.argsort(places[:, 1], kind="stable")
    heights = places[order, 1]
    low = np.searchsorted(heights, up.min(axis=1) - 1e-9)
    high = np.searchsorted(heights, up.max(axis=1) + 1e-9)
    nearest = np.full(len(places), np.inf)
    for panel in np.flatnonzero(np.abs(determinant) > 1e-14):
        rays = order[low[panel] : high[panel]]
        start = places[rays] @ np.stack([view.right, view.up]) + far * view.toward - a[panel]
        u = start @ crossed[panel] / determinant[panel]
        turned = np.cross(start, first[panel])
        v = turned @ along / determinant[panel]
        way = turned @ second[panel] / determinant[panel]
        hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
        nearest[rays[hit]] = np.minimum(nearest[rays[hit]], way[hit])
    return far - nearest


def wrong_share(surface, name, seed):
    """Share of randomly chosen pixels at another depth than their ray meets, and of those seen."""
    projected = project_view(surface, view_of(name))
    height, width = projected.triangle_image.shape
    chosen = np.random.default_rng(seed).choice(height * width, N_RAYS, replace=False)
    rows, columns = np.divmod(chosen, width)
    places = projected.origin + (np.stack([columns, rows], axis=1) + 0.5) * projected.pixel
    known = first_met(surface, projected.view, places)
    depth = projected.values(surface.corners @ projected.view.toward)[rows, columns]
    depth = np.where(np.isnan(depth), -np.inf, depth)
    with np.errstate(invalid="ignore"):
        right = (depth == known) | (np.abs(depth - known) <= DEPTH)
    return float(np.mean(~right)), float(np.mean(np.isfinite(known)))


@pytest.mark.parametrize("name", VIEWS)
def test_every_pixel_shows_what_its_ray_meets_first(body, name):
    wrong, seen = wrong_share(body, name, seed=4107)
    assert seen > 0.4  # silhouettes and empty paper are among the pixels, too
    assert wrong < MOST_WRONG


def test_the_reference_knows_a_duct(body):
    view = project_view(body, "front", pixel=0.05).view
    inside, outside = first_met(body, view, np.array([[-0.27, 0.0], [-0.3, 5.0]]))
    assert inside == pytest.approx(0.5, abs=1e-6)  # the floor of the duct at station -0.5 m
    assert outside == -np.inf


def test_wrong_pixels_would_be_found(body):
    # the rear skin drawn in place of the front one: every pixel of the body is wrong
    inside_out = SurfaceMesh(body.vertices, body.triangles[:, ::-1])
    projected = project_view(inside_out, "left")
    rows, columns = np.nonzero(projected.covered)
    some = np.random.default_rng(5).choice(len(rows), 500, replace=False)
    rows, columns = rows[some], columns[some]
    places = projected.origin + (np.stack([columns, rows], axis=1) + 0.5) * projected.pixel
    known = first_met(body, projected.view, places)
    depth = projected.values(body.corners @ projected.view.toward)[rows, columns]
    assert np.mean(np.abs(depth - known) > DEPTH) > 0.99


@pytest.mark.parametrize("name", ["front", "three-quarter", "from ahead below"])
def test_drawn_lines_lie_on_skin_that_rays_meet_first(body, name):
    """Middles of the drawn pieces of lines of equal value, found again by their own rays."""
    from panelcp.report.isolines import iso_lines

    projected = project_view(body, view_of(name))
    field = body.corners @ np.array([0.4, 0.7, -0.6])
    lines = iso_lines(body, field, np.linspace(-0.5, 0.5, 11))
    runs = visible_runs_of(projected, [x.points for x in lines], [x.panels for x in lines])
    levels = np.concatenate([np.full(len(run) - 1, lines[k].level) for k, run in runs])
    middles = np.concatenate([0.5 * (run[1:] + run[:-1]) for _, run in runs])
    middles = middles * projected.view.signs
    depth = first_met(body, projected.view, middles)
    frame = np.stack([projected.view.right, projected.view.up, projected.view.toward])
    points = np.column_stack([middles, depth]) @ frame
    found = points @ np.array([0.4, 0.7, -0.6])
    met = np.isfinite(depth)
    assert len(middles) > 1000
    # cut to within two pixels at what hides them, and at the rim
    off = ~met | (np.abs(found - levels) > 3.0 * projected.pixel)
    assert off.mean() < 0.02


def mark_at(place, label):
    turn = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    ring = 0.04 * np.stack([0.0 * turn, np.cos(turn), np.sin(turn)], axis=1)
    return Marker(ring + place, label)


def test_marks_in_ducts_and_behind_the_pod_are_hidden(body):
    floor = mark_at((-0.5, 0.27, 0.0), "floor of the duct")
    rear = mark_at((0.5, 0.72, -0.1), "rear of the pod")
    values, scale = body.corners[..., 0], PressureScale(1.0, 0.1)
    for name, shown in (("front", {"floor of the duct"}), ("left", set())):
        axes = Figure(figsize=(6.0, 4.0)).add_axes([0.1, 0.1, 0.8, 0.8])
        draw_pressure_map(axes, body, values, name, scale, [floor, rear], draw_lines=False)
        texts = {text.get_text() for text in axes.texts}
        assert texts & {"floor of the duct", "rear of the pod"} == shown, name


# --- values read back ---------------------------------------------------------------------


@pytest.mark.parametrize("name", ["left", "front", "three-quarter"])
@pytest.mark.parametrize("grey_print", [False, True])
def test_colours_give_back_the_exact_cp_of_a_sphere(name, grey_print):
    # Cp = 1 - 9/4 sin^2(angle from the axis): potential flow, Lamb, Hydrodynamics (1932).
    surface = SurfaceMesh(*ellipsoid((1.0, 1.0, 1.0), 95, 192))
    radius = np.linalg.norm(surface.corners, axis=-1)
    values = 1.0 - 2.25 * (1.0 - (surface.corners[..., 0] / radius) ** 2)
    projected = project_view(surface, name, pixel=2.0 / 600)
    scale = PressureScale(1.4, 0.2, grey_print=grey_print)
    picture = projected.picture(values, scale.limit, scale.colour_table).astype(float)
    step = OVERSAMPLING
    height, width = picture.shape[:2]
    shade = projected.shade_image.reshape(height, step, width, step).mean(axis=(1, 3))
    rows, columns = np.nonzero(picture[..., 3] == 255)
    middle = step * np.stack([columns + 0.5, rows + 0.5], axis=1)
    plane = projected.origin + middle * projected.pixel
    inside = np.hypot(*plane.T) < 0.97  # at the rim the pixels of one dot differ by more
    rows, columns, plane = rows[inside], columns[inside], plane[inside]
    ahead = np.sqrt(1.0 - (plane**2).sum(axis=1))
    view = projected.view
    x = plane[:, 0] * view.right[0] + plane[:, 1] * view.up[0] + ahead * view.toward[0]
    exact = 1.0 - 2.25 * (1.0 - x**2)
    colour = picture[rows, columns, :3] / shade[rows, columns, None]
    table = 255.0 * scale.colour_table
    entries = np.linspace(-scale.limit, scale.limit, len(table) + 1)
    some = np.random.default_rng(8).choice(len(colour), 4000, replace=False)
    apart = np.linalg.norm(colour[some, None] - table[None], axis=2)
    read = 0.5 * (entries[1:] + entries[:-1])[apart.argmin(axis=1)]
    error = np.abs(read - exact[some])
    one = 2.0 * scale.limit / len(table)
    # One colour step is 0.0055. Eight bits round each of three values by a half, which is about
    # one step of the two-sided colours, where only one or two of them change; panels of 1.9 deg
    # give 0.0003 and the middle of four pixels less than a step.
    assert np.median(error) < one
    assert np.quantile(error, 0.99) < 4.0 * one
    assert error.max() < (8.0 if not grey_print else 12.0) * one
