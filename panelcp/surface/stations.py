"""Station tables, read and lofted: from ruler offsets to a closed surface.

A station table is a text file with one row per measured point: the name of the station, then
x, y and z with the unit in the heading. Only the right half is measured, each station from the
bottom centre line round the side to the top centre line:

    station,x_mm,y_mm,z_mm
    nose,0,0,0
    firewall,1150,0,-500
    firewall,1150,460,-120
    firewall,1150,0,310
    ...

A first or last station of a single point closes the body there. A column `corner` is optional:
"yes" marks a point where the section has a corner (or a single point that is a sharp tip), "ring"
at any point of a station that the body has an edge all round it, as behind a spinner.
"""

from __future__ import annotations

import csv
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicHermiteSpline, CubicSpline, PPoly

from panelcp.errors import SurfaceError
from panelcp.surface._rings import join_rings, turned_edges
from panelcp.surface.mesh import SurfaceMesh, frozen_array, mirrored_whole

_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
_FARTHEST = 1e4  # m, of any coordinate
_MARKS = {"": "", "no": "", "yes": "yes", "ring": "ring"}
_EXAMPLE = "station,x_mm,y_mm,z_mm"
_ORDER_HINT = "list each station from the bottom centre line round the right side to the top"

_ALONG_SECTION = 512  # steps of each section curve from bottom to top
_PER_SPAN = 40  # steps between neighbouring stations where curvature is looked at
_TURN_PER_PANEL = 0.30  # radians that the surface may turn from one panel to the next
_GROWTH = 0.25  # greatest growth of the panel length per length travelled
_TIP_PANELS = 3  # panels of the half ring round a closed end
_FOLD = np.radians(150.0)  # neighbouring panels turned further than this have folded over


@dataclass(frozen=True, eq=False)
class StationTable:
    """Measured sections of the right half of a body, from nose to tail.

    Attributes
    ----------
    names : names of the stations
    sections : per station (n_points, 3) float, m, body axes, from the bottom centre line
        (y = 0) round the right side (y > 0) to the top centre line (y = 0); the first and the
        last station may be a single point on y = 0
    corners : per station (n_points,) bool, true where the section has a corner, or a tip is
        sharp; all false when not given
    edges : (n_stations,) bool, true where the body has an edge all round; all false when not
        given
    source : where the table came from, named in messages

    Raises
    ------
    SurfaceError : fewer than three stations, stations not in order of x, a section with
        fewer than three points, points left of the centre line, ends that are not on it,
        points given twice, a section that crosses itself

    Examples
    --------
    >>> half = [[1.0, 0.0, -0.4], [1.0, 0.5, 0.0], [1.0, 0.0, 0.4]]
    >>> table = StationTable(["nose", "middle", "tail"], [[[0, 0, 0]], half, [[2, 0, 0]]])
    >>> table.n_stations, table.n_points
    (3, 5)
    """

    names: Sequence[str]
    sections: Sequence[np.ndarray]
    corners: Sequence[np.ndarray] | None = None
    edges: np.ndarray | None = None
    source: str = "station table"

    def __post_init__(self):
        sections = tuple(frozen_array(section) for section in self.sections)
        corners = self.corners
        if corners is None:
            corners = [np.zeros(len(section), dtype=bool) for section in sections]
        edges = np.zeros(len(sections), dtype=bool) if self.edges is None else self.edges
        object.__setattr__(self, "edges", frozen_array(edges, bool))
        object.__setattr__(self, "names", tuple(str(name) for name in self.names))
        object.__setattr__(self, "sections", sections)
        object.__setattr__(self, "corners", tuple(frozen_array(c, bool) for c in corners))
        _check_shapes(self)
        for index in range(len(sections)):
            _check_section(self, index)
        _check_order(self)

    @property
    def n_stations(self) -> int:
        """Number of stations."""
        return len(self.sections)

    @property
    def n_points(self) -> int:
        """Number of measured points."""
        return sum(len(section) for section in self.sections)


