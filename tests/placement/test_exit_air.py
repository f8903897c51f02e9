"""Traces of exit air and static-port errors."""

import numpy as np
import pytest

from panelcp.flow.solutions import solve
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.exit_air import Target, exit_air, static_port_errors, targets_of
from panelcp.placement.ranking import opening_pressures
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies

AHEAD = FlightCondition("ahead", true_airspeed=40.0)
ASIDE = FlightCondition("aside", true_airspeed=40.0, beta=20.0)
REST = FlightCondition("rest", true_airspeed=0.0)
CONDITIONS = (AHEAD, ASIDE, REST)


@pytest.fixture(scope="module")
def body():
    return bodies.ellipsoid((2.0, 0.5, 0.5), 4)


@pytest.fixture(scope="module")
def openings(body):
    finder = SkinFinder(body)

    def lay(name, place, use):
        return lay_opening(finder, name, place, 0.1, 0.1, use=use)

    return {
        "top exit": lay("top exit", (-1.0, 0.0, 0.43), "exit"),
        "cabin": lay("cabin", (0.5, 0.0, 0.48), "cabin"),
        "fresh": lay("fresh", (0.5, 0.48, 0.0), "fresh air"),
        "port": lay("port", (0.0, -0.5, 0.0), "static port"),
        "nose": lay("nose", (-1.9, 0.0, 0.15), "inlet"),
        "pipe": lay("pipe", (-0.5, 0.0, -0.48), "exhaust"),
    }


@pytest.fixture(scope="module")
def flow(body):
    return solve(body, CONDITIONS)


def hits_of(flow, openings, names=("top exit",), **options):
    targets = targets_of(flow.surface, list(openings.values()))
    return exit_air(flow, [openings[name] for name in names], targets, **options)


def test_targets_are_what_hot_air_should_not_reach(body, openings):
    kinds = {t.name: t.kind for t in targets_of(body, list(openings.values()))}
    assert kinds == {
        "cabin": "cabin opening",
        "fresh": "fresh-air inlet",
        "port": "static port",
        "nose": "cooling-air inlet",
    }


def test_air_straight_aft_reaches_what_lies_there(flow, openings):
    (hit,) = [h for h in hits_of(flow, openings) if h.condition == 0 and h.reached]
    assert hit.target == "cabin"
    # along the meridian z(x) of the ellipsoid, less the half lengths of both openings
    x = np.linspace(-0.95, 0.5, 2001)
    arc = np.hypot(np.diff(x), np.diff(0.5 * np.sqrt(1.0 - x**2 / 4.0))).sum()
    assert 0.9 * arc < hit.way < 1.3 * arc
    growth = 0.2
    assert hit.clearance <= -0.05 - growth * (hit.way - 0.2)


def test_without_growth_the_middle_line_comes_as_near_as_geometry_says(flow, openings):
    (hit,) = [h for h in hits_of(flow, openings, growth=0.0) if h.condition == 0 and h.reached]
    # the middle line runs through the target's centre: clearance is less its half size, up to the
    # distance between points of the line (panels of 60 mm)
    assert hit.clearance == pytest.approx(-0.05, abs=0.03)


def test_wind_aside_carries_the_air_away(flow, openings):
    ahead = [h for h in hits_of(flow, openings, growth=0.0, nearest=9.0) if h.target == "fresh"]
    by_condition = {h.condition: h.clearance for h in ahead}
    # wind from the right carries the air to the left, away from the right side
    assert by_condition[1] > by_condition[0]
    assert 2 not in by_condition  # no air moves


def test_inlet_ahead_of_the_exit_is_never_reached(flow, openings):
    hits = hits_of(flow, openings, names=("pipe", "top exit"), nearest=9.0)
    nose = [h for h in hits if h.target == "nose"]
    assert nose
    assert not any(h.reached for h in nose)


def test_pressure_difference_is_that_of_the_patches(flow, openings):
    (hit,) = [h for h in hits_of(flow, openings) if h.condition == 0 and h.target == "cabin"]
    group = [openings["top exit"], openings["cabin"]]
    outlet, cabin = opening_pressures(flow, group, [0.0, 0.0]).patch_pressure[0]
    assert hit.pressure_difference == pytest.approx(outlet - cabin)


def test_windshield_regions_and_wing_roots_are_targets(body, flow, openings):
    index = (body.centroids[:, 0] > 0.5).astype(int)
    named = body.with_regions(index, ["unnamed", "windshield pocket"])
    targets = targets_of(named, [openings["top exit"]], wing_centre=(0.2, 0.0, -0.1))
    kinds = [t.kind for t in targets]
    assert kinds == ["windshield", "wing root", "wing root"]
    assert len(targets[0].points) == index.sum()
    right, left = targets[1].points[0], targets[2].points[0]
    assert right == pytest.approx([0.2, 0.49, -0.1], abs=0.06)
    assert left == pytest.approx([0.2, -0.49, -0.1], abs=0.06)
    hits = exit_air(flow, [openings["top exit"]], targets)
    reached = [h for h in hits if h.condition == 0 and h.target == "windshield pocket"]
    assert reached[0].reached
    assert np.isnan(reached[0].pressure_difference)


def test_an_exit_is_no_target_of_its_own(flow, openings):
    cabin = openings["cabin"]
    own = Target("cabin", "cabin opening", cabin.centre[None], 0.05, cabin)
    assert exit_air(flow, [cabin], [own]) == []


def test_static_port_errors_by_hand(body, openings):
    # a port with -10 % of q: shown q is 1.1 of the true one; at sea level 38.4 m of height per
    # 461 Pa: dp / (rho g)
    q = AHEAD.dynamic_pressure
    speed = np.sqrt(2.2 * q / AHEAD.air.density)
    velocity = np.tile([speed, 0.0, 0.0], (1, body.n_panels, 1))
    flow = SurfaceFlow(body, (AHEAD,), velocity, np.full((1, body.n_panels), -0.1 * q))
    errors = static_port_errors(flow, [openings["port"]])
    assert errors.names == ("port",)
    assert errors.pressure == pytest.approx(-0.1 * q)
    assert errors.airspeed == pytest.approx(40.0 * (np.sqrt(1.1) - 1.0), rel=1e-3)
    assert errors.altitude == pytest.approx(0.1 * q / (AHEAD.air.density * 9.80665))


def test_static_port_where_nothing_can_be_shown(body, openings):
    flow = SurfaceFlow(
        body, (REST,), np.zeros((1, body.n_panels, 3)), np.full((1, body.n_panels), 5.0)
    )
    assert np.isnan(static_port_errors(flow, [openings["port"]]).airspeed).all()
