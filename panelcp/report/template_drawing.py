"""The sheets of a template as a PDF at true size, lines and text as vectors."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from textwrap import wrap

import numpy as np

from panelcp.report.drawing_formats import (
    COLOURS,
    DASHES,
    WIDTHS,
    Drawing,
    Line,
    Words,
    dxf_text,
    svg_text,
)
from panelcp.report.files import replace_text
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import picture_text
from panelcp.report.template import (
    CAUTIONS,
    GRID,
    SHORT_CAUTION,
    Template,
    arrow,
    arrows,
    facts,
    heading,
    piece_drawing,
    scale_bars,
    turned,
    whole_drawing,
)
from panelcp.report.template_pages import EDGE, OVERLAP, Sheet, paper_size, sheets_of

MM = 1.0 / 25.4
"""Inch."""

POINT = 72.0 / 25.4
"""Points in a mm."""

CAPITAL = 0.73
"""Height of a capital of the pictures' font, parts of its size."""

LETTER = 0.54
"""Mean width of its letters, parts of its size."""

TEXT = 8.5
"""Points, of the text on the first page."""

ARROW = 20.0
"""mm, room of the arrow at the foot of a sheet."""

MARK = 3.0
"""mm, half the size of a cross."""

_ROW = 4.4
"""mm, from line to line on the first page."""


def write_template(template: Template, folder: Path, stem: str, paper: str = "A4") -> list[Path]:
    """Write a template as PDF, DXF and SVG.

    Parameters
    ----------
    template : Template
    folder : that is there
    stem : of the names of the files
    paper : of the PDF

    Returns
    -------
    list of Path

    Raises
    ------
    CaseError : a paper that is not known
    """
    paper_size(paper)
    drawing, title = whole_drawing(template), ", ".join(heading(template))
    paths = [folder / f"{stem}{ending}" for ending in (".pdf", ".dxf", ".svg")]
    write_pdf(template, paths[0], paper)
    replace_text(paths[1], dxf_text(drawing, title))
    replace_text(paths[2], svg_text(drawing, title))
    return paths


def write_pdf(template: Template, path: Path, paper: str = "A4"):
    """Write the pages: what to know first, then the sheets at true size.

    Bytes depend on the template and the paper alone, the date being the template's.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    day = date.fromisoformat(template.date)
    metadata = {
        "Title": f"Marking template 1:1: {template.name}",
        "Creator": f"panelcp {template.version}",
        "CreationDate": datetime(day.year, day.month, day.day),
    }
    sheets = sheets_of(template, paper)
    with own_look():
        from matplotlib import rcParams

        # within own_look: both are put back; every line keeps all its points
        rcParams["pdf.fonttype"], rcParams["path.simplify"] = 42, False
        with PdfPages(path, metadata=metadata) as pages:
            pages.savefig(_first_page(template, sheets, paper))
            for sheet in sheets:
                pages.savefig(_sheet_page(template, sheet))


def _page(size):
    """A figure of the size of a paper in mm, with axes in mm over the whole of it."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size[0] * MM, size[1] * MM), facecolor="white")
    return figure, _axes(figure, [[0.0, 0.0], size], [[0.0, 0.0], size], size)


def _axes(figure, box, limits, size):
    """Bare axes over a box of the paper, (2, 2) mm; limits in the drawing's mm, (2, 2)."""
    (left, low), (right, high) = np.asarray(box, dtype=float)
    place = [left / size[0], low / size[1], (right - left) / size[0], (high - low) / size[1]]
    axes = figure.add_axes(place)
    axes.set_axis_off()
    (x, y), (u, v) = np.asarray(limits, dtype=float)
    axes.set_xlim(x, u)
    axes.set_ylim(y, v)
    return axes


