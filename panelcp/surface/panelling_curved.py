"""Vertices of panels put from the flat triangles of a source onto curved patches through them."""

from __future__ import annotations

import numpy as np

from panelcp.surface.checking import least_angles
from panelcp.surface.curved import curved_panels, evaluate
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole

COARSE = 0.15
"""Source edges shorter than this part of the panels' edges leave nothing to gain."""

LEAST_ANGLE = 12.0
"""deg; no patch is trusted over a thinner triangle of the source."""

FARTHEST = 0.12
"""No vertex moves farther than this part of the longest edge of its source triangle."""

ROUNDING = 1e-9
"""Steps of less than this part of the longest edge are none: flat skin stays as exact as it was."""

RINGS = 3
"""Rings of triangles round a patch that decide its shape."""

LARGEST_TURN = np.cos(np.radians(30.0))
"""A panel that would turn by more than this keeps its vertices."""


def onto_patches(vertices, triangles, tree, order, source, fixed, halved: bool):
    """Vertices moved onto the 6-node patches of the source, where these can be trusted.

    Parameters
    ----------
    vertices : (n, 3) float, m, on the triangles of the source
    triangles : (m, 3) int, the panels
    tree, order : of the source, see `build_tree`
    source : (vertices, triangles) of the surface that was given, of its right half when halved
    fixed : (n,) bool, vertices on sharp edges, which stay
    halved : True when vertices with y = 0 must stay there

    Returns
    -------
    vertices : moved copy
    note : list with a line that says how far, or empty

    Notes
    -----
    A patch has no lift over sharp edges, so these stay what they are. Corners of panels between two
    patches get the same place from both, since patches meet without a gap.
    """
    from panelcp.surface.panelling_kernels import nearest_many

    edge = _median_edge(*source)
    if edge < COARSE * _median_edge(vertices, triangles):
        return vertices, []
    found, _, feet = nearest_many(tree, vertices, np.zeros_like(vertices), -2.0, np.inf)
    near, owner = round_about(*source, order[found])
    whole = mirrored_whole(*near) if halved else SurfaceMesh(*near)
    corners = whole.corners[owner]
    step = _patch_points(whole, owner, corners, feet) - feet
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max(axis=1)
    trusted = least_angles(whole)[owner] >= LEAST_ANGLE
    trusted &= np.linalg.norm(step, axis=1) <= FARTHEST * longest
    trusted &= np.linalg.norm(step, axis=1) > ROUNDING * longest
    step[~trusted | fixed] = 0.0
    if halved:
        step[vertices[:, 1] == 0.0, 1] = 0.0
    step = _without_turns(vertices, triangles, step)
    moved = np.linalg.norm(step, axis=1)
    if not moved.any():
        return vertices, []
    note = (
        f"panels laid through a curved skin over the triangles given: vertices moved by "
        f"{np.sqrt(np.mean(moved**2)) * 1e3:.2f} mm rms, {moved.max() * 1e3:.2f} mm at most"
    )
    return vertices + step, [note]


def round_about(vertices, triangles, owner):
    """Vertices and triangles within RINGS of some triangles, and the places of these among them."""
    chosen = np.zeros(len(vertices), dtype=bool)
    chosen[triangles[owner].ravel()] = True
    for _ in range(RINGS):
        kept = chosen[triangles].any(axis=1)
        chosen[triangles[kept].ravel()] = True
    place = np.cumsum(chosen) - 1
    return (vertices[chosen], place[triangles[kept]]), (np.cumsum(kept) - 1)[owner]


def _patch_points(whole: SurfaceMesh, owner, corners, feet) -> np.ndarray:
    a, b, c = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], feet - corners[:, 0]
    aa, ab, bb = ((u * v).sum(axis=1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=1), (c * b).sum(axis=1)
    scale = np.maximum(aa * bb - ab * ab, 1e-300)
    xi, eta = (ca * bb - cb * ab) / scale, (cb * aa - ca * ab) / scale
    return evaluate(curved_panels(whole).coefficients[owner], xi, eta)


def _without_turns(vertices, triangles, step) -> np.ndarray:
    """Steps, but none at the corners of panels that would turn far by them."""
    before, step = _directions(vertices, triangles), step.copy()
    while True:
        after = _directions(vertices + step, triangles)
        turned = (before * after).sum(axis=1) < LARGEST_TURN
        if not turned.any():
            return step
        # ends at the latest when nothing moves any more
        step[triangles[turned].ravel()] = 0.0


def _directions(vertices, triangles) -> np.ndarray:
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    vectors = np.cross(b - a, c - a)
    return vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300)


def _median_edge(vertices, triangles) -> float:
    corners = np.asarray(vertices)[np.asarray(triangles)]
    return float(np.median(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)))
