"""The first pages: question, picture, answer in five lines, warnings, revision."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.report.answer_section import deciding_lines, worst_first
from panelcp.report.contents import CAUTIONS, RunContents, in_pascal, kept
from panelcp.report.cooling_section import hardest
from panelcp.report.cooling_tables import readable
from panelcp.report.paper.blocks import (
    SOFT,
    Answers,
    Block,
    Bullets,
    Caution,
    Heading,
    Paragraph,
    Picture,
)
from panelcp.report.paper.grids import Table, number
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import shortened
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import cut_at_station, last_station, map_markers, usual_limit

LONGEST_NAME, LONGEST_QUESTION = 160, 700
"""Letters of name and question on the first page; summary.json holds all."""

MOST_MARKERS = 16
"""Marks that the small picture holds."""

_SIZE, _DOTS = (7.0, 2.75), 200


def front_blocks(parts: PaperParts) -> list[Block]:
    """Question, picture, answer, warnings, revision."""
    contents = parts.contents
    blocks: list[Block] = [
        Paragraph(shortened(contents.name, LONGEST_NAME), 20.0, bold=True, above=0.0),
        Paragraph(shortened(contents.question, LONGEST_QUESTION), 11.0, above=3.0),
        Paragraph(shortened(contents.note, LONGEST_QUESTION), 8.5, SOFT, above=3.0),
        *(Caution(f"{text}.", "Notice", strong=True) for text in contents.notices),
        Caution(CAUTIONS[0], "Read this first"),
    ]
    blocks += _picture(contents)
    lines = tuple((lead, kept(text)) for lead, text in deciding_lines(contents))
    blocks += [Heading("The answer", 2), Answers(lines), Caution(CAUTIONS[3])]
    blocks += [Heading("This report", 2), revision_table(parts)]
    if contents.warnings:
        count = len(contents.warnings)
        title = f"{count} warning{'s' if count > 1 else ''}, the worst first"
        texts = tuple(kept(f"{text}.") for text in worst_first(contents.warnings))
        blocks += [Heading(title, 2), Bullets(texts, "number")]
    return blocks


def revision_table(parts: PaperParts) -> Table:
    """Which report this is."""
    contents, revision = parts.contents, parts.revision
    before = "none: first report of this case"
    if revision.previous:
        before = _report_words(revision.previous_number, revision.previous_date, revision.previous)
    row = (
        number(str(revision.number)),
        contents.date or "not given",
        contents.input_hash,
        contents.version,
        before,
    )
    titles = (number("Revision", bold=True), "Date", "Inputs, hash", "panelcp", "Before it")
    return Table(titles, (row,))


def _report_words(number_: int, date: str, hash_: str) -> str:
    day = f"{date}, " if date else ""
    return f"revision {number_} ({day}inputs {hash_})"


def hardest_condition(contents: RunContents) -> int:
    """Number of the condition with the least margin, or with the least pressure for the best pair;
    one with a stream where there is any.
    """
    c = None if contents.cooling is None else hardest(readable(contents.cooling))
    c = int(contents.ranking.limiting[0]) if c is None else c
    moving = contents.flow.moving
    return c if moving[c] or not moving.any() else int(np.flatnonzero(moving)[0])


def _picture(contents: RunContents) -> Sequence[Block]:
    """The map of the hardest condition, in two views."""
    c = hardest_condition(contents)
    if not contents.flow.moving[c]:
        return ()
    pixels = key_picture(contents, c)
    condition = contents.flow.conditions[c]
    what = "pressure in Pa" if in_pascal(condition) else "Cp"
    caption = (
        f"The hardest condition, {condition.name}: {what} on the skin, on a scale of its own. "
        "Suction blue-green with dashed lines, pressure amber with solid lines, the thick line is "
        "zero. Numbers are places of the short list."
    )
    return [Picture(pixels, pixels.shape[0] / pixels.shape[1], 205.0, caption)]


def key_picture(contents: RunContents, c: int) -> np.ndarray:
    """(height, width, 3) uint8: two views of the skin's pressure in condition c."""
    from panelcp.flow.superposition import interpolated_pressure
    from panelcp.report.colours import pressure_scale
    from panelcp.report.maps import figure_pixels, pressure_figure
    from panelcp.surface.interpolation import corner_operator

    flow, pascal = contents.flow, in_pascal(contents.flow.conditions[c])
    part = cut_at_station(flow.surface, last_station(contents))
    unit = 1.0 if pascal else flow.dynamic_pressure[c]
    pressure = interpolated_pressure(flow, corner_operator(flow.surface))[c]
    values = part.corner_values((pressure / unit).reshape(-1, 3))
    surface = part.surface
    limit = usual_limit([values], surface.areas, 1.0 if pascal else 0.5)
    scale = pressure_scale(limit, label="Pa" if pascal else "Cp", grey_print=contents.grey_print)
    with own_look():
        figure = pressure_figure(
            surface,
            values,
            _views(contents),
            scale=scale,
            markers=_markers(contents),
            size=_SIZE,
        )
        return figure_pixels(figure, _DOTS)[..., :3]


def _markers(contents: RunContents) -> list:
    """Marks of the picture: where there are many, places of the short list and their inlets."""
    markers = map_markers(contents)
    if len(markers) <= MOST_MARKERS:
        return markers
    inlets = {contents.ranking.inlet(pair).name for pair in contents.short_list}
    return [m for m in markers if m.label[:1].isdigit() or m.label in inlets]


def _views(contents: RunContents) -> tuple[str, str]:
    """The side of the best exit, and from ahead, left and above."""
    side = contents.ranking.exit(0).side
    first = side if side in ("left", "right", "top", "bottom") else "left"
    return first, "three_quarter"
