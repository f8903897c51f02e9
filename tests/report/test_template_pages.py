"""Sheets of a template: nothing of the outline is lost, marks meet, as few as can be."""

import numpy as np
import pytest

from panelcp.errors import CaseError
from panelcp.report.template import pieces_of, turned
from panelcp.report.template_pages import BAND, EDGE, PAPERS, paper_size, sheets_of
from tests.report.templates import template

CASES = [
    {"length": 0.22, "width": 0.15},
    {"length": 0.16, "width": 0.44},
    {"length": 0.7, "width": 0.6, "turn": 20.0, "shape": "oval"},
    {"body": "ellipsoid", "length": 0.3, "width": 0.2},
]


def joined(case):
    return " ".join(f"{key} {value}" for key, value in case.items())


@pytest.mark.parametrize("paper", sorted(PAPERS))
@pytest.mark.parametrize("case", CASES, ids=joined)
def test_every_point_of_the_outline_is_printed_on_some_sheet(case, paper):
    whole = template(**case)
    sheets = sheets_of(whole, paper)
    assert [sheet.number for sheet in sheets] == list(range(1, len(sheets) + 1))
    assert {sheet.count for sheet in sheets} == {len(sheets)}
    for piece in pieces_of(whole):
        own = [sheet for sheet in sheets if sheet.piece.flat is piece.flat]
        outline = turned(piece.flat.outline, own[0].turns)
        shown = [((outline >= s.window[0]) & (outline <= s.window[1])).all(axis=1) for s in own]
        assert np.any(shown, axis=0).all()


@pytest.mark.parametrize("paper", sorted(PAPERS))
@pytest.mark.parametrize("case", CASES, ids=joined)
def test_windows_lie_where_a_printer_prints(case, paper):
    for sheet in sheets_of(template(**case), paper):
        assert sorted(sheet.size) == sorted(PAPERS[paper])
        box = sheet.window + sheet.shift
        assert (box[0] >= np.array([EDGE, EDGE + BAND]) - 1e-9).all()
        assert (box[1] <= np.array(sheet.size) - EDGE + 1e-9).all()


@pytest.mark.parametrize("case", CASES[1:3], ids=joined)
def test_marks_of_two_sheets_are_one_place_of_the_drawing(case):
    sheets = sheets_of(template(**case))
    assert len(sheets) > 1
    seen = {}
    for sheet in sheets:
        for name, place in sheet.marks:
            seen.setdefault(name, []).append((sheet, place))
    # three on every overlap of two neighbours
    assert len(seen) == 3 * sum(len(sheet.joins) for sheet in sheets) / 2
    for name, two in seen.items():
        (first, place), (second, other) = two
        np.testing.assert_allclose(place, other, atol=1e-9)
        assert name[:-1] == f"{first.number}-{second.number}"
        for sheet in (first, second):
            assert (place > sheet.window[0] + 3.0).all()
            assert (place < sheet.window[1] - 3.0).all()


def test_joins_name_each_other():
    opposite = {"left": "right", "right": "left", "above": "below", "below": "above"}
    sheets = sheets_of(template(**CASES[2]))
    for sheet in sheets:
        for side, number in sheet.joins:
            assert (opposite[side], sheet.number) in sheets[number - 1].joins


@pytest.mark.parametrize(
    ("length", "width", "count"),
    # a window of A4 is 190 by 240 mm upright, 277 by 153 mm lying; 8 mm are wanted round an outline
    [(0.22, 0.15, 1), (0.15, 0.22, 1), (0.265, 0.14, 1), (0.16, 0.44, 2), (0.26, 0.17, 2)],
)
def test_both_directions_of_paper_and_drawing_are_tried(length, width, count):
    assert len(sheets_of(template(length=length, width=width))) == count


def test_an_unknown_paper_is_refused():
    with pytest.raises(CaseError, match="paper 'A3' is not known; choose one of A4, Letter"):
        paper_size("A3")
