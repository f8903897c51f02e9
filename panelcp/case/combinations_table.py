"""The table [combinations]: what the bay needs and how many openings may share it."""

from __future__ import annotations

import re
from typing import Any

from panelcp.atmosphere import hot_day_air
from panelcp.case import schema
from panelcp.case.schema import CaseText, Entry, band, quantity, whole_number
from panelcp.errors import PanelcpError, QuantityError
from panelcp.placement.combination_places import MOST_CANDIDATES
from panelcp.placement.combination_search import EXITS, INLETS
from panelcp.placement.combinations import CombinationSettings
from panelcp.placement.requirement import NeededPressure
from panelcp.quantity import UncertainValue, read_uncertain
from panelcp.surface.opening import KINDS
from panelcp.units import parse_quantity

MOST_LOSS = 10.0
LEAST = 1e-3
"""Losses, coefficients and area factors are at least that."""


def air_flow(raw) -> UncertainValue:
    """Reader of a flow of air, kg/s: a mass flow, or a volume flow at sea level on the hot day."""
    value = raw.get("value") if isinstance(raw, dict) else raw
    try:
        parse_quantity(value, "volume flow")
    except QuantityError:
        try:
            parse_quantity(value, "mass flow")
        except QuantityError:
            raise QuantityError(
                f'{value!r} is no flow of air; write a volume flow ("0.9 m3/s", at sea level on '
                'the hot day) or a mass flow ("1.0 kg/s")'
            ) from None
        return _positive(read_uncertain(raw, "mass flow"))
    volume, density = read_uncertain(raw, "volume flow"), hot_day_air(0.0).density
    return _positive(
        UncertainValue(
            volume.value * density,
            volume.low * density if volume.has_band else None,
            volume.high * density if volume.has_band else None,
            volume.mark,
            volume.source,
            "mass flow",
        )
    )


def core_pressure(raw) -> UncertainValue:
    """Reader of the pressure drop of the core, Pa."""
    return _positive(read_uncertain(raw, "pressure"))


def _positive(value: UncertainValue) -> UncertainValue:
    if not (value.low if value.has_band else value.value) > 0.0:
        raise QuantityError("must be more than 0, with its whole band")
    return value


def discharge(raw) -> dict[str, UncertainValue]:
    """Reader of discharge coefficients by name or kind of an opening."""
    read = band("fraction", least=LEAST, most=1.0)
    if not isinstance(raw, dict) or not raw:
        raise QuantityError(
            f'{raw!r} is no table of coefficients; write {{ "plain exit" = 0.9 }}, by kind or by '
            "name of the opening"
        )
    return {name: read(value) for name, value in raw.items()}


COMBINATIONS = {
    "air_flow": Entry(air_flow, required=True),
    "core_pressure": Entry(core_pressure, required=True),
    "inlets": Entry(whole_number(1, INLETS)),
    "exits": Entry(whole_number(1, EXITS)),
    "area_factors": Entry(schema.list_of(quantity("fraction", least=0.1, most=10.0))),
    "most_exit_area": Entry(quantity("area", above=0.0)),
    "candidates": Entry(whole_number(1, MOST_CANDIDATES)),
    "names": Entry(schema.texts),
    "least_distance": Entry(quantity("length", least=0.0)),
    "inlet_loss": Entry(band("fraction", least=LEAST, most=MOST_LOSS)),
    "discharge": Entry(discharge),
}
_SETTINGS = {"inlets": "most_inlets", "exits": "most_exits"}
"""Entries that have another name in CombinationSettings."""


def read_combinations(
    case_text: CaseText, limit_temperature: float | None, conditions, openings, searches
) -> CombinationSettings | None:
    """The table of a case; None without one. Mistakes are added to the text's.

    Parameters
    ----------
    case_text : CaseText
    limit_temperature : K, of the coolant, or None
    conditions : of FlightCondition
    openings, searches : of OpeningEntry and SearchEntry
    """
    if not isinstance(case_text.raw.get("combinations"), dict):
        return None
    row = case_text.table("combinations", COMBINATIONS)
    if case_text.any_wrong("combinations"):
        return None
    names, coefficients = row["names"] or (), row["discharge"] or {}
    if not case_text.any_wrong("opening", "search"):
        _require_known(case_text, "names", names, openings, searches)
        others = [name for name in coefficients if name not in KINDS]
        _require_known(case_text, "discharge", others, openings, searches)
    if not case_text.any_wrong("condition"):
        _require_power(case_text, conditions)
    try:
        need = NeededPressure(row.pop("core_pressure"), limit_temperature, hot_day_air(0.0))
        return CombinationSettings(need=need, **_given(row))
    except PanelcpError as error:
        # the reference air is too hot: [engine] tells it, where it needs a pressure itself
        case_text.add("combinations", 0, "", str(error))
        return None


def _given(row: dict[str, Any]) -> dict[str, Any]:
    return {_SETTINGS.get(k, k): value for k, value in row.items() if value is not None}


def _require_known(case_text, key: str, names, openings, searches):
    """Note names that are neither those of inlets and exits nor of places of a search."""
    uses = {entry.name: entry.use for entry in openings}
    for name in names:
        if any(re.fullmatch(re.escape(s.region.name) + r" [1-9]\d*", name) for s in searches):
            continue
        if name not in uses:
            hint = schema.nearest(name, uses)
            message = f"{name!r} is no opening, nor a place of a search such as 'top 3'{hint}"
            case_text.add("combinations", 0, key, message)
        elif uses[name] not in ("inlet", "exit", "both"):
            message = f"{name!r} has use = {uses[name]!r}; only inlets and exits can be combined"
            case_text.add("combinations", 0, key, message)


def _require_power(case_text, conditions):
    """Note deciding conditions without power, from which the needed flow follows."""
    lacking = [c.name for c in conditions if c.decides and not c.power]
    if lacking:
        case_text.add(
            "combinations",
            0,
            "",
            f"the needed air flow follows from power, which the deciding condition(s) "
            f"{', '.join(lacking)} lack: give power there, or decides = false",
        )
