"""What a core must carry off, and the flow of what it cools, in every condition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from panelcp.case import schema
from panelcp.case.schema import CaseText, Entry, band, one_or_by_name, quantity
from panelcp.cooling.coolant import CELSIUS, PROPERTY_BANDS, PROPERTY_SOURCE, coolant_properties
from panelcp.cooling.loads import (
    AIR_SPECIFIC_HEAT,
    CHARGE_SHARE,
    COMPRESSOR_EFFICIENCY,
    COOLANT_SHARE,
    IDLE_SHARE,
    OIL_SHARE,
    compressor_outlet_temperature,
    coolant_heat,
)
from panelcp.errors import QuantityError
from panelcp.onset.conditions import FlightCondition
from panelcp.quantity import UncertainValue
from panelcp.units import parse_quantity

SHARES = {"coolant": COOLANT_SHARE, "oil": OIL_SHARE, "charge air": CHARGE_SHARE}
"""Heat over shaft power at rated power, by what is cooled."""
COOLANT_TEMPERATURE = CELSIUS + 80.0
"""K, at which the properties of the coolant are taken (common practice)."""
OIL_DENSITY = UncertainValue(860.0, 840.0, 880.0, "memory", "engine oil, hot", "density")
OIL_SPECIFIC_HEAT = UncertainValue(
    2050.0, 2000.0, 2100.0, "memory", "engine oil, hot", "specific heat"
)
CHARGE_SPECIFIC_HEAT = UncertainValue(
    AIR_SPECIFIC_HEAT, None, None, "common practice", "air, as in the network", "specific heat"
)
SPEED_EXPONENT = 1.0 / 3.0
"""Engine speed against power with a fixed-pitch propeller (law of similarity)."""


@dataclass(frozen=True)
class GivenFlow:
    """A flow as the case gives it.

    Attributes
    ----------
    value : kg/s, or m3/s where `volume`
    """

    value: float
    volume: bool

    def mass(self, density: float) -> float:
        """kg/s, at a density in kg/m3."""
        return self.value * density if self.volume else self.value


def any_flow(raw) -> GivenFlow:
    """Reader of a volume or a mass flow, above 0."""
    for kind in ("volume flow", "mass flow"):
        try:
            value = parse_quantity(raw, kind)
        except QuantityError:
            continue
        if not value > 0.0:
            raise QuantityError(f"{raw!r} must be more than 0")
        return GivenFlow(value, kind == "volume flow")
    raise QuantityError(
        f'{raw!r} is no flow; write a volume flow ("90 l/min") or a mass flow ("1.5 kg/s")'
    )


LOADS = {
    "flow": Entry(one_or_by_name(any_flow), required=True),
    "heat": Entry(one_or_by_name(band("power", least=0.0))),
    "heat_share": Entry(band("fraction", least=0.0, most=3.0)),
    "heat_scatter": Entry(band("fraction", least=0.1, most=10.0)),
    "idle_share": Entry(band("fraction", least=0.0, most=1.0), default=IDLE_SHARE),
    "pressure_ratio": Entry(one_or_by_name(quantity("number", least=1.0, most=10.0))),
    "compressor_efficiency": Entry(
        band("fraction", least=0.2, most=1.0), default=COMPRESSOR_EFFICIENCY
    ),
    "density": Entry(quantity("density", above=0.0)),
    "specific_heat": Entry(band("specific heat", least=100.0, most=20e3)),
}


@dataclass(frozen=True, eq=False)
class Engine:
    """What the loads of cores follow from.

    Attributes
    ----------
    rated_power : W, or None
    rated_speed : rad/s of the propeller at rated power, or None
    conditions : of FlightCondition
    limit_temperature : K, of the coolant, or None
    """

    rated_power: float | None
    rated_speed: float | None
    conditions: Sequence[FlightCondition]
    limit_temperature: float | None = None

    def speed_ratios(self) -> np.ndarray:
        """(n_conditions,) engine speed over that at rated power.

        From the rpm of the condition where that and the rated one are known, else the cube root of
        power, else 1.
        """
        return np.array([self._speed_ratio(condition) for condition in self.conditions])

    def _speed_ratio(self, condition) -> float:
        if condition.rotational_speed is not None and self.rated_speed is not None:
            return condition.rotational_speed / self.rated_speed
        return 1.0 if condition.power is None else condition.power**SPEED_EXPONENT


@dataclass(frozen=True, eq=False)
class Load:
    """What a core must do in each condition; see `installation.Core`."""

    other_flow: np.ndarray
    rated_flow: float
    specific_heat: float
    heat: np.ndarray | None
    heat_scatter: UncertainValue
    hot_inlet: np.ndarray | None
    notes: tuple[str, ...]
    marks: tuple[tuple[str, UncertainValue], ...]


def read_load(case_text: CaseText, number: int, row: dict[str, Any], engine: Engine) -> Load | None:
    """Load of a core; None with a mistake, which is added to the text's."""
    for key in ("flow", "heat", "pressure_ratio"):
        if isinstance(row[key], dict):
            require_conditions(case_text, "core", number, key, row[key], engine.conditions)
    if row["pressure_ratio"] is not None:
        _check_compressor(case_text, number, row)
    if ("core", number) in case_text.wrong:
        return None
    notes: list[str] = []
    density, heat_capacity, marks = _fluid(row)
    rated, flows = _flows(row, density, engine, notes)
    heat = hot_inlet = None
    scatter = UncertainValue(1.0, mark="derived", source="the temperature is given, not the heat")
    if row["pressure_ratio"] is not None:
        hot_inlet = _compressed(row, engine, notes)
        marks.append(("efficiency of the compressor", row["compressor_efficiency"]))
    else:
        heat, scatter = _heat(case_text, number, row, engine, notes, marks)
    if rated is None:
        message = "the table names no flow at rated power, nor at any condition's"
        case_text.add("core", number, "flow", message)
    if ("core", number) in case_text.wrong:
        return None
    return Load(flows, rated, heat_capacity, heat, scatter, hot_inlet, tuple(notes), tuple(marks))


