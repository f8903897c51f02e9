"""Colours of the page: contrast of texts, status colours for every kind of sight."""

import re
from itertools import combinations

import numpy as np
import pytest

from panelcp.report.colours import lab_from_srgb
from panelcp.report.page_style import DARK, LIGHT, STYLE, WRITTEN_ON, screen_only_dark
from tests.report.test_colours import SIGHTS, seen_by

LEAST_CONTRAST = 4.5
"""Of texts, level AA of the Web Content Accessibility Guidelines 2.1, W3C Recommendation, 2018."""

LEAST_SEPARATION = 25.0
"""CIELAB distance of status colours for every kind of sight; the older ones had 8."""


def rgb(colour):
    return np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])


def luminance(colour):
    value = rgb(colour)
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def variables(style):
    """Sets of CSS variables in the order in which they stand."""
    blocks = re.findall(r":root \{ ((?:--[\w-]+:#\w{6}; ?)+)\}", style)
    return [dict(re.findall(r"--([\w-]+):(#\w{6});", block)) for block in blocks]


def test_contrast_of_known_colours():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.478, abs=0.001)  # common knowledge


def test_style_holds_the_colours_and_every_variable_it_uses():
    assert variables(STYLE) == [LIGHT, DARK]
    assert set(re.findall(r"var\(--([\w-]+)\)", STYLE)) <= set(LIGHT) == set(DARK)


@pytest.mark.parametrize("number", [0, 1], ids=["light", "dark"])
def test_texts_stand_out(number):
    colours = variables(STYLE)[number]
    for ink, paper in WRITTEN_ON:
        assert contrast(colours[ink], colours[paper]) >= LEAST_CONTRAST, (ink, paper)
    assert contrast(colours["focus"], colours["paper"]) >= 3.0


@pytest.mark.parametrize("number", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("sight", SIGHTS)
def test_good_look_and_stop_are_told_apart(number, sight):
    colours = variables(STYLE)[number]
    for one, other in combinations(("good", "warn", "bad"), 2):
        seen = seen_by(np.array([rgb(colours[one]), rgb(colours[other])]), sight)
        apart = np.linalg.norm(np.diff(lab_from_srgb(seen), axis=0))
        assert apart >= LEAST_SEPARATION, (one, other)


def test_status_is_also_said_in_words():
    from panelcp.report.cooling_tables import margin_word

    assert {margin_word(m) for m in (-3.0, 7.0, 20.0)} == {"stop", "look", "good"}


def test_dark_colours_are_for_screens_only():
    dark = "@media (prefers-color-scheme: dark) { a { color:red } }"
    assert screen_only_dark(dark).startswith("@media screen and (prefers-color-scheme: dark)")
    assert screen_only_dark(screen_only_dark(dark)) == screen_only_dark(dark)
    assert screen_only_dark(STYLE) == STYLE
