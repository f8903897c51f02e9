"""Compiled loops that follow straight ways over the panels."""

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy")
def straight_ways(start, panel, directions, axis, level, vertices, triangles, neighbours, longest):
    """Ways from a point straight over the skin to the plane coordinate[axis] = level.

    On every panel a way is a straight line; over an edge it goes on as if both panels lay in one
    plane. `directions` (n, 3), unit, lie in the panel of the start. Returns lengths, m, inf where
    a way ends or gets longer than `longest` before, and the panels where they arrive.
    """
    n = len(directions)
    length = np.full(n, np.inf)
    arrival = np.full(n, -1, dtype=np.int64)
    points, panels = np.empty((1, 3)), np.empty(1, dtype=np.int64)
    room = np.empty((6, 3))
    for i in range(n):
        length[i], arrival[i], _ = _follow(
            *(start, panel, directions[i], axis, level, vertices, triangles, neighbours, longest),
            *(points, panels, room),
        )
    return length, arrival


@njit(cache=True, error_model="numpy")
def one_way(start, panel, direction, axis, level, vertices, triangles, neighbours, longest, most):
    """One of these ways: its points on the edges, both ends included, and the panels between."""
    points, panels = np.empty((most + 1, 3)), np.empty(most, dtype=np.int64)
    room = np.empty((6, 3))
    _, _, count = _follow(
        *(start, panel, direction, axis, level, vertices, triangles, neighbours, longest),
        *(points, panels, room),
    )
    return points[: count + 1], panels[:count]


@njit(cache=True, error_model="numpy")
def _follow(
    start,
    panel,
    direction,
    axis,
    level,
    vertices,
    triangles,
    neighbours,
    longest,
    points,
    panels,
    room,
):
    """Length, panel of arrival and number of panels of a way; writes it down while there is room.

    `room` (6, 3) is to work in: place, direction, next place, edge, normal, inward.
    """
    p, d, q, edge, normal, inward = room[0], room[1], room[2], room[3], room[4], room[5]
    for m in range(3):  # whole rows at once cost seconds of compiling
        p[m] = points[0, m] = start[m]
        d[m] = direction[m]
    here, entry, done, count = panel, -1, 0.0, 0
    side = p[axis] - level
    while done < longest:
        _normal_of(vertices, triangles, here, normal)
        # the way leaves through the edge that it meets first
        leave, way = -1, np.inf
        for k in range(3):
            if k == entry:
                continue
            a, b = triangles[here, k], triangles[here, (k + 1) % 3]
            for m in range(3):
                edge[m] = vertices[b, m] - vertices[a, m]
            _cross(normal, edge, inward)
            outward = -(d[0] * inward[0] + d[1] * inward[1] + d[2] * inward[2])
            if outward <= 0.0:
                continue
            gap = 0.0
            for m in range(3):
                gap += (p[m] - vertices[a, m]) * inward[m]
            if max(gap, 0.0) / outward < way:
                leave, way = k, max(gap, 0.0) / outward
        if leave < 0:
            break
        for m in range(3):
            q[m] = p[m] + way * d[m]
        there = q[axis] - level
        arrives = side * there <= 0.0 and there != side
        if arrives:
            way *= side / (side - there)
            for m in range(3):
                q[m] = p[m] + way * d[m]
        done += way
        if count < len(panels) and count + 1 < len(points):
            panels[count] = here
            for m in range(3):
                points[count + 1, m] = q[m]
            count += 1
        if arrives and done <= longest:
            return done, here, count
        other = neighbours[here, leave]
        if arrives or other < 0:
            break
        # turn the direction about the edge into the next panel
        a, b = triangles[here, leave], triangles[here, (leave + 1) % 3]
        size = 0.0
        for m in range(3):
            edge[m] = vertices[b, m] - vertices[a, m]
            size += edge[m] * edge[m]
        along = 0.0
        for m in range(3):
            edge[m] /= np.sqrt(size)
            along += d[m] * edge[m]
        onward = np.sqrt(max(0.0, 1.0 - along * along))
        _normal_of(vertices, triangles, other, normal)
        _cross(edge, normal, inward)
        for m in range(3):
            d[m] = along * edge[m] + onward * inward[m]
            p[m] = q[m]
        for k in range(3):
            if triangles[other, k] == b and triangles[other, (k + 1) % 3] == a:
                entry = k
        here, side = other, there
    return np.inf, -1, count


@njit(cache=True, error_model="numpy")
def _cross(a, b, result):
    """a x b, written into `result`."""
    result[0] = a[1] * b[2] - a[2] * b[1]
    result[1] = a[2] * b[0] - a[0] * b[2]
    result[2] = a[0] * b[1] - a[1] * b[0]


@njit(cache=True, error_model="numpy")
def _normal_of(vertices, triangles, panel, normal):
    """Unit normal of a panel, written into `normal`."""
    a, b, c = triangles[panel, 0], triangles[panel, 1], triangles[panel, 2]
    x1, y1, z1 = (
        vertices[b, 0] - vertices[a, 0],
        vertices[b, 1] - vertices[a, 1],
        vertices[b, 2] - vertices[a, 2],
    )
    x2, y2, z2 = (
        vertices[c, 0] - vertices[a, 0],
        vertices[c, 1] - vertices[a, 1],
        vertices[c, 2] - vertices[a, 2],
    )
    normal[0] = y1 * z2 - z1 * y2
    normal[1] = z1 * x2 - x1 * z2
    normal[2] = x1 * y2 - y1 * x2
    size = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    for m in range(3):
        normal[m] /= size
