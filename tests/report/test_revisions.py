"""The log of revisions, and what changed from one to the next."""

import json
from copy import deepcopy
from dataclasses import dataclass

import pytest

from panelcp.report.revisions import (
    DAMAGED,
    FILE,
    differences,
    plain_text,
    record_revision,
    revision_of,
)


@dataclass
class Run:
    """What the log needs of a run."""

    name: str
    input_hash: str
    date: str = ""


def put(results, run, summary=None):
    """A finished run's folder, and its line in the log."""
    if summary is not None:
        folder = results / f"run-{run.input_hash}"
        folder.mkdir(exist_ok=True)
        (folder / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    return record_revision(results, run)


def test_hashes_get_numbers_in_their_order_and_keep_them(tmp_path):
    one, two = Run("tug", "aaa", "2026-05-01"), Run("tug", "bbb", "2026-06-01")
    assert revision_of(tmp_path, one).number == 1
    assert not list(tmp_path.iterdir())
    put(tmp_path, one, {"name": "tug"})
    put(tmp_path, two, {"name": "tug"})
    put(tmp_path, Run("glider", "ccc"))
    first, second = revision_of(tmp_path, one), revision_of(tmp_path, two)
    assert (first.number, first.previous, first.previous_summary) == (1, "", None)
    assert (second.number, second.previous) == (2, "aaa")
    assert second.previous_summary == {"name": "tug"}
    assert (second.previous_number, second.previous_date) == (1, "2026-05-01")
    assert revision_of(tmp_path, Run("tug", "new")).number == 3
    assert revision_of(tmp_path, Run("glider", "ccc")).number == 1


def test_a_run_that_is_repeated_changes_no_byte(tmp_path):
    put(tmp_path, Run("tug", "aaa", "2026-05-01"))
    put(tmp_path, Run("tug", "bbb", "2026-06-01"))
    before = (tmp_path / FILE).read_bytes()
    assert put(tmp_path, Run("tug", "aaa", "2027-01-01")).number == 1
    assert put(tmp_path, Run("tug", "bbb", "2027-01-01")).number == 2
    assert (tmp_path / FILE).read_bytes() == before


def test_the_log_says_number_hash_date_and_folder(tmp_path):
    put(tmp_path, Run("größer $", "aaa", "2026-05-01"))
    found = json.loads((tmp_path / FILE).read_text(encoding="utf-8"))
    entry = {"revision": 1, "hash": "aaa", "date": "2026-05-01", "folder": "run-aaa"}
    assert found == {"format": 1, "cases": {"größer $": [entry]}}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[1]",
        b'{"format": 2, "cases": {}}',
        b'{"format": 1}',
        b'{"format": 1, "cases": {"tug": {}}}',
        b'{"format": 1, "cases": {"tug": [3]}}',
        b'{"format": 1, "cases": {"tug": [null]}}',
        b'{"format": 1, "cases": {"tug": [{"revision": 1, "hash": "", "date": ""}]}}',
        b'{"format": 1, "cases": {"tug": [{"revision": 7, "hash": "a", "date": "", '
        b'"folder": "run-a"}]}}',
        b"\xff\xfe\x00",
        b"[" * 100_000,
    ],
)
def test_a_damaged_log_is_told_kept_beside_and_started_anew(tmp_path, content):
    (tmp_path / FILE).write_bytes(content)
    found = revision_of(tmp_path, Run("tug", "aaa"))
    assert (found.number, found.previous) == (1, "")
    assert "cannot be read" in found.note
    assert (tmp_path / FILE).read_bytes() == content
    assert record_revision(tmp_path, Run("tug", "aaa")).note == found.note
    assert (tmp_path / DAMAGED).read_bytes() == content
    assert revision_of(tmp_path, Run("tug", "bbb")).number == 2
    assert not revision_of(tmp_path, Run("tug", "bbb")).note


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path):
    found = record_revision(tmp_path / "nowhere", Run("tug", "aaa"))
    assert found.number == 1
    assert "could not be recorded" in found.note


@pytest.mark.parametrize("content", [None, "{", "[1, 2]"])
def test_a_lost_summary_of_the_revision_before_is_none(tmp_path, content):
    put(tmp_path, Run("tug", "aaa"), {"name": "tug"})
    path = tmp_path / "run-aaa" / "summary.json"
    path.unlink() if content is None else path.write_text(content)
    found = revision_of(tmp_path, Run("tug", "bbb"))
    assert (found.previous, found.previous_summary) == ("aaa", None)


def test_a_folder_in_the_log_never_leads_outside_the_results(tmp_path):
    inside = tmp_path / "results"
    inside.mkdir()
    (tmp_path / "summary.json").write_text('{"secret": 1}')
    for folder in ("../", "..", "run-/../..", "/tmp"):
        entry = {"revision": 1, "hash": "aaa", "date": "", "folder": folder}
        (inside / FILE).write_text(json.dumps({"format": 1, "cases": {"tug": [entry]}}))
        found = revision_of(inside, Run("tug", "bbb"))
        assert found.previous_summary is None
        assert found.note


# ----------------------------------------------------------------------------- differences

