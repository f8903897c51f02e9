"""The tables: a unit in every heading of numbers, and numbers that are those of the run."""

import csv
import io

import numpy as np
import pytest

from panelcp.report.cooling_tables import ZERO_CELSIUS, cooling_csv
from panelcp.report.margin_section import margin_csv
from panelcp.report.tables import (
    DIMENSIONLESS,
    HEADING_UNITS,
    IN_H2O,
    _csv,
    effects_csv,
    pressures_csv,
    ranking_csv,
    spoilers_csv,
)
from panelcp.units import UNITS
from tests.report.exports import whole_run

TABLES = {
    "ranking.csv": ranking_csv,
    "pressures.csv": pressures_csv,
    "effects.csv": effects_csv,
    "spoilers.csv": spoilers_csv,
    "cooling.csv": lambda contents: cooling_csv(contents.cooling),
    "ranking-by-margin.csv": lambda contents: margin_csv(contents.margins),
}
NAME = 'climb, "hot" <& größer>'


def table(name) -> tuple[list[str], list[list[str]]]:
    heading, *rows = csv.reader(io.StringIO(TABLES[name](whole_run.contents()), newline=""))
    return heading, rows


def columns(name) -> dict[str, np.ndarray]:
    """Columns of texts."""
    heading, rows = table(name)
    assert len(set(heading)) == len(heading)
    return dict(zip(heading, np.array(rows).T, strict=True))


def numbers(cells) -> np.ndarray:
    return np.array([float(cell) if cell else np.nan for cell in cells])


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def own_heading(heading: str) -> str:
    """Without the condition."""
    return heading.rsplit(": ", 1)[-1]


def unit_of(heading: str) -> str | None:
    ends = [end for end in HEADING_UNITS if own_heading(heading).endswith(end)]
    return HEADING_UNITS[max(ends, key=len)] if ends else None


def test_units_of_headings_are_those_of_the_program():
    known = {unit for units in UNITS.values() for unit in units}
    assert {unit for unit in HEADING_UNITS.values() if " " not in unit} <= known


@pytest.mark.parametrize("name", list(TABLES))
def test_every_column_of_numbers_has_a_unit_or_is_known_to_have_none(name):
    checked = 0
    for heading, cells in columns(name).items():
        filled = [cell for cell in cells if cell]
        if filled and all(is_number(cell) for cell in filled):
            checked += 1
            bare = own_heading(heading) in DIMENSIONLESS
            assert (unit_of(heading) is None) == bare, heading
    assert checked >= 2


@pytest.mark.parametrize("name", list(TABLES))
def test_tables_are_plain(name):
    text = TABLES[name](whole_run.contents())
    assert text.endswith("\n")
    assert "\r" not in text
    assert "\ufeff" not in text
    heading, rows = table(name)
    assert {len(row) for row in rows} == {len(heading)}
    again = io.StringIO()
    csv.writer(again, lineterminator="\n").writerows([heading, *rows])
    assert again.getvalue() == text
    assert not any(cell in ("nan", "None") for row in rows for cell in row)


def test_quoting_is_that_of_rfc_4180():
    row = ["plain", "a, b", 'say "no"', "two\nlines", "", "größer"]
    text = _csv(["one"], [row])
    assert text == 'one\nplain,"a, b","say ""no""","two\nlines",,größer\n'
    assert list(csv.reader(io.StringIO(text, newline="")))[1] == row


