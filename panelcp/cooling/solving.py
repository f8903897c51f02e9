"""Steady state of a cooling installation in every condition, with what is not known about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from panelcp.atmosphere import GAS_CONSTANT
from panelcp.cooling.bracketing import bracketed_root
from panelcp.cooling.building import (
    OutsideAir,
    Worlds,
    build_network,
    duties,
    heat_sources,
)
from panelcp.cooling.elements import ElementAir
from panelcp.cooling.findings import budget_steps, element_numbers, sentences
from panelcp.cooling.heat import AIR_SPECIFIC_HEAT, CoreDuty, steady_core
from panelcp.cooling.installation import OUTSIDE, Core, FanUnit, Installation, Port
from panelcp.cooling.network import NetworkResult, NetworkState, solve_network
from panelcp.cooling.results import (
    Banded,
    CoolingResult,
    CoreFlow,
    FanPoint,
    OtherState,
    PortFlow,
    Way,
)
from panelcp.cooling.thermostat import regulated_core

MOST_ROUNDS = 30
SLOWLY, LEAST_STEP = 0.5, 0.1
"""Where the flows' changes do not fall to this share in a round, the pressures follow them half as
far, down to this part."""
AGREED = 1e-4
"""Flows agree with the pressures that they change when they move by less than this share."""
QUANTILES = (0.16, 0.84)
LEAST_SHRINK, MOST_GROWTH = 1.0 / 64.0, 64.0
COLDEST, HOTTEST = 220.0, 360.0
"""K, between which the outside temperature that uses up the margin is sought."""
MOST_ROOM = 1e3
"""K; margins beyond are all alike where one that is used up is sought."""
SAMPLED_TOLERANCE, SAMPLED_KELVIN = 1e-6, 0.02
"""How well worlds that are drawn are solved: their bands are far wider."""
STILL = 1e-6
"""Flows below this share of the largest count as none."""

Coupling = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class SampledOutside:
    """The air outside in many worlds.

    Attributes
    ----------
    count : samples of every condition
    port_pressure : (n_conditions, n_samples, n_ports) Pa
    deviates : name -> (n_samples,) standard-normal numbers that follow from the name
    """

    count: int
    port_pressure: np.ndarray
    deviates: Callable[[str], np.ndarray]


@dataclass(frozen=True, eq=False)
class CoreWorlds:
    """A core in many worlds, all (n_worlds,).

    Attributes
    ----------
    heat : W
    hot, cold : K, see `CoreFlow`
    limit, margin : K; nan without a limit
    share : part of the coolant through the core
    too_cold : bool
    """

    heat: np.ndarray
    hot: np.ndarray
    cold: np.ndarray
    limit: np.ndarray
    margin: np.ndarray
    share: np.ndarray
    too_cold: np.ndarray


def solve_cooling(
    installation: Installation,
    air: OutsideAir,
    sampled: SampledOutside | None = None,
    coupling: Coupling | None = None,
    recovery_change: Coupling | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> CoolingResult:
    """Flows, pressures, temperatures and margins of an installation in every condition.

    Parameters
    ----------
    installation : Installation
    air : OutsideAir at its ports
    sampled : SampledOutside, for bands; None leaves them out
    coupling : from the flows out of the body through the ports, (n_conditions, n_ports) m3/s, to
        by how much the flows of the other ports change the pressure at each, Pa, same shape; None
        leaves the influence out
    recovery_change : from the same flows to by how much the pressure behind every inlet changes
        since its recovery depends on its speed ratio, Pa; None: it does not
    progress : called with a short text before each step

    Returns
    -------
    CoolingResult

    Raises
    ------
    NetworkError : an installation that cannot be solved

    Notes
    -----
    The central world is solved from all starts, the sampled ones from its state. The influence of
    the flows on the pressures outside is found in the central world and is the same in the others.
    """
    progress("solving the cooling network")
    centre = Centre(installation, air)
    rounds, change = centre.couple(coupling, recovery_change)
    progress("looking for what uses up the margins")
    needed, hottest = _pressure_in_hand(centre), _highest_outside(centre)
    worlds = None
    if sampled is not None:
        progress(f"solving the cooling network in {sampled.count} worlds of every condition")
        worlds = _SampledWorlds(centre, sampled)
    ports = tuple(_port_flow(centre, worlds, k, port) for k, port in enumerate(installation.ports))
    cores = tuple(_core_flow(centre, worlds, core) for core in installation.cores)
    state, n = centre.state, len(air.conditions)
    numbers = element_numbers(installation, centre.result)
    found = {
        "installation": installation,
        "conditions": air.conditions,
        "decides": air.decides,
        "ports": ports,
        "cores": cores,
        "fans": tuple(_fan_point(centre, fan) for fan in installation.fans),
        "ways": _ways(installation, numbers),
        "budget": budget_steps(installation, centre.result, centre.pressure),
        **_at_nodes(centre.result),
        "available_over_needed": needed,
        "highest_outside": hottest,
        "leak_share": _leak_share(installation, numbers, ports),
        "predicted": air.predicted,
        "residual": state.residual,
        "heat_error": _heat_error(centre),
        "steps": state.iterations,
        "converged": centre.result.converged,
        "starts": tuple(centre.result.states[k].start for k in centre.result.chosen),
        "samples": sampled.count if sampled is not None else 0,
        "lost_samples": np.zeros(n, int) if worlds is None else worlds.lost,
        "coupling_rounds": rounds,
        "coupling_change": change,
        "other_states": tuple(_other_states(centre)),
        "notes": (*installation.notes, *centre.result.network.notes),
    }
    result = CoolingResult(**found)
    return CoolingResult(**found | {"warnings": sentences(result, air)})


# ---- the central world -----------------------------------------------------------------------


class Centre:
    """The central world of all conditions.

    Attributes
    ----------
    pressure : (n_conditions, n_ports) Pa, outside the ports with the influence of their flows
    coupling : (n_conditions, n_ports) Pa of it, by the flows of the others
    recovered : (n_conditions, n_ports) Pa of it, by the speed ratios of the inlets
    duties : name of a core -> CoreDuty
    result : NetworkResult, worlds are conditions
    """

    def __init__(self, installation: Installation, air: OutsideAir):
        self.installation, self.air = installation, air
        self.worlds = Worlds(np.arange(len(air.conditions)))
        self.network = build_network(installation, air, self.worlds)
        self.duties = duties(installation, self.worlds)
        self.coupling = np.zeros(air.port_pressure.shape)
        self.recovered = np.zeros(air.port_pressure.shape)
        self.result = self._solved()

    @property
    def pressure(self) -> np.ndarray:
        """(n_conditions, n_ports) Pa, outside, with the influence of the flows."""
        return self.air.port_pressure + self.changes

    @property
    def changes(self) -> np.ndarray:
        """(n_conditions, n_ports) Pa, by which the flows change the pressures outside."""
        return self.coupling + self.recovered

    @property
    def state(self) -> NetworkState:
        """State that is shown."""
        return self.result.state

    def _solved(self) -> NetworkResult:
        return self._network(self.pressure, self.air.temperature, self.duties)

    def at(self, pressure, temperature, given) -> NetworkResult:
        """The network at other pressures, outside temperatures and duties, near its own state."""
        return self._network(pressure, temperature, given, first=self.state)

    def _network(self, pressure, temperature, given, **how) -> NetworkResult:
        return solve_network(
            self.network,
            with_outside(self.network, pressure),
            temperature,
            air_pressure=self.air.pressure,
            outside_temperature=temperature,
            heat=heat_sources(given),
            **how,
        )

    def couple(self, coupling, recovery_change=None) -> tuple[int, float]:
        """Repeat until flows and the pressures that they change agree: rounds, last change.

        Both are `Coupling` or None, see `solve_cooling`.
        """
        if coupling is None and recovery_change is None:
            return 0, 0.0
        rounds, change, agreed, step = 0, np.inf, False, 1.0
        after = port_flows(self.installation, self.result)
        while not agreed and rounds < MOST_ROUNDS:
            before, last, rounds = after, change, rounds + 1
            flows = self.volume_flows()
            if coupling is not None:
                self.coupling = self.coupling + step * (coupling(flows) - self.coupling)
            if recovery_change is not None:
                self.recovered = self.recovered + step * (recovery_change(flows) - self.recovered)
            self.result = self._solved()
            after = port_flows(self.installation, self.result)
            change = float(np.abs(after - before).max(initial=0.0)) / step
            agreed = change <= AGREED * max(float(np.abs(after).max(initial=0.0)), 1e-9)
            if change > SLOWLY * last:
                step = max(0.5 * step, LEAST_STEP)
        return rounds, change

    def least_margin(self) -> np.ndarray:
        """(n_conditions,) K, of all cores; nan without limit or steady state."""
        return _least_margin(self, self.result, self.duties)

    def volume_flows(self) -> np.ndarray:
        """(n_conditions, n_ports) m3/s out of the body, at the density inside the opening."""
        flows = port_flows(self.installation, self.result)
        signs = [-1.0 if port.use == "inlet" else 1.0 for port in self.installation.ports]
        return flows * signs / self.port_density()

    def port_density(self) -> np.ndarray:
        """(n_conditions, n_ports) kg/m3, of the air that passes."""
        columns = [_column(self.result, port.name) for port in self.installation.ports]
        state = self.state
        air = ElementAir(
            state.inlet_temperature[:, columns],
            state.outlet_temperature[:, columns],
            self.air.temperature[:, None],
            self.air.pressure[:, None],
        )
        return air.inlet_density


def with_outside(network, pressure) -> np.ndarray:
    """Boundary pressures of a network: those of the ports, and still air where it is joined."""
    if OUTSIDE not in network.boundaries:
        return pressure
    return np.append(pressure, np.zeros((*pressure.shape[:-1], 1)), axis=-1)


def port_flows(installation: Installation, result: NetworkResult) -> np.ndarray:
    """(n_worlds, n_ports) kg/s in the sense of the use of every port."""
    return np.stack([result.flow(port.name) for port in installation.ports], axis=1)


def _column(result: NetworkResult, name: str) -> int:
    return [e.name for e in result.network.elements].index(name)


# ---- cores -----------------------------------------------------------------------------------


def core_worlds(
    core: Core, duty: CoreDuty, state: NetworkState, column: int, boiling
) -> CoreWorlds:
    """A core at the flows of a network's state.

    Parameters
    ----------
    core, duty : Core and its CoreDuty in the same worlds
    state : NetworkState
    column : of the core among the elements
    boiling : (n_worlds,) K, or inf
    """
    flow = np.abs(state.mass_flow[:, column])
    ahead = state.inlet_temperature[:, column]
    share, shut = np.ones(len(flow)), np.zeros(len(flow), dtype=bool)
    if core.thermostat is not None:
        regulated = regulated_core(duty, core.thermostat, flow, ahead)
        heat, hot, cold = regulated.radiator.heat, regulated.engine_outlet, regulated.engine_inlet
        share, shut = regulated.share, regulated.too_cold
    else:
        steady = steady_core(duty, flow, ahead)
        heat, hot, cold = steady.heat, steady.hot_inlet, steady.hot_outlet
    judged = cold if core.role == "charge air" else hot
    limit = np.full(len(flow), np.nan)
    if core.limit is not None:
        limit = np.minimum(np.full(len(flow), core.limit.value), boiling)
    least = core.least if core.least is not None else -np.inf
    works = np.greater(np.broadcast_to(duty.heat if duty.heat is not None else 0.0, flow.shape), 0)
    return CoreWorlds(
        heat=np.broadcast_to(heat, flow.shape),
        hot=np.broadcast_to(hot, flow.shape),
        cold=np.broadcast_to(cold, flow.shape),
        limit=limit,
        margin=limit - judged,
        share=np.broadcast_to(share, flow.shape),
        too_cold=works & (shut | (hot < least)),
    )


def _cores_at(centre: Centre, result: NetworkResult, given) -> dict[str, CoreWorlds]:
    """All cores in the central worlds of a network's result."""
    found = {}
    for core in centre.installation.cores:
        boiling = np.inf if core.boiling is None else centre.worlds.each(core.boiling)
        column = _column(result, core.name)
        found[core.name] = core_worlds(core, given[core.name], result.state, column, boiling)
    return found


