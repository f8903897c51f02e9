"""Tables of propeller, wing, ground and effects, and the usual conditions."""

import numpy as np
import pytest

from panelcp.case.reading import read_case
from panelcp.case.usual_conditions import USUAL_CONDITIONS, with_usual_conditions
from panelcp.errors import CaseError
from panelcp.onset.propeller import usual_loading
from panelcp.onset.surroundings import EFFECTS
from tests.cases import CASE, changed, write_case

PROPELLER = """
[propeller]
diameter = "1.8 m"
centre = ["-2.2 m", "0 m", "0 m"]
rotation = "clockwise"
rpm = "2400 rpm"
efficiency = "78 %"
"""
WING = """
[wing]
span = "9 m"
area = "11 m2"
centre = ["0.2 m", "0 m", "-300 mm"]
mass = "600 kg"
"""


def case_of(tmp_path, text):
    return read_case(write_case(tmp_path, text))


def mistakes_of(tmp_path, text):
    with pytest.raises(CaseError) as error:
        case_of(tmp_path, text)
    return str(error.value).split("\n")[1:]


def test_propeller_and_wing_in_si(tmp_path):
    around = case_of(tmp_path, CASE + PROPELLER + WING).surroundings
    propeller, wing = around.propeller, around.wing
    assert propeller.diameter == 1.8
    assert propeller.centre.tolist() == [-2.2, 0.0, 0.0]
    assert propeller.rotational_speed == pytest.approx(2400 * 2 * np.pi / 60)
    assert propeller.efficiency.value == pytest.approx(0.78)
    assert propeller.loading.value.tolist() == usual_loading().value.tolist()
    assert (wing.span, wing.area, wing.mass) == (9.0, 11.0, 600.0)
    assert wing.centre.tolist() == pytest.approx([0.2, 0.0, -0.3])
    assert around.rated_power == 75e3
    assert around.effects == EFFECTS


def test_without_the_tables_nothing_stands_round_the_body(tmp_path):
    around = case_of(tmp_path, CASE).surroundings
    assert around.propeller is None
    assert around.wing is None


@pytest.mark.parametrize("effect", EFFECTS)
def test_each_effect_can_be_switched_off(tmp_path, effect):
    around = case_of(tmp_path, f"{CASE}\n[effects]\n{effect} = false\n").surroundings
    assert around.effects == tuple(name for name in EFFECTS if name != effect)


def test_loading_of_the_case(tmp_path):
    text = PROPELLER + 'loading = [["20 %", 0.0], ["50 %", 2.0], ["100 %", 1.0]]\n'
    loading = case_of(tmp_path, CASE + text).surroundings.propeller.loading
    assert loading.fraction.tolist() == pytest.approx([0.2, 0.5, 1.0])
    assert loading.value[1] == pytest.approx(2.0 * loading.value[2])


def test_ground_gives_height_and_attitude_to_conditions_on_it(tmp_path):
    text = CASE + '\n[ground]\nheight = "1.1 m"\nattitude = "9 deg"\n'
    text += '\n[[condition]]\nname = "run-up"\nground_speed = "0 kt"\ndecides = false\n'
    text += '\n[[condition]]\nname = "taxi"\nground_speed = "8 kt"\nwind_speed = "10 kt"\n'
    text += 'wind_from = "120 deg"\nattitude = "2 deg"\nheight = "900 mm"\ndecides = false\n'
    climb, *_, run_up, taxi = case_of(tmp_path, text).conditions
    assert climb.ground is None
    assert (run_up.height, run_up.attitude) == (1.1, 9.0)
    assert (taxi.height, taxi.attitude) == (0.9, 2.0)
    assert run_up.ground.normal @ run_up.stream == pytest.approx(0.0)
    assert taxi.ground.normal @ taxi.stream == pytest.approx(0.0, abs=1e-12)


LOST_POWER = changed('rated_power = "75 kW"\n', "", CASE)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (CASE + PROPELLER.replace('rpm = "2400 rpm"\n', ""), "turns with power, but at no speed"),
        (CASE + PROPELLER.replace('efficiency = "78 %"\n', ""), "propeller: efficiency is missing"),
        (LOST_POWER + PROPELLER, "give rated_power in [engine]"),
        (CASE + PROPELLER.replace('"1.8 m"', '"0 m"'), "propeller.diameter"),
        (CASE + PROPELLER.replace('"clockwise"', '"clokwise"'), "did you mean 'clockwise'"),
        (CASE + PROPELLER + 'tilt_down = "40 deg"\n', "propeller: tilt_down is 40.0 deg"),
        (CASE + PROPELLER + 'loading = [["20 %", 0.0]]\n', "at least two places"),
        (CASE + PROPELLER + "loading = [0.2, 0.5]\n", "is not a place of the loading"),
        (CASE + PROPELLER + 'spinner = "20 cm"\n', "propeller.spinner: not a known entry"),
        (CASE + WING.replace('"11 m2"', '"3 m2"'), "beyond stall (at most 1.6)"),
        (CASE + WING.replace('"600 kg"', '"0 kg"'), "wing.mass"),
        (CASE + '\n[ground]\nheight = "-200 mm"\n', "ground.height: '-200 mm' is too small"),
        (CASE + "\n[effects]\nslipstream = 1\n", "neither true nor false"),
        (CASE + '\n[usual_conditions]\ninclude = ["clim"]\n', "did you mean 'climb'"),
        (CASE + '\n[usual_conditions]\ninclude = "all"\n', 'write ["all"]'),
        (CASE + PROPELLER.replace('"78 %"', "78"), 'expected 0.01 to 1 (in percent: "78 %")'),
        (CASE + PROPELLER + 'slipstream_factor = "250 %"\n', "value is 2.5; expected 0 to 2"),
        (CASE + '\n[ground]\nattitude = "110 deg"\n', "ground.attitude: '110 deg' is too large"),
    ],
)
def test_mistakes_in_the_tables_are_named(tmp_path, text, words):
    rows = mistakes_of(tmp_path, text)
    assert any(words in row for row in rows), rows


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (LOST_POWER + PROPELLER, "give rated_power in [engine]"),
        (CASE + PROPELLER.replace("[propeller]", "[[propeller]]"), "write [propeller]"),
        (CASE + PROPELLER.replace('"78 %"', "78"), "propeller.efficiency"),
    ],
)
def test_one_slip_is_one_mistake(tmp_path, text, words):
    rows = mistakes_of(tmp_path, text)
    assert len(rows) == 1
    assert words in rows[0]


