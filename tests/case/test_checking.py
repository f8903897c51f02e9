"""What a check says of unit and axes before a case states them."""

from pathlib import Path

import numpy as np
import pytest

from panelcp.case.checking import check_file
from panelcp.case.starter import write_starter_case
from panelcp.errors import SurfaceError
from panelcp.surface.formats import load_triangles
from tests.case.cooling_case import BODY, CORE, DUCT
from tests.cases import write_case, write_mesh

COWL = Path(__file__).parents[2] / "geometries" / "glider_tug" / "cowl.stl"


def turned(tmp_path, frame):
    """The shipped fuselage in other axes; rows of the frame point aft, right, up."""
    vertices, triangles = load_triangles(COWL)
    write_mesh(tmp_path / "turned.stl", vertices @ np.array(frame, dtype=float), triangles)
    return tmp_path / "turned.stl"


def test_axes_that_agree_are_said_with_how_sure(tmp_path):
    lines = check_file(COWL)
    (line,) = [line for line in lines if line.startswith("axes proposed from the shape")]
    assert "aft +x likely" in line
    assert not any(line.startswith("taken as +x") for line in lines)


def test_other_axes_are_proposed_as_option_and_as_line_of_a_case(tmp_path):
    path = turned(tmp_path, [[-1, 0, 0], [0, -1, 0], [0, 0, 1]])
    (line,) = [line for line in check_file(path) if line.startswith("taken as +x,+y,+z")]
    assert "--axes=-x,-y,+z" in line
    assert 'axes = { aft = "-x", right = "-y", up = "+z" }' in line
    assert not any("proposed from" in line for line in check_file(path, axes="-x,-y,+z"))
    case = write_starter_case(path)[0].read_text(encoding="utf-8")
    assert "# axes proposed from the shape: aft -x likely" in case
    assert "7.03 m long, 1.05 m wide, 1.46 m high" in case


def test_axes_that_cannot_be_are_refused_with_a_proposal(tmp_path):
    path = turned(tmp_path, [[0, 0, -1], [1, 0, 0], [0, -1, 0]])
    with pytest.raises(SurfaceError, match=r"The shape suggests other axes: --axes=-z,\+x,-y$"):
        check_file(path)


def test_parts_of_the_cooling_network_are_listed(tmp_path):
    text = BODY + CORE + DUCT
    lines = check_file(write_case(tmp_path, text))
    (line,) = [line for line in lines if line.startswith("cooling network: ")]
    assert line == "cooling network: inlet nose; exit chin; core radiator; duct chin duct"
    assert any(line.startswith("note: no leaks") for line in lines)
