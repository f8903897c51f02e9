"""Inlets: lips, incidence, recovery. "Library" is fluids 1.3.1."""

import fluids
import numpy as np
import pytest

from panelcp.cooling import inlets
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

# validation table 6.2, exact momentum balance: V0/Vi -> K on the head in the inlet
SHARP = [(0.0, 1.0), (0.25, 0.5625), (0.5, 0.25), (0.75, 0.0625), (1.0, 0.0)]
# inlet Mach number -> total pressure over outside pressure; 0.7887 is the 79 % of NACA TN 3004
CHOKED = [(0.1, 0.993114), (0.3, 0.945320), (0.5, 0.878676), (1.0, 0.788720)]
# r/D 0.01, 0.05, 0.10, 0.15, 0.20, and the sharp edge (library; 0.5 of Idelchik and Crane: memory)
ROUNDED = {
    "Idelchik": (0.44, 0.22, 0.1133, 0.0669, 0.03),
    "Miller": (0.4224, 0.2085, 0.0821, 0.0620, 0.0586),
    "Crane": (0.39, 0.195, 0.09, 0.04, 0.04),
    "Rennels": (0.4492, 0.2968, 0.2029, 0.1485, 0.1146),
    "Harris": (0.35, 0.13, 0.0486, 0.0066, 0.0),
}
RADII = (0.01, 0.05, 0.10, 0.15, 0.20)
SHARP_FLUSH = {"Idelchik": 0.5, "Miller": 0.5093, "Crane": 0.5, "Rennels": 0.57}


@pytest.mark.parametrize(("ratio", "loss"), SHARP)
def test_sharp_lip_table(ratio, loss):
    assert inlets.sharp_lip_loss(40.0, 40.0 * ratio) == pytest.approx(loss, rel=1e-14, abs=1e-15)
    lost = inlets.lip_pressure_loss(40.0, 40.0 * ratio, 1.2)
    assert lost == pytest.approx(loss * 0.6 * 1600.0, rel=1e-14, abs=1e-12)


@pytest.mark.parametrize(("mach", "recovery"), CHOKED)
def test_thin_lip_at_rest_with_compressibility(mach, recovery):
    assert inlets.choked_lip_recovery(mach) == pytest.approx(recovery, abs=5.1e-7)


def test_the_published_seventy_nine_percent():
    assert round(100.0 * float(inlets.choked_lip_recovery(1.0))) == 79


def test_slow_air_has_the_incompressible_loss():
    # p = 1: head gamma M^2 / 2 on the static pressure in the inlet, K = 1 at rest
    mach = 0.01
    lost = 1.0 - inlets.choked_lip_recovery(mach)
    assert lost / (0.7 * mach**2) == pytest.approx(inlets.sharp_lip_loss(1.0, 0.0), rel=1e-3)


def test_sharp_lip_is_the_momentum_balance():
    # stream tube from far ahead to the inlet, even outside pressure on its side, no suction
    inside, outside, density = 50.0, np.linspace(0.0, 50.0, 11), 1.1
    static = density * inside * (outside - inside)
    lost = 0.5 * density * outside**2 - (static + 0.5 * density * inside**2)
    found = inlets.lip_pressure_loss(inside, outside, density)
    assert found == pytest.approx(lost, rel=1e-12, abs=1e-10)
    assert found == pytest.approx(
        inlets.sharp_lip_loss(inside, outside) * 0.5 * density * inside**2, rel=1e-12, abs=1e-10
    )


@pytest.mark.parametrize(("ratio", "drag"), [(0.0, 1.0), (0.3, 0.49), (0.6, 0.16), (1.5, 0.0)])
def test_spillage_table(ratio, drag):
    assert inlets.spillage_drag(50.0 * ratio, 50.0) == pytest.approx(drag, rel=1e-12)
    static = inlets.lip_pressure_coefficient(50.0 * ratio, 50.0)
    assert static == pytest.approx(1.0 - ratio**2, rel=1e-12)


def test_an_inlet_that_spills_loses_nothing_at_its_lip():
    assert np.all(inlets.sharp_lip_loss([1.0, 20.0, 50.0], 50.0) == 0.0)
    assert np.all(inlets.lip_pressure_loss([0.0, 20.0, 50.0], 50.0, 1.2) == 0.0)


@pytest.mark.parametrize("column", range(len(RADII)))
def test_rounded_entrance_table(column):
    rows = [values[column] for values in ROUNDED.values()]
    found = inlets.rounded_entrance_loss(RADII[column])
    assert found.value == pytest.approx(np.mean(rows), rel=1e-12)
    assert (found.low, found.high) == pytest.approx((min(rows), max(rows)), rel=1e-12)
    for method, values in ROUNDED.items():
        library = fluids.fittings.entrance_rounded(Di=0.1, rc=0.1 * RADII[column], method=method)
        assert values[column] == pytest.approx(float(library), abs=5.1e-5), method


def test_sharp_flush_entrance():
    found = inlets.rounded_entrance_loss(0.0)
    for method, value in SHARP_FLUSH.items():
        library = fluids.fittings.entrance_sharp(method=method)
        assert value == pytest.approx(library, abs=5.1e-5)
        assert found.low <= value <= found.high
    assert found.value == pytest.approx(0.5, abs=0.01)


def test_rounding_only_helps():
    radii = np.linspace(0.0, 0.2, 81)
    for law in (inlets.rounded_entrance_loss, inlets.lip_share):
        bands = [law(r) for r in radii]
        assert np.all(np.diff([b.value for b in bands]) < 0.0)
        assert min(b.low for b in bands) >= 0.0
        assert law(5.0) == law(0.2)
    sharp = inlets.lip_share(0.0)
    assert (sharp.low, sharp.value, sharp.high) == pytest.approx((1.0, 1.0, 1.0), rel=1e-14)
    # trade: 5-10 % of the inlet height at least (memory): takes away half of the loss or more
    assert inlets.lip_share(0.05).value < 0.5
    assert inlets.lip_share(0.10).value < 0.25
    with pytest.raises(NetworkError, match="lip radius"):
        inlets.lip_share(-0.1)


