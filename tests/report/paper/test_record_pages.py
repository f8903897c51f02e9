"""What is filled in by hand: the checklist, the load of the fans; and cards that stay whole."""

import json
from functools import cache

import numpy as np
import pytest

from panelcp.report.cooling_tables import cooling_summary
from panelcp.report.paper.blocks import Area, Group, Paragraph, Words
from panelcp.report.paper.closing_pages import (
    CHECKLIST,
    OWN_LINES,
    RECORD_COLUMNS,
    RECORD_ROW,
    checklist_blocks,
)
from panelcp.report.paper.cooling_pages import electrical_load
from panelcp.report.paper.grids import Cell, Table
from panelcp.report.paper.laying import (
    LEFT,
    RIGHT,
    Foot,
    faults_of,
    laid_out,
    page_size,
    words_of,
)
from panelcp.report.paper.place_pages import cards_blocks
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.writing import report_pages
from panelcp.report.summary import as_json
from tests.report.exports.whole_run import contents as whole_contents

FOOT = Foot("a name", "revision 1", "inputs abc")

LOOKED_AT = """
position and area; material, finish; drain holes; firewall; penetration; hoses; beads; clamps;
routing; load against alternator; wire size; fuse; weight and balance; placards; test plan; limits;
ppm; log; stop rules; places to land; who flies; surface file; warnings read; direction; joints;
lifting of the cowl; swallowed; carbon monoxide; windshield; fresh-air; rain; belts, sensors;
steam of a failed hose; air locks; header tank; boiling; cap pressure; vapour lock; softening;
corners; latches; core closed out; leak test; off steps; airspeed; reference; scatter; seals
"""
"""What people must look at, by the trade: for the inspector, for the owner, and what goes wrong."""


def told(row):
    return [cell.text if isinstance(cell, Cell) else cell for cell in row]


def checklist_table() -> Table:
    (table,) = (b for b in checklist_blocks(None) if isinstance(b, Table))
    return table


def test_the_checklist_holds_all_that_people_must_look_at():
    words = " ".join(text for _, texts in CHECKLIST for text in texts)
    for wanted in LOOKED_AT.replace("\n", " ").split(";"):
        assert wanted.strip() in words, wanted


def test_every_line_of_the_checklist_has_columns_to_be_filled_in():
    table = checklist_table()
    assert [title for title, _ in RECORD_COLUMNS][:4] == ["Looked at", "Done", "Date", "By"]
    lines = [row for row in table.rows if len(row) > 1]
    assert len(lines) == sum(len(texts) for _, texts in CHECKLIST) + OWN_LINES
    for row in lines:
        assert len(row) == len(RECORD_COLUMNS)
        assert row[1].box
        assert told(row)[1:] == [""] * (len(RECORD_COLUMNS) - 1)
    assert [row[0].text for row in table.rows if len(row) == 1][:-1] == [t for t, _ in CHECKLIST]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_there_is_room_to_write_in_the_checklist(paper):
    """6 mm high, and the boxes are drawn once each."""
    pages = laid_out([("list", False, True, checklist_blocks(None))], paper, FOOT)
    assert all(not faults_of(page) for page in pages)
    boxes = [i for p in pages for i in p.items if isinstance(i, Area) and i.colour is None]
    assert len(boxes) == sum(len(row) > 1 for row in checklist_table().rows)
    assert RECORD_ROW / 72.0 * 25.4 > 6.0


@cache
def network():
    """The network as summary.json tells it."""
    return json.loads(as_json(cooling_summary(whole_contents().cooling)))


def test_the_load_of_a_fan_is_the_largest_of_the_summary_with_blanks_beside_it():
    fan = {"name": "puller", "electrical_power_W": [0.0, 134.9, None, 135.7]}
    found = {"conditions": ["a", "b", "c", "d"], "fans": [fan]}
    _, table, words = electrical_load(found)
    assert told(table.rows[0]) == ["puller", "136", "d", *[""] * 5]
    titles = told(table.titles)
    assert "Current, A = W / V" in titles
    assert {"Bus voltage, V", "Fuse, A", "Wire, mm² or gauge"} <= set(titles)
    assert table.least_height >= 20.0
    assert "A = W / V" in words.text
    assert isinstance(words, Paragraph)


def test_a_fan_without_known_load_is_told_so():
    fan = {"name": "puller", "electrical_power_W": [0.0, None]}
    _, table, _ = electrical_load({"conditions": ["a", "b"], "fans": [fan]})
    assert told(table.rows[0])[1:3] == ["not given", ""]


def test_the_report_has_a_line_for_every_fan_of_the_case():
    fans = network()["fans"]
    pages = report_pages(whole_contents())
    text = " ".join(w.text for page in pages for w in words_of(page))
    assert ("Electrical load of the fans" in text) == bool(fans)


# ------------------------------------------------------------------------------------ cards


def cards():
    return [b for b in cards_blocks(PaperParts(whole_contents(), {})) if isinstance(b, Group)]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_bars_and_text_of_a_card_stay_on_one_page(paper):
    """Wherever on a page the first of them would begin."""
    assert len(cards()) == len(whole_contents().short_list) > 1
    for height in range(0, 700, 100):
        filler = Paragraph("filler " * (14 * height // 11))
        pages = laid_out([("cards", False, True, [filler, *cards()])], paper, FOOT)
        texts = [" ".join(w.text for w in words_of(page)) for page in pages]
        for card in cards():
            width = page_size(paper)[0] - LEFT - RIGHT
            words = [i.text for s in card.strips(width) for i in s.items if isinstance(i, Words)]
            assert "Available of needed, Pa" in words
            assert sum(" ".join(words) in text for text in texts) == 1


def test_two_cards_fit_on_a_page():
    pages = laid_out([("cards", False, True, cards()[:2])], "A4", FOOT)
    assert len(pages) == 1


def test_a_card_has_the_bars_of_every_moving_condition_with_their_numbers():
    contents = whole_contents()
    ranking, flow = contents.ranking, contents.flow
    for card, pair in zip(cards(), contents.short_list, strict=True):
        words = [i.text for s in card.strips(500.0) for i in s.items if isinstance(i, Words)]
        for c in np.flatnonzero(flow.moving & flow.predicted):
            value, spread = ranking.available[c, pair], ranking.deviation[c, pair]
            number = f"{value:.0f} ± {spread:.0f}".replace("-", "−")
            assert any(text.startswith(number) for text in words)
