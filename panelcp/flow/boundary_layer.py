"""Boundary layers along lines over the skin: laminar, transition, turbulent, separation.

Works on lines given as arrays, wherever they come from. Laminar: B. Thwaites, Approximate
calculation of the laminar boundary layer, Aeronaut. Q. 1 (1949) 245-280, with the shear of
F. M. White, Viscous Fluid Flow, and White's polynomial for H. Transition: R. Michel, in the form
of T. Cebeci, A. M. O. Smith, Analysis of Turbulent Boundary Layers, 1974. Turbulent: M. R. Head,
Entrainment in the turbulent boundary layer, ARC R&M 3152 (1958), in the form of T. Cebeci,
P. Bradshaw, Momentum Transfer in Boundary Layers, 1977, with the skin friction of H. Ludwieg,
W. Tillmann (1949). Second opinion: B. S. Stratford, The prediction of separation of the turbulent
boundary layer, J. Fluid Mech. 5 (1959) 1-16. All formulas from memory; tests hold them against
exact solutions and tables of other methods.

The layer follows the line: no cross flow is modelled, and nothing behind separation.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from panelcp.errors import FlowError
from panelcp.surface.mesh import frozen_array

NO_LAYER, LAMINAR, TURBULENT, SEPARATED = -1, 0, 1, 2
"""States of a point: no point or no flow there, laminar, turbulent, behind turbulent separation."""

CAUSES = (
    "none",
    "natural",
    "fixed",
    "laminar separation",
    "turbulent start",
    "given",
)
"""Causes of transition: none up to the end of the line; Michel's criterion; a fixed distance;
laminar separation with turbulent reattachment at once; skin turbulent from the nose; a layer
given at the first point."""

SEPARATION_SHAPES = (1.8, 2.4)
"""Shape factor from which turbulent separation is near, and at which it is put. Mark: memory
(Head's method separates at H of 1.8 to 2.4), so both distances are one band."""

SHORT_BUBBLE = 400.0
"""Re of the displacement thickness at laminar separation, below which the layer may not come
back to the skin. Mark: memory (P. R. Owen, L. Klanfer, 1953: short bubbles above 400 to 500)."""

SMOOTHING = 0.1
"""Default reach of the fit to speed and spreading, parts of the distance from the start."""

FULL_THICKNESS = np.array(
    [
        [2.2162, 8.1391],
        [2.2969, 7.8505],
        [2.4108, 7.5921],
        [2.5911, 7.3933],
        [2.8011, 7.3380],
        [3.0209, 7.3894],
        [3.4808, 7.6795],
        [3.9853, 8.1362],
    ]
)
"""Shape factor and thickness to 99 % of the edge speed over momentum thickness of laminar layers:
solutions of Falkner and Skan for beta = 1, 0.5, 0.2, 0, -0.1, -0.15, -0.19, -0.1988. Mark:
derived."""


@dataclass(frozen=True, eq=False)
class BoundaryLayers:
    """Boundary layers along lines; nan where there is no layer and behind separation.

    Attributes
    ----------
    momentum_thickness : (n_lines, n_points) float, m
    shape_factor : (n_lines, n_points) float, displacement over momentum thickness
    skin_friction : (n_lines, n_points) float, wall shear over dynamic pressure of the local edge
        speed; nan where speed or thickness is zero (there it grows without bound)
    pressure_gradient : (n_lines, n_points) float, Thwaites' theta^2/nu dU/ds, laminar points only
    state : (n_lines, n_points) int, `NO_LAYER`, `LAMINAR`, `TURBULENT`, `SEPARATED`
    transition : (n_lines,) float, m along the line; nan where laminar to the end
    transition_cause : (n_lines,) str, one of `CAUSES`
    separation_reynolds : (n_lines,) float, Re of the displacement thickness where laminar
        separation forced the transition, nan elsewhere
    warned, separation : (n_lines,) float, m along the line: where the turbulent shape factor
        reaches 1.8 and 2.4, the band and the centre of separation; nan where not reached
    stratford_separation : (n_lines,) float, m along the line, turbulent separation by Stratford's
        criterion; nan where not reached
    """

    momentum_thickness: np.ndarray
    shape_factor: np.ndarray
    skin_friction: np.ndarray
    pressure_gradient: np.ndarray
    state: np.ndarray
    transition: np.ndarray
    transition_cause: np.ndarray
    separation_reynolds: np.ndarray
    warned: np.ndarray
    separation: np.ndarray
    stratford_separation: np.ndarray

    def __post_init__(self):
        for field in fields(self):
            object.__setattr__(self, field.name, frozen_array(getattr(self, field.name), None))

    @cached_property
    def displacement_thickness(self) -> np.ndarray:
        """(n_lines, n_points) float, m."""
        return frozen_array(self.momentum_thickness * self.shape_factor)

    @cached_property
    def total_thickness(self) -> np.ndarray:
        """(n_lines, n_points) float, m, to about 99 % of the edge speed, see `thickness_99`."""
        return frozen_array(thickness_99(self.momentum_thickness, self.shape_factor, self.state))

    @property
    def n_lines(self) -> int:
        """Number of lines."""
        return len(self.transition)

    @property
    def bubble(self) -> np.ndarray:
        """(n_lines,) bool: laminar separation came before transition and forced it."""
        return self.transition_cause == "laminar separation"

    @property
    def reattachment_doubtful(self) -> np.ndarray:
        """(n_lines,) bool: bubble at so small a Reynolds number that it may stay open."""
        return self.bubble & (self.separation_reynolds < SHORT_BUBBLE)


def boundary_layers(
    distance,
    speed,
    spreading,
    viscosity: float,
    turbulent_start=False,
    fixed_transition=None,
    smoothing: float = SMOOTHING,
) -> BoundaryLayers:
    """Boundary layers along lines over the skin.

    Parameters
    ----------
    distance : (n_lines, n_points) float, m, along each line from its attachment, increasing;
        behind the end of a line nan. Lines with fewer than two points, or all at rest, get no
        layer
    speed : (n_lines, n_points) float, m/s, at the edge of the layer, not negative
    spreading : (n_lines, n_points) float > 0 (the first may be zero), width of a narrow strip
        between neighbouring lines up to a factor: radius on a body of revolution, 1 in plane flow
    viscosity : float, m2/s, kinematic
    turbulent_start : bool, or one per line: turbulent from the first point, as skin in a
        slipstream. The thickness is the laminar one up to Re_theta = 50, where Head's march
        begins
    fixed_transition : float, m along the line, or one per line, nan for natural transition; None:
        natural on all
    smoothing : float, 0 to 0.5. Speed, its slope and spreading are taken from parabolas fitted
        over this part of the distance, and two points at least, to each side; 0: through the
        next points alone

    Returns
    -------
    BoundaryLayers

    Raises
    ------
    FlowError : wrong shapes, distances that do not increase, points after the end of a line,
        speeds or widths that are missing or negative, viscosity that is not positive

    Notes
    -----
    Laminar: theta^2 U^6 h^2 = 0.45 nu integral U^5 h^2 ds with spreading h. A line that
    begins at distance zero with less than half its greatest speed starts at a stagnation point,
    theta^2 = 0.075 nu/(dU/ds) plane and 0.05625 nu/(dU/ds) round (0.45/(6 + 2 m), h ~ s^m), with
    more at a sharp edge, theta = 0. Where it begins at a distance, speed and spreading are taken
    as powers of the distance up to there. Until the speed first reaches a tenth of its
    greatest it is taken as not falling. Laminar separation (theta^2/nu dU/ds = -0.09) is taken
    as a short bubble: turbulent from there, theta unchanged. Turbulent layers begin with H = 1.4
    (common practice, no source).

    Examples
    --------
    Air at 50 m/s along a flat plate of 1 m: theta = 0.67 sqrt(nu s / U) while laminar.

    >>> s = np.linspace(0.0, 1.0, 101)[None]
    >>> layers = boundary_layers(s, 50.0 + 0.0 * s, np.ones_like(s), viscosity=1.5e-5)
    >>> round(1e3 * float(layers.momentum_thickness[0, 25]), 3)
    0.184
    >>> layers.transition_cause[0], round(float(layers.transition[0]), 2)
    (np.str_('natural'), 0.5)
    """
    arrays = _checked_lines(distance, speed, spreading)
    nose = _per_line("turbulent_start", turbulent_start, len(arrays[0]), bool)
    fixed = np.nan if fixed_transition is None else fixed_transition
    fixed = _per_line("fixed_transition", fixed, len(arrays[0]), float)
    if (fixed < 0.0).any() or np.isinf(fixed).any():
        raise FlowError("fixed_transition must be distances of zero or more, m, or nan")
    none = np.full(len(nose), np.nan)
    return _march(arrays, viscosity, smoothing, np.stack([nose, fixed, none, none], axis=1))


def turbulent_layers(
    distance,
    speed,
    spreading,
    viscosity: float,
    momentum_thickness,
    shape_factor,
    smoothing: float = SMOOTHING,
) -> BoundaryLayers:
    """Turbulent boundary layers from a known layer at the first point of each line.

    Parameters
    ----------
    distance, speed, spreading, viscosity, smoothing : see `boundary_layers`; speed and spreading
        must not be zero at the first point
    momentum_thickness : float or (n_lines,), m, at the first point, positive
    shape_factor : float or (n_lines,), there, above 1.1 and below 2.4

    Returns
    -------
    BoundaryLayers

    Raises
    ------
    FlowError : see `boundary_layers`; thickness or shape factor out of range
    """
    from panelcp.flow.boundary_layer_kernels import head_from_shape

    arrays = _checked_lines(distance, speed, spreading)
    n_lines = len(arrays[0])
    theta = _per_line("momentum_thickness", momentum_thickness, n_lines, float)
    shape = _per_line("shape_factor", shape_factor, n_lines, float)
    if not ((theta > 0.0) & np.isfinite(theta)).all():
        raise FlowError("momentum_thickness must be positive and finite, m")
    if not ((shape > 1.1) & (shape < SEPARATION_SHAPES[1])).all():
        raise FlowError("shape_factor must lie between 1.1 and 2.4, where a layer is attached")
    if any((values[:, :1] == 0.0).any() for values in arrays[1:]):
        raise FlowError(
            "speed and spreading must be positive at the first point, where the layer is given"
        )
    head = np.array([head_from_shape(value) for value in shape])
    none = np.full(n_lines, np.nan)
    return _march(arrays, viscosity, smoothing, np.stack([0.0 * none, none, theta, head], axis=1))


def thickness_99(momentum_thickness, shape_factor, state):
    """Total thickness of a layer, about to where the speed is 99 % of that at the edge.

    Parameters
    ----------
    momentum_thickness : float array, m
    shape_factor : float array
    state : int array, `LAMINAR`, `TURBULENT`, ...

    Returns
    -------
    float array, m; nan where there is no layer

    Notes
    -----
    Turbulent: theta (H1 + H), as Head's shape factor H1 = (thickness - displacement) / theta is
    defined: 8.6 theta at H = 1.4, 11.8 theta at H = 9/7, where u/U = (y/d)^(1/7) has 10.3.
    Laminar: theta times `FULL_THICKNESS`. Mark: derived.

    Examples
    --------
    On a flat plate the laminar layer is 7.4 momentum thicknesses deep, the turbulent one 8.6.

    >>> thickness_99(np.array([1.0, 1.0]), np.array([2.591, 1.4]), np.array([LAMINAR, TURBULENT]))
    array([7.39..., 8.57...])
    """
    shape = np.asarray(shape_factor, dtype=float)
    turbulent = np.asarray(state) == TURBULENT
    safe = np.where(turbulent & (shape > 1.1), shape, 1.4)
    near, far = np.minimum(safe, 1.6), np.maximum(safe, 1.6)
    head = np.where(
        safe <= 1.6,
        3.3 + 0.8234 * (near - 1.1) ** -1.287,
        3.3 + 1.5501 * (far - 0.6778) ** -3.064,
    )
    ratio = np.where(turbulent, head + shape, np.interp(shape, *FULL_THICKNESS.T))
    return np.asarray(momentum_thickness) * ratio


def recovery_of_flush_inlet(thickness, height) -> np.ndarray:
    """Part of the dynamic pressure that is left in the air beside the skin.

    Parameters
    ----------
    thickness : float or array, m, total thickness of the boundary layer, zero or more
    height : float or array, m, height above the skin from which the opening draws its air

    Returns
    -------
    float array
        1 without a boundary layer. To be multiplied with the recovery that the opening has in a
        thin layer.

    Raises
    ------
    FlowError : negative thickness, height that is not positive

    Notes
    -----
    Mean of (p_total - p)/q over the air that passes up to `height`, weighted with mass flow, for
    u/U = (y/d)^(1/7): 0.8 (height/d)^(2/7) inside the layer, (1 - 0.3 t)/(1 - 0.125 t) for
    t = d/height <= 1. Mark: derived, from the power law (common practice, memory); that an
    opening draws just from its own height is assumed.

    Examples
    --------
    >>> recovery_of_flush_inlet([0.0, 20e-3, 40e-3], 20e-3)
    array([1. , 0.8 , 0.656...])
    """
    thickness = np.asarray(thickness, dtype=float)
    height = np.asarray(height, dtype=float)
    if (thickness < 0.0).any() or not ((height > 0.0) & np.isfinite(height)).all():
        raise FlowError("thickness must be zero or more and height positive, m")
    ratio = thickness / height
    thin = np.minimum(ratio, 1.0)
    deep = np.maximum(ratio, 1.0) ** (-2.0 / 7.0)
    return np.where(ratio <= 1.0, (1.0 - 0.3 * thin) / (1.0 - 0.125 * thin), 0.8 * deep)


def _march(arrays, viscosity, smoothing, starts) -> BoundaryLayers:
    """Run the kernel over all lines and name what it found."""
    from panelcp.flow.boundary_layer_kernels import march_all

    if not (np.isfinite(viscosity) and viscosity > 0.0):
        raise FlowError(f"viscosity is {viscosity!r}; expected a positive number, m2/s")
    if not 0.0 <= smoothing <= 0.5:
        raise FlowError(f"smoothing is {smoothing!r}; expected 0 to 0.5, parts of the distance")
    shape = arrays[0].shape
    counts = np.isfinite(arrays[0]).sum(axis=1)
    out = np.full((shape[0], 4, shape[1]), np.nan)
    state = np.full(shape, NO_LAYER)
    found = np.full((shape[0], 6), np.nan)
    march_all(*arrays, counts, float(viscosity), float(smoothing), starts, out, state, found)
    theta, shape_factor, friction, gradient = np.moveaxis(out, 1, 0)
    return BoundaryLayers(
        momentum_thickness=theta,
        shape_factor=shape_factor,
        skin_friction=friction,
        pressure_gradient=gradient,
        state=state,
        transition=found[:, 0],
        transition_cause=np.array(CAUSES)[np.nan_to_num(found[:, 4]).astype(int)],
        separation_reynolds=found[:, 5],
        warned=found[:, 1],
        separation=found[:, 2],
        stratford_separation=found[:, 3],
    )


def _checked_lines(distance, speed, spreading):
    """The three arrays as contiguous floats, or a FlowError that names the first bad place."""
    names = ("distance", "speed", "spreading")
    arrays = [np.array(a, dtype=float, order="C") for a in (distance, speed, spreading)]
    for name, values in zip(names, arrays, strict=True):
        if values.ndim != 2 or values.shape != arrays[0].shape:
            raise FlowError(
                f"{name} has shape {values.shape}; expected (n_lines, n_points), the same for "
                "distance, speed and spreading"
            )
    distance, speed, spreading = arrays
    there = ~np.isnan(distance)
    _refuse(
        there[:, 1:] & ~there[:, :-1], 1, "distances after a nan", "put nan behind the end only"
    )
    step = np.diff(distance, axis=1)
    _refuse(there[:, 1:] & ~(step > 0.0), 1, "distances that do not increase", "leave such out")
    _refuse(there & ~(distance >= 0.0), 0, "negative distances", "count from the attachment")
    _refuse(
        there & ~np.isfinite(distance), 0, "distances that are not finite", "end the line there"
    )
    _refuse(
        there & ~((speed >= 0.0) & np.isfinite(speed)),
        0,
        "speeds that are negative or missing",
        "give the size of the velocity at every point of a line",
    )
    positive = spreading > 0.0
    positive[:, :1] |= spreading[:, :1] == 0.0
    _refuse(
        there & ~(positive & np.isfinite(spreading)),
        0,
        "values of spreading that are not positive or missing",
        "only the first point of a line may have zero; take 1 for plane flow",
    )
    return arrays


def _refuse(wrong, shift, what, advice):
    """FlowError where any is wrong; `shift` columns left out at the start."""
    if wrong.any():
        line, point = np.argwhere(wrong)[0]
        raise FlowError(
            f"{wrong.sum()} {what}, in {wrong.any(axis=1).sum()} of {len(wrong)} lines (first: "
            f"line {line}, point {point + shift}); {advice}"
        )


def _per_line(name, values, n_lines, kind):
    """(n_lines,) array of a number for all or of one per line."""
    array = np.asarray(values, dtype=kind)
    if array.shape not in ((), (n_lines,)):
        raise FlowError(f"{name} has shape {array.shape}; expected one value or ({n_lines},)")
    return np.broadcast_to(array, (n_lines,)).copy()
