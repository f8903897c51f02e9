"""Does the cooling network always find its flows, from nothing, whatever it is made of?

Question: of 1 000 random networks of up to 40 elements, how many converge from flows of nothing, in
how many steps of Newton's method, how large are the imbalances that are left, and how many have
several steady states?
Counted: steps of Newton's method for the flows. Without heat there is one solution of the flows;
with heat one for every pass of the temperatures, and the steps of all passes are counted together:
"steps" is the most in any world, "a pass" the most of the mean over its passes, "slow" the worlds
with more than 40 in all. "failed" are worlds without a steady state from flows of nothing by plain
passes, "eased" those found by letting air go both ways first, "none found" those that are left.
Method: random trees of nodes with further elements across; resistances, coefficients, areas and
pressures over several powers of ten; four kinds: losses alone, losses with fans, fans that are
followed through their stall dip, heat with columns of hot air. Each in four worlds of its own.
Known answer: where losses rise with the flow there is exactly one state; mass is conserved.
Command: python studies/network_convergence.py
"""

import numpy as np

from panelcp.cooling.elements import (
    Buoyancy,
    CoreLaw,
    Fan,
    LossCoefficient,
    Orifice,
    Resistance,
    Table,
)
from panelcp.cooling.network import EASED, HEAT_CAPACITY, Network, Node, solve_network

NETWORKS, QUICK, WORLDS, MOST_ELEMENTS, MOST_STEPS = 1000, 12, 4, 40, 40
KINDS = ("losses", "fans", "fans in their dip", "heat and buoyancy")
# invented curve with a dip
FAN_FLOW = [0.0, 0.08, 0.16, 0.22, 0.3, 0.4, 0.5, 0.6]
FAN_RISE = [210.0, 170.0, 150.0, 165.0, 150.0, 115.0, 65.0, 0.0]


def loss(draw, name, start, end):
    """One random loss."""
    area, factor = 10.0 ** draw.uniform(-3.5, -1.0), 10.0 ** draw.uniform(-1.0, 1.0)
    kind = draw.integers(5)
    if kind == 0:
        return Orifice(name, start, end, draw.uniform(0.4, 0.95), area)
    if kind == 1:
        backward = factor * draw.uniform(0.5, 3.0)
        return LossCoefficient(name, start, end, factor, backward, area)
    if kind == 2:
        return CoreLaw(name, start, end, 30.0 * factor, 4.0 * factor, area, 1.2, 1.8e-5)
    if kind == 3:
        return Resistance(name, start, end, 10.0 * factor, 0.5 / area**2 * factor, 1.2)
    flow = area * np.cumsum(draw.uniform(0.5, 5.0, 5))
    return Table(name, start, end, flow, factor * np.cumsum(draw.uniform(1.0, 200.0, 5)), 1.2)


def special(draw, kind, name, start, end):
    """Fan or column of hot air of a kind of network, or None for a loss."""
    if kind.startswith("fans") and draw.uniform() < 0.2:
        speed = draw.choice([0.0, 1500.0, 2400.0, 3000.0])
        return Fan(
            name, start, end, FAN_FLOW, FAN_RISE, 1.2, 2400.0, speed, 4.0, 0.05,
            whole_curve="dip" in kind,
        )  # fmt: skip
    if kind.startswith("heat") and draw.uniform() < 0.15:
        return Buoyancy(name, start, end, draw.uniform(-0.6, 0.6))
    return None


