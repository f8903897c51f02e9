"""Small bodies and their unit flows, each made once per run."""

import contextlib
import gc
import io
import json
import os
from functools import cache
from pathlib import Path

# Two processes of tests share the processors. Threads that wait for the others then take
# time from the very thread they wait for, so they sleep; linear algebra stays in one thread.
# Both are read when the libraries are loaded: this must come before the next imports.
os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pytest

from tests import bodies
from tests.cases import DAY, few_dots, filled_once, write_case

# Compiled loops and collected tests leave millions of objects that stay: looking through all of
# them for garbage again and again costs more than what would be found.
gc.set_threshold(50_000, 20, 100)

# Files that take long, to be begun first, so that neither process is left with one of them in the
# end. The first two need different compiled loops, those of surfaces and those of the solver, so
# that neither process compiles what the other does; what comes next finds both.
LONG = (
    "surface/test_intake.py",
    "panels/test_farfield.py",
    "report/test_air_results.py",
    "test_studies.py",
    "test_best_exit.py",
    "surface/test_panelling.py",
    "placement/test_found.py",
    "surface/test_scanning.py",
    "panels/test_against_finite_elements.py",
    "panels/test_whole_solution.py",
    "surface/test_reading.py",
    "case/test_doubts.py",
    "report/test_results.py",
    "report/test_sheet_drawing.py",
    "test_cli.py",
)


def pytest_collection_modifyitems(config, items):
    """Long files first where several processes share the files."""
    if hasattr(config, "workerinput"):
        place = {Path(__file__).parent / name: k for k, name in enumerate(LONG)}
        items.sort(key=lambda item: place.get(item.path, len(place)))


def pytest_collection_finish():
    """What is there now stays to the end: no more looking for garbage in it."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_sessionfinish(session):
    """Failed tests come last once more, a line each, however long their messages are."""
    ended = yield
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    for kind in ("failed", "error") if reporter else ():
        for report in reporter.stats.get(kind, []):
            crash = getattr(report.longrepr, "reprcrash", None)
            message = crash.message.partition("\n")[0][:200] if crash else ""
            reporter.write_line(f"{kind}: {report.nodeid}: {message}")
    return ended


@pytest.fixture(scope="session", autouse=True)
def nothing_compiled_ahead():
    """All processors are at work already: what two processes compile takes time from the tests."""
    from panelcp.case import running

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(running, "warming", lambda wanted: contextlib.nullcontext())
        yield


@pytest.fixture(scope="session")
def sphere():
    """Unit sphere of 1280 panels."""
    return bodies.ellipsoid((1.0, 1.0, 1.0), 3)


@pytest.fixture(scope="session")
def fine_sphere():
    """Unit sphere of 20480 panels, for geometry only."""
    return bodies.ellipsoid((1.0, 1.0, 1.0), 5)


@pytest.fixture(scope="session")
def brick():
    """Box 2 m long, 1 m wide, 0.8 m high about the datum."""
    return bodies.box()


@pytest.fixture(scope="session")
def units_of():
    """Function of the name of a builder in tests/bodies.py and its arguments: unit flows."""
    from panelcp.panels.solving import solve_units

    @cache
    def solve(builder, *arguments):
        return solve_units(getattr(bodies, builder)(*arguments))

    return solve


@pytest.fixture(scope="session")
def cp_in():
    """Function of unit flows and a stream: Cp of every panel, by its own Bernoulli."""

    def cp(units, freestream):
        velocity = np.einsum("u,uni->ni", freestream, units.velocity)
        return 1.0 - (velocity**2).sum(axis=1) / np.dot(freestream, freestream)

    return cp


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory):
    """A folder that all processes of these tests have in common; new in every run of the tests."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


@pytest.fixture(scope="session")
def small_run(shared_folder):
    """The small case run by the command line, once for all processes; to be read only.

    In a folder with spaces and letters of other languages, with pictures of few dots. Path of the
    case, folder of the run, what the command line told, and its progress.
    """
    folder = filled_once(shared_folder / "Große Prüfung 試 é", _run_by_the_command_line)
    latest = json.loads((folder / "results" / "latest.json").read_text(encoding="utf-8"))
    told = [(folder / name).read_text(encoding="utf-8") for name in ("out.txt", "err.txt")]
    return folder / "case.toml", folder / "results" / latest["run"], *told


def _run_by_the_command_line(folder):
    from panelcp.cli import main

    path = write_case(folder)
    out, err = io.StringIO(), io.StringIO()
    with few_dots(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(["run", str(path), "--date", DAY])
    assert status == 0, err.getvalue()
    (folder / "out.txt").write_text(out.getvalue(), encoding="utf-8")
    (folder / "err.txt").write_text(err.getvalue(), encoding="utf-8")
