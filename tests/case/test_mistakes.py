"""Every mistake in a case file is named with its line, in words that help."""

import re

import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.schema import band, quantity
from panelcp.errors import CaseError, PanelcpError, QuantityError, SurfaceError
from tests.cases import CASE, changed, line_of, write_case

# What is replaced, by what, a text on the line that must be named, words of the message.
AXES = 'axes = { aft = "+x", right = "+y", up = "+z" }'
SINGLE = {
    "missing name of the project": (
        'name = "Small body"\n',
        "",
        "[project]",
        "project: name is missing",
    ),
    "missing key in a list": (
        'width = "80 mm"\n',
        "",
        "[[opening]]",
        "opening[1]: width is missing",
    ),
    "wrong type": (
        'question = "Above or below?"',
        "question = 3",
        "question",
        "project.question: 3 is not a text; put it into quotes",
    ),
    "empty text": ('"Small body"', '"  "', 'name = "  "', "project.name: the text is empty"),
    "name of two lines": ('"climb"', '"climb\\nhot"', "climb", "must stand on one line"),
    "control character": ('"Invented."', '"a\\u001b[2Jb"', "note", "control characters"),
    "true in quotes": (
        "decides = false",
        'decides = "no"',
        'decides = "no"',
        "condition[2].decides: 'no' is neither true nor false (without quotes)",
    ),
    "wrong unit word": (
        '"70 kt"',
        '"70 furlong"',
        "furlong",
        "condition[1].calibrated_airspeed: cannot read '70 furlong' as a speed: the unit "
        "'furlong' is not known here; units allowed: m/s, kt",
    ),
    "unit of another kind": ('"6 deg"', '"6 kt"', '"6 kt"', "'kt' is a unit of speed"),
    "wrong unit of the mesh": (
        'unit = "m"',
        'unit = "metre"',
        'unit = "metre"',
        "surface.unit: 'metre' is not known; choose one of m, mm, cm, km, in, ft",
    ),
    "number without unit": (
        '"80 mm"',
        "80",
        "length = 80",
        "opening[1].length: cannot read 80 as a length: put a unit behind it, in quotes",
    ),
    "text without unit": ('"80 mm"', '"80"', 'length = "80"', "put a unit behind it"),
    "negative size": (
        'length = "100 mm"',
        'length = "-100 mm"',
        '"-100 mm"',
        "opening[2].length: '-100 mm' is too small; expected more than 0",
    ),
    "no size": ('"200 mm"', '"0 mm"', '"0 mm"', "search[1].spacing: '0 mm' is too small"),
    "negative speed": ('"40 m/s"', '"-40 m/s"', '"-40', "too small; expected at least 0"),
    "power without percent sign": (
        '"100 %"',
        "100",
        "power = 100",
        'condition[1].power: 100 is too large; expected at most 2 (with a sign: "65 %")',
    ),
    "unknown key": (
        'alpha = "6 deg"',
        'alpa = "6 deg"',
        "alpa",
        "condition[1].alpa: not a known entry; did you mean 'alpha'?",
    ),
    "unknown key like no other": (
        'unit = "m"\n',
        'unit = "m"\nzzz = 1\n',
        "zzz",
        "surface.zzz: not a known entry; known: file, unit, axes",
    ),
    "unknown table": (
        "[engine]",
        "[engin]",
        "[engin]",
        "engin: not a known table; did you mean 'engine'?",
    ),
    "unknown key above the tables": ("[project]", 'x = "1"\n[project]', "x =", "x: not a known"),
    "single table for a list": (
        "[[no_cut]]",
        "[no_cut]",
        "[no_cut]",
        "no_cut: must be a list of tables: write [[no_cut]]",
    ),
    "list for a single table": (
        "[report]",
        "[[report]]",
        "[[report]]",
        "report: must be one table: write [report]",
    ),
    "number for a list": (
        "[project]",
        "region = 3\n[project]",
        "region",
        "region: must be a list of tables: write [[region]]",
    ),
    "doubled name": (
        '"sideslip"',
        '"climb"  # again',
        "# again",
        "condition[2].name: 'climb' is already the name of number 1",
    ),
    "name that a search will give": (
        '"chin"',
        '"top 2"',
        "top 2",
        "opening[2].name: 'top 2' is a name that the search 'top' will give",
    ),
    "unknown choice": (
        '"plain exit"',
        '"plain exits"',
        "plain exits",
        "did you mean 'plain exit'?",
    ),
    "list for a word": ('use = "inlet"', 'use = ["inlet"]', "use = [", "['inlet'] is not known"),
    "axes that are not three": (
        AXES,
        'axes = { aft = "+x", right = "+x", up = "+z" }',
        "axes",
        "surface.axes: axes: aft, right and up must be three different axes of the file",
    ),
    "axis without name": (
        AXES,
        'axes = { aft = "+x", right = "+q", up = "+z" }',
        "axes",
        "right = '+q' is not an axis of the file",
    ),
    "axes of two": (
        AXES,
        'axes = { aft = "+x", up = "+z" }',
        "axes",
        'write { aft = "+x", right = "+y", up = "+z" }',
    ),
    "datum far away": ('part = "whole"', "datum = [1, 2, 1e12]", "datum", "not believable"),
    "place far away": (
        '"-1 m", "0 m", "-433 mm"',
        '"-1e308 m", "0 m", "-433 mm"',
        'centre = ["-1e308',
        "'-1e308 m' is 1e+308 m, which is not believable",
    ),
    "size of nothing": ('length = "80 mm"', 'length = "1e-320 mm"', "length", "at least 0.01 mm"),
    "datum of two": ('part = "whole"', "datum = [1, 2]", "datum", "three plain numbers"),
    "datum without end": ('part = "whole"', "datum = [1, 2, inf]", "datum", "not finite"),
    "point of two": (
        '"-1 m", "0 m", "-433 mm"',
        '"-1 m", "0 m"',
        'centre = ["-1 m"',
        "opening[2].centre: ['-1 m', '0 m'] is not a point; write three lengths",
    ),
    "both speeds": (
        'calibrated_airspeed = "70 kt"',
        'calibrated_airspeed = "70 kt"\ntrue_airspeed = "72 kt"',
        "[[condition]]",
        "condition[1]: give one of true_airspeed, calibrated_airspeed and ground_speed, not 2",
    ),
    "no speed": (
        'calibrated_airspeed = "70 kt"\n',
        "",
        "[[condition]]",
        "condition[1]: give one of true_airspeed, calibrated_airspeed and ground_speed, not 0",
    ),
    "hot day and temperature": (
        'day = "hot day"',
        'day = "hot day"\ntemperature = "30 degC"',
        "[[condition]]",
        "condition[1]: give either the hot day or a temperature, not both",
    ),
    "angle out of range": ('"6 deg"', '"60 deg"', "[[condition]]", "alpha is 60 deg; expected"),
    "too fast": (
        '"70 kt"',
        '"300 kt"',
        "[[condition]]",
        "Mach number 0.45; the incompressible flow model ends at 0.4",
    ),
    "too high": (
        'day = "hot day"',
        'altitude = "30 km"',
        "[[condition]]",
        "condition[1]: ",
    ),
    "unknown mark": (
        'mark = "published"',
        'mark = "rumour"',
        "rumour",
        "opening[1].recovery: unknown mark 'rumour'; choose one of published, derived",
    ),
    "published without source": (
        ', source = "invented"',
        "",
        "recovery",
        "marked 'published' without a source",
    ),
    "value outside its band": (
        'low = "400 Pa"',
        'low = "510 Pa"',
        "510 Pa",
        "engine.needed_pressure: the value 500 Pa is not between low 510 Pa and high 650 Pa",
    ),
    "half a band": (', low = "400 Pa"', "", "needed_pressure", "high is given without low"),
    "recovery above one": (
        'high = "0.9"',
        'high = "1.1"',
        "1.1",
        "opening[1].recovery: high is 1.1; expected 0 to 1",
    ),
    "negative pressure": (
        '{ value = "500 Pa", low = "400 Pa", high = "650 Pa", mark = "memory" }',
        '"-500 Pa"',
        "-500 Pa",
        "engine.needed_pressure: value is -500 Pa; expected at least 0",
    ),
    "deciding condition without needed pressure": (
        'power = "100 %"\n',
        "",
        "[[condition]]",
        "condition[1]: it decides, but needs no pressure: give needed_pressure here",
    ),
    "deciding condition without power": (
        'power = "100 %"',
        'power = "0 %"',
        "[[condition]]",
        "condition[1]: it decides, but needs no pressure",
    ),
    "nothing decides": (
        'power = "100 %"',
        "decides = false",
        "[[condition]]",
        "condition: none decides; set decides = true in at least one",
    ),
    "no weight": (
        'power = "100 %"',
        'power = "100 %"\nweight = 0',
        "[[condition]]",
        "condition.weight: all deciding conditions have the weight 0",
    ),
    "limit below the hot day": (
        '"115 degC"',
        '"30 degC"',
        '"30 degC"',
        "engine.limit_temperature: outside air of 38 degC is not below the limit temperature of "
        "30 degC",
    ),
    "no inlet": ('use = "inlet"', 'use = "exit"', "[[opening]]", "no inlet; give at least one"),
    "low above high": (
        'low = ["-1.45 m"',
        'low = ["-0.45 m"',
        "[[search]]",
        "search[1]: search top: low",
    ),
    "zone without radius": (
        'radius = "80 mm"\n',
        "",
        "[[no_cut]]",
        "no_cut[1]: no-cut zone latch: a sphere needs radius",
    ),
    "unknown view": ('["left"]', '["lift"]', "views", "report.views: 'lift' is not known"),
    "whole number as text": ("best = 3", 'best = "3"', "best", "not a whole number from 1 to 50"),
    "true for a number": ("best = 3", "best = true", "best", "not a whole number from 1 to 50"),
}


