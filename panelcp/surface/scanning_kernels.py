"""Compiled loops over the vertices of a scan: averaging, local fits, merging of short edges."""

import numpy as np
from numba import njit, prange

from panelcp.surface._kernels import MAX_NEIGHBOURS, _ring_points, _solve_positive

CHUNKS = 64
"""Parts into which the vertices are divided for parallel loops; each marks what it has visited."""

MAX_WITHIN = 2048
"""Vertices of a neighbourhood; what lies beyond is not looked at."""

LEAST_POINTS = 9.0
"""Points of even weight that a surface of six terms needs at least."""

PRODUCTS = np.array(
    [
        [0, 1, 2, 3, 4, 5],
        [1, 3, 4, 6, 7, 8],
        [2, 4, 5, 7, 8, 9],
        [3, 6, 7, 10, 11, 12],
        [4, 7, 8, 11, 12, 13],
        [5, 8, 9, 12, 13, 14],
    ]
)
"""Place of the product of two of 1, x, y, x2, xy, y2 among the powers up to the fourth."""

MOST_LEVERAGE = 0.9
"""A fit that its own vertex settles to more than this part foretells nothing."""


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
def _within(vertex, places, starts, links, reach, visited, found):
    """Vertices joined to a vertex by others within `reach`, itself first; returns their number."""
    count, k = 1, 0
    found[0] = vertex
    visited[vertex] = vertex
    while k < count:
        near = found[k]
        k += 1
        for m in range(starts[near], starts[near + 1]):
            other = links[m]
            if visited[other] == vertex:
                continue
            visited[other] = vertex
            d0 = places[other, 0] - places[vertex, 0]
            d1 = places[other, 1] - places[vertex, 1]
            d2 = places[other, 2] - places[vertex, 2]
            if d0 * d0 + d1 * d1 + d2 * d2 < reach * reach and count < len(found):
                found[count] = other
                count += 1
    return count


@njit(cache=True, error_model="numpy")
def _facing_weight(normals, i, j, least):
    """(1 - q)^2 with q = (1 - c) / (1 - least), c the cosine of two normals; 0 below `least`."""
    cosine = 0.0
    for c in range(3):
        cosine += normals[i, c] * normals[j, c]
    part = (1.0 - cosine) / (1.0 - least)
    return (1.0 - part) ** 2 if part < 1.0 else 0.0


@njit(cache=True, error_model="numpy")
def apart_nodes(starts, links, n):
    """(n,) bool: vertices chosen in turn so that no two are neighbours and every other has one."""
    chosen, near = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    for i in range(n):
        if near[i]:
            continue
        chosen[i] = near[i] = True
        for k in range(starts[i], starts[i + 1]):
            if links[k] < n:
                near[links[k]] = True
    return chosen


