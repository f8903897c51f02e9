"""Exact factors are those of NIST Special Publication 811 (Thompson and Taylor, 2008)."""

import ast
import math
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelcp import units
from panelcp.errors import PanelcpError, QuantityError
from panelcp.units import UNIT_SETS, UNITS, format_quantity, parse_quantity, si_unit

UNITS_OF_KINDS = [(kind, unit) for kind, units in UNITS.items() for unit in units]

READABLE = [
    ("350 mm", "length", 0.35),
    ("12 in", "length", 0.3048),
    ('12"', "length", 0.3048),
    ("12″", "length", 0.3048),
    ("12 in.", "length", 0.3048),
    ("12 inches", "length", 0.3048),
    ("5'6\"", "length", 1.6764),
    ("5' 6\"", "length", 1.6764),
    ("5'-6\"", "length", 1.6764),
    ("5′ 6″", "length", 1.6764),
    ("5 ft 6 in", "length", 1.6764),
    ("5 feet 6 1/2 inches", "length", 66.5 * 0.0254),
    ("-5'6\"", "length", -1.6764),
    ("6''", "length", 0.1524),
    ("1/2 in", "length", 0.0127),
    ("1 1/2 in", "length", 0.0381),
    ("1½ in", "length", 0.0381),
    ("½″", "length", 0.0127),
    ("1 1/2in", "length", 0.0381),
    ("1,5 in", "length", 0.0381),
    ("0,0254 m", "length", 0.0254),
    ("−35 cm", "length", -0.35),
    ("+ 35 CM", "length", 0.35),
    ("5. mm", "length", 0.005),
    (".5 mm", "length", 0.0005),
    ("1.5e3 mm", "length", 1.5),
    ("50 MM", "length", 0.05),
    ("3 metres", "length", 3.0),
    ("4 sq in", "area", 4 * 0.0254**2),
    ("4 sq. in.", "area", 4 * 0.0254**2),
    ("4 square inches", "area", 4 * 0.0254**2),
    ("4 in^2", "area", 4 * 0.0254**2),
    ("4 in**2", "area", 4 * 0.0254**2),
    ("4 in²", "area", 4 * 0.0254**2),
    ("250 cm²", "area", 0.025),
    ("2 l", "volume", 0.002),
    ("1 US gallon", "volume", 3.785411784e-3),
    ("1 imp gal", "volume", 4.54609e-3),
    ("5 cu ft", "volume", 5 * 0.3048**3),
    ("90 kt", "speed", 46.3),
    ("90 KTS", "speed", 46.3),
    ("90 knots", "speed", 46.3),
    ("90 kn", "speed", 46.3),
    ("36 km/h", "speed", 10.0),
    ("36 kph", "speed", 10.0),
    ("60 mph", "speed", 26.8224),
    ("500 ft / min", "speed", 2.54),
    ("500 feet per minute", "speed", 2.54),
    ("10 m/s", "speed", 10.0),
    ("10 M/S", "speed", 10.0),
    ("2 inH2O", "pressure", 498.17782),
    ("2 inh2o", "pressure", 498.17782),
    ("2 in h2o", "pressure", 498.17782),
    ("2 in. H₂O", "pressure", 498.17782),
    ("2 inches of water", "pressure", 498.17782),
    ('2" H2O', "pressure", 498.17782),
    ("10 mmH2O", "pressure", 98.0665),
    ("1013.25 hPa", "pressure", 101325.0),
    ("1013.25 mbar", "pressure", 101325.0),
    ("1013.25 MBAR", "pressure", 101325.0),
    ("1.2 bar", "pressure", 120000.0),
    ("3 KPA", "pressure", 3000.0),
    ("12 deg", "angle", 12.0),
    ("−3°", "angle", -3.0),
    ("2 degrees", "angle", 2.0),
    ("15 degC", "temperature", 288.15),
    ("15 °C", "temperature", 288.15),
    ("15 ℃", "temperature", 288.15),
    ("15 C", "temperature", 288.15),
    ("15 degrees Celsius", "temperature", 288.15),
    ("-4,5 degC", "temperature", 268.65),
    ("-40 F", "temperature", 233.15),
    ("-40 degC", "temperature", 233.15),
    ("32 °F", "temperature", 273.15),
    ("-69.7 degF", "temperature", 216.65),
    ("310 K", "temperature", 310.0),
    ("+20 K", "temperature difference", 20.0),
    ("36 degF", "temperature difference", 20.0),
    ("-18 F", "temperature_difference", -10.0),
    ("20 degC", "temperature difference", 20.0),
    ("75 kW", "power", 75000.0),
    ("75 KW", "power", 75000.0),
    ("75 HP", "power", 75 * 745.69987158227022),
    ("100 PS", "power", 73549.875),
    ("75 lbs", "mass", 75 * 0.45359237),
    ("3 lb", "mass", 1.36077711),
    ("500 g/s", "mass flow", 0.5),
    ("60 lbs/min", "mass_flow", 0.45359237),
    ("3.6 m³/h", "volume flow", 0.001),
    ("3 litres/min", "volume flow", 0.00005),
    ("100 cfm", "volume flow", 100 * 0.3048**3 / 60),
    ("8 min", "time", 480.0),
    ("8 min 30 s", "time", 510.0),
    ("1 h 30 min 10 s", "time", 5410.0),
    ("2 hours", "time", 7200.0),
    ("1.225 kg/m^3", "density", 1.225),
    ("30 rpm", "rotational speed", math.pi),
    ("30 1/min", "rotational speed", math.pi),
    ("30 min⁻¹", "rotational speed", math.pi),
    ("2 RPM", "rotational speed", math.tau / 30),
    ("3 rad/s", "rotational speed", 3.0),
    ("10 lbf", "force", 44.4822161526050),
    ("2 kN", "force", 2000.0),
    ("2 KN", "force", 2000.0),
    ("4 MJ", "energy", 4e6),
    ("1 kWh", "energy", 3.6e6),
    ("0.6", "fraction", 0.6),
    ("0,6", "fraction", 0.6),
    ("60 %", "fraction", 0.6),
    ("60%", "fraction", 0.6),
    ("60 percent", "fraction", 0.6),
    (0.6, "fraction", 0.6),
    (1, "number", 1.0),
    ("1/3", "number", 1 / 3),
]


