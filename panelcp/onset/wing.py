"""The wing: lift as an elliptic bound vortex with its wake; the thickness is left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.onset.vortices import vortex_line
from panelcp.surface.mesh import frozen_array

N_ELEMENTS = 80
CORE_SHARE = 0.25
"""The vortex is smoothed over this part of the mean chord: a real wing spreads its lift along the
chord."""

GRAVITY = 9.80665
ACROSS = np.array([0.0, 1.0, 0.0])
AFT = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True, eq=False)
class Wing:
    """A wing as a straight bound vortex across the body axis, its wake straight aft.

    Attributes
    ----------
    span, area : m, m2
    centre : (3,) float, m, quarter chord at the centre line: station, butt line, waterline (low
        or high wing)
    mass : kg, of the aeroplane
    max_lift_coefficient : above it the wing stalls and the condition is refused
    core : m, smoothing length; a quarter of the mean chord when not given

    Raises
    ------
    FlowError : sizes or coefficient that are not above zero
    """

    span: float
    area: float
    centre: np.ndarray
    mass: float
    max_lift_coefficient: float = 1.6
    core: float | None = None

    def __post_init__(self):
        object.__setattr__(self, "centre", frozen_array(self.centre))
        if self.centre.shape != (3,) or not np.isfinite(self.centre).all():
            raise FlowError("the place of the wing is not a point of three lengths")
        for name in ("span", "area", "mass", "max_lift_coefficient"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0.0):
                raise FlowError(f"wing: {name} is {value}; expected more than 0")
        if self.core is None:
            object.__setattr__(self, "core", CORE_SHARE * self.area / self.span)

    @property
    def aspect_ratio(self) -> float:
        """Span^2 over area."""
        return self.span**2 / self.area

    def lift_coefficient(self, load_factor, airspeed, density) -> float:
        """Of the whole wing, the body's lift included.

        Raises
        ------
        FlowError : lift without airspeed, or more than the wing can give
        """
        if load_factor == 0.0:
            return 0.0
        q = 0.5 * density * airspeed**2
        lift = load_factor * self.mass * GRAVITY
        if not q * self.area * self.max_lift_coefficient >= abs(lift):
            found = f"{lift / (q * self.area):.2f}" if q > 0.0 else "without limit"
            raise FlowError(
                f"the wing would need the lift coefficient {found}, beyond stall (at most "
                f"{self.max_lift_coefficient:g}): give more speed, a smaller load_factor (0 with "
                "the weight on the wheels), or correct mass and area of the wing"
            )
        return lift / (q * self.area)

    def circulation(self, load_factor, airspeed, density) -> float:
        """Circulation in the middle, m2/s: 4 L / (pi rho V b)."""
        coefficient = self.lift_coefficient(load_factor, airspeed, density)
        return 2.0 * coefficient * airspeed * self.area / (np.pi * self.span)


def wing_velocity(wing: Wing, points) -> np.ndarray:
    """Velocity of the wing for a circulation of 1 m2/s in the middle.

    Parameters
    ----------
    wing : Wing
    points : (n_points, 3) float, m

    Returns
    -------
    (n_points, 3) float, m/s: bound vortex and the two trailing ends of every horseshoe element

    Notes
    -----
    Elliptic loading over the span, in elements closer together towards the tips. Source of the
    horseshoe: J. Katz, A. Plotkin, Low-Speed Aerodynamics, 2nd ed., 2001, ch. 12 (from memory).
    """
    angles = np.linspace(0.0, np.pi, N_ELEMENTS + 1)
    ends = 0.5 * wing.span * -np.cos(angles)
    bound = np.sin(0.5 * (angles[:-1] + angles[1:]))
    trailing = np.diff(bound, prepend=0.0, append=0.0)
    points = np.asarray(points, dtype=float)
    velocity = np.zeros((len(points), 3))
    for y, length, circulation in zip(ends, np.diff(ends), bound, strict=False):
        start = wing.centre + y * ACROSS
        velocity += circulation * vortex_line(start, ACROSS, length, points, wing.core)
    for y, circulation in zip(ends, trailing, strict=True):
        start = wing.centre + y * ACROSS
        velocity -= circulation * vortex_line(start, AFT, np.inf, points, wing.core)
    return velocity