def random_network(draw, kind):
    """Random network; every column of air ends at a node of its own, so that it meets a loss."""
    n_boundaries = draw.integers(1, 6)
    count = draw.integers(2, MOST_ELEMENTS + 1)
    n_inner = draw.integers(1, max(2, count // 2 + 1))
    names = [f"outside {k}" for k in range(n_boundaries)] + [f"node {k}" for k in range(n_inner)]
    nodes = [Node(name, k < n_boundaries) for k, name in enumerate(names)]
    pairs = [
        (names[draw.integers(n_boundaries + k)], names[n_boundaries + k]) for k in range(n_inner)
    ]
    while len(pairs) < count:
        start, end = draw.choice(len(names), 2, replace=False)
        pairs.append((names[start], names[end]))
    elements = []
    for k, (start, end) in enumerate(pairs[:MOST_ELEMENTS]):
        if draw.uniform() < 0.5:
            start, end = end, start
        chosen = special(draw, kind, f"element {k}", start, end)
        if isinstance(chosen, Buoyancy) and len(elements) + 2 + len(pairs) - k <= MOST_ELEMENTS:
            nodes.append(Node(f"below {k}"))
            elements.append(Orifice(f"opening {k}", start, f"below {k}", 0.62, 0.01))
            chosen = Buoyancy(f"element {k}", f"below {k}", end, float(chosen.height))
        elif isinstance(chosen, Buoyancy):
            chosen = None
        elements.append(chosen or loss(draw, f"element {k}", start, end))
    return Network(nodes, elements)


def one(draw, kind):
    """Counts and imbalances of one network."""
    network = random_network(draw, kind)
    n = len(network.boundaries)
    pressures = 10.0 ** draw.uniform(0.0, 3.5) * draw.uniform(-1.0, 1.0, (WORLDS, n))
    heat = {}
    if kind.startswith("heat"):
        heat = {e.name: 10.0 ** draw.uniform(1.5, 4.0) for e in network.elements[::4]}
    result = solve_network(network, pressures, 300.0, heat=heat)
    cold, state = result.states[0], result.state
    flow = state.mass_flow
    return {
        "failed": np.sum(~cold.converged),
        "eased": np.sum([s.converged & ~cold.converged for s in result.states if s.start == EASED]),
        "none found": np.sum(~result.converged),
        "slow": np.sum(cold.iterations > MOST_STEPS),
        "steps": cold.iterations.max(),
        "mean": cold.iterations.mean(),
        "a pass": np.max(cold.iterations / cold.passes),
        "several": np.sum(result.n_states > 1),
        "mass": mass_imbalance(network, flow),
        "loops": np.max(state.residual[result.converged], initial=0.0),
        "energy": energy_imbalance(network, state)[result.converged].max(initial=0.0),
        "elements": len(network.elements),
    }


def mass_imbalance(network, flow):
    """Greatest imbalance at an inner node, as a share of the largest flow."""
    sums = np.zeros((len(flow), len(network.nodes)))
    for e, (start, end) in enumerate(network.ends):
        sums[:, start] -= flow[:, e]
        sums[:, end] += flow[:, e]
    inner = [not node.boundary for node in network.nodes]
    largest = np.abs(flow).max(axis=1) + 1e-9
    return (np.abs(sums[:, inner]).max(axis=1) / largest).max()


def energy_imbalance(network, state):
    """Heat that came, less what air carried out, as a share of all that air carries."""
    flow = state.mass_flow
    gone = state.heat.sum(axis=1)
    moved = 1e-9 + np.abs(flow).sum(axis=1) * 300.0 * HEAT_CAPACITY
    for e, pair in enumerate(network.ends):
        for node, sign in zip(pair, (1.0, -1.0), strict=True):
            if network.nodes[node].boundary:
                ahead = sign * flow[:, e] >= 0.0
                warmth = np.where(ahead, state.inlet_temperature[:, e],
                                  state.outlet_temperature[:, e])  # fmt: skip
                gone = gone + sign * flow[:, e] * HEAT_CAPACITY * (warmth - 300.0)
    return np.abs(gone) / moved


def main(quick=False):
    """Solve the networks, print the table, return its numbers."""
    draw, count = np.random.default_rng(20), QUICK if quick else NETWORKS
    found = {kind: [] for kind in KINDS}
    for k in range(count):
        kind = KINDS[k % len(KINDS)]
        found[kind].append(one(draw, kind))
    columns = {
        "networks": len, "failed": "sum", "eased": "sum", "none found": "sum", "slow": "sum",
        "mean": "mean", "a pass": "max", "steps": "max", "several": "sum", "mass": "max",
        "loops": "max", "energy": "max", "elements": "max",
    }  # fmt: skip
    print(f"{WORLDS} worlds each, counted below; slow: more than {MOST_STEPS} steps from nothing")
    print("steps: of Newton's method for the flows, all passes of the temperatures together")
    print(f"{'':20}" + "".join(f"{name:>11}" for name in columns))
    numbers = {}
    for kind, rows in found.items():
        line = {
            name: float(len(rows) if how is len else getattr(np, how)([r[name] for r in rows]))
            for name, how in columns.items()
        }
        print(f"{kind:20}" + "".join(f"{value:11.3g}" for value in line.values()))
        numbers |= {f"{kind} {name}": value for name, value in line.items()}
    return numbers


if __name__ == "__main__":
    main()
