"""Compiled loops over rays and panels."""

import numpy as np
from numba import njit, prange


@njit(cache=True, parallel=True, error_model="numpy")
def parallel_hits(origins, direction, corners, normals):
    """Panel that each of many parallel rays meets from outside, nearest to the ray's origin.

    A hit may lie ahead of the origin or behind it; panels seen from inside do not count.
    Returns panel (-1 where nothing is hit) and signed distance along the direction, m.
    Test by the three signed volumes of ray and edges; the boundary belongs to the panel.
    """
    n, m = len(origins), len(corners)
    panel = np.full(n, -1, dtype=np.int64)
    distance = np.full(n, np.inf)
    dx, dy, dz = direction[0], direction[1], direction[2]
    for i in prange(n):
        x, y, z = origins[i, 0], origins[i, 1], origins[i, 2]
        for j in range(m):
            facing = normals[j, 0] * dx + normals[j, 1] * dy + normals[j, 2] * dz
            if facing >= 0.0:
                continue
            ax, ay, az = corners[j, 0, 0] - x, corners[j, 0, 1] - y, corners[j, 0, 2] - z
            bx, by, bz = corners[j, 1, 0] - x, corners[j, 1, 1] - y, corners[j, 1, 2] - z
            cx, cy, cz = corners[j, 2, 0] - x, corners[j, 2, 1] - y, corners[j, 2, 2] - z
            v = dx * (ay * bz - az * by) + dy * (az * bx - ax * bz) + dz * (ax * by - ay * bx)
            if v > 0.0:
                continue
            v = dx * (by * cz - bz * cy) + dy * (bz * cx - bx * cz) + dz * (bx * cy - by * cx)
            if v > 0.0:
                continue
            v = dx * (cy * az - cz * ay) + dy * (cz * ax - cx * az) + dz * (cx * ay - cy * ax)
            if v > 0.0:
                continue
            t = (ax * normals[j, 0] + ay * normals[j, 1] + az * normals[j, 2]) / facing
            if abs(t) < abs(distance[i]):
                distance[i] = t
                panel[i] = j
    return panel, distance
