"""Losses where air enters: lips, incidence, recovery by kind, the layer on the skin.

An inlet loses in two places. In the stream ahead: recovery fraction e of p_in = p_patch + e
(p_total - p_patch), by kind of opening. At the lip: when the inlet draws more than the stream
offers (inlet speed Vi above stream speed V0), or meets the stream at an angle. Both add up.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from panelcp.cooling.losses import spread, within
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

_HEAT_RATIO = 1.4
_RADII = np.array([0.0, 0.01, 0.05, 0.10, 0.15, 0.20])
_ENTRANCES = {
    "Idelchik": np.array([0.50, 0.44, 0.22, 0.1133, 0.0669, 0.03]),
    "Miller": np.array([0.5093, 0.4224, 0.2085, 0.0821, 0.0620, 0.0586]),
    "Crane": np.array([0.50, 0.39, 0.195, 0.09, 0.04, 0.04]),
    "Rennels": np.array([0.57, 0.4492, 0.2968, 0.2029, 0.1485, 0.1146]),
    "Harris": np.array([0.44, 0.35, 0.13, 0.0486, 0.0066, 0.0]),
}
_ENTRANCE_SOURCE = (
    "spread of the tables of Idelchik (Handbook of Hydraulic Resistance), Miller (Internal Flow "
    "Systems), Crane (Technical Paper 410), Rennels (Pipe Flow) and Harris, as a general-purpose "
    "library gives them"
)

INCIDENCE_LOSS = {
    "sharp": UncertainValue(1.0, 0.7, 1.0, "derived", "thin lip: the part of the stream across"),
    "rounded": UncertainValue(0.2, 0.0, 0.5, "memory", "well rounded lip up to some 15 deg"),
}
"""Part of the velocity head across the inlet's axis that is lost."""

_PITOT = UncertainValue(0.985, 0.97, 1.0, "memory", "rounded nose inlet, at the lip")
_SCOOP = UncertainValue(0.94, 0.90, 0.98, "memory", "scoop standing clear of the layer")
_RAMP = UncertainValue(0.89, 0.85, 0.92, "memory", "flush ramp, thin layer, speed ratio 0.4-0.7")
_RAMP_OFF = UncertainValue(0.65, 0.50, 0.80, "memory", "flush ramp, thick layer or ratio above 1")
_RAMP_SLOW = UncertainValue(0.60, 0.30, 0.85, "memory", "flush ramp that takes next to no air")
_HOLE = UncertainValue(0.10, 0.00, 0.25, "memory", "hole in the skin, no lip")

ENTRY_KINDS = ("forward-facing", "scoop", "submerged", "flush hole", "louvre")


def _speeds(inlet_speed, stream_speed):
    advice = "air that flows out of an inlet is an exit: use sudden expansion or a vent"
    inside = within("inlet speed, m/s", inlet_speed, 0.0, np.inf, advice)
    return inside, within("stream speed, m/s", stream_speed, 0.0, np.inf)


def _ratio(part, whole):
    """part / whole, 1 where both vanish; whole of 0 is read as even with part."""
    return np.divide(part, whole, out=np.ones(np.broadcast(part, whole).shape), where=whole > 0.0)


def sharp_lip_loss(inlet_speed: ArrayLike, stream_speed: ArrayLike) -> np.ndarray:
    """K of a thin lip on the velocity head in the inlet: (1 - V0/Vi)^2 where Vi > V0, else 0.

    Momentum balance without suction on the lip: p_i - p = rho Vi (V0 - Vi). Exact for an even
    stream; 1 at rest, the re-entrant mouth of Borda. An inlet that spills loses nothing here.

    Raises
    ------
    NetworkError : a negative speed

    Examples
    --------
    >>> sharp_lip_loss(40.0, [0.0, 20.0, 40.0, 60.0])
    array([1.  , 0.25, 0.  , 0.  ])
    """
    inside, outside = _speeds(inlet_speed, stream_speed)
    return (1.0 - _ratio(np.minimum(outside, inside), inside)) ** 2


def choked_lip_recovery(inlet_mach: ArrayLike) -> np.ndarray:
    """Total pressure in a thin-lipped inlet at rest over that outside, by inlet Mach number.

    (1 + 0.2 M^2)^3.5 / (1 + 1.4 M^2), 0 <= M <= 1: the momentum balance p_i (1 + 1.4 M^2) = p with
    the compressible total pressure. 0.7887 when choked: the 79 % of NACA TN 3004.

    Examples
    --------
    >>> choked_lip_recovery([0.0, 0.3, 1.0]).round(6)
    array([1.     , 0.94532, 0.78872])
    """
    mach = within("inlet Mach number", inlet_mach, 0.0, 1.0)
    static = 1.0 + _HEAT_RATIO * mach**2
    return (1.0 + 0.5 * (_HEAT_RATIO - 1.0) * mach**2) ** 3.5 / static


