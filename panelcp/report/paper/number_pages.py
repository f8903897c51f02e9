"""The uncertain numbers of a run with their bands, marks and sources, part by part."""

from __future__ import annotations

from collections import Counter
from typing import Any

from panelcp.report.contents import RunContents
from panelcp.report.paper.blocks import Block, Bullets, Heading, note
from panelcp.report.paper.footnotes import marked
from panelcp.report.paper.grids import Cell, Table, number
from panelcp.report.paper.registry import PaperParts
from panelcp.units import format_quantity

LONG_SOURCE = 40
"""Letters of a source that is told once, under a short name, where more numbers have it."""

GROUPS = (
    ("Surface and air", ("surface:", "region ", "alpha:", "beta:", "wind on", "base pressure",
                         "pressure in the lee")),
    ("Propeller and exit air", ("propeller:", "exit air:")),
    ("Needed pressure", ("engine:", "condition ")),
    ("Openings and bay", ("opening ", "combinations:")),
    ("What spoils a place", ("what spoils a place:",)),
    ("Ducts", ("duct ",)),
    ("Cores", ("core ",)),
    ("Fans and leaks", ("fan ", "leak ")),
    ("Others", ("",)),
)  # fmt: skip
"""Title, and how what it holds begins; each number stands in the first that fits."""

LEFT_OUT = ("what spoils a place: ", "condition ", "duct ", "core ")
"""Beginnings that the title of a group says already."""

WEAK = ("memory", "common practice")
COLUMNS = (38.0, 6.6, 6.6, 6.6, 10.0, 26.0)
SIZE = 7.2
"""Parts of the width: number, value, low, high, mark, source; points of the type."""


def numbers_blocks(parts: PaperParts) -> list[Block]:
    """Every uncertain number with value, band, mark and source."""
    marks = list(parts.contents.marks)
    if not marks:
        return []
    told = needed_in_conditions(parts.contents, parts.summary)
    blocks: list[Block] = [
        note(
            "Low and high are one standard deviation to each side unless the source says that they "
            "are the ends of a range. Numbers in bold marks have no source."
            + (" The needed pressure of every condition stands in the table of the conditions, "
               "with its band and mark." if told else "")
        )
    ]  # fmt: skip
    marks = [(place, value) for place, value in marks if place not in told]
    names = shared_sources([value.source for _, value in marks])
    for title, beginnings in GROUPS:
        inside = [mark for mark in marks if mark[0].startswith(beginnings)]
        marks = [mark for mark in marks if not mark[0].startswith(beginnings)]
        if inside:
            blocks += [Heading(title, 2), _table(inside, names)]
    if names:
        lines = tuple(f"{name}: {source}" for source, name in names.items())
        blocks += [Heading("Sources of more than one number", 2), Bullets(lines, size=8.0)]
    return blocks


def needed_in_conditions(contents: RunContents, summary: dict[str, Any]) -> set[str]:
    """Places of the needed pressures that the table of the conditions shows with band and mark."""
    given = {f"condition {c['name']}: needed pressure" for c in summary["conditions"]
             if c["needed_pressure"] is not None}  # fmt: skip
    return {
        place
        for place, value in contents.marks
        if place in given and value.mark not in WEAK and value.low is not None
    }


def shared_sources(sources: list[str]) -> dict[str, str]:
    """Short names of the long sources that more than one number has, in their order."""
    counts = Counter(source for source in sources if len(source) > LONG_SOURCE)
    shared = [source for source, count in counts.items() if count > 1]
    return {source: f"source {k}" for k, source in enumerate(shared, start=1)}


def shown_place(place: str) -> str:
    """What a number is, without what the title above it says."""
    for beginning in LEFT_OUT:
        if place.startswith(beginning):
            return place.removeprefix(beginning)
    return place


def _texts(value) -> list[str]:
    """Value and ends of its band, the value with a mark where it lies outside."""
    ends = value.value, value.low, value.high
    texts = ["" if n is None else format_quantity(n, value.kind) for n in ends]
    return [marked(texts[0], *ends), *texts[1:]]


def _table(marks, names: dict[str, str]) -> Table:
    rows, before = [], None
    for place, value in marks:
        source = names.get(value.source, value.source)
        rows.append(
            (
                shown_place(place),
                *(number(text) for text in _texts(value)),
                Cell(value.mark, bold=value.mark in WEAK),
                "as above" if source == before and len(source) > 10 else source,
            )
        )
        before = source
    titles = (number(text, bold=True) for text in ("Value", "Low", "High"))
    return Table(("Number", *titles, "Mark", "Source"), tuple(rows), SIZE, parts=COLUMNS)
