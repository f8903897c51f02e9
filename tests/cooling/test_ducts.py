"""Ducts: friction, bends, contractions, steps.

Reference values "library" come from the general-purpose library fluids 1.3.1, which the tests also
call; those of Colebrook's equation are exact.
"""

import fluids
import numpy as np
import pytest
from scipy.optimize import brentq

from panelcp.cooling import ducts
from panelcp.errors import NetworkError

ROUGHNESS = np.array([0.0, 1e-6, 1e-4, 1e-3, 1e-2, 5e-2])
REYNOLDS = np.array([2000.0, 5e3, 1e5, 1e6, 1e8])

# Re, e/D, Colebrook (exact), Haaland (exact value of the formula)
FRICTION = [
    (5e3, 0.0, 0.03739273, 0.03772995),
    (1e5, 0.0, 0.01798977, 0.01782494),
    (1e5, 1e-4, 0.01851387, 0.01826505),
    (1e5, 1e-3, 0.02217454, 0.02196621),
    (1e6, 1e-4, 0.01344144, 0.01332616),
    (1e6, 1e-2, 0.03796474, 0.03803618),
]


@pytest.mark.parametrize(("reynolds", "roughness", "exact", "explicit"), FRICTION)
def test_friction_table(reynolds, roughness, exact, explicit):
    assert ducts.colebrook(reynolds, roughness) == pytest.approx(exact, abs=5.1e-9)
    assert ducts.haaland(reynolds, roughness) == pytest.approx(explicit, abs=5.1e-9)
    assert ducts.friction_factor(reynolds, roughness) == pytest.approx(exact, abs=5.1e-9)


def test_colebrook_solves_its_equation():
    re, wall = np.meshgrid(REYNOLDS, ROUGHNESS)
    x = ducts.colebrook(re, wall) ** -0.5
    assert x == pytest.approx(-2.0 * np.log10(wall / 3.7 + 2.51 * x / re), rel=1e-13)


@pytest.mark.parametrize("roughness", ROUGHNESS)
@pytest.mark.parametrize("reynolds", [5e3, 1e5, 1e7])
def test_colebrook_and_haaland_against_the_library(reynolds, roughness):
    roughness = float(roughness)
    found = ducts.colebrook(reynolds, roughness)
    assert found == pytest.approx(fluids.friction.Colebrook(reynolds, roughness), rel=1e-10)
    assert ducts.haaland(reynolds, roughness) == pytest.approx(
        fluids.friction.Haaland(reynolds, roughness), rel=1e-12
    )


def test_haaland_is_within_three_percent_of_colebrook():
    re, wall = np.meshgrid(REYNOLDS[1:], ROUGHNESS)
    assert ducts.haaland(re, wall) == pytest.approx(ducts.colebrook(re, wall), rel=0.03)


def exact_rectangle(aspect):
    """f Re of laminar flow in a rectangle: the series of the exact solution."""
    n = np.arange(1, 400, 2)
    tail = 192.0 / np.pi**5 * aspect * np.sum(np.tanh(0.5 * n * np.pi / aspect) / n**5)
    # sides 2 and 2 aspect: mean speed aspect^2 / 3 (1 - tail) per pressure gradient and viscosity
    return 2.0 * (4.0 * aspect / (1.0 + aspect)) ** 2 / (aspect**2 / 3.0 * (1.0 - tail))


@pytest.mark.parametrize("aspect", [0.01, 0.1, 0.25, 0.5, 0.8, 1.0])
def test_laminar_flow_in_rectangles(aspect):
    assert ducts.laminar_number(aspect) == pytest.approx(exact_rectangle(aspect), rel=1e-3)


def test_laminar_limits():
    assert ducts.laminar_number() == 64.0
    assert ducts.laminar_number(0.0) == 96.0
    assert ducts.friction_factor(800.0, 0.01) == pytest.approx(0.08, rel=1e-14)


def test_friction_number_rises_without_jumps():
    re = np.linspace(0.0, 2e4, 40001)
    for aspect in (None, 0.3):
        number = ducts.friction_number(re, 1e-3, aspect)
        steps = np.diff(number)
        assert steps.min() >= -1e-9
        # slope times the width of a step, where the blend is steepest
        assert steps.max() < 0.05


def test_friction_band_holds_both_laws_in_the_transition():
    low, mid, high = (ducts.friction_number(3000.0, deviation=d) for d in (-1.0, 0.0, 1.0))
    assert low < 64.0 + 0.02 * mid
    assert high > 3000.0 * ducts.colebrook(3000.0) - 0.05 * mid
    assert ducts.friction_factor(1e5, deviation=1.0) == pytest.approx(
        1.05 * ducts.colebrook(1e5), rel=1e-12
    )


