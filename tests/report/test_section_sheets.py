"""Sheets of cuts in a run's folder, their numbers, and the section of the page."""

import csv
import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from panelcp.case.deviations import panel_deviations
from panelcp.case.marks import marks_of
from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.placement.curves import curves_of
from panelcp.report import section_sheets
from panelcp.report.contents import RunContents
from panelcp.report.cut_points import MeasuredPoint
from panelcp.report.cuts_section import CUTS_STYLE, cuts_section, simplified
from panelcp.report.section_plots import BAND_HOLDS
from panelcp.report.section_sheets import (
    HEADING,
    cuts_of,
    landmarks,
    last_shown_station,
    model_errors,
    section_stations,
    sections_csv,
    shown_conditions,
    write_section_sheets,
)
from panelcp.report.units_switch import switchable
from tests.cases import changed, ranked, write_case

REGIONS = """
[[region]]
name = "fore"
low = ["-3 m", "-1 m", "-1 m"]
high = ["-1 m", "1 m", "1 m"]
cp_deviation = "0.04"

[[region]]
name = "mid"
low = ["-1 m", "-1 m", "-1 m"]
high = ["0 m", "1 m", "1 m"]
"""
EVIL = "chin <b>&"
COARSE = 50
"""Dots per inch where the picture is not looked at."""


@cache
def contents() -> RunContents:
    """What is found for the small case, with curves, a firewall and a name that must be escaped."""
    prepared, found = ranked()
    curves = curves_of(found.solutions, found.flow, found.ranking, [], panel_deviations(prepared))
    own = tuple(
        replace(opening, name=EVIL) if opening.name == "chin" else opening
        for opening in found.openings.openings
    )
    inputs = {"case": {"surface": {"firewall": "-0.4 m"}}}
    openings = replace(found.openings, openings=own)
    return replace(found, curves=curves, openings=openings, inputs=inputs)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run") / "sections"
    return folder, write_section_sheets(contents(), folder)


def test_model_errors_are_those_of_the_openings(tmp_path):
    text = changed('unit = "m"', 'unit = "m"\ncp_deviation = "0.12"')
    text = changed("[[no_cut]]", REGIONS + "\n[[no_cut]]", text)
    prepared = prepare_case(read_case(write_case(tmp_path, text)))
    flow = SimpleNamespace(surface=prepared.surface)
    errors = model_errors(SimpleNamespace(flow=flow, marks=marks_of(prepared)))
    assert np.array_equal(errors, panel_deviations(prepared))
    assert set(np.unique(errors)) == {0.04, 0.12}
    assert model_errors(SimpleNamespace(flow=flow, marks=())) is None


def test_files_pictures_and_captions(written):
    folder, sheets = written
    stations = section_stations(contents())
    words = [f"{'minus-' if s < 0 else ''}{abs(round(1e3 * s))}" for s in stations]
    stems = {"centre-line", *(f"station-{word}-mm" for word in words)}
    names = {f"{stem}.{ending}" for stem in stems for ending in ("png", "svg")}
    assert {path.name for path in folder.iterdir()} == names | {"sections.csv"}
    assert [path.parent for _, _, path in sheets] == [folder] * len(sheets)
    assert sheets[0][0] == "Centre line, BL 0"
    assert all(caption.startswith(BAND_HOLDS) for _, caption, _ in sheets)
    for _, _, path in sheets:
        with Image.open(path) as picture:
            assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.1)
            assert min(picture.size) > 1200


def test_the_same_bytes_each_time_and_no_date(tmp_path, monkeypatch):
    monkeypatch.setattr(section_sheets, "RESOLUTION", COARSE)
    few = replace(contents(), section_stations=(0.5,))
    folder, other = tmp_path / "one", tmp_path / "other"
    sheets, again = (write_section_sheets(few, place) for place in (folder, other))
    assert [sheet[:2] for sheet in again] == [sheet[:2] for sheet in sheets]
    assert {path.name for path in folder.iterdir()} == {
        *(f"{stem}.{end}" for stem in ("centre-line", "station-500-mm") for end in ("png", "svg")),
        "sections.csv",
    }
    for path in folder.iterdir():
        assert path.read_bytes() == (other / path.name).read_bytes(), path.name
    text = (folder / "centre-line.svg").read_text(encoding="utf-8")
    assert "<dc:date>" not in text
    assert "chin &lt;b&gt;&amp;" in text
    assert "firewall" in text


