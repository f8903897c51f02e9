"""The skin round an opening, cut out, refined on the curved panels and laid flat."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.curved import curved_panels, evaluate
from panelcp.surface.flattening import flattened, require_disc
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place

MARGIN = 0.03
"""m, of skin round the outline. Paper that is larger only stretches more."""

MARGIN_WEIGHT = 0.03
"""Stretch outside the outline counts so much less."""

SHARP_FOLD = 30.0
"""deg; over a sharper fold inside the outline no paper lies flat."""

FINENESS = 20
"""Triangles over the smaller side of an opening."""

MOST_TRIANGLES = 12_000
STEEPEST = 0.1
"""Panels whose normal has a smaller cosine to that of the opening are not looked at."""

CANDIDATES = 16
"""Triangles near a point of the paper that are looked at."""

Half = tuple[float, float]
WHOLE: tuple[Half, Half] = ((-np.inf, np.inf), (-np.inf, np.inf))
"""Ranges along and across of a piece that is the whole opening, m from its centre."""


@dataclass(frozen=True, eq=False)
class SkinPatch:
    """A disc of skin and the same disc on paper.

    Attributes
    ----------
    vertices : (n, 3) float, m, on the curved panels
    triangles : (m, 3) int
    flat : (n, 2) float, m; x along the opening, y across it, its centre at the origin, seen from
        outside
    inside : (m,) bool: triangles whose centroid lies inside the outline
    """

    vertices: np.ndarray
    triangles: np.ndarray
    flat: np.ndarray
    inside: np.ndarray

    def __post_init__(self):
        for name, kind in (("vertices", float), ("triangles", np.int64), ("flat", float)):
            object.__setattr__(self, name, frozen_array(getattr(self, name), kind))
        object.__setattr__(self, "inside", frozen_array(self.inside, bool))

    @cached_property
    def finder(self) -> SkinFinder:
        """Finder of the patch as a surface of its own."""
        return SkinFinder(SurfaceMesh(self.vertices, self.triangles))

    def on_paper(self, points, panels) -> np.ndarray:
        """(k, 2) float, m: where points (k, 3) of the patch's triangles (k,) lie on the paper."""
        shares = _shares(self.vertices[self.triangles[panels]], np.asarray(points))
        return np.einsum("kc,kcd->kd", shares, self.flat[self.triangles[panels]])

    def on_skin(self, places) -> np.ndarray:
        """(k, 3) float, m: where places (k, 2) of the paper lie on the skin; nan outside."""
        places = np.asarray(places, dtype=float)
        _, near = self._tree.query(places, k=min(CANDIDATES, len(self.triangles)))
        near = near.reshape(len(places), -1)
        corners = self.flat[self.triangles[near]]
        shares = _shares(corners, places[:, None])
        best = np.argmax(shares.min(axis=2), axis=1)
        row = np.arange(len(places))
        found, shares = near[row, best], shares[row, best]
        points = np.einsum("kc,kcd->kd", shares, self.vertices[self.triangles[found]])
        points[shares.min(axis=1) < -1e-6] = np.nan
        return points

    def projected(self, opening: Opening, places) -> tuple[np.ndarray, np.ndarray]:
        """Places in the opening's plane brought onto the skin along its normal.

        Parameters
        ----------
        opening : Opening
        places : (k, 2) float, m, along and across from its centre

        Returns
        -------
        on the skin : (k, 3) float, m, nan where there is no skin
        on the paper : (k, 2) float, m, nan too
        """
        frame = np.array([opening.along, opening.across])
        ahead = 2.0 * float(np.abs((self.vertices - opening.centre) @ opening.normal).max()) + 0.1
        origins = opening.centre + np.asarray(places) @ frame + ahead * opening.normal
        panels, points = self.finder.hits(origins, -opening.normal)
        paper = np.full((len(points), 2), np.nan)
        hit = panels >= 0
        paper[hit] = self.on_paper(points[hit], panels[hit])
        return points, paper

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.flat[self.triangles].mean(axis=1))


