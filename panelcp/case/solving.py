"""Joining of the rooms: everything that is reckoned for a prepared case."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

import panelcp
from panelcp.case.cooling import cooling_of, needed_doubts, port_volume_flows, ports_of
from panelcp.case.deviations import (
    Settling,
    by_use,
    deviation_of,
    discretisation,
    inlets_and_exits,
    panel_deviations,
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
from panelcp.case.margin_ranking import margin_rankings
from panelcp.case.marks import marks_of
from panelcp.case.preparing import PreparedCase, Progress, quiet
from panelcp.case.reading import DEFAULT_RECOVERY, Case
from panelcp.case.report_table import ReportSettings, printed_day
from panelcp.flow.pocket_edges import PocketEdges, pocket_edges
from panelcp.flow.skin_layers import SkinLayers, SkinStates, separation_change, whole_skin
from panelcp.flow.solutions import Solutions, solve_conditions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import Fault, solution_checks
from panelcp.panels.influence import is_compiled
from panelcp.placement.bands import PressureSamples
from panelcp.placement.choices import choices
from panelcp.placement.combinations import combine
from panelcp.placement.curves import curves_of
from panelcp.placement.effects import EffectShares, effect_shares
from panelcp.placement.exit_air import (
    StaticPortErrors,
    exit_air,
    static_port_errors,
    targets_of,
)
from panelcp.placement.found import FoundPlaces, found_places, with_found
from panelcp.placement.layers_at_openings import (
    layers_at_openings,
    recovery_shares,
    skin_under,
)
from panelcp.placement.ranking import OpeningRanking, opening_pressures, rank_openings
from panelcp.placement.rules import nearest_zone
from panelcp.placement.spoilers import spoilers
from panelcp.placement.through_flow import through_flow
from panelcp.placement.vent_map import VentMap, searched_panels, vent_map
from panelcp.report.beside import beside, processors
from panelcp.report.combinations_section import exits_to_mark
from panelcp.report.contents import AirContents, RunContents
from panelcp.report.exit_air_section import exit_air_lines
from panelcp.surface.checking import check_surface
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.skin_distance import TapeDistances, tape_distances

ONLY = ("", "ranking", "margin", "cooling")
"""What may be asked for alone: everything, the ranking of places, that by the margins of the
cooling network, the network."""

SKIN_INLET = "submerged"
"""Kind of inlet whose vent map is drawn where no inlet is searched."""

FORWARD_ROOM = 0.12
"""Room behind the last opening in which the air is followed, parts of the body's length."""


MANY_PANELS = 4000
"""From so many panels on another process is worth its start."""


@dataclass(frozen=True, eq=False)
class SolvedAir:
    """The air over the closed skin in all conditions, and how well it was solved.

    Attributes
    ----------
    solutions : Solutions
    flow : SurfaceFlow, separated air included
    layers : SkinLayers under the openings and the grid's candidates
    skin : SkinStates
    edges : of the pocket ahead of the windshield
    checks : of the solution
    settled : Settling on finer panels
    """

    solutions: Solutions
    flow: SurfaceFlow
    layers: SkinLayers
    skin: SkinStates
    edges: tuple[PocketEdges, ...]
    checks: tuple[Fault, ...]
    settled: Settling


def solve_case(prepared: PreparedCase, progress: Progress = quiet, only: str = "") -> RunContents:
    """Solve the flow of a prepared case and rank its openings.

    Parameters
    ----------
    prepared : PreparedCase
    progress : called with a short text before each step
    only : one of ONLY. "ranking", "margin" and "cooling" leave out shares of the effects, flows
        through openings, curves and compressibility; "ranking" also the cooling network

    Returns
    -------
    RunContents
    """
    air = _solved_air(prepared, progress)
    searches = tuple(result.line() for result in prepared.searches)
    progress("looking for the best places between those tried")
    prepared, found = _with_found_places(prepared, air)
    progress("solving on a coarser panelling, to see how much it matters")
    panelling, share = discretisation(prepared, air.flow)
    panelling = np.maximum(panelling, settling_at_openings(prepared, air.settled.pressure))
    progress("ranking places")
    layers = _layers(prepared, air)
    shares = recovery_shares(layers, _both(prepared))
    samples = sampled_pressures(prepared, air.solutions, air.flow, panelling, shares)
    ranking = _rank(prepared, air.flow, samples)
    with beside(not only and _is_large(prepared)) as other:
        aside = other.start(_aside, prepared, air.solutions, air.flow, ranking, only)
        network = None if only == "ranking" else _network(prepared, air, samples, progress)
        cooled = _cooled(prepared, air, samples, network, only)
        progress("tracing the air of exits" + ("" if only else ", reckoning curves and effects"))
        through = None if only else _through(prepared, air, network)
        hits, more = aside.result()
    at_openings = layers_at_openings(layers, _shown(prepared, ranking))
    check = check_surface(prepared.surface)
    return RunContents(
        **_from_the_case(prepared, check),
        searches=searches,
        **_answers(prepared, air, ranking, at_openings, hits),
        **more,
        **cooled,
        through=through,
        solutions=air.solutions,
        flow=air.flow,
        openings=opening_pressures(air.flow, prepared.openings, _recovered(prepared, layers)),
        ranking=ranking,
        layers=at_openings,
        exit_air=hits,
        skin_state=air.skin.state,
        skin_thickness=air.skin.thickness,
        pocket_edges=air.edges,
        checks=air.checks,
        warnings=_warnings(prepared, air, check, ranking, at_openings, share, network),
        log=(
            *check.lines(),
            *searches,
            *(places.line() for places in found if places.openings),
            *_air_log(prepared, air),
            panelling_line(air.flow, panelling, share),
            bands_line(ranking),
            *exit_air_lines(hits, air.flow.conditions),
            *([] if only else compressibility_lines(prepared, progress)),
        ),
    )


