"""The page's sections on the openings of the case and the air at them."""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.flow.skin_layers import POSSIBLE, SEPARATED_STATES, STATE_NAMES, UNKNOWN
from panelcp.report.contents import RunContents, kept, opening_line, place_line
from panelcp.report.markup import html_row, html_table
from panelcp.report.ranking_section import pressure_row, whole
from panelcp.report.tables import pressure_at_effects

EFFECT_TITLES = {"slipstream": "Slip\u00adstream"}
"""Titles that may be broken on narrow screens."""


def openings_section(contents: RunContents) -> str:
    """HTML of the section on the openings that the case names."""
    group, conditions = contents.openings, contents.flow.conditions
    if not group.openings:
        return "<p>The case names no openings of its own.</p>"
    head = html_row([("Opening", "t"), *((opening.name, "") for opening in group.openings)], "th")
    rows = [
        html_row([("place", "t"), *((kept(place_line(o)), "r") for o in group.openings)]),
        html_row([("use, kind", "t"), *((f"{o.use}, {o.kind}", "r") for o in group.openings)]),
        html_row([("area cm²", "t"), *((f"{o.area * 1e4:.0f}", "") for o in group.openings)]),
    ]
    rows += [
        pressure_row(condition, group.patch_pressure[c]) for c, condition in enumerate(conditions)
    ]
    return html_table(head, rows)


def effects_section(contents: RunContents) -> str:
    """HTML of the section on slipstream, swirl, wing and ground; "" where none acts."""
    if contents.effects is None:
        return ""
    effects, conditions = contents.effects, contents.flow.conditions
    titles = [("All in Pa", "t"), ("Pressure", "")]
    titles += [(EFFECT_TITLES.get(name, name.capitalize()), "") for name in effects.effects]
    pressure = pressure_at_effects(contents)
    parts = [
        "<p class='soft'>Pressure on the closed skin with everything, and by how much each effect "
        "changes it: with all effects, less without that one. The shares do not add up, since "
        "the pressure goes with the square of the speed; they are those of attached air, without "
        "pockets.</p>"
    ]
    for k, opening in enumerate(effects.openings):
        rows = []
        for c, condition in enumerate(conditions):
            values = [pressure[c, k], *effects.share[:, c, k]]
            rows.append(html_row([(condition.name, "t"), *((whole(v), "") for v in values)]))
        inside = html_table(html_row(titles, "th"), rows)
        parts.append(
            f"<details{' open' if k == 0 else ''}><summary>{escape(kept(opening_line(opening)))}"
            f"</summary>{inside}</details>"
        )
    return "".join(parts)


def layers_section(contents: RunContents) -> str:
    """State, thickness and way to separation at every opening shown."""
    if contents.layers is None:
        return ""
    layers, conditions = contents.layers, contents.flow.conditions
    head = html_row([("Layer, mm", "t"), *((condition.name, "") for condition in conditions)], "th")
    rows = []
    for k, opening in enumerate(layers.openings):
        cells = [_layer_cell(layers, c, k) for c in range(len(conditions))]
        rows.append(html_row([(opening.name, "t"), *cells]))
    note = (
        "<p class='soft'>Thickness of the boundary layer in mm, and in brackets the way from the "
        "opening on to turbulent separation, mm (from where the layer comes near it, H 1.8, to H "
        "2.4: from memory). A pocket is separated air that comes back to the skin, as ahead of a "
        "windshield: its pressure lies between that at separation and the attached one, and both "
        "stand in the deviation. Behind separation that does not close, and in the lee of a wind "
        "across, the pressure is a band from memory. A flush inlet keeps the part of its recovery "
        "that is given in percent. Behind the propeller the layer is turbulent from the nose.</p>"
    )
    return note + html_table(head, rows)


def _layer_cell(layers, c: int, k: int) -> tuple[str, str]:
    state = int(layers.state[c, k])
    if state == UNKNOWN:
        return "", ""
    if state in (*SEPARATED_STATES, POSSIBLE):
        return STATE_NAMES[state], "bad r"
    text = f"{1e3 * layers.thickness[c, k]:.0f}" if np.isfinite(layers.thickness[c, k]) else "?"
    soft, hard = layers.warned_margin[c, k], layers.margin[c, k]
    ends = sorted(1e3 * way for way in (soft, hard) if np.isfinite(way) and way >= 0.0)
    if ends and layers.openings[k].kind != "forward-facing":
        text += f" ({' to '.join(dict.fromkeys(f'{end:.0f}' for end in ends))})"
    share = layers.recovery_share[c, k]
    return (f"{text}, {100 * share:.0f} %" if share < 1.0 else text), ""


def through_section(contents: RunContents) -> str:
    """HTML of the section on openings with a given flow; "" without any."""
    if contents.through is None:
        return ""
    through, conditions = contents.through, contents.flow.conditions
    titles = (("Opening", "t"), ("Condition", "t"), ("Flow, m³/s", ""), ("Speed ratio", ""))
    titles += (("Spillage", ""), ("Lowest on the lip, Pa", ""), ("By other openings, Pa", ""))
    rows = []
    for k, opening in enumerate(through.openings):
        for c, condition in enumerate(conditions):
            if not through.volume_flow[c].any():
                continue
            ratio, spilled = through.velocity_ratio[c, k], through.spillage[c, k]
            cells = [
                (opening.name, "p"),
                (condition.name, "p"),
                (_flow_text(through.volume_flow[c, k]), ""),
                ("" if np.isnan(ratio) or not ratio else f"{ratio:.2f}", ""),
                (_spillage_text(spilled), ""),
                (whole(through.lip_pressure[c, k]), ""),
                (whole(through.others[c, k]), ""),
            ]
            rows.append(html_row(cells, titles=titles))
    note = (
        "<p class='soft'>Flow out of the body is positive. Speed ratio: mean speed through the "
        "opening over the speed the air there has at outside pressure. Spillage: part of the air "
        "ahead of an inlet's face that goes round it; drawn in where the inlet takes more, from "
        "round its lip. The lip is looked at a quarter of the width outside the outline. The "
        "ranking leaves these flows out.</p>"
    )
    return note + html_table(html_row(titles, "th"), rows, "cards")


def _spillage_text(share: float) -> str:
    if np.isnan(share):
        return ""
    return f"{100 * share:.0f} %" if share >= 0.0 else "drawn in"


def _flow_text(flow: float) -> str:
    return f"{flow:+.3f}".replace("-", "−") if flow else "none"
