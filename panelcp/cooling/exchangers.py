"""Effectiveness of heat exchangers from the number of transfer units, and back.

Symbols: N = UA / C_min, number of transfer units; C = C_min / C_max, ratio of the heat capacity
flows (mass flow times specific heat), 0 to 1; e = heat / (C_min (hottest - coldest)),
effectiveness. All functions take floats or arrays of worlds and give arrays.
Source: W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd edition, 1984, chapter 2 (formulas
from memory); the tests compare with the exact series, a march through the core, and each other.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chndtr, ive

from panelcp.cooling.bracketing import bracketed_root
from panelcp.errors import NetworkError

ARRANGEMENTS = (
    "cross-flow",
    "cross-flow, larger mixed",
    "cross-flow, smaller mixed",
    "counterflow",
    "parallel",
)
"""Cross-flow without further words: neither stream mixes across itself, as in a finned core. Larger
and smaller mixed: the stream with the larger or smaller heat capacity flow mixes, as between fins
that touch no others, or in a header."""

MOST_TRANSFER_UNITS = 1e4
"""Largest number that is sought for an effectiveness; a cross-flow core of equal heat capacity
flows reaches 0.994 there."""

_SERIES_BELOW = 300.0  # the product N C, where exp(-N) is still far from the least number
_MOST_SUMMED = 1e6  # beyond, the value there is given: 0.99944 for C = 1, where it changes most


def effectiveness(transfer_units, capacity_ratio, arrangement: str = "cross-flow") -> np.ndarray:
    """Heat as part of the most that could be exchanged.

    Parameters
    ----------
    transfer_units : N, 0 or more, finite
    capacity_ratio : C, 0 to 1
    arrangement : one of `ARRANGEMENTS`

    Returns
    -------
    array, 0 to 1; 1 - exp(-N) for C = 0 in all arrangements

    Raises
    ------
    NetworkError : numbers out of range, unknown arrangement

    Notes
    -----
    counterflow (1 - E) / (1 - C E), E = exp(-N (1 - C)); parallel (1 - exp(-N (1 + C))) / (1 + C);
    larger mixed (1 - exp(-C (1 - exp(-N)))) / C; smaller mixed 1 - exp(-(1 - exp(-N C)) / C).
    Both unmixed, exactly: sum over n of P(n + 1, N) P(n + 1, N C) / (N C), P the regularised
    incomplete gamma function (the series of Mason, 1954, from memory). Summed, as it is for
    large N C, that is
    1 - (I0 + sqrt(C) I1) exp(-N (1 + C)) / C + (1 - C) Q / C, the Bessel functions at 2 N sqrt(C)
    and Q the upper tail of the noncentral chi-square distribution with 2 degrees of freedom and
    noncentrality 2 N C at 2 N; derived here, equal to the series to 1e-14.

    Examples
    --------
    >>> effectiveness([1.0, 2.0], [0.5, 1.0]).round(6)
    array([0.54749 , 0.614247])
    >>> float(effectiveness(1.0, 1.0, "counterflow"))
    0.5
    """
    units, ratio = _checked(transfer_units, capacity_ratio, arrangement)
    return np.clip(_FORMULAS[arrangement](units, ratio), 0.0, 1.0)


def greatest_effectiveness(capacity_ratio, arrangement: str = "cross-flow") -> np.ndarray:
    """Effectiveness that an arrangement tends to with ever more transfer units.

    Examples
    --------
    >>> greatest_effectiveness(1.0, "parallel"), greatest_effectiveness(1.0)
    (array(0.5), array(1.))
    """
    _, ratio = _checked(0.0, capacity_ratio, arrangement)
    some = np.where(ratio > 0.0, ratio, 1.0)
    bounds = {
        "parallel": 1.0 / (1.0 + ratio),
        "cross-flow, larger mixed": np.where(ratio > 0.0, -np.expm1(-some) / some, 1.0),
        "cross-flow, smaller mixed": np.where(ratio > 0.0, -np.expm1(-1.0 / some), 1.0),
    }
    return np.asarray(bounds.get(arrangement, np.ones(ratio.shape)))


def transfer_units(
    reached_effectiveness, capacity_ratio, arrangement: str = "cross-flow"
) -> np.ndarray:
    """Number of transfer units that gives an effectiveness; inverse of `effectiveness`.

    Parameters
    ----------
    reached_effectiveness : 0 or more, below what the arrangement can reach
    capacity_ratio : C, 0 to 1
    arrangement : one of `ARRANGEMENTS`

    Raises
    ------
    NetworkError : an effectiveness that the arrangement cannot reach, or only with more than
        `MOST_TRANSFER_UNITS`

    Notes
    -----
    Closed forms, but for both streams unmixed: there a root between the counterflow core, which
    needs the fewest transfer units, and `MOST_TRANSFER_UNITS`.

    Examples
    --------
    >>> transfer_units([0.547490, 0.614247], [0.5, 1.0]).round(4)
    array([1., 2.])
    """
    _, ratio = _checked(0.0, capacity_ratio, arrangement)
    reached, ratio = np.broadcast_arrays(np.asarray(reached_effectiveness, dtype=float), ratio)
    bound = greatest_effectiveness(ratio, arrangement)
    bad = ~((reached >= 0.0) & (reached < bound))
    if np.any(bad):
        where = tuple(np.argwhere(bad)[0])
        raise NetworkError(
            f"effectiveness {reached[where]:.4g} of a core ({arrangement}, ratio of heat capacity "
            f"flows {ratio[where]:.3g}); expected 0 or more and below {bound[where]:.4g}, which "
            f"such a core tends to with size ({np.count_nonzero(bad)} of {bad.size} values)"
        )
    units = _INVERSES[arrangement](reached, ratio)
    if not np.all(units <= MOST_TRANSFER_UNITS):
        raise NetworkError(
            f"an effectiveness of {np.max(reached):.6g} needs more than "
            f"{MOST_TRANSFER_UNITS:g} transfer units; no core has so many, check the measurement"
        )
    return units


def _checked(units, ratio, arrangement):
    if arrangement not in ARRANGEMENTS:
        known = "; ".join(ARRANGEMENTS)
        raise NetworkError(f"unknown arrangement of a core: {arrangement!r}; known: {known}")
    units, ratio = np.broadcast_arrays(
        np.asarray(units, dtype=float), np.asarray(ratio, dtype=float)
    )
    if not np.all((units >= 0.0) & np.isfinite(units)):
        raise NetworkError("number of transfer units below 0 or not finite; expected 0 or more")
    if not np.all((ratio >= 0.0) & (ratio <= 1.0)):
        raise NetworkError(
            "ratio of heat capacity flows outside 0 to 1; it is the smaller over the larger"
        )
    return units, ratio


def _counterflow(units, ratio):
    grown = units * _decay(units * (1.0 - ratio))
    return grown / (1.0 + ratio * grown)


def _parallel(units, ratio):
    return -np.expm1(-units * (1.0 + ratio)) / (1.0 + ratio)


def _larger_mixed(units, ratio):
    alone = -np.expm1(-units)
    return alone * _decay(ratio * alone)


def _smaller_mixed(units, ratio):
    return -np.expm1(-units * _decay(units * ratio))


def _unmixed(units, ratio):
    units = np.minimum(units, _MOST_SUMMED)
    product = units * ratio
    many = product > _SERIES_BELOW
    if not np.any(many):
        return _series(units, product)
    few = _series(np.where(many, 1.0, units), np.where(many, 1.0, product))
    return np.where(many, _summed(np.where(many, units, 1.0), np.where(many, ratio, 1.0)), few)


def _series(units, product):
    """The series, its gamma functions from P(n + 1, x) = P(n, x) - exp(-x) x^n / n!."""
    most = np.max(product, initial=0.0)
    first, second = -np.expm1(-units), -np.expm1(-product)
    first_step, second_step = units * np.exp(-units), product * np.exp(-product)
    total = np.zeros(np.shape(product))
    for n in range(1, int(most + 10.0 * np.sqrt(most)) + 20):
        total += first * second
        first = np.maximum(first - first_step, 0.0)
        second = np.maximum(second - second_step, 0.0)
        first_step, second_step = (
            first_step * (units / (n + 1)),
            second_step * (product / (n + 1)),
        )
    some = product > 0.0
    return np.where(some, total / np.where(some, product, 1.0), -np.expm1(-units))


def _summed(units, ratio):
    root = np.sqrt(ratio)
    at = 2.0 * units * root
    bessel = np.exp(-units * (1.0 - root) ** 2) * (ive(0, at) + root * ive(1, at))
    tail = 1.0 - chndtr(2.0 * units, 2.0, 2.0 * units * ratio)
    return 1.0 - bessel / ratio + (1.0 - ratio) / ratio * tail


def _decay(x):
    """(1 - exp(-x)) / x, 1 for x = 0."""
    some = np.where(x > 0.0, x, 1.0)
    return np.where(x > 0.0, -np.expm1(-some) / some, 1.0)


def _slow_log(x):
    """log(1 + x) / x, 1 for x = 0."""
    some = np.where(x != 0.0, x, 1.0)
    return np.where(x != 0.0, np.log1p(some) / some, 1.0)


def _counterflow_units(reached, ratio):
    alone = reached / (1.0 - reached)
    return alone * _slow_log(alone * (1.0 - ratio))


def _parallel_units(reached, ratio):
    return -np.log1p(-reached * (1.0 + ratio)) / (1.0 + ratio)


def _larger_mixed_units(reached, ratio):
    return -np.log1p(-reached * _slow_log(-ratio * reached))


def _smaller_mixed_units(reached, ratio):
    alone = -np.log1p(-reached)
    return alone * _slow_log(-ratio * alone)


def _unmixed_units(reached, ratio):
    low = 0.999 * np.minimum(_counterflow_units(reached, ratio), MOST_TRANSFER_UNITS)
    high = np.full(low.shape, MOST_TRANSFER_UNITS)
    for factor in (2.0, 10.0, 100.0):  # a closer upper bound where it is one
        closer = np.minimum(factor * low + 1e-300, MOST_TRANSFER_UNITS)
        use = (_unmixed(closer, ratio) >= reached) & (closer < high)
        high = np.where(use, closer, high)

    def missing(units):
        left = np.maximum(1.0 - np.clip(_unmixed(units, ratio), 0.0, 1.0), 1e-300)
        return np.log1p(-reached) - np.log(left)

    root = bracketed_root(missing, low, high)
    return np.where(reached > 0.0, np.where(np.isnan(root), np.inf, root), 0.0)


_FORMULAS = dict(
    zip(
        ARRANGEMENTS,
        (_unmixed, _larger_mixed, _smaller_mixed, _counterflow, _parallel),
        strict=True,
    )
)
_INVERSES = dict(
    zip(
        ARRANGEMENTS,
        (
            _unmixed_units,
            _larger_mixed_units,
            _smaller_mixed_units,
            _counterflow_units,
            _parallel_units,
        ),
        strict=True,
    )
)
