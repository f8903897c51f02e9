"""Elements whose loss changes with the flow in other ways than by its square, and sums of losses.

Entries, flush vents, ducts with friction, cores that heat their air, series of losses, flaps that
let air through one way only. Their formulas are those of `inlets`, `vents`, `ducts` and
`core_laws`, written for a mass flow, both ways, with exact slopes. All rise with the flow.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from panelcp.cooling.ducts import LAMINAR_LIMIT, TURBULENT_LIMIT, colebrook, laminar_number
from panelcp.cooling.elements import LEAST_DROP, Element, QuadraticLaw, _quadratic
from panelcp.cooling.vents import flush_vent_discharge

LEAST_ENTRY_LOSS = 1e-3
"""K that an entry loses at least, so that its slope never vanishes (ours): 1e-3 heads."""
_COOLED_AT_LEAST = 0.1
"""Share of the bench law's quadratic part that is left to a core that cools its air (ours)."""
_MOST_DEVIATIONS = 3.0
_RATE = 0.5 * np.log(10.0)


class _Parts:
    """A law made of arrays and of laws, of which some worlds can be picked."""

    def at(self, index):
        """The same in some of the worlds."""
        parts = (getattr(self, field.name) for field in fields(self))
        return type(self)(*(p[index] if isinstance(p, np.ndarray) else p.at(index) for p in parts))


def _worlds(*numbers):
    """Arrays (n_worlds,) of one length."""
    return [np.array(part) for part in np.broadcast_arrays(*np.atleast_1d(*numbers))]


def _too_great(element, names, most):
    """Texts for numbers above what is possible."""
    texts = []
    for name in names:
        over = getattr(element, name) > most
        if np.any(over):
            words, first = name.replace("_", " "), float(getattr(element, name)[over].flat[0])
            count = f" in {over.sum()} of {over.size} worlds" if over.size > 1 else ""
            texts.append(f"{words} is {first:g}{count}; expected at most {most:g}")
    return texts


@dataclass(frozen=True, eq=False)
class EntryLaw(_Parts):
    """Fall of total pressure at an entry: s max(m - m1, 0)^2 + p m / (m + m2) and a quadratic part.

    Attributes
    ----------
    excess : array, Pa s2/kg2, s
    even, stream : array, kg/s, m1 and m2: flows as fast as the stream along the axis, and as it
    across : array, Pa, p
    rest : QuadraticLaw, the least loss inward, all of it outward
    """

    excess: np.ndarray
    even: np.ndarray
    stream: np.ndarray
    across: np.ndarray
    rest: QuadraticLaw

    def drop(self, mass_flow):
        """Fall of total pressure (Pa) and its slope (Pa s/kg) for flows in kg/s."""
        drop, slope = self.rest.drop(mass_flow)
        inward, over = np.maximum(mass_flow, 0.0), np.maximum(mass_flow - self.even, 0.0)
        steep, both = self.excess * over, inward + self.stream
        per_flow = self.across / both
        drop += steep * over + per_flow * inward
        slope += 2.0 * steep + np.where(mass_flow >= 0.0, per_flow * self.stream / both, 0.0)
        return drop, slope


