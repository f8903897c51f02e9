"""Compiled loops over rays and panels."""

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy")
def parallel_hits(origins, direction, corners, normals):
    """Panel that each of many parallel rays meets from outside, nearest to the ray's origin.

    A hit may lie ahead of the origin or behind it; panels seen from inside do not count.
    Returns panel (-1 where nothing is hit) and signed distance along the direction, m.
    Test by the three signed volumes of ray and edges; the boundary belongs to the panel. One
    thread: the calls are many and small.
    """
    n, m = len(origins), len(corners)
    panel = np.full(n, -1, dtype=np.int64)
    distance = np.full(n, np.inf)
    dx, dy, dz = direction[0], direction[1], direction[2]
    for i in range(n):
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


MAX_NEIGHBOURS = 64


@njit(cache=True, error_model="numpy")
def _ring_points(vertex, starts, links, found):
    """Vertices within two edges of a vertex; returns their number, at most MAX_NEIGHBOURS."""
    count = 0
    for k in range(starts[vertex], starts[vertex + 1]):
        if count < MAX_NEIGHBOURS:
            found[count] = links[k]
            count += 1
    first = count
    for a in range(first):
        other = found[a]
        for k in range(starts[other], starts[other + 1]):
            candidate = links[k]
            known = candidate == vertex
            for b in range(count):
                if found[b] == candidate:
                    known = True
                    break
            if not known and count < MAX_NEIGHBOURS:
                found[count] = candidate
                count += 1
    return count


@njit(cache=True, error_model="numpy")
def _solve_positive(matrix, right, n):
    """Solve matrix x = right in place, matrix symmetric positive; False when it is singular."""
    for j in range(n):
        pivot = matrix[j, j]
        original = pivot
        for k in range(j):
            pivot -= matrix[j, k] * matrix[j, k]
        if not pivot > 1e-9 * original:
            return False
        root = np.sqrt(pivot)
        matrix[j, j] = root
        for i in range(j + 1, n):
            value = matrix[i, j]
            for k in range(j):
                value -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = value / root
    for i in range(n):
        value = right[i]
        for k in range(i):
            value -= matrix[i, k] * right[k]
        right[i] = value / matrix[i, i]
    for i in range(n - 1, -1, -1):
        value = right[i]
        for k in range(i + 1, n):
            value -= matrix[k, i] * right[k]
        right[i] = value / matrix[i, i]
    return True


@njit(cache=True, error_model="numpy")
def _fit_slopes(origin, points, found, count, e1, e2, normal, terms, matrix, right):
    """Slopes a, b of z = a x + b y + quadratic (+ cubic) through a vertex, weights 1/r.

    `terms` is 9 for the cubic and 5 for the quadratic surface. Coordinates are divided by the
    mean distance. Returns the slopes, whether the fit could be solved, and the weighted rms
    distance of the points from the fit, parts of the mean distance, per degree of freedom.
    """
    scale = 0.0
    for k in range(count):
        d0 = points[found[k], 0] - origin[0]
        d1 = points[found[k], 1] - origin[1]
        d2 = points[found[k], 2] - origin[2]
        scale += np.sqrt(d0 * d0 + d1 * d1 + d2 * d2)
    scale /= count
    for i in range(terms):
        right[i] = 0.0
        for j in range(terms):
            matrix[i, j] = 0.0
    row = np.empty(9)
    squares, weights = 0.0, 0.0
    for k in range(count):
        d0 = (points[found[k], 0] - origin[0]) / scale
        d1 = (points[found[k], 1] - origin[1]) / scale
        d2 = (points[found[k], 2] - origin[2]) / scale
        x = d0 * e1[0] + d1 * e1[1] + d2 * e1[2]
        y = d0 * e2[0] + d1 * e2[1] + d2 * e2[2]
        z = d0 * normal[0] + d1 * normal[1] + d2 * normal[2]
        weight = 1.0 / (d0 * d0 + d1 * d1 + d2 * d2)
        row[0], row[1] = x, y
        row[2], row[3], row[4] = x * x, x * y, y * y
        row[5], row[6], row[7], row[8] = x * x * x, x * x * y, x * y * y, y * y * y
        squares += weight * z * z
        weights += weight
        for i in range(terms):
            right[i] += weight * row[i] * z
            for j in range(i + 1):
                matrix[i, j] += weight * row[i] * row[j]
    before = np.empty(9)
    for i in range(terms):
        before[i] = right[i]
    solved = _solve_positive(matrix, right, terms)
    for i in range(terms):
        squares -= before[i] * right[i]
    free = max(1, count - terms)
    left = np.sqrt(max(0.0, squares) / weights * count / free)
    return right[0], right[1], solved, left


@njit(cache=True)
def _cross(a, b):
    """(3,) a x b."""
    product = np.empty(3)
    product[0] = a[1] * b[2] - a[2] * b[1]
    product[1] = a[2] * b[0] - a[0] * b[2]
    product[2] = a[0] * b[1] - a[1] * b[0]
    return product


@njit(cache=True, error_model="numpy")
def _divide(vector, number):
    """Divide a vector (3,) in place."""
    for k in range(3):
        vector[k] /= number


@njit(cache=True, error_model="numpy")
def _turned_normal(normal, origin, points, found, count, matrix, right):
    """Normal after one fit, (3,), or the old one when no fit is possible; roughness, nan then."""
    axis = np.zeros(3)
    least = 0
    for k in range(1, 3):
        if abs(normal[k]) < abs(normal[least]):
            least = k
    axis[least] = 1.0
    e1 = _cross(normal, axis)
    _divide(e1, np.sqrt(e1[0] * e1[0] + e1[1] * e1[1] + e1[2] * e1[2]))
    e2 = _cross(normal, e1)
    a, b, solved, left = 0.0, 0.0, False, np.nan
    for terms in (9, 5):  # a loop, so that one version of the fit is compiled
        if not solved and count > terms:
            a, b, solved, left = _fit_slopes(
                origin, points, found, count, e1, e2, normal, terms, matrix, right
            )
    if not solved:
        return normal, np.nan
    turned = np.empty(3)
    for k in range(3):
        turned[k] = normal[k] - a * e1[k] - b * e2[k]
    _divide(turned, np.sqrt(turned[0] ** 2 + turned[1] ** 2 + turned[2] ** 2))
    return turned, left


@njit(cache=True, error_model="numpy")
def _fit_normal(i, points, normals, starts, links, result, rough):
    """Write the normal of one vertex into `result`, the distance of its neighbours into `rough`."""
    found = np.empty(MAX_NEIGHBOURS, dtype=np.int64)
    matrix, right, normal = np.empty((9, 9)), np.empty(9), np.empty(3)
    count = _ring_points(i, starts, links, found)
    for k in range(3):
        normal[k] = normals[i, k]
    for _ in range(2):
        normal, rough[i] = _turned_normal(normal, points[i], points, found, count, matrix, right)
    turn = normal[0] * normals[i, 0] + normal[1] * normals[i, 1] + normal[2] * normals[i, 2]
    for k in range(3):
        result[i, k] = normal[k] if turn > 0.5 else normals[i, k]


@njit(cache=True, error_model="numpy")
def fitted_normals(points, normals, starts, links):
    """(n, 3) vertex normals by two passes of a cubic fit over the two rings of neighbours.

    A normal that would turn by more than 60 degrees in all is kept as it was. Also returns
    (n,) the rms distance of the neighbours from the last fit, parts of their mean distance.
    """
    n = len(points)
    result, rough = np.empty((n, 3)), np.empty(n)
    for i in range(n):
        _fit_normal(i, points, normals, starts, links, result, rough)
    return result, rough
