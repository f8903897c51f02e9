"""Compiled loops that follow streamlines over triangles."""

import numpy as np
from numba import njit, prange

RUNNING, STILL, FULL, STUCK, BOUNDED = 0, 1, 2, 3, 4
"""Why a line ended: at a stagnation point, out of room, where panels push it to and fro, at the
greatest length."""

INSIDE = 1e-7
"""Least barycentric coordinate of a point that starts in a panel."""

STEP = 0.5
"""Steps are at most this part of the panel's size."""

ALONG_EDGE = 0.1
"""Flow that leaves a vertex may point so far beside a panel, parts of its greatest rate."""

CALM = 0.4
"""Steps are at most this part of the time in which lines near a stagnation point come together."""


@njit(cache=True, error_model="numpy")
def _rates(normals, gradients, corner, t, b, sign, out):
    """Rates of the barycentric coordinates at b; returns the speed along the panel."""
    vx = b[0] * corner[t, 0, 0] + b[1] * corner[t, 1, 0] + b[2] * corner[t, 2, 0]
    vy = b[0] * corner[t, 0, 1] + b[1] * corner[t, 1, 1] + b[2] * corner[t, 2, 1]
    vz = b[0] * corner[t, 0, 2] + b[1] * corner[t, 1, 2] + b[2] * corner[t, 2, 2]
    for k in range(3):
        g = gradients[t, k]
        out[k] = sign * (vx * g[0] + vy * g[1] + vz * g[2])
    out_of = vx * normals[t, 0] + vy * normals[t, 1] + vz * normals[t, 2]
    return np.sqrt(max(vx * vx + vy * vy + vz * vz - out_of * out_of, 0.0))


@njit(cache=True, error_model="numpy")
def _divergence(gradients, corner, t):
    total = 0.0
    for k in range(3):
        for i in range(3):
            total += gradients[t, k, i] * corner[t, k, i]
    return total


@njit(cache=True, error_model="numpy")
def _fastest_rate(gradients, corner, t):
    """Bound of the rates at which lines on a panel draw together or apart, 1/s."""
    total = 0.0
    for i in range(3):
        for j in range(3):
            rate = 0.0
            for c in range(3):
                mean = (corner[t, 0, c] + corner[t, 1, c] + corner[t, 2, c]) / 3.0
                rate += gradients[t, i, c] * (corner[t, j, c] - mean)
            total += rate * rate
    return np.sqrt(total)


@njit(cache=True, error_model="numpy")
def _cross(triangles, neighbours, t, edge, b):
    """Panel beyond an edge; b is changed to its coordinates, a little inside."""
    other = neighbours[t, edge]
    first, second = triangles[t, edge], triangles[t, (edge + 1) % 3]
    share_first, share_second = b[edge], b[(edge + 1) % 3]
    for k in range(3):
        vertex = triangles[other, k]
        if vertex == first:
            b[k] = share_first
        elif vertex == second:
            b[k] = share_second
        else:
            b[k] = 0.0
    _inside(b)
    return other


@njit(cache=True, error_model="numpy")
def _inside(b):
    total = 0.0
    for k in range(3):
        b[k] = max(b[k], INSIDE)
        total += b[k]
    for k in range(3):
        b[k] /= total


@njit(cache=True, error_model="numpy")
def _slide(triangles, neighbours, normals, gradients, corner, vertices, t, edge, b, sign, lengths):
    """Move along an edge that both panels push against; returns the panel, or -1 when stuck.

    The point goes with the mean of both velocities along the edge, to the next end of it.
    """
    i, j = edge, (edge + 1) % 3
    px = vertices[triangles[t, j]] - vertices[triangles[t, i]]
    length = np.sqrt((px * px).sum())
    other = neighbours[t, edge]
    along = 0.0
    share = b[j] / (b[i] + b[j])
    for which in range(2):
        panel = t if which == 0 else other
        for k in range(3):
            vertex = triangles[panel, k]
            weight = 0.0
            if vertex == triangles[t, i]:
                weight = 1.0 - share
            elif vertex == triangles[t, j]:
                weight = share
            for c in range(3):
                along += 0.5 * weight * corner[panel, k, c] * px[c] / length
    along *= sign
    if along == 0.0:
        return -1
    end = 1.0 if along > 0.0 else 0.0
    lengths[0] = abs(end - share) * length
    lengths[1] = abs(along)
    vertex = triangles[t, j] if along > 0.0 else triangles[t, i]
    return _leave_vertex(triangles, neighbours, normals, gradients, corner, t, vertex, b, sign)


@njit(cache=True, error_model="numpy")
def _leave_vertex(triangles, neighbours, normals, gradients, corner, t, vertex, b, sign):
    """Panel round a vertex into which the flow leaves it.

    Where the flow leaves along an edge, it may fit into neither of the panels there wholly.
    """
    best, best_value, scale = -1, -np.inf, 0.0
    panel = t
    rates = np.empty(3)
    for _ in range(64):
        place = 0
        for k in range(3):
            if triangles[panel, k] == vertex:
                place = k
        b[0], b[1], b[2] = 0.0, 0.0, 0.0
        b[place] = 1.0
        _rates(normals, gradients, corner, panel, b, sign, rates)
        value = min(rates[(place + 1) % 3], rates[(place + 2) % 3])
        scale = max(scale, abs(value))
        if value > best_value:
            best, best_value = panel, value
        panel = neighbours[panel, place]
        if panel == t or panel < 0:
            break
    if best < 0:
        return -1
    for k in range(3):
        b[k] = 1.0 if triangles[best, k] == vertex else 0.0
    for k in range(3):
        b[k] = 0.999 * b[k] + 0.001 / 3.0
    return best if best_value > -ALONG_EDGE * scale else -1


