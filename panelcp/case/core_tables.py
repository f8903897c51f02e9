"""The tables [[core]] of a case: radiator, oil cooler, charge-air cooler."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from panelcp.case.core_air_side import AIR_SIDE, bench_air, read_drop
from panelcp.case.core_loads import LOADS, Engine, Load, any_flow, read_load
from panelcp.case.core_surfaces import CONTRACTION, EXPANSION
from panelcp.case.duct_pieces import CoreAhead
from panelcp.case.duct_sections import AREA, SIZE
from panelcp.case.schema import CaseText, Entry, band, choice, inline_table, line, quantity
from panelcp.cooling.conductance import (
    AIR_EXPONENT,
    AIR_RESISTANCE_SHARE,
    COOLANT_EXPONENT,
    ConductanceLaw,
    conductance_from_test,
)
from panelcp.cooling.coolant import CAP_PRESSURE, boiling_under_cap
from panelcp.cooling.exchangers import ARRANGEMENTS, transfer_units
from panelcp.cooling.installation import BAY, ROLES, Core
from panelcp.cooling.loads import AIR_SPECIFIC_HEAT, COOLANT_LIMIT, OIL_LEAST, OIL_LIMIT
from panelcp.cooling.thermostat import LEAST_SHARE, OPENING_SPAN, OPENS_AT, Thermostat
from panelcp.errors import PanelcpError, QuantityError
from panelcp.quantity import UncertainValue

GIVEN_SCATTER = UncertainValue(1.0, 0.9, 1.1, "memory", "conductance as given for a core")
TEST_SCATTER = UncertainValue(1.0, 0.85, 1.15, "common practice", "heat balance of a test, 15 %")
SURFACE_SCATTER = UncertainValue(
    1.0, 0.75, 1.25, "memory", "worked out from the surface, with a usual share of the other side"
)

_TEMPERATURE = quantity("temperature", above=0.0)
_FLOW = Entry(any_flow, required=True)


def _thermostat(raw) -> dict[str, Any]:
    """Reader of a thermostat: true, or its temperatures."""
    if raw is True:
        raw = {}
    entries = {
        "opens_at": Entry(_TEMPERATURE),
        "full_at": Entry(_TEMPERATURE),
        "least_share": Entry(quantity("fraction", least=0.0, most=0.9)),
    }
    if not isinstance(raw, dict):
        raise QuantityError(f'{raw!r}; write true, or {{ opens_at = "82 degC" }}')
    return inline_table(entries)(raw)


CORE = {
    "name": Entry(line, required=True),
    "cools": Entry(choice(*ROLES), required=True),
    "from": Entry(line),
    "to": Entry(line, default=BAY),
    "width": Entry(SIZE),
    "height": Entry(SIZE),
    "face_area": Entry(AREA),
    "depth": Entry(SIZE),
    **AIR_SIDE,
    "conductance": Entry(
        inline_table(
            {
                "value": Entry(quantity("conductance", above=0.0), required=True),
                "air_flow": _FLOW,
                "other_flow": Entry(any_flow),
            }
        )
    ),
    "heat_test": Entry(
        inline_table(
            {
                "heat": Entry(quantity("power", above=0.0), required=True),
                "air_flow": _FLOW,
                "other_flow": Entry(any_flow),
                "hot_inlet": Entry(_TEMPERATURE, required=True),
                "air_inlet": Entry(_TEMPERATURE, required=True),
            }
        )
    ),
    "effectiveness": Entry(
        inline_table(
            {
                "value": Entry(quantity("fraction", above=0.0, most=1.0), required=True),
                "air_flow": _FLOW,
                "other_flow": Entry(any_flow),
            }
        )
    ),
    "conductance_scatter": Entry(band("fraction", least=0.1, most=10.0)),
    "arrangement": Entry(choice(*ARRANGEMENTS), default=ARRANGEMENTS[0]),
    **LOADS,
    "limit": Entry(band("temperature", least=273.15)),
    "least": Entry(_TEMPERATURE),
    "thermostat": Entry(_thermostat),
    "cap_pressure": Entry(band("pressure", least=0.0)),
}
_HEAT_WAYS = ("conductance", "heat_test", "effectiveness", "surface")
_NO_HEAT_SIDE = (
    "nothing says how much heat it passes; give one of conductance = { value = ..., air_flow = ... "
    "}, effectiveness = { value = ..., air_flow = ... }, heat_test = { heat = ..., air_flow = ..., "
    "hot_inlet = ..., air_inlet = ... }, or surface"
)


@dataclass(frozen=True, eq=False)
class CoreRow:
    """A core that was read.

    Attributes
    ----------
    core : Core
    ahead : CoreAhead, what a trumpet needs of it
    notes, marks : what is to be said of it
    """

    core: Core
    ahead: CoreAhead
    notes: tuple[str, ...]
    marks: tuple[tuple[str, UncertainValue], ...]


def read_cores(case_text: CaseText, engine: Engine | None) -> list[CoreRow]:
    """All cores; those with a mistake are left out, and the mistake is added to the text's.

    Parameters
    ----------
    case_text : CaseText
    engine : Engine, or None where conditions or engine hold mistakes: then only the entries of the
        tables are looked at
    """
    rows = case_text.tables("core", CORE)
    case_text.require_unique("core", rows)
    if engine is None:
        return []
    if not case_text.any_wrong("core"):
        _share_heat(case_text, rows)
    found = [_read_core(case_text, number, row, engine) for number, row in enumerate(rows, 1)]
    return [row for row in found if row is not None]


def _share_heat(case_text: CaseText, rows: list[dict[str, Any]]):
    """Give cores of one role their parts of the engine's usual heat: by face area."""
    for role in ROLES:
        same = [(n, row) for n, row in enumerate(rows, 1) if row["cools"] == role]
        usual = [
            (n, row)
            for n, row in same
            if all(row[key] is None for key in ("heat", "heat_share", "pressure_ratio"))
        ]
        if len(same) < 2 or not usual:
            continue
        if len(usual) < len(same):
            for number, _ in usual:
                message = f"{len(same)} cores cool {role}, of which some have heat of their own"
                case_text.add("core", number, "", f"{message}: give heat or heat_share of all")
            continue
        faces = [_face(case_text, *pair) for pair in usual]
        if None not in faces:
            total = sum(face[0] for face in faces)
            for (_, row), face in zip(usual, faces, strict=True):
                row["part"] = face[0] / total


