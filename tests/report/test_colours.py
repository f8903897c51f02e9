"""Colours of pressure: separation, even steps, gamut; scale limits."""

import numpy as np
import pytest

from panelcp.errors import FlowError
from panelcp.report.colours import (
    PressureScale,
    grey_print_colours,
    lab_from_srgb,
    pressure_colours,
    pressure_scale,
    srgb_from_lab,
)

# Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
# deficiency", IEEE Transactions on Visualization and Computer Graphics 15 (2009) 1291-1298:
# matrices for severity 1.0, applied to linear red, green, blue.
DEFICIENT_SIGHT = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
SIGHTS = ("normal", "deutan", "protan", "tritan")


def seen_by(colours, sight):
    """sRGB colours as they look to a kind of sight."""
    if sight == "normal":
        return colours
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.array(DEFICIENT_SIGHT[sight]).T, 0.0, 1.0)
    curved = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curved)


def least_separation(colour_map, sight):
    """Smallest CIELAB distance between +v and -v for |v| >= 0.2 of full scale."""
    values = np.linspace(0.2, 1.0, 401)
    plus, minus = (colour_map(0.5 + 0.5 * sign * values)[:, :3] for sign in (1.0, -1.0))
    apart = lab_from_srgb(seen_by(plus, sight)) - lab_from_srgb(seen_by(minus, sight))
    return np.linalg.norm(apart, axis=1).min()


@pytest.fixture(scope="module")
def lab():
    return lab_from_srgb(pressure_colours().colors)


