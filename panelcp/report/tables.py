"""Tables with units in their headings: ranking.csv, pressures.csv, effects.csv, spoilers.csv.

All tables are UTF-8 with a comma between cells, a decimal point, and quotes as in RFC 4180 (lines
end with a line feed alone). A heading ends with its unit, one of HEADING_UNITS, or stands in
DIMENSIONLESS; in front of it, where a column is of one condition, stands that one's name and ": ".
Cells of numbers that do not exist are empty. In spoilers.csv the unit stands in a column of its
own, empty for parts of one. `deviation` in ranking.csv is that of least_available_over_needed.
"""

from __future__ import annotations

import csv
import io

import numpy as np

from panelcp.placement.ranking import opening_pressures
from panelcp.report.contents import AirContents, RunContents, explain
from panelcp.report.spoilers_section import spoiler_rows
from panelcp.units import UNITS

IN_H2O = float(UNITS["pressure"]["inH2O"])

HEADING_UNITS = {
    "_m": "m",
    "_m2": "m2",
    "_Pa": "Pa",
    "_inH2O": "inH2O",
    "_K": "K",
    "_degC": "degC",
    "_kg_per_s": "kg/s",
    "_m3_per_s": "m3/s",
    "_m_per_s": "m/s",
    "_W": "W",
    "_kW": "kW",
    "_in_unit": "in the unit named beside it",
}
"""End of a heading -> unit of the column, in all tables of a run."""

DIMENSIONLESS = (
    "rank",
    # ranking.csv: pressure over pressure, and probabilities from 0 to 1
    "least_available_over_needed",
    "deviation",
    "mean_available_over_needed",
    "probability_enough",
    "probability_reversed",
    "probability_reversed_somewhere",
    # pressures.csv: over the dynamic pressure of the free stream
    "patch_cp",
    # cooling.csv: parts of one, and counts
    "velocity_ratio",
    "chance_too_hot",
    "chance_reversed",
    "thermostat_share",
    "available_over_needed",
    "leak_share",
    "residual",
    "heat_error",
    "newton_steps",
    "lost_samples",
)
"""Headings of numbers without a unit, in all tables of a run."""


def ranking_csv(contents: RunContents) -> str:
    """Every pair of inlet and exit, best first, one row each."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    heading = ["rank", "inlet", "exit", "exit_side", "exit_x_m", "exit_y_m", "exit_z_m"]
    heading += ["least_available_over_needed", "deviation"]
    heading += ["probability_enough", "largest_contributor"]
    heading += ["mean_available_over_needed", "limiting_condition"]
    heading += ["probability_reversed_somewhere"]
    for c in conditions:
        heading += [f"{c.name}: available_Pa", f"{c.name}: available_inH2O"]
        heading += [f"{c.name}: deviation_Pa", f"{c.name}: needed_Pa"]
        heading += [f"{c.name}: probability_reversed"]
    heading.append("why")
    rows = []
    for pair in range(ranking.n_pairs):
        outlet = ranking.exit(pair)
        row = [pair + 1, ranking.inlet(pair).name, outlet.name, outlet.side]
        row += [f"{value:.4f}" for value in outlet.centre]
        row += [f"{ranking.least_ratio[pair]:.4f}", f"{ranking.least_ratio_deviation(pair):.4f}"]
        row.append(f"{ranking.least_sufficiency[pair]:.4f}")
        row.append(next(iter(ranking.contributors(pair)), ""))
        row.append(f"{ranking.mean_ratio[pair]:.4f}")
        row.append(conditions[ranking.limiting[pair]].name)
        row.append(_number(any_reversal(ranking, pair), 4))
        for c in range(len(conditions)):
            available = ranking.available[c, pair]
            row += [f"{available:.2f}", f"{available / IN_H2O:.4f}"]
            row += [f"{ranking.deviation[c, pair]:.2f}", _number(ranking.needed[c])]
            row.append(_number(ranking.reversal[c, pair], 4))
        rows.append([*row, explain(contents, pair)])
    return _csv(heading, rows)


def any_reversal(ranking, pair: int) -> float:
    """Probability that a pair's flow reverses in some condition; nan without samples."""
    if ranking.bands is None:
        return np.nan
    place = ranking.inlet_index[pair], ranking.exit_index[pair]
    return float(ranking.bands.any_reversal[place])


def pressures_csv(contents: AirContents) -> str:
    """Pressure at every opening of the case and of the ranking in every condition."""
    heading = ["opening", "use", "kind", "side", "x_m", "y_m", "z_m", "area_m2", "condition"]
    heading += ["patch_pressure_Pa", "patch_pressure_inH2O", "patch_cp", "spread_Pa"]
    heading += ["inlet_pressure_Pa", "total_pressure_Pa"]
    rows, seen = [], set()
    ranking, groups = contents.ranking, [contents.openings]
    groups += [] if ranking is None else [ranking.inlets, ranking.exits]
    for group in groups:
        for index, opening in enumerate(group.openings):
            if opening.name in seen:
                continue
            seen.add(opening.name)
            rows += _opening_rows(contents, group, index)
    return _csv(heading, rows)


def _opening_rows(contents, group, index) -> list[list[str]]:
    opening = group.openings[index]
    place = [opening.name, opening.use, opening.kind, opening.side]
    place += [f"{value:.4f}" for value in opening.centre] + [f"{opening.area:.6f}"]
    rows = []
    for c, condition in enumerate(contents.flow.conditions):
        pressure, q = group.patch_pressure[c, index], condition.dynamic_pressure
        values = [f"{pressure:.2f}", f"{pressure / IN_H2O:.4f}"]
        values.append(f"{pressure / q:.4f}" if q > 0.0 else "")
        values.append(f"{group.pressure_spread[c, index]:.2f}")
        values.append(f"{group.inlet_pressure[c, index]:.2f}" if opening.takes_air_in else "")
        values.append(f"{group.total_pressure[c, index]:.2f}")
        rows.append([*place, condition.name, *values])
    return rows


def effects_csv(contents: RunContents) -> str:
    """Share of every effect in the pressure at the openings, one row per opening and condition."""
    effects, pressure = contents.effects, pressure_at_effects(contents)
    heading = ["opening", "condition", "patch_pressure_Pa"]
    heading += [f"{name}_Pa" for name in effects.effects]
    rows = []
    for k, opening in enumerate(effects.openings):
        for c, condition in enumerate(contents.flow.conditions):
            values = [pressure[c, k], *effects.share[:, c, k]]
            rows.append([opening.name, condition.name, *(f"{value:.2f}" for value in values)])
    return _csv(heading, rows)


def spoilers_csv(contents: RunContents) -> str:
    """Every number beyond its limit, one row per opening, thing and condition."""
    return _csv(*spoiler_rows(contents.spoilers))


def pressure_at_effects(contents: RunContents) -> np.ndarray:
    """(n_conditions, n_openings) float, Pa: at the openings of the effects, pockets included."""
    openings = contents.effects.openings
    return opening_pressures(contents.flow, openings, np.zeros(len(openings))).patch_pressure


def _number(value: float, digits: int = 2) -> str:
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def _csv(heading, rows) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(heading)
    writer.writerows(rows)
    return stream.getvalue()
