"""Tables for notebooks: well formed, escaped, readable on light and dark, with the numbers."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from panelcp.display import (
    FILLS,
    Column,
    Judged,
    banded,
    facts,
    lines,
    number,
    percent,
    table,
    words,
)
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.panels.solving import UnitSolutions
from panelcp.quantity import UncertainValue
from panelcp.surface.opening import lay_opening
from tests import bodies

EVIL = "<b>&\"$x$' <script>alert(1)</script>"
VOID = ("img",)
FORBIDDEN = ("script", "style", "link", "iframe", "object", "form")


class Page(HTMLParser):
    """Tables of cells, texts, and whether all elements are closed in order."""

    def __init__(self, html):
        super().__init__()
        self.open, self.bad, self.tags, self.texts, self.tables = [], [], [], [], []
        self.attributes = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += attributes
        if tag not in VOID:
            self.open.append(tag)
        if tag == "table":
            self.tables.append([])
        if tag == "tr":
            self.tables[-1].append([])
        if tag in ("td", "th"):
            self.tables[-1][-1].append("")

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.bad.append(tag)

    def handle_data(self, data):
        self.texts.append(data)
        if {"td", "th"} & set(self.open):
            self.tables[-1][-1][-1] += data.replace("\u00a0", " ")

    @property
    def text(self):
        return "".join(self.texts).replace("\u00a0", " ")


def shown(record) -> Page:
    """What a notebook gets, after the checks that hold for every record."""
    html = record._repr_html_()
    assert html == record._repr_html_()
    page = Page(html)
    assert not page.bad
    assert not page.open
    assert not set(page.tags) & set(FORBIDDEN)
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    addresses = [value for name, value in page.attributes if name in ("src", "href")]
    assert not [value for value in addresses if value.startswith(("http", "//", "javascript"))]
    for rows in page.tables:
        assert len({len(row) for row in rows}) == 1
    assert page.tags.count("caption") == page.tags.count("table")
    assert page.tags.count("th") == sum(len(rows[0]) + len(rows) - 1 for rows in page.tables)
    scopes = [value for name, value in page.attributes if name == "scope"]
    assert len(scopes) == page.tags.count("th")
    return page


def short(record) -> str:
    """The short text of a record: one line."""
    text = repr(record)
    assert "\n" not in text
    assert len(text) < 300
    return text


def contrast(first, second):
    """Of two colours, as W3C's contrast guidelines define it (from memory)."""

    def light(colour):
        parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    high, low = sorted([light(first), light(second)], reverse=True)
    return (high + 0.05) / (low + 0.05)


def conditions(count):
    return tuple(
        FlightCondition(f"{EVIL} {k}", true_airspeed=20.0 + k, alpha=0.1 * k, beta=-0.5 * k)
        for k in range(count)
    )


def flow_of(surface, some, pressure):
    return SurfaceFlow(surface, some, np.zeros((len(some), surface.n_panels, 3)), pressure)


# --- helpers -------------------------------------------------------------------------------


def test_table_is_well_formed_and_names_its_cells():
    html = table(EVIL, [*words(EVIL), Column("Air", "kg/s")], [(EVIL, "1"), ("b", "2")], EVIL)
    page = Page(html)
    assert not page.bad
    assert page.tables == [[[EVIL, "Air, kg/s"], [EVIL, "1"], ["b", "2"]]]
    assert page.text.count(EVIL) == 4
    assert html.count('scope="col"') == 2
    assert html.count('scope="row"') == 2


def test_a_row_that_does_not_fit_is_a_mistake_of_the_program():
    with pytest.raises(ValueError, match="shorter"):
        table("", words("a", "b"), [("one",)])


def test_a_judgement_stands_in_words_and_can_be_read_on_its_colour():
    page = Page(table("", words("a"), [[Judged("−3 K", "stop")], [Judged("no limit")]]))
    assert page.tables[0][1:] == [["stop −3 K"], ["no limit"]]
    assert set(FILLS) == {"good", "look", "stop"}
    assert min(contrast("#ffffff", fill) for fill in FILLS.values()) >= 4.5


