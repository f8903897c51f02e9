"""Joining of the rooms: a case from its file to a folder of results."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import panelcp
from panelcp.case.doubts import doubts
from panelcp.case.preparing import PreparedCase, Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.errors import FlowError, PanelcpError
from panelcp.flow.superposition import SurfaceFlow, superpose
from panelcp.panels.faults import (
    Fault,
    refinement_changes,
    refinement_check,
    solution_checks,
    suspect_zone,
)
from panelcp.panels.influence import is_compiled
from panelcp.panels.solving import UnitSolutions, solve_units
from panelcp.placement.ranking import OpeningRanking, opening_pressures, rank_openings
from panelcp.placement.requirement import EXPONENT
from panelcp.quantity import UncertainValue
from panelcp.report.contents import RunContents
from panelcp.surface.checking import check_surface
from panelcp.surface.coarsening import coarsened
from panelcp.surface.curved import roughness_band
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.refining import refined
from panelcp.surface.repair import format_place

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


@dataclass(frozen=True, eq=False)
class Run:
    """A finished run.

    Attributes
    ----------
    folder : with the results
    contents : RunContents, everything that was found
    """

    folder: Path
    contents: RunContents


def solve_case(prepared: PreparedCase, progress: Progress = quiet) -> RunContents:
    """Solve the flow of a prepared case and rank its openings.

    Parameters
    ----------
    prepared : PreparedCase
    progress : called with a short text before each step

    Returns
    -------
    RunContents
    """
    case = prepared.case
    check = check_surface(prepared.surface)
    units = solve_units(prepared.surface, tolerance=case.tolerance, progress=progress)
    progress("checking the solution")
    checks = solution_checks(units)
    flow = superpose(units, case.conditions)
    progress("solving on finer panels where in doubt, to see how much it matters")
    settling = _settling(units, flow, checks, case.tolerance)
    checks += settling.checks
    progress("solving on a coarser panelling, to see how much it matters")
    discretisation, share = _discretisation(prepared, flow)
    discretisation = np.maximum(discretisation, _settling_at_openings(prepared, settling.pressure))
    progress("ranking places")
    ranking = _rank(
        prepared, flow, np.hypot(discretisation, _angle_deviation(prepared, units, flow))
    )
    etas = [prepared.recovery[opening.name].value for opening in prepared.openings]
    found_lines = tuple(found.line() for found in prepared.searches)
    return RunContents(
        name=case.name,
        question=case.question,
        note=case.note,
        version=panelcp.__version__,
        input_hash=input_hash(prepared),
        check=check,
        units=units,
        flow=flow,
        openings=opening_pressures(flow, prepared.openings, etas),
        ranking=ranking,
        needed_pressure=case.needed_pressure,
        searches=found_lines,
        inputs={"surface_hash": prepared.surface_hash, "case": case.tables},
        marks=_marks(prepared),
        checks=tuple(checks),
        warnings=(
            *doubts(case, prepared.openings, check, checks, flow, ranking, share),
            *settling.warnings,
        ),
        log=(
            *check.lines(),
            *found_lines,
            *_solver_lines(units, checks),
            settling.line,
            _roughness_line(prepared.surface),
            _panelling_line(flow, discretisation, share),
        ),
        views=case.views,
        best=case.best,
        last_station=case.last_station,
    )


def run_case(case, results=None, progress: Progress = quiet) -> Run:
    """Everything the case asks for, written into results/run-<hash>/.

    Parameters
    ----------
    case : path of a case file, or a Case
    results : folder for the results; `results` beside the case file when not given
    progress : called with a short text before each step

    Returns
    -------
    Run

    Raises
    ------
    PanelcpError : a mistake in the input; nothing is written then
    """
    from panelcp.report.files import require_folder
    from panelcp.report.writing import write_results

    case = case if isinstance(case, Case) else read_case(case)
    root = Path(results) if results is not None else case.path.parent / "results"
    if not is_compiled():
        progress("first run: compiling the inner loops on the way, about a minute in all")
    prepared = prepare_case(case, progress)
    require_folder(root)
    contents = solve_case(prepared, progress)
    return Run(write_results(contents, root, progress), contents)


def input_hash(prepared: PreparedCase) -> str:
    """Ten hexadecimal digits from case text, mesh file and program version."""
    parts = (prepared.case.text_hash, prepared.surface_hash, panelcp.__version__)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:10]


def _inlets_and_exits(prepared: PreparedCase) -> tuple[list[Opening], list[Opening]]:
    everything = [*prepared.openings, *prepared.candidates]
    inlets = [opening for opening in everything if opening.takes_air_in]
    return inlets, [opening for opening in everything if opening.lets_air_out]


def _turned(angle: float, step: UncertainValue) -> float:
    """Angle one deviation nearer to zero or across it: so it stays within what is allowed."""
    return angle - step.value if angle > 0.0 else angle + step.value


def _angle_deviation(prepared: PreparedCase, units: UnitSolutions, flow: SurfaceFlow) -> np.ndarray:
    """(n_conditions, n_inlets + n_exits) Pa: what uncertain angles do to the patch pressures.

    Angle of attack 1.5 deg and sideslip 3 deg, one deviation each (from memory), as if every
    opening felt them for itself: on the safe side for a difference of two.
    """
    openings = [opening for group in _inlets_and_exits(prepared) for opening in group]
    nothing = np.zeros(len(openings))
    usual = opening_pressures(flow, openings, nothing).patch_pressure
    squares = np.zeros(usual.shape)
    for angle, step in ANGLE_DEVIATIONS.items():
        turned = [replace(c, **{angle: _turned(getattr(c, angle), step)}) for c in flow.conditions]
        moved = opening_pressures(superpose(units, turned), openings, nothing).patch_pressure
        squares += (moved - usual) ** 2
    return np.sqrt(squares)


def _discretisation(prepared: PreparedCase, flow: SurfaceFlow) -> tuple[np.ndarray, float]:
    """(n_conditions, n_inlets + n_exits) Pa: patch pressures on a coarser panelling less these.

    Also the share of the panels that the coarser one has.

    The difference is about 0.8 times the error of the finer panelling; it is taken as one
    standard deviation. An opening that does not fit the coarser skin gets the largest of the
    others.
    """
    openings = [opening for group in _inlets_and_exits(prepared) for opening in group]
    surface = coarsened(prepared.surface)
    coarse = superpose(solve_units(surface), flow.conditions)
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


def _settling(
    units: UnitSolutions, flow: SurfaceFlow, checks: list[Fault], tolerance: float
) -> Settling:
    """Solve again with finer panels where a check failed or comes nearest to its limit.

    Judged by the conditions that decide, where some do; all carry their changes.
    """
    moving = flow.dynamic_pressure > 0.0
    pressure = np.zeros(flow.gauge_pressure.shape)
    if not moving.any():
        return Settling((), pressure, "finer panels where in doubt: not tried, no stream")
    zone = suspect_zone(flow.surface, checks)
    surface, parents = refined(flow.surface, zone)
    try:
        finer = solve_units(surface, tolerance=tolerance)
    except FlowError as error:
        line = f"finer panels where in doubt: {np.count_nonzero(zone)} panels, but {error}"
        return Settling((), pressure, line, (line,))
    streams = np.array([condition.stream for condition in flow.conditions])[moving]
    changes = refinement_changes(units, finer, parents, streams)
    pressure[moving] = changes * flow.dynamic_pressure[moving, None]
    line = (
        f"finer panels where in doubt: {np.count_nonzero(zone)} of {len(zone)} panels, then "
        f"{surface.n_panels} in all; Cp changes there by {np.median(np.abs(changes[:, zone])):.4f} "
        f"(median) and at most {np.abs(changes).max():.2f}, edges included; carried into the "
        "deviations"
    )
    decides = np.array([condition.decides for condition in flow.conditions])[moving]
    judged = changes[decides] if decides.any() else changes
    return Settling((refinement_check(units, judged),), pressure, line)


def _settling_at_openings(prepared: PreparedCase, pressure: np.ndarray) -> np.ndarray:
    """(n_conditions, n_inlets + n_exits) Pa: |mean change| of pressure over each opening."""
    openings = [opening for group in _inlets_and_exits(prepared) for opening in group]
    means = [pressure[:, o.sample_panels] @ o.sample_weights for o in openings]
    return np.abs(np.stack(means, axis=1))


def _rank(prepared: PreparedCase, flow: SurfaceFlow, discretisation) -> OpeningRanking:
    inlets, exits = _inlets_and_exits(prepared)
    recovery = [prepared.recovery[opening.name] for opening in inlets]
    return rank_openings(
        flow,
        inlets,
        exits,
        recovery=[eta.value for eta in recovery],
        recovery_deviation=[_deviation(eta) for eta in recovery],
        cp_deviation=_cp_deviations(prepared, [*inlets, *exits]),
        discretisation=discretisation,
        needed_deviation=[
            _deviation(needed) if needed else 0.0 for needed in prepared.case.needed_pressure
        ],
    )


def _deviation(value: UncertainValue) -> float:
    if not value.has_band:
        return 0.0
    return 0.5 * (value.low_deviation + value.high_deviation)


def _cp_deviations(prepared: PreparedCase, openings: list[Opening]) -> np.ndarray:
    """Model error of the patch-mean Cp at each opening, by its region, and the mesh's roughness."""
    case, surface = prepared.case, prepared.surface
    by_region = [case.cp_deviation.value]
    by_region += [(box.cp_deviation or case.cp_deviation).value for box in case.regions]
    model = [
        np.array(by_region)[surface.region_index[opening.sample_panels]] @ opening.sample_weights
        for opening in openings
    ]
    band = roughness_band(surface)
    rough = [
        np.sqrt(band[opening.sample_panels] ** 2 @ opening.sample_weights) for opening in openings
    ]
    return np.hypot(model, rough)


