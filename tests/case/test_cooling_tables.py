"""The cooling installation of a case: ports, places, ready arrangements, mistakes."""

import math

import numpy as np
import pytest

from panelcp.case.reading import read_case
from panelcp.cooling.building import Worlds, build_network
from panelcp.cooling.diffusers import HOME_MADE_EFFECTIVENESS, loss_of_effectiveness
from panelcp.cooling.ducts import contraction_loss
from panelcp.cooling.installation import BAY
from panelcp.cooling.vents import COWL_FLAP, COWL_LOUVRE, SHARP_OPENING, exhaust_pipe_loss
from panelcp.placement.combinations import DISCHARGE
from tests.case.cooling_case import (
    BODY,
    CORE,
    DUCT,
    FAN,
    LEAK,
    OIL,
    OPENINGS,
    WHOLE,
    installation,
    line_in,
    mistakes,
    only_mistake,
    write,
)
from tests.cases import changed
from tests.cooling.installations import outside

READY = '\n[cooling]\narrangement = "{}"\n'


def port(found, name):
    return next(p for p in found.ports if p.name == name)


def test_without_tables_there_is_no_installation(tmp_path):
    assert read_case(write(tmp_path, BODY)).installation is None


def test_the_least_installation(tmp_path):
    found = installation(tmp_path)
    assert [p.name for p in found.inlets] == ["nose"]
    assert [p.name for p in found.exits] == ["chin"]
    assert (found.cores[0].start, found.cores[0].end) == ("radiator", BAY)
    assert found.place_of(port(found, "chin")) == BAY
    assert found.bay_height is None
    notes = "\n".join(found.notes)
    assert "inlets that take part: nose" in notes
    assert "10 to 30 % of the inlet's air" in notes
    assert "lips taken as sharp, lip_radius not given: nose" in notes
    assert "no core cools oil: not looked at" in notes


def test_every_band_of_the_parts_is_marked(tmp_path):
    found = installation(tmp_path, WHOLE + LEAK + FAN)
    places = [place for place, _ in found.marks]
    assert len(places) == len(set(places))
    for place in (
        "opening nose: discharge coefficient",
        "duct chin duct: mitre bend 90 deg",
        "core radiator: drop against its law, a factor",
        "core radiator: heat, a factor",
        "core radiator: limit",
        "fan fan: loss when off",
        "leak seal: area",
        "leak seal: discharge coefficient",
    ):
        assert place in places
    assert not any("no leaks" in note for note in found.notes)


def test_ports_take_sizes_and_usual_coefficients(tmp_path):
    found = installation(tmp_path, WHOLE + OPENINGS)
    nose, chin, vent = (port(found, name) for name in ("nose", "chin", "top vent"))
    assert nose.area == pytest.approx(0.25 * math.pi * 0.08**2)
    assert (nose.discharge, nose.least_width, nose.lip_radius) == (SHARP_OPENING, 0.08, 0.0)
    assert chin.area == pytest.approx(0.015)
    assert chin.height == pytest.approx(-0.433)
    assert (chin.discharge, chin.cross_flow) == (DISCHARGE["plain exit"], False)
    assert (vent.discharge, vent.cross_flow) == (SHARP_OPENING, True)
    assert "openings that take no part in the cooling: left cheek" in found.notes


def test_own_coefficients_lips_and_pipes(tmp_path):
    body = changed('use = "exit"\n', 'use = "exit"\ndischarge = 0.8\nblocked_share = 0.3\n', BODY)
    body = changed('use = "inlet"\n', 'use = "inlet"\nlip_radius = "6 mm"\n', body)
    found = installation(tmp_path, body=body)
    assert port(found, "chin").discharge.value == 0.8
    assert port(found, "chin").blockage == exhaust_pipe_loss(0.3)
    assert port(found, "nose").lip_radius == pytest.approx(0.006)
    settings = '\n[cooling]\nlip_radius = "4 mm"\nbay_height = "100 mm"\n'
    found = installation(tmp_path, WHOLE + settings)
    assert port(found, "nose").lip_radius == pytest.approx(0.004)
    assert found.bay_height == pytest.approx(0.1)


