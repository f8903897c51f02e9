"""Air through one bay: inlets, a plenum ahead of the core, the core, the bay behind it, exits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.placement.combination_search import OpeningSets
from panelcp.surface.mesh import frozen_array


@dataclass(frozen=True, eq=False)
class BayAir:
    """Pressures outside a bay and what its openings and its core let through, in some worlds.

    Attributes
    ----------
    behind, into : (n_worlds, n_inlets) float, Pa behind the inlets; m3/s through one for a
        difference of 1 Pa
    outside, out_of : (n_worlds, n_exits) float, the same of the exits
    resistance, exponent : (n_worlds,) float, of the core: drop = resistance flow^exponent
    """

    behind: np.ndarray
    into: np.ndarray
    outside: np.ndarray
    out_of: np.ndarray
    resistance: np.ndarray
    exponent: np.ndarray

    def __post_init__(self):
        for name in ("behind", "into", "outside", "out_of", "resistance", "exponent"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def __getitem__(self, worlds) -> BayAir:
        names = ("behind", "into", "outside", "out_of", "resistance", "exponent")
        return BayAir(*(getattr(self, name)[worlds] for name in names))


@dataclass(frozen=True, eq=False)
class BayFlows:
    """Air through combinations of openings.

    Attributes
    ----------
    plenum, bay : (n_sets, n_worlds) float, Pa, total gauge pressure ahead of and behind the core
    core : (n_sets, n_worlds) float, m3/s, from the inlets to the exits positive
    inlets : (n_sets, n_worlds, 2) float, m3/s into the body; nan where there is none
    exits : (n_sets, n_worlds, 3) float, m3/s out of the body; nan where there is none
    """

    plenum: np.ndarray
    bay: np.ndarray
    core: np.ndarray
    inlets: np.ndarray
    exits: np.ndarray

    def __post_init__(self):
        for name in ("plenum", "bay", "core", "inlets", "exits"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def inlet_strength(area, loss, density) -> np.ndarray:
    """m3/s through an inlet for 1 Pa: dp = loss rho / 2 (Q / area)^2."""
    return np.asarray(area) * np.sqrt(2.0 / (np.asarray(loss) * density))


def exit_strength(area, discharge, density) -> np.ndarray:
    """m3/s through an exit for 1 Pa: dp = rho / 2 (Q / (discharge area))^2."""
    return np.asarray(area) * np.asarray(discharge) * np.sqrt(2.0 / np.asarray(density))


def solve_bay(sets: OpeningSets, area_factors, air: BayAir) -> BayFlows:
    """Pressures and flows of combinations in all worlds.

    Parameters
    ----------
    sets : OpeningSets
    area_factors : the numbers that the sets count
    air : BayAir

    Returns
    -------
    BayFlows

    Notes
    -----
    With p1 ahead of the core and p2 behind it: inlet p_i - p1 = K rho/2 (Q_i/A_i) |Q_i/A_i|, core
    p1 - p2 = R Q |Q|^(n-1), exit p2 - p_j = rho/2 (Q_j/(C_j A_j)) |Q_j/(C_j A_j)|, and the sum of
    the Q_i is Q, as is that of the Q_j. All of them rise with the difference of pressure, so there
    is one solution. One density: the air's expansion in the core is left out.
    """
    plenum, bay, core = solve_core(sets, area_factors, air)
    inlets = _branches(sets.inlets, 1.0, air.behind, plenum, air.into)
    factors = _values(sets.factors, area_factors)
    return BayFlows(
        plenum, bay, core, inlets, -_branches(sets.exits, factors, air.outside, bay, air.out_of)
    )


def solve_core(sets: OpeningSets, area_factors, air: BayAir):
    """Pressures ahead of and behind the core and flow through it, each (n_sets, n_worlds)."""
    from panelcp.placement.combination_kernels import solve_rows

    found = [np.empty((len(sets), len(air.resistance))) for _ in range(3)]
    factors = np.nan_to_num(_values(sets.factors, area_factors))
    parts = (air.behind, air.outside, air.into, air.out_of, air.resistance, air.exponent)
    # the compiled loop meets writable arrays only
    solve_rows(np.array(sets.inlets), np.array(sets.exits), factors, *map(np.array, parts), *found)
    return found


def _values(numbers, values) -> np.ndarray:
    """Values of numbers, nan where there is none (-1)."""
    return np.where(numbers >= 0, np.asarray(values, dtype=float)[numbers], np.nan)


def _branches(numbers, factors, outside, inside, strength) -> np.ndarray:
    """(n_sets, n_worlds, width) m3/s through every opening of every set, inward positive."""
    difference = outside.T[numbers].transpose(0, 2, 1) - inside[:, :, None]
    scale = strength.T[numbers] * np.broadcast_to(factors, numbers.shape)[:, :, None]
    flow = scale.transpose(0, 2, 1) * np.sign(difference) * np.sqrt(np.abs(difference))
    return np.where(numbers[:, None] >= 0, flow, np.nan)
