"""All pairs in all worlds against plain numpy, closed forms, and other orders of work."""

import numba
import numpy as np
import pytest
from scipy.special import ndtr

from panelcp.placement import pair_bands as module
from panelcp.placement.bands import UncertainKind, patch_kind
from panelcp.placement.pair_bands import pair_bands
from panelcp.placement.pair_kernels import keep_best, look_at_pairs
from tests.placement.made_samples import made_samples, opening

SINGLE = 2e-6
"""Relative: some roundings of single precision, 6e-8 each, of a difference of larger numbers."""

N_INLETS, N_EXITS, N_CONDITIONS, WORLDS = 4, 7, 3, 250
DECIDES, COUNTS = np.array([True, False, True]), np.array([True, True, False])


def made_up(seed=3):
    """Pressures behind inlets, at exits, and needed ones; many differences are negative."""
    draw = np.random.default_rng(seed)
    behind = draw.normal(300.0, 120.0, (N_INLETS, N_CONDITIONS, WORLDS))
    patches = draw.normal(0.0, 120.0, (N_EXITS, N_CONDITIONS, WORLDS))
    needed = draw.uniform(200.0, 300.0, (N_CONDITIONS, WORLDS))
    return [part.astype(np.float32) for part in (behind, patches, needed)]


def looked_at(behind, patches, needed, allowed=None, block=N_EXITS):
    """Everything the kernels find, exits in blocks."""
    n_inlets, n_exits, n_samples = len(behind), len(patches), needed.shape[1]
    allowed = np.ones((n_inlets, n_exits), dtype=bool) if allowed is None else allowed
    ratio, pair = np.full(n_samples, -np.inf, dtype=np.float32), np.full(n_samples, -1)
    parts = []
    for first in range(0, n_exits, block):
        some = patches[first : first + block]
        rows = np.empty((3, len(some), n_samples), dtype=np.float32)
        numbers = np.empty(rows.shape[1:], dtype=np.int32)
        found = np.empty((4, n_inlets, len(some)))
        by_c = np.empty((2, len(needed), n_inlets, len(some)))
        these = np.ascontiguousarray(allowed[:, first : first + block])
        look_at_pairs(behind, some, needed, DECIDES, COUNTS, these, rows, numbers, found, by_c)
        keep_best(rows[2], numbers, first, n_exits, ratio, pair)
        parts.append((found, by_c))
    return *(np.concatenate(part, axis=-1) for part in zip(*parts, strict=True)), ratio, pair


def test_every_pair_is_that_of_plain_numpy():
    behind, patches, needed = made_up()
    found, by_c, ratio, pair = looked_at(behind, patches, needed)
    best = np.empty((N_INLETS * N_EXITS, WORLDS))
    for i in range(N_INLETS):
        for e in range(N_EXITS):
            available = behind[i].astype(float) - patches[e]
            least = (available / needed)[DECIDES].min(axis=0)
            best[i * N_EXITS + e] = least
            assert found[0, i, e] == pytest.approx(least.mean(), rel=SINGLE)
            assert found[1, i, e] == pytest.approx(least.std(), rel=SINGLE)
            assert found[2, i, e] == (least >= 1.0).mean()
            assert found[3, i, e] == (available[COUNTS] < 0.0).any(axis=0).mean()
            assert by_c[0, :, i, e].tolist() == (available < 0.0).mean(axis=1).tolist()
            assert by_c[1, :, i, e].tolist() == (available >= needed).mean(axis=1).tolist()
    assert (pair == best.argmax(axis=0)).all()
    assert ratio == pytest.approx(best.max(axis=0), rel=SINGLE)
    assert 0.05 < found[3].mean() < 0.95


@pytest.mark.parametrize("block", [1, 2, 3])
def test_blocks_change_no_bit(block):
    data = made_up()
    for whole, parts in zip(looked_at(*data), looked_at(*data, block=block), strict=True):
        assert whole.tobytes() == parts.tobytes()


def test_threads_change_no_bit():
    data, usual = made_up(), numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        alone = looked_at(*data)
    finally:
        numba.set_num_threads(usual)
    for one, many in zip(alone, looked_at(*data), strict=True):
        assert one.tobytes() == many.tobytes()


@pytest.mark.parametrize("block", [2, N_EXITS])
def test_of_equal_pairs_the_lowest_number_is_the_best(block):
    behind, patches, needed = made_up()
    behind[2], patches[[1, 4]] = behind[0], patches[5]
    pair = looked_at(behind, patches, needed, block=block)[3]
    inlets, exits = np.divmod(pair, N_EXITS)
    assert set(inlets) == {0, 1, 3}
    assert set(exits) == {0, 1, 2, 3, 6}
    # the same ratio from an inlet of lower number with an exit of higher number
    behind, patches = np.full_like(behind, 400.0), np.full_like(patches, 100.0)
    behind[0], patches[:5] = 500.0, 200.0
    behind[1:, :, :9], patches[:5, :, :9] = 500.0, 100.0
    pair = looked_at(behind, patches, needed, block=block)[3]
    assert (pair[:9] == 0).all()
    assert (pair[9:] == 5).all()


def test_pairs_that_are_not_allowed_are_never_the_best():
    data, allowed = made_up(), np.ones((N_INLETS, N_EXITS), dtype=bool)
    usual = looked_at(*data)
    allowed[np.divmod(usual[3][0], N_EXITS)] = False
    other = looked_at(*data, allowed=allowed)
    without = usual[3] == usual[3][0]
    assert (other[3][~without] == usual[3][~without]).all()
    assert (other[3][without] != usual[3][without]).all()
    assert (other[2][without] < usual[2][without]).all()
    assert other[0].tobytes() == usual[0].tobytes()
    ratio, pair = looked_at(*data, allowed=np.zeros_like(allowed))[2:]
    assert (pair == -1).all()
    assert (ratio == -np.inf).all()


