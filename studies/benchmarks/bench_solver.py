"""How exact and how fast is the panel solver?

Question: errors of Cp against exact flows, their order in panel size, seconds and memory.
Method: bodies divided from an icosphere, vertices on the exact surface; Cp at the centroids put
onto it; solver timed after one untimed call that compiles, median of several runs.
Known answer: surface velocity V - (V.n) n of an ellipsoid, V_i = 2 U_i / (2 - alpha_i)
(H. Lamb, Hydrodynamics, 6th ed., 1932, Arts. 111-115; from memory).
Command: python studies/benchmarks/bench_solver.py
"""

import os
import platform
import statistics
import sys
import time

import numba
import numpy as np
import trimesh
from scipy.special import elliprd

from panelcp.panels.solving import solve_units
from panelcp.surface.mesh import SurfaceMesh

SPHERE, SPHEROID, ELLIPSOID = (1.0, 1.0, 1.0), (4.0, 1.0, 1.0), (3.0, 2.0, 1.0)
AXIAL = np.array([1.0, 0.0, 0.0])
GENERAL = np.array([0.986500, -0.087156, 0.138644])  # alpha 8, beta 5 deg
TARGETS = {"sphere max": 0.010, "sphere rms": 0.003, "spheroid rms": 0.0015, "order": 0.9}
RUNS = 5


def body(axes, level):
    """Ellipsoid of 20 * 4**level panels."""
    mesh = trimesh.creation.icosphere(subdivisions=level)
    unit = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1, keepdims=True)
    return SurfaceMesh(unit * axes, mesh.faces)


def exact_cp(axes, stream, points):
    """Cp of an ellipsoid where the points, moved along the gradient, meet it."""
    a, b, c = square = np.square(axes)
    factor = 2.0 / 3.0 * np.prod(axes)
    alphas = factor * np.array([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)])
    for _ in range(3):
        gradient = 2.0 * points / square
        excess = (points**2 / square).sum(axis=1, keepdims=True) - 1.0
        points = points - excess * gradient / (gradient**2).sum(axis=1, keepdims=True)
    normal = points / square
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    inner = 2.0 * stream / (2.0 - alphas)
    velocity = inner - (normal @ inner)[:, None] * normal
    return 1.0 - (velocity**2).sum(axis=1) / (stream @ stream)


def cp_errors(axes, stream, level):
    """(n_panels,) error of Cp."""
    units = solve_units(body(axes, level))
    velocity = np.einsum("u,uni->ni", stream, units.velocity)
    found = 1.0 - (velocity**2).sum(axis=1) / (stream @ stream)
    return found - exact_cp(axes, stream, units.surface.centroids)


def rms(errors):
    """Root of the mean square."""
    return float(np.sqrt(np.mean(errors**2)))


def accuracy(level):
    """Numbers named as in TARGETS, on bodies of 20 * 4**level panels."""
    sphere = cp_errors(SPHERE, AXIAL, level)
    coarse = [rms(cp_errors(ELLIPSOID, GENERAL, k)) for k in (level - 2, level - 1, level)]
    return {
        "sphere max": float(np.abs(sphere).max()),
        "sphere rms": rms(sphere),
        "spheroid rms": rms(cp_errors(SPHEROID, AXIAL, level)),
        "order": float(-np.polyfit(range(3), np.log2(coarse), 1)[0]),
    }


def peak_memory():
    """MB of this process so far; nan where the system does not say."""
    try:
        import resource
    except ImportError:
        return float("nan")
    unit = 1.0 if sys.platform == "darwin" else 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def seconds(axes, level, runs):
    """Median time of all unit flows of one body."""
    surface, taken = body(axes, level), []
    for _ in range(runs):
        start = time.perf_counter()
        solve_units(surface)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main(quick=False):
    """Print the table; return its numbers by name."""
    finest, runs = (3, 1) if quick else (4, RUNS)
    print(
        f"{numba.get_num_threads()} threads, {os.cpu_count()} processors, {platform.machine()}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, numba {numba.__version__}"
    )
    solve_units(body(SPHERE, 1))  # compiles
    numbers = {}
    for level in range(2, finest + 1):
        n_panels = 20 * 4**level
        numbers[f"seconds {n_panels}"] = seconds(ELLIPSOID, level, runs)
        print(
            f"n_panels={n_panels}: {numbers[f'seconds {n_panels}']:.3f} s (median of {runs}), "
            f"peak memory of the process {peak_memory():.0f} MB"
        )
    numbers |= accuracy(finest)
    print(f"Cp with {20 * 4**finest} panels (targets are for 5120):")
    for name, target in TARGETS.items():
        at_least = name == "order"
        kept = numbers[name] >= target if at_least else numbers[name] <= target
        print(
            f"  {name}: {numbers[name]:.4f} (target {'>=' if at_least else '<='} {target}: "
            f"{'kept' if kept else 'missed'})"
        )
    return numbers


if __name__ == "__main__":
    main()