@njit(cache=True, error_model="numpy")
def _advance(normals, gradients, corner, sizes, t, b, sign, slow, new, half, rates, moved):
    """One midpoint step inside a panel, cut where it leaves it.

    Returns the edge it leaves by (-1: none) and fills time and length. Returns -2 at rest.
    """
    speed = _rates(normals, gradients, corner, t, b, sign, rates)
    if speed <= slow:
        return -2
    time = min(STEP * sizes[t] / speed, CALM / max(_fastest_rate(gradients, corner, t), 1e-300))
    edge = -1
    for trial in range(6):
        for k in range(3):
            half[k] = b[k] + 0.5 * time * rates[k]
        middle = _rates(normals, gradients, corner, t, half, sign, new)
        if middle <= 0.2 * slow:
            return -2
        for k in range(3):
            new[k] = b[k] + time * new[k]
        worst, part = -1, 1.0
        for k in range(3):
            if new[k] < 0.0:
                share = b[k] / (b[k] - new[k])
                if share < part:
                    worst, part = k, share
        if worst < 0:
            if trial > 0 and edge >= 0:
                # cut so that the point lies on the edge up to rounding
                new[edge] = max(new[edge], 0.0)
            break
        edge = worst
        if part > 1.0 - 1e-9 or trial == 5:
            break
        time *= part
    for k in range(3):
        new[k] = max(new[k], 0.0)
    moved[0], moved[1] = time, time * middle
    if edge >= 0 and new[edge] > 1e-6:
        edge = -1
    return edge


@njit(cache=True, error_model="numpy")
def _follow(
    vertices, triangles, neighbours, normals, gradients, sizes, corner, t, b, sign, slow, longest,
    points, panels, speeds, distances, growth,
):  # fmt: skip
    """One line; returns the number of points and why it ended."""
    room = len(panels)
    new, half, rates = np.empty(3), np.empty(3), np.empty(3)
    moved = np.zeros(2)
    count, length, spread, crossings = 0, 0.0, 0.0, 0
    while True:
        if count == room:
            return count, FULL
        for c in range(3):
            points[count, c] = (
                b[0] * vertices[triangles[t, 0], c]
                + b[1] * vertices[triangles[t, 1], c]
                + b[2] * vertices[triangles[t, 2], c]
            )
        panels[count], distances[count], growth[count] = t, length, spread
        speeds[count] = _rates(normals, gradients, corner, t, b, sign, rates)
        count += 1
        if length >= longest:
            return count, BOUNDED
        edge = _advance(
            normals, gradients, corner, sizes, t, b, sign, slow, new, half, rates, moved
        )
        if edge == -2:
            return count, STILL
        length += moved[1]
        spread += _divergence(gradients, corner, t) * moved[0]
        for k in range(3):
            b[k] = new[k]
        if edge < 0:
            crossings = 0
            continue
        # corner k is opposite to the edge from k + 1 to k + 2
        side = (edge + 1) % 3
        before = t
        if neighbours[t, side] < 0:
            return count, STUCK
        t = _cross(triangles, neighbours, t, side, b)
        opposite, small = 0, 0
        for k in range(3):
            if b[k] <= 2.0 * INSIDE:
                opposite = k
                small += 1
        if small > 1:
            big = 0
            for k in range(3):
                if b[k] > 0.5:
                    big = k
            vertex = triangles[t, big]
            t = _leave_vertex(triangles, neighbours, normals, gradients, corner, t, vertex, b, sign)
            if t < 0:
                return count, STUCK
            continue
        _rates(normals, gradients, corner, t, b, sign, rates)
        crossings = crossings + 1 if moved[1] < 1e-6 * sizes[t] else 0
        if rates[opposite] <= 0.0 or crossings > 8:
            back = (opposite + 1) % 3
            if neighbours[t, back] != before:
                return count, STUCK
            t = _slide(
                triangles, neighbours, normals, gradients, corner, vertices, t, back, b, sign, moved
            )
            if t < 0:
                return count, STUCK
            if moved[1] > slow:
                length += moved[0]
            else:
                return count, STILL
            crossings = 0


@njit(cache=True, parallel=True, error_model="numpy")
def follow_all(
    vertices, triangles, neighbours, normals, gradients, sizes, corner, starts, weights, sign,
    slow, longest, points, panels, speeds, distances, growth, counts, ends,
):  # fmt: skip
    """Follow a line from every start; see `panelcp.flow.streamlines`."""
    for line in prange(len(starts)):
        b = weights[line].copy()
        _inside(b)
        counts[line], ends[line] = _follow(
            vertices, triangles, neighbours, normals, gradients, sizes, corner, starts[line], b,
            sign, slow, longest, points[line], panels[line], speeds[line], distances[line],
            growth[line],
        )  # fmt: skip
