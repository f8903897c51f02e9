"""Curves against fresh solutions, against the ranking they start from, and against exact flows.

Tolerances: 1e-9 q where the same sum is made in another order (its solutions end at 1e-6 of the
residual, but both sides use the same ones, or the same equations on the same panels).
"""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.flow.solutions import solve, solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.placement.bands import (
    COMMON,
    PressureSamples,
    UncertainAir,
    mixing_kind,
    patch_forms,
    patch_kind,
)
from panelcp.placement.curves import (
    SIDE_ORDER,
    SkinLine,
    chosen_pairs,
    curves_of,
    line_points,
    opening_line,
    pressure_line,
    side_table,
    station_below_cp,
    station_enough,
    widest_height,
    windshield_foot,
)
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.placement.sweeps import (
    AIRSPEED,
    ALPHA,
    BEARING,
    FACTOR,
    POWER,
    SIDESLIP,
    USUAL_WIND,
    VALUES,
    can_sweep,
    sweep,
    sweep_base,
)
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies

CLIMB = FlightCondition("climb", true_airspeed=35.0, alpha=5.0, power=1.0, needed_pressure=400.0)
HALF = replace(CLIMB, name="half", power=0.5, needed_pressure=150.0)
CRUISE = replace(CLIMB, name="cruise", true_airspeed=50.0, alpha=1.0, power=0.7)
ROLL = FlightCondition("roll", ground_speed=12.0, wind_speed=4.0, attitude=4.0, decides=False)
CROSS = replace(ROLL, name="cross", wind_from=40.0)
CONDITIONS = (CLIMB, HALF, CRUISE, ROLL, CROSS)
PROPELLER = Propeller(
    1.8, (-2.2, 0.0, 0.0), "clockwise", UncertainValue(0.8), rotational_speed=250.0
)
WING = Wing(9.0, 11.0, (0.3, 0.0, -0.3), 600.0)
AROUND = Surroundings(PROPELLER, WING, rated_power=75e3)
PLACES = {
    "nose": (-1.9, 0.0, -0.16),
    "top": (-1.2, 0.0, 0.4),
    "bottom": (-1.0, 0.0, -0.43),
    "right": (-0.6, 0.47, 0.0),
    "left": (-0.6, -0.47, 0.0),
}
ETA = [0.8]


@pytest.fixture(scope="module")
def body():
    vertices, triangles = bodies.icosphere(3)
    return SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles)


@pytest.fixture(scope="module")
def openings(body):
    finder = SkinFinder(body)
    return [
        lay_opening(finder, name, place, 0.1, 0.1, use="inlet" if name == "nose" else "exit")
        for name, place in PLACES.items()
    ]


def ranked(flow, openings, **more):
    return rank_openings(
        flow,
        openings[:1],
        openings[1:],
        ETA,
        [0.1],
        needed_deviation=[50.0] * len(flow.conditions),
        **more,
    )


def base_of(body, openings, conditions, around=None, **more):
    """SweepBase of the first condition, and the ranking."""
    solutions = solve_conditions(body, conditions, around)
    flow = solutions.flow()
    ranking = ranked(flow, openings)
    return sweep_base(solutions, flow, ranking, condition=0, **more), ranking


@pytest.fixture(scope="module")
def blown(body, openings):
    return base_of(body, openings, CONDITIONS, AROUND)


@pytest.fixture(scope="module")
def still(body, openings):
    """Neither propeller nor wing."""
    return base_of(body, openings, [replace(CLIMB, power=None)])


def fresh(body, found, around=None):
    """(n_pairs, n) Pa: exit pressures of a sweep, each value solved anew."""
    conditions = [replace(c, name=f"value {k}") for k, c in enumerate(found.conditions)]
    flow = solve(body, conditions, around)
    zero = np.zeros(len(found.exits))
    return opening_pressures(flow, found.exits, zero).patch_pressure.T