def solve_pressures(prepared: PreparedCase, progress: Progress = quiet) -> AirContents:
    """Solve the pressures over the skin of a prepared case, without ranking of places.

    Parameters
    ----------
    prepared : PreparedCase; it needs no opening
    progress : called with a short text before each step

    Returns
    -------
    AirContents
    """
    air, check = _solved_air(prepared, progress), check_surface(prepared.surface)
    openings = opening_pressures(air.flow, prepared.openings, _recovered(prepared, air.layers))
    known = (prepared.case, prepared.openings, check, air.checks, air.solutions, air.flow)
    return AirContents(
        **_from_the_case(prepared, check),
        solutions=air.solutions,
        flow=air.flow,
        openings=openings,
        skin_state=air.skin.state,
        skin_thickness=air.skin.thickness,
        pocket_edges=air.edges,
        checks=air.checks,
        warnings=(*doubts(*known), *air.settled.warnings),
        log=(*check.lines(), *_air_log(prepared, air)),
    )


def _warnings(prepared: PreparedCase, air: SolvedAir, check, ranking, layers, share, network):
    """What a person must know before trusting the results."""
    known = (prepared.case, prepared.openings, check, air.checks, air.solutions, air.flow)
    return (
        *doubts(*known, ranking, share),
        *air.settled.warnings,
        *layer_doubts(layers, air.flow.conditions),
        *needed_doubts(prepared.case, network),
        *(() if network is None else network.warnings),
    )


def _air_log(prepared: PreparedCase, air: SolvedAir) -> list[str]:
    """How the air was solved."""
    return [
        *solver_lines(air.solutions, air.checks),
        *air_lines(prepared.case, air.solutions),
        *(edge.line() for edge in air.edges),
        air.settled.line,
        roughness_line(prepared.surface),
    ]


def _solved_air(prepared: PreparedCase, progress: Progress) -> SolvedAir:
    solutions = _solutions(prepared, progress)
    progress("checking the solution")
    checks = solution_checks(solutions.main)
    flow = solutions.flow()
    progress("solving on finer panels where in doubt, to see how much it matters")
    settled = settling(solutions, flow, checks, prepared.case.tolerance)
    progress("following the air along the skin to separation")
    streams, turbulent = solutions.mean_streams, flow.mean_rise > 0.0
    layers = skin_under(flow, [*prepared.openings, *prepared.candidates], streams)
    skin = whole_skin(flow, turbulent, layers, _forward(prepared), streams)
    return SolvedAir(
        solutions=solutions,
        flow=flow.with_separation(*separation_change(flow, skin, streams)),
        layers=layers,
        skin=skin,
        edges=pocket_edges(flow, turbulent, streams),
        checks=(*checks, *settled.checks),
        settled=settled,
    )


def _forward(prepared: PreparedCase) -> np.ndarray:
    """(n_panels,) bool: the body up to a part of its length behind the last opening."""
    surface, places = prepared.surface, [*prepared.openings, *prepared.candidates]
    low, high = surface.bounds[:, 0]
    aft = max((opening.centre[0] for opening in places), default=high)
    end = aft + FORWARD_ROOM * (high - low)
    return surface.centroids[:, 0] <= max(end, prepared.case.report.last_station or low)


