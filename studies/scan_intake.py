"""Does a rough scan of one side become the body it was taken of?

Question: a phone scan (invented) of the glider tug shows the right side and 3 cm across the centre
line: a third of a million triangles or more, noise of 2 mm, holes, an edge ragged by 8 mm, turned
and moved at random, its scale wrong by 1.3 %. How near is the closed surface that comes out to the
truth, how well is the plane of symmetry found, and how long does it take?
Method: the lofted tug is divided finely and spoilt. It is scaled by one taped length, its plane of
symmetry is found from the edge alone, and again by matching both sides of the overlap; it is
smoothed (and reduced where it is finer than that needs), laid to the plane, cut to a right half,
its holes are closed, and it is reduced again and panelled. The taped points are known to 3 mm; the
turn and shift within the plane, which nothing here finds, are taken out before the distances are
measured.
Known answer: the tug before it was spoilt.
Command: python studies/scan_intake.py
"""

import time
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from panelcp.surface.checking import check_surface
from panelcp.surface.closing import closed_openings
from panelcp.surface.mesh import mirrored_whole
from panelcp.surface.panelling import panelled
from panelcp.surface.scanning import reduced, scaled_to_tape, without_unused
from panelcp.surface.smoothing import smoothed, vertex_normals
from panelcp.surface.stations import loft_stations, read_stations
from panelcp.surface.symmetry import (
    cut_to_half,
    laid_to_plane,
    symmetry_plane_from_both_sides,
    symmetry_plane_from_edge,
)

TABLE = Path(__file__).parent.parent / "geometries" / "glider_tug" / "stations.csv"
NOISE = 0.002  # m, each coordinate
ACROSS = 0.03  # m
RAGGED = 0.008  # m
SCALE = 1.013  # of the scan, against the truth
HOLES = 25
DIVISIONS = 2
MARKED = 0.003  # m, error of the taped points


def truth(panel_length):
    """The tug, whole, as it was lofted."""
    return loft_stations(read_stations(TABLE), panel_length, aft=1.0)


def divided(vertices, triangles, times):
    """Every triangle into four, the new vertices on a curved skin through the old ones."""
    for _ in range(times):
        normals = vertex_normals(vertices, triangles)
        ends = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        edges, index = np.unique(ends, axis=0, return_inverse=True)
        a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
        rise = ((b - a) * normals[edges[:, 0]]).sum(1, keepdims=True) * normals[edges[:, 0]]
        fall = ((a - b) * normals[edges[:, 1]]).sum(1, keepdims=True) * normals[edges[:, 1]]
        sharp = (normals[edges[:, 0]] * normals[edges[:, 1]]).sum(1, keepdims=True) < 0.9
        middle = 0.5 * (a + b) - np.where(sharp, 0.0, (rise + fall) / 8.0)
        p, q, r = (index.reshape(-1, 3) + len(vertices)).T
        i, j, k = triangles.T
        parts = [(i, p, r), (p, j, q), (r, q, k), (p, q, r)]
        triangles = np.concatenate([np.stack(part, axis=1) for part in parts])
        vertices = np.vstack([vertices, middle])
    return vertices, triangles


def spoilt(vertices, triangles, random):
    """The scan, and the turn and shift that were given to it."""
    middle = vertices[triangles].mean(axis=1)
    wave = random.uniform(-1.0, 1.0, (3, 12))
    along = middle[:, [0]] * np.linspace(8.0, 60.0, 12) + middle[:, [2]] * 31.0 + 9.0 * wave[0]
    edge = -ACROSS + RAGGED * (np.sin(along) @ wave[1]) / 2.5
    kept = middle[:, 1] > edge
    for centre in middle[random.choice(np.flatnonzero(middle[:, 1] > 0.08), HOLES)]:
        kept &= np.linalg.norm(middle - centre, axis=1) > random.uniform(0.01, 0.03)
    vertices, triangles = without_unused(vertices, triangles[kept])
    vertices = vertices + NOISE * random.normal(size=vertices.shape)
    turn = Rotation.from_euler("zyx", random.uniform(-40.0, 40.0, 3), degrees=True).as_matrix()
    shift = random.uniform(-2.0, 2.0, 3)
    return SCALE * (vertices @ turn.T + shift), triangles, turn, shift


def plane_errors(plane, turn, shift):
    """Angle, deg, and greatest distance, mm, over the body, from the true plane of symmetry."""
    angle = np.degrees(np.arccos(min(1.0, abs(plane.normal @ turn[:, 1]))))
    corners = np.array([[x, 0.0, z] for x in (-0.33, 6.7) for z in (-0.5, 0.8)])
    away = np.abs(plane.distances(corners @ turn.T + shift))
    return float(angle), float(away.max() * 1e3)


