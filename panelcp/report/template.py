"""A marking template of one opening: what is drawn at true size, and what is said about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.report.drawing_formats import Drawing, Line, Words
from panelcp.report.sheets import picture_text
from panelcp.surface.flat_opening import FlatErrors, FlatPiece
from panelcp.surface.opening import Opening
from panelcp.surface.skin_distance import TapeDistances

GRID = 25.0
"""mm, of the grid on the paper."""

ROUND = 12.0
"""mm, of grid and marks round the outline."""

BARS = ((100.0, "100 mm"), (101.6, "4 in"))
MEASURE = "measure me before cutting"
CORNERS = (
    "Corners are drawn sharp to show where the sides meet. Round every one of them: cracks start "
    "in sharp corners. 10 mm or more is common practice (from memory); the designer decides."
)
NO_CORNERS = "Oval: no corners. Smooth the cut edge all round, cracks start at notches."
CAUTIONS = (
    "Estimate for study. Not approved data.",
    "Have the designer, an inspector or a licensed engineer look at every cut. Nothing here says "
    "that a cut is strong enough.",
)
SHORT_CAUTION = (
    "Print at actual size (100 %). Designer or inspector looks at every cut: no answer on strength."
)
SMALL, LEAST, MOST = 1.6, 2.5, 4.0
"""mm: capitals that would be smaller inside the outline stand beside it, with the next height;
the greatest height."""

LONGEST_NAME = 40
GAP = 6.0
"""mm, between words inside the outline and cross or joint."""

_LETTER = 0.82
"""Width of a letter, parts of the height of a capital (wide, from the font's own widths)."""


@dataclass(frozen=True, eq=False)
class TemplateSide:
    """One opening on paper; a mirrored pair has two.

    Attributes
    ----------
    opening : Opening
    pieces : laid flat, one, two or four
    tape : distances of its centre along the skin
    """

    opening: Opening
    pieces: tuple[FlatPiece, ...]
    tape: TapeDistances


@dataclass(frozen=True, eq=False)
class Template:
    """A marking template.

    Attributes
    ----------
    name : of the opening
    case_name : str
    date : as it is printed, "2026-05-01"
    input_hash, surface_hash : str
    version : of the program
    sides : one, or two of a mirrored pair
    warnings : what else must be said, say about fire
    """

    name: str
    case_name: str
    date: str
    input_hash: str
    surface_hash: str
    version: str
    sides: tuple[TemplateSide, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of paper of a template.

    Attributes
    ----------
    label : "", "left", "piece 1 of 2", ...
    opening : Opening
    flat : FlatPiece
    upright : turns by 90 deg, counter-clockwise, that bring its upper side up on the paper
    """

    label: str
    opening: Opening
    flat: FlatPiece
    upright: int


def pieces_of(template: Template) -> tuple[Piece, ...]:
    """All pieces of paper of a template, in order."""
    pieces = []
    for side in template.sides:
        for number, flat in enumerate(side.pieces, start=1):
            labels = []
            if len(template.sides) > 1:
                labels.append(f"{side.opening.side} side")
            if len(side.pieces) > 1:
                labels.append(f"piece {number} of {len(side.pieces)}")
            label = ", ".join(labels)
            pieces.append(Piece(label, side.opening, flat, _upright(side.opening)))
    return tuple(pieces)


def turned(points, turns: int) -> np.ndarray:
    """(n, 2) mm: places of the paper in m after quarter turns counter-clockwise.

    Examples
    --------
    >>> turned([[0.1, 0.0]], 1).tolist()
    [[0.0, 100.0]]
    """
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turns % 4]
    return 1e3 * np.asarray(points, dtype=float) @ np.array([[c, s], [-s, c]], dtype=float) + 0.0


def outline_box(piece: Piece, turns: int) -> np.ndarray:
    """(2, 2) mm: least and greatest places of the outline after quarter turns."""
    points = turned(piece.flat.outline, turns)
    return np.array([points.min(axis=0), points.max(axis=0)])


def piece_drawing(template: Template, piece: Piece, turns: int) -> Drawing:
    """A piece at true size, seen from outside, its centre at the origin.

    Parameters
    ----------
    template : Template
    piece : Piece of it
    turns : quarter turns counter-clockwise, from x along the opening
    """
    flat = piece.flat
    outline = turned(flat.outline, turns)
    low, high = outline_box(piece, turns) + np.array([[-ROUND], [ROUND]])
    lines = _grid(low, high)
    lines += [Line("AXES", turned(line, turns)) for line in flat.cross]
    lines += _outline_lines(outline, flat.joint)
    words = []
    for name, line in flat.levels:
        level, label = _level(name, turned(line, turns), low, high)
        lines += level
        words += label
    for letter, place in flat.letters:
        at = turned([place], turns)[0]
        lines.append(_tick(at, outline, flat.joint))
        words.append(Words(letter, at + 1.5, 3.5, layer="AXES"))
    inner = _inner(template, piece, turns, outline)
    return Drawing(tuple(lines), tuple(words)).joined(inner)


def scale_bars(left: float, bottom: float) -> Drawing:
    """Bars of 100 mm and of 4 in, one above the other, 24 mm high."""
    lines, words = [], []
    for k, (length, name) in enumerate(BARS):
        y = bottom + 2.0 + 11.0 * (1 - k)
        lines.append(Line("TEXT", [[left, y], [left + length, y]]))
        for x in (left, left + length):
            lines.append(Line("TEXT", [[x, y - 1.5], [x, y + 2.5]]))
        words.append(Words(f"{name}: {MEASURE}", [left + 2.0, y + 1.8], 2.4))
    return Drawing(tuple(lines), tuple(words))


def whole_drawing(template: Template) -> Drawing:
    """All pieces one above the other, with bars and text below: for DXF and SVG."""
    pieces, bottom, drawings = pieces_of(template), 0.0, []
    for piece in pieces:
        drawing = piece_drawing(template, piece, piece.upright)
        low, high = drawing.bounds
        drawings.append(drawing.moved([-low[0], bottom - high[1]]))
        bottom -= high[1] - low[1] + 15.0
    drawings.append(scale_bars(0.0, bottom - 24.0))
    text = [*heading(template), *facts(template), *template.warnings, *CAUTIONS]
    rows = [row for line in text for row in _broken(line, 90)]
    words = [Words(row, [0.0, bottom - 32.0 - 5.0 * k], 2.6) for k, row in enumerate(rows)]
    return Drawing().joined(*drawings, Drawing(words=tuple(words)))


def heading(template: Template) -> list[str]:
    """Name, case, date, hashes and version."""
    return [
        f"Marking template 1:1: {template.name}",
        f"{template.case_name}, {template.date}",
        f"inputs {template.input_hash}, surface {template.surface_hash[:10]}, "
        f"panelcp {template.version}",
    ]


def facts(template: Template) -> list[str]:
    """Size, place and what the paper cannot follow, a line each."""
    lines = []
    for side in template.sides:
        opening = side.opening
        where = f"{opening.side} side: " if len(template.sides) > 1 else ""
        girth = sum(_cut_length(piece) for piece in side.pieces)
        along = "up" if opening.kind == "forward-facing" else "along the air"
        lines.append(
            f"{where}{opening.shape} {1e3 * opening.length:.0f} mm {along}, "
            f"{1e3 * opening.width:.0f} mm across, in the plane that touches its middle; "
            f"{1e3 * girth:.0f} mm round along the skin ({opening.kind}, {opening.use})"
        )
        lines.append(f"{where}centre (the cross): {side.tape.text()}, tape pressed onto the skin")
        for number, piece in enumerate(side.pieces, start=1):
            name = f"piece {number}: " if len(side.pieces) > 1 else ""
            lines += [f"{where}{name}{line}" for line in stretch_lines(piece.errors)]
        if len(side.pieces) > 1:
            lines.append(
                f"{where}split because one sheet would stretch too much: lay the pieces side by "
                "side on the skin, letters on like letters, dashed edge on dashed edge"
            )
    lines.append(CORNERS if template.sides[0].opening.shape == "rectangle" else NO_CORNERS)
    lines.append("The red line is the finished edge on the outer skin: cut inside it, file to it.")
    if len(template.sides) > 1:
        lines.append("Mirrored pair: each side has a template of its own. Do not turn one over.")
    return lines


def stretch_lines(errors: FlatErrors) -> list[str]:
    """What laying the skin flat leaves, in words."""
    lines = [
        f"paper against skin: lengths along the outline within {1e3 * errors.along:.1f} mm, "
        f"across it within {1e3 * errors.across:.1f} mm; stretch "
        f"{_percent(errors.shortest)} to {_percent(errors.longest)}\u00a0%; "
        f"area {_percent(errors.area)}\u00a0%"
    ]
    if not errors.small:
        lines.append(
            "WARNING: the skin is so tightly curved here that the paper will not lie down. Tape "
            "it from the centre outward, and check the lengths along the skin before cutting"
        )
    return lines


def _percent(ratio: float) -> str:
    """A ratio less 1 in percent, with its sign.

    >>> _percent(1.00119), _percent(0.999999)
    ('+0.12', '0.00')
    """
    value = round(100.0 * (ratio - 1.0), 2)
    return f"{value:+.2f}" if value else "0.00"


def _cut_length(piece: FlatPiece) -> float:
    """m: length of the outline on the skin, without joints."""
    step = np.roll(piece.outline_on_skin, -1, axis=0) - piece.outline_on_skin
    return float(np.linalg.norm(step[~piece.joint], axis=1).sum())


def _upright(opening: Opening) -> int:
    """Quarter turns that bring up (or, on top and bottom, forward) nearest to the paper's up."""
    wanted = _upward(opening)
    along, across = opening.along @ wanted, opening.across @ wanted
    # paper's y after k turns: across, along, -across, -along
    return int(np.argmax([across, along, -across, -along]))


def _upward(opening: Opening) -> np.ndarray:
    on_its_side = abs(opening.normal[2]) < 0.7
    return np.array([0.0, 0.0, 1.0]) if on_its_side else np.array([-1.0, 0.0, 0.0])


def _grid(low, high) -> list[Line]:
    lines = []
    for axis in range(2):
        first, last = np.ceil(low[axis] / GRID), np.floor(high[axis] / GRID)
        for level in GRID * np.arange(first, last + 1):
            ends = np.array([low, high])
            ends[:, axis] = level
            lines.append(Line("GRID", ends))
    return lines


def _outline_lines(outline, joint) -> list[Line]:
    """The cut in one piece; joints dashed."""
    if not joint.any():
        return [Line("OUTLINE", outline, closed=True)]
    lines, n = [], len(outline)
    starts = np.flatnonzero(joint != np.roll(joint, 1))
    for k, start in enumerate(starts):
        end = starts[(k + 1) % len(starts)]
        index = np.arange(start, end + 1 + (n if end <= start else 0)) % n
        kind = ("AXES", "dashed") if joint[start] else ("OUTLINE", "solid")
        lines.append(Line(kind[0], outline[index], kind[1]))
    return lines


def _level(name, line, low, high) -> tuple[list[Line], list[Words]]:
    """A line of constant station, butt line or waterline within the drawn box, and its name."""
    kept = line[((line >= low) & (line <= high)).all(axis=1)]
    if len(kept) < 2:
        return [], []
    end = kept[np.argmax(kept @ [0.6, 1.0])]
    inner = ROUND + 2.0
    farthest = high - inner - np.array([_LETTER * 2.4 * len(name), 2.4])
    inside = (farthest > low + inner + 20.0).all()
    aside = np.clip(end + 1.0, low + inner, farthest) if inside else end + 1.0
    return [Line("AXES", kept, "chain")], [Words(name, aside, 2.4, layer="AXES")]


def _tick(at, outline, joint) -> Line:
    """A short line across the joint nearest to a mark."""
    ends = np.flatnonzero(joint)
    nearest = ends[np.argmin(np.linalg.norm(outline[ends] - at, axis=1))]
    along = outline[(nearest + 1) % len(outline)] - outline[nearest]
    across = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    return Line("AXES", np.array([at - 4.0 * across, at + 4.0 * across]))


def _inner(template: Template, piece: Piece, turns: int, outline) -> Drawing:
    """Name, side and arrows, in the quarters of the outline that are free."""
    pointers = arrows(piece.opening, turns)
    name = picture_text(template.name, LONGEST_NAME)
    rows = [name, *([piece.label] if piece.label else []), "THIS SIDE OUT"]
    slots = _slots(piece.opening, outline, 1 + len(pointers))
    drawing = _block(rows, slots[0], outline)
    for (direction, label), slot in zip(pointers, slots[1:], strict=True):
        drawing = drawing.joined(arrow(direction, label, slot))
    return drawing


def arrows(opening: Opening, turns: int) -> list[tuple[np.ndarray, str]]:
    """Direction on the paper, and name: forward or up first, then the air."""
    frame = np.array([opening.along, opening.across])
    wanted = [(np.array([-1.0, 0.0, 0.0]), "FORWARD"), (np.array([0.0, 0.0, 1.0]), "UP")]
    found = [(frame @ direction, label) for direction, label in wanted]
    shown = [(way, label) for way, label in found if np.linalg.norm(way) > 0.7][:1]
    if opening.kind != "forward-facing":
        shown.append((np.array([1.0, 0.0]), "AIR FLOW"))
    return [(turned([w / np.linalg.norm(w)], turns)[0] / 1e3, label) for w, label in shown]


def _slots(opening: Opening, outline, count: int) -> list[np.ndarray]:
    """Boxes (2, 2) mm inside the outline, away from the cross: upper left first."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    centre = np.clip(np.zeros(2), low, high)
    share = 0.68 if opening.shape == "oval" else 0.96
    boxes = []
    for x, y in ((low[0], high[1]), (high[0], high[1]), (high[0], low[1]), (low[0], low[1])):
        corner = centre + share * (np.array([x, y]) - centre)
        box = np.sort(np.array([centre, corner]), axis=0)
        size = box[1] - box[0]
        if (size > 0.25 * (high - low).min()).all():
            gap = np.minimum(GAP, 0.15 * size)
            boxes.append(box + np.array([gap, -gap]))
    if not boxes:
        boxes = [np.array([centre, centre])]
    while len(boxes) < count:
        largest = max(range(len(boxes)), key=lambda k: float(np.ptp(boxes[k], axis=0)[1]))
        box = boxes.pop(largest)
        middle = box.mean(axis=0)[1]
        upper, lower = box.copy(), box.copy()
        upper[0, 1], lower[1, 1] = middle, middle
        boxes[largest:largest] = [upper, lower]
    return boxes[:count]


def _block(rows: Sequence[str], box, outline) -> Drawing:
    """Rows of words as large as the box lets them be; beside the outline where that is small."""
    width, height = box[1] - box[0]
    longest = max(len(row) for row in rows)
    size = min(MOST, width / (_LETTER * longest), height / (1.7 * len(rows)))
    left, top = box[0, 0], box[1, 1]
    if size < SMALL:
        size, left, top = LEAST, outline[:, 0].min(), outline[:, 1].min() - ROUND - 2.0
    places = [[left, top - size * (1.0 + 1.7 * k)] for k in range(len(rows))]
    return Drawing(
        words=tuple(Words(row, place, size) for row, place in zip(rows, places, strict=True))
    )


def arrow(direction, label: str, box) -> Drawing:
    """An arrow with its name under it, in a box (2, 2) mm."""
    box = np.asarray(box, dtype=float)
    width, height = box[1] - box[0]
    size = min(3.0, width / (_LETTER * len(label)), 0.35 * height)
    middle = box.mean(axis=0) + np.array([0.0, 0.8 * size])
    room = np.array([width, height - 2.6 * size])
    half = 0.45 * min(room / np.maximum(np.abs(direction), 1e-9))
    half = min(18.0, max(half, 1.0))
    tip, tail = middle + half * direction, middle - half * direction
    side = np.array([-direction[1], direction[0]])
    barb = min(4.0, half)
    head = [tip - barb * direction + s * 0.4 * barb * side for s in (1.0, -1.0)]
    lines = (Line("AXES", [tail, tip]), Line("AXES", [head[0], tip, head[1]]))
    foot = min(tip[1], tail[1], *(h[1] for h in head)) - 1.6 * size
    place = [middle[0], foot]
    return Drawing(lines, (Words(label, place, size, "center", "AXES"),) if size >= 0.8 else ())


def _broken(text: str, most: int) -> list[str]:
    """A text in rows of at most so many letters."""
    from textwrap import wrap

    return wrap(text, most) or [""]
