"""Joining of the rooms: a case from its file to a folder of results."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import panelcp
from panelcp.case.deviations import (
    ANGLE_DEVIATIONS,
    WIND_DEVIATION,
    deviation_of,
    discretisation,
    inlets_and_exits,
    sampled_pressures,
    settling,
    settling_at_openings,
)
from panelcp.case.doubts import doubts, layer_doubts
from panelcp.case.preparing import PreparedCase, Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.warming import warming
from panelcp.flow.compressibility import goethert_cp
from panelcp.flow.skin_layers import SkinLayers
from panelcp.flow.solutions import Solutions, solve_conditions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import (
    Fault,
    solution_checks,
)
from panelcp.panels.influence import is_compiled
from panelcp.panels.solving import UnitSolutions
from panelcp.placement.bands import COMMON, NEEDED, PressureSamples
from panelcp.placement.effects import EffectShares, effect_shares
from panelcp.placement.exit_air import (
    PLUME_GROWTH,
    StaticPortErrors,
    exit_air,
    static_port_errors,
    targets_of,
)
from panelcp.placement.layers_at_openings import layers_at_openings, skin_under
from panelcp.placement.ranking import OpeningRanking, opening_pressures, rank_openings
from panelcp.placement.requirement import EXPONENT
from panelcp.placement.through_flow import through_flow
from panelcp.quantity import UncertainValue
from panelcp.report.contents import RunContents
from panelcp.report.exit_air_section import exit_air_lines
from panelcp.surface.checking import check_surface
from panelcp.surface.curved import roughness_band
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening
from panelcp.surface.repair import format_place


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
        marks=_marks(prepared),
        checks=tuple(checks),
        warnings=(
            *doubts(case, prepared.openings, check, checks, solutions, flow, ranking, share),
            *settled.warnings,
            *layer_doubts(at_openings, flow.conditions),
        ),
        log=(
            *check.lines(),
            *found_lines,
            *_solver_lines(solutions, checks),
            *_air_lines(case, solutions),
            settled.line,
            _roughness_line(prepared.surface),
            _panelling_line(flow, panelling, share),
            _bands_line(ranking),
            *exit_air_lines(hits, flow.conditions),
            *_compressibility_lines(prepared, progress),
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


def _marks(prepared: PreparedCase) -> tuple[tuple[str, UncertainValue], ...]:
    case = prepared.case
    marks = [("surface: model error of a patch-mean Cp", case.cp_deviation)]
    marks += [(f"{name}: how well it is known", band) for name, band in ANGLE_DEVIATIONS.items()]
    if any(condition.ground_speed is not None for condition in case.conditions):
        marks.append(("wind on the ground: how well it is known", WIND_DEVIATION))
    marks += [
        (f"region {box.name}: model error of a patch-mean Cp", box.cp_deviation)
        for box in case.regions
        if box.cp_deviation
    ]
    marks += _propeller_marks(case)
    marks.append(("exit air: growth of the plume's half width", PLUME_GROWTH))
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


def _propeller_marks(case) -> list[tuple[str, UncertainValue]]:
    propeller = case.surroundings.propeller
    if propeller is None:
        return []
    return [
        ("propeller: efficiency in fast flight", propeller.efficiency),
        ("propeller: static figure of merit", propeller.figure_of_merit),
        ("propeller: slipstream factor", propeller.factor),
    ]


def _roughness_line(surface: SurfaceMesh) -> str:
    band = roughness_band(surface)
    worst = format_place(surface.centroids[int(np.argmax(band))])
    return (
        f"roughness of the mesh, worth in Cp: {np.median(band):.4f} (median), {band.max():.3f} at "
        f"{worst}; that under each opening is carried into the deviations"
    )


def _panelling_line(flow: SurfaceFlow, discretisation: np.ndarray, share: float) -> str:
    q = flow.reference_pressure[:, None]
    part = np.divide(discretisation, q, out=np.zeros_like(discretisation), where=q > 0.0)
    return (
        f"panelling: patch pressures change by {np.median(part):.4f} (median) and at most "
        f"{part.max():.4f} of q and mean rise together on {100 * share:.0f} % of the panels; "
        "carried into the deviations"
    )


def _bands_line(ranking: OpeningRanking) -> str:
    samples = ranking.bands.samples
    return (
        f"bands: {samples.count} draws, the same in every run, of {', '.join(samples.kind_names)}, "
        f"{NEEDED}; {COMMON:g} of the deviation of the model error is common to what one region "
        "has on one side"
    )


def _compressibility_lines(prepared: PreparedCase, progress: Progress) -> list[str]:
    """What Goethert's rule makes of the fastest condition, when the case asks for it."""
    if not prepared.case.compressibility:
        return []
    flying = [c for c in prepared.case.conditions if c.speed > 0.0 and not c.on_ground]
    if not flying:
        return ["compressibility: no condition in flight"]
    progress("solving the stretched body, to see how much compressibility matters")
    fastest = max(flying, key=lambda condition: condition.mach)
    surface, mach = prepared.surface, fastest.mach
    change = goethert_cp(surface, fastest, mach) - goethert_cp(surface, fastest, 0.0)
    means = [
        abs(change[o.sample_panels] @ o.sample_weights)
        for o in (*prepared.openings, *prepared.candidates)
    ]
    return [
        f"compressibility in {fastest.name}, Mach {mach:.3f}, without propeller and wing: Cp of "
        f"openings changes by at most {max(means):.4f} (Goethert's rule); it is left out"
    ]


def _far_field_line(units: UnitSolutions) -> str:
    if units.far_error == 0.0:
        return "far field: summed directly"
    return (
        f"far field: tree, error {units.far_error:.1e} (rms over 50 random panels) and at most "
        f"{units.far_error_greatest:.1e} (these and the 50 smallest panels), parts of the rms "
        "velocity"
    )


def _solver_lines(solutions: Solutions, checks: list[Fault]) -> list[str]:
    lines = []
    for part in solutions.parts:
        units = part.units
        where = "in the free air" if units.ground is None else "over the ground"
        lines += [
            f"unit solutions {where}: {', '.join(units.names)}; {units.iterations} iterations",
            f"normal velocity left at the control points: {units.residuals.max():.1e} m/s, where "
            f"the greatest speed is {np.linalg.norm(units.velocity, axis=2).max():.3g} m/s",
            _far_field_line(units),
        ]
    return [*lines, *(check.line() for check in checks)]


def _air_lines(case, solutions: Solutions) -> list[str]:
    """Thrust, rise, swirl, lift and ground of every condition."""
    lines = []
    if case.usual:
        lines.append(f"usual conditions added: {', '.join(case.usual)} (common practice)")
    for part in solutions.parts:
        for condition, slipstream, circulation in zip(
            part.onset.conditions, part.onset.slipstreams, part.onset.circulation, strict=True
        ):
            words = [slipstream.line()] if slipstream else []
            words += [f"wing's circulation {circulation:.1f} m2/s"] if circulation else []
            words += (
                [f"ground {condition.height:.2f} m below the datum"] if part.units.ground else []
            )
            if words:
                lines.append(f"{condition.name}: {'; '.join(words)}")
    return lines
