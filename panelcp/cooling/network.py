"""The cooling-air network: the steady flows through it.

Notes
-----
Unknown are the flows round a set of independent loops. All nodes with a given total pressure are
taken as one place outside, a tree of elements reaches every inner node from there, and every other
element closes one loop through the tree. So mass is conserved at every node by construction, also
through elements without any resistance, and only the total pressure round the loops is left to be
balanced: Newton's method with its analytic, symmetric matrix C^T diag(slope) C, once for all
worlds. Where all losses rise with the flow this is the minimum of a convex function (the sum of the
elements' integrals of pressure over flow, less what the outside supplies), whose derivative along a
step shortens the step where needed; it is reached from anywhere.

Temperatures follow the flows (upwind, mixed at the nodes); both are repeated until they agree.
Hot air may drive a flow that takes its heat away; see EXCHANGE_FLOW.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from panelcp.atmosphere import SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE
from panelcp.cooling.network_states import (
    EASED,
    GIVEN,
    STARTS,
    NetworkResult,
    NetworkState,
    distinct_states,
    picked_states,
    steady_states,
    with_worlds,
)
from panelcp.cooling.network_steady import EXCHANGE_FLOW, eased, solved, solved_near
from panelcp.cooling.network_task import checked_starts, checked_task, flows_to_start_near
from panelcp.cooling.network_temperatures import HEAT_CAPACITY, HOTTEST_AIR
from panelcp.cooling.topology import Network, Node

__all__ = [
    "EASED",
    "EXCHANGE_FLOW",
    "GIVEN",
    "HEAT_CAPACITY",
    "HOTTEST_AIR",
    "STARTS",
    "Network",
    "NetworkResult",
    "NetworkState",
    "Node",
    "solve_network",
]

MOST_EASED = 64


def solve_network(
    network: Network,
    boundary_pressures,
    boundary_temperatures=SEA_LEVEL_TEMPERATURE,
    *,
    air_pressure=SEA_LEVEL_PRESSURE,
    outside_temperature=None,
    heat: Mapping | None = None,
    starts: tuple[str, ...] | None = None,
    hottest_air: float = HOTTEST_AIR,
    tolerance: float = 1e-10,
    temperature_tolerance: float = 1e-5,
    most_iterations: int = 40,
    first: NetworkState | None = None,
    first_worlds=None,
    ease: bool = True,
) -> NetworkResult:
    """Steady flows, pressures and temperatures in all worlds.

    Parameters
    ----------
    network : Network
    boundary_pressures : (n_worlds, n_boundaries) float, Pa, gauge total pressure of the boundary
        nodes in the order of `network.boundaries`
    boundary_temperatures : float or (n_worlds,) or (n_worlds, n_boundaries) float, K
    air_pressure : float or (n_worlds,) float, Pa, absolute, for the density
    outside_temperature : float or (n_worlds,) float or None, K, of the still air that buoyancy is
        against; None: the mean of the boundary temperatures
    heat : mapping of names of elements to W, a float or (n_worlds,), or a function of the size of
        the mass flow (kg/s) and the inlet temperature (K), both (n_worlds,), that gives W. With a
        method `at(index)` that gives the function for some of the worlds, worlds are solved in
        blocks, which is faster
    starts : names out of STARTS, or None: "at rest" alone where the state is unique, otherwise all
    hottest_air : float, K, that no heat can bring the air above
    tolerance : float, greatest imbalance of pressure round a loop, in parts of those in it
    temperature_tolerance : float, K
    most_iterations : int, of Newton's method in one pass
    first : NetworkState of a network with the same elements, to start near it instead of from
        `starts`; worlds in which that leads to nothing start from rest. None: as `starts` say
    first_worlds : (n_worlds,) int, the world of `first` near which every world starts; None: the
        one with its own number
    ease : bool, look further for worlds in which no start converges, which takes long

    Returns
    -------
    NetworkResult
        Worlds that did not converge are said in `converged`, with their residual. Where no start
        leads to a steady state, the first 64 worlds are tried with much exchange of air, see
        EXCHANGE_FLOW; this state comes last, its `start` EASED.

    Raises
    ------
    NetworkError : shapes that do not fit, numbers that are not finite, unknown names
    """
    worlds = len(np.atleast_1d(boundary_pressures))
    near = flows_to_start_near(network, first, first_worlds, worlds)
    task = checked_task(
        network, boundary_pressures, boundary_temperatures, air_pressure, outside_temperature,
        heat, near, hottest_air, tolerance, temperature_tolerance, most_iterations,
    )  # fmt: skip
    if first is not None:
        states = (solved_near(task),)
    else:
        states = tuple(solved(task, start) for start in checked_starts(network, starts))
    lost = np.flatnonzero(~np.any([state.converged for state in states], axis=0))
    if ease and len(lost):
        lost = lost[:MOST_EASED]
        states = (*states, with_worlds(states[0], EASED, lost, eased(task.at(lost))))
    steady = steady_states(states, bool(task.heat))
    chosen = np.where(steady.any(axis=0), steady.argmax(axis=0), 0)
    return NetworkResult(
        network, states, distinct_states(states, steady), chosen, picked_states(states, chosen)
    )
