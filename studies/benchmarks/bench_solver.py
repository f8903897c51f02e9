"""How exact and how fast is the panel solver?

Question: errors of Cp against exact flows, their order in panel size, seconds and memory.
Method: bodies divided from an icosphere, vertices on the exact surface, in one case moved along it
at random; Cp at the control points put onto the surface; solver timed after one untimed call that
compiles, median of several runs; assembly of curved panels against flat ones, see
../second_order.py.
Known answer: surface velocity V - (V.n) n of an ellipsoid, V_i = 2 U_i / (2 - alpha_i)
(H. Lamb, Hydrodynamics, 6th ed., 1932, Arts. 111-115; from memory).
Command: python studies/benchmarks/bench_solver.py
"""

import importlib.util
import os
import platform
import statistics
import sys
import time
from pathlib import Path

import numba
import numpy as np

from panelcp.panels.solving import solve_units
from panelcp.surface.curved import curved_panels


def _study(name):
    path = Path(__file__).parent.parent / name
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


study = _study("second_order.py")
SPHERE, ELLIPSOID = (1.0, 1.0, 1.0), (3.0, 2.0, 1.0)
TARGETS = {
    "sphere rms": 0.0005,
    "sphere max": 0.0015,
    "spheroid 4:1 rms": 0.0015,
    "3:2:1 rms": 0.0006,
    "3:2:1 max": 0.003,
    "3:2:1 jittered rms": 0.0010,
    "order": 1.8,
    "assembly ratio": 2.2,
}
"""For 5120 panels; at most, the order at least. Stream at alpha 8, beta 5 deg."""

RUNS = 5


def cp_errors(axes, level, jitter=0.0):
    """(n_panels,) error of Cp."""
    units = solve_units(study.body(axes, level, jitter))
    velocity = np.einsum("u,uni->ni", study.STREAM, units.velocity)
    found = 1.0 - (velocity**2).sum(axis=1) / (study.STREAM @ study.STREAM)
    return found - study.exact_cp(axes, units.panels.points)


def rms(errors):
    """Root of the mean square."""
    return float(np.sqrt(np.mean(errors**2)))


def assembly_ratio(axes, level, runs):
    """Time to assemble the near field of curved panels over that of flat ones, least of runs."""
    surface = study.body(axes, level)
    flat, curved = study.flat_panels(surface), curved_panels(surface)
    least = [
        min(study.solved(surface, panels)[1] for _ in range(runs)) for panels in (flat, curved)
    ]
    return least[1] / least[0]


def accuracy(level, runs):
    """Numbers named as in TARGETS, on bodies of 20 * 4**level panels."""
    numbers = {}
    for name, (axes, jitter) in study.BODIES.items():
        errors = cp_errors(axes, level, jitter)
        numbers |= {f"{name} rms": rms(errors), f"{name} max": float(np.abs(errors).max())}
    numbers["spheroid 4:1 rms"] = rms(cp_errors((4.0, 1.0, 1.0), level))
    coarse = [rms(cp_errors(ELLIPSOID, k)) for k in (level - 2, level - 1, level)]
    numbers["order"] = float(-np.polyfit(range(3), np.log2(coarse), 1)[0])
    numbers["assembly ratio"] = assembly_ratio(ELLIPSOID, level, runs)
    return numbers


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
    surface, taken = study.body(axes, level), []
    for _ in range(runs):
        curved_panels.cache_clear()
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
    solve_units(study.body(SPHERE, 1))  # compiles
    numbers = {}
    for level in range(2, finest + 1):
        n_panels = 20 * 4**level
        numbers[f"seconds {n_panels}"] = seconds(ELLIPSOID, level, runs)
        print(
            f"n_panels={n_panels}: {numbers[f'seconds {n_panels}']:.3f} s (median of {runs}), "
            f"peak memory of the process {peak_memory():.0f} MB"
        )
    numbers |= accuracy(finest, runs)
    print(f"Cp with {20 * 4**finest} panels (targets are for 5120):")
    for name, target in TARGETS.items():
        at_least = name == "order"
        kept = numbers[name] >= target if at_least else numbers[name] <= target
        print(
            f"  {name}: {numbers[name]:.5f} (target {'>=' if at_least else '<='} {target}: "
            f"{'kept' if kept else 'missed'})"
        )
    return numbers


if __name__ == "__main__":
    main()
