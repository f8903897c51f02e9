"""Numbers in both sets of units: exact factors, texts of the case left alone, tables."""

import re

import pytest

from panelcp.report.units_switch import READINGS, switchable, texts_of
from panelcp.units import parse_quantity

WRITTEN = {
    "869 Pa": ("869 Pa", "3.49 inH2O"),
    "−123 ± 14 Pa": ("−123 ± 14 Pa", "−0.49 ± 0.06 inH2O"),
    "0.49 inH2O": ("0.49 inH2O", "122 Pa"),
    "STA 14 BL -227 WL 0 mm": ("STA 14 BL -227 WL 0 mm", "STA 0.6 BL −8.9 WL 0.0 in"),
    "300 × 150 mm": ("300 × 150 mm", "11.8 × 5.9 in"),
    "426 cm²": ("426 cm²", "66.0 in²"),
    "5000 ft": ("1524 m", "5000 ft"),
    "62 kt": ("31.9 m/s", "62 kt"),
    "15 m/s": ("15 m/s", "29 kt"),
    "0.43 kg/s": ("0.43 kg/s", "57 lb/min"),
    "95 °C": ("95 °C", "203 °F"),
    "-4 °C": ("-4 °C", "25 °F"),
    "12 K (8 to 15)": ("12 K (8 to 15)", "22 °F (14 to 27)"),
    "12.0 kW": ("12.0 kW", "16.1 hp"),
}
"""Text in Python -> metric reading, cockpit reading; reckoned by hand from exact factors."""


def both(html):
    """Readings of all marked things."""
    found = re.findall(r'(?:<data value|data-cockpit)="([^"]*)">([^<]*)<', html)
    return [(metric, cockpit) for cockpit, metric in found]


@pytest.mark.parametrize(("text", "readings"), WRITTEN.items())
def test_a_number_in_a_text_has_both_readings(text, readings):
    html = switchable(f"<p>about {text}, more</p>")
    assert both(html) == [readings]
    assert re.sub("<[^>]*>", "", html) == f"about {readings[0]}, more"


def test_factors_are_those_of_the_units():
    kinds = {"mm": "length", "m": "length", "Pa": "pressure", "m/s": "speed", "kg/s": "mass flow"}
    kinds |= {"kW": "power", "cm²": "area", "m²": "area", "m³/s": "volume flow", "kt": "speed"}
    for unit, kind in kinds.items():
        written = parse_quantity(f"7 {unit}", kind)
        for reading in READINGS[unit]:
            shown = parse_quantity(f"{7 * reading.factor!r} {reading.unit}", kind)
            assert shown == pytest.approx(written, rel=1e-12)
    assert READINGS["°C"][1].number("-40") == "−40"
    assert READINGS["°C"][1].number("100") == "212"


@pytest.mark.parametrize(
    "text",
    [
        "best 12 in 3 conditions",
        "reversed in 4, in 12 more",
        "model 5 m long",
        "14 CFR 23.1193(d)",
        "12 kgf, 3 mmHg, 5 mph",
        "47 % of the variance",
        "bottom 105 (places 2 to 5)",
        "v1.2.3 mm",
        "skin that resists fire for 24 in (610 mm) behind an opening",
    ],
)
def test_what_is_no_quantity_is_left(text):
    names = ["model 5 m long"]
    assert switchable(f"<p>{text}</p>", names) == f"<p>{text}</p>"


def test_names_keep_their_numbers_everywhere():
    names = ["tow at 62 kt", "<b>5 mm & 3 Pa</b>", "Pa: climb", "drop, Pa"]
    html = (
        "<p>in tow at 62 kt 31 Pa; tow at 62\u00a0kt; &lt;b&gt;5 mm &amp; 3 Pa&lt;/b&gt;</p>"
        "<svg><text>tow at 62 k…</text><text>5 Pa</text></svg>"
        "<table><tr><th>drop, Pa</th></tr><tr><td>Pa: climb</td><td>5</td></tr></table>"
    )
    assert both(switchable(html, names)) == [("31 Pa", "0.12 inH2O"), ("5 Pa", "0.02 inH2O")]


def test_numbers_of_a_column_follow_its_heading():
    html = (
        '<table class="cards"><thead><tr><th>Core</th><th>Air, kg/s</th><th>Drop, Pa</th>'
        "<th>inH2O</th><th>Share</th></tr></thead><tbody><tr><td>5</td>"
        '<td data-label="Air, kg/s">0.432 (0.400 to 0.460)</td><td>−12 reversed (95 %)</td>'
        "<td>−0.05</td><td>7</td></tr>"
        '<tr><td></td><td colspan="4">Look: 3</td></tr></tbody></table>'
    )
    changed = switchable(html)
    assert both(changed) == [
        ("Air, kg/s", "Air, lb/min"),
        ("Drop, Pa", "Drop, inH2O"),
        ("inH2O", "Pa"),
        ("0.432 (0.400 to 0.460)", "57.1 (52.9 to 60.8)"),
        ("−12", "−0.05"),
        ("−0.05", "−12"),
    ]
    assert 'data-label="Air, kg/s" data-label-cockpit="Air, lb/min"' in changed


def test_a_heading_may_hold_for_all_columns_and_a_row_for_itself():
    html = (
        "<table><tr><th>All in Pa</th><th>climb</th></tr><tr><td>3 aircraft</td><td>+50</td></tr>"
        "<tr><td>area cm²</td><td>10</td></tr><tr><td>Cp</td><td>n</td></tr></table>"
        "<table><tr><th>A</th><th>B</th></tr><tr><td>Pa: run-up</td><td>-5</td></tr>"
        "<tr><td>Cp: x</td><td>-5</td></tr></table>"
    )
    assert both(switchable(html)) == [
        ("All in Pa", "All in inH2O"),
        ("+50", "+0.20"),
        ("area cm²", "area in²"),
        ("10", "1.6"),
        ("Pa: run-up", "inH2O: run-up"),
        ("-5", "−0.02"),
    ]


def test_clearances_and_layers_switch_with_what_stands_in_brackets():
    html = (
        "<table><tr><th>Exit</th><th>Clear of the plume by, mm</th></tr><tr><td>a</td>"
        "<td>−12</td></tr></table><table><tr><th>Layer, mm</th><th>climb</th><th>dive</th></tr>"
        "<tr><td>a</td><td>5 (254), 80 %</td><td>5 (127 to 254)</td></tr></table>"
    )
    assert both(switchable(html)) == [
        ("Clear of the plume by, mm", "Clear of the plume by, in"),
        ("−12", "−0.5"),
        ("Layer, mm", "Layer, in"),
        ("5 (254)", "0.2 (10.0)"),
        ("5 (127 to 254)", "0.2 (5.0 to 10.0)"),
    ]


def test_attributes_scripts_and_titles_of_drawings_are_left():
    html = (
        '<img alt="5 mm"><script>"5 mm"</script><svg><title>5 mm</title><desc>5 mm</desc>'
        "<text>6 mm</text></svg><option>5 mm</option>"
    )
    changed = switchable(html)
    assert both(changed) == [("6 mm", "0.2 in")]
    assert '<tspan class="q" data-cockpit="0.2 in">6 mm</tspan>' in changed


def test_texts_of_a_case_are_all_but_quantities():
    case = {"a": ["62 kt", "at 62 kt", {"b": "x"}], "c": 5, "d": ("1.5 mm", None)}
    assert texts_of(case) == {"at 62 kt", "x"}
