"""Compiling ahead, in a process of its own."""

import subprocess
from contextlib import nullcontext

import numpy as np
import pytest

from panelcp.case import running, warming
from panelcp.surface.mesh import SurfaceMesh


def test_what_is_compiled_ahead_runs():
    warming.warm()


def test_the_small_body_is_closed_and_outward():
    body = SurfaceMesh(*warming._ball())
    assert body.n_panels == 512
    assert 0.93 * 4.0 / 3.0 * np.pi < body.volume < 4.0 / 3.0 * np.pi


def test_the_process_ends_with_the_work(monkeypatch):
    started = []
    real = subprocess.Popen

    def popen(*arguments, **options):
        started.append(real(*arguments, **options))
        return started[-1]

    monkeypatch.setattr(warming, "COMMAND", "import time; time.sleep(60)")
    monkeypatch.setattr(subprocess, "Popen", popen)
    with pytest.raises(ValueError, match="stop"):
        _work_that_fails(started)
    assert started[0].returncode != 0  # ended by us, not of itself


def test_the_package_that_runs_here_is_compiled(monkeypatch, tmp_path):
    shown, started, real = tmp_path / "shown", [], subprocess.Popen
    before, _, _ = warming.COMMAND.partition("from panelcp")
    after = f"import panelcp; open({str(shown)!r}, 'w').write(panelcp.__file__)"

    def popen(*arguments, **options):
        started.append(real(*arguments, **options))
        return started[-1]

    monkeypatch.setattr(warming, "COMMAND", before + after)
    monkeypatch.setattr(subprocess, "Popen", popen)
    with warming.warming(True):
        assert started[0].wait(60) == 0
    assert shown.read_text() == warming.panelcp.__file__


def _work_that_fails(started):
    with warming.warming(True):
        assert started[0].poll() is None
        raise ValueError("stop")


@pytest.mark.parametrize("compiled", [False, True])
def test_the_first_run_says_so_and_compiles_ahead(monkeypatch, compiled):
    told, wanted = [], []
    monkeypatch.setattr(running, "is_compiled", lambda: compiled)
    monkeypatch.setattr(running, "warming", lambda first: wanted.append(first) or nullcontext())
    with running.compiling(told.append):
        pass
    assert wanted == [not compiled]
    assert [text.partition(":")[0] for text in told] == ([] if compiled else ["first run"])


def test_nothing_is_started_when_all_is_compiled(monkeypatch):
    monkeypatch.setattr(subprocess, "Popen", lambda *a, **k: pytest.fail("started"))
    with warming.warming(False):
        pass


def test_a_machine_that_starts_no_process_works_all_the_same(monkeypatch):
    def refuse(*arguments, **options):
        raise OSError("no more processes")

    monkeypatch.setattr(subprocess, "Popen", refuse)
    with warming.warming(True):
        pass
