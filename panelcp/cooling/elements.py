"""What air does between two nodes of the cooling network: losses, cores, fans, buoyancy.

Every element gives, for a mass flow from its start to its end, by how much the total pressure falls
on the way. Losses are odd, rising functions of the mass flow; fans and buoyancy add pressure.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from scipy.interpolate import PchipInterpolator

from panelcp.atmosphere import (
    GAS_CONSTANT,
    GRAVITY,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
)
from panelcp.surface.mesh import frozen_array

LEAST_DROP = 1e-4
"""Pa; quadratic losses below this are linearised, so that their slope never vanishes."""
NEAR_DIP = 0.1
"""Share of the falling branch, from its beginning, called near the dip (memory)."""
STALLED_SLOPE = 0.01
"""Slope of a fan's curve below its falling branch, in mean slopes of the branch (memory)."""


@dataclass(frozen=True, eq=False)
class ElementAir:
    """Air on its way through one element.

    Attributes
    ----------
    inlet_temperature, outlet_temperature : (n_worlds,) float or float, K, where it comes from and
        where it goes to, whichever way it flows
    outside_temperature : (n_worlds,) float or float, K, of still air, for buoyancy
    pressure : (n_worlds,) float or float, Pa, absolute; the same in the whole network

    Notes
    -----
    rho = p / (R T), viscosity by Sutherland's formula as in `panelcp.atmosphere`. Gauge pressures
    are left out of the density: compressibility is neglected.
    """

    inlet_temperature: np.ndarray
    outlet_temperature: np.ndarray
    outside_temperature: np.ndarray
    pressure: np.ndarray

    @classmethod
    def uniform(cls, density=None, temperature=SEA_LEVEL_TEMPERATURE) -> ElementAir:
        """Air of one temperature and density (kg/m3; at sea level pressure when not given)."""
        temperature = np.asarray(temperature, dtype=float)
        pressure = SEA_LEVEL_PRESSURE
        if density is not None:
            pressure = np.asarray(density, dtype=float) * GAS_CONSTANT * temperature
        return cls(temperature, temperature, temperature, pressure)

    @property
    def inlet_density(self) -> np.ndarray:
        """kg/m3, upstream."""
        return self.pressure / (GAS_CONSTANT * self.inlet_temperature)

    @property
    def outlet_density(self) -> np.ndarray:
        """kg/m3, downstream."""
        return self.pressure / (GAS_CONSTANT * self.outlet_temperature)

    @property
    def outside_density(self) -> np.ndarray:
        """kg/m3, of still air outside."""
        return self.pressure / (GAS_CONSTANT * self.outside_temperature)

    @property
    def mean_temperature(self) -> np.ndarray:
        """K, middle between upstream and downstream."""
        return 0.5 * (self.inlet_temperature + self.outlet_temperature)

    @property
    def mean_density(self) -> np.ndarray:
        """kg/m3 at the mean of the specific volumes upstream and downstream."""
        return self.pressure / (GAS_CONSTANT * self.mean_temperature)

    @property
    def viscosity(self) -> np.ndarray:
        """Pa s, dynamic, at the mean temperature."""
        mean = self.mean_temperature
        return 1.458e-6 * mean**1.5 / (mean + 110.4)


@dataclass(frozen=True, eq=False)
class QuadraticLaw:
    """Fall of total pressure a m + b m |m| - rise.

    Attributes
    ----------
    linear : array, Pa s/kg
    forward, backward : array, Pa s2/kg2, b where m > 0 and where m < 0
    rise : array, Pa, added whatever the flow

    The last axis of all arrays is that of the worlds.
    """

    linear: np.ndarray
    forward: np.ndarray
    backward: np.ndarray
    rise: np.ndarray

    @cached_property
    def _turns(self):
        """Flows below which b m |m| is smaller than LEAST_DROP, forward and backward, kg/s."""
        strengths = np.asarray(self.forward, dtype=float), np.asarray(self.backward, dtype=float)
        return tuple(np.sqrt(LEAST_DROP / np.maximum(b, 1e-12)) for b in strengths)

    def at(self, index) -> QuadraticLaw:
        """The same in some of the worlds."""
        part = QuadraticLaw(*(getattr(self, field.name)[..., index] for field in fields(self)))
        part.__dict__["_turns"] = tuple(turn[..., index] for turn in self._turns)
        return part

    def drop(self, mass_flow):
        """Fall of total pressure (Pa) and its slope (Pa s/kg), shaped as `mass_flow` (kg/s).

        Notes
        -----
        With g = max(|m|, m0) the quadratic part is b m (g^2 + m^2) / (2 g): exactly b m |m| from
        m0 on, below it smooth with the slope b m0 / 2 at rest; b m0^2 = LEAST_DROP.
        """
        ahead = mass_flow >= 0.0
        half = np.where(ahead, self.forward, self.backward)
        reach = np.maximum(np.abs(mass_flow), np.where(ahead, *self._turns))
        half *= 0.5
        half /= reach
        square = mass_flow * mass_flow
        reach *= reach
        reach += square
        reach *= half
        half *= square
        half *= 2.0
        reach += self.linear
        half += reach
        reach *= mass_flow
        reach -= self.rise
        return reach, half


