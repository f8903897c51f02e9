"""Layout of a page of views: title and notice, rows of views to one scale, the colour bar.

Boxes are (left, bottom, width, height) in inch, counted from the lower left corner of the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise, product

import numpy as np

from panelcp.report.hatching import hatch_swatch
from panelcp.report.labels import text_size, wrapped

INK = "#1d2326"
FONT = 7.0  # points: ticks, marks, colour bar
TITLE_FONT = 11.0
SIDE = 0.35  # inch, from the left edge of the page to title and notice
_ROOM_LEFT, _ROOM_BELOW, _ROOM_ABOVE, _ROOM_RIGHT = 0.48, 0.38, 0.22, 0.08  # inch, round a view
_BAR_ROOM, _BAR_GAP, _BAR_WIDTH, _BAR_HEIGHT = 0.7, 0.12, 0.16, 3.6  # inch
_MOST_ROWS, _FREE_VIEWS = 3, 6
_AS_LARGE = 0.97  # of the largest scale
_LEGEND_ROOM, _SWATCH = 0.22, (0.34, 0.13)  # inch
_NOTICE_FONT = FONT + 0.5

Frame = tuple[float, float, float, float]


@dataclass(frozen=True)
class Margins:
    """inch: least room between a body and the frame of its view, for labels and scale bars."""

    side: float
    above: float
    below: float


PLAIN_MARGINS = Margins(0.12, 0.12, 0.38)
MARK_MARGINS = Margins(0.42, 0.3, 0.45)


def title_lines(title: str, width: float) -> list[str]:
    """The lines of a title on a page of a width in inch."""
    return wrapped(title, (width - 2.0 * SIDE) * 72.0, TITLE_FONT) if title else []


def _notice_lines(notice, width):
    return wrapped(notice, (width - 2.0 * SIDE) * 72.0, _NOTICE_FONT) if notice else []


def page_frame(size, n_title_lines: int, notice: str, with_legend: bool = False) -> Frame:
    """What title, legend and notice leave of a page of a size (width, height) in inch."""
    width, height = size
    top, bottom = height - 0.2, 0.2
    if n_title_lines:
        top -= 0.1 + 0.2 * n_title_lines
    notice_lines = len(_notice_lines(notice, width))
    if notice_lines:
        bottom += 0.04 + 0.145 * notice_lines
    if with_legend:
        bottom += _LEGEND_ROOM
    return 0.2, bottom, width - 0.4, top - bottom


def write_title(figure, title: str):
    """Write the title of a page."""
    width, height = figure.get_size_inches()
    text = "\n".join(title_lines(title, width))
    if text:
        place = (SIDE / width, 1.0 - 0.2 / height)
        figure.text(*place, text, fontsize=TITLE_FONT, va="top", color=INK)


def write_notice(figure, notice: str, entries: Sequence[tuple[int, str]] = ()):
    """Write the notice, and above it the legend of the hatches: (level, words) of each."""
    width, height = figure.get_size_inches()
    lines = _notice_lines(notice, width)
    if lines:
        place = (SIDE / width, 0.16 / height)
        figure.text(*place, "\n".join(lines), fontsize=_NOTICE_FONT, color=INK)
    left, bottom = SIDE, 0.18 + 0.145 * len(lines) + (0.04 if lines else 0.0)
    for level, words in entries:
        hatch_swatch(figure, (left, bottom, *_SWATCH), level)
        left += _SWATCH[0] + 0.08
        place = (left / width, (bottom + 0.5 * _SWATCH[1]) / height)
        figure.text(*place, words, fontsize=_NOTICE_FONT, va="center_baseline", color=INK)
        left += text_size(words, _NOTICE_FONT)[0] / 72.0 + 0.3


@dataclass(frozen=True)
class Arrangement:
    """Where the views of a page go.

    Attributes
    ----------
    scale : float, inch of paper per m of body, the same for all views
    cells : boxes of the views
    bar : box of the colour bar
    """

    scale: float
    cells: list[Frame]
    bar: Frame


def arranged(
    bodies, page: Frame, margins: Margins, upward: Sequence = (), dots_per_inch: int = 300
) -> Arrangement:
    """Boxes of the views and of the colour bar, for the largest common scale.

    Parameters
    ----------
    bodies : (n_views, 2) float, m, size of the body across and up in each view
    page : box that may be filled
    margins : Margins inside the frame of each view
    upward : the body axis that points up in each view, or None; of arrangements that are equally
        large to 3 %, the one with most equal axes side by side is taken
    dots_per_inch : int, boxes begin and end at whole dots

    Returns
    -------
    Arrangement: rows of views that fill the page
    """
    bodies = np.abs(np.asarray(bodies, dtype=float))
    upward = list(upward) or [None] * len(bodies)
    tried = [
        (_row_scale(bodies, rows, bar_row, page, margins), rows, bar_row)
        for rows in _row_choices(len(bodies))
        for bar_row in range(len(rows))
    ]
    most = max(scale for scale, *_ in tried)
    large = [choice for choice in tried if choice[0] >= _AS_LARGE * most]
    scale, rows, bar_row = max(large, key=lambda choice: (_alike(choice[1], upward), choice[0]))
    return _placed(bodies, rows, bar_row, scale, page, margins, dots_per_inch)


def _row_choices(n_views: int) -> list[list[list[int]]]:
    """Ways to put views into one, two or three rows, each row in the order of the views."""
    choices = []
    for n_rows in range(1, min(_MOST_ROWS, n_views) + 1):
        if n_views > _FREE_VIEWS:  # too many ways: as they follow each other
            firsts = (-(-n_views * row // n_rows) for row in range(n_rows + 1))
            choices.append([list(range(a, b)) for a, b in pairwise(firsts)])
            continue
        for row_of in product(range(n_rows), repeat=n_views):
            rows = [[k for k in range(n_views) if row_of[k] == row] for row in range(n_rows)]
            if all(rows):
                choices.append(rows)
    return choices


def _alike(rows, upward) -> int:
    """Pairs of views side by side with the same axis upward."""
    return sum(
        upward[a] is not None and upward[a] == upward[b]
        for row in rows
        for a, b in combinations(row, 2)
    )


def _room_beside(row, margins, with_bar):
    """inch: width of a row that does not grow with the scale."""
    each = _ROOM_LEFT + _ROOM_RIGHT + 2.0 * margins.side
    return len(row) * each + (_BAR_ROOM if with_bar else 0.0)


def _row_scale(bodies, rows, bar_row, page, margins) -> float:
    """Largest inch per m at which the rows fit; 0 where they never do."""
    *_, width, height = page
    above = len(rows) * (_ROOM_BELOW + _ROOM_ABOVE + margins.above + margins.below)
    scale = (height - above) / sum(bodies[row, 1].max() for row in rows)
    for number, row in enumerate(rows):
        free = width - _room_beside(row, margins, number == bar_row)
        scale = min(scale, free / bodies[row, 0].sum())
    return max(float(scale), 0.0)


def _placed(bodies, rows, bar_row, scale, page, margins, dots_per_inch) -> Arrangement:
    """Boxes of the rows; what is left of the page is shared out among the frames."""
    left, bottom, width, height = page
    inside = [scale * bodies[row, 1].max() + margins.above + margins.below for row in rows]
    left_over = height - sum(inside) - len(rows) * (_ROOM_BELOW + _ROOM_ABOVE)
    top, cells, bar = bottom + height, [(0.0, 0.0, 0.0, 0.0)] * len(bodies), None
    for number, row in enumerate(rows):
        high = inside[number] + left_over / len(rows)
        low = top - _ROOM_ABOVE - high
        spare = width - _room_beside(row, margins, number == bar_row)
        spare = max(spare - scale * bodies[row, 0].sum(), 0.0) / len(row)
        x = left
        for k in row:
            wide = scale * bodies[k, 0] + 2.0 * margins.side + spare
            cells[k] = _whole_dots((x + _ROOM_LEFT, low, wide, high), dots_per_inch)
            x += _ROOM_LEFT + wide + _ROOM_RIGHT
        if number == bar_row:
            tall = min(_BAR_HEIGHT, high)
            bar = (x + _BAR_GAP, low + high - tall, _BAR_WIDTH, tall)
        top = low - _ROOM_BELOW
    return Arrangement(scale, cells, bar)


def _whole_dots(box: Frame, dots_per_inch: int) -> Frame:
    left, bottom = np.ceil(np.array(box[:2]) * dots_per_inch - 1e-6)
    right, top = np.floor((np.array(box[:2]) + box[2:]) * dots_per_inch + 1e-6)
    sides = np.array([left, bottom, max(right - left, 1.0), max(top - bottom, 1.0)])
    return tuple((sides / dots_per_inch).tolist())


def share_of_page(box: Frame, size) -> list[float]:
    """A box in parts of the page, as matplotlib places axes."""
    return [box[0] / size[0], box[1] / size[1], box[2] / size[0], box[3] / size[1]]
