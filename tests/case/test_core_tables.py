"""Cores of a case: air side, heat side, loads in every condition."""

import numpy as np
import pytest

from panelcp.atmosphere import hot_day_air, standard_air
from panelcp.case.core_surfaces import CoreSurface, air_of_test, read_surface
from panelcp.cooling.conductance import AIR_RESISTANCE_SHARE
from panelcp.cooling.coolant import boiling_under_cap, coolant_properties
from panelcp.cooling.core_laws import core_drop
from panelcp.cooling.exchangers import effectiveness
from panelcp.cooling.loads import (
    AIR_SPECIFIC_HEAT,
    CHARGE_SHARE,
    COOLANT_SHARE,
    OIL_LEAST,
    OIL_LIMIT,
    OIL_SHARE,
    compressor_outlet_temperature,
)
from panelcp.cooling.surfaces import FIN_GEOMETRIES, SurfaceTable
from panelcp.errors import QuantityError
from panelcp.quantity import UncertainValue
from tests.case.cooling_case import (
    BODY,
    CORE,
    DUCT,
    OIL,
    WHOLE,
    installation,
    line_in,
    mistakes,
    only_mistake,
)
from tests.cases import changed

DROP = 'drop_test = [["4 m/s", "150 Pa"], ["6 m/s", "270 Pa"], ["8 m/s", "430 Pa"]]'
HEAT = 'conductance = { value = "900 W/K", air_flow = "1.0 kg/s" }'
FLOW = 'flow = "1.5 kg/s"'
CHARGE = """
[[core]]
name = "intercooler"
cools = "charge air"
from = "nose"
face_area = "300 cm2"
drop_law = { a = 20.0, b = 5.0 }
effectiveness = { value = 0.6, air_flow = "0.3 kg/s" }
flow = "0.08 kg/s"
"""


def core(folder, old="", new="", text=WHOLE, body=BODY):
    tables = changed(old, new, text) if old else text
    return installation(folder, tables, body).cores[0]


def test_drop_test_is_fitted_in_the_air_of_the_bench(tmp_path):
    found = core(tmp_path)
    law, bench = found.drop, standard_air(0.0, temperature=293.15)
    assert law.density == pytest.approx(bench.density)
    assert law.viscosity == pytest.approx(bench.viscosity)
    assert float(law.pressure_drop(6.0 * law.density, law.density)) == pytest.approx(
        270.0, rel=0.02
    )
    assert (law.slowest, law.fastest) == (4.0, 8.0)
    assert (found.drop_scatter.low, found.drop_scatter.high) == pytest.approx((0.95, 1.05))
    hot = core(tmp_path, DROP, DROP + '\ntest_temperature = "35 degC"\ntest_pressure = "950 hPa"')
    assert hot.drop.density == pytest.approx(95e3 / (287.05287 * 308.15))


def test_scattered_readings_widen_the_band(tmp_path):
    rough = DROP.replace("270", "330")
    found = core(tmp_path, DROP, rough)
    assert found.drop_scatter.high == pytest.approx(1.0 + found.drop.deviation)
    assert found.drop.deviation > 0.1
    two = core(tmp_path, DROP, 'drop_test = [["4 m/s", "150 Pa"], ["8 m/s", "430 Pa"]]')
    assert two.drop_scatter.high == pytest.approx(1.1)


def test_law_and_reading(tmp_path):
    law = core(tmp_path, DROP, "drop_law = { a = 10.0, b = 4.0 }").drop
    assert (law.linear, law.square) == (10.0, 4.0)
    found = core(tmp_path, DROP, 'drop_reading = ["8 m/s", "400 Pa"]\ndrop_scatter = 1.0')
    at = found.drop.pressure_drop(8.0 * found.drop.density, found.drop.density)
    assert float(at) == pytest.approx(400.0)
    assert found.drop.mark == "common practice"
    assert not found.drop_scatter.has_band


def test_face_from_sizes_or_area(tmp_path):
    assert core(tmp_path).face_area == pytest.approx(0.12)
    sizes = 'width = "400 mm"\nheight = "300 mm"'
    assert core(tmp_path, sizes, 'face_area = "1000 cm2"').face_area == pytest.approx(0.1)


def test_conductance_as_given(tmp_path):
    law = core(tmp_path).conductance
    assert (law.conductance, law.air_flow, law.other_flow) == (900.0, 1.0, 1.5)
    other = 'conductance = { value = "900 W/K", air_flow = "0.9 m3/s", other_flow = "1.2 kg/s" }'
    law = core(tmp_path, HEAT, other).conductance
    assert law.air_flow == pytest.approx(0.9 * air_of_test(293.15, 101325.0).density)
    assert law.other_flow == 1.2


