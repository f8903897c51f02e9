"""Curved panels from the triangle mesh alone: fitted normals, 6-node patches, gradient stencils.

One unknown lives on each panel, at the control point: the middle of a quadratic patch through
the three corners and three lifted mid-edge nodes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.neighbours import corner_groups, gradient_weights, smooth_neighbours

MAX_LIFT = 0.15
"""Greatest lift of a mid-edge node, parts of the edge."""

ROUGHNESS_FACTOR = 4.0
"""Standard deviation of Cp over roughness, see `roughness_band`."""

_SEVEN_POINTS = np.array(
    [
        [1 / 3, 1 / 3, 0.225],
        [0.059715871789770, 0.470142064105115, 0.132394152788506],
        [0.470142064105115, 0.059715871789770, 0.132394152788506],
        [0.470142064105115, 0.470142064105115, 0.132394152788506],
        [0.797426985353087, 0.101286507323456, 0.125939180544827],
        [0.101286507323456, 0.797426985353087, 0.125939180544827],
        [0.101286507323456, 0.101286507323456, 0.125939180544827],
    ]
)
"""Degree-5 rule of 7 points (J. Radon, Zur mechanischen Kubatur, 1948; digits from memory,
tested): parameter coordinates and weight."""


@dataclass(frozen=True, eq=False)
class CurvedPanels:
    """Quadratic patches over the panels of a surface.

    X(xi, eta) = sum over the rows of `coefficients` times 1, xi, eta, xi^2, xi eta, eta^2, on the
    triangle xi, eta >= 0, xi + eta <= 1; corners 0, 1, 2 at (0, 0), (1, 0), (0, 1).

    Attributes
    ----------
    coefficients : (n_panels, 6, 3) float, m
    points : (n_panels, 3) float, m, control points X(1/3, 1/3)
    normals : (n_panels, 3) float, unit, of the patch at the control points
    areas : (n_panels,) float, m2, of the patches
    centroids : (n_panels, 3) float, m, area centroids of the patches
    neighbours : (n_panels, 3) int, edge neighbours within the smooth skin, -1 where none
    stencil : (n_panels, 3, 3) float, 1/m: gradient = sum_k stencil[:, k] (s_k - s)
    """

    coefficients: np.ndarray
    points: np.ndarray
    normals: np.ndarray
    areas: np.ndarray
    centroids: np.ndarray
    neighbours: np.ndarray
    stencil: np.ndarray

    def __post_init__(self):
        for name in ("coefficients", "points", "normals", "areas", "centroids", "stencil"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "neighbours", frozen_array(self.neighbours, np.int64))

    def reflected(self, matrix, offset) -> CurvedPanels:
        """Mirror image x -> matrix x + offset, normals turned with it, neighbours kept."""
        matrix, offset = np.asarray(matrix, dtype=float), np.asarray(offset, dtype=float)
        coefficients = self.coefficients @ matrix.T
        coefficients[:, 0] += offset
        return CurvedPanels(
            coefficients=coefficients,
            points=self.points @ matrix.T + offset,
            normals=self.normals @ matrix.T,
            areas=self.areas,
            centroids=self.centroids @ matrix.T + offset,
            neighbours=self.neighbours,
            stencil=self.stencil @ matrix.T,
        )

    def joined(self, other: CurvedPanels) -> CurvedPanels:
        """These panels, then the other ones."""
        moved = np.where(other.neighbours >= 0, other.neighbours + len(self.areas), -1)
        pairs = {
            name: np.concatenate([getattr(self, name), getattr(other, name)])
            for name in ("coefficients", "points", "normals", "areas", "centroids", "stencil")
        }
        return CurvedPanels(neighbours=np.concatenate([self.neighbours, moved]), **pairs)

    def cut(self, group) -> CurvedPanels:
        """Copy whose stencils do not reach across panels of different `group`, (n_panels,).

        For rims of openings with a given flow: the skin stays smooth, the density jumps.
        """
        group = np.asarray(group)
        neighbours = np.where(group[self.neighbours] == group[:, None], self.neighbours, -1)
        stencil = gradient_weights(self.points, self.normals, neighbours)
        return replace(self, neighbours=neighbours, stencil=stencil)


@lru_cache(maxsize=4)
def curved_panels(surface: SurfaceMesh) -> CurvedPanels:
    """Fit curved panels to a surface; the last few results are kept.

    Parameters
    ----------
    surface : SurfaceMesh

    Returns
    -------
    CurvedPanels, of both halves when the surface is mirrored

    Notes
    -----
    Mid-edge node of the edge a-b: (a + b)/2 + [(e.n_b) n_b - (e.n_a) n_a]/8, e = b - a, the lift
    cut to 0.15 |e|; no lift on sharp edges. Both panels of an edge get the same node, so that the
    skin stays closed.
    """
    neighbours = smooth_neighbours(surface)
    coefficients = _coefficients(surface, corner_normals(surface), neighbours)
    points = evaluate(coefficients, 1 / 3, 1 / 3)
    normals = area_vectors(coefficients, 1 / 3, 1 / 3)
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    areas, centroids = _areas(coefficients)
    stencil = gradient_weights(points, normals, neighbours)
    panels = CurvedPanels(coefficients, points, normals, areas, centroids, neighbours, stencil)
    return _exactly_mirrored(panels) if surface.mirrored else panels


def _exactly_mirrored(panels: CurvedPanels) -> CurvedPanels:
    """The first half and its exact mirror image, so that rounding cannot make a difference.

    The image of a panel has its corners in the order 0, 2, 1: xi and eta change places.
    """
    n = len(panels.areas) // 2
    flip = np.array([1.0, -1.0, 1.0])
    image = {
        "coefficients": panels.coefficients[:n][:, [0, 2, 1, 5, 4, 3]] * flip,
        "points": panels.points[:n] * flip,
        "normals": panels.normals[:n] * flip,
        "areas": panels.areas[:n],
        "centroids": panels.centroids[:n] * flip,
        "stencil": panels.stencil[:n][:, [2, 1, 0]] * flip,
    }
    both = {name: np.concatenate([getattr(panels, name)[:n], part]) for name, part in image.items()}
    return CurvedPanels(neighbours=panels.neighbours, **both)


def corner_normals(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels, 3, 3) float, unit: fitted normals at the corners.

    Corners joined through smooth edges share one normal. It starts from the facet normals with
    weights 2 A/(l1^2 l2^2), l1 and l2 the two edges at the corner (N. Max, Weights for computing
    vertex normals from facet normals, J. Graphics Tools 4 (1999), from memory: exact on spheres),
    and is turned by two passes of a cubic fit through the vertices of two rings.
    """
    groups, normals, _ = _vertex_fits(surface)
    return normals[groups].reshape(-1, 3, 3)


