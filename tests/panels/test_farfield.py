"""Sums of point sources through a tree of boxes against direct sums."""

import numba
import numpy as np
import pytest

from panelcp.panels import farfield
from panelcp.panels.farfield import EXPANSIONS, FarField, build_tree, expansion_for, series_tables
from panelcp.surface.curved import curved_panels
from tests import bodies

EVERY = 4
"""Plain sums are taken at every fourth target."""


@pytest.fixture(autouse=True)
def _always_a_tree(monkeypatch):
    monkeypatch.setattr(farfield, "DIRECT_PAIRS", 0)


def by_sums(targets, sources, own, charges):
    """(n_targets, 3, n_units) velocity by plain sums, in blocks of targets."""
    result = np.empty((len(targets), 3, len(charges)))
    for first in range(0, len(targets), 500):
        rows = slice(first, first + 500)
        arm = targets[rows, None] - sources
        distance = np.linalg.norm(arm, axis=2)
        left_out = own[rows]
        chosen = np.flatnonzero(left_out >= 0)
        distance[chosen, left_out[chosen]] = np.inf
        kernel = arm / (4.0 * np.pi * distance[:, :, None] ** 3)
        result[rows] = np.einsum("tsi,us->tiu", kernel, charges)
    return result


def through_tree(targets, sources, own, charges, tolerance):
    velocity = np.zeros((len(targets), 3, len(charges)))
    FarField(targets, sources, own, tolerance).apply(charges, velocity)
    return velocity


def error_of(found, exact):
    """Rms error of the worst unit, parts of its rms velocity."""
    return np.sqrt(((found - exact) ** 2).mean(axis=(0, 1)) / (exact**2).mean(axis=(0, 1))).max()


def gathered(points, areas, place, least=0.01, reach=1.5):
    """Points drawn towards a place, to a hundredth of their distances there."""
    distance = np.linalg.norm(points - place, axis=1, keepdims=True)
    factor = np.minimum(1.0, least + (1.0 - least) * (distance / reach) ** 3)
    return place + factor * (points - place), areas * factor[:, 0] ** 2


@pytest.fixture(scope="module", params=["ellipsoid", "gathered", "box", "slender"])
def skin(request):
    """Control points, centroids and areas of some 2000 to 5000 panels."""
    if request.param == "box":
        panels = curved_panels(bodies.box((2.0, 1.0, 0.8), (24, 20, 16)))
    elif request.param == "slender":
        panels = curved_panels(bodies.ellipsoid((20.0, 1.0, 1.0), 4))
    else:
        panels = curved_panels(bodies.ellipsoid((3.0, 2.0, 1.0), 4))
    if request.param == "gathered":
        points, areas = gathered(panels.centroids, panels.areas, np.array([0.0, 0.0, 1.0]))
        spacing = np.sqrt(areas)
        assert spacing.max() > 90.0 * spacing.min()
        return points, points, areas
    return panels.points, panels.centroids, panels.areas


@pytest.fixture(scope="module")
def charges_and_sums(skin):
    targets, sources, areas = skin
    strength = [
        np.sin(2.0 * sources[:, 0]),
        np.ones(len(sources)),
        np.random.default_rng(3).normal(size=len(sources)),
    ]
    charges = np.array(strength) * areas
    own = np.arange(0, len(sources), EVERY)
    return charges, by_sums(targets[own], sources, own, charges)


@pytest.mark.parametrize("tolerance", [error for _, _, error in EXPANSIONS])
def test_tree_keeps_its_tolerance(skin, charges_and_sums, tolerance):
    targets, sources, _ = skin
    charges, exact = charges_and_sums
    found = through_tree(targets, sources, np.arange(len(sources)), charges, tolerance)
    error = error_of(found[::EVERY], exact)
    assert 0.0 < error <= tolerance
    assert np.isfinite(found).all()


def test_direct_sums_are_the_plain_sums(skin, charges_and_sums):
    targets, sources, _ = skin
    charges, exact = charges_and_sums
    found = through_tree(targets, sources, np.arange(len(sources)), charges, None)
    assert error_of(found[::EVERY], exact) <= 1e-13


