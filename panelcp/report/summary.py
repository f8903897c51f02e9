"""summary.json: all numbers of a run.

Every key, its meaning and its unit stand in the JSON Schema of `panelcp.report.summary_schema`; a
new key here is a new key there, which the tests see to. SI units, angles in degrees, temperatures
in kelvin; a number that does not exist is null, also one that would be endless.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.placement.pair_bands import QUANTILES
from panelcp.report.answers import whole_answer
from panelcp.report.choices_summary import choices_summary
from panelcp.report.contents import CAUTIONS, AirContents, RunContents, explain
from panelcp.report.cooling_tables import cooling_summary
from panelcp.report.margin_section import margin_summary
from panelcp.report.places import places_summary
from panelcp.report.tables import pressure_at_effects

FORMAT = 1
MAX_PAIRS = 500
"""Pairs listed in summary.json; ranking.csv holds all."""


def summary(contents: RunContents) -> dict[str, Any]:
    """All numbers of a run as plain Python values.

    Parameters
    ----------
    contents : RunContents

    Returns
    -------
    dict, see `panelcp.report.summary_schema` for the schema
    """
    return {
        **_head(contents),
        "answer": whole_answer(contents),
        "notices": list(contents.notices),
        "warnings": list(contents.warnings),
        "cautions": list(CAUTIONS),
        "not_modelled": list(contents.not_modelled),
        "surface": _surface(contents),
        "solver": _solver(contents),
        "conditions": _conditions(contents),
        "openings": _openings(contents),
        "effects": _effects(contents),
        "through_flow": _through_flow(contents),
        "boundary_layer": _boundary_layer(contents),
        "exit_air": _exit_air(contents),
        "static_ports": _static_ports(contents),
        "ranking": _ranking(contents),
        "places": places_summary(contents),
        **choices_summary(contents),
        "cooling": None if contents.cooling is None else cooling_summary(contents.cooling),
        "ranking_by_margin": margin_summary(contents.margins),
        "marks": _marks(contents),
        "inputs": contents.inputs,
    }


def air_summary(contents: AirContents) -> dict[str, Any]:
    """What is known of the pressures alone; keys and meaning are those of `summary`."""
    return {
        **_head(contents),
        "notices": list(contents.notices),
        "warnings": list(contents.warnings),
        "cautions": list(CAUTIONS),
        "not_modelled": list(contents.air_not_modelled),
        "surface": _surface(contents),
        "solver": _solver(contents),
        "conditions": _conditions(contents),
        "openings": _openings(contents),
        "marks": _marks(contents),
        "inputs": contents.inputs,
    }


def _head(contents: AirContents) -> dict[str, Any]:
    """What the inputs are called."""
    return {
        "format": FORMAT,
        "version": contents.version,
        "inputs_hash": contents.input_hash,
        "name": contents.name,
        "question": contents.question,
        "note": contents.note,
    }


def as_json(found: dict[str, Any]) -> str:
    """A summary as UTF-8 text; numbers that do not exist become null."""
    return json.dumps(_plain(found), indent=1, ensure_ascii=False) + "\n"


def summary_json(contents: RunContents) -> str:
    """The summary as UTF-8 text; numbers that do not exist become null."""
    return as_json(summary(contents))


def _marks(contents: AirContents) -> list[dict[str, Any]]:
    return [{"place": place, **value.to_dict()} for place, value in contents.marks]


def _surface(contents) -> dict[str, Any]:
    check = contents.check
    return {
        "length_width_height": check.size,
        "bounds": check.bounds,
        "panels": check.n_panels,
        "panels_solved": check.n_solved,
        "area": check.area,
        "volume": check.volume,
        "asymmetry": check.asymmetry,
        "least_angle": check.least_angle,
        "notes": list(check.notes),
    }


def _solver(contents) -> dict[str, Any]:
    units = contents.units
    return {
        "unit_solutions": list(units.names),
        "iterations": units.iterations,
        "residual_normal_velocity": units.residuals,
        "force_coefficient": contents.flow.force_coefficient,
        "checks": [
            {
                "kind": check.kind,
                "limit": check.limit,
                "worst": check.worst,
                "failed": check.failed,
                "count": check.count,
                "place": check.place,
            }
            for check in contents.checks
        ],
    }


def _conditions(contents) -> list[dict[str, Any]]:
    rows = []
    flow = contents.flow
    for c, needed, rise, predicted in zip(
        flow.conditions, contents.needed_pressure, flow.mean_rise, flow.predicted, strict=True
    ):
        rows.append(
            {
                "name": c.name,
                "decides": c.decides,
                "weight": c.weight,
                "true_airspeed": c.speed,
                "alpha": c.alpha,
                "beta": c.beta,
                "ground_speed": c.ground_speed,
                "wind_speed": c.wind_speed,
                "wind_from": c.wind_from,
                "attitude": (c.attitude or 0.0) if c.on_ground else None,
                "height": c.height,
                "altitude": c.altitude,
                "temperature": c.air.temperature,
                "density": c.air.density,
                "dynamic_pressure": c.dynamic_pressure,
                "mach": c.mach,
                "power": c.power,
                "on_ground": c.on_ground,
                "mean_rise": rise,
                "predicted": predicted,
                "needed_pressure": needed.to_dict() if needed else None,
            }
        )
    return rows


def _openings(contents) -> list[dict[str, Any]]:
    group = contents.openings
    return [
        {
            "name": opening.name,
            "use": opening.use,
            "kind": opening.kind,
            "side": opening.side,
            "centre": opening.centre,
            "normal": opening.normal,
            "area": opening.area,
            "patch_pressure": group.patch_pressure[:, index],
            "pressure_spread": group.pressure_spread[:, index],
            "total_pressure": group.total_pressure[:, index],
            "inlet_pressure": group.inlet_pressure[:, index] if opening.takes_air_in else None,
        }
        for index, opening in enumerate(group.openings)
    ]


def _effects(contents) -> list[dict[str, Any]]:
    effects = contents.effects
    if effects is None:
        return []
    pressure = pressure_at_effects(contents)
    return [
        {
            "name": opening.name,
            "pressure": pressure[:, k],
            **{name: effects.share[e, :, k] for e, name in enumerate(effects.effects)},
        }
        for k, opening in enumerate(effects.openings)
    ]


def _through_flow(contents) -> list[dict[str, Any]]:
    through = contents.through
    if through is None:
        return []
    return [
        {
            "name": opening.name,
            "volume_flow": through.volume_flow[:, k],
            "velocity_ratio": through.velocity_ratio[:, k],
            "spillage": through.spillage[:, k],
            "lip_pressure": through.lip_pressure[:, k],
            "change_by_other_openings": through.others[:, k],
        }
        for k, opening in enumerate(through.openings)
    ]


def _boundary_layer(contents) -> list[dict[str, Any]]:
    layers = contents.layers
    if layers is None:
        return []
    return [
        {
            "name": opening.name,
            "state": [STATE_NAMES[int(state)] for state in layers.state[:, k]],
            "thickness": layers.thickness[:, k],
            "way_to_separation": layers.margin[:, k],
            "way_to_warning": layers.warned_margin[:, k],
            "pocket_pressure": layers.plateau[:, k],
            "recovery_share": layers.recovery_share[:, k],
        }
        for k, opening in enumerate(layers.openings)
    ]


def _exit_air(contents) -> list[dict[str, Any]]:
    conditions = contents.flow.conditions
    return [
        {
            "exit": hit.exit,
            "target": hit.target,
            "kind": hit.kind,
            "condition": conditions[hit.condition].name,
            "reached": hit.reached,
            "way": hit.way,
            "clearance": hit.clearance,
            "pressure_difference": hit.pressure_difference,
        }
        for hit in contents.exit_air
    ]


def _static_ports(contents) -> list[dict[str, Any]]:
    ports = contents.static_ports
    if ports is None:
        return []
    return [
        {
            "name": name,
            "pressure": ports.pressure[:, k],
            "airspeed_error": ports.airspeed[:, k],
            "altitude_error": ports.altitude[:, k],
        }
        for k, name in enumerate(ports.names)
    ]


def _ranking(contents) -> dict[str, Any]:
    ranking, short = contents.ranking, contents.short_list
    shown = range(min(ranking.n_pairs, MAX_PAIRS))
    return {
        "n_pairs": ranking.n_pairs,
        "short_list": [pair + 1 for pair in short],
        "best_of_each_side": {s: p + 1 for s, p in ranking.best_of_each_side().items()},
        "pairs": [_pair(contents, pair, pair in short) for pair in shown],
    }


def _pair(contents, pair: int, short_listed: bool) -> dict[str, Any]:
    ranking = contents.ranking
    return {
        "rank": pair + 1,
        "inlet": ranking.inlet(pair).name,
        "exit": ranking.exit(pair).name,
        "exit_side": ranking.exit(pair).side,
        "exit_centre": ranking.exit(pair).centre,
        "least_ratio": ranking.least_ratio[pair],
        "least_ratio_deviation": ranking.least_ratio_deviation(pair),
        "mean_ratio": ranking.mean_ratio[pair],
        "limiting_condition": contents.flow.conditions[ranking.limiting[pair]].name,
        "available": ranking.available[:, pair],
        "deviation": ranking.deviation[:, pair],
        "ratio": ranking.ratio[:, pair],
        "probability_enough": ranking.least_sufficiency[pair],
        "probability_enough_by_condition": ranking.sufficiency[:, pair],
        "probability_reversed": ranking.reversal[:, pair],
        "largest_contributor": next(iter(ranking.contributors(pair)), None),
        "band": _band(contents, pair) if short_listed else None,
        "why": explain(contents, pair),
    }


def _band(contents, pair: int) -> dict[str, Any] | None:
    ranking = contents.ranking
    if ranking.bands is None:
        return None
    bands, place = ranking.bands, (ranking.inlet_index[pair], ranking.exit_index[pair])
    variance = bands.variance[(..., *place)]
    return {
        "samples": bands.samples.count,
        "quantiles": QUANTILES,
        "available": bands.band(*place),
        "least_ratio": bands.least_ratio_band(*place),
        "least_ratio_shares": ranking.contributors(pair),
        "variance_by_kind": dict(zip(bands.samples.kind_names, variance, strict=True)),
    }


def _plain(value):
    """Numbers that JSON has; seven significant digits are kept of floats."""
    if isinstance(value, dict):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.7g}") if np.isfinite(value) else None
    return value
