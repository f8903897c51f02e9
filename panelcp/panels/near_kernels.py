"""Compiled loops of the near field: curved panels with linear density.

A panel is given by the six coefficients of its patch (see `CurvedPanels`). `u` is the velocity
from unit density, `w[d, k]` the velocity component k from the density (y - x_j)_d, x_j the
control point. Both carry 1/(4 pi).
"""

from math import log, pi, sqrt

import numpy as np
from numba import njit, prange

from panelcp.panels._kernels import triangle_velocity

FOUR_PI = 4.0 * pi
THIRD = 1.0 / 3.0
POINTS_ALONG = 12
POINTS_OUT = 3
NEAR = 3.0
"""Up to this many panel sizes the patch is divided; beyond it the 3-point rule serves."""


@njit(cache=True, inline="always")
def _patch_point(c, xi, eta, out):
    for d in range(3):
        out[d] = (
            c[0, d]
            + xi * (c[1, d] + xi * c[3, d] + eta * c[4, d])
            + eta * (c[2, d] + eta * c[5, d])
        )


@njit(cache=True, inline="always")
def _patch_area(c, xi, eta):
    """|X_xi x X_eta|."""
    a0 = c[1, 0] + 2.0 * xi * c[3, 0] + eta * c[4, 0]
    a1 = c[1, 1] + 2.0 * xi * c[3, 1] + eta * c[4, 1]
    a2 = c[1, 2] + 2.0 * xi * c[3, 2] + eta * c[4, 2]
    b0 = c[2, 0] + xi * c[4, 0] + 2.0 * eta * c[5, 0]
    b1 = c[2, 1] + xi * c[4, 1] + 2.0 * eta * c[5, 1]
    b2 = c[2, 2] + xi * c[4, 2] + 2.0 * eta * c[5, 2]
    n0, n1, n2 = a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0
    return sqrt(n0 * n0 + n1 * n1 + n2 * n2)


@njit(cache=True, inline="always")
def _point_share(x, y0, y1, y2, area):
    """Velocity at x from a point source of strength `area` at y."""
    d0, d1, d2 = x[0] - y0, x[1] - y1, x[2] - y2
    square = d0 * d0 + d1 * d1 + d2 * d2
    factor = area / (FOUR_PI * square * sqrt(square))
    return factor * d0, factor * d1, factor * d2


@njit(cache=True, error_model="numpy")
def add_points(x, points, weights, control, u, w):
    """Add three point sources and their linear moments; points are (3, 3), weights (3,)."""
    u0 = u1 = u2 = w00 = w01 = w02 = w10 = w11 = w12 = w20 = w21 = w22 = 0.0
    for k in range(3):
        y0, y1, y2 = points[k, 0], points[k, 1], points[k, 2]
        k0, k1, k2 = _point_share(x, y0, y1, y2, weights[k])
        a0, a1, a2 = y0 - control[0], y1 - control[1], y2 - control[2]
        u0 += k0
        u1 += k1
        u2 += k2
        w00 += a0 * k0
        w01 += a0 * k1
        w02 += a0 * k2
        w10 += a1 * k0
        w11 += a1 * k1
        w12 += a1 * k2
        w20 += a2 * k0
        w21 += a2 * k1
        w22 += a2 * k2
    u[0] += u0
    u[1] += u1
    u[2] += u2
    w[0, 0] += w00
    w[0, 1] += w01
    w[0, 2] += w02
    w[1, 0] += w10
    w[1, 1] += w11
    w[1, 2] += w12
    w[2, 0] += w20
    w[2, 1] += w21
    w[2, 2] += w22


@njit(cache=True, error_model="numpy")
def rule_points(c, xi, eta, size, share, points, weights):
    """Points (3, 3) and weights (3,) of the 3-point rule on a part of a patch.

    The part is the parameter triangle with corner (xi, eta) and legs `size` (may be negative);
    `share` is its part of the parameter area.
    """
    for k in range(3):
        a = xi + size * (2.0 * THIRD if k == 1 else 0.5 * THIRD)
        b = eta + size * (2.0 * THIRD if k == 2 else 0.5 * THIRD)
        _patch_point(c, a, b, points[k])
        weights[k] = share * _patch_area(c, a, b) / 6.0


