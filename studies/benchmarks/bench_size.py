"""How do time and memory of a whole solution grow with the number of panels?

Question: seconds and peak memory from mesh arrays to Cp in 12 conditions, against the number of
panels; against numpy.linalg.solve on a dense system of the same size; against one evaluation of
potential and gradient of as many point charges by the general-purpose library fmm3dpy.
Method: the shipped glider tug lofted ever finer and solved as a whole (no use of its symmetry);
every size in a process of its own, one untimed small solution first (loading and compilation).
The dense system and ours up to 10 000 panels are the median of three runs. Ratios are between
processes of one run of this script.
Known answer: a dense solution grows with the cube, a direct sum with the square, a tree about in
proportion.
Command: python studies/benchmarks/bench_size.py [panels ...]
"""

import json
import os
import platform
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from panelcp.flow.superposition import superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.panels import farfield
from panelcp.panels.solving import solve_units
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.stations import loft_stations, read_stations

TUG = Path(__file__).resolve().parents[2] / "geometries" / "glider_tug" / "stations.csv"
RUNS = 3
MOST_REPEATED = 10000
SIZES = (10000, 20000, 25000, 50000, 100000)
TARGETS = {
    "dense solve / ours at 10000": "at least 10 (aim 20)",
    "seconds 20000": "at most 8",
    "gigabytes 20000": "at most 1.5",
    "seconds 100000": "at most 60 (aim 30)",
    "gigabytes 100000": "at most 4",
    "growth exponent": "at most 1.25",
    "ours / fmm3dpy at 100000": "at most 12",
}


def tug(n_panels):
    """The tug with about so many panels, to be solved as a whole."""
    table = read_stations(TUG)
    length = 0.06 * np.sqrt(9300 / n_panels)
    for _ in range(3):
        surface = loft_stations(table, panel_length=length)
        length *= np.sqrt(surface.n_panels / n_panels)
    return surface.unmirrored()


def conditions():
    """Twelve conditions."""
    return [
        FlightCondition(f"{alpha} {beta}", 35.0, alpha=alpha, beta=beta)
        for alpha in (-2.0, 2.0, 5.0, 8.0)
        for beta in (-8.0, 0.0, 8.0)
    ]


def warm_up():
    """Load and compile everything that is timed, the tree included."""
    small, usual = tug(500), farfield.DIRECT_PAIRS
    superpose(solve_units(small), conditions())
    farfield.DIRECT_PAIRS = 0.0
    solve_units(small)
    farfield.DIRECT_PAIRS = usual


def ours(n_panels, runs=RUNS):
    """Seconds and iterations of one whole solution, median of the runs for small ones."""
    surface, seconds = tug(n_panels), []
    for _ in range(runs if n_panels <= MOST_REPEATED else 1):
        # arrays only: nothing that the loft or an earlier run may have worked out already
        surface = SurfaceMesh(np.array(surface.vertices), np.array(surface.triangles))
        start = time.perf_counter()
        units = solve_units(surface)
        cp = superpose(units, conditions()).cp
        seconds.append(time.perf_counter() - start)
        assert np.isfinite(cp).all()
    return {
        "seconds": statistics.median(seconds),
        "iterations": units.iterations,
        "panels": surface.n_panels,
    }


def dense(n, runs=RUNS):
    """Seconds of numpy.linalg.solve on a dense system, median of the runs."""
    draw, seconds = np.random.default_rng(20), []
    matrix, right = draw.normal(size=(n, n)), draw.normal(size=(n, 3))
    matrix[np.arange(n), np.arange(n)] += n
    for _ in range(runs):
        start = time.perf_counter()
        np.linalg.solve(matrix, right)
        seconds.append(time.perf_counter() - start)
    return {"seconds": statistics.median(seconds)}


def charges(n_panels, runs=RUNS):
    """Seconds of one evaluation of potential and gradient by fmm3dpy at eps 1e-3, best of all."""
    import fmm3dpy

    points = np.asfortranarray(tug(n_panels).centroids.T)
    strength = np.random.default_rng(21).normal(size=points.shape[1])
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        fmm3dpy.lfmm3d(eps=1e-3, sources=points, charges=strength, pg=2)
        seconds.append(time.perf_counter() - start)
    return {"seconds": min(seconds)}


def one(kind, size, runs):
    """Run one measurement in this process and print it."""
    if kind == "ours":
        warm_up()
    result = {"ours": ours, "dense": dense, "charges": charges}[kind](size, runs)
    result["gigabytes"] = peak_gigabytes()
    print(json.dumps(result))


def peak_gigabytes():
    """Peak memory of this process; where the system tells, without what its parent had."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1e6
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e9 if sys.platform == "darwin" else 1e6)


def measured(kind, size, runs):
    """The same in a process of its own; None where its library is missing."""
    command = [sys.executable, __file__, "one", kind, str(size), str(runs)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode and "No module named 'fmm3dpy'" in done.stderr:
        return None
    if done.returncode:
        raise RuntimeError(done.stderr)
    return json.loads(done.stdout.splitlines()[-1])


def main(quick=False, sizes=SIZES):
    """Print the table and the ratios; returns the numbers.

    quick: small sizes, each once.
    """
    sizes, runs = ((1000, 2000), 1) if quick else (sizes, RUNS)
    print(f"{platform.machine()}, {os.cpu_count()} processors, numpy {np.__version__}")
    numbers = {}
    for size in sizes:
        row = measured("ours", size, runs)
        numbers |= {f"seconds {size}": row["seconds"], f"gigabytes {size}": row["gigabytes"]}
        print(
            f"{row['panels']:>7} panels  {row['seconds']:7.2f} s  {row['gigabytes']:5.2f} GB peak  "
            f"{row['iterations']} iterations",
            flush=True,
        )
    first, last = sizes[-min(3, len(sizes))], sizes[-1]
    growth = numbers[f"seconds {last}"] / numbers[f"seconds {first}"]
    numbers["growth exponent"] = float(np.log(growth) / np.log(last / first))
    dense_size = sizes[0]
    lu = measured("dense", dense_size, runs)
    label = f"dense solve / ours at {dense_size}"
    numbers[label] = lu["seconds"] / numbers[f"seconds {dense_size}"]
    fast = measured("charges", last, runs)
    if fast is None:
        print("fmm3dpy is not installed: its ratio is left out")
    else:
        numbers[f"ours / fmm3dpy at {last}"] = numbers[f"seconds {last}"] / fast["seconds"]
    for name, value in numbers.items():
        print(f"{name:32} {value:9.3f}  {TARGETS.get(name, '')}")
    return numbers


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        main(sizes=tuple(int(word) for word in sys.argv[1:]) or SIZES)
