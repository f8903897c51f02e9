"""From unit solutions and conditions to velocity and pressure on the skin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelcp.display import (
    Column,
    block,
    counted,
    degrees,
    knots,
    number,
    place,
    table,
    words,
)
from panelcp.errors import FlowError
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.surroundings import Onset, Surroundings, ground_key
from panelcp.panels.solving import UnitSolutions
from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh, frozen_array

_OF_SEPARATION = ("separation_change", "separation_deviation")


@dataclass(frozen=True, eq=False)
class SurfaceFlow:
    """Flow over the skin in a number of conditions.

    Attributes
    ----------
    surface : SurfaceMesh
    conditions : the conditions, in order
    velocity : (n_conditions, n_panels, 3) float, m/s, outside the skin at the control points
    gauge_pressure : (n_conditions, n_panels) float, Pa, at the control points, against outside
        air at the same height; in the middle between the bounds where it is not known which air
        of the slipstream wets the skin
    wetting : (n_conditions, n_panels) float: the pressure in the middle, parts of that with the
        air of the undisturbed radius; 1 without slipstream
    head_deviation : (n_conditions, n_panels) float, Pa: how well the total pressure of the air of
        one radius is known; 0 without slipstream
    mean_rise : (n_conditions,) float, Pa: thrust over disc area
    predicted : (n_conditions,) bool; False where only the sign of a flow can be told
    separation_change : (n_conditions, n_panels) float, Pa: what separated air adds to the pressure,
        in the middle of its band; `gauge_pressure` itself is the attached one
    separation_deviation : (n_conditions, n_panels) float, Pa: half width of that band
    """

    surface: SurfaceMesh
    conditions: tuple[FlightCondition, ...]
    velocity: np.ndarray
    gauge_pressure: np.ndarray
    wetting: np.ndarray | None = None
    head_deviation: np.ndarray | None = None
    mean_rise: np.ndarray | None = None
    predicted: np.ndarray | None = None
    separation_change: np.ndarray | None = None
    separation_deviation: np.ndarray | None = None

    def __post_init__(self):
        n = len(self.conditions)
        if self.wetting is None:
            object.__setattr__(self, "wetting", np.ones(np.shape(self.gauge_pressure)))
        if self.head_deviation is None:
            object.__setattr__(self, "head_deviation", np.zeros(np.shape(self.gauge_pressure)))
        for name in _OF_SEPARATION:
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros(np.shape(self.gauge_pressure)))
        if self.mean_rise is None:
            object.__setattr__(self, "mean_rise", np.zeros(n))
        if self.predicted is None:
            object.__setattr__(self, "predicted", np.ones(n, dtype=bool))
        names = ("velocity", "gauge_pressure", "wetting", "head_deviation", "mean_rise")
        for name in (*names, *_OF_SEPARATION):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "predicted", frozen_array(self.predicted, bool))

    def __repr__(self):
        return (
            f"SurfaceFlow({counted(len(self.conditions), 'condition')}, "
            f"{counted(self.surface.n_panels, 'panel')})"
        )

    def _repr_html_(self) -> str:
        columns = [*words("Condition"), Column("True airspeed", "kt")]
        columns += [Column("Angle of attack", "°"), Column("Sideslip", "°"), Column("q", "Pa")]
        columns += [Column("Mean rise", "Pa"), Column("Least pressure"), *words("at")]
        columns += [Column("Greatest pressure"), *words("at")]
        note = (
            "Pressure of attached air at single panels, Cp in flight, Pa on the ground and at "
            "rest; places are the middles of the panels. On the ground the attitude stands for the "
            "angle of attack. Mean rise: thrust over disc area."
        )
        caption = f"Flow over {counted(self.surface.n_panels, 'panel')}"
        rows = [self._row(c) for c in range(len(self.conditions))]
        if not self.predicted.all():
            columns += words("To look at")
            rows = [
                [*row, "" if known else "not predicted, sign only"]
                for row, known in zip(rows, self.predicted, strict=True)
            ]
        return block(table(caption, columns, rows, note))

    def _row(self, c: int) -> list[str]:
        """Cells of a condition."""
        condition, pressure = self.conditions[c], self.gauge_pressure[c]
        angle = (condition.attitude or 0.0) if condition.on_ground else condition.alpha
        cells = [condition.name, knots(condition.speed), degrees(angle), degrees(condition.beta)]
        cells += [number(condition.dynamic_pressure), number(self.mean_rise[c])]
        known = np.flatnonzero(np.isfinite(pressure))
        for find in (np.argmin, np.argmax):
            if not len(known):
                cells += ["not known", ""]
                continue
            panel = int(known[find(pressure[known])])
            cells += [self._pressure_words(c, panel), place(self.surface.centroids[panel])]
        return cells

    def _pressure_words(self, c: int, panel: int) -> str:
        """Cp in flight, Pa on the ground and at rest."""
        condition, pressure = self.conditions[c], self.gauge_pressure[c, panel]
        if condition.on_ground or condition.speed == 0.0:
            return f"{number(pressure, sign=True)} Pa"
        return f"Cp {number(pressure / condition.dynamic_pressure, 2, sign=True)}"

    def with_separation(self, change, deviation) -> SurfaceFlow:
        """The same flow with separated air, both (n_conditions, n_panels) Pa."""
        return replace(self, separation_change=change, separation_deviation=deviation)

    @cached_property
    def dynamic_pressure(self) -> np.ndarray:
        """(n_conditions,) float, Pa: q of the free stream."""
        return frozen_array([condition.dynamic_pressure for condition in self.conditions])

    @property
    def reference_pressure(self) -> np.ndarray:
        """(n_conditions,) float, Pa: q and the mean rise in the slipstream together.

        Zero where nothing moves the air.
        """
        return self.dynamic_pressure + np.maximum(self.mean_rise, 0.0)

    @cached_property
    def moving(self) -> np.ndarray:
        """(n_conditions,) bool: whether there is a stream or a slipstream."""
        return frozen_array((self.dynamic_pressure > 0.0) | (self.mean_rise != 0.0), bool)

    @property
    def total_pressure(self) -> np.ndarray:
        """(n_conditions, n_panels) float, Pa: gauge total of the air of the undisturbed radius."""
        density = np.array([condition.air.density for condition in self.conditions])[:, None]
        return self.gauge_pressure / self.wetting + 0.5 * density * (self.velocity**2).sum(axis=2)

    @property
    def wetting_deviation(self) -> np.ndarray:
        """(n_conditions, n_panels) float, Pa: from the middle to the bounds of the pressure."""
        return np.abs(self.gauge_pressure * (1.0 / self.wetting - 1.0))

    @property
    def cp(self) -> np.ndarray:
        """(n_conditions, n_panels) float: gauge pressure over q; nan where q is zero."""
        q = self.dynamic_pressure[:, None]
        return np.divide(
            self.gauge_pressure, q, out=np.full(self.gauge_pressure.shape, np.nan), where=q > 0.0
        )

    @property
    def force_coefficient(self) -> np.ndarray:
        """(n_conditions,) float: |pressure force| / (q A), A the greatest frontal area.

        Zero in theory for every closed body (d'Alembert): what is left shows the error.
        """
        panels = curved_panels(self.surface)
        area_vectors = panels.normals * panels.areas[:, None]
        force = -self.gauge_pressure @ area_vectors
        frontal = 0.5 * np.abs(area_vectors[:, 0]).sum()
        q = self.dynamic_pressure
        size = np.linalg.norm(force, axis=1) / frontal
        return np.divide(size, q, out=np.full(len(q), np.nan), where=q > 0.0)


def interpolated_pressure(flow: SurfaceFlow, operator) -> np.ndarray:
    """Gauge pressure between the control points.

    Velocity and total pressure are interpolated, and the pressure follows from both: so it is
    exact where the velocity is linear, near stagnation too, and never above the total pressure.

    Parameters
    ----------
    flow : SurfaceFlow
    operator : (n_points, n_panels) sparse array, from `point_operator` or `corner_operator`

    Returns
    -------
    (n_conditions, n_points) float, Pa
    """
    return interpolated_air(flow, operator)[0]


def interpolated_air(flow: SurfaceFlow, operator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pressure between the control points, see `interpolated_pressure`, with what it comes from.

    Returns
    -------
    gauge pressure, total gauge pressure : (n_conditions, n_points) float, Pa, in the middle of
        their bounds
    wetting : (n_conditions, n_points) float, see SurfaceFlow
    """
    rows = []
    for condition, velocity, total, wetting, change in zip(
        *(flow.conditions, flow.velocity, flow.total_pressure, flow.wetting),
        flow.separation_change,
        strict=True,
    ):
        share, head = operator @ wetting, operator @ total
        kinetic = 0.5 * condition.air.density * ((operator @ velocity) ** 2).sum(axis=1)
        gauge = share * (head - kinetic) + (operator @ change if change.any() else 0.0)
        rows.append((gauge, share * head, share))
    return tuple(np.array(part) for part in zip(*rows, strict=True))


def superpose(
    units: UnitSolutions,
    conditions: Sequence[FlightCondition],
    surroundings: Surroundings | None = None,
    onset: Onset | None = None,
    flows: Mapping[str, np.ndarray] | None = None,
) -> SurfaceFlow:
    """Flow in every condition as a sum of unit solutions.

    Parameters
    ----------
    units : UnitSolutions
    conditions : one or more FlightCondition, over the ground of the units
    surroundings : propeller and wing, whose onset fields must be among the units; none if left out
    onset : what the air brings, in place of that of the surroundings
    flows : name of an opening -> (n_conditions,) m3/s out of it; its unit flow must be there

    Returns
    -------
    SurfaceFlow

    Raises
    ------
    FlowError : no condition, a stream into the ground, another ground than that of the units, a
        field or an opening that is not among the units

    Notes
    -----
    Bernoulli, steady and incompressible: p - p0 = q0 + rise - rho |V|^2 / 2, with the rise of
    total pressure where the air has passed the propeller. Which air wets the skin is known within
    bounds. With the air of the undisturbed radius the total pressure is q0 + upper rise. With the
    air that the body pushes aside it is q0 + lower rise, and the speed is in the same proportion
    to what that air could have; so the pressure is smaller in the proportion of the two totals:
    where the air has its free speed both give zero, at a stagnation point each its own total.
    """
    conditions = tuple(conditions)
    if not conditions:
        raise FlowError("no flight condition given; at least one is needed")
    onset = onset or (surroundings or Surroundings()).onset(conditions)
    refuse_streams_into_the_ground(units, conditions)
    weights = unit_weights(units, onset, flows or {})
    velocity = np.einsum("cu,uni->cni", weights, units.velocity)
    upper, lower = onset.heads(units.panels.points, units.surface)
    kinetic = 0.5 * onset.density[:, None] * (velocity**2).sum(axis=2)
    wetting = wetting_share(upper, lower, onset.mean_rise[:, None])
    return SurfaceFlow(
        surface=units.surface,
        conditions=conditions,
        velocity=velocity,
        gauge_pressure=wetting * (upper - kinetic),
        wetting=wetting,
        head_deviation=onset.head_deviation(units.panels.points),
        mean_rise=onset.mean_rise,
        predicted=onset.predicted,
    )


def wetting_share(upper, lower, mean_rise) -> np.ndarray:
    """Middle of two total pressures, parts of the upper.

    A tenth of the mean rise is added to both, so that the share goes steadily to 1 where the total
    pressure vanishes, at rest behind the blade roots.

    Parameters
    ----------
    upper, lower : (n_conditions, n_points) float, Pa
    mean_rise : (n_conditions, 1) float, Pa
    """
    floor = 0.1 * np.abs(mean_rise)
    share = np.divide(
        lower + floor, upper + floor, out=np.ones_like(upper), where=upper + floor > 0.0
    )
    return 0.5 * (1.0 + np.clip(share, 0.0, 2.0))


def unit_weights(units: UnitSolutions, onset: Onset, flows: Mapping[str, np.ndarray]) -> np.ndarray:
    """(n_conditions, n_units) float: how much of every unit solution is in each condition.

    Raises
    ------
    FlowError : see `superpose`
    """
    if onset.ground is not None and ground_key(onset.ground) != ground_key(units.ground):
        raise FlowError(
            "the conditions stand over another ground than that of the unit solutions; solve them "
            "with ground = the condition's"
        )
    places = {name: place for place, name in enumerate(units.names)}
    weights = np.zeros((len(onset.conditions), len(units.names)))
    weights[:, :3] = onset.streams
    parts = [*zip(onset.names, onset.weights.T, strict=True)]
    parts += [(f"opening {name}", flow) for name, flow in flows.items()]
    for name, weight in parts:
        if name not in places:
            raise FlowError(
                f"the unit solutions hold no {name!r}; give it to solve_units (onsets, openings)"
            )
        weights[:, places[name]] = weight
    return weights


def refuse_streams_into_the_ground(units: UnitSolutions, conditions):
    """A FlowError where the stream of a condition crosses the ground of a solution."""
    if units.ground is None:
        return
    for condition in conditions:
        into = float(condition.stream @ units.ground.normal)
        if abs(into) > 1e-6 * max(condition.speed, 1e-9):
            raise FlowError(
                f"condition {condition.name}: the stream has {into:+.3f} m/s across the ground; "
                "over ground the air flows along it: set alpha and beta to the attitude"
            )
