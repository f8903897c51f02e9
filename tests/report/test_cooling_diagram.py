"""Pictures of the network: nothing overlaps, arrows follow the air, bars are to scale."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest

from panelcp.cooling.installation import BAY, OUTSIDE, Duct, Installation, Leak
from panelcp.cooling.results import Way
from panelcp.report.cooling_diagram import (
    BAR_WIDTH,
    BETWEEN,
    budget_parts,
    budget_picture,
    fitted,
    margin_picture,
    network_boxes,
    network_layout,
    network_picture,
    text_width,
)
from panelcp.report.cooling_tables import isolated, readable
from tests.report.test_cooling_tables import HOSTILE, array, bare, guess, installation, tug


def made(ports=(), ducts=(), cores=(), fans=(), leaks=()):
    """Installation of names and ends only."""
    base = installation()
    port, core, fan = base.ports[0], base.cores[0], base.fans[0]
    return Installation(
        tuple(replace(port, name=name, use=use) for name, use in ports),
        tuple(Duct(name, start, end, ()) for name, start, end in ducts),
        tuple(replace(core, name=name, start=start, end=end) for name, start, end in cores),
        tuple(
            replace(fan, name=name, start=start, end=end, doors=doors)
            for name, start, end, doors in fans
        ),
        tuple(Leak(name, start, end, guess(1e-3), guess(0.6)) for name, start, end in leaks),
    )


def large():
    """Thirty elements: cores in a row, side by side and to the open, a ring, an exit of its own."""
    return made(
        ports=[
            *((name, "inlet") for name in ("chin", "left cheek", "right cheek", "scoop")),
            *((name, "exit") for name in ("bottom", "top", "left louvres", "own exit")),
        ],
        ducts=[
            ("chin duct", "chin", "plenum"),
            ("left duct", "left cheek", "plenum"),
            ("right duct", "right cheek", "oil cooler"),
            ("cross feed", "plenum", "oil cooler"),
            ("scoop duct", "scoop", "charge-air cooler"),
            ("alternator blast", "plenum", BAY),
            ("magneto blast", "left cheek", BAY),
            ("oil exit duct", "behind oil", "own exit"),
            ("recirculation", BAY, "plenum"),
            ("down duct", "behind radiator", BAY),
        ],
        cores=[
            ("radiator", "radiator", "middle"),
            ("second radiator", "middle", "behind radiator"),
            ("oil cooler", "oil cooler", "behind oil"),
            ("charge-air cooler", "charge-air cooler", BAY),
            ("heater", "plenum", "cabin box"),
        ],
        fans=[
            ("fan 1", "plenum", "radiator", 0.03),
            ("fan 2", "plenum", "radiator", None),
            ("blower", OUTSIDE, BAY, None),
        ],
        leaks=[
            ("seal", "plenum", BAY),
            ("joint", BAY, OUTSIDE),
            ("cabin leak", "cabin box", OUTSIDE),
        ],
    )


def rings():
    """Air that goes round between two plenums, none of which an inlet feeds."""
    return made(
        ports=[("vent", "exit")],
        ducts=[("there", "a", "b"), ("back", "b", "a"), ("out", "b", BAY), ("round", "a", "a")],
    )


def chance(seed):
    """An installation drawn by lot."""
    draw = np.random.default_rng(seed)
    inlets, plenums = draw.integers(1, 4), draw.integers(1, 5)
    places = [f"inlet {i}" for i in range(inlets)] + [f"plenum {i}" for i in range(plenums)]
    places.append(BAY)

    def ends():
        return [places[i] for i in draw.choice(len(places), 2, replace=False)]

    return made(
        ports=[(f"inlet {i}", "inlet") for i in range(inlets)]
        + [(f"exit {i}", "exit") for i in range(draw.integers(1, 4))],
        ducts=[(f"duct {i}", *ends()) for i in range(draw.integers(0, 8))],
        cores=[(f"core {i}", *ends()) for i in range(draw.integers(0, 6))],
        fans=[(f"fan {i}", *ends(), None) for i in range(draw.integers(0, 3))],
        leaks=[(f"leak {i}", *ends()) for i in range(draw.integers(0, 5))],
    )


def result_of(parts, flow=0.1):
    """A result whose numbers are alike everywhere."""
    base = tug()
    names = [box.name for box in network_boxes(parts) if box.kind == "place"]
    core, port = base.cores[0], base.ports[0]
    ways = [Way(part.name, "duct", np.full(6, flow), np.full(6, 9.0)) for part in parts.ducts]
    ways += [Way(part.name, "leak", np.full(6, flow), np.full(6, 9.0)) for part in parts.leaks]
    ways += [
        Way(f"{fan.name}, doors", "doors", np.full(6, flow), np.full(6, 9.0))
        for fan in parts.fans
        if fan.doors
    ]
    return replace(
        base,
        installation=parts,
        ports=tuple(replace(port, name=part.name, use=part.use) for part in parts.ports),
        cores=tuple(replace(core, name=part.name) for part in parts.cores),
        fans=tuple(replace(base.fans[0], name=part.name) for part in parts.fans),
        ways=tuple(ways),
        budget=(),
        other_states=(),
        node_pressure={name: np.full(6, 50.0) for name in names},
        node_temperature={name: np.full(6, 300.0) for name in names},
    )


TOPOLOGIES = {
    "tug": installation(),
    "hostile": installation(HOSTILE),
    "large": large(),
    "rings": rings(),
    "two vents": bare().installation,
    "inlet to exit": made([("in", "inlet"), ("out", "exit")], [("duct", "in", "out")]),
    **{f"lot {seed}": chance(seed) for seed in range(101, 121)},
}


laid = cache(network_layout)


def apart(one, two):
    """Room between two boxes, below 0 where they overlap."""
    (x, y, width, tall), (u, v, wide, high) = one, two
    return max(u - x - width, x - u - wide, v - y - tall, y - v - high)


@pytest.mark.parametrize("parts", TOPOLOGIES.values(), ids=TOPOLOGIES)
def test_boxes_stand_apart_and_inside(parts):
    layout = laid(parts)
    for one, two in combinations(layout.corners, 2):
        assert apart(one, two) > BETWEEN - 1e-6
    for x, y, width, tall in layout.corners:
        assert x >= 0.0
        assert x + width <= layout.width
        assert y >= 0.0
        assert y + tall <= layout.height


@pytest.mark.parametrize("parts", TOPOLOGIES.values(), ids=TOPOLOGIES)
def test_no_line_runs_through_a_box(parts):
    layout = laid(parts)
    for wire in layout.wires:
        for (x, y), (u, v) in pairwise(wire.points):
            assert u > x
            # a curve stays within the rectangle between its ends
            line = (x, min(y, v), u - x, abs(v - y))
            for corner in layout.corners:
                assert apart(line, corner) > -1e-6


@pytest.mark.parametrize("parts", TOPOLOGIES.values(), ids=TOPOLOGIES)
def test_every_element_is_joined_to_its_places(parts):
    layout = laid(parts)
    ends = [sum(wire.element == k for wire in layout.wires) for k in range(len(layout.boxes))]
    wanted = [bool(box.start) + bool(box.end) for box in layout.boxes]
    assert ends == wanted


@pytest.mark.parametrize("name", ["tug", "large", "inlet to exit"])
def test_inlets_left_exits_right_and_all_lines_forward_but_rings(name):
    layout = network_layout(TOPOLOGIES[name])
    for box, (x, *_) in zip(layout.boxes, layout.corners, strict=True):
        if box.kind == "inlet":
            assert x == min(x for x, *_ in layout.corners)
        if box.kind == "exit":
            assert x == max(x for x, *_ in layout.corners)
    against = {layout.boxes[wire.element].name for wire in layout.wires if not wire.along}
    assert against == ({"recirculation"} if name == "large" else set())


def column_of(layout, name, kind):
    return next(
        x
        for box, (x, *_) in zip(layout.boxes, layout.corners, strict=True)
        if (box.name, box.kind) == (name, kind)
    )


def test_cores_side_by_side_share_a_column_and_cores_in_a_row_do_not():
    layout = network_layout(large())
    abreast = ("radiator", "oil cooler", "charge-air cooler", "heater")
    assert len({column_of(layout, name, "core") for name in abreast}) == 1
    behind = column_of(layout, "second radiator", "core")
    assert behind > column_of(layout, "radiator", "core")


def crossings(layout):
    """Pairs of lines that cross between two columns, by their ends."""
    spans = [pair for wire in layout.wires for pair in pairwise(wire.points)]
    count = 0
    for ((x, y), (u, v)), ((s, t), (p, q)) in combinations(spans, 2):
        overlap = min(u, p) - max(x, s)
        count += overlap > 1.0 and (y - t) * (v - q) < -1e-6
    return count


def test_the_tug_has_no_crossing_lines():
    assert crossings(network_layout(installation())) == 0


def test_crossings_are_untangled():
    """Ducts that are named the wrong way round."""
    ports = [("a", "inlet"), ("b", "inlet"), ("c", "inlet")]
    ducts = [("3", "c", "z"), ("1", "a", "x"), ("2", "b", "y")]
    cores = [("k2", "y", BAY), ("k3", "z", BAY), ("k1", "x", BAY)]
    assert crossings(network_layout(made(ports, ducts, cores))) == 0


def svg(picture):
    """Root of a picture, read as strict XML."""
    return ElementTree.fromstring(picture).find("svg")


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


def test_texts_are_cut_and_broken_to_their_width():
    for name in HOSTILE:
        for width in (30.0, 80.0, 300.0):
            assert text_width(fitted(isolated(name), width)) <= width
    assert fitted("", 10.0) == ""


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


def margin_bars(result, rows):
    return svg(margin_picture(result, rows, "Margins"))


def test_margin_bars_are_to_scale_and_have_words():
    root = margin_bars(tug(), [(0, 0), (1, 0), (5, 1)])
    rects = root.findall("rect")
    assert [rect.get("class") for rect in rects] == ["look", "good", "stop watched"]
    widths = [float(rect.get("width")) for rect in rects]
    assert widths[1] / widths[0] == pytest.approx(16 / 9.2, rel=0.01)
    # below 0 to the left of the axis
    assert float(rects[2].get("x")) + widths[2] == pytest.approx(float(rects[0].get("x")), abs=0.2)
    texts = [text.text for text in root.findall("text")]
    assert "9.2 K (5 to 14), look" in texts
    assert "oil cooler, does not decide" in texts
    assert "too hot: 7 %" in texts


def test_margin_bars_stay_in_the_picture():
    result = tug()
    core = replace(result.cores[0], margin=replace(
        result.cores[0].margin, value=array(-np.inf, np.inf, 500, -300, 5, np.nan)))  # fmt: skip
    root = margin_bars(replace(result, cores=(core,)), [(c, 0) for c in range(6)])
    rects = root.findall("rect")
    assert len(rects) == 5
    for rect in rects:
        left, width = float(rect.get("x")), float(rect.get("width"))
        assert 0.0 <= left <= left + width <= BAR_WIDTH
    # four of the bars are cut, and say so with a point
    assert len(root.findall("polygon")) == 4
    assert not margin_bars(tug(), [(0, 0), (4, 0)]).findall("polygon")
    texts = [text.text for text in root.findall("text")]
    assert any(text.startswith("no cooling") for text in texts)
    assert any("inf" in (text or "") for text in texts) is False


def test_margin_texts_on_one_line_do_not_meet():
    left, _, _, long = HOSTILE
    for result in (tug(), readable(tug((left, long, HOSTILE[2], "top"), conditions=(long,) * 6))):
        rows = [(c, k) for c in range(6) for k in range(3)]
        texts = margin_bars(result, rows).findall("text")[3:]
        assert len(texts) == 4 * len(rows)
        for left, right in zip(texts[::2], texts[1::2], strict=True):
            assert left.get("y") == right.get("y")
            size = 12.5 if left.get("class") == "strong" else 11.0
            assert text_width(left.text, size) + text_width(right.text, size) < BAR_WIDTH


def test_no_margins_no_picture():
    result = tug()
    core = replace(
        result.cores[0], margin=replace(result.cores[0].margin, value=np.full(6, np.nan))
    )
    assert margin_picture(replace(result, cores=(core,)), [(0, 0)], "Margins") == ""
    assert budget_picture(replace(result, budget=()), [(0, 0)]) == ""


def test_the_pressure_budget_by_hand():
    result = tug()
    drives, takes, left = budget_parts(result, "radiator", 0)
    assert left == pytest.approx(0.0, abs=1e-9)
    # 480 Pa ram, 12 Pa fan, 60 Pa suction at the exit
    assert [(number, round(value)) for number, _, value in drives] == [(1, 480), (5, 12), (7, 60)]
    assert [number for number, *_ in takes] == [2, 3, 4, 6]
    assert takes[0][2] == pytest.approx(60 * 0.902**2)
    # in the climb the fan takes; on the ground there is pressure at the exit
    assert 5 in [number for number, *_ in budget_parts(result, "radiator", 1)[1]]
    assert 7 in [number for number, *_ in budget_parts(result, "radiator", 5)[1]]


def test_budget_bars_are_to_scale():
    result = tug()
    root = svg(budget_picture(result, [(0, 0), (1, 0)]))
    rects = root.findall("rect")
    sizes = {rect.find("title").text: float(rect.get("width")) for rect in rects}
    ram = next(width for title, width in sizes.items() if "480 Pa" in title)
    fan = next(width for title, width in sizes.items() if title == "fan: 12 Pa")
    assert fan / ram == pytest.approx(12 / 480, abs=0.002)
    drives = sum(float(r.get("width")) for r in rects[:3])
    assert drives == pytest.approx(sum(float(r.get("width")) for r in rects[3:7]), abs=0.5)
    assert max(float(r.get("x")) + float(r.get("width")) for r in rects) <= BAR_WIDTH + 0.5
    assert [r.get("class") for r in rects].count("core-part") == 2


@pytest.mark.parametrize("c", range(6))
def test_nothing_unknown_leaks_into_a_picture(c):
    result = tug(sampled=False)
    blank = {name: np.full(6, np.nan) for name in result.node_pressure}
    result = replace(result, node_pressure=blank, node_temperature={})
    picture = network_picture(result, c) + margin_picture(result, [(c, 0), (c, 1)], "Margins")
    assert "nan" not in picture
    assert "inf" not in picture
    assert "? Pa" in picture
