"""Compiled velocity of one flat panel."""

from math import atan2, log, pi, sqrt

from numba import njit

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
