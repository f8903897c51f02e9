"""The starter case of a mesh is a case that can be checked and run."""

import re

import numpy as np
import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.report_table import REPORT, ReportSettings
from panelcp.case.starter import exit_place, inlet_place, write_starter_case
from panelcp.cooling.installation import BAY, Friction
from panelcp.errors import CaseError, SurfaceError
from tests import bodies
from tests.cases import write_body, write_mesh


def half_body(left: bool):
    """Right or left half of an ellipsoid 4 m by 1 m by 1 m."""
    vertices, triangles = bodies.half_ellipsoid((2.0, 0.5, 0.5), 3)
    return (vertices * [1, -1, 1], triangles[:, ::-1]) if left else (vertices, triangles)


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply"])
def test_starter_is_accepted(tmp_path, suffix):
    write_body(tmp_path / f"body{suffix}", level=3)
    path, unit = write_starter_case(tmp_path / f"body{suffix}")
    assert (path, unit) == (tmp_path / "body.toml", "m")
    case = read_case(path)
    assert case.surface_path == tmp_path / f"body{suffix}"
    assert case.intake.reading.part == "whole"
    prepared = prepare_case(case)
    (inlet,) = prepared.openings
    assert inlet.normal[0] < -0.55
    # below the nose point at WL 0, by more than its own size of 100 mm
    assert inlet.centre[0] < -1.2
    assert inlet.centre[1] == pytest.approx(0.0, abs=1e-3)
    assert inlet.centre[2] < -0.1
    assert {found.region.name for found in prepared.searches} == {"top", "bottom"}


@pytest.mark.parametrize("part", ["right half", "left half"])
def test_starter_of_a_half_names_the_half(tmp_path, part):
    write_mesh(tmp_path / "half.stl", *half_body(part == "left half"))
    case = read_case(write_starter_case(tmp_path / "half.stl")[0])
    assert case.intake.reading.part == part
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
    with pytest.raises(SurfaceError, match=r"28 long: no usual length unit .* give --unit ft$"):
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


def test_placeholders_are_called_so(tmp_path):
    write_body(tmp_path / "body.stl")
    case = read_case(write_starter_case(tmp_path / "body.stl")[0])
    assert case.needed.reference.mark == "memory"
    assert "placeholder" in case.needed.reference.source
    text = case.path.read_text(encoding="utf-8")
    assert text.lower().count("placeholder") == 5
    assert case.surroundings.propeller is None


def test_propeller_wing_and_ground_are_ready_to_be_filled_in(tmp_path):
    write_body(tmp_path / "body.stl")
    path = write_starter_case(tmp_path / "body.stl")[0]
    text = path.read_text(encoding="utf-8")
    start, end = text.index("# rated_power"), text.index("[[condition]]")
    lines = text[start:end].split("\n")
    opened = [line.removeprefix("# ") for line in lines if "Without a propeller" not in line]
    path.write_text(text[:start] + "\n".join(opened) + text[end:], encoding="utf-8")
    case = read_case(path)
    assert case.surroundings.propeller.rotation == "clockwise"
    assert case.surroundings.wing.span == 9.0
    assert [condition.height for condition in case.conditions if condition.on_ground] == [1.1, 1.1]
    assert case.usual == ("run-up, full power", "taxi, tail wind", "go-around")


def with_cooling(path, last="[[duct]]"):
    """The case with its cooling tables uncommented, up to one of them."""
    text = path.read_text(encoding="utf-8")
    start = text.index("# Enough air through every core?")
    end = text.index(f"# {last}", start) if last else len(text)
    opened = re.sub(r"(?m)^# (?=[\[\] ]|[a-z_]+ = )", "", text[start:end])
    path.write_text(text[:start] + opened + text[end:], encoding="utf-8")
    return opened


def test_cooling_tables_are_ready_to_be_filled_in(tmp_path):
    write_body(tmp_path / "body.stl", level=3)
    path = write_starter_case(tmp_path / "body.stl")[0]
    assert read_case(path).installation is None
    with_cooling(path)
    case = read_case(path)
    parts = case.installation
    assert [(port.name, port.use) for port in parts.ports] == [("inlet", "inlet"), ("exit", "exit")]
    (core,) = parts.cores
    assert (core.name, core.start, core.end) == ("radiator", "radiator", BAY)
    assert core.heat[0] == pytest.approx(45e3)  # full power
    assert core.limit.value == pytest.approx(273.15 + 115.0)
    assert [duct.name for duct in parts.ducts] == ["duct to radiator"]
    prepared = prepare_case(case)
    assert prepared.openings[1].normal[2] < -0.7


