"""Several solids in one file: list them, choose among them, unite them."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from fnmatch import fnmatchcase

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.parts import Part, compact_part, joined_parts
from panelcp.surface.repair import open_vertices, sorted_edges

SMALL = 0.03
"""A part whose diagonal is below this share of that of the whole is small: a screw."""

SAME_RIM = 0.01
"""Rims within this part of the diagonal of the whole lie on each other."""

OTHER_UNITS = (1000.0, 25.4, 10.0, 304.8, 12.0, 100.0, 2.54, 30.48, 0.3048, 0.0254, 0.001)
"""Ratios of length units that are mixed up."""

MOST_LISTED = 25
"""Parts that a message lists."""

_BLOCKED = 5  # of the six directions along the axes, in which a point inside sees other skin
_ON_RESULT = 1e-6  # part of the size: a corner this near to the united body is one of its corners


@dataclass(frozen=True, eq=False)
class PartFacts:
    """Figures by which a person recognises a part.

    Attributes
    ----------
    name : of the part
    n_triangles : int
    size : (3,) float, unit and axes of the file
    middle : (3,) float, of its box
    closed : True when every edge belongs to two triangles
    inside : True when it lies wholly inside the skin of other parts
    small : True when it is tiny against the whole
    """

    name: str
    n_triangles: int
    size: np.ndarray
    middle: np.ndarray
    closed: bool
    inside: bool
    small: bool

    def line(self) -> str:
        """One line of a list."""
        x, y, z = (f"{value:.4g}" for value in self.size)
        place = ", ".join(f"{value:.4g}" for value in self.middle)
        words = ["closed" if self.closed else "open"]
        words += ["inside"] if self.inside else []
        words += ["small"] if self.small else []
        return (
            f"{self.name}: {self.n_triangles} triangles, {x} x {y} x {z} about ({place}), "
            f"{', '.join(words)}"
        )


def part_facts(parts) -> list[PartFacts]:
    """Figures of every part.

    Parameters
    ----------
    parts : sequence of Part

    Returns
    -------
    list of PartFacts, in the same order

    Notes
    -----
    A part counts as inside when each of its outermost corners sees the skin of other parts along
    at least five of the six directions of the axes: so it is found too when the skin is open
    behind.
    """
    require_finite_parts(parts)
    bounds = np.array([part.bounds for part in parts])
    skin = _Boxed(parts)
    whole = np.linalg.norm(bounds[:, 1].max(axis=0) - bounds[:, 0].min(axis=0))
    facts = []
    for number, part in enumerate(parts):
        low, high = bounds[number]
        facts.append(
            PartFacts(
                name=part.name,
                n_triangles=len(part.triangles),
                size=high - low,
                middle=0.5 * (low + high),
                closed=_is_closed(part),
                inside=_lies_inside(skin, number),
                small=bool(np.linalg.norm(high - low) < SMALL * whole),
            )
        )
    return facts


def choose_parts(
    parts,
    keep=(),
    drop=(),
    drop_inside: bool = False,
    drop_small: bool = False,
    tolerance: float = 0.0,
) -> tuple[list[Part], list[str]]:
    """The parts that make the skin, by name or by request.

    Parameters
    ----------
    parts : sequence of Part
    keep : names of the parts to take, all others are left out; * and ? stand for any letters
    drop : names of parts to leave out
    drop_inside : True leaves out parts that lie wholly inside the skin of others
    drop_small : True leaves out tiny parts
    tolerance : in the unit of the file, open edges nearer than this count as connected

    Returns
    -------
    parts : list of Part, at least one
    notes : what was left out

    Raises
    ------
    SurfaceError : unknown names; nothing left; several unconnected parts and nothing chosen

    Notes
    -----
    Parts that share points all round (groups of one skin) count as one body and need no choice.
    """
    parts = list(parts)
    chosen = _by_name(parts, keep, drop)
    notes = _left_out([p.name for p in parts if p not in chosen], "by name")
    facts = part_facts(chosen) if drop_inside or drop_small else []
    for asked, reason in ((drop_inside, "inside"), (drop_small, "small")):
        if asked:
            gone = {fact.name for fact in facts if getattr(fact, reason)}
            notes += _left_out([p.name for p in chosen if p.name in gone], reason)
            chosen = [part for part in chosen if part.name not in gone]
    if not chosen:
        raise SurfaceError("no part is left: keep and drop leave nothing of the file")
    if not (keep or drop or drop_inside or drop_small):
        _require_connected(parts, tolerance)
    return chosen, notes


def _by_name(parts: list[Part], keep, drop) -> list[Part]:
    names = [part.name for part in parts]
    for word, patterns in (("keep", keep), ("drop", drop)):
        for pattern in patterns:
            if not any(_matches(name, pattern) for name in names):
                near = get_close_matches(pattern, names, n=3, cutoff=0.4)
                hint = f"; near to it: {', '.join(near)}" if near else ""
                shown = ", ".join(names[:MOST_LISTED])
                more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
                raise SurfaceError(
                    f"{word}: no part is called {pattern!r}{hint}; there are: {shown}{more}"
                )
    kept = [p for p in parts if not keep or any(_matches(p.name, k) for k in keep)]
    return [p for p in kept if not any(_matches(p.name, d) for d in drop)]


def _matches(name: str, pattern: str) -> bool:
    return name == pattern or fnmatchcase(name, pattern)


def _left_out(names: list[str], reason: str) -> list[str]:
    if not names:
        return []
    shown = ", ".join(names[:MOST_LISTED])
    more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
    words = {"by name": "left out by name", "inside": "left out, wholly inside the skin"}
    return [f"{len(names)} parts {words.get(reason, 'left out, small')}: {shown}{more}"]


def _require_connected(parts: list[Part], tolerance: float):
    if len(parts) == 1 or len(connected_parts(parts, tolerance)) == 1:
        return
    raise SurfaceError(parts_message(parts))


def parts_message(parts) -> str:
    """The list of parts and what to write so that one skin is left.

    Parameters
    ----------
    parts : sequence of Part

    Returns
    -------
    str : several lines
    """
    facts = part_facts(parts)
    order = sorted(range(len(facts)), key=lambda k: -float(np.linalg.norm(facts[k].size)))
    lines = [facts[k].line() for k in order[:MOST_LISTED]]
    if len(facts) > MOST_LISTED:
        lines.append(f"and {len(facts) - MOST_LISTED} more")
    advice = ["write into [surface] which ones make the skin:"]
    advice.append('keep = ["NAME", ...] or drop = ["NAME", "screw*"], by name')
    if any(fact.inside for fact in facts):
        count = sum(fact.inside for fact in facts)
        advice.append(f"drop_inside = true leaves out the {count} that lie wholly inside")
    if any(fact.small for fact in facts):
        count = sum(fact.small for fact in facts)
        advice.append(f"drop_small = true leaves out the {count} small ones")
    outer = [fact for fact in facts if not (fact.inside or fact.small)]
    if sum(fact.closed for fact in outer) > 1:
        advice.append("unite = true makes one body of closed parts that overlap")
    if sum(not fact.closed for fact in outer) > 1:
        advice.append(
            'keep = ["*"] takes all: open edges that face each other within widest_gap are joined'
        )
    advice += _other_units(parts)
    return "\n  ".join([f"{len(facts)} unconnected parts in the file:", *lines, *advice])


def _other_units(parts) -> list[str]:
    """Open parts whose rim lies on that of the largest one when they are read in another unit."""
    rims = [_rim(part) for part in parts]
    whole = max(range(len(parts)), key=lambda k: np.linalg.norm(np.ptp(parts[k].bounds, axis=0)))
    if len(rims[whole]) == 0:
        return []
    tree, lines = cKDTree(rims[whole]), []
    for k, rim in enumerate(rims):
        if k == whole or len(rim) == 0:
            continue
        reach = SAME_RIM * np.linalg.norm(np.ptp(parts[whole].bounds, axis=0))
        if np.median(tree.query(rim)[0]) <= reach:
            continue
        for factor in OTHER_UNITS:
            away = tree.query(factor * rim)[0]
            if np.median(away) <= reach and np.ptp(factor * rim, axis=0).max() > 5.0 * reach:
                lines.append(
                    f"{parts[k].name} is probably in another length unit: {factor:g} times as "
                    f"large its edge lies on that of {parts[whole].name}; export both in one unit"
                )
    return lines


def _rim(part: Part) -> np.ndarray:
    """(n, 3) float: points on open edges."""
    vertices, triangles = welded(part.vertices, part.triangles)
    return vertices[open_vertices(triangles)]


def connected_parts(parts, tolerance: float = 0.0) -> list[Part]:
    """Parts by connection instead of by name: pieces that share no point.

    Parameters
    ----------
    parts : sequence of Part, or one Part that is a soup of triangles
    tolerance : in the unit of the file, open edges nearer than this count as connected

    Returns
    -------
    list of Part called "part 1", "part 2", ..., most triangles first; points in the same place
    are one point
    """
    parts = [parts] if isinstance(parts, Part) else list(parts)
    require_finite_parts(parts)
    vertices, triangles = welded(*joined_parts(parts))
    piece = _pieces(vertices, triangles, tolerance)
    counts = np.bincount(piece)
    order = np.argsort(-counts, kind="stable")
    rank = np.empty(len(counts), dtype=np.int64)
    rank[order] = np.arange(len(counts))
    sequence = np.argsort(rank[piece], kind="stable")
    ends = np.cumsum(counts[order])
    pieces = [sequence[end - counts[k] : end] for k, end in zip(order, ends, strict=True)]
    return [
        _cut_out(f"part {k}", vertices, triangles[rows], parts[0].unit)
        for k, rows in enumerate(pieces, start=1)
    ]


def _cut_out(name: str, vertices, triangles, unit: str | None) -> Part:
    used, compact = np.unique(triangles, return_inverse=True)
    return Part(name, vertices[used], compact.reshape(-1, 3), unit)


def _pieces(vertices, triangles, tolerance: float) -> np.ndarray:
    """(m,) int: number of the connected piece of each triangle, from 0."""
    pairs = [triangles[:, :2], triangles[:, 1:]]
    if tolerance > 0.0:
        rim = open_vertices(triangles)
        pairs.append(rim[cKDTree(vertices[rim]).query_pairs(tolerance, output_type="ndarray")])
    rows, columns = np.concatenate(pairs).T
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(vertices),) * 2)
    labels = connected_components(graph, directed=False)[1][triangles[:, 0]]
    return np.unique(labels, return_inverse=True)[1]


def welded(vertices, triangles) -> tuple[np.ndarray, np.ndarray]:
    """The same triangles with points in exactly the same place made one, unused ones left out.

    Parameters
    ----------
    vertices : (n, 3) float
    triangles : (m, 3) int

    Returns
    -------
    vertices, triangles
    """
    points = np.ascontiguousarray(np.asarray(vertices, dtype=float) + 0.0)
    keys = np.zeros(len(points), dtype=np.uint64)
    for column in points.view(np.uint64).T:
        keys = (keys ^ column) * np.uint64(0x9E3779B97F4A7C15)
        keys = (keys ^ (keys >> np.uint64(32))) * np.uint64(0xC2B2AE3D27D4EB4F)
        keys ^= keys >> np.uint64(29)
    _, first, label = np.unique(keys, return_index=True, return_inverse=True)
    if not np.array_equal(points[first][label], points):
        kept, label = np.unique(points, axis=0, return_inverse=True)
    else:
        kept = points[first]
    joined = compact_part("welded", kept, label.ravel()[np.asarray(triangles)])
    return joined.vertices, joined.triangles


def require_finite_parts(parts):
    """Refuse parts with coordinates that are not finite numbers."""
    for part in parts:
        bad = ~np.isfinite(part.vertices).all(axis=1)
        if bad.any():
            raise SurfaceError(
                f"{np.count_nonzero(bad)} of {len(bad)} vertices of {part.name} are not finite "
                f"numbers (first: vertex {np.flatnonzero(bad)[0]}); export the surface again"
            )


def _is_closed(part: Part) -> bool:
    _, triangles = welded(part.vertices, part.triangles)
    edges = sorted_edges(triangles)
    counts = np.unique(edges[:, 0] * (edges.max() + 1) + edges[:, 1], return_counts=True)[1]
    return bool((counts == 2).all())


class _Boxed:
    """Corners of the triangles of all parts, with the box and the part of each."""

    def __init__(self, parts):
        self.corners = np.concatenate([part.vertices[part.triangles] for part in parts])
        self.low, self.high = self.corners.min(axis=1), self.corners.max(axis=1)
        self.part = np.repeat(np.arange(len(parts)), [len(part.triangles) for part in parts])

    def across(self, low, high, axes, number: int) -> np.ndarray:
        """(k, 3, 3) float: corners of other parts' triangles whose box meets another one."""
        first, second = axes
        near = np.flatnonzero((self.low[:, first] <= high[first]) & (self.part != number))
        near = near[self.high[near, first] >= low[first]]
        near = near[self.low[near, second] <= high[second]]
        return self.corners[near[self.high[near, second] >= low[second]]]


