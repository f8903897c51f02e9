"""What a browser makes of the coded block is the block, number by number."""

import json
import zlib
from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest

from panelcp.flow.solutions import solve_conditions
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.quantity import UncertainValue
from panelcp.report.live.block import block_script, live_block
from panelcp.report.live.block_bytes import block_arrays, block_header
from panelcp.report.live.block_coding import coded_block, packed_block
from tests import bodies

DISC = Propeller(1.9, [-0.7, 0.0, 0.0], "clockwise", UncertainValue(0.85), 240.0)
CLIMB = FlightCondition("climb", 38.6, alpha=4.0, power=1.0)
CONDITIONS = [
    CLIMB,
    FlightCondition("run-up", ground_speed=0.0, power=1.0, height=1.5),
    replace(CLIMB, name="slip", beta=5.0),
]
HALF = bodies.mirrored_ellipsoid((0.9, 0.4, 0.4), 2)
READ = """const arrays = {}, own = Panelcp.decodedArrays;
Panelcp.decodedArrays = (header, left) => Object.assign(arrays, own(header, left));
await Panelcp.readBlock(document.getElementById("data").textContent);
return Object.fromEntries(Object.entries(arrays).map(([name, a]) => [name, Array.from(a)]));"""


def shuffled(surface):
    """The same body with its vertices in another order, and one that no triangle has."""
    order = np.random.default_rng(3).permutation(surface.n_vertices)
    place = np.argsort(order)
    return replace(surface, vertices=surface.vertices[order], triangles=place[surface.triangles])


BODIES = {
    "mirrored": HALF,
    "whole": HALF.unmirrored(),
    "shuffled": shuffled(HALF.unmirrored()),
    "mirrored, shuffled": shuffled(HALF),
}


@pytest.fixture(scope="module", params=BODIES)
def block(request):
    surface = BODIES[request.param]
    wing = Wing(10.0, 12.5, [1.5, 0.0, -0.4], 750.0)
    solutions = solve_conditions(surface, CONDITIONS, Surroundings(DISC, wing, 105e3))
    draw = np.random.default_rng(1)
    thickness = 10.0 ** draw.uniform(-5.0, 0.0, (len(CONDITIONS), surface.n_panels))
    thickness[:, ::7] = np.nan
    state = draw.integers(-1, 5, thickness.shape)
    change = 100.0 * draw.normal(size=thickness.shape)
    flow = solutions.flow().with_separation(change, np.abs(change))
    return live_block(solutions, flow, state, skin_thickness=thickness)


def test_a_browser_gets_every_number_back(block, browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(
        f'<script type="text/plain" id="data">{packed_block(block)}</script>'
        f"<script>{block_script()}</script>",
        encoding="utf-8",
    )
    page = browser.open(path)
    found = page.run(READ)
    page.close()
    arrays = block_arrays(block)
    assert found.keys() == arrays.keys()
    for name, array in arrays.items():
        assert found[name] == array.ravel().tolist(), name


def test_it_says_how_every_array_is_coded(block):
    plain, coded = block_header(block), block_header(coded_block(block))
    assert coded.keys() == plain.keys()
    assert {entry["name"]: entry.get("of", entry["type"]) for entry in coded["arrays"]} == {
        entry["name"]: entry["type"] for entry in plain["arrays"]
    }
    codes = {entry["code"] for entry in coded["arrays"] if "code" in entry}
    assert codes == {"triangles", "vertices", "points", "normals", "velocity", "thickness"}


def test_a_smooth_body_takes_much_less_room():
    surface = bodies.mirrored_ellipsoid((0.9, 0.4, 0.4), 4)
    solutions = solve_conditions(surface, CONDITIONS)
    size = surface.n_panels * np.ones((len(CONDITIONS), surface.n_panels))
    block = live_block(solutions, skin_thickness=1e-3 * size / size.max())
    plain, coded = (len(zlib.compress(one, 9)) for one in (block, coded_block(block)))
    assert coded < 0.6 * plain
    assert json.dumps(block_header(block)), "and it still reads"
    assert zlib.decompress(b64decode(packed_block(block))) == coded_block(block)
