"""Second scales of the plots of pressure along the skin: inches beside mm, inH2O beside Pa."""

from __future__ import annotations

import numpy as np

from panelcp.report.curve_drawing import INK, SOFT
from panelcp.report.tables import IN_H2O

MM_PER_INCH = 25.4

FONT = 7.5
"""Points, of numbers and units."""

ROW, BESIDE = 21.0, 36.0
"""Points that a second row of numbers takes below, and a second column at the right."""

_BAR_SHARE, _BAR_INK = 0.42, "#1d2326"
_STEPS = {"nbins": 7, "steps": [1, 2, 2.5, 5, 10]}


def inch_row(axes, above: bool = False):
    """Numbers in inches above an axis in mm, or in a row below its own.

    Parameters
    ----------
    axes : matplotlib Axes, whose place is set
    above : whether at the upper edge; else ROW points under the lower one

    Returns
    -------
    matplotlib axes of the row
    """
    tall = axes.get_position().height * axes.figure.get_size_inches()[1] * 72.0
    place = "top" if above else -ROW / tall
    row = axes.secondary_xaxis(place, functions=(_inches, _millimetres))
    _look(row)
    row.xaxis.set_major_locator(_locator())
    _unit(axes, "in", (0.0, 1.0 if above else -ROW / tall), above)
    if not above:
        _unit(axes, "mm", (0.0, 0.0), above)
    return row


def inch_column(axes, label: str = "in"):
    """Numbers in inches at the right of an axis in mm, with a label; see `inch_row`."""
    column = axes.secondary_yaxis("right", functions=(_inches, _millimetres))
    _look(column)
    column.yaxis.set_major_locator(_locator())
    column.set_ylabel(label, fontsize=FONT, color=INK)
    return column


def water_column(axes):
    """Numbers in inH2O at the right of an axis in Pa."""
    column = axes.secondary_yaxis("right", functions=(_water, _pascal))
    _look(column)
    column.set_ylabel("inH2O", fontsize=FONT, color=INK)
    return column


def scale_bars(axes, ends, below: float) -> float:
    """Bars of round lengths in mm and in inches under a drawing in mm.

    Parameters
    ----------
    axes : matplotlib Axes
    ends : (2,) float, mm: left and right end of the drawing
    below : mm, its lowest point

    Returns
    -------
    float
        mm, where there is room again
    """
    width = float(ends[1] - ends[0])
    left, step = ends[0], 0.085 * width
    for row, (unit, size) in enumerate((("mm", 1.0), ("in", MM_PER_INCH)), start=1):
        length = round_length(_BAR_SHARE * width / size)
        y, right = below - step * (row + 0.6), left + length * size
        tick = y + 0.25 * step
        axes.plot([left, left, right, right], [tick, y, y, tick], color=_BAR_INK, lw=1.0)
        axes.text(
            *(right + 0.3 * step, y, f"{length:g} {unit}"),
            fontsize=FONT,
            color=INK,
            va="center_baseline",
        )
    return below - 3.5 * step


def round_length(longest: float) -> float:
    """The greatest of 1, 2, 5 times a power of ten that is not longer.

    Examples
    --------
    >>> round_length(730.0), round_length(18.0)
    (500.0, 10.0)
    """
    power = 10.0 ** np.floor(np.log10(longest))
    return float(power * max(factor for factor in (1, 2, 5) if factor * power <= longest * 1.0001))


def _locator():
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(**_STEPS)


def _unit(axes, text: str, place, above: bool):
    """The unit of a row, at its left end."""
    axes.annotate(
        text,
        place,
        xycoords="axes fraction",
        xytext=(-5.0, 6.0 if above else -6.0),
        textcoords="offset points",
        ha="right",
        va="bottom" if above else "top",
        fontsize=FONT,
        color=INK,
        annotation_clip=False,
    )


def _look(axes):
    axes.tick_params(labelsize=FONT, color=SOFT, labelcolor=INK)
    axes.spines[:].set(color=SOFT, linewidth=0.7)


def _inches(length):
    return np.asarray(length) / MM_PER_INCH


def _millimetres(length):
    return np.asarray(length) * MM_PER_INCH


def _water(pressure):
    return np.asarray(pressure) / IN_H2O


def _pascal(pressure):
    return np.asarray(pressure) * IN_H2O
