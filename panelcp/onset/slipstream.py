"""The slipstream of a propeller in one condition: velocity, rise of total pressure, swirl."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelcp.errors import FlowError
from panelcp.onset.momentum import contraction, induced_velocity
from panelcp.onset.propeller import ROTATIONS, Propeller
from panelcp.onset.vortices import vortex_cylinder

SHARE_POINTS = 2001

MIXING = 0.1
"""Air of the slipstream may have mixed with that from so much farther out, parts of the radius.
From memory: an inlet inside 40 % of the radius is said to get 0 to 0.6 of the mean rise."""

SWIRL_CORE = 1e-3
"""Part of the radius inside which the air turns like a solid body, if it is loaded there."""

STILL = 1e-6
"""m/s: a tail wind below it is the rounding of a cross wind."""


@dataclass(frozen=True, eq=False)
class Slipstream:
    """Slipstream of a propeller.

    Attributes
    ----------
    propeller : Propeller
    thrust : N, negative where the propeller brakes
    airspeed : m/s, of the outside air along the thrust line; negative with the wind from behind
    density : kg/m3
    power : W, of the shaft
    rotational_speed : rad/s
    factor : slipstream factor
    swirling : False leaves the swirl out

    Raises
    ------
    FlowError : power without rotational speed, too much braking

    Notes
    -----
    The local induced velocity is v(r) = -V/2 + sqrt(V^2/4 + rise(r) / (2 rho)). It is carried by
    semi-infinite vortex cylinders along the thrust line, one for every step of the loading, so
    that the field has no divergence and far behind the air has the speed V + 2 v(r). The tube is
    frozen: it neither contracts nor bends. With wind from behind there is no solution of this
    kind; the slipstream at rest, slowed by the wind, is taken instead, and `predicted` is False.
    """

    propeller: Propeller
    thrust: float
    airspeed: float
    density: float
    power: float = 0.0
    rotational_speed: float | None = None
    factor: float = 1.0
    swirling: bool = True

    def __post_init__(self):
        if self.power and not self.rotational_speed:
            raise FlowError(
                "the propeller turns with power, but at no speed: give rpm in the condition, or "
                "rpm and rated power for the propeller"
            )
        self.induced(np.linspace(0.0, 1.0, 101))

    @property
    def predicted(self) -> bool:
        """False with the wind from behind, where momentum theory has no solution."""
        return self.airspeed >= -STILL

    @property
    def mean_rise(self) -> float:
        """Pa: T / A, mean rise of total pressure over the disc, the factor left out."""
        return self.thrust / self.propeller.area

    @property
    def mean_induced(self) -> float:
        """m/s: induced velocity at the disc of the mean rise, the factor left out."""
        return float(induced_velocity(self.mean_rise, self._along, self.density))

    def line(self) -> str:
        """What it is, in one line."""
        text = (
            f"thrust {self.thrust:.0f} N, mean rise of total pressure {self.mean_rise:.0f} Pa, "
            f"slipstream {self.airspeed + 2.0 * self.mean_induced:.0f} m/s far behind"
        )
        if self.swirl_strength:
            turned = self.swirl_strength * float(self.propeller.loading.at(0.6))
            v_t = turned / (0.6 * self.propeller.radius)
            text += f", swirl {v_t:.1f} m/s at 60 % radius"
        return text if self.predicted else f"{text}; wind from behind: not predicted, sign only"

    @property
    def _along(self) -> float:
        return max(self.airspeed, 0.0)

    def induced(self, fraction) -> np.ndarray:
        """Induced velocity at the disc, m/s, at parts of the radius; the factor left out."""
        rise = self.mean_rise * self.propeller.loading.at(fraction)
        return induced_velocity(rise, self._along, self.density)

    def rise(self, fraction) -> np.ndarray:
        """Rise of total pressure, Pa, of the air that passes the disc at parts of the radius.

        It fits the velocity far behind: rho ((V + 2 f v)^2 - V^2) / 2 with the factor f. Zero
        where a wind from behind outweighs the induced velocity and no air passes aft.
        """
        v = self.factor * self.induced(fraction)
        return 2.0 * self.density * v * np.maximum(self.airspeed + v, 0.0)

    @cached_property
    def sheet_strength(self) -> np.ndarray:
        """(n_rings,) float, m/s: vorticity of the cylinders at the propeller's ring radii."""
        rings = self.propeller.loading.ring_fractions
        middles = 0.5 * (np.concatenate([[0.0], rings[:-1]]) + rings)
        inside = self.induced(middles)
        return 2.0 * (inside - np.append(inside[1:], 0.0))

    @cached_property
    def swirl_strength(self) -> float:
        """m2/s: r v_t of air that has met the mean loading.

        The shaft power goes into the air as rho Omega r v_t per volume, shared out like the
        loading: integral of rho Omega r v_t V_x dA over the disc = shaft power.
        """
        if not self.power or not self.swirling:
            return 0.0
        radius = self.propeller.radius
        share = np.linspace(0.0, 1.0, SHARE_POINTS)
        flow = self._along + self.induced(share)
        passed = np.trapezoid(
            self.propeller.loading.at(share) * flow * 2.0 * np.pi * share * radius**2, share
        )
        if not passed > 0.0:
            return 0.0
        return self.power / (self.density * self.rotational_speed * float(passed))

    def disc_fraction(self, axial, distance, section, section_at_disc) -> np.ndarray:
        """Radius, parts of the disc's, at which the air that wets a place has passed the disc.

        Parameters
        ----------
        axial, distance : (n,) float, m, cylinder coordinates of the places
        section : (n,) float, m2, of the body there
        section_at_disc : float, m2, of the body (its spinner) in the plane of the disc

        Returns
        -------
        (n,) float

        Notes
        -----
        The air between the body and the place has passed the disc between the spinner and r_disc;
        behind the disc it contracts by the mean induced velocity:
        r_disc^2 = section_at_disc / pi + (r^2 - section / pi) / contraction.
        """
        far = np.maximum(axial, 0.0) / np.hypot(axial, self.propeller.radius)
        v = float(induced_velocity(self.mean_rise, self._along, self.density))
        between = np.maximum(distance**2 - section / np.pi, 0.0)
        square = section_at_disc / np.pi + between / contraction(self._along, v, far)
        return np.sqrt(square) / self.propeller.radius

    def rise_bounds(
        self, axial, distance, section, section_at_disc
    ) -> tuple[np.ndarray, np.ndarray]:
        """Upper and lower bound of the rise of total pressure of the air that wets a place.

        Upper: the air stays at its radius. Lower: the body pushes the air outward, so that it is
        wetted by air of a smaller radius of the disc. Zero ahead of the disc. Parameters: see
        `disc_fraction`.

        Returns
        -------
        upper, lower : (n,) float, Pa; lower is nowhere above upper in size
        """
        behind = axial > 0.0
        upper = np.where(behind, self.rise(distance / self.propeller.radius), 0.0)
        passed = self.disc_fraction(axial, distance, section, section_at_disc)
        lower = np.where(behind, self.rise(passed), 0.0)
        smaller = np.abs(lower) < np.abs(upper)
        return upper, np.where(smaller, lower, upper)

    def rise_deviation(self, axial, distance) -> np.ndarray:
        """(n,) float, Pa: how well the total pressure of the air at a radius is known.

        Half of what mixing with air from farther out could change, and the dynamic pressure of the
        swirl, which the total pressure leaves out: at the disc it stands in the rise, far behind
        in the pressure towards the axis.
        """
        fraction = distance / self.propeller.radius
        change = self.rise(fraction + MIXING) - self.rise(fraction)
        core = np.maximum(distance, SWIRL_CORE * self.propeller.radius)
        swirl = self.factor * self.swirl_strength * self.propeller.loading.at(fraction) / core
        deviation = np.hypot(0.5 * change, 0.5 * self.density * swirl**2)
        return np.where(axial > 0.0, deviation, 0.0)

    def with_factor(self, factor: float) -> Slipstream:
        """The same slipstream with another factor."""
        return replace(self, factor=factor)


