"""The tables of a case about what stands round the body: propeller, wing, ground, effects."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

import numpy as np

from panelcp.case.schema import (
    CaseText,
    Entry,
    band,
    choice,
    list_of,
    point,
    quantity,
    true_or_false,
)
from panelcp.case.usual_conditions import USUAL_CONDITIONS, with_usual_conditions
from panelcp.errors import PanelcpError, QuantityError
from panelcp.onset.propeller import (
    FIGURE_OF_MERIT,
    ROTATIONS,
    SLIPSTREAM_FACTOR,
    Loading,
    Propeller,
)
from panelcp.onset.surroundings import EFFECTS, Surroundings
from panelcp.onset.wing import Wing
from panelcp.units import parse_quantity

_SIZE = quantity("length", above=0.0)

ATTITUDE_LIMIT = 30.0
"""deg, of the cowl datum on the ground."""


def share(least: float, most: float):
    """Reader of an uncertain part of one; percents without their sign are told."""
    read = band("fraction", least=least, most=most)

    def read_share(raw):
        try:
            return read(raw)
        except QuantityError as error:
            value = raw.get("value") if isinstance(raw, dict) else raw
            plain = not isinstance(value, bool) and isinstance(value, int | float)
            advice = f' (in percent: "{value:g} %")' if plain and value > most else ""
            raise QuantityError(f"{error}{advice}") from None

    return read_share


_EFFICIENCY = share(least=0.01, most=1.0)


def usual_names(raw) -> tuple[str, ...]:
    """Reader of a list of names of usual conditions."""
    known = ("all", *USUAL_CONDITIONS)
    if not isinstance(raw, list) or not raw:
        raise QuantityError(f'{raw!r} is not a list of names; write ["all"] or ["climb", "cruise"]')
    for name in raw:
        if name not in known:
            near = get_close_matches(str(name), known, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise QuantityError(
                f"{name!r} is not known; choose of {', '.join(map(repr, known))}{hint}"
            )
    return tuple(raw)


def loading_place(raw) -> tuple[float, float]:
    """Reader of one place of a loading: [part of the radius, rise there]."""
    if not isinstance(raw, list) or len(raw) != 2:
        raise QuantityError(
            f'{raw!r} is not a place of the loading; write ["40 %", 1.2]: part of the radius, rise '
            "of total pressure there against other places"
        )
    return parse_quantity(raw[0], "fraction"), parse_quantity(raw[1], "number")


PROPELLER = {
    "diameter": Entry(_SIZE, required=True),
    "centre": Entry(point, required=True),
    "rotation": Entry(choice(*ROTATIONS), required=True),
    "efficiency": Entry(_EFFICIENCY, required=True),
    "rpm": Entry(quantity("rotational speed", above=0.0)),
    "tilt_down": Entry(quantity("angle"), default=0.0),
    "tilt_right": Entry(quantity("angle"), default=0.0),
    "hub_diameter": Entry(quantity("length", least=0.0), default=0.0),
    "figure_of_merit": Entry(_EFFICIENCY, default=FIGURE_OF_MERIT),
    "slipstream_factor": Entry(share(least=0.0, most=2.0), default=SLIPSTREAM_FACTOR),
    "loading": Entry(list_of(loading_place)),
}
WING = {
    "span": Entry(_SIZE, required=True),
    "area": Entry(quantity("area", above=0.0), required=True),
    "centre": Entry(point, required=True),
    "mass": Entry(quantity("mass", above=0.0), required=True),
    "max_lift_coefficient": Entry(quantity("number", above=0.0), default=1.6),
}
GROUND = {
    "height": Entry(quantity("length", above=0.0)),
    "attitude": Entry(quantity("angle", least=-ATTITUDE_LIMIT, most=ATTITUDE_LIMIT)),
}
EFFECT_ENTRIES = {name: Entry(true_or_false, default=True) for name in EFFECTS}
USUAL = {"include": Entry(usual_names, default=())}
AIR_TABLES = {
    "propeller": False,
    "wing": False,
    "ground": False,
    "effects": False,
    "usual_conditions": False,
}


def read_surroundings(case_text: CaseText, rated_power: float | None) -> Surroundings:
    """Propeller, wing and switches of a case; mistakes are added to the text's."""
    effects = case_text.table("effects", EFFECT_ENTRIES)
    propeller = _propeller(case_text)
    if propeller is not None and effects["slipstream"] is not False:
        _require_power(case_text, rated_power)
    return Surroundings(
        propeller=propeller,
        wing=_wing(case_text),
        rated_power=rated_power,
        effects=tuple(name for name in EFFECTS if effects[name] is not False),
    )


def _require_power(case_text: CaseText, rated_power: float | None):
    """Note once that power in parts of a rated power is of no use without it."""
    rows = case_text.raw.get("condition", [])
    rows = [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    if rated_power is not None or case_text.any_wrong("engine"):
        return
    if any("power" in row for row in rows):
        case_text.add(
            "engine",
            0,
            "",
            "with a [propeller] the power of the conditions is given in parts of the rated power, "
            "which is missing: give rated_power in [engine]",
        )


def _propeller(case_text: CaseText) -> Propeller | None:
    row = _row(case_text, "propeller", PROPELLER)
    if row is None:
        return None
    row["rotational_speed"], row["factor"] = row.pop("rpm"), row.pop("slipstream_factor")
    places = row.pop("loading")
    try:
        loading = {"loading": Loading(*np.transpose(places))} if places else {}
    except PanelcpError as error:
        case_text.add("propeller", 0, "loading", str(error))
        return None
    return _made(case_text, "propeller", Propeller, {**row, **loading})


def _wing(case_text: CaseText) -> Wing | None:
    row = _row(case_text, "wing", WING)
    return None if row is None else _made(case_text, "wing", Wing, row)


def _row(case_text: CaseText, table: str, entries) -> dict[str, Any] | None:
    """A table that the case has and that holds no mistake."""
    if not isinstance(case_text.raw.get(table), dict):
        return None
    row = case_text.table(table, entries)
    return None if case_text.any_wrong(table) else row


def _made(case_text: CaseText, table: str, make, row):
    try:
        return make(**row)
    except PanelcpError as error:
        case_text.add(table, 0, "", str(error).removeprefix(f"{table}: "))
        return None


def complete_conditions(case_text: CaseText) -> tuple[str, ...]:
    """Put the usual conditions that the case wants into its text; names of those added."""
    wanted = case_text.table("usual_conditions", USUAL)["include"]
    rows = case_text.raw.get("condition", [])
    if not wanted or not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
        return ()
    names = tuple(USUAL_CONDITIONS) if "all" in wanted else wanted
    case_text.raw["condition"] = with_usual_conditions(rows, names)
    return tuple(name for name in names if name not in [row.get("name") for row in rows])


def with_ground(row: dict[str, Any], ground: dict[str, Any]) -> dict[str, Any]:
    """A condition's row; on the ground it takes height and attitude of [ground] if it has none."""
    if row["ground_speed"] is None and row["height"] is None:
        return row
    return {**row, **{key: ground[key] for key in GROUND if row[key] is None}}
