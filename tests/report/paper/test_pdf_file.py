"""The PDF of our own, read back by a reader of another hand, and its part of a face."""

import io
from itertools import pairwise

import numpy as np
import pytest
from pypdf import PdfReader

from panelcp.report.paper.blocks import Area, Stroke, Words
from panelcp.report.paper.drawing import pdf_metadata, write_pages
from panelcp.report.paper.faces import face, face_path
from panelcp.report.paper.laying import LaidPage
from panelcp.report.paper.letters import text_width
from panelcp.report.paper.pdf_file import PdfFile

LETTERS = "Ångström naïve œuf −12.5 ± 3 °C µ × ≤ α β Ω → … □ “q” ½ č ő ş Ж"


def written(tmp_path, *items, metadata=None):
    path = tmp_path / "x.pdf"
    page = LaidPage((300.0, 200.0), items)
    write_pages([page], path, metadata or pdf_metadata("a", "b", "c", ""))
    return PdfReader(path, strict=True)


@pytest.mark.parametrize("bold", [False, True])
def test_every_letter_is_read_back(tmp_path, bold):
    """Letters that are put together from others among them."""
    read = written(tmp_path, Words(10.0, 40.0, LETTERS, 8.0, bold))
    assert read.pages[0].extract_text().strip() == LETTERS


def test_words_stand_where_they_were_put(tmp_path):
    found = []

    def visited(text, _, matrix, font, size):
        if text.strip():
            found.append((text.strip(), matrix[4], matrix[5], size, font["/BaseFont"]))

    items = (Words(20.0, 40.0, "plain", 9.0), Area(1.0, 1.0, 5.0, 5.0),
             Words(30.5, 60.25, "bold", 7.0, True))  # fmt: skip
    written(tmp_path, *items).pages[0].extract_text(visitor_text=visited)
    assert [one[0] for one in found] == ["plain", "bold"]
    assert found[0][1:4] == pytest.approx((20.0, 160.0, 9.0))
    assert found[1][1:4] == pytest.approx((30.5, 139.75, 7.0))
    assert [one[4].endswith("Bold") for one in found] == [False, True]


def test_lines_and_boxes_are_drawn_with_their_colours(tmp_path):
    items = (Stroke(((10.0, 20.0), (30.0, 40.0)), 0.8, "#ff0000", (2.0, 1.0)),
             Area(5.0, 6.0, 7.0, 8.0, "#0000ff"),
             Area(5.0, 6.0, 7.0, 8.0, None, "#00ff00"))  # fmt: skip
    drawn = written(tmp_path, *items).pages[0].get_contents().get_data().decode().split("\n")
    assert drawn[0] == "1 0 0 RG 0.8 w [2 1] 0 d 10 180 m 30 160 l S"
    assert " ".join(drawn[1].split()) == "0 0 1 rg 5 186 7 8 re f"
    assert " ".join(drawn[2].split()) == "0 1 0 RG 0.7 w [] 0 d 5 186 7 8 re S"


def test_words_are_begun_and_ended_around_what_is_drawn(tmp_path):
    word, box = Words(10.0, 40.0, "x"), Area(5.0, 6.0, 7.0, 8.0)
    for items in ((word, word), (word, box), (box, word, word, box, word)):
        drawn = written(tmp_path, *items).pages[0].get_contents().get_data().decode().split()
        parts = [part for part in drawn if part in ("BT", "ET", "re")]
        kinds = "".join({"BT": "(", "ET": ")", "re": "b"}[part] for part in parts)
        assert kinds == {2: "()" if items[1] is word else "()b", 5: "b()b()"}[len(items)]


def test_texts_of_the_metadata_hold_all_letters_and_the_date(tmp_path):
    metadata = pdf_metadata("Ångström (a) \\", "β", "c", "2026-05-01")
    read = written(tmp_path, Words(10.0, 40.0, "x"), metadata=metadata)
    assert read.metadata.title == "Ångström (a) \\"
    assert read.metadata.subject == "β"
    assert f"{read.metadata.creation_date:%Y-%m-%d}" == "2026-05-01"


def test_the_table_of_places_finds_every_object():
    file = PdfFile()
    file.add_page((100.0, 100.0), f"BT /F0 9 Tf {file.shown('a', False)} Tj ET", {})
    data = file.bytes({})
    place = int(data.split(b"startxref\n")[1].split(b"\n")[0])
    lines = data[place:].split(b"\n")
    assert lines[0] == b"xref"
    count = int(lines[1].split()[1])
    for number in range(1, count):
        start = int(lines[2 + number][:10])
        assert data[start:].startswith(b"%d 0 obj\n" % number)


@pytest.mark.parametrize("bold", [False, True])
def test_a_part_of_a_face_draws_its_letters_as_the_whole_one(bold):
    """Looked at by the drawing library: outlines and widths; other letters are empty."""
    from matplotlib.ft2font import FT2Font, LoadFlags

    type_ = face(bold)
    glyphs = {type_.glyph_of[ord(letter)] for letter in LETTERS}
    part = FT2Font(io.BytesIO(type_.part(glyphs)))
    whole = FT2Font(str(face_path(bold)))
    for glyph in sorted(glyphs):
        shapes = []
        for one in (whole, part):
            one.set_size(100.0, 72)
            loaded = one.load_glyph(glyph, LoadFlags.NO_HINTING)
            shapes.append((loaded.linearHoriAdvance, one.get_path()[0]))
        assert shapes[0][0] == shapes[1][0]
        np.testing.assert_array_equal(shapes[0][1], shapes[1][1])
        assert shapes[0][0] / 65536.0 / 100.0 == pytest.approx(type_.advances[glyph], abs=1e-4)
    part.load_glyph(type_.glyph_of[ord("Z")], LoadFlags.NO_HINTING)
    assert len(part.get_path()[0]) == 0
    assert len(type_.part(glyphs)) < 0.2 * face_path(bold).stat().st_size


def test_widths_in_the_file_are_those_that_pages_are_laid_with(tmp_path):
    read = written(tmp_path, Words(10.0, 40.0, LETTERS, 8.0))
    font = read.pages[0]["/Resources"]["/Font"]["/F0"]["/DescendantFonts"][0]
    widths = {int(a): float(b[0]) for a, b in pairwise(font["/W"]) if isinstance(b, list)}
    total = sum(widths[face(False).glyph_of[ord(letter)]] for letter in LETTERS)
    assert 8.0 * total / 1000.0 == pytest.approx(text_width(LETTERS, 8.0), abs=0.01)
