"""The page: sections, headings, escaping of hostile texts, no network."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from panelcp.case.running import run_case
from panelcp.placement.combinations import combine
from panelcp.report.contents import CAUTIONS, NOT_MODELLED, PROPELLER_NOTICE
from panelcp.report.page import LARGEST_PAGE, report_page
from tests.cases import changed, few_dots, ranked, write_case
from tests.placement.test_combinations import SETTINGS
from tests.report.test_choices_summary import small as with_curves

SECTIONS = (
    "answer",
    "live",
    "ranking",
    "cards",
    "sides",
    "spoilers",
    "vent-map",
    "curves",
    "sensitivity",
    "maps",
    "cuts",
    "openings",
    "layers",
    "exit-air",
    "conditions",
    "inputs",
    "surface",
    "cautions",
    "model",
    "versions",
)
PICTURES = 2 + 5 + 2
"""Pressure maps, curves, vent maps."""

VOID = {"meta", "link", "img", "br", "input"}
SCRIPTS = 5
"""The switch of units, data, settings and code of the live page, and what starts it."""

SCRIPT = "<script>alert('x')</script><img src=x onerror=\"alert(1)\">"
HOSTILE = {
    "Small body": f"Cowl {SCRIPT} & \"quotes\" 'single' </title></h1>",
    "Above or below?": "$x_{$ \u202eright to left\u202c שלום مرحبا 🔥 " + "long " * 1000,
    "Invented.": "</p></header><script src='https://example.org/x.js'></script>\nsecond line",
    "climb": "climb </td><script>1</script> 🔥 $\\frac$",
    "sideslip": 'sideslip" onload="alert(1)',
    "chin": "<u onmouseover=alert(1)>chin</u> 試",
    "nose": "nose" + "e" * 300,
    "invented": "<iframe src='http://example.org'></iframe>",
}


IMPLIED = {"td": ("td", "th"), "th": ("td", "th"), "tr": ("td", "th", "tr"), "li": ("li",)}
"""Elements that one of these kinds ends without an end tag, by the rules of HTML."""


class Page(HTMLParser):
    """Elements, attributes and texts of a page, and whether its elements close in order."""

    def __init__(self, content: str):
        super().__init__(convert_charrefs=True)
        self.tags, self.attributes, self.texts, self.open = [], [], [], []
        self.sections, self.links = [], []
        self.feed(content)
        self.close()

    def handle_starttag(self, tag, attrs):
        while self.open and self.open[-1] in IMPLIED.get(tag, ()):
            self.open.pop()
        self.tags.append(tag)
        self.attributes += attrs
        self.sections += [value for name, value in attrs if tag == "section" and name == "id"]
        self.links += [value for name, value in attrs if tag == "a" and name == "href"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        while self.open[-1] != tag and self.open[-1] in IMPLIED:
            self.open.pop()
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self) -> str:
        return "\0".join(self.texts)


def hostile_text() -> str:
    text = changed('"Invented."', f"'''{HOSTILE['Invented.']}'''".replace("'''", '"""'))
    for word, replacement in HOSTILE.items():
        if word != "Invented.":
            quoted = replacement.replace("\\", "\\\\").replace('"', '\\"')
            text = changed(f'"{word}"', f'"{quoted}"', text)
    return text


@pytest.fixture(scope="module")
def plain(small_run):
    """Path of the page of the small case."""
    return small_run[1] / "report.html"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """Path of the page of a case with hostile texts in every place."""
    path = write_case(tmp_path_factory.mktemp("hostile"), hostile_text())
    with few_dots():
        return run_case(path).folder / "report.html"


