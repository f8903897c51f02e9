"""Diffusers. Values "library" come from fluids 1.3.1 (D1 0.1 m, Re 2e5, f 0.015)."""

import fluids
import numpy as np
import pytest

from panelcp.cooling import diffusers
from panelcp.cooling.ducts import sudden_expansion_loss
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

RATIOS = (1.5, 2.0, 3.0, 4.0)
# included angle -> K on the inlet head at the four area ratios (library)
TABLE = {
    7.0: {
        "Idelchik": (0.040, 0.060, 0.075, 0.095),
        "Rennels": (0.0240, 0.0386, 0.0551, 0.0639),
        "Crane": (0.0176, 0.0397, 0.0705, 0.0893),
        "Miller": (0.0488, 0.0341, 0.0890, 0.2135),
    },
    10.0: {
        "Idelchik": (0.050, 0.060, 0.093, 0.110),
        "Rennels": (0.0249, 0.0453, 0.0710, 0.0859),
        "Crane": (0.0252, 0.0567, 0.1007, 0.1275),
        "Miller": (0.0629, 0.0653, 0.1012, 0.2650),
    },
    20.0: {
        "Idelchik": (0.070, 0.100, 0.175, 0.210),
        "Rennels": (0.0503, 0.1077, 0.1866, 0.2341),
        "Crane": (0.0502, 0.1129, 0.2007, 0.2540),
        "Miller": (0.0823, 0.1251, 0.2004, 0.3894),
    },
    40.0: {
        "Idelchik": (0.160, 0.240, 0.384, 0.480),
        "Rennels": (0.1170, 0.2605, 0.4607, 0.5820),
        "Crane": (0.0988, 0.2223, 0.3952, 0.5002),
        "Miller": (0.0988, 0.1931, 0.3628, 0.5479),
    },
    60.0: {
        "Idelchik": (0.190, 0.300, 0.525, 0.660),
        "Rennels": (0.1350, 0.3018, 0.5349, 0.6763),
        "Crane": (0.1111, 0.2500, 0.4444, 0.5625),
        "Miller": (0.1119, 0.2279, 0.4209, 0.6482),
    },
}
ROWS = [(angle, column) for angle in TABLE for column in range(len(RATIOS))]


@pytest.mark.parametrize(("angle", "column"), ROWS)
def test_table_of_cones(angle, column):
    found = diffusers.conical_laws(RATIOS[column], angle)
    rows = {name: values[column] for name, values in TABLE[angle].items()}
    for name, value in rows.items():
        # the table was rounded twice: 0.050247 stands there as 0.0503
        assert found[name] == pytest.approx(value, abs=5.5e-5), name
    band = diffusers.diffuser_loss(RATIOS[column], angle, duct_follows=True)
    assert band.value == pytest.approx(np.mean(list(rows.values())), abs=5.1e-5)
    assert band.low == pytest.approx(min(rows.values()), abs=5.1e-5)
    if diffusers.diffuser_state(RATIOS[column], angle) != "stalled":
        assert band.high == pytest.approx(max(rows.values()), abs=5.1e-5)
    else:
        assert band.high >= max(rows.values()) - 5.1e-5


@pytest.mark.parametrize("angle", [3.0, 7.0, 15.0, 20.0, 30.0, 50.0, 60.0, 90.0, 180.0])
@pytest.mark.parametrize("ratio", [1.2, 2.0, 4.0, 6.0, 9.0])
def test_formulas_of_cones_against_the_library(angle, ratio):
    def library(method):
        return fluids.fittings.diffuser_conical(
            Di1=0.1, Di2=0.1 * ratio**0.5, angle=angle, fd=0.015, Re=2e5, method=method
        )

    found = float(diffusers.rennels_diffuser(ratio, angle, 0.015))
    assert found == pytest.approx(library("Rennels"), rel=1e-10)
    found = float(diffusers.crane_diffuser(ratio, angle))
    assert found == pytest.approx(library("Crane"), rel=1e-10)


# validation table 6.3, exact: AR, K of the step, its Cp, ideal Cp
@pytest.mark.parametrize(
    ("ratio", "step", "recovery", "ideal"),
    [
        (1.5, 0.111111, 0.444444, 0.555556),
        (2.0, 0.25, 0.5, 0.75),
        (3.0, 0.444444, 0.444444, 0.888889),
        (4.0, 0.5625, 0.375, 0.9375),
    ],
)
def test_recovery_is_ideal_less_loss(ratio, step, recovery, ideal):
    found = diffusers.ideal_recovery(ratio)
    assert found == pytest.approx(ideal, abs=5.1e-7)
    assert found - sudden_expansion_loss(ratio) == pytest.approx(recovery, abs=1e-6)
    assert diffusers.effectiveness(ratio, step) == pytest.approx(recovery / ideal, abs=2e-6)


