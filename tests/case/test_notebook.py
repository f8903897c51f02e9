"""What a notebook shows of runs, cases, rankings and margins."""

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.running import Run
from panelcp.case.side_by_side import Comparison
from panelcp.case.templating import WrittenTemplate
from panelcp.placement.combinations import combine
from panelcp.placement.curves import Curves
from panelcp.report.answer_section import deciding_lines, worst_first
from panelcp.report.contents import AirContents, ratio_text
from panelcp.report.cooling_tables import core_word
from panelcp.report.template_drawing import write_template
from tests.case.test_side_by_side import small_sides
from tests.cases import ranked, write_case
from tests.placement.test_combinations import CONDITIONS as BAY_CONDITIONS
from tests.placement.test_combinations import SETTINGS, places, ranking, sampled
from tests.report.templates import template
from tests.report.test_cooling_tables import HOSTILE, array, tug
from tests.report.test_margin_section import RANKING
from tests.report.test_plots import curves
from tests.test_display import EVIL, Page, short, shown

__all__ = ["places", "ranking"]  # fixtures


@pytest.fixture(scope="module")
def contents():
    return ranked()[1]


def written(folder, contents, name="run-0123456789"):
    """Folder of a run with sheets of the moving conditions and a page."""
    made = folder / name
    (made / "maps").mkdir(parents=True)
    noise = np.random.default_rng(1).integers(0, 255, (450, 1000, 3), dtype=np.uint8)
    for k, c in enumerate(np.flatnonzero(contents.flow.moving)):
        picture = noise.copy()
        picture[:, :] = picture // 8 + 100 * k
        Image.fromarray(picture).save(made / "maps" / f"{k + 1:02d}-condition-{c}.png")
    (made / "report.html").write_text("<p>page</p>")
    return made


def plain(text):
    return text.replace("\u00a0", " ")


# --- runs ----------------------------------------------------------------------------------


