"""Vortex cylinders and vortex lines against quadrature, limits and laws."""

import numpy as np
import pytest
from scipy.integrate import quad

from panelcp.onset.vortices import vortex_cylinder, vortex_line
from tests.exact import curl, cylinder_by_rings, divergence, ring_velocity

RADIUS = 0.9


def cylinder_field(points):
    """Unit vortex cylinder of RADIUS along z from z = 0."""
    rho = np.hypot(points[:, 0], points[:, 1])
    along, outward = vortex_cylinder(RADIUS, points[:, 2], rho)
    return np.stack([outward * points[:, 0] / rho, outward * points[:, 1] / rho, along], axis=1)


def test_axis():
    # v(x)/v(0) = 1 + x/sqrt(x^2 + R^2) on the axis, reckoned apart from this program
    places = np.array([-2.0, -1.0, -0.5, 0.0, 0.25, 0.5, 1.0, 2.0, 4.0])
    listed = [0.105573, 0.292893, 0.552786, 1.0, 1.242536, 1.447214, 1.707107, 1.894427, 1.970143]
    along, outward = vortex_cylinder(RADIUS, places * RADIUS, 0.0)
    assert 2.0 * along == pytest.approx(listed, abs=5e-7)
    assert 2.0 * along == pytest.approx(1.0 + places / np.hypot(places, 1.0), abs=1e-8)
    assert outward == pytest.approx(np.zeros(9), abs=1e-8)


@pytest.mark.parametrize(
    ("axial", "distance"),
    [
        *[(0.5, 0.3), (3.0, 0.6), (0.0, 0.45), (1e-3, 0.7)],
        *[(0.5, 1.4), (4.0, 2.0), (0.0, 1.3), (-1e-3, 1.1)],
        *[(-0.4, 0.2), (-0.4, 0.9), (-3.0, 1.5)],
        *[(0.5, 0.01), (-6.0, 0.2), (20.0, 1.0), (1.0, 30.0)],
        *[(0.3, 0.899), (0.3, 0.901), (-0.01, 0.9), (0.01, 0.91)],
    ],
    ids=lambda value: f"{value:g}",
)
def test_velocity_is_that_of_rings_of_vortices_along_the_sheet(axial, distance):
    # Biot-Savart: the rings of the sheet, held against the law itself below, summed by quadrature.
    # At the radius itself the point is moved by 1e-9 of it, in a slope of 1/(2 pi gap).
    found = np.array(vortex_cylinder(RADIUS, axial, distance))
    limit = 2e-8 if distance == RADIUS else 2e-9
    assert found == pytest.approx(cylinder_by_rings(RADIUS, axial, distance), abs=limit)


def test_velocity_is_that_of_the_law_of_biot_and_savart_around_a_ring():
    # the rings themselves, so that no elliptic integral is taken on trust
    def part(angle, place, component):
        edge = RADIUS * np.array([np.cos(angle), np.sin(angle), 0.0])
        turn = RADIUS * np.array([-np.sin(angle), np.cos(angle), 0.0])
        arm = place - edge
        return np.cross(turn, arm)[component] / (4.0 * np.pi * np.linalg.norm(arm) ** 3)

    place = np.array([0.35, 0.0, 0.4])
    found = [quad(part, 0.0, 2.0 * np.pi, args=(place, k))[0] for k in (0, 2)]
    assert ring_velocity(RADIUS, 0.0, [place])[0, [0, 2]] == pytest.approx(found, abs=1e-10)


def test_velocity_goes_on_across_the_plane_where_the_sheet_starts():
    distance = np.array([0.0, 0.2, 0.5, 0.85, 0.95, 1.3, 3.0])
    before, behind = (np.array(vortex_cylinder(RADIUS, s * 1e-9, distance)) for s in (-1, 1))
    # the velocity changes by 1/(distance from the edge) per metre at most
    assert behind == pytest.approx(before, abs=1e-7)
    assert before[0, :4] == pytest.approx(0.5, abs=1e-7)
    assert before[0, 4:] == pytest.approx(0.0, abs=1e-7)


def test_sheet_makes_its_strength_in_jump_of_velocity():
    inside, outside = (
        np.array(vortex_cylinder(RADIUS, 0.7, RADIUS * (1 + s))) for s in (-1e-7, 1e-7)
    )
    assert inside[0] - outside[0] == pytest.approx(1.0, abs=1e-5)
    assert inside[1] == pytest.approx(outside[1], abs=1e-5)


