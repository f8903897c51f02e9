"""How good and how fast is the panelling of a surface?

Question: number, shape and place of the panels made of given surfaces, the seconds they take, and
how near Cp with them comes to that with far more panels.
Method: a lofted body of a glider tug's outline, an ellipsoid, a box, a shell with thin sharp lips,
one with round lips of 2.5 and one of 5 mm radius, a wing-like body with a sharp trailing edge and a
rough scan of the tug (1 mm) are panelled; the tug's triangles are divided until there are about
800 000. Cp is compared on the forward third of
the tug at the control points of the coarse panels, linear on the panels of the fine ones.
Known answer: every vertex on the given surface; 99 % of the panels with angles of 20 degrees or
more; no panels that cross; number within 5 %; Cp within 0.01 rms of that with 60 000 panels.
Command: python studies/panelling.py
"""

import time
from pathlib import Path

import numpy as np

from panelcp.flow.solutions import solve
from panelcp.onset.conditions import FlightCondition
from panelcp.surface.checking import least_angles
from panelcp.surface.crossings import meeting_pairs
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.panelling import distance_to, panelled
from panelcp.surface.panelling_start import build_tree
from panelcp.surface.stations import loft_stations, read_stations

STATIONS = Path(__file__).parent.parent / "geometries" / "glider_tug" / "stations.csv"
CONDITION = FlightCondition("climb", true_airspeed=35.0, alpha=4.0, beta=3.0)
PANELS, REFERENCE = 16000, 60000


def tug(panel_length, divisions):
    """Body of the tug, every triangle divided into four so many times."""
    import trimesh

    lofted = loft_stations(read_stations(STATIONS), panel_length)
    half = lofted.triangles[: lofted.n_solved]
    used, compact = np.unique(half, return_inverse=True)
    vertices, triangles = lofted.vertices[used], compact.reshape(-1, 3)
    for _ in range(divisions):
        vertices, triangles = trimesh.remesh.subdivide(vertices, triangles)
    return mirrored_whole(vertices, triangles)


def ring_body(profile, around):
    """Body of a closed profile (n, 2) of station and radius about the x axis."""
    angle = 2 * np.pi * np.arange(around) / around
    x = np.repeat(profile[:, 0], around)
    y, z = (np.outer(profile[:, 1], f(angle)).ravel() for f in (np.cos, np.sin))
    ring, place = (part.ravel() for part in np.indices((len(profile), around)))
    following, beside = (ring + 1) % len(profile), (place + 1) % around
    a, b = ring * around + place, ring * around + beside
    c, d = following * around + place, following * around + beside
    triangles = np.concatenate([np.stack([a, b, d], 1), np.stack([a, d, c], 1)])
    return outward(np.stack([x, y, z], axis=1), triangles)


def outward(vertices, triangles):
    """Surface of these triangles with its normals outward."""
    surface = SurfaceMesh(vertices, triangles)
    return surface if surface.volume > 0 else SurfaceMesh(vertices, triangles[:, [0, 2, 1]])


def shell(steps=100, around=400, wall=0.005):
    """Duct 1 m long, 0.25 m in radius, its lips 5 mm wide and sharp."""
    x = np.linspace(0.0, 1.0, steps + 1)
    inner = np.stack([x, 0 * x + 0.25 - wall], axis=1)
    return ring_body(np.concatenate([inner, [[1.0, 0.25], [0.0, 0.25]]]), around)


def round_lips(wall=0.005, around=500):
    """Duct 1 m long, 0.25 m in radius, with round lips in facets of 22.5 degrees."""
    angle, half = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 9), 0.5 * wall
    front = np.stack([half - half * np.cos(angle), 0.25 - half + half * np.sin(angle)], axis=1)
    x = np.arange(half, 1.0 - half, 0.01)[1:]
    inner, outer = (np.stack([x, 0 * x + radius], axis=1) for radius in (0.25 - wall, 0.25))
    back = front * [-1.0, 1.0] + [1.0, 0.0]
    return ring_body(np.concatenate([front[::-1], inner, back, outer[::-1]]), around)


