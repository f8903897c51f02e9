"""Pressures at pairs of inlet and exit over sideslip, angle of attack, power, speed and wind.

Everything is a sum of unit solutions that are there already; nothing is solved anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.optimize import nnls

from panelcp.errors import FlowError, PlacementError
from panelcp.flow.solutions import Part, Solutions
from panelcp.flow.superposition import SurfaceFlow, wetting_share
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.slipstream import Slipstream
from panelcp.onset.surroundings import Onset
from panelcp.placement.bands import (
    EFFICIENCY,
    FIGURE,
    MIXING,
    NOT_PREDICTED,
    RECOVERY,
    WETTING,
    AirDraws,
    PressureSamples,
    sample_operator,
    sampled_streams,
)
from panelcp.placement.pair_bands import QUANTILES
from panelcp.placement.ranking import OpeningPressures, OpeningRanking
from panelcp.placement.requirement import EXPONENT
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening

SIDESLIP, ALPHA, POWER, FACTOR, AIRSPEED, BEARING = (
    "sideslip",
    "angle of attack",
    "power",
    "slipstream factor",
    "airspeed",
    "bearing of the wind",
)
KNOT = 1852.0 / 3600.0
VALUES = {
    SIDESLIP: np.arange(-15.0, 15.1, 2.5),
    ALPHA: np.arange(-6.0, 14.1, 2.0),
    POWER: np.append([0.0, 0.03], np.arange(1, 11) / 10.0),
    FACTOR: np.arange(14) / 10.0,
    AIRSPEED: np.arange(40.0, 130.1, 10.0) * KNOT,
    BEARING: np.arange(-180.0, 180.1, 15.0),
}
"""Usual values: deg, parts of the rated power, parts of the ideal slipstream, m/s."""

USUAL_WIND = 15.0 * KNOT
"""m/s, where the condition on the ground has no wind."""

STEEPEST = 14.0
"""deg; where the wing would need more, the speed is too low for the curve."""

MATCHED = 1e-12
"""Parts; induced velocities that differ less are the same."""


def in_flight(condition: FlightCondition) -> bool:
    """Whether Cp says something: on the ground and at rest it does not."""
    return not condition.on_ground and condition.speed > 0.0


@dataclass(frozen=True, eq=False)
class Sweep:
    """Pressures at pairs of inlet and exit while one number of a condition changes.

    Attributes
    ----------
    quantity : one of VALUES
    base : FlightCondition, what all else stays as
    base_value : of the quantity in `base`; nan where the base is not on the curve
    values : (n,) float, increasing; deg, parts of rated power, m/s (calibrated where the base gives
        that), see VALUES
    conditions : (n,) FlightCondition
    inlets, exits : (n_pairs,) Opening
    exit_pressure, exit_low, exit_high : (n_pairs, n) float, Pa; low and high are 16 and 84 %
    available, low, high : (n_pairs, n) float, Pa
    needed : (n,) float, Pa; nan where nothing is asked for
    predicted : (n,) bool
    unmatched : (n,) float, part of the induced velocity over the disc by which the slipstream that
        was put together differs from the one that momentum theory gives
    """

    quantity: str
    base: FlightCondition
    base_value: float
    values: np.ndarray
    conditions: tuple[FlightCondition, ...]
    inlets: tuple[Opening, ...]
    exits: tuple[Opening, ...]
    exit_pressure: np.ndarray
    exit_low: np.ndarray
    exit_high: np.ndarray
    available: np.ndarray
    low: np.ndarray
    high: np.ndarray
    needed: np.ndarray
    predicted: np.ndarray
    unmatched: np.ndarray

    def __post_init__(self):
        names = ("values", "exit_pressure", "exit_low", "exit_high", "available", "low", "high")
        for name in (*names, "needed", "unmatched"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "predicted", frozen_array(self.predicted, bool))

    @property
    def exit_cp(self) -> np.ndarray:
        """(n_pairs, n) float: exit pressure over the q of each value; nan on the ground."""
        q = [c.dynamic_pressure if in_flight(c) else np.nan for c in self.conditions]
        return self.exit_pressure / np.array(q)


@dataclass(frozen=True, eq=False)
class SweepBase:
    """A condition and some pairs, with what all their sweeps share.

    Attributes
    ----------
    solutions : Solutions
    ranking : OpeningRanking of the same conditions
    number : of the condition
    pairs : (n_pairs,) int, of the ranking
    part : the unit solutions that hold the condition
    places : sample points under the openings
    apart : (n_openings,) float, Pa, what separated air adds to the patch pressures; the openings
        are the inlets of the pairs and then their exits
    """

    solutions: Solutions
    ranking: OpeningRanking
    number: int
    pairs: np.ndarray
    part: Part
    places: _Places
    apart: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "pairs", frozen_array(self.pairs, np.int64))
        object.__setattr__(self, "apart", frozen_array(self.apart))

    @property
    def condition(self) -> FlightCondition:
        """The base."""
        return self.solutions.conditions[self.number]

    @property
    def openings(self) -> list[Opening]:
        """Inlets of the pairs, then their exits."""
        return [
            part(pair) for part in (self.ranking.inlet, self.ranking.exit) for pair in self.pairs
        ]

    @cached_property
    def recovery(self) -> np.ndarray:
        """(n_openings,) float: of the inlets, in the base condition; 0 for the exits."""
        eta = recovery_of(self.ranking.inlets, self.number)[self.ranking.inlet_index[self.pairs]]
        return np.concatenate([eta, np.zeros(len(self.pairs))])

    @cached_property
    def worlds(self) -> _Worlds | None:
        """The worlds of the ranking at the openings; None without samples."""
        return None if self.ranking.bands is None else _worlds(self)

    @property
    def stored(self) -> list[Slipstream | None]:
        """Slipstreams whose fields are among the unit solutions; the base's stands first."""
        own = self.part.numbers.index(self.number)
        return sorted_first(self.part.onset.slipstreams, own)


