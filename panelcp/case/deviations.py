"""How uncertain the pressures at the openings are: air, model, mesh, panelling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.case.preparing import PreparedCase
from panelcp.errors import FlowError, PanelcpError
from panelcp.flow.solutions import Solutions, solve_conditions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import Fault, refinement_changes, refinement_check, suspect_zone
from panelcp.panels.solving import solve_units
from panelcp.placement.bands import (
    COMMON,
    EFFICIENCY,
    FIGURE,
    MODEL,
    PANELLING,
    ROUGHNESS,
    SEPARATION,
    PatchForms,
    PressureSamples,
    UncertainAir,
    UncertainKind,
    blind_kind,
    factor_kind,
    layer_kind,
    mixing_kind,
    patch_forms,
    patch_kind,
    region_shares,
)
from panelcp.placement.ranking import OpeningPressures, opening_pressures
from panelcp.quantity import UncertainValue
from panelcp.surface.coarsening import coarsened
from panelcp.surface.curved import roughness_band
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.refining import refined

ANGLE_DEVIATIONS = {
    "alpha": UncertainValue(1.5, mark="memory", source="one standard deviation", kind="angle"),
    "beta": UncertainValue(3.0, mark="memory", source="one standard deviation", kind="angle"),
}
"""How well angle of attack and sideslip are known."""

WIND_DEVIATION = UncertainValue(1.5, mark="memory", source="one standard deviation", kind="speed")
"""How well the wind is known in conditions on the ground: 3 kt."""


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
    return by_use([*prepared.openings, *prepared.candidates])


def by_use(everything: list[Opening]) -> tuple[list[Opening], list[Opening]]:
    """Openings that may take air in, and those that may let it out."""
    inlets = [opening for opening in everything if opening.takes_air_in]
    return inlets, [opening for opening in everything if opening.lets_air_out]


def sampled_pressures(
    prepared: PreparedCase,
    solutions: Solutions,
    flow: SurfaceFlow,
    panelling: np.ndarray,
    recovery_share: np.ndarray,
) -> PressureSamples:
    """Everything that is not known of the pressures at inlets and exits, ready to be drawn.

    Parameters
    ----------
    prepared : PreparedCase
    solutions : Solutions
    flow : SurfaceFlow of these
    panelling : (n_conditions, n_inlets + n_exits) float, Pa, deviation that the panelling leaves
    recovery_share : (n_conditions, n_inlets + n_exits) float, part of the recovery that the
        boundary layer leaves

    Returns
    -------
    PressureSamples
    """
    inlets, exits = inlets_and_exits(prepared)
    openings = [*inlets, *exits]
    bands = [prepared.recovery[opening.name] for opening in inlets]
    bands += [UncertainValue(0.0)] * len(exits)
    eta = np.array([band.value for band in bands])
    air = opening_pressures(flow, openings, recovery_share * eta)
    forms = patch_forms(solutions, openings)
    needed = prepared.case.needed_pressure
    return PressureSamples(
        openings=tuple(openings),
        conditions=flow.conditions,
        predicted=flow.predicted,
        patch=air.patch_pressure,
        head=air.total_pressure,
        recovery=eta,
        recovery_low=[band.low_deviation or 0.0 for band in bands],
        recovery_high=[band.high_deviation or 0.0 for band in bands],
        forms=forms,
        air=uncertain_air(prepared),
        kinds=uncertain_kinds(prepared, flow, forms, air, eta, panelling, recovery_share),
        wetting=_groups(prepared, openings),
        needed_low=[(band and band.low_deviation) or 0.0 for band in needed],
        needed_high=[(band and band.high_deviation) or 0.0 for band in needed],
        recovery_share=recovery_share,
    )


def uncertain_air(prepared: PreparedCase) -> UncertainAir:
    """How well angles, slipstream and wind are known; efficiencies are kinds of their own."""
    propeller, low, high = prepared.case.surroundings.propeller, 0.0, 0.0
    if propeller is not None and propeller.factor.value > 0.0 and propeller.factor.has_band:
        low = propeller.factor.low_deviation / propeller.factor.value
        high = propeller.factor.high_deviation / propeller.factor.value
    return UncertainAir(
        alpha=ANGLE_DEVIATIONS["alpha"].value,
        beta=ANGLE_DEVIATIONS["beta"].value,
        factor_low=float(low),
        factor_high=float(high),
        wind=WIND_DEVIATION.value,
    )


def uncertain_kinds(
    prepared: PreparedCase,
    flow: SurfaceFlow,
    forms: PatchForms,
    air: OpeningPressures,
    eta: np.ndarray,
    panelling: np.ndarray,
    recovery_share: np.ndarray,
) -> tuple[UncertainKind, ...]:
    """All that is not known but the air itself: model, mesh, panelling, mixing, propeller."""
    openings, reference = list(air.openings), flow.reference_pressure
    groups, share = _groups(prepared, openings), reference[:, None]
    left, around = recovery_share * eta, prepared.case.surroundings
    patch, head = air.patch_pressure, air.total_pressure
    return (
        patch_kind(MODEL, share * model_deviations(prepared, openings), left, COMMON * groups),
        patch_kind(ROUGHNESS, share * roughness_deviations(prepared, openings), left),
        patch_kind(PANELLING, panelling, left),
        mixing_kind(forms, patch, head, left, groups),
        *(
            factor_kind(
                kind, forms, flow.conditions, around.efficiency_changes(name, flow.conditions), left
            )
            for kind, name in ((EFFICIENCY, "efficiency"), (FIGURE, "figure_of_merit"))
        ),
        patch_kind(SEPARATION, separation_deviations(flow, openings), left, COMMON * groups),
        layer_kind(patch, head, eta, recovery_share),
        blind_kind(flow.predicted, reference, len(openings)),
    )


def separation_deviations(flow: SurfaceFlow, openings: list[Opening]) -> np.ndarray:
    """(n_conditions, n_openings) Pa: half width of the bands of separated air."""
    deviation = flow.separation_deviation
    return np.stack([deviation[:, o.sample_panels] @ o.sample_weights for o in openings], axis=1)


def _groups(prepared: PreparedCase, openings: list[Opening]) -> np.ndarray:
    surface = prepared.surface
    return region_shares(openings, surface.region_index, len(prepared.case.regions) + 1)


def model_deviations(prepared: PreparedCase, openings: list[Opening]) -> np.ndarray:
    """(n_openings,) float: model error of the patch-mean Cp at each opening, by its region."""
    panels = panel_deviations(prepared)
    return np.array([panels[o.sample_panels] @ o.sample_weights for o in openings])


def panel_deviations(prepared: PreparedCase) -> np.ndarray:
    """(n_panels,) float: model error of Cp by region."""
    case = prepared.case
    by_region = [case.cp_deviation.value]
    by_region += [(box.cp_deviation or case.cp_deviation).value for box in case.regions]
    return np.array(by_region)[prepared.surface.region_index]


def roughness_deviations(prepared: PreparedCase, openings: list[Opening]) -> np.ndarray:
    """(n_openings,) float: what the roughness of the mesh under each opening is worth in Cp."""
    band = roughness_band(prepared.surface)
    return np.array([np.sqrt(band[o.sample_panels] ** 2 @ o.sample_weights) for o in openings])


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
        nothing = np.zeros(flow.gauge_pressure.shape)
        attached = flow.with_separation(nothing, nothing)  # the coarse one has attached air only
        fine = opening_pressures(attached, [openings[k] for k in places], np.zeros(len(laid)))
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
