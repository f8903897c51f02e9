"""Folders of results: what latest.json names, and what is left of runs that were killed."""

import json
import os
import time

import pytest

from panelcp.report.files import KINDS, OLD_DRAFT, require_folder, write_folder, write_text


def fill(folder):
    write_text(folder / "numbers.csv", "a\n1\n")


def test_latest_names_whole_runs_only(tmp_path):
    assert write_folder(tmp_path, "rank-1", fill) == tmp_path / "rank-1"
    write_folder(tmp_path, "side-by-side-1", fill)
    assert not (tmp_path / "latest.json").exists()
    write_folder(tmp_path, "run-1", fill)
    before = (tmp_path / "latest.json").read_bytes()
    assert json.loads(before) == {"run": "run-1"}
    write_folder(tmp_path, "rank-2", fill)
    write_folder(tmp_path, "side-by-side-2", fill)
    assert (tmp_path / "latest.json").read_bytes() == before
    names = ["latest.json", "rank-1", "rank-2", "run-1", "side-by-side-1", "side-by-side-2"]
    assert sorted(path.name for path in tmp_path.iterdir()) == names
    assert all((tmp_path / name / "numbers.csv").is_file() for name in names[1:])


@pytest.mark.parametrize("kind", KINDS)
def test_a_draft_that_breaks_leaves_the_earlier_folder(tmp_path, kind):
    write_folder(tmp_path, f"{kind}-1", fill)
    before = sorted(path.name for path in tmp_path.iterdir())

    def breaks(folder):
        write_text(folder / "half.csv", "")
        raise RuntimeError("broken")

    with pytest.raises(RuntimeError):
        write_folder(tmp_path, f"{kind}-1", breaks)
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert [path.name for path in (tmp_path / f"{kind}-1").iterdir()] == ["numbers.csv"]


@pytest.mark.parametrize("kind", KINDS)
def test_old_drafts_of_every_kind_are_cleared(tmp_path, kind):
    limit = time.time() - OLD_DRAFT
    for name, changed in (("old", limit - 600.0), ("young", limit + 600.0)):
        for folder in (f".{kind}-1-{name}", f".{kind}-1-old-{name}"):
            (tmp_path / folder / "run").mkdir(parents=True)
            os.utime(tmp_path / folder, (changed, changed))
    (tmp_path / f"{kind}-0").mkdir()
    os.utime(tmp_path / f"{kind}-0", (0.0, 0.0))
    require_folder(tmp_path)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {f".{kind}-1-young", f".{kind}-1-old-young", f"{kind}-0"}
