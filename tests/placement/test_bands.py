"""Sampled bands against closed forms, against new superpositions, and against their own laws.

Tolerances of four standard errors of the sample, unless said otherwise: of n draws a deviation is
good to 1 / sqrt(2 n), a correlation r to (1 - r^2) / sqrt(n), a probability to sqrt(p (1 - p) / n).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from panelcp.errors import PlacementError
from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.placement.bands import (
    AIR,
    ALPHA,
    BETA,
    COMMON,
    FACTOR,
    NEEDED,
    NOT_PREDICTED,
    RECOVERY,
    SAMPLES,
    SIDES,
    WETTING,
    PressureSamples,
    UncertainAir,
    UncertainKind,
    _terms,
    blind_kind,
    factor_kind,
    layer_kind,
    mixing_kind,
    patch_forms,
    patch_kind,
    region_shares,
    sample_operator,
    sampled_streams,
    standard_draws,
    two_sided,
)
from panelcp.placement.pair_bands import pair_bands
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies

CLIMB = FlightCondition("climb", true_airspeed=35.0, alpha=5.0, power=1.0, needed_pressure=400.0)
GLIDE = FlightCondition("glide", true_airspeed=35.0, alpha=5.0, power=0.0, needed_pressure=500.0)
ROLL = FlightCondition("roll", ground_speed=12.0, wind_speed=4.0, attitude=4.0, decides=False)
CROSS = replace(ROLL, wind_from=40.0)
TAIL_WIND = FlightCondition(
    "tail wind", ground_speed=0.0, wind_speed=5.0, wind_from=180.0, power=0.1, decides=False
)
CONDITIONS = (CLIMB, GLIDE, ROLL, TAIL_WIND)
PROPELLER = Propeller(
    1.8, (-2.2, 0.0, 0.0), "clockwise", UncertainValue(0.8), rotational_speed=250.0
)
AROUND = Surroundings(PROPELLER, Wing(9.0, 11.0, (0.3, 0.0, -0.3), 600.0), rated_power=75e3)
DEVIATION = 4.0 / np.sqrt(2.0 * SAMPLES)
PROBABILITY = 4.0 * 0.5 / np.sqrt(SAMPLES)


@pytest.fixture(scope="module")
def body():
    vertices, triangles = bodies.icosphere(3)
    return SurfaceMesh(vertices * np.array([2.0, 0.5, 0.5]), triangles)


@pytest.fixture(scope="module")
def openings(body):
    """One inlet, then four exits: two above, one below, one at the side."""
    finder = SkinFinder(body)
    places = {
        "nose": (-1.9, 0.0, -0.16),
        "top": (-1.2, 0.0, 0.4),
        "top aft": (-0.8, 0.0, 0.46),
        "bottom": (-1.0, 0.0, -0.43),
        "right": (-0.6, 0.47, 0.0),
    }
    return [
        lay_opening(finder, name, place, 0.1, 0.1, use="inlet" if name == "nose" else "exit")
        for name, place in places.items()
    ]


@pytest.fixture(scope="module")
def solutions(body):
    return solve_conditions(body, CONDITIONS, AROUND)


@pytest.fixture(scope="module")
def forms(solutions, openings):
    return patch_forms(solutions, openings)


@pytest.fixture(scope="module")
def flow(solutions):
    return solutions.flow()


ETA = np.array([0.8, 0.0, 0.0, 0.0, 0.0])


@pytest.fixture(scope="module")
def sampled(flow, openings, forms):
    """Function of what is uncertain: PressureSamples of the five openings."""
    air = opening_pressures(flow, openings, ETA)
    nothing = np.zeros(len(openings))

    def make(kinds=(), onset=None, recovery=0.0, needed=0.0, wetting=None):
        return PressureSamples(
            openings=tuple(openings),
            conditions=flow.conditions,
            predicted=flow.predicted,
            patch=air.patch_pressure,
            head=air.total_pressure,
            recovery=ETA,
            recovery_low=np.array([recovery, 0.0, 0.0, 0.0, 0.0]),
            recovery_high=np.array([recovery, 0.0, 0.0, 0.0, 0.0]),
            forms=forms,
            air=onset or UncertainAir(),
            kinds=tuple(kinds),
            wetting=np.zeros((len(nothing), 0)) if wetting is None else wetting,
            needed_low=np.full(len(flow.conditions), needed),
            needed_high=np.full(len(flow.conditions), needed),
        )

    return make


NEED = np.array([400.0, 500.0, np.nan, np.nan])
DECIDES = np.array([True, True, False, False])


def bands_of(samples):
    return pair_bands(samples, 1, NEED, DECIDES)


def everything(sampled, flow, openings, forms, **more):
    """Samples in which all kinds take part."""
    reference = flow.reference_pressure
    air = opening_pressures(flow, openings, ETA)
    groups = np.zeros((5, 2))
    groups[:, 0], groups[1:3] = 1.0, [0.0, 1.0]
    share = np.repeat(reference[:, None], 5, axis=1)
    kinds = (
        patch_kind("model", 0.1 * share, ETA, COMMON * groups),
        patch_kind("rough", 0.03 * share, ETA),
        mixing_kind(forms, air.patch_pressure, air.total_pressure, ETA, groups),
        blind_kind(flow.predicted, reference, 5),
    )
    onset = UncertainAir(alpha=1.5, beta=3.0, factor_low=0.15, factor_high=0.15, wind=1.5)
    return sampled(kinds, onset, recovery=0.1, needed=100.0, wetting=groups, **more)


# --- draws --------------------------------------------------------------------------------


def test_draws_are_standard_normal_and_follow_from_names_alone():
    names = [("model", "group 0"), ("model", "group 1"), ("rough", "group 0"), ("model", "x")]
    drawn = np.array([standard_draws(*name) for name in names])
    assert drawn.mean(axis=1) == pytest.approx(np.zeros(4), abs=1e-12)
    assert drawn.std(axis=1) == pytest.approx(np.ones(4), abs=1e-12)
    between = np.corrcoef(drawn)[np.triu_indices(4, 1)]
    assert np.abs(between).max() < 4.0 / np.sqrt(SAMPLES)
    for quantile in (-1.0, 0.0, 1.0, 2.0):
        found = (drawn < quantile).mean(axis=1)
        assert found == pytest.approx(np.full(4, ndtr(quantile)), abs=PROBABILITY)
    assert standard_draws("model", "x").tobytes() == drawn[3].tobytes()


def test_two_sided_keeps_the_stated_band():
    drawn = two_sided(standard_draws("a", "b"), 0.1, 0.3)
    low, middle, high = np.quantile(drawn, ndtr([-1.0, 0.0, 1.0]))
    # standard error of a quantile: sqrt(p (1 - p) / n) over the density there
    assert low == pytest.approx(-0.1, abs=0.1 * 4.0 * 0.0082 / 0.242)
    assert middle == pytest.approx(0.0, abs=0.3 * 4.0 * 0.0112 / 0.399)
    assert high == pytest.approx(0.3, abs=0.3 * 4.0 * 0.0082 / 0.242)


def test_streams_turn_and_change_as_the_conditions_would():
    onset = UncertainAir(alpha=1.0, beta=1.0, wind=1.0).drawn(count=50)
    alone = UncertainAir(1.0, 1.0, wind=1.0)
    for condition in (CLIMB, CROSS):
        streams = sampled_streams(condition, onset)
        for k in range(0, 50, 7):
            if condition is CLIMB:
                turned = replace(
                    CLIMB, alpha=CLIMB.alpha + onset.alpha[k], beta=CLIMB.beta + onset.beta[k]
                )
                assert streams[k] == pytest.approx(turned.stream, abs=1e-12)
                assert np.linalg.norm(streams[k]) == pytest.approx(CLIMB.speed)
            else:
                blown = replace(CROSS, wind_speed=CROSS.wind_speed + onset.wind[k])
                assert np.linalg.norm(streams[k]) == pytest.approx(blown.speed)
                upward = np.array([-np.sin(np.radians(4.0)), 0.0, np.cos(np.radians(4.0))])
                assert streams[k] @ upward == pytest.approx(0.0, abs=1e-12)
    still = sampled_streams(CROSS, alone.drawn(ALPHA, 50))
    assert still == pytest.approx(np.repeat(CROSS.stream[None], 50, axis=0), abs=1e-12)
    # a positive turn brings the wind from the right, on the ground as in flight
    turned = sampled_streams(CROSS, alone.drawn(BETA, 50))
    more = alone.drawn(BETA, 50).beta > 0.0
    assert ((turned[:, 1] < CROSS.stream[1]) == more).all()


# --- polynomials against new superpositions -----------------------------------------------


def moved(solutions, openings, change):
    """Patch and total pressures after a change of the onset, less those before."""
    before, after = (
        opening_pressures(solutions.flow(how), openings, ETA) for how in (None, change)
    )
    return (
        after.patch_pressure - before.patch_pressure,
        after.total_pressure - before.total_pressure,
    )


def polynomial(samples, stream_change=0.0, factor=1.0):
    """The same changes from the polynomials."""
    patch, head = [], []
    for c, condition in enumerate(samples.conditions):
        stream = condition.stream + stream_change
        step = _terms(stream[None], np.array([factor])) - _terms(condition.stream[None], np.ones(1))
        patch.append((step @ samples.forms.gauge[c])[0])
        head.append((step @ samples.forms.head[c])[0])
    return np.array(patch), np.array(head)


def test_patch_pressures_in_other_streams_are_those_of_a_new_superposition(
    sampled, solutions, openings
):
    across = np.array([0.0, -2.0, 1.5])  # across the thrust line: the rise stays
    patch, head = moved(solutions, openings, lambda o: o.with_streams(o.streams + across))
    found, total = polynomial(sampled(), across)
    flow = solutions.flow()
    operator, means = sample_operator(flow.surface, openings)
    for c, condition in enumerate(CONDITIONS):
        # the superposition keeps q of the condition; the polynomials know that the speed changes
        speeds = ((condition.stream + across) ** 2 - condition.stream**2).sum()
        gain = 0.5 * condition.air.density * speeds * (means @ (operator @ flow.wetting[c]))
        assert np.abs(patch[c]).max() > 5.0
        assert found[c] == pytest.approx(patch[c] + gain, abs=1e-8)
        assert total[c] == pytest.approx(head[c] + gain, abs=1e-8)


def test_with_the_air_of_the_undisturbed_radius_nothing_is_made_linear(forms):
    # at the upper bound the part of the upper total pressure is 1, whatever the factor
    for middle, step in ((forms.gauge, forms.gauge_step), (forms.head, forms.head_step)):
        assert np.abs(middle[:, 15:]).max() > 1e-3
        assert middle[:, 15:] + step[:, 15:] == pytest.approx(np.zeros((4, 15, 5)), abs=1e-9)


@pytest.mark.parametrize("factor", [0.9, 0.99, 1.1])
def test_patch_pressures_with_another_factor_are_those_of_a_new_superposition(
    sampled, solutions, openings, factor
):
    patch, head = moved(solutions, openings, lambda o: o.with_factors(factor))
    found, total = polynomial(sampled(), factor=factor)
    assert np.abs(patch[0]).max() > 50.0 * abs(factor - 1.0)
    # the part of the upper total pressure is linear in the factor: its curvature is left, which
    # goes with the square of the change
    tolerance = {"rel": 3.0 * (factor - 1.0) ** 2, "abs": 0.2}
    assert total[0] == pytest.approx(head[0], **tolerance)
    assert found[0] == pytest.approx(patch[0], **tolerance)
    assert not found[1].any()


def test_steps_to_the_bounds_are_those_of_the_ranking(sampled, flow, openings, forms):
    air = opening_pressures(flow, openings, ETA)
    parts = {name: (patch, behind) for name, patch, behind in sampled().linear_parts()}
    mixing = mixing_kind(forms, air.patch_pressure, air.total_pressure, ETA, None)
    patch = np.hypot(parts[WETTING][0], mixing.patch)
    behind = np.hypot(parts[WETTING][1], mixing.behind)
    assert patch == pytest.approx(air.patch_wetting, rel=1e-6, abs=1e-6)
    # where the patch has suction the closed form forgets its sign: in the wind from behind
    assert behind[:3] == pytest.approx(air.inlet_wetting[:3], rel=1e-6, abs=1e-6)
    assert np.abs(parts[WETTING][0][0]).max() > 5.0
    assert np.abs(parts[WETTING][0][1]).max() < 1e-9


def test_wetting_lies_anywhere_between_its_bounds(sampled):
    samples = sampled(wetting=np.ones((5, 1)))
    drawn = samples.changes(np.arange(5))[WETTING]
    assert np.abs(drawn).max() < 1.0
    # evenly: deviation 1 / sqrt(3)
    assert drawn.std(axis=0) == pytest.approx(np.full(5, 3.0**-0.5), rel=DEVIATION)
    step = dict((n, p) for n, p, _ in samples.linear_parts())[WETTING][0, 1:]
    expected = np.abs(step) / 3.0**0.5
    assert bands_of(samples).exit_deviation[0] == pytest.approx(expected, rel=DEVIATION)


# --- closed forms -------------------------------------------------------------------------


def test_small_angles_and_factors_propagate_linearly(sampled, solutions, openings):
    size = 0.05
    onset = UncertainAir(alpha=size, beta=size, factor_low=1e-3, factor_high=1e-3)
    bands = bands_of(sampled(onset=onset))

    def turned(angle):
        def change(onset):
            streams = []
            for c in onset.conditions:
                value = {angle: getattr(c, angle) + size}
                streams.append(c.stream if c.on_ground else replace(c, **value).stream)
            return onset.with_streams(streams)

        return change

    changes = {
        ALPHA: turned("alpha"),
        BETA: turned("beta"),
        FACTOR: lambda onset: onset.with_factors(1.001),
    }
    slipstream = solutions.parts[0].onset.slipstreams[0]
    fastest = float(slipstream.induced(np.linspace(0.0, 1.0, 101)).max())
    for name, change in changes.items():
        patch, head = moved(solutions, openings, change)
        behind = patch[:, :1] + 0.8 * (head[:, :1] - patch[:, :1])
        expected = np.abs(behind - patch[:, 1:])[:2]
        found = np.sqrt(bands.variance[AIR.index(name), :2, 0])
        # a draw of 1 has a deviation of 1; curvature and rounding are left
        assert found[1] == pytest.approx(expected[1], rel=0.01, abs=1e-3)
        # the superposition keeps the rise, which here goes with the airspeed: 2 rho v dV
        step = 0.0 if name == FACTOR else CLIMB.speed * np.radians(size) * np.sin(np.radians(5.1))
        kept = 2.0 * CLIMB.air.density * fastest * step
        assert found[0] == pytest.approx(expected[0], rel=0.01, abs=kept + 1e-3)


def test_strength_of_the_slipstream_may_be_known_unlike_in_every_condition(
    solutions, openings, forms
):
    """A kind that acts through the slipstream is the slope of new superpositions."""
    change, step = np.array([0.1, 0.1, 0.0, 0.0]), 1e-4
    eta = np.full((4, 5), 0.4)
    kind = factor_kind("efficiency", forms, CONDITIONS, change, eta)
    less, more = (
        opening_pressures(
            solutions.flow(lambda onset, f=1.0 + sign * step: onset.with_factors(f)), openings, eta
        )
        for sign in (-1.0, 1.0)
    )
    slope = (more.patch_pressure - less.patch_pressure)[0] / (2.0 * step)
    assert kind.patch[0] == pytest.approx(0.1 * slope, rel=2e-3, abs=0.05)
    behind = (more.inlet_pressure - less.inlet_pressure)[0] / (2.0 * step)
    assert kind.behind[0] == pytest.approx(0.1 * behind, rel=2e-3, abs=0.05)
    assert not kind.patch[1:].any()
    assert (kind.common == 1.0).all()


def test_layer_takes_a_part_of_the_recovery(sampled, flow, openings):
    """Behind a flush inlet there is its own pressure and the share that the layer leaves."""
    air = opening_pressures(flow, openings, ETA)
    share = np.ones(air.patch_pressure.shape)
    share[0, 0] = 0.6
    less = replace(sampled(), recovery_share=share)
    _, behind = less.pressures(0, [0])
    rest = air.total_pressure[0, 0] - air.patch_pressure[0, 0]
    expected = air.patch_pressure[0, 0] + 0.6 * 0.8 * rest
    assert behind.mean() == pytest.approx(expected, abs=0.05)  # which air wets the skin is drawn
    assert less.recovered[0, 0] == pytest.approx(0.48)
    _, whole = less.pressures(1, [0])
    assert whole == pytest.approx(air.inlet_pressure[1, 0])  # no slipstream, nothing drawn
    kind = layer_kind(air.patch_pressure, air.total_pressure, ETA, share)
    assert kind.behind[0, 0] == pytest.approx(0.5 * 0.4 * 0.8 * rest)
    assert not kind.behind[1:].any()
    assert not kind.patch.any()
    # the same in the closed form
    ranking = rank_openings(flow, openings[:1], openings[1:], share[:, :1] * 0.8, [0.0], 0.1, NEED)
    assert ranking.inlets.inlet_pressure[0, 0] == pytest.approx(expected)


def test_independent_kinds_are_those_of_the_closed_form(sampled, flow, openings):
    reference = flow.reference_pressure[:, None]
    model, mesh = np.array([0.05, 0.1, 0.1, 0.1, 0.2]), np.full((4, 5), 15.0)
    samples = sampled(
        [patch_kind("model", model * reference, ETA), patch_kind("mesh", mesh, ETA)],
        recovery=0.05,
        needed=60.0,
    )
    rank = (flow, openings[:1], openings[1:], [0.8], [0.05])
    options = {"needed": NEED, "needed_deviation": [60.0] * 4}
    drawn = rank_openings(*rank, samples=samples, **options)
    closed = rank_openings(*rank, cp_deviation=model, discretisation=mesh, **options)
    # the glide has no slipstream, whose bounds the closed form takes for one deviation
    assert drawn.deviation[1] == pytest.approx(closed.deviation[1], rel=DEVIATION)
    assert drawn.inlet_deviation[1] == pytest.approx(closed.inlet_deviation[1], rel=DEVIATION)
    assert drawn.exit_deviation[1] == pytest.approx(closed.exit_deviation[1], rel=DEVIATION)
    assert drawn.reversal[:2] == pytest.approx(closed.reversal[:2], abs=PROBABILITY)
    # the logarithm of the needed pressure is drawn: 12 % of it bend the tails a little
    assert drawn.sufficiency[1] == pytest.approx(closed.sufficiency[1], abs=PROBABILITY + 0.01)
    for name in ("inlet_index", "exit_index", "available", "ratio", "least_ratio", "limiting"):
        assert (getattr(drawn, name) == getattr(closed, name)).all() or name == "ratio"


def test_deviation_of_the_least_ratio_is_the_closed_form_where_one_condition_limits(
    sampled, flow, openings
):
    # the glide alone decides; in first order both parts add in squares
    samples = sampled([patch_kind("model", np.full((4, 5), 20.0), ETA)], needed=25.0)
    bands = pair_bands(samples, 1, NEED, np.array([False, True, False, False]))
    available = samples.head[1, 0] * 0.8 + 0.2 * samples.patch[1, 0] - samples.patch[1, 1:]
    by_available = np.hypot(20.0, 0.2 * 20.0) / 500.0
    by_needed = available * 25.0 / 500.0**2
    expected = np.hypot(by_available, by_needed)
    assert bands.least_ratio_deviation[0] == pytest.approx(expected, rel=DEVIATION)


def test_least_ratio_is_the_least_in_each_world(sampled, flow, openings, forms):
    samples = everything(sampled, flow, openings, forms)
    bands = bands_of(samples)
    needed = samples.needed(NEED)
    ratios = np.array([samples.available(c, 0, 2) / needed[c] for c in (0, 1)])
    least = ratios.min(axis=0)
    assert bands.least_ratio_deviation[0, 1] == pytest.approx(least.std())
    assert bands.least_sufficiency[0, 1] == (least >= 1.0).mean()
    for c in (0, 1):
        available = samples.available(c, 0, 2)
        assert bands.sufficiency[c, 0, 1] == (available >= needed[c]).mean()
        assert bands.reversal[c, 0, 1] == (available < 0.0).mean()
        assert bands.deviation[c, 0, 1] == pytest.approx(available.std())
    assert bands.least_sufficiency[0, 1] <= bands.sufficiency[:2, 0, 1].min()
    assert bands.least_ratio_band(0, 1) == pytest.approx(np.quantile(least, [0.16, 0.5, 0.84]))


def test_bands_are_quantiles_of_the_available_pressure(sampled, flow):
    samples = sampled([patch_kind("model", np.full((4, 5), 50.0), np.zeros(5))])
    low, middle, high = bands_of(samples).band(0, 0)
    central = samples.patch[:, 0] + 0.8 * (samples.head[:, 0] - samples.patch[:, 0])
    central = central - samples.patch[:, 1]
    spread = np.hypot(50.0, 50.0) * 0.9945  # the 16 % quantile of the normal distribution
    error = 4.0 * np.hypot(50.0, 50.0) * 0.0112 / 0.399
    assert middle[1:] == pytest.approx(central[1:], abs=error)
    assert high[1:] - middle[1:] == pytest.approx(np.full(3, spread), abs=1.5 * error)
    assert middle[1:] - low[1:] == pytest.approx(np.full(3, spread), abs=1.5 * error)


# --- what places have in common -----------------------------------------------------------


def test_common_part_is_a_part_of_the_deviation_not_a_correlation(sampled):
    groups = np.zeros((5, 2))
    groups[[0, 3], 0], groups[[1, 2], 1] = 1.0, 1.0
    size = np.full((4, 5), 40.0)
    samples = sampled([UncertainKind("model", size, size, COMMON * groups)])
    drawn = samples.changes(np.arange(5))["model"]
    assert drawn.std(axis=0) == pytest.approx(np.ones(5), rel=DEVIATION)
    shared, own = (standard_draws("model", what) for what in ("group 1", "opening top"))
    assert drawn[:, 1] == pytest.approx(COMMON * shared + (1.0 - COMMON**2) ** 0.5 * own)
    found = np.corrcoef(drawn, rowvar=False)
    error = 4.0 / np.sqrt(SAMPLES)
    assert found[1, 2] == pytest.approx(COMMON**2, abs=error * (1.0 - COMMON**4))
    assert abs(found[1, 2] - COMMON) > error * (1.0 - COMMON**4)
    assert found[0, 3] == pytest.approx(COMMON**2, abs=error * (1.0 - COMMON**4))
    for pair in ((0, 1), (0, 4), (1, 3), (1, 4), (3, 4)):
        assert abs(found[pair]) < error


def test_what_two_places_share_leaves_their_difference(sampled, flow, openings):
    groups = np.zeros((5, 2))
    groups[[1, 2], 0], groups[3, 1] = 1.0, 1.0
    size = np.full((4, 5), 40.0)
    samples = sampled([UncertainKind("model", size, 0.0 * size, COMMON * groups)])
    rank = (flow, openings[:1], openings[1:], [0.8], [0.0])
    ranking = rank_openings(*rank, needed=NEED, samples=samples)
    pair = {ranking.exit(k).name: k for k in range(4)}
    top, aft, bottom = pair["top"], pair["top aft"], pair["bottom"]
    left = np.sqrt(2.0 * (1.0 - COMMON**2)) * 40.0
    assert ranking.difference_deviation(top, aft, 1) == pytest.approx(left, rel=DEVIATION)
    apart = np.sqrt(2.0) * 40.0
    assert ranking.difference_deviation(top, bottom, 1) == pytest.approx(apart, rel=DEVIATION)
    assert ranking.difference_deviation(top, top, 1) == 0.0
    closed = rank_openings(*rank, needed=NEED, cp_deviation=40.0 / flow.reference_pressure[1])
    assert closed.difference_deviation(top, aft, 1) == pytest.approx(apart, rel=1e-6)


def test_air_moves_all_places_together(sampled):
    # over the ground with the wind from ahead every pressure goes with q, and all are in step
    bands = bands_of(sampled(onset=UncertainAir(wind=0.05)))
    samples = bands.samples
    patch, behind = samples.pressures(2, np.arange(5))
    found = np.corrcoef(np.hstack([patch, behind]), rowvar=False)
    signs = np.sign(np.concatenate([samples.patch[2], samples.patch[2]]))
    signs[5] = 1.0  # behind the inlet: above outside pressure
    assert found == pytest.approx(np.outer(signs, signs), abs=1e-6)
    slope = 2.0 * 0.05 / ROLL.speed
    assert patch.std(axis=0) == pytest.approx(np.abs(samples.patch[2]) * slope, rel=1e-3)
    central = samples.patch[2, 0] + 0.8 * (samples.head[2, 0] - samples.patch[2, 0])
    expected = np.abs(central - samples.patch[2, 1:]) * slope
    assert bands.deviation[2, 0] == pytest.approx(expected, rel=1e-3)
    assert bands.deviation[1] == pytest.approx(np.zeros((1, 4)), abs=1e-9)


def test_patch_pressures_alone_are_those_of_all_pressures(sampled):
    kinds = [patch_kind("mesh", np.full((4, 5), 30.0), ETA)]
    samples = sampled(kinds, onset=UncertainAir(alpha=1.5, beta=3.0, factor_low=0.1))
    columns = np.array([4, 0])
    changes = samples.changes(columns)
    for c in range(4):
        patch, _ = samples.pressures(c, columns, changes)
        assert np.ptp(patch, axis=0).min() > 0.0
        assert (samples.patches(c, columns, changes) == patch).all()


def test_opening_that_is_inlet_and_exit_has_one_error(sampled, openings):
    samples = sampled([patch_kind("mesh", np.full((4, 5), 30.0), ETA)])
    twice = replace(samples, openings=(openings[1], openings[1], *openings[2:]))
    drawn = twice.changes(np.arange(5))["mesh"]
    assert (drawn[:, 0] == drawn[:, 1]).all()
    assert abs(np.corrcoef(drawn[:, 1], drawn[:, 2])[0, 1]) < 4.0 / np.sqrt(SAMPLES)


def test_regions_are_shared_out_by_area_and_side(body, openings):
    index = (body.centroids[:, 0] > openings[1].centre[0]).astype(int)
    shares = region_shares(openings, index, 2).reshape(5, 2, len(SIDES))
    assert shares.sum(axis=(1, 2)) == pytest.approx(np.ones(5))
    top = SIDES.index("top")
    assert 0.05 < shares[1, 0, top] < 0.95
    assert shares[1, :, top].sum() == pytest.approx(1.0)
    assert shares[2, 1, top] == pytest.approx(1.0)
    assert shares[3, 1, SIDES.index("bottom")] == pytest.approx(1.0)
    # two halves of a region's draw: less in common, the deviation stays
    flat = shares.reshape(5, -1)
    kind = UncertainKind("model", np.ones((1, 5)), np.ones((1, 5)), COMMON * flat)
    assert (kind.common**2).sum(axis=1).max() <= COMMON**2 + 1e-12


# --- laws ---------------------------------------------------------------------------------


def test_nothing_uncertain_gives_no_spread(sampled, flow, openings):
    still = sampled()
    bands = bands_of(still)
    # the wetting cannot be switched off; without slipstream it has no effect
    assert bands.deviation[1:3] == pytest.approx(np.zeros((2, 1, 4)), abs=1e-9)
    assert bands.variance[:, 1:3] == pytest.approx(np.zeros((len(bands.variance), 2, 1, 4)))
    central = still.patch[:, :1] + 0.8 * (still.head - still.patch)[:, :1] - still.patch[:, 1:]
    for k in range(4):
        for row in bands.band(0, k)[:, 1:3]:
            assert row == pytest.approx(central[1:3, k], abs=1e-9)
    assert (bands.reversal[1:3, 0] == (central[1:3] < 0.0)).all()
    assert (bands.sufficiency[1, 0] == (central[1] >= 500.0)).all()


def test_same_names_give_the_same_bytes(sampled, flow, openings, forms):
    first, second = (bands_of(everything(sampled, flow, openings, forms)) for _ in range(2))
    for name in ("deviation", "variance", "reversal", "sufficiency", "least_ratio_deviation"):
        assert getattr(first, name).tobytes() == getattr(second, name).tobytes()
    assert first.band(0, 2).tobytes() == second.band(0, 2).tobytes()
    alone = first.samples.pressures(0, [0, 2])[1][:, 0]
    together = first.samples.pressures(0, np.arange(5))[1][:, 0]
    assert alone == pytest.approx(together, abs=1e-9)


def test_more_of_one_kind_raises_only_its_own_share(sampled, flow, openings, forms):
    usual = everything(sampled, flow, openings, forms)
    louder = [
        replace(kind, patch=2.0 * kind.patch, behind=2.0 * kind.behind)
        if kind.name == "rough"
        else kind
        for kind in usual.kinds
    ]
    before, after = bands_of(usual), bands_of(replace(usual, kinds=tuple(louder)))
    for k, name in enumerate(usual.kind_names):
        if name == "rough":
            assert after.variance[k] == pytest.approx(4.0 * before.variance[k])
        else:
            assert after.variance[k].tobytes() == before.variance[k].tobytes()
    for c in (0, 1):
        old, new = before.shares(0, 1, c), after.shares(0, 1, c)
        assert new["rough"] > old["rough"]
        assert all(new[name] <= old[name] for name in old if name != "rough")
        assert sum(new.values()) == pytest.approx(1.0)
        assert list(new.values()) == sorted(new.values(), reverse=True)
    assert (after.deviation[:3] > before.deviation[:3]).all()


def test_kinds_alone_add_up_to_the_whole_where_they_do_not_act_on_each_other(
    sampled, flow, openings, forms
):
    bands = bands_of(everything(sampled, flow, openings, forms))
    # correlations that draws of different kinds happen to have, and recovery times the rest
    assert bands.variance[:, :2].sum(axis=0) == pytest.approx(bands.deviation[:2] ** 2, rel=0.15)


def test_new_kind_takes_part(sampled, flow, openings, forms):
    usual = everything(sampled, flow, openings, forms)
    shape = UncertainKind("shape", np.full((4, 5), 300.0), np.full((4, 5), 60.0), np.ones((5, 1)))
    bands = bands_of(replace(usual, kinds=(*usual.kinds, shape)))
    assert next(iter(bands.shares(0, 0, 1))) == "shape"
    k = bands.samples.kind_names.index("shape")
    # shared by inlet and exit: 300 less 60
    assert bands.variance[k, 1, 0] == pytest.approx(np.full(4, 240.0**2))
    assert bands.variance[:k].tobytes() == bands_of(usual).variance.tobytes()


def test_needed_pressure_is_one_factor_and_counts_in_the_ratio(sampled):
    samples = sampled(needed=120.0)
    needed = samples.needed(NEED)
    assert needed.shape == (4, SAMPLES)
    assert np.isnan(needed[2:]).all()
    assert (needed[:2] > 0.0).all()
    low, middle, high = np.quantile(needed[:2], ndtr([-1.0, 0.0, 1.0]), axis=1)
    assert low == pytest.approx(NEED[:2] - 120.0, rel=0.05)
    assert middle == pytest.approx(NEED[:2], rel=0.03)
    assert high == pytest.approx(NEED[:2] + 120.0, rel=0.03)
    assert (np.argsort(needed[0]) == np.argsort(needed[1])).all()
    shares = bands_of(samples).ratio_shares(0, 0, 1, 700.0)
    assert shares[NEEDED] == pytest.approx(1.0)
    assert next(iter(shares)) == NEEDED
    exact = replace(samples, needed_low=np.zeros(4), needed_high=np.zeros(4))
    assert bands_of(exact).ratio_shares(0, 0, 0, 700.0)[NEEDED] < 1e-20
    # nothing needed: any pressure is enough that does not blow back
    nothing = pair_bands(samples, 1, [400.0, 500.0, 0.0, np.nan], DECIDES)
    assert nothing.sufficiency[2] == pytest.approx(1.0 - nothing.reversal[2])


def test_what_is_not_predicted_stays_blind(sampled, flow, openings, forms):
    samples = everything(sampled, flow, openings, forms)
    bands = bands_of(samples)
    assert np.isnan(bands.reversal[3]).all()
    assert np.isnan(bands.sufficiency[3]).all()
    assert np.isfinite(bands.reversal[:3]).all()
    k = samples.kind_names.index(NOT_PREDICTED)
    assert np.sqrt(bands.variance[k, 3]) == pytest.approx(
        np.full((1, 4), flow.reference_pressure[3]), rel=DEVIATION
    )
    assert not bands.variance[k, :3].any()
    assert (bands.deviation[3] > 0.9 * flow.reference_pressure[3]).all()
    ranking = rank_openings(
        *(flow, openings[:1], openings[1:], [0.8], [0.1]), needed=NEED, samples=samples
    )
    assert np.isnan(ranking.reversal[3]).all()
    closed = rank_openings(*(flow, openings[:1], openings[1:], [0.8], [0.1]), needed=NEED)
    assert np.isnan(closed.reversal[3]).all()


def test_recovery_stays_between_none_and_all(sampled, openings):
    samples = sampled(recovery=0.3)
    drawn = samples.changes(np.arange(5))[RECOVERY]
    assert drawn[:, 0].max() == pytest.approx(0.2)
    assert drawn[:, 0].min() >= -0.8
    assert not drawn[:, 1:].any()
    assert (samples.pressures(1, [0])[1] <= samples.head[1, 0] + 1e-9).all()


def test_ranking_names_what_it_knows_least(sampled, flow, openings, forms):
    samples = everything(sampled, flow, openings, forms)
    rank = (flow, openings[:1], openings[1:], [0.8], [0.1])
    ranking = rank_openings(*rank, needed=NEED, needed_deviation=[100.0] * 4, samples=samples)
    for pair in range(ranking.n_pairs):
        shares = ranking.contributors(pair)
        assert sum(shares.values()) == pytest.approx(1.0)
        assert set(shares) <= {*samples.kind_names, NEEDED}
        c, place = ranking.limiting[pair], (0, ranking.exit_index[pair])
        largest = bands_of(samples).ratio_shares(*place, c, ranking.available[c, pair])
        assert next(iter(shares)) == next(iter(largest))
        assert ranking.deviation[c, pair] == bands_of(samples).deviation[c, *place]
    assert rank_openings(*rank, needed=NEED).contributors(0) == {}


def test_blocks_of_pairs_do_not_show(sampled, flow, openings, forms, monkeypatch):
    samples = everything(sampled, flow, openings, forms)
    whole = bands_of(samples)
    monkeypatch.setattr("panelcp.placement.pair_bands.BLOCK", 2)
    parts = bands_of(samples)
    for name in ("deviation", "variance", "reversal", "least_sufficiency", "exit_deviation"):
        assert getattr(parts, name) == pytest.approx(getattr(whole, name), nan_ok=True, abs=1e-9)


def test_blocks_of_openings_do_not_show(solutions, openings, forms, monkeypatch):
    monkeypatch.setattr("panelcp.placement.bands.OPENING_BLOCK", 2)
    parts = patch_forms(solutions, openings)
    for name in ("gauge", "gauge_step", "head", "head_step", "mixed"):
        assert getattr(parts, name) == pytest.approx(getattr(forms, name), rel=1e-9, abs=1e-9)


# --- mistakes -----------------------------------------------------------------------------


def test_kinds_that_do_not_fit(sampled, flow, openings):
    ones = np.ones((4, 5))
    with pytest.raises(PlacementError, match=r"squares of a row of common add up to 2"):
        UncertainKind("model", ones, ones, np.ones((5, 2)))
    with pytest.raises(PlacementError, match=r"kind 'model': patch \(4, 5\), behind \(4, 4\)"):
        UncertainKind("model", ones, ones[:, 1:])
    with pytest.raises(PlacementError, match=r"kind\(s\) mesh do not have 4 conditions and 5"):
        sampled([patch_kind("mesh", np.ones((3, 5)), ETA)])
    with pytest.raises(PlacementError, match="samples are of 5 other openings than the 4 inlets"):
        rank_openings(flow, openings[:1], openings[2:], [0.8], [0.0], samples=sampled())


def test_records_are_protected(sampled, forms):
    bands = bands_of(sampled())
    for array in (bands.deviation, bands.variance, bands.samples.patch, forms.gauge, forms.mixed):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


def test_operator_of_some_places_is_made_of_that_of_all(body, openings):
    fresh = SurfaceMesh(body.vertices, body.triangles)
    alone, means = sample_operator(SurfaceMesh(body.vertices, body.triangles), openings[2:4])
    sample_operator(fresh, openings)
    part, part_means = sample_operator(fresh, openings[2:4])
    assert (part != alone).nnz == 0
    assert (part_means != means).nnz == 0
    other = replace(openings[2], name="another one")  # not the very same opening
    again, _ = sample_operator(fresh, [other, openings[3]])
    assert (again != alone).nnz == 0
    last, _ = sample_operator(fresh, openings[3:])
    assert last.shape[0] == sum(len(o.sample_weights) for o in openings[3:])
