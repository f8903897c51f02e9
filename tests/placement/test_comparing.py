"""Cases in the same worlds: exact zeros, normal differences, and what cases have in common.

Tolerances of four standard errors of the sample: of n draws a deviation is good to 1 / sqrt(2 n),
a probability to sqrt(p (1 - p) / n).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from panelcp.errors import PlacementError
from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.surroundings import Surroundings
from panelcp.placement.bands import (
    MODEL,
    PANELLING,
    SAMPLES,
    SIDES,
    PressureSamples,
    UncertainAir,
    patch_forms,
    patch_kind,
    standard_draws,
)
from panelcp.placement.comparing import (
    SAME_PLACE,
    case_differences,
    chances_of_best,
    common_conditions,
    deciding_names,
    draw_names,
    find_pair,
    in_shared_worlds,
    opening_differences,
    paired_difference,
    paired_least_ratios,
)
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies

CLIMB = FlightCondition("climb", true_airspeed=35.0, alpha=5.0, needed_pressure=400.0)
GLIDE = FlightCondition("glide", true_airspeed=45.0, alpha=1.0, needed_pressure=500.0)
SLIP = FlightCondition("slip", true_airspeed=35.0, beta=8.0, needed_pressure=400.0)
CONDITIONS = (CLIMB, GLIDE, replace(SLIP, decides=False))
PLACES = {
    "nose": (-1.9, 0.0, -0.16),
    "top": (-1.2, 0.0, 0.4),
    "aft": (-0.8, 0.0, 0.46),
    "under": (-1.0, 0.0, -0.43),
}
ETA, GROUPS = 0.8, ("unnamed", "cowl")
DEVIATION = 4.0 / np.sqrt(2.0 * SAMPLES)
PROBABILITY = 4.0 * 0.5 / np.sqrt(SAMPLES)


@pytest.fixture(scope="module")
def finder():
    vertices, triangles = bodies.icosphere(2)
    return SkinFinder(SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles))


@pytest.fixture(scope="module")
def opening(finder):
    """Function of a name in PLACES and a shift in m: an opening of 0.1 m by 0.1 m."""

    def lay(name, called=None, shift=0.0, kind="plain exit"):
        place = np.array(PLACES[name]) + np.array([shift, 0.0, 0.0])
        use = "inlet" if name == "nose" else "exit"
        return lay_opening(finder, called or name, place, 0.1, 0.1, use=use, kind=kind)

    return lay


@pytest.fixture(scope="module")
def solutions(finder):
    return solve_conditions(finder.surface, CONDITIONS, Surroundings())


@pytest.fixture(scope="module")
def rank(solutions):
    """Function of the exits: ranking with the inlet, and what is uncertain."""

    def make(
        inlet, exits, model=0.0, panelling=0.0, groups=None, onset=None, needed=0.0, decide=()
    ):
        flow = solutions.flow()
        conditions = [replace(c, decides=c.name in decide or not decide) for c in CONDITIONS]
        if not decide:
            conditions = list(CONDITIONS)
        flow = replace(flow, conditions=tuple(conditions))
        openings, eta = [inlet, *exits], np.array([ETA, *np.zeros(len(exits))])
        air = opening_pressures(flow, openings, eta)
        groups = np.zeros((len(openings), 0)) if groups is None else groups
        each = np.ones(air.patch_pressure.shape)
        samples = PressureSamples(
            openings=tuple(openings),
            conditions=flow.conditions,
            predicted=flow.predicted,
            patch=air.patch_pressure,
            head=air.total_pressure,
            recovery=eta,
            recovery_low=0.1 * (eta > 0.0),
            recovery_high=0.1 * (eta > 0.0),
            forms=patch_forms(solutions, openings),
            air=onset or UncertainAir(),
            kinds=(
                patch_kind(MODEL, model * each, eta, groups),
                patch_kind(PANELLING, panelling * each, eta),
            ),
            wetting=groups,
            needed_low=np.full(len(conditions), needed),
            needed_high=np.full(len(conditions), needed),
        )
        return rank_openings(flow, [inlet], exits, [ETA], [0.1], samples=samples)

    return make


UNCERTAIN = {
    "model": 40.0,
    "panelling": 5.0,
    "onset": UncertainAir(1.5, 3.0),
    "needed": 100.0,
}


def test_same_case_twice_differs_in_nothing(rank, opening):
    rankings = [rank(opening("nose"), [opening("top"), opening("under")], **UNCERTAIN)] * 2
    found = case_differences(rankings)
    assert found.conditions == ("climb", "glide")
    for part in (found.least, *found.ratios, *found.available):
        assert (part.difference, part.deviation, part.chance) == (0.0, 0.0, 0.5)
        assert part.band.tolist() == [0.0, 0.0, 0.0]
        assert part.tie
        assert part.apart > 0.0
    (inlet, outlet) = opening_differences(rankings, ["nose", "top", "no such"])
    assert (inlet.use, outlet.use, inlet.moved) == ("inlet", "exit", 0.0)
    assert all(part.chance == 0.5 for part in (*inlet.pressures, *outlet.pressures))
    least = paired_least_ratios(rankings, [0, 0])
    assert chances_of_best(least).tolist() == [0.5, 0.5]


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.95])
def test_normal_difference_has_the_analytic_probability(correlation):
    """Two normal numbers: the difference has sqrt(s1^2 + s2^2 - 2 r s1 s2)."""
    one, other = (standard_draws("comparing", name) for name in ("one", "other"))
    other -= (one * other).mean() * one
    other /= other.std()
    second = correlation * one + np.sqrt(1.0 - correlation**2) * other
    found = paired_difference([1.5, 1.4], [1.5 + 0.2 * one, 1.4 + 0.3 * second])
    expected = np.sqrt(0.04 + 0.09 - 2.0 * correlation * 0.06)
    assert found.difference == pytest.approx(0.1)
    assert found.deviation == pytest.approx(expected, rel=1e-9)
    assert found.apart == pytest.approx(np.sqrt(0.13), rel=1e-9)
    assert found.chance == pytest.approx(ndtr(0.1 / expected), abs=PROBABILITY)
    assert found.band == pytest.approx(0.1 + expected * np.array([-1.0, 0.0, 1.0]), abs=0.03)
    assert found.tie == (expected >= 0.1)
    less = paired_difference([1.5, 1.4], [1.5 + 0.2 * one, 1.4 + 0.3 * second], True)
    assert less.chance == pytest.approx(1.0 - found.chance, abs=1e-12)


def test_moved_exit_keeps_what_is_common(rank, opening):
    """Model error of 40 Pa, 0.9 of it common: 40 sqrt(2 (1 - 0.81)) Pa is left at the exits."""
    groups = np.array([[0.0, 0.0], [0.9, 0.0]])
    first, second = (
        rank(opening("nose"), [opening(place, "vent")], model=40.0, groups=groups)
        for place in ("top", "aft")
    )
    rankings = in_shared_worlds([first, second], [GROUPS[:1]] * 2, [0, 0])
    found = case_differences(rankings)
    expected = 40.0 * np.sqrt(2.0 * (1.0 - 0.81))
    (vent,) = opening_differences(rankings, ["vent"])
    assert vent.moved == pytest.approx(0.4, abs=0.02)
    for part, at_exit in zip(found.available, vent.pressures, strict=True):
        assert part.deviation == pytest.approx(expected, rel=DEVIATION)
        assert part.deviation < 0.5 * part.apart
        assert at_exit.deviation == pytest.approx(part.deviation, rel=1e-9)
        assert at_exit.difference == pytest.approx(-part.difference, abs=1e-9)
        assert at_exit.chance == part.chance
        assert part.chance == pytest.approx(ndtr(part.difference / expected), abs=PROBABILITY)
    assert found.available[0].difference == first.available[0, 0] - second.available[0, 0]


def test_least_ratio_is_that_of_each_world(rank, opening):
    ranking = rank(opening("nose"), [opening("top"), opening("under")], **UNCERTAIN)
    pair = 1
    exit_number = 1 + ranking.exit_index[pair]
    samples = ranking.bands.samples
    by_hand = [
        samples.available(c, 0, exit_number) / samples.needed(ranking.needed)[c] for c in (0, 1)
    ]
    found = paired_least_ratios([ranking, ranking], [pair, 0])
    assert found.shape == (2, SAMPLES)
    assert found[0] == pytest.approx(np.min(by_hand, axis=0), rel=1e-12)
    assert found[0].std() == pytest.approx(ranking.least_ratio_deviation(pair), rel=1e-4)
    one = paired_least_ratios([ranking, ranking], [pair, 0], ["glide"])
    assert one[0] == pytest.approx(by_hand[1], rel=1e-12)


def test_conditions_are_matched_by_name(rank, opening):
    openings = opening("nose"), [opening("top")]
    first = rank(*openings)
    second = rank(*openings, decide=("slip", "glide"))
    assert deciding_names(second) == ("glide", "slip")
    assert common_conditions([first, second]) == ("glide",)
    assert case_differences([first, second]).conditions == ("glide",)
    third = rank(*openings, decide=("slip",))
    with pytest.raises(PlacementError, match="no condition decides in all 2 cases"):
        case_differences([first, third])


def test_what_cannot_be_compared(rank, opening):
    ranking = rank(opening("nose"), [opening("top")])
    with pytest.raises(PlacementError, match="without samples"):
        case_differences([ranking, replace(ranking, bands=None)])
    fewer = replace(ranking.bands.samples, count=100)
    fewer = replace(ranking, bands=replace(ranking.bands, samples=fewer))
    with pytest.raises(PlacementError, match="have 100, 2000 draws; expected equally many"):
        case_differences([ranking, fewer])


def test_pairs_are_found_by_names(rank, opening):
    ranking = rank(opening("nose"), [opening("top"), opening("under")])
    for pair in range(ranking.n_pairs):
        assert find_pair(ranking, "nose", ranking.exit(pair).name) == pair
    assert find_pair(ranking, "nose", "aft") is None
    assert find_pair(ranking, "top", "nose") is None


# --- what is common ------------------------------------------------------------------------


def test_same_place_has_the_same_draws_whatever_its_name(opening):
    """Nearer than SAME_PLACE of the side of 0.1 m is one place; a name alone is none."""
    first = [opening("nose"), opening("top", "top 1"), opening("aft", "top 2")]
    near, far = 0.5 * SAME_PLACE * 0.1, 2.0 * SAME_PLACE * 0.1
    table = (
        ([opening("top", "top 1")], ["top 1"]),
        ([opening("top", "top 1", near)], ["top 1"]),
        ([opening("top", "top 1", far)], ["top 1, place 2"]),
        ([opening("top", "top 1", kind="louvre")], ["top 1, place 2"]),
        ([opening("aft", "top 1")], ["top 2"]),
        ([opening("aft", "top 1"), opening("top", "top 2")], ["top 2", "top 1"]),
        ([opening("under", "new")], ["new"]),
        ([opening("under", "top 2"), opening("aft", "low")], ["top 2, place 2", "top 2"]),
        # of two that are near, the nearer one
        ([opening("top", "x", near), opening("top", "y", 0.2 * near)], ["x", "top 1"]),
        # one of both uses stands there twice
        ([opening("aft", "both"), opening("aft", "both")], ["top 2", "top 2"]),
    )
    for second, names in table:
        found = draw_names([first, second])
        assert found == [["nose", "top 1", "top 2"], names]


def test_third_case_shares_the_place_of_the_second(opening):
    cases = [[opening(place, "vent")] for place in ("top", "aft", "aft", "top", "under")]
    names = [names for (names,) in draw_names(cases)]
    assert names == ["vent", "vent, place 2", "vent, place 2", "vent", "vent, place 3"]


def test_places_that_change_names_still_share_their_errors(rank, opening):
    """Searches number their places anew; the error of a place stays with the place."""
    first = rank(opening("nose"), [opening("top", "top 1"), opening("aft", "top 2")], model=40.0)
    second = rank(opening("nose"), [opening("aft", "top 1")], model=40.0)
    pairs = [find_pair(first, "nose", "top 2"), 0]
    assert case_differences([first, second], pairs).available[0].deviation > 40.0
    shared = in_shared_worlds([first, second], [GROUPS[:1]] * 2, [0, 0])
    assert case_differences(shared, pairs).available[0].deviation == 0.0


def test_regions_are_matched_by_name(rank, opening):
    sides = len(SIDES)
    cowl = np.zeros((2, 2 * sides))
    cowl[:, sides] = 1.0
    openings = opening("nose"), [opening("top")]
    first = rank(*openings, model=40.0, groups=cowl)
    second = rank(*openings, model=40.0, groups=np.roll(cowl, -sides, axis=1))
    by_number = in_shared_worlds([first, second], [GROUPS] * 2, [0, 0])
    assert case_differences(by_number).available[0].deviation > 10.0
    by_name = in_shared_worlds([first, second], [GROUPS, GROUPS[::-1]], [0, 0])
    assert case_differences(by_name).available[0].deviation == 0.0
    kept = by_name[0].bands.samples.kinds[0]
    assert kept.name == MODEL
    assert np.array_equal(kept.common, cowl)


def test_other_panels_have_other_errors(rank, opening):
    """Panelling error of 20 Pa at the exit and 0.2 of it at the inlet, in both cases."""
    rankings = [rank(opening("nose"), [opening("top")], model=40.0, panelling=20.0)] * 2
    expected = 20.0 * np.sqrt(2.0 * (1.0 + (1.0 - ETA) ** 2))
    same, other = (
        case_differences(in_shared_worlds(rankings, [GROUPS[:1]] * 2, panels))
        for panels in ([0, 0], [0, 1])
    )
    assert same.available[0].deviation == 0.0
    assert other.available[0].difference == 0.0
    assert other.available[0].deviation == pytest.approx(expected, rel=2.0 * DEVIATION)


def test_best_of_three_shares_what_is_equal():
    least = np.array([[1.0, 2.0, 5.0, 1.0], [1.0, 3.0, 4.0, 1.0], [1.0, 1.0, 4.0, 2.0]])
    assert chances_of_best(least) == pytest.approx([4 / 12, 4 / 12, 4 / 12])
    assert chances_of_best(least[:2]) == pytest.approx([0.5, 0.5])
    assert chances_of_best(least[:, :3]).sum() == pytest.approx(1.0)
