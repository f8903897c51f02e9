"""Which place of a short list is really best: chances, regret, ties, in the same sampled worlds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import PlacementError
from panelcp.placement.pair_bands import QUANTILES, PairBands
from panelcp.placement.ranking import OpeningRanking
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

ENOUGH = 2.0
"""More available/needed than this is worth nothing more, and no regret: memory."""

BY_EASE = "the difference is smaller than its uncertainty: choose by ease of building"


@dataclass(frozen=True, eq=False)
class Choices:
    """A short list of pairs of inlet and exit, compared with each other in the same worlds.

    Attributes
    ----------
    pairs : (n,) int, the short list, numbers of pairs in the ranking
    chance_of_best : (n,) float, part of all worlds in which this pair, or one whose inlet and exit
        both overlap its own, has the largest least available/needed of all pairs
    elsewhere : float, part of the worlds in which none of the short list has; they add up to 1
    chance_of_exit : (n,) float, as chance_of_best, whatever the inlet
    chance_among : (n,) float, part of the worlds in which it is the best of the short list alone
    regret : (n_deciding, n) float, by how much available/needed, ENOUGH at most, a choice falls
        behind the best choice of the short list in that condition, central values
    worst_regret, mean_regret : (n,) float, greatest, and mean by the weights of the conditions
    regret_band : (3, n) float, QUANTILES of the worst regret over the worlds
    difference : (n, n) float, mean over the worlds of the least ratio of the row less the column
    difference_deviation : (n, n) float, its standard deviation
    tie : (n, n) bool, where the difference is not larger than its deviation
    margin_of_best : (n,) float, part of the worlds in which the pair that ranks first is better
        than each; of equal worlds half, so 0.5 of itself
    """

    pairs: np.ndarray
    chance_of_best: np.ndarray
    elsewhere: float
    chance_of_exit: np.ndarray
    chance_among: np.ndarray
    regret: np.ndarray
    worst_regret: np.ndarray
    mean_regret: np.ndarray
    regret_band: np.ndarray
    difference: np.ndarray
    difference_deviation: np.ndarray
    tie: np.ndarray
    margin_of_best: np.ndarray

    def __post_init__(self):
        names = ("chance_of_best", "chance_of_exit", "chance_among", "regret", "worst_regret")
        names += ("mean_regret", "regret_band", "difference", "difference_deviation")
        for name in (*names, "margin_of_best"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "pairs", frozen_array(self.pairs, np.int64))
        object.__setattr__(self, "tie", frozen_array(self.tie, bool))

    @property
    def first(self) -> int:
        """Place in the short list of the pair that ranks first."""
        return int(np.argmin(self.pairs))


def choices(ranking: OpeningRanking, pairs: Sequence[int]) -> Choices:
    """Compare the pairs of a short list with each other in all sampled worlds.

    Parameters
    ----------
    ranking : OpeningRanking with samples
    pairs : numbers of pairs in the ranking, each once

    Returns
    -------
    Choices

    Raises
    ------
    PlacementError : no samples, no pair, a pair twice or one that does not exist
    """
    pairs = _short_list(ranking, pairs)
    ratios = ranking.bands.ratios(ranking.inlet_index[pairs], ranking.exit_index[pairs])
    least = ratios.min(axis=0)
    regret = central_regret(np.minimum(ranking.ratio[ranking.decides][:, pairs], ENOUGH))
    conditions = ranking.bands.samples.conditions
    weights = np.array([c.weight for c in conditions])[ranking.decides]
    drawn = central_regret(np.minimum(ratios, ENOUGH)).max(axis=0)
    difference, deviation = _differences(least)
    best, by_exit = _chances_of_best(ranking, pairs)
    ahead = least[:, [np.argmin(pairs)]] - least
    return Choices(
        pairs=pairs,
        chance_of_best=best,
        elsewhere=max(1.0 - float(best.sum()), 0.0),
        chance_of_exit=by_exit,
        chance_among=_shared(least == least.max(axis=1, keepdims=True)),
        regret=regret,
        worst_regret=regret.max(axis=0),
        mean_regret=weights @ regret / weights.sum(),
        regret_band=np.quantile(drawn, QUANTILES, axis=0),
        difference=difference,
        difference_deviation=deviation,
        tie=np.abs(difference) <= deviation,
        margin_of_best=(ahead > 0.0).mean(axis=0) + 0.5 * (ahead == 0.0).mean(axis=0),
    )


def _short_list(ranking: OpeningRanking, pairs) -> np.ndarray:
    """(n,) int, after checks."""
    if ranking.bands is None:
        raise PlacementError(
            "a ranking without samples knows no chance of being best; rank with samples"
        )
    pairs = np.array(pairs, dtype=np.int64)
    wrong = [int(k) for k in pairs if not 0 <= k < ranking.n_pairs]
    if wrong:
        raise PlacementError(
            f"pair(s) {', '.join(map(str, wrong))} of the short list do not exist; the ranking has "
            f"{ranking.n_pairs} pairs, numbered from 0"
        )
    if len(pairs) == 0 or len(np.unique(pairs)) < len(pairs):
        raise PlacementError(
            f"the short list has {len(pairs)} pairs, {len(np.unique(pairs))} of them different; "
            "expected one at least, each once"
        )
    return pairs


def central_regret(ratios) -> np.ndarray:
    """By how much each choice, last axis, falls behind the best one.

    Examples
    --------
    >>> central_regret(np.array([[2.0, 1.5], [1.0, 3.0]])).tolist()
    [[0.0, 0.5], [2.0, 0.0]]
    """
    return np.max(ratios, axis=-1, keepdims=True) - ratios


def _differences(least) -> tuple[np.ndarray, np.ndarray]:
    """(n, n) twice: mean and deviation of the differences of the columns of (n_samples, n)."""
    rows = [least[:, [k]] - least for k in range(least.shape[1])]
    return np.array([row.mean(axis=0) for row in rows]), np.array([row.std(axis=0) for row in rows])


def _shared(best) -> np.ndarray:
    """(n,): part of the worlds, rows, in which each is best; equal ones share a world."""
    return (best / best.sum(axis=1, keepdims=True)).mean(axis=0)


# --- where the best pair of every world lies -----------------------------------------------


def _chances_of_best(ranking: OpeningRanking, pairs) -> tuple[np.ndarray, np.ndarray]:
    """(n,) twice: parts of the worlds whose best pair, and whose best exit, is one of the list."""
    bands: PairBands = ranking.bands
    found, count = np.unique(bands.best_pair, return_counts=True)
    count, found = count[found >= 0], found[found >= 0]
    inlets, exits = np.divmod(found, bands.n_exits)
    by_inlet = _distances(ranking.inlets.openings, inlets, ranking.inlet_index[pairs])
    by_exit = _distances(ranking.exits.openings, exits, ranking.exit_index[pairs])
    return tuple(
        _counts_of_nearest(distance, count, len(pairs)) / len(bands.best_pair)
        for distance in (by_inlet + by_exit, by_exit)
    )


def _distances(openings: Sequence[Opening], found, mine) -> np.ndarray:
    """(n_found, n_mine) m: between centres; infinite where two openings do not overlap."""
    centres = np.array([opening.centre for opening in openings])
    sides = np.array([max(opening.length, opening.width) for opening in openings])
    distance = np.linalg.norm(centres[found][:, None] - centres[mine], axis=2)
    reach = 0.5 * (sides[found][:, None] + sides[mine])
    return np.where((distance < reach) | (found[:, None] == mine), distance, np.inf)


def _counts_of_nearest(distance, count, n: int) -> np.ndarray:
    """(n,): worlds of the found places, given to the nearest choice that overlaps; else to none."""
    nearest = distance.argmin(axis=1)
    near = np.isfinite(distance[np.arange(len(distance)), nearest])
    return np.bincount(nearest[near], count[near], minlength=n)


# --- ties ----------------------------------------------------------------------------------


def tie_groups(found: Choices) -> list[list[int]]:
    """Places of the short list that cannot be told from the best of those that are left.

    Parameters
    ----------
    found : Choices

    Returns
    -------
    Places in `found.pairs`, in the order of the ranking; the first group begins with the pair that
        ranks first and holds all that cannot be told from it, the next one begins with the first of
        the rest. Being a tie is not handed on: two of a group need not be one with each other.
    """
    left, groups = [int(k) for k in np.argsort(found.pairs, kind="stable")], []
    while left:
        groups.append([k for k in left if k == left[0] or found.tie[left[0], k]])
        left = [k for k in left if k not in groups[-1]]
    return groups


def tie_line(found: Choices, names: Sequence[str] | None = None) -> str:
    """The tie of the first place in one plain sentence.

    Parameters
    ----------
    found : Choices
    names : of the places of the short list; "place 1", ... when not given
    """
    names = names or [f"place {k + 1}" for k in range(len(found.pairs))]
    if len(found.pairs) == 1:
        return f"{names[0]} is the only place of the short list."
    k, parts = found.first, []
    tied = [names[j] for j in tie_groups(found)[0] if j != k]
    better = [n for n, by, tie in zip(names, found.difference[:, k], found.tie[k], strict=True)
              if by > 0.0 and not tie]  # fmt: skip
    behind = [n for n in names if n not in (names[k], *tied, *better)]
    if tied:
        parts.append(f"{names[k]} cannot be told from {_listed(tied, 'or')}: {BY_EASE}")
    if better:
        verb = "is" if len(better) == 1 else "are"
        parts.append(
            f"{_listed(better, 'and')} {verb} better than {names[k]} in the mean of all that may "
            "be, by more than the uncertainty"
        )
    if behind:
        others = behind[0] if len(behind) == 1 else f"the other {len(behind)}"
        parts.append(f"{names[k]} is better than {others} by more than the uncertainty")
    return "; ".join(parts) + "."


def _listed(names, word: str) -> str:
    """Names in a row, the last one after a word."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
