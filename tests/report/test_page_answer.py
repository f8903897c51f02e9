"""The answer in five lines, the warnings, and what the bands are made of."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from panelcp.placement.spoilers import Spoiler
from panelcp.report.answer_section import (
    answer_section,
    deciding_lines,
    warnings_box,
    worst_first,
)
from panelcp.report.answers import whole_answer
from panelcp.report.contents import condition_line, percent, ratio_text
from panelcp.report.cooling_diagram import budget_parts
from panelcp.report.inputs_section import conditions_section
from panelcp.report.sensitivity_section import sensitivity_section
from panelcp.report.summary import summary_json
from panelcp.report.units_switch import switchable
from tests.cases import ranked
from tests.report.test_cooling_section import margins
from tests.report.test_cooling_tables import tug
from tests.report.test_margin_section import RANKING

WARNINGS = (
    "panels are too coarse there",
    "left louvres: air flows backwards in 3 conditions: a; b; c",
    "radiator: air may flow backwards in 3 conditions: a; b; c",
    "right louvres: air flows backwards in 7 conditions: a",
    "oil cooler: oil above its limit in 2 conditions: a; b",
    "radiator: coolant above its limit in 6 conditions: a",
    "top vent is 527 mm from the windshield: a path for flame",
    "something <b>else</b>",
)


@pytest.fixture(scope="module")
def contents():
    return ranked()[1]


def test_five_lines_answer_five_questions_with_the_numbers_of_the_summary(contents):
    lines = dict(deciding_lines(contents))
    asked = ["Does it work?", "Best exit:", "Best inlet:", "What spoils it:", "Test first:"]
    assert list(lines) == asked
    best = json.loads(summary_json(contents))["ranking"]["pairs"][0]
    assert best["exit"] in lines["Best exit:"]
    assert ratio_text(contents, 0) in lines["Best exit:"]
    assert best["inlet"] in lines["Best inlet:"]
    for title in ("Best inlet:", "Test first:"):
        assert best["limiting_condition"] in lines[title]
    assert percent(best["probability_enough"]) in lines["Does it work?"]
    assert best["largest_contributor"] in lines["Test first:"]
    limiting = [c.name for c in contents.flow.conditions].index(best["limiting_condition"])
    assert f"{best['available'][limiting]:.0f} ± " in lines["Test first:"]


def test_the_first_line_is_about_the_network_where_there_is_one():
    from tests.case.test_cooling import solved

    _, contents, _ = solved()
    first, second, *_ = deciding_lines(contents)
    assert re.match(r"(Not enough air: above a limit|Enough air) in ", first[1])
    assert "by pressure alone" in second[1]


def line_of(contents, title):
    return dict(deciding_lines(contents))[title]


def test_conditions_above_a_limit_and_close_to_it_are_counted(contents):
    line = line_of(replace(contents, cooling=tug()), "Does it work?")
    assert line.startswith(
        "Enough air in all 4 deciding conditions, less than 5 K left in 1 (sideslip); least margin"
    )
    hot = margins(tug(), 0, -3, 16, 38, -6, 60, 12)
    hot = margins(hot, 1, 6, 4, 22, 7, 70, 9)
    line = line_of(replace(contents, cooling=hot), "Does it work?")
    assert line.startswith(
        "Not enough air: above a limit in 2 of 4 deciding conditions, less than 5 K left in 1 "
        "more (climb at 78 kt); least margin"
    )


def test_the_first_line_names_what_takes_most_of_the_pressure(contents):
    result = tug()
    line = line_of(replace(contents, cooling=result), "Does it work?")
    c = result.conditions.index("sideslip")
    drives, takes, left = budget_parts(result, "oil cooler", c)
    assert abs(left) < 1e-6
    values = sorted((value for _, _, value in takes), reverse=True)
    told = line.split("What takes the pressure of oil cooler in sideslip, ")[1]
    total, *pieces = [float(number) for number in re.findall(r"(\d+) Pa", told)]
    assert total == round(sum(value for _, _, value in drives))
    assert pieces == [round(value) for value in values[:3]]
    assert "oil cooler " in told.split(": ", 1)[1]


def test_the_best_exit_by_margin_is_named_beside_that_by_pressure(contents):
    name = contents.ranking.exit(0).name
    known = replace(contents, cooling=tug())
    low = replace(RANKING, names=("bottom 1", name), margin=np.array([[4.0, 9.0], [-61.3, 3.0]]))
    line = line_of(replace(known, margins=(low,)), "Best exit:")
    assert (
        "by margin with the cooling network: bottom 1, 4.0 K; this place −61.3 K, rank 2 of 2: "
        "the two do not agree: do not cut by pressure alone"
    ) in line
    same = replace(RANKING, names=(name, "bottom 1"))
    line = line_of(replace(known, margins=(same,)), "Best exit:")
    assert f"by margin with the cooling network: {name}, 4.0 K, this place too" in line
    assert "do not agree" not in line
    line = line_of(replace(known, margins=(RANKING,)), "Best exit:")
    assert "this place is not among those ranked so: do not cut by pressure alone" in line
    assert "by margin" not in line_of(known, "Best exit:")


def test_a_place_that_is_the_best_more_often_is_named(contents):
    chosen = contents.choices
    rival = contents.ranking.exit(int(chosen.pairs[1])).name
    chances = np.array([0.12, 0.23, *[0.01] * (len(chosen.pairs) - 2)])
    likelier = replace(contents, choices=replace(chosen, chance_of_exit=chances))
    line = line_of(likelier, "Best exit:")
    assert f"with a chance of 12 %, {rival} more often (23 %)" in line
    chances = np.sort(chances)[::-1]
    first = replace(contents, choices=replace(chosen, chance_of_exit=chances))
    assert "more often" not in line_of(first, "Best exit:")


def test_what_endangers_people_is_named_first(contents):
    name = contents.ranking.exit(0).name

    def found(kind, severity, about=""):
        return Spoiler(name, kind, None, 1.0, 0.5, "m", "memory", "Said.", severity, about)

    some = (
        found("breathing", "spoils"),
        found("glass near", "look"),
        found("air at the wing root", "look", "left"),
        found("air at the wing root", "look", "right"),
    )
    line = line_of(replace(contents, spoilers=some), "What spoils it:")
    assert line.startswith(f"Look at air at the wing root, {name}: Said; look at glass near, ")
    assert "breathing" not in line
    line = line_of(replace(contents, spoilers=some[:2]), "What spoils it:")
    assert line.index("glass near") < line.index("breathing")


def test_the_hard_condition_is_flown_last(contents):
    line = line_of(contents, "Test first:")
    assert line.startswith("In cruise first, the hard condition last and on a cool day: ")
    line = line_of(replace(contents, cooling=tug()), "Test first:")
    assert line.startswith(
        "Measure with the openings you have: cruise first, then climb, the hard condition "
        "(sideslip) last and on a cool day: pressure ahead of and behind oil cooler and oil "
        "temperature; then "
    )
    (name, *_) = contents.ranking.contributors(0)
    assert f"; then {name} (" in line


def test_speeds_keep_their_digits_through_the_switch_of_units(contents):
    flow = contents.flow
    condition = replace(flow.conditions[0], true_airspeed=33.1, calibrated_airspeed=None)
    some = replace(flow, conditions=(condition, *flow.conditions[1:]))
    html = conditions_section(replace(contents, flow=some))
    assert "64.3 kt true" in html
    assert "33.1 m/s" in switchable(html)
    assert "64.3 kt true" in condition_line(condition)
    ground = replace(
        condition, true_airspeed=None, alpha=0.0, ground_speed=5.1, wind_speed=4.1, wind_from=45.0
    )
    html = conditions_section(
        replace(contents, flow=replace(flow, conditions=(ground, *flow.conditions[1:])))
    )
    for text in (html, condition_line(ground)):
        assert "9.9 kt" in text
        assert "wind 8 kt" in text


def test_all_else_that_is_said_stands_under_more(contents):
    html = answer_section(contents)
    before, more = html.split("<summary>More</summary>")
    assert before.count("<li><b>") == 5
    assert more.count("<li>") == len(whole_answer(contents))


def test_worst_of_every_kind_of_warning_comes_first():
    found = worst_first(WARNINGS)
    assert sorted(found) == sorted(WARNINGS)
    assert found[:3] == [WARNINGS[5], WARNINGS[3], WARNINGS[6]]
    assert found[-2:] == [WARNINGS[4], WARNINGS[1]]


def test_three_warnings_are_shown_and_the_others_counted():
    html = warnings_box(WARNINGS)
    shown, others = html.split("<details")
    assert "8 warnings, the 3 worst first" in shown
    assert shown.count("<li>") == 3
    assert "The other 5" in others
    assert others.count("<li>") == 5
    assert "<b>" not in html
    assert "something &lt;b&gt;else" in others
    assert warnings_box(()) == ""
    assert "<details" not in warnings_box(WARNINGS[:3])
    assert warnings_box(["only <one>"]) == '<p class="notice">Warning: only &lt;one&gt;.</p>'


def test_parts_of_the_band_are_those_of_the_summary(contents):
    shares = json.loads(summary_json(contents))["ranking"]["pairs"][0]["band"]["least_ratio_shares"]
    html = sensitivity_section(contents)
    bars = re.findall(r"<li><span>([^<]*)</span><i style=\"width:([\d.]+)%\"></i>", html)
    assert len(bars) > 1
    for name, width in bars:
        assert float(width) == pytest.approx(100.0 * shares[name], abs=0.051)
    assert sum(float(width) for _, width in bars) == pytest.approx(100.0, abs=2.0)
    without = replace(contents, ranking=replace(contents.ranking, bands=None))
    assert sensitivity_section(without) == ""
