"""Checks of a solution: quiet on good panels, and each of them able to fail at the right place."""

import dataclasses

import numpy as np
import pytest

from panelcp.panels import faults
from panelcp.panels.solving import solve_units
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.refining import grown, refined
from tests import bodies
from tests.exact import SPHERE, ellipsoid_cp, stream


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


def settled(units):
    """Check of the change of Cp, the zone and the changes, for three streams."""
    zone = faults.suspect_zone(units.surface, faults.solution_checks(units))
    finer, parents = refined(units.surface, zone)
    streams = [stream(0.0, 0.0), 40.0 * stream(6.0, 0.0), stream(3.0, 5.0)]
    changes = faults.refinement_changes(units, solve_units(finer), parents, streams)
    return faults.refinement_check(units, changes), zone, changes


@pytest.mark.parametrize("level", [3, 4])
def test_pressure_on_a_well_meshed_sphere_is_settled(level):
    check, zone, _ = settled(solve_units(SurfaceMesh(*bodies.icosphere(level))))
    assert not check.failed
    assert check.worst < 0.1 * faults.CHANGE_LIMIT
    assert 0.02 < zone.mean() < 0.12


def test_nose_with_too_few_panels_is_found_where_it_is():
    axes = (4.0, 1.0, 1.0)
    good, _, _ = settled(solve_units(bodies.ellipsoid(np.array(axes), 3)))
    assert not good.failed
    units = solve_units(bodies.coarse_nosed_ellipsoid(axes, 3))
    check, zone, _ = settled(units)
    assert check.failed
    assert check.kind == "change of Cp when the suspect zone is refined"
    assert 0 < check.count == np.count_nonzero(check.panels) < 30
    assert check.values[check.panels].min() > check.limit
    assert units.surface.centroids[check.panels, 0].max() < -3.0
    assert f"on {check.count} panels, worst at STA -3" in check.line()
    cp = 1.0 - (units.velocity[0] ** 2).sum(axis=1)
    error = np.abs(cp - ellipsoid_cp(axes, stream(0.0, 0.0), units.panels.points))
    assert error[zone].max() == error.max() > 0.1
    assert error[~zone].max() < 0.01


def test_one_dented_vertex_is_found():
    body = SurfaceMesh(*bodies.icosphere(3))
    vertices = np.array(body.vertices)
    vertices[100] *= 0.97
    check, zone, _ = settled(solve_units(SurfaceMesh(vertices, body.triangles)))
    at = (body.triangles == 100).any(axis=1)
    assert zone[at].all()
    assert check.failed
    assert check.panels[at].any()
    assert not (check.panels & ~grown(body, at, 2)).any()


@pytest.mark.parametrize(
    "body",
    [
        SurfaceMesh(*bodies.icosphere(1)),
        SurfaceMesh(*bodies.icosphere(2)),
        bodies.coarse_nosed_ellipsoid((1.0, 1.0, 1.0), 3),
    ],
    ids=["80 panels", "320 panels", "coarse cap"],
)
def test_finer_panels_bring_the_pressure_on_a_sphere_nearer_to_the_exact_one(body):
    units = solve_units(body)
    zone = faults.suspect_zone(body, faults.solution_checks(units))
    finer, parents = refined(body, zone)
    along = [stream(0.0, 0.0)]
    change = faults.refinement_changes(units, solve_units(finer), parents, along)[0]
    cp = 1.0 - (units.velocity[0] ** 2).sum(axis=1)
    error = cp - ellipsoid_cp(SPHERE, along[0], units.panels.points)
    left = error + change
    assert np.sqrt((left[zone] ** 2).mean()) < 0.5 * np.sqrt((error[zone] ** 2).mean())


def test_edges_of_a_box_change_and_are_not_judged():
    box = bodies.box((1.0, 1.0, 1.0), (16, 16, 16))
    check, _, changes = settled(solve_units(box))
    beside = faults.beside_edges(box)
    distance = (0.5 - np.sort(np.abs(box.centroids), axis=1)[:, 1]) * 16
    assert beside[distance < 1.0].all()
    assert not beside[distance > 2.0].any()
    assert np.abs(changes[:, beside]).max() > 0.5
    assert (check.values[beside] == 0.0).all()
    assert check.values == pytest.approx(np.where(beside, 0.0, np.abs(changes).max(axis=0)))
    assert not check.failed


