"""How long does it take to look at 50 000 pairs of inlet and exit in 2 000 sampled worlds?

Question: seconds and peak memory after the solution, of 50 inlets with 1 000 exits in 12
conditions: pressures at the openings, what is not known of them, bands and probabilities of every
pair, the ranking, the short list with its chances and ties.
Method: the shipped ellipsoid with a propeller and a wing, openings all over it, every kind of
doubt; in a process of its own, after one untimed run of a few pairs (loading and compilation).
Plain numpy works out some of the pairs from the same pressures, for time and for the difference.
Known answer: least available/needed of a world is a minimum, its deviation a plain standard
deviation, in single precision; the time goes with the number of pairs.
Command: python studies/benchmarks/bench_pairs.py
"""

import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

import numba
import numpy as np

from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.placement import bands
from panelcp.placement.choices import choices
from panelcp.placement.pair_bands import pair_bands
from panelcp.placement.ranking import opening_pressures, rank_openings
from panelcp.quantity import UncertainValue
from panelcp.surface.intake import read_surface
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder

BODY = Path(__file__).resolve().parents[2] / "geometries" / "ellipsoid" / "ellipsoid.obj"
AXES = np.array([1.5, 1.0, 0.5])
SIZES, QUICK, SMALL = (50, 1000), (4, 50), (2, 3)
CONDITIONS = 12
COMPARED = 20
SHORT_LIST = 8
TARGETS = {"seconds": "at most 10", "gigabytes": "at most 1"}


def places(n):
    """(n, 3) points spread evenly over a sphere, stretched to the ellipsoid; none near its rear."""
    k = np.arange(n) + 0.5
    x = -1.0 + 1.8 * k / n
    turn = np.pi * (1.0 + 5.0**0.5) * k
    across = np.sqrt(1.0 - x**2)
    return AXES * np.stack([x, across * np.cos(turn), across * np.sin(turn)], axis=1)


def openings(surface, n_inlets, n_exits):
    """Inlets over the front, exits behind them."""
    finder, n = SkinFinder(surface), n_inlets + n_exits
    return [
        lay_opening(
            finder, f"place {k}", place, 0.03, 0.03, use="inlet" if k < n_inlets else "exit"
        )
        for k, place in enumerate(places(n))
    ]


def conditions():
    """Twelve, of which six decide and two are on the ground."""
    flying = [
        FlightCondition(
            f"{speed} {alpha}",
            speed,
            alpha=alpha,
            beta=5.0 * (k % 2),
            power=0.2 * k,
            needed_pressure=200.0,
            decides=k % 2 == 0,
        )
        for k, (speed, alpha) in enumerate((v, a) for v in (32.0, 40.0, 55.0) for a in (0, 3, 6))
    ]
    return [
        *flying,
        FlightCondition("glide", 50.0, alpha=-3.0, needed_pressure=150.0),
        FlightCondition("run-up", ground_speed=0.0, power=1.0, decides=False),
        FlightCondition("roll", ground_speed=15.0, wind_speed=3.0, wind_from=40.0, power=1.0,
                        decides=False),
    ]  # fmt: skip


def solved(surface):
    """Solutions with propeller and wing."""
    propeller = Propeller(
        1.9, (-1.7, 0.0, 0.0), "clockwise", UncertainValue(0.8), rotational_speed=240.0
    )
    around = Surroundings(propeller, Wing(10.0, 12.0, (0.3, 0.0, -0.4), 700.0), rated_power=75e3)
    return solve_conditions(surface, conditions(), around)


def kinds(flow, forms, air, eta, groups):
    """Everything that is not known of the pressures but the air itself."""
    share = np.repeat(flow.reference_pressure[:, None], len(eta), axis=1)
    named = [(bands.MODEL, 0.1, bands.COMMON * groups), (bands.ROUGHNESS, 0.02, None)]
    named += [(bands.PANELLING, 0.01, None), ("shape", 0.02, groups)]
    return (
        *(bands.patch_kind(name, part * share, eta, common) for name, part, common in named),
        bands.mixing_kind(forms, air.patch_pressure, air.total_pressure, eta, groups),
        bands.blind_kind(flow.predicted, flow.reference_pressure, len(eta)),
    )


