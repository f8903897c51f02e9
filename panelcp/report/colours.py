"""Colours of pressure: a two-sided colour map made in CIELAB, and a one-hue map for grey print.

Suction is blue-green, zero a neutral light grey, pressure amber. Each side is a smooth curve
through CIELAB space, walked in equal steps of CIELAB distance, so that equal differences of
pressure look equally large. The curves stay inside what a screen can show and end light
enough for black lines to be seen on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, log10

import numpy as np

from panelcp.errors import FlowError

N_COLOURS = 511  # odd, so that one entry is exactly the neutral grey
# Control points of one Bezier curve per side: lightness L*, chroma, hue angle in degrees. They
# were found by a search for the greatest separation of the two signs in normal and in
# colour-deficient sight under the conditions stated above; what the curves do is measured by
# the tests.
_ZERO_LIGHTNESS = 89.9
_SUCTION_CURVE = (
    (84.1, 50.0, 247.7),
    (89.3, 53.0, 191.1),
    (53.6, 35.8, 181.6),
    (44.8, 29.0, 239.5),
)
_PRESSURE_CURVE = (
    (86.3, 50.9, 87.3),
    (70.8, 42.1, 75.1),
    (67.3, 64.3, 75.9),
    (52.9, 72.2, 52.4),
)
_GREY_PRINT_HUE = 225.0
_GREY_PRINT_ENDS = (97.0, 40.0)
_GREY_PRINT_CHROMA = 22.0

# Linear sRGB to CIE XYZ, white point D65: IEC 61966-2-1 (1999).
_XYZ_FROM_LINEAR = np.array(
    [
        [0.4123907993, 0.3575843394, 0.1804807884],
        [0.2126390059, 0.7151686788, 0.0721923154],
        [0.0193308187, 0.1191947798, 0.9505321522],
    ]
)
_WHITE = _XYZ_FROM_LINEAR.sum(axis=1)


def lab_from_srgb(colours) -> np.ndarray:
    """CIELAB (1976) coordinates of sRGB colours.

    Parameters
    ----------
    colours : (..., 3) float, red, green, blue from 0 to 1

    Returns
    -------
    (..., 3) float array: L*, a*, b* for white point D65

    Notes
    -----
    sRGB curve: IEC 61966-2-1 (1999). CIELAB: CIE 15. Both formulas from memory, checked by
    white, black and the round trip.

    Examples
    --------
    >>> lab_from_srgb([1.0, 1.0, 1.0]).round(6) + 0.0
    array([100., 0., 0.])
    """
    colours = np.asarray(colours, dtype=float)
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    ratio = linear @ _XYZ_FROM_LINEAR.T / _WHITE
    small = 6.0 / 29.0
    f = np.where(ratio > small**3, np.cbrt(ratio), ratio / (3.0 * small**2) + 4.0 / 29.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def srgb_from_lab(lab) -> np.ndarray:
    """sRGB colours of CIELAB coordinates; outside 0 to 1 where a screen cannot show them.

    >>> srgb_from_lab([100.0, 0.0, 0.0]).round(6)
    array([1., 1., 1.])
    """
    lightness, a, b = np.moveaxis(np.asarray(lab, dtype=float), -1, 0)
    y = (lightness + 16.0) / 116.0
    f = np.stack([y + a / 500.0, y, y - b / 200.0], axis=-1)
    small = 6.0 / 29.0
    ratio = np.where(f > small, f**3, 3.0 * small**2 * (f - 4.0 / 29.0))
    linear = (ratio * _WHITE) @ np.linalg.inv(_XYZ_FROM_LINEAR).T
    curved = 1.055 * np.maximum(linear, 0.0031308) ** (1.0 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curved)


@lru_cache(maxsize=1)
def pressure_colours():
    """Two-sided colour map: suction blue-green, zero light grey, pressure amber.

    Returns
    -------
    matplotlib ListedColormap "panelcp_pressure" with N_COLOURS entries; the middle one is
    neutral. Meant for a scale that is symmetric about zero.
    """
    n_side = N_COLOURS // 2 + 1
    suction = _even_steps(_bezier(_SUCTION_CURVE), n_side)
    pressure = _even_steps(_bezier(_PRESSURE_CURVE), n_side)
    return _listed(np.vstack([suction[:0:-1], pressure]), "panelcp_pressure")


@lru_cache(maxsize=1)
def grey_print_colours():
    """One-hue colour map for printers without colour: suction light, pressure dark.

    Returns
    -------
    matplotlib ListedColormap "panelcp_grey_print" with N_COLOURS entries in equal steps of
    lightness, so that +v and -v differ in print. Most of a body is under suction: light, it
    leaves the lines readable.
    """
    share = np.linspace(0.0, 1.0, N_COLOURS)
    lightness = _GREY_PRINT_ENDS[0] + share * (_GREY_PRINT_ENDS[1] - _GREY_PRINT_ENDS[0])
    chroma = _GREY_PRINT_CHROMA * share
    return _listed(_polar(lightness, chroma, _GREY_PRINT_HUE), "panelcp_grey_print")


def _listed(lab, name):
    from matplotlib.colors import ListedColormap

    return ListedColormap(np.clip(srgb_from_lab(lab), 0.0, 1.0), name=name)


def _polar(lightness, chroma, hue_degrees):
    hue = np.radians(hue_degrees)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def _bezier(control_points, n_points: int = 4001):
    """Points of the Bezier curve from the neutral grey through the control points."""
    points = np.vstack([[_ZERO_LIGHTNESS, 0.0, 0.0], [_polar(*point) for point in control_points]])
    share = np.linspace(0.0, 1.0, n_points)[:, None]
    curve = np.broadcast_to(points[:, None, :], (len(points), n_points, 3))
    while len(curve) > 1:  # de Casteljau
        curve = (1.0 - share) * curve[:-1] + share * curve[1:]
    return curve[0]


def _even_steps(curve, n_points: int):
    """Points along a curve at equal distances of CIELAB length."""
    steps = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0.0, length[-1], n_points)
    return np.stack([np.interp(wanted, length, column) for column in curve.T], axis=1)


@dataclass(frozen=True)
class PressureScale:
    """Symmetric scale, the same for all conditions that are compared.

    Attributes
    ----------
    limit : float, the colours run from -limit to +limit
    step : float, between two lines of equal value
    label : str, quantity as written at the colour bar: "Cp", or "Pa" for gauge pressure
    grey_print : bool, one-hue colours for printers without colour
    """

    limit: float
    step: float
    label: str = "Cp"
    grey_print: bool = False

    def __post_init__(self):
        if not 0.0 < self.step <= self.limit < np.inf:
            raise FlowError(
                f"pressure scale: step {self.step} and limit {self.limit} must be positive, "
                "the step not greater than the limit"
            )

    @property
    def levels(self) -> tuple[float, ...]:
        """Values with a line: all multiples of the step from -limit to +limit."""
        count = floor(self.limit / self.step + 1e-9)
        digits = max(0, 2 - floor(log10(self.step)))
        return tuple(round(k * self.step, digits) + 0.0 for k in range(-count, count + 1))

    @property
    def colour_map(self):
        """The matplotlib colour map of this scale."""
        return grey_print_colours() if self.grey_print else pressure_colours()

    @property
    def colour_table(self) -> np.ndarray:
        """(N_COLOURS, 3) float, red, green, blue from 0 to 1."""
        return np.asarray(self.colour_map.colors)

    def text(self, value: float) -> str:
        """A level as written on its line, with a true minus sign.

        >>> PressureScale(1.0, 0.1).text(-0.3), PressureScale(200.0, 50.0).text(50.0)
        ('−0.3', '50')
        """
        digits = max(0, -floor(log10(self.step) + 1e-9))
        if abs(self.step * 10**digits - round(self.step * 10**digits)) > 1e-6:
            digits += 1
        return f"{value:.{digits}f}".replace("-", "\N{MINUS SIGN}")


def pressure_scale(
    values_or_limit, step: float | None = None, *, label: str = "Cp", grey_print: bool = False
) -> PressureScale:
    """Symmetric scale that holds all values, rounded up to a multiple of the line step.

    Parameters
    ----------
    values_or_limit : float, or array or sequence of arrays: the values of all conditions
    step : float, between lines; None takes 1, 2 or 5 times a power of ten, at most ten lines
        on each side
    label, grey_print : see PressureScale

    Returns
    -------
    PressureScale

    Raises
    ------
    FlowError : no finite value, only zeros, or a step that is not positive

    Examples
    --------
    >>> pressure_scale([[0.3, -0.87], [0.1, 0.2]])
    PressureScale(limit=0.9, step=0.1, label='Cp', grey_print=False)
    >>> pressure_scale(137.0, label="Pa").levels[:3]
    (-140.0, -120.0, -100.0)
    """
    blocks = [np.abs(block).ravel() for block in _blocks(values_or_limit)]
    greatest = float(np.max(np.concatenate(blocks), initial=0.0)) if blocks else 0.0
    if not (np.isfinite(greatest) and greatest > 0.0):
        raise FlowError(
            f"pressure scale: the greatest value is {greatest}; expected finite numbers that "
            "are not all zero"
        )
    if step is None:
        step = _nice_step(greatest / 10.0)
    if not (np.isfinite(step) and step > 0.0):
        raise FlowError(f"pressure scale: step {step} is not positive")
    limit = ceil(greatest / step - 1e-9) * step
    digits = max(0, 2 - floor(log10(step)))
    return PressureScale(round(limit, digits), float(step), label, grey_print)


def _blocks(values):
    """Arrays of a scalar, an array, or a sequence of arrays of different shapes."""
    if isinstance(values, np.ndarray) or np.isscalar(values):
        return [np.asarray(values, dtype=float)]
    return [np.asarray(block, dtype=float) for block in values]


def _nice_step(least: float) -> float:
    """Smallest of 1, 2, 5 times a power of ten that is not less than `least`."""
    power = 10.0 ** floor(log10(least))
    for factor in (1.0, 2.0, 5.0):
        if factor * power >= least * (1.0 - 1e-9):
            return float(f"{factor * power:.12g}")
    return float(f"{10.0 * power:.12g}")