def test_conductance_from_effectiveness_gives_it_back(tmp_path):
    law = core(
        tmp_path, HEAT, 'effectiveness = { value = 0.62, air_flow = "1.0 kg/s" }'
    ).conductance
    air, other = AIR_SPECIFIC_HEAT, 1.5 * float(coolant_properties(353.15).specific_heat)
    assert float(effectiveness(law.conductance / air, air / other)) == pytest.approx(0.62)


def test_conductance_from_a_test_passes_its_heat(tmp_path):
    test = (
        'heat_test = { heat = "20 kW", air_flow = "0.8 kg/s", hot_inlet = "90 degC", '
        'air_inlet = "20 degC" }'
    )
    found = core(tmp_path, HEAT, test)
    law = found.conductance
    air, other = 0.8 * AIR_SPECIFIC_HEAT, 1.5 * found.other_specific_heat
    reached = float(effectiveness(law.conductance / air, air / other))
    assert reached * air * 70.0 == pytest.approx(20e3)
    assert found.conductance_scatter.high == pytest.approx(1.15)


def test_heat_follows_power_with_a_floor_at_idle(tmp_path):
    # climb 100 %, sideslip 50 %, idle 5 % (the floor of 11 % counts), parked 0
    found = core(tmp_path)
    share = COOLANT_SHARE.value * 75e3
    np.testing.assert_allclose(found.heat, share * np.array([1.0, 0.5, 0.11, 0.0]))
    assert (found.heat_scatter.low, found.heat_scatter.high) == pytest.approx((5 / 6, 7 / 6))
    own = core(tmp_path, FLOW, FLOW + "\nheat_share = { value = 0.5, low = 0.4, high = 0.6 }")
    assert own.heat[0] == pytest.approx(37.5e3)
    assert (own.heat_scatter.low, own.heat_scatter.high) == pytest.approx((0.8, 1.2))


def test_heat_at_rated_power_and_by_condition(tmp_path):
    rated = core(tmp_path, FLOW, FLOW + '\nheat = "40 kW"\nidle_share = 0.2')
    np.testing.assert_allclose(rated.heat, [40e3, 20e3, 8e3, 0.0])
    assert not rated.heat_scatter.has_band
    band = '{ value = "30 kW", low = "27 kW", high = "36 kW" }'
    named = core(tmp_path, FLOW, FLOW + f'\nheat = {{ climb = "41 kW", sideslip = {band} }}')
    np.testing.assert_allclose(named.heat, [41e3, 30e3, 0.6 * 0.11 * 75e3, 0.0])
    scatter = core(tmp_path, FLOW, FLOW + '\nheat = "40 kW"\nheat_scatter = 1.0')
    assert scatter.heat_scatter == UncertainValue(1.0)


def test_a_condition_without_power_needs_its_heat(tmp_path):
    body = changed('power = "50 %"\n', "", BODY)
    said = only_mistake(tmp_path, WHOLE, body)
    assert said.startswith(f"line {line_in('[[core]]', WHOLE, body)}: core[1].heat: ")
    assert (
        'which sideslip lack: give power there, or heat by condition: heat = { "sideslip"' in said
    )
    given = changed(FLOW, FLOW + '\nheat = { sideslip = "12 kW" }', WHOLE)
    found = installation(tmp_path, given, body)
    assert found.cores[0].heat[1] == 12e3
    assert found.cores[0].other_flow[1] == 1.5
    assert any("constant in sideslip" in note for note in found.notes)


def test_a_share_needs_the_rated_power(tmp_path):
    body = changed('rated_power = "75 kW"\n', "", BODY)
    assert "give rated_power in [engine], or heat" in only_mistake(tmp_path, WHOLE, body)
    found = core(tmp_path, FLOW, FLOW + '\nheat = "40 kW"', body=body)
    assert found.heat[0] == 40e3


