"""What the page, the terminal and the log say of the cooling network."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest

from panelcp.cooling.results import BudgetStep
from panelcp.report.cooling_section import (
    COOLING_STYLE,
    ELECTRIC,
    HOT_DAY,
    LINES,
    LOSS,
    cooling_lines,
    cooling_log,
    cooling_section,
    hardest,
)
from panelcp.report.cooling_tables import core_word
from panelcp.report.page import STYLE
from tests.report.test_cooling_tables import CONDITIONS, HOSTILE, NAN, NO, array, bare, tug


class Reader(HTMLParser):
    """Texts of a page, and whether its elements are closed in order."""

    VOID = ("meta", "br", "rect", "line", "path", "polygon")

    def __init__(self):
        super().__init__()
        self.open, self.texts, self.tags, self.bad = [], [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.bad.append(tag)

    def handle_data(self, data):
        self.texts.append(data)


def read(result):
    reader = Reader()
    reader.feed(cooling_section(result))
    assert not reader.bad
    assert not reader.open
    return reader


def words(result):
    return " ".join(" ".join(read(result).texts).replace("\u00a0", " ").split())


@cache
def plain():
    """Words of the section of the tug as it is."""
    return words(tug())


def changed(result, k, **values):
    """The result with other values of core k."""
    cores = list(result.cores)
    cores[k] = replace(cores[k], **values)
    return replace(result, cores=tuple(cores))


def margins(result, k, *values):
    return changed(result, k, margin=replace(result.cores[k].margin, value=array(*values)))


def test_the_answer_comes_first_and_names_the_least_margin():
    lines = cooling_lines(tug())
    assert lines[0] == (
        "Cooling: enough air in all 4 deciding conditions; least margin 2.1 K (−3 to 7), stop: "
        "oil cooler in sideslip, too hot with a probability of 25 %. Too hot, though not deciding, "
        "in taxi (oil cooler −4 K)."
    )
    assert lines[1] == (
        "Pressure available over needed at least 1.04 (sideslip; 1 is just enough); no margin is "
        "left at 39 °C outside in sideslip (central estimate: about an even chance to be too hot "
        "there)."
    )
    assert lines[2] == (
        "Air flows backwards through top vent in idle descent; oil cooler in taxi. It may flow "
        "backwards through right cheek in taxi; top vent in sideslip, taxi."
    )
    assert lines[3] == "Over-cooled: radiator in idle descent."
    assert "fan holds the ram air back in climb at 78 kt, cruise, idle descent" in lines[4]
    assert "near its stall dip in taxi" in lines[4]
    assert lines[5] == "The air can also settle in another steady state in taxi."
    assert hardest(tug()) == 3


def test_not_enough_air_is_said_first():
    result = margins(tug(), 0, -3, 16, 38, -6, 60, 12)
    first = cooling_lines(result)[0]
    assert first.startswith("Cooling: not enough air in 2 of 4 deciding conditions; least margin")
    assert "−6 K (−3 to 7)" not in first
    assert "radiator in sideslip" in first


def test_one_deciding_condition_none_and_no_limits():
    only = tug(decides=array(1, 0, 0, 0, 0, 0) > 0)
    assert cooling_lines(only)[0].startswith("Cooling: enough air in the deciding condition; ")
    none = cooling_lines(tug(decides=NO))[0]
    assert none.startswith("Cooling: not enough air in 1 of 6 conditions, of which none decides;")
    assert "taxi" in none
    free = tug()
    for k in range(3):
        free = margins(free, k, *NAN)
    assert cooling_lines(free)[0] == (
        "Cooling: no margin is known in 4 deciding conditions: no core there has a limit, or not "
        "solved."
    )
    assert hardest(free) is None
    assert "no limit" in words(free)


def test_a_condition_without_limit_is_named():
    result = tug()
    for k in range(3):
        values = result.cores[k].margin.value.copy()
        values[2] = np.nan
        result = margins(result, k, *values)
    first = cooling_lines(result)[0]
    assert first.startswith("Cooling: enough air in 3 of 4 deciding conditions; margin not known")
    assert "; margin not known in cruise; least margin 2.1 K" in first


def test_what_is_not_solved_is_said_at_once():
    worst = cooling_lines(tug(converged=array(1, 1, 1, 0, 1, 1) > 0))[0]
    assert worst.startswith(
        "Cooling: enough air in 3 of 4 deciding conditions; margin not known in sideslip; least "
        "margin 6.8 K"
    )
    result = tug(converged=array(1, 0, 1, 1, 1, 1) > 0)
    assert cooling_lines(result)[1] == ("Not solved, its numbers must not be used: climb at 78 kt.")
    assert "climb at 78 kt: not solved, do not use its numbers" in words(result)
    assert "NO: do not use" in words(result)
    assert "cooling, climb at 78 kt: NOT SOLVED" in "\n".join(cooling_log(result))
    assert "NOT SOLVED" not in "\n".join(cooling_log(tug()))


def test_at_most_so_many_lines():
    assert len(cooling_lines(tug(converged=NO))) == LINES
    assert len(cooling_lines(bare())) <= LINES


def test_all_forward_is_said_too():
    result = tug()
    still = {"reversed": NO, "chance_reversed": np.zeros(6)}
    result = replace(result, ports=tuple(replace(port, **still) for port in result.ports))
    result = changed(result, 1, **still)
    assert (
        "Air flows the way it is meant through every opening and core in all conditions."
        in cooling_lines(result)
    )


def test_strength_of_the_words_follows_the_chance():
    result = tug()
    vent = replace(result.ports[3], reversed=NO, chance_reversed=array(0, 0.01, 0.04, 0.6, 0, 0))
    line = cooling_lines(replace(result, ports=(*result.ports[:3], vent)))[2]
    assert "More likely than not also through top vent in sideslip." in line
    assert "It may flow backwards through right cheek in taxi; top vent in cruise." in line


def test_many_conditions_are_counted():
    result = changed(tug(), 0, too_cold=~NO)
    assert (
        "Over-cooled: radiator in \"tow, hot day\", \"climb at 78 kt\", \"cruise\" and 3 more."
        in cooling_lines(result)
    )  # fmt: skip


def test_no_pressure_needed():
    result = tug(available_over_needed=np.full(6, np.inf), highest_outside=NAN)
    line = cooling_lines(result)[1]
    assert line == "No pressure is needed in any deciding condition."


def test_the_margin_table_has_words_bands_and_chances():
    html = cooling_section(tug())
    text = plain()
    assert "2.1 K (−3 to 7) stop; too hot: 25 %" in text
    assert "6.8 K (2 to 11) look; too hot: 13 %" in text
    assert "16 K (11 to 21) good" in text
    assert "common practice" in text
    assert "1.14 look" in text
    assert "1.35 good" in text
    assert "none needed" in text
    assert 'class="bad r"' in html
    assert 'class="look r"' in html


def test_without_samples_there_are_no_bands():
    text = words(tug(sampled=False))
    assert "2.1 K stop" in text
    assert " to 7)" not in text
    assert "Nothing was sampled, so there are no bands and no probabilities." in text


def test_only_the_hardest_condition_is_open_and_deciding_ones_come_first():
    html = cooling_section(tug())
    summaries = re.findall(r"<details( open)?><summary>([^<]+)</summary><div class=\"pic", html)
    conditions = [(opened, name) for opened, name in summaries if name != "Bars of all cores"]
    assert [name.split(":")[0] for _, name in conditions] == [
        *CONDITIONS[:4], "idle descent (does not decide)", "taxi (does not decide)",
    ]  # fmt: skip
    assert [name.split(":")[0] for opened, name in conditions if opened] == ["sideslip"]
    assert conditions[5][1].endswith("backwards: oil cooler")


def test_every_condition_has_its_picture_without_scripts():
    reader = read(tug())
    assert "script" not in reader.tags
    assert cooling_section(tug()).count('role="img"') == 6 + 3
    assert reader.tags.count("desc") == 6, "bars have their words in the label alone"
    assert cooling_section(tug()).count('role="img" aria-label="') == 3
    assert "http" not in cooling_section(tug()).replace("http://www.w3.org", "")


def test_numbers_of_cores_openings_and_ways():
    text = plain()
    # radiator, sideslip: 0.80 kg/s in band, 0.80 / 1.1 / 0.1 m/s
    assert "radiator (coolant) 0.800 (0.779 to 0.821) 7.3" in text
    assert "left cheek (inlet) 0.880 (0.816 to 0.944) 26.7 0.81 450 1.81 5 38" in text
    assert "top vent (exit) −0.050" in text
    assert "cowl joint (leak) 0.0240" in text
    assert "fan, doors 0.2400" in text
    assert "Leaks let 8 % of the air past the cores." in text
    assert "Stop: backwards: draws in" in text
    assert "Stop: oil cooler: air flows backwards, too hot" in text


def test_over_cooling_is_said_in_words():
    assert (
        "Look: radiator: over-cooled: thermostat shut and still below its opening temperature"
        in plain()
    )


def test_the_budget_stands_in_bars_lines_and_tables():
    text = plain()
    assert (
        "radiator in sideslip: driven by 1 ram and place of the inlet 450 Pa, 5 fan 14 Pa" in text
    )
    assert "taken by 2 entry and lip 46 Pa, 3 left duct 26 Pa, 4 radiator 174 Pa" in text
    assert "do not add up" not in text
    result = tug()
    lost = BudgetStep("radiator", "lost", array(0, 0, 25, 0, 0, 0))
    broken = replace(result, budget=(*result.budget[:2], lost, *result.budget[2:]))
    assert "The steps do not add up in cruise." in words(broken)


def test_fans_have_their_flags_watts_and_caution():
    text = plain()
    assert "fan tow, hot day 0.543 12 150 running" in text
    assert "off; holds the ram air back" in text
    assert "running; near its stall dip" in text
    assert ELECTRIC in text
    assert ELECTRIC not in words(bare())


def test_usual_ranges_are_marked_and_flagged():
    text = plain()
    assert "Common practice, no source" in text
    assert "never used as an input" in text
    assert "face velocity radiator 7.27 to 11.4 m/s 4 to 10 m/s look: above most in cruise" in text
    assert "inlet velocity over airspeed left cheek 0.694 to 0.854 0.4 to 0.9 usual" in text
    assert "leaks past the cores all 8 % 10 to 30 % look: below" in text
    assert "available over needed pressure all 1.04 to 1.9 above 1.3 look: below" in text


def test_the_solution_is_told_with_its_doubts():
    text = plain()
    assert "taxi yes 8.0e−11 3.0e−09 12 3 of 400" in text
    assert "at most +14 Pa, at left cheek in cruise" in text
    assert "agreed after 4 rounds, the last one changed a flow by 0.0003 kg/s at most." in text
    assert (
        "Another steady state in taxi, reached from the start “all air backwards”: left cheek "
        "0.040 kg/s backwards, top vent 0.060 kg/s; margins: oil cooler −9 K." in text
    )
    alone = words(tug(other_states=(), coupling_rounds=0))
    assert "No other steady state was found" in alone
    assert "each other's pressures is left out." in alone


def test_cautions_and_warnings_stand_where_they_matter():
    html, text = cooling_section(tug()), plain()
    notice = html[html.index('<div class="notice">') : html.index("<h3>Margins</h3>")]
    assert "<li>diffuser of the left duct may stall</li>" in notice
    assert 'class="notice"' not in cooling_section(tug(warnings=()))
    assert LOSS in text
    assert HOT_DAY in text
    assert text.index(LOSS) < text.index("The network, condition by condition")
    assert "the air of the bay is taken to be mixed" in text
    assert "buoyancy of the bay is in" in text
    twice = tug(notes=tug().installation.notes)
    assert cooling_section(twice).count(twice.notes[0]) == 1
    assert sum(twice.notes[0] in line for line in cooling_log(twice)) == 1


@pytest.mark.parametrize("sampled", [True, False])
def test_hostile_texts_are_escaped_and_isolated(sampled):
    result = tug(HOSTILE, sampled)
    result = replace(
        result,
        conditions=(HOSTILE[0], HOSTILE[3], HOSTILE[2], HOSTILE[1], "a", "b"),
        notes=HOSTILE,
        warnings=HOSTILE[:2],
    )
    html = cooling_section(result)
    assert "<script" not in html
    own = ("<b>Caution:</b>", "<b>Warnings of the solution</b>")
    assert html.count("<b>") == sum(html.count(words) for words in own)
    text = " ".join(read(result).texts)
    assert HOSTILE[0] in text
    assert HOSTILE[1] in text
    # names are isolated; notes stand alone in their paragraphs
    assert text.count("\u202e") == 1
    assert text.count("\u2068") == text.count("\u2069") > 0
    assert all("\n" not in line for line in (*cooling_lines(result), *cooling_log(result)))


@pytest.mark.parametrize("result", [bare(), tug(budget=(), sampled=False)], ids=["bare", "few"])
def test_less_than_everything_can_be_shown(result):
    text = words(result)
    assert not re.search(r"\bnan\b", text)
    assert "Where the pressure goes" not in text
    assert read(result).tags.count("h3") >= 3


def test_nothing_known_can_be_shown():
    result = tug(sampled=False)
    for k in range(3):
        empty = {
            name: NAN for name in ("face_velocity", "drop", "air_inlet", "air_outlet", "heat",
                                   "hot", "cold", "limit", "thermostat_share")
        }  # fmt: skip
        result = changed(result, k, flow=replace(result.cores[k].flow, value=NAN), **empty)
    result = replace(result, leak_share=NAN, available_over_needed=NAN, highest_outside=NAN)
    assert not re.search(r"\bnan\b", words(result))
    assert "nan" not in "\n".join(cooling_lines(result))


def test_no_cooling_at_all_is_said():
    result = margins(tug(), 0, -np.inf, 16, 38, 6, 60, 12)
    result = changed(result, 0, hot=array(np.inf, 380, 380, 380, 380, 380))
    assert "least margin no cooling" in cooling_lines(result)[0]
    text = words(result)
    assert "no cooling stop" in text
    assert not re.search(r"\binf\b", text)


def test_the_log_tells_every_condition_and_core():
    lines = cooling_log(tug())
    assert lines[0] == (
        "cooling network: 2 inlets, 2 exits, 3 ducts, 3 cores, 1 fan, 2 leaks; bands and "
        "probabilities from 400 sampled worlds in every condition; up to 3 of them (taxi) found no "
        "steady state and are left out there"
    )
    assert (
        "cooling, taxi: solved in 12 steps, pressure imbalance 8.0e-11, heat error 3.0e-09, lost "
        "samples 3" in lines
    )
    assert (
        "cooling, taxi, oil cooler: 0.020 kg/s, margin −4 K, stop; air flows backwards; too hot"
        in lines
    )
    assert sum(line.startswith("cooling, ") and ": solved" in line for line in lines) == 6
    assert "cooling, warning: diffuser of the left duct may stall" in lines


def test_the_style_uses_the_colours_of_the_page_and_two_modes():
    own = set(re.findall(r"(--[\w-]+):", COOLING_STYLE))
    used = set(re.findall(r"var\((--[\w-]+)\)", COOLING_STYLE))
    assert used <= own | set(re.findall(r"(--[\w-]+):", STYLE))
    assert "prefers-color-scheme: dark" in COOLING_STYLE
    classes = set(re.findall(r'class="([^"]+)"', cooling_section(tug())))
    names = {name for group in classes for name in group.split()}
    styled = set(re.findall(r"\.([a-z][\w-]*)", COOLING_STYLE + STYLE))
    assert names <= styled | {"r", "t", "p", "w"}


def test_a_margin_that_is_likely_too_hot_is_never_called_good():
    result = changed(margins(tug(), 0, *[20.0] * 6), 0, chance_too_hot=array(0.3, 0.6, *[0.01] * 4))
    assert [core_word(result, 0, c) for c in range(3)] == ["look", "stop", "good"]


def test_conditions_that_are_not_predicted_get_no_judgement():
    result = replace(tug(), predicted=np.arange(6) != 1)
    assert core_word(result, 0, 1) == ""
    text = words(result)
    assert f"{result.conditions[1]}: the air outside is not predicted" in text
    assert "not predicted" in text
