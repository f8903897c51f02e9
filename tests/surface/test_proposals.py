"""Proposals of unit and axes, from the shape and size alone."""

import itertools

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.proposals import (
    propose_axes,
    propose_unit,
    require_stated,
    size_words,
)
from tests import bodies


@pytest.fixture(scope="module")
def tug():
    """The shipped fuselage with canopy, 7.03 m long."""
    from pathlib import Path

    from panelcp.surface.intake import read_surface

    path = Path(__file__).parents[2] / "geometries" / "glider_tug" / "cowl.stl"
    return read_surface(path, unit="mm")


RIGHT_HANDED = [
    np.eye(3)[list(order)] * np.array(signs)[:, None]
    for order in itertools.permutations(range(3))
    for signs in itertools.product((1.0, -1.0), repeat=3)
    if np.linalg.det(np.eye(3)[list(order)] * np.array(signs)[:, None]) > 0.0
]


def written(frame):
    """Axes of the file from the rows aft, right, up."""
    return tuple(f"{'+' if r.sum() > 0 else '-'}{'xyz'[np.argmax(np.abs(r))]}" for r in frame)


def proposed(proposal):
    return tuple(axis for _, axis in proposal.axes)


@pytest.mark.parametrize("frame", RIGHT_HANDED, ids=lambda f: ",".join(written(f)))
def test_fuselage_with_canopy_is_recognised_in_all_24_positions(tug, frame):
    vertices = 1000.0 * tug.vertices @ frame + [300.0, -4000.0, 70.0]
    right_half = tug.triangles[: tug.n_panels // 2]
    for triangles in (tug.triangles, right_half, right_half[:, [0, 2, 1]]):
        proposal = propose_axes(vertices, triangles)
        assert proposed(proposal) == written(frame)
        assert proposal.confidence == ("likely", "likely", "likely")


@pytest.mark.parametrize("frame", RIGHT_HANDED[::5], ids=lambda f: ",".join(written(f)))
def test_cowl_alone_is_open_behind(tug, frame):
    ahead = tug.centroids[:, 0] < tug.bounds[0, 0] + 1.3
    proposal = propose_axes(tug.vertices @ frame, tug.triangles[ahead])
    assert proposed(proposal)[0] == written(frame)[0]
    assert proposed(proposal)[1][1] == written(frame)[1][1]
    assert proposal.confidence == ("likely", "likely", "unclear")
    assert "its other end is open" in proposal.line()


def test_flat_wall_is_the_rear():
    rear_wall = bodies.egg(3)
    x = rear_wall.vertices[:, 0]
    middle = 0.5 * (x.min() + x.max())
    # everything beyond the middle is pressed flat onto a wall there
    for sign, aft in ((1.0, "+x"), (-1.0, "-x")):
        pressed = np.array(rear_wall.vertices)
        pressed[:, 0] = sign * np.minimum(sign * (x - middle), 0.0)
        proposal = propose_axes(pressed * [3.0, 1.0, 1.0], rear_wall.triangles)
        assert proposed(proposal)[0] == aft
        assert "flat wall" in proposal.reasons[0]


def test_what_cannot_be_told_is_said_and_follows_the_file():
    egg = bodies.ellipsoid((1.5, 0.5, 0.4), 3)
    proposal = propose_axes(egg.vertices, egg.triangles)
    assert proposed(proposal) == ("+x", "+y", "+z")
    assert proposal.confidence == ("unclear",) * 3
    assert "unclear (several planes of symmetry" in proposal.line()
    assert proposal.agrees((("aft", "-z"), ("right", "+y"), ("up", "+x")))


def test_proposal_as_option_and_as_line_of_a_case(tug):
    proposal = propose_axes(tug.vertices @ RIGHT_HANDED[8], tug.triangles)
    axes = written(RIGHT_HANDED[8])
    assert proposal.option == ",".join(axes)
    aft, right, up = axes
    assert proposal.case_line() == f'axes = {{ aft = "{aft}", right = "{right}", up = "{up}" }}'


def test_the_side_that_is_right_cannot_contradict(tug):
    proposal = propose_axes(tug.vertices, tug.triangles)
    assert proposal.agrees((("aft", "x"), ("right", "-y"), ("up", "+Z")))
    assert not proposal.agrees((("aft", "-x"), ("right", "-y"), ("up", "+z")))
    assert not proposal.agrees((("aft", "+x"), ("right", "+z"), ("up", "+y")))


def test_the_same_proposal_twice(tug):
    first, second = (propose_axes(tug.vertices, tug.triangles) for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("vertices", "message"),
    [
        (np.zeros((3, 3)), "no believable size"),
        ([[0, 0, 0], [1, 0, 0], [2, 0, 0]], "no believable size"),
        ([[0, 0, 0], [1e308, 0, 0], [0, -1e308, 1e308]], "no believable size"),
        ([[0, 0, 0], [np.nan, 0, 0], [2, 0, 0]], "1 of 3 vertices are not finite"),
    ],
)
def test_surfaces_without_a_shape(vertices, message):
    with pytest.raises(SurfaceError, match=message):
        propose_axes(np.array(vertices, dtype=float), [[0, 1, 2]])


def test_unit_that_the_file_states_is_proposed():
    unit, reason = propose_unit(np.array([[0.0, 0, 0], [703.0, 1, 1]]), stated="cm")
    assert unit == "cm"
    assert reason == "the file states it (the surface is 703 long)"


def test_size_words_follow_the_axes():
    vertices = np.array([[0.0, 0, 0], [1000.0, 500.0, 3000.0], [9e9, 9e9, 9e9]])
    axes = (("aft", "-z"), ("right", "+y"), ("up", "+x"))
    triangles = [[0, 1, 0]]  # the third point is not used
    assert size_words(vertices, triangles, axes, "mm") == "3 m long, 0.5 m wide, 1 m high"
    assert size_words(vertices, triangles, axes, None) == "3000 long, 500 wide, 1000 high"


def test_case_that_states_nothing_is_stopped_with_the_lines_to_write(tug):
    vertices = 1000.0 * tug.vertices @ RIGHT_HANDED[8]
    with pytest.raises(SurfaceError) as caught:
        require_stated(vertices, tug.triangles, None, None, None)
    lines = str(caught.value).splitlines()
    assert lines[0] == "unit and axes of the mesh not stated"
    assert lines[1] == "  with them it is 7.03 m long, 1.048 m wide, 1.458 m high"
    assert lines[2] == "  unit: the surface is 7030 long"
    assert lines[-3:] == [
        "  if that is right, write into [surface]:",
        '  unit = "mm"',
        "  " + propose_axes(vertices, tug.triangles).case_line(),
    ]


def test_case_that_states_one_of_both(tug):
    axes = (("aft", "+x"), ("right", "+y"), ("up", "+z"))
    with pytest.raises(SurfaceError, match=r"^unit of the mesh not stated") as caught:
        require_stated(tug.vertices, tug.triangles, None, None, axes)
    assert "axes" not in str(caught.value)
    with pytest.raises(SurfaceError, match=r"^axes of the mesh not stated") as caught:
        require_stated(tug.vertices, tug.triangles, None, "m", None)
    assert "unit =" not in str(caught.value)
    with pytest.raises(SurfaceError, match='unit = "ft"'):
        require_stated(tug.vertices * 28 / 7.03, tug.triangles, None, None, axes)
    assert require_stated(tug.vertices, tug.triangles, None, "m", axes) is None