def test_limits_are_given_with_their_unit():
    for read, raw, words in (
        (quantity("length", least=0.35), "20 mm", "expected at least 350 mm"),
        (quantity("length", most=2.0), "3 m", "expected at most 2000 mm"),
        (quantity("angle", most=1 / 3), "2 deg", "expected at most 0.3333 deg"),
        (quantity("temperature", above=300.0), "0 degC", "expected more than 26.85 degC"),
        (quantity("length", above=0.0), "0 mm", "expected more than 0"),
        (band("length", 0.01, 0.35), "1 m", "value is 1000 mm; expected 10 mm to 350 mm"),
    ):
        with pytest.raises(QuantityError, match=re.escape(words) + "$"):
            read(raw)


def message_of(path) -> str:
    with pytest.raises(CaseError) as caught:
        read_case(path)
    return str(caught.value)


@pytest.mark.parametrize("mistake", SINGLE)
def test_single_mistake_is_named_with_its_line(tmp_path, mistake):
    old, new, place, words = SINGLE[mistake]
    text = changed(old, new)
    rows = message_of(write_case(tmp_path, text)).split("\n")
    assert rows[0] == "case.toml: 1 mistake"
    assert len(rows) == 2, rows
    assert words in rows[1]
    assert rows[1].startswith(f"  line {line_of(place, text)}: "), rows


