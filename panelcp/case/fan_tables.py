"""The tables [[fan]] of a case."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from panelcp.atmosphere import SEA_LEVEL_PRESSURE
from panelcp.case.core_loads import require_conditions
from panelcp.case.core_surfaces import air_of_test
from panelcp.case.duct_sections import AREA, SIZE
from panelcp.case.schema import (
    CaseText,
    Entry,
    band,
    line,
    nearest,
    pairs,
    quantity,
    texts,
    whole_number,
)
from panelcp.cooling.elements import Fan
from panelcp.cooling.installation import Core, FanUnit
from panelcp.errors import QuantityError
from panelcp.quantity import UncertainValue
from panelcp.units import parse_quantity

OFF_LOSS = UncertainValue(
    4.0,
    2.0,
    8.0,
    "memory",
    "stopped or windmilling fan in its ring, on the head between hub and ring",
    "number",
)
HUB_SHARE = 0.4
"""Hub over ring diameter where the case does not say (memory)."""
CURVE_TEMPERATURE = 293.15
"""K, of the air at sea level in which curves are measured where the case does not say."""
MOST_FANS = 4


def _switching(raw) -> tuple[str, ...] | dict[str, Any]:
    """Reader of `on`: names of conditions, or a table of names and speeds."""
    if not isinstance(raw, dict):
        return texts(raw) if raw != [] else ()
    if not raw:
        raise QuantityError("the table is empty; write on = [] for a fan that is always off")
    return {name: _speed(value) for name, value in raw.items()}


def _speed(raw) -> tuple[float, bool]:
    """Number and whether it is a part of the curve's speed (else rad/s)."""
    for kind in ("rotational speed", "fraction"):
        try:
            value = parse_quantity(raw, kind)
        except QuantityError:
            continue
        if not 0.0 <= value <= (2.0 if kind == "fraction" else 1e4):
            raise QuantityError(f"{raw!r} is not believable as a speed of the fan")
        return value, kind == "fraction"
    raise QuantityError(f'{raw!r} is no speed; write "2800 rpm", or "80 %" of the curve\'s speed')


FAN = {
    "name": Entry(line, required=True),
    "from": Entry(line),
    "to": Entry(line),
    "behind": Entry(line),
    "ahead_of": Entry(line),
    "curve": Entry(
        pairs(
            quantity("volume flow", least=0.0),
            quantity("pressure"),
            '[["0 m3/s", "250 Pa"], ["0.5 m3/s", "0 Pa"]]',
        ),
        required=True,
    ),
    "curve_density": Entry(quantity("density", above=0.0)),
    "curve_speed": Entry(quantity("rotational speed", above=0.0)),
    "on": Entry(_switching),
    "number": Entry(whole_number(1, MOST_FANS), default=1),
    "diameter": Entry(SIZE),
    "hub_diameter": Entry(SIZE),
    "area": Entry(AREA),
    "off_loss": Entry(band("number", least=0.01, most=1e3), default=OFF_LOSS),
    "electrical_power": Entry(quantity("power", above=0.0)),
    "doors": Entry(AREA),
}


@dataclass(frozen=True, eq=False)
class FanRow:
    """A fan that was read.

    Attributes
    ----------
    fan : FanUnit; its places are empty where it stands at a core
    core, behind : name of that core or None, and whether the fan is behind it
    notes : of str
    """

    fan: FanUnit
    core: str | None
    behind: bool
    notes: tuple[str, ...]


def read_fans(case_text: CaseText, conditions: Sequence | None) -> list[FanRow]:
    """All fans; those with a mistake are left out, and the mistake is added to the text's.

    Parameters
    ----------
    case_text : CaseText
    conditions : of FlightCondition, or None where they hold mistakes: then only the entries of the
        tables are looked at
    """
    rows = case_text.tables("fan", FAN)
    case_text.require_unique("fan", rows)
    if conditions is None:
        return []
    found = [_read_fan(case_text, number, row, conditions) for number, row in enumerate(rows, 1)]
    return [row for row in found if row is not None]


def _read_fan(case_text: CaseText, number: int, row, conditions) -> FanRow | None:
    _check_place(case_text, number, row)
    area = _area(case_text, number, row)
    speeds = _speeds(case_text, number, row, conditions)
    if ("fan", number) in case_text.wrong:
        return None
    density = row["curve_density"]
    if density is None:
        density = air_of_test(CURVE_TEMPERATURE, SEA_LEVEL_PRESSURE).density
    flow, rise = np.transpose(row["curve"])
    order = np.argsort(flow, kind="stable")
    unit = FanUnit(
        name=row["name"],
        start=row["from"] or "",
        end=row["to"] or "",
        volume_flow=row["number"] * flow[order],
        pressure_rise=rise[order],
        density=density,
        speed=speeds,
        off_loss=row["off_loss"],
        area=row["number"] * area,
        electrical_power=_times(row["electrical_power"], row["number"]),
        doors=row["doors"],
    )
    for text in _curve_mistakes(unit):
        case_text.add("fan", number, "curve", text)
    notes = tuple(f"fan {row['name']}: {note}" for note in _notes(row, density, speeds, conditions))
    core = row["behind"] or row["ahead_of"]
    return FanRow(unit, core, row["behind"] is not None, notes)


