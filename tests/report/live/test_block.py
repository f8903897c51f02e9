"""The block of the live page: what it holds is what the unit solutions hold, within its steps."""

import json
import zlib
from dataclasses import replace

import numpy as np
import pytest

from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.quantity import UncertainValue
from panelcp.report.live.block import VELOCITY_STEP, _disc, _frames, block_of_run, live_block
from panelcp.report.live.block_bytes import block_header
from tests import bodies
from tests.cases import ranked

DISC = Propeller(1.9, [-0.7, 0.0, 0.0], "clockwise", UncertainValue(0.85), 240.0)
AROUND = Surroundings(DISC, Wing(10.0, 12.5, [1.5, 0.0, -0.4], 750.0), 105e3)
CLIMB = FlightCondition("climb", 38.6, alpha=4.0, power=1.0)
CONDITIONS = [
    CLIMB,
    replace(CLIMB, name="cruise", true_airspeed=55.0, power=0.6),
    replace(CLIMB, name="approach", true_airspeed=33.0, power=0.2),
    replace(CLIMB, name="steeper", alpha=7.0),
    FlightCondition("run-up", ground_speed=0.0, power=1.0, height=1.5),
    FlightCondition("taxi", ground_speed=6.0, power=0.1, height=1.5),
]
BODY = bodies.mirrored_ellipsoid((0.9, 0.4, 0.4), 2)
TYPES = {"u1": "<u1", "i1": "<i1", "u2": "<u2", "i2": "<i2", "u4": "<u4"}


@pytest.fixture(scope="module", params=["mirrored", "whole"])
def solutions(request):
    """An ellipsoid 0.5 m behind the disc, solved as a half and as a whole."""
    surface = BODY if request.param == "mirrored" else BODY.unmirrored()
    return solve_conditions(surface, CONDITIONS, AROUND)


@pytest.fixture(scope="module")
def block(solutions):
    return live_block(solutions)


def arrays_of(block):
    """Name -> array, read by the description at the head of block.py alone."""
    header = block_header(block)
    start = 8 + int.from_bytes(block[4:8], "little")
    found = {}
    for entry in header["arrays"]:
        kind = np.dtype(TYPES[entry["type"]])
        size = int(np.prod(entry["shape"]))
        raw = block[start + entry["at"] : start + entry["at"] + size * kind.itemsize]
        raw = np.frombuffer(raw, np.uint8).reshape(kind.itemsize, size).T.tobytes()
        found[entry["name"]] = np.frombuffer(raw, kind).reshape(entry["shape"])
    return header, found


def velocity_of(header, arrays, field, solutions):
    """(n_panels, 3) m/s of a stored field, for all panels."""
    stored = header["n_stored"]
    first, second = _frames(solutions.main.panels.normals[:stored])
    along = field["step"] * arrays[field["array"]].astype(float)
    if header["mirrored"]:
        first, second = (
            np.concatenate([axis, axis * [1.0, -1.0, 1.0]]) for axis in (first, second)
        )
    if field["parity"]:
        along = np.concatenate([along, field["parity"] * along], axis=1)
    return along[0][:, None] * first + along[1][:, None] * second


def test_bytes_are_laid_out_as_told(block):
    assert block[:4] == b"PCLB"
    header = json.loads(block[8 : 8 + int.from_bytes(block[4:8], "little")].decode())
    assert [c["name"] for c in header["conditions"]] == [c.name for c in CONDITIONS]
    last = header["arrays"][-1]
    size = int(np.prod(last["shape"])) * int(last["type"][1])
    start = 8 + int.from_bytes(block[4:8], "little")
    assert len(block) == start + last["at"] + size + -size % 4


def test_places_are_met_to_half_a_step(solutions, block):
    header, arrays = arrays_of(block)
    surface, panels = solutions.surface, solutions.main.panels
    for name, points in (("vertex", surface.vertices), ("point", panels.points)):
        box, numbers = header[f"{name}_box"], arrays["vertices" if name == "vertex" else "points"]
        found = box["low"] + np.array(box["step"]) * numbers
        error = np.abs(found - points[: len(found)]) / box["step"]
        assert error.max() < 0.501
    box, numbers = header["vertex_box"], arrays["vertices"]
    side = box["low"][1] + box["step"][1] * numbers[:, 1]
    assert np.array_equal(np.abs(side) < 1e-9, surface.vertices[:, 1] == 0.0)
    assert np.array_equal(arrays["triangles"], surface.triangles)


def test_unit_velocities_are_met_to_half_a_step(solutions, block):
    header, arrays = arrays_of(block)
    for entry, part in zip(header["parts"], solutions.parts, strict=True):
        for field in entry["fields"]:
            if field["kind"] == "slipstream":
                continue
            axis = "xyz"[field["axis"]] if field["kind"] == "stream" else ""
            unit = part.units.names.index(f"stream {axis}" if axis else field["kind"])
            error = velocity_of(header, arrays, field, solutions) - part.units.velocity[unit]
            assert np.abs(error).max() < 0.75 * field["step"]
            speed = max(c.speed for c in CONDITIONS) if field["kind"] == "stream" else np.inf
            assert field["step"] <= max(VELOCITY_STEP * speed, 1e-2)


