"""Local optima between the grid points of a search, each with the opening really laid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelcp.flow.superposition import SurfaceFlow
from panelcp.placement.candidates import (
    SIDES_OF_PAIR,
    NoCutZone,
    SearchRegion,
    SearchResult,
    admitted,
    mates_of,
    points_on_skin,
)
from panelcp.placement.ranking import OpeningPressures, opening_pressures
from panelcp.placement.rules import PlaceRules, clearance
from panelcp.placement.vent_map import deciding_conditions
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder

FINEST = 16
"""The last steps are the spacing of the grid over this."""

MORE_STARTS = 1
"""So many starts more than places wanted: two may meet in one place."""

MOST_ROUNDS = 40
SAME_STEP = 1e-6
"""Parts of the spacing."""

COMPASS = np.array([[1, 0], [-1, 0], [0, 1], [0, -1]], dtype=float)
DIAGONALS = np.array([[1, 1], [-1, -1], [1, -1], [-1, 1]], dtype=float)


@dataclass(frozen=True, eq=False)
class FoundPlaces:
    """The best places of one search.

    Attributes
    ----------
    region : SearchRegion
    openings : best first, called "<search> best 1" and so on; of a mirrored search each is right
        and left in turn, with this word added
    scores : (n_places,) float, least available/needed over the deciding conditions with the best
        partner; one for each pair of mirrored openings
    grid_score : best score of the grid's own candidates
    tried : number of places at which the opening was laid
    mates : name -> name of the mirror image
    """

    region: SearchRegion
    openings: tuple[Opening, ...]
    scores: tuple[float, ...]
    grid_score: float
    tried: int
    mates: dict[str, str]

    def line(self) -> str:
        """One line for the log."""
        values = ", ".join(f"{score:.3f}" for score in self.scores)
        return (
            f"search {self.region.name}: {len(self.scores)} best places between the grid points, "
            f"least available/needed {values} (grid {self.grid_score:.3f}); {self.tried} tried"
        )


def with_found(result: SearchResult, found: FoundPlaces) -> SearchResult:
    """The result of a search with the places found after its own candidates."""
    return replace(
        result,
        openings=(*result.openings, *found.openings),
        mates=result.mates | found.mates,
    )


def found_places(
    finder: SkinFinder,
    flow: SurfaceFlow,
    searches: Sequence[SearchResult],
    inlets: OpeningPressures,
    exits: OpeningPressures,
    recovery: Mapping[str, float],
    needed: Sequence[float] | None = None,
    zones: Sequence[NoCutZone] = (),
    openings: Sequence[Opening] = (),
) -> list[FoundPlaces]:
    """Best places of every search, found between its grid points.

    Parameters
    ----------
    finder : SkinFinder of the surface of the flow
    flow : SurfaceFlow
    searches : SearchResults, whose candidates are the starts
    inlets, exits : pressures at all openings and candidates that take air in or let it out
    recovery : name of a search -> recovery fraction of its openings, one number or one for each
        condition; used where they take air in
    needed : Pa for each condition; the conditions' own when not given
    zones, openings : as given to `search`

    Returns
    -------
    One FoundPlaces per search, in order; without places where `find` is 0

    Raises
    ------
    PlacementError : no deciding condition, or one without needed pressure

    Notes
    -----
    From the best local maxima of the grid, a pattern search: the four points one step away (and
    the four diagonal ones where these bring nothing) are laid and judged by their own patch means,
    all searches together; the best is taken, or the step is halved, from half the spacing down to
    its 16th part. Every trial keeps the rules. Places nearer to a better one than
    `opening_distance`, or than their own size, are left out.
    """
    judge = _Judge(flow, inlets, exits, needed)
    climbs: list[_Climb] = []
    for result in searches:
        rules = PlaceRules(finder, result.region, zones, openings)
        climbs += _starts(result, judge, rules, recovery[result.region.name])
    for _ in range(MOST_ROUNDS):
        active = [climb for climb in climbs if not climb.done]
        if not active:
            break
        _one_round(finder, judge, active)
    return [
        _best_of(result, [c for c in climbs if c.rules.region is result.region])
        for result in searches
    ]


class _Judge:
    """Scores of openings: least available/needed with the best partner they do not lie on."""

    def __init__(self, flow, inlets: OpeningPressures, exits: OpeningPressures, needed):
        chosen, self.required, _ = deciding_conditions(flow, needed)
        self.chosen, self.flow = chosen, _only(flow, chosen)
        self.behind_inlets = _Partners(inlets.openings, inlets.inlet_pressure[chosen])
        self.at_exits = _Partners(exits.openings, exits.patch_pressure[chosen])

    def grid_scores(self, places: Sequence[tuple[Opening, ...]]) -> np.ndarray:
        """(n_places,) float: of candidates whose pressures are among those given."""
        columns = [
            [partners.mean_of(place) for place in places]
            for partners in (self.at_exits, self.behind_inlets)
        ]
        return np.array(
            [self._score(place, *both) for place, *both in zip(places, *columns, strict=True)]
        )

    def scores(self, places: Sequence[tuple[Opening, ...]], etas) -> np.ndarray:
        """(n_places,) float: places of one opening or two mates, each with its recovery."""
        if not places:
            return np.empty(0)
        counts = [len(place) for place in places]
        everything = [opening for place in places for opening in place]
        eta = np.repeat(np.stack([self._eta(e) for e in etas], axis=1), counts, axis=1)
        air = opening_pressures(self.flow, everything, np.zeros(len(everything)))
        behind = air.patch_pressure + eta * (air.total_pressure - air.patch_pressure)
        starts = np.cumsum([0, *counts[:-1]])
        patch, behind = (
            np.add.reduceat(part, starts, axis=1) / counts for part in (air.patch_pressure, behind)
        )
        return np.array(
            [self._score(place, patch[:, k], behind[:, k]) for k, place in enumerate(places)]
        )

    def _eta(self, eta) -> np.ndarray:
        eta = np.asarray(eta, dtype=float)
        return eta[self.chosen] if eta.ndim else np.full(len(self.chosen), float(eta))

    def _score(self, place, patch, behind) -> float:
        """Of one place, from its pressures in the deciding conditions."""
        best = -np.inf
        if place[0].lets_air_out:
            free = self.behind_inlets.free_of(place)
            best = max(best, self._best(self.behind_inlets.pressure[:, free] - patch[:, None]))
        if place[0].takes_air_in:
            free = self.at_exits.free_of(place)
            best = max(best, self._best(behind[:, None] - self.at_exits.pressure[:, free]))
        return best

    def _best(self, available) -> float:
        least = (available / self.required[:, None]).min(axis=0)
        return float(least.max()) if len(least) else -np.inf


class _Partners:
    """What stands on the other side: openings and their pressures in the deciding conditions."""

    def __init__(self, openings: Sequence[Opening], pressure):
        self.pressure = pressure
        self._columns = {opening.name: k for k, opening in enumerate(openings)}
        self._centres = np.array([opening.centre for opening in openings]).reshape(-1, 3)
        self._half = 0.5 * np.array([max(opening.length, opening.width) for opening in openings])

    def mean_of(self, place) -> np.ndarray | None:
        """(n_conditions,) Pa: mean pressure at one of these openings, or at two mates."""
        if any(opening.name not in self._columns for opening in place):
            return None
        return self.pressure[:, [self._columns[opening.name] for opening in place]].mean(axis=1)

    def free_of(self, place) -> np.ndarray:
        """(n_partners,) bool: those that cannot touch a place, by the larger of their sides."""
        free = np.ones(len(self._half), dtype=bool)
        for own in place:
            reach = self._half + 0.5 * max(own.length, own.width)
            free &= np.linalg.norm(self._centres - own.centre, axis=1) >= reach
        return free


def _only(flow: SurfaceFlow, chosen) -> SurfaceFlow:
    """The flow in some of its conditions."""
    n, changes = len(flow.conditions), {}
    for name in flow.__dataclass_fields__:
        value = getattr(flow, name)
        if isinstance(value, np.ndarray) and len(value) == n:
            changes[name] = value[chosen]
    return replace(flow, conditions=tuple(flow.conditions[c] for c in chosen), **changes)


class _Climb:
    """One start on its way up."""

    def __init__(self, rules: PlaceRules, eta, place, seen, score: float):
        self.rules, self.eta = rules, eta
        self.place, self.seen, self.score, self.grid_score = place, seen, score, score
        self.step, self.diagonal = 0.5 * rules.region.spacing, False
        self.known = {self._key(seen)}
        self.done, self.tried = False, 0

    def trials(self) -> np.ndarray:
        """(n, 2) m: points to try next that were not tried yet."""
        around = self.seen + self.step * (DIAGONALS if self.diagonal else COMPASS)
        new = [point for point in around if self._key(point) not in self.known]
        self.known |= {self._key(point) for point in new}
        return np.array(new).reshape(-1, 2)

    def take(self, trials):
        """Go to the best (score, seen, place) of the trials, or look closer."""
        best = max(trials, key=lambda trial: trial[0], default=None)
        if best is not None and best[0] > self.score:
            self.score, self.seen, self.place = best
            self.diagonal = False
            return
        self.step, self.diagonal = (0.5 * self.step, False) if self.diagonal else (self.step, True)
        self.done = self.step < self.rules.region.spacing / FINEST * (1.0 - SAME_STEP)

    def _key(self, seen) -> tuple[int, int]:
        unit = 0.25 * self.rules.region.spacing / FINEST
        return tuple(np.round(np.asarray(seen) / unit).astype(int).tolist())


def _starts(result: SearchResult, judge: _Judge, rules: PlaceRules, eta) -> list[_Climb]:
    """The best local maxima of the grid, one more than places are wanted."""
    region = result.region
    if region.find == 0:
        return []
    places = _places(result)
    seen = np.array([_in_box(region, place).centre[region.axes_seen] for place in places])
    scores = judge.grid_scores(places)
    chosen: list[int] = []
    for k in np.argsort(-scores, kind="stable"):
        near = np.abs(seen - seen[k]).max(axis=1) < 1.5 * region.spacing
        if scores[k] < scores[near].max() or not np.isfinite(scores[k]):
            continue
        if any(near[other] for other in chosen):
            continue
        chosen.append(int(k))
        if len(chosen) == region.find + MORE_STARTS:
            break
    return [_Climb(rules, eta, places[k], seen[k], float(scores[k])) for k in chosen]


def _in_box(region: SearchRegion, place) -> Opening:
    """The opening of a place that lies in the box of the search: the first, or its image."""
    right = place[0].centre[1]
    return place[0] if region.low[1] <= right <= region.high[1] else place[-1]


def _places(result: SearchResult) -> list[tuple[Opening, ...]]:
    """The candidates of a search, mirrored ones two by two."""
    openings = result.openings
    if not result.mates:
        return [(opening,) for opening in openings]
    return [*zip(openings[::2], openings[1::2], strict=True)]


def _one_round(finder: SkinFinder, judge: _Judge, climbs: list[_Climb]):
    """One step of every climb, with all trial openings judged together."""
    trials: list[tuple[_Climb, np.ndarray, tuple[Opening, ...]]] = []
    for climb in climbs:
        seen = climb.trials()
        if len(seen) == 0:
            continue
        centres = points_on_skin(finder, climb.rules.region, seen)
        for point, centre in zip(seen, centres, strict=True):
            climb.tried += 1
            place, _ = admitted(finder, climb.rules, climb.rules.region.name, centre)
            if place:
                trials.append((climb, point, place))
    scores = judge.scores([place for _, _, place in trials], [climb.eta for climb, _, _ in trials])
    for climb in climbs:
        climb.take(
            [
                (float(score), point, place)
                for (owner, point, place), score in zip(trials, scores, strict=True)
                if owner is climb
            ]
        )


def _best_of(result: SearchResult, climbs: list[_Climb]) -> FoundPlaces:
    """The best climbs of one search that keep their distance from each other, named."""
    region, kept = result.region, []
    for climb in sorted(climbs, key=lambda climb: -climb.score):
        if len(kept) == region.find:
            break
        if all(_apart(region, climb.place, other.place) for other in kept):
            kept.append(climb)
    openings: list[Opening] = []
    for number, climb in enumerate(kept, start=1):
        words = [f" {side}" for side in SIDES_OF_PAIR] if region.mirrored else [""]
        openings += [
            replace(opening, name=f"{region.name} best {number}{word}")
            for opening, word in zip(climb.place, words, strict=True)
        ]
    return FoundPlaces(
        region=region,
        openings=tuple(openings),
        scores=tuple(climb.score for climb in kept),
        grid_score=max((climb.grid_score for climb in climbs), default=float("nan")),
        tried=sum(climb.tried for climb in climbs),
        mates=mates_of(openings) if region.mirrored else {},
    )


def _apart(region: SearchRegion, place, other) -> bool:
    """Whether two places keep the clearance asked for, or else are not each other's neighbour."""
    first, second = place[0], other[0]
    if region.opening_distance is not None:
        return clearance(first, second) >= region.opening_distance
    size = max(region.length, region.width)
    return float(np.linalg.norm(first.centre - second.centre)) >= size
