"""What spoils a place, against numbers that can be reckoned by hand."""

from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest

from panelcp.flow.skin_layers import ATTACHED, LEE, OPEN, POCKET, POSSIBLE, REATTACHED
from panelcp.flow.solutions import solve
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.exit_air import PLUME_GROWTH, Hit, exit_air, targets_of
from panelcp.placement.layers_at_openings import OpeningLayers, layers_at_openings, skin_under
from panelcp.placement.ranking import rank_openings
from panelcp.placement.spoilers import (
    KINDS,
    LIMITS,
    SEVERITIES,
    Spoiler,
    open_to_sky,
    outline_distance,
    panel_distance,
    spoilers,
    worst_of_each,
)
from panelcp.quantity import MARKS
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from tests import bodies

# true airspeeds that make q 1000 Pa and 500 Pa in sea-level air
FAST = FlightCondition("fast", true_airspeed=(2000 / 1.225) ** 0.5, needed_pressure=400.0)
SLOW = FlightCondition("slow", true_airspeed=(1000 / 1.225) ** 0.5, decides=False)
REST = FlightCondition("rest", true_airspeed=0.0, decides=False)
CONDITIONS = (FAST, SLOW, REST)


def flow_with(surface, slope=0.0, front=900.0, conditions=CONDITIONS, predicted=None):
    """Pressure `slope` Pa/m along x on all faces but the front, which has one pressure.

    Half of it all in the second condition, nothing in the third; velocity zero, so that the
    interpolated pressure is linear too.
    """
    ahead = surface.normals[:, 0] < -0.5
    one = np.where(ahead, front, slope * surface.centroids[:, 0])
    gauge = np.array([1.0, 0.5, 0.0])[: len(conditions), None] * one
    velocity = np.zeros((len(conditions), surface.n_panels, 3))
    return SurfaceFlow(surface, tuple(conditions), velocity, gauge, predicted=predicted)


@pytest.fixture(scope="module")
def front(brick):
    return lay_opening(brick, "front", (-1.0, 0.0, 0.0), 0.2, 0.2, use="inlet")


@pytest.fixture(scope="module")
def side(brick):
    """An exit of 200 mm by 100 mm that rain does not fall into."""
    return lay_opening(brick, "side", (0.3, 0.5, 0.0), 0.2, 0.1)


def found(flow, inlet, outlet, others=(), layers=None, hits=(), ranking=None, **options):
    """Spoilers of one pair."""
    if ranking is None:
        ranking = rank_openings(flow, [inlet], [outlet], [0.5], [0.0], cp_deviation=0.0)
    everything = [inlet, outlet, *others]
    return spoilers(flow, everything, layers, hits, ranking, [0], **options)


def of_kind(all_found, kind):
    return [spoiler for spoiler in all_found if spoiler.kind == kind]


def test_nothing_is_said_where_nothing_is_wrong(brick, front, side):
    layers = layers_of((front, side), ATTACHED)
    assert found(flow_with(brick), front, side, layers=layers) == ()


# rain


def test_area_open_to_rain_is_that_of_the_horizontal_projection(brick, front):
    top = lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.2, 0.15)
    (level,) = of_kind(found(flow_with(brick), front, top), "rain")
    assert level.value == pytest.approx(0.03)
    assert (level.condition, level.unit, level.mark) == (None, "m2", "memory")
    assert "300 cm²" in level.text
    (inlet, tilted) = of_kind(found(flow_with(brick), front, top, parked_attitude=30.0), "rain")
    # the front face looks up a little too
    assert (inlet.opening, inlet.value) == ("front", pytest.approx(0.04 * np.sin(np.pi / 6)))
    assert tilted.value == pytest.approx(0.03 * np.cos(np.pi / 6))
    assert "nose 30° up" in tilted.text