def test_limits():
    assert np.array(vortex_cylinder(RADIUS, 1e5, 0.4)) == pytest.approx([1.0, 0.0], abs=1e-9)
    assert np.array(vortex_cylinder(RADIUS, 1e5, 1.4)) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert np.isfinite(vortex_cylinder(RADIUS, [0.0, 0.0, 1.0], [0.0, RADIUS, RADIUS])).all()
    # near the axis: half the radius times the fall of the axial velocity, d u/d x
    axial, small = np.array([-1.0, -0.2, 0.0, 0.3, 2.0]), 1e-5
    slope = 0.5 * RADIUS**2 / np.hypot(axial, RADIUS) ** 3
    _, outward = vortex_cylinder(RADIUS, axial, small)
    assert outward == pytest.approx(-0.5 * slope * small, rel=1e-4)
    # both sides of the place where the series takes over
    for distance in (2e-7, 3e-7):
        assert vortex_cylinder(RADIUS, 0.3, distance)[1] == pytest.approx(
            -0.25 * RADIUS**2 * distance / np.hypot(0.3, RADIUS) ** 3, rel=5e-3
        )


@pytest.mark.parametrize("far", [1e2, 1e4, 1e7])
def test_far_away_it_is_a_sink_of_the_flow_through_its_section(far):
    axial, distance = far * np.array([-1.0, 0.0, 1.0, -0.5]), far * np.array([1.0, 1.0, 1.0, 1e-3])
    along, outward = vortex_cylinder(RADIUS, axial, distance)
    reach = np.hypot(axial, distance)
    # the next term is smaller by 1.5 (radius/distance)^2; near the axis the brackets cancel
    exact = -(RADIUS**2) / (4.0 * reach**3) * np.array([axial, distance])
    found = np.array([along, outward])
    size = np.linalg.norm(exact, axis=0)
    limit = 1.5 * (RADIUS / reach) ** 2 * size + 2e-14
    assert (np.linalg.norm(found - exact, axis=0) <= limit).all()


def test_no_divergence_and_no_curl_away_from_the_sheet():
    random = np.random.default_rng(5)
    points = random.uniform(-2.0, 2.0, (200, 3))
    rho = np.hypot(points[:, 0], points[:, 1])
    points = points[(np.abs(rho - RADIUS) > 0.05) & (rho > 0.05)]
    assert len(points) > 150
    # central differences, 1e-4 m: 1e-8 of the third derivatives, which reach 1/0.05^3
    assert np.abs(divergence(cylinder_field, points)).max() < 1e-5
    assert np.abs(curl(cylinder_field, points)).max() < 1e-5


def unit(vector):
    return np.asarray(vector, dtype=float) / np.linalg.norm(vector)


@pytest.mark.parametrize("core", [0.0, 0.3])
def test_vortex_line_is_biot_and_savart(core):
    start, direction, length = np.array([0.2, -0.5, 0.1]), unit([1.0, 2.0, -0.5]), 1.7
    points = np.array([[0.9, 0.1, 0.4], [-1.0, -2.0, 0.5], [2.0, 3.0, 1.0], [0.3, 0.0, 0.1]])

    def part(s, point, component):
        arm = point - start - s * direction
        return np.cross(direction, arm)[component] / (arm @ arm + core**2) ** 1.5 / (4.0 * np.pi)

    exact = [[quad(part, 0.0, length, args=(p, k))[0] for k in range(3)] for p in points]
    found = vortex_line(start, direction, length, points, core)
    assert found == pytest.approx(np.array(exact), abs=1e-10)
    exact = [[quad(part, 0.0, np.inf, args=(p, k))[0] for k in range(3)] for p in points]
    found = vortex_line(start, direction, np.inf, points, core)
    assert found == pytest.approx(np.array(exact), abs=1e-8)


def test_vortex_line_without_ends_turns_like_a_point_vortex():
    # 1/(2 pi d), right-handed about the line: with z as the line +x becomes +y
    found = vortex_line(
        np.array([0.0, 0.0, -1e6]), np.array([0.0, 0.0, 1.0]), np.inf, [[2.0, 0, 0]]
    )
    assert found == pytest.approx(np.array([[0.0, 1.0 / (4.0 * np.pi), 0.0]]), abs=1e-12)


def test_points_on_a_vortex_line_have_no_velocity():
    points = [[0.0, 0.0, 0.0], [0.5, 0.0, 0.0], [3.0, 0.0, 0.0]]
    for core in (0.0, 0.2):
        found = vortex_line(np.zeros(3), np.array([1.0, 0.0, 0.0]), 1.0, points, core)
        assert np.array_equal(found, np.zeros((3, 3)))


def test_smoothed_line_has_no_divergence():
    random = np.random.default_rng(6)
    points = random.uniform(-1.0, 1.0, (100, 3))

    def field(places):
        return vortex_line(np.array([0.1, 0.0, -0.4]), unit([0.2, 0.3, 1.0]), 0.8, places, 0.1)

    assert np.abs(divergence(field, points)).max() < 1e-5
