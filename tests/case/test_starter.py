"""The starter case of a mesh is a case that can be checked and run."""

import numpy as np
import pytest

from panelcp.case.reading import read_case
from panelcp.case.running import prepare_case
from panelcp.case.starter import write_starter_case
from panelcp.errors import CaseError, SurfaceError
from tests import bodies
from tests.cases import write_body, write_mesh


def half_body(left: bool):
    """Right or left half of an ellipsoid 4 m by 1 m by 1 m."""
    vertices, triangles = bodies.half_ellipsoid((2.0, 0.5, 0.5), 3)
    return (vertices * [1, -1, 1], triangles[:, ::-1]) if left else (vertices, triangles)


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply"])
def test_starter_is_accepted(tmp_path, suffix):
    write_body(tmp_path / f"body{suffix}")
    path, unit = write_starter_case(tmp_path / f"body{suffix}")
    assert (path, unit) == (tmp_path / "body.toml", "m")
    case = read_case(path)
    assert case.surface_path == tmp_path / f"body{suffix}"
    assert case.reading.part == "whole"
    prepared = prepare_case(case)
    nose = prepared.openings[0].centre
    assert nose == pytest.approx([-2.0, 0.0, 0.0], abs=1e-3)
    assert {found.region.name for found in prepared.searches} == {"top", "bottom"}


@pytest.mark.parametrize("part", ["right half", "left half"])
def test_starter_of_a_half_names_the_half(tmp_path, part):
    write_mesh(tmp_path / "half.stl", *half_body(part == "left half"))
    case = read_case(write_starter_case(tmp_path / "half.stl")[0])
    assert case.reading.part == part
    prepared = prepare_case(case)
    assert prepared.surface.mirrored
    assert prepared.surface.bounds[:, 1] == pytest.approx([-0.5, 0.5])


def test_file_of_other_folder_is_named_from_the_case(tmp_path):
    mesh = tmp_path / "meshes" / 'naïve "body" ü.stl'
    mesh.parent.mkdir()
    write_body(mesh)
    (tmp_path / "cases").mkdir()
    path, _ = write_starter_case(mesh, output=tmp_path / "cases" / "a.toml")
    assert "\\\\" not in path.read_text(encoding="utf-8")
    case = read_case(path)
    assert case.name == 'naïve "body" ü'
    assert case.surface_path.samefile(mesh)


def test_unit_is_proposed_from_the_size_or_asked_for(tmp_path):
    vertices, triangles = bodies.icosphere(2)
    write_mesh(tmp_path / "mm.stl", vertices * np.array([2000.0, 500.0, 500.0]), triangles)
    assert write_starter_case(tmp_path / "mm.stl")[1] == "mm"
    write_mesh(tmp_path / "odd.stl", vertices * np.array([14.0, 4.0, 4.0]), triangles)
    with pytest.raises(SurfaceError, match=r"28 long: no usual length unit fits .* with --unit"):
        write_starter_case(tmp_path / "odd.stl")
    assert not (tmp_path / "odd.toml").exists()
    assert write_starter_case(tmp_path / "odd.stl", unit="ft")[1] == "ft"
    prepare_case(read_case(tmp_path / "odd.toml"))


def test_nothing_is_overwritten(tmp_path):
    write_body(tmp_path / "body.stl")
    (tmp_path / "body.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(CaseError, match=r"body\.toml exists already; give another name"):
        write_starter_case(tmp_path / "body.stl")
    assert (tmp_path / "body.toml").read_text(encoding="utf-8") == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["body.stl", "body.toml"]


def test_folder_that_does_not_exist(tmp_path):
    write_body(tmp_path / "body.stl")
    with pytest.raises(CaseError, match=r"a\.toml: cannot be written \(No such file"):
        write_starter_case(tmp_path / "body.stl", output=tmp_path / "none" / "a.toml")