# --- records -------------------------------------------------------------------------------

NEED = np.array([200.0, 250.0, 220.0])


def small(exits=(0.0, -40.0, 30.0, -10.0), count=2000, last=0.9, **more):
    """Two inlets and some exits in three conditions, one error for every opening."""
    openings = [opening(f"inlet {k}", -1.0 - k, use="inlet") for k in range(2)]
    openings += [opening(f"exit {k}", k) for k in range(len(exits))]
    patch = np.array([[220.0, 230.0, *exits]]) * np.array([[1.0], [1.3], [last]])
    own = patch_kind("own", np.full(patch.shape, 60.0), np.zeros(len(openings)))
    return made_samples(openings, patch, [own], count=count, **more)


def test_bands_of_pairs_are_those_of_slow_worlds():
    samples = small()
    bands = pair_bands(samples, 2, NEED, DECIDES)
    least = np.empty((2, 4, samples.count))
    for i in range(2):
        for e in range(4):
            available = np.array([samples.available(c, i, 2 + e) for c in range(3)])
            least[i, e] = (available[DECIDES] / NEED[DECIDES, None]).min(axis=0)
            assert bands.any_reversal[i, e] == (available < 0.0).any(axis=0).mean()
            assert bands.deviation[:, i, e] == pytest.approx(available.std(axis=1), rel=1e-9)
            band = np.quantile(least[i, e], module.QUANTILES)
            assert bands.least_ratio_band(i, e) == pytest.approx(band)
    assert bands.least_ratio_mean == pytest.approx(least.mean(axis=2), rel=SINGLE)
    assert bands.least_ratio_deviation == pytest.approx(least.std(axis=2), rel=SINGLE)
    flat = least.reshape(8, -1)
    assert (bands.best_pair == flat.argmax(axis=0)).all()
    assert bands.best_ratio == pytest.approx(flat.max(axis=0), rel=SINGLE)
    ratios = bands.ratios([0, 1, 1], [2, 0, 3]).min(axis=0).T
    expected = least[[0, 1, 1], [2, 0, 3]]
    assert ratios == pytest.approx(expected, rel=1e-9)


def test_reversal_in_any_condition_is_that_of_independent_ones():
    # one error for each condition: none reverses with the product of the single probabilities
    patch = np.array([[60.0, 0.0], [100.0, 0.0]])
    sizes = [np.array([[50.0, 0.0], [0.0, 0.0]]), np.array([[0.0, 0.0], [50.0, 0.0]])]
    kinds = [UncertainKind(f"error {k}", size, size) for k, size in enumerate(sizes)]
    openings = [opening("inlet", -1.0, use="inlet"), opening("exit", 1.0)]
    samples = made_samples(openings, patch, kinds, count=20000)
    found = pair_bands(samples, 1, NEED[:2], [True, True]).any_reversal[0, 0]
    expected = 1.0 - ndtr(60.0 / 50.0) * ndtr(100.0 / 50.0)
    assert found == pytest.approx(expected, abs=4.0 * (expected / 20000) ** 0.5)


def test_reversal_counts_where_it_is_predicted_and_air_moves():
    usual = pair_bands(small(), 2, NEED, DECIDES)
    assert (usual.any_reversal >= usual.reversal.max(axis=0)).all()
    assert (usual.any_reversal <= usual.reversal.sum(axis=0)).all()
    only = pair_bands(small(predicted=[False, True, False]), 2, NEED, [False, True, False])
    assert only.any_reversal.tolist() == only.reversal[1].tolist()
    none = pair_bands(small(predicted=[False] * 3), 2, NEED, [False, True, False])
    assert np.isnan(none.any_reversal).all()
    # still air in the last condition: whatever errors are drawn there, nothing is told of it
    calm = pair_bands(small(last=0.0), 2, NEED, [True, True, False])
    assert (calm.any_reversal < calm.reversal[2]).any()


def test_blocks_and_a_hopeless_exit_leave_the_rest(monkeypatch):
    names = ("least_ratio_mean", "least_ratio_deviation", "any_reversal", "reversal", "deviation")
    whole = pair_bands(small(), 2, NEED, DECIDES)
    more = pair_bands(small(exits=(0.0, -40.0, 30.0, -10.0, 5000.0)), 2, NEED, DECIDES)
    monkeypatch.setattr(module, "BLOCK", 3)
    parts = pair_bands(small(), 2, NEED, DECIDES)
    # matrix products of other sizes may round differently in double precision
    for name in names:
        assert getattr(parts, name) == pytest.approx(getattr(whole, name), rel=1e-6)
        assert getattr(more, name)[..., :4] == pytest.approx(getattr(whole, name), rel=1e-6)
    assert (parts.best_pair == whole.best_pair).all()
    inlet, exit_ = np.divmod(more.best_pair, 5)
    assert (inlet * 4 + exit_ == whole.best_pair).all()
    assert more.best_ratio == pytest.approx(whole.best_ratio, rel=1e-6)


def test_new_arrays_are_protected():
    bands = pair_bands(small(count=50), 2, NEED, DECIDES)
    for array in (bands.best_pair, bands.best_ratio, bands.any_reversal, bands.least_ratio_mean):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