def require_conditions(case_text: CaseText, table: str, number: int, key: str, names, conditions):
    """Note names that are no conditions."""
    known = [condition.name for condition in conditions]
    for name in names:
        if name not in known:
            hint = schema.nearest(name, known)
            case_text.add(table, number, key, f"{name!r} is no condition{hint}")


def _check_compressor(case_text, number, row):
    if row["cools"] != "charge air":
        message = f"only for a core that cools charge air, not {row['cools']}"
        case_text.add("core", number, "pressure_ratio", message)
    for key in ("heat", "heat_share"):
        if row[key] is not None:
            message = "give either pressure_ratio or the heat: one follows from the other"
            case_text.add("core", number, key, message)


def _fluid(row):
    """Density, specific heat, and marks of those that are not the user's."""
    marks = []
    if row["cools"] == "coolant":
        known = coolant_properties(COOLANT_TEMPERATURE)
        density, value = float(known.density), float(known.specific_heat)
        part = PROPERTY_BANDS["specific_heat"] * value
        usual = UncertainValue(
            value, value - part, value + part, "derived", PROPERTY_SOURCE, "specific heat"
        )
    elif row["cools"] == "oil":
        density, usual = OIL_DENSITY.value, OIL_SPECIFIC_HEAT
        if row["density"] is None:
            marks.append(("density", OIL_DENSITY))
    else:
        density, usual = None, CHARGE_SPECIFIC_HEAT
    chosen = row["specific_heat"] or usual
    marks.append(("specific heat", chosen))
    return row["density"] or density, chosen.value, marks


def _flows(row, density, engine: Engine, notes):
    """Rated flow and (n_conditions,) flows, kg/s, of what is cooled."""
    given = row["flow"]
    by_name = given if isinstance(given, dict) else {}
    if by_name:
        rated = max(flow.mass(density) for flow in by_name.values())
        words = "the greatest of its flows"
    else:
        rated, words = given.mass(density), "its flow"
    if row["cools"] == "charge air":
        ratios = np.array([1.0 if c.power is None else c.power for c in engine.conditions])
        rule = "goes with the power"
    else:
        ratios, rule = engine.speed_ratios(), _speed_rule(engine)
    names = [condition.name for condition in engine.conditions]
    others = [name for name in names if name not in by_name]
    if others:
        where = f" in {', '.join(others)}" if by_name else ""
        notes.append(f"{words}{where} {rule}")
    flows = [
        by_name[name].mass(density) if name in by_name else rated * ratio
        for name, ratio in zip(names, ratios, strict=True)
    ]
    return rated, np.array(flows)


