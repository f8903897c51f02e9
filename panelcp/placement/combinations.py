"""Inlets and exits that share one bay: which of them, how large, and which way the air goes.

A steady model of one bay: inlets, a plenum ahead of the core, the core, the bay behind it, exits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from panelcp.display import (
    MOST_ROWS,
    Column,
    Judged,
    banded,
    block,
    counted,
    more,
    number,
    percent,
    ratio_word,
    table,
    words,
)
from panelcp.errors import PlacementError
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.bands import PressureSamples, standard_draws, two_sided
from panelcp.placement.bay import (
    BayAir,
    BayFlows,
    exit_strength,
    inlet_strength,
    solve_bay,
    solve_core,
)
from panelcp.placement.candidates import NoCutZone
from panelcp.placement.combination_places import (
    MOST_CANDIDATES,
    combination_places,
    place_rules,
)
from panelcp.placement.combination_search import EXITS, INLETS, Found, OpeningSets, find_sets
from panelcp.placement.ranking import OpeningRanking
from panelcp.placement.requirement import EXPONENT, NeededPressure
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import KINDS, Opening

INLET_LOSS = UncertainValue(
    0.2, 0.1, 0.4, "memory", "entry and diffuser off their design flow, of the entry's q"
)
_SHARP = (
    "sharp-edged opening, 0.6 in still air, 0.2 to 0.4 where the air outside is as fast as the jet"
)
_LOUVRE = "pressed louvre: 0.6 on its open area, of which its outline has 25 to 65 %"
DISCHARGE = {
    **dict.fromkeys(KINDS, UncertainValue(0.45, 0.30, 0.62, "memory", _SHARP)),
    "flush hole": UncertainValue(0.40, 0.25, 0.60, "memory", _SHARP),
    "louvre": UncertainValue(0.25, 0.15, 0.40, "memory", _LOUVRE),
    "flapped exit": UncertainValue(0.62, 0.50, 0.80, "memory", "sharp-edged to well rounded"),
}
"""Discharge coefficient of an exit by kind, on its outline's area, whichever way the air goes."""

LEAST_DISTANCE = 0.025
"""m; openings nearer to each other are not combined (from memory: skin that must be left)."""

MOST_FACTORS = 9
MOST_EXACT = 200_000
"""More combinations than these are searched, not all looked at; these take about a second."""

KEPT = 20
"""Combinations that are looked at in all worlds."""

AIR_FLOW, CORE, CORE_EXPONENT, LOSS, COEFFICIENT = (
    "needed air flow",
    "core pressure drop",
    "exponent of the core",
    "inlet loss",
    "discharge coefficient",
)
"""Kinds of draws that the bay adds to those of the pressures."""


