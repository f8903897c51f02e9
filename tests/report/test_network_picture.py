"""Pictures of the network: arrows follow the air, texts keep their room, bars are to scale."""

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from panelcp.report.cooling_bars import margin_picture
from panelcp.report.cooling_tables import readable
from panelcp.report.cooling_texts import text_width
from panelcp.report.network_layout import network_boxes
from panelcp.report.network_picture import network_picture
from tests.report.network_cases import TOPOLOGIES, large, made, result_of, svg
from tests.report.test_cooling_tables import HOSTILE, tug


@pytest.mark.parametrize("parts", TOPOLOGIES.values(), ids=TOPOLOGIES)
def test_texts_keep_their_room_in_their_boxes(parts):
    root = svg(network_picture(readable(result_of(parts, -0.0123)), 0))
    boxes = root.findall("svg")
    assert len(boxes) == len(network_boxes(parts))
    for box in boxes:
        width, height = float(box.get("width")), float(box.get("height"))
        lines = [float(text.get("y")) for text in box.findall("text")]
        assert lines[0] >= 12.0
        assert all(b - a >= 13.5 for a, b in pairwise(lines))
        bars = [float(part.get("y")) for part in box.findall("rect")[1:]]
        assert all(top > lines[-1] + 2.5 and top + 5.0 < height for top in bars)
        assert lines[-1] + 3.0 < height
        for text in box.findall("text"):
            assert text_width(text.text or "", 11.0) <= width


@pytest.mark.parametrize("c", range(6))
def test_hostile_names_are_escaped(c):
    result = readable(tug(HOSTILE))
    picture = network_picture(result, c)
    assert "<script" not in picture
    words = svg(picture).find("desc").text
    assert HOSTILE[0] in words
    assert HOSTILE[1] in words
    assert HOSTILE[3] in words
    assert "\u202e" not in words


def heads(picture):
    """(class, points to the right) of every arrow."""
    found = []
    for style, points in re.findall(r'<polygon class="([\w-]+)" points="([^"]+)"', picture):
        tip, back, _ = (float(pair.split(",")[0]) for pair in points.split())
        found.append((style, tip > back))
    return found


def test_arrows_follow_the_air():
    forward = heads(network_picture(tug(), 0))
    # two ends of each of 14 elements; one end of openings and of the joint lies outside
    assert len(forward) == 2 * 14
    assert set(forward) == {("head", True)}
    descent = heads(network_picture(tug(), 4))
    assert descent.count(("back-head", False)) == 2
    taxi = heads(network_picture(tug(), 5))
    assert taxi.count(("back-head", False)) == 4


def test_a_reversed_element_says_so_in_words_and_is_dashed():
    picture = network_picture(tug(), 4)
    assert picture.count('class="wire back"') == 2
    box = next(b for b in svg(picture).findall("svg") if "Exit top vent" in b.find("title").text)
    assert "backwards" in box.find("title").text
    assert box.findall("text")[0].text == "exit, backwards"
    assert "backwards" not in network_picture(tug(), 0)


def test_a_line_against_the_reading_direction_is_not_reversed():
    """Recirculated air goes from right to left as it is meant to."""
    picture = network_picture(result_of(large()), 0)
    # from the duct back into the plenum
    assert heads(picture).count(("head", False)) == 1
    assert ("back-head", True) not in heads(picture)
    assert "Duct recirculation from bay to plenum: 0.100 kg/s." in picture


def test_still_and_unknown_air_has_no_arrow():
    still = result_of(made([("in", "inlet"), ("out", "exit")], [("duct", "in", "out")]), 0.0)
    picture = network_picture(still, 0)
    assert picture.count("wire still") == 2
    assert "no flow" in picture
    unknown = network_picture(result_of(still.installation, np.nan), 0)
    assert "flow not known" in unknown
    assert "nan" not in unknown


def test_thicker_lines_carry_more():
    root = svg(network_picture(tug(), 0))
    widths = [float(path.get("stroke-width")) for path in root.findall("path")]
    assert max(widths) == pytest.approx(5.0)
    assert min(widths) == pytest.approx(1.3 + 3.7 * 0.0246 / 1.2374, abs=0.06)


def test_numbers_in_the_boxes():
    root = svg(network_picture(tug(), 0))
    texts = {
        box.find("title").text.split(":")[0].split(" from")[0]: [
            t.text for t in box.findall("text")
        ]
        for box in root.findall("svg")
    }
    assert texts["Inlet left cheek"] == ["inlet", "left cheek", "0.902 kg/s", "outside +480 Pa"]
    assert texts["Coolant radiator"][-1] == "margin 9.2 K, look"
    assert texts["Fan fan"] == ["fan", "fan", "0.570 kg/s", "+12 Pa, 150 W"]
    assert texts["Leak to outside cowl joint"] == ["leak to outside", "cowl joint", "0.025 kg/s"]
    assert texts["Place bay"][0] == "bay"
    assert texts["Place bay"][-1] == "78 °C"
    styles = [box.find("rect").get("class") for box in root.findall("svg")]
    assert styles.count("element look-box") == 2
    assert styles.count("element good-box") == 1


def test_bars_in_boxes_are_to_one_scale():
    root = svg(network_picture(tug(), 0))
    sizes = {}
    for box in root.findall("svg"):
        title, bars = box.find("title").text, box.findall("rect")[1:]
        if bars and title.startswith(("Inlet", "Exit")):
            sizes[title.split(" from")[0]] = (bars[0].get("class"), float(bars[0].get("width")))
    assert sizes["Inlet left cheek"][0] == "pressure"
    assert sizes["Exit bottom exit"][0] == "suction"
    assert sizes["Exit bottom exit"][1] / sizes["Inlet left cheek"][1] == pytest.approx(
        60.0 / 480.0, rel=0.02
    )


def test_ids_differ_between_conditions():
    ids = [re.findall(r' id="([^"]+)"', network_picture(tug(), c)) for c in range(6)]
    assert len({one for pair in ids for one in pair}) == 12
    assert f'aria-labelledby="{ids[2][0]} {ids[2][1]}"' in network_picture(tug(), 2)


@pytest.mark.parametrize("c", range(6))
def test_nothing_unknown_leaks_into_a_picture(c):
    result = tug(sampled=False)
    blank = {name: np.full(6, np.nan) for name in result.node_pressure}
    result = replace(result, node_pressure=blank, node_temperature={})
    picture = network_picture(result, c) + margin_picture(result, [(c, 0), (c, 1)], "Margins")
    assert "nan" not in picture
    assert "inf" not in picture
    assert "? Pa" in picture
