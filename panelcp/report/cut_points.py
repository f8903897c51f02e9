"""What lies on a cut: measured points, and openings that its plane goes through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from panelcp.errors import FlowError
from panelcp.report.cut_air import CutAir
from panelcp.surface.cutting import PLANES
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

NEAR = 0.05
"""m; measured points farther from the plane than this are left out, and those whose place in the
plane is twice as far from the skin."""


@dataclass(frozen=True, eq=False)
class MeasuredPoint:
    """A pressure that was measured on the skin.

    Attributes
    ----------
    name : of the tap
    place : (3,) float, m, on the skin
    condition : name of the condition it was measured in
    pressure : Pa, gauge; or else
    cp : in place of the pressure
    deviation : one standard deviation, Pa or Cp as the value

    Raises
    ------
    FlowError : place of another shape, not one of pressure and Cp, numbers that are not finite, a
        negative deviation
    """

    name: str
    place: np.ndarray
    condition: str
    pressure: float | None = None
    cp: float | None = None
    deviation: float = 0.0

    def __post_init__(self):
        object.__setattr__(self, "place", frozen_array(self.place))
        if self.place.shape != (3,) or not np.isfinite(self.place).all():
            raise FlowError(
                f"measured point {self.name!r}: place {self.place.tolist()}; expected three finite "
                "numbers, STA, BL and WL in m"
            )
        if (self.pressure is None) == (self.cp is None):
            raise FlowError(
                f"measured point {self.name!r}: expected either a pressure (Pa) or a Cp, not both "
                "and not neither"
            )
        value = self.cp if self.pressure is None else self.pressure
        if not (np.isfinite(value) and 0.0 <= self.deviation < np.inf):
            raise FlowError(
                f"measured point {self.name!r}: value {value} with the deviation {self.deviation}; "
                "expected finite numbers, the deviation at least 0"
            )


@dataclass(frozen=True, eq=False)
class PlacedPoints:
    """Measured points on a cut.

    Attributes
    ----------
    points : MeasuredPoint that are shown
    numbers : (n,) int, of their conditions
    sides : (n,) int, of their sides
    along, pressure, deviation : (n,) float: place on the axis of the plot, m, and Pa
    far, others : how many lie too far from the cut, and belong to other conditions
    """

    points: tuple[MeasuredPoint, ...] = ()
    numbers: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    sides: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    along: np.ndarray = field(default_factory=lambda: np.zeros(0))
    pressure: np.ndarray = field(default_factory=lambda: np.zeros(0))
    deviation: np.ndarray = field(default_factory=lambda: np.zeros(0))
    far: int = 0
    others: int = 0

    def __post_init__(self):
        for name in ("numbers", "sides"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        for name in ("along", "pressure", "deviation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def placed_points(
    air: CutAir, numbers: Sequence[int], measured: Sequence[MeasuredPoint], near: float = NEAR
) -> PlacedPoints:
    """Measured points of some conditions, moved onto a cut across its plane.

    Parameters
    ----------
    air : CutAir
    numbers : of the conditions that are shown
    measured : MeasuredPoint of any place and condition
    near : m, see NEAR
    """
    names = {air.conditions[c].name: c for c in numbers}
    axis, rows, far, others = PLANES[air.plane][0], [], 0, 0
    for point in measured:
        if point.condition not in names:
            others += 1
            continue
        inside = point.place.copy()
        inside[axis] = air.place
        found = [side.line.nearest(inside) for side in air.sides]
        k = int(np.argmin([gap for _, gap in found]))
        if abs(point.place[axis] - air.place) > near or found[k][1] > 2.0 * near:
            far += 1
            continue
        c = names[point.condition]
        unit = 1.0 if point.cp is None else air.conditions[c].dynamic_pressure
        value = point.pressure if point.cp is None else point.cp
        along = air.along_at(air.sides[k], found[k][0])
        rows.append((point, c, k, along, value * unit, point.deviation * unit))
    if not rows:
        return PlacedPoints(far=far, others=others)
    return PlacedPoints(*zip(*rows, strict=True), far=far, others=others)


@dataclass(frozen=True)
class CutOpening:
    """Where a cut goes through an opening: number of the side, ways along its line, m."""

    name: str
    side: int
    first: float
    last: float


def cut_openings(air: CutAir, openings: Sequence[Opening]) -> list[CutOpening]:
    """The openings, and their mirror images, that the plane of a cut goes through.

    One that reaches over the point where two sides meet, as over the top centre line, has a part on
    each.
    """
    axis, found = PLANES[air.plane][0], []
    for opening in openings:
        for one in (opening, opening.twin):
            if one is None:
                continue
            crossings = _crossings(one.outline, axis, air.place)
            if len(crossings) >= 2:
                found += _pieces_between(air, opening.name, crossings)
    return found


def _pieces_between(air: CutAir, name: str, crossings) -> list[CutOpening]:
    """Parts of an opening between its outermost crossings, on one side or on two that meet."""
    ways: dict[int, list[float]] = {}
    for place in crossings:
        near = [side.line.nearest(place) for side in air.sides]
        k = int(np.argmin([gap for _, gap in near]))
        ways.setdefault(k, []).append(near[k][0])
    if len(ways) == 1:
        ((k, arcs),) = ways.items()
        return [CutOpening(name, k, min(arcs), max(arcs))]
    far = {k: (max(arcs), air.sides[k].line.length - min(arcs)) for k, arcs in ways.items()}
    by_start, by_end = (sum(way) for way in zip(*far.values(), strict=True))
    return [
        CutOpening(name, k, 0.0, max(arcs))
        if by_start <= by_end
        else CutOpening(name, k, min(arcs), air.sides[k].line.length)
        for k, arcs in sorted(ways.items())
    ]


def _crossings(outline, axis: int, place: float) -> np.ndarray:
    """(n, 3) float, m: where a closed outline crosses a plane."""
    start, end = np.asarray(outline), np.roll(outline, -1, axis=0)
    low, high = start[:, axis] - place, end[:, axis] - place
    crossed = np.flatnonzero((low >= 0.0) != (high >= 0.0))
    share = (low[crossed] / (low[crossed] - high[crossed]))[:, None]
    return start[crossed] + share * (end[crossed] - start[crossed])
