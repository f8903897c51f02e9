"""Tables with wrapped cells that go on over pages, their heads repeated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from panelcp.report.paper.blocks import (
    INK,
    RULE,
    SOFT,
    TABLE,
    Area,
    Item,
    Strip,
    Stroke,
    Words,
    note,
)
from panelcp.report.paper.letters import LINE, RISE, lines_of, longest_word, text_width

GAP = 7.0
"""Points between columns."""

_PAD, _TIGHT = 1.8, 0.7
"""Points above and below the text of a row, and of one without a rule."""

_BOX = 1.4
"""Room of a box to be ticked, parts of the size."""

_TALLEST = 30
"""Lines of a row that stay together; a taller row is divided."""

_MANY = 4
"""Rows from which on the first three stay together, and the last two."""

_WORD, _WIDE = 0.24, 0.55
"""Parts of the width: a word that is wider may be broken; no text is wished wider."""


@dataclass(frozen=True)
class Cell:
    """One cell.

    Attributes
    ----------
    text : any text
    right : whether it is set to the right, as numbers are
    bold : whether the bold face is taken
    colour : of the text
    shade : of the ground, or None
    span : columns it takes; only the last cell of a row takes more than one
    box : whether it has a box to be ticked by hand, ahead of its text
    """

    text: str = ""
    right: bool = False
    bold: bool = False
    colour: str = INK
    shade: str | None = None
    span: int = 1
    box: bool = False


def number(text: str, **options) -> Cell:
    """A cell set to the right."""
    return Cell(text, right=True, **options)


@dataclass(frozen=True)
class Table:
    """A table.

    A row of one cell alone, over all columns, is a title: it stays with the row below it.

    Attributes
    ----------
    titles : head, a Cell or a text for each column; texts stand left
    rows : of cells or texts
    size : of the type, points
    stretch : whether it always takes the full width
    least_height : of a row, points; for cells to be filled in by hand
    parts : of the width for each column; None lets the texts decide
    gap : points between columns
    together : whether the rows below a title stay together, with rules between titles alone
    upright : whether thin rules stand between the columns, for cells to be filled in by hand
    """

    titles: tuple[Cell | str, ...]
    rows: tuple[tuple[Cell | str, ...], ...]
    size: float = TABLE
    stretch: bool = True
    least_height: float = 0.0
    parts: tuple[float, ...] | None = None
    gap: float = GAP
    together: bool = False
    upright: bool = False

    def strips(self, width: float) -> list[Strip]:
        """Head and rows; columns that do not fit beside each other come below, each with the
        first column.
        """
        head = _cells(self.titles, bold=True)
        rows = [_cells(row) for row in self.rows]
        if not rows:
            return []
        found: list[Strip] = []
        groups = self._groups(head, rows, width)
        for number_, columns in enumerate(groups):
            part_head = [head[k] for k in columns]
            part = [_chosen(row, columns, len(head)) for row in rows]
            widths = self._widths(part_head, part, width)
            if len(groups) > 1:
                found += note(f"Columns, part {number_ + 1} of {len(groups)}").strips(width)
            found += self._part(part_head, part, widths)
        return found

    def _part(self, head, rows, widths) -> list[Strip]:
        top = self._row(head, widths, head=True)
        found = [Strip(top[0].height, top[0].items, above=5.0, joined=True)]
        for k, row in enumerate(rows):
            title = _is_title(row)
            if len(row) < len(head) and not title and len(found) > 1:
                last = found[-1]
                found[-1] = Strip(last.height, last.items, last.above, True, last.head)
            joined = title or (len(rows) >= _MANY and k in (0, 1, len(rows) - 2))
            ends = k + 1 == len(rows) or _is_title(rows[k + 1])
            if self.together:
                joined = not ends
            strips = self._row(row, widths, rule=ends or not self.together)
            found += [Strip(s.height, s.items, joined=joined, head=found[0]) for s in strips]
        return found

    def _row(self, cells, widths, head=False, rule=True) -> list[Strip]:
        """Strips of one row, with a rule below it."""
        size, step = self.size, LINE * self.size
        pad = _TIGHT if self.together and not head else _PAD
        texts, column = [], 0
        for cell in cells:
            span = widths[column : column + cell.span]
            room = sum(span) + self.gap * (len(span) - 1)
            left = sum(widths[:column]) + self.gap * column
            if cell.box:
                left, room = left + _BOX * size, room - _BOX * size
            texts.append((cell, left, room, lines_of(cell.text, room, size, cell.bold)))
            column += cell.span
        count = max(len(lines) for *_, lines in texts)
        full = sum(widths) + self.gap * (len(widths) - 1)
        strips = []
        for first in range(0, count, _TALLEST):
            shown = min(_TALLEST, count - first)
            least = 0.0 if head or _is_title(cells) else self.least_height
            height = max(shown * step + 2.0 * pad, least)
            items = self._below(texts, height, pad, bool(first))
            for cell, left, room, lines in texts:
                lift = shown - len(lines) if head else 0
                for k, line in enumerate(lines[first : first + shown]):
                    if not line:
                        continue
                    y = pad + (k + lift) * step + RISE * size + 0.5 * (step - size)
                    far = room - text_width(line, size, cell.bold) if cell.right else 0.0
                    items.append(Words(left + far, y, line, size, cell.bold, cell.colour))
            if self.upright and len(cells) > 1:
                items += self._uprights(widths, height)
            if rule:
                below = ((0.0, height), (full, height))
                items.append(Stroke(below, 0.9 if head else 0.35, SOFT if head else RULE))
            strips.append(Strip(height, tuple(items)))
        return strips

    def _below(self, texts, height: float, pad: float, goes_on: bool) -> list[Item]:
        """Grounds of the cells of a row, and boxes to be ticked where it begins."""
        size, inset = self.size, self.gap - 1.5
        items: list[Item] = [
            Area(left - 0.5 * inset, 0.75, room + inset, height - 1.5, cell.shade)
            for cell, left, room, _ in texts
            if cell.shade
        ]
        items += [
            Area(left - _BOX * size, pad + 0.2 * size, 0.9 * size, 0.9 * size, None, INK)
            for cell, left, *_ in texts
            if cell.box and not goes_on
        ]
        return items

    def _uprights(self, widths, height: float) -> list[Item]:
        """Thin rules between the columns."""
        places = [sum(widths[:k]) + self.gap * (k - 0.5) for k in range(1, len(widths))]
        return [Stroke(((x, 0.0), (x, height)), 0.35, RULE) for x in places]

    def _wishes(self, head, rows, width) -> tuple[list[float], list[float]]:
        """Least and wished width of every column."""
        least, wished = [], []
        for k, title in enumerate(head):
            cells = [title, *(row[k] for row in rows if k < len(row) and row[k].span == 1)]
            words = [longest_word(c.text, self.size, c.bold) for c in cells]
            lines = [
                max(
                    text_width(line, self.size, c.bold)
                    for line in lines_of(c.text, _WIDE * width, self.size, c.bold)
                )
                for c in cells[1:]
            ]
            least.append(min(max(words), _WORD * width) + 0.01)
            wished.append(max([least[-1], *lines]) + 0.01)
        return least, wished

    def _groups(self, head, rows, width) -> list[list[int]]:
        """Numbers of the columns that stand beside each other."""
        if self.parts is not None:
            return [list(range(len(head)))]
        least, _ = self._wishes(head, rows, width)
        groups: list[list[int]] = [[0]]
        room = width - least[0]
        for k in range(1, len(head)):
            need = least[k] + self.gap
            if need > room and len(groups[-1]) > 1:
                groups.append([0])
                room = width - least[0]
            groups[-1].append(k)
            room -= need
        if len(groups) > 1:  # as many in each
            each = -(-(len(head) - 1) // len(groups))
            even = [
                [0, *range(first, min(first + each, len(head)))]
                for first in range(1, len(head), each)
            ]
            if all(sum(least[k] + self.gap for k in group) - self.gap <= width for group in even):
                return even
        return groups

    def _widths(self, head, rows, width) -> list[float]:
        room = width - self.gap * (len(head) - 1)
        if self.parts is not None:
            return [room * part / sum(self.parts) for part in self.parts]
        least, wished = self._wishes(head, rows, width)
        if sum(wished) <= room:
            spare = room - sum(wished)
            if not self.stretch:
                return wished
            return [w + spare * w / sum(wished) for w in wished]
        if sum(least) >= room:
            return [w * room / sum(least) for w in least]
        return _shared(least, wished, room)


def _shared(least: list[float], wished: list[float], room: float) -> list[float]:
    """Widths of columns that cannot all be as wide as wished: narrow ones are, the others share."""
    found, left = list(least), list(range(len(least)))
    while True:
        free = room - sum(found[k] for k in range(len(least)) if k not in left)
        spare = free - sum(least[k] for k in left)
        fair = free / len(left)
        small = [k for k in left if wished[k] <= fair and wished[k] - least[k] <= spare]
        if not small:
            break
        k = min(small, key=lambda k: wished[k])
        found[k] = wished[k]
        left.remove(k)
    more = sum(wished[k] - least[k] for k in left)
    for k in left:
        found[k] = least[k] + spare * (wished[k] - least[k]) / more
    return found


def _is_title(row: Sequence[Cell]) -> bool:
    """Whether a row is one cell over several columns."""
    return len(row) == 1 and row[0].span > 1


def _cells(row: Sequence[Cell | str], bold: bool = False) -> list[Cell]:
    return [cell if isinstance(cell, Cell) else Cell(cell, bold=bold) for cell in row]


def _chosen(row, columns, count):
    """Cells of the chosen columns; one that takes several is shown with each part."""
    if len(row) == count:
        return [row[k] for k in columns]
    starts, column = [], 0
    for cell in row:
        starts.append(column)
        column += cell.span
    found = []
    for start, cell in zip(starts, row, strict=True):
        inside = [k for k in columns if start <= k < start + cell.span]
        if inside:
            found.append(Cell(cell.text, cell.right, cell.bold, cell.colour, cell.shade,
                              len(inside)))  # fmt: skip
    return found
