"""Compiled march of laminar and turbulent boundary layers along one line, and along many.

Symbols: s distance along the line, U speed at the edge, h spreading, nu viscosity, theta momentum
thickness, H shape factor, H1 Head's shape factor (thickness - displacement thickness) / theta.
Between points U and h are straight.
"""

from math import exp, isnan, log, nan, sqrt

import numpy as np
from numba import njit, prange

NO_LAYER, LAMINAR, TURBULENT, SEPARATED = -1, 0, 1, 2
NOT_YET, MICHEL, FIXED, BUBBLE, NOSE, GIVEN = 0, 1, 2, 3, 4, 5

LAMINAR_SEPARATION = -0.09
SUDDEN = -1.0
"""Where the speed falls this fast, and by a fifth, between two points, no fitted slope is needed
to see that the laminar layer separates."""
WARNED_SHAPE, SEPARATED_SHAPE = 1.8, 2.4
SHAPE_AFTER_TRANSITION = 1.4
LEAST_REYNOLDS = 50.0
START_REGION = 0.1
STAGNATION = 0.5
PLATE = 0.036

GAUSS_PLACES = np.array([-0.861136311594053, -0.339981043584856, 0.339981043584856,
                         0.861136311594053])  # fmt: skip
GAUSS_WEIGHTS = np.array([0.347854845137454, 0.652145154862546, 0.652145154862546,
                          0.347854845137454])  # fmt: skip


@njit(cache=True, error_model="numpy")
def fit_parabolas(s, y, z, first, last, i):
    """Value, slope and second derivative of y, and value of z, at s[i].

    Of the parabolas through points first..last by least squares; straight from end to end where
    there are two points, or points so close together that they give no bend.
    """
    width = max(s[last] - s[i], s[i] - s[first])
    m1, m2, m3, m4 = 0.0, 0.0, 0.0, 0.0
    y0, y1, y2, z0, z1, z2 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    m0, scale, middle, level = last - first + 1.0, 1.0 / width, y[i], z[i]
    for j in range(first, last + 1):
        x, dy, dz = (s[j] - s[i]) * scale, y[j] - middle, z[j] - level
        xx = x * x
        m1, m2, m3, m4 = m1 + x, m2 + xx, m3 + x * xx, m4 + xx * xx
        y0, y1, y2 = y0 + dy, y1 + x * dy, y2 + xx * dy
        z0, z1, z2 = z0 + dz, z1 + x * dz, z2 + xx * dz
    a, b, c = m2 * m4 - m3 * m3, m1 * m4 - m2 * m3, m1 * m3 - m2 * m2
    d, e, f = m0 * m4 - m2 * m2, m0 * m3 - m1 * m2, m0 * m2 - m1 * m1
    determinant = m0 * a - m1 * b + m2 * c
    if determinant < 1e-9:
        return middle, (y[last] - y[first]) / (s[last] - s[first]), 0.0, level
    value = middle + (y0 * a - y1 * b + y2 * c) / determinant
    slope = scale * (y1 * d - y0 * b - y2 * e) / determinant
    bend = 2.0 * scale * scale * (y0 * c - y1 * e + y2 * f) / determinant
    return value, slope, bend, level + (z0 * a - z1 * b + z2 * c) / determinant


@njit(cache=True, error_model="numpy")
def smooth_line(s, raw_speed, raw_spreading, smoothing, speed, slope, bend, spreading):
    """Fit every point over `smoothing` times its distance to each side, five points at least.

    Two points to each side, since lines cross corners of panels with points close together;
    without smoothing three points.
    """
    n = len(s)
    side = 2 if smoothing > 0.0 else 1
    first, last = 0, 0
    for i in range(n):
        width = smoothing * s[i] * (1.0 + 1e-9)
        while s[first] < s[i] - width:
            first += 1
        while last < n - 1 and s[last + 1] <= s[i] + width:
            last += 1
        a, b = min(first, max(i - side, 0)), max(last, min(i + side, n - 1))
        if b - a < 2 * side:
            a, b = max(b - 2 * side, 0), min(a + 2 * side, n - 1)
        speed[i], slope[i], bend[i], spreading[i] = fit_parabolas(
            s, raw_speed, raw_spreading, a, b, i
        )
        if i == 0 or speed[i] <= 0.0:
            speed[i] = raw_speed[i]
        if i == 0 or spreading[i] <= 0.0:
            spreading[i] = raw_spreading[i]