def _draw(axes, drawing: Drawing, scale: float = 1.0):
    """Draw lines and words; words that do not lie wholly inside the axes are left out."""
    order = {"GRID": 1, "AXES": 2, "TEXT": 3, "OUTLINE": 4}
    for line in drawing.lines:
        _draw_line(axes, line, order[line.layer], scale)
    low, high = (np.array(limits) for limits in zip(axes.get_xlim(), axes.get_ylim(), strict=True))
    for words in drawing.words:
        box = Drawing(words=(words,)).bounds
        if (box[0] >= low).all() and (box[1] <= high).all():
            axes.text(
                *words.place,
                picture_text(words.text, 200),
                fontsize=scale * words.height * POINT / CAPITAL,
                ha=words.align,
                va="baseline",
                color=COLOURS[words.layer],
                zorder=5,
            )


def _draw_line(axes, line: Line, order: int, scale: float):
    points = line.points if not line.closed else line.points[[*range(len(line.points)), 0]]
    width = WIDTHS[line.layer] * POINT
    dashes = [dash * scale * POINT / width for dash in DASHES[line.style]]
    axes.plot(
        *points.T,
        color=COLOURS[line.layer],
        linewidth=width,
        linestyle=(0, dashes) if dashes else "-",
        solid_joinstyle="miter",
        solid_capstyle="butt",
        zorder=order,
    )


def _sheet_page(template: Template, sheet: Sheet):
    """One sheet at true size."""
    figure, page = _page(sheet.size)
    box = sheet.window + sheet.shift
    window = _axes(figure, box, sheet.window, sheet.size)
    _draw(window, piece_drawing(template, sheet.piece, sheet.turns))
    _draw(window, _mark_drawing(sheet))
    low, high = box
    frame = [low, [high[0], low[1]], high, [low[0], high[1]]]
    _draw(page, Drawing((Line("GRID", frame, closed=True), *_joint_lines(sheet, box))))
    _draw(page, _band(template, sheet))
    return figure


def _mark_drawing(sheet: Sheet) -> Drawing:
    """Crosses that must lie on those of the sheets beside, with their names."""
    lines, words = [], []
    for name, at in sheet.marks:
        for step in ([MARK, 0.0], [0.0, MARK]):
            lines.append(Line("TEXT", [at - step, at + step]))
        right = at[0] + 4.0 * MARK > sheet.window[1, 0]
        place = at + np.array([-0.8 if right else 0.8, 0.8])
        words.append(Words(name, place, 2.0, "right" if right else "left"))
    return Drawing(tuple(lines), tuple(words))


def _joint_lines(sheet: Sheet, box) -> list[Line]:
    """Dashed lines in the middle of the overlaps."""
    (left, low), (right, high), half = *box, 0.5 * OVERLAP
    ends = {
        "left": [[left + half, low], [left + half, high]],
        "right": [[right - half, low], [right - half, high]],
        "below": [[left, low + half], [right, low + half]],
        "above": [[left, high - half], [right, high - half]],
    }
    return [Line("GRID", ends[side], "dashed") for side, _ in sheet.joins]


def _band(template: Template, sheet: Sheet) -> Drawing:
    """Bars, name, number of the sheet, caution at the foot of a sheet."""
    width = sheet.size[0] - 2.0 * EDGE
    bars = scale_bars(EDGE, EDGE + 10.0)
    label = f", {sheet.piece.label}" if sheet.piece.label else ""
    joins = ", ".join(f"{other} {side}" for side, other in sheet.joins)
    rows = [
        f"{template.name}{label}",
        f"{template.case_name}, {template.date}",
        f"inputs {template.input_hash}, panelcp {template.version}; grid {GRID:.0f} mm",
        *([f"joins sheet {joins}"] if joins else []),
        "THIS SIDE OUT",
    ]
    left, room = EDGE + 107.0, width - 111.0 - ARROW
    number = f"Sheet {sheet.number} of {sheet.count}"
    words = [Words(number, [left, EDGE + 30.0], 3.0)]
    for k, row in enumerate(rows):
        height = min(2.0, room * CAPITAL / (LETTER * max(len(row), 1)))
        words.append(Words(row, [left, EDGE + 25.5 - 3.8 * k], height))
    height = min(2.1, width * CAPITAL / (LETTER * len(SHORT_CAUTION)))
    words.append(Words(SHORT_CAUTION, [EDGE, EDGE + 1.5], height))
    corner = [sheet.size[0] - EDGE - ARROW, EDGE + 8.0]
    direction, label = arrows(sheet.piece.opening, sheet.turns)[0]
    pointer = arrow(direction, label, [corner, np.add(corner, [ARROW, 24.0])])
    return bars.joined(Drawing(words=tuple(words)), pointer)


