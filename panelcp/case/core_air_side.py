"""How a core resists the air: bench tests, laws, one reading, or its surface."""

from __future__ import annotations

from typing import Any

from panelcp.atmosphere import SEA_LEVEL_PRESSURE, Air
from panelcp.case.core_surfaces import air_of_test, read_surface
from panelcp.case.schema import CaseText, Entry, band, inline_table, pairs, quantity
from panelcp.cooling.core_laws import (
    CORE_DEVIATION,
    DropLaw,
    drop_law_from_one_reading,
    fit_drop_law,
)
from panelcp.errors import PanelcpError, QuantityError
from panelcp.quantity import UncertainValue
from panelcp.units import parse_quantity

TEST_TEMPERATURE = 293.15
"""K, of the air on the bench where the case does not say."""
SLOWEST, FASTEST = 2.0, 12.0
"""m/s, face speeds between which a law that is given is taken to hold."""
LEAST_SCATTER = 0.05
"""Relative; no bench test at home is better (memory)."""
LAW_SCATTER = UncertainValue(1.0, 0.9, 1.1, "memory", "a law a V + b V^2 given for the core")
READING_SCATTER = UncertainValue(1.0, 0.8, 1.25, "memory", "a law through one reading alone")

_SPEED = quantity("speed", above=0.0)
_DROP = quantity("pressure", above=0.0)


def _reading(raw) -> tuple[float, float]:
    if not isinstance(raw, list) or len(raw) != 2:
        raise QuantityError(f'{raw!r} is not a reading; write ["8 m/s", "400 Pa"]')
    return _SPEED(raw[0]), _DROP(raw[1])


def _coefficient(raw) -> float:
    """Reader of a or b of a law, plain SI numbers, 0 or more."""
    value = parse_quantity(raw, "number")
    if value < 0.0:
        raise QuantityError(f"{raw!r} is below 0")
    return value


AIR_SIDE = {
    "drop_test": Entry(pairs(_SPEED, _DROP, '[["4 m/s", "120 Pa"], ["8 m/s", "380 Pa"]]')),
    "drop_law": Entry(
        inline_table(
            {"a": Entry(_coefficient, required=True), "b": Entry(_coefficient, required=True)}
        )
    ),
    "drop_reading": Entry(_reading),
    "surface": Entry(read_surface),
    "drop_scatter": Entry(band("fraction", least=0.1, most=10.0)),
    "test_temperature": Entry(quantity("temperature", above=0.0), default=TEST_TEMPERATURE),
    "test_pressure": Entry(quantity("pressure", above=0.0), default=SEA_LEVEL_PRESSURE),
}
_WAYS = ("drop_test", "drop_law", "drop_reading", "surface")
_NONE = (
    "no pressure drop: without a curve or law its air flow cannot be found; give one of "
    'drop_test = [["4 m/s", "120 Pa"], ["8 m/s", "380 Pa"]], drop_reading = ["8 m/s", "380 Pa"], '
    "drop_law = { a = ..., b = ... } (Pa against face velocity in m/s) or surface"
)


def bench_air(row: dict[str, Any]) -> Air:
    """Air of the bench tests of a core."""
    return air_of_test(row["test_temperature"], row["test_pressure"])


def read_drop(
    case_text: CaseText, number: int, row: dict[str, Any]
) -> tuple[DropLaw, UncertainValue] | None:
    """Drop law of a core and its scatter; None with a mistake, which is added to the text's."""
    given = [key for key in _WAYS if row[key] is not None]
    if len(given) == 2 and given[1] == "surface":
        given = given[:1]  # measured drop; the surface is there for the heat
    if len(given) != 1:
        if not given and ("core", number) in case_text.wrong:
            return None
        message = f"give one of {', '.join(given)}, not {len(given)}" if given else _NONE
        case_text.add("core", number, given[-1] if given else "", message)
        return None
    key = given[0]
    if row["surface"] is not None and row["depth"] is None:
        case_text.add("core", number, "depth", "is missing: a surface needs the core's depth")
        return None
    try:
        law, scatter = _LAWS[key](row, bench_air(row))
    except PanelcpError as error:
        case_text.add("core", number, key, str(error))
        return None
    return law, row["drop_scatter"] or scatter


def _from_test(row, air: Air):
    speeds, drops = zip(*row["drop_test"], strict=True)
    law = fit_drop_law(speeds, drops, air.density, air.viscosity)
    part = max(law.deviation or 2.0 * LEAST_SCATTER, LEAST_SCATTER)
    source = "bench test: its readings from the law, at least 5 %; two readings alone 10 %"
    return law, UncertainValue(1.0, 1.0 - min(part, 0.9), 1.0 + part, "memory", source)


def _from_law(row, air: Air):
    a, b = row["drop_law"]["a"], row["drop_law"]["b"]
    return DropLaw(a, b, air.density, air.viscosity, SLOWEST, FASTEST), LAW_SCATTER


def _from_reading(row, air: Air):
    speed, drop = row["drop_reading"]
    return drop_law_from_one_reading(speed, drop, air.density, air.viscosity), READING_SCATTER


def _from_surface(row, air: Air):
    low, high = 1.0 + CORE_DEVIATION.low, 1.0 + CORE_DEVIATION.high
    scatter = UncertainValue(1.0, low, high, CORE_DEVIATION.mark, CORE_DEVIATION.source)
    return row["surface"].drop_law(row["depth"], air), scatter


_LAWS = {
    "drop_test": _from_test,
    "drop_law": _from_law,
    "drop_reading": _from_reading,
    "surface": _from_surface,
}
