"""What a person must know before trusting a result: the warnings of a run."""

from __future__ import annotations

import numpy as np

from panelcp.case.reading import Case
from panelcp.flow.skin_layers import LEE, OPEN, POCKET, POSSIBLE
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.surroundings import EFFECTS
from panelcp.panels.faults import Fault
from panelcp.placement.layers_at_openings import OpeningLayers
from panelcp.placement.ranking import OpeningRanking
from panelcp.placement.rules import windshield_cautions
from panelcp.surface.checking import SurfaceCheck
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening

LARGE_ANGLE = 15.0
"""Beyond this angle of attack or sideslip, deg, cowls separate widely: common practice, no
source."""

LEAST_COARSENING = 0.75
"""The coarser panelling must not have more than this part of the panels."""

TIP_SPEEDS = (100.0, 330.0)
"""m/s; the tips of a propeller move within these at rated power: common practice, no source."""

ASPECT_RATIOS = (3.0, 40.0)
"""Span^2 over area of a wing lies within these: common practice, no source."""

FAR_AHEAD = 0.25
"""Parts of the diameter that a propeller stands ahead of the nose at most: common practice, no
source."""

FASTEST_FLOW = 100.0
"""m/s; no cooling air goes faster through an opening: common practice, no source."""

FACING = 0.5
"""A forward-facing opening looks forward: least part of its normal along the stream."""


def doubts(
    case: Case,
    openings: tuple[Opening, ...],
    check: SurfaceCheck,
    checks: list[Fault],
    solutions: Solutions,
    flow: SurfaceFlow,
    ranking: OpeningRanking | None = None,
    coarse_share: float = 0.0,
) -> list[str]:
    """Warnings of a run, one line each.

    Parameters
    ----------
    case : Case
    openings : those the case names, laid onto the skin
    check : of the surface
    checks : of the solution
    solutions : Solutions
    flow : SurfaceFlow
    ranking : OpeningRanking, or None where places were not ranked
    coarse_share : part of the panels that the coarser panelling has; 0 where there is none
    """
    everything = list(openings)
    if ranking is not None:
        everything = [*ranking.inlets.openings, *ranking.exits.openings]
    lines = list(check.doubts)
    lines += [_suspect_panels(fault, flow.surface, everything) for fault in checks if fault.failed]
    if coarse_share > LEAST_COARSENING:
        lines.append(
            f"the coarser panelling still has {100 * coarse_share:.0f} % of the panels, since they "
            "are long and thin: how much the panelling matters is missing in the deviations"
        )
    if any("left-handed" in note for note in flow.surface.notes):
        lines.append(
            "the axes given are left-handed, so that right and left change places: check them"
        )
    lines += [n.removeprefix("warning: ") for n in flow.surface.notes if n.startswith("warning: ")]
    lines += _openings(case, flow.surface, openings)
    lines += _conditions(solutions, flow)
    lines += _air(case, solutions)
    lines += _sizes(case, flow.surface) + _flows(case, openings)
    lines += _placeholders(case)
    return lines if ranking is None else lines + _ratio(ranking)


def _suspect_panels(fault: Fault, surface: SurfaceMesh, openings: list[Opening]) -> str:
    """Warning for a failed check, with the openings whose pressures it touches."""
    line = f"{fault.line()}: the panels are too coarse there, or the mesh is at fault"
    if not fault.panels.any():
        return f"{fault.line()}: the whole result is in doubt; the mesh is too coarse or at fault"
    suspect = surface.centroids[fault.panels]
    near = [
        opening.name
        for opening in openings
        if fault.panels[opening.sample_panels].any()
        or np.linalg.norm(suspect - opening.centre, axis=1).min()
        < max(opening.length, opening.width)
    ]
    if not near:
        return f"{line}; no opening is near these panels"
    more = f" and {len(near) - 3} more" if len(near) > 3 else ""
    return f"{line}; do not trust the pressures at {', '.join(near[:3])}{more}"


def _openings(case: Case, surface: SurfaceMesh, openings: tuple[Opening, ...]) -> list[str]:
    lines = []
    for opening in openings:
        points = np.vstack([opening.sample_points, opening.outline])
        zones = [zone.name for zone in case.zones if zone.holds(points).any()]
        if zones and (opening.takes_air_in or opening.lets_air_out):
            lines.append(f"opening {opening.name} lies in the no-cut zone {', '.join(zones)}")
        if opening.kind == "forward-facing" and opening.normal[0] > -FACING:
            lines.append(
                f"opening {opening.name} is called forward-facing, but the skin there looks to the "
                f"{opening.side}: it will not recover what a forward-facing inlet does; move it or "
                "change its kind"
            )
    exits = [opening for opening in openings if opening.lets_air_out]
    return lines + windshield_cautions(surface, exits)


