"""Openings on flat and round skin: exact areas, centres, means; places that are refused."""

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.special import ellipe

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import KINDS, USES, lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies
from tests.exact import SPHERE, ellipsoid_cp, stream

TOP, RIGHT, FRONT = (0.03, 0.02, 0.4), (0.03, 0.5, -0.04), (-1.0, 0.02, 0.05)
SIDES = {
    "top": ((0.03, 0.02, 0.4), (1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "bottom": ((0.03, 0.02, -0.4), (1, 0, 0), (0, -1, 0), (0, 0, -1)),
    "right": ((0.03, 0.5, -0.04), (1, 0, 0), (0, 0, -1), (0, 1, 0)),
    "left": ((0.03, -0.5, -0.04), (1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "front": ((-1.0, 0.02, 0.05), (0, 0, 1), (0, 1, 0), (-1, 0, 0)),
    "rear": ((1.0, 0.02, 0.05), (0, 0, 1), (0, -1, 0), (1, 0, 0)),
}


@pytest.mark.parametrize("side", SIDES)
def test_axes_on_every_side_of_a_box(brick, side):
    centre, along, across, normal = SIDES[side]
    opening = lay_opening(brick, "vent", centre, 0.2, 0.1)
    assert opening.side == side
    assert opening.along == pytest.approx(along, abs=1e-12)
    assert opening.across == pytest.approx(across, abs=1e-12)
    assert opening.normal == pytest.approx(normal, abs=1e-12)
    assert opening.centre == pytest.approx(centre, abs=1e-12)


@pytest.mark.parametrize(("shape", "part"), [("rectangle", 1.0), ("oval", np.pi / 4)])
@pytest.mark.parametrize("centre", [TOP, RIGHT, FRONT])
def test_flat_skin_gives_the_exact_area_and_centre(brick, shape, part, centre):
    opening = lay_opening(brick, "vent", centre, 0.2, 0.12, shape=shape)
    assert opening.area == pytest.approx(0.2 * 0.12 * part, rel=1e-12)
    assert opening.sample_weights == pytest.approx(np.full(81, 1.0 / 81.0))
    # an oval's points lie on a spiral: their mean is the centre to a hundredth of its size
    middle = opening.sample_weights @ opening.sample_points
    assert middle == pytest.approx(centre, abs=1e-12 if shape == "rectangle" else 2e-3)
    axes = np.array([opening.along, opening.across, opening.normal])
    local = (opening.sample_points - opening.centre) @ axes.T
    assert np.abs(local[:, 2]).max() < 1e-12
    if shape == "oval":
        assert (np.square(local[:, :2] / [0.1, 0.06])).sum(axis=1).max() < 1.0
    else:
        assert np.abs(local[:, :2]).max(axis=0) == pytest.approx([0.2 * 4 / 9, 0.12 * 4 / 9])


@pytest.mark.parametrize("shape", ["rectangle", "oval"])
def test_outline_has_the_given_size(brick, shape):
    opening = lay_opening(brick, "vent", TOP, 0.3, 0.12, shape=shape)
    assert np.ptp(opening.outline, axis=0) == pytest.approx([0.3, 0.12, 0.0], abs=1e-12)
    edge = np.linalg.norm(np.diff(opening.outline, axis=0, append=opening.outline[:1]), axis=1)
    perimeter = {"rectangle": 0.84, "oval": 0.6 * ellipe(1.0 - 0.4**2)}[shape]
    assert edge.sum() == pytest.approx(perimeter, rel=5e-3)


def test_second_moments_of_the_samples_are_those_of_the_area(brick):
    # mean of (x / length)^2: 1/12 for a rectangle, 1/16 for an oval; nine steps see 1 - 1/81
    for shape, moment in (("rectangle", 1.0 / 12.0), ("oval", 1.0 / 16.0)):
        opening = lay_opening(brick, "vent", TOP, 0.3, 0.12, shape=shape)
        offset = opening.sample_points - opening.centre
        for axis, size in ((opening.along, 0.3), (opening.across, 0.12)):
            found = opening.sample_weights @ (offset @ axis / size) ** 2
            assert found == pytest.approx(moment, rel=0.03)


def test_turn_is_counter_clockwise_seen_from_outside(brick):
    straight = lay_opening(brick, "vent", TOP, 0.2, 0.1)
    turned = lay_opening(brick, "vent", TOP, 0.2, 0.1, turn=30.0)
    assert turned.along == pytest.approx([np.cos(np.pi / 6), 0.5, 0.0], abs=1e-12)
    assert turned.across == pytest.approx([-0.5, np.cos(np.pi / 6), 0.0], abs=1e-12)
    quarter = lay_opening(brick, "vent", TOP, 0.2, 0.1, turn=90.0)
    assert quarter.along == pytest.approx(straight.across, abs=1e-12)
    assert np.ptp(quarter.outline, axis=0) == pytest.approx([0.1, 0.2, 0.0], abs=1e-12)


@pytest.mark.parametrize("draw", range(4))
def test_axes_are_orthonormal_and_right_handed_anywhere(fine_sphere, draw):
    random = np.random.default_rng(draw)
    centre = random.normal(size=3)
    centre /= np.linalg.norm(centre)
    opening = lay_opening(fine_sphere, "vent", centre, 0.2, 0.1, turn=random.uniform(-180, 180))
    axes = np.array([opening.along, opening.across, opening.normal])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    # the mean normal of a patch of a sphere points out through its centre
    assert opening.normal == pytest.approx(centre, abs=5e-3)
    assert np.linalg.norm(opening.centre) == pytest.approx(1.0, abs=1e-3)


def test_along_points_aft_on_the_flanks_and_up_on_faces_ahead(fine_sphere):
    flank = lay_opening(fine_sphere, "vent", [-0.5, 0.6, 0.624], 0.1, 0.1)
    nose = lay_opening(fine_sphere, "vent", [-0.96, 0.2, 0.196], 0.1, 0.1)
    assert flank.along[0] > 0.8
    assert nose.along[2] > 0.8


@pytest.mark.parametrize("diameter", [0.2, 0.8])
def test_area_of_a_round_opening_on_a_sphere_is_that_of_the_cap(fine_sphere, diameter):
    radius = 0.5 * diameter
    opening = lay_opening(fine_sphere, "vent", [0.48, 0.6, 0.64], diameter, diameter, shape="oval")
    cap = 2.0 * np.pi * (1.0 - np.sqrt(1.0 - radius**2))
    # facets and 81 points: a part of a thousand
    assert opening.area == pytest.approx(cap, rel=2e-3)


def test_rectangle_on_a_sphere_covers_more_skin_than_its_plan(fine_sphere):
    opening = lay_opening(fine_sphere, "vent", [0.0, 0.0, 1.0], 0.9, 0.5)
    area = dblquad(lambda y, x: 1.0 / np.sqrt(1 - x * x - y * y), -0.45, 0.45, -0.25, 0.25)[0]
    assert area > 1.04 * 0.45
    assert opening.area == pytest.approx(area, rel=3e-3)
    assert opening.sample_weights.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("centre", [(-0.6, 0.0, 0.8), (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0)])
def test_mean_over_the_samples_is_the_area_mean_of_a_smooth_pressure(fine_sphere, centre):
    opening = lay_opening(fine_sphere, "vent", centre, 0.3, 0.2)
    freestream = stream(7.0, 3.0)
    found = opening.sample_weights @ ellipsoid_cp(SPHERE, freestream, opening.sample_points)
    axes = np.array([opening.along, opening.across, opening.normal])

    def on_sphere(x, y):
        return np.array([x, y, np.sqrt(1.0 - x * x - y * y)])

    def weighted(y, x):
        point = on_sphere(x, y)
        return ellipsoid_cp(SPHERE, freestream, point @ axes) / point[2]

    limits = (-0.15, 0.15, -0.1, 0.1)
    area = dblquad(lambda y, x: 1.0 / on_sphere(x, y)[2], *limits)[0]
    # midpoint rule of nine steps of 0.033 on a curvature of 4.5: 2e-4; facets 1e-3
    assert found == pytest.approx(dblquad(weighted, *limits)[0] / area, abs=2e-3)


def test_mean_does_not_depend_on_the_panelling():
    means = []
    for level in (4, 5):
        surface = bodies.ellipsoid(SPHERE, level)
        opening = lay_opening(surface, "vent", [-0.6, 0.0, 0.8], 0.3, 0.2)
        values = ellipsoid_cp(SPHERE, stream(0.0, 0.0), opening.sample_points)
        means.append(opening.sample_weights @ values)
    assert means[0] == pytest.approx(means[1], abs=3e-3)


def test_samples_lie_on_the_panels_they_name(fine_sphere):
    opening = lay_opening(fine_sphere, "vent", [-0.6, 0.0, 0.8], 0.3, 0.2)
    panels = opening.sample_panels
    offset = opening.sample_points - fine_sphere.centroids[panels]
    assert (offset * fine_sphere.normals[panels]).sum(axis=1) == pytest.approx(0.0, abs=1e-12)
    reach = np.linalg.norm(
        fine_sphere.corners[panels] - fine_sphere.centroids[panels][:, None], axis=2
    ).max(axis=1)
    assert (np.linalg.norm(offset, axis=1) <= reach + 1e-12).all()


def test_centre_is_pulled_onto_the_skin(brick):
    opening = lay_opening(brick, "vent", [0.1, 0.0, 0.44], 0.2, 0.1)
    assert opening.centre == pytest.approx([0.1, 0.0, 0.4])


def test_far_centre_is_refused_with_the_nearest_place(brick):
    message = (
        "opening vent: its centre at STA 100 BL 0 WL 500 mm is 100 mm from the skin .allowed 50 mm"
        ".; the nearest point of the skin is STA 100 BL 0 WL 400 mm"
    )
    with pytest.raises(SurfaceError, match=message):
        lay_opening(brick, "vent", [0.1, 0.0, 0.5], 0.2, 0.1)
    assert lay_opening(brick, "vent", [0.1, 0.0, 0.5], 0.2, 0.1, max_distance=0.2).side == "top"


@pytest.mark.parametrize(
    ("centre", "length", "width"),
    [((0.95, 0.0, 0.4), 0.2, 0.1), ((0.0, 0.0, 0.4), 0.5, 1.2), ((0.0, 0.0, 0.4), 2.1, 0.1)],
)
def test_opening_over_an_edge_of_the_body_is_refused(brick, centre, length, width):
    with pytest.raises(SurfaceError, match=r"opening vent: \d+ of \d+ points of it hang over"):
        lay_opening(brick, "vent", centre, length, width)


def stepped(drop, length=2.0):
    """Box whose top falls by `drop` at x = 0, one body."""
    x = np.array([-0.5, 0.0, 0.5]) * length
    outline = [(x[0], -0.4), (x[2], -0.4), (x[2], 0.4 - drop), (x[1], 0.4 - drop), (x[1], 0.4)]
    outline = np.array([*outline, (x[0], 0.4)])
    left, right = (np.insert(outline, 1, y, axis=1) for y in (-0.5, 0.5))
    cap = np.array([[0, 1, 3], [1, 2, 3], [0, 3, 4], [0, 4, 5]])
    ring = [(k, (k + 1) % 6) for k in range(6)]
    sides = [t for a, b in ring for t in ([a, a + 6, b + 6], [a, b + 6, b])]
    triangles = np.vstack([cap, cap[:, ::-1] + 6, sides])
    surface = SurfaceMesh(np.vstack([left, right]), triangles)
    return surface if surface.volume > 0.0 else SurfaceMesh(surface.vertices, triangles[:, ::-1])


@pytest.mark.parametrize("shape", ["rectangle", "oval"])
@pytest.mark.parametrize("drop", [0.03, 0.1])
def test_opening_over_a_step_of_the_skin_is_refused(shape, drop):
    skin = stepped(drop)
    message = rf"opening vent: the skin under it has a step of about {drop * 1e3:.0f} mm \(at STA"
    with pytest.raises(SurfaceError, match=message):
        lay_opening(skin, "vent", (-0.01, 0.0, 0.4), 0.12, 0.12, shape=shape)
    beside = lay_opening(skin, "vent", (-0.08, 0.0, 0.4), 0.12, 0.12, shape=shape)
    assert beside.normal == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)


def test_opening_over_a_bend_of_the_skin_is_laid():
    # 40 deg, as at a windshield base
    ramp = np.tan(np.radians(40.0))
    x, y = np.array([-1.0, 0.0, 1.0]), np.array([-0.5, 0.5])
    z = np.maximum(x, 0.0) * ramp
    top = np.array([[a, b, c] for b in y for a, c in zip(x, z, strict=True)])
    low = top * [1.0, 1.0, 0.0] - [0.0, 0.0, 1.0]
    quads = [(0, 1, 4, 3), (1, 2, 5, 4), (9, 10, 7, 6), (10, 11, 8, 7)]
    quads += [
        (0, 3, 9, 6),
        (5, 2, 8, 11),
        (1, 0, 6, 7),
        (2, 1, 7, 8),
        (3, 4, 10, 9),
        (4, 5, 11, 10),
    ]
    skin = SurfaceMesh(
        np.vstack([top, low]), [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    )
    assert skin.volume > 0.0
    assert lay_opening(skin, "vent", (0.0, 0.0, 0.0), 0.2, 0.2).normal[0] < -0.2


def test_opening_larger_than_the_sphere_is_refused(fine_sphere):
    with pytest.raises(SurfaceError, match="hang over the edge of the body"):
        lay_opening(fine_sphere, "vent", [0.0, 0.0, 1.0], 2.4, 0.2)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"use": "door"}, "opening vent: use 'door' is not known; choose one of inlet, exit"),
        ({"kind": "hole"}, "kind 'hole' is not known; choose one of forward-facing, scoop"),
        ({"shape": "star"}, "shape 'star' is not known; choose one of rectangle, oval"),
        ({"length": 0.0}, "opening vent: length is 0.0 m; expected more than 0"),
        ({"width": -0.1}, "width is -0.1 m; expected more than 0"),
        ({"length": np.nan}, "length is nan m"),
        ({"width": np.inf}, "width is inf m"),
    ],
)
def test_words_and_sizes_that_make_no_sense(brick, options, message):
    given = {"length": 0.2, "width": 0.1} | options
    with pytest.raises(SurfaceError, match=message):
        lay_opening(brick, "vent", TOP, **given)


@pytest.mark.parametrize("use", USES)
def test_uses_say_which_way_air_may_go(brick, use):
    opening = lay_opening(brick, "vent", TOP, 0.2, 0.1, use=use)
    assert opening.takes_air_in == (use in ("inlet", "both"))
    assert opening.lets_air_out == (use in ("exit", "both"))


def test_record_keeps_what_was_asked_and_is_protected(brick):
    finder = SkinFinder(brick)
    opening = lay_opening(finder, "oil exit", TOP, 0.2, 0.1, "both", KINDS[4], "oval")
    assert (opening.name, opening.use, opening.kind) == ("oil exit", "both", "louvre")
    assert (opening.length, opening.width, opening.shape) == (0.2, 0.1, "oval")
    for name in ("centre", "along", "outline", "sample_points", "sample_panels", "sample_weights"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(opening, name)[0] = 0
