"""The surface viewer in a real browser: both painters draw and read the same, exact picture."""

import base64
import io
import json

import numpy as np
import pytest

from panelcp.report.colours import PressureScale
from panelcp.report.live.colour_table import colour_table
from panelcp.report.live.viewer_script import viewer_script
from panelcp.report.projection import DARKENING, VIEWS
from tests import bodies

WIDTH, HEIGHT = 640, 400  # of one canvas
LIGHT = np.array([-0.35, 0.55, 1.0]) / np.linalg.norm([-0.35, 0.55, 1.0])  # right, up, toward
SLOPE = np.array([0.8, 0.3, 0.4])  # of a value that is linear in space
PAINTERS = ("webgl2", "2d")

# Right half of a box 2 m long, 1 m wide and 0.8 m high, open on y = 0.
BOX = [[x, y, z] for y in (0.0, 0.5) for z in (-0.4, 0.4) for x in (0.0, 2.0)]
BOX_TRIANGLES = [
    *((4, 6, 7), (4, 7, 5)),  # right
    *((2, 3, 7), (2, 7, 6)),  # top
    *((0, 4, 5), (0, 5, 1)),  # bottom
    *((0, 2, 6), (0, 6, 4)),  # front
    *((1, 5, 7), (1, 7, 3)),  # back
]

PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><link rel="icon" href="data:,">
<title>viewer</title><style>
body {{ margin:0; background:#fff }} canvas {{ width:{width}px; height:{height}px }}</style>
<body><canvas id="box"></canvas><canvas id="ball"></canvas><p style="height:900px"></p>
<script>{script}</script><script>
const options = {{ painter: "{painter}", view: "left", animate: false }};
const surfaces = {surfaces};
const read = [];
const make = (name, mirrored, canvas = document.getElementById(name)) => {{
  const {{ points, triangles }} = surfaces[name];
  return new Panelcp.Viewer(canvas, {{ points, triangles, mirrored }}, options);
}};
const box = make("box", true), ball = make("ball", false);
const linear = (points, side) => Float32Array.from({{ length: points.length / 3 }}, (_, k) =>
  {slope}.reduce((sum, slope, i) => sum + slope * points[3 * k + i] * (i === 1 ? side : 1), 0));
const halves = [1, -1].flatMap((side) => [...linear(surfaces.box.points, side)]);
const frame = () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
const shot = () => box.toImage(1).split(",")[1];
const pixels = (x, y, width, height) =>
  Array.from(box.toCanvas(1).getContext("2d").getImageData(x, y, width, height).data);
const told = (name) =>
  new Promise((done) => box.canvas.addEventListener(name, done, {{ once: true }}));
for (const name of ["read", "select", "nudge", "drag", "drop"]) {{
  box.on(name, (detail) => read.push([name, detail]));
}}
</script></body></html>
"""


def page_text(painter):
    sphere = bodies.ellipsoid((1.0, 1.0, 1.0), 3)
    surfaces = {
        "box": {"points": np.ravel(BOX).tolist(), "triangles": np.ravel(BOX_TRIANGLES).tolist()},
        "ball": {
            "points": sphere.vertices.ravel().tolist(),
            "triangles": sphere.triangles.ravel().tolist(),
        },
    }
    return PAGE.format(
        width=WIDTH,
        height=HEIGHT,
        script=viewer_script(),
        painter=painter,
        surfaces=json.dumps(surfaces),
        slope=SLOPE.tolist(),
    )


@pytest.fixture(scope="module", params=PAINTERS)
def page(request, browser, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / f"{request.param}.html"
    path.write_text(page_text(request.param), encoding="utf-8")
    opened = browser.open(path, WIDTH, 2 * HEIGHT)
    assert opened.run("await frame(); return [box.kind, ball.kind]") == [request.param] * 2
    yield opened
    assert opened.complaints() == []
    opened.close()


@pytest.fixture(autouse=True)
def _from_the_left(request):
    """Every test starts with the same view of the box."""
    if "page" in request.fixturenames:
        request.getfixturevalue("page").run(
            "box.setHatch(null); box.setOutlines([]); box.setPoints([]); box.setLines([]);"
            "box.setField(Float32Array.from(halves), {limit: 2.4, step: 0.5, lines: false});"
            "box.setCamera({view: 'left'}); read.length = 0; scrollTo(0, 0); await frame();"
        )


def shade(view, normal):
    frame = np.stack([view.right, view.up, view.toward])
    return 1.0 - DARKENING * (1.0 - max(0.0, float(normal @ frame.T @ LIGHT)))


def colour(value, limit, grey=False):
    table = colour_table(grey).astype(float)
    place = (value + limit) * len(table) / (2.0 * limit)
    return table[int(np.clip(place, 0, len(table) - 1))]


def test_colours_are_those_of_the_static_maps(page):
    for grey in (False, True):
        seen = page.run(f"return Array.from(Panelcp.colourTable({json.dumps(grey)}))")
        np.testing.assert_array_equal(np.reshape(seen, (-1, 3)), colour_table(grey))
        scale = PressureScale(1.0, 0.1, grey_print=grey)
        assert np.abs(scale.colour_table * 255.0 - np.reshape(seen, (-1, 3))).max() <= 0.5
    values = [-3.0, -1.2, -0.3, -1e-9, 0.0, 0.4, 1.19, 5.0]
    seen = page.run(f"return {values}.map((value) => Panelcp.colourAt(value, 1.2))")
    np.testing.assert_array_equal(seen, [colour(value, 1.2) for value in values])


def test_named_views_are_those_of_the_static_maps(page):
    frames = page.run(
        "const camera = new Panelcp.Camera([0, 0, 0], 1);"
        "return Object.entries(Panelcp.VIEWS).map(([name, [azimuth, elevation]]) => {"
        "Object.assign(camera, {azimuth, elevation}); return [name, camera.frame]; })"
    )
    assert len(frames) == len(VIEWS)
    for name, frame in frames:
        view = VIEWS[name.replace("-", "_")]
        for axis in ("right", "up", "toward"):
            np.testing.assert_allclose(frame[axis], getattr(view, axis), atol=1e-12)


def test_reading_on_a_box_gives_the_point_and_the_linear_value(page):
    picks = page.run(
        "return [[120, 200], [320, 180], [500, 231.5]].map(([x, y]) => {"
        "const hit = box.pick(x, y); return [hit, box.valueAt(hit), box.rayTo(x, y)]; })"
    )
    for hit, value, ray in picks:
        point = np.array([ray["origin"][0], -0.5, ray["origin"][2]])  # looking along +y
        np.testing.assert_allclose(ray["direction"], [0.0, 1.0, 0.0], atol=1e-12)
        np.testing.assert_allclose(hit["point"], point, atol=1e-12)
        corners = np.array(BOX)[list(BOX_TRIANGLES[hit["triangle"]])] * [1.0, -1.0, 1.0]
        assert hit["mirrored"] is True
        np.testing.assert_allclose(hit["weights"] @ corners, point, atol=1e-7)
        assert value == pytest.approx(SLOPE @ point, abs=1e-6)
    assert page.run("return box.pick(5, 5)") is None
    middle, centre = picks[1][0]["point"], page.run("return box.project([1, -0.5, 0])")
    np.testing.assert_allclose([centre["x"], centre["y"]], [WIDTH / 2, HEIGHT / 2], atol=1e-9)
    assert middle[0] == pytest.approx(1.0)
    hidden = page.run("return [-0.5, 0.5].map((y) => box.project([1, y, 0]).hidden)")
    assert hidden == [False, True]


@pytest.mark.parametrize("perspective", ["false", "true"])
def test_reading_on_a_sphere_lies_on_it_and_on_the_ray(page, perspective):
    hits = page.run(
        f"ball.setCamera({{view: 'three-quarter', perspective: {perspective}}});"
        "const {top} = ball.canvas.getBoundingClientRect();"
        "return Array.from({length: 60}, (_, k) => {"
        "const [x, y] = [200 + 4 * k, top + 120 + 160 * ((0.381966 * k) % 1)];"
        "const hit = ball.pick(x, y), ray = ball.rayTo(x, y), at = hit && ball.project(hit.point);"
        "return [hit, ray, hit && [at.x - x, at.y - y]]; })"
    )
    sphere = bodies.ellipsoid((1.0, 1.0, 1.0), 3)
    least = np.linalg.norm(sphere.centroids, axis=1).min()
    for hit, ray, off in hits:
        point, origin, line = (np.array(v) for v in (hit["point"], ray["origin"], ray["direction"]))
        assert least - 1e-9 <= np.linalg.norm(point) <= 1.0 + 1e-7
        np.testing.assert_allclose(off, 0.0, atol=1e-6)
        # the nearer of the two places where the ray meets the sphere, but for the flat panels
        half = origin @ line
        exact = -half - np.sqrt(half**2 - origin @ origin + 1.0)
        # panels of this sphere lie up to 1 - least inside it; slanting rays meet them later
        slant = -(point @ line) / np.linalg.norm(point)
        assert -1e-6 <= hit["distance"] - exact <= 1.5 * (1.0 - least) / slant
        corners = sphere.vertices[sphere.triangles[hit["triangle"]]]
        np.testing.assert_allclose(hit["weights"] @ corners, point, atol=1e-6)


def nearest_hits(corners, origins, directions):
    """Distance along each ray to the nearest of loose triangles, from one dense solution each."""
    found = np.full(len(origins), np.inf)
    for k, (origin, line) in enumerate(zip(origins, directions, strict=True)):
        columns = [corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]]
        matrix = np.stack([*columns, np.broadcast_to(-line, columns[0].shape)], axis=2)
        b, c, distance = np.linalg.solve(matrix, (origin - corners[:, 0])[:, :, None])[:, :, 0].T
        inside = (b >= 0.0) & (c >= 0.0) & (b + c <= 1.0) & (distance > 0.0)
        found[k] = np.min(distance, where=inside, initial=np.inf)
    return found


def test_the_nearest_of_loose_triangles_is_found(page):
    draw = np.random.default_rng(20817)
    corners = draw.uniform(-1.0, 1.0, (70, 1, 3)) + 0.6 * draw.normal(size=(70, 3, 3))
    corners = corners.astype(np.float32).astype(float)
    origins, directions = draw.uniform(-1.5, 1.5, (2, 300, 3))
    rays = json.dumps(np.stack([origins, directions], axis=1).tolist())
    seen = page.run(
        f"const points = Float32Array.from({corners.ravel().tolist()});"
        "const triangles = Uint32Array.from({length: points.length / 3}, (_, k) => k);"
        "const picker = new Panelcp.Picker(points, triangles);"
        f"return {rays}.map(([origin, line]) => picker.cast(origin, line)?.distance ?? null)"
    )
    seen = np.array([np.inf if distance is None else distance for distance in seen])
    wanted = nearest_hits(corners, origins, directions)
    assert 50 < np.isfinite(wanted).sum() < 290
    np.testing.assert_allclose(seen, wanted, rtol=1e-6)


def test_pixels_have_the_colour_of_their_value(page):
    places = [(x, y) for x in (130, 250, 320, 400, 480) for y in (120, 160, 201, 240)]
    seen, hits = page.run(
        f"box.setCamera({{view: 'three-quarter'}}); const places = {json.dumps(places)};"
        "const picture = box.toCanvas(1).getContext('2d');"
        "return [places.map(([x, y]) => Array.from(picture.getImageData(x, y, 1, 1).data)),"
        "places.map(([x, y]) => { const hit = box.pick(x + 0.5, y + 0.5);"
        "return hit && [hit.triangle, hit.mirrored, box.valueAt(hit)]; })]"
    )
    wanted = []
    for triangle, mirrored, value in filter(None, hits):
        corners = np.array(BOX)[list(BOX_TRIANGLES[triangle])]
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        normal *= np.array([1.0, -1.0 if mirrored else 1.0, 1.0]) / np.linalg.norm(normal)
        wanted.append((shade(VIEWS["three_quarter"], normal), *colour(value, 2.4)))
    factor, rgb = np.split(np.array(wanted), [1], axis=1)
    assert len(np.unique(factor.round(4))) == 3  # faces that show
    assert 0.85 < factor.min() < 0.95
    seen = np.array([pixel for pixel, hit in zip(seen, hits, strict=True) if hit])[:, :3]
    # a value on the border of two colours may fall to either; neighbours differ by up to 2
    np.testing.assert_allclose(seen, factor * rgb, atol=2.6)
    assert np.ptp(seen, axis=0).max() > 30


def decoded(text):
    """(HEIGHT, WIDTH, 3) float, 0 to 255, of a PNG in base64."""
    from matplotlib.image import imread

    return imread(io.BytesIO(base64.b64decode(text)))[:, :, :3] * 255.0


def dark(text):
    return decoded(text).sum(axis=2) < 480.0


def test_suction_is_dashed_zero_thick_and_pressure_unbroken(page):
    places, text = page.run(
        "const values = surfaces.box.points.filter((_, k) => k % 3 === 0).map((x) => x - 1);"
        "box.setField(values, {limit: 24, step: 0.5, per: 'vertex'});"
        "const at = [0.5, 1, 1.5].map((x) => box.project([x, -0.5, 0]).x);"
        "return [at, shot()]"
    )
    light = decoded(text)[130:270].sum(axis=2)
    ink, drawn, width = 29 + 35 + 38, [], []
    for x in places:
        near = light[:, int(x) - 6 : int(x) + 7]
        skin = near[:, [0, -1]].mean(axis=1, keepdims=True)
        across = ((skin - near) / (skin - ink)).sum(axis=1)  # pixels of ink in every row
        drawn.append(np.mean(across > 0.5))
        width.append(np.median(across[across > 0.5]))
    assert 0.5 < drawn[0] < 0.75
    assert drawn[1] == drawn[2] == 1.0
    np.testing.assert_allclose(width, [1.0, 2.2, 1.0], atol=0.15)


def test_no_edge_is_drawn_where_the_mirrored_half_goes_on(page):
    text = page.run("box.setCamera({view: 'top'}); box.setField(null); return shot()")
    light = decoded(text)[HEIGHT // 2 - 20 : HEIGHT // 2 + 20, 60:580]
    assert np.ptp(light, axis=(0, 1)).max() <= 1.0


def test_a_flat_field_on_a_level_draws_no_speckle(page):
    pixels = page.run(
        "box.setField(new Float32Array(8).fill(0.5), {limit: 1, step: 0.5, per: 'vertex'});"
        "return shot()"
    )
    assert not dark(pixels)[150:250, 100:540].any()


def test_hatch_covers_its_panels_only(page):
    pixels = page.run(
        "const states = new Uint8Array(20); states[10] = 2; box.setHatch(states);"
        "box.setField(null); return shot()"
    )
    picture = dark(pixels)
    # panel 0 of the mirrored half is the upper left one of the two that show
    hit = page.run("return [box.pick(110, 150).triangle, box.pick(500, 260).triangle]")
    assert hit == [0, 1]
    assert 0.05 < picture[130:170, 60:160].mean() < 0.5
    assert not picture[220:260, 440:540].any()


def test_a_value_that_is_not_known_is_not_coloured(page):
    value, pixel = page.run(
        "box.setField(new Float32Array(10).fill(NaN), {limit: 1, per: 'triangle'});"
        "return [box.valueAt(box.pick(320, 200)), pixels(320, 150, 1, 1)]"
    )
    assert value is None
    assert max(pixel[:3]) - min(pixel[:3]) <= 8


OUTLINE = (
    "const outline = (y) => [0.8, y, -0.1, 1.2, y, -0.1, 1.2, y, 0.1, 0.8, y, 0.1];"
    "box.setOutlines([{name: 'near', points: outline(-0.5), kind: 'exit', draggable: true},"
    "{name: 'far', points: outline(0.5), kind: 'inlet'}]);"
)


def marked(pixels, rgb):
    """Pixels of one colour."""
    return int(np.sum(np.abs(decoded(pixels) - rgb).max(axis=2) < 12))


def test_outlines_are_hidden_by_the_body(page):
    pixels, behind = page.run(
        OUTLINE + "const seen = shot();"
        "return [seen, [...box.labels.items.values()].map((item) => item.behind)]"
    )
    assert marked(pixels, [138, 18, 83]) > 100
    assert marked(pixels, [31, 42, 140]) == 0
    assert behind == [False, True]


def test_keys_turn_zoom_fit_and_read(page):
    page.run("box.canvas.focus(); window.fitted = box.camera.span")
    page.press("ArrowRight")
    page.press("ArrowUp")
    page.press("ArrowUp")
    assert page.run("return [box.camera.azimuth, box.camera.elevation]") == [-85.0, 10.0]
    page.press("+")
    assert page.run("return fitted / box.camera.span") == pytest.approx(1.2)
    page.press("0")
    page.press("Enter")
    said, events = page.run("await frame(); return [box.said.textContent, read]")
    assert said.startswith("Cp ")
    assert "STA" in said
    assert [name for name, _ in events] == ["read"]
    assert events[0][1]["value"] == pytest.approx(SLOPE @ events[0][1]["point"], abs=1e-6)


def test_tab_reaches_marks_and_enter_turns_to_those_on_the_far_side(page):
    page.run(OUTLINE + "await frame(); box.canvas.focus()")
    page.press("Tab")
    page.press("ArrowRight")
    page.press("Tab")
    assert page.run("return document.activeElement.textContent") == "far"
    page.press("Enter")
    azimuth, events = page.run("await frame(); return [box.camera.azimuth, read]")
    assert azimuth == pytest.approx(90.0)
    assert [name for name, _ in events] == ["nudge", "select"]
    np.testing.assert_allclose(events[0][1]["direction"], [1.0, 0.0, 0.0], atol=1e-12)
    assert events[1][1] == {"name": "far", "group": "outlines"}


def test_mouse_turns_drags_marks_and_leaves_the_wheel_to_the_page(page):
    page.run(OUTLINE + "await frame(); document.activeElement.blur()")
    page.mouse("mouseWheel", 320, 100, deltaX=0, deltaY=100)
    scrolled, zoom = page.run(
        "for (let k = 0; k < 200 && !scrollY; k++) await frame(); const scrolled = scrollY;"
        "scrollTo({top: 0, behavior: 'instant'}); await frame();"
        "return [scrolled, box.camera.span / box._fitted().span]"
    )
    assert scrolled > 0
    assert zoom == pytest.approx(1.0)
    drag = {"button": "left", "buttons": 1, "clickCount": 1}
    for kind, x in (("mousePressed", 320), ("mouseMoved", 350), ("mouseReleased", 350)):
        page.mouse(kind, x, 190, **drag)
    events = page.run("return read")
    assert [name for name, _ in events] == ["drag", "drop"]
    step = page.run("return 30 / box.camera.pixelsPerMetre")
    assert events[1][1]["name"] == "near"
    assert events[1][1]["reading"]["point"][0] == pytest.approx(1.0 + step)
    for kind, x in (("mousePressed", 100), ("mouseMoved", 150), ("mouseReleased", 150)):
        page.mouse(kind, x, 150, **drag)
    assert page.run("return box.camera.azimuth") == pytest.approx(-90.0 - 20.0)


def test_a_mark_that_may_be_dragged_is_found_below_one_that_may_not(page):
    names, still = page.run(
        "const outline = [0.8, -.5, -.1, 1.2, -.5, -.1, 1.2, -.5, .1, 0.8, -.5, .1], kind = 'exit';"
        "box.setOutlines([{name: 'fixed', points: outline, kind}]); await frame();"
        "const still = box.startDrag(320, 190);"
        "box.setOutlines([{name: 'fixed', points: outline, kind},"
        "{name: 'loose', points: outline, kind, draggable: true}]); await frame();"
        "return [[box.startDrag(320, 190)?.name, box._outlineAt(320, 190).name], still]"
    )
    assert names == ["loose", "fixed"]
    assert still is None


def test_two_fingers_zoom(page):
    before = page.run("return box.camera.span")
    page.touch("touchStart", (300, 200), (340, 200))
    page.touch("touchMove", (280, 200), (360, 200))
    page.touch("touchEnd")
    assert page.run("return box.camera.span") == pytest.approx(before / 2.0, rel=0.02)


def test_a_tap_reads_and_its_tip_stays(page):
    page.touch("touchStart", (250, 190))
    page.touch("touchEnd")
    shown, events = page.run("await frame(); return [box.tip.offsetWidth > 0, read]")
    assert shown
    assert [name for name, _ in events] == ["read"]
    page.run("box.canvas.focus()")
    page.press("Escape")
    assert page.run("await frame(); return box.tip.offsetWidth") == 0


def test_without_a_graphics_processor_the_plain_canvas_is_taken(page):
    # the flags of this browser leave it none
    kind, same, size = page.run(
        "const canvas = document.createElement('canvas'); document.body.append(canvas);"
        "const view = new Panelcp.Viewer(canvas, surfaces.box);"
        "const found = [view.kind + ': ' + view.reason, view.drawn === canvas];"
        "dispatchEvent(new Event('beforeprint'));"
        "const {width, height} = document.querySelector('.panelcp-paper');"
        "dispatchEvent(new Event('afterprint')); view.remove(); canvas.remove();"
        "return [...found, [width, height, document.querySelectorAll('.panelcp-paper').length]]"
    )
    assert kind == "2d: no WebGL2, or none with a graphics processor"
    assert same
    assert size == [2 * WIDTH, 2 * HEIGHT, 0]


def test_linked_views_move_together_and_point_at_the_same_place(page):
    state, shown, drawn, text = page.run(
        "const canvas = document.createElement('canvas'); canvas.id = 'twin';"
        "document.body.append(canvas); const twin = make('box', true, canvas);"
        "twin.setField(halves.map((value) => 10 * value), {limit: 24});"
        "Panelcp.link(box, twin); box.setCamera({azimuth: -80}); const {state} = twin.camera;"
        "const shown = []; twin.on('hover', (reading) => shown.push(reading));"
        "box.hover([300, 190]); await frame(); const {tip, cursor} = box;"
        "const drawn = [tip, cursor, twin.tip, twin.cursor].map((part) => part.offsetWidth > 0);"
        "twin.remove(); canvas.remove();"
        "return [state, [shown[0], box.shownReading], drawn, tip.textContent]"
    )
    assert state["azimuth"] == -80.0
    assert shown[0]["point"] == shown[1]["point"]
    assert shown[0]["value"] == pytest.approx(10.0 * shown[1]["value"], rel=1e-6)
    assert drawn == [True, True, False, True]
    assert text.startswith("Cp ")


def test_legend_says_the_signs_in_words(page):
    words, first, dashes = page.run(
        "const made = Panelcp.legend(1.2, 'Cp', {step: 0.2, hatches: true});"
        "return [made.textContent, made.querySelector('stop').getAttribute('stop-color'),"
        "made.querySelectorAll('.panelcp-bar line[stroke-dasharray=\"5 3\"]').length]"
    )
    for text in ("suction", "pressure", "\u22120.2", "1.2", "separated air"):
        assert text in words
    assert first == "rgb({:.0f},{:.0f},{:.0f})".format(*colour(-1.2, 1.2))
    assert dashes == 6


@pytest.mark.parametrize(
    ("call", "message"),
    [
        ("box.setField([1, 2, 3])", "3 values; expected 8 (vertex), 10 (triangle), 30 (corner)"),
        ("box.setHatch(new Uint8Array(7))", "7 states; expected 10"),
        ("box.setField(new Float32Array(8), {levels: [0, 0.1, 0.25]})", "not multiples of one"),
        ("box.setCamera({view: 'behind'})", "unknown view behind"),
        ("box.setOutlines([{name: 'a', points: [0, 0, 0], kind: 'door'}])", "unknown kind door"),
    ],
)
def test_wrong_use_is_told(page, call, message):
    told = page.run(f"try {{ {call} }} catch (error) {{ return error.message }}")
    assert message in told


def test_a_lost_context_comes_back(page):
    if page.run("return box.kind") == "2d":
        return  # nothing to lose
    before, after = page.run(
        "const pixel = () => pixels(250, 160, 1, 1), before = pixel();"
        "const gl = box.painter.gl.getExtension('WEBGL_lose_context');"
        "const lost = told('webglcontextlost'); gl.loseContext(); await lost;"
        "await new Promise((done) => setTimeout(done, 0));"
        "const back = told('webglcontextrestored'); gl.restoreContext(); await back;"
        "await frame(); return [before, pixel()]"
    )
    assert before == after
    assert before[3] == 255
    assert page.run("box._fallBack('test'); await frame(); return box.kind") == "2d"
    np.testing.assert_allclose(page.run("return pixels(250, 160, 1, 1)"), before, atol=2)
