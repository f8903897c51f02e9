"""Losses of diffusers: cones, plane ones, pyramids, and trumpets right ahead of a core.

K stands on the velocity head at the narrow end, AR is wide over narrow area, angles are included
(total) angles. Always recovery Cp = 1 - 1/AR^2 - K, effectiveness = Cp / (1 - 1/AR^2).

The methods of the handbooks differ by up to a factor of two; their spread is the band. They hold
with a duct behind, in which the profile evens out. Into a plenum that part is lost; a published
point (best cone of 4.66 inlet radii: AR 2.13, Cp 0.60, effectiveness 0.77) sets how much.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from panelcp.cooling.ducts import sudden_expansion_loss
from panelcp.cooling.losses import at_deviation, spread, within
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

SHAPES = ("conical", "plane", "pyramidal")

BEST_ANGLE = {
    shape: UncertainValue(
        value, low, high, "memory", "A. H. Gibson, 1910, best included angle, not re-read", "angle"
    )
    for shape, value, low, high in (
        ("conical", 6.2, 5.5, 7.0),
        ("pyramidal", 6.0, 5.0, 7.0),
        ("plane", 11.0, 9.0, 13.0),
    )
}
"""Included angle of least loss for a given area ratio, by shape."""

OUTLET_DISTORTION = UncertainValue(
    0.14,
    0.07,
    0.21,
    "derived",
    "one published point: G. Sovran and E. D. Klomp, 1967, in S. L. Dixon, Fluid Mechanics and "
    "Thermodynamics of Turbomachinery, Ex. 2.3 (AR 2.13, Cp 0.60), less the loss of the handbooks",
)
"""Part of the ideal recovery that an uneven outlet costs where no duct follows."""

HOME_MADE_EFFECTIVENESS = UncertainValue(
    0.62, 0.50, 0.75, "memory", "straight, short, home-made diffusers, from memory"
)
"""Effectiveness of a builder's diffuser about which nothing else is known."""

TRUMPET_EFFECTIVENESS = UncertainValue(
    0.75,
    0.60,
    0.85,
    "common practice",
    "trumpet shape right ahead of a resisting core; the idea: D. Kuechemann and J. Weber, "
    "Aerodynamics of Propulsion, 1953, not re-read; the number is from memory",
)
"""Effectiveness of a trumpet ahead of a core of great resistance."""

_ANGLES = np.array([7.0, 10.0, 20.0, 40.0, 60.0])
_RATIOS = np.array([1.5, 2.0, 3.0, 4.0])
_IDELCHIK = np.array(
    [
        [0.040, 0.060, 0.075, 0.095],
        [0.050, 0.060, 0.093, 0.110],
        [0.070, 0.100, 0.175, 0.210],
        [0.160, 0.240, 0.384, 0.480],
        [0.190, 0.300, 0.525, 0.660],
    ]
)
_MILLER = np.array(
    [
        [0.0488, 0.0341, 0.0890, 0.2135],
        [0.0629, 0.0653, 0.1012, 0.2650],
        [0.0823, 0.1251, 0.2004, 0.3894],
        [0.0988, 0.1931, 0.3628, 0.5479],
        [0.1119, 0.2279, 0.4209, 0.6482],
    ]
)
_SOURCE = (
    "spread of Rennels (Pipe Flow, 2012), Crane (Technical Paper 410), Idelchik (Handbook of "
    "Hydraulic Resistance) and Miller (Internal Flow Systems) as a general-purpose library gives "
    "them"
)


def ideal_recovery(area_ratio: ArrayLike) -> np.ndarray:
    """Pressure recovery without loss, 1 - 1/AR^2 of the inlet head. Exact.

    Examples
    --------
    >>> ideal_recovery([1.0, 2.0])
    array([0.  , 0.75])
    """
    return 1.0 - within("diffuser area ratio", area_ratio, 1.0, np.inf) ** -2.0


def effectiveness(area_ratio: ArrayLike, loss: ArrayLike) -> np.ndarray:
    """Recovery over ideal recovery, 1 - K / (1 - 1/AR^2), for AR above 1. Exact.

    Examples
    --------
    >>> round(float(effectiveness(2.0, 0.15)), 12)
    0.8
    """
    ratio = within("diffuser area ratio", area_ratio, 1.0 + 1e-9, np.inf)
    return 1.0 - loss / ideal_recovery(ratio)


