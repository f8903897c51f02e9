"""The propeller: place, thrust line, sense of rotation, radial loading, efficiency."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from panelcp.errors import FlowError
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import frozen_array

ROOT, FULL, TIP = 0.25, 0.45, 0.85
"""Default loading, parts of the radius: none inside ROOT, all from FULL to TIP, none at the tip.
From memory of measured blades: the shanks near the hub give no thrust."""

N_RINGS = 40
"""Vortex cylinders that carry the steps of the loading."""

ROTATIONS = {"clockwise": -1.0, "counter-clockwise": 1.0}
"""Sense of rotation seen from behind, and the sign of its turn about the aft axis."""

FIGURE_OF_MERIT = UncertainValue(
    0.65, 0.55, 0.75, "common practice", "static thrust power over shaft power"
)
SLIPSTREAM_FACTOR = UncertainValue(
    1.0, 0.85, 1.15, "memory", "part of the ideal slipstream that is there, one deviation"
)
TILT_LIMIT = 15.0


@dataclass(frozen=True, eq=False)
class Loading:
    """Rise of total pressure over the radius, without its size.

    Attributes
    ----------
    fraction : (n,) float, increasing, parts of the propeller radius, 0 to 1
    value : (n,) float, not negative, linear in between; scaled so that the mean over the disc is 1

    Raises
    ------
    FlowError : fractions out of order or range, negative or vanishing values

    Examples
    --------
    >>> loading = Loading([0.0, 1.0], [5.0, 5.0])
    >>> loading.at([0.5, 0.99, 1.01]).tolist()
    [1.0, 1.0, 0.0]
    """

    fraction: np.ndarray
    value: np.ndarray

    def __post_init__(self):
        fraction, value = (np.asarray(v, dtype=float) for v in (self.fraction, self.value))
        if fraction.ndim != 1 or fraction.shape != value.shape or len(fraction) < 2:
            raise FlowError("the loading needs at least two places, each with one value")
        inside = np.isfinite(fraction).all() and fraction[0] >= 0.0 and fraction[-1] <= 1.0
        if not inside or (np.diff(fraction) <= 0.0).any():
            raise FlowError("the places of the loading must increase from 0 to 1 of the radius")
        if not np.isfinite(value).all() or (value < 0.0).any():
            raise FlowError("the loading holds a value that is negative or not a number")
        mean = _disc_mean(fraction, value)
        if not mean > 0.0:
            raise FlowError("the loading is zero everywhere")
        object.__setattr__(self, "fraction", frozen_array(fraction))
        object.__setattr__(self, "value", frozen_array(value / mean))

    def at(self, fraction) -> np.ndarray:
        """Rise over its mean at parts of the radius; zero outside the places given."""
        return np.interp(fraction, self.fraction, self.value, left=0.0, right=0.0)

    @cached_property
    def ring_fractions(self) -> np.ndarray:
        """(n_rings,) float: radii of the steps, closer where the induced velocity changes.

        The root of the loading is divided evenly, since the induced velocity goes with the
        loading in fast flight and with its root at rest.
        """
        first, last = self.fraction[[0, -1]]
        inside = np.linspace(first, last, 2001)
        fine = np.concatenate([[first], np.union1d(inside, self.fraction), [last]])
        root = np.sqrt(self.at(fine))
        root[0], root[-1] = root[1] if first == 0.0 else 0.0, 0.0
        way = np.cumsum(np.abs(np.diff(root, prepend=root[0]))) + 1e-9 * np.arange(len(fine))
        rings = np.interp((np.arange(N_RINGS) + 0.5) / N_RINGS * way[-1], way, fine)
        return np.unique(rings.round(9))


def _disc_mean(fraction, value) -> float:
    """Mean over the disc of a function that is linear between its places."""
    a, b, c, d = fraction[:-1], fraction[1:], value[:-1], value[1:]
    return float(((b - a) * (c * (2.0 * a + b) + d * (a + 2.0 * b))).sum() / 3.0)


def usual_loading() -> Loading:
    """The loading that is taken when none is given: see ROOT, FULL, TIP."""
    fraction = np.unique(np.concatenate([np.linspace(ROOT, 1.0, 301), [FULL, TIP]]))
    up = np.clip((fraction - ROOT) / (FULL - ROOT), 0.0, 1.0)
    down = np.clip((1.0 - fraction) / (1.0 - TIP), 0.0, 1.0)
    return Loading(fraction, up**2 * (3.0 - 2.0 * up) * down**2 * (3.0 - 2.0 * down))


@dataclass(frozen=True, eq=False)
class Propeller:
    """A propeller as a disc.

    Attributes
    ----------
    diameter : m
    centre : (3,) float, m, of the disc
    rotation : "clockwise" or "counter-clockwise", seen from behind
    efficiency : thrust power over shaft power in fast flight, without the induced loss
    rotational_speed : rad/s at rated power, or None: then every condition with power needs its own
    tilt_down, tilt_right : deg, thrust line turned from straight ahead
    hub_diameter : m, of the hub: no loading, and so no swirl, inside it
    figure_of_merit : T v / P at rest
    factor : slipstream factor, part of the ideal slipstream that is there
    loading : Loading

    Raises
    ------
    FlowError : sizes, angles or efficiencies out of range, a loading inside the hub
    """

    diameter: float
    centre: np.ndarray
    rotation: str
    efficiency: UncertainValue
    rotational_speed: float | None = None
    tilt_down: float = 0.0
    tilt_right: float = 0.0
    hub_diameter: float = 0.0
    figure_of_merit: UncertainValue = FIGURE_OF_MERIT
    factor: UncertainValue = SLIPSTREAM_FACTOR
    loading: Loading = field(default_factory=usual_loading)

    def __post_init__(self):
        object.__setattr__(self, "centre", frozen_array(self.centre))
        if self.centre.shape != (3,) or not np.isfinite(self.centre).all():
            raise FlowError("the centre of the propeller is not a point of three lengths")
        if not (np.isfinite(self.diameter) and self.diameter > 0.0):
            raise FlowError(f"propeller: diameter {self.diameter} m; expected more than 0")
        if not 0.0 <= self.hub_diameter < 0.5 * self.diameter:
            raise FlowError(
                f"propeller: hub of {self.hub_diameter * 1e3:.0f} mm; expected less than half of "
                f"the diameter of {self.diameter * 1e3:.0f} mm"
            )
        if self.rotation not in ROTATIONS:
            raise FlowError(
                f"propeller: rotation {self.rotation!r} is not one of {tuple(ROTATIONS)}"
            )
        for name in ("tilt_down", "tilt_right"):
            if not abs(getattr(self, name)) <= TILT_LIMIT:
                raise FlowError(
                    f"propeller: {name} is {getattr(self, name)} deg; expected at most "
                    f"{TILT_LIMIT:g} deg either way"
                )
        for name in ("efficiency", "figure_of_merit"):
            value = getattr(self, name).value
            if not 0.0 < value <= 1.0:
                raise FlowError(f"propeller: {name} is {value:g}; expected more than 0 to 1")
        loaded = self.loading.at(np.linspace(0.0, 0.999 * self.hub_fraction, 50))
        if self.hub_diameter and (loaded > 0.0).any():
            raise FlowError(
                f"propeller: the loading is not zero inside the hub of "
                f"{self.hub_diameter * 1e3:.0f} mm diameter"
            )

    @property
    def radius(self) -> float:
        """m."""
        return 0.5 * self.diameter

    @property
    def area(self) -> float:
        """m2, of the disc."""
        return np.pi * self.radius**2

    @property
    def hub_fraction(self) -> float:
        """Hub radius, parts of the propeller radius."""
        return self.hub_diameter / self.diameter

    @cached_property
    def aft(self) -> np.ndarray:
        """(3,) unit vector along the thrust line, with the slipstream."""
        down, right = np.radians([self.tilt_down, self.tilt_right])
        axis = np.array(
            [np.cos(down) * np.cos(right), -np.sin(right), np.sin(down) * np.cos(right)]
        )
        return axis / np.linalg.norm(axis)

    def cylinder_coordinates(self, points) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Coordinates about the thrust line.

        Parameters
        ----------
        points : (n, 3) float, m

        Returns
        -------
        axial : (n,) float, m, behind the disc
        distance : (n,) float, m, from the thrust line
        outward : (n, 3) unit vectors away from it; zero on it
        """
        offset = np.asarray(points, dtype=float) - self.centre
        axial = offset @ self.aft
        away = offset - axial[:, None] * self.aft
        distance = np.linalg.norm(away, axis=1)
        outward = np.divide(
            away, distance[:, None], out=np.zeros_like(away), where=distance[:, None] > 0.0
        )
        return axial, distance, outward