@dataclass(frozen=True)
class CombinationSettings:
    """What the bay needs and what may be combined.

    Attributes
    ----------
    air_flow : kg/s with band, needed at full power in the reference air
    need : NeededPressure, pressure drop of the core at the value of that flow, and how the flow
        scales to other conditions
    most_inlets, most_exits : of a combination, 1 or 2 and 1 to 3
    area_factors : of the area of exits that are tried; 1 stands for the opening's own
    most_exit_area : m2 of all exits of a combination together, None for no bound
    candidates : how many of the best places for each use enter; None: CANDIDATES, but none besides
        those named
    names : of openings that enter in any case
    least_distance : m, openings nearer to each other are not combined
    inlet_loss : loss coefficient of every inlet, on the q of its entry
    discharge : discharge coefficients by name or kind of the opening, where not those of DISCHARGE

    Raises
    ------
    PlacementError : numbers out of range, names that stand twice
    """

    air_flow: UncertainValue
    need: NeededPressure
    most_inlets: int = INLETS
    most_exits: int = EXITS
    area_factors: tuple[float, ...] = (0.7, 1.0, 1.4)
    most_exit_area: float | None = None
    candidates: int | None = None
    names: tuple[str, ...] = ()
    least_distance: float = LEAST_DISTANCE
    inlet_loss: UncertainValue = INLET_LOSS
    discharge: Mapping[str, UncertainValue] = field(default_factory=dict)

    def __post_init__(self):
        object.__setattr__(self, "area_factors", tuple(sorted(set(self.area_factors))))
        object.__setattr__(self, "names", tuple(self.names))
        for value, least, most, what in (
            (self.most_inlets, 1, INLETS, "inlets"),
            (self.most_exits, 1, EXITS, "exits"),
            (self.candidates, 1, MOST_CANDIDATES, "candidates"),
        ):
            if value is not None and not least <= value <= most:
                raise PlacementError(f"{what} is {value}; expected {least} to {most}")
        if not 1 <= len(self.area_factors) <= MOST_FACTORS or not min(self.area_factors) > 0.0:
            raise PlacementError(
                f"area_factors has {len(self.area_factors)} numbers; expected 1 to {MOST_FACTORS}, "
                "all above 0"
            )
        for value, what in (
            (self.air_flow, "air_flow"),
            (self.need.reference, "core_pressure"),
            (self.inlet_loss, "inlet_loss"),
            *((value, f"discharge of {name}") for name, value in self.discharge.items()),
        ):
            if not (value.low if value.has_band else value.value) > 0.0:
                raise PlacementError(f"{what} must be above 0, with its whole band")
        twice = sorted({name for name in self.names if self.names.count(name) > 1})
        if twice:
            raise PlacementError(f"names has {', '.join(map(repr, twice))} more than once")

    def discharge_of(self, opening: Opening) -> tuple[str, UncertainValue]:
        """What the coefficient of an exit goes by, its name or its kind, and the coefficient."""
        if opening.name in self.discharge:
            return f"opening {opening.name}", self.discharge[opening.name]
        return f"kind {opening.kind}", self.discharge.get(opening.kind, DISCHARGE[opening.kind])

    def resistance(self, density, drop=None, exponent=EXPONENT.value) -> np.ndarray:
        """Factor R of the core's law, pressure drop = R flow^exponent (Pa, m3/s).

        Parameters
        ----------
        density : kg/m3 of the air; arrays that fit each other are allowed
        drop : Pa at the stated flow in the reference air; that of `need` when not given
        exponent : of the flow

        Notes
        -----
        Density times pressure drop is a function of the mass flow: dp = dp_ref (m / m_ref)^n
        rho_ref / rho.
        """
        drop = self.need.reference.value if drop is None else drop
        thin = self.need.reference_air.density / density
        return drop * thin * (density / self.air_flow.value) ** exponent

    def needed_at(self, condition: FlightCondition) -> tuple[float, float]:
        """Needed flow, m3/s, and pressure drop of the core at it, Pa; nan without power."""
        drop = self.need.at(condition)
        if drop is None:
            return np.nan, np.nan
        resistance = self.resistance(condition.air.density)
        return float((drop.value / resistance) ** (1.0 / EXPONENT.value)), drop.value

    def marks(self, exits: Sequence[Opening]) -> list[tuple[str, UncertainValue]]:
        """Place and number of everything uncertain that the bay adds."""
        rows = [
            ("combinations: needed air flow at full power", self.air_flow),
            ("combinations: pressure drop of the core at that flow", self.need.reference),
            ("combinations: exponent of flow in the core pressure drop", EXPONENT),
            ("combinations: loss coefficient of an inlet", self.inlet_loss),
        ]
        found = dict(self.discharge_of(opening) for opening in exits)
        rows += [(f"combinations: discharge, {what}", value) for what, value in found.items()]
        return rows


