"""Ranking of one case and of several: what is written, what is told apart, what is refused."""

import json
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from panelcp.case.side_by_side import (
    ABSENT,
    MOST_PAIRS,
    case_changes,
    case_names,
    numbered_panellings,
    rank_case,
    rank_side_by_side,
    side_by_side,
    table_changes,
)
from panelcp.errors import CaseError, SurfaceError
from panelcp.placement.comparing import draw_names
from panelcp.report.side_by_side import LONGEST_VALUE
from panelcp.report.tables import ranking_csv
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies
from tests.cases import CASE, changed, ranked, write_body, write_case

SAME = changed('"Invented."', '"A copy."', changed("Small body", "Copy"))
GLIDE = '[[condition]]\nname = "glide"\ntrue_airspeed = "40 m/s"\nneeded_pressure = "400 Pa"\n\n'
LATCH = CASE[CASE.index("[[no_cut]]") : CASE.index("[report]")]
MOVED = changed('["-1 m", "0 m", "-433 mm"]', '["-1.2 m", "0 m", "-400 mm"]')
MOVED = changed("[[opening]]", GLIDE + "[[opening]]", changed("Small body", "Moved", MOVED))
MOVED = changed('"500 Pa"', '"520 Pa"', changed(LATCH, "", MOVED))


@cache
def small_sides():
    """The small case, a copy of it, and one that is moved; each is solved once per run."""
    prepared, contents = zip(*(ranked(text) for text in (CASE, SAME, MOVED)), strict=True)
    names = case_names([ready.case for ready in prepared])
    files = ["case.toml", "copy.toml", "moved.toml"]
    return side_by_side(names, files, list(prepared), list(contents))


def test_copy_of_a_case_is_a_tie_without_any_difference():
    sides = small_sides()
    found = sides.differences[0, 1]
    assert sides.conditions == found.conditions == ("climb",)
    for part in (found.least, *found.ratios, *found.available):
        assert (part.difference, part.deviation, part.chance) == (0.0, 0.0, 0.5)
        assert part.tie
    variant = sides.variants[0]
    assert [change.where for change in variant.changes] == ["project.name", "project.note"]
    assert variant.unlike == ()
    for pair in variant.pairs:
        assert (pair.least.difference, pair.least.deviation) == (0.0, 0.0)
    assert [opening.moved for opening in variant.openings] == [0.0, 0.0]
    assert sides.least[0] == sides.least[1]
    assert sides.best[0] == sides.best[1]
    assert sides.best.sum() == pytest.approx(1.0)


def test_moved_opening_is_compared_with_what_is_common():
    sides = small_sides()
    variant = sides.variants[1]
    inlet, chin = variant.openings
    assert (inlet.name, inlet.moved, chin.name) == ("nose", 0.0, "chin")
    assert chin.moved == pytest.approx(np.hypot(0.2, 0.033), abs=0.003)
    # the same inlet on the same skin: nothing differs
    assert inlet.pressures[0].deviation == pytest.approx(0.0, abs=1e-6)
    for part in (chin.pressures[0], *(pair.available[0] for pair in variant.pairs)):
        assert 0.0 < part.deviation < 0.6 * part.apart
    named = [pair for pair in variant.pairs if pair.pairs[0] == ("nose", "chin")]
    assert [pair.pairs[1] for pair in named] == [("nose", "chin")]
    assert len(variant.pairs) <= MOST_PAIRS
    assert (variant.unlike, sides.alone) == (("climb",), ((), (), ("glide",)))
    assert "The panels are the same in all cases, and so are their errors." in sides.common


def test_places_that_a_search_numbers_anew_share_their_draws():
    """The case without a latch has more places, and numbers the others anew."""
    contents = small_sides().contents
    first, third = (contents[k].ranking.bands.samples.openings for k in (0, 2))
    assert len(third) > len(first)
    drawn = draw_names([first, third])[1]
    known = {tuple(opening.centre.round(9)): opening.name for opening in first}
    there = [known.get(tuple(opening.centre.round(9))) for opening in third]
    renamed = [
        (name, draws)
        for opening, name, draws in zip(third, there, drawn, strict=True)
        if name not in (None, opening.name)
    ]
    assert renamed
    assert all(name == draws for name, draws in renamed)


