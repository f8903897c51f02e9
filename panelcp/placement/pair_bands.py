"""What all sampled worlds together say of every pair of inlet and exit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.placement.bands import NEEDED, PressureSamples, difference_variance
from panelcp.surface.mesh import frozen_array

QUANTILES = (0.16, 0.50, 0.84)

BLOCK = 128
"""Exits that are looked at together; with one inlet 2 000 worlds of them take 1 MB."""


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
    needed_spread: np.ndarray

    def __post_init__(self):
        names = ("needed", "needed_spread", "inlet_deviation", "exit_deviation", "deviation")
        names += ("reversal", "sufficiency", "least_ratio_deviation", "least_sufficiency")
        for name in names:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "variance", frozen_array(self.variance, np.float32))
        object.__setattr__(self, "decides", frozen_array(self.decides, bool))

    @property
    def n_inlets(self) -> int:
        """Number of inlets; the exits follow them in the samples."""
        return self.deviation.shape[1]

    def band(self, inlet: int, outlet: int) -> np.ndarray:
        """(3, n_conditions) float, Pa: QUANTILES of the available pressure of a pair."""
        drawn = [
            self.samples.available(c, inlet, self.n_inlets + outlet)
            for c in range(len(self.needed))
        ]
        return np.quantile(drawn, QUANTILES, axis=1)

    def least_ratio_band(self, inlet: int, outlet: int) -> np.ndarray:
        """(3,) float: QUANTILES of the least available/needed of a pair."""
        needed = self.samples.needed(self.needed)
        ratios = [
            self.samples.available(c, inlet, self.n_inlets + outlet) / needed[c]
            for c in np.flatnonzero(self.decides)
        ]
        return np.quantile(np.min(ratios, axis=0), QUANTILES)

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


def pair_bands(samples: PressureSamples, n_inlets: int, needed, decides) -> PairBands:
    """Look at every inlet with every exit in all worlds.

    Parameters
    ----------
    samples : PressureSamples, whose first openings are the inlets
    n_inlets : number of these
    needed : (n_conditions,) float, Pa, nan where nothing is asked for
    decides : (n_conditions,) bool

    Returns
    -------
    PairBands
    """
    inlets, needed = np.arange(n_inlets), np.asarray(needed, dtype=float)
    into = samples.changes(inlets)
    behind = np.array(
        [samples.pressures(c, inlets, into)[1] for c in range(len(samples.conditions))]
    )
    wanted = samples.needed(needed)
    blocks = [
        _block(samples, inlets, exits, into, behind, wanted, np.asarray(decides, dtype=bool))
        for exits in np.split(
            np.arange(n_inlets, len(samples.openings)),
            np.arange(BLOCK, len(samples.openings) - n_inlets, BLOCK),
        )
    ]
    joined = {name: np.concatenate([b[name] for b in blocks], axis=-1) for name in blocks[0]}
    for name in ("reversal", "sufficiency"):
        joined[name][~samples.predicted] = np.nan
    joined["sufficiency"][np.isnan(needed)] = np.nan
    shares = np.divide(needed[:, None], wanted, out=np.zeros_like(wanted), where=wanted > 0.0)
    return PairBands(
        samples,
        needed,
        decides,
        inlet_deviation=behind.std(axis=1),
        needed_spread=shares.std(axis=1),
        **joined,
    )


def _block(samples, inlets, exits, into, behind, wanted, decides) -> dict[str, np.ndarray]:
    """Statistics of all inlets with some exits; probabilities in single precision."""
    out = samples.changes(exits)
    patches = np.array(
        [samples.pressures(c, exits, out)[0] for c in range(len(samples.conditions))]
    )
    single = [part.astype(np.float32) for part in (patches, wanted)]
    rows = [
        _with_one_inlet(drawn.astype(np.float32), *single, decides)
        for drawn in behind.transpose(2, 0, 1)
    ]
    found = {name: np.stack([row[name] for row in rows], axis=-2) for name in rows[0]}
    found["deviation"] = np.sqrt(
        [
            difference_variance(
                first.var(axis=0),
                second.var(axis=0),
                (first - first.mean(axis=0)).T @ (second - second.mean(axis=0)) / samples.count,
            )
            for first, second in zip(behind, patches, strict=True)
        ]
    )
    found["exit_deviation"] = patches.std(axis=1)
    found["variance"] = _variances(samples, inlets, exits, into, out)
    return found


def _with_one_inlet(behind, patches, wanted, decides) -> dict[str, np.ndarray]:
    """Probabilities and least ratios of one inlet with some exits, last axis of all.

    Parameters
    ----------
    behind, wanted : (n_conditions, n_samples) float, Pa
    patches : (n_conditions, n_samples, n_exits) float, Pa
    decides : (n_conditions,) bool
    """
    available, ratio = np.empty_like(patches[0]), np.empty_like(patches[0])
    least = np.full_like(ratio, np.inf)
    reversal, sufficiency = [], []
    for drawn, patch, need, counts in zip(behind, patches, wanted, decides, strict=True):
        np.subtract(drawn[:, None], patch, out=available)
        reversal.append(_part_of_draws(available < 0.0))
        sufficiency.append(_part_of_draws(available >= need[:, None]))
        if counts:
            np.minimum(least, np.divide(available, need[:, None], out=ratio), out=least)
    return {
        "reversal": np.array(reversal),
        "sufficiency": np.array(sufficiency),
        "least_ratio_deviation": least.std(axis=0, dtype=float),
        "least_sufficiency": _part_of_draws(least >= 1.0),
    }


def _part_of_draws(true) -> np.ndarray:
    """(n_exits,): of (n_samples, n_exits) bool."""
    return np.count_nonzero(true, axis=0) / len(true)


def _variances(samples, inlets, exits, into, out) -> np.ndarray:
    """(n_kinds, n_conditions, n_inlets, n_exits) Pa2: every kind alone."""
    parts = [samples.air_variances(inlets, exits)]
    for name, patch, behind in samples.linear_parts():
        first, second = (drawn - drawn.mean(axis=0) for drawn in (into[name], out[name]))
        both = first.T @ second / samples.count
        parts.append(
            [
                difference_variance(
                    row[inlets] ** 2 * (first**2).mean(axis=0),
                    at[exits] ** 2 * (second**2).mean(axis=0),
                    np.outer(row[inlets], at[exits]) * both,
                )
                for row, at in zip(behind, patch, strict=True)
            ]
        )
    return np.concatenate([parts[0], np.array(parts[1:])]).astype(np.float32)
