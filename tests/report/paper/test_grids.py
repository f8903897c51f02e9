"""Tables: wrapped cells, heads repeated, columns that do not fit beside each other."""

import pytest

from panelcp.report.paper.blocks import Area, Stroke, Words
from panelcp.report.paper.grids import GAP, Cell, Table, number
from panelcp.report.paper.laying import Foot, faults_of, laid_out, words_of
from panelcp.report.paper.letters import text_width

FOOT = Foot("case", "revision 1", "hash")
WIDTH = 480.0


def laid(table, lying=False):
    return laid_out([("only", lying, True, [table])], "A4", FOOT)


def texts(strip):
    return [item for item in strip.items if isinstance(item, Words) and item.text]


def test_numbers_are_aligned_to_the_right_and_texts_to_the_left():
    table = Table(("name", number("Pa")), (("one", number("7")), ("two", number("12345"))))
    rows = table.strips(WIDTH)[1:]
    left = {texts(row)[0].x for row in rows}
    ends = [texts(row)[1].box[2] for row in rows]
    assert left == {0.0}
    assert ends[0] == pytest.approx(ends[1])
    assert ends[0] == pytest.approx(WIDTH)


def test_a_long_table_goes_on_with_its_head():
    table = Table(("place", "value"), tuple((f"row {k}", str(k)) for k in range(150)))
    pages = laid(table)
    assert len(pages) > 1
    for page in pages:
        first = [words.text for words in words_of(page)][:2]
        assert first == ["place", "value"]
        assert not faults_of(page)
    shown = [w.text for page in pages for w in words_of(page) if w.text.startswith("row ")]
    assert shown == [f"row {k}" for k in range(150)]


def test_a_row_taller_than_a_page_is_divided():
    text = " ".join(f"word{k}" for k in range(3000))
    pages = laid(Table(("name", "text"), (("one", text), ("two", "short"))))
    assert len(pages) > 1
    assert all(not faults_of(page) for page in pages)
    found = " ".join(w.text for page in pages for w in words_of(page))
    assert all(f"word{k}" in found for k in range(0, 3000, 97))


def test_columns_that_do_not_fit_come_below_with_the_first_one():
    titles = ("condition", *(number(f"opening{k}xxx") for k in range(25)))
    rows = tuple((f"c{c}", *(number(f"{k}.{c}") for k in range(25))) for c in range(4))
    pages = laid(Table(titles, rows))
    found = [words.text for page in pages for words in words_of(page)]
    for k in range(25):
        assert any(f"opening{k}xxx".startswith(text) for text in found if "opening" in text)
        assert f"{k}.3" in found
    parts = [text for text in found if text.startswith("Columns, part")]
    assert len(parts) > 1
    assert found.count("c0") == len(parts)
    assert not faults_of(pages[0])


def test_a_cell_over_several_columns_stays_with_its_row():
    flag = (Cell(""), Cell("Stop: too hot", span=2))
    table = Table(("name", "a", "b"), (("one", "1", "2"), flag, ("two", "3", "4")))
    strips = table.strips(WIDTH)
    assert [strip.joined for strip in strips] == [True, True, False, False]
    assert texts(strips[2])[0].text == "Stop: too hot"


def test_narrow_columns_get_what_they_want_and_long_ones_share():
    long = "a sentence of many words " * 12
    table = Table(("no", "text", "also"), (("12.34 Pa", long, long),))
    row = table.strips(WIDTH)[1]
    first = texts(row)[0]
    assert first.text == "12.34 Pa"
    starts = sorted({words.x for words in texts(row)})
    assert starts[1] == pytest.approx(text_width("12.34 Pa", table.size) + GAP, abs=0.1)
    assert starts[2] - starts[1] == pytest.approx(WIDTH - starts[2] + GAP, abs=1.0)


def test_given_parts_of_the_width_are_kept():
    table = Table(("a", "b", "c"), (("1", "2", "3"),), parts=(1.0, 2.0, 1.0))
    starts = [words.x for words in texts(table.strips(WIDTH)[1])]
    room = WIDTH - 2.0 * GAP
    assert starts == pytest.approx([0.0, room / 4 + GAP, 3 * room / 4 + 2 * GAP])


def test_a_table_without_rows_is_nothing():
    assert Table(("a", "b"), ()).strips(WIDTH) == []


def test_the_first_three_rows_and_the_last_two_of_a_table_stay_together():
    table = Table(("place", "value"), tuple((f"row {k}", str(k)) for k in range(9)))
    joined = [strip.joined for strip in table.strips(WIDTH)[1:]]
    assert joined == [True, True, False, False, False, False, False, True, False]
    for count in range(4, 70):
        rows = tuple((f"row {k}", str(k)) for k in range(count))
        for page in laid(Table(("place", "value"), rows)):
            assert sum(words.text.startswith("row ") for words in words_of(page)) > 1


def titled(**options):
    """A table with two titles."""
    rows = []
    for name in ("first", "second"):
        rows.append((Cell(name, bold=True, span=3),))
        rows += [(f"{name} {k}", Cell(box=True), "") for k in range(3)]
    return Table(("what", "done", "remark"), tuple(rows), **options)


def test_a_title_stays_with_what_is_below_it():
    strips = titled(parts=(3.0, 1.0, 2.0)).strips(WIDTH)
    joined = {texts(s)[0].text: s.joined for s in strips[1:]}
    assert joined["second"]
    assert not joined["second 0"]
    assert not joined["first 2"]  # what comes before is free of it


def test_rows_below_a_title_stay_together_where_it_is_wanted():
    strips = titled(together=True).strips(WIDTH)[1:]
    assert [s.joined for s in strips] == [True, True, True, False] * 2
    rules = [sum(isinstance(i, Stroke) for i in s.items) for s in strips]
    assert rules == [0, 0, 0, 1] * 2
    loose = titled().strips(WIDTH)[1:]
    assert sum(s.height for s in strips) < sum(s.height for s in loose)


def test_boxes_and_rules_for_what_is_filled_in_by_hand():
    strips = titled(upright=True, least_height=20.0, parts=(3.0, 1.0, 2.0)).strips(WIDTH)[1:]
    for strip in strips:
        row = not any(w.text in ("first", "second") for w in texts(strip))
        boxes = [i for i in strip.items if isinstance(i, Area) and i.colour is None]
        upright = [
            i for i in strip.items
            if isinstance(i, Stroke) and i.points[0][0] == i.points[1][0]
        ]  # fmt: skip
        assert len(boxes) == row
        assert len(upright) == 2 * row
        assert (strip.height == 20.0) == row
        for box in boxes:
            assert upright[0].points[0][0] < box.left
            assert box.left + box.width < upright[1].points[0][0]


def test_columns_stand_as_close_as_is_wanted():
    table = Table(("a", "b"), (("1", "2"),), parts=(1.0, 1.0), gap=3.0)
    starts = [words.x for words in texts(table.strips(WIDTH)[1])]
    assert starts == pytest.approx([0.0, (WIDTH - 3.0) / 2 + 3.0])
