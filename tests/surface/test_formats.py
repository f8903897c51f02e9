"""Files of every format as CAD programs write them, and as they should not."""

import base64
import io
import json
import os
import zipfile
from importlib.metadata import PackageNotFoundError, version

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface import formats, packed_formats, step_worker
from panelcp.surface.formats import FORMATS, companion_files, load_parts, load_triangles
from panelcp.surface.mesh import SurfaceMesh
from tests import bodies

ENCODINGS = {
    "binary.stl": {"file_type": "stl"},
    "text.stl": {"file_type": "stl_ascii"},
    "body.obj": {"file_type": "obj"},
    "binary.ply": {"file_type": "ply"},
    "text.ply": {"file_type": "ply", "encoding": "ascii"},
    "body.off": {"file_type": "off"},
    "body.glb": {"file_type": "glb"},
    "body.3mf": {"file_type": "3mf"},
}
UNITS = {"body.glb": "m", "body.3mf": "mm"}
CORNERS = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 2]], dtype=float)


def encoded(vertices, triangles, name):
    import trimesh

    data = trimesh.Trimesh(vertices, triangles, process=False).export(**ENCODINGS[name])
    return data.encode() if isinstance(data, str) else data


@pytest.fixture(scope="module")
def egg():
    """No symmetry that could hide a mistake."""
    return bodies.egg(2)


@pytest.fixture
def put(tmp_path):
    """Function that writes a file and gives its path."""

    def to_file(name, content):
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return to_file


def error_of(path):
    """The one line that reading ends with."""
    with pytest.raises(SurfaceError) as caught:
        load_parts(path)
    assert len(str(caught.value).splitlines()) == 1
    return str(caught.value)


def panels_or_error(path):
    """Number of triangles, or the file that the message begins with."""
    try:
        return len(load_triangles(path)[1])
    except SurfaceError as error:
        return str(error).partition(":")[0]


@pytest.mark.parametrize("name", ENCODINGS)
def test_round_trip(put, egg, name):
    (part,) = load_parts(put(name, encoded(egg.vertices, egg.triangles, name)))
    # single precision, or the digits that the writer of text gives
    corners = part.vertices[part.triangles]
    assert corners == pytest.approx(egg.corners, abs=1.5e-7 * np.abs(egg.vertices).max())
    assert part.unit == UNITS.get(name)
    assert not part.vertices.flags.writeable


@pytest.mark.parametrize("name", ENCODINGS)
def test_letter_case_of_the_suffix_is_free(put, egg, name):
    data = encoded(egg.vertices, egg.triangles, name)
    assert len(load_triangles(put(name.upper(), data))[1]) == egg.n_panels


def test_formats_are_the_ones_that_are_tested():
    tested = {"." + name.split(".")[1] for name in ENCODINGS}
    assert set(FORMATS) == tested | {".gltf", ".step", ".stp"}


@pytest.mark.parametrize("name", ENCODINGS)
def test_wrong_suffix_is_named(put, egg, name):
    data = encoded(egg.vertices, egg.triangles, name)
    real = name.split(".")[1]
    other = "obj" if real != "obj" else "stl"
    assert error_of(put(f"cowl.{other}", data)) == (
        f"cowl.{other}: its content is {real.upper()}, not what its suffix .{other} says; rename "
        f"it to cowl.{real}, also in the case"
    )


@pytest.mark.parametrize("name", ENCODINGS)
@pytest.mark.parametrize("share", [0.999, 0.6, 0.2])
def test_files_cut_short_are_refused(put, egg, name, share):
    data = encoded(egg.vertices, egg.triangles, name)
    path = put(name, data[: int(share * len(data))])
    if name == "body.obj":  # nothing in an OBJ file says how long it is
        assert panels_or_error(path) in ("body.obj", *range(egg.n_panels))
    else:
        assert error_of(path).startswith(f"{name}: not a mesh that can be read as .")


# STL