# --- sweeps --------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", [SIDESLIP, ALPHA, POWER, FACTOR, AIRSPEED])
def test_a_sweep_starts_from_the_ranking(blown, quantity):
    base, ranking = blown
    found = sweep(base, quantity)
    at = int(np.flatnonzero(found.values == found.base_value)[0])
    assert found.available[:, at] == pytest.approx(ranking.available[0, base.pairs], rel=1e-9)
    exits = ranking.exits.patch_pressure[0, ranking.exit_index[base.pairs]]
    assert found.exit_pressure[:, at] == pytest.approx(exits, rel=1e-9)
    assert found.unmatched[at] == 0.0
    assert found.needed[at] == pytest.approx(400.0)
    assert (np.diff(found.values) > 0.0).all()


@pytest.mark.parametrize(("quantity", "values"), [(SIDESLIP, [-15.0, 7.0]), (ALPHA, [-6.0, 12.0])])
def test_turned_streams_are_fresh_solutions(body, openings, still, quantity, values):
    base, _ = still
    found = sweep(base, quantity, values)
    error = np.abs(found.exit_pressure - fresh(body, found))
    assert error.max() < 1e-9 * CLIMB.dynamic_pressure
    assert found.exit_cp == pytest.approx(found.exit_pressure / CLIMB.dynamic_pressure)


def test_turned_streams_with_a_wing_are_fresh_solutions(body, openings):
    around = Surroundings(wing=WING)
    base, _ = base_of(body, openings, [replace(CLIMB, power=None)], around)
    found = sweep(base, SIDESLIP, [9.0])
    error = np.abs(found.exit_pressure - fresh(body, found, around))
    assert error.max() < 1e-9 * CLIMB.dynamic_pressure


def test_the_other_side_feels_the_other_sideslip(still):
    base, ranking = still
    found = sweep(base, SIDESLIP)
    names = [ranking.exit(pair).name for pair in base.pairs]
    right, left = (found.available[names.index(side)] for side in ("right", "left"))
    assert right == pytest.approx(left[::-1], abs=2e-3 * CLIMB.dynamic_pressure)
    # slender body (Munk, from memory): Cp changes by 4 beta dr/dx = 0.082 to each side
    change = (left[-1] - left[0]) / CLIMB.dynamic_pressure
    assert change == pytest.approx(2 * 4 * np.radians(15) * 0.25 * 0.3 / np.sqrt(0.91), rel=0.15)


def test_a_power_that_was_solved_is_met(blown):
    base, ranking = blown
    found = sweep(base, POWER, [0.5])
    assert found.available[:, 0] == pytest.approx(ranking.available[1, base.pairs], rel=1e-9)
    assert found.unmatched[0] == 0.0
    assert found.needed[0] == pytest.approx(400.0 * 0.5**1.7)


def test_other_powers_and_speeds_are_nearly_fresh_solutions(body, blown):
    """Found: power 2e-6 q at 30 %, 8e-6 at 80 %; airspeed 4e-6; sideslip 3e-4."""
    base, _ = blown
    jobs = ((POWER, [0.0, 0.3, 0.8], 3e-5), (AIRSPEED, [42.0], 3e-5), (SIDESLIP, [12.0], 1e-3))
    for quantity, values, most in jobs:
        found = sweep(base, quantity, values)
        q = np.array([c.dynamic_pressure for c in found.conditions])
        error = np.abs(found.exit_pressure - fresh(body, found, AROUND)) / q
        assert error.max() < most
        assert found.unmatched.max() < 1e-3


def test_a_slipstream_alone_serves_for_other_powers(body, openings):
    """With one stored slipstream its shape over the radius is kept: 1.2 % of it, 1.4e-3 q."""
    base, _ = base_of(body, openings, [CLIMB], AROUND)
    found = sweep(base, POWER, [0.3])
    error = np.abs(found.exit_pressure - fresh(body, found, AROUND)).max()
    assert found.unmatched[0] == pytest.approx(0.012, abs=0.001)
    assert error < 3e-3 * CLIMB.dynamic_pressure


