"""The trade's usual conditions, as rows of a case file that the user overrides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

SPEEDS = ("true_airspeed", "calibrated_airspeed", "ground_speed")
AIR = ("day", "temperature", "temperature_offset")

_STANDING = {"ground_speed": "0 kt", "day": "hot day", "decides": False}

USUAL_CONDITIONS: dict[str, dict[str, Any]] = {
    "ground idle": {**_STANDING, "power": "5 %"},
    "quartering wind from right": {
        **_STANDING,
        "power": "5 %",
        "wind_speed": "10 kt",
        "wind_from": "45 deg",
    },
    "quartering wind from left": {
        **_STANDING,
        "power": "5 %",
        "wind_speed": "10 kt",
        "wind_from": "-45 deg",
    },
    "taxi, tail wind": {
        **_STANDING,
        "ground_speed": "8 kt",
        "power": "10 %",
        "wind_speed": "12 kt",
        "wind_from": "180 deg",
    },
    "run-up, half power": {**_STANDING, "power": "50 %"},
    "run-up, full power": {**_STANDING, "power": "100 %"},
    "take-off roll": {**_STANDING, "ground_speed": "30 kt", "power": "100 %"},
    "climb": {
        "calibrated_airspeed": "75 kt",
        "alpha": "4 deg",
        "day": "hot day",
        "power": "100 %",
    },
    "climb, wind from right": {
        "calibrated_airspeed": "75 kt",
        "alpha": "4 deg",
        "beta": "5 deg",
        "day": "hot day",
        "power": "100 %",
    },
    "best-angle climb": {
        "calibrated_airspeed": "65 kt",
        "alpha": "7 deg",
        "day": "hot day",
        "power": "100 %",
    },
    "cruise": {"calibrated_airspeed": "110 kt", "altitude": "4000 ft", "power": "65 %"},
    "fast cruise": {
        "calibrated_airspeed": "125 kt",
        "alpha": "-1 deg",
        "power": "100 %",
        "decides": False,
    },
    "descent": {
        "calibrated_airspeed": "95 kt",
        "alpha": "-2 deg",
        "power": "10 %",
        "decides": False,
    },
    "approach": {
        "calibrated_airspeed": "60 kt",
        "alpha": "2 deg",
        "power": "30 %",
        "decides": False,
    },
    "sideslip, wind from right": {
        "calibrated_airspeed": "75 kt",
        "alpha": "3 deg",
        "beta": "12 deg",
        "power": "40 %",
        "decides": False,
    },
    "sideslip, wind from left": {
        "calibrated_airspeed": "75 kt",
        "alpha": "3 deg",
        "beta": "-12 deg",
        "power": "40 %",
        "decides": False,
    },
    "go-around": {
        "calibrated_airspeed": "60 kt",
        "alpha": "6 deg",
        "beta": "5 deg",
        "day": "hot day",
        "power": "100 %",
        "decides": False,
    },
    "parked": {**_STANDING, "power": "0 %"},
}
"""Speeds, angles and powers of a two-seat light aircraft: common practice, no source."""


def with_usual_conditions(rows: list[dict[str, Any]], names) -> list[dict[str, Any]]:
    """Rows of the case, completed by the usual conditions.

    A row of the same name overrides the usual one key by key, a speed of any kind its speed, an
    air of any kind its air. The rows keep their places; what the case does not name follows.

    Parameters
    ----------
    rows : of the case file, as parsed
    names : of the usual conditions that are wanted

    Returns
    -------
    list of rows

    Examples
    --------
    >>> rows = with_usual_conditions([{"name": "cruise", "true_airspeed": "60 m/s"}], ["cruise"])
    >>> rows[0]["true_airspeed"], rows[0]["altitude"], "calibrated_airspeed" in rows[0]
    ('60 m/s', '4000 ft', False)
    """
    named = [row.get("name") for row in rows]
    completed = [
        _overridden(USUAL_CONDITIONS[row["name"]], row) if row.get("name") in names else row
        for row in rows
    ]
    return completed + [
        {"name": name, **USUAL_CONDITIONS[name]} for name in names if name not in named
    ]


def _overridden(usual: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    dropped = {key for group in (SPEEDS, AIR) if set(group) & set(own) for key in group}
    if "ground_speed" not in own and dropped & set(SPEEDS):
        dropped |= {"wind_speed", "wind_from"}
    return {**{key: value for key, value in usual.items() if key not in dropped}, **own}
