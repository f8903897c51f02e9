"""Compact heat-exchanger surfaces: friction and heat transfer against Reynolds number.

f is the Fanning friction factor, j = St Pr^(2/3) the Colburn factor, both against the Reynolds
number G D / mu of the hydraulic diameter D, G the mass flux on the free-flow area.
Source: W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd edition, 1984; every number of it
here was met second-hand, so all carry the mark "memory".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from panelcp.errors import NetworkError
from panelcp.surface.mesh import frozen_array

FIN_CONDUCTIVITY = 200.0
"""W/(m K), aluminium alloy (from memory, 160 to 220)."""

AIR_PRANDTL = 0.705
"""Of air, 0.700 to 0.709 from 100 to 15 degC (CoolProp 8.0.0)."""

_BOOK = "Kays and London, Compact Heat Exchangers, 3rd edition, 1984, met second-hand"


@dataclass(frozen=True)
class FinGeometry:
    """A plate-fin surface.

    Attributes
    ----------
    plate_spacing : m, clear between the plates
    fins_per_metre : 1/m
    hydraulic_diameter : m
    fin_thickness : m
    area_density : m2 of surface per m3 between the plates
    fin_share : area of the fins over all area
    mark, source : as in `UncertainValue`
    """

    plate_spacing: float
    fins_per_metre: float
    hydraulic_diameter: float
    fin_thickness: float
    area_density: float
    fin_share: float
    mark: str = "memory"
    source: str = _BOOK

    def per_core_volume(self, other_spacing: float, plate_thickness: float) -> float:
        """Area of this surface, m2, per m3 of a core that alternates with another passage.

        Notes
        -----
        b beta / (b + b_other + 2 a), a the thickness of a plate. Derived.
        """
        pitch = self.plate_spacing + other_spacing + 2.0 * plate_thickness
        return self.plate_spacing * self.area_density / pitch

    def free_share(self, other_spacing: float, plate_thickness: float) -> float:
        """Free-flow area over face area in such a core: area per volume times D / 4.

        Examples
        --------
        >>> surface = FIN_GEOMETRIES["plain 11.1"]
        >>> round(surface.free_share(6.35e-3, 0.3175e-3), 3)
        0.441
        """
        area = self.per_core_volume(other_spacing, plate_thickness)
        return area * self.hydraulic_diameter / 4.0


def _fins(spacing, per_inch, diameter, thickness, density, share):
    return FinGeometry(
        spacing * 1e-3, per_inch / 0.0254, diameter * 1e-3, thickness * 1e-3, density, share
    )


FIN_GEOMETRIES: Mapping[str, FinGeometry] = {
    "louvred 3/8-6.06": _fins(6.35, 6.06, 4.453, 0.152, 840.0, 0.640),
    "plain 11.1": _fins(6.35, 11.1, 3.08, 0.152, 1204.0, 0.756),
    "louvred 3/16-11.1": _fins(6.35, 11.1, 3.084, 0.152, 1204.0, 0.756),
    "louvred 3/4-11.1": _fins(6.35, 11.1, 3.084, 0.152, 1204.0, 0.756),
    "plain 15.08": _fins(10.62, 15.08, 2.67, 0.152, 1358.3, 0.870),
    "plain 19.86": _fins(6.35, 19.86, 1.875, 0.152, 1840.6, 0.849),
    "strip fin 1/8-16.00": _fins(6.48, 16.00, 1.86, 0.152, 1804.0, 0.845),
    "strip fin 1/8-19.82D": _fins(5.21, 19.82, 1.54, 0.102, 2231.0, 0.841),
    "wavy 11.5-3/8W": _fins(9.53, 11.5, 3.02, 0.254, 1138.0, 0.822),
    "wavy 17.8-3/8W": _fins(10.49, 17.8, 2.12, 0.152, 1686.0, 0.892),
}
"""Names as in the book: kind, length of louvres, strips or waves in inches, fins per inch. Both
strip fins are laid double, with a sheet between that counts as fin: diameter and share show it
(derived)."""


@dataclass(frozen=True, eq=False)
class SurfaceTable:
    """Measured f and j of a surface.

    Attributes
    ----------
    name : str
    reynolds : (n,) rising, two or more
    friction, colburn : (n,) above 0
    mark, source : as in `UncertainValue`

    Raises
    ------
    NetworkError : lengths that differ, numbers not above 0, Reynolds numbers that do not rise
    """

    name: str
    reynolds: np.ndarray
    friction: np.ndarray
    colburn: np.ndarray
    mark: str = "yours"
    source: str = ""

    def __post_init__(self):
        for field in ("reynolds", "friction", "colburn"):
            object.__setattr__(self, field, frozen_array(getattr(self, field)))
        shapes = {self.reynolds.shape, self.friction.shape, self.colburn.shape}
        if len(shapes) != 1 or self.reynolds.ndim != 1 or len(self.reynolds) < 2:
            raise NetworkError(
                f"surface {self.name!r}: reynolds, friction and colburn have the shapes "
                f"{self.reynolds.shape}, {self.friction.shape}, {self.colburn.shape}; expected two "
                "or more of each, and the same number"
            )
        numbers = np.stack([self.reynolds, self.friction, self.colburn])
        if not (np.all(numbers > 0.0) and np.all(np.isfinite(numbers))):
            raise NetworkError(f"surface {self.name!r}: some numbers are not above 0")
        if not np.all(np.diff(self.reynolds) > 0.0):
            raise NetworkError(f"surface {self.name!r}: Reynolds numbers do not rise")

    def friction_at(self, reynolds) -> np.ndarray:
        """f, straight between points in logarithms, and on past the ends; see `outside`."""
        return _logarithmic(reynolds, self.reynolds, self.friction)

    def colburn_at(self, reynolds) -> np.ndarray:
        """j, straight between points in logarithms, and on past the ends; see `outside`.

        Examples
        --------
        >>> TUBE_BANKS["staggered 1.50-1.25"].colburn_at([1000.0, 1095.445]).round(5)
        array([0.0189 , 0.01834])
        """
        return _logarithmic(reynolds, self.reynolds, self.colburn)

    def outside(self, reynolds) -> np.ndarray:
        """True where a Reynolds number is outside the measured ones."""
        reynolds = np.asarray(reynolds, dtype=float)
        return (reynolds < self.reynolds[0]) | (reynolds > self.reynolds[-1])


_STAGGERED = [
    (800, 0.0827, 0.0201),
    (1000, 0.0812, 0.0189),
    (1200, 0.0800, 0.0178),
    (1500, 0.0780, 0.0166),
    (2000, 0.0750, 0.0149),
    (2500, 0.0725, 0.0137),
    (3000, 0.0702, 0.0127),
    (4000, 0.0670, 0.0112),
    (5000, 0.0640, 0.0102),
    (6000, 0.0614, 0.00941),
    (8000, 0.0578, 0.00832),
    (10000, 0.0550, 0.00755),
    (12000, 0.0530, 0.00698),
    (15000, 0.0508, 0.00632),
]
_INLINE = [
    (800, 0.0265, 0.00790),
    (1000, 0.0281, 0.00750),
    (1200, 0.0331, 0.00778),
    (1500, 0.0410, 0.00960),
    (2000, 0.0497, 0.01075),
    (2500, 0.0535, 0.01095),
    (3000, 0.0554, 0.01080),
    (4000, 0.0562, 0.01020),
    (5000, 0.0558, 0.00958),
    (6000, 0.0549, 0.00900),
    (8000, 0.0525, 0.00820),
    (10000, 0.0505, 0.00752),
]
TUBE_BANKS: Mapping[str, SurfaceTable] = {
    name: SurfaceTable(name, *np.transpose(rows), "memory", _BOOK + ", Table 10-2")
    for name, rows in (("staggered 1.50-1.25", _STAGGERED), ("inline 1.50-1.25", _INLINE))
}
"""Air across bare round tubes; pitch across and along in tube diameters."""


def strip_fin_factors(reynolds, spacing_ratio, thickness_length, thickness_spacing):
    """Friction and Colburn factor of offset strip fins.

    Parameters
    ----------
    reynolds : of the hydraulic diameter, 120 to 10 000
    spacing_ratio : s / h, clear width over clear height of a passage
    thickness_length : t / l, thickness over length of a strip
    thickness_spacing : t / s

    Returns
    -------
    f, j : arrays
        Known to some 20 % (from memory).

    Raises
    ------
    NetworkError : a Reynolds number outside the range

    Notes
    -----
    j = 0.6522 Re^-0.5403 a^-0.1541 d^0.1499 g^-0.0678
    (1 + 5.269e-5 Re^1.340 a^0.504 d^0.456 g^-1.055)^0.1,
    f = 9.6243 Re^-0.7422 a^-0.1856 d^0.3053 g^-0.2659
    (1 + 7.669e-8 Re^4.429 a^0.920 d^3.767 g^0.236)^0.1; a, d, g the three ratios in their order.
    Source: R. M. Manglik and A. E. Bergles, Exp. Thermal Fluid Sci. 10 (1995), 171 (coefficients
    from memory).

    Examples
    --------
    >>> f, j = strip_fin_factors(400.0, 0.671543, 0.04, 0.083893)
    >>> round(float(f), 5), round(float(j), 5)
    (0.08828, 0.02059)
    """
    re = np.asarray(reynolds, dtype=float)
    if not np.all((re >= 120.0) & (re <= 1e4)):
        raise NetworkError("Reynolds number of strip fins outside 120 to 10 000")
    a, d, g = spacing_ratio, thickness_length, thickness_spacing
    colburn = 0.6522 * re**-0.5403 * a**-0.1541 * d**0.1499 * g**-0.0678
    colburn = colburn * (1.0 + 5.269e-5 * re**1.340 * a**0.504 * d**0.456 * g**-1.055) ** 0.1
    friction = 9.6243 * re**-0.7422 * a**-0.1856 * d**0.3053 * g**-0.2659
    friction = friction * (1.0 + 7.669e-8 * re**4.429 * a**0.920 * d**3.767 * g**0.236) ** 0.1
    return friction, colburn


def louvred_fin_colburn(
    reynolds,
    louvre_angle,
    louvre_pitch,
    fin_pitch,
    fin_length,
    tube_depth,
    louvre_length,
    tube_pitch,
    fin_thickness,
) -> np.ndarray:
    """Colburn factor of louvred fins between flat tubes, as in car radiators.

    Parameters
    ----------
    reynolds : of the louvre pitch, 30 to 5000 (range from memory)
    louvre_angle : deg
    louvre_pitch, fin_pitch, fin_length, tube_depth, louvre_length, tube_pitch, fin_thickness : m

    Returns
    -------
    array
        Known to some 15 % (from memory).

    Notes
    -----
    j = Re^-0.49 (angle / 90)^0.27 (Fp/Lp)^-0.14 (Fl/Lp)^-0.29 (Td/Lp)^-0.23 (Ll/Lp)^0.68
    (Tp/Lp)^-0.28 (d/Lp)^-0.05, in the order of the parameters.
    Source: Y. J. Chang and C. C. Wang, Int. J. Heat Mass Transfer 40 (1997) (from memory).

    Examples
    --------
    >>> j = louvred_fin_colburn(
    ...     300.0, 28.0, 1.2e-3, 1.5e-3, 8e-3, 40e-3, 6.5e-3, 10e-3, 0.1e-3
    ... )
    >>> round(float(j), 4)
    0.022
    """
    re = np.asarray(reynolds, dtype=float)
    if not np.all((re >= 30.0) & (re <= 5000.0)):
        raise NetworkError("Reynolds number of louvred fins outside 30 to 5000")
    lengths = (fin_pitch, fin_length, tube_depth, louvre_length, tube_pitch, fin_thickness)
    powers = (-0.14, -0.29, -0.23, 0.68, -0.28, -0.05)
    if not (louvre_pitch > 0.0 and louvre_angle > 0.0 and all(length > 0.0 for length in lengths)):
        raise NetworkError("angle and lengths of louvred fins must be above 0")
    factor = (louvre_angle / 90.0) ** 0.27
    for length, power in zip(lengths, powers, strict=True):
        factor *= (length / louvre_pitch) ** power
    return re**-0.49 * factor


def heat_transfer_coefficient(colburn, mass_flux, specific_heat, prandtl=AIR_PRANDTL) -> np.ndarray:
    """Heat transfer, W/(m2 K): j G cp Pr^(-2/3), G on the free-flow area.

    Examples
    --------
    >>> round(float(heat_transfer_coefficient(0.0195, 8.0, 1006.0, 0.71)), 2)
    197.19
    """
    prandtl = np.asarray(prandtl, dtype=float)
    if not np.all(prandtl > 0.0):
        raise NetworkError("Prandtl number is not above 0")
    return np.asarray(colburn) * np.abs(mass_flux) * specific_heat * prandtl ** (-2.0 / 3.0)


def surface_efficiency(
    coefficient, length, thickness, fin_share, conductivity=FIN_CONDUCTIVITY
) -> np.ndarray:
    """Part of the heat that a surface carries of what it would at one temperature.

    Parameters
    ----------
    coefficient : h, W/(m2 K)
    length : l, m, from the root of a fin to its tip or middle: half the plate spacing
    thickness : t, m, of the fin
    fin_share : area of the fins over all area
    conductivity : k, W/(m K)

    Notes
    -----
    1 - fin_share (1 - tanh(m l) / (m l)), m = sqrt(2 h / (k t)). Derived: a thin straight fin.

    Examples
    --------
    >>> round(float(surface_efficiency(200.0, 4e-3, 0.1e-3, 0.85)), 4)
    0.9196
    """
    slender = np.sqrt(2.0 * np.asarray(coefficient, dtype=float) / (conductivity * thickness))
    reach = slender * length
    some = np.where(reach > 0.0, reach, 1.0)
    fin = np.where(reach > 0.0, np.tanh(some) / some, 1.0)
    return 1.0 - fin_share * (1.0 - fin)


def conductance_from_sides(*side_conductances, wall_resistance=0.0) -> np.ndarray:
    """Conductance UA, W/K, of sides in series: h A with its efficiency, of each; wall in K/W.

    Examples
    --------
    >>> float(conductance_from_sides(1000.0, 4000.0).round(9))
    800.0
    """
    sides = [np.asarray(side, dtype=float) for side in side_conductances]
    if not sides or not all(np.all(side > 0.0) for side in sides):
        raise NetworkError("conductance of a core needs sides with conductances above 0")
    return 1.0 / (sum(1.0 / side for side in sides) + wall_resistance)


def _logarithmic(at, points, values):
    at = np.asarray(at, dtype=float)
    if not np.all(at > 0.0):
        raise NetworkError("Reynolds number of a surface is not above 0")
    x, y, at = np.log(points), np.log(values), np.log(at)
    cell = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    slope = np.diff(y) / np.diff(x)
    return np.exp(y[cell] + slope[cell] * (at - x[cell]))
