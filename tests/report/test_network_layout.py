"""The layout of the network: nothing overlaps, no line runs through a box."""

from functools import cache
from itertools import combinations, pairwise

import pytest

from panelcp.cooling.installation import BAY
from panelcp.report.network_layout import BETWEEN, network_layout
from tests.report.network_cases import TOPOLOGIES, large, made
from tests.report.test_cooling_tables import installation

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