def _least_margin(centre: Centre, result: NetworkResult, given) -> np.ndarray:
    """(n_conditions,) K, of all cores; nan where none has a limit or the network did not settle."""
    rows = [found.margin for found in _cores_at(centre, result, given).values()]
    least = np.full(len(result.converged), np.nan)
    if rows:
        rows = np.array(rows)
        known = ~np.isnan(rows)
        least = np.where(known.any(axis=0), np.where(known, rows, np.inf).min(axis=0), np.nan)
    return np.where(result.converged, least, np.nan)


def _core_flow(centre: Centre, worlds, core: Core) -> CoreFlow:
    state, column = centre.state, _column(centre.result, core.name)
    found = _cores_at(centre, centre.result, centre.duties)[core.name]
    flow, ahead = state.mass_flow[:, column], state.inlet_temperature[:, column]
    density = centre.air.pressure / (GAS_CONSTANT * ahead)
    too_hot = np.full(len(flow), np.nan)
    if worlds is not None and core.limit is not None:
        too_hot = worlds.share(worlds.cores[core.name].margin < 0.0)
    heat = np.where(flow == 0.0, 0.0, state.heat[:, column])
    return CoreFlow(
        name=core.name,
        role=core.role,
        flow=_banded(flow, worlds, lambda w: w.flow(core.name)),
        face_velocity=flow / (density * core.face_area),
        drop=state.drop[:, column],
        outside_test=core.drop.outside(flow / core.face_area),
        air_inlet=ahead,
        air_outlet=state.outlet_temperature[:, column],
        heat=heat,
        hot=found.hot,
        cold=found.cold,
        limit=found.limit,
        margin=_banded(found.margin, worlds, lambda w: w.cores[core.name].margin),
        chance_too_hot=too_hot,
        thermostat_share=found.share,
        too_cold=found.too_cold,
        reversed=_backward(flow, state),
        chance_reversed=_chance_backward(worlds, core.name, len(flow)),
    )


