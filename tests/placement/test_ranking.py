"""Ranking of pairs against cases small enough to reckon by hand."""

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.surface.opening import lay_opening

# true airspeeds that make q 1000 Pa and 500 Pa in sea-level air
FAST = FlightCondition("fast", true_airspeed=(2000 / 1.225) ** 0.5, needed_pressure=400.0)
SLOW = FlightCondition(
    "slow", true_airspeed=(1000 / 1.225) ** 0.5, needed_pressure=250.0, weight=3.0
)


@pytest.fixture(scope="module")
def places(brick):
    """Openings on five faces; every face has one pressure."""
    return {
        "front": lay_opening(brick, "front", (-1.0, 0.0, 0.0), 0.2, 0.2, use="inlet"),
        "top": lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.2, 0.2),
        "top aft": lay_opening(brick, "top aft", (0.15, 0.0, 0.4), 0.2, 0.2),
        "rear": lay_opening(brick, "rear", (1.0, 0.0, 0.0), 0.2, 0.2),
        "right": lay_opening(brick, "right", (0.0, 0.5, 0.0), 0.2, 0.2, use="both"),
    }


def flow_with(surface, conditions, pressures):
    """Flow whose gauge pressure is given per condition and face: front, rear, right, top."""
    faces = [
        surface.normals @ direction > 0.5
        for direction in ([-1, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1])
    ]
    gauge = np.array([np.select(faces, row, 0.0) for row in pressures])
    speed = [
        np.sqrt(2.0 * (c.dynamic_pressure - g) / 1.225)
        for c, g in zip(conditions, gauge, strict=True)
    ]
    velocity = np.array(speed)[:, :, None] * [1.0, 0.0, 0.0]
    return SurfaceFlow(surface, tuple(conditions), velocity, gauge)


@pytest.fixture(scope="module")
def flow(brick):
    return flow_with(brick, [FAST, SLOW], [[900, -100, -200, -300], [450, -80, -50, -60]])


def test_conditions_are_what_the_reckoning_needs(flow):
    assert flow.dynamic_pressure == pytest.approx([1000.0, 500.0], rel=1e-5)


def test_patch_pressures_on_flat_faces_are_exact(flow, places):
    openings = [places["front"], places["rear"], places["right"], places["top"]]
    found = opening_pressures(flow, openings, [0.5, 0.0, 1.0, 0.25])
    assert found.patch_pressure == pytest.approx(
        np.array([[900, -100, -200, -300], [450, -80, -50, -60]]), abs=1e-9
    )
    assert found.total_pressure == pytest.approx(np.outer([1000, 500], np.ones(4)), rel=1e-5)
    assert found.pressure_spread == pytest.approx(np.zeros((2, 4)), abs=1e-4)
    # p + eta (q - p)
    assert found.inlet_pressure == pytest.approx(
        np.array([[950, -100, 1000, 25], [475, -80, 500, 80]]), rel=1e-5
    )


def test_spread_of_a_pressure_that_falls_along_the_opening(brick, places):
    # linear along x: standard deviation of nine equal steps over the length, slope 1000 Pa/m
    gauge = 1000.0 * brick.centroids[None, :, 0]
    flow = SurfaceFlow(brick, (FAST,), np.zeros((1, brick.n_panels, 3)), gauge)
    found = opening_pressures(flow, [places["top aft"]], [0.0])
    assert found.patch_pressure == pytest.approx(np.array([[150.0]]))
    steps = 1000.0 * 0.2 * (np.arange(9) - 4) / 9
    assert found.pressure_spread == pytest.approx(np.array([[steps.std()]]))