def test_no_text_has_a_colour_of_its_own_but_on_its_own_fill():
    """So that it can be read on light and dark."""
    html = table("a", words("b"), [[Judged("c", "good")]], "note") + lines(["x"] * 5)
    for style in re.findall(r'style="([^"]*)"', html):
        if re.search(r"(?<![-\w])color:#", style):
            assert "background:#" in style


def test_empty_facts_are_left_out():
    assert Page(facts("", [("a", "1"), ("b", "")])).tables[0][1:] == [["a", "1"]]


def test_long_lists_can_be_opened():
    page = Page(lines(list("abcde"), 2))
    assert page.tags.count("li") == 5
    assert "The other 3" in page.text
    assert "details" not in Page(lines(["a"], 2)).tags


def test_numbers_that_do_not_exist_are_left_out():
    nothing = float("nan")
    assert (number(nothing), percent(nothing), banded(nothing, 1.0)) == ("", "", "")
    assert number(-0.004, 2, sign=True) == "0.00"


# --- records -------------------------------------------------------------------------------


def test_surface_shows_size_panels_and_notes():
    box = bodies.box().with_notes(EVIL)
    page = shown(box)
    found = dict(page.tables[0])
    assert found["size"] == "2.000 m long, 1.000 m wide, 0.800 m high"
    assert found["area and volume"] == "8.800 m², 1.600 m³"
    assert found["note"] == EVIL
    assert found["panels"].startswith(f"{box.n_panels}, {box.n_solved}")
    assert short(box) == f"SurfaceMesh({box.n_panels} panels, {box.n_vertices} points)"


def test_opening_shows_place_and_size():
    opening = lay_opening(bodies.box(), EVIL, [0.1, 0.2, 0.4], 0.12, 0.08, kind="flush hole")
    row = shown(opening).tables[0][1]
    assert row == [EVIL, "exit", "flush hole, rectangle", "top", "STA 100 BL 200 WL 400 mm",
                   "120 × 80", "0", "96"]  # fmt: skip
    assert "STA 100 BL 200 WL 400 mm" in short(opening)
    assert "mirror image" in shown(replace(opening, twin=opening)).text


def test_condition_shows_speed_angles_air_and_q():
    tow = FlightCondition(EVIL, true_airspeed=30.0, alpha=6.0, beta=-2.5, power=0.8,
                          needed_pressure=450.0)  # fmt: skip
    heads, row = shown(tow).tables[0]
    found = dict(zip(heads, row, strict=True))
    assert found["True airspeed, kt"] == "58.3"
    assert (found["Angle of attack, °"], found["Sideslip, °"]) == ("6", "−2.5")
    assert found["q, Pa"] == f"{0.5 * 1.225 * 30.0**2:.0f}"
    assert (found["Outside, °C"], found["Power"], found["Needed, Pa"]) == ("15", "80 %", "450")


def test_condition_on_the_ground_shows_the_wind():
    taxi = FlightCondition("taxi", ground_speed=5.0, wind_speed=5.0, wind_from=45.0)
    assert "On the ground at 9.7 kt, wind 9.7 kt from 45° right of ahead." in shown(taxi).text
    assert "no wind" in shown(FlightCondition("roll", ground_speed=5.0)).text


