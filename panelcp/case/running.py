"""Joining of the rooms: a case from its file to a folder of results."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import panelcp
from panelcp.case.deviations import (
    deviation_of,
    discretisation,
    inlets_and_exits,
    sampled_pressures,
    settling,
    settling_at_openings,
)
from panelcp.case.doubts import doubts, layer_doubts
from panelcp.case.log_lines import (
    air_lines,
    bands_line,
    compressibility_lines,
    panelling_line,
    roughness_line,
    solver_lines,
)
from panelcp.case.marks import marks_of
from panelcp.case.preparing import PreparedCase, Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.warming import warming
from panelcp.flow.skin_layers import SkinLayers
from panelcp.flow.solutions import Solutions, solve_conditions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import (
    solution_checks,
)
from panelcp.panels.influence import is_compiled
from panelcp.placement.bands import PressureSamples
from panelcp.placement.effects import EffectShares, effect_shares
from panelcp.placement.exit_air import (
    StaticPortErrors,
    exit_air,
    static_port_errors,
    targets_of,
)
from panelcp.placement.layers_at_openings import layers_at_openings, skin_under
from panelcp.placement.ranking import OpeningRanking, opening_pressures, rank_openings
from panelcp.placement.through_flow import through_flow
from panelcp.report.contents import RunContents
from panelcp.report.exit_air_section import exit_air_lines
from panelcp.surface.checking import check_surface
from panelcp.surface.opening import Opening


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
    solutions = _solutions(prepared, progress)
    progress("checking the solution")
    checks = solution_checks(solutions.main)
    flow = solutions.flow()
    progress("solving on finer panels where in doubt, to see how much it matters")
    settled = settling(solutions, flow, checks, case.tolerance)
    checks += settled.checks
    progress("solving on a coarser panelling, to see how much it matters")
    panelling, share = discretisation(prepared, flow)
    panelling = np.maximum(panelling, settling_at_openings(prepared, settled.pressure))
    progress("following boundary layers to the openings")
    layers = _layers(prepared, flow)
    change = layers.pocket_change(flow)
    flow = flow.with_separation(change, np.abs(change))
    shares = _recovery_shares(prepared, layers)
    progress("ranking places")
    samples = sampled_pressures(prepared, solutions, flow, panelling, shares)
    ranking = _rank(prepared, flow, samples)
    at_openings = layers_at_openings(layers, _shown(prepared, ranking))
    hits = _exit_air(prepared, flow, ranking)
    etas = _recovered(prepared, layers)
    found_lines = tuple(found.line() for found in prepared.searches)
    return RunContents(
        name=case.name,
        question=case.question,
        note=case.note,
        version=panelcp.__version__,
        input_hash=input_hash(prepared),
        check=check,
        solutions=solutions,
        flow=flow,
        openings=opening_pressures(flow, prepared.openings, etas),
        ranking=ranking,
        needed_pressure=case.needed_pressure,
        effects=_effects(prepared, solutions, ranking, progress),
        through=through_flow(solutions, prepared.openings, case.flows) if case.flows else None,
        layers=at_openings,
        exit_air=hits,
        static_ports=_static_ports(prepared, flow),
        searches=found_lines,
        inputs={"surface_hash": prepared.surface_hash, "case": case.tables},
        marks=marks_of(prepared),
        checks=tuple(checks),
        warnings=(
            *doubts(case, prepared.openings, check, checks, solutions, flow, ranking, share),
            *settled.warnings,
            *layer_doubts(at_openings, flow.conditions),
        ),
        log=(
            *check.lines(),
            *found_lines,
            *solver_lines(solutions, checks),
            *air_lines(case, solutions),
            settled.line,
            roughness_line(prepared.surface),
            panelling_line(flow, panelling, share),
            bands_line(ranking),
            *exit_air_lines(hits, flow.conditions),
            *compressibility_lines(prepared, progress),
        ),
        views=case.views,
        best=case.best,
        last_station=case.last_station,
    )


def _solutions(prepared: PreparedCase, progress: Progress) -> Solutions:
    """Unit flows of the case; those of openings only where a flow is given."""
    case = prepared.case
    return solve_conditions(
        prepared.surface,
        case.conditions,
        case.surroundings,
        openings=[opening for opening in prepared.openings if opening.name in case.flows],
        tolerance=case.tolerance,
        progress=progress,
    )


def _effects(
    prepared: PreparedCase, solutions: Solutions, ranking: OpeningRanking, progress: Progress
) -> EffectShares | None:
    """Shares of the effects at the openings of the case and at the best places."""
    case, around = prepared.case, solutions.surroundings
    if around.propeller is None and around.wing is None and len(solutions.parts) == 1:
        return None
    in_free_air = None
    if any(part.onset.ground is not None for part in solutions.parts):
        progress("solving without the ground, to see how much it matters")
        in_free_air = solve_conditions(
            prepared.surface, case.conditions, around.without("ground"), tolerance=case.tolerance
        )
    return effect_shares(solutions, _shown(prepared, ranking), in_free_air)


def _shown(prepared: PreparedCase, ranking: OpeningRanking) -> list[Opening]:
    """Openings of the case and of the short list, each once."""
    openings = {opening.name: opening for opening in prepared.openings}
    for pair in ranking.distinct(prepared.case.best):
        openings |= {o.name: o for o in (ranking.inlet(pair), ranking.exit(pair))}
    return list(openings.values())


def _layers(prepared: PreparedCase, flow: SurfaceFlow) -> SkinLayers:
    """Boundary layers at all panels under openings and candidates."""
    return skin_under(flow, [*prepared.openings, *prepared.candidates])


def _recovery_shares(prepared: PreparedCase, layers: SkinLayers) -> np.ndarray:
    """(n_conditions, n_inlets + n_exits): what the layer leaves of the recovery."""
    both = [opening for group in inlets_and_exits(prepared) for opening in group]
    return layers_at_openings(layers, both).recovery_share


def _recovered(prepared: PreparedCase, layers: SkinLayers) -> np.ndarray | list:
    """(n_conditions, n_openings) recovery fraction of the case's openings, layer included."""
    if not prepared.openings:
        return []
    eta = [prepared.recovery[opening.name].value for opening in prepared.openings]
    return layers_at_openings(layers, prepared.openings).recovery_share * eta


