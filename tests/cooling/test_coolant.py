"""Coolant against other tables of it, and boiling points against known ones."""

import numpy as np
import pytest

from panelcp.atmosphere import standard_air
from panelcp.cooling.coolant import (
    CAP_PRESSURE,
    PROPERTY_BANDS,
    WATER_SHARE,
    boiling_temperature,
    boiling_under_cap,
    coolant_properties,
    vapour_pressure,
)
from panelcp.errors import NetworkError

CELSIUS = 273.15
FOOT, PSI = 0.3048, 6894.757
# CoolProp 8.0.0, MEG-50%: the table itself, at 20, 60, 80, 100 degC
AT = CELSIUS + np.array([20.0, 60.0, 80.0, 100.0])
OWN = {
    "density": [1064.9, 1040.5, 1026.4, 1011.5],
    "specific_heat": [3312.0, 3503.0, 3582.0, 3646.0],
    "viscosity": [3.693e-3, 1.375e-3, 0.968e-3, 0.690e-3],
    "conductivity": [0.3891, 0.4138, 0.4257, 0.4371],
}
# CoolProp 8.0.0, AEG-50%, another fit of the same mixture
OTHER = {
    "density": [1073.4, 1052.0, 1038.5, 1023.0],
    "specific_heat": [3281.0, 3435.0, 3512.0, 3590.0],
    "viscosity": [3.884e-3, 1.435e-3, 0.993e-3, 0.686e-3],
    "conductivity": [0.3803, 0.4042, 0.4115, 0.4156],
}
# density in a table of a trader in chemicals (read; second hand, so from memory)
TRADED_DENSITY = [1079.0, 1055.0, 1042.0, 1030.0]
# viscosity of half by volume in a copy of an engineering table (read; second hand, so from memory)
VISCOSITY_BY_VOLUME = {26.7: 2.8e-3, 48.9: 1.5e-3, 71.1: 0.95e-3, 93.3: 0.70e-3}


@pytest.mark.parametrize("name", OWN)
def test_properties_follow_their_table_and_another_within_the_band(name):
    found = getattr(coolant_properties(AT), name)
    assert found == pytest.approx(OWN[name], rel=1e-12)
    assert found == pytest.approx(OTHER[name], rel=PROPERTY_BANDS[name])
    between = getattr(coolant_properties(AT[:-1] + 10.0), name)
    assert np.all((between - found[:-1]) * (between - found[1:]) < 0.0)


def test_properties_against_tables_of_others():
    found = coolant_properties(AT).density
    assert found == pytest.approx(TRADED_DENSITY, rel=0.02)
    temperatures = CELSIUS + np.array(list(VISCOSITY_BY_VOLUME))
    found = coolant_properties(temperatures).viscosity
    assert found == pytest.approx(list(VISCOSITY_BY_VOLUME.values()), rel=0.30)


def test_specific_heat_is_0_82_to_0_85_of_that_of_water():
    # common practice; 4190 J/(kg K) for water, from memory
    share = coolant_properties(CELSIUS + np.array([60.0, 80.0])).specific_heat / 4190.0
    assert np.all((share > 0.815) & (share < 0.86))


def test_outside_the_table_is_said():
    found = coolant_properties(CELSIUS + np.array([4.4, 20.0, 100.0, 110.0]))
    assert found.outside.tolist() == [True, False, False, True]
    assert found.density[0] == OWN["density"][0]


# kPa at degC, steam tables (from memory, high confidence)
@pytest.mark.parametrize(
    ("celsius", "kilopascal"), [(20, 2.339), (80, 47.41), (100, 101.42), (120, 198.67)]
)
def test_vapour_pressure_of_water(celsius, kilopascal):
    assert vapour_pressure(CELSIUS + celsius) == pytest.approx(1e3 * kilopascal, rel=3e-4)


def test_boiling_inverts_the_vapour_pressure():
    pressure = np.geomspace(2e3, 1e6, 30)
    for share in (1.0, 0.757, 0.4):
        boiling = boiling_temperature(pressure, share)
        assert share * vapour_pressure(boiling) == pytest.approx(pressure, rel=1e-10)
        assert np.all(np.diff(boiling) > 0.0)


def test_water_under_a_cap_of_103_kilopascal_at_three_heights():
    # derived elsewhere (steam tables and standard pressure): 0, 5000, 10000 ft. Here 120.89, 118.16
    # and 115.63: 0.11 K lower at the most
    outside = np.array([standard_air(h * FOOT).pressure for h in (0.0, 5e3, 1e4)])
    boiling = boiling_under_cap(103e3, outside, water_share=1.0) - CELSIUS
    assert boiling == pytest.approx([121.0, 118.2, 115.7], abs=0.12)


def test_half_and_half_boils_at_108_degrees_without_a_cap():
    # 108 degC, 226 degF: a trade page (read)
    assert boiling_under_cap(0.0, 101325.0) - CELSIUS == pytest.approx(108.0, abs=0.1)
    low, high = boiling_temperature(101325.0, np.array([WATER_SHARE.high, WATER_SHARE.low]))
    assert low - CELSIUS > 106.8
    assert high - CELSIUS < 109.1


def test_water_share_follows_from_the_masses():
    water, glycol = 18.015, 62.068  # g/mol
    by_mass = (0.5 / water) / (0.5 / water + 0.5 / glycol)
    by_volume = (998.0 / water) / (998.0 / water + 1113.0 / glycol)
    assert by_mass == pytest.approx(0.775, abs=0.001)
    assert by_volume == pytest.approx(0.756, abs=0.001)
    assert WATER_SHARE.low < by_volume < by_mass < WATER_SHARE.high


def test_a_cap_lifts_boiling_by_about_1_6_kelvin_per_psi():
    # a trade rule (read): right between 5 and 8 psi, 10 % too much at 15 psi, as the curve bends
    gain = boiling_under_cap(PSI * np.array([1.0, 7.0, 15.0]), 101325.0) - boiling_temperature(
        101325.0
    )
    per_psi = gain / [1.0, 7.0, 15.0]
    assert np.all(np.diff(per_psi) < 0.0)
    assert per_psi[1] == pytest.approx(1.6, abs=0.1)
    assert per_psi[2] == pytest.approx(1.6, rel=0.12)


def test_usual_caps_hold_half_and_half_beyond_the_usual_limit():
    boiling = boiling_under_cap([CAP_PRESSURE.low, CAP_PRESSURE.high], 101325.0) - CELSIUS
    assert np.all((boiling > 125.0) & (boiling < 135.0))


def test_wrong_numbers_are_refused():
    with pytest.raises(NetworkError, match="expected pascal"):
        boiling_temperature(1.0)
    with pytest.raises(NetworkError, match="mole fraction"):
        boiling_temperature(1e5, 0.0)
    with pytest.raises(NetworkError, match="gauge pressure"):
        boiling_under_cap(-1.0, 1e5)
    with pytest.raises(NetworkError, match="kelvin"):
        vapour_pressure(80.0)
    with pytest.raises(NetworkError, match="kelvin"):
        coolant_properties(-5.0)