def test_a_friction_factor_without_flow_is_refused():
    with pytest.raises(NetworkError, match="Reynolds number is 0"):
        ducts.friction_factor(0.0)
    with pytest.raises(NetworkError, match=r"relative roughness is 0\.2"):
        ducts.colebrook(1e5, 0.2)


def test_hydraulic_diameters():
    assert ducts.hydraulic_diameter(np.pi * 0.01, np.pi * 0.2) == pytest.approx(0.2, rel=1e-12)
    assert ducts.rectangle_diameter(0.3, 0.1) == pytest.approx(
        ducts.hydraulic_diameter(0.03, 0.8), rel=1e-14
    )
    with pytest.raises(NetworkError, match="circle"):
        ducts.hydraulic_diameter(1.0, 1.0)


def test_straight_duct_worked_by_hand():
    # 0.6 m of 80 mm pipe, 25 m/s: Re = 1.1 25 0.08 / 1.9e-5 = 115 789, head 343.75 Pa
    f = brentq(lambda f: f**-0.5 + 2 * np.log10(2.51 / 115789.4736842 * f**-0.5), 1e-3, 1.0)
    drop = ducts.straight_duct_drop(25.0, 0.6, 0.08, 1.1, 1.9e-5)
    assert drop == pytest.approx(f * 7.5 * 343.75, rel=1e-9)
    assert ducts.straight_duct_loss(f, 0.6, 0.08) == pytest.approx(7.5 * f, rel=1e-14)


def test_straight_duct_drop_is_odd_rising_and_laminar_at_rest():
    v = np.linspace(-30.0, 30.0, 601)
    drop = ducts.straight_duct_drop(v, 1.0, 0.05, 1.1, 1.9e-5, 1e-5)
    assert drop == pytest.approx(-drop[::-1], rel=1e-12, abs=1e-12)
    assert np.all(np.diff(drop) > 0.0)
    slope = ducts.straight_duct_drop(1e-6, 1.0, 0.05, 1.1, 1.9e-5) / 1e-6
    assert slope == pytest.approx(32.0 * 1.9e-5 / 0.05**2, rel=1e-9)  # Hagen and Poiseuille, exact


# validation table 6.2: bend of 90 deg, R/D 1.5, Re 2e5, f 0.015 (library)
def test_bend_table():
    assert ducts.rennels_bend(90.0, 1.5, 0.015) == pytest.approx(0.1996, abs=5.1e-5)
    assert ducts.ito_bend(90.0, 1.5, 2e5) == pytest.approx(0.2017, abs=5.1e-5)
    found = ducts.bend_loss(90.0, 1.5, 0.015, 2e5)
    for other in (0.1996, 0.2290, 0.2143, 0.2017):  # Rennels, Crane, Miller, Ito
        assert found.low < other < found.high
        assert found.value == pytest.approx(other, rel=0.12)


# validation table 6.2: mitre of 90 deg: Rennels, Crane, Miller, Blevins (library)
def test_mitre_table():
    assert ducts.rennels_mitre(90.0) == pytest.approx(1.2021, abs=5.1e-5)
    found = ducts.mitre_loss(90.0)
    for other in (1.2021, 0.9773, 1.1272, 1.1):
        assert found.low < other < found.high
    assert found.mark == "memory"


@pytest.mark.parametrize("angle", [45.0, 60.0, 90.0, 135.0, 180.0])
@pytest.mark.parametrize("ratio", [0.8, 1.0, 2.0, 4.0])
def test_bends_against_the_library(angle, ratio):
    library = fluids.fittings.bend_rounded
    args = {"Di": 0.1, "angle": angle, "bend_diameters": ratio, "Re": 2e5, "fd": 0.015}
    assert ducts.rennels_bend(angle, ratio, 0.015) == pytest.approx(
        library(**args, method="Rennels"), rel=1e-10
    )
    assert ducts.ito_bend(angle, ratio, 2e5) == pytest.approx(
        library(**args, method="Ito"), rel=1e-10
    )
    assert ducts.rennels_mitre(angle) == pytest.approx(
        fluids.fittings.bend_miter(Di=0.1, angle=angle, method="Rennels"), rel=1e-12
    )
    if ratio >= 1.0:  # its friction factor belongs to another wall, its fit differs by some percent
        rough = fluids.fittings.ft_Crane(0.1)
        near = library(**args, method="Crane")
        if angle >= 90.0:
            assert ducts.crane_bend(angle, ratio, rough) == pytest.approx(near, rel=0.08)


