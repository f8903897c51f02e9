"""Compiled loop that follows straight ways over the panels."""

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy")
def straight_ways(start, panel, directions, axis, level, vertices, triangles, neighbours, longest):
    """Way from a point straight over the skin to the plane coordinate[axis] = level.

    On every panel the way is a straight line; over an edge it goes on as if both panels lay in
    one plane. `directions` (n, 3), unit, lie in the panel of the start. Returns length, m, inf
    where the way ends or gets longer than `longest` before, and the panel where it arrives.
    """
    n = len(directions)
    length = np.full(n, np.inf)
    arrival = np.full(n, -1, dtype=np.int64)
    p, d, q = np.empty(3), np.empty(3), np.empty(3)
    edge, e1, e2, normal = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    for i in range(n):
        p[:] = start
        d[:] = directions[i]
        here, entry, done = panel, -1, 0.0
        side = p[axis] - level
        while done < longest:
            _normal_of(vertices, triangles, here, e1, e2, normal)
            # the edge through which the way leaves: least way to the outside of an edge
            leave, way = -1, np.inf
            for k in range(3):
                if k == entry:
                    continue
                a = triangles[here, k]
                b = triangles[here, (k + 1) % 3]
                inward0 = normal[1] * (vertices[b, 2] - vertices[a, 2]) - normal[2] * (
                    vertices[b, 1] - vertices[a, 1]
                )
                inward1 = normal[2] * (vertices[b, 0] - vertices[a, 0]) - normal[0] * (
                    vertices[b, 2] - vertices[a, 2]
                )
                inward2 = normal[0] * (vertices[b, 1] - vertices[a, 1]) - normal[1] * (
                    vertices[b, 0] - vertices[a, 0]
                )
                out = -(d[0] * inward0 + d[1] * inward1 + d[2] * inward2)
                if out <= 0.0:
                    continue
                room = (
                    (p[0] - vertices[a, 0]) * inward0
                    + (p[1] - vertices[a, 1]) * inward1
                    + (p[2] - vertices[a, 2]) * inward2
                )
                step = max(room, 0.0) / out
                if step < way:
                    leave, way = k, step
            if leave < 0:
                break
            for m in range(3):
                q[m] = p[m] + way * d[m]
            there = q[axis] - level
            if side * there <= 0.0 and there != side:
                done += way * side / (side - there)
                if done <= longest:
                    length[i] = done
                    arrival[i] = here
                break
            other = neighbours[here, leave]
            if other < 0:
                break
            done += way
            # turn the direction about the edge into the next panel
            a, b = triangles[here, leave], triangles[here, (leave + 1) % 3]
            size = 0.0
            for m in range(3):
                edge[m] = vertices[b, m] - vertices[a, m]
                size += edge[m] * edge[m]
            size = np.sqrt(size)
            along = 0.0
            for m in range(3):
                edge[m] /= size
                along += d[m] * edge[m]
            onward = np.sqrt(max(0.0, 1.0 - along * along))
            _normal_of(vertices, triangles, other, e1, e2, normal)
            d[0] = along * edge[0] + onward * (edge[1] * normal[2] - edge[2] * normal[1])
            d[1] = along * edge[1] + onward * (edge[2] * normal[0] - edge[0] * normal[2])
            d[2] = along * edge[2] + onward * (edge[0] * normal[1] - edge[1] * normal[0])
            entry = 0
            for k in range(3):
                if triangles[other, k] == b and triangles[other, (k + 1) % 3] == a:
                    entry = k
            p[:] = q
            here, side = other, there
    return length, arrival


@njit(cache=True, error_model="numpy")
def _normal_of(vertices, triangles, panel, e1, e2, normal):
    """Unit normal of a panel, written into `normal`; e1 and e2 are room to work in."""
    a, b, c = triangles[panel, 0], triangles[panel, 1], triangles[panel, 2]
    for m in range(3):
        e1[m] = vertices[b, m] - vertices[a, m]
        e2[m] = vertices[c, m] - vertices[a, m]
    normal[0] = e1[1] * e2[2] - e1[2] * e2[1]
    normal[1] = e1[2] * e2[0] - e1[0] * e2[2]
    normal[2] = e1[0] * e2[1] - e1[1] * e2[0]
    size = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    for m in range(3):
        normal[m] /= size
