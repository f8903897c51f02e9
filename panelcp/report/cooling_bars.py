"""Bars of the cooling network: margins with bands, what drives the air and what takes it up."""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.cooling.results import CoolingResult
from panelcp.display import ENOUGH_MARGIN, LEAST_MARGIN
from panelcp.display import kelvin as kelvin_text
from panelcp.report.contents import percent
from panelcp.report.cooling_tables import core_word
from panelcp.report.cooling_texts import band_text, fitted, margin_text, text_width

BAR_WIDTH, BAR_EDGE, BAR_WORDS = 390, 8, 46
"""Of the pictures of bars: width, room at both ends, room for the words beside stacked bars."""


def margin_picture(result: CoolingResult, rows, name: str) -> str:
    """Bars of margins with their bands.

    Parameters
    ----------
    result : CoolingResult
    rows : (condition, core) numbers, in the order to be shown
    name : of the picture, for those who read the words

    Returns
    -------
    str, SVG; nothing where no row has a margin
    """
    rows = [(c, k) for c, k in rows if not np.isnan(result.cores[k].margin.value[c])]
    if not rows:
        return ""
    low, high = _margin_ends(result, rows)
    scale = (BAR_WIDTH - 2 * BAR_EDGE) / (high - low)

    def x(value) -> float:
        return BAR_EDGE + (min(max(value, low), high) - low) * scale

    row, top = 54, 20
    height = top + row * len(rows) + 6
    marks = [(0.0, "0", "axis"), (LEAST_MARGIN, "5 K", "limit"), (ENOUGH_MARGIN, "10 K", "limit")]
    anchors = {"0": "end", "5 K": "middle", "10 K": "start"}
    ticks = [(top + row * i + 32, top + row * i + 50) for i in range(len(rows))]
    lines = "".join(
        f'<path class="{style}" d="{"".join(f"M{x(value):.1f} {a}V{b}" for a, b in ticks)}"/>'
        f'<text class="soft-text" x="{x(value):.1f}" y="{top - 8}" text-anchor="{anchors[text]}">'
        f"{text}</text>"
        for value, text, style in marks
        if value == 0.0 or (x(LEAST_MARGIN) - x(0.0) > 14.0)
    )
    bars = "".join(
        _margin_bar(result, c, k, top + row * i, x, (low, high)) for i, (c, k) in enumerate(rows)
    )
    words = "; ".join(
        f"{result.conditions[c]}, {result.cores[k].name}: "
        f"{margin_text(result.cores[k].margin.value[c], core_word(result, k, c))}"
        for c, k in rows
    )
    return _bars_svg(name, words, height, lines + bars)


def _margin_ends(result: CoolingResult, rows) -> tuple[float, float]:
    """Ends of the scale, K: all bands, but not beyond what can still be read."""
    values = [0.0, 1.5 * ENOUGH_MARGIN]
    for c, k in rows:
        margin = result.cores[k].margin
        values += [float(part[c]) for part in (margin.value, margin.low, margin.high)]
    known = [value for value in values if np.isfinite(value)]
    return max(min(known), -40.0), min(max(known), 60.0)


def _margin_bar(result: CoolingResult, c: int, k: int, top: float, x, ends) -> str:
    """One bar: condition and core, bar, band, number, chance of being too hot."""
    core = result.cores[k]
    value, low, high = (float(part[c]) for part in (core.margin.value, core.margin.low,
                                                    core.margin.high))  # fmt: skip
    word = core_word(result, k, c)
    left, right = sorted((x(0.0), x(value)))
    style = word if result.decides[c] else f"{word} watched"
    numbers = f"{kelvin_text(value)}, {word}"
    chance = core.chance_too_hot[c]
    doubt = "" if np.isnan(chance) else f"too hot: {percent(chance)}"
    if np.isfinite(low) and np.isfinite(high):
        numbers = f"{kelvin_text(value)} ({band_text(low, high)}), {word}"
    decides = "" if result.decides[c] else ", does not decide"
    room = BAR_WIDTH - 1.1 * text_width(numbers) - 12
    below = BAR_WIDTH - text_width(doubt, 11) - text_width(decides, 11) - 12
    return (
        f'<text class="strong" x="0" y="{top + 12}">'
        f"{escape(fitted(result.conditions[c], room / 1.1))}</text>"
        f'<text class="strong" x="{BAR_WIDTH}" y="{top + 12}" text-anchor="end">{numbers}</text>'
        f'<text class="soft-text" x="0" y="{top + 26}">'
        f"{escape(fitted(core.name, below, 11) + decides)}</text>"
        f'<text class="soft-text" x="{BAR_WIDTH}" y="{top + 26}" text-anchor="end">{doubt}</text>'
        f'<rect class="{style}" x="{left:.1f}" y="{top + 35}" width="{right - left:.1f}" '
        f'height="12"/>{_cut_end(value, style, top + 41, x, ends)}'
        f"{_whisker(low, high, top + 41, x)}"
    )