def _read_core(case_text: CaseText, number: int, row, engine: Engine) -> CoreRow | None:
    face = _face(case_text, number, row)
    air_side = read_drop(case_text, number, row)
    _check_heat_side(case_text, number, row)
    _check_role(case_text, number, row)
    if ("core", number) in case_text.wrong:
        return None
    load = read_load(case_text, number, row, engine)
    if load is None:
        return None
    try:
        key, law, scatter = _conductance(row, face[0], load)
        heat_side = law, row["conductance_scatter"] or scatter
        core = _core(row, face[0], air_side, heat_side, load, engine)
    except PanelcpError as error:
        case_text.add("core", number, _given_way(row), str(error))
        return None
    marks = [*load.marks, *_conductance_marks(row, key)]
    ahead = CoreAhead(face[0], face[1], core.drop)
    return CoreRow(core, ahead, *_said(row, core, load, marks))


def _face(case_text, number, row) -> tuple[float, float] | None:
    """Face area and height; the height of a square where only the area is known."""
    width, height, area = row["width"], row["height"], row["face_area"]
    sizes = width is not None or height is not None
    if (area is not None) == sizes or (width is None) != (height is None):
        if ("core", number) not in case_text.wrong:
            case_text.add("core", number, "", "give its face once: width and height, or face_area")
        return None
    return (area, area**0.5) if area is not None else (width * height, height)


def _given_way(row) -> str:
    return next(key for key in _HEAT_WAYS if row[key] is not None)


def _check_heat_side(case_text, number, row):
    given = [key for key in _HEAT_WAYS[:-1] if row[key] is not None]
    if len(given) > 1:
        message = f"give one of {', '.join(given)}, not {len(given)}"
        case_text.add("core", number, given[-1], message)
    if not given and row["surface"] is None and ("core", number) not in case_text.wrong:
        case_text.add("core", number, "", _NO_HEAT_SIDE)


def _check_role(case_text, number, row):
    """Note entries that go with coolant only, or not with charge air."""
    only = {"thermostat": ("coolant",), "cap_pressure": ("coolant",), "least": ROLES[:2]}
    for key, roles in only.items():
        if row[key] is not None and row["cools"] not in (None, *roles):
            message = f"only for a core that cools {' or '.join(roles)}, not {row['cools']}"
            case_text.add("core", number, key, message)
    flows = row["flow"].values() if isinstance(row["flow"], dict) else [row["flow"]]
    for flow in flows:
        if flow is not None and flow.volume and row["cools"] == "charge air" and not row["density"]:
            message = 'of charge air give a mass flow ("0.08 kg/s"), or its density besides'
            case_text.add("core", number, "flow", message)
            break


