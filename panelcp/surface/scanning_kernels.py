"""Compiled loops over the vertices of a scan: averaging, local fits, merging of short edges."""

import numpy as np
from numba import njit, prange

from panelcp.surface._kernels import MAX_NEIGHBOURS, _ring_points, _solve_positive


@njit(cache=True, parallel=True, error_model="numpy")
def relaxed(values, starts, links, weights, share):
    """One step towards the weighted mean of the neighbours: v + share (mean - v), row by row."""
    n, width = values.shape
    result = np.empty_like(values)
    for i in prange(n):
        first, last = starts[i], starts[i + 1]
        for c in range(width):
            total = 0.0
            for k in range(first, last):
                total += weights[k] * values[links[k], c]
            result[i, c] = (1.0 - share) * values[i, c] + share * total
    return result


@njit(cache=True, parallel=True, error_model="numpy")
def fit_residuals(chosen, points, normals, starts, links):
    """Variance, m2, about a quadratic surface fitted to each chosen vertex and its two rings.

    Distances along the normal; divided by the degrees of freedom; nan where the fit fails.
    """
    result = np.full(len(chosen), np.nan)
    for i in prange(len(chosen)):
        vertex = chosen[i]
        found = np.empty(MAX_NEIGHBOURS + 1, dtype=np.int64)
        count = _ring_points(vertex, starts, links, found)
        found[count] = vertex
        count += 1
        if count >= 10:
            result[i] = _one_residual(points, found, count, normals[vertex])
    return result


@njit(cache=True, error_model="numpy")
def _one_residual(points, found, count, normal):
    axis = np.zeros(3)
    axis[np.argmin(np.abs(normal))] = 1.0
    e1 = np.cross(normal, axis)
    e1 /= np.sqrt((e1 * e1).sum())
    e2 = np.cross(normal, e1)
    origin, scale = points[found[count - 1]], 0.0
    for k in range(count):
        step = points[found[k]] - origin
        scale += np.sqrt((step * step).sum())
    scale /= count
    matrix, right, row = np.zeros((6, 6)), np.zeros(6), np.ones(6)
    squares = 0.0
    for k in range(count):
        step = (points[found[k]] - origin) / scale
        x, y, z = (step * e1).sum(), (step * e2).sum(), (step * normal).sum()
        row[1], row[2], row[3], row[4], row[5] = x, y, x * x, x * y, y * y
        squares += z * z
        for a in range(6):
            right[a] += row[a] * z
            for b in range(a + 1):
                matrix[a, b] += row[a] * row[b]
    before = right.copy()
    if not _solve_positive(matrix, right, 6):
        return np.nan
    squares -= (before * right).sum()
    return max(0.0, squares) / (count - 6) * scale * scale


