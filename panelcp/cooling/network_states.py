"""Steady states of a cooling-air network, and which of several differ."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from panelcp.cooling.topology import Network, index_of
from panelcp.surface.mesh import frozen_array

HOT = "hot, at rest"
STARTS = ("at rest", HOT, "all forward", "all backward", "random")
GIVEN, EASED = "near a given state", "from much exchange"
SAME_STATE = 1e-4
"""Two states are the same where no flow differs by more than this share of the largest."""
LEAST_FLOW = 1e-9
"""kg/s; flows below this, and differences of flow, are none."""


@dataclass(frozen=True, eq=False)
class NetworkState:
    """One steady state in every world.

    Attributes
    ----------
    start : str, one of STARTS, GIVEN or EASED, that led here
    mass_flow : (n_worlds, n_elements) float, kg/s, from start to end positive
    drop : (n_worlds, n_elements) float, Pa, fall of total pressure by the element's law
    node_pressure : (n_worlds, n_nodes) float, Pa, gauge, total
    node_temperature : (n_worlds, n_nodes) float, K
    inlet_temperature, outlet_temperature : (n_worlds, n_elements) float, K, of the air that comes
        and goes, whichever way it flows
    heat : (n_worlds, n_elements) float, W, taken up by the air; less than given where there is so
        little air that it would become hotter than the hottest air allowed
    residual : (n_worlds,) float, greatest imbalance of pressure round a loop beyond rounding, as a
        share of the pressures in it
    temperature_change : (n_worlds,) float, K, what temperatures still changed by at last
    iterations : (n_worlds,) int, steps of Newton's method, all passes together
    passes : (n_worlds,) int, solutions of the temperatures
    converged : (n_worlds,) bool
    near_dip, holds_back : (n_worlds, n_elements) bool: a fan near its stall dip; a fan that more
        air is pushed through than it would blow by itself
    """

    start: str
    mass_flow: np.ndarray
    drop: np.ndarray
    node_pressure: np.ndarray
    node_temperature: np.ndarray
    inlet_temperature: np.ndarray
    outlet_temperature: np.ndarray
    heat: np.ndarray
    residual: np.ndarray
    temperature_change: np.ndarray
    iterations: np.ndarray
    passes: np.ndarray
    converged: np.ndarray
    near_dip: np.ndarray
    holds_back: np.ndarray

    def __post_init__(self):
        for name in arrays_of_states():
            value = getattr(self, name)
            object.__setattr__(self, name, frozen_array(value, dtype=value.dtype))


def arrays_of_states():
    """Names of the attributes that are arrays over the worlds."""
    return [field.name for field in fields(NetworkState) if field.name != "start"]


@dataclass(frozen=True, eq=False)
class NetworkResult:
    """Steady states of a network.

    Attributes
    ----------
    network : Network
    states : tuple of NetworkState, one per start
    distinct : (n_starts, n_worlds) bool, True where the start converged to a state that none before
        it led to
    chosen : (n_worlds,) int, the start whose state is shown by `state`: the first that converged
    state : NetworkState, its `start` "chosen"
    """

    network: Network
    states: tuple[NetworkState, ...]
    distinct: np.ndarray
    chosen: np.ndarray
    state: NetworkState

    def __post_init__(self):
        object.__setattr__(self, "distinct", frozen_array(self.distinct, dtype=bool))
        object.__setattr__(self, "chosen", frozen_array(self.chosen, dtype=int))

    @property
    def n_states(self) -> np.ndarray:
        """(n_worlds,) int, number of different steady states that were found."""
        return self.distinct.sum(axis=0)

    @property
    def reversed(self) -> np.ndarray:
        """(n_worlds, n_elements) bool, True where air flows from end to start."""
        flow = self.state.mass_flow
        return flow < -1e-6 * np.abs(flow).max(axis=1, keepdims=True, initial=0.0)

    @property
    def converged(self) -> np.ndarray:
        """(n_worlds,) bool, of the chosen states."""
        return self.state.converged

    def flow(self, name: str) -> np.ndarray:
        """(n_worlds,) kg/s through one element, in the chosen states."""
        return self.state.mass_flow[:, index_of(self.network.elements, name)]

    def pressure(self, name: str) -> np.ndarray:
        """(n_worlds,) Pa, gauge total pressure of one node, in the chosen states."""
        return self.state.node_pressure[:, index_of(self.network.nodes, name)]

    def temperature(self, name: str) -> np.ndarray:
        """(n_worlds,) K of one node, in the chosen states."""
        return self.state.node_temperature[:, index_of(self.network.nodes, name)]


def picked_states(states, chosen):
    """State that takes every world from the start that was chosen for it."""
    if not np.any(chosen):
        return replace(states[0], start="chosen")
    else:
        worlds = np.arange(len(chosen))
        parts = {
            name: np.stack([getattr(state, name) for state in states])[chosen, worlds]
            for name in arrays_of_states()
        }
    return NetworkState("chosen", **parts)


def with_worlds(state, start, which, other):
    """State with some of its worlds from another state."""
    parts = {name: getattr(state, name).copy() for name in arrays_of_states()}
    for name, values in parts.items():
        values[which] = getattr(other, name)
    return NetworkState(start, **parts)


def steady_states(states, heated):
    """(n_starts, n_worlds) bool, states that converged.

    Heated air at rest in which nothing moves does not count where there is another state: the least
    breath of air makes it move on.
    """
    found = np.array([state.converged for state in states])
    if not heated or len(states) == 1:
        return found
    moving = np.array([np.abs(s.mass_flow).max(axis=1, initial=0.0) > LEAST_FLOW for s in states])
    return np.where((found & moving).any(axis=0), found & moving, found)


def distinct_states(states, steady):
    """(n_starts, n_worlds) bool, True where a start led to something new."""
    found = steady.copy()
    for k, state in enumerate(states):
        largest = np.abs(state.mass_flow).max(axis=1, initial=0.0)
        for earlier, before in enumerate(states[:k]):
            apart = np.abs(state.mass_flow - before.mass_flow).max(axis=1, initial=0.0)
            found[k] &= ~(found[earlier] & (apart <= SAME_STATE * largest + LEAST_FLOW))
    return found
