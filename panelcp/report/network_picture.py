"""The picture of the cooling network in one condition: boxes, lines with arrows, small bars.

Every text stands in a box that cuts off what would leave it. Colours come from the page.
"""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.cooling.installation import OUTSIDE
from panelcp.cooling.results import CoolingResult
from panelcp.report.cooling_tables import core_flags, core_word, fan_mass_flow
from panelcp.report.cooling_texts import (
    celsius_text,
    fitted,
    flow_text,
    margin_text,
    signed,
    size_text,
    text_width,
)
from panelcp.report.network_layout import MARGIN, Box, Layout, Wire, name_lines, network_layout

STILL = 1e-4
"""Part of the greatest flow below which a line shows no direction."""


def network_picture(result: CoolingResult, c: int, layout: Layout | None = None) -> str:
    """The network in one condition as SVG within a box that scrolls.

    Parameters
    ----------
    result : CoolingResult
    c : number of the condition
    layout : of `network_layout`, to lay out several conditions once

    Returns
    -------
    str; every text of the case is escaped
    """
    layout = layout or network_layout(result.installation)
    flows = box_flows(result, layout, c)
    scale = _pressure_scale(result, c)
    wires = [_wire(wire, flows[wire.element], flows) for wire in layout.wires]
    stubs = [_stubs(layout, k, flows) for k in range(len(layout.boxes))]
    boxes = [_box(result, c, layout, k, flows[k], scale) for k in range(len(layout.boxes))]
    name = f"cooling-network-{c}"
    title = f"Cooling network: {result.conditions[c]}"
    told = zip(layout.boxes, flows, strict=True)
    words = " ".join(_told(result, c, box, flow) for box, flow in told)
    return (
        '<div class="picture">'
        f'<svg viewBox="0 0 {layout.width:.0f} {layout.height:.0f}" role="img" '
        f'style="width:100%;min-width:{0.92 * layout.width:.0f}px;'
        f'max-width:{1.15 * layout.width:.0f}px" '
        f'aria-labelledby="{name}-title {name}-words">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-words">{escape(words)}</desc>'
        f"{''.join(wires)}{''.join(stubs)}{''.join(boxes)}</svg></div>"
    )


def box_flows(result: CoolingResult, layout: Layout, c: int) -> list[float]:
    """Flow through every box in the sense that is meant, kg/s; nan of places and where unknown."""
    masses = fan_mass_flow(result)
    ways = _ways_of_kinds(result)
    flows = []
    for box in layout.boxes:
        if box.kind in ("inlet", "exit"):
            value = result.ports[box.number].flow.value[c]
        elif box.kind == "core":
            value = result.cores[box.number].flow.value[c]
        elif box.kind == "fan":
            value = masses[box.number, c]
        else:
            value = np.nan if box.kind == "place" else ways[box.kind][box.number].flow[c]
        flows.append(float(value))
    return flows


def _ways_of_kinds(result: CoolingResult) -> dict[str, list]:
    return {
        kind: [way for way in result.ways if way.kind == kind] for kind in ("duct", "leak", "doors")
    }


def _pressure_scale(result: CoolingResult, c: int) -> tuple[float, float]:
    """Least and greatest pressure of places and outside openings in a condition, 0 within."""
    values = [pressure[c] for pressure in result.node_pressure.values()]
    values += [port.pressure[c] for port in result.ports]
    known = [float(value) for value in values if np.isfinite(value)]
    return min([0.0, *known]), max([0.0, *known])


def _is_still(flow: float, flows) -> bool:
    known = [abs(f) for f in flows if np.isfinite(f)]
    return not np.isfinite(flow) or abs(flow) <= max(STILL * max(known, default=0.0), 5e-5)


