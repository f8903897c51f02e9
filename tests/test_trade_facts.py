"""Signs that every builder of tractor noses knows, on the tug and on three random noses.

All are marked: common practice, no source. They are checks of signs, not of numbers: the bands of
the trade are wide, and none of them enters the program.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from panelcp.flow.solutions import solve, solve_conditions
from panelcp.flow.superposition import superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.panels.solving import solve_units
from panelcp.quantity import UncertainValue
from panelcp.surface.intake import read_surface
from tests.noses import random_nose

TUG = Path(__file__).parent.parent / "geometries" / "glider_tug" / "cowl.stl"
LEVEL, NOSE_UP = FlightCondition("level", 40.0, alpha=1.0), FlightCondition("up", 40.0, alpha=8.0)
FROM_RIGHT = FlightCondition("sideslip", 40.0, alpha=1.0, beta=10.0)

PULLING, CLIMBING = (
    FlightCondition(f"power, alpha {alpha:g}", 36.0, alpha=alpha, power=1.0) for alpha in (1.0, 8.0)
)
RUN_UP = FlightCondition("run-up", ground_speed=0.0, power=1.0)
PROPELLER = Propeller(
    1.9, [-0.08, 0.0, 0.0], "clockwise", UncertainValue(0.85), 2300.0 * np.pi / 30.0
)
WING = Wing(10.0, 12.5, [1.5, 0.0, -0.4], 750.0)
AROUND = Surroundings(PROPELLER, WING, rated_power=105e3)


@pytest.fixture(scope="module", params=["tug", 11, 12, 13])
def nose(request):
    """Control points, normals, areas, and Cp in level flight, nose up and in sideslip."""
    body = read_surface(TUG, unit="mm") if request.param == "tug" else random_nose(request.param)
    units = solve_units(body)
    cp = superpose(units, [LEVEL, NOSE_UP, FROM_RIGHT]).cp
    return units.panels, cp


def mean(panels, cp, where):
    assert where.any()
    return float(cp[where] @ panels.areas[where] / panels.areas[where].sum())


def top_line(panels, start, end):
    x, y, _ = panels.points.T
    return (np.abs(y) < 0.15) & (panels.normals[:, 2] > 0.3) & (x > start) & (x < end)


def test_pressure_is_high_at_the_windshield_base(nose):
    panels, (level, _, _) = nose
    top = top_line(panels, 0.7, 1.8)
    base = panels.points[top][np.argmax(level[top])]
    assert level[top].max() > 0.2
    beside = top_line(panels, base[0] - 0.06, base[0] + 0.06)
    assert mean(panels, level, beside) > 0.15


def test_suction_behind_the_nose_shoulder_on_top(nose):
    panels, (level, _, _) = nose
    assert level[top_line(panels, 0.03, 0.30)].min() < -0.3
    assert mean(panels, level, top_line(panels, 0.05, 0.30)) < -0.1


def test_inlet_faces_beside_the_spinner_are_near_stagnation(nose):
    panels, (level, _, _) = nose
    x, y, z = panels.points.T
    face = (panels.normals[:, 0] < -0.9) & (x > -0.01) & (x < 0.1)
    face &= (np.abs(y) > 0.17) & (np.abs(y) < 0.26) & (np.abs(z) < 0.08)
    assert mean(panels, level, face) > 0.6


def test_nose_up_raises_the_bottom_and_lowers_the_crown_of_the_cowl(nose):
    panels, (level, up, _) = nose
    x = panels.points[:, 0]
    cowl = (x > 0.1) & (x < 0.9)
    bottom = cowl & (panels.normals[:, 2] < -0.7)
    crown = top_line(panels, 0.1, 0.5)
    assert mean(panels, up, bottom) > mean(panels, level, bottom) + 0.02
    assert mean(panels, up, crown) < mean(panels, level, crown) - 0.02


def test_sideslip_raises_the_windward_side_and_lowers_the_lee_side(nose):
    panels, (level, _, slip) = nose
    x = panels.points[:, 0]
    cowl = (x > 0.1) & (x < 0.9)
    right, left = cowl & (panels.normals[:, 1] > 0.8), cowl & (panels.normals[:, 1] < -0.8)
    assert mean(panels, slip, right) > mean(panels, level, right) + 0.02
    assert mean(panels, slip, left) < mean(panels, level, left) - 0.02


def test_both_sides_agree_without_sideslip(nose):
    panels, (level, up, _) = nose
    half = len(panels.areas) // 2
    for cp in (level, up):
        assert cp[:half] == pytest.approx(cp[half:], abs=1e-12)


@pytest.fixture(scope="module", params=["tug", 11])
def washed(request):
    """Solutions of a nose behind its propeller, ahead of its wing: level, nose up, run-up."""
    body = read_surface(TUG, unit="mm") if request.param == "tug" else random_nose(request.param)
    return solve_conditions(body, [PULLING, CLIMBING, RUN_UP], AROUND)


def sides(panels):
    """Panels of the cowl's right and left side."""
    cowl = (panels.points[:, 0] > 0.1) & (panels.points[:, 0] < 0.9)
    return cowl & (panels.normals[:, 1] > 0.8), cowl & (panels.normals[:, 1] < -0.8)