@dataclass(frozen=True, eq=False)
class CurveLaw:
    """Fall of total pressure along a curve whose flow and pressure are scaled.

    Attributes
    ----------
    curve : function of the scaled flow that gives the scaled fall of pressure and its slope
    flow_scale : (n_worlds,) float, kg/s per unit of the curve's flow; 0: follow `still` instead
    pressure_scale : (n_worlds,) float, Pa per unit of the curve's pressure
    still : QuadraticLaw for the worlds with a flow scale of 0
    """

    curve: object
    flow_scale: np.ndarray
    pressure_scale: np.ndarray
    still: QuadraticLaw

    def at(self, index) -> CurveLaw:
        """The same in some of the worlds."""
        scales = self.flow_scale[index], self.pressure_scale[index]
        return CurveLaw(self.curve, *scales, self.still.at(index))

    def drop(self, mass_flow):
        """Fall of total pressure (Pa) and its slope (Pa s/kg), (n_worlds,), for flows in kg/s."""
        runs = self.flow_scale > 0.0
        scale = np.where(runs, self.flow_scale, 1.0)
        drop, slope = self.curve(mass_flow / scale)
        drop, slope = drop * self.pressure_scale, slope * self.pressure_scale / scale
        if np.all(runs):
            return drop, slope
        drop_still, slope_still = self.still.drop(mass_flow)
        return np.where(runs, drop, drop_still), np.where(runs, slope, slope_still)


@dataclass(frozen=True, eq=False)
class Element:
    """Way of the air from node `start` to node `end`; flow that way counts positive.

    Attributes
    ----------
    name : str, not that of another element
    start, end : str, names of nodes

    Numbers of the kinds below may be one for all worlds or (n_worlds,).
    """

    name: str
    start: str
    end: str

    resists = True
    """False for elements that let any flow pass without a loss."""
    curve = ()
    """Names of the numbers that are points of a curve, not one per world."""

    def __post_init__(self):
        for field in fields(self):
            if field.name not in ("name", "start", "end") and field.type != "bool":
                object.__setattr__(self, field.name, frozen_array(getattr(self, field.name)))

    def at(self, index) -> Element:
        """The same element in some of the worlds; numbers that are one for all stay so."""
        part = copy(self)
        part.__dict__.update(
            (name, value[index])
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray) and value.size > 1 and name not in self.curve
        )
        return part

    def law(self, air: ElementAir) -> QuadraticLaw | CurveLaw:
        """Law of the element in given air."""
        raise NotImplementedError

    def drop(self, mass_flow, air: ElementAir):
        """Fall of total pressure from start to end and its derivative.

        Parameters
        ----------
        mass_flow : (n_worlds,) float, kg/s from start to end
        air : ElementAir

        Returns
        -------
        drop, slope : (n_worlds,) float, Pa and Pa s/kg
        """
        return self.law(air).drop(np.atleast_1d(np.asarray(mass_flow, dtype=float)))

    def mistakes(self) -> list[str]:
        """What is wrong with the numbers of this element, in words; empty when nothing is."""
        return []

    def _wrong(self, names, least=None):
        """Texts for numbers that are not finite, or not above `least`, or shaped unlike worlds."""
        texts = []
        for name in names:
            numbers, wanted = getattr(self, name), "a finite number"
            bad = ~np.isfinite(numbers)
            if least is not None:
                bad |= ~(numbers > least) if least == 0.0 else ~(numbers >= 0.0)
                wanted = "a number above 0" if least == 0.0 else "a number not below 0"
            if numbers.ndim > 1:
                texts.append(f"{name} has shape {numbers.shape}; expected one number per world")
            elif np.any(bad):
                words = name.replace("_", " ")
                worlds = f" in {bad.sum()} of {bad.size} worlds" if bad.size > 1 else ""
                first = float(numbers[bad].flat[0])
                texts.append(f"{words} is {first:g}{worlds}; expected {wanted}")
        return texts


