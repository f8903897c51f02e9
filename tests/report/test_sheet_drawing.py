"""Drawing sheets in one process and in several: same bytes, complete whatever happens."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from panelcp.report import sheet_drawing
from panelcp.report.colours import PressureScale
from panelcp.report.maps import Marker
from panelcp.report.sheet_drawing import Sheet, SheetPlan, draw_sheets, usual_processes

VERTICES = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
TRIANGLES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def plan_in(folder, count=4):
    """A tetrahedron with one mark; its sheets differ in values."""
    folder.mkdir()
    values = VERTICES[TRIANGLES][..., 0]
    sheets = [
        Sheet(
            f"condition {k}",
            folder / f"{k}.png",
            f"title {k}",
            values - 0.2 * k,
            PressureScale(1.0, 0.2),
            np.array([0, 1, 2, 2]),
        )
        for k in range(count)
    ]
    mark = Marker([[0.1, 0.1, 0.0], [0.3, 0.1, 0.0], [0.1, 0.3, 0.0]], "vent", "exit")
    return SheetPlan(VERTICES, TRIANGLES, ("bottom",), (mark,), "invented", 50, tuple(sheets))


def bytes_of(plan):
    return [sheet.path.read_bytes() for sheet in plan.sheets]


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """Bytes of the sheets that one process has drawn."""
    plan = plan_in(tmp_path_factory.mktemp("one") / "maps")
    draw_sheets(plan, processes=1)
    return bytes_of(plan)


def test_two_processes_draw_the_same_bytes(tmp_path, alone, monkeypatch):
    plan = plan_in(tmp_path / "maps")
    known, taken = [], sheet_drawing._taken

    def after_the_other(sheet):
        # This process waits with its second sheet until the other has begun its first.
        while known and not plan.sheets[-1].path.exists():
            assert helper_lives()
        return taken(sheet)

    monkeypatch.setattr(sheet_drawing, "_taken", after_the_other)
    started = []
    start = sheet_drawing._started
    monkeypatch.setattr(
        sheet_drawing, "_started", lambda plan: started.append(start(plan)) or started[-1]
    )

    def helper_lives():
        return started[0].poll() is None or plan.sheets[-1].path.exists()

    draw_sheets(plan, known.append, processes=2)
    assert bytes_of(plan) == alone
    assert 1 <= len(known) < 4  # the other has drawn some
    assert all(process.returncode is not None for process in started)  # none is left over


@pytest.mark.parametrize(
    "command",
    [
        "raise SystemExit(3)",
        # takes the last sheet, and breaks
        "import sys; sys.path.insert(0, sys.argv[1]); import pickle; "
        "plan = pickle.load(sys.stdin.buffer); plan.sheets[-1].path.open('xb').write(b'half'); "
        "raise SystemExit(1)",
    ],
)
def test_what_another_process_leaves_is_drawn_here(tmp_path, alone, monkeypatch, command):
    monkeypatch.setattr(sheet_drawing, "COMMAND", command)
    start = sheet_drawing._started

    def ended(plan):
        process = start(plan)
        process.wait()
        return process

    monkeypatch.setattr(sheet_drawing, "_started", ended)
    plan = plan_in(tmp_path / "maps")
    draw_sheets(plan, processes=2)
    assert bytes_of(plan) == alone


def test_process_that_hangs_is_ended_and_its_sheet_drawn(tmp_path, alone, monkeypatch):
    plan = plan_in(tmp_path / "maps")
    hang = "import sys, time; open(sys.argv[1] + '.png', 'xb').close(); time.sleep(600)"
    processes = []

    def started(plan):
        last = str(plan.sheets[-1].path.with_suffix(""))
        processes.append(subprocess.Popen([sys.executable, "-c", hang, last]))
        while not plan.sheets[-1].path.exists():
            assert processes[0].poll() is None
        return processes[0]

    monkeypatch.setattr(sheet_drawing, "_started", started)
    monkeypatch.setattr(sheet_drawing, "PATIENCE", 0.1)
    draw_sheets(plan, processes=2)
    assert bytes_of(plan) == alone
    assert processes[0].returncode is not None


def test_without_other_processes_sheets_are_drawn_here(tmp_path, alone, monkeypatch):
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no interpreter here"))
    plan, known = plan_in(tmp_path / "maps"), []
    draw_sheets(plan, known.append, processes=3)
    assert bytes_of(plan) == alone
    assert known == [f"map {k} of 4: condition {k - 1}" for k in range(1, 5)]


@pytest.mark.parametrize("failure", [RuntimeError("broken"), KeyboardInterrupt()])
def test_no_process_is_left_when_drawing_breaks(tmp_path, monkeypatch, failure):
    processes = []

    def started(plan):
        command = [sys.executable, "-c", "import time; time.sleep(600)"]
        processes.append(subprocess.Popen(command))
        return processes[-1]

    def broken(plan):
        raise failure

    monkeypatch.setattr(sheet_drawing, "_started", started)
    monkeypatch.setattr(sheet_drawing, "_drawer", broken)
    with pytest.raises(type(failure)):
        draw_sheets(plan_in(tmp_path / "maps"), processes=3)
    assert len(processes) == 2
    assert all(process.returncode is not None for process in processes)


@pytest.mark.parametrize(
    ("sheets", "processors", "known"),
    [(3, 8, 1), (4, 8, 2), (15, 1, 1), (15, 2, 2), (15, 8, 4), (100, 64, 4)],
)
def test_number_of_processes(monkeypatch, sheets, processors, known):
    monkeypatch.setattr(os, "sched_getaffinity", lambda who: set(range(processors)), raising=False)
    assert usual_processes(sheets) == known


def test_settings_of_the_user_change_nothing(tmp_path, alone):
    import matplotlib

    plan = plan_in(tmp_path / "maps")
    with matplotlib.rc_context({"font.size": 20.0, "lines.antialiased": False}):
        draw_sheets(replace(plan, sheets=plan.sheets[:1]), processes=1)
    assert Path(plan.sheets[0].path).read_bytes() == alone[0]