def _wire(wire: Wire, flow: float, flows) -> str:
    """A line with its arrow in the direction of the air."""
    points = list(wire.points)
    rightward = (flow > 0.0) == wire.along
    still = _is_still(flow, flows)
    head = ""
    if not still:
        tip = points[-1] if rightward else points[0]
        head = _head(tip, rightward, flow)
        base = (tip[0] - 7, tip[1]) if rightward else (tip[0] + 7, tip[1])
        points[-1 if rightward else 0] = base
    path = f"M{points[0][0]:.1f} {points[0][1]:.1f}"
    for i, (x, y) in enumerate(points[1:], 1):
        x0, y0 = points[i - 1]
        if i % 2 == 0:
            path += f"L{x:.1f} {y:.1f}"
        else:
            half = (x + x0) / 2
            path += f"C{half:.1f} {y0:.1f} {half:.1f} {y:.1f} {x:.1f} {y:.1f}"
    return f'<path class="{_wire_style(flow, still)}" {_stroke(flow, flows)} d="{path}"/>{head}'


def _wire_style(flow: float, still: bool) -> str:
    return "wire still" if still else "wire back" if flow < 0.0 else "wire"


def _stroke(flow: float, flows) -> str:
    most = max((abs(f) for f in flows if np.isfinite(f)), default=0.0)
    share = abs(flow) / most if np.isfinite(flow) and most > 0.0 else 0.0
    return f'stroke-width="{1.3 + 3.7 * share:.1f}"'


def _head(tip, rightward: bool, flow: float) -> str:
    x, y = tip
    back = x - 9 if rightward else x + 9
    style = "back-head" if flow < 0.0 else "head"
    return (
        f'<polygon class="{style}" points="{x:.1f},{y:.1f} {back:.1f},{y - 5.5:.1f} '
        f'{back:.1f},{y + 5.5:.1f}"/>'
    )


def _stubs(layout: Layout, k: int, flows) -> str:
    """Short arrows at the side of an element that lies outside."""
    box, flow = layout.boxes[k], flows[k]
    if box.kind == "place":
        return ""
    x, top, width, tall = layout.corners[k]
    middle, drawn = top + tall / 2, ""
    if not box.start:
        points = ((x - MARGIN + 3, middle), (x, middle))
        drawn += _wire(Wire(k, points, True), flow, flows)
    if not box.end:
        points = ((x + width, middle), (x + width + MARGIN - 3, middle))
        drawn += _wire(Wire(k, points, True), flow, flows)
    return drawn


def _box(result: CoolingResult, c: int, layout: Layout, k: int, flow: float, scale) -> str:
    """A box with its texts; what would leave it is cut off."""
    box, (x, y, width, tall) = layout.boxes[k], layout.corners[k]
    lines, style = _lines(result, c, box, flow)
    body, at = "", 16.0 if len(lines) < 3 else 15.0
    room = tall - (8 if box.kind in ("place", "inlet", "exit") else 0)
    at += (room - 12 - 14 * len(lines)) / 2
    for text, look in lines:
        size = 11 if "soft-text" in look or "small" in look else 12
        if text:
            body += (
                f'<text{_style(look)} x="{width / 2:.1f}" y="{at:.1f}">'
                f"{escape(fitted(text, width - 6, size))}</text>"
            )
        at += 14
    if box.kind in ("place", "inlet", "exit"):
        body += _bar(_pressure_of(result, c, box), width, at - 7, scale)
    corner = 9 if box.kind == "place" else 3
    shape = "place" if box.kind == "place" else f"element {style}".strip()
    return (
        f'<svg x="{x:.1f}" y="{y:.1f}" width="{width:.0f}" height="{tall:.0f}">'
        f"<title>{escape(_told(result, c, box, flow))}</title>"
        f'<rect class="{shape}" x="1.5" y="1.5" width="{width - 3:.0f}" height="{tall - 3:.0f}" '
        f'rx="{corner}"/>{body}</svg>'
    )


def _style(look: str) -> str:
    return f' class="{look}"' if look else ""


def _pressure_of(result: CoolingResult, c: int, box: Box) -> float:
    """Pressure in a place, or outside an opening; nan where it is not known."""
    if box.kind == "place":
        pressure = result.node_pressure.get(box.name)
        return np.nan if pressure is None else float(pressure[c])
    return float(result.ports[box.number].pressure[c])