def _speed_rule(engine: Engine) -> str:
    """How a pumped flow follows the engine's speed, in words."""
    with_speed = engine.rated_speed is not None and any(
        condition.rotational_speed is not None for condition in engine.conditions
    )
    constant = [
        condition.name
        for condition in engine.conditions
        if condition.power is None
        and (condition.rotational_speed is None or engine.rated_speed is None)
    ]
    rule = "goes with the engine's speed: "
    rule += "rpm over rated rpm where both are given, else " if with_speed else ""
    rule += "the cube root of power"
    return rule + (f"; constant in {', '.join(constant)}" if constant else "")


def _compressed(row, engine: Engine, notes) -> np.ndarray:
    """(n_conditions,) K, of the charge air behind the compressor."""
    given = row["pressure_ratio"]
    if isinstance(given, dict):
        ratios = [given.get(condition.name, 1.0) for condition in engine.conditions]
        notes.append("pressure ratio 1 in the conditions that pressure_ratio does not name")
    else:
        ratios = [1.0 if c.power == 0.0 else given for c in engine.conditions]
        notes.append("one pressure ratio in all conditions with power")
    outside = np.array([condition.air.temperature for condition in engine.conditions])
    return compressor_outlet_temperature(
        outside, np.array(ratios), row["compressor_efficiency"].value
    )


def _heat(case_text, number, row, engine: Engine, notes, marks):
    """(n_conditions,) W and its scatter."""
    given, share = row["heat"], row["heat_share"]
    by_name = given if isinstance(given, dict) else {}
    usual = share or SHARES[row["cools"]]
    rated = given if given is not None and not by_name else None
    lacking = [c.name for c in engine.conditions if c.power is None and c.name not in by_name]
    if lacking:
        example = f'heat = {{ "{lacking[0]}" = "20 kW" }}'
        message = (
            f"heat follows from power, which {', '.join(lacking)} lack: give power there, or heat "
            f"by condition: {example}"
        )
        case_text.add("core", number, "heat", message)
    others = [c for c in engine.conditions if c.name not in by_name]
    if rated is None and others and engine.rated_power is None:
        message = "the heat is a share of the rated power, which is missing: give rated_power in "
        case_text.add("core", number, "heat", f"{message}[engine], or heat")
    if ("core", number) in case_text.wrong:
        return None, usual
    at_rated = rated.value if rated is not None else usual.value * engine.rated_power
    at_rated *= row.get("part", 1.0)
    heat = [
        by_name[c.name].value if c.name in by_name else at_rated * _part(row, c.power)
        for c in engine.conditions
    ]
    source = rated or (usual if others else next(iter(by_name.values())))
    if others and "part" in row:
        notes.append(
            f"{100.0 * row['part']:.3g} % of the heat, shared by face area among the cores that "
            f"cool {row['cools']}"
        )
    if others:
        what = "heat at rated power" if rated is not None else "share of the shaft power as heat"
        marks.append((what, source))
        _note_idle(row, notes, marks)
    return np.array(heat), row["heat_scatter"] or relative(source)


def _part(row, power: float) -> float:
    """Heat in parts of that at rated power."""
    idle = 0.0 if row["cools"] == "charge air" else row["idle_share"].value
    return float(coolant_heat(power, 1.0, 1.0, idle, running=power > 0.0))


def _note_idle(row, notes, marks):
    if row["cools"] == "charge air":
        notes.append("heat goes with the power")
        return
    marks.append(("heat at idle over that at rated power", row["idle_share"]))
    notes.append(
        f"heat goes with the power, not below {100.0 * row['idle_share'].value:.3g} % of that at "
        "rated power while the engine runs; none where power is 0"
    )


def relative(value: UncertainValue) -> UncertainValue:
    """An uncertain number as a factor round 1.

    Examples
    --------
    >>> found = relative(UncertainValue(0.6, 0.45, 0.75, "memory"))
    >>> found.value, found.low, found.high
    (1.0, 0.75, 1.25)
    """
    if not value.has_band or not value.value > 0.0:
        return UncertainValue(1.0, None, None, value.mark, value.source)
    low, high = value.low / value.value, value.high / value.value
    return UncertainValue(1.0, min(low, 1.0), max(high, 1.0), value.mark, value.source)
