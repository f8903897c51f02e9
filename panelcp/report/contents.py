"""One record with everything that the results are written from."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from panelcp.cooling.placing import MarginRanking
from panelcp.cooling.results import CoolingResult
from panelcp.display import percent
from panelcp.errors import FlowError
from panelcp.flow.pocket_edges import PocketEdges
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.panels.faults import Fault
from panelcp.panels.solving import UnitSolutions
from panelcp.placement.choices import Choices
from panelcp.placement.combinations import Combinations
from panelcp.placement.curves import Curves
from panelcp.placement.effects import EffectShares
from panelcp.placement.exit_air import Hit, StaticPortErrors
from panelcp.placement.layers_at_openings import OpeningLayers
from panelcp.placement.ranking import OpeningPressures, OpeningRanking
from panelcp.placement.spoilers import Spoiler
from panelcp.placement.through_flow import ThroughFlow
from panelcp.placement.vent_map import VentMap
from panelcp.quantity import UncertainValue
from panelcp.surface.checking import SurfaceCheck
from panelcp.surface.opening import Opening
from panelcp.surface.skin_distance import TapeDistances

CAUTIONS = (
    "Estimate for study. Not approved data, not a finding of compliance, no replacement for test.",
    "The rules of the local authority, the operating limitations, the kit designer's instructions "
    "and the engine's own document govern over anything shown here.",
    "Have an inspector, licensed engineer or the designer look at every cut in a cowl, firewall or "
    "structure. Nothing here says that a cut is strong enough.",
    "Loss of cooling in flight can end in engine stoppage. Plan a landing place for every test; "
    "decide the stop limits first.",
    "An exit ahead of the windshield is a path for flame, smoke and hot fluid towards the people. "
    "Keep the firewall sealed.",
    "Fit an active carbon monoxide detector before the first test. Nothing here clears a cabin "
    "opening.",
)
NOT_MODELLED = (
    "separated air but for its edges: the layer is followed to separation, a pocket gets a band, "
    "and behind bluff edges the pressure shown is too high or too low",
    "wakes of cowl flaps, exhaust pipes and blade roots",
    "unsteady flow, and structure",
)
NO_NETWORK = (
    "the ducts and cores inside: in the ranking the openings are closed skin, and how much air "
    "flows, so how big they must be, is not in it; give [[core]] and [[duct]] in the case"
)
WITH_NETWORK = (
    "the ducts and cores in the ranking of places, where the openings are closed skin; the cooling "
    "network takes the openings that the case names. Uneven flow over a core, and air that goes "
    "both ways through one opening, are not in it"
)
ALONE = (
    "several exits on one bay: every pair of inlet and exit stands alone in the ranking; of two "
    "exits that share a bay, the one with more pressure may draw air in"
)
ONE_BAY = (
    "the bay but as one room ahead of the core and one behind it: leaks, fans, heat and the "
    "influence of one opening on another are left out of the combinations"
)
PROPELLER_NOTICE = (
    "propeller not modelled: tow and run-up are not usable; give [propeller] in the case"
)
OFF_NOTICE = (
    "propeller not modelled, since slipstream is switched off in [effects]: tow and run-up are not "
    "usable"
)
NO_PROPELLER = "propeller and slipstream"
NO_WING = "the wing's lift and its upwash"
NO_GROUND = "the ground"
WITH_PROPELLER = (
    "bending of the slipstream in the wind across it, and how its tube narrows; wakes of single "
    "blades"
)
WITH_WING = "the wing's thickness, its flaps, and the air within about a chord of its root"
WITH_GROUND = "the vortex that may rise from the ground into a propeller or inlet at rest"

CERTAIN, LIKELY, POSSIBLE = 0.84, 0.5, 0.023
"""Flow would reverse above the first probability, does so more likely than not above the second,
and may above the third: one deviation, none, two."""

NAMED_SHARE = 0.1
"""A part of the variance that is named: at least so much, but the largest always."""


@dataclass(frozen=True, eq=False, kw_only=True)
class AirContents:
    """The pressures over the skin, and how they are shown.

    Attributes
    ----------
    name, question, note : texts of the case
    version : of the program
    input_hash : of case text, surface file and version
    check : figures of the surface
    solutions : Solutions
    flow : SurfaceFlow
    checks : of the solution, passed or not
    openings : all openings the case names, and their pressures in all conditions
    needed_pressure : for each condition, or None
    inputs : the case file as understood, for JSON
    marks : (place, UncertainValue) of every uncertain number that was used
    warnings : lines
    log : lines of what was done
    ranking : OpeningRanking, or None where places were not ranked
    skin_state : (n_conditions, n_panels) int, state of the air over the skin, or None
    skin_thickness : (n_conditions, n_panels) float, m, of the layer over the skin, or None
    pocket_edges : where the pocket ahead of the windshield begins, by condition
    views : names of the map views
    best : number of places in the short list
    last_station : m, the maps show the body up to there; None leaves it to the openings
    same_limits : whether the maps of all conditions have one scale of Cp
    grey_print : maps for printers without colour
    paper : "A4" or "Letter"
    date : printed on the report, "2026-05-01"; "" for none
    section_stations : m, where the body is cut across; none leaves it to the places found
    """

    name: str
    question: str
    note: str
    version: str
    input_hash: str
    check: SurfaceCheck
    solutions: Solutions
    flow: SurfaceFlow
    checks: tuple[Fault, ...]
    openings: OpeningPressures
    needed_pressure: tuple[UncertainValue | None, ...]
    inputs: dict[str, Any]
    marks: tuple[tuple[str, UncertainValue], ...]
    warnings: tuple[str, ...]
    log: tuple[str, ...]
    ranking: OpeningRanking | None = None
    skin_state: np.ndarray | None = None
    skin_thickness: np.ndarray | None = None
    pocket_edges: tuple[PocketEdges, ...] = ()
    views: tuple[str, ...]
    best: int = 8
    last_station: float | None = None
    same_limits: bool = True
    grey_print: bool = False
    paper: str = "A4"
    date: str = ""
    section_stations: tuple[float, ...] = ()

    @property
    def units(self) -> UnitSolutions:
        """Unit solutions of most conditions."""
        return self.solutions.main

    @property
    def has_propeller(self) -> bool:
        """Whether a propeller is given and its slipstream switched on."""
        around = self.solutions.surroundings
        return around.propeller is not None and "slipstream" in around.effects

    @property
    def has_wing(self) -> bool:
        """Whether a wing is given and switched on."""
        around = self.solutions.surroundings
        return around.wing is not None and "wing" in around.effects

    @property
    def notices(self) -> tuple[str, ...]:
        """What makes whole conditions unusable."""
        if self.has_propeller:
            return ()
        given = self.solutions.surroundings.propeller is not None
        return (OFF_NOTICE if given else PROPELLER_NOTICE,)

    @property
    def air_not_modelled(self) -> tuple[str, ...]:
        """What the pressures over the skin leave out."""
        grounds = [part.units.ground is not None for part in self.solutions.parts]
        over_ground = [c.on_ground for c in self.flow.conditions]
        ground = [WITH_GROUND] if any(grounds) else [NO_GROUND] if any(over_ground) else []
        return (
            WITH_PROPELLER if self.has_propeller else NO_PROPELLER,
            WITH_WING if self.has_wing else NO_WING,
            *ground,
            *NOT_MODELLED,
        )

    @property
    def trace(self) -> str:
        """What a picture needs to be found again: inputs and program."""
        return f"Inputs {self.input_hash}, panelcp {self.version}."

    @property
    def short_list(self) -> list[int]:
        """Best pairs whose places do not overlap; none where places were not ranked."""
        return [] if self.ranking is None else self.ranking.distinct(self.best)


@dataclass(frozen=True, eq=False, kw_only=True)
class RunContents(AirContents):
    """Everything one run has found.

    Attributes
    ----------
    ranking : OpeningRanking
    searches : one line per search region
    effects : EffectShares of propeller, wing and ground, or None where none acts
    through : ThroughFlow of openings with a given flow, or None
    layers : OpeningLayers at the openings of the case and of the short list, or None
    exit_air : Hits of the exits' air
    static_ports : StaticPortErrors, or None without ports on the body
    choices : the short list compared with itself in all worlds, or None
    spoilers : what spoils the places that are shown
    tape : name of an opening -> its distances along the skin
    near_zones : name of an opening -> the no-cut zone next to it and the way to it, m, or None
    vent_maps : what a small opening would be worth everywhere, as an exit and as an inlet
    curves : Curves, or None
    combinations : of inlets and exits on one bay, or None where the case asks for none
    cooling : CoolingResult of the cooling network, or None without one
    margins : places ranked by the margins of that network
    margin_notes : why some places could not be ranked so
    """

    ranking: OpeningRanking
    searches: tuple[str, ...]
    effects: EffectShares | None = None
    through: ThroughFlow | None = None
    layers: OpeningLayers | None = None
    exit_air: tuple[Hit, ...] = ()
    static_ports: StaticPortErrors | None = None
    choices: Choices | None = None
    spoilers: tuple[Spoiler, ...] = ()
    tape: Mapping[str, TapeDistances] = field(default_factory=dict)
    near_zones: Mapping[str, tuple[str, float] | None] = field(default_factory=dict)
    vent_maps: tuple[VentMap, ...] = ()
    curves: Curves | None = None
    combinations: Combinations | None = None
    cooling: CoolingResult | None = None
    margins: tuple[MarginRanking, ...] = ()
    margin_notes: tuple[str, ...] = ()

    @property
    def not_modelled(self) -> tuple[str, ...]:
        """What the numbers leave out."""
        return (
            *self.air_not_modelled,
            NO_NETWORK if self.cooling is None else WITH_NETWORK,
            ALONE if self.combinations is None else ONE_BAY,
        )


def condition_line(condition, mean_rise: float = 0.0, predicted: bool = True) -> str:
    """One line that names a condition with its speed, angles, air and slipstream."""
    air = condition.air
    rise = f", propeller's mean rise {mean_rise:.0f} Pa" if mean_rise else ""
    rise += "" if predicted else "; not predicted, sign only"
    return (
        f"{condition.name}: {_motion(condition)}, "
        f"{condition.altitude / 0.3048:.0f} ft, {air.temperature - 273.15:.0f} °C, "
        f"q {condition.dynamic_pressure:.0f} Pa{rise}"
    )


def _motion(condition) -> str:
    """Speeds and angles, in flight or on the ground."""
    if condition.ground_speed is None:
        angle = ("attitude", condition.attitude or 0.0)
        if not condition.on_ground:
            angle = ("angle of attack", condition.alpha)
        return (
            f"{knots_text(condition.speed)} true, {angle[0]} {angle[1]:g}°, "
            f"sideslip {condition.beta:g}°"
        )
    text = f"on the ground at {knots_text(condition.ground_speed)}"
    if condition.attitude:
        text += f", attitude {condition.attitude:g}°"
    if condition.wind_speed:
        text += f", wind {knots_text(condition.wind_speed)} {bearing(condition.wind_from)}"
    return text


def knots_text(speed: float) -> str:
    """A speed, m/s, in knots to a tenth, so that it is right in m/s too.

    Examples
    --------
    >>> knots_text(33.1), knots_text(0.0), knots_text(6.1733)
    ('64.3 kt', '0 kt', '12 kt')
    """
    return f"{round(speed / 0.514444, 1):g} kt"


def bearing(wind_from: float) -> str:
    """Where the wind comes from, in words: deg, 0 ahead, 90 right, 180 behind.

    Examples
    --------
    >>> bearing(0.0), bearing(45.0), bearing(180.0)
    ('from ahead', 'from 45° right of the nose', 'from behind')
    >>> bearing(-45.0), bearing(315.0), bearing(90.0)
    ('from 45° left of the nose', 'from 45° left of the nose', 'from the right')
    """
    angle = (wind_from + 180.0) % 360.0 - 180.0
    side = "right" if angle > 0.0 else "left"
    plain = {0.0: "from ahead", 180.0: "from behind", 90.0: f"from the {side}"}
    return plain.get(abs(angle), f"from {abs(angle):g}° {side} of the nose")


def condition_number(conditions: Sequence[FlightCondition], condition: str | int) -> int:
    """Number of a condition, of its name or its number.

    Raises
    ------
    FlowError : there is none
    """
    names = [known.name for known in conditions]
    if isinstance(condition, str) and condition in names:
        return names.index(condition)
    whole = isinstance(condition, int | np.integer) and not isinstance(condition, bool)
    if whole and -len(names) <= condition < len(names):
        return int(condition) % len(names)
    raise FlowError(
        f"no condition is called {condition!r}; there are: "
        + ", ".join(f"{name!r}" for name in names)
        + f", or the numbers 0 to {len(names) - 1}"
    )


def in_pascal(condition) -> bool:
    """Whether pressures are shown in Pa: on the ground and at rest Cp says nothing."""
    return condition.on_ground or condition.speed == 0.0


def place_line(opening: Opening) -> str:
    """Side and place of an opening the way a builder writes it down."""
    x, y, z = np.round(opening.centre * 1e3).astype(int) + 0
    return f"{opening.side}, STA {x} BL {y} WL {z} mm"


def opening_line(opening: Opening) -> str:
    """Name and place of an opening."""
    return f"{opening.name} ({place_line(opening)})"


def ratio_text(contents: RunContents, pair: int) -> str:
    """Least available over needed of a pair with its deviation."""
    ranking = contents.ranking
    return f"{ranking.least_ratio[pair]:.2f} ± {ranking.least_ratio_deviation(pair):.2f}"


def explain(contents: RunContents, pair: int) -> str:
    """Plain sentence why a pair stands where it stands."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    c = int(ranking.limiting[pair])
    q = 0.0 if in_pascal(conditions[c]) else conditions[c].dynamic_pressure
    inlet, outlet = ranking.inlet_index[pair], ranking.exit_index[pair]
    into = ranking.inlets.inlet_pressure[c, inlet]
    out = ranking.exits.patch_pressure[c, outlet]
    spread = ranking.exits.pressure_spread[c, outlet]
    pull = "suction" if out < 0.0 else "pressure"
    sentence = (
        f"{ranking.available[c, pair]:.0f} ± {ranking.deviation[c, pair]:.0f} Pa available and "
        f"{ranking.needed[c]:.0f} ± {ranking.needed_deviation[c]:.0f} Pa needed in its hardest "
        f"condition, {listed([conditions[c].name])}: the inlet brings {_in_q(into, q)}, at the "
        f"exit there is {pull} of {_in_q(abs(out), q)}, which varies by ±{spread:.0f} Pa over the "
        "opening; "
        f"{doubt_line(contents, pair)}"
    )
    certain, possible = reversed_conditions(contents, pair)
    likely = likely_reversed(contents, pair)
    possible = [name for name in possible if name not in likely]
    if certain:
        sentence += f"; flow would reverse in {listed(certain)}"
    if likely:
        sentence += f"; flow would more likely reverse than not in {listed(likely)}"
    if possible:
        sentence += f"; flow may reverse in {listed(possible)}"
    short = short_conditions(contents, pair)
    if short:
        sentence += f"; not enough, though not deciding, in {', '.join(short)}"
    return sentence + "."


