"""What all laws of losses share."""

import numpy as np
import pytest

from panelcp.cooling.losses import (
    at_deviation,
    discharge_from_loss,
    loss_from_discharge,
    spread,
    within,
)
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

BAND = UncertainValue(0.6, 0.5, 0.8, "memory", "", "number")


def test_numbers_inside_pass_unchanged_and_the_ends_belong_to_the_range():
    assert np.array_equal(within("x", [[1.0, 2.0], [3.0, 4.0]], 1.0, 4.0), [[1, 2], [3, 4]])


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (0.5, "area ratio is 0.5; expected 1 to 10; turn it round"),
        ([1.0, 12.0, 0.2], r"area ratio is 12 \(2 of 3 values\); expected 1 to 10"),
        (np.nan, "area ratio is nan"),
    ],
)
def test_numbers_outside_are_told(values, words):
    with pytest.raises(NetworkError, match=words):
        within("area ratio", values, 1.0, 10.0, "turn it round")


def test_an_open_end_is_told_as_such():
    with pytest.raises(NetworkError, match="expected at least 0"):
        within("length, m", -1.0, 0.0, np.inf)


def test_spread_is_mean_with_least_and_greatest():
    found = spread([1.0, 2.0, 6.0], "derived", "three")
    assert (found.low, found.value, found.high) == (1.0, 3.0, 6.0)
    assert spread([0.0, 0.0], "derived", "no loss", margin=0.5).high == 0.0
    assert spread([0.1, 1.0], "derived", "two", margin=0.9).low == 0.0


def test_places_in_a_band():
    assert at_deviation(BAND, [-1, 0, 1, 0.5]) == pytest.approx([0.5, 0.6, 0.8, 0.7], rel=1e-12)
    assert at_deviation(BAND, -100.0) == pytest.approx(0.06, rel=1e-12)
    assert at_deviation(UncertainValue(0.6), [-3.0, 3.0]) == pytest.approx([0.6, 0.6])


# validation table 6.4: discharge coefficient -> K = 1 / Cd^2 (exact)
@pytest.mark.parametrize(
    ("cd", "loss"), [(0.80, 1.5625), (0.62, 2.6015), (0.41, 5.9488), (0.60, 2.7778)]
)
def test_loss_of_a_discharge_coefficient(cd, loss):
    assert loss_from_discharge(cd) == pytest.approx(loss, abs=5.1e-5)
    assert discharge_from_loss(loss_from_discharge(cd)) == pytest.approx(cd, rel=1e-14)


def test_impossible_coefficients():
    with pytest.raises(NetworkError, match=r"discharge coefficient is 1\.2"):
        loss_from_discharge(1.2)
    with pytest.raises(NetworkError, match="loss coefficient"):
        discharge_from_loss(0.5)
