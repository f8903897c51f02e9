"""The JSON Schema of summary.json: real summaries keep to it, and it explains every key."""

import copy
import json
from functools import cache

import pytest

from panelcp.report.summary import FORMAT, summary_json
from panelcp.report.summary_schema import DIALECT, NAMED_BESIDE, schema, schema_json
from panelcp.units import UNITS
from tests.cases import CASE, ranked
from tests.report.exports import whole_run

jsonschema = pytest.importorskip("jsonschema")

NAMES = {unit for units in UNITS.values() for unit in units}
UNITS_OF_NUMBERS = NAMES | {"dimensionless", "Pa2", NAMED_BESIDE}
UNITS_OF_NUMBERS |= {"deg, m/s or dimensionless, by quantity"}


RUNS = {
    "whole run": whole_run.contents,
    "without network": lambda: ranked(CASE)[1],
}


@cache
def found(run: str):
    return json.loads(summary_json(RUNS[run]()))


def mistakes(summary) -> list[str]:
    checker = jsonschema.Draft202012Validator(schema())
    return [f"{error.json_path}: {error.message}" for error in checker.iter_errors(summary)]


def parts(one, where="summary"):
    """Every schema within a schema, with its place."""
    yield where, one
    for key, part in one.get("properties", {}).items():
        yield from parts(part, f"{where}.{key}")
    for key in ("items", "additionalProperties"):
        if isinstance(one.get(key), dict):
            yield from parts(one[key], f"{where}.{key}")


def kinds(one) -> set[str]:
    return {one["type"]} if isinstance(one["type"], str) else set(one["type"])


def test_the_schema_itself_is_valid():
    jsonschema.Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == DIALECT
    assert json.loads(schema_json()) == schema()
    assert schema()["properties"]["format"]["const"] == FORMAT


@pytest.mark.parametrize("run", list(RUNS))
def test_real_summaries_keep_to_it(run):
    assert mistakes(found(run)) == []


def test_the_whole_run_has_something_in_every_part():
    summary = found("whole run")
    assert [key for key, value in summary.items() if value in (None, [], {})] == ["notices"]
    assert [key for key, value in summary["cooling"].items() if value in (None, [], {})] == []
    assert found("without network")["cooling"] is None


def test_every_part_says_what_it_is():
    for where, one in parts(schema()):
        assert one.get("description", "").strip(), where
        assert kinds(one) <= {"object", "array", "string", "number", "integer", "boolean", "null"}


def test_every_number_says_its_unit():
    numbers = [(w, one) for w, one in parts(schema()) if kinds(one) & {"number", "integer"}]
    assert len(numbers) > 200
    for where, one in numbers:
        unit = one["description"].rsplit("; ", 1)[-1]
        assert unit in UNITS_OF_NUMBERS, f"{where}: {one['description']}"


def test_lists_of_numbers_have_the_unit_of_their_numbers():
    for where, one in parts(schema()):
        items = one.get("items")
        within = items.get("items", items) if items is not None else {"type": "null"}
        if kinds(within) & {"number", "integer"}:
            said, meant = (part["description"].rsplit("; ", 1)[-1] for part in (one, items))
            assert said == meant, where


def test_a_unit_in_a_key_is_that_of_its_description():
    ends = {"_kg_per_s": "kg/s", "_m3_per_s": "m3/s", "_m_per_s": "m/s"}
    ends |= {f"_{unit}": unit for unit in ("Pa", "K", "W", "m", "m2")}
    seen = 0
    for where, one in parts(schema()):
        for end, unit in ends.items():
            name = where.rsplit(".", 1)[-1]
            longer = any(len(e) > len(end) and name.endswith(e) for e in ends)
            if name.endswith(end) and not longer:
                seen += 1
                assert one["description"].endswith(f"; {unit}"), where
    assert seen > 25


PLAIN_KEYS = {
    "m": "bounds centre exit_centre length width asymmetry station height altitude way clearance "
    "thickness way_to_separation centre_line firewall across windshield_foot",
    "m2": "area compared_area exit_area",
    "m3": "volume",
    "m/s": "true_airspeed ground_speed wind_speed airspeed_error",
    "m3/s": "volume_flow needed_flow flow_in flow_out",
    "Pa": "patch_pressure total_pressure inlet_pressure lip_pressure available exit_pressure "
    "mean_rise dynamic_pressure bay_pressure plenum_pressure swirl wing needed",
    "K": "temperature least_margin margin",
    "kg/m3": "density",
    "deg": "alpha beta wind_from attitude turn least_angle",
    "dimensionless": "ratio mean_ratio least_flow_ratio mach power weight rank spillage",
}


def test_a_key_that_names_a_quantity_has_its_unit():
    wanted = {key: unit for unit, keys in PLAIN_KEYS.items() for key in keys.split()}
    numbers = [
        (where, one["description"].rsplit("; ", 1)[-1])
        for where, one in parts(schema())
        if kinds(one) & {"number", "integer"} or "; " in one["description"]
    ]
    seen = set()
    for where, unit in numbers:
        key = where.rsplit(".", 1)[-1]
        if key in wanted:
            seen.add(key)
            assert unit == wanted[key], where
    assert seen == set(wanted)


def changed(summary, change):
    other = copy.deepcopy(summary)
    change(other)
    return other


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda s: s.update(extra=1), "extra"),
        (lambda s: s.pop("curves"), "curves"),
        (lambda s: s.update(format=2), "1 was expected"),
        (lambda s: s["surface"].update(area="17 m2"), "is not of type 'number'"),
        (lambda s: s["surface"].update(area=None), "is not of type 'number'"),
        (lambda s: s["openings"][0].update(use="window"), "is not one of"),
        (lambda s: s["openings"][0]["centre"].append(0.0), "is too long"),
        (lambda s: s["ranking"]["pairs"][0].update(probability_enough=1.1), "maximum"),
        (lambda s: s["cooling"]["judgement"].append("fine"), "is not one of"),
        (lambda s: s["effects"][0].update(rain=[1.0]), "rain"),
    ],
)
def test_a_summary_that_is_not_one_is_refused(change, word):
    lines = mistakes(changed(found("whole run"), change))
    assert len(lines) == 1
    assert word in lines[0]


def test_inputs_are_those_of_the_case_whatever_its_tables():
    inputs = found("whole run")["inputs"]
    assert len(inputs["surface_hash"]) == 64
    assert {"project", "core", "duct"} <= set(inputs["case"])