@dataclass(frozen=True, eq=False)
class InletEntry(Element):
    """Lip of an inlet, from the stream ahead (start) to the place just inside (end).

    Attributes
    ----------
    area : float, m2
    stream_speed : float, m/s, 0 or more
    lip_share : float, 0 to 1, part of the thin lip's loss, see `inlets.lip_share`
    incidence : float, deg between the stream and the inlet's axis, 0 to 90
    incidence_share : float, 0 to 1, see `inlets.INCIDENCE_LOSS`
    back_discharge : float, above 0 to 1, discharge coefficient of air that comes out of it

    Notes
    -----
    The node at the start bears the total pressure that the air has after its way to the lip: patch
    and recovery. Inward: `inlets.lip_pressure_loss`, V = m / (rho A), rho upstream, and
    LEAST_ENTRY_LOSS heads more, since an inlet that spills would lose nothing: at 50 m/s in the
    inlet some 1.5 Pa. Outward: m |m| / (2 rho (C A)^2), the head of the jet included. The slope
    jumps at rest where the stream is across the axis.
    """

    area: np.ndarray
    stream_speed: np.ndarray
    lip_share: np.ndarray
    incidence: np.ndarray
    incidence_share: np.ndarray
    back_discharge: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        density, turn = air.inlet_density, np.radians(self.incidence)
        per_speed = density * self.area
        head = 0.5 / (density * self.area**2)
        across = 0.5 * density * self.incidence_share * (self.stream_speed * np.sin(turn)) ** 2
        parts = _worlds(
            self.lip_share * head,
            per_speed * self.stream_speed * np.cos(turn),
            np.maximum(per_speed * self.stream_speed, 1e-12),
            across,
            LEAST_ENTRY_LOSS * head,
            head / self.back_discharge**2,
        )
        return EntryLaw(*parts[:4], _quadratic(0.0, *parts[4:]))

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("area", "back_discharge"), 0.0)
        texts += self._wrong(("stream_speed", "lip_share", "incidence", "incidence_share"), -1.0)
        texts += _too_great(self, ("lip_share", "incidence_share", "back_discharge"), 1.0)
        return texts + _too_great(self, ("incidence",), 90.0)


@dataclass(frozen=True, eq=False)
class VentLaw(_Parts):
    """Fall of total pressure c m (|m| + sqrt(m^2 + g2)), odd.

    Attributes
    ----------
    strength : array, Pa s2/kg2, c
    square : array, kg2/s2, g2
    """

    strength: np.ndarray
    square: np.ndarray

    def drop(self, mass_flow):
        """Fall of total pressure (Pa) and its slope (Pa s/kg) for flows in kg/s."""
        size, squared = np.abs(mass_flow), mass_flow * mass_flow
        root = np.sqrt(squared + self.square)
        both = size + root
        return (
            self.strength * mass_flow * both,
            self.strength * (both + size + squared / root),
        )


@dataclass(frozen=True, eq=False)
class FlushVent(Element):
    """Flush hole or slot that blows into a stream across it, from inside to outside.

    Attributes
    ----------
    area : float, m2
    stream_speed : float, m/s along the skin, 0 or more
    still : float, 0.001 to 1, discharge coefficient in still air
    deviation : float, place in the band of `vents.CROSS_FLOW_DISCHARGE`; positive passes more air

    Notes
    -----
    `vents.flush_vent_drop`, rho upstream; odd: inward by the same law (memory). Without a stream
    its slope would vanish at rest: under the root stands 2 LEAST_DROP / c more, which never adds
    more than LEAST_DROP to the fall.
    """

    area: np.ndarray
    stream_speed: np.ndarray
    still: np.ndarray
    deviation: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        per_speed = air.inlet_density * self.area
        strength = 0.25 * air.inlet_density / (self.still * per_speed) ** 2
        # the discharge in a stream as fast as the ideal jet gives the factor k of the stream
        factor = (self.still / flush_vent_discharge(1.0, self.still, self.deviation)) ** 2 - 1.0
        square = 4.0 * factor * (self.still * self.stream_speed * per_speed) ** 2
        return VentLaw(*_worlds(strength, square + 2.0 * LEAST_DROP / strength))

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("area", "still"), 0.0) + self._wrong(("stream_speed",), -1.0)
        texts += self._wrong(("deviation",)) + _too_great(self, ("still",), 1.0)
        return texts + (["still is below 0.001"] if np.any(self.still < 1e-3) else [])