def test_solids_of_a_text_stl_become_parts(put):
    facet = "facet normal 0 0 1\n outer loop\n{} endloop\nendfacet\n"
    corners = "vertex 0 0 0\nvertex 1 0 0\nvertex 0 1 {}\n"
    solids = [
        f"solid {name}\n" + "".join(facet.format(corners.format(z)) for z in heights)
        for name, heights in (("lid", (1, 2)), ("", (3,)), ("lid", (4,)), ("empty", ()))
    ]
    text = "".join(f"{solid}endsolid\n" for solid in solids)
    for variant in (text, text.replace("\n", "\r\n"), text.upper(), text.replace("\n ", " ")):
        parts = load_parts(put("all.stl", variant))
        found = [part.name.lower() for part in parts]
        assert found == ["lid", "part", "lid (2)"]
        assert [part.vertices[2::3, 2].tolist() for part in parts] == [[1, 2], [3], [4]]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("vertex 1 0 0\n", ""), "facet number 0 of it, counted from 0, is not made of facet"),
        (("vertex 1 0 0", "vertex 1 0"), "facet number 0 of it"),
        (("vertex 1 0 0", "vertex 1 0 zero"), "a vertex that cannot be read: '1 0 zero'"),
        (("endloop", "endlop"), "facet number 0"),
        (("endsolid x", ""), "it ends after 1 triangles without endsolid: cut short"),
        (("endsolid x", "endsolid x\nfacet"), "after its last solid stands something else: 'fac"),
    ],
)
def test_faults_of_a_text_stl(put, change, message):
    good = (
        "solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\n"
        "endloop\nendfacet\nendsolid x\n"
    )
    assert len(load_triangles(put("x.stl", good))[1]) == 1
    assert message in error_of(put("x.stl", good.replace(*change)))


def test_binary_stl_that_begins_as_text(put, egg):
    data = encoded(egg.vertices, egg.triangles, "binary.stl")
    assert len(load_triangles(put("b.stl", b"solid" + data[5:]))[1]) == egg.n_panels


def test_huge_promise_of_a_binary_stl_takes_no_memory(put):
    data = b"x" * 80 + (2**32 - 1).to_bytes(4, "little") + b"\0" * 50
    message = error_of(put("b.stl", data))
    assert "promises 4294967295 triangles in 214748364834 bytes, but has 134 bytes" in message


def test_binary_stl_with_more_than_it_promises(put, egg):
    data = encoded(egg.vertices, egg.triangles, "binary.stl")
    assert f"promises {egg.n_panels} triangles in" in error_of(put("b.stl", data + bytes(50)))


# OBJ


def test_obj_faces_of_all_kinds(put):
    lines = ["# a box without lid", "mtllib x.mtl", "o hull"]
    lines += [f"v {x} {y} {z} 0.5 0.5 0.5" for x, y, z in CORNERS]
    lines += ["vt 0 0", "vn 0 0 1", "g floor", "f 4/1/1 3//1 2/1 1   # a remark", "s off"]
    lines += ["usemtl red", "g side", "f -5 -4 \\", "-1", "v 9 9 9", "f 2 3 -2"]
    parts = load_parts(put("a.obj", "\n".join(lines)))
    assert [part.name for part in parts] == ["floor", "side"]
    floor, side = parts
    assert sorted(map(tuple, floor.vertices.tolist())) == sorted(map(tuple, CORNERS[:4].tolist()))
    assert floor.triangles.shape == (2, 3)
    a, b, c = np.moveaxis(floor.vertices[floor.triangles], 1, 0)
    assert np.cross(b - a, c - a).sum(axis=0).tolist() == [0, 0, -2]
    assert side.vertices[side.triangles].tolist() == CORNERS[[[0, 1, 4], [1, 2, 4]]].tolist()


def test_obj_counts_points_over_blocks_of_lines(put, egg, monkeypatch):
    from panelcp.surface import plain_formats

    monkeypatch.setattr(plain_formats, "_BLOCK", 100)
    lines = []
    for number, corners in enumerate(egg.corners[:40].tolist()):
        lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in corners]
        lines.append("f -3 -2 -1" if number % 2 else f"f {3 * number + 1} -2 {3 * number + 3}")
    vertices, triangles = load_triangles(put("a.obj", "\n".join(lines)))
    assert np.array_equal(vertices[triangles], egg.corners[:40])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "1 of 1 triangles name points that the file do"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "triangles name points"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "names the point 0, but points are counted from"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999999\n", "triangles name points"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 three\n", "a f that cannot be read: '1 2 three'"),
        ("v 0 0 0\nv 1 0 0\nv 0 1\nf 1 2 3\n", "1 of 3 lines of kind v do not have 3 numbers"),
        ("v 0 0 0\nv 1 0 0\nv 0 l 0\nf 1 2 3\n", "a v that cannot be read: '0 l 0'"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "1 of 1 faces have fewer than three corners"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nsurf 0 1 0 1 1 2\n", "it holds curved surfaces only"),
        ("v 0 0 0\nv 1 0 0\nl 1 2\n", "no triangles in the file; export the skin"),
    ],
)
def test_faults_of_an_obj(put, text, message):
    assert message in error_of(put("a.obj", text))