# ---- ports, fans, ways -----------------------------------------------------------------------


def _backward(flow: np.ndarray, state: NetworkState) -> np.ndarray:
    return flow < -STILL * np.abs(state.mass_flow).max(axis=1, initial=0.0)


def _chance_backward(worlds, name: str, n: int) -> np.ndarray:
    if worlds is None:
        return np.full(n, np.nan)
    return worlds.share(_backward(worlds.flow(name), worlds.state))


def _banded(value: np.ndarray, worlds, of: Callable) -> Banded:
    nothing = np.full(len(value), np.nan)
    low, high = (nothing, nothing) if worlds is None else worlds.quantiles(of(worlds))
    return Banded(value=value, low=low, high=high)


def _port_flow(centre: Centre, worlds, k: int, port: Port) -> PortFlow:
    state, column = centre.state, _column(centre.result, port.name)
    flow = state.mass_flow[:, column]
    velocity = flow / (centre.port_density()[:, k] * port.area)
    airspeed = centre.air.airspeed
    ratio = np.divide(velocity, airspeed, out=np.full(len(flow), np.nan), where=airspeed > 0.0)
    return PortFlow(
        name=port.name,
        use=port.use,
        pressure=centre.pressure[:, k],
        coupling=centre.coupling[:, k],
        flow=_banded(flow, worlds, lambda w: w.flow(port.name)),
        velocity=velocity,
        velocity_ratio=ratio,
        temperature=state.inlet_temperature[:, column],
        reversed=_backward(flow, state),
        chance_reversed=_chance_backward(worlds, port.name, len(flow)),
    )