def likely_reversed(contents: RunContents, pair: int) -> list[str]:
    """Names of the moving conditions in which the exit blows inward more likely than not.

    Those in which it would for certain are not among them.
    """
    flow, chances = contents.flow, contents.ranking.reversal[:, pair]
    return [
        flow.conditions[c].name
        for c in np.flatnonzero(flow.moving)
        if LIKELY < chances[c] <= CERTAIN
    ]


def doubt_line(contents: RunContents, pair: int) -> str:
    """How likely a pair is enough, and what is least known of it."""
    chance = percent(contents.ranking.least_sufficiency[pair])
    line = f"enough in all deciding conditions with a probability of {chance}"
    shares = list(contents.ranking.contributors(pair).items())[:2]
    if not shares:
        return line
    (name, share), *others = shares
    line += f"; least known: {name} ({percent(share)} of the variance)"
    second = [part for part in others if part[1] >= NAMED_SHARE]
    return line + "".join(f", then {name} ({percent(share)})" for name, share in second)


def kept(text: str) -> str:
    """Text whose lines do not break before the numbers of a place, nor before a percent sign."""
    return re.sub(r"(?<=STA|.BL|.WL) (?=-?\d)|(?<=\d) (?=%)", "\u00a0", text)


def listed(names) -> str:
    """Names in a row; quoted where one of them holds a comma.

    Examples
    --------
    >>> listed(["cruise", "climb"])
    'cruise, climb'
    >>> listed(["tow, hot day", "climb"])
    '"tow, hot day", "climb"'
    """
    names = list(names)
    if any("," in name for name in names):
        names = [f'"{name}"' for name in names]
    return ", ".join(names)