def test_a_cowl_flap_has_its_gap_and_suction(tmp_path):
    flap = 'kind = "flapped exit"\nflap_angle = "15 deg"\nflap_chord = "200 mm"\nshut_gap = "5 mm"'
    found = installation(tmp_path, body=changed('kind = "plain exit"', flap, BODY))
    chin = port(found, "chin")
    gap = 0.005 + 0.2 * math.sin(math.radians(15.0))
    assert chin.area == pytest.approx(0.15 * gap)
    assert chin.least_width == pytest.approx(gap)
    assert chin.discharge == COWL_FLAP
    assert chin.flap_suction.value == pytest.approx(-0.175)
    plain = installation(tmp_path, body=changed('"plain exit"', '"flapped exit"', BODY))
    assert port(plain, "chin").flap_suction is None
    assert any("no flap_angle" in note for note in plain.notes)


def test_a_flap_is_as_long_as_its_opening_unless_given(tmp_path):
    flap = 'kind = "flapped exit"\nflap_angle = "30 deg"'
    found = installation(tmp_path, body=changed('kind = "plain exit"', flap, BODY))
    assert port(found, "chin").area == pytest.approx(0.15 * 0.1 * 0.5)
    assert "opening chin: flap as long as the opening, 100 mm" in found.notes


def test_louvres_by_their_open_share(tmp_path):
    found = installation(
        tmp_path, body=changed('"plain exit"', '"louvre"\nopen_share = "40 %"', BODY)
    )
    assert port(found, "chin").area == pytest.approx(0.006)
    assert port(found, "chin").discharge == COWL_LOUVRE
    found = installation(tmp_path, body=changed('"plain exit"', '"louvre"', BODY))
    assert port(found, "chin").discharge == DISCHARGE["louvre"]


def test_louvres_that_take_air_in_by_their_open_share(tmp_path):
    whole = installation(tmp_path, body=changed('"forward-facing"', '"louvre"', BODY))
    assert port(whole, "nose").discharge == DISCHARGE["louvre"]
    found = installation(
        tmp_path, body=changed('"forward-facing"', '"louvre"\nopen_share = "40 %"', BODY)
    )
    assert port(found, "nose").area == pytest.approx(0.4 * port(whole, "nose").area)
    assert port(found, "nose").discharge == COWL_LOUVRE


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        (
            '"plain exit"',
            '"plain exit"\nflap_angle = "20 deg"',
            "flap_angle: only for kind 'flapped",
        ),
        ('"plain exit"', '"plain exit"\nopen_share = 0.4', "open_share: only for kind 'louvre'"),
        ('"plain exit"', '"plain exit"\nlip_radius = "3 mm"', "lip_radius: only for kind"),
        ('"plain exit"', '"flapped exit"\nshut_gap = "3 mm"', "flap_angle is missing"),
        ('"plain exit"', '"flapped exit"\nflap_angle = "0 deg"', "leaves no gap: give shut_gap"),
        ('"forward-facing"', '"forward-facing"\nlip_radius = "60 mm"', "more than half of the"),
        ('"forward-facing"', '"forward-facing"\nblocked_share = 0.2', "pipes in an exit; this is"),
        ('"plain exit"', '"plain exit"\ndischarge = 1.2', "discharge: value is 1.2"),
    ],
)
def test_entries_that_do_not_go_with_an_opening(tmp_path, old, new, text):
    said = only_mistake(tmp_path, WHOLE, changed(old, new, BODY))
    assert text in said
    assert said.startswith("line ")


def test_one_inlet_one_core(tmp_path):
    found = installation(tmp_path, CORE + READY.format("one inlet, one core"))
    (duct,) = found.ducts
    assert (duct.name, duct.start, duct.end) == ("duct to radiator", "nose", "radiator")
    (part,) = duct.parts
    ratio = 0.12 / (0.25 * math.pi * 0.08**2)
    assert part.coefficient == loss_of_effectiveness(ratio, HOME_MADE_EFFECTIVENESS)
    assert part.area == pytest.approx(0.25 * math.pi * 0.08**2)
    assert part.backward == contraction_loss(1.0 / ratio, 45.0)
    assert any("duct to radiator: diffuser, area ratio 23.9" in note for note in found.notes)


