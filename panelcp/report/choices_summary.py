"""Part of summary.json: chances, regret, marks on the skin, pocket, curves."""

from __future__ import annotations

from typing import Any

from panelcp.report.combinations_section import combinations_summary
from panelcp.report.contents import RunContents
from panelcp.report.spoilers_section import spoiler_dicts


def choices_summary(contents: RunContents) -> dict[str, Any]:
    """Plain records, SI units, by the names of the records they come from.

    Returns
    -------
    dict: "choices" (chances and regret of the short list, in its order), "tape" (name ->
    distances along the skin, m), "near_zones" (no-cut zones, m), "spoilers",
    "pocket_edges" (stations by condition, m),
    "vent_maps" (values by panel are in the page's data only; here partners and extremes),
    "curves", "combinations"; null or empty where there are none
    """
    return {
        "choices": _choices(contents),
        "tape": {
            name: {
                "centre_line": tape.centre_line,
                "side": tape.side,
                "hand": tape.hand,
                "firewall": tape.firewall,
            }
            for name, tape in contents.tape.items()
        },
        "near_zones": {
            name: None if found is None else {"zone": found[0], "way": found[1]}
            for name, found in contents.near_zones.items()
        },
        "spoilers": spoiler_dicts(contents.spoilers),
        "pocket_edges": [vars(edge) for edge in contents.pocket_edges],
        "vent_maps": [_vent_map(contents, found) for found in contents.vent_maps],
        "curves": _curves(contents),
        "combinations": combinations_summary(contents.combinations, contents.flow.conditions),
    }


def _choices(contents: RunContents) -> dict[str, Any] | None:
    found = contents.choices
    if found is None:
        return None
    return {
        "pairs": found.pairs + 1,
        "chance_of_best": found.chance_of_best,
        "chance_elsewhere": found.elsewhere,
        "chance_of_exit": found.chance_of_exit,
        "chance_among": found.chance_among,
        "regret": found.regret,
        "worst_regret": found.worst_regret,
        "mean_regret": found.mean_regret,
        "worst_regret_band": found.regret_band,
        "difference": found.difference,
        "difference_deviation": found.difference_deviation,
        "tie": found.tie,
    }


def _vent_map(contents: RunContents, found) -> dict[str, Any]:
    best = int(found.least_ratio[found.searched].argmax())
    panel = found.searched.nonzero()[0][best]
    return {
        "use": found.use,
        "kind": found.kind,
        "partners": list(found.partners),
        "panels_searched": int(found.searched.sum()),
        "greatest_least_ratio": found.least_ratio[panel],
        "place": contents.flow.surface.centroids[panel],
        "deciding_condition": contents.flow.conditions[found.deciding[panel]].name,
    }


def _curves(contents: RunContents) -> dict[str, Any] | None:
    curves = contents.curves
    if curves is None:
        return None
    sides = curves.sides
    return {
        "windshield_foot": curves.foot,
        "sides": {
            side: {
                "pair": int(sides.pairs[k]) + 1,
                "exit_pressure": sides.exit_pressure[:, k],
                "exit_deviation": sides.exit_deviation[:, k],
                "available": sides.available[:, k],
                "deviation": sides.deviation[:, k],
                "ratio": sides.ratio[:, k],
                "probability_reversed": sides.reversal[:, k],
            }
            for k, side in enumerate(sides.sides)
        },
        "how_far_forward": [
            {
                "asked": answer.asked,
                "station": answer.station,
                "low": answer.low,
                "high": answer.high,
            }
            for answer in curves.answers
        ],
        "lines": [_line(line) for line in curves.lines],
        "sweeps": [_sweep(sweep) for sweep in (*curves.sweeps, curves.wind) if sweep is not None],
    }


def _line(line) -> dict[str, Any]:
    return {
        "side": line.side,
        "across": line.across,
        "station": line.station,
        "pressure": line.pressure,
        "deviation": line.deviation,
    }


def _sweep(sweep) -> dict[str, Any]:
    return {
        "quantity": sweep.quantity,
        "condition": sweep.base.name,
        "values": sweep.values,
        "pairs": [
            {
                "inlet": inlet.name,
                "exit": outlet.name,
                "exit_pressure": sweep.exit_pressure[k],
                "available": sweep.available[k],
                "low": sweep.low[k],
                "high": sweep.high[k],
            }
            for k, (inlet, outlet) in enumerate(zip(sweep.inlets, sweep.exits, strict=True))
        ],
        "needed": sweep.needed,
        "predicted": sweep.predicted,
    }