# OFF and PLY


def test_off_with_faces_of_four_corners_and_colours(put):
    rows = [" ".join(map(str, row)) for row in CORNERS]
    text = ["OFF # a remark", "", "5 3 0", *rows, "4 3 2 1 0 255 0 0", "3 0 1 4", "3 1 2 4 0.5"]
    vertices, triangles = load_triangles(put("a.off", "\n".join(text)))
    assert len(triangles) == 4
    assert np.array_equal(vertices, CORNERS)
    assert triangles[2:].tolist() == [[0, 1, 4], [1, 2, 4]]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n3 0 1 2\n", "promises 3 points and 1 faces, but has 3 lines"),
        ("OFF\n999999999999 1 0\n0 0 0\n", "promises 999999999999 points"),
        ("OFF\n-3 1 0\n0 0 0\n", "promises -3 points"),
        ("OFF\nthree 1 0\n", "the numbers of points and faces cannot be read"),
        ("OFF BINARY\n3 1 0\n", "it is binary; export it as text"),
        ("4OFF\n", "does not begin with OFF"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n4 0 1 2\n", "1 of 1 faces do not have the corners"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n", "triangles name points"),
    ],
)
def test_faults_of_an_off(put, text, message):
    assert message in error_of(put("a.off", text))


def ply(order, face_rows, more_elements=False):
    """PLY file with extra properties, faces of several sizes and an element to skip."""
    head = ["ply", f"format {order} 1.0", "comment é"]
    if more_elements:
        head += ["element camera 2", "property list uchar int ids", "property float far"]
    head += ["element vertex 5", "property float nx", "property double y", "property float x"]
    head += ["property double z", f"element face {len(face_rows)}", "property uchar red"]
    head += ["property list uchar int vertex_indices", "end_header", ""]
    text = "\n".join(head).encode("latin-1")
    if order == "ascii":
        rows = ["2 5 6 0.5", "0 0.5"] if more_elements else []
        rows += [f"0 {y} {x} {z}" for x, y, z in CORNERS]
        rows += [" ".join(map(str, [255, len(face), *face])) for face in face_rows]
        return text + "\n".join(rows).encode()
    sign = "<" if "little" in order else ">"
    body = b""
    if more_elements:
        body += (
            b"\2" + np.array([5, 6], sign + "i4").tobytes() + np.array(0.5, sign + "f4").tobytes()
        )
        body += b"\0" + np.array(0.5, sign + "f4").tobytes()
    for x, y, z in CORNERS:
        body += np.array([0], sign + "f4").tobytes() + np.array([y], sign + "f8").tobytes()
        body += np.array([x], sign + "f4").tobytes() + np.array([z], sign + "f8").tobytes()
    for face in face_rows:
        body += bytes([255, len(face)]) + np.array(face, sign + "i4").tobytes()
    return text + body


@pytest.mark.parametrize("order", ["ascii", "binary_little_endian", "binary_big_endian"])
@pytest.mark.parametrize("more_elements", [False, True])
@pytest.mark.parametrize(
    "face_rows",
    [[[0, 1, 4], [1, 2, 4]], [[3, 2, 1, 0], [0, 1, 4]], [[0, 1, 4], [3, 2, 1, 0], [1, 2, 4]]],
)
def test_ply_of_all_kinds(put, order, more_elements, face_rows):
    vertices, triangles = load_triangles(put("a.ply", ply(order, face_rows, more_elements)))
    assert np.array_equal(vertices, CORNERS)
    assert triangles[-1].tolist() == face_rows[-1]
    assert len(triangles) == sum(len(face) - 2 for face in face_rows)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ((b"element vertex 5", b"element vertex 4000000000"), "promises 4000000000 of vertex in"),
        ((b"element face 2", b"element face 60"), "bytes are promised, but only"),
        ((b"element face 2", b"element face -2"), "promises -2 of face"),
        ((b"format binary_little_endian", b"format binary_odd"), "a line of its head cannot be"),
        ((b"property double z", b"property double q"), "does not give x, y and z"),
        ((b"property double z", b"property quad z"), "a line of its head cannot be read: 'prop"),
        ((b"uchar int vertex_indices", b"uchar float vertex_indices"), "not whole numbers"),
        ((b"vertex_indices", b"edges"), "does not give the corners of the faces"),
        ((b"element face 2", b"element tristrips 2"), "triangle strips; export single faces"),
        ((b"end_header", b"end_heder"), "does not begin with ply and end with end_header"),
        ((b"element vertex 5", b"element point 5"), "its head names no points"),
    ],
)
def test_faults_of_a_ply(put, change, message):
    data = ply("binary_little_endian", [[0, 1, 4], [1, 2, 4]])
    assert message in error_of(put("a.ply", data.replace(*change)))


