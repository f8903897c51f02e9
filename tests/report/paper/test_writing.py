"""report.pdf read back: pages, parts, numbers, bytes."""

import json
import re
import shutil
import subprocess
import sys
import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from panelcp.errors import CaseError
from panelcp.report.contents import CAUTIONS, PROPELLER_NOTICE
from panelcp.report.hardest import hardest_condition
from panelcp.report.paper.blocks import Caution, Heading, Plate, Words
from panelcp.report.paper.blocks import Image as Box
from panelcp.report.paper.closing_pages import (
    CHECKLIST,
    LIMITS,
    MORE_CAUTIONS,
    revision_blocks,
)
from panelcp.report.paper.drawing import pdf_metadata, write_pages
from panelcp.report.paper.grids import Cell, Table
from panelcp.report.paper.laying import (
    LEFT,
    RIGHT,
    Foot,
    LaidPage,
    faults_of,
    laid_out,
    page_size,
    words_of,
)
from panelcp.report.paper.map_pages import LOW_SHAPE, SMALL_DOTS, pictures_blocks
from panelcp.report.paper.number_pages import GROUPS, numbers_blocks, shared_sources, shown_place
from panelcp.report.paper.pages import PAGES
from panelcp.report.paper.pixels import DOTS, LARGEST, paper_picture
from panelcp.report.paper.place_pages import PEOPLE, cards_blocks
from panelcp.report.paper.registry import PaperParts, registered
from panelcp.report.paper.writing import report_pages, write_report
from panelcp.report.revisions import Revision
from panelcp.report.summary import summary_json
from panelcp.report.template_pages import PAPERS
from tests.cases import ranked
from tests.report.exports.whole_run import contents as whole_contents

DAY = "2026-05-01"
UNITS = 72.0 / 25.4


@cache
def whole():
    """A run with everything: network, propeller, wing, combinations, static port."""
    return replace(whole_contents(), date=DAY)


@cache
def plain():
    """A run without network and propeller."""
    return replace(ranked()[1], date="")


@cache
def summaries(which):
    """summary.json of a run."""
    return summary_json(which())


@cache
def numbers():
    """summary.json of the whole run, read back."""
    return json.loads(summaries(whole))


@cache
def pixels():
    """A picture of a map sheet's size: (height, width, 3) uint8."""
    picture = np.full((620, 877, 3), 255, dtype=np.uint8)
    picture[60:540, 80:800] = np.linspace(0, 255, 720, dtype=np.uint8)[None, :, None]
    return picture


@cache
def maps():
    """Pixels for every condition with a stream."""
    flow = whole().flow
    moving = np.flatnonzero(flow.moving)
    return tuple((flow.conditions[c].name, f"caption {c}", pixels()) for c in moving)


PICTURES = (("a cut", "at STA 500"),)