def _quadratic(linear=0.0, forward=0.0, backward=None, rise=0.0) -> QuadraticLaw:
    backward = forward if backward is None else backward
    parts = np.broadcast_arrays(*np.atleast_1d(linear, forward, backward, rise))
    return QuadraticLaw(*(np.asarray(part, dtype=float) for part in parts))


@dataclass(frozen=True, eq=False)
class Resistance(Element):
    """Fall a m + b m |m|, as measured in air of one density.

    Attributes
    ----------
    linear, quadratic : float, a in Pa s/kg and b in Pa s2/kg2, not negative, not both 0
    density : float, kg/m3, of the air they were measured in

    Notes
    -----
    In air of another density both parts go with 1 / density: density times the fall is a function
    of the mass flow.
    """

    linear: np.ndarray
    quadratic: np.ndarray
    density: np.ndarray

    def law(self, air):
        """Law at the mean density."""
        ratio = self.density / air.mean_density
        return _quadratic(self.linear * ratio, self.quadratic * ratio)

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("linear", "quadratic"), -1.0) + self._wrong(("density",), 0.0)
        return texts or _no_loss(self.linear, self.quadratic)


def _no_loss(linear, quadratic):
    if np.any((linear == 0.0) & (quadratic == 0.0)):
        return ["linear and quadratic part are both 0; expected at least one above 0"]
    return []


@dataclass(frozen=True, eq=False)
class LossCoefficient(Element):
    """Fall K rho V |V| / 2 with V the mean velocity through an area.

    Attributes
    ----------
    forward, backward : float, K for flow from start to end and for flow back, above 0
    area : float, m2

    Notes
    -----
    V = m / (rho A), rho upstream. An exit that loses its dynamic head has K = 1 besides its other
    losses, since the nodes carry total pressure.
    """

    forward: np.ndarray
    backward: np.ndarray
    area: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        head = 0.5 / (air.inlet_density * self.area**2)
        return _quadratic(0.0, self.forward * head, self.backward * head)

    def mistakes(self):
        """What is wrong with the numbers."""
        return self._wrong(("forward", "backward", "area"), 0.0)


@dataclass(frozen=True, eq=False)
class Orifice(Element):
    """Opening with a discharge coefficient, the same both ways: leak or vent.

    Attributes
    ----------
    discharge : float, discharge coefficient, above 0
    area : float, m2

    Notes
    -----
    Fall m |m| / (2 rho (C A)^2), rho upstream; K = 1 / C^2, the dynamic head of the jet included.
    """

    discharge: np.ndarray
    area: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        return _quadratic(0.0, 0.5 / (air.inlet_density * (self.discharge * self.area) ** 2))

    def mistakes(self):
        """What is wrong with the numbers."""
        return self._wrong(("discharge", "area"), 0.0)


@dataclass(frozen=True, eq=False)
class CoreLaw(Element):
    """Core of a heat exchanger: fall a V + b V |V| with V the velocity ahead of its face.

    Attributes
    ----------
    linear, quadratic : float, a in Pa s/m and b in Pa s2/m2, not negative, not both 0
    face_area : float, m2
    density, viscosity : float, kg/m3 and Pa s, of the air they were measured in

    Notes
    -----
    The linear part goes with the viscosity, the quadratic one with the density; V = m / (rho A);
    both at the mean of the temperatures upstream and downstream. Acceleration of the heated air,
    G^2 (1/rho2 - 1/rho1), is not in the law.
    """

    linear: np.ndarray
    quadratic: np.ndarray
    face_area: np.ndarray
    density: np.ndarray
    viscosity: np.ndarray

    def law(self, air):
        """Law at the mean temperature."""
        per_flow = 1.0 / (air.mean_density * self.face_area)
        linear = self.linear * (air.viscosity / self.viscosity) * per_flow
        return _quadratic(linear, self.quadratic * (air.mean_density / self.density) * per_flow**2)

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("linear", "quadratic"), -1.0)
        texts += self._wrong(("face_area", "density", "viscosity"), 0.0)
        return texts or _no_loss(self.linear, self.quadratic)


