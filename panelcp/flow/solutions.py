"""Solutions of a surface in a set of conditions, with all that stands around it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import FlowError
from panelcp.flow.superposition import SurfaceFlow, superpose
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.surroundings import Onset, Surroundings
from panelcp.panels.influence import TOLERANCE
from panelcp.panels.solving import UnitSolutions, solve_units
from panelcp.surface.curved import curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Part:
    """Conditions that share one ground, or the free air, and their unit solutions.

    Attributes
    ----------
    numbers : of the conditions among all
    onset : what the air brings
    units : UnitSolutions
    """

    numbers: tuple[int, ...]
    onset: Onset
    units: UnitSolutions


@dataclass(frozen=True, eq=False)
class Solutions:
    """Unit solutions from which the flow in every condition is summed.

    Attributes
    ----------
    surface : SurfaceMesh
    surroundings : Surroundings
    conditions : in order
    parts : one for every ground, and one for the free air
    """

    surface: SurfaceMesh
    surroundings: Surroundings
    conditions: tuple[FlightCondition, ...]
    parts: tuple[Part, ...]

    @property
    def main(self) -> UnitSolutions:
        """The unit solutions with most conditions."""
        return max(self.parts, key=lambda part: len(part.numbers)).units

    @property
    def mean_streams(self) -> np.ndarray:
        """(n_conditions, 3) float, m/s: stream and mean slipstream far behind the disc together."""
        streams = np.zeros((len(self.conditions), 3))
        for part in self.parts:
            onset = part.onset
            for number, stream, slipstream in zip(
                part.numbers, onset.streams, onset.slipstreams, strict=True
            ):
                streams[number] = stream
                if slipstream is not None:
                    v = slipstream.mean_induced * slipstream.factor
                    streams[number] += 2.0 * v * slipstream.propeller.aft
        return streams

    def flow(
        self,
        change: Callable[[Onset], Onset] | None = None,
        flows: Mapping[str, np.ndarray] | None = None,
    ) -> SurfaceFlow:
        """Flow in all conditions.

        Parameters
        ----------
        change : turns what the air brings into something else, None leaves it
        flows : name of an opening -> (n_conditions,) m3/s out of it

        Returns
        -------
        SurfaceFlow, in the order of the conditions
        """
        pieces = []
        for part in self.parts:
            onset = change(part.onset) if change else part.onset
            own = {
                name: np.asarray(flow)[list(part.numbers)] for name, flow in (flows or {}).items()
            }
            pieces.append(superpose(part.units, onset.conditions, onset=onset, flows=own))
        return self._together(pieces)

    def flow_with(self, surroundings: Surroundings) -> SurfaceFlow:
        """Flow with effects switched off, or another slipstream factor, over the same grounds.

        Raises
        ------
        FlowError : another propeller or wing, whose fields were not solved
        """
        for name in ("propeller", "wing", "rated_power"):
            if getattr(surroundings, name) is not getattr(self.surroundings, name):
                raise FlowError(f"another {name} is another flow; solve it anew")
        return self._together(
            [
                superpose(
                    part.units,
                    part.onset.conditions,
                    onset=_over(part.onset, surroundings),
                )
                for part in self.parts
            ]
        )

    def _together(self, pieces: list[SurfaceFlow]) -> SurfaceFlow:
        order = np.argsort(np.concatenate([part.numbers for part in self.parts]), kind="stable")
        names = ("velocity", "gauge_pressure", "wetting", "head_deviation", "mean_rise")
        joined = {
            name: np.concatenate([getattr(piece, name) for piece in pieces])[order]
            for name in (*names, "predicted")
        }
        return SurfaceFlow(surface=self.surface, conditions=self.conditions, **joined)


def _over(onset: Onset, surroundings: Surroundings) -> Onset:
    """What other surroundings bring in the conditions of an onset, over its ground."""
    conditions = onset.conditions
    return Onset(
        conditions=conditions,
        streams=onset.streams,
        slipstreams=tuple(surroundings.slipstream(c) for c in conditions),
        circulation=np.array([surroundings.circulation(c) for c in conditions]),
        propeller=surroundings.propeller,
        wing=surroundings.wing,
        ground=onset.ground,
    )


def solve_conditions(
    surface: SurfaceMesh,
    conditions: Sequence[FlightCondition],
    surroundings: Surroundings | None = None,
    openings: Sequence[Opening] = (),
    tolerance: float | None = TOLERANCE,
    progress: Progress = lambda text: None,
) -> Solutions:
    """Solve all unit flows that a set of conditions needs.

    Conditions in the free air share one solution; every attitude and height above the ground is
    a new one.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    conditions : one or more FlightCondition
    surroundings : propeller, wing, ground; none if left out
    openings : each gets a unit flow
    tolerance : of the far field, see `solve_units`
    progress : called with a short text before each long step

    Returns
    -------
    Solutions

    Raises
    ------
    FlowError : what `solve_units` and `Surroundings` raise
    """
    surroundings = surroundings or Surroundings()
    conditions = tuple(conditions)
    surroundings.check_place(surface, conditions)
    parts = []
    points = curved_panels(surface).points
    for numbers in surroundings.groups(conditions):
        onset = surroundings.onset([conditions[k] for k in numbers])
        units = solve_units(
            surface,
            openings=openings,
            onsets=[*zip(onset.names, onset.velocity(points), strict=True)],
            ground=onset.ground,
            tolerance=tolerance,
            progress=progress,
        )
        parts.append(Part(tuple(numbers), onset, units))
    return Solutions(surface, surroundings, conditions, tuple(parts))


def solve(
    surface: SurfaceMesh,
    conditions: Sequence[FlightCondition],
    surroundings: Surroundings | None = None,
    progress: Progress = lambda text: None,
) -> SurfaceFlow:
    """Solve the unit flows of a surface and superpose them for the conditions.

    Never repairs or reorders the surface.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    conditions : one or more FlightCondition
    surroundings : propeller, wing, ground; none if left out
    progress : called with a short text before each long step

    Returns
    -------
    SurfaceFlow
    """
    return solve_conditions(surface, conditions, surroundings, progress=progress).flow()