def in_plane(points, marks, wanted):
    """Points turned about y and moved in x and z so that marks come to where they are wanted."""
    a, b = marks[:, [0, 2]], wanted[:, [0, 2]]
    u, _, v = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    result = points.copy()
    result[:, [0, 2]] = (points[:, [0, 2]] - a.mean(0)) @ (u @ v) + b.mean(0)
    return result


def distances(points, vertices, triangles):
    """Distance, mm, of points from the truth, along its normals at the nearest vertex."""
    normals = vertex_normals(vertices, triangles)
    _, index = cKDTree(vertices).query(points)
    return 1e3 * ((points - vertices[index]) * normals[index]).sum(axis=1)


def main(quick=False):
    """Print every step; return errors, mm and deg, and seconds."""
    random = np.random.default_rng(8)
    whole = truth(0.08 if quick else 0.02)
    true_points, true_triangles = divided(whole.vertices, whole.triangles, DIVISIONS)
    points, triangles, turn, shift = spoilt(true_points, true_triangles, random)
    print(f"scan of {len(triangles)} triangles")
    numbers, clock = {"triangles": float(len(triangles))}, time.perf_counter()

    def told(step, notes):
        nonlocal clock
        now = time.perf_counter()
        numbers[f"seconds {step}"] = now - clock
        print(f"{step}: {now - clock:.2f} s", *notes, sep="\n    ")
        clock = time.perf_counter()

    ends = whole.vertices[[whole.vertices[:, 0].argmin(), whole.vertices[:, 0].argmax()]]
    marks = SCALE * (ends @ turn.T + shift) + MARKED * random.normal(size=(2, 3))
    length = float(np.linalg.norm(ends[1] - ends[0]))
    before = points[0].copy()
    points, triangles, notes = scaled_to_tape(points, triangles, *marks, length)
    factor = np.linalg.norm(points[0]) / np.linalg.norm(before)
    numbers["scale error"] = abs(factor * SCALE - 1.0)
    told("scale", notes)
    points, triangles, notes = smoothed(points, triangles, 0.008)
    told("smooth", notes)
    edge = symmetry_plane_from_edge(points, triangles, 0.02, ACROSS)
    told("plane from edge", edge.lines())
    plane = symmetry_plane_from_both_sides(points, triangles, edge)
    told("plane from both sides", plane.lines())
    for name, fit in (("edge", edge), ("both sides", plane)):
        angle, away = plane_errors(fit, turn, factor * SCALE * shift)
        numbers |= {f"{name} angle": angle, f"{name} distance": away}
        print(f"plane from {name}: {angle:.3f} deg and up to {away:.2f} mm from the true one")
    marked = whole.vertices[:: max(1, whole.n_vertices // 500)]
    skin = np.vstack([points, factor * SCALE * (marked @ turn.T + shift)])
    skin, triangles, notes = laid_to_plane(skin, triangles, plane, turn[:, 0], turn[:, 2])
    points = in_plane(skin[: len(points)], skin[len(points) :], marked)
    told("lay to plane", notes)
    points, triangles, notes = cut_to_half(points, triangles, "right", 0.012)
    told("cut", notes)
    cut_points = points
    points, triangles, notes = closed_openings(points, triangles)
    told("close holes", [f"{len(notes)} holes closed; the last: {notes[-1]}"])
    points, triangles, notes = reduced(points, triangles, len(triangles) // 2)
    told("reduce", notes)
    surface = panelled(mirrored_whole(points, triangles), 2000 if quick else 16000)
    checked = check_surface(surface)
    told("panel", checked.lines())
    results = {"cut": cut_points, "reduced": points, "panelled": surface.vertices}
    for name, found in results.items():
        off = distances(found, true_points, true_triangles)
        numbers |= {f"{name} rms": float(np.sqrt(np.mean(off**2))), f"{name} mean": off.mean()}
        numbers[f"{name} 99 %"] = float(np.quantile(np.abs(off), 0.99))
        print(
            f"{name}: {numbers[f'{name} rms']:.2f} mm rms from the truth, mean {off.mean():+.3f}, "
            f"99 % within {numbers[f'{name} 99 %']:.2f}, at most {np.abs(off).max():.1f} mm"
        )
    total = sum(value for name, value in numbers.items() if name.startswith("seconds"))
    print(f"{total:.1f} s in all")
    return numbers | {"seconds": total}


if __name__ == "__main__":
    main()