@njit(cache=True, error_model="numpy")
def settle_start(s, speed, slope):
    """Let speed not fall before it first reaches a tenth of its greatest; keep it above zero.

    There the layer is that of the stagnation point, and one wrong speed would be taken to its
    sixth power. Points at rest get speeds on a straight line from the start. Returns the
    greatest speed.
    """
    greatest = speed.max()
    end = 0
    while speed[end] < START_REGION * greatest:
        end += 1
    for i in range(end - 1, -1, -1):
        speed[i] = min(speed[i], speed[i + 1])
        slope[i] = max(slope[i], 0.0)
    moving = 0
    while speed[moving] <= 1e-6 * greatest:
        moving += 1
    for i in range(1, moving):
        speed[i] = speed[moving] * (s[i] - s[0]) / (s[moving] - s[0])
    for i in range(1, len(speed)):
        speed[i] = max(speed[i], 1e-9 * greatest)
    return greatest


@njit(cache=True, error_model="numpy")
def _exponent(a, b, ratio):
    """ln(b / a) / ln(ratio), at least zero and at most 10."""
    if a <= 0.0 or ratio <= 1.0:
        return 0.0
    return min(max(log(b / a) / log(ratio), 0.0), 10.0)


@njit(cache=True, error_model="numpy")
def stagnation_growth(s, speed, spreading, greatest):
    """theta^2/nu, s, at a start near a stagnation point; zero where the start is a sharp edge.

    U = k s and h ~ s^m give theta^2/nu = 0.45 / (k (6 + 2 m)): 0.075/k plane, 0.05625/k round.
    """
    n = len(s)
    j = 1
    while j < n - 1 and speed[j] < 0.05 * greatest:
        j += 1
    k = (speed[j] - speed[0]) / (s[j] - s[0])
    if speed[0] >= STAGNATION * greatest or k <= 0.0:
        return 0.0
    m = 0.0
    if speed[0] > 0.0:
        j = min(j, n - 1)
        m = _exponent(spreading[0], spreading[j], speed[j] / speed[0])
        if spreading[0] <= 0.0:
            m = 1.0
    elif spreading[0] <= 0.0:
        m = 1.0
        if n > 2 and speed[2] > speed[1]:
            m = _exponent(spreading[1], spreading[2], speed[2] / speed[1])
    return 0.45 / (k * (6.0 + 2.0 * m))


@njit(cache=True, error_model="numpy")
def edge_growth(s, speed, spreading):
    """theta^2/nu, s, at a start s[0] > 0 behind edge or stagnation point: U ~ s^n, h ~ s^m."""
    n = min(max(log(speed[1] / speed[0]) / log(s[1] / s[0]), -0.1), 1.0)
    m = _exponent(spreading[0], spreading[1], s[1] / s[0])
    return 0.45 * s[0] / (speed[0] * (5.0 * n + 2.0 * m + 1.0))


@njit(cache=True, error_model="numpy")
def thwaites_step(growth, length, u, v, h, g):
    """theta^2/nu a `length` on, where speed goes from u to v > 0 and spreading from h to g > 0.

    theta^2 U^6 h^2 = 0.45 nu integral U^5 h^2 ds; the integral exact for straight U and h.
    """
    total = 0.0
    for k in range(4):
        t = 0.5 * (1.0 + GAUSS_PLACES[k])
        x, y = (u + t * (v - u)) / v, (h + t * (g - h)) / g
        total += 0.5 * GAUSS_WEIGHTS[k] * x * x * x * x * x * y * y
    ratio = u / v
    cube = ratio * ratio * ratio * h / g
    return growth * cube * cube + 0.45 * total * length / v