def test_ranking_by_the_least_ratio(flow, places):
    ranking = rank_openings(
        flow, [places["front"]], [places["rear"], places["right"], places["top"]], [1.0], [0.0]
    )
    # inlet 1000 and 500 Pa; available: rear 1100, 580; right 1200, 550; top 1300, 560;
    # over 400 and 250: rear 2.75, 2.32; right 3.0, 2.2; top 3.25, 2.24
    assert [ranking.exit(k).name for k in range(3)] == ["rear", "top", "right"]
    assert ranking.n_pairs == 3
    assert ranking.available == pytest.approx(
        np.array([[1100, 1300, 1200], [580, 560, 550]]), rel=1e-5
    )
    assert ranking.ratio == pytest.approx(
        np.array([[2.75, 3.25, 3.0], [2.32, 2.24, 2.2]]), rel=1e-5
    )
    assert ranking.least_ratio == pytest.approx([2.32, 2.24, 2.2], rel=1e-5)
    assert ranking.limiting.tolist() == [1, 1, 1]
    # weights 1 and 3
    assert ranking.mean_ratio == pytest.approx(
        [(2.75 + 3 * 2.32) / 4, (3.25 + 3 * 2.24) / 4, (3.0 + 3 * 2.2) / 4], rel=1e-5
    )
    assert ranking.inlet(0) is places["front"]


def test_only_deciding_conditions_decide(brick, places):
    slow = FlightCondition("slow", true_airspeed=SLOW.true_airspeed, decides=False)
    flow = flow_with(brick, [FAST, slow], [[900, -100, -200, -300], [450, -80, -50, -60]])
    ranking = rank_openings(
        flow, [places["front"]], [places["rear"], places["right"], places["top"]], [1.0], [0.0]
    )
    assert [ranking.exit(k).name for k in range(3)] == ["top", "right", "rear"]
    assert ranking.limiting.tolist() == [0, 0, 0]
    assert np.isnan(ranking.ratio[1]).all()
    assert ranking.decides.tolist() == [True, False]
    assert ranking.available[1] == pytest.approx([560.0, 550.0, 580.0], rel=1e-5)


def test_limiting_condition_counts_among_all_conditions(brick, places):
    idle = FlightCondition("idle", true_airspeed=10.0, decides=False)
    flow = flow_with(brick, [idle, FAST, SLOW], [[0, 0, 0, 0], [900, 0, 0, -300], [450, 0, 0, -60]])
    ranking = rank_openings(flow, [places["front"]], [places["top"]], [1.0], [0.0])
    assert ranking.limiting.tolist() == [2]
    assert ranking.least_ratio == pytest.approx([2.24], rel=1e-5)


def test_needed_pressures_given_apart_replace_those_of_the_conditions(flow, places):
    exits = [places["rear"], places["right"], places["top"]]
    ranking = rank_openings(flow, [places["front"]], exits, [1.0], [0.0], needed=[2600.0, 250.0])
    # now the fast condition limits: 1100, 1200, 1300 over 2600
    assert [ranking.exit(k).name for k in range(3)] == ["top", "right", "rear"]
    assert ranking.least_ratio == pytest.approx([0.5, 1200 / 2600, 1100 / 2600], rel=1e-5)
    assert ranking.needed.tolist() == [2600.0, 250.0]


def test_equal_least_ratios_are_ordered_by_the_mean(brick, places):
    flow = flow_with(brick, [FAST, SLOW], [[900, -300, -100, 0], [450, 0, 0, 0]])
    exits = [places["top"], places["right"], places["rear"]]
    ranking = rank_openings(flow, [places["front"]], exits, [1.0], [0.0])
    assert [ranking.exit(k).name for k in range(3)] == ["rear", "right", "top"]


def test_every_inlet_meets_every_exit(flow, places):
    inlets, exits = [places["front"], places["right"]], [places["rear"], places["top"]]
    ranking = rank_openings(flow, inlets, exits, [0.9, 0.5], [0.0, 0.0])
    pairs = {(ranking.inlet(k).name, ranking.exit(k).name) for k in range(4)}
    assert pairs == {(a, b) for a in ("front", "right") for b in ("rear", "top")}
    assert (np.diff(ranking.least_ratio) <= 0.0).all()
    for k in range(4):
        inlet, out = ranking.inlet_index[k], ranking.exit_index[k]
        expected = ranking.inlets.inlet_pressure[:, inlet] - ranking.exits.patch_pressure[:, out]
        assert ranking.available[:, k] == pytest.approx(expected)