@cache
def laid(which=whole, paper="A4"):
    """Pages of a run, laid once; those of the whole run with maps and a picture."""
    if which is not whole:
        return report_pages(which(), paper=paper, summary=summaries(which))
    pictures = [(*names, pixels()) for names in PICTURES]
    return report_pages(whole(), maps(), pictures, paper=paper, summary=summaries(whole))


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The report of the whole run, read back."""
    path = tmp_path_factory.mktemp("report") / "report.pdf"
    pictures = [(*names, pixels()) for names in PICTURES]
    assert write_report(whole(), path, maps(), pictures) == path
    return PdfReader(path)


def folded(text: str) -> str:
    """Text without spaces: lines of cells break anywhere."""
    return re.sub(r"\s+", "", text)


@cache
def laid_text(which=whole) -> str:
    """All text of the pages, without spaces."""
    return folded("".join(words.text for page in laid(which) for words in words_of(page)))


def test_every_page_has_the_size_of_the_paper(written):
    """The file tells it to a hundredth of a point."""
    upright = [UNITS * side for side in PAPERS["A4"]]
    sizes = {tuple(map(float, page.mediabox[2:])) for page in written.pages}
    assert len(sizes) == 2
    for size in sizes:
        assert sorted(size) == pytest.approx(sorted(upright), abs=0.005)


def test_the_pdf_holds_every_word_that_was_laid(written):
    assert len(laid()) == len(written.pages)
    count = len(laid())
    for number, (page, read) in enumerate(zip(laid(), written.pages, strict=True), start=1):
        found = folded(read.extract_text())
        for words in words_of(page):
            assert folded(words.text) in found
        wanted = [whole().name, f"revision 1, {DAY}", f"page {number} of {count}"]
        wanted += [f"inputs {whole().input_hash}, panelcp {whole().version}"]
        for words in (*wanted, "Estimate for study. Not approved data."):
            assert folded(words) in found, (number, words)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_lies_outside_a_page_or_over_other_text(paper):
    for which in (whole, plain):
        for page in laid(which, paper):
            assert faults_of(page) == []
            assert sorted(page.size) == pytest.approx(sorted(page_size(paper)))


def test_every_registered_part_is_there_in_its_order():
    found = [key for page in laid() for key in page.sections]
    assert found == [part.key for part in registered()]
    assert [part.key for part in PAGES] == found[: len(PAGES)]


def test_metadata_have_title_subject_and_the_date_alone(written):
    found = dict(written.metadata)
    assert set(found) == {"/Title", "/Subject", "/Creator", "/CreationDate"}
    assert whole().name in found["/Title"]
    assert found["/CreationDate"] == "D:20260501000000Z"


def shown(value, digits=0):
    text = f"{value:.{digits}f}"
    return (text.removeprefix("-") if not text.strip("-0.") else text).replace("-", "−")


def test_numbers_of_the_ranking_are_those_of_the_summary():
    text, ranking = laid_text(), numbers()["ranking"]
    for rank in ranking["short_list"]:
        pair = ranking["pairs"][rank - 1]
        assert folded(f"{pair['least_ratio']:.2f} ± {pair['least_ratio_deviation']:.2f}") in text
        assert folded(pair["why"]) in text
        names = [condition["name"] for condition in numbers()["conditions"]]
        c = names.index(pair["limiting_condition"])
        assert folded(f"{pair['available'][c]:.0f} ± {pair['deviation'][c]:.0f}") in text


def test_the_short_list_is_shaded_by_the_ratios_of_the_summary():
    from panelcp.report.paper.place_pages import heat_table

    table, ranking = heat_table(whole()), numbers()["ranking"]
    for c, row in enumerate(table.rows):
        if not whole().flow.moving[c] or not whole().flow.predicted[c]:
            continue
        for cell, rank in zip(row[3:], ranking["short_list"], strict=True):
            pair = ranking["pairs"][rank - 1]
            ratio, available = pair["ratio"][c], pair["available"][c]
            if cell.text.startswith("rev"):
                assert pair["probability_reversed"][c] > 0.5 or available < 0.0
            else:
                assert cell.text.split(" ")[0] == f"{ratio:.{2 if ratio < 9.995 else 0}f}"
                assert (cell.shade == "#d3a297") == (ratio < 1.0)


def test_numbers_of_conditions_surface_and_openings_are_those_of_the_summary():
    text, found = laid_text(), numbers()
    for condition in found["conditions"]:
        row = [
            shown(condition["dynamic_pressure"]),
            shown(condition["dynamic_pressure"] / 249.08891, 2),
        ]
        assert folded("".join(row)) in text
        assert folded(condition["name"]) in text
    for size in found["surface"]["length_width_height"]:
        assert folded(f"{1e3 * size:.1f} mm{size / 0.0254:.2f} in") in text
    for opening in found["openings"]:
        area = opening["area"]
        assert folded(shown(1e4 * area) + shown(area / 0.0254**2, 1)) in text
        for x in opening["centre"]:
            assert folded(f"{shown(1e3 * x)} ({shown(x / 0.0254, 2)})") in text
        assert folded(f'panelcp template CASE "{opening["name"]}"') in text


def test_numbers_of_the_network_are_those_of_the_summary():
    text, cooling = laid_text(), numbers()["cooling"]
    for core in cooling["cores"]:
        for c, flow in enumerate(core["flow_kg_per_s"]["value"]):
            drop = core["pressure_drop_Pa"][c]
            assert shown(flow, 3) in text
            assert shown(drop) + shown(drop / 249.08891, 2) in text
    for port in cooling["openings"]:
        for c, pressure in enumerate(port["pressure_Pa"]):
            back = "back" if port["reversed"][c] else ""
            assert folded(shown(port["flow_kg_per_s"]["value"][c], 3) + back) in text
            assert folded(f"{shown(pressure)} ({shown(pressure / 249.08891, 2)})") in text
    margins = zip(cooling["least_margin_K"], cooling["decides"], strict=True)
    c = int(np.argmin([margin if decides else np.inf for margin, decides in margins]))
    core = cooling["limiting_core"][c]
    steps = [step for step in cooling["pressure_budget"] if step["core"] == core]
    for step in steps[1:-1]:
        pressure = abs(step["pressure_Pa"][c])
        if pressure > 1.0:
            words = f"{step['what']} {pressure:.0f} Pa ({pressure / 249.08891:.2f} inH2O)"
            assert folded(words) in text


def test_every_uncertain_number_stands_with_its_mark():
    """In the table of its part, or for needed pressures in that of the conditions."""
    text, marks = laid_text(), numbers()["marks"]
    names = shared_sources([mark["source"] for mark in marks])
    rows = [
        tuple(cell.text if isinstance(cell, Cell) else cell for cell in row)
        for block in numbers_blocks(PaperParts(whole(), numbers()))
        if isinstance(block, Table)
        for row in block.rows
    ]
    told = {(row[0], row[4]): row for row in rows}
    elsewhere = [m for m in marks if (shown_place(m["place"]), m["mark"]) not in told]
    assert len(rows) + len(elsewhere) == len(marks)
    for mark in elsewhere:
        name = mark["place"].removeprefix("condition ").removesuffix(": needed pressure")
        given = next(c for c in numbers()["conditions"] if c["name"] == name)["needed_pressure"]
        assert (given["value"], given["mark"]) == (mark["value"], mark["mark"])
        assert folded(f"{shown(given['low'])} to {shown(given['high'])}{given['mark']}") in text
    assert {row[5] for row in rows} <= {"as above", *names.values(), *(m["source"] for m in marks)}
    for mark in marks:
        if mark not in elsewhere:
            assert folded(shown_place(mark["place"])) in text
            assert folded(mark["source"]) in text


def test_numbers_stand_under_the_part_they_belong_to():
    blocks = numbers_blocks(PaperParts(whole(), numbers()))
    under, title = {}, ""
    for block in blocks:
        if isinstance(block, Heading):
            title = block.text
        elif isinstance(block, Table):
            under |= {row[0]: title for row in block.rows}
    assert under["propeller: slipstream factor"] == "Propeller and exit air"
    assert under["engine: needed pressure at full power"] == "Needed pressure"
    titles = [title for title, _ in GROUPS]
    order = [titles.index(title) for title in dict.fromkeys(under.values())]
    assert order == sorted(order)
    for beginning, title in (
        ("duct ", "Ducts"),
        ("core ", "Cores"),
        ("opening ", "Openings and bay"),
    ):
        places = [mark["place"] for mark in numbers()["marks"]]
        inside = [shown_place(place) for place in places if place.startswith(beginning)]
        assert inside
        assert {under[place] for place in inside} == {title}


def test_cards_tell_the_nearest_zone_where_it_is_known():
    contents = whole()
    name = contents.ranking.exit(contents.short_list[0]).name
    near = replace(contents, near_zones={name: ("hinge", 0.031)})
    for given, wanted in ((near, True), (replace(contents, near_zones={}), False)):
        words = [
            item.text
            for block in cards_blocks(PaperParts(given, {}))
            for strip in block.strips(480.0)
            for item in strip.items
            if isinstance(item, Words)
        ]
        assert ("nearest: hinge, 31 mm" in words) == wanted


def test_cautions_of_the_cards_name_their_places():
    contents = whole()
    count = len(contents.short_list)
    found = [b for b in cards_blocks(PaperParts(contents, {})) if isinstance(b, Caution)]
    told = {block.text: block.word for block in found}
    assert len(told) == len(found)
    for text, word in told.items():
        assert word.startswith("Caution, place")
        numbers_ = [int(n) for n in word.split(" ", 2)[2].split(", ")]
        for k in range(1, count + 1):
            exit_ = contents.ranking.exit(contents.short_list[k - 1])
            kinds = {s.kind for s in contents.spoilers if s.opening == exit_.name}
            wanted = {
                CAUTIONS[4]: exit_.side == "top" or "glass near" in kinds,
                CAUTIONS[5]: bool(kinds & PEOPLE),
            }
            assert (k in numbers_) == wanted[text]


def test_warnings_stand_with_the_worst_first_and_in_full():
    text = laid_text()
    assert whole().warnings
    for warning in whole().warnings:
        assert folded(warning) in text


def test_cautions_stand_where_they_matter_and_once_more_together():
    text = laid_text()
    for caution in (*CAUTIONS, *MORE_CAUTIONS):
        assert folded(caution) in text
    part = {}
    for page in laid():
        words = folded("".join(words.text for words in words_of(page)))
        for key in page.sections:
            part[key] = words
    assert folded(CAUTIONS[2]) in part["drawings"]
    assert folded(CAUTIONS[5]) in text[: text.index(folded("Documents that govern"))]
    assert text.count(folded(CAUTIONS[3])) >= 2


def test_checklist_and_sign_off_are_there_and_blank():
    text = laid_text()
    for title, texts in CHECKLIST:
        assert folded(title) in text
        assert all(folded(line) in text for line in texts)
    for words in (LIMITS, "Prepared by", "Checked by", "signature", "date"):
        assert folded(words) in text


def test_a_run_without_network_and_propeller_has_its_notice_first():
    pages = laid(plain)
    first = folded("".join(words.text for words in words_of(pages[0])))
    assert folded(PROPELLER_NOTICE) in first
    keys = [key for page in pages for key in page.sections]
    assert not {"cooling", "margins", "maps", "pictures"} & set(keys)
    assert {"answer", "ranking", "drawings", "sign-off"} <= set(keys)


def test_the_same_pages_give_the_same_bytes(tmp_path):
    paths, sheets = [tmp_path / f"{k}.pdf" for k in range(2)], list(laid(plain, "Letter")[:2])
    sheets.append(next(page for page in laid() if "maps" in page.sections))
    for path in paths:
        write_pages(sheets, path, pdf_metadata("a", "b", "c", ""))
    assert paths[0].read_bytes() == paths[1].read_bytes()
    first = PdfReader(paths[0]).pages[0]
    assert tuple(map(float, first.mediabox[2:])) == pytest.approx(page_size("Letter"), abs=1e-4)
    assert "/CreationDate" not in PdfReader(paths[0]).metadata


def test_paper_comes_from_the_contents_where_none_is_given(tmp_path, monkeypatch):
    def drawn(pages, path, metadata):
        path.write_text(f"{pages[0].size} {metadata['Title']}")

    monkeypatch.setattr("panelcp.report.paper.writing.write_pages", drawn)
    monkeypatch.setattr("panelcp.report.paper.writing.registered", lambda: PAGES[-1:])
    monkeypatch.setattr("panelcp.report.paper.writing.summary_json", None)  # it is given
    for paper, wanted in (("A4", None), ("Letter", None), ("A4", "Letter")):
        path = write_report(
            replace(plain(), paper=paper), tmp_path / "x.pdf", paper=wanted, summary="{}"
        )
        assert path.read_text().startswith(str(page_size(wanted or paper)))
    assert [p.name for p in tmp_path.iterdir()] == ["x.pdf"]


def test_another_date_changes_only_the_date():
    texts = []
    for day in (DAY, "2027-12-24"):
        pages = report_pages(replace(plain(), date=day), summary=summaries(plain))
        texts.append([words.text for page in pages for words in words_of(page)])
    assert [text.replace(DAY, "2027-12-24") for text in texts[0]] == texts[1]
    dates = [pdf_metadata("a", "b", "c", day) for day in (DAY, "2027-12-24")]
    assert [key for key in dates[0] if dates[0][key] != dates[1][key]] == ["CreationDate"]


SMALL = """
from panelcp.report.paper.blocks import Words
from panelcp.report.paper.drawing import pdf_metadata, write_pages
from panelcp.report.paper.laying import LaidPage
page = LaidPage((300.0, 300.0), (Words(20.0, 40.0, "letters and 0123 − □"),
                                 Words(20.0, 60.0, "bold letters", 9.0, True)))