def _marks(prepared: PreparedCase) -> tuple[tuple[str, UncertainValue], ...]:
    case = prepared.case
    marks = [("surface: model error of a patch-mean Cp", case.cp_deviation)]
    marks += [(f"{name}: how well it is known", band) for name, band in ANGLE_DEVIATIONS.items()]
    marks += [
        (f"region {box.name}: model error of a patch-mean Cp", box.cp_deviation)
        for box in case.regions
        if box.cp_deviation
    ]
    if case.needed:
        marks.append(("engine: needed pressure at full power", case.needed.reference))
        marks.append(("engine: exponent of flow in the core pressure drop", EXPONENT))
    marks += [
        (f"condition {condition.name}: needed pressure", needed)
        for condition, needed in zip(case.conditions, case.needed_pressure, strict=True)
        if needed
    ]
    inlets = [entry for entry in case.openings if entry.use in ("inlet", "both")]
    marks += [(f"opening {entry.name}: recovery fraction", entry.recovery) for entry in inlets]
    marks += [
        (f"search {entry.region.name}: recovery fraction", entry.recovery)
        for entry in case.searches
        if entry.region.use in ("inlet", "both")
    ]
    return tuple(marks)


def _roughness_line(surface: SurfaceMesh) -> str:
    band = roughness_band(surface)
    worst = format_place(surface.centroids[int(np.argmax(band))])
    return (
        f"roughness of the mesh, worth in Cp: {np.median(band):.4f} (median), {band.max():.3f} at "
        f"{worst}; that under each opening is carried into the deviations"
    )


def _panelling_line(flow: SurfaceFlow, discretisation: np.ndarray, share: float) -> str:
    q = flow.dynamic_pressure[:, None]
    part = np.divide(discretisation, q, out=np.zeros_like(discretisation), where=q > 0.0)
    return (
        f"panelling: patch pressures change by {np.median(part):.4f} q (median) and at most "
        f"{part.max():.4f} q on {100 * share:.0f} % of the panels; carried into the deviations"
    )


def _far_field_line(units: UnitSolutions) -> str:
    if units.far_error == 0.0:
        return "far field: summed directly"
    return (
        f"far field: tree, error {units.far_error:.1e} (rms over 50 random panels) and at most "
        f"{units.far_error_greatest:.1e} (these and the 50 smallest panels), parts of the rms "
        "velocity"
    )


def _solver_lines(units: UnitSolutions, checks: list[Fault]) -> list[str]:
    return [
        f"unit solutions: {', '.join(units.names)}; {units.iterations} iterations",
        f"normal velocity left at the control points: {units.residuals.max():.1e} of the stream",
        _far_field_line(units),
        *(check.line() for check in checks),
    ]