def test_lab_of_known_colours():
    # White and black are exact; pure red is 53.24, 80.09, 67.20 (common knowledge, no source).
    colours = [[1.0, 1.0, 1.0], [0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]
    expected = [[100.0, 0.0, 0.0], [0.0, 0.0, 0.0], [53.24, 80.09, 67.20]]
    np.testing.assert_allclose(lab_from_srgb(colours), expected, atol=0.006)


def test_lab_round_trip():
    colours = np.random.default_rng(70241).random((500, 3))
    np.testing.assert_allclose(srgb_from_lab(lab_from_srgb(colours)), colours, atol=1e-7)


@pytest.mark.parametrize(
    ("sight", "known"), [("normal", 35), ("deutan", 36), ("protan", 31), ("tritan", 35)]
)
def test_signs_are_told_apart_at_least_as_well_as_with_the_yardstick(sight, known):
    import matplotlib

    yardstick = least_separation(matplotlib.colormaps["coolwarm"], sight)
    # The measure itself: a separate measurement of this yardstick gave these whole numbers.
    assert round(yardstick) == known
    assert least_separation(pressure_colours(), sight) >= yardstick


@pytest.mark.parametrize("sight", SIGHTS)
def test_separation_does_not_shrink_towards_the_ends(sight):
    colours = np.asarray(pressure_colours().colors)
    seen = lab_from_srgb(seen_by(colours, sight))
    apart = np.linalg.norm(seen - seen[::-1], axis=1)[len(seen) // 2 :]
    share = np.linspace(0.0, 1.0, len(apart))
    assert np.all(apart[share >= 0.3] > apart[share >= 0.2].min())


def test_equal_steps_on_both_sides(lab):
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    middle = len(steps) // 2
    for side in (steps[:middle], steps[middle:]):
        assert side.max() / side.min() < 1.002
    assert steps[:middle].sum() == pytest.approx(steps[middle:].sum(), rel=0.005)


def test_lightness_falls_from_the_middle_and_stays_light_enough_for_black_lines(lab):
    middle = len(lab) // 2
    assert np.all(np.diff(lab[: middle + 1, 0]) > 0.0)
    assert np.all(np.diff(lab[middle:, 0]) < 0.0)
    assert lab[[0, -1], 0].min() > 40.0


def test_middle_is_a_neutral_light_grey(lab):
    lightness, a, b = lab[len(lab) // 2]
    assert 85.0 < lightness < 93.0
    assert np.hypot(a, b) < 0.01


def test_suction_is_blue_green_and_pressure_amber(lab):
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    middle, grey = len(lab) // 2, 26
    assert np.all((hue[: middle - grey] > 195.0) & (hue[: middle - grey] < 248.0))
    assert np.all((hue[middle + grey :] > 50.0) & (hue[middle + grey :] < 90.0))


def test_no_colour_is_cut_off_by_the_screen():
    colours = np.asarray(pressure_colours().colors)
    assert colours.min() > 0.0
    assert colours.max() < 1.0
    assert pressure_colours().name == "panelcp_pressure"
    assert len(colours) >= 255


def test_grey_print_map_keeps_the_signs_apart_in_print():
    lab = lab_from_srgb(grey_print_colours().colors)
    np.testing.assert_allclose(np.diff(lab[:, 0]), np.diff(lab[:, 0]).mean(), rtol=1e-4)
    apart = np.abs(lab[:, 0] - lab[::-1, 0])
    values = np.linspace(-1.0, 1.0, len(lab))
    assert apart[values >= 0.2].min() > 11.0
    hue = np.degrees(np.arctan2(lab[5:, 2], lab[5:, 1])) % 360.0
    assert np.ptp(hue) < 0.1


def test_signs_are_alike_in_grey_so_lines_must_tell_them():
    """Why lines of suction are dashed and that of zero thick: lightness alone tells no sign."""
    from panelcp.report.maps import line_style

    lightness = lab_from_srgb(pressure_colours().colors)[:, 0]
    assert np.abs(lightness - lightness[::-1]).max() < 12.0
    for level in PressureScale(1.0, 0.1).levels:
        width, dashes = line_style(level)
        assert (dashes != "solid") == (level < 0.0)
        assert (width > 1.0) == (level == 0.0)


@pytest.mark.parametrize("sight", SIGHTS)
def test_more_is_darker_in_every_sight(sight):
    # Order on each side can be read, also where hues are lost.
    lightness = lab_from_srgb(seen_by(np.asarray(pressure_colours().colors), sight))[:, 0]
    middle = len(lightness) // 2
    for side in (lightness[middle:], lightness[middle::-1]):
        assert np.all(np.diff(side[::8]) < 0.0)


@pytest.mark.parametrize(
    ("given", "step", "limit", "line_step"),
    [
        (1.0, None, 1.0, 0.1),
        (0.97, None, 1.0, 0.1),
        (1.01, None, 1.2, 0.2),
        (-2.3, None, 2.5, 0.5),
        (137.0, None, 140.0, 20.0),
        (0.87, 0.25, 1.0, 0.25),
        (3e-3, None, 3e-3, 5e-4),
    ],
)
def test_scale_is_rounded_up_to_whole_steps(given, step, limit, line_step):
    scale = pressure_scale(given, step)
    assert scale.limit == pytest.approx(limit, rel=1e-12)
    assert scale.step == pytest.approx(line_step, rel=1e-12)


def test_scale_holds_all_conditions():
    conditions = [np.array([0.2, -0.4]), np.array([[0.1, -1.34, 0.3]])]
    assert pressure_scale(conditions).limit == 1.4
    assert pressure_scale(np.stack([conditions[0], -3.0 * conditions[0]])).limit == 1.2


def test_levels_are_symmetric_multiples_of_the_step():
    levels = pressure_scale(0.93, 0.1).levels
    assert levels == tuple(k / 10 for k in range(-10, 11))
    assert 0.0 in levels
    assert PressureScale(1.0, 0.3).levels == (-0.9, -0.6, -0.3, 0.0, 0.3, 0.6, 0.9)


@pytest.mark.parametrize(
    ("step", "value", "text"), [(0.25, -0.25, "−0.25"), (0.1, 0.3, "0.3"), (50.0, 100.0, "100")]
)
def test_level_text_has_the_digits_of_the_step(step, value, text):
    assert PressureScale(100.0, step).text(value) == text


@pytest.mark.parametrize(
    ("given", "step", "message"),
    [
        (0.0, None, "not all zero"),
        (np.nan, None, "finite"),
        ([[0.1, np.inf]], None, "finite"),
        ([[0.1, 0.2], [np.nan]], None, "finite"),
        ([], None, "not all zero"),
        (1.0, -0.1, "not positive"),
    ],
)
def test_scale_refuses_what_gives_no_scale(given, step, message):
    with pytest.raises(FlowError, match=message):
        pressure_scale(given, step)


def test_scale_refuses_a_step_greater_than_the_limit():
    with pytest.raises(FlowError, match="not greater than the limit"):
        PressureScale(0.1, 0.2)
