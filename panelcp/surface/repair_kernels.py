"""Compiled loops of the repairs: edges, windings, fans of triangles, caps, crossings."""

import numpy as np
from numba import njit, prange


@njit(cache=True)
def edge_groups(triangles, n_vertices):
    """Half-edges grouped by the edge they lie on; half-edge 3 t + k runs from corner k to k + 1.

    Returns order (3 m,) of half-edges by (smaller, larger) vertex, edge (3 m,) of each half-edge,
    starts (n_edges + 1,) of the groups in `order`.
    """
    m = len(triangles)
    first = np.zeros(n_vertices + 1, dtype=np.int64)
    high = np.empty(3 * m, dtype=np.int64)
    for t in range(m):
        for k in range(3):
            a, b = triangles[t, k], triangles[t, (k + 1) % 3]
            first[min(a, b) + 1] += 1
            high[3 * t + k] = max(a, b)
    for v in range(n_vertices):
        first[v + 1] += first[v]
    place = first[:-1].copy()
    order = np.empty(3 * m, dtype=np.int64)
    for t in range(m):
        for k in range(3):
            low = min(triangles[t, k], triangles[t, (k + 1) % 3])
            order[place[low]] = 3 * t + k
            place[low] += 1
    edge = np.empty(3 * m, dtype=np.int64)
    starts = np.empty(3 * m + 1, dtype=np.int64)
    n_edges = 0
    for v in range(n_vertices):
        begin, end = first[v], first[v + 1]
        if end - begin > 40:
            part = order[begin:end].copy()
            order[begin:end] = part[np.argsort(high[part], kind="mergesort")]
        else:
            for i in range(begin + 1, end):
                half = order[i]
                j = i
                while j > begin and high[order[j - 1]] > high[half]:
                    order[j] = order[j - 1]
                    j -= 1
                order[j] = half
        for i in range(begin, end):
            if i == begin or high[order[i]] != high[order[i - 1]]:
                starts[n_edges] = i
                n_edges += 1
            edge[order[i]] = n_edges - 1
    starts[n_edges] = 3 * m
    return order, edge, starts[: n_edges + 1].copy()


@njit(cache=True)
def half_edge_mates(order, starts):
    """(3 m,) int: the other half-edge of an edge of two triangles; -1 open, -2 more than two."""
    mates = np.empty(len(order), dtype=np.int64)
    for e in range(len(starts) - 1):
        begin, count = starts[e], starts[e + 1] - starts[e]
        if count == 2:
            mates[order[begin]] = order[begin + 1]
            mates[order[begin + 1]] = order[begin]
        else:
            for i in range(begin, begin + count):
                mates[order[i]] = -1 if count == 1 else -2
    return mates


@njit(cache=True)
def flood_windings(triangles, mates):
    """Sheets joined by edges of two triangles, and which triangles to turn within each.

    Returns sheet (m,) int, turned (m,) bool, and half-edges at which no choice is consistent.
    """
    m = len(triangles)
    sheet = np.full(m, -1, dtype=np.int64)
    turned = np.zeros(m, dtype=np.bool_)
    stack = np.empty(m, dtype=np.int64)
    torn = np.zeros(3 * m, dtype=np.bool_)
    n_sheets = 0
    for seed in range(m):
        if sheet[seed] >= 0:
            continue
        sheet[seed] = n_sheets
        stack[0] = seed
        depth = 1
        while depth > 0:
            depth -= 1
            t = stack[depth]
            for k in range(3):
                mate = mates[3 * t + k]
                if mate < 0:
                    continue
                other = mate // 3
                same_way = triangles[t, k] == triangles[other, mate % 3]
                wanted = turned[t] != same_way
                if sheet[other] < 0:
                    sheet[other] = n_sheets
                    turned[other] = wanted
                    stack[depth] = other
                    depth += 1
                elif turned[other] != wanted:
                    torn[3 * t + k] = True
        n_sheets += 1
    return sheet, turned, np.flatnonzero(torn)