def test_short_text_of_a_condition_is_python_and_tells_all_that_was_given():
    tow = FlightCondition("tow", calibrated_airspeed=31.9, alpha=6.0, day="hot day")
    assert repr(tow) == (
        "FlightCondition(name='tow', calibrated_airspeed=31.9, alpha=6.0, day='hot day')"
    )
    assert eval(repr(tow)) == tow
    assert repr(replace(tow, weight=2.0)) != repr(tow)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (UncertainValue(0.6, 0.45, 0.75, "memory"), "0.6 ± 0.15"),
        (UncertainValue(0.6, 0.45, 0.8, "memory"), "0.6 (0.45 to 0.8)"),
        (UncertainValue(996.0, 900.0, 1092.0, "memory", kind="pressure"), "996 Pa ± 96 Pa"),
        (UncertainValue(0.6, mark="memory"), "0.6"),
        (
            UncertainValue(300.0, 290.0, 310.0, "memory", kind="temperature"),
            "26.85 degC (16.85 degC to 36.85 degC)",
        ),
    ],
)
def test_uncertain_number_shows_band_and_mark(value, text):
    value = replace(value, source=EVIL)
    assert shown(value).tables[0][1] == [text, "memory", EVIL]
    assert str(value) == f"{text}, memory"
    assert ("No band" in shown(value).text) is not value.has_band


def test_unit_flows_are_listed_with_what_is_left():
    surface = bodies.box()
    velocity = np.zeros((4, surface.n_panels, 3))
    velocity[3, 5] = [3.0, 4.0, 0.0]
    units = UnitSolutions(
        surface, None, ("stream x", "stream y", "stream z", f"opening {EVIL}"),
        velocity[..., 0], velocity, 7, np.full(4, 2e-7),
    )  # fmt: skip
    rows = shown(units).tables[0]
    assert rows[4] == [f"opening {EVIL}", "2.0e-07", "5.00"]
    assert short(units) == f"UnitSolutions(4 unit flows, {surface.n_panels} panels)"


# --- flow ----------------------------------------------------------------------------------


def test_flow_shows_the_least_and_greatest_pressure_and_where():
    surface, some = bodies.box(), conditions(40)
    pressure = np.linspace(-1.0, 1.0, 40)[:, None] * np.arange(surface.n_panels)
    flow = flow_of(surface, some, pressure)
    rows = shown(flow).tables[0][1:]
    assert {len(row) for row in rows} == {10}
    assert len(rows) == 40
    assert short(flow) == f"SurfaceFlow(40 conditions, {surface.n_panels} panels)"
    for c in (0, 17, 39):
        q, found = some[c].dynamic_pressure, rows[c]
        assert found[0] == some[c].name
        assert found[4] == f"{q:.0f}"
        for column, value in ((6, pressure[c].min()), (8, pressure[c].max())):
            told = float(found[column].removeprefix("Cp ").replace("−", "-"))
            assert abs(told - value / q) <= 0.005
        x, y, z = (1e3 * surface.centroids[int(pressure[c].argmin())]).round().astype(int)
        assert found[7] == f"STA {x} BL {y} WL {z} mm"


def test_flow_on_the_ground_is_shown_in_pascal_and_says_what_is_not_predicted():
    surface = bodies.box()
    some = (FlightCondition("run-up", ground_speed=0.0), FlightCondition("rest", true_airspeed=0.0))
    pressure = np.zeros((2, surface.n_panels))
    pressure[:, 3], pressure[:, 4] = -120.0, 80.0
    flow = replace(flow_of(surface, some, pressure), predicted=[True, False], mean_rise=[300, 0])
    rows = shown(flow).tables[0][1:]
    assert (rows[0][6], rows[0][8], rows[0][5]) == ("−120 Pa", "+80 Pa", "300")
    assert [row[-1] for row in rows] == ["", "not predicted, sign only"]


def test_flow_without_known_pressures_says_so():
    surface = bodies.box()
    pressure = np.full((1, surface.n_panels), np.nan)
    row = shown(flow_of(surface, conditions(1), pressure)).tables[0][1]
    assert (row[6], row[8]) == ("not known", "not known")
    pressure[0, 7] = 245.0  # q at 20 m/s and sea level
    row = shown(flow_of(surface, conditions(1), pressure)).tables[0][1]
    assert row[6] == row[8] == "Cp +1.00"
