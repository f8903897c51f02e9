"""Effectiveness against exact values, limits, laws, and general-purpose libraries."""

import ht
import numpy as np
import pytest
from scipy.special import gammainc

from panelcp.cooling.bracketing import bracketed_root
from panelcp.cooling.exchangers import (
    ARRANGEMENTS,
    effectiveness,
    greatest_effectiveness,
    transfer_units,
)
from panelcp.errors import NetworkError

RATIOS = [0.1, 0.25, 0.5, 0.75, 1.0]
# exact: the series, its Bessel form and a march through the core agree to the digits shown
UNMIXED = {
    0.25: [0.218783, 0.215224, 0.209462, 0.203905, 0.198544],
    0.5: [0.385982, 0.375094, 0.357827, 0.341595, 0.326330],
    1.0: [0.614031, 0.588011, 0.547490, 0.510309, 0.476222],
    1.5: [0.752087, 0.716154, 0.659732, 0.607750, 0.560173],
    2.0: [0.837627, 0.797422, 0.732409, 0.671080, 0.614247],
    3.0: [0.926771, 0.888457, 0.819708, 0.749406, 0.681291],
    4.0: [0.965148, 0.934020, 0.869687, 0.796884, 0.722426],
    5.0: [0.982718, 0.959074, 0.901668, 0.829251, 0.750904],
}
# the usual approximation 1 - exp((N^0.22 / C) (exp(-C N^0.78) - 1)); exact values of that formula
APPROXIMATED = {
    0.25: [0.217928, 0.213132, 0.205428, 0.198073, 0.191050],
    0.5: [0.384746, 0.372057, 0.351948, 0.333096, 0.315449],
    1.0: [0.613887, 0.587202, 0.544764, 0.505155, 0.468536],
    1.5: [0.753809, 0.719114, 0.662252, 0.608116, 0.557820],
    2.0: [0.840818, 0.803301, 0.738758, 0.675207, 0.615407],
    3.0: [0.930942, 0.896396, 0.828405, 0.755313, 0.684209],
    4.0: [0.968703, 0.940985, 0.876564, 0.800244, 0.723487],
    5.0: [0.985256, 0.964170, 0.905274, 0.828493, 0.748981],
}
# exact: larger mixed, smaller mixed, counterflow, parallel
OTHERS = {
    (1.0, 0.5): [0.541969, 0.544764, 0.564733, 0.517913],
    (2.0, 0.5): [0.702013, 0.717546, 0.774600, 0.633475],
    (1.0, 0.8): [0.496143, 0.497590, 0.525395, 0.463723],
    (2.0, 0.8): [0.624115, 0.631247, 0.710909, 0.540376],
}
GRID = np.meshgrid(
    np.r_[0.0, np.geomspace(1e-6, 300.0, 60)], np.r_[0.0, 1e-9, 1e-3, np.linspace(0.01, 1.0, 30)]
)


@pytest.mark.parametrize("units", UNMIXED)
def test_exact_values_of_both_streams_unmixed(units):
    assert effectiveness(units, RATIOS) == pytest.approx(UNMIXED[units], abs=5.1e-7)


@pytest.mark.parametrize("case", OTHERS)
def test_exact_values_of_the_other_arrangements(case):
    found = [effectiveness(*case, arrangement) for arrangement in ARRANGEMENTS[1:]]
    assert found == pytest.approx(OTHERS[case], abs=5.1e-7)


@pytest.mark.parametrize("units", APPROXIMATED)
def test_the_usual_approximation_stays_within_four_per_cent(units):
    ratio = effectiveness(units, RATIOS) / APPROXIMATED[units]
    assert np.all((ratio > 0.985) & (ratio < 1.041))


@pytest.mark.parametrize("units", [1e-3, 0.3, 2.0, 20.0, 80.0, 500.0])
def test_the_recursion_and_the_sum_equal_the_series(units):
    ratio = np.array([1e-9, 1e-4, 0.01, 0.05, 0.1, 0.4, 0.9, 0.999, 1.0])
    n = np.arange(1, 1000)[:, None]
    series = (gammainc(n, units) * gammainc(n, units * ratio)).sum(axis=0) / (units * ratio)
    assert effectiveness(units, ratio) == pytest.approx(series, abs=2e-13, rel=1e-12)