# glTF


def gltf_tree(egg, **changes):
    """A document with the egg placed by nodes, its buffer inside."""
    points = egg.vertices.astype("<f4").tobytes()
    corners = egg.triangles.astype("<u2").tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": len(points + corners)}],
        "bufferViews": [
            {"buffer": 0, "byteLength": len(points)},
            {"buffer": 0, "byteOffset": len(points), "byteLength": len(corners)},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": egg.n_vertices, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": 3 * egg.n_panels, "type": "SCALAR"},
        ],
        "meshes": [{"name": "egg", "primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "nodes": [{"mesh": 0}],
        "scenes": [{"nodes": [0]}],
    }
    return {**tree, **changes}, points + corners


def inside(tree, data):
    tree["buffers"][0]["uri"] = "data:;base64," + base64.b64encode(data).decode()
    return json.dumps(tree)


def test_nodes_are_placed_and_mirrored_copies_stay_outward(put, egg):
    turn = [0.0, 0.0, np.sqrt(0.5), np.sqrt(0.5)]  # a quarter about z
    shift = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 10, 0, 1]  # columns, one after the other
    nodes = [
        {"matrix": shift, "children": [1, 2]},
        {"name": "turned", "mesh": 0, "rotation": turn, "scale": [2, 2, 2]},
        {"mesh": 0, "scale": [1, -1, 1], "translation": [0, 0, 3]},
        {"name": "not in the scene", "mesh": 0},
    ]
    path = put("a.gltf", inside(*gltf_tree(egg, nodes=nodes)))
    turned, mirrored = load_parts(path)
    assert (turned.name, mirrored.name, turned.unit) == ("turned", "egg", "m")
    x, y, z = egg.vertices.T
    assert turned.vertices == pytest.approx(np.stack([-2 * y, 10 + 2 * x, 2 * z], 1), abs=1e-6)
    assert mirrored.vertices == pytest.approx(np.stack([x, 10 - y, z + 3], 1), abs=1e-6)
    for part, size in ((turned, 8.0), (mirrored, 1.0)):
        found = SurfaceMesh(part.vertices, part.triangles).volume
        assert found == pytest.approx(size * egg.volume, rel=1e-6)


def test_numbers_in_a_file_beside(put, egg, tmp_path):
    tree, data = gltf_tree(egg)
    tree["buffers"][0]["uri"] = "the%20numbers.bin"
    path = put("a.gltf", json.dumps(tree))
    assert "numbers are in 'the%20numbers.bin', which is not beside it" in error_of(path)
    put("the numbers.bin", data)
    assert len(load_triangles(path)[1]) == egg.n_panels
    assert companion_files(path) == [path, tmp_path / "the numbers.bin"]
    assert companion_files(tmp_path / "a.stl") == [tmp_path / "a.stl"]


@pytest.mark.parametrize("uri", ["../x.bin", "/etc/x.bin", "http://x.org/x.bin", "C:\\x.bin"])
def test_only_files_beside_are_read(put, egg, uri):
    tree, _ = gltf_tree(egg)
    tree["buffers"][0]["uri"] = uri
    assert "which is not one beside it" in error_of(put("a.gltf", json.dumps(tree)))


def test_strips_fans_and_plain_lists(put):
    points = CORNERS.astype("<f4").tobytes()
    meshes = [{"primitives": [{"attributes": {"POSITION": 0}, "mode": m}]} for m in (5, 6, 1)]
    tree = {
        "asset": {},
        "buffers": [{"byteLength": len(points)}],
        "bufferViews": [{"buffer": 0, "byteLength": len(points)}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 5, "type": "VEC3"}],
        "meshes": meshes,
        "nodes": [{"mesh": 0}, {"mesh": 1}, {"mesh": 2}],
    }
    strip, fan = load_parts(put("a.gltf", inside(tree, points)))
    assert strip.triangles.tolist() == [[0, 1, 2], [1, 3, 2], [2, 3, 4]]
    assert fan.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [0, 3, 4]]