def test_published_cone_without_a_duct_behind():
    # Dixon, Fluid Mechanics and Thermodynamics of Turbomachinery, Ex. 2.3, from Sovran and Klomp
    # 1967: length 4.66 inlet radii, AR 2.13, 11.26 deg, Cp 0.60, ideal 0.78, effectiveness 0.77.
    # The loss of an uneven outlet was set by this point, so its agreement is no forecast.
    assert diffusers.length_ratio(2.13, 11.26) == pytest.approx(4.66, abs=5e-3)
    ideal = diffusers.ideal_recovery(2.13)
    assert ideal == pytest.approx(0.78, abs=5e-3)
    found = diffusers.diffuser_loss(2.13, 11.26)
    assert ideal - found.value == pytest.approx(0.60, abs=0.01)
    assert diffusers.effectiveness(2.13, found.value) == pytest.approx(0.77, abs=0.01)
    # the handbooks alone, which count on a duct behind, would promise more than was measured
    promised = diffusers.diffuser_loss(2.13, 11.26, duct_follows=True)
    assert ideal - promised.high > 0.65


@pytest.mark.parametrize("shape", diffusers.SHAPES)
@pytest.mark.parametrize("follows", [True, False])
def test_no_widening_costs_nothing(shape, follows):
    for angle in (3.0, 10.0, 60.0, 180.0):
        found = diffusers.diffuser_loss(1.0, angle, shape, duct_follows=follows)
        assert (found.low, found.value, found.high) == pytest.approx((0.0, 0.0, 0.0), abs=1e-15)


@pytest.mark.parametrize("shape", diffusers.SHAPES)
def test_the_best_angle_of_the_laws_is_that_of_gibson(shape):
    angles = np.linspace(3.0, 20.0, 35)
    losses = [diffusers.diffuser_loss(2.0, a, shape, duct_follows=True).value for a in angles]
    band = diffusers.BEST_ANGLE[shape]
    assert band.low <= angles[int(np.argmin(losses))] <= band.high


@pytest.mark.parametrize("shape", diffusers.SHAPES)
@pytest.mark.parametrize("follows", [True, False])
def test_laws_of_diffusers(shape, follows):
    for ratio in (1.1, 2.0, 4.5, 10.0):
        ideal = diffusers.ideal_recovery(ratio)
        losses = []
        for angle in np.linspace(2.0, 178.0, 45):
            found = diffusers.diffuser_loss(ratio, angle, shape, duct_follows=follows)
            assert 0.0 <= found.low <= found.value <= found.high <= ideal
            losses.append(found.value)
        # past the best angle the loss rises up to 50 deg
        at = slice(int(np.argmin(losses)), 13)
        assert np.all(np.diff(losses[at]) > -1e-3)


def test_more_widening_costs_more():
    for angle in (7.0, 20.0, 60.0):
        losses = [diffusers.diffuser_loss(r, angle).value for r in np.linspace(1.0, 10.0, 46)]
        assert np.all(np.diff(losses) > 0.0)


def test_a_very_wide_cone_is_a_sudden_expansion():
    for ratio in RATIOS:
        found = diffusers.diffuser_loss(ratio, 180.0, duct_follows=True).value
        assert found == pytest.approx(float(sudden_expansion_loss(ratio)), rel=0.02)


def test_bands_widen_beyond_the_tables():
    inside, outside = (
        diffusers.diffuser_loss(ratio, 7.0, duct_follows=True) for ratio in (4.0, 4.001)
    )
    assert outside.high > inside.high + 0.2 * inside.value
    assert outside.low < inside.low


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((0.8, 10.0), "area ratio is 0.8; expected 1 to 10"),
        ((12.0, 10.0), "area ratio is 12"),
        ((2.0, 1.0), "straight duct"),
        ((2.0, 190.0), "diffuser angle, deg is 190"),
        ((2.0, 10.0, "oval"), "unknown diffuser shape 'oval'; known: conical, plane, pyramidal"),
        ((2.0, 10.0, "plane", 0.9), "friction factor"),
    ],
)
def test_diffusers_outside_the_range(args, words):
    with pytest.raises(NetworkError, match=words):
        diffusers.diffuser_loss(*args)


