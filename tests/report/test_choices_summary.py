"""Records of chances, curves, vent maps and what spoils a place: plain, of the right shape."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from panelcp.case.deviations import panel_deviations
from panelcp.placement.curves import curves_of
from panelcp.report.choices_summary import choices_summary
from panelcp.report.summary import summary, summary_json
from tests.cases import ranked


@cache
def small():
    """What is found for the small case, with curves."""
    prepared, contents = ranked()
    deviations = panel_deviations(prepared)
    curves = curves_of(contents.solutions, contents.flow, contents.ranking, ["chin"], deviations)
    return replace(contents, curves=curves)


@cache
def written():
    def refuse(word):
        raise ValueError(f"{word} is not JSON")

    return json.loads(summary_json(small()), parse_constant=refuse)


def near(value):
    """Seven digits are kept."""
    return pytest.approx(np.asarray(value, dtype=float), rel=5e-7, nan_ok=True)


def numbers(value) -> np.ndarray:
    return np.array(value, dtype=float)


def test_all_parts_come_back_from_the_text():
    found = choices_summary(small())
    assert set(found) <= set(written())
    assert set(found) == {
        *("choices", "tape", "near_zones", "spoilers", "pocket_edges", "vent_maps"),
        *("curves", "combinations"),
    }
    assert found["combinations"] is None
    again = json.loads(summary_json(small()))
    assert again == written()
    assert set(summary(small())) == set(written())


def test_chances_and_regret_have_the_order_of_the_short_list():
    found, chosen = written()["choices"], small().choices
    n, decides = len(small().short_list), 1
    assert found["pairs"] == written()["ranking"]["short_list"] == [p + 1 for p in chosen.pairs]
    shapes = {
        "chance_of_best": (n,),
        "chance_of_exit": (n,),
        "chance_among": (n,),
        "regret": (decides, n),
        "worst_regret": (n,),
        "mean_regret": (n,),
        "worst_regret_band": (3, n),
        "difference": (n, n),
        "difference_deviation": (n, n),
        "tie": (n, n),
    }
    assert {name: np.shape(found[name]) for name in shapes} == shapes
    assert numbers(found["chance_of_best"]) == near(chosen.chance_of_best)
    assert sum(found["chance_of_best"]) + found["chance_elsewhere"] == pytest.approx(1.0, abs=1e-6)
    assert sum(found["chance_among"]) == pytest.approx(1.0, abs=1e-6)
    assert numbers(found["worst_regret_band"]) == near(chosen.regret_band)
    assert found["tie"] == chosen.tie.tolist()
    assert numbers(found["difference"]) == pytest.approx(-numbers(found["difference"]).T, abs=1e-9)


def test_places_for_the_tape_are_those_that_are_shown():
    found, contents = written()["tape"], small()
    shown = {contents.ranking.exit(pair).name for pair in contents.short_list}
    assert set(found) == shown | {"nose", "chin"}
    for name, row in found.items():
        tape = contents.tape[name]
        assert row["centre_line"] == near(tape.centre_line)
        assert (row["side"], row["firewall"]) == (tape.side, None)
    assert found["chin"]["side"] == "bottom"


def test_vent_map_tells_its_greatest_value():
    row, found = written()["vent_maps"][0], small().vent_maps[0]
    assert len(written()["vent_maps"]) == len(small().vent_maps)
    assert (row["use"], row["partners"]) == ("exit", ["nose"])
    inlets = [row["kind"] for row in written()["vent_maps"] if row["use"] == "inlet"]
    assert len(set(inlets)) == len(inlets)
    assert all(inlets)  # told apart by their kind
    assert row["panels_searched"] == np.isfinite(found.least_ratio).sum()
    assert row["greatest_least_ratio"] == near(np.nanmax(found.least_ratio))
    assert row["deciding_condition"] == "climb"
    x, y, z = row["place"]
    assert -1.45 <= x <= -0.75
    assert abs(y) <= 0.25
    assert z > 0.0


def test_what_spoils_and_pocket_edges_are_kept():
    assert len(written()["spoilers"]) == len(small().spoilers) > 0
    assert [row["condition"] for row in written()["pocket_edges"]] == [
        "climb",
        "sideslip",
        "parked",
    ]
    assert written()["pocket_edges"][0]["separated_station"] is None  # no windshield


def test_curves_of_the_sides_agree_with_the_ranking():
    found, pairs = written()["curves"], written()["ranking"]["pairs"]
    assert set(found["sides"]) == {"top", "bottom"}
    assert written()["ranking"]["best_of_each_side"].items() >= {
        (side, row["pair"]) for side, row in found["sides"].items()
    }
    for row in found["sides"].values():
        pair = pairs[row["pair"] - 1]
        for name in ("available", "deviation", "ratio"):
            assert numbers(row[name]) == near(numbers(pair[name])), name
        assert numbers(row["probability_reversed"]) == near(numbers(pair["probability_reversed"]))


def test_lines_and_sweeps_have_a_value_for_every_step():
    found, n = written()["curves"], len(small().flow.conditions)
    assert {row["side"] for row in found["lines"]} >= {"top", "bottom"}
    for row in found["lines"]:
        steps = len(row["station"])
        assert steps > 5
        assert np.shape(row["pressure"]) == np.shape(row["deviation"]) == (n, steps)
    assert {row["quantity"] for row in found["sweeps"]} >= {"sideslip", "airspeed"}
    for row in found["sweeps"]:
        steps = len(row["values"])
        assert len(row["predicted"]) == len(row["needed"]) == steps > 2
        for pair in row["pairs"]:
            for name in ("exit_pressure", "available", "low", "high"):
                assert np.shape(pair[name]) == (steps,), name
            low, high = numbers(pair["low"]), numbers(pair["high"])
            assert (low <= high).all()


def test_a_ranking_alone_has_no_curves_and_no_chances_without_choices():
    contents = replace(ranked()[1], choices=None, vent_maps=(), spoilers=())
    found = choices_summary(contents)
    assert found["curves"] is None
    assert found["choices"] is None
    assert found["vent_maps"] == found["spoilers"] == []
