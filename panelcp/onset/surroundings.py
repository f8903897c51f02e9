"""Propeller, wing and ground together: what the air brings in a set of conditions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelcp.errors import FlowError
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.momentum import thrust_from_power
from panelcp.onset.propeller import Propeller
from panelcp.onset.slipstream import Slipstream, cylinder_velocities, swirl_velocity
from panelcp.onset.wing import Wing, wing_velocity
from panelcp.panels.solving import GroundPlane
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import SurfaceMesh, frozen_array

EFFECTS = ("slipstream", "swirl", "wing", "ground")
"""What can be switched off singly."""

BLOCKED_LIMIT = 0.08
"""Part of the disc that the body may fill: a spinner of 0.28 diameters does, a cowl fills more.
Common practice, no source: spinners have 0.12 to 0.25 diameters; the invented noses of the tests
fill 0.02 in front of the cowl and 0.09 from 50 mm behind its face."""


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands around the body.

    Attributes
    ----------
    propeller : Propeller or None
    wing : Wing or None
    rated_power : W, of the shaft, or None
    effects : those of EFFECTS that are switched on
    factor : slipstream factor in place of the propeller's, or None
    """

    propeller: Propeller | None = None
    wing: Wing | None = None
    rated_power: float | None = None
    effects: tuple[str, ...] = EFFECTS
    factor: float | None = None

    def __post_init__(self):
        unknown = [name for name in self.effects if name not in EFFECTS]
        if unknown:
            raise FlowError(f"effect {unknown[0]!r} is not one of {', '.join(EFFECTS)}")

    def without(self, effect: str) -> Surroundings:
        """The same with one effect switched off; without slipstream there is no swirl either."""
        return replace(self, effects=tuple(name for name in self.effects if name != effect))

    def slipstream(self, condition: FlightCondition) -> Slipstream | None:
        """Slipstream in a condition; None without propeller, or where it does not pull.

        Raises
        ------
        FlowError : power without rated power or without rotational speed, more thrust than the
            power can make
        """
        propeller = self.propeller
        if propeller is None or "slipstream" not in self.effects:
            return None
        power = self._shaft_power(condition)
        if not power and not condition.thrust:
            return None
        airspeed = float(condition.stream @ propeller.aft)
        thrust = condition.thrust
        if thrust is None:
            thrust = self._thrust(condition, power, max(airspeed, 0.0))
        self._check_thrust(condition, thrust, power, max(airspeed, 0.0))
        try:
            return Slipstream(
                propeller=propeller,
                thrust=thrust,
                airspeed=airspeed,
                density=condition.air.density,
                power=power,
                rotational_speed=self._rotational_speed(condition),
                factor=propeller.factor.value if self.factor is None else self.factor,
                swirling="swirl" in self.effects,
            )
        except FlowError as error:
            raise FlowError(f"condition {condition.name}: {error}") from None

    def efficiency_changes(self, name: str, conditions) -> np.ndarray:
        """How the slipstream factor would have to change for one deviation of an efficiency.

        Parameters
        ----------
        name : "efficiency" or "figure_of_merit" of the propeller
        conditions : FlightConditions

        Returns
        -------
        (n_conditions,) float, parts of the factor: half of the difference of the induced velocity
        at both ends of the band; zero where thrust or efficiency is the condition's own
        """
        value = getattr(self.propeller, name) if self.propeller else None
        if value is None or not value.has_band:
            return np.zeros(len(conditions))
        ends = [
            replace(self, propeller=replace(self.propeller, **{name: UncertainValue(end)}))
            for end in (max(value.low, 0.01), min(value.high, 1.0))
        ]
        return np.array([self._induced_change(condition, *ends) for condition in conditions])

    def _induced_change(self, condition, low: Surroundings, high: Surroundings) -> float:
        """Half of the difference of two slipstreams' induced velocity, parts of the present one."""
        now = self.slipstream(condition)
        if now is None or condition.thrust is not None or not now.mean_induced:
            return 0.0
        less, more = (around.slipstream(condition).mean_induced for around in (low, high))
        return 0.5 * (more - less) / now.mean_induced

    def _shaft_power(self, condition) -> float:
        if not condition.power:
            return 0.0
        if self.rated_power is None:
            raise FlowError(
                f"condition {condition.name}: power is given in parts of the rated power, which is "
                "missing: give rated_power in [engine]"
            )
        return condition.power * self.rated_power

    def _thrust(self, condition, power: float, airspeed: float) -> float:
        propeller = self.propeller
        if condition.propeller_efficiency is not None:
            if airspeed <= 0.0:
                raise FlowError(
                    f"condition {condition.name}: propeller_efficiency says nothing at rest or "
                    "with the wind from behind; give thrust, or leave it to the figure of merit"
                )
            return condition.propeller_efficiency * power / airspeed
        return thrust_from_power(
            power,
            airspeed,
            condition.air.density,
            propeller.area,
            propeller.figure_of_merit.value,
            propeller.efficiency.value,
        )

    def _check_thrust(self, condition, thrust: float, power: float, airspeed: float):
        most = thrust_from_power(power, airspeed, condition.air.density, self.propeller.area)
        if power and thrust > 1.0001 * most:
            raise FlowError(
                f"condition {condition.name}: {thrust:.0f} N of thrust from {power / 1e3:.1f} kW "
                f"at {airspeed:.1f} m/s; by momentum theory this propeller gives at most "
                f"{most:.0f} N: correct thrust, propeller_efficiency, power or diameter"
            )

    def _rotational_speed(self, condition) -> float | None:
        """Given, or that of a fixed pitch: power goes with its cube (common practice)."""
        if condition.rotational_speed or self.propeller.rotational_speed is None:
            return condition.rotational_speed
        return self.propeller.rotational_speed * (condition.power or 0.0) ** (1 / 3) or None

    def ground(self, condition: FlightCondition) -> GroundPlane | None:
        """The ground under a condition, where it is known and switched on."""
        return condition.ground if "ground" in self.effects else None

    def circulation(self, condition: FlightCondition) -> float:
        """Of the wing in its middle, m2/s.

        Raises
        ------
        FlowError : more lift than the wing can give
        """
        if self.wing is None or "wing" not in self.effects:
            return 0.0
        try:
            return self.wing.circulation(
                condition.lift_over_weight, condition.speed, condition.air.density
            )
        except FlowError as error:
            raise FlowError(f"condition {condition.name}: {error}") from None

    def onset(self, conditions: Sequence[FlightCondition]) -> Onset:
        """What the air brings in conditions over one ground, or in the free air.

        Raises
        ------
        FlowError : conditions over different grounds, two slipstreams of one name, and what the
            parts raise
        """
        conditions = tuple(conditions)
        if not conditions:
            raise FlowError("no flight condition given; at least one is needed")
        grounds = [self.ground(condition) for condition in conditions]
        if len({ground_key(ground) for ground in grounds}) > 1:
            raise FlowError("the conditions stand over different grounds; take each on its own")
        slipstreams = tuple(self.slipstream(condition) for condition in conditions)
        blown = [
            c.name for c, slipstream in zip(conditions, slipstreams, strict=True) if slipstream
        ]
        if len(set(blown)) < len(blown):
            raise FlowError(
                f"two conditions with slipstream are called {max(blown, key=blown.count)!r}; give "
                "each a name of its own"
            )
        return Onset(
            conditions=conditions,
            streams=np.array([condition.stream for condition in conditions]),
            slipstreams=slipstreams,
            circulation=np.array([self.circulation(condition) for condition in conditions]),
            propeller=self.propeller,
            wing=self.wing,
            ground=grounds[0],
        )

    def groups(self, conditions: Sequence[FlightCondition]) -> list[list[int]]:
        """Numbers of the conditions that share one ground, in the order of their first."""
        found: dict[tuple, list[int]] = {}
        for number, condition in enumerate(conditions):
            found.setdefault(ground_key(self.ground(condition)), []).append(number)
        return list(found.values())

    def check_place(self, surface: SurfaceMesh, conditions: Sequence[FlightCondition] = ()):
        """Refuse a propeller inside the body, behind the cowl, or in the ground.

        Raises
        ------
        FlowError
        """
        if self.propeller is None:
            return
        propeller = self.propeller
        sections = Sections(surface, propeller)
        share = float(sections.at(0.0)) / propeller.area
        if share >= 1.0:
            raise FlowError(
                f"the propeller disc ({propeller.diameter * 1e3:.0f} mm) lies inside the body, "
                f"whose section there is {share:.1f} times as large; check diameter and centre"
            )
        if share > BLOCKED_LIMIT:
            raise FlowError(
                f"the body fills {100 * share:.0f} % of the propeller disc: the disc stands behind "
                f"the front of the cowl; expected at most {100 * BLOCKED_LIMIT:.0f} % (the "
                "spinner); move its centre forward"
            )
        if sections.share_ahead() > 0.5:
            raise FlowError(
                f"{100 * sections.share_ahead():.0f} % of the body's length lies ahead of the "
                "propeller disc; only tractor propellers are modelled: check its centre"
            )
        for condition in conditions:
            self._check_clearance(condition)

    def _check_clearance(self, condition):
        ground = condition.ground
        if ground is None:
            return
        lean = np.sqrt(max(1.0 - float(self.propeller.aft @ ground.normal) ** 2, 0.0))
        clearance = float(ground.height(self.propeller.centre)) - self.propeller.radius * lean
        if clearance <= 0.0:
            raise FlowError(
                f"condition {condition.name}: the propeller reaches {-clearance * 1e3:.0f} mm into "
                "the ground; correct height, attitude or the propeller"
            )