def read_stations(path) -> StationTable:
    """Read a station table.

    Parameters
    ----------
    path : UTF-8 text file, comma separated, with a heading such as `station,x_mm,y_mm,z_mm`;
        units mm, cm, m, in, ft; `corner` is an optional further column; empty lines and lines
        that begin with # are passed over

    Raises
    ------
    SurfaceError : a column that is missing or has no known unit, a text where a number
        belongs (with its row), a station in two places, and all that `StationTable` refuses
    """
    path = Path(path)
    rows = _rows(path)
    heading_row, heading = rows[0]
    columns, scales = _columns(path, heading_row, heading)
    names, sections, marks = [], [], []
    for row, fields in rows[1:]:
        name, point, mark = _point(path, row, fields, columns, scales)
        if not names or name != names[-1]:
            if name in names:
                raise SurfaceError(
                    f"{path.name}, row {row}: station {name!r} appears in two places; put all "
                    "points of one station in neighbouring rows, or give it another name"
                )
            names.append(name)
            sections.append([])
            marks.append([])
        sections[-1].append(point)
        marks[-1].append(mark)
    corners = [[mark == "yes" for mark in station] for station in marks]
    edges = ["ring" in station for station in marks]
    return StationTable(names, sections, corners, edges, path.name)


def loft_stations(
    table: StationTable,
    panel_length: float = 0.06,
    finest: float = 0.3,
    aft: float = 2.0,
) -> SurfaceMesh:
    """Smooth closed surface through the sections of a station table.

    Parameters
    ----------
    table : StationTable
    panel_length : float, m, length of panels on the flatter parts of the forward third
    finest : shortest panels, round tight curves and at the tips, as a fraction of `panel_length`
    aft : longest panels of the last third as a multiple of `panel_length`; the length grows
        evenly over the middle third

    Returns
    -------
    SurfaceMesh, m, whole and `mirrored`. A first or last station that is not a single point is
        closed by a flat face; regions then name "front face" and "rear face".

    Raises
    ------
    SurfaceError : lengths that are not positive, a section whose smooth curve crosses the
        centre line, a surface that folds over itself

    Notes
    -----
    Each section is a cubic spline over chord length, continued through its mirror image, so
    that it crosses the centre line square unless a corner is marked there. Points at equal
    fractions of the length of the sections (between corners, where all sections have equally
    many) are joined lengthwise by cubic curves whose slopes are those of a cubic spline,
    limited so that no curve rises above or falls below its neighbouring sections. Source of
    the limit: F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM
    Journal on Numerical Analysis 17, 1980 (from memory). A tip is rounded by continuing the
    lengthwise curves through it.
    """
    if not (panel_length > 0 and 0 < finest <= 1 and aft > 0):
        raise SurfaceError(
            f"panel_length {panel_length}, finest {finest} and aft {aft} must be positive, and "
            "finest not above 1"
        )
    skin = _Skin.through(table)
    positions, lengths = _ring_positions(skin, panel_length, finest, aft)
    rings = [
        _ring(skin, position, length, finest * panel_length)
        for position, length in zip(positions, lengths, strict=True)
    ]
    points, triangles, strip = join_rings(rings)
    middle = 0.5 * (positions[1:] + positions[:-1])[strip]
    face = (middle > skin.span).astype(int) - (middle < 0.0)
    surface = mirrored_whole(points, turned_edges(points, triangles, face))
    _check_folds(surface, table.source)
    return _with_faces(surface, face)


