"""The whole chain: from a case file through the command line to the folder of results."""

import csv
import errno
import io
import json
import os
import shutil
import time

import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.running import run_case
from panelcp.case.solving import input_hash, solve_case
from panelcp.cli import main
from panelcp.errors import CaseError, FlowError
from panelcp.report.contents import PROPELLER_NOTICE
from panelcp.report.files import require_folder
from tests import bodies
from tests.cases import CASE, DAY, changed, few_dots, write_case, write_mesh

FILES = [
    "curves/01-top-bottom-sides.png",
    "curves/02-how-far-forward-a-top-exit-must-go.png",
    "curves/03-along-top-bottom-and-sides.png",
    "curves/04-sideslip-and-angle-of-attack.png",
    "curves/05-airspeed.png",
    "maps/01-climb.png",
    "maps/02-sideslip.png",
    "pressures.csv",
    "ranking.csv",
    "report.html",
    "report.pdf",
    "run.log",
    "sections/centre-line.png",
    "sections/centre-line.svg",
    "sections/sections.csv",
    "sections/station-minus-1000-mm.png",
    "sections/station-minus-1000-mm.svg",
    "sections/station-minus-1238-mm.png",
    "sections/station-minus-1238-mm.svg",
    "spoilers.csv",
    "summary.json",
    "summary.schema.json",
    "surface.glb",
    "surface.vtu",
    "vent-map-exit.png",
    "vent-map-inlet.png",
]


def files_of(folder) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def strict_json(path):
    def refuse(word):
        raise ValueError(f"{word} is not JSON")

    return json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse)


def rows_of(path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))


@pytest.fixture(scope="module")
def finished(small_run):
    """A run of the small case in a folder with spaces and letters of other languages."""
    return small_run


@pytest.fixture(scope="module")
def summary(finished):
    return strict_json(finished[1] / "summary.json")


def test_folder_is_complete_and_latest_points_at_it(finished):
    _, folder, _, _ = finished
    assert sorted(files_of(folder)) == FILES
    assert all(files_of(folder).values())
    assert sorted(path.name for path in folder.parent.iterdir()) == [
        *("latest.json", "revisions.json", folder.name)
    ]
    assert folder.name.startswith("run-")
    for name in (name for name in FILES if name.endswith(".png")):
        assert (folder / name).read_bytes().startswith(b"\x89PNG")


def test_terminal_tells_answer_and_place_apart_from_progress(finished):
    _, folder, out, err = finished
    assert out.rstrip().endswith(f"report: {folder / 'report.html'}")
    assert "Best of" in out
    assert "s  solving for unit causes" in err
    assert err.rstrip().endswith("done")
    assert "solving" not in out
    assert "Best of" not in err


def test_notice_stands_in_every_text(finished):
    _, folder, out, _ = finished
    assert PROPELLER_NOTICE.startswith("propeller not modelled: tow and run-up are not usable")
    assert f"NOTICE: {PROPELLER_NOTICE}" in out
    for name in ("report.html", "run.log", "summary.json"):
        assert PROPELLER_NOTICE in (folder / name).read_text(encoding="utf-8"), name


def test_summary_agrees_with_the_tables(finished, summary):
    folder = finished[1]
    rows = rows_of(folder / "ranking.csv")
    pairs = summary["ranking"]["pairs"]
    assert len(rows) == len(pairs) == summary["ranking"]["n_pairs"] > 3
    names = [condition["name"] for condition in summary["conditions"]]
    assert names == ["climb", "sideslip", "parked"]
    for row, pair in zip(rows, pairs, strict=True):
        assert (int(row["rank"]), row["inlet"]) == (pair["rank"], pair["inlet"])
        assert (row["exit"], row["exit_side"]) == (pair["exit"], pair["exit_side"])
        assert row["limiting_condition"] == pair["limiting_condition"] == "climb"
        assert row["why"] == pair["why"]
        least = pair["least_ratio"]
        assert float(row["least_available_over_needed"]) == pytest.approx(least, abs=6e-5)
        for c, name in enumerate(names):
            available, deviation = pair["available"][c], pair["deviation"][c]
            assert float(row[f"{name}: available_Pa"]) == pytest.approx(available, abs=6e-3)
            assert float(row[f"{name}: deviation_Pa"]) == pytest.approx(deviation, abs=6e-3)
            inches = float(row[f"{name}: available_inH2O"])
            assert inches == pytest.approx(available / 249.08891, abs=6e-5)
    ratios = [pair["least_ratio"] for pair in pairs]
    assert ratios == sorted(ratios, reverse=True)
    assert pairs[0]["least_ratio"] == pytest.approx(pairs[0]["available"][0] / 500.0, rel=1e-6)


