"""A run with propeller, wing, ground and given flows, through all its files."""

import csv
import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from panelcp.case.log_lines import compressibility_lines
from panelcp.case.preparing import quiet
from panelcp.case.reading import read_case
from panelcp.case.running import run_case
from panelcp.placement.bands import FACTOR, SAMPLES
from panelcp.report.contents import (
    NO_GROUND,
    NO_PROPELLER,
    NO_WING,
    OFF_NOTICE,
    PROPELLER_NOTICE,
    WITH_GROUND,
    WITH_PROPELLER,
    WITH_WING,
    condition_line,
    explain,
    likely_reversed,
    percent,
    reversed_conditions,
)
from panelcp.report.tables import effects_csv
from tests.case.test_air_tables import PROPELLER, WING
from tests.case.test_solving import BLOWN
from tests.cases import CASE, changed, few_dots, ranked, write_case
from tests.report.test_page import Page

GROUND = """
[ground]
height = "1.2 m"

[[condition]]
name = "run-up"
ground_speed = "0 kt"
power = "100 %"
decides = false

[[condition]]
name = "taxi, tail wind"
ground_speed = "0 kt"
wind_speed = "12 kt"
wind_from = "180 deg"
power = "8 %"
decides = false
"""
AIR = BLOWN + WING + GROUND


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    with few_dots():
        return run_case(read_case(write_case(tmp_path_factory.mktemp("air"), AIR)))


@pytest.fixture(scope="module")
def summary(finished):
    return json.loads((finished.folder / "summary.json").read_text(encoding="utf-8"))


def texts(finished, *names):
    return [(finished.folder / name).read_text(encoding="utf-8") for name in names]


def test_notice_goes_only_when_a_propeller_is_given(finished):
    assert finished.contents.notices == ()
    for text in texts(finished, "report.html", "run.log", "summary.json"):
        assert "propeller not modelled" not in text
    switched_off = AIR + "\n[effects]\nslipstream = false\nground = false\n"
    contents = ranked(switched_off)[1]
    assert contents.notices == (OFF_NOTICE,)
    assert ranked(CASE)[1].notices == (PROPELLER_NOTICE,)
    assert NO_PROPELLER in contents.not_modelled
    assert any("switched off in [effects]: slipstream, ground" in w for w in contents.warnings)
    assert not contents.flow.mean_rise.any()


def test_what_is_left_out_follows_the_case(finished):
    lines = finished.contents.not_modelled
    assert {WITH_PROPELLER, WITH_WING, WITH_GROUND} <= set(lines)
    assert not {NO_PROPELLER, NO_WING, NO_GROUND} & set(lines)


def test_summary_tells_rise_and_what_is_not_predicted(finished, summary):
    rows = {row["name"]: row for row in summary["conditions"]}
    assert rows["climb"]["mean_rise"] > 100.0
    assert rows["sideslip"]["mean_rise"] == 0.0
    assert rows["run-up"]["mean_rise"] > rows["climb"]["mean_rise"]
    predicted = {name: row["predicted"] for name, row in rows.items()}
    assert predicted == {name: name != "taxi, tail wind" for name in rows}
    taxi = rows["taxi, tail wind"]
    assert (taxi["ground_speed"], taxi["wind_from"], taxi["height"]) == (0.0, 180.0, 1.2)
    assert taxi["wind_speed"] == pytest.approx(12 * 1852 / 3600)
    assert (taxi["attitude"], rows["climb"]["attitude"]) == (0.0, None)
    assert [row["name"] for row in rows.values() if row["on_ground"]] == [
        "run-up",
        "taxi, tail wind",
    ]