def _conductance(row, face_area: float, load: Load):
    """Which entry, the law, and its scatter."""
    key, air = _given_way(row), bench_air(row)
    if key == "surface":
        law = row["surface"].conductance_law(row["depth"], face_area, load.rated_flow, air)
        return key, law, SURFACE_SCATTER
    given = row[key]
    air_flow = given["air_flow"].mass(air.density)
    other_flow = load.rated_flow
    if given["other_flow"] is not None:
        density = load.rated_flow / row["flow"].value if _by_volume(row) else None
        if given["other_flow"].volume and density is None:
            raise QuantityError("other_flow: give a mass flow, as flow does")
        other_flow = given["other_flow"].mass(density or 1.0)
    capacities = air_flow * AIR_SPECIFIC_HEAT, other_flow * load.specific_heat
    if key == "conductance":
        value, scatter = given["value"], GIVEN_SCATTER
    elif key == "heat_test":
        ends = given["hot_inlet"], given["air_inlet"]
        if not ends[0] > ends[1]:
            raise QuantityError("hot_inlet is not above air_inlet")
        value = conductance_from_test(given["heat"], *capacities, *ends, row["arrangement"])
        scatter = TEST_SCATTER
    else:
        least, ratio = min(capacities), min(capacities) / max(capacities)
        value = least * transfer_units(given["value"], ratio, row["arrangement"])
        scatter = TEST_SCATTER
    return key, ConductanceLaw(float(value), air_flow, other_flow), scatter


def _by_volume(row) -> bool:
    return not isinstance(row["flow"], dict) and row["flow"].volume


def _core(row, face_area: float, air_side, heat_side, load: Load, engine: Engine) -> Core:
    boiling = None
    if row["cap_pressure"] is not None:
        outside = np.array([condition.air.pressure for condition in engine.conditions])
        boiling = boiling_under_cap(row["cap_pressure"].value, outside)
    least = row["least"]
    if least is None and row["cools"] == "oil":
        least = OIL_LEAST.value
    return Core(
        name=row["name"],
        role=row["cools"],
        start=row["from"] or row["name"],
        end=row["to"],
        face_area=face_area,
        drop=air_side[0],
        drop_scatter=air_side[1],
        conductance=heat_side[0],
        conductance_scatter=heat_side[1],
        other_flow=load.other_flow,
        other_specific_heat=load.specific_heat,
        heat_scatter=load.heat_scatter,
        heat=load.heat,
        hot_inlet=load.hot_inlet,
        limit=_limit(row, engine),
        least=least,
        thermostat=_made_thermostat(row["thermostat"]),
        boiling=boiling,
        arrangement=row["arrangement"],
    )


def _limit(row, engine: Engine) -> UncertainValue | None:
    if row["limit"] is not None:
        return row["limit"]
    if row["cools"] == "coolant" and engine.limit_temperature is not None:
        source = "limit_temperature of [engine]"
        return UncertainValue(engine.limit_temperature, source=source, kind="temperature")
    return {"coolant": COOLANT_LIMIT, "oil": OIL_LIMIT}.get(row["cools"])


def _made_thermostat(given) -> Thermostat | None:
    if given is None:
        return None
    opens = OPENS_AT.value if given["opens_at"] is None else given["opens_at"]
    full = opens + OPENING_SPAN.value if given["full_at"] is None else given["full_at"]
    least = LEAST_SHARE.value if given["least_share"] is None else given["least_share"]
    return Thermostat(opens, full, least)


def _conductance_marks(row, key: str):
    marks = [
        ("air side's share of the resistance to heat", AIR_RESISTANCE_SHARE),
        ("exponent of the other side's heat transfer", COOLANT_EXPONENT),
    ]
    if key != "surface":
        marks.append(("exponent of the air side's heat transfer", AIR_EXPONENT))
    if row["surface"] is not None:
        marks += [
            ("free-flow area over face area", row["surface"].free_share),
            ("loss coefficient where air enters the core", CONTRACTION),
            ("loss coefficient where air leaves the core", EXPANSION),
        ]
    return marks


def _said(row, core: Core, load: Load, marks):
    """Notes and marks of a core, with its name before them."""
    notes = [f"core {core.name}: {note}" for note in load.notes]
    if core.limit is None:
        notes.append(f"core {core.name}: no limit of the charge air, so no margin")
    if core.role == "coolant" and row["cap_pressure"] is None:
        notes.append(
            f"core {core.name}: no cap_pressure, so boiling is not looked at (caps open at "
            f"{1e-5 * CAP_PRESSURE.low:.1f} to {1e-5 * CAP_PRESSURE.high:.1f} bar, "
            f"{CAP_PRESSURE.mark})"
        )
    if row["cap_pressure"] is not None:
        marks.append(("pressure of the cap", row["cap_pressure"]))
    if core.role == "oil" and row["least"] is None:
        marks.append(("least for full power", OIL_LEAST))
    given = row["thermostat"]
    if given is not None:
        usual = (("opens_at", OPENS_AT), ("full_at", OPENING_SPAN), ("least_share", LEAST_SHARE))
        marks += [(f"thermostat, {key}", value) for key, value in usual if given[key] is None]
    return tuple(notes), tuple((f"core {core.name}: {what}", value) for what, value in marks)