@dataclass(frozen=True, eq=False)
class Combinations:
    """Combinations of inlets and exits that share one bay, best first.

    Attributes
    ----------
    settings : CombinationSettings
    inlets, exits : the openings that entered
    twins : (n_exits,) int, exit that is the mirror image of another one, -1 for none
    sets : OpeningSets of the combinations, numbers into `inlets`, `exits` and the area factors
    exit_area : (n,) float, m2, of all exits together
    flows : BayFlows in the conditions as given
    needed_flow, needed_core : (n_conditions,) float, m3/s and Pa; nan where power is not given
    moving, predicted, decides : (n_conditions,) bool
    ratio : (n_conditions, n) float, flow over needed flow
    least_ratio, mean_ratio : (n,) float, over the deciding conditions; the order goes by them
    limiting : (n,) int, the deciding condition of the least ratio
    possible, looked_at : how many combinations there are and how many were looked at
    exact : whether all of them were looked at
    deviation : (n,) float, of the least ratio; nan without samples, as are all the following
    ratio_deviation : (n_conditions, n) float
    difference_deviation : (n,) float, of the least ratio of the first less that of each
    sufficiency : (n,) float, probability that the needed air flows in all deciding conditions
    chance_best : (n,) float, probability of the greatest least ratio of all these
    inlet_reversal, exit_reversal : (n_conditions, n, 2 or 3) float, probability that air flows the
        wrong way; nan too where nothing moves or it is not predicted
    """

    settings: CombinationSettings
    inlets: tuple[Opening, ...]
    exits: tuple[Opening, ...]
    twins: np.ndarray
    sets: OpeningSets
    exit_area: np.ndarray
    flows: BayFlows
    needed_flow: np.ndarray
    needed_core: np.ndarray
    moving: np.ndarray
    predicted: np.ndarray
    decides: np.ndarray
    ratio: np.ndarray
    least_ratio: np.ndarray
    mean_ratio: np.ndarray
    limiting: np.ndarray
    possible: int
    looked_at: int
    exact: bool
    deviation: np.ndarray
    ratio_deviation: np.ndarray
    difference_deviation: np.ndarray
    sufficiency: np.ndarray
    chance_best: np.ndarray
    inlet_reversal: np.ndarray
    exit_reversal: np.ndarray

    def __post_init__(self):
        names = ("exit_area", "needed_flow", "needed_core", "ratio", "least_ratio", "mean_ratio")
        names += ("deviation", "ratio_deviation", "difference_deviation", "sufficiency")
        for name in (*names, "chance_best", "inlet_reversal", "exit_reversal"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        for name in ("moving", "predicted", "decides"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), bool))
        for name in ("twins", "limiting"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))

    def __len__(self):
        return len(self.sets)

    def __repr__(self):
        return (
            f"Combinations({len(self)} best of {self.possible}, "
            f"{counted(len(self.inlets), 'inlet')} and {counted(len(self.exits), 'exit')}, "
            f"{counted(len(self.decides), 'condition')})"
        )

    def _repr_html_(self) -> str:
        columns = [Column("No."), *words("Least flow / needed"), Column("Enough, probability")]
        columns += [Column("Best of these"), *words("Inlets", "Exits"), Column("Decided by no.")]
        columns += [Column("Flow there", "m³/s"), Column("Needed", "m³/s"), Column("Exits", "cm²")]
        how = "all were looked at" if self.exact else f"a search looked at {self.looked_at}"
        note = (
            f"{counted(self.possible, 'combination')}, {how}. × is a factor on the exit's area. "
            "Conditions are numbered as they were given."
        )
        shown = range(min(len(self), MOST_ROWS))
        if self.preferred not in shown:
            shown = [*shown[:-1], self.preferred]
        note = " ".join(part for part in (note, more(len(self))) if part)
        caption = "Inlets and exits on one bay, best first"
        return block(table(caption, columns, [self._row(k) for k in shown], note))

    def _row(self, k: int) -> list[str | Judged]:
        """Cells of a combination."""
        c, ratio, deviation = int(self.limiting[k]), self.least_ratio[k], self.deviation[k]
        preferred = ", preferred" if k == self.preferred else ""
        exits = [
            opening.name + ("" if factor == 1.0 else f" ×{factor:g}")
            for opening, factor in self.exits_of(k)
        ]
        return [
            f"{k + 1}{preferred}",
            Judged(banded(ratio, deviation, 2), ratio_word(ratio, np.nan_to_num(deviation))),
            *(percent(self.sufficiency[k]), percent(self.chance_best[k])),
            ", ".join(opening.name for opening in self.inlets_of(k)),
            *(", ".join(exits), str(c + 1), number(self.flows.core[k, c], 3)),
            *(number(self.needed_flow[c], 3), number(1e4 * self.exit_area[k])),
        ]

    @property
    def core_ratio(self) -> np.ndarray:
        """(n_conditions, n) float: pressure drop of the core over that at the needed flow."""
        drop = (self.flows.plenum - self.flows.bay).T
        return np.divide(
            drop,
            self.needed_core[:, None],
            out=np.full(drop.shape, np.nan),
            where=self.needed_core[:, None] > 0.0,
        )

    def inlets_of(self, number: int) -> list[Opening]:
        """Inlets of a combination."""
        return [self.inlets[k] for k in self.sets.inlets[number] if k >= 0]

    def exits_of(self, number: int) -> list[tuple[Opening, float]]:
        """Exits of a combination, each with its area factor."""
        pairs = zip(self.sets.exits[number], self.sets.factors[number], strict=True)
        factors = self.settings.area_factors
        return [(self.exits[k], factors[f]) for k, f in pairs if k >= 0]

    def tied(self) -> np.ndarray:
        """(n,) bool: whose least ratio is that of the first within the paired deviation."""
        return (self.least_ratio[0] - self.least_ratio) <= np.nan_to_num(self.difference_deviation)

    @property
    def preferred(self) -> int:
        """Of those equal to the first: fewest openings, then the least area of exits."""
        openings = self.sets.sizes.sum(axis=1)
        order = np.lexsort((np.arange(len(self)), self.exit_area.round(9), openings))
        tied = self.tied()
        return int(next(number for number in order if tied[number]))

    def reversals(self, number: int) -> list[tuple[str, int, float, float]]:
        """Openings that may take air the wrong way in moving conditions that are predicted.

        Returns
        -------
        list of (name of the opening, number of the condition, m3/s the right way, probability);
        those that do so in the conditions as given, or in some world
        """
        names = [*self.inlets_of(number), *(opening for opening, _ in self.exits_of(number))]
        n_inlets, found = len(self.inlets_of(number)), []
        for k, opening in enumerate(names):
            flows, chances = (
                (self.flows.inlets[number, :, k], self.inlet_reversal[:, number, k])
                if k < n_inlets
                else (
                    self.flows.exits[number, :, k - n_inlets],
                    self.exit_reversal[:, number, k - n_inlets],
                )
            )
            for c in np.flatnonzero(self.moving & self.predicted):
                if flows[c] < 0.0 or chances[c] > 0.0:
                    found.append((opening.name, int(c), float(flows[c]), float(chances[c])))
        return found