def ground_key(ground: GroundPlane | None) -> tuple:
    """The same for equal grounds."""
    if ground is None:
        return ()
    return (*ground.normal.round(9), *(ground.point.round(9)))


class Sections:
    """Area of the body's sections across the thrust line, from the panels ahead of them."""

    def __init__(self, surface: SurfaceMesh, propeller: Propeller):
        corners = surface.corners
        vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        axial = propeller.cylinder_coordinates(corners.mean(axis=1))[0]
        order = np.argsort(axial, kind="stable")
        self._axial = axial[order]
        self._area = np.maximum(-np.cumsum(vectors[order] @ propeller.aft), 0.0)

    def at(self, axial) -> np.ndarray:
        """m2 at distances behind the disc, m."""
        return np.interp(axial, self._axial, self._area, left=0.0, right=0.0)

    def share_ahead(self) -> float:
        """Part of the body's length that lies ahead of the disc."""
        first, last = self._axial[[0, -1]]
        return float(np.clip(-first / (last - first), 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class Onset:
    """What the air brings in a number of conditions over one ground.

    Attributes
    ----------
    conditions : in order
    streams : (n_conditions, 3) float, m/s
    slipstreams : one for each condition, or None
    circulation : (n_conditions,) float, m2/s, of the wing
    propeller, wing, ground : or None
    """

    conditions: tuple[FlightCondition, ...]
    streams: np.ndarray
    slipstreams: tuple[Slipstream | None, ...]
    circulation: np.ndarray
    propeller: Propeller | None = None
    wing: Wing | None = None
    ground: GroundPlane | None = None

    def __post_init__(self):
        for name in ("streams", "circulation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def dynamic_pressure(self) -> np.ndarray:
        """(n_conditions,) float, Pa: q of the free stream."""
        return np.array([condition.dynamic_pressure for condition in self.conditions])

    @property
    def density(self) -> np.ndarray:
        """(n_conditions,) float, kg/m3."""
        return np.array([condition.air.density for condition in self.conditions])

    @property
    def mean_rise(self) -> np.ndarray:
        """(n_conditions,) float, Pa: thrust over disc area; zero without slipstream."""
        return np.array([s.mean_rise if s else 0.0 for s in self.slipstreams])

    @property
    def predicted(self) -> np.ndarray:
        """(n_conditions,) bool: False where the wind comes from behind into a slipstream."""
        return np.array([s is None or s.predicted for s in self.slipstreams])

    @cached_property
    def _blowing(self) -> list[int]:
        return [c for c, slipstream in enumerate(self.slipstreams) if slipstream is not None]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Of the onset fields: one slipstream for each condition that has it, swirl, wing."""
        names = [f"slipstream {self.conditions[c].name}" for c in self._blowing]
        names += ["swirl"] if any(self._swirl) else []
        return (*names, *(["wing"] if self.circulation.any() else []))

    @property
    def _swirl(self) -> np.ndarray:
        return np.array([s.factor * s.swirl_strength if s else 0.0 for s in self.slipstreams])

    @property
    def weights(self) -> np.ndarray:
        """(n_conditions, n_fields) float: how much of each field is in each condition."""
        weights = np.zeros((len(self.conditions), len(self.names)))
        for field, name in enumerate(self.names):
            if name == "swirl":
                weights[:, field] = self._swirl
            elif name == "wing":
                weights[:, field] = self.circulation
        for field, c in enumerate(self._blowing):
            weights[c, field] = self.slipstreams[c].factor
        return weights

    def velocity(self, points) -> np.ndarray:
        """Velocity of the onset fields, with their images below the ground.

        Parameters
        ----------
        points : (n_points, 3) float, m

        Returns
        -------
        (n_fields, n_points, 3) float, m/s
        """
        points = np.asarray(points, dtype=float)
        velocity = self._without_images(points)
        if self.ground is None or not len(velocity):
            return velocity
        matrix, offset = self.ground.reflection
        return velocity + self._without_images(points @ matrix.T + offset) @ matrix.T

    def _without_images(self, points) -> np.ndarray:
        fields = []
        if self._blowing:
            strengths = np.array([self.slipstreams[c].sheet_strength for c in self._blowing])
            fields += list(cylinder_velocities(self.propeller, strengths, points))
        if "swirl" in self.names:
            fields.append(swirl_velocity(self.propeller, points))
        if "wing" in self.names:
            fields.append(wing_velocity(self.wing, points))
        return np.array(fields).reshape(len(fields), len(points), 3)

    def heads(self, points, surface: SurfaceMesh) -> tuple[np.ndarray, np.ndarray]:
        """Total gauge pressure of the air that wets places, upper and lower bound.

        Parameters
        ----------
        points : (n_points, 3) float, m
        surface : SurfaceMesh, the body that pushes the air outward

        Returns
        -------
        upper, lower : (n_conditions, n_points) float, Pa
        """
        upper = np.repeat(self.dynamic_pressure[:, None], len(points), axis=1)
        lower = upper.copy()
        if not self._blowing:
            return upper, lower
        axial, distance, _ = self.propeller.cylinder_coordinates(points)
        sections = Sections(surface, self.propeller)
        areas = sections.at(axial), float(sections.at(0.0))
        for c in self._blowing:
            rises = self.slipstreams[c].rise_bounds(axial, distance, *areas)
            upper[c] += rises[0]
            lower[c] += rises[1]
        return upper, lower

    def head_deviation(self, points) -> np.ndarray:
        """(n_conditions, n_points) float, Pa: total pressure, how well it is known at a radius."""
        deviation = np.zeros((len(self.conditions), len(points)))
        if self._blowing:
            axial, distance, _ = self.propeller.cylinder_coordinates(points)
        for c in self._blowing:
            deviation[c] = self.slipstreams[c].rise_deviation(axial, distance)
        return deviation

    def with_streams(self, streams) -> Onset:
        """The same slipstreams and wing in other streams."""
        return replace(self, streams=streams)

    def with_factors(self, share: float) -> Onset:
        """The same with all slipstream factors multiplied."""
        slipstreams = [s and s.with_factor(share * s.factor) for s in self.slipstreams]
        return replace(self, slipstreams=tuple(slipstreams))
