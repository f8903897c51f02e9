"""surface.glb read back with a general-purpose reader, and taken apart by the rules of glTF 2.0."""

import json
import struct
from dataclasses import fields
from functools import cache

import numpy as np
import pytest
import trimesh

from panelcp.errors import FlowError
from panelcp.flow.superposition import SurfaceFlow, interpolated_pressure
from panelcp.report.colours import pressure_scale
from panelcp.report.contents import AirContents, in_pascal
from panelcp.report.exports import glb_bytes, write_glb
from panelcp.report.exports.glb import (
    LIFT,
    TURN,
    hardest_condition,
    linear_light,
    map_scale,
    scale_colours,
)
from panelcp.report.exports.gltf_container import Buffer, packed
from panelcp.report.exports.skin_fields import shown_openings
from panelcp.report.sheets import shown_panels
from panelcp.surface.interpolation import corner_operator
from tests.case.test_solving import BLOWN
from tests.cases import ranked
from tests.report.exports.made_up import box_flow

TYPES = {5126: "<f4", 5123: "<u2", 5125: "<u4"}
WIDTHS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}


def contents():
    return ranked(BLOWN)[1]


@cache
def written() -> bytes:
    return glb_bytes(contents())


def taken_apart(data: bytes):
    """Document and arrays, every rule checked on the way that can be checked without a viewer."""
    magic, version, length = struct.unpack("<3I", data[:12])
    assert (magic, version, length) == (0x46546C67, 2, len(data))
    size, kind = struct.unpack("<2I", data[12:20])
    assert (kind, size % 4) == (0x4E4F534A, 0)
    document = json.loads(data[20 : 20 + size].decode())
    binary_size, binary_kind = struct.unpack("<2I", data[20 + size : 28 + size])
    assert (binary_kind, binary_size % 4) == (0x004E4942, 0)
    binary = data[28 + size :]
    assert len(binary) == binary_size
    assert document["buffers"] == [{"byteLength": binary_size}]
    arrays = [array_of(document, accessor, binary) for accessor in document["accessors"]]
    return document, arrays


def array_of(document, accessor, binary) -> np.ndarray:
    view = document["bufferViews"][accessor["bufferView"]]
    kind, width = TYPES[accessor["componentType"]], WIDTHS[accessor["type"]]
    assert view["byteOffset"] % 4 == 0
    assert view["byteOffset"] + view["byteLength"] <= len(binary)
    assert view["byteLength"] == accessor["count"] * width * np.dtype(kind).itemsize
    array = np.frombuffer(binary, kind, accessor["count"] * width, view["byteOffset"])
    array = array.reshape(-1, width)
    assert array.min(axis=0).tolist() == accessor["min"]
    assert array.max(axis=0).tolist() == accessor["max"]
    assert np.isfinite(array).all()
    if view["target"] == 34962:
        assert array.strides[0] % 4 == 0, "every vertex begins on four bytes"
    return array[:, 0] if width == 1 else array


def skin_of(data: bytes):
    document, arrays = taken_apart(data)
    (primitive,) = document["meshes"][0]["primitives"]
    assert primitive["mode"] == 4
    parts = {name: arrays[number] for name, number in primitive["attributes"].items()}
    assert len({len(part) for part in parts.values()}) == 1
    return document, parts, arrays[primitive["indices"]].reshape(-1, 3)


def srgb(linear) -> np.ndarray:
    """The inverse of `linear_light`, written on its own."""
    linear = np.asarray(linear, dtype=float)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def corner_pressure(flow: SurfaceFlow) -> np.ndarray:
    """(n_conditions, n_panels, 3) Pa."""
    pressure = interpolated_pressure(flow, corner_operator(flow.surface))
    return pressure.reshape(len(flow.conditions), -1, 3)


