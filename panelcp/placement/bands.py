"""Bands of the pressures at openings by sampling everything that is not known exactly.

One draw of every uncertain number makes one possible world; all openings, conditions and pairs are
looked at in the same worlds. So what two places have in common leaves their difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement
from operator import is_
from weakref import WeakKeyDictionary
from zlib import crc32

import numpy as np
from scipy.sparse import csr_array
from scipy.special import ndtr

from panelcp.errors import PlacementError
from panelcp.flow.solutions import Part, Solutions
from panelcp.flow.superposition import wetting_share
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.momentum import induced_velocity
from panelcp.onset.surroundings import Onset
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening

SAMPLES = 2000
"""Worlds that are drawn: a deviation is then good to 1.6 %, a probability to 0.011."""

SEED = 20_250

COMMON = 0.9
"""Part of the deviation of the model error that a region has in common (from memory). A part of
the deviation, not a correlation: two places of one region correlate with 0.9^2 = 0.81, and of a
deviation s each, 0.62 s is left in their difference; a correlation of 0.9 would leave 0.45 s."""

OPENING_BLOCK = 256
FACTOR_STEP = 0.02
"""Parts of the slipstream factor, for a slope."""

ALPHA, BETA, FACTOR, WIND = (
    "angle of attack",
    "sideslip or bearing of the wind",
    "slipstream factor",
    "wind speed on the ground",
)
WETTING, RECOVERY, NEEDED = "which air wets the skin", "recovery fraction", "needed pressure"
AIR = (ALPHA, BETA, FACTOR, WIND)
MODEL, ROUGHNESS, PANELLING = "model error of Cp", "roughness of the mesh", "panelling"
SEPARATION, LAYER = "separated air", "boundary layer ahead of a flush inlet"
EFFICIENCY, FIGURE = "propeller efficiency", "static figure of merit"
MIXING, NOT_PREDICTED = "mixing of the slipstream", "wind from behind, not predicted"
SIDES = ("front", "top", "bottom", "right", "left", "rear")
_TERMS = tuple(combinations_with_replacement(range(5), 2))


@dataclass(frozen=True, eq=False)
class UncertainKind:
    """One thing that is not known, and what it does to the pressures at openings.

    Attributes
    ----------
    name : of the kind; its draws follow from it alone
    patch : (n_conditions, n_openings) float, Pa, change of the patch pressure for a draw of 1
    behind : (n_conditions, n_openings) float, Pa, of the pressure behind, as an inlet
    common : (n_openings, n_groups) float, how much of every group's draw an opening has; what the
        squares of a row lack to 1 is drawn for the opening alone. None: all of it

    Raises
    ------
    PlacementError : shapes that do not fit, squares of a row above 1
    """

    name: str
    patch: np.ndarray
    behind: np.ndarray
    common: np.ndarray | None = None

    def __post_init__(self):
        for name in ("patch", "behind"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        n_openings = self.patch.shape[-1]
        common = np.zeros((n_openings, 0)) if self.common is None else self.common
        object.__setattr__(self, "common", frozen_array(common))
        if self.patch.shape != self.behind.shape or len(self.common) != n_openings:
            raise PlacementError(
                f"kind {self.name!r}: patch {self.patch.shape}, behind {self.behind.shape}, "
                f"common {self.common.shape}; expected (n_conditions, n_openings) twice and "
                "(n_openings, n_groups)"
            )
        most = (self.common**2).sum(axis=1).max(initial=0.0)
        if most > 1.0 + 1e-9:
            raise PlacementError(
                f"kind {self.name!r}: the squares of a row of common add up to {most:.3g}; "
                "expected at most 1"
            )

    @property
    def acts(self) -> bool:
        """Whether it changes any pressure."""
        return bool(self.patch.any() or self.behind.any())


@dataclass(frozen=True)
class UncertainAir:
    """How well the onset is known; every number has one draw, for all conditions and places.

    Attributes
    ----------
    alpha, beta : deg, one deviation; over the ground beta turns the air along the ground
    factor_low, factor_high : of the slipstream factor, parts of it, to both sides
    wind : m/s, of the wind speed in conditions with ground_speed
    """

    alpha: float = 0.0
    beta: float = 0.0
    factor_low: float = 0.0
    factor_high: float = 0.0
    wind: float = 0.0

    def drawn(self, only: str | None = None, count: int = SAMPLES) -> AirDraws:
        """Draws of everything, or of one of AIR alone."""
        draws = {
            name: standard_draws(name, "all", count) if only in (None, name) else np.zeros(count)
            for name in AIR
        }
        factor = two_sided(draws[FACTOR], self.factor_low, self.factor_high)
        return AirDraws(
            alpha=self.alpha * draws[ALPHA],
            beta=self.beta * draws[BETA],
            factor=np.maximum(1.0 + factor, 0.0),
            wind=self.wind * draws[WIND],
        )


@dataclass(frozen=True, eq=False)
class AirDraws:
    """One onset for every world: alpha, beta (deg) and wind (m/s) added, factor multiplied."""

    alpha: np.ndarray
    beta: np.ndarray
    factor: np.ndarray
    wind: np.ndarray


def standard_draws(kind: str, what: str, count: int = SAMPLES) -> np.ndarray:
    """(count,) float: standard-normal numbers that follow from names alone.

    Mean 0 and deviation 1 exactly, so that one kind alone shows no noise of the sample in its
    deviation. A kind or an opening more or less leaves the draws of the others as they were.
    """
    words = [SEED, crc32(kind.encode()), crc32(what.encode())]
    draws = np.random.default_rng(words).standard_normal(count)
    draws -= draws.mean()
    return draws / draws.std()


def two_sided(draws, low, high) -> np.ndarray:
    """Changes whose 16, 50 and 84 % quantiles are -low, 0 and high.

    Examples
    --------
    >>> two_sided(np.array([-1.0, 0.0, 1.0]), 2.0, 3.0).tolist()
    [-2.0, 0.0, 3.0]
    """
    return np.where(draws < 0.0, draws * low, draws * high)


def sampled_streams(condition: FlightCondition, air: AirDraws) -> np.ndarray:
    """(n_samples, 3) float, m/s: the stream of a condition in every world, body axes."""
    if not condition.on_ground:
        alpha = np.radians(condition.alpha + air.alpha)
        beta = np.radians(condition.beta + air.beta)
        return condition.speed * np.stack(
            [np.cos(alpha) * np.cos(beta), -np.sin(beta), np.sin(alpha) * np.cos(beta)], axis=1
        )
    pitch = np.radians(condition.attitude or 0.0)
    stream = np.repeat(condition.stream[None], len(air.wind), axis=0)
    if condition.ground_speed is not None:
        bearing = np.radians(condition.wind_from)
        aft = np.array([np.cos(pitch), 0.0, np.sin(pitch)])
        gust = np.cos(bearing) * aft - np.sin(bearing) * np.array([0.0, 1.0, 0.0])
        stream = stream + air.wind[:, None] * gust
    upward = np.array([-np.sin(pitch), 0.0, np.cos(pitch)])
    turn = -np.radians(air.beta)[:, None]
    return stream * np.cos(turn) + np.cross(upward, stream) * np.sin(turn)


# --- patch means as polynomials in stream and slipstream factor ----------------------------


@dataclass(frozen=True, eq=False)
class PatchForms:
    """Patch means of pressure and total pressure as polynomials in what the air brings.

    The 30 terms are the products of two of stream x, y, z (m/s), slipstream factor (parts of its
    value) and 1; and these once more, times the factor less 1.

    Attributes
    ----------
    gauge, gauge_step : (n_conditions, 30, n_openings) float: gauge pressure in the middle between
        the bounds of the air that wets the skin, and from there to the upper one, Pa
    head, head_step : (n_conditions, 30, n_openings) float: the same of the total gauge pressure
    mixed : (n_conditions, n_openings) float, Pa: patch mean of how well the total pressure of the
        air of one radius is known
    """

    gauge: np.ndarray
    gauge_step: np.ndarray
    head: np.ndarray
    head_step: np.ndarray
    mixed: np.ndarray

    def __post_init__(self):
        for name in ("gauge", "gauge_step", "head", "head_step", "mixed"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def sample_operator(surface: SurfaceMesh, openings) -> tuple[csr_array, csr_array]:
    """From panels to the sample points of openings, and from these to area means."""
    none = np.empty((0, 3)), np.empty(0, dtype=np.int64), np.empty(0)
    points = np.concatenate([none[0], *(opening.sample_points for opening in openings)])
    panels = np.concatenate([none[1], *(opening.sample_panels for opening in openings)])
    weights = np.concatenate([none[2], *(opening.sample_weights for opening in openings)])
    ends = np.cumsum([0] + [len(opening.sample_weights) for opening in openings])
    means = csr_array((weights, np.arange(len(weights)), ends), shape=(len(openings), len(weights)))
    known, operator, starts = _LAST_SAMPLED.get(surface, ((), None, None))
    first = _place_among(known, openings)
    if first is None:
        operator = point_operator(surface, points, panels)
        _LAST_SAMPLED[surface] = tuple(openings), operator, ends
    elif len(openings) < len(known):
        operator = operator[starts[first] : starts[first + len(openings)]]
    return operator, means


_LAST_SAMPLED: WeakKeyDictionary = WeakKeyDictionary()
"""Surface -> the openings that were last asked for, their operator, and where their rows begin:
of all places of a case some are asked for next, and the operator is most of the work."""


def _place_among(known, openings) -> int | None:
    """Place in a sequence at which openings, the very same ones, follow each other there."""
    firsts = [k for k, opening in enumerate(known) if openings and opening is openings[0]]
    for first in firsts:
        some = known[first : first + len(openings)]
        if len(some) == len(openings) and all(map(is_, some, openings)):
            return first
    return None


def patch_forms(solutions: Solutions, openings: Sequence[Opening]) -> PatchForms:
    """Polynomials of the pressures at openings, from the unit solutions.

    Parameters
    ----------
    solutions : Solutions
    openings : openings laid onto their surface

    Returns
    -------
    PatchForms

    Notes
    -----
    Velocity is linear in stream and factor, so the patch mean of rho V^2 / 2 is a quadratic form,
    and the rise of the frozen slipstream is 2 rho f v (V + f v). Only the part of the upper total
    pressure that is taken in the middle (`wetting_share`) is not a polynomial; it is made linear
    in the factor, and other streams leave it.
    """
    blocks = []
    for start in range(0, len(openings), OPENING_BLOCK):
        some = openings[start : start + OPENING_BLOCK]
        operator, means = sample_operator(solutions.surface, some)
        rows: list = [None] * len(solutions.conditions)
        for part in solutions.parts:
            for number, forms in zip(part.numbers, _part_forms(part, operator, means), strict=True):
                rows[number] = forms
        blocks.append([np.array(form) for form in zip(*rows, strict=True)])
    return PatchForms(*(np.concatenate(form, axis=-1) for form in zip(*blocks, strict=True)))


def _part_forms(part: Part, operator, means):
    """The forms of every condition of a part, in the order of PatchForms."""
    onset, names, places = part.onset, part.units.names, part.units.panels.points
    used = [0, 1, 2, *(names.index(name) for name in onset.names)]
    velocity = part.units.velocity[used]
    n_units, n_panels = velocity.shape[:2]
    flat = velocity.transpose(1, 0, 2).reshape(n_panels, 3 * n_units)
    fields = (operator @ flat).reshape(-1, n_units, 3).transpose(1, 0, 2)
    upper, share, slope = _upper_and_shares(part)
    mixed = (means @ (operator @ onset.head_deviation(places).T)).T
    blown = np.array([name != "wing" for name in onset.names], dtype=bool)
    for c, weights in enumerate(onset.weights):
        moved = np.einsum("u,upi->pi", weights * blown, fields[3:])
        still = np.einsum("u,upi->pi", weights * ~blown, fields[3:])
        basis = np.concatenate([fields[:3], moved[None], still[None]])
        head = _head_terms(onset, c, upper[c], operator)
        gauge = head - _kinetic_terms(onset.density[c], basis)
        shares = operator @ share[c], operator @ slope[c]
        gauges, heads = (_shared_means(terms, *shares, means) for terms in (gauge, head))
        yield *gauges, *heads, mixed[c]


def _upper_and_shares(part: Part):
    """At the panels: upper total pressure, part of it in the middle, and its slope.

    All (n_conditions, n_panels); Pa, parts, and parts for a factor of twice its value.
    """
    onset, places, surface = part.onset, part.units.panels.points, part.units.surface
    rise = onset.mean_rise[:, None]
    upper, lower = onset.heads(places, surface)
    share = wetting_share(upper, lower, rise)
    if not onset.mean_rise.any():
        return upper, share, np.zeros_like(share)
    less, more = (
        wetting_share(*onset.with_factors(1.0 + step).heads(places, surface), rise)
        for step in (-FACTOR_STEP, FACTOR_STEP)
    )
    return upper, share, 0.5 * (more - less) / FACTOR_STEP


def _kinetic_terms(density: float, basis) -> np.ndarray:
    """(15, n_points): rho V^2 / 2, V the sum of the basis times stream, factor and 1."""
    return np.array(
        [
            0.5 * density * (1.0 if i == j else 2.0) * (basis[i] * basis[j]).sum(axis=1)
            for i, j in _TERMS
        ]
    )


def _head_terms(onset: Onset, c: int, upper, operator) -> np.ndarray:
    """(15, n_points): upper total pressure q + 2 rho f v (V + f v), v the induced velocity.

    With wind from behind the rise goes with the square of the factor alone.
    """
    density = onset.density[c]
    terms = np.zeros((len(_TERMS), operator.shape[0]))
    for k in range(3):
        terms[_TERMS.index((k, k))] = 0.5 * density
    if not onset.mean_rise[c]:
        return terms
    aft = onset.propeller.aft
    along = max(float(onset.streams[c] @ aft), 0.0)
    v = induced_velocity(upper - onset.dynamic_pressure[c], along, density)
    terms[_TERMS.index((3, 3))] = 2.0 * density * (operator @ v**2)
    if onset.predicted[c]:
        mean = operator @ v
        for k in range(3):
            terms[_TERMS.index((k, 3))] = 2.0 * density * aft[k] * mean
    return terms


def _shared_means(terms, share, slope, means):
    """Patch means of terms in the middle between the bounds, and from there to the upper one."""
    full, middle, change = ((means @ (part * terms).T).T for part in (1.0, share, slope))
    return np.concatenate([middle, change]), np.concatenate([full - middle, -change])


def mixing_kind(forms: PatchForms, patch, head, recovery, common) -> UncertainKind:
    """Mixing of the slipstream with air from farther out.

    Parameters
    ----------
    forms : PatchForms
    patch, head : (n_conditions, n_openings) float, Pa, central patch and total pressures
    recovery : (n_openings,) or (n_conditions, n_openings) float
    common : see `UncertainKind`

    Returns
    -------
    UncertainKind; the skin feels the part of the total pressure that its own pressure has of it
    """
    felt = np.divide(patch, head, out=np.ones_like(patch), where=head > 0.0).clip(-1.0, 1.0)
    behind = forms.mixed * (recovery + (1.0 - recovery) * felt)
    return UncertainKind(MIXING, forms.mixed * felt, behind, common)


def patch_kind(name: str, patch, recovery, common=None) -> UncertainKind:
    """A kind that changes patch pressures, (n_conditions, n_openings) Pa, not the total."""
    return UncertainKind(name, patch, (1.0 - np.asarray(recovery)) * patch, common)


def layer_kind(patch, head, recovery, share) -> UncertainKind:
    """What a boundary layer takes of the recovery of a flush inlet: known to its half.

    Parameters
    ----------
    patch, head, share : (n_conditions, n_openings) float, Pa and the part that is left
    recovery : (n_openings,) float
    """
    behind = 0.5 * (1.0 - share) * recovery * (head - patch)
    return UncertainKind(LAYER, np.zeros_like(patch), behind, np.ones((len(recovery), 1)))


def factor_kind(name: str, forms: PatchForms, conditions, change, recovery) -> UncertainKind:
    """Something that acts through the strength of the slipstream, not alike in all conditions.

    Parameters
    ----------
    name : of the kind
    forms : PatchForms
    conditions : in order
    change : (n_conditions,) float, change of the slipstream factor for a draw of 1, parts of it
    recovery : (n_conditions, n_openings) float
    """
    less, more = (_terms_at(conditions, 1.0 + sign * change) for sign in (-1.0, 1.0))
    terms = 0.5 * (more - less)[:, None]
    gauge, head = ((terms @ form)[:, 0] for form in (forms.gauge, forms.head))
    common = np.ones((gauge.shape[1], 1))
    return UncertainKind(name, gauge, gauge + recovery * (head - gauge), common)


def blind_kind(predicted, reference, n_openings: int) -> UncertainKind:
    """Conditions that are not predicted: q and mean rise together in every difference of two."""
    blind = np.where(predicted, 0.0, np.sqrt(0.5) * np.asarray(reference))
    blind = np.repeat(blind[:, None], n_openings, axis=1)
    return UncertainKind(NOT_PREDICTED, blind, blind)


def region_shares(openings: Sequence[Opening], region_index, n_regions: int) -> np.ndarray:
    """(n_openings, n_groups) float: how much of each opening lies in each group.

    A group is what of one region looks to one side: the slipstream, the boundary layer and the
    wing treat top and bottom of a cowl differently, even where one box holds both.

    Parameters
    ----------
    openings : openings laid onto the skin
    region_index : (n_panels,) int
    n_regions : number of regions
    """
    shares = np.zeros((len(openings), n_regions, len(SIDES)))
    for k, opening in enumerate(openings):
        regions = region_index[opening.sample_panels]
        here = np.bincount(regions, opening.sample_weights, minlength=n_regions)
        shares[k, :, SIDES.index(opening.side)] = here
    return shares.reshape(len(openings), -1)


def _terms(streams, factor) -> np.ndarray:
    """(n_samples, 30): the values of the terms of PatchForms."""
    parts = [*np.asarray(streams).T, factor, np.ones_like(factor)]
    terms = np.stack([parts[i] * parts[j] for i, j in _TERMS], axis=1)
    return np.hstack([terms, (factor - 1.0)[:, None] * terms])


def _terms_at(conditions, factor) -> np.ndarray:
    """(n_conditions, 30): terms of the conditions as given, with a slipstream factor for each."""
    both = zip(conditions, factor, strict=True)
    return np.array([_terms(c.stream[None], np.array([f]))[0] for c, f in both])


# --- pressures in all worlds ---------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class PressureSamples:
    """Pressures at openings in every world; they are made when asked for, not kept.

    Attributes
    ----------
    openings : inlets first, then exits
    conditions : in order
    predicted : (n_conditions,) bool; False where only the sign of a flow can be told
    patch, head : (n_conditions, n_openings) float, Pa, central patch and total pressures
    recovery, recovery_low, recovery_high : (n_openings,) float, with its deviations
    recovery_share : (n_conditions, n_openings) float, part of the recovery that the boundary layer
        leaves
    forms : PatchForms
    air : UncertainAir
    kinds : further things that are not known
    wetting : (n_openings, n_groups) float, see `UncertainKind.common`, of the place between the
        bounds of the air that wets the skin, where every place is equally likely
    needed_low, needed_high : (n_conditions,) float, Pa, deviations of the needed pressure; one
        draw for all conditions
    count : of the worlds
    """

    openings: tuple[Opening, ...]
    conditions: tuple[FlightCondition, ...]
    predicted: np.ndarray
    patch: np.ndarray
    head: np.ndarray
    recovery: np.ndarray
    recovery_low: np.ndarray
    recovery_high: np.ndarray
    forms: PatchForms
    air: UncertainAir
    kinds: tuple[UncertainKind, ...]
    wetting: np.ndarray
    needed_low: np.ndarray
    needed_high: np.ndarray
    recovery_share: np.ndarray | None = None
    count: int = SAMPLES

    def __post_init__(self):
        if self.recovery_share is None:
            object.__setattr__(self, "recovery_share", np.ones(np.shape(self.patch)))
        names = ("patch", "head", "recovery", "recovery_low", "recovery_high", "wetting")
        for name in (*names, "needed_low", "needed_high", "recovery_share"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "predicted", frozen_array(self.predicted, bool))
        shape = (len(self.conditions), len(self.openings))
        wrong = [kind.name for kind in self.kinds if kind.patch.shape != shape]
        if wrong:
            raise PlacementError(
                f"kind(s) {', '.join(wrong)} do not have {shape[0]} conditions and {shape[1]} "
                "openings"
            )

    @cached_property
    def kind_names(self) -> tuple[str, ...]:
        """Of all kinds that change pressures, in the order of every array by kind."""
        return (*AIR, WETTING, RECOVERY, *(kind.name for kind in self.kinds))

    @property
    def recovered(self) -> np.ndarray:
        """(n_conditions, n_openings) float: recovery fraction with what the layer leaves of it."""
        return self.recovery_share * self.recovery

    @cached_property
    def terms(self) -> np.ndarray:
        """(n_conditions, n_samples, 30) float: what the air brings in every world."""
        return self._terms_of(self.air.drawn(count=self.count))

    def _terms_of(self, air: AirDraws) -> np.ndarray:
        return np.array([_terms(sampled_streams(c, air), air.factor) for c in self.conditions])

    @cached_property
    def _centre(self) -> np.ndarray:
        """(n_conditions, 30): the terms of the conditions as they are given."""
        return _terms_at(self.conditions, np.ones(len(self.conditions)))

    def draws(self, name: str, common, columns) -> np.ndarray:
        """(n_samples, n_columns) float: draws of a kind, standard normal, at some openings."""
        common = common[columns]
        own = np.sqrt(np.maximum(1.0 - (common**2).sum(axis=1), 0.0))
        drawn = np.zeros((self.count, len(columns)))
        for k, column in enumerate(columns):
            if own[k] > 1e-9:
                what = f"opening {self.openings[column].name}"
                drawn[:, k] = own[k] * standard_draws(name, what, self.count)
        for group in np.flatnonzero(common.any(axis=0)):
            shared = standard_draws(name, f"group {group}", self.count)
            drawn += shared[:, None] * common[:, group]
        return drawn

    def changes(self, columns) -> dict[str, np.ndarray]:
        """Draws of all kinds but the air's at some openings, each (n_samples, n_columns).

        Those of the wetting lie between -1 and 1, those of the recovery are changes of it.
        """
        still = np.zeros((self.count, len(columns)))
        found = {
            kind.name: self.draws(kind.name, kind.common, columns) if kind.acts else still
            for kind in self.kinds
        }
        found[WETTING] = 2.0 * ndtr(self.draws(WETTING, self.wetting, columns)) - 1.0
        found[RECOVERY] = self._recovery_changes(columns) if self._recovering(columns) else still
        return found

    def _recovering(self, columns) -> bool:
        return bool((self.recovery_low[columns] + self.recovery_high[columns]).any())

    def _recovery_changes(self, columns) -> np.ndarray:
        """(n_samples, n_columns): recovery less its central value; it stays between 0 and 1."""
        alone = np.zeros((len(self.openings), 0))
        low, high, eta = (
            part[columns] for part in (self.recovery_low, self.recovery_high, self.recovery)
        )
        recovered = eta + two_sided(self.draws(RECOVERY, alone, columns), low, high)
        return np.clip(recovered, np.minimum(eta, 0.0), np.maximum(eta, 1.0)) - eta

    def pressures(self, c: int, columns, changes=None) -> tuple[np.ndarray, np.ndarray]:
        """Pressures at some openings in one condition and all worlds.

        Parameters
        ----------
        c : number of the condition
        columns : numbers of the openings
        changes : from `changes(columns)`, when they are there already

        Returns
        -------
        patch, behind : (n_samples, n_columns) float, Pa: patch pressure, and pressure behind the
            opening as an inlet
        """
        changes = self.changes(columns) if changes is None else changes
        wet = changes[WETTING]
        patch = self._air_alone(c, columns, wet, "gauge", self.patch)
        head = self._air_alone(c, columns, wet, "head", self.head)
        recovered = self.recovery_share[c, columns] * (self.recovery[columns] + changes[RECOVERY])
        behind = patch + recovered * (head - patch)
        return (
            self._with_kinds(c, columns, changes, "patch", patch),
            self._with_kinds(c, columns, changes, "behind", behind),
        )

    def patches(self, c: int, columns, changes) -> np.ndarray:
        """(n_samples, n_columns) float, Pa: the first of `pressures`, in half the time."""
        patch = self._air_alone(c, columns, changes[WETTING], "gauge", self.patch)
        return self._with_kinds(c, columns, changes, "patch", patch)

    def _air_alone(self, c: int, columns, wet, form: str, centre) -> np.ndarray:
        """(n_samples, n_columns) Pa: a form of PatchForms about central values, no kind acting."""
        forms, terms = self.forms, self.terms[c]
        found = (terms - self._centre[c]) @ getattr(forms, form)[c][:, columns]
        found += centre[c, columns]
        if self._steps[c]:
            found += wet * (terms @ getattr(forms, f"{form}_step")[c][:, columns])
        return found

    def _with_kinds(self, c: int, columns, changes, which: str, pressure) -> np.ndarray:
        """Pressures (n_samples, n_columns), which are changed, with what all kinds do to them."""
        for kind, acts in zip(self.kinds, self._acting[c], strict=True):
            if acts:
                pressure += changes[kind.name] * getattr(kind, which)[c, columns]
        return pressure

    @cached_property
    def _steps(self) -> np.ndarray:
        """(n_conditions,) bool: whether it matters which air wets the skin."""
        return self.forms.head_step.any(axis=(1, 2))

    @cached_property
    def _acting(self) -> np.ndarray:
        """(n_conditions, n_kinds) bool: whether a kind changes a pressure there."""
        acting = [kind.patch.any(axis=1) | kind.behind.any(axis=1) for kind in self.kinds]
        return np.array(acting, dtype=bool).reshape(len(self.kinds), len(self.conditions)).T

    def available(self, c: int, inlet: int, outlet: int, changes=None) -> np.ndarray:
        """(n_samples,) float, Pa: pressure behind one opening less that at another one."""
        patch, behind = self.pressures(c, [inlet, outlet], changes)
        return behind[:, 0] - patch[:, 1]

    def needed(self, needed) -> np.ndarray:
        """(n_conditions, n_samples) float, Pa: needed pressures, nan where nothing is asked for.

        The logarithm is drawn, with the stated deviations to both sides, so that what is needed
        stays above zero.
        """
        draws = standard_draws(NEEDED, "all", self.count)
        central = np.asarray(needed, dtype=float)[:, None]
        low, high = (
            np.divide(part[:, None], central, out=np.zeros_like(central), where=central > 0.0)
            for part in (self.needed_low, self.needed_high)
        )
        return central * np.exp(
            two_sided(draws, -np.log(np.maximum(1.0 - low, 0.01)), np.log1p(high))
        )

    def linear_parts(self) -> list[tuple[str, np.ndarray, np.ndarray]]:
        """Kinds but the air's: name, patch and behind (Pa) for a change of 1, air as given."""
        middle, eta = self._centre[:, None], self.recovered
        by_patch = (middle @ self.forms.gauge_step)[:, 0]
        by_head = (middle @ self.forms.head_step)[:, 0]
        return [
            (WETTING, by_patch, by_patch + eta * (by_head - by_patch)),
            (RECOVERY, np.zeros_like(self.patch), self.recovery_share * (self.head - self.patch)),
            *((kind.name, kind.patch, kind.behind) for kind in self.kinds),
        ]

    @cached_property
    def _air_squares(self) -> np.ndarray:
        """(n_air, n_conditions, 30, 30): covariances of the terms, each of AIR alone."""
        found = []
        for name in AIR:
            terms = self._terms_of(self.air.drawn(name, self.count))
            terms = terms - terms.mean(axis=1, keepdims=True)
            found.append(terms.transpose(0, 2, 1) @ terms / self.count)
        return np.array(found)

    def air_variances(self, inlets, exits) -> np.ndarray:
        """(n_air, n_conditions, n_inlets, n_exits) Pa2: of differences, each of AIR alone."""
        eta = self.recovered[:, None, inlets]
        out = self.forms.gauge[:, :, exits]
        into = (1.0 - eta) * self.forms.gauge[:, :, inlets] + eta * self.forms.head[:, :, inlets]
        found = np.zeros((len(AIR), len(self.conditions), len(inlets), len(exits)))
        for k, c in np.argwhere(self._air_squares.any(axis=(2, 3))):
            square = self._air_squares[k, c]
            found[k, c] = difference_variance(
                (into[c] * (square @ into[c])).sum(axis=0),
                (out[c] * (square @ out[c])).sum(axis=0),
                into[c].T @ square @ out[c],
            )
        return found


def difference_variance(first, second, both) -> np.ndarray:
    """(n, m): variance of differences from variances (n,), (m,) and covariances (n, m)."""
    return np.maximum(first[:, None] + second - 2.0 * both, 0.0)