@pytest.mark.parametrize(("text", "kind", "value"), READABLE)
def test_texts_are_read_as_si(text, kind, value):
    # One rounding of the exact value at most separates the reader from the product above.
    assert parse_quantity(text, kind) == pytest.approx(value, rel=4e-16, abs=0.0)


@pytest.mark.parametrize(
    ("kind", "unit", "factor"),
    [
        ("length", "in", 0.0254),
        ("length", "ft", 0.3048),
        ("speed", "kt", 1852 / 3600),
        ("speed", "mph", 0.44704),
        ("mass", "lb", 0.45359237),
        ("force", "lbf", 4.4482216152605),
        ("pressure", "inH2O", 249.08891),
        ("pressure", "mmH2O", 9.80665),
        ("power", "PS", 735.49875),
        ("volume", "US gal", 3.785411784e-3),
        ("angle", "rad", 180 / math.pi),
    ],
)
def test_definitions_that_are_exact(kind, unit, factor):
    assert UNITS[kind][unit] == factor


@pytest.mark.parametrize(
    ("kind", "unit", "printed", "half_digit"),
    [
        ("pressure", "psi", 6894.757, 5e-4),
        ("pressure", "inHg", 3386.389, 5e-4),
        ("pressure", "mmHg", 133.3224, 5e-5),
        ("power", "hp", 745.6999, 5e-5),
        ("density", "lb/ft3", 16.01846, 5e-6),
        ("volume flow", "ft3/min", 4.719474e-4, 5e-11),
        ("energy", "BTU", 1055.056, 5e-4),
    ],
)
def test_factors_agree_with_the_printed_digits(kind, unit, printed, half_digit):
    """NIST SP 811, appendix B.8, seven printed digits."""
    assert abs(UNITS[kind][unit] - printed) <= half_digit


