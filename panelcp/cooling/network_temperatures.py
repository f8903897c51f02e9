"""Temperatures in a cooling-air network at given flows: carried on by the air, mixed at the nodes.

Worlds are the last axis of all arrays.
"""

from __future__ import annotations

import numpy as np

from panelcp.cooling.linear_systems import FEW, dominant_solution, linear_solution
from panelcp.cooling.network_states import LEAST_FLOW

HEAT_CAPACITY = 1006.0
"""J/(kg K), of air at constant pressure near 300 K (common practice)."""
HOTTEST_AIR, COLDEST_AIR = 600.0, 150.0
"""K; what air in the network can be heated or cooled to at most (memory)."""


def air_temperatures(task, flow, inlet):
    """Temperatures of nodes and elements, and how much the elements heat the air.

    Parameters
    ----------
    task : Task
    flow, inlet : (n_elements, n_worlds), kg/s; K, inlet temperatures as known so far

    Returns
    -------
    nodes (n_nodes, n_worlds), inlet, rise (n_elements, n_worlds)
    """
    network, size, outside = task.network, np.abs(flow), task.temperatures.T
    plus, minus = both_ways(flow, size, task.exchange)
    both = np.maximum(plus + minus, LEAST_FLOW)
    ahead = plus / both if task.exchange else flow >= 0.0
    rise = _rise(task, both, inlet)
    nodes = np.zeros((len(network.nodes), flow.shape[1]))
    nodes[[k for k, node in enumerate(network.nodes) if node.boundary]] = outside
    start, end = network.ends.T
    inner = [k for k, node in enumerate(network.nodes) if not node.boundary]
    if inner:
        matrix, right = _mixing(task, plus, minus, nodes, rise)
        # air that stands still has the temperature outside
        still = 1e-10 * size.max(axis=0, initial=0.0) + 1e-15
        matrix[np.arange(len(inner)), np.arange(len(inner))] += still
        right += still * outside.mean(axis=0)
        solution = linear_solution if flow.shape[1] < FEW else dominant_solution
        top = np.maximum(task.hottest, outside.max(axis=0))
        nodes[inner] = np.clip(solution(matrix, right), COLDEST_AIR, top)
    if not task.exchange:
        return nodes, np.where(ahead, nodes[start], nodes[end]), rise
    return nodes, ahead * nodes[start] + (1.0 - ahead) * nodes[end], rise


def _rise(task, size, inlet):
    """(n_elements, n_worlds) K by which elements heat the air that passes them either way."""
    rise = np.zeros(size.shape)
    for e, given in task.heat.items():
        heat = given(size[e], inlet[e]) if callable(given) else given
        change = heat / (HEAT_CAPACITY * size[e])
        coldest = np.minimum(COLDEST_AIR - inlet[e], 0.0)
        rise[e] = np.clip(change, coldest, np.maximum(task.hottest - inlet[e], 0.0))
    return rise


def both_ways(flow, size, exchange):
    """Air that goes forward and backward, kg/s: one of both is 0 from the exchange flow d on.

    Between -d and d they are (d + m)^2 / (4 d) and (d - m)^2 / (4 d), which differ by m: continuous
    with their slopes.
    """
    if not exchange:
        return np.maximum(flow, 0.0), np.maximum(-flow, 0.0)
    slow, parts = size < exchange, []
    for way in (flow, -flow):
        part = np.maximum(way, 0.0)
        part[slow] = (exchange + way[slow]) ** 2 / (4.0 * exchange)
        parts.append(part)
    return parts


def _mixing(task, plus, minus, nodes, rise):
    """Energy balances of the inner nodes: matrix (n, n, n_worlds) and right side (n, n_worlds).

    plus, minus : (n_elements, n_worlds) kg/s, sizes of the flows forward and backward
    """
    network = task.network
    inner = [k for k, node in enumerate(network.nodes) if not node.boundary]
    row = {k: i for i, k in enumerate(inner)}
    matrix = np.zeros((len(inner), len(inner), plus.shape[1]))
    right = np.zeros((len(inner), plus.shape[1]))
    for e, pair in enumerate(network.ends):
        for carried, (source, target) in ((plus[e], pair), (minus[e], pair[::-1])):
            if target not in row:
                continue
            i = row[target]
            matrix[i, i] += carried
            if source in row:
                matrix[i, row[source]] -= carried
            else:
                right[i] += carried * nodes[source]
            if e in task.heat:
                right[i] += carried * rise[e]
    return matrix, right