# --- reading ---------------------------------------------------------------------------------


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    """Row numbers and fields of all rows that hold something; the heading first."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise SurfaceError(f"cannot read {path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise SurfaceError(
            f"{path.name} is not UTF-8 text (byte {error.start}); save the table as "
            "comma-separated UTF-8"
        ) from error
    delimiter = _delimiter(text)
    reader = csv.reader(text.splitlines(), delimiter=delimiter)
    rows = [(reader.line_num, [field.strip() for field in fields]) for fields in reader]
    rows = [row for row in rows if any(row[1]) and not row[1][0].startswith("#")]
    if not rows:
        raise SurfaceError(f"{path.name} is empty; expected the heading {_EXAMPLE}")
    return rows


def _delimiter(text: str) -> str:
    """Comma, or the semicolon that spreadsheets write where the comma marks decimals."""
    lines = (line for line in text.splitlines() if line.strip() and not line.startswith("#"))
    heading = next(lines, "")
    return ";" if ";" in heading and "," not in heading else ","


def _columns(path: Path, row: int, heading: list[str]) -> tuple[dict[str, int], np.ndarray]:
    """Place of each column, and metres per unit of x, y and z."""
    columns, units = {}, {}
    for place, title in enumerate(heading):
        name, _, unit = title.lower().partition("_")
        if name in columns:
            raise SurfaceError(f"{path.name}, row {row}: two columns are called {name!r}")
        columns[name], units[name] = place, unit
    missing = [name for name in ("station", "x", "y", "z") if name not in columns]
    if missing:
        raise SurfaceError(
            f"{path.name}, row {row}: no column {', '.join(missing)} in {', '.join(heading)}; "
            f"expected a heading such as {_EXAMPLE}"
        )
    unknown = [name for name in "xyz" if units[name] not in _METRES]
    if unknown:
        raise SurfaceError(
            f"{path.name}, row {row}: column {heading[columns[unknown[0]]]!r} names no known "
            f"unit; expected a heading such as {_EXAMPLE} (units: {', '.join(_METRES)})"
        )
    return columns, np.array([_METRES[units[name]] for name in "xyz"])


def _point(path: Path, row: int, fields: list[str], columns: dict[str, int], scales: np.ndarray):
    """Station name, point (m) and corner mark of one row."""
    needed = max(columns[name] for name in ("station", "x", "y", "z"))
    if len(fields) <= needed:
        raise SurfaceError(
            f"{path.name}, row {row}: {len(fields)} fields; expected at least {needed + 1}"
        )
    name = fields[columns["station"]]
    if not name:
        raise SurfaceError(f"{path.name}, row {row}: the station has no name")
    values = [_number(path, row, axis, fields[columns[axis]]) for axis in "xyz"]
    place = columns.get("corner", len(fields))
    mark = fields[place].lower() if place < len(fields) else ""
    if mark not in _MARKS:
        raise SurfaceError(
            f"{path.name}, row {row}: corner is {mark!r}; expected yes, ring or nothing"
        )
    point = np.array(values) * scales
    if np.abs(point).max() > _FARTHEST:
        axis = "xyz"[int(np.argmax(np.abs(point)))]
        raise SurfaceError(
            f"{path.name}, row {row}: {axis} is {np.abs(point).max():.3g} m, which is not "
            f"believable (at most {_FARTHEST:g} m); check the number and its unit"
        )
    return name, point, _MARKS[mark]


def _number(path: Path, row: int, axis: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        hint = "; use a point as the decimal sign" if "," in text else ""
        raise SurfaceError(
            f"{path.name}, row {row}: {axis} is {text!r}; expected a number{hint}"
        ) from None
    if not np.isfinite(value):
        raise SurfaceError(f"{path.name}, row {row}: {axis} is {text!r}; expected a finite number")
    return value


# --- checks of the table -----------------------------------------------------------------------


def _check_shapes(table: StationTable):
    n = len(table.sections)
    if not len(table.names) == len(table.corners) == n or table.edges.shape != (n,):
        raise SurfaceError(
            f"{len(table.names)} names, {n} sections, {len(table.corners)} rows of corner marks "
            f"and edges of shape {table.edges.shape}; expected equally many"
        )
    for name, section, corner in zip(table.names, table.sections, table.corners, strict=True):
        if section.ndim != 2 or section.shape[1] != 3 or corner.shape != section.shape[:1]:
            raise SurfaceError(
                f"station {name!r} has points of shape {section.shape} and corners of shape "
                f"{corner.shape}; expected (n_points, 3) and (n_points,)"
            )
        if not np.isfinite(section).all():
            raise SurfaceError(f"station {name!r} has points that are not finite numbers")
    if n < 3:
        raise SurfaceError(
            f"{table.source}: {n} station{'s' * (n != 1)}; at least 3 are needed to loft a body"
        )


def _check_section(table: StationTable, index: int):
    points, where = table.sections[index], f"{table.source}, station {table.names[index]!r}"
    if (points[:, 1] < 0).any():
        first = np.flatnonzero(points[:, 1] < 0)[0]
        raise SurfaceError(
            f"{where}: {np.count_nonzero(points[:, 1] < 0)} points have y below 0 (first: point "
            f"{first + 1}, y = {points[first, 1]:g} m); give the right half only, y >= 0"
        )
    if len(points) < 3 and not (len(points) == 1 and index in (0, table.n_stations - 1)):
        raise SurfaceError(
            f"{where}: {len(points)} points; expected at least 3, or a single point at the "
            "first or last station"
        )
    if points[0, 1] != 0 or points[-1, 1] != 0:
        end = "starts" if points[0, 1] != 0 else "ends"
        at = points[0 if end == "starts" else -1]
        raise SurfaceError(f"{where} {end} at y = {at[1]:g} m; expected y = 0. {_ORDER_HINT}")
    if len(points) > 1:
        _check_outline(points, where)


def _check_outline(points: np.ndarray, where: str):
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if (steps == 0).any():
        first = np.flatnonzero(steps == 0)[0] + 1
        raise SurfaceError(f"{where}: points {first} and {first + 1} are the same; delete one")
    if (points[1:-1, 1] == 0).any():
        inner = np.flatnonzero(points[1:-1, 1] == 0)[0] + 2
        raise SurfaceError(
            f"{where}: point {inner} lies on the centre line between bottom and top; only the "
            "first and the last point may"
        )
    if points[0, 2] >= points[-1, 2]:
        raise SurfaceError(
            f"{where}: the first point is not below the last (z {points[0, 2]:g} m and "
            f"{points[-1, 2]:g} m). {_ORDER_HINT}"
        )
    crossing = _crossing(points[:, 1:])
    if crossing is not None:
        raise SurfaceError(
            f"{where} crosses itself: the line from point {crossing[0] + 1} meets the line from "
            f"point {crossing[1] + 1}. {_ORDER_HINT}"
        )


def _check_order(table: StationTable):
    x = np.array([section[:, 0].mean() for section in table.sections])
    wrong = np.flatnonzero(np.diff(x) <= 0)
    if len(wrong):
        a, b = wrong[0], wrong[0] + 1
        raise SurfaceError(
            f"{table.source}: station {table.names[b]!r} (x = {x[b]:g} m) is not aft of "
            f"{table.names[a]!r} (x = {x[a]:g} m); list the stations from nose to tail"
        )


def _crossing(outline: np.ndarray) -> tuple[int, int] | None:
    """First two lines of an open outline (n, 2) that meet away from their common point."""
    start, end = outline[:-1], outline[1:]

    def side(a, b, c):
        return np.sign((b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
                       - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0]))  # fmt: skip

    a, b = start[:, None], end[:, None]
    c, d = start[None], end[None]
    cross = (side(a, b, c) * side(a, b, d) <= 0) & (side(c, d, a) * side(c, d, b) <= 0)
    overlap = (np.minimum(np.maximum(a, b), np.maximum(c, d))
               >= np.maximum(np.minimum(a, b), np.minimum(c, d))).all(axis=-1)  # fmt: skip
    found = np.argwhere(np.triu(cross & overlap, k=2))
    return tuple(int(i) for i in found[0]) if len(found) else None


# --- smooth skin through the sections ----------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Skin:
    """Smooth surface over the lengthwise position t and the fraction round the section.

    t runs from `start` to `end`; the flat faces that close open ends lie beyond 0 and `span`.
    """

    curve: PPoly
    span: float
    front: tuple[np.ndarray, float] | None  # centre and mean radius of the flat face
    rear: tuple[np.ndarray, float] | None
    corners: tuple[int, ...]  # steps round the section at which all sections have a corner
    stations: np.ndarray  # (n_stations,) t of each station
    edges: tuple[float, ...]  # t of the stations with an edge all round
    names: tuple[str, ...]

    @classmethod
    def through(cls, table: StationTable) -> _Skin:
        fractions = _corner_fractions(table)
        sections = np.array(
            [
                _resampled(p, c, fractions)
                for p, c in zip(table.sections, table.corners, strict=True)
            ]
        )
        _check_side(table, sections)
        steps = np.linalg.norm(np.diff(sections, axis=0), axis=2).mean(axis=1)
        t = np.concatenate([[0.0], np.cumsum(steps)])
        tips = [len(table.sections[i]) == 1 for i in (0, -1)]
        rounded = [tip and not table.corners[i][0] for tip, i in zip(tips, (0, -1), strict=True)]
        curve = _lengthwise_curve(t, sections, table.edges, *rounded)
        faces = [None if tip else _face(sections[i]) for tip, i in zip(tips, (0, -1), strict=True)]
        corners = tuple(np.rint(fractions[1:-1] * _ALONG_SECTION).astype(int).tolist())
        edges = tuple(t[1:-1][table.edges[1:-1]].tolist())
        return cls(curve, t[-1], *faces, corners, t, edges, table.names)

    @property
    def start(self) -> float:
        return 0.0 if self.front is None else -self.front[1]

    @property
    def end(self) -> float:
        return self.span if self.rear is None else self.span + self.rear[1]

    def spans(self) -> list[tuple[float, float]]:
        """Smooth stretches of t: front face, skin between edges, rear face."""
        marks = sorted({self.start, 0.0, *self.edges, self.span, self.end})
        return list(itertools.pairwise(marks))

    def outline(self, t: float) -> np.ndarray:
        """Section at t, (_ALONG_SECTION + 1, 3) m."""
        section = self.curve(min(max(t, 0.0), self.span))
        if t < 0.0:
            return _shrunk(section, self.front[0], 1.0 + t / self.front[1])
        if t > self.span:
            return _shrunk(section, self.rear[0], 1.0 - (t - self.span) / self.rear[1])
        return section


def _check_side(table: StationTable, sections: np.ndarray):
    for name, points, smooth in zip(table.names, table.sections, sections, strict=True):
        if len(points) > 1 and (smooth[1:-1, 1] <= 0).any():
            raise SurfaceError(
                f"{table.source}, station {name!r}: the smooth curve through the points crosses "
                "the centre line; add points there or mark corners"
            )


def _shrunk(section: np.ndarray, centre: np.ndarray, factor: float) -> np.ndarray:
    return centre + max(factor, 0.0) * (section - centre)


def _face(section: np.ndarray) -> tuple[np.ndarray, float]:
    """Centre of the flat face that closes an open end, and its mean radius."""
    lengths = np.linalg.norm(np.diff(section, axis=0), axis=1)
    middle = 0.5 * (section[1:] + section[:-1])
    centre = (lengths[:, None] * middle).sum(axis=0) / lengths.sum()
    centre[1] = 0.0
    return centre, float(np.linalg.norm(section - centre, axis=1).mean())


def _corner_fractions(table: StationTable) -> np.ndarray:
    """Fractions of the section length, 0 to 1, at which corners are joined lengthwise.

    Only the ends, unless all sections have equally many corners between them; then the mean
    of the sections, on a whole step of `_ALONG_SECTION`.
    """
    full = [(p, c) for p, c in zip(table.sections, table.corners, strict=True) if len(p) > 1]
    counts = {int(np.count_nonzero(c[1:-1])) for _, c in full}
    if len(counts) != 1 or counts == {0}:
        return np.array([0.0, 1.0])
    fractions = []
    for points, corner in full:
        chord = _chord(points)
        fractions.append(chord[1:-1][corner[1:-1]] / chord[-1])
    inner = np.rint(np.mean(fractions, axis=0) * _ALONG_SECTION) / _ALONG_SECTION
    return np.concatenate([[0.0], inner, [1.0]])


def _chord(points: np.ndarray) -> np.ndarray:
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _resampled(points: np.ndarray, corner: np.ndarray, fractions: np.ndarray) -> np.ndarray:
    """Smooth section at _ALONG_SECTION + 1 places, evenly spaced between the joined corners."""
    if len(points) == 1:
        return np.repeat(points, _ALONG_SECTION + 1, axis=0)
    chord = _chord(points)
    curves = _section_curves(points, chord, corner)
    fine = _refined(chord, 64)
    travelled = _chord(_evaluate(curves, fine))
    targets = np.linspace(0.0, 1.0, _ALONG_SECTION + 1)
    if len(fractions) > 2:
        inner = travelled[64 * np.flatnonzero(corner[1:-1]) + 64] / travelled[-1]
        targets = np.interp(targets, fractions, np.concatenate([[0.0], inner, [1.0]]))
    section = _evaluate(curves, np.interp(targets * travelled[-1], travelled, fine))
    section[[0, -1]] = points[[0, -1]]
    return section


def _refined(knots: np.ndarray, per_span: int) -> np.ndarray:
    steps = np.arange(len(knots) - 1)[:, None] + np.arange(per_span) / per_span
    return np.append(np.interp(steps.ravel(), np.arange(len(knots)), knots), knots[-1])


def _section_curves(points: np.ndarray, chord: np.ndarray, corner: np.ndarray):
    """Cubic splines of one section, one for each stretch between corners.

    At an unmarked end on the centre line the curve goes on through its mirror image: y is odd
    there (second derivative 0), x and z are even (first derivative 0).
    """
    ends = np.flatnonzero(np.concatenate([[True], corner[1:-1], [True]]))
    curves = []
    for a, b in itertools.pairwise(ends):
        first = 1 if a == 0 and not corner[0] else 2
        last = 1 if b == len(points) - 1 and not corner[-1] else 2
        part = slice(a, b + 1)
        even = CubicSpline(
            chord[part], points[part][:, [0, 2]], bc_type=((first, [0.0] * 2), (last, [0.0] * 2))
        )
        odd = CubicSpline(chord[part], points[part, 1], bc_type="natural")
        curves.append((chord[b], even, odd))
    return curves


def _evaluate(curves, chord: np.ndarray) -> np.ndarray:
    ends = np.array([end for end, _, _ in curves])
    piece = np.minimum(np.searchsorted(ends, chord), len(curves) - 1)
    points = np.empty((len(chord), 3))
    for index, (_, even, odd) in enumerate(curves):
        chosen = piece == index
        points[np.ix_(chosen, [0, 2])] = even(chord[chosen])
        points[chosen, 1] = odd(chord[chosen])
    return points


def _lengthwise_curve(t, sections, edges, round_nose: bool, round_tail: bool) -> PPoly:
    """Curves (n_round, 3) over t through equal places of all sections, without overshoot."""
    ends = np.flatnonzero(np.concatenate([[True], edges[1:-1], [True]]))
    curves = []
    for a, b in itertools.pairwise(ends):
        part = slice(a, b + 1)
        nose, tail = round_nose and a == 0, round_tail and b == len(t) - 1
        curves.append(_smooth_stretch(t[part], sections[part], nose, tail))
    coefficients = np.concatenate([curve.c for curve in curves], axis=1)
    return PPoly(coefficients, t)


def _smooth_stretch(t, values, round_nose: bool, round_tail: bool) -> CubicHermiteSpline:
    """Lengthwise curves between two edges."""
    first, count = 0, len(t)
    if round_nose:
        t, values, first = _through_tip(t, values)
    if round_tail:
        reversed_t, reversed_values, _ = _through_tip(t[-1] - t[::-1], values[::-1])
        t, values = t[-1] - reversed_t[::-1], reversed_values[::-1]
    slopes = CubicSpline(t, values).derivative()(t)
    slopes = _limited(slopes, np.diff(values, axis=0) / np.diff(t)[:, None, None])
    kept = slice(first, first + count)
    return CubicHermiteSpline(t[kept], values[kept], slopes[kept])


def _through_tip(t: np.ndarray, values: np.ndarray):
    """Three more sections ahead of a tip: the curves go on through it, x even, y and z odd."""
    extra = min(3, len(t) - 1)
    ghosts = values[extra:0:-1].copy()
    ghosts[:, :, 1:] = 2.0 * values[0][:, 1:] - ghosts[:, :, 1:]
    return (
        np.concatenate([2.0 * t[0] - t[extra:0:-1], t]),
        np.concatenate([ghosts, values]),
        extra,
    )


def _limited(slopes: np.ndarray, secants: np.ndarray) -> np.ndarray:
    """Slopes cut back so that each cubic stays between its two end values."""
    before = np.concatenate([secants[:1], secants])
    after = np.concatenate([secants, secants[-1:]])
    bound = 3.0 * np.minimum(np.abs(before), np.abs(after))
    same = np.sign(before) == np.sign(after)
    sign = np.sign(before)
    return np.where(same, sign * np.clip(sign * slopes, 0.0, bound), 0.0)


# --- panels on the skin ------------------------------------------------------------------------


def _ring_positions(skin: _Skin, panel_length: float, finest: float, aft: float):
    """Positions t of the rings of vertices, and the panel length wanted at each."""
    samples, marks = [], [0]
    for start, end in skin.spans():
        inner = skin.stations[(skin.stations > start) & (skin.stations < end)]
        knots = np.concatenate([[start], inner, [end]])
        samples.append(_refined(knots, _PER_SPAN)[1 if samples else 0 :])
        marks.append(marks[-1] + len(samples[-1]) - (1 if len(samples) == 1 else 0))
    t = np.concatenate(samples)
    outlines = np.array([skin.outline(value)[::8] for value in t])
    travelled, length = _wanted_lengths(outlines, panel_length, finest, aft)
    positions = [t[:1]]
    for a, b in itertools.pairwise(marks):
        count = np.concatenate([[0.0], np.cumsum(_between(1.0 / length[a : b + 1])
                                                 * np.diff(travelled[a : b + 1]))])  # fmt: skip
        n = max(2, round(count[-1]))
        positions.append(np.interp(np.arange(1, n + 1) * count[-1] / n, count, t[a : b + 1]))
    positions = np.concatenate(positions)
    return positions, np.interp(positions, t, length)


def _wanted_lengths(outlines: np.ndarray, panel_length: float, finest: float, aft: float):
    """Distance travelled lengthwise and panel length wanted at each sampled section, m."""
    steps = np.diff(outlines, axis=0)
    lengths = np.linalg.norm(steps, axis=2)
    travelled = np.concatenate([[0.0], np.cumsum(lengths.mean(axis=1))])
    x = outlines[:, :, 0].mean(axis=1)
    place = (x - x.min()) / (x.max() - x.min())
    base = panel_length * (1.0 + (aft - 1.0) * np.clip(3.0 * place - 1.0, 0.0, 1.0))
    girth = np.linalg.norm(np.diff(outlines, axis=1), axis=2).sum(axis=1)
    widest = np.maximum(np.interp(travelled - base, travelled, girth),
                        np.interp(travelled + base, travelled, girth))  # fmt: skip
    wanted = np.minimum(base, _TURN_PER_PANEL / _greatest_bend(steps, lengths))
    wanted = np.maximum(np.minimum(wanted, widest / _TIP_PANELS), finest * panel_length)
    return travelled, _graded(travelled, wanted)


def _greatest_bend(steps: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Greatest lengthwise curvature at each sampled section, 1/m."""
    directions = steps / np.maximum(lengths, 1e-300)[:, :, None]
    turn = np.linalg.norm(np.diff(directions, axis=0), axis=2)
    bend = (turn / np.maximum(_between(lengths), 1e-300)).max(axis=1)
    return np.maximum(np.concatenate([bend[:1], bend, bend[-1:]]), 1e-300)