REFUSED = [
    ("350", "length", "put a unit behind it; units allowed: m, mm, cm, km, in, ft"),
    (350, "length", "put a unit behind it, in quotes"),
    ("0", "pressure", "put a unit behind it"),
    ("5'6", "length", "put a unit behind it"),
    ("3 furlong", "length", "the unit 'furlong' is not known here"),
    ("75 kW", "length", "'kW' is a unit of power"),
    ("3 lb", "force", "'lb' is a unit of mass"),
    ("1,500 m", "length", r"is the comma a decimal mark\? Write 1.500 or 1500"),
    ("0,125 in", "length", "is the comma a decimal mark"),
    ("1,500.5 m", "length", "is the comma a decimal mark"),
    ("1.500,5 m", "length", "second decimal mark"),
    ("1,23,4 m", "length", "second decimal mark"),
    ("1.2.3 m", "length", "second decimal mark"),
    ("1 500 m", "length", "without spaces or thousands marks"),
    ("90 KTAS", "speed", "write only the unit, such as kt"),
    ("90 KIAS", "speed", "true or calibrated"),
    ("90 kt CAS", "speed", "true or calibrated"),
    ("75 MW", "power", "'MW' is not known here"),
    ("75 mW", "power", "'mW' is not known here"),
    ("4 mJ", "energy", "'mJ' may be milli or mega"),
    ("4 mj", "energy", "milli or mega"),
    ("4 Mbar", "pressure", "milli or mega"),
    ("4 Mm", "length", "milli or mega"),
    ("4 MPa", "pressure", "not known here"),
    ("5 ms", "length", "not known here"),
    ("5 gal", "volume", "which gallon"),
    ("5 gph", "volume flow", "which gallon"),
    ("5 gal/min", "volume flow", "which gallon"),
    ("20 deg", "temperature", "'deg' is a unit of angle"),
    ("-300 degC", "temperature", "below absolute zero"),
    ("-1 K", "temperature", "below absolute zero"),
    ("nan m", "length", "does not begin with a number"),
    ("inf", "fraction", "does not begin with a number"),
    (math.nan, "fraction", "not a finite number"),
    (math.inf, "fraction", "not a finite number"),
    (10**400, "number", "not a finite number"),
    ("1e308 km", "length", "not a finite number"),
    ("1e9999 m", "length", "not known here"),
    ("1/0 in", "length", "divides by zero"),
    ("1 3/2 in", "length", "not below 1"),
    ("1/2/3 in", "length", "not known here"),
    ("21/min", "rotational speed", "not known here"),
    ("5'14\"", "length", "less than one ft"),
    ("5.5'6\"", "length", "whole ft"),
    ("1 h 30 s", "time", "less than one h in min"),
    ("10² m", "length", "'² m' is not known here"),
    ("12 m\n3", "length", "m 3"),
    ("", "length", "it is empty"),
    ("  ", "fraction", "it is empty"),
    ("m", "length", "does not begin with a number"),
    ("+-5 m", "length", "does not begin with a number"),
    ("2-4 m", "length", "not known here"),
    ("9" * 5000 + " m", "length", "longer than 100 characters"),
    (True, "fraction", "got bool"),
    (None, "fraction", "got NoneType"),
    ([1.0], "fraction", "got list"),
    ("60 %", "number", "'%' is a unit of fraction"),
]


@pytest.mark.parametrize(("text", "kind", "reason"), REFUSED)
def test_refusals_say_why_in_one_line(text, kind, reason):
    with pytest.raises(QuantityError, match=reason) as caught:
        parse_quantity(text, kind)
    message = str(caught.value)
    assert "\n" not in message
    assert kind in message
    assert message.startswith("cannot read ")
    assert "units allowed: " in message
    assert len(message) < 400


@given(text=st.text(max_size=30), kind=st.sampled_from(list(UNITS)))
def test_any_text_is_read_as_a_finite_number_or_refused(text, kind):
    try:
        value = parse_quantity(text, kind)
    except QuantityError:
        return
    assert math.isfinite(value)


