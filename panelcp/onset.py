"""The air that meets the aeroplane: flight conditions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelcp.atmosphere import Air, hot_day_air, standard_air, true_airspeed
from panelcp.errors import FlowError

DAYS = ("standard", "hot day")
MACH_LIMIT = 0.4


@dataclass(frozen=True)
class FlightCondition:
    """One steady condition of flight.

    Give the speed once: true or calibrated. alpha is the angle of the cowl datum to the stream
    far ahead, positive when the stream has a +z part (nose up); beta is positive when the wind
    comes from the right.

    Attributes
    ----------
    name : short name, unique in a case
    true_airspeed : m/s
    calibrated_airspeed : m/s
    alpha, beta : deg
    altitude : m, pressure altitude
    day : "standard" or "hot day" (14 CFR 23.1043(b), text before the 2017 rewrite)
    temperature_offset : K, added to the standard temperature
    temperature : K, outside air, in place of day and offset
    power : fraction of rated shaft power
    decides : True when the ranking depends on this condition
    needed_pressure : Pa across inlet, core and exit, or None
    weight : of this condition in weighted means

    Raises
    ------
    FlowError : no speed or two, angles or Mach number out of range, negative weight or power

    Examples
    --------
    >>> tow = FlightCondition("tow", calibrated_airspeed=31.9, alpha=6.0, day="hot day")
    >>> round(tow.air.temperature - 273.15, 1), round(tow.speed, 1)
    (37.8, 33.1)
    >>> tow.stream.round(2) + 0.0
    array([32.96,  0.  ,  3.46])
    """

    name: str
    true_airspeed: float | None = None
    calibrated_airspeed: float | None = None
    alpha: float = 0.0
    beta: float = 0.0
    altitude: float = 0.0
    day: str = "standard"
    temperature_offset: float = 0.0
    temperature: float | None = None
    power: float | None = None
    decides: bool = True
    needed_pressure: float | None = None
    weight: float = 1.0

    def __post_init__(self):
        self._check_speed()
        self._check_angles()
        if self.day not in DAYS:
            raise FlowError(f"condition {self.name}: day {self.day!r} is not one of {DAYS}")
        if self.day == "hot day" and (self.temperature_offset or self.temperature is not None):
            raise FlowError(
                f"condition {self.name}: give either the hot day or a temperature, not both"
            )
        if self.temperature is not None and self.temperature_offset:
            raise FlowError(
                f"condition {self.name}: give either temperature or temperature_offset, not both"
            )
        for field in ("power", "weight", "needed_pressure"):
            value = getattr(self, field)
            if value is not None and not (np.isfinite(value) and value >= 0.0):
                raise FlowError(f"condition {self.name}: {field} is {value}; expected 0 or more")
        if self.mach > MACH_LIMIT:
            raise FlowError(
                f"condition {self.name}: Mach number {self.mach:.2f}; the incompressible flow "
                f"model ends at {MACH_LIMIT}"
            )

    def _check_speed(self):
        given = [v for v in (self.true_airspeed, self.calibrated_airspeed) if v is not None]
        if len(given) != 1:
            raise FlowError(
                f"condition {self.name}: give one of true_airspeed and calibrated_airspeed, "
                f"not {len(given)}"
            )
        if not (np.isfinite(given[0]) and given[0] >= 0.0):
            raise FlowError(f"condition {self.name}: speed {given[0]} m/s; expected 0 or more")

    def _check_angles(self):
        for field, limit in (("alpha", 45.0), ("beta", 45.0)):
            value = getattr(self, field)
            if not (np.isfinite(value) and abs(value) <= limit):
                raise FlowError(
                    f"condition {self.name}: {field} is {value:.4g} deg; expected -{limit:g} to "
                    f"{limit:g} deg, beyond it the flow separates everywhere"
                )

    @cached_property
    def air(self) -> Air:
        """State of the outside air."""
        if self.day == "hot day":
            return hot_day_air(self.altitude)
        return standard_air(
            self.altitude,
            temperature_offset=self.temperature_offset,
            temperature=self.temperature,
        )

    @cached_property
    def speed(self) -> float:
        """True airspeed, m/s."""
        if self.true_airspeed is not None:
            return float(self.true_airspeed)
        return float(true_airspeed(self.calibrated_airspeed, self.air))

    @property
    def mach(self) -> float:
        """Mach number."""
        return self.speed / self.air.speed_of_sound

    @property
    def dynamic_pressure(self) -> float:
        """q = rho V0^2 / 2, Pa."""
        return 0.5 * self.air.density * self.speed**2

    @cached_property
    def stream(self) -> np.ndarray:
        """(3,) float, m/s: the stream far ahead in body axes."""
        alpha, beta = np.radians([self.alpha, self.beta])
        direction = [
            np.cos(alpha) * np.cos(beta),
            -np.sin(beta),
            np.sin(alpha) * np.cos(beta),
        ]
        return self.speed * np.array(direction)