@pytest.mark.parametrize("tolerance", [1e-2, 2e-3, 4e-4, None])
def test_single_precision_serves_rough_tolerances(skin, charges_and_sums, tolerance):
    # 100 km from the datum as well
    targets, sources, _ = skin
    charges, exact = charges_and_sums
    shift = np.array([1e5, -1e5, 1e5])
    own = np.arange(len(sources))
    field = FarField(targets + shift, sources + shift, own, tolerance, precision=np.float32)
    found = np.zeros((len(targets), 3, len(charges)))
    field.apply(charges, found)
    assert error_of(found[::EVERY], exact) <= (1e-5 if tolerance is None else tolerance)


@pytest.fixture(scope="module")
def cloud():
    """3000 sources through a volume, with six sets of charges."""
    random = np.random.default_rng(8)
    return random.normal(size=(3000, 3)) * [2.0, 1.0, 0.5], random.normal(size=(6, 3000))


@pytest.mark.parametrize("n_units", [1, 2, 3, 4, 6])
def test_any_number_of_units(cloud, n_units):
    points, charges = cloud
    own = np.arange(len(points))
    exact = by_sums(points, points, own, charges[:n_units])
    found = through_tree(points, points, own, charges[:n_units], 3e-5)
    assert found.shape == (3000, 3, n_units)
    assert error_of(found, exact) <= 3e-5
    # each unit is what it is alone
    alone = through_tree(points, points, own, charges[n_units - 1 : n_units], 3e-5)
    assert np.array_equal(found[:, :, -1], alone[:, :, 0])


def test_velocities_are_added_to_what_is_there(cloud):
    points, charges = cloud
    field = FarField(points, points, np.arange(len(points)), 1e-3)
    once, twice = np.zeros((3000, 3, 1)), np.zeros((3000, 3, 1))
    field.apply(charges[:1], once)
    for _ in range(2):
        field.apply(charges[:1], twice)
    assert twice == pytest.approx(2.0 * once, rel=1e-14)