@njit(cache=True, error_model="numpy")
def laminar_shape(parameter):
    """H of lambda = theta^2/nu dU/ds, held at the ends of -0.09 to 0.25."""
    z = 0.25 - min(max(parameter, LAMINAR_SEPARATION), 0.25)
    return 2.0 + z * (4.14 + z * (-83.5 + z * (854.0 + z * (-3337.0 + z * 4576.0))))


@njit(cache=True, error_model="numpy")
def laminar_shear(parameter):
    """S of lambda, wall shear = S mu U / theta; zero at separation."""
    room = min(max(parameter, LAMINAR_SEPARATION), 0.25) - LAMINAR_SEPARATION
    return exp(0.62 * log(room)) if room > 0.0 else 0.0


@njit(cache=True, error_model="numpy")
def michel_excess(reynolds_theta, reynolds_s):
    """How far Re_theta is above 1.174 (1 + 22400/Re_s) Re_s^0.46; transition where positive."""
    if reynolds_s <= 0.0:
        return -1e300
    limit = 1.174 * (1.0 + 22400.0 / reynolds_s) * exp(0.46 * log(reynolds_s))
    return reynolds_theta - limit


@njit(cache=True, error_model="numpy")
def head_from_shape(shape):
    """H1 of H, H > 1.1."""
    if shape <= 1.6:
        return 3.3 + 0.8234 * exp(-1.287 * log(shape - 1.1))
    return 3.3 + 1.5501 * exp(-3.064 * log(shape - 0.6778))


@njit(cache=True, error_model="numpy")
def shape_from_head(head):
    """H of H1, never above 3."""
    if head >= 5.3:
        return 1.1 + 0.86 * exp(-0.777 * log(head - 3.3))
    return min(0.6778 + 1.1536 * exp(-0.326 * log(max(head - 3.3, 1e-9))), 3.0)


@njit(cache=True, error_model="numpy")
def turbulent_friction(reynolds_theta, shape):
    """Ludwieg and Tillmann: cf = 0.246 10^(-0.678 H) Re_theta^-0.268, Re_theta at least 50."""
    return 0.246 * exp(-1.5611527 * shape - 0.268 * log(max(reynolds_theta, LEAST_REYNOLDS)))


@njit(cache=True, error_model="numpy")
def head_rates(theta, head, u, slope, widening, viscosity):
    """d theta/ds and d H1/ds, `slope` dU/ds in 1/s, `widening` h'/h in 1/m.

    d theta/ds = cf/2 - (H + 2) theta U'/U - theta h'/h; d(U theta H1 h)/ds = h U F(H1).
    """
    theta = max(theta, 1e-300)
    shape = shape_from_head(head)
    half = 0.5 * turbulent_friction(u * theta / viscosity, shape)
    entrained = 0.0306 * exp(-0.6169 * log(max(head - 3.0, 1e-3)))
    rate = slope / u
    growth = half - (shape + 2.0) * theta * rate - theta * widening
    return growth, (entrained - head * half) / theta + head * (shape + 1.0) * rate


@njit(cache=True, error_model="numpy")
def _head_substep(theta, head, x, step, u, slope, h, opening, viscosity):
    """Runge and Kutta's step of fourth order from x; U = u + slope x, h = h + opening x."""
    a, b = head_rates(theta, head, u + slope * x, slope, opening / (h + opening * x), viscosity)
    y = x + 0.5 * step
    w, q = u + slope * y, opening / (h + opening * y)
    c, d = head_rates(theta + 0.5 * step * a, head + 0.5 * step * b, w, slope, q, viscosity)
    e, f = head_rates(theta + 0.5 * step * c, head + 0.5 * step * d, w, slope, q, viscosity)
    y = x + step
    w, q = u + slope * y, opening / (h + opening * y)
    g, k = head_rates(theta + step * e, head + step * f, w, slope, q, viscosity)
    return theta + step * (a + 2.0 * c + 2.0 * e + g) / 6.0, head + step * (
        b + 2.0 * d + 2.0 * f + k
    ) / 6.0


