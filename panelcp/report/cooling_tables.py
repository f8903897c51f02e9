"""Numbers of the cooling network: cooling.csv, its part of summary.json, flags and usual ranges.

`cooling_csv` has one row per thing and condition. The columns, empty where they do not apply:

- `what` (core, opening, fan, duct, leak, doors, place, step, whole), `name`, `kind` (what a core
  cools, the use of an opening, the words of a pressure step), `condition`, `decides`;
- flows in kg/s, positive in the sense that is meant, with 16 and 84 % of the sampled worlds; of
  fans also m3/s. The kg/s of a fan are those that the places beside it leave for it;
- `velocity`: on the face of a core, through an opening; `velocity_ratio` over the true airspeed;
- `pressure`: gauge, outside an opening or in a place; `coupling`: its part that the flows through
  the other openings make; `pressure_drop`: of total pressure, positive where it is lost (a fan that
  helps has a negative one, the first and last step of a core are the pressures outside);
- temperatures of the air (into a core, of an opening, of a place), behind a core, of what the core
  cools ahead of it and behind it, its limit; the margin with its band; `chance_too_hot`;
- `judgement` of the margin: good, look or stop (common practice); `flags` in words;
- of the `whole` of a condition: available over needed pressure ("inf" where none is needed), the
  outside temperature at which the first margin is used up ("inf" where no heat does that, "-inf"
  where no cold helps), the share of leaks, and how well the condition is solved.

Units stand in the headings; those without are told in `panelcp.report.tables`.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from panelcp.cooling.installation import OUTSIDE
from panelcp.cooling.results import Banded, CoolingResult
from panelcp.display import GOOD, LOOK, STOP
from panelcp.display import judgement as margin_word
from panelcp.report.tables import IN_H2O, _csv

ZERO_CELSIUS = 273.15

_COLUMNS = {
    "flow_kg_per_s": 5,
    "flow_low_kg_per_s": 5,
    "flow_high_kg_per_s": 5,
    "volume_flow_m3_per_s": 5,
    "velocity_m_per_s": 3,
    "velocity_ratio": 4,
    "pressure_Pa": 2,
    "pressure_inH2O": 4,
    "coupling_Pa": 2,
    "pressure_drop_Pa": 2,
    "pressure_drop_inH2O": 4,
    "air_degC": 2,
    "air_out_degC": 2,
    "heat_kW": 4,
    "hot_degC": 2,
    "cold_degC": 2,
    "limit_degC": 2,
    "margin_K": 2,
    "margin_low_K": 2,
    "margin_high_K": 2,
    "chance_too_hot": 4,
    "judgement": None,
    "thermostat_share": 4,
    "electrical_power_W": 1,
    "chance_reversed": 4,
    "available_over_needed": 4,
    "highest_outside_degC": 2,
    "leak_share": 4,
    "residual": 12,
    "heat_error": 12,
    "newton_steps": None,
    "lost_samples": None,
    "flags": None,
}
"""Name of a column with its unit -> decimals, None for words and whole numbers."""


@dataclass(frozen=True)
class UsualCheck:
    """A number beside the range that builders usually meet; it is never used as an input.

    Attributes
    ----------
    what, name : what is looked at, and of which thing ("" of the whole)
    unit : of the numbers, "" for a ratio; "%" where the numbers are shares
    low, high : the usual range, common practice without a source; high may be inf
    least, most : found over the conditions looked at
    least_in, most_in : names of these conditions; "" where the number is one for all
    """

    what: str
    name: str
    unit: str
    low: float
    high: float
    least: float
    most: float
    least_in: str = ""
    most_in: str = ""

    @property
    def below(self) -> bool:
        """Whether something lies below the usual range."""
        return self.least < self.low

    @property
    def above(self) -> bool:
        """Whether something lies above the usual range."""
        return self.most > self.high

    @property
    def inside(self) -> bool:
        """Whether all that was found lies in the usual range."""
        return not (self.below or self.above)


_ISOLATE, _END = "\u2068", "\u2069"
_TURNING = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def isolated(name: str) -> str:
    """A name that cannot turn round the text beside it, whatever way it is written.

    Examples
    --------
    >>> isolated("oil cooler")
    'oil cooler'
    >>> isolated("\\u202etop") == "top"
    True
    """
    kinds = {unicodedata.bidirectional(letter) for letter in name}
    if kinds & _TURNING:
        name = "".join(x for x in name if unicodedata.bidirectional(x) not in _TURNING)
    return f"{_ISOLATE}{name}{_END}" if kinds & {"R", "AL", "AN"} else name


def readable(result: CoolingResult) -> CoolingResult:
    """The same result with names that cannot turn round the text beside them."""
    names = [*result.conditions, *result.node_pressure]
    names += [part.name for part in (*result.ports, *result.cores, *result.fans, *result.ways)]
    if all(isolated(name) == name for name in names):
        return result

    def named(group, *keys):
        return tuple(replace(p, **{key: isolated(getattr(p, key)) for key in keys}) for p in group)

    parts = result.installation
    between = ("name", "start", "end")
    return replace(
        result,
        installation=replace(
            parts,
            ports=named(parts.ports, "name"),
            **{k: named(getattr(parts, k), *between) for k in ("ducts", "cores", "fans", "leaks")},
        ),
        conditions=tuple(isolated(name) for name in result.conditions),
        **{k: named(getattr(result, k), "name") for k in ("ports", "cores", "fans", "ways")},
        budget=named(result.budget, "core", "what"),
        node_pressure={isolated(n): v for n, v in result.node_pressure.items()},
        node_temperature={isolated(n): v for n, v in result.node_temperature.items()},
        other_states=tuple(
            replace(
                state,
                flows={isolated(n): v for n, v in state.flows.items()},
                margins={isolated(n): v for n, v in state.margins.items()},
            )
            for state in result.other_states
        ),
    )


def core_word(result: CoolingResult, k: int, c: int) -> str:
    """Judgement of a core in a condition: its margin and the chance of being too hot.

    Nothing where the air outside could not be told.
    """
    if not result.told(c):
        return ""
    core = result.cores[k]
    return margin_word(core.margin.value[c], core.chance_too_hot[c])


def condition_word(result: CoolingResult, c: int) -> str:
    """The worst judgement of all cores in a condition; nothing where none has one."""
    words = {core_word(result, k, c) for k in range(len(result.cores))}
    return next((word for word in (STOP, LOOK, GOOD) if word in words), "")


def watched(result: CoolingResult) -> list[int]:
    """Numbers of the deciding conditions, or of all where none decides."""
    deciding = np.flatnonzero(result.decides).tolist()
    return deciding or list(range(len(result.conditions)))


def all_notes(result: CoolingResult) -> list[str]:
    """Notes of the installation and of the result, each once."""
    return list(dict.fromkeys([*result.installation.notes, *result.notes]))


def core_flags(result: CoolingResult, k: int, c: int) -> list[str]:
    """What is to be said of core k in condition c, in words."""
    core, part = result.cores[k], result.installation.cores[k]
    flags = []
    if core.reversed[c]:
        flags.append("air flows backwards")
    if core.margin.value[c] < 0.0:
        flags.append("too hot")
    if core.too_cold[c]:
        shut = part.thermostat is not None
        flags.append(
            "over-cooled: thermostat shut and still below its opening temperature"
            if shut and not (part.least is not None and core.hot[c] < part.least)
            else "over-cooled: below the least temperature for full power"
        )
    if core.outside_test[c]:
        flags.append("beyond the air flows its pressure drop was measured at")
    return flags


def port_flags(result: CoolingResult, k: int, c: int) -> list[str]:
    """What is to be said of opening k in condition c, in words."""
    port = result.ports[k]
    if not port.reversed[c]:
        return []
    return ["backwards: blows out" if port.use == "inlet" else "backwards: draws in"]


def fan_flags(result: CoolingResult, k: int, c: int) -> list[str]:
    """What is to be said of fan k in condition c, in words."""
    fan = result.fans[k]
    flags = ["running" if fan.running[c] else "off"]
    flags += ["near its stall dip"] if fan.near_dip[c] else []
    flags += ["holds the ram air back"] if fan.holds_back[c] else []
    return [*flags, "air flows backwards"] if fan.flow[c] < 0.0 else flags


def solution_flags(result: CoolingResult, c: int) -> list[str]:
    """What is to be said of the solution of condition c, in words."""
    return [] if result.converged[c] else ["not solved: do not use its numbers"]


def way_ends(result: CoolingResult) -> list[tuple[str, str]]:
    """Start and end of every way, in the order of `CoolingResult.ways`."""
    parts = result.installation
    ends = {"duct": parts.ducts, "leak": parts.leaks}
    ends["doors"] = tuple(fan for fan in parts.fans if fan.doors)
    left = {kind: iter(group) for kind, group in ends.items()}
    found = [next(left[way.kind]) for way in result.ways]
    return [(part.start, part.end) for part in found]


def fan_mass_flow(result: CoolingResult) -> np.ndarray:
    """Air through the fans by the balance of a place beside them.

    Returns
    -------
    (n_fans, n_conditions) float, kg/s from start to end. Fans side by side share the balance by
    their volume flows, since they have the same air ahead. nan where both places beside a fan
    have another one whose flow is not known either
    """
    flows = np.full((len(result.fans), len(result.conditions)), np.nan)
    known = _known_flows(result)
    units = result.installation.fans
    groups: dict[tuple[str, str], list[int]] = {}
    for k, fan in enumerate(units):
        groups.setdefault((fan.start, fan.end), []).append(k)
    left = dict(groups)
    for _ in groups:
        for ends, members in list(left.items()):
            others = [other for other in left if other != ends]
            for place, sign in zip(ends, (1.0, -1.0), strict=True):
                if place == OUTSIDE or any(place in other for other in others):
                    continue
                total = sign * _balance(known, place, len(result.conditions))
                shares = _shares([result.fans[k].flow for k in members])
                flows[members] = shares * total
                known += [(*ends, flows[k]) for k in members]
                del left[ends]
                break
    return flows


def _balance(known, place: str, count: int) -> np.ndarray:
    """What known flows bring to a place less what they take from it, kg/s."""
    total = np.zeros(count)
    for start, end, flow in known:
        total = total + flow * (float(end == place) - float(start == place))
    return total


def _shares(flows) -> np.ndarray:
    """Part of every fan of those side by side; nan where they blow against each other."""
    flows = np.array(flows, dtype=float)
    if len(flows) == 1:
        return np.ones_like(flows)
    alike = (flows >= 0.0).all(axis=0) | (flows <= 0.0).all(axis=0)
    total = np.where(alike & (flows.sum(axis=0) != 0.0), flows.sum(axis=0), np.nan)
    return flows / total


def _known_flows(result: CoolingResult) -> list[tuple[str, str, np.ndarray]]:
    """Start, end and kg/s of all that is not a fan; outside the openings is "" here."""
    parts, rows = result.installation, []
    for part, port in zip(parts.ports, result.ports, strict=True):
        place = parts.place_of(part)
        ends = ("", place) if port.use == "inlet" else (place, "")
        rows.append((*ends, port.flow.value))
    rows += [
        (part.start, part.end, core.flow.value)
        for part, core in zip(parts.cores, result.cores, strict=True)
    ]
    ends = way_ends(result)
    rows += [(*ends[k], way.flow) for k, way in enumerate(result.ways)]
    return rows


def usual_checks(result: CoolingResult) -> list[UsualCheck]:
    """Numbers beside the ranges that builders usually meet, over the conditions that decide."""
    rows = [("face velocity", c.name, "m/s", 4.0, 10.0, c.face_velocity) for c in result.cores]
    rows += [
        ("inlet velocity over airspeed", p.name, "", 0.4, 0.9, p.velocity_ratio)
        for p in result.ports
        if p.use == "inlet"
    ]
    rows += [
        ("rise of air temperature", c.name, "K", 30.0, 50.0, c.air_outlet - c.air_inlet)
        for c in result.cores
        if c.role == "coolant"
    ]
    rows += [
        ("leaks past the cores", "", "%", 10.0, 30.0, 100.0 * result.leak_share),
        ("available over needed pressure", "", "", 1.3, np.inf, result.available_over_needed),
    ]
    checks = [_check(result, *row) for row in rows]
    into = sum(port.area for port in result.installation.inlets)
    out = sum(port.area for port in result.installation.exits)
    if into > 0.0 and out > 0.0:
        ratio = out / into
        checks.append(UsualCheck("exit area over inlet area", "", "", 1.3, 1.8, ratio, ratio))
    return [check for check in checks if check is not None]


def _check(result, what, name, unit, low, high, values) -> UsualCheck | None:
    known = [c for c in watched(result) if not np.isnan(values[c])]
    if not known:
        return None
    least = min(known, key=lambda c: values[c])
    most = max(known, key=lambda c: values[c])
    ends = float(values[least]), float(values[most])
    where = result.conditions[least], result.conditions[most]
    return UsualCheck(what, name, unit, low, high, *ends, *where)


def cooling_csv(result: CoolingResult) -> str:
    """One row per thing and condition; the columns stand at the head of this module.

    Parameters
    ----------
    result : CoolingResult

    Returns
    -------
    str, the text of cooling.csv
    """
    heading = ["what", "name", "kind", "condition", "decides", *_COLUMNS]
    rows = []
    for c, condition in enumerate(result.conditions):
        decides = "yes" if result.decides[c] else "no"
        for what, name, kind, values in _things(result, c):
            cells = [_cell(values.get(key), digits) for key, digits in _COLUMNS.items()]
            rows.append([what, name, kind, condition, decides, *cells])
    return _csv(heading, rows)


def _cell(value, digits) -> str:
    if value is None or (digits is not None and np.isnan(value)):
        return ""
    return str(value) if digits is None else f"{value:.{digits}f}"


def _things(result: CoolingResult, c: int):
    """What, name, kind and columns of every row of a condition."""
    yield "whole", "", "", _whole_columns(result, c)
    for k, port in enumerate(result.ports):
        yield "opening", port.name, port.use, _port_columns(result, k, c)
    for k, core in enumerate(result.cores):
        yield "core", core.name, core.role, _core_columns(result, k, c)
    masses = fan_mass_flow(result)
    for k, fan in enumerate(result.fans):
        yield "fan", fan.name, "", _fan_columns(result, k, c, masses[k, c])
    for way in result.ways:
        yield way.kind, way.name, "", {"flow_kg_per_s": way.flow[c], **_drop(way.drop[c])}
    for place, pressure in result.node_pressure.items():
        temperature = result.node_temperature.get(place)
        air = None if temperature is None else temperature[c] - ZERO_CELSIUS
        yield "place", place, "", {**_pressure(pressure[c]), "air_degC": air}
    for step in result.budget:
        yield "step", step.core, step.what, _drop(step.pressure[c])


def _pressure(value: float) -> dict[str, float]:
    return {"pressure_Pa": value, "pressure_inH2O": value / IN_H2O}


def _drop(value: float) -> dict[str, float]:
    return {"pressure_drop_Pa": value, "pressure_drop_inH2O": value / IN_H2O}


def _band(banded: Banded, c: int, key: str, unit: str) -> dict[str, float]:
    return {
        f"{key}_{unit}": banded.value[c],
        f"{key}_low_{unit}": banded.low[c],
        f"{key}_high_{unit}": banded.high[c],
    }


def _whole_columns(result, c) -> dict[str, Any]:
    return {
        "available_over_needed": result.available_over_needed[c],
        "highest_outside_degC": result.highest_outside[c] - ZERO_CELSIUS,
        "leak_share": result.leak_share[c],
        "margin_K": result.least_margin[c],
        "judgement": condition_word(result, c),
        "residual": result.residual[c],
        "heat_error": result.heat_error[c],
        "newton_steps": int(result.steps[c]),
        "lost_samples": int(result.lost_samples[c]),
        "flags": "; ".join(solution_flags(result, c)),
    }


def _port_columns(result, k, c) -> dict[str, Any]:
    port = result.ports[k]
    return {
        **_band(port.flow, c, "flow", "kg_per_s"),
        "velocity_m_per_s": port.velocity[c],
        "velocity_ratio": port.velocity_ratio[c],
        **_pressure(port.pressure[c]),
        "coupling_Pa": port.coupling[c],
        "air_degC": port.temperature[c] - ZERO_CELSIUS,
        "chance_reversed": port.chance_reversed[c],
        "flags": "; ".join(port_flags(result, k, c)),
    }


def _core_columns(result, k, c) -> dict[str, Any]:
    core = result.cores[k]
    return {
        **_band(core.flow, c, "flow", "kg_per_s"),
        "velocity_m_per_s": core.face_velocity[c],
        **_drop(core.drop[c]),
        "air_degC": core.air_inlet[c] - ZERO_CELSIUS,
        "air_out_degC": core.air_outlet[c] - ZERO_CELSIUS,
        "heat_kW": core.heat[c] / 1e3,
        "hot_degC": core.hot[c] - ZERO_CELSIUS,
        "cold_degC": core.cold[c] - ZERO_CELSIUS,
        "limit_degC": core.limit[c] - ZERO_CELSIUS,
        **_band(core.margin, c, "margin", "K"),
        "chance_too_hot": core.chance_too_hot[c],
        "judgement": core_word(result, k, c),
        "thermostat_share": core.thermostat_share[c],
        "chance_reversed": core.chance_reversed[c],
        "flags": "; ".join(core_flags(result, k, c)),
    }


def _fan_columns(result, k, c, mass_flow) -> dict[str, Any]:
    fan = result.fans[k]
    return {
        "flow_kg_per_s": mass_flow,
        "volume_flow_m3_per_s": fan.flow[c],
        **_drop(-fan.pressure_rise[c]),
        "electrical_power_W": fan.electrical_power[c],
        "flags": "; ".join(fan_flags(result, k, c)),
    }


def cooling_summary(result: CoolingResult) -> dict[str, Any]:
    """Everything in the result for summary.json.

    Parameters
    ----------
    result : CoolingResult

    Returns
    -------
    dict of texts, numbers, lists and dicts only; lists go by condition, a number that does not
    exist is null. Units stand in the names; `judgement` is of common practice
    """
    checks = [
        {
            "what": check.what,
            "name": check.name,
            "unit": check.unit,
            "usual_low": check.low,
            "usual_high": None if np.isinf(check.high) else check.high,
            "least": _plain(check.least),
            "most": _plain(check.most),
            "least_in": check.least_in,
            "most_in": check.most_in,
            "inside": bool(check.inside),
            "mark": "common practice",
        }
        for check in usual_checks(result)
    ]
    return {
        "conditions": list(result.conditions),
        "decides": _plain(result.decides),
        "least_margin_K": _plain(result.least_margin),
        "limiting_core": [name or None for name in result.limiting_core],
        "judgement": [condition_word(result, c) or None for c in range(len(result.conditions))],
        "available_over_needed": _plain(result.available_over_needed),
        "no_pressure_needed": _plain(np.isposinf(result.available_over_needed)),
        "highest_outside_temperature_K": _plain(result.highest_outside),
        "leak_share": _plain(result.leak_share),
        "openings": [_port_dict(result, k) for k in range(len(result.ports))],
        "cores": [_core_dict(result, k) for k in range(len(result.cores))],
        "fans": _fan_dicts(result),
        "ways": _way_dicts(result),
        "places": {
            place: {
                "pressure_Pa": _plain(pressure),
                "temperature_K": _plain(result.node_temperature.get(place)),
            }
            for place, pressure in result.node_pressure.items()
        },
        "pressure_budget": [
            {"core": step.core, "what": step.what, "pressure_Pa": _plain(step.pressure)}
            for step in result.budget
        ],
        "usual_ranges": checks,
        "solution": _solution_dict(result),
        "notes": all_notes(result),
        "warnings": list(result.warnings),
    }


def _solution_dict(result) -> dict[str, Any]:
    return {
        "converged": _plain(result.converged),
        "residual": _plain(result.residual),
        "heat_error": _plain(result.heat_error),
        "newton_steps": _plain(result.steps),
        "samples": int(result.samples),
        "lost_samples": _plain(result.lost_samples),
        "coupling_rounds": int(result.coupling_rounds),
        "coupling_change_kg_per_s": _plain(result.coupling_change),
        "other_states": [
            {
                "condition": result.conditions[state.condition],
                "start": state.start,
                "flows_kg_per_s": {n: _plain(v) for n, v in state.flows.items()},
                "margins_K": {n: _plain(v) for n, v in state.margins.items()},
            }
            for state in result.other_states
        ],
    }


def _port_dict(result, k) -> dict[str, Any]:
    port, part = result.ports[k], result.installation.ports[k]
    return {
        "name": port.name,
        "use": port.use,
        "kind": part.kind,
        "place": result.installation.place_of(part),
        "area_m2": _plain(part.area),
        "height_m": _plain(part.height),
        "pressure_Pa": _plain(port.pressure),
        "coupling_Pa": _plain(port.coupling),
        "flow_kg_per_s": _band_dict(port.flow),
        "velocity_m_per_s": _plain(port.velocity),
        "velocity_ratio": _plain(port.velocity_ratio),
        "temperature_K": _plain(port.temperature),
        "reversed": _plain(port.reversed),
        "probability_reversed": _plain(port.chance_reversed),
    }


def _core_dict(result, k) -> dict[str, Any]:
    core, part = result.cores[k], result.installation.cores[k]
    conditions = range(len(result.conditions))
    return {
        "name": core.name,
        "role": core.role,
        "start": part.start,
        "end": part.end,
        "face_area_m2": _plain(part.face_area),
        "flow_kg_per_s": _band_dict(core.flow),
        "face_velocity_m_per_s": _plain(core.face_velocity),
        "pressure_drop_Pa": _plain(core.drop),
        "beyond_measured_flows": _plain(core.outside_test),
        "air_inlet_temperature_K": _plain(core.air_inlet),
        "air_outlet_temperature_K": _plain(core.air_outlet),
        "heat_W": _plain(core.heat),
        "hot_temperature_K": _plain(core.hot),
        "cold_temperature_K": _plain(core.cold),
        "limit_temperature_K": _plain(core.limit),
        "margin_K": _band_dict(core.margin),
        "judgement": [core_word(result, k, c) or None for c in range(len(result.conditions))],
        "probability_too_hot": _plain(core.chance_too_hot),
        "thermostat_share": _plain(core.thermostat_share),
        "too_cold": _plain(core.too_cold),
        "reversed": _plain(core.reversed),
        "probability_reversed": _plain(core.chance_reversed),
        "flags": [core_flags(result, k, c) for c in conditions],
    }


def _fan_dicts(result) -> list[dict[str, Any]]:
    masses = fan_mass_flow(result)
    return [
        {
            "name": fan.name,
            "start": part.start,
            "end": part.end,
            "running": _plain(fan.running),
            "volume_flow_m3_per_s": _plain(fan.flow),
            "flow_kg_per_s": _plain(masses[k]),
            "pressure_rise_Pa": _plain(fan.pressure_rise),
            "electrical_power_W": _plain(fan.electrical_power),
            "near_stall_dip": _plain(fan.near_dip),
            "holds_ram_air_back": _plain(fan.holds_back),
        }
        for k, (fan, part) in enumerate(zip(result.fans, result.installation.fans, strict=True))
    ]


def _way_dicts(result) -> list[dict[str, Any]]:
    return [
        {
            "name": way.name,
            "kind": way.kind,
            "start": start,
            "end": end,
            "flow_kg_per_s": _plain(way.flow),
            "pressure_drop_Pa": _plain(way.drop),
        }
        for way, (start, end) in zip(result.ways, way_ends(result), strict=True)
    ]


def _band_dict(banded: Banded) -> dict[str, Any]:
    return {key: _plain(getattr(banded, key)) for key in ("value", "low", "high")}


def _plain(value):
    """Python numbers; None for what is not finite."""
    if value is None or isinstance(value, str):
        return value
    if np.ndim(value):
        return [_plain(one) for one in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    return float(value) if np.isfinite(value) else None