def _in_q(pressure: float, q: float) -> str:
    return f"{pressure / q:.2f} q" if q > 0.0 else f"{pressure:.0f} Pa"


def reversed_conditions(contents: RunContents, pair: int) -> tuple[list[str], list[str]]:
    """Names of the moving conditions in which the exit would, or may, blow inward.

    It would where the probability is more than CERTAIN, and it may where it is more than POSSIBLE;
    where it is not predicted, it may if the pressure is less than two deviations.
    """
    certain, possible = [], []
    flow, ranking = contents.flow, contents.ranking
    for c in np.flatnonzero(flow.moving):
        chance, name = ranking.reversal[c, pair], flow.conditions[c].name
        if np.isnan(chance):
            blind = ranking.available[c, pair] < 2.0 * ranking.deviation[c, pair]
            possible += [name] if blind else []
        elif chance > CERTAIN:
            certain.append(name)
        elif chance > POSSIBLE:
            possible.append(name)
    return certain, possible


def short_conditions(contents: RunContents, pair: int) -> list[str]:
    """Names of conditions that do not decide and in which some pressure is there, not enough."""
    ranking = contents.ranking
    return [
        f"{listed([condition.name])} ({ranking.ratio[c, pair]:.2f})"
        for c, condition in enumerate(contents.flow.conditions)
        if not condition.decides
        and contents.flow.moving[c]
        and contents.flow.predicted[c]
        and 0.0 <= ranking.ratio[c, pair] < 1.0
    ]


