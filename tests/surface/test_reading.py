"""From files as CAD programs write them, and as they should not, to a closed surface."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.intake import IntakeOptions, read_surface, surface_from_triangles
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.proposals import propose_unit
from panelcp.surface.reading import ReadingOptions, axis_matrix, parse_axes
from tests import bodies

AXES = (1.5, 0.5, 0.4)
ENCODINGS = {
    "binary.stl": {"file_type": "stl"},
    "text.stl": {"file_type": "stl_ascii"},
    "body.obj": {"file_type": "obj"},
    "binary.ply": {"file_type": "ply"},
    "text.ply": {"file_type": "ply", "encoding": "ascii"},
}


def encoded(vertices, triangles, name):
    import trimesh

    data = trimesh.Trimesh(vertices, triangles, process=False).export(**ENCODINGS[name])
    return data.encode() if isinstance(data, str) else data


@pytest.fixture
def write(tmp_path):
    """Function that writes triangles to a file and gives its path."""

    def to_file(vertices, triangles, name="body.obj", encoding=None):
        path = tmp_path / name
        path.write_bytes(encoded(vertices, triangles, encoding or name))
        return path

    return to_file


@pytest.fixture(scope="module")
def whole():
    return bodies.ellipsoid(AXES, 2)


@pytest.fixture(scope="module")
def half():
    return bodies.half_ellipsoid(AXES, 3)


def read_triangles(vertices, triangles, **options):
    intake = IntakeOptions(ReadingOptions(**options))
    return surface_from_triangles(vertices, np.asarray(triangles), intake)


@pytest.mark.parametrize("name", ENCODINGS)
def test_every_format_gives_the_same_body(write, whole, name):
    surface = read_surface(write(whole.vertices, whole.triangles, name))
    # the text and binary formats hold seven to eight digits
    assert surface.volume == pytest.approx(whole.volume, rel=1e-6)
    assert surface.area == pytest.approx(whole.area, rel=1e-6)
    assert surface.bounds == pytest.approx(whole.bounds, abs=1e-6)
    assert (surface.n_panels, surface.n_vertices) == (whole.n_panels, whole.n_vertices)
    assert not surface.mirrored
    assert surface.notes[0] == f"read {whole.n_panels} triangles, length unit m"


def test_loose_triangles_are_merged_and_the_merging_is_said(write, whole):
    surface = read_surface(write(whole.vertices, whole.triangles, "binary.stl"))
    line = f"{3 * whole.n_panels} vertices merged to {whole.n_vertices} (points that coincide)"
    assert line in surface.notes


@pytest.mark.parametrize(
    "name", ["two words.stl", "Größe – vorn.stl", "капот.stl", "BODY.STL", "a.b.c.stl"]
)
def test_names_of_files_may_be_in_any_language(write, whole, name):
    path = write(whole.vertices, whole.triangles, name, "binary.stl")
    assert read_surface(str(path)).n_panels == whole.n_panels


@pytest.mark.parametrize("name", ["text.stl", "body.obj", "text.ply"])
def test_remarks_in_latin_1_do_no_harm(write, whole, name):
    path = write(whole.vertices, whole.triangles, name)
    remark = {"text.stl": b"solid M\xfcller", "body.obj": b"# gr\xf6\xdfe", "text.ply": b"ply"}
    first, rest = path.read_bytes().split(b"\n", 1)
    if name == "text.ply":
        rest = rest.replace(b"comment", b"comment \xe9t\xe9", 1)
    if name == "body.obj":
        rest = first + b"\n" + rest
    path.write_bytes(remark[name] + b"\n" + rest)
    assert b"\xfc" in path.read_bytes() or b"\xf6" in path.read_bytes() or name == "text.ply"
    assert read_surface(path).n_panels == whole.n_panels


@pytest.mark.parametrize(
    ("unit", "per_metre"), [("mm", 1000.0), ("cm", 100.0), ("in", 1 / 0.0254), ("ft", 1 / 0.3048)]
)
def test_units_of_the_file(whole, unit, per_metre):
    surface = read_triangles(whole.vertices * per_metre, whole.triangles, unit=unit)
    assert surface.bounds == pytest.approx(whole.bounds, abs=1e-12)
    assert f"length unit {unit}" in surface.notes[0]


@pytest.mark.parametrize("unit", ["m", "in"])
def test_datum_is_in_the_units_of_the_file(whole, unit):
    scale = {"m": 1.0, "in": 0.0254}[unit]
    datum = (2.0, -1.0, 0.5)
    surface = read_triangles(
        whole.vertices / scale + datum, whole.triangles, unit=unit, datum=datum
    )
    assert surface.bounds == pytest.approx(whole.bounds, abs=1e-12)


@pytest.mark.parametrize(
    ("axes", "turned_over"),
    [
        ({"aft": "+x", "right": "+y", "up": "+z"}, False),
        ({"aft": "x", "right": "y", "up": "z"}, False),
        ({"aft": "+y", "right": "+z", "up": "+x"}, False),
        ({"aft": "-x", "right": "-y", "up": "+z"}, False),
        ({"aft": "-z", "right": "+x", "up": "+y"}, True),
        ({"aft": "+x", "right": "-y", "up": "+z"}, True),
        ({"aft": "+y", "right": "+x", "up": "+z"}, True),
        ({"aft": "-X", "right": " +y ", "up": "+Z"}, True),
    ],
)
def test_axes_of_the_file(axes, turned_over):
    # an egg has no symmetry that could hide a mistake
    egg = bodies.egg(1)
    matrix = axis_matrix(axes)
    in_file = egg.vertices @ matrix  # the inverse of a matrix of axes is its transpose
    handed = egg.triangles[:, [0, 2, 1]] if turned_over else egg.triangles
    surface = read_triangles(in_file, handed, axes=tuple(axes.items()), part="whole")
    assert surface.volume == pytest.approx(egg.volume, rel=1e-12)
    assert surface.bounds == pytest.approx(egg.bounds, abs=1e-12)
    assert any("turned over" in note for note in surface.notes) == turned_over


def test_left_handed_axes_by_hand():
    assert axis_matrix({"aft": "-z", "right": "+x", "up": "+y"}).tolist() == [
        [0.0, 0.0, -1.0],
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
    ]


@pytest.mark.parametrize(
    ("axes", "message"),
    [
        ({"aft": "+x", "right": "+x", "up": "+z"}, "three different axes"),
        ({"aft": "+x", "right": "+w", "up": "+z"}, r"right = '\+w' is not an axis"),
        ({"aft": "+x", "right": "+y"}, "up = None is not an axis"),
        ({"aft": "", "right": "+y", "up": "+z"}, "aft = '' is not an axis"),
        ({"aft": "xy", "right": "+y", "up": "+z"}, "aft = 'xy' is not an axis"),
    ],
)
def test_axes_that_make_no_sense(axes, message):
    with pytest.raises(SurfaceError, match=message):
        ReadingOptions(axes=tuple(axes.items()))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"unit": "furlong"}, "unknown length unit 'furlong'; known: "),
        ({"part": "upper half"}, "unknown part 'upper half'; choose one of auto, whole"),
    ],
)
def test_words_that_are_not_known(options, message):
    with pytest.raises(SurfaceError, match=message):
        ReadingOptions(**options)


@pytest.mark.parametrize("part", ["auto", "right half", "left half"])
def test_halves_become_mirrored_wholes(half, part):
    vertices, triangles = half
    if part == "left half":
        vertices, triangles = vertices * [1, -1, 1], triangles[:, [0, 2, 1]]
    surface = read_triangles(vertices, triangles, part=part)
    expected = bodies.mirrored_ellipsoid(AXES, 3)
    assert surface.mirrored
    assert surface.n_panels == 2 * len(triangles)
    assert surface.n_vertices == expected.n_vertices
    assert surface.volume == pytest.approx(expected.volume, rel=1e-12)
    assert surface.notes[-1].endswith("half mirrored about BL 0")
    assert surface.notes[-1].startswith("left" if part == "left half" else "right")


def test_left_half_is_recognised(half):
    vertices, triangles = half
    surface = read_triangles(vertices * [1, -1, 1], triangles[:, [0, 2, 1]])
    assert surface.mirrored
    assert "left half mirrored about BL 0" in surface.notes


def test_whole_stays_whole_even_when_it_is_symmetric(whole):
    assert not read_triangles(whole.vertices, whole.triangles).mirrored


def test_points_near_the_centre_line_are_put_onto_it_and_counted(half):
    vertices, triangles = np.array(half[0]), half[1]
    on_plane = np.flatnonzero(vertices[:, 1] == 0.0)
    vertices[on_plane[:5], 1] = [0.2e-3, -0.1e-3, 0.1e-3, 0.3e-3, -0.3e-3]
    surface = read_triangles(vertices, triangles)
    assert "5 points put onto BL 0, moved by up to 0.3 mm (tolerance 0.5 mm)" in surface.notes
    assert np.count_nonzero(surface.vertices[:, 1] == 0.0) == len(on_plane)


def test_nothing_is_said_when_nothing_is_moved(half):
    assert not any("put onto" in note for note in read_triangles(*half).notes)


def test_half_open_away_from_the_centre_line_is_closed_there(half):
    vertices, triangles = np.array(half[0]), half[1]
    on_plane = np.flatnonzero(vertices[:, 1] == 0.0)
    vertices[on_plane[0], 1] = 0.8e-3
    surface = read_triangles(vertices, triangles, crack_tolerance=0.0)
    assert surface.mirrored
    assert any(
        note.startswith("1 hole filled with 2 triangles") and note.endswith("the centre line")
        for note in surface.notes
    )


def test_half_that_reaches_across_the_centre_line_is_refused(half):
    vertices, triangles = half
    with pytest.raises(SurfaceError, match=r"given as right half, but points reach 3 mm across"):
        read_triangles(vertices - [0, 0.003, 0], triangles, part="right half")
    mirrored = vertices * [1, -1, 1], triangles[:, [0, 2, 1]]
    with pytest.raises(SurfaceError, match=r"given as left half, but points reach 3 mm across"):
        read_triangles(mirrored[0] + [0, 0.003, 0], mirrored[1], part="left half")
    with pytest.raises(SurfaceError, match="surface is not closed"):
        read_triangles(vertices - [0, 0.003, 0], triangles)


def test_closed_body_beside_the_centre_line_is_no_half(whole):
    beside = whole.vertices + np.array([0.0, 0.7, 0.0])
    with pytest.raises(SurfaceError, match=r"taken as right half.*two bodies.*part = \"whole\""):
        read_triangles(beside, whole.triangles)
    assert not read_triangles(beside, whole.triangles, part="whole").mirrored


def test_wall_of_a_half_on_the_centre_line_is_dropped(half):
    vertices, triangles = half
    middle = len(vertices)
    rim = np.flatnonzero(vertices[:, 1] == 0.0)
    rim = rim[np.argsort(np.arctan2(vertices[rim, 2], vertices[rim, 0]))]
    wall = np.stack([rim, np.roll(rim, -1), np.full_like(rim, middle)], axis=1)
    vertices = np.vstack([vertices, [[0.0, 0.0, 0.0]]])
    expected = bodies.mirrored_ellipsoid(AXES, 3)
    for walled in (wall, wall[:, [0, 2, 1]]):
        surface = read_triangles(vertices, np.vstack([triangles, walled]))
        assert f"{len(wall)} triangles of a wall on BL 0 dropped (round STA 0" in str(surface.notes)
        assert surface.volume == pytest.approx(expected.volume, rel=1e-12)
        assert surface.n_panels == expected.n_panels


def cracked(body, gap):
    """The body cut at x = 0 into two shells, the rear one moved aft by the gap."""
    rear = body.corners.mean(axis=1)[:, 0] > 0.0
    corners = np.array(body.corners)
    corners[rear] += [gap, 0.0, 0.0]
    return corners.reshape(-1, 3), np.arange(3 * body.n_panels).reshape(-1, 3)


@pytest.fixture(scope="module")
def split():
    """Ellipsoid whose triangles do not cross x = 0."""
    return bodies.mirrored_ellipsoid(AXES, 3).unmirrored()


def test_fine_crack_is_closed_and_reported(split):
    surface = read_triangles(*cracked(split, 0.2e-3), part="whole")
    (note,) = [line for line in surface.notes if "crack" in line]
    rim = np.count_nonzero(np.abs(split.vertices[:, 0]) < 1e-12)
    assert note.startswith(f"crack closed: {rim} pairs of points joined, up to 0.2 mm apart, near")
    assert surface.n_panels == split.n_panels
    assert surface.n_vertices == split.n_vertices
    # only the two rims moved, by half the gap
    assert surface.size == pytest.approx(split.size + np.array([0.2e-3, 0, 0]), abs=1e-9)


def test_crack_wider_than_the_tolerance_is_bridged_and_said(split):
    rim = np.count_nonzero(np.abs(split.vertices[:, 0]) < 1e-12)
    assert rim == 32
    bridged = read_triangles(*cracked(split, 5e-3), part="whole")
    assert bridged.n_panels == split.n_panels + 2 * rim
    # a ring of the section at x = 0, 5 mm wide, is put in between
    _, b, c = AXES
    assert bridged.volume - split.volume == pytest.approx(5e-3 * np.pi * b * c, rel=0.01)
    assert "gap of 5.0 to 5.0 mm between two parts bridged with 64 tri" in str(bridged.notes)
    joined = read_triangles(*cracked(split, 2e-3), part="whole", crack_tolerance=3e-3)
    assert joined.n_panels == split.n_panels


def test_narrow_seam_is_joined_point_to_point_and_said(split):
    # a band of 2 mm would be all needles: points that face each other go to their middle
    joined = read_triangles(*cracked(split, 2e-3), part="whole")
    assert joined.n_panels == split.n_panels
    _, b, c = AXES
    # half a section of 2 mm on each side's first row of panels, a third of it in volume each
    assert 0.0 < joined.volume - split.volume < 2e-3 * np.pi * b * c
    assert "seam of 2 mm between two parts joined at 32 points" in str(joined.notes)


def test_crack_wider_than_a_bridge_is_an_error_that_counts_and_locates(split):
    with pytest.raises(SurfaceError, match=r"2 holes stay open: 1000 mm at STA 30 BL 0 WL 0"):
        read_triangles(*cracked(split, 30e-3), part="whole")


def test_slit_is_filled_and_located(split):
    corners = np.array(split.corners)
    corners[7, 1] += [0.0, 0.0, 4e-3]
    loose = corners.reshape(-1, 3), np.arange(3 * split.n_panels).reshape(-1, 3)
    surface = read_triangles(*loose, part="whole")
    (note,) = [line for line in surface.notes if "hole" in line]
    assert note.startswith("1 hole filled with 2 triangles")
    assert surface.volume == pytest.approx(split.volume, rel=1e-4)
    x, y, z = split.corners[7].mean(axis=0) * 1e3
    found = note.split("at STA ")[1].split()
    assert abs(float(found[0]) - x) < 150
    assert abs(float(found[2]) - y) < 150
    assert abs(float(found[4]) - z) < 150


def test_left_out_triangle_is_found(whole):
    middle = whole.corners[0].mean(axis=0) * 1e3
    with pytest.raises(SurfaceError, match=r"not closed: 1 hole stays open: 400 mm at") as caught:
        read_triangles(whole.vertices, whole.triangles[1:])
    assert f"at STA {middle[0]:.0f} BL {middle[1]:.0f} WL {middle[2]:.0f} mm" in str(caught.value)
    far = [k for k in range(1, whole.n_panels) if k != 200]
    with pytest.raises(SurfaceError, match=r"not closed: 2 holes stay open: "):
        read_triangles(whole.vertices, whole.triangles[far])


def test_inside_out_is_turned_over_and_said(whole):
    turned = whole.triangles[:, [0, 2, 1]]
    surface = read_triangles(whole.vertices, turned)
    assert surface.volume == pytest.approx(whole.volume, rel=1e-12)
    assert "all 320 triangles turned over: they faced inward" in surface.notes
    asked = read_triangles(whole.vertices, turned, reverse=True)
    assert asked.volume == pytest.approx(whole.volume, rel=1e-12)
    assert not any("faced inward" in note for note in asked.notes)


def test_mixed_winding_is_set_right_and_said(whole):
    triangles = np.array(whole.triangles)
    triangles[10] = triangles[10, [0, 2, 1]]
    surface = read_triangles(whole.vertices, triangles)
    assert surface.volume == pytest.approx(whole.volume, rel=1e-12)
    assert "1 of 320 triangles turned over to face outward (first near" in str(surface.notes)


def test_fin_is_dropped_and_said(whole):
    a, b, _ = whole.triangles[0]
    vertices = np.vstack([whole.vertices, [[0.0, 0.0, 0.9]]])
    triangles = np.vstack([whole.triangles, [[a, b, len(whole.vertices)]]])
    surface = read_triangles(vertices, triangles)
    assert surface.volume == pytest.approx(whole.volume, rel=1e-12)
    assert "1 triangles of inner walls dropped (round STA" in str(surface.notes)


def test_two_bodies_are_refused(whole):
    n = whole.n_vertices
    vertices = np.vstack([whole.vertices, 0.2 * whole.vertices + [3.0, 0.0, 0.0]])
    triangles = np.vstack([whole.triangles, whole.triangles + n])
    with pytest.raises(SurfaceError, match=r"2 separate bodies.*STA 0 BL.*STA 3000 BL"):
        read_triangles(vertices, triangles)


def test_triangles_without_area_and_those_on_one_point_are_taken_out(whole):
    # a vertex put into an edge of its neighbour: three corners on one line
    a, b, _ = whole.triangles[5]
    middle = 0.5 * (whole.vertices[a] + whole.vertices[b])
    vertices = np.vstack([whole.vertices, [middle]])
    triangles = np.vstack([whole.triangles, [[a, b, whole.n_vertices]]])
    mended = read_triangles(vertices, triangles)
    assert "1 triangles without area taken out, the skin around" in str(mended.notes)
    assert mended.volume == pytest.approx(whole.volume, rel=1e-12)
    doubled = np.vstack([whole.triangles, [[a, a, b]]])
    surface = read_triangles(whole.vertices, doubled)
    assert "1 triangles with coinciding corners dropped" in surface.notes
    assert surface.n_panels == whole.n_panels


def test_all_triangles_on_one_point(whole):
    with pytest.raises(SurfaceError, match="nothing of the skin is left"):
        read_triangles(whole.vertices, whole.triangles[:, [0, 0, 0]])


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_numbers_that_are_none(whole, value):
    vertices = np.array(whole.vertices)
    vertices[[4, 9], 2] = value
    with pytest.raises(SurfaceError, match=r"2 of 162 vertices are not finite.*vertex 4"):
        read_triangles(vertices, whole.triangles)


@pytest.mark.parametrize("name", ["binary.stl", "text.stl", "body.obj", "binary.ply"])
def test_numbers_that_are_none_in_files(write, whole, name):
    vertices = np.array(whole.vertices)
    vertices[4, 2] = np.nan
    with pytest.raises(SurfaceError, match=r"not finite|cannot|could not|not a mesh"):
        read_surface(write(vertices, whole.triangles, name))


@pytest.mark.parametrize(
    ("length", "unit", "advice"),
    [
        (7000.0, "m", "surface is 7000 m long when its unit is 'm'.*perhaps mm"),
        (7.0, "mm", "surface is 0.007 m long when its unit is 'mm'.*perhaps m"),
        (250.0, "m", r"perhaps in\."),
        (7e9, "m", r"expected 0.3 to 40 m\. Set the unit"),
    ],
)
def test_wrong_unit_is_noticed(whole, length, unit, advice):
    with pytest.raises(SurfaceError, match=advice):
        read_triangles(whole.vertices * (length / 3.0), whole.triangles, unit=unit)


def test_message_names_the_file(write, whole):
    path = write(whole.vertices, whole.triangles[1:], "old cowl.obj", "body.obj")
    with pytest.raises(SurfaceError, match=r"^old cowl\.obj: surface is not closed"):
        read_surface(path)


def test_strange_normals_in_a_text_file_do_no_harm(write, whole, capfd, caplog):
    # normals follow from the winding; what the file says of them is not used
    path = write(whole.vertices, whole.triangles, "text.stl")
    head, rest = path.read_text().split("facet normal", 1)
    path.write_text(head + "facet normal nought nought one" + rest[rest.index("\n") :])
    assert read_surface(path).volume == pytest.approx(whole.volume, rel=1e-6)
    assert capfd.readouterr() == ("", "")
    assert caplog.records == []


def damaged(data, kind, random):
    """One of many ways in which a file goes bad on its way."""
    data = bytearray(data)
    place = int(random.integers(len(data)))
    if kind == "cut short":
        return bytes(data[:place])
    if kind == "bytes changed":
        for k in random.integers(len(data), size=int(random.integers(1, 20))):
            data[k] = random.integers(256)
    if kind == "head changed":
        for k in random.integers(min(len(data), 300), size=int(random.integers(1, 6))):
            data[k] = random.integers(256)
    if kind == "part lost":
        del data[place : place + int(random.integers(1, 60))]
    if kind == "garbage put in":
        data[place:place] = random.bytes(int(random.integers(1, 60)))
    if kind == "line exchanged":
        lines = bytes(data).split(b"\n")
        strange = [b"", b"f 1 2 999", b"f -1 -2 -900", b"vertex nan 0 0", b"v 1e308 2 3", b"end"]
        lines[int(random.integers(len(lines)))] = strange[int(random.integers(len(strange)))]
        return b"\n".join(lines)
    return bytes(data)


def surface_or_error(path):
    try:
        return read_surface(path)
    except SurfaceError as error:
        return error


@pytest.mark.parametrize("name", ENCODINGS)
@pytest.mark.parametrize(
    "kind",
    ["cut short", "bytes changed", "head changed", "part lost", "garbage put in", "line exchanged"],
)
def test_damaged_files_never_give_anything_but_a_surface_or_one_clear_error(
    tmp_path, capfd, caplog, name, kind
):
    body = bodies.ellipsoid(AXES, 1)
    data = encoded(body.vertices, body.triangles, name)
    random = np.random.default_rng(list(f"{name} {kind}".encode()))
    for _ in range(5):
        path = tmp_path / name
        path.write_bytes(damaged(data, kind, random))
        outcome = surface_or_error(path)
        if isinstance(outcome, SurfaceMesh):
            assert outcome.volume > 0.0
        else:
            assert len(str(outcome).splitlines()) == 1
            assert "No module" not in str(outcome)
    assert capfd.readouterr() == ("", "")
    assert caplog.records == []


@pytest.mark.parametrize(
    ("length", "unit", "words"),
    [
        (7.03, "m", ""),
        (7030.0, "mm", ""),
        (276.8, "in", ""),
        (703.0, None, "no usual length unit fits surely; perhaps cm (7.03 m): give --unit cm"),
        (23.1, None, "no usual length unit fits surely; perhaps ft (7.04 m): give --unit ft"),
        (14.0, None, "perhaps m (14 m) or ft (4.27 m): give --unit m or --unit ft"),
        (1e6, None, "the surface is 1e+06 long: no usual length unit fits it; give --unit"),
    ],
)
def test_unit_that_the_size_suggests(length, unit, words):
    proposed, reason = propose_unit(np.array([[0.0, 0.0, 0.0], [length, 1.0, 1.0]]))
    assert proposed == unit
    assert reason.endswith(words)
    assert reason.startswith(f"the surface is {length:.4g} long")


def test_axes_from_one_text():
    assert parse_axes(" -z, x,+Y") == (("aft", "-z"), ("right", "x"), ("up", "+Y"))
    for text, message in (
        ("+x,+y", r"axes '\+x,\+y' are not three; .*--axes=\+x,\+y,\+z"),
        ("+x,+y,+q", r"up = '\+q' is not an axis"),
        ("+x,+x,+z", "three different axes"),
    ):
        with pytest.raises(SurfaceError, match=message):
            parse_axes(text)