def page_of(path: Path) -> Page:
    return Page(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_page_is_well_formed_and_has_all_sections(which, request):
    page = page_of(request.getfixturevalue(which))
    assert page.open == []
    assert page.sections == list(SECTIONS)
    assert [link for link in page.links if link[0] == "#"] == [
        "#answer",
        *(f"#{name}" for name in SECTIONS),
        "#maps",
    ]
    ids = [value for name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    assert page.tags.count("h2") == len(SECTIONS)
    for once in ("h1", "main", "header", "footer", "nav"):
        assert page.tags.count(once) == 1, once
    assert ("lang", "en") in page.attributes


@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_headings_leave_out_no_rank_and_pictures_and_tables_are_named(which, request):
    content = request.getfixturevalue(which).read_text(encoding="utf-8")
    ranks = [int(rank) for rank in re.findall(r"<h([1-6])[ >]", content)]
    assert all(after - before <= 1 for before, after in pairwise(ranks))
    assert all(len(alt) > 8 for alt in re.findall(r'<img alt="([^"]*)"', content))
    assert content.count("<img ") == len(re.findall(r'<img alt="', content)) == PICTURES
    tables = re.findall(r"<table\b.*?</table>", content, re.DOTALL)
    assert tables
    for table in tables:
        assert re.match(r"<table[^>]*><caption>[^<]+</caption>", table)
        assert not re.search(r"<th(?! scope=)", table.replace("<thead", ""))


@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_page_runs_only_its_own_and_loads_nothing(which, request):
    path = request.getfixturevalue(which)
    page = page_of(path)
    assert path.stat().st_size <= LARGEST_PAGE
    for tag in ("iframe", "object", "embed", "form", "base", "u"):
        assert tag not in page.tags
    assert page.tags.count("script") == SCRIPTS
    for name, value in page.attributes:
        assert not name.startswith("on"), (name, value)
        if name in ("src", "href"):
            written = (".png",) if name == "src" else (".png", ".svg", ".csv")
            beside = value.endswith(written) and (path.parent / value).is_file()
            assert beside or value.startswith(("data:", "#")), value[:80]
    style = page.texts[page.texts.index(next(t for t in page.texts if ":root" in t))]
    assert "url(" not in style
    assert "@import" not in style
    if which == "plain":
        outside = re.findall(r"https?://[^\s\"'<>)]*", path.read_text(encoding="utf-8"))
        assert set(outside) <= {"http://www.w3.org/2000/svg"}, outside


def test_hostile_texts_come_back_letter_by_letter(hostile):
    page = page_of(hostile)
    for word, text in HOSTILE.items():
        assert text.strip() in page.text, word
    assert page.tags.count("img") == PICTURES


def test_page_says_what_must_be_known(plain):
    page = page_of(plain)
    assert f"Notice: {PROPELLER_NOTICE}." in page.texts
    for line in (*CAUTIONS, *NOT_MODELLED):
        assert line in page.texts
    assert any(CAUTIONS[0] in text for text in page.texts[: page.texts.index("Does it work?")])
    assert "published" in page.texts
    assert "invented" in page.texts


def test_hostile_texts_leave_the_other_files_readable(hostile):
    from tests.report.test_results import rows_of, strict_json

    folder = hostile.parent
    summary = strict_json(folder / "summary.json")
    assert summary["name"] == HOSTILE["Small body"]
    assert summary["note"] == HOSTILE["Invented."]
    assert summary["conditions"][0]["name"] == HOSTILE["climb"]
    rows = rows_of(folder / "pressures.csv")
    assert {HOSTILE["chin"], HOSTILE["nose"]} <= {row["opening"] for row in rows}
    assert {row["condition"] for row in rows} == {HOSTILE["climb"], HOSTILE["sideslip"], "parked"}
    assert rows_of(folder / "ranking.csv")[0]["limiting_condition"] == HOSTILE["climb"]
    names = sorted(path.name for path in (folder / "maps").iterdir())
    assert names == ["01-climb-td-script-1-script-frac.png", "02-sideslip-onload-alert-1.png"]


# --- sections where there is something to show ---------------------------------------------


@cache
def ids_of(contents, **pictures) -> tuple[str, ...]:
    """Sections of a page; the navigation leads to each of them, in their order."""
    page = Page(report_page(contents, [], **pictures))
    assert page.open == []
    inside = [link[1:] for link in page.links if link[0] == "#"]
    assert inside == ["answer", *page.sections]
    assert len(set(page.sections)) == len(page.sections) == page.tags.count("section")
    return tuple(page.sections)


def small():
    return ranked()[1]


def test_a_ranking_alone_has_no_sections_on_curves_vent_maps_and_bays():
    absent = {"vent-map", "curves", "combinations", "effects", "flows"}
    assert set(ids_of(small())) == set(SECTIONS) - absent


@pytest.mark.parametrize(
    ("section", "without"), [("spoilers", {"spoilers": ()}), ("layers", {"layers": None})]
)
def test_section_goes_with_what_it_shows(section, without):
    assert section in ids_of(small())
    changes = set(ids_of(small())) ^ set(ids_of(replace(small(), **without)))
    assert changes == {section}


def test_section_on_a_bay_comes_with_combinations():
    ranking, flow = small().ranking, small().flow
    settings = replace(SETTINGS, names=("chin",))
    samples, moving = ranking.bands.samples, flow.moving
    found = combine(ranking, samples, flow.conditions, settings, moving, flow.predicted)
    changes = set(ids_of(small())) ^ set(ids_of(replace(small(), combinations=found)))
    assert changes == {"combinations"}


def test_section_on_curves_comes_with_curves_and_on_a_vent_map_with_its_picture(plain):
    found = ids_of(replace(small(), curves=with_curves().curves))
    assert set(found) ^ set(ids_of(small())) == {"curves"}
    picture = plain.parent / "vent-map-exit.png"
    page = Page(report_page(small(), [], vent_maps=[("Exit", "caption", picture)]))
    assert ("id", "vent-map") in page.attributes
    assert ("href", picture.name) in page.attributes


# --- a real browser, on this page ----------------------------------------------------------

NUMBERS = (
    """return Array.from(document.querySelectorAll("data[value], [data-q]"), q => q.textContent)"""
)
SWITCH = """
const choice = document.querySelector("#units input[value=" + {value!r} + "]");
choice.click();
return [document.documentElement.dataset.units, choice.checked];
"""
CONTRAST = """
const numbers = colour => (colour.match(/[\\d.]+/g) || []).map(Number);
const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
  .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
  .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
const ground = element => {
  for (let at = element; at; at = at.parentElement) {
    const seen = numbers(getComputedStyle(at).backgroundColor);
    if (seen.length === 3) return seen;
    if (seen.length === 4 && seen[3] === 1) return seen;
  }
  return [255, 255, 255];
};
let worst = [99, ""];
const walker = document.createTreeWalker(document.querySelector(WHERE), NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const element = walker.currentNode.parentElement;
  if (!walker.currentNode.data.trim() || element.closest("svg, script, style, #live")) continue;
  const both = [light(numbers(getComputedStyle(element).color)), light(ground(element))];
  const ratio = (Math.max(...both) + 0.05) / (Math.min(...both) + 0.05);
  if (ratio < worst[0]) worst = [ratio, walker.currentNode.data.slice(0, 60)];
}
return worst;
"""


def cut_off(page):
    """Take the network from a page."""
    page.call("Network.enable")
    speed = {"latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    page.call("Network.emulateNetworkConditions", offline=True, **speed)


@pytest.mark.parametrize("which", ["plain", "hostile"])
def test_browser_shows_the_page_at_both_widths_without_a_complaint(browser, which, request):
    path = request.getfixturevalue(which)
    for width, height in ((1280, 900), (390, 844)):
        before = len(browser.events)
        page = browser.open(path, width, height)
        cut_off(page)
        page.run("return new Promise(done => setTimeout(done, 300))")
        over = "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert page.run(over) == 0, width
        assert page.run("return document.querySelectorAll('u, iframe, b b').length") == 0
        assert page.run("return document.querySelectorAll('script').length") == SCRIPTS
        assert page.run("return Array.from(document.images).every(i => i.naturalWidth > 100)")
        asked = [e for e in browser.events[before:] if e["method"] == "Network.requestWillBeSent"]
        assert all(e["params"]["request"]["url"].startswith(("data:", "blob:")) for e in asked)
        assert page.complaints() == []
        page.close()


def test_switch_changes_numbers_and_back_exactly_and_is_remembered(browser, plain):
    page = browser.open(plain, 1280, 900)
    page.run(
        "window.told = []; document.addEventListener('panelcp:units', e => told.push(e.detail))"
    )
    before = page.run(NUMBERS)
    assert len(before) > 100
    assert page.run(SWITCH.format(value="cockpit")) == ["cockpit", True]
    assert page.run("return told") == ["cockpit"]
    cockpit = page.run(NUMBERS)
    assert sum(a != b for a, b in zip(before, cockpit, strict=True)) > 0.8 * len(before)
    assert any(text.endswith(" inH2O") for text in cockpit)
    assert not any(text.endswith((" mm", " m/s", " °C")) for text in cockpit)
    assert page.run("return localStorage.getItem('panelcp:units')") == "cockpit"
    page.close()
    page = browser.open(plain, 1280, 900)
    assert page.run(NUMBERS) == cockpit
    assert page.run("return document.querySelector('#units input:checked').value") == "cockpit"
    page.run("document.querySelector('#units input:checked').focus()")
    page.press("ArrowLeft")
    assert page.run("return document.documentElement.dataset.units") == "metric"
    assert page.run(NUMBERS) == before
    assert page.complaints() == []
    page.close()


@pytest.mark.parametrize("dark", [False, True])
def test_every_text_stands_out_from_what_it_stands_on(browser, plain, dark):
    page = browser.open(plain, 1280, 900, dark=dark)
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    ratio, text = page.run(f"const WHERE = 'body';{CONTRAST}")
    assert ratio >= 4.5, text
    page.close()


def test_without_scripts_all_can_be_read(browser, plain, tmp_path):
    content = plain.read_text(encoding="utf-8")
    bare = tmp_path / "bare.html"
    bare.write_text(re.sub(r"<script.*?</script>", "", content, flags=re.DOTALL), encoding="utf-8")
    page = browser.open(bare, 390, 844)
    assert page.run("return getComputedStyle(document.getElementById('units')).display") == "none"
    heights = "return Array.from(document.querySelectorAll('main > section'), s => s.offsetHeight)"
    assert min(page.run(heights)) > 40
    page.close()