def roughness(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) float: scatter of the vertices about the smooth skin, parts of their distance.

    Rms over a panel's corners of the rms distance of the neighbours of two rings from the cubic
    fit: about the standard deviation of the noise of a scan over the mean distance to them. On a
    clean mesh what is left is what the cubic cannot follow, which falls with the fourth power of
    the spacing. Zero where there are too few neighbours for a fit.
    """
    groups, _, rough = _vertex_fits(surface)
    corners = np.nan_to_num(rough)[groups].reshape(-1, 3)
    return np.sqrt((corners**2).mean(axis=1))


def roughness_band(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) float: standard deviation of Cp that the roughness leaves, 4 times it (measured).

    Measured on spheres of 1 280 and 5 120 panels with vertices off the skin at random, by 0.2 to
    3 % of an edge: 2.8 to 4.2.
    """
    return ROUGHNESS_FACTOR * roughness(surface)


def _vertex_fits(surface: SurfaceMesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Corner groups (3 n_panels,), their normals (n_groups, 3) and roughness (n_groups,)."""
    from panelcp.surface._kernels import fitted_normals

    groups = corner_groups(surface)
    n_groups = int(groups.max()) + 1
    corners = surface.corners
    ahead = ((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2)
    behind = ((np.roll(corners, 1, axis=1) - corners) ** 2).sum(axis=2)
    share = (2.0 / (ahead * behind))[:, :, None] * surface.area_vectors[:, None]
    sums = [np.bincount(groups, share[:, :, k].ravel(), n_groups) for k in range(3)]
    start = np.stack(sums, axis=1)
    start /= np.linalg.norm(start, axis=1, keepdims=True)
    points = np.empty((n_groups, 3))
    points[groups] = corners.reshape(-1, 3)
    starts, links = _links(groups.reshape(-1, 3), n_groups)
    return groups, *fitted_normals(points, start, starts, links)


def evaluate(coefficients: np.ndarray, xi, eta) -> np.ndarray:
    """(n_panels, 3) float, m: point of every patch; parameters for all, or (n_panels,) each."""
    xi, eta = np.asarray(xi, dtype=float), np.asarray(eta, dtype=float)
    powers = np.array([np.ones_like(xi), xi, eta, xi * xi, xi * eta, eta * eta])
    return np.einsum("nkd,k->nd" if powers.ndim == 1 else "nkd,kn->nd", coefficients, powers)


def area_vectors(coefficients: np.ndarray, xi, eta) -> np.ndarray:
    """(n_panels, 3) float, m2: X_xi x X_eta of every patch; parameters as in `evaluate`."""
    xi, eta = np.asarray(xi, dtype=float)[..., None], np.asarray(eta, dtype=float)[..., None]
    _, a, b, c, d, e = np.moveaxis(coefficients, 1, 0)
    return np.cross(a + 2 * xi * c + eta * d, b + xi * d + 2 * eta * e)


def _coefficients(surface, normals, neighbours) -> np.ndarray:
    corners = surface.corners
    edge = np.roll(corners, -1, axis=1) - corners
    normals_ahead = np.roll(normals, -1, axis=1)
    lift = (edge * normals_ahead).sum(axis=2, keepdims=True) * normals_ahead
    lift = (lift - (edge * normals).sum(axis=2, keepdims=True) * normals) / 8.0
    length = np.linalg.norm(edge, axis=2, keepdims=True)
    size = np.linalg.norm(lift, axis=2, keepdims=True)
    lift *= np.minimum(1.0, MAX_LIFT * length / np.maximum(size, 1e-300))
    lift[neighbours < 0] = 0.0
    middle = corners + 0.5 * edge + lift
    p1, p2, p3 = np.moveaxis(corners, 1, 0)
    m12, m23, m31 = np.moveaxis(middle, 1, 0)
    rows = [
        p1,
        -3 * p1 - p2 + 4 * m12,
        -3 * p1 - p3 + 4 * m31,
        2 * p1 + 2 * p2 - 4 * m12,
        4 * (p1 - m12 + m23 - m31),
        2 * p1 + 2 * p3 - 4 * m31,
    ]
    return np.stack(rows, axis=1)


def _areas(coefficients) -> tuple[np.ndarray, np.ndarray]:
    areas, moments = 0.0, 0.0
    for xi, eta, weight in _SEVEN_POINTS:
        part = 0.5 * weight * np.linalg.norm(area_vectors(coefficients, xi, eta), axis=1)
        areas = areas + part
        moments = moments + part[:, None] * evaluate(coefficients, xi, eta)
    return areas, moments / areas[:, None]


def _links(triangles, n) -> tuple[np.ndarray, np.ndarray]:
    """Neighbours of every vertex, as starts and one long list."""
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    both = np.concatenate([ends, ends[:, ::-1]])
    keys = np.unique(both[:, 0] * np.int64(n) + both[:, 1])
    starts = np.searchsorted(keys, np.arange(n + 1, dtype=np.int64) * n)
    return starts, keys % n