def samples_of(solutions, flow, laid, eta):
    """PressureSamples of the openings."""
    air, forms = opening_pressures(flow, laid, eta), bands.patch_forms(solutions, laid)
    surface, spread = flow.surface, np.where(eta > 0.0, 0.1, 0.0)
    groups = bands.region_shares(laid, np.zeros(surface.n_panels, dtype=int), 1)
    few = np.full(len(flow.conditions), 30.0)
    return bands.PressureSamples(
        openings=tuple(laid),
        conditions=flow.conditions,
        predicted=flow.predicted,
        patch=air.patch_pressure,
        head=air.total_pressure,
        recovery=eta,
        recovery_low=spread,
        recovery_high=spread,
        forms=forms,
        air=bands.UncertainAir(1.5, 3.0, 0.15, 0.15, 1.5),
        kinds=kinds(flow, forms, air, eta, groups),
        wetting=groups,
        needed_low=few,
        needed_high=few,
    )


def timed(solutions, n_inlets, n_exits):
    """Seconds of every step, and the ranking."""
    flow = solutions.flow()
    laid, clock = openings(flow.surface, n_inlets, n_exits), [time.perf_counter()]
    eta = np.where(np.arange(len(laid)) < n_inlets, 0.8, 0.0)
    samples = samples_of(solutions, flow, laid, eta)
    clock.append(time.perf_counter())
    needed = [np.nan if c.needed_pressure is None else c.needed_pressure for c in flow.conditions]
    decides = [c.decides for c in flow.conditions]
    pair_bands(samples, n_inlets, needed, decides)
    clock.append(time.perf_counter())
    recovery = [0.8] * n_inlets, [0.1] * n_inlets
    ranking = rank_openings(flow, laid[:n_inlets], laid[n_inlets:], *recovery, samples=samples)
    clock.append(time.perf_counter())
    choices(ranking, ranking.distinct(SHORT_LIST))
    clock.append(time.perf_counter())
    forms, pairs, ranked, chosen = np.diff(clock)
    return ranking, {
        "seconds": forms + ranked + chosen,
        "seconds pressures": forms,
        "seconds pairs": pairs,
        "seconds rest of the ranking": max(ranked - pairs, 0.0),
        "seconds short list": chosen,
    }


def compared(ranking):
    """Seconds of plain numpy per pair, and its greatest difference of deviations of ratios."""
    samples, found = ranking.bands.samples, ranking.bands.least_ratio_deviation[0, :COMPARED]
    n_inlets, c_deciding = len(ranking.inlets.openings), np.flatnonzero(ranking.decides)
    columns = [0, *range(n_inlets, n_inlets + len(found))]
    needed, changes = samples.needed(ranking.needed), samples.changes(columns)
    drawn = [samples.pressures(c, columns, changes) for c in range(len(samples.conditions))]
    start, plain = time.perf_counter(), []
    for k in range(1, len(columns)):
        available = np.array([behind[:, 0] - patch[:, k] for patch, behind in drawn])
        plain.append((available[c_deciding] / needed[c_deciding]).min(axis=0).std())
        _ = (available < 0.0).mean(axis=1), (available >= needed).mean(axis=1)
    seconds = (time.perf_counter() - start) / len(found)
    worst = np.abs(np.array(plain) / found - 1.0).max()
    return {"plain numpy, seconds per pair": seconds, "difference": float(worst)}


def one(n_inlets, n_exits):
    """Run one measurement in this process and print it."""
    solutions = solved(read_surface(BODY, unit="m"))
    timed(solutions, *SMALL)
    before = peak_gigabytes()
    ranking, numbers = timed(solutions, n_inlets, n_exits)
    numbers |= {"gigabytes before": before, "gigabytes": peak_gigabytes()}
    print(json.dumps(numbers | compared(ranking)))


def peak_gigabytes():
    """Peak memory of this process; where the system tells, without what its parent had."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1e6
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e9 if sys.platform == "darwin" else 1e6)


def main(quick=False):
    """Measure in a process of its own, print the table, return its numbers."""
    n_inlets, n_exits = QUICK if quick else SIZES
    print(f"{platform.machine()}, {numba.get_num_threads()} of {os.cpu_count()} threads")
    command = [sys.executable, __file__, "one", str(n_inlets), str(n_exits)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr)
    numbers = json.loads(done.stdout.splitlines()[-1])
    print(f"{n_inlets * n_exits} pairs, {CONDITIONS} conditions, {bands.SAMPLES} worlds")
    for name, value in numbers.items():
        print(f"{name:32}{value:12.3g}  {TARGETS.get(name, '')}")
    return numbers


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(*(int(word) for word in sys.argv[2:]))
    else:
        main()