SUMMARY = {
    "version": "1",
    "warnings": ["panels too coarse", "oil above its limit in 2 conditions"],
    "ranking": {
        "pairs": [
            {
                "exit": "top 1", "exit_side": "top", "exit_centre": [0.9, 0.0, 0.289],
                "inlet": "left", "least_ratio": 1.926, "least_ratio_deviation": 0.78,
                "limiting_condition": "tow", "probability_enough": 0.92,
            }
        ]
    },
    "cooling": {
        "conditions": ["tow", "cruise", "taxi"],
        "least_margin_K": [-8.93, 31.0, None],
        "limiting_core": ["radiator", "radiator", None],
    },
    "surface": {"panels": 9300},
    "inputs": {
        "surface_hash": "0123456789abcdef",
        "case": {
            "engine": {
                "rated_power": "105 kW",
                "needed_pressure": {"value": "450 Pa", "low": "350 Pa", "high": "600 Pa",
                                    "mark": "yours"},
            },
            "opening": [{"name": "left", "width": "145 mm"}, {"name": "vent", "width": "260 mm"}],
            "search": [{"name": "top", "rules": [1, 2]}],
        },
    },
}  # fmt: skip


def changed(**paths):
    """The summary with other values, by paths with underscores doubled."""
    found = deepcopy(SUMMARY)
    for path, value in paths.items():
        *steps, last = path.split("__")
        part = found
        for step in steps:
            part = part[int(step)] if isinstance(part, list) else part[step]
        part[int(last) if isinstance(part, list) else last] = value
    return found


def rows(before, now):
    return [(one.what, one.before, one.now) for one in differences(before, now)]


def test_the_same_summary_has_no_differences():
    assert differences(SUMMARY, deepcopy(SUMMARY)) == []


def test_answers_are_told_in_words_with_units():
    now = changed(
        ranking__pairs__0__exit="bottom 2",
        ranking__pairs__0__least_ratio=1.5,
        ranking__pairs__0__probability_enough=0.87,
    )
    assert rows(SUMMARY, now) == [
        ("best exit", "top 1 (top, STA 900 BL 0 WL 289 mm)",
         "bottom 2 (top, STA 900 BL 0 WL 289 mm)"),
        ("least available over needed", "1.93 ± 0.78", "1.50 ± 0.78"),
        ("probability of enough", "92 %", "87 %"),
    ]  # fmt: skip


def test_margins_come_with_the_largest_change_first():
    now = changed(cooling__least_margin_K=[-8.0, 40.0, None])
    assert rows(SUMMARY, now) == [
        ("least margin, cruise", "31.0 K (radiator)", "40.0 K (radiator)"),
        ("least margin, tow", "−8.9 K (radiator)", "−8.0 K (radiator)"),
    ]
    without = changed(cooling=None)
    assert ("least margin, tow", "−8.9 K (radiator)", "not in it") in rows(SUMMARY, without)


def test_warnings_that_came_stand_before_those_that_went():
    now = changed(warnings=["panels too coarse", "air flows backwards", "coolant too hot"])
    assert rows(SUMMARY, now) == [
        ("warning", "not there", "coolant too hot"),
        ("warning", "not there", "air flows backwards"),
        ("warning", "oil above its limit in 2 conditions", "gone"),
    ]


def test_inputs_are_told_by_table_name_and_key():
    now = changed(
        inputs__case__engine__needed_pressure={"value": "500 Pa", "mark": "yours"},
        inputs__case__opening=[{"name": "left", "width": "150 mm"}, {"name": "new", "use": "exit"}],
    )
    assert rows(SUMMARY, now) == [
        ("input: engine, needed pressure", "450 Pa (350 Pa to 600 Pa), yours", "500 Pa, yours"),
        ("input: opening left, width", "145 mm", "150 mm"),
        ("input: opening new", "not given", "given"),
        ("input: opening new, use", "not given", "exit"),
        ("input: opening vent", "given", "not given"),
        ("input: opening vent, width", "260 mm", "not given"),
    ]


def test_surface_and_version_come_last():
    now = changed(version="2", inputs__surface_hash="fedcba98765", surface__panels=8000)
    now["warnings"] = []
    assert [what for what, _, _ in rows(SUMMARY, now)] == [
        "warning", "warning", "surface, hash", "surface, panels", "version",
    ]  # fmt: skip


OTHER_FORMS = (
    {},
    {"ranking": None, "inputs": {"case": 3}, "cooling": []},
    {"warnings": None, "ranking": {"pairs": [None]}},
)


@pytest.mark.parametrize("previous", OTHER_FORMS)
def test_a_summary_of_another_form_stops_nothing(previous):
    assert differences(previous, SUMMARY)
    assert differences(SUMMARY, previous)


def test_values_of_a_case_in_words():
    assert plain_text({"value": "1 m", "low": "0.9 m", "high": "1.2 m"}) == "1 m (0.9 m to 1.2 m)"
    assert plain_text([["3 m/s", "62 Pa"], ["5 m/s", "139 Pa"]]) == "3 m/s, 62 Pa; 5 m/s, 139 Pa"
    assert plain_text({"opens_at": "80 degC"}) == "opens at 80 degC"
