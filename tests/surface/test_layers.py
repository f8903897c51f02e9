"""Skin that is there twice is dropped once, and shells are not taken for bodies."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.checking import check_surface
from panelcp.surface.layers import drop_inner_faces, drop_second_copies, require_thickness
from panelcp.surface.mending import MendingOptions, mended
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import used_only
from tests import bodies


def joined(*skins):
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in skins)])
    triangles = [t + start for (_, t), start in zip(skins, starts, strict=False)]
    return np.vstack([vertices for vertices, _ in skins]), np.vstack(triangles)


def shifted_inward(surface, thickness):
    """The same triangles, each vertex moved inward along the normal of an ellipsoid."""
    axes = np.ptp(surface.vertices, axis=0) / 2.0
    normals = surface.vertices / axes**2
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return surface.vertices - thickness * normals, surface.triangles


def holed(vertices, triangles, station):
    return used_only(vertices, triangles[vertices[triangles].mean(axis=1)[:, 0] > station])


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("away", [0.0, 2e-6, 0.3e-3])
def test_second_copy_is_dropped_and_the_first_stays_as_it_is(away, turned):
    egg = bodies.egg(3)
    copy = egg.triangles[::-1, [0, 2, 1]] if turned else egg.triangles[:400, [1, 2, 0]]
    copy = used_only(egg.vertices + np.array([0.0, away, 0.0]), copy)
    vertices, triangles, notes = drop_second_copies(
        *joined((egg.vertices, egg.triangles), copy), 0.5e-3
    )
    assert np.array_equal(vertices, egg.vertices)
    assert np.array_equal(triangles, egg.triangles)
    assert len(notes) == 1
    assert notes[0].startswith(
        f"{len(copy[1])} triangles of a second copy of the skin dropped, up to "
        f"{1e3 * away:.2g} mm beside the first (round STA"
    )


def test_parts_that_are_no_copies_stay():
    egg = bodies.egg(3)
    fine = (egg.vertices, egg.triangles)
    for other in (
        (egg.vertices + np.array([0.0, 0.7e-3, 0.0]), egg.triangles),  # farther than the tolerance
        (0.5 * bodies.egg(2).vertices, bodies.egg(2).triangles),
    ):
        given = joined(fine, other)
        assert drop_second_copies(*given, 0.5e-3)[1] is given[1]
    assert drop_second_copies(*joined(fine, fine), 0.0)[2] == []
    assert drop_second_copies(*fine, 0.5e-3)[1] is egg.triangles


def test_half_mirrored_twice_becomes_one_body():
    vertices, triangles = bodies.half_ellipsoid((3.0, 1.0, 1.0), 4)
    left = (vertices * [1.0, -1.0, 1.0], triangles[:, [0, 2, 1]])
    again = (left[0] + 2e-6, left[1])
    result = mended(*joined((vertices, triangles), left, again))
    surface = SurfaceMesh(result[0], result[1])
    check_surface(surface)
    assert surface.n_panels == 2 * len(triangles)
    assert surface.volume == pytest.approx(4.0 * np.pi, rel=0.01)


@pytest.mark.parametrize("opened", [False, True])
def test_inner_face_of_a_shell_is_dropped(opened):
    body = bodies.ellipsoid((1.5, 0.5, 0.5), 4)
    outer, inner = (body.vertices, body.triangles), shifted_inward(body, 1.5e-3)
    if opened:
        outer, inner = holed(*outer, -1.2), holed(*inner, -1.2)
    vertices, triangles, notes = drop_inner_faces(*joined(inner, outer))
    assert np.array_equal(vertices, outer[0])
    assert np.array_equal(triangles, outer[1])
    assert notes == [
        f"inner faces of a shell dropped: 1 part of {len(inner[1])} triangles, 1.5 to 1.5 mm "
        f"inside the outer faces (round {notes[0].split('(round ')[1]}"
    ]


def test_shell_with_open_rims_is_the_body_with_an_opening():
    body = bodies.ellipsoid((1.5, 0.5, 0.5), 4)
    outer = holed(body.vertices, body.triangles, -1.48)
    inner = holed(*shifted_inward(body, 1.5e-3), -1.48)
    turned = (inner[0], inner[1][:, [0, 2, 1]])
    result = mended(*joined(outer, turned), MendingOptions(largest_hole=0.3))
    surface = SurfaceMesh(result[0], result[1])
    assert surface.volume == pytest.approx(body.volume, rel=2e-3)
    assert np.array_equal(surface.triangles[: len(outer[1])], outer[1])
    assert any(note.startswith("inner faces of a shell dropped: 1 part") for note in result[2])
    assert any(note.startswith("1 hole filled") for note in result[2])


def test_inner_face_of_a_half_is_not_zipped_to_the_outer_one_along_the_centre_line():
    axes = np.array([1.5, 0.5, 0.5])
    vertices, triangles = bodies.half_ellipsoid(axes, 5)
    coarse, few = bodies.half_ellipsoid(axes, 4)
    normals = coarse / axes**2
    inner = coarse - 1.5e-3 * normals / np.linalg.norm(normals, axis=1, keepdims=True)
    result = mended(*joined((vertices, triangles), (inner, few)), open_at_plane=True)
    assert np.array_equal(result[0], vertices)
    assert np.array_equal(result[1], triangles)
    assert len(result[2]) == 1


@pytest.mark.parametrize(
    ("place", "scale"), [((0.0, 0.0, 0.0), 0.9), ((0.03, 0.0, 0.0), 1.0), ((3.0, 0.0, 0.0), 1.0)]
)
def test_other_parts_inside_or_beside_stay(place, scale):
    body = bodies.ellipsoid((1.5, 0.5, 0.5), 3)
    other = (scale * body.vertices + place, body.triangles)
    given = joined((body.vertices, body.triangles), other)
    same, triangles, notes = drop_inner_faces(*given)
    assert same is given[0]
    assert triangles is given[1]
    assert notes == []


def test_doubler_outside_the_skin_stays_and_one_inside_goes():
    body = bodies.ellipsoid((1.5, 0.5, 0.5), 4)
    patch = np.abs(body.centroids - [0.0, 0.5, 0.0]).max(axis=1) < 0.2
    for thickness, dropped in ((-2e-3, 0), (2e-3, 1)):
        moved, triangles = shifted_inward(body, thickness)
        given = joined((body.vertices, body.triangles), used_only(moved, triangles[patch]))
        assert len(drop_inner_faces(*given)[2]) == dropped


@pytest.mark.parametrize("half", [False, True])
def test_closed_shell_is_refused_with_its_thickness(half):
    body = bodies.ellipsoid((1.5, 0.5, 0.5), 4)
    vertices, triangles = body.vertices, body.triangles
    if half:
        vertices, triangles = bodies.half_ellipsoid((1.5, 0.5, 0.5), 4)
        body = SurfaceMesh(vertices, triangles)
    require_thickness(vertices, triangles)
    inner = shifted_inward(bodies.ellipsoid((1.5, 0.5, 0.5), 4), 2e-3)
    if half:
        normals = vertices / np.array([1.5, 0.5, 0.5]) ** 2
        inner = (vertices - 2e-3 * normals / np.linalg.norm(normals, axis=1)[:, None], triangles)
    shell = joined((vertices, triangles), (inner[0], inner[1][:, [0, 2, 1]]))
    with pytest.raises(SurfaceError, match=r"a shell with an outer and an inner face, 2 mm thick"):
        require_thickness(*shell)


def test_thin_bodies_that_are_no_shells_pass():
    slab = bodies.slab(6.0, 0.1)
    require_thickness(slab.vertices, slab.triangles)