def sorted_first(items, first: int) -> list:
    """Items with one of them put in front.

    >>> sorted_first("abc", 1)
    ['b', 'a', 'c']
    """
    return [items[first], *items[:first], *items[first + 1 :]]


def recovery_of(inlets: OpeningPressures, c: int) -> np.ndarray:
    """(n,) float: recovery fractions in a condition, from the pressures behind the inlets."""
    gained = inlets.inlet_pressure[c] - inlets.patch_pressure[c]
    lost = inlets.total_pressure[c] - inlets.patch_pressure[c]
    return np.divide(gained, lost, out=np.zeros_like(lost), where=np.abs(lost) > 1e-9)


def sweep_base(
    solutions: Solutions,
    flow: SurfaceFlow,
    ranking: OpeningRanking,
    pairs: Sequence[int] | None = None,
    condition: int | None = None,
) -> SweepBase:
    """Choose the condition and the pairs that are to be swept.

    Parameters
    ----------
    solutions : Solutions
    flow : SurfaceFlow of these, with separated air
    ranking : OpeningRanking of that flow
    pairs : numbers of pairs; the best of each side when not given
    condition : number of the base; the one that limits the best pair when not given

    Returns
    -------
    SweepBase
    """
    if pairs is None:
        pairs = list(ranking.best_of_each_side().values())
    number = int(ranking.limiting[0]) if condition is None else int(condition)
    part = next(part for part in solutions.parts if number in part.numbers)
    pairs = np.asarray(pairs, dtype=np.int64)
    places = _Places(part, [*map(ranking.inlet, pairs), *map(ranking.exit, pairs)])
    change = places.operator @ flow.separation_change[number, places.panels]
    return SweepBase(solutions, ranking, number, pairs, part, places, places.means @ change)


class _Places:
    """Sample points of a few openings, the unit velocities there, the panels they hang on.

    Attributes
    ----------
    panels : (k,) int
    operator : (n_points, k) sparse, from these panels to the points
    means : (n_openings, n_points) sparse
    fields : (n_units, n_points, 3) float, unit velocities
    """

    def __init__(self, part: Part, openings: Sequence[Opening]):
        self.surface, self._whole = part.units.surface, part.units.panels.points
        operator, self.means = sample_operator(self.surface, openings)
        self.panels = np.unique(operator.indices)
        self.operator = operator.tocsc()[:, self.panels].tocsr()
        velocity = part.units.velocity[:, self.panels]
        flat = velocity.transpose(1, 0, 2).reshape(len(self.panels), -1)
        self.fields = (self.operator @ flat).reshape(-1, len(velocity), 3).transpose(1, 0, 2)

    @property
    def points(self) -> np.ndarray:
        """(k, 3) float, m: control points of the panels."""
        return self._whole[self.panels]

    def mean(self, values) -> np.ndarray:
        """(n, n_openings): area means of values (n, n_points)."""
        return (self.means @ values.T).T

    def at_points(self, values) -> np.ndarray:
        """(n, n_points) of panel values (n, k)."""
        return (self.operator @ values.T).T