def test_effects_table_is_that_of_the_summary(finished, summary):
    (text,) = texts(finished, "effects.csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    first = summary["effects"][0]
    assert {"slipstream", "swirl", "wing", "ground"} <= set(first)
    (table,) = texts(finished, "pressures.csv")
    pressures = {
        (row["opening"], row["condition"]): row["patch_pressure_Pa"]
        for row in csv.DictReader(io.StringIO(table))
    }
    for row in rows:
        assert row["patch_pressure_Pa"] == pressures[row["opening"], row["condition"]]
    mine = [row for row in rows if row["opening"] == first["name"]]
    for c, row in enumerate(mine):
        assert float(row["patch_pressure_Pa"]) == pytest.approx(first["pressure"][c], abs=0.006)
        for name in ("slipstream", "swirl", "wing", "ground"):
            assert float(row[f"{name}_Pa"]) == pytest.approx(first[name][c], abs=0.006)
    names = [row["name"] for row in summary["effects"]]
    assert names[:2] == ["nose", "chin"]
    assert len(names) > 2  # the best places too


def test_effects_table_knows_the_pockets(finished):
    flow = finished.contents.flow
    pocket = np.where(flow.moving[:, None], -100.0, np.zeros_like(flow.cp))
    contents = replace(finished.contents, flow=flow.with_separation(pocket, np.abs(pocket)))
    tables = [
        list(csv.DictReader(io.StringIO(effects_csv(c)))) for c in (finished.contents, contents)
    ]
    for before, after in zip(*tables, strict=True):
        change = float(after["patch_pressure_Pa"]) - float(before["patch_pressure_Pa"])
        still = before["condition"] == "parked"
        assert change == pytest.approx(0.0 if still else -100.0, abs=0.011)


def test_given_flow_is_shown(finished, summary):
    nose = summary["through_flow"][0]
    assert nose["volume_flow"][0] == -0.2
    assert nose["spillage"][0] == pytest.approx(1.0 - nose["velocity_ratio"][0])
    assert nose["spillage"][1] is None
    chin = summary["through_flow"][1]
    assert chin["change_by_other_openings"][0] != 0.0
    (page,) = texts(finished, "report.html")
    assert "Given flow through openings" in page
    found = Page(page)
    for section in ("effects", "flows", "curves", "vent-map", "cards"):
        assert f"#{section}" in found.links
        assert found.sections.count(section) == 1


def test_ground_conditions_are_shown_in_pascal(finished):
    (page,) = texts(finished, "report.html")
    assert "Pa: run-up" in page
    assert "Cp: climb" in page
    assert "Cp: run-up" not in page
    assert (finished.folder / "maps" / "03-run-up.png").stat().st_size > 10_000
    cockpit = re.sub(r'<data value="([^"]*)">[^<]*</data>', r"\1", page)
    assert "on the ground at 0 kt, wind 12 kt from behind" in cockpit
    metric = re.sub(r"<data [^>]*>([^<]*)</data>", r"\1", page)
    assert re.search(r"mean rise \d+ Pa; not predicted, sign only", metric)
    climb = finished.contents.flow.conditions[0]
    assert "not predicted" not in condition_line(climb, 500.0)


def test_log_tells_thrust_lift_and_ground(finished):
    (log,) = texts(finished, "run.log")
    line = next(line for line in log.split("\n") if line.startswith("climb: thrust"))
    assert "mean rise of total pressure" in line
    assert "swirl" in line
    assert "wing's circulation" in line
    assert "run-up: thrust" in log
    assert "ground 1.20 m below the datum" in log
    assert "not predicted" in next(r for r in log.split("\n") if r.startswith("taxi, tail wind: "))
    assert "unit solutions over the ground: stream x" in log


def test_propeller_numbers_are_marked(summary):
    places = {row["place"]: row for row in summary["marks"]}
    assert places["propeller: slipstream factor"]["mark"] == "memory"
    assert places["propeller: static figure of merit"]["mark"] == "common practice"
    assert places["propeller: efficiency in fast flight"]["mark"] == "yours"


def test_slipstream_factor_widens_the_deviations():
    deviations, alone = [], []
    for band in ("0.99", "0.60"):
        text = (
            PROPELLER + f'slipstream_factor = {{ value = "1.0", low = "{band}", high = "1.01" }}\n'
        )
        contents = ranked(CASE + text)[1]
        deviations.append(contents.ranking.exit_deviation[0])
        bands = contents.ranking.bands
        factor = bands.samples.kind_names.index(FACTOR)
        alone.append(bands.variance[factor, 0, 0])
    assert (alone[1] >= 100.0 * alone[0]).all()
    # other draws may happen to correlate with the factor's, 4 of 45 at the most
    chance = 4.0 / np.sqrt(SAMPLES) * np.sqrt(alone[1].max())
    assert (deviations[1] >= deviations[0] - chance).all()
    assert (deviations[1] - deviations[0]).max() > 1.0


def test_pairs_tell_their_bands_and_what_is_least_known(finished, summary):
    ranking = finished.contents.ranking
    short = summary["ranking"]["short_list"]
    for pair, row in enumerate(summary["ranking"]["pairs"]):
        shares = ranking.contributors(pair)
        largest = next(iter(shares))
        assert row["largest_contributor"] == largest == max(shares, key=shares.get)
        chance = row["probability_enough"]
        assert f"with a probability of {percent(chance)}; least known: {largest} (" in row["why"]
        assert chance <= row["probability_enough_by_condition"][0] + 1e-9
        assert row["probability_reversed"][4] is None  # the wind from behind
        assert (row["band"] is not None) == (pair + 1 in short)
        if row["band"] is None:
            continue
        low, middle, high = np.array(row["band"]["available"])
        available, deviation = np.array(row["available"]), np.array(row["deviation"])
        assert (low <= middle).all()
        assert (middle <= high).all()
        assert (np.abs(middle - available) <= 0.15 * deviation + 1e-6).all()
        assert (high - low <= 2.2 * deviation + 1e-6).all()
        assert list(row["band"]["least_ratio"]) == sorted(row["band"]["least_ratio"])
        assert sum(row["band"]["least_ratio_shares"].values()) == pytest.approx(1.0)
        kinds = row["band"]["variance_by_kind"]
        assert set(row["band"]["least_ratio_shares"]) <= {*kinds, "needed pressure"}
        together = np.sum(list(kinds.values()), axis=0)
        assert together == pytest.approx(deviation**2, rel=0.2, abs=1e-6)


def test_probabilities_stand_in_all_texts(finished, summary):
    page, log, table = texts(finished, "report.html", "run.log", "ranking.csv")
    assert "bands: 2000 draws, the same in every run" in log
    assert "Enough, probability" in page
    best = summary["ranking"]["pairs"][0]
    assert percent(best["probability_enough"]) in Page(page).texts
    assert f"least known: {best['largest_contributor']}" in page
    rows = list(csv.DictReader(io.StringIO(table)))
    for row, pair in zip(rows, summary["ranking"]["pairs"], strict=True):
        assert float(row["probability_enough"]) == pytest.approx(
            pair["probability_enough"], abs=1e-4
        )
        assert row["largest_contributor"] == pair["largest_contributor"]
        assert row["taxi, tail wind: probability_reversed"] == ""
        for c, name in enumerate(("climb", "sideslip", "parked", "run-up")):
            chance = pair["probability_reversed"][c]
            assert float(row[f"{name}: probability_reversed"]) == pytest.approx(chance, abs=1e-4)
    assert "wind on the ground: how well it is known" in {m["place"] for m in summary["marks"]}


def test_reversal_is_told_by_its_probability(finished):
    contents, ranking = finished.contents, finished.contents.ranking
    for pair in range(ranking.n_pairs):
        certain, possible = reversed_conditions(contents, pair)
        for c, condition in enumerate(contents.flow.conditions):
            chance = ranking.reversal[c, pair]
            if np.isnan(chance):
                assert condition.name not in certain
                continue
            assert (condition.name in certain) == (chance > 0.84)
            assert (condition.name in possible) == (0.023 < chance <= 0.84)
            likely = condition.name in likely_reversed(contents, pair)
            assert likely == (0.5 < chance <= 0.84)
            told = re.search("more likely reverse than not in ([^;]*)", explain(contents, pair))
            assert likely == (told is not None and condition.name in told.group(1))
            if not condition.decides and chance > 0.5:
                # less than nothing is not called too little
                assert f"{condition.name} (" not in explain(contents, pair)


def test_condition_without_power_is_told():
    contents = ranked(BLOWN)[1]
    assert any("no slipstream in sideslip, parked" in line for line in contents.warnings)
    assert np.isnan(contents.flow.cp[2]).all()


def test_layers_exit_air_and_static_port_in_every_file(tmp_path):
    port = '\n[[opening]]\nname = "port"\nuse = "static port"\nkind = "flush hole"\n'
    port += 'centre = ["0.5 m", "484 mm", "0 m"]\nlength = "20 mm"\nwidth = "20 mm"\n'
    cabin = '\n[[opening]]\nname = "floor vent"\nuse = "cabin"\nkind = "flush hole"\n'
    cabin += 'centre = ["0 m", "0 m", "-500 mm"]\nlength = "60 mm"\nwidth = "60 mm"\n'
    text = changed("best = 3", "best = 3\ncompressibility = true", CASE) + port + cabin
    with few_dots():
        run = run_case(read_case(write_case(tmp_path, text)))
    contents, summary = run.contents, json.loads((run.folder / "summary.json").read_text("utf-8"))
    names = [row["name"] for row in summary["boundary_layer"]]
    assert names[:4] == ["nose", "chin", "port", "floor vent"]
    chin = summary["boundary_layer"][1]
    assert chin["state"] == ["attached", "attached", "not known"]
    assert 0.5e-3 < chin["thickness"][0] < 30e-3
    reached = {(row["exit"], row["target"]) for row in summary["exit_air"] if row["reached"]}
    assert ("chin", "floor vent") in reached
    line = "exit air of chin reaches floor vent (cabin opening)"
    assert any(row.startswith(line) for row in contents.log)
    page = (run.folder / "report.html").read_text("utf-8")
    assert "Look here: the air of an exit is followed along the skin" in page
    assert "Static ports on the body" in page
    (error,) = summary["static_ports"]
    assert error["name"] == "port"
    assert np.sign(error["altitude_error"][0]) == -np.sign(error["pressure"][0])
    (size,) = [row for row in contents.log if row.startswith("compressibility in sideslip")]
    assert "Mach 0.11" in size
    assert compressibility_lines(ranked(CASE)[0], quiet) == []