def _fan_point(centre: Centre, fan: FanUnit) -> FanPoint:
    state, column = centre.state, _column(centre.result, fan.name)
    density = centre.air.pressure / (GAS_CONSTANT * state.inlet_temperature[:, column])
    running = fan.speed > 0.0
    power = np.full(len(density), np.nan)
    if fan.electrical_power is not None:
        power = fan.electrical_power * fan.speed**3 * density / fan.density
    return FanPoint(
        name=fan.name,
        running=running,
        flow=state.mass_flow[:, column] / density,
        pressure_rise=-state.drop[:, column],
        electrical_power=np.where(running, power, 0.0),
        near_dip=state.near_dip[:, column] & running,
        holds_back=state.holds_back[:, column],
    )


def _ways(installation: Installation, numbers: dict) -> tuple[Way, ...]:
    kinds = [(duct.name, "duct") for duct in installation.ducts]
    kinds += [(leak.name, "leak") for leak in installation.leaks]
    kinds += [(f"{fan.name}, doors", "doors") for fan in installation.fans if fan.doors]
    return tuple(Way(name, kind, *numbers[name]) for name, kind in kinds)


def _at_nodes(result: NetworkResult) -> dict[str, dict[str, np.ndarray]]:
    names = [node.name for node in result.network.nodes]
    return {
        "node_pressure": {name: result.pressure(name) for name in names},
        "node_temperature": {name: result.temperature(name) for name in names},
    }