@njit(cache=True, error_model="numpy")
def point_rules(patches, controls, centroids, areas, neighbours, stencil):
    """Point sources that stand for each panel at some distance, its own point source taken off.

    Returns places (n_panels, 3, 4), axis first, and strengths (n_panels, 4, 4): of source k from
    unit density on the panel (m = 0) and on its neighbour m - 1, over 4 pi. Three sources are the
    3-point rule on the patch with linear density, the fourth is the centroid with less the area.
    """
    n = len(patches)
    places, strengths = np.empty((n, 3, 4)), np.zeros((n, 4, 4))
    for j in range(n):
        points, weights = np.empty((3, 3)), np.empty(3)
        rule_points(patches[j], 0.0, 0.0, 1.0, 1.0, points, weights)
        for k in range(3):
            strengths[j, k, 0] = weights[k] / FOUR_PI
            for m in range(3):
                if neighbours[j, m] < 0:
                    continue
                share = 0.0
                for d in range(3):
                    share += stencil[j, m, d] * (points[k, d] - controls[j, d])
                strengths[j, k, m + 1] = share * weights[k] / FOUR_PI
                strengths[j, k, 0] -= strengths[j, k, m + 1]
            for d in range(3):
                places[j, d, k] = points[k, d]
        strengths[j, 3, 0] = -areas[j] / FOUR_PI
        for d in range(3):
            places[j, d, 3] = centroids[j, d]
    return places, strengths


@njit(cache=True, error_model="numpy")
def _add_flat(x, corners, control, middle, u, w):
    """Add the flat triangle through three points exactly, its linear moments by its middle."""
    normal = np.empty(3)
    for d in range(3):
        e, f = (d + 1) % 3, (d + 2) % 3
        normal[d] = (corners[1, e] - corners[0, e]) * (corners[2, f] - corners[0, f]) - (
            corners[1, f] - corners[0, f]
        ) * (corners[2, e] - corners[0, e])
    length = sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    if length == 0.0:
        return
    for d in range(3):
        normal[d] /= length
    v0, v1, v2 = triangle_velocity(x[0], x[1], x[2], corners, normal)
    u[0] += v0
    u[1] += v1
    u[2] += v2
    for d in range(3):
        arm = middle[d] - control[d]
        w[d, 0] += arm * v0
        w[d, 1] += arm * v1
        w[d, 2] += arm * v2


@njit(cache=True, error_model="numpy")
def divided(x, c, control, levels, u, w, stack, corners, middle, weights):
    """Add a patch, quartered until every part is far enough from x for the 3-point rule.

    Far enough: at least twice the distance from the part's middle to its farthest corner. Parts
    that are still too near after `levels` divisions are taken as flat triangles, exactly.
    `stack` (4 levels + 4, 4), `corners` (3, 3), `middle` (3,) and `weights` (3,) are work space.
    """
    top = 0
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3] = 0.0, 0.0, 1.0, 0.0
    while top >= 0:
        xi, eta, size, level = stack[top, 0], stack[top, 1], stack[top, 2], stack[top, 3]
        top -= 1
        _patch_point(c, xi, eta, corners[0])
        _patch_point(c, xi + size, eta, corners[1])
        _patch_point(c, xi, eta + size, corners[2])
        _patch_point(c, xi + THIRD * size, eta + THIRD * size, middle)
        reach = 0.0
        for k in range(3):
            square = 0.0
            for d in range(3):
                square += (corners[k, d] - middle[d]) ** 2
            reach = max(reach, square)
        distance = 0.0
        for d in range(3):
            distance += (x[d] - middle[d]) ** 2
        if distance >= 4.0 * reach:
            rule_points(c, xi, eta, size, size * size, corners, weights)
            add_points(x, corners, weights, control, u, w)
        elif level >= levels:
            _add_flat(x, corners, control, middle, u, w)
        else:
            half = 0.5 * size
            # three parts like the whole, and the middle one turned over (legs negative)
            for k in range(4):
                top += 1
                stack[top, 0] = xi + (half if k == 1 or k == 3 else 0.0)
                stack[top, 1] = eta + (half if k == 2 or k == 3 else 0.0)
                stack[top, 2] = -half if k == 3 else half
                stack[top, 3] = level + 1.0