def test_the_case_itself_has_no_mistake(tmp_path):
    case = read_case(write_case(tmp_path))
    assert case.name == "Small body"
    assert [condition.name for condition in case.conditions] == ["climb", "sideslip", "parked"]
    assert case.conditions[0].calibrated_airspeed == pytest.approx(70 * 1852 / 3600)
    assert case.needed_pressure[0].value == pytest.approx(500.0)  # full power on the hot day
    assert case.needed_pressure[1:] == (None, None)


def test_all_mistakes_at_once_in_the_order_of_the_file(tmp_path):
    text = CASE
    for old, new in (
        ('"80 mm"', "80"),
        ('"70 kt"', '"70 furlong"'),
        ('name = "Small body"', "name = 1"),
        ("[report]", "[report]\nbst = 3"),
        ('"chin"', '"nose"'),
    ):
        text = changed(old, new, text)
    rows = message_of(write_case(tmp_path, text)).split("\n")
    assert rows[0] == "case.toml: 5 mistakes"
    lines = [int(re.match(r"  line (\d+): ", row).group(1)) for row in rows[1:]]
    places = ("name = 1", "furlong", "length = 80", "bst")
    assert lines == sorted([line_of(place, text) for place in places] + [lines[3]])
    assert text.split("\n")[lines[3] - 1] == 'name = "nose"'


