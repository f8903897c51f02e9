"""Compiled loops that lay lines through panels, and that say what state the air is in along them.

Symbols: h spreading, U speed, H shape factor. Panels, speed, distance and so on run downstream.
"""

import numpy as np
from numba import njit, prange

from panelcp.flow.boundary_layer_kernels import SEPARATED, TURBULENT, WARNED_SHAPE
from panelcp.flow.streamline_kernels import _follow, _inside

UNKNOWN, ATTACHED, POCKET, OPEN, REATTACHED, POSSIBLE = -1, 0, 1, 2, 3, 4

NEW_SHAPE = 1.6
"""Shape factor with which the layer goes on where the air comes back to the skin: memory."""

APART = 1e-9
"""m; points of one place, where a line crosses an edge, are drawn apart so far."""


@njit(cache=True, error_model="numpy")
def _width(growth, speed, first):
    """Spreading from ln(h U) and the speed at the start of a line; 1 at rest."""
    if speed > 0.0 and first > 0.0:
        return np.exp(growth) * first / speed
    return 1.0


@njit(cache=True, error_model="numpy")
def _join(before, n_before, behind, n_behind, points, panels, speed, distance, spreading):
    """Two lines from one point, one back and one on, into every second point of one line.

    The common point stays. Returns the number of points and the place of the common one.
    """
    back, back_panels, back_speed, back_way, back_growth = before
    on, on_panels, on_speed, on_way, on_growth = behind
    here = n_before - 1
    total = back_way[here]
    # relative to the strip's width where the air meets the skin
    start = _width(-back_growth[here], back_speed[here], back_speed[0])
    own = _width(-back_growth[0], back_speed[0], back_speed[0]) / start
    count = 0
    for k in range(here % 2, n_before + n_behind - 1, 2):
        if k <= here:
            j = here - k
            for c in range(3):  # a whole row at once costs seconds of compiling
                points[count, c] = back[j, c]
            panels[count], speed[count] = back_panels[j], back_speed[j]
            distance[count] = total - back_way[j] + APART * k
            spreading[count] = _width(-back_growth[j], back_speed[j], back_speed[0]) / start
        else:
            j = k - here
            for c in range(3):
                points[count, c] = on[j, c]
            panels[count], speed[count] = on_panels[j], on_speed[j]
            distance[count] = total + on_way[j] + APART * k
            spreading[count] = own * _width(on_growth[j], on_speed[j], on_speed[0])
        count += 1
    return count, here // 2


@njit(cache=True, error_model="numpy")
def _room(n):
    """Arrays for one line of n points."""
    return (
        np.empty((n, 3)),
        np.empty(n, dtype=np.int64),
        np.empty(n),
        np.empty(n),
        np.empty(n),
    )


@njit(cache=True, parallel=True, error_model="numpy")
def through_all(
    vertices, triangles, neighbours, normals, gradients, sizes, corner, starts, slow, longest,
    room, points, panels, speeds, distances, spreading, counts, here, ends,
):  # fmt: skip
    """Lines from where the air meets the skin, through the middles of panels, and on.

    room: greatest number of points to each side. Written: (n, m) arrays, m >= room, every second
    point of each line and nothing behind it; counts and here (n,), points of each line and place
    of the panel's own one; ends (n,), why the line downstream ends.
    """
    for line in prange(len(starts)):
        before, behind = _room(room), _room(room)
        b = np.full(3, 1.0 / 3.0)
        _inside(b)
        n_before, _ = _follow(
            vertices, triangles, neighbours, normals, gradients, sizes, corner, starts[line], b,
            -1.0, slow, np.inf, before[0], before[1], before[2], before[3], before[4],
        )  # fmt: skip
        b = np.full(3, 1.0 / 3.0)
        _inside(b)
        n_behind, ends[line] = _follow(
            vertices, triangles, neighbours, normals, gradients, sizes, corner, starts[line], b,
            1.0, slow, longest, behind[0], behind[1], behind[2], behind[3], behind[4],
        )  # fmt: skip
        counts[line], here[line] = _join(
            before, n_before, behind, n_behind, points[line], panels[line], speeds[line],
            distances[line], spreading[line],
        )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _separation(pressure, layer, begin, n, dammed, fresh, state, plateau):
    """States from point `begin` on to where the air comes back behind separation, or the end.

    `dammed`: the line ends before a face that looks into the stream, where the air comes back at
    the latest. Returns the point where it separates and where it comes back; n and -1 where it
    does not.
    """
    first, back = n, -1
    for j in range(begin, n):
        if layer[j] == SEPARATED:
            first = j
            break
        state[j] = fresh if layer[j] >= 0 else UNKNOWN
    if first == n:
        return first, back
    risen = False
    for j in range(first + 1, n):
        if pressure[j] > pressure[first]:
            risen = True
        elif risen and pressure[j] < pressure[first]:
            back = j
            break
    end = n if back < 0 else back
    closed = back >= 0 or dammed
    for j in range(first, end):
        state[j] = POCKET if closed else OPEN
        if closed:
            plateau[j] = pressure[first]
    for j in range(end, n):
        state[j] = REATTACHED
    return first, back


@njit(cache=True, error_model="numpy")
def separation_all(pressure, layer, begin, counts, dammed, fresh, state, plateau, first, back):
    """`_separation` of every line, from its own point `begin` on."""
    for line in range(len(counts)):
        first[line], back[line] = _separation(
            pressure[line], layer[line], begin[line], counts[line], dammed[line], fresh,
            state[line], plateau[line],
        )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _soft(shape, layer, j):
    return layer[j] == TURBULENT and shape[j] >= WARNED_SHAPE


@njit(cache=True, error_model="numpy")
def _firm(shape, layer, j):
    return layer[j] == TURBULENT and shape[j] < NEW_SHAPE


@njit(cache=True, error_model="numpy")
def _close(pressure, shape, layer, begin, n):
    """First point behind `begin` with less pressure than there, or with a firm layer (n: none);
    whether the pressure is higher before."""
    risen = False
    for j in range(begin + 1, n):
        if pressure[j] > pressure[begin]:
            risen = True
        elif pressure[j] < pressure[begin]:
            return j, risen
        if _firm(shape, layer, j):
            return j, risen
    return n, risen


@njit(cache=True, error_model="numpy")
def possible_all(pressure, shape, layer, counts, dammed, state, plateau, unclosed):
    """Mark where the air may be in a pocket, in attached air of every line.

    From H 1.8 to where the pressure, having risen, falls below that at H 1.8, or where H is below
    that of a layer that has just come back, or where the line ends before a face that looks into
    the stream. Where none of this comes there is no pocket, and the layer alone tells whether the
    air separates; `unclosed` is set to the first such point where it is less.
    """
    for line in range(len(counts)):
        n, j = counts[line], 0
        while j < n:
            if not _soft(shape[line], layer[line], j):
                j += 1
                continue
            end, risen = _close(pressure[line], shape[line], layer[line], j, n)
            if end == n and not dammed[line]:
                unclosed[line] = min(unclosed[line], j)
                while j < n and _soft(shape[line], layer[line], j):
                    j += 1
            elif not risen:
                j += 1
            else:
                for k in range(j, end):
                    if state[line, k] == ATTACHED or state[line, k] == REATTACHED:
                        state[line, k], plateau[line, k] = POSSIBLE, pressure[line, j]
                j = end
