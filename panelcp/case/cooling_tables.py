"""The cooling installation of a case: its tables put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from panelcp.case import schema
from panelcp.case.cooling_places import Parts, check_names, check_places
from panelcp.case.cooling_ports import check_openings, exit_port, inlet_port, outline_area, sized
from panelcp.case.core_loads import Engine
from panelcp.case.core_tables import CoreRow, read_cores
from panelcp.case.duct_table import read_ducts, read_leaks
from panelcp.case.fan_tables import placed_fans, read_fans
from panelcp.case.ready_arrangements import ARRANGEMENTS, AS_GIVEN, arranged, require_plain
from panelcp.case.schema import CaseText, Entry, band, choice, quantity, texts, true_or_false
from panelcp.cooling.diffusers import HOME_MADE_EFFECTIVENESS
from panelcp.cooling.installation import BAY, ROLES, Friction, Installation, Port
from panelcp.errors import PanelcpError
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.surroundings import Surroundings
from panelcp.quantity import UncertainValue

COOLING_TABLES = {"cooling": False, "core": True, "duct": True, "fan": True, "leak": True}
"""Tables of a case that make an installation: True for a list of tables."""

COOLING = {
    "arrangement": Entry(choice(*ARRANGEMENTS), default=AS_GIVEN),
    "inlets": Entry(texts),
    "exits": Entry(texts),
    "exits_apart": Entry(true_or_false),
    "bay_height": Entry(quantity("length")),
    "diffuser_effectiveness": Entry(band("fraction", least=0.0, most=1.0)),
    "lip_radius": Entry(quantity("length", least=0.0)),
}
_ONLY_READY = ("exits_apart", "diffuser_effectiveness")
_LIPPED = ("forward-facing", "scoop")
_NO_CORE = (
    "no [[core]]: the heat of the engine has nothing to leave through; give at least one, or leave "
    "out the tables of the cooling network (cooling, duct, fan, leak)"
)
_NO_LEAKS = (
    "no leaks: every joint is taken as tight; home-built baffles and joints usually let 10 to 30 % "
    "of the inlet's air past the cores (common practice): give a [[leak]] to see what that costs"
)


def read_installation(
    case_text: CaseText,
    engine: dict[str, Any],
    conditions: Sequence[FlightCondition],
    openings,
    surroundings: Surroundings,
) -> Installation | None:
    """The cooling installation of a case; None without one, or with a mistake.

    Parameters
    ----------
    case_text : CaseText; mistakes are added to it
    engine : the table [engine] as read: rated_power, limit_temperature
    conditions : of FlightCondition
    openings : of OpeningEntry
    surroundings : of the case, for the rated rpm of the propeller
    """
    present = [name for name in COOLING_TABLES if name in case_text.raw]
    if not present:
        return None
    settings = case_text.table("cooling", COOLING)
    sound = not case_text.any_wrong("condition", "engine", "propeller", "usual_conditions")
    rows = read_cores(case_text, _engine(engine, conditions, surroundings) if sound else None)
    if not case_text.raw.get("core") and not case_text.any_wrong("core", "cores"):
        case_text.add(present[0], 0, "", _NO_CORE)
    names = [row.core.name for row in rows if row.core.start == row.core.name]
    areas = {entry.name: outline_area(entry) for entry in sized(case_text, openings)}
    ducts, notes = read_ducts(case_text, {r.core.name: r.ahead for r in rows}, areas, names)
    fans = read_fans(case_text, conditions if sound else None)
    leaks = read_leaks(case_text)
    check_openings(case_text, openings)
    if not sound or case_text.any_wrong(*COOLING_TABLES, "opening"):
        return None
    tables = {
        "duct": ducts,
        "core": [row.core for row in rows],
        "fan": [row.fan for row in fans],
        "leak": leaks,
    }
    check_names(case_text, [entry.name for entry in openings], tables)
    if case_text.any_wrong(*COOLING_TABLES):
        return None
    joined = _joined(case_text, settings, tables, fans, openings)
    if joined is None:
        return None
    parts, more = joined
    notes = [*(note for row in (*rows, *fans) for note in row.notes), *notes, *more]
    return Installation(
        ports=tuple(parts.ports),
        ducts=tuple(parts.ducts),
        cores=tuple(parts.cores),
        fans=tuple(parts.fans),
        leaks=tuple(parts.leaks),
        bay_height=settings["bay_height"],
        notes=(*notes, *_notes(settings, parts)),
        marks=tuple(_marks(parts, rows)),
    )


def _engine(engine, conditions, surroundings: Surroundings) -> Engine:
    propeller = surroundings.propeller
    rated_speed = propeller.rotational_speed if propeller is not None else None
    return Engine(engine["rated_power"], rated_speed, conditions, engine["limit_temperature"])


def _joined(case_text: CaseText, settings, tables, fans, openings) -> tuple[Parts, list] | None:
    """All parts at their places, and notes; None with a mistake."""
    ducts, cores, leaks = tables["duct"], tables["core"], tables["leak"]
    arrangement, notes = settings["arrangement"], []
    if arrangement == AS_GIVEN:
        for key in _ONLY_READY:
            if settings[key] is not None:
                message = (
                    f"only for a ready arrangement; with {AS_GIVEN!r} give [[duct]]s, and `to`"
                )
                case_text.add("cooling", 0, key, f"{message} in every [[core]]")
    else:
        require_plain(case_text, arrangement)
        chosen = _chosen(case_text, settings, openings, None)
        ports, notes = _ports(case_text, settings, openings, chosen)
        if case_text.any_wrong(*COOLING_TABLES, "opening"):
            return None
        made = arranged(
            case_text,
            arrangement,
            ports,
            cores,
            settings["diffuser_effectiveness"] or HOME_MADE_EFFECTIVENESS,
            bool(settings["exits_apart"]),
        )
        if made is None:
            return None
        ducts, cores, notes = made.ducts, made.cores, [*notes, *made.notes]
    placed, cores, between = placed_fans(case_text, fans, cores)
    parts = Parts((), ducts, cores, placed, leaks, between)
    if arrangement == AS_GIVEN:
        chosen = _chosen(case_text, settings, openings, parts)
        ports, notes = _ports(case_text, settings, openings, chosen)
    order = [entry.name for entry in openings]
    parts = replace(parts, ports=sorted(ports, key=lambda port: order.index(port.name)))
    if not case_text.any_wrong(*COOLING_TABLES, "opening"):
        check_places(case_text, parts, {entry.name: entry.use for entry in openings})
    if not case_text.any_wrong(*COOLING_TABLES, "opening"):
        _require_ends(case_text, parts)
    return None if case_text.any_wrong(*COOLING_TABLES, "opening") else (parts, notes)


def _chosen(case_text: CaseText, settings, openings, parts: Parts | None) -> dict[str, str]:
    """Name of every opening that takes part -> "inlet" or "exit", in the order of choice.

    parts : joined as given, or None for a ready arrangement
    """
    uses = {entry.name: entry.use for entry in openings}
    chosen: dict[str, str] = {}
    for key, use in (("inlets", "inlet"), ("exits", "exit")):
        for name in settings[key] or ():
            if name not in uses:
                message = f"{name!r} is no [[opening]]{schema.nearest(name, uses)}"
                case_text.add("cooling", 0, key, message)
            elif uses[name] not in (use, "both"):
                message = f"{name!r} has use = {uses[name]!r}; expected {use!r} or 'both'"
                case_text.add("cooling", 0, key, message)
            elif name in chosen:
                case_text.add("cooling", 0, key, f"{name!r} is named twice")
            chosen.setdefault(name, use)
    joins = [] if parts is None else parts.joins()
    starts, ends = ({getattr(p, end) for _, _, p in joins} for end in ("start", "end"))
    for name, use in uses.items():
        as_inlet = use == "inlet" or (use == "both" and name in starts)
        led = parts is None or name in starts
        if settings["inlets"] is None and as_inlet and led:
            chosen.setdefault(name, "inlet")
        as_exit = use in ("exit", "both") and not (as_inlet and settings["inlets"] is None)
        reached = parts is None or name in ends or BAY in ends
        if settings["exits"] is None and as_exit and reached:
            chosen.setdefault(name, "exit")
    return chosen


def _ports(case_text, settings, openings, chosen) -> tuple[list[Port], list[str]]:
    """Ports in the order of choice, and notes."""
    by_name = {entry.name: (number, entry) for number, entry in enumerate(openings, start=1)}
    ports, notes = [], []
    for name, use in chosen.items():
        if name not in by_name:
            continue
        number, entry = by_name[name]
        if use == "inlet":
            ports.append(inlet_port(entry, settings["lip_radius"] or 0.0))
            continue
        try:
            port, more = exit_port(entry)
        except PanelcpError as error:
            case_text.add("opening", number, "flap_angle", str(error))
            continue
        ports.append(port)
        notes += more
    return ports, notes + _left_out(settings, openings, chosen)


def _left_out(settings, openings, chosen) -> list[str]:
    """Which openings take part, where the case does not name them."""
    notes = []
    for key, use in (("inlets", "inlet"), ("exits", "exit")):
        if settings[key] is None:
            taken = ", ".join(name for name, own in chosen.items() if own == use) or "none"
            notes.append(f"{key} that take part: {taken}")
    left = [e.name for e in openings if e.use in ("inlet", "exit", "both") and e.name not in chosen]
    if left:
        notes.append(f"openings that take no part in the cooling: {', '.join(left)}")
    return notes


def _require_ends(case_text: CaseText, parts: Parts):
    """Note a network without an inlet or without an exit, and named ones that nothing joins."""
    for key, use in (("inlets", "inlet"), ("exits", "exit")):
        if not any(port.use == use for port in parts.ports):
            message = f'no {use}: give an [[opening]] with use = "{use}" that takes part'
            case_text.add("cooling", 0, key, message)
    starts = {part.start for _, _, part in parts.joins()}
    idle = [p.name for p in parts.ports if p.use == "inlet" and p.name not in starts]
    if idle:
        message = (
            f"nothing leads on from {', '.join(idle)}: give a [[duct]] from it, or leave it out"
        )
        case_text.add("cooling", 0, "inlets", message)
    if parts.exits_on_bay and BAY not in {part.end for _, _, part in parts.joins()}:
        names = ", ".join(port.name for port in parts.exits_on_bay)
        message = f"nothing leads to {names}, nor to the bay: give a way to it, or leave it out"
        case_text.add("cooling", 0, "exits", message)


def _notes(settings, parts: Parts) -> list[str]:
    """What is taken for granted of the whole."""
    notes = []
    sharp = [p.name for p in parts.ports if p.kind in _LIPPED and p.use == "inlet"]
    sharp = [name for name in sharp if not _port(parts, name).lip_radius > 0.0]
    if sharp:
        notes.append(f"lips taken as sharp, lip_radius not given: {', '.join(sharp)}")
    if settings["bay_height"] is None:
        notes.append("no bay_height, so hot air in the bay is given no buoyancy")
    roles = {core.role for core in parts.cores}
    notes += [f"no core cools {role}: not looked at" for role in ROLES[:2] if role not in roles]
    return notes if parts.leaks else [*notes, _NO_LEAKS]


def _port(parts: Parts, name: str) -> Port:
    return next(port for port in parts.ports if port.name == name)


def _marks(parts: Parts, rows: Sequence[CoreRow]) -> list[tuple[str, UncertainValue]]:
    """(place, number) of every uncertain number."""
    marks: list[tuple[str, UncertainValue | None]] = []
    for port in parts.ports:
        place = f"opening {port.name}"
        marks += [
            (f"{place}: discharge coefficient", port.discharge),
            (f"{place}: suction of its flap", port.flap_suction),
            (f"{place}: loss of pipes in it", port.blockage),
        ]
    for duct in parts.ducts:
        for part in duct.parts:
            if not isinstance(part, Friction):
                marks.append((f"duct {duct.name}: {part.what}", part.coefficient))
                marks.append((f"duct {duct.name}: {part.what}, backwards", part.backward))
    for row in rows:
        place = f"core {row.core.name}"
        marks += [
            (f"{place}: drop against its law, a factor", row.core.drop_scatter),
            (f"{place}: conductance, a factor", row.core.conductance_scatter),
            (f"{place}: heat, a factor", row.core.heat_scatter),
            (f"{place}: limit", row.core.limit),
            *row.marks,
        ]
    marks += [(f"fan {fan.name}: loss when off", fan.off_loss) for fan in parts.fans]
    for leak in parts.leaks:
        marks.append((f"leak {leak.name}: area", leak.area))
        marks.append((f"leak {leak.name}: discharge coefficient", leak.discharge))
    return [(place, value) for place, value in marks if value is not None]
