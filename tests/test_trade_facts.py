"""Signs that every builder of tractor noses knows, on the tug and on three random noses.

All are marked: common practice, no source. They are checks of signs, not of numbers: the bands of
the trade are wide, and none of them enters the program.
"""

from pathlib import Path

import numpy as np
import pytest

from panelcp.flow.superposition import superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.panels.solving import solve_units
from panelcp.surface.intake import read_surface
from tests.noses import random_nose

TUG = Path(__file__).parent.parent / "geometries" / "glider_tug" / "cowl.stl"
LEVEL, NOSE_UP = FlightCondition("level", 40.0, alpha=1.0), FlightCondition("up", 40.0, alpha=8.0)
FROM_RIGHT = FlightCondition("sideslip", 40.0, alpha=1.0, beta=10.0)


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
