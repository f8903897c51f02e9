"""Compiled loops of the far field: point sources, gathered in boxes of a tree.

Taylor series in Cartesian coordinates. With D_g the derivatives of 1/R, multi-indices a, b, g and
R from the source box to the target box:

    moments      M_a = sum q (-s)^a / a!          s from the box's centre to the source
    local        L_b = sum over a of D_(a+b) M_a
    potential    sum q/|x - y| = sum over b of L_b t^b / b!       t from the centre to the target

The derivatives follow from |a| R^2 c_a + (2|a| - 1) sum R_i c_(a-e_i) + (|a| - 1) sum c_(a-2e_i)
= 0 for c_a = D_a / a!, c_0 = 1/R (K. Lindsay, R. Krasny, A particle method and adaptive treecode
for vortex sheet motion, J. Comput. Phys. 172 (2001) 879-907, from memory; tested against
direct sums).
"""

from math import pi, sqrt

import numpy as np
from numba import njit, prange

FOUR_PI = 4.0 * pi
REORDER = {"reassoc", "contract"}
"""Sums may be reordered and joined to products; nothing is assumed of nan or inf."""


@njit(cache=True, error_model="numpy")
def build_boxes(points, leaf_size):
    """Octree over points: order of the points and, for every box, its slice and its children.

    Returns order, start, end, first child, number of children, depth; box 0 holds all.
    """
    n = len(points)
    most = max(64, 8 * (n // max(1, leaf_size // 4) + 8))
    order = np.arange(n)
    spare = np.empty(n, dtype=np.int64)
    start, end = np.zeros(most, dtype=np.int64), np.zeros(most, dtype=np.int64)
    first_child, n_children = np.zeros(most, dtype=np.int64), np.zeros(most, dtype=np.int64)
    depth = np.zeros(most, dtype=np.int64)
    low, high = np.empty((most, 3)), np.empty((most, 3))
    for d in range(3):
        least, greatest = np.inf, -np.inf
        for p in range(n):
            least, greatest = min(least, points[p, d]), max(greatest, points[p, d])
        low[0, d], high[0, d] = least, greatest
    size = 0.0
    for d in range(3):
        size = max(size, high[0, d] - low[0, d])
    for d in range(3):
        middle = 0.5 * (low[0, d] + high[0, d])
        low[0, d], high[0, d] = middle - 0.5 * size, middle + 0.5 * size
    end[0] = n
    count, box = 1, 0
    octant = np.empty(n, dtype=np.int64)
    while box < count:
        if end[box] - start[box] > leaf_size and depth[box] < 40 and count + 8 <= most:
            numbers = np.zeros(8, dtype=np.int64)
            for p in range(start[box], end[box]):
                o = 0
                for d in range(3):
                    if points[order[p], d] > 0.5 * (low[box, d] + high[box, d]):
                        o += 1 << d
                octant[p] = o
                numbers[o] += 1
            places = np.empty(8, dtype=np.int64)
            place = start[box]
            first_child[box] = count
            for o in range(8):
                places[o] = place
                if numbers[o] > 0:
                    start[count], end[count] = place, place + numbers[o]
                    depth[count] = depth[box] + 1
                    for d in range(3):
                        middle = 0.5 * (low[box, d] + high[box, d])
                        low[count, d] = middle if o >> d & 1 else low[box, d]
                        high[count, d] = high[box, d] if o >> d & 1 else middle
                    count += 1
                    n_children[box] += 1
                place += numbers[o]
            for p in range(start[box], end[box]):
                spare[places[octant[p]]] = order[p]
                places[octant[p]] += 1
            for p in range(start[box], end[box]):  # slices cost seconds of compiling
                order[p] = spare[p]
        box += 1
    return (
        order,
        start[:count],
        end[:count],
        first_child[:count],
        n_children[:count],
        depth[:count],
    )


@njit(cache=True, error_model="numpy")
def box_bounds(points, order, start, end, areas):
    """Centre of the bounding box, greatest distance from it, largest area, of every box."""
    n = len(start)
    centre, radius, largest = np.empty((n, 3)), np.zeros(n), np.zeros(n)
    for box in range(n):
        for d in range(3):
            low, high = np.inf, -np.inf
            for p in range(start[box], end[box]):
                value = points[order[p], d]
                low, high = min(low, value), max(high, value)
            centre[box, d] = 0.5 * (low + high)
        for p in range(start[box], end[box]):
            square = 0.0
            for d in range(3):
                square += (points[order[p], d] - centre[box, d]) ** 2
            radius[box] = max(radius[box], square)
            largest[box] = max(largest[box], areas[order[p]])
        radius[box] = sqrt(radius[box])
    return centre, radius, largest


@njit(cache=True, error_model="numpy")
def pair_boxes(targets, sources, opening, fill, far_target, far_source, near_target, near_source):
    """Split all pairs of target and source box into far pairs and near pairs of leaves.

    `targets` and `sources` hold first child, number of children, centre, radius, start, end.
    Far: the sum of the radii is at most `opening` times the distance. Returns the numbers; the
    lists are filled when `fill` is true.
    """
    t_child, t_count, t_centre, t_radius, t_start, t_end = targets
    s_child, s_count, s_centre, s_radius, s_start, s_end = sources
    stack = np.empty((4096, 2), dtype=np.int64)
    stack[0] = 0
    top, n_far, n_near = 0, 0, 0
    while top >= 0:
        t, s = stack[top, 0], stack[top, 1]
        top -= 1
        square = 0.0
        for d in range(3):
            square += (t_centre[t, d] - s_centre[s, d]) ** 2
        reach = t_radius[t] + s_radius[s]
        many = (t_end[t] - t_start[t]) * (s_end[s] - s_start[s]) > 64
        if reach * reach < opening * opening * square and many:
            if fill:
                far_target[n_far], far_source[n_far] = t, s
            n_far += 1
        elif t_count[t] == 0 and s_count[s] == 0:
            if fill:
                near_target[n_near], near_source[n_near] = t, s
            n_near += 1
        elif s_count[s] == 0 or (t_count[t] > 0 and t_radius[t] >= s_radius[s]):
            for k in range(t_count[t]):
                top += 1
                stack[top, 0], stack[top, 1] = t_child[t] + k, s
        else:
            for k in range(s_count[s]):
                top += 1
                stack[top, 0], stack[top, 1] = t, s_child[s] + k
    return n_far, n_near


@njit(cache=True, error_model="numpy")
def _powers(d0, d1, d2, indices, parents, axes, out):
    """Scaled powers d^a / a! for all multi-indices, in the order of increasing degree."""
    out[0] = 1.0
    for i in range(1, len(indices)):
        axis = axes[i]
        step = d0 if axis == 0 else d1 if axis == 1 else d2
        out[i] = out[parents[i]] * step / indices[i, axis]


@njit(cache=True, parallel=True, error_model="numpy")
def gather_leaves(leaves, order, start, end, centre, points, charges, tables, moments):
    """Moments of the leaves from their point sources; charges are (n_units, n_points)."""
    indices, parents, axes = tables
    for k in prange(len(leaves)):
        box = leaves[k]
        power = np.empty(len(indices))
        for p in range(start[box], end[box]):
            j = order[p]
            _powers(
                centre[box, 0] - points[j, 0],
                centre[box, 1] - points[j, 1],
                centre[box, 2] - points[j, 2],
                indices,
                parents,
                axes,
                power,
            )
            for u in range(len(charges)):
                charge = charges[u, j]
                for i in range(len(indices)):
                    moments[box, u, i] += charge * power[i]


@njit(cache=True, parallel=True, error_model="numpy")
def gather_parents(boxes, first_child, n_children, centre, tables, shift, moments):
    """Moments of boxes, all of one depth, from those of their children."""
    indices, parents, axes = tables
    above, below, rest = shift
    for k in prange(len(boxes)):
        box = boxes[k]
        power = np.empty(len(indices))
        for c in range(first_child[box], first_child[box] + n_children[box]):
            _powers(
                centre[box, 0] - centre[c, 0],
                centre[box, 1] - centre[c, 1],
                centre[box, 2] - centre[c, 2],
                indices,
                parents,
                axes,
                power,
            )
            for u in range(moments.shape[1]):
                for i in range(len(above)):
                    moments[box, u, above[i]] += moments[c, u, below[i]] * power[rest[i]]


@njit(cache=True, error_model="numpy")
def _derivatives(r0, r1, r2, indices, lower, factorials, out):
    """Derivatives of 1/R of all multi-indices; `lower[i]` holds the places of a - e and a - 2e."""
    square = r0 * r0 + r1 * r1 + r2 * r2
    out[0] = 1.0 / sqrt(square)
    for i in range(1, len(indices)):
        degree = indices[i, 0] + indices[i, 1] + indices[i, 2]
        first, second = 0.0, 0.0
        if lower[i, 0] >= 0:
            first += r0 * out[lower[i, 0]]
        if lower[i, 1] >= 0:
            first += r1 * out[lower[i, 1]]
        if lower[i, 2] >= 0:
            first += r2 * out[lower[i, 2]]
        for k in range(3, 6):
            if lower[i, k] >= 0:
                second += out[lower[i, k]]
        out[i] = -((2 * degree - 1) * first + (degree - 1) * second) / (degree * square)
    for i in range(len(indices)):
        out[i] *= factorials[i]


@njit(cache=True, parallel=True, error_model="numpy", fastmath=REORDER)
def translate(
    far_starts, far_sources, target_centre, source_centre, derivative_tables, sums, moments, local
):
    """Local series of every target box from the moments of its far source boxes, three units.

    `sums` holds for every b the number of a with |a| + |b| <= order (they come first), and the
    places of a + b as (n, n).
    """
    indices, lower, factorials = derivative_tables
    counts, place = sums
    for t in prange(len(far_starts) - 1):
        derivative = np.empty(len(indices))
        for p in range(far_starts[t], far_starts[t + 1]):
            s = far_sources[p]
            _derivatives(
                target_centre[t, 0] - source_centre[s, 0],
                target_centre[t, 1] - source_centre[s, 1],
                target_centre[t, 2] - source_centre[s, 2],
                indices,
                lower,
                factorials,
                derivative,
            )
            for b in range(len(indices)):
                sum0, sum1, sum2 = 0.0, 0.0, 0.0
                for a in range(counts[b]):
                    d = derivative[place[b, a]]
                    sum0 += d * moments[s, 0, a]
                    sum1 += d * moments[s, 1, a]
                    sum2 += d * moments[s, 2, a]
                local[t, 0, b] += sum0
                local[t, 1, b] += sum1
                local[t, 2, b] += sum2


@njit(cache=True, parallel=True, error_model="numpy")
def pass_down(boxes, parent, centre, tables, shift, local):
    """Add the parents' local series to boxes, all of one depth."""
    indices, parents, axes = tables
    above, below, rest = shift
    for k in prange(len(boxes)):
        box = boxes[k]
        up = parent[box]
        power = np.empty(len(indices))
        _powers(
            centre[box, 0] - centre[up, 0],
            centre[box, 1] - centre[up, 1],
            centre[box, 2] - centre[up, 2],
            indices,
            parents,
            axes,
            power,
        )
        for u in range(local.shape[1]):
            for i in range(len(above)):
                local[box, u, below[i]] += local[up, u, above[i]] * power[rest[i]]


@njit(cache=True, error_model="numpy", fastmath=REORDER)
def _near_sums(x, y, z, skip, sources, charges, total):
    """Add the fields of the sources, but not that of number `skip`; three units.

    Worked in the precision of `sources` and `charges`.
    """
    kind = sources.dtype.type
    zero, one = kind(0.0), kind(1.0)
    x, y, z = kind(x), kind(y), kind(z)
    sum00 = sum01 = sum02 = sum10 = sum11 = sum12 = sum20 = sum21 = sum22 = zero
    for j in range(sources.shape[1]):
        d0, d1, d2 = x - sources[0, j], y - sources[1, j], z - sources[2, j]
        square = d0 * d0 + d1 * d1 + d2 * d2
        # the source left out gets a harmless distance and no weight
        used = zero if j == skip else one
        square += one - used
        factor = used / (square * sqrt(square))
        d0, d1, d2 = d0 * factor, d1 * factor, d2 * factor
        q0, q1, q2 = charges[0, j], charges[1, j], charges[2, j]
        sum00 += q0 * d0
        sum01 += q1 * d0
        sum02 += q2 * d0
        sum10 += q0 * d1
        sum11 += q1 * d1
        sum12 += q2 * d1
        sum20 += q0 * d2
        sum21 += q1 * d2
        sum22 += q2 * d2
    total[0, 0] += sum00
    total[0, 1] += sum01
    total[0, 2] += sum02
    total[1, 0] += sum10
    total[1, 1] += sum11
    total[1, 2] += sum12
    total[2, 0] += sum20
    total[2, 1] += sum21
    total[2, 2] += sum22


@njit(cache=True, error_model="numpy", fastmath=REORDER)
def _near_normal_sums(x, y, z, n0, n1, n2, skip, sources, charges):
    """Fields along (n0, n1, n2) of the sources, but not number `skip`; three units.

    Worked in the precision of `sources` and `charges`.
    """
    kind = sources.dtype.type
    zero, one = kind(0.0), kind(1.0)
    x, y, z = kind(x), kind(y), kind(z)
    n0, n1, n2 = kind(n0), kind(n1), kind(n2)
    sum0 = sum1 = sum2 = zero
    for j in range(sources.shape[1]):
        d0, d1, d2 = x - sources[0, j], y - sources[1, j], z - sources[2, j]
        square = d0 * d0 + d1 * d1 + d2 * d2
        # the source left out gets a harmless distance and no weight
        used = zero if j == skip else one
        square += one - used
        root = one / sqrt(square)
        factor = used * root * root * root * (n0 * d0 + n1 * d1 + n2 * d2)
        sum0 += charges[0, j] * factor
        sum1 += charges[1, j] * factor
        sum2 += charges[2, j] * factor
    return sum0, sum1, sum2


@njit(cache=True, error_model="numpy")
def _near_of(box, near_starts, near_sources, source_start, source_end, sources, charges):
    """Sources and charges (3, n) of all near leaves of a box, one after the other.

    One long sum fills the vector registers; many short ones do not.
    """
    n = 0
    for q in range(near_starts[box], near_starts[box + 1]):
        n += source_end[near_sources[q]] - source_start[near_sources[q]]
    near, near_charges = np.empty((3, n), sources.dtype), np.empty((3, n), charges.dtype)
    place = 0
    for q in range(near_starts[box], near_starts[box + 1]):
        s = near_sources[q]
        for j in range(source_start[s], source_end[s]):
            for d in range(3):
                near[d, place] = sources[d, j]
                near_charges[d, place] = charges[d, j]
            place += 1
    return near, near_charges


@njit(cache=True, error_model="numpy")
def _place_near(own, box, near_starts, near_sources, source_start, source_end):
    """Place of source `own` in the arrays of `_near_of`, -1 if it is not there."""
    before = 0
    for q in range(near_starts[box], near_starts[box + 1]):
        s = near_sources[q]
        if source_start[s] <= own < source_end[s]:
            return before + own - source_start[s]
        before += source_end[s] - source_start[s]
    return -1


@njit(cache=True, error_model="numpy")
def _local_velocity(x, y, z, box, centre, tables, raised, local, power, total):
    """Set `total` (3, 3), component and unit, to the field of a box's local series, times 4 pi."""
    indices, parents, axes = tables
    total[:, :] = 0.0
    _powers(
        x - centre[box, 0],
        y - centre[box, 1],
        z - centre[box, 2],
        indices,
        parents,
        axes,
        power,
    )
    for d in range(3):
        for b in range(len(indices)):
            place = raised[d, b]
            if place >= 0:
                for u in range(3):
                    total[d, u] -= local[box, u, place] * power[b]


@njit(cache=True, parallel=True, error_model="numpy")
def finish_leaves(
    leaves,
    target_order,
    target_start,
    target_end,
    target_centre,
    targets,
    own,
    tables,
    raised,
    local,
    near_starts,
    near_sources,
    source_start,
    source_end,
    sources,
    charges,
    velocity,
):
    """Add the velocity (n_targets, 3, 3) from local series and near leaves; three units.

    `sources` and `charges` are (3, n_sources) in the order of the source boxes; `own[i]` is the
    place there that is left out at target i, or -1; `raised[d, b]` is the place of b + e_d, or
    -1 beyond the order.
    """
    for k in prange(len(leaves)):
        box = leaves[k]
        power = np.empty(len(tables[0]))
        total = np.empty((3, 3))
        near, near_charges = _near_of(
            box, near_starts, near_sources, source_start, source_end, sources, charges
        )
        for p in range(target_start[box], target_end[box]):
            i = target_order[p]
            x, y, z = targets[i, 0], targets[i, 1], targets[i, 2]
            _local_velocity(x, y, z, box, target_centre, tables, raised, local, power, total)
            skip = _place_near(own[i], box, near_starts, near_sources, source_start, source_end)
            _near_sums(x, y, z, skip, near, near_charges, total)
            for d in range(3):
                for u in range(3):
                    velocity[i, d, u] += total[d, u] / FOUR_PI


@njit(cache=True, parallel=True, error_model="numpy")
def add_all_points(targets, own, sources, charges, velocity):
    """Add the velocity from all point sources directly; arrays as in `finish_leaves`."""
    for i in prange(len(targets)):
        total = np.zeros((3, 3))
        _near_sums(
            targets[i, 0],
            targets[i, 1],
            targets[i, 2],
            own[i],
            sources,
            charges,
            total,
        )
        for d in range(3):
            for u in range(3):
                velocity[i, d, u] += total[d, u] / FOUR_PI


@njit(cache=True, parallel=True, error_model="numpy")
def finish_normals(
    leaves,
    target_order,
    target_start,
    target_end,
    target_centre,
    targets,
    normals,
    own,
    tables,
    raised,
    local,
    near_starts,
    near_sources,
    source_start,
    source_end,
    sources,
    charges,
    velocity,
):
    """As `finish_leaves`, the part along `normals` (n_targets, 3); adds to (n_targets, 3)."""
    for k in prange(len(leaves)):
        box = leaves[k]
        power = np.empty(len(tables[0]))
        total = np.empty((3, 3))
        near, near_charges = _near_of(
            box, near_starts, near_sources, source_start, source_end, sources, charges
        )
        for p in range(target_start[box], target_end[box]):
            i = target_order[p]
            x, y, z = targets[i, 0], targets[i, 1], targets[i, 2]
            n0, n1, n2 = normals[i, 0], normals[i, 1], normals[i, 2]
            _local_velocity(x, y, z, box, target_centre, tables, raised, local, power, total)
            sum0, sum1, sum2 = (
                n0 * total[0, 0] + n1 * total[1, 0] + n2 * total[2, 0],
                n0 * total[0, 1] + n1 * total[1, 1] + n2 * total[2, 1],
                n0 * total[0, 2] + n1 * total[1, 2] + n2 * total[2, 2],
            )
            skip = _place_near(own[i], box, near_starts, near_sources, source_start, source_end)
            near0, near1, near2 = _near_normal_sums(x, y, z, n0, n1, n2, skip, near, near_charges)
            velocity[i, 0] += (sum0 + near0) / FOUR_PI
            velocity[i, 1] += (sum1 + near1) / FOUR_PI
            velocity[i, 2] += (sum2 + near2) / FOUR_PI


@njit(cache=True, parallel=True, error_model="numpy")
def add_all_normals(targets, normals, own, sources, charges, velocity):
    """As `add_all_points`, the part along `normals`; arrays as in `finish_normals`."""
    for i in prange(len(targets)):
        sum0, sum1, sum2 = _near_normal_sums(
            targets[i, 0],
            targets[i, 1],
            targets[i, 2],
            normals[i, 0],
            normals[i, 1],
            normals[i, 2],
            own[i],
            sources,
            charges,
        )
        velocity[i, 0] += sum0 / FOUR_PI
        velocity[i, 1] += sum1 / FOUR_PI
        velocity[i, 2] += sum2 / FOUR_PI
