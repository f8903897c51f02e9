"""Conditions in flight and on the ground."""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from functools import cached_property

import numpy as np

from panelcp.atmosphere import Air, hot_day_air, standard_air, true_airspeed
from panelcp.display import Column, block, degrees, knots, number, percent, table, words
from panelcp.errors import FlowError
from panelcp.panels.solving import GroundPlane

DAYS = ("standard", "hot day")
MACH_LIMIT = 0.4


@dataclass(frozen=True)
class FlightCondition:
    """One steady condition in flight or on the ground.

    Give the speed once: true or calibrated, or on the ground that of the wheels and the wind.
    alpha is the angle of the cowl datum to the stream far ahead, positive when the stream has a
    +z part (nose up); beta is positive when the wind comes from the right. On the ground the air
    flows along the ground, and `attitude` stands in place of alpha.

    Attributes
    ----------
    name : short name, unique in a case
    true_airspeed : m/s
    calibrated_airspeed : m/s
    ground_speed : m/s, of the wheels over the ground; makes it a condition on the ground
    wind_speed : m/s, on the ground
    wind_from : deg, where the wind comes from: 0 ahead, 90 right, 180 behind
    alpha, beta : deg
    attitude : deg, cowl datum to the level ground, nose up positive
    height : m, of the datum's origin above the ground; without it the ground is left out
    altitude : m, pressure altitude
    day : "standard" or "hot day" (14 CFR 23.1043(b), text before the 2017 rewrite)
    temperature_offset : K, added to the standard temperature
    temperature : K, outside air, in place of day and offset
    power : fraction of rated shaft power
    rotational_speed : rad/s, of the propeller
    thrust : N, of the propeller, in place of that from power
    propeller_efficiency : thrust power over shaft power, in place of the propeller's own
    load_factor : lift over weight; 1 in flight and 0 on the ground or at rest when not given
    decides : True when the ranking depends on this condition
    needed_pressure : Pa across inlet, core and exit, or None
    weight : of this condition in weighted means

    Raises
    ------
    FlowError : no speed or two, angles or Mach number out of range, negative weight or power,
        thrust or ground data that contradict each other

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
    ground_speed: float | None = None
    wind_speed: float = 0.0
    wind_from: float = 0.0
    alpha: float = 0.0
    beta: float = 0.0
    attitude: float | None = None
    height: float | None = None
    altitude: float = 0.0
    day: str = "standard"
    temperature_offset: float = 0.0
    temperature: float | None = None
    power: float | None = None
    rotational_speed: float | None = None
    thrust: float | None = None
    propeller_efficiency: float | None = None
    load_factor: float | None = None
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
        self._check_numbers()
        self._check_ground()
        if self.mach > MACH_LIMIT:
            raise FlowError(
                f"condition {self.name}: Mach number {self.mach:.2f}; the incompressible flow "
                f"model ends at {MACH_LIMIT}"
            )

    def _check_speed(self):
        speeds = (self.true_airspeed, self.calibrated_airspeed, self.ground_speed)
        given = [v for v in speeds if v is not None]
        if len(given) != 1:
            raise FlowError(
                f"condition {self.name}: give one of true_airspeed, calibrated_airspeed and "
                f"ground_speed, not {len(given)}"
            )
        if not (np.isfinite(given[0]) and given[0] >= 0.0):
            raise FlowError(f"condition {self.name}: speed {given[0]} m/s; expected 0 or more")

    def _check_angles(self):
        limits = (("alpha", 45.0), ("beta", 45.0), ("attitude", 30.0), ("wind_from", 360.0))
        for field, limit in limits:
            value = getattr(self, field)
            if value is not None and not (np.isfinite(value) and abs(value) <= limit):
                raise FlowError(
                    f"condition {self.name}: {field} is {value:.4g} deg; expected -{limit:g} to "
                    f"{limit:g} deg"
                    + (", beyond it the flow separates everywhere" if limit == 45.0 else "")
                )

    def _check_numbers(self):
        names = ("power", "weight", "needed_pressure", "rotational_speed", "wind_speed")
        for field in (*names, "propeller_efficiency"):
            value = getattr(self, field)
            if value is not None and not (np.isfinite(value) and value >= 0.0):
                raise FlowError(f"condition {self.name}: {field} is {value}; expected 0 or more")
        for field in ("thrust", "load_factor"):
            value = getattr(self, field)
            if value is not None and not np.isfinite(value):
                raise FlowError(f"condition {self.name}: {field} is {value}; expected a number")
        if self.thrust is not None and self.propeller_efficiency is not None:
            raise FlowError(
                f"condition {self.name}: give either thrust or propeller_efficiency, not both"
            )
        if self.propeller_efficiency and self.propeller_efficiency > 1.0:
            raise FlowError(
                f"condition {self.name}: propeller_efficiency is {self.propeller_efficiency:g}; "
                "expected 0 to 1"
            )

    def _check_ground(self):
        if self.height is not None and not (np.isfinite(self.height) and self.height > 0.0):
            raise FlowError(
                f"condition {self.name}: height is {self.height} m; the datum must lie above the "
                "ground"
            )
        if self.on_ground and self.alpha:
            key = "ground_speed" if self.ground_speed is not None else "height"
            raise FlowError(
                f"condition {self.name}: {key} puts it on the ground, where the air flows along "
                f"it: give attitude in place of alpha, or leave {key} out"
            )
        if self.ground_speed is not None and self.beta:
            raise FlowError(
                f"condition {self.name}: with ground_speed give wind_speed and wind_from in place "
                "of beta"
            )
        if self.ground_speed is None and (self.wind_speed or self.wind_from):
            raise FlowError(
                f"condition {self.name}: wind_speed and wind_from go with ground_speed; in flight "
                "the airspeed says it all"
            )
        if self.wind_from and not self.wind_speed:
            raise FlowError(
                f"condition {self.name}: wind_from without wind_speed; give both, or neither in a "
                "calm"
            )
        if not self.on_ground and self.attitude is not None:
            raise FlowError(
                f"condition {self.name}: attitude is that on the ground and needs ground_speed or "
                "height; in flight give alpha"
            )

    def __repr__(self):
        given = [
            f"{one.name}={getattr(self, one.name)!r}"
            for one in fields(self)
            if one.default is MISSING or getattr(self, one.name) != one.default
        ]
        return f"FlightCondition({', '.join(given)})"

    def _repr_html_(self) -> str:
        angle = (self.attitude or 0.0) if self.on_ground else self.alpha
        columns = [*words("Condition"), Column("True airspeed", "kt")]
        columns += [Column("Attitude" if self.on_ground else "Angle of attack", "°")]
        columns += [Column("Sideslip", "°"), Column("Altitude", "ft"), Column("Outside", "°C")]
        columns += [Column("q", "Pa"), Column("Power"), Column("Needed", "Pa"), *words("Decides")]
        row = [self.name, knots(self.speed), degrees(angle), degrees(self.beta)]
        row += [number(self.altitude / 0.3048), number(self.air.temperature - 273.15)]
        row += [number(self.dynamic_pressure)]
        row += ["" if self.power is None else percent(self.power), number(self.needed_pressure)]
        row.append("yes" if self.decides else "no")
        return block(table("Condition", columns, [row], self._ground_words))

    @property
    def _ground_words(self) -> str:
        """Speed over the ground and wind in a sentence; "" in flight."""
        if self.ground_speed is None:
            return "Near the ground." if self.on_ground else ""
        wind = f", wind {knots(self.wind_speed)} kt from {degrees(self.wind_from)}° right of ahead"
        wind = wind if self.wind_speed else ", no wind"
        return f"On the ground at {knots(self.ground_speed)} kt{wind}."

    @property
    def on_ground(self) -> bool:
        """True where the wheels are on the ground or the ground is near."""
        return self.ground_speed is not None or self.height is not None

    @property
    def ground(self) -> GroundPlane | None:
        """The ground in body axes, None in flight or where its distance is not known."""
        if self.height is None:
            return None
        pitch = np.radians(self.attitude or 0.0)
        upward = np.array([-np.sin(pitch), 0.0, np.cos(pitch)])
        return GroundPlane(-self.height * upward, upward)

    @property
    def lift_over_weight(self) -> float:
        """Load factor, its usual value where none is given."""
        if self.load_factor is not None:
            return self.load_factor
        return 0.0 if self.on_ground or self.speed == 0.0 else 1.0

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
        if self.ground_speed is not None:
            return float(np.linalg.norm(self._level_wind))
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

    @property
    def _level_wind(self) -> np.ndarray:
        """(2,) m/s: the air past the wheels, aft and to the right."""
        bearing = np.radians(self.wind_from)
        aft = self.ground_speed + self.wind_speed * np.cos(bearing)
        return np.array([aft, -self.wind_speed * np.sin(bearing)])

    @cached_property
    def stream(self) -> np.ndarray:
        """(3,) float, m/s: the stream far ahead in body axes."""
        alpha, beta = np.radians([self.attitude or self.alpha, self.beta])
        if self.ground_speed is not None:
            aft, right = self._level_wind
        else:
            aft, right = self.speed * np.array([np.cos(beta), -np.sin(beta)])
        return np.array([aft * np.cos(alpha), right, aft * np.sin(alpha)])
