"""The page's section on pressure along the body: a small picture, and links to the sharp sheets.

The picture is drawn here with few, rounded numbers, since the page holds many pictures already.
"""

from __future__ import annotations

import re
from html import escape
from urllib.parse import quote

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.report.contents import RunContents, in_pascal
from panelcp.report.cut_air import CutAir, CutSide
from panelcp.report.cut_points import cut_openings
from panelcp.report.hatching import SEPARATION_LEGEND
from panelcp.report.places import shown_openings
from panelcp.report.section_plots import BAND_HOLDS
from panelcp.report.section_sheets import (
    centre_line_air,
    landmarks,
    last_shown_station,
    shown_conditions,
)
from panelcp.report.sections import PageParts
from panelcp.report.sheets import hatch_levels

CUTS_STYLE = """
.cuts { --top:#0a6b86; --low:#b4480c } .cuts svg { display:block; width:100%; max-width:760px;
  height:auto } .cuts text { fill:var(--ink); font-size:12px }
.cuts .grid { stroke:var(--line); stroke-width:1; fill:none } .cuts .zero { stroke:var(--ink);
  stroke-width:2 } .cuts .mark { stroke:var(--soft); stroke-dasharray:6 3 }
.cuts .tick { stroke:var(--soft) }
.cuts path { fill:none; stroke-width:2.4 } .cuts .top { stroke:var(--top) }
.cuts .low { stroke:var(--low); stroke-dasharray:9 4 } .cuts polygon { opacity:.2 }
.cuts .top-band { fill:var(--top) } .cuts .low-band { fill:var(--low) }
.cuts .hatched { opacity:.9 } .cuts .cut { stroke:var(--ink); stroke-width:1.6 }
.cuts text.top { fill:var(--top); stroke:none; font-weight:700 }
.cuts text.low { fill:var(--low); stroke:none; font-weight:700 }
@media (prefers-color-scheme: dark) { .cuts { --top:#6fc3dc; --low:#f0935a } }
"""

METRES_PER_INCH = 0.0254

_WIDTH, _HEIGHT = 720.0, 346.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 708.0, 30.0, 290.0
_TOLERANCE = 0.5
"""Pixels; points of a line that lie nearer to the straight way between others are left out."""


def cuts_section(parts: PageParts) -> str:
    """HTML of the section; "" where no condition has moving air.

    Parameters
    ----------
    parts : PageParts; its `cuts` are the sheets as `write_section_sheets` returns them
    """
    contents, sheets = parts.contents, parts.cuts
    numbers = shown_conditions(contents)
    if not numbers:
        return ""
    links = "".join(
        f"<li>{escape(name)}: {_link(path.with_suffix('.svg').name, 'SVG')}, "
        f"{_link(path.name, 'PNG')}</li>"
        for name, _, path in sheets
    )
    files = f"<ul>{links}<li>{_link('sections.csv', 'All numbers')}</li></ul>" if sheets else ""
    try:
        picture = _Picture(contents, centre_line_air(contents), numbers[0])
    except SurfaceError as error:
        return f"<p>No centre line: {escape(str(error))}.</p>{files}"
    hatched = f" {picture.hatch_words}" if picture.hatch_words else ""
    return (
        f'<figure class="cuts">{picture.svg()}<figcaption>{escape(picture.caption)}'
        f"{escape(hatched)} {escape(BAND_HOLDS)}</figcaption></figure>{files}"
    )


def _link(name: str, words: str) -> str:
    return f'<a href="{quote(f"sections/{name}")}">{escape(words)}</a>'