def test_flow_follows_speed(tmp_path):
    found = core(tmp_path, FLOW, 'flow = "90 l/min"')
    rated = 1.5e-3 * float(coolant_properties(353.15).density)
    np.testing.assert_allclose(
        found.other_flow, rated * np.array([1.0, 0.5 ** (1 / 3), 0.05 ** (1 / 3), 0.0])
    )
    propeller = """
[propeller]
diameter = "1.8 m"
centre = ["-2.2 m", "0 m", "0 m"]
rotation = "clockwise"
efficiency = 0.8
rpm = "2400 rpm"
"""
    body = changed('power = "50 %"', 'power = "50 %"\nrpm = "2000 rpm"', BODY)
    found = installation(tmp_path, WHOLE + propeller, body)
    assert found.cores[0].other_flow[1] == pytest.approx(1.5 * 2000 / 2400)
    assert found.cores[0].other_flow[2] == pytest.approx(1.5 * 0.05 ** (1 / 3))
    by_name = core(tmp_path, FLOW, 'flow = { climb = "1.4 kg/s", sideslip = "1.0 kg/s" }')
    np.testing.assert_allclose(by_name.other_flow, [1.4, 1.0, 1.4 * 0.05 ** (1 / 3), 0.0])


def test_oil_has_its_usual_numbers(tmp_path):
    tables = OIL + 'from = "nose"\n'
    found = installation(tmp_path, tables).cores[0]
    assert found.other_flow[0] == pytest.approx(860.0 * 20e-3 / 60.0)
    assert found.other_specific_heat == 2050.0
    assert found.heat[0] == pytest.approx(OIL_SHARE.value * 75e3)
    assert (found.limit, found.least) == (OIL_LIMIT, OIL_LEAST.value)
    own = 'density = "850 kg/m3"\nspecific_heat = "2.1 kJ/(kg K)"\nleast = "60 degC"\n'
    found = installation(tmp_path, tables + own).cores[0]
    assert found.other_flow[0] == pytest.approx(850.0 * 20e-3 / 60.0)
    assert (found.other_specific_heat, found.least) == (2100.0, pytest.approx(333.15))


def test_charge_air_by_share_or_by_its_compressor(tmp_path):
    found = installation(tmp_path, CHARGE).cores[0]
    np.testing.assert_allclose(found.heat, CHARGE_SHARE.value * 75e3 * np.array([1, 0.5, 0.05, 0]))
    np.testing.assert_allclose(found.other_flow, 0.08 * np.array([1.0, 0.5, 0.05, 0.0]))
    assert (found.limit, found.hot_inlet) == (None, None)
    pressed = installation(tmp_path, CHARGE + "pressure_ratio = 1.5\n").cores[0]
    outside = np.array([hot_day_air(0.0).temperature, 288.15, 288.15, 288.15])
    hot = compressor_outlet_temperature(outside[:3], 1.5)
    np.testing.assert_allclose(pressed.hot_inlet, [*hot, 288.15])
    assert pressed.heat is None
    named = CHARGE + "pressure_ratio = { climb = 1.6 }\ncompressor_efficiency = 0.7\n"
    named = installation(tmp_path, named).cores[0]
    np.testing.assert_allclose(
        named.hot_inlet, [float(compressor_outlet_temperature(outside[0], 1.6, 0.7)), *outside[1:]]
    )


def test_cores_of_one_role_share_its_heat_by_face_area(tmp_path):
    second = changed('"radiator"', '"left radiator"', CORE)
    second = changed('width = "400 mm"', 'width = "200 mm"', second) + 'from = "nose"\n'
    found = installation(tmp_path, WHOLE + second)
    assert [c.heat[0] for c in found.cores] == pytest.approx([30e3, 15e3])
    assert any("core left radiator: 33.3 % of the heat" in note for note in found.notes)
    said = only_mistake(tmp_path, WHOLE + second + 'heat = "15 kW"\n')
    assert "2 cores cool coolant, of which some have heat of their own" in said


def test_limits_and_boiling(tmp_path):
    found = core(tmp_path, FLOW, FLOW + '\ncap_pressure = "1 bar"')
    assert found.limit.value == pytest.approx(388.15)  # limit_temperature of [engine]
    outside = [hot_day_air(0.0).pressure] * 4
    np.testing.assert_allclose(found.boiling, boiling_under_cap(1e5, np.array(outside)))
    limit = '\nlimit = { value = "118 degC", low = "115 degC", high = "120 degC" }'
    assert core(tmp_path, FLOW, FLOW + limit).limit.value == pytest.approx(391.15)
    assert core(tmp_path).boiling is None
    assert any("no cap_pressure" in note for note in installation(tmp_path).notes)


