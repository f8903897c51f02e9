"""Lines through panels, with the boundary layer and the state of the air along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.flow.boundary_layer import BoundaryLayers, boundary_layers, turbulent_layers
from panelcp.flow.streamlines import AT_REST, ENDS, SkinVelocity, line_geometry

ATTACHED, POCKET, OPEN, REATTACHED, POSSIBLE, LEE, UNKNOWN = 0, 1, 2, 3, 4, 5, -1
"""State of a place: the layer is attached; it lies in a pocket, between separation and the place
where the air comes back; behind separation that does not close; behind a pocket; where the air may
be separated or not, since the shape factor lies between 1.8 and 2.4; in the lee of a cross wind;
no line found."""

FOLLOWED = 2.5
"""m, lines are followed so far behind a place to see whether the air comes back to the skin."""

LINES_AT_ONCE = 384
"""More lines together are slower: their arrays leave the fast memory."""

MOST_POCKETS = 4
"""Pockets one behind the other on a line that are looked at."""


class LineTracer:
    """Lays lines over one surface, in any condition.

    Parameters
    ----------
    surface : SurfaceMesh
    """

    def __init__(self, surface):
        self.geometry = line_geometry(surface)
        self.room = int(100 + 4 * np.sqrt(surface.n_panels))

    def through(self, velocity: SkinVelocity, panels) -> SkinLines:
        """Lines from where the air meets the skin, through the middles of panels, and on.

        Parameters
        ----------
        velocity : SkinVelocity
        panels : (n_lines,) int

        Returns
        -------
        SkinLines
        """
        from panelcp.flow.skin_kernels import through_all

        shape = (len(panels), self.room)
        points, whole = np.empty((*shape, 3)), np.empty(shape, dtype=np.int64)
        speed, distance, spreading = (np.empty(shape) for _ in range(3))
        count, here, end = (np.zeros(len(panels), dtype=np.int64) for _ in range(3))
        through_all(
            *self.geometry,
            np.array(velocity.corner),
            np.array(panels, dtype=np.int64),
            AT_REST * velocity.greatest,
            FOLLOWED,
            self.room,
            *(points, whole, speed, distance, spreading, count, here, end),
        )
        longest = int(count.max(initial=1))
        behind = np.arange(longest)[None] >= count[:, None]
        parts = [values[:, :longest] for values in (points, whole, speed, distance, spreading)]
        for values, empty in zip(parts, (np.nan, -1, np.nan, np.nan, np.nan), strict=True):
            values[behind] = empty
        return SkinLines(*parts, count=count, here=here, cut=end == ENDS.index("length"))


@dataclass(frozen=True, eq=False)
class SkinLines:
    """Lines running downstream through panels; nan, or -1, behind their ends.

    Attributes
    ----------
    points : (n_lines, n_points, 3) float, m
    panels : (n_lines, n_points) int
    speed : (n_lines, n_points) float, m/s
    distance : (n_lines, n_points) float, m, from where the air meets the skin
    spreading : (n_lines, n_points) float, width of a narrow strip
    count : (n_lines,) int, points of each line
    here : (n_lines,) int, the point in the middle of the panel that the line was laid through
    cut : (n_lines,) bool: the line goes on farther than it was followed
    """

    points: np.ndarray
    panels: np.ndarray
    speed: np.ndarray
    distance: np.ndarray
    spreading: np.ndarray
    count: np.ndarray
    here: np.ndarray
    cut: np.ndarray

    def layers(self, viscosity: float, turbulent: bool) -> BoundaryLayers:
        """Boundary layers from the starts of the lines on."""
        return boundary_layers(
            self.distance,
            self.speed,
            np.maximum(self.spreading, 1e-9),
            viscosity,
            turbulent_start=turbulent,
        )

    def layers_from(self, lines, first, viscosity: float, thickness):
        """Turbulent layers of some lines from a point of each on, where the air has come back.

        Returns
        -------
        BoundaryLayers
        column : (n, n_points) int, the points of the lines that its points are; clipped
        inside : (n, n_points) bool, False behind the ends
        """
        longest = int((self.count[lines] - first).max())
        column = first[:, None] + np.arange(longest)[None]
        inside = column < self.count[lines][:, None]
        column = np.minimum(column, self.speed.shape[1] - 1)
        rows = lines[:, None]
        distance, speed, spreading = (
            np.where(inside, values[rows, column], np.nan)
            for values in (self.distance, self.speed, self.spreading)
        )
        from panelcp.flow.skin_kernels import NEW_SHAPE

        layers = turbulent_layers(
            distance - distance[:, :1],
            np.maximum(speed, 1e-6),
            np.maximum(spreading, 1e-9),
            viscosity,
            thickness,
            NEW_SHAPE,
        )
        return layers, column, inside


@dataclass(frozen=True, eq=False)
class LineStates:
    """Layer and state of the air along lines.

    Attributes
    ----------
    lines : SkinLines
    theta, shape, friction : (n_lines, n_points) float, momentum thickness (m), shape factor, skin
        friction; nan where the air is separated
    layer : (n_lines, n_points) int, state of the layer, see `panelcp.flow.boundary_layer`
    state : (n_lines, n_points) int, ATTACHED, POCKET, OPEN, REATTACHED, POSSIBLE or UNKNOWN
    plateau : (n_lines, n_points) float, Pa, pressure where a pocket, or possible one, begins
    separation, stratford : (n_lines,) float, m along the line, of the layer that passes the
        line's own panel, or would pass it; nan where it does not separate
    unclosed : (n_lines,) int, first point from which on the end of the line matters, since
        separated air has not come back up to there
    """

    lines: SkinLines
    theta: np.ndarray
    shape: np.ndarray
    friction: np.ndarray
    layer: np.ndarray
    state: np.ndarray
    plateau: np.ndarray
    separation: np.ndarray
    stratford: np.ndarray
    unclosed: np.ndarray

    @property
    def counted(self) -> np.ndarray:
        """(n_lines, n_points) bool: points whose state does not depend on where the line was cut.

        Up to its own panel a line is followed far enough.
        """
        column = np.arange(self.state.shape[1])[None]
        sure = ~self.lines.cut[:, None] | (column < self.unclosed[:, None])
        sure |= column <= self.lines.here[:, None]
        return sure & (column < self.lines.count[:, None])


def line_states(lines: SkinLines, gauge, facing, viscosity: float, turbulent: bool) -> LineStates:
    """March layers along lines, over pockets and on, and tell the state of the air.

    Parameters
    ----------
    lines : SkinLines
    gauge : (n_panels,) float, Pa, attached pressure
    facing : (n_panels,) bool, panels that the stream blows onto, or close to such
    viscosity : float, m2/s, kinematic
    turbulent : whether the skin is turbulent from the nose

    Returns
    -------
    LineStates

    Notes
    -----
    A line that separates and ends before a face that looks into the stream, as in the corner
    between spinner and cowl, ends in a pocket: the air comes back to the face. Behind the body the
    panels at its end look away from the stream, and it does not come back.
    """
    from panelcp.flow.skin_kernels import possible_all, separation_all

    first_layers = lines.layers(viscosity, turbulent)
    names = ("momentum_thickness", "shape_factor", "skin_friction", "state")
    theta, shape, friction, layer = (np.array(getattr(first_layers, name)) for name in names)
    pressure = np.where(lines.panels >= 0, gauge[lines.panels], np.nan)
    state, plateau = np.full(layer.shape, UNKNOWN), np.full(layer.shape, np.nan)
    separation, stratford = (
        np.array(values) for values in (first_layers.separation, first_layers.stratford_separation)
    )
    unclosed = lines.count.copy()
    dammed = ~lines.cut & facing[lines.panels[np.arange(len(layer)), lines.count - 1]]
    chosen, begin, fresh = np.arange(len(layer)), np.zeros(len(layer), dtype=np.int64), ATTACHED
    for _ in range(MOST_POCKETS):
        parts = [values[chosen] for values in (pressure, layer, state, plateau)]
        first, back = np.zeros((2, len(chosen)), dtype=np.int64)
        separation_all(
            *parts[:2], begin, lines.count[chosen], dammed[chosen], fresh, *parts[2:], first, back
        )
        state[chosen], plateau[chosen] = parts[2:]
        open_here = (back < 0) & ~dammed[chosen] & (first < lines.count[chosen])
        unclosed[chosen[open_here]] = first[open_here]
        again = back >= 0
        chosen, begin, before = chosen[again], back[again], np.maximum(first[again] - 1, 0)
        if len(chosen) == 0:
            break
        thick = np.maximum(np.nan_to_num(theta[chosen, before], nan=0.0), 1e-6)
        layers, column, inside = lines.layers_from(chosen, begin, viscosity, thick)
        into = (np.broadcast_to(chosen[:, None], column.shape)[inside], column[inside])
        for values, name in zip((theta, shape, friction, layer), names, strict=True):
            values[into] = getattr(layers, name)[inside]
        passed, fresh = lines.here[chosen] >= begin, REATTACHED
        way = lines.distance[chosen, begin]
        separation[chosen[passed]] = (way + layers.separation)[passed]
        stratford[chosen[passed]] = (way + layers.stratford_separation)[passed]
    possible_all(pressure, shape, layer, lines.count, dammed, state, plateau, unclosed)
    return LineStates(
        *(lines, theta, shape, friction, layer, state, plateau, separation, stratford, unclosed)
    )
