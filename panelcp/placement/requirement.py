"""Pressure that the cooling air needs, scaled from one known condition to the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

from panelcp.atmosphere import Air
from panelcp.errors import PlacementError
from panelcp.onset.conditions import FlightCondition
from panelcp.quantity import UncertainValue

EXPONENT = UncertainValue(
    1.7, 1.6, 1.8, "common practice", "pressure drop of a louvred core against flow, range"
)

KEPT_MARKS = ("common practice", "memory", "yours")
"""Marks that stay when a number is scaled; others become "derived"."""


@dataclass(frozen=True)
class NeededPressure:
    """Needed pressure at full power on the hot day at sea level, and its scaling.

    Attributes
    ----------
    reference : Pa with band, at 100 % power in the reference air
    limit_temperature : K, of the coolant, or None: then the outside temperature does not count
    reference_air : Air of the reference

    Raises
    ------
    PlacementError : the reference air is as hot as the limit
    """

    reference: UncertainValue
    limit_temperature: float | None
    reference_air: Air

    def __post_init__(self):
        self._room(self.reference_air)

    def at(self, condition: FlightCondition) -> UncertainValue | None:
        """Needed pressure in a condition; None when its power is not given.

        Notes
        -----
        Heat goes with shaft power, air flow with heat over (limit - outside temperature), and
        density times core pressure drop with flow to the power 1.7:
        dp = dp_ref (flow / flow_ref)^1.7 (rho_ref / rho). The band is that of the reference,
        widened by the exponents 1.6 and 1.8. At idle the heat is more than in proportion to power:
        the value is low there.

        Raises
        ------
        PlacementError : the outside air is as hot as the limit
        """
        if condition.power is None:
            return None
        flow, reference = self._flow(condition), self.reference
        thin = self.reference_air.density / condition.air.density
        least, most = sorted(flow**exponent for exponent in (EXPONENT.low, EXPONENT.high))
        return UncertainValue(
            value=reference.value * thin * flow**EXPONENT.value,
            low=reference.low * thin * least if reference.has_band else None,
            high=reference.high * thin * most if reference.has_band else None,
            mark=reference.mark if reference.mark in KEPT_MARKS else "derived",
            source="scaled from needed_pressure in [engine] with power and outside air",
            kind="pressure",
        )

    def _flow(self, condition: FlightCondition) -> float:
        """Air flow as part of that of the reference."""
        if self.limit_temperature is None:
            return condition.power
        return condition.power * self._room(self.reference_air) / self._room(condition.air)

    def _room(self, air: Air) -> float:
        """K, from the outside air up to the limit; inf without one."""
        if self.limit_temperature is None:
            return math.inf
        room = self.limit_temperature - air.temperature
        if room <= 0.0:
            raise PlacementError(
                f"outside air of {air.temperature - 273.15:.0f} degC is not below the "
                f"limit temperature of {self.limit_temperature - 273.15:.0f} degC in [engine]"
            )
        return room
