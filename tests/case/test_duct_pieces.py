"""Pieces of ducts: their losses are those of the laws, in both directions, and what cannot be."""

import math

import pytest

from panelcp.case.duct_pieces import CoreAhead, read_piece
from panelcp.cooling import ducts, vents
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.diffusers import diffuser_loss, trumpet_loss
from panelcp.cooling.inlets import rounded_entrance_loss
from panelcp.cooling.installation import Friction
from panelcp.errors import QuantityError
from tests.case.cooling_case import CORE, WHOLE, installation, line_in, mistakes, only_mistake
from tests.cases import changed

ROUND = {"diameter": "100 mm"}
AREA = 0.25 * math.pi * 0.01
CORES = {"radiator": CoreAhead(0.12, 0.3, DropLaw(20.0, 4.0, 1.2, 1.8e-5, 4.0, 10.0))}


def piece(kind, **entries):
    return read_piece({"kind": kind, **entries}, CORES)


def same(one, other):
    """Whether two uncertain numbers agree but for rounding of their sizes."""
    ends = [(v.value, v.low, v.high) for v in (one, other)]
    return ends[0] == pytest.approx(ends[1], rel=1e-12) and one.source == other.source


def part(kind, **entries):
    return piece(kind, **entries).part


def test_straight_duct_is_friction():
    found = part("straight", length="400 mm", width="200 mm", height="100 mm", roughness="0.1 mm")
    assert isinstance(found, Friction)
    assert (found.length, found.area, found.aspect) == (0.4, pytest.approx(0.02), 0.5)
    assert found.diameter == pytest.approx(2.0 * 0.02 / 0.3)
    assert found.roughness == pytest.approx(1e-4)


def test_an_area_alone_is_taken_as_round():
    found = part("straight", length="1 m", area="100 cm2")
    assert found.diameter == pytest.approx(math.sqrt(0.04 / math.pi))
    assert found.aspect is None


def test_bend_and_mitre_bend():
    found = part("bend", angle="90 deg", radius="150 mm", **ROUND)
    assert same(found.coefficient, ducts.bend_loss(90.0, 1.5))
    assert (found.area, found.backward) == (pytest.approx(AREA), None)
    assert part("mitre bend", angle="90 deg", **ROUND).coefficient == ducts.mitre_loss(90.0)
    vaned = part("mitre bend", angle="90 deg", vanes=True, **ROUND)
    assert vaned.coefficient == ducts.mitre_loss(90.0, vaned=True)
    assert vaned.what == "mitre bend 90 deg, with vanes"


def test_contraction_stands_on_its_narrow_end_and_widens_backwards():
    found = part("contraction", area_in="200 cm2", area_out="100 cm2", angle="40 deg")
    assert found.coefficient == ducts.contraction_loss(0.5, 40.0)
    assert found.area == pytest.approx(0.01)
    assert found.backward == diffuser_loss(2.0, 40.0)
    step = part("contraction", area_in="200 cm2", area_out="100 cm2")
    assert step.backward.value == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("sizes", "shape", "ratio", "angle"),
    [
        (
            {"diameter_in": "100 mm", "diameter_out": "150 mm", "length": "250 mm"},
            "conical", 2.25, 0.1,
        ),
        (
            {
                "width_in": "200 mm", "height_in": "50 mm",
                "width_out": "200 mm", "height_out": "100 mm", "length": "250 mm",
            },
            "plane", 2.0, 0.1,
        ),
        (
            {
                "width_in": "100 mm", "height_in": "100 mm",
                "width_out": "150 mm", "height_out": "150 mm", "length": "250 mm",
            },
            "pyramidal", 2.25, 0.1,
        ),
    ],
)  # fmt: skip
def test_diffuser_from_its_length(sizes, shape, ratio, angle):
    found = part("diffuser", **sizes)
    turn = 2.0 * math.degrees(math.atan(angle))
    expected = diffuser_loss(ratio, turn, shape)
    assert found.coefficient.value == pytest.approx(expected.value, rel=1e-9)
    assert found.coefficient.high == pytest.approx(expected.high, rel=1e-9)
    assert found.backward.value == pytest.approx(
        ducts.contraction_loss(1.0 / ratio, turn).value, rel=1e-9
    )
    assert found.what.startswith(shape)