def combine(
    ranking: OpeningRanking,
    samples: PressureSamples | None,
    conditions: Sequence[FlightCondition],
    settings: CombinationSettings,
    moving: Sequence[bool] | None = None,
    predicted: Sequence[bool] | None = None,
    zones: Sequence[NoCutZone] = (),
) -> Combinations:
    """Find the best combinations of inlets and exits on one bay, and how well they are known.

    Parameters
    ----------
    ranking : OpeningRanking, its inlets and exits with their pressures in the conditions
    samples : PressureSamples of the ranking's inlets and after them its exits, or None
    conditions : of the ranking
    settings : CombinationSettings
    moving, predicted : (n_conditions,) bool, of the flow; all when not given
    zones : no-cut zones, which an exit must not reach at the area that is tried

    Returns
    -------
    Combinations

    Raises
    ------
    PlacementError : unknown names, named openings too near to each other, no combination left, a
        deciding condition whose needed flow is not known
    """
    inlets, exits = combination_places(ranking, settings)
    rules = place_rules(inlets, exits, settings, zones)
    columns = _columns(ranking, inlets, exits, samples)
    density = np.array([condition.air.density for condition in conditions])
    bay, decides = _Bay(inlets, exits, settings, density), ranking.decides
    air = bay.as_given(
        ranking.inlets.inlet_pressure[:, columns[0]],
        ranking.exits.patch_pressure[:, columns[1] - len(ranking.inlets.openings)],
    )
    needed, drop = np.array([settings.needed_at(condition) for condition in conditions]).T
    weights = _weights(conditions, decides, needed)
    found = _found(rules, settings, air[decides], needed[decides], weights)
    sets = found.sets[_kept(found)]
    flows = solve_bay(sets, settings.area_factors, air)
    ratio = _over(flows.core.T, needed[:, None])
    deciding = ratio[decides]
    every = np.ones(len(conditions), dtype=bool)
    moving, predicted = (every if p is None else np.asarray(p) for p in (moving, predicted))
    return Combinations(
        settings=settings,
        inlets=tuple(inlets),
        exits=tuple(exits),
        twins=rules.twins,
        sets=sets,
        exit_area=rules.exit_area(sets),
        flows=flows,
        needed_flow=needed,
        needed_core=drop,
        moving=moving,
        predicted=predicted,
        decides=decides,
        ratio=ratio,
        least_ratio=deciding.min(axis=0),
        mean_ratio=weights @ deciding,
        limiting=np.flatnonzero(decides)[deciding.argmin(axis=0)],
        possible=found.possible,
        looked_at=len(found.sets),
        exact=found.exact,
        **_bands(samples, columns, bay, needed, sets, decides, moving & predicted),
    )


def _over(flow, needed) -> np.ndarray:
    """Flow over needed flow; nan where nothing is needed."""
    shape = np.broadcast_shapes(np.shape(flow), np.shape(needed))
    return np.divide(flow, needed, out=np.full(shape, np.nan), where=np.asarray(needed) > 0.0)


