"""How long does the cooling network take for twelve conditions in 2 000 sampled worlds?

Question: seconds and peak memory for a network of three cores, 15 elements, in 24 000 worlds,
with and without buoyancy (from one start and from all).
All other work on the machine lengthens the seconds; processor seconds count this process alone.
Method: ram inlet and plenum, radiator, oil cooler and charge cooler side by side, one with its own
duct, a fan behind the radiator, leaks, one bay with an exit, a vent and a column of hot air; heat
in every core; pressures and areas drawn anew for every world. One untimed run of a few worlds.
Known answer: every world converges, mass and energy are conserved.
Command: python studies/benchmarks/bench_network.py
"""

import os
import platform
import time

import numpy as np

from panelcp.cooling.elements import Buoyancy, CoreLaw, Fan, LossCoefficient, Orifice, Resistance
from panelcp.cooling.network import Network, Node, solve_network

CONDITIONS, WORLDS, QUICK = 12, 2000, 20
BOUNDARIES = ("ram", "exit", "vent", "gap")
INNER = ("plenum", "duct", "behind radiator", "bay", "ahead of oil", "top of bay")
HEAT = {"radiator": 30e3, "oil cooler": 7e3, "charge cooler": 4e3}  # W
TARGETS = {"seconds": "at most 5"}


def spread(draw, worlds, middle):
    """Numbers with a standard deviation of a tenth."""
    return middle * np.exp(0.1 * draw.standard_normal(worlds))


def three_cores(worlds, buoyancy, seed=1):
    """Invented network of three cores."""
    draw = np.random.default_rng(seed)

    def about(middle):
        return spread(draw, worlds, middle)

    nodes = [Node(name, True) for name in BOUNDARIES] + [Node(name) for name in INNER]
    air = 1.15, 1.9e-5
    flow, rise = [0.0, 0.15, 0.25, 0.3, 0.45, 0.6], [190.0, 140.0, 150.0, 140.0, 85.0, 0.0]
    column = (
        Buoyancy("hot air", "bay", "top of bay", 0.5)
        if buoyancy
        else LossCoefficient("hot air", "bay", "top of bay", 0.5, 0.5, 0.03)
    )
    elements = [
        LossCoefficient("inlet", "ram", "plenum", about(0.15), 0.6, 0.045),
        LossCoefficient("diffuser", "plenum", "duct", about(0.2), 0.8, 0.06),
        CoreLaw("radiator", "duct", "behind radiator", about(25.0), about(3.5), 0.12, *air),
        Fan("fan", "behind radiator", "bay", flow, rise, 1.2, 2400.0, 2000.0, 4.0, 0.05),
        Orifice("round the fan", "behind radiator", "bay", 0.6, 0.02),
        LossCoefficient("oil duct", "plenum", "ahead of oil", about(0.6), 0.9, 0.012),
        CoreLaw("oil cooler", "ahead of oil", "bay", about(60.0), about(7.0), 0.02, *air),
        CoreLaw("charge cooler", "plenum", "bay", about(40.0), about(5.0), 0.015, *air),
        Orifice("leak of the plenum", "plenum", "bay", 0.6, about(0.003)),
        Orifice("leak past the radiator", "duct", "bay", 0.6, about(0.002)),
        Resistance("engine", "plenum", "bay", 100.0, about(1.5e5), 1.2),
        Orifice("exit", "bay", "exit", 0.9, about(0.05)),
        Orifice("cowl gap", "bay", "gap", 0.6, about(0.004)),
        column,
        Orifice("vent", "top of bay", "vent", 0.62, about(0.01)),
    ]
    return Network(nodes, elements)


def outside(worlds_each, seed=2):
    """(n_worlds, 4) Pa, from standing to fast flight."""
    draw = np.random.default_rng(seed)
    heads = np.repeat(np.linspace(0.0, 40.0, CONDITIONS) ** 2, worlds_each)
    parts = np.array([0.9, -0.1, -0.2, 0.1]) + 0.07 * draw.standard_normal((len(heads), 4))
    return heads[:, None] * parts + 2.0 * draw.standard_normal((len(heads), 4))


def one(worlds_each, buoyancy, starts=None):
    """Seconds, states, greatest errors and iterations of one run."""
    pressures = outside(worlds_each)
    network = three_cores(len(pressures), buoyancy)
    heads = np.repeat(np.linspace(0.3, 1.0, CONDITIONS), worlds_each)
    heat = {name: watts * heads for name, watts in HEAT.items()}
    begin = time.perf_counter(), time.process_time()
    result = solve_network(network, pressures, 303.0, heat=heat, starts=starts)
    seconds = time.perf_counter() - begin[0], time.process_time() - begin[1]
    state = result.state
    return {
        "seconds": seconds[0],
        "processor seconds": seconds[1],
        "not converged": float(np.sum(~result.converged)),
        "most iterations": float(max(s.iterations.max() for s in result.states)),
        "mean iterations": float(state.iterations.mean()),
        "most passes": float(max(s.passes.max() for s in result.states)),
        "several states": float(np.sum(result.n_states > 1)),
        "heat not carried": float(np.sum(state.heat.sum(axis=1) < 0.999 * sum(heat.values()))),
    }


def main(quick=False):
    """Measure, print the table, return its numbers."""
    worlds = QUICK if quick else WORLDS
    print(f"{platform.machine()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    print(f"15 elements, {CONDITIONS} conditions, {worlds} worlds each")
    one(3, True)
    runs = {
        "no buoyancy": one(worlds, False),
        "one start": one(worlds, True, ("at rest",)),
        "all starts": one(worlds, True),
    }
    numbers = {}
    for run, found in runs.items():
        for name, value in found.items():
            print(f"{run:14}{name:18}{value:12.4g}  {TARGETS.get(name, '')}")
            numbers[f"{run} {name}"] = value
    return numbers


if __name__ == "__main__":
    main()
