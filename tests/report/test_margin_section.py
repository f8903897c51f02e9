"""Places ranked by margin: table, CSV, summary and lines."""

import csv
import io
import re
from dataclasses import replace

import numpy as np

from panelcp.cooling.placing import MarginRanking
from panelcp.report.margin_section import margin_csv, margin_lines, margin_section, margin_summary

RANKING = MarginRanking(
    use="exit",
    names=("bottom <1>", "top 3"),
    kinds=("plain exit", "flush hole"),
    sides=("bottom", "top"),
    common_area=0.06,
    area=np.array([0.03, 0.024]),
    centre=np.array([[1.0, 0.0, -0.5], [0.9, 0.1, 0.3]]),
    margin=np.array([[4.0, 12.0], [-np.inf, 3.0]]),
    flow=np.array([[1.2, 1.5], [0.0, 0.9]]),
    reversed=np.array([[False, False], [True, False]]),
    own_margin=np.array([[-20.0, -3.0], [-30.0, -25.0]]),
    conditions=("tow", "cruise"),
    decides=np.array([True, False]),
)


def test_least_margin_is_that_of_the_deciding_conditions():
    assert RANKING.least.tolist() == [4.0, -np.inf]
    assert RANKING.limiting.tolist() == [0, 0]
    assert RANKING.own_least.tolist() == [-20.0, -30.0]


def test_table_escapes_names_and_says_what_is_compared():
    text = margin_section((RANKING,))
    assert "bottom &lt;1&gt;" in text
    assert "<1>" not in text
    assert "600 cm²" in text
    assert "no air" in text


def many(count=20):
    """The best place and others behind it, 1 K less each."""
    margins = 10.0 - np.arange(count)[:, None] + np.array([[0.0, 5.0]])
    return replace(
        RANKING,
        names=tuple(f"hole {k + 1}" for k in range(count)),
        kinds=("flush hole",) * count,
        sides=("top",) * count,
        area=np.full(count, 0.02),
        centre=np.zeros((count, 3)),
        margin=margins,
        flow=np.ones((count, 2)),
        reversed=np.zeros((count, 2), dtype=bool),
        own_margin=margins - 20.0,
    )


def test_named_places_stand_below_the_best_with_their_ranks():
    text = margin_section((many(),), {"hole 3", "hole 15", "hole 19", "elsewhere"})
    found = re.findall(r"hole (\d+)</t[hd]><td[^>]*>(\d+)<", text)
    assert found == [(str(k), str(k)) for k in (*range(1, 13), 15, 19)]
    assert "The best 12 of 20 by margin; below them" in text
    assert "below them" not in margin_section((many(),), {"hole 3"})


def test_csv_holds_every_place_with_units():
    rows = list(csv.DictReader(io.StringIO(margin_csv((RANKING,)))))
    assert [row["place"] for row in rows] == ["bottom <1>", "top 3"]
    assert rows[0]["least_margin_K"] == "4.00"
    assert rows[0]["own_least_margin_K"] == "-20.00"
    assert rows[0]["cruise: flow_kg_per_s"] == "1.5000"
    assert rows[1]["least_margin_K"] == ""
    assert rows[1]["tow: backwards"] == "yes"


def test_summary_has_no_endless_numbers():
    (found,) = margin_summary((RANKING,))
    assert found["places"][0]["least_margin"] == 4.0
    assert found["places"][1]["least_margin"] is None
    assert found["compared_area"] == 0.06


def test_lines_name_place_margin_and_condition():
    lines = margin_lines((RANKING,))
    assert lines[0].startswith("exits by least margin")
    assert "4.0 K" in lines[1]
    assert "bottom <1>, bottom (tow)" in lines[1]
