"""The vent map: what a small opening at every panel of the searched skin would be worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import eye_array

from panelcp.errors import PlacementError
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.placement.candidates import NoCutZone, SearchRegion
from panelcp.placement.ranking import OpeningRanking
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.rays import SkinFinder

USES = ("exit", "inlet")
SAME_PLACE = 1e-6
"""m; a panel is seen when the line of sight meets the skin so near to its centroid."""


@dataclass(frozen=True, eq=False)
class VentMap:
    """Available over needed pressure at every panel, as an exit or as an inlet.

    Attributes
    ----------
    use : "exit" or "inlet"
    partners : names of the chosen inlets (for exits) or exits (for inlets)
    searched : (n_panels,) bool
    least_ratio : (n_panels,) float, least available/needed over the deciding conditions, with the
        best of the partners; nan where not searched
    mean_ratio : (n_panels,) float, its weighted mean over the deciding conditions, same partner
    deciding : (n_panels,) int, number of the condition with the least; -1 where not searched
    kind : of the opening looked for, in words, where it matters
    """

    use: str
    partners: tuple[str, ...]
    searched: np.ndarray
    least_ratio: np.ndarray
    mean_ratio: np.ndarray
    deciding: np.ndarray
    kind: str = ""

    def __post_init__(self):
        object.__setattr__(self, "searched", frozen_array(self.searched, bool))
        object.__setattr__(self, "deciding", frozen_array(self.deciding, np.int64))
        for name in ("least_ratio", "mean_ratio"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def vent_map(
    flow: SurfaceFlow,
    use: str,
    partners: OpeningRanking | Mapping[str, Sequence[float]],
    searched: np.ndarray,
    needed: Sequence[float] | None = None,
    recovery: float | Sequence[float] = 0.0,
    kind: str = "",
) -> VentMap:
    """Available over needed pressure all over the searched skin.

    Parameters
    ----------
    flow : SurfaceFlow
    use : "exit": the panel lets out what the partners take in; "inlet": the other way round
    partners : name of each chosen partner -> pressure in every condition, Pa: behind an inlet, at
        an exit; or a ranking, whose best pair then gives the partner
    searched : (n_panels,) bool, see `searched_panels`
    needed : Pa for each condition; the conditions' own when not given
    recovery : of the kind of inlet looked for, one number or one for each condition; only for
        inlets
    kind : in words, for the title

    Returns
    -------
    VentMap

    Raises
    ------
    PlacementError : an unknown use, no partner, no searched panel, no condition that decides, or
        one that decides without needed pressure

    Notes
    -----
    The pressure at the control point of the panel, separated air included: that of an opening
    much smaller than the changes of pressure round it. An inlet has p + eta (p_total - p) behind
    it. The map shows where to look; `found_places` says what an opening of real size is worth.
    """
    if use not in USES:
        raise PlacementError(f"vent map: use {use!r} is not known; choose one of {USES}")
    if isinstance(partners, OpeningRanking):
        partners = partner_of_best(partners, use)
    _require_partners_and_panels(use, partners, searched)
    chosen, required, weights = deciding_conditions(flow, needed)
    own = _own_pressure(flow, use, recovery)[chosen][:, searched]
    ratios = []
    for pressure in partners.values():
        other = np.asarray(pressure, dtype=float)[chosen, None]
        ratios.append((other - own if use == "exit" else own - other) / required[:, None])
    ratio = np.array(ratios)
    best = ratio.min(axis=1).argmax(axis=0)
    ratio = ratio[best, :, np.arange(ratio.shape[2])]
    return VentMap(
        use=use,
        partners=tuple(partners),
        searched=searched,
        least_ratio=_spread(ratio.min(axis=1), searched, np.nan),
        mean_ratio=_spread(ratio @ weights, searched, np.nan),
        deciding=_spread(chosen[ratio.argmin(axis=1)], searched, -1),
        kind=kind,
    )


def partner_of_best(ranking: OpeningRanking, use: str) -> dict[str, np.ndarray]:
    """The other opening of the best pair: name -> pressure in every condition, Pa.

    Parameters
    ----------
    ranking : OpeningRanking
    use : of the places looked for: for exits the best pair's inlet, for inlets its exit
    """
    if use == "exit":
        return {ranking.inlet(0).name: ranking.inlets.inlet_pressure[:, ranking.inlet_index[0]]}
    return {ranking.exit(0).name: ranking.exits.patch_pressure[:, ranking.exit_index[0]]}


def deciding_conditions(
    flow: SurfaceFlow, needed: Sequence[float] | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Numbers of the deciding conditions, their needed pressures in Pa, and weights of sum 1.

    Raises
    ------
    PlacementError : none decides, one needs no pressure, or all weights are 0
    """
    chosen = np.flatnonzero([condition.decides for condition in flow.conditions])
    if needed is None:
        needed = [condition.needed_pressure for condition in flow.conditions]
    required = np.array([np.nan if needed[c] is None else needed[c] for c in chosen], dtype=float)
    weights = np.array([flow.conditions[c].weight for c in chosen], dtype=float)
    lacking = [flow.conditions[c].name for c, r in zip(chosen, required, strict=True) if not r > 0]
    if len(chosen) == 0 or lacking or not weights.sum() > 0.0:
        raise PlacementError(
            "places cannot be judged: "
            + (f"no needed pressure above 0 in {', '.join(lacking)}" if lacking else "")
            + ("no condition decides, or their weights add up to 0" if not lacking else "")
        )
    return chosen, required, weights / weights.sum()