def test_lip_loss_rises_with_speed_and_incidence():
    speeds = np.linspace(0.0, 90.0, 181)
    for angle in (0.0, 10.0, 30.0, 90.0):
        lost = inlets.lip_pressure_loss(speeds, 40.0, 1.1, 0.5, angle, 0.3)
        assert lost[0] == 0.0
        assert np.all(np.diff(lost) >= 0.0)
    angles = np.linspace(0.0, 90.0, 91)
    for speed in (10.0, 40.0, 80.0):
        assert np.all(np.diff(inlets.lip_pressure_loss(speed, 40.0, 1.1, 1.0, angles)) > 0.0)


def test_lip_loss_at_rest_and_its_limits():
    assert inlets.lip_pressure_loss(0.0, 0.0, 1.2) == 0.0
    assert inlets.lip_pressure_loss(30.0, 0.0, 1.2, incidence=45.0) == pytest.approx(540.0)
    assert inlets.lip_pressure_loss(30.0, 0.0, 1.2, share=0.0) == 0.0
    # worked: Vi 50, V0 40 at 30 deg, rho 1: along 50 - 34.641 = 15.359, across 20, taken 5/9
    lost = inlets.lip_pressure_loss(50.0, 40.0, 1.0, 0.4, 30.0, 0.2)
    assert lost == pytest.approx(0.5 * (0.4 * 15.3589838**2 + 0.2 * 400.0 * 5.0 / 9.0), rel=1e-8)


def test_lip_slope_is_the_derivative():
    speeds, step = np.array([5.0, 33.0, 40.0, 70.0]), 1e-4
    for stream, angle in ((0.0, 0.0), (40.0, 20.0), (40.0, 90.0)):
        ends = (
            inlets.lip_pressure_loss(speeds + side, stream, 1.1, 0.6, angle, 0.3)
            for side in (-step, step)
        )
        slope = inlets.lip_pressure_slope(speeds, stream, 1.1, 0.6, angle, 0.3)
        assert slope == pytest.approx(np.diff(list(ends), axis=0)[0] / (2.0 * step), rel=1e-6)
    assert inlets.lip_pressure_slope(0.0, 0.0, 1.1) == 0.0


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((-1.0, 30.0, 1.2), "inlet speed, m/s is -1"),
        ((10.0, -30.0, 1.2), "stream speed"),
        ((10.0, 30.0, 1.2, 1.5), "share of the lip loss"),
        ((10.0, 30.0, 1.2, 1.0, 120.0), "from behind no ram is left"),
        ((10.0, 30.0, 1.2, 1.0, 10.0, -0.5), "share of the head across"),
    ],
)
def test_lips_outside_the_range(args, words):
    with pytest.raises(NetworkError, match=words):
        inlets.lip_pressure_loss(*args)


# bands of the trade and of validation 2.3, all memory
@pytest.mark.parametrize(
    ("kind", "ratio", "thick", "low", "high"),
    [
        ("forward-facing", 0.5, False, 0.97, 1.0),
        ("scoop", 0.5, False, 0.90, 0.98),
        ("submerged", 0.4, False, 0.85, 0.92),
        ("submerged", 0.7, False, 0.85, 0.92),
        ("submerged", 1.0, False, 0.5, 0.8),
        ("submerged", 0.5, True, 0.5, 0.8),
        ("flush hole", 0.5, False, 0.0, 0.25),
    ],
)
def test_recovery_bands(kind, ratio, thick, low, high):
    found = inlets.entry_recovery(kind, ratio, thick)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-12)
    assert found.mark == "memory"


def test_laws_of_recovery():
    ratios = np.linspace(0.0, 2.0, 201)
    for kind in inlets.ENTRY_KINDS:
        for thick in (False, True):
            bands = [inlets.entry_recovery(kind, r, thick) for r in ratios]
            assert all(0.0 <= b.low <= b.value <= b.high <= 1.0 for b in bands)
            assert np.abs(np.diff([b.value for b in bands])).max() < 0.02  # no jumps
    falling = [inlets.entry_recovery("submerged", r).value for r in np.linspace(0.7, 1.0, 31)]
    assert np.all(np.diff(falling) < 0.0)
    rising = [inlets.entry_recovery("submerged", r).value for r in np.linspace(0.0, 0.4, 31)]
    assert np.all(np.diff(rising) > 0.0)
    assert inlets.entry_recovery("forward-facing", np.inf).low == pytest.approx(0.95)
    with pytest.raises(NetworkError, match="unknown kind of inlet 'hole'"):
        inlets.entry_recovery("hole", 0.5)
    with pytest.raises(NetworkError, match="speed ratio"):
        inlets.entry_recovery("scoop", -0.5)


def test_the_layer_takes_its_share():
    band = UncertainValue(0.9, 0.8, 1.0, "memory")
    found = inlets.recovery_in_layer(band, 0.5)
    assert (found.low, found.value, found.high) == pytest.approx((0.4, 0.45, 0.5), rel=1e-14)
    assert inlets.recovery_in_layer(band, 1.0) == band
    assert inlets.recovery_in_layer(band, 0.0).high == 0.0
    assert not inlets.recovery_in_layer(UncertainValue(0.9), 0.5).has_band
    with pytest.raises(NetworkError, match="share of the head"):
        inlets.recovery_in_layer(band, 1.1)