def test_the_slipstream_factor_is_that_of_the_solutions(blown, openings):
    base, _ = blown
    found = sweep(base, FACTOR, [0.0, 0.6, 1.3])
    for k, factor in enumerate(found.values):
        flow = base.solutions.flow_with(replace(AROUND, factor=float(factor)))
        air = opening_pressures(flow, found.exits, np.zeros(4)).patch_pressure[0]
        assert found.exit_pressure[:, k] == pytest.approx(air, abs=1e-9 * CLIMB.dynamic_pressure)


def test_pressures_go_with_the_square_of_the_speed(still):
    base, _ = still
    found = sweep(base, AIRSPEED, [20.0, 60.0])
    cp = found.exit_cp
    assert cp[:, 0] == pytest.approx(cp[:, -1], abs=1e-12)
    assert found.available[:, 0] * 9.0 == pytest.approx(found.available[:, -1])


def test_the_angle_of_attack_follows_the_lift(blown):
    """CL 0.713 at 35 m/s and 0.546 at 40: 0.167 over 2 pi A / (A + 2), A = 7.36, is 1.94 deg."""
    base, _ = blown
    found = sweep(base, AIRSPEED, [10.0, 40.0])
    assert found.values.tolist() == [35.0, 40.0]  # at 10 m/s the wing stalls
    lift = 600.0 * 9.80665 / (0.5 * CLIMB.air.density * 11.0)
    change = lift / 40.0**2 - lift / 35.0**2
    slope = 2.0 * np.pi / (1.0 + 2.0 / (81.0 / 11.0))
    alpha = 5.0 + np.degrees(change / slope)
    assert found.conditions[1].alpha == pytest.approx(alpha, abs=1e-9)
    assert alpha == pytest.approx(5.0 - 1.94, abs=0.01)


def test_calibrated_airspeed_stays_calibrated(body, openings):
    condition = FlightCondition("hot", calibrated_airspeed=32.0, day="hot day", needed_pressure=9.0)
    base, _ = base_of(body, openings, [condition])
    found = sweep(base, AIRSPEED, [40.0])
    assert found.base_value == 32.0
    assert found.conditions[-1].calibrated_airspeed == 40.0
    assert found.conditions[-1].true_airspeed is None


def test_the_wind_turns_round_the_ground_condition(blown, openings):
    blown_base, ranking = blown
    flow = blown_base.solutions.flow()
    base = sweep_base(blown_base.solutions, flow, ranking, condition=3)
    found = sweep(base, BEARING, [0.0, 40.0])
    assert found.available[:, 0] == pytest.approx(ranking.available[3, base.pairs], rel=1e-9)
    assert found.available[:, 1] == pytest.approx(ranking.available[4, base.pairs], rel=1e-9)
    assert np.isnan(found.exit_cp).all()
    other = sweep(base, BEARING, [0.0], wind_speed=USUAL_WIND)
    assert np.isnan(other.base_value)
    q = other.conditions[0].dynamic_pressure
    assert q == pytest.approx(0.5 * 1.225 * (12.0 + USUAL_WIND) ** 2)
    share = q / found.conditions[0].dynamic_pressure
    assert other.available[:, 0] == pytest.approx(share * found.available[:, 0])


def test_what_means_nothing_is_refused(still, blown):
    base, _ = still
    assert [quantity for quantity in VALUES if can_sweep(base, quantity)] == [
        *(SIDESLIP, ALPHA, AIRSPEED)
    ]
    with pytest.raises(PlacementError, match="power means nothing in climb"):
        sweep(base, POWER)
    with pytest.raises(PlacementError, match="'wind' is not known; choose one of sideslip"):
        sweep(base, "wind")
    assert not can_sweep(base, BEARING)


def test_nothing_turns_round_a_condition_at_rest(body, openings):
    rest = FlightCondition("parked", ground_speed=0.0, decides=False)
    solutions = solve_conditions(body, [replace(CLIMB, power=None), rest])
    flow = solutions.flow()
    ranking = ranked(flow, openings)
    assert not can_sweep(sweep_base(solutions, flow, ranking, condition=1), BEARING)
    assert curves_of(solutions, flow, ranking, last=0.5).wind is None


