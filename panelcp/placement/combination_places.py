"""Which places may be combined on one bay: the best of a ranking that do not lie on each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import combinations

import numpy as np

from panelcp.errors import PlacementError
from panelcp.placement.combination_search import SetRules
from panelcp.placement.ranking import OpeningRanking
from panelcp.surface.opening import Opening

CANDIDATES = 12
MOST_CANDIDATES = 60

SAME_PLACE = 0.010
"""m; two places are mirror images when the one lies so near to the image of the other."""

SAG = 0.5
"""Height between openings that look the same way counts only above this part of their size."""


def gap(a: Opening, b: Opening) -> float:
    """m: least distance of two openings; 0 where they overlap.

    From the points of each to the rectangle of the other. Where both look the same way, a step in
    height as large as SAG of the smaller one is taken for the bend of the skin.
    """
    size = min(max(a.length, a.width), max(b.length, b.width))
    sag = SAG * size if a.normal @ b.normal > 0.0 else 0.0
    return min(_from_rectangle(a, b, sag), _from_rectangle(b, a, sag))


def _from_rectangle(opening: Opening, other: Opening, sag: float) -> float:
    points = np.concatenate([other.outline, other.sample_points]) - opening.centre
    axes = np.array([opening.along, opening.across, opening.normal])
    half = np.array([0.5 * opening.length, 0.5 * opening.width, sag])
    outside = np.maximum(np.abs(points @ axes.T) - half, 0.0)
    return float(np.linalg.norm(outside, axis=1).min())


def _apart(a: Opening, b: Opening, least: float) -> bool:
    reach = 0.5 * (np.hypot(a.length, a.width) + np.hypot(b.length, b.width)) + least
    if float(np.linalg.norm(a.centre - b.centre)) > 2.0 * reach:
        return True
    return gap(a, b) >= max(least, 1e-9)


def mirror_twins(openings: Sequence[Opening]) -> np.ndarray:
    """(n,) int: the opening that is the mirror image about BL 0 of each, -1 for none."""
    twins = np.full(len(openings), -1)
    for k, one in enumerate(openings):
        image = one.centre * [1.0, -1.0, 1.0]
        for m, other in enumerate(openings):
            same = (one.kind, one.shape) == (other.kind, other.shape)
            same &= np.allclose([one.length, one.width], [other.length, other.width], rtol=1e-3)
            if k != m and same and np.linalg.norm(image - other.centre) < SAME_PLACE:
                twins[k] = m
    return twins


def combination_places(ranking: OpeningRanking, settings) -> tuple[list[Opening], list[Opening]]:
    """Inlets and exits that enter: those named, then the best of the ranking, twins with them."""
    inlets, exits = ranking.inlets.openings, ranking.exits.openings
    _require_known(settings.names, [*inlets, *exits])
    chosen = []
    for openings, index in ((inlets, ranking.inlet_index), (exits, ranking.exit_index)):
        named = [o for name in settings.names for o in openings if o.name == name]
        wanted = settings.candidates
        if wanted is None:
            wanted = 0 if named else CANDIDATES
        numbers, first = np.unique(index, return_index=True)
        best = [openings[k] for k in numbers[np.argsort(first)]]
        chosen.append(_with_best(named, best, openings, wanted, settings.least_distance))
    require_named_apart([*chosen[0], *chosen[1]], settings)
    return chosen[0], chosen[1]


def _with_best(named, best, openings, wanted: int, least: float) -> list[Opening]:
    """Named openings and then so many of the best that do not lie on one chosen already.

    A place and its mirror image, where that is one of the openings, count as one.
    """
    chosen, count = list(named), 0
    for opening in best:
        if count == wanted or len(chosen) >= MOST_CANDIDATES:
            break
        if not all(_apart(opening, other, least) for other in chosen):
            continue
        chosen.append(opening)
        count += 1
        twin = _twin_of(opening, openings)
        if twin is not None and all(_apart(twin, other, least) for other in chosen):
            chosen.append(twin)
    return chosen


def _twin_of(opening: Opening, openings) -> Opening | None:
    image = opening.centre * [1.0, -1.0, 1.0]
    near = [
        o
        for o in openings
        if o is not opening and float(np.linalg.norm(o.centre - image)) < SAME_PLACE
    ]
    twin = mirror_twins([opening, *near])[0]
    return near[twin - 1] if twin > 0 else None


def _require_known(names, openings):
    known = {opening.name: None for opening in openings}
    for name in names:
        if name not in known:
            near = get_close_matches(name, list(known), n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise PlacementError(
                f"combinations: {name!r} is neither an inlet nor an exit of the {len(known)} "
                f"openings and places that were ranked{hint}"
            )


def require_named_apart(openings: Sequence[Opening], settings):
    """Refuse openings named in the settings that lie on each other, or too near.

    Parameters
    ----------
    openings : laid onto the skin, those named and others
    settings : CombinationSettings

    Raises
    ------
    PlacementError : the first two
    """
    least = settings.least_distance
    named = list({o.name: o for o in openings if o.name in settings.names}.values())
    for a, b in combinations(named, 2):
        if not _apart(a, b, least):
            raise PlacementError(
                f"combinations: the named openings {a.name!r} and {b.name!r} overlap or lie "
                f"nearer than {1e3 * least:.0f} mm to each other ({1e3 * gap(a, b):.0f} mm); move "
                "one of them, or leave one out of names"
            )


def scaled(opening: Opening, factor: float) -> Opening:
    """The opening with its area times a factor: both sides grow alike about the centre."""
    side = float(np.sqrt(factor))
    points = (
        opening.centre + side * (part - opening.centre)
        for part in (opening.outline, opening.sample_points)
    )
    both = dict(zip(("outline", "sample_points"), points, strict=True))
    return replace(opening, length=side * opening.length, width=side * opening.width, **both)


def place_rules(inlets, exits, settings, zones=()) -> SetRules:
    """Which of the chosen places may stand together, and the areas of the exits.

    An area is nan, and so never within the bound, where the opening of that size lies in a zone.
    Exits stand together where they do at the largest area, or at their own where that is larger.
    """
    least = settings.least_distance
    factors = settings.area_factors
    areas = np.outer([opening.area for opening in exits], factors)
    for row, opening in zip(areas, exits, strict=True):
        for k, factor in enumerate(factors):
            if factor > 1.0 and any(z.holds(scaled(opening, factor).outline).any() for z in zones):
                row[k] = np.nan
    whole = [
        [f for f, area in zip(factors, row, strict=True) if np.isfinite(area)] for row in areas
    ]
    grown = [scaled(o, max([1.0, *some])) for o, some in zip(exits, whole, strict=True)]

    def apart(first, second):
        return np.array([[a.name != b.name and _apart(a, b, least) for b in second] for a in first])

    return SetRules(
        inlets_apart=apart(inlets, inlets),
        exits_apart=apart(grown, grown),
        both_apart=apart(inlets, grown),
        areas=areas,
        twins=mirror_twins(exits),
        most_inlets=settings.most_inlets,
        most_exits=settings.most_exits,
        most_area=np.inf if settings.most_exit_area is None else settings.most_exit_area,
    )