def _with_found_places(
    prepared: PreparedCase, air: SolvedAir
) -> tuple[PreparedCase, list[FoundPlaces]]:
    """The case with the best places between the grid points of its searches."""
    case = prepared.case
    if not prepared.searches:
        return prepared, []
    inlets, exits = by_use([*prepared.openings, *prepared.single_candidates])
    eta = [prepared.recovery[opening.name].value for opening in inlets]
    recovery = {entry.region.name: entry.recovery for entry in case.searches}
    found = found_places(
        SkinFinder(prepared.surface),
        air.flow,
        prepared.searches,
        opening_pressures(air.flow, inlets, eta),
        opening_pressures(air.flow, exits, np.zeros(len(exits))),
        {name: value.value for name, value in recovery.items()},
        [needed.value if needed else None for needed in case.needed_pressure],
        case.zones,
        prepared.openings,
    )
    searches = [with_found(*both) for both in zip(prepared.searches, found, strict=True)]
    names = {
        opening.name: recovery[result.region.name]
        for result in searches
        for opening in (*result.openings, *result.places)
    }
    more = {"searches": tuple(searches), "recovery": prepared.recovery | names}
    return replace(prepared, **more), found


def _from_the_case(prepared: PreparedCase, check) -> dict:
    """What the results say of the input."""
    case = prepared.case
    return {
        "name": case.name,
        "question": case.question,
        "note": case.note,
        "version": panelcp.__version__,
        "input_hash": input_hash(prepared),
        "check": check,
        "needed_pressure": case.needed_pressure,
        "inputs": {"surface_hash": prepared.surface_hash, "case": case.tables},
        "marks": marks_of(prepared),
        **_shown_so(case.report),
    }


def _shown_so(settings: ReportSettings) -> dict:
    """How the results are shown; a date that is not given is that of today."""
    return {
        "views": settings.views,
        "best": settings.best,
        "last_station": settings.last_station,
        "same_limits": settings.same_limits,
        "grey_print": settings.grey_print,
        "paper": settings.paper,
        "date": settings.date or printed_day(),
        "section_stations": settings.section_stations,
    }


def _answers(prepared: PreparedCase, air: SolvedAir, ranking, layers, hits) -> dict:
    """What follows from the ranking: chances, what spoils places, where to mark them."""
    flow, short = air.flow, ranking.distinct(prepared.case.report.best)
    shown, found = _shown(prepared, ranking), _combinations(prepared.case, flow, ranking)
    to_mark = [*shown, *(exits_to_mark(found) if found else [])]
    return {
        "static_ports": _static_ports(prepared, flow),
        "choices": choices(ranking, short),
        "spoilers": spoilers(flow, shown, layers, hits, ranking, short),
        "tape": _tape(prepared, to_mark),
        "near_zones": {o.name: nearest_zone(o, prepared.case.zones) for o in to_mark},
        "vent_maps": _vent_maps(prepared, flow, ranking),
        "combinations": found,
    }


def _network(prepared: PreparedCase, air: SolvedAir, samples: PressureSamples, progress: Progress):
    """The cooling network of the case, or None."""
    inlets, _ = inlets_and_exits(prepared)
    return cooling_of(prepared, air.solutions, air.flow, samples, len(inlets), progress)


def _cooled(prepared: PreparedCase, air: SolvedAir, samples, network, only: str) -> dict:
    """The network and, where places are searched or asked for, their ranking by margin."""
    rankings, notes = (), ()
    if network is not None and only != "cooling":
        inlets, _ = inlets_and_exits(prepared)
        rankings, notes = margin_rankings(
            prepared, air.solutions, air.flow, samples, len(inlets), network
        )
    return {"cooling": network, "margins": rankings, "margin_notes": notes}


def _is_large(prepared: PreparedCase) -> bool:
    """Whether another process is worth its start; none beside one that compiles the loops."""
    large = prepared.surface.n_panels >= MANY_PANELS
    return large and processors() > 1 and is_compiled()


def _aside(prepared: PreparedCase, solutions: Solutions, flow, ranking, only: str):
    """What needs no network: the ways of the exits' air; shares of the effects, and curves."""
    hits = _exit_air(prepared, flow, ranking)
    if only:
        return hits, {}
    exits = [opening.name for opening in prepared.openings if opening.lets_air_out]
    return hits, {
        "effects": _effects(prepared, solutions, ranking),
        "curves": curves_of(solutions, flow, ranking, exits, panel_deviations(prepared)),
    }


def _through(prepared: PreparedCase, air: SolvedAir, network):
    """Flows through openings, given or of the network; None without any."""
    flows = {} if network is None else port_volume_flows(network)
    flows |= prepared.case.flows
    return through_flow(air.solutions, prepared.openings, flows) if flows else None


def _combinations(case, flow: SurfaceFlow, ranking: OpeningRanking):
    if case.combinations is None:
        return None
    samples, settings = ranking.bands.samples, case.combinations
    return combine(
        ranking, samples, flow.conditions, settings, flow.moving, flow.predicted, case.zones
    )


