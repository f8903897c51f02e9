import ast
import dataclasses
import json
import math
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelcp import quantity
from panelcp.errors import QuantityError
from panelcp.quantity import MARKS, UncertainValue, read_uncertain


def test_marks_are_the_five_of_the_contract():
    assert MARKS == ("published", "derived", "common practice", "memory", "yours")


@pytest.mark.parametrize(
    ("raw", "kind", "value"),
    [
        (0.6, "fraction", 0.6),
        ("0.6", "fraction", 0.6),
        ("60 %", "fraction", 0.6),
        ("4 inH2O", "pressure", 996.35564),
        ({"value": "62 kt"}, "speed", 62 * 1852 / 3600),
        ({"value": 0.6, "source": "bench, spring"}, "fraction", 0.6),
    ],
)
def test_without_low_and_high_there_is_no_band(raw, kind, value):
    read = read_uncertain(raw, kind)
    assert read.value == pytest.approx(value, rel=4e-16)
    assert (read.low, read.high, read.mark, read.kind) == (None, None, "yours", kind)
    assert (read.has_band, read.low_deviation, read.high_deviation) == (False, None, None)


def test_full_record_keeps_every_entry():
    raw = {
        "value": "4 inH2O",
        "low": "900 Pa",
        "high": "1,2 kPa",
        "mark": "common practice",
        "source": "no source",
    }
    read = read_uncertain(raw, "pressure", default_mark="memory")
    assert read == UncertainValue(
        996.35564, 900.0, 1200.0, "common practice", "no source", "pressure"
    )
    assert read.has_band
    assert read.low_deviation == 996.35564 - 900.0
    assert read.high_deviation == read.high - read.value


def test_default_mark_counts_only_where_none_is_given():
    assert read_uncertain(0.6, "fraction", "memory").mark == "memory"
    assert read_uncertain({"value": 0.6}, "fraction", "derived").mark == "derived"
    assert read_uncertain({"value": 0.6, "mark": "yours"}, "fraction", "derived").mark == "yours"


def test_temperature_band_is_read_with_its_zero_point():
    raw = {"value": "100 degF", "low": "35 degC", "high": "312 K"}
    read = read_uncertain(raw, "temperature")
    assert read.value == pytest.approx(310.9277777777778, rel=1e-15)
    assert (read.low, read.high) == (308.15, 312.0)


def test_a_record_is_passed_through_when_its_kind_fits():
    flow = UncertainValue(0.5, kind="mass_flow")
    assert read_uncertain(flow, "mass flow") is flow
    assert read_uncertain(flow, "mass_flow") is flow
    with pytest.raises(QuantityError, match=r"expected the kind 'power', got .* 'mass flow'"):
        read_uncertain(flow, "power")


REFUSED = [
    ({"value": 0.6, "hihg": 0.8}, r"uncertain value: 'hihg' \(did you mean 'high'\?\); known: val"),
    ({"value": 0.6, "Mark": "yours"}, r"'Mark' \(did you mean 'mark'\?\)"),
    ({"value": 0.6, "colour": "red", "lo": 0.5}, r"'colour' and 'lo' \(did you mean 'low'\?\)"),
    ({"low": 0.5, "high": 0.7}, "needs the entry 'value'; given: low, high"),
    ({}, "needs the entry 'value'; given: nothing"),
    ({"value": 0.6, "low": 0.7, "high": 0.8}, "value 0.6 is not between low 0.7 and high 0.8"),
    ({"value": 0.6, "low": 0.4, "high": 0.5}, "value 0.6 is not between low 0.4 and high 0.5"),
    ({"value": 0.6, "low": 0.5}, "low is given without high; give both, or neither"),
    ({"value": 0.6, "high": 0.7}, "high is given without low"),
    ({"value": 0.6, "mark": "guess"}, "unknown mark 'guess'; choose one of published, derived, "),
    ({"value": 0.6, "mark": "Memory"}, r"unknown mark 'Memory' \(did you mean 'memory'\?\)"),
    ({"value": 0.6, "mark": None}, "unknown mark None"),
    ({"value": 0.6, "mark": "published"}, "0.6 is marked 'published' without a source"),
    ({"value": 0.6, "mark": "published", "source": " "}, "without a source"),
    ({"value": 0.6, "source": 3}, "source is 3; expected a text"),
    ({"value": "0.6 m"}, "entry 'value': cannot read '0.6 m' as a fraction"),
    ({"value": 0.6, "low": "some", "high": 1}, "entry 'low': cannot read 'some' as a fraction"),
    ({"value": None}, "entry 'value': cannot read None"),
    (math.nan, "not a finite number"),
    (None, "got NoneType"),
    (True, "got bool"),
]


@pytest.mark.parametrize(("raw", "reason"), REFUSED)
def test_refusals(raw, reason):
    with pytest.raises(QuantityError, match=reason) as caught:
        read_uncertain(raw, "fraction")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("bad", [math.nan, math.inf, "0.6", True])
def test_the_record_itself_refuses_what_is_no_finite_number(bad):
    with pytest.raises(QuantityError, match=r"value is .*; expected a finite number"):
        UncertainValue(bad)
    with pytest.raises(QuantityError, match=r"low is .*; expected a finite number"):
        UncertainValue(2.0, bad, 3.0)


def test_unknown_kind_is_a_mistake_of_the_program():
    for make in (lambda: UncertainValue(0.6, kind="taste"), lambda: read_uncertain(0.6, "taste")):
        with pytest.raises(ValueError, match="unknown kind of quantity 'taste'") as caught:
            make()
        assert not isinstance(caught.value, QuantityError)


def test_record_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        UncertainValue(0.6).value = 0.7


def test_dictionary_survives_json():
    read = read_uncertain({"value": "12 deg", "low": "0.2 rad", "high": "13 deg"}, "angle")
    written = json.loads(json.dumps(read.to_dict(), allow_nan=False))
    assert list(written) == ["value", "unit", "low", "high", "mark", "source"]
    assert written["unit"] == "deg"
    assert written["low"] == pytest.approx(math.degrees(0.2), rel=1e-15)
    assert UncertainValue(0.6).to_dict()["low"] is None


@given(numbers=st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=3))
def test_band_encloses_the_value_or_is_refused(numbers):
    low, value, high = numbers
    raw = {"value": value, "low": low, "high": high}
    if low <= value <= high:
        read = read_uncertain(raw, "number")
        assert read.low_deviation >= 0.0
        assert read.high_deviation >= 0.0
    else:
        with pytest.raises(QuantityError, match="expected low <= value <= high"):
            read_uncertain(raw, "number")


def test_reading_needs_the_standard_library_only():
    tree = ast.parse(Path(quantity.__file__).read_text(encoding="utf-8"))
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {getattr(node, "module", None) or node.names[0].name for node in imports}
    assert {n.split(".")[0] for n in names} <= sys.stdlib_module_names | {"panelcp"}