def test_pressures_obey_bernoulli_and_the_recovery(finished, summary):
    rows = rows_of(finished[1] / "pressures.csv")
    conditions = {condition["name"]: condition for condition in summary["conditions"]}
    nose = {row["condition"]: row for row in rows if row["opening"] == "nose"}
    assert set(nose) == set(conditions)
    for name, row in nose.items():
        q = conditions[name]["dynamic_pressure"]
        patch, inlet = float(row["patch_pressure_Pa"]), float(row["inlet_pressure_Pa"])
        assert inlet == pytest.approx(patch + 0.8 * (q - patch), abs=0.02)
        assert patch <= q
    assert float(nose["climb"]["patch_cp"]) > 0.7
    assert nose["parked"]["patch_cp"] == ""
    assert float(nose["parked"]["patch_pressure_Pa"]) == 0.0
    assert {row["opening"] for row in rows} >= {"nose", "chin", "top 1"}
    assert [row["inlet_pressure_Pa"] for row in rows if row["opening"] == "chin"] == ["", "", ""]


def test_condition_without_speed(finished, summary):
    _, _, out, _ = finished
    parked = summary["conditions"][2]
    assert parked["dynamic_pressure"] == 0.0
    assert summary["ranking"]["pairs"][0]["available"][2] == 0.0
    assert summary["ranking"]["pairs"][0]["ratio"][2] is None
    assert any("no air moves in parked" in warning for warning in summary["warnings"])
    assert "warning: no air moves in parked" in out


def test_marks_and_inputs_are_carried(summary):
    marks = {mark["place"]: mark for mark in summary["marks"]}
    assert marks["opening nose: recovery fraction"] == {
        "place": "opening nose: recovery fraction",
        "value": 0.8,
        "unit": "",
        "low": 0.7,
        "high": 0.9,
        "mark": "published",
        "source": "invented",
    }
    assert marks["engine: needed pressure at full power"]["mark"] == "memory"
    scaled = marks["condition climb: needed pressure"]
    assert (scaled["low"], scaled["value"], scaled["high"]) == (400.0, 500.0, 650.0)
    assert marks["surface: model error of a patch-mean Cp"]["value"] == 0.1
    assert "opening chin: recovery fraction" not in marks
    assert summary["inputs"]["case"]["opening"][0]["name"] == "nose"
    assert len(summary["inputs"]["surface_hash"]) == 64


def test_log_counts_what_the_search_did(finished):
    log = (finished[1] / "run.log").read_text(encoding="utf-8")
    prepared = prepare_case(read_case(finished[0]))
    (found,) = prepared.searches
    assert found.line() in log
    assert found.tried == len(found.openings) + sum(found.removed.values()) == 12
    assert f"search top: {len(found.openings)} admissible places of 12 tried" in log
    assert "search top: 2 best places between the grid points" in log
    assert found.removed["in no-cut zone latch"] > 0
    assert "panels: 320" in log