def test_laws_of_bends():
    for ratio in (0.5, 1.0, 1.5, 5.0):
        losses = [ducts.bend_loss(a, ratio).value for a in np.linspace(0.0, 180.0, 37)]
        assert losses[0] == pytest.approx(0.0, abs=1e-12)
        assert np.all(np.diff(losses) > 0.0)
    tight = [ducts.bend_loss(90.0, r).value for r in (0.5, 0.7, 1.0, 1.5, 2.0)]
    assert np.all(np.diff(tight) < 0.0)
    assert ducts.bend_loss(90.0, 1.5).high < ducts.mitre_loss(90.0).low
    assert ducts.mitre_loss(90.0, vaned=True).high < ducts.mitre_loss(90.0).low
    for vaned in (False, True):
        corner = [ducts.mitre_loss(a, vaned).value for a in np.linspace(0.0, 120.0, 25)]
        assert corner[0] == 0.0
        assert np.all(np.diff(corner) > 0.0)


def test_bend_bands_widen_outside_the_law_of_ito():
    inside, outside = (ducts.bend_loss(90.0, 8.0, 0.02, re) for re in (3e4, 2e4))
    assert (outside.high - outside.low) / outside.value > (inside.high - inside.low) / inside.value


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((200.0, 1.5), "angle of a bend"),
        ((90.0, 0.3), "mitre_loss"),
        ((90.0, 1.5, 0.02, 500.0), "Reynolds number in a bend"),
        ((90.0, 1.5, 0.5), "friction factor"),
    ],
)
def test_bends_outside_the_range(args, words):
    with pytest.raises(NetworkError, match=words):
        ducts.bend_loss(*args)


# validation table 6.2: sharp contraction, Rennels (library)
@pytest.mark.parametrize(("ratio", "loss"), [(0.25, 0.49558), (0.5, 0.34341), (0.75, 0.13940)])
def test_contraction_table(ratio, loss):
    assert ducts.rennels_contraction(ratio) == pytest.approx(loss, abs=5.1e-6)
    found = ducts.contraction_loss(ratio)
    assert found.low <= loss <= found.high + 5.1e-6
    library = fluids.fittings.contraction_sharp(Di1=1.0, Di2=ratio**0.5)
    assert ducts.rennels_contraction(ratio) == pytest.approx(library, rel=1e-12)


def test_laws_of_contractions():
    ratios = np.linspace(0.0, 1.0, 101)
    for angle in (20.0, 60.0, 180.0):
        losses = [ducts.contraction_loss(r, angle).value for r in ratios]
        assert losses[-1] == pytest.approx(0.0, abs=1e-12)
        assert np.all(np.diff(losses) < 0.0)
    cones = [ducts.contraction_loss(0.4, a).value for a in np.linspace(10.0, 180.0, 341)]
    assert np.all(np.diff(cones) > 0.0)
    assert cones[-1] == ducts.contraction_loss(0.4).value
    with pytest.raises(NetworkError, match="turn it round"):
        ducts.contraction_loss(1.5)


# validation table 6.3: sudden expansion (exact)
@pytest.mark.parametrize(
    ("ratio", "loss"), [(1.5, 0.111111), (2.0, 0.25), (3.0, 0.444444), (4.0, 0.5625)]
)
def test_sudden_expansion_table(ratio, loss):
    assert ducts.sudden_expansion_loss(ratio) == pytest.approx(loss, abs=5.1e-7)


@pytest.mark.parametrize(("narrow", "wide", "loss"), [(0.5, 1.0, 0.5625), (0.08, 0.1, 0.1296)])
def test_sudden_expansion_of_published_diameters(narrow, wide, loss):
    # diameters and K as a public page gives them
    assert ducts.sudden_expansion_loss((wide / narrow) ** 2) == pytest.approx(loss, rel=1e-12)


def test_sudden_expansion_obeys_the_momentum_balance():
    # p1 A2 + rho V1^2 A1 = p2 A2 + rho V2^2 A2, total pressures compared; rho = 1, V1 = 1
    ratio = np.linspace(1.0, 20.0, 40)
    rise = 1.0 / ratio - 1.0 / ratio**2
    lost = 0.5 - (rise + 0.5 / ratio**2)
    assert ducts.sudden_expansion_loss(ratio) == pytest.approx(2.0 * lost, abs=1e-14)
    assert ducts.sudden_expansion_loss(1.0) == 0.0
    with pytest.raises(NetworkError, match="large over small"):
        ducts.sudden_expansion_loss(0.5)
