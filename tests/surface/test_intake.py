"""From files as they come, and from scans, to surfaces that the solver takes."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from panelcp.errors import SurfaceError
from panelcp.surface.checking import check_surface, least_angles
from panelcp.surface.crossings import meeting_pairs
from panelcp.surface.intake import (
    Closing,
    IntakeOptions,
    ScanOptions,
    read_surface,
    surface_from_triangles,
    with_fit_panels,
)
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.panelling_folds import without_folds
from panelcp.surface.reading import ReadingOptions
from tests import bodies
from tests.cases import write_mesh
from tests.exact import onto_ellipsoid

AXES = (2.0, 0.5, 0.4)


@pytest.fixture(scope="module")
def whole():
    return bodies.ellipsoid(AXES, 4)


def without(surface, gone):
    return surface.vertices, surface.triangles[~gone(surface.centroids)]


def test_clean_surface_is_left_alone(whole):
    found = surface_from_triangles(whole.vertices, whole.triangles)
    assert np.array_equal(found.vertices, whole.vertices)
    assert np.array_equal(found.triangles, whole.triangles)
    assert found.notes == ("read 5120 triangles, length unit m",)
    assert with_fit_panels(found, IntakeOptions()) is found


def test_open_rear_gets_an_afterbody_when_asked(whole):
    vertices, triangles = without(whole, lambda p: p[:, 0] > 0.8)
    with pytest.raises(SurfaceError, match=r"the rear end is missing.*afterbody = true"):
        surface_from_triangles(vertices, triangles)
    options = IntakeOptions(afterbody=True, afterbody_length=1.5)
    closed = surface_from_triangles(vertices, triangles, options)
    assert closed.bounds[1, 0] == pytest.approx(0.8 + 1.5, abs=0.15)
    assert any(note.startswith("afterbody added: 1.500 m long") for note in closed.notes)


def test_named_openings_are_closed_flush(whole):
    centre = onto_ellipsoid(AXES, np.array([[-1.0, 0.1, 0.4]]))[0]
    gone = lambda p: np.linalg.norm(p - centre, axis=1) < 0.12  # noqa: E731
    vertices, triangles = without(whole, gone)
    with pytest.raises(SurfaceError, match=r"1 hole stays open: \d+ mm at STA"):
        surface_from_triangles(vertices, triangles)
    for options in (
        IntakeOptions(closings=(Closing("vent", tuple(centre)),)),
        IntakeOptions(largest_opening=0.5),
        IntakeOptions(largest_hole=0.5),
    ):
        closed = surface_from_triangles(vertices, triangles, options)
        assert closed.volume == pytest.approx(whole.volume, rel=1e-3)
    with pytest.raises(SurfaceError):
        surface_from_triangles(
            vertices, triangles, IntakeOptions(closings=(Closing("no", (1.0, 0.0, -0.4)),))
        )


def test_too_thin_or_too_many_triangles_are_panelled_anew(tmp_path):
    fine = bodies.ellipsoid(AXES, 4)
    write_mesh(tmp_path / "fine.stl", fine.vertices, fine.triangles)
    surface = read_surface(tmp_path / "fine.stl", panels=500)
    assert surface.mirrored
    assert surface.n_solved == pytest.approx(500, rel=0.05)
    assert least_angles(surface).min() > 20.0
    assert "panelled anew because 500 panels on one half are asked for" in surface.notes
    kept = read_surface(tmp_path / "fine.stl", panels=0)
    assert kept.n_panels == 5120
    thin = bodies.ellipsoid((40.0, 0.5, 0.4), 3)
    anew = with_fit_panels(thin, IntakeOptions(panels=None))
    assert any("have an angle under 10 deg" in note for note in anew.notes)


# the strip beyond the centre line must show enough points
@pytest.mark.parametrize(
    ("centre_line", "divisions"), [("edge", 6), ("both sides", 5), ("points", 5)]
)
def test_a_rough_turned_scan_becomes_the_body_again(centre_line, divisions):
    # invented: noise 1 mm, turned by 20 deg, scale 1 % wrong, a hole, a patch inside out
    random = np.random.default_rng(5)
    fine = bodies.ellipsoid(AXES, divisions)
    beyond = 1.0 if centre_line == "both sides" else 0.03
    middle = fine.centroids
    kept = middle[:, 1] > -beyond
    kept &= np.linalg.norm(middle - [-0.5, 0.48, 0.0], axis=1) > 0.012
    triangles = fine.triangles[kept]
    turned = np.linalg.norm(middle[kept] - [0.5, 0.4, 0.2], axis=1) < 0.2
    triangles[turned] = triangles[turned][:, ::-1]
    turn = Rotation.from_euler("zx", [20.0, 8.0], degrees=True).as_matrix()

    def in_scan(points):
        return 1.01 * (np.asarray(points) @ turn.T + [0.3, -0.2, 0.1])

    # fuller behind and above, so that it has one plane of symmetry only
    fuller = [1.3, 1.0, 1.4]
    true = np.where(fine.vertices > 0.0, fine.vertices * fuller, fine.vertices)
    points = in_scan(true + 0.001 * random.normal(size=fine.vertices.shape))
    tape = in_scan([[-2.0, 0.0, 0.0], [2.6, 0.0, 0.0]])
    marks = in_scan([[-1.0, 0.0, 0.3], [1.0, 0.0, 0.35], [0.0, 0.0, -0.4], [-2.0, 0.0, 0.0]])
    level = in_scan([[-1.0, 0.2, 0.0], [1.0, 0.1, 0.0]])
    scan = ScanOptions(
        tape_from=tuple(tape[0]),
        tape_to=tuple(tape[1]),
        taped_length=4.6,
        centre_line=centre_line,
        centre_points=tuple(map(tuple, marks)) if centre_line == "points" else (),
        beyond=0.03 if centre_line == "edge" else 0.0,
        level_from=tuple(level[0]),
        level_to=tuple(level[1]),
    )
    datum = tuple(in_scan([[0.0, 0.0, 0.0]])[0])
    options = IntakeOptions(ReadingOptions(datum=datum), scan=scan, panels=1500)
    surface = with_fit_panels(surface_from_triangles(points, triangles, options), options)
    check_surface(surface)
    assert surface.mirrored
    points = np.where(surface.vertices > 0.0, surface.vertices / fuller, surface.vertices)
    away = np.linalg.norm(points - onto_ellipsoid(AXES, points), axis=1)
    assert np.sqrt(np.mean(away**2)) < 0.0015
    assert surface.size == pytest.approx([4.6, 1.0, 0.96], abs=0.012)
    told = "\n".join(surface.notes)
    for words in (
        "scan scaled by 0.99",
        "plane of symmetry from",
        "smoothed: noise",
        "turned over",
    ):
        assert words in told


def test_folds_are_smoothed_out_and_the_rest_stays(whole):
    vertices = whole.vertices.copy()
    place = np.argsort(np.linalg.norm(vertices - [-0.5, 0.3, 0.3], axis=1))[:6]
    vertices[place[:3]] += [0.0, -0.9, -0.8]
    assert len(meeting_pairs(vertices, whole.triangles)[0]) > 0
    moved, (note,) = without_folds(vertices, whole.triangles, np.zeros(len(vertices), dtype=bool))
    assert len(meeting_pairs(moved, whole.triangles)[0]) == 0
    far = np.abs(vertices[:, 0] + 0.5) > 1.2
    assert np.count_nonzero(far) > 500
    assert np.array_equal(moved[far], vertices[far])
    assert "small folds smoothed out of the panels" in note
    same, notes = without_folds(
        whole.vertices, whole.triangles, np.zeros(len(vertices), dtype=bool)
    )
    assert same is whole.vertices
    assert notes == []


def test_a_scan_of_which_the_trim_leaves_nothing_is_refused():
    # a narrow strip beside the centre line, which ends nowhere near it
    x, y = (part.ravel() for part in np.meshgrid(np.linspace(0, 2, 9), [0.011, 0.013]))
    vertices = np.stack([x, y, 0.2 * np.sin(x)], axis=1)
    triangles = np.array([[k, k + 1, k + 10] for k in range(8)])
    with pytest.raises(SurfaceError, match="nothing of the scan is left beside BL 0"):
        surface_from_triangles(vertices, triangles, IntakeOptions(scan=ScanOptions(smooth=0.0)))


def test_triangles_of_a_scan_that_are_kept_must_not_cross(whole):
    vertices = whole.vertices.copy()
    place = np.argsort(np.linalg.norm(vertices - [-0.5, 0.3, 0.3], axis=1))[:3]
    vertices[place] += [0.0, -0.9, -0.8]
    crossed = SurfaceMesh(vertices, whole.triangles)
    scan = ScanOptions()
    with pytest.raises(SurfaceError, match="the skin passes through itself"):
        with_fit_panels(crossed, IntakeOptions(scan=scan, panels=0))
    assert with_fit_panels(whole, IntakeOptions(scan=scan, panels=0)) is whole


def test_a_closed_scan_beside_the_centre_line_is_refused(whole):
    aside = whole.translated([0.0, 0.7, 0.0]).vertices
    with pytest.raises(SurfaceError, match="it is closed there: mirrored it would be two bodies"):
        surface_from_triangles(aside, whole.triangles, IntakeOptions(scan=ScanOptions(smooth=0.0)))


def test_a_closing_where_the_skin_is_closed_is_refused_with_what_to_do():
    egg = bodies.egg(3)
    options = IntakeOptions(closings=(Closing("inlet", (-2.0, 0.0, 0.0)),))
    words = r"inlet: no open edge near STA .*the skin is closed all round\. Leave this closing out"
    with pytest.raises(SurfaceError, match=words):
        surface_from_triangles(egg.vertices, egg.triangles, options)


def test_parts_are_listed_where_a_loose_sheet_is_open(tmp_path):
    egg = bodies.egg(3)
    over = egg.triangles[egg.centroids[:, 2] > 0.4]
    vertices = np.vstack([egg.vertices, egg.vertices + np.array([0.0, 0.0, 0.05])])
    write_mesh(tmp_path / "sheet.stl", vertices, np.vstack([egg.triangles, over + egg.n_vertices]))
    with pytest.raises(SurfaceError, match="a sheet that hangs on nothing") as told:
        read_surface(tmp_path / "sheet.stl")
    assert "2 unconnected parts in the file:\n  part 1: 1280 triangles" in str(told.value)


def test_panels_that_cross_are_refused_under_the_name_of_the_file(tmp_path, monkeypatch):
    from panelcp.surface import intake

    egg = bodies.egg(3)
    through = bodies.together(egg, egg.translated([0.3, 0.2, 0.1]))
    monkeypatch.setattr(intake, "panelled", lambda *_, **__: through)
    write_mesh(tmp_path / "egg.stl", egg.vertices, egg.triangles)
    with pytest.raises(SurfaceError, match=r"^egg\.stl: the skin passes through itself"):
        read_surface(tmp_path / "egg.stl", panels=500)
