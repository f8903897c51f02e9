"""surface.vtu read back with a general-purpose reader, and taken apart by the format's rules."""

import base64
import hashlib
import os
import struct
import subprocess
import sys
import zlib
from dataclasses import fields
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.report.contents import AirContents
from panelcp.report.exports import glb_bytes, vtu_bytes, write_vtu
from panelcp.report.exports.skin_fields import (
    condition_fields,
    condition_label,
    felt_pressure,
    key,
    lasting_fields,
    opening_cover,
    plain_name,
    shown_openings,
    slipstream_deviation,
    total_pressure_rise,
)
from panelcp.report.exports.vtu import BLOCK, _packed
from panelcp.surface.opening import lay_opening, paired, panel_cover
from tests import bodies
from tests.case.test_solving import BLOWN
from tests.cases import changed, ranked
from tests.report.exports.made_up import box_flow

TYPES = {"Float32": "<f4", "Float64": "<f8", "Int32": "<i4", "Int8": "<i1", "UInt8": "<u1"}
HARD = 'climb, "hot" <& größer>'


def contents():
    """A run with slipstream and layers, whose first condition has a name hard to write."""
    text = changed('name = "climb"', 'name = "climb, \\"hot\\" <& größer>"', BLOWN)
    return ranked(changed("{ climb =", '{ "climb, \\"hot\\" <& größer>" =', text))[1]


@cache
def written() -> bytes:
    return vtu_bytes(contents())


