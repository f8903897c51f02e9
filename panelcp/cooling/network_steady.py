"""Flows and temperatures of a cooling-air network repeated until they agree, from several starts.

Worlds are the last axis of all arrays but those of states.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelcp.cooling.elements import ElementAir, Fan
from panelcp.cooling.loop_flows import BLOCK, balanced_flows, element_air, laws_at, loop_drive
from panelcp.cooling.network_states import (
    EASED,
    GIVEN,
    HOT,
    STARTS,
    NetworkState,
    arrays_of_states,
    with_worlds,
)
from panelcp.cooling.network_temperatures import (
    COLDEST_AIR,
    HEAT_CAPACITY,
    air_temperatures,
    both_ways,
)

HOTTEST_FLOW = 1e-6
"""kg/s, forward through everything, from which the temperatures of the hot start follow."""
EXCHANGE_FLOW = 3e-6
"""kg/s; where no other steady state is found, slower air is let go both ways through an element, so
that temperatures do not jump where a flow turns round (ours: far less than what warm and cold air
exchange through an opening at rest)."""
_EASING = EXCHANGE_FLOW * 10.0 ** np.linspace(5.5, 0.0, 23)
_STEPS_OF_EASING, _LAST_STEPS = 6, 15
_FIRST_TOLERANCE, _SHARE_PER_KELVIN = 1e-3, 1e-5
_MOST_PASSES = 30


def solved(task, start):
    """State that a start leads to, by blocks of worlds where heat allows it."""
    worlds = len(task.pressures)
    if not task.blocks or worlds <= BLOCK:
        return _solved_block(task, start)
    blocks = np.array_split(np.arange(worlds), -(-worlds // BLOCK))
    parts = [_solved_block(task.at(block), start) for block in blocks]
    return NetworkState(
        start, **{n: np.concatenate([getattr(p, n) for p in parts]) for n in arrays_of_states()}
    )


def solved_near(task):
    """State near the one that is given; where that leads to nothing, from rest."""
    state = solved(task, GIVEN)
    lost = np.flatnonzero(~state.converged)
    if not len(lost):
        return state
    return with_worlds(state, GIVEN, lost, solved(task.at(lost), STARTS[0]))


def _solved_block(task, start):
    """State that a start leads to."""
    loops, worlds = task.network.loops, len(task.pressures)
    drive, loop_flow = loop_drive(task.network, task.pressures), _start_flow(task, start)
    n, flow = len(loops), loops @ loop_flow
    known = np.repeat(task.temperatures.mean(axis=1)[None], 2 * n, axis=0)
    if start == GIVEN:
        known = np.concatenate([task.first[:, 1].T, task.first[:, 2].T])
    elif start != STARTS[0]:
        moving = HOTTEST_FLOW * np.ones_like(flow) if start == HOT else flow
        _, inlet, rise = air_temperatures(task, moving, known[:n])
        known = np.concatenate([inlet, inlet + rise])
    mixer, active, part = _Relaxation(worlds), np.arange(worlds), task
    counts, marks = np.zeros((2, worlds), dtype=int), np.zeros((2, worlds))
    # flows need be no better than the temperatures are so far
    enough = np.full(worlds, _FIRST_TOLERANCE if task.heat else task.tolerance)
    for _ in range(_MOST_PASSES):
        some = known[:, active]
        loop_flow[:, active], marks[0, active], steps = balanced_flows(
            part, laws_at(part, some), drive[:, active], loop_flow[:, active], enough[active]
        )
        counts[:, active] += np.stack([steps, np.ones_like(steps)])
        flow[:, active] = loops @ loop_flow[:, active]
        _, inlet, rise = air_temperatures(part, flow[:, active], some[:n])
        error = np.concatenate([inlet, inlet + rise]) - some
        marks[1, active] = np.abs(error).max(axis=0, initial=0.0)
        going = marks[1, active] > task.temperature_tolerance
        going |= marks[0, active] > task.tolerance
        going &= counts[0, active] < 3 * task.most_iterations
        if not going.any():
            break
        if not going.all():
            active, error, part = active[going], error[:, going], part.at(going)
        enough[active] = np.clip(
            _SHARE_PER_KELVIN * marks[1, active], task.tolerance, enough[active]
        )
        known[:, active] += mixer.step(active, error)
    warmth = air_temperatures(task, flow, known[:n])
    return _state(task, start, flow, known, warmth, marks, counts)


def _start_flow(task, start):
    """(n_loops, n_worlds) kg/s round the loops."""
    network, worlds = task.network, len(task.pressures)
    loops = network.loops
    if start == GIVEN:
        return task.first[:, 0, network.tree[1]].T.copy()
    if start in ("at rest", HOT) or not loops.shape[1]:
        return np.zeros((loops.shape[1], worlds))
    air = ElementAir(task.outside, task.outside, task.outside, task.air_pressure)
    spread = np.ptp(task.pressures, axis=1) + 1.0
    one = np.ones(worlds)
    drop, slope = (
        np.stack(np.broadcast_arrays(*parts, one)[:-1])
        for parts in zip(*(e.drop(one, air) for e in task.elements), strict=True)
    )
    drop = np.maximum(drop, 1e-6)
    power = np.clip(slope / drop, 1.0, 2.0)
    typical = np.minimum((spread / drop) ** (1.0 / power), 1e3)
    free = np.array([not e.resists or isinstance(e, Fan) for e in task.elements])
    typical[free] = typical[~free].mean(axis=0)
    if start == "random":
        # the same in every world, so that no world knows of the others
        typical = typical * np.random.default_rng(1).uniform(-1.0, 1.0, (len(loops), 1))
    elif start == "all backward":
        typical = -typical
    return np.linalg.inv(loops.T @ loops) @ (loops.T @ typical)


def eased(task):
    """State that is found by letting air go both ways first, and then ever less of it.

    Notes
    -----
    Where a flow turns round, the temperature of the air that comes jumps, and heat may drive a flow
    only as long as it goes the other way: then no flow is steady, unless some air goes both ways.
    With enough of it there is always a state, which is followed by Newton's method down to
    EXCHANGE_FLOW; what is left there is a flow next to nothing.
    """
    worlds, n = len(task.pressures), 2 * len(task.elements)
    blocks = np.array_split(np.arange(worlds), -(-worlds * n // (8 * BLOCK)))
    parts = [_eased_block(task.at(block)) for block in blocks]
    return NetworkState(
        EASED, **{k: np.concatenate([getattr(p, k) for p in parts]) for k in arrays_of_states()}
    )


def _eased_block(task):
    loops, worlds = task.network.loops, len(task.pressures)
    known = np.repeat(task.temperatures.mean(axis=1)[None], 2 * len(loops), axis=0)
    loop_flow = np.zeros((loops.shape[1], worlds))
    counts, marks = np.zeros((2, worlds), dtype=int), np.zeros((2, worlds))
    for exchange in _EASING:
        eased = replace(task, exchange=exchange)
        last = exchange == _EASING[-1]
        for _ in range(_LAST_STEPS if last else _STEPS_OF_EASING):
            loop_flow, error, marks, steps = _errors(eased, known, loop_flow)
            counts += np.stack([steps, np.ones_like(steps)])
            going = marks[1] > task.temperature_tolerance
            if not going.any():
                break
            known, loop_flow = known.copy(), loop_flow.copy()
            known[:, going], loop_flow[:, going] = _eased_step(
                eased.at(going), known[:, going], loop_flow[:, going], error[:, going]
            )
    flow = loops @ loop_flow
    warmth = air_temperatures(eased, flow, known[: len(loops)])
    return _state(eased, EASED, flow, known, warmth, marks, counts)


def _errors(task, known, loop_flow):
    """Flows at given temperatures, what these change by with them, and how good both are."""
    # the less exchange, the more the temperatures tell of the flow
    tolerance = task.tolerance * np.clip(task.exchange, 1e-3, 0.1)
    loops, full = task.network.loops, np.full(known.shape[1], tolerance)
    loop_flow, residual, steps = balanced_flows(
        task, laws_at(task, known), loop_drive(task.network, task.pressures), loop_flow, full
    )
    _, inlet, rise = air_temperatures(task, loops @ loop_flow, known[: len(loops)])
    error = np.concatenate([inlet, inlet + rise]) - known
    marks = np.stack([residual, np.abs(error).max(axis=0)])
    return loop_flow, error, marks, steps


def _eased_step(task, known, loop_flow, error):
    """Step of Newton's method for the temperatures: the length that leaves the least error."""
    n, worlds = known.shape
    many = np.repeat(np.arange(worlds), n)
    # the less exchange, the smaller the flows in which temperatures change
    little = np.clip(1e-2 * task.exchange, 1e-8, 1e-5)
    moved = known[:, many] + little * np.tile(np.eye(n), worlds)
    _, changed, _, _ = _errors(task.at(many), moved, loop_flow[:, many])
    slope = (changed - error[:, many]).reshape(n, worlds, n) / little
    step = np.linalg.solve(slope.transpose(1, 0, 2), -error.T[:, :, None])[:, :, 0].T
    lengths = 0.5 ** np.arange(10.0)
    many = np.repeat(np.arange(worlds), len(lengths))
    tried = known[:, many] + step[:, many] * np.tile(lengths, worlds)
    tried = np.clip(tried, 0.9 * COLDEST_AIR, 1.1 * task.hottest)
    flows, left, _, _ = _errors(task.at(many), tried, loop_flow[:, many])
    norms = np.sum(left * left, axis=0).reshape(worlds, -1)
    best = np.argmin(norms, axis=1) + np.arange(worlds) * len(lengths)
    return tried[:, best], flows[:, best]


