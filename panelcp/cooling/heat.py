"""Steady temperatures of cores: coolant, oil, charge air and the air that cools them.

All functions take floats or arrays of worlds that broadcast. Air flows are sizes: where the network
finds air going backwards, give the size of the flow and the temperature on the side it comes from.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from panelcp.cooling.bracketing import bracketed_root
from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.exchangers import ARRANGEMENTS, effectiveness
from panelcp.cooling.loads import AIR_SPECIFIC_HEAT
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

LEAST_AIR_FLOW, MOST_AIR_FLOW = 1e-4, 100.0
"""kg/s; between these a needed air flow is sought."""

AT_REST = 1e-9
"""W/K; heat capacity flows and conductances up to this count as none."""


@dataclass(frozen=True, eq=False)
class CoreDuty:
    """A core and what runs through it on the side that is cooled.

    Attributes
    ----------
    name : str
    other_flow : kg/s, of coolant, oil or charge air, 0 or more
    other_specific_heat : J/(kg K)
    conductance : W/K, or a ConductanceLaw that scales it with both flows
    heat : W, 0 or more, that must leave through the core (coolant, oil); or None
    hot_inlet : K, with which the cooled stream comes (charge air); or None
    arrangement : one of `exchangers.ARRANGEMENTS`

    Raises
    ------
    NetworkError : not exactly one of heat and hot_inlet, numbers out of range
    """

    name: str
    other_flow: float | np.ndarray
    other_specific_heat: float | np.ndarray
    conductance: float | np.ndarray | ConductanceLaw
    heat: float | np.ndarray | None = None
    hot_inlet: float | np.ndarray | None = None
    arrangement: str = "cross-flow"

    def __post_init__(self):
        if (self.heat is None) == (self.hot_inlet is None):
            raise NetworkError(
                f"core {self.name!r}: give either its heat or the temperature with which the "
                "cooled stream comes, not both or none"
            )
        if self.arrangement not in ARRANGEMENTS:
            raise NetworkError(
                f"core {self.name!r}: unknown arrangement {self.arrangement!r}; known: "
                + "; ".join(ARRANGEMENTS)
            )
        numbers = [("other_flow", self.other_flow), ("heat", self.heat)]
        if not isinstance(self.conductance, ConductanceLaw):
            numbers.append(("conductance", self.conductance))
        for what, value in numbers:
            if value is not None and not np.all(np.isfinite(value) & (np.asarray(value) >= 0.0)):
                raise NetworkError(f"core {self.name!r}: {what} is below 0 or not finite")
        for what in ("other_specific_heat", "hot_inlet"):
            value = getattr(self, what)
            if value is not None and not np.all(np.asarray(value) > 0.0):
                raise NetworkError(f"core {self.name!r}: {what} is not above 0")

    def conductance_at(self, air_flow, other_flow) -> np.ndarray:
        """W/K at flows in kg/s."""
        if isinstance(self.conductance, ConductanceLaw):
            return self.conductance.at(air_flow, other_flow)
        return np.asarray(self.conductance, dtype=float)


@dataclass(frozen=True, eq=False)
class CoreState:
    """Steady state of a core.

    Attributes
    ----------
    heat : W, from the cooled stream to the air; negative where hotter air warms charge air
    hot_inlet, hot_outlet : K, cooled stream; inf where heat has to leave and nothing flows
    air_inlet, air_outlet : K
    effectiveness : 0 to 1
    transfer_units : conductance over the smaller heat capacity flow; 0 where nothing flows
    capacity_ratio : smaller over larger heat capacity flow
    """

    heat: np.ndarray
    hot_inlet: np.ndarray
    hot_outlet: np.ndarray
    air_inlet: np.ndarray
    air_outlet: np.ndarray
    effectiveness: np.ndarray
    transfer_units: np.ndarray
    capacity_ratio: np.ndarray


def steady_core(duty: CoreDuty, air_flow, air_inlet) -> CoreState:
    """Temperatures on both sides of a core.

    Parameters
    ----------
    duty : CoreDuty
    air_flow : kg/s through the core, 0 or more
    air_inlet : K, of the air ahead of the core

    Notes
    -----
    heat = e C_min (hot inlet - air inlet), e from `exchangers.effectiveness`; both outlets from
    heat over heat capacity flow. Derived: balance of heat.

    Examples
    --------
    >>> duty = CoreDuty("radiator", 2.0, 3600.0, 900.0, heat=45e3)
    >>> state = steady_core(duty, 1.2, 311.0)
    >>> round(float(state.hot_inlet), 2), round(float(state.air_outlet), 2)
    (384.96, 348.28)
    """
    air_flow, air_inlet = _air(air_flow, air_inlet)
    other = np.asarray(duty.other_flow, dtype=float) * duty.other_specific_heat
    reached, units, ratio = _exchange(duty, air_flow, duty.other_flow)
    air = air_flow * AIR_SPECIFIC_HEAT
    per_kelvin = reached * np.minimum(air, other)
    if duty.heat is None:
        hot = np.asarray(duty.hot_inlet, dtype=float)
        exchanges = per_kelvin > AT_REST
        heat = per_kelvin * np.where(exchanges, hot - air_inlet, 0.0)
    else:
        heat = np.asarray(duty.heat, dtype=float)
        hot = air_inlet + _per(heat, per_kelvin)
    outlet = np.where(np.isinf(hot), np.inf, hot - np.where(np.isinf(hot), 0.0, _per(heat, other)))
    parts = (heat, hot, outlet, air_inlet, air_inlet + _per(heat, air), reached, units, ratio)
    return CoreState(*np.broadcast_arrays(*parts))


def heat_per_kelvin(duty: CoreDuty, air_flow, other_flow=None) -> np.ndarray:
    """Heat, W/K, through a core per kelvin between both inlets: e C_min.

    Parameters
    ----------
    duty : CoreDuty
    air_flow : kg/s, 0 or more
    other_flow : kg/s; None: that of the duty

    Examples
    --------
    >>> duty = CoreDuty("radiator", 2.0, 3600.0, 900.0, heat=45e3)
    >>> heat_per_kelvin(duty, [0.0, 1.2]).round(2)
    array([  0. , 608.4])
    """
    other = duty.other_flow if other_flow is None else other_flow
    air_flow = np.asarray(air_flow, dtype=float)
    reached, _, _ = _exchange(duty, air_flow, other)
    return reached * np.minimum(air_flow * AIR_SPECIFIC_HEAT, other * duty.other_specific_heat)


def heat_to_air(duty: CoreDuty) -> Callable:
    """Heat, W, that a core gives to air, as a function of its flow and inlet temperature.

    Parameters
    ----------
    duty : CoreDuty

    Returns
    -------
    function of the air flow, kg/s, of either sign, and the temperature, K, that the air has where
    it enters: what a network of cooling air asks for. Nothing where the air rests.

    Examples
    --------
    >>> cooler = CoreDuty("charge air", 0.08, 1005.0, 120.0, hot_inlet=360.0)
    >>> heat_to_air(cooler)([0.3, -0.3, 0.0], 311.0).round(1)
    array([2800.4, 2800.4,    0. ])
    """

    return HeatToAir(duty)


@dataclass(frozen=True, eq=False)
class HeatToAir:
    """See `heat_to_air`; `at` gives the same for some of the worlds."""

    duty: CoreDuty

    def __call__(self, air_flow, air_inlet) -> np.ndarray:
        """Heat, W."""
        size = np.abs(air_flow)
        heat = self.duty.heat
        if heat is None:
            heat = steady_core(self.duty, size, air_inlet).heat
        return np.where(size > 0.0, heat, 0.0)

    def at(self, index) -> HeatToAir:
        """The heat in the worlds `index`, a slice or numbers."""
        return HeatToAir(_picked(self.duty, index))


def _picked(record, index):
    """A record whose arrays of worlds are picked from."""
    changed = {}
    for part in fields(record):
        value = getattr(record, part.name)
        if isinstance(value, ConductanceLaw):
            changed[part.name] = _picked(value, index)
        elif isinstance(value, np.ndarray) and value.size > 1:
            changed[part.name] = value[index]
    return replace(record, **changed)


def cores_in_series(duties: Sequence[CoreDuty], air_flow, air_inlet) -> tuple[CoreState, ...]:
    """States of cores that the same air passes one after the other.

    Parameters
    ----------
    duties : cores in the order of the air, all in the whole flow
    air_flow, air_inlet : as in `steady_core`, the inlet that of the first core

    Examples
    --------
    >>> cooler = CoreDuty("charge air", 0.08, 1005.0, 120.0, hot_inlet=360.0)
    >>> radiator = CoreDuty("radiator", 2.0, 3600.0, 900.0, heat=45e3)
    >>> behind, ahead = (
    ...     [float(s.hot_inlet.round(2)) for s in cores_in_series(order, 1.2, 311.0)]
    ...     for order in ((radiator, cooler), (cooler, radiator))
    ... )
    >>> behind, ahead
    ([384.96, 360.0], [360.0, 387.44])
    """
    states = []
    for duty in duties:
        states.append(steady_core(duty, air_flow, air_inlet))
        air_inlet = states[-1].air_outlet
    return tuple(states)


def mixed_temperature(flows, temperatures) -> np.ndarray:
    """Temperature, K, of air streams that meet.

    Parameters
    ----------
    flows : (n_streams, ...) kg/s; only those above 0, which come in, count
    temperatures : (n_streams, ...) K, of the streams where they come from

    Returns
    -------
    (...) array; nan where no air comes

    Examples
    --------
    >>> float(mixed_temperature([0.3, 0.1, -0.4], [310.0, 350.0, 900.0]).round(6))
    320.0
    """
    flows = np.maximum(np.asarray(flows, dtype=float), 0.0)
    total = flows.sum(axis=0)
    share = flows / np.where(total > 0.0, total, np.nan)
    return (share * np.asarray(temperatures, dtype=float)).sum(axis=0)


def air_flow_for_rise(heat, rise) -> np.ndarray:
    """Air flow, kg/s, that carries heat, W, with a rise of its temperature, K, above 0.

    Examples
    --------
    >>> air_flow_for_rise(45e3, [50.0, 40.0, 30.0]).round(2)
    array([0.89, 1.12, 1.49])
    """
    rise = np.asarray(rise, dtype=float)
    if not np.all(rise > 0.0):
        raise NetworkError("rise of the air's temperature is not above 0")
    return np.asarray(heat, dtype=float) / (AIR_SPECIFIC_HEAT * rise)


def needed_air_flow(duty: CoreDuty, air_inlet, limit) -> np.ndarray:
    """Least air flow, kg/s, that keeps the hot inlet of a core at or below a limit.

    Parameters
    ----------
    duty : CoreDuty with heat
    air_inlet : K
    limit : K, of the stream where it enters the core: as it leaves the engine

    Returns
    -------
    array
        inf where no flow below `MOST_AIR_FLOW` is enough: the core is too small, or the air as hot
        as the limit. Never below `LEAST_AIR_FLOW`.

    Examples
    --------
    >>> duty = CoreDuty("radiator", 2.0, 3600.0, 900.0, heat=45e3)
    >>> flow = needed_air_flow(duty, 311.0, [384.965, 311.0])
    >>> flow.round(3)
    array([1.2, inf])
    """
    if duty.heat is None:
        raise NetworkError(f"core {duty.name!r}: a needed air flow needs the heat of the core")
    air_inlet, limit = np.asarray(air_inlet, dtype=float), np.asarray(limit, dtype=float)

    def room(log_flow):
        state = steady_core(duty, np.exp(log_flow), air_inlet)
        return np.maximum(limit, 0.0) - np.minimum(state.hot_inlet, 1e9)

    shape = np.broadcast_shapes(np.shape(duty.heat), air_inlet.shape, limit.shape)
    shape = np.broadcast_shapes(shape, np.shape(room(0.0)))
    low, high = (np.full(shape, np.log(f)) for f in (LEAST_AIR_FLOW, MOST_AIR_FLOW))
    flow = np.exp(bracketed_root(room, low, high))
    flow = np.where(room(low) >= 0.0, LEAST_AIR_FLOW, flow)
    return np.where(room(high) < 0.0, np.inf, flow)


def margin(limit: UncertainValue | float, temperature, boiling=np.inf) -> np.ndarray:
    """Room, K, from a temperature up to its limit or to boiling, whichever comes first.

    Parameters
    ----------
    limit : K, UncertainValue (its value counts; draw from its band for worlds) or float or array
    temperature : K, the hottest of the stream
    boiling : K, `coolant.boiling_under_cap`; inf for oil

    Examples
    --------
    >>> from panelcp.cooling.loads import COOLANT_LIMIT
    >>> margin(COOLANT_LIMIT, [380.65, 395.65]), margin(COOLANT_LIMIT, 380.65, boiling=384.65)
    (array([10., -5.]), array(4.))
    """
    value = limit.value if isinstance(limit, UncertainValue) else limit
    least = np.minimum(np.asarray(value, dtype=float), boiling)
    return np.asarray(least - np.asarray(temperature, dtype=float))


def highest_outside_temperature(margin_at: Callable, lowest, highest) -> np.ndarray:
    """Outside temperature, K, at which a margin is used up.

    Parameters
    ----------
    margin_at : takes outside temperatures (array, K) and gives margins (array, K) that fall as it
        gets warmer; may solve the network at each
    lowest, highest : K, floats or arrays, between which it is sought

    Returns
    -------
    array
        -inf where even the lowest is too hot, inf where the highest still leaves a margin.

    Notes
    -----
    With flows and heat that do not change with the temperature outside, the answer is the outside
    temperature plus the margin there: the correction of one degree for each degree of 14 CFR
    23.1043(c), text before the rewrite of 2017.

    Examples
    --------
    >>> highest_outside_temperature(lambda t: 390.0 - 1.2 * t, [300.0, 330.0], 340.0)
    array([325., -inf])
    """
    low, high = np.broadcast_arrays(
        np.asarray(lowest, dtype=float), np.asarray(highest, dtype=float)
    )
    found = bracketed_root(margin_at, low, high, tolerance=1e-9)
    found = np.where(np.asarray(margin_at(low)) < 0.0, -np.inf, found)
    return np.where(np.asarray(margin_at(high)) > 0.0, np.inf, found)


def _exchange(duty, air_flow, other_flow):
    """Effectiveness, transfer units and capacity ratio of a core at its flows."""
    other_flow = np.asarray(other_flow, dtype=float)
    air = air_flow * AIR_SPECIFIC_HEAT
    other = other_flow * np.asarray(duty.other_specific_heat, dtype=float)
    least, most = np.minimum(air, other), np.maximum(air, other)
    conductance = np.asarray(duty.conductance_at(air_flow, other_flow), dtype=float)
    flows = least > AT_REST
    ratio = np.where(flows, least / np.where(flows, most, 1.0), 0.0)
    units = np.where(flows, conductance / np.where(flows, least, 1.0), 0.0)
    return effectiveness(units, ratio, duty.arrangement), units, ratio


def _per(heat, capacity):
    """Heat over heat capacity flow, K: without flow infinite, without heat 0."""
    capacity = np.asarray(capacity, dtype=float)
    flows = capacity > AT_REST
    return np.where(
        flows, heat / np.where(flows, capacity, 1.0), np.where(np.greater(heat, 0.0), np.inf, 0.0)
    )


def _air(flow, temperature):
    flow, temperature = np.asarray(flow, dtype=float), np.asarray(temperature, dtype=float)
    if not np.all((flow >= 0.0) & np.isfinite(flow)):
        raise NetworkError(
            "air flow of a core is below 0 or not finite; for air that goes backwards give the "
            "size of the flow and the temperature it comes with"
        )
    if not np.all(temperature > 0.0):
        raise NetworkError("temperature of the air ahead of a core is not above 0 K")
    return flow, temperature