@njit(cache=True, parallel=True, error_model="numpy")
def least_facing(chosen, places, normals, starts, links, reach):
    """(len(chosen),) float: least cosine of the normals within `reach` of each chosen place."""
    n = len(chosen)
    result = np.ones(n)
    for chunk in prange(CHUNKS):
        visited = np.full(len(places), -1, dtype=np.int64)
        found = np.empty(MAX_WITHIN, dtype=np.int64)
        for row in range(chunk * n // CHUNKS, (chunk + 1) * n // CHUNKS):
            i = chosen[row]
            for k in range(_within(i, places, starts, links, reach[i], visited, found)):
                cosine = 0.0
                for c in range(3):
                    cosine += normals[i, c] * normals[found[k], c]
                result[row] = min(result[row], cosine)
    return result


@njit(cache=True, parallel=True, error_model="numpy")
def adapted_fits(chosen, points, places, normals, starts, links, scale, radii, least):
    """Quadratic surfaces of several breadths through the neighbourhoods of the chosen vertices.

    Distances along the normal at `places` of the rough `points`, as functions of both other
    coordinates; weights (1 - (r/R)^2)^2, R = radii * scale, times those of the normals, which end
    at an angle of cosine `least`. Returns, (len(chosen), len(radii), 6): each surface z = c0 +
    c1 x + c2 y + c3 x2 + c4 xy + c5 y2 in parts of the broadest R; and, (len(chosen), len(radii)),
    the squared misfit, m2, of the vertex from the surface through all others; nan where no fit is
    possible.
    """
    n, breadths = len(chosen), len(radii)
    surfaces, misfits = np.zeros((n, breadths, 6)), np.full((n, breadths), np.nan)
    for chunk in prange(CHUNKS):
        visited = np.full(len(points), -1, dtype=np.int64)
        found = np.empty(MAX_WITHIN, dtype=np.int64)
        sums, squares, terms = np.empty((breadths, 21)), np.empty(breadths), np.empty(21)
        for row in range(chunk * n // CHUNKS, (chunk + 1) * n // CHUNKS):
            i = chosen[row]
            reach = scale[i] * radii[-1]
            count = _within(i, places, starts, links, reach, visited, found)
            sums[:], squares[:], height = 0.0, 0.0, 0.0
            for k in range(count - 1, -1, -1):
                facing = _facing_weight(normals, i, found[k], least)
                if facing > 0.0:
                    apart, height = _terms(i, found[k], points, places, normals, reach, terms)
                    _add_to_sums(apart, facing, terms, radii, sums, squares)
            for level in range(breadths):
                misfits[row, level] = (
                    reach
                    * reach
                    * _surface_and_misfit(
                        sums[level], squares[level], terms, height, surfaces[row, level]
                    )
                )
    return surfaces, misfits


@njit(cache=True, parallel=True, error_model="numpy")
def heights_on(n, row, surfaces, places, normals, starts, links, reach):
    """(n,) float, m: heights along the normals, over the first n places, of surfaces at nodes.

    Surface row[i] is that of place i, in parts of reach[i]; where it is -1, the mean of what the
    surfaces of the neighbours have there.
    """
    result = np.zeros(n)
    for i in prange(n):
        if row[i] >= 0:
            result[i] = surfaces[row[i], 0] * reach[i]
            continue
        terms, total, weights = np.empty(21), 0.0, 0.0
        for k in range(starts[i], starts[i + 1]):
            j = links[k]
            weight = 0.0
            if j < n and row[j] >= 0:
                weight = _facing_weight(normals, i, j, 0.5)
            if weight > 0.0:
                _, rise = _terms(j, i, places, places, normals, reach[j], terms)
                rise = -rise
                for c in range(6):
                    rise += surfaces[row[j], c] * terms[c]
                total += weight * rise * reach[j]
                weights += weight
        if weights > 0.0:
            result[i] = total / weights
    return result


@njit(cache=True, error_model="numpy")
def _terms(i, j, points, places, normals, reach, terms):
    """Powers of x and y of point j over place i up to the fourth, then z (1, x, y, x2, xy, y2).

    All as parts of `reach`. Returns the squared distance of both places, and z.
    """
    n0, n1, n2 = normals[i, 0], normals[i, 1], normals[i, 2]
    # two directions across the normal: T. Duff and others, Building an orthonormal basis,
    # revisited, Journal of Computer Graphics Techniques 6, 2017 (from memory)
    sign = 1.0 if n2 >= 0.0 else -1.0
    a = -1.0 / (sign + n2)
    b = n0 * n1 * a
    d0 = (points[j, 0] - places[i, 0]) / reach
    d1 = (points[j, 1] - places[i, 1]) / reach
    d2 = (points[j, 2] - places[i, 2]) / reach
    x = d0 * (1.0 + sign * n0 * n0 * a) + d1 * sign * b - d2 * sign * n0
    y = d0 * b + d1 * (sign + n1 * n1 * a) - d2 * n1
    z = d0 * n0 + d1 * n1 + d2 * n2
    xx, xy, yy = x * x, x * y, y * y
    terms[0], terms[1], terms[2], terms[3], terms[4], terms[5] = 1.0, x, y, xx, xy, yy
    terms[6], terms[7], terms[8], terms[9] = x * xx, x * xy, x * yy, y * yy
    terms[10], terms[11], terms[12], terms[13], terms[14] = (
        xx * xx,
        xx * xy,
        xx * yy,
        xy * yy,
        yy * yy,
    )
    for k in range(6):
        terms[15 + k] = z * terms[k]
    d0 = (places[j, 0] - places[i, 0]) / reach
    d1 = (places[j, 1] - places[i, 1]) / reach
    d2 = (places[j, 2] - places[i, 2]) / reach
    return d0 * d0 + d1 * d1 + d2 * d2, z


@njit(cache=True, error_model="numpy")
def _add_to_sums(apart, facing, terms, radii, sums, squares):
    """One point into the sums of every surface that is broad enough for it."""
    for level in range(len(radii) - 1, -1, -1):
        part = apart * (radii[-1] / radii[level]) ** 2
        if part >= 1.0:
            break
        weight = (1.0 - part) ** 2 * facing
        squares[level] += weight * weight
        for k in range(21):
            sums[level, k] += weight * terms[k]


@njit(cache=True, error_model="numpy")
def _surface_and_misfit(sums, squares, own, z, surface):
    """Terms of one surface, and the squared misfit of its own vertex when left out."""
    if not sums[0] * sums[0] > LEAST_POINTS * squares:
        return np.nan
    matrix, forward = np.empty((6, 6)), np.empty(6)
    for a in range(6):
        for b in range(a + 1):
            matrix[a, b] = sums[PRODUCTS[a, b]]
    right = sums[15:].copy()
    if not _solve_positive(matrix, right, 6):
        return np.nan
    leverage = 0.0
    for a in range(6):
        z -= own[a] * right[a]
        value = own[a]
        for k in range(a):
            value -= matrix[a, k] * forward[k]
        forward[a] = value / matrix[a, a]
        leverage += forward[a] * forward[a]
    if leverage > MOST_LEVERAGE:
        return np.nan
    surface[:] = right
    return (z / (1.0 - leverage)) ** 2


@njit(cache=True, parallel=True, error_model="numpy")
def pooled(chosen, values, row, places, normals, starts, links, reach, least):
    """Weighted means of rows of values, nan left out, within `reach` of the chosen places.

    `row`, (n_places,) int: which row of values belongs to each place; -1 for none. Weights fall
    with distance and with the turn of the normals; they are 0 at `reach` and where its cosine is
    `least`.
    """
    n, width = len(chosen), values.shape[1]
    result = np.full((n, width), np.nan)
    for chunk in prange(CHUNKS):
        visited = np.full(len(places), -1, dtype=np.int64)
        found = np.empty(MAX_WITHIN, dtype=np.int64)
        sums, weights = np.empty(width), np.empty(width)
        for place in range(chunk * n // CHUNKS, (chunk + 1) * n // CHUNKS):
            i = chosen[place]
            count = _within(i, places, starts, links, reach[i], visited, found)
            sums[:], weights[:] = 0.0, 0.0
            for k in range(count):
                j = found[k]
                weight = _facing_weight(normals, i, j, least) if row[j] >= 0 else 0.0
                if weight == 0.0:
                    continue
                apart = 0.0
                for c in range(3):
                    apart += (places[j, c] - places[i, c]) ** 2
                weight *= 1.0 - apart / (reach[i] * reach[i])
                for c in range(width):
                    value = values[row[j], c]
                    if not np.isnan(value):
                        sums[c] += weight * value
                        weights[c] += weight
            for c in range(width):
                if weights[c] > 0.0:
                    result[place, c] = sums[c] / weights[c]
    return result


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
def merge_short_edges(points, weights, into, triangles, rim, edges, limit, wanted, chains):
    """Draw the ends of edges shorter than `limit` together, in the order given; in place.

    The merged vertex lies at the mean of all vertices drawn into it, or on the rim. An edge is
    left alone where the skin would cease to be one sheet (ends with other common neighbours than
    the far corners of its triangles), a triangle would turn over, or a corner gets crowded.
    Dead triangles get -1 as first corner; `into` names the vertex that each was drawn into.
    Returns the number of live triangles.
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
        into[b] = a
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
