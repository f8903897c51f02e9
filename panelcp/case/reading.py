"""From a case file to records."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from panelcp.atmosphere import hot_day_air
from panelcp.case import schema
from panelcp.case.air_tables import (
    AIR_TABLES,
    GROUND,
    complete_conditions,
    read_surroundings,
    with_ground,
)
from panelcp.case.combinations_table import read_combinations
from panelcp.case.cooling_ports import NETWORK_OPENING
from panelcp.case.cooling_tables import COOLING_TABLES, read_installation
from panelcp.case.report_table import REPORT, ReportSettings
from panelcp.case.schema import Entry, band, choice, line, point, quantity, text, true_or_false
from panelcp.case.surface_table import SURFACE_ENTRIES, intake_options
from panelcp.cooling.installation import Installation
from panelcp.errors import CaseError, PanelcpError, QuantityError
from panelcp.onset.conditions import DAYS, FlightCondition
from panelcp.onset.surroundings import Surroundings
from panelcp.panels.influence import TOLERANCE
from panelcp.placement.candidates import PAIRS, VIEWS, NoCutZone, SearchRegion
from panelcp.placement.combinations import CombinationSettings
from panelcp.placement.requirement import NeededPressure
from panelcp.quantity import UncertainValue
from panelcp.surface.formats import FORMATS
from panelcp.surface.intake import IntakeOptions
from panelcp.surface.opening import KINDS, SHAPES, USES

TABLES = {
    "project": False,
    "surface": False,
    "scan": False,
    "closing": True,
    "region": True,
    "engine": False,
    **AIR_TABLES,
    "condition": True,
    "opening": True,
    "search": True,
    "no_cut": True,
    "combinations": False,
    **COOLING_TABLES,
    "report": False,
}
"""Known tables: True for a list of tables."""

DEFAULT_RECOVERY = {
    "forward-facing": UncertainValue(
        0.85,
        0.75,
        0.90,
        "common practice",
        "plain ram inlet, entry alone: losses of duct and diffuser belong to the needed pressure",
    ),
    "scoop": UncertainValue(0.85, 0.70, 0.95, "memory", "scoop standing clear of the skin"),
    "submerged": UncertainValue(0.45, 0.30, 0.60, "memory", "flush ramp on the side of a body"),
    "flush hole": UncertainValue(0.10, 0.0, 0.25, "memory", "hole in the skin, no lip"),
    "louvre": UncertainValue(0.10, 0.0, 0.25, "memory", "slits that open aft, air drawn in"),
    "plain exit": UncertainValue(0.0, 0.0, 0.15, "memory", "exit used the wrong way round"),
    "flapped exit": UncertainValue(0.0, 0.0, 0.15, "memory", "exit used the wrong way round"),
}
"""Recovery fraction of an inlet by kind, when the case gives none."""

DEFAULT_CP_DEVIATION = UncertainValue(
    0.10, None, None, "memory", "model error of a patch-mean Cp, attached flow, one deviation"
)
_NO_PRESSURE = (
    "it decides, but needs no pressure: give needed_pressure here, or power here and "
    "needed_pressure in [engine], or decides = false"
)
_NO_STREAM = (
    "it decides, but no air moves: give a speed, or a [propeller] and power, or decides = false"
)
_NOT_PREDICTED = (
    "it decides, but the wind comes from behind into the slipstream, which cannot be predicted: "
    "set decides = false"
)

_SIZE = quantity("length", above=0.0)
_DISTANCE = quantity("length", least=0.0)
_FRACTION = band("fraction", least=0.0, most=1.0)
_PRESSURE = band("pressure", least=0.0)
_CORNERS = {"low": Entry(point, required=True), "high": Entry(point, required=True)}


def flow_by_condition(raw) -> float | dict[str, float]:
    """Reader of a volume flow: one for all conditions, or a table of condition and flow."""
    read = quantity("volume flow", above=0.0)
    if isinstance(raw, dict):
        if not raw:
            raise QuantityError("the table of flows is empty; leave the entry out")
        return {name: read(value) for name, value in raw.items()}
    return read(raw)


PROJECT = {
    "name": Entry(line, required=True),
    "question": Entry(line, default=""),
    "note": Entry(text, default=""),
}
SURFACE = {
    "file": Entry(line, required=True),
    **SURFACE_ENTRIES,
    "far_field_tolerance": Entry(quantity("number", above=0.0), default=TOLERANCE),
    "firewall": Entry(quantity("length")),
    "cp_deviation": Entry(_FRACTION, default=DEFAULT_CP_DEVIATION),
}
REGION = {
    "name": Entry(line, required=True),
    **_CORNERS,
    "cp_deviation": Entry(_FRACTION),
}
ENGINE = {
    "rated_power": Entry(quantity("power", above=0.0)),
    "needed_pressure": Entry(_PRESSURE),
    "limit_temperature": Entry(quantity("temperature", above=0.0)),
}
CONDITION = {
    "name": Entry(line, required=True),
    "true_airspeed": Entry(quantity("speed", least=0.0)),
    "calibrated_airspeed": Entry(quantity("speed", least=0.0)),
    "ground_speed": Entry(quantity("speed", least=0.0)),
    "wind_speed": Entry(quantity("speed", least=0.0), default=0.0),
    "wind_from": Entry(quantity("angle"), default=0.0),
    "alpha": Entry(quantity("angle"), default=0.0),
    "beta": Entry(quantity("angle"), default=0.0),
    "attitude": Entry(quantity("angle")),
    "height": Entry(quantity("length", above=0.0)),
    "altitude": Entry(quantity("length"), default=0.0),
    "day": Entry(choice(*DAYS), default="standard"),
    "temperature": Entry(quantity("temperature", above=0.0)),
    "temperature_offset": Entry(quantity("temperature difference"), default=0.0),
    "power": Entry(quantity("fraction", least=0.0, most=2.0)),
    "rpm": Entry(quantity("rotational speed", above=0.0)),
    "thrust": Entry(quantity("force")),
    "propeller_efficiency": Entry(quantity("fraction", above=0.0, most=1.0)),
    "load_factor": Entry(quantity("number")),
    "decides": Entry(true_or_false, default=True),
    "needed_pressure": Entry(_PRESSURE),
    "weight": Entry(quantity("fraction", least=0.0), default=1.0),
}
_OPENING = {
    "name": Entry(line, required=True),
    "use": Entry(choice(*USES), required=True),
    "kind": Entry(choice(*KINDS), required=True),
    "shape": Entry(choice(*SHAPES), default="rectangle"),
    "length": Entry(_SIZE, required=True),
    "width": Entry(_SIZE, required=True),
    "turn": Entry(quantity("angle"), default=0.0),
    "recovery": Entry(_FRACTION),
}
OPENING = {
    **_OPENING,
    "centre": Entry(point, required=True),
    "flow": Entry(flow_by_condition),
    **NETWORK_OPENING,
}
SEARCH = {
    **_OPENING,
    "side": Entry(choice(*VIEWS), required=True),
    **_CORNERS,
    "spacing": Entry(_SIZE, required=True),
    "edge_distance": Entry(_DISTANCE),
    "windshield_distance": Entry(_DISTANCE),
    "least_radius": Entry(_SIZE),
    "opening_distance": Entry(_DISTANCE),
    "pairs": Entry(choice(*PAIRS), default=PAIRS[0]),
    "find": Entry(schema.whole_number(0, 20), default=3),
}
NO_CUT = {
    "name": Entry(line, required=True),
    "shape": Entry(choice("box", "cylinder", "sphere", "half space"), required=True),
    "low": Entry(point),
    "high": Entry(point),
    "start": Entry(point),
    "end": Entry(point),
    "centre": Entry(point),
    "radius": Entry(_SIZE),
    "direction": Entry(schema.three_numbers),
    "clearance": Entry(_DISTANCE, default=0.0),
}


@dataclass(frozen=True)
class RegionBox:
    """A named box that gives its name to the panels inside.

    Attributes
    ----------
    name : of the region
    low, high : (3,) m
    cp_deviation : model error of a patch-mean Cp there, or None for that of the surface
    """

    name: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    cp_deviation: UncertainValue | None = None


@dataclass(frozen=True)
class OpeningEntry:
    """An opening as the case gives it, before it is laid onto the skin.

    What follows `flow` is for the cooling network: see `cooling_ports`.
    """

    name: str
    use: str
    kind: str
    shape: str
    length: float
    width: float
    turn: float
    centre: tuple[float, float, float]
    recovery: UncertainValue
    flow: float | dict[str, float] | None = None
    discharge: UncertainValue | None = None
    lip_radius: float | None = None
    flap_angle: float | None = None
    flap_chord: float | None = None
    shut_gap: float | None = None
    blocked_share: float | None = None
    open_share: float | None = None


@dataclass(frozen=True)
class SearchEntry:
    """A search region with the recovery fraction of its openings."""

    region: SearchRegion
    recovery: UncertainValue


@dataclass(frozen=True)
class Case:
    """A case file as understood.

    Attributes
    ----------
    path : of the file
    name, question, note : texts of the project
    surface_path : of the mesh
    intake : how to take it in
    unit, axes : of the mesh as the case states them; None where it does not
    cp_deviation : model error of a patch-mean Cp outside the regions
    tolerance : of the far field, parts of the rms induced velocity
    regions, conditions, openings, searches, zones : in the order of the file
    surroundings : propeller, wing, and which effects are switched on
    usual : names of the usual conditions that were added
    flows : name of an opening -> m3/s in each condition, out of the body positive
    needed : pressure needed at full power, or None
    needed_pressure : for each condition, Pa with band, or None
    report : how results are shown
    firewall : m, its station, or None
    combinations : what a search of combinations needs, or None for no search
    installation : of the cooling air: ducts, cores, fans, leaks; or None
    text_hash : of the bytes of the case file
    """

    path: Path
    name: str
    question: str
    note: str
    surface_path: Path
    intake: IntakeOptions
    unit: str | None
    axes: tuple[tuple[str, str], ...] | None
    cp_deviation: UncertainValue
    tolerance: float
    regions: tuple[RegionBox, ...]
    conditions: tuple[FlightCondition, ...]
    openings: tuple[OpeningEntry, ...]
    searches: tuple[SearchEntry, ...]
    zones: tuple[NoCutZone, ...]
    surroundings: Surroundings
    usual: tuple[str, ...]
    flows: dict[str, tuple[float, ...]]
    needed: NeededPressure | None
    needed_pressure: tuple[UncertainValue | None, ...]
    report: ReportSettings
    text_hash: str
    firewall: float | None = None
    combinations: CombinationSettings | None = None
    installation: Installation | None = None
    tables: dict[str, Any] = field(default_factory=dict)


def read_case(path, both_uses: bool = True) -> Case:
    """Read and check a case file.

    Parameters
    ----------
    path : of a TOML file
    both_uses : whether it must have an inlet and an exit, named or searched

    Returns
    -------
    Case

    Raises
    ------
    CaseError : lists every mistake with its line
    """
    if Path(path).suffix.lower() in FORMATS:
        raise CaseError(
            f"{Path(path).name}: is a mesh, not a case; write a case for it with 'panelcp new'"
        )
    case_text = schema.read_case_text(path)
    case_text.check_tables(TABLES)
    usual = complete_conditions(case_text)
    project = case_text.table("project", PROJECT)
    surface = case_text.table("surface", SURFACE)
    report = case_text.table("report", REPORT)
    engine = case_text.table("engine", ENGINE)
    needed = _needed(case_text, engine)
    surroundings = read_surroundings(case_text, engine["rated_power"])
    conditions, pressures = _conditions(case_text, needed, surroundings)
    regions = [RegionBox(**row) for row in _named(case_text, "region", REGION)]
    openings = _openings(case_text)
    flows = _flows(case_text, openings, [condition.name for condition in conditions])
    searches = _searches(case_text)
    _require_free_names(case_text, openings, searches)
    zones = _zones(case_text)
    limit = engine["limit_temperature"]
    combinations = read_combinations(case_text, limit, conditions, openings, searches)
    installation = read_installation(case_text, engine, conditions, openings, surroundings)
    intake = intake_options(case_text, surface)
    if both_uses:
        _require_both_uses(case_text)
    case_text.raise_if_wrong()
    case_path = Path(path)
    return Case(
        path=case_path,
        name=project["name"],
        question=project["question"],
        note=project["note"],
        surface_path=case_path.parent / surface["file"],
        intake=intake,
        unit=surface["unit"],
        axes=surface["axes"],
        cp_deviation=surface["cp_deviation"],
        tolerance=surface["far_field_tolerance"],
        regions=tuple(regions),
        conditions=tuple(conditions),
        openings=tuple(openings),
        searches=tuple(searches),
        zones=tuple(zones),
        surroundings=surroundings,
        usual=usual,
        flows=flows,
        needed=needed,
        needed_pressure=tuple(pressures),
        report=ReportSettings(**report),
        text_hash=hashlib.sha256(case_path.read_bytes()).hexdigest(),
        firewall=surface["firewall"],
        combinations=combinations,
        installation=installation,
        tables=dict(case_text.raw),
    )


def _named(case_text, table, entries) -> list[dict[str, Any]]:
    rows = case_text.tables(table, entries)
    case_text.require_unique(table, rows)
    return rows


def _needed(case_text, engine) -> NeededPressure | None:
    if engine["needed_pressure"] is None:
        return None
    try:
        return NeededPressure(
            reference=engine["needed_pressure"],
            limit_temperature=engine["limit_temperature"],
            reference_air=hot_day_air(0.0),
        )
    except PanelcpError as error:
        case_text.add("engine", 0, "limit_temperature", str(error))
        return None


def _conditions(case_text, needed, surroundings):
    ground = case_text.table("ground", GROUND)
    rows = _named(case_text, "condition", CONDITION)
    if not rows and not case_text.any_wrong("condition"):
        case_text.add("condition", 0, "", "no flight condition; give at least one [[condition]]")
    conditions, pressures = [], []
    for number, row in enumerate(rows, start=1):
        if ("condition", number) in case_text.wrong:
            continue
        own = row.pop("needed_pressure")
        row["rotational_speed"] = row.pop("rpm")
        try:
            condition = FlightCondition(**with_ground(row, ground))
            pressure = own or (needed.at(condition) if needed else None)
            condition = replace(condition, needed_pressure=pressure.value if pressure else None)
            _check_air(case_text, number, condition, surroundings)
        except PanelcpError as error:
            in_file = ("condition", number, "") in case_text.lines
            prefix = f"condition {row['name']}: " if in_file else "usual "
            case_text.add("condition", number, "", str(error).removeprefix(prefix))
            continue
        conditions.append(condition)
        pressures.append(pressure)
    if not case_text.any_wrong("condition"):
        _require_decision(case_text, conditions)
    return conditions, pressures


def _check_air(case_text, number, condition, surroundings):
    """Note what a deciding condition lacks; slipstream and lift are tried here."""
    slipstream = None
    if not case_text.any_wrong("propeller", "wing", "engine"):
        slipstream = surroundings.slipstream(condition)
        surroundings.circulation(condition)
    if not condition.decides:
        return
    if not condition.needed_pressure and not case_text.any_wrong("engine"):
        case_text.add("condition", number, "", _NO_PRESSURE)
    if condition.speed == 0.0 and slipstream is None:
        case_text.add("condition", number, "", _NO_STREAM)
    if slipstream and not slipstream.predicted:
        case_text.add("condition", number, "", _NOT_PREDICTED)


def _require_decision(case_text, conditions):
    deciding = [condition for condition in conditions if condition.decides]
    if conditions and not deciding:
        case_text.add("condition", 0, "", "none decides; set decides = true in at least one")
    if deciding and not any(condition.weight > 0.0 for condition in deciding):
        case_text.add("condition", 0, "weight", "all deciding conditions have the weight 0")


def _openings(case_text) -> list[OpeningEntry]:
    rows = _named(case_text, "opening", OPENING)
    return [OpeningEntry(**{**row, "recovery": _recovery(row)}) for row in rows]


def _flows(case_text, openings, conditions) -> dict[str, tuple[float, ...]]:
    """Flow of every opening that has one, in each condition; what flows in is negative."""
    flows = {}
    for number, entry in enumerate(openings, start=1):
        if entry.flow is None:
            continue
        given = entry.flow
        if not isinstance(given, dict):
            given = dict.fromkeys(conditions, given)
        for name in given:
            if name not in conditions and not case_text.any_wrong("condition"):
                hint = schema.nearest(name, conditions)
                case_text.add("opening", number, "flow", f"{name!r} is no condition{hint}")
        sign = -1.0 if entry.use == "inlet" else 1.0
        flows[entry.name] = tuple(sign * given.get(name, 0.0) for name in conditions)
    return flows


def _recovery(row) -> UncertainValue | None:
    return row["recovery"] or DEFAULT_RECOVERY.get(row["kind"])


def _searches(case_text) -> list[SearchEntry]:
    entries = []
    for number, row in enumerate(_named(case_text, "search", SEARCH), start=1):
        if ("search", number) in case_text.wrong:
            continue
        recovery = _recovery(row)
        del row["recovery"]
        try:
            entries.append(SearchEntry(SearchRegion(**row), recovery))
        except PanelcpError as error:
            case_text.add("search", number, "", str(error))
    return entries


def _require_both_uses(case_text):
    if case_text.any_wrong("opening", "search"):
        return
    tables = [case_text.raw.get(name, []) for name in ("opening", "search")]
    uses = [row["use"] for table in tables for row in table]
    for use in ("inlet", "exit"):
        if not {use, "both"} & set(uses):
            case_text.add(
                "opening",
                0,
                "",
                f'no {use}; give at least one [[opening]] or [[search]] with use = "{use}"',
            )


def _require_free_names(case_text, openings, searches):
    """Candidates are called by their search and a number; no opening may have such a name."""
    ending = r" (best )?\d+( right| left)?"
    names = [entry.region.name for entry in searches]
    for number, name in enumerate(names, start=1):
        if name.removesuffix(" best") != name and name.removesuffix(" best") in names:
            message = f"{name!r} begins like the best places of another search; choose another name"
            case_text.add("search", number, "name", message)
    for number, row in enumerate(openings, start=1):
        for entry in searches:
            if row.name and re.fullmatch(re.escape(entry.region.name) + ending, row.name):
                message = f"{row.name!r} is a name that the search {entry.region.name!r} will give"
                case_text.add("opening", number, "name", message)


def _zones(case_text) -> list[NoCutZone]:
    zones = []
    for number, row in enumerate(_named(case_text, "no_cut", NO_CUT), start=1):
        if ("no_cut", number) in case_text.wrong:
            continue
        try:
            zones.append(NoCutZone(**row))
        except PanelcpError as error:
            case_text.add("no_cut", number, "", str(error))
    return zones


def region_index(regions, centroids) -> tuple[np.ndarray, list[str]]:
    """Region of every panel: the last box that holds its centroid, else "unnamed".

    Parameters
    ----------
    regions : sequence of RegionBox
    centroids : (n_panels, 3) float, m

    Returns
    -------
    index : (n_panels,) int
    names : list of str, "unnamed" first

    Raises
    ------
    CaseError : boxes that hold no panel, all listed
    """
    index, empty = np.zeros(len(centroids), dtype=np.int64), []
    for number, box in enumerate(regions, start=1):
        inside = ((centroids >= box.low) & (centroids <= box.high)).all(axis=1)
        index[inside] = number
        if not inside.any():
            empty.append(
                f"region {box.name}: no panel has its centroid in this box; check low and high"
            )
    if empty:
        raise CaseError("\n  ".join(empty))
    return index, ["unnamed", *(box.name for box in regions)]