class _Relaxation:
    """Share of a change of temperature that is carried out, world by world.

    Vector form of Aitken's extrapolation (B. M. Irons and R. C. Tuck, A version of the Aitken
    accelerator for computer iteration, Int. J. Numer. Methods Eng. 1, 1969; from memory).
    """

    def __init__(self, worlds):
        self._share, self._before = np.ones(worlds), None

    def step(self, active, error):
        if self._before is None:
            self._before = np.zeros((len(error), len(self._share)))
        else:
            turn = error - self._before[:, active]
            square = np.sum(turn * turn, axis=0)
            ratio = -np.sum(self._before[:, active] * turn, axis=0) / np.maximum(square, 1e-300)
            share = np.where(square > 0.0, self._share[active] * ratio, 1.0)
            self._share[active] = np.clip(share, 0.05, 2.0)
        self._before[:, active] = error
        return self._share[active] * error


def _state(task, start, flow, known, warmth, marks, counts):
    """State from flows, the temperatures they were found with, and what follows from them."""
    drop, _ = laws_at(task, known).drop(flow)
    nodes, inlet, rise = warmth
    near, back = np.zeros((2, *flow.shape), dtype=bool)
    for e, element in enumerate(task.elements):
        if isinstance(element, Fan):
            air = element_air(task, e, known)
            near[e] = element.near_dip(flow[e], air)
            back[e] = element.holds_back(flow[e], air)
    return NetworkState(
        start=start,
        mass_flow=flow.T,
        drop=drop.T,
        node_pressure=_node_pressures(task, drop).T,
        node_temperature=nodes.T,
        inlet_temperature=inlet.T,
        outlet_temperature=(inlet + rise).T,
        heat=(HEAT_CAPACITY * sum(both_ways(flow, np.abs(flow), task.exchange)) * rise).T,
        residual=marks[0],
        temperature_change=marks[1],
        iterations=counts[0],
        passes=counts[1],
        converged=(marks[0] <= task.tolerance) & (marks[1] <= task.temperature_tolerance),
        near_dip=near.T,
        holds_back=back.T,
    )


def _node_pressures(task, drop):
    """(n_nodes, n_worlds) Pa, from the boundaries outwards along the tree."""
    network = task.network
    found = np.zeros((len(network.nodes), drop.shape[1]))
    found[[k for k, node in enumerate(network.nodes) if node.boundary]] = task.pressures.T
    for e, near, new in network.tree[0]:
        sign = 1.0 if network.ends[e][0] == near else -1.0
        found[new] = found[near] - sign * drop[e]
    return found
