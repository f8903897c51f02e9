"""Velocity of vortex cylinders and of straight vortex lines, in closed form."""

from __future__ import annotations

import numpy as np
from scipy.special import ellipe, ellipkm1, elliprf, elliprj

NEAR_EDGE = 1e-9
"""Points nearer to a sheet or its edge, parts of the radius, are taken at this distance."""


def vortex_cylinder(radius, axial, distance) -> tuple[np.ndarray, np.ndarray]:
    """Velocity of semi-infinite vortex cylinders of unit strength.

    The sheet of a cylinder starts at axial = 0 and runs towards positive axial coordinates
    without end; its vorticity is tangential, 1 m/s per metre of length, and makes 1 m/s along the
    axis far inside.

    Parameters
    ----------
    radius : float, m, of the cylinder, broadcast with the others
    axial, distance : float, m, coordinates of the points along the axis and from it

    Returns
    -------
    axial velocity, radial velocity : m/s, arrays of the common shape

    Notes
    -----
    With m = 4 r R / ((r + R)^2 + x^2), k = sqrt(m), n = 4 r R / (r + R)^2,

        u_x = H(R - r) / 2 + x k / (4 pi sqrt(r R)) (K(m) + (R - r) / (R + r) Pi(n, m)),
        u_r = -sqrt(R / r) / (2 pi) ((2 - m) / k K(m) - 2 / k E(m)).

    It follows from the Biot-Savart integral of a ring of vortices, integrated along x; a test
    compares it with quadrature. Source of the form: E. Branlard, M. Gaunaa, Cylindrical vortex
    wake model: right cylinder, Wind Energy 18 (2015) 1973-1987 (from memory).
    """
    big, x, r = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (radius, axial, distance))
    )
    r = np.maximum(r, NEAR_EDGE * big)
    r = np.where(np.abs(r - big) < NEAR_EDGE * big, (1.0 + NEAR_EDGE) * big, r)
    total, gap = (r + big) ** 2 + x**2, (r - big) ** 2
    m, rest = 4.0 * r * big / total, (gap + x**2) / total
    n_rest = gap / (r + big) ** 2
    first, second = ellipkm1(rest), ellipe(m)
    third = elliprf(0.0, rest, 1.0) + (1.0 - n_rest) / 3.0 * elliprj(0.0, rest, 1.0, n_rest)
    along = 0.5 * (r < big) + x / (2.0 * np.pi * np.sqrt(total)) * (
        first + (big - r) / (big + r) * third
    )
    outward = -np.sqrt(total) / (4.0 * np.pi * r) * ((2.0 - m) * first - 2.0 * second)
    # the brackets cancel near the axis and far away, where the cylinder is a sink of pi R^2
    far = -(big**2) * r / (4.0 * (big**2 + r**2 + x**2) ** 1.5)
    return along, np.where(m < 1e-6, far, outward)


def vortex_line(start, direction, length, points, core: float = 0.0) -> np.ndarray:
    """Velocity of a straight vortex line of unit circulation.

    Parameters
    ----------
    start : (3,) float, m
    direction : (3,) unit vector, of the line; the circulation is right-handed about it
    length : m, may be infinite
    points : (n, 3) float, m
    core : m, length by which the line is smoothed

    Returns
    -------
    (n, 3) float, m/s

    Notes
    -----
    Biot-Savart with r^3 replaced by (r^2 + core^2)^(3/2), which stays free of divergence
    (L. Rosenhead, The spread of vorticity in the wake behind a cylinder, Proc. R. Soc. A 127,
    1930, from memory). With t the direction, d the distance vector from the line and
    h^2 = d^2 + core^2: V = (t x d) / (4 pi h^2) [s / sqrt(s^2 + h^2)], s taken from the point's
    foot to both ends. On the line itself the velocity is taken as zero.
    """
    offset = np.asarray(points, dtype=float) - start
    along = offset @ direction
    away = offset - along[:, None] * direction
    h2 = (away**2).sum(axis=1) + core**2
    safe = np.where(h2 > 0.0, h2, 1.0)
    before = along / np.sqrt(along**2 + safe)
    rest = length - along
    behind = 1.0 if np.isinf(length) else rest / np.sqrt(rest**2 + safe)
    share = np.where(h2 > 0.0, (before + behind) / (4.0 * np.pi * safe), 0.0)
    return share[:, None] * np.cross(direction, away)
