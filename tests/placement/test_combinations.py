"""Air through one bay against closed forms and laws; the search against looking at everything."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.atmosphere import hot_day_air, standard_air
from panelcp.errors import PlacementError
from panelcp.placement import combination_search, combinations
from panelcp.placement.bands import PatchForms, PressureSamples, UncertainAir, patch_kind
from panelcp.placement.bay import BayAir, exit_strength, inlet_strength, solve_bay
from panelcp.placement.candidates import NoCutZone
from panelcp.placement.combination_places import gap, mirror_twins, place_rules, scaled
from panelcp.placement.combination_search import OpeningSets, SetRules, find_sets
from panelcp.placement.combinations import (
    DISCHARGE,
    INLET_LOSS,
    CombinationSettings,
    combine,
)
from panelcp.placement.ranking import rank_openings
from panelcp.placement.requirement import EXPONENT, NeededPressure
from panelcp.quantity import UncertainValue
from panelcp.surface.opening import lay_opening
from tests.placement.test_ranking import FAST, SLOW, flow_with

RHO = 1.2


def bay(behind, inlet_areas, outside, exit_areas, resistance=0.0, exponent=2.0, loss=0.2, cd=0.62):
    """BayAir of one world."""
    return BayAir(
        behind=np.atleast_2d(behind),
        into=inlet_strength(np.atleast_2d(inlet_areas), loss, RHO),
        outside=np.atleast_2d(outside),
        out_of=exit_strength(np.atleast_2d(exit_areas), cd, RHO),
        resistance=[resistance],
        exponent=[exponent],
    )


def row(inlets, exits, factors=None):
    """One combination; all factors the first when not given."""
    factors = [0] * len(exits) if factors is None else factors
    padded = ([*v, *[-1] * (n - len(v))] for v, n in ((inlets, 2), (exits, 3), (factors, 3)))
    return OpeningSets(*([part] for part in padded))


# --- closed forms and laws -----------------------------------------------------------------


def test_one_inlet_one_exit_and_a_quadratic_core():
    # resistances in series: Q = sqrt(dP / sum R), R in Pa/(m3/s)2
    loss, cd, inlet, outlet, core = 0.3, 0.6, 0.02, 0.03, 500.0
    air = bay([800.0], [inlet], [-150.0], [outlet], core, 2.0, loss, cd)
    found = solve_bay(row([0], [0]), [1.0], air)
    first, last = loss * RHO / 2 / inlet**2, RHO / 2 / (cd * outlet) ** 2
    flow = np.sqrt(950.0 / (first + core + last))
    assert found.core[0, 0] == pytest.approx(flow, rel=1e-12)
    assert found.plenum[0, 0] == pytest.approx(800.0 - first * flow**2, rel=1e-11)
    assert found.bay[0, 0] == pytest.approx(-150.0 + last * flow**2, rel=1e-11)
    assert found.inlets[0, 0, 0] == pytest.approx(flow, rel=1e-11)
    assert found.exits[0, 0, 0] == pytest.approx(flow, rel=1e-11)
    assert np.isnan(found.inlets[0, 0, 1])
    assert np.isnan(found.exits[0, 0, 1:]).all()


def test_exits_side_by_side_add_their_areas():
    # two equal exits, and one of 0.7 and one of 1.3, against one of twice the area
    air = bay([700.0], [0.02], [-80.0, -80.0, -80.0], [0.01, 0.01, 0.02], 400.0, 1.7)
    two = solve_bay(row([0], [0, 1]), [1.0], air)
    one = solve_bay(row([0], [2]), [1.0], air)
    uneven = solve_bay(row([0], [0, 1], [0, 2]), [0.7, 1.0, 1.3], air)
    for found in (two, uneven):
        assert found.core == pytest.approx(one.core, rel=1e-12)
        assert found.bay == pytest.approx(one.bay, rel=1e-11)
    assert two.exits[0, 0, :2] == pytest.approx(one.exits[0, 0, 0] * np.array([0.5, 0.5]))
    assert uneven.exits[0, 0, :2] == pytest.approx(one.exits[0, 0, 0] * np.array([0.35, 0.65]))


def test_two_equal_inlets_are_one_of_twice_the_area():
    air = bay([700.0, 700.0, 700.0], [0.01, 0.01, 0.02], [-80.0], [0.02], 400.0, 1.7)
    two, one = (solve_bay(row(i, [0]), [1.0], air) for i in ([0, 1], [2]))
    assert two.core == pytest.approx(one.core, rel=1e-12)


def test_an_exit_in_more_pressure_than_the_bay_draws_air_in_by_hand():
    # unit flows (m3/s per root Pa): inlet 0.04, core 0.05 (R = 400, n = 2), exits 0.03 and 0.01.
    # A bay at 100 Pa, first exit at 0 Pa: 0.03 * 10 = 0.300 out. Second exit at 181 Pa:
    # 0.01 * 9 = 0.090 in. Through the core 0.210, drop 400 * 0.0441 = 17.64, plenum 117.64;
    # inlet 0.210 / 0.04 = 5.25, squared 27.5625: 145.2025 Pa behind it.
    air = BayAir([[145.2025]], [[0.04]], [[0.0, 181.0]], [[0.03, 0.01]], [400.0], [2.0])
    found = solve_bay(row([0], [0, 1]), [1.0], air)
    assert found.bay[0, 0] == pytest.approx(100.0, rel=1e-12)
    assert found.plenum[0, 0] == pytest.approx(117.64, rel=1e-12)
    assert found.exits[0, 0, :2] == pytest.approx([0.300, -0.090], rel=1e-11)
    assert found.core[0, 0] == pytest.approx(0.210, rel=1e-11)
    # without it the core gets more air
    assert solve_bay(row([0], [0]), [1.0], air).core[0, 0] > 0.215


def test_an_inlet_in_less_pressure_than_the_plenum_blows_out():
    air = BayAir([[400.0, 20.0]], [[0.05, 0.05]], [[0.0]], [[0.02]], [800.0], [1.7])
    found = solve_bay(row([0, 1], [0]), [1.0], air)
    assert found.inlets[0, 0, 0] > 0.0 > found.inlets[0, 0, 1]
    assert np.nansum(found.inlets) == pytest.approx(found.core[0, 0], rel=1e-9)


def test_all_turns_round_when_all_pressures_do():
    air = bay([300.0, 100.0], [0.02, 0.01], [-50.0, 20.0, 0.0], [0.01, 0.02, 0.03], 300.0, 1.7)
    there = solve_bay(row([0, 1], [0, 1, 2]), [1.0], air)
    back = solve_bay(
        row([0, 1], [0, 1, 2]), [1.0], replace(air, behind=-air.behind, outside=-air.outside)
    )
    assert back.core == pytest.approx(-there.core, rel=1e-9)
    assert back.exits == pytest.approx(-there.exits, rel=1e-6)


def test_air_at_rest_stays_at_rest():
    found = solve_bay(row([0], [0, 1]), [1.0], bay([0.0], [0.02], [0.0, 0.0], [0.01, 0.02], 300.0))
    assert found.core[0, 0] == 0.0
    assert (np.nan_to_num(found.exits) == 0.0).all()


def random_networks(rng, n):
    """n combinations of two inlets and three exits, each in a world of its own; some not there.

    Areas from 10 to 1000 cm2, inlet losses from 0.02 to 10, cores from 1 Pa to 10 kPa at 1 m3/s,
    pressures from some Pa to 3 kPa. A core that is all but closed would cost digits: its drop
    follows the flow through the exits, and this the pressure in the bay, ever more steeply.
    """
    inlets = np.where(rng.random((n, 2)) < [1.0, 0.5], [0, 1], -1)
    exits = np.where(rng.random((n, 3)) < [1.0, 0.7, 0.7], [0, 1, 2], -1)
    sets = OpeningSets(inlets, exits, np.where(exits >= 0, rng.integers(0, 3, (n, 3)), -1))
    wide = 10.0 ** rng.uniform(-3.0, -1.0, (n, 5))
    loss, cd = 10.0 ** rng.uniform(-1.7, 1.0, (n, 1)), rng.uniform(0.2, 1.0, (n, 3))
    pressures = rng.uniform(-3000.0, 3000.0, (n, 5)) * 10.0 ** rng.uniform(-3.0, 0.0, (n, 1))
    air = BayAir(
        behind=pressures[:, :2],
        into=inlet_strength(wide[:, :2], loss, RHO),
        outside=pressures[:, 2:],
        out_of=exit_strength(wide[:, 2:], cd, RHO),
        resistance=10.0 ** rng.uniform(0.0, 4.0, n),
        exponent=rng.uniform(1.0, 2.0, n),
    )
    return sets, air


def solved_each(sets, air):
    """Flows of every combination in its own world: plenum, bay, core, inlets, exits."""
    parts = []
    for start in range(0, len(sets), 20):
        some = slice(start, start + 20)
        found = solve_bay(sets[some], [0.7, 1.0, 1.4], air[some])
        own = np.arange(len(found.core))
        names = ("plenum", "bay", "core", "inlets", "exits")
        parts.append([getattr(found, name)[own, own] for name in names])
    return [np.concatenate(part) for part in zip(*parts, strict=True)]


def test_ten_thousand_random_bays_are_solved_and_keep_the_mass():
    sets, air = random_networks(np.random.default_rng(8), 10_000)
    plenum, pressure, core, inlets, exits = solved_each(sets, air)
    into, out = np.nansum(inlets, axis=1), np.nansum(exits, axis=1)
    scale = np.nansum(np.abs(inlets), axis=1) + np.nansum(np.abs(exits), axis=1)
    lost = np.abs(into - out) / scale
    # a flow near its turning point follows the root of a difference of two pressures that are
    # known to some 1e-14 of them: up to 1e-7 of what the opening can pass
    assert np.median(lost) < 1e-13
    assert np.quantile(lost, 0.99) < 1e-9
    assert lost.max() < 1e-6
    assert out == pytest.approx(core, rel=1e-9, abs=1e-12)
    drop = air.resistance * np.sign(core) * np.abs(core) ** air.exponent
    assert plenum - pressure == pytest.approx(drop, rel=1e-6, abs=1e-9)
    everything = [air.behind[:, :1], air.outside[:, :1]]
    everything += [np.where(sets.inlets[:, 1:] >= 0, air.behind[:, 1:], air.behind[:, :1])]
    everything += [np.where(sets.exits[:, 1:] >= 0, air.outside[:, 1:], air.outside[:, :1])]
    everything = np.concatenate(everything, axis=1)
    for inside in (plenum, pressure):
        assert (inside >= everything.min(axis=1) - 1e-9).all()
        assert (inside <= everything.max(axis=1) + 1e-9).all()


def test_more_area_of_what_blows_out_gives_the_core_more_and_of_what_draws_in_less():
    sets, air = random_networks(np.random.default_rng(10), 200)
    _, _, core, _, exits = solved_each(sets, air)
    seen = {1.0: 0, -1.0: 0}
    for place in range(3):
        out_of = air.out_of.copy()
        out_of[:, place] *= 1.3
        gain = solved_each(sets, replace(air, out_of=out_of))[2] - core
        clear = np.abs(np.nan_to_num(exits[:, place])) > 1e-6
        sign = np.sign(exits[:, place])
        assert (gain[clear] * sign[clear] >= -1e-12).all()
        for way in seen:
            seen[way] += int((clear & (sign == way)).sum())
    assert min(seen.values()) > 50


def test_the_core_gets_less_from_more_resistance():
    air = bay([700.0], [0.02], [-80.0], [0.02], 400.0, 1.7)
    flows = [
        solve_bay(row([0], [0]), [1.0], replace(air, resistance=[r])).core[0, 0]
        for r in (0.0, 1.0, 100.0, 1e4, 1e8)
    ]
    assert (np.diff(flows) < 0.0).all()
    assert flows[-1] == pytest.approx((780.0 / 1e8) ** (1 / 1.7), rel=1e-2)


# --- search --------------------------------------------------------------------------------


def random_case(rng, n_inlets=3, n_exits=7, n_factors=3, n_conditions=4):
    """Rules and score of a random bay, small enough to look at everything."""

    def apart(shape):
        good = rng.random(shape) > 0.15
        return good & good.T if shape[0] == shape[1] else good

    twins = np.full(n_exits, -1)
    twins[:2] = [1, 0]
    rules = SetRules(
        apart((n_inlets, n_inlets)),
        apart((n_exits, n_exits)),
        apart((n_inlets, n_exits)) if n_inlets != n_exits else np.ones((n_inlets, n_exits), bool),
        np.outer(rng.uniform(0.005, 0.04, n_exits), [0.7, 1.0, 1.4][:n_factors]),
        twins,
        most_area=rng.choice([0.05, 0.08, np.inf]),
    )
    density = np.full((n_conditions, 1), RHO)
    air = BayAir(
        behind=rng.uniform(100.0, 900.0, (n_conditions, n_inlets)),
        into=inlet_strength(
            rng.uniform(0.005, 0.02, n_inlets), 0.2, np.full((n_conditions, 1), RHO)
        ),
        outside=rng.uniform(-400.0, 400.0, (n_conditions, n_exits)),
        out_of=exit_strength(rules.areas[:, 1], 0.62, density),
        resistance=np.full(n_conditions, 400.0),
        exponent=np.full(n_conditions, 1.7),
    )
    needed = rng.uniform(0.3, 0.6, n_conditions)

    def score(sets):
        ratio = solve_bay(sets, [0.7, 1.0, 1.4], air).core / needed
        return ratio.min(axis=1), ratio.mean(axis=1)

    return rules, score


def test_the_search_finds_what_looking_at_everything_finds():
    rng, found_best, shares = np.random.default_rng(11), 0, []
    for _ in range(50):
        rules, score = random_case(rng)
        full = find_sets(rules, score, 10**9)
        searched = find_sets(rules, score, 0)
        assert full.exact
        assert not searched.exact
        assert searched.possible == full.possible == len(full.sets)
        assert searched.least.max() <= full.least.max() + 1e-12
        found_best += searched.least.max() >= full.least.max() - 1e-12
        shares.append(len(searched.sets) / len(full.sets))
    assert found_best == 50
    assert np.mean(shares) < 0.9


def test_the_search_looks_at_few_of_many():
    rules, score = random_case(np.random.default_rng(12), n_inlets=4, n_exits=14)
    full, searched = (find_sets(rules, score, most) for most in (10**9, 0))
    assert searched.least.max() == pytest.approx(full.least.max(), rel=1e-12)
    assert len(searched.sets) < 0.5 * full.possible
    rules, score = random_case(np.random.default_rng(13), n_inlets=2, n_exits=30)
    searched = find_sets(rules, score, 0)
    assert len(searched.sets) < 0.2 * searched.possible


def test_every_combination_is_counted_once():
    # 2 inlets: 3 groups; 4 exits, 2 areas: 4 * 2 + 6 * 4 + 4 * 8 = 64
    free = SetRules(
        np.ones((2, 2)), np.ones((4, 4)), np.ones((2, 4)), np.ones((4, 2)), np.full(4, -1)
    )

    def score(sets):
        return np.zeros(len(sets)), np.zeros(len(sets))

    found = find_sets(free, score, 10**6)
    assert found.possible == len(found.sets) == 3 * 64
    codes = combination_search._coded(found.sets, 2)
    assert len(np.unique(codes)) == 3 * 64
    again = combination_search._decoded(codes, 2)
    assert all(
        np.array_equal(getattr(again, n), getattr(found.sets, n))
        for n in ("inlets", "exits", "factors")
    )
    # one exit too near to another, at most two, and no more than 2.5 m2 of areas 1 and 2
    near = np.ones((4, 4), bool)
    near[0, 1] = near[1, 0] = False
    tight = replace(
        free,
        exits_apart=near,
        most_exits=2,
        most_inlets=1,
        areas=np.outer(np.ones(4), [1, 2]),
        most_area=2.5,
    )
    found = find_sets(tight, score, 10**6)
    # 2 inlets times (4 exits of 2 areas + 5 pairs of 1 + 1)
    assert found.possible == len(found.sets) == 2 * (8 + 5)
    assert tight.allowed(found.sets).all()


def test_nothing_allowed_is_nothing_found():
    rules = SetRules([[1]], [[1]], [[0]], [[1.0]], [-1])
    for most in (10, -1):
        found = find_sets(rules, lambda sets: (np.zeros(len(sets)),) * 2, most)
        assert len(found.sets) == found.possible == 0


# --- whole ---------------------------------------------------------------------------------

CORE = UncertainValue(200.0, 160.0, 250.0, "memory", kind="pressure")
AIR = UncertainValue(1.0, 0.9, 1.15, "memory", kind="mass flow")
NEED = NeededPressure(CORE, 388.15, hot_day_air(0.0))
SETTINGS = CombinationSettings(AIR, NEED)
POWERED = (replace(FAST, power=1.0, day="hot day"), replace(SLOW, power=0.5))
GLIDE = replace(FAST, name="glide", decides=False, needed_pressure=None)
CONDITIONS = (*POWERED, GLIDE)
GAUGE = [[900, -100, -200, 150], [450, -80, -50, 60], [900, -50, 300, 850]]


@pytest.fixture(scope="module")
def places(brick):
    return {
        "front": lay_opening(brick, "front", (-1.0, 0.2, 0.0), 0.12, 0.12, use="inlet"),
        "front left": lay_opening(brick, "front left", (-1.0, -0.2, 0.0), 0.12, 0.12, use="inlet"),
        "rear": lay_opening(brick, "rear", (1.0, 0.0, 0.0), 0.15, 0.2),
        "right": lay_opening(brick, "right", (0.0, 0.5, 0.0), 0.15, 0.2, kind="louvre"),
        "left": lay_opening(brick, "left", (0.0, -0.5, 0.0), 0.15, 0.2, kind="louvre"),
        "top": lay_opening(brick, "top", (0.0, 0.0, 0.4), 0.15, 0.2, kind="flush hole"),
        "top aft": lay_opening(brick, "top aft", (0.1, 0.0, 0.4), 0.15, 0.2, kind="flush hole"),
    }


@pytest.fixture(scope="module")
def ranking(brick, places):
    flow = flow_with(brick, CONDITIONS, GAUGE)
    inlets = [places["front"], places["front left"]]
    exits = [places[name] for name in ("rear", "right", "left", "top", "top aft")]
    return rank_openings(flow, inlets, exits, [1.0, 1.0], [0.0, 0.0])


def sampled(ranking, spread=0.0, recovery=0.0, count=400):
    """Samples whose patch pressures have a deviation of so much of q, each opening for itself."""
    openings = (*ranking.inlets.openings, *ranking.exits.openings)
    n, shape = len(openings), (len(CONDITIONS), len(openings))
    pressures = [ranking.inlets, ranking.exits]
    patch = np.concatenate([p.patch_pressure for p in pressures], axis=1)
    eta = np.array([1.0] * 2 + [0.0] * (n - 2))
    q = np.array([c.dynamic_pressure for c in CONDITIONS])[:, None]
    still = np.zeros((len(CONDITIONS), 30, n))
    return PressureSamples(
        openings=openings,
        conditions=CONDITIONS,
        predicted=[True, True, True],
        patch=patch,
        head=np.concatenate([p.total_pressure for p in pressures], axis=1),
        recovery=eta,
        recovery_low=recovery * eta,
        recovery_high=0.0 * eta,
        forms=PatchForms(still, still, still, still, np.zeros(shape)),
        air=UncertainAir(),
        kinds=(patch_kind("model", spread * q * np.ones(shape), eta),),
        wetting=np.zeros((n, 0)),
        needed_low=[0.0] * 3,
        needed_high=[0.0] * 3,
        count=count,
    )


CERTAIN = replace(
    SETTINGS,
    air_flow=UncertainValue(1.0, kind="mass flow"),
    need=NeededPressure(UncertainValue(200.0, kind="pressure"), 388.15, hot_day_air(0.0)),
    inlet_loss=UncertainValue(0.2),
    discharge={k: UncertainValue(v.value) for k, v in DISCHARGE.items()},
)


def test_needed_flow_scales_with_heat_and_room_by_hand():
    # hot day at sea level, full power: the stated 1 kg/s and 200 Pa
    reference = hot_day_air(0.0)
    flow, drop = SETTINGS.needed_at(CONDITIONS[0])
    assert flow == pytest.approx(1.0 / reference.density, rel=1e-12)
    assert drop == pytest.approx(200.0, rel=1e-12)
    # half the power, standard day: 0.5 (388.15 - 310.93) / (388.15 - 288.15) kg/s
    air = standard_air(0.0)
    mass = 0.5 * (388.15 - reference.temperature) / 100.0
    flow, drop = SETTINGS.needed_at(CONDITIONS[1])
    assert flow == pytest.approx(mass / air.density, rel=1e-12)
    assert drop == pytest.approx(200.0 * mass**1.7 * reference.density / air.density, rel=1e-12)
    assert np.isnan(SETTINGS.needed_at(GLIDE)).all()
    # the core's own law goes through both
    resistance = SETTINGS.resistance(air.density)
    assert resistance * flow**EXPONENT.value == pytest.approx(drop, rel=1e-12)


def test_the_best_of_all_is_the_best_that_solving_each_by_itself_finds(ranking):
    found = combine(ranking, None, CONDITIONS, SETTINGS)
    assert found.exact
    assert found.looked_at == found.possible
    # of the two on top, which overlap, one enters; 3 groups of inlets; exits: 4 singles, 6 pairs,
    # 4 threes, with 3, 9 and 27 choices of area
    assert found.possible == 3 * (4 * 3 + 6 * 9 + 4 * 27)
    assert (np.diff(found.least_ratio) <= 1e-9).all()
    best = found.sets[[0]]
    for c, condition in enumerate(CONDITIONS[:2]):
        rho = condition.air.density
        inlets, exits = found.inlets_of(0), found.exits_of(0)
        air = BayAir(
            [[ranking.inlets.inlet_pressure[c, best.inlets[0, k]] for k in range(len(inlets))]],
            inlet_strength([[o.area for o in inlets]], INLET_LOSS.value, rho),
            [[ranking.exits.patch_pressure[c, ranking.exits.openings.index(o)] for o, _ in exits]],
            [[o.area * f * DISCHARGE[o.kind].value * np.sqrt(2 / rho) for o, f in exits]],
            [200.0 * NEED.reference_air.density / rho * rho**1.7],
            [1.7],
        )
        one = solve_bay(row(range(len(inlets)), range(len(exits))), [1.0], air)
        assert found.flows.core[0, c] == pytest.approx(one.core[0, 0], rel=1e-9)
    needed = [SETTINGS.needed_at(c)[0] for c in CONDITIONS]
    ratio = found.flows.core[0, :2] / needed[:2]
    assert found.least_ratio[0] == pytest.approx(ratio.min(), rel=1e-12)
    # weights 1 and 3
    assert found.mean_ratio[0] == pytest.approx((ratio[0] + 3 * ratio[1]) / 4, rel=1e-12)
    assert found.limiting[0] == ratio.argmin()
    assert np.isnan(found.ratio[2]).all()
    assert found.core_ratio[:2, 0] == pytest.approx(ratio**1.7, rel=1e-9)


def test_exits_in_pressure_are_told_where_they_draw_in(ranking):
    settings = replace(SETTINGS, names=("rear", "top"), most_inlets=1, area_factors=(1.0,))
    found = combine(ranking, sampled(ranking, 0.05), CONDITIONS, settings)
    assert [o.name for o in found.exits] == ["rear", "top"]
    both = next(k for k in range(len(found)) if len(found.exits_of(k)) == 2)
    # the bay lies below the 850 Pa of the top in the glide: it draws in, the rear blows out
    told = {(name, c): (flow, chance) for name, c, flow, chance in found.reversals(both)}
    flow, chance = told["top", 2]
    assert flow < 0.0
    assert chance > 0.5
    assert all(name == "top" for name, *_ in found.reversals(both))
    place = [o.name for o, _ in found.exits_of(both)].index("top")
    assert found.flows.exits[both, 2, place] == flow
    assert np.isnan(found.inlet_reversal[:, both, 1]).all()


def test_what_is_certain_has_no_deviation(ranking):
    settings = replace(CERTAIN, area_factors=(1.0,))
    samples = sampled(ranking)
    found = combine(ranking, samples, CONDITIONS, settings)
    # only the exponent is left, which does not act where the flow is the stated one
    assert found.deviation.max() < 0.02 * found.least_ratio[0]
    assert set(found.sufficiency.tolist()) <= {0.0, 1.0}
    assert found.chance_best[0] == pytest.approx(1.0, abs=0.05)
    assert found.chance_best.sum() == pytest.approx(1.0)
    alone = combine(ranking, None, CONDITIONS, settings)
    assert np.isnan(alone.deviation).all()
    assert np.isnan(alone.exit_reversal).all()
    assert alone.preferred == 0


def test_deviation_of_the_needed_flow_alone_by_hand(ranking):
    # flow over needed flow goes with 1 / needed: deviation 10 % of the ratio in the logarithm
    band = UncertainValue(1.0, 1 / 1.1, 1.1, "memory", kind="mass flow")
    settings = replace(CERTAIN, air_flow=band, area_factors=(1.0,))
    found = combine(ranking, sampled(ranking, count=2000), CONDITIONS, settings)
    assert found.deviation[0] == pytest.approx(np.log(1.1) * found.least_ratio[0], rel=0.03)
    # common to all: it leaves their difference in the same proportion only
    expected = np.log(1.1) * (found.least_ratio[0] - found.least_ratio)
    assert found.difference_deviation == pytest.approx(expected, rel=0.05, abs=2e-3)


def test_of_equal_combinations_the_fewest_and_smallest_openings_are_preferred(ranking):
    found = combine(ranking, sampled(ranking, 0.3), CONDITIONS, SETTINGS)
    tied = np.flatnonzero(found.tied())
    assert tied[0] == 0
    assert len(tied) > 1
    counts = found.sets.sizes.sum(axis=1)
    chosen = found.preferred
    assert counts[chosen] == counts[tied].min()
    same = tied[counts[tied] == counts[chosen]]
    assert found.exit_area[chosen] == pytest.approx(found.exit_area[same].min())
    sure = combine(ranking, sampled(ranking), CONDITIONS, CERTAIN)
    assert sure.preferred == 0


def test_fewer_and_smaller_ones_are_among_those_looked_at_closely(ranking):
    found = combine(ranking, None, CONDITIONS, SETTINGS)
    assert set(found.sets.sizes.sum(axis=1).tolist()) == {2, 3, 4, 5}
    assert len(found) <= combinations.KEPT
    assert {found.sets.factors[k].max() for k in range(len(found))} == {0, 1, 2}


def test_bounds_of_the_table_hold(ranking):
    most = 0.031
    settings = replace(SETTINGS, most_inlets=1, most_exits=2, most_exit_area=most)
    found = combine(ranking, None, CONDITIONS, settings)
    assert found.sets.sizes[:, 0].max() == 1
    assert found.sets.sizes[:, 1].max() <= 2
    assert found.exit_area.max() <= most
    first = found.exits_of(0)
    assert found.exit_area[0] == pytest.approx(sum(o.area * f for o, f in first))


def test_a_search_says_that_it_is_one(ranking, monkeypatch):
    exact = combine(ranking, None, CONDITIONS, SETTINGS)
    monkeypatch.setattr(combinations, "MOST_EXACT", 100)
    found = combine(ranking, None, CONDITIONS, SETTINGS)
    assert not found.exact
    assert found.possible == exact.possible
    assert found.looked_at < exact.looked_at
    assert found.least_ratio[0] == pytest.approx(exact.least_ratio[0], rel=1e-12)


def test_openings_that_lie_on_each_other_or_near_are_not_combined(ranking, places):
    assert gap(places["top"], places["top aft"]) == 0.0
    assert gap(places["right"], places["left"]) == pytest.approx(1.0, rel=1e-9)
    found = combine(ranking, None, CONDITIONS, replace(SETTINGS, candidates=5, least_distance=0.2))
    for k in range(len(found)):
        names = [o.name for o, _ in found.exits_of(k)]
        assert not {"top", "top aft"} <= set(names)


def test_gap_between_rectangles_on_a_plane(brick):
    first = lay_opening(brick, "first", (0.0, 0.0, 0.4), 0.2, 0.1)
    for centre, expected in (
        ((0.3, 0.0, 0.4), 0.1),
        ((0.0, 0.18, 0.4), 0.08),
        ((0.23, 0.14, 0.4), 0.05),  # corners apart by 0.03 and 0.04
    ):
        other = lay_opening(brick, "other", centre, 0.2, 0.1)
        assert gap(first, other) == pytest.approx(expected, rel=1e-6)
        assert gap(other, first) == pytest.approx(expected, rel=1e-6)
    crossing = lay_opening(brick, "crossing", (0.0, 0.0, 0.4), 0.05, 0.4)
    assert gap(first, crossing) == 0.0


def test_mirror_images_are_found(places):
    some = [places[name] for name in ("right", "top", "left", "rear")]
    assert mirror_twins(some).tolist() == [2, -1, 0, -1]


def test_a_place_brings_its_mirror_image(ranking):
    found = combine(ranking, None, CONDITIONS, replace(SETTINGS, candidates=1))
    # best exit of the pairs is the rear; the best inlet has a twin
    assert [o.name for o in found.inlets] == ["front", "front left"]
    best = ranking.exit(0).name
    others = {"right": {"left"}, "left": {"right"}}.get(best, set())
    assert {o.name for o in found.exits} == {best} | others
    assert found.inlets[0].name != found.inlets[1].name


def test_mistakes_are_told(ranking, places):
    with pytest.raises(PlacementError, match=r"'rere' is neither an inlet nor an exit .*'rear'"):
        combine(ranking, None, CONDITIONS, replace(SETTINGS, names=("rere",)))
    with pytest.raises(PlacementError, match="'top' and 'top aft' overlap or lie nearer than 25"):
        combine(ranking, None, CONDITIONS, replace(SETTINGS, names=("top", "top aft")))
    for key, value, text in (
        ("most_exits", 0, "exits is 0; expected 1 to 3"),
        ("most_exits", 4, "exits is 4; expected 1 to 3"),
        ("most_inlets", 3, "inlets is 3; expected 1 to 2"),
        ("candidates", 0, "candidates is 0; expected 1 to 60"),
        ("area_factors", (0.0, 1.0), "all above 0"),
        ("names", ("rear", "rear"), "'rear' more than once"),
        ("inlet_loss", UncertainValue(0.2, 0.0, 0.4), "inlet_loss must be above 0"),
        ("air_flow", UncertainValue(0.0, kind="mass flow"), "air_flow must be above 0"),
    ):
        with pytest.raises(PlacementError, match=text):
            replace(SETTINGS, **{key: value})
    lacking = (replace(CONDITIONS[0], power=None), *CONDITIONS[1:])
    with pytest.raises(PlacementError, match=r"no power above 0 in .* fast"):
        combine(ranking, None, lacking, SETTINGS)
    with pytest.raises(PlacementError, match="every exit is larger than 10 cm2"):
        combine(ranking, None, CONDITIONS, replace(SETTINGS, most_exit_area=0.001))
    other = sampled(ranking)
    turned = replace(other, openings=other.openings[::-1])
    with pytest.raises(PlacementError, match="of 7 other openings than the 7 of the ranking"):
        combine(ranking, turned, CONDITIONS, SETTINGS)


def test_coefficients_go_by_name_then_kind(places):
    own = UncertainValue(0.93, 0.9, 0.97, "yours")
    settings = replace(SETTINGS, discharge={"rear": own, "louvre": UncertainValue(0.5)})
    assert settings.discharge_of(places["rear"]) == ("opening rear", own)
    assert settings.discharge_of(places["right"])[1].value == 0.5
    assert settings.discharge_of(places["top"])[1] is DISCHARGE["flush hole"]
    marks = dict(settings.marks([places["rear"], places["top"], places["top aft"]]))
    assert marks["combinations: discharge, opening rear"] is own
    assert marks["combinations: needed air flow at full power"] is AIR
    assert len(marks) == 6


def test_records_are_protected(ranking):
    found = combine(ranking, None, CONDITIONS, SETTINGS)
    for array in (found.ratio, found.flows.core, found.sets.exits, found.moving, found.limiting):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_no_exit_grows_into_a_zone_or_into_another_one(ranking):
    """What is recommended must be cut as it is: at its area, not at the opening's own."""
    exits = list(ranking.exits.openings)[:2]
    inlets = list(ranking.inlets.openings)
    settings = replace(SETTINGS, area_factors=(1.0, 2.25))
    grown = scaled(exits[0], 2.25)
    assert (grown.length, grown.width) == pytest.approx(
        (1.5 * exits[0].length, 1.5 * exits[0].width)
    )
    reach = 0.5 * np.linalg.norm(grown.outline - exits[0].centre, axis=1).max()
    free = place_rules(inlets, exits, settings)
    assert np.isfinite(free.areas).all()
    beyond = grown.outline[np.argmax(grown.outline[:, 0])]
    zone = NoCutZone("flange", "sphere", centre=beyond, radius=0.02 * reach)
    assert not zone.holds(exits[0].outline).any()
    bound = place_rules(inlets, exits, settings, [zone])
    assert np.isnan(bound.areas[0]).tolist() == [False, True]
    assert np.isfinite(bound.areas[1]).all()
