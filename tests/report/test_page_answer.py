"""The answer in five lines, the warnings, and what the bands are made of."""

import json
import re
from dataclasses import replace

import pytest

from panelcp.report.answer_section import (
    answer_section,
    deciding_lines,
    warnings_box,
    worst_first,
)
from panelcp.report.answers import whole_answer
from panelcp.report.contents import percent, ratio_text
from panelcp.report.sensitivity_section import sensitivity_section
from panelcp.report.summary import summary_json
from tests.cases import ranked

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
    assert re.match(r"(Not e|E)nough air in ", first[1])
    assert "by pressure alone" in second[1]


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