def test_one_inlet_divided_by_face_area(tmp_path):
    tables = CORE + OIL + READY.format("one inlet, divided") + "diffuser_effectiveness = 0.7\n"
    found = installation(tmp_path, tables)
    whole = 0.25 * math.pi * 0.08**2
    assert [d.end for d in found.ducts] == ["radiator", "oil cooler"]
    assert [d.parts[0].area for d in found.ducts] == pytest.approx([0.75 * whole, 0.25 * whole])
    assert [core.end for core in found.cores] == [BAY, BAY]
    ratio = 0.16 / whole
    assert found.ducts[1].parts[0].coefficient.value == pytest.approx(0.3 * (1.0 - ratio**-2))


def test_two_inlets_feed_coolant_and_the_others(tmp_path):
    tables = CORE + OIL + OPENINGS + READY.format("two inlets")
    found = installation(tmp_path, tables + 'inlets = ["left cheek", "nose"]\nexits_apart = true\n')
    assert [(d.start, d.end) for d in found.ducts] == [
        ("left cheek", "radiator"),
        ("nose", "oil cooler"),
    ]
    assert [core.end for core in found.cores] == ["chin", "top vent"]
    assert [p.name for p in found.ports] == ["nose", "chin", "left cheek", "top vent"]
    assert found.place_of(port(found, "chin")) == "chin"
    assert any("radiator to chin; oil cooler to top vent" in note for note in found.notes)


def test_a_small_face_behind_a_large_inlet_narrows(tmp_path):
    body = changed('length = "80 mm"\nwidth = "80 mm"', 'length = "500 mm"\nwidth = "500 mm"', BODY)
    found = installation(tmp_path, CORE + READY.format("one inlet, one core"), body)
    (part,) = found.ducts[0].parts
    ratio = 0.12 / (0.25 * math.pi * 0.25)
    assert part.coefficient == contraction_loss(ratio, 45.0)
    assert part.area == pytest.approx(0.12)


def test_a_fan_stands_behind_the_core_of_a_ready_arrangement(tmp_path):
    found = installation(tmp_path, CORE + FAN + READY.format("one inlet, one core"))
    assert found.cores[0].end == "fan duct"
    assert (found.fans[0].start, found.fans[0].end) == ("fan duct", BAY)


@pytest.mark.parametrize(
    ("tables", "text"),
    [
        (CORE + OPENINGS + READY.format("one inlet, one core"), "needs 1 inlet; there are 2 (nose"),
        (CORE + OIL + READY.format("one inlet, one core"), 'there are 2 cores: take "one inlet, d'),
        (CORE + READY.format("one inlet, divided"), 'nothing is divided: take "one inlet, one'),
        (CORE + OPENINGS + READY.format("two inlets"), "none is of oil or charge air"),
        (CORE + OIL + READY.format("two inlets"), '"two inlets" needs 2 inlets; there are 1 (nose'),
        (
            CORE + OIL + READY.format("one inlet, divided") + "exits_apart = true\n",
            "2 cores with exits of their own need as many exits; there are 1 (chin)",
        ),
        (WHOLE + READY.format("one inlet, one core"), "makes its own ducts: leave [[duct]] out"),
        (
            CORE + 'from = "nose"\n' + READY.format("one inlet, one core"),
            "says where it stands; leave from out",
        ),
        (WHOLE + "\n[cooling]\nexits_apart = true\n", "only for a ready arrangement"),
        (CORE + READY.format("one inlet, two core"), "did you mean 'one inlet, one core'?"),
        (
            WHOLE + '\n[cooling]\ninlets = ["nase"]\n',
            "'nase' is no [[opening]]; did you mean 'nose'",
        ),
        (WHOLE + '\n[cooling]\ninlets = ["chin"]\n', "'chin' has use = 'exit'; expected 'inlet'"),
        (WHOLE + '\n[cooling]\nexits = ["chin", "chin"]\n', "'chin' is named twice"),
    ],
)
def test_settings_that_do_not_fit(tmp_path, tables, text):
    said = only_mistake(tmp_path, tables)
    assert text in said
    assert said.startswith("line ")