def loss_of_effectiveness(area_ratio: float, value: UncertainValue) -> UncertainValue:
    """K on the inlet head of a diffuser of known effectiveness, (1 - effectiveness) (1 - 1/AR^2).

    Raises
    ------
    NetworkError : area ratio below 1, effectiveness outside 0 to 1

    Examples
    --------
    >>> found = loss_of_effectiveness(2.0, HOME_MADE_EFFECTIVENESS)
    >>> round(found.low, 4), round(found.value, 4), round(found.high, 4)
    (0.1875, 0.285, 0.375)
    """
    ideal = float(ideal_recovery(area_ratio))
    ends = (value.value, value.value if value.high is None else value.high)
    low_end = value.value if value.low is None else value.low
    within("effectiveness", [low_end, *ends], 0.0, 1.0)
    loss, low, high = (ideal * (1.0 - part) for part in (*ends, low_end))
    if not value.has_band:
        return UncertainValue(loss, None, None, value.mark, value.source, "number")
    return UncertainValue(loss, low, high, value.mark, value.source, "number")


def rennels_diffuser(area_ratio: ArrayLike, angle: ArrayLike, friction: ArrayLike) -> np.ndarray:
    """K of a cone on the inlet head with wall friction.

    D. C. Rennels and H. M. Hudson, Pipe Flow, 2012, ch. 11 (from memory, equal to a library). Up to
    20 deg K = 8.30 tan(a/2)^1.75 (1 - b^2)^2, up to 60 deg (1.366 sqrt(sin(2a - 30 deg)) - 0.170)
    (1 - b^2)^2, with terms for b below 0.5, plus f (1 - b^4) / (8 sin(a/2)); b is the ratio of
    diameters. Above 60 deg (1.205 - 0.20 sqrt((a - 60)/120)) (1 - b^2)^2 for b of 0.5 or more.

    Examples
    --------
    >>> round(float(rennels_diffuser(2.0, 10.0, 0.015)), 4)
    0.0453
    """
    ratio, a = np.broadcast_arrays(np.asarray(area_ratio, float), np.asarray(angle, float))
    b2 = 1.0 / ratio
    half = np.radians(0.5 * a)
    narrow = np.maximum(0.0625 - b2**2, 0.0)
    middle = 1.366 * np.sqrt(np.sin(np.radians(2.0 * np.clip(a, 20.0, 60.0) - 30.0))) - 0.170
    middle = middle - 3.28 * narrow * np.sqrt(0.025 * np.clip(a - 20.0, 0.0, 40.0))
    wide = 1.205 - 3.28 * narrow
    late = np.where(b2 < 0.25, 12.8 * b2**3, 0.20)
    wide = wide - late * np.sqrt(np.clip(a - 60.0, 0.0, 120.0) / 120.0)
    slow = 8.30 * np.tan(np.minimum(half, np.radians(10.0))) ** 1.75
    part = np.where(a <= 20.0, slow, np.where(a <= 60.0, middle, wide))
    wall = np.where(a <= 60.0, 0.125 * friction * (1.0 - b2**2) / np.sin(half), 0.0)
    return part * (1.0 - b2) ** 2 + wall


def crane_diffuser(area_ratio: ArrayLike, angle: ArrayLike) -> np.ndarray:
    """K of a cone on the inlet head: 2.6 sin(a/2) (1 - b^2)^2, the step from 45 deg on.

    Crane Technical Paper 410 (from memory, equal to a library).

    Examples
    --------
    >>> round(float(crane_diffuser(2.0, 10.0)), 4)
    0.0567
    """
    part = np.minimum(2.6 * np.sin(np.radians(0.5 * np.asarray(angle, dtype=float))), 1.0)
    return np.where(np.asarray(angle) > 45.0, 1.0, part) * sudden_expansion_loss(area_ratio)


def _table_diffuser(table, area_ratio, angle, friction):
    """K of a cone from a table, as a share of the step's; beyond the table see `conical_laws`."""
    share = table / sudden_expansion_loss(_RATIOS)
    row = [float(np.interp(area_ratio, _RATIOS, line)) for line in share]
    part = float(np.interp(angle, [*_ANGLES, 180.0], [*row, 1.0]))
    narrow = min(angle, _ANGLES[0])
    more = 1.0 / np.sin(np.radians(0.5 * narrow)) - 1.0 / np.sin(np.radians(0.5 * _ANGLES[0]))
    wall = 0.125 * friction * (1.0 - area_ratio**-2.0) * more
    return float(part * sudden_expansion_loss(area_ratio) + wall)


def conical_laws(area_ratio: float, angle: float, friction: float = 0.015) -> dict[str, float]:
    """K of a cone on the inlet head by each method.

    Parameters
    ----------
    area_ratio : 1 to 10
    angle : deg, 2 to 180
    friction : Darcy friction factor at the narrow end

    Returns
    -------
    dict, name of the method -> K

    Notes
    -----
    The tables of Idelchik and Miller end at area ratios 1.5 and 4 and at 7 and 60 deg. They are
    kept as shares of the step's loss: the share is held beyond 1.5 and 4 and below 7 deg (with the
    added wall friction), and goes to 1 at 180 deg.

    Examples
    --------
    >>> {name: round(k, 4) for name, k in conical_laws(2.0, 10.0).items()}
    {'Idelchik': 0.06, 'Rennels': 0.0453, 'Crane': 0.0567, 'Miller': 0.0653}
    """
    return {
        "Idelchik": _table_diffuser(_IDELCHIK, area_ratio, angle, friction),
        "Rennels": float(rennels_diffuser(area_ratio, angle, friction)),
        "Crane": float(crane_diffuser(area_ratio, angle)),
        "Miller": _table_diffuser(_MILLER, area_ratio, angle, friction),
    }