def test_a_rectangle_tilted_by_30_deg_has_the_cosine_of_it(brick):
    turn = np.radians(30.0)
    matrix = np.array(
        [[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]]
    )
    tilted = SurfaceMesh(brick.vertices @ matrix.T, brick.triangles)
    top = lay_opening(tilted, "top", matrix @ [0.0, 0.0, 0.4], 0.2, 0.15)
    assert open_to_sky(top, tilted, np.array([0.0, 0.0, 1.0])) == pytest.approx(0.03 * np.cos(turn))
    below = lay_opening(tilted, "below", matrix @ [0.0, 0.0, -0.4], 0.2, 0.15)
    assert open_to_sky(below, tilted, np.array([0.0, 0.0, 1.0])) == 0.0
    small = lay_opening(tilted, "small", matrix @ [0.0, 0.0, -0.4], 0.02, 0.02)
    assert open_to_sky(small, tilted, np.array([0.0, 0.0, 1.0])) == 0.0


@pytest.mark.parametrize(("width", "said"), [(0.0249, False), (0.0251, True)])
def test_rain_is_said_from_five_square_centimetres_on(brick, front, width, said):
    small = lay_opening(brick, "small", (0.0, 0.0, 0.4), 0.02, width)
    assert bool(of_kind(found(flow_with(brick), front, small), "rain")) == said


def test_attitude_on_the_ground_is_taken_from_the_conditions(brick, front, side):
    roll = FlightCondition("roll", ground_speed=10.0, attitude=12.0, decides=False)
    louvres = replace(lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.2, 0.15), kind="louvre")
    flow = flow_with(brick, conditions=(FAST, roll))
    (_, rain) = of_kind(found(flow, front, louvres), "rain")
    assert rain.value == pytest.approx(0.03 * np.cos(np.radians(12.0)))
    assert "blades shed" in rain.text


def test_a_roof_over_an_opening_keeps_the_rain_off(brick):
    # a plate over the half of the opening with x < 0
    roof = bodies.box((1.0, 1.0, 0.02), (1, 1, 1), centre=(-0.5, 0.0, 0.7))
    joined = SurfaceMesh(
        np.concatenate([brick.vertices, roof.vertices]),
        np.concatenate([brick.triangles, roof.triangles + brick.n_vertices]),
    )
    upward = np.array([0.0, 0.0, 1.0])
    below = lay_opening(joined, "below", (-0.5, 0.0, 0.4), 0.2, 0.15)
    assert open_to_sky(below, joined, upward) == 0.0
    # four of the nine rows of samples lie ahead of x = 0, one on it
    half = lay_opening(joined, "half", (0.001, 0.0, 0.4), 0.2, 0.15)
    assert open_to_sky(half, joined, upward) == pytest.approx(0.03 * 5 / 9)


# glass and exhaust


def with_glass(brick, name="windshield"):
    return brick.with_regions((brick.centroids[:, 0] > 0.5).astype(int), ["unnamed", name])


@pytest.mark.parametrize(("gap", "said"), [(0.600, True), (0.609, True), (0.611, False)])
def test_glass_nearer_than_24_in_is_said_with_its_distance(brick, front, gap, said):
    glazed = with_glass(brick)
    # the glass begins at x = 0.5, the exit reaches 0.05 aft of its centre
    top = lay_opening(glazed, "top", (0.5 - gap - 0.05, 0.0, 0.4), 0.1, 0.3)
    near = of_kind(found(flow_with(glazed), front, top), "glass near")
    assert bool(near) == said
    if said:
        assert near[0].value == pytest.approx(gap)
        assert (near[0].about, near[0].mark, near[0].severity) == ("windshield", "memory", "look")
        assert f"{1e3 * gap:.0f} mm" in near[0].text
        assert "24 in (610 mm)" in near[0].text


def test_without_known_glass_nothing_is_said_of_it(brick, front):
    top = lay_opening(brick, "top", (0.3, 0.0, 0.4), 0.1, 0.3)
    for surface in (brick, with_glass(brick, "windshield pocket"), with_glass(brick, "cabin roof")):
        assert not of_kind(found(flow_with(surface), front, top), "glass near")
    # an inlet lets no flame out
    inlet = lay_opening(brick, "inlet", (0.3, 0.0, 0.4), 0.1, 0.3, use="inlet")
    side = lay_opening(brick, "side", (-0.6, 0.5, 0.0), 0.1, 0.1)
    assert not of_kind(found(flow_with(with_glass(brick)), inlet, side), "glass near")