write_pages([page], {path!r}, pdf_metadata("a", "b", "c", ""))
"""


def test_bytes_do_not_depend_on_the_order_of_sets(tmp_path):
    """This process has another seed than the one that is started."""
    path, own = tmp_path / "other.pdf", tmp_path / "own.pdf"
    environment = {
        "PYTHONHASHSEED": "1",
        "PYTHONPATH": str(Path(__file__).parents[3]),
        "MPLCONFIGDIR": str(tmp_path),
    }
    code = SMALL.format(path=str(path))
    subprocess.run([sys.executable, "-c", code], check=True, env=environment)
    exec(SMALL.format(path=str(own)), {})
    assert own.read_bytes() == path.read_bytes()
    assert b"CreationDate" not in own.read_bytes()


def test_pictures_stand_upright_where_they_were_put(tmp_path):
    """Drawn by a program of its own: black above, red on the lower left, blue on the right."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed")
    half = np.zeros((100, 200, 3), dtype=np.uint8)
    half[50:, :100], half[50:, 100:] = (200, 0, 0), (0, 0, 200)
    page = LaidPage((300.0, 200.0), (Box(20.0, 30.0, 200.0, 100.0, paper_picture(half)),))
    write_pages([page], tmp_path / "x.pdf", pdf_metadata("a", "b", "c", DAY))
    command = ["pdftoppm", "-r", "72", "-png", str(tmp_path / "x.pdf"), str(tmp_path / "x")]
    subprocess.run(command, check=True)
    shown = Image.open(next(tmp_path.glob("x*.png"))).convert("RGB")
    places = {(120, 50): (0, 0, 0), (60, 110): (200, 0, 0), (180, 110): (0, 0, 200)}
    places |= {(10, 50): (255, 255, 255), (120, 20): (255, 255, 255), (120, 140): (255, 255, 255)}
    assert {place: shown.getpixel(place) for place in places} == places


