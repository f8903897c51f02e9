"""Roots of rising or falling functions between two bounds, for all worlds at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

MOST_STEPS = 200


def bracketed_root(function: Callable, low, high, tolerance: float = 1e-13) -> np.ndarray:
    """Place where a continuous function changes its sign, one for every element.

    Parameters
    ----------
    function : takes and gives an array of the common shape of the bounds, element by element
    low, high : floats or arrays, bounds; the function must have different signs at both, or be
        zero at one of them
    tolerance : width of the last bracket, as part of the first one

    Returns
    -------
    array of the common shape; nan where both bounds have the same sign

    Notes
    -----
    Chords through the bounds, the weight of a bound that stays twice halved (the "Illinois" rule),
    and the middle of the bracket wherever three steps have not halved it.

    Examples
    --------
    >>> bracketed_root(lambda x: x**3 - [1.0, 8.0], 0.0, [2.0, 5.0]).round(12)
    array([1., 2.])
    """
    low, high = (np.array(side) for side in np.broadcast_arrays(low, high))
    low, high = low.astype(float), high.astype(float)
    at_low, at_high = (np.array(function(side), dtype=float) for side in (low, high))
    found = np.sign(at_low) * np.sign(at_high) <= 0.0
    narrow = tolerance * np.abs(high - low)
    last, width = np.zeros(low.shape), np.abs(high - low)
    for step in range(MOST_STEPS):
        if not np.any(found & (np.abs(high - low) > narrow) & (at_low != 0.0) & (at_high != 0.0)):
            break
        slow = (step % 3 == 2) & (np.abs(high - low) > 0.5 * width)
        width = np.abs(high - low) if step % 3 == 2 else width
        place = np.where(slow, 0.5 * (low + high), _chord(low, high, at_low, at_high))
        value = np.asarray(function(place), dtype=float)
        lower = np.sign(value) == np.sign(at_low)
        at_high = np.where(lower & (last > 0.0), 0.5 * at_high, at_high)
        at_low = np.where(~lower & (last < 0.0), 0.5 * at_low, at_low)
        last = np.where(lower, 1.0, -1.0)
        low, at_low = np.where(lower, place, low), np.where(lower, value, at_low)
        high, at_high = np.where(lower, high, place), np.where(lower, at_high, value)
    return np.where(found, _chord(low, high, at_low, at_high), np.nan)


def _chord(low, high, at_low, at_high):
    """Zero of the chord, kept between the bounds."""
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.nan_to_num(at_low / (at_low - at_high), nan=0.5)
    return low + np.clip(part, 0.0, 1.0) * (high - low)