def test_every_reference_leads_somewhere_and_nothing_is_unused():
    document, arrays = taken_apart(written())
    assert document["asset"]["version"] == "2.0"
    used = set()
    for mesh in document["meshes"]:
        for primitive in mesh["primitives"]:
            used |= set(primitive["attributes"].values())
            used |= {primitive["indices"]} if "indices" in primitive else set()
            assert all(
                name in ("POSITION", "NORMAL", "COLOR_0") or name.startswith("_")
                for name in primitive["attributes"]
            )
    assert used == set(range(len(arrays)))
    assert {accessor["bufferView"] for accessor in document["accessors"]} == used
    materials = [p["material"] for mesh in document["meshes"] for p in mesh["primitives"]]
    assert set(materials) == set(range(len(document["materials"])))
    unlit = document["extensionsUsed"]
    assert all(list(material["extensions"]) == unlit for material in document["materials"])
    nodes = document["nodes"]
    reached = [*document["scenes"][0]["nodes"]]
    for node in list(reached):
        reached += nodes[node].get("children", [])
    assert sorted(reached) == list(range(len(nodes)))


def test_axes_are_turned_and_turned_back():
    assert np.linalg.det(TURN) == pytest.approx(1.0)
    nose, right_wing, up = np.array([-1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0])
    assert (TURN @ nose).tolist() == [0.0, 0.0, 1.0]
    assert (TURN @ right_wing).tolist() == [-1.0, 0.0, 0.0]
    assert (TURN @ up).tolist() == [0.0, 1.0, 0.0]
    _, parts, triangles = skin_of(written())
    surface = contents().flow.surface
    back = parts["POSITION"].astype(float) @ TURN
    assert np.abs(back[triangles] - surface.corners).max() < 1e-6
    normals = parts["NORMAL"].astype(float) @ TURN
    assert np.allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-6)
    own = np.einsum("pci,pi->pc", normals[triangles], surface.normals)
    assert own.min() > 0.7, "the triangles look outward as the vertices say"


def test_colours_are_those_of_the_map():
    found = contents()
    c = hardest_condition(found)
    assert c == found.ranking.limiting[0]
    scale = map_scale(found, c)
    document, parts, triangles = skin_of(written())
    cp = corner_pressure(found.flow)[c] / found.flow.dynamic_pressure[c]
    table = scale.colour_table
    place = ((cp / scale.limit + 1.0) * 0.5 * len(table)).astype(int).clip(0, len(table) - 1)
    colours = parts["COLOR_0"][triangles] / 65535.0
    assert np.abs(srgb(colours[..., :3]) - table[place]).max() < 0.1 / 255.0
    assert (parts["COLOR_0"][:, 3] == 65535).all()
    number = document["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"]
    assert [k for k, one in enumerate(document["accessors"]) if "normalized" in one] == [number]
    assert document["accessors"][number]["normalized"] is True
    assert len(np.unique(parts["COLOR_0"], axis=0)) > 30


def test_scale_is_that_of_the_maps():
    found = contents()
    flow, shown = found.flow, shown_panels(found)
    flown = [c for c in np.flatnonzero(flow.moving) if not in_pascal(flow.conditions[c])]
    scales = [map_scale(found, int(c)) for c in flown]
    assert len({(scale.limit, scale.step) for scale in scales}) == 1
    greatest = np.abs(corner_pressure(flow)[flown] / flow.dynamic_pressure[flown, None, None])
    assert 0.3 * greatest[:, shown].max() < scales[0].limit < 1.2 * greatest.max()


def test_linear_light_is_undone_by_its_inverse():
    values = np.linspace(0.0, 1.0, 256)
    assert np.allclose(srgb(linear_light(values)), values, atol=1e-6)
    sixteen = np.round(65535.0 * linear_light(values)) / 65535.0
    assert np.abs(srgb(sixteen) - values).max() < 0.1 / 255.0
    eight = np.round(255.0 * linear_light(values)) / 255.0
    assert np.abs(srgb(eight) - values).max() > 1.0 / 255.0, "why 16 bits are written"