def _between(values: np.ndarray) -> np.ndarray:
    return 0.5 * (values[1:] + values[:-1])


def _graded(places: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Lengths cut back so that they grow by no more than _GROWTH per distance."""
    slope = _GROWTH * places
    forward = np.minimum.accumulate(lengths - slope) + slope
    return np.minimum.accumulate((forward + slope)[::-1])[::-1] - slope


def _ring(skin: _Skin, t: float, length: float, shortest: float) -> np.ndarray:
    """Vertices of one ring from bottom to top, (n, 3) m; a single one at a tip."""
    outline = skin.outline(t)
    places = _chord(outline)
    if places[-1] < 1e-9 * max(skin.span, shortest):
        return outline[:1]
    step = 1e-3 * length
    ahead = skin.outline(min(t + step, skin.end)) - skin.outline(max(t - step, skin.start))
    speed = np.linalg.norm(ahead, axis=1)
    wanted = length * np.clip(np.sqrt(speed / speed.mean()), 0.6, 1.6)
    bend = np.maximum(_smoothed_bend(outline, places, 0.5 * shortest), 1e-300)
    wanted = np.maximum(np.minimum(wanted, _TURN_PER_PANEL / bend), max(shortest, 0.5 * length))
    wanted = _graded(places, np.minimum(wanted, places[-1] / _TIP_PANELS))
    count = np.concatenate([[0.0], np.cumsum(_between(1.0 / wanted) * np.diff(places))])
    chosen = [outline[:1]]
    stops = [0, *skin.corners, _ALONG_SECTION]
    least = _TIP_PANELS if len(stops) == 2 else 1
    for a, b in itertools.pairwise(stops):
        n = max(least, round(count[b] - count[a]))
        at = np.interp(
            count[a] + np.arange(1, n + 1) * (count[b] - count[a]) / n, count, np.arange(len(count))
        )
        low = np.minimum(at.astype(int), _ALONG_SECTION - 1)
        part = (at - low)[:, None]
        chosen.append(outline[low] * (1 - part) + outline[low + 1] * part)
    ring = np.concatenate(chosen)
    ring[[0, -1], 1] = 0.0
    return ring


def _smoothed_bend(outline: np.ndarray, places: np.ndarray, radius: float) -> np.ndarray:
    """Curvature of a section at each of its places, measured over `radius` to both sides, 1/m."""

    def at(values):
        return np.stack([np.interp(values, places, outline[:, k]) for k in range(3)], axis=1)

    radius = max(radius, 2.0 * places[-1] / _ALONG_SECTION)
    before, after = outline - at(places - radius), at(places + radius) - outline
    lengths = (
        np.maximum(np.linalg.norm(before, axis=1), 1e-300),
        np.maximum(np.linalg.norm(after, axis=1), 1e-300),
    )
    turn = np.linalg.norm(before / lengths[0][:, None] - after / lengths[1][:, None], axis=1)
    return turn / radius


# --- checks of the surface ---------------------------------------------------------------------


def _check_folds(surface: SurfaceMesh, source: str):
    neighbours = surface.edge_neighbours
    if (neighbours < 0).any():
        raise SurfaceError(f"{source}: the lofted surface is not closed; check the stations")
    turned = (surface.normals[:, None] * surface.normals[neighbours]).sum(axis=2)
    folded = np.flatnonzero((turned < np.cos(_FOLD)).any(axis=1))
    if len(folded) or not surface.volume > 0:
        at = surface.centroids[folded[0] if len(folded) else 0]
        raise SurfaceError(
            f"{source}: the lofted surface folds over itself at {len(folded)} panels (first near "
            f"x={at[0]:.3f} y={at[1]:.3f} z={at[2]:.3f} m); look for points in the wrong "
            "order or add a station there"
        )


def _with_faces(surface: SurfaceMesh, face: np.ndarray) -> SurfaceMesh:
    """Name the flat faces that close open ends; `face` is -1, 0 or 1 per panel of a half."""
    names, index = ["unnamed"], np.zeros(len(face), dtype=np.int64)
    for side, name in ((-1, "front face"), (1, "rear face")):
        if (face == side).any():
            index[face == side] = len(names)
            names.append(name)
    return surface.with_regions(np.tile(index, 2), names)