@njit(cache=True, error_model="numpy")
def linked_corners(triangles, n):
    """Corners at each vertex as chains: first and last corner of a vertex, next of a corner."""
    head, tail = np.full(n, -1, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    after = np.full(3 * len(triangles), -1, dtype=np.int64)
    for t in range(len(triangles)):
        for k in range(3):
            vertex, corner = triangles[t, k], 3 * t + k
            if head[vertex] < 0:
                head[vertex] = corner
            else:
                after[tail[vertex]] = corner
            tail[vertex] = corner
    return head, tail, after


@njit(cache=True, error_model="numpy")
def merge_short_edges(points, weights, triangles, rim, edges, limit, wanted, chains):
    """Draw the ends of edges shorter than `limit` together, in the order given; in place.

    The merged vertex lies at the mean of all vertices drawn into it, or on the rim. An edge is
    left alone where the skin would cease to be one sheet (ends with other common neighbours than
    the far corners of its triangles), a triangle would turn over, or a corner gets crowded.
    Dead triangles get -1 as first corner. Returns the number of live triangles.
    """
    head, tail, after = chains
    live = 0
    for t in range(len(triangles)):
        live += triangles[t, 0] >= 0
    place = np.empty(3)
    for e in range(len(edges)):
        if live <= wanted:
            break
        a, b = edges[e, 0], edges[e, 1]
        if head[a] < 0 or head[b] < 0:
            continue
        step = points[a] - points[b]
        if (step * step).sum() > limit * limit:
            continue
        if rim[b] and not rim[a]:
            a, b = b, a
        shared = _shared_triangles(a, b, triangles, head, after)
        if shared != (1 if rim[b] else 2) or not _is_one_sheet(
            a, b, shared, triangles, rim, chains
        ):
            continue
        share = weights[b] / (weights[a] + weights[b])
        if rim[a] and not rim[b]:
            share = 0.0
        for c in range(3):
            place[c] = (1.0 - share) * points[a, c] + share * points[b, c]
        if _turns_over(a, b, place, points, triangles, chains) or _turns_over(
            b, a, place, points, triangles, chains
        ):
            continue
        live -= _draw_together(a, b, triangles, head, tail, after)
        points[a] = place
        weights[a] += weights[b]
    return live


@njit(cache=True, error_model="numpy")
def _shared_triangles(a, b, triangles, head, after):
    count, corner = 0, head[a]
    while corner >= 0:
        t = corner // 3
        if triangles[t, 0] >= 0 and (
            triangles[t, 0] == b or triangles[t, 1] == b or triangles[t, 2] == b
        ):
            count += 1
        corner = after[corner]
    return count


@njit(cache=True, error_model="numpy")
def _gathered(vertex, triangles, head, after, found):
    """Neighbours of a vertex into `found`; their number, or one more than its length."""
    count, corner = 0, head[vertex]
    while corner >= 0:
        t = corner // 3
        if triangles[t, 0] >= 0:
            for k in range(3):
                other = triangles[t, k]
                known = other == vertex
                for j in range(count):
                    known = known or found[j] == other
                if not known:
                    if count == len(found):
                        return count + 1
                    found[count] = other
                    count += 1
        corner = after[corner]
    return count


@njit(cache=True, error_model="numpy")
def _is_one_sheet(a, b, shared, triangles, rim, chains):
    """Whether the skin stays one sheet, none of it along its rim, when b is drawn into a."""
    head, _, after = chains
    around_a, around_b = np.empty(12, dtype=np.int64), np.empty(12, dtype=np.int64)
    count_a = _gathered(a, triangles, head, after, around_a)
    count_b = _gathered(b, triangles, head, after, around_b)
    if count_a > 12 or count_b > 12 or count_a + count_b - shared - 2 > 12:
        return False
    if min(count_a, count_b) <= 3:
        return False
    common = 0
    for i in range(count_a):
        for j in range(count_b):
            common += around_a[i] == around_b[j]
    if common != shared:
        return False
    if rim[a] and not rim[b]:
        for j in range(count_b):
            found = not rim[around_b[j]] or around_b[j] == a
            for i in range(count_a):
                found = found or around_a[i] == around_b[j]
            if not found:
                return False
    return True


@njit(cache=True, error_model="numpy")
def _turns_over(moved, other, place, points, triangles, chains):
    """Whether a triangle at `moved`, not at `other`, looks another way with its corner moved."""
    head, _, after = chains
    corner = head[moved]
    while corner >= 0:
        t, k = corner // 3, corner % 3
        corner = after[corner]
        if triangles[t, 0] < 0:
            continue
        second, third = triangles[t, (k + 1) % 3], triangles[t, (k + 2) % 3]
        if second == other or third == other:
            continue
        p, q = points[second], points[third]
        old = np.cross(p - points[moved], q - points[moved])
        new = np.cross(p - place, q - place)
        facing = (old * new).sum()
        if facing <= 0.3 * np.sqrt((old * old).sum() * (new * new).sum()):
            return True
    return False


@njit(cache=True, error_model="numpy")
def _draw_together(a, b, triangles, head, tail, after):
    """Give the triangles of b to a; the number of triangles that vanish."""
    gone, corner = 0, head[b]
    while corner >= 0:
        t = corner // 3
        if triangles[t, 0] >= 0:
            if triangles[t, 0] == a or triangles[t, 1] == a or triangles[t, 2] == a:
                triangles[t, 0] = -1
                gone += 1
            else:
                triangles[t, corner % 3] = a
        corner = after[corner]
    after[tail[a]] = head[b]
    tail[a] = tail[b]
    head[b] = -1
    return gone
