"""The pressures over the skin alone, and cases that name no opening."""

import json
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import jsonschema
import numpy as np
import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.pressures_run import pressures_case
from panelcp.case.reading import read_case
from panelcp.case.solving import solve_pressures
from panelcp.errors import CaseError
from panelcp.report.summary_schema import schema
from tests.cases import CASE, few_dots, ranked, write_case

OPENINGS, SEARCH = CASE.index("[[opening]]"), CASE.index("[[search]]")
NO_OPENING = CASE[:OPENINGS] + '[report]\nviews = ["left", "three-quarter"]\n'
ONLY_SEARCH = (CASE[:OPENINGS] + CASE[SEARCH:]).replace('use = "exit"', 'use = "both"')


@cache
def pressures(text: str = NO_OPENING):
    """What `solve_pressures` finds."""
    with TemporaryDirectory() as folder:
        case = read_case(write_case(Path(folder), text), both_uses=False)
        return solve_pressures(prepare_case(case))


def test_no_opening_is_needed():
    contents = pressures()
    assert contents.ranking is None
    assert contents.short_list == []
    assert contents.openings.openings == ()
    assert contents.openings.patch_pressure.shape == (3, 0)
    assert contents.skin_state.shape == contents.flow.cp.shape
    assert contents.views == ("left", "three-quarter")
    assert any("far too coarse" in text for text in contents.warnings)


def test_pressures_are_those_of_the_whole_run():
    alone, whole = pressures(CASE), ranked()[1]
    np.testing.assert_array_equal(alone.flow.cp, whole.flow.cp)
    assert [o.name for o in alone.openings.openings] == ["nose", "chin"]
    found = alone.openings.patch_pressure
    np.testing.assert_allclose(found, whole.openings.patch_pressure, rtol=0, atol=1e-9)
    assert set(alone.warnings) <= set(whole.warnings)
    assert set(whole.air_not_modelled) < set(whole.not_modelled)


def test_a_whole_run_needs_both_uses(tmp_path):
    with pytest.raises(CaseError, match="no inlet"):
        read_case(write_case(tmp_path, NO_OPENING))


def test_places_are_ranked_without_any_opening_named():
    _, contents = ranked(ONLY_SEARCH)
    assert contents.openings.openings == ()
    assert contents.ranking.n_pairs > 0
    assert contents.short_list


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    text = NO_OPENING.replace("[report]", "[report]\nsame_limits = false\ngrey_print = true")
    with few_dots():
        return pressures_case(write_case(tmp_path_factory.mktemp("alone"), text))


def test_a_folder_of_its_own(done):
    found = {path.relative_to(done.folder).as_posix() for path in done.folder.rglob("*.*")}
    assert found == {
        *("pressures.html", "pressures.pdf", "pressures.json", "run.log"),
        *("surface.vtu", "surface.glb"),
        *("maps/01-climb.png", "maps/02-sideslip.png", "sections/sections.csv"),
        *("sections/centre-line.png", "sections/centre-line.svg"),
    }
    assert done.folder.name == f"pressures-{done.contents.input_hash}"
    assert not (done.folder.parent / "latest.json").exists()


def test_its_numbers_follow_the_schema_of_the_summary(done):
    found = json.loads((done.folder / "pressures.json").read_text(encoding="utf-8"))
    whole = schema()
    keys = {key: whole["properties"][key] for key in found}
    rules = {**whole, "properties": keys, "required": sorted(found)}
    jsonschema.Draft202012Validator(rules).validate(found)
    assert {"conditions", "surface", "warnings", "marks", "inputs"} <= set(found)


def test_its_page_says_how_the_maps_are_read(done):
    page = (done.folder / "pressures.html").read_text(encoding="utf-8")
    assert "dark is pressure" in page
    assert "every map has its own scale" in page.lower()
    assert "no place was ranked" in page
    assert "Estimate for study" in page
    assert page.count("<figure") == 3


def test_it_shows_itself_in_a_notebook(done):
    assert repr(done).startswith("PressureRun(pressures-")
    assert "pressures.html" in done._repr_html_()