@dataclass(frozen=True, eq=False)
class _Air:
    """Air at the openings in n onsets, each (n, n_openings) Pa.

    patch, head : pressure and total pressure in the middle between the bounds of the air that wets
    patch_step, head_step : from there to the upper bound
    """

    patch: np.ndarray
    head: np.ndarray
    patch_step: np.ndarray
    head_step: np.ndarray


def _air_at(places: _Places, weights, density, upper, lower, mean_rise) -> _Air:
    """Bernoulli at the sample points, as `superpose` and `opening_pressures` do it.

    Parameters
    ----------
    places : _Places
    weights : (n, n_units) float
    density, mean_rise : (n,) float
    upper, lower : (n, k) float, Pa, bounds of the total pressure at the panels
    """
    velocity = np.einsum("nu,upi->npi", weights, places.fields, optimize=True)
    kinetic = 0.5 * density[:, None] * (velocity**2).sum(axis=2)
    share = places.at_points(wetting_share(upper, lower, mean_rise[:, None]))
    head = places.at_points(upper)
    gauge, step = share * (head - kinetic), 1.0 / share - 1.0
    parts = gauge, share * head, step * gauge, step * share * head
    return _Air(*(places.mean(part) for part in parts))


@dataclass(frozen=True, eq=False)
class _Swept:
    """Values that can be reached, and what the air brings there.

    values : (n,) float
    conditions, slipstreams : (n,)
    circulation : (n,) float, m2/s
    weights : (n, n_units) float, of the unit fields without the streams
    unmatched : (n,) float
    """

    values: np.ndarray
    conditions: list[FlightCondition]
    slipstreams: list[Slipstream | None]
    circulation: np.ndarray
    weights: np.ndarray
    unmatched: np.ndarray

    def onset(self, part: Part) -> Onset:
        """As an onset, for rises of total pressure."""
        around = part.onset
        return Onset(
            conditions=tuple(self.conditions),
            streams=np.array([c.stream for c in self.conditions]),
            slipstreams=tuple(self.slipstreams),
            circulation=self.circulation,
            propeller=around.propeller,
            wing=around.wing,
            ground=around.ground,
        )


def can_sweep(base: SweepBase, quantity: str) -> bool:
    """Whether a quantity means something in the base."""
    condition = base.condition
    if quantity == BEARING:
        return condition.ground_speed is not None and _reference(base) > 0.0
    if quantity in (SIDESLIP, ALPHA):
        return in_flight(condition)
    blown = base.stored[0] is not None and base.stored[0].predicted
    if quantity == FACTOR:
        return blown
    by_power = blown and condition.thrust is None
    if quantity == POWER:
        return by_power and bool(condition.power)
    return in_flight(condition) and (base.stored[0] is None or by_power)