def answer(contents: RunContents) -> list[str]:
    """The answer in a few sentences."""
    ranking = contents.ranking
    notices = "".join(f" ({notice})" for notice in contents.notices)
    lines = [
        f"Best of {ranking.n_pairs} pairs{notices}: air in at {opening_line(ranking.inlet(0))}, "
        f"out at {opening_line(ranking.exit(0))}; available over needed "
        f"{ratio_text(contents, 0)}, where 1 is just enough.",
        f"Why: {explain(contents, 0)}",
        _chance_line(contents),
        _sides_line(contents),
        _tie_line(contents),
        _named_exits_line(contents),
        _sign_line(contents),
    ]
    return [line for line in lines if line]


def _sign_line(contents: RunContents) -> str:
    """Which of the best places would, or may, blow backwards."""
    certain, likely, possible = set(), set(), set()
    for pair in contents.short_list:
        some, others = reversed_conditions(contents, pair)
        certain |= set(some)
        likely |= set(likely_reversed(contents, pair))
        possible |= set(others)
    likely -= certain
    possible -= certain | likely
    count = int((contents.flow.moving & contents.flow.predicted).sum())
    many = f"any of the {count} conditions" if count > 1 else "the one condition"
    line = (
        f"Flow sign, each exit alone with its inlet: of the {len(contents.short_list)} best places "
    )
    line += f"some would blow backwards in {listed(sorted(certain))}" if certain else "none would"
    line += "" if certain else f" surely blow backwards in {many} that can be predicted"
    if likely:
        line += f"; some would more likely than not in {listed(sorted(likely))}"
    if possible:
        line += f"; within the uncertainty some may in {listed(sorted(possible))}"
    return line + "."