def test_what_changed_is_listed_in_order():
    changes = small_sides().variants[1].changes
    assert [change.where for change in changes] == [
        'opening "chin" on the skin',
        "places found",
        "project.name",
        "engine.needed_pressure.value",
        'condition "glide"',
        'opening "chin".centre',
        "no_cut",
    ]
    found = {change.where: change for change in changes}
    moved = found['opening "chin" on the skin']
    assert moved.first.startswith("bottom, STA -1000 BL 0 WL -4")
    chin = small_sides().variants[1].openings[1]
    assert moved.second.endswith(f": moved by {1e3 * chin.moved:.0f} mm")
    needed = found["engine.needed_pressure.value"]
    assert (needed.first, needed.second) == ("500 Pa", "520 Pa")
    glide = found['condition "glide"']
    assert (glide.first, glide.second[:11]) == (ABSENT, "name glide,")


def test_other_surface_is_described(tmp_path):
    from dataclasses import replace

    first = small_sides().contents[0]
    check = replace(first.check, n_panels=7, volume=0.5, bounds=first.check.bounds + 0.1)
    inputs = {**first.inputs, "surface_hash": "0" * 64}
    second = replace(first, check=check, inputs=inputs)
    assert case_changes(first, first) == []
    found = {change.where: change for change in case_changes(first, second)}
    assert list(found) == [
        "surface file, hash",
        "surface, least STA, BL, WL",
        "surface, greatest STA, BL, WL",
        "surface, panels",
        "surface, volume",
    ]
    assert found["surface file, hash"].second == "0" * 10
    least = found["surface, least STA, BL, WL"]
    assert (least.first, least.second) == ("-2000, -500, -500 mm", "-1900, -400, -400 mm")
    assert (found["surface, panels"].first, found["surface, panels"].second) == ("320", "7")


TABLES = {
    "project": {"name": "one", "note": "long " * 100},
    "wing": {"span": "9 m"},
    "report": {"views": ["left", "top"], "compressibility": False},
    "condition": [
        {"name": "climb", "alpha": "6 deg", "power": {"value": "90 %", "mark": "memory"}},
        {"name": "cruise", "alpha": "1 deg"},
    ],
    "strip": [{"low": 1.0}, {"low": 2.0}],
}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda t: t, []),
        (lambda t: t["wing"].update(span="9.5 m"), [("wing.span", "9 m", "9.5 m")]),
        (lambda t: t["wing"].clear(), [("wing.span", "9 m", ABSENT)]),
        (lambda t: t.pop("wing"), [("wing", "span 9 m", ABSENT)]),
        (lambda t: t.update(ground={"height": "1 m"}), [("ground", ABSENT, "height 1 m")]),
        (lambda t: t["condition"].reverse(), []),
        (
            lambda t: t["condition"][0]["power"].update(value="80 %", low="70 %"),
            [
                ('condition "climb".power.value', "90 %", "80 %"),
                ('condition "climb".power.low', ABSENT, "70 %"),
            ],
        ),
        (
            lambda t: t["condition"][0].update(power="80 %"),
            [('condition "climb".power', "value 90 %, mark memory", "80 %")],
        ),
        (
            lambda t: t["condition"][1].update(name="fast"),
            [
                ('condition "cruise"', "name cruise, alpha 1 deg", ABSENT),
                ('condition "fast"', ABSENT, "name fast, alpha 1 deg"),
            ],
        ),
        (lambda t: t["strip"][1].update(low=3.0), [("strip 2.low", "2.0", "3.0")]),
        (lambda t: t["report"]["views"].pop(), [("report.views", "left, top", "left")]),
        (
            lambda t: t["report"].update(compressibility=True),
            [("report.compressibility", "false", "true")],
        ),
    ],
)
def test_changes_of_nested_tables(change, expected):
    second = json.loads(json.dumps(TABLES))
    change(second)
    found = [(row.where, row.first, row.second) for row in table_changes(TABLES, second)]
    assert found == expected


def test_long_values_are_cut():
    second = json.loads(json.dumps(TABLES))
    second["project"]["note"] = "several\n lines"
    (row,) = table_changes(TABLES, second)
    assert row.second == "several lines"
    assert len(row.first) <= LONGEST_VALUE
    assert row.first.startswith("long long")
    assert row.first.endswith("long…")


def test_names_of_cases():
    def case(name, path):
        return SimpleNamespace(name=name, path=Path(path))

    assert case_names([case("a", "x.toml"), case("b", "x.toml")]) == ("a", "b")
    same = [case("a", "x.toml"), case("b", "y.toml"), case("a", "z.toml")]
    assert case_names(same) == ("a (x.toml)", "b", "a (z.toml)")
    folders = [case("a", "p/x.toml"), case("a", "q/x.toml"), case("a", "q/y.toml")]
    assert len(set(case_names(folders))) == 3
    assert case_names(folders)[2] == "a (y.toml)"


