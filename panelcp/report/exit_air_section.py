"""The page's section on exit air: what to look at, never what is safe."""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.placement.exit_air import Hit
from panelcp.report.contents import listed

LOOK_HERE = (
    "Look here: the air of an exit is followed along the skin, with room for the plume to widen. A "
    "place that is not listed is not cleared: exhaust leaks, gusts, flaps, gaps and the air off "
    "the skin are not modelled. Fit a carbon monoxide detector and measure."
)


def grouped(hits) -> list[tuple[Hit, list[Hit]]]:
    """Hits by exit and target: the nearest of each, and all in which the target is reached."""
    groups: dict[tuple[str, str], list[Hit]] = {}
    for hit in hits:
        groups.setdefault((hit.exit, hit.target), []).append(hit)
    return [
        (min(group, key=lambda hit: hit.clearance), [hit for hit in group if hit.reached])
        for group in groups.values()
    ]


def exit_air_lines(hits, conditions) -> list[str]:
    """One line for every exit and target that is reached in some condition."""
    lines = []
    for nearest, reached in grouped(hits):
        if reached:
            names = [conditions[hit.condition].name for hit in reached]
            lines.append(
                f"exit air of {nearest.exit} reaches {nearest.target} ({nearest.kind}) after "
                f"{nearest.way:.2f} m in {_named(names, conditions)}"
            )
    return lines


def exit_air_section(hits, static_ports, conditions, table, row) -> str:
    """HTML of the section.

    Parameters
    ----------
    hits : of Hit
    static_ports : StaticPortErrors, or None
    conditions : FlightCondition
    table, row : functions of the page that make tables
    """
    titles = (("Exit", "t"), ("Target", "t"), ("What", "t"), ("Reached in", "t"), ("Way, m", ""))
    titles += (("Clear of the plume by, mm", ""), ("Pressure against it, Pa", ""))
    rows = []
    for nearest, reached in grouped(hits):
        names = [conditions[hit.condition].name for hit in reached]
        clearance = f"{1e3 * nearest.clearance:.0f}".replace("-", "−")
        cells = [
            (nearest.exit, "p"),
            (nearest.target, "p"),
            (nearest.kind, "p"),
            (_named(names, conditions) if reached else "none", "w" if reached else "t"),
            (f"{nearest.way:.2f}", ""),
            (clearance, "bad" if nearest.reached else ""),
            (_signed(nearest.pressure_difference), ""),
        ]
        rows.append(row(cells, titles=titles))
    body = table(row(titles, "th"), rows, "cards") if rows else "<p>Nothing lies near.</p>"
    note = (
        "<p class='soft'>The nearest condition of each is shown. Way: along the skin from the "
        "exit. Clear of the plume: from the plume's edge to the target; negative lies inside it. "
        "Pressure against it: that at the exit less that at the opening; positive drives air from "
        "the bay towards it.</p>"
    )
    ports = _ports(static_ports, conditions, table, row) if static_ports is not None else ""
    return f"<p>{escape(LOOK_HERE)}</p>{body}{note}{ports}"


def _ports(errors, conditions, table, row) -> str:
    titles = (("Static port", "t"), ("Condition", "t"), ("Pressure, Pa", ""))
    titles += (("Airspeed shown, kt", ""), ("Altitude shown, ft", ""))
    rows = []
    for p, name in enumerate(errors.names):
        for c, condition in enumerate(conditions):
            speed = errors.airspeed[c, p] / 0.514444
            rows.append(
                row(
                    [
                        (name, "p"),
                        (condition.name, "p"),
                        (_signed(errors.pressure[c, p]), ""),
                        ("" if np.isnan(speed) else f"{speed:+.1f}".replace("-", "−"), ""),
                        (_signed(errors.altitude[c, p] / 0.3048), ""),
                    ],
                    titles=titles,
                )
            )
    return "<h3>Static ports on the body</h3>" + table(row(titles, "th"), rows, "cards")


def _named(names, conditions) -> str:
    return "all conditions" if len(names) == len(conditions) else listed(names)


def _signed(value: float) -> str:
    return "" if np.isnan(value) else f"{value:+.0f}".replace("-", "−")
