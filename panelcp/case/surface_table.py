"""The tables of a case that say how its surface is taken in."""

from __future__ import annotations

from typing import Any

from panelcp.case import schema
from panelcp.case.schema import CaseText, Entry, choice, line, point, quantity, true_or_false
from panelcp.errors import PanelcpError
from panelcp.surface.intake import CENTRE_LINES, WAYS, Closing, IntakeOptions, ScanOptions
from panelcp.surface.reading import PARTS, ReadingOptions
from panelcp.units import UNITS

_LENGTH = quantity("length", least=0.0)
_SIZE = quantity("length", above=0.0)
_READING = {
    "unit": Entry(choice(*UNITS["length"])),
    "axes": Entry(schema.axes),
    "datum": Entry(schema.three_numbers),
    "part": Entry(choice(*PARTS)),
    "plane_tolerance": Entry(_LENGTH),
    "crack_tolerance": Entry(_LENGTH),
    "reverse": Entry(true_or_false),
    "keep": Entry(schema.texts),
    "drop": Entry(schema.texts),
    "drop_inside": Entry(true_or_false),
    "drop_small": Entry(true_or_false),
    "unite": Entry(true_or_false),
    "step_size": Entry(_SIZE),
}
_INTAKE = {
    "largest_hole": Entry(_LENGTH),
    "widest_gap": Entry(_LENGTH),
    "largest_opening": Entry(_LENGTH),
    "afterbody": Entry(true_or_false),
    "afterbody_length": Entry(_SIZE),
    "replace_wall": Entry(true_or_false),
    "panels": Entry(schema.whole_number(0, 200000)),
}
SURFACE_ENTRIES = {**_READING, **_INTAKE}
SCAN = {
    "tape_from": Entry(schema.three_numbers),
    "tape_to": Entry(schema.three_numbers),
    "taped_length": Entry(_SIZE),
    "centre_line": Entry(choice(*CENTRE_LINES)),
    "centre_points": Entry(schema.list_of(schema.three_numbers)),
    "beyond": Entry(_LENGTH),
    "level_from": Entry(schema.three_numbers),
    "level_to": Entry(schema.three_numbers),
    "side": Entry(choice("right", "left")),
    "reach": Entry(_LENGTH),
    "smooth": Entry(_LENGTH),
}
CLOSING = {
    "name": Entry(line, required=True),
    "place": Entry(point, required=True),
    "way": Entry(choice(*WAYS), default="flush"),
    "depth": Entry(_SIZE),
    "direction": Entry(schema.three_numbers, default=(1.0, 0.0, 0.0)),
}


def intake_options(case_text: CaseText, surface: dict[str, Any]) -> IntakeOptions:
    """How the surface is taken in; mistakes are added to those of the case.

    Parameters
    ----------
    case_text : the parsed case
    surface : its table [surface], read

    Returns
    -------
    IntakeOptions; with a mistake those of nothing asked for
    """
    scan = _scan(case_text)
    closings = _closings(case_text)
    chosen = {name: surface[name] for name in _INTAKE if surface[name] is not None}
    try:
        reading = ReadingOptions(**_given(surface, _READING))
        return IntakeOptions(reading, scan=scan, closings=closings, **chosen)
    except PanelcpError as error:
        case_text.add("surface", 0, "axes" if "axes" in str(error) else "", str(error))
        return IntakeOptions()


def _given(row: dict[str, Any], names) -> dict[str, Any]:
    return {name: row[name] for name in names if row[name] is not None}


def _scan(case_text: CaseText) -> ScanOptions | None:
    row = case_text.table("scan", SCAN)
    if "scan" not in case_text.raw:
        return None
    try:
        return ScanOptions(**_given(row, SCAN))
    except PanelcpError as error:
        case_text.add("scan", 0, "", str(error).removeprefix("scan: "))
        return None


def _closings(case_text: CaseText) -> tuple[Closing, ...]:
    rows, closings = case_text.tables("closing", CLOSING), []
    case_text.require_unique("closing", rows)
    for number, row in enumerate(rows, start=1):
        if ("closing", number) in case_text.wrong:
            continue
        try:
            closings.append(Closing(**row))
        except PanelcpError as error:
            case_text.add("closing", number, "", str(error))
    return tuple(closings)