@pytest.mark.parametrize(
    ("place", "value", "message"),
    [
        (("nodes",), [{"mesh": 0, "children": [0]}], "nested in a circle, deeper than 60"),
        (
            ("nodes",),
            [{"children": [k + 1, k + 1]} for k in range(40)] + [{"mesh": 0}],
            "placed more than 20000 times",
        ),
        (("nodes", 0, "mesh"), 7, "it names meshes 7, but has 1 of them"),
        (("nodes", 0, "mesh"), -1, "it names meshes -1"),
        (("nodes", 0, "scale"), [1e300, 1, 1], "scale of a node is not 3 believable numbers"),
        (("nodes", 0, "rotation"), [0, 0, 0, 0], "a rotation has the length 0, not 1"),
        (("nodes", 0, "children"), {}, "children is not a list"),
        (("accessors", 0, "count"), 10**9, "promises 12000000000 bytes of"),
        (("accessors", 0, "count"), 1e300, "count is 1e+300, not a possible number"),
        (("accessors", 0, "type"), "VEC2", "accessor 0 is not of a kind that can be read"),
        (("accessors", 1, "componentType"), 5126, "corners that are not whole numbers"),
        (("accessors", 0, "sparse"), {}, "it holds sparse numbers"),
        (("bufferViews", 0, "byteLength"), 10**9, "a view promises 1000000000 bytes"),
        (("bufferViews", 0, "byteStride"), 4, "cut short"),
        (("meshes", 0, "primitives", 0, "mode"), 9, "a mesh is of unknown mode 9"),
        (("extensionsRequired",), ["KHR_draco_mesh_compression"], "its numbers are compressed"),
        (("buffers", 0, "uri"), "data:;base64,%%%", "buffer 0 cannot be decoded"),
        (("buffers", 0, "uri"), 5, "buffer 0 is not there"),
    ],
)
def test_faults_of_a_gltf(put, egg, place, value, message):
    tree = json.loads(inside(*gltf_tree(egg)))
    inner = tree
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = value
    assert message in error_of(put("a.gltf", json.dumps(tree)))


def test_many_triangles_by_copies_are_refused(put, egg, monkeypatch):
    monkeypatch.setattr(packed_formats, "MOST_TRIANGLES", 3 * egg.n_panels - 1)
    tree, data = gltf_tree(egg, nodes=[{"mesh": 0}] * 3, scenes=[{"nodes": [0, 1, 2]}])
    assert "more than" in error_of(put("a.gltf", inside(tree, data)))


@pytest.mark.parametrize("text", ['{"asset": ', "[" * 100_000, '{"asset": {}, "nodes": 5}'])
def test_json_that_is_none(put, text):
    name = "a.gltf"
    assert error_of(put(name, text)).startswith("a.gltf: not a mesh that can be read as .gltf: ")


def test_faults_of_a_glb(put, egg):
    data = encoded(egg.vertices, egg.triangles, "body.glb")
    cases = [
        (data + b"\0", "promises "),
        (data[:4] + b"\1" + data[5:], "of version 1; only version 2"),
        (data[:12] + b"\xff\xff\xff\x7f" + data[16:], "a chunk promises 2147483647 bytes"),
        (data[:16] + b"NOSJ" + data[20:], "its first chunk is no JSON"),
    ]
    for content, message in cases:
        assert message in error_of(put("a.glb", content))


# 3MF


MESH = (
    '<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
    '<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices><triangles>'
    '<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>'
)
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"


def model(objects, items, unit="inch"):
    return (
        f'<?xml version="1.0"?><model unit="{unit}" xmlns="{CORE}" xmlns:p="{PRODUCTION}">'
        f"<resources>{objects}</resources><build>{items}</build></model>"
    )


def package(**models):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in models.items():
            archive.writestr(name.replace("__", "/") + ".model", text)
    return stream.getvalue()


