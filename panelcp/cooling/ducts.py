"""Losses of ducts: wall friction, bends, contractions, sudden expansions.

Laws of handbooks for pipes hold for long, clean, straight runs ahead and behind. Home-made ducts
have neither, so every band is wider than the spread of the laws; by how much is said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import wrightomega

from panelcp.cooling.losses import spread, within
from panelcp.quantity import UncertainValue

LAMINAR_LIMIT, TURBULENT_LIMIT = 2000.0, 4000.0
"""Reynolds numbers between which the flow may be either (common practice)."""

VANED_MITRE = UncertainValue(
    0.20, 0.12, 0.35, "memory", "sharp 90 deg corner with thin circular-arc vanes, from memory"
)
"""K of a vaned right-angle corner on its own velocity head."""

_CRANE_RADII = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0)
_CRANE_FACTORS = (20.0, 14.0, 12.0, 12.0, 14.0, 17.0, 24.0, 30.0)
_BENDS = (
    "spread of the laws of Rennels (Pipe Flow, 2012) and Ito (1960) as a general-purpose library "
    "gives them and of a table from memory, and 20 % for short runs"
)
_CONTRACTION = (
    "spread of the laws of Rennels (Pipe Flow, 2012), Idelchik (Handbook of Hydraulic Resistance) "
    "and 0.5 (1 - area ratio), all from memory"
)


def hydraulic_diameter(area: ArrayLike, perimeter: ArrayLike) -> np.ndarray:
    """Hydraulic diameter 4 area / perimeter, m. Exact definition.

    Raises
    ------
    NetworkError : not positive, or an area greater than that of the circle of that perimeter

    Examples
    --------
    >>> float(hydraulic_diameter(0.02, 0.6))
    0.13333333333333333
    """
    area = within("area, m2", area, 1e-12, np.inf)
    around = within("perimeter, m", perimeter, 1e-6, np.inf)
    within(
        "area over that of a circle with the same perimeter",
        4.0 * np.pi * area / around**2,
        0.0,
        1.0 + 1e-9,
        "look at area and perimeter",
    )
    return 4.0 * area / around


def rectangle_diameter(width: ArrayLike, height: ArrayLike) -> np.ndarray:
    """Hydraulic diameter of a rectangle, 2 w h / (w + h), m.

    Examples
    --------
    >>> float(rectangle_diameter(0.2, 0.1))
    0.13333333333333333
    """
    width = within("width, m", width, 1e-6, np.inf)
    height = within("height, m", height, 1e-6, np.inf)
    return 2.0 * width * height / (width + height)


def laminar_number(aspect: ArrayLike | None = None) -> np.ndarray:
    """Friction factor (Darcy) times Reynolds number of developed laminar flow.

    Parameters
    ----------
    aspect : short over long side of a rectangle, 0 (two plates) to 1; None for a circle

    Returns
    -------
    64 for a circle (exact); for rectangles 96 (1 - 1.3553 a + 1.9467 a^2 - 1.7012 a^3 + 0.9564 a^4
    - 0.2537 a^5), R. K. Shah and A. L. London, Laminar Flow Forced Convection in Ducts, 1978 (from
    memory); within 0.05 % of the exact series, which a test sums.

    Examples
    --------
    >>> round(float(laminar_number(1.0)), 2), float(laminar_number())
    (56.92, 64.0)
    """
    if aspect is None:
        return np.array(64.0)
    a = within("aspect of a rectangle (short over long side)", aspect, 0.0, 1.0)
    return 96.0 * np.polyval([-0.2537, 0.9564, -1.7012, 1.9467, -1.3553, 1.0], a)


def colebrook(reynolds: ArrayLike, roughness: ArrayLike = 0.0) -> np.ndarray:
    """Darcy friction factor of a turbulent pipe, exact solution of Colebrook's equation.

    Parameters
    ----------
    reynolds : on the (hydraulic) diameter, 2000 or more
    roughness : height of the roughness over the diameter, 0 to 0.05

    Notes
    -----
    1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))), C. F. Colebrook, Journal of the Institution of
    Civil Engineers 11, 1939. Solved by the Wright omega function, omega(u) = W(exp(u)), which
    cannot overflow where Lambert's W would. The law itself is good to some 5-10 % (memory).

    Examples
    --------
    >>> round(float(colebrook(1e5, 1e-3)), 8)
    0.02217454
    """
    re = within("Reynolds number", reynolds, LAMINAR_LIMIT, np.inf, "laminar flow has 64 / Re")
    wall = within("relative roughness", roughness, 0.0, 0.05) / 3.7
    slope, rate = 2.51 / re, 0.5 * np.log(10.0)
    shift = wall / slope
    root = wrightomega(np.log(rate / slope) + rate * shift) / rate - shift
    root = root - (root + np.log(wall + slope * root) / rate) / (
        1.0 + slope / (rate * (wall + slope * root))
    )
    return 1.0 / root**2


def haaland(reynolds: ArrayLike, roughness: ArrayLike = 0.0) -> np.ndarray:
    """Darcy friction factor, explicit and within 2 % of Colebrook.

    1/sqrt(f) = -1.8 log10((e/3.7)^1.11 + 6.9/Re), S. E. Haaland, Journal of Fluids Engineering 105,
    1983. A second opinion; the program itself uses `colebrook`.

    Examples
    --------
    >>> round(float(haaland(1e5, 1e-3)), 8)
    0.02196621
    """
    re = within("Reynolds number", reynolds, LAMINAR_LIMIT, np.inf, "laminar flow has 64 / Re")
    wall = within("relative roughness", roughness, 0.0, 0.05) / 3.7
    return (1.8 * np.log10(wall**1.11 + 6.9 / re)) ** -2


def friction_number(
    reynolds: ArrayLike,
    roughness: ArrayLike = 0.0,
    aspect: ArrayLike | None = None,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Friction factor times Reynolds number: finite and positive also without flow.

    Parameters
    ----------
    reynolds : 0 or more, on the hydraulic diameter
    roughness : over the hydraulic diameter, 0 to 0.05
    aspect : see `laminar_number`
    deviation : place in the band, standard deviations

    Notes
    -----
    Laminar up to 2000, Colebrook from 4000, in between a smooth step from one to the other (ours:
    continuous with its slope). The band (memory) is 5 % for circles and 10 % for rectangles in
    turbulent flow, 2 % in laminar flow, and half the distance of both laws in between. Developed
    flow: a duct shorter than some ten diameters has more.

    Examples
    --------
    >>> float(friction_number(0.0)), round(float(friction_number(1e5, 1e-3)) / 1e5, 8)
    (64.0, 0.02217454)
    """
    re = within("Reynolds number", reynolds, 0.0, np.inf)
    laminar = laminar_number(aspect)
    high = np.maximum(re, LAMINAR_LIMIT)
    turbulent = colebrook(high, roughness) * high
    t = np.clip((re - LAMINAR_LIMIT) / (TURBULENT_LIMIT - LAMINAR_LIMIT), 0.0, 1.0)
    step = t * t * (3.0 - 2.0 * t)
    value = laminar + step * (turbulent - laminar)
    share = 0.02 + step * (0.03 if aspect is None else 0.08)
    doubt = share * value + 2.0 * step * (1.0 - step) * np.abs(turbulent - laminar)
    return np.maximum(value + deviation * doubt, 0.1 * value)