def test_thermostat(tmp_path):
    given = '\nthermostat = { opens_at = "80 degC", full_at = "94 degC", least_share = 0.02 }'
    found = core(tmp_path, FLOW, FLOW + given).thermostat
    assert (found.opens_at, found.full_at, found.least_share) == pytest.approx(
        (353.15, 367.15, 0.02)
    )
    usual = core(tmp_path, FLOW, FLOW + "\nthermostat = true").thermostat
    assert usual.full_at - usual.opens_at == pytest.approx(12.0)
    places = [p for p, _ in installation(tmp_path, WHOLE + "").marks]
    assert not any("thermostat" in place for place in places)
    wrong = changed(
        FLOW, FLOW + '\nthermostat = { opens_at = "90 degC", full_at = "85 degC" }', WHOLE
    )
    assert "full_at is not above opens_at" in only_mistake(tmp_path, wrong)


SURFACE = (
    'surface = { fins = "louvred 3/8-6.06", free_share = 0.7, reynolds = [500, 1000, 2000, 5000], '
    "friction = [0.09, 0.07, 0.055, 0.04], colburn = [0.018, 0.014, 0.011, 0.008] }\n"
    'depth = "60 mm"'
)


def test_a_surface_gives_drop_and_conductance(tmp_path):
    tables = changed(HEAT, "", changed(DROP, SURFACE, WHOLE))
    found = installation(tmp_path, tables).cores[0]
    air, fins = air_of_test(293.15, 101325.0), FIN_GEOMETRIES["louvred 3/8-6.06"]
    table = SurfaceTable(
        "t", [500, 1000, 2000, 5000], [0.09, 0.07, 0.055, 0.04], [0.018, 0.014, 0.011, 0.008]
    )
    flux = air.density * 6.0 / 0.7
    reynolds = flux * fins.hydraulic_diameter / air.viscosity
    drop = core_drop(
        flux, air.density, air.density, 0.7, 0.4, 0.2,
        table.friction_at(reynolds), 4.0 * 0.06 / fins.hydraulic_diameter,
    )  # fmt: skip
    law = found.drop
    # the fitted law lies within its own scatter of the surface's drop
    assert float(law.pressure_drop(6.0 * air.density, air.density)) == pytest.approx(
        float(drop), rel=3.0 * law.deviation
    )
    assert (found.drop_scatter.low, found.drop_scatter.high) == pytest.approx((0.9, 1.24))
    assert found.conductance.conductance > 0.0


def test_conductance_of_a_bare_surface_by_hand():
    surface = CoreSurface(
        SurfaceTable("t", [500, 5000], [0.1, 0.05], [0.02, 0.01]), 4e-3, UncertainValue(0.5)
    )
    air = air_of_test(293.15, 101325.0)
    law = surface.conductance_law(0.05, 0.1, 1.5, air)
    speeds = surface.speeds(air)
    middle = np.sqrt(speeds[0] * speeds[-1])
    flux = air.density * middle / 0.5
    colburn = surface.table.colburn_at(flux * 4e-3 / air.viscosity)
    coefficient = colburn * flux * AIR_SPECIFIC_HEAT * 0.705 ** (-2 / 3)
    area = 4.0 * 0.5 * 0.1 * 0.05 / 4e-3
    assert law.conductance == pytest.approx(float(coefficient * area) * AIR_RESISTANCE_SHARE.value)
    assert law.air_flow == pytest.approx(air.density * middle * 0.1)
    # h goes with G j, j with Re^-0.301
    assert law.air_exponent == pytest.approx(1.0 + np.log(0.5) / np.log(10.0), rel=1e-6)


def test_tube_banks_by_name_and_measured_drop_with_surface_heat(tmp_path):
    bank = (
        'surface = { table = "staggered 1.50-1.25", hydraulic_diameter = "9 mm" }\ndepth = "60 mm"'
    )
    found = installation(tmp_path, changed(HEAT, bank, WHOLE)).cores[0]
    assert found.drop.mark == "yours"
    assert found.conductance.conductance > 0.0


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        ({"table": "staggered 1.50-1.25"}, "hydraulic_diameter is missing"),
        ({"reynolds": [500, 900], "hydraulic_diameter": "3 mm"}, "give either reynolds, friction"),
        (
            {"table": "staggered 1.50-1.25", "hydraulic_diameter": "3 mm", "fin_share": 0.8},
            "plate_spacing and fin_thickness missing",
        ),
        ({"table": "staggered"}, "did you mean 'staggered 1.50-1.25'?"),
        ({"fins": "plain 11.2"}, "did you mean 'plain 11.1'?"),
        ("fins", "is not a table in braces"),
    ],
)
def test_surfaces_that_cannot_be(raw, text):
    with pytest.raises(QuantityError) as error:
        read_surface(raw)
    assert text in str(error.value)


