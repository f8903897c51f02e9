"""Pressure drop of a core against air flow, from bench tests or from its friction factor.

Air flow is the mass flux G = mass flow / face area, kg/(m2 s), negative where the air goes
backwards. Functions take floats or arrays of worlds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from panelcp.errors import NetworkError
from panelcp.quantity import UncertainValue

DROP_EXPONENT = UncertainValue(
    1.7, 1.6, 1.8, "common practice", "pressure drop of a louvred core against flow, range"
)
FREE_SHARE = UncertainValue(
    0.75, 0.65, 0.85, "memory", "free-flow area over face area of louvred cores"
)
CORE_DEVIATION = UncertainValue(
    0.0,
    -0.10,
    0.24,
    "memory",
    "analytic core models against tunnel tests of nine radiators, relative, range: Ng, Johnson and "
    "Watkins, 2005 (abstract only)",
    "number",
)


@dataclass(frozen=True, eq=False)
class DropLaw:
    """Pressure drop of a core, a V + b V |V| on the bench, scaled to other air.

    Attributes
    ----------
    linear : a, Pa s/m, 0 or more
    square : b, Pa s2/m2, 0 or more
    density : kg/m3, of the air on the bench
    viscosity : Pa s, of the air on the bench
    slowest, fastest : m/s, face velocities between which it was measured
    deviation : one standard deviation of a reading from the law, relative; None where two
        readings or fewer leave none
    mark, source : as in `UncertainValue`

    Notes
    -----
    In other air the linear part goes with viscosity and the square part with density:
    rho dp = rho_b (a (mu / mu_b) G / rho_b + b G |G| / rho_b^2): at one viscosity density times
    drop is a function of the mass flux alone (derived). `heated_drop` is for air
    that warms in the core.
    """

    linear: float
    square: float
    density: float
    viscosity: float
    slowest: float
    fastest: float
    deviation: float | None = None
    mark: str = "yours"
    source: str = ""

    def __post_init__(self):
        numbers = (self.linear, self.square, self.density, self.viscosity)
        good = all(np.isfinite(n) for n in numbers) and min(self.linear, self.square) >= 0.0
        if not (good and self.linear + self.square > 0.0 and self.density > 0.0 < self.viscosity):
            raise NetworkError(
                f"pressure drop of a core with a = {self.linear:g}, b = {self.square:g}, density "
                f"{self.density:g}, viscosity {self.viscosity:g}; expected a and b of 0 or more, "
                "one of them above 0, and air that has density and viscosity"
            )

    def coefficients(self, density, viscosity=None) -> tuple[np.ndarray, np.ndarray]:
        """Factors of G and of G |G| in the pressure drop, Pa, in air of a density and viscosity.

        Parameters
        ----------
        density : kg/m3, mean through the core
        viscosity : Pa s, mean through the core; None: as on the bench

        Examples
        --------
        >>> law = DropLaw(10.0, 4.0, 1.2, 1.8e-5, 2.0, 10.0)
        >>> [round(float(c), 4) for c in law.coefficients(0.6)]
        [16.6667, 5.5556]
        """
        density = _air(density, "density")
        thicker = 1.0 if viscosity is None else _air(viscosity, "viscosity") / self.viscosity
        return self.linear * thicker / density, self.square / (self.density * density)

    def pressure_drop(self, mass_flux, density, viscosity=None) -> np.ndarray:
        """Pressure drop, Pa, with the sign of the mass flux.

        Examples
        --------
        >>> law = DropLaw(10.0, 4.0, 1.2, 1.8e-5, 2.0, 10.0)
        >>> law.pressure_drop([6.0, -6.0], 1.2).round(9)
        array([ 150., -150.])
        """
        linear, square = self.coefficients(density, viscosity)
        flux = np.asarray(mass_flux, dtype=float)
        return linear * flux + square * flux * np.abs(flux)

    def heated_drop(
        self,
        mass_flux,
        density_in,
        density_out,
        viscosity=None,
        free_share=FREE_SHARE.value,
    ) -> np.ndarray:
        """Drop of total pressure, Pa, of the core when it heats the air, unlike on the bench.

        Parameters
        ----------
        mass_flux : kg/(m2 s), on the face area
        density_in, density_out : kg/m3, of the air that comes and goes
        viscosity : Pa s, mean through the core; None: as on the bench
        free_share : free-flow area over face area, above 0 to 1

        Notes
        -----
        `pressure_drop` at `mean_density`, and half of `heating_drop` on the free-flow area: what
        speeds the air up in the passages, less what the head that leaves them gains. Losses at
        entrance and exit are taken at the mean density. Derived from `core_drop`, whose drop of
        static pressure is greater by s^2 / 2 of the `heating_drop`.

        Examples
        --------
        >>> law = DropLaw(10.0, 4.0, 1.2, 1.8e-5, 2.0, 10.0)
        >>> law.heated_drop(6.0, 1.1, [1.1, 0.97]).round(2)
        array([163.64, 178.5 ])
        """
        plain = self.pressure_drop(mass_flux, mean_density(density_in, density_out), viscosity)
        flux = np.asarray(mass_flux, dtype=float) / _share(free_share)
        return plain + 0.5 * heating_drop(flux, density_in, density_out)

    def slope(self, mass_flux, density, viscosity=None) -> np.ndarray:
        """Change of the pressure drop with the mass flux, Pa m2 s/kg, above 0."""
        linear, square = self.coefficients(density, viscosity)
        return linear + 2.0 * square * np.abs(mass_flux)

    def mass_flux(self, pressure_drop, density, viscosity=None) -> np.ndarray:
        """Mass flux, kg/(m2 s), that a pressure drop drives; inverse of `pressure_drop`.

        Examples
        --------
        >>> law = DropLaw(10.0, 4.0, 1.2, 1.8e-5, 2.0, 10.0)
        >>> float(law.mass_flux(-150.0, 1.2).round(9))
        -6.0
        """
        linear, square = self.coefficients(density, viscosity)
        drop = np.asarray(pressure_drop, dtype=float)
        root = np.sqrt(linear**2 + 4.0 * square * np.abs(drop))
        return 2.0 * drop / np.where(linear + root > 0.0, linear + root, 1.0)

    def outside(self, mass_flux) -> np.ndarray:
        """True where the mass flux is outside the measured range, by more than 1 %."""
        velocity = np.abs(mass_flux) / self.density
        return (velocity < 0.99 * self.slowest) | (velocity > 1.01 * self.fastest)


def fit_drop_law(velocity, drop, density, viscosity, mark="yours", source="") -> DropLaw:
    """Law a V + b V^2 through the readings of a bench test.

    Parameters
    ----------
    velocity : m/s, face velocities, two different ones or more
    drop : Pa, same number
    density, viscosity : of the air on the bench, kg/m3 and Pa s
    mark, source : as in `UncertainValue`

    Returns
    -------
    DropLaw
        Least squares of the relative residuals, neither part below 0.

    Raises
    ------
    NetworkError : fewer than two velocities, readings that are not positive, a drop that does not
        rise with velocity

    Notes
    -----
    deviation = sqrt(sum of squared relative residuals / (readings - parts above 0)).

    Examples
    --------
    >>> law = fit_drop_law([2.0, 4.0, 8.0], [36.0, 104.0, 336.0], 1.2, 1.8e-5)
    >>> round(law.linear, 6), round(law.square, 6), round(law.deviation, 9)
    (10.0, 4.0, 0.0)
    """
    velocity, drop = _readings(velocity, drop)
    rows = np.stack([velocity, velocity**2], axis=1) / drop[:, None]
    (linear, square), left = nnls(rows, np.ones(len(drop)))
    free = len(drop) - np.count_nonzero([linear, square])
    return DropLaw(
        linear=float(linear),
        square=float(square),
        density=float(density),
        viscosity=float(viscosity),
        slowest=float(velocity[0]),
        fastest=float(velocity[-1]),
        deviation=float(left / np.sqrt(free)) if free > 0 and len(drop) > 2 else None,
        mark=mark,
        source=source,
    )


def drop_law_from_one_reading(
    velocity, drop, density, viscosity, exponent=DROP_EXPONENT.value, source=""
) -> DropLaw:
    """Law through one reading, with a slope that is common practice.

    Parameters
    ----------
    velocity, drop : the reading, m/s and Pa
    density, viscosity : of the air on the bench
    exponent : 1 to 2, of the pressure drop in velocity near the reading

    Notes
    -----
    a V = (2 - exponent) dp and b V^2 = (exponent - 1) dp give dp and d ln dp / d ln V at the
    reading. Only there is it measured: everywhere else `outside` says so.

    Examples
    --------
    >>> law = drop_law_from_one_reading(8.0, 400.0, 1.2, 1.8e-5)
    >>> round(float(law.pressure_drop(1.2 * 8.0, 1.2)), 9), law.mark
    (400.0, 'common practice')
    """
    if not (np.isfinite(velocity) and np.isfinite(drop) and velocity > 0.0 and drop > 0.0):
        raise NetworkError(f"reading of {drop:g} Pa at {velocity:g} m/s; expected both above 0")
    if not 1.0 <= exponent <= 2.0:
        raise NetworkError(f"exponent of a pressure drop is {exponent:g}; expected 1 to 2")
    return DropLaw(
        linear=(2.0 - exponent) * drop / velocity,
        square=(exponent - 1.0) * drop / velocity**2,
        density=float(density),
        viscosity=float(viscosity),
        slowest=float(velocity),
        fastest=float(velocity),
        mark="common practice",
        source=source or "one reading and the usual slope of louvred cores",
    )


def mean_density(density_in, density_out) -> np.ndarray:
    """Density whose inverse is the mean of the inverses ahead of and behind the core, kg/m3.

    Examples
    --------
    >>> float(mean_density(1.2, 1.0).round(6))
    1.090909
    """
    ahead, behind = _air(density_in, "density"), _air(density_out, "density")
    return 2.0 / (1.0 / ahead + 1.0 / behind)


def heating_drop(mass_flux, density_in, density_out) -> np.ndarray:
    """Pressure, Pa, that speeds up the air as it warms in a passage of constant area.

    Parameters
    ----------
    mass_flux : kg/(m2 s), on the free-flow area of the core
    density_in, density_out : kg/m3, of the air that comes and goes

    Notes
    -----
    dp = G^2 (1 / rho_out - 1 / rho_in), against the flow whichever way it goes. Derived: momentum.

    Examples
    --------
    >>> round(float(heating_drop(8.0, 1.10, 1.10 * 310.0 / 360.0)), 6)
    9.384164
    """
    flux = np.asarray(mass_flux, dtype=float)
    difference = 1.0 / _air(density_out, "density") - 1.0 / _air(density_in, "density")
    return flux * np.abs(flux) * difference


def core_drop(
    mass_flux, density_in, density_out, free_share, contraction, expansion, friction, length_ratio
) -> np.ndarray:
    """Drop of static pressure, Pa, of a heated core from the friction factor of its surface.

    Parameters
    ----------
    mass_flux : G, kg/(m2 s), on the free-flow area
    density_in, density_out : rho1, rho2, kg/m3
    free_share : s, free-flow area over face area, above 0 to 1
    contraction, expansion : Kc, Ke, loss coefficients of entrance and exit
    friction : f, Fanning friction factor
    length_ratio : L / rh, depth over hydraulic radius, which is a quarter of the diameter

    Notes
    -----
    dp = G^2 / (2 rho1) ((Kc + 1 - s^2) + 2 (rho1 / rho2 - 1) + f (L / rh) rho1 / rho_m
    - (1 - s^2 - Ke) rho1 / rho2), rho_m from `mean_density`. Total pressure drops less, by the
    head that the air gains from one face to the other, (s G)^2 (1 / rho2 - 1 / rho1) / 2.
    Source: W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd edition, 1984 (from memory).

    Examples
    --------
    >>> round(float(core_drop(8.0, 1.10, 1.10 * 310 / 360, 0.6, 0.4, 0.2, 0.03, 100.0)), 6)
    119.085044
    """
    share = _share(free_share)
    flux, ahead = np.asarray(mass_flux, dtype=float), _air(density_in, "density")
    ratio = ahead / _air(density_out, "density")
    mean = ahead / mean_density(density_in, density_out)
    heads = (
        (contraction + 1.0 - share**2)
        + 2.0 * (ratio - 1.0)
        + np.asarray(friction) * length_ratio * mean
        - (1.0 - share**2 - expansion) * ratio
    )
    return flux * np.abs(flux) / (2.0 * ahead) * heads


def _share(free_share):
    share = np.asarray(free_share, dtype=float)
    if not np.all((share > 0.0) & (share <= 1.0)):
        raise NetworkError("free-flow area over face area of a core is not above 0 and up to 1")
    return share


def _air(value, name):
    value = np.asarray(value, dtype=float)
    if not np.all((value > 0.0) & np.isfinite(value)):
        raise NetworkError(f"{name} at a core is not above 0 or not finite")
    return value


def _readings(velocity, drop):
    """Readings in the order of velocity, checked; repeats are kept."""
    velocity, drop = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (velocity, drop))
    if velocity.ndim != 1 or velocity.shape != drop.shape:
        raise NetworkError(
            f"bench test of a core: velocity has shape {velocity.shape} and drop {drop.shape}; "
            "expected one drop per velocity"
        )
    bad = ~((velocity > 0.0) & (drop > 0.0) & np.isfinite(velocity) & np.isfinite(drop))
    if np.any(bad):
        first = int(np.argmax(bad))
        raise NetworkError(
            f"bench test of a core: {np.count_nonzero(bad)} of {len(bad)} readings are not above 0 "
            f"(first: {drop[first]:g} Pa at {velocity[first]:g} m/s); leave out zero readings"
        )
    order = np.argsort(velocity, kind="stable")
    velocity, drop = velocity[order], drop[order]
    speeds, which = np.unique(velocity, return_inverse=True)
    if len(speeds) < 2:
        raise NetworkError(
            f"bench test of a core: {len(speeds)} velocity; expected two different ones or more, "
            "or use drop_law_from_one_reading"
        )
    means = np.bincount(which, drop) / np.bincount(which)
    falls = np.diff(means) <= 0.0
    if np.any(falls):
        i = int(np.argmax(falls))
        raise NetworkError(
            f"bench test of a core: {means[i]:g} Pa at {speeds[i]:g} m/s but {means[i + 1]:g} Pa "
            f"at {speeds[i + 1]:g} m/s ({np.count_nonzero(falls)} places); the drop of a core "
            "rises with velocity, look at the readings"
        )
    return velocity, drop
