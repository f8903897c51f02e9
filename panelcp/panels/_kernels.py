"""Compiled loops over pairs of point and panel."""

from math import atan2, log, pi, sqrt

import numpy as np
from numba import njit, prange

FOUR_PI = 4.0 * pi


@njit(cache=True, error_model="numpy")
def triangle_velocity(x, y, z, corners, normal):
    """Velocity at a point from unit source density on a flat triangle, m/s per m/s.

    The part in the plane is the sum over the edges of ln((ra + rb + l) / (ra + rb - l)) times
    the outward normal of the edge; the part along the normal is the solid angle, by the
    two-argument arctangent. Both divided by 4 pi. On the panel itself the normal part is its
    principal value, zero. Singular on an edge: there the logarithm is infinite.

    Source: A. van Oosterom, J. Strackee, The solid angle of a plane triangle, IEEE Trans.
    Biomed. Eng. BME-30 (1983) 125-126 (solid angle); J. L. Hess, A. M. O. Smith, Calculation of
    potential flow about arbitrary bodies, Prog. Aeronaut. Sci. 8 (1967) 1-138 (edge terms);
    both from memory, tested against 25-digit quadrature.
    """
    ax, ay, az = corners[0, 0] - x, corners[0, 1] - y, corners[0, 2] - z
    bx, by, bz = corners[1, 0] - x, corners[1, 1] - y, corners[1, 2] - z
    cx, cy, cz = corners[2, 0] - x, corners[2, 1] - y, corners[2, 2] - z
    a = sqrt(ax * ax + ay * ay + az * az)
    b = sqrt(bx * bx + by * by + bz * bz)
    c = sqrt(cx * cx + cy * cy + cz * cz)
    nx, ny, nz = normal[0], normal[1], normal[2]
    height = ax * nx + ay * ny + az * nz
    area2 = (
        (bx - ax) * (ny * (cz - az) - nz * (cy - ay))
        + (by - ay) * (nz * (cx - ax) - nx * (cz - az))
        + (bz - az) * (nx * (cy - ay) - ny * (cx - ax))
    )
    # corner a . (b x c) equals height times twice the area, free of cancellation on the panel
    triple = height * abs(area2)
    below = (
        a * b * c
        + (ax * bx + ay * by + az * bz) * c
        + (bx * cx + by * cy + bz * cz) * a
        + (cx * ax + cy * ay + cz * az) * b
    )
    # on the panel itself rounding alone would decide between both sides: take neither
    angle = -2.0 * atan2(triple, below) if abs(triple) > 1e-12 * a * b * c else 0.0
    u, v, w = angle * nx, angle * ny, angle * nz
    ex, ey, ez = bx - ax, by - ay, bz - az
    length = sqrt(ex * ex + ey * ey + ez * ez)
    factor = log((a + b + length) / (a + b - length)) / length
    u += factor * (ey * nz - ez * ny)
    v += factor * (ez * nx - ex * nz)
    w += factor * (ex * ny - ey * nx)
    ex, ey, ez = cx - bx, cy - by, cz - bz
    length = sqrt(ex * ex + ey * ey + ez * ez)
    factor = log((b + c + length) / (b + c - length)) / length
    u += factor * (ey * nz - ez * ny)
    v += factor * (ez * nx - ex * nz)
    w += factor * (ex * ny - ey * nx)
    ex, ey, ez = ax - cx, ay - cy, az - cz
    length = sqrt(ex * ex + ey * ey + ez * ez)
    factor = log((c + a + length) / (c + a - length)) / length
    u += factor * (ey * nz - ez * ny)
    v += factor * (ez * nx - ex * nz)
    w += factor * (ex * ny - ey * nx)
    return u / FOUR_PI, v / FOUR_PI, w / FOUR_PI


@njit(cache=True, error_model="numpy")
def panel_velocity(x, y, z, corners, normal, centroid, area, far):
    """As `triangle_velocity`, but a point source when farther than `far` panel sizes.

    The size of a panel is the root of its area.
    """
    dx, dy, dz = x - centroid[0], y - centroid[1], z - centroid[2]
    square = dx * dx + dy * dy + dz * dz
    if square > far * far * area:
        factor = area / (FOUR_PI * square * sqrt(square))
        return factor * dx, factor * dy, factor * dz
    return triangle_velocity(x, y, z, corners, normal)


@njit(cache=True, parallel=True, error_model="numpy")
def normal_influence(points, normals, corners, panel_normals, centroids, areas, far):
    """(n_points, n_panels) velocity along each point's normal from unit density on each panel.

    Point i is taken to lie on panel i, on its outer side: its own influence is 1/2.
    """
    n, m = len(points), len(corners)
    matrix = np.empty((n, m))
    for i in prange(n):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        nx, ny, nz = normals[i, 0], normals[i, 1], normals[i, 2]
        for j in range(m):
            u, v, w = panel_velocity(
                x, y, z, corners[j], panel_normals[j], centroids[j], areas[j], far
            )
            matrix[i, j] = u * nx + v * ny + w * nz
        matrix[i, i] += 0.5
    return matrix


@njit(cache=True, parallel=True, error_model="numpy")
def mirrored_normal_influence(points, normals, corners, panel_normals, centroids, areas, far):
    """As `normal_influence`, for a half with its mirror image (y -> -y).

    Returns the matrices for equal density on the image and for opposite density.
    """
    n, m = len(points), len(corners)
    symmetric = np.empty((n, m))
    antisymmetric = np.empty((n, m))
    for i in prange(n):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        nx, ny, nz = normals[i, 0], normals[i, 1], normals[i, 2]
        for j in range(m):
            u, v, w = panel_velocity(
                x, y, z, corners[j], panel_normals[j], centroids[j], areas[j], far
            )
            own = u * nx + v * ny + w * nz
            # the image acts on the point as the panel acts on the mirrored point
            u, v, w = panel_velocity(
                x, -y, z, corners[j], panel_normals[j], centroids[j], areas[j], far
            )
            image = u * nx - v * ny + w * nz
            symmetric[i, j] = own + image
            antisymmetric[i, j] = own - image
        symmetric[i, i] += 0.5
        antisymmetric[i, i] += 0.5
    return symmetric, antisymmetric


@njit(cache=True, parallel=True, error_model="numpy")
def induced_velocity(points, strengths, corners, panel_normals, centroids, areas, far):
    """(n_units, n_points, 3) velocity from (n_units, n_panels) densities; no jump added."""
    n, m, n_units = len(points), len(corners), len(strengths)
    velocity = np.zeros((n_units, n, 3))
    for i in prange(n):
        for j in range(m):
            u, v, w = panel_velocity(
                points[i, 0],
                points[i, 1],
                points[i, 2],
                corners[j],
                panel_normals[j],
                centroids[j],
                areas[j],
                far,
            )
            for k in range(n_units):
                strength = strengths[k, j]
                velocity[k, i, 0] += strength * u
                velocity[k, i, 1] += strength * v
                velocity[k, i, 2] += strength * w
    return velocity