def _named_exits_line(contents: RunContents) -> str:
    """Where the exits stand that the case names itself."""
    ranking = contents.ranking
    rows = []
    for opening in contents.openings.openings:
        pair = ranking.best_with_exit(opening.name) if opening.lets_air_out else None
        if pair is None:
            continue
        worst = ranking.exits.patch_pressure[:, ranking.exit_index[pair]]
        blown = [
            condition.name
            for condition, pressure in zip(contents.flow.conditions, worst, strict=True)
            if condition.decides and pressure > 0.0
        ]
        where = f", sits in pressure in {listed(blown)}" if blown else ""
        rows.append(f"{opening.name} {ratio_text(contents, pair)} (rank {pair + 1}{where})")
    return f"Exits that the case names: {'; '.join(rows)}." if rows else ""


def _sides_line(contents: RunContents) -> str:
    sides = contents.ranking.best_of_each_side()
    parts = [
        f"{side} {ratio_text(contents, pair)}{_against_first(contents, pair)}"
        for side, pair in sides.items()
    ]
    return f"Best exit by side, available over needed: {', '.join(parts)}." if parts else ""


def _against_first(contents: RunContents, pair: int) -> str:
    """Whether a pair is equal to the first one within the uncertainty of their difference."""
    if pair == 0:
        return " (the best)"
    gap, spread = _gap(contents, 0, pair)
    return " (equal within the uncertainty)" if gap < spread else ""


