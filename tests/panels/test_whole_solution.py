"""The whole solution: the same on any number of threads, and without compilation."""

import os
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest

from panelcp.panels import farfield
from panelcp.panels.solving import solve_units
from tests import bodies

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("pairs", [farfield.DIRECT_PAIRS, 0.0], ids=["direct", "tree"])
def test_same_bits_twice_and_the_same_on_one_thread(pairs, monkeypatch):
    monkeypatch.setattr(farfield, "DIRECT_PAIRS", pairs)
    body = bodies.mirrored_ellipsoid((3.0, 2.0, 1.0), 3)
    first, second = solve_units(body), solve_units(body)
    assert np.array_equal(first.velocity, second.velocity)
    assert np.array_equal(first.source_strength, second.source_strength)
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        alone = solve_units(body)
    finally:
        numba.set_num_threads(threads)
    assert alone.velocity == pytest.approx(first.velocity, rel=1e-12, abs=1e-12)


UNCOMPILED = """
import numpy as np
from panelcp.panels import farfield
from panelcp.panels.solving import solve_units
from tests import bodies
found = []
for farfield.DIRECT_PAIRS in {pairs}:
    found.append(solve_units(bodies.ellipsoid((3.0, 2.0, 1.0), 1)).velocity)
np.save({path!r}, found)
"""


def test_kernels_give_the_same_without_compilation(tmp_path, monkeypatch):
    path, directly_and_by_the_tree = str(tmp_path / "velocity.npy"), (1e9, 0.0)
    subprocess.run(
        [sys.executable, "-c", UNCOMPILED.format(pairs=directly_and_by_the_tree, path=path)],
        cwd=ROOT,
        env=os.environ | {"NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)},
        check=True,
    )
    for pairs, found in zip(directly_and_by_the_tree, np.load(path), strict=True):
        monkeypatch.setattr(farfield, "DIRECT_PAIRS", pairs)
        compiled = solve_units(bodies.ellipsoid((3.0, 2.0, 1.0), 1)).velocity
        # single precision in the inner iterations rounds differently
        assert found == pytest.approx(compiled, abs=1e-5)