def searched_panels(
    skin: SkinFinder | SurfaceMesh,
    regions: Sequence[SearchRegion],
    zones: Sequence[NoCutZone] = (),
) -> np.ndarray:
    """(n_panels,) bool: panels that a search can reach and no zone forbids.

    Their centroid lies in the box of a search region, is seen from its side, and lies outside all
    no-cut zones and their clearance.
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    surface = finder.surface
    reached = np.zeros(surface.n_panels, dtype=bool)
    for region in regions:
        axis, sign = region.view
        inside = (surface.centroids >= region.low) & (surface.centroids <= region.high)
        facing = sign * surface.normals[:, axis] < 0.0
        chosen = np.flatnonzero(inside.all(axis=1) & facing & ~reached)
        direction = np.zeros(3)
        direction[axis] = sign
        origins = surface.centroids[chosen].copy()
        origins[:, axis] = surface.bounds[0 if sign > 0.0 else 1, axis] - sign
        distance = np.abs(finder.hits(origins, direction)[1] - surface.centroids[chosen])
        reached[chosen[distance[:, axis] < SAME_PLACE]] = True
    for zone in zones:
        reached &= ~zone.holds(surface.centroids)
    return reached


def _own_pressure(flow: SurfaceFlow, use: str, recovery) -> np.ndarray:
    """(n_conditions, n_panels) Pa: at an exit, or behind an inlet, at every panel."""
    gauge, total, _ = interpolated_air(flow, eye_array(flow.surface.n_panels, format="csr"))
    if use == "exit":
        return gauge
    eta = np.broadcast_to(np.asarray(recovery, dtype=float), len(flow.conditions))[:, None]
    return gauge + eta * (total - gauge)


def _require_partners_and_panels(use: str, partners, searched):
    if not partners:
        word = "inlet" if use == "exit" else "exit"
        raise PlacementError(f"vent map of places for an {use}: no {word} to go with it is given")
    if not np.any(searched):
        raise PlacementError(
            "vent map: no panel is searched: no [[search]] has its box on the skin, or no-cut "
            "zones cover all of it"
        )


def _spread(values, searched, elsewhere) -> np.ndarray:
    """Values of the searched panels in one array for all panels."""
    everywhere = np.full(len(searched), elsewhere, dtype=np.asarray(values).dtype)
    everywhere[searched] = values
    return everywhere
