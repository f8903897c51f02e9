"""Several rankings in the same sampled worlds: which case is better, and is the difference real?

Draws follow from names alone, so all cases are looked at in the same worlds, and what two cases
have in common leaves their difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import PlacementError
from panelcp.placement.bands import PANELLING, ROUGHNESS, SIDES, PressureSamples, UncertainKind
from panelcp.placement.pair_bands import QUANTILES
from panelcp.placement.ranking import OpeningRanking
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

SAME_PLACE = 0.5
"""Parts of the larger side (from memory). Openings of one kind whose centres are nearer than this
are the same one in two cases: errors of its own are then the same errors. Farther apart they are
errors of two places, drawn for each, whatever the names are."""


@dataclass(frozen=True, eq=False)
class PairedDifference:
    """One number of two cases in the same worlds.

    Attributes
    ----------
    first, second : central values
    deviation : one standard deviation of the difference
    apart : what that would be if the cases had nothing in common
    chance : probability that the first is better; of worlds that are equal, half
    band : (3,) float, QUANTILES of first less second
    """

    first: float
    second: float
    deviation: float
    apart: float
    chance: float
    band: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "band", frozen_array(self.band))

    @property
    def difference(self) -> float:
        """First less second."""
        return self.first - self.second

    @property
    def tie(self) -> bool:
        """True where the difference is not larger than its deviation."""
        return abs(self.difference) <= self.deviation


@dataclass(frozen=True, eq=False)
class CaseDifferences:
    """A pair of openings of one case against a pair of another.

    Attributes
    ----------
    pairs : names of inlet and exit, in the first case and in the second
    conditions : names of those that are compared
    least : of the least available/needed over these
    ratios : of available/needed in each of them
    available : of the available pressure in each of them, Pa
    """

    pairs: tuple[tuple[str, str], tuple[str, str]]
    conditions: tuple[str, ...]
    least: PairedDifference
    ratios: tuple[PairedDifference, ...]
    available: tuple[PairedDifference, ...]


@dataclass(frozen=True, eq=False)
class OpeningDifferences:
    """The pressure at an opening of the same name in two cases.

    Attributes
    ----------
    name : of the opening
    use : "inlet" (pressure behind it, more is better) or "exit" (pressure there, less is better)
    moved : m, between the two centres
    conditions : names of those that are compared
    pressures : in each of them, Pa
    """

    name: str
    use: str
    moved: float
    conditions: tuple[str, ...]
    pressures: tuple[PairedDifference, ...]


def paired_difference(values, draws, less_is_better: bool = False) -> PairedDifference:
    """What the same worlds say of the difference of two numbers.

    Parameters
    ----------
    values : two central values
    draws : (2, n_samples) float, both numbers in every world
    less_is_better : where the lower number is the better one

    Returns
    -------
    PairedDifference

    Examples
    --------
    >>> found = paired_difference([2.0, 1.0], [[1.0, 2.0, 3.0], [0.5, 1.5, 2.5]])
    >>> found.difference, found.deviation, found.chance, found.tie
    (1.0, 0.0, 1.0, False)
    """
    first, second = np.asarray(draws, dtype=float)
    change = first - second
    better = change < 0.0 if less_is_better else change > 0.0
    return PairedDifference(
        first=float(values[0]),
        second=float(values[1]),
        deviation=float(change.std()),
        apart=float(np.hypot(first.std(), second.std())),
        chance=float(better.mean() + 0.5 * (change == 0.0).mean()),
        band=np.quantile(change, QUANTILES),
    )


# --- one pair, one condition after the other -----------------------------------------------


def least_ratio(ranking: OpeningRanking, pair: int, conditions: Sequence[str]) -> tuple[float, str]:
    """Least available/needed of a pair over some conditions, and the name of the hardest."""
    ratios = [ranking.ratio[_row(ranking, name), pair] for name in conditions]
    return float(min(ratios)), conditions[int(np.argmin(ratios))]


def deciding_names(ranking: OpeningRanking) -> tuple[str, ...]:
    """Names of the conditions that decide.

    Raises
    ------
    PlacementError : a ranking without samples
    """
    conditions = _samples(ranking).conditions
    return tuple(c.name for c, decides in zip(conditions, ranking.decides, strict=True) if decides)


def common_conditions(rankings: Sequence[OpeningRanking]) -> tuple[str, ...]:
    """Names of the conditions that decide in all cases, in the order of the first.

    Raises
    ------
    PlacementError : there is none
    """
    first, *others = (deciding_names(ranking) for ranking in rankings)
    common = tuple(name for name in first if all(name in names for names in others))
    if not common:
        raise PlacementError(
            f"no condition decides in all {len(rankings)} cases; conditions are matched by name: "
            "give them one deciding [[condition]] of the same name at least"
        )
    return common


def paired_least_ratios(
    rankings: Sequence[OpeningRanking],
    pairs: Sequence[int],
    conditions: Sequence[str] | None = None,
) -> np.ndarray:
    """Least available/needed of one pair of every case in the same worlds.

    Parameters
    ----------
    rankings : with samples
    pairs : number of a pair in each of them
    conditions : names; of those that decide in all cases when not given

    Returns
    -------
    (n_cases, n_samples) float, over these conditions

    Raises
    ------
    PlacementError : no common deciding condition, no samples, or unequal numbers of them
    """
    names = conditions or common_conditions(rankings)
    _require_equal_counts(rankings)
    return np.array(
        [_drawn(r, pair, names)[1].min(axis=0) for r, pair in zip(rankings, pairs, strict=True)]
    )


def case_differences(
    rankings: Sequence[OpeningRanking],
    pairs: Sequence[int] = (0, 0),
    conditions: Sequence[str] | None = None,
) -> CaseDifferences:
    """A pair of one case against a pair of another, over the conditions that decide in both.

    Parameters
    ----------
    rankings : of the two cases
    pairs : number of the pair in each of them; the best ones when not given
    conditions : names; of those that decide in both when not given

    Returns
    -------
    CaseDifferences

    Raises
    ------
    PlacementError : no common deciding condition, no samples, or unequal numbers of them
    """
    names = tuple(conditions or common_conditions(rankings))
    _require_equal_counts(rankings)
    both = list(zip(rankings, pairs, strict=True))
    available, ratios = (
        np.array(part) for part in zip(*(_drawn(r, pair, names) for r, pair in both), strict=True)
    )
    rows = [[_row(ranking, name) for name in names] for ranking in rankings]
    least = [least_ratio(r, pair, names)[0] for r, pair in both]

    def each(values, draws):
        central = zip(*values, strict=True)
        return tuple(paired_difference(v, draws[:, k]) for k, v in enumerate(central))

    return CaseDifferences(
        pairs=tuple((r.inlet(pair).name, r.exit(pair).name) for r, pair in both),
        conditions=names,
        least=paired_difference(least, ratios.min(axis=1)),
        ratios=each([r.ratio[rows[k], pair] for k, (r, pair) in enumerate(both)], ratios),
        available=each([r.available[rows[k], pair] for k, (r, pair) in enumerate(both)], available),
    )


def opening_differences(
    rankings: Sequence[OpeningRanking],
    names: Sequence[str],
    conditions: Sequence[str] | None = None,
) -> tuple[OpeningDifferences, ...]:
    """Pressures at openings of the same name in two cases.

    Parameters
    ----------
    rankings : of the two cases
    names : of openings; those that are not in both rankings are left out
    conditions : names; of those that decide in both when not given

    Returns
    -------
    OpeningDifferences, in the order of the names; an opening of both uses stands there twice
    """
    conditions = tuple(conditions or common_conditions(rankings))
    _require_equal_counts(rankings)
    found = []
    for name in names:
        for use in ("inlet", "exit"):
            columns = [_column(ranking, name, use) for ranking in rankings]
            if None not in columns:
                found.append(_one_opening(rankings, columns, name, use, conditions))
    return tuple(found)


def _one_opening(rankings, columns, name, use, conditions) -> OpeningDifferences:
    centres = [r.bands.samples.openings[k].centre for r, k in zip(rankings, columns, strict=True)]
    rows = []
    for condition in conditions:
        values, draws = [], []
        for ranking, column in zip(rankings, columns, strict=True):
            c = _row(ranking, condition)
            patch, behind = ranking.bands.samples.pressures(c, [column])
            draws.append((behind if use == "inlet" else patch)[:, 0])
            values.append(_central_pressure(ranking, c, column, use))
        rows.append(paired_difference(values, draws, less_is_better=use == "exit"))
    moved = float(np.linalg.norm(centres[0] - centres[1]))
    return OpeningDifferences(name, use, moved, conditions, tuple(rows))


def _central_pressure(ranking: OpeningRanking, c: int, column: int, use: str) -> float:
    if use == "inlet":
        return ranking.inlets.inlet_pressure[c, column]
    return ranking.exits.patch_pressure[c, column - ranking.bands.n_inlets]


def _column(ranking: OpeningRanking, name: str, use: str) -> int | None:
    """Number of an opening in the samples; None where the ranking does not have it."""
    group, start = (
        (ranking.inlets, 0) if use == "inlet" else (ranking.exits, ranking.bands.n_inlets)
    )
    names = [opening.name for opening in group.openings]
    return start + names.index(name) if name in names else None


def find_pair(ranking: OpeningRanking, inlet: str, outlet: str) -> int | None:
    """Number of the pair of two openings; None where the ranking does not have it."""
    into = [opening.name for opening in ranking.inlets.openings]
    out = [opening.name for opening in ranking.exits.openings]
    if inlet not in into or outlet not in out:
        return None
    here = (ranking.inlet_index == into.index(inlet)) & (ranking.exit_index == out.index(outlet))
    found = np.flatnonzero(here)
    return int(found[0]) if len(found) else None


def chances_of_best(least: np.ndarray) -> np.ndarray:
    """(n_cases,) float: in what part of the worlds each case is the best; equal ones share it.

    Parameters
    ----------
    least : (n_cases, n_samples) float, from `paired_least_ratios`

    Examples
    --------
    >>> chances_of_best(np.array([[1.0, 3.0], [1.0, 2.0]])).tolist()
    [0.75, 0.25]
    """
    best = least == least.max(axis=0)
    return (best / best.sum(axis=0)).mean(axis=1)


def _drawn(ranking: OpeningRanking, pair: int, names) -> tuple[np.ndarray, np.ndarray]:
    """(n_conditions, n_samples): available, Pa, and available/needed of a pair."""
    samples = ranking.bands.samples
    columns = [ranking.inlet_index[pair], ranking.bands.n_inlets + ranking.exit_index[pair]]
    changes, needed = samples.changes(columns), samples.needed(ranking.needed)
    rows = [_row(ranking, name) for name in names]
    available = []
    for c in rows:
        patch, behind = samples.pressures(c, columns, changes)
        available.append(behind[:, 0] - patch[:, 1])
    available = np.array(available)
    return available, available / needed[rows]


def _row(ranking: OpeningRanking, name: str) -> int:
    return [condition.name for condition in ranking.bands.samples.conditions].index(name)


def _samples(ranking: OpeningRanking) -> PressureSamples:
    if ranking.bands is None:
        raise PlacementError(
            "a ranking without samples cannot be compared with another; rank with samples"
        )
    return ranking.bands.samples


def _require_equal_counts(rankings):
    counts = {_samples(ranking).count for ranking in rankings}
    if len(counts) > 1:
        raise PlacementError(
            f"the rankings have {', '.join(map(str, sorted(counts)))} draws; expected equally many"
        )


# --- what the worlds of several cases have in common ---------------------------------------


def in_shared_worlds(
    rankings: Sequence[OpeningRanking],
    regions: Sequence[Sequence[str]],
    panellings: Sequence[int],
) -> tuple[OpeningRanking, ...]:
    """Rankings whose samples have in common what the cases have in common, and no more.

    Parameters
    ----------
    rankings : of the cases, with samples
    regions : names of the regions of each case, in their order there
    panellings : a number for each case, the same where the panels are the same

    Returns
    -------
    OpeningRankings; only their samples are others, whose openings and kinds are named by their
    draws

    Notes
    -----
    Regions are matched by name instead of by their number, openings by their place (SAME_PLACE):
    searches number their places anew where one of them falls out. Errors of panelling and mesh
    are those of other panels where the panels are others.
    """
    everything = tuple(dict.fromkeys(name for names in regions for name in names))
    called = draw_names([_samples(ranking).openings for ranking in rankings])
    found = []
    for ranking, names, own, panelling in zip(rankings, called, regions, panellings, strict=True):
        samples = ranking.bands.samples
        moved = _moved_columns(own, everything)
        shared = replace(
            samples,
            openings=tuple(
                opening if opening.name == name else replace(opening, name=name)
                for opening, name in zip(samples.openings, names, strict=True)
            ),
            kinds=tuple(_shared_kind(kind, moved, panelling) for kind in samples.kinds),
            wetting=_with_columns(samples.wetting, moved),
        )
        found.append(replace(ranking, bands=replace(ranking.bands, samples=shared)))
    return tuple(found)


def _moved_columns(own, everything) -> np.ndarray:
    """(n_own, n_all) of 0 and 1: from the groups of a case to those of all cases."""
    moved = np.zeros((len(own), len(everything)))
    moved[np.arange(len(own)), [everything.index(name) for name in own]] = 1.0
    return np.kron(moved, np.eye(len(SIDES)))


def _with_columns(common: np.ndarray, moved: np.ndarray) -> np.ndarray:
    """Shares of the groups of all cases; what does not go by regions stays as it is."""
    return common @ moved if common.shape[1] == len(moved) else common


def _shared_kind(kind: UncertainKind, moved, panelling: int) -> UncertainKind:
    name = kind.name
    if panelling and name in (PANELLING, ROUGHNESS):
        name = f"{name}, panels {panelling}"
    return replace(kind, name=name, common=_with_columns(kind.common, moved))


def draw_names(cases: Sequence[Sequence[Opening]]) -> list[list[str]]:
    """Names from which the draws of openings follow, the same where the places are the same.

    Parameters
    ----------
    cases : openings of each case

    Returns
    -------
    One name per opening and case; those of the first case are its own
    """
    known: dict[str, Opening] = {}
    found = []
    for openings in cases:
        here = {opening.name: opening for opening in openings}
        names = _known_places(here, known)
        for name, opening in here.items():
            if name not in names:
                names[name] = _free_name(name, known)
                known[names[name]] = opening
        found.append([names[opening.name] for opening in openings])
    return found


def _free_name(name: str, known) -> str:
    free, number = name, 2
    while free in known:
        free, number = f"{name}, place {number}", number + 1
    return free


def _known_places(here, known) -> dict[str, str]:
    """Name -> known name at the same place: first those of the same name, then the nearest."""
    names = {name: name for name in here if name in known and _same(here[name], known[name])}
    rest = [name for name in here if name not in names]
    free = [name for name in known if name not in names.values()]
    if not rest or not free:
        return names
    reach = SAME_PLACE * max(max(o.length, o.width) for o in known.values())
    trees = (
        cKDTree([openings[name].centre for name in some])
        for openings, some in ((here, rest), (known, free))
    )
    near = next(trees).sparse_distance_matrix(next(trees), reach, output_type="ndarray")
    taken = set()
    for i, k, _ in np.sort(near, order="v"):
        name, other = rest[i], free[k]
        if name not in names and other not in taken and _same(here[name], known[other]):
            names[name] = other
            taken.add(other)
    return names


def _same(one: Opening, other: Opening) -> bool:
    side = min(max(one.length, one.width), max(other.length, other.width))
    distance = float(np.linalg.norm(one.centre - other.centre))
    return one.kind == other.kind and distance < SAME_PLACE * side