def friction_factor(
    reynolds: ArrayLike,
    roughness: ArrayLike = 0.0,
    aspect: ArrayLike | None = None,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Darcy friction factor at any Reynolds number above 1; see `friction_number`.

    Examples
    --------
    >>> round(float(friction_factor(1000.0)), 6)
    0.064
    """
    re = within("Reynolds number", reynolds, 1.0, np.inf, "use friction_number without flow")
    return friction_number(re, roughness, aspect, deviation) / re


def straight_duct_loss(friction: ArrayLike, length: ArrayLike, diameter: ArrayLike) -> np.ndarray:
    """K = f L / D of a straight duct, on its own velocity head (exact definition of Darcy's f).

    Examples
    --------
    >>> round(float(straight_duct_loss(0.02, 1.5, 0.1)), 12)
    0.3
    """
    length = within("length, m", length, 0.0, np.inf)
    return friction * length / within("hydraulic diameter, m", diameter, 1e-6, np.inf)


def straight_duct_drop(
    velocity: ArrayLike,
    length: ArrayLike,
    diameter: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    roughness_height: ArrayLike = 0.0,
    aspect: ArrayLike | None = None,
    deviation: ArrayLike = 0.0,
) -> np.ndarray:
    """Pressure drop of a straight duct, Pa, odd in the velocity and smooth through zero.

    Parameters
    ----------
    velocity : m/s, mean over the section, either sign
    length, diameter, roughness_height : m; diameter is the hydraulic one
    density, viscosity : kg/m3 and Pa s (dynamic)
    aspect, deviation : see `friction_number`

    Notes
    -----
    dp = (f Re) mu L V / (2 D^2); without flow it is the laminar law, so its slope there is right.

    Examples
    --------
    >>> round(float(straight_duct_drop(-20.0, 1.0, 0.1, 1.1, 1.9e-5)), 3)
    -38.393
    """
    size = within("hydraulic diameter, m", diameter, 1e-6, np.inf)
    reynolds = density * np.abs(velocity) * size / viscosity
    number = friction_number(reynolds, roughness_height / size, aspect, deviation)
    run = within("length, m", length, 0.0, np.inf)
    return number * viscosity * run * velocity / (2.0 * size**2)


def rennels_bend(angle: ArrayLike, radius_ratio: ArrayLike, friction: ArrayLike) -> np.ndarray:
    """K of a round bend on its own velocity head, friction along it included.

    K = f a R/D + (0.10 + 2.4 f) sin(a/2) + 6.6 f (sqrt(sin(a/2)) + sin(a/2)) / (R/D)^(4a/pi), D. C.
    Rennels and H. M. Hudson, Pipe Flow, 2012, ch. 15 (from memory, equal to a library).

    Examples
    --------
    >>> round(float(rennels_bend(90.0, 1.5, 0.015)), 4)
    0.1996
    """
    a, half = np.radians(angle), np.sin(0.5 * np.radians(angle))
    turn = 6.6 * friction * (np.sqrt(half) + half) / radius_ratio ** (4.0 * a / np.pi)
    return friction * a * radius_ratio + (0.10 + 2.4 * friction) * half + turn


def ito_bend(angle: ArrayLike, radius_ratio: ArrayLike, reynolds: ArrayLike) -> np.ndarray:
    """K of a smooth round bend on its own velocity head, friction along it included.

    K = 0.00431 b a Re^-0.17 (R/D)^0.84, a in degrees, b from the angle: H. Ito, Journal of Basic
    Engineering 82, 1960 (from memory, equal to a library). Holds for Re (D/R)^2 above 364.

    Examples
    --------
    >>> round(float(ito_bend(90.0, 1.5, 2e5)), 4)
    0.2017
    """
    r = np.asarray(radius_ratio, dtype=float)
    at_45 = 1.0 + 5.13 * r**-1.47
    at_90 = np.where(r < 9.85, 0.95 + 4.42 * r**-1.96, 1.0)
    at_180 = 1.0 + 5.06 * r**-4.52
    t = np.clip((np.asarray(angle, dtype=float) - 45.0) / 45.0, 0.0, 1.0)
    s = np.clip((np.asarray(angle, dtype=float) - 90.0) / 90.0, 0.0, 1.0)
    factor = (1.0 - t) * at_45 + (t - s) * at_90 + s * at_180
    return 0.00431 * factor * angle * np.asarray(reynolds, dtype=float) ** -0.17 * r**0.84


def crane_bend(angle: ArrayLike, radius_ratio: ArrayLike, friction: ArrayLike) -> np.ndarray:
    """K of a bend on its own velocity head from a table of multiples of the friction factor.

    Crane Technical Paper 410 (table from memory): 20 f at R/D = 1, 14 at 1.5, 12 at 2 and 3, 14 at
    4, 17 at 6, 24 at 8, 30 at 10 for 90 deg; in proportion to the angle below (ours), by the
    paper's rule above. Radii outside the table take its end.

    Examples
    --------
    >>> round(float(crane_bend(90.0, 1.5, 0.015)), 4)
    0.21
    """
    right = friction * np.interp(radius_ratio, _CRANE_RADII, _CRANE_FACTORS)
    turns = np.asarray(angle, dtype=float) / 90.0
    more = 0.25 * np.pi * friction * np.asarray(radius_ratio, dtype=float) + 0.5 * right
    return np.where(turns <= 1.0, turns * right, right + (turns - 1.0) * more)


def bend_loss(
    angle: float, radius_ratio: float, friction: float = 0.02, reynolds: float = 1e5
) -> UncertainValue:
    """K of a rounded bend without vanes, on its own velocity head, friction along it included.

    Parameters
    ----------
    angle : deg, 0 to 180
    radius_ratio : radius of the centre line over the (hydraulic) diameter, 0.5 to 20
    friction : Darcy friction factor of the duct
    reynolds : on the diameter, 1e4 or more; below 364 (R/D)^2 the law of Ito is outside its range
        and the band is twice as wide

    Raises
    ------
    NetworkError : outside these ranges

    Examples
    --------
    >>> found = bend_loss(90.0, 1.5, 0.015, 2e5)
    >>> round(found.low, 2), round(found.value, 2), round(found.high, 2)
    (0.16, 0.2, 0.25)
    """
    within("angle of a bend, deg", angle, 0.0, 180.0)
    advice = "a sharp corner is a mitre: use mitre_loss"
    within("bend radius over diameter", radius_ratio, 0.5, 20.0, advice)
    within("Reynolds number in a bend", reynolds, 1e4, np.inf, "slower air loses next to nothing")
    within("friction factor", friction, 0.001, 0.2)
    found = [
        float(rennels_bend(angle, radius_ratio, friction)),
        float(ito_bend(angle, radius_ratio, reynolds)),
        float(crane_bend(angle, radius_ratio, friction)),
    ]
    margin = 0.2 if reynolds > 364.0 * radius_ratio**2 else 0.4
    return spread(found, "derived", _BENDS, margin=margin)


def rennels_mitre(angle: ArrayLike) -> np.ndarray:
    """K of a sharp corner on its own velocity head: 0.42 sin(a/2) + 2.56 sin(a/2)^3, a in deg.

    D. C. Rennels and H. M. Hudson, Pipe Flow, 2012, ch. 15 (from memory, equal to a library).

    Examples
    --------
    >>> round(float(rennels_mitre(90.0)), 4)
    1.2021
    """
    half = np.sin(0.5 * np.radians(angle))
    return 0.42 * half + 2.56 * half**3


def mitre_loss(angle: float, vaned: bool = False) -> UncertainValue:
    """K of a sharp corner on its own velocity head.

    Parameters
    ----------
    angle : deg, 0 to 150 without vanes; 0 to 120 with them
    vaned : with thin turning vanes

    Notes
    -----
    Without vanes 0.93 (0.80 to 1.05) of `rennels_mitre`, which takes in the other handbooks at 90
    deg (0.98 to 1.20; memory). With vanes `VANED_MITRE` in proportion to 1 - cos(a) (ours).

    Examples
    --------
    >>> round(mitre_loss(90.0).value, 3), round(mitre_loss(90.0, vaned=True).value, 3)
    (1.118, 0.2)
    """
    within("angle of a corner, deg", angle, 0.0, 120.0 if vaned else 150.0)
    if vaned:
        part = float(1.0 - np.cos(np.radians(angle)))
        numbers = (part * n for n in (VANED_MITRE.value, VANED_MITRE.low, VANED_MITRE.high))
        return UncertainValue(*numbers, "memory", VANED_MITRE.source, "number")
    full = float(rennels_mitre(angle))
    source = "Rennels, Pipe Flow, 2012, lowered for other handbooks, all from memory"
    return UncertainValue(0.93 * full, 0.80 * full, 1.05 * full, "memory", source, "number")


def rennels_contraction(area_ratio: ArrayLike) -> np.ndarray:
    """K of a sharp contraction on the velocity head of the small section.

    l = 1 + 0.622 (1 - 0.215 b^2 - 0.785 b^5), K = 0.0696 (1 - b^5) l^2 + (l - 1)^2, b^2 = small
    over large area: D. C. Rennels and H. M. Hudson, Pipe Flow, 2012, ch. 10 (from memory).

    Examples
    --------
    >>> round(float(rennels_contraction(0.5)), 5)
    0.34341
    """
    b = np.sqrt(within("small over large area", area_ratio, 0.0, 1.0))
    jet = 1.0 + 0.622 * (1.0 - 0.215 * b**2 - 0.785 * b**5)
    return 0.0696 * (1.0 - b**5) * jet**2 + (jet - 1.0) ** 2


def contraction_loss(area_ratio: float, angle: float = 180.0) -> UncertainValue:
    """K of a contraction on the velocity head of the small section, wall friction left out.

    Parameters
    ----------
    area_ratio : small over large area, 0 to 1
    angle : deg, included angle of a cone, 10 to 180; 180 is a step

    Notes
    -----
    Step: spread of `rennels_contraction`, 0.5 (1 - A)^0.75 and 0.5 (1 - A). Cone: the step times
    0.8 sin(a/2) / 0.5 up to 45 deg and sqrt(sin(a/2)) above (Crane Technical Paper 410, from
    memory), which does not jump at 180 deg; at 45 deg it jumps by 1 %.

    Examples
    --------
    >>> found = contraction_loss(0.5)
    >>> round(found.low, 3), round(found.value, 3), round(found.high, 3)
    (0.25, 0.297, 0.343)
    """
    within("small over large area", area_ratio, 0.0, 1.0, "turn it round, or use an expansion")
    within("angle of a contraction, deg", angle, 10.0, 180.0, "a slower one is a duct")
    half = np.sin(0.5 * np.radians(angle))
    cone = 1.6 * half if angle <= 45.0 else np.sqrt(half)
    step = (rennels_contraction(area_ratio), 0.5 * (1 - area_ratio) ** 0.75, 0.5 * (1 - area_ratio))
    return spread(cone * np.array(step, dtype=float), "memory", _CONTRACTION)


def sudden_expansion_loss(area_ratio: ArrayLike) -> np.ndarray:
    """K of a step outward on the velocity head ahead of it: (1 - 1/AR)^2, Borda and Carnot, exact.

    Even flow ahead, long duct behind. AR is large over small area, 1 to infinity.

    Examples
    --------
    >>> sudden_expansion_loss([1.0, 2.0, 4.0])
    array([0.    , 0.25  , 0.5625])
    """
    return (1.0 - 1.0 / within("large over small area", area_ratio, 1.0, np.inf)) ** 2