def test_mistakes_of_inline_tables_name_the_line_of_the_list(tmp_path):
    start, end = CASE.index("[[no_cut]]"), CASE.index("[report]")
    text = 'no_cut = [\n  { name = "a", shape = "ball" },\n]\n' + CASE[:start] + CASE[end:]
    assert "  line 1: no_cut[1].shape: 'ball' is not known" in message_of(
        write_case(tmp_path, text)
    )


def test_lines_inside_a_long_text_are_no_entries(tmp_path):
    text = changed('"Invented."', '"""\n[[condition]]\nalpa = 3\nbest = 1\n"""')
    text = changed("best = 3", "best = 0", text)
    row = message_of(write_case(tmp_path, text)).split("\n")[1]
    assert row.startswith(f"  line {line_of('best = 0', text)}: report.best")


NOT_TOML = {
    "bare number with unit": (
        '"80 mm"',
        "80 mm",
        'line {line}: length = 80 mm: put quotes: "80 mm"',
        "length = 80 mm",
    ),
    "bare percent": ('"100 %"', "100%", 'put quotes: "100%"', "100%"),
    "bare text": ('"climb"', "climb", 'put quotes: "climb" (but not', "climb"),
    "bare text with a remark": (
        '"climb"',
        "hot climb  # don't",
        'put quotes: "hot climb" (but not round true, false)',
        "climb",
    ),
    "bare part of a point": (
        '"-1 m", "0 m", "-433 mm"',
        '"-1 m", "0 m", -433 mm',
        'put quotes: "-433 mm"',
        "-433",
    ),
    "bare value of two words": ('"70 kt"', "10 US gal", 'put quotes: "10 US gal"', "US gal"),
    "bare fraction": ('"80 mm"', ".08 m", 'put quotes: ".08 m"', ".08"),
    "no closing quote": (
        '"70 kt"',
        '"70 kt',
        'line {line}: calibrated_airspeed = "70 kt: the closing quote is missing',
        '"70 kt',
    ),
    "no closing single quote": (
        '"70 kt"',
        "'70 kt",
        "line {line}: calibrated_airspeed = '70 kt: the closing quote is missing",
        "'70 kt",
    ),
    "no closing quote of three": (
        '"Invented."',
        '"""Invented.',
        'line {line}: note = """Invented.: the closing quote is missing',
        "Invented.",
    ),
    "no opening quote": (
        '"70 kt"',
        '70 kt"',
        'line {line}: calibrated_airspeed = 70 kt": a quote is missing: every text begins',
        "70 kt",
    ),
    "entry twice": (
        'shape = "oval"',
        'shape = "oval"\nshape = "oval"\n',
        "this entry stands here a second time",
        None,
    ),
    "table twice": ("[report]", "[engine]\n[report]", "this table stands here a second", None),
    "open bracket": (
        "[report]",
        "[report",
        "line {line}: [report: not TOML: expected ']'",
        "[report",
    ),
}


