"""Widths, lines and letters of the type."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.report.paper.letters import clean, fitted, lines_of, longest_word, text_width

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=80)


def drawn_width(text, size, bold):
    """Width of the ink as the drawing library lays the text out, points; large, so not hinted."""
    from matplotlib.font_manager import get_font
    from matplotlib.ft2font import LoadFlags

    from panelcp.report.paper.faces import face_path

    face = get_font(face_path(bold))
    face.set_size(1000.0, 72)
    face.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    return face.get_width_height()[0] / 64.0 * size / 1000.0


@pytest.mark.parametrize("bold", [False, True])
def test_widths_are_those_of_the_drawn_text(bold):
    """The ink ends a little before the last letter's own room, and there letters are kerned.

    The file tells widths in thousandths of the size, so half of one is added for every letter.
    """
    for text in ("0123456789", "office fluid", "STA 1009 BL −432 ±", "WAVE To AVATAR"):
        width = text_width(text, 10.0, bold)
        drawn = drawn_width(text, 10.0, bold)
        assert drawn < width + 0.02 + 0.0005 * 10.0 * len(text), text
        assert drawn > 0.93 * width - 1.0, text
    assert text_width("55", 9.0) == pytest.approx(2.0 * text_width("5", 9.0))
    assert text_width("a", 18.0) == pytest.approx(2.0 * text_width("a", 9.0))


@settings(max_examples=60, deadline=None)
@given(TEXTS, st.floats(30.0, 300.0))
def test_lines_fit_and_lose_no_letter(text, width):
    lines = lines_of(text, width, 8.0)
    assert lines
    assert all(text_width(line, 8.0) <= width + 1e-9 for line in lines)
    assert "".join(lines).replace(" ", "") == clean(text).replace(" ", "")


def test_lines_break_at_spaces_first_then_at_hyphens_then_anywhere():
    assert lines_of("charge-air cooler", 60.0, 8.0) == ("charge-air", "cooler")
    assert lines_of("charge-air cooler", 36.0, 8.0)[:2] == ("charge-", "air")
    pieces = lines_of("n" * 100, 60.0, 8.0)
    assert len(pieces) > 5
    assert "".join(pieces) == "n" * 100


def test_numbers_and_units_are_not_broken():
    assert longest_word("33.1", 8.0) == text_width("33.1", 8.0)
    assert longest_word("m/s", 8.0) == text_width("m/s", 8.0)
    assert longest_word("charge-air", 8.0) == text_width("charge-", 8.0)
    assert lines_of("0.59 18\u00a0%", 25.0, 8.0) == ("0.59", "18\u00a0%")


def test_what_the_type_lacks_becomes_a_box_and_lines_become_one():
    assert clean("a\nb\t試 🔥\x00") == "a b □ □"
    assert clean("$x_{2}$ \\frac") == "$x_{2}$ \\frac"


def test_fitted_texts_end_with_an_ellipsis():
    assert fitted("oil cooler", 200.0, 8.0) == "oil cooler"
    short = fitted("oil cooler", 30.0, 8.0)
    assert short.endswith("…")
    assert text_width(short, 8.0) <= 30.0
