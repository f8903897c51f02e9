"""Pressures in a real browser are those of Python: solved, changed, between points, at openings."""

import html
import json
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.flow.solutions import solve_conditions
from panelcp.flow.superposition import interpolated_pressure
from panelcp.onset.conditions import FlightCondition
from panelcp.onset.propeller import Propeller
from panelcp.onset.surroundings import Surroundings
from panelcp.onset.wing import Wing
from panelcp.placement.ranking import opening_pressures
from panelcp.quantity import UncertainValue
from panelcp.report.live.block import block_script, live_block
from panelcp.report.live.block_coding import packed_block
from panelcp.surface.interpolation import point_operator
from panelcp.surface.opening import lay_opening, paired
from panelcp.surface.rays import SkinFinder
from tests.noses import random_nose

FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run")
CP_TOLERANCE = 0.002
PATCH_TOLERANCE = 0.005
FACTOR = 0.8

NOSE = random_nose(1, 0.25)
DISC = Propeller(
    1.9, [-0.2, 0.0, 0.0], "clockwise", UncertainValue(0.8), 240.0, tilt_down=3.0, tilt_right=2.0
)
AROUND = Surroundings(DISC, Wing(9.8, 12.6, [1.9, 0.0, -0.45], 720.0), 105e3)
ROLL = {"ground_speed": 15.0, "wind_speed": 3.0, "wind_from": 30.0, "height": 1.2, "attitude": 4.0}
CONDITIONS = [
    FlightCondition(
        "tow", calibrated_airspeed=31.9, alpha=6.0, day="hot day", power=1.0, needed_pressure=450.0
    ),
    FlightCondition(
        "cruise", 57.0, alpha=0.0, beta=3.0, altitude=1200.0, power=0.65, needed_pressure=300.0
    ),
    FlightCondition("glide", 38.0, alpha=2.0, temperature_offset=12.0, decides=False),
    FlightCondition("roll", power=1.0, decides=False, **ROLL),
    FlightCondition(
        "tail wind",
        ground_speed=2.0,
        wind_speed=8.0,
        wind_from=160.0,
        power=0.1,
        height=1.2,
        attitude=4.0,
        decides=False,
    ),
]
CHANGES = [
    {"alpha": 9.0, "beta": -4.0, "calibrated": 36.0, "altitude": 900.0},
    {"speed": 48.0, "alpha": 2.5},
    {"altitude": 2500.0, "beta": 8.0},
    {"groundSpeed": 9.0, "windSpeed": 6.0, "windFrom": 70.0, "altitude": 500.0},
    {"windFrom": 200.0},
]
CHANGED = [
    replace(
        CONDITIONS[0],
        **{"alpha": 9.0, "beta": -4.0, "calibrated_airspeed": 36.0, "altitude": 900.0},
    ),
    replace(CONDITIONS[1], true_airspeed=48.0, alpha=2.5),
    replace(CONDITIONS[2], altitude=2500.0, beta=8.0),
    replace(CONDITIONS[3], ground_speed=9.0, wind_speed=6.0, wind_from=70.0, altitude=500.0),
    replace(CONDITIONS[4], wind_from=200.0),
]
PLACES = [
    {"centre": [0.6, 0.02, 0.27], "length": 0.12, "width": 0.2},
    {"centre": [0.85, -0.03, 0.29], "length": 0.1, "width": 0.26, "shape": "oval"},
    {"centre": [0.6, 0.4, 0.0], "length": 0.2, "width": 0.14, "turn": 25.0},
    {"centre": [0.5, -0.4, -0.1], "length": 0.2, "width": 0.14, "turn": -60.0, "shape": "oval"},
    {"centre": [0.9, 0.01, -0.43], "length": 0.12, "width": 0.3},
    {"centre": [0.3, 0.2, -0.3], "length": 0.15, "width": 0.1, "turn": 10.0},
    {"centre": [0.25, 0.25, 0.15], "length": 0.12, "width": 0.12},
    {"centre": [0.07, 0.25, 0.0], "length": 0.1, "width": 0.06, "shape": "oval"},
    {"centre": [-0.2, 0.02, 0.1], "length": 0.08, "width": 0.08, "shape": "oval"},
    {"centre": [1.44, 0.02, 0.68], "length": 0.15, "width": 0.3},
    {"centre": [2.2, 0.3, 0.7], "length": 0.2, "width": 0.2, "turn": 45.0},
]
REFUSED = [
    {"centre": [0.5, 0.0, 0.3], "length": 0.3, "width": 1.5},
    {"centre": [-0.103, -0.127, 0.0], "length": 0.221, "width": 0.246},
    {"centre": [0.01, 0.142, -0.129], "length": 0.191, "width": 0.116},
]
REASONS = ["edge", "edge", "step"]
RECOVERY = 0.7
SCRIPT = """
const tried = change => { try { change(); return null; } catch (error) { return error.message; } };
const solved = block.conditions.map((_, c) => Panelcp.flow(block, c));
const attached = CHANGES.map((change, c) => Panelcp.flow(block, c, change, { separated: false }));
const changed = CHANGES.map((change, c) => Panelcp.flow(block, c, change));
const told = flow => ({
  gauge: Array.from(flow.gauge), q: flow.dynamicPressure, rise: flow.air.meanRise,
  reference: flow.referencePressure, predicted: flow.predicted, frozen: flow.frozen,
  exact: flow.exact, approximate: flow.approximate, unmatched: flow.unmatched,
  speed: flow.air.speed,
});
const patch = (place, changes) => {
  const { table, ...found } = Panelcp.patch(block, { ...place, recovery: RECOVERY }, changes);
  return found;
};
const patches = PLACES.map(place => patch(place));
const again = Panelcp.patch(block, Panelcp.patch(block, PLACES[2]), [{ alpha: 60 }]);
return {
  solved: solved.map(told), attached: attached.map(told), changed: changed.map(told),
  read: block.conditions.map((_, c) =>
    POINTS.map((point, i) => Panelcp.readOut(block, c, point, PANELS[i]))),
  patches, changedPatches: PLACES.map(place => patch(place, CHANGES)),
  pair: patch({ ...PLACES[2], paired: true }),
  refused: REFUSED.map(place => patch(place)),
  available: Panelcp.available(block, patches[7], patches[0]),
  problems: [
    tried(() => Panelcp.flow(block, 3, { alpha: 3 })),
    tried(() => Panelcp.flow(block, 0, { speed: 12 })),
    tried(() => Panelcp.flow(block, 1, { speed: 200 })),
    tried(() => Panelcp.flow(block, 1, { beta: 50 })),
  ],
  range: Panelcp.speedRange(block, 1),
  changeable: block.conditions.map((_, c) => Panelcp.changeable(block, c)),
  badReason: again.problem, goodPatch: again.patch[1],
};
"""
PAGE = """<!doctype html><meta charset="utf-8"><pre id="found"></pre>
<script type="text/plain" id="data">{data}</script>
<script>{code}</script>
<script>
{constants}
async function run(block) {{ {script} }}
Panelcp.readBlock(document.getElementById("data").textContent).then(run).catch(
  error => ({{ error: error.stack }})
).then(found => {{ document.getElementById("found").textContent = JSON.stringify(found); }});
</script>
"""