@pytest.mark.parametrize("mistake", NOT_TOML)
def test_text_that_is_not_toml(tmp_path, mistake):
    old, new, words, place = NOT_TOML[mistake]
    text = changed(old, new)
    message = message_of(write_case(tmp_path, text))
    assert message.startswith("case.toml: line ")
    assert "\n" not in message
    assert words.format(line=place and line_of(place, text)) in message


def test_backslash_in_a_path(tmp_path):
    path = write_case(tmp_path, changed('"body.stl"', '"C:\\meshes\\body.stl"'))
    assert message_of(path).endswith("write / in place of \\ in paths and texts")


def test_text_that_ends_too_early(tmp_path):
    path = write_case(tmp_path, CASE + "x = [1,\n")
    assert message_of(path) == "case.toml: not TOML: invalid value (at end of document)"


def test_not_utf8(tmp_path):
    path = write_case(tmp_path)
    path.write_bytes(changed("Above or", "Über oder").encode("latin-1"))
    assert message_of(path) == "case.toml: line 3 is not UTF-8; save the file as UTF-8"


def test_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path):
    path = write_case(tmp_path)
    path.write_bytes(CASE.replace("\n", "\r\n").encode("utf-8-sig"))
    assert read_case(path).name == "Small body"
    path.write_bytes(changed("best = 3", "best = 0").replace("\n", "\r\n").encode("utf-8-sig"))
    assert f"line {line_of('best', CASE)}: report.best" in message_of(path)


def test_folder_and_missing_file(tmp_path):
    assert "is a folder; give the case file in it" in message_of(tmp_path)
    assert message_of(tmp_path / "none.toml").endswith("none.toml: no such file")
    assert "cannot be read" in message_of(tmp_path / ("x" * 300 + ".toml"))


def test_empty_file_lists_what_is_missing(tmp_path):
    message = message_of(write_case(tmp_path, ""))
    for words in ("project: name is missing", "surface: file is missing", "no flight condition"):
        assert words in message
    for words in ("no inlet", "no exit"):
        assert words in message


def prepared_message(path) -> str:
    with pytest.raises(PanelcpError) as caught:
        prepare_case(read_case(path))
    return str(caught.value)


def test_everything_that_does_not_fit_the_surface_is_listed_at_once(tmp_path):
    text = changed('["-2 m", "0 m", "0 m"]', '["-3 m", "0 m", "0 m"]')
    text = changed('length = "100 mm"\nwidth = "150 mm"', 'length = "2 m"\nwidth = "2 m"', text)
    text = changed('radius = "80 mm"', 'radius = "2 m"', text)
    text += (
        '\n[[region]]\nname = "tail"\nlow = ["5 m", "0 m", "0 m"]\nhigh = ["6 m", "1 m", "1 m"]\n'
    )
    rows = prepared_message(write_case(tmp_path, text)).split("\n  ")
    assert rows[0] == "case.toml: 4 of its entries do not fit the surface"
    assert rows[1].startswith("region tail: no panel has its centroid in this box")
    assert re.match(r"opening nose: its centre at .* is 1000 mm from the skin", rows[2])
    assert re.match(r"opening chin: \d+ of \d+ points of it hang over the edge", rows[3])
    assert rows[4].startswith("search top: no admissible place; 12 grid points tried, removed: ")
    assert "12 in no-cut zone latch" in rows[4]


def test_missing_mesh_is_named_with_its_entry(tmp_path):
    path = write_case(tmp_path, changed('"body.stl"', '"bodi.stl"'))
    with pytest.raises(
        SurfaceError, match=r"case\.toml: file in \[surface\]: .*bodi\.stl: no such"
    ):
        prepare_case(read_case(path))


def test_wrong_unit_of_the_mesh_is_noticed(tmp_path):
    path = write_case(tmp_path, changed('unit = "m"', 'unit = "mm"'))
    assert "surface is 0.004 m long when its unit is 'mm'" in prepared_message(path)
