"""Search regions, no-cut zones and what they leave."""

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.placement.candidates import MAX_GRID, VIEWS, NoCutZone, SearchRegion, search
from panelcp.surface.rays import SkinFinder

TOP = {
    "name": "top vent",
    "use": "exit",
    "kind": "plain exit",
    "length": 0.1,
    "width": 0.06,
    "side": "top",
    "low": (-0.6, -0.2, 0.0),
    "high": (0.6, 0.2, 0.6),
    "spacing": 0.2,
}


def region(**changes):
    return SearchRegion(**(TOP | changes))


def test_grid_covers_the_box_with_both_ends(brick):
    result = search(brick, region())
    assert result.tried == len(result.openings) == 7 * 3
    centres = np.array([opening.centre for opening in result.openings])
    assert np.unique(centres[:, 0].round(9)) == pytest.approx(np.linspace(-0.6, 0.6, 7))
    assert np.unique(centres[:, 1].round(9)) == pytest.approx([-0.2, 0.0, 0.2], abs=1e-12)
    assert centres[:, 2] == pytest.approx(np.full(21, 0.4))
    assert not any(result.removed.values())
    assert result.line() == "search top vent: 21 admissible places of 21 tried"


def test_spacing_that_does_not_fit_is_centred(brick):
    result = search(brick, region(spacing=0.5))
    centres = np.array([opening.centre for opening in result.openings])
    assert centres[:, 0] == pytest.approx([-0.5, 0.0, 0.5], abs=1e-12)
    assert centres[:, 1] == pytest.approx(np.zeros(3), abs=1e-12)


def test_candidates_are_numbered_and_carry_the_words(brick):
    asked = region(kind="louvre", use="both", shape="oval", turn=90.0)
    openings = search(brick, asked).openings
    assert [opening.name for opening in openings] == [f"top vent {k + 1}" for k in range(21)]
    assert {(o.kind, o.use, o.shape, o.length, o.width) for o in openings} == {
        ("louvre", "both", "oval", 0.1, 0.06)
    }
    assert openings[0].along == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("side", VIEWS)
def test_every_side_is_searched_from_outside(brick, side):
    result = search(brick, region(side=side, low=(-2, -2, -2), high=(2, 2, 2), spacing=0.3))
    assert {opening.side for opening in result.openings} == {side}
    assert result.tried == 14 * 14


def test_what_is_removed_is_counted_by_rule(brick):
    # columns at x = -1.2 to 1.2: two of 13 off the skin, two over the front and rear edges
    zone = NoCutZone("exhaust", "box", low=(0.15, -1, 0), high=(0.25, 1, 1))
    result = search(brick, region(low=(-1.2, 0.0, 0.0), high=(1.2, 0.0, 0.6)), [zone])
    assert result.tried == 13
    assert result.removed == {
        "off the skin": 2,
        "over an edge of the body": 2,
        "in no-cut zone exhaust": 1,
    }
    assert len(result.openings) == 8
    assert result.line().endswith(
        "removed: 2 off the skin, 2 over an edge of the body, 1 in no-cut zone exhaust"
    )


def test_centres_below_the_box_of_the_region_do_not_count(brick):
    with pytest.raises(
        PlacementError, match="no admissible place; 21 grid points tried, removed: 21 off the skin"
    ):
        search(brick, region(low=(-0.6, -0.2, 0.5), high=(0.6, 0.2, 0.9)))


def test_zone_is_touched_by_any_part_of_the_opening(brick):
    # the opening reaches 0.05 ahead of its centre
    def left(edge):
        zone = NoCutZone("z", "half space", centre=(edge, 0, 0), direction=(1, 0, 0))
        return len(search(brick, region(low=(0, 0, 0), high=(0, 0, 0.6)), [zone]).openings)

    assert left(0.051) == 1
    with pytest.raises(PlacementError, match="1 in no-cut zone z"):
        left(0.049)


def test_zones_that_leave_nothing_are_named_with_their_counts(brick):
    zones = [
        NoCutZone("tank", "half space", centre=(0.1, 0, 0), direction=(1, 0, 0)),
        NoCutZone("hinge", "half space", centre=(0.0, 0, 0), direction=(-1, 0, 0)),
    ]
    with pytest.raises(PlacementError) as caught:
        search(brick, region(), zones)
    assert "9 in no-cut zone tank, 12 in no-cut zone hinge" in str(caught.value)
    assert "Move or enlarge the region, or shrink the opening" in str(caught.value)


def test_finder_may_be_shared(brick):
    finder = SkinFinder(brick)
    assert len(search(finder, region()).openings) == 21


POINTS = np.array([[0, 0, 0], [1, 0, 0], [0.5, 0.3, 0], [0.5, 0, 0.51], [-0.1, 0, 0], [2, 2, 2]])


@pytest.mark.parametrize(
    ("zone", "inside"),
    [
        ({"shape": "box", "low": (0, 0, 0), "high": (1, 1, 0.5)}, [1, 1, 1, 0, 0, 0]),
        ({"shape": "sphere", "centre": (0, 0, 0), "radius": 1.0}, [1, 1, 1, 1, 1, 0]),
        (
            {"shape": "cylinder", "start": (0, 0, 0), "end": (1, 0, 0), "radius": 0.5},
            [1, 1, 1, 0, 0, 0],
        ),
        (
            {"shape": "half space", "centre": (0.5, 0, 0), "direction": (2, 0, 0)},
            [0, 1, 1, 1, 0, 1],
        ),
    ],
)
def test_shapes_of_zones(zone, inside):
    assert NoCutZone("z", **zone).holds(POINTS).tolist() == [bool(k) for k in inside]


@pytest.mark.parametrize(
    ("zone", "message"),
    [
        ({"shape": "cone"}, "no-cut zone z: shape 'cone' is not known; choose one of box"),
        ({"shape": "box", "low": (0, 0, 0)}, "no-cut zone z: a box needs high"),
        ({"shape": "cylinder", "radius": 1.0}, "a cylinder needs start and end"),
        ({"shape": "sphere"}, "a sphere needs centre and radius"),
    ],
)
def test_zones_that_are_not_complete(zone, message):
    with pytest.raises(PlacementError, match=message):
        NoCutZone("z", **zone)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"side": "above"}, "search top vent: side 'above' is not known; choose one of top"),
        ({"low": (1, 0, 0), "high": (0, 1, 1)}, "low .* is not below high"),
        ({"spacing": 0.0}, "spacing must be more than 0"),
        ({"spacing": np.nan}, "spacing must be more than 0"),
    ],
)
def test_regions_that_make_no_sense(changes, message):
    with pytest.raises(PlacementError, match=message):
        region(**changes)


def test_grid_that_is_too_fine_is_refused_before_any_work(brick):
    with pytest.raises(PlacementError, match=rf"\d+ grid points; at most {MAX_GRID} are tried"):
        search(brick, region(spacing=1e-3))


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        ({"shape": "box", "low": [0, 0, 1], "high": [1, 1, 0]}, "not below high"),
        ({"shape": "cylinder", "start": [1, 0, 0], "end": [1, 0, 0], "radius": 0.1}, "no length"),
        ({"shape": "half space", "centre": [0, 0, 0], "direction": [0, 0, 0]}, "is zero"),
        ({"shape": "sphere", "centre": [0, 0, 0], "radius": 0.0}, "not positive"),
    ],
)
def test_empty_zones_are_refused(zone, words):
    with pytest.raises(PlacementError, match=words):
        NoCutZone("tank", **zone)