def _chance_line(contents: RunContents) -> str:
    """How likely the first place is really the best, and what it may lose."""
    chosen = contents.choices
    if chosen is None:
        return ""
    k, names = chosen.first, [contents.ranking.exit(pair).name for pair in chosen.pairs]
    others = np.argsort(-chosen.chance_of_exit, kind="stable")
    rivals = [j for j in others if j != k and chosen.chance_of_exit[j] >= NAMED_SHARE][:2]
    line = (
        f"The chance that {names[k]}, or a place that overlaps it, is really the best of all exits "
        f"tried is {percent(chosen.chance_of_exit[k])}"
    )
    if rivals:
        listed_rivals = [f"{names[j]} {percent(chosen.chance_of_exit[j])}" for j in rivals]
        line += f" (others of the list: {', '.join(listed_rivals)})"
    if chosen.worst_regret[k] < 0.005:
        return f"{line}; no place of the list serves any deciding condition better."
    return (
        f"{line}; in the condition that suits it least it falls behind the best of the list by "
        f"{chosen.worst_regret[k]:.2f} of the needed pressure."
    )


def _tie_line(contents: RunContents) -> str:
    lines = [_next_inlet_line(contents), _next_place_line(contents), _equal_line(contents)]
    return " ".join(line for line in lines if line)


def _next_inlet_line(contents: RunContents) -> str:
    """Says so where another inlet with the same exit is as good."""
    ranking = contents.ranking
    same_exit = np.flatnonzero(ranking.exit_index == ranking.exit_index[0])
    if len(same_exit) < 2:
        return ""
    second = int(same_exit[1])
    gap, spread = _gap(contents, 0, second)
    if gap >= spread:
        return ""
    names = f"{ranking.inlet(0).name} and {ranking.inlet(second).name}"
    return f"The inlets {names} are equal within the uncertainty."


def _next_place_line(contents: RunContents) -> str:
    short = contents.short_list
    if len(short) < 2:
        return ""
    gap, spread = _gap(contents, *short[:2])
    line = (
        f"The next place, {opening_line(contents.ranking.exit(short[1]))}, is {gap:.0f} Pa behind"
    )
    if gap < spread:
        return (
            f"{line}: less than the uncertainty of {spread:.0f} Pa of that difference. Choose "
            "between them by ease of building."
        )
    return f"{line}, more than the uncertainty of {spread:.0f} Pa of that difference."


def _equal_line(contents: RunContents) -> str:
    """All places of the short list that cannot be told from the first."""
    chosen = contents.choices
    if chosen is None or chosen.first != 0:
        return ""
    equal = [str(j + 1) for j in np.flatnonzero(chosen.tie[0]) if j != 0]
    if len(equal) < 2:
        return ""
    return f"Equal to the first within the uncertainty: places {', '.join(equal)} of the list."


def _gap(contents: RunContents, first: int, second: int) -> tuple[float, float]:
    """Pa: by how much a pair leads another in the other's hardest condition, and its deviation."""
    ranking = contents.ranking
    c = int(ranking.limiting[second])
    gap = ranking.available[c, first] - ranking.available[c, second]
    return float(gap), ranking.difference_deviation(first, second, c)


def side_rows(contents: RunContents) -> list[tuple[str, int, Sequence[float]]]:
    """Top against bottom against side: side, best pair, exit pressure (Pa) in each condition."""
    ranking = contents.ranking
    return [
        (side, pair, ranking.exits.patch_pressure[:, ranking.exit_index[pair]])
        for side, pair in ranking.best_of_each_side().items()
    ]
