"""The report on paper where no place was ranked: the parts that exist, and nothing made up."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from pypdf import PdfReader

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.solving import solve_pressures
from panelcp.report.contents import CAUTIONS, AirContents
from panelcp.report.paper.front_page import NOT_RANKED
from panelcp.report.paper.laying import faults_of, words_of
from panelcp.report.paper.writing import report_pages, write_report
from panelcp.report.summary import air_summary, as_json
from tests.cases import CASE, ranked, write_case
from tests.report.exports.whole_run import contents as whole_contents

NEEDS_RANKING = {"ranking", "cards", "sensitivity"}


@cache
def air() -> AirContents:
    """Pressures alone of the small case."""
    with TemporaryDirectory() as folder:
        return solve_pressures(prepare_case(read_case(write_case(Path(folder), CASE))))


def keys_of(pages):
    return [key for page in pages for key in page.sections]


def text_of(pages):
    return " ".join(words.text for page in pages for words in words_of(page))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pressures_alone_give_the_parts_that_exist(paper):
    pages = report_pages(air(), paper=paper)
    assert keys_of(pages) == [
        "answer", "revision", "inputs", "numbers", "conditions", "cautions", "model", "drawings",
        "checklist", "versions", "sign-off",
    ]  # fmt: skip
    assert all(faults_of(page) == [] for page in pages)
    text = text_of(pages)
    assert "No place was ranked and no air runs through the cowl" in text
    assert "best exit" not in text
    for name in [c.name for c in air().flow.conditions]:
        assert name in text
    for line in air().air_not_modelled:
        assert line.split(" ")[0] in text
    assert CAUTIONS[5].split(".")[0] in text


def test_no_opening_no_drawing_list():
    bare = replace(air(), openings=replace_openings(air()))
    assert "drawings" not in keys_of(report_pages(bare))


def replace_openings(contents):
    """No openings, and their pressures."""
    found = contents.openings
    return replace(
        found,
        openings=(),
        patch_pressure=found.patch_pressure[:, :0],
        **{
            name: getattr(found, name)[:, :0]
            for name in ("pressure_spread", "inlet_pressure", "deviation")
            if hasattr(found, name)
        },
    )


def test_its_numbers_are_those_of_its_summary():
    numbers = json.loads(as_json(air_summary(air())))
    text = text_of(report_pages(air(), summary=as_json(air_summary(air()))))
    assert text == text_of(report_pages(air()))
    for size in numbers["surface"]["length_width_height"]:
        assert f"{1e3 * size:.1f} mm" in text
    for condition in numbers["conditions"]:
        assert f"{condition['dynamic_pressure']:.0f}" in text


def test_it_is_written_and_the_same_each_time(tmp_path):
    paths = [write_report(air(), tmp_path / f"{k}.pdf") for k in range(2)]
    assert paths[0].read_bytes() == paths[1].read_bytes()
    first = PdfReader(paths[0]).pages[0].extract_text()
    assert air().name in first
    assert NOT_RANKED[False][1].split(":")[0] in " ".join(first.split())


def test_a_network_without_ranking_tells_its_margins():
    """What places would need is left out; cores, fans, plan and drawing list are there."""
    whole = whole_contents()
    pages = report_pages(replace(whole, ranking=None))
    keys = set(keys_of(pages))
    assert not keys & NEEDS_RANKING
    assert {"answer", "cooling", "exit-air", "test-plan", "drawings", "sign-off"} <= keys
    assert "No place was ranked: the openings of the case" in text_of(pages)
    assert all(faults_of(page) == [] for page in pages)


def test_a_case_without_searches_ranks_its_own_openings():
    start, end = CASE.index("[[search]]"), CASE.index("[[no_cut]]")
    _, found = ranked(CASE[:start] + CASE[end:])
    assert found.ranking.n_pairs == 1
    pages = report_pages(found)
    assert {"ranking", "cards", "sensitivity"} <= set(keys_of(pages))
    assert all(faults_of(page) == [] for page in pages)
