"""How uncertain the pressures at the openings are: angles, slipstream, panelling."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelcp.case.preparing import PreparedCase
from panelcp.errors import FlowError, PanelcpError
from panelcp.flow.solutions import Solutions, solve_conditions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import Fault, refinement_changes, refinement_check, suspect_zone
from panelcp.panels.solving import solve_units
from panelcp.placement.ranking import opening_pressures
from panelcp.quantity import UncertainValue
from panelcp.surface.coarsening import coarsened
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.refining import refined

ANGLE_DEVIATIONS = {
    "alpha": UncertainValue(1.5, mark="memory", source="one standard deviation", kind="angle"),
    "beta": UncertainValue(3.0, mark="memory", source="one standard deviation", kind="angle"),
}
"""How well angle of attack and sideslip are known."""


@dataclass(frozen=True, eq=False)
class Settling:
    """How the pressure changes when the panels in doubt are made finer.

    Attributes
    ----------
    checks : the change of Cp against its limit; none where no condition has a stream
    pressure : (n_conditions, n_panels) float, Pa, on the finer panels less that before
    line : for the log
    warnings : lines, where it could not be solved
    """

    checks: tuple[Fault, ...]
    pressure: np.ndarray
    line: str
    warnings: tuple[str, ...] = ()


def inlets_and_exits(prepared: PreparedCase) -> tuple[list[Opening], list[Opening]]:
    """Openings and candidates that may take air in, and those that may let it out."""
    everything = [*prepared.openings, *prepared.candidates]
    inlets = [opening for opening in everything if opening.takes_air_in]
    return inlets, [opening for opening in everything if opening.lets_air_out]


def _turned(angle: float, step: UncertainValue) -> float:
    """Angle one deviation nearer to zero or across it: so it stays within what is allowed."""
    return angle - step.value if angle > 0.0 else angle + step.value


def _turned_stream(condition, angle: str, step: UncertainValue) -> np.ndarray:
    """Stream of a condition one deviation off; over the ground it only turns along the ground."""
    if not condition.on_ground:
        return replace(condition, **{angle: _turned(getattr(condition, angle), step)}).stream
    if angle == "alpha":
        return condition.stream
    pitch, turn = np.radians([condition.attitude or 0.0, step.value])
    upward = np.array([-np.sin(pitch), 0.0, np.cos(pitch)])
    stream = condition.stream
    return stream * np.cos(turn) + np.cross(upward, stream) * np.sin(turn)


def angle_deviation(prepared: PreparedCase, solutions: Solutions, flow: SurfaceFlow) -> np.ndarray:
    """(n_conditions, n_inlets + n_exits) Pa: what uncertain angles do to the patch pressures.

    Angle of attack 1.5 deg and sideslip 3 deg, one deviation each (from memory), as if every
    opening felt them for itself: on the safe side for a difference of two.
    """
    openings = [opening for group in inlets_and_exits(prepared) for opening in group]
    nothing = np.zeros(len(openings))
    usual = opening_pressures(flow, openings, nothing).patch_pressure
    squares = np.zeros(usual.shape)
    for angle, step in ANGLE_DEVIATIONS.items():

        def turned(onset, angle=angle, step=step):
            return onset.with_streams([_turned_stream(c, angle, step) for c in onset.conditions])

        moved = opening_pressures(solutions.flow(turned), openings, nothing).patch_pressure
        squares += (moved - usual) ** 2
    return np.sqrt(squares)


def slipstream_deviation(
    prepared: PreparedCase, solutions: Solutions, flow: SurfaceFlow
) -> np.ndarray | None:
    """(n_conditions, n_inlets + n_exits) Pa: what the slipstream factor does to the pressures."""
    propeller = prepared.case.surroundings.propeller
    if propeller is None or not propeller.factor.value > 0.0 or not propeller.factor.has_band:
        return None
    share = 1.0 + deviation_of(propeller.factor) / propeller.factor.value
    stronger = solutions.flow(lambda onset: onset.with_factors(share))
    inlets, exits = inlets_and_exits(prepared)
    etas = [prepared.recovery[opening.name].value for opening in inlets]
    before, after = (
        np.hstack(
            [
                opening_pressures(air, inlets, etas).inlet_pressure,
                opening_pressures(air, exits, np.zeros(len(exits))).patch_pressure,
            ]
        )
        for air in (flow, stronger)
    )
    return np.abs(after - before)


def discretisation(prepared: PreparedCase, flow: SurfaceFlow) -> tuple[np.ndarray, float]:
    """(n_conditions, n_inlets + n_exits) Pa: patch pressures on a coarser panelling less these.

    Also the share of the panels that the coarser one has.

    The difference is about 0.8 times the error of the finer panelling; it is taken as one
    standard deviation. An opening that does not fit the coarser skin gets the largest of the
    others.
    """
    openings = [opening for group in inlets_and_exits(prepared) for opening in group]
    surface = coarsened(prepared.surface)
    around = prepared.case.surroundings
    coarse = solve_conditions(surface, flow.conditions, around).flow()
    finder, places, laid = SkinFinder(surface), [], []
    for place, opening in enumerate(openings):
        try:
            laid.append(opening.laid_on(finder))
            places.append(place)
        except PanelcpError:
            continue
    difference = np.full((len(flow.conditions), len(openings)), np.nan)
    if laid:
        fine = opening_pressures(flow, [openings[k] for k in places], np.zeros(len(laid)))
        rough = opening_pressures(coarse, laid, np.zeros(len(laid)))
        difference[:, places] = np.abs(rough.patch_pressure - fine.patch_pressure)
    largest = np.nan_to_num(difference).max(axis=1, keepdims=True)
    share = surface.n_panels / prepared.surface.n_panels
    return np.where(np.isnan(difference), largest, difference), share


def settling(
    solutions: Solutions, flow: SurfaceFlow, checks: list[Fault], tolerance: float
) -> Settling:
    """Solve again with finer panels where a check failed or comes nearest to its limit.

    Tried in even streams, those of the slipstream added in the mean. Judged by the conditions
    that decide, where some do; all carry their changes.
    """
    units, streams = solutions.main, solutions.mean_streams
    moving = np.linalg.norm(streams, axis=1) > 0.0
    pressure = np.zeros(flow.gauge_pressure.shape)
    if not moving.any():
        return Settling((), pressure, "finer panels where in doubt: not tried, no stream")
    zone = suspect_zone(flow.surface, checks)
    surface, parents = refined(flow.surface, zone)
    try:
        finer = solve_units(surface, ground=units.ground, tolerance=tolerance)
    except FlowError as error:
        line = f"finer panels where in doubt: {np.count_nonzero(zone)} panels, but {error}"
        return Settling((), pressure, line, (line,))
    changes = refinement_changes(units, finer, parents, streams[moving])
    pressure[moving] = changes * flow.reference_pressure[moving, None]
    line = (
        f"finer panels where in doubt: {np.count_nonzero(zone)} of {len(zone)} panels, then "
        f"{surface.n_panels} in all; Cp changes there by {np.median(np.abs(changes[:, zone])):.4f} "
        f"(median) and at most {np.abs(changes).max():.2f}, edges included; carried into the "
        "deviations"
    )
    decides = np.array([condition.decides for condition in flow.conditions])[moving]
    judged = changes[decides] if decides.any() else changes
    return Settling((refinement_check(units, judged),), pressure, line)


def settling_at_openings(prepared: PreparedCase, pressure: np.ndarray) -> np.ndarray:
    """(n_conditions, n_inlets + n_exits) Pa: |mean change| of pressure over each opening."""
    openings = [opening for group in inlets_and_exits(prepared) for opening in group]
    means = [pressure[:, o.sample_panels] @ o.sample_weights for o in openings]
    return np.abs(np.stack(means, axis=1))


def deviation_of(value: UncertainValue) -> float:
    """Mean of both sides of a band; zero without one."""
    if not value.has_band:
        return 0.0
    return 0.5 * (value.low_deviation + value.high_deviation)