def _exit_air(prepared: PreparedCase, flow: SurfaceFlow, ranking: OpeningRanking) -> tuple:
    """What the air of the exits that are shown comes near."""
    wing = prepared.case.surroundings.wing
    exits = [opening for opening in _shown(prepared, ranking) if opening.lets_air_out]
    centre = None if wing is None else wing.centre
    targets = targets_of(flow.surface, prepared.openings, centre)
    return tuple(exit_air(flow, exits, targets))


def _static_ports(prepared: PreparedCase, flow: SurfaceFlow) -> StaticPortErrors | None:
    ports = [opening for opening in prepared.openings if opening.use == "static port"]
    return static_port_errors(flow, ports) if ports else None


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
    first = not is_compiled()
    if first:
        progress("first run: compiling the inner loops on the way, about a minute in all")
    with warming(first):
        prepared = prepare_case(case, progress)
        require_folder(root)
        contents = solve_case(prepared, progress)
        return Run(write_results(contents, root, progress), contents)


def input_hash(prepared: PreparedCase) -> str:
    """Ten hexadecimal digits from case text, mesh file and program version."""
    parts = (prepared.case.text_hash, prepared.surface_hash, panelcp.__version__)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:10]


def _rank(prepared: PreparedCase, flow: SurfaceFlow, samples: PressureSamples) -> OpeningRanking:
    inlets, exits = inlets_and_exits(prepared)
    recovery = [prepared.recovery[opening.name] for opening in inlets]
    return rank_openings(
        flow,
        inlets,
        exits,
        recovery=samples.recovered[:, : len(inlets)],
        recovery_deviation=samples.recovery_share[:, : len(inlets)]
        * [deviation_of(eta) for eta in recovery],
        needed_deviation=[
            deviation_of(needed) if needed else 0.0 for needed in prepared.case.needed_pressure
        ],
        samples=samples,
    )