def test_both_serve_as_inlet_where_something_starts_there(tmp_path):
    body = changed('name = "chin"\nuse = "exit"', 'name = "chin"\nuse = "both"', BODY)
    body = changed('name = "nose"\nuse = "inlet"', 'name = "nose"\nuse = "both"', body)
    found = installation(tmp_path, body=body)
    assert [(p.name, p.use) for p in found.ports] == [("nose", "inlet"), ("chin", "exit")]


def test_an_exit_of_its_own_is_not_on_the_bay(tmp_path):
    found = installation(
        tmp_path, changed('flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nto = "chin"', WHOLE)
    )
    assert found.place_of(port(found, "chin")) == "chin"
    assert found.cores[0].end == "chin"


PLENUM = changed('to = "radiator"', 'to = "plenum"', WHOLE).replace(
    'flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nfrom = "plenum"'
)


def test_a_plenum_between_duct_and_core(tmp_path):
    found = installation(tmp_path, PLENUM)
    assert (found.ducts[0].end, found.cores[0].start) == ("plenum", "plenum")
    assert [part.what for part in found.ducts[0].parts] == [
        "mitre bend 90 deg",
        "head of the jet into plenum",
    ]


def told(old, new, text=WHOLE):
    return changed(old, new, text)


@pytest.mark.parametrize(
    ("tables", "where", "text"),
    [
        (told('from = "nose"', 'from = "nase"'), 'from = "nase"', "'nase'; did you mean 'nose'?"),
        (told('to = "radiator"', 'to = "radiater"'), "[[core]]", "nothing leads to it"),
        (told('to = "radiator"', 'to = "nose"'), 'to = "nose"', "leads from 'nose' to the same"),
        (told('from = "nose"', 'from = "chin"'), 'from = "chin"', "'chin' is an exit: air leaves"),
        (
            told('flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nto = "box"'),
            'to = "box"',
            "nothing leaves 'box', a dead end",
        ),
        (
            told('flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nto = "bey"'),
            'to = "bey"',
            "nothing leaves 'bey', a dead end; did you mean 'bay'?",
        ),
        (
            told('to = "bay"', 'to = "bye"', WHOLE + LEAK),
            'to = "bye"',
            "'bye' is no opening and no",
        ),
        (
            told('to = "bay"', 'to = "chin"', WHOLE + LEAK),
            'to = "chin"',
            "a leak to the exit 'chin'",
        ),
        (told('"12 cm2", low = "6 cm2"', '"0 cm2", low = "0 cm2"', WHOLE + LEAK), "0 cm2", "is 0"),
        (
            told('name = "chin duct"', 'name = "radiator"'),
            "[[core]]",
            "'radiator' is already the name of duct 1",
        ),
        (told('name = "chin duct"', 'name = "nose"'), 'name = "nose"', "the name of an opening"),
        (told('name = "chin duct"', 'name = "bay"'), 'name = "bay"', "always there"),
        (told('name = "seal"', 'name = "fan"', WHOLE + FAN + LEAK), "[[leak]]", "name of fan 1"),
        (WHOLE + DUCT, "[[duct]]", "'chin duct' is already the name of duct 1"),
    ],
)
def test_joins_that_do_not_fit(tmp_path, tables, where, text):
    said = mistakes(tmp_path, tables)
    assert text in said
    assert f"line {line_in(where, tables)}: " in said or where.startswith("[[")


def test_an_opening_that_takes_no_part(tmp_path):
    body = changed('use = "exit"', 'use = "exhaust"', BODY)
    tables = WHOLE + OPENINGS + '\n[cooling]\ninlets = ["left cheek"]\n'
    assert "the opening 'nose' with use = 'inlet' takes no part" in mistakes(tmp_path, tables, body)


def test_heat_without_a_core(tmp_path):
    said = only_mistake(tmp_path, '\n[cooling]\nbay_height = "0 m"\n')
    assert "no [[core]]: the heat of the engine has nothing to leave through" in said
    said = only_mistake(tmp_path, told('to = "radiator"', 'to = "bay"', DUCT))
    assert "no [[core]]" in said