def test_the_hardest_map_comes_first_then_the_order_of_the_case():
    hard = whole().flow.conditions[hardest_condition(whole())].name
    pages = report_pages(whole(), maps()[::-1], summary=summaries(whole))
    at = next(k for k, page in enumerate(pages) if "maps" in page.sections)
    texts = [words_of(page)[0].text for page in pages[at : at + len(maps())]]
    others = [name for name, _, _ in maps()[::-1] if name != hard]
    assert texts == [f"The hardest condition: {hard}", *others]


def test_captions_that_pictures_hold_are_not_told_again():
    """Those of maps never, of others where they are given; the words are there once."""
    for caption in (caption for _, caption, _ in maps()):
        assert folded(caption) not in laid_text()
    assert laid_text().count(folded(PICTURES[0][1])) == 1
    parts = PaperParts(plain(), {}, pictures=[("a title", "", paper_picture(pixels()))])
    assert [block.caption for block in pictures_blocks(parts)] == ["a title"]


def test_small_pictures_stand_below_each_other_at_one_size_of_letters():
    sizes = {"small": (620, 877), "smaller": (400, 500), "large": (1000, 1400)}
    given = [(name, name, paper_picture(np.zeros((*size, 3)))) for name, size in sizes.items()]
    *small, large = pictures_blocks(PaperParts(plain(), {}, pictures=given))
    assert isinstance(large, Plate)
    boxes = [block.strips(480.0)[0].items[0] for block in small]
    dots = [box.source.height / box.height for box in boxes]
    assert dots == pytest.approx([SMALL_DOTS / 72.0] * 2)


