"""Pages drawn into a PDF, read back by a reader of another hand; faces, pictures, metadata."""

import io
import re
import shutil
import subprocess
import unicodedata
from itertools import islice

import numpy as np
import pytest
from matplotlib.ft2font import FT2Font, LoadFlags
from pypdf import PdfReader
from pypdf.generic import ContentStream

from panelcp.report.paper.blocks import Area, Image, Stroke, Words
from panelcp.report.paper.drawing import pdf_metadata, write_pages
from panelcp.report.paper.faces import face_path
from panelcp.report.paper.laying import LaidPage
from panelcp.report.paper.letters import clean, text_width
from panelcp.report.paper.pixels import paper_picture

LETTERS = "Ångström naïve œuf −12.5 ± 3 °C µ × ≤ α β Ω → … □ “q” ½ č ő ş Ж {nb} (a) \\"


def written(tmp_path, *items, metadata=None):
    path = tmp_path / "x.pdf"
    page = LaidPage((300.0, 200.0), items)
    write_pages([page], path, metadata or pdf_metadata("a", "b", "c", ""))
    return PdfReader(path, strict=True)


def operations(read):
    """What draws the first page: (operator, operands) in order."""
    content = ContentStream(read.pages[0].get_contents(), read)
    return [(name.decode(), [_plain(one) for one in given]) for given, name in content.operations]


def _plain(operand):
    if isinstance(operand, list):
        return [float(one) for one in operand]
    return float(operand) if isinstance(operand, int | float) else operand


def only_font(read):
    """The one font of the first page, and what is below it."""
    (font,) = (one.get_object() for one in read.pages[0]["/Resources"]["/Font"].values())
    return font, font["/DescendantFonts"][0].get_object()


def codes_of(font):
    """Code in the file of every letter, from the table that gives letters to codes."""
    table = font["/ToUnicode"].get_object().get_data().decode()
    pairs = re.findall(r"^<([0-9A-F]{4})> <([0-9A-F]{4,8})>$", table, re.MULTILINE)
    return {bytes.fromhex(letter).decode("utf-16-be"): int(code, 16) for code, letter in pairs}


def widths_of(below):
    """Width of every code: both ways of telling them, "c [w w]" and "from to w"."""
    found, entries = {}, iter(below["/W"])
    for first in entries:
        second = next(entries)
        if isinstance(second, list):
            found |= {int(first) + k: float(width) for k, width in enumerate(second)}
        else:
            found |= dict.fromkeys(range(int(first), int(second) + 1), float(next(entries)))
    return found


@pytest.mark.parametrize("bold", [False, True])
def test_every_letter_is_read_back(tmp_path, bold):
    """Letters that are put together from others among them, and what the library could replace."""
    read = written(tmp_path, Words(10.0, 40.0, LETTERS, 8.0, bold))
    assert read.pages[0].extract_text().strip() == LETTERS


@pytest.mark.parametrize("bold", [False, True])
def test_many_letters_are_read_back(tmp_path, bold):
    """As many as make the numbers of letters pass those of brackets and of ends of lines."""
    known = FT2Font(str(face_path(bold))).get_charmap()
    kinds = ("Lu", "Ll", "Sm", "Sc", "Nd", "Po")
    every = (chr(c) for c in sorted(known) if 0x20 < c < 0x2C00 and not 0x590 < c < 0x1D00)
    wanted = list(islice((x for x in every if unicodedata.category(x) in kinds), 1200))
    assert len(wanted) > 1100
    lines = ["".join(wanted[k : k + 40]) for k in range(0, len(wanted), 40)]
    assert [clean(line) for line in lines] == lines
    items = [Words(10.0, 5.0 + 6.0 * k, line, 5.0, bold) for k, line in enumerate(lines)]
    assert written(tmp_path, *items).pages[0].extract_text().split("\n") == lines


def test_what_a_face_lacks_is_not_left_out_silently():
    """The plain face alone has this letter; `clean` is for both."""
    letter = "\U0001d5a0"
    known = [ord(letter) in FT2Font(str(face_path(b))).get_charmap() for b in (False, True)]
    assert known == [True, False]
    assert clean(f"a{letter}b") == "a□b"


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
    """The last colours, width and dashes told before each of them are its own."""
    items = (Stroke(((10.0, 20.0), (30.0, 40.0)), 0.8, "#ff0000", (2.0, 1.0)),
             Area(5.0, 6.0, 7.0, 8.0, "#0000ff"),
             Area(5.0, 6.0, 7.0, 8.0, None, "#00ff00"),
             Stroke(((10.0, 20.0), (30.0, 20.0), (30.0, 40.0)), 0.5, "#00ff00"))  # fmt: skip
    now, drawn = {}, []
    for name, given in operations(written(tmp_path, *items)):
        if name in ("m", "l", "re", "S", "f"):
            drawn.append((name, *given, dict(now)))
        now[name.lower() if name == "G" else name] = given
    shapes = [one[:-1] for one in drawn]
    box = ("re", 5.0, 194.0, 7.0, -8.0)
    assert shapes == [("m", 10.0, 180.0), ("l", 30.0, 160.0), ("S",), box, ("f",), box, ("S",),
                      ("m", 10.0, 180.0), ("l", 30.0, 180.0), ("l", 30.0, 160.0),
                      ("S",)]  # fmt: skip
    states = [one[-1] for one in drawn if one[0] in ("S", "f")]
    assert [state["RG"] for state in (states[0], *states[2:])] == [[1, 0, 0], [0, 1, 0], [0, 1, 0]]
    assert states[1]["rg"] == [0, 0, 1]
    assert [states[k]["w"] for k in (0, 2, 3)] == [[0.8], [0.7], [0.5]]
    assert [states[k]["d"] for k in (0, 2, 3)] == [[[2.0, 1.0], 0.0], [[], 0.0], [[], 0.0]]