def test_distance_to_panels_from_outside_and_to_a_corner(brick):
    top = lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.2, 0.2)
    # the panel with corners (0.75, 0.3), (1, 0.3), (1, 0.5) on the top, the nearest at its corner
    corners = brick.corners[:, :, :2]
    there = np.flatnonzero(
        (corners.min(axis=1) > [0.74, 0.29]).all(axis=1) & (brick.normals[:, 2] > 0.5)
    )
    assert panel_distance(top, brick, there) == pytest.approx(np.hypot(0.65, 0.2))
    # the corner (0.75, 0.1) of a panel faces an edge of the outline between two of its points:
    # the edge lies at x = 0.45, its points are 0.2 / 3 apart
    wide = lay_opening(brick, "wide", (0.4, 0.1 - 0.1 / 3, 0.4), 0.1, 0.8)
    step = np.abs(wide.outline[:, 1] - 0.1)[wide.outline[:, 0] > 0.449].min()
    assert step > 0.02
    sharp = np.flatnonzero(
        (brick.normals[:, 2] > 0.5)
        & (np.abs(corners - [0.75, 0.1]).max(axis=2) < 1e-9).any(axis=1)
        & (brick.centroids[:, 0] > 0.75)
    )
    only = [k for k in sharp if (corners[k, :, 0] < 0.76).sum() == 1]
    assert len(only) > 0
    assert panel_distance(wide, brick, only) == pytest.approx(0.3, abs=1e-9)


@pytest.mark.parametrize(("gap", "said"), [(0.0, True), (0.099, True), (0.101, False)])
def test_exhaust_nearer_than_a_hand_is_said(brick, front, gap, said):
    place = lay_opening(brick, "below", (0.0, 0.0, -0.4), 0.2, 0.1)
    pipe = lay_opening(brick, "pipe", (0.1 + gap + 0.03, 0.0, -0.4), 0.06, 0.06, use="exhaust")
    near = of_kind(found(flow_with(brick), front, place, [pipe]), "exhaust near")
    assert bool(near) == said
    if said:
        assert near[0].value == pytest.approx(gap, abs=1e-9)
        assert (near[0].opening, near[0].about) == ("below", "pipe")
        assert near[0].mark == "common practice"


def test_distance_of_outlines(brick):
    def lay(x, y, length=0.1, width=0.1, shape="rectangle"):
        return lay_opening(brick, "any", (x, y, 0.4), length, width, shape=shape)

    assert outline_distance(lay(0.0, 0.0), lay(0.4, 0.3)) == pytest.approx(np.hypot(0.3, 0.2))
    # two circles, from points round them
    circles = lay(0.0, 0.0, shape="oval"), lay(0.4, 0.3, shape="oval")
    assert outline_distance(*circles) == pytest.approx(0.5 - 0.1, abs=1e-4)
    # one within the other, without a common point of their outlines
    assert outline_distance(lay(0.0, 0.0, 0.4, 0.4), lay(0.0, 0.0)) == 0.0
    # the corner of a square lies outside an oval of the same size
    assert outline_distance(lay(0.0, 0.0, 0.4, 0.4, "oval"), lay(0.21, 0.21)) > 0.01


# reversed flow, breathing, steep


def test_reversed_flow_by_its_probability(brick, front, side):
    flow = flow_with(brick)
    ranking = rank_openings(flow, [front], [side], [0.5], [0.0], cp_deviation=0.0)

    def with_chances(*chances):
        changed = replace(ranking, reversal=np.array(chances)[:, None])
        return of_kind(found(flow, front, side, ranking=changed), "reversed flow")

    assert with_chances(0.022, 0.022, 0.99) == []  # nothing moves in the third
    assert with_chances(np.nan, np.nan, np.nan) == []
    (may, surely) = with_chances(0.024, 0.85, 0.0)[::-1]
    assert (may.condition, may.severity, may.limit) == ("fast", "look", 0.023)
    assert (surely.condition, surely.severity, surely.limit) == ("slow", "spoils", 0.84)
    assert (surely.opening, surely.about, surely.value) == ("side", "front", 0.85)
    assert "85 %" in surely.text
    assert [s.severity for s in with_chances(0.83, 0.0, 0.0)] == ["look"]