@pytest.fixture(scope="module")
def solutions():
    """A nose with a propeller turned to the right, so that no slipstream is even."""
    return solve_conditions(NOSE, CONDITIONS, AROUND)


@pytest.fixture(scope="module")
def flow(solutions):
    """With separated air of our own making behind the windshield."""
    x = NOSE.centroids[:, 0]
    share = np.where(x > 1.2, np.sin(3.0 * x) + 0.2 * NOSE.centroids[:, 1], 0.0)
    plain = solutions.flow()
    change = 0.3 * plain.reference_pressure[:, None] * share
    return plain.with_separation(change, np.abs(change))


@pytest.fixture(scope="module")
def fresh():
    """Flow in the changed conditions, all unit flows solved anew."""
    return solve_conditions(NOSE, CHANGED, replace(AROUND, factor=FACTOR)).flow()


@pytest.fixture(scope="module")
def points():
    """Points on the skin and their panels."""
    draw = np.random.default_rng(4)
    panels = draw.choice(np.flatnonzero(NOSE.centroids[:, 0] < 3.0), 120, replace=False)
    shares = draw.dirichlet([1.0, 1.0, 1.0], len(panels))
    return np.einsum("nk,nki->ni", shares, NOSE.corners[panels]), panels


@pytest.fixture(scope="module")
def found(solutions, flow, points, tmp_path_factory):
    """What the browser says of everything."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on the path")
    folder = tmp_path_factory.mktemp("live")
    constants = {
        "CHANGES": [{**change, "factor": FACTOR} for change in CHANGES],
        "PLACES": PLACES,
        "REFUSED": REFUSED,
        "RECOVERY": RECOVERY,
        "POINTS": points[0].tolist(),
        "PANELS": points[1].tolist(),
    }
    lines = "\n".join(f"const {name} = {json.dumps(part)};" for name, part in constants.items())
    data = packed_block(live_block(solutions, flow, np.zeros(flow.gauge_pressure.shape, int)))
    page = folder / "page.html"
    text = PAGE.format(data=data, code=block_script(), constants=lines, script=SCRIPT)
    page.write_text(text, encoding="utf-8")
    words = [f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=60000"]
    done = subprocess.run(
        [program, *FLAGS, *words, "--dump-dom", page.as_uri()],
        capture_output=True,
        timeout=120,
        check=True,
    )
    dom = done.stdout.decode("utf-8")
    start = dom.index('<pre id="found">') + len('<pre id="found">')
    result = json.loads(html.unescape(dom[start : dom.index("</pre>", start)]))
    assert "error" not in result, result["error"]
    return result


def scale_of(flow):
    """(n_conditions, 1) Pa: q in flight, q and mean rise on the ground."""
    on_ground = np.array([c.on_ground for c in flow.conditions])
    return np.where(on_ground, flow.reference_pressure, flow.dynamic_pressure)[:, None]


def gauge_of(rows):
    return np.array([row["gauge"] for row in rows])


def test_solved_conditions_are_those_of_python(found, flow):
    difference = gauge_of(found["solved"]) - flow.gauge_pressure - flow.separation_change
    assert np.abs(difference / scale_of(flow)).max() < CP_TOLERANCE
    for row, q, reference, predicted in zip(
        *(found["solved"], flow.dynamic_pressure, flow.reference_pressure, flow.predicted),
        strict=True,
    ):
        assert row["q"] == pytest.approx(q, rel=1e-9)
        assert row["reference"] == pytest.approx(reference, rel=1e-6)
        assert row["predicted"] == predicted
        assert row["frozen"] == []
        assert "separated air" in row["exact"]


def test_changed_conditions_are_those_of_a_fresh_solution(found, fresh):
    difference = gauge_of(found["attached"]) - fresh.gauge_pressure
    error = np.abs(difference / scale_of(fresh)).max(axis=1)
    unmatched = np.array([row["unmatched"] for row in found["attached"]])
    met = unmatched < 1e-3
    assert met.tolist() == [True, True, True, False, True], "roll: two slipstreams are stored"
    assert error[met].max() < CP_TOLERANCE
    assert error[3] < 2.0 * unmatched[3] < 0.01
    for row, condition, rise in zip(found["attached"], CHANGED, fresh.mean_rise, strict=True):
        assert row["speed"] == pytest.approx(condition.speed, rel=1e-9)
        assert row["q"] == pytest.approx(condition.dynamic_pressure, rel=1e-9)
        assert row["rise"] == pytest.approx(rise, rel=1e-6)
        assert "boundary layer" in row["frozen"]
        assert not set(row["frozen"]) & set(row["exact"])
        rough = row["unmatched"] > 1e-3
        assert row["approximate"] == ["slipstream"] * rough
        assert ("slipstream" in row["exact"]) != rough


def test_separated_air_stays_and_grows_with_the_pressure_of_the_air(found, flow, fresh):
    change = gauge_of(found["changed"]) - gauge_of(found["attached"])
    growth = fresh.reference_pressure / flow.reference_pressure
    expected = flow.separation_change * growth[:, None]
    assert np.abs(change - expected).max() < 1e-3 * fresh.reference_pressure.max()


def test_read_out_is_that_of_python_between_control_points(found, flow, points):
    gauge = np.array([[place["gauge"] for place in row] for row in found["read"]])
    expected = interpolated_pressure(flow, point_operator(NOSE, *points))
    assert np.abs((gauge - expected) / scale_of(flow)).max() < CP_TOLERANCE
    assert found["read"][0][0]["state"] == "attached"
    assert found["read"][0][0]["region"] == "unnamed"


def laid(places):
    finder = SkinFinder(NOSE)
    return [lay_opening(finder, f"place {k}", **place) for k, place in enumerate(places)]


def test_openings_lie_where_python_lays_them(found):
    for opening, place in zip(laid(PLACES), found["patches"], strict=True):
        assert place["valid"]
        assert np.abs(opening.centre - place["centre"]).max() < 2e-4
        assert np.abs(opening.outline - place["outline"]).max() < 5e-4
        assert place["area"] == pytest.approx(opening.area, rel=2e-3)
        assert place["side"] == opening.side


@pytest.mark.parametrize("changed", [False, True], ids=["solved", "changed"])
def test_patch_means_are_those_of_python(found, flow, fresh, changed):
    air = flow.with_separation(*2 * [np.zeros(flow.gauge_pressure.shape)]) if changed else flow
    if changed:
        growth = fresh.reference_pressure / flow.reference_pressure
        air = fresh.with_separation(flow.separation_change * growth[:, None], 0.0 * growth[:, None])
    openings = laid(PLACES)
    expected = opening_pressures(air, openings, [RECOVERY] * len(openings))
    places = found["changedPatches" if changed else "patches"]
    for name, key in (
        ("patch_pressure", "patch"),
        ("total_pressure", "total"),
        ("inlet_pressure", "inlet"),
        ("pressure_spread", "spread"),
    ):
        values = np.array([place[key] for place in places]).T
        error = np.abs((values - getattr(expected, name)) / scale_of(air))
        assert error.max() < PATCH_TOLERANCE, name
    assert all(all(place["frozen"]) == changed for place in places)


def test_a_pair_is_the_mean_of_both_sides(found, flow):
    place = PLACES[2]
    own = laid([place])[0]
    mirrored = place | {"centre": [0.6, -0.4, 0.0], "turn": -place["turn"]}
    other = laid([mirrored])[0]
    both = paired(own, other, "both")
    assert np.abs(other.outline - found["pair"]["twin"]["outline"]).max() < 5e-4
    expected = opening_pressures(flow, [both], [RECOVERY])
    error = np.array(found["pair"]["patch"]) - expected.patch_pressure[:, 0]
    assert np.abs(error / scale_of(flow)[:, 0]).max() < PATCH_TOLERANCE
    assert found["pair"]["area"] == pytest.approx(both.area, rel=2e-3)


def test_places_that_python_refuses_are_refused(found):
    for place, answer, reason in zip(REFUSED, found["refused"], REASONS, strict=True):
        with pytest.raises(SurfaceError, match=reason):
            laid([place])
        assert not answer["valid"]
        assert reason in answer["reason"]


def test_available_over_needed_is_that_of_hand(found):
    inlet, outlet, answer = found["patches"][7], found["patches"][0], found["available"]
    difference = np.array(inlet["inlet"]) - outlet["patch"]
    assert answer["available"] == pytest.approx(difference)
    ratios = difference[:2] / [450.0, 300.0]
    assert answer["least"] == pytest.approx(ratios.min())
    assert answer["limiting"] == int(ratios.argmin())
    assert answer["mean"] == pytest.approx(ratios.mean())
    assert answer["ratio"][2:] == [None] * 3
    spread = np.array(outlet["highest"]) - outlet["lowest"]
    assert answer["breathes"] == (spread > np.abs(difference)).tolist()


def test_what_cannot_be_changed_is_refused_in_words(found):
    attitude, stall, fast, angle = found["problems"]
    assert "alpha cannot be changed" in attitude
    assert "stall" in stall
    assert "Mach" in fast
    assert "expected -45 to 45" in angle
    slow, fastest = found["range"]
    low, high = (replace(CONDITIONS[1], true_airspeed=speed) for speed in (slow, fastest))
    lift = AROUND.wing.lift_coefficient(1.0, low.speed, low.air.density * (1.0 + 1e-6))
    assert lift == pytest.approx(AROUND.wing.max_lift_coefficient, rel=1e-5)
    assert high.mach == pytest.approx(0.4, rel=1e-9)
    assert found["changeable"][0] == [
        *("alpha", "beta", "speed", "calibrated", "altitude", "factor"),
    ]
    assert "groundSpeed" in found["changeable"][3]
    assert found["goodPatch"] == pytest.approx(found["patches"][2]["patch"][1], abs=1e-6)
