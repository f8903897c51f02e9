"""Flows round the loops of a cooling-air network that balance the pressures.

Worlds are the last axis of all arrays; "known" are the temperatures of the air that comes and goes,
(2 n_elements, n_worlds) K.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.cooling.elements import LEAST_DROP, ElementAir, QuadraticLaw
from panelcp.cooling.linear_systems import FEW, linear_solution, symmetric_solution

BLOCK = 2000
_ROUNDING = 1e-15
_MOST_TRIALS = 14


@dataclass(frozen=True, eq=False)
class Laws:
    """Laws of all elements: quadratic ones stacked (n_elements, n_worlds), others by row."""

    quadratic: QuadraticLaw
    others: tuple

    def at(self, index):
        """The same in some of the worlds."""
        return Laws(self.quadratic.at(index), tuple((e, law.at(index)) for e, law in self.others))

    def drop(self, mass_flow):
        """Falls of total pressure, Pa, and their slopes, both (n_elements, n_worlds)."""
        drop, slope = self.quadratic.drop(mass_flow)
        for e, law in self.others:
            drop[e], slope[e] = law.drop(mass_flow[e])
        return drop, slope


def element_air(task, e, known):
    """Air in element e."""
    n = len(task.elements)
    return ElementAir(known[e], known[n + e], task.outside, task.air_pressure)


def laws_at(task, known):
    """Laws at given temperatures."""
    others, parts = [], np.zeros((4, len(task.elements), known.shape[1]))
    for e, element in enumerate(task.elements):
        law = element.law(element_air(task, e, known))
        if isinstance(law, QuadraticLaw):
            parts[:, e] = law.linear, law.forward, law.backward, law.rise
        else:
            others.append((e, law))
    return Laws(QuadraticLaw(*parts), tuple(others))


def loop_drive(network, pressures):
    """(n_loops, n_worlds) Pa that the boundaries supply round every loop."""
    ends, loops = network.ends, network.loops
    take = np.zeros((loops.shape[1], len(network.boundaries)))
    columns = {name: b for b, name in enumerate(network.boundaries)}
    for e, (start, end) in enumerate(ends):
        for node, sign in ((start, 1.0), (end, -1.0)):
            b = columns.get(network.nodes[node].name)
            if b is not None:
                take[:, b] += sign * loops[e]
    return take @ pressures.T


def balanced_flows(task, laws, drive, loop_flow, tolerance):
    """`_newton` in blocks that stay in the fast memory."""
    worlds, found = drive.shape[1], []
    for block in np.array_split(np.arange(worlds), -(-worlds // BLOCK)):
        part = laws if len(block) == worlds else laws.at(block)
        found.append(
            _newton(
                task.network,
                part,
                drive[:, block],
                loop_flow[:, block],
                tolerance[block],
                task.most_iterations,
            )
        )
    return [np.concatenate(parts, axis=-1) for parts in zip(*found, strict=True)]


def _newton(network, laws, drive, loop_flow, tolerance, most):
    """Flows round the loops that balance the pressures.

    Parameters
    ----------
    network : Network
    laws : Laws
    drive : (n_loops, n_worlds) Pa
    loop_flow : (n_loops, n_worlds) kg/s, where to start
    tolerance : (n_worlds,) greatest share of imbalance
    most : int, iterations

    Returns
    -------
    loop_flow, residual (n_worlds,), iterations (n_worlds,)
    """
    loops, (n, worlds) = network.loops, drive.shape
    found, residual = loop_flow.copy(), np.zeros(worlds)
    iterations = np.zeros(worlds, dtype=int)
    if n == 0:
        return found, residual, iterations
    index, flow = np.arange(worlds), found
    drop, slope = laws.drop(loops @ flow)
    for step in range(most + 1):
        imbalance, share = _imbalance(loops, drive, flow, drop, slope)
        residual[index] = share
        left = np.flatnonzero(share > tolerance[index])
        if step == most or not len(left):
            break
        if len(left) < len(index):
            index, laws, drive = index[left], laws.at(left), drive[:, left]
            flow, imbalance, slope = flow[:, left], imbalance[:, left], slope[:, left]
        change, slant = _direction(network, slope, imbalance)
        flow, drop, slope = _searched(loops, laws, drive, flow, change, slant)
        found[:, index] = flow
        iterations[index] += 1
    return found, residual, iterations


def _imbalance(loops, drive, flow, drop, slope):
    """Pressure left round every loop, Pa, and the greatest share of the pressures in it."""
    imbalance, sizes = drive - loops.T @ drop, np.abs(loops.T)
    # flows are sums of those round the loops and known to rounding only
    rounding = (sizes @ np.abs(slope)) * (_ROUNDING * np.abs(flow).max(axis=0))
    beyond = np.maximum(np.abs(imbalance) - rounding, 0.0)
    return imbalance, np.max(beyond / (sizes @ np.abs(drop) + np.abs(drive) + LEAST_DROP), axis=0)


def _direction(network, slope, imbalance):
    """Newton step, and the derivative of the convex function along it (not positive)."""
    change = _loop_solution(network, slope, imbalance)
    slant = -np.sum(imbalance * change, axis=0)
    wrong = np.flatnonzero(~(slant < 0.0))
    if len(wrong):
        # a part of a fan's curve that rises: a step downhill with that slope left out
        kept = np.maximum(slope[:, wrong], 1e-3 * np.abs(slope[:, wrong]) + 1e-9)
        change[:, wrong] = _loop_solution(network, kept, imbalance[:, wrong])
        slant[wrong] = -np.sum(imbalance[:, wrong] * change[:, wrong], axis=0)
    return change, slant


def _loop_solution(network, slope, right):
    """Solution of C^T diag(slope) C x = right, (n_loops, n_worlds)."""
    n, worlds = right.shape
    matrix = np.empty((n, n, worlds))
    for i, (rows, signs) in enumerate(network.shared):
        matrix[i, i:] = signs @ slope[rows]
    if worlds < FEW:
        for i in range(n):
            matrix[i:, i] = matrix[i, i:]
        return linear_solution(matrix, right)
    if not network.unique:
        # slopes may be negative: where a pivot may vanish rows have to change places
        plain = np.all(slope >= 0.0, axis=0)
        if not plain.all():
            found = np.empty_like(right)
            found[:, plain] = _loop_solution(network, slope[:, plain], right[:, plain])
            rest = np.flatnonzero(~plain)
            for part in np.array_split(rest, -(-len(rest) // (FEW - 1))):
                found[:, part] = _loop_solution(network, slope[:, part], right[:, part])
            return found
    return symmetric_solution(matrix, right)


def _searched(loops, laws, drive, flow, change, slant):
    """Flow after a step, shortened where the pressures would be out of balance the other way."""

    def tried(index, length):
        whole = len(index) == flow.shape[1]
        way = change if whole else change[:, index]
        some = (flow if whole else flow[:, index]) + length * way
        drop, slope = (laws if whole else laws.at(index)).drop(loops @ some)
        left = (drive if whole else drive[:, index]) - loops.T @ drop
        return some, drop, slope, -np.sum(left * way, axis=0)

    worlds = flow.shape[1]
    index, limit = np.arange(worlds), 0.25 * np.abs(slant)
    low, low_value = np.zeros(worlds), slant.copy()
    high = np.ones(worlds)
    best, drop, slope, value = tried(index, high)
    high_value = value.copy()
    index = np.flatnonzero(value > limit)
    for _ in range(_MOST_TRIALS):
        if not len(index):
            break
        a, b = -low_value[index], high_value[index]
        share = np.where(low[index] == 0.0, np.sqrt(a / (a + b)), a / (a + b))
        share = np.clip(share, 1e-4, 0.9)
        length = low[index] + share * (high[index] - low[index])
        best[:, index], drop[:, index], slope[:, index], value = tried(index, length)
        over = value > 0.0
        high[index[over]], high_value[index[over]] = length[over], value[over]
        low[index[~over]], low_value[index[~over]] = length[~over], value[~over]
        index = index[np.abs(value) > limit[index]]
    return best, drop, slope