@njit(cache=True, error_model="numpy")
def own_part(c, normal, along, along_weights, out, out_weights, u, w):
    """Add the principal value of a patch at its own control point; the jump is not included.

    For each edge of the parameter triangle, d(w) leads from the middle to the point w of the
    edge: y - x = s y', y' = a + s b, a = [X(c+d) - X(c-d)]/2, b = [X(c+d) + X(c-d)]/2 - X(c).
    The singular part is that of the flat triangle with the same slopes, in closed form.
    """
    middle, plus, minus = np.empty(3), np.empty(3), np.empty(3)
    a, b, y = np.empty(3), np.empty(3), np.empty(3)
    _patch_point(c, THIRD, THIRD, middle)
    area = _patch_area(c, THIRD, THIRD)
    corner_xi = np.array([0.0, 1.0, 0.0, 0.0])
    corner_eta = np.array([0.0, 0.0, 1.0, 0.0])
    flat = np.empty((4, 3))
    for k in range(4):
        d_xi, d_eta = corner_xi[k] - THIRD, corner_eta[k] - THIRD
        for d in range(3):
            slope_xi = c[1, d] + THIRD * (2.0 * c[3, d] + c[4, d])
            slope_eta = c[2, d] + THIRD * (c[4, d] + 2.0 * c[5, d])
            flat[k, d] = slope_xi * d_xi + slope_eta * d_eta
    for edge in range(3):
        _add_edge(flat[edge], flat[edge + 1], normal, u)
        step_xi = corner_xi[edge + 1] - corner_xi[edge]
        step_eta = corner_eta[edge + 1] - corner_eta[edge]
        for i in range(len(along)):
            d_xi = corner_xi[edge] + along[i] * step_xi - THIRD
            d_eta = corner_eta[edge] + along[i] * step_eta - THIRD
            turn = abs(d_xi * step_eta - d_eta * step_xi)
            _patch_point(c, THIRD + d_xi, THIRD + d_eta, plus)
            _patch_point(c, THIRD - d_xi, THIRD - d_eta, minus)
            square = 0.0
            for d in range(3):
                a[d] = 0.5 * (plus[d] - minus[d])
                b[d] = 0.5 * (plus[d] + minus[d]) - middle[d]
                square += a[d] * a[d]
            first = -area * turn / (FOUR_PI * square * sqrt(square))
            for j in range(len(out)):
                s = out[j]
                square = 0.0
                for d in range(3):
                    y[d] = a[d] + s * b[d]
                    square += y[d] * y[d]
                local = _patch_area(c, THIRD + s * d_xi, THIRD + s * d_eta)
                factor = -local * turn / (FOUR_PI * square * sqrt(square))
                weight = along_weights[i] * out_weights[j]
                for d in range(3):
                    u[d] += weight * (factor * y[d] - first * a[d]) / s
                    for k in range(3):
                        w[d, k] += weight * factor * y[d] * y[k]


@njit(cache=True, error_model="numpy")
def _add_edge(a, b, normal, u):
    """Add (1/4 pi) ln((ra + rb + l)/(ra + rb - l)) times the outward normal of an edge."""
    ra = sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])
    rb = sqrt(b[0] * b[0] + b[1] * b[1] + b[2] * b[2])
    e0, e1, e2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = sqrt(e0 * e0 + e1 * e1 + e2 * e2)
    factor = log((ra + rb + length) / (ra + rb - length)) / (FOUR_PI * length)
    u[0] += factor * (e1 * normal[2] - e2 * normal[1])
    u[1] += factor * (e2 * normal[0] - e0 * normal[2])
    u[2] += factor * (e0 * normal[1] - e1 * normal[0])