@dataclass(frozen=True, eq=False)
class FrictionLaw(_Parts):
    """Fall of total pressure F N(Re) m, Re = r |m|, of wall friction.

    Attributes
    ----------
    strength : array, Pa s/kg, F
    reynolds : array, s/kg, r
    roughness : array, over the hydraulic diameter
    laminar : array, N of laminar flow
    turbulent_doubt : array, relative deviation of turbulent flow beyond that of laminar flow
    deviation : array, place in the band
    """

    strength: np.ndarray
    reynolds: np.ndarray
    roughness: np.ndarray
    laminar: np.ndarray
    turbulent_doubt: np.ndarray
    deviation: np.ndarray

    def drop(self, mass_flow):
        """Fall of total pressure (Pa) and its slope (Pa s/kg) for flows in kg/s."""
        reynolds = self.reynolds * np.abs(mass_flow)
        number, rise = self.friction(reynolds)
        return self.strength * number * mass_flow, self.strength * (number + reynolds * rise)

    def friction(self, reynolds):
        """Friction factor times Reynolds number, and its derivative in the Reynolds number.

        Notes
        -----
        With x = 1/sqrt(f), w = e/3.7, s = 2.51/Re: Colebrook's x + ln(w + s x)/R = 0, R = ln(10)/2,
        gives dx/dRe = (x s / Re) / (R (w + s x) + s); N = Re / x^2.
        """
        high = np.maximum(reynolds, LAMINAR_LIMIT)
        root = 1.0 / np.sqrt(colebrook(high, self.roughness))
        slope = 2.51 / high
        turn = slope / (_RATE * (self.roughness / 3.7 + slope * root) + slope)
        above = high / root**2 - self.laminar
        above_rise = (1.0 - 2.0 * turn) / root**2 * (reynolds > LAMINAR_LIMIT)
        step, step_rise = self._step(reynolds)
        factor = 1.0 + self.deviation * (0.02 + step * self.turbulent_doubt)
        factor_rise = self.deviation * step_rise * self.turbulent_doubt
        value, rise = self.laminar + step * above, step_rise * above + step * above_rise
        return value * factor, rise * factor + value * factor_rise

    def _step(self, reynolds):
        """Share of turbulent flow, from 0 to 1, and its derivative in the Reynolds number."""
        width = TURBULENT_LIMIT - LAMINAR_LIMIT
        t = np.clip((reynolds - LAMINAR_LIMIT) / width, 0.0, 1.0)
        step, rise = t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t) / width
        odds = np.exp(2.0 * self.deviation)
        rest = 1.0 + step * (odds - 1.0)
        return step * odds / rest, rise * odds / rest**2


@dataclass(frozen=True, eq=False)
class StraightDuct(Element):
    """Straight duct with friction along its walls.

    Attributes
    ----------
    length, diameter, area : float, m, m (hydraulic) and m2
    roughness : float, m, height; 0 to 0.05 diameters
    aspect : float, narrow over wide side of a rectangle, 0 to 1; None (kept as nan) for a circle
    deviation : float, place in the band of `ducts.friction_number`; beyond 3, 3 is taken

    Notes
    -----
    `ducts.straight_duct_drop`, V = m / (rho A), rho and viscosity at the mean temperature: laminar
    at rest, so that its slope never vanishes. Only between laminar and turbulent flow a deviation d
    works otherwise than in `ducts.friction_number`, with which the drop would fall with the flow
    from d = -1 on: there the share s of turbulent flow becomes s o / (1 - s + s o), o = exp(2 d),
    the same for small d, and neither law is overshot (ours).
    """

    length: np.ndarray
    diameter: np.ndarray
    area: np.ndarray
    roughness: np.ndarray
    aspect: np.ndarray
    deviation: np.ndarray

    def law(self, air):
        """Law at the mean temperature."""
        viscosity, circle = air.viscosity, np.isnan(self.aspect)
        laminar = np.where(circle, 64.0, laminar_number(np.where(circle, 1.0, self.aspect)))
        strength = viscosity * self.length / (2.0 * self.diameter**2 * air.mean_density * self.area)
        return FrictionLaw(
            *_worlds(
                strength,
                self.diameter / (self.area * viscosity),
                self.roughness / self.diameter,
                laminar,
                np.where(circle, 0.03, 0.08),
                np.clip(self.deviation, -_MOST_DEVIATIONS, _MOST_DEVIATIONS),
            )
        )

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("length", "diameter", "area"), 0.0)
        texts += self._wrong(("roughness",), -1.0) + self._wrong(("deviation",))
        if np.any((self.aspect < 0.0) | (self.aspect > 1.0)):
            texts.append("aspect is not between 0 and 1; expected narrow over wide side")
        if not texts and np.any(self.roughness > 0.05 * self.diameter):
            texts.append("roughness is more than 0.05 diameters; expected the height of roughness")
        return texts