def _cut_end(value: float, style: str, y: float, x, ends) -> str:
    """A point on a bar that would reach beyond the scale; nothing on others."""
    if ends[0] <= value <= ends[1]:
        return ""
    back = x(value)
    tip = back + 7 if value > 0.0 else back - 7
    return (
        f'<polygon class="{style}" points="{tip:.1f},{y:.1f} {back:.1f},{y - 9:.1f} '
        f'{back:.1f},{y + 9:.1f}"/>'
    )


def _whisker(low: float, high: float, y: float, x) -> str:
    if not (np.isfinite(low) and np.isfinite(high)):
        return ""
    a, b = x(low), x(high)
    return (
        f'<path class="band" d="M{a:.1f} {y - 4:.1f}V{y + 4:.1f}M{a:.1f} {y:.1f}H{b:.1f}'
        f'M{b:.1f} {y - 4:.1f}V{y + 4:.1f}"/>'
    )


def budget_parts(result: CoolingResult, core: str, c: int):
    """What drives the air through a core, and what takes the pressure up again.

    Parameters
    ----------
    result : CoolingResult
    core : name
    c : number of the condition

    Returns
    -------
    drives, takes : (number of the step, words, Pa) of positive pressures; both sums are alike
        where the steps add up
    left : Pa, what they leave over
    """
    steps = [step for step in result.budget if step.core == core]
    drives, takes = [], []
    for number, step in enumerate(steps):
        value = float(step.pressure[c])
        if not np.isfinite(value):
            continue
        drive = value if number == 0 else -value
        if drive > 0.0:
            drives.append((number + 1, step.what, drive))
        elif drive < 0.0:
            takes.append((number + 1, step.what, -drive))
    left = sum(p for _, _, p in drives) - sum(p for _, _, p in takes)
    return drives, takes, left


def budget_picture(result: CoolingResult, rows) -> str:
    """Two stacked bars for every core: what drives the air, and where that pressure goes.

    Parameters
    ----------
    result : CoolingResult
    rows : (core, condition) numbers

    Returns
    -------
    str, SVG; nothing where there are no steps
    """
    found = [(k, c, *budget_parts(result, result.cores[k].name, c)) for k, c in rows]
    found = [row for row in found if row[2]]
    if not found:
        return ""
    most = max(max(_sum(drives), _sum(takes)) for _, _, drives, takes, _ in found)
    scale, row, body, words = (BAR_WIDTH - BAR_WORDS) / most, 78, "", []
    for i, (k, c, drives, takes, _) in enumerate(found):
        core, top = result.cores[k], row * i
        body += _budget_names(core.name, result.conditions[c], _sum(drives), top)
        body += _stack(drives, top + 22, scale, core.name, True)
        body += _stack(takes, top + 44, scale, core.name, False)
        told = ", ".join(f"{words_} {pressure:.0f} Pa" for _, words_, pressure in takes)
        words.append(f"{core.name}, {result.conditions[c]}: {_sum(drives):.0f} Pa drive; {told}")
    return _bars_svg("Where the pressure goes", "; ".join(words), row * len(found) + 4, body)


def _sum(parts) -> float:
    return sum(pressure for _, _, pressure in parts)


def _budget_names(core: str, condition: str, driven: float, top: float) -> str:
    total = f"driven by {driven:.0f} Pa"
    room = (BAR_WIDTH - text_width(total) - 20) / 2
    core = fitted(core, room / 1.1)
    return (
        f'<text class="strong" x="0" y="{top + 14}">{escape(core)}</text>'
        f'<text class="soft-text" x="{1.1 * text_width(core) + 8:.1f}" y="{top + 14}">'
        f"{escape(fitted(condition, room, 11))}</text>"
        f'<text x="{BAR_WIDTH}" y="{top + 14}" text-anchor="end">{total}</text>'
        f'<text class="soft-text" x="0" y="{top + 35}">drives</text>'
        f'<text class="soft-text" x="0" y="{top + 57}">takes</text>'
    )


def _stack(parts, top: float, scale: float, core: str, drives: bool) -> str:
    """One stacked bar; parts bear the numbers of their steps where there is room."""
    x, drawn = float(BAR_WORDS), ""
    for number, what, pressure in parts:
        width = pressure * scale
        own = what in (core, "core") or what.startswith(f"{core},")
        style = "gain" if drives else "core-part" if own else "spent"
        drawn += (
            f'<rect class="{style}" x="{x:.1f}" y="{top}" width="{width:.1f}" height="18">'
            f"<title>{escape(f'{what}: {pressure:.0f} Pa')}</title></rect>"
        )
        if width > text_width(str(number), 11) + 3:
            look = "small" if style == "spent" else "on-fill"
            drawn += (
                f'<text class="{look}" x="{x + width / 2:.1f}" y="{top + 13}" '
                f'text-anchor="middle">{number}</text>'
            )
        x += width
    return drawn


def _bars_svg(name: str, words: str, height: float, body: str) -> str:
    label = escape(f"{name}: {words}", quote=True)
    return (
        '<div class="picture">'
        f'<svg viewBox="0 0 {BAR_WIDTH} {height:.0f}" role="img" aria-label="{label}" '
        f'style="width:100%;min-width:330px;max-width:510px"><title>{escape(name)}</title>{body}</svg></div>'
    )
