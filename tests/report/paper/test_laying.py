"""Blocks on pages: sizes, what stays together, the foot, what would be a fault."""

import pytest

from panelcp.errors import CaseError
from panelcp.report.paper.blocks import (
    Answers,
    Area,
    Beside,
    Bullets,
    Caution,
    Drawing,
    Group,
    Heading,
    NewPage,
    Paragraph,
    Plate,
    Strip,
    Stroke,
    Words,
)
from panelcp.report.paper.charts import Bar, bar_strips, stacked_strip
from panelcp.report.paper.laying import (
    BOTTOM,
    POINTS,
    Foot,
    LaidPage,
    faults_of,
    laid_out,
    page_size,
    words_of,
)
from panelcp.report.paper.pixels import paper_picture

FOOT = Foot("a name", "revision 3, 2026-05-01", "inputs abc, panelcp 1")
TEXT = "Words that go on for some time. " * 9


def laid(*blocks, paper="A4", lying=False):
    return laid_out([("part", lying, True, list(blocks))], paper, FOOT)


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_pages_have_the_size_of_the_paper(paper, size):
    assert page_size(paper) == pytest.approx([POINTS * side for side in size])
    assert page_size(paper, lying=True) == page_size(paper)[::-1]
    assert laid(Paragraph(TEXT), paper=paper)[0].size == page_size(paper)
    assert laid(Paragraph(TEXT), paper=paper, lying=True)[0].size == page_size(paper)[::-1]


def test_an_unknown_paper_is_an_error():
    with pytest.raises(CaseError, match="A4, Letter"):
        page_size("A3")


def test_every_page_has_its_foot():
    pages = laid(*(Paragraph(TEXT) for _ in range(60)))
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        texts = [words.text for words in words_of(page)]
        assert f"page {number} of {len(pages)}" in texts
        assert {"a name", FOOT.left, FOOT.right} <= set(texts)
        assert "Estimate for study. Not approved data." in texts


def test_a_long_name_leaves_room_in_the_foot():
    foot = Foot("n" * 500, "revision 1, 2026-01-01", "h" * 300)
    page = laid_out([("part", False, True, [Paragraph("text")])], "Letter", foot)[0]
    assert not faults_of(page)


def test_text_never_reaches_the_foot_and_nothing_lies_over_each_other():
    blocks = [Heading("H " + TEXT), Answers((("lead word", TEXT), ("x" * 99, "short"))),
              Caution(TEXT), Bullets((TEXT, TEXT), "number"), Bullets((TEXT,), "box")]  # fmt: skip
    pages = laid(*(blocks * 12))
    for page in pages:
        assert not faults_of(page)
        body = [w for w in words_of(page) if w.y < page.size[1] - BOTTOM + 1.0]
        assert len(words_of(page)) - len(body) == 5
        assert max(w.box[3] for w in body) <= page.size[1] - BOTTOM + 1e-6


def test_a_heading_is_never_the_last_of_a_page():
    for count in range(1, 70):
        strips = [Strip(10.0, (Words(0.0, 8.0, f"line {k}"),)) for k in range(count)]
        pages = laid(
            Drawing(lambda width, s=strips: s), Heading("The end", 2), Paragraph("follows")
        )
        for page in pages:
            body = [w.text for w in words_of(page)]
            if "The end" in body:
                assert "follows" in body


def test_a_group_that_fits_stays_on_one_page():
    filler = Drawing(lambda width: [Strip(610.0)])
    group = Group((Paragraph(TEXT), Paragraph("last of the group")))
    first, second = laid(filler, Drawing(lambda width: [Strip(100.0)]), group)
    assert "last of the group" not in [w.text for w in words_of(first)]
    assert sum(w.text.startswith("Words that") for w in words_of(second)) == 1
    assert "last of the group" in [w.text for w in words_of(second)]


def test_parts_begin_pages_and_change_the_side_of_the_paper():
    plate = Plate("title", "caption", paper_picture([[[0, 0, 0]] * 30] * 10))
    parts = [
        ("one", False, True, [Paragraph("first")]),
        ("two", False, False, [Paragraph("second")]),
        ("three", True, False, [Paragraph("third")]),
        ("four", False, False, [plate, Paragraph("behind")]),
        ("five", False, False, [NewPage(), Paragraph("fifth")]),
    ]
    pages = laid_out(parts, "A4", FOOT)
    upright, lying = page_size("A4"), page_size("A4", True)
    assert [page.size for page in pages] == [upright, lying, lying, upright, upright]
    assert [page.sections for page in pages] == [
        ("one", "two"), ("three",), ("four",), (), ("five",)
    ]  # fmt: skip


def test_a_tall_picture_gets_an_upright_page_and_fits():
    tall = Plate("", "", paper_picture([[[0, 0, 0]] * 10] * 30))
    page = laid(tall)[0]
    assert page.size == page_size("A4")
    assert not faults_of(page)