@dataclass(frozen=True, eq=False)
class Buoyancy(Element):
    """Column of air without loss, its end `height` above its start.

    Attributes
    ----------
    height : float, m, negative where the end lies lower

    Notes
    -----
    Rise g H (rho_outside - rho_column). The column is well mixed: it has the temperature with
    which the air leaves it, heat added to it included. Gauge pressures of all nodes are against
    the still air outside at their own height.
    """

    height: np.ndarray

    resists = False

    def law(self, air):
        """Rise at the temperature of the column."""
        rise = GRAVITY * self.height * (air.outside_density - air.outlet_density)
        return _quadratic(rise=rise)

    def mistakes(self):
        """What is wrong with the numbers."""
        return self._wrong(("height",))


class _Curve:
    """Monotone cubic interpolation through points, with its slope; continued outside them.

    A function of (flow, value, slope) each for the part below and above gives the continuation.
    """

    def __init__(self, flow, values, below, above):
        self._pieces = PchipInterpolator(flow, values)
        self._slopes = self._pieces.derivative()
        self._flow, self._below, self._above = flow, below, above

    def __call__(self, flow):
        inside = np.clip(flow, self._flow[0], self._flow[-1])
        value, slope = self._pieces(inside), self._slopes(inside)
        for out, continued in ((flow - inside > 0.0, self._above), (flow < inside, self._below)):
            if np.any(out):
                value[out], slope[out] = continued(flow[out])
        return value, slope


@dataclass(frozen=True, eq=False)
class Table(Element):
    """Loss by a measured table, the same both ways.

    Attributes
    ----------
    mass_flow : (n,) float, kg/s, rising from above 0
    pressure : (n,) float, Pa, fall of total pressure at these flows, rising from above 0
    density : float, kg/m3, of the air it was measured in

    Notes
    -----
    Between the points, and down to rest, the fall is interpolated monotonely (Fritsch and Butland's
    piecewise cubic); beyond the last it goes on with that slope and the square of the flow. In
    other air density times the fall is a function of the mass flow.
    """

    mass_flow: np.ndarray
    pressure: np.ndarray
    density: np.ndarray

    curve = ("mass_flow", "pressure")

    @cached_property
    def _curve(self):
        flow, fall = np.append(0.0, self.mass_flow), np.append(0.0, self.pressure)
        flow, fall = np.append(-flow[:0:-1], flow), np.append(-fall[:0:-1], fall)
        last, top = flow[-1], fall[-1]
        steep = (fall[-1] - fall[-2]) / (flow[-1] - flow[-2])

        def beyond(at):
            over = np.abs(at) - last
            value = top + steep * over + top * (over / last) ** 2
            return np.sign(at) * value, steep + 2.0 * top * over / last**2

        return _Curve(flow, fall, beyond, beyond)

    def law(self, air):
        """Law at the mean density."""
        scale = np.atleast_1d(self.density / air.mean_density)
        return CurveLaw(self._curve, np.ones_like(scale), scale, _quadratic(np.ones_like(scale)))

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("mass_flow", "pressure", "density"), 0.0)
        return texts + _points(self.mass_flow, self.pressure, rising=True)


def _points(flow, pressure, rising):
    """What is wrong with the points of a curve."""
    if flow.ndim != 1 or flow.shape != pressure.shape or len(flow) < (1 if rising else 2):
        return [f"flow and pressure have shapes {flow.shape} and {pressure.shape}; expected pairs"]
    for name, numbers in (("flow", flow), ("pressure", pressure))[: 2 if rising else 1]:
        back = np.flatnonzero(~(np.diff(numbers) > 0.0))
        if len(back):
            k = back[0]
            return [
                f"{name} does not rise at {len(back)} of {len(flow)} points (first: "
                f"{numbers[k]:g}, then {numbers[k + 1]:g}); expected rising numbers"
            ]
    return []