def test_best_angles_and_their_order():
    # Gibson 1910 (memory, high): cones 5.5-7, square 6, plane 11 deg
    cone, square, plane = (diffusers.BEST_ANGLE[s] for s in ("conical", "pyramidal", "plane"))
    assert 5.5 <= cone.value <= 7.0
    assert square.value == 6.0
    assert plane.value == 11.0
    assert {cone.mark, square.mark, plane.mark} == {"memory"}
    # a plane diffuser may open at a greater angle than a cone of the same area ratio
    for angle in (12.0, 16.0, 20.0):
        assert (
            diffusers.diffuser_loss(2.0, angle, "plane").value
            < diffusers.diffuser_loss(2.0, angle).value
            < diffusers.diffuser_loss(2.0, angle, "pyramidal").value
        )


def test_stall():
    # plane: onset between 10 and 20 deg over the usual lengths (Reneau, Johnston, Kline 1967,
    # numbers from memory)
    assert diffusers.stall_angle(2.0, "plane").value == pytest.approx(20.0, rel=1e-12)
    assert diffusers.stall_angle(10.0, "plane").value == pytest.approx(10.0, rel=2e-3)
    for shape in diffusers.SHAPES:
        onset = [diffusers.stall_angle(n, shape).value for n in np.geomspace(0.5, 40.0, 30)]
        assert np.all(np.diff(onset) < 0.0)
        states = [diffusers.diffuser_state(2.0, a, shape) for a in np.linspace(2.0, 90.0, 89)]
        order = [("attached", "stall possible", "stalled").index(s) for s in states]
        assert order == sorted(order)
        assert set(order) == {0, 1, 2}
        assert diffusers.diffuser_state(1.0, 90.0, shape) == "attached"
    # the published best cone is not called stalled, and half angles of 7 deg are allowed when short
    assert diffusers.diffuser_state(2.13, 11.25) == "attached"
    assert diffusers.diffuser_state(1.5, 14.0) == "attached"
    assert "split it with vanes" in diffusers.stall_warning(3.0, 40.0, "plane")


def test_stall_bands_double_beyond_known_lengths():
    inside, outside = (diffusers.stall_angle(n, "plane") for n in (40.0, 41.0))
    assert outside.value == inside.value
    assert outside.high - outside.low == pytest.approx(2.0 * (inside.high - inside.low), rel=1e-12)


def test_a_stalled_diffuser_is_known_worse():
    found = diffusers.diffuser_loss(3.0, 60.0, duct_follows=True)
    assert found.high == pytest.approx(0.5 * (found.value + 8.0 / 9.0), rel=1e-12)


def test_loss_of_a_known_effectiveness():
    band = diffusers.HOME_MADE_EFFECTIVENESS  # trade: 0.5-0.75, memory
    assert (band.low, band.high, band.mark) == (0.5, 0.75, "memory")
    found = diffusers.loss_of_effectiveness(2.0, band)
    assert diffusers.effectiveness(2.0, found.value) == pytest.approx(band.value, rel=1e-12)
    assert diffusers.effectiveness(2.0, found.high) == pytest.approx(band.low, rel=1e-12)
    assert found.mark == "memory"
    assert not diffusers.loss_of_effectiveness(2.0, UncertainValue(0.7)).has_band
    with pytest.raises(NetworkError, match="effectiveness"):
        diffusers.loss_of_effectiveness(2.0, UncertainValue(1.3))


def test_trumpet_ahead_of_a_core():
    values = [diffusers.trumpet_loss(4.0, k).value for k in (0.0, 0.5, 2.0, 8.0, 1e6)]
    assert np.all(np.diff(values) < 0.0)
    # no core: a sudden expansion; great resistance: the stated effectiveness
    assert values[0] == pytest.approx(float(sudden_expansion_loss(4.0)), rel=1e-12)
    assert values[-1] == pytest.approx(0.25 * 0.9375, rel=1e-5)
    # with a core it beats the straight cone of the same (short) length, which would be stalled
    assert diffusers.trumpet_loss(4.0, 8.0).value < diffusers.diffuser_loss(4.0, 60.0).value
    assert diffusers.trumpet_loss(4.0, 8.0).mark == "common practice"
    short = [diffusers.trumpet_loss(4.0, 8.0, n).value for n in (0.1, 0.3, 0.5, 1.0)]
    assert short[0] == pytest.approx(float(sudden_expansion_loss(4.0)), rel=1e-12)
    assert short[0] > short[1] > short[2] == short[3]
    assert diffusers.trumpet_loss(1.0, 8.0).value == 0.0
    with pytest.raises(NetworkError, match="trumpet length"):
        diffusers.trumpet_loss(4.0, 8.0, 0.05)