class _Picture:
    """The centre line in one condition as a small SVG."""

    def __init__(self, contents: RunContents, air: CutAir, number: int):
        self.contents, self.air, self.number = contents, air, number
        self.condition = air.conditions[number]
        self.pascal = in_pascal(self.condition)
        self.unit = 1.0 if self.pascal else self.condition.dynamic_pressure
        self.first = float(contents.flow.surface.bounds[0, 0])
        self.last = last_shown_station(contents)
        shown = [self._values(side) for side in air.sides]
        every = np.concatenate([v for y, spread in shown for v in (y - spread, y + spread)])
        low, high = np.quantile(every, [0.01, 0.99])
        self.low, self.high = min(low, 0.0), max(high, 0.0)
        levels = [hatch_levels(side.state[number]) for side in air.sides if side.state is not None]
        self.levels = {int(level) for part in levels for level in np.unique(part)} - {0}

    def _inside(self, side: CutSide) -> np.ndarray:
        return side.along <= self.last + 1e-9

    def _values(self, side: CutSide) -> tuple[np.ndarray, np.ndarray]:
        keep = self._inside(side)
        return tuple(p[self.number][keep] / self.unit for p in (side.pressure, side.deviation))

    @property
    def hatch_words(self) -> str:
        """What hatches mean; "" without any."""
        words = [words for level, words in SEPARATION_LEGEND if level in self.levels]
        return f"Hatched: {', or '.join(words)}." if words else ""

    @property
    def caption(self) -> str:
        """What the picture shows, with the least value of both sides."""
        what = "Pressure in Pa" if self.pascal else "Cp"
        ends = []
        for side in self.air.sides[:2]:
            y, station = self._values(side)[0], side.along[self._inside(side)]
            k = int(y.argmin())
            value = f"{y[k]:.0f} Pa" if self.pascal else f"{y[k]:.2f}"
            ends.append(f"{side.name} {value} at STA {1e3 * station[k]:.0f} mm")
        text = (
            f"{what} along the centre line in {self.condition.name}, against the station in mm; "
            f"suction is up. Lowest: {', '.join(ends)}."
        )
        return _minus(text)

    # --- drawing ---

    def _x(self, station):
        return _LEFT + (np.asarray(station) - self.first) / (self.last - self.first) * (
            _RIGHT - _LEFT
        )

    def _y(self, value):
        room = 0.05 * (self.high - self.low)
        share = (np.asarray(value) - self.low + room) / (self.high - self.low + 2.0 * room)
        return np.clip(_TOP + share * (_BOTTOM - _TOP), _TOP, _BOTTOM)

    def svg(self) -> str:
        """The picture."""
        parts = [self._frame(), *(self._band(side) for side in self.air.sides)]
        parts += [self._line(side) for side in self.air.sides]
        parts += [self._names(), self._openings(), self._landmarks()]
        return (
            f'<svg viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img">'
            f"<title>{escape(self.caption)}</title>{''.join(parts)}</svg>"
        )

    def _frame(self) -> str:
        rows = [
            '<defs><pattern id="cut-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><line y2="6" stroke="currentColor" stroke-width="1.6"/>'
            "</pattern></defs>"
        ]
        for value in _ticks(self.low, self.high):
            y = self._y(value)
            kind = "zero" if value == 0.0 else "grid"
            rows.append(
                f'<line class="{kind}" x1="{_LEFT:.0f}" x2="{_RIGHT:.0f}" y1="{y:.1f}" '
                f'y2="{y:.1f}"/><text x="{_LEFT - 6:.0f}" y="{y + 4:.0f}" text-anchor="end">'
                f"{_minus(f'{value:g}')}</text>"
            )
        for station in _ticks(1e3 * self.first, 1e3 * self.last):
            x = self._x(1e-3 * station)
            rows.append(
                f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP:.0f}" y2="{_BOTTOM:.0f}"/>'
                f'<text x="{x:.0f}" y="{_BOTTOM + 16:.0f}" text-anchor="middle">'
                f"{_minus(f'{station:.0f}')}</text>"
            )
        rows += self._inches()
        unit = "Pa" if self.pascal else "Cp"
        rows.append(f'<text x="4" y="16">{unit}, suction up</text>')
        rows.append(
            f'<text x="{_RIGHT:.0f}" y="{_HEIGHT - 6:.0f}" text-anchor="end">'
            "Station, mm and in</text>"
        )
        return "".join(rows)

    def _inches(self) -> list[str]:
        """A second row of numbers, and the units of both."""
        rows = [
            f'<text x="{_LEFT - 14:.0f}" y="{_BOTTOM + down:.0f}" text-anchor="end">{unit}</text>'
            for unit, down in (("mm", 16.0), ("in", 32.0))
        ]
        for station in _ticks(self.first / METRES_PER_INCH, self.last / METRES_PER_INCH):
            x = self._x(METRES_PER_INCH * station)
            rows.append(
                f'<path class="tick" d="M{x:.1f} {_BOTTOM - 4:.0f}v4"/><text x="{x:.0f}" '
                f'y="{_BOTTOM + 32:.0f}" text-anchor="middle">{_minus(f"{station:g}")}</text>'
            )
        return rows

    def _class(self, side: CutSide) -> str:
        return "top" if side.name == "top" else "low"

    def _band(self, side: CutSide) -> str:
        (y, spread), x = self._values(side), side.along[self._inside(side)]
        shape = _polygon(self._x(x), self._y(y - spread), self._y(y + spread))
        text = f'<polygon class="{self._class(side)}-band" points="{shape}"/>'
        if side.state is None:
            return text
        levels = hatch_levels(side.state[self.number])[self._inside(side)]
        for first, last in _runs(levels > 0):
            last = min(last + 1, len(x))
            if last - first > 1:
                piece = slice(first, last)
                ends = (self._y((y - spread)[piece]), self._y((y + spread)[piece]))
                shape = _polygon(self._x(x[piece]), *ends)
                text += f'<polygon class="hatched" fill="url(#cut-hatch)" points="{shape}"/>'
        return text

    def _line(self, side: CutSide) -> str:
        y, x = self._values(side)[0], side.along[self._inside(side)]
        points = simplified(np.stack([self._x(x), self._y(y)], axis=1), _TOLERANCE)
        return f'<path class="{self._class(side)}" d="M{_places(points)}"/>'

    def _names(self) -> str:
        """Words where both lines are far from each other."""
        pair = self.air.sides[:2]
        if len(pair) < 2:
            return ""
        grid = np.linspace(self.first, self.last, 61)[6:-6]
        rows = []
        for side in pair:
            x, y = side.along[self._inside(side)], self._y(self._values(side)[0])
            order = np.argsort(x, kind="stable")
            rows.append(np.interp(grid, x[order], y[order]))
        gap = np.abs(rows[0] - rows[1])
        room = np.min([np.roll(gap, turn) for turn in (-2, -1, 0, 1, 2)], axis=0)
        k = 2 + int(room[2:-2].argmax())
        text = ""
        for side, row, other in zip(pair, rows, rows[::-1], strict=True):
            y = row[k] - 8.0 if row[k] < other[k] else row[k] + 18.0
            text += (
                f'<text class="{self._class(side)}" x="{self._x(grid[k]):.0f}" y="{y:.0f}" '
                f'text-anchor="middle">{side.name}</text>'
            )
        return text

    def _openings(self) -> str:
        """Brackets of the openings: at the upper edge, those of the bottom at the lower one."""
        text = ""
        for opening in cut_openings(self.air, shown_openings(self.contents)):
            side = self.air.sides[opening.side]
            ends = [self.air.along_at(side, arc) for arc in (opening.first, opening.last)]
            first, last = self._x(np.clip(sorted(ends), self.first, self.last))
            if last - first < 1.0:
                continue
            y, step = (_TOP + 3.0, 5.0) if side.name == "top" else (_BOTTOM - 3.0, -5.0)
            middle = float(np.clip(0.5 * (first + last), _LEFT + 40.0, _RIGHT - 40.0))
            text += (
                f'<path class="cut" d="M{first:.0f} {y + step:.0f}V{y:.0f}H{last:.0f}v{step:.0f}"/>'
                f'<text x="{middle:.0f}" y="{y + 3.0 * step + (4.0 if step > 0 else 5.0):.0f}" '
                f'text-anchor="middle">{escape(opening.name)}</text>'
            )
        return text

    def _landmarks(self) -> str:
        text, row = "", 0
        for name, station in landmarks(self.contents):
            if self.first < station < self.last:
                x, y = self._x(station), _TOP - 16.0 + 12.0 * row
                text += (
                    f'<line class="mark" x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP:.0f}" '
                    f'y2="{_BOTTOM:.0f}"/><text x="{x - 4.0:.0f}" y="{y:.0f}" '
                    f'text-anchor="end">{escape(name)}</text>'
                )
                row = 1 - row
        return text


