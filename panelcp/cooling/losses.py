"""What all laws of losses share: checks of ranges, bands, and the change between K and Cd.

The laws: `ducts.py`, `diffusers.py`, `inlets.py`, `vents.py`.

Everywhere K = total-pressure loss / (density velocity^2 / 2). On which velocity K stands is said in
every docstring. low and high are one standard deviation unless the source of the number says that
they are the ends of a range.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue


def within(name: str, values: ArrayLike, low: float, high: float, advice: str = "") -> np.ndarray:
    """Values as floats, if all of them lie in the range of a law.

    Parameters
    ----------
    name : str, what the values are, with their unit
    values : scalar or array
    low, high : ends of the range, both allowed
    advice : str, what to do, added to the message

    Returns
    -------
    float array of the shape of values

    Raises
    ------
    NetworkError : values outside the range or not a number: which, how many, what was expected

    Examples
    --------
    >>> within("area ratio", [1.0, 4.0], 1.0, 10.0)
    array([1., 4.])
    >>> within("area ratio", 0.5, 1.0, 10.0, "give outlet over inlet area")
    Traceback (most recent call last):
    panelcp.errors.NetworkError: area ratio is 0.5; expected 1 to 10; give outlet over inlet area
    """
    numbers = np.asarray(values, dtype=float)
    wrong = ~((numbers >= low) & (numbers <= high))
    if not np.any(wrong):
        return numbers
    first = float(numbers[wrong].flat[0]) if numbers.ndim else float(numbers)
    expected = f"at least {low:g}" if np.isinf(high) else f"{low:g} to {high:g}"
    count = f" ({np.count_nonzero(wrong)} of {numbers.size} values)" if numbers.ndim else ""
    raise NetworkError(
        f"{name} is {first:g}{count}; expected {expected}" + (f"; {advice}" if advice else "")
    )


def spread(
    values: ArrayLike, mark: str, source: str, kind: str = "number", margin: float = 0.0
) -> UncertainValue:
    """One number from several laws: their mean, with least and greatest as the band.

    Parameters
    ----------
    values : answers of the laws
    mark, source, kind : see `UncertainValue`
    margin : part of the value by which both ends lie farther out; the low end never below zero

    Examples
    --------
    >>> found = spread([0.2, 0.3, 0.4], "derived", "three laws", margin=0.1)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (0.17, 0.3, 0.43)
    """
    numbers = np.asarray(values, dtype=float)
    value = float(np.mean(numbers))
    low = max(float(np.min(numbers)) - margin * value, 0.0)
    high = float(np.max(numbers)) + margin * value
    return UncertainValue(value, min(low, value), max(high, value), mark, source, kind)


def at_deviation(band: UncertainValue, deviation: ArrayLike = 0.0) -> np.ndarray:
    """Place in a band, counted in standard deviations; never below a tenth of the value.

    Parameters
    ----------
    band : UncertainValue, not negative; one without low and high does not vary
    deviation : scalar or array, 0 is the value, 1 the high end, -1 the low end

    Examples
    --------
    >>> at_deviation(UncertainValue(0.6, 0.5, 0.8, "memory"), [-1.0, 0.0, 2.0, -9.0])
    array([0.5 , 0.6 , 1.  , 0.06])
    """
    steps = np.asarray(deviation, dtype=float)
    up, down = band.high_deviation or 0.0, band.low_deviation or 0.0
    moved = band.value + np.where(steps > 0.0, up, down) * steps
    return np.maximum(moved, 0.1 * band.value)


def loss_from_discharge(discharge_coefficient: ArrayLike) -> np.ndarray:
    """K = 1 / Cd^2 on the velocity flow / area: the whole drop from inside to outside.

    The velocity head of the jet is in it. Exact: dp = density / 2 (flow / (Cd area))^2.

    Raises
    ------
    NetworkError : Cd not above 0 or above 1

    Examples
    --------
    >>> round(float(loss_from_discharge(0.62)), 4)
    2.6015
    """
    cd = within("discharge coefficient", discharge_coefficient, 1e-6, 1.0)
    return 1.0 / cd**2


def discharge_from_loss(loss: ArrayLike) -> np.ndarray:
    """Cd = 1 / sqrt(K), where K, 1 or more, holds the velocity head of the jet. Exact.

    Raises
    ------
    NetworkError : K below 1

    Examples
    --------
    >>> float(discharge_from_loss(4.0))
    0.5
    """
    return 1.0 / np.sqrt(within("loss coefficient with the head of the jet", loss, 1.0, np.inf))