def test_power_needs_no_rated_power_without_slipstream(tmp_path):
    text = LOST_POWER + PROPELLER + "\n[effects]\nslipstream = false\n"
    assert case_of(tmp_path, text).surroundings.rated_power is None


def test_wind_from_behind_into_the_slipstream_cannot_decide(tmp_path):
    taxi = '\n[[condition]]\nname = "taxi"\nground_speed = "0 kt"\nwind_speed = "9 kt"\n'
    taxi += 'wind_from = "180 deg"\npower = "10 %"\nneeded_pressure = "20 Pa"\n'
    rows = mistakes_of(tmp_path, CASE + PROPELLER + taxi)
    assert len(rows) == 1
    assert "cannot be predicted: set decides = false" in rows[0]
    case_of(tmp_path, CASE + PROPELLER + taxi + "decides = false\n")


def test_static_run_up_may_decide_with_a_propeller(tmp_path):
    run_up = '\n[[condition]]\nname = "run-up"\nground_speed = "0 kt"\npower = "100 %"\n'
    assert "no air moves" in mistakes_of(tmp_path, CASE + run_up)[0]
    assert case_of(tmp_path, CASE + PROPELLER + run_up).conditions[-1].decides


def test_every_usual_condition_is_a_good_one(tmp_path):
    text = CASE + PROPELLER + WING + '\n[ground]\nheight = "1.2 m"\n'
    case = case_of(tmp_path, text + '\n[usual_conditions]\ninclude = ["all"]\n')
    names = [condition.name for condition in case.conditions]
    # climb is overridden where it stands, the others follow
    assert names[:3] == ["climb", "sideslip", "parked"]
    assert set(USUAL_CONDITIONS) <= set(names)
    assert len(names) == len(set(names)) == len(USUAL_CONDITIONS) + 1
    assert set(case.usual) == set(USUAL_CONDITIONS) - {"climb", "parked"}
    assert any(condition.speed == 0.0 for condition in case.conditions)
    bearings = {c.wind_from for c in case.conditions if c.wind_speed}
    assert bearings == {45.0, -45.0, 180.0}


def test_usual_conditions_are_overridden_key_by_key():
    own = {"name": "climb", "true_airspeed": "41 m/s", "temperature": "30 degC"}
    (climb,) = with_usual_conditions([own], ["climb"])
    assert climb["true_airspeed"] == "41 m/s"
    assert climb["alpha"] == USUAL_CONDITIONS["climb"]["alpha"]
    # one speed takes the place of another, one kind of air that of another
    assert "calibrated_airspeed" not in climb
    assert "day" not in climb


def test_airspeed_in_place_of_a_ground_speed_takes_the_wind_away():
    own = {"name": "taxi, tail wind", "true_airspeed": "5 m/s"}
    (taxi,) = with_usual_conditions([own], ["taxi, tail wind"])
    assert not {"ground_speed", "wind_speed", "wind_from"} & set(taxi)


def test_mistake_in_a_usual_condition_is_named_by_its_name(tmp_path):
    text = CASE + WING.replace('"11 m2"', '"6 m2"')
    rows = mistakes_of(tmp_path, text + '\n[usual_conditions]\ninclude = ["approach"]\n')
    assert any("condition approach: the wing would need" in row for row in rows), rows


def test_flows_belong_to_conditions(tmp_path):
    text = changed(
        'recovery = { value = "0.8"', 'flow = "0.4 m3/s"\nrecovery = { value = "0.8"', CASE
    )
    assert case_of(tmp_path, text).flows == {"nose": (-0.4, -0.4, -0.4)}
    table = '{ climb = "0.4 m3/s", sideslip = "300 L/s" }'
    text = text.replace('"0.4 m3/s"', table)
    assert case_of(tmp_path, text).flows["nose"] == pytest.approx((-0.4, -0.3, 0.0))
    rows = mistakes_of(tmp_path, text.replace("sideslip =", "sidslip ="))
    assert "'sidslip' is no condition; did you mean 'sideslip'" in rows[0]


def test_usual_conditions_lie_in_the_usual_ranges(tmp_path):
    # two-seat light aircraft of 60 to 120 kW: common practice, no source
    text = CASE + '\n[usual_conditions]\ninclude = ["all"]\n'
    for condition in case_of(tmp_path, text).conditions[3:]:
        knots = condition.speed / 0.514444
        assert knots <= 40.0 if condition.on_ground else 50.0 <= knots <= 190.0, condition.name
        assert -4.0 <= condition.alpha <= 9.0
        assert abs(condition.beta) <= 15.0
        assert 0.0 <= condition.power <= 1.0
