"""Compiled steps of panelling: nearest points, and changes of a triangle skin one edge at a time.

The skin is kept as half-edges: half-edge e = 3 t + k runs from corner k of triangle t to its next
corner; `twin` is the half-edge that runs back in the neighbour. Open rims are closed by triangles
to a vertex of kind HIDDEN, so that one can always walk round a vertex. Every change keeps the
skin a closed manifold of the same kind.
"""

from collections import namedtuple

import numpy as np
from numba import njit, prange

FREE, ON_LINE, FIXED, HIDDEN = 0, 1, 2, 3
STRAYING = 0.15
"""Edges on kept lines may be off the line by this part of their length."""

FACING = 0.5
"""Least cosine between a new triangle and the skin it stands for."""

OPPOSED = -0.2
"""Least cosine between the normals at the corners of a new triangle, so that none goes from one
side of a thin wall to the other."""

BLOCK, STRIDE = 4096, 1565
"""Vertices of a block are met with this stride, which has no divisor in common with its length."""

Skin = namedtuple(
    "Skin", "points start twin chain place kind plane normal size out count into mark"
)
"""points (n, 3) m; per half-edge: start vertex (-1: no longer there), twin, chain of edges that
are kept (-1: none), place of the start along that chain, m; per vertex: kind, on the plane of
symmetry, unit normal (zero on lines), wanted size m, a half-edge out of it, vertex it was drawn
into; count: vertices, triangles; mark: scratch."""

Tree = namedtuple("Tree", "corners facing normals low high leaves")
"""corners (m, 3, 3), unit facing (m, 3) and corner normals (m, 3, 3) of triangles in order of the
leaves of a binary tree of boxes; leaves: number of leaves, 4 triangles each."""

Chains = namedtuple("Chains", "first points places")
"""Polylines one after the other: first (n + 1,), points (k, 3) m, places (k,) m along each."""


@njit(cache=True, error_model="numpy")
def following(e):
    """Next half-edge of the same triangle."""
    return e - 2 if e % 3 == 2 else e + 1


@njit(cache=True, error_model="numpy")
def preceding(e):
    """Previous half-edge of the same triangle."""
    return e + 2 if e % 3 == 0 else e - 1


@njit(cache=True, error_model="numpy")
def _foot(c, x, y, z):
    """Weights of the corners at the point of a triangle nearest to a point.

    By the Voronoi regions of corners, edges and inside (C. Ericson, Real-Time Collision
    Detection, 2005, section 5.1.5, from memory).
    """
    ux, uy, uz = c[1, 0] - c[0, 0], c[1, 1] - c[0, 1], c[1, 2] - c[0, 2]
    vx, vy, vz = c[2, 0] - c[0, 0], c[2, 1] - c[0, 1], c[2, 2] - c[0, 2]
    px, py, pz = x - c[0, 0], y - c[0, 1], z - c[0, 2]
    d1 = ux * px + uy * py + uz * pz
    d2 = vx * px + vy * py + vz * pz
    if d1 <= 0.0 and d2 <= 0.0:
        return 1.0, 0.0, 0.0
    px, py, pz = x - c[1, 0], y - c[1, 1], z - c[1, 2]
    d3 = ux * px + uy * py + uz * pz
    d4 = vx * px + vy * py + vz * pz
    if d3 >= 0.0 and d4 <= d3:
        return 0.0, 1.0, 0.0
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        t = d1 / (d1 - d3)
        return 1.0 - t, t, 0.0
    px, py, pz = x - c[2, 0], y - c[2, 1], z - c[2, 2]
    d5 = ux * px + uy * py + uz * pz
    d6 = vx * px + vy * py + vz * pz
    if d6 >= 0.0 and d5 <= d6:
        return 0.0, 0.0, 1.0
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        t = d2 / (d2 - d6)
        return 1.0 - t, 0.0, t
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        t = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        return 0.0, 1.0 - t, t
    total = va + vb + vc
    if not total > 0.0:
        return 1.0, 0.0, 0.0
    return va / total, vb / total, vc / total


@njit(cache=True, error_model="numpy")
def _box_distance(low, high, node, x, y, z):
    dx = max(low[node, 0] - x, 0.0, x - high[node, 0])
    dy = max(low[node, 1] - y, 0.0, y - high[node, 1])
    dz = max(low[node, 2] - z, 0.0, z - high[node, 2])
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, error_model="numpy")
def nearest(tree, x, y, z, nx, ny, nz, least, reach):
    """Triangle nearest to a point, corner weights there, and squared distance.

    Only triangles whose normal has at least the cosine `least` to (nx, ny, nz) and within
    `reach` count; -1 when there is none.
    """
    best, found = reach * reach, -1
    w0, w1, w2 = 0.0, 0.0, 0.0
    stack = np.empty(64, dtype=np.int64)
    stack[0], depth = 1, 1
    while depth > 0:
        depth -= 1
        node = stack[depth]
        if _box_distance(tree.low, tree.high, node, x, y, z) > best:
            continue
        if node >= tree.leaves:
            begin = 4 * (node - tree.leaves)
            for t in range(begin, min(begin + 4, len(tree.corners))):
                f = tree.facing[t]
                if f[0] * nx + f[1] * ny + f[2] * nz < least:
                    continue
                c = tree.corners[t]
                a, b, d = _foot(c, x, y, z)
                ex = a * c[0, 0] + b * c[1, 0] + d * c[2, 0] - x
                ey = a * c[0, 1] + b * c[1, 1] + d * c[2, 1] - y
                ez = a * c[0, 2] + b * c[1, 2] + d * c[2, 2] - z
                distance = ex * ex + ey * ey + ez * ez
                if distance < best or (found < 0 and distance <= best):
                    best, found, w0, w1, w2 = distance, t, a, b, d
            continue
        first = _box_distance(tree.low, tree.high, 2 * node, x, y, z)
        second = _box_distance(tree.low, tree.high, 2 * node + 1, x, y, z)
        near, far = (2 * node, 2 * node + 1) if first <= second else (2 * node + 1, 2 * node)
        stack[depth], stack[depth + 1] = far, near
        depth += 2
    return found, w0, w1, w2, best


