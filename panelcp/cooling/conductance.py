"""Conductance of a core between air and what it cools: scaled with both flows, or from a test.

Functions take floats or arrays of worlds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.cooling.exchangers import transfer_units
from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

AIR_EXPONENT = UncertainValue(
    0.5, 0.4, 0.6, "memory", "air-side heat transfer of louvred fins against flow"
)
COOLANT_EXPONENT = UncertainValue(
    0.8, 0.6, 0.8, "memory", "coolant-side heat transfer against flow, turbulent"
)
AIR_RESISTANCE_SHARE = UncertainValue(
    0.8, 0.65, 0.9, "memory", "share of the air side in the resistance of a radiator to heat"
)


@dataclass(frozen=True, eq=False)
class ConductanceLaw:
    """Conductance UA of a core, W/K, at one pair of flows, scaled to others.

    Attributes
    ----------
    conductance : W/K at the reference flows, above 0
    air_flow, other_flow : kg/s, reference flows of the air and of what it cools
    air_share : share of the air side in the resistance at the reference flows, 0 to 1
    air_exponent, other_exponent : of the heat transfer on both sides in the flow

    Notes
    -----
    1 / UA = (s (m / m_ref)^-n + (1 - s) (w / w_ref)^-k) / UA_ref. Derived from resistances in
    series; exponents and share are rules of thumb (`AIR_EXPONENT` and so on).
    """

    conductance: float | np.ndarray
    air_flow: float
    other_flow: float
    air_share: float | np.ndarray = AIR_RESISTANCE_SHARE.value
    air_exponent: float | np.ndarray = AIR_EXPONENT.value
    other_exponent: float | np.ndarray = COOLANT_EXPONENT.value

    def __post_init__(self):
        positive = (self.conductance, self.air_flow, self.other_flow)
        if not all(np.all(np.asarray(n) > 0.0) and np.all(np.isfinite(n)) for n in positive):
            raise NetworkError("conductance and reference flows of a core must be above 0")
        if not np.all((np.asarray(self.air_share) >= 0.0) & (np.asarray(self.air_share) <= 1.0)):
            raise NetworkError("share of the air side in the resistance of a core outside 0 to 1")

    def at(self, air_flow, other_flow) -> np.ndarray:
        """Conductance, W/K, at flows, kg/s, of any direction; 0 where one of them rests.

        Examples
        --------
        >>> law = ConductanceLaw(800.0, 1.0, 1.5, 0.8, 0.5, 0.8)
        >>> law.at([1.0, 0.25, 0.0], 1.5).round(3)
        array([800.   , 444.444,   0.   ])
        """
        air = np.abs(air_flow) / self.air_flow
        other = np.abs(other_flow) / self.other_flow
        with np.errstate(divide="ignore"):
            resistance = self.air_share * air ** -np.asarray(self.air_exponent, dtype=float)
            resistance = resistance + (1.0 - np.asarray(self.air_share)) * other ** -np.asarray(
                self.other_exponent, dtype=float
            )
        return np.where((air > 0.0) & (other > 0.0), self.conductance / resistance, 0.0)


def conductance_from_test(
    heat, air_capacity, other_capacity, hot_inlet, cold_inlet, arrangement="cross-flow"
) -> np.ndarray:
    """Conductance UA, W/K, that a measured heat shows.

    Parameters
    ----------
    heat : W
    air_capacity, other_capacity : W/K, mass flow times specific heat
    hot_inlet, cold_inlet : K, of both streams where they enter
    arrangement : one of `exchangers.ARRANGEMENTS`

    Raises
    ------
    NetworkError : more heat than such a core could ever exchange

    Examples
    --------
    >>> float(conductance_from_test(22.5e3, 1000.0, 5000.0, 360.0, 310.0).round(1))
    636.4
    """
    air, other = np.asarray(air_capacity, dtype=float), np.asarray(other_capacity, dtype=float)
    if not (np.all(air > 0.0) and np.all(other > 0.0)):
        raise NetworkError("air_capacity or other_capacity of a test is not above 0")
    least = np.minimum(air, other)
    reached = np.asarray(heat) / (least * (np.asarray(hot_inlet) - cold_inlet))
    return least * transfer_units(reached, least / np.maximum(air, other), arrangement)
