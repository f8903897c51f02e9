"""The table [combinations] of a case."""

import pytest

from panelcp.atmosphere import hot_day_air
from panelcp.case.reading import read_case
from panelcp.errors import CaseError
from tests.cases import CASE, changed, line_of, write_case

NEEDED = """
[combinations]
air_flow = { value = "1.0 kg/s", low = "0.9 kg/s", high = "1.2 kg/s", mark = "yours" }
core_pressure = { value = "250 Pa", low = "200 Pa", high = "300 Pa", mark = "yours" }
"""


def case_with(folder, *lines, needed=NEEDED):
    return read_case(write_case(folder, CASE + needed + "\n".join(lines) + "\n"))


def mistakes(folder, *lines, needed=NEEDED, text=CASE):
    text = text + needed + "\n".join(lines) + "\n"
    with pytest.raises(CaseError) as error:
        read_case(write_case(folder, text))
    return str(error.value)


def test_without_the_table_nothing_is_combined(tmp_path):
    assert read_case(write_case(tmp_path)).combinations is None


def test_defaults(tmp_path):
    found = case_with(tmp_path).combinations
    assert (found.most_inlets, found.most_exits, found.area_factors) == (2, 3, (0.7, 1.0, 1.4))
    assert (found.most_exit_area, found.candidates, found.names) == (None, None, ())
    assert (found.air_flow.value, found.air_flow.low, found.air_flow.high) == (1.0, 0.9, 1.2)
    assert found.need.reference.value == 250.0
    assert found.need.limit_temperature == pytest.approx(388.15)
    assert found.inlet_loss.mark == "memory"


def test_every_entry_arrives(tmp_path):
    found = case_with(
        tmp_path,
        "inlets = 1",
        "exits = 2",
        "area_factors = [2.0, 0.5]",
        'most_exit_area = "600 cm2"',
        "candidates = 20",
        'names = ["chin", "top 2"]',
        'least_distance = "40 mm"',
        'inlet_loss = { value = 0.3, low = 0.2, high = 0.5, mark = "memory" }',
        'discharge = { "plain exit" = 0.9, chin = { value = 0.8, low = 0.7, high = 0.9 } }',
    ).combinations
    assert (found.most_inlets, found.most_exits, found.candidates) == (1, 2, 20)
    assert found.area_factors == (0.5, 2.0)
    assert (found.most_exit_area, found.least_distance) == pytest.approx((0.06, 0.04))
    assert found.names == ("chin", "top 2")
    assert found.inlet_loss.value == 0.3
    assert found.discharge["plain exit"].value == 0.9
    assert found.discharge["chin"].low == 0.7


def test_a_volume_flow_is_that_of_the_hot_day_at_sea_level(tmp_path):
    needed = '\n[combinations]\nair_flow = "0.9 m3/s"\ncore_pressure = "1 inH2O"\n'
    found = case_with(tmp_path, needed=needed).combinations
    assert found.air_flow.value == pytest.approx(0.9 * hot_day_air(0.0).density, rel=1e-12)
    assert found.air_flow.kind == "mass flow"
    assert not found.air_flow.has_band
    assert found.need.reference.value == pytest.approx(249.08891)
    band = '{ value = "0.9 m3/s", low = "0.8 m3/s", high = "1.1 m3/s", mark = "memory" }'
    needed = f'\n[combinations]\nair_flow = {band}\ncore_pressure = "1 inH2O"\n'
    found = case_with(tmp_path, needed=needed).combinations
    assert found.air_flow.low == pytest.approx(0.8 * hot_day_air(0.0).density)
    assert found.air_flow.mark == "memory"


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("exits = 0", "combinations.exits: 0 is not a whole number from 1 to 3"),
        ("exits = 4", "combinations.exits: 4 is not a whole number from 1 to 3"),
        ("inlets = 3", "combinations.inlets: 3 is not a whole number from 1 to 2"),
        ("candidates = 0", "0 is not a whole number from 1 to 60"),
        ("area_factors = [0.0]", "too small; expected at least 0.1"),
        ("area_factors = []", "not a list with at least one entry"),
        ('most_exit_area = "0 cm2"', "too small"),
        ('names = ["chim"]', "'chim' is no opening, nor a place of a search.*did you mean 'chin'"),
        ('names = ["chin", "chin"]', "names has 'chin' more than once"),
        ('discharge = { "plan exit" = 0.9 }', "'plan exit' is no opening"),
        ('discharge = { "plain exit" = 1.2 }', "expected 0.1 % to 100 %|expected 0.001 to 1"),
        ("discharge = 0.9", "no table of coefficients"),
        ("inlet_loss = 0.0", "inlet_loss"),
        ("exit = 2", "combinations.exit: not a known entry; did you mean 'exits'"),
    ],
)
def test_mistakes_are_told_with_their_line(tmp_path, line, text):
    import re

    message = mistakes(tmp_path, line)
    assert re.search(text, message), message
    if "more than once" not in text:
        assert f"line {line_of(line, CASE + NEEDED + line)}:" in message


@pytest.mark.parametrize(
    ("needed", "text"),
    [
        ('air_flow = "1 kg/s"', "combinations: core_pressure is missing"),
        ('core_pressure = "250 Pa"', "combinations: air_flow is missing"),
        ('air_flow = "1 m/s"\ncore_pressure = "250 Pa"', "'1 m/s' is no flow of air"),
        ('air_flow = "0 kg/s"\ncore_pressure = "250 Pa"', "must be more than 0"),
        ('air_flow = "1 kg/s"\ncore_pressure = "0 Pa"', "must be more than 0"),
    ],
)
def test_flow_and_pressure_drop_must_be_there(tmp_path, needed, text):
    assert text in mistakes(tmp_path, needed=f"\n[combinations]\n{needed}\n")


def test_only_inlets_and_exits_can_be_combined(tmp_path):
    port = '[[opening]]\nname = "port"\nuse = "static port"\nkind = "flush hole"\n'
    port += 'centre = ["0 m", "500 mm", "0 mm"]\nlength = "5 mm"\nwidth = "5 mm"\n'
    message = mistakes(tmp_path, 'names = ["port"]', "", port)
    assert "'port' has use = 'static port'; only inlets and exits can be combined" in message


def test_deciding_conditions_need_power(tmp_path):
    text = changed('power = "100 %"', 'needed_pressure = "400 Pa"')
    message = mistakes(tmp_path, text=text)
    assert "deciding condition(s) climb lack: give power there" in message
