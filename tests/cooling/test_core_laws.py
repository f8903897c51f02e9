"""Bench tests of cores: fits, other air, heated cores, scaling of the conductance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.cooling.conductance import AIR_EXPONENT, ConductanceLaw, conductance_from_test
from panelcp.cooling.core_laws import (
    CORE_DEVIATION,
    DROP_EXPONENT,
    DropLaw,
    core_drop,
    drop_law_from_one_reading,
    fit_drop_law,
    heating_drop,
    mean_density,
)
from panelcp.cooling.exchangers import ARRANGEMENTS, effectiveness
from panelcp.errors import NetworkError

BENCH = {"density": 1.19, "viscosity": 1.82e-5}
VELOCITY = np.array([2.0, 4.0, 6.0, 8.0, 10.0])


def test_an_exact_law_is_found_again():
    law = fit_drop_law(VELOCITY, 9.0 * VELOCITY + 4.5 * VELOCITY**2, **BENCH)
    assert (law.linear, law.square) == pytest.approx((9.0, 4.5), rel=1e-10)
    assert law.deviation == pytest.approx(0.0, abs=1e-10)
    assert (law.slowest, law.fastest) == (2.0, 10.0)


def test_two_readings_are_met_and_leave_no_deviation():
    law = fit_drop_law([8.0, 4.0], [400.0, 130.0], **BENCH)
    for velocity, drop in ((4.0, 130.0), (8.0, 400.0)):
        flux = velocity * BENCH["density"]
        assert law.pressure_drop(flux, BENCH["density"]) == pytest.approx(drop)
    assert law.deviation is None
    assert (law.slowest, law.fastest) == (4.0, 8.0)


def test_deviation_is_that_of_the_readings():
    rng = np.random.default_rng(4)
    velocity = np.linspace(2.0, 12.0, 400)
    drop = (9.0 * velocity + 4.5 * velocity**2) * (1.0 + 0.001 * rng.standard_normal(400))
    law = fit_drop_law(velocity, np.sort(drop), **BENCH)
    assert law.deviation == pytest.approx(0.001, rel=0.15)
    assert law.linear == pytest.approx(9.0, rel=0.01)
    # by hand: readings that bend downwards leave the square part at 0, one parameter of three
    law = fit_drop_law([1.0, 2.0, 3.0], [110.0, 200.0, 290.0], **BENCH)
    a = sum(v / d for v, d in ((1, 110), (2, 200), (3, 290)))
    a /= sum((v / d) ** 2 for v, d in ((1, 110), (2, 200), (3, 290)))
    left = sum((a * v / d - 1.0) ** 2 for v, d in ((1, 110), (2, 200), (3, 290)))
    assert (law.linear, law.square) == pytest.approx((a, 0.0))
    assert law.deviation == pytest.approx(np.sqrt(left / 2.0))


@given(a=st.floats(0.0, 50.0), b=st.floats(0.1, 20.0), flux=st.floats(-20.0, 20.0))
@settings(deadline=None, max_examples=60)
def test_the_law_is_odd_rising_and_invertible(a, b, flux):
    law = DropLaw(a, b, 1.2, 1.8e-5, 1.0, 10.0)
    drop = law.pressure_drop(flux, 0.9, 2.1e-5)
    assert law.pressure_drop(-flux, 0.9, 2.1e-5) == -drop
    assert law.mass_flux(drop, 0.9, 2.1e-5) == pytest.approx(flux, abs=1e-9)
    assert law.slope(flux, 0.9, 2.1e-5) >= 0.0
    step = 1e-4
    slope = law.pressure_drop(flux + step, 0.9, 2.1e-5) - law.pressure_drop(
        flux - step, 0.9, 2.1e-5
    )
    assert law.slope(flux, 0.9, 2.1e-5) == pytest.approx(slope / (2.0 * step), abs=0.01, rel=1e-6)


def test_density_times_drop_is_a_function_of_mass_flux():
    # common practice for cores, derived in DropLaw: at one viscosity
    law = fit_drop_law(VELOCITY, 9.0 * VELOCITY + 4.5 * VELOCITY**2, **BENCH)
    density = np.array([0.8, 1.0, 1.19, 1.3])
    product = density * law.pressure_drop(7.0, density)
    assert product == pytest.approx(product[0], rel=1e-12)
    # at one velocity and the same air the bench is met
    assert law.pressure_drop(5.0 * 1.19, 1.19, 1.82e-5) == pytest.approx(9.0 * 5.0 + 4.5 * 25.0)
    # twice the viscosity doubles the linear part alone
    extra = law.pressure_drop(7.0, 1.0, 2.0 * 1.82e-5) - law.pressure_drop(7.0, 1.0)
    assert extra == pytest.approx(law.coefficients(1.0)[0] * 7.0)


def test_flows_outside_the_bench_test_are_said():
    law = fit_drop_law(VELOCITY, 9.0 * VELOCITY + 4.5 * VELOCITY**2, **BENCH)
    flux = 1.19 * np.array([1.0, 2.0, -5.0, 10.05, 11.0])
    assert law.outside(flux).tolist() == [True, False, False, False, True]


@pytest.mark.parametrize("exponent", [DROP_EXPONENT.low, DROP_EXPONENT.value, DROP_EXPONENT.high])
def test_one_reading_gives_its_point_and_slope(exponent):
    law = drop_law_from_one_reading(8.0, 450.0, exponent=exponent, **BENCH)
    flux = 8.0 * 1.19
    assert law.pressure_drop(flux, 1.19) == pytest.approx(450.0)
    slope = law.slope(flux, 1.19) * flux / law.pressure_drop(flux, 1.19)
    assert slope == pytest.approx(exponent)
    assert law.mark == "common practice"


def test_one_reading_and_the_usual_slope_reach_the_usual_drops():
    # louvred core 40 to 60 mm deep: 100-200 Pa at 4 m/s, 300-600 at 8, 700-1200 at 12 (from memory)
    law = drop_law_from_one_reading(8.0, 450.0, **BENCH)
    for velocity, low, high in ((4.0, 100.0, 200.0), (12.0, 700.0, 1200.0)):
        assert low < law.pressure_drop(velocity * 1.19, 1.19) < high


@pytest.mark.parametrize(
    ("velocity", "drop", "words"),
    [
        ([4.0], [100.0], "1 velocity; expected two different ones"),
        ([4.0, 4.0], [100.0, 101.0], "1 velocity; expected two different ones"),
        ([2.0, 4.0, 6.0], [100.0, 90.0, 200.0], "100 Pa at 2 m/s but 90 Pa at 4 m/s"),
        ([0.0, 4.0], [0.0, 90.0], "1 of 2 readings are not above 0"),
        ([2.0, 4.0], [100.0], "one drop per velocity"),
    ],
)
def test_readings_that_cannot_be_right_are_refused(velocity, drop, words):
    with pytest.raises(NetworkError, match=words):
        fit_drop_law(velocity, drop, **BENCH)


def test_other_mistakes_are_refused():
    with pytest.raises(NetworkError, match="expected 1 to 2"):
        drop_law_from_one_reading(8.0, 400.0, exponent=2.5, **BENCH)
    with pytest.raises(NetworkError, match="expected both above 0"):
        drop_law_from_one_reading(8.0, -400.0, **BENCH)
    with pytest.raises(NetworkError, match="a and b of 0 or more"):
        DropLaw(-1.0, 4.0, 1.2, 1.8e-5, 1.0, 2.0)
    with pytest.raises(NetworkError, match="density at a core"):
        DropLaw(1.0, 4.0, 1.2, 1.8e-5, 1.0, 2.0).pressure_drop(3.0, 0.0)
    with pytest.raises(NetworkError, match="free-flow area"):
        core_drop(8.0, 1.1, 1.0, 1.2, 0.4, 0.2, 0.03, 100.0)
    with pytest.raises(NetworkError, match="reference flows"):
        ConductanceLaw(800.0, 0.0, 1.0)
    with pytest.raises(NetworkError, match="outside 0 to 1"):
        ConductanceLaw(800.0, 1.0, 1.0, air_share=1.5)
    with pytest.raises(NetworkError, match="air_capacity"):
        conductance_from_test(1e3, 0.0, 100.0, 360.0, 300.0)


def test_drop_of_a_heated_core():
    # exact, worked: s 0.6, Kc 0.4, Ke 0.2, f 0.03, L/rh 100, G 8, 310 to 360 K, rho1 1.10
    behind = 1.10 * 310.0 / 360.0
    drop = core_drop(8.0, 1.10, behind, 0.6, 0.4, 0.2, 0.03, 100.0)
    assert drop == pytest.approx(119.085044, abs=5e-7)
    assert heating_drop(8.0, 1.10, behind) == pytest.approx(9.384164, abs=5e-7)


def test_parts_of_the_drop_of_a_core():
    # cold: entrance and exit losses on the free-flow head, and friction
    head = 8.0**2 / (2.0 * 1.1)
    drop = core_drop(8.0, 1.1, 1.1, 0.6, 0.4, 0.2, 0.03, 100.0)
    assert drop == pytest.approx(head * (0.4 + 0.2 + 3.0))
    # as a tube of constant area without friction or losses: momentum alone
    behind = 0.95
    assert core_drop(8.0, 1.1, behind, 1.0, 0.0, 0.0, 0.0, 100.0) == pytest.approx(
        heating_drop(8.0, 1.1, behind)
    )
    # no flow, no drop; backwards the other sign
    assert core_drop([0.0, -8.0], 1.1, 1.1, 0.6, 0.4, 0.2, 0.03, 100.0) == pytest.approx(
        [0.0, -drop]
    )
    assert mean_density(1.2, 1.2) == pytest.approx(1.2)


def test_bench_law_of_a_core_that_heats_the_air():
    # a bench law made from a friction factor, then heated: against the full formula, which takes
    # the losses of entrance and exit where they are. G on the face 4.8, on the free area 8
    friction = {"free_share": 0.6, "contraction": 0.4, "expansion": 0.2, "friction": 0.03}
    velocity = np.array([2.0, 6.0])
    drops = core_drop(velocity * 1.19 / 0.6, 1.19, 1.19, **friction, length_ratio=100.0)
    law = fit_drop_law(velocity, drops, **BENCH)
    behind = 1.10 * 310.0 / 360.0
    full = core_drop(8.0, 1.10, behind, **friction, length_ratio=100.0)
    heated = law.heated_drop(4.8, 1.10, behind, free_share=0.6)
    gain = 0.5 * heating_drop(4.8, 1.10, behind)  # of head between the faces
    assert heated == pytest.approx(full - gain, rel=5e-3)  # (Kc - Ke) (r - 1) / 2 of a head
    assert law.heated_drop(4.8, 1.10, 1.10, free_share=0.6) == law.pressure_drop(4.8, 1.10)
    # without losses at the ends and at constant area nothing is left out
    friction |= {"free_share": 1.0, "contraction": 0.0, "expansion": 0.0}
    drops = core_drop(velocity * 1.19, 1.19, 1.19, **friction, length_ratio=100.0)
    law = fit_drop_law(velocity, drops, **BENCH)
    full = core_drop(4.8, 1.10, behind, **friction, length_ratio=100.0)
    heated = law.heated_drop(4.8, 1.10, behind, free_share=1.0)
    assert heated == pytest.approx(full - gain, rel=1e-12)


def test_conductance_scales_with_both_flows():
    law = ConductanceLaw(800.0, 1.0, 1.5, 0.8, 0.5, 0.8)
    assert law.at(1.0, 1.5) == pytest.approx(800.0)
    assert law.at(-1.0, 1.5) == pytest.approx(800.0)
    # by hand: 0.8 x 4^0.5 + 0.2 = 1.8
    assert law.at(0.25, 1.5) == pytest.approx(800.0 / 1.8)
    assert law.at(1.0, 0.75) == pytest.approx(800.0 / (0.8 + 0.2 * 2.0**0.8))
    assert law.at(0.0, 1.5) == law.at(1.0, 0.0) == 0.0
    air_alone = ConductanceLaw(800.0, 1.0, 1.5, 1.0, AIR_EXPONENT.value)
    assert air_alone.at(4.0, 0.1) == pytest.approx(1600.0)
    flows = np.geomspace(1e-4, 5.0, 40)
    assert np.all(np.diff(law.at(flows, 1.5)) > 0.0)
    assert np.all(np.diff(law.at(1.0, flows)) > 0.0)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_conductance_from_a_test_gives_the_heat_again(arrangement):
    found = conductance_from_test(15e3, 1000.0, 4200.0, 360.0, 310.0, arrangement)
    heat = 1000.0 * 50.0 * effectiveness(found / 1000.0, 1000.0 / 4200.0, arrangement)
    assert heat == pytest.approx(15e3, rel=1e-9)


def test_models_of_cores_are_known_to_a_fifth():
    assert (CORE_DEVIATION.low, CORE_DEVIATION.high) == (-0.10, 0.24)