def spillage_drag(inlet_speed: ArrayLike, stream_speed: ArrayLike) -> np.ndarray:
    """Additive drag over (stream head times inlet area): (1 - Vi/V0)^2 where Vi < V0, else 0.

    Exact momentum balance of the stream tube ahead; a rounded lip gets most of it back as suction.

    Examples
    --------
    >>> spillage_drag([0.0, 15.0, 30.0, 60.0], 50.0).round(6)
    array([1.  , 0.49, 0.16, 0.  ])
    """
    inside, outside = _speeds(inlet_speed, stream_speed)
    return (1.0 - _ratio(np.minimum(inside, outside), outside)) ** 2


def lip_pressure_coefficient(inlet_speed: ArrayLike, stream_speed: ArrayLike) -> np.ndarray:
    """Static Cp in the plane of a spilling inlet without loss: 1 - (Vi/V0)^2. Exact.

    Raises
    ------
    NetworkError : a stream speed of 0, for which there is no Cp

    Examples
    --------
    >>> lip_pressure_coefficient([15.0, 30.0], 30.0)
    array([0.75, 0.  ])
    """
    inside, _ = _speeds(inlet_speed, stream_speed)
    return 1.0 - (inside / within("stream speed, m/s", stream_speed, 1e-9, np.inf)) ** 2


def rounded_entrance_loss(radius_ratio: float) -> UncertainValue:
    """K of an entrance flush in a wall, air at rest ahead, on the velocity head in the duct.

    Parameters
    ----------
    radius_ratio : radius of the edge over diameter (or height); above 0.2 the value at 0.2 is kept

    Notes
    -----
    Mean, least and greatest of five tables, linear between their points: 0.50 for a sharp edge.

    Examples
    --------
    >>> found = rounded_entrance_loss(0.1)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (0.049, 0.107, 0.203)
    """
    within("edge radius over diameter", radius_ratio, 0.0, np.inf)
    found = [np.interp(radius_ratio, _RADII, table) for table in _ENTRANCES.values()]
    return spread(found, "derived", _ENTRANCE_SOURCE)


def lip_share(radius_ratio: float) -> UncertainValue:
    """Part of the thin lip's loss that a rounded lip still has: 1 for a sharp one.

    `rounded_entrance_loss` over its value for a sharp edge, table by table: that a free lip gains
    by rounding what an edge in a wall gains is ours.

    Parameters
    ----------
    radius_ratio : inner radius of the lip over the height of the inlet, 0 or more

    Examples
    --------
    >>> round(lip_share(0.1).value, 2), lip_share(0.0).value
    (0.21, 1.0)
    """
    within("lip radius over inlet height", radius_ratio, 0.0, np.inf)
    found = [np.interp(radius_ratio, _RADII, t / t[0]) for t in _ENTRANCES.values()]
    return spread(found, "derived", _ENTRANCE_SOURCE, "fraction")


def lip_pressure_loss(
    inlet_speed: ArrayLike,
    stream_speed: ArrayLike,
    density: ArrayLike,
    share: ArrayLike = 1.0,
    incidence: ArrayLike = 0.0,
    incidence_share: ArrayLike = 1.0,
) -> np.ndarray:
    """Total pressure lost at the lip, Pa; finite and smooth without flow and without stream.

    Parameters
    ----------
    inlet_speed, stream_speed : m/s, 0 or more
    density : kg/m3
    share : of the thin lip's loss, see `lip_share`
    incidence : deg between the stream and the inlet's axis, 0 to 90
    incidence_share : see `INCIDENCE_LOSS`

    Notes
    -----
    rho/2 [share max(Vi - V0 cos i, 0)^2 + incidence_share (V0 sin i)^2 Vi/(Vi + V0)]. First term:
    momentum balance along the axis. Second: for a thin lip the part of the stream across the axis
    is lost; less, the less air is taken (the factor with the speeds is ours).

    Raises
    ------
    NetworkError : negative speeds, an incidence outside 0 to 90 deg, shares outside 0 to 1

    Examples
    --------
    >>> float(lip_pressure_loss(50.0, 30.0, 1.2))
    240.0
    """
    inside, outside = _speeds(inlet_speed, stream_speed)
    along, across = _lip_parts(inside, outside, share, incidence, incidence_share)
    taken = _ratio(inside, inside + outside)
    return 0.5 * density * (share * along**2 + across * taken)


