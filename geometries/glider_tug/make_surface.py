"""Loft the glider tug's station table and write cowl.stl the way a CAD program would.

The file holds the right half only, open at BL 0, in millimetres; every triangle has its own
three vertices; those at BL 0 lie up to 0.05 mm off it; and one seam on the side of the cowl is
a crack of 0.2 mm. The result is the same at every run.

    python make_surface.py
"""

import itertools
from pathlib import Path

import numpy as np

from panelcp.surface.stations import loft_stations, read_stations

FOLDER = Path(__file__).resolve().parent
PANEL_LENGTH = 0.060  # m
SCATTER = 0.05  # mm, at BL 0
CRACK = 0.2  # mm
SEAM_START, SEAM_LENGTH = (560.0, -60.0), 200.0  # STA and WL on the right side, mm


def main(path=FOLDER / "cowl.stl"):
    """Write the half surface to `path`; give its corners, (n, 3, 3) mm."""
    surface = loft_stations(read_stations(FOLDER / "stations.csv"), PANEL_LENGTH)
    triangles = surface.triangles[: surface.n_panels // 2]
    vertices = 1e3 * surface.vertices[: triangles.max() + 1]
    seam = seam_vertices(vertices, triangles)
    at_plane = vertices[:, 1] == 0.0
    scattered = vertices.copy()
    generator = np.random.default_rng(20)
    scattered[at_plane, 1] = generator.uniform(-SCATTER, SCATTER, at_plane.sum())
    corners = cracked(scattered, triangles, seam)
    write_stl(path, corners)
    return corners


def seam_vertices(vertices, triangles):
    """Chain of vertices along panel edges, aft from SEAM_START for SEAM_LENGTH or a little more."""
    side = np.where(vertices[:, 1] > 200.0, 0.0, np.inf)
    off = np.hypot(vertices[:, 0] - SEAM_START[0], vertices[:, 2] - SEAM_START[1]) + side
    chain, travelled = [int(off.argmin())], 0.0
    while travelled < SEAM_LENGTH:
        here = chain[-1]
        around = triangles[(triangles == here).any(axis=1)]
        near = np.setdiff1d(around, chain)
        steps = vertices[near] - vertices[here]
        lengths = np.linalg.norm(steps, axis=1)
        best = (steps[:, 0] / lengths).argmax()
        chain.append(int(near[best]))
        travelled += lengths[best]
    return chain


def cracked(vertices, triangles, seam):
    """Corners (n, 3, 3) of all triangles, those above the seam drawn back from it by CRACK."""
    corners = vertices[triangles]
    inner = seam[1:-1]
    edges = {frozenset(pair) for pair in itertools.pairwise(seam)}
    around = np.flatnonzero(np.isin(triangles, inner).any(axis=1)).tolist()
    above = [k for k in around if _has_edge(triangles[k], seam[0], seam[1], forward=True)]
    for k in above:  # grows while it is walked through
        for other in around:
            shared = set(triangles[k].tolist()) & set(triangles[other].tolist())
            crossing = len(shared) == 2 and shared & set(inner) and frozenset(shared) not in edges
            if crossing and other not in above:
                above.append(other)
    for place, vertex in enumerate(inner, start=1):
        along = vertices[seam[place + 1]] - vertices[seam[place - 1]]
        fan = [k for k in above if vertex in triangles[k]]
        back = corners[fan].mean(axis=(0, 1)) - vertices[vertex]
        back -= (back @ along) / (along @ along) * along
        for k in fan:
            corners[k, triangles[k] == vertex] += CRACK * back / np.linalg.norm(back)
    return corners


def _has_edge(triangle, start, end, forward):
    pairs = [(triangle[k - 1], triangle[k]) for k in range(3)]
    return ((start, end) if forward else (end, start)) in pairs


def write_stl(path, corners):
    """Binary STL: 80 bytes of text, the count, then normal and corners of each triangle."""
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets = np.zeros(len(corners), dtype=facet)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facets["normal"] = normals / np.linalg.norm(normals, axis=1)[:, None]
    facets["corners"] = corners
    header = b"cowl of an invented glider tug, right half, mm".ljust(80)
    Path(path).write_bytes(header + np.uint32(len(corners)).tobytes() + facets.tobytes())


if __name__ == "__main__":
    print(f"{len(main())} triangles written to cowl.stl")