def _weights(conditions, decides, needed) -> np.ndarray:
    """(n_deciding,) weights of the deciding conditions, of sum 1."""
    lacking = [
        c.name for c, d, q in zip(conditions, decides, needed, strict=True) if d and not q > 0
    ]
    if lacking:
        raise PlacementError(
            f"combinations: no power above 0 in the deciding condition(s) {', '.join(lacking)}, "
            "from which the needed air flow follows: give power there, or decides = false"
        )
    weights = np.array([c.weight for c, d in zip(conditions, decides, strict=True) if d])
    return weights / weights.sum()


def _found(rules, settings, air: BayAir, needed, weights) -> Found:
    """Combinations by the least and the mean of flow over needed flow."""

    def score(sets: OpeningSets):
        ratio = solve_core(sets, settings.area_factors, air)[2] / needed
        return ratio.min(axis=1, initial=np.inf), ratio @ weights

    found = find_sets(rules, score, MOST_EXACT)
    if len(found.sets) == 0:
        bound = settings.most_exit_area
        area = f", or every exit is larger than {1e4 * bound:.0f} cm2" if bound else ""
        raise PlacementError(
            f"combinations: none of {len(rules.inlets_apart)} inlets goes with one of "
            f"{len(rules.exits_apart)} exits: they overlap or lie nearer than "
            f"{1e3 * settings.least_distance:.0f} mm{area}. Move or shrink openings"
        )
    return found