def sweep(base: SweepBase, quantity: str, values=None, wind_speed: float | None = None) -> Sweep:
    """Change one number of the base condition.

    Parameters
    ----------
    base : SweepBase
    quantity : one of VALUES
    values : see `Sweep`; those of VALUES when not given. The base value is added
    wind_speed : m/s, for the bearing of the wind; that of the base, or USUAL_WIND, when not given

    Returns
    -------
    Sweep; values at which the wing would stall or the propeller could not work are left out

    Raises
    ------
    PlacementError : an unknown quantity, or one that means nothing in the base

    Notes
    -----
    Streams, swirl and wing are summed as for any condition. The slipstream of a value is that of
    momentum theory for its power and speed; its total pressure is taken from there, its velocity
    is a sum, with weights not below zero, of the slipstreams that were solved, fitted to the
    induced velocity over the disc. What the fit leaves is `unmatched`. At the base it is exact.
    With a wing, the angle of attack follows the lift when the airspeed changes, by the slope
    2 pi A / (A + 2) of an elliptic wing of aspect ratio A. Boundary layers are not followed anew:
    what separated air adds goes with
    q and mean rise together. The needed pressure goes with power^1.7.
    """
    if quantity not in VALUES:
        raise PlacementError(f"sweep {quantity!r} is not known; choose one of {', '.join(VALUES)}")
    if not can_sweep(base, quantity):
        raise PlacementError(f"{quantity} means nothing in {base.condition.name}")
    if quantity == BEARING:
        base = _windy(base, wind_speed)
    own = _base_value(base, quantity)
    wanted = np.asarray(VALUES[quantity] if values is None else values, dtype=float)
    swept = _swept(base, quantity, _with(wanted, own))
    onset = swept.onset(base.part)
    air = _design_air(base, swept, onset)
    reference = onset.dynamic_pressure + np.maximum(onset.mean_rise, 0.0)
    ratio = reference / _reference(base)
    apart = ratio[:, None] * base.apart
    patch = air.patch[:, 0] + apart
    behind = patch + base.recovery * (air.head[:, 0] - patch)
    n = len(base.pairs)
    quantiles = _bands(base, swept, onset, air, apart, ratio)
    return Sweep(
        *(quantity, base.condition, own, swept.values, tuple(swept.conditions)),
        inlets=tuple(base.openings[:n]),
        exits=tuple(base.openings[n:]),
        exit_pressure=patch[:, n:].T,
        exit_low=quantiles[0],
        exit_high=quantiles[1],
        available=(behind[:, :n] - patch[:, n:]).T,
        low=quantiles[2],
        high=quantiles[3],
        needed=_needed(base, swept.conditions),
        predicted=onset.predicted,
        unmatched=swept.unmatched,
    )


def _with(values, own: float) -> np.ndarray:
    """Values and the base's own, each once."""
    if np.isnan(own) or np.abs(values - own).min(initial=np.inf) == 0.0:
        return np.unique(values)
    return np.unique(np.append(values[np.abs(values - own) > 1e-9], own))


def _windy(base: SweepBase, wind_speed: float | None) -> SweepBase:
    """The base with the wind that is to be turned."""
    condition = base.condition
    wind = condition.wind_speed or USUAL_WIND if wind_speed is None else wind_speed
    if wind == condition.wind_speed:
        return base
    conditions = list(base.solutions.conditions)
    conditions[base.number] = replace(condition, wind_speed=float(wind))
    return replace(base, solutions=replace(base.solutions, conditions=tuple(conditions)))


def _base_value(base: SweepBase, quantity: str) -> float:
    condition = base.condition
    if quantity == BEARING:
        solved = base.part.onset.conditions[base.part.numbers.index(base.number)]
        turned = (condition.wind_from + 180.0) % 360.0 - 180.0
        return turned if solved.wind_speed == condition.wind_speed else float("nan")
    return {
        SIDESLIP: condition.beta,
        ALPHA: condition.alpha,
        POWER: condition.power,
        FACTOR: base.stored[0].factor if base.stored[0] else 0.0,
        AIRSPEED: _stated_speed(condition),
    }[quantity]


def _stated_speed(condition: FlightCondition) -> float:
    given = condition.calibrated_airspeed
    return condition.speed if given is None else given


def _changed(base: SweepBase, quantity: str, value: float) -> FlightCondition:
    """The base condition with another value."""
    condition = base.condition
    if quantity == AIRSPEED:
        return _at_speed(base, value)
    field = {SIDESLIP: "beta", ALPHA: "alpha", POWER: "power", BEARING: "wind_from"}.get(quantity)
    return replace(condition, **{field: float(value)}) if field else condition


def _at_speed(base: SweepBase, value: float) -> FlightCondition:
    """The base at another speed; the angle of attack follows the lift of the wing.

    Raises
    ------
    FlowError : too slow for the wing
    """
    condition, around = base.condition, base.solutions.surroundings
    if value == _stated_speed(condition):
        return condition
    word = "true_airspeed" if condition.calibrated_airspeed is None else "calibrated_airspeed"
    found, wing = replace(condition, **{word: float(value)}), around.wing
    if wing is None or "wing" not in around.effects:
        return found
    first, second = (
        wing.lift_coefficient(c.lift_over_weight, c.speed, c.air.density)
        for c in (condition, found)
    )
    slope = 2.0 * np.pi * wing.aspect_ratio / (wing.aspect_ratio + 2.0)
    alpha = condition.alpha + float(np.degrees((second - first) / slope))
    if alpha > max(STEEPEST, condition.alpha):
        raise FlowError(f"condition {condition.name}: angle of attack of {alpha:.0f} deg")
    return replace(found, alpha=alpha)


