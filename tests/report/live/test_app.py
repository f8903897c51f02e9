"""The live section in a real browser: what it shows, says and hands out is what Python finds."""

import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from panelcp.case.cooling_ports import NETWORK_OPENING
from panelcp.case.reading import read_case
from panelcp.flow.solutions import solve_conditions
from panelcp.flow.superposition import interpolated_pressure
from panelcp.placement.ranking import opening_pressures
from panelcp.placement.vent_map import partner_of_best, vent_map
from panelcp.report.live.block import block_of_run
from panelcp.report.live.live_section import LIVE_STYLE, live_script, live_section, live_settings
from panelcp.report.page import STYLE
from panelcp.surface.interpolation import point_operator
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests.cases import CASE, changed, ranked, write_case

CP_TOLERANCE = 0.002
PATCH_TOLERANCE = 0.005
NASTY = "</script><script>alert(1)</script><b>'&amp;\U0001f525 \u202egnik\u202c"
LONG = ("x" * 190 + " \\\\ tail")[:200]
TEXT = CASE
for _old, _new in (
    ('name = "climb"', f'name = "{NASTY}"'),
    ('name = "chin"', f'name = "{NASTY} chin"'),
    ('name = "nose"', f'name = "{LONG}"'),
):
    TEXT = changed(_old, _new, TEXT)
PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,"><title>live</title><style>{style}</style></head>
<body><main><section>{section}</section>
<article class="card"><h3>1: {card}</h3></article></main>
<script>globalThis.Panelcp = {{ live: {{ painter: "{painter}" }} }};</script>{script}
<script>
let ready = null;
Panelcp.live.onReady((view, block, state) => {{ ready = {{ view, block, state }}; }});
const rest = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 30)));
const set = (control, value, event = "change") => {{
  control.value = value;
  control.dispatchEvent(new Event(event, {{ bubbles: true }}));
  return rest();
}};
const judged = () => {{
  const {{ patch, result }} = ready.state.trial.judged, {{ table, ...found }} = patch;
  return {{ ...found, result }};
}};
const told = (kind) => document.querySelector(kind).innerText;
</script></body></html>
"""
TOP = [-1.0, 0.05, 0.43]  # near the skin, seen from above


@pytest.fixture(scope="module")
def contents():
    return ranked(TEXT)[1]


def page_text(contents, painter):
    block, card = block_of_run(contents), contents.ranking.exit(0).name
    return PAGE.format(
        style=STYLE + LIVE_STYLE,
        section=live_section(contents, block),
        script=live_script(contents, block),
        card=card.replace("&", "&amp;").replace("<", "&lt;"),
        painter=painter,
    )


def opened(browser, folder, contents, painter, **size):
    path = folder / f"{painter}.html"
    path.write_text(page_text(contents, painter), encoding="utf-8")
    page = browser.open(path, **size)
    page.call("Network.enable")
    page.call(
        "Network.emulateNetworkConditions",
        **{"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0},
    )
    page.run("await Panelcp.live.started; await rest();")
    return page


@pytest.fixture(scope="module")
def desk(browser, contents, tmp_path_factory):
    page = opened(browser, tmp_path_factory.mktemp("desk"), contents, "webgl2", width=1100)
    yield page
    assert page.complaints() == []
    page.close()


@pytest.fixture(autouse=True)
def _afresh(request):
    """Every test starts from the first condition, nothing changed, seen from above."""
    if "desk" in request.fixturenames:
        request.getfixturevalue("desk").run(
            "document.documentElement.dataset.units = 'metric';"
            "const { trial, model } = ready.state, { controls } = Panelcp.live.app;"
            "trial.remove(); if (controls.both.checked) controls.both.click(); controls.reset();"
            "await set(controls.field, 'cp'); await set(controls.first, '0');"
            "ready.view.setCamera({ view: 'top', animate: false });"
            "scrollTo(0, 0); await rest(); await rest();"
        )


def at_point(page, point):
    """Pixels of a point of the body."""
    seen = page.run(f"return ready.view.project({list(map(float, point))})")
    assert not seen["hidden"]
    return seen["x"], seen["y"]


def click(page, x, y):
    page.mouse("mousePressed", x, y, button="left", clickCount=1)
    page.mouse("mouseReleased", x, y, button="left", clickCount=1)
    page.run("await rest()")


def read_cp(contents, pin, condition=0):
    """Cp by Python at a place that the page has read."""
    flow = contents.flow
    operator = point_operator(flow.surface, np.array([pin["point"]]), np.array([pin["panel"]]))
    return interpolated_pressure(flow, operator)[condition, 0] / flow.dynamic_pressure[condition]


def test_a_click_reads_what_python_finds_there(desk, contents):
    top = contents.flow.surface.centroids[:, 2] > 0.3
    point = contents.flow.surface.centroids[np.flatnonzero(top)[3]]
    click(desk, *at_point(desk, point))
    pin, shown = desk.run("return [ready.state.pin, told('.live-readout')]")
    assert np.abs(np.array(pin["point"]) - point).max() < 0.02
    cp = read_cp(contents, pin)
    number = float(shown.split("Cp ")[1].split(",")[0].replace("\u2212", "-"))
    assert number == pytest.approx(cp, abs=CP_TOLERANCE)
    q = contents.flow.dynamic_pressure[0]
    pascal = float(shown.split("Cp ")[1].split(", ")[1].split("\u00a0Pa")[0].replace("\u2212", "-"))
    assert pascal == pytest.approx(cp * q, abs=CP_TOLERANCE * q + 0.5)
    assert "inH2O" in shown
    assert "STA" in shown
    thickness = contents.skin_thickness[0, pin["panel"]]
    told = re.search(r"([\d.]+)\u00a0mm thick", shown)
    assert float(told.group(1)) == pytest.approx(1e3 * thickness, rel=0.03, abs=0.06)
    assert "unnamed" in shown
    said = desk.run(
        "await new Promise((done) => setTimeout(done, 500)); return [told('.live-said'), "
        "document.querySelector('.live-said').getAttribute('aria-live')]"
    )
    assert "Cp" in said[0]
    assert said[1] == "polite"


def test_sliders_give_what_a_fresh_solution_gives(desk, contents):
    desk.run("Panelcp.live.app.controls.rows.alpha.slider.focus()")
    for _ in range(4):
        desk.press("ArrowRight")
    desk.run("const { rows } = Panelcp.live.app.controls; await set(rows.beta.number, '-3')")
    desk.run("const { rows } = Panelcp.live.app.controls; await set(rows.altitude.number, '800')")
    alpha, cp, gauge, drawn, told = desk.run(
        "const { controls, model } = Panelcp.live.app, flow = ready.state.flow(0);"
        "return [Number(controls.rows.alpha.number.value), [...flow.cp], [...flow.gauge],"
        "ready.view.scene.limit, told('.live-box:nth-of-type(2)')]"
    )
    before = contents.flow.conditions[0]
    assert alpha == before.alpha + 2.0
    after = replace(before, alpha=alpha, beta=-3.0, altitude=800.0)
    surface = contents.flow.surface
    fresh = solve_conditions(surface, [after], contents.solutions.surroundings).flow()
    growth = fresh.reference_pressure[0] / contents.flow.reference_pressure[0]
    expected = fresh.gauge_pressure[0] + growth * contents.flow.separation_change[0]
    q = fresh.dynamic_pressure[0]
    assert np.abs(np.array(gauge) - expected).max() < CP_TOLERANCE * q
    assert np.abs(np.array(cp) - expected / q).max() < CP_TOLERANCE
    off = desk.run(
        "const { view } = ready, own = Float32Array.from(ready.state.flow(0).cp);"
        "const wanted = Panelcp.cornerMeans(view.geometry, own);"
        "return Math.max(...wanted.map((value, k) => Math.abs(value - view.values[0][k])))"
    )
    assert off == 0.0, "what is drawn"
    assert drawn == pytest.approx(live_settings(contents)["cp"]["limit"])
    for word in ("boundary layer", "separated air", "needed pressure"):
        assert word in told
    desk.run("Panelcp.live.app.controls.resetButton.click(); await rest();")
    assert desk.run("return ready.state.flow(0).frozen") == []
    assert desk.run("return told('.live-box:nth-of-type(2)')").count("Stays as solved") == 0


def test_what_cannot_be_is_said_and_the_picture_stays(desk):
    before = desk.run("return [...ready.state.flow(0).cp.slice(0, 50)]")
    after, said, wrong = desk.run(
        "const { rows } = Panelcp.live.app.controls; await set(rows.alpha.number, '70');"
        "return [[...ready.state.flow(0).cp.slice(0, 50)], told('.live-problem'),"
        "rows.alpha.number.getAttribute('aria-invalid')]"
    )
    assert after == before
    assert "Angle of attack is 70.0\u00b0; expected from \u221245.0\u00b0 to 45.0\u00b0" in said
    assert wrong == "true"


def python_patch(contents, found):
    """Patch means of an opening laid by Python where the page says that it lies."""
    names = ("centre", "length", "width", "turn", "shape", "use", "kind")
    place = {name: found[name] for name in names}
    opening = lay_opening(SkinFinder(contents.flow.surface), "tried", **place)
    return opening_pressures(contents.flow, [opening], [found["recovery"]])


def check_patch(contents, found):
    expected, q = python_patch(contents, found), contents.flow.reference_pressure
    moving = contents.flow.moving
    for key, name in (("patch", "patch_pressure"), ("spread", "pressure_spread")):
        error = (np.array(found[key]) - getattr(expected, name)[:, 0])[moving] / q[moving]
        assert np.abs(error).max() < PATCH_TOLERANCE, name


def test_an_opening_is_dragged_by_mouse_and_judged_everywhere(desk, contents):
    desk.run(f"ready.state.trial.start({{ centre: {TOP}, name: 'mine', turn: 20 }}); await rest();")
    start, end = at_point(desk, [-1.0, 0.05, 0.43]), at_point(desk, [-0.75, 0.1, 0.45])
    desk.mouse("mousePressed", *start, button="left", clickCount=1)
    for share in (0.3, 0.7, 1.0):
        x, y = (a + share * (b - a) for a, b in zip(start, end, strict=True))
        desk.mouse("mouseMoved", x, y, button="left", buttons=1)
        desk.run("await rest()")
    desk.mouse("mouseReleased", *end, button="left", clickCount=1)
    found, words = desk.run(
        "await rest(); return [judged(), "
        "[...document.querySelectorAll('.live-words')].map((row) => row.textContent)]"
    )
    np.testing.assert_allclose(found["centre"][:2], [-0.75, 0.1], atol=0.01)
    check_patch(contents, found)
    ranking = contents.ranking
    inlet = ranking.inlets.inlet_pressure[:, ranking.inlet_index[0]]
    available = inlet - np.array(found["patch"])
    np.testing.assert_allclose(found["result"]["available"], available, rtol=1e-5, atol=1e-3)
    assert found["result"]["partner"] == ranking.inlet(0).name
    for word, value in zip(words[:2], available[:2], strict=True):
        assert word.startswith("out, " if value > 0 else "in: reversed")
        assert f"{abs(value):.0f}\u00a0Pa" in word
    decides = desk.run(
        "return [...document.querySelectorAll('.live-bars li')].map((row) =>"
        "[row.textContent.includes('decides'), row.querySelector('.live-need').hidden])"
    )
    assert decides == [[True, False], [False, True], [False, True]]


def test_a_copy_is_dragged_off_its_opening_and_the_view_stays(desk, contents):
    name = contents.ranking.exit(0).name
    start = desk.run(
        "const { trial, model } = ready.state, hidden = [trial.notCopied.hidden];"
        f"const opening = model.openings.find((own) => own.name === {name!r}); trial.copy(opening);"
        "for (const view of ['top', 'bottom', 'left', 'right', 'front']) {"
        "ready.view.setCamera({ view, animate: false }); await rest();"
        "if (!ready.view.project(judged().centre).hidden) break; }"
        "hidden.push(trial.notCopied.hidden); return { centre: judged().centre, hidden,"
        "camera: ready.view.camera.state, words: trial.fields.innerText }"
    )
    assert start["hidden"] == [True, False]
    for word in ("Drag it,", *NETWORK_OPENING):
        assert word in start["words"]
    x, y = at_point(desk, start["centre"])
    desk.mouse("mousePressed", x, y, button="left", clickCount=1)
    desk.mouse("mouseMoved", x - 16, y, button="left", buttons=1)
    desk.run("await rest()")
    desk.mouse("mouseReleased", x - 16, y, button="left", clickCount=1)
    centre, camera, step, hidden = desk.run(
        "await rest(); const { centre } = judged(), { state, pixelsPerMetre } = ready.view.camera;"
        f"ready.state.trial.start({{ centre: {TOP} }});"
        "return [centre, state, 16 / pixelsPerMetre, ready.state.trial.notCopied.hidden]"
    )
    assert camera == start["camera"]
    moved = np.linalg.norm(np.subtract(centre, start["centre"]))
    assert step - 1e-3 < moved < 2.0 * step
    assert hidden


def test_numbers_of_changed_air_say_so(desk, contents):
    name = contents.flow.conditions[0].name
    read = (
        "[told('.live-title'), told('.live-bars li'), told('.live-trial'),"
        "told('.live-box:nth-of-type(2) legend'), told('.live-bars li:nth-child(2)')]"
    )
    click(desk, *at_point(desk, TOP))
    before, after, value, worth = desk.run(
        f"ready.state.trial.start({{ centre: {TOP}, name: 'mine' }}); await rest();"
        f"const before = {read}; const {{ rows, field }} = Panelcp.live.app.controls;"
        f"await set(rows.alpha.number, '5'); const after = {read}, value = told('.live-value');"
        "const worth = told('.live-readout');"
        "await set(field, 'exitRatio'); await set(Panelcp.live.app.controls.first, '1');"
        "return [before, after, value, worth + told('.live-title')]"
    )
    assert "(changed)" not in "".join(before)
    assert after[0] == f"{name} (changed)"
    assert f"{name[-4:]} (changed)" in after[1]
    assert f"decided by {name} (changed)" in after[2]
    assert after[3].endswith("(changed)")
    assert "(changed)" not in after[4], "another condition"
    assert value.startswith(f"{name} (changed): ")
    assert f", in {name} (changed)." in worth
    assert worth.endswith("all deciding conditions (changed)")


def test_arrow_keys_nudge_along_the_skin(desk, contents):
    desk.run(f"ready.state.trial.start({{ centre: {TOP}, name: 'mine' }}); await rest();")
    before = desk.run("return judged().centre")
    desk.press("ArrowRight")  # seen from above, the nose is on the left
    desk.run("await rest()")
    desk.press("ArrowRight", modifiers=8)
    found = desk.run("await rest(); return judged()")
    moved = np.array(found["centre"]) - before
    assert np.linalg.norm(moved[:2]) == pytest.approx(0.011, abs=5e-4)
    assert abs(moved[0]) == pytest.approx(0.011, abs=5e-4)
    check_patch(contents, found)


def test_places_off_the_skin_or_over_an_edge_are_refused_in_words(desk):
    desk.run(f"ready.state.trial.start({{ centre: {TOP}, name: 'mine' }}); await rest();")
    kept, far = desk.run(
        "const { trial } = ready.state; await set(trial.inputs.z, '600');"
        "return [trial.judged.patch.centre, trial.problem.textContent]"
    )
    assert "from the skin; at most 50\u00a0mm" in far
    np.testing.assert_allclose(kept, TOP, atol=0.02)
    wide, stale, valid = desk.run(
        "const { trial } = ready.state; await set(trial.inputs.z, '430');"
        "await set(trial.inputs.width, '3000');"
        "return [trial.problem.textContent, !!document.querySelector('.live-stale'),"
        "(await set(trial.inputs.width, '200'), trial.problem.hidden)]"
    )
    assert "edge" in wide or "step" in wide
    assert stale
    assert valid


@pytest.mark.parametrize("use", ["exit", "inlet"])
def test_the_copied_entry_is_read_by_the_case(desk, contents, tmp_path, use):
    name = 'a "quoted" \\ name \U0001f525 \u202e</script>' + "y" * 160
    desk.run(f"ready.state.trial.start({{ centre: {TOP} }}); await rest();")
    text = desk.run(
        "const { inputs, entry } = ready.state.trial;"
        f"await set(inputs.name, {name!r}, 'input'); await set(inputs.use, '{use}');"
        "await set(inputs.turn, '-12.5'); await set(inputs.recovery, '0.4'); return entry.value"
    )
    (row,) = tomllib.loads(text)["opening"]
    assert row["name"] == name
    entry = read_case(write_case(tmp_path, TEXT + "\n" + text)).openings[-1]
    assert (entry.name, entry.use, entry.turn) == (name, use, -12.5)
    assert (entry.length, entry.width) == (0.12, 0.2)
    assert text.splitlines()[-1] == (
        "# for the cooling network, add its name to inlets or exits of [cooling]"
    )
    centre = desk.run("return judged().centre")
    np.testing.assert_allclose(entry.centre, centre, atol=6e-5)
    if use == "inlet":
        assert (entry.recovery.value, entry.recovery.mark) == (0.4, "yours")
    assert (
        "copied"
        in desk.run(
            "document.querySelector('.live-app').scrollIntoView();"
            "await ready.state.trial._copyEntry(); return ready.state.trial.copied.textContent"
        ).lower()
        + " copied if the page may"
    )


def test_fields_of_places_are_the_vent_map(desk, contents):
    everywhere = np.ones(contents.flow.surface.n_panels, dtype=bool)
    for use, eta in (("exit", 0.0), ("inlet", 0.3)):
        partner = partner_of_best(contents.ranking, use)
        expected = vent_map(
            contents.flow, use, partner, everywhere, contents.ranking.needed, recovery=eta
        )
        seen = desk.run(
            "const { controls, model } = Panelcp.live.app; await set(controls.recovery, '0.3');"
            f"await set(controls.field, '{use}Ratio'); return [...model.valuesOf(model.shown[0])]"
        )
        np.testing.assert_allclose(seen, expected.least_ratio, atol=0.01)
    legend, other = desk.run(
        "const legend = told('.live-legend'); await set(Panelcp.live.app.controls.field, 'cp');"
        "return [legend, told('.live-legend')]"
    )
    assert "suffice" in legend
    assert "whole skin, also where nothing may be cut" in legend
    assert "whole skin" not in other
    at = desk.run(
        "const { model } = Panelcp.live.app; return model.worthAt({ point: "
        "[...ready.block.points.slice(0, 3)], panel: 0 }, 'inlet')"
    )
    assert at["least"] == pytest.approx(seen[0], abs=0.01)


def test_two_conditions_turn_together_and_names_stay_texts(desk, contents):
    titles, cameras, scripts = desk.run(
        "const { controls, picture } = Panelcp.live.app; controls.both.click();"
        "await set(controls.second, '1'); picture.views[0].setCamera({ view: 'left' });"
        "await rest(); return [[...document.querySelectorAll('.live-title')].map((t) =>"
        "t.textContent), picture.views.map((view) => view.camera.state),"
        "document.querySelectorAll('.live-app script, .live-app b:not(.live-name b)').length]"
    )
    assert titles == [condition.name for condition in contents.flow.conditions[:2]]
    assert titles[0] == NASTY
    assert cameras[0] == cameras[1]
    assert scripts == 0
    texts = desk.run(
        "await set(Panelcp.live.app.controls.first, '2'); Panelcp.live.app.readOut.choose("
        f"{NASTY + ' chin'!r}); return [told('.live-title'), "
        "told('.live-chosen'), told('.live-legend'), ready.view.labels.list.textContent]"
    )
    assert texts[0] == "parked"
    assert f"{NASTY} chin" in texts[1]
    assert "Pa" in texts[2], "Cp says nothing at rest"
    assert "\u2026" in texts[3], "long names are cut on labels"


def test_labels_lead_to_cards_and_copies(desk, contents):
    name = contents.ranking.exit(0).name
    link, copied = desk.run(
        f"ready.view._emit('select', {{ group: 'outlines', name: {name!r} }}); await rest();"
        "const chosen = document.querySelector('.live-chosen');"
        "const link = document.querySelector(chosen.querySelector('a').getAttribute('href'));"
        "chosen.querySelector('button').click(); await rest();"
        "return [link.textContent, ready.state.trial.values.name]"
    )
    assert link == f"1: {name}"
    assert copied == f"{name} moved"


def test_units_follow_the_switch_of_the_page(desk, contents):
    top = contents.flow.surface.centroids[contents.flow.surface.centroids[:, 2].argmax()]
    click(desk, *at_point(desk, top))
    point, shown, speed, legend = desk.run(
        "document.documentElement.dataset.units = 'cockpit';"
        "document.dispatchEvent(new CustomEvent('panelcp:units', { detail: 'cockpit' }));"
        "await rest(); await set(Panelcp.live.app.controls.field, 'pressure');"
        "return [ready.state.pin.point, told('.live-where'),"
        "Panelcp.live.app.controls.rows.calibrated.number.value, told('.live-legend')]"
    )
    assert f"STA {point[0] / 0.0254:.2f}".replace("-", "\u2212") in shown
    assert float(speed) == pytest.approx(70.0)
    assert "inH2O" in legend
    assert "100\u00a0\u00b0F" in desk.run("return told('.live-box:nth-of-type(2)')")


def test_later_parts_add_lines_and_points(desk):
    counts = desk.run(
        "const { state, view } = ready, count = () => view.strokes.lines.length, before = count();"
        "const said = []; state.on('change', (w) => said.push(w));"
        "state.on('trial', ({ patch }) => said.push(patch.name));"
        f"state.trial.start({{ centre: {TOP}, name: 'mine' }});"
        "state.add('taps', { points: [{ number: 7, point: [-1, 0, 0.43], name: 'tap 7' }],"
        "lines: [{ points: Float32Array.from([-1, 0, .44, -.5, 0, .49]), kind: 'exit' }] });"
        "state.addBox('Taps'); await set(Panelcp.live.app.controls.first, '1'); const all ="
        "[count() - before, view.labels.items.has('points 7'), said.includes('condition'),"
        "said.includes('mine'),"
        "told('.live-side').includes('Taps')]; state.add('taps', null);"
        "return [...all, count() - before]"
    )
    assert counts == [1, True, True, True, True, 0]


def test_exit_air_is_drawn_along_the_skin_and_dashed_once_changed(desk, contents):
    traces = live_settings(contents)["traces"]
    assert [row["condition"] for row in traces] == np.flatnonzero(contents.flow.moving).tolist()
    names = [line["name"] for line in traces[0]["lines"]]
    assert f"{NASTY} chin" in names
    finder = SkinFinder(contents.flow.surface)
    for line in traces[0]["lines"]:
        steps = np.cumsum(np.reshape(line["points"], (-1, 3)), axis=0)
        places = np.cumsum(steps, axis=0) * 1e-3
        assert np.ptp(np.linalg.norm(steps[1:], axis=1)) < 4.0, "equally far apart, rounded to mm"
        assert np.all(np.diff(places[:, 0]) > 0.0), "aft"
        for place in places[::10]:
            away = np.linalg.norm(finder.nearest(place)[0] - place)
            assert away < 0.01
    counts = desk.run(
        "const { picture, controls } = Panelcp.live.app, lines = () => ready.view.strokes.lines;"
        "const before = [lines().length, lines().some((line) => line.dashed)];"
        "await set(controls.rows.alpha.number, '3'); const after = lines().every((l) => l.dashed);"
        "picture.showTraces(false); const none = lines().length; picture.showTraces(true);"
        "return [...before, after, none]"
    )
    assert counts == [len(names), False, True, 0]


def test_phone_and_plain_canvas(browser, contents, tmp_path):
    # the flags of this browser leave it no graphics processor
    page = opened(browser, tmp_path, contents, "auto", width=390, height=780, touch=True)
    page.run(f"ready.state.trial.start({{ centre: {TOP}, name: 'mine' }}); await rest();")
    wide, *cameras = page.run(
        "const { controls, picture } = Panelcp.live.app; controls.both.click(); await rest();"
        "await rest(); const found = picture.views.map((view) => view.camera.state), wide ="
        "document.documentElement.scrollWidth; controls.both.click(); await rest();"
        "return [wide, ...found]"
    )
    assert wide == 390
    assert cameras[0] == cameras[1], "fitted to the smaller picture, both"
    page.run("ready.view.setCamera({ view: 'top', animate: false }); scrollTo(0, 0); await rest();")
    width, kind = page.run("return [document.documentElement.scrollWidth, ready.view.kind]")
    assert width == 390
    assert kind == "2d"
    reason = page.run(
        "const p = document.querySelector('.live-reason'); return [p.innerText, p.title]"
    )
    assert reason[0] == "Drawn without the graphics processor: turning is slower."
    assert "WebGL2" in reason[1]
    start, end = at_point(page, [-1.0, 0.05, 0.43]), at_point(page, [-0.7, 0.05, 0.46])
    page.touch("touchStart", start)
    page.touch("touchMove", ((start[0] + end[0]) / 2, start[1]))
    page.touch("touchMove", end)
    page.touch("touchEnd")
    found = page.run("await rest(); await rest(); return judged()")
    np.testing.assert_allclose(found["centre"][:2], [-0.7, 0.05], atol=0.02)
    check_patch(contents, found)
    assert page.complaints() == []
    page.close()


def test_data_that_cannot_be_read_is_said(browser, contents, tmp_path):
    path = tmp_path / "broken.html"
    text = page_text(contents, "2d")
    start = text.index('id="live-data">') + len('id="live-data">')
    path.write_text(text[:start] + "AAAA" + text[start + 4 :], encoding="utf-8")
    page = browser.open(path)
    said = page.run("await Panelcp.live.started; return told('#live-app')")
    assert "cannot be shown" in said
    page.close()


def test_without_scripts_words_and_picture_stay(contents):
    block = block_of_run(contents)
    section = live_section(contents, block, "<img alt='' src='data:,'>")
    assert "<noscript>" in section
    assert "<img" in section
    assert "<script" not in section
    assert NASTY not in live_script(contents, block)