def test_agrees_with_a_march_through_the_core():
    units, ratio, cells = 2.0, 0.6, 200
    across, along = units / cells, units * ratio / cells
    cold = np.zeros(cells)
    for _ in range(cells):
        hot = 1.0
        for j in range(cells):
            exchanged = (hot - cold[j]) / (1.0 + 0.5 * across + 0.5 * along)
            cold[j] += across * exchanged
            hot -= along * exchanged
    # second order in the cell: 1e-5 with 200 of them
    assert effectiveness(units, ratio) == pytest.approx(cold.mean(), abs=2e-5)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_agrees_with_a_general_library(arrangement):
    subtype = {
        "cross-flow": "crossflow",
        "cross-flow, larger mixed": "crossflow, mixed Cmax",
        "cross-flow, smaller mixed": "crossflow, mixed Cmin",
    }.get(arrangement, arrangement)
    for units in (0.2, 1.0, 3.0):
        for ratio in (0.2, 0.7, 0.95):
            other = ht.effectiveness_from_NTU(units, ratio, subtype=subtype)
            assert effectiveness(units, ratio, arrangement) == pytest.approx(other, abs=1e-7)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_limits_and_bounds(arrangement):
    units, ratio = GRID
    found = effectiveness(units, ratio, arrangement)
    assert np.all((found >= 0.0) & (found <= 1.0))
    assert not found[units == 0.0].any()
    alone = ratio == 0.0
    assert found[alone] == pytest.approx(-np.expm1(-units[alone]), rel=1e-13)
    tiny = ratio == 1e-9
    assert found[tiny] == pytest.approx(-np.expm1(-units[tiny]), abs=2e-9)
    few = units == 1e-6
    assert found[few & (units > 0.0)] == pytest.approx(1e-6, rel=2e-6)
    bound = greatest_effectiveness(ratio, arrangement)
    assert np.all(found <= bound + 1e-14)
    much = effectiveness(1e9, ratio, arrangement)
    assert much == pytest.approx(bound, abs=6e-4)  # C = 1: 1 / sqrt(pi N) is missing


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_more_area_helps_and_a_warmer_other_stream_hurts(arrangement):
    units, ratio = GRID
    found = effectiveness(units, ratio, arrangement)
    assert np.all(np.diff(found, axis=1) >= -1e-13)
    assert np.all(np.diff(found, axis=0) <= 1e-13)


def test_order_of_the_arrangements():
    units, ratio = (part[3:, 30:50] for part in GRID)
    parallel, larger, smaller, unmixed, counter = (
        effectiveness(units, ratio, name)
        for name in (
            "parallel",
            "cross-flow, larger mixed",
            "cross-flow, smaller mixed",
            "cross-flow",
            "counterflow",
        )
    )
    for worse, better in ((parallel, larger), (smaller, unmixed), (unmixed, counter)):
        assert np.all(worse < better)
    # which stream mixes is the same to cores of equal heat capacity flows
    assert np.all((larger < smaller) == (ratio < 1.0))


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_transfer_units_invert_the_effectiveness(arrangement):
    units, ratio = np.meshgrid([0.0, 1e-4, 0.1, 0.7, 1.8, 4.0, 8.0], [0.0, 1e-6, 0.3, 0.8, 1.0])
    reached = effectiveness(units, ratio, arrangement)
    back = transfer_units(reached, ratio, arrangement)
    # near the bound one digit of effectiveness is many of transfer units
    assert effectiveness(back, ratio, arrangement) == pytest.approx(reached, abs=1e-12)
    assert back[:, :6] == pytest.approx(units[:, :6], rel=1e-8)


def test_wrong_numbers_are_refused():
    with pytest.raises(NetworkError, match=r"expected 0 or more and below 0\.5"):
        transfer_units([0.3, 0.6], 1.0, "parallel")
    with pytest.raises(NetworkError, match="more than 10000 transfer units"):
        transfer_units(0.9999, 1.0)
    with pytest.raises(NetworkError, match="smaller over the larger"):
        effectiveness(1.0, 1.2)
    with pytest.raises(NetworkError, match="expected 0 or more"):
        effectiveness(-1.0, 0.5)
    with pytest.raises(NetworkError, match="unknown arrangement"):
        effectiveness(1.0, 0.5, "shell")


def test_roots_between_bounds():
    power = np.array([1.0, 3.0, 9.0, 31.0])
    root = bracketed_root(lambda x: x**power - 0.3, 0.0, 5.0)
    assert root == pytest.approx(0.3 ** (1.0 / power), rel=1e-11)
    assert bracketed_root(lambda x: 2.0 - x, 0.0, 2.0) == 2.0
    assert np.isnan(bracketed_root(lambda x: x + 1.0, 0.0, 5.0))
    # a function with a corner and one with a jump
    assert bracketed_root(lambda x: np.maximum(x - 1.0, 0.0) - 0.5, 0.0, 9.0) == pytest.approx(1.5)
    assert bracketed_root(lambda x: np.where(x < 0.7, -1.0, 1e6), 0.0, 1.0) == pytest.approx(0.7)