def lip_pressure_slope(
    inlet_speed: ArrayLike,
    stream_speed: ArrayLike,
    density: ArrayLike,
    share: ArrayLike = 1.0,
    incidence: ArrayLike = 0.0,
    incidence_share: ArrayLike = 1.0,
) -> np.ndarray:
    """Derivative of `lip_pressure_loss` with respect to the inlet speed, Pa s/m. Exact.

    Examples
    --------
    >>> float(lip_pressure_slope(50.0, 30.0, 1.2))
    24.0
    """
    inside, outside = _speeds(inlet_speed, stream_speed)
    along, across = _lip_parts(inside, outside, share, incidence, incidence_share)
    both = inside + outside
    taken = np.divide(outside, both**2, out=np.zeros(np.shape(both)), where=both > 0.0)
    return density * (share * along + 0.5 * across * taken)


def _lip_parts(inside, outside, share, incidence, incidence_share):
    """Excess of speed along the axis, m/s, and the counted square of that across it, m2/s2."""
    advice = "from behind no ram is left: take the pressure on the patch"
    turn = np.radians(within("incidence, deg", incidence, 0.0, 90.0, advice))
    within("share of the lip loss", share, 0.0, 1.0)
    part = within("share of the head across", incidence_share, 0.0, 1.0)
    along = np.maximum(inside - outside * np.cos(turn), 0.0)
    return along, part * (outside * np.sin(turn)) ** 2


def entry_recovery(kind: str, speed_ratio: float, thick_layer: bool = False) -> UncertainValue:
    """Recovery fraction at the entrance, before lip and duct, by kind and speed ratio.

    Parameters
    ----------
    kind : one of `ENTRY_KINDS`
    speed_ratio : Vi/V0, 0 or more; 10 stands for all above
    thick_layer : a submerged inlet in a boundary layer as deep as itself

    Returns
    -------
    UncertainValue
        Nose inlets (0.97-1) and scoops (0.90-0.98) do not depend on the speed ratio here, their lip
        does; outside 0.3-0.8 the low end of a nose inlet lies 0.02 lower. Submerged inlets: best
        (0.85-0.92) from 0.4 to 0.7, falling to 0.50-0.80 at 1.0 and to 0.30-0.85 without flow.
        All from memory; the ranges were stated as ends, and are used as one deviation.

    Raises
    ------
    NetworkError : unknown kind, a negative ratio

    Examples
    --------
    >>> [round(entry_recovery("submerged", ratio).value, 2) for ratio in (0.0, 0.5, 0.85, 1.2)]
    [0.6, 0.89, 0.77, 0.65]
    """
    if kind not in ENTRY_KINDS:
        raise NetworkError(f"unknown kind of inlet {kind!r}; known: {', '.join(ENTRY_KINDS)}")
    ratio = min(float(within("speed ratio Vi/V0", speed_ratio, 0.0, np.inf)), 10.0)
    if kind == "forward-facing":
        outside = float(np.interp(ratio, [0.0, 0.3, 0.8, 1.1], [1.0, 0.0, 0.0, 1.0]))
        low = _PITOT.low - 0.02 * outside
        return UncertainValue(_PITOT.value, low, _PITOT.high, "memory", _PITOT.source)
    if kind == "scoop":
        return _SCOOP
    if kind != "submerged":
        return _HOLE
    best = _RAMP_OFF if thick_layer else _RAMP
    if ratio < 0.4:
        return _between(_RAMP_SLOW, best, ratio / 0.4)
    return _between(best, _RAMP_OFF, (ratio - 0.7) / 0.3)


def _between(first, second, part):
    """Mixture of two bands, part 0 the first and 1 the second; beyond the ends are kept."""
    t = float(np.clip(part, 0.0, 1.0))
    numbers = (
        (1.0 - t) * getattr(first, name) + t * getattr(second, name)
        for name in ("value", "low", "high")
    )
    source = second.source if t > 0.5 else first.source
    return UncertainValue(*numbers, "memory", source)


def recovery_in_layer(recovery: UncertainValue, share: float) -> UncertainValue:
    """Recovery of an inlet in a layer that leaves a part of the stream's head.

    Parameters
    ----------
    recovery : without a layer
    share : mean total pressure over the static one in the captured air, over that of the stream,
        0 (separated) to 1 (no layer), from the boundary layer on the skin

    Notes
    -----
    Product of both, since e is a fraction of p_total - p_patch: exact when e counts the head that
    is there. A layer that is already in the number (side inlets "as found") must not count twice.

    Examples
    --------
    >>> found = recovery_in_layer(UncertainValue(0.9, 0.85, 0.95, "memory"), 0.8)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (0.68, 0.72, 0.76)
    """
    part = float(within("share of the head that the layer leaves", share, 0.0, 1.0))
    low, high = (None if end is None else part * end for end in (recovery.low, recovery.high))
    return UncertainValue(part * recovery.value, low, high, recovery.mark, recovery.source)