def test_breathing_on_a_known_linear_pressure(brick, front, side):
    # 81 samples: 8/9 of the length of 0.2 m; in the middle of the exit, x = 0.3 m, the mean
    slope, rows = 1000.0, 8 / 9
    spread, mean = slope * 0.2 * rows, slope * 0.3

    def breathing(available):
        flow = flow_with(brick, slope, front=mean + available)
        return of_kind(found(flow, front, side), "breathing")

    assert breathing(2.01 * spread) == []
    both = breathing(1.99 * spread)
    assert [s.condition for s in both] == ["fast", "slow"]
    first = both[0]
    assert (first.value, first.severity, first.unit) == (pytest.approx(spread), "look", "Pa")
    assert first.limit == pytest.approx(0.5 * 1.99 * spread)
    assert first.about == "front"
    # half the spread lies above the mean: a quarter of the available pressure is wanted
    assert "at least 25 % of that" in first.text
    assert {s.severity for s in breathing(1.01 * spread)} == {"look"}
    fully = breathing(0.99 * spread)
    assert [s.severity for s in fully] == ["spoils", "look"]  # the slow one does not decide
    assert fully[0].limit == pytest.approx(0.99 * spread)
    assert "Whatever the core" in breathing(0.49 * spread)[0].text


def test_breathing_is_not_said_where_the_sign_is_not_known(brick, front, side):
    flow = flow_with(brick, 1000.0, front=400.0)
    ranking = rank_openings(flow, [front], [side], [0.5], [0.0], cp_deviation=0.0)
    assert ranking.available[:2, 0] == pytest.approx([100.0, 50.0])

    def conditions(deviation, **options):
        changed = replace(ranking, deviation=np.array(deviation)[:, None])
        flow_here = replace(flow, **options)
        there = of_kind(found(flow_here, front, side, ranking=changed), "breathing")
        return [s.condition for s in there]

    assert conditions([99.0, 49.0, 0.0]) == ["fast", "slow"]
    assert conditions([101.0, 49.0, 0.0]) == ["slow"]
    assert conditions([0.0, 0.0, 0.0], predicted=np.array([True, False, True])) == ["fast"]


@pytest.mark.parametrize(("slope", "said"), [(1990.0, False), (2010.0, True), (-2010.0, True)])
def test_steep_where_20_mm_are_worth_a_tenth(brick, front, side, slope, said):
    flow = flow_with(brick, slope, front=9000.0)
    steep = of_kind(found(flow, front, side), "steep")
    assert [(s.opening, s.condition) for s in steep] == ([("side", "fast")] if said else [])
    if said:
        # 20 mm along the slope over the needed 400 Pa; towards more pressure an exit loses
        assert steep[0].value == pytest.approx(0.02 * 2010.0 / 400.0)
        assert f"20 mm {'aft' if slope > 0 else 'forward'} takes 0.10 off" in steep[0].text


def test_steep_places_matter_in_deciding_conditions_only(brick, front, side):
    ranking = rank_openings(
        *(flow_with(brick, 3000.0, front=9000.0), [front], [side], [0.5], [0.0]),
        cp_deviation=0.0,
        needed=[400.0, 10.0, np.nan],
    )
    flow = flow_with(brick, 3000.0)
    steep = of_kind(found(flow, front, side, ranking=ranking), "steep")
    assert [s.condition for s in steep] == ["fast"]


def test_an_inlet_loses_where_the_pressure_behind_it_falls(brick):
    # along z on the front face, velocity such that the total pressure is 1000 Pa everywhere
    z = brick.centroids[:, 2]
    gauge = np.where(brick.normals[:, 0] < -0.5, 500.0 + 400.0 * z, -2000.0)[None]
    velocity = np.sqrt(2.0 * (1000.0 - gauge) / FAST.air.density)[..., None] * [0.0, 1.0, 0.0]
    flow = SurfaceFlow(brick, (FAST,), velocity, gauge)
    inlet = lay_opening(brick, "inlet", (-1.0, 0.0, 0.0), 0.1, 0.1, use="inlet")
    outlet = lay_opening(brick, "outlet", (0.0, 0.0, -0.4), 0.1, 0.1)
    ranking = rank_openings(flow, [inlet], [outlet], [0.25], [0.0], needed=[50.0])
    (steep,) = of_kind(found(flow, inlet, outlet, ranking=ranking), "steep")
    # p + eta (1000 - p): three quarters of the slope; the panels' velocities leave 1 %
    assert steep.value == pytest.approx(0.02 * 0.75 * 400.0 / 50.0, rel=0.02)
    assert steep.opening == "inlet"
    assert "20 mm down" in steep.text