def test_same_input_gives_the_same_bytes_and_replaces_its_folder_whole(finished, tmp_path):
    path, folder, _, _ = finished
    other = write_case(tmp_path / "elsewhere")
    (tmp_path / "elsewhere" / "body.stl").write_bytes((path.parent / "body.stl").read_bytes())
    # an earlier run of the same input, with a file of its own
    shutil.copytree(folder.parent, tmp_path / "out")
    (tmp_path / "out" / folder.name / "stale.txt").write_text("earlier", encoding="utf-8")
    (tmp_path / "out" / folder.name / "run.log").write_text("earlier", encoding="utf-8")
    with few_dots():
        done = run_case(other, tmp_path / "out", date=DAY)
    assert done.folder == tmp_path / "out" / folder.name
    assert files_of(tmp_path / "out") == files_of(folder.parent)


@pytest.fixture(scope="module")
def solved():
    """Hash of the input -> what is found for it, without curves."""
    return {}


@pytest.fixture
def light(monkeypatch, solved):
    """Runs with one kind of pictures, the maps, where only the folder of results matters."""

    def solve(prepared, progress, only=""):
        key = input_hash(prepared)
        if key not in solved:
            solved[key] = solve_case(prepared, progress, only="ranking")
        return solved[key]

    monkeypatch.setattr("panelcp.case.running.solve_case", solve)
    for name in ("write_vent_map_sheet", "write_section_sheets", "write_report"):
        monkeypatch.setattr(f"panelcp.report.writing.{name}", lambda *_, **__: [])
    with few_dots():
        yield


@pytest.mark.usefixtures("light")
def test_changed_case_and_changed_surface_get_folders_of_their_own(tmp_path):
    text = changed(
        'decides = false\n\n[[condition]]\nname = "parked"',
        'decides = false\n\n[[condition]]\nname = "stand"',
    )
    first = write_case(tmp_path, no_maps(CASE))
    second = write_case(tmp_path, no_maps(text), "other.toml")
    runs = [run_case(first).folder, run_case(second).folder]
    vertices, triangles = bodies.icosphere(2)
    write_mesh(tmp_path / "body.stl", vertices * [2.0, 0.5, 0.501], triangles)
    runs.append(run_case(first).folder)
    assert len(set(runs)) == 3
    assert all(run.is_dir() for run in runs)
    latest = json.loads((tmp_path / "results" / "latest.json").read_text(encoding="utf-8"))
    assert latest == {"run": runs[-1].name}


def no_maps(text: str) -> str:
    """The case with a stream in one condition only: one map is drawn, the run is quick."""
    return changed('true_airspeed = "40 m/s"', 'true_airspeed = "0 m/s"', text)


def test_air_at_rest_cannot_decide(tmp_path):
    text = changed('calibrated_airspeed = "70 kt"', 'calibrated_airspeed = "0 kt"', no_maps(CASE))
    with pytest.raises(CaseError, match=r"condition\[1\]: it decides, but no air moves"):
        run_case(write_case(tmp_path, text))
    assert not (tmp_path / "results").exists()


# --- failures leave nothing behind --------------------------------------------------------


def test_bad_input_writes_nothing(tmp_path, capsys):
    path = write_case(tmp_path, changed('"-2 m", "0 m", "0 m"', '"-9 m", "0 m", "0 m"'))
    assert main(["run", str(path)]) == 2
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["body.stl", "case.toml"]
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "opening nose: its centre" in captured.err
    assert "Traceback" not in captured.err


@pytest.mark.usefixtures("light")
@pytest.mark.parametrize("failure", [RuntimeError("broken drawing"), KeyboardInterrupt()])
def test_run_that_breaks_leaves_the_earlier_one_untouched(tmp_path, monkeypatch, failure):
    path = write_case(tmp_path, no_maps(CASE))
    run_case(path)
    before = files_of(tmp_path / "results")
    path.write_text(CASE, encoding="utf-8")

    def draw(*arguments, **options):
        raise failure

    monkeypatch.setattr("panelcp.report.maps.write_picture", draw)
    with pytest.raises(type(failure)):
        run_case(path)
    assert files_of(tmp_path / "results") == before
    assert len(list((tmp_path / "results").iterdir())) == 3


