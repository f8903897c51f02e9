"""The keys of [[search]] and [[no_cut]] by which a builder keeps distances."""

import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.errors import CaseError
from tests.cases import CASE, changed, line_of, write_case

SPACING = 'spacing = "200 mm"\n'
RADIUS = 'radius = "80 mm"\n'


def read(tmp_path, *changes):
    text = CASE
    for old, new in changes:
        text = changed(old, new, text)
    return read_case(write_case(tmp_path, text))


def test_without_the_keys_nothing_is_asked_for(tmp_path):
    case = read(tmp_path)
    region = case.searches[0].region
    rules = ("edge_distance", "windshield_distance", "least_radius", "opening_distance")
    assert [getattr(region, key) for key in rules] == [None] * 4
    assert (region.pairs, region.find) == ("single", 3)
    assert case.zones[0].clearance == 0.0


def test_keys_are_read_in_their_units(tmp_path):
    keys = SPACING + (
        'edge_distance = "30 mm"\nwindshield_distance = "24 in"\nleast_radius = "0.3 m"\n'
        'opening_distance = "5 cm"\npairs = "mirrored"\nfind = 5\n'
    )
    case = read(tmp_path, (SPACING, keys), (RADIUS, RADIUS + 'clearance = "30 mm"\n'))
    region = case.searches[0].region
    assert region.edge_distance == pytest.approx(0.03)
    assert region.windshield_distance == pytest.approx(0.6096)
    assert region.least_radius == pytest.approx(0.3)
    assert region.opening_distance == pytest.approx(0.05)
    assert (region.pairs, region.mirrored, region.find) == ("mirrored", True, 5)
    assert case.zones[0].clearance == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ('edge_distance = "-1 mm"', "search[1].edge_distance: '-1 mm' is too small"),
        ("edge_distance = 30", "search[1].edge_distance"),
        ('least_radius = "0 mm"', "search[1].least_radius: '0 mm' is too small"),
        ('pairs = "mirror"', "choose one of single, mirrored; did you mean 'mirrored'?"),
        ("find = 21", "search[1].find: 21 is not a whole number from 0 to 20"),
        ('edge_distnce = "1 mm"', "not a known entry; did you mean 'edge_distance'?"),
    ],
)
def test_slips_are_named_with_their_line(tmp_path, key, words):
    text = changed(SPACING, SPACING + key + "\n")
    with pytest.raises(CaseError) as caught:
        read_case(write_case(tmp_path, text))
    assert words in str(caught.value)
    assert f"line {line_of(key, text)}" in str(caught.value)


def test_clearance_is_not_negative(tmp_path):
    with pytest.raises(CaseError, match=r"no_cut\[1\].clearance: '-1 mm' is too small"):
        read(tmp_path, (RADIUS, RADIUS + 'clearance = "-1 mm"\n'))


@pytest.mark.parametrize("name", ["top 7", "top 7 right", "top best 2", "top best 2 left"])
def test_names_that_a_search_will_give_are_kept_free(tmp_path, name):
    with pytest.raises(CaseError, match=f"'{name}' is a name that the search 'top' will give"):
        read(tmp_path, ('name = "chin"', f'name = "{name}"'))


def test_name_of_a_search_must_not_begin_like_best_places(tmp_path):
    table = CASE[CASE.index("[[search]]") : CASE.index("[[no_cut]]")]
    second = table + table.replace('name = "top"', 'name = "top best"') + "[[no_cut]]"
    text = CASE.replace(table + "[[no_cut]]", second)
    with pytest.raises(CaseError, match="'top best' begins like the best places of another search"):
        read_case(write_case(tmp_path, text))


def test_rules_reach_the_search_of_a_prepared_case(tmp_path):
    keys = SPACING + 'edge_distance = "20 mm"\nleast_radius = "0.4 m"\n'
    case = read(tmp_path, (SPACING, keys), (RADIUS, RADIUS + 'clearance = "60 mm"\n'))
    (found,) = prepare_case(case).searches
    (usual,) = prepare_case(read(tmp_path)).searches
    assert found.removed["in no-cut zone latch or nearer to it than 60 mm"] >= 1
    assert "nearer than 20 mm to the border of the region" in found.removed
    assert 0 < len(found.openings) < len(usual.openings)