def test_colours_beyond_the_scale_are_those_of_its_ends():
    scale = pressure_scale(1.0)
    assert np.array_equal(scale_colours([-9.0, 9.0], scale), scale.colour_table[[0, -1]])
    middle = scale.colour_table[len(scale.colour_table) // 2]
    assert np.array_equal(scale_colours(0.0, scale), middle)


def test_pressures_of_all_conditions_go_along():
    found = contents()
    document, parts, triangles = skin_of(written())
    pressure = corner_pressure(found.flow)
    table = document["scenes"][0]["extras"]["vertex_attributes"]
    assert [row["attribute"] for row in table] == [name for name in parts if name[0] == "_"]
    seen = set()
    for row in table:
        names = [condition.name for condition in found.flow.conditions]
        c = names.index(row["condition"])
        assert row["attribute"][-2:] == f"{c + 1:02d}"
        cp = row["attribute"].startswith("_CP_")
        assert row["unit"] == ("dimensionless" if cp else "Pa")
        wanted = pressure[c] / (found.flow.dynamic_pressure[c] if cp else 1.0)
        read = parts[row["attribute"]][triangles]
        assert np.abs(read - wanted).max() < 2e-7 * np.abs(wanted).max() + 1e-12
        seen.add(c)
    assert seen == set(range(len(found.flow.conditions)))


def test_sharp_edges_stay_and_smooth_ones_are_shared():
    flow = box_flow()
    _, parts, triangles = skin_of(glb_bytes(flow))
    corners = flow.surface.corners.reshape(-1, 3) @ TURN.T
    edges = (np.isclose(np.abs(corners[:, [2, 0, 1]]), [1.0, 0.5, 0.4])).sum(axis=1)
    faces = {1: 1, 2: 2, 3: 3}
    places, first = np.unique(corners.round(6), axis=0, return_index=True)
    assert len(parts["POSITION"]) == sum(faces[n] for n in edges[first])
    assert np.allclose(
        parts["NORMAL"][triangles].astype(float) @ TURN, flow.surface.normals[:, None]
    )
    assert len(places) < len(parts["POSITION"]) < 3 * flow.surface.n_panels


def test_outlines_bear_their_names_and_lie_on_the_skin():
    found = contents()
    document, arrays = taken_apart(written())
    openings = shown_openings(found)
    nodes = {node["name"]: node for node in document["nodes"]}
    for opening in openings:
        node = nodes[opening.name]
        (primitive,) = document["meshes"][node["mesh"]]["primitives"]
        assert primitive["mode"] == 1
        lines = arrays[primitive["attributes"]["POSITION"]].astype(float) @ TURN
        lines = lines.reshape(-1, 2, 3) - LIFT * opening.normal
        assert np.allclose(lines[:, 0], opening.outline, atol=1e-6)
        assert np.allclose(lines[:, 1], np.roll(opening.outline, -1, axis=0), atol=1e-6)
        assert node["extras"]["use"] == opening.use
        assert node["extras"]["area_m2"] == pytest.approx(opening.area)
    children = [document["nodes"][k]["name"] for k in nodes["openings"]["children"]]
    twins = [f"{o.name}, twin" for o in openings if o.twin is not None]
    assert sorted(children) == sorted([o.name for o in openings] + twins)


def test_a_library_reads_the_same(tmp_path):
    write_glb(contents(), tmp_path / "surface.glb")
    assert (tmp_path / "surface.glb").read_bytes() == written()
    scene = trimesh.load(tmp_path / "surface.glb", process=False)
    document, parts, triangles = skin_of(written())
    skin = scene.geometry["skin"]
    assert np.array_equal(skin.vertices, parts["POSITION"])
    assert np.array_equal(skin.faces, triangles)
    surface = contents().flow.surface
    assert np.abs((skin.vertices @ TURN)[skin.faces] - surface.corners).max() < 1e-6
    assert skin.volume == pytest.approx(surface.volume, rel=1e-5)
    colours = np.asarray(skin.visual.vertex_attributes["color"], dtype=float)
    scale = colours.max() if colours.max() > 1.0 else 1.0
    assert np.abs(colours / scale - parts["COLOR_0"] / 65535.0).max() < 1.0 / 255.0
    for name in (name for name in parts if name.startswith("_")):
        assert np.array_equal(np.ravel(skin.vertex_attributes[name]), parts[name])
    assert set(scene.geometry) == {"skin"} | {
        node["name"] for node in document["nodes"] if "mesh" in node
    }
    assert scene.metadata["axes"] == document["scenes"][0]["extras"]["axes"]


def test_another_reader_knows_the_parts(tmp_path):
    pygltflib = pytest.importorskip("pygltflib")
    write_glb(contents(), tmp_path / "surface.glb")
    read = pygltflib.GLTF2().load(str(tmp_path / "surface.glb"))
    document, _, _ = skin_of(written())
    assert [node.name for node in read.nodes] == [node["name"] for node in document["nodes"]]
    assert len(read.binary_blob()) == document["buffers"][0]["byteLength"]
    assert [a.count for a in read.accessors] == [a["count"] for a in document["accessors"]]


def test_extras_say_what_is_shown():
    document, _ = taken_apart(written())
    extras, found = document["scenes"][0]["extras"], contents()
    c = hardest_condition(found)
    assert extras["condition_shown"] == found.flow.conditions[c].name
    assert (extras["quantity_shown"], extras["unit_shown"]) == ("Cp", "dimensionless")
    scale, legend = map_scale(found, c), extras["colour_scale"]
    assert (legend["low"], legend["high"]) == (-scale.limit, scale.limit)
    assert [value for value, _ in legend["stops"]] == list(scale.levels)
    (zero,) = (colour for value, colour in legend["stops"] if value == 0.0)
    assert len({zero[1:3], zero[3:5], zero[5:7]}) == 1, "zero is grey"
    assert "nose looks along +z" in extras["axes"]
    assert extras["case"] == found.name


def test_one_condition_may_be_asked_for(tmp_path):
    flow = contents().flow
    name = flow.conditions[1].name
    by_name, by_number = glb_bytes(contents(), name), glb_bytes(contents(), 1)
    assert by_name == by_number != written()
    document, _ = taken_apart(by_name)
    assert document["scenes"][0]["extras"]["condition_shown"] == name
    with pytest.raises(FlowError, match="no condition is called 'towing'; there are: 'climb'"):
        glb_bytes(contents(), "towing")
    with pytest.raises(FlowError, match=r"no condition is called 9; .* or the numbers 0 to 2"):
        glb_bytes(contents(), 9)
    with pytest.raises(FlowError, match="condition parked: no air moves"):
        glb_bytes(box_flow(), "parked")


def test_a_scale_may_be_given():
    scale = pressure_scale(0.25)
    document, _ = taken_apart(glb_bytes(box_flow(), "fast", scale))
    assert document["scenes"][0]["extras"]["colour_scale"]["high"] == scale.limit


def test_a_flow_alone_is_written_without_openings():
    flow = box_flow()
    document, parts, _ = skin_of(glb_bytes(flow))
    assert [node["name"] for node in document["nodes"]] == ["skin"]
    assert [name for name in parts if name[0] == "_"] == ["_CP_01", "_PA_02"]
    assert hardest_condition(flow) == 0
    still = SurfaceFlow(
        flow.surface, flow.conditions[1:], 0.0 * flow.velocity[1:], 0.0 * flow.gauge_pressure[1:]
    )
    with pytest.raises(FlowError, match="no air moves in any"):
        glb_bytes(still)


def test_a_run_without_ranking_shows_its_first_deciding_condition():
    found = contents()
    kept = {field.name: getattr(found, field.name) for field in fields(AirContents)}
    alone = AirContents(**{**kept, "ranking": None, "last_station": 2.0})
    assert found.flow.conditions[hardest_condition(alone)].name == "climb"
    document, _ = taken_apart(glb_bytes(alone))
    assert [node["name"] for node in document["nodes"]] == ["skin", "nose", "chin", "openings"]


def test_on_the_ground_colours_are_in_pascal():
    found = box_flow()
    at_rest = SurfaceFlow(
        found.surface,
        found.conditions,
        found.velocity,
        found.gauge_pressure,
        mean_rise=np.array([0.0, 300.0]),
    )
    document, parts, triangles = skin_of(glb_bytes(at_rest, "parked"))
    extras = document["scenes"][0]["extras"]
    assert (extras["quantity_shown"], extras["unit_shown"]) == ("Pa", "Pa")
    scale = map_scale(at_rest, 1)
    colours = srgb(parts["COLOR_0"][:, :3] / 65535.0)[triangles]
    assert np.abs(colours - scale_colours(corner_pressure(at_rest)[1], scale)).max() < 0.1 / 255.0


def test_many_vertices_have_indices_of_four_bytes():
    buffer = Buffer()
    short, long = buffer.indices([0, 1, 65534]), buffer.indices([0, 1, 65535])
    document, arrays = taken_apart(packed({"asset": {"version": "2.0"}}, buffer))
    assert [document["accessors"][k]["componentType"] for k in (short, long)] == [5123, 5125]
    assert arrays[long].tolist() == [0, 1, 65535]
