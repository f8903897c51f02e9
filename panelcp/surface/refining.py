"""Finer panels in a part of the surface, to see how much its panelling matters there."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array

from panelcp.errors import SurfaceError
from panelcp.surface.curved import curved_panels, evaluate
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import format_place

MIDDLES = ((0.5, 0.0), (0.5, 0.5), (0.0, 0.5))
"""Parameters of the middle of the edge from corner k to corner k + 1 of a patch."""

MIRROR = np.array([1.0, -1.0, 1.0])


def refined(surface: SurfaceMesh, panels) -> tuple[SurfaceMesh, np.ndarray]:
    """Surface with some panels divided into four, their neighbours into two where needed.

    Parameters
    ----------
    surface : SurfaceMesh, closed
    panels : (n_panels,) bool, those to divide; of a mirrored surface their images are divided too

    Returns
    -------
    finer : SurfaceMesh; its first vertices are those of `surface`, which do not move
    parents : (n_finer_panels,) int, the panel of `surface` that each lies on, increasing. A panel
        divided into four has its middle last; a panel that is not divided stays as it is

    Raises
    ------
    SurfaceError : wrong shape of `panels`

    Notes
    -----
    New vertices lie on the curved patches, in the middle of their edges; on sharp edges they are
    straight midpoints. A panel with two or three divided edges is divided into four, one with one
    divided edge into two, so that no vertex hangs on an edge (red and green division: R. E. Bank,
    A. H. Sherman, A. Weiser, Refinement algorithms and data structures for regular local mesh
    refinement, 1983, from memory).
    """
    marked = _checked_mask(surface, panels)
    if surface.mirrored:
        marked = marked[: surface.n_solved] | marked[surface.n_solved :]
    edges, ends = _edges(surface.triangles[: surface.n_solved])
    cut = _closed_cut(edges, marked)
    vertices, middle = _with_middles(surface, edges, ends, cut)
    triangles, parents = _divided(surface.triangles[: surface.n_solved], middle[edges])
    if surface.mirrored:
        vertices, image = _with_images(surface, vertices)
        triangles = np.concatenate([triangles, image[triangles][:, [0, 2, 1]]])
        parents = np.concatenate([parents, parents + surface.n_solved])
    finer = SurfaceMesh(
        vertices,
        triangles,
        surface.region_index[parents],
        surface.region_names,
        mirrored=surface.mirrored,
        notes=surface.notes,
    )
    return finer.with_notes(*_notes(surface, parents)), parents


def grown(surface: SurfaceMesh, panels, rings: int) -> np.ndarray:
    """(n_panels,) bool: some panels and those that touch them, at a vertex or more, ring by ring.

    Parameters
    ----------
    surface : SurfaceMesh
    panels : (n_panels,) bool
    rings : how often to go on
    """
    grown_panels = np.array(_checked_mask(surface, panels))
    for _ in range(rings):
        touched = np.zeros(surface.n_vertices, dtype=bool)
        touched[surface.triangles[grown_panels]] = True
        grown_panels = touched[surface.triangles].any(axis=1)
    return grown_panels


def parent_operator(surface: SurfaceMesh, finer: SurfaceMesh, parents) -> csr_array:
    """Matrix that takes values of a refined surface to the control points of the one before.

    Parameters
    ----------
    surface : SurfaceMesh
    finer, parents : what `refined` gives for it

    Returns
    -------
    (n_panels, n_finer_panels) sparse array

    Notes
    -----
    The control point of a panel divided into four lies on the middle part; of a panel divided into
    two it lies on the edge between both, where their values agree: see `point_operator`.
    """
    counts = np.bincount(parents, minlength=surface.n_panels)
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    under = first + np.where(counts == 4, 3, 0)
    kept, split = (counts == 1).astype(float), np.flatnonzero(counts > 1)
    shape = (surface.n_panels, finer.n_panels)
    own = csr_array((kept, first, np.arange(surface.n_panels + 1)), shape=shape)
    if len(split) == 0:
        return own
    carried = point_operator(finer, curved_panels(surface).points[split], under[split]).tocoo()
    placed = (carried.data, (split[carried.row], carried.col))
    return csr_array(own + coo_array(placed, shape=shape).tocsr())


def _checked_mask(surface, panels) -> np.ndarray:
    mask = np.asarray(panels)
    if mask.shape != (surface.n_panels,) or mask.dtype != bool:
        raise SurfaceError(
            f"panels has shape {mask.shape} of {mask.dtype}; expected ({surface.n_panels},) true "
            "or false, one for each panel"
        )
    return mask


def _edges(triangles) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) edge from corner k to k + 1 of every panel, and (n_edges, 2) its vertices."""
    pairs = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2)
    ends, index = np.unique(np.sort(pairs.reshape(-1, 2), axis=1), axis=0, return_inverse=True)
    return index.reshape(-1, 3), ends