# --- bands of sweeps -----------------------------------------------------------------------


def with_samples(base, flow, openings):
    """Ranking in which everything is sampled."""
    eta = np.array([*ETA, 0.0, 0.0, 0.0, 0.0])
    air = opening_pressures(flow, openings, eta)
    forms = patch_forms(base.solutions, openings)
    groups, n = np.ones((5, 1)), len(flow.conditions)
    share = np.repeat(flow.reference_pressure[:, None], 5, axis=1)
    samples = PressureSamples(
        openings=tuple(openings),
        conditions=flow.conditions,
        predicted=flow.predicted,
        patch=air.patch_pressure,
        head=air.total_pressure,
        recovery=eta,
        recovery_low=np.array([0.1, 0.0, 0.0, 0.0, 0.0]),
        recovery_high=np.array([0.1, 0.0, 0.0, 0.0, 0.0]),
        forms=forms,
        air=UncertainAir(alpha=1.5, beta=3.0, factor_low=0.15, factor_high=0.15, wind=1.5),
        kinds=(
            patch_kind("model", 0.1 * share, eta, COMMON * groups),
            mixing_kind(forms, air.patch_pressure, air.total_pressure, eta, groups),
        ),
        wetting=groups,
        needed_low=np.full(n, 50.0),
        needed_high=np.full(n, 50.0),
    )
    return ranked(flow, openings, samples=samples)


def test_bands_are_those_of_the_ranking_at_the_base(blown, openings):
    """Left out: what alpha, sideslip and factor do together with the wetting; 1 % of the band."""
    flow = blown[0].solutions.flow()
    ranking = with_samples(blown[0], flow, openings)
    for condition, quantity in ((0, SIDESLIP), (2, POWER), (3, BEARING)):
        base = sweep_base(blown[0].solutions, flow, ranking, condition=condition)
        found = sweep(base, quantity, [VALUES[quantity][0]])
        at = int(np.flatnonzero(found.values == found.base_value)[0])
        for k, pair in enumerate(base.pairs):
            numbers = ranking.inlet_index[pair], ranking.exit_index[pair]
            low, _, high = ranking.bands.band(*numbers)[:, condition]
            width = high - low
            assert found.low[k, at] == pytest.approx(low, abs=0.02 * width)
            assert found.high[k, at] == pytest.approx(high, abs=0.02 * width)
            assert found.exit_low[k, at] < found.exit_pressure[k, at] < found.exit_high[k, at]


def test_bands_without_samples_are_the_deviations_of_the_ranking(blown):
    base, ranking = blown
    found = sweep(base, AIRSPEED, [50.0])
    deviation = ranking.deviation[0, base.pairs]
    assert found.high[:, 0] - found.available[:, 0] == pytest.approx(deviation)
    flow = base.solutions.flow()
    rise = sweep(base, AIRSPEED, [50.0]).conditions[1]
    around = base.solutions.surroundings.slipstream(rise).mean_rise
    share = (rise.dynamic_pressure + around) / flow.reference_pressure[0]
    assert found.available[:, 1] - found.low[:, 1] == pytest.approx(share * deviation)


# --- sides ---------------------------------------------------------------------------------


def test_the_side_table_says_what_the_ranking_says(blown):
    _, ranking = blown
    table = side_table(ranking, CONDITIONS)
    assert table.sides == ("top", "bottom", "right", "left") == SIDE_ORDER[:4]
    for k, pair in enumerate(table.pairs):
        assert table.exits[k].name == table.sides[k]
        assert table.available[:, k] == pytest.approx(ranking.available[:, pair])
        assert table.reversal[:, k] == pytest.approx(ranking.reversal[:, pair], nan_ok=True)
    cp = table.exit_pressure[0] / CLIMB.dynamic_pressure
    assert table.exit_cp[0] == pytest.approx(cp)
    assert np.isnan(table.exit_cp[3:]).all()
    first = table.deviation[0] / 400.0, table.available[0] * 50.0 / 400.0**2
    assert table.ratio_deviation[0] == pytest.approx(np.hypot(*first))
    assert np.isnan(table.ratio[3:]).all()
    assert np.isnan(table.ratio_deviation[3:]).all()


