"""Chances, regret and ties of a short list against closed forms and a table worked by hand.

Tolerances of four standard errors: of n worlds a probability is good to sqrt(p (1 - p) / n).
"""

import numpy as np
import pytest
from scipy.special import ndtr

from panelcp.errors import PlacementError
from panelcp.placement.bands import COMMON, UncertainKind
from panelcp.placement.choices import BY_EASE, choices, tie_groups, tie_line
from tests.placement.made_samples import made_ranking, made_samples, opening

WORLDS = 8000
NEED = 100.0


def chance_error(p, count=WORLDS):
    return 4.0 * (p * (1.0 - p) / count) ** 0.5


def exits_ranked(ratios, deviation, common=0.0, places=None, count=1000):
    """One sure inlet with exits that give these central ratios, one condition.

    deviation: of the ratio of each exit; `common` of it is shared by all.
    """
    n = len(ratios)
    places = np.arange(n) if places is None else places
    laid = [opening("inlet", -5.0, use="inlet")]
    laid += [opening(f"exit {k}", x) for k, x in enumerate(places)]
    patch = np.concatenate([[0.0], -NEED * np.asarray(ratios, dtype=float)])[None]
    size = np.zeros((1, n + 1))
    size[0, 1:] = NEED * np.asarray(deviation)
    kind = UncertainKind("model", size, 0.0 * size, np.full((n + 1, 1), common))
    return made_ranking(made_samples(laid, patch, [kind], count=count), 1, [NEED])


# --- chances -------------------------------------------------------------------------------


@pytest.mark.parametrize("common", [0.0, COMMON])
def test_chance_of_two_is_that_of_a_normal_difference(common):
    found = choices(exits_ranked([1.5, 1.4], [0.2, 0.2], common, count=WORLDS), [0, 1])
    deviation = 0.2 * (2.0 * (1.0 - common**2)) ** 0.5
    expected = ndtr(0.1 / deviation)
    error = chance_error(expected)
    for chance in (found.chance_of_best, found.chance_of_exit, found.chance_among):
        assert chance[0] == pytest.approx(expected, abs=error)
        assert chance.sum() == pytest.approx(1.0)
    assert found.margin_of_best == pytest.approx([0.5, expected], abs=error)
    assert found.elsewhere == 0.0
    assert found.difference[0, 1] == pytest.approx(0.1, abs=1e-9)
    assert found.difference_deviation[0, 1] == pytest.approx(deviation, rel=0.03)
    # what both have in common makes the difference real: 0.28 of independent errors, 0.12 here
    assert found.tie[0, 1] == (common == 0.0 or deviation > 0.1)


def test_unequal_errors_add_in_squares():
    found = choices(exits_ranked([1.5, 1.4], [0.03, 0.04], count=WORLDS), [0, 1])
    expected = ndtr(0.1 / 0.05)
    assert found.chance_of_best[0] == pytest.approx(expected, abs=chance_error(expected))
    assert not found.tie[0, 1]


def test_three_that_are_alike_share_the_chance():
    found = choices(exits_ranked([1.5] * 3, [0.2] * 3, count=WORLDS), [0, 1, 2])
    third = pytest.approx([1.0 / 3.0] * 3, abs=chance_error(1.0 / 3.0))
    assert found.chance_of_best == third
    assert found.chance_among == third
    assert found.margin_of_best == pytest.approx([0.5] * 3, abs=chance_error(0.5))
    assert found.tie.all()


def test_worlds_in_which_two_are_the_same_are_shared():
    found = choices(exits_ranked([1.5, 1.5], [0.0, 0.0]), [0, 1])
    assert found.chance_among.tolist() == [0.5, 0.5]
    assert found.margin_of_best.tolist() == [0.5, 0.5]
    assert found.tie.all()


def test_best_places_count_for_the_choice_they_overlap():
    # 0.1 wide: the second lies over the first, the third nearer to the fourth; the last is far off
    places = [0.0, 0.06, 1.06, 1.0, 3.0]
    ranking = exits_ranked([1.5] * 5, [0.2] * 5, places=places, count=WORLDS)
    exits = [int(k) for k in ranking.exit_index]
    found = choices(ranking, [exits.index(0), exits.index(3)])
    assert found.chance_of_best == pytest.approx([0.4, 0.4], abs=chance_error(0.4))
    assert found.elsewhere == pytest.approx(0.2, abs=chance_error(0.2))
    assert found.chance_of_best.sum() + found.elsewhere == pytest.approx(1.0)
    assert found.chance_among == pytest.approx([0.5, 0.5], abs=chance_error(0.5))
    # a place over two of the list counts for the nearer one
    both = choices(ranking, [exits.index(1), exits.index(0)])
    assert both.chance_of_best == pytest.approx([0.2, 0.2], abs=chance_error(0.2))
    # the same rule as that by which the short list leaves out exits
    assert len(ranking.distinct(5)) == 3