@pytest.mark.parametrize(
    ("old", "new", "where", "text"),
    [
        (DROP + "\n", "", "[[core]]", "no pressure drop: without a curve or law"),
        (HEAT + "\n", "", "[[core]]", "nothing says how much heat it passes"),
        ('"400 mm"', '"0 mm"', "width", "expected more than 0"),
        ('width = "400 mm"\n', "", "[[core]]", "give its face once"),
        ('"400 mm"', '"400 mm"\nface_area = "1 m2"', "[[core]]", "give its face once"),
        ('"270 Pa"', '"130 Pa"', "drop_test", "the drop of a core rises with velocity"),
        ('"6 m/s", "270 Pa"', '"270 Pa"', "drop_test", "is not a list of pairs"),
        ('"270 Pa"', '"0 Pa"', "drop_test", "expected more than 0"),
        (DROP, DROP + "\ndrop_law = { a = 1, b = 2 }", "drop_law", "give one of drop_test"),
        (DROP, "drop_law = { a = 0, b = 0 }", "drop_law", "one of them above 0"),
        (DROP, "drop_law = { a = 1 }", "drop_law", "b is missing"),
        (DROP, 'drop_reading = ["400 Pa", "8 m/s"]', "drop_reading", "'Pa' is a unit of pressure"),
        (
            HEAT,
            HEAT + '\neffectiveness = { value = 0.6, air_flow = "1 kg/s" }',
            "effectiveness",
            "give one of conductance, effectiveness",
        ),
        (HEAT, 'effectiveness = { value = 1.0, air_flow = "1 kg/s" }', "effectiveness", "below 1"),
        (
            HEAT,
            'heat_test = { heat = "90 kW", air_flow = "0.8 kg/s", hot_inlet = "90 degC", '
            'air_inlet = "20 degC" }',
            "heat_test",
            "expected 0 or more and below 1",
        ),
        (
            HEAT,
            'heat_test = { heat = "9 kW", air_flow = "0.8 kg/s", hot_inlet = "20 degC", '
            'air_inlet = "90 degC" }',
            "heat_test",
            "hot_inlet is not above air_inlet",
        ),
        (FLOW + "\n", "", "[[core]]", "flow is missing"),
        (FLOW, 'flow = "90 l"', 'flow = "90 l"', "is no flow; write a volume flow"),
        (FLOW, 'flow = { clim = "1 kg/s" }', "flow = { clim", "'clim' is no condition; did"),
        (FLOW, FLOW + '\nheat = { clim = "1 kW" }', "heat =", "did you mean 'climb'"),
        (FLOW, FLOW + "\npressure_ratio = 1.4", "pressure_ratio", "only for a core"),
        ('cools = "coolant"', 'cools = "water"', "cools", "one of coolant, oil, charge"),
        ('cools = "coolant"', 'cools = "oil"\nthermostat = true', "thermostat", "only for a core"),
        ('cools = "coolant"', 'cools = "oil"\ncap_pressure = "1 bar"', "cap_pressure", "only for"),
        (FLOW, FLOW + '\nthermostat = "hot"', "thermostat", "write true, or { opens_at"),
        (FLOW, FLOW + '\narrangement = "crossflow"', "arrangement", "did you mean 'cross-flow'?"),
        (DROP, SURFACE.split("\n")[0], "[[core]]", "a surface needs the core's depth"),
        (
            DROP,
            SURFACE.replace("[500, 1000, 2000, 5000]", "[5000, 10000, 20000, 50000]"),
            "surface",
            "face speeds of 2 to 12 m/s need",
        ),
    ],
)  # fmt: skip
def test_cores_that_cannot_be(tmp_path, old, new, where, text):
    tables = changed(old, new, WHOLE)
    said = only_mistake(tmp_path, tables)
    assert text in said
    assert said.startswith(f"line {line_in(where, tables)}: core[1]")


def test_charge_air_needs_a_mass_flow(tmp_path):
    said = only_mistake(tmp_path, changed('"0.08 kg/s"', '"4 m3/min"', CHARGE))
    assert "of charge air give a mass flow" in said
    found = installation(
        tmp_path, changed('"0.08 kg/s"', '"4 m3/min"\ndensity = "1.3 kg/m3"', CHARGE)
    )
    assert found.cores[0].other_flow[0] == pytest.approx(4.0 / 60.0 * 1.3)
    said = mistakes(tmp_path, CHARGE + 'pressure_ratio = 1.4\nheat = "3 kW"\n')
    assert "one follows from the other" in said


def test_two_cores_of_one_name(tmp_path):
    assert "'radiator' is already the name of number 1" in mistakes(tmp_path, CORE + CORE + DUCT)
