"""What all sampled worlds together say of every pair of inlet and exit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.placement.bands import NEEDED, PressureSamples, difference_variance
from panelcp.surface.mesh import frozen_array

QUANTILES = (0.16, 0.50, 0.84)

BLOCK = 128
"""Exits that are looked at together; 2 000 worlds of them in 12 conditions take 25 MB."""


@dataclass(frozen=True, eq=False)
class PairBands:
    """What all worlds together say of every inlet with every exit.

    Attributes
    ----------
    samples : PressureSamples, from which single pairs can be looked at
    needed : (n_conditions,) float, Pa
    decides : (n_conditions,) bool
    inlet_deviation, exit_deviation : (n_conditions, n_inlets or n_exits) float, Pa
    deviation : (n_conditions, n_inlets, n_exits) float, Pa, of the available pressure
    variance : (n_kinds, n_conditions, n_inlets, n_exits) float32, Pa2, of every kind alone; they
        need not add up to the square of the deviation, since the kinds act on each other
    reversal : (n_conditions, n_inlets, n_exits) float, probability that the flow reverses; nan
        where it is not predicted
    sufficiency : the same, that the needed pressure is there; nan where nothing is asked for too
    least_ratio_deviation : (n_inlets, n_exits) float, of the least available/needed over the
        deciding conditions, taken in each world
    least_sufficiency : (n_inlets, n_exits) float, probability that it reaches 1
    least_ratio_mean : (n_inlets, n_exits) float, its mean over the worlds
    any_reversal : (n_inlets, n_exits) float, probability that the flow reverses in at least one
        condition that is predicted and has moving air; nan without such a condition
    best_pair : (n_samples,) int, the pair with the largest least available/needed of each world,
        inlet * n_exits + exit; of equal ones the lowest number, -1 where no pair is allowed
    best_ratio : (n_samples,) float, its least available/needed; single precision
    needed_spread : (n_conditions,) float, deviation of 1 / needed, parts of its central value
    """

    samples: PressureSamples
    needed: np.ndarray
    decides: np.ndarray
    inlet_deviation: np.ndarray
    exit_deviation: np.ndarray
    deviation: np.ndarray
    variance: np.ndarray
    reversal: np.ndarray
    sufficiency: np.ndarray
    least_ratio_deviation: np.ndarray
    least_sufficiency: np.ndarray
    least_ratio_mean: np.ndarray
    any_reversal: np.ndarray
    best_pair: np.ndarray
    best_ratio: np.ndarray
    needed_spread: np.ndarray

    def __post_init__(self):
        names = ("needed", "needed_spread", "inlet_deviation", "exit_deviation", "deviation")
        names += ("reversal", "sufficiency", "least_ratio_deviation", "least_sufficiency")
        names += ("least_ratio_mean", "any_reversal", "best_ratio")
        for name in names:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "variance", frozen_array(self.variance, np.float32))
        object.__setattr__(self, "decides", frozen_array(self.decides, bool))
        object.__setattr__(self, "best_pair", frozen_array(self.best_pair, np.int64))

    @property
    def n_inlets(self) -> int:
        """Number of inlets; the exits follow them in the samples."""
        return self.deviation.shape[1]

    @property
    def n_exits(self) -> int:
        """Number of exits."""
        return self.deviation.shape[2]

    def band(self, inlet: int, outlet: int) -> np.ndarray:
        """(3, n_conditions) float, Pa: QUANTILES of the available pressure of a pair."""
        columns = [inlet, self.n_inlets + outlet]
        changes = self.samples.changes(columns)
        drawn = [
            self.samples.available(c, *columns, changes=changes) for c in range(len(self.needed))
        ]
        return np.quantile(drawn, QUANTILES, axis=1)

    def ratios(self, inlets, exits) -> np.ndarray:
        """(n_deciding, n_samples, n) float: available/needed of some pairs in the same worlds.

        Parameters
        ----------
        inlets, exits : (n,) int, numbers of the inlet and of the exit of every pair
        """
        columns = np.concatenate([inlets, self.n_inlets + np.asarray(exits)])
        changes, needed = self.samples.changes(columns), self.samples.needed(self.needed)
        found = []
        for c in np.flatnonzero(self.decides):
            patch, behind = self.samples.pressures(c, columns, changes)
            available = behind[:, : len(inlets)] - patch[:, len(inlets) :]
            found.append(available / needed[c][:, None])
        return np.array(found)

    def least_ratio_band(self, inlet: int, outlet: int) -> np.ndarray:
        """(3,) float: QUANTILES of the least available/needed of a pair."""
        return np.quantile(self.ratios([inlet], [outlet]).min(axis=0)[:, 0], QUANTILES)

    def difference_deviation(self, first, second, c: int) -> float:
        """Pa: of the difference of two pairs (inlet, exit) in a condition."""
        n = self.n_inlets
        one, other = (self.samples.available(c, pair[0], n + pair[1]) for pair in (first, second))
        return float((one - other).std())

    def shares(self, inlet: int, outlet: int, c: int) -> dict[str, float]:
        """Parts of the variance of the available pressure by kind, largest first."""
        variance = self.variance[:, c, inlet, outlet].astype(float)
        return _sorted_shares(self.samples.kind_names, variance)

    def ratio_shares(self, inlet: int, outlet: int, c: int, available: float) -> dict[str, float]:
        """Parts of the variance of available/needed by kind, needed pressure too, largest first.

        Parameters
        ----------
        inlet, outlet, c : numbers
        available : Pa, of the pair in that condition
        """
        by_need = available * self.needed_spread[c]
        variance = np.append(self.variance[:, c, inlet, outlet].astype(float), by_need**2)
        return _sorted_shares((*self.samples.kind_names, NEEDED), variance)


def _sorted_shares(names, variance) -> dict[str, float]:
    total = variance.sum()
    shares = variance / total if total > 0.0 else variance
    order = np.argsort(-shares, kind="stable")
    return {names[k]: float(shares[k]) for k in order}


def pair_bands(samples: PressureSamples, n_inlets: int, needed, decides, allowed=None) -> PairBands:
    """Look at every inlet with every exit in all worlds.

    Parameters
    ----------
    samples : PressureSamples, whose first openings are the inlets
    n_inlets : number of these
    needed : (n_conditions,) float, Pa, nan where nothing is asked for
    decides : (n_conditions,) bool
    allowed : (n_inlets, n_exits) bool, pairs that may be the best of a world; all when not given

    Returns
    -------
    PairBands

    Notes
    -----
    Pressures are made in double precision and rounded to single precision before the pairs are
    looked at; deviations of the available pressure stay in double precision.
    """
    needed, decides = np.asarray(needed, dtype=float), np.array(decides, dtype=bool)
    shape = (n_inlets, len(samples.openings) - n_inlets)
    allowed = np.ones(shape, dtype=bool) if allowed is None else np.array(allowed, dtype=bool)
    look = _Look(samples, n_inlets, samples.needed(needed), decides, allowed)
    blocks = [look.at(first) for first in range(0, shape[1], BLOCK)]
    joined = {name: np.concatenate([b[name] for b in blocks], axis=-1) for name in blocks[0]}
    for name in ("reversal", "sufficiency"):
        joined[name][~samples.predicted] = np.nan
    joined["sufficiency"][np.isnan(needed)] = np.nan
    if not look.counts.any():
        joined["any_reversal"][:] = np.nan
    wanted = look.wanted
    shares = np.divide(needed[:, None], wanted, out=np.zeros_like(wanted), where=wanted > 0.0)
    return PairBands(
        samples,
        needed,
        decides,
        inlet_deviation=np.sqrt(look.behind.variance),
        needed_spread=shares.std(axis=1),
        best_pair=look.best_pair,
        best_ratio=look.best_ratio,
        **joined,
    )


class _Drawn:
    """Pressures at some openings in all worlds, (n_conditions, n_samples, n_openings) Pa.

    Attributes
    ----------
    single : (n_openings, n_conditions, n_samples) float32, Pa
    centred : (n_conditions, n_samples, n_openings) float, Pa, without their means
    variance : (n_conditions, n_openings) float, Pa2
    """

    def __init__(self, pressures):
        self.single = np.ascontiguousarray(np.transpose(pressures, (2, 0, 1)), dtype=np.float32)
        self.centred = pressures - pressures.mean(axis=1, keepdims=True)
        square = np.einsum("csk,csk->ck", self.centred, self.centred)
        self.variance = square / pressures.shape[1]


class _Look:
    """Looks at all inlets with one block of exits after another; knows the best pairs so far."""

    def __init__(self, samples, n_inlets, wanted, decides, allowed):
        self.samples, self.wanted, self.decides, self.allowed = samples, wanted, decides, allowed
        self.inlets = np.arange(n_inlets)
        self.into = samples.changes(self.inlets)
        conditions = range(len(decides))
        behind = [samples.pressures(c, self.inlets, self.into)[1] for c in conditions]
        self.behind = _Drawn(np.array(behind))
        moving = (samples.patch != 0.0) | (samples.head != 0.0)
        self.counts = samples.predicted & moving.any(axis=1)
        self.best_ratio = np.full(samples.count, -np.inf, dtype=np.float32)
        self.best_pair = np.full(samples.count, -1)

    def at(self, first: int) -> dict[str, np.ndarray]:
        """Statistics of all inlets with BLOCK exits, last axis of all."""
        some = np.arange(first, min(first + BLOCK, self.allowed.shape[1]))
        exits = len(self.inlets) + some
        out = self.samples.changes(exits)
        conditions = range(len(self.decides))
        patches = _Drawn(np.array([self.samples.patches(c, exits, out) for c in conditions]))
        return {
            **self._in_all_worlds(patches.single, some),
            "deviation": _deviations(self.behind, patches),
            "exit_deviation": np.sqrt(patches.variance),
            "variance": _variances(self.samples, self.inlets, exits, self.into, out),
        }

    def _in_all_worlds(self, patches, some) -> dict[str, np.ndarray]:
        """Probabilities and least ratios; notes the best pairs.

        Parameters
        ----------
        patches : (n_some, n_conditions, n_samples) float32, Pa
        some : (n_some,) int, numbers of these exits
        """
        from panelcp.placement.pair_kernels import keep_best, look_at_pairs

        n_conditions, shape = len(self.decides), (len(self.inlets), len(some))
        rows = np.empty((3, len(some), self.samples.count), dtype=np.float32)
        numbers = np.empty(rows.shape[1:], dtype=np.int32)
        found, by_condition = np.empty((4, *shape)), np.empty((2, n_conditions, *shape))
        look_at_pairs(
            self.behind.single,
            patches,
            self.wanted.astype(np.float32),
            self.decides,
            self.counts,
            np.ascontiguousarray(self.allowed[:, some]),
            rows,
            numbers,
            found,
            by_condition,
        )
        best = self.best_ratio, self.best_pair
        keep_best(rows[2], numbers, int(some[0]), self.allowed.shape[1], *best)
        names = "least_ratio_mean", "least_ratio_deviation", "least_sufficiency", "any_reversal"
        return {
            **dict(zip(names, found, strict=True)),
            **dict(zip(("reversal", "sufficiency"), by_condition, strict=True)),
        }


def _deviations(behind: _Drawn, patches: _Drawn) -> np.ndarray:
    """(n_conditions, n_inlets, n_exits) Pa: of the available pressure."""
    count = behind.centred.shape[1]
    variance = [
        difference_variance(behind.variance[c], patches.variance[c], first.T @ second / count)
        for c, (first, second) in enumerate(zip(behind.centred, patches.centred, strict=True))
    ]
    return np.sqrt(variance)


def _variances(samples, inlets, exits, into, out) -> np.ndarray:
    """(n_kinds, n_conditions, n_inlets, n_exits) float32, Pa2: every kind alone."""
    parts = [*samples.air_variances(inlets, exits).astype(np.float32)]
    for name, patch, behind in samples.linear_parts():
        first, second = (drawn - drawn.mean(axis=0) for drawn in (into[name], out[name]))
        squares = [np.einsum("sk,sk->k", drawn, drawn) for drawn in (first, second)]
        at_inlet, at_exit, both = (part / samples.count for part in (*squares, first.T @ second))
        parts.append(
            [
                difference_variance(
                    row[inlets] ** 2 * at_inlet,
                    at[exits] ** 2 * at_exit,
                    np.outer(row[inlets], at[exits]) * both,
                )
                for row, at in zip(behind, patch, strict=True)
            ]
        )
    return np.array(parts, dtype=np.float32)
