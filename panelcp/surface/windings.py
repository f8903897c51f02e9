"""One winding over the whole skin, outward."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panelcp.errors import SurfaceError
from panelcp.surface.repair import edge_table, format_place, half_edge_ends, plain_triangles

UNCERTAIN_VOLUME = 1e-3
"""An open sheet that encloses less than this part of its area to the power 3/2 has no outside."""


def consistent_windings(vertices, triangles) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Turn triangles so that each sheet has one winding, and is outward.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int

    Returns
    -------
    vertices : as given
    triangles : the array that was given when none is turned
    notes : lines that say what was done

    Raises
    ------
    SurfaceError : a sheet with one side only (as a Moebius strip)

    Notes
    -----
    Windings spread from triangle to triangle over edges of two triangles. The outside of a closed
    sheet follows from the sign of its volume. An open one is closed in thought by the cones from
    the middle of each rim. A sheet too flat for that keeps the winding of most of its area.
    """
    from panelcp.surface.repair_kernels import flood_windings

    points, corners = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    table = edge_table(len(points), corners)
    sheet, turned, torn = flood_windings(corners, table.mates)
    if len(torn):
        raise SurfaceError(_one_sided_message(points, corners, torn))
    wound = np.where(turned[:, None], corners[:, [0, 2, 1]], corners)
    inward = _inward_sheets(points, wound, sheet, turned, table)
    turned ^= inward[sheet]
    if not turned.any():
        return vertices, triangles, []
    wound = np.where(turned[:, None], corners[:, [0, 2, 1]], corners)
    return vertices, wound, [_note(points, corners, turned)]


def sheet_volumes(vertices, triangles, sheet) -> np.ndarray:
    """(n_sheets,) float, m3: volume of each sheet of one winding, its rims closed by cones.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    sheet : (m,) int
    """
    vertices, triangles = np.asarray(vertices, dtype=float), plain_triangles(triangles)
    n_sheets = int(sheet.max()) + 1
    origin = vertices.mean(axis=0)
    volumes = np.bincount(sheet, _sixfold(vertices - origin, triangles), minlength=n_sheets)
    lone = edge_table(len(vertices), triangles).lone
    if len(lone):
        ends, owner = half_edge_ends(triangles, lone), sheet[lone // 3]
        loop = _linked(ends, owner, len(vertices))
        middle = 0.5 * (vertices[ends[:, 0]] + vertices[ends[:, 1]]) - origin
        weight = np.linalg.norm(vertices[ends[:, 1]] - vertices[ends[:, 0]], axis=1)
        total = np.maximum(np.bincount(loop, weight), 1e-300)
        tip = np.stack([np.bincount(loop, weight * x) for x in middle.T], axis=1) / total[:, None]
        a, b = vertices[ends[:, 1]] - origin, vertices[ends[:, 0]] - origin
        cone = np.einsum("ni,ni->n", np.cross(a, b), tip[loop])
        volumes += np.bincount(owner, cone, minlength=n_sheets)
    return volumes / 6.0


def _sixfold(points, triangles) -> np.ndarray:
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = (points[column].T for column in triangles.T)
    return ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)


def _linked(ends, owner, n: int) -> np.ndarray:
    """Label of the rim to which each open edge belongs; rims of different sheets are apart."""
    keys, nodes = np.unique(owner[:, None] * n + ends, return_inverse=True)
    a, b = nodes.reshape(-1, 2).T
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(len(keys),) * 2)
    return connected_components(graph, directed=False)[1][a]


def _inward_sheets(points, wound, sheet, turned, table) -> np.ndarray:
    """(n_sheets,) bool: sheets whose normals point inward."""
    volumes = sheet_volumes(points, wound, sheet)
    a, b, c = (points[column] for column in wound.T)
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    area = np.bincount(sheet, areas)
    uncertain = np.abs(volumes) < UNCERTAIN_VOLUME * area**1.5
    mostly_turned = np.bincount(sheet, areas * turned) > 0.5 * area
    return np.where(uncertain, mostly_turned, volumes < 0.0)


def _one_sided_message(points, corners, torn) -> str:
    place = format_place(points[half_edge_ends(corners, torn[:1])[0]].mean(axis=0))
    return (
        f"the skin has one side only (as a Moebius strip): its triangles cannot be wound alike, "
        f"{len(torn)} edges contradict (first near {place}). Two sheets are joined crosswise "
        "there: delete the wrong triangles in the CAD"
    )


def _note(points, corners, turned) -> str:
    count = np.count_nonzero(turned)
    if count == len(turned):
        return f"all {count} triangles turned over: they faced inward"
    place = format_place(points[corners[np.flatnonzero(turned)[0]]].mean(axis=0))
    return f"{count} of {len(turned)} triangles turned over to face outward (first near {place})"
