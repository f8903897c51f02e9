"""Station tables: reading, refusing, lofting against exact surfaces."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from panelcp.errors import SurfaceError
from panelcp.surface._rings import turned_edges
from panelcp.surface.stations import StationTable, loft_stations, read_stations

SEMI_AXES = np.array([1.5, 1.0, 0.5])
TEXT = """station,x_mm,y_mm,z_mm
nose,0,0,0
a,500,0,-300
a,500,400,0
a,500,0,300
b,1000,0,-310
b,1000,410,0
b,1000,0,310
tail,1500,0,0
"""


def ellipsoid_table(n_stations=17, n_points=13, keep=slice(None)):
    sections = []
    for angle in np.linspace(0.0, np.pi, n_stations)[keep]:
        round_ = np.linspace(0.0, np.pi, n_points)
        unit = np.stack(
            [
                np.full(n_points, -np.cos(angle)),
                np.sin(angle) * np.sin(round_),
                -np.sin(angle) * np.cos(round_),
            ],
            axis=1,
        )
        unit[[0, -1], 1] = 0.0
        sections.append(unit * SEMI_AXES if 1e-9 < angle < np.pi - 1e-9 else unit[:1] * [1.5, 0, 0])
    return StationTable([str(i) for i in range(len(sections))], sections)


def ellipsoid_area():
    a, b, c = SEMI_AXES

    def element(theta, phi):
        normal = [
            b * c * np.sin(theta) ** 2 * np.cos(phi),
            a * c * np.sin(theta) ** 2 * np.sin(phi),
            a * b * np.sin(theta) * np.cos(theta),
        ]
        return np.linalg.norm(normal)

    return 8.0 * dblquad(element, 0.0, np.pi / 2, 0.0, np.pi / 2)[0]


def least_angles(surface):
    corners = surface.corners
    along = np.roll(corners, -1, axis=1) - corners
    back = np.roll(corners, 1, axis=1) - corners
    cosine = (along * back).sum(-1) / np.linalg.norm(along, axis=-1) / np.linalg.norm(back, axis=-1)
    return np.degrees(np.arccos(cosine)).min(axis=1)


def assert_sound(surface):
    """Closed, manifold, one winding, outward, mirrored."""
    assert (surface.edge_neighbours >= 0).all()
    edges = np.concatenate([surface.triangles[:, [i, (i + 1) % 3]] for i in range(3)])
    assert len(np.unique(edges, axis=0)) == len(edges)  # each direction of an edge once
    assert surface.n_vertices - len(edges) // 2 + surface.n_panels == 2  # one sphere
    assert len(np.unique(surface.triangles)) == surface.n_vertices
    assert surface.volume > 0
    assert surface.mirrored
    half = surface.n_panels // 2
    assert (surface.corners[:half, :, 1] >= 0).all()


@pytest.fixture(scope="module")
def series():
    """Lofts of the ellipsoid: stations and panels refined together."""
    steps = [(9, 7, 0.2), (17, 13, 0.1), (33, 25, 0.05)]
    return [loft_stations(ellipsoid_table(n, m), length, aft=1.0) for n, m, length in steps]


def test_ellipsoid_is_sound(series):
    for surface in series:
        assert_sound(surface)


def test_ellipsoid_normals_are_those_of_the_exact_surface(series):
    """Within 0.14 rad on the finest: the surface turns by about 0.05 / 0.17 rad per panel."""
    surface = series[-1]
    exact = surface.centroids / SEMI_AXES**2
    exact /= np.linalg.norm(exact, axis=1)[:, None]
    cosine = (exact * surface.normals).sum(axis=1)
    assert np.arccos(np.clip(cosine, -1, 1)).max() < 0.14
    assert np.arccos(np.clip(cosine, -1, 1)).mean() < 0.02


def test_ellipsoid_vertices_approach_the_exact_surface(series):
    """Cubic curves through half the spacing: at least eight times nearer each time."""
    off = [np.abs(np.linalg.norm(s.vertices / SEMI_AXES, axis=1) - 1).max() for s in series]
    assert off[0] < 0.01
    assert off[0] / off[1] > 8
    assert off[1] / off[2] > 8


def test_ellipsoid_volume_and_area_converge_with_panel_count(series):
    """Flat panels: errors fall as one over the number of panels, here within a third of it."""
    volume, area = 4 / 3 * np.pi * SEMI_AXES.prod(), ellipsoid_area()
    panels = np.array([s.n_panels for s in series])
    for values, exact in (([s.volume for s in series], volume), ([s.area for s in series], area)):
        errors = 1 - np.array(values) / exact
        assert (errors > 0).all()
        assert errors[-1] < 0.002
        scaled = errors * panels
        np.testing.assert_allclose(scaled, scaled.mean(), rtol=0.35)


def test_triangles_have_good_shape(series):
    for surface in series:
        angles = least_angles(surface)
        assert angles.min() > 15
        assert np.percentile(angles, 5) > 25
    assert np.median(least_angles(series[-1])) > 40


def test_panels_are_finer_at_tips_and_coarser_aft():
    surface = loft_stations(ellipsoid_table(), 0.1, finest=0.3, aft=2.0)
    x, size = surface.centroids[:, 0], np.sqrt(surface.areas)
    forward, aft = (x > -0.9) & (x < -0.5), (x > 0.5) & (x < 0.9)
    assert size[aft].mean() > 1.5 * size[forward].mean()
    assert size[x < -1.48].mean() < 0.5 * size[forward].mean()


def test_cylinder_between_flat_faces_is_exact():
    """Equal sections: a prism whose volume and area are those of its polygon, faces named."""
    angle = np.linspace(0, np.pi, 25)
    circle = np.stack([np.sin(angle), -np.cos(angle)], axis=1)
    circle[[0, -1], 0] = 0.0
    sections = [np.column_stack([np.full(25, x), circle]) for x in (0.0, 1.0, 2.5)]
    surface = loft_stations(StationTable("abc", sections), 0.1, aft=1.0)
    assert_sound(surface)
    assert surface.region_names == ("unnamed", "front face", "rear face")
    front, rear = surface.region("front face"), surface.region("rear face")
    np.testing.assert_allclose(surface.normals[front], [[-1, 0, 0]] * front.sum(), atol=1e-9)
    np.testing.assert_allclose(surface.normals[rear], [[1, 0, 0]] * rear.sum(), atol=1e-9)
    assert surface.areas[front].sum() == pytest.approx(np.pi, rel=0.005)
    assert surface.volume == pytest.approx(2.5 * np.pi, rel=0.005)
    assert least_angles(surface).min() > 15


def test_section_corners_stay_sharp():
    """A box with marked corners: flat sides, exact volume of the prism 1 x 0.5 x 3."""
    box = np.array([[0, 0, -0.25], [0, 0.5, -0.25], [0, 0.5, 0.25], [0, 0, 0.25]])
    sections = [box + np.array([x, 0, 0]) for x in (0.0, 1.0, 3.0)]
    corner = [False, True, True, False]
    surface = loft_stations(StationTable("abc", sections, [corner] * 3), 0.1, aft=1.0)
    assert_sound(surface)
    assert surface.volume == pytest.approx(1.5, rel=1e-9)
    assert surface.area == pytest.approx(2 * (0.5 + 3 + 1.5), rel=1e-9)


def test_edge_all_round_stays_sharp():
    """Cylinder with a cone before it: the ring of vertices lies on the edge, nothing rounded."""
    angle = np.linspace(0, np.pi, 25)
    circle = np.stack([0 * angle, np.sin(angle), -np.cos(angle)], axis=1)
    circle[[0, -1], 1] = 0.0
    scales = [(0.5, 0.5), (1.0, 1.0), (2.0, 1.0), (3.0, 1.0)]
    sections = [[[0, 0, 0]]] + [circle * s + [x, 0, 0] for x, s in scales]
    table = StationTable("abcde", sections, edges=[False, False, True, False, False])
    sharp = [[True]] + [[False] * 25] * 4
    table = StationTable("abcde", sections, sharp, table.edges)
    surface = loft_stations(table, 0.1, aft=1.0)
    assert_sound(surface)
    x = surface.vertices[:, 0]
    radius = np.hypot(surface.vertices[:, 1], surface.vertices[:, 2])
    np.testing.assert_allclose(radius[x < 1], x[x < 1], atol=3e-4)  # splines of the circle
    np.testing.assert_allclose(radius[(x > 1) & (x < 3)], 1.0, atol=3e-4)
    assert np.count_nonzero(np.abs(x - 1.0) < 1e-12) >= 12


def test_lengthwise_curves_do_not_overshoot():
    """A step in width between straight parts: nothing wider or narrower than the stations."""
    angle = np.linspace(0, np.pi, 17)
    circle = np.stack([0 * angle, np.sin(angle), -np.cos(angle)], axis=1)
    circle[[0, -1], 1] = 0.0
    places = [(0.0, 0.3), (0.5, 0.3), (1.0, 0.3), (1.1, 0.6), (1.6, 0.6), (2.2, 0.6)]
    sections = [circle * r + [x, 0, 0] for x, r in places]
    surface = loft_stations(StationTable("abcdef", sections), 0.05, aft=1.0)
    x = surface.vertices[:, 0]
    skin = (x > 1e-9) & (x < 2.2 - 1e-9)
    radius = np.hypot(surface.vertices[:, 1], surface.vertices[:, 2])[skin]
    assert radius.min() > 0.3 * 0.999
    assert radius.max() < 0.6 * 1.001
    np.testing.assert_allclose(radius[x[skin] < 1.0 - 1e-9], 0.3, rtol=1e-3)


def test_unmarked_tips_are_rounded():
    """The round nose of the ellipsoid is met better than by curves that stop at the tip."""
    table = ellipsoid_table(9)
    sharp = [np.full(len(section), i == 0) for i, section in enumerate(table.sections)]
    off = []
    for corners in (table.corners, sharp):
        surface = loft_stations(StationTable(table.names, table.sections, corners), 0.1)
        near = surface.vertices[surface.vertices[:, 0] < -1.4]
        off.append(np.abs(np.linalg.norm(near / SEMI_AXES, axis=1) - 1).max())
    assert off[0] < 0.6 * off[1]


def test_no_edge_is_made_twice():
    """Every diagonal of a tetrahedron is an edge already, however bad its triangles are."""
    points = np.array([[-2.0, 0, 0], [2, 0, 0], [0, 0.5, 0.01], [0, -0.5, 0.01]])
    triangles = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    turned = turned_edges(points, triangles, np.zeros(4))
    np.testing.assert_array_equal(turned, triangles)
    kite = turned_edges(points, triangles[:2], np.zeros(2))
    assert {frozenset(t) for t in kite.tolist()} == {frozenset((0, 2, 3)), frozenset((1, 2, 3))}


def test_section_crosses_the_centre_line_square():
    """Three points per section: the top is rounded, not a roof, unless marked."""
    half = np.array([[0, 0, -0.4], [0, 0.4, 0.0], [0, 0, 0.4]])
    sections = [half + np.array([x, 0, 0]) for x in (0.0, 1.0, 2.0)]
    rounded = loft_stations(StationTable("abc", sections), 0.05, aft=1.0)
    roof = loft_stations(StationTable("abc", sections, [[True] * 3] * 3), 0.05, aft=1.0)
    above = (roof.region_index == 0) & (roof.centroids[:, 2] > 0.37)
    np.testing.assert_allclose(roof.normals[above][:, 2], np.sqrt(0.5), rtol=1e-6)
    above = (rounded.region_index == 0) & (np.abs(rounded.centroids[:, 1]) < 0.03)
    assert np.abs(rounded.normals[above][:, 2]).min() > 0.97


@pytest.mark.parametrize(("unit", "metres"), [("mm", 1e-3), ("cm", 0.01), ("m", 1), ("in", 0.0254)])
def test_units_of_the_heading(tmp_path, unit, metres):
    path = tmp_path / "offsets.csv"
    path.write_text(TEXT.replace("_mm", f"_{unit}"), encoding="utf-8")
    table = read_stations(path)
    assert table.names == ("nose", "a", "b", "tail")
    np.testing.assert_allclose(table.sections[1][1], np.array([500, 400, 0]) * metres)
    assert table.source == "offsets.csv"
    assert not any(mark.any() for mark in table.corners)


def test_marks_comments_semicolons_and_byte_order_mark(tmp_path):
    path = tmp_path / "offsets.csv"
    text = TEXT.replace("z_mm", "z_mm,corner").replace("a,500,400,0", "a,500,400,0,yes")
    text = text.replace("b,1000,410,0", "b,1000,410,0,ring")
    path.write_text("# ruler, May\n\n" + text.replace(",", ";"), encoding="utf-8-sig")
    table = read_stations(path)
    assert table.corners[1].tolist() == [False, True, False]
    assert table.edges.tolist() == [False, False, True, False]


def test_table_is_protected():
    table = ellipsoid_table()
    with pytest.raises(ValueError, match="read-only"):
        table.sections[3][0, 0] = 1.0


REPLACED = [
    ("z_mm", "height_mm", "row 1: no column z"),
    ("z_mm", "x_mm", "two columns are called 'x'"),
    ("x_mm", "x", "row 1: column 'x' names no known unit"),
    ("x_mm", "x_fathom", "names no known unit"),
    ("a,500,400,0", "a,500,wide,0", "row 4: y is 'wide'; expected a number"),
    ("a,500,400,0", "a,500,nan,0", "row 4: y is 'nan'; expected a finite number"),
    ("a,500,400,0", "a,500,400", "row 4: 3 fields; expected at least 4"),
    ("a,500,400,0", ",500,400,0", "row 4: the station has no name"),
    ("tail,1500,0,0", "a,1500,0,0", "row 9: station 'a' appears in two places"),
    ("b,1000", "b,400", "station 'b' .* is not aft of 'a'"),
    ("a,500,400,0", "a,500,-400,0", "station 'a': 1 points have y below 0"),
    ("a,500,0,-300", "a,500,5,-300", "station 'a' starts at y = 0.005 m"),
    ("a,500,0,300", "a,500,5,300", "station 'a' ends at y = 0.005 m"),
    ("a,500,400,0", "a,500,0,0", "point 2 lies on the centre line"),
    ("a,500,400,0", "a,500,400,0\na,500,400,0", "points 2 and 3 are the same"),
    ("a,500,400,0\n", "", "station 'a': 2 points; expected at least 3"),
    ("a,500,400,0", "a,500,400,200\na,500,400,-200\na,500,100,400", "'a' crosses itself"),
    ("nose,0,0,0", "nose,0,5,0", "station 'nose' starts at y"),
    ("tail,1500,0,0\n", "", None),
]


@pytest.mark.parametrize(("old", "new", "message"), REPLACED)
def test_mistakes_in_the_file(tmp_path, old, new, message):
    path = tmp_path / "offsets.csv"
    assert old in TEXT
    path.write_text(TEXT.replace(old, new), encoding="utf-8")
    if message is None:
        assert read_stations(path).n_stations == 3
        return
    with pytest.raises(SurfaceError, match=message):
        read_stations(path)


def test_decimal_commas_are_explained(tmp_path):
    path = tmp_path / "offsets.csv"
    text = TEXT.replace(",", ";").replace("500;400;0", "500;400,5;0")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SurfaceError, match="use a point as the decimal sign"):
        read_stations(path)


def test_unknown_corner_mark(tmp_path):
    path = tmp_path / "offsets.csv"
    text = TEXT.replace("z_mm", "z_mm,corner").replace("a,500,400,0", "a,500,400,0,maybe")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SurfaceError, match="row 4: corner is 'maybe'"):
        read_stations(path)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(SurfaceError, match="cannot read"):
        read_stations(tmp_path / "none.csv")
    (tmp_path / "empty.csv").write_text("\n# nothing\n")
    with pytest.raises(SurfaceError, match="is empty"):
        read_stations(tmp_path / "empty.csv")
    (tmp_path / "latin.csv").write_bytes("nose é".encode("latin-1"))
    with pytest.raises(SurfaceError, match="not UTF-8"):
        read_stations(tmp_path / "latin.csv")


def test_too_few_stations():
    table = ellipsoid_table()
    with pytest.raises(SurfaceError, match="2 stations; at least 3"):
        StationTable(table.names[:2], table.sections[:2])


def test_section_listed_from_top_to_bottom():
    table = ellipsoid_table(7)
    sections = [*table.sections[:3], table.sections[3][::-1], *table.sections[4:]]
    with pytest.raises(SurfaceError, match="first point is not below the last"):
        StationTable(table.names, sections)


def test_lists_of_different_length():
    table = ellipsoid_table(7)
    with pytest.raises(SurfaceError, match="6 names, 7 sections"):
        StationTable(table.names[:6], table.sections)


def test_curve_that_swings_over_the_centre_line():
    """A needle-thin waist makes the smooth curve cross y = 0: said, not lofted."""
    outline = [[0, -1], [0.6, -0.6], [0.6, -0.3], [0.01, 0], [0.01, 0.4], [0.6, 0.6], [0, 1]]
    waist = np.insert(np.array(outline), 0, 0.0, axis=1)
    sections = [waist + np.array([x, 0, 0]) for x in (0.0, 1.0, 2.0)]
    with pytest.raises(SurfaceError, match="crosses the centre line"):
        loft_stations(StationTable("abc", sections), 0.05)


@pytest.mark.parametrize("bad", [{"panel_length": 0.0}, {"finest": 1.5}, {"aft": -1.0}])
def test_lengths_must_be_positive(bad):
    with pytest.raises(SurfaceError, match="must be positive"):
        loft_stations(ellipsoid_table(7), **bad)


@pytest.mark.parametrize("number", ["1e9", "-1e300", "10000001"])
def test_coordinates_that_no_aeroplane_has_are_refused(tmp_path, number):
    path = tmp_path / "table.csv"
    path.write_text(f"station,x_mm,y_mm,z_mm\nnose,0,0,0\nA,100,0,{number}\n", encoding="utf-8")
    with pytest.raises(SurfaceError, match=r"row 3: z is .* m, which is not believable"):
        read_stations(path)
