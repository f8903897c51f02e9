"""Marks on values outside their bands: where they stand, and what explains them on the page."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from panelcp.report.cooling_diagram import band_text, kelvin_text
from panelcp.report.cooling_section import cooling_section
from panelcp.report.cooling_tables import cooling_summary, readable
from panelcp.report.paper.blocks import Drawing, Paragraph, Strip, Words
from panelcp.report.paper.cooling_pages import (
    _core_table,
    _flow_cell,
    _margin_bars,
    _margins,
    by_heading,
    marked_margins,
)
from panelcp.report.paper.footnotes import NOTES, OUTSIDE, marked, notes_of, outside
from panelcp.report.paper.from_html import blocks_of_html
from panelcp.report.paper.grids import Cell, Table
from panelcp.report.paper.laying import BOTTOM, Foot, faults_of, laid_out, words_of
from panelcp.report.paper.writing import report_pages
from panelcp.report.summary import as_json
from tests.report.exports.whole_run import contents as whole_contents

FOOT = Foot("a name", "revision 1", "inputs abc")
NOTE = NOTES[OUTSIDE]


def laid(*blocks, paper="A4"):
    return laid_out([("part", False, True, list(blocks))], paper, FOOT)


def joined(page) -> str:
    return " ".join(words.text for words in words_of(page))


@pytest.mark.parametrize(
    ("value", "low", "high", "wanted"),
    [
        (1.0, 1.0, 2.0, False),
        (2.0, 1.0, 2.0, False),
        (0.999, 1.0, 2.0, True),
        (2.001, 1.0, 2.0, True),
        (5.0, None, 2.0, False),
        (5.0, np.nan, 2.0, False),
        (np.inf, 1.0, 2.0, False),
    ],
)
def test_only_a_value_beyond_an_end_is_outside(value, low, high, wanted):
    assert outside(value, low, high) == wanted


def test_the_mark_stands_behind_the_very_number():
    assert marked("below −200 K (−485 to −59) stop", -926.9, -484.0, -58.5).startswith(
        "below −200†"
    )
    assert marked("−8.9 K (−41 to 5)", -8.9, -41.0, 5.0) == "−8.9 K (−41 to 5)"
    assert marked("0.0123", 0.0123, 0.02, 0.03) == "0.0123†"


def test_a_note_is_told_once_for_marks_behind_digits_alone():
    assert notes_of(["1.5† K", "2† K", "x"]) == [NOTE]
    assert notes_of(["† alone", "a name†"]) == []


def test_the_note_stands_on_every_page_with_a_mark_and_on_no_other():
    """However full the page is, over no other text, and above the foot."""
    for height in range(560, 745, 6):
        filler = Drawing(lambda width, height=height: [Strip(float(height))])
        pages = laid(Paragraph("first 1† K"), filler, Paragraph("more"), Paragraph("last 3† K"))
        for page in pages:
            assert faults_of(page) == []
            text = joined(page)
            assert (NOTE[:40] in text) == ("1† K" in text or "3† K" in text)
            body = [w for w in words_of(page) if w.y < page.size[1] - BOTTOM + 1.0]
            assert max([w.box[3] for w in body], default=0.0) <= page.size[1] - BOTTOM + 1e-6


def test_rows_leave_the_page_where_the_note_needs_their_room():
    """A page full to the last line begins another as soon as a mark is in it."""
    pages = {}
    for mark in ("", OUTSIDE):
        rows = [Strip(10.0, (Words(0.0, 8.0, f"row 1{mark}"),)) for _ in range(74)]
        pages[mark] = laid(Drawing(lambda width, rows=rows: rows))
    assert [len(found) for found in pages.values()] == [1, 2]
    assert all(NOTE[:40] in joined(page) for page in pages[OUTSIDE])


@cache
def shifted():
    """The network of the whole run, the bands of one margin and one flow moved off their values."""
    found = whole_contents().cooling
    core = found.cores[0]
    margin, flow = core.margin, core.flow
    high = np.array(margin.high)
    low = np.array(margin.low)
    low[0], high[0] = margin.value[0] + 3.0, margin.value[0] + 9.0
    flow_low, flow_high = np.array(flow.low), np.array(flow.high)
    flow_low[1], flow_high[1] = 2.0 * flow.value[1], 3.0 * flow.value[1]
    moved = replace(
        core,
        margin=replace(margin, low=low, high=high),
        flow=replace(flow, low=flow_low, high=flow_high),
    )
    return replace(found, cores=(moved, *found.cores[1:]))


def marks_wanted(result):
    """(condition, core) of every margin outside its band."""
    return {
        (c, k)
        for k, core in enumerate(result.cores)
        for c in range(len(result.conditions))
        if outside(core.margin.value[c], core.margin.low[c], core.margin.high[c])
    }


def told(row):
    return [cell.text if isinstance(cell, Cell) else cell for cell in row]


def test_margins_and_flows_of_the_core_table_are_marked_by_the_numbers_of_the_summary():
    result = readable(shifted())
    summary = json.loads(as_json(cooling_summary(shifted())))
    rows = [told(row) for row in _core_table(result, summary).rows]
    assert all(len(row) in (1, 13) for row in rows)
    cores = summary["cores"]
    assert [row[0] for row in rows if len(row) == 1] == summary["conditions"]
    rows = [row for row in rows if len(row) > 1]
    seen = 0
    for c in range(len(summary["conditions"])):
        for k, core in enumerate(cores):
            row = rows[c * len(cores) + k]
            assert row[0] == core["name"]
            for column, key in ((1, "flow_kg_per_s"), (11, "margin_K")):
                value, low, high = (core[key][end][c] for end in ("value", "low", "high"))
                wanted = outside(value, low, high)
                assert row[column].endswith(OUTSIDE) == wanted
                seen += wanted
    assert seen >= 2


def test_margins_of_bars_and_table_are_marked():
    result = readable(shifted())
    wanted = marks_wanted(result)
    assert (0, 0) in wanted
    blocks = _margins(result, by_heading(blocks_of_html(cooling_section(shifted()))))
    table = next(block for block in blocks if isinstance(block, Table))
    titles, found = told(table.titles), set()
    for row in table.rows:
        texts = told(row)
        if texts[0] in result.conditions:
            c = result.conditions.index(texts[0])
            for k, core in enumerate(result.cores):
                text = texts[titles.index(core.name)]
                assert text.count(OUTSIDE) <= 1
                if OUTSIDE in text:
                    found.add((c, k))
    shown = {(c, k) for c, k in wanted if result.told(c)}
    assert found == shown
    words = [w.text for s in _margin_bars(result, 480.0) for w in s.items if isinstance(w, Words)]
    for c in range(len(result.conditions)):
        limiting = [k for k, core in enumerate(result.cores)
                    if core.name == result.limiting_core[c] and (c, k) in shown]  # fmt: skip
        for k in limiting:
            margin = result.cores[k].margin
            value = kelvin_text(margin.value[c]).replace(" K", f"{OUTSIDE} K")
            assert any(text.startswith(value) for text in words)


def test_sentences_mark_the_margin_beside_its_band():
    result = readable(shifted())
    margin = result.cores[0].margin
    band = band_text(margin.low[0], margin.high[0])
    value = kelvin_text(margin.value[0])
    text = f"least margin {value} ({band}), stop"
    assert (
        marked_margins(text, result) == f"least margin {value.replace(' K', '† K')} ({band}), stop"
    )
    assert marked_margins(f"least margin {value}", result) == f"least margin {value}"


def test_flows_of_openings_are_marked_where_their_band_is_known():
    port = {"flow_kg_per_s": {"value": [0.5, 0.5], "low": [0.6, 0.4], "high": [0.9, 0.6]},
            "reversed": [False, False]}  # fmt: skip
    assert [_flow_cell(port, c).text for c in (0, 1)] == ["0.500†", "0.500"]


def test_pages_of_the_report_with_a_mark_have_its_note():
    pages = report_pages(replace(whole_contents(), cooling=shifted()), summary=None)
    marked_pages = [page for page in pages if notes_of(w.text for w in words_of(page))]
    assert marked_pages
    for page in pages:
        assert (NOTE[:40] in joined(page)) == (page in marked_pages)
