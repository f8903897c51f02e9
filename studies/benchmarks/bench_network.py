"""How long does the cooling network take for twelve conditions in 2 000 sampled worlds?

Question: seconds and peak memory for a network of three cores, 17 elements, in 24 000 worlds: near
the central states of their conditions, from rest, and with buoyancy (from one start and from all).
All other work on the machine lengthens the seconds; processor seconds count this process alone.
Method: two inlets with lips; a plenum that feeds oil cooler and charge cooler; the radiator behind
the other inlet, with a fan that runs in the four conditions on the ground and doors beside it that
ram air opens; leaks; one bay with exit, flap and flush vent. Heat of the cores by their duties.
Pressures, losses, discharge coefficients, conductances and heat drawn anew for every world. One
untimed run of a few worlds.
Known answer: every world converges, heat goes out with the air; near the central states the
flows are those found from rest.
Command: python studies/benchmarks/bench_network.py
"""

import os
import platform
import time

import numpy as np

from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.elements import Buoyancy, Fan, LossCoefficient, Orifice
from panelcp.cooling.flow_elements import (
    FlushVent,
    HeatedCore,
    InletEntry,
    Losses,
    OneWayFlap,
    StraightDuct,
)
from panelcp.cooling.heat import CoreDuty, heat_to_air
from panelcp.cooling.network import HEAT_CAPACITY, Network, Node, solve_network

CONDITIONS, WORLDS, QUICK = 12, 2000, 20
BOUNDARIES = ("left ram", "right ram", "exit", "flap", "slot")
INNER = ("left lip", "plenum", "oil duct", "charge duct", "right lip", "right duct",
         "behind radiator", "bay", "top of bay")  # fmt: skip
TARGETS = {"seconds": "at most 5"}
# invented: speed of the air and of the fan, and share of full power, by condition
SPEED = np.array([2.0, 5.0, 9.0, 14.0, *np.linspace(28.0, 62.0, 8)])
FAN_SPEED = np.array([1.0] * 4 + [0.0] * 8)
OUTSIDE = np.linspace(311.0, 290.0, CONDITIONS)  # K
POWER = np.array([0.15, 0.25, 0.3, 0.5, 1.0, 1.0, 0.9, 0.75, 0.75, 0.65, 0.3, 0.1])
CURVE = [0.0, 0.15, 0.25, 0.3, 0.45, 0.6], [190.0, 140.0, 150.0, 140.0, 85.0, 0.0]


class Draws:
    """Numbers of every world round those of its condition; central ones without samples."""

    def __init__(self, worlds_each):
        self._draw = np.random.default_rng(1)
        self.condition = np.repeat(np.arange(CONDITIONS), max(worlds_each, 1))
        self._sampled = 1.0 if worlds_each else 0.0

    def normal(self, size=1.0):
        """Deviations, one per world."""
        return self._sampled * size * self._draw.standard_normal(len(self.condition))

    def about(self, middle, size=0.1):
        """Numbers round one."""
        return middle * np.exp(self.normal(size))

    def each(self, numbers):
        """Numbers of the conditions."""
        return np.asarray(numbers)[self.condition]


def three_cores(draws, buoyancy):
    """Invented network of three cores."""
    about, speed = draws.about, draws.each(SPEED)
    nodes = [Node(name, True) for name in BOUNDARIES] + [Node(name) for name in INNER]
    air = 1.2, 1.8e-5, 0.75

    def core(name, start, end, linear, quadratic, area):
        return HeatedCore(name, start, end, linear, quadratic, area, *air, about(1.0))

    def inlet(name, start, end, area):
        share = np.clip(0.4 + draws.normal(0.2), 0.0, 1.0)
        return InletEntry(name, start, end, area, speed, share, 6.0, 0.2, about(0.6, 0.05))

    def losses(name, start, end, head):
        return Losses(name, start, end, about(head), about(2.0 * head))

    top = ("bay", "top of bay")
    column = (
        Buoyancy("hot air", *top, 0.5)
        if buoyancy
        else LossCoefficient("hot air", *top, 0.5, 0.5, 0.03)
    )
    elements = [
        inlet("left inlet", "left ram", "left lip", 0.012),
        losses("left diffuser", "left lip", "plenum", 0.25 / 0.012**2),
        losses("oil duct", "plenum", "oil duct", 0.5 / 0.012**2),
        core("oil cooler", "oil duct", "bay", 60.0, 7.0, 0.025),
        StraightDuct(
            "charge duct", "plenum", "charge duct", 0.6, 0.09, 0.0064, 1e-4, None, draws.normal()
        ),
        core("charge cooler", "charge duct", "bay", 40.0, 5.0, 0.03),
        Orifice("leak of the plenum", "plenum", "bay", 0.6, about(0.001, 0.4)),
        inlet("right inlet", "right ram", "right lip", 0.02),
        losses("right diffuser", "right lip", "right duct", 0.3 / 0.02**2),
        core("radiator", "right duct", "behind radiator", 25.0, 3.5, 0.12),
        Fan("fan", "behind radiator", "bay", *CURVE, 1.2, 1.0, draws.each(FAN_SPEED),
            about(4.0, 0.3), 0.05),
        OneWayFlap("doors", "behind radiator", "bay", 0.6, 0.03, 0.02),
        Orifice("leak past the radiator", "right duct", "bay", 0.6, about(0.002, 0.4)),
        Orifice("exit", "bay", "exit", about(0.9, 0.03), 0.03),
        Orifice("flap", "bay", "flap", about(0.85, 0.08), 0.015),
        column,
        FlushVent("slot", "top of bay", "slot", 0.006, speed, 0.62, draws.normal()),
    ]  # fmt: skip
    return Network(nodes, elements)