def _kept(found: Found) -> np.ndarray:
    """Numbers of those to look at closely, best first.

    The best of every count of openings and greatest area factor, so that fewer and smaller ones
    are among them; the rest are the best of different openings.
    """
    order, sets = found.order, found.sets
    largest = sets.factors.max(axis=1)[order]
    count = sets.sizes.sum(axis=1)[order]
    _, first = np.unique(count * (MOST_FACTORS + 1) + largest, return_index=True)
    kept = set(np.sort(first)[: KEPT * 3 // 5].tolist())
    opened = np.concatenate([sets.inlets, sets.exits], axis=1)[order]
    _, first = np.unique(opened, axis=0, return_index=True)
    for place in np.sort(first):
        if len(kept) >= KEPT:
            break
        kept.add(int(place))
    return order[sorted(kept)]


def _columns(ranking, inlets, exits, samples) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of the inlets and exits among all of the ranking, exits behind the inlets."""
    names = [o.name for part in (ranking.inlets, ranking.exits) for o in part.openings]
    if samples is not None and names != [opening.name for opening in samples.openings]:
        raise PlacementError(
            f"combinations: the samples are of {len(samples.openings)} other openings than the "
            f"{len(names)} of the ranking; sample its inlets and after them its exits"
        )
    n_inlets = len(ranking.inlets.openings)
    first = [names.index(opening.name) for opening in inlets]
    second = [n_inlets + names[n_inlets:].index(opening.name) for opening in exits]
    return np.array(first, dtype=np.int64), np.array(second, dtype=np.int64)


# --- pressures and losses ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Bay:
    """Openings that entered, the settings, and the density in every condition, kg/m3."""

    inlets: list[Opening]
    exits: list[Opening]
    settings: CombinationSettings
    density: np.ndarray

    @property
    def areas(self) -> list[np.ndarray]:
        """m2 of the inlets, and of the exits."""
        return [np.array([o.area for o in group]) for group in (self.inlets, self.exits)]

    def as_given(self, behind, outside) -> BayAir:
        """BayAir of the conditions as given, from (n_conditions, n_inlets or n_exits) Pa."""
        loss, density = self.settings.inlet_loss.value, self.density[:, None]
        discharge = [self.settings.discharge_of(opening)[1].value for opening in self.exits]
        inlet_areas, exit_areas = self.areas
        return BayAir(
            behind=behind,
            into=inlet_strength(inlet_areas, loss, density),
            outside=outside,
            out_of=exit_strength(exit_areas, discharge, density),
            resistance=self.settings.resistance(self.density),
            exponent=np.full(len(self.density), EXPONENT.value),
        )

    def in_worlds(self, c: int, behind, outside, worlds: _Worlds) -> BayAir:
        """BayAir of one condition in all worlds, from (n_worlds, n_inlets or n_exits) Pa."""
        inlet_areas, exit_areas = self.areas
        return BayAir(
            behind=behind,
            into=inlet_strength(inlet_areas, worlds.loss[:, None], self.density[c]),
            outside=outside,
            out_of=exit_strength(exit_areas, worlds.discharge, self.density[c]),
            resistance=self.settings.resistance(self.density[c], worlds.drop, worlds.exponent),
            exponent=worlds.exponent,
        )


def _drawn(value: UncertainValue, kind: str, what: str, count: int) -> np.ndarray:
    """(count,) draws of a number above zero: those of its logarithm, by the band to both sides."""
    if not value.has_band:
        return np.full(count, value.value)
    low, high = np.log([value.value / value.low, value.high / value.value])
    return value.value * np.exp(two_sided(standard_draws(kind, what, count), low, high))


@dataclass(frozen=True, eq=False)
class _Worlds:
    """The bay's numbers in every world, (n_worlds,) each; of discharge (n_worlds, n_exits)."""

    flow_share: np.ndarray
    drop: np.ndarray
    exponent: np.ndarray
    loss: np.ndarray
    discharge: np.ndarray


def _worlds(settings: CombinationSettings, exits, count: int) -> _Worlds:
    """Draws of the needed flow (parts of its value), the core, and the losses of openings."""
    whats = [settings.discharge_of(opening) for opening in exits]
    by_what = {what: _drawn(value, COEFFICIENT, what, count) for what, value in whats}
    exponent = _drawn(EXPONENT, CORE_EXPONENT, "all", count)
    return _Worlds(
        flow_share=_drawn(settings.air_flow, AIR_FLOW, "all", count) / settings.air_flow.value,
        drop=_drawn(settings.need.reference, CORE, "all", count),
        exponent=np.clip(exponent, EXPONENT.low, EXPONENT.high),
        loss=_drawn(settings.inlet_loss, LOSS, "all", count),
        discharge=np.stack([by_what[what] for what, _ in whats], axis=1),
    )


def _bands(samples, columns, bay: _Bay, needed, sets: OpeningSets, decides, known) -> dict:
    """Deviations and probabilities of combinations from all worlds.

    Parameters
    ----------
    samples : PressureSamples, or None: all is nan then
    columns : numbers of the bay's inlets, and of its exits, in the samples
    bay : _Bay
    needed : (n_conditions,) m3/s
    sets : OpeningSets
    decides, known : (n_conditions,) bool; where not known, no reversal is told
    """
    n_conditions, n = len(decides), len(sets)
    into, out = (np.full((n_conditions, n, width), np.nan) for width in (INLETS, EXITS))
    deviation = np.full((n_conditions, n), np.nan)
    found = {"inlet_reversal": into, "exit_reversal": out, "ratio_deviation": deviation}
    names = ("deviation", "difference_deviation", "sufficiency", "chance_best")
    if samples is None:
        return found | dict.fromkeys(names, np.full(n, np.nan))
    both = np.concatenate(columns)
    changes, worlds = samples.changes(both), _worlds(bay.settings, bay.exits, samples.count)
    least = np.full((n, samples.count), np.inf)
    for c in range(n_conditions):
        patch, behind = samples.pressures(c, both, changes)
        behind, outside = behind[:, : len(columns[0])], patch[:, len(columns[0]) :]
        air = bay.in_worlds(c, behind, outside, worlds)
        plenum, pressure, core = solve_core(sets, bay.settings.area_factors, air)
        ratio = _over(core, needed[c] * worlds.flow_share)
        deviation[c] = ratio.std(axis=1)
        if known[c]:
            into[c] = _backward(sets.inlets, air.behind, plenum, 1.0)
            out[c] = _backward(sets.exits, air.outside, pressure, -1.0)
        if decides[c]:
            np.minimum(least, ratio, out=least)
    best = np.bincount(least.argmax(axis=0), minlength=n) / samples.count
    values = (least.std(axis=1), (least[0] - least).std(axis=1), (least >= 1.0).mean(axis=1), best)
    return found | dict(zip(names, values, strict=True))


def _backward(numbers, outside, inside, sign: float) -> np.ndarray:
    """(n_sets, width) probability that air flows against the sign; inward is positive."""
    share = np.full(numbers.shape, np.nan)
    for row, place in np.argwhere(numbers >= 0):
        difference = sign * (outside[:, numbers[row, place]] - inside[row])
        share[row, place] = np.count_nonzero(difference < 0.0) / len(difference)
    return share