def patch_round(
    skin: SkinFinder | SurfaceMesh, opening: Opening, piece=WHOLE, margin: float = MARGIN
) -> SkinPatch:
    """Cut out the skin round an opening, or round a piece of it, and lay it flat.

    Parameters
    ----------
    skin : SurfaceMesh, or a SkinFinder of it
    opening : laid onto it
    piece : ranges along and across, m from the centre, of the piece that is wanted
    margin : m, of skin round it

    Returns
    -------
    SkinPatch

    Raises
    ------
    SurfaceError : a sharp fold or a hole inside the outline, or no disc of skin round it
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    surface = finder.surface
    panels = _panels_round(finder, opening, margin)
    _require_smooth(surface, opening, panels)
    vertices, triangles = _refined(surface, panels, _steps(surface, opening, panels))
    outside = _outside(opening, piece, _in_plane(opening, vertices))[triangles].max(axis=1)
    triangles = _disc(opening, vertices, triangles, outside, margin)
    used, triangles = np.unique(triangles, return_inverse=True)
    vertices, triangles = vertices[used], triangles.reshape(-1, 3)
    centroids = vertices[triangles].mean(axis=1)
    inside = _outside(opening, piece, _in_plane(opening, centroids)) <= 0.0
    flat = flattened(vertices, triangles, np.where(inside, 1.0, MARGIN_WEIGHT))
    return _set_straight(SkinPatch(vertices, triangles, flat, inside), opening)


def _disc(opening: Opening, vertices, triangles, outside, margin: float) -> np.ndarray:
    """(m, 3) int: a disc round the outline; with less margin where a hole lies in it."""
    fault = "no skin is left round it to lay flat"
    for share in (1.0, 0.75, 0.5, 0.35):
        kept = _one_disc(triangles[outside <= share * margin])
        if not len(kept):
            break
        try:
            require_disc(vertices, kept)
            return kept
        except SurfaceError as error:
            fault = str(error)
    place = format_place(opening.centre)
    raise SurfaceError(f"opening {opening.name} at {place}: {fault}")


def _in_plane(opening: Opening, points) -> np.ndarray:
    """(..., 2) m: along and across from the centre."""
    return (points - opening.centre) @ np.array([opening.along, opening.across]).T


def _outside(opening: Opening, piece, places) -> np.ndarray:
    """(...,) m: about how far places in the plane lie outside a piece; negative inside."""
    half = 0.5 * np.array([opening.length, opening.width])
    limits = np.array(piece)
    box = np.maximum(limits[:, 0] - places, places - limits[:, 1]).max(axis=-1)
    if opening.shape == "oval":
        radius = np.linalg.norm(places, axis=-1)
        share = np.linalg.norm(places / half, axis=-1)
        return np.maximum(box, radius - radius / np.maximum(share, 1e-9))
    return np.maximum(box, (np.abs(places) - half).max(axis=-1))


def _panels_round(finder: SkinFinder, opening: Opening, margin: float) -> np.ndarray:
    """(k,) int: panels that are joined to the centre without a sharp fold, margin included."""
    surface = finder.surface
    reach = 0.5 * float(np.hypot(opening.length, opening.width)) + 2.0 * margin
    near = np.sort(finder.near(opening.centre, 1.5 * reach))
    near = near[surface.normals[near] @ opening.normal > STEEPEST]
    flat = _in_plane(opening, surface.corners[near])
    limits = 0.5 * np.array([opening.length, opening.width]) + margin
    touched = (flat.min(axis=1) <= limits) & (flat.max(axis=1) >= -limits)
    near, flat = near[touched.all(axis=1)], flat[touched.all(axis=1)]
    place = np.full(surface.n_panels, -1)
    place[near] = np.arange(len(near))
    across = surface.edge_neighbours[near]
    other = np.where(across >= 0, place[across], -1)
    folded = _fold_cosines(surface, near) < np.cos(np.radians(SHARP_FOLD))
    inside = _edges_inside(opening, flat)
    panel, edge = np.nonzero((other >= 0) & (~folded | inside))
    graph = coo_array((np.ones(len(panel)), (panel, other[panel, edge])), shape=(len(near),) * 2)
    labels = connected_components(graph, directed=False)[1]
    centre = place[finder.nearest(opening.centre)[1]]
    return near[labels == labels[centre]]


def _fold_cosines(surface: SurfaceMesh, panels) -> np.ndarray:
    """(k, 3): cosine of the fold over every edge; 1 where there is no neighbour."""
    across = surface.edge_neighbours[panels]
    cosine = np.einsum("kd,ked->ke", surface.normals[panels], surface.normals[across])
    return np.where(across >= 0, cosine, 1.0)


def _edges_inside(opening: Opening, flat) -> np.ndarray:
    """(k, 3) bool: edges of which some part lies inside the outline; `flat` (k, 3, 2)."""
    share = np.linspace(0.0, 1.0, 33)[:, None, None, None]
    points = flat + share * (np.roll(flat, -1, axis=1) - flat)
    tiny = 1e-3 * min(opening.length, opening.width)
    return (_outside(opening, WHOLE, points) < -tiny).any(axis=0)


def _require_smooth(surface: SurfaceMesh, opening: Opening, panels):
    """Refuse sharp folds and holes inside the outline."""
    inside = _edges_inside(opening, _in_plane(opening, surface.corners[panels]))
    corners = surface.corners[panels]
    middle = 0.5 * (corners + np.roll(corners, -1, axis=1))
    hole = inside & (surface.edge_neighbours[panels] < 0)
    if hole.any():
        raise SurfaceError(
            f"opening {opening.name}: the skin has a hole inside the outline, at "
            f"{format_place(middle[hole][0])}; close it (see 'panelcp check'), or move the opening"
        )
    fold = np.degrees(np.arccos(np.clip(_fold_cosines(surface, panels), -1.0, 1.0)))
    fold[~inside] = 0.0
    worst = np.unravel_index(np.argmax(fold), fold.shape)
    if fold[worst] > SHARP_FOLD:
        raise SurfaceError(
            f"opening {opening.name}: the skin folds by {fold[worst]:.0f} deg inside the outline "
            f"(at {format_place(middle[worst])}; at most {SHARP_FOLD:.0f} deg can be laid flat). "
            "Move the opening off the edge or make it smaller; where the skin is in truth rounded "
            "there, give a surface with more triangles"
        )


def _steps(surface: SurfaceMesh, opening: Opening, panels) -> int:
    """Into how many pieces every edge is divided."""
    corners = surface.corners[panels]
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max()
    finest = min(min(opening.length, opening.width) / FINENESS, MARGIN / 3.0)
    wanted = np.ceil(longest / finest)
    return int(np.clip(wanted, 1, max(1.0, np.sqrt(MOST_TRIANGLES / len(panels)))))


def _refined(surface: SurfaceMesh, panels, steps: int) -> tuple[np.ndarray, np.ndarray]:
    """Points on the curved panels and triangles between them, `steps` squared for every panel."""
    i, j = (part.ravel() for part in np.mgrid[: steps + 1, : steps + 1])
    i, j = (part[i + j <= steps] for part in (i, j))
    number = {(a, b): k for k, (a, b) in enumerate(zip(i.tolist(), j.tolist(), strict=True))}
    local = []
    for (a, b), k in number.items():
        if a + b < steps:
            local.append([k, number[a + 1, b], number[a, b + 1]])
        if a + b < steps - 1:
            local.append([number[a + 1, b], number[a + 1, b + 1], number[a, b + 1]])
    coefficients = curved_panels(surface).coefficients[panels]
    points = np.array(
        [evaluate(coefficients, x, y) for x, y in zip(i / steps, j / steps, strict=True)]
    )
    keys = _lattice_keys(surface.triangles[panels], np.stack([steps - i - j, i, j], axis=1))
    _, first, index = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    points = np.swapaxes(points, 0, 1).reshape(-1, 3)[first]
    index = index.reshape(len(panels), -1)
    return points, index[:, np.array(local)].reshape(-1, 3)


def _lattice_keys(triangles, shares) -> np.ndarray:
    """(panels * points, 4) int: alike for points of two panels on their common edge."""
    n_panels, n_points = len(triangles), len(shares)
    keys = np.zeros((n_panels, n_points, 4), dtype=np.int64)
    zeros = (shares == 0).sum(axis=1)
    for k, (share, zero) in enumerate(zip(shares, zeros, strict=True)):
        if zero == 0:
            keys[:, k, 0] = 1 + np.arange(n_panels)
            keys[:, k, 1:] = share
            continue
        ends = np.flatnonzero(share)
        first, second = triangles[:, ends[0]], triangles[:, ends[-1]]
        keys[:, k, 1], keys[:, k, 2] = np.minimum(first, second), np.maximum(first, second)
        if zero == 1:
            keys[:, k, 3] = np.where(first < second, share[ends[0]], share[ends[1]])
    return keys.reshape(-1, 4)


def _one_disc(triangles: np.ndarray) -> np.ndarray:
    """The largest piece joined by edges, without triangles that hang on one edge only."""
    while len(triangles):
        edges = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2)
        code = edges[..., 0] * (triangles.max() + 1) + edges[..., 1]
        _, index, count = np.unique(code, return_inverse=True, return_counts=True)
        index = index.reshape(-1, 3)
        joined = coo_array(
            (np.ones(index.size), (np.repeat(np.arange(len(index)), 3), index.ravel()))
        )
        labels = connected_components(joined @ joined.T, directed=False)[1]
        kept = labels == np.argmax(np.bincount(labels))
        kept &= (count[index] > 1).sum(axis=1) > 1
        if kept.all() or len(triangles) == 1:
            break
        triangles = triangles[kept]
    return triangles


def _set_straight(patch: SkinPatch, opening: Opening) -> SkinPatch:
    """The same patch with the centre at the origin and the opening's axis along x."""
    step = min(0.1 * min(opening.length, opening.width), 0.2 * MARGIN)
    _, paper = patch.projected(opening, [[0.0, 0.0], [-step, 0.0], [step, 0.0]])
    centre, ahead = paper[0], paper[2] - paper[1]
    if not np.isfinite(paper).all():
        raise SurfaceError(f"opening {opening.name}: there is no skin round its centre")
    ahead /= np.linalg.norm(ahead)
    turn = np.array([[ahead[0], -ahead[1]], [ahead[1], ahead[0]]])
    return SkinPatch(patch.vertices, patch.triangles, (patch.flat - centre) @ turn, patch.inside)


def _shares(corners, points) -> np.ndarray:
    """(..., 3): shares of the corners (..., 3, d) in points (..., d) of the triangles."""
    a, b = corners[..., 1, :] - corners[..., 0, :], corners[..., 2, :] - corners[..., 0, :]
    c = points - corners[..., 0, :]
    aa, ab, bb = ((u * v).sum(axis=-1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=-1), (c * b).sum(axis=-1)
    area = aa * bb - ab * ab
    second, third = (ca * bb - cb * ab) / area, (cb * aa - ca * ab) / area
    return np.stack([1.0 - second - third, second, third], axis=-1)