def _lies_inside(skin: _Boxed, number: int) -> bool:
    """Whether the outermost corners of a part all see other skin nearly all round."""
    used = skin.corners[skin.part == number].reshape(-1, 3)
    points = used[np.unique(np.concatenate([used.argmin(axis=0), used.argmax(axis=0)]))]
    low, high = points.min(axis=0), points.max(axis=0)
    blocked = np.zeros(len(points), dtype=np.int64)
    for axis in range(3):
        across = [k for k in range(3) if k != axis]
        others = skin.across(low, high, across, number)
        blocked += sum(side.astype(int) for side in _hits(points, others, axis, across))
        if not (blocked >= _BLOCKED - 2 * (2 - axis)).all():
            return False
    return True


def _hits(points, corners, axis: int, across) -> tuple[np.ndarray, np.ndarray]:
    """For every point whether triangles lie above it, and below it, along an axis."""
    above, below = np.zeros((2, len(points)), dtype=bool)
    a, b, c = np.moveaxis(corners[:, :, across], 1, 0)
    height = corners[:, :, axis]
    for k, point in enumerate(points):
        p = point[across]
        weights = np.stack([_twice(p, b, c), _twice(a, p, c), _twice(a, b, p)], axis=1)
        total = weights.sum(axis=1)
        inside = ((weights >= 0.0).all(axis=1) | (weights <= 0.0).all(axis=1)) & (total != 0.0)
        level = (weights[inside] * height[inside]).sum(axis=1) / total[inside]
        above[k], below[k] = (level > point[axis]).any(), (level < point[axis]).any()
    return above, below