# separated air


def layers_of(openings, state, margin=np.nan, thickness=0.005, share=None):
    """Layers with one state and margin in all conditions; with shares when given."""
    shape = (len(CONDITIONS), len(openings))
    values = {
        "openings": tuple(openings),
        "state": np.full(shape, state),
        "thickness": np.full(shape, thickness),
        "margin": np.full(shape, margin),
        "warned_margin": np.full(shape, np.nan),
        "plateau": np.full(shape, np.nan),
        "recovery_share": np.ones(shape),
    }
    if share is not None:
        return SimpleNamespace(**(values | {"separated_share": np.full(shape, share)}))
    known = {field.name for field in fields(OpeningLayers)}
    if "separated_share" in known:
        values["separated_share"] = np.full(shape, np.nan)
    return OpeningLayers(**{name: value for name, value in values.items() if name in known})


def separated(brick, front, side, *state, kind="separated air", **options):
    layers = layers_of((front, side), *state, **options)
    return of_kind(found(flow_with(brick), front, side, layers=layers), kind)


def test_an_opening_in_separated_air(brick, front, side):
    everywhere = separated(brick, front, side, POCKET, share=0.95)
    assert [(s.opening, s.condition) for s in everywhere] == [
        (name, condition.name) for name in ("front", "side") for condition in CONDITIONS
    ]
    assert {s.value for s in everywhere} == {0.95}
    assert [s.severity for s in everywhere] == ["spoils", "look", "look"] * 2  # one decides
    assert "straddles" not in everywhere[0].text
    assert "95 %" in everywhere[0].text
    assert "slow air" in everywhere[0].text
    # of an exit whose air does not come back behind it, only the pressure is not known
    behind = separated(brick, front, side, OPEN, share=0.95)
    assert {s.severity for s in behind if s.opening == "side"} == {"look"}
    assert separated(brick, front, side, ATTACHED, share=0.0) == []
    assert separated(brick, front, side, REATTACHED, share=0.0) == []


def test_an_opening_that_straddles_the_edge_of_separated_air(brick, front, side):
    edge = separated(brick, front, side, POCKET, share=0.3)
    assert "30 % of it" in edge[0].text
    assert "straddles" in edge[0].text
    assert {s.severity for s in edge} == {"look"}
    assert {s.severity for s in separated(brick, front, side, POCKET, share=0.51)} == {
        "look",
        "spoils",
    }


def test_a_share_that_is_not_known_is_at_least_that_of_the_state(brick, front, side):
    unknown = separated(brick, front, side, POCKET)
    assert {s.value for s in unknown} == {0.1}
    assert "10 % or more" in unknown[0].text


def test_states_that_say_only_maybe_are_looked_at(brick, front, side):
    maybe = separated(brick, front, side, POSSIBLE, share=0.9)
    assert {s.severity for s in maybe} == {"look"}
    assert "may be separated" in maybe[0].text
    lee = separated(brick, front, side, LEE, share=0.9)
    assert lee[0].severity == "spoils"
    assert "cross wind" in lee[0].text


@pytest.mark.parametrize(("margin", "said"), [(0.0, True), (0.199, True), (0.201, False)])
def test_an_exit_just_ahead_of_a_separation_line(brick, front, side, margin, said):
    lines = separated(brick, front, side, ATTACHED, margin, kind="separation line")
    assert {s.opening for s in lines} == ({"side"} if said else set())
    if said:
        assert lines[0].value == margin
        assert lines[0].limit == pytest.approx(side.length)
        assert f"{1e3 * margin:.0f} mm behind it" in lines[0].text