def test_hollow_edges_take_no_second_row_with_them():
    step = bodies.box((1.0, 1.0, 1.0), (8, 8, 8))
    inside_out = SurfaceMesh(step.vertices, step.triangles[:, ::-1])
    assert np.count_nonzero(faults.beside_edges(inside_out)) < np.count_nonzero(
        faults.beside_edges(step)
    )
    folded = faults.folds(step) > 80.0
    assert faults.beside_edges(inside_out)[folded].all()


def test_edges_that_may_be_a_coarse_nose_are_tried():
    body = bodies.coarse_nosed_ellipsoid((8.0, 1.0, 1.0), 3, 0.8)
    angle = faults.fold_angles(body).max(axis=1)
    doubtful = (angle > 40.0) & (angle < 60.0)
    assert doubtful.any()
    units = solve_units(body)
    checks = faults.solution_checks(units)
    assert not [check for check in checks if check.failed and check.panels.any()]
    quiet = np.where(units.surface.centroids[:, 0] > 0.0, 0.1, 0.0)
    quietest = [dataclasses.replace(check, values=quiet) for check in checks[:2]] + checks[2:4]
    assert faults.suspect_zone(body, quietest)[doubtful].all()
    assert faults.suspect_zone(body, checks)[doubtful].all()
    check, _, _ = settled(units)
    assert check.failed
    assert (check.panels <= grown(body, doubtful, 1)).all()


def test_changes_of_the_pressure_coefficient_follow_bernoulli(good):
    same, parents = refined(good.surface, np.zeros(good.surface.n_panels, dtype=bool))
    again = dataclasses.replace(good, surface=same)
    streams = [stream(0.0, 0.0), 30.0 * stream(5.0, 8.0)]
    nothing = faults.refinement_changes(good, again, parents, streams)
    assert nothing.shape == (2, good.surface.n_panels)
    assert np.abs(nothing).max() < 1e-14
    assert not faults.refinement_check(good, nothing).panels.any()
    faster = dataclasses.replace(again, velocity=1.1 * good.velocity)
    changes = faults.refinement_changes(good, faster, parents, streams)
    for change, along in zip(changes, streams, strict=True):
        speed = np.linalg.norm(np.einsum("u,upd->pd", along, good.velocity[:3]), axis=1)
        expected = -(1.1**2 - 1.0) * speed**2 / (along @ along)
        assert change == pytest.approx(expected, abs=1e-12)
    check = faults.refinement_check(good, changes)
    assert check.worst == pytest.approx(np.abs(changes).max())
    assert check.count == np.count_nonzero((np.abs(changes) > 0.05).any(axis=0)) > 200


def test_zone_holds_the_failed_panels_with_two_rings_and_not_too_many(good):
    fine = SurfaceMesh(*bodies.icosphere(3))
    checks = faults.solution_checks(solve_units(fine))

    def spoiled(panels):
        values = np.array(checks[0].values)
        values[panels] = 0.3 + 0.001 * np.arange(len(panels))
        return [dataclasses.replace(checks[0], values=values), *checks[1:]]

    failed = np.zeros(fine.n_panels, dtype=bool)
    failed[300] = True
    zone = faults.suspect_zone(fine, spoiled([300]))
    assert (grown(fine, failed, 2) <= zone).all()
    assert zone.sum() > grown(fine, failed, 2).sum()
    many = np.arange(0, 1280, 4)
    zone = faults.suspect_zone(fine, spoiled(many))
    assert 0.05 < zone.mean() <= 0.1
    failed[:] = False
    failed[many[-2:]] = True
    assert (grown(fine, failed, 2) <= zone).all()


def test_zone_of_a_mirrored_surface_is_the_same_on_both_sides():
    half = solve_units(bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 3))
    checks = faults.solution_checks(half)
    values = np.array(checks[1].values)
    values[7] = 2.0
    zone = faults.suspect_zone(
        half.surface, [checks[0], dataclasses.replace(checks[1], values=values), *checks[2:]]
    )
    assert np.array_equal(*np.split(zone, 2))
    assert zone[7]
    _, zone, changes = settled(half)
    assert np.array_equal(*np.split(zone, 2))
    assert changes[0, : len(zone) // 2] == pytest.approx(changes[0, len(zone) // 2 :], abs=1e-12)