def _swept(base: SweepBase, quantity: str, values) -> _Swept:
    around = base.solutions.surroundings
    kept, conditions, slipstreams, circulation = [], [], [], []
    for value in values:
        try:
            condition = _changed(base, quantity, value)
            slipstream = around.slipstream(condition)
            circulation.append(around.circulation(condition))
        except FlowError:
            continue
        if quantity == FACTOR:
            slipstream = base.stored[0].with_factor(float(value))
        kept.append(value)
        conditions.append(condition)
        slipstreams.append(slipstream)
    weights, unmatched = _field_weights(base, slipstreams, circulation)
    return _Swept(
        np.array(kept), conditions, slipstreams, np.array(circulation), weights, unmatched
    )


def _field_weights(base: SweepBase, slipstreams, circulation) -> tuple[np.ndarray, np.ndarray]:
    """Weights (n, n_units) of slipstreams, swirl and wing, and what the slipstreams lack (n,)."""
    names = {name: place for place, name in enumerate(base.part.units.names)}
    own = base.part.numbers.index(base.number)
    solved = sorted_first(base.part.onset.conditions, own)
    fields = [
        (names[f"slipstream {c.name}"], s) for c, s in zip(solved, base.stored, strict=True) if s
    ]
    weights, unmatched = np.zeros((len(slipstreams), len(names))), np.zeros(len(slipstreams))
    for k, slipstream in enumerate(slipstreams):
        if slipstream is not None:
            shares, unmatched[k] = _fitted(slipstream, [stored for _, stored in fields])
            for (place, _), share in zip(fields, shares, strict=True):
                weights[k, place] = slipstream.factor * share
            if "swirl" in names:
                weights[k, names["swirl"]] = slipstream.factor * slipstream.swirl_strength
    if "wing" in names:
        weights[:, names["wing"]] = circulation
    return weights, unmatched


def _fitted(slipstream: Slipstream, stored: Sequence[Slipstream]) -> tuple[np.ndarray, float]:
    """Shares of stored slipstreams that give the induced velocity of another, and what is left."""
    rings = np.concatenate([[0.0], slipstream.propeller.loading.ring_fractions])
    middles, area = 0.5 * (rings[:-1] + rings[1:]), np.diff(rings**2)
    wanted = slipstream.induced(middles)
    profiles = np.array([s.induced(middles) for s in stored]).reshape(len(stored), len(middles))
    size = np.sqrt(area @ wanted**2)
    if not size > 0.0:
        return np.zeros(len(stored)), 0.0
    same = np.abs(profiles - wanted).max(axis=1) <= MATCHED * np.abs(wanted).max()
    if same.any():
        return np.eye(len(stored))[int(np.argmax(same))], 0.0
    if not len(stored):
        return np.zeros(0), 1.0
    sign, root = np.sign(slipstream.mean_rise), np.sqrt(area)
    shares, left = nnls((root * profiles).T, sign * root * wanted)
    return sign * shares, float(left / size)


def _reference(base: SweepBase) -> float:
    """Pa: q and mean rise together in the condition that was solved."""
    own = base.part.numbers.index(base.number)
    onset = base.part.onset
    return float(onset.dynamic_pressure[own] + max(onset.mean_rise[own], 0.0))


def _needed(base: SweepBase, conditions) -> np.ndarray:
    """(n,) Pa: needed pressure, scaled with power where that changes."""
    power = base.condition.power
    share = np.array([(c.power or 0.0) / power if power else 1.0 for c in conditions])
    return base.ranking.needed[base.number] * share**EXPONENT.value


# --- bands of sweeps -----------------------------------------------------------------------

_SINGLE = np.vstack([np.zeros(3), np.eye(3), -np.eye(3)])
_OFFSETS = np.vstack([_SINGLE, 1.0 - np.eye(3)])
"""Onsets that fix all terms up to the second order in three numbers; the first is the centre."""