def test_an_inlet_behind_a_separation_line(brick, front, side):
    lines = separated(brick, front, side, ATTACHED, -0.02, kind="separation line")
    assert {s.opening for s in lines} == {"front"}
    assert (lines[0].value, lines[0].limit) == (-0.02, 0.0)
    assert "20 mm behind" in lines[0].text
    # what lies in separated air is told as such, exits too
    assert separated(brick, front, side, POCKET, 0.02, kind="separation line") == []
    assert separated(brick, front, side, POCKET, -0.02, kind="separation line") == []
    # behind a pocket, where the layer is thicker than half of the inlet's smaller side
    options = {"kind": "separation line", "margin": np.nan}
    assert separated(brick, front, side, REATTACHED, thickness=0.099, **options) == []
    (slow, *_) = separated(brick, front, side, REATTACHED, thickness=0.101, **options)
    assert (slow.opening, slow.value, slow.limit) == ("front", 0.101, pytest.approx(0.1))
    assert separated(brick, front, side, ATTACHED, thickness=0.101, **options) == []


# exit air


def hit(exit="side", target="seat", kind="cabin opening", condition=0, way=1.0, clearance=-0.1):
    return Hit(exit, target, kind, condition, way, clearance, 30.0)


def plumes(brick, front, side, *hits, others=(), predicted=None):
    flow = flow_with(brick, predicted=predicted)
    return [
        s for s in found(flow, front, side, others, hits=hits) if "air" in s.kind or "hot" in s.kind
    ]


def test_exit_air_that_reaches_something(brick, front, side):
    (cabin,) = plumes(brick, front, side, hit(), hit(target="scoop", clearance=0.001))
    assert (cabin.opening, cabin.kind, cabin.about) == ("side", "air into the cabin", "seat")
    assert (cabin.condition, cabin.value, cabin.limit) == ("fast", -0.1, 0.0)
    assert (cabin.mark, cabin.severity) == (PLUME_GROWTH.mark, "look")
    assert "after 1.00 m" in cabin.text
    assert "30 Pa more" in cabin.text
    kinds = {
        "windshield": "air towards the windshield",
        "wing root": "air at the wing root",
        "static port": "air at a static port",
        "fresh-air inlet": "air into the cabin",
        "cooling-air inlet": "hot air back in",
        "cooling-air opening": "hot air back in",
    }
    for kind, expected in kinds.items():
        (one,) = plumes(brick, front, side, hit(kind=kind))
        assert (one.kind, one.severity) == (expected, "look")
    assert plumes(brick, front, side, hit(exit="unknown")) == []


def test_a_line_over_a_cabin_opening_spoils_even_without_room_for_the_plume(brick, front, side):
    allowed = PLUME_GROWTH.high * 1.0
    assert plumes(brick, front, side, hit(clearance=-allowed + 1e-3))[0].severity == "look"
    assert plumes(brick, front, side, hit(clearance=-allowed - 1e-3))[0].severity == "spoils"
    through = hit(kind="wing root", clearance=-allowed - 1e-3)
    assert plumes(brick, front, side, through)[0].severity == "look"


def test_of_the_windshield_glass_comes_before_other_regions(brick, front, side):
    pocket = hit(target="windshield pocket", kind="windshield", clearance=-0.3)
    glass = hit(target="windshield", kind="windshield", clearance=-0.1)
    (one,) = plumes(brick, front, side, pocket, glass)
    assert (one.value, one.about) == (-0.1, "windshield")
    assert "comes to windshield after" in one.text
    (one,) = plumes(brick, front, side, pocket)
    assert one.value == -0.3
    both = plumes(brick, front, side, pocket, replace(glass, condition=1))
    assert [s.condition for s in both] == ["fast", "slow"]


def test_where_only_a_sign_is_told_only_what_is_breathed_counts(brick, front, side):
    sign_only = np.array([True, False, True])
    glass = hit(target="windshield", kind="windshield", condition=1)
    assert plumes(brick, front, side, glass, predicted=sign_only) == []
    (one,) = plumes(brick, front, side, glass, hit(condition=1), predicted=sign_only)
    assert one.kind == "air into the cabin"