def _closed_cut(edges, marked) -> np.ndarray:
    """(n_edges,) bool: edges to divide, so that no panel has just two of them."""
    cut = np.zeros(int(edges.max()) + 1, dtype=bool)
    whole = marked
    while whole.any():
        cut[edges[whole]] = True
        whole = cut[edges].sum(axis=1) == 2
    return cut


def _with_middles(surface, edges, ends, cut) -> tuple[np.ndarray, np.ndarray]:
    """Old and new vertices, and (n_edges,) the new vertex of each edge, -1 for none."""
    coefficients = curved_panels(surface).coefficients[: len(edges)]
    places = np.stack([evaluate(coefficients, *middle) for middle in MIDDLES], axis=1)
    panel, side = np.nonzero(cut[edges])
    found, first = np.unique(edges[panel, side], return_index=True)
    new = places[panel[first], side[first]]
    if surface.mirrored:
        new[(surface.vertices[ends[found], 1] == 0.0).all(axis=1), 1] = 0.0
    middle = np.full(len(cut), -1, dtype=np.int64)
    middle[found] = surface.n_vertices + np.arange(len(found))
    return np.concatenate([surface.vertices, new]), middle


def _divided(triangles, middle) -> tuple[np.ndarray, np.ndarray]:
    """Triangles and parents from the new vertices (n, 3) on the edges, -1 for none."""
    count = (middle >= 0).sum(axis=1)
    panels = np.arange(len(triangles))
    whole, two, four = (panels[count == k] for k in (0, 1, 3))
    a, b, c = triangles[four].T
    ab, bc, ca = middle[four].T
    parts = [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
    quarters = np.stack([np.stack(part, axis=1) for part in parts], axis=1)
    place = (np.argmax(middle[two] >= 0, axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(triangles[two], place, axis=1).T
    new = middle[two].max(axis=1)
    halves = np.stack([np.stack([a, new, c], axis=1), np.stack([new, b, c], axis=1)], axis=1)
    everything = np.concatenate([triangles[whole], *(p.reshape(-1, 3) for p in (halves, quarters))])
    parents = np.concatenate([whole, np.repeat(two, 2), np.repeat(four, 4)])
    order = np.argsort(parents, kind="stable")
    return everything[order], parents[order]


def _with_images(surface, vertices) -> tuple[np.ndarray, np.ndarray]:
    """All vertices with the images of the new ones, and (n_vertices,) the image of each."""
    n, n_old = surface.n_solved, surface.n_vertices
    image = np.arange(len(vertices))
    image[surface.triangles[:n]] = surface.triangles[n:][:, [0, 2, 1]]
    aside = n_old + np.flatnonzero(vertices[n_old:, 1] != 0.0)
    image[aside] = len(vertices) + np.arange(len(aside))
    return np.concatenate([vertices, vertices[aside] * MIRROR]), image


def _notes(surface, parents) -> list[str]:
    counts = np.bincount(parents, minlength=surface.n_panels)
    if not (counts > 1).any():
        return []
    middle = format_place(surface.centroids[counts == 4].mean(axis=0))
    return [
        f"{np.count_nonzero(counts == 4)} panels divided into four and "
        f"{np.count_nonzero(counts == 2)} into two, about {middle}"
    ]