@njit(cache=True, error_model="numpy")
def head_step(theta, head, length, u, v, h, g, viscosity):
    """Head's march over one piece: theta, H1, and how far along H passed 1.8 and 2.4 (nan: not).

    Steps of at most 40 theta, if not over 2000, and of at most a tenth of speed and spreading.
    """
    slope, opening = (v - u) / length, (g - h) / length
    warned, shape, x = nan, shape_from_head(head), 0.0
    while x < length:
        rate = abs(slope) / (u + slope * x) + abs(opening) / (h + opening * x)
        left = length - x
        wanted = min(left / (40.0 * theta), 2000.0) + min(10.0 * rate * left, 1e12)
        step = left / (int(wanted) + 1)
        theta, head = _head_substep(theta, head, x, step, u, slope, h, opening, viscosity)
        before, shape = shape, shape_from_head(head)
        if before < WARNED_SHAPE <= shape:
            warned = x + step * (WARNED_SHAPE - before) / (shape - before)
        if not shape < SEPARATED_SHAPE:  # also where a fall to rest leaves no number
            share = 1.0
            if shape > before:
                share = max(SEPARATED_SHAPE - before, 0.0) / (shape - before)
            return theta, head, warned, x + min(share, 1.0) * step
        x = length if step >= left else x + step
    return theta, head, warned, nan


@njit(cache=True, error_model="numpy")
def laminar_values(growth, slope, speed, viscosity, out, i):
    """Write theta, H, cf and lambda of point i."""
    parameter = growth * slope
    theta = sqrt(viscosity * growth)
    out[0, i], out[1, i], out[3, i] = theta, laminar_shape(parameter), parameter
    if theta > 0.0 and speed > 0.0:
        out[2, i] = 2.0 * laminar_shear(parameter) * viscosity / (speed * theta)


@njit(cache=True, error_model="numpy")
def _crossing(before, after):
    """Part of a piece after which a straight change from `before` < 0 reaches zero."""
    return min(max(-before / max(after - before, 1e-300), 0.0), 1.0)


@njit(cache=True, error_model="numpy")
def first_event(i, s, fixed, excess, parameter):
    """(cause, distance) of what ends the laminar run between points i - 1 and i.

    `fixed` distance or nan; `excess` over Michel's limit and lambda before and after.
    """
    a, length = s[i - 1], s[i] - s[i - 1]
    cause, place = NOT_YET, s[i] + length
    if fixed <= s[i]:
        cause, place = FIXED, max(fixed, a)
    if isnan(fixed) and excess[1] >= 0.0:
        cause, place = MICHEL, a + length * _crossing(excess[0], excess[1])
    if parameter[1] <= LAMINAR_SEPARATION:
        share = _crossing(LAMINAR_SEPARATION - parameter[0], LAMINAR_SEPARATION - parameter[1])
        if a + share * length < place:
            cause, place = BUBBLE, a + share * length
    return cause, place