def test_named_exits_come_before_the_best_of_each_side(blown):
    _, ranking = blown
    pairs = chosen_pairs(ranking, ["left", "no such exit"])
    assert [ranking.exit(pair).name for pair in pairs] == ["left", "top", "bottom", "right"]


# --- lines ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sphere_flow(fine_enough):
    return solve(fine_enough, [FlightCondition("x", true_airspeed=30.0), ROLL])


@pytest.fixture(scope="module")
def fine_enough():
    return bodies.ellipsoid((1.0, 1.0, 1.0), 3)


@pytest.mark.parametrize("side", ["top", "bottom", "right", "left"])
def test_a_line_over_a_sphere(sphere_flow, side):
    """Cp = 1 - 9/4 sin^2 theta; 1280 panels are good to 0.02."""
    line = pressure_line(sphere_flow, side, -0.9, 0.9, cp_deviation=0.1)
    exact = 1.0 - 2.25 * (1.0 - line.station**2)
    assert line.cp[0] == pytest.approx(exact, abs=0.02)
    assert line.cp_deviation[0] == pytest.approx(np.full(len(line.station), 0.1))
    assert np.isnan(line.cp[1]).all()
    outward = {"top": (2, 1), "bottom": (2, -1), "right": (1, 1), "left": (1, -1)}[side]
    assert (outward[1] * line.points[:, outward[0]] > 0.4).all()


def test_the_model_error_may_differ_from_panel_to_panel(sphere_flow, fine_enough):
    error = np.where(fine_enough.centroids[:, 0] < 0.0, 0.05, 0.2)
    line = pressure_line(sphere_flow, "top", -0.8, 0.8, cp_deviation=error)
    assert line.cp_deviation[0, 0] == pytest.approx(0.05)
    assert line.cp_deviation[0, -1] == pytest.approx(0.2)


def test_a_small_opening_feels_the_pressure_at_its_middle(sphere_flow):
    """The mean over 50 mm differs from the middle by Cp'' a^2 / 24 = 5e-4 only."""
    line = opening_line(sphere_flow, "top", -0.6, 0.6, (0.05, 0.05), step=0.1)
    exact = 1.0 - 2.25 * (1.0 - line.station**2)
    assert line.cp[0] == pytest.approx(exact, abs=0.02)
    assert line.size == (0.05, 0.05)
    with pytest.raises(PlacementError, match="fits nowhere on the top line"):
        opening_line(sphere_flow, "top", -0.6, 0.6, (5.0, 5.0), step=0.2)


def test_lines_off_the_body_are_refused(sphere_flow):
    with pytest.raises(PlacementError, match="no skin on the top line from STA 2000 to 3000 mm"):
        pressure_line(sphere_flow, "top", 2.0, 3.0)
    with pytest.raises(PlacementError, match="along the front is not known"):
        pressure_line(sphere_flow, "front", -1.0, 1.0)


def test_the_widest_height_is_that_of_the_middle(fine_enough):
    raised = SurfaceMesh(fine_enough.vertices + np.array([0.0, 0.0, 0.3]), fine_enough.triangles)
    assert widest_height(raised, -0.5, 0.5) == pytest.approx(0.3, abs=0.02)
    with pytest.raises(PlacementError, match="no skin between STA 5000 and 6000 mm"):
        widest_height(raised, 5.0, 6.0)


def profile(*corners):
    """(n, 3) points every 10 mm along corners (x, z)."""
    x, z = np.array(corners).T
    station = np.arange(x[0], x[-1] + 1e-9, 0.01)
    return np.stack([station, 0.0 * station, np.interp(station, x, z)], axis=1)


