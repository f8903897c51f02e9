"""A thermostat with bypass: which part of the coolant goes through the radiator."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelcp.cooling.bracketing import bracketed_root
from panelcp.cooling.heat import AT_REST, CoreDuty, CoreState, heat_per_kelvin, steady_core
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

OPENS_AT = UncertainValue(
    355.15, 351.15, 361.15, "common practice", "78 to 88 degC, stamped on it", "temperature"
)
OPENING_SPAN = UncertainValue(
    12.0, 10.0, 15.0, "memory", "from first opening to full travel", "temperature difference"
)
LEAST_SHARE = UncertainValue(
    0.01, 0.003, 0.03, "memory", "part of the flow through a shut thermostat: bleed hole, leak"
)


@dataclass(frozen=True, eq=False)
class Thermostat:
    """Thermostat in the flow that leaves the engine; what it keeps back goes round the radiator.

    Attributes
    ----------
    opens_at, full_at : K, of the coolant that leaves the engine, the second the higher
    least_share : of the coolant that goes through the radiator when shut, 0 to below 1

    Raises
    ------
    NetworkError : numbers out of range
    """

    opens_at: float | np.ndarray = OPENS_AT.value
    full_at: float | np.ndarray = OPENS_AT.value + OPENING_SPAN.value
    least_share: float | np.ndarray = LEAST_SHARE.value

    def __post_init__(self):
        if not np.all(np.asarray(self.full_at) > np.asarray(self.opens_at)):
            raise NetworkError("thermostat: full_at is not above opens_at")
        least = np.asarray(self.least_share)
        if not np.all((least >= 0.0) & (least < 1.0)):
            raise NetworkError("thermostat: least_share outside 0 to below 1")

    def share(self, temperature) -> np.ndarray:
        """Part of the coolant through the radiator at a temperature, K; straight in between.

        Examples
        --------
        >>> Thermostat(355.0, 365.0, 0.0).share([350.0, 357.5, 370.0])
        array([0.  , 0.25, 1.  ])
        """
        travel = (temperature - np.asarray(self.opens_at)) / (
            np.asarray(self.full_at) - self.opens_at
        )
        return self.least_share + (1.0 - self.least_share) * np.clip(travel, 0.0, 1.0)

    def temperature(self, share) -> np.ndarray:
        """Temperature, K, at which a part between the least and all goes through."""
        travel = (np.asarray(share) - self.least_share) / (1.0 - np.asarray(self.least_share))
        return self.opens_at + travel * (np.asarray(self.full_at) - self.opens_at)


@dataclass(frozen=True, eq=False)
class RegulatedState:
    """Steady coolant circuit with thermostat.

    Attributes
    ----------
    engine_outlet, engine_inlet : K; inf where heat has no way out
    share : part of the coolant through the radiator
    radiator : CoreState, with that part of the coolant
    other_heat : W, that leaves elsewhere: hoses, block, cabin heater
    wide_open : bool, the thermostat is fully open and governs no more
    too_cold : bool, shut, and the engine still leaves its coolant below the opening temperature
    """

    engine_outlet: np.ndarray
    engine_inlet: np.ndarray
    share: np.ndarray
    radiator: CoreState
    other_heat: np.ndarray
    wide_open: np.ndarray
    too_cold: np.ndarray


def regulated_core(
    duty: CoreDuty,
    thermostat: Thermostat,
    air_flow,
    air_inlet,
    other_conductance=0.0,
    other_temperature=None,
) -> RegulatedState:
    """Steady state of engine, thermostat, bypass and radiator.

    Parameters
    ----------
    duty : CoreDuty with heat; its other_flow is the flow through the engine
    thermostat : Thermostat
    air_flow, air_inlet : kg/s and K, of the air ahead of the radiator
    other_conductance : W/K, from coolant to surroundings past the radiator, 0 or more
    other_temperature : K, of those surroundings; None: as the air

    Notes
    -----
    heat = H(x) (T - T_air) + k (T - T_other), T leaving the engine, x the share, H = e C_min of the
    radiator with x of the coolant, k the other conductance. H rises with x, so there is one state.
    What is left of the heat at the thermostat's own temperature for x tells it: wide open where
    some is left at x = 1, shut where the least x already carries off more, else the root in x,
    whose temperature is that of the thermostat: with next to no heat x is next to 0, and heat over
    H would be noise. Without heat and other conductance everything is as warm as the air. Heat
    without any way out makes the outlet infinite, however little it is: the state is steady. Where
    the conductance is a plain number it is kept for all x; a ConductanceLaw lets it fall with the
    coolant flow. Derived: balance of heat.

    Examples
    --------
    >>> duty = CoreDuty("radiator", 2.0, 3600.0, 900.0, heat=5e3)
    >>> state = regulated_core(duty, Thermostat(355.0, 367.0, 0.005), 1.2, 290.0)
    >>> round(float(state.engine_outlet), 2), round(float(state.share), 4)
    (355.07, 0.0107)
    """
    if duty.heat is None:
        raise NetworkError(f"core {duty.name!r}: a thermostat needs the heat of the engine")
    if not np.all(np.asarray(other_conductance) >= 0.0):
        raise NetworkError("other_conductance of the coolant circuit is below 0")
    circuit = _Circuit(
        duty,
        thermostat,
        *(
            np.asarray(value, dtype=float)
            for value in (
                air_flow,
                air_inlet,
                other_conductance,
                air_inlet if other_temperature is None else other_temperature,
            )
        ),
    )
    return circuit.solved()


@dataclass(frozen=True, eq=False)
class _Circuit:
    """Coolant circuit at given flows; the share through the radiator is open."""

    duty: CoreDuty
    thermostat: Thermostat
    air_flow: np.ndarray
    air_inlet: np.ndarray
    other: np.ndarray
    beside: np.ndarray

    def per_kelvin(self, share):
        return heat_per_kelvin(self.duty, self.air_flow, share * np.asarray(self.duty.other_flow))

    def solved(self) -> RegulatedState:
        """The steady state."""
        thermostat, shape = self.thermostat, np.shape(self.left(self.thermostat.least_share))
        least, whole = np.broadcast_to(thermostat.least_share, shape), np.ones(shape)
        idle = (np.asarray(self.duty.heat) == 0.0) & (self.other == 0.0)
        wide = np.where(idle, self.air_inlet >= thermostat.full_at, self.left(whole) >= 0.0)
        cold = np.where(idle, self.air_inlet < thermostat.opens_at, self.left(least) < 0.0)
        shut = ~wide & cold
        root = np.where(
            idle, thermostat.share(self.air_inlet), bracketed_root(self.left, least, whole)
        )
        share = np.where(wide, 1.0, np.where(shut, least, root))
        outlet = np.where(
            wide,
            self.outlet(whole, AT_REST),
            np.where(shut, self.outlet(least, 0.0), thermostat.temperature(share)),
        )
        return self.state(share, outlet, wide, shut)

    def outlet(self, share, none):
        """Temperature that leaves the engine when a share goes through the radiator.

        Conductances up to `none`, W/K, lead no heat away.
        """
        radiator, heat = self.per_kelvin(share), np.asarray(self.duty.heat, dtype=float)
        total = radiator + self.other
        leaves = total > none
        warm = heat + radiator * self.air_inlet + self.other * self.beside
        stuck = np.where(heat > 0.0, np.inf, self.air_inlet)
        return np.where(leaves, warm / np.where(leaves, total, 1.0), stuck)

    def left(self, share):
        """Heat that stays in the engine when its outlet is where the thermostat has the share."""
        at = self.thermostat.temperature(share)
        lost = self.per_kelvin(share) * (at - self.air_inlet) + self.other * (at - self.beside)
        return self.duty.heat - lost

    def state(self, share, outlet, wide, shut) -> RegulatedState:
        """What follows from the share and the temperature that leaves the engine."""
        flow = np.asarray(self.duty.other_flow, dtype=float)
        part = replace(self.duty, other_flow=share * flow, heat=None, hot_inlet=outlet)
        radiator = steady_core(part, self.air_flow, self.air_inlet)
        finite = np.isfinite(outlet)
        coolant = flow * np.asarray(self.duty.other_specific_heat)
        drop = radiator.heat / np.where(coolant > 0.0, coolant, np.inf)
        return RegulatedState(
            engine_outlet=outlet,
            engine_inlet=outlet - drop,
            share=share,
            radiator=radiator,
            other_heat=self.other * np.where(finite, outlet - self.beside, 0.0),
            wide_open=wide,
            too_cold=shut,
        )