@njit(cache=True, error_model="numpy")
def laminar_run(s, speed, slope, spreading, viscosity, growth, cause, fixed, out):
    """March Thwaites' layer until a turbulent one can begin.

    Returns the point that follows the beginning (n: none), where it begins, theta there, the
    cause, and the distance of transition (nan: none). A layer tripped at small Re_theta goes on
    as the laminar one until Re_theta = 50.
    """
    n = len(s)
    laminar_values(growth, slope[0], speed[0], viscosity, out, 0)
    transition = s[0] if cause != NOT_YET else nan
    excess, parameter = np.empty(2), np.empty(2)
    reynolds = speed[0] * sqrt(growth / viscosity)
    excess[0] = michel_excess(reynolds, speed[0] * s[0] / viscosity)
    parameter[0] = growth * slope[0]
    for i in range(1, n):
        if cause != NOT_YET and reynolds >= LEAST_REYNOLDS and spreading[i - 1] > 0.0:
            return i, s[i - 1], sqrt(viscosity * growth), cause, transition
        u, v, h, g = speed[i - 1], speed[i], spreading[i - 1], spreading[i]
        length = s[i] - s[i - 1]
        after = thwaites_step(growth, length, u, v, h, g)
        reynolds = v * sqrt(after / viscosity)
        excess[1] = michel_excess(reynolds, v * s[i] / viscosity)
        parameter[1] = after * slope[i]
        sudden = after * (v - u) / length
        if v < 0.8 * u and sudden < SUDDEN:
            parameter[1] = min(parameter[1], sudden)
        event, place = NOT_YET, s[i]
        if cause == NOT_YET:
            event, place = first_event(i, s, fixed, excess, parameter)
        elif parameter[1] <= LAMINAR_SEPARATION:
            event, place = BUBBLE, s[i - 1]
        if event != NOT_YET:
            if cause == NOT_YET:
                cause, transition = event, place
            t = max((place - s[i - 1]) / length, 1e-9)
            w, k = u + t * (v - u), h + t * (g - h)
            here = thwaites_step(growth, t * length, u, w, h, k)
            apart = parameter[1] <= LAMINAR_SEPARATION
            if apart or w * sqrt(here / viscosity) >= LEAST_REYNOLDS:
                return i, place, sqrt(viscosity * here), cause, transition
        growth = after
        laminar_values(growth, slope[i], v, viscosity, out, i)
        excess[0], parameter[0] = excess[1], parameter[1]
    return n, nan, nan, cause, transition


@njit(cache=True, error_model="numpy")
def turbulent_run(s, speed, spreading, viscosity, i, place, theta, head, out):
    """March Head's layer from `place`, before point i, to its separation or the end.

    Returns the distances where H passes 1.8 and 2.4, nan where it does not.
    """
    warned = nan
    t = max((place - s[i - 1]) / (s[i] - s[i - 1]), 1e-9)
    u = speed[i - 1] + t * (speed[i] - speed[i - 1])
    h = spreading[i - 1] + t * (spreading[i] - spreading[i - 1])
    start = place
    for j in range(i, len(s)):
        if s[j] > start:
            theta, head, soft, hard = head_step(
                theta, head, s[j] - start, u, speed[j], h, spreading[j], viscosity
            )
            if isnan(warned):
                warned = start + soft
            if not isnan(hard):
                return warned, start + hard
        shape = shape_from_head(head)
        out[0, j], out[1, j] = theta, shape
        out[2, j] = turbulent_friction(speed[j] * theta / viscosity, shape)
        start, u, h = s[j], speed[j], spreading[j]
    return warned, nan


