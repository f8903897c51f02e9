"""Format and lint of everything that is Python here."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize("words", [["check"], ["format", "--check"]], ids=["lint", "format"])
def test_ruff_has_nothing_to_say(words):
    done = subprocess.run(
        [sys.executable, "-m", "ruff", *words, "panelcp", "geometries", "tests", "studies"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_top_level_holds_what_it_should():
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "panelcp"}
    allowed |= {"geometries", "tests", "studies"}
    done = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    names = {line.split("/")[0] for line in done.stdout.splitlines()}
    assert {name for name in names if not name.startswith(".")} <= allowed