@njit(cache=True, parallel=True, error_model="numpy")
def nearest_many(tree, points, normals, least, reach):
    """Place in the tree (-1: none), distance, m, and foot of the triangle nearest to each point."""
    found = np.empty(len(points), dtype=np.int64)
    distance = np.empty(len(points))
    feet = np.empty((len(points), 3))
    for i in prange(len(points)):
        p, n = points[i], normals[i]
        t, a, b, c, best = nearest(tree, p[0], p[1], p[2], n[0], n[1], n[2], least, reach)
        found[i], distance[i] = t, np.sqrt(best)
        if t >= 0:
            for k in range(3):
                corner = tree.corners[t]
                feet[i, k] = a * corner[0, k] + b * corner[1, k] + c * corner[2, k]
    return found, distance, feet


@njit(cache=True, error_model="numpy")
def own_fans(start, twin, n_vertices):
    """Start vertices such that triangles that only touch in a vertex have one of their own each.

    Returns the new starts and, for every added vertex, the one it is a copy of.
    """
    seen = np.zeros(len(start), dtype=np.bool_)
    claimed = np.zeros(n_vertices, dtype=np.bool_)
    new = start.copy()
    copies = []
    for e0 in range(len(start)):
        if seen[e0]:
            continue
        vertex = start[e0]
        name = vertex
        if claimed[vertex]:
            name = n_vertices + len(copies)
            copies.append(vertex)
        claimed[vertex] = True
        e = e0
        while True:  # one way round
            seen[e] = True
            new[e] = name
            e = twin[preceding(e)]
            if e < 0 or e == e0:
                break
        if e < 0:  # and the other, where the skin is open
            e = e0
            while twin[e] >= 0:
                e = following(twin[e])
                seen[e] = True
                new[e] = name
    result = np.empty(len(copies), dtype=np.int64)
    for k in range(len(copies)):
        result[k] = copies[k]
    return new, result