@dataclass(frozen=True, eq=False)
class HeatedCore(Element):
    """Core of a heat exchanger that warms its air, unlike on the bench.

    Attributes
    ----------
    linear, quadratic : float, a in Pa s/m and b in Pa s2/m2 of a V + b V |V|, V ahead of the face,
        not negative, not both 0
    face_area : float, m2
    density, viscosity : float, kg/m3 and Pa s, of the air they were measured in
    free_share : float, above 0 to 1, free-flow area over face area
    scatter : float, above 0, factor on the bench law

    Notes
    -----
    `core_laws.DropLaw.heated_drop`: `elements.CoreLaw` and half of `core_laws.heating_drop` on the
    free-flow area. Air that cools on its way takes as much off, but never more than 90 % of the
    quadratic part of the bench law.
    """

    linear: np.ndarray
    quadratic: np.ndarray
    face_area: np.ndarray
    density: np.ndarray
    viscosity: np.ndarray
    free_share: np.ndarray
    scatter: np.ndarray

    def law(self, air):
        """Law at the densities that the air comes and goes with."""
        mean = air.mean_density
        linear = self.scatter * self.linear * (air.viscosity / self.viscosity)
        linear = linear / (mean * self.face_area)
        bench = self.scatter * self.quadratic / (self.density * mean * self.face_area**2)
        change = 1.0 / air.outlet_density - 1.0 / air.inlet_density
        heating = 0.5 * change / (self.free_share * self.face_area) ** 2
        return _quadratic(linear, np.maximum(bench + heating, _COOLED_AT_LEAST * bench))

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("linear", "quadratic"), -1.0)
        names = ("face_area", "density", "viscosity", "free_share", "scatter")
        texts += self._wrong(names, 0.0) + _too_great(self, ("free_share",), 1.0)
        if not texts and np.any((self.linear == 0.0) & (self.quadratic == 0.0)):
            texts.append("linear and quadratic part are both 0; expected at least one above 0")
        return texts


@dataclass(frozen=True, eq=False)
class Losses(Element):
    """Losses one behind the other as one: fall h m |m| / (2 rho).

    Attributes
    ----------
    head_forward, head_backward : float, 1/m4, h: sum of K / A^2 over the losses, for flow from
        start to end and for flow back, above 0

    Notes
    -----
    rho upstream: derived, K rho V^2 / 2 with V = m / (rho A), summed at one density.
    """

    head_forward: np.ndarray
    head_backward: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        half = 0.5 / air.inlet_density
        return _quadratic(0.0, self.head_forward * half, self.head_backward * half)

    def mistakes(self):
        """What is wrong with the numbers."""
        return self._wrong(("head_forward", "head_backward"), 0.0)


@dataclass(frozen=True, eq=False)
class OneWayFlap(Element):
    """Flaps that air pushes open from start to end, and that it shuts the other way.

    Attributes
    ----------
    discharge : float, above 0 to 1, discharge coefficient of the open flaps
    area : float, m2, open
    shut : float, above 0 to 1, part of the area that leaks when they are shut

    Notes
    -----
    m |m| / (2 rho (C A)^2) forward, with the part `shut` of the area backward, rho upstream. The
    weight of the flaps is left out.
    """

    discharge: np.ndarray
    area: np.ndarray
    shut: np.ndarray

    def law(self, air):
        """Law at the density upstream."""
        forward = 0.5 / (air.inlet_density * (self.discharge * self.area) ** 2)
        return _quadratic(0.0, forward, forward / self.shut**2)

    def mistakes(self):
        """What is wrong with the numbers."""
        texts = self._wrong(("discharge", "area", "shut"), 0.0)
        return texts + _too_great(self, ("discharge", "shut"), 1.0)