@njit(cache=True, error_model="numpy")
def _near_sources(x, limit, cell, order, centroids, areas, found):
    """Panels within `limit` panel sizes of x, by descent through the tree; returns their number.

    `cell` holds the arrays of the tree: start, end, first child, number of children, centre,
    radius, largest panel area.
    """
    start, end, first_child, n_children, centre, radius, largest = cell
    stack = np.empty(256, dtype=np.int64)
    stack[0] = 0
    top, count = 0, 0
    while top >= 0:
        box = stack[top]
        top -= 1
        d0, d1, d2 = x[0] - centre[box, 0], x[1] - centre[box, 1], x[2] - centre[box, 2]
        gap = sqrt(d0 * d0 + d1 * d1 + d2 * d2) - radius[box]
        if gap > 0.0 and gap * gap > limit * limit * largest[box]:
            continue
        if n_children[box] > 0:
            for k in range(n_children[box]):
                top += 1
                stack[top] = first_child[box] + k
            continue
        for k in range(start[box], end[box]):
            j = order[k]
            d0 = x[0] - centroids[j, 0]
            d1 = x[1] - centroids[j, 1]
            d2 = x[2] - centroids[j, 2]
            if d0 * d0 + d1 * d1 + d2 * d2 <= limit * limit * areas[j]:
                if count < len(found):
                    found[count] = j
                count += 1
    return count