@pytest.mark.usefixtures("light")
def test_same_run_that_breaks_leaves_the_earlier_one_untouched(finished, tmp_path, monkeypatch):
    shutil.copytree(finished[0].parent, tmp_path / "same")
    path = tmp_path / "same" / finished[0].name
    folder = path.parent / "results" / finished[1].name
    before = files_of(folder.parent)

    def draw(contents, where, progress):
        where.mkdir()
        (where / "half.png").write_bytes(b"half")
        raise OSError("the disk is gone")

    monkeypatch.setattr("panelcp.report.writing.write_map_sheets", draw)
    with pytest.raises(OSError, match="the disk is gone"):
        run_case(path)
    assert files_of(folder.parent) == before
    assert len(list(folder.parent.iterdir())) == 3


def test_results_that_are_a_file(tmp_path, capsys):
    path = write_case(tmp_path, no_maps(CASE))
    (tmp_path / "results").write_text("mine", encoding="utf-8")
    assert main(["run", str(path), "--quiet"]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "results: results cannot be written here" in captured.err
    assert "--results" in captured.err
    assert (tmp_path / "results").read_text(encoding="utf-8") == "mine"


@pytest.fixture
def locked_folder(tmp_path):
    """A folder in which nobody may write; a privileged user gets a folder inside a file."""
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o555)
    if os.access(folder, os.W_OK):
        (tmp_path / "file").write_text("", encoding="utf-8")
        folder.chmod(0o755)
        folder = tmp_path / "file"
    yield folder
    folder.chmod(0o755)


def test_results_that_may_not_be_written(tmp_path, locked_folder, capsys):
    path = write_case(tmp_path / "case", no_maps(CASE))
    assert main(["run", str(path), "--quiet", "--results", str(locked_folder / "r")]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "results cannot be written here" in captured.err


@pytest.mark.usefixtures("light")
def test_full_disk_is_one_line_and_leaves_no_draft(tmp_path, monkeypatch, capsys):
    path = write_case(tmp_path, no_maps(CASE))

    def write(*arguments):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("panelcp.report.writing.write_text", write)
    assert main(["run", str(path), "--quiet"]) == 2
    captured = capsys.readouterr()
    assert captured.err.endswith("results cannot be written (No space left on device)\n")
    assert list((tmp_path / "results").iterdir()) == []


@pytest.mark.usefixtures("light")
def test_latest_that_cannot_be_replaced(tmp_path):
    path = write_case(tmp_path, no_maps(CASE))
    (tmp_path / "results" / "latest.json").mkdir(parents=True)
    with pytest.raises(CaseError, match=r"latest\.json: cannot be written"):
        run_case(path)


def test_a_folder_that_cannot_be_written_is_found_before_anything_is_solved(
    tmp_path, locked_folder, monkeypatch
):
    path = write_case(tmp_path / "case", no_maps(CASE))

    def solved(*arguments, **options):
        raise AssertionError("solved first")

    monkeypatch.setattr("panelcp.case.running.solve_case", solved)
    with pytest.raises(CaseError, match="results cannot be written here"):
        run_case(path, locked_folder / "r")


def test_a_solution_that_fails_leaves_no_folder(tmp_path, monkeypatch):
    path = write_case(tmp_path, no_maps(CASE))

    def fails(*arguments, **options):
        raise FlowError("the solution did not converge")

    monkeypatch.setattr("panelcp.case.running.solve_case", fails)
    with pytest.raises(FlowError):
        run_case(path, tmp_path / "new" / "results")
    assert not (tmp_path / "new").exists()


def test_drafts_of_killed_runs_are_cleared_after_a_day(tmp_path):
    drafts = [".run-1-a", ".run-9-old-a", ".rank-1-a", ".side-by-side-1-a"]
    old = [tmp_path / name for name in drafts]
    young, other = tmp_path / ".run-2-b", tmp_path / "run-3"
    for folder in (*old, young, other):
        folder.mkdir()
        (folder / "half").write_text("", encoding="utf-8")
    yesterday = time.time() - 25 * 3600
    for folder in (*old, other):
        os.utime(folder, (yesterday, yesterday))
    require_folder(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == [".run-2-b", "run-3"]