@dataclass(frozen=True, eq=False)
class Fan(Element):
    """Fan with a measured curve, blowing from start to end.

    Attributes
    ----------
    volume_flow : (n,) float, m3/s, rising, from 0 or above
    pressure_rise : (n,) float, Pa, rise of total pressure at these flows
    density, reference_speed : float, kg/m3 and any unit of speed, of the measured curve
    speed : float, in the same unit; 0: off, standing or windmilling
    off_loss : float, K of the fan that is off, on the dynamic pressure in `area`. From memory 2 to
        8 for fans in a ring
    area : float, m2, between hub and ring
    whole_curve : bool, follow the curve also through its stall dip, where several steady states are
        possible; False: the falling branch alone

    Notes
    -----
    Flow goes with the speed, pressure with density (upstream) and the square of the speed (fan
    laws). Between the points the curve is interpolated monotonely. The falling branch goes from
    the last point back as long as the pressure rises; below it the fan is taken to hold its
    pressure (slope STALLED_SLOPE of the branch's mean), which is generous to a stalled fan:
    `near_dip` tells. Beyond the last point the curve goes on with its slope, and with the loss of
    the fan that is off; so does a fan that is blown through backwards.
    """

    volume_flow: np.ndarray
    pressure_rise: np.ndarray
    density: np.ndarray
    reference_speed: np.ndarray
    speed: np.ndarray
    off_loss: np.ndarray
    area: np.ndarray
    whole_curve: bool = False

    curve = ("volume_flow", "pressure_rise")

    @property
    def branch_start(self) -> int:
        """Index of the point where the falling branch begins; the last where there is none."""
        rises = np.flatnonzero(np.diff(self.pressure_rise) >= 0.0)
        return int(rises[-1]) + 1 if len(rises) else 0

    @property
    def monotone(self) -> bool:
        """False where the curve that is followed has a part that rises with the flow."""
        return not self.whole_curve or self.branch_start == 0

    @cached_property
    def _curve(self):
        start = self.branch_start
        first = 0 if self.whole_curve else start
        flow, fall = self.volume_flow[first:], -self.pressure_rise[first:]
        branch_flow, branch_fall = self.volume_flow[start:], -self.pressure_rise[start:]
        mean = (branch_fall[-1] - branch_fall[0]) / (branch_flow[-1] - branch_flow[0])
        loss = 0.5 * float(np.mean(self.off_loss * self.density / self.area**2))
        steep = (fall[-1] - fall[-2]) / (flow[-1] - flow[-2])

        def below(at):
            back = np.minimum(at, 0.0)
            value = fall[0] + STALLED_SLOPE * mean * (at - flow[0]) - loss * back**2
            return value, STALLED_SLOPE * mean - 2.0 * loss * back

        def above(at):
            over = at - flow[-1]
            return fall[-1] + steep * over + loss * over**2, steep + 2.0 * loss * over

        return _Curve(flow, fall, below, above)

    def law(self, air):
        """Law at the density upstream and the speed."""
        ratio, relative = air.inlet_density / self.density, self.speed / self.reference_speed
        flow = np.atleast_1d(air.inlet_density * relative)
        pressure = np.broadcast_to(ratio * relative**2, flow.shape)
        head = 0.5 * self.off_loss / (air.inlet_density * self.area**2)
        off = _quadratic(np.zeros_like(flow), head)
        return CurveLaw(self._curve, flow, pressure, off)

    def scaled_flow(self, mass_flow, air: ElementAir) -> np.ndarray:
        """Volume flow at the measured curve's speed, m3/s; nan where the fan is off."""
        relative = np.where(self.speed > 0.0, self.speed / self.reference_speed, np.nan)
        return np.asarray(mass_flow) / (air.inlet_density * relative)

    def near_dip(self, mass_flow, air: ElementAir) -> np.ndarray:
        """True where the fan runs on the first tenth of its falling branch, or below it."""
        start, flow = self.branch_start, self.volume_flow
        limit = flow[start] + (NEAR_DIP * (flow[-1] - flow[start]) if start else 0.0)
        return self.scaled_flow(mass_flow, air) < limit

    def holds_back(self, mass_flow, air: ElementAir) -> np.ndarray:
        """True where more air comes through the running fan than it would blow by itself."""
        return (
            (self.speed > 0.0)
            & (np.asarray(mass_flow) > 0.0)
            & (self.drop(mass_flow, air)[0] > 0.0)
        )

    def mistakes(self):
        """What is wrong with the numbers and the curve."""
        texts = self._wrong(("density", "reference_speed", "off_loss", "area"), 0.0)
        texts += self._wrong(("volume_flow", "speed"), -1.0) + self._wrong(("pressure_rise",))
        points = _points(self.volume_flow, self.pressure_rise, rising=False)
        if not points and self.branch_start == len(self.volume_flow) - 1:
            points = [
                "the curve has no falling branch: its pressure does not fall towards the last "
                f"point ({self.pressure_rise[-2]:g}, then {self.pressure_rise[-1]:g} Pa); give the "
                "curve to higher flows, up to free delivery"
            ]
        return texts + points
