"""Openings of a case as the ends of the cooling network."""

from __future__ import annotations

import math
from typing import Any

from panelcp.case.schema import CaseText, Entry, band, quantity
from panelcp.cooling.installation import Port
from panelcp.cooling.vents import (
    COWL_FLAP,
    COWL_LOUVRE,
    SHARP_OPENING,
    cowl_flap_gap,
    cowl_flap_suction,
    exhaust_pipe_loss,
)
from panelcp.errors import PanelcpError
from panelcp.placement.combinations import DISCHARGE

FULLY_OPEN = 30.0
"""deg, angle of a cowl flap that is fully open (memory)."""
MOST_LIP = 0.5
"""A lip's radius is at most this part of the opening's smaller size."""

NETWORK_OPENING = {
    "discharge": Entry(band("fraction", least=1e-3, most=1.0)),
    "lip_radius": Entry(quantity("length", least=0.0)),
    "flap_angle": Entry(quantity("angle", least=0.0, most=60.0)),
    "flap_chord": Entry(quantity("length", above=0.0)),
    "shut_gap": Entry(quantity("length", least=0.0)),
    "blocked_share": Entry(quantity("fraction", least=0.0, most=0.5)),
    "open_share": Entry(quantity("fraction", above=0.0, most=1.0)),
}
"""Entries of [[opening]] that only the cooling network uses."""

_FLAP = ("flap_angle", "flap_chord", "shut_gap")
_ONLY_FOR = {
    **dict.fromkeys(_FLAP, ("flapped exit",)),
    "open_share": ("louvre",),
    "lip_radius": ("forward-facing", "scoop", "submerged"),
}
"""Entry -> kinds of openings that it makes sense for."""


def check_openings(case_text: CaseText, openings):
    """Note entries of openings that do not go with their kind or use."""
    for number, entry in enumerate(openings, start=1):
        if ("opening", number) in case_text.wrong:
            continue
        for key, kinds in _ONLY_FOR.items():
            if getattr(entry, key) is not None and entry.kind not in kinds:
                message = f"only for kind {' or '.join(map(repr, kinds))}, not {entry.kind!r}"
                case_text.add("opening", number, key, message)
        if entry.blocked_share is not None and entry.use == "inlet":
            message = "pipes in an exit; this is an inlet: give a loss in its duct instead"
            case_text.add("opening", number, "blocked_share", message)
        if entry.flap_angle is None and (entry.flap_chord or entry.shut_gap is not None):
            message = "flap_angle is missing: without it no flap is open"
            case_text.add("opening", number, "", message)
        if entry.lip_radius is not None and entry.lip_radius > MOST_LIP * _least(entry):
            message = f"more than half of the opening's smaller size, {1e3 * _least(entry):.4g} mm"
            case_text.add("opening", number, "lip_radius", message)


def _least(entry) -> float:
    return min(entry.length, entry.width)


def sized(case_text: CaseText, openings) -> list:
    """The openings that were read without a mistake."""
    return [e for n, e in enumerate(openings, 1) if ("opening", n) not in case_text.wrong]


def outline_area(entry) -> float:
    """Area, m2, of the outline of an opening, flat."""
    area = entry.length * entry.width
    return 0.25 * math.pi * area if entry.shape == "oval" else area


def inlet_port(entry, lip_radius: float) -> Port:
    """An opening that takes air in.

    Parameters
    ----------
    entry : OpeningEntry
    lip_radius : m, where the opening gives none
    """
    radius = lip_radius if entry.lip_radius is None else entry.lip_radius
    made = {"area": outline_area(entry), "discharge": entry.discharge or SHARP_OPENING}
    if entry.kind == "louvre":
        made = _louvre(entry)
    return Port(
        name=entry.name,
        use="inlet",
        kind=entry.kind,
        **made,
        height=entry.centre[2],
        least_width=_least(entry),
        lip_radius=min(radius, MOST_LIP * _least(entry)),
    )


def exit_port(entry) -> tuple[Port, list[str]]:
    """An opening that lets air out, and what was taken for granted.

    Raises
    ------
    PanelcpError : a flap that leaves no gap
    """
    made: dict[str, Any] = {
        "area": outline_area(entry),
        "discharge": entry.discharge or DISCHARGE[entry.kind],
        "least_width": _least(entry),
    }
    notes = []
    if entry.kind == "flush hole":
        made |= {"discharge": entry.discharge or SHARP_OPENING, "cross_flow": True}
    elif entry.kind == "louvre":
        made |= _louvre(entry)
    elif entry.kind == "flapped exit":
        flap, notes = _flap(entry)
        made |= flap
    if entry.blocked_share is not None:
        made["blockage"] = exhaust_pipe_loss(entry.blocked_share)
    common = {"name": entry.name, "use": "exit", "kind": entry.kind, "height": entry.centre[2]}
    return Port(**common, **made), notes


def _louvre(entry) -> dict[str, Any]:
    """Area and discharge of louvres, whichever way the air goes: on the open area where known."""
    if entry.open_share is None:
        return {"area": outline_area(entry), "discharge": entry.discharge or DISCHARGE["louvre"]}
    area = entry.open_share * outline_area(entry)
    return {"area": area, "discharge": entry.discharge or COWL_LOUVRE}


def _flap(entry) -> tuple[dict[str, Any], list[str]]:
    """What a cowl flap makes of an exit, and what was taken for granted."""
    if entry.flap_angle is None:
        return {}, [
            f"opening {entry.name}: no flap_angle, so it is taken as an opening of its outline's "
            "area, without the suction of a flap"
        ]
    notes, chord = [], entry.flap_chord
    if chord is None:
        chord = entry.length
        notes = [f"opening {entry.name}: flap as long as the opening, {1e3 * chord:.4g} mm"]
    gap = float(cowl_flap_gap(chord, entry.flap_angle, entry.shut_gap or 0.0))
    if not gap > 0.0:
        raise PanelcpError("the flap is shut and leaves no gap: give shut_gap, or leave it out")
    flap = {
        "area": gap * entry.width,
        "discharge": entry.discharge or COWL_FLAP,
        "least_width": min(gap, entry.width),
        "flap_suction": cowl_flap_suction(min(entry.flap_angle / FULLY_OPEN, 1.0)),
    }
    return flap, notes
