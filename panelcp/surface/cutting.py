"""Cutting a surface with a plane: lines on the skin with the panels that they cross.

A vertex in the plane counts as lying on the side that the plane's normal points to. So every panel
has one piece of the cut or none, pieces always join, and a plane through vertices, along edges
(BL 0 of a mirrored surface) or along panels needs no case of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from panelcp.errors import SurfaceError
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh, frozen_array

PLANES = {"station": (0, "STA"), "butt line": (1, "BL"), "waterline": (2, "WL")}
"""Coordinate that is constant in a plane across an axis, and what a builder calls it."""

ON_PLANE = 1e-9
"""Vertices nearer to the plane than this lie in it, parts of the diagonal of the body's box."""

AT_POINT = 1e-9
"""A place nearer to a point of a line than this is that point, parts of the line's length."""


@dataclass(frozen=True, eq=False)
class CutLine:
    """One line of a cut, made of straight pieces, each on one panel.

    Attributes
    ----------
    points : (n, 3) float, m, in order: who walks along the line on the outside of the skin has the
        side that the normal of the plane points to at the right hand
    edges : (n, 2) int, vertices of the edge that each point lies on: twice the same at a vertex,
        -1 twice inside a panel
    panels : (n_pieces,) int, the panel of the piece that begins at each point; n pieces of a closed
        line, n - 1 of an open one
    beside : (n_pieces,) int, the second panel of a piece that runs along an edge, else -1
    closed : whether the last point is joined to the first
    """

    points: np.ndarray
    edges: np.ndarray
    panels: np.ndarray
    beside: np.ndarray
    closed: bool

    def __post_init__(self):
        object.__setattr__(self, "points", frozen_array(self.points))
        for name in ("edges", "panels", "beside"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        expected = len(self.points) - (0 if self.closed else 1)
        if len(self.panels) != expected or len(self.beside) != expected:
            raise SurfaceError(
                f"a line of {len(self.points)} points has {len(self.panels)} panels; expected "
                f"{expected}, one for each piece"
            )

    @cached_property
    def _ends(self) -> np.ndarray:
        """(n_pieces, 3): where each piece ends."""
        ends = np.roll(self.points, -1, axis=0)
        return ends if self.closed else ends[:-1]

    @cached_property
    def piece_lengths(self) -> np.ndarray:
        """(n_pieces,) float, m."""
        return frozen_array(np.linalg.norm(self._ends - self.points[: len(self._ends)], axis=1))

    @cached_property
    def arc(self) -> np.ndarray:
        """(n,) float, m: way along the line from its first point."""
        return frozen_array(
            np.concatenate([[0.0], np.cumsum(self.piece_lengths)])[: len(self.points)]
        )

    @property
    def length(self) -> float:
        """Length of all pieces, m."""
        return float(self.piece_lengths.sum())

    @cached_property
    def middle(self) -> np.ndarray:
        """(3,) float, m: mean place, by length."""
        mids = 0.5 * (self._ends + self.points[: len(self._ends)])
        return frozen_array(np.average(mids, axis=0, weights=self.piece_lengths))

    def shares(self, surface: SurfaceMesh) -> np.ndarray:
        """(n, 3) float: barycentric coordinates of each point in the panel of its piece.

        The last point of an open line is on the panel of the piece that ends there.
        """
        panels = self.panels if self.closed else np.append(self.panels, self.panels[-1])
        return _barycentric(surface.corners[panels], self.points)

    @cached_property
    def touched(self) -> tuple[np.ndarray, np.ndarray]:
        """Point and panel of every panel that a point touches along the line, each pair once."""
        n, pieces = len(self.points), np.arange(len(self.panels))
        ends = (pieces + 1) % n
        points = np.concatenate([pieces, ends, pieces, ends])
        panels = np.concatenate([self.panels, self.panels, self.beside, self.beside])
        pairs = np.unique(np.stack([points, panels], axis=1)[panels >= 0], axis=0)
        return pairs[:, 0], pairs[:, 1]

    def place_at(self, arc: float) -> np.ndarray:
        """(3,) float, m: the point at a way along the line; it goes round a closed one."""
        k, share = self._piece_at(arc)
        return self.points[k] + share * (self._ends[k] - self.points[k])

    def _piece_at(self, arc: float) -> tuple[int, float]:
        """Number of the piece at a way along the line, and the part of it that lies before."""
        arc = arc % self.length if self.closed else float(np.clip(arc, 0.0, self.length))
        k = int(np.searchsorted(self.arc[: len(self.panels)], arc, side="right")) - 1
        return k, float((arc - self.arc[k]) / max(self.piece_lengths[k], 1e-300))

    def nearest(self, place) -> tuple[float, float]:
        """Way along the line to the point nearest to a place, and its distance, both m."""
        place = np.asarray(place, dtype=float)
        starts = self.points[: len(self._ends)]
        step, offset = self._ends - starts, place - starts
        size = np.maximum((step**2).sum(axis=1), 1e-300)
        share = np.clip((step * offset).sum(axis=1) / size, 0.0, 1.0)
        gaps = np.linalg.norm(offset - share[:, None] * step, axis=1)
        k = int(gaps.argmin())
        return float(self.arc[k] + share[k] * self.piece_lengths[k]), float(gaps[k])

    def reversed(self) -> CutLine:
        """The same line the other way; a closed one begins at its last point."""
        panels, beside = self.panels[::-1], self.beside[::-1]
        if self.closed:  # the piece from the last point to the first becomes the last one
            panels, beside = np.roll(panels, -1), np.roll(beside, -1)
        return CutLine(self.points[::-1], self.edges[::-1], panels, beside, self.closed)

    def part(self, first: float, last: float) -> CutLine:
        """The part from one way along the line to another, an open line.

        On a closed line it goes in the direction of the line, across its first point where that
        must be; the whole round when both ways are the same.
        """
        if self.closed:
            first, last = first % self.length, last % self.length
            last += self.length if last <= first + AT_POINT * self.length else 0.0
        gap = AT_POINT * self.length
        arc, n = self.arc, len(self.points)
        inside = [(arc[k] + turn, k) for turn in self._turns for k in range(n)]
        inside = sorted((a, k) for a, k in inside if first + gap < a < last - gap)
        chosen = [k for _, k in inside]
        pieces = [self._piece_at(first + 2.0 * gap)[0], *chosen]
        points = [self.place_at(first), *self.points[chosen], self.place_at(last)]
        edges = [self._edge_at(first), *self.edges[chosen], self._edge_at(last)]
        return CutLine(points, edges, self.panels[pieces], self.beside[pieces], False)

    @property
    def _turns(self) -> tuple[float, ...]:
        return (0.0, self.length) if self.closed else (0.0,)

    def _edge_at(self, arc: float) -> np.ndarray:
        """Edge of the point at a way along the line; -1 where there is none."""
        gap = np.abs(self.arc - (arc % self.length if self.closed else arc))
        gap = np.minimum(gap, self.length - gap) if self.closed else gap
        k = int(gap.argmin())
        return self.edges[k] if gap[k] <= 2.0 * AT_POINT * self.length else np.array([-1, -1])

    def halves(self, first: float, last: float) -> tuple[CutLine, CutLine]:
        """Both ways round a closed line from one way along it to another: onward, and backward."""
        return self.part(first, last), self.part(last, first).reversed()


@dataclass(frozen=True, eq=False)
class SurfaceCut:
    """All lines in which a plane cuts a surface.

    Attributes
    ----------
    origin, normal : (3,) float, m, and unit
    lines : CutLine, the longest first
    """

    origin: np.ndarray
    normal: np.ndarray
    lines: tuple[CutLine, ...]

    def __post_init__(self):
        object.__setattr__(self, "origin", frozen_array(self.origin))
        object.__setattr__(self, "normal", frozen_array(self.normal))

    @property
    def length(self) -> float:
        """Length of all lines, m."""
        return sum(line.length for line in self.lines)


def cut_by_plane(surface: SurfaceMesh, origin, normal) -> SurfaceCut:
    """Cut a surface by any plane.

    Parameters
    ----------
    surface : SurfaceMesh
    origin : (3,) float, m, a point of the plane
    normal : (3,) float, across the plane, of any length

    Returns
    -------
    SurfaceCut; where panels lie in the plane, the section just behind it, against the normal, or
    their outline where the body ends there

    Raises
    ------
    SurfaceError : normal of no length, the plane misses the surface or only touches it
    """
    origin, normal = (np.asarray(part, dtype=float) for part in (origin, normal))
    size = float(np.linalg.norm(normal)) if normal.shape == (3,) else 0.0
    if not (np.isfinite(origin).all() and origin.shape == (3,) and 0.0 < size < np.inf):
        raise SurfaceError(
            f"plane through {origin.tolist()} with the normal {normal.tolist()}: expected three "
            "finite numbers each, the normal not zero"
        )
    normal = normal / size
    height = (surface.vertices - origin) @ normal
    height[np.abs(height) <= ON_PLANE * np.linalg.norm(surface.size)] = 0.0
    ahead = height >= 0.0
    if ahead.all():
        ahead = height > 0.0
    if ahead.all() or not ahead.any():
        raise SurfaceError(_missed(surface, origin, normal, height))
    lines = _lines(surface, height, ahead)
    if not lines:
        raise SurfaceError(_missed(surface, origin, normal, height))
    order = sorted(range(len(lines)), key=lambda k: (-round(lines[k].length, 9), k))
    return SurfaceCut(origin, normal, tuple(lines[k] for k in order))


def cut_at(surface: SurfaceMesh, plane: str, place: float) -> SurfaceCut:
    """Cut a surface at a station, butt line or waterline.

    Parameters
    ----------
    surface : SurfaceMesh
    plane : one of PLANES
    place : m

    Returns
    -------
    SurfaceCut

    Raises
    ------
    SurfaceError : another plane, a place outside the body; see `cut_by_plane`
    """
    if plane not in PLANES:
        raise SurfaceError(f"a cut at a {plane!r} is not known; expected {', '.join(PLANES)}")
    axis = np.eye(3)[PLANES[plane][0]]
    return cut_by_plane(surface, float(place) * axis, axis)


def line_operator(surface: SurfaceMesh, line: CutLine) -> csr_array:
    """Matrix that takes panel values to values at the points of a line.

    Parameters
    ----------
    surface : SurfaceMesh
    line : CutLine of it

    Returns
    -------
    (n_points, n_panels) sparse array

    Notes
    -----
    The mean of `point_operator` over the panels that a point touches along the line: they agree
    over smooth edges, at a sharp edge the mean of both sides is taken, and along the centre line
    both halves of the body count alike.
    """
    return line_operators(surface, [line])[0]


def line_operators(surface: SurfaceMesh, lines: Sequence[CutLine]) -> list[csr_array]:
    """`line_operator` of several lines, quicker than one by one."""
    points = np.concatenate([line.points[line.touched[0]] for line in lines])
    panels = np.concatenate([line.touched[1] for line in lines])
    every, start, found = point_operator(surface, points, panels), 0, []
    for line in lines:
        count = len(line.touched[0])
        found.append(mean_over(line) @ every[start : start + count])
        start += count
    return found


def mean_over(line: CutLine) -> csr_array:
    """(n_points, n_pairs) sparse: mean over the panels of `CutLine.touched` of each point."""
    points, _ = line.touched
    counts = np.bincount(points, minlength=len(line.points))
    starts = np.concatenate([[0], np.cumsum(counts)])
    shape = (len(line.points), len(points))
    return csr_array((1.0 / counts[points], np.arange(len(points)), starts), shape=shape)


# --- how pieces are found and joined -------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Pieces:
    """One piece for every panel that has corners on both sides.

    panels (n,); start, end (n, 3) m; start_edge, end_edge (n, 2) vertices; beside (n,); follower
    (n,) the piece that goes on where this one ends, or -1
    """

    panels: np.ndarray
    start: np.ndarray
    end: np.ndarray
    start_edge: np.ndarray
    end_edge: np.ndarray
    beside: np.ndarray
    follower: np.ndarray


def _lines(surface: SurfaceMesh, height, ahead) -> list[CutLine]:
    """All lines longer than nothing."""
    pieces = _pieces(surface, height, ahead)
    lines = [_joined(pieces, chain, closed) for chain, closed in _chains(pieces.follower)]
    return [line for line in lines if line is not None]


def _pieces(surface: SurfaceMesh, height, ahead) -> _Pieces:
    sides = ahead[surface.triangles]
    panels = np.flatnonzero(sides.any(axis=1) & ~sides.all(axis=1))
    corners, sides = surface.triangles[panels], sides[panels]
    after = np.roll(sides, -1, axis=1)
    rows = np.arange(len(panels))
    into, out = np.argmax(~sides & after, axis=1), np.argmax(sides & ~after, axis=1)
    start, start_edge = _crossings(
        surface, height, corners[rows, into], corners[rows, (into + 1) % 3]
    )
    end, end_edge = _crossings(surface, height, corners[rows, (out + 1) % 3], corners[rows, out])
    both = (start_edge[:, 0] == start_edge[:, 1]) & (end_edge[:, 0] == end_edge[:, 1])
    upper = start_edge[:, 0] == corners[rows, (into + 1) % 3]
    edge = np.where(upper, (into + 1) % 3, (out + 1) % 3)
    beside = np.where(both, surface.edge_neighbours[panels, edge], -1)
    number = np.full(surface.n_panels + 1, -1)
    number[panels] = rows
    follower = number[surface.edge_neighbours[panels, out]]
    fits = (start_edge[follower] == end_edge).all(axis=1) & (follower >= 0)
    follower = np.where(fits, follower, -1)
    return _Pieces(panels, start, end, start_edge, end_edge, beside, follower)


def _crossings(surface: SurfaceMesh, height, behind, ahead) -> tuple[np.ndarray, np.ndarray]:
    """Where edges from vertices behind the plane to some ahead of it cross it; and their edges."""
    low, high = height[behind], height[ahead]
    share = (low / (low - high))[:, None]
    points = surface.vertices[behind] + share * (surface.vertices[ahead] - surface.vertices[behind])
    points = np.where(high[:, None] == 0.0, surface.vertices[ahead], points)
    points = np.where(low[:, None] == 0.0, surface.vertices[behind], points)
    first = np.where(high == 0.0, ahead, behind)
    second = np.where(low == 0.0, behind, ahead)
    return points, np.sort(np.stack([first, second], axis=1), axis=1)


def _chains(follower) -> list[tuple[list[int], bool]]:
    """Pieces in order, and whether the last is followed by the first; open chains first."""
    begins = np.ones(len(follower), dtype=bool)
    begins[follower[follower >= 0]] = False
    used, chains = np.zeros(len(follower), dtype=bool), []
    for start in [*np.flatnonzero(begins), *np.flatnonzero(~begins)]:
        if used[start]:
            continue
        chain, k = [], int(start)
        while k >= 0 and not used[k]:
            used[k] = True
            chain.append(k)
            k = int(follower[k])
        chains.append((chain, not begins[start]))
    return chains


def _joined(pieces: _Pieces, chain: list[int], closed: bool) -> CutLine | None:
    """A line without pieces of no length; None where nothing else is left."""
    long = (pieces.start_edge[chain] != pieces.end_edge[chain]).any(axis=1)
    kept = np.asarray(chain)[long]
    if len(kept) < (3 if closed else 1):
        return None
    points, edges = pieces.start[kept], pieces.start_edge[kept]
    if not closed:
        points = np.vstack([points, pieces.end[kept[-1:]]])
        edges = np.vstack([edges, pieces.end_edge[kept[-1:]]])
    return CutLine(points, edges, pieces.panels[kept], pieces.beside[kept], closed)


def _missed(surface: SurfaceMesh, origin, normal, height) -> str:
    """Why a plane cuts nothing."""
    axis = int(np.abs(normal).argmax())
    if abs(normal[axis]) < 1.0 - 1e-12:
        low, high = 1e3 * height.min(), 1e3 * height.max()
        return (
            f"the plane misses the surface, which lies {low:.0f} to {high:.0f} mm away along its "
            "normal; choose a plane through the body"
        )
    word = next(name for k, name in PLANES.values() if k == axis)
    low, high = 1e3 * surface.bounds[:, axis]
    return (
        f"the plane {word} {1e3 * origin[axis]:.0f} mm misses the surface, whose {word} run from "
        f"{low:.0f} to {high:.0f} mm; choose a place between"
    )


def _barycentric(corners, points) -> np.ndarray:
    """(n, 3) float: coordinates of points in the planes of their triangles."""
    a, b, c = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    aa, ab, bb = ((u * v).sum(axis=1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=1), (c * b).sum(axis=1)
    area = aa * bb - ab * ab
    second, third = (ca * bb - cb * ab) / area, (cb * aa - ca * ab) / area
    return np.stack([1.0 - second - third, second, third], axis=1)
