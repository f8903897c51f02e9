"""Skin that passes through itself, or lies on itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panelcp.errors import SurfaceError
from panelcp.surface.mesh import frozen_array
from panelcp.surface.repair import format_place, plain_triangles

TOUCHING = 1e-6
"""Sheets nearer than this part of the size of the body lie on each other."""

_FIRST_WIDTH = 8


@dataclass(frozen=True, eq=False)
class CrossingZone:
    """Triangles that cross or lie on each other and hang together.

    Attributes
    ----------
    triangles : (k,) int, all that take part, increasing
    centre : (3,) float, m
    bounds : (2, 3) float, m
    n_crossing : pairs that pass through each other
    n_touching : pairs that lie on each other
    """

    triangles: np.ndarray
    centre: np.ndarray
    bounds: np.ndarray
    n_crossing: int
    n_touching: int

    def __post_init__(self):
        object.__setattr__(self, "triangles", frozen_array(self.triangles, np.int64))
        object.__setattr__(self, "centre", frozen_array(self.centre))
        object.__setattr__(self, "bounds", frozen_array(self.bounds))


def meeting_pairs(vertices, triangles, tolerance: float | None = None):
    """Pairs of triangles without a common vertex that pass through or lie on each other.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    tolerance : m; corners nearer than this to the other triangle's plane lie in it. `TOUCHING`
        times the size of the body when not given

    Returns
    -------
    pairs : (k, 2) int, smaller first, sorted
    touching : (k,) bool, True where they lie on each other and do not pass through

    Notes
    -----
    Triangles are sorted along a space-filling curve and put into a tree of boxes. Two triangles
    cross where an edge of one has its ends on both sides of the other and passes through its
    inside. Two lie on each other where such an edge meets the rim of the other, or where one lies
    in the plane of the other and no line of that plane parts them.
    """
    from panelcp.surface.repair_kernels import box_tree, meeting_triangles

    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    size = np.ptp(points, axis=0).max()
    tolerance = TOUCHING * size if tolerance is None else float(tolerance)
    places = np.ascontiguousarray(points[corners] - points.mean(axis=0))
    order = np.argsort(_curve_keys(places.mean(axis=1)), kind="stable")
    lows, highs = box_tree(places, order)
    width = _FIRST_WIDTH
    while True:
        found = np.full((len(corners), width), -1, dtype=np.int64)
        kinds = np.zeros((len(corners), width), dtype=np.int64)
        counts = meeting_triangles(corners, places, order, lows, highs, tolerance, found, kinds)
        if counts.max() <= width:
            break
        width = int(counts.max())
    row, column = np.nonzero(found >= 0)
    pairs = np.sort(np.stack([order[row], found[row, column]], axis=1), axis=1)
    touching = kinds[row, column] == 2
    sorted_places = np.lexsort((pairs[:, 1], pairs[:, 0]))
    return pairs[sorted_places], touching[sorted_places]


def crossing_zones(vertices, triangles, tolerance: float | None = None) -> list[CrossingZone]:
    """Places where the skin crosses itself or lies on itself, that of the most pairs first.

    Parameters as in `meeting_pairs`. Pairs belong to one place when they share a vertex.
    """
    points, corners = np.asarray(vertices, dtype=float), np.asarray(triangles)
    pairs, touching = meeting_pairs(points, corners, tolerance)
    if len(pairs) == 0:
        return []
    a, b = corners[pairs[:, 0]], corners[pairs[:, 1]]
    rows = np.concatenate([a[:, 0], a[:, 0], a[:, 0], b[:, 0], b[:, 0]])
    columns = np.concatenate([a[:, 1], a[:, 2], b[:, 0], b[:, 1], b[:, 2]])
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(points),) * 2)
    label = connected_components(graph, directed=False)[1][a[:, 0]]
    zones = [_zone(points, corners, pairs[k], touching[k]) for k in _members(label)]
    return sorted(zones, key=lambda zone: -(zone.n_crossing + zone.n_touching))


def require_no_crossings(vertices, triangles, tolerance: float | None = None):
    """Refuse a skin that crosses itself or lies on itself.

    Parameters as in `meeting_pairs`.

    Raises
    ------
    SurfaceError : names the number of pairs and the places
    """
    zones = crossing_zones(vertices, triangles, tolerance)
    if zones:
        raise SurfaceError(crossing_message(zones))


def crossing_message(zones) -> str:
    """What is wrong, how often and where."""
    crossing = sum(zone.n_crossing for zone in zones)
    touching = sum(zone.n_touching for zone in zones)
    faults = []
    if crossing:
        faults.append(f"passes through itself ({crossing} pairs of triangles cross)")
    if touching:
        faults.append(f"lies on itself ({touching} pairs of triangles touch)")
    shown = "; ".join(_told(zone) for zone in zones[:3])
    more = f"; and {len(zones) - 3} more places" if len(zones) > 3 else ""
    return (
        f"the skin {' and '.join(faults)}, at {shown}{more}. Parts that cross must be united, and "
        "parts that touch joined to one outer skin, before panels can be laid on it: closed parts "
        "that overlap by unite = true in [surface], others in the CAD"
    )


def _told(zone: CrossingZone) -> str:
    return f"{format_place(zone.centre)} ({np.ptp(zone.bounds, axis=0).max() * 1e3:.0f} mm across)"


def _members(label) -> list[np.ndarray]:
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def _zone(points, corners, pairs, touching) -> CrossingZone:
    triangles = np.unique(pairs)
    places = points[corners[triangles]].reshape(-1, 3)
    return CrossingZone(
        triangles,
        places.mean(axis=0),
        np.array([places.min(axis=0), places.max(axis=0)]),
        int(np.count_nonzero(~touching)),
        int(np.count_nonzero(touching)),
    )


def _curve_keys(centres) -> np.ndarray:
    """Places along a curve that fills space (bits of x, y and z in turn), 21 bits each."""
    low = centres.min(axis=0)
    step = max(np.ptp(centres, axis=0).max(), 1e-300) / (2**21 - 1)
    cells = ((centres - low) / step).astype(np.uint64)
    keys = np.zeros(len(cells), dtype=np.uint64)
    for axis in range(3):
        x = cells[:, axis]
        for shift, mask in (
            (32, 0x1F00000000FFFF),
            (16, 0x1F0000FF0000FF),
            (8, 0x100F00F00F00F00F),
            (4, 0x10C30C30C30C30C3),
            (2, 0x1249249249249249),
        ):
            x = (x | (x << np.uint64(shift))) & np.uint64(mask)
        keys |= x << np.uint64(axis)
    return keys
