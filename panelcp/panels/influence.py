"""Velocity that uniform source density on flat panels induces."""

from __future__ import annotations

import numpy as np

from panelcp.errors import PanelcpError
from panelcp.surface.mesh import SurfaceMesh

FAR_LIMIT = 12.0
"""Beyond this many panel sizes (root of the area) a panel acts as a point source.

The error of one panel there is below (size/distance)^2 / 12 of its own share, 6e-4."""


def _kernels():
    try:
        from panelcp.panels import _kernels as kernels
    except ImportError as error:
        raise PanelcpError(
            "the compiler package numba is not installed for this Python; panelcp needs it. "
            "Use a Python version for which numba has a ready-made package (3.11 to 3.15 at the "
            f"time of this release) and install again ({error})"
        ) from error
    return kernels


def triangle_velocity(points, corners) -> np.ndarray:
    """Velocity from unit source density on one flat triangle, exact.

    Parameters
    ----------
    points : (n, 3) float, m
    corners : (3, 3) float, m, counter-clockwise seen from the outside

    Returns
    -------
    (n, 3) float, m/s per m/s of density; principal value on the panel itself, to which the
    outside adds half the normal

    Notes
    -----
    u = (1/4 pi) integral of (x - y)/|x - y|^3 over the triangle. See the kernel for sources.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0.3, 0.8, 0]])
    >>> 4 * np.pi * triangle_velocity(np.array([[0.0, 0.0, 1.0]]), corners)
    array([[-0.10641697, -0.06790338,  0.27001206]])
    """
    kernel = _kernels().triangle_velocity
    corners = np.asarray(corners, dtype=float)
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.linalg.norm(normal)
    return np.array([kernel(*point, corners, normal) for point in np.asarray(points, float)])


def normal_influence(surface: SurfaceMesh) -> tuple[np.ndarray, ...]:
    """Matrices of the normal velocity outside each panel from unit density on each panel.

    Parameters
    ----------
    surface : SurfaceMesh

    Returns
    -------
    One (n_solved, n_solved) matrix, or two for a mirrored surface: density equal on the mirror
    image, and density of opposite sign there.
    """
    geometry = _geometry(surface)
    points, normals = geometry[2], geometry[1]
    if surface.mirrored:
        return _kernels().mirrored_normal_influence(points, normals, *geometry, FAR_LIMIT)
    return (_kernels().normal_influence(points, normals, *geometry, FAR_LIMIT),)


def induced_velocity(surface: SurfaceMesh, source_strength, points=None) -> np.ndarray:
    """Velocity at points from source densities on all panels.

    Parameters
    ----------
    surface : SurfaceMesh
    source_strength : (n_units, n_panels) float, m/s, both halves
    points : (n_points, 3) float, m; the outer side of the centroids when not given

    Returns
    -------
    (n_units, n_points, 3) float, m/s
    """
    strength = np.ascontiguousarray(source_strength, dtype=float)
    geometry = _geometry(surface.unmirrored())
    if points is not None:
        points = np.ascontiguousarray(points, dtype=float)
        return _kernels().induced_velocity(points, strength, *geometry, FAR_LIMIT)
    points = geometry[2][: surface.n_solved]
    velocity = _kernels().induced_velocity(points, strength, *geometry, FAR_LIMIT)
    own = strength[:, : surface.n_solved, None] * surface.normals[: surface.n_solved]
    return velocity + 0.5 * own


def _geometry(surface: SurfaceMesh):
    n = surface.n_solved
    return tuple(
        np.ascontiguousarray(array[:n])
        for array in (surface.corners, surface.normals, surface.centroids, surface.areas)
    )
