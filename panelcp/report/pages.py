"""Layout of a page of views: title and notice, rows of views to one scale, the colour bar.

Boxes are (left, bottom, width, height) in inch, counted from the lower left corner of the page.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.report.hatching import hatch_swatch
from panelcp.report.labels import text_size, wrapped

INK = "#1d2326"
FONT = 7.0  # points: ticks, marks, colour bar
TITLE_FONT = 11.0
SIDE = 0.35  # inch, from the left edge of the page to title and notice
_ROOM_LEFT, _ROOM_BELOW, _ROOM_ABOVE, _ROOM_RIGHT = 0.55, 0.42, 0.25, 0.1  # inch, round a view
_BAR_ROOM, _BAR_WIDTH, _BAR_HEIGHT = 0.75, 0.16, 3.6  # inch
_LEGEND_ROOM, _SWATCH = 0.22, (0.34, 0.13)  # inch
_NOTICE_FONT = FONT + 0.5

Frame = tuple[float, float, float, float]


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


def arranged(spans, page: Frame) -> tuple[list[Frame], Frame]:
    """Boxes of the views and of the colour bar.

    Rows of one, two or three views, whichever gives the largest common scale.

    Parameters
    ----------
    spans : (n_views, 2) float, m, across and up
    page : box that may be filled

    Returns
    -------
    boxes of the views, box of the colour bar
    """
    left, bottom, width, height = page
    width -= _BAR_ROOM
    spans = np.abs(np.asarray(spans, dtype=float))
    best = max((_grid_scale(spans, n, width, height), n) for n in range(1, min(3, len(spans)) + 1))
    scale, n_columns = best
    column_widths, row_heights = _grid(spans * scale, n_columns)
    cells = []
    for k, (across, upward) in enumerate(spans * scale):
        row, column = divmod(k, n_columns)
        x = left + column_widths[:column].sum() + _ROOM_LEFT
        y = bottom + height - row_heights[: row + 1].sum() + _ROOM_BELOW
        y += row_heights[row] - _ROOM_BELOW - _ROOM_ABOVE - upward
        cells.append((x, y, across, upward))
    top = bottom + height - _ROOM_ABOVE
    tall = min(_BAR_HEIGHT, height - _ROOM_ABOVE - 0.15)
    if len(row_heights) == 1:
        tall = min(tall, max(cell[3] for cell in cells))
    bar_left = min(left + column_widths.sum() + 0.2, left + width + 0.15)
    return cells, (bar_left, top - tall, _BAR_WIDTH, tall)


def _grid(sizes, n_columns):
    """Widths of the columns and heights of the rows, labels included, in inch."""
    rows = -(-len(sizes) // n_columns)
    widths, heights = np.zeros(n_columns), np.zeros(rows)
    for k, (across, upward) in enumerate(sizes):
        row, column = divmod(k, n_columns)
        widths[column] = max(widths[column], across + _ROOM_LEFT + _ROOM_RIGHT)
        heights[row] = max(heights[row], upward + _ROOM_BELOW + _ROOM_ABOVE)
    return widths, heights


def _grid_scale(spans, n_columns, width, height):
    """Largest inch per m at which the grid fits."""
    widths, heights = _grid(spans, n_columns)
    beside = n_columns * (_ROOM_LEFT + _ROOM_RIGHT)
    above = len(heights) * (_ROOM_BELOW + _ROOM_ABOVE)
    free_width, free_height = width - beside, height - above
    if min(free_width, free_height) <= 0.0:
        return 0.0
    return min(free_width / (widths.sum() - beside), free_height / (heights.sum() - above))


def share_of_page(box: Frame, size) -> list[float]:
    """A box in parts of the page, as matplotlib places axes."""
    return [box[0] / size[0], box[1] / size[1], box[2] / size[0], box[3] / size[1]]
