"""Small pictures of bars, strip by strip, so that long ones go on over pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.report.paper.blocks import INK, RULE, SOFT, Area, Item, Strip, Stroke, Words
from panelcp.report.paper.letters import FALL, RISE, fitted, text_width

WEAK, STRONG = "#a9c8c2", "#8c4a3c"
"""Of bars that are enough, and of bars that are not; the second is the darker one in grey too."""

FAINT_WEAK, FAINT_STRONG = "#d8e6e3", "#c9aaa2"
"""The same where a condition does not decide."""

SIZE, ROW, THICK = 7.6, 11.6, 7.0


@dataclass(frozen=True)
class Bar:
    """One bar from zero.

    Attributes
    ----------
    name, words : on its left and on its right
    value : its end
    low, high : of the band, or nan
    need : a thick tick, or nan
    short : whether it is not enough
    decides : whether it is drawn in full colour
    """

    name: str
    words: str
    value: float
    low: float = np.nan
    high: float = np.nan
    need: float = np.nan
    short: bool = False
    decides: bool = True


def bar_strips(
    bars: Sequence[Bar],
    width: float,
    ends: tuple[float, float] | None = None,
    names: float = 0.33,
    numbers: float = 0.27,
    row: float = ROW,
    size: float = SIZE,
) -> list[Strip]:
    """Strips of bars beside each other on one scale.

    Parameters
    ----------
    bars : from top to bottom; values beyond the ends are cut and marked with an arrow
    width : points
    ends : of the scale; None holds everything
    names, numbers : parts of the width left and right of the bars
    row, size : points from bar to bar, and of the type

    Returns
    -------
    list of Strip, one for each bar, with an axis at zero
    """
    low, high = _ends(bars) if ends is None else ends
    left, right = names * width, (1.0 - numbers) * width
    scale = (right - left) / max(high - low, 1e-9)

    def x(value: float) -> float:
        return left + (float(np.clip(value, low, high)) - low) * scale

    strips = []
    for bar in bars:
        y = 0.5 * (row + (RISE - FALL) * size)
        name = fitted(bar.name, left - 8.0, size)
        words = fitted(bar.words, numbers * width - 6.0, size)
        items: list[Item] = [Words(left - 6.0 - text_width(name, size), y, name, size)]
        items += _bar(bar, x, (low, high), row)
        items.append(Words(width - text_width(words, size), y, words, size))
        items.append(Stroke(((x(0.0), 0.0), (x(0.0), row)), 0.8, INK))
        strips.append(Strip(row, tuple(items), above=0.0 if strips else 5.0))
    return strips


def _ends(bars) -> tuple[float, float]:
    values = [v for b in bars for v in (b.value, b.low, b.high, b.need) if np.isfinite(v)]
    return min([0.0, *values]), max([0.0, *values])


def _bar(bar: Bar, x, ends, row: float) -> list[Item]:
    """Bar, band, tick, and arrows where it is cut."""
    top, middle = 0.5 * (row - THICK), 0.5 * row
    items: list[Item] = []
    value = 0.0 if np.isnan(bar.value) else bar.value
    start, stop = sorted((x(0.0), x(value)))
    colours = (STRONG, FAINT_STRONG) if bar.short else (WEAK, FAINT_WEAK)
    if stop > start:
        items.append(Area(start, top, stop - start, THICK, colours[0 if bar.decides else 1]))
    if np.isfinite(bar.low) and np.isfinite(bar.high):
        items.append(Stroke(((x(bar.low), middle), (x(bar.high), middle)), 0.9, INK))
        for end in (bar.low, bar.high):
            if ends[0] <= end <= ends[1]:
                items.append(Stroke(((x(end), middle - 1.8), (x(end), middle + 1.8)), 0.9, INK))
    if np.isfinite(bar.need):
        items.append(Stroke(((x(bar.need), top - 1.2), (x(bar.need), top + THICK + 1.2)), 2.0, INK))
    for cut, end, step in ((value < ends[0], ends[0], 4.0), (value > ends[1], ends[1], -4.0)):
        if cut:
            at = x(end)
            points = ((at + step, middle - 3.0), (at, middle), (at + step, middle + 3.0))
            items.append(Stroke(points, 1.1, INK))
    return items


def stacked_strip(parts: Sequence[tuple[str, float]], most: float, width: float) -> Strip:
    """One bar made of parts beside each other, each with its number of step inside where it fits.

    Parameters
    ----------
    parts : (label, value), values not negative
    most : value that takes the whole width
    width : points
    """
    tall, size, left = 14.0, 7.6, 0.0
    items: list[Item] = []
    greys = ("#cfd8d6", "#a9c8c2", "#e3dcc8", "#c3b48e", "#dfe3e5", "#b7c0c5")
    for k, (label, value) in enumerate(parts):
        wide = width * value / most if most > 0.0 else 0.0
        items.append(Area(left, 0.0, wide, tall, greys[k % len(greys)]))
        items.append(Area(left, 0.0, wide, tall, None, SOFT))
        if text_width(label, size) + 3.0 < wide:
            at = left + 0.5 * (wide - text_width(label, size))
            items.append(Words(at, 0.5 * (tall + (RISE - FALL) * size), label, size))
        left += wide
    return Strip(tall + 3.0, tuple(items), above=2.0)


def share_strips(shares: Sequence[tuple[str, float, str]], width: float) -> list[Strip]:
    """Bars of shares: (name, share, words)."""
    bars = [Bar(name, words, share) for name, share, words in shares]
    return bar_strips(bars, width, (0.0, max([share for _, share, _ in shares] + [1e-9])),
                      names=0.36, numbers=0.24)  # fmt: skip


def rule_strip(width: float) -> Strip:
    """A thin rule."""
    return Strip(4.0, (Stroke(((0.0, 2.0), (width, 2.0)), 0.5, RULE),))
