"""Where the pocket of separated air ahead of a windshield begins and ends on the top of a nose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from panelcp.errors import FlowError
from panelcp.flow.boundary_layer import SEPARATION_SHAPES
from panelcp.flow.skin_layers import LineMarcher, softened
from panelcp.flow.skin_lines import OPEN, POCKET, POSSIBLE, LineStates
from panelcp.flow.superposition import SurfaceFlow

HALF_WIDTH = 0.1
"""m, lines are looked at so far to both sides of the pocket's middle."""

AHEAD = 0.25
"""m, lines are laid through panels up to so far ahead of the windshield base."""

FAR_AHEAD = 0.5
"""m; what begins farther ahead of the base is the layer behind the front, not the pocket."""

BEHIND = 0.1
"""m, what begins farther behind the base than this is another separation."""

FACES_UP = 0.2
LEAST_LINES = 0.5
"""An edge is told where at least this part of the lines has it."""


@dataclass(frozen=True)
class PocketEdges:
    """Stations where the pocket ahead of the windshield begins and ends in one condition.

    Attributes
    ----------
    condition : str, its name
    warned_station : float, m, where H passes 1.8: from here on the air may separate
    separated_station : float, m, where H passes 2.4
    stratford_station : float, m, separation by Stratford's criterion
    reattached_station : float, m, where the air comes back behind it; where H stays below 2.4, the
        end of the possible pocket

    base_station : float, m, the windshield base that was found

    All but the last are medians over lines near the middle; nan where most lines do not have it.
    """

    condition: str
    warned_station: float
    separated_station: float
    stratford_station: float
    reattached_station: float
    base_station: float = nan

    @property
    def has_pocket(self) -> bool:
        """Whether the edge of a pocket ahead of the windshield can be told."""
        return self.warned_station >= self.base_station - FAR_AHEAD

    def line(self) -> str:
        """What this means for a vent on top, in one line."""
        warned, separated = 1e3 * self.warned_station, 1e3 * self.separated_station
        if isnan(warned):
            return f"{self.condition}: no separation ahead of the windshield"
        return self._begins(warned, separated) + self._second_opinion(warned)

    def _second_opinion(self, warned: float) -> str:
        """Stratford's criterion, where it is reached first."""
        other = 1e3 * self.stratford_station
        if isnan(other) or other >= warned:
            return ""
        return f"; by a second criterion (Stratford) already ahead of STA {other:.0f} mm"

    def _begins(self, warned: float, separated: float) -> str:
        if not self.has_pocket:
            return (
                f"{self.condition}: the layer on top comes near separation already behind the "
                f"front, at STA {warned:.0f} mm; no edge of the pocket can be told"
            )
        if isnan(separated):
            return (
                f"{self.condition}: the air may separate from STA {warned:.0f} mm on (H 1.8); H "
                "does not reach 2.4"
            )
        return (
            f"{self.condition}: a top vent must end ahead of STA {warned:.0f} mm (H 1.8) to "
            f"{separated:.0f} mm (H 2.4)"
        )


def pocket_edges(
    flow: SurfaceFlow, turbulent: Sequence[bool], mean_streams=None, middle: float = 0.0
) -> tuple[PocketEdges, ...]:
    """Edges of the pocket ahead of the windshield, along lines on the top of the nose.

    Parameters
    ----------
    flow : SurfaceFlow
    turbulent : for each condition, whether the skin is turbulent from the nose
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`
    middle : m, y of the pocket's middle

    Returns
    -------
    tuple of PocketEdges, one for each condition

    Raises
    ------
    FlowError : no panels that face up within 0.1 m of the middle

    Notes
    -----
    The windshield base is taken where, ahead of the highest place of the body, the attached
    pressure on top has risen most above its least value farther ahead. Lines run through the
    panels up to 0.25 m ahead of the base, from where the air meets the nose, over the base and on.
    The pressure that decides is the attached one, so the pocket's own effect on the layer ahead of
    it is left out: real air separates rather earlier. Common practice, no source.
    """
    top = _top_panels(flow, middle)
    marcher = LineMarcher(flow, turbulent, mean_streams)
    return tuple(_edges(marcher, c, top) for c in range(len(flow.conditions)))


def _top_panels(flow: SurfaceFlow, middle: float) -> np.ndarray:
    """Panels on top near the middle, ahead of the highest place, from the front aft."""
    surface = flow.surface
    x, y, _ = surface.centroids.T
    beside = (np.abs(y - middle) < HALF_WIDTH) & (surface.normals[:, 2] > FACES_UP)
    if not beside.any():
        raise FlowError(
            f"no panel faces up within {1e3 * HALF_WIDTH:.0f} mm of y = {1e3 * middle:.0f} mm; "
            "expected the top of a nose there: check axes and middle"
        )
    highest = x[beside][np.argmax(surface.centroids[beside, 2])]
    top = np.flatnonzero(beside & (x <= highest))
    return top[np.argsort(x[top])]


