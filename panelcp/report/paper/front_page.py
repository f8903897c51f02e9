"""The first pages: question, picture, answer in five lines, warnings, revision."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.report.answer_section import deciding_lines, worst_first
from panelcp.report.contents import CAUTIONS, AirContents, in_pascal, kept
from panelcp.report.cooling_section import cooling_lines
from panelcp.report.cooling_tables import readable
from panelcp.report.hardest import hardest_condition
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
from panelcp.report.paper.cooling_pages import marked_margins
from panelcp.report.paper.grids import Table, number
from panelcp.report.paper.pixels import paper_picture
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import shortened
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import (
    LONGEST_LABEL,
    cut_at_station,
    last_station,
    map_scales,
    picture_text,
    shown_values,
)

LONGEST_NAME, LONGEST_QUESTION = 160, 700
"""Letters of name and question on the first page; summary.json holds all."""

NOT_RANKED = {
    True: ("Places:", "No place was ranked: the openings of the case are taken as they are."),
    False: (
        "Pressures alone:",
        "No place was ranked and no air runs through the cowl: nothing here says whether the "
        "engine stays cool. The maps show where air is pushed in and drawn out.",
    ),
}
"""Lines of a report without a ranking, with and without a cooling network."""

MARKED = "Marked are the best exit, 1, and its inlet; the maps show all."

_SIZE, _DOTS = (7.0, 2.75), 180


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
    blocks += _picture(parts)
    lines = tuple((lead, kept(text)) for lead, text in _answer(parts))
    blocks += [Heading("The answer", 2), Answers(lines), Caution(CAUTIONS[3])]
    blocks += [Heading("This report", 2), revision_table(parts)]
    if contents.warnings:
        count = len(contents.warnings)
        title = f"{count} warning{'s' if count > 1 else ''}, the worst first"
        texts = tuple(kept(f"{text}.") for text in worst_first(contents.warnings))
        blocks += [Heading(title, 2), Bullets(texts, "number")]
    return blocks


def _answer(parts: PaperParts) -> list[tuple[str, str]]:
    """The five lines, with marks on margins outside their bands; fewer without a ranking."""
    cooling = parts.found("cooling")
    if parts.is_ranked:
        lines = deciding_lines(parts.contents)
    else:
        texts = [] if cooling is None else cooling_lines(cooling)
        leads = ["Does it work?", *[""] * len(texts)]
        lines = [*zip(leads, texts, strict=False), NOT_RANKED[cooling is not None]]
    if cooling is None:
        return lines
    result = readable(cooling)
    return [(lead, marked_margins(text, result)) for lead, text in lines]


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


def _picture(parts: PaperParts) -> Sequence[Block]:
    """The map of the hardest condition, in two views."""
    contents = parts.contents
    c = hardest_condition(contents)
    if c is None:
        return ()
    condition = contents.flow.conditions[c]
    what = "pressure in Pa" if in_pascal(condition) else "Cp"
    caption = (
        f"The hardest condition, {condition.name}: {what} on the skin, coloured as on its map. "
        "Suction blue-green with dashed lines, pressure amber with solid lines, the thick line is "
        "zero. "
    )
    caption += MARKED if parts.is_ranked else "The openings stand on the maps."
    return [Picture(paper_picture(key_picture(contents, c)), 205.0, caption)]


def key_picture(contents: AirContents, c: int) -> np.ndarray:
    """(height, width, 3) uint8: two views of the skin's pressure in condition c."""
    from panelcp.report.maps import figure_pixels, pressure_figure

    flow = contents.flow
    part = cut_at_station(flow.surface, last_station(contents))
    moving = np.flatnonzero(flow.moving)
    values = shown_values(flow, moving, part)
    at = int(np.flatnonzero(moving == c)[0])
    scale = map_scales(contents, moving, values, part.surface.areas)[at]
    with own_look():
        figure = pressure_figure(
            part.surface,
            values[at],
            _views(contents),
            scale=scale,
            markers=_markers(contents),
            size=_SIZE,
            dots_per_inch=_DOTS,
        )
        return figure_pixels(figure, _DOTS)[..., :3]


def _markers(contents: AirContents) -> list:
    """Marks of the best exit and of its inlet."""
    from panelcp.report.maps import Marker

    if contents.ranking is None or not contents.ranking.n_pairs:
        return []
    outlet, inlet = contents.ranking.exit(0), contents.ranking.inlet(0)
    twins = [outlet.twin] if outlet.twin is not None else []
    exits = [Marker(opening.outline, "1", "best") for opening in (outlet, *twins)]
    return [*exits, Marker(inlet.outline, picture_text(inlet.name, LONGEST_LABEL), "inlet")]


def _views(contents: AirContents) -> tuple[str, str]:
    """The side of the best exit, and the front."""
    if contents.ranking is None or not contents.ranking.n_pairs:
        return "left", "front"
    side = contents.ranking.exit(0).side
    first = side if side in ("left", "right", "top", "bottom") else "left"
    return first, "front"