def test_the_windshield_foot_is_where_the_skin_bends_up():
    cowl = profile((0.0, 0.0), (1.2, 0.05), (1.6, 0.4), (3.0, 0.45))
    assert windshield_foot(cowl) == pytest.approx(1.2, abs=0.011)
    spinner = profile((-0.3, -0.2), (-0.02, -0.15), (0.0, 0.0), (1.2, 0.05), (1.6, 0.4), (3, 0.4))
    assert windshield_foot(spinner) == pytest.approx(1.2, abs=0.011)
    assert windshield_foot(profile((0.0, 0.0), (1.0, 0.1), (3.0, 0.1))) is None


def test_rays_meet_the_skin_every_step(fine_enough):
    points, panels = line_points(SkinFinder(fine_enough), "top", -2.0, 2.0, across=0.1, step=0.05)
    assert np.diff(points[:, 0]) == pytest.approx(np.full(len(points) - 1, 0.05))
    assert points[:, 1] == pytest.approx(np.full(len(points), 0.1))
    assert len(panels) == 39  # from -0.95 to 0.95


# --- how far forward -----------------------------------------------------------------------


def ramp(deviation=0.1):
    """Cp rises from -0.5 at STA 0 to +0.5 at 1 m, then falls again; in flight and on the ground."""
    station = np.linspace(0.0, 1.5, 16)
    cp = np.minimum(station - 0.5, 1.5 - station)
    q = CLIMB.dynamic_pressure
    points = np.stack([station, 0 * station, 0 * station], axis=1)
    rows = np.array([cp * q, cp * q])
    spread = np.full((2, 16), deviation * q)
    return SkinLine("top", 0.0, (CLIMB, ROLL), station, points, rows, spread, (0.1, 0.1))


def test_how_far_forward_is_read_off_the_line():
    answer = station_below_cp(ramp(), 0.0, 1.0)
    assert answer.station[0] == pytest.approx(0.5)
    assert (answer.low[0], answer.high[0]) == (pytest.approx(0.4), pytest.approx(0.6))
    answer = station_below_cp(ramp(), -0.1, 1.0)
    assert answer.station[0] == pytest.approx(0.4)
    assert answer.asks.tolist() == [True, False]
    assert np.isnan(answer.station[1])
    assert station_below_cp(ramp(), 0.8, 1.0).station[0] == pytest.approx(1.0)
    nowhere = station_below_cp(ramp(), -0.55, 1.0)
    assert np.isnan(nowhere.station[0])
    assert nowhere.high[0] == pytest.approx(0.05)
    assert station_below_cp(ramp(), 0.0, 1.5).station[0] == pytest.approx(1.5)


def test_enough_is_where_inlet_less_exit_is_what_is_needed(blown, body):
    base, ranking = blown
    flow = base.solutions.flow()
    line = opening_line(flow, "top", -1.9, -0.2, (0.1, 0.1), step=0.05)
    answer = station_enough(line, ranking, 0, -0.2)
    station = answer.station[1]  # at half power little is asked for
    assert station == pytest.approx(line.station[-1])
    limit = ranking.inlets.inlet_pressure[0, 0] - 400.0
    at = np.interp(answer.station[0], line.station, line.pressure[0])
    assert at == pytest.approx(limit) or answer.station[0] == pytest.approx(line.station[-1])
    assert not answer.asks[3]


# --- all of them ---------------------------------------------------------------------------


def test_all_curves_of_a_case(blown, body):
    base, ranking = blown
    solutions = base.solutions
    found = curves_of(solutions, solutions.flow(), ranking, ["bottom"], last=0.5)
    assert [line.side for line in found.lines] == ["top", "bottom", "right", "left"]
    assert {s.quantity for s in found.sweeps} == {SIDESLIP, ALPHA, POWER, FACTOR, AIRSPEED}
    assert found.sweeps[0].exits[0].name == "bottom"
    assert found.wind.base is ROLL
    assert found.foot is None
    assert [answer.asked for answer in found.answers] == [
        *("suction", "Cp at most −0.1", "needed pressure met with nose")
    ]