def _times(value: float | None, number: int) -> float | None:
    return None if value is None else number * value


def _curve_mistakes(unit: FanUnit) -> list[str]:
    """What the network would find wrong with the fan."""
    return Fan(
        unit.name,
        "ahead",
        "behind",
        volume_flow=unit.volume_flow,
        pressure_rise=unit.pressure_rise,
        density=unit.density,
        reference_speed=1.0,
        speed=unit.speed,
        off_loss=unit.off_loss.value,
        area=unit.area,
    ).mistakes()


def _check_place(case_text, number, row):
    """Note a fan that stands nowhere or at two places."""
    ends = row["from"] is not None, row["to"] is not None
    ways = [any(ends), row["behind"] is not None, row["ahead_of"] is not None]
    if sum(ways) == 1 and (all(ends) or not any(ends)):
        return
    message = "say once where it stands: from and to, or behind or ahead_of with the name of a core"
    if ("fan", number) not in case_text.wrong:
        case_text.add("fan", number, "", message)


def _area(case_text, number, row) -> float | None:
    """m2 between hub and ring of one fan."""
    diameter, hub, area = row["diameter"], row["hub_diameter"], row["area"]
    if (area is None) == (diameter is None):
        if ("fan", number) not in case_text.wrong:
            message = "give its diameter (and hub_diameter), or the area between hub and ring"
            case_text.add("fan", number, "", message)
        return None
    if area is not None:
        return area
    hub = HUB_SHARE * diameter if hub is None else hub
    if hub >= diameter:
        case_text.add("fan", number, "hub_diameter", "not smaller than the diameter")
    return 0.25 * math.pi * (diameter**2 - hub**2)


def _speeds(case_text, number, row, conditions) -> np.ndarray:
    """(n_conditions,) speed over that of the curve."""
    given = row["on"]
    if given is None:
        return np.array([float(c.on_ground and c.power != 0.0) for c in conditions])
    require_conditions(case_text, "fan", number, "on", given, conditions)
    if not isinstance(given, dict):
        return np.array([float(condition.name in given) for condition in conditions])
    if row["curve_speed"] is None and not all(part for _, part in given.values()):
        message = 'speeds need curve_speed, that of the curve; or give parts of it, such as "80 %"'
        case_text.add("fan", number, "on", message)
        return np.zeros(len(conditions))
    own = {name: v if part else v / row["curve_speed"] for name, (v, part) in given.items()}
    return np.array([own.get(condition.name, 0.0) for condition in conditions])


def _notes(row, density, speeds, conditions) -> list[str]:
    notes = []
    running = [c.name for c, speed in zip(conditions, speeds, strict=True) if speed > 0.0]
    if row["on"] is None:
        notes.append(
            f"runs on the ground while the engine does: {', '.join(running) or 'in no condition'}"
        )
    if row["curve_density"] is None:
        notes.append(f"its curve is taken for air of {density:.3f} kg/m3 (20 degC, sea level)")
    if row["area"] is None and row["hub_diameter"] is None:
        notes.append(f"hub of {100.0 * HUB_SHARE:g} % of the diameter taken (memory)")
    return notes


def placed_fans(
    case_text: CaseText, rows: Sequence[FanRow], cores: Sequence[Core]
) -> tuple[list[FanUnit], list[Core], list[str]]:
    """Fans and cores with their places; a fan at a core gets a new place between both.

    Parameters
    ----------
    case_text : mistakes are added
    rows : of FanRow, in the order of the tables
    cores : of Core

    Returns
    -------
    fans, cores, places : the last are names of the new places; fans side by side at one core share
    """
    known = {core.name: core for core in cores}
    fans: list[FanUnit] = []
    places: dict[tuple[str, bool], tuple[str, str]] = {}
    for number, row in enumerate(rows, start=1):
        if row.core is None:
            fans.append(row.fan)
            continue
        if row.core not in known:
            hint = nearest(row.core, known)
            key = "behind" if row.behind else "ahead_of"
            case_text.add("fan", number, key, f"{row.core!r} is no [[core]]{hint}")
            continue
        at = (row.core, row.behind)
        if at not in places:
            core, between = known[row.core], f"{row.fan.name} duct"
            places[at] = (between, core.end) if row.behind else (core.start, between)
            moved = {"end" if row.behind else "start": between}
            known[row.core] = replace(core, **moved)
        start, end = places[at]
        fans.append(replace(row.fan, start=start, end=end))
    between = [pair[0 if behind else 1] for (_, behind), pair in places.items()]
    return fans, list(known.values()), between