def test_another_inlet_is_another_choice_but_the_same_exit():
    laid = [opening(f"inlet {k}", -5.0 - k, use="inlet") for k in range(2)]
    laid += [opening("exit", 0.0), opening("poor exit", 1.0)]
    patch, size = np.array([[150.0, 150.0, 0.0, 900.0]]), np.array([[20.0, 20.0, 20.0, 0.0]])
    kind = UncertainKind("model", size, size)
    ranking = made_ranking(made_samples(laid, patch, [kind], count=WORLDS), 2, [NEED])
    found = choices(ranking, [0])
    assert found.chance_of_best[0] == pytest.approx(0.5, abs=chance_error(0.5))
    assert found.elsewhere == pytest.approx(0.5, abs=chance_error(0.5))
    assert found.chance_of_exit.tolist() == [1.0]
    assert found.chance_among.tolist() == [1.0]


def test_hopeless_choice_changes_nothing_of_the_others():
    names = ("chance_of_best", "chance_of_exit", "chance_among", "worst_regret", "mean_regret")
    names += ("regret", "regret_band", "difference", "difference_deviation", "margin_of_best")
    few = choices(exits_ranked([1.5, 1.4], [0.2, 0.1]), [0, 1])
    more = choices(exits_ranked([1.5, 1.4, -9.0], [0.2, 0.1, 0.1]), [0, 1, 2])
    listed = choices(exits_ranked([1.5, 1.4, -9.0], [0.2, 0.1, 0.1]), [0, 1])
    for name in names:
        usual = getattr(few, name)
        assert getattr(listed, name) == pytest.approx(usual, abs=1e-12)
        kept = getattr(more, name)[..., :2]
        assert kept[: len(usual)] == pytest.approx(usual, abs=1e-12)
    assert more.chance_of_best[2] == 0.0
    assert (more.tie[:2, :2] == few.tie).all()
    assert not more.tie[2, :2].any()


# --- regret --------------------------------------------------------------------------------


def test_regret_of_a_table_worked_by_hand():
    # available/needed, conditions down, exits A, B, C across; and how far each falls behind
    #              A    B    C      best    A    B    C
    # slow (3)    1.2  1.5  1.0     1.5    0.3  0.0  0.5
    # fast (1)    2.0  1.4  2.4     2.0    0.0  0.6  0.0   more than 2 counts as 2
    # hot  (2)    1.1  1.2  0.7     1.2    0.1  0.0  0.5
    # worst                                0.3  0.6  0.5
    # weighted mean over 6: A (0.9 + 0 + 0.2) / 6, B 0.6 / 6, C (1.5 + 0 + 1.0) / 6
    table = np.array([[1.2, 1.5, 1.0], [2.0, 1.4, 2.4], [1.1, 1.2, 0.7]])
    needed = np.array([100.0, 250.0, 80.0])
    laid = [opening("inlet", -5.0, use="inlet")]
    laid += [opening(name, x) for x, name in enumerate("ABC")]
    patch = np.hstack([np.zeros((3, 1)), -table * needed[:, None]])
    ranking = made_ranking(made_samples(laid, patch, weights=[3.0, 1.0, 2.0]), 1, needed)
    order = [next(k for k in range(3) if ranking.exit(k).name == name) for name in "ABC"]
    assert order == [1, 0, 2]  # least: 1.1, 1.2, 0.7
    found = choices(ranking, order)
    assert found.first == 1
    expected = np.array([[0.3, 0.0, 0.5], [0.0, 0.6, 0.0], [0.1, 0.0, 0.5]])
    assert found.regret == pytest.approx(expected)
    assert found.worst_regret == pytest.approx([0.3, 0.6, 0.5])
    assert found.mean_regret == pytest.approx([1.1 / 6.0, 0.6 / 6.0, 2.5 / 6.0])
    # nothing is uncertain: every world is the central one
    assert found.regret_band == pytest.approx(np.tile([0.3, 0.6, 0.5], (3, 1)))
    assert found.difference[0] == pytest.approx([0.0, -0.1, 0.4])
    assert found.chance_of_best.tolist() == [0.0, 1.0, 0.0]
    assert found.margin_of_best.tolist() == [1.0, 0.5, 1.0]
    assert (found.tie == np.eye(3, dtype=bool)).all()
    assert tie_groups(found) == [[1], [0], [2]]
    assert "A, B" not in tie_line(found)