def _twice(a, b, c) -> np.ndarray:
    """Twice the signed area of triangles in a plane."""
    ab, ac = b - a, c - a
    return ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0]


def unite(parts) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """One closed skin round closed parts that overlap or touch.

    Parameters
    ----------
    parts : sequence of Part, each closed and outward, in the same unit

    Returns
    -------
    vertices : (n, 3) float
    triangles : (m, 3) int
    notes : triangles before and after, volume that was counted twice, hollows filled

    Raises
    ------
    SurfaceError : package missing, a part open or inside out, parts that stay apart (named)
    """
    parts = list(parts)
    require_finite_parts(parts)
    if len(parts) == 1:
        return (*welded(parts[0].vertices, parts[0].triangles), [])
    solids = [_solid(part) for part in parts]
    united = _manifold().Manifold.batch_boolean(solids, _manifold().OpType.Add)
    pieces = united.decompose()
    bodies = [piece for piece in pieces if piece.volume() > 0.0]
    hollows = len(pieces) - len(bodies)
    if len(bodies) != 1:
        raise SurfaceError(_loose_message(parts, bodies))
    mesh = bodies[0].to_mesh64()
    vertices = np.array(mesh.vert_properties[:, :3], dtype=float)
    triangles = np.array(mesh.tri_verts, dtype=np.int64)
    before = sum(len(part.triangles) for part in parts)
    twice = sum(solid.volume() for solid in solids) - united.volume()
    share = 100.0 * twice / united.volume()
    notes = [
        f"{len(parts)} parts united: {before} triangles before, {len(triangles)} after; "
        f"{share:.3g} % of the volume belonged to more than one part"
    ]
    if hollows:
        notes.append(f"{hollows} hollows inside the united body filled")
    return vertices, triangles, notes