def _quadratics(numbers) -> np.ndarray:
    """(n, 10): terms up to the second order of (n, 3) numbers."""
    x, y, z = np.asarray(numbers, dtype=float).T
    return np.stack([x * 0 + 1, x, y, z, x * x, y * y, z * z, x * y, x * z, y * z], axis=1)


@dataclass(frozen=True, eq=False)
class _Worlds:
    """Draws of everything uncertain at the openings of a base.

    samples : PressureSamples
    columns : (n_openings,) int, of the openings among those of the samples
    names : of three uncertain numbers of the air, as in AirDraws
    steps : (3,) float, of these
    spread : (n_samples, n_offsets), what a draw takes of the pressures at the offsets
    changes : draws of the other kinds, each (n_samples, n_openings)
    """

    samples: PressureSamples
    columns: np.ndarray
    names: tuple[str, str, str]
    steps: np.ndarray
    spread: np.ndarray
    changes: dict[str, np.ndarray]


def _worlds(base: SweepBase) -> _Worlds:
    ranking = base.ranking
    samples, air = ranking.bands.samples, ranking.bands.samples.air
    into, out = ranking.inlet_index[base.pairs], ranking.exit_index[base.pairs]
    columns = np.concatenate([into, ranking.bands.n_inlets + out])
    names = ("beta", "factor", "wind") if base.condition.on_ground else ("alpha", "beta", "factor")
    sizes = vars(air) | {"factor": 0.5 * (air.factor_low + air.factor_high)}
    steps = np.array([sizes[name] for name in names])
    drawn = air.drawn(count=samples.count)
    moved = [getattr(drawn, name) - (1.0 if name == "factor" else 0.0) for name in names]
    moved = np.array(moved).T
    numbers = np.divide(moved, steps, out=np.zeros_like(moved), where=steps > 0.0)
    spread = _quadratics(numbers) @ np.linalg.inv(_quadratics(_OFFSETS))
    return _Worlds(samples, columns, names, steps, spread, samples.changes(columns))


def _design_air(base: SweepBase, swept: _Swept, onset: Onset) -> _Air:
    """Air at every value and at the onsets of _OFFSETS about it, each (n, 10, n_openings)."""
    places, worlds = base.places, base.worlds
    offsets = _OFFSETS if worlds else _OFFSETS[:1]
    zero = np.zeros(len(offsets))
    moved = {"alpha": zero, "beta": zero, "factor": zero, "wind": zero}
    if worlds:
        moved |= dict(zip(worlds.names, (offsets * worlds.steps).T, strict=True))
    factor = np.maximum(1.0 + moved["factor"], 0.0)
    draws = AirDraws(moved["alpha"], moved["beta"], factor, moved["wind"])
    streams = np.array([sampled_streams(c, draws) for c in swept.conditions])
    streams[:, 0] = onset.streams
    q = 0.5 * onset.density[:, None] * (streams**2).sum(axis=2)
    q[:, 0] = onset.dynamic_pressure
    bounds = np.empty((2, len(streams), len(offsets), len(places.panels)))
    for value in np.unique(factor):
        found = np.array(onset.with_factors(value).heads(places.points, places.surface))
        rises = found - onset.dynamic_pressure[:, None]
        bounds[:, :, factor == value] = rises[:, :, None]
    upper, lower = (bounds + q[:, :, None]).reshape(2, -1, len(places.panels))
    weights = _design_weights(base, swept, streams, factor)
    many = [np.repeat(part, len(offsets)) for part in (onset.density, onset.mean_rise)]
    air = _air_at(places, weights, many[0], upper, lower, many[1])
    shape = (len(streams), len(offsets), len(places.means.indptr) - 1)
    return _Air(*(getattr(air, name).reshape(shape) for name in _Air.__dataclass_fields__))


def _design_weights(base: SweepBase, swept: _Swept, streams, factor) -> np.ndarray:
    """(n times n_offsets, n_units): the factor acts on slipstream and swirl, not on the wing."""
    names = base.part.units.names
    blown = np.array([name.startswith("slipstream ") or name == "swirl" for name in names])
    scale = np.where(blown[None], factor[:, None], 1.0)
    weights = swept.weights[:, None] * scale[None]
    weights[:, :, :3] = streams
    return weights.reshape(-1, len(names))