def test_no_exit(tmp_path):
    body = changed('use = "exit"', 'use = "cabin"', BODY)
    assert "nothing leaves the bay: no exit opens from it" in only_mistake(tmp_path, WHOLE, body)


def test_a_core_that_no_inlet_reaches(tmp_path):
    ring = CORE + FAN.replace('behind = "radiator"', 'from = "bay"\nto = "radiator"')
    said = only_mistake(tmp_path, ring)
    assert "no inlet leads to 'radiator', from where it takes its air" in said


def test_a_core_behind_which_no_exit_follows(tmp_path):
    ring = told('flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nto = "box"')
    ring += FAN.replace('behind = "radiator"', 'from = "box"\nto = "radiator"')
    said = only_mistake(tmp_path, ring)
    assert "no exit follows behind it: 'box' leads nowhere outside" in said


def test_named_openings_that_nothing_joins(tmp_path):
    tables = WHOLE + OPENINGS + '\n[cooling]\ninlets = ["nose", "left cheek"]\n'
    assert "nothing leads on from left cheek" in only_mistake(tmp_path, tables)
    apart = told('flow = "1.5 kg/s"', 'flow = "1.5 kg/s"\nto = "chin"', WHOLE + OPENINGS)
    apart += '\n[cooling]\nexits = ["chin", "top vent"]\n'
    assert "nothing leads to top vent, nor to the bay" in only_mistake(tmp_path, apart)
    found = installation(tmp_path, apart.split("\n[cooling]")[0])
    assert [p.name for p in found.exits] == ["chin"]


def test_mistakes_elsewhere_do_not_hide_those_of_the_tables(tmp_path):
    body = changed('alpha = "6 deg"', 'alpha = "6 degs and more"', BODY)
    said = mistakes(tmp_path, told('"400 mm"', '"400"'), body)
    assert said.startswith("case.toml: 2 mistakes")
    assert "core[1].width" in said


def test_unknown_keys_and_tables_are_told(tmp_path):
    assert "did you mean 'bay_height'?" in only_mistake(
        tmp_path, WHOLE + '\n[cooling]\nbay_hight = "0 m"\n'
    )
    assert "did you mean 'drop_test'?" in mistakes(tmp_path, told("drop_test", "drop_tests"))
    assert "write [[core]]" in mistakes(tmp_path, WHOLE.replace("[[core]]", "[core]"))


def test_pieces_as_tables_of_their_own(tmp_path):
    start = WHOLE.index("pieces = [")
    piece = '\n[[duct.pieces]]\nkind = "mitre bend"\nangle = "90 deg"\ndiameter = "80 mm"\n'
    assert installation(tmp_path, WHOLE[:start] + piece).ducts == installation(tmp_path).ducts


def test_what_is_read_makes_a_network_without_dead_ends(tmp_path):
    found = installation(
        tmp_path, WHOLE + FAN + LEAK + OPENINGS + '\n[cooling]\nbay_height = "0 m"\n'
    )
    air = outside([[600.0, -100.0, -200.0]] * 4)
    network = build_network(found, air, Worlds(np.arange(4)))
    assert network.boundaries == ("nose, outside", "chin, outside", "top vent, outside")
    assert network.dead_ends == ()
    assert {"fan duct", "radiator", BAY} <= {node.name for node in network.nodes}


def test_step_from_a_duct_into_a_wider_exit_is_told(tmp_path):
    ways = CORE + DUCT.replace("chin duct", "front duct")
    ways = ways.replace('cools = "coolant"', 'cools = "coolant"\nto = "behind"')
    tail = """
[[duct]]
name = "tail"
from = "behind"
to = "chin"
pieces = [ { kind = "straight", length = "400 mm", diameter = "60 mm" } ]
"""
    note = "opening chin: 150 cm2, but what ends there has 28.27 cm2"
    assert any(text.startswith(note) for text in installation(tmp_path, ways + tail).notes)
    wide = tail.replace('diameter = "60 mm"', 'area = "200 cm2"')
    assert not any("what ends there" in text for text in installation(tmp_path, ways + wide).notes)