def test_low_pictures_stand_across_the_text_two_on_a_page():
    picture = paper_picture(np.zeros((int(1400 * LOW_SHAPE) - 1, 1400, 3)))
    given = [(name, "", picture) for name in ("STA 1", "STA 2")]
    blocks = pictures_blocks(PaperParts(plain(), {}, pictures=given))
    for paper in PAPERS:
        pages = laid_out([("pictures", False, True, blocks)], paper, Foot("a", "b", "c"))
        assert len(pages) == 1
        boxes = [item for item in pages[0].items if isinstance(item, Box)]
        width = page_size(paper)[0] - LEFT - RIGHT
        assert all(0.94 * width < box.width <= width for box in boxes)


def test_the_caption_of_a_small_picture_stands_beside_it():
    """Where it leaves room; below it where it does not, and never over it."""
    words = "a caption that goes on for some time " * 6
    for wide, beside in ((700, True), (1100, False)):
        source = paper_picture(np.zeros((500, wide, 3)))
        (block,) = pictures_blocks(PaperParts(plain(), {}, pictures=[("one", words, source)]))
        strips = block.strips(480.0)
        (image,) = (i for s in strips for i in s.items if isinstance(i, Box))
        texts = [i for s in strips for i in s.items if isinstance(i, Words)]
        assert (len(strips) == 1) == beside
        assert all(w.x > image.left + image.width for w in texts) == beside
        assert " ".join(" ".join(w.text for w in texts).split()) == words.strip()
        assert all(w.box[2] <= 480.0 + 1e-6 for w in texts)


