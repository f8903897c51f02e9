"""Which inlet with which exit: available against needed pressure in every condition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

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
    place,
    ratio_word,
    table,
    words,
)
from panelcp.errors import PlacementError
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.placement.bands import SIDES, PressureSamples, sample_operator
from panelcp.placement.pair_bands import PairBands, pair_bands
from panelcp.surface.mesh import frozen_array
from panelcp.surface.opening import Opening
from panelcp.units import UNITS

SHOWN = 5
"""Pairs that a notebook shows."""

IN_H2O = float(UNITS["pressure"]["inH2O"])

LEAST_SHARE = 1e-9
"""Parts of a variance below it are rounding."""


@dataclass(frozen=True, eq=False)
class OpeningPressures:
    """Pressures at a list of openings in all conditions.

    Attributes
    ----------
    openings : the openings, in order
    patch_pressure : (n_conditions, n_openings) float, Pa, area mean of the gauge pressure
    pressure_spread : (n_conditions, n_openings) float, Pa, standard deviation over the area
    total_pressure : (n_conditions, n_openings) float, Pa, area mean of the total gauge pressure
    inlet_pressure : (n_conditions, n_openings) float, Pa, total gauge pressure behind the
        opening when it takes air in
    patch_wetting, inlet_wetting : (n_conditions, n_openings) float, Pa, how far patch and inlet
        pressure lie from their bounds, since it is not known which air of the slipstream comes
        there; zero without slipstream
    """

    openings: tuple[Opening, ...]
    patch_pressure: np.ndarray
    pressure_spread: np.ndarray
    total_pressure: np.ndarray
    inlet_pressure: np.ndarray
    patch_wetting: np.ndarray
    inlet_wetting: np.ndarray

    def __post_init__(self):
        names = ("patch_pressure", "pressure_spread", "total_pressure", "inlet_pressure")
        for name in (*names, "patch_wetting", "inlet_wetting"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def __repr__(self):
        return (
            f"OpeningPressures({counted(len(self.openings), 'opening')}, "
            f"{counted(len(self.patch_pressure), 'condition')})"
        )

    def _repr_html_(self) -> str:
        columns = [*words("Opening", "Use", "Place"), Column("Least pressure", "Pa")]
        columns += [Column("greatest", "Pa"), Column("Spread over it, up to", "Pa")]
        columns += [Column("Least behind it as an inlet", "Pa"), Column("greatest", "Pa")]
        rows = []
        for k, opening in enumerate(self.openings[:MOST_ROWS]):
            there, behind = self.patch_pressure[:, k], self.inlet_pressure[:, k]
            ends = [there.min(), there.max(), self.pressure_spread[:, k].max()]
            cells = [number(value) for value in (*ends, behind.min(), behind.max())]
            rows.append([opening.name, opening.use, place(opening.centre), *cells])
        over = counted(len(self.patch_pressure), "condition")
        caption = f"Pressures at openings, over {over}"
        return block(table(caption, columns, rows, more(len(self.openings))))


@dataclass(frozen=True, eq=False)
class OpeningRanking:
    """Pairs of inlet and exit, best first.

    Attributes
    ----------
    inlets, exits : OpeningPressures
    inlet_index, exit_index : (n_pairs,) int, into their openings, best pair first
    available : (n_conditions, n_pairs) float, Pa, inlet pressure less exit pressure
    needed : (n_conditions,) float, Pa, nan where nothing is asked for
    needed_deviation : (n_conditions,) float, Pa, one standard deviation of `needed`
    inlet_deviation : (n_conditions, n_inlets) float, Pa, of the pressure behind each inlet
    exit_deviation : (n_conditions, n_exits) float, Pa, of the pressure at each exit
    deviation : (n_conditions, n_pairs) float, Pa, one standard deviation of `available`
    decides : (n_conditions,) bool
    ratio : (n_conditions, n_pairs) float, available over needed
    least_ratio : (n_pairs,) float, over the deciding conditions; the order of the ranking
    mean_ratio : (n_pairs,) float, weighted mean over the deciding conditions
    limiting : (n_pairs,) int, the deciding condition with the least ratio
    reversal : (n_conditions, n_pairs) float, probability that the available pressure is negative;
        nan where that is not predicted
    sufficiency : (n_conditions, n_pairs) float, probability that it is at least the needed one;
        nan where that is not predicted or nothing is asked for
    least_sufficiency : (n_pairs,) float, probability that it is in all deciding conditions; without
        samples that in the limiting condition
    bands : PairBands, when the deviations come from samples, else None
    """

    inlets: OpeningPressures
    exits: OpeningPressures
    inlet_index: np.ndarray
    exit_index: np.ndarray
    available: np.ndarray
    needed: np.ndarray
    needed_deviation: np.ndarray
    inlet_deviation: np.ndarray
    exit_deviation: np.ndarray
    deviation: np.ndarray
    decides: np.ndarray
    ratio: np.ndarray
    least_ratio: np.ndarray
    mean_ratio: np.ndarray
    limiting: np.ndarray
    reversal: np.ndarray
    sufficiency: np.ndarray
    least_sufficiency: np.ndarray
    bands: PairBands | None = None

    def __post_init__(self):
        names = ("available", "needed", "needed_deviation", "inlet_deviation", "exit_deviation")
        names += ("deviation", "ratio", "least_ratio", "mean_ratio")
        for name in (*names, "reversal", "sufficiency", "least_sufficiency"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        for name in ("inlet_index", "exit_index", "limiting"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int64))
        object.__setattr__(self, "decides", frozen_array(self.decides, bool))

    def __repr__(self):
        return (
            f"OpeningRanking({counted(self.n_pairs, 'pair')} of "
            f"{counted(len(self.inlets.openings), 'inlet')} and "
            f"{counted(len(self.exits.openings), 'exit')}, "
            f"{counted(len(self.decides), 'condition')})"
        )

    def _repr_html_(self) -> str:
        return block(self.short_table(self.condition_names))

    @property
    def condition_names(self) -> tuple[str, ...]:
        """Names of the conditions; their numbers where there are no samples."""
        if self.bands is not None:
            return tuple(condition.name for condition in self.bands.samples.conditions)
        return tuple(f"condition {c + 1}" for c in range(len(self.decides)))

    def short_table(self, names: Sequence[str], count: int = SHOWN) -> str:
        """HTML of the best pairs whose exits do not overlap.

        Parameters
        ----------
        names : of the conditions
        count : of pairs that are shown
        """
        columns = [Column("No."), *words("Least available / needed"), Column("Enough, probability")]
        columns += [*words("Exit", "Place", "Inlet"), Column("Available", "Pa")]
        columns += [Column("inH2O"), Column("Needed", "Pa"), *words("Decided by")]
        columns.append(Column("Rank of all"))
        rows = []
        for k, pair in enumerate(self.distinct(count), start=1):
            c, exit_ = int(self.limiting[pair]), self.exit(pair)
            ratio, deviation = self.least_ratio[pair], self.least_ratio_deviation(pair)
            available = self.available[c, pair]
            rows.append([
                *(str(k), Judged(banded(ratio, deviation, 2), ratio_word(ratio, deviation))),
                *(percent(self.least_sufficiency[pair]), exit_.name),
                *(f"{exit_.side}, {place(exit_.centre)}", self.inlet(pair).name),
                *(banded(available, self.deviation[c, pair]), number(available / IN_H2O, 2)),
                *(banded(self.needed[c], self.needed_deviation[c]), names[c], str(pair + 1)),
            ])  # fmt: skip
        note = (
            "1 is just enough; good above 1.3 and sure by one deviation, stop below 1. Available: "
            "pressure behind the inlet less that at the exit, on the closed skin; ± one standard "
            "deviation of the estimate."
        )
        caption = f"The best places that do not overlap, of {counted(self.n_pairs, 'pair')}"
        return table(caption, columns, rows, note)

    @property
    def n_pairs(self) -> int:
        """Number of pairs ranked."""
        return len(self.least_ratio)

    def inlet(self, pair: int) -> Opening:
        """The inlet of a pair."""
        return self.inlets.openings[self.inlet_index[pair]]

    def exit(self, pair: int) -> Opening:
        """The exit of a pair."""
        return self.exits.openings[self.exit_index[pair]]

    def _numbers(self, pair: int) -> tuple[int, int]:
        return int(self.inlet_index[pair]), int(self.exit_index[pair])

    def least_ratio_deviation(self, pair: int) -> float:
        """One standard deviation of the least available/needed of a pair."""
        if self.bands is not None:
            return float(self.bands.least_ratio_deviation[self._numbers(pair)])
        c = self.limiting[pair]
        needed, available = self.needed[c], self.available[c, pair]
        by_available = self.deviation[c, pair] / needed
        by_needed = available * self.needed_deviation[c] / needed**2
        return float(np.hypot(by_available, by_needed))

    def difference_deviation(self, first: int, second: int, condition: int) -> float:
        """Pa: deviation of the difference of two pairs; what they share leaves it."""
        if self.bands is not None:
            pairs = self._numbers(first), self._numbers(second)
            return self.bands.difference_deviation(*pairs, condition)
        parts = []
        for index, deviation in (
            (self.inlet_index, self.inlet_deviation),
            (self.exit_index, self.exit_deviation),
        ):
            if index[first] != index[second]:
                parts += [deviation[condition, index[first]], deviation[condition, index[second]]]
        return float(np.linalg.norm(parts)) if parts else 0.0

    def contributors(self, pair: int) -> dict[str, float]:
        """Parts of the variance of the least available/needed by kind, largest first.

        Those in the limiting condition; empty without samples, or where nothing is uncertain.
        """
        if self.bands is None:
            return {}
        c = int(self.limiting[pair])
        shares = self.bands.ratio_shares(*self._numbers(pair), c, self.available[c, pair])
        return {name: share for name, share in shares.items() if share > LEAST_SHARE}

    def best_with_exit(self, name: str) -> int | None:
        """Best pair that uses the exit of a name, None when there is none."""
        found = (k for k in range(self.n_pairs) if self.exit(k).name == name)
        return next(found, None)

    def best_of_each_side(self) -> dict[str, int]:
        """Best pair for every side the exit may look at."""
        best: dict[str, int] = {}
        for pair in range(self.n_pairs):
            best.setdefault(self.exit(pair).side, pair)
        return {side: best[side] for side in SIDES if side in best}

    def distinct(self, count: int) -> list[int]:
        """The best pairs of which no two have exits that overlap, at most `count`."""
        if count not in self._distinct:
            chosen: list[int] = []
            for pair in range(self.n_pairs):
                if len(chosen) == count:
                    break
                if not any(_overlap(self.exit(pair), self.exit(other)) for other in chosen):
                    chosen.append(pair)
            self._distinct[count] = chosen
        return list(self._distinct[count])

    @cached_property
    def _distinct(self) -> dict[int, list[int]]:
        """Number asked for -> what `distinct` found: it is asked for many times."""
        return {}


def _overlap(a: Opening, b: Opening) -> bool:
    """True where two openings may touch, by the larger of their sides."""
    reach = 0.5 * (max(a.length, a.width) + max(b.length, b.width))
    return float(np.linalg.norm(a.centre - b.centre)) < reach


def opening_pressures(
    flow: SurfaceFlow, openings: Sequence[Opening], recovery: Sequence[float]
) -> OpeningPressures:
    """Area means of the pressure under openings on the closed skin.

    Parameters
    ----------
    flow : SurfaceFlow
    openings : openings laid onto the surface of the flow
    recovery : one recovery fraction per opening, or (n_conditions, n_openings)

    Returns
    -------
    OpeningPressures

    Notes
    -----
    Pressure behind an inlet: p_in = p_patch + eta (p_total - p_patch), eta the recovery
    fraction, p_total the total gauge pressure of the air that comes there: q, and behind a
    propeller its rise.
    """
    operator, weights = sample_operator(flow.surface, openings)
    gauge, total, share = (part.T for part in interpolated_air(flow, operator))
    eta = np.asarray(recovery, dtype=float)
    patch, head = (weights @ gauge).T, (weights @ total).T
    spread = np.sqrt(np.maximum((weights @ gauge**2).T - patch**2, 0.0))
    patch_wetting, inlet_wetting = _wetting(flow, operator, weights, (gauge, total, share), eta)
    return OpeningPressures(
        openings=tuple(openings),
        patch_pressure=patch,
        pressure_spread=spread,
        total_pressure=head,
        inlet_pressure=patch + eta * (head - patch),
        patch_wetting=patch_wetting,
        inlet_wetting=inlet_wetting,
    )


def _wetting(flow: SurfaceFlow, operator, weights, air, eta) -> tuple[np.ndarray, np.ndarray]:
    """(n_conditions, n_openings) Pa: what is not known of the air that comes to openings.

    Its radius at the disc, between the bounds; and its total pressure, of which the skin feels
    the part that its own pressure has of the total.
    """
    gauge, total, share = air
    uncertain = 1.0 / share - 1.0
    by_patch, by_head = ((weights @ (uncertain * part)).T for part in (gauge, total))
    mixed = (weights @ (operator @ flow.head_deviation.T)).T
    patch, head = (np.abs(weights @ part).T for part in (gauge, total))
    felt = np.minimum(np.divide(patch, head, out=np.ones_like(patch), where=head > 0.0), 1.0)
    at_inlet = np.hypot((1.0 - eta) * by_patch + eta * by_head, mixed * (eta + (1.0 - eta) * felt))
    return np.hypot(by_patch, mixed * felt), at_inlet


def rank_openings(
    flow: SurfaceFlow,
    inlets: Sequence[Opening],
    exits: Sequence[Opening],
    recovery: Sequence[float],
    recovery_deviation: Sequence[float],
    cp_deviation: float | np.ndarray = 0.1,
    needed: Sequence[float] | None = None,
    discretisation: np.ndarray | None = None,
    needed_deviation: Sequence[float] | None = None,
    slipstream_deviation: np.ndarray | None = None,
    samples: PressureSamples | None = None,
) -> OpeningRanking:
    """Rank every pair of inlet and exit by the pressure difference between them.

    Parameters
    ----------
    flow : SurfaceFlow
    inlets, exits : openings laid onto the surface of the flow
    recovery, recovery_deviation : recovery fraction of each inlet and its standard deviation, one
        number per inlet or (n_conditions, n_inlets)
    cp_deviation : standard deviation of a patch-mean Cp: one number, or (n_inlets + n_exits,)
    needed : Pa for each condition; the conditions' own `needed_pressure` when not given
    discretisation : (n_conditions, n_inlets + n_exits) float, Pa, deviation of the patch
        pressures that the panelling leaves; none when not given
    needed_deviation : Pa for each condition, standard deviation of `needed`; 0 when not given
    slipstream_deviation : (n_conditions, n_inlets + n_exits) float, Pa, deviation of the
        pressures behind inlets and at exits from what is not known of the slipstream; none when
        not given
    samples : PressureSamples of the inlets and the exits after them, from which deviations and
        probabilities then come, in place of all the other deviations but that of `needed`

    Returns
    -------
    OpeningRanking, best first: by the least available/needed over the deciding conditions

    Raises
    ------
    PlacementError : no inlet, no exit, no deciding condition, a deciding condition without
        needed pressure, without any moving air, or that cannot be predicted

    Notes
    -----
    The deviation of the difference adds independent parts in squares: recovery, model error and
    panelling at the inlet (both scaled with 1 - eta), model error and panelling at the exit, which
    air of the slipstream comes there, and how strong it is. The model error of Cp counts in parts
    of q and mean rise together. In conditions that cannot be predicted these two together are
    added to the deviation. This closed form takes all openings for independent of each other;
    samples know what they have in common. The order is by the central values in both cases.
    """
    _require_openings(inlets, exits)
    required, decides, weights = _requirements(flow, needed)
    into = opening_pressures(flow, inlets, recovery)
    out = opening_pressures(flow, exits, np.zeros(len(exits)))
    first, second = _pairs(inlets, exits)
    available = into.inlet_pressure[:, first] - out.patch_pressure[:, second]
    ratio = np.divide(
        available,
        required[:, None],
        out=np.full(available.shape, np.nan),
        where=required[:, None] > 0.0,
    )
    deciding = ratio[decides]
    least = deciding.min(axis=0)
    mean = weights[decides] @ deciding / weights[decides].sum()
    limiting = np.flatnonzero(decides)[deciding.argmin(axis=0)]
    order = np.lexsort((-mean.round(9), -least.round(9)))
    pairs = first[order], second[order]
    needed_deviation = np.zeros(len(required)) if needed_deviation is None else needed_deviation
    if samples is None:
        patch = _patch_deviation(flow, len(inlets) + len(exits), cp_deviation, discretisation)
        at_inlet, at_exit = np.split(patch, [len(inlets)], axis=1)
        at_inlet = _inlet_deviation(flow, into, at_inlet, recovery, recovery_deviation)
        both = _with_slipstream(flow, at_inlet, at_exit, into, out, slipstream_deviation)
        numbers = available[:, order], required, needed_deviation, limiting[order]
        doubt = _closed_form(flow, pairs, *both, *numbers)
    else:
        _require_same(samples, [*inlets, *exits])
        allowed = np.zeros((len(inlets), len(exits)), dtype=bool)
        allowed[first, second] = True
        doubt = _sampled(pair_bands(samples, len(inlets), required, decides, allowed), pairs)
    return OpeningRanking(
        inlets=into,
        exits=out,
        inlet_index=pairs[0],
        exit_index=pairs[1],
        available=available[:, order],
        needed=required,
        needed_deviation=needed_deviation,
        decides=decides,
        ratio=ratio[:, order],
        least_ratio=least[order],
        mean_ratio=mean[order],
        limiting=limiting[order],
        **doubt,
    )


def _sampled(bands: PairBands, pairs) -> dict:
    """Deviations and probabilities of pairs from samples."""
    first, second = pairs
    return {
        "inlet_deviation": bands.inlet_deviation,
        "exit_deviation": bands.exit_deviation,
        "deviation": bands.deviation[:, first, second],
        "reversal": bands.reversal[:, first, second],
        "sufficiency": bands.sufficiency[:, first, second],
        "least_sufficiency": bands.least_sufficiency[first, second],
        "bands": bands,
    }


def _closed_form(
    flow, pairs, at_inlet, at_exit, available, required, needed_deviation, limiting
) -> dict:
    """Deviations and probabilities of pairs, as if all were normal and independent."""
    deviation = np.hypot(at_inlet[:, pairs[0]], at_exit[:, pairs[1]])
    both = np.hypot(deviation, np.asarray(needed_deviation, dtype=float)[:, None])
    reversal = 1.0 - _above_zero(available, deviation)
    sufficiency = _above_zero(available - required[:, None], both)
    reversal[~flow.predicted] = np.nan
    sufficiency[~flow.predicted | np.isnan(required)] = np.nan
    return {
        "inlet_deviation": at_inlet,
        "exit_deviation": at_exit,
        "deviation": deviation,
        "reversal": reversal,
        "sufficiency": sufficiency,
        "least_sufficiency": sufficiency[limiting, np.arange(len(limiting))],
    }


def _above_zero(value, deviation) -> np.ndarray:
    """Probability that a normally distributed value is not negative."""
    certain = np.where(value >= 0.0, np.inf, -np.inf)
    return ndtr(np.divide(value, deviation, out=certain, where=deviation > 0.0))


def _require_same(samples: PressureSamples, openings):
    """The samples must be of these openings, in this order."""
    mine = [opening.name for opening in samples.openings]
    if mine != [opening.name for opening in openings]:
        raise PlacementError(
            f"the samples are of {len(mine)} other openings than the {len(openings)} inlets and "
            "exits to rank; sample the inlets and after them the exits"
        )


def _require_openings(inlets, exits):
    for openings, word in ((inlets, "inlet"), (exits, "exit")):
        if len(openings) == 0:
            raise PlacementError(
                f"no {word} to rank: give an [[opening]] or a [[search]] with use = {word!r}"
            )


def _pairs(inlets, exits) -> tuple[np.ndarray, np.ndarray]:
    """Every inlet with every exit, but for those that lie on each other."""
    pairs = [
        (i, k)
        for i, inlet in enumerate(inlets)
        for k, outlet in enumerate(exits)
        if inlet.name != outlet.name and not _overlap(inlet, outlet)
    ]
    if not pairs:
        raise PlacementError("every exit lies on the inlet it would go with; move one of them")
    return tuple(np.array(pairs, dtype=np.int64).T)


def _requirements(flow: SurfaceFlow, needed) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    conditions = flow.conditions
    if needed is None:
        needed = [condition.needed_pressure for condition in conditions]
    required = np.array([np.nan if value is None else value for value in needed], dtype=float)
    decides = np.array([condition.decides for condition in conditions])
    weights = np.array([condition.weight for condition in conditions])
    if not decides.any():
        raise PlacementError("no condition decides: set decides = true for at least one")
    lacking = [c.name for c, r in zip(conditions, required, strict=True) if c.decides and not r > 0]
    if lacking:
        raise PlacementError(
            f"no needed pressure above 0 for the deciding condition(s) {', '.join(lacking)}: give "
            "needed_pressure there, or needed_pressure in [engine]"
        )
    _require_air(flow, decides)
    if not weights[decides].sum() > 0.0:
        raise PlacementError("the weights of the deciding conditions add up to 0")
    return required, decides, weights


def _require_air(flow: SurfaceFlow, decides):
    """Deciding conditions must have moving air, and be predictable."""
    for wrong, reason in (
        (~flow.moving, "no air that moves: neither a stream nor a propeller with power"),
        (~flow.predicted, "the wind from behind into the slipstream, which cannot be predicted"),
    ):
        names = [c.name for c, bad in zip(flow.conditions, wrong & decides, strict=True) if bad]
        if names:
            raise PlacementError(
                f"the deciding condition(s) {', '.join(names)} have {reason}; set decides = false"
            )


def _patch_deviation(flow, n_openings, cp_deviation, discretisation) -> np.ndarray:
    """(n_conditions, n_openings) Pa: model error and panelling of every patch pressure."""
    model = np.broadcast_to(np.asarray(cp_deviation, dtype=float), n_openings)
    model = model * flow.reference_pressure[:, None]
    return model if discretisation is None else np.hypot(model, discretisation)


def _inlet_deviation(flow, into, patch_deviation, recovery, recovery_deviation) -> np.ndarray:
    """(n_conditions, n_inlets) Pa: deviation of the pressure behind each inlet."""
    eta = np.asarray(recovery, dtype=float)
    lost = np.abs(into.total_pressure - into.patch_pressure)
    by_recovery = lost * np.asarray(recovery_deviation, dtype=float)
    return np.hypot(by_recovery, (1.0 - eta) * patch_deviation)


def _with_slipstream(flow, at_inlet, at_exit, into, out, slipstream_deviation):
    """Deviations at inlets and exits with those of the slipstream and of what is not predicted."""
    blind = np.where(flow.predicted, 0.0, flow.reference_pressure)[:, None]
    at_inlet = np.sqrt(at_inlet**2 + into.inlet_wetting**2 + 0.5 * blind**2)
    at_exit = np.sqrt(at_exit**2 + out.patch_wetting**2 + 0.5 * blind**2)
    if slipstream_deviation is None:
        return at_inlet, at_exit
    by_inlet, by_exit = np.split(slipstream_deviation, [at_inlet.shape[1]], axis=1)
    return np.hypot(at_inlet, by_inlet), np.hypot(at_exit, by_exit)