def _manifold():
    try:
        import manifold3d
    except ImportError:
        raise SurfaceError(
            "uniting parts needs the package manifold3d: pip install manifold3d; or unite the "
            "parts in your CAD"
        ) from None
    return manifold3d


def _solid(part: Part):
    """The part as a solid of the package that unites."""
    package = _manifold()
    vertices, triangles = welded(part.vertices, part.triangles)
    mesh = package.Mesh64(np.array(vertices), np.array(triangles, dtype=np.uint64, order="C"))
    solid = package.Manifold(mesh)
    if solid.status() != package.Error.NoError or solid.is_empty():
        edges = sorted_edges(triangles)
        rows, counts = np.unique(edges, axis=0, return_counts=True)
        open_edges, crowded = rows[counts == 1], rows[counts > 2]
        first = vertices[rows[counts != 2][0]].mean(axis=0) if (counts != 2).any() else vertices[0]
        place = ", ".join(f"{value:.4g}" for value in first)
        raise SurfaceError(
            f"part {part.name} cannot be united: it is not a closed solid ({len(open_edges)} open "
            f"edges, {len(crowded)} edges with more than two triangles, first near ({place}) in "
            "the file). Close it in the CAD, or leave it out with drop"
        )
    if solid.volume() <= 0.0:
        raise SurfaceError(
            f"part {part.name} cannot be united: it is inside out; turn its normals over in the CAD"
        )
    return solid


def _loose_message(parts, bodies) -> str:
    """Which parts lie in which of the bodies that stay apart."""
    if not bodies:
        return "uniting the parts leaves nothing; check them in the CAD"
    trees = [cKDTree(body.to_mesh64().vert_properties[:, :3]) for body in bodies]
    size = max(np.ptp(part.bounds, axis=0).max() for part in parts)
    groups: list[list[str]] = [[] for _ in bodies]
    for part in parts:
        near = [(tree.query(part.vertices)[0] <= _ON_RESULT * size).sum() for tree in trees]
        groups[int(np.argmax(near))].append(part.name)
    order = sorted(range(len(bodies)), key=lambda k: -bodies[k].volume())
    loose = ["; ".join(groups[k]) or "a piece" for k in order[1:]]
    return (
        f"the united parts make {len(bodies)} bodies, not one; apart from "
        f"{', '.join(groups[order[0]]) or 'the largest'} stay: {' | '.join(loose)}. Move them "
        "together in the CAD so that they overlap, or leave them out with drop"
    )
