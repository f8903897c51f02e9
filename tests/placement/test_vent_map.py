"""The vent map against pressures reckoned by hand, and which panels are searched."""

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.candidates import NoCutZone, SearchRegion
from panelcp.placement.ranking import rank_openings
from panelcp.placement.vent_map import partner_of_best, searched_panels, vent_map
from panelcp.surface.opening import lay_opening

# q is 1000 Pa and 500 Pa
FAST = FlightCondition("fast", true_airspeed=(2000 / 1.225) ** 0.5, needed_pressure=400.0)
IDLE = FlightCondition("idle", true_airspeed=(2000 / 1.225) ** 0.5, decides=False)
SLOW = FlightCondition(
    "slow", true_airspeed=(1000 / 1.225) ** 0.5, needed_pressure=250.0, weight=3.0
)
FACES = {"front": [-1, 0, 0], "right": [0, 1, 0], "top": [0, 0, 1]}
PRESSURES = {"fast": (900, -200, -300), "idle": (-900, -900, -900), "slow": (450, -50, -60)}


def on(surface, face):
    return surface.normals @ np.array(FACES[face]) > 0.5


def flow_over(surface, conditions, **extra):
    masks = [on(surface, face) for face in FACES]
    gauge = np.array([np.select(masks, PRESSURES[c.name], 0.0) for c in conditions])
    speed = [
        np.sqrt(2.0 * (c.dynamic_pressure - g) / 1.225)
        for c, g in zip(conditions, gauge, strict=True)
    ]
    velocity = np.array(speed)[:, :, None] * [1.0, 0.0, 0.0]
    return SurfaceFlow(surface, tuple(conditions), velocity, gauge, **extra)


@pytest.fixture(scope="module")
def flow(brick):
    return flow_over(brick, [FAST, IDLE, SLOW])


INLETS = {"left cheek": (900.0, 0.0, 400.0), "right cheek": (800.0, 0.0, 420.0)}


def test_map_of_exits_by_hand(brick, flow):
    searched = on(brick, "top") | on(brick, "right")
    found = vent_map(flow, "exit", {"left cheek": INLETS["left cheek"]}, searched)
    assert (found.use, found.partners) == ("exit", ("left cheek",))
    # top: (900 + 300)/400 = 3.0, (400 + 60)/250 = 1.84; right: 2.75, 1.8; weights 1 and 3
    top, right = on(brick, "top"), on(brick, "right")
    assert found.least_ratio[top] == pytest.approx(1.84)
    assert found.least_ratio[right] == pytest.approx(1.8)
    assert found.mean_ratio[top] == pytest.approx((3.0 + 3 * 1.84) / 4)
    assert set(found.deciding[searched]) == {2}
    assert np.isnan(found.least_ratio[~searched]).all()
    assert np.isnan(found.mean_ratio[~searched]).all()
    assert set(found.deciding[~searched]) == {-1}


def test_best_of_several_partners_is_taken_whole(brick, flow):
    # right cheek: top (800 + 300)/400 = 2.75, (420 + 60)/250 = 1.92: better in its least
    found = vent_map(flow, "exit", INLETS, on(brick, "top"))
    assert found.least_ratio[on(brick, "top")] == pytest.approx(1.92)
    assert found.mean_ratio[on(brick, "top")] == pytest.approx((2.75 + 3 * 1.92) / 4)


def test_map_of_inlets_counts_recovery(brick, flow):
    front = on(brick, "front")
    found = vent_map(flow, "inlet", {"vent": (-300.0, 0.0, -60.0)}, front, recovery=0.5)
    # 900 + 0.5 (1000 - 900) = 950, 450 + 0.5 * 50 = 475; (950 + 300)/400, (475 + 60)/250
    assert found.least_ratio[front] == pytest.approx(min(1250 / 400, 535 / 250), rel=1e-5)
    each = vent_map(flow, "inlet", {"vent": (-300, 0, -60)}, front, recovery=[0.5, 0.0, 0.0])
    assert each.least_ratio[front] == pytest.approx(510 / 250, rel=1e-5)


def test_separated_air_counts(brick):
    change = np.zeros((1, brick.n_panels))
    change[:, on(brick, "top")] = 250.0
    flow = flow_over(brick, [FAST]).with_separation(change, 0.0 * change)
    found = vent_map(flow, "exit", {"a": [900.0]}, on(brick, "top"))
    assert found.least_ratio[on(brick, "top")] == pytest.approx((900 + 50) / 400)