def test_objects_components_and_items_of_a_3mf(put):
    objects = (
        f'<object id="1" name="corner">{MESH}</object>'
        '<object id="2" name="pair"><components><component objectid="1"/>'
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 5 6 7"/></components></object>'
    )
    items = '<item objectid="2" transform="0 2 0 -2 0 0 0 0 2 10 20 30"/><item objectid="1"/>'
    pair, corner = load_parts(put("a.3mf", package(**{"3D__3dmodel": model(objects, items)})))
    assert (pair.name, corner.name, pair.unit) == ("pair", "corner", "in")
    tetra = corner.vertices
    assert tetra.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    linear, shift = np.array([[0, 2, 0], [-2, 0, 0], [0, 0, 2]]), [10, 20, 30]
    second = tetra * [-1, 1, 1] + [5, 6, 7]
    assert (
        pair.vertices.tolist()
        == np.vstack([tetra @ linear + shift, second @ linear + shift]).tolist()
    )
    # the mirrored copy is turned over once more: both stay outward
    volume = SurfaceMesh(pair.vertices, pair.triangles).volume
    assert volume == pytest.approx(2 * 8.0 / 6.0, rel=1e-12)


def test_objects_in_other_models_of_a_3mf(put):
    inner = '<component p:path="/3D/b.model" objectid="1"/>'
    objects = f'<object id="7"><components>{inner}</components></object>'
    root = model(objects, '<item objectid="7"/>', unit="meter")
    other = model(f'<object id="1">{MESH}</object>', "", unit="meter")
    (part,) = load_parts(put("a.3mf", package(**{"3D__3dmodel": root, "3D__b": other})))
    assert (part.name, part.unit, len(part.triangles)) == ("object 7", "m", 4)


@pytest.mark.parametrize(("unit", "known", "factor"), [("micron", "mm", 1e-3), ("foot", "ft", 1.0)])
def test_units_of_a_3mf(put, unit, known, factor):
    text = model(f'<object id="1">{MESH}</object>', '<item objectid="1"/>', unit)
    (part,) = load_parts(put("a.3mf", package(**{"3D__3dmodel": text})))
    assert part.unit == known
    assert part.vertices.max() == factor


def ring_of_objects():
    text = "".join(
        f'<object id="{k}"><components><component objectid="{(k + 1) % 3}"/></components></object>'
        for k in range(3)
    )
    return model(text, '<item objectid="0"/>')


def doubling_objects(depth=40):
    text = "".join(
        f'<object id="{k}"><components><component objectid="{k + 1}"/>'
        f'<component objectid="{k + 1}"/></components></object>'
        for k in range(depth)
    )
    return model(f'{text}<object id="{depth}">{MESH}</object>', '<item objectid="0"/>')


ITEM = '<item objectid="1"/>'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (ring_of_objects(), "its objects are made of each other in a circle"),
        (doubling_objects(), "placed more than 20000 times"),
        (model(f'<object id="1">{MESH}</object>', ITEM, "ell"), "its unit 'ell' is not one of mic"),
        (model("", ITEM), "it places an object '1' that it does not hold"),
        (model(f'<object id="1">{MESH}</object>', ITEM)[:-20], "its model is no whole XML"),
        (
            "<?xml version='1.0'?><!DOCTYPE a><a/>",
            "its model declares a document type or entities",
        ),
        (
            "<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a/>",
            "its model declares a document type or entities",
        ),
        (
            model(f'<object id="1">{MESH}</object>', ITEM).replace('v2="2"', 'v2="9"'),
            "triangles name points",
        ),
        (
            model(f'<object id="1">{MESH}</object>', ITEM).replace('v2="2"', 'v2="1e99"'),
            "line 1 of its model cannot be read (ValueError",
        ),
        (
            model(f'<object id="1">{MESH}</object>', ITEM).replace(
                'v2="2"', 'v2="9' + "9" * 30 + '"'
            ),
            "line 1 of its model cannot be read (OverflowError",
        ),
        (
            model(f'<object id="1">{MESH}</object>', ITEM).replace(' y="1"', ""),
            "line 1 of its model cannot be read (KeyError",
        ),
        (
            model(f'<object id="1">{MESH}</object>', '<item objectid="1" transform="1 2"/>'),
            "a transform is not twelve believable numbers",
        ),
        (model("", ""), "no triangles in the file"),
    ],
)
def test_faults_of_a_3mf(put, text, message):
    assert message in error_of(put("a.3mf", package(**{"3D__3dmodel": text})))


def test_3mf_without_a_model_and_other_archives(put):
    assert "it holds no model '3D/3dmodel.model'" in error_of(put("a.3mf", package(readme="x")))
    assert "it cannot be unpacked" in error_of(put("a.3mf", b"PK\3\4" + b"x" * 200))


