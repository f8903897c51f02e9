"""Places found between grid points, where the best place is known."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.flow.superposition import superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.candidates import NoCutZone, SearchRegion, search
from panelcp.placement.found import FINEST, found_places, with_found
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder

AXES = (2.0, 0.7, 0.5)
LEVEL = FlightCondition("level", true_airspeed=40.0, needed_pressure=500.0)
CLIMB = FlightCondition("climb", true_airspeed=35.0, alpha=8.0, needed_pressure=400.0)
IDLE = FlightCondition("idle", true_airspeed=40.0, alpha=-20.0, decides=False)

# in level flight the least pressure lies all round the girth at x = 0, between the grid points
TOP = SearchRegion(
    name="top",
    use="exit",
    kind="flush hole",
    length=0.15,
    width=0.1,
    side="top",
    low=(-1.13, -0.33, 0.0),
    high=(1.03, 0.21, 0.6),
    spacing=0.18,
)


@pytest.fixture(scope="module")
def skin_and_flow(units_of):
    units = units_of("ellipsoid", AXES, 3)
    return SkinFinder(units.surface), superpose(units, [IDLE, LEVEL])


def pressures(flow, openings, eta=0.0):
    return opening_pressures(flow, openings, np.full(len(openings), eta))


def found_for(finder, flow, *regions, zones=(), openings=(), recovery=0.0):
    nose = lay_opening(finder, "nose", [-2.0, 0.0, 0.0], 0.1, 0.1, use="inlet")
    results = [search(finder, region, zones, openings) for region in regions]
    everything = [opening for result in results for opening in result.openings]
    inlets = [nose, *(o for o in everything if o.takes_air_in)]
    exits = [o for o in everything if o.lets_air_out]
    etas = {region.name: recovery for region in regions}
    behind = pressures(flow, inlets, recovery)
    return results, found_places(
        finder, flow, results, behind, pressures(flow, exits), etas, None, zones, openings
    )


def test_the_least_pressure_is_found_between_the_grid_points(skin_and_flow):
    finder, flow = skin_and_flow
    _, (found,) = found_for(finder, flow, replace(TOP, find=1))
    # flat about its maximum; the grid has x = -0.05 and 0.13
    assert found.openings[0].centre[0] == pytest.approx(0.0, abs=0.03)
    assert found.openings[0].name == "top best 1"
    assert found.scores[0] > found.grid_score
    assert found.tried > 8
    assert "1 best places between the grid points" in found.line()


def test_score_is_what_the_ranking_says(skin_and_flow):
    finder, flow = skin_and_flow
    _, (found,) = found_for(finder, flow, replace(TOP, find=1))
    nose = lay_opening(finder, "nose", [-2.0, 0.0, 0.0], 0.1, 0.1, use="inlet")
    ranking = rank_openings(flow, [nose], found.openings, [0.0], [0.0])
    assert ranking.least_ratio[0] == pytest.approx(found.scores[0], rel=1e-9)


def test_result_is_a_local_optimum_of_real_openings(skin_and_flow):
    """No opening one finest step beside it is better."""
    finder, flow = skin_and_flow
    _, (found,) = found_for(finder, flow, replace(TOP, find=1))
    best, step = found.openings[0], TOP.spacing / FINEST
    around = [best.centre + step * np.array([u, v, 0.0]) for u in (-1, 0, 1) for v in (-1, 0, 1)]
    beside = [lay_opening(finder, "beside", place, TOP.length, TOP.width) for place in around]
    patch = pressures(flow, [best, *beside]).patch_pressure[1]
    assert patch[0] == pytest.approx(patch.min(), abs=1e-6 * LEVEL.dynamic_pressure)


def test_worst_condition_counts_and_those_that_do_not_decide_do_not(units_of):
    units = units_of("ellipsoid", AXES, 3)
    finder = SkinFinder(units.surface)
    flow = superpose(units, [IDLE, LEVEL, CLIMB])
    _, (both,) = found_for(finder, flow, replace(TOP, find=1))
    _, (level,) = found_for(finder, superpose(units, [IDLE, LEVEL]), replace(TOP, find=1))
    # with the nose up the least pressure on top lies farther forward
    assert both.openings[0].centre[0] < level.openings[0].centre[0] - 0.05
    _, (again,) = found_for(finder, superpose(units, [LEVEL]), replace(TOP, find=1))
    assert again.scores == pytest.approx(level.scores)


def test_rules_hold_between_the_grid_points(skin_and_flow):
    finder, flow = skin_and_flow
    zone = NoCutZone("rib", "box", low=(-0.2, -1, 0), high=(0.1, 1, 1), clearance=0.02)
    _, (found,) = found_for(finder, flow, replace(TOP, find=2), zones=[zone])
    assert len(found.openings) == 2
    for opening in found.openings:
        points = np.vstack([opening.outline, opening.sample_points])
        assert not zone.holds(points).any()
    # it lies against the zone, nearer than the grid comes
    aft = next(o for o in found.openings if o.centre[0] > 0)
    assert aft.centre[0] - TOP.length / 2 == pytest.approx(0.12, abs=2 * TOP.spacing / FINEST)


def test_places_keep_their_distance(skin_and_flow):
    finder, flow = skin_and_flow
    zone = NoCutZone("rib", "box", low=(-0.06, -1, 0), high=(0.06, 1, 1))
    free, (near,) = found_for(finder, flow, TOP, zones=[zone])
    gap = replace(TOP, opening_distance=0.3)
    _, (apart,) = found_for(finder, flow, gap, zones=[zone])
    distance = np.linalg.norm(near.openings[0].centre - near.openings[1].centre)
    assert TOP.length <= distance < 0.3 + TOP.length
    assert len(apart.openings) == 1
    assert free[0].removed["in no-cut zone rib"] > 0


def test_mirrored_places_are_one(skin_and_flow):
    finder, flow = skin_and_flow
    side = replace(TOP, low=(-1.13, 0.1, 0.0), high=(1.03, 0.55, 0.6), pairs="mirrored", find=1)
    results, (found,) = found_for(finder, flow, side)
    assert [o.name for o in found.openings] == ["top best 1 right", "top best 1 left"]
    right, left = found.openings
    assert left.centre == pytest.approx(right.centre * [1.0, -1.0, 1.0], abs=1e-9)
    assert found.mates == {"top best 1 right": "top best 1 left", "top best 1 left": right.name}
    assert len(found.scores) == 1
    both = with_found(results[0], found)
    assert both.openings[-2:] == found.openings
    assert both.mates["top best 1 left"] == "top best 1 right"
    assert both.mates["top 1 left"] == "top 1 right"


def test_a_mirrored_pair_has_the_mean_pressure_of_both(units_of):
    slip = FlightCondition("slip", true_airspeed=40.0, beta=12.0, needed_pressure=500.0)
    units = units_of("ellipsoid", AXES, 3)
    finder, flow = SkinFinder(units.surface), superpose(units, [slip])
    # ahead of the girth, where the wind makes a difference between both sides
    side = replace(TOP, low=(-1.13, 0.1, 0.0), high=(-0.5, 0.55, 0.6), pairs="mirrored", find=1)
    _, (found,) = found_for(finder, flow, side)
    patch = pressures(flow, found.openings).patch_pressure[0]
    nose = lay_opening(finder, "nose", [-2.0, 0.0, 0.0], 0.1, 0.1, use="inlet")
    inlet = pressures(flow, [nose]).inlet_pressure[0, 0]
    assert abs(patch[0] - patch[1]) > 5.0
    assert found.scores[0] == pytest.approx((inlet - patch.mean()) / 500.0)
    assert found.scores[0] > found.grid_score


def test_inlets_are_found_with_their_recovery(skin_and_flow):
    finder, flow = skin_and_flow
    chin = replace(TOP, name="chin", use="inlet", kind="scoop", side="front", find=1)
    chin = replace(chin, low=(-2.1, -0.3, -0.33), high=(0.0, 0.25, 0.27), spacing=0.12)
    _, (front, vent) = found_for(finder, flow, chin, TOP, recovery=0.4)
    assert front.openings[0].centre[1:] == pytest.approx([0.0, 0.0], abs=0.03)
    assert front.scores[0] > front.grid_score
    ranking = rank_openings(
        flow, front.openings, [o for o in search(finder, TOP).openings], [0.4], [0.0]
    )
    assert front.scores[0] == pytest.approx(ranking.least_ratio[0], rel=1e-9)
    assert len(vent.openings) >= 1


def test_a_place_is_not_paired_with_an_inlet_that_it_lies_on(skin_and_flow):
    finder, flow = skin_and_flow
    both = replace(TOP, use="both", find=1)
    _, (found,) = found_for(finder, flow, both)
    assert np.isfinite(found.scores[0])
    alone = found_for(finder, flow, replace(TOP, find=1))[1][0]
    assert found.scores[0] >= alone.scores[0] - 1e-9


def test_nothing_is_sought_where_nothing_is_wanted(skin_and_flow):
    finder, flow = skin_and_flow
    _, (found,) = found_for(finder, flow, replace(TOP, find=0))
    assert (found.openings, found.scores, found.tried) == ((), (), 0)
