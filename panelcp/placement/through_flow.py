"""What a given flow through the openings does: to each inlet, to its lip, to other openings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import PlacementError
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow, interpolated_pressure
from panelcp.placement.ranking import opening_pressures
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening, rim_samples
from panelcp.surface.rays import SkinFinder


@dataclass(frozen=True, eq=False)
class ThroughFlow:
    """Openings with a given flow in all conditions.

    Attributes
    ----------
    openings : in order
    volume_flow : (n_conditions, n_openings) float, m3/s, out of the body positive
    velocity_ratio : (n_conditions, n_openings) float: mean speed through the opening over the
        speed that the air there would have at outside pressure; nan without moving air
    spillage : (n_conditions, n_openings) float: part of the air ahead of an inlet's face that goes
        round it, 1 - velocity_ratio; negative where the inlet draws air from round its lip; nan
        where nothing is taken in
    lip_pressure : (n_conditions, n_openings) float, Pa, the lowest on the lip with all flows
    others : (n_conditions, n_openings) float, Pa, by how much the flows of the other openings
        change the patch pressure
    """

    openings: tuple[Opening, ...]
    volume_flow: np.ndarray
    velocity_ratio: np.ndarray
    spillage: np.ndarray
    lip_pressure: np.ndarray
    others: np.ndarray

    def __post_init__(self):
        for name in ("volume_flow", "velocity_ratio", "spillage", "lip_pressure", "others"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def through_flow(
    solutions: Solutions, openings: Sequence[Opening], flows: Mapping[str, Sequence[float]]
) -> ThroughFlow:
    """Effect of a given flow through openings.

    Parameters
    ----------
    solutions : Solutions with the unit flows of the openings that have a flow
    openings : all openings to look at
    flows : name of an opening -> (n_conditions,) m3/s, out of the body positive

    Returns
    -------
    ThroughFlow

    Raises
    ------
    PlacementError : a flow of an opening that is not among them

    Notes
    -----
    The patch pressures of an opening are those on the closed skin, without its own flow; the
    flows of the others act on it. The lip is looked at with all flows, a quarter of the opening's
    width outside its outline. An inlet that takes air with the speed ratio r catches the part r
    of the air ahead of its face; the rest spills over.
    """
    unknown = set(flows) - {opening.name for opening in openings}
    if unknown:
        raise PlacementError(f"a flow is given for {sorted(unknown)[0]!r}, which is no opening")
    closed, all_flows = solutions.flow(), solutions.flow(flows=flows)
    total = opening_pressures(closed, openings, np.zeros(len(openings))).total_pressure
    density = np.array([c.air.density for c in solutions.conditions])[:, None]
    nothing = np.zeros(len(solutions.conditions))
    volume = np.stack([flows.get(o.name, nothing) for o in openings], axis=1)
    speed = np.abs(volume) / np.array([opening.area for opening in openings])
    free = np.sqrt(2.0 * np.maximum(total, 0.0) / density)
    ratio = np.divide(speed, free, out=np.full(speed.shape, np.nan), where=free > 0.0)
    return ThroughFlow(
        openings=tuple(openings),
        volume_flow=volume,
        velocity_ratio=ratio,
        spillage=np.where(volume < 0.0, 1.0 - ratio, np.nan),
        lip_pressure=_lip_pressure(all_flows, openings),
        others=_change_by_others(solutions, closed, openings, flows),
    )


def _lip_pressure(flow: SurfaceFlow, openings) -> np.ndarray:
    finder, lowest = SkinFinder(flow.surface), []
    for opening in openings:
        points, panels = rim_samples(finder, opening)
        if not len(points):
            lowest.append(np.full(len(flow.conditions), np.nan))
            continue
        operator = point_operator(flow.surface, points, panels)
        lowest.append(interpolated_pressure(flow, operator).min(axis=1))
    return np.stack(lowest, axis=1)


def _change_by_others(solutions: Solutions, closed: SurfaceFlow, openings, flows) -> np.ndarray:
    changes = []
    for opening in openings:
        others = {name: flow for name, flow in flows.items() if name != opening.name}
        with_others = solutions.flow(flows=others)
        before, after = (
            opening_pressures(flow, [opening], [0.0]).patch_pressure[:, 0]
            for flow in (closed, with_others)
        )
        changes.append(after - before)
    return np.stack(changes, axis=1)