def test_exhaust_gas_is_told_at_the_opening_it_reaches(brick, front, side):
    pipe = lay_opening(brick, "pipe", (0.0, 0.0, -0.4), 0.06, 0.06, use="exhaust")
    scoop = lay_opening(brick, "scoop", (0.8, 0.5, 0.2), 0.06, 0.06, use="fresh air")
    gas = hit(exit="pipe", target="scoop", kind="fresh-air inlet", clearance=-0.3)
    inlet = hit(exit="pipe", target="front", kind="cooling-air inlet", clearance=-0.3)
    port = hit(exit="pipe", target="port", kind="static port")
    told = plumes(brick, front, side, gas, inlet, port, others=[pipe, scoop])
    assert [(s.opening, s.kind, s.about, s.severity) for s in told] == [
        ("front", "exhaust air", "pipe", "look"),
        ("scoop", "exhaust air", "pipe", "spoils"),
    ]


def test_wind_from_behind_carries_warm_air_forward(brick, front):
    def taxi(wind_from):
        return FlightCondition(
            "taxi", ground_speed=2.0, wind_speed=7.0, wind_from=wind_from, decides=False
        )

    def told(gap, wind_from=180.0, others=()):
        flow = flow_with(brick, conditions=(FAST, taxi(wind_from)))
        outlet = lay_opening(brick, "side", (-1.0 + gap + 0.05, 0.5, 0.0), 0.1, 0.1)
        return plumes_of(found(flow, front, outlet, others))

    def plumes_of(all_found):
        return [s for s in all_found if s.kind in ("hot air back in", "exhaust air")]

    # from the outline of the inlet, 0.4 m aside of the exit
    (one,) = told(0.3)
    assert one.value == pytest.approx(0.5)
    assert (one.condition, one.about, one.severity) == ("taxi", "front", "look")
    assert told(1.44)
    assert not told(1.46)  # 1.46 and 0.4 m: more than 1.5 m
    assert not told(0.3, wind_from=0.0)
    assert not told(0.3, wind_from=90.0)
    # of two inlets the nearer
    second = lay_opening(brick, "second", (-1.0, 0.3, 0.0), 0.2, 0.2, use="inlet")
    assert [s.about for s in told(0.3, others=[second])] == ["second"]
    pipe = lay_opening(brick, "pipe", (-0.8, 0.0, -0.4), 0.06, 0.06, use="exhaust")
    gas = [s for s in told(0.3, others=[pipe]) if s.kind == "exhaust air"]
    assert [(s.opening, s.about) for s in gas] == [("front", "pipe")]


# all together


@pytest.fixture(scope="module")
def real():
    """An ellipsoid with openings, solved: a top exit ahead of a cabin opening and of glass."""
    body = bodies.ellipsoid((2.0, 0.5, 0.5), 3)
    glass = (body.centroids[:, 0] > -0.5) & (body.normals[:, 2] > 0.7)
    body = body.with_regions(glass.astype(int), ["unnamed", "windshield"])
    climb = FlightCondition("climb", true_airspeed=40.0, needed_pressure=300.0)
    taxi = FlightCondition("taxi", ground_speed=2.0, wind_speed=7.0, wind_from=180.0, decides=False)
    openings = [
        lay_opening(body, "nose", (-1.95, 0.0, 0.0), 0.1, 0.1, use="inlet"),
        lay_opening(body, "top", (-1.0, 0.0, 0.43), 0.1, 0.1, kind="flush hole"),
        lay_opening(body, "below", (-1.0, 0.0, -0.43), 0.1, 0.1),
        lay_opening(body, "seat", (0.5, 0.0, 0.48), 0.1, 0.1, use="cabin"),
    ]
    flow = solve(body, (climb, taxi))
    exits = [opening for opening in openings if opening.lets_air_out]
    layers = layers_at_openings(skin_under(flow, openings), openings)
    hits = exit_air(flow, exits, targets_of(body, openings))
    ranking = rank_openings(flow, openings[:1], exits, [0.8], [0.1])
    return spoilers(flow, openings, layers, hits, ranking)


def test_on_a_solved_body_the_top_exit_is_spoilt_by_what_lies_behind_it(real):
    kinds = {name: {s.kind for s in real if s.opening == name} for name in ("top", "below")}
    assert kinds["top"] >= {
        "air into the cabin",
        "air towards the windshield",
        "glass near",
        "rain",
    }
    assert not kinds["below"] & {"air into the cabin", "glass near", "rain"}
    cabin = next(s for s in real if s.kind == "air into the cabin")
    # the exit's middle line runs over the middle of the cabin opening
    assert (cabin.condition, cabin.severity) == ("climb", "spoils")


