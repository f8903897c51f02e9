"""Cards of the best places: the numbers of the ranking, bars in proportion, cautions."""

import re
from dataclasses import replace
from html import unescape
from xml.etree import ElementTree

import numpy as np
import pytest

from panelcp.placement.choices import choices
from panelcp.placement.spoilers import Spoiler
from panelcp.report.cards import LONGEST_NAME, NAMES, WIDTH, cards_section, tape_text
from panelcp.report.contents import CAUTIONS, percent
from panelcp.surface.skin_distance import TapeDistances
from tests.cases import ranked

EVIL = "<script>alert('x')</script>\" onload=\"1 & <b>"


def small():
    return ranked()[1]


def with_all_places(contents):
    """The short list is all that does not overlap, the exit below included."""
    longer = replace(contents, best=20)
    return replace(longer, choices=choices(longer.ranking, longer.short_list))


def with_available(contents, condition: int, value: float):
    available = np.array(contents.ranking.available)
    available[condition] = value
    return replace(contents, ranking=replace(contents.ranking, available=available))


def cards_of(contents):
    """Parsed cards; what is not well formed is refused."""
    return ElementTree.fromstring(f"<div>{cards_section(contents)}</div>").findall("article")


def told(card) -> dict[str, str]:
    names = [element.text for element in card.find("dl").findall("dt")]
    values = [element.text for element in card.find("dl").findall("dd")]
    return {n: v.replace("\u00a0", " ") for n, v in zip(names, values, strict=True)}


def bars(card) -> list[tuple[str, float, float, str]]:
    """Name, left end, width and style of every bar."""
    names = [t.text for t in card.iter("text") if t.get("class") is None]
    rects = [(float(r.get("x")), float(r.get("width")), r.get("class")) for r in card.iter("rect")]
    return [(name, *rect) for name, rect in zip(names, rects, strict=True)]


def axis(card) -> float:
    return next(float(e.get("x1")) for e in card.iter("line") if e.get("class") == "axis")


def test_every_place_has_a_card_with_the_numbers_of_ranking_and_choices():
    contents = small()
    ranking, chosen = contents.ranking, contents.choices
    cards = cards_of(contents)
    assert len(cards) == len(contents.short_list) == 3
    for k, (card, pair) in enumerate(zip(cards, contents.short_list, strict=True)):
        rows, outlet = told(card), ranking.exit(pair)
        assert card.find("h3").text == f"{k + 1}: {outlet.name}"
        assert rows["Exit"].startswith(f"{outlet.kind}, 100 × 100 mm, top, STA ")
        assert rows["Air in at"] == "nose"
        least = f"{ranking.least_ratio[pair]:.2f} ± {ranking.least_ratio_deviation(pair):.2f}"
        assert rows["Least available / needed"] == f"{least}, decided by climb"
        assert rows["Weighted mean"] == f"{ranking.mean_ratio[pair]:.2f}"
        assert rows["Enough everywhere"] == percent(ranking.least_sufficiency[pair])
        chance = percent(chosen.chance_of_exit[k])
        assert rows["Chance of being best"] == f"{chance}, of all exits tried"
        low, _, high = chosen.regret_band[:, k]
        assert rows["Regret"].startswith(f"{chosen.worst_regret[k]:.2f} at worst ({low:.2f} to ")
        assert f"{high:.2f} over the sampled worlds" in rows["Regret"]
        tape = contents.tape[outlet.name]
        assert rows["Along the skin"].startswith(tape.text())
        assert tape.hand == ("left" if outlet.centre[1] < 0.0 else "right")
        zone, way = contents.near_zones[outlet.name]
        assert zone == "latch"
        assert rows["Nearest no-cut zone"].startswith(f"latch, {1e3 * way:.0f} mm")
        points = np.vstack([outlet.outline, outlet.sample_points])
        to_latch = np.linalg.norm(points - [-1.4, 0.0, 0.35], axis=1).min() - 0.08
        assert way == pytest.approx(max(to_latch, 0.0))
        assert ("look: a cut marked by hand may be 20 mm off" in rows["Nearest no-cut zone"]) == (
            way < 0.02
        )


def test_bars_are_in_proportion_to_the_pressures_on_all_cards_alike():
    contents = with_all_places(small())
    values, widths = [], []
    for card, pair in zip(cards_of(contents), contents.short_list, strict=True):
        assert [bar[0] for bar in bars(card)] == ["climb", "sideslip"]  # not the air at rest
        assert [bar[3] for bar in bars(card)] == ["enough", "enough watched"]
        assert [bar[1] for bar in bars(card)] == [axis(card)] * 2
        values += list(contents.ranking.available[:2, pair])
        widths += [bar[2] for bar in bars(card)]
    scale = widths[0] / values[0]
    assert widths == pytest.approx(scale * np.array(values), abs=0.1)
    assert np.ptp(values) * scale > 5.0


def test_deviation_and_needed_pressure_stand_where_they_belong():
    contents = small()
    card, pair = cards_of(contents)[0], contents.short_list[0]
    (_, left, width, _), _ = bars(card)
    scale = width / contents.ranking.available[0, pair]
    band = next(e for e in card.iter("line") if e.get("class") == "band")
    need = [e for e in card.iter("line") if e.get("class") == "need"]
    middle = 0.5 * (float(band.get("x1")) + float(band.get("x2")))
    assert middle == pytest.approx(left + width, abs=0.1)
    half = 0.5 * (float(band.get("x2")) - float(band.get("x1")))
    assert half == pytest.approx(scale * contents.ranking.deviation[0, pair], abs=0.1)
    assert len(need) == 1  # none is known in the sideslip
    assert float(need[0].get("x1")) == pytest.approx(left + 500.0 * scale, abs=0.2)


