"""Inputs as they were understood: surface, what the case gives, conditions."""

from __future__ import annotations

from typing import Any

from panelcp.report.contents import RunContents, bearing, knots_text
from panelcp.report.paper.blocks import Block, Bullets, Heading, note
from panelcp.report.paper.footnotes import marked
from panelcp.report.paper.grids import Table, number
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import FOOT, in_h2o, inches, signed, told
from panelcp.report.revisions import plain_text

LONGEST_LIST = 900
"""Letters of what one table of the case gives; summary.json holds all."""

FIRST = ("project", "surface", "engine", "propeller", "wing", "ground", "effects")
"""Tables of the case that come first; "project" stands on the first page."""


def inputs_blocks(parts: PaperParts) -> list[Block]:
    """Surface and case as given."""
    return [
        note(
            "As the program understood them. Marks of numbers: published, derived, common practice "
            "(no source), memory (no source), yours (the case). Only published numbers have a "
            "source; derived ones are no better than what they are derived from."
        ),
        Heading("Surface", 2),
        surface_table(parts.summary["surface"]),
        *_surface_notes(parts.contents),
        Heading("The case as given", 2),
        _case_table(parts.contents.inputs.get("case") or {}),
    ]


def _surface_notes(contents: RunContents) -> list[Block]:
    notes = (*contents.check.notes, *contents.check.doubts)
    return [Bullets(tuple(str(text) for text in notes), size=8.0)] if notes else []


def surface_table(found: dict[str, Any]) -> Table:
    """Figures of the surface in both sets of units, from the summary."""
    rows = [
        _length(name, value)
        for name, value in zip(
            ("length", "width", "height"), found["length_width_height"], strict=True
        )
    ]
    area, volume = found["area"], found["volume"]
    rows += [
        ("area", number(f"{told(area, 2)} m²"), number(f"{told(area / FOOT**2, 1)} ft²")),
        ("volume", number(f"{told(volume, 3)} m³"), number(f"{told(volume / FOOT**3, 1)} ft³")),
        ("panels, of these solved", number(f"{found['panels']}, {found['panels_solved']}"), ""),
        _length("left against right, largest", found["asymmetry"] or 0.0),
        ("least angle of a panel", number(f"{told(found['least_angle'], 1)}°"), ""),
    ]
    titles = ("Figure", number("metric", bold=True), number("inch", bold=True))
    return Table(titles, tuple(rows), stretch=False)


def _length(name: str, metres: float):
    return name, number(f"{told(1e3 * metres, 1)} mm"), number(f"{inches(metres)} in")


def _case_table(case: dict[str, Any]) -> Table:
    """Every table of the case file in words; conditions have their own table."""
    rows = []
    names = [name for name in FIRST if name in case]
    names += [name for name in case if name not in FIRST]
    for name in names:
        if name in ("project", "condition"):
            continue
        word = name.replace("_", " ")
        value = case[name]
        if isinstance(value, list):
            for k, part in enumerate(value, start=1):
                inside = dict(part) if isinstance(part, dict) else {"value": part}
                called = inside.pop("name", k)
                rows.append((word, str(called), _given(inside)))
        else:
            rows.append((word, "", _given(value if isinstance(value, dict) else {word: value})))
    return Table(("Table", "Name", "As given"), tuple(rows))


def _given(table: dict[str, Any]) -> str:
    text = "; ".join(f"{k.replace('_', ' ')}: {plain_text(v)}" for k, v in table.items())
    if len(text) > LONGEST_LIST:
        return text[:LONGEST_LIST] + "… (all in summary.json)"
    return text


def conditions_blocks(parts: PaperParts) -> list[Block]:
    """Table of the conditions."""
    flow, rows = parts.contents.flow, []
    titles = (
        "Condition", "Decides", number("Weight"), "Air", number("m/s"), number("Angle, attitude"),
        number("Side-slip"), number("Altitude, ft"), number("m"), number("Air, °C"),
        number("q, Pa"), number("inH2O"), number("Mean rise by propeller, Pa"),
        number("Needed, Pa"), number("inH2O"), "Band, Pa", "Mark",
    )  # fmt: skip
    titles = tuple(t if isinstance(t, str) else number(t.text, bold=True) for t in titles)
    for c, given in enumerate(parts.summary["conditions"]):
        rows.append(_condition_row(flow.conditions[c], given, bool(flow.predicted[c])))
    return [
        Table(titles, tuple(rows)),
        note(
            "Needed: pressure that inlet, core and exit use up. Every condition is reckoned in its "
            "own outside air. 1 inH2O = 249 Pa, 1 kt = 0.514 m/s."
        ),
    ]


def _condition_row(condition, given: dict[str, Any], predicted: bool):
    needed = given["needed_pressure"]
    rise = told(given["mean_rise"]) if given["mean_rise"] else ""
    speed, words = _air(condition)
    angle = given["attitude"] if given["on_ground"] else (condition.attitude or given["alpha"])
    slip = "" if condition.ground_speed is not None else _degrees(given["beta"])
    value = None if needed is None else needed["value"]
    return (
        given["name"],
        "yes" if given["decides"] else "no",
        number(f"{given['weight']:g}"),
        words,
        number(told(speed, 1)),
        number(_degrees(angle or 0.0)),
        number(slip),
        number(told(given["altitude"] / FOOT)),
        number(told(given["altitude"])),
        number(told(given["temperature"] - 273.15)),
        number(told(given["dynamic_pressure"])),
        number(in_h2o(given["dynamic_pressure"])),
        number(rise if predicted else f"{rise} sign only"),
        number("not given" if value is None else _needed(needed)),
        number("" if value is None else in_h2o(value)),
        _band(needed),
        "" if needed is None else needed["mark"],
    )


def _air(condition) -> tuple[float, str]:
    """Speed in m/s and words: in flight true airspeed, on the ground the wheels' and the wind."""
    if condition.ground_speed is None:
        return condition.speed, f"{knots_text(condition.speed)} true"
    text = f"ground {knots_text(condition.ground_speed)}"
    if condition.wind_speed:
        text += f", wind {knots_text(condition.wind_speed)} {bearing(condition.wind_from)}"
    return condition.ground_speed, text


def _degrees(angle: float) -> str:
    return signed(f"{angle:g}") + "°"


def _needed(needed) -> str:
    """The needed pressure, with a mark where it lies outside its band."""
    return marked(told(needed["value"]), needed["value"], needed["low"], needed["high"])


def _band(needed) -> str:
    if needed is None or needed["low"] is None:
        return ""
    return f"{told(needed['low'])} to {told(needed['high'])}"
