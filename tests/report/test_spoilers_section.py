"""The section, the table and the records on what spoils a place."""

import json
from dataclasses import fields
from html.parser import HTMLParser

from panelcp.placement.spoilers import Spoiler
from panelcp.report.markup import html_row, html_table
from panelcp.report.spoilers_section import (
    LOOK_HERE,
    shown,
    spoiler_dicts,
    spoiler_lines,
    spoiler_rows,
    spoilers_section,
)


def reversed_in(condition, chance, severity="look", opening="top vent"):
    limit = 0.84 if severity == "spoils" else 0.023
    text = f"With <chin> as inlet, air comes in here: {chance:g}."
    return Spoiler(
        *(opening, "reversed flow", condition, chance, limit, "", "derived", text, severity),
        about="<chin>",
    )


GLASS = Spoiler(
    "top vent",
    "glass near",
    None,
    0.527,
    0.6096,
    "m",
    "memory",
    "Glass & acrylic.",
    "look",
    "glass",
)
FOUND = (
    reversed_in("run-up", 0.9, "spoils"),
    reversed_in("climb, hot day", 0.4),
    reversed_in("descent", 0.3),
    GLASS,
    reversed_in("climb, hot day", 0.2, opening="<b>side</b>"),
)


class Cells(HTMLParser):
    """Texts of the cells of every row, with their classes."""

    def __init__(self):
        super().__init__()
        self.rows, self.classes, self.tags, self.inside = [], [], set(), False

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag == "tr":
            self.rows.append([])
            self.classes.append([])
        if tag in ("td", "th"):
            self.inside = True
            self.rows[-1].append("")
            self.classes[-1].append(dict(attrs).get("class", ""))

    def handle_data(self, data):
        if self.inside:
            self.rows[-1][-1] += data

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")


def cells_of(html):
    parser = Cells()
    parser.feed(html)
    return parser


def test_one_row_for_each_thing_with_its_worst_condition_first():
    parsed = cells_of(spoilers_section(FOUND, html_table, html_row))
    heading, *rows = parsed.rows
    assert [row[:5] for row in rows] == [
        ["top vent", "reversed flow", "spoils it", "run-up", "0.90"],
        ["top vent", "glass near", "look", "", "527 mm"],
        ["<b>side</b>", "reversed flow", "look", "climb, hot day", "0.20"],
    ]
    assert len({len(row) for row in (heading, *rows)}) == 1
    assert rows[0][5] == "0.84, derived"
    assert rows[1][5] == "610 mm, memory"
    assert rows[0][7] == '"climb, hot day", "descent"'
    assert rows[2][7] == ""
    assert all(heading)
    assert "bad" in parsed.classes[1][2]
    assert "bad" not in parsed.classes[2][2]


def test_texts_are_escaped():
    html = spoilers_section(FOUND, html_table, html_row)
    assert "<chin>" not in html
    assert "&lt;chin&gt;" in html
    assert "Glass &amp; acrylic." in html
    assert not {"b", "chin"} & cells_of(html).tags


def test_of_many_conditions_a_few_are_named():
    many = [reversed_in(f"c{k}", 0.5 - 0.01 * k) for k in range(8)]
    (_, row) = cells_of(spoilers_section(many, html_table, html_row)).rows
    assert row[3] == "c0"
    assert row[7] == "c1, c2, c3 and 4 more"
    (_, row) = cells_of(spoilers_section(many[:5], html_table, html_row)).rows
    assert row[7] == "c1, c2, c3, c4"


def test_nothing_found_is_not_called_good():
    html = spoilers_section((), html_table, html_row)
    assert "No number passes its limit." in html
    assert "not found good by that" in " ".join(html.split())
    for text in (LOOK_HERE, html):
        assert "safe" not in text
        assert "clear" not in text


def test_lines_for_the_log():
    lines = spoiler_lines(FOUND)
    assert len(lines) == 3
    assert lines[0].startswith("spoils it, reversed flow: top vent in run-up: With")
    assert lines[0].endswith("(and in 2 more conditions)")
    assert lines[1] == "look, glass near: top vent: Glass & acrylic."
    assert spoiler_lines(FOUND[:2])[0].endswith("(and in 1 more condition)")


def test_rows_of_the_table_hold_every_number_with_its_unit():
    heading, rows = spoiler_rows(FOUND)
    assert len(rows) == len(FOUND)
    assert {len(row) for row in rows} == {len(heading)}
    glass = dict(zip(heading, rows[3], strict=True))
    assert glass == {
        "opening": "top vent",
        "severity": "look",
        "kind": "glass near",
        "condition": "",
        "about": "glass",
        "value_in_unit": "0.527",
        "limit_in_unit": "0.6096",
        "unit": "m",
        "limit_mark": "memory",
        "text": "Glass & acrylic.",
    }
    assert all(isinstance(value, str) for row in rows for value in row)


def test_records_for_the_summary_are_plain():
    records = spoiler_dicts(FOUND)
    assert json.loads(json.dumps(records)) == records
    assert set(records[0]) == {field.name for field in fields(Spoiler)}
    assert records[3]["condition"] is None
    assert Spoiler(**records[0]) == FOUND[0]


def test_numbers_are_shown_in_units_of_the_workshop():
    assert shown(1.0262, "m") == "1.03 m"
    assert shown(0.9994, "m") == "999 mm"
    assert shown(-0.2, "m") == "−200 mm"
    assert shown(5e-4, "m2") == "5 cm²"
    assert shown(0.023, "") == "0.023"