def test_diffuser_that_may_stall_carries_the_warning():
    slow = part("diffuser", area_in="100 cm2", area_out="200 cm2", angle="7 deg")
    fast = part("diffuser", area_in="100 cm2", area_out="200 cm2", angle="40 deg", shape="plane")
    assert slow.warning == ""
    assert "stalled" in fast.warning
    follows = part(
        "diffuser", area_in="100 cm2", area_out="200 cm2", angle="7 deg", duct_follows=True
    )
    assert follows.coefficient == diffuser_loss(2.0, 7.0, duct_follows=True)


def test_trumpet_takes_face_and_resistance_of_its_core():
    found = read_piece(
        {"kind": "trumpet", "area_in": "300 cm2", "length": "150 mm"}, CORES, "radiator"
    )
    # K of a V + b V^2: the mean of 2 (a / V + b) / density at 4 and at 10 m/s
    at_4, at_10 = (2.0 * (20.0 / v + 4.0) / 1.2 for v in (4.0, 10.0))
    assert found.part.coefficient == trumpet_loss(4.0, 0.5 * (at_4 + at_10), 0.5)
    assert found.outlet.area == pytest.approx(0.12)
    named = part("trumpet", area_in="300 cm2", length="150 mm", core="radiator")
    assert named == found.part


def test_screens_louvres_holes_and_entrances():
    assert part("screen", open_share=0.5, **ROUND).coefficient == vents.wire_screen_loss(0.5)
    plate = part("screen", open_share=0.5, screen="perforated", **ROUND)
    assert plate.coefficient == vents.perforated_plate_loss(0.5)
    grille = part("screen", open_share=0.5, screen="grille", **ROUND)
    assert grille.coefficient.value == pytest.approx(4.0)
    assert part("louvre", blade_angle="15 deg", **ROUND).coefficient == vents.louvre_loss(15.0)
    assert part("louvre", **ROUND).coefficient == vents.discharge_to_loss(vents.COWL_LOUVRE)
    assert part("hole", **ROUND).coefficient == vents.discharge_to_loss(vents.SHARP_OPENING)
    entrance = part("entrance", edge_radius="10 mm", **ROUND)
    assert same(entrance.coefficient, rounded_entrance_loss(0.1))
    assert entrance.backward.value == 1.0
    step = part("sudden expansion", area_in="1 cm2", area_out="2 cm2")
    assert step.coefficient.value == 0.25
    assert step.backward == ducts.contraction_loss(0.5, 180.0)


def test_a_loss_of_ones_own():
    band = {"value": 0.4, "low": 0.3, "high": 0.6, "mark": "yours"}
    found = part("loss", loss=band, backward=0.8, what="flange", **ROUND)
    assert (found.what, found.coefficient.high, found.backward.value) == ("flange", 0.6, 0.8)


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        ("bend", "is no piece"),
        ({"angle": "3 deg"}, "kind is missing"),
        ({"kind": "bent"}, "did you mean 'bend'?"),
        ({"kind": "bend", "radius": "1 m", **ROUND}, "bend: angle is missing"),
        ({"kind": "bend", "angle": "90 deg", "radius": "10 mm", **ROUND}, "use mitre_loss"),
        ({"kind": "straight", "length": "1 m"}, "give the section once"),
        ({"kind": "straight", "length": "1 m", "width": "1 m"}, "or width and height, or area"),
        ({"kind": "straight", "length": "0 m", **ROUND}, "expected more than 0"),
        ({"kind": "straight", "length": "1 m", "roughness": "9 mm", **ROUND}, "more than 5 %"),
        ({"kind": "straight", "length": "1 m", "diametre": "1 m"}, "did you mean 'diameter'?"),
        ({"kind": "diffuser", "area_in": "2 cm2", "area_out": "1 cm2", "angle": "9 deg"}, "larger"),
        ({"kind": "diffuser", "area_in": "1 cm2", "area_out": "2 cm2"}, "give either the length"),
        (
            {
                "kind": "diffuser", "shape": "plane", "length": "1 m",
                "area_in": "1 cm2", "area_out": "2 cm2",
            },
            "tells its angle only with",
        ),
        ({"kind": "contraction", "area_in": "1 cm2", "area_out": "2 cm2"}, "area_in must be"),
        ({"kind": "trumpet", "area_in": "1 cm2", "length": "1 m"}, "stands ahead of a core"),
        ({"kind": "trumpet", "area_in": "1 cm2", "length": "1 m", "core": "oil"}, "known: 'rad"),
        ({"kind": "trumpet", "area_in": "1 m2", "length": "1 m", "core": "radiator"}, "1200 cm2"),
        ({"kind": "screen", "open_share": 1.0, **ROUND}, "such a screen resists nothing"),
        ({"kind": "louvre", "blade_angle": "60 deg", **ROUND}, "steeper blades shut it"),
        ({"kind": "loss", "loss": -1.0, **ROUND}, "loss: value is -1"),
    ],
)  # fmt: skip
def test_pieces_that_cannot_be(raw, text):
    with pytest.raises(QuantityError) as error:
        read_piece(raw, CORES)
    assert text in str(error.value)