def test_bombs_are_not_unpacked(put):
    bomb = package(**{"3D__3dmodel": "<model>" + " " * 30_000_000})
    assert len(bomb) < 40_000
    message = error_of(put("a.3mf", bomb))
    assert "unpacked it would have 30 MB from 0.0 MB; 1074 MB and 200 times are allowed" in message


def test_sizes_that_the_archive_does_not_admit(put, monkeypatch):
    monkeypatch.setattr(packed_formats, "MOST_UNPACKED", 500)
    text = model(f'<object id="1">{MESH}</object>', ITEM)
    data = bytearray(package(**{"3D__3dmodel": text}))
    place = data.rindex(b"PK\1\2") + 24  # uncompressed size in the directory
    data[place : place + 4] = (400).to_bytes(4, "little")
    with pytest.raises(SurfaceError, match=r"cannot be unpacked|no whole XML|larger than 500"):
        load_parts(put("a.3mf", bytes(data)))


# STEP


def has_distribution(name):
    try:
        version(name)
    except PackageNotFoundError:
        return False
    return True


needs_gmsh = pytest.mark.skipif(not has_distribution("gmsh"), reason="extra panelcp[cad] not there")
STEP = """\
ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('an invented ball'),'2;1');
FILE_NAME('ball','2000-01-01T00:00:00',(''),(''),'','','');
FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));
ENDSEC;
DATA;
#1=APPLICATION_CONTEXT('automotive design');
#2=PRODUCT_CONTEXT('',#1,'mechanical');
#3=PRODUCT('ball','ball','',(#2));
#4=PRODUCT_DEFINITION_FORMATION('','',#3);
#5=PRODUCT_DEFINITION_CONTEXT('part definition',#1,'design');
#6=PRODUCT_DEFINITION('design','',#4,#5);
#7=PRODUCT_DEFINITION_SHAPE('','',#6);
#8=SHAPE_DEFINITION_REPRESENTATION(#7,#9);
#9=ADVANCED_BREP_SHAPE_REPRESENTATION('',(#10,#14),#30);
#10=AXIS2_PLACEMENT_3D('',#11,#12,#13);
#11=CARTESIAN_POINT('',(0.,0.,0.));
#12=DIRECTION('',(0.,0.,1.));
#13=DIRECTION('',(1.,0.,0.));
#14=MANIFOLD_SOLID_BREP('ball',#15);
#15=CLOSED_SHELL('',(#16));
#16=ADVANCED_FACE('',(#17),#21,.T.);
#17=FACE_BOUND('',#18,.T.);
#18=VERTEX_LOOP('',#19);
#19=VERTEX_POINT('',#20);
#20=CARTESIAN_POINT('',(0.,0.,-1.5));
#21=SPHERICAL_SURFACE('',#10,1.5);
#30=(GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#31))
GLOBAL_UNIT_ASSIGNED_CONTEXT((#32,#33,#34)) REPRESENTATION_CONTEXT('',''));
#31=UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-7),#32,'','');
#32=(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.));
#33=(NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.));
#34=(NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT());
ENDSEC;
END-ISO-10303-21;
"""


def ball_surface(part):
    from panelcp.surface.scenes import welded

    return SurfaceMesh(*welded(part.vertices, part.triangles))


@needs_gmsh
def test_step_is_meshed_in_mm_on_its_exact_surface(put):
    import sys

    (part,) = load_parts(put("ball.step", STEP))
    assert part.unit == "mm"
    # the file is in metres
    radius = np.linalg.norm(part.vertices, axis=1)
    assert radius == pytest.approx(1500.0, abs=1e-6)
    surface = ball_surface(part)
    assert (surface.edge_neighbours >= 0).all()
    # edges of 1/32 of the circle: 0.6 % of the volume is between them
    assert surface.volume == pytest.approx(4.0 / 3.0 * np.pi * 1500.0**3, rel=0.01)
    assert "gmsh" not in sys.modules


@needs_gmsh
def test_size_of_triangles_on_step_surfaces(put):
    path = put("ball.STP", STEP)
    coarse, fine = (load_parts(path, step_size=size)[0] for size in (300.0, 100.0))
    assert len(fine.triangles) > 3 * len(coarse.triangles)
    with pytest.raises(SurfaceError, match=r"ball.STP: step_size must be above 0, not -1"):
        load_parts(path, step_size=-1.0)