def test_ranking_holds_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("ranking.csv")
    ranking = contents.ranking
    names = [condition.name for condition in contents.flow.conditions]
    assert NAME in names
    assert np.array_equal(numbers(found["rank"]), 1.0 + np.arange(ranking.n_pairs))
    deviation = np.array([ranking.least_ratio_deviation(k) for k in range(ranking.n_pairs)])
    pairs = (
        ("least_available_over_needed", ranking.least_ratio, 4),
        ("deviation", deviation, 4),
        ("probability_enough", ranking.least_sufficiency, 4),
        *((f"{n}: available_Pa", ranking.available[c], 2) for c, n in enumerate(names)),
        *((f"{n}: available_inH2O", ranking.available[c] / IN_H2O, 4) for c, n in enumerate(names)),
        *((f"{n}: deviation_Pa", ranking.deviation[c], 2) for c, n in enumerate(names)),
        *((f"{n}: probability_reversed", ranking.reversal[c], 4) for c, n in enumerate(names)),
    )
    for heading, values, digits in pairs:
        assert_written(found[heading], values, digits, heading)
    centres = [ranking.exit(pair).centre for pair in range(ranking.n_pairs)]
    for k, axis in enumerate("xyz"):
        assert_written(found[f"exit_{axis}_m"], np.array(centres)[:, k], 4)


def assert_written(cells, values, digits, heading=""):
    """The cells are the values to the digits that were written; empty where there is none."""
    read = numbers(cells)
    assert np.array_equal(np.isnan(read), ~np.isfinite(values)), heading
    assert np.nanmax(np.abs(read - values), initial=0.0) <= 0.5001 * 10.0**-digits, heading


def test_pressures_hold_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("pressures.csv")
    group, conditions = contents.openings, contents.flow.conditions
    for k, opening in enumerate(group.openings):
        own = found["opening"] == opening.name
        assert found["condition"][own].tolist() == [condition.name for condition in conditions]
        for heading, values, digits in (
            ("patch_pressure_Pa", group.patch_pressure[:, k], 2),
            ("patch_pressure_inH2O", group.patch_pressure[:, k] / IN_H2O, 4),
            ("spread_Pa", group.pressure_spread[:, k], 2),
            ("total_pressure_Pa", group.total_pressure[:, k], 2),
            ("area_m2", np.full(len(conditions), opening.area), 6),
        ):
            assert_written(found[heading][own], values, digits, heading)
        q = contents.flow.dynamic_pressure
        with np.errstate(divide="ignore", invalid="ignore"):
            cp = np.where(q > 0.0, group.patch_pressure[:, k] / q, np.nan)
        assert_written(found["patch_cp"][own], cp, 4)


def test_effects_hold_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("effects.csv")
    for e, name in enumerate(contents.effects.effects):
        assert_written(found[f"{name}_Pa"], contents.effects.share[e].T.ravel(), 2)


def test_spoilers_hold_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("spoilers.csv")
    values = np.array([spoiler.value for spoiler in contents.spoilers])
    assert np.allclose(numbers(found["value_in_unit"]), values, rtol=1e-5, atol=0.0)
    assert found["unit"].tolist() == [spoiler.unit for spoiler in contents.spoilers]


def test_cooling_holds_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("cooling.csv")
    core = contents.cooling.cores[0]
    own = (found["what"] == "core") & (found["name"] == core.name)
    for heading, values, digits in (
        ("flow_kg_per_s", core.flow.value, 5),
        ("velocity_m_per_s", core.face_velocity, 3),
        ("pressure_drop_Pa", core.drop, 2),
        ("heat_kW", core.heat / 1e3, 4),
        ("hot_degC", core.hot - ZERO_CELSIUS, 2),
        ("margin_K", core.margin.value, 2),
        ("chance_too_hot", core.chance_too_hot, 4),
    ):
        assert_written(found[heading][own], values, digits, heading)


def test_ranking_by_margin_holds_the_numbers_of_the_run():
    contents, found = whole_run.contents(), columns("ranking-by-margin.csv")
    margins = contents.margins
    for c, name in enumerate(margins[0].conditions):
        for heading, digits in (("margin", 2), ("flow", 4)):
            values = np.concatenate([getattr(ranking, heading)[:, c] for ranking in margins])
            unit = "K" if heading == "margin" else "kg_per_s"
            assert_written(found[f"{name}: {heading}_{unit}"], values, digits, name)
