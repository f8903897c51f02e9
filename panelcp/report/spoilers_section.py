"""The page's section on what spoils a place: where to look, never what is good."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from html import escape
from typing import Any

from panelcp.placement.spoilers import Spoiler, worst_of_each
from panelcp.report.contents import listed

LOOK_HERE = (
    "Look here before you cut. Every line is a number beyond its limit, in the worst condition "
    "first; many limits are rules of thumb, as they are marked. A place without a line is not "
    "found good by that: only these things are looked for, and gusts, exhaust leaks, gaps and "
    "structure are not among them."
)
NOTE = (
    "A distance below nothing lies so far within the edge of the widening plume, or behind a "
    "separation line. Numbers without a unit are parts of one: of an area, of certainty, of "
    "available/needed."
)
NAMED = 3
"""Further conditions that are named; of more the number is told."""

WORDS = {"spoils": "spoils it", "look": "look"}


def spoilers_section(spoilers: Sequence[Spoiler], table, row) -> str:
    """HTML of the section.

    Parameters
    ----------
    spoilers : of Spoiler, in the order of `panelcp.placement.spoilers.spoilers`
    table, row : functions of the page that make tables

    Returns
    -------
    str; every text is escaped
    """
    titles = (("Place", "t"), ("What", "t"), ("How bad", "t"), ("Worst in", "t"), ("Found", ""))
    titles += (("Limit, and its mark", "t"), ("What it means", "t"), ("Also in", "t"))
    rows = []
    for worst, conditions in worst_of_each(spoilers):
        others = [name for name in conditions if name != worst.condition]
        cells = [
            (worst.opening, "p"),
            (worst.kind, "p"),
            (WORDS[worst.severity], "t bad" if worst.severity == "spoils" else "t"),
            (worst.condition or "", "p"),
            (shown(worst.value, worst.unit), ""),
            (f"{shown(worst.limit, worst.unit)}, {worst.mark}", "p"),
            (worst.text, "w"),
            (_others(others), "p"),
        ]
        rows.append(row(cells, titles=titles))
    body = table(row(titles, "th"), rows, "cards") if rows else "<p>No number passes its limit.</p>"
    note = f"<p class='soft'>{escape(NOTE)}</p>" if rows else ""
    return f"<p>{escape(LOOK_HERE)}</p>{body}{note}"


def spoiler_lines(spoilers: Sequence[Spoiler]) -> list[str]:
    """One line for each place, kind and other thing, with its worst condition, for the log."""
    lines = []
    for worst, conditions in worst_of_each(spoilers):
        more = len(conditions) - 1
        also = f" (and in {more} more condition{'s' if more > 1 else ''})" if more > 0 else ""
        lines.append(f"{WORDS[worst.severity]}, {worst.kind}: {worst.line()}{also}")
    return lines


def spoiler_rows(spoilers: Sequence[Spoiler]) -> tuple[list[str], list[list[str]]]:
    """Heading and rows for a table of numbers, one row per Spoiler.

    Returns
    -------
    heading : names of the columns; values stand in the SI unit that the row names
    rows : texts; a condition that does not exist is empty
    """
    heading = ["opening", "severity", "kind", "condition", "about", "value_in_unit"]
    heading += ["limit_in_unit", "unit", "limit_mark", "text"]
    rows = [
        [
            *(s.opening, s.severity, s.kind, s.condition or "", s.about),
            *(f"{s.value:.6g}", f"{s.limit:.6g}", s.unit, s.mark, s.text),
        ]
        for s in spoilers
    ]
    return heading, rows


def spoiler_dicts(spoilers: Sequence[Spoiler]) -> list[dict[str, Any]]:
    """Plain records for summary.json, SI units; all fields of Spoiler by their names."""
    return [asdict(spoiler) for spoiler in spoilers]


def shown(value: float, unit: str) -> str:
    """A number in the unit a builder uses.

    Examples
    --------
    >>> shown(0.527, "m"), shown(1.0262, "m"), shown(0.0312, "m2"), shown(-0.246, "m")
    ('527 mm', '1.03 m', '312 cm²', '−246 mm')
    >>> shown(40.388, "Pa"), shown(0.6264, "")
    ('40 Pa', '0.63')
    """
    if unit == "m":
        text = f"{1e3 * value:.0f} mm" if abs(value) < 0.9995 else f"{value:.2f} m"
    elif unit == "m2":
        text = f"{1e4 * value:.0f} cm²"
    elif unit == "Pa":
        text = f"{value:.0f} Pa"
    else:
        text = f"{value:.3f}" if abs(value) < 0.1 else f"{value:.2f}"
    return text.replace("-", "−")


def _others(names: list[str]) -> str:
    """Further conditions, the first few by name."""
    if len(names) <= NAMED + 1:
        return listed(names)
    return f"{listed(names[:NAMED])} and {len(names) - NAMED} more"
