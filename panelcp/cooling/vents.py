"""Losses of screens, plates, louvres and of everything through which the air leaves.

Screens and plates: K on the approach velocity. Vents and exits: discharge coefficient Cd of flow =
Cd area sqrt(2 dp / density), dp from the total pressure inside to the static one outside, so that
the head of the jet is in it (`loss_from_discharge`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from panelcp.cooling.losses import at_deviation, loss_from_discharge, within
from panelcp.quantity import UncertainValue

_OPEN = np.array([0.3, 0.4, 0.5, 0.6, 0.8])
_SQUARE_SCREEN = np.array([17.0, 7.7, 3.8, 2.0, 0.53])
_ROUNDED_OPEN = np.array([0.3, 0.4, 0.5, 0.6])
_ROUNDED_GRILLE = np.array([2.0, 1.0, 0.6, 0.4])
_WIRE_REYNOLDS = np.array([20.0, 30.0, 40.0, 60.0, 80.0, 100.0, 200.0, 400.0])
_WIRE_FACTORS = np.array([1.3, 1.1, 0.95, 0.83, 0.75, 0.7, 0.6, 0.52])
_BLEVINS = "table of R. D. Blevins, Applied Fluid Dynamics Handbook, 1984, as a library gives it"

LOUVRE_ANGLES = (0.0, 15.0, 30.0)
LOUVRE_DISCHARGE = (0.80, 0.62, 0.41)
LOUVRE_SOURCE = (
    "A. Iqbal, A. Ozaki, Y. Choi, Y. Arima, S. Hamashima, E3S Web of Conferences 396, 02030, 2023: "
    "louvres of buildings"
)
PLAIN_WINDOW = UncertainValue(
    0.60, 0.55, 0.65, "published", f"{LOUVRE_SOURCE}, plain window 0.60; band of ours", "fraction"
)
SHARP_OPENING = UncertainValue(
    0.62,
    0.60,
    0.65,
    "memory",
    "square-edged opening, handbooks; free streamlines 0.611",
    "fraction",
)
COWL_LOUVRE = UncertainValue(
    0.60, 0.50, 0.70, "memory", "pressed cowl louvre, still air, on its open area", "fraction"
)
EXIT_NOZZLE = UncertainValue(
    0.935, 0.90, 0.97, "common practice", "smooth converging exit duct", "fraction"
)
COWL_FLAP = UncertainValue(
    0.85,
    0.75,
    0.95,
    "memory",
    "under a flap, on its gap, between louvre and nozzle",
    "fraction",
)
CROSS_FLOW_DISCHARGE = UncertainValue(
    0.30,
    0.20,
    0.40,
    "memory",
    "flush hole where stream and ideal jet are equally fast; the trend: R. T. Dittrich, 1958",
    "fraction",
)
"""Cd of a flush hole in a cross flow as fast as its ideal jet."""
EXHAUST_PIPES = UncertainValue(
    0.60,
    0.30,
    1.00,
    "memory",
    "exhaust pipes or a bend in an exit, on its head",
    "number",
)
FREE_STREAMLINE_CONTRACTION = np.pi / (np.pi + 2.0)
"""Cd of a slit in a wide wall, exact for a plane jet without friction (G. Kirchhoff, 1869)."""


def perforated_plate_formula(open_share: ArrayLike) -> np.ndarray:
    """K of a thin sharp-edged plate or grid on the approach velocity.

    [(1 - f) + 0.707 (1 - f)^0.375]^2 / f^2, f = open share, 0.02 to 1, hole Reynolds number above
    1e5: I. E. Idelchik, Handbook of Hydraulic Resistance (from memory).

    Examples
    --------
    >>> perforated_plate_formula([0.3, 0.5, 1.0]).round(4)
    array([19.3157,  4.3695,  0.    ])
    """
    f = within("open share of a plate", open_share, 0.02, 1.0, "more closed is a wall")
    return ((1.0 - f) + 0.707 * (1.0 - f) ** 0.375) ** 2 / f**2


def perforated_plate_loss(open_share: float) -> UncertainValue:
    """K of a perforated plate or a screen of square bars, on the approach velocity.

    The formula of Idelchik is the value; the table of square-edged screens (Blevins, up to 13 %
    less) is the low end, 10 % more the high end (memory). Below a hole Reynolds number of some 1e3
    it is more.

    Examples
    --------
    >>> found = perforated_plate_loss(0.5)
    >>> round(found.low, 2), round(found.value, 2), round(found.high, 2)
    (3.8, 4.37, 4.81)
    """
    value = float(perforated_plate_formula(open_share))
    table = _SQUARE_SCREEN / perforated_plate_formula(_OPEN)
    low = value * min(float(np.interp(open_share, _OPEN, table)), 1.0)
    source = f"I. E. Idelchik, Handbook of Hydraulic Resistance, from memory; low: {_BLEVINS}"
    return UncertainValue(value, low, 1.1 * value, "memory", source, "number")


def square_grille_loss(open_share: ArrayLike) -> np.ndarray:
    """K of a grille of square-edged bars on the approach velocity.

    [0.5 (1 - f) + 1 - f^2] / f^2 (R. D. Blevins, Applied Fluid Dynamics Handbook, 1984, as a
    library gives it), f 0.02 to 1. Differs from `perforated_plate_formula` by up to 35 %.

    Examples
    --------
    >>> square_grille_loss([0.3, 0.5, 1.0]).round(3)
    array([14.,  4.,  0.])
    """
    f = within("open share of a grille", open_share, 0.02, 1.0, "more closed is a wall")
    return (0.5 * (1.0 - f) + 1.0 - f**2) / f**2


def rounded_grille_loss(open_share: float) -> UncertainValue:
    """K of a grille of rounded bars on the approach velocity.

    A table from 0.3 to 0.6, linear in log K between its points; beyond, its share of the
    square-edged grille is kept, to zero at 1. Band 20 %, outside the table 50 % (memory).

    Examples
    --------
    >>> round(rounded_grille_loss(0.5).value, 12), rounded_grille_loss(1.0).value
    (0.6, 0.0)
    """
    square = float(square_grille_loss(open_share))
    share = _ROUNDED_GRILLE / square_grille_loss(_ROUNDED_OPEN)
    value = square * float(np.exp(np.interp(open_share, _ROUNDED_OPEN, np.log(share))))
    doubt = 0.2 if _ROUNDED_OPEN[0] <= open_share <= _ROUNDED_OPEN[-1] else 0.5
    low, high = (1.0 - doubt) * value, (1.0 + doubt) * value
    return UncertainValue(value, low, high, "derived", _BLEVINS, "number")


def wire_screen_loss(open_share: float, wire_reynolds: float = 400.0) -> UncertainValue:
    """K of a screen of round wires on the approach velocity.

    Parameters
    ----------
    open_share : 0.05 to 1; above 0.8 no table reaches
    wire_reynolds : on the space between the wires, 20 or more; above 400 the value at 400 is kept

    Notes
    -----
    b (1 - f^2) / f^2, b from a table of Reynolds numbers (Blevins). Band 20 % (memory). Flies and
    grass are not in it.

    Examples
    --------
    >>> round(wire_screen_loss(0.5, 100.0).value, 6)
    2.1
    """
    f = float(within("open share of a wire screen", open_share, 0.05, 1.0))
    advice = "slower air: the loss there goes with the viscosity"
    within("Reynolds number of a wire screen", wire_reynolds, 20.0, np.inf, advice)
    factor = np.interp(np.log(wire_reynolds), np.log(_WIRE_REYNOLDS), _WIRE_FACTORS)
    value = float(factor * (1.0 - f**2) / f**2)
    return UncertainValue(value, 0.8 * value, 1.2 * value, "derived", _BLEVINS, "number")


def louvre_discharge(blade_angle: float) -> UncertainValue:
    """Discharge coefficient of a louvre in still air by blade angle.

    Parameters
    ----------
    blade_angle : deg from straight through, 0 to 45

    Notes
    -----
    Published at 0, 15, 30 deg: 0.80, 0.62, 0.41, linear between, 10 % band (ours: louvres of
    buildings). Above 30 deg the last slope goes on, to 0.20 at 45 deg, with 25 % and marked memory.
    A pressed louvre of a cowl: `COWL_LOUVRE`.

    Examples
    --------
    >>> [louvre_discharge(angle).value for angle in (0.0, 15.0, 30.0)]
    [0.8, 0.62, 0.41]
    """
    angle = float(within("blade angle, deg", blade_angle, 0.0, 45.0, "steeper blades shut it"))
    last = LOUVRE_DISCHARGE[-1] + (LOUVRE_DISCHARGE[-1] - LOUVRE_DISCHARGE[-2])
    angles, coefficients = (*LOUVRE_ANGLES, 45.0), (*LOUVRE_DISCHARGE, last)
    value = float(np.interp(angle, angles, coefficients))
    inside = angle <= LOUVRE_ANGLES[-1]
    doubt, mark = (0.10, "published") if inside else (0.25, "memory")
    low, high = (1.0 - doubt) * value, min((1.0 + doubt) * value, 1.0)
    source = f"{LOUVRE_SOURCE}; the band is ours"
    return UncertainValue(value, low, high, mark, source, "fraction")


def louvre_loss(blade_angle: float) -> UncertainValue:
    """K = 1 / Cd^2 of a louvre on flow over its area, the head of the jet included.

    Examples
    --------
    >>> round(louvre_loss(15.0).value, 4)
    2.6015
    """
    return discharge_to_loss(louvre_discharge(blade_angle))


def discharge_to_loss(coefficient: UncertainValue) -> UncertainValue:
    """K = 1 / Cd^2 of a discharge coefficient with its band; the ends change places.

    Examples
    --------
    >>> found = discharge_to_loss(EXIT_NOZZLE)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (1.063, 1.144, 1.235)
    """
    ends = (coefficient.value, coefficient.high, coefficient.low)
    numbers = [None if end is None else float(loss_from_discharge(end)) for end in ends]
    return UncertainValue(*numbers, coefficient.mark, coefficient.source, "number")


def _cross_flow_factor(still, deviation):
    """k of Cd = still / sqrt(1 + k (stream / ideal jet)^2), so that Cd is known at a ratio of 1."""
    equal = np.minimum(at_deviation(CROSS_FLOW_DISCHARGE, deviation), 0.99 * still)
    return (still / equal) ** 2 - 1.0


def flush_vent_discharge(
    speed_ratio: ArrayLike,
    still: ArrayLike = SHARP_OPENING.value,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Discharge coefficient of a flush hole or slot that blows into a cross flow.

    Parameters
    ----------
    speed_ratio : stream speed over ideal jet speed sqrt(2 dp / rho), 0 or more
    still : Cd in still air, above 0 to 1, from `SHARP_OPENING`, `COWL_LOUVRE` or a measurement
    deviation : place in the band of `CROSS_FLOW_DISCHARGE`, deviations; positive passes more air

    Notes
    -----
    still / sqrt(1 + k s^2): our shape between the value in still air and `CROSS_FLOW_DISCHARGE` at
    equal speeds. Above a ratio of 1 nothing is known: the flow then goes with dp instead of its
    root, which is the shape an oblique jet must have, and the band grows of itself.

    Examples
    --------
    >>> flush_vent_discharge([0.0, 1.0]).round(6)
    array([0.62, 0.3 ])
    """
    cd = within("Cd in still air", still, 1e-3, 1.0)
    ratio = within("stream speed over jet speed", speed_ratio, 0.0, np.inf)
    return cd / np.sqrt(1.0 + _cross_flow_factor(cd, deviation) * ratio**2)