@needs_gmsh
def test_step_that_cannot_be_meshed(put):
    assert "not a STEP file that can be meshed (" in error_of(put("a.step", "ISO-10303-21;\n"))
    assert "not a STEP file that can be meshed (" in error_of(put("a.stp", STEP[: len(STEP) // 2]))


@needs_gmsh
def test_time_limit_of_the_mesher(put):
    with pytest.raises(SurfaceError, match="meshing took more than 0 s and was given up"):
        step_worker.mesh_step(put("a.step", STEP), time_limit=0.01)


def test_missing_extra_is_said(put, monkeypatch):
    monkeypatch.setattr(step_worker, "has_gmsh", lambda: False)
    assert error_of(put("a.step", STEP)) == (
        "a.step: STEP needs an extra package: pip install 'panelcp[cad]'; or export the skin as "
        "STL or OBJ from your CAD"
    )


# files that are no mesh


BAD_FILES = [
    *((f"empty{suffix}", b"", f"empty{suffix}: the file is empty") for suffix in FORMATS),
    ("body.xyz", b"1 2 3", "unknown mesh format '.xyz' for body.xyz; known: .3mf, .glb, .gltf"),
    ("body", b"solid", "unknown mesh format '' for body"),
    ("text.stl", b"This is not a mesh at all.", "text.stl: not a mesh: 26 bytes that do not begin"),
    ("text.obj", b"This is not a mesh at all.", "text.obj: no triangles"),
    ("text.ply", b"This is not a mesh at all.", "text.ply: not a mesh that can be read as .ply: "),
    ("long.stl", b"Dear Sir, " * 30, "promises 1918985540 triangles in 95949277084 bytes, but has"),
    ("solid.stl", b"solid nothing\nendsolid nothing\n", "solid.stl: no triangles"),
    ("page.stl", b"<!DOCTYPE html><html>", "page.stl: is a page of the web, not the file itself"),
    ("a.stl", b"\x1f\x8b" + b"x" * 99, "a.stl: is packed (gzip); unpack it"),
    ("a.obj", b"<?xml version='1.0'?><x/>", "a.obj: is an XML file of another kind"),
    ("a.obj", b"\x89PNG\r\n", "a.obj: is a document or a picture"),
    ("a.step", b" " * 72 + b"S      1\n", "a.step: is a file of exact surfaces (IGES)"),
    ("a.obj", b"  0\nSECTION\n", "a.obj: is a drawing (DXF)"),
    ("random.stl", np.random.default_rng(3).bytes(4000), "It is cut short or no STL"),
    ("random.obj", np.random.default_rng(3).bytes(4000), "random.obj: "),
    ("random.ply", np.random.default_rng(3).bytes(4000), "random.ply: not a mesh"),
]


@pytest.mark.parametrize(("name", "content", "message"), BAD_FILES)
def test_files_that_are_no_mesh(put, capfd, name, content, message):
    assert message in error_of(put(name, content))
    assert capfd.readouterr() == ("", "")


def test_folders_missing_files_and_forbidden_ones(tmp_path, put, monkeypatch):
    assert "is a folder; give a mesh file (.3mf, .glb" in error_of(tmp_path)
    assert "nowhere.stl: no such file" in error_of(tmp_path / "nowhere.stl")
    path = put("a.stl", b"solid")
    monkeypatch.setattr(formats.os, "access", lambda *_: False)
    assert "may not be read (permissions)" in error_of(path)
    assert os.access is formats.os.access


@pytest.mark.parametrize("name", ["text.stl", "body.obj", "text.ply", "body.off"])
def test_text_in_other_encodings(put, egg, name):
    text = encoded(egg.vertices, egg.triangles, name)
    for data in (
        b"\xef\xbb\xbf" + text,
        text.decode().encode("utf-16"),
        text.replace(b"\n", b"\r\n"),
        text.replace(b"\n", b"\r"),
        text.replace(b"\n", b"\n# gr\xf6\xdfe\n", 1) if name in ("body.obj", "body.off") else text,
    ):
        assert len(load_triangles(put(name, data))[1]) == egg.n_panels


def test_parts_are_joined_in_order(put):
    lines = [f"v {x} {y} {z}" for x, y, z in CORNERS]
    text = "\n".join([*lines, "o a", "f 1 2 3", "o b", "f 3 4 5", "f 1 2 5"])
    path = put("a.obj", text)
    assert [len(part.triangles) for part in load_parts(path)] == [1, 2]
    vertices, triangles = load_triangles(path)
    wanted = CORNERS[[[0, 1, 2], [2, 3, 4], [0, 1, 4]]]
    assert np.array_equal(vertices[triangles], wanted)
