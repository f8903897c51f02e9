"""What the page, the lines and the summary say of combinations that share a bay."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from panelcp.placement import combinations
from panelcp.placement.combinations import combine
from panelcp.quantity import UncertainValue
from panelcp.report.combinations_section import (
    ESTIMATE,
    combination_lines,
    combinations_section,
    combinations_summary,
    described,
    exit_text,
    exits_to_mark,
    ratio_text,
    sign_warnings,
    size_line,
)
from panelcp.report.markup import html_row, html_table
from panelcp.report.summary import _plain
from panelcp.surface.opening import KINDS
from tests.placement.test_combinations import (
    CONDITIONS,
    SETTINGS,
    places,
    ranking,
    sampled,
)

__all__ = ["places", "ranking"]  # fixtures


@pytest.fixture(scope="module")
def found(ranking):
    """Rear and top only: in the glide the top draws air in."""
    sharp = dict.fromkeys(KINDS, UncertainValue(0.62, 0.55, 0.68, "memory"))
    settings = replace(SETTINGS, names=("rear", "top"), area_factors=(0.7, 1.0), discharge=sharp)
    return combine(ranking, sampled(ranking, 0.02), CONDITIONS, settings, moving=[True, True, True])


def number_of(found, exits):
    """Best combination with these exits."""
    return next(
        k for k in range(len(found)) if {o.name for o, _ in found.exits_of(k)} == set(exits)
    )


def page(found):
    return combinations_section(found, CONDITIONS, html_table, html_row)


def test_an_exit_that_draws_in_is_told_with_condition_and_strength(found):
    k = number_of(found, ("rear", "top"))
    lines = sign_warnings(found, CONDITIONS, k)
    assert "top would draw air in during glide" in lines
    assert sign_warnings(found, CONDITIONS, number_of(found, ("rear",))) == []


def test_strength_of_the_words_follows_the_probability(found):
    k = number_of(found, ("rear", "top"))
    place = [o.name for o, _ in found.exits_of(k)].index("top")
    for chance, word in ((0.9, "would"), (0.6, "would more likely than not"), (0.05, "may")):
        chances = np.zeros_like(found.exit_reversal)
        chances[2, k, place] = chance
        changed = replace(found, exit_reversal=chances)
        assert sign_warnings(changed, CONDITIONS, k) == [f"top {word} draw air in during glide"]
    few = np.zeros_like(found.exit_reversal)
    few[2, k, place] = 0.01
    assert sign_warnings(replace(found, exit_reversal=few), CONDITIONS, k) == []


def test_inlets_blow_out(found):
    chances = np.zeros_like(found.inlet_reversal)
    k = next(k for k in range(len(found)) if len(found.inlets_of(k)) == 2)
    chances[1, k, 1] = 0.95
    changed = replace(
        found, inlet_reversal=chances, exit_reversal=np.zeros_like(found.exit_reversal)
    )
    name = found.inlets_of(k)[1].name
    assert sign_warnings(changed, CONDITIONS, k) == [f"{name} would blow air out during slow"]


def test_openings_that_do_the_same_are_told_together(found):
    k = next(k for k in range(len(found)) if len(found.inlets_of(k)) == 2)
    chances = np.zeros_like(found.inlet_reversal)
    chances[:2, k] = 0.1
    changed = replace(
        found, inlet_reversal=chances, exit_reversal=np.zeros_like(found.exit_reversal)
    )
    names = " and ".join(opening.name for opening in found.inlets_of(k))
    expected = [f"{names} may blow air out during fast, slow"]
    assert sign_warnings(changed, CONDITIONS, k) == expected
    assert sign_warnings(changed, CONDITIONS, k, possible=False) == []


def test_conditions_at_rest_or_not_predicted_are_not_warned_of(found):
    k = number_of(found, ("rear", "top"))
    for key in ("moving", "predicted"):
        quiet = replace(found, **{key: [True, True, False]})
        assert not any("glide" in line for line in sign_warnings(quiet, CONDITIONS, k))
    assert "at rest" in page(replace(found, moving=[True, True, False]))
    assert "not predicted" in page(replace(found, predicted=[True, True, False]))


def test_lines_tell_the_best_and_how_it_was_found(found, ranking, monkeypatch):
    lines = combination_lines(found, CONDITIONS)
    assert lines[0].startswith(f"Best of all {found.possible} combinations of openings that share")
    assert described(found, 0) in lines[0]
    assert ratio_text(found, 0) in lines[0]
    assert "enough with a probability of" in lines[0]
    both = number_of(found, ("rear", "top"))
    if both in (0, found.preferred):
        assert any("two exits that share a bay" in line for line in lines)
    monkeypatch.setattr(combinations, "MOST_EXACT", 10)
    searched = combine(ranking, None, CONDITIONS, SETTINGS)
    line = combination_lines(searched, CONDITIONS)[0]
    assert f"{searched.looked_at} that a search looked at among {searched.possible}" in line
    assert "±" not in line
    assert "probability" not in line


def test_a_smaller_equal_combination_is_offered(found):
    equal = replace(found, difference_deviation=np.full(len(found), 100.0))
    assert equal.preferred > 0
    lines = combination_lines(equal, CONDITIONS)
    assert "with fewer or smaller openings" in lines[1]
    assert described(equal, equal.preferred) in lines[1]
    assert "preferred" in page(equal)


def test_area_and_factor_of_an_exit(found):
    opening = found.exits[0]
    area = 1e4 * opening.area
    assert exit_text(opening, 1.0) == f"{opening.name} ({area:.0f} cm²)"
    assert exit_text(opening, 0.7) == f"{opening.name} ({0.7 * area:.0f} cm², ×0.7)"


def test_page_holds_flows_with_arrows_and_the_word_for_the_wrong_way(found):
    html = page(found)
    assert "Two exits that share a bay" in html
    assert "Estimate" in ESTIMATE
    k = number_of(found, ("rear", "top"))
    place = [o.name for o, _ in found.exits_of(k)].index("top")
    wrong = -found.flows.exits[k, 2, place]
    assert wrong > 0.0
    assert f"← {wrong:.3f} in" in html
    assert f"→ {found.flows.inlets[0, 0, 0]:.3f}" in html
    for tag in ("table", "tr", "details", "ol", "li", "p"):
        assert len(re.findall(rf"<{tag}[ >]", html)) == html.count(f"</{tag}>"), tag


def test_every_row_of_a_table_has_as_many_cells_as_its_head(found):
    for table in re.findall(r"<table.*?</table>", page(found), flags=re.S):
        rows = re.findall(r"<tr.*?</tr>", table, flags=re.S)
        assert len({cells(row) for row in rows}) == 1


def cells(row):
    """Columns that the cells of a row take."""
    wide = [int(n) - 1 for n in re.findall(r'colspan="(\d+)"', row)]
    return len(re.findall(r"<t[hd][ >]", row)) + sum(wide)


def test_exits_to_mark_are_those_of_the_best_and_the_preferred(found):
    names = [opening.name for opening in exits_to_mark(found)]
    wanted = [o.name for k in (0, found.preferred) for o, _ in found.exits_of(k)]
    assert names == list(dict.fromkeys(wanted))
    line = size_line(found, CONDITIONS)
    assert all(o.name in line for o, _ in found.exits_of(found.preferred))


def test_texts_of_the_case_are_escaped(found):
    names = (replace(CONDITIONS[0], name="<b>fast</b>"), *CONDITIONS[1:])
    html = combinations_section(found, names, html_table, html_row)
    assert "<b>" not in html
    assert "&lt;b&gt;fast" in html


def test_summary_holds_all_numbers(found):
    assert combinations_summary(None, CONDITIONS) is None
    told = json.loads(json.dumps(_plain(combinations_summary(found, CONDITIONS))))
    assert told["possible"] == found.possible
    assert told["preferred"] == found.preferred + 1
    assert len(told["combinations"]) == len(found)
    first = told["combinations"][0]
    assert first["least_flow_ratio"] == pytest.approx(found.least_ratio[0], rel=1e-6)
    assert first["flow"] == pytest.approx(found.flows.core[0].tolist(), rel=1e-6)
    total = np.sum([part["flow_out"] for part in first["exits"]], axis=0)
    assert total == pytest.approx(first["flow"], rel=1e-5)
    assert first["flow_ratio"][2] is None
    assert first["exits"][0]["area"] == pytest.approx(
        found.exits_of(0)[0][0].area * first["exits"][0]["area_factor"], rel=1e-6
    )


def test_nothing_is_recommended_that_is_not_surely_enough(found):
    for chance, words in ((0.37, "not surely enough"), (0.95, "Take the smaller")):
        known = replace(found, sufficiency=np.full(len(found), chance))
        assert words in size_line(known, CONDITIONS)
