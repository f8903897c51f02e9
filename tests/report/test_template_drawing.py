"""Files of a template, measured in their own coordinates."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from panelcp.report.drawing_formats import LAYERS, Drawing, Line, Words, dxf_text, svg_text
from panelcp.report.template import pieces_of, turned, whole_drawing
from panelcp.report.template_drawing import write_template
from panelcp.report.template_pages import PAPERS, sheets_of
from tests.report.templates import POINT, dxf_entities, pdf_lines, pdf_pages, template

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module", params=["A4", "Letter"])
def written(request, tmp_path_factory):
    """Paper, template and paths of an opening that needs two sheets."""
    whole = template(length=0.16, width=0.44)
    folder = tmp_path_factory.mktemp("template")
    return request.param, whole, write_template(whole, folder, "vent", request.param)


def level_lengths(lines):
    """Lengths of the level lines of two points, mm."""
    two = [line for line in lines if len(line) == 2 and abs(line[0][1] - line[1][1]) < 1e-9]
    return np.array([abs(line[1][0] - line[0][0]) for line in two])


def how_many(lengths, wanted):
    return int((np.abs(lengths - wanted) < 1e-3).sum())


def test_pages_have_the_size_of_the_paper(written):
    paper, whole, paths = written
    pages = pdf_pages(paths[0].read_bytes())
    sheets = sheets_of(whole, paper)
    assert len(pages) == 1 + len(sheets)
    sizes = [PAPERS[paper], *(sheet.size for sheet in sheets)]
    for (found, _), size in zip(pages, sizes, strict=True):
        np.testing.assert_allclose(np.array(found) / POINT, size, atol=1e-3)


def test_the_bars_of_every_sheet_measure_100_mm_and_4_in(written):
    _, _, paths = written
    for _, operators in pdf_pages(paths[0].read_bytes())[1:]:
        lengths = level_lengths(pdf_lines(operators))
        assert how_many(lengths, 100.0) == 1
        assert how_many(lengths, 101.6) == 1


def test_no_matrix_of_the_pages_scales_lines(written):
    """Coordinates are points then, 1/72 in; letters outside ASCII are moved, not scaled."""
    _, _, paths = written
    for _, operators in pdf_pages(paths[0].read_bytes()):
        for row in operators.split("\n"):
            if row.endswith(" cm"):
                assert [float(value) for value in row.split()[:4]] == [1.0, 0.0, 0.0, 1.0]


def test_the_outline_stands_in_the_pdf_point_by_point(written):
    paper, whole, paths = written
    pages = pdf_pages(paths[0].read_bytes())[1:]
    for sheet, (_, operators) in zip(sheets_of(whole, paper), pages, strict=True):
        outline = turned(sheet.piece.flat.outline, sheet.turns) + sheet.shift
        drawn = np.concatenate(pdf_lines(operators))
        shown = (outline - sheet.shift >= sheet.window[0]) & (
            outline - sheet.shift <= sheet.window[1]
        )
        for point in outline[shown.all(axis=1)]:
            assert np.linalg.norm(drawn - point, axis=1).min() < 1e-3


def test_files_are_the_same_byte_for_byte(written, tmp_path):
    paper, whole, paths = written
    again = write_template(whole, tmp_path, "vent", paper)
    assert [path.suffix for path in again] == [".pdf", ".dxf", ".svg"]
    for first, second in zip(paths, again, strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_the_dxf_has_outline_bars_and_layers_in_mm(written):
    _, whole, paths = written
    text = paths[1].read_text(encoding="ascii")
    header, entities = dxf_entities(text)
    assert header["$ACADVER"] == "AC1009"
    assert header["$INSUNITS"] == "4"
    assert {e["layer"] for e in entities} == set(LAYERS)
    lines = [e for e in entities if e["kind"] != "TEXT"]
    lengths = level_lengths([e["points"] for e in lines if e["layer"] == "TEXT"])
    assert how_many(lengths, 100.0) == 1
    assert how_many(lengths, 101.6) == 1
    (outline,) = [np.array(e["points"]) for e in lines if e["layer"] == "OUTLINE"]
    (piece,) = pieces_of(whole)
    exact = turned(piece.flat.outline, piece.upright)
    np.testing.assert_allclose(outline - outline[0], exact - exact[0], atol=2e-5)
    assert any(e.get("text", "").endswith("Gr\\U+00F6\\U+00DFe <1> vent") for e in entities)


def test_the_svg_has_outline_and_bars_in_mm(written):
    _, whole, paths = written
    root = ElementTree.parse(paths[2]).getroot()
    box = [float(value) for value in root.get("viewBox").split()]
    assert root.get("width") == f"{box[2]:.4f}mm"
    assert root.get("height") == f"{box[3]:.4f}mm"
    layers = {group.get("id"): group for group in root.iter(f"{SVG}g")}
    assert set(LAYERS) <= set(layers)

    def points(element):
        pairs = [pair.split(",") for pair in element.get("points").split()]
        return np.array(pairs, dtype=float) * [1.0, -1.0]

    lengths = level_lengths([points(line) for line in layers["TEXT"].iter(f"{SVG}polyline")])
    assert how_many(lengths, 100.0) == 1
    assert how_many(lengths, 101.6) == 1
    (outline,) = [points(line) for line in layers["OUTLINE"].iter(f"{SVG}polygon")]
    (piece,) = pieces_of(whole)
    exact = turned(piece.flat.outline, piece.upright)
    np.testing.assert_allclose(outline - outline[0], exact - exact[0], atol=2e-4)
    # all that is drawn lies on the picture
    for line in root.iter(f"{SVG}polyline"):
        at = points(line) * [1.0, -1.0]
        assert (at >= box[:2]).all()
        assert (at <= np.add(box[:2], box[2:])).all()
    assert "Größe <1> vent" in "".join(root.itertext())


def test_a_small_drawing_is_written_as_it_should_be():
    drawing = Drawing(
        (Line("AXES", [[0, 0], [10, -5]], "dashed"), Line("GRID", [[0, 0], [1, 0], [1, 1]])),
        (Words("a & b", [1.0, 2.0], 3.0, "center"),),
    )
    _, entities = dxf_entities(dxf_text(drawing, "small"))
    assert [e["kind"] for e in entities] == ["LINE", "POLYLINE", "TEXT"]
    assert entities[0]["points"] == [[0.0, 0.0], [10.0, -5.0]]
    assert entities[1]["points"] == [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]
    assert entities[2]["text"] == "a & b"
    picture = svg_text(drawing, "small")
    assert '<polyline points="0.0000,0.0000 10.0000,5.0000" stroke-dasharray="3 1.5"/>' in picture
    assert "a &amp; b</text>" in picture


def test_moved_and_joined_drawings():
    drawing = whole_drawing(template())
    moved = drawing.moved([5.0, -2.0])
    np.testing.assert_allclose(moved.bounds, drawing.bounds + np.array([5.0, -2.0]))
    assert len(drawing.joined(moved).lines) == 2 * len(drawing.lines)
