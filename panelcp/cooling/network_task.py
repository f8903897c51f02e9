"""What is given to the solution of a cooling-air network, checked, for all worlds or some."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelcp.cooling.elements import Element, ElementAir
from panelcp.cooling.network_states import LEAST_FLOW, STARTS
from panelcp.cooling.topology import Network, index_of
from panelcp.errors import NetworkError


class WholeHeat:
    """Heat by a function that always sees all worlds, asked for in some of them."""

    blocks = False

    def __init__(self, function, worlds, index=slice(None), seen=None):
        self._function, self._worlds, self._index = function, worlds, index
        self._seen = np.ones((2, worlds)) * [[LEAST_FLOW], [300.0]] if seen is None else seen

    def at(self, index):
        """The same function for some of the worlds."""
        everywhere = np.arange(self._worlds)[self._index]
        return WholeHeat(self._function, self._worlds, everywhere[index], self._seen)

    def __call__(self, size, inlet):
        """Heat, W, in the worlds it is for, at sizes of the flow, kg/s, and temperatures, K."""
        worlds = np.arange(self._worlds)[self._index]
        found, left = np.empty(len(worlds)), np.arange(len(worlds))
        while len(left):
            # one world may be asked for several times
            _, now = np.unique(worlds[left], return_index=True)
            some, left = left[now], np.delete(left, now)
            self._seen[:, worlds[some]] = size[some], inlet[some]
            heat = np.broadcast_to(self._function(*self._seen), (self._worlds,))
            found[some] = heat[worlds[some]]
        return found


@dataclass(frozen=True, eq=False)
class Task:
    """What is given to a solution.

    elements : those of the network, with the numbers of these worlds
    pressures, temperatures : (n_worlds, n_boundaries); air_pressure, outside : (n_worlds,)
    heat : dict of element index and (n_worlds,) W or a function of flow and inlet temperature
    first : (n_worlds, 3, n_elements) flows, inlet and outlet temperatures to start near, or None
    exchange : kg/s, 0 or see EXCHANGE_FLOW
    """

    network: Network
    elements: tuple[Element, ...]
    pressures: np.ndarray
    temperatures: np.ndarray
    air_pressure: np.ndarray
    outside: np.ndarray
    heat: dict
    first: np.ndarray | None
    hottest: float
    tolerance: float
    temperature_tolerance: float
    most_iterations: int
    exchange: float = 0.0

    def at(self, index) -> Task:
        """The same in some of the worlds."""
        return replace(
            self,
            elements=tuple(e.at(index) for e in self.elements),
            pressures=self.pressures[index],
            temperatures=self.temperatures[index],
            air_pressure=self.air_pressure[index],
            outside=self.outside[index],
            heat={
                e: given[index] if isinstance(given, np.ndarray) else given.at(index)
                for e, given in self.heat.items()
            },
            first=None if self.first is None else self.first[index],
        )

    @property
    def blocks(self) -> bool:
        """True where some worlds can be solved without the others."""
        return all(getattr(given, "blocks", True) for given in self.heat.values())


def checked_task(
    network, pressures, temperatures, air_pressure, outside, heat, first, hottest, *limits
):
    """The task of `panelcp.cooling.network.solve_network`, whose parameters these are."""
    pressures = np.array(pressures, dtype=float)
    n = len(network.boundaries)
    if pressures.ndim != 2 or pressures.shape[1] != n or not len(pressures):
        raise NetworkError(
            f"boundary_pressures has shape {pressures.shape}; expected (n_worlds, {n}): one column "
            f"for each of {', '.join(network.boundaries)}"
        )
    worlds = len(pressures)
    temperatures = np.asarray(temperatures, dtype=float)
    if temperatures.ndim == 1:
        temperatures = temperatures[:, None]
    temperatures = _given("boundary_temperatures", temperatures, (worlds, n), positive=True)
    if outside is None:
        outside = temperatures.mean(axis=1)
    sources = {}
    for name, given in (heat or {}).items():
        e = index_of(network.elements, name)
        if not callable(given):
            sources[e] = _given(f"heat of {name}", given, (worlds,))
        else:
            sources[e] = given if hasattr(given, "at") else WholeHeat(given, worlds)
    _check_worlds(network, worlds)
    return Task(
        network,
        network.elements,
        _given("boundary_pressures", pressures, pressures.shape),
        temperatures,
        _given("air_pressure", air_pressure, (worlds,), positive=True),
        _given("outside_temperature", outside, (worlds,), positive=True),
        sources,
        first,
        float(hottest),
        *limits,
    )


def checked_starts(network, starts):
    """Names of the starts, checked."""
    if starts is None:
        return STARTS[:1] if network.unique else STARTS
    unknown = [name for name in starts if name not in STARTS]
    if unknown or not starts:
        raise NetworkError(f"unknown starts {unknown}; choose from {', '.join(STARTS)}")
    return starts


def flows_to_start_near(network, state, which, worlds):
    """(n_worlds, 3, n_elements) flows, inlet and outlet temperatures to start near, or None."""
    if state is None:
        return None
    known = len(state.mass_flow)
    which = np.arange(worlds) if which is None else np.asarray(which)
    if state.mass_flow.shape[1] != len(network.elements):
        raise NetworkError(
            f"first has {state.mass_flow.shape[1]} elements; the network has "
            f"{len(network.elements)}"
        )
    if which.shape != (worlds,) or np.any((which < 0) | (which >= known)):
        raise NetworkError(
            f"first_worlds has shape {which.shape} and numbers up to {which.max(initial=0)}; "
            f"expected ({worlds},) numbers below {known}"
        )
    parts = state.mass_flow, state.inlet_temperature, state.outlet_temperature
    return np.stack(parts, axis=1)[which]


def _given(name, values, shape, positive=False):
    """Array of a wanted shape, of finite numbers."""
    values = np.asarray(values, dtype=float)
    try:
        values = np.ascontiguousarray(np.broadcast_to(values, shape))
    except ValueError:
        raise NetworkError(f"{name} has shape {values.shape}; expected {shape}") from None
    bad = ~np.isfinite(values) | (positive & (values <= 0.0))
    if bad.any():
        wanted = "finite numbers above 0" if positive else "finite numbers"
        raise NetworkError(
            f"{name}: {bad.sum()} of {bad.size} numbers are no good (first: "
            f"{values[bad][0]:g}); expected {wanted}"
        )
    return values


def _check_worlds(network, worlds):
    """Numbers per world must be for as many worlds as there are pressures."""
    air = ElementAir.uniform()
    for e in network.elements:
        n = np.shape(e.drop(0.0, air)[0])[0]
        if n not in (1, worlds):
            raise NetworkError(
                f"element {e.name!r} has numbers for {n} worlds; the pressures are for {worlds}"
            )
