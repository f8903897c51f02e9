"""Lines along the skin, and the foot of the windshield that they show."""

from __future__ import annotations

import numpy as np

from panelcp.errors import PlacementError
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.rays import SkinFinder

VIEWS = {
    "top": (2, -1.0),
    "bottom": (2, 1.0),
    "right": (1, -1.0),
    "left": (1, 1.0),
    "front": (0, 1.0),
    "rear": (0, -1.0),
}
"""Side looked at from: axis and sign of the line of sight."""

STEP = 0.01
"""m, between the stations of a line."""

FOOT_REACH, FOOT_BEND, FOOT_SLOPE = 0.08, 10.0, 20.0
"""A windshield's foot: slopes are taken over so many metres to both sides; the skin bends up by at
least so many degrees, and ahead of it is inclined by at most so many."""


def line_points(
    finder: SkinFinder, side: str, first: float, last: float, across: float = 0.0, step=STEP
) -> tuple[np.ndarray, np.ndarray]:
    """Where rays from one side, one every step, meet the skin.

    Parameters
    ----------
    finder : SkinFinder
    side : "top", "bottom", "right" or "left"
    first, last : m, stations
    across : m, butt line of a line above or below, waterline of one at a side
    step : m

    Returns
    -------
    points : (n, 3) float, m; where there is no skin none
    panels : (n,) int

    Raises
    ------
    PlacementError : another side, or no skin anywhere on the line
    """
    if side not in ("top", "bottom", "right", "left"):
        raise PlacementError(f"a line along the {side} is not known; expected top to left")
    axis, sign = VIEWS[side]
    low, high = finder.surface.bounds
    station = np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 1.0) * step
    origins = np.full((len(station), 3), float(across))
    origins[:, 0] = station
    origins[:, axis] = low[axis] - 1.0 if sign > 0.0 else high[axis] + 1.0
    panels, points = finder.hits(origins, sign * np.eye(3)[axis])
    met = panels >= 0
    if not met.any():
        raise PlacementError(
            f"no skin on the {side} line from STA {1e3 * first:.0f} to {1e3 * last:.0f} mm at "
            f"{1e3 * across:.0f} mm; correct its ends or its height"
        )
    return points[met], panels[met]


def windshield_foot(points) -> float | None:
    """Station at which a line on top of the body bends up to a windshield; None without one.

    Parameters
    ----------
    points : (n, 3) float, m, from `line_points`, front to back

    Returns
    -------
    float, m: the aftmost place at which the skin, nearly level ahead of it, bends up the most
    """
    x, z = np.asarray(points)[:, 0], np.asarray(points)[:, 2]
    inside = x[(x >= x[0] + FOOT_REACH) & (x <= x[-1] - FOOT_REACH)]
    here, ahead, behind = (np.interp(inside + d, x, z) for d in (0.0, -FOOT_REACH, FOOT_REACH))
    before, after = (np.degrees(np.arctan2(dz, FOOT_REACH)) for dz in (here - ahead, behind - here))
    bend = np.where((np.abs(before) <= FOOT_SLOPE) & (after > 0.0), after - before, 0.0)
    bent = np.flatnonzero(bend >= FOOT_BEND)
    if not len(bent):
        return None
    run = bent[np.flatnonzero(np.diff(bent, prepend=-9) > 1)[-1] :]
    return float(inside[run[np.argmax(bend[run])]])


def foot_of_windshield(surface: SurfaceMesh) -> np.ndarray | None:
    """(3,) float, m: where the top of the body bends up to a windshield at BL 0, or None."""
    first, last = surface.bounds[:, 0]
    try:
        points, _ = line_points(SkinFinder(surface), "top", float(first), float(last))
    except PlacementError:
        return None
    station = windshield_foot(points)
    if station is None:
        return None
    return np.array([station, 0.0, np.interp(station, points[:, 0], points[:, 2])])