@given(
    digits=st.text("0123456789.,/ e-'\"", min_size=1, max_size=12),
    unit=st.sampled_from(["in", "ft", "'", '"', "m", "mm", ""]),
)
def test_number_like_texts_are_read_or_refused(digits, unit):
    try:
        value = parse_quantity(digits + unit, "length")
    except PanelcpError:
        return
    assert math.isfinite(value)


@given(
    chosen=st.sampled_from(UNITS_OF_KINDS),
    number=st.floats(-1e12, 1e12).filter(lambda x: x == 0 or abs(x) > 1e-12),
)
def test_format_and_parse_are_inverse(chosen, number):
    kind, unit = chosen
    value = abs(number) if kind == "temperature" else number
    text = format_quantity(value, kind, unit, digits=17)
    # 17 digits carry a double; near the zero point of degC and degF only their offset counts.
    tolerance = 1e-13 if kind == "temperature" else 0.0
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-15, abs=tolerance)


@pytest.mark.parametrize(("kind", "unit"), UNITS_OF_KINDS)
def test_every_unit_is_read_in_its_own_spelling_and_without_capitals(kind, unit):
    text = f"400 {unit}"
    offset = {"degC": 273.15, "degF": 459.67}.get(unit, 0.0) if kind == "temperature" else 0.0
    expected = (400 + offset) * UNITS[kind][unit]
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-15)
    if not unit.startswith("M"):
        assert parse_quantity(text.lower(), kind) == parse_quantity(text, kind)


@pytest.mark.parametrize("kind", UNITS)
def test_units_of_a_kind_differ_in_more_than_letter_case(kind):
    folded = {unit.casefold() for unit in UNITS[kind]}
    assert len(folded) == len(UNITS[kind])
    assert UNITS[kind][si_unit(kind)] == 1.0
    for chosen in UNIT_SETS.values():
        assert chosen[kind] in UNITS[kind]


@pytest.mark.parametrize(
    ("value", "kind", "unit", "digits", "text"),
    [
        (101325.0, "pressure", "Pa", 4, "101300 Pa"),
        (0.0, "pressure", None, 4, "0 Pa"),
        (-0.0, "pressure", None, 4, "0 Pa"),
        (1.6764, "length", "in", 4, "66 in"),
        (0.35, "length", None, 3, "350 mm"),
        (310.928, "temperature", "degF", 4, "100 degF"),
        (288.15, "temperature", None, 4, "15 degC"),
        (20.0, "temperature difference", "F", 4, "36 degF"),
        (0.6, "fraction", None, 4, "0.6"),
        (0.6, "fraction", "percent", 4, "60 %"),
        (-1e-7, "number", None, 3, "-1e-7"),
        (9.9999e7, "number", None, 3, "1e8"),
        (2.5e-3, "area", "sq in", 4, "3.875 in2"),
    ],
)
def test_texts_that_are_written(value, kind, unit, digits, text):
    assert format_quantity(value, kind, unit, digits) == text


def test_format_refuses_what_cannot_be_written():
    with pytest.raises(QuantityError, match="units allowed: Pa, hPa"):
        format_quantity(1.0, "pressure", "kW")
    with pytest.raises(QuantityError, match="units allowed: J, kJ"):
        format_quantity(1.0, "energy", "mJ")
    with pytest.raises(QuantityError, match="not finite"):
        format_quantity(math.nan, "pressure")
    with pytest.raises(ValueError, match="digits is 0"):
        format_quantity(1.0, "pressure", digits=0)
    with pytest.raises(ValueError, match="unknown kind of quantity 'pressur'"):
        parse_quantity("1 Pa", "pressur")


def test_reading_needs_the_standard_library_only():
    tree = ast.parse(Path(units.__file__).read_text(encoding="utf-8"))
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {getattr(node, "module", None) or node.names[0].name for node in imports}
    assert {n.split(".")[0] for n in names} <= sys.stdlib_module_names | {"panelcp"}
