"""The page's sections on what was put in: conditions, uncertain numbers, versions."""

from __future__ import annotations

from panelcp.report.contents import RunContents, bearing, knots_text
from panelcp.report.markup import html_row, html_table
from panelcp.units import UNITS, format_quantity


def conditions_section(contents: RunContents) -> str:
    """HTML of the section on the conditions."""
    titles = (("Condition", "t"), ("Decides", "t"), ("Air", "t"), ("Angle of attack, attitude", ""))
    titles += (("Sideslip", ""), ("Altitude, ft", ""), ("Air, °C", ""), ("q, Pa", ""))
    titles += (("Propeller's mean rise, Pa", ""), ("Needed pressure", ""), ("Mark", "t"))
    rows, flow = [], contents.flow
    for c, (condition, needed) in enumerate(
        zip(flow.conditions, contents.needed_pressure, strict=True)
    ):
        rise = f"{flow.mean_rise[c]:.0f}" if flow.mean_rise[c] else ""
        cells = [
            (condition.name, "p"),
            ("yes" if condition.decides else "no", "t"),
            *_air_cells(condition),
            (f"{condition.altitude / UNITS['length']['ft']:.0f}".replace("-", "−"), ""),
            (f"{condition.air.temperature - 273.15:.0f}".replace("-", "−"), ""),
            (f"{condition.dynamic_pressure:.0f}", ""),
            (rise if flow.predicted[c] else f"{rise}, sign only", ""),
            (format_quantity(needed.value, "pressure", digits=3) if needed else "not given", ""),
            (needed.mark if needed else "", "t"),
        ]
        rows.append(html_row(cells, titles=titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _air_cells(condition) -> list[tuple[str, str]]:
    """Speed, angle of attack and sideslip; on the ground the wheels' speed and the wind."""
    if condition.ground_speed is None:
        angles = [condition.attitude or condition.alpha, condition.beta]
        cells = [(f"{knots_text(condition.speed)} true", "p")]
        return cells + [(f"{angle:g}°".replace("-", "−"), "") for angle in angles]
    text = f"ground {knots_text(condition.ground_speed)}"
    if condition.wind_speed:
        text += f", wind {knots_text(condition.wind_speed)} {bearing(condition.wind_from)}"
    return [
        (text.replace("-", "−"), "p"),
        (f"{condition.attitude or 0.0:g}°".replace("-", "−"), ""),
        ("", ""),
    ]


def marks_section(contents: RunContents) -> str:
    """HTML of the section on the uncertain numbers with their marks."""
    titles = (("Number", "t"), ("Value", ""), ("Low", ""), ("High", ""))
    titles += (("Mark", "t"), ("Source", "t"))
    rows = []
    for place, value in contents.marks:
        numbers = [value.value, value.low, value.high]
        cells = [(place, "p")]
        cells += [("" if n is None else format_quantity(n, value.kind), "") for n in numbers]
        rows.append(html_row([*cells, (value.mark, "t"), (value.source, "w")], titles=titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def versions_section(contents: RunContents) -> str:
    """What tells this run from another."""
    rows = [
        ("Version of panelcp", contents.version),
        ("Hash of the inputs: case, surface and version", contents.input_hash),
        ("Hash of the surface", str(contents.inputs.get("surface_hash", "not kept"))),
    ]
    head = html_row([("What", "t"), ("", "t")], "th")
    note = (
        "<p class='soft'>Runs with the same hash of the inputs give the same numbers. All numbers "
        "of this page stand in summary.json beside it.</p>"
    )
    return html_table(head, [html_row([(a, "t"), (b, "w")]) for a, b in rows]) + note
