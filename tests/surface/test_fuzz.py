"""Damaged files end in a surface or in one clear message: no traceback, hang or greed."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

STUDY = Path(__file__).parents[2] / "studies" / "fuzz_reading.py"


@pytest.fixture(scope="module")
def study():
    spec = importlib.util.spec_from_file_location("fuzz_reading", STUDY)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_300_damaged_files_of_all_formats(study):
    faults, numbers = study.run(300)
    assert faults == []
    assert numbers["files"] == 300
    # some damage does no harm, most does
    assert 5 <= numbers["read"] <= 150
    assert numbers["slowest"] < study.SECONDS
    assert numbers["gigabytes"] < study.GIGABYTES


def test_every_format_but_step_is_damaged(study):
    from panelcp.surface.formats import FORMATS

    suffixes = {Path(name).suffix for name in study.good_files()}
    assert suffixes == {*FORMATS, ".csv", ".toml"} - {".step", ".stp"}


def test_damage_is_the_same_each_time_and_not_always_the_same(study):
    files = study.good_files()
    for name, data in files.items():
        found = [study.damaged(name, data, number) for number in range(30)]
        assert found == [study.damaged(name, data, number) for number in range(30)]
        assert len({content for _, content in found}) > 20


def test_the_egg_is_closed(study):
    from panelcp.surface.mesh import SurfaceMesh

    surface = SurfaceMesh(*study.body())
    assert (surface.edge_neighbours >= 0).all()
    assert surface.volume > 0.0
    assert np.ptp(surface.vertices[:, 0]) == 3.0


ANSWER = {"status": 2, "error": "panelcp: no mesh\n", "seconds": 0.1, "gigabytes": 0.2}


@pytest.mark.parametrize(
    ("change", "control", "words"),
    [
        ({}, False, ""),
        ({}, True, "good file refused: panelcp: no mesh"),
        ({"status": 0, "error": ""}, True, ""),
        ({"status": 0}, False, "warns"),
        ({"status": 1}, False, "ends with: 1"),
        ({"status": "Traceback"}, False, "ends with: Traceback"),
        ({"status": "hangs"}, False, "ends with: hangs"),
        ({"error": "x.py:3: RuntimeWarning: overflow"}, False, "warns"),
        ({"seconds": 25.0}, False, "takes 25 s"),
        ({"gigabytes": 2.5}, False, "2.5 GB"),
    ],
)
def test_what_counts_as_a_fault(study, change, control, words):
    found = study.fault({**ANSWER, **change}, control)
    assert words in found
    assert bool(found) == bool(words)


class Pretended:
    """A worker that answers, hangs or dies as it is told."""

    CODE = """
import sys, time, json
print(json.dumps("ready"), flush=True)
for line in sys.stdin:
    if "hangs" in line:
        time.sleep(60)
    if "dies" in line:
        sys.exit(3)
    print(json.dumps({"status": 0, "error": "", "seconds": 0.0, "gigabytes": 0.0}), flush=True)
"""


def test_a_worker_that_hangs_or_dies_is_replaced(study, tmp_path, monkeypatch):
    (tmp_path / "worker.py").write_text(Pretended.CODE)
    monkeypatch.setattr(study, "__file__", str(tmp_path / "worker.py"))
    monkeypatch.setattr(study, "SECONDS", 1.0)
    watched = study.Watched()
    try:
        found = [watched.read(Path(name))["status"] for name in ("a", "hangs", "b", "dies", "c")]
    finally:
        watched.stop()
    assert found == [0, "hangs", 0, "dies", 0]
