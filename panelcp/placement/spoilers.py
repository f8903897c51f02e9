"""What spoils a place: numbers that should make the builder look twice before cutting there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from panelcp.flow.skin_layers import LEE, OPEN, POCKET, POSSIBLE, REATTACHED
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.bands import sample_operator
from panelcp.placement.exit_air import PLUME_GROWTH, Hit
from panelcp.placement.layers_at_openings import DRAWN_FROM, LEAST_SHARE, OpeningLayers
from panelcp.placement.ranking import OpeningRanking
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder

SEVERITIES = ("spoils", "look")
"""By the numbers the place does not do there what it is for; look at it before it is chosen."""

KINDS = (
    "reversed flow",
    "breathing",
    "separated air",
    "separation line",
    "air into the cabin",
    "air towards the windshield",
    "air at the wing root",
    "air at a static port",
    "hot air back in",
    "exhaust air",
    "exhaust near",
    "glass near",
    "rain",
    "steep",
)

SEPARATED_PART = UncertainValue(
    LEAST_SHARE, mark="memory", source="part of an opening's area that may lie in separated air"
)
MOSTLY = UncertainValue(0.5, mark="memory", source="part of the area from which on it counts whole")
AFTER_LINE = UncertainValue(
    1.0, mark="memory", source="ways to a separation line that count, parts of the exit's length"
)
SLOW_LAYER = UncertainValue(
    DRAWN_FROM, mark="memory", source="layer an inlet draws from, parts of its smaller side"
)
TOUCHED = UncertainValue(
    0.0, mark=PLUME_GROWTH.mark, source="edge of the widening plume", kind="length"
)
GLASS_DISTANCE = UncertainValue(
    24 * 0.0254,
    mark="memory",
    source="24 in, 14 CFR 23.1193(d), text before 2017, quoted from memory: fire-resistant skin "
    "behind an opening of the cowl",
    kind="length",
)
RAIN_AREA = UncertainValue(
    5e-4, mark="memory", source="open area that lets in rain worth draining", kind="area"
)
EXHAUST_DISTANCE = UncertainValue(
    0.100,
    0.050,
    0.100,
    "common practice",
    "skin wants a shield within 50 to 100 mm of hot pipes; the ends of a range",
    kind="length",
)
TAIL_WIND_REACH = UncertainValue(
    1.5, mark="memory", source="hot air carried forward by wind from behind", kind="length"
)
MAY_REVERSE = UncertainValue(0.023, mark="derived", source="chance beyond two deviations")
SURELY_REVERSED = UncertainValue(0.84, mark="derived", source="chance within one deviation")
UNEVEN = UncertainValue(
    0.5, mark="memory", source="spread over a vent, parts of the available pressure"
)
BREATHES = UncertainValue(
    1.0,
    mark="derived",
    source="breathing: the spread over the vent exceeds the pressure difference",
)
SHIFT = UncertainValue(0.020, mark="memory", source="error of a cut marked by hand", kind="length")
STEEP_RATIO = UncertainValue(
    0.1, mark="memory", source="change of available/needed that is worth an exact cut"
)
LIMITS = (
    ("part of an opening in separated air", SEPARATED_PART),
    ("part of an opening that counts for the whole", MOSTLY),
    ("way from an exit to a separation line, parts of its length", AFTER_LINE),
    ("slow layer at an inlet, parts of its smaller side", SLOW_LAYER),
    ("distance from an exit to glass", GLASS_DISTANCE),
    ("area open to rain", RAIN_AREA),
    ("distance to an exhaust", EXHAUST_DISTANCE),
    ("distance at which wind from behind counts", TAIL_WIND_REACH),
    ("chance of reversed flow to be looked at", MAY_REVERSE),
    ("chance of reversed flow that spoils", SURELY_REVERSED),
    ("spread over a vent to be looked at, parts of the available pressure", UNEVEN),
    ("spread over a vent that spoils, parts of the available pressure", BREATHES),
    ("error of a cut", SHIFT),
    ("change of available/needed by that error", STEEP_RATIO),
)
"""(what, UncertainValue) of every limit, for the list of uncertain numbers."""

GLASS_WORDS = ("windshield", "windscreen", "canopy", "glass")
NO_GLASS_WORDS = ("pocket", "base")
"""Regions whose names begin with the first are glass, unless one of the second is among them."""

SEPARATED_WORDS = {
    POCKET: "is separated (a pocket)",
    OPEN: "is separated",
    LEE: "is separated (lee of a cross wind)",
    POSSIBLE: "may be separated",
}
"""What is said of the states of a layer that does not follow the skin, or may not."""

CABIN_KINDS = ("cabin opening", "fresh-air inlet")
INLET_KINDS = ("cooling-air inlet", "cooling-air opening")
VISIBLE = 1e-3
"""m, skin that lies less than this over a sample point is its own."""


@dataclass(frozen=True)
class Spoiler:
    """One number at one place that should make the builder look.

    Attributes
    ----------
    opening : name of the place
    kind : one of KINDS
    condition : name of the condition, None where it holds in all or on the parked aeroplane
    value, limit : float, in `unit`; what was found, and from where on it is said
    unit : "m", "m2", "Pa", or "" for parts of one
    mark : where the limit comes from, one of `panelcp.quantity.MARKS`
    text : a sentence for the builder
    severity : "spoils" or "look"
    about : name of the other thing it is about: inlet, target, region; "" without
    """

    opening: str
    kind: str
    condition: str | None
    value: float
    limit: float
    unit: str
    mark: str
    text: str
    severity: str
    about: str = ""

    def line(self) -> str:
        """Place, condition and sentence in one line."""
        where = f" in {self.condition}" if self.condition else ""
        return f"{self.opening}{where}: {self.text}"


def spoilers(
    flow: SurfaceFlow,
    openings: Sequence[Opening],
    layers: OpeningLayers | None,
    hits: Sequence[Hit],
    ranking: OpeningRanking,
    pairs: Sequence[int] = (),
    parked_attitude: float | None = None,
) -> tuple[Spoiler, ...]:
    """What spoils the inlets and exits of a case and of chosen pairs.

    Parameters
    ----------
    flow : SurfaceFlow, with its pockets
    openings : all openings of the case: places, and what they may harm or be harmed by
    layers : OpeningLayers at the places, or None; places that it does not hold are left out there
    hits : of `exit_air`, of exits and exhausts
    ranking : OpeningRanking
    pairs : numbers of the pairs looked at, best first; of the case's other exits the best pair is
        looked at too
    parked_attitude : deg, cowl datum to the level ground when parked, nose up positive; that of
        the first condition on the ground when not given

    Returns
    -------
    tuple of Spoiler, by place, "spoils" before "look", then in the order of KINDS; one per
    condition in which the number passes its limit

    Notes
    -----
    No entry never means that nothing is wrong with a place: only what is listed in KINDS is
    looked for.
    """
    chosen = _pairs_looked_at(ranking, pairs, openings)
    places = {o.name: o for o in openings if o.takes_air_in or o.lets_air_out}
    for pair in chosen:
        places |= {o.name: o for o in (ranking.inlet(pair), ranking.exit(pair))}
    if parked_attitude is None:
        parked_attitude = _parked(flow.conditions)
    found = [
        *_in_separated_air(places, layers, flow.conditions),
        *_at_separation_lines(places, layers, flow.conditions),
        *_plumes(places, openings, hits, flow),
        *_wind_from_behind(places, openings, flow.conditions),
        *_near_exhausts(places, openings),
        *_near_glass(places, flow.surface),
        *_rained_on(places, flow.surface, parked_attitude),
        *_reversed(ranking, chosen, flow),
        *_over_the_patch(places, ranking, chosen, flow),
    ]
    names = dict.fromkeys([*places, *(opening.name for opening in openings)])
    order = {name: k for k, name in enumerate(names)}
    ranks = {word: k for k, word in enumerate((*SEVERITIES, *KINDS))}
    return tuple(
        sorted(
            found,
            key=lambda s: (order.get(s.opening, len(order)), ranks[s.severity], ranks[s.kind]),
        )
    )


def worst_of_each(found: Sequence[Spoiler]) -> list[tuple[Spoiler, list[str]]]:
    """Of every place, kind and other thing the worst, and the names of all its conditions.

    Worst: the highest severity, then the number farthest beyond its limit.
    """
    groups: dict[tuple[str, str, str], list[Spoiler]] = {}
    for spoiler in found:
        groups.setdefault((spoiler.opening, spoiler.kind, spoiler.about), []).append(spoiler)
    worst = []
    for group in groups.values():
        first = min(group, key=lambda s: (SEVERITIES.index(s.severity), -abs(s.value - s.limit)))
        worst.append((first, [s.condition for s in group if s.condition is not None]))
    return worst


def _pairs_looked_at(ranking: OpeningRanking, pairs, openings) -> list[int]:
    """The given pairs, and for each exit of the case without one its best pair."""
    chosen = [int(pair) for pair in pairs]
    seen = {ranking.exit(pair).name for pair in chosen}
    own = {o.name for o in openings if o.lets_air_out} - seen
    numbers, first = np.unique(ranking.exit_index, return_index=True)
    names = [ranking.exits.openings[number].name for number in numbers]
    return chosen + [int(k) for name, k in zip(names, first, strict=True) if name in own]


def _parked(conditions: Sequence[FlightCondition]) -> float:
    return next((c.attitude or 0.0 for c in conditions if c.on_ground), 0.0)


# separated air


def _in_separated_air(places, layers, conditions) -> Iterator[Spoiler]:
    """Places a tenth or more of which lies in separated air."""
    for k, c, opening in _each(places, layers):
        state = int(layers.state[c, k])
        word = SEPARATED_WORDS.get(state)
        if word is None:
            continue
        share, known = _separated_share(layers, c, k)
        whole = share >= MOSTLY.value
        counts = state != POSSIBLE and (opening.takes_air_in or state == POCKET)
        text = f"{_percent(share)}{'' if known else ' or more'} of it lies where the air {word}"
        if known and share < 1.0 - LEAST_SHARE:
            text += ": it straddles the edge"
        text += "; the pressure there is known only within a wide band: measure it."
        if opening.takes_air_in:
            text += " An inlet finds slow air there."
        yield Spoiler(
            *(opening.name, "separated air", conditions[c].name),
            *(share, SEPARATED_PART.value, "", SEPARATED_PART.mark, text),
            "spoils" if counts and whole and conditions[c].decides else "look",
        )


def _separated_share(layers, c, k) -> tuple[float, bool]:
    """Part of the area in separated air, and whether it is known.

    Where only the state is known it is at least a tenth: by that the state was given.
    """
    shares = getattr(layers, "separated_share", None)
    share = np.nan if shares is None else float(shares[c, k])
    return (share, True) if share >= LEAST_SHARE else (LEAST_SHARE, False)


def _at_separation_lines(places, layers, conditions) -> Iterator[Spoiler]:
    """Exits just ahead of a separation line, inlets behind one."""
    for k, c, opening in _each(places, layers):
        state, margin = int(layers.state[c, k]), float(layers.margin[c, k])
        name = (opening.name, "separation line", conditions[c].name)
        separated = state in SEPARATED_WORDS
        reach = AFTER_LINE.value * opening.length
        if opening.lets_air_out and not separated and 0.0 <= margin < reach:
            text = (
                f"A separation line lies {_length(margin)} behind it, less than its own length of "
                f"{_length(opening.length)}: air blown out here may bring that line forward."
            )
            yield Spoiler(*name, margin, reach, "m", AFTER_LINE.mark, text, "look")
        if not opening.takes_air_in or separated:
            continue
        if margin < 0.0:
            text = (
                f"Part of it lies {_length(-margin)} behind a separation line: slow air comes in "
                "there."
            )
            yield Spoiler(*name, margin, 0.0, "m", "memory", text, "look")
        thick = float(layers.thickness[c, k])
        height = SLOW_LAYER.value * min(opening.length, opening.width)
        if state == REATTACHED and thick > height:
            text = (
                f"It lies behind a pocket of separated air: the slow layer on the skin is "
                f"{_length(thick)} thick there, and it draws from about {_length(height)}."
            )
            yield Spoiler(*name, thick, height, "m", SLOW_LAYER.mark, text, "look")


def _each(places, layers) -> Iterator[tuple[int, int, Opening]]:
    """Column, condition and opening of all places that the layers hold."""
    if layers is None:
        return
    for k, opening in enumerate(layers.openings):
        if opening.name in places:
            for c in range(len(layers.state)):
                yield k, c, opening


# hot air and exhaust gas


def _plumes(places, openings, hits, flow: SurfaceFlow) -> Iterator[Spoiler]:
    """What the air of exits and exhausts reaches along the skin.

    Where only the sign of a flow can be told, only what people or the engine would breathe counts.
    """
    exhausts = {o.name for o in openings if o.use == "exhaust"}
    for hit in _nearest_glass([hit for hit in hits if hit.reached]):
        breathed = hit.kind in (*CABIN_KINDS, *INLET_KINDS)
        if not (breathed or flow.predicted[hit.condition]):
            continue
        # a line of the exit itself runs over the target, even without room for the plume
        straight = hit.clearance + PLUME_GROWTH.high * hit.way <= 0.0
        severity = "spoils" if straight and hit.kind in CABIN_KINDS else "look"
        number = (hit.clearance, TOUCHED.value, "m", TOUCHED.mark)
        condition = flow.conditions[hit.condition].name
        if hit.exit in exhausts and breathed:
            text = f"Gas from {hit.exit} comes here {_way(hit)}."
            names = (hit.target, "exhaust air", condition)
            yield Spoiler(*names, *number, text, severity, hit.exit)
        elif hit.exit in places:
            kind, text = _plume_words(hit)
            about = hit.kind if hit.kind == "windshield" else hit.target
            yield Spoiler(hit.exit, kind, condition, *number, text, severity, about)


def _nearest_glass(hits: list[Hit]) -> list[Hit]:
    """The hits, of several on the windshield's regions by one exit in one condition only one.

    That on glass, else the nearest.
    """
    kept: dict[tuple, Hit] = {}
    for hit in sorted(hits, key=lambda h: (not _is_glass(h.target), h.clearance)):
        target = "" if hit.kind == "windshield" else hit.target
        kept.setdefault((hit.exit, target, hit.condition), hit)
    return [hit for hit in hits if any(hit is other for other in kept.values())]


def _plume_words(hit: Hit) -> tuple[str, str]:
    """Kind and sentence for air of an exit that reaches something."""
    reaches = f"Its air comes to {hit.target} {_way(hit)}"
    if hit.kind in CABIN_KINDS:
        pressure = ""
        if hit.pressure_difference > 0.0:
            pressure = f", with {hit.pressure_difference:.0f} Pa more at the exit than there"
        text = f"{reaches}{pressure}: exhaust gas that leaks into the bay takes the same way."
        return "air into the cabin", text
    if hit.kind in INLET_KINDS:
        return "hot air back in", f"{reaches}: warm air would be taken in again."
    if hit.kind == "wing root":
        text = f"{reaches}: air leaks into many cabins there, and exhaust gas with it."
        return "air at the wing root", text
    if hit.kind == "static port":
        return "air at a static port", f"{reaches}: it may upset airspeed and altitude."
    text = f"{reaches}: heat, oil mist and smoke go the same way."
    return "air towards the windshield", text


def _way(hit: Hit) -> str:
    return f"after {hit.way:.2f} m along the skin, with room for the plume to widen"


def _wind_from_behind(places, openings, conditions) -> Iterator[Spoiler]:
    """The nearest inlet that lies downwind of an exit or exhaust in wind from behind."""
    inlets = [o for o in places.values() if o.takes_air_in]
    sources = [o for o in places.values() if o.lets_air_out]
    sources += [o for o in openings if o.use == "exhaust"]
    limit = TAIL_WIND_REACH.value
    for condition in conditions:
        if condition.stream[0] >= 0.0:
            continue
        for source in sources:
            downwind = [
                (outline_distance(source, inlet), k)
                for k, inlet in enumerate(inlets)
                if inlet.name != source.name
                and (inlet.centre - source.centre) @ condition.stream > 0.0
            ]
            distance, nearest = min(downwind, default=(np.inf, -1))
            if distance < limit:
                number = (condition.name, distance, limit, "m", TAIL_WIND_REACH.mark)
                yield _blown_forward(source, inlets[nearest], number)


def _blown_forward(source: Opening, inlet: Opening, number) -> Spoiler:
    far = f"{_length(number[1])} away: by the place alone, the air there is not computed."
    if source.use == "exhaust":
        text = f"Wind from behind blows gas from {source.name} here, {far}"
        return Spoiler(inlet.name, "exhaust air", *number, text, "look", source.name)
    text = f"Wind from behind blows its warm air towards {inlet.name}, {far}"
    return Spoiler(source.name, "hot air back in", *number, text, "look", inlet.name)


def _near_exhausts(places, openings) -> Iterator[Spoiler]:
    """Places close to an exhaust."""
    limit = EXHAUST_DISTANCE
    for place in places.values():
        for pipe in openings:
            if pipe.use != "exhaust":
                continue
            distance = outline_distance(place, pipe)
            if distance < limit.value:
                far = f"It is {_length(distance)} from {pipe.name}"
                text = (
                    f"{far if distance > 0.0 else f'It holds or overlaps {pipe.name}'}: skin, "
                    f"ducts and hoses within {_length(limit.low)} to {_length(limit.high)} of hot "
                    "pipes want a shield."
                )
                yield Spoiler(
                    *(place.name, "exhaust near", None, distance, limit.value, "m", limit.mark),
                    *(text, "look", pipe.name),
                )


# glass and rain


def _near_glass(places, surface: SurfaceMesh) -> Iterator[Spoiler]:
    """Exits nearer to glass than the older rule asked fire-resistant skin for."""
    limit = GLASS_DISTANCE.value
    for index, region in enumerate(surface.region_names):
        panels = np.flatnonzero(surface.region_index == index)
        if not _is_glass(region) or len(panels) == 0:
            continue
        for place in places.values():
            distance = panel_distance(place, surface, panels) if place.lets_air_out else np.inf
            if distance < limit:
                text = (
                    f"{region.capitalize()} begins {_length(distance)} from it in a straight "
                    "line. Flame and smoke from the bay come out here; the older US light-aircraft "
                    f"rule asked for skin that resists fire for 24 in ({_length(limit)}) behind "
                    "an opening of the cowl (quoted from memory), and acrylic does not."
                )
                yield Spoiler(
                    *(place.name, "glass near", None, distance, limit, "m", GLASS_DISTANCE.mark),
                    *(text, "look", region),
                )


def _is_glass(region: str) -> bool:
    words = region.lower()
    return words.startswith(GLASS_WORDS) and not any(word in words for word in NO_GLASS_WORDS)


def _rained_on(places, surface: SurfaceMesh, attitude: float) -> Iterator[Spoiler]:
    """Places that lie open to the sky on the parked aeroplane."""
    pitch = np.radians(attitude)
    upward = np.array([-np.sin(pitch), 0.0, np.cos(pitch)])
    for place in places.values():
        area = open_to_sky(place, surface, upward)
        if area <= RAIN_AREA.value:
            continue
        nose = f" with the nose {abs(attitude):.3g}° {'up' if attitude > 0 else 'down'}"
        text = f"Seen from above, {1e4 * area:.0f} cm² of it lie open when parked"
        text += f"{nose if attitude else ''}: "
        if place.kind == "louvre":
            text += "blades shed much of the rain, a cover sheds it all; plan a drain."
        else:
            text += "rain falls in; plan a cover and a drain, and look at what lies below it."
        yield Spoiler(
            *(place.name, "rain", None, area, RAIN_AREA.value, "m2", RAIN_AREA.mark, text, "look")
        )


def open_to_sky(opening: Opening, surface: SurfaceMesh, upward) -> float:
    """Area of an opening that is seen from above.

    Parameters
    ----------
    opening : Opening laid onto the surface
    surface : SurfaceMesh
    upward : (3,) float, unit, away from the ground

    Returns
    -------
    float, m2: its skin projected onto the horizontal, where it looks upward and no other skin of
        the body lies over it
    """
    facing = np.maximum(surface.normals[opening.sample_panels] @ upward, 0.0)
    area = opening.area * float(opening.sample_weights @ facing)
    if area <= RAIN_AREA.value:
        return area
    points = opening.sample_points
    height = float(np.linalg.norm(np.ptp(surface.bounds, axis=0)))
    beside = surface.centroids - opening.centre
    beside = np.linalg.norm(beside - np.outer(beside @ upward, upward), axis=1)
    size = np.linalg.norm(surface.corners - surface.centroids[:, None], axis=2).max(axis=1)
    radius = np.linalg.norm(points - opening.centre, axis=1).max()
    column = np.flatnonzero(beside <= radius + size)
    _, above = SkinFinder(surface).hits(points + height * upward, -upward, column)
    covered = (above - points) @ upward > VISIBLE
    return opening.area * float(opening.sample_weights @ (facing * ~covered))


# pressure


def _reversed(ranking: OpeningRanking, pairs, flow: SurfaceFlow) -> Iterator[Spoiler]:
    """Exits that may blow inward."""
    for pair in pairs:
        inlet = ranking.inlet(pair).name
        for c in np.flatnonzero(flow.moving):
            chance = float(ranking.reversal[c, pair])
            surely = chance > SURELY_REVERSED.value
            limit = SURELY_REVERSED if surely else MAY_REVERSE
            if np.isnan(chance) or chance <= limit.value:
                continue
            text = (
                f"With {inlet} as inlet, air comes in here and leaves there with a probability of "
                f"{_percent(chance)}: {ranking.available[c, pair]:.0f} ± "
                f"{ranking.deviation[c, pair]:.0f} Pa are available."
            )
            yield Spoiler(
                *(ranking.exit(pair).name, "reversed flow", flow.conditions[c].name, chance),
                *(limit.value, "", limit.mark, text, "spoils" if surely else "look", inlet),
            )


def _over_the_patch(places, ranking: OpeningRanking, pairs, flow) -> Iterator[Spoiler]:
    """Exits that breathe, and places where the pressure changes steeply."""
    group = list(places.values())
    if not group:
        return
    operator, _ = sample_operator(flow.surface, group)
    gauge, total, _ = interpolated_air(flow, operator)
    ends = np.cumsum([len(o.sample_weights) for o in group])[:-1]
    gauges, totals = np.split(gauge, ends, axis=1), np.split(total, ends, axis=1)
    samples = dict(zip(places, zip(gauges, totals, strict=True), strict=True))
    for pair in pairs:
        yield from _breathing(ranking, pair, samples[ranking.exit(pair).name][0], flow)
    for name, opening in places.items():
        yield from _steep(opening, *samples[name], ranking, flow)


def _breathing(ranking: OpeningRanking, pair: int, gauge, flow: SurfaceFlow) -> Iterator[Spoiler]:
    """Conditions in which the pressure over an exit differs as much as it has to drive air.

    The greatest less the least over the sample points is held against the available pressure of
    the pair, which stands across inlet, core and exit together: what the network leaves of it
    across the vent is not known here, and always less. Where the available pressure is smaller
    than its own deviation, not even its sign is known: that is told as reversed flow.
    """
    outlet, inlet = ranking.exit(pair), ranking.inlet(pair).name
    spread = np.ptp(gauge, axis=1)
    above_mean = gauge.max(axis=1) - gauge @ outlet.sample_weights
    known = np.abs(ranking.available[:, pair]) > ranking.deviation[:, pair]
    for c in np.flatnonzero(flow.moving & flow.predicted & known):
        available = abs(float(ranking.available[c, pair]))
        full = bool(spread[c] > BREATHES.value * available)
        limit = BREATHES if full else UNEVEN
        if spread[c] <= limit.value * available:
            continue
        text = (
            f"The pressure under it differs by {spread[c]:.0f} Pa from place to place; "
            f"{available:.0f} Pa drive the air through {inlet}, the core and this exit together. "
            + _needed_share(above_mean[c] / available)
        )
        yield Spoiler(
            *(outlet.name, "breathing", flow.conditions[c].name, float(spread[c])),
            *(limit.value * available, "Pa", limit.mark, text),
            *("spoils" if full and flow.conditions[c].decides else "look", inlet),
        )


def _needed_share(share: float) -> str:
    """What part of the available pressure an opening needs to blow over its whole area."""
    breathes = "it draws in at one end while it blows at the other."
    if share >= 1.0:
        return f"Whatever the core, {breathes}"
    return f"Unless at least {_percent(share)} of that stand across this opening alone, {breathes}"


def _steep(opening: Opening, gauge, total, ranking: OpeningRanking, flow) -> Iterator[Spoiler]:
    """Places where an error of the cut changes available/needed in a deciding condition."""
    for takes_in in (True, False):
        if not (opening.takes_air_in if takes_in else opening.lets_air_out):
            continue
        pressure = _inlet_samples(opening, gauge, total, ranking) if takes_in else -gauge
        if pressure is None:
            continue
        gain = _gradient(opening, pressure)
        for c in np.flatnonzero(flow.moving & flow.predicted & ranking.decides):
            change = SHIFT.value * float(np.linalg.norm(gain[c])) / ranking.needed[c]
            if not change > STEEP_RATIO.value:
                continue
            text = (
                f"Moving it {_length(SHIFT.value)} {_direction(-gain[c])} takes {change:.2f} off "
                "available/needed, the other way adds as much: mark and cut it exactly."
            )
            yield Spoiler(
                *(opening.name, "steep", flow.conditions[c].name, change, STEEP_RATIO.value),
                *("", STEEP_RATIO.mark, text, "look"),
            )


def _inlet_samples(opening: Opening, gauge, total, ranking: OpeningRanking) -> np.ndarray | None:
    """(n_conditions, n_samples) Pa behind an inlet, sample by sample; None where it is not ranked.

    The recovery fraction follows from the pressures of the ranking.
    """
    group = ranking.inlets
    names = [o.name for o in group.openings]
    if opening.name not in names:
        return None
    k = names.index(opening.name)
    patch, head = group.patch_pressure[:, k], group.total_pressure[:, k]
    gained, whole = group.inlet_pressure[:, k] - patch, head - patch
    eta = np.divide(gained, whole, out=np.zeros_like(whole), where=np.abs(whole) > 1e-9)
    return gauge + eta[:, None] * (total - gauge)


def _gradient(opening: Opening, pressure) -> np.ndarray:
    """(n_conditions, 3) Pa/m along the skin: of a plane fitted through the samples."""
    offset = opening.sample_points - opening.centre
    flat = np.stack([offset @ opening.along, offset @ opening.across], axis=1)
    terms = np.column_stack([np.ones(len(flat)), flat])
    root = np.sqrt(opening.sample_weights)[:, None]
    slopes = np.linalg.lstsq(root * terms, root * pressure.T, rcond=None)[0][1:]
    return slopes.T @ np.array([opening.along, opening.across])


# distances and words


def outline_distance(first: Opening, second: Opening) -> float:
    """m, straight, between the outlines of two openings; 0 where one lies in the other."""
    if _holds(first, second.outline) or _holds(second, first.outline):
        return 0.0
    return min(_to_outline(first.outline, second), _to_outline(second.outline, first))


def _to_outline(points, opening: Opening) -> float:
    """m, least distance of points (n, 3) to the segments of an outline."""
    start = opening.outline
    step = np.roll(start, -1, axis=0) - start
    offset = points[:, None] - start
    share = (offset * step).sum(axis=2) / np.maximum((step**2).sum(axis=1), 1e-300)
    gap = offset - np.clip(share, 0.0, 1.0)[:, :, None] * step
    return float(np.linalg.norm(gap, axis=2).min())


def _holds(opening: Opening, points) -> bool:
    """Whether one of the points (n, 3) lies in the opening."""
    offset = points - opening.centre
    u = 2.0 * (offset @ opening.along) / opening.length
    v = 2.0 * (offset @ opening.across) / opening.width
    near = np.abs(offset @ opening.normal) < 0.5 * max(opening.length, opening.width)
    inside = np.hypot(u, v) < 1.0 if opening.shape == "oval" else np.maximum(abs(u), abs(v)) < 1.0
    return bool((inside & near).any())


def panel_distance(opening: Opening, surface: SurfaceMesh, panels, nearest: int = 12) -> float:
    """m, straight, from the outline of an opening to panels of the skin.

    Parameters
    ----------
    opening : Opening
    surface : SurfaceMesh
    panels : (n,) int, at least one
    nearest : so many panels, by their middles, are looked at from every point of the outline
    """
    from trimesh.triangles import closest_point

    count = min(nearest, len(panels))
    _, found = cKDTree(surface.centroids[panels]).query(opening.outline, k=count)
    chosen = np.asarray(panels)[np.reshape(found, (len(opening.outline), count))]
    points = np.repeat(opening.outline, count, axis=0)
    feet = closest_point(surface.corners[chosen.ravel()], points)
    by_panels = float(np.linalg.norm(feet - points, axis=1).min())
    corners = surface.corners[np.unique(chosen)].reshape(-1, 3)
    return min(by_panels, _to_outline(corners, opening))


def _direction(way) -> str:
    """The nearest main direction in words."""
    axis = int(np.argmax(np.abs(way)))
    words = (("forward", "aft"), ("to the left", "to the right"), ("down", "up"))
    return words[axis][int(way[axis] > 0.0)]


def _length(value: float) -> str:
    return f"{1e3 * value:.0f} mm" if value < 0.9995 else f"{value:.2f} m"


def _percent(share: float) -> str:
    if 0.0 < share < 0.005:
        return "less than 1 %"
    return f"{100 * share:.0f} %"