def test_stations_of_the_case_and_those_chosen():
    found = contents()
    chosen = section_stations(found)
    assert 1 <= len(chosen) <= 3
    assert chosen[0] == found.ranking.exit(0).centre[0]
    assert min((abs(a - b) for a in chosen for b in chosen if a != b), default=1.0) >= 0.1
    assert min(chosen) > -1.99  # the inlet at the tip of the nose has no section
    given = replace(found, section_stations=(0.5, -9.0))
    cuts, missed = cuts_of(given)
    assert [air.name for air in cuts] == ["centre line, BL 0", "STA 500 mm"]
    assert missed.startswith("No section: the plane STA -9000 mm misses the surface")


def test_conditions_that_decide_the_hardest_first():
    found = contents()
    numbers = shown_conditions(found)
    assert numbers == [int(found.ranking.limiting[0])]
    decides, n = np.array([True, True, True]), found.ranking.n_pairs
    for hardest, expected in ((0, [0, 1]), (1, [1, 0]), (2, [0, 1])):  # the third is parked
        limiting = np.full(n, hardest)
        ranking = replace(found.ranking, decides=decides, limiting=limiting)
        assert shown_conditions(replace(found, ranking=ranking)) == expected


def test_firewall_and_shown_length():
    found = contents()
    assert ("firewall", -0.4) in landmarks(found)
    assert last_shown_station(replace(found, last_station=0.5)) == pytest.approx(0.5, abs=0.35)


def test_numbers_of_the_table(written):
    folder, _ = written
    rows = list(csv.reader((folder / "sections.csv").read_text(encoding="utf-8").splitlines()))
    assert tuple(rows[0]) == HEADING
    cuts, _ = cuts_of(contents())
    numbers = shown_conditions(contents())
    count = sum(len(side.arc) for air in cuts for side in air.sides) * len(numbers)
    assert len(rows) == 1 + count
    side, c = cuts[0].sides[0], numbers[0]
    row = dict(zip(rows[0], rows[6], strict=True))
    assert (row["cut"], row["side"]) == ("centre line, BL 0", "top")
    assert row["condition"] == contents().flow.conditions[c].name
    place = [float(row[name]) for name in ("STA_m", "BL_m", "WL_m")]
    assert np.allclose(place, side.points[5], atol=6e-5)
    assert float(row["pressure_Pa"]) == pytest.approx(side.pressure[c, 5], abs=6e-3)
    assert float(row["deviation_Pa"]) == pytest.approx(side.deviation[c, 5], abs=6e-3)
    q = contents().flow.conditions[c].dynamic_pressure
    assert float(row["cp"]) == pytest.approx(side.pressure[c, 5] / q, abs=6e-5)
    assert row["air"] == STATE_NAMES[int(side.state[c, 5])]


def test_parked_in_still_air_has_no_cp():
    cuts, _ = cuts_of(contents())
    row = next(csv.DictReader(io.StringIO(sections_csv(cuts, [2]))))
    assert (row["condition"], row["cp"], float(row["pressure_Pa"])) == ("parked", "", 0.0)


def test_nothing_moves_nothing_is_written(tmp_path):
    found = contents()
    still = SimpleNamespace(
        flow=SimpleNamespace(moving=np.zeros(3, dtype=bool)), ranking=found.ranking
    )
    assert write_section_sheets(still, tmp_path / "sections") == []
    assert not (tmp_path / "sections").exists()
    assert cuts_section(SimpleNamespace(contents=still, cuts=())) == ""


def test_measured_points_are_shown_and_counted(tmp_path, monkeypatch):
    monkeypatch.setattr(section_sheets, "RESOLUTION", COARSE)
    few = replace(contents(), section_stations=(-9.0,))
    name = contents().flow.conditions[shown_conditions(contents())[0]].name
    top = float(contents().flow.surface.bounds[1, 2])
    points = [
        MeasuredPoint("T1", (0.0, 0.0, top), name, cp=-0.2, deviation=0.05),
        MeasuredPoint("far", (0.0, 0.3, top), name, cp=-0.2),
    ]
    sheets = write_section_sheets(few, tmp_path / "sections", points)
    assert len(sheets) == 1
    assert sheets[0][1].endswith("between.")  # the station that misses the body is told
    assert "1 measured points with one standard deviation; 1 left out" in sheets[0][1]
    assert ">T1<" in sheets[0][2].with_suffix(".svg").read_text(encoding="utf-8")


