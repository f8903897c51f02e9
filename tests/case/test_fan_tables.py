"""Fans of a case: curves, places, when they run."""

import math

import numpy as np
import pytest

from panelcp.case.fan_tables import OFF_LOSS
from panelcp.cooling.installation import BAY
from tests.case.cooling_case import FAN, WHOLE, installation, line_in, mistakes, only_mistake
from tests.cases import changed


def fan(folder, old="", new="", text=FAN):
    return installation(folder, WHOLE + (changed(old, new, text) if old else text)).fans[0]


def test_a_fan_behind_a_core_stands_between_it_and_what_follows(tmp_path):
    found = installation(tmp_path, WHOLE + FAN)
    assert (found.cores[0].start, found.cores[0].end) == ("radiator", "fan duct")
    assert (found.fans[0].start, found.fans[0].end) == ("fan duct", BAY)


def test_a_fan_ahead_of_a_core_stands_between_its_place_and_it(tmp_path):
    found = installation(tmp_path, WHOLE + changed("behind", "ahead_of", FAN))
    assert (found.fans[0].start, found.fans[0].end) == ("radiator", "fan duct")
    assert (found.cores[0].start, found.cores[0].end) == ("fan duct", BAY)
    assert found.ducts[0].end == "radiator"


def test_two_fans_at_one_core_stand_side_by_side(tmp_path):
    second = changed('name = "fan"', 'name = "second fan"', FAN)
    found = installation(tmp_path, WHOLE + FAN + second)
    assert {(f.start, f.end) for f in found.fans} == {("fan duct", BAY)}
    both = installation(tmp_path, WHOLE + FAN + changed("behind", "ahead_of", second))
    assert [f.start for f in both.fans] == ["fan duct", "radiator"]
    assert (both.cores[0].start, both.cores[0].end) == ("second fan duct", "fan duct")


def test_a_fan_between_two_places(tmp_path):
    tables = changed('to = "radiator"', 'to = "box"', WHOLE)
    ends = changed('behind = "radiator"', 'from = "box"\nto = "radiator"', FAN)
    found = installation(tmp_path, tables + ends)
    assert (found.fans[0].start, found.fans[0].end) == ("box", "radiator")


def test_curve_area_and_loss(tmp_path):
    found = fan(tmp_path)
    np.testing.assert_allclose(found.volume_flow, [0.0, 0.3, 0.6])
    np.testing.assert_allclose(found.pressure_rise, [250.0, 180.0, 0.0])
    assert found.area == pytest.approx(0.25 * math.pi * 0.28**2 * (1.0 - 0.4**2))
    assert found.off_loss == OFF_LOSS
    assert found.density == pytest.approx(101325.0 / (287.05287 * 293.15))
    assert (found.electrical_power, found.doors) == (None, None)
    hub = fan(tmp_path, 'diameter = "280 mm"', 'diameter = "280 mm"\nhub_diameter = "140 mm"')
    assert hub.area == pytest.approx(0.25 * math.pi * 0.28**2 * 0.75)


def test_fans_side_by_side_as_one(tmp_path):
    more = 'diameter = "280 mm"\nnumber = 2\nelectrical_power = "120 W"\ndoors = "90 cm2"'
    one, two = fan(tmp_path), fan(tmp_path, 'diameter = "280 mm"', more)
    np.testing.assert_allclose(two.volume_flow, 2.0 * one.volume_flow)
    np.testing.assert_allclose(two.pressure_rise, one.pressure_rise)
    assert two.area == pytest.approx(2.0 * one.area)
    assert two.electrical_power == pytest.approx(240.0)
    assert two.doors == pytest.approx(0.009)


def test_it_runs_on_the_ground_while_the_engine_does(tmp_path):
    # climb, sideslip, idle on the ground, parked in no ground condition
    assert fan(tmp_path).speed.tolist() == [0.0, 0.0, 1.0, 0.0]
    parked = installation(
        tmp_path,
        WHOLE + FAN,
        _body('name = "parked"\ntrue_airspeed', 'name = "parked"\nground_speed'),
    )
    assert parked.fans[0].speed.tolist() == [0.0, 0.0, 1.0, 0.0]
    assert "fan fan: runs on the ground while the engine does: idle" in parked.notes


def _body(old, new):
    from tests.case.cooling_case import BODY

    return changed(old, new, BODY)


def test_named_conditions_and_speeds(tmp_path):
    assert fan(tmp_path, "diameter", 'on = ["climb", "parked"]\ndiameter').speed.tolist() == [
        1.0, 0.0, 0.0, 1.0,
    ]  # fmt: skip
    assert fan(tmp_path, "diameter", "on = []\ndiameter").speed.tolist() == [0.0] * 4
    speeds = 'curve_speed = "2800 rpm"\non = { climb = "1400 rpm", idle = "80 %" }\ndiameter'
    np.testing.assert_allclose(fan(tmp_path, "diameter", speeds).speed, [0.5, 0.0, 0.8, 0.0])


@pytest.mark.parametrize(
    ("old", "new", "where", "text"),
    [
        ('"180 Pa"], ["0.6 m3/s", "0 Pa"]', '"280 Pa"]', "curve", "has no falling branch"),
        ('"0.3 m3/s", "180', '"0.0 m3/s", "180', "curve", "flow does not rise at 1 of 3"),
        ('["0.3 m3/s", "180 Pa"]', '["0.3 m3/s"]', "curve", "is not a list of pairs; write"),
        ('behind = "radiator"', 'behind = "radiater"', "behind", "did you mean 'radiator'?"),
        ('behind = "radiator"\n', "", "[[fan]]", "say once where it stands"),
        ('behind = "radiator"', 'behind = "radiator"\nto = "bay"', "[[fan]]", "say once where"),
        ('behind = "radiator"', 'from = "radiator"', "[[fan]]", "say once where it stands"),
        ('diameter = "280 mm"\n', "", "[[fan]]", "give its diameter (and hub_diameter), or the"),
        ('"280 mm"', '"280 mm"\narea = "4 cm2"', "[[fan]]", "give its diameter (and hub_diameter)"),
        ('"280 mm"', '"280 mm"\nhub_diameter = "300 mm"', "hub_diameter", "not smaller than the"),
        ('"280 mm"', '"0 mm"', 'diameter = "0 mm"', "expected more than 0"),
        ("diameter", 'on = ["climp"]\ndiameter', "on =", "'climp' is no condition; did you mean"),
        ("diameter", 'on = { climb = "900 rpm" }\ndiameter', "on =", "speeds need curve_speed"),
        ("diameter", 'on = { climb = "fast" }\ndiameter', "on =", "'fast' is no speed; write"),
        ("diameter", 'off_loss = "0"\ndiameter', "off_loss", "expected 0.01 to 1000"),
    ],
)
def test_fans_that_cannot_be(tmp_path, old, new, where, text):
    tables = WHOLE + changed(old, new, FAN)
    said = only_mistake(tmp_path, tables)
    assert text in said
    assert said.startswith(f"line {line_in(where, tables)}: fan[1]")


def test_two_fans_of_one_name(tmp_path):
    assert "'fan' is already the name of number 1" in mistakes(tmp_path, WHOLE + FAN + FAN)
