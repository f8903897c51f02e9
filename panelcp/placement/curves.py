"""Top against bottom against side: curves along the skin, and how far forward an exit must go.

Everything is a sum of unit solutions that are there already; nothing is solved anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.display import (
    Column,
    banded,
    block,
    counted,
    facts,
    number,
    percent,
    table,
    words,
)
from panelcp.errors import PlacementError, SurfaceError
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow, interpolated_air
from panelcp.onset.conditions import FlightCondition
from panelcp.placement.foot import STEP, line_points, windshield_foot
from panelcp.placement.ranking import OpeningRanking, opening_pressures
from panelcp.placement.sweeps import BEARING, VALUES, Sweep, can_sweep, in_flight, sweep, sweep_base
from panelcp.surface.interpolation import point_operator
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening, lay_opening
from panelcp.surface.rays import SkinFinder

SIDE_ORDER = ("top", "bottom", "right", "left", "front", "rear")

WINDOW_STEP = 0.025
"""m, between the stations of a moving opening."""

AMPLIFIED = 3.0
"""Points whose interpolation has weights that add up to more, in size, are left out of a line: at
the centre line of some surfaces a fit hangs on few panels and multiplies their differences."""

ROOM_AFT = 0.2
"""m, of a line behind the foot of the windshield and the last opening."""


# --- top against bottom against side -------------------------------------------------------


@dataclass(frozen=True, eq=False)
class SideTable:
    """The best exit of each side, with its best inlet, in all conditions.

    Attributes
    ----------
    sides : those of SIDE_ORDER that have an exit
    pairs : (n_sides,) int, of the ranking
    inlets, exits : (n_sides,) Opening
    dynamic_pressure : (n_conditions,) float, Pa; nan where Cp says nothing, on the ground
    exit_pressure, exit_deviation : (n_conditions, n_sides) float, Pa
    available, deviation : (n_conditions, n_sides) float, Pa
    ratio, ratio_deviation : (n_conditions, n_sides) float, available over needed; nan where
        nothing is asked for
    reversal : (n_conditions, n_sides) float, probability; nan where it is not predicted
    """

    sides: tuple[str, ...]
    pairs: np.ndarray
    inlets: tuple[Opening, ...]
    exits: tuple[Opening, ...]
    dynamic_pressure: np.ndarray
    exit_pressure: np.ndarray
    exit_deviation: np.ndarray
    available: np.ndarray
    deviation: np.ndarray
    ratio: np.ndarray
    ratio_deviation: np.ndarray
    reversal: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "pairs", frozen_array(self.pairs, np.int64))
        names = ("dynamic_pressure", "exit_pressure", "exit_deviation", "available", "deviation")
        for name in (*names, "ratio", "ratio_deviation", "reversal"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def __repr__(self):
        conditions = counted(len(self.dynamic_pressure), "condition")
        return f"SideTable({', '.join(self.sides)}; {conditions})"

    def _repr_html_(self) -> str:
        columns = [*words("Side", "Best exit", "Inlet"), Column("Cp at the exit, mean")]
        columns += [Column("Least available / needed"), Column("in condition no.")]
        columns.append(Column("Chance of reversal, up to"))
        flying = np.isfinite(self.dynamic_pressure)
        rows = []
        for k, side in enumerate(self.sides):
            ratio, chance = self.ratio[:, k], self.reversal[:, k]
            cells = [side, self.exits[k].name, self.inlets[k].name]
            cells.append(number(self.exit_cp[flying, k].mean(), 2) if flying.any() else "")
            if np.isfinite(ratio).any():
                c = int(np.nanargmin(ratio))
                cells += [banded(ratio[c], self.ratio_deviation[c, k], 2), str(c + 1)]
            else:
                cells += ["", ""]
            known = chance[np.isfinite(chance)]
            rows.append([*cells, percent(known.max()) if len(known) else "not predicted"])
        note = "The mean is over the conditions in flight. Conditions are numbered as given."
        return block(table("Top, bottom, sides", columns, rows, note))

    @property
    def exit_cp(self) -> np.ndarray:
        """(n_conditions, n_sides) float: exit pressure over q; nan on the ground."""
        return self.exit_pressure / self.dynamic_pressure[:, None]


def side_table(ranking: OpeningRanking, conditions: Sequence[FlightCondition]) -> SideTable:
    """Top against bottom against side.

    Parameters
    ----------
    ranking : OpeningRanking
    conditions : those of the ranking, in order

    Returns
    -------
    SideTable

    Notes
    -----
    The deviation of the ratio takes available and needed pressure for independent of each other.
    """
    best = ranking.best_of_each_side()
    sides = tuple(side for side in SIDE_ORDER if side in best)
    pairs = np.array([best[side] for side in sides], dtype=np.int64)
    exits = ranking.exit_index[pairs]
    available, deviation = ranking.available[:, pairs], ranking.deviation[:, pairs]
    needed = np.where(ranking.needed > 0.0, ranking.needed, np.nan)[:, None]
    by_needed = available * ranking.needed_deviation[:, None] / needed**2
    flying = [c.dynamic_pressure if in_flight(c) else np.nan for c in conditions]
    return SideTable(
        sides=sides,
        pairs=pairs,
        inlets=tuple(ranking.inlet(pair) for pair in pairs),
        exits=tuple(ranking.exit(pair) for pair in pairs),
        dynamic_pressure=np.array(flying),
        exit_pressure=ranking.exits.patch_pressure[:, exits],
        exit_deviation=ranking.exit_deviation[:, exits],
        available=available,
        deviation=deviation,
        ratio=ranking.ratio[:, pairs],
        ratio_deviation=np.hypot(deviation / needed, by_needed),
        reversal=ranking.reversal[:, pairs],
    )


# --- lines along the skin ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class SkinLine:
    """Pressure along a line on the closed skin in all conditions.

    Attributes
    ----------
    side : "top", "bottom", "right" or "left"
    across : m, butt line of a line above or below, waterline of one at a side
    conditions : in order
    station : (n,) float, m, increasing
    points : (n, 3) float, m, on the skin
    pressure : (n_conditions, n) float, Pa
    deviation : (n_conditions, n) float, Pa, one standard deviation: model error, which air of the
        slipstream comes there, separated air
    size : (length, width) in m of an opening that moves along the line, whose area mean the
        pressure then is; None for single points
    """

    side: str
    across: float
    conditions: tuple[FlightCondition, ...]
    station: np.ndarray
    points: np.ndarray
    pressure: np.ndarray
    deviation: np.ndarray
    size: tuple[float, float] | None = None

    def __post_init__(self):
        for name in ("station", "points", "pressure", "deviation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def __repr__(self):
        return (
            f"SkinLine({self.side}, {counted(len(self.station), 'point')}, "
            f"{counted(len(self.conditions), 'condition')})"
        )

    def _repr_html_(self) -> str:
        columns = [*words("Condition"), Column("Least", "Pa"), Column("at STA", "mm")]
        columns += [Column("Greatest", "Pa"), Column("at STA", "mm")]
        rows = []
        for condition, pressure, spread in zip(
            self.conditions, self.pressure, self.deviation, strict=True
        ):
            cells = [condition.name]
            for k in (int(pressure.argmin()), int(pressure.argmax())):
                cells += [banded(pressure[k], spread[k]), number(1e3 * self.station[k])]
            rows.append(cells)
        ends = f"STA {number(1e3 * self.station[0])} to {number(1e3 * self.station[-1])} mm"
        size = self.size and f"{1e3 * self.size[0]:.0f} × {1e3 * self.size[1]:.0f} mm"
        what = f"an opening of {size} moved along it" if self.size else "single points"
        return block(table(f"Pressure along the {self.side} line, {ends}, {what}", columns, rows))

    @property
    def _q(self) -> np.ndarray:
        return np.array([c.dynamic_pressure if in_flight(c) else np.nan for c in self.conditions])

    @property
    def cp(self) -> np.ndarray:
        """(n_conditions, n) float; nan on the ground."""
        return self.pressure / self._q[:, None]

    @property
    def cp_deviation(self) -> np.ndarray:
        """(n_conditions, n) float; nan on the ground."""
        return self.deviation / self._q[:, None]


def widest_height(surface: SurfaceMesh, first: float, last: float) -> float:
    """m: waterline of the widest point of the body between two stations."""
    points = surface.centroids
    here = np.flatnonzero((points[:, 0] >= first) & (points[:, 0] <= last))
    if not len(here):
        raise PlacementError(
            f"no skin between STA {1e3 * first:.0f} and {1e3 * last:.0f} mm; correct the ends"
        )
    breadth = np.abs(points[here, 1])
    wide = breadth > 0.995 * breadth.max()
    return float(points[here[wide], 2].mean())


def pressure_line(
    flow: SurfaceFlow,
    side: str,
    first: float,
    last: float,
    across: float = 0.0,
    cp_deviation: float | np.ndarray = 0.1,
    step: float = STEP,
    finder: SkinFinder | None = None,
) -> SkinLine:
    """Pressure at single points along a line, say the top centre line.

    Parameters
    ----------
    flow : SurfaceFlow
    side, first, last, across, step : see `line_points`
    cp_deviation : model error of Cp, one number or (n_panels,); it counts in parts of q and mean
        rise together
    finder : SkinFinder of the surface, when there is one already

    Returns
    -------
    SkinLine, of attached air: separated air is known under openings only, see `opening_line`
    """
    finder = finder or SkinFinder(flow.surface)
    points, panels = line_points(finder, side, first, last, across, step)
    operator = point_operator(flow.surface, points, panels)
    sound = np.abs(operator).sum(axis=1) <= AMPLIFIED
    if not sound.any():
        raise PlacementError(f"no point of the {side} line has neighbours to interpolate between")
    operator, points, panels = operator[sound], points[sound], panels[sound]
    nothing = np.zeros(flow.gauge_pressure.shape)
    gauge, total, share = interpolated_air(flow.with_separation(nothing, nothing), operator)
    model = np.broadcast_to(np.asarray(cp_deviation, dtype=float), flow.surface.n_panels)[panels]
    felt = np.divide(gauge, total, out=np.ones_like(gauge), where=total > 0.0).clip(-1.0, 1.0)
    parts = (
        flow.reference_pressure[:, None] * model,
        gauge * (1.0 / share - 1.0),
        felt * (operator @ flow.head_deviation.T).T,
        _blind(flow),
    )
    return SkinLine(
        *(side, float(across), flow.conditions, points[:, 0], points, gauge),
        deviation=_added(parts),
    )


def opening_line(
    flow: SurfaceFlow,
    side: str,
    first: float,
    last: float,
    size: tuple[float, float],
    across: float = 0.0,
    cp_deviation: float | np.ndarray = 0.1,
    step: float = WINDOW_STEP,
    finder: SkinFinder | None = None,
) -> SkinLine:
    """Area mean of the pressure over an opening that is moved along a line.

    Parameters
    ----------
    flow, side, first, last, across, cp_deviation, step, finder : see `pressure_line`
    size : m, length and width of the opening

    Returns
    -------
    SkinLine; stations at which the opening does not fit onto the skin are left out

    Raises
    ------
    PlacementError : it fits nowhere
    """
    finder = finder or SkinFinder(flow.surface)
    points, _ = line_points(finder, side, first, last, across, step)
    laid = []
    for point in points:
        try:
            laid.append(lay_opening(finder, f"{side} line", point, *size))
        except SurfaceError:
            continue
    laid = [opening for opening in laid if opening.side == side]
    if not laid:
        raise PlacementError(
            f"an opening of {1e3 * size[0]:.0f} by {1e3 * size[1]:.0f} mm fits nowhere on the "
            f"{side} line; make it smaller"
        )
    air = opening_pressures(flow, laid, np.zeros(len(laid)))
    error = np.broadcast_to(np.asarray(cp_deviation, dtype=float), flow.surface.n_panels)
    model = np.array([error[o.sample_panels] @ o.sample_weights for o in laid])
    apart = [flow.separation_deviation[:, o.sample_panels] @ o.sample_weights for o in laid]
    parts = (
        flow.reference_pressure[:, None] * model,
        air.patch_wetting,
        np.stack(apart, axis=1),
        _blind(flow),
    )
    places = np.array([opening.centre for opening in laid])
    return SkinLine(
        *(side, float(across), flow.conditions, places[:, 0], places, air.patch_pressure),
        deviation=_added(parts),
        size=size,
    )


def _blind(flow: SurfaceFlow) -> np.ndarray:
    """(n_conditions, 1) Pa: q and mean rise together where only a sign can be told."""
    return np.where(flow.predicted, 0.0, flow.reference_pressure)[:, None]


def _added(parts) -> np.ndarray:
    """Independent deviations added in squares."""
    return np.sqrt(sum(np.asarray(part) ** 2 for part in parts))


# --- how far forward -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class StationAnswer:
    """How far forward an opening must lie, in every condition.

    Attributes
    ----------
    asked : what must hold there, in words
    conditions : in order
    station : (n_conditions,) float, m, the aftmost one ahead of the end of the line at which it
        holds; nan where it holds nowhere, or nothing is asked for
    low, high : (n_conditions,) float, m, the same with a pressure at the exit that is one deviation
        higher or lower: low is on the safe side; nan where it holds nowhere
    asks : (n_conditions,) bool, False where nothing is asked for
    end : m, end of the line that was looked at, say the foot of the windshield
    """

    asked: str
    conditions: tuple[FlightCondition, ...]
    station: np.ndarray
    low: np.ndarray
    high: np.ndarray
    asks: np.ndarray
    end: float

    def __post_init__(self):
        for name in ("station", "low", "high"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "asks", frozen_array(self.asks, bool))

    def __repr__(self):
        return f"StationAnswer({self.asked!r}, {counted(len(self.conditions), 'condition')})"

    def _repr_html_(self) -> str:
        columns = [*words("Condition"), Column("Farthest aft STA", "mm")]
        columns += [Column("safe", "mm"), Column("with luck", "mm")]
        rows = []
        for c, condition in enumerate(self.conditions):
            stations = (part[c] for part in (self.station, self.low, self.high))
            cells = [number(1e3 * station) or "nowhere" for station in stations]
            rows.append([condition.name, *(cells if self.asks[c] else ("not asked", "", ""))])
        return block(table(f"How far aft: {self.asked}", columns, rows))


def station_below_cp(line: SkinLine, cp: float, end: float) -> StationAnswer:
    """The aftmost station ahead of `end` at which Cp is at most `cp`.

    On the ground, where Cp says nothing, the pressure is taken against 0 when `cp` is 0, and
    nothing is asked for when it is not.
    """
    flying = np.array([in_flight(c) for c in line.conditions])
    q = np.array([c.dynamic_pressure for c in line.conditions])
    limit = np.where(flying, cp * q, 0.0 if cp == 0.0 else np.nan)
    word = f"Cp at most {cp:g}".replace("-", "\N{MINUS SIGN}")
    return _answer(line, limit, line.deviation, end, word if cp else "suction")


def station_enough(line: SkinLine, ranking: OpeningRanking, inlet: int, end: float):
    """The aftmost station ahead of `end` at which an inlet and the line give what is needed.

    Parameters
    ----------
    line : SkinLine in the conditions of the ranking
    ranking : OpeningRanking
    inlet : number of the inlet
    end : m

    Returns
    -------
    StationAnswer; deviations of inlet, exit and needed pressure are added in squares
    """
    needed = np.where(ranking.needed > 0.0, ranking.needed, np.nan)
    limit = ranking.inlets.inlet_pressure[:, inlet] - needed
    own = np.hypot(ranking.inlet_deviation[:, inlet], ranking.needed_deviation)[:, None]
    asked = f"needed pressure met with {ranking.inlets.openings[inlet].name}"
    return _answer(line, limit, np.hypot(line.deviation, own), end, asked)


def _answer(line: SkinLine, limit, deviation, end: float, asked: str) -> StationAnswer:
    ahead = line.station <= end + 1e-9
    station = line.station[ahead]
    excess, spread = (line.pressure - limit[:, None])[:, ahead], deviation[:, ahead]
    found = [
        [_aftmost(station, row + sign * band) for row, band in zip(excess, spread, strict=True)]
        for sign in (0.0, 1.0, -1.0)
    ]
    return StationAnswer(asked, line.conditions, *found, np.isfinite(limit), float(end))


def _aftmost(station, excess) -> float:
    """Aftmost station at which the excess, linear in between, is not above zero.

    >>> _aftmost(np.array([0.0, 1.0, 2.0, 3.0]), np.array([1.0, -1.0, 1.0, 2.0]))
    1.5
    """
    below = np.flatnonzero(excess <= 0.0)
    if not len(below):
        return float("nan")
    k = below[-1]
    if k == len(station) - 1:
        return float(station[k])
    share = excess[k] / (excess[k] - excess[k + 1])
    return float(station[k] + share * (station[k + 1] - station[k]))


# --- all of them ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Curves:
    """All curves of a case.

    Attributes
    ----------
    sides : SideTable
    lines : SkinLine of single points: top, bottom, right, left, as far as there is skin
    moved : SkinLine of an opening moved along the top centre line, or None where none fits
    foot : m, station of the windshield's foot, or None
    answers : StationAnswer of the moved opening; none without it
    sweeps : Sweep of everything that means something in the deciding condition
    wind : Sweep of the bearing of the wind on the ground, or None
    """

    sides: SideTable
    lines: tuple[SkinLine, ...]
    moved: SkinLine | None
    foot: float | None
    answers: tuple[StationAnswer, ...]
    sweeps: tuple[Sweep, ...]
    wind: Sweep | None

    def __repr__(self):
        return (
            f"Curves({counted(len(self.sides.sides), 'side')}, {counted(len(self.lines), 'line')}, "
            f"{counted(len(self.sweeps) + (self.wind is not None), 'sweep')})"
        )

    def _repr_html_(self) -> str:
        rows = [
            ("sides, best exits", ", ".join(self.sides.sides)),
            ("lines along the skin", ", ".join(line.side for line in self.lines)),
            ("opening moved along the top", "yes" if self.moved is not None else "no"),
            (
                "foot of the windshield",
                "" if self.foot is None else f"STA {1e3 * self.foot:.0f} mm",
            ),
            *(("asked", answer.asked) for answer in self.answers),
            *(
                ("swept", f"{sweep.quantity}, {counted(len(sweep.values), 'value')}")
                for sweep in self.sweeps
            ),
            ("wind on the ground", "" if self.wind is None else f"{self.wind.base.name}"),
        ]
        return block(facts("Curves", rows), self.sides._repr_html_())


def curves_of(
    solutions: Solutions,
    flow: SurfaceFlow,
    ranking: OpeningRanking,
    named: Sequence[str] = (),
    cp_deviation: float | np.ndarray = 0.1,
    last: float | None = None,
) -> Curves:
    """All curves of a case.

    Parameters
    ----------
    solutions : Solutions
    flow : SurfaceFlow of these, with separated air
    ranking : OpeningRanking of that flow
    named : names of the exits of the case; their pairs stand first
    cp_deviation : model error of Cp, one number or (n_panels,)
    last : m, station at which the lines end; behind the windshield's foot when not given

    Returns
    -------
    Curves
    """
    finder = SkinFinder(flow.surface)
    first = float(flow.surface.bounds[0, 0])
    foot = windshield_foot(line_points(finder, "top", first, flow.surface.bounds[1, 0])[0])
    last = _last_station(flow, ranking, foot) if last is None else last
    pairs = chosen_pairs(ranking, named)
    base = sweep_base(solutions, flow, ranking, pairs)
    quantities = [quantity for quantity in VALUES if quantity != BEARING]
    moved = _moved(flow, ranking, pairs, (first, last), cp_deviation, finder)
    end = last if foot is None else foot
    answers = () if moved is None else _answers(moved, ranking, end)
    return Curves(
        sides=side_table(ranking, flow.conditions),
        lines=_lines(flow, (first, last), cp_deviation, finder),
        moved=moved,
        foot=foot,
        answers=answers,
        sweeps=tuple(sweep(base, q) for q in quantities if can_sweep(base, q)),
        wind=_wind(solutions, flow, ranking, pairs),
    )


def chosen_pairs(ranking: OpeningRanking, named: Sequence[str] = ()) -> list[int]:
    """Pairs of the exits with a name, each with its best inlet, then the best of each side."""
    pairs = [ranking.best_with_exit(name) for name in named]
    pairs += list(ranking.best_of_each_side().values())
    return list(dict.fromkeys(pair for pair in pairs if pair is not None))


def _last_station(flow: SurfaceFlow, ranking: OpeningRanking, foot: float | None) -> float:
    ends = [o.centre[0] + 0.5 * o.length for o in ranking.exits.openings]
    ends += [] if foot is None else [foot]
    return float(min(max(ends) + ROOM_AFT, flow.surface.bounds[1, 0]))


def _lines(flow: SurfaceFlow, ends, cp_deviation, finder) -> tuple[SkinLine, ...]:
    height = widest_height(flow.surface, *ends)
    lines = []
    for side, across in (("top", 0.0), ("bottom", 0.0), ("right", height), ("left", height)):
        try:
            more = (across, cp_deviation, STEP, finder)
            lines.append(pressure_line(flow, side, *ends, *more))
        except PlacementError:
            continue
    return tuple(lines)


def _moved(flow, ranking, pairs, ends, cp_deviation, finder) -> SkinLine | None:
    """An opening as large as the first exit on top of the chosen ones, or of any."""
    chosen = [ranking.exit(pair) for pair in pairs]
    exits = [o for o in (*chosen, *ranking.exits.openings) if o.side == "top"] or chosen
    size = (exits[0].length, exits[0].width)
    try:
        return opening_line(flow, "top", *ends, size, 0.0, cp_deviation, finder=finder)
    except PlacementError:
        return None


def _answers(moved: SkinLine, ranking: OpeningRanking, end: float) -> tuple[StationAnswer, ...]:
    ahead = moved.station + 0.5 * moved.size[0] <= end + 1e-9
    if not ahead.any():
        return ()
    end = float(moved.station[ahead].max())
    inlet = int(ranking.inlet_index[0])
    return (
        station_below_cp(moved, 0.0, end),
        station_below_cp(moved, -0.1, end),
        station_enough(moved, ranking, inlet, end),
    )


def _wind(solutions, flow, ranking, pairs) -> Sweep | None:
    """Bearing of the wind in the condition on the ground with the most wind and least power."""
    rolling = [c.ground_speed is not None for c in flow.conditions]
    numbers = np.flatnonzero(rolling & flow.moving).tolist()
    if not numbers:
        return None
    number = max(
        numbers, key=lambda k: (flow.conditions[k].wind_speed, -(flow.conditions[k].power or 0.0))
    )
    return sweep(sweep_base(solutions, flow, ranking, pairs, number), BEARING)