def simplified(points, tolerance: float) -> np.ndarray:
    """Points of a line without those that lie within a tolerance of the straight way past them.

    Parameters
    ----------
    points : (n, 2) float
    tolerance : float

    Returns
    -------
    (m, 2) float, the first and last among them

    Examples
    --------
    >>> simplified([[0, 0], [1, 0.1], [2, 0], [3, 5]], 0.5).tolist()
    [[0.0, 0.0], [2.0, 0.0], [3.0, 5.0]]
    """
    points = np.asarray(points, dtype=float)
    kept, open_parts = {0, len(points) - 1}, [(0, len(points) - 1)]
    while open_parts:
        first, last = open_parts.pop()
        if last - first < 2:
            continue
        way = points[last] - points[first]
        offset = points[first + 1 : last] - points[first]
        length = max(float(way @ way), 1e-12)
        share = np.clip(offset @ way / length, 0.0, 1.0)
        gap = np.linalg.norm(offset - share[:, None] * way, axis=1)
        k = int(gap.argmax())
        if gap[k] > tolerance:
            middle = first + 1 + k
            kept.add(middle)
            open_parts += [(first, middle), (middle, last)]
    return points[sorted(kept)]


def _polygon(x, low, high) -> str:
    """Points between two lines over the same places."""
    edges = [simplified(np.stack([x, y], axis=1), _TOLERANCE) for y in (low, high)]
    return _places(np.vstack([edges[0], edges[1][::-1]]))


def _places(points) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points).replace(".0", "")


def _runs(flags) -> list[tuple[int, int]]:
    """First and one past the last of every run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(flags, dtype=int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _ticks(low: float, high: float, most: int = 8) -> np.ndarray:
    """Round numbers between two, zero among them where it lies between."""
    rough = (high - low) / most
    base = 10.0 ** np.floor(np.log10(max(rough, 1e-12)))
    step = base * next(f for f in (1.0, 2.0, 2.5, 5.0, 10.0) if f * base >= rough - 1e-12)
    return step * np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) + 0.0


def _minus(text: str) -> str:
    """A minus that is as wide as a plus, before numbers only."""
    return re.sub(r"(?<![\w-])-(?=\d)", "\u2212", text)