@pytest.mark.parametrize("n_units", [1, 3, 5])
@pytest.mark.parametrize("tolerance", [1e-4, None])
@pytest.mark.parametrize(("precision", "rounding"), [(np.float64, 1e-13), (np.float32, 1e-5)])
def test_normal_part_alone_is_that_of_the_whole(cloud, n_units, tolerance, precision, rounding):
    # added to what is there; some targets leave out a source, not their own number, some none
    points, charges = cloud
    random = np.random.default_rng(12)
    own = np.where(np.arange(900) % 3 > 0, random.permutation(3000)[:900], -1)
    targets = np.where(own[:, None] >= 0, points[own], random.normal(size=(900, 3)))
    normals = random.normal(size=(900, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    field = FarField(targets, points, own, tolerance, precision=precision)
    whole, part = np.zeros((900, 3, n_units)), np.ones((900, n_units))
    field.apply(charges[:n_units], whole)
    field.apply_normal(charges[:n_units], normals, part)
    exact = np.einsum("ndu,nd->nu", whole, normals)
    assert np.abs(part - 1.0 - exact).max() <= rounding * np.abs(whole).max()


@pytest.mark.parametrize("tolerance", [3e-5, None])
def test_targets_apart_from_the_sources(cloud, tolerance):
    sources, charges = cloud
    random = np.random.default_rng(9)
    targets = np.concatenate([random.normal(size=(700, 3)), 9.0 + random.normal(size=(50, 3))])
    own = np.full(len(targets), -1)
    exact = by_sums(targets, sources, own, charges[:2])
    found = through_tree(targets, sources, own, charges[:2], tolerance)
    assert error_of(found, exact) <= (1e-12 if tolerance is None else tolerance)


@pytest.mark.parametrize("tolerance", [3e-5, None])
def test_only_the_named_sources_are_left_out(cloud, tolerance):
    # targets lie 1e-7 beside sources, which would swamp everything, in an order of their own
    sources, charges = cloud
    chosen = np.random.default_rng(10).permutation(len(sources))[:900]
    targets = sources[chosen] + 1e-7
    exact = by_sums(targets, sources, chosen, charges[:3])
    found = through_tree(targets, sources, chosen, charges[:3], tolerance)
    assert error_of(found, exact) <= (1e-12 if tolerance is None else tolerance)
    with_own = through_tree(targets, sources, np.full(900, -1), charges[:3], tolerance)
    assert np.abs(with_own).min() > 1e6 * np.sqrt((exact**2).mean()) * 1e-4


def test_half_of_the_targets_of_a_mirrored_skin(cloud):
    # as the solver does it: rows of one half, sources on both
    sources, charges = cloud
    both = np.concatenate([sources, sources * [1, -1, 1]])
    own = np.arange(len(sources))
    double = np.concatenate([charges[:3], charges[:3]], axis=1)
    exact = by_sums(sources, both, own, double)
    assert error_of(through_tree(sources, both, own, double, 3e-5), exact) <= 3e-5


def test_two_sums_agree_to_the_last_bit(cloud):
    points, charges = cloud
    first, second = (
        through_tree(points, points, np.arange(len(points)), charges, 1e-4) for _ in range(2)
    )
    assert np.array_equal(first, second)


def test_number_of_threads_does_not_matter(cloud):
    points, charges = cloud
    before = numba.get_num_threads()
    results = []
    try:
        for threads in (1, before):
            numba.set_num_threads(threads)
            results.append(through_tree(points, points, np.arange(len(points)), charges, 1e-4))
    finally:
        numba.set_num_threads(before)
    assert results[0] == pytest.approx(results[1], rel=1e-12, abs=1e-12 * np.abs(results[0]).max())


def test_points_on_top_of_each_other_do_not_trap_the_tree():
    # more than a leaf holds, all in one place: no division helps
    random = np.random.default_rng(11)
    points = np.concatenate([np.tile([[0.3, 0.2, 0.1]], (200, 1)), random.normal(size=(1500, 3))])
    charges = random.uniform(0.5, 1.5, size=(1, len(points)))
    targets = random.normal(size=(300, 3))
    own = np.full(300, -1)
    exact = by_sums(targets, points, own, charges)
    assert error_of(through_tree(targets, points, own, charges, 1e-4), exact) <= 1e-4


def test_boxes_hold_every_point_once(cloud):
    points, _ = cloud
    boxes = build_tree(points, np.full(len(points), 0.5), leaf_size=40)
    assert np.array_equal(np.sort(boxes.order), np.arange(len(points)))
    leaves = boxes.leaves
    assert (boxes.end - boxes.start)[leaves].max() <= 40
    held = np.concatenate([boxes.order[boxes.start[b] : boxes.end[b]] for b in leaves])
    assert np.array_equal(np.sort(held), np.arange(len(points)))
    for box in range(0, len(boxes.start), 17):
        inside = points[boxes.order[boxes.start[box] : boxes.end[box]]]
        distance = np.linalg.norm(inside - boxes.centre[box], axis=1)
        assert distance.max() == pytest.approx(boxes.radius[box], abs=1e-14)
    assert (boxes.largest == 0.5).all()
    assert (boxes.depth[1:] == boxes.depth[boxes.parent[1:]] + 1).all()


def test_series_of_the_wanted_tolerance():
    for order, opening, error in EXPANSIONS:
        chosen = expansion_for(error)
        assert (chosen.order, chosen.opening) == (order, opening)
    # none is good enough: the best there is
    assert expansion_for(1e-12).order == EXPANSIONS[-1][0]
    assert expansion_for(0.5).order == EXPANSIONS[0][0]
    # (n + 1)(n + 2)(n + 3)/6 multi-indices up to order n
    assert len(series_tables(6).powers[0]) == 84


def test_small_sums_are_direct(monkeypatch, cloud):
    monkeypatch.undo()
    points, _ = cloud
    own = np.arange(len(points))
    assert FarField(points, points, own, 1e-4).direct
    assert FarField(points, points, own, None).direct
    monkeypatch.setattr(farfield, "DIRECT_PAIRS", 1e6)
    assert not FarField(points, points, own, 1e-4).direct