def test_halves_are_stored_where_they_say_all(solutions, block):
    header = block_header(block)
    parities = {f["kind"]: f["parity"] for f in header["parts"][0]["fields"]}
    odd = {"swirl": -1}
    mirrored = solutions.surface.mirrored
    assert parities == {
        kind: odd.get(kind, 1) * mirrored for kind in ("stream", "slipstream", "swirl", "wing")
    }
    assert [f["parity"] for f in header["parts"][0]["fields"][:3]] == [
        mirrored,
        -mirrored,
        mirrored,
    ]


def test_every_slipstream_is_a_sum_of_few(solutions, block):
    header, arrays = arrays_of(block)
    middles, _ = _disc(DISC)
    for entry, part in zip(header["parts"], solutions.parts, strict=True):
        stored = [f for f in entry["fields"] if f["kind"] == "slipstream"]
        fields = np.array([velocity_of(header, arrays, f, solutions) for f in stored])
        profiles = np.array([f["profile"] for f in stored])
        for c, slipstream in zip(part.onset.conditions, part.onset.slipstreams, strict=True):
            found = np.tensordot(profiles @ slipstream.induced(middles), fields, axes=1)
            exact = part.units.velocity[part.units.names.index(f"slipstream {c.name}")]
            speed = max(c.speed, 2.0 * slipstream.mean_induced)
            assert np.abs(found - exact).max() < len(stored) * VELOCITY_STEP * speed
    counts = [sum(f["kind"] == "slipstream" for f in e["fields"]) for e in header["parts"]]
    assert counts == [3, 2], "of four slipstreams in flight, and of run-up and taxi"


def test_separated_air_is_kept_where_there_is_some(solutions):
    flow, n = solutions.flow(), solutions.surface.n_panels
    change = np.zeros((len(CONDITIONS), n))
    change[1] = 300.0 * np.sin(np.arange(n))
    state = np.arange(len(CONDITIONS) * n).reshape(len(CONDITIONS), n) % 6
    block = live_block(solutions, flow.with_separation(change, 0.5 * change), state)
    header, arrays = arrays_of(block)
    assert header["separated"]["conditions"] == [1]
    step = header["separated"]["steps"][0]
    assert np.abs(step * arrays["separation"][0] - change[1]).max() < 0.501 * step
    assert step == pytest.approx(5e-4 * flow.reference_pressure[1])
    assert np.array_equal(arrays["state"], state)


def test_thickness_of_the_layer_is_kept_within_two_percent(solutions):
    n = solutions.surface.n_panels
    thickness = np.geomspace(2e-4, 0.2, len(CONDITIONS) * n).reshape(len(CONDITIONS), n)
    thickness[0, :3] = np.nan, 0.0, 1e-6
    header, arrays = arrays_of(live_block(solutions, skin_thickness=thickness))
    codes = arrays["thickness"].astype(float)
    assert codes[0, :3].tolist() == [0.0, 0.0, 1.0]
    code = header["thickness"]
    told = code["thinnest"] * 10.0 ** ((codes - 1.0) / code["steps"])
    assert np.abs((told / np.maximum(thickness, 1e-9)).ravel()[3:] - 1.0).max() < 0.02


def test_a_run_brings_its_openings_with_their_pressures():
    _, contents = ranked()
    header, arrays = arrays_of(block_of_run(contents))
    listed = {opening["name"]: opening for opening in header["openings"]}
    assert {"nose", "chin"} <= set(listed)
    ranking, best = contents.ranking, contents.short_list[0]
    assert header["best"] == [ranking.inlet(best).name, ranking.exit(best).name]
    assert set(header["best"]) <= set(listed)
    group = contents.openings
    for k, opening in enumerate(group.openings):
        entry = listed[opening.name]
        assert entry["patch"] == pytest.approx(group.patch_pressure[:, k], rel=1e-9)
        assert entry["centre"] == pytest.approx(opening.centre)
        behind = np.array(entry["patch"]) + np.array(entry["recovery"]) * (
            np.array(entry["total"]) - entry["patch"]
        )
        assert behind == pytest.approx(group.inlet_pressure[:, k], abs=1e-2)
    needed = [row["needed"] for row in header["conditions"]]
    assert [value for value in needed if value is not None] == pytest.approx(
        ranking.needed[~np.isnan(ranking.needed)]
    )
    assert np.array_equal(arrays["state"], contents.skin_state)


def test_a_large_case_stays_below_three_megabytes(solutions):
    """20 000 panels and 12 conditions, noise for separated air on a tenth of the skin."""
    n, draw = solutions.surface.n_panels, np.random.default_rng(0)
    noise = np.zeros((len(CONDITIONS), n))
    noise[:, : n // 10] = draw.normal(0.0, 100.0, (len(CONDITIONS), n // 10))
    block = live_block(solutions, solutions.flow().with_separation(noise, noise))
    header = 8 + int.from_bytes(block[4:8], "little")
    alone = len(zlib.compress(block[header:], 9)) / n
    more = 6 * (2 * 0.1 + 1)  # separated air and states of six more conditions
    assert (alone + more) * 20_000 * 4 / 3 + 10 * header < 3.0e6