def _laws(shape, area_ratio, angle, friction):
    """K by several methods for any shape; those of cones at the cone's angle of equal worth."""
    if shape == "conical":
        return list(conical_laws(area_ratio, angle, friction).values())
    equal = max(angle * BEST_ANGLE["conical"].value / BEST_ANGLE[shape].value, 2.0)
    cones = conical_laws(area_ratio, min(equal, 180.0), friction)
    # Idelchik's share of the step's loss, from memory: 3.2 tan(a/2)^1.25, for pyramids 5
    factor = 3.2 if shape == "plane" else 5.0
    slope = np.tan(np.radians(0.5 * min(angle, 60.0)))
    share = min(factor * float(slope) ** 1.25, 1.2)
    wall = 0.125 * friction * (1.0 - area_ratio**-2.0) / np.sin(np.radians(0.5 * equal))
    return [*cones.values(), share * float(sudden_expansion_loss(area_ratio)) + float(wall)]


def _require_shape(shape):
    if shape not in SHAPES:
        raise NetworkError(f"unknown diffuser shape {shape!r}; known: {', '.join(SHAPES)}")


def diffuser_loss(
    area_ratio: float,
    angle: float,
    shape: str = "conical",
    friction: float = 0.015,
    duct_follows: bool = False,
) -> UncertainValue:
    """K of a straight diffuser on the velocity head at its narrow end.

    Parameters
    ----------
    area_ratio : wide over narrow area, 1 to 10; above 4 no table reaches: 25 % wider both ways
    angle : deg, included: 2 to 180 for cones; of plane diffusers that between the two walls that
        open, of pyramids that between opposite walls
    shape : one of `SHAPES`
    friction : Darcy friction factor at the narrow end, 0.001 to 0.2
    duct_follows : with some four diameters of duct behind, in which the profile evens out

    Returns
    -------
    UncertainValue
        Mean of the methods, least and greatest as band. Without a duct behind plus
        `OUTLET_DISTORTION`, never more than all of the ideal recovery. Where the diffuser stalls
        (`diffuser_state`), half of the recovery left is in doubt.

    Raises
    ------
    NetworkError : unknown shape, numbers outside these ranges

    Examples
    --------
    >>> found = diffuser_loss(2.13, 11.26)
    >>> round(1.0 - 1.0 / 2.13**2 - found.value, 2)
    0.6
    """
    _require_shape(shape)
    within("diffuser area ratio", area_ratio, 1.0, 10.0, "give wide over narrow area; split it")
    within("diffuser angle, deg", angle, 2.0, 180.0, "a slower one is a straight duct")
    within("friction factor", friction, 0.001, 0.2)
    margin = 0.25 if area_ratio > _RATIOS[-1] else 0.0
    found = spread(_laws(shape, area_ratio, angle, friction), "derived", _SOURCE, margin=margin)
    ideal = float(ideal_recovery(area_ratio))
    lost = (0.0, 0.0, 0.0) if duct_follows else at_deviation(OUTLET_DISTORTION, [-1.0, 0.0, 1.0])
    low, value, high = (
        min(k + ideal * part, ideal)
        for k, part in zip((found.low, found.value, found.high), map(float, lost), strict=True)
    )
    if diffuser_state(area_ratio, angle, shape) == "stalled":
        high = max(high, 0.5 * (value + ideal))
    source = _SOURCE if duct_follows else f"{_SOURCE}; outlet: {OUTLET_DISTORTION.source}"
    return UncertainValue(value, low, high, "derived", source, "number")


def length_ratio(area_ratio: ArrayLike, angle: ArrayLike, shape: str = "conical") -> np.ndarray:
    """Length of a diffuser in inlet radii (cone, pyramid: half heights) or inlet heights (plane).

    Geometry: (sqrt(AR) - 1) / tan(a/2) for cones, (AR - 1) / (2 tan(a/2)) for plane diffusers.

    Examples
    --------
    >>> round(float(length_ratio(2.13, 11.26)), 2)
    4.66
    """
    _require_shape(shape)
    slope = np.tan(np.radians(0.5 * np.asarray(angle, dtype=float)))
    ratio = within("diffuser area ratio", area_ratio, 1.0, np.inf)
    return 0.5 * (ratio - 1.0) / slope if shape == "plane" else (np.sqrt(ratio) - 1.0) / slope


