"""Streamlines on the skin against exact flows."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from panelcp.errors import FlowError
from panelcp.flow.streamlines import (
    ENDS,
    SkinVelocity,
    Streamlines,
    skin_velocity,
    stagnation_points,
    trace,
)
from tests import bodies
from tests.exact import (
    SPHERE,
    ellipsoid_velocity,
    interior_velocity,
    onto_ellipsoid,
    stream,
)

GENERAL = stream(8.0, 5.0)
TRIAXIAL = (3.0, 2.0, 1.0)


def exact_velocity(axes, level):
    """Body and its skin velocity, exact at the vertices."""
    surface = bodies.ellipsoid(axes, level)
    corners = onto_ellipsoid(axes, surface.corners.reshape(-1, 3))
    velocity = ellipsoid_velocity(axes, GENERAL, corners)
    return SkinVelocity(surface, velocity.reshape(-1, 3, 3))


def off_plane(lines: Streamlines) -> np.ndarray:
    """Distance of the lines on a sphere from the meridian plane of their start."""
    axis = GENERAL / np.linalg.norm(GENERAL)
    first = np.cross(axis, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    turn = np.arctan2(lines.points @ second, lines.points @ first)
    radius = np.linalg.norm(lines.points - (lines.points @ axis)[..., None] * axis, axis=2)
    return np.angle(np.exp(1j * (turn - turn[:, :1]))) * radius


def test_lines_on_a_sphere_are_meridians_to_second_order():
    errors = []
    for level in (2, 3, 4):
        velocity = exact_velocity(SPHERE, level)
        lines = trace(velocity, np.arange(velocity.surface.n_panels))
        assert (lines.end == ENDS.index("at rest")).all()
        errors.append(np.sqrt(np.nanmean(off_plane(lines) ** 2)))
    assert errors[-1] < 1e-4
    assert np.log2(errors[0] / errors[1]) > 1.8
    assert np.log2(errors[1] / errors[2]) > 1.8


def test_strips_on_a_sphere_widen_with_the_radius():
    velocity = exact_velocity(SPHERE, 4)
    lines = trace(velocity, np.arange(0, velocity.surface.n_panels, 7))
    axis = GENERAL / np.linalg.norm(GENERAL)
    radius = np.linalg.norm(lines.points - (lines.points @ axis)[..., None] * axis, axis=2)
    error = lines.spreading * radius[:, :1] / radius - 1.0
    # near the stagnation points the radius itself is no larger than a panel
    assert np.nanmax(np.abs(error[(radius > 0.2) & (radius[:, :1] > 0.2)])) < 0.02
    # speed 1.5 sin, distance along the meridian
    assert np.nanmax(np.abs(lines.speed - 1.5 * radius)) < 0.003
    height = lines.points @ axis / np.linalg.norm(lines.points, axis=2)
    angle = np.arccos(np.clip(height, -1.0, 1.0))
    assert np.nanmax(np.abs(lines.distance - (angle[:, :1] - angle))) < 0.01


@pytest.mark.parametrize("upstream", [False, True])
def test_lines_on_an_ellipsoid_against_the_exact_equation(upstream):
    # dx/dt = V - (V.n) n, by scipy's Runge-Kutta of order 8 (Dormand and Prince)
    velocity, sign = exact_velocity(TRIAXIAL, 5), -1.0 if upstream else 1.0
    panels = np.array([10, 500, 4321, 9000, 15000])
    lines = trace(velocity, panels, upstream=upstream)
    for line in range(len(panels)):
        start = onto_ellipsoid(TRIAXIAL, lines.points[line, 0])
        count = lines.count[line]

        def rate(_, x):
            return sign * ellipsoid_velocity(TRIAXIAL, GENERAL, x)

        exact = solve_ivp(rate, (0.0, 8.0), start, "DOP853", rtol=1e-9, atol=1e-11, max_step=0.02)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(exact.y, axis=1), axis=0))])
        middle = slice(0, int(0.7 * count))
        place = np.stack(
            [np.interp(lines.distance[line, middle], along, exact.y[k]) for k in range(3)], axis=1
        )
        assert np.linalg.norm(place - lines.points[line, middle], axis=1).max() < 0.01


def test_stagnation_points_of_an_ellipsoid():
    # x_i = -+ a_i^2 V_i / sqrt(sum a_j^2 V_j^2): H. Lamb, Hydrodynamics, 6th ed., 1932, Arts.
    # 111-115 (from memory), V the constant velocity inside the source layer
    inner = interior_velocity(TRIAXIAL, GENERAL)
    axes = np.array(TRIAXIAL)
    place = axes**2 * inner / np.sqrt((axes**2 * inner**2).sum())
    found = stagnation_points(exact_velocity(TRIAXIAL, 4))
    assert sorted(found.kind) == ["attachment", "separation"]
    for kind, sign in (("attachment", -1.0), ("separation", 1.0)):
        point = found.points[found.kind.index(kind)]
        assert point == pytest.approx(sign * place, abs=0.02)


def test_saddle_between_two_bodies_flows():
    # on the side of a flat box: a stream against a source makes a saddle, and the source a node
    surface = bodies.box(size=(2.0, 1.0, 2.0), steps=(30, 2, 30))
    x, _, z = np.moveaxis(surface.corners, 2, 0)
    side = surface.normals[:, 1] > 0.5
    velocity = np.zeros(surface.corners.shape)
    offset = np.stack([x - 0.013, 0.0 * x, z - 0.021], axis=2)
    distance2 = (offset**2).sum(axis=2, keepdims=True) + 0.1**2
    velocity[..., 0] = 1.0
    velocity += 0.6 * offset / distance2
    velocity[~side] = 1.0  # elsewhere nothing of interest
    found = stagnation_points(SkinVelocity(surface, velocity))
    here = [
        (kind, point)
        for kind, point, panel in zip(found.kind, found.points, found.panels, strict=True)
        if side[panel]
    ]
    assert sorted(kind for kind, _ in here) == ["attachment", "saddle"]
    # 1 = 0.6 d / (d^2 + 0.01) ahead of the source
    d = 0.3 + np.array([-1.0, 1.0]) * np.sqrt(0.09 - 0.01)
    places = {"attachment": 0.013 - d[0], "saddle": 0.013 - d[1]}
    for kind, point in here:
        assert point[0] == pytest.approx(places[kind], abs=0.02)
        assert point[2] == pytest.approx(0.021, abs=0.02)


def test_capture_tube_of_a_sink_in_a_wall():
    # U = 40 m/s along a wall with a sink of 0.5 m3/s: stagnation at sqrt(Q / (2 pi U)) behind it;
    # the dividing line far ahead lies sqrt(2 Q / (pi U)) aside (derived, half-space point sink)
    flow, speed = 0.5, 40.0
    behind, aside = np.sqrt(flow / (2 * np.pi * speed)), np.sqrt(2 * flow / (np.pi * speed))
    surface = bodies.box(size=(4.0, 0.5, 0.6), steps=(400, 2, 60))
    corners = surface.corners - [1.5, 0.0, 0.0]
    offset = corners * [1.0, 0.0, 1.0]
    distance = np.linalg.norm(offset, axis=2, keepdims=True)
    velocity = [speed, 0.0, 0.0] - flow / (2 * np.pi) * offset / np.maximum(distance, 1e-3) ** 3
    field = SkinVelocity(surface, velocity)
    wall = np.flatnonzero(surface.normals[:, 1] > 0.5)
    start = np.array([1.5 + behind, 0.25, 0.004])
    near = wall[np.linalg.norm(surface.centroids[wall] - start, axis=1).argmin()]
    lines = trace(field, [near], start[None], upstream=True, n_points=2000)
    far = lines.points[0, : lines.count[0]]
    far = far[far[:, 0] < -1.0]
    assert len(far) > 10
    # finite length ahead: the tube still is a little narrower there; panels of 10 mm
    assert far[:, 2] == pytest.approx(np.full(len(far), aside), abs=0.004)


def test_lines_back_and_forth_are_the_same():
    velocity = exact_velocity(TRIAXIAL, 4)
    back = trace(velocity, [1000, 2000, 3000], upstream=True)
    forward = back.reversed
    assert forward.count.tolist() == back.count.tolist()
    for line in range(3):
        n = back.count[line]
        assert forward.points[line, :n].tolist() == back.points[line, :n][::-1].tolist()
        assert forward.distance[line, 0] == 0.0
        assert forward.distance[line, n - 1] == back.distance[line, n - 1]
        assert forward.spreading[line, 0] == pytest.approx(1.0)
        assert np.isnan(forward.speed[line, n:]).all()
    # on from half way: the start is met again
    half, rows = back.count // 2, np.arange(3)
    again = trace(velocity, back.panels[rows, half], back.points[rows, half])
    for line in range(3):
        gap = np.linalg.norm(again.points[line] - back.points[line, 0], axis=1)
        assert np.nanmin(gap) < 0.04  # points lie up to half a panel, 0.06, apart


def test_lines_end_at_the_greatest_length_or_number_of_points():
    velocity = exact_velocity(TRIAXIAL, 3)
    lines = trace(velocity, [100, 200], longest=0.5)
    assert (lines.end == ENDS.index("length")).all()
    assert (lines.distance.max(axis=1, where=~np.isnan(lines.distance), initial=0) >= 0.5).all()
    short = trace(velocity, [100, 200], n_points=7)
    assert short.count.tolist() == [7, 7]
    assert (short.end == ENDS.index("full")).all()


def test_panel_values_give_the_same_lines():
    surface = bodies.ellipsoid(SPHERE, 4)
    from panelcp.surface.curved import curved_panels

    points = onto_ellipsoid(SPHERE, curved_panels(surface).points)
    field = skin_velocity(surface, ellipsoid_velocity(SPHERE, GENERAL, points))
    lines = trace(field, np.arange(0, surface.n_panels, 5))
    assert np.sqrt(np.nanmean(off_plane(lines) ** 2)) < 1e-4


def test_lines_cross_the_edges_of_a_box():
    surface = bodies.box()
    corner = np.tile([1.0, 0.0, 0.3], (surface.n_panels, 3, 1))
    lines = trace(SkinVelocity(surface, corner), np.arange(surface.n_panels))
    assert set(lines.end) <= {ENDS.index("stuck"), ENDS.index("at rest")}
    # all end on the rear face's upper edge or corner, but for those that cannot leave a face
    assert (lines.last_point[:, 0] > 0.9).mean() > 0.9


def test_air_at_rest_gives_lines_of_one_point():
    surface = bodies.ellipsoid(SPHERE, 2)
    corner = np.zeros((surface.n_panels, 3, 3))
    corner[:100, :, 0] = 1.0
    lines = trace(SkinVelocity(surface, corner), [200, 250])
    assert lines.count.tolist() == [1, 1]
    assert lines.spreading[:, 0].tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("panels", "points", "words"),
    [
        ([99999], None, "not among the"),
        ([-1], None, "not among the"),
        ([0], [[0.0, 0.0]], "expected"),
        ([0], [[np.nan, 0.0, 0.0]], "finite"),
    ],
)
def test_bad_starts(panels, points, words):
    with pytest.raises(FlowError, match=words):
        trace(exact_velocity(SPHERE, 2), panels, points)


def test_velocity_of_wrong_shape():
    with pytest.raises(FlowError, match="expected"):
        skin_velocity(bodies.ellipsoid(SPHERE, 2), np.zeros((5, 3)))