def test_faults_are_found():
    over = (Words(50.0, 50.0, "one text"), Words(60.0, 53.0, "another"))
    assert "over each other" in faults_of(LaidPage((200.0, 200.0), over))[0]
    for item in (
        Words(190.0, 50.0, "too far"),
        Words(5.0, 1.0, "too high"),
        Area(0.0, 190.0, 20.0, 20.0),
        Stroke(((0.0, 5.0), (201.0, 5.0))),
    ):
        assert "outside" in faults_of(LaidPage((200.0, 200.0), (item,)))[0]
    beside = (Words(50.0, 50.0, "one"), Words(90.0, 50.0, "two"), Words(50.0, 70.0, "three"))
    assert faults_of(LaidPage((200.0, 200.0), beside)) == []


def test_bars_share_one_scale_and_are_cut_at_its_ends():
    bars = [Bar("a", "1", 10.0), Bar("b", "2", 20.0, 15.0, 25.0, need=5.0), Bar("c", "3", -900.0)]
    strips = bar_strips(bars, 400.0, (-20.0, 25.0))
    areas = [next(i for i in s.items if isinstance(i, Area)) for s in strips]
    assert areas[1].width == pytest.approx(2.0 * areas[0].width)
    assert areas[2].width == pytest.approx(2.0 * areas[0].width)
    assert areas[2].left + areas[2].width == pytest.approx(areas[0].left)


def test_stacked_parts_fill_the_bar_in_order():
    strip = stacked_strip([("1", 30.0), ("2", 70.0)], 200.0, 400.0)
    filled = [i for i in strip.items if isinstance(i, Area) and i.colour]
    assert [a.width for a in filled] == pytest.approx([60.0, 140.0])
    assert [a.left for a in filled] == pytest.approx([0.0, 60.0])
    assert [w.text for w in strip.items if isinstance(w, Words)] == ["1", "2"]


def test_no_line_of_a_paragraph_stands_alone():
    """However much room is left, a page holds none or at least two lines of it."""
    for height in range(690, 745, 3):
        filler = Drawing(lambda width, height=height: [Strip(float(height))])
        for page in laid(filler, Paragraph(TEXT)):
            lines = [w for w in words_of(page) if "go on for" in w.text]
            assert len(lines) != 1


def test_a_heading_of_several_lines_stays_whole():
    for height in range(640, 745, 5):
        filler = Drawing(lambda width, height=height: [Strip(float(height))])
        for page in laid(filler, Heading("Head " * 60, 2), Paragraph("follows")):
            lines = [w for w in words_of(page) if w.text.startswith("Head")]
            assert len(lines) in (0, 5), len(lines)


def test_bars_stand_as_close_as_is_wanted():
    bars = [Bar("a", "1", 10.0), Bar("b", "2", 20.0, 15.0, 25.0, need=5.0)]
    for row in (9.6, 14.0):
        strips = bar_strips(bars, 400.0, row=row)
        assert {strip.height for strip in strips} == {row}
        inside = [i.top for s in strips for i in s.items if isinstance(i, Area)]
        assert inside == pytest.approx([0.5 * (row - 7.0)] * 2)


def test_columns_stand_beside_each_other_in_one_strip():
    left, right = (Paragraph(TEXT), Paragraph("last on the left")), (Paragraph("right " * 40),)
    (strip,) = Beside(left, right, share=0.4, gap=20.0).strips(480.0)
    words = [item for item in strip.items if isinstance(item, Words)]
    sides = {w.text.startswith("right"): [] for w in words}
    for w in words:
        sides[w.text.startswith("right")].append(w)
    assert max(w.box[2] for w in sides[False]) <= 0.4 * 460.0 + 1e-6
    assert min(w.x for w in sides[True]) == pytest.approx(0.4 * 460.0 + 20.0)
    assert max(w.box[3] for w in words) <= strip.height + 1e-6
    assert not faults_of(laid(Beside(left, right))[0])


def test_columns_that_are_too_tall_come_below_each_other():
    """So that no strip is taller than a page."""
    left, right = (Paragraph("left " * 900),), (Paragraph("right"),)
    strips = Beside(left, right).strips(480.0)
    assert len(strips) > 10
    assert strips[-1].items[0].text == "right"
    assert strips[-1].items[0].x == 0.0
    for page in laid(Beside(left, right)):
        assert not faults_of(page)


def test_a_group_of_a_heading_alone_stays_with_what_follows():
    nothing = Drawing(lambda width: [])
    assert Group((Heading("alone", 2), nothing)).strips(480.0)[-1].joined
    assert not Group((Heading("with", 2), Paragraph("text"))).strips(480.0)[-1].joined
