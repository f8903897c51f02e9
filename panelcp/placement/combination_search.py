"""Sets of openings that may share one bay: all of them, or the best found by a search."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from panelcp.surface.mesh import frozen_array

INLETS, EXITS = 2, 3
"""Most inlets and exits of one bay."""

BEAM = 12
"""Sets of every size from which the search goes on."""

ROUNDS = 20
"""Most rounds of the search; it usually ends of itself after four to eight."""


@dataclass(frozen=True, eq=False)
class OpeningSets:
    """Combinations of openings, by numbers.

    Attributes
    ----------
    inlets : (n, 2) int, rising, -1 for none
    exits : (n, 3) int, rising, -1 for none, behind the others
    factors : (n, 3) int, number of the area factor of every exit, -1 for none
    """

    inlets: np.ndarray
    exits: np.ndarray
    factors: np.ndarray

    def __post_init__(self):
        for name in ("inlets", "exits", "factors"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))

    def __len__(self):
        return len(self.inlets)

    def __getitem__(self, rows) -> OpeningSets:
        return OpeningSets(self.inlets[rows], self.exits[rows], self.factors[rows])

    @property
    def sizes(self) -> np.ndarray:
        """(n, 2) int: how many inlets and exits."""
        return np.stack([(self.inlets >= 0).sum(axis=1), (self.exits >= 0).sum(axis=1)], axis=1)


@dataclass(frozen=True, eq=False)
class SetRules:
    """Which openings may stand together.

    Attributes
    ----------
    inlets_apart : (n_inlets, n_inlets) bool, True where two may stand together
    exits_apart : (n_exits, n_exits) bool
    both_apart : (n_inlets, n_exits) bool
    areas : (n_exits, n_factors) float, m2, of every exit with every area factor
    twins : (n_exits,) int, exit that is the mirror image of another one, -1 for none
    most_inlets, most_exits : 1 or 2, 1 to 3
    most_area : m2 of all exits together; inf for no bound
    """

    inlets_apart: np.ndarray
    exits_apart: np.ndarray
    both_apart: np.ndarray
    areas: np.ndarray
    twins: np.ndarray
    most_inlets: int = INLETS
    most_exits: int = EXITS
    most_area: float = np.inf

    def __post_init__(self):
        for name in ("inlets_apart", "exits_apart"):
            apart = np.array(getattr(self, name), dtype=bool)
            np.fill_diagonal(apart, False)
            object.__setattr__(self, name, frozen_array(apart, bool))
        object.__setattr__(self, "both_apart", frozen_array(self.both_apart, bool))
        object.__setattr__(self, "areas", frozen_array(self.areas))
        object.__setattr__(self, "twins", frozen_array(self.twins, np.int64))

    def exit_area(self, sets: OpeningSets) -> np.ndarray:
        """(n,) m2 of all exits of every set."""
        areas = self.areas[np.maximum(sets.exits, 0), np.maximum(sets.factors, 0)]
        return np.where(sets.exits >= 0, areas, 0.0).sum(axis=1)

    def allowed(self, sets: OpeningSets) -> np.ndarray:
        """(n,) bool: not too many, none twice or too near to another one, not too large."""
        good = self.exit_area(sets) <= self.most_area * (1.0 + 1e-12)
        for first, second, apart in (
            *((sets.inlets[:, a], sets.inlets[:, b], self.inlets_apart) for a, b in _two(INLETS)),
            *((sets.exits[:, a], sets.exits[:, b], self.exits_apart) for a, b in _two(EXITS)),
            *(
                (sets.inlets[:, a], sets.exits[:, b], self.both_apart)
                for a in range(INLETS)
                for b in range(EXITS)
            ),
        ):
            good &= apart[first, second] | (first < 0) | (second < 0)
        inlets, exits = sets.sizes.T
        return good & (inlets <= self.most_inlets) & (exits <= self.most_exits) & (exits > 0)


@dataclass(frozen=True, eq=False)
class Found:
    """What was looked at.

    Attributes
    ----------
    sets : OpeningSets, in no order
    least, mean : (n,) float, their scores
    possible : how many combinations there are
    exact : whether all of them were looked at
    """

    sets: OpeningSets
    least: np.ndarray
    mean: np.ndarray
    possible: int
    exact: bool

    @property
    def order(self) -> np.ndarray:
        """(n,) int: best first, by the least, then by the mean."""
        return np.lexsort((-self.mean.round(9), -self.least.round(9)))


Score = Callable[[OpeningSets], tuple[np.ndarray, np.ndarray]]
"""Function of sets: the number they are ordered by, and the number for those that are equal."""


def find_sets(rules: SetRules, score: Score, most_exact: int) -> Found:
    """Look at all combinations, or search where there are too many.

    Parameters
    ----------
    rules : SetRules
    score : see `Score`
    most_exact : with more combinations than that they are searched

    Returns
    -------
    Found; without any combination where the rules allow none
    """
    groups = _exit_groups(rules)
    possible = sum(int(counts.sum()) for *_, counts in groups)
    if possible <= most_exact:
        sets = _all_sets(rules, groups)
        return Found(sets, *score(sets), possible, True)
    return _search(rules, score, possible)


def _two(count: int):
    return list(combinations(range(count), 2))


def _groups(count: int, most: int, width: int, apart) -> np.ndarray:
    """(n, width) int: groups of up to `most` numbers that may stand together, -1 for none."""
    rows = []
    for size in range(1, most + 1):
        rows += [
            [*group, *[-1] * (width - size)]
            for group in combinations(range(count), size)
            if all(apart[a, b] for a, b in combinations(group, 2))
        ]
    return np.array(rows, dtype=np.int64).reshape(-1, width)


def _exit_groups(rules: SetRules) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """For every group of inlets: it, the groups of exits that go with it, and how many areas."""
    inlets = _groups(len(rules.inlets_apart), rules.most_inlets, INLETS, rules.inlets_apart)
    exits = _groups(len(rules.exits_apart), rules.most_exits, EXITS, rules.exits_apart)
    counts = np.zeros(len(exits), dtype=np.int64)
    for size in range(1, rules.most_exits + 1):
        rows = np.flatnonzero((exits >= 0).sum(axis=1) == size)
        counts[rows] = _within(rules, exits[rows], size).sum(axis=1)
    found = []
    for group in inlets:
        free = rules.both_apart[group[group >= 0]].all(axis=0)
        good = (free[exits] | (exits < 0)).all(axis=1)
        found.append((group, exits[good], counts[good]))
    return found


def _factor_rows(rules: SetRules, size: int) -> np.ndarray:
    """(n, size) int: every choice of area factors."""
    n = rules.areas.shape[1]
    return np.stack(np.meshgrid(*[np.arange(n)] * size, indexing="ij"), axis=-1).reshape(-1, size)


def _within(rules: SetRules, exits, size: int) -> np.ndarray:
    """(n_groups, n_choices) bool: which areas stay within the bound."""
    choices = _factor_rows(rules, size)
    areas = rules.areas[exits[:, None, :size], choices[None]].sum(axis=2)
    return areas <= rules.most_area * (1.0 + 1e-12)


def _all_sets(rules: SetRules, groups) -> OpeningSets:
    """Every set that the rules allow."""
    parts = []
    for inlets, exits, _ in groups:
        sizes = (exits >= 0).sum(axis=1)
        for size in range(1, rules.most_exits + 1):
            some, choices = exits[sizes == size], _factor_rows(rules, size)
            row, choice = np.nonzero(_within(rules, some, size))
            factors = np.full((len(row), EXITS), -1)
            factors[:, :size] = choices[choice]
            parts.append((np.tile(inlets, (len(row), 1)), some[row], factors))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)] if parts else None
    return OpeningSets(*columns) if columns else _no_sets()


def _no_sets() -> OpeningSets:
    return OpeningSets(*(np.zeros((0, width), dtype=np.int64) for width in (INLETS, EXITS, EXITS)))


# --- search --------------------------------------------------------------------------------


def _search(rules: SetRules, score: Score, possible: int) -> Found:
    """Beam search: from the best sets of every size to all their neighbours, until none is better.

    Neighbours differ by one opening more, less or another one, by one area, or by a place with its
    mirror image, and by a step of one more area, since a bound of the areas ties them together. It
    starts from every inlet with every exit.
    """
    n_factors = rules.areas.shape[1]
    front = _coded(_pairs(rules), n_factors)
    seen, scores = np.zeros(0, dtype=np.int64), np.zeros((2, 0))
    kept: set[int] = set()
    for _ in range(ROUNDS):
        new = np.setdiff1d(np.unique(front), seen)
        seen = np.concatenate([seen, new])
        scores = np.concatenate([scores, score(_decoded(new, n_factors))], axis=1)
        best = _best_of_sizes(seen, scores, n_factors)
        fresh = [code for code in best if code not in kept]
        kept.update(fresh)
        if not fresh:
            break
        neighbours = _neighbours(_decoded(np.array(fresh), n_factors), rules)
        front = _coded(neighbours[rules.allowed(neighbours)], n_factors)
    return Found(_decoded(seen, n_factors), *scores, possible, False)


def _pairs(rules: SetRules) -> OpeningSets:
    """Every inlet with every exit and area, as far as allowed."""
    shape = (*rules.both_apart.shape, rules.areas.shape[1])
    i, e, f = (part.ravel() for part in np.indices(shape))
    none = np.full(len(i), -1)
    sets = OpeningSets(
        np.stack([i, none], axis=1),
        np.stack([e, none, none], axis=1),
        np.stack([f, none, none], axis=1),
    )
    return sets[rules.allowed(sets)]


def _best_of_sizes(codes, scores, n_factors: int) -> list[int]:
    """Codes of the best sets of every size, each of other openings: areas are tried from there."""
    order = np.lexsort((-scores[1], -scores[0]))
    sets = _decoded(codes, n_factors)[order]
    opened = np.concatenate([sets.inlets, sets.exits], axis=1)
    order = order[np.sort(np.unique(opened, axis=0, return_index=True)[1])]
    sizes = _decoded(codes[order], n_factors).sizes @ [EXITS + 1, 1]
    found = []
    for size in np.unique(sizes):
        found += codes[order[sizes == size][:BEAM]].tolist()
    return found


_BASE = 1 << 12
"""More than the numbers of openings and areas together, five of which fit into one code."""


def _coded(sets: OpeningSets, n_factors: int) -> np.ndarray:
    """(n,) int: one number per set, the same in whatever order its openings stand."""
    exits = np.where(sets.exits >= 0, sets.exits * n_factors + sets.factors + 1, 0)
    columns = [*np.sort(sets.inlets + 1, axis=1).T, *np.sort(exits, axis=1).T]
    code = np.zeros(len(sets), dtype=np.int64)
    for column in columns:
        code = code * _BASE + column
    return code


def _decoded(codes, n_factors: int) -> OpeningSets:
    """The sets of codes, each with its openings in rising order and what is not there behind."""
    columns = np.stack([codes // _BASE**k % _BASE for k in range(INLETS + EXITS)[::-1]], axis=1)
    inlets, exits = columns[:, :INLETS] - 1, columns[:, INLETS:] - 1
    inlets, exits = (_none_last(part) for part in (inlets, exits))
    return OpeningSets(
        inlets,
        np.where(exits >= 0, exits // n_factors, -1),
        np.where(exits >= 0, exits % n_factors, -1),
    )


def _none_last(numbers) -> np.ndarray:
    none = np.iinfo(np.int64).max
    numbers = np.sort(np.where(numbers < 0, none, numbers), axis=1)
    return np.where(numbers == none, -1, numbers)


def _neighbours(sets: OpeningSets, rules: SetRules) -> OpeningSets:
    """All sets that differ by one step, allowed or not; with it one area may go one step too."""
    n_exits, n_factors = rules.areas.shape
    parts = [_other_inlets(sets, len(rules.inlets_apart))]
    parts.append(_other_exits(sets, n_exits, n_factors))
    parts.append(_with_twins(sets, rules))
    inlets, exits, factors = (np.concatenate(column) for column in zip(*parts, strict=True))
    stepped = [factors]
    for place in range(EXITS):
        for step in (-1, 1):
            other = factors.copy()
            other[:, place] = np.clip(other[:, place] + step, 0, n_factors - 1)
            stepped.append(np.where(exits >= 0, other, -1))
    both = (np.tile(part, (len(stepped), 1)) for part in (inlets, exits))
    return OpeningSets(*both, np.concatenate(stepped))


def _other_inlets(sets: OpeningSets, n_inlets: int):
    """Every place of an inlet taken by every inlet, and the second one by none."""
    changed = []
    for place in range(INLETS):
        for number in range(-place, n_inlets):
            inlets = sets.inlets.copy()
            inlets[:, place] = number
            changed.append(inlets)
    times = len(changed)
    return (
        np.concatenate(changed),
        np.tile(sets.exits, (times, 1)),
        np.tile(sets.factors, (times, 1)),
    )


def _other_exits(sets: OpeningSets, n_exits: int, n_factors: int):
    """Every place of an exit taken by every exit of every area, and by none."""
    exits, factors = [], []
    for place in range(EXITS):
        for number in range(-1, n_exits):
            for factor in range(n_factors) if number >= 0 else (-1,):
                columns = sets.exits.copy(), sets.factors.copy()
                columns[0][:, place], columns[1][:, place] = number, factor
                exits.append(columns[0])
                factors.append(columns[1])
    return np.tile(sets.inlets, (len(exits), 1)), np.concatenate(exits), np.concatenate(factors)


def _with_twins(sets: OpeningSets, rules: SetRules):
    """Two places of exits taken by a place and its mirror image, of one area."""
    exits, factors = [sets.exits[:0]], [sets.factors[:0]]
    for number in np.flatnonzero(rules.twins > np.arange(len(rules.twins))):
        for factor in range(rules.areas.shape[1]):
            for first, second in _two(EXITS):
                columns = sets.exits.copy(), sets.factors.copy()
                columns[0][:, [first, second]] = number, rules.twins[number]
                columns[1][:, [first, second]] = factor
                exits.append(columns[0])
                factors.append(columns[1])
    times = len(exits) - 1
    return np.tile(sets.inlets, (times, 1)), np.concatenate(exits), np.concatenate(factors)
