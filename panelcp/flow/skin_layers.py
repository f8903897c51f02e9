"""Boundary layer, separation and pockets of separated air over the skin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.flow.boundary_layer import SEPARATION_SHAPES, TURBULENT, thickness_99
from panelcp.flow.skin_lines import (
    ATTACHED,
    LEE,
    LINES_AT_ONCE,
    OPEN,
    POCKET,
    POSSIBLE,
    REATTACHED,
    UNKNOWN,
    LineStates,
    LineTracer,
    line_states,
)
from panelcp.flow.streamlines import SkinVelocity, skin_velocity
from panelcp.flow.superposition import SurfaceFlow
from panelcp.quantity import UncertainValue
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import frozen_array

STATE_NAMES = {
    ATTACHED: "attached",
    POCKET: "in a pocket",
    OPEN: "separated",
    REATTACHED: "behind a pocket",
    POSSIBLE: "may be in a pocket",
    LEE: "in the lee",
    UNKNOWN: "not known",
}
SEPARATED_STATES = (POCKET, OPEN, LEE)
"""States in which the air does not follow the skin."""

BASE_PRESSURE = UncertainValue(
    -0.3, -0.5, -0.1, "memory", "base pressure behind bluff edges, parts of q and mean rise"
)
LEE_PRESSURE = UncertainValue(
    -0.4,
    -0.8,
    -0.1,
    "memory",
    "lee side of bodies across the wind, parts of the dynamic pressure of its part across the body",
)
LEE_ANGLE = 30.0
"""deg between the mean stream and the x axis of the body, beyond which there is a lee: memory."""

NOT_CROSSED = -2
"""No line has crossed the panel."""

ROUND_SHARE, LEAST_ROUND = 6, 60
"""Each round follows lines from one in so many of the panels left, and from so many at least."""

LAYER_STATES = (ATTACHED, REATTACHED, POSSIBLE)
"""States in which the layer over a panel has a thickness."""

_SEED = 7
_CODES = 6  # UNKNOWN to POSSIBLE

_VALUES = (
    "way",
    "thickness",
    "momentum_thickness",
    "displacement_thickness",
    "shape_factor",
    "skin_friction",
    "margin",
    "warned_margin",
    "stratford_margin",
    "plateau",
)


@dataclass(frozen=True, eq=False)
class SkinLayers:
    """Boundary layer at chosen panels in every condition.

    Attributes
    ----------
    panels : (n,) int
    state : (n_conditions, n) int, a key of STATE_NAMES
    way : (n_conditions, n) float, m, along the skin from where the air meets it
    thickness : (n_conditions, n) float, m, of the whole layer; nan behind separation
    momentum_thickness, displacement_thickness : (n_conditions, n) float, m
    shape_factor, skin_friction : (n_conditions, n) float
    margin : (n_conditions, n) float, m, along the line from the place to turbulent separation (H
        2.4); negative behind it, nan where there is none
    warned_margin : from the place on to where H next is 1.8 or more, where separation may come
    stratford_margin : the same to separation by Stratford's criterion
    plateau : (n_conditions, n) float, Pa, gauge pressure where the pocket over the place, or the
        possible one, begins; nan where there is none
    crossed : (n_conditions, n_panels) int, state of every panel that the lines cross; NOT_CROSSED
        elsewhere
    crossed_plateau : (n_conditions, n_panels) float, Pa, the plateau there
    crossed_thickness : (n_conditions, n_panels) float, m, of the whole layer there; nan elsewhere
        and behind separation
    """

    panels: np.ndarray
    state: np.ndarray
    way: np.ndarray
    thickness: np.ndarray
    momentum_thickness: np.ndarray
    displacement_thickness: np.ndarray
    shape_factor: np.ndarray
    skin_friction: np.ndarray
    margin: np.ndarray
    warned_margin: np.ndarray
    stratford_margin: np.ndarray
    plateau: np.ndarray
    crossed: np.ndarray
    crossed_plateau: np.ndarray
    crossed_thickness: np.ndarray | None = None

    def __post_init__(self):
        if self.crossed_thickness is None:
            nothing = np.full(np.shape(self.crossed), np.nan)
            object.__setattr__(self, "crossed_thickness", nothing)
        for name in ("panels", "state", "crossed"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        for name in (*_VALUES, "crossed_plateau", "crossed_thickness"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def with_more(self, other: SkinLayers) -> SkinLayers:
        """The same with the panels of other layers of the same flow that are not in these yet."""
        more = np.isin(other.panels, self.panels, invert=True)
        panels = np.concatenate([self.panels, other.panels[more]])
        order = np.argsort(panels, kind="stable")
        together = {
            name: np.concatenate([getattr(self, name), getattr(other, name)[:, more]], axis=1)
            for name in ("state", *_VALUES)
        }
        there = self.crossed != NOT_CROSSED
        there[:, other.panels[more]] = False  # the line through the middle of a panel tells
        return SkinLayers(
            panels=panels[order],
            crossed=np.where(there, self.crossed, other.crossed),
            crossed_plateau=np.where(there, self.crossed_plateau, other.crossed_plateau),
            crossed_thickness=np.where(there, self.crossed_thickness, other.crossed_thickness),
            **{name: values[:, order] for name, values in together.items()},
        )


@dataclass(frozen=True, eq=False)
class SkinStates:
    """State of the air over every panel in every condition.

    Attributes
    ----------
    state : (n_conditions, n_panels) int, a key of STATE_NAMES; UNKNOWN also where not looked at.
        Panels that are not shown have a state where a line has crossed them
    plateau : (n_conditions, n_panels) float, Pa, gauge pressure where the pocket over the panel,
        or the possible one, begins; nan elsewhere
    lines : (n_conditions,) int, lines that were followed besides those of the layers
    thickness : (n_conditions, n_panels) float, m, of the whole layer over the panel; nan where it
        is not known, and behind separation
    """

    state: np.ndarray
    plateau: np.ndarray
    lines: np.ndarray
    thickness: np.ndarray | None = None

    def __post_init__(self):
        if self.thickness is None:
            object.__setattr__(self, "thickness", np.full(np.shape(self.state), np.nan))
        object.__setattr__(self, "thickness", frozen_array(self.thickness))
        object.__setattr__(self, "state", frozen_array(self.state, np.int64))
        object.__setattr__(self, "plateau", frozen_array(self.plateau))
        object.__setattr__(self, "lines", frozen_array(self.lines, np.int64))


def skin_layers(
    flow: SurfaceFlow, panels, turbulent: Sequence[bool], mean_streams=None
) -> SkinLayers:
    """Boundary layers along the streamlines through panels.

    Parameters
    ----------
    flow : SurfaceFlow
    panels : (n,) int, the panels of interest
    turbulent : for each condition, whether the skin is turbulent from the nose, as in a slipstream
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`; without them no place
        is found to lie in the lee

    Returns
    -------
    SkinLayers

    Notes
    -----
    From the middle of each panel the line is followed back to where the air meets the skin, and on
    for a while. Where the layer separates and the attached pressure farther on rises and then
    falls again below that at separation, the air is taken to come back there: in between lies a
    pocket, whose pressure is that at separation (a plateau) or the attached one, or between.
    Common practice for concave corners; no source is claimed for the place where the air comes
    back. From there the layer goes on, turbulent, with the momentum thickness it had at separation.
    The same between H 1.8 and 2.4, where the air may separate: there lies a possible pocket, also
    to both sides of a pocket. Conditions without moving air have no layer.
    """
    panels = np.asarray(panels, dtype=np.int64)
    marcher = LineMarcher(flow, turbulent, mean_streams)
    lee = lee_of(flow, mean_streams)
    rows = []
    for c in range(len(flow.conditions)):
        votes, found = _Votes(flow.surface.n_panels), []
        for states in marcher.states(c, panels):
            found.append(_at_panels(states))
            votes.add(states)
        row = _joined(found, len(panels))
        row["crossed"], row["crossed_plateau"] = votes.result()
        row["crossed_thickness"] = votes.thickness()
        row["crossed_thickness"][panels] = row["thickness"]
        # the line through the middle of a panel tells its state
        row["crossed"][panels], row["crossed_plateau"][panels] = row["state"], row["plateau"]
        _into_the_lee(row["crossed"], row["crossed_plateau"], lee[c])
        _into_the_lee(row["state"], row["plateau"], lee[c, panels])
        rows.append(row)
    names = ("state", "crossed", "crossed_plateau", "crossed_thickness", *_VALUES)
    together = {name: np.array([row[name] for row in rows]) for name in names}
    return SkinLayers(panels=panels, **together)


def _into_the_lee(state, plateau, lee):
    """What lies in the lee has no state of its line; panels not crossed stay so."""
    state[lee & (state != NOT_CROSSED)] = LEE
    plateau[lee] = np.nan


def _near_faces(surface, facing) -> np.ndarray:
    """(n_conditions, n_panels) bool: panels that face the stream, and two rings round them.

    In a corner before a face lines end on either side of it.
    """
    beside = surface.edge_neighbours
    for _ in range(2):
        facing = facing | (facing[:, beside] & (beside >= 0)).any(axis=2)
    return facing


class LineMarcher:
    """States along lines through panels of one flow."""

    def __init__(self, flow: SurfaceFlow, turbulent: Sequence[bool], mean_streams=None):
        if len(turbulent) != len(flow.conditions):
            raise FlowError(
                f"turbulent has {len(turbulent)} values; expected one for each of the "
                f"{len(flow.conditions)} conditions"
            )
        self.flow, self.turbulent = flow, turbulent
        self.tracer, self.operator = LineTracer(flow.surface), corner_operator(flow.surface)
        self.velocities = {}
        streams = checked_streams(flow, mean_streams)
        if streams is None:
            streams = np.array([condition.stream for condition in flow.conditions])
        # without wind the slipstream comes from ahead
        streams = np.where(streams.any(axis=1)[:, None], streams, [1.0, 0.0, 0.0])
        self.facing = _near_faces(flow.surface, streams @ flow.surface.normals.T < 0.0)

    def velocity(self, c: int) -> SkinVelocity:
        """Velocity over the skin in condition c, worked out once."""
        if c not in self.velocities:
            flow = self.flow
            self.velocities[c] = skin_velocity(flow.surface, flow.velocity[c], self.operator)
        return self.velocities[c]

    def states(self, c: int, panels):
        """LineStates of condition c, through so many panels at a time; none without moving air."""
        flow, air = self.flow, self.flow.conditions[c].air
        if not flow.moving[c]:
            return
        for start in range(0, len(panels), LINES_AT_ONCE):
            lines = self.tracer.through(self.velocity(c), panels[start : start + LINES_AT_ONCE])
            yield line_states(
                lines,
                flow.gauge_pressure[c],
                self.facing[c],
                air.viscosity / air.density,
                bool(self.turbulent[c]),
            )


class _Votes:
    """States of the panels that lines cross: that which holds for the greatest length."""

    def __init__(self, n_panels: int):
        self.lengths = np.zeros((n_panels, _CODES))
        self.plateau = np.zeros((n_panels, _CODES))
        self.thick = np.zeros((2, n_panels))  # length, and length times thickness

    def add(self, states: LineStates):
        """Count the points of lines, each with the length of line round it."""
        lines, n = states.lines, len(self.lengths)
        step = np.nan_to_num(np.diff(lines.distance, axis=1), nan=0.0)
        length = np.full(states.state.shape, 1e-12)
        length[:, 1:] += 0.5 * step
        length[:, :-1] += 0.5 * step
        chosen = states.counted
        code = lines.panels[chosen] * _CODES + states.state[chosen] + 1
        length, level = length[chosen], np.nan_to_num(states.plateau[chosen], nan=0.0)
        for values, weights in ((self.lengths, length), (self.plateau, length * level)):
            values += np.bincount(code, weights, minlength=n * _CODES).reshape(n, _CODES)
        layer = thickness_99(states.theta, states.shape, states.layer)[chosen]
        known = np.isfinite(layer)
        panels, length = lines.panels[chosen][known], length[known]
        for values, weights in zip(self.thick, (length, length * layer[known]), strict=True):
            values += np.bincount(panels, weights, minlength=n)

    def thickness(self) -> np.ndarray:
        """(n_panels,) m, mean along the lines; nan where no line with an attached layer came."""
        length, total = self.thick
        return np.divide(total, length, out=np.full(len(length), np.nan), where=length > 0.0)

    def result(self) -> tuple[np.ndarray, np.ndarray]:
        """(n_panels,) state and plateau; NOT_CROSSED and nan where no line came.

        Not known only where all lines say so.
        """
        lengths = self.lengths * np.append(1e-9, np.ones(_CODES - 1))
        best = lengths.argmax(axis=1)
        rows = np.arange(len(best))
        most, state = self.lengths[rows, best], best - 1
        level = self.plateau[rows, best] / np.where(most > 0.0, most, 1.0)
        level[(state != POCKET) & (state != POSSIBLE) | (most == 0.0)] = np.nan
        return np.where(most > 0.0, state, NOT_CROSSED), level


def _joined(found: list[dict], n: int) -> dict[str, np.ndarray]:
    """Values of parts of the panels one behind the other; nothing known without any."""
    if not found:
        return {name: np.full(n, np.nan) for name in _VALUES} | {"state": np.full(n, UNKNOWN)}
    return {name: np.concatenate([part[name] for part in found]) for name in found[0]}


def _at_panels(states: LineStates) -> dict[str, np.ndarray]:
    """Values at the panels that the lines were laid through."""
    lines, here = states.lines, states.lines.here
    rows = np.arange(len(here))
    way = lines.distance[rows, here]
    theta, shape = states.theta[rows, here], states.shape[rows, here]
    return {
        "state": states.state[rows, here],
        "way": way,
        "thickness": thickness_99(theta, shape, states.layer[rows, here]),
        "momentum_thickness": theta,
        "displacement_thickness": theta * shape,
        "shape_factor": shape,
        "skin_friction": states.friction[rows, here],
        "margin": states.separation - way,
        "warned_margin": _warned_margin(states),
        "stratford_margin": states.stratford - way,
        "plateau": states.plateau[rows, here],
    }


def softened(states: LineStates) -> np.ndarray:
    """(n_lines, n_points) bool: H is 1.8 or more, or the air is separated."""
    soft = (states.layer == TURBULENT) & (states.shape >= SEPARATION_SHAPES[0])
    return soft | (states.state == POCKET) | (states.state == OPEN)


def _warned_margin(states: LineStates) -> np.ndarray:
    """(n,) float, m: way from the panels on to where H next is 1.8 or more; zero where it is."""
    lines, rows = states.lines, np.arange(len(states.state))
    soft = softened(states) & (np.arange(states.state.shape[1])[None] >= lines.here[:, None])
    found = lines.distance[rows, soft.argmax(axis=1)] - lines.distance[rows, lines.here]
    return np.where(soft.any(axis=1), found, np.nan)


def skin_states(
    flow: SurfaceFlow, turbulent, layers: SkinLayers | None = None, shown=None, mean_streams=None
) -> np.ndarray:
    """State of every panel in every condition: the state of `whole_skin`.

    Returns
    -------
    (n_conditions, n_panels) int, a key of STATE_NAMES
    """
    return whole_skin(flow, turbulent, layers, shown, mean_streams).state


def whole_skin(
    flow: SurfaceFlow,
    turbulent: Sequence[bool],
    layers: SkinLayers | None = None,
    shown=None,
    mean_streams=None,
) -> SkinStates:
    """State of the air over every panel in every condition.

    Parameters
    ----------
    flow : SurfaceFlow
    turbulent : for each condition, whether the skin is turbulent from the nose
    layers : SkinLayers of the same flow and streams, whose lines need not be followed again
    shown : (n_panels,) bool, the panels of interest; all when not given
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`; without them no lee

    Returns
    -------
    SkinStates

    Raises
    ------
    FlowError : arrays of the wrong shape

    Notes
    -----
    Every line tells the states of all panels that it crosses; in each panel that counts which
    holds for the greatest length. Lines are followed in rounds, from a part of the panels not yet
    crossed. A panel between panels that all have one state (two of them at least) gets it too.
    """
    surface = flow.surface
    shown = _checked_mask(shown, surface.n_panels)
    lee = lee_of(flow, mean_streams)
    marcher = LineMarcher(flow, turbulent, mean_streams)
    rows = []
    for c in range(len(flow.conditions)):
        state = np.full(surface.n_panels, NOT_CROSSED)
        plateau, thickness = np.full((2, surface.n_panels), np.nan)
        if layers is not None:
            state, plateau = layers.crossed[c].copy(), layers.crossed_plateau[c].copy()
            thickness = layers.crossed_thickness[c].copy()
        state[lee[c]], plateau[lee[c]], thickness[lee[c]] = LEE, np.nan, np.nan
        parts = state, plateau, thickness
        followed = _cover(marcher, c, shown, *parts) if flow.moving[c] else 0
        state[state == NOT_CROSSED] = UNKNOWN
        thickness[~np.isin(state, LAYER_STATES)] = np.nan
        rows.append((state, plateau, followed, thickness))
    return SkinStates(*(np.array(part) for part in zip(*rows, strict=True)))


def _checked_mask(shown, n_panels: int) -> np.ndarray:
    if shown is None:
        return np.ones(n_panels, dtype=bool)
    shown = np.asarray(shown)
    if shown.shape != (n_panels,) or shown.dtype != bool:
        raise FlowError(
            f"shown has shape {shown.shape} and type {shown.dtype}; expected ({n_panels},) bool, "
            "one for every panel"
        )
    return shown


def _cover(marcher: LineMarcher, c: int, shown, state, plateau, thickness) -> int:
    """Fill in what no line has crossed yet; returns the number of lines followed."""
    draw, followed = np.random.default_rng(_SEED), 0
    while True:
        _between(marcher.flow.surface.edge_neighbours, state, plateau, thickness)
        left = np.flatnonzero(shown & (state == NOT_CROSSED))
        if len(left) == 0:
            return followed
        count = min(max(len(left) // ROUND_SHARE, LEAST_ROUND), len(left))
        chosen = np.sort(draw.choice(left, count, replace=False))
        votes = _Votes(len(state))
        for states in marcher.states(c, chosen):
            votes.add(states)
            own = _at_panels(states)
            panels = states.lines.panels[np.arange(len(own["state"])), states.lines.here]
            state[panels], plateau[panels] = own["state"], own["plateau"]
            thickness[panels] = own["thickness"]
        found, level = votes.result()
        new = (state == NOT_CROSSED) & (found != NOT_CROSSED)
        state[new], plateau[new], thickness[new] = found[new], level[new], votes.thickness()[new]
        followed += count


def _between(neighbours, state, plateau, thickness):
    """Give panels not crossed, between panels of one state, that state and their mean values."""
    left = np.flatnonzero(state == NOT_CROSSED)
    beside = neighbours[left]
    there = np.where(beside >= 0, state[beside], NOT_CROSSED)
    known = (there > UNKNOWN) & (there != LEE)
    count = known.sum(axis=1)
    least = np.where(known, there, 99).min(axis=1)
    same = (count >= 2) & (least == np.where(known, there, -99).max(axis=1))
    same &= (there != UNKNOWN).all(axis=1)
    levels = np.where(known, plateau[beside], 0.0)
    state[left[same]] = least[same]
    plateau[left[same]] = levels[same].sum(axis=1) / count[same]
    layers = np.where(known, thickness[beside], 0.0)
    thickness[left[same]] = layers[same].sum(axis=1) / count[same]


def lee_of(flow: SurfaceFlow, mean_streams) -> np.ndarray:
    """Panels in the lee of a wind across the body.

    Parameters
    ----------
    flow : SurfaceFlow
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`; None: no lee

    Returns
    -------
    (n_conditions, n_panels) bool

    Raises
    ------
    FlowError : streams of the wrong shape

    Notes
    -----
    Where the mean stream lies more than 30 deg beside the x axis of the body, forward or aft: the
    panels whose outward normal has a positive component along the part of the stream across the
    axis, except those that the whole stream blows onto.
    """
    streams = checked_streams(flow, mean_streams)
    if streams is None:
        return np.zeros((len(flow.conditions), flow.surface.n_panels), dtype=bool)
    across = np.hypot(streams[:, 1], streams[:, 2])
    oblique = across > np.tan(np.radians(LEE_ANGLE)) * np.abs(streams[:, 0])
    normals = flow.surface.normals
    behind = (streams[:, 1:] @ normals[:, 1:].T > 0.0) & (streams @ normals.T >= 0.0)
    return behind & (oblique & flow.moving)[:, None]


def checked_streams(flow: SurfaceFlow, mean_streams) -> np.ndarray | None:
    """(n_conditions, 3) float, m/s, or None; a FlowError where they have another shape."""
    if mean_streams is None:
        return None
    streams, n = np.asarray(mean_streams, dtype=float), len(flow.conditions)
    if streams.shape != (n, 3) or not np.isfinite(streams).all():
        raise FlowError(f"mean_streams has shape {streams.shape}; expected ({n}, 3) finite numbers")
    return streams


def separation_change(
    flow: SurfaceFlow, skin: SkinStates, mean_streams=None
) -> tuple[np.ndarray, np.ndarray]:
    """What separated air changes of the attached pressure, and how well that is known.

    Parameters
    ----------
    flow : SurfaceFlow, whose gauge_pressure is the attached one
    skin : SkinStates, from `whole_skin` of this flow and these streams
    mean_streams : (n_conditions, 3) float, m/s, `Solutions.mean_streams`; needed where there is a
        lee

    Returns
    -------
    change, deviation : (n_conditions, n_panels) float, Pa; zero where the air is attached

    Raises
    ------
    FlowError : streams missing or of the wrong shape

    Notes
    -----
    With d = plateau - attached pressure:

    In a pocket the pressure is the plateau, or the attached one, or between: d/2 and |d|/2.

    In a possible pocket the attached pressure stays the central one, so that no place is made
    better by a pocket that may not be there. In one half of all worlds the air is taken to be
    separated, with what a pocket has, mean d/2 and deviation |d|/2: the mean of the square of the
    change is 1/2 (d^2/4 + d^2/4) = d^2/4, so |d|/2 stands in the deviation.

    Behind separation that does not close the pressure is BASE_PRESSURE times q and mean rise
    together, whatever it would be attached: change = base - attached, deviation = half the width
    of the band.

    In the lee of a wind across the body it is LEE_PRESSURE times rho/2 |stream across the x
    axis|^2: on a long body the pressure of separated cross flow follows the part of the stream
    across it alone (independence of cross flow and flow along the body: memory), the mean
    slipstream's part across included.
    """
    attached, state = flow.gauge_pressure, skin.state
    if state.shape != attached.shape:
        raise FlowError(f"the states have shape {state.shape}; expected {attached.shape}")
    step = np.where(np.isfinite(skin.plateau), skin.plateau - attached, 0.0)
    change, deviation = np.zeros((2, *attached.shape))
    for kind, mean, spread in ((POCKET, 0.5, 0.5), (POSSIBLE, 0.0, 0.5)):
        here = state == kind
        change[here], deviation[here] = mean * step[here], spread * np.abs(step[here])
    bands = [(OPEN, BASE_PRESSURE, flow.reference_pressure)]
    if (state == LEE).any():
        bands.append((LEE, LEE_PRESSURE, _pressure_across(flow, mean_streams)))
    for kind, band, reference in bands:
        here, reference = state == kind, np.broadcast_to(reference[:, None], state.shape)
        change[here] = band.value * reference[here] - attached[here]
        deviation[here] = 0.5 * (band.high - band.low) * reference[here]
    return change, deviation


def _pressure_across(flow: SurfaceFlow, mean_streams) -> np.ndarray:
    """(n_conditions,) float, Pa: dynamic pressure of the mean stream across the x axis."""
    streams = checked_streams(flow, mean_streams)
    if streams is None:
        raise FlowError(
            "there are panels in the lee, but no mean_streams: give those with which the states "
            "were found"
        )
    density = np.array([condition.air.density for condition in flow.conditions])
    return 0.5 * density * (streams[:, 1:] ** 2).sum(axis=1)