def cylinder_velocities(propeller: Propeller, strengths, points) -> np.ndarray:
    """Velocity of slipstreams that differ in the strengths of their cylinders.

    Parameters
    ----------
    propeller : Propeller
    strengths : (n_slipstreams, n_rings) float, m/s
    points : (n_points, 3) float, m

    Returns
    -------
    (n_slipstreams, n_points, 3) float, m/s
    """
    axial, distance, outward = propeller.cylinder_coordinates(points)
    along = np.zeros((len(strengths), len(axial)))
    away = np.zeros_like(along)
    for ring, radius in enumerate(propeller.loading.ring_fractions * propeller.radius):
        u, w = vortex_cylinder(radius, axial, distance)
        along += np.multiply.outer(strengths[:, ring], u)
        away += np.multiply.outer(strengths[:, ring], w)
    return along[:, :, None] * propeller.aft + away[:, :, None] * outward


def swirl_velocity(propeller: Propeller, points) -> np.ndarray:
    """Swirl behind the disc when air of the mean loading has r v_t = 1 m2/s.

    Parameters
    ----------
    propeller : Propeller
    points : (n_points, 3) float, m

    Returns
    -------
    (n_points, 3) float, m/s: loading(r) / r about the thrust line; zero ahead of the disc
    """
    axial, distance, outward = propeller.cylinder_coordinates(points)
    core = SWIRL_CORE * propeller.radius
    turned = propeller.loading.at(distance / propeller.radius)
    speed = np.where(axial > 0.0, turned * distance / np.maximum(distance, core) ** 2, 0.0)
    sense = ROTATIONS[propeller.rotation]
    return sense * speed[:, None] * np.cross(propeller.aft, outward)