def unpacked(array) -> np.ndarray:
    """A DataArray as the format says: header in base64, then the blocks in base64."""
    if array.get("format") == "ascii":
        return np.array([float(word) for word in array.text.split()])
    text = array.text.strip()
    (count,) = struct.unpack("<I", base64.b64decode(text[:8])[:4])
    length = 4 * (3 + count)
    letters = 4 * -(-length // 3)
    _, size, last, *packed = struct.unpack(f"<{3 + count}I", base64.b64decode(text[:letters]))
    data, at, raw = base64.b64decode(text[letters:]), 0, b""
    for k, part in enumerate(packed):
        block = zlib.decompress(data[at : at + part])
        assert len(block) == (last if k == count - 1 and last else size)
        raw, at = raw + block, at + part
    assert at == len(data)
    values = np.frombuffer(raw, TYPES[array.get("type")])
    components = int(array.get("NumberOfComponents", "1"))
    return values.reshape(-1, components) if components > 1 else values


@cache
def taken_apart():
    root = ElementTree.fromstring(written())
    grid = root.find("UnstructuredGrid")
    piece = grid.find("Piece")
    parts = {
        name: {array.get("Name"): unpacked(array) for array in place.findall("DataArray")}
        for name, place in (
            ("field", grid.find("FieldData")),
            ("points", piece.find("Points")),
            ("cells", piece.find("Cells")),
            ("cell data", piece.find("CellData")),
        )
    }
    return root, piece, parts


def all_fields():
    return [*lasting_fields(contents()), *condition_fields(contents())]


def assert_same(read, values):
    """Whole numbers are equal, others to the precision of float32."""
    assert read.shape == values.shape
    if np.issubdtype(values.dtype, np.integer):
        assert np.array_equal(read, values)
    else:
        assert np.array_equal(read, values.astype(np.float32), equal_nan=True)


def test_a_library_reads_places_triangles_and_all_fields(tmp_path):
    meshio = pytest.importorskip("meshio")
    write_vtu(contents(), tmp_path / "surface.vtu")
    mesh, surface = meshio.read(tmp_path / "surface.vtu"), contents().flow.surface
    assert np.array_equal(mesh.points, surface.vertices)
    assert mesh.points.dtype == np.float64
    assert [block.type for block in mesh.cells] == ["triangle"]
    assert np.array_equal(mesh.cells[0].data, surface.triangles)
    assert list(mesh.cell_data) == [field.name for field in all_fields()]
    for field in all_fields():
        assert_same(mesh.cell_data[field.name][0], field.values)
    numbers = dict(key(contents()))
    assert list(mesh.field_data) == list(numbers)
    assert all(mesh.field_data[name] == [value] for name, value in numbers.items())


def test_the_rules_of_the_format_alone_give_the_same():
    root, piece, parts = taken_apart()
    surface = contents().flow.surface
    assert root.get("type") == "UnstructuredGrid"
    assert (root.get("byte_order"), root.get("header_type")) == ("LittleEndian", "UInt32")
    assert root.get("compressor") == "vtkZLibDataCompressor"
    assert int(piece.get("NumberOfPoints")) == surface.n_vertices
    assert int(piece.get("NumberOfCells")) == surface.n_panels
    assert np.array_equal(parts["points"]["Points"], surface.vertices)
    cells = parts["cells"]
    assert np.array_equal(cells["connectivity"].reshape(-1, 3), surface.triangles)
    assert np.array_equal(cells["offsets"], 3 * np.arange(1, surface.n_panels + 1))
    assert set(cells["types"]) == {5}
    assert list(parts["cell data"]) == [field.name for field in all_fields()]
    for field in all_fields():
        assert_same(parts["cell data"][field.name], field.values)


def test_fields_are_those_of_the_run():
    _, _, parts = taken_apart()
    cells, found = parts["cell data"], contents()
    flow = found.flow
    for c, condition in enumerate(flow.conditions):
        label = f"0{c + 1} {condition.name}"
        assert label == condition_label(flow, c)
        pressure = flow.gauge_pressure[c] + flow.separation_change[c]
        assert np.allclose(cells[f"{label}: gauge pressure Pa"], pressure, rtol=1e-6, atol=1e-6)
        assert np.allclose(cells[f"{label}: velocity m/s"], flow.velocity[c], rtol=1e-6, atol=1e-6)
        assert np.array_equal(cells[f"{label}: air state"], found.skin_state[c])
        assert (f"{label}: Cp" in cells) == (condition.dynamic_pressure > 0.0)
    assert f"01 {HARD}: Cp" in cells
    assert np.array_equal(cells["region"], flow.surface.region_index)


def test_source_strengths_give_the_velocity_that_the_solver_gave():
    """Without slipstream they are the stream times those of the three unit streams."""
    found, (_, _, parts) = contents(), taken_apart()
    unit = found.solutions.main
    steady = [c for c in found.solutions.parts[0].numbers if not found.flow.mean_rise[c]]
    assert steady
    for c in steady:
        stream = found.flow.conditions[c].stream
        label = condition_label(found.flow, c)
        assert np.allclose(
            parts["cell data"][f"{label}: source strength m/s"],
            stream @ unit.source_strength[:3],
            rtol=1e-5,
            atol=1e-5,
        )
        assert np.allclose(
            np.einsum("u,uni->ni", stream, unit.velocity[:3]), found.flow.velocity[c], atol=1e-9
        )


def test_rise_of_total_pressure_is_none_without_slipstream():
    flow = contents().flow
    rise = total_pressure_rise(flow)
    for c in range(len(flow.conditions)):
        assert (np.abs(rise[c]).max() < 1e-8) == (flow.mean_rise[c] == 0.0)
    blown = int(np.argmax(flow.mean_rise))
    assert 0.5 * flow.mean_rise[blown] < rise[blown].max() < 3.0 * flow.mean_rise[blown]
    kinetic = 0.5 * flow.conditions[blown].air.density * (flow.velocity[blown] ** 2).sum(axis=1)
    total = flow.gauge_pressure[blown] + flow.wetting[blown] * kinetic
    assert np.allclose(rise[blown], total - flow.dynamic_pressure[blown])


def test_deviation_by_slipstream_is_none_at_rest():
    flow = contents().flow
    deviation = slipstream_deviation(flow)
    assert (deviation >= 0.0).all()
    for c in range(len(flow.conditions)):
        assert deviation[c].any() == (flow.mean_rise[c] != 0.0)


def test_the_key_says_what_numbers_stand_for():
    numbers = dict(key(contents()))
    assert numbers["region 0 is unnamed"] == 0
    assert {f"air state {n} is {word}" for n, word in STATE_NAMES.items()} <= set(numbers)
    assert numbers["opening 1 is nose"] == 1
    condition = contents().flow.conditions[0]
    assert numbers[f"01 {HARD}: dynamic pressure Pa"] == condition.dynamic_pressure
    assert numbers[f"01 {HARD}: angle of attack or attitude deg"] == 6.0
    assert len(numbers) == len(key(contents()))


def test_opening_of_a_panel_is_the_one_that_covers_most_of_it():
    _, _, parts = taken_apart()
    surface, openings = contents().flow.surface, shown_openings(contents())
    cover = np.array([panel_cover(surface, opening) for opening in openings])
    assert np.abs(opening_cover(surface, openings) - cover).max() < 1e-9
    number = parts["cell data"]["opening"]
    for panel in range(surface.n_panels):
        if number[panel] == 0:
            assert cover[:, panel].max() == 0.0
        else:
            assert cover[number[panel] - 1, panel] == pytest.approx(cover[:, panel].max())
    assert set(number) > {0, 1, 2}
    area = (cover[0] * surface.areas).sum()
    assert area == pytest.approx(openings[0].area, rel=0.02)


def test_a_twin_is_part_of_its_opening():
    surface = bodies.box((2.0, 1.0, 0.8), (8, 5, 4))
    right, left = (
        lay_opening(surface, "louvre", [0.0, side * 0.5, 0.0], 0.5, 0.4) for side in (1.0, -1.0)
    )
    (cover,) = opening_cover(surface, [paired(right, left, "louvres")])
    assert np.allclose(cover, panel_cover(surface, right) + panel_cover(surface, left))
    assert (cover * surface.areas).sum() == pytest.approx(2.0 * 0.5 * 0.4)


def test_a_flow_alone_is_written_too(tmp_path):
    flow = box_flow()
    root = ElementTree.fromstring(vtu_bytes(flow))
    arrays = root.find("UnstructuredGrid/Piece/CellData").findall("DataArray")
    names = [array.get("Name") for array in arrays]
    assert names == [
        "area m2",
        "normal",
        "region",
        "01 fast: Cp",
        "01 fast: gauge pressure Pa",
        "01 fast: velocity m/s",
        "02 parked: gauge pressure Pa",
        "02 parked: velocity m/s",
    ]
    assert_same(unpacked(arrays[4]), felt_pressure(flow)[0])
    q = flow.conditions[0].dynamic_pressure
    assert np.allclose(unpacked(arrays[3]), flow.gauge_pressure[0] / q, rtol=1e-6)


def test_a_run_without_ranking_shows_the_openings_of_the_case():
    found = contents()
    kept = {f.name: getattr(found, f.name) for f in fields(AirContents)}
    alone = AirContents(**{**kept, "ranking": None})
    assert [o.name for o in shown_openings(alone)] == [o.name for o in found.openings.openings]
    names = [field.name for field in condition_fields(alone)]
    assert names == [field.name for field in condition_fields(found)]
    assert b"opening 1 is nose" in vtu_bytes(alone)


def test_separated_air_is_in_the_pressure_and_beside_it():
    flow = box_flow()
    change = np.zeros(flow.gauge_pressure.shape)
    change[0, 3], change[1, 5] = -40.0, 25.0
    felt = {f.name: f.values for f in condition_fields(flow.with_separation(change, abs(change)))}
    assert np.array_equal(felt["01 fast: pressure added by separated air Pa"], change[0])
    assert np.array_equal(felt["02 parked: gauge pressure Pa"], flow.gauge_pressure[1] + change[1])
    assert felt["01 fast: pressure deviation by separated air Pa"][3] == 40.0


def test_names_keep_their_letters_but_those_that_cannot_be_seen():
    assert plain_name("a\u202eb\n c\u200b") == "ab c"
    assert plain_name(HARD) == HARD


def test_many_blocks_hold_what_one_holds():
    data = np.arange(BLOCK // 2, dtype="<f4").tobytes()
    assert len(data) == 2 * BLOCK
    for cut in (data, data[: BLOCK + 100], data[:100], b""):
        array = ElementTree.Element("DataArray", {"type": "UInt8", "format": "binary"})
        array.text = _packed(cut)
        assert unpacked(array).tobytes() == cut


SCRIPT = """
import hashlib
from panelcp.report.exports import glb_bytes, vtu_bytes
from tests.report.exports.made_up import box_flow
print(hashlib.sha256(vtu_bytes(box_flow()) + glb_bytes(box_flow())).hexdigest())
"""


def test_another_process_writes_the_same_bytes():
    root = Path(__file__).resolve().parents[3]
    seed = "77" if os.environ.get("PYTHONHASHSEED") != "77" else "78"
    printed = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        cwd=root,
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    here = vtu_bytes(box_flow()) + glb_bytes(box_flow())
    assert printed.strip() == hashlib.sha256(here).hexdigest()


def test_the_same_run_gives_the_same_bytes():
    assert vtu_bytes(contents()) == written()