def test_spoilers_are_in_order_and_in_plain_careful_words(real):
    names = list(dict.fromkeys(s.opening for s in real))
    assert names == [name for name in ("nose", "top", "below") if name in names]
    for name in names:
        ranks = [
            (SEVERITIES.index(s.severity), KINDS.index(s.kind)) for s in real if s.opening == name
        ]
        assert ranks == sorted(ranks)
    for spoiler in real:
        assert spoiler.mark in MARKS
        assert spoiler.text[0].isupper() or spoiler.text[0].isdigit()
        assert spoiler.text.endswith(".")
        assert not {"safe", "clear", "fine"} & set(spoiler.text.lower().replace(",", "").split())
        assert spoiler.line().startswith(spoiler.opening)
    assert not any(limit.mark == "published" for _, limit in LIMITS)


def test_order_of_places_severities_and_kinds(brick, front):
    scoop = lay_opening(brick, "scoop", (0.8, 0.5, 0.2), 0.06, 0.06, use="fresh air")
    pipe = lay_opening(brick, "pipe", (0.0, 0.0, -0.4), 0.06, 0.06, use="exhaust")
    top = lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.2, 0.15)
    gas = hit(exit="pipe", target="scoop", kind="fresh-air inlet")
    cabin = hit(exit="top", clearance=-0.5)
    flow = flow_with(brick)
    ranking = rank_openings(flow, [front], [top], [0.5], [0.0], cp_deviation=0.0)
    ranking = replace(ranking, reversal=np.full((3, 1), 0.5))
    told = spoilers(flow, [scoop, pipe, front, top], None, [gas, cabin], ranking)
    assert [(s.opening, s.kind, s.severity) for s in told] == [
        ("top", "air into the cabin", "spoils"),
        ("top", "reversed flow", "look"),
        ("top", "reversed flow", "look"),
        ("top", "rain", "look"),
        ("scoop", "exhaust air", "look"),
    ]


def test_pairs_are_those_given_and_the_best_of_each_other_exit(brick, front, side):
    flow = flow_with(brick)
    better = np.where(brick.centroids[:, 1] > 0.2, 1.1, 1.0)
    flow = replace(flow, gauge_pressure=flow.gauge_pressure * better)
    second = lay_opening(brick, "second", (-1.0, 0.3, 0.0), 0.2, 0.2, use="inlet")
    other = lay_opening(brick, "other", (0.3, -0.5, 0.0), 0.2, 0.1)
    searched = lay_opening(brick, "searched", (0.0, -0.5, 0.0), 0.2, 0.1)
    ranking = rank_openings(flow, [front, second], [side, other, searched], [0.4, 0.5], [0.1, 0.1])
    ranking = replace(ranking, reversal=np.full(ranking.reversal.shape, 0.5))

    def told(pairs):
        own = [front, second, side, other]
        all_found = spoilers(flow, own, None, (), ranking, pairs)
        return {(s.opening, s.about) for s in of_kind(all_found, "reversed flow")}

    assert told([]) == {("side", "second"), ("other", "second")}
    given = next(
        k
        for k in range(ranking.n_pairs)
        if (ranking.inlet(k).name, ranking.exit(k).name) == ("front", "searched")
    )
    assert told([given]) == {("side", "second"), ("other", "second"), ("searched", "front")}


def test_worst_of_each_is_the_farthest_beyond_its_limit():
    def one(value, severity="look", condition="a", about=""):
        return Spoiler("x", "rain", condition, value, 1.0, "", "memory", "T.", severity, about)

    group = [one(2.0), one(3.0, condition="b"), one(1.5, "spoils", "c"), one(9.0, about="y")]
    assert worst_of_each(group) == [(group[2], ["a", "b", "c"]), (group[3], ["a"])]
    assert worst_of_each([one(2.0), one(-3.0, condition="b")])[0][0].value == -3.0
    assert worst_of_each([]) == []
