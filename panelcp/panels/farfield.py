"""Velocity of many point sources at many points, directly or through a tree of boxes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

LEAF_SIZE = 64
"""Boxes with more points are divided in a search for neighbours."""

FAR_LEAF_SIZE = 128
"""As LEAF_SIZE, for sums through the tree: of 64 to 200 among the fastest for 10 000 to 100 000
points (measured)."""

DIRECT_PAIRS = 1.2e8
"""Up to so many pairs of point and source the sum is direct: it has no error, and at 1e8 pairs it
takes at most 1.6 times as long as the tree (measured)."""

ROUGH_SHARE = 0.5
"""Part of DIRECT_PAIRS up to which sums in single precision are direct: as fast as the tree there
(measured)."""


@dataclass(frozen=True, eq=False)
class Boxes:
    """Octree over points.

    Attributes
    ----------
    order : (n_points,) int; the points of box b are order[start[b]:end[b]]
    start, end, first_child, n_children, depth, parent : (n_boxes,) int; box 0 holds all
    centre : (n_boxes, 3) float, m
    radius : (n_boxes,) float, m
    largest : (n_boxes,) float, m2, largest area of a panel inside
    """

    order: np.ndarray
    start: np.ndarray
    end: np.ndarray
    first_child: np.ndarray
    n_children: np.ndarray
    depth: np.ndarray
    parent: np.ndarray
    centre: np.ndarray
    radius: np.ndarray
    largest: np.ndarray

    @property
    def leaves(self) -> np.ndarray:
        """(n_leaves,) int: boxes without children."""
        return np.flatnonzero(self.n_children == 0)

    def levels(self, upward: bool) -> list[np.ndarray]:
        """Boxes by depth, deepest first when `upward`."""
        depths = range(int(self.depth.max()), -1, -1) if upward else range(self.depth.max() + 1)
        return [np.flatnonzero(self.depth == depth) for depth in depths]


def build_tree(points, areas=None, leaf_size: int = LEAF_SIZE) -> Boxes:
    """Octree over points.

    Parameters
    ----------
    points : (n, 3) float, m
    areas : (n,) float, m2, of the panels at the points, or None
    leaf_size : boxes with more points are divided

    Returns
    -------
    Boxes
    """
    from panelcp.panels.far_kernels import box_bounds, build_boxes

    points = np.array(points, dtype=float, order="C")
    areas = np.zeros(len(points)) if areas is None else np.array(areas, dtype=float)
    order, start, end, first_child, n_children, depth = build_boxes(points, leaf_size)
    parent = np.full(len(start), -1, dtype=np.int64)
    for box in np.flatnonzero(n_children):
        parent[first_child[box] : first_child[box] + n_children[box]] = box
    centre, radius, largest = box_bounds(points, order, start, end, areas)
    return Boxes(order, start, end, first_child, n_children, depth, parent, centre, radius, largest)


@dataclass(frozen=True)
class Expansion:
    """Order of the series and the greatest (sum of radii)/distance they are used at."""

    order: int
    opening: float


def expansion_for(tolerance: float) -> Expansion:
    """Series that keep the rms error of the velocity below `tolerance` of its rms; the last ones
    of EXPANSIONS if none does.
    """
    for order, opening, error in EXPANSIONS:
        if error <= tolerance:
            return Expansion(order, opening)
    return Expansion(*EXPANSIONS[-1][:2])


EXPANSIONS = (
    (3, 0.60, 1e-2),
    (4, 0.55, 2e-3),
    (5, 0.50, 4e-4),
    (6, 0.50, 1.6e-4),
    (7, 0.50, 7e-5),
    (8, 0.50, 3e-5),
    (10, 0.45, 2e-6),
)
"""Order, opening, rms error of the velocity of point sources on a skin, parts of its rms: greatest
of smooth and random strengths on ellipsoids 3:2:1 and 20:1:1, boxes and skins with panels gathered
to a hundredth of their size (measured, see the tests). Thin plates with gathered panels: twice."""


class FarField:
    """Sum of point sources for fixed places, prepared once and applied to many strengths.

    velocity(x) = sum over j of q_j (x - y_j) / (4 pi |x - y_j|^3), source `own[i]` left out at
    target i.

    Parameters
    ----------
    targets : (n_targets, 3) float, m
    sources : (n_sources, 3) float, m
    own : (n_targets,) int, source left out at each target, -1 for none
    tolerance : of the velocity, parts of its rms; None sums directly
    precision : np.float64, or np.float32 for direct sums in single precision
    """

    def __init__(self, targets, sources, own, tolerance: float | None, precision=np.float64):
        # copies, so that the compiled loops meet one kind of array only: writable ones
        # about their own middle, so that single precision does not depend on the datum
        middle = 0.5 * (np.min(sources, axis=0) + np.max(sources, axis=0))
        self.targets = np.array(targets - middle, dtype=float, order="C")
        self.sources = np.array(sources - middle, dtype=float, order="C")
        self.own = np.array(own, dtype=np.int64)
        limit = DIRECT_PAIRS * (1.0 if precision is np.float64 else ROUGH_SHARE)
        self.direct = tolerance is None or len(targets) * len(sources) <= limit
        self._order = np.arange(len(self.sources))
        if not self.direct:
            self._prepare(expansion_for(tolerance))
        place = np.empty(len(self.sources) + 1, dtype=np.int64)
        place[self._order], place[-1] = np.arange(len(self.sources)), -1
        self._own_place = place[self.own]
        self._precision = precision
        self._ordered = np.array(self.sources[self._order].T, dtype=precision, order="C")

    def apply(self, charges, velocity):
        """Add the velocities to (n_targets, 3, n_units); charges are (n_units, n_sources)."""
        for units, three in self._threes(charges):
            part = np.zeros((len(self.targets), 3, 3))
            self._add_three(three, part)
            velocity[:, :, units] += part[:, :, : units.stop - units.start]

    def apply_normal(self, charges, normals, velocity):
        """Add the velocities along `normals` (n_targets, 3) to (n_targets, n_units)."""
        normals = np.array(normals, dtype=float, order="C")
        for units, three in self._threes(charges):
            part = np.zeros((len(self.targets), 3))
            self._add_three(three, part, normals)
            velocity[:, units] += part[:, : units.stop - units.start]

    def _threes(self, charges):
        """Slices of up to three units and their charges, filled up with zeros to three."""
        for first in range(0, len(charges), 3):
            units = slice(first, min(first + 3, len(charges)))
            three = np.zeros((3, len(self.sources)))
            three[: units.stop - first] = charges[units]
            yield units, three

    def _add_three(self, charges, velocity, normals=None):
        """Add the velocities of three units, or their parts along normals."""
        from panelcp.panels import far_kernels as kernels

        ordered = np.array(charges[:, self._order], dtype=self._precision, order="C")
        places = (self.targets,) if normals is None else (self.targets, normals)
        if self.direct:
            add_all = kernels.add_all_points if normals is None else kernels.add_all_normals
            add_all(*places, self._own_place, self._ordered, ordered, velocity)
            return
        source, target = self._source_boxes, self._target_boxes
        finish = kernels.finish_leaves if normals is None else kernels.finish_normals
        finish(
            *(target.leaves, target.order, target.start, target.end, target.centre),
            *(*places, self._own_place, self._tables.powers, self._tables.raised),
            *(self._local(charges), self._near_starts, self._near_sources),
            *(source.start, source.end, self._ordered, ordered, velocity),
        )

    def _prepare(self, expansion: Expansion):
        self._source_boxes = build_tree(self.sources, leaf_size=FAR_LEAF_SIZE)
        same = self.targets.shape == self.sources.shape and np.array_equal(
            self.own, np.arange(len(self.sources))
        )
        self._target_boxes = (
            self._moved(self._source_boxes)
            if same
            else build_tree(self.targets, leaf_size=FAR_LEAF_SIZE)
        )
        self._order = self._source_boxes.order
        self._tables = series_tables(expansion.order)
        far, near = _pairs(self._target_boxes, self._source_boxes, expansion.opening)
        n_boxes = len(self._target_boxes.start)
        self._far_starts, self._far_sources = _grouped(*far, n_boxes)
        self._near_starts, self._near_sources = _grouped(*near, n_boxes)

    def _moved(self, boxes: Boxes) -> Boxes:
        """The same boxes with bounds about the targets, which lie close to the sources."""
        from dataclasses import replace

        from panelcp.panels.far_kernels import box_bounds

        none = np.zeros(len(self.targets))
        centre, radius, _ = box_bounds(self.targets, boxes.order, boxes.start, boxes.end, none)
        return replace(boxes, centre=centre, radius=radius)

    def _local(self, charges) -> np.ndarray:
        from panelcp.panels import far_kernels as kernels

        source, target, tables = self._source_boxes, self._target_boxes, self._tables
        shape = (len(charges), len(tables.powers[0]))
        moments = np.zeros((len(source.start), *shape))
        kernels.gather_leaves(
            *(source.leaves, source.order, source.start, source.end, source.centre),
            *(self.sources, charges, tables.powers, moments),
        )
        for boxes in source.levels(upward=True):
            inner = boxes[source.n_children[boxes] > 0]
            kernels.gather_parents(
                *(inner, source.first_child, source.n_children, source.centre),
                *(tables.powers, tables.shift, moments),
            )
        local = np.zeros((len(target.start), *shape))
        kernels.translate(
            *(self._far_starts, self._far_sources, target.centre, source.centre),
            *(tables.derivatives, tables.sums, moments, local),
        )
        for boxes in target.levels(upward=False)[1:]:
            kernels.pass_down(
                boxes, target.parent, target.centre, tables.powers, tables.shift, local
            )
        return local


@dataclass(frozen=True, eq=False)
class SeriesTables:
    """Index tables of the series up to one order.

    Attributes
    ----------
    powers : multi-indices (n, 3), place of the parent, axis of the step from it
    derivatives : multi-indices, places of a - e_i and a - 2 e_i (n, 6), factorials a!
    sums : number of a with |a| + |b| <= order for every b, and places of a + b (n, n)
    shift : a, b, a - b, for all b <= a
    raised : (3, n) place of b + e_d, -1 beyond the order
    """

    powers: tuple[np.ndarray, np.ndarray, np.ndarray]
    derivatives: tuple[np.ndarray, np.ndarray, np.ndarray]
    sums: tuple[np.ndarray, np.ndarray]
    shift: tuple[np.ndarray, np.ndarray, np.ndarray]
    raised: np.ndarray


@lru_cache(maxsize=8)
def series_tables(order: int) -> SeriesTables:
    """Index tables for series up to an order."""
    names = [
        (a, b, degree - a - b)
        for degree in range(order + 1)
        for a in range(degree, -1, -1)
        for b in range(degree - a, -1, -1)
    ]
    place = {name: k for k, name in enumerate(names)}
    indices = np.array(names, dtype=np.int64)
    unit = np.eye(3, dtype=np.int64)
    axes = np.argmax(indices > 0, axis=1)
    parents = [
        place.get(tuple(row - unit[axis]), 0) for row, axis in zip(indices, axes, strict=True)
    ]
    lower = [
        [place.get(tuple(row - step * unit[axis]), -1) for step in (1, 2) for axis in range(3)]
        for row in indices
    ]
    raised = [[place.get(tuple(row + unit[axis]), -1) for row in indices] for axis in range(3)]
    degrees = indices.sum(axis=1)
    counts = [int((degrees <= order - degree).sum()) for degree in degrees]
    total = [[place.get(tuple(a + b), 0) for a in indices] for b in indices]
    shift = [
        (a, b, place[tuple(indices[a] - indices[b])])
        for a in range(len(names))
        for b in range(len(names))
        if (indices[a] >= indices[b]).all()
    ]
    factorial = np.cumprod([1.0, *range(1, order + 1)])
    return SeriesTables(
        powers=(indices, np.array(parents), axes),
        derivatives=(indices, np.array(lower), factorial[indices].prod(axis=1)),
        sums=(np.array(counts), np.array(total)),
        shift=tuple(np.array(shift, dtype=np.int64).T.copy()),
        raised=np.array(raised),
    )


def _pairs(target: Boxes, source: Boxes, opening: float):
    from panelcp.panels.far_kernels import pair_boxes

    trees = [
        (b.first_child, b.n_children, b.centre, b.radius, b.start, b.end) for b in (target, source)
    ]
    none = np.empty(0, dtype=np.int64)
    n_far, n_near = pair_boxes(*trees, opening, False, none, none, none, none)
    lists = [np.empty(n, dtype=np.int64) for n in (n_far, n_far, n_near, n_near)]
    pair_boxes(*trees, opening, True, *lists)
    return lists[:2], lists[2:]


def _grouped(targets, sources, n) -> tuple[np.ndarray, np.ndarray]:
    """Sources of each target, as starts and one long list."""
    order = np.argsort(targets, kind="stable")
    return np.searchsorted(targets[order], np.arange(n + 1)), sources[order]