def _bar(pressure: float, width: float, top: float, scale) -> str:
    """Small bar of a pressure from the tick that is zero."""
    low, high = scale
    if not np.isfinite(pressure) or high <= low:
        return ""
    left, room = 10.0, width - 20.0
    zero = left + room * (0.0 - low) / (high - low)
    end = left + room * (pressure - low) / (high - low)
    start, stop = sorted((zero, end))
    style = "suction" if pressure < 0.0 else "pressure"
    return (
        f'<rect class="{style}" x="{start:.1f}" y="{top:.1f}" width="{stop - start:.1f}" '
        f'height="5"/><line class="axis" x1="{zero:.1f}" x2="{zero:.1f}" y1="{top - 2:.1f}" '
        f'y2="{top + 7:.1f}"/>'
    )


def _lines(result: CoolingResult, c: int, box: Box, flow: float):
    """Texts of a box with their looks, and the look of its frame."""
    names = [(name, "small" if box.kind == "place" else "strong") for name in name_lines(box)]
    if box.kind == "place":
        temperature = result.node_temperature.get(box.name)
        warm = "" if temperature is None else celsius_text(temperature[c])
        pressure = signed(_pressure_of(result, c, box))
        return [*names, (pressure, "strong"), (warm, "soft-text")], ""
    back = flow < 0.0 and flow_text(flow) != "no flow"
    kind = _kind_words(result, box)
    first = (kind, "soft-text")
    if back:
        whole = f"{kind}, backwards"
        fits = text_width(whole, 11.5) <= box.width - 6
        first = (whole if fits else f"{box.kind}, backwards", "bad-text small")
    lines = [first, *names, (flow_text(flow), "bad-text" if back else "")]
    if box.kind in ("inlet", "exit"):
        pressure = signed(_pressure_of(result, c, box))
        return [*lines, (f"outside {pressure}", "small")], ""
    if box.kind == "core":
        core = result.cores[box.number]
        word = core_word(result, box.number, c)
        look = {"good": "good-text", "look": "look-text", "stop": "bad-text"}.get(word, "soft-text")
        return [
            *lines,
            (f"takes {size_text(core.drop[c])}", "small"),
            (margin_text(core.margin.value[c], word), f"{look} small"),
        ], f"{word}-box" if word else ""
    if box.kind == "fan":
        fan = result.fans[box.number]
        watts = fan.electrical_power[c]
        power = f", {watts:.0f} W" if np.isfinite(watts) and watts > 0.0 else ""
        return [*lines, (f"{signed(fan.pressure_rise[c])}{power}", "small")], ""
    if box.kind == "duct":
        drop = _ways_of_kinds(result)["duct"][box.number].drop[c]
        return [*lines, (f"takes {size_text(drop)}", "small")], ""
    return lines, ""


def _kind_words(result: CoolingResult, box: Box) -> str:
    if box.kind == "core":
        return result.cores[box.number].role
    if box.kind in ("leak", "fan", "duct") and not box.end:
        return f"{box.kind} to outside"
    if box.kind in ("leak", "fan", "duct") and not box.start:
        return f"{box.kind} from outside"
    return box.kind


def _told(result: CoolingResult, c: int, box: Box, flow: float) -> str:
    """A sentence on a box, for readers of the words and for pointing at it."""
    if box.kind == "place":
        temperature = result.node_temperature.get(box.name)
        warm = "" if temperature is None else f", {celsius_text(temperature[c])}"
        return f"Place {box.name}: {signed(_pressure_of(result, c, box))}{warm}."
    between = f" from {box.start or OUTSIDE} to {box.end or OUTSIDE}"
    text = f"{_kind_words(result, box).capitalize()} {box.name}{between}: {flow_text(flow)}"
    if flow < 0.0 and flow_text(flow) != "no flow":
        text += " backwards"
    if box.kind in ("inlet", "exit"):
        text += f", outside {signed(_pressure_of(result, c, box))}"
    if box.kind == "core":
        core = result.cores[box.number]
        flags = core_flags(result, box.number, c)
        text += (
            f", {margin_text(core.margin.value[c], core_word(result, box.number, c))}"
            + "".join(f"; {flag}" for flag in flags)
        )
    return text + "."