def test_panels_are_told_apart():
    vertices, triangles = bodies.icosphere(1)
    ball = SurfaceMesh(vertices, triangles)
    longer = SurfaceMesh(vertices * np.array([2.0, 1.0, 1.0]), triangles)
    turned = SurfaceMesh(vertices, np.roll(triangles, 1, axis=0))
    assert numbered_panellings([ball, longer, ball, turned, longer]) == [0, 1, 0, 2, 1]


# --- from files to files -------------------------------------------------------------------


def test_rank_writes_tables_only(tmp_path):
    steps = []
    ranked = rank_case(write_case(tmp_path), progress=steps.append)
    names = sorted(path.name for path in ranked.folder.iterdir())
    assert names == ["pressures.csv", "ranking.csv", "run.log", "summary.json"]
    assert ranked.folder == tmp_path / "results" / f"rank-{ranked.contents.input_hash}"
    written = (ranked.folder / "ranking.csv").read_text(encoding="utf-8")
    assert written == ranking_csv(small_sides().contents[0])
    assert "ranking places" in steps
    assert not any("maps" in step for step in steps)


def test_side_by_side_of_files(tmp_path, monkeypatch):
    """The solutions are those that are there already."""
    solved = iter(small_sides().contents)

    def solve(prepared, progress, only):
        assert only == "ranking"
        progress("ranking places")
        return next(solved)

    monkeypatch.setattr("panelcp.case.side_by_side.solve_case", solve)
    paths = [write_case(tmp_path / "a"), write_case(tmp_path / "b", SAME, "copy.toml")]
    steps = []
    found = rank_side_by_side(paths, progress=steps.append)
    assert found.folder.parent == tmp_path / "a" / "results"
    assert found.folder.name == f"side-by-side-{found.sides.input_hash}"
    names = sorted(path.name for path in found.folder.iterdir())
    assert names == ["side-by-side.csv", "side-by-side.html", "summary.json"]
    assert not (tmp_path / "b" / "results").exists()
    assert {step.split(": ")[0] for step in steps} <= {"Small body", "Copy", "comparing"}
    assert "Copy: ranking places" in steps
    assert found.sides.differences[0, 1].least.chance == 0.5


def bad_second(tmp_path, text, name="second.toml"):
    paths = [write_case(tmp_path), write_case(tmp_path, text, name)]
    with pytest.raises((CaseError, SurfaceError)) as caught:
        rank_side_by_side(paths)
    assert not (tmp_path / "results").exists()
    return str(caught.value), paths


def test_mistakes_are_said_with_the_file(tmp_path):
    message, (_, path) = bad_second(tmp_path, changed('"70 kt"', '"70 furlong"'))
    assert message.startswith(f"{path}: 1 mistake\n  line ")
    message, (_, path) = bad_second(tmp_path, changed('"-433 mm"', '"-4330 mm"'))
    assert message.startswith(f"{path}: 1 of its entries does not fit the surface\n")
    message, (_, path) = bad_second(tmp_path, changed("body.stl", "none.stl"))
    assert message.startswith(f"{path}: ")
    assert "none.stl" in message


def test_no_common_condition_is_found_before_any_work(tmp_path, monkeypatch):
    monkeypatch.setattr("panelcp.case.side_by_side.prepare_case", None)
    message, (first, second) = bad_second(tmp_path, changed('"climb"', '"tow, hot"'))
    title, *rows = message.split("\n")
    assert title.startswith("no condition decides in all 2 cases")
    assert rows == [f"  {first}: climb", f"  {second}: tow, hot"]


def test_same_file_twice_and_too_few(tmp_path, monkeypatch):
    path = write_case(tmp_path)
    monkeypatch.chdir(tmp_path)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    for other in (path, Path("case.toml"), tmp_path / "." / "case.toml", link):
        with pytest.raises(CaseError, match=r"given twice; give every case once"):
            rank_side_by_side([path, other])
    with pytest.raises(CaseError, match=r"1 case.* to compare"):
        rank_side_by_side([path])
    with pytest.raises(CaseError, match=r"none\.toml: no such file"):
        rank_side_by_side([path, tmp_path / "none.toml"])
    write_body(tmp_path / "mesh.stl")
    with pytest.raises(CaseError, match=r"mesh\.stl: is a mesh, not a case"):
        rank_side_by_side([path, tmp_path / "mesh.stl"])
    assert not (tmp_path / "results").exists()