def with_and_without(washed, effect):
    """Gauge pressure over q of the climb, with all effects and without one."""
    q = CLIMBING.dynamic_pressure
    return washed.flow().gauge_pressure / q, washed.flow_with(
        AROUND.without(effect)
    ).gauge_pressure / q


def test_slipstream_raises_the_pressure_at_inlets_in_the_front_face(washed):
    panels = washed.main.panels
    x, y, z = panels.points.T
    radius = np.hypot(y, z)
    inlet = (panels.normals[:, 0] < -0.6) & (x > -0.01) & (x < 0.15)
    inlet &= (radius > 0.26) & (radius < 0.36)
    washed_by, free = with_and_without(washed, "slipstream")
    for condition in (0, 1):
        gain = mean(panels, washed_by[condition], inlet) - mean(panels, free[condition], inlet)
        # at 0.3 to 0.4 of the propeller's radius between nothing and half of the mean rise
        assert 0.1 < gain < 0.5 * washed.flow().mean_rise[condition] / PULLING.dynamic_pressure
    # and in the run-up, where nothing else moves the air
    assert mean(panels, washed_by[2], inlet) > 0.05
    assert not free[2].any()


def test_slipstream_presses_on_the_outer_cowl_too(washed):
    panels = washed.main.panels
    washed_by, free = with_and_without(washed, "slipstream")
    x = panels.points[:, 0]
    bottom = (x > 0.1) & (x < 0.9) & (panels.normals[:, 2] < -0.7)
    for condition in range(3):
        assert (
            mean(panels, washed_by[condition], bottom) > mean(panels, free[condition], bottom) + 0.1
        )


def test_swirl_makes_right_and_left_differ(washed):
    # clockwise seen from behind: down on the right, up on the left, where with the nose up it adds
    # to the air that comes from below
    panels = washed.main.panels
    right, left = sides(panels)
    swirling, straight = with_and_without(washed, "swirl")
    for condition in range(3):
        alone = mean(panels, straight[condition], right) - mean(panels, straight[condition], left)
        assert alone == pytest.approx(0.0, abs=1e-3)
    difference = mean(panels, swirling[1], right) - mean(panels, swirling[1], left)
    assert 0.1 < difference < 0.6


def test_right_and_left_change_places_with_the_sense_of_rotation():
    body = random_nose(12)
    right, left = sides(solve_units(body).panels)
    other = replace(AROUND, propeller=replace(PROPELLER, rotation="counter-clockwise"))
    clockwise, counter = (solve(body, [CLIMBING], around) for around in (AROUND, other))
    areas = body.areas

    def part(flow, where):
        return flow.gauge_pressure[0, where] @ areas[where] / areas[where].sum()

    assert part(clockwise, right) > part(clockwise, left) + 0.1 * CLIMBING.dynamic_pressure
    assert part(counter, left) == pytest.approx(part(clockwise, right), abs=0.5)
    assert part(counter, right) == pytest.approx(part(clockwise, left), abs=0.5)


def test_nose_up_raises_the_bottom_and_lowers_the_crown_behind_a_propeller_too(washed):
    panels = washed.main.panels
    level, up, _ = washed.flow().gauge_pressure / CLIMBING.dynamic_pressure
    x = panels.points[:, 0]
    bottom = (x > 0.1) & (x < 0.9) & (panels.normals[:, 2] < -0.7)
    crown = top_line(panels, 0.1, 0.5)
    assert mean(panels, up, bottom) > mean(panels, level, bottom) + 0.02
    assert mean(panels, up, crown) < mean(panels, level, crown) - 0.02


def test_wing_behind_the_cowl_raises_its_incidence(washed):
    panels = washed.main.panels
    lifting, free = with_and_without(washed, "wing")
    x = panels.points[:, 0]
    bottom = (x > 0.1) & (x < 0.9) & (panels.normals[:, 2] < -0.7)
    crown = top_line(panels, 0.1, 0.5)
    for condition in (0, 1):
        assert (
            mean(panels, lifting[condition], bottom) > mean(panels, free[condition], bottom) + 0.02
        )
        assert mean(panels, lifting[condition], crown) < mean(panels, free[condition], crown) - 0.02
    # on the wheels it lifts nothing
    assert lifting[2] == pytest.approx(free[2], abs=1e-12)
    onset = washed.parts[0].onset
    ahead = onset.velocity([[-0.3, 0.0, 0.0]])[onset.names.index("wing"), 0]
    upwash = np.degrees(onset.circulation[0] * ahead[2] / PULLING.speed)
    assert 0.5 < upwash < 4.0


def test_bodies_behind_a_propeller_have_no_net_source(washed):
    units = washed.main
    strength = units.source_strength[3:]
    net = np.abs(strength @ units.panels.areas) / (np.abs(strength) @ units.panels.areas)
    assert net.max() < 1e-3