def test_run_shows_answer_map_short_list_links_and_caution(contents, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run = Run(written(tmp_path, contents), contents)
    page = shown(run)
    for lead, text in deciding_lines(contents):
        assert f"{lead} {plain(text)}" in page.text
    for k, pair in enumerate(contents.short_list):
        row = page.tables[0][k + 1]
        assert row[0] == str(k + 1)
        assert ratio_text(contents, pair) in row[1]
        assert row[3] == contents.ranking.exit(pair).name
        assert row[-2] == contents.flow.conditions[contents.ranking.limiting[pair]].name
    assert ("href", "run-0123456789/report.html") in page.attributes
    assert "report.pdf" not in page.text
    assert "Not approved data" in page.text
    assert short(run).startswith("Run(run-0123456789, 3 conditions, ")


def test_run_shows_the_sheet_of_the_hardest_condition_small(contents, tmp_path):
    html = Run(written(tmp_path, contents), contents)._repr_html_()
    source = next(value for name, value in Page(html).attributes if name == "src")
    kind, _, text = source.partition(";base64,")
    assert kind in ("data:image/webp", "data:image/png")
    assert len(text) < 150_000
    with Image.open(io.BytesIO(base64.b64decode(text))) as picture:
        level = np.asarray(picture.convert("RGB")).mean()
    k = np.flatnonzero(contents.flow.moving).tolist().index(int(contents.ranking.limiting[0]))
    assert abs(level - (15.5 + 100 * k)) < 10.0


def test_run_without_maps_or_network_is_shown_too(contents, tmp_path):
    page = shown(Run(tmp_path, contents))
    assert "img" not in page.tags
    assert len(page.tables) == 1
    assert "Margins" not in page.text


def test_run_shows_warnings_the_worst_first(contents, tmp_path):
    texts = ("panels too coarse", "oil above its limit in 2 conditions", EVIL, "fire", "a", "b")
    page = shown(Run(tmp_path, replace(contents, warnings=texts)))
    order = [page.text.index(f"Warning: {text}.") for text in worst_first(texts)]
    assert order == sorted(order)
    assert "The other 3" in page.text


def test_run_with_a_network_shows_its_margins_and_one_of_it_alone_no_ranking(contents, tmp_path):
    result = tug()
    both = replace(contents, cooling=result)
    page = shown(Run(tmp_path, both))
    assert len(page.tables) == 2
    alone = shown(Run(tmp_path / "cool-1", both))
    assert len(alone.tables) == 1
    assert alone.tables[0] == page.tables[1]


def test_run_without_ranking_shows_the_flow(contents, tmp_path):
    names = AirContents.__dataclass_fields__
    air = AirContents(**{name: getattr(contents, name) for name in names} | {"ranking": None})
    page = shown(Run(tmp_path, air))
    assert [row[0] for row in page.tables[0][1:]] == [c.name for c in contents.flow.conditions]


def test_hostile_names_of_a_run_are_escaped(contents, tmp_path):
    evil = replace(contents, name=EVIL, question=EVIL, warnings=(EVIL,))
    assert shown(Run(tmp_path / "a <b> & b", evil)).text.count(EVIL) == 3


def test_comparison_shows_the_cases_best_first(tmp_path):
    sides = small_sides()
    page = shown(Comparison(tmp_path, replace(sides, names=(EVIL, *sides.names[1:]))))
    rows = page.tables[0][1:]
    assert [row[0] for row in rows] == [sides.letters[k] for k in sides.order]
    for row, k in zip(rows, sides.order, strict=True):
        assert f"{sides.least[k]:.2f} ± {sides.deviation[k]:.2f}" in row[2]
    assert EVIL in page.text
    assert short(Comparison(tmp_path, sides)).startswith("Comparison(")


def test_template_shows_facts_and_its_drawing(tmp_path):
    one = template()
    files = tuple(write_template(one, tmp_path, "vent"))
    record = WrittenTemplate(one, tmp_path, files)
    page = shown(record)
    assert one.name in page.text
    assert "rectangle 220 mm along the air, 150 mm across" in page.text
    source = dict(page.attributes)["src"]
    svg = base64.b64decode(source.removeprefix("data:image/svg+xml;base64,"))
    assert svg == files[2].read_bytes()
    assert short(record).endswith("vent.pdf, vent.dxf, vent.svg)")
    files[2].unlink()
    assert "img" not in shown(record).tags


def test_prepared_case_shows_what_was_understood(tmp_path):
    prepared = prepare_case(read_case(write_case(tmp_path)))
    page = shown(prepared)
    found = page.tables[0][1:]
    told = dict(found)
    assert told["conditions"] == "3, of which 1 decide: climb, sideslip, parked"
    assert next(text for what, text in found if what == "opening") == (
        "nose: inlet, forward-facing, front, STA -2000 BL 0 WL 0 mm, 80 × 80 mm, recovery "
        "0.8 ± 0.1, published"
    )
    assert told["search"] == prepared.searches[0].line().removeprefix("search ")
    assert told["no-cut zones"] == "latch"
    assert told["cooling network"] == "none: the case names no cores"
    assert short(prepared).endswith(f"2 openings, {len(prepared.candidates)} searched places)")


# --- rankings ------------------------------------------------------------------------------


def test_ranking_shows_its_short_list(contents):
    ranking = contents.ranking
    page = shown(ranking)
    rows = page.tables[0][1:]
    pairs = ranking.distinct(5)
    assert [int(row[-1]) for row in rows] == [pair + 1 for pair in pairs]
    for row, pair in zip(rows, pairs, strict=True):
        c = ranking.limiting[pair]
        assert row[6] == f"{ranking.available[c, pair]:.0f} ± {ranking.deviation[c, pair]:.0f}"
        assert float(row[7]) == pytest.approx(ranking.available[c, pair] / 249.089, abs=0.0051)
        word = "stop" if ranking.least_ratio[pair] < 1.0 else ("good", "look")
        assert row[1].split()[0] in word
    assert short(ranking).startswith(f"OpeningRanking({ranking.n_pairs} pairs of 1 inlet and")


def test_ranking_without_samples_numbers_its_conditions(contents):
    page = shown(replace(contents.ranking, bands=None))
    assert page.tables[0][1][-2] == f"condition {contents.ranking.limiting[0] + 1}"


def test_pressures_at_openings(contents):
    found = contents.openings
    rows = shown(found).tables[0][1:]
    for k, row in enumerate(rows):
        pressure = found.patch_pressure[:, k]
        told = [float(cell.replace("−", "-")) for cell in row[3:5]]
        assert told == pytest.approx([pressure.min(), pressure.max()], abs=0.5)
    many = replace(found, openings=found.openings * 10, **{
        name: np.tile(getattr(found, name), 10)
        for name in ("patch_pressure", "pressure_spread", "total_pressure", "inlet_pressure",
                     "patch_wetting", "inlet_wetting")
    })  # fmt: skip
    assert "12 of 20 are shown." in shown(many).text
    assert short(many) == "OpeningPressures(20 openings, 3 conditions)"


def test_places_by_margin():
    page = shown(RANKING)
    rows = page.tables[0][1:]
    assert [row[1] for row in rows] == ["bottom <1>", "top 3"]
    assert [row[5] for row in rows] == ["stop 4.0", "stop no air"]
    assert [row[-1] for row in rows] == ["nowhere", "tow"]
    roomy = replace(RANKING, own_margin=np.full((2, 2), 50.0))
    assert [row[5] for row in shown(roomy).tables[0][1:]] == ["stop 4.0", "stop no air"]
    assert short(RANKING) == "MarginRanking(exits, 2 places, 2 conditions)"
    many = 40
    long = replace(
        RANKING,
        **{n: getattr(RANKING, n) * 20 for n in ("names", "kinds", "sides")},
        **{
            n: np.concatenate([getattr(RANKING, n)] * 20)
            for n in ("area", "centre", "margin", "flow", "reversed", "own_margin")
        },
    )
    assert f"12 of {many} are shown." in shown(long).text


def test_combinations_show_flow_over_needed_flow(ranking):
    found = combine(ranking, sampled(ranking, 0.02), BAY_CONDITIONS, SETTINGS)
    rows = shown(found).tables[0][1:]
    assert f"{found.least_ratio[0]:.2f} ± {found.deviation[0]:.2f}" in rows[0][1]
    assert sum("preferred" in row[0] for row in rows) == 1
    assert short(found).startswith("Combinations(")


def test_curves_tell_what_is_there():
    found = curves()
    assert short(found.lines[0]) == "SkinLine(top, 11 points, 2 conditions)"
    rows = shown(found.lines[0]).tables[0][1:]
    pressure = found.lines[0].pressure[0]
    assert rows[0][1] == f"{pressure.min():.0f} ± 20".replace("-", "−")
    assert float(rows[0][4]) == 0.0


def test_curves_of_a_real_ranking(contents):
    from panelcp.placement.curves import side_table

    table = side_table(contents.ranking, contents.flow.conditions)
    every = Curves(table, (), None, 1.2, (), (), None)
    page = shown(every)
    assert dict(page.tables[0])["foot of the windshield"] == "STA 1200 mm"
    assert [row[0] for row in page.tables[1][1:]] == list(table.sides)
    assert short(every) == f"Curves({len(table.sides)} sides, 0 lines, 0 sweeps)"
    assert short(table).startswith("SideTable(")


# --- margins -------------------------------------------------------------------------------


def test_margins_have_colour_and_word():
    result = tug()
    rows = shown(result).tables[0][1:]
    for c, row in enumerate(rows):
        assert row[:2] == [result.conditions[c], "yes" if result.decides[c] else "no"]
        for k in range(len(result.cores)):
            word = core_word(result, k, c)
            cell = row[2 + k]
            if not word:
                assert cell in ("no limit", "not predicted")
                continue
            assert cell.split()[0] == word
            assert f"({round(result.cores[k].margin.low[c])} to ".replace("-", "−") in cell
    assert short(result).startswith("CoolingResult(3 cores, ")


def test_a_margin_that_is_likely_too_small_is_not_called_good():
    result = tug()
    core = result.cores[0]
    wide = replace(core.margin, value=np.full(6, 30.0))
    chance = array(0.0, 0.05, 0.06, 0.5, 0.51, 1.0)
    core = replace(core, margin=wide, chance_too_hot=chance)
    rows = shown(replace(result, cores=(core,), predicted=None)).tables[0][1:]
    found = [row[2].split()[0] for row in rows]
    assert found == ["good", "good", "look", "look", "stop", "stop"]


def test_margins_without_samples_limits_or_convergence():
    result = tug(sampled=False)
    core = result.cores[0]
    margin = replace(core.margin, value=array(-np.inf, np.nan, 3.0, 7.0, 12.0, np.inf))
    result = replace(
        result,
        cores=(replace(core, margin=margin),),
        converged=np.array([True, True, False, True, True, True]),
        predicted=np.array([True, True, True, True, False, True]),
        available_over_needed=array(np.inf, np.nan, 0.9, 1.1, 1.5, 0.0),
        highest_outside=array(np.inf, np.nan, 300.0, -np.inf, 310.0, 320.0),
    )
    cells = [row[2:] for row in shown(result).tables[0][1:]]
    assert [row[0] for row in cells] == [
        "stop no cooling", "no limit", "stop 3 K, not solved: do not use", "look 7 K",
        "not predicted", "good no end",
    ]  # fmt: skip
    assert [row[1] for row in cells] == [
        "none needed", "", "stop 0.90", "look 1.10", "good 1.50", "stop 0.00"
    ]  # fmt: skip
    assert [row[2] for row in cells] == ["no end", "", "27", "none", "37", "47"]


def test_hostile_names_of_a_network_are_escaped():
    result = replace(tug(names=HOSTILE), warnings=(EVIL,))
    page = shown(result)
    assert HOSTILE[1] in page.tables[0][0]
    assert f"Warning: {EVIL}." in page.text