def _bands(base: SweepBase, swept: _Swept, onset: Onset, air: _Air, apart, ratio):
    """16 and 84 % of exit and of available pressure, four arrays (n_pairs, n)."""
    if base.worlds:
        return _sampled_bands(base, swept, onset, air, apart, ratio)
    ranking, c, n = base.ranking, base.number, len(base.pairs)
    patch = air.patch[:, 0] + apart
    behind = patch + base.recovery * (air.head[:, 0] - patch)
    at_exit = ratio[:, None] * ranking.exit_deviation[c, ranking.exit_index[base.pairs]]
    both = ratio[:, None] * ranking.deviation[c, base.pairs]
    exits, available = patch[:, n:], behind[:, :n] - patch[:, n:]
    bands = (exits - at_exit, exits + at_exit, available - both, available + both)
    return [band.T for band in bands]


def _sampled_bands(base: SweepBase, swept: _Swept, onset: Onset, air: _Air, apart, ratio):
    """See `_bands`; all values in the worlds of the ranking."""
    worlds, n = base.worlds, len(base.pairs)
    samples, changes, columns = worlds.samples, worlds.changes, worlds.columns
    gained = base.recovery + samples.recovery_share[base.number, columns] * changes[RECOVERY]
    wet, places, eta = changes[WETTING], base.places, base.recovery
    mixed = places.mean(places.at_points(onset.head_deviation(places.points)))
    by_all, by_rise = _scaled_kinds(worlds, base.number)
    blind = np.where(onset.predicted, 0.0, np.sqrt(0.5) * ratio * _reference(base))
    alone = np.zeros((len(samples.openings), 0))
    unsure = samples.draws(NOT_PREDICTED, alone, columns) if blind.any() else 0.0
    rise = _ratio_of_rise(base, onset)
    found = []
    for k in range(len(swept.values)):
        patch = worlds.spread @ air.patch[k] + apart[k] + wet * air.patch_step[k, 0]
        head = worlds.spread @ air.head[k] + wet * air.head_step[k, 0]
        behind = patch + gained * (head - patch)
        centre = air.patch[k, 0] + apart[k]
        felt = np.divide(centre, air.head[k, 0], out=np.ones(2 * n), where=air.head[k, 0] > 0.0)
        felt = mixed[k] * felt.clip(-1.0, 1.0)
        patch += ratio[k] * by_all[0] + rise[k] * by_rise[0] + felt * changes.get(MIXING, 0.0)
        behind += ratio[k] * by_all[1] + rise[k] * by_rise[1]
        behind += (eta * mixed[k] + (1.0 - eta) * felt) * changes.get(MIXING, 0.0)
        if blind[k]:
            patch += blind[k] * unsure
            behind += blind[k] * unsure
        both = np.hstack([patch[:, n:], behind[:, :n] - patch[:, n:]])
        found.append(np.quantile(both, (QUANTILES[0], QUANTILES[-1]), axis=0))
    low, high = np.array(found).transpose(1, 2, 0)
    return low[:n], high[:n], low[n:], high[n:]


def _scaled_kinds(worlds: _Worlds, c: int):
    """Changes of patch pressures and of those behind, (2, n_samples, n_openings) Pa, at the base.

    Returns
    -------
    those that go with q and mean rise together, those of the propeller, which go with the mean rise
    """
    shape = (2, worlds.samples.count, len(worlds.columns))
    by_all, by_rise = np.zeros(shape), np.zeros(shape)
    for kind in worlds.samples.kinds:
        if kind.name not in (MIXING, NOT_PREDICTED) and kind.acts:
            into = by_rise if kind.name in (EFFICIENCY, FIGURE) else by_all
            for row, size in enumerate((kind.patch, kind.behind)):
                into[row] += worlds.changes[kind.name] * size[c, worlds.columns]
    return by_all, by_rise


def _ratio_of_rise(base: SweepBase, onset: Onset) -> np.ndarray:
    """(n,) mean rise, parts of the base's."""
    own = base.part.onset.mean_rise[base.part.numbers.index(base.number)]
    return onset.mean_rise / own if own else np.zeros(len(onset.mean_rise))