def test_needed_pressure_may_be_given(brick, flow):
    found = vent_map(flow, "exit", {"a": (900, 0, 400)}, on(brick, "top"), needed=(1200, None, 23))
    assert found.least_ratio[on(brick, "top")] == pytest.approx(1.0)
    assert set(found.deciding[on(brick, "top")]) == {0}


def test_partner_of_the_best_pair(brick, flow):
    nose = lay_opening(brick, "nose", (-1.0, 0.0, 0.0), 0.2, 0.2, use="inlet")
    vents = [
        lay_opening(brick, "vent", (0.0, 0.0, 0.4), 0.2, 0.2),
        lay_opening(brick, "side", (0.0, 0.5, 0.0), 0.2, 0.2),
    ]
    ranking = rank_openings(flow, [nose], vents, [0.5], [0.0])
    (name,) = partner_of_best(ranking, "exit")
    assert name == "nose"
    assert partner_of_best(ranking, "exit")[name] == pytest.approx([950, -900 + 950, 475], rel=1e-5)
    assert partner_of_best(ranking, "inlet")["vent"] == pytest.approx([-300, -900, -60])
    by_ranking = vent_map(flow, "exit", ranking, on(brick, "top"))
    assert by_ranking.partners == ("nose",)
    # the small place and the laid opening see the same even pressure
    assert by_ranking.least_ratio[on(brick, "top")] == pytest.approx(ranking.least_ratio[0])


TOP = SearchRegion("top", "exit", "louvre", 0.1, 0.1, "top", (-0.6, -0.3, 0), (0.6, 0.3, 1), 0.1)


def test_searched_panels_are_seen_and_in_the_box(brick):
    searched = searched_panels(brick, [TOP])
    x, y, z = brick.centroids.T
    assert np.array_equal(searched, (abs(x) < 0.6) & (abs(y) < 0.3) & (z > 0.39))
    wide = SearchRegion("all", "exit", "louvre", 0.1, 0.1, "right", (-2, -2, -2), (2, 2, 2), 0.1)
    both = searched_panels(brick, [TOP, wide])
    assert np.array_equal(both, searched | (brick.normals[:, 1] > 0.9))


def test_hidden_panels_are_not_searched(brick):
    from tests import bodies

    below = bodies.box((0.4, 0.4, 0.2), (2, 2, 2), (0.0, 0.0, -1.0))
    pair = bodies.together(brick, below)
    wide = SearchRegion("all", "exit", "louvre", 0.1, 0.1, "top", (-2, -2, -2), (2, 2, 2), 0.1)
    searched = searched_panels(pair, [wide])
    assert np.array_equal(searched[: brick.n_panels], brick.normals[:, 2] > 0.9)
    assert not searched[brick.n_panels :].any()


def test_zones_and_their_clearance_are_left_out(brick):
    zone = NoCutZone("latch", "sphere", centre=(0, 0, 0.4), radius=0.1, clearance=0.15)
    searched = searched_panels(brick, [TOP], [zone])
    far = np.linalg.norm(brick.centroids - [0, 0, 0.4], axis=1) > 0.25
    assert np.array_equal(searched, searched_panels(brick, [TOP]) & far)
    assert searched.sum() < searched_panels(brick, [TOP]).sum()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"use": "vent"}, "use 'vent' is not known"),
        ({"partners": {}}, "places for an exit: no inlet to go with it is given"),
        ({"searched": "none"}, "no panel is searched"),
        ({"needed": (400, None, 0)}, r"no needed pressure above 0 in slow"),
    ],
)
def test_maps_that_make_no_sense(brick, flow, changes, words):
    usual = {"use": "exit", "partners": INLETS, "searched": on(brick, "top"), "needed": None}
    usual |= changes
    if usual["searched"] is changes.get("searched"):
        usual["searched"] = np.zeros(brick.n_panels, dtype=bool)
    with pytest.raises(PlacementError, match=words):
        vent_map(flow, **usual)


def test_without_a_deciding_condition(brick):
    flow = flow_over(brick, [IDLE])
    with pytest.raises(PlacementError, match="no condition decides"):
        vent_map(flow, "exit", {"a": [0.0]}, on(brick, "top"))