def _leak_share(installation: Installation, numbers: dict, ports) -> np.ndarray:
    """Part of the air taken in that leaves through leaks; nan where none is taken in."""
    taken = sum(np.maximum(p.flow.value, 0.0) for p in ports if p.use == "inlet")
    lost = sum(np.maximum(numbers[leak.name][0], 0.0) for leak in installation.leaks)
    lost, taken = np.broadcast_arrays(np.asarray(lost, float), np.asarray(taken, float))
    return np.divide(lost, taken, out=np.full(taken.shape, np.nan), where=taken > 0.0)


def _heat_error(centre: Centre) -> np.ndarray:
    """Heat that leaves with the air through all boundaries, against that of the cores."""
    state, network = centre.state, centre.network
    outflow = np.zeros(len(state.mass_flow))
    for e, element in enumerate(network.elements):
        ends = {element.start: -1.0, element.end: 1.0}
        outside = [name for name in ends if name in network.boundaries]
        for name in outside:
            flow = state.mass_flow[:, e] * ends[name]
            leaving = np.where(flow > 0.0, state.outlet_temperature[:, e], centre.air.temperature)
            outflow += flow * AIR_SPECIFIC_HEAT * (leaving - centre.air.temperature)
    given = state.heat.sum(axis=1)
    size = np.abs(state.heat).sum(axis=1)
    return np.divide(outflow - given, size, out=np.zeros(len(size)), where=size > 1e-6)


def _other_states(centre: Centre):
    result, installation = centre.result, centre.installation
    for k, state in enumerate(result.states):
        for c in np.flatnonzero(result.distinct[k] & (result.chosen != k)):
            flows = {
                port.name: float(state.mass_flow[c, _column(result, port.name)])
                for port in installation.ports
            }
            margins = {}
            for core in installation.cores:
                boiling = np.inf if core.boiling is None else centre.worlds.each(core.boiling)
                found = core_worlds(
                    core, centre.duties[core.name], state, _column(result, core.name), boiling
                )
                if core.limit is not None:
                    margins[core.name] = float(found.margin[c])
            yield OtherState(int(c), state.start, flows, margins)


# ---- what uses up the margins ----------------------------------------------------------------


def _pressure_in_hand(centre: Centre) -> np.ndarray:
    """(n_conditions,) one over the factor on all pressures outside that leaves no margin.

    nan where no core has a limit, a fan runs, or no air moves outside: then the pressures outside
    do not drive the air.
    """
    air, installation = centre.air, centre.installation
    n = len(air.conditions)
    driven = air.moving.copy()
    for fan in installation.fans:
        driven &= fan.speed == 0.0

    def margin_at(log_factor):
        pressure = centre.pressure * np.exp(log_factor)[:, None]
        result = centre.at(pressure, air.temperature, centre.duties)
        return _least_margin(centre, result, centre.duties)

    ends = np.full(n, np.log(LEAST_SHRINK)), np.full(n, np.log(MOST_GROWTH))
    place, at_low, at_high = _where_used_up(margin_at, *ends)
    factor = np.exp(place)
    needed = np.where(at_low > 0.0, 0.0, np.where(at_high < 0.0, np.inf, factor))
    known = driven & ~np.isnan(centre.least_margin())
    found = np.divide(1.0, needed, out=np.full(n, np.inf), where=needed > 0.0)
    return np.where(known, found, np.nan)


