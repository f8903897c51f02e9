"""Page, table and summary of several cases: order, escaping, ties named as ties."""

import csv
import io
import json
from dataclasses import replace

import pytest

from panelcp.placement.comparing import PairedDifference
from panelcp.report.contents import CAUTIONS
from panelcp.report.side_by_side import (
    MOST_CHANGES,
    Change,
    Variant,
    cautions_of,
    side_by_side_answer,
    side_by_side_csv,
    side_by_side_lines,
    side_by_side_page,
    side_by_side_summary,
    turned,
    verdict,
    write_side_by_side,
)
from tests.case.test_side_by_side import small_sides
from tests.report.test_page import SCRIPT, Page

SECTIONS = [
    "answer",
    "cases",
    "differences",
    "pairs",
    "openings",
    "changes",
    "common",
    "model",
    "cautions",
]


def hostile_sides():
    """The same with hostile texts wherever a text of a case stands."""
    sides = small_sides()
    evil = f"{SCRIPT} & \"quotes\" 'single' </title>"
    differences = {
        both: replace(found, conditions=(evil,), pairs=((evil, evil), (evil, evil)))
        for both, found in sides.differences.items()
    }
    variants = tuple(
        Variant(
            changes=(Change(evil, evil, "e" * 300), *variant.changes),
            unlike=(evil,),
            pairs=tuple(differences.values())[:1],
            openings=tuple(replace(o, name=evil, conditions=(evil,)) for o in variant.openings),
        )
        for variant in sides.variants
    )
    contents = tuple(replace(c, warnings=(evil + "w" * 200,)) for c in sides.contents)
    return replace(
        sides,
        names=tuple(f"{name} {evil}" for name in sides.names),
        files=(evil,) * 3,
        contents=contents,
        conditions=(evil,),
        alone=((), (), (evil,)),
        differences=differences,
        variants=variants,
    ), evil


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Name -> path of a page."""
    folder = tmp_path_factory.mktemp("pages")
    paths = {}
    for name, sides in (("plain", small_sides()), ("hostile", hostile_sides()[0])):
        paths[name] = write_side_by_side(sides, folder / name) / "side-by-side.html"
    return paths


@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_page_is_well_formed_and_runs_nothing(pages, which):
    page = Page(pages[which].read_text(encoding="utf-8"))
    assert page.open == []
    assert [value for name, value in page.attributes if name == "id"] == SECTIONS
    for tag in ("script", "iframe", "object", "img", "form", "base"):
        assert tag not in page.tags
    for name, value in page.attributes:
        assert not name.startswith("on"), (name, value)
        if name in ("src", "href"):
            assert value.startswith(("data:", "#")), value[:80]


def test_hostile_texts_come_back_letter_by_letter():
    sides, evil = hostile_sides()
    page = Page(side_by_side_page(sides))
    assert page.text.count(evil) > 20
    assert CAUTIONS[0] in page.text
    assert f"A: {sides.names[0]}" in page.text


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_page_is_not_wider_than_the_screen(browser, pages, which, width):
    page = browser.open(pages[which], width, 900)
    root = "document.documentElement"
    assert page.run(f"return {root}.scrollWidth - {root}.clientWidth") == 0
    found = page.run("return Array.from(document.querySelectorAll('section'), part => part.id)")
    assert found == SECTIONS
    assert page.complaints() == []
    page.close()


def test_answer_names_ties_as_ties():
    sides = small_sides()
    lines = side_by_side_answer(sides)
    assert lines[0] == "A is Small body; B is Copy; C is Moved."
    (equal,) = (line for line in lines if line.startswith(("A against B", "B against A")))
    assert "no difference in any world" in equal
    assert "choose by ease of building" in equal
    assert any(line.startswith("Best of all, probability: ") for line in lines)
    assert any("not all cases decide by it: glide (in C)" in line for line in lines)
    kinds = [kind for kind, _ in cautions_of(sides)]
    assert kinds[0] == "Notice"
    assert ("Notice", "A, C: of the same name, but not the same: climb") in cautions_of(sides)
    assert any(text.startswith("all cases: only 320 panels") for _, text in cautions_of(sides))


def changed_least(sides, **numbers):
    """The first two cases with another difference of the least ratios."""
    found = sides.differences[0, 1]
    differences = {**sides.differences, (0, 1): replace(found, least=PairedDifference(**numbers))}
    least = [numbers["first"], numbers["second"], 0.1]
    return replace(sides, differences=differences, least=least)


def test_leader_is_the_better_case_and_tie_goes_by_the_deviation():
    numbers = {"first": 1.2, "second": 1.5, "apart": 0.5, "band": [-0.5, -0.3, -0.1]}
    sides = changed_least(small_sides(), deviation=0.2, chance=0.07, **numbers)
    lines = side_by_side_answer(sides)
    assert lines[1].startswith("Ahead: B")
    assert "tied with A" not in lines[1]
    assert "The best pair of B has 1.50 ±" in lines[1]
    assert "the difference is 0.30 ± 0.20; B is better with a probability of 93 %" in lines[2]
    assert "larger than the uncertainty" in lines[2]
    sides = changed_least(small_sides(), deviation=0.31, chance=0.2, **numbers)
    lines = side_by_side_answer(sides)
    assert lines[1].startswith("Ahead: B, tied with A")
    assert "A tie: the difference is smaller than the uncertainty" in lines[2]


def test_turned_differences_turn_back():
    found = small_sides().differences[0, 2]
    other = turned(found)
    assert other.least.difference == -found.least.difference
    assert other.least.chance == pytest.approx(1.0 - found.least.chance)
    assert other.least.band.tolist() == (-found.least.band[::-1]).tolist()
    assert other.pairs == found.pairs[::-1]
    assert turned(other).least.band.tolist() == found.least.band.tolist()
    assert verdict(other.least, "C", "A") == verdict(found.least, "A", "C")


def test_table_and_summary_hold_the_same_numbers(tmp_path):
    sides = small_sides()
    rows = list(csv.DictReader(io.StringIO(side_by_side_csv(sides))))
    listed = side_by_side_summary(sides)["differences"]
    assert len(rows) == len(listed) > 10
    for row, numbers in zip(rows, listed, strict=True):
        assert float(row["difference"]) == pytest.approx(numbers["difference"], rel=1e-5, abs=1e-9)
        assert float(row["first"]) - float(row["second"]) == pytest.approx(
            float(row["difference"]), abs=2e-3
        )
        assert (row["tie"] == "yes") == numbers["tie"]
        assert row["unit"] == ("Pa" if "ressure" in row["what"] else "")
    folder = write_side_by_side(sides, tmp_path)
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["side-by-side.csv", "side-by-side.html", "summary.json"]
    read = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert [case["name"] for case in read["cases"]] == ["Small body", "Copy", "Moved"]
    assert read["cases"][2]["not_compared"] == ["glide"]
    assert read["samples"] == 2000
    assert read["changes"][0]["list"][0]["where"] == "project.name"
    assert read["cautions"] == list(CAUTIONS)


def test_only_a_sensible_number_of_changes_is_shown():
    sides = small_sides()
    many = tuple(Change(f"entry {k}", "1", "2") for k in range(MOST_CHANGES + 5))
    sides = replace(sides, variants=(replace(sides.variants[0], changes=many), sides.variants[1]))
    text = Page(side_by_side_page(sides)).text
    assert f"entry {MOST_CHANGES - 1}" in text
    assert f"entry {MOST_CHANGES}\0" not in text
    assert "and 5 more, in summary.json" in text
    assert len(side_by_side_summary(sides)["changes"][0]["list"]) == len(many)


def test_lines_for_the_terminal():
    sides = small_sides()
    lines = side_by_side_lines(sides)
    table = [line for line in lines if " -> " in line and "±" in line]
    assert [line.split("  ")[-1][:1] for line in table][2] == "C"
    assert len(table) == 3
    assert "  B differs from A in 2 entries, listed on the page" in lines
    assert lines[-1].strip() == CAUTIONS[0]
    assert any(line.startswith("  warning: all cases: ") for line in lines)