def test_pictures_come_from_files_too_and_are_made_no_finer_than_paper(tmp_path):
    path = tmp_path / "map.png"
    Image.fromarray(np.repeat(np.repeat(pixels(), 5, axis=0), 5, axis=1)).save(path)
    found = paper_picture(path)
    most = [side / 25.4 * DOTS for side in LARGEST]
    assert max(found.width / most[0], found.height / most[1]) == pytest.approx(1.0, abs=1e-3)
    assert found.shape == pytest.approx(480.0 / 720.0, rel=0.04)
    assert paper_picture(pixels()).width < 877
    assert len(found.palette) <= 3 * 256
    numbers_of_colours = np.frombuffer(zlib.decompress(found.packed), dtype=np.uint8)
    colours = np.frombuffer(found.palette, dtype=np.uint8).reshape(-1, 3)
    shown_ = colours[numbers_of_colours.reshape(found.height, found.width)].astype(int)
    middle = shown_[found.height // 2, :, 0]
    assert abs(middle[len(middle) // 2] - 127) <= 8  # greys lie 16 apart
    assert np.ptp(middle) > 230


def test_white_stays_white_beside_what_is_nearly_white():
    given = np.full((60, 60, 3), 255, dtype=np.uint8)
    given[10:50, 10:50], given[20:30, 20:40] = 250, 0
    found = paper_picture(given)
    colours = np.frombuffer(found.palette, dtype=np.uint8).reshape(-1, 3)
    numbers_of_colours = np.frombuffer(zlib.decompress(found.packed), dtype=np.uint8)
    assert set(colours[numbers_of_colours].min(axis=1).tolist()) == {0, 255}


def test_a_picture_as_fine_as_paper_keeps_its_pixels():
    """Few colours and no white border: what the file holds is what was given."""
    given = np.zeros((40, 60, 3), dtype=np.uint8)
    given[10:20, 30:] = (200, 40, 0)
    found = paper_picture(given)
    colours = np.frombuffer(found.palette, dtype=np.uint8).reshape(-1, 3)
    numbers_of_colours = np.frombuffer(zlib.decompress(found.packed), dtype=np.uint8)
    back = colours[numbers_of_colours.reshape(found.height, found.width)]
    assert np.abs(back.astype(int) - given).max() <= 4


def test_the_revision_is_told_with_its_differences():
    before = json.loads(summaries(plain))
    before["version"] = "0.0.1"
    before["ranking"]["pairs"][0]["inlet"] = "another inlet"
    revision = Revision(2, "old-hash", before, 1, "2026-04-01")
    text = folded(
        "".join(
            w.text
            for p in report_pages(plain(), revision=revision, summary=summaries(plain))
            for w in words_of(p)
        )
    )
    assert folded("Since revision 1 (2026-04-01, inputs old-hash)") in text
    assert folded("best inletanother inletnose") in text
    assert folded("version0.0.1") in text
    parts = PaperParts(plain(), before, revision=Revision(2, "old-hash", None, 1))
    assert "nothing can be compared" in revision_blocks(parts)[1].text
    assert folded("first report of this case") in laid_text(plain)


def test_a_paper_that_is_not_known_is_an_error_and_leaves_nothing(tmp_path):
    with pytest.raises(CaseError, match="A4, Letter"):
        write_report(plain(), tmp_path / "report.pdf", paper="A3")
    assert not list(tmp_path.iterdir())


def test_a_picture_that_is_missing_leaves_the_old_report(tmp_path):
    path = tmp_path / "report.pdf"
    path.write_bytes(b"old")
    with pytest.raises(OSError, match="nowhere"):
        write_report(plain(), path, [("climb", "", tmp_path / "nowhere.png")])
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["report.pdf"]


def test_the_small_picture_holds_few_marks():
    from panelcp.report.paper import front_page

    ranking = plain().ranking
    outlines = {id(ranking.exit(0).outline), id(ranking.inlet(0).outline)}
    marks = front_page._markers(plain())
    assert [mark.label for mark in marks if mark.style == "inlet"] == [ranking.inlet(0).name]
    assert {mark.label for mark in marks if mark.style == "best"} == {"1"}
    assert len(marks) == (2 if ranking.exit(0).twin is None else 3)
    assert len(outlines) == 2


def test_air_against_what_an_opening_is_for_is_told():
    from panelcp.report.paper.cooling_pages import _flow_cell

    port = {"flow_kg_per_s": {"value": [-0.0234, 0.5]}, "reversed": [True, False]}
    assert [_flow_cell(port, c).text for c in (0, 1)] == ["−0.023 back", "0.500"]
    assert [_flow_cell(port, c).bold for c in (0, 1)] == [True, False]
