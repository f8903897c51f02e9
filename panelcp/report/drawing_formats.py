"""A drawing in millimetres, and how it is written as DXF and as SVG."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

import numpy as np

from panelcp.surface.mesh import frozen_array

LAYERS = {"OUTLINE": 1, "AXES": 5, "GRID": 9, "TEXT": 7}
"""Layers of a drawing and the number of their colour in DXF: red, blue, light grey, black."""

COLOURS = {"OUTLINE": "#b0180f", "AXES": "#1f4e8c", "GRID": "#b9c0c4", "TEXT": "#1d2326"}
WIDTHS = {"OUTLINE": 0.35, "AXES": 0.2, "GRID": 0.1, "TEXT": 0.15}
"""mm, of lines."""

DASHES = {"solid": (), "dashed": (3.0, 1.5), "chain": (6.0, 1.2, 0.8, 1.2)}
"""mm, drawn and left out in turn."""

BORDER = 10.0
"""mm, of white round an SVG."""


@dataclass(frozen=True, eq=False)
class Line:
    """A line of straight pieces.

    Attributes
    ----------
    layer : one of LAYERS
    points : (n, 2) float, mm, y up
    style : one of DASHES
    closed : whether the last point is joined to the first
    """

    layer: str
    points: np.ndarray
    style: str = "solid"
    closed: bool = False

    def __post_init__(self):
        object.__setattr__(self, "points", frozen_array(self.points))


@dataclass(frozen=True, eq=False)
class Words:
    """One line of text.

    Attributes
    ----------
    text : str
    place : (2,) float, mm, y up, of the left, middle or right of its foot
    height : mm, of a capital letter
    align : "left", "center" or "right"
    layer : one of LAYERS
    """

    text: str
    place: np.ndarray
    height: float = 3.0
    align: str = "left"
    layer: str = "TEXT"

    def __post_init__(self):
        object.__setattr__(self, "place", frozen_array(self.place))


@dataclass(frozen=True, eq=False)
class Drawing:
    """Lines and words at true size, mm."""

    lines: tuple[Line, ...] = ()
    words: tuple[Words, ...] = ()

    def joined(self, *others: Drawing) -> Drawing:
        """This drawing with others on top."""
        return Drawing(
            sum((d.lines for d in others), self.lines), sum((d.words for d in others), self.words)
        )

    def moved(self, by) -> Drawing:
        """Copy moved by (2,) mm."""
        by = np.asarray(by, dtype=float)
        lines = (Line(p.layer, p.points + by, p.style, p.closed) for p in self.lines)
        words = (Words(w.text, w.place + by, w.height, w.align, w.layer) for w in self.words)
        return Drawing(tuple(lines), tuple(words))

    @property
    def bounds(self) -> np.ndarray:
        """(2, 2) float, mm: least and greatest place of lines, and of words by a rough width."""
        points = [line.points for line in self.lines]
        for words in self.words:
            width = 0.85 * words.height * len(words.text)
            shift = {"left": 0.0, "center": 0.5, "right": 1.0}[words.align] * width
            left = words.place - [shift, 0.3 * words.height]
            points.append(np.array([left, left + np.array([width, 1.3 * words.height])]))
        points = np.concatenate(points)
        return np.array([points.min(axis=0), points.max(axis=0)])


def dxf_text(drawing: Drawing, title: str) -> str:
    """A drawing as an ASCII DXF of release 12, lengths in mm.

    Parameters
    ----------
    drawing : Drawing
    title : stands in a comment at its head

    Notes
    -----
    Only what that release knows: LINE, POLYLINE, TEXT, layers by name. `$INSUNITS` (4: mm) is
    younger; readers that do not know it pass over it.
    """
    pairs: list[tuple[int, object]] = [(999, _ascii(title)), (999, "lengths in mm, true size")]
    low, high = drawing.bounds
    pairs += [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009")]
    pairs += [(9, "$INSUNITS"), (70, 4)]
    for name, corner in (("$EXTMIN", low), ("$EXTMAX", high)):
        pairs += [(9, name), (10, float(corner[0])), (20, float(corner[1])), (30, 0.0)]
    pairs += [(0, "ENDSEC"), (0, "SECTION"), (2, "TABLES"), *_line_types(), *_layers()]
    pairs += [(0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for line in drawing.lines:
        pairs += _dxf_line(line)
    for words in drawing.words:
        pairs += _dxf_words(words)
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:>3}\n{_dxf_value(value)}\n" for code, value in pairs)


def _dxf_value(value) -> str:
    return f"{value + 0.0:.5f}" if isinstance(value, float) else str(value)


def _line_types() -> list[tuple[int, object]]:
    pairs: list[tuple[int, object]] = [(0, "TABLE"), (2, "LTYPE"), (70, len(DASHES))]
    for style, dashes in DASHES.items():
        pairs += [(0, "LTYPE"), (2, _line_type(style)), (70, 0), (3, style), (72, 65)]
        pairs += [(73, len(dashes)), (40, float(sum(dashes)))]
        pairs += [(49, (-1.0) ** k * dash) for k, dash in enumerate(dashes)]
    return [*pairs, (0, "ENDTAB")]


def _line_type(style: str) -> str:
    return "CONTINUOUS" if style == "solid" else style.upper()


def _layers() -> list[tuple[int, object]]:
    pairs: list[tuple[int, object]] = [(0, "TABLE"), (2, "LAYER"), (70, len(LAYERS))]
    for name, colour in LAYERS.items():
        pairs += [(0, "LAYER"), (2, name), (70, 0), (62, colour), (6, "CONTINUOUS")]
    return [*pairs, (0, "ENDTAB")]


def _dxf_line(line: Line) -> list[tuple[int, object]]:
    kind = _line_type(line.style)
    points = [(float(x), float(y)) for x, y in line.points]
    if len(points) == 2 and not line.closed:
        (x, y), (u, v) = points
        ends = [(10, x), (20, y), (30, 0.0), (11, u), (21, v), (31, 0.0)]
        return [(0, "LINE"), (8, line.layer), (6, kind), *ends]
    pairs: list[tuple[int, object]] = [(0, "POLYLINE"), (8, line.layer), (6, kind), (66, 1)]
    pairs += [(10, 0.0), (20, 0.0), (30, 0.0), (70, int(line.closed))]
    for x, y in points:
        pairs += [(0, "VERTEX"), (8, line.layer), (10, x), (20, y), (30, 0.0)]
    return [*pairs, (0, "SEQEND"), (8, line.layer)]


def _dxf_words(words: Words) -> list[tuple[int, object]]:
    x, y = (float(value) for value in words.place)
    pairs: list[tuple[int, object]] = [(0, "TEXT"), (8, words.layer), (10, x), (20, y), (30, 0.0)]
    pairs += [(40, float(words.height)), (1, _ascii(words.text))]
    side = {"left": 0, "center": 1, "right": 2}[words.align]
    return [*pairs, (72, side), (11, x), (21, y), (31, 0.0)] if side else pairs


def _ascii(text: str) -> str:
    r"""Text of one line in ASCII, other letters as their number.

    Examples
    --------
    >>> _ascii("Größe")
    'Gr\\U+00F6\\U+00DFe'
    """
    letters = (c if " " <= c <= "~" else f"\\U+{ord(c):04X}" for c in " ".join(text.split()))
    return "".join(letters)


def svg_text(drawing: Drawing, title: str) -> str:
    """A drawing as an SVG whose lengths are millimetres.

    Parameters
    ----------
    drawing : Drawing
    title : of the picture
    """
    low, high = drawing.bounds
    width, height = high - low + 2.0 * BORDER
    left, top = low[0] - BORDER, -high[1] - BORDER
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.4f}mm" height="{height:.4f}mm" '
        f'viewBox="{left:.4f} {top:.4f} {width:.4f} {height:.4f}">',
        f"<title>{escape(title)}</title>",
        f'<rect x="{left:.4f}" y="{top:.4f}" width="{width:.4f}" height="{height:.4f}" '
        'fill="white"/>',
    ]
    for layer in ("GRID", "AXES", "OUTLINE", "TEXT"):
        rows.append(
            f'<g id="{layer}" fill="none" stroke="{COLOURS[layer]}" '
            f'stroke-width="{WIDTHS[layer]:g}">'
        )
        rows += _svg_lines(line for line in drawing.lines if line.layer == layer)
        rows.append("</g>")
    rows.append('<g id="WORDS" font-family="sans-serif">')
    rows += [_svg_words(words) for words in drawing.words]
    return "\n".join([*rows, "</g>", "</svg>", ""])


def _svg_lines(lines: Iterable[Line]) -> list[str]:
    rows = []
    for line in lines:
        kind = "polygon" if line.closed else "polyline"
        points = " ".join(f"{x + 0.0:.4f},{-y + 0.0:.4f}" for x, y in line.points)
        dashes = " ".join(f"{dash:g}" for dash in DASHES[line.style])
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        rows.append(f'<{kind} points="{points}"{dashed}/>')
    return rows


def _svg_words(words: Words) -> str:
    anchor = {"left": "start", "center": "middle", "right": "end"}[words.align]
    x, y = words.place[0] + 0.0, -words.place[1] + 0.0
    # a capital letter is about 0.72 of the size of a font
    return (
        f'<text x="{x:.4f}" y="{y:.4f}" font-size="{words.height / 0.72:.3f}" '
        f'text-anchor="{anchor}" fill="{COLOURS[words.layer]}">{escape(words.text)}</text>'
    )