@njit(cache=True)
def _root(parent, i):
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True)
def corner_fans(triangles, mates):
    """(3 m,) int: least corner of those at one vertex that hang together through shared edges."""
    n = 3 * len(triangles)
    parent = np.arange(n)
    for half in range(n):
        mate = mates[half]
        if mate <= half:
            continue
        after = half + 1 if half % 3 < 2 else half - 2
        mate_after = mate + 1 if mate % 3 < 2 else mate - 2
        for corner in (half, after):
            other = mate
            if triangles[mate // 3, mate % 3] != triangles[corner // 3, corner % 3]:
                other = mate_after
            a, b = _root(parent, corner), _root(parent, other)
            parent[max(a, b)] = min(a, b)
    for i in range(n):
        parent[i] = _root(parent, i)
    return parent


@njit(cache=True)
def _cross(a, b):
    return np.array(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


@njit(cache=True)
def _fold(a, b, c, d):
    """1 - cosine between triangles (a, b, c) and (b, a, d): 0 where they lie in one plane."""
    first, second = _cross(b - a, c - a), _cross(a - b, d - b)
    size = np.sqrt((first**2).sum() * (second**2).sum())
    if not size > 0.0:
        return 2.0
    return 1.0 - (first * second).sum() / size


@njit(cache=True)
def cap_loop(points, beyond, forbidden, with_folds):
    """Triangles that close a loop: least worst fold first, then least area.

    points (n, 3), in the order in which the cap runs along its rim; beyond (n, 3): third corner of
    the skin at rim edge i, i + 1, nan where there is none; forbidden (n, n): edges that exist
    already. Returns (n - 2, 3) places in the loop, none when every choice is forbidden.
    P. Liepa, Filling holes in meshes, Symposium on Geometry Processing 2003 (from memory).
    """
    n = len(points)
    worst, area = np.zeros((n, n)), np.zeros((n, n))
    apex = np.full((n, n), -1, dtype=np.int64)
    for span in range(2, n):
        for i in range(n - span):
            k = i + span
            worst[i, k], area[i, k] = np.inf, np.inf
            if forbidden[i, k] and span < n - 1:
                continue
            for j in range(i + 1, k):
                if not (area[i, j] < np.inf and area[j, k] < np.inf):
                    continue
                fold = max(worst[i, j], worst[j, k])
                if with_folds:
                    third = points[apex[i, j]] if j - i > 1 else beyond[i]
                    if third[0] == third[0]:
                        fold = max(fold, _fold(points[i], points[j], points[k], third))
                    third = points[apex[j, k]] if k - j > 1 else beyond[j]
                    if third[0] == third[0]:
                        fold = max(fold, _fold(points[j], points[k], points[i], third))
                    if span == n - 1 and beyond[k][0] == beyond[k][0]:
                        fold = max(fold, _fold(points[k], points[i], points[j], beyond[k]))
                    if fold > worst[i, k] + 1e-9:
                        continue
                side = _cross(points[j] - points[i], points[k] - points[i])
                total = area[i, j] + area[j, k] + 0.5 * np.sqrt((side**2).sum())
                if fold < worst[i, k] - 1e-9 or total < area[i, k]:
                    worst[i, k], area[i, k], apex[i, k] = fold, total, j
    found = np.empty((n - 2, 3), dtype=np.int64)
    if apex[0, n - 1] < 0:
        return found[:0]
    stack = np.empty((n, 2), dtype=np.int64)
    stack[0, 0], stack[0, 1] = 0, n - 1
    depth, count = 1, 0
    while depth > 0:
        depth -= 1
        i, k = stack[depth, 0], stack[depth, 1]
        j = apex[i, k]
        found[count, 0], found[count, 1], found[count, 2] = i, j, k
        count += 1
        if j - i > 1:
            stack[depth, 0], stack[depth, 1] = i, j
            depth += 1
        if k - j > 1:
            stack[depth, 0], stack[depth, 1] = j, k
            depth += 1
    return found


@njit(cache=True)
def refine_cap(points, sizes, triangles, most):
    """Cap with points added in its inside until its triangles are as small as those of the rim.

    points (n, 3), sizes (n,) wanted edge at each, triangles (k, 3); most: points added at most.
    After P. Liepa 2003 (see `cap_loop`). Returns points, triangles.
    """
    n, k = len(points), len(triangles)
    place, size = np.empty((n + most, 3)), np.empty(n + most)
    place[:n], size[:n] = points, sizes
    kept = np.empty((k + 2 * most, 3), dtype=np.int64)
    kept[:k] = triangles
    for _ in range(30):
        before = n
        for t in range(k):
            a, b, c = kept[t, 0], kept[t, 1], kept[t, 2]
            middle = (place[a] + place[b] + place[c]) / 3.0
            wanted = (size[a] + size[b] + size[c]) / 3.0
            apart = True
            for v in (a, b, c):
                reach = 1.42 * np.sqrt(((middle - place[v]) ** 2).sum())
                apart = apart and reach > wanted and reach > size[v]
            if not apart or n - len(points) >= most:
                continue
            place[n], size[n] = middle, wanted
            kept[t, 2] = n
            kept[k, 0], kept[k, 1], kept[k, 2] = b, c, n
            kept[k + 1, 0], kept[k + 1, 1], kept[k + 1, 2] = c, a, n
            n, k = n + 1, k + 2
        flips = 0
        for _ in range(40):
            turned = _turn_cap_edges(place, kept[:k], n)
            flips += turned
            if turned == 0:
                break
        if n == before and flips == 0:
            break
    return place[:n].copy(), kept[:k].copy()


@njit(cache=True)
def _corner_cotangent(a, b, c):
    """Cotangent of the angle at a."""
    side = _cross(b - a, c - a)
    return ((b - a) * (c - a)).sum() / max(np.sqrt((side**2).sum()), 1e-300)


@njit(cache=True)
def _turn_cap_edges(place, triangles, n):
    """One pass of Delaunay flips of inner edges; number of flips."""
    order, _, starts = edge_groups(triangles, n)
    touched = np.zeros(n, dtype=np.bool_)
    flips = 0
    for e in range(len(starts) - 1):
        if starts[e + 1] - starts[e] != 2:
            continue
        one, two = order[starts[e]], order[starts[e] + 1]
        t, s = one // 3, two // 3
        a, b = triangles[t, one % 3], triangles[t, (one + 1) % 3]
        c, d = triangles[t, (one + 2) % 3], triangles[s, (two + 2) % 3]
        if touched[a] or touched[b] or touched[c] or touched[d] or c == d:
            continue
        total = _corner_cotangent(place[c], place[a], place[b])
        total += _corner_cotangent(place[d], place[a], place[b])
        if total >= -1e-9:
            continue
        left, right = (
            _cross(place[a] - place[c], place[d] - place[c]),
            _cross(place[d] - place[c], place[b] - place[c]),
        )
        if (left * right).sum() <= 0.0 or _has_edge(triangles, order, starts, c, d):
            continue
        triangles[t, 0], triangles[t, 1], triangles[t, 2] = c, a, d
        triangles[s, 0], triangles[s, 1], triangles[s, 2] = c, d, b
        touched[a] = touched[b] = touched[c] = touched[d] = True
        flips += 1
    return flips


@njit(cache=True)
def _has_edge(triangles, order, starts, c, d):
    for e in range(len(starts) - 1):
        half = order[starts[e]]
        u, v = triangles[half // 3, half % 3], triangles[half // 3, (half + 1) % 3]
        if (u == c and v == d) or (u == d and v == c):
            return True
    return False


@njit(cache=True)
def band(first, second):
    """Triangles of least area between two lines of points that run side by side.

    Returns (n + m - 2, 3) int: indices below n are of `first`, the others of `second` plus n;
    they run along `first`.
    """
    n, m = len(first), len(second)
    best = np.full((n, m), np.inf)
    step = np.zeros((n, m), dtype=np.int64)
    best[0, 0] = 0.0
    for i in range(n):
        for j in range(m):
            if i > 0:
                side = _cross(first[i] - first[i - 1], second[j] - first[i - 1])
                total = best[i - 1, j] + 0.5 * np.sqrt((side**2).sum())
                if total < best[i, j]:
                    best[i, j], step[i, j] = total, 1
            if j > 0:
                side = _cross(second[j] - second[j - 1], first[i] - second[j - 1])
                total = best[i, j - 1] + 0.5 * np.sqrt((side**2).sum())
                if total < best[i, j]:
                    best[i, j], step[i, j] = total, 2
    found = np.empty((n + m - 2, 3), dtype=np.int64)
    i, j, count = n - 1, m - 1, 0
    while i > 0 or j > 0:
        if step[i, j] == 1:
            found[count, 0], found[count, 1], found[count, 2] = i - 1, i, n + j
            i -= 1
        else:
            found[count, 0], found[count, 1], found[count, 2] = n + j, n + j - 1, i
            j -= 1
        count += 1
    return found


LEAF = 4


@njit(cache=True)
def box_tree(corners, order):
    """Boxes of a binary tree over triangles in the given order; node k has 2 k and 2 k + 1.

    Returns lows, highs (2 P, 3), P a power of two; leaf j (node P + j) holds LEAF triangles.
    """
    n = len(order)
    leaves = 1
    while leaves * LEAF < n:
        leaves *= 2
    lows, highs = np.full((2 * leaves, 3), np.inf), np.full((2 * leaves, 3), -np.inf)
    for i in range(n):
        node = leaves + i // LEAF
        for k in range(3):
            for axis in range(3):
                value = corners[order[i], k, axis]
                lows[node, axis] = min(lows[node, axis], value)
                highs[node, axis] = max(highs[node, axis], value)
    for node in range(leaves - 1, 0, -1):
        for axis in range(3):
            lows[node, axis] = min(lows[2 * node, axis], lows[2 * node + 1, axis])
            highs[node, axis] = max(highs[2 * node, axis], highs[2 * node + 1, axis])
    return lows, highs


@njit(cache=True)
def _pierced(p, q, triangle, tolerance):
    """1 where the segment passes through the triangle, 2 where it grazes its rim, else 0.

    The ends must lie on both sides by more than the tolerance; so near to the rim it grazes.
    """
    normal = _cross(triangle[1] - triangle[0], triangle[2] - triangle[0])
    size = np.sqrt((normal**2).sum())
    if not size > 0.0:
        return 0
    normal /= size
    before = ((p - triangle[0]) * normal).sum()
    after = ((q - triangle[0]) * normal).sum()
    if not (min(before, after) < -tolerance and max(before, after) > tolerance):
        return 0
    point = p + before / (before - after) * (q - p)
    least = np.inf
    for k in range(3):
        side = triangle[(k + 1) % 3] - triangle[k]
        inward = (_cross(side, point - triangle[k]) * normal).sum()
        least = min(least, inward / np.sqrt((side**2).sum()))
    if least > tolerance:
        return 1
    return 2 if least >= -tolerance else 0


@njit(cache=True)
def _lie_on_each_other(first, second, tolerance):
    """Do two triangles lie in one plane, within the tolerance, and overlap by more than it?"""
    normal = _cross(second[1] - second[0], second[2] - second[0])
    size = np.sqrt((normal**2).sum())
    if not size > 0.0:
        return False
    normal /= size
    for k in range(3):
        if abs(((first[k] - second[0]) * normal).sum()) > tolerance:
            return False
    for which in range(2):
        triangle = first if which == 0 else second
        for k in range(3):
            across = _cross(triangle[(k + 1) % 3] - triangle[k], normal)
            length = np.sqrt((across**2).sum())
            if not length > 0.0:
                return False
            low1, high1, low2, high2 = np.inf, -np.inf, np.inf, -np.inf
            for j in range(3):
                value = (first[j] * across).sum() / length
                low1, high1 = min(low1, value), max(high1, value)
                value = (second[j] * across).sum() / length
                low2, high2 = min(low2, value), max(high2, value)
            if min(high1, high2) - max(low1, low2) <= tolerance:
                return False
    return True


@njit(cache=True)
def _meet(first, second, tolerance):
    """1 where two triangles pass through each other, 2 where they lie on each other, else 0."""
    normal = _cross(second[1] - second[0], second[2] - second[0])
    size = max(np.sqrt((normal**2).sum()), 1e-300)
    low, high = np.inf, -np.inf
    for k in range(3):
        value = ((first[k] - second[0]) * normal).sum() / size
        low, high = min(low, value), max(high, value)
    if low > tolerance or high < -tolerance:
        return 0
    grazed = False
    for k in range(3):
        kind = _pierced(first[k], first[(k + 1) % 3], second, tolerance)
        other = _pierced(second[k], second[(k + 1) % 3], first, tolerance)
        if kind == 1 or other == 1:
            return 1
        grazed = grazed or kind == 2 or other == 2
    if grazed:
        return 2
    if _lie_on_each_other(first, second, tolerance):
        return 2
    return 0


@njit(cache=True, parallel=True)
def meeting_triangles(triangles, corners, order, lows, highs, tolerance, found, kinds):
    """For each triangle the later ones that it meets, without a common vertex.

    found (m, width) int, kinds (m, width) int: the first of them; returns (m,) their number.
    """
    m, width = found.shape
    leaves = len(lows) // 2
    counts = np.zeros(m, dtype=np.int64)
    for i in prange(m):
        t = order[i]
        low, high = np.empty(3), np.empty(3)
        for axis in range(3):
            low[axis] = min(corners[t, 0, axis], corners[t, 1, axis], corners[t, 2, axis])
            high[axis] = max(corners[t, 0, axis], corners[t, 1, axis], corners[t, 2, axis])
        stack = np.empty(64, dtype=np.int64)
        stack[0] = 1
        depth = 1
        while depth > 0:
            depth -= 1
            node = stack[depth]
            clear = False
            for axis in range(3):
                if (
                    lows[node, axis] > high[axis] + tolerance
                    or highs[node, axis] < low[axis] - tolerance
                ):
                    clear = True
            if clear:
                continue
            if node < leaves:
                stack[depth], stack[depth + 1] = 2 * node, 2 * node + 1
                depth += 2
                continue
            begin = (node - leaves) * LEAF
            for j in range(max(begin, i + 1), min(begin + LEAF, m)):
                s = order[j]
                shared = False
                for k in range(3):
                    for q in range(3):
                        if triangles[t, k] == triangles[s, q]:
                            shared = True
                apart = False
                for axis in range(3):
                    least = min(corners[s, 0, axis], corners[s, 1, axis], corners[s, 2, axis])
                    most = max(corners[s, 0, axis], corners[s, 1, axis], corners[s, 2, axis])
                    if least > high[axis] + tolerance or most < low[axis] - tolerance:
                        apart = True
                if shared or apart:
                    continue
                kind = _meet(corners[t], corners[s], tolerance)
                if kind > 0:
                    if counts[i] < width:
                        found[i, counts[i]], kinds[i, counts[i]] = s, kind
                    counts[i] += 1
    return counts
