"""Checks of a solution: quiet on good panels, and each of them able to fail at the right place."""

import dataclasses

import numpy as np
import pytest

from panelcp.panels import faults
from panelcp.panels.solving import solve_units
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies


@pytest.fixture(scope="module")
def good():
    return solve_units(SurfaceMesh(*bodies.icosphere(2)))


def failed(units):
    return {check.kind for check in faults.faults(units)}


def test_good_panels_raise_no_doubt(good):
    assert faults.faults(good) == []
    checks = faults.solution_checks(good)
    assert [check.count for check in checks] == [0] * 6
    assert all(not check.panels.any() for check in checks)


def test_normal_velocity_beside_control_points_falls_with_refinement(good):
    fine = solve_units(SurfaceMesh(*bodies.icosphere(3)))
    assert faults.normals(fine).max() < 0.4 * faults.normals(good).max()


def test_half_and_whole_give_the_same_checks():
    half = solve_units(bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 2), tolerance=None)
    whole = solve_units(half.surface.unmirrored(), tolerance=None)
    for check, other in zip(*map(faults.solution_checks, (half, whole)), strict=True):
        assert check.worst == pytest.approx(other.worst, rel=1e-4, abs=1e-9)


def test_wrong_strength_of_one_panel_is_found_there(good):
    strength = np.array(good.source_strength)
    strength[0, 17] += 2.0
    spoiled = dataclasses.replace(good, source_strength=strength)
    check = faults.solution_checks(spoiled)[0]
    assert check.failed
    assert check.panels[17]
    assert int(np.argmax(faults.normals(spoiled))) == 17


def test_jump_of_velocity_is_found_on_both_sides(good):
    velocity = np.array(good.velocity)
    velocity[1, 40] += [0.0, 0.0, 3.0]
    check = faults.solution_checks(dataclasses.replace(good, velocity=velocity))[1]
    assert check.failed
    assert check.panels[40]
    assert check.panels[good.surface.edge_neighbours[40]].all()
    assert check.count < 20


def test_linear_change_of_velocity_on_a_plane_is_no_jump():
    box = solve_units(bodies.box((1.0, 1.0, 1.0), (8, 8, 8)))
    slope = np.random.default_rng(4).normal(size=(3, 3))
    velocity = np.einsum("pd,de->pe", box.panels.points, slope)
    linear = dataclasses.replace(box, velocity=np.array([velocity] * 3))
    enough = (box.panels.neighbours >= 0).sum(axis=1) >= 2
    inside = (box.panels.neighbours >= 0).all(axis=1) & enough[box.panels.neighbours].all(axis=1)
    assert np.count_nonzero(inside) > 300
    assert faults.jumps(linear)[inside].max() < 1e-12


def test_net_source_and_force_see_a_leak(good):
    leaky = dataclasses.replace(good, source_strength=good.source_strength + 0.05)
    assert "net source, parts of all sources" in failed(leaky)
    facing = good.panels.normals[:, 0] < 0
    velocity = np.where(facing[None, :, None], 1.1, 1.0) * good.velocity
    pushed = dataclasses.replace(good, velocity=velocity)
    assert "force on the closed body, q A" in failed(pushed)


def test_folded_panel_is_found():
    body = SurfaceMesh(*bodies.icosphere(2))
    vertices = np.array(body.vertices)
    corner = body.triangles[5, 0]
    other = body.triangles[body.edge_neighbours[5]].max()
    vertices[corner] += 2.2 * (vertices[other] - vertices[corner])
    folded = SurfaceMesh(vertices, body.triangles)
    assert faults.folds(folded).max() > faults.FOLD_ANGLE
    assert faults.folds(body).max() < 20.0


def test_lines_say_what_where_and_how_many(good):
    strength = np.array(good.source_strength)
    strength[0, 17] += 2.0
    check = faults.solution_checks(dataclasses.replace(good, source_strength=strength))[0]
    assert f"on {check.count} panels" in check.line()
    assert "STA" in check.line()
    assert "limit 0.2" in check.line()


def test_thin_panels_are_found():
    body = SurfaceMesh(*bodies.icosphere(2))
    assert faults.slender(body).max() < 1.5
    equilateral = 2.0 / np.sqrt(3.0)
    assert faults.slender(SurfaceMesh(*bodies.icosphere(0))) == pytest.approx(equilateral)
    stretched = SurfaceMesh(body.vertices * [40.0, 1.0, 1.0], body.triangles)
    assert faults.slender(stretched).max() > faults.SLENDER_LIMIT
