"""What do bands, boundary layers, states of the skin and exit air cost on the tug?

Question: seconds for 2 000 worlds at 50 openings in 12 conditions (pressures in front and behind of
all of them), for the boundary layers under all openings and candidates, for the states of the rest
of the skin ahead of STA 2000 mm, for the pocket's edges, and for the exit air of eight exits.
Method: the shipped glider tug with propeller, wing and ground, as it is solved in its case (9 300
panels); the first 12 of its conditions; everything loaded and compiled by one untimed pass; median
of three. Process seconds count both threads, so they say more where other programs run.
Known answer: none; the layers and states of all 15 conditions should take at most 5 s on two cores
that have nothing else to do.
Command: python studies/benchmarks/bench_bands.py
"""

import os
import platform
import statistics
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from panelcp.case.deviations import inlets_and_exits, sampled_pressures
from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.flow.pocket_edges import pocket_edges
from panelcp.flow.skin_layers import separation_change, whole_skin
from panelcp.flow.solutions import solve_conditions
from panelcp.placement.exit_air import exit_air, targets_of
from panelcp.placement.layers_at_openings import layers_at_openings, recovery_shares, skin_under

TUG = Path(__file__).resolve().parents[2] / "geometries" / "glider_tug" / "case.toml"
RUNS = 3
COUNT, PLACES, EXITS = 12, 50, 8
LAST = 2.0  # m, station up to which the skin is shown


def timed(work, runs):
    """Median seconds, median process seconds and the result of `work`.

    One run alone is timed with all that it loads and compiles; before several one is not timed.
    """
    wall, process = [], []
    if runs > 1:
        work()
    for _ in range(runs):
        start, busy = time.perf_counter(), time.process_time()
        result = work()
        wall.append(time.perf_counter() - start)
        process.append(time.process_time() - busy)
    return statistics.median(wall), statistics.median(process), result


def sampled(prepared, solutions, flow, layers, places):
    """Pressures of all worlds at some places in every condition."""
    few = replace(prepared, openings=tuple(places), searches=())
    inlets, exits = inlets_and_exits(few)
    openings = [*inlets, *exits]
    share = recovery_shares(layers, openings)
    samples = sampled_pressures(few, solutions, flow, np.zeros(share.shape), share)
    changes = samples.changes(range(len(openings)))
    return [
        samples.pressures(c, np.arange(len(openings)), changes)[0].std()
        for c in range(len(flow.conditions))
    ]


def main(quick=False):
    """Time every part, print the table, return its numbers.

    quick: three conditions, places of the first search only, one run.
    """
    print(f"{platform.machine()}, {os.cpu_count()} cores, python {platform.python_version()}")
    case, runs = read_case(TUG), 1 if quick else RUNS
    case = replace(case, conditions=case.conditions[: 3 if quick else COUNT])
    case = replace(case, searches=case.searches[: 1 if quick else None])
    prepared = prepare_case(case)
    surface = prepared.surface
    solutions = solve_conditions(surface, case.conditions, case.surroundings)
    flow, streams = solutions.flow(), solutions.mean_streams
    places = [*prepared.openings, *prepared.candidates]
    turbulent, shown = flow.mean_rise > 0.0, surface.centroids[:, 0] < LAST
    exits = [opening for opening in places if opening.lets_air_out][:EXITS]
    targets = targets_of(surface, prepared.openings)
    found, numbers = {}, {}
    found["boundary layers"] = timed(lambda: skin_under(flow, places, streams), runs)
    layers = found["boundary layers"][2]
    found["states of the skin"] = timed(
        lambda: whole_skin(flow, turbulent, layers, shown, streams), runs
    )
    skin = found["states of the skin"][2]
    found["change of pressure"] = timed(lambda: separation_change(flow, skin, streams), runs)
    found["layers at openings"] = timed(lambda: layers_at_openings(layers, places), runs)
    found["edges of the pocket"] = timed(lambda: pocket_edges(flow, turbulent, streams), runs)
    found["exit air"] = timed(lambda: exit_air(flow, exits, targets), runs)
    found["2 000 worlds"] = timed(
        lambda: sampled(prepared, solutions, flow, layers, places[:PLACES]), runs
    )
    print(
        f"{len(flow.conditions)} conditions, {surface.n_panels} panels ({shown.sum()} shown), "
        f"{len(layers.panels)} under {len(places)} places, {len(exits)} exits, "
        f"{len(places[:PLACES])} openings sampled, {skin.lines.sum()} lines for the states"
    )
    for name, (wall, process, _) in found.items():
        print(f"{name:24}{wall:8.2f} s{process:8.2f} process seconds")
        numbers[name] = wall
        numbers[f"{name}, process"] = process
    return numbers


if __name__ == "__main__":
    main()