def _highest_outside(centre: Centre) -> np.ndarray:
    """(n_conditions,) K, outside temperature that leaves no margin, pressures outside kept."""
    n = len(centre.air.conditions)

    def margin_at(temperature):
        given = duties(centre.installation, centre.worlds, temperature / centre.air.temperature)
        return _least_margin(centre, centre.at(centre.pressure, temperature, given), given)

    ends = np.full(n, COLDEST), np.full(n, HOTTEST)
    found, at_low, at_high = _where_used_up(margin_at, *ends)
    found = np.where(at_low < 0.0, -np.inf, np.where(at_high > 0.0, np.inf, found))
    return np.where(np.isnan(centre.least_margin()), np.nan, found)


def _where_used_up(margin_at, low, high) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place where a margin passes zero, and the margins at both bounds; no margin counts as none.

    Parameters
    ----------
    margin_at : takes and gives (n_conditions,)
    low, high : floats
    """
    known = {}

    def clipped(place):
        key = place.tobytes()
        if key not in known:
            found = np.nan_to_num(margin_at(place), nan=-MOST_ROOM, posinf=MOST_ROOM)
            known[key] = np.clip(found, -MOST_ROOM, MOST_ROOM)
        return known[key]

    ends = clipped(low), clipped(high)
    return bracketed_root(clipped, low, high, tolerance=1e-5), *ends


# ---- sampled worlds --------------------------------------------------------------------------


class _SampledWorlds:
    """The network in all samples of all conditions.

    Attributes
    ----------
    state : NetworkState, world = condition * samples + sample
    cores : name of a core -> CoreWorlds
    lost : (n_conditions,) int, worlds that did not converge
    """

    def __init__(self, centre: Centre, sampled: SampledOutside):
        air, installation = centre.air, centre.installation
        self.shape = len(air.conditions), sampled.count
        worlds = Worlds(np.arange(self.shape[0]), sampled.count, sampled.deviates)
        network = build_network(installation, air, worlds)
        given = duties(installation, worlds)
        pressure = sampled.port_pressure + centre.changes[:, None]
        temperature = worlds.each(air.temperature)
        self._result = solve_network(
            network,
            with_outside(network, pressure.reshape(worlds.count, -1)),
            temperature,
            air_pressure=worlds.each(air.pressure),
            outside_temperature=temperature,
            heat=heat_sources(given),
            first=centre.state,
            first_worlds=np.repeat(np.arange(self.shape[0]), sampled.count),
            ease=False,
            tolerance=SAMPLED_TOLERANCE,
            temperature_tolerance=SAMPLED_KELVIN,
        )
        self.state = self._result.state
        self._good = self._result.converged.reshape(self.shape)
        self.lost = np.count_nonzero(~self._good, axis=1)
        self.cores = {}
        for core in installation.cores:
            boiling = np.inf if core.boiling is None else worlds.each(core.boiling)
            column = _column(self._result, core.name)
            self.cores[core.name] = core_worlds(core, given[core.name], self.state, column, boiling)

    def flow(self, name: str) -> np.ndarray:
        """(n_worlds,) kg/s."""
        return self._result.flow(name)

    def share(self, which: np.ndarray) -> np.ndarray:
        """(n_conditions,) part of the worlds that converged."""
        count = self._good.sum(axis=1)
        hits = (which.reshape(self.shape) & self._good).sum(axis=1)
        return np.divide(hits, count, out=np.full(len(count), np.nan), where=count > 0)

    def quantiles(self, values: np.ndarray) -> np.ndarray:
        """(2, n_conditions): QUANTILES of the worlds that converged."""
        rows = values.reshape(self.shape)
        found = np.full((2, len(rows)), np.nan)
        for c, (row, good) in enumerate(zip(rows, self._good, strict=True)):
            if good.any():
                found[:, c] = np.quantile(row[good], QUANTILES, method="nearest")
        return found
