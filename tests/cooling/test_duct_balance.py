"""Momentum balance of a heated duct: exact rows, limits, sign."""

import numpy as np
import pytest

from panelcp.cooling.duct_balance import duct_balance
from panelcp.errors import NetworkError

# exact: airspeed, temperature, pressure, loss, rise; then exit velocity, force, incompressible exit
# velocity, break-even loss over q, ideal efficiency
ROWS = [
    (60, 288.15, 101325, 600, 40, 54.78830, -5.21170, 54.62750, 0.121895, 0.006179),
    (90, 268.66, 70108, 1200, 40, 79.90145, -10.09855, 79.20158, 0.129592, 0.014783),
    (150, 268.66, 70108, 2500, 60, 146.34318, -3.65682, 144.21008, 0.182559, 0.040012),
]


@pytest.mark.parametrize("row", ROWS)
def test_exact_rows(row):
    found = duct_balance(*row[:5])
    assert found.exit_velocity == pytest.approx(row[5], abs=6e-6)
    assert found.specific_force == pytest.approx(row[6], abs=6e-6)
    assert found.incompressible_exit_velocity == pytest.approx(row[7], abs=6e-6)
    assert found.break_even_loss == pytest.approx(row[8], abs=6e-7)
    assert found.ideal_efficiency == pytest.approx(row[9], abs=6e-7)


def test_nothing_done_to_the_air_gives_no_force():
    found = duct_balance(np.array([0.0, 30.0, 90.0]), 290.0, 1e5, 0.0, 0.0)
    assert found.specific_force == pytest.approx(0.0, abs=1e-9)


def test_heat_alone_pushes_and_gains_the_ideal_efficiency():
    rise = 1e-3  # small: the efficiency is that of the first heat put in
    found = duct_balance(80.0, 288.15, 101325.0, 0.0, rise)
    power = 0.5 * (found.exit_velocity**2 - 80.0**2)
    assert power / (1004.685 * rise) == pytest.approx(found.ideal_efficiency, rel=1e-5)


def test_the_break_even_loss_gives_no_force_in_slow_air():
    density = 101325.0 / (287.05287 * 288.15)
    share = duct_balance(10.0, 288.15, 101325.0, 0.0, 40.0).break_even_loss
    found = duct_balance(10.0, 288.15, 101325.0, share * 0.5 * density * 100.0, 40.0)
    assert found.incompressible_exit_velocity == pytest.approx(10.0, rel=1e-12)
    assert found.exit_velocity == pytest.approx(10.0, rel=2e-4)


def test_light_aircraft_speeds_give_drag():
    speed = np.linspace(30.0, 75.0, 10)
    found = duct_balance(speed, 310.9, 101325.0, 0.4 * 0.5 * 1.135 * speed**2, 40.0)
    assert np.all(found.specific_force < 0.0)


def test_a_loss_beyond_the_ram_pressure_is_no_flow():
    found = duct_balance(30.0, 300.0, 1e5, np.array([100.0, 2000.0]), 40.0)
    assert np.isnan(found.exit_velocity).tolist() == [False, True]
    assert np.isnan(found.incompressible_exit_velocity).tolist() == [False, True]


def test_wrong_numbers_are_refused():
    with pytest.raises(NetworkError, match="airspeed and loss"):
        duct_balance(-1.0, 300.0, 1e5, 0.0, 0.0)
