"""Colours of the vent map: pale where the pressure does not suffice, blue where it does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.report.colours import srgb_from_lab

ENOUGH = 1.0
"""Available over needed pressure from which a place cools."""
ENTRIES_PER_STEP = 50
_LEAST, _STEPS, _MOST_STEPS = -1.0, (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0), 12
# Lightness L*, chroma, hue angle in degrees, from the threshold outwards. The lightness jumps at
# the threshold, so that both sides differ in grey print and in every kind of sight.
_SUFFICES = ((73.0, 36.0, 270.0), (44.0, 44.0, 285.0))
_FALLS_SHORT = ((97.0, 4.0, 75.0), (90.0, 14.0, 55.0))
NOT_SEARCHED = (88.5, 0.0, 0.0)
# Found by a search for the greatest least separation in normal and colour-deficient sight.
_CONDITIONS = (
    (84.1, 34.9, 81.1),
    (61.6, 55.0, 283.2),
    (62.0, 55.0, 71.8),
    (81.5, 24.0, 262.8),
    (52.0, 39.1, 323.0),
    (52.0, 38.7, 140.3),
)
_OTHER_CONDITIONS = (62.0, 0.0, 0.0)
_GREY_CONDITIONS = (96.0, 60.0, 81.0, 67.0, 74.0, 53.0, 46.0)  # lightness; letters name them too


def _srgb(polar) -> np.ndarray:
    lightness, chroma, hue = np.moveaxis(np.asarray(polar, dtype=float), -1, 0)
    turn = np.radians(hue)
    lab = np.stack([lightness, chroma * np.cos(turn), chroma * np.sin(turn)], axis=-1)
    return np.clip(srgb_from_lab(lab), 0.0, 1.0)


def condition_colours() -> np.ndarray:
    """(7, 3) float: red, green, blue of the conditions that decide; the last is of all others."""
    return _srgb([*_CONDITIONS, _OTHER_CONDITIONS])


def grey_condition_colours() -> np.ndarray:
    """(7, 3) float: greys in place of `condition_colours`, for printers without colour."""
    return _srgb([(lightness, 0.0, 0.0) for lightness in _GREY_CONDITIONS])


def unsearched_colour() -> np.ndarray:
    """(3,) float: red, green, blue of skin that was not searched."""
    return _srgb(NOT_SEARCHED)


@dataclass(frozen=True)
class VentScale:
    """Scale of available over needed pressure.

    Attributes
    ----------
    low, high : float, ends of the colours, multiples of the step
    step : float, between two lines
    """

    low: float
    high: float
    step: float

    @property
    def levels(self) -> tuple[float, ...]:
        """Values with a line: multiples of the step, and 1."""
        count = round((self.high - self.low) / self.step)
        levels = {self.low + k * self.step for k in range(count + 1)} | {ENOUGH}
        return tuple(sorted(levels))

    @property
    def colours(self) -> np.ndarray:
        """(n, 3) float, red, green, blue from `low` to `high`; 1 lies between two entries."""
        count = round((self.high - self.low) / self.step) * ENTRIES_PER_STEP
        ratio = self.low + (np.arange(count) + 0.5) * self.step / ENTRIES_PER_STEP
        above = np.clip((ratio - ENOUGH) / (self.high - ENOUGH), 0.0, 1.0)[:, None]
        below = np.clip((ENOUGH - ratio) / (ENOUGH - self.low), 0.0, 1.0)[:, None]
        enough, short = np.array(_SUFFICES), np.array(_FALLS_SHORT)
        polar = np.where(
            ratio[:, None] > ENOUGH,
            enough[0] + above * (enough[1] - enough[0]),
            short[0] + below * (short[1] - short[0]),
        )
        return _srgb(polar)

    @property
    def colour_table(self) -> np.ndarray:
        """(n + 1, 3) float: the colour of skin that was not searched, then `colours`."""
        return np.vstack([unsearched_colour()[None], self.colours])

    def places(self, ratio: np.ndarray) -> np.ndarray:
        """Ratios as places from -1 to 1 in `colour_table`; -1 where they are not numbers."""
        count = round((self.high - self.low) / self.step) * ENTRIES_PER_STEP
        share = np.maximum((ratio - self.low) / (self.high - self.low), 0.0)
        # a millionth of an entry, so that rounding never makes the lowest the first, grey one
        place = 2.0 * (1.000001 + share * count) / (count + 1.0) - 1.0
        return np.where(np.isnan(ratio), -1.0, place)

    def text(self, level: float) -> str:
        """A level as written on its line.

        >>> VentScale(-0.5, 2.0, 0.5).text(-0.5), VentScale(-0.5, 2.0, 0.5).text(1.0)
        ('−0.5', '1')
        """
        return f"{level:g}".replace("-", "\N{MINUS SIGN}")


def vent_scale(ratios) -> VentScale:
    """Scale from the least to the usual greatest of the ratios, 1 always inside.

    Parameters
    ----------
    ratios : array of float, at least one; not numbers are left out

    Examples
    --------
    >>> vent_scale([0.2, 1.9])
    VentScale(low=0.0, high=2.0, step=0.5)
    """
    found = np.asarray(ratios, dtype=float)
    found = found[np.isfinite(found)]
    least = max(float(found.min(initial=0.5)), _LEAST)
    # the half per cent above may end in the last colour
    most = max(float(np.quantile(found, 0.995)) if found.size else 1.5, 1.5)
    fitting = [step for step in _STEPS if (most - least) / step <= _MOST_STEPS]
    step = fitting[0] if fitting else _STEPS[-1]
    low = np.floor(least / step + 1e-9) * step
    high = np.ceil(most / step - 1e-9) * step
    return VentScale(float(low) + 0.0, float(high), step)