def duties(draws):
    """Invented heat of the three cores."""
    heat = draws.each(POWER) * draws.about(1.0, 0.08)

    def law(watts, flow, other):
        return ConductanceLaw(draws.about(watts), flow, other)

    hot = 318.0 + 45.0 * draws.each(POWER)
    return {
        "radiator": CoreDuty("radiator", 1.5, 3600.0, law(1100.0, 1.0, 1.5), heat=42e3 * heat),
        "oil cooler": CoreDuty("oil cooler", 0.3, 2000.0, law(150.0, 0.2, 0.3), heat=7e3 * heat),
        "charge cooler": CoreDuty(
            "charge cooler", 0.02 + 0.07 * draws.each(POWER), 1005.0, law(140.0, 0.2, 0.08),
            hot_inlet=hot,
        ),
    }  # fmt: skip


def outside(draws):
    """(n_worlds, 5) Pa, from standing to fast flight."""
    head = 0.55 * draws.each(SPEED) ** 2
    middles = 0.93, 0.9, -0.12, -0.3, -0.15
    return np.stack([head * (m + draws.normal(0.07)) + draws.normal(2.0) for m in middles], axis=1)


def solved(draws, buoyancy, **more):
    """Result of the network in the worlds that were drawn."""
    heat = {name: heat_to_air(duty) for name, duty in duties(draws).items()}
    network, temperature = three_cores(draws, buoyancy), draws.each(OUTSIDE)
    return solve_network(network, outside(draws), temperature, heat=heat, **more)


def energy_error(network, state, outside):
    """Greatest heat that came less what air carries out, as a share of what came."""
    gone = -state.heat.sum(axis=1)
    for e, pair in enumerate(network.ends):
        for node, sign in zip(pair, (-1.0, 1.0), strict=True):
            if network.nodes[node].boundary:
                out = sign * state.mass_flow[:, e]
                warmth = np.where(
                    out > 0.0, state.outlet_temperature[:, e], state.inlet_temperature[:, e]
                )
                gone = gone + out * HEAT_CAPACITY * (warmth - outside)
    return float(np.max(np.abs(gone) / np.maximum(state.heat.sum(axis=1), 1.0)))


def one(worlds_each, buoyancy, starts=None, near=False):
    """Seconds, states, greatest errors and iterations of one run, and its flows."""
    draws = Draws(worlds_each)
    begin = time.perf_counter(), time.process_time()
    first = {"starts": starts}
    if near:
        first = {
            "first": solved(Draws(0), buoyancy, starts=starts).state,
            "first_worlds": draws.condition,
        }
    result = solved(draws, buoyancy, **first)
    seconds = time.perf_counter() - begin[0], time.process_time() - begin[1]
    state = result.state
    return {
        "seconds": seconds[0],
        "processor seconds": seconds[1],
        "not converged": float(np.sum(~result.converged)),
        "most iterations": float(max(s.iterations.max() for s in result.states)),
        "mean iterations": float(state.iterations.mean()),
        "most passes": float(max(s.passes.max() for s in result.states)),
        "mean passes": float(state.passes.mean()),
        "several states": float(np.sum(result.n_states > 1)),
        "reversed": float(np.sum(result.reversed.any(axis=1))),
        "energy": energy_error(result.network, state, draws.each(OUTSIDE)),
    }, state.mass_flow


def main(quick=False):
    """Measure, print the table, return its numbers."""
    worlds = QUICK if quick else WORLDS
    print(f"{platform.machine()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    print(f"17 elements, {CONDITIONS} conditions, {worlds} worlds each")
    one(3, True)
    runs = {
        "near the centre": (False, None, True),
        "no buoyancy": (False,),
        "one start": (True, ("at rest",)),
        "all starts": (True,),
    }
    numbers, flows = {}, {}
    for run, how in runs.items():
        found, flows[run] = one(worlds, *how)
        for name, value in found.items():
            print(f"{run:18}{name:18}{value:12.4g}  {TARGETS.get(name, '')}")
            numbers[f"{run} {name}"] = value
    apart = float(np.abs(flows["near the centre"] - flows["no buoyancy"]).max())
    print(f"greatest difference of flows near the centre and from rest {apart:.2g} kg/s")
    return numbers | {"apart": apart}


if __name__ == "__main__":
    main()
