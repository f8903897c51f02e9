"""Lines of equal value on a surface: marching triangles, joined to long lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.surface.mesh import SurfaceMesh, frozen_array

_SAME_PLACE = 1e-9  # share of an edge within which two crossings are one point


@dataclass(frozen=True, eq=False)
class IsoLine:
    """One unbroken line along which a value on the surface is constant.

    Attributes
    ----------
    level : float, the value
    points : (n, 3) float, m, body axes; the first is repeated at the end of a closed line.
        Seen from outside the greater values lie on the left
    panels : (n - 1,) int, the panel that each segment crosses
    """

    level: float
    points: np.ndarray
    panels: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "points", frozen_array(self.points))
        object.__setattr__(self, "panels", frozen_array(self.panels, np.int64))


def checked_corner_values(surface: SurfaceMesh, corner_values) -> np.ndarray:
    """`corner_values` as a (n_panels, 3) float array, refused when shape or numbers are bad."""
    values = np.asarray(corner_values, dtype=float)
    if values.shape != (surface.n_panels, 3):
        raise FlowError(
            f"corner_values has shape {values.shape}; expected ({surface.n_panels}, 3), "
            "one value at each of the three corners of each panel"
        )
    bad = ~np.isfinite(values).all(axis=1)
    if bad.any():
        raise FlowError(
            f"corner_values has numbers that are not finite on {np.count_nonzero(bad)} of "
            f"{surface.n_panels} panels (first: panel {np.flatnonzero(bad)[0]})"
        )
    return np.ascontiguousarray(values)


def iso_lines(surface: SurfaceMesh, corner_values, levels) -> tuple[IsoLine, ...]:
    """Lines on which a value that is linear over each panel equals each level.

    Parameters
    ----------
    surface : SurfaceMesh
    corner_values : (n_panels, 3) float, value at the corners of each panel; where two panels
        differ at their common edge (a sharp edge) a line ends there
    levels : sequence of float

    Returns
    -------
    tuple of IsoLine, level by level

    Raises
    ------
    FlowError : wrong shape, or values that are not finite

    Notes
    -----
    A corner counts as above when its value is equal to the level, so a patch that lies
    exactly on a level is bordered, never filled, by lines. A single corner that just reaches
    the level gives no line.

    Examples
    --------
    >>> corner = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> height = corner.corners[:, :, 2]
    >>> line, = iso_lines(corner, height, [0.25])
    >>> len(line.points), bool(np.all(line.points[:, 2] == 0.25))
    (4, True)
    """
    values = checked_corner_values(surface, corner_values)
    lines = []
    for level in levels:
        lines.extend(_lines_of_level(surface, values, float(level)))
    return tuple(lines)


def _lines_of_level(surface, values, level):
    above = values >= level
    panels = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    if len(panels) == 0:
        return
    above = above[panels]
    after = np.roll(above, -1, axis=1)
    starts = _crossings(surface, values, level, panels, np.argmax(above & ~after, axis=1))
    ends = _crossings(surface, values, level, panels, np.argmax(~above & after, axis=1))
    following, preceded = _joined(starts, ends)
    for chain in _chains(following, preceded):
        points = np.vstack([starts[0][chain], ends[0][chain[-1:]]])
        if np.ptp(points, axis=0).any():
            yield IsoLine(level, points, panels[chain])


def _crossings(surface, values, level, panels, corner):
    """Point on one edge of each panel, with the key of the edge and the place along it."""
    following = (corner + 1) % 3
    vertex_a = surface.triangles[panels, corner]
    vertex_b = surface.triangles[panels, following]
    swap = vertex_a > vertex_b
    value_a, value_b = values[panels, corner], values[panels, following]
    low, high = np.where(swap, vertex_b, vertex_a), np.where(swap, vertex_a, vertex_b)
    value_low, value_high = np.where(swap, value_b, value_a), np.where(swap, value_a, value_b)
    share = (level - value_low) / (value_high - value_low)
    start, end = surface.vertices[low], surface.vertices[high]
    points = (1.0 - share)[:, None] * start + share[:, None] * end
    return points, low * surface.n_vertices + high, share


def _joined(starts, ends):
    """For each segment the one that starts where it ends, and whether any ends at its start."""
    order = np.argsort(starts[1], kind="stable")
    place = np.searchsorted(starts[1][order], ends[1])
    candidate = order[np.minimum(place, len(order) - 1)]
    same = starts[1][candidate] == ends[1]
    same &= np.abs(starts[2][candidate] - ends[2]) <= _SAME_PLACE
    following = np.where(same, candidate, -1)
    preceded = np.zeros(len(following), dtype=bool)
    preceded[candidate[same]] = True
    return following, preceded


def _chains(following, preceded):
    from panelcp.report._kernels import follow_chains

    order = np.empty(len(following), dtype=np.int64)
    starts = np.empty(len(following) + 1, dtype=np.int64)
    n_chains = follow_chains(following, preceded, order, starts)
    return [order[starts[k] : starts[k + 1]] for k in range(n_chains)]