@njit(cache=True, parallel=True, error_model="numpy")
def filtered_facing(facing, areas, twin, width):
    """(m, 3) unit: mean of a triangle's normal and its neighbours', alike ones counting most."""
    result = facing.copy()
    for t in prange(len(facing)):
        sx, sy, sz = areas[t] * facing[t, 0], areas[t] * facing[t, 1], areas[t] * facing[t, 2]
        for k in range(3):
            if twin[3 * t + k] >= 0:
                other = np.int64(twin[3 * t + k] // 3)
                dx = facing[t, 0] - facing[other, 0]
                dy = facing[t, 1] - facing[other, 1]
                dz = facing[t, 2] - facing[other, 2]
                gap = dx * dx + dy * dy + dz * dz
                weight = areas[other] * np.exp(-gap / (width * width))
                sx += weight * facing[other, 0]
                sy += weight * facing[other, 1]
                sz += weight * facing[other, 2]
        length = np.sqrt(sx * sx + sy * sy + sz * sz)
        if length > 0.0:
            result[t, 0], result[t, 1], result[t, 2] = sx / length, sy / length, sz / length
    return result


@njit(cache=True, error_model="numpy")
def _least_angle(ax, ay, az, b, c):
    """rad: smallest angle of the triangle of a point and two points."""
    p = (b[0] - ax) ** 2 + (b[1] - ay) ** 2 + (b[2] - az) ** 2
    q = (c[0] - ax) ** 2 + (c[1] - ay) ** 2 + (c[2] - az) ** 2
    r = (b[0] - c[0]) ** 2 + (b[1] - c[1]) ** 2 + (b[2] - c[2]) ** 2
    if p <= q and p <= r:
        p, r = r, p
    elif q <= p and q <= r:
        q, r = r, q
    if not r > 0.0:
        return 0.0
    return np.arccos(min(1.0, (p + q - r) / (2.0 * np.sqrt(p * q))))


@njit(cache=True, error_model="numpy")
def triangle_angle(skin, t):
    """rad: smallest angle of a triangle."""
    p, start = skin.points, skin.start
    a = p[start[3 * t]]
    return _least_angle(a[0], a[1], a[2], p[start[3 * t + 1]], p[start[3 * t + 2]])


@njit(cache=True, error_model="numpy")
def _hidden(skin, t):
    kind, start = skin.kind, skin.start
    return (
        kind[start[3 * t]] == HIDDEN
        or kind[start[3 * t + 1]] == HIDDEN
        or kind[start[3 * t + 2]] == HIDDEN
    )


@njit(cache=True, error_model="numpy")
def _area_vector(ax, ay, az, b, c):
    ux, uy, uz = b[0] - ax, b[1] - ay, b[2] - az
    vx, vy, vz = c[0] - ax, c[1] - ay, c[2] - az
    return uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx


@njit(cache=True, error_model="numpy")
def _opposed(u, v):
    """Whether two normals (zero on lines) face so differently that no panel may join them."""
    return u[0] * v[0] + u[1] * v[1] + u[2] * v[2] < OPPOSED


@njit(cache=True, error_model="numpy")
def _faces_on(skin, x, y, z, normal, b, c, old):
    """Whether the triangle of a point and vertices b, c faces as the skin does there.

    `normal` of the point; where no corner has one (all on lines), as the old triangle did.
    """
    p, n = skin.points, skin.normal
    gx, gy, gz = _area_vector(x, y, z, p[b], p[c])
    size = np.sqrt(gx * gx + gy * gy + gz * gz)
    side = (p[b, 0] - x) ** 2 + (p[b, 1] - y) ** 2 + (p[b, 2] - z) ** 2
    side = max(side, (p[c, 0] - x) ** 2 + (p[c, 1] - y) ** 2 + (p[c, 2] - z) ** 2)
    if not size > 1e-9 * side:  # three points on one line, but for rounding
        return False
    if _opposed(normal, n[b]) or _opposed(n[b], n[c]) or _opposed(n[c], normal):
        return False
    rx = normal[0] + n[b, 0] + n[c, 0]
    ry = normal[1] + n[b, 1] + n[c, 1]
    rz = normal[2] + n[b, 2] + n[c, 2]
    length = np.sqrt(rx * rx + ry * ry + rz * rz)
    if length < 1e-3:
        s = skin.start
        o = p[s[3 * old]]
        rx, ry, rz = _area_vector(o[0], o[1], o[2], p[s[3 * old + 1]], p[s[3 * old + 2]])
        length = np.sqrt(rx * rx + ry * ry + rz * rz)
    return gx * rx + gy * ry + gz * rz > FACING * size * length


@njit(cache=True, error_model="numpy")
def edge_length(skin, e):
    """m."""
    a, b = skin.points[skin.start[e]], skin.points[skin.start[following(e)]]
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@njit(cache=True, error_model="numpy")
def relative_length(skin, e):
    """Length of an edge over the size wanted there."""
    a, b = skin.start[e], skin.start[following(e)]
    return edge_length(skin, e) / (0.5 * (skin.size[a] + skin.size[b]))


@njit(cache=True, error_model="numpy")
def _valence(skin, vertex):
    count, e = 0, skin.out[vertex]
    while True:
        count += 1
        e = skin.twin[preceding(e)]
        if e == skin.out[vertex]:
            return count


@njit(cache=True, error_model="numpy")
def along_chain(chains, chain, place):
    """Point of a polyline at a place along it, m."""
    low, high = chains.first[chain], chains.first[chain + 1] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if chains.places[middle] <= place:
            low = middle
        else:
            high = middle
    span = chains.places[high] - chains.places[low]
    t = (place - chains.places[low]) / span if span > 0.0 else 0.0
    t = min(1.0, max(0.0, t))
    a, b = chains.points[low], chains.points[high]
    return (
        a[0] + t * (b[0] - a[0]),
        a[1] + t * (b[1] - a[1]),
        a[2] + t * (b[2] - a[2]),
    )


@njit(cache=True, error_model="numpy")
def _keeps_to_line(chains, chain, first, second):
    """Whether the straight edge between two places of a polyline lies near it: off by no more
    than STRAYING of its length.
    """
    ax, ay, az = along_chain(chains, chain, first)
    bx, by, bz = along_chain(chains, chain, second)
    ux, uy, uz = bx - ax, by - ay, bz - az
    square = ux * ux + uy * uy + uz * uz
    for k in range(1, 4):
        x, y, z = along_chain(chains, chain, first + 0.25 * k * (second - first))
        x, y, z = x - ax, y - ay, z - az
        t = min(1.0, max(0.0, (x * ux + y * uy + z * uz) / max(square, 1e-300)))
        off = (x - t * ux) ** 2 + (y - t * uy) ** 2 + (z - t * uz) ** 2
        if off > STRAYING * STRAYING * square:
            return False
    return True


@njit(cache=True, error_model="numpy")
def _line_ends(skin, v):
    """The two half-edges on kept lines out of a vertex."""
    first, second = -1, -1
    g = skin.out[v]
    while True:
        if skin.chain[g] >= 0:
            if first < 0:
                first = g
            else:
                second = g
        g = skin.twin[preceding(g)]
        if g == skin.out[v]:
            return first, second


@njit(cache=True, error_model="numpy")
def _may_go(skin, chains, e):
    """Whether drawing the start of a half-edge into its end keeps the skin a manifold."""
    start, twin, kind = skin.start, skin.twin, skin.kind
    f = twin[e]
    a, b = start[e], start[f]
    if kind[a] >= FIXED or kind[b] == HIDDEN:
        return False
    if kind[a] == ON_LINE:
        if skin.chain[e] < 0:
            return False
        first, second = _line_ends(skin, a)
        other = second if first == e else first
        if not _keeps_to_line(chains, skin.chain[e], skin.place[f], skin.place[twin[other]]):
            return False
    c, d = start[preceding(e)], start[preceding(f)]
    if c == d or _valence(skin, c) < 4 or _valence(skin, d) < 4:
        return False
    for inner, outer in ((following(e), preceding(e)), (preceding(f), following(f))):
        if skin.chain[inner] >= 0 and skin.chain[outer] >= 0:
            return False
    mark = skin.mark
    g = skin.out[b]
    while True:
        mark[start[following(g)]] = b + 1
        g = twin[preceding(g)]
        if g == skin.out[b]:
            break
    shared, good = 0, True
    g = skin.out[a]
    while True:
        other = start[following(g)]
        if mark[other] == b + 1:
            shared += 1
        elif skin.plane[b] and skin.plane[other] and other != b and skin.chain[g] < 0:
            good = False
        g = twin[preceding(g)]
        if g == skin.out[a]:
            break
    g = skin.out[b]
    while True:
        mark[start[following(g)]] = 0
        g = twin[preceding(g)]
        if g == skin.out[b]:
            break
    return good and shared == 2


@njit(cache=True, error_model="numpy")
def _angle_after(skin, e, longest):
    """Smallest angle, rad, round the start of a half-edge before and after it goes; -1 if bad.

    Bad: a triangle turned over, or an edge longer than `longest` times the wanted size that was
    not so long before.
    """
    start, twin, p = skin.start, skin.twin, skin.points
    a, b = start[e], start[twin[e]]
    x, y, z = p[b, 0], p[b, 1], p[b, 2]
    before, after = 10.0, 10.0
    g = skin.out[a]
    while True:
        t = g // 3
        if not _hidden(skin, t):
            before = min(before, triangle_angle(skin, t))
            c, d = start[following(g)], start[preceding(g)]
            if c != b and d != b:
                if not _faces_on(skin, x, y, z, skin.normal[b], c, d, t):
                    return before, -1.0
                after = min(after, _least_angle(x, y, z, p[c], p[d]))
                q = p[c]
                new = np.sqrt((q[0] - x) ** 2 + (q[1] - y) ** 2 + (q[2] - z) ** 2)
                limit = longest * 0.5 * (skin.size[b] + skin.size[c])
                if new > limit and new > edge_length(skin, g):
                    return before, -1.0
        g = twin[preceding(g)]
        if g == skin.out[a]:
            return before, after


@njit(cache=True, error_model="numpy")
def draw_into(skin, e):
    """Draw the start of a half-edge into its end; two triangles go."""
    start, twin, place = skin.start, skin.twin, skin.place
    f = twin[e]
    a, b = start[e], start[f]
    e1, e2, f1, f2 = following(e), preceding(e), following(f), preceding(f)
    c, d = start[e2], start[f2]
    te1, te2, tf1, tf2 = twin[e1], twin[e2], twin[f1], twin[f2]
    along = skin.chain[e]
    at_b = place[f]
    g = skin.out[a]
    first = g
    while True:
        after = twin[preceding(g)]
        start[g] = b
        if along >= 0 and skin.chain[g] >= 0:
            place[g] = at_b
        g = after
        if g == first:
            break
    if skin.chain[e1] >= 0:  # b -> c stays a kept edge
        skin.chain[te2], place[te2] = skin.chain[e1], place[e1]
    elif skin.chain[te2] >= 0:  # a -> c becomes b -> c
        skin.chain[te1], place[te1] = skin.chain[te2], place[e2]
    if skin.chain[f2] >= 0:  # d -> b stays
        skin.chain[tf1], place[tf1] = skin.chain[f2], place[f2]
    elif skin.chain[tf1] >= 0:  # d -> a becomes d -> b
        skin.chain[tf2], place[tf2] = skin.chain[tf1], at_b
    twin[te1], twin[te2] = te2, te1
    twin[tf1], twin[tf2] = tf2, tf1
    skin.out[b], skin.out[c], skin.out[d] = te2, te1, tf1
    skin.out[a] = -1
    skin.into[a] = b
    for h in (e, e1, e2, f, f1, f2):
        start[h] = -1


@njit(cache=True, error_model="numpy")
def halve(skin, e):
    """Put a new vertex into an edge; two triangles more. Its position is left to the caller."""
    start, twin, chain, place = skin.start, skin.twin, skin.chain, skin.place
    f = twin[e]
    e1, f2 = following(e), preceding(f)
    c, d, b = start[preceding(e)], start[f2], start[f]
    v, t = skin.count[0], skin.count[1]
    skin.count[0] += 1
    skin.count[1] += 2
    h, k = 3 * t, 3 * t + 3
    middle = 0.5 * (place[e] + place[f])
    start[h], start[h + 1], start[h + 2] = v, b, c
    start[k], start[k + 1], start[k + 2] = b, v, d
    for new, old in ((h, e), (h + 1, e1), (k, f), (k + 2, f2)):
        chain[new], place[new] = chain[old], place[old]
    chain[h + 2], chain[k + 1] = -1, -1
    twin[h + 1], twin[k + 2] = twin[e1], twin[f2]
    twin[twin[e1]], twin[twin[f2]] = h + 1, k + 2
    start[e1], start[f] = v, v
    twin[e1], twin[h + 2] = h + 2, e1
    twin[f2], twin[k + 1] = k + 1, f2
    twin[h], twin[k] = k, h
    chain[e1], chain[f2] = -1, -1
    place[h], place[f] = middle, middle
    skin.out[v], skin.out[b] = h, k
    skin.out[c], skin.out[d] = preceding(e), f2
    skin.out[start[e]] = e
    skin.kind[v] = ON_LINE if chain[e] >= 0 else FREE
    skin.plane[v] = skin.plane[start[e]] and skin.plane[b] and chain[e] >= 0
    skin.size[v] = 0.5 * (skin.size[start[e]] + skin.size[b])
    skin.into[v] = v
    skin.mark[v] = 0
    return v


@njit(cache=True, error_model="numpy")
def turn(skin, e):
    """Exchange the edge between two triangles for the other diagonal."""
    start, twin, chain, place = skin.start, skin.twin, skin.chain, skin.place
    f = twin[e]
    e1, e2, f1, f2 = following(e), preceding(e), following(f), preceding(f)
    a, b, c, d = start[e], start[f], start[e2], start[f2]
    te1, tf1 = twin[e1], twin[f1]
    chain[e], place[e] = chain[f1], place[f1]
    chain[f], place[f] = chain[e1], place[e1]
    twin[e], twin[tf1] = tf1, e
    twin[f], twin[te1] = te1, f
    start[e1], start[f1] = d, c
    twin[e1], twin[f1] = f1, e1
    chain[e1], chain[f1] = -1, -1
    skin.out[a], skin.out[b], skin.out[c], skin.out[d] = e, f, e2, f2


@njit(cache=True, error_model="numpy")
def _gain_of_turn(skin, e, least_gain):
    """How much the smaller least angle of two triangles grows by a turn, rad; -1 if it may not."""
    start, twin, p, n = skin.start, skin.twin, skin.points, skin.normal
    f = twin[e]
    if skin.chain[e] >= 0 or _hidden(skin, e // 3) or _hidden(skin, f // 3):
        return -1.0
    a, b, c, d = start[e], start[f], start[preceding(e)], start[preceding(f)]
    if c == d or (skin.plane[c] and skin.plane[d]):
        return -1.0
    before = min(triangle_angle(skin, e // 3), triangle_angle(skin, f // 3))
    pc, pd = p[c], p[d]
    after = _least_angle(pc[0], pc[1], pc[2], p[a], pd)
    after = min(after, _least_angle(pc[0], pc[1], pc[2], pd, p[b]))
    if not after > before + least_gain:
        return -1.0
    if not _faces_on(skin, pc[0], pc[1], pc[2], n[c], a, d, e // 3):
        return -1.0
    if not _faces_on(skin, pc[0], pc[1], pc[2], n[c], d, b, f // 3):
        return -1.0
    if _valence(skin, a) < 4 or _valence(skin, b) < 4:
        return -1.0
    g = skin.out[c]
    while True:
        if start[following(g)] == d:
            return -1.0
        g = twin[preceding(g)]
        if g == skin.out[c]:
            return after - before


@njit(cache=True, error_model="numpy")
def turn_edges(skin, passes, good):
    """Turn edges of triangles with a least angle under `good`, rad, where that makes it larger."""
    for _ in range(passes):
        turned = 0
        for t in range(skin.count[1]):
            if skin.start[3 * t] < 0 or _hidden(skin, t) or triangle_angle(skin, t) > good:
                continue
            best, gain = -1, 1e-3
            for k in range(3):
                here = _gain_of_turn(skin, 3 * t + k, gain)
                if here > gain:
                    best, gain = 3 * t + k, here
            if best >= 0:
                turn(skin, best)
                turned += 1
        if turned == 0:
            break


@njit(cache=True, error_model="numpy")
def _try_to_go(skin, chains, e, longest, floor):
    """Draw the start of a half-edge into its end if no triangle gets bad by it."""
    if not _may_go(skin, chains, e):
        return False
    before, after = _angle_after(skin, e, longest)
    if after < min(before, floor):
        return False
    draw_into(skin, e)
    return True


@njit(cache=True, error_model="numpy")
def thin_out(skin, chains, shortest, longest, floor):
    """One pass over the vertices: draw them into a neighbour nearer than `shortest` times the
    wanted size, unless an edge becomes longer than `longest` times it. Neighbours of a vertex that
    took one in wait for the next pass. Vertices that are neighbours in memory are met far from each
    other, block by block. Returns how many went.
    """
    start, twin, kind = skin.start, skin.twin, skin.kind
    n = skin.count[0]
    waits = np.zeros(n, dtype=np.bool_)
    gone = 0
    tried = np.empty(4, dtype=np.int64)
    for i in range(-(-n // BLOCK) * BLOCK):
        v = i - i % BLOCK + (i * STRIDE) % BLOCK
        if v >= n or skin.out[v] < 0 or waits[v] or kind[v] >= FIXED:
            continue
        n_tried = 0
        while n_tried < 4:
            best, shortest_here = -1, shortest
            g = skin.out[v]
            while True:
                b = start[following(g)]
                if kind[b] != HIDDEN and (kind[v] == FREE or skin.chain[g] >= 0):
                    length = relative_length(skin, g)
                    new = True
                    for k in range(n_tried):
                        if tried[k] == g:
                            new = False
                    if new and length < shortest_here:
                        best, shortest_here = g, length
                g = twin[preceding(g)]
                if g == skin.out[v]:
                    break
            if best < 0:
                break
            tried[n_tried] = best
            n_tried += 1
            b = start[following(best)]
            if _try_to_go(skin, chains, best, longest, floor):
                gone += 1
                g = skin.out[b]
                while True:
                    waits[start[following(g)]] = True
                    g = twin[preceding(g)]
                    if g == skin.out[b]:
                        break
                waits[b] = True
                break
    return gone


@njit(cache=True, error_model="numpy")
def _put_on_skin(tree, x, y, z, nx, ny, nz, reach, point, normal):
    """Nearest point that faces the same way, and the normal there; False when there is none."""
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    least = 0.3 if size > 1e-3 else -2.0
    size = max(size, 1e-3)
    t, a, b, c, _ = nearest(tree, x, y, z, nx / size, ny / size, nz / size, least, reach)
    if t < 0:
        return False
    corner, n = tree.corners[t], tree.normals[t]
    for k in range(3):
        point[k] = a * corner[0, k] + b * corner[1, k] + c * corner[2, k]
        normal[k] = a * n[0, k] + b * n[1, k] + c * n[2, k]
    length = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    for k in range(3):
        normal[k] = normal[k] / length if length > 0.1 else tree.facing[t, k]
    return True


@njit(cache=True, error_model="numpy")
def renew_normals(skin, tree):
    """Give vertices off the lines the normal of the skin where they are, no mean any more."""
    point, normal = np.empty(3), np.empty(3)
    for v in range(skin.count[0]):
        if skin.out[v] < 0 or skin.kind[v] != FREE:
            continue
        p, n = skin.points[v], skin.normal[v]
        if _put_on_skin(tree, p[0], p[1], p[2], n[0], n[1], n[2], skin.size[v], point, normal):
            skin.normal[v] = normal


@njit(cache=True, error_model="numpy")
def _middle_on_skin(skin, chains, tree, e, point, normal):
    """Point and normal for a new vertex in an edge; False when the skin is not found."""
    start, p, n = skin.start, skin.points, skin.normal
    a, b = start[e], start[following(e)]
    if skin.chain[e] >= 0:
        place = 0.5 * (skin.place[e] + skin.place[skin.twin[e]])
        point[0], point[1], point[2] = along_chain(chains, skin.chain[e], place)
        normal[:] = 0.0
        return True
    x, y, z = 0.5 * (p[a, 0] + p[b, 0]), 0.5 * (p[a, 1] + p[b, 1]), 0.5 * (p[a, 2] + p[b, 2])
    nx, ny, nz = n[a, 0] + n[b, 0], n[a, 1] + n[b, 1], n[a, 2] + n[b, 2]
    if nx * nx + ny * ny + nz * nz < 1e-6:
        for t in (e // 3, skin.twin[e] // 3):
            q = p[start[3 * t]]
            gx, gy, gz = _area_vector(q[0], q[1], q[2], p[start[3 * t + 1]], p[start[3 * t + 2]])
            size = max(np.sqrt(gx * gx + gy * gy + gz * gz), 1e-300)
            nx, ny, nz = nx + gx / size, ny + gy / size, nz + gz / size
    return _put_on_skin(tree, x, y, z, nx, ny, nz, edge_length(skin, e), point, normal)


@njit(cache=True, error_model="numpy")
def _halves_face_on(skin, e, point, normal):
    """Whether the four triangles after a new vertex in an edge face as the skin does."""
    x, y, z = point[0], point[1], point[2]
    for g in (e, skin.twin[e]):
        if _hidden(skin, g // 3):
            continue
        a, b, c = skin.start[g], skin.start[following(g)], skin.start[preceding(g)]
        if not _faces_on(skin, x, y, z, normal, b, c, g // 3):
            return False
        if not _faces_on(skin, x, y, z, normal, c, a, g // 3):
            return False
    return True


@njit(cache=True, error_model="numpy")
def _longest_of_a_side(skin, e):
    length = edge_length(skin, e)
    for g in (e, skin.twin[e]):
        if _hidden(skin, g // 3):
            continue
        if length >= edge_length(skin, following(g)) and length >= edge_length(skin, preceding(g)):
            return True
    return False


@njit(cache=True, error_model="numpy")
def _too_long(skin, e, longest):
    """Length, m, of an edge that is to be halved, else 0: longer than `longest` times the wanted
    size, or from rim to rim of a half through its skin.
    """
    if skin.start[e] < 0:
        return 0.0
    a, b = skin.start[e], skin.start[skin.twin[e]]
    if skin.kind[a] == HIDDEN or skin.kind[b] == HIDDEN:
        return 0.0
    across = skin.plane[a] and skin.plane[b] and skin.chain[e] < 0
    return edge_length(skin, e) if across or relative_length(skin, e) > longest else 0.0


@njit(cache=True, error_model="numpy")
def long_edges(skin, longest):
    """(k,) half-edges of edges to be halved, the longest first."""
    found, lengths = [], []
    for e in range(3 * skin.count[1]):
        if e < skin.twin[e]:
            length = _too_long(skin, e, longest)
            if length > 0.0:
                found.append(e)
                lengths.append(-length)
    result, keys = np.empty(len(found), dtype=np.int64), np.empty(len(found))
    for k in range(len(found)):
        result[k], keys[k] = found[k], lengths[k]
    return result[np.argsort(keys)]


@njit(cache=True, error_model="numpy")
def halve_long_edges(skin, chains, tree, edges, longest):
    """Put a vertex into each of these edges that is still too long; how many.

    Edges that are not the longest of a triangle wait, so that shapes do not get worse.
    """
    point, normal = np.empty(3), np.empty(3)
    done = 0
    for e in edges:
        if _too_long(skin, e, longest) == 0.0:
            continue
        if skin.chain[e] < 0 and not _longest_of_a_side(skin, e):
            continue
        if skin.count[0] >= len(skin.points) or 3 * skin.count[1] + 6 > len(skin.start):
            break
        if not _middle_on_skin(skin, chains, tree, e, point, normal):
            continue
        if not _halves_face_on(skin, e, point, normal):
            continue
        v = halve(skin, e)
        skin.points[v] = point
        skin.normal[v] = normal
        done += 1
    return done


@njit(cache=True, error_model="numpy")
def _ring_angle(skin, v, point, normal):
    """Smallest angle, rad, of the triangles round a vertex if it were at `point`; -1 if bad."""
    least = 10.0
    g = skin.out[v]
    while True:
        if not _hidden(skin, g // 3):
            b, c = skin.start[following(g)], skin.start[preceding(g)]
            if not _faces_on(skin, point[0], point[1], point[2], normal, b, c, g // 3):
                return -1.0
            p = skin.points
            least = min(least, _least_angle(point[0], point[1], point[2], p[b], p[c]))
        g = skin.twin[preceding(g)]
        if g == skin.out[v]:
            return least


@njit(cache=True, error_model="numpy")
def _ring_angle_now(skin, v):
    least = 10.0
    g = skin.out[v]
    while True:
        if not _hidden(skin, g // 3):
            least = min(least, triangle_angle(skin, g // 3))
        g = skin.twin[preceding(g)]
        if g == skin.out[v]:
            return least


@njit(cache=True, error_model="numpy")
def _weighted_middle(skin, v, target):
    """Mean of the centroids round a vertex, each with its area over the wanted area."""
    total = 0.0
    target[:] = 0.0
    p = skin.points
    g = skin.out[v]
    while True:
        b, c = skin.start[following(g)], skin.start[preceding(g)]
        gx, gy, gz = _area_vector(p[v, 0], p[v, 1], p[v, 2], p[b], p[c])
        size = (skin.size[v] + skin.size[b] + skin.size[c]) / 3.0
        weight = np.sqrt(gx * gx + gy * gy + gz * gz) / (size * size)
        total += weight
        for k in range(3):
            target[k] += weight * (p[v, k] + p[b, k] + p[c, k]) / 3.0
        g = skin.twin[preceding(g)]
        if g == skin.out[v]:
            break
    for k in range(3):
        target[k] /= max(total, 1e-300)


@njit(cache=True, error_model="numpy")
def _move_free(skin, tree, v, target, reach, floor, point, normal):
    """Move a vertex towards a target, along the skin, as far as no triangle gets bad by it."""
    old = _ring_angle_now(skin, v)
    n, p = skin.normal[v], skin.points[v]
    up = 0.0
    for k in range(3):
        up += n[k] * (target[k] - p[k])
    share = 1.0
    for _ in range(3):
        x = p[0] + share * (target[0] - p[0] - up * n[0])
        y = p[1] + share * (target[1] - p[1] - up * n[1])
        z = p[2] + share * (target[2] - p[2] - up * n[2])
        if _put_on_skin(tree, x, y, z, n[0], n[1], n[2], reach, point, normal):
            angle = _ring_angle(skin, v, point, normal)
            if angle >= min(old, floor) and angle > 0.0:
                skin.points[v] = point
                skin.normal[v] = normal
                return True
        share *= 0.5
    return False


@njit(cache=True, error_model="numpy")
def _move_on_line(skin, chains, v, share, floor, point, normal):
    """Move a vertex of a line between its neighbours there."""
    a, b = _line_ends(skin, v)
    here, before, after = skin.place[a], skin.place[skin.twin[a]], skin.place[skin.twin[b]]
    size_a = skin.size[v] + skin.size[skin.start[following(a)]]
    size_b = skin.size[v] + skin.size[skin.start[following(b)]]
    wanted = before + (after - before) * size_a / (size_a + size_b)
    new = here + share * (wanted - here)
    for far in (before, after):
        if not _keeps_to_line(chains, skin.chain[a], far, new):
            return
    normal[:] = 0.0
    point[0], point[1], point[2] = along_chain(chains, skin.chain[a], new)
    old = _ring_angle_now(skin, v)
    angle = _ring_angle(skin, v, point, normal)
    if angle >= min(old, floor) and angle > 0.0:
        skin.points[v] = point
        skin.place[a] = skin.place[b] = new


@njit(cache=True, error_model="numpy")
def relax(skin, chains, tree, passes, floor):
    """Move vertices to the middle of their neighbours, along the skin and along kept lines."""
    target, point, normal = np.empty(3), np.empty(3), np.empty(3)
    for _ in range(passes):
        for v in range(skin.count[0]):
            if skin.out[v] < 0:
                continue
            if skin.kind[v] == FREE:
                _weighted_middle(skin, v, target)
                _move_free(skin, tree, v, target, 2.0 * skin.size[v], floor, point, normal)
            elif skin.kind[v] == ON_LINE:
                _move_on_line(skin, chains, v, 0.7, floor, point, normal)


@njit(cache=True, error_model="numpy")
def _try_places(skin, chains, tree, v, step, point, normal):
    """Try places round a vertex and keep the one with the largest least angle; whether moved."""
    best = _ring_angle_now(skin, v)
    found = False
    best_point, best_normal, best_place = np.zeros(3), np.zeros(3), 0.0
    if skin.kind[v] == FREE:
        n, p = skin.normal[v].copy(), skin.points[v].copy()
        axis = np.zeros(3)
        axis[np.argmin(np.abs(n))] = 1.0
        first = np.cross(n, axis)
        first /= np.sqrt((first * first).sum())
        second = np.cross(n, first)
        for k in range(8):
            u, w = step * np.cos(0.25 * np.pi * k), step * np.sin(0.25 * np.pi * k)
            q = p + u * first + w * second
            if not _put_on_skin(tree, q[0], q[1], q[2], n[0], n[1], n[2], 2 * step, point, normal):
                continue
            angle = _ring_angle(skin, v, point, normal)
            if angle > best + 1e-3:
                best, found = angle, True
                best_point[:], best_normal[:] = point, normal
        if found:
            skin.points[v] = best_point
            skin.normal[v] = best_normal
        return found
    a, b = _line_ends(skin, v)
    here, before, after = skin.place[a], skin.place[skin.twin[a]], skin.place[skin.twin[b]]
    normal[:] = 0.0
    for sign in (-1.0, 1.0):
        new = here + sign * step
        if not min(before, after) < new < max(before, after):
            continue
        point[0], point[1], point[2] = along_chain(chains, skin.chain[a], new)
        angle = _ring_angle(skin, v, point, normal)
        if angle > best + 1e-3:
            best, found, best_place = angle, True, new
            best_point[:] = point
    if found:
        skin.points[v] = best_point
        skin.place[a] = skin.place[b] = best_place
    return found


@njit(cache=True, error_model="numpy")
def mend_shapes(skin, chains, tree, wanted, passes):
    """Improve triangles whose least angle is under `wanted`, rad: turn edges, try other places,
    draw short edges together. Returns how many are left under it.
    """
    point, normal = np.empty(3), np.empty(3)
    left = 0
    for sweep in range(passes):
        left = 0
        for t in range(skin.count[1]):
            if skin.start[3 * t] < 0 or _hidden(skin, t):
                continue
            if triangle_angle(skin, t) >= wanted:
                continue
            left += 1
            for k in range(3):
                v = skin.start[3 * t + k]
                if skin.kind[v] <= ON_LINE:
                    around = edge_length(skin, 3 * t + k)
                    for part in (0.3, 0.12, 0.04):
                        _try_places(skin, chains, tree, v, part * around, point, normal)
            for k in range(3):
                if _gain_of_turn(skin, 3 * t + k, 1e-3) > 0.0:
                    turn(skin, 3 * t + k)
                    break
            if triangle_angle(skin, t) >= 0.75 * wanted or sweep % 3 < 2:
                continue
            _draw_together(skin, chains, t)
        if left == 0:
            break
    return left


@njit(cache=True, error_model="numpy")
def _draw_together(skin, chains, t):
    """Draw one edge of a bad triangle together where that makes the worst angle better."""
    best, gain = -1, 1e-3
    for k in range(3):
        for e in (3 * t + k, skin.twin[3 * t + k]):
            if relative_length(skin, e) < 0.9 and _may_go(skin, chains, e):
                before, after = _angle_after(skin, e, 1.6)
                if after - before > gain:
                    best, gain = e, after - before
    if best >= 0:
        draw_into(skin, best)


@njit(cache=True, error_model="numpy")
def put_into(skin, t):
    """Put a new vertex into a triangle; two triangles more. Its position is left to the caller."""
    start, twin, chain, place = skin.start, skin.twin, skin.chain, skin.place
    v, first = skin.count[0], 3 * skin.count[1]
    skin.count[0] += 1
    skin.count[1] += 2
    e, e1, e2 = 3 * t, 3 * t + 1, 3 * t + 2
    a, b, c = start[e], start[e1], start[e2]
    h, k = first, first + 3
    start[h], start[h + 1], start[h + 2] = b, c, v
    start[k], start[k + 1], start[k + 2] = c, a, v
    for new, old in ((h, e1), (k, e2)):
        chain[new], place[new], twin[new] = chain[old], place[old], twin[old]
        twin[twin[old]] = new
    start[e2] = v
    chain[e1] = chain[e2] = chain[h + 1] = chain[h + 2] = chain[k + 1] = chain[k + 2] = -1
    twin[e1], twin[h + 2] = h + 2, e1
    twin[h + 1], twin[k + 2] = k + 2, h + 1
    twin[k + 1], twin[e2] = e2, k + 1
    skin.out[a], skin.out[b], skin.out[c], skin.out[v] = e, h, k, e2
    skin.kind[v], skin.plane[v], skin.into[v], skin.mark[v] = FREE, False, v, 0
    skin.size[v] = (skin.size[a] + skin.size[b] + skin.size[c]) / 3.0
    return v


@njit(cache=True, error_model="numpy")
def _vertex_at(skin, t, point, near):
    """Vertex at a point of a triangle: a corner, in an edge or inside, whichever is `near`."""
    p, start = skin.points, skin.start
    corners = np.empty((3, 3))
    for k in range(3):
        corners[k] = p[start[3 * t + k]]
    weights = np.array(_foot(corners, point[0], point[1], point[2]))
    for k in range(3):
        if weights[k] > 1.0 - near:
            return start[3 * t + k]
    foot = weights[0] * corners[0] + weights[1] * corners[1] + weights[2] * corners[2]
    for k in range(3):
        if weights[(k + 2) % 3] < near:
            v = halve(skin, 3 * t + k)
            share = weights[(k + 1) % 3] / (weights[k] + weights[(k + 1) % 3])
            skin.points[v] = corners[k] + share * (corners[(k + 1) % 3] - corners[k])
            return v
    v = put_into(skin, t)
    skin.points[v] = foot
    return v


@njit(cache=True, error_model="numpy")
def _nearest_triangle(skin, point):
    best, found = np.inf, -1
    corners = np.empty((3, 3))
    for t in range(skin.count[1]):
        if skin.start[3 * t] < 0 or _hidden(skin, t):
            continue
        for k in range(3):
            corners[k] = skin.points[skin.start[3 * t + k]]
        a, b, c = _foot(corners, point[0], point[1], point[2])
        gap = 0.0
        for k in range(3):
            gap += (a * corners[0, k] + b * corners[1, k] + c * corners[2, k] - point[k]) ** 2
        if gap < best:
            best, found = gap, t
    return found


@njit(cache=True, error_model="numpy")
def _keep_edge(skin, a, b, name):
    """Mark the edge between two vertices as kept, unless it is already."""
    g = skin.out[a]
    while True:
        if skin.start[following(g)] == b:
            if skin.chain[g] < 0:
                skin.chain[g] = skin.chain[skin.twin[g]] = name
            return True
        g = skin.twin[preceding(g)]
        if g == skin.out[a]:
            return False


@njit(cache=True, error_model="numpy")
def _step(skin, v, goal, near):
    """Next vertex on the straight way over the skin from a vertex to a point; -1 if none."""
    p, start = skin.points, skin.start
    ahead = goal - p[v]
    best, best_forward, share = -1, -np.inf, 0.0
    g = skin.out[v]
    while True:
        if not _hidden(skin, g // 3):
            b, c = start[following(g)], start[preceding(g)]
            nx, ny, nz = _area_vector(p[v, 0], p[v, 1], p[v, 2], p[b], p[c])
            left = np.array(
                [
                    ny * ahead[2] - nz * ahead[1],
                    nz * ahead[0] - nx * ahead[2],
                    nx * ahead[1] - ny * ahead[0],
                ]
            )
            right_b, left_c = -(left * (p[b] - p[v])).sum(), (left * (p[c] - p[v])).sum()
            scale = 1e-9 * np.sqrt((left * left).sum()) * edge_length(skin, g)
            if right_b >= -scale and left_c >= -scale and right_b + left_c > 0.0:
                s = min(1.0, max(0.0, right_b / (right_b + left_c)))
                crossing = p[b] + s * (p[c] - p[b]) - p[v]
                size = np.sqrt((crossing * crossing).sum())
                forward = (crossing * ahead).sum() / max(size, 1e-300)
                if forward > best_forward:
                    best, best_forward, share = g, forward, s
        g = skin.twin[preceding(g)]
        if g == skin.out[v]:
            break
    if best < 0 or best_forward <= 0.0:
        return -1
    b, c = start[following(best)], start[preceding(best)]
    crossing = p[b] + share * (p[c] - p[b])
    if (ahead * ahead).sum() <= ((crossing - p[v]) ** 2).sum() * (1.0 + near):
        return _vertex_at(skin, best // 3, goal, near)
    if share < near:
        return b
    if share > 1.0 - near:
        return c
    new = halve(skin, following(best))
    skin.points[new] = crossing
    return new


@njit(cache=True, error_model="numpy")
def lay_line(skin, line, name, near):
    """Cut a polyline on the skin into its triangles and mark its edges as kept.

    Returns the number of points reached: all of them, or fewer where the way was lost or where
    there was no room for more triangles.
    """
    v = _vertex_at(skin, _nearest_triangle(skin, line[0]), line[0], near)
    first = v
    for k in range(1, len(line)):
        goal = line[k].copy()
        length = np.sqrt(((goal - skin.points[v]) ** 2).sum())
        if k == len(line) - 1 and ((line[k] - line[0]) ** 2).sum() == 0.0:
            goal[:] = skin.points[first]
        for _ in range(100000):
            gap = np.sqrt(((goal - skin.points[v]) ** 2).sum())
            if gap <= 1e-9 * length or length == 0.0:
                break
            if skin.count[0] + 2 > len(skin.points) or 3 * skin.count[1] + 12 > len(skin.start):
                return k
            new = _step(skin, v, goal, near)
            if new < 0 or new == v:
                if gap < 1e-2 * length:
                    break
                return k
            new_gap = np.sqrt(((goal - skin.points[new]) ** 2).sum())
            if new_gap >= gap and gap < 1e-2 * length:
                break
            if not _keep_edge(skin, v, new, name):
                return k
            v = new
            if new_gap <= 3.0 * near * length:
                break
    return len(line)