def test_lines_end_where_they_end(tmp_path):
    """Not half their width farther, as the library has it if nothing is said."""
    read = written(tmp_path, Stroke(((10.0, 20.0), (30.0, 20.0)), 8.0))
    names = [name for name, _ in operations(read)]
    (state,) = read.pages[0]["/Resources"]["/ExtGState"].values()
    assert state.get_object()["/LC"] == 0
    assert names.index("J") < names.index("gs") < names.index("m")


def test_words_are_begun_and_ended_around_what_is_drawn(tmp_path):
    word, box = Words(10.0, 40.0, "x"), Area(5.0, 6.0, 7.0, 8.0)
    read = written(tmp_path, box, word, word, box, word)
    kinds = {"BT": "(", "ET": ")", "re": "b"}
    drawn = "".join(kinds.get(name, "") for name, _ in operations(read))
    assert drawn.count("()") >= 3
    assert drawn.replace("()", "") == "bb"


def test_texts_of_the_metadata_hold_all_letters_and_the_date(tmp_path):
    metadata = pdf_metadata("Ångström (a) \\", "β", "c", "2026-05-01")
    read = written(tmp_path, Words(10.0, 40.0, "x"), metadata=metadata)
    assert read.metadata.title == "Ångström (a) \\"
    assert read.metadata.subject == "β"
    assert read.metadata.creator == "c"
    assert read.metadata["/CreationDate"] == "D:20260501000000Z"


def test_without_a_day_there_is_no_date(tmp_path):
    read = written(tmp_path, Words(10.0, 40.0, "x"))
    assert set(read.metadata) == {"/Title", "/Subject", "/Creator"}
    assert b"1970" not in (tmp_path / "x.pdf").read_bytes()


def test_another_reader_finds_no_fault(tmp_path):
    if shutil.which("qpdf") is None:
        pytest.skip("qpdf is not installed")
    picture = paper_picture(np.zeros((20, 30, 3), dtype=np.uint8))
    written(tmp_path, Words(10.0, 40.0, LETTERS), Image(10.0, 50.0, 60.0, 40.0, picture))
    done = subprocess.run(
        ["qpdf", "--check", str(tmp_path / "x.pdf")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "WARNING" not in done.stdout + done.stderr


@pytest.mark.parametrize("bold", [False, True])
def test_the_part_of_a_face_draws_its_letters_as_the_whole_one(tmp_path, bold):
    """Looked at by the drawing library: the outline that stands under the code of each letter."""
    font, below = only_font(written(tmp_path, Words(10.0, 40.0, LETTERS, 8.0, bold)))
    file = below["/FontDescriptor"]["/FontFile2"].get_data()
    glyphs = np.frombuffer(below["/CIDToGIDMap"].get_object().get_data(), dtype=">u2")
    part, whole, codes = FT2Font(io.BytesIO(file)), FT2Font(str(face_path(bold))), codes_of(font)
    for letter in sorted(set(LETTERS)):
        shapes = []
        places = (whole.get_char_index(ord(letter)), int(glyphs[codes[letter]]))
        for one, glyph in zip((whole, part), places, strict=True):
            one.set_size(100.0, 72)
            loaded = one.load_glyph(glyph, LoadFlags.NO_HINTING)
            shapes.append((loaded.linearHoriAdvance, one.get_path()[0]))
        assert shapes[0][0] == shapes[1][0], letter
        np.testing.assert_array_equal(shapes[0][1], shapes[1][1])
    assert len(file) < 0.2 * face_path(bold).stat().st_size


@pytest.mark.parametrize("bold", [False, True])
def test_widths_in_the_file_are_those_that_pages_are_laid_with(tmp_path, bold):
    font, below = only_font(written(tmp_path, Words(10.0, 40.0, LETTERS, 8.0, bold)))
    widths, codes = widths_of(below), codes_of(font)
    for letter in LETTERS:
        assert widths[codes[letter]] == pytest.approx(text_width(letter, 1000.0, bold), abs=1e-9)


def test_pictures_keep_their_palettes_and_their_packing(tmp_path):
    """Each stands in the file once, however often it is shown."""
    colours = np.arange(0, 240, 10, dtype=np.uint8).reshape(2, 4, 3).repeat(30, 0).repeat(30, 1)
    first, second = paper_picture(colours), paper_picture(255 - colours)
    boxes = [Image(10.0, 10.0 + 60.0 * k, 80.0, 40.0, p) for k, p in enumerate((first, second))]
    read = written(tmp_path, *boxes, boxes[0])
    found = [one.get_object() for one in read.pages[0]["/Resources"]["/XObject"].values()]
    assert len(found) == 2
    for picture, one in zip((first, second), found, strict=True):
        kind, base, last, palette = (part.get_object() for part in one["/ColorSpace"])
        assert (kind, base) == ("/Indexed", "/DeviceRGB")
        assert palette.get_data() == picture.palette
        assert int(last) == len(picture.palette) // 3 - 1
        assert (one["/Width"], one["/Height"]) == (picture.width, picture.height)
        assert picture.packed in (tmp_path / "x.pdf").read_bytes()
    shown = [image.image.convert("RGB") for image in read.pages[0].images]
    np.testing.assert_array_equal(np.asarray(shown[0])[::30, ::30], colours[::30, ::30])