def flush_vent_drop(
    velocity: ArrayLike,
    stream_speed: ArrayLike,
    density: ArrayLike,
    still: ArrayLike = SHARP_OPENING.value,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Pressure inside less static pressure outside, Pa, that drives air out of a flush vent.

    Parameters
    ----------
    velocity : m/s, flow over area, outward positive; odd in it (inward with the same law: memory)
    stream_speed : m/s along the skin, 0 or more
    density : kg/m3
    still, deviation : see `flush_vent_discharge`

    Notes
    -----
    The law of `flush_vent_discharge` solved for dp: with U the stream, dp = rho [v^2 + sqrt(v^4 + 4
    Cd^2 k v^2 U^2)] / (4 Cd^2). In a stream its slope without flow is finite, rho U sqrt(k) / (2
    Cd), so that a network never divides by nothing.

    Examples
    --------
    >>> round(float(flush_vent_drop(10.0, 0.0, 1.2, still=0.5)), 6)
    240.0
    """
    cd, v, root = _vent_speeds(velocity, stream_speed, still, deviation)
    return density * v * (np.abs(v) + root) / (4.0 * cd**2)


def flush_vent_slope(
    velocity: ArrayLike,
    stream_speed: ArrayLike,
    density: ArrayLike,
    still: ArrayLike = SHARP_OPENING.value,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Derivative of `flush_vent_drop` with respect to its velocity, Pa s/m. Exact.

    Examples
    --------
    >>> round(float(flush_vent_slope(10.0, 0.0, 1.2, still=0.5)), 6)
    48.0
    """
    cd, v, root = _vent_speeds(velocity, stream_speed, still, deviation)
    bend = np.divide(v**2, root, out=np.zeros(np.shape(root)), where=root > 0.0)
    return density * (2.0 * np.abs(v) + root + bend) / (4.0 * cd**2)


def _vent_speeds(velocity, stream_speed, still, deviation):
    """Cd in still air, velocity, and sqrt(v^2 + 4 Cd^2 k U^2), of one shape."""
    cd = within("Cd in still air", still, 1e-3, 1.0)
    stream = within("stream speed, m/s", stream_speed, 0.0, np.inf)
    v = np.asarray(velocity, dtype=float)
    return cd, v, np.sqrt(v**2 + 4.0 * cd**2 * _cross_flow_factor(cd, deviation) * stream**2)


def cowl_flap_gap(chord: ArrayLike, angle: ArrayLike, shut_gap: ArrayLike = 0.0) -> np.ndarray:
    """Height of the exit under a flap hinged at its front, m: shut gap + chord sin(angle).

    Parameters
    ----------
    chord, shut_gap : m, 0 or more; the gap across the flow at the trailing edge
    angle : deg from the shut position, 0 to 60

    Examples
    --------
    >>> round(float(cowl_flap_gap(0.2, 30.0, 0.01)), 12)
    0.11
    """
    turn = np.radians(within("flap angle, deg", angle, 0.0, 60.0))
    shut = within("gap of the shut flap, m", shut_gap, 0.0, np.inf)
    return shut + within("chord of the flap, m", chord, 0.0, np.inf) * np.sin(turn)


def cowl_flap_suction(opened: float) -> UncertainValue:
    """Cp that a flap itself gives its exit, by how far it is opened.

    Parameters
    ----------
    opened : 0 shut to 1 fully open (some 30 deg)

    Notes
    -----
    0 (-0.10 to 0.10) shut, -0.35 (-0.50 to -0.20) open, linear between (memory, low confidence). It
    is not in the pressure of a closed skin without the flap, and takes the place of nothing else.

    Examples
    --------
    >>> cowl_flap_suction(1.0).value, cowl_flap_suction(0.0).value
    (-0.35, 0.0)
    """
    part = float(within("opening of the flap", opened, 0.0, 1.0))
    value, low, high = -0.35 * part, -0.10 - 0.40 * part, 0.10 - 0.30 * part
    return UncertainValue(value + 0.0, low, high, "memory", "exit behind an open flap", "number")


def exhaust_pipe_loss(blocked_share: float | None = None) -> UncertainValue:
    """K of exhaust pipes in an exit, on the head of the exit with its full area.

    Parameters
    ----------
    blocked_share : frontal area of the pipes over the area of the exit, 0 to 0.5; None if unknown

    Notes
    -----
    Known: drag of cylinders at the speed of the gap, K = 1.2 s / (1 - s)^2 (drag coefficient 1.2,
    memory, high; the rest a force balance), -40 % and +30 %. It gives 0.38 to 0.99 for s from 0.2
    to 0.35, the range that is in common use; unknown: that range itself, `EXHAUST_PIPES`.

    Examples
    --------
    >>> round(exhaust_pipe_loss(0.3).value, 3), exhaust_pipe_loss().value
    (0.735, 0.6)
    """
    if blocked_share is None:
        return EXHAUST_PIPES
    advice = "with more the pipes are the exit: give the gap as its area"
    s = float(within("blocked share of the exit", blocked_share, 0.0, 0.5, advice))
    value = 1.2 * s / (1.0 - s) ** 2
    source = "drag of cylinders at the speed in the gap, drag coefficient from memory"
    return UncertainValue(value, 0.6 * value, 1.3 * value, "memory", source, "number")