# --- the page ------------------------------------------------------------------------------


def section(cuts=()):
    return cuts_section(SimpleNamespace(contents=contents(), cuts=cuts))


def test_section_of_the_page_is_small_and_safe(written):
    _, sheets = written
    html = section(sheets)
    assert len(html.encode()) + len(CUTS_STYLE) < 12_000
    assert "chin <b>" not in html
    for _, _, path in sheets:
        assert f'href="sections/{path.name}"' in html
        assert f'href="sections/{path.with_suffix(".svg").name}"' in html
    assert 'href="sections/sections.csv"' in html
    assert "suction up" in html
    assert "<ul>" not in section()


def test_picture_of_the_page_shows_the_lines_of_the_cut():
    html = section()
    top = re.search(r'<path class="top" d="M([^"]*)"', html).group(1)
    points = np.array([[float(v) for v in pair.split(",")] for pair in top.split()])
    air = cuts_of(contents())[0][0]
    ticks = re.findall(r'x1="52" x2="708" y1="([\d.]+)".*?text-anchor="end">([^<]*)<', html)
    heights = {float(word.replace("\u2212", "-")): float(y) for y, word in ticks}
    values = sorted(heights)
    assert [heights[value] for value in values] == sorted(heights.values())  # suction is up
    side, c = air.sides[0], shown_conditions(contents())[0]
    cp = side.pressure[c] / contents().flow.conditions[c].dynamic_pressure
    scale = np.polyfit(values, [heights[value] for value in values], 1)
    k = int(cp.argmin())
    assert points[:, 1].min() == pytest.approx(max(np.polyval(scale, cp[k]), 30.0), abs=0.6)
    assert f"Lowest: top \u2212{abs(cp[k]):.2f} at STA" in html


def test_picture_of_the_page_has_inches_under_the_mm():
    """The numbers of both rows stand where their lengths are alike."""
    html = section()
    rows = {
        y: {float(n.replace("−", "-")): float(x) for x, n in re.findall(
            rf'<text x="([\d.]+)" y="{y}" text-anchor="middle">(−?[\d.]+)<', html)}
        for y in (306, 322)
    }  # fmt: skip
    slopes = [np.polyfit([*row], [*row.values()], 1) for row in rows.values()]
    assert min(map(len, rows.values())) >= 3
    assert slopes[1][0] == pytest.approx(25.4 * slopes[0][0], rel=0.01)
    assert slopes[1][1] == pytest.approx(slopes[0][1], abs=1.0)


def test_numbers_of_the_section_can_be_switched():
    html = switchable(section(), [EVIL])
    assert html.count("<data") + html.count('class="q"') >= 2


def test_a_body_beside_the_centre_line_has_none():
    found = contents()
    surface = found.flow.surface.translated([0.0, 3.0, 0.0])
    aside = replace(found, flow=replace(found.flow, surface=surface), section_stations=(0.5,))
    cuts, missed = cuts_of(aside)
    assert [air.name for air in cuts] == ["STA 500 mm"]
    assert missed.startswith("No section: the plane BL 0 mm misses")
    html = cuts_section(SimpleNamespace(contents=aside, cuts=()))
    assert html.startswith("<p>No centre line: the plane BL 0 mm misses")


def test_points_on_a_straight_way_are_left_out():
    x = np.linspace(0.0, 10.0, 201)
    kept = simplified(np.stack([x, np.sin(x)], axis=1), 0.01)
    assert 10 < len(kept) < 60
    assert np.abs(np.interp(x, *kept.T) - np.sin(x)).max() < 0.013
    loop = simplified([[0, 0], [1, 1], [0, 0]], 0.1)
    assert len(loop) == 3


def test_folder_name_is_free_of_the_case(written):
    folder, _ = written
    assert all(re.fullmatch(r"[a-z0-9.-]+", Path(path).name) for path in folder.iterdir())
