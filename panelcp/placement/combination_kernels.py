"""Compiled air flow through one bay with up to two inlets and three exits."""

from math import sqrt

from numba import njit, prange

MOST_STEPS = 200
"""Halving alone needs some 60 steps."""

CLOSE = 1e-14
"""A place is found when it lies between bounds this near to each other, parts of the range."""


@njit(cache=True, error_model="numpy")
def branch(difference, strength):
    """Volume flow through an opening, m3/s: strength sqrt(|difference|), with its sign.

    difference : Pa; strength : m3/s per square root of Pa.
    """
    if difference < 0.0:
        return -strength * sqrt(-difference)
    return strength * sqrt(difference)


@njit(cache=True, error_model="numpy")
def core_drop(flow, resistance, exponent):
    """Pressure drop of the core, Pa: resistance |flow|^exponent, with the sign of the flow."""
    if flow < 0.0:
        return -resistance * (-flow) ** exponent
    return resistance * flow**exponent


@njit(cache=True, error_model="numpy")
def _excess(bay, b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance, exponent):
    """Flow in less flow out, m3/s, when the bay has a pressure; falls with it."""
    out = branch(bay - o0, c0) + branch(bay - o1, c1) + branch(bay - o2, c2)
    plenum = bay + core_drop(out, resistance, exponent)
    return branch(b0 - plenum, s0) + branch(b1 - plenum, s1) - out


@njit(cache=True, error_model="numpy")
def bay_pressure(b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance, exponent):
    """Pressure in the bay, Pa, at which as much air flows in as flows out.

    b : Pa behind the inlets, s : their strengths; o : Pa outside the exits, c : their strengths.
    An opening that is not there has the strength 0 and the pressure of another one. Everything
    flows towards lower pressure, so the bay lies between the least and the greatest of them, and
    the excess falls all the way: one solution. Found by inverse quadratic steps that fall back to
    halving where the curve is not tame (square roots are steep where a flow turns round).

    Source: T. R. Chandrupatla, A new hybrid quadratic/bisection algorithm for finding the zero of
    a nonlinear function without using derivatives, Advances in Engineering Software 28 (1997)
    145-149; from memory.
    """
    low = min(b0, b1, o0, o1, o2)
    high = max(b0, b1, o0, o1, o2)
    if not high > low:
        return low
    a, b = low, high
    fa = _excess(a, b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance, exponent)
    fb = _excess(b, b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance, exponent)
    if fa <= 0.0:
        return a
    if fb >= 0.0:
        return b
    c, fc = a, fa
    part = 0.5
    narrow = CLOSE * (abs(low) + abs(high))
    for _ in range(MOST_STEPS):
        x = a + part * (b - a)
        f = _excess(x, b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance, exponent)
        if (f > 0.0) == (fa > 0.0):
            c, fc = a, fa
        else:
            c, fc = b, fb
            b, fb = a, fa
        a, fa = x, f
        best = a if abs(fa) < abs(fb) else b
        share = narrow / abs(b - a)
        if fa == 0.0 or share > 0.5:
            return best
        part = 0.5
        xi = (a - b) / (c - b)
        phi = (fa - fb) / (fc - fb)
        if phi * phi < xi and (1.0 - phi) * (1.0 - phi) < 1.0 - xi:
            part = fa / (fb - fa) * fc / (fb - fc)
            part += (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        part = min(max(part, share), 1.0 - share)
    return best


@njit(cache=True, parallel=True, error_model="numpy")
def solve_rows(
    inlet, exit_, factor, behind, outside, into, out_of, resistance, exponent, plenum, bay, flow
):
    """Pressures and flow of every combination in every world.

    inlet (n, 2), exit_ (n, 3) int, -1 for none; factor (n, 3), of the area of the exit.
    behind, into (n_worlds, n_inlets): Pa and strength; outside, out_of (n_worlds, n_exits).
    resistance, exponent (n_worlds,). Results (n, n_worlds): plenum and bay, Pa; flow, m3/s.
    """
    for row in prange(inlet.shape[0]):
        i, k = inlet[row, 0], inlet[row, 1]
        e, g, h = exit_[row, 0], exit_[row, 1], exit_[row, 2]
        fe, fg, fh = factor[row, 0], factor[row, 1], factor[row, 2]
        for w in range(behind.shape[0]):
            b0, s0, o0, c0 = behind[w, i], into[w, i], outside[w, e], fe * out_of[w, e]
            b1, s1, o1, c1, o2, c2 = b0, 0.0, o0, 0.0, o0, 0.0
            if k >= 0:
                b1, s1 = behind[w, k], into[w, k]
            if g >= 0:
                o1, c1 = outside[w, g], fg * out_of[w, g]
            if h >= 0:
                o2, c2 = outside[w, h], fh * out_of[w, h]
            p = bay_pressure(b0, b1, s0, s1, o0, o1, o2, c0, c1, c2, resistance[w], exponent[w])
            q = branch(p - o0, c0) + branch(p - o1, c1) + branch(p - o2, c2)
            bay[row, w], flow[row, w] = p, q
            plenum[row, w] = p + core_drop(q, resistance[w], exponent[w])