def _conditions(solutions: Solutions, flow: SurfaceFlow) -> list[str]:
    lines = []
    still = [c.name for c, moves in zip(flow.conditions, flow.moving, strict=True) if not moves]
    if still:
        lines.append(
            f"no air moves in {', '.join(still)}: all pressures are zero there, since the rise of "
            "hot air is not modelled"
        )
    angles = [_largest_angle(stream) for stream in solutions.mean_streams]
    steep = [c.name for c, a in zip(flow.conditions, angles, strict=True) if a > LARGE_ANGLE]
    if steep:
        lines.append(
            f"the air, the slipstream included, comes from more than {LARGE_ANGLE:g} deg off the "
            f"nose in {', '.join(steep)}: the flow separates widely there, which is not modelled; "
            "do not use these numbers"
        )
    blind = [c.name for c, told in zip(flow.conditions, flow.predicted, strict=True) if not told]
    if blind:
        lines.append(
            f"wind from behind into the slipstream in {', '.join(blind)}: not predicted; at most "
            "the sign of the flow can be told"
        )
    return lines


def _largest_angle(stream) -> float:
    """deg, between stream and body axis; sideways and up or down apart."""
    x, y, z = stream
    return float(np.degrees(max(np.arctan2(abs(y), x), np.arctan2(abs(z), x))))


def _air(case: Case, solutions: Solutions) -> list[str]:
    """What is missing for propeller, wing and ground."""
    lines, around = [], case.surroundings
    if around.propeller is not None:
        silent = [c.name for c in case.conditions if c.power is None and c.thrust is None]
        if silent:
            lines.append(
                f"no slipstream in {', '.join(silent)}: neither power nor thrust is given there"
            )
    hanging = [c.name for c in case.conditions if c.on_ground and c.height is None]
    if hanging and "ground" in around.effects:
        lines.append(
            f"the ground is left out in {', '.join(hanging)}: give its distance as height in "
            "[ground]"
        )
    off = [name for name in EFFECTS if name not in around.effects]
    if off:
        lines.append(f"switched off in [effects]: {', '.join(off)}")
    return lines


def _sizes(case: Case, surface: SurfaceMesh) -> list[str]:
    """Propeller and wing of sizes or at places that only a slip of the pen explains."""
    lines, propeller, wing = [], case.surroundings.propeller, case.surroundings.wing
    nose = surface.bounds[0, 0]
    if propeller is not None and nose - propeller.centre[0] > FAR_AHEAD * propeller.diameter:
        lines.append(
            f"the propeller stands {1e3 * (nose - propeller.centre[0]):.0f} mm ahead of the nose, "
            "more than a quarter of its diameter: check its centre"
        )
    if propeller is not None and propeller.rotational_speed:
        tips = propeller.rotational_speed * propeller.radius
        if not TIP_SPEEDS[0] <= tips <= TIP_SPEEDS[1]:
            lines.append(
                f"the tips of the propeller move at {tips:.0f} m/s at rated power; expected "
                f"{TIP_SPEEDS[0]:g} to {TIP_SPEEDS[1]:g} m/s: check its rpm and diameter"
            )
    if wing is None:
        return lines
    if not ASPECT_RATIOS[0] <= wing.aspect_ratio <= ASPECT_RATIOS[1]:
        lines.append(
            f"span^2 over area of the wing is {wing.aspect_ratio:.1f}; expected "
            f"{ASPECT_RATIOS[0]:g} to {ASPECT_RATIOS[1]:g}: check its span and area"
        )
    if wing.centre[0] < nose:
        lines.append(
            f"the wing at STA {1e3 * wing.centre[0]:.0f} mm lies ahead of the nose at STA "
            f"{1e3 * nose:.0f} mm: check the sign of its centre"
        )
    return lines


def _flows(case: Case, openings: tuple[Opening, ...]) -> list[str]:
    lines = []
    for opening in openings:
        speed = max(map(abs, case.flows.get(opening.name, [0.0]))) / opening.area
        if speed > FASTEST_FLOW:
            lines.append(
                f"the flow given for opening {opening.name} would go through it at {speed:.0f} m/s "
                f"on the mean; expected at most {FASTEST_FLOW:g} m/s: check flow, length and width"
            )
    return lines


def layer_doubts(layers: OpeningLayers, conditions) -> list[str]:
    """Warnings where openings of the case lie in separated air in deciding conditions."""
    lines = []
    for k, opening in enumerate(layers.openings):
        for state, words in (
            (POCKET, "lies in a pocket of separated air"),
            (POSSIBLE, "may lie in a pocket of separated air"),
            (OPEN, "lies behind separation"),
            (LEE, "lies in the lee of the wind across"),
        ):
            names = [
                condition.name
                for condition, found in zip(conditions, layers.state[:, k], strict=True)
                if found == state and condition.decides
            ]
            if names:
                lines.append(
                    f"opening {opening.name} {words} in {', '.join(names)}: its pressure there is "
                    "an estimate with a wide band; test it with tufts and pressure taps"
                )
    return lines


def _placeholders(case: Case) -> list[str]:
    if case.needed and "placeholder" in case.needed.reference.source:
        return [
            "the needed pressure is the placeholder of the starter case: available over needed "
            "means nothing until it is replaced"
        ]
    return []


def _ratio(ranking: OpeningRanking) -> list[str]:
    least, deviation = float(ranking.least_ratio[0]), ranking.least_ratio_deviation(0)
    if least < 1.0:
        return [f"no pair reaches the needed pressure: the best has {least:.2f} of it"]
    if least - deviation < 1.0:
        return [
            f"the best pair has {least:.2f} ± {deviation:.2f} of the needed pressure: whether that "
            "is enough is not certain"
        ]
    return []