def test_own_ducts_fan_and_leak_are_ready_to_be_filled_in(tmp_path):
    write_body(tmp_path / "body.stl")
    path = write_starter_case(tmp_path / "body.stl")[0]
    opened = with_cooling(path, last="")
    with pytest.raises(
        CaseError, match=r'"one inlet, one core" makes its own ducts: leave \[\[duct'
    ):
        read_case(path)
    plain = re.sub(r"(?m)^arrangement = .*\n", "", path.read_text(encoding="utf-8"))
    path.write_text(plain, encoding="utf-8")
    parts = read_case(path).installation
    (duct,), (fan,), (leak,) = parts.ducts, parts.fans, parts.leaks
    assert (duct.start, duct.end) == ("inlet", "radiator")
    assert isinstance(duct.parts[0], Friction)
    assert (fan.start, fan.end) == ("fan duct", BAY)
    assert not fan.speed.any()  # no condition on the ground
    assert (leak.start, leak.end) == ("radiator", BAY)
    assert {line.split(" = ")[0] for line in opened.split("\n") if " = " in line} >= {
        "cap_pressure", "thermostat", "drop_test", "lip_radius", "doors",
    }  # fmt: skip


def test_exit_is_near_the_lowest_of_its_station():
    body = bodies.ellipsoid((2.0, 0.5, 0.5), 3)
    place = exit_place(body, -1.0)
    assert place == pytest.approx([-1.0, 0.0, -0.433], abs=0.05)


def test_search_boxes_end_ahead_of_the_windshield(tmp_path):
    write_body(tmp_path / "body.stl")
    case = read_case(write_starter_case(tmp_path / "body.stl")[0])
    top, bottom = (entry.region for entry in case.searches)
    # 4 m long from STA -2000
    assert (top.low[0], top.high[0]) == pytest.approx((-1.6, -1.12))
    assert (bottom.low[0], bottom.high[0]) == pytest.approx((-1.6, -0.8))


@pytest.mark.parametrize("part", ["whole", "left half"])
def test_axes_are_used_and_written(tmp_path, part):
    vertices, triangles = bodies.half_ellipsoid((2.0, 0.5, 0.4), 3)
    if part == "whole":
        surface = bodies.mirrored_ellipsoid((2.0, 0.5, 0.4), 3)
        vertices, triangles = surface.vertices, surface.triangles
    else:
        vertices, triangles = vertices * [1, -1, 1], triangles[:, ::-1]
    # the file's own axes: x right, y up, z forward
    in_file = np.stack([vertices[:, 1], vertices[:, 2], -vertices[:, 0]], axis=1)
    write_mesh(tmp_path / "body.stl", in_file, triangles[:, ::-1])
    with pytest.raises(SurfaceError, match="--axes"):
        write_starter_case(tmp_path / "body.stl")
    case = read_case(write_starter_case(tmp_path / "body.stl", axes="-z,+x,+y")[0])
    assert case.intake.reading.axes == (("aft", "-z"), ("right", "+x"), ("up", "+y"))
    assert case.intake.reading.part == part
    assert prepare_case(case).surface.size == pytest.approx([4.0, 1.0, 0.8], abs=1e-6)


def test_inlet_of_a_body_without_a_face_is_at_the_nose():
    needle = bodies.ellipsoid((3.0, 0.05, 0.05), 2)
    assert inlet_place(needle, 0.1) == pytest.approx([-3.0, 0.0, 0.0], abs=1e-9)


def test_inlet_is_where_a_round_hole_fits():
    # the lowest forward panels lie at the edge of the face, where a hole hangs over
    brick = bodies.box((2.0, 1.0, 0.8), (10, 10, 8))
    place = inlet_place(brick, 0.2)
    assert place[:2] == pytest.approx([-1.0, 0.0])
    assert -0.4 + 0.1 < place[2] < -0.1


def test_case_in_place_of_a_mesh(tmp_path):
    write_body(tmp_path / "body.stl")
    path, _ = write_starter_case(tmp_path / "body.stl")
    with pytest.raises(CaseError, match=r"body\.toml: is a case, not a mesh; .*'panelcp check'"):
        write_starter_case(path)


def test_the_look_of_the_results_is_ready_to_be_changed(tmp_path):
    write_body(tmp_path / "body.stl")
    path = write_starter_case(tmp_path / "body.stl")[0]
    assert read_case(path).report == ReportSettings()
    text = path.read_text(encoding="utf-8")
    start = text.index("# [report]")
    opened = re.sub(r"(?m)^# ", "", text[start:])
    path.write_text(text[:start] + opened, encoding="utf-8")
    found = read_case(path).report
    assert (found.same_limits, found.grey_print, found.date) == (False, True, "2026-05-01")
    keys = {line.split(" = ")[0] for line in opened.split("\n") if " = " in line}
    assert keys == set(REPORT) - {"last_station", "compressibility"}
    assert prepare_case(read_case(path)).case.report.section_stations