def test_a_duct_ends_in_a_wide_room_with_its_head_lost(tmp_path):
    tables = (
        changed('to = "radiator"', 'to = "plenum"', WHOLE)
        + """
[[duct]]
name = "hose"
from = "plenum"
to = "radiator"
pieces = [ { kind = "straight", length = "300 mm", diameter = "80 mm" } ]
"""
    )
    first, hose = installation(tmp_path, tables).ducts
    assert [p.what for p in first.parts][-1] == "head of the jet into plenum"
    assert first.parts[-1].coefficient.value == 1.0
    assert [p.what for p in hose.parts] == ["sharp entrance from plenum", "straight, 300 mm"]
    assert hose.parts[0].coefficient == rounded_entrance_loss(0.0)
    assert hose.parts[0].backward.value == 1.0


def test_steps_of_area_are_told(tmp_path):
    notes = installation(tmp_path).notes
    assert any("80 mm" not in note and "ends with 50.27 cm2 ahead of the" in note for note in notes)
    wide = changed('diameter = "80 mm" }', 'diameter = "160 mm" }', WHOLE)
    assert any(
        "opening nose: 50.27 cm2, but what begins" in n for n in installation(tmp_path, wide).notes
    )


def test_mistakes_of_pieces_have_their_line_and_number(tmp_path):
    tables = changed('angle = "90 deg"', 'angle = "190 deg"', WHOLE)
    said = only_mistake(tmp_path, tables)
    assert said.startswith(
        f"line {line_in('pieces', tables)}: duct[1].pieces: piece 1: mitre bend: "
    )
    assert "expected at most 180 deg" in said


@pytest.mark.parametrize(
    ("pieces", "text"),
    [
        ("pieces = []", "no pieces: such a way would not resist the air"),
        ("", "no pieces: such a way would not resist the air"),
        ('pieces = "bend"', "is no list of pieces"),
        (
            'pieces = [ { kind = "loss", loss = 0.0, area = "1 cm2" } ]',
            "nothing in it resists the air",
        ),
    ],
)
def test_a_duct_must_resist(tmp_path, pieces, text):
    start = WHOLE.index("pieces = [")
    said = only_mistake(tmp_path, WHOLE[:start] + pieces + "\n")
    assert text in said
    assert said.startswith("line ")


def test_a_trumpet_of_a_wrong_core_is_not_told_twice(tmp_path):
    tables = WHOLE.replace(
        'kind = "mitre bend", angle = "90 deg", diameter = "80 mm"',
        'kind = "trumpet", diameter_in = "150 mm", length = "200 mm"',
    )
    assert installation(tmp_path, tables).ducts[0].parts[0].what.startswith("trumpet ahead of rad")
    said = mistakes(tmp_path, changed('"400 mm"', '"400"', tables))
    assert said.startswith("case.toml: 1 mistake\n")
    assert CORE in WHOLE
