"""The names that users import, and how light the start is."""

import os
import subprocess
import sys

import pytest

import panelcp


@pytest.mark.parametrize("name", panelcp.__all__)
def test_every_public_name_exists_and_is_documented(name):
    value = getattr(panelcp, name)
    assert name == "__version__" or value.__doc__


def test_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_name"):
        panelcp.no_such_name  # noqa: B018


HELP = """
import sys
sys.argv = ["panelcp", "--help"]
from panelcp.cli import main
try:
    main()
except SystemExit:
    pass
heavy = [name for name in {heavy} if name in sys.modules]
sys.exit("imported: " + ", ".join(heavy) if heavy else 0)
"""


def test_help_imports_nothing_heavy():
    heavy = ["numba", "numpy", "scipy", "trimesh", "matplotlib", "matplotlib.pyplot", "fpdf"]
    done = subprocess.run(
        [sys.executable, "-c", HELP.format(heavy=heavy)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "run" in done.stdout
    assert "check" in done.stdout


def test_missing_compiler_package_is_said_in_one_line(monkeypatch):
    from panelcp.panels import influence

    monkeypatch.setattr(influence, "find_spec", lambda name: None)
    with pytest.raises(panelcp.PanelcpError, match="numba is not installed for this Python"):
        influence.triangle_velocity([[0.0, 0.0, 1.0]], [[0, 0, 0], [1, 0, 0], [0, 1, 0]])


COMPILE = """
import os
usual = os.access
os.access = lambda path, mode, **kind: False if mode == os.W_OK else usual(path, mode, **kind)
import panelcp
from panelcp.panels._kernels import triangle_velocity
import numpy as np
corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
print(triangle_velocity(0.2, 0.2, 1.0, corners, np.array([0.0, 0, 1]))[2] > 0.0)
folder = os.environ["NUMBA_CACHE_DIR"]
print(any(name.endswith(".nbi") for _, _, files in os.walk(folder) for name in files))
print(folder)
"""


def test_compiles_where_nothing_of_the_installation_can_be_written():
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    done = subprocess.run(
        [sys.executable, "-c", COMPILE],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
    )
    assert done.returncode == 0, done.stderr
    right, kept, folder = done.stdout.split()
    assert (right, kept) == ("True", "True")
    assert not os.path.exists(folder), "removed at the end of the process"