def _edges(marcher: LineMarcher, c: int, top) -> PocketEdges:
    """Edges of one condition."""
    flow = marcher.flow
    name, x = flow.conditions[c].name, flow.surface.centroids[top, 0]
    found = []
    if flow.moving[c]:
        suction, base = _suction_and_base(x, flow.gauge_pressure[c, top])
        near = top[(x > base - AHEAD) & (x < base)]
        for states in marcher.states(c, near):
            found.append(_stations(states, suction, base))
    if not found:
        return PocketEdges(name, nan, nan, nan, nan)
    medians = [_median(values) for values in np.concatenate(found, axis=1)]
    return PocketEdges(name, *medians, base_station=base)


def _suction_and_base(x, pressure) -> tuple[float, float]:
    """Stations between which the pressure along the top rises most; x increasing."""
    rise = pressure - np.minimum.accumulate(pressure)
    base = int(np.argmax(rise))
    return float(x[np.argmin(pressure[: base + 1])]), float(x[base])


def _stations(states: LineStates, suction: float, base: float) -> np.ndarray:
    """(4, n_lines) float, m: stations of H 1.8, H 2.4, Stratford and of the end of the pocket.

    Of the last run of points ahead of the base, or just behind it, at which the layer is near
    separation or the air is separated.
    """
    lines = states.lines
    x, column = lines.points[..., 0], np.arange(states.state.shape[1])[None]
    there = (column < lines.count[:, None]) & (x > suction)
    apart = np.isin(states.state, (POCKET, OPEN)) & there
    near = (softened(states) | (states.state == POSSIBLE)) & there
    start, end = _last_run(near, there & (x < base + BEHIND))
    run = (column >= start[:, None]) & (column < end[:, None])
    separated, reattached = _first(apart & run), end.copy()
    gone = separated >= 0
    still = apart & (column >= separated[:, None])
    reattached[gone] = _first(~still & (column > separated[:, None]))[gone]
    found = np.array([_where(x, place) for place in (start, separated, reattached)])
    found[2, (reattached >= lines.count)] = np.nan
    found[0] = _before(states, x, start, found[0])
    exact, stratford = (_station_at(lines, w) for w in (states.separation, states.stratford))
    # the march knows the place between two points
    step = found[1] - _where(x, separated - 1)
    found[1] = np.where(np.abs(exact - found[1]) <= np.abs(step), exact, found[1])
    stratford[~((stratford > suction) & (stratford < base + BEHIND))] = np.nan
    return np.stack([found[0], found[1], stratford, found[2]])


def _last_run(near, ahead) -> tuple[np.ndarray, np.ndarray]:
    """(n,) int, first point of the run of `near` that holds its last point `ahead`, and the first
    behind it; -1 where there is none."""
    n = near.shape[1]
    column = np.arange(n)[None]
    inside = near & ahead
    last = np.where(inside.any(axis=1), n - 1 - inside[:, ::-1].argmax(axis=1), -1)
    gap = ~near & (column < last[:, None])
    start = np.where(gap.any(axis=1), n - gap[:, ::-1].argmax(axis=1), 0)
    behind = ~near & (column > last[:, None])
    end = np.where(behind.any(axis=1), behind.argmax(axis=1), n)
    return np.where(last >= 0, start, -1), np.where(last >= 0, end, -1)


def _first(mask) -> np.ndarray:
    """(n,) int: first point that is True; -1 where none is."""
    return np.where(mask.any(axis=1), mask.argmax(axis=1), -1)


def _where(x, place) -> np.ndarray:
    """(n,) float: x at a point of every line; nan where there is none."""
    inside = (place >= 0) & (place < x.shape[1])
    found = x[np.arange(len(x)), np.where(inside, place, 0)].copy()
    found[~inside] = np.nan
    return found


def _before(states: LineStates, x, start, station) -> np.ndarray:
    """Station of H 1.8 between two points, H taken as straight between them."""
    rows, before = np.arange(len(x)), np.maximum(start - 1, 0)
    low, high = states.shape[rows, before], states.shape[rows, np.maximum(start, 0)]
    rising = (start > 0) & (high > low) & (low < SEPARATION_SHAPES[0])
    share = (SEPARATION_SHAPES[0] - low) / np.where(rising, high - low, 1.0)
    between = x[rows, before] + share * (station - x[rows, before])
    return np.where(rising, between, station)


def _station_at(lines, way) -> np.ndarray:
    """(n_lines,) float, m: station at a distance along each line; nan for nan."""
    found = np.full(len(way), np.nan)
    for k in np.flatnonzero(np.isfinite(way)):
        n = lines.count[k]
        found[k] = np.interp(way[k], lines.distance[k, :n], lines.points[k, :n, 0])
    return found


def _median(values) -> float:
    """Median of what is not nan; nan where less than half is there."""
    there = values[np.isfinite(values)]
    return float(np.median(there)) if len(there) >= max(LEAST_LINES * len(values), 1) else nan