def _vent_maps(prepared: PreparedCase, flow: SurfaceFlow, ranking) -> tuple[VentMap, ...]:
    """What a small opening would be worth all over the searched skin, by use and kind of inlet.

    Without a search for inlets, what a submerged inlet would be worth where exits are searched.
    """
    entries = prepared.case.searches
    inlets = [e for e in entries if e.region.use in ("inlet", "both")]
    kinds = {e.region.kind: e.recovery for e in inlets} or {
        SKIN_INLET: DEFAULT_RECOVERY[SKIN_INLET]
    }
    wanted = [("exit", "", 0.0, [e for e in entries if e.region.use in ("exit", "both")])]
    wanted += [("inlet", kind, eta.value, inlets or entries) for kind, eta in kinds.items()]
    maps, finder = [], SkinFinder(prepared.surface)
    for use, kind, eta, chosen in wanted:
        regions = [e.region for e in chosen if use == "exit" or not inlets or e.region.kind == kind]
        searched = searched_panels(finder, regions, prepared.case.zones)
        if searched.any():
            words = kind and f"{kind}, recovery {eta:g}"
            maps.append(vent_map(flow, use, ranking, searched, ranking.needed, eta, words))
    return tuple(maps)


def _tape(prepared: PreparedCase, openings) -> dict[str, TapeDistances]:
    finder, firewall = SkinFinder(prepared.surface), prepared.case.firewall
    return {o.name: tape_distances(finder, o, firewall) for o in openings}


def _solutions(prepared: PreparedCase, progress: Progress) -> Solutions:
    """Unit flows of the case; those of openings where a flow is given or the network has one."""
    case = prepared.case
    flowing = {*case.flows, *(port.name for port in ports_of(case))}
    return solve_conditions(
        prepared.surface,
        case.conditions,
        case.surroundings,
        openings=[opening for opening in prepared.openings if opening.name in flowing],
        tolerance=case.tolerance,
        progress=progress,
    )


def _effects(
    prepared: PreparedCase, solutions: Solutions, ranking: OpeningRanking
) -> EffectShares | None:
    """Shares of the effects at the openings of the case and at the best places."""
    case, around = prepared.case, solutions.surroundings
    if around.propeller is None and around.wing is None and len(solutions.parts) == 1:
        return None
    in_free_air = None
    if any(part.onset.ground is not None for part in solutions.parts):
        in_free_air = solve_conditions(
            prepared.surface, case.conditions, around.without("ground"), tolerance=case.tolerance
        )
    return effect_shares(solutions, _shown(prepared, ranking), in_free_air)


def _shown(prepared: PreparedCase, ranking: OpeningRanking) -> list[Opening]:
    """Openings of the case and of the short list, each once."""
    openings = {opening.name: opening for opening in prepared.openings}
    for pair in ranking.distinct(prepared.case.report.best):
        openings |= {o.name: o for o in (ranking.inlet(pair), ranking.exit(pair))}
    return list(openings.values())


def _both(prepared: PreparedCase) -> list[Opening]:
    return [opening for group in inlets_and_exits(prepared) for opening in group]


def _layers(prepared: PreparedCase, air: SolvedAir) -> SkinLayers:
    """Boundary layers under all openings, those found between the grid points too."""
    known = set(air.layers.panels.tolist())
    lacking = [o for o in prepared.candidates if not known.issuperset(o.sample_panels.tolist())]
    if not lacking:
        return air.layers
    return air.layers.with_more(skin_under(air.flow, lacking, air.solutions.mean_streams))


def _recovered(prepared: PreparedCase, layers: SkinLayers) -> np.ndarray | list:
    """(n_conditions, n_openings) recovery fraction of the case's openings, layer included."""
    if not prepared.openings:
        return []
    eta = [prepared.recovery[opening.name].value for opening in prepared.openings]
    return recovery_shares(layers, prepared.openings) * eta


def _exit_air(prepared: PreparedCase, flow: SurfaceFlow, ranking: OpeningRanking) -> tuple:
    """What the air of the exits that are shown comes near."""
    wing = prepared.case.surroundings.wing
    shown = _shown(prepared, ranking)
    exits = [opening for opening in shown if opening.lets_air_out or opening.use == "exhaust"]
    centre = None if wing is None else wing.centre
    targets = targets_of(flow.surface, shown, centre)
    return tuple(exit_air(flow, exits, targets))


def _static_ports(prepared: PreparedCase, flow: SurfaceFlow) -> StaticPortErrors | None:
    ports = [opening for opening in prepared.openings if opening.use == "static port"]
    return static_port_errors(flow, ports) if ports else None


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


def input_hash(prepared: PreparedCase) -> str:
    """Ten hexadecimal digits from case text, mesh file and program version."""
    return hash_of_inputs(prepared.case, prepared.surface_hash)


def hash_of_inputs(case: Case, surface_hash: str) -> str:
    """The same, of a case that is not made ready."""
    parts = (case.text_hash, surface_hash, panelcp.__version__)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:10]
