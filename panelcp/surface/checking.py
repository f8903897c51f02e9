"""What a surface is fit for: closed, outward, one body; its size and the shape of its panels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.surface.doubts import DOUBTFUL_WALL, WALL_REACH, surface_doubts
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import format_place, unique_edges


@dataclass(frozen=True, eq=False)
class SurfaceCheck:
    """Figures by which a person recognises the surface.

    Attributes
    ----------
    size : (3,) float, m, length, width, height
    bounds : (2, 3) float, m
    n_panels, n_solved : panels of the whole, and those with an unknown of their own
    area : m2
    volume : m3
    asymmetry : m, greatest distance of a mirrored vertex from the nearest vertex
    edge_lengths : (3,) float, m, least, median, greatest
    least_angle : deg, of all panels
    share_below_20 : fraction of panels with an angle under 20 degrees
    notes : what was changed while reading
    doubts : signs that it is not the body that was meant
    """

    size: np.ndarray
    bounds: np.ndarray
    n_panels: int
    n_solved: int
    area: float
    volume: float
    asymmetry: float
    edge_lengths: np.ndarray
    least_angle: float
    share_below_20: float
    notes: tuple[str, ...]
    doubts: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """The figures as a few lines of text."""
        low, high = self.bounds * 1e3
        least, median, greatest = self.edge_lengths * 1e3
        sides = "solved as a half" if self.n_solved < self.n_panels else "solved as a whole"
        length, width, height = self.size
        return [
            f"size: {length:.3f} m long, {width:.3f} m wide, {height:.3f} m high",
            f"place: STA {low[0]:.0f} to {high[0]:.0f}, BL {low[1]:.0f} to {high[1]:.0f}, "
            f"WL {low[2]:.0f} to {high[2]:.0f} mm",
            f"nose at STA {low[0]:.0f} (least station): is that right?",
            f"panels: {self.n_panels} ({self.n_solved} {sides}); edges {least:.1f} to "
            f"{greatest:.0f} mm, median {median:.0f} mm",
            f"shape of panels: least angle {self.least_angle:.1f} deg, "
            f"{100 * self.share_below_20:.1f} % of panels under 20 deg",
            f"closed and outward: area {self.area:.3f} m2, volume {self.volume:.3f} m3",
            f"symmetry: left and right differ by at most {self.asymmetry * 1e3:.2f} mm",
            *self.notes,
            *(f"doubt: {doubt}" for doubt in self.doubts),
        ]


def check_surface(surface: SurfaceMesh) -> SurfaceCheck:
    """Measure a surface and refuse one that cannot carry source panels.

    Parameters
    ----------
    surface : SurfaceMesh

    Returns
    -------
    SurfaceCheck

    Raises
    ------
    SurfaceError : open or non-manifold edges, several bodies, inside out
    """
    require_one_body(surface.vertices, surface.triangles)
    require_closed(surface.vertices, surface.triangles)
    require_outward(surface)
    angles = least_angles(surface)
    edges = np.diff(surface.vertices[unique_edges(surface.triangles)[0]], axis=1)
    lengths = np.linalg.norm(edges[:, 0], axis=1)
    return SurfaceCheck(
        size=surface.size,
        bounds=surface.bounds,
        n_panels=surface.n_panels,
        n_solved=surface.n_solved,
        area=surface.area,
        volume=surface.volume,
        asymmetry=asymmetry(surface),
        edge_lengths=np.array([lengths.min(), np.median(lengths), lengths.max()]),
        least_angle=float(angles.min()),
        share_below_20=float((angles < 20.0).mean()),
        notes=tuple(surface.notes),
        doubts=surface_doubts(surface),
    )


def least_angles(surface: SurfaceMesh) -> np.ndarray:
    """(n_panels,) float, deg: the smallest corner angle of each panel."""
    corners = surface.corners
    forward = np.roll(corners, -1, axis=1) - corners
    backward = np.roll(corners, 1, axis=1) - corners
    cross = np.linalg.norm(np.cross(forward, backward), axis=2)
    return np.degrees(np.arctan2(cross, (forward * backward).sum(axis=2))).min(axis=1)


def asymmetry(surface: SurfaceMesh) -> float:
    """Greatest distance, m, from a mirrored vertex to the nearest vertex."""
    mirror = surface.vertices * [1.0, -1.0, 1.0]
    return float(cKDTree(surface.vertices).query(mirror)[0].max())


def require_one_body(vertices, triangles):
    """Refuse triangles that fall into several parts with no common vertex."""
    triangles = np.asarray(triangles)
    rows = np.concatenate([triangles[:, 0], triangles[:, 1]])
    columns = np.concatenate([triangles[:, 1], triangles[:, 2]])
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(vertices),) * 2)
    _, labels = connected_components(graph, directed=False)
    part = labels[triangles[:, 0]]
    names, counts = np.unique(part, return_counts=True)
    if len(names) == 1:
        return
    order = np.argsort(-counts)
    middles = [vertices[triangles[part == names[k]]].mean(axis=(0, 1)) for k in order[:3]]
    shown = [
        f"{counts[k]} triangles at {format_place(middle)}"
        for k, middle in zip(order, middles, strict=False)
    ]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    raise SurfaceError(
        f"{len(names)} separate bodies in one surface: {'; '.join(shown)}{more}. "
        "Source panels need one closed body: export the outer skin alone, or join the parts"
    )


def require_closed(vertices, triangles, open_at_plane: bool = False):
    """Refuse open edges, edges with more than two triangles, and mixed windings.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    open_at_plane : True lets edges on y = 0 stay open (a half)
    """
    vertices = np.asarray(vertices, dtype=float)
    triangles = np.asarray(triangles)
    edges, inverse, counts = unique_edges(triangles)
    crowded = edges[counts > 2]
    if len(crowded):
        raise SurfaceError(
            f"{len(crowded)} edges belong to more than two triangles (first near "
            f"{format_place(vertices[crowded[0]].mean(axis=0))}): inner walls, fins or doubled "
            "skin. Delete what is not the outer skin"
        )
    lone = edges[counts == 1]
    if open_at_plane:
        lone = lone[~(vertices[lone][:, :, 1] == 0.0).all(axis=1)]
    if len(lone):
        raise SurfaceError(_open_message(vertices, lone, open_at_plane))
    _require_one_winding(vertices, triangles, edges, inverse, counts)


def _open_message(vertices, lone, half: bool) -> str:
    n_loops = _count_loops(lone)
    low, high = vertices[lone].reshape(-1, 3).min(axis=0), vertices[lone].reshape(-1, 3).max(axis=0)
    where = (
        f"first near {format_place(vertices[lone[0]].mean(axis=0))}; "
        f"all between {format_place(low)} and {format_place(high)}"
    )
    besides = ", besides the centre line" if half else ""
    advice = "fill the holes, or raise crack_tolerance if these are fine cracks"
    behind = _open_behind(vertices, lone)
    if behind.any():
        station = vertices[lone[behind], 0].mean() * 1e3
        advice = (
            f"it ends open at STA {station:.0f}: add the fuselage behind (or a closed tapering "
            "fairing); a flat wall there would spoil the pressures near it"
        )
        advice += "; fill the other holes" if not behind.all() else ""
    return (
        f"surface is not closed: {len(lone)} edges belong to one triangle only, in {n_loops} "
        f"group{'s' if n_loops > 1 else ''}{besides} ({where}). Source panels need a closed "
        f"body; {advice}"
    )


def _open_behind(vertices, lone) -> np.ndarray:
    """(k,) bool: open edges at the rear end, if they go round a large part of the section."""
    size = np.ptp(vertices, axis=0)
    near = vertices[:, 0] >= vertices[:, 0].max() - WALL_REACH * size[0]
    behind = near[lone].all(axis=1)
    if not behind.any():
        return behind
    rim = np.ptp(vertices[lone[behind]].reshape(-1, 3), axis=0)
    return behind & (rim[1] * rim[2] > DOUBTFUL_WALL * size[1] * size[2])


def _count_loops(edges) -> int:
    names, compact = np.unique(edges, return_inverse=True)
    compact = compact.reshape(-1, 2)
    graph = coo_array((np.ones(len(compact)), compact.T), shape=(len(names),) * 2)
    return int(connected_components(graph, directed=False)[0])


def _require_one_winding(vertices, triangles, edges, inverse, counts):
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    direction = np.where(ends[:, 0] < ends[:, 1], 1, -1)
    balance = np.bincount(inverse, weights=direction, minlength=len(edges))
    mixed = edges[(counts == 2) & (balance != 0)]
    if len(mixed):
        raise SurfaceError(
            f"{len(mixed)} edges join triangles of opposite winding (first near "
            f"{format_place(vertices[mixed[0]].mean(axis=0))}): part of the skin is inside out. "
            "Make the normals consistent and export again"
        )


def require_outward(surface: SurfaceMesh):
    """Refuse a closed surface whose normals point inward."""
    if surface.volume <= 0.0:
        raise SurfaceError(
            f"surface is inside out (its volume is {surface.volume:.4g} m3); turn the normals "
            "over in the CAD, or set reverse = true in [surface]"
        )