def test_regret_band_is_that_of_a_normal_difference():
    # one condition: the second falls behind by the difference where that is positive
    found = choices(exits_ranked([1.5, 1.4], [0.12, 0.16], count=WORLDS), [0, 1])
    z = np.array([-1.0, 0.0, 1.0]) * 0.9945  # 16, 50, 84 % of the normal distribution
    error = 4.0 * 0.2 * 0.5 / 0.24 / WORLDS**0.5
    assert found.regret_band[:, 1] == pytest.approx(np.maximum(0.1 + 0.2 * z, 0.0), abs=error)
    assert found.regret_band[:, 0] == pytest.approx(np.maximum(0.2 * z - 0.1, 0.0), abs=error)
    assert found.worst_regret == pytest.approx([0.0, 0.1])


# --- ties ----------------------------------------------------------------------------------


def test_ties_are_symmetric_and_reflexive():
    ratios = np.random.default_rng(8).normal(1.5, 0.1, 7)
    found = choices(exits_ranked(ratios, np.linspace(0.02, 0.12, 7), count=500), range(7))
    assert found.tie.diagonal().all()
    assert (found.tie == found.tie.T).all()
    assert (found.difference == -found.difference.T).all()
    assert (found.difference_deviation == found.difference_deviation.T).all()
    assert 0 < (found.tie & ~np.eye(7, dtype=bool)).sum() < 42


def test_groups_begin_with_the_first_and_hold_each_once():
    # deviation of every difference 0.07: 1.50 and 1.45 tie, 1.45 and 1.40 too, 1.50 and 1.40 not
    found = choices(exits_ranked([1.50, 1.45, 1.40, 1.0], [0.05] * 4), [0, 1, 2, 3])
    assert found.tie[1, 2]
    assert tie_groups(found) == [[0, 1], [2], [3]]
    assert tie_line(found, ["nose", "top", "side", "rear"]) == (
        f"nose cannot be told from top: {BY_EASE}; nose is better than the other 2 by more than "
        "the uncertainty."
    )
    turned = choices(exits_ranked([1.50, 1.45, 1.40, 1.0], [0.05] * 4), [2, 0, 3, 1])
    assert turned.first == 1
    assert tie_groups(turned) == [[1, 3], [0], [2]]


def test_lines_say_how_clear_it_is():
    alone = choices(exits_ranked([1.5, 1.0], [0.05, 0.05]), [0])
    assert tie_line(alone) == "place 1 is the only place of the short list."
    clear = choices(exits_ranked([1.5, 1.0, 0.9], [0.05] * 3), [0, 1, 2])
    assert tie_line(clear) == "place 1 is better than the other 2 by more than the uncertainty."
    alike = choices(exits_ranked([1.5] * 3, [0.05] * 3), [0, 1, 2])
    assert tie_line(alike) == f"place 1 cannot be told from place 2 or place 3: {BY_EASE}."


def test_line_names_what_is_better_in_the_mean_of_the_worlds():
    # ranks first by central values, but its least of two opposite conditions suffers in any world
    laid = [opening("inlet", -5.0, use="inlet"), opening("first", 0.0), opening("steady", 1.0)]
    patch = np.array([[0.0, -150.0, -149.0], [0.0, -150.0, -149.0]])
    size = np.array([[0.0, 50.0, 0.0], [0.0, -50.0, 0.0]])
    kind = UncertainKind("model", size, 0.0 * size)
    found = choices(made_ranking(made_samples(laid, patch, [kind]), 1, [NEED, NEED]), [0, 1])
    # mean of -|normal| is -0.8 deviations, its own deviation 0.6
    assert found.difference[1, 0] == pytest.approx(0.5 * 0.798 - 0.01, rel=0.05)
    assert found.difference_deviation[1, 0] == pytest.approx(0.5 * 0.603, rel=0.05)
    assert tie_line(found, ["first", "steady"]) == (
        "steady is better than first in the mean of all that may be, by more than the uncertainty."
    )


# --- mistakes ------------------------------------------------------------------------------


def test_short_lists_that_cannot_be():
    ranking = exits_ranked([1.5, 1.4], [0.1, 0.1], count=50)
    with pytest.raises(PlacementError, match=r"pair\(s\) 2 of the short list do not exist"):
        choices(ranking, [0, 2])
    with pytest.raises(PlacementError, match="has 3 pairs, 2 of them different"):
        choices(ranking, [0, 1, 0])
    with pytest.raises(PlacementError, match="has 0 pairs"):
        choices(ranking, [])
    object.__setattr__(ranking, "bands", None)
    with pytest.raises(PlacementError, match="rank with samples"):
        choices(ranking, [0])


def test_records_are_protected():
    found = choices(exits_ranked([1.5, 1.4], [0.1, 0.1], count=50), [0, 1])
    for array in (found.pairs, found.tie, found.regret, found.chance_of_best):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