@njit(cache=True, error_model="numpy")
def stratford(s, speed, slope, bend, viscosity, transition, theta):
    """Distance of turbulent separation by Stratford's criterion, nan where it is not met.

    Cp' sqrt(x dCp'/dx) = b (1e-6 Re_x)^0.1, Cp' = 1 - U^2/U_m^2 from the greatest speed so far;
    b = 0.39 where d2p/dx2 >= 0, else 0.35; x starts where a turbulent layer on a flat plate
    would have to start to have the theta found at U_m: theta = 0.036 x Re_x^-0.2.
    """
    m, before, begun = 0, -1.0, 0.0
    for i in range(len(s)):
        if speed[i] >= speed[m]:
            m, before = i, -1.0
            if not (theta[i] > 0.0 and speed[i] > 0.0):
                continue
            begun = exp(1.25 * log(theta[i] / PLATE) + 0.25 * log(speed[i] / viscosity))
            continue
        if not theta[m] > 0.0 or not s[i] > transition:
            continue
        run = s[i] - s[m] + begun
        ratio = speed[i] / speed[m]
        rise = max(-2.0 * run * ratio * slope[i] / speed[m], 0.0)
        factor = 0.39 if slope[i] * slope[i] + speed[i] * bend[i] <= 0.0 else 0.35
        limit = factor * exp(0.1 * log(1e-6 * speed[m] * run / viscosity))
        after = (1.0 - ratio * ratio) * sqrt(rise) - limit
        if after >= 0.0:
            return s[i - 1] + (s[i] - s[i - 1]) * _crossing(before, after)
        before = after
    return nan


@njit(cache=True, error_model="numpy")
def march_line(s, raw_speed, raw_spreading, viscosity, smoothing, start, out, state, found):
    """All of one line; see `march_all`. At least two points, at least one of them in motion."""
    n = len(s)
    speed, slope, bend, spreading = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    smooth_line(s, raw_speed, raw_spreading, smoothing, speed, slope, bend, spreading)
    greatest = settle_start(s, speed, slope)
    cause, head = NOT_YET, head_from_shape(SHAPE_AFTER_TRANSITION)
    if s[0] > 0.0 and speed[0] > 1e-6 * greatest:
        growth = edge_growth(s, speed, spreading)
    else:
        growth = stagnation_growth(s, speed, spreading, greatest)
    if start[0] > 0.0:
        cause = NOSE
    elif start[1] <= s[0]:
        cause = FIXED
    if start[2] > 0.0:
        cause, theta, head, i, place, transition = GIVEN, start[2], start[3], 1, s[0], s[0]
        out[0, 0], out[1, 0] = theta, shape_from_head(head)
        out[2, 0] = turbulent_friction(speed[0] * theta / viscosity, out[1, 0])
    else:
        i, place, theta, cause, transition = laminar_run(
            s, speed, slope, spreading, viscosity, growth, cause, start[1], out
        )
    found[0], found[4] = transition, cause
    state[:n] = LAMINAR
    for j in range(n):
        if s[j] >= transition:
            state[j] = TURBULENT
    if cause == BUBBLE:
        edge = speed[i - 1] + (place - s[i - 1]) * (speed[i] - speed[i - 1]) / (s[i] - s[i - 1])
        found[5] = edge * theta / viscosity * laminar_shape(LAMINAR_SEPARATION)
    if i < n:
        found[1], found[2] = turbulent_run(
            s, speed, spreading, viscosity, i, place, theta, head, out
        )
    for j in range(n):
        if s[j] >= found[2]:
            state[j] = SEPARATED
    found[3] = stratford(s, speed, slope, bend, viscosity, transition, out[0])


@njit(cache=True, parallel=True, error_model="numpy")
def march_all(distance, speed, spreading, counts, viscosity, smoothing, starts, out, state, found):
    """March every line; each pass writes only its own rows.

    distance, speed, spreading (n, m); counts (n,) points of each line; starts (n, 4): 1 for
    turbulent from the nose, distance of a fixed transition or nan, theta and H1 of a given layer
    or nan. Written: out (n, 4, m) theta, H, cf, lambda, nan before; state (n, m), NO_LAYER
    before; found (n, 6), nan before: distances of transition, of H = 1.8, of H = 2.4, of
    Stratford's criterion, cause, Re of the displacement thickness at laminar separation.
    """
    for line in prange(len(counts)):
        n = counts[line]
        if n >= 2 and speed[line, :n].max() > 0.0:
            march_line(
                distance[line, :n], speed[line, :n], spreading[line, :n], viscosity, smoothing,
                starts[line], out[line], state[line], found[line],
            )  # fmt: skip