def wing(chordwise=80, spanwise=100):
    """Rectangular wing-like body of 1 m chord, 2 m span, with a sharp trailing edge."""
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, chordwise + 1)))
    z = 0.6 * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    z[-1] = 0.0
    n = 2 * chordwise
    loop = np.concatenate([np.stack([x, -z], 1)[::-1], np.stack([x, z], 1)[1:-1]])
    span = np.linspace(-1.0, 1.0, spanwise + 1)
    vertices = np.concatenate([np.insert(loop, 1, y, axis=1) for y in span])
    row, place = (part.ravel() for part in np.indices((spanwise, n)))
    a, b = row * n + place, row * n + (place + 1) % n
    sides = np.concatenate([np.stack([a, b + n, b], 1), np.stack([a, a + n, b + n], 1)])
    low, high = np.arange(chordwise + 1), -np.arange(chordwise + 1) % n
    p, q, r, s = low[:-1], low[1:], high[:-1], high[1:]
    cap = np.concatenate([np.stack([p, q, s], 1)[:-1], np.stack([p, s, r], 1)[1:]])
    parts = [sides, cap, cap[:, [0, 2, 1]] + spanwise * n]
    return outward(vertices, np.concatenate(parts))


def bodies(quick):
    """Name, surface and wanted number of panels."""
    import trimesh

    sphere = trimesh.creation.icosphere(subdivisions=4 if quick else 6)
    ellipsoid = SurfaceMesh(sphere.vertices * [1.5, 1.0, 0.5], sphere.faces)
    block = trimesh.creation.box((2.0, 1.0, 0.8))
    yield "ellipsoid", ellipsoid, 2000 if quick else PANELS
    yield "box of 12", SurfaceMesh(block.vertices, block.faces), 2000 if quick else PANELS
    if quick:
        return
    yield "shell", shell(), PANELS
    yield "lips 2.5 mm", round_lips(), PANELS // 2
    yield "lips 5 mm", round_lips(0.01), PANELS // 2
    yield "wing", wing(), PANELS
    fine = tug(0.03, 1)
    noise = np.random.default_rng(0).normal(size=fine.vertices.shape)
    yield "rough tug", SurfaceMesh(fine.vertices + 1e-3 * noise, fine.triangles), PANELS
    yield "tug", tug(0.0225, 2), PANELS


def cp_difference(coarse, fine):
    """Rms difference of Cp on the forward third, at control points of the coarse panels."""
    from panelcp.surface.curved import curved_panels
    from panelcp.surface.panelling_kernels import nearest_many

    first, second = (solve(surface, [CONDITION]).cp[0] for surface in (coarse, fine))
    panels = curved_panels(coarse)
    normals = np.repeat(fine.normals[:, None], 3, axis=1)
    tree, order = build_tree(fine.corners, fine.normals, normals)
    found, _, _ = nearest_many(tree, panels.points.copy(), panels.normals.copy(), 0.3, np.inf)
    ahead = panels.points[:, 0] < coarse.bounds[0, 0] + coarse.size[0] / 3.0
    ahead &= found >= 0
    there = point_operator(fine, panels.points[ahead], order[found[ahead]]) @ second
    areas = panels.areas[ahead]
    return float(np.sqrt((areas * (first[ahead] - there) ** 2).sum() / areas.sum()))


def main(quick=False):
    """Print the table; give its numbers."""
    numbers = {}
    panelled(tug(0.2, 0), 1000)  # compiled before the clock runs
    print("body           triangles  panels  seconds  least  1 %   <20 deg  cross  off mm mean/max")
    for name, surface, wanted in bodies(quick):
        begin = time.perf_counter()
        panels = panelled(surface, wanted)
        seconds = time.perf_counter() - begin
        angles = least_angles(panels)
        crossing = len(meeting_pairs(panels.vertices, panels.triangles)[0])
        gap = 1e3 * distance_to(panels, surface.vertices[:: max(1, surface.n_vertices // 20000)])
        print(
            f"{name:14} {surface.n_panels:9} {panels.n_panels:7} {seconds:8.1f} "
            f"{angles.min():6.1f} {np.percentile(angles, 1):5.1f} "
            f"{100 * (angles < 20).mean():7.2f} {crossing:6} {gap.mean():8.3g} / {gap.max():.3g}"
        )
        numbers[f"{name} count"] = panels.n_panels / wanted
        numbers[f"{name} least angle"] = float(angles.min())
        numbers[f"{name} under 20"] = float((angles < 20).mean())
        numbers[f"{name} crossing"] = crossing
        numbers[f"{name} off"] = float(distance_to(surface, panels.vertices).max())
    source = tug(0.06, 1) if quick else tug(0.03, 1)
    sizes = (2000, 6000) if quick else (PANELS, REFERENCE)
    numbers["Cp rms"] = cp_difference(*(panelled(source, size) for size in sizes))
    print(f"Cp, forward third of the tug, {sizes[0]} against {sizes[1]}: {numbers['Cp rms']:.4f}")
    return numbers


if __name__ == "__main__":
    main()