def _first_page(template: Template, sheets: tuple[Sheet, ...], paper: str):
    """What to know before cutting, and which sheet lies where."""
    size = paper_size(paper)
    figure, page = _page(size)
    title, *rest = heading(template)
    top = size[1] - EDGE - 6.0
    _write(page, [EDGE, top], picture_text(title, 70), 14.0)
    letters = int((size[0] - 2.0 * EDGE) * POINT / (LETTER * TEXT))
    top -= 8.0
    count = f"{len(sheets)} sheet{'s' if len(sheets) > 1 else ''} {paper} to follow"
    blocks = [
        [*rest, f"{count}. Print at actual size (100 %), no fit to page, then measure both bars."],
        facts(template),
        [*template.warnings, *CAUTIONS],
    ]
    for rows in blocks:
        for row in (picture_text(row, 600) for row in rows):
            for part in wrap(row, letters, subsequent_indent="   ", break_on_hyphens=False):
                _write(page, [EDGE, top], part.replace("\u00a0", " "), TEXT)
                top -= _ROW
            top -= 0.6
        top -= 3.0
    _overview(figure, sheets, top, size)
    return figure


def _write(axes, place, text: str, size: float):
    axes.text(*place, text, fontsize=size, color=COLOURS["TEXT"], va="baseline")


def _overview(figure, sheets: tuple[Sheet, ...], top: float, size):
    """Small picture of every piece with its sheets, in a row."""
    groups: dict[int, list[Sheet]] = {}
    for sheet in sheets:
        groups.setdefault(id(sheet.piece), []).append(sheet)
    boxes = []
    for group in groups.values():
        windows = np.array([sheet.window for sheet in group])
        boxes.append(np.array([windows[:, 0].min(axis=0) - 1.0, windows[:, 1].max(axis=0) + 1.0]))
    gap = 6.0
    room = np.array([size[0] - 2.0 * EDGE, max(top - EDGE, 20.0)])
    widths = np.array([np.ptp(box, axis=0) for box in boxes])
    scale = min(
        (room[0] - gap * (len(boxes) - 1)) / widths[:, 0].sum(), room[1] / widths[:, 1].max()
    )
    scale, left = min(scale, 0.5), EDGE
    for group, box, span in zip(groups.values(), boxes, widths, strict=True):
        place = [[left, top - scale * span[1]], [left + scale * span[0], top]]
        axes = _axes(figure, place, box, size)
        _draw(axes, _small_drawing(group))
        for sheet in group:
            place = sheet.window[0, 0] + 4.0, sheet.window[1, 1] - 16.0
            _write(axes, place, str(sheet.number), 10.0)
        left += scale * span[0] + gap


def _small_drawing(group: list[Sheet]) -> Drawing:
    """Outline, cross and windows of the sheets of one piece."""
    piece, turns = group[0].piece, group[0].turns
    lines = [Line("OUTLINE", turned(piece.flat.outline, turns), closed=True)]
    lines += [Line("AXES", turned(line, turns)) for line in piece.flat.cross]
    for sheet in group:
        (left, low), (right, high) = sheet.window
        frame = [[left, low], [right, low], [right, high], [left, high]]
        lines.append(Line("GRID", frame, closed=True))
    return Drawing(tuple(lines))
