"""How a template is divided onto sheets of paper: windows, overlaps, marks that must meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import CaseError
from panelcp.report.template import Piece, Template, outline_box, pieces_of
from panelcp.surface.mesh import frozen_array

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""mm, upright."""

EDGE = 10.0
"""mm, all round, where a printer may not print."""

BAND = 37.0
"""mm, at the foot of every sheet, for bars and text."""

OVERLAP = 12.0
"""mm, that sheets side by side have in common."""

ROOMS = (16.0, 4.0)
"""mm, wanted round the outline; the smaller where it saves sheets."""

PARTS = (1 / 6, 1 / 2, 5 / 6)
"""Where marks stand on an overlap, parts of its length."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """One sheet of paper and what of a piece is printed on it.

    Attributes
    ----------
    number, count : of this sheet, of all
    piece : Piece
    turns : quarter turns of the piece's drawing
    size : (width, height) of the paper, mm
    window : (2, 2) mm: least and greatest place of the drawing shown, in the drawing's own places
    shift : (2,) mm: place on the paper, from its lower left corner, less place in the drawing
    marks : (name, place in the drawing (2,) mm) of the crosses that must meet those of others
    joins : ("left", "right", "above" or "below", number of the sheet that joins there)
    """

    number: int
    count: int
    piece: Piece
    turns: int
    size: tuple[float, float]
    window: np.ndarray
    shift: np.ndarray
    marks: tuple[tuple[str, np.ndarray], ...] = ()
    joins: tuple[tuple[str, int], ...] = ()

    def __post_init__(self):
        object.__setattr__(self, "window", frozen_array(self.window))
        object.__setattr__(self, "shift", frozen_array(self.shift))


def paper_size(paper: str) -> tuple[float, float]:
    """(width, height) mm of an upright sheet.

    Raises
    ------
    CaseError : a paper that is not known

    Examples
    --------
    >>> paper_size("a4")
    (210.0, 297.0)
    """
    for name, size in PAPERS.items():
        if paper.lower() == name.lower():
            return size
    raise CaseError(f"paper {paper!r} is not known; choose one of {', '.join(PAPERS)}")


def sheets_of(template: Template, paper: str = "A4") -> tuple[Sheet, ...]:
    """Divide a template onto as few sheets as both directions of the paper and the drawing allow.

    Parameters
    ----------
    template : Template
    paper : one of PAPERS

    Returns
    -------
    tuple of Sheet
        Piece after piece, rows from the top, each from the left.
    """
    upright = paper_size(paper)
    plans = [(piece, *_best_plan(piece, upright)) for piece in pieces_of(template)]
    count = sum(columns * rows for _, _, _, _, columns, rows in plans)
    sheets: list[Sheet] = []
    for piece, size, turns, box, columns, rows in plans:
        sheets += _sheets(piece, size, turns, box, (columns, rows), len(sheets), count)
    return tuple(sheets)


def window_size(size) -> np.ndarray:
    """(2,) mm: what a sheet shows of the drawing."""
    return np.asarray(size) - [2.0 * EDGE, 2.0 * EDGE + BAND]


def _best_plan(piece: Piece, upright):
    """Paper size, turns, box, columns and rows with the fewest sheets; upright before turned."""
    plans = []
    for order, (quarter, lying) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        size = upright[::-1] if lying else upright
        turns = piece.upright + quarter
        for room in ROOMS:
            box = outline_box(piece, turns) + np.array([[-room], [room]])
            step = window_size(size) - OVERLAP
            columns, rows = np.maximum(1, np.ceil((np.ptp(box, axis=0) - OVERLAP) / step - 1e-9))
            plans.append((columns * rows, -room, order, size, turns, box, int(columns), int(rows)))
    return min(plans, key=lambda plan: plan[:3])[3:]


def _sheets(piece, size, turns, box, grid, before, count) -> list[Sheet]:
    """Sheets of one piece, the drawing in the middle of all."""
    columns, rows = grid
    window, step = window_size(size), window_size(size) - OVERLAP
    whole = step * [columns, rows] + OVERLAP
    corner = box.mean(axis=0) - 0.5 * whole

    def number(column, row):
        return before + (rows - 1 - row) * columns + column + 1

    sheets = []
    for row in reversed(range(rows)):
        for column in range(columns):
            low = corner + step * [column, row]
            sheets.append(
                Sheet(
                    number=number(column, row),
                    count=count,
                    piece=piece,
                    turns=turns,
                    size=size,
                    window=np.array([low, low + window]),
                    shift=np.array([EDGE, EDGE + BAND]) - low,
                    marks=_marks(low, window, (column, row), grid, number),
                    joins=_joins((column, row), grid, number),
                )
            )
    return sheets


def _joins(place, grid, number) -> tuple[tuple[str, int], ...]:
    (column, row), (columns, rows) = place, grid
    sides = (
        ("left", column > 0, (column - 1, row)),
        ("right", column < columns - 1, (column + 1, row)),
        ("above", row < rows - 1, (column, row + 1)),
        ("below", row > 0, (column, row - 1)),
    )
    return tuple((side, number(*other)) for side, there, other in sides if there)


def _marks(low, window, place, grid, number) -> tuple[tuple[str, np.ndarray], ...]:
    """Crosses in the middle of the overlaps, named by both sheets and a letter."""
    own, marks = number(*place), []
    sides = {"left": (0, 0), "right": (0, 1), "below": (1, 0), "above": (1, 1)}
    for side, other in _joins(place, grid, number):
        axis, far = sides[side]
        for letter, part in zip("abc", PARTS, strict=True):
            at = low + part * window
            at[axis] = low[axis] + (window[axis] - 0.5 * OVERLAP if far else 0.5 * OVERLAP)
            marks.append((f"{min(own, other)}-{max(own, other)}{letter}", at))
    return tuple(marks)