@njit(cache=True, parallel=True, error_model="numpy")
def count_near(points, limit, cell, order, centroids, areas, neighbours, n_blocks):
    """(n_points,) int: entries of each row of the near field, stencil neighbours included.

    The rows are worked on in `n_blocks` blocks with work space of their own.
    """
    n, m = len(points), len(centroids)
    counts = np.zeros(n, dtype=np.int64)
    for block in prange(n_blocks):
        mark = np.full(m, -1, dtype=np.int64)
        found = np.empty(m, dtype=np.int64)
        for i in range(block * n // n_blocks, (block + 1) * n // n_blocks):
            near = _near_sources(points[i], limit, cell, order, centroids, areas, found)
            count = 0
            for a in range(near):
                j = found[a]
                if mark[j] != i:
                    mark[j] = i
                    count += 1
                for k in range(3):
                    other = neighbours[j, k]
                    if other >= 0 and mark[other] != i:
                        mark[other] = i
                        count += 1
            counts[i] = count
    return counts


@njit(cache=True, inline="always")
def _entered(j, first, count, place, columns):
    """Number of columns of a row that starts at `first`, after panel j has got one."""
    known = place[j] >= first and place[j] < first + count and columns[place[j]] == j
    if known:
        return count
    place[j] = first + count
    columns[first + count] = j
    return count + 1


@njit(cache=True, error_model="numpy")
def _add_rule(x0, x1, x2, j, places, strengths, entries, values):
    """Add the four point sources of panel j to the rows `entries` (4,) of the near field."""
    e0, e1, e2, e3 = entries[0], entries[1], entries[2], entries[3]
    for k in range(4):
        d0, d1, d2 = x0 - places[j, 0, k], x1 - places[j, 1, k], x2 - places[j, 2, k]
        square = d0 * d0 + d1 * d1 + d2 * d2
        factor = 1.0 / (square * sqrt(square))
        d0, d1, d2 = factor * d0, factor * d1, factor * d2
        s = strengths[j, k, 0]
        values[e0, 0] += s * d0
        values[e0, 1] += s * d1
        values[e0, 2] += s * d2
        if k == 3:
            return
        s = strengths[j, k, 1]
        values[e1, 0] += s * d0
        values[e1, 1] += s * d1
        values[e1, 2] += s * d2
        s = strengths[j, k, 2]
        values[e2, 0] += s * d0
        values[e2, 1] += s * d1
        values[e2, 2] += s * d2
        s = strengths[j, k, 3]
        values[e3, 0] += s * d0
        values[e3, 1] += s * d1
        values[e3, 2] += s * d2


@njit(cache=True, error_model="numpy")
def _add_density(u, w, stencil, entries, values):
    """Add what a panel's linear density gives to the rows `entries` (4,) of the near field."""
    for d in range(3):
        values[entries[0], d] += u[d]
    for m in range(3):
        for d in range(3):
            share = stencil[m, 0] * w[0, d] + stencil[m, 1] * w[1, d] + stencil[m, 2] * w[2, d]
            values[entries[m + 1], d] += share
            values[entries[0], d] -= share


@njit(cache=True, parallel=True, error_model="numpy")
def fill_near(
    points, own, limit, cell, order, panels, point_sources, levels, rules, rows, values, n_blocks
):
    """Fill the near field: velocity from each panel's density, less that of its point source.

    `own[i]` is the panel whose control point is point i, or -1; there the principal value is
    taken, without the jump, and no point source is subtracted. A row's columns come in the order of
    the tree. `panels` holds patches, control points, normals, centroids, areas, neighbours and
    stencils; `rows` the starts of the rows and their columns.
    """
    patches, controls, normals, centroids, areas, neighbours, stencil = panels
    places, strengths = point_sources
    starts, columns = rows
    n, m = len(points), len(centroids)
    for block in prange(n_blocks):
        place = np.full(m, -1, dtype=np.int64)
        found = np.empty(m, dtype=np.int64)
        entries = np.empty(4, dtype=np.int64)
        stack, corners, middle = np.empty((4 * levels + 8, 4)), np.empty((3, 3)), np.empty(3)
        weights, u, w = np.empty(3), np.empty(3), np.empty((3, 3))
        for i in range(block * n // n_blocks, (block + 1) * n // n_blocks):
            x = points[i]
            near = _near_sources(x, limit, cell, order, centroids, areas, found)
            first, count = starts[i], 0
            for a in range(near):
                count = _entered(found[a], first, count, place, columns)
                for k in range(3):
                    if neighbours[found[a], k] >= 0:
                        count = _entered(neighbours[found[a], k], first, count, place, columns)
            values[first : first + count] = 0.0
            for a in range(near):
                j = found[a]
                entries[0] = place[j]
                for k in range(3):
                    o = neighbours[j, k]
                    entries[k + 1] = place[o] if o >= 0 else place[j]
                square = 0.0
                for d in range(3):
                    square += (x[d] - centroids[j, d]) ** 2
                if own[i] != j and square > NEAR * NEAR * areas[j]:
                    _add_rule(x[0], x[1], x[2], j, places, strengths, entries, values)
                    continue
                u[:] = 0.0
                w[:, :] = 0.0
                if own[i] == j:
                    own_part(patches[j], normals[j], *rules, u, w)
                else:
                    space = (stack, corners, middle, weights)
                    divided(x, patches[j], controls[j], levels, u, w, *space)
                    factor = areas[j] / (FOUR_PI * square * sqrt(square))
                    for d in range(3):
                        u[d] -= factor * (x[d] - centroids[j, d])
                _add_density(u, w, stencil[j], entries, values)


@njit(cache=True, parallel=True, error_model="numpy")
def add_near(starts, columns, values, strengths, velocity):
    """Add the near field to (n_points, 3, n_units); strengths are (n_panels, n_units)."""
    n_units = strengths.shape[1]
    for i in prange(len(starts) - 1):
        for p in range(starts[i], starts[i + 1]):
            j = columns[p]
            for d in range(3):
                value = values[p, d]
                for k in range(n_units):
                    velocity[i, d, k] += value * strengths[j, k]


@njit(cache=True, parallel=True, error_model="numpy")
def normal_part(starts, values, normals):
    """(n_entries,) float32: near field along the normal of each row's point."""
    result = np.empty(len(values), dtype=np.float32)
    for i in prange(len(starts) - 1):
        for p in range(starts[i], starts[i + 1]):
            result[p] = (
                values[p, 0] * normals[i, 0]
                + values[p, 1] * normals[i, 1]
                + values[p, 2] * normals[i, 2]
            )
    return result


@njit(cache=True, parallel=True, error_model="numpy")
def add_near_normal(starts, columns, values, strengths, velocity):
    """Add the near field along the normals to (n_points, n_units), in the precision of `values`.

    Strengths are (n_panels, n_units); three units at a time are summed in registers.
    """
    n_units = strengths.shape[1]
    threes = n_units - n_units % 3
    zero = values.dtype.type(0.0)
    for i in prange(len(starts) - 1):
        for k in range(0, threes, 3):
            sum0 = sum1 = sum2 = zero
            for p in range(starts[i], starts[i + 1]):
                j, value = columns[p], values[p]
                sum0 += value * strengths[j, k]
                sum1 += value * strengths[j, k + 1]
                sum2 += value * strengths[j, k + 2]
            velocity[i, k] += sum0
            velocity[i, k + 1] += sum1
            velocity[i, k + 2] += sum2
        for k in range(threes, n_units):
            sum0 = zero
            for p in range(starts[i], starts[i + 1]):
                sum0 += values[p] * strengths[columns[p], k]
            velocity[i, k] += sum0
