"""What a case says of its surface: unit, axes, parts, closing, scan and panels."""

import numpy as np
import pytest

from panelcp.case.preparing import panels_of_case, prepare_case
from panelcp.case.reading import read_case
from panelcp.cli import main
from panelcp.errors import CaseError, SurfaceError
from panelcp.surface.intake import Closing, ScanOptions
from tests.cases import changed, write_case

AXES = 'axes = { aft = "+x", right = "+y", up = "+z" }'


def case_with(folder, *lines):
    """The small case with further lines behind [surface]."""
    text = changed(AXES, "\n".join([AXES, *lines]))
    return read_case(write_case(folder, text))


def test_defaults_change_nothing(tmp_path):
    intake = case_with(tmp_path).intake
    assert intake.scan is None
    assert intake.closings == ()
    assert intake.panels is None
    assert not intake.afterbody
    assert (intake.largest_hole, intake.widest_gap, intake.largest_opening) == (0.05, 0.025, 0.0)


def test_every_entry_arrives(tmp_path):
    intake = case_with(
        tmp_path,
        'keep = ["cowl*", "spinner"]',
        'drop = "screw*"',
        "drop_inside = true",
        "drop_small = true",
        "unite = true",
        'step_size = "20 mm"',
        'largest_hole = "80 mm"',
        'widest_gap = "1 in"',
        'largest_opening = "0.3 m"',
        "afterbody = true",
        'afterbody_length = "2.5 m"',
        "replace_wall = true",
        "panels = 5000",
        "[[closing]]",
        'name = "left inlet"',
        'place = ["10 mm", "-200 mm", "0 mm"]',
        'way = "inside"',
        'depth = "120 mm"',
        "[scan]",
        "tape_from = [0.0, 1.0, 2.0]",
        "tape_to = [3.0, 1.0, 2.0]",
        'taped_length = "3 m"',
        'centre_line = "points"',
        "centre_points = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]",
        'side = "left"',
        'smooth = "4 mm"',
    ).intake
    reading = intake.reading
    assert (reading.keep, reading.drop) == (("cowl*", "spinner"), ("screw*",))
    assert reading.drop_inside
    assert reading.drop_small
    assert reading.unite
    assert reading.step_size == pytest.approx(0.02)
    assert (intake.largest_hole, intake.widest_gap) == pytest.approx((0.08, 0.0254))
    assert (intake.largest_opening, intake.afterbody_length) == pytest.approx((0.3, 2.5))
    assert intake.afterbody
    assert intake.replace_wall
    assert intake.panels == 5000
    assert intake.closings == (Closing("left inlet", (0.01, -0.2, 0.0), "inside", 0.12),)
    assert intake.scan == ScanOptions(
        tape_from=(0.0, 1.0, 2.0),
        tape_to=(3.0, 1.0, 2.0),
        taped_length=3.0,
        centre_line="points",
        centre_points=((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
        side="left",
        smooth=0.004,
    )


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (["panels = -1"], r"surface.panels: -1 is not a whole number from 0"),
        (["keep = []"], r"surface.keep: the list is empty"),
        (['largest_hole = "-5 mm"'], r"surface.largest_hole: '-5 mm' is too small"),
        (["[scan]", 'taped_length = "1 m"'], r"scan: tape_from, tape_to and taped_length belong"),
        (["[scan]", "level_from = [0, 0, 0]"], r"scan: level_from and level_to belong together"),
        (["[scan]", 'centre_line = "points"'], r"scan: centre_points belong to centre_line"),
        (["[scan]", 'centre_line = "edges"'], r"did you mean 'edge'"),
        (["[scan]", "centre_points = 3"], r"scan.centre_points: 3 is not a list"),
        (["[[closing]]", 'name = "a"'], r"closing\[1\]: place is missing"),
        (
            ["[[closing]]", 'name = "a"', 'place = ["0 m", "0 m", "0 m"]', "direction = [0, 0, 0]"],
            r"closing\[1\]: closing a: the direction is zero",
        ),
        (
            ["[[closing]]", 'name = "a"', 'place = ["0 m", "0 m", "0 m"]'] * 2,
            r"closing\[2\].name: 'a' is already the name of number 1",
        ),
    ],
)
def test_mistakes_are_named(tmp_path, lines, message):
    with pytest.raises(CaseError, match=message):
        case_with(tmp_path, *lines)


@pytest.mark.parametrize(
    ("gone", "missing", "proposed"),
    [
        (f"{AXES}\n", "axes of the mesh not stated", "axes = { "),
        ('unit = "m"\n', "unit of the mesh not stated", 'unit = "m"'),
        (f'unit = "m"\n{AXES}\n', "unit and axes of the mesh not stated", 'unit = "m"'),
    ],
    ids=["axes", "unit", "both"],
)
def test_missing_unit_or_axes_stop_with_a_proposal(tmp_path, capsys, gone, missing, proposed):
    text = changed('part = "whole"\n' + AXES, AXES + '\npart = "whole"')
    assert gone in text
    path = write_case(tmp_path, text.replace(gone, ""))
    assert main(["run", str(path), "--quiet"]) == 2
    told = capsys.readouterr().err
    assert missing in told
    assert "4 m long, 1 m wide, 1 m high" in told
    assert f"\n  {proposed}" in told
    assert not (tmp_path / "results").exists()


def test_panels_are_made_anew_with_the_openings_in_them(tmp_path):
    case = case_with(tmp_path, "panels = 1500")
    prepared = prepare_case(case)
    surface = prepared.surface
    assert surface.mirrored
    assert surface.n_solved == pytest.approx(1500, rel=0.1)
    assert any(
        note == "panelled anew because 1500 panels on one half are asked for"
        for note in surface.notes
    )
    nose = next(opening for opening in prepared.openings if opening.name == "nose")
    middles = 0.5 * (surface.corners + np.roll(surface.corners, -1, axis=1)).reshape(-1, 3)
    for point in nose.outline:
        near = np.linalg.norm(surface.vertices - point, axis=1).min()
        near = min(near, np.linalg.norm(middles - point, axis=1).min())
        assert near < 0.012, "panel edges follow the outline"


def test_triangles_that_are_fit_stay_as_they_are(tmp_path):
    kept = panels_of_case(case_with(tmp_path / "a"))
    asked = panels_of_case(case_with(tmp_path / "b", "panels = 0"))
    assert np.array_equal(kept.vertices, asked.vertices)
    assert np.array_equal(kept.triangles, asked.triangles)
    assert not any("anew" in note for note in kept.notes)


def test_a_file_that_cannot_be_closed_names_file_place_and_entries(tmp_path):
    path = write_case(tmp_path)
    cut_rear(tmp_path / "body.stl")
    with pytest.raises(SurfaceError, match=r"body.stl: surface is not closed.*afterbody = true"):
        prepare_case(read_case(path))
    path.write_text(changed(AXES, f"{AXES}\nafterbody = true"), encoding="utf-8")
    surface = prepare_case(read_case(path)).surface
    assert surface.bounds[1, 0] > 2.0
    assert any("afterbody added" in note for note in surface.notes)


def cut_rear(path):
    """Leave out what lies behind x = 1 m."""
    import trimesh

    mesh = trimesh.load(path, process=True)
    keep = mesh.triangles_center[:, 0] < 1.0
    trimesh.Trimesh(mesh.vertices, mesh.faces[keep], process=False).export(path)