def stall_angle(length: float, shape: str = "conical") -> UncertainValue:
    """Included angle, deg, at which a diffuser of that length starts to stall.

    Parameters
    ----------
    length : see `length_ratio`; 0.5 to 40, outside the end is taken and the band doubled
    shape : one of `SHAPES`

    Notes
    -----
    Plane: 20 deg at a length of 2 heights, 10 deg at 10, as a power; the trend after L. R. Reneau,
    J. P. Johnston and S. J. Kline, 1967 (numbers from memory, 25 %). Cones: the published best
    cone (11.26 deg at 4.66 inlet radii) as lower end, 15 % more as value, half more as upper end,
    with the same power (memory). Pyramids like cones, 10 % less (ours).

    Examples
    --------
    >>> round(stall_angle(4.66).low, 2), round(stall_angle(2.0, "plane").value, 6)
    (11.26, 20.0)
    """
    _require_shape(shape)
    run = float(np.clip(length, 0.5, 40.0))
    wide = 1.0 if run == length else 2.0
    if shape == "plane":
        value = 20.0 * (run / 2.0) ** -0.43
        down, up = 0.25 * value, 0.25 * value
    else:
        best = 11.26 * (run / 4.66) ** -0.43 * (0.9 if shape == "pyramidal" else 1.0)
        value, down, up = 1.15 * best, 0.15 * best, 0.35 * best
    low = max(value - wide * down, 0.0)
    return UncertainValue(value, low, value + wide * up, "memory", "see stall_angle", "angle")


def diffuser_state(area_ratio: float, angle: float, shape: str = "conical") -> str:
    """ "attached", "stall possible" or "stalled": the angle against the band of `stall_angle`.

    Examples
    --------
    >>> [diffuser_state(2.0, angle) for angle in (7.0, 14.0, 40.0)]
    ['attached', 'stall possible', 'stalled']
    """
    onset = stall_angle(float(length_ratio(area_ratio, angle, shape)), shape)
    if area_ratio <= 1.05 or angle <= onset.low:
        return "attached"
    return "stall possible" if angle <= onset.high else "stalled"


def stall_warning(area_ratio: float, angle: float, shape: str = "conical") -> str:
    """A line for the user where a diffuser may stall, else an empty text.

    Examples
    --------
    >>> stall_warning(2.0, 7.0)
    ''
    >>> stall_warning(2.0, 40.0)[:70]
    'conical diffuser, area ratio 2, 40 deg: stalled (expected from about 2'
    """
    state = diffuser_state(area_ratio, angle, shape)
    if state == "attached":
        return ""
    onset = stall_angle(float(length_ratio(area_ratio, angle, shape)), shape).value
    return (
        f"{shape} diffuser, area ratio {area_ratio:g}, {angle:g} deg: {state} (expected from about "
        f"{onset:.0f} deg at this length, from memory); make it longer, split it with vanes, or "
        "count on a sudden expansion"
    )


def trumpet_loss(area_ratio: float, core_loss: float, length: float = 1.0) -> UncertainValue:
    """K on the inlet head of a trumpet-shaped diffuser right ahead of a resisting core.

    Parameters
    ----------
    area_ratio : core face over inlet area, 1 to 10
    core_loss : K of the core on its face velocity, 0 or more
    length : of the trumpet over the height of the core; below 0.5 the loss goes up to that of a
        sudden expansion, below 0.1 it is refused

    Notes
    -----
    effectiveness = e - (e - e_step) / (1 + K_core), e = `TRUMPET_EFFECTIVENESS`, e_step = 2 / (AR +
    1), that of a sudden expansion, where it is less than e. The rest of a small unevenness behind a
    resistance that straightens the flow is 1 / (1 + K) (G. I. Taylor and G. K. Batchelor, 1949,
    gauze that does not turn the flow; from memory); that the recovery goes with it is ours.

    Raises
    ------
    NetworkError : outside these ranges

    Examples
    --------
    >>> found = trumpet_loss(4.0, 12.0)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (0.173, 0.26, 0.389)
    """
    within("trumpet area ratio", area_ratio, 1.0, 10.0, "give core face over inlet area")
    within("K of the core on its face velocity", core_loss, 0.0, np.inf)
    within("trumpet length over core height", length, 0.1, np.inf, "use a sudden expansion")
    step = 2.0 / (area_ratio + 1.0)
    short = float(np.clip((0.5 - length) / 0.4, 0.0, 1.0))
    rest = max(1.0 / (1.0 + core_loss), short)
    band = TRUMPET_EFFECTIVENESS
    parts = [e - max(e - step, 0.0) * rest for e in (band.value, band.low, band.high)]
    even = UncertainValue(*parts, "common practice", band.source)
    return loss_of_effectiveness(area_ratio, even)