@pytest.mark.parametrize(
    ("value", "style", "number"),
    [(-300.0, "short", "−300 ± "), (-0.2, "short", "0 ± "), (400.0, "short", "400 ± ")],
)
def test_too_little_and_negative_pressures(value, style, number):
    card = cards_of(with_available(small(), 0, value))[0]
    (name, left, width, found), (_, other, _, _) = bars(card)
    assert (name, found) == ("climb", style)
    if value < 0.0:
        assert left + width == pytest.approx(axis(card), abs=0.11)
        assert left >= NAMES - 0.1
    else:
        assert left == axis(card)
    assert other == axis(card)
    said = [t.text for t in card.iter("text") if t.get("class") == "s"]
    assert said[0].startswith(number)
    assert all(float(e.get(key)) <= WIDTH for e in card.iter("line") for key in ("x1", "x2"))


def test_what_is_not_predicted_is_not_told_as_a_number():
    contents = small()
    flow = replace(contents.flow, predicted=np.array([True, False, True]))
    card = cards_of(replace(contents, flow=flow))[0]
    assert [t.text for t in card.iter("text") if t.get("class") == "s"][1] == "out? not predicted"
    assert card.find("svg").get("aria-label").endswith("sideslip out? not predicted")


def test_without_choices_and_without_samples_there_are_no_chances():
    contents = replace(small(), choices=None)
    for rows in map(told, cards_of(contents)):
        assert not {"Chance of being best", "Regret"} & set(rows)
        assert "Reversed somewhere" in rows
    unsampled = replace(contents, ranking=replace(contents.ranking, bands=None))
    for rows in map(told, cards_of(unsampled)):
        assert "Reversed somewhere" not in rows
        assert "Weighted mean" in rows


def test_without_moving_air_there_is_no_picture():
    contents = small()
    conditions = [contents.flow.conditions[2]] * 3
    still = replace(contents, flow=replace(contents.flow, conditions=conditions))
    assert not still.flow.moving.any()
    assert all(card.find("svg") is None for card in cards_of(still))


def test_cautions_that_a_place_calls_for():
    contents = with_all_places(small())
    fires = {}
    for card, pair in zip(cards_of(contents), contents.short_list, strict=True):
        lines = [element.text for element in card.find("ul").findall("li")]
        assert lines[0] == CAUTIONS[2]
        assert lines[-1] == CAUTIONS[5]
        fires[contents.ranking.exit(pair).name] = CAUTIONS[4] in lines
    assert fires.pop("chin") is False
    assert fires
    assert all(fires.values())  # all others are on top


def test_exit_near_glass_is_a_path_for_fire_too():
    contents = with_all_places(small())
    glass = Spoiler(
        "chin", "glass near", None, 0.1, 0.6, "m", "memory", "Acrylic.", "look", "glass"
    )
    found = replace(contents, spoilers=(*contents.spoilers, glass))
    names = [contents.ranking.exit(pair).name for pair in contents.short_list]
    card = cards_of(found)[names.index("chin")]
    assert CAUTIONS[4] in [element.text for element in card.find("ul").findall("li")]


def test_what_spoils_a_place_or_its_inlet_is_listed():
    contents = small()
    name = contents.ranking.exit(contents.short_list[0]).name
    bad = Spoiler(name, "reversed flow", "climb", 0.9, 0.84, "", "derived", "In.", "spoils", "nose")
    first, second, _ = cards_of(replace(contents, spoilers=(bad, *contents.spoilers)))
    assert first.find("details/summary").text == "What to look at (3)"
    assert second.find("details/summary").text == "What to look at (2)"
    words = [element.find("b").text for element in first.find("details/ul")]
    assert words == ["Spoils it:", "Look:", "Look:"]
    assert first.find("details").get("class") == "paper"  # open when printed
    assert all(card.find("details") is None for card in cards_of(replace(contents, spoilers=())))


def test_hostile_texts_are_escaped():
    contents = small()
    ranking = contents.ranking
    exits, inlets = (
        replace(group, openings=[replace(o, name=f"{EVIL} {o.name}") for o in group.openings])
        for group in (ranking.exits, ranking.inlets)
    )
    conditions = [replace(c, name=f"{c.name} {EVIL}") for c in contents.flow.conditions]
    evil = replace(
        contents,
        ranking=replace(ranking, exits=exits, inlets=inlets),
        flow=replace(contents.flow, conditions=conditions),
    )
    html = cards_section(evil)
    tags = set(re.findall(r"<(\w+)", html))
    assert not {"script", "b onload"} & tags
    card = cards_of(evil)[0]
    assert card.find("h3").text == f"1: {EVIL} top best 1"
    assert told(card)["Air in at"] == f"{EVIL} nose"
    assert not any(name.startswith("on") for element in card.iter() for name in element.attrib)
    assert EVIL in unescape(card.find("svg").get("aria-label"))
    shown = bars(card)[0][0]
    assert len(shown) == LONGEST_NAME
    assert shown.startswith("climb <script>")
    assert shown.endswith("…")


@pytest.mark.parametrize(
    ("tape", "text"),
    [
        (TapeDistances(0.0002, "top", None), "on the top centre line"),
        (
            TapeDistances(0.1234, "bottom", 0.2, "left"),
            "123 mm to the left of the bottom centre line, 200 mm ahead ",
        ),
        (
            TapeDistances(0.1234, "top", -0.05, "right"),
            "123 mm to the right of the top centre line, 50 mm behind the ",
        ),
    ],
)
def test_distances_for_a_tape(tape, text):
    contents = replace(small(), tape={"vent": tape})
    assert tape_text(contents, "vent").startswith(text)
    assert tape_text(contents, "other") == ""