def test_deviation_adds_its_three_parts_in_squares(flow, places):
    ranking = rank_openings(
        flow, [places["front"]], [places["rear"]], [0.8], [0.2], cp_deviation=[0.05, 0.1]
    )
    # fast: recovery 0.2 (1000 - 900) = 20; inlet 0.2 * 0.05 * 1000 = 10; exit 0.1 * 1000 = 100
    # slow: recovery 0.2 (500 - 450) = 10; inlet 5; exit 50
    expected = [[np.sqrt(400 + 100 + 10000)], [np.sqrt(100 + 25 + 2500)]]
    assert ranking.deviation == pytest.approx(np.array(expected), rel=1e-4)
    same = rank_openings(flow, [places["front"]], [places["rear"]], [0.8], [0.2], cp_deviation=0.1)
    assert same.deviation[0] == pytest.approx([np.sqrt(400 + 400 + 10000)], rel=1e-4)


def test_deviation_follows_its_pair_through_the_order(flow, places):
    exits = [places["right"], places["rear"], places["top"]]
    ranking = rank_openings(
        flow, [places["front"]], exits, [1.0], [0.0], cp_deviation=[0.0, 0.1, 0.2, 0.3]
    )
    by_name = {ranking.exit(k).name: ranking.deviation[0, k] for k in range(3)}
    assert by_name == pytest.approx({"right": 100.0, "rear": 200.0, "top": 300.0}, rel=1e-4)


def test_best_of_each_side(flow, places):
    exits = [places["rear"], places["right"], places["top"], places["top aft"]]
    ranking = rank_openings(flow, [places["front"]], exits, [1.0], [0.0])
    best = ranking.best_of_each_side()
    assert list(best) == ["top", "right", "rear"]
    assert {side: ranking.exit(pair).side for side, pair in best.items()} == {s: s for s in best}
    assert best["rear"] == 0
    assert best["top"] < 3


def test_distinct_pairs_leave_out_overlapping_exits(flow, places):
    # the two on top are 0.15 apart and 0.2 long: one place
    exits = [places["top"], places["top aft"], places["rear"], places["right"]]
    ranking = rank_openings(flow, [places["front"]], exits, [1.0], [0.0])
    names = [ranking.exit(k).name for k in ranking.distinct(10)]
    assert len(names) == 3
    assert sum(name.startswith("top") for name in names) == 1
    assert ranking.distinct(2) == ranking.distinct(10)[:2]
    assert ranking.distinct(0) == []
    first = tuple(ranking.distinct(2))
    ranking.distinct(2).clear()  # whoever asked for them may change them
    assert tuple(ranking.distinct(2)) == first


def test_distinct_counts_an_exit_once_whatever_its_inlet(flow, places):
    ranking = rank_openings(
        flow, [places["front"], places["right"]], [places["top"]], [0.9, 0.9], [0.0, 0.0]
    )
    assert ranking.distinct(5) == [0]


def test_missing_openings_and_requirements(brick, flow, places):
    front, rear = [places["front"]], [places["rear"]]
    with pytest.raises(PlacementError, match="no inlet to rank"):
        rank_openings(flow, [], rear, [], [])
    with pytest.raises(PlacementError, match="no exit to rank"):
        rank_openings(flow, front, [], [1.0], [0.0])
    with pytest.raises(PlacementError, match=r"deciding condition\(s\) fast: give needed_pressure"):
        rank_openings(flow, front, rear, [1.0], [0.0], needed=[0.0, 250.0])
    with pytest.raises(PlacementError, match=r"condition\(s\) fast, slow"):
        rank_openings(flow, front, rear, [1.0], [0.0], needed=[None, None])
    idle = FlightCondition("idle", true_airspeed=10.0, decides=False)
    with pytest.raises(PlacementError, match="no condition decides"):
        rank_openings(flow_with(brick, [idle], [[0] * 4]), front, rear, [1.0], [0.0])
    light = FlightCondition("light", true_airspeed=10.0, needed_pressure=10.0, weight=0.0)
    with pytest.raises(PlacementError, match="weights of the deciding conditions add up to 0"):
        rank_openings(flow_with(brick, [light], [[0] * 4]), front, rear, [1.0], [0.0])


def test_records_are_protected(flow, places):
    ranking = rank_openings(flow, [places["front"]], [places["rear"]], [1.0], [0.0])
    for array in (
        ranking.available,
        ranking.least_ratio,
        ranking.exit_index,
        ranking.decides,
        ranking.inlets.patch_pressure,
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
