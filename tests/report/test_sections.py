"""The registry of the page's sections: order, doubled keys, what is left out."""

from dataclasses import replace

import pytest

from panelcp.report import page, sections
from panelcp.report.sections import Section, made_sections, ordered, register, registered, text_of


def named(key, after="", body="body"):
    return Section(key, key.capitalize(), lambda parts: body, after=after)


def keys(found):
    return [section.key for section in found]


def test_order_is_that_of_registering_and_followers_stand_behind_theirs():
    given = [named("a"), named("b"), named("c", after="a"), named("d"), named("e", after="a")]
    assert keys(ordered(given)) == ["a", "c", "e", "b", "d"]
    given = [named("c", after="b"), named("b", after="a"), named("a")]
    assert keys(ordered(given)) == ["a", "b", "c"]
    assert ordered([]) == ()


def test_a_place_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match=r"'b' is to follow 'nowhere'; known: a, b"):
        ordered([named("a"), named("b", after="nowhere")])
    with pytest.raises(ValueError, match="wait for each other: a, b"):
        ordered([named("a", after="b"), named("b", after="a"), named("c")])


def test_a_key_is_taken_once(monkeypatch):
    monkeypatch.setattr(sections, "_REGISTERED", {})
    register(named("new"))
    with pytest.raises(ValueError, match="'new' is registered already"):
        register(named("new"))
    with pytest.raises(ValueError, match="letters, digits and hyphens"):
        register(named('x" onload="'))
    assert keys(registered()) == ["new"]


def test_sections_without_anything_to_show_are_left_out():
    made = made_sections([named("a"), named("b", body=""), named("c")], None)
    assert [one.section.key for one in made] == ["a", "c"]
    assert made[0].html() == '<section id="a"><h2>A</h2>body</section>'
    assert made[0].link() == '<li><a href="#a">A</a></li>'


def test_style_and_script_may_follow_the_run():
    assert text_of("plain", None) == "plain"
    assert text_of(lambda parts: f"of {parts}", "run") == "of run"


def test_a_new_section_comes_onto_the_page_with_style_script_and_link(monkeypatch):
    from tests.cases import ranked

    monkeypatch.setattr(sections, "_REGISTERED", dict(sections._REGISTERED))
    part = Section(
        "shutdown",
        "After shutdown",
        lambda parts: f"<p>{parts.contents.name} cools from 95 °C</p>",
        style=".shutdown { color:red }",
        script="<script>  told = 1; // of the shutdown\n  // left out\n</script>",
        after="ranking",
    )
    register(part)
    html = page.report_page(ranked()[1], [])
    assert ".shutdown { color:red }" in html
    assert html.count("<script>told = 1; // of the shutdown</script>") == 1
    place = html.index("<section id=shutdown><h2>After shutdown</h2>")
    assert html.index("<section id=ranking>") < place < html.index("<section id=cards>")
    assert '<li><a href="#shutdown">After shutdown</a></li>' in html
    assert 'Small body cools from <data value="203 °F">95 °C</data>' in html


def test_places_by_margin_show_the_best_by_pressure_and_those_of_the_case():
    from tests.cases import ranked
    from tests.report.test_margin_section import many

    contents = ranked()[1]
    ranking = many()
    best = contents.ranking.exit(contents.short_list[0]).name
    names = (*ranking.names[:14], best, ranking.names[15], "chin", *ranking.names[17:])
    found = replace(contents, margins=(replace(ranking, names=names),))
    html = page._margins(sections.PageParts(found, (), (), (), None))
    for name, rank in ((best, 15), ("chin", 17)):
        assert f'>{name}</td><td data-label="Rank">{rank}<' in html
    assert "hole 14<" not in html


def test_every_section_of_the_page_is_registered_once():
    found = keys(registered())
    assert len(found) == len(set(found)) == len(page.SECTIONS)
    assert found == keys(page.SECTIONS)
    assert found[:3] == ["answer", "live", "cooling"]
    assert found[-1] == "versions"
