"""Warnings that a builder must see, each from a case that earns it."""

import pytest

from panelcp.case.reading import read_case
from panelcp.case.running import prepare_case, solve_case
from tests.cases import CASE, changed, write_case


@pytest.fixture
def warnings(tmp_path):
    def run(text):
        case = read_case(write_case(tmp_path, text))
        return solve_case(prepare_case(case)).warnings

    return run


def test_small_case_as_it_is_says_only_what_it_is_known_for(warnings):
    lines = warnings(CASE)
    assert not [line for line in lines if "no-cut" in line or "facing" in line]
    assert any("no stream in parked" in line for line in lines)


def test_opening_in_a_no_cut_zone(warnings):
    text = changed('centre = ["-1.4 m", "0 m", "350 mm"]', 'centre = ["-1 m", "0 m", "-433 mm"]')
    assert any("opening chin lies in the no-cut zone latch" in line for line in warnings(text))


def test_forward_facing_inlet_on_top(warnings):
    text = changed('centre = ["-2 m", "0 m", "0 m"]', 'centre = ["0 m", "0 m", "500 mm"]')
    assert any(
        "nose is called forward-facing, but the skin there looks to the top" in line
        for line in warnings(text)
    )


def test_large_angles(warnings):
    lines = warnings(changed('alpha = "6 deg"', 'alpha = "16 deg"'))
    assert any("above 15 deg in climb" in line for line in lines)


def test_placeholder_of_the_starter_case(warnings):
    text = changed(
        'high = "650 Pa", mark = "memory" }',
        'high = "650 Pa", mark = "memory", source = "placeholder of the starter case" }',
    )
    assert any("means nothing until it is replaced" in line for line in warnings(text))


def test_not_enough_and_perhaps_not_enough(warnings):
    for value, words in (("3000 Pa", "no pair reaches"), ("700 Pa", "not certain")):
        text = changed(
            'value = "500 Pa", low = "400 Pa", high = "650 Pa"',
            f'value = "{value}", low = "200 Pa", high = "4000 Pa"',
        )
        assert any(words in line for line in warnings(text))


def test_left_handed_axes(warnings):
    text = changed(
        'part = "whole"', 'part = "whole"\naxes = { aft = "+x", right = "-y", up = "+z" }'
    )
    assert any("left-handed" in line for line in warnings(text))
