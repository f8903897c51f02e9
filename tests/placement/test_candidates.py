"""Search regions, no-cut zones and what they leave."""

import numpy as np
import pytest

from panelcp.errors import PlacementError
from panelcp.placement.candidates import (
    MAX_GRID,
    VIEWS,
    NoCutZone,
    SearchRegion,
    search,
)
from panelcp.placement.foot import foot_of_windshield
from panelcp.placement.rules import (
    PlaceRules,
    clearance,
    curvature_radii,
    overlapping_openings,
    plane_section,
    skin_border,
    windshield_cautions,
)
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import lay_opening
from panelcp.surface.rays import SkinFinder
from tests import bodies

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


def test_edge_distance_from_sharp_edges(brick):
    # the opening is 0.1 by 0.06; seen from the top the brick reaches to x = 1 and y = 0.5
    across = {"low": (0.0, -0.5, 0.0), "high": (0.0, 0.5, 0.6), "spacing": 0.05}
    result = search(brick, region(**across, edge_distance=0.119))
    beside = [abs(opening.centre[1]) for opening in result.openings]
    # 0.5 - 0.35 - 0.03 = 0.12 is far enough, 0.5 - 0.4 - 0.03 = 0.07 is not
    assert max(beside) == pytest.approx(0.35)
    # at +-0.45 and +-0.4; the two at +-0.5 hang over the edge
    assert result.removed["nearer than 119 mm to a sharp edge"] == 4


def test_edge_distance_from_the_border_of_the_region(brick):
    # the skin of the box ends at x = +-0.3; 0.3 - 0.2 - 0.05 = 0.05
    along = {"low": (-0.3, -0.3, 0.0), "high": (0.3, 0.3, 0.6), "spacing": 0.1}
    for distance, far in ((0.049, 0.2), (0.051, 0.1)):
        result = search(brick, region(**along, edge_distance=distance))
        assert max(o.centre[0] for o in result.openings) == pytest.approx(far)
    words = "nearer than 51 mm to the border of the region"
    # columns: 3 of 7 far enough; rows: 0.3 - 0.2 - 0.03 = 0.07: 5 of 7
    assert result.removed[words] == 49 - 3 * 5


def test_border_is_where_the_box_cuts_the_skin(brick):
    border = skin_border(brick, region(low=(-0.3, -2.0, 0.0), high=(0.45, 0.2, 0.6)))
    length = np.linalg.norm(border[:, 1] - border[:, 0], axis=1)
    # two lines across the top, x = -0.3 and 0.45, from the edge y = -0.5 to 0.2; one along it
    assert length.sum() == pytest.approx(2 * 0.7 + 0.75, abs=1e-6)
    assert border[:, :, 2] == pytest.approx(0.4)


def test_section_of_a_sphere_is_a_circle(fine_sphere):
    cut = plane_section(fine_sphere.corners, 0, 0.6)
    length = np.linalg.norm(cut[:, 1] - cut[:, 0], axis=1)
    assert cut[:, :, 0] == pytest.approx(0.6)
    assert length.sum() == pytest.approx(2 * np.pi * 0.8, rel=1e-3)


def with_glass(brick, ahead=0.4):
    """The brick whose panels behind a station are glass."""
    return brick.with_regions(brick.centroids[:, 0] > ahead, ["unnamed", "windshield"])


def test_windshield_distance(brick):
    # panels are 0.25 long: glass from x = 0.5 on
    glass = with_glass(brick, 0.5)
    row = {"low": (-0.6, 0.0, 0.0), "high": (0.4, 0.0, 0.6), "spacing": 0.1}
    result = search(glass, region(**row, windshield_distance=0.5))
    # foremost part of the glass less half the opening: 0.5 - 0.05 - 0.5
    assert max(o.centre[0] for o in result.openings) == pytest.approx(-0.1)
    assert result.removed["nearer than 500 mm to the windshield"] == 5
    rules = PlaceRules(SkinFinder(glass), region(windshield_distance=0.5))
    for opening in result.openings:
        assert rules.to_windshield(opening) == pytest.approx(0.45 - opening.centre[0], abs=1e-9)


def test_windshield_distance_without_a_windshield_is_refused(brick):
    with pytest.raises(
        PlacementError, match=r"windshield_distance is given, but no \[\[region\]\]"
    ):
        search(brick, region(windshield_distance=0.5))


def test_caution_for_exits_near_the_windshield(brick):
    glass = with_glass(brick, 0.5)
    near, far = (lay_opening(glass, n, [x, 0, 0.4], 0.1, 0.1) for n, x in (("a", 0), ("b", -0.3)))
    lines = windshield_cautions(
        glass, [near, far, lay_opening(glass, "c", [0, 0, 0.4], 0.1, 0.1, "inlet")]
    )
    assert len(lines) == 1
    assert lines[0].startswith("a is 450 mm from the region called windshield: an exit there")
    assert "24 in (610 mm)" in lines[0]
    assert "from memory" in lines[0]
    assert windshield_cautions(brick, [near]) == []


def test_caution_names_the_foot_of_the_windshield_where_it_is_nearer_than_the_region():
    """A brick whose top bends up at x = 0.1: glass is called so from 0.5 on, but begins there."""
    step = SurfaceMesh(*_stepped_brick())
    foot = foot_of_windshield(step)
    assert foot[0] == pytest.approx(0.1, abs=0.02)
    (exit_,) = (lay_opening(step, "a", [-0.2, 0.0, 0.4], 0.1, 0.1),)
    (line,) = windshield_cautions(step, [exit_])
    away = foot[0] - (-0.2 + 0.05)
    assert line.startswith(f"a is {1e3 * away:.0f} mm from the foot of the windshield")
    assert "measure to the glass itself" in line
    glass = with_glass(step, 0.5)
    (both,) = windshield_cautions(glass, [exit_])
    assert "mm from the region called windshield and" in both
    below = lay_opening(step, "b", [-0.2, 0.0, -0.4], 0.1, 0.1)
    assert windshield_cautions(step, [below]) == []


def _stepped_brick():
    """Closed prism along y: level to x = 0.1, then up at 45 deg; fine enough for its foot."""
    x = np.array([-1.0, 0.1, 0.5, 1.0, 1.0, -1.0])
    z = np.array([0.4, 0.4, 0.8, 0.8, -0.4, -0.4])
    near, far = (np.stack([x, np.full(6, y), z], axis=1) for y in (-0.5, 0.5))
    sides = []
    for a in range(6):
        b = (a + 1) % 6
        sides += [[a, a + 6, b + 6], [a, b + 6, b]]
    faces = [[0, 1, 5], [1, 4, 5], [1, 2, 4], [2, 3, 4]]
    ends = [[f[0], f[1], f[2]] for f in faces] + [[f[2] + 6, f[1] + 6, f[0] + 6] for f in faces]
    return np.vstack([near, far]), np.array(sides + ends)[:, ::-1]


def test_radii_of_curvature():
    """Of a sphere, an ellipsoid and a cylinder; the greatest of both bends counts."""
    sphere = bodies.ellipsoid((2.0, 2.0, 2.0), 3)
    assert curvature_radii(sphere) == pytest.approx(np.full(sphere.n_panels, 2.0), rel=5e-3)
    axes = np.array([3.0, 2.0, 1.0])
    radii = curvature_radii(body := bodies.ellipsoid(axes, 4))
    nose, top = (np.argmax(body.centroids @ way) for way in ([1.0, 0, 0], [0.0, 0, 1.0]))
    # at the ends of the axes a, c the radii are (b^2/a, c^2/a) and (a^2/c, b^2/c)
    assert radii[nose] == pytest.approx(1 / 3, rel=0.03)
    assert radii[top] == pytest.approx(4.0, rel=0.03)
    pipe = bodies.cylinder(64, 8)
    middle = np.abs(pipe.centroids[:, 0]) < 0.5
    assert curvature_radii(pipe)[middle] == pytest.approx(np.ones(middle.sum()), rel=5e-3)


def test_flat_skin_has_no_radius_and_edges_have_none_either(brick):
    assert np.isinf(curvature_radii(brick)).all()
    rules = PlaceRules(SkinFinder(brick), region(least_radius=0.3))
    assert rules.radius(lay_opening(brick, "a", [0.5, 0.2, 0.4], 0.1, 0.1)) == np.inf


def test_least_radius_keeps_a_stiff_opening_off_the_nose():
    axes = np.array([3.0, 2.0, 1.0])
    body = bodies.ellipsoid(axes, 4)
    row = {"low": (-2.7, 0.0, 0.0), "high": (2.7, 0.0, 1.2), "spacing": 0.3, "width": 0.05}
    result = search(body, region(**row, least_radius=1.8))
    # in the plane y = 0 the radius of the section, a^2 c^2/h^3 with h^-2 = x^2/a^4 + z^2/c^4, is
    # less than that across: 1.8 m at |x| = 2.58
    assert result.removed["where the skin bends to less than a radius of 1800 mm"] == 2
    assert max(abs(o.centre[0]) for o in result.openings) == pytest.approx(2.4)


def test_a_crease_under_the_opening_has_radius_zero():
    # a roof folded by 45 deg: one opening laid over its ridge
    high = np.tan(np.radians(22.5))
    corners = np.array(
        [[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [-1, 0, high], [1, 0, high]]
    )
    panels = [[0, 1, 5], [0, 5, 4], [2, 3, 4], [2, 4, 5], [1, 2, 5], [3, 0, 4]]
    panels += [[0, 3, 2], [0, 2, 1]]
    roof = SurfaceMesh(corners, panels)
    rules = PlaceRules(SkinFinder(roof), region(least_radius=0.1))
    over, beside = (lay_opening(roof, "a", [0, y, high * (1 - y)], 0.1, 0.1) for y in (0.0, 0.3))
    assert rules.radius(over) == 0.0
    assert rules.radius(beside) == np.inf
    assert rules.broken(over) == "where the skin bends to less than a radius of 100 mm"
    assert rules.broken(beside) == ""


def test_opening_distance_from_the_openings_of_the_case(brick):
    other = lay_opening(brick, "filler", [0.5, 0.0, 0.4], 0.2, 0.2)
    row = {"low": (0.0, 0.0, 0.0), "high": (0.6, 0.0, 0.6), "spacing": 0.1}
    # 0.5 - 0.1 - 0.05 = 0.35: at 0.3 the clearance is 0.05
    for distance, far in ((0.049, 0.3), (0.051, 0.2)):
        result = search(brick, region(**row, opening_distance=distance), openings=[other])
        assert max(o.centre[0] for o in result.openings) == pytest.approx(far)
    assert result.removed == {
        "off the skin": 0,
        "over an edge of the body": 0,
        "nearer than 51 mm to opening filler": 4,
    }
    assert len(search(brick, region(**row), openings=[other]).openings) == 7


def test_clearance_of_openings(brick):
    def vent(x, y, size=(0.2, 0.1), **words):
        return lay_opening(brick, f"vent at {x}", [x, y, 0.4], *size, **words)

    first = vent(0.0, 0.0)
    assert clearance(first, vent(0.5, 0.0)) == pytest.approx(0.3)
    assert clearance(first, vent(0.5, 0.4)) == pytest.approx(np.hypot(0.3, 0.3))
    assert clearance(first, vent(0.0, 0.08)) == pytest.approx(-0.02)
    assert clearance(first, vent(0.15, 0.08)) == pytest.approx(-0.02)
    assert clearance(first, vent(0.17, 0.02)) == pytest.approx(-0.03)
    inside = vent(0.0, 0.0, (0.02, 0.02))
    assert clearance(first, inside) == pytest.approx(-0.06)
    # corner against a round one: no side of the rectangle parts them
    ball = vent(0.17, 0.12, (0.2, 0.2), shape="oval")
    assert clearance(first, ball) == pytest.approx(np.hypot(0.07, 0.07) - 0.1, abs=2e-4)
    below = lay_opening(brick, "below", [0.0, 0.0, -0.4], 0.2, 0.1)
    assert clearance(first, below) == pytest.approx(0.8)
    assert 0.1 <= clearance(first, vent(0.5, 0.0), limit=0.01) <= 0.3


def test_openings_that_overlap_are_told_with_both_names(brick):
    a, b, c = (
        lay_opening(brick, name, [x, 0, 0.4], 0.2, 0.1)
        for name, x in (("filler", 0.0), ("vent", 0.15), ("drain", 0.6))
    )
    (line,) = overlapping_openings([a, b, c])
    assert line.startswith(
        "openings filler and vent overlap by 50 mm (filler: 200 x 100 mm at STA 0"
    )
    assert overlapping_openings([a, c]) == []


def test_mirrored_places_come_and_go_together(brick):
    row = {"low": (0.0, 0.0, 0.0), "high": (0.0, 0.4, 0.6), "spacing": 0.1, "turn": 20.0}
    zone = NoCutZone("tank", "sphere", centre=(0.0, -0.3, 0.4), radius=0.02)
    result = search(brick, region(**row, pairs="mirrored"), [zone])
    names = [opening.name for opening in result.openings]
    assert names == [f"top vent {k} {side}" for k in (1, 2, 3) for side in ("right", "left")]
    assert result.mates["top vent 2 left"] == "top vent 2 right"
    assert result.mates["top vent 2 right"] == "top vent 2 left"
    for right, left in zip(result.openings[::2], result.openings[1::2], strict=True):
        flip = np.array([1.0, -1.0, 1.0])
        assert right.centre[1] > 0.0
        assert left.centre == pytest.approx(right.centre * flip)
        assert left.along == pytest.approx(right.along * flip, abs=1e-12)
    assert [o.centre[1] for o in result.openings[::2]] == pytest.approx([0.1, 0.2, 0.4])
    assert result.removed["overlapping its mirror image"] == 1
    assert result.removed["whose mirror image is in no-cut zone tank"] == 1
    assert result.line().startswith("search top vent: 3 admissible pairs of mirrored places of 5")


@pytest.mark.parametrize(
    ("low", "high"), [((0, -0.4, 0), (0, 0.4, 0.6)), ((0, -0.4, 0), (0, -0.1, 0.6))]
)
def test_each_mirrored_pair_comes_once(brick, low, high):
    result = search(brick, region(low=low, high=high, spacing=0.1, pairs="mirrored"))
    assert sorted(o.centre[1] for o in result.openings[::2]) == pytest.approx([0.1, 0.2, 0.3, 0.4])


def test_mirrored_places_are_one_opening(brick):
    result = search(brick, region(low=(0, -0.4, 0), high=(0, 0.4, 0.6), pairs="mirrored"))
    right, left = result.openings[:2]
    both = result.places[0]
    assert len(result.places) == len(result.openings) // 2
    assert both.name == f"{right.name} and left"
    assert both.area == pytest.approx(2.0 * right.area)
    assert both.sample_weights.sum() == pytest.approx(1.0)
    assert both.twin.name == left.name
    values = np.random.default_rng(3).random(brick.n_panels)
    means = [values[o.sample_panels] @ o.sample_weights for o in (both, right, left)]
    assert means[0] == pytest.approx(0.5 * (means[1] + means[2]))
    assert both.sample_weights @ both.sample_points[:, 1] == pytest.approx(0.0, abs=1e-9)
    again = both.laid_on(brick)
    assert (again.name, again.area) == (both.name, pytest.approx(both.area))
    assert again.sample_points == pytest.approx(both.sample_points)
    alone = search(brick, region(low=(0, -0.4, 0), high=(0, 0.4, 0.6)))
    assert alone.places == alone.openings


@pytest.mark.parametrize(
    ("zone", "distances"),
    [
        ({"shape": "box", "low": (0, 0, 0), "high": (1, 1, 0.5)}, (0, 0, 0.1, np.sqrt(2) / 10)),
        (
            {"shape": "sphere", "centre": (0, 0, 0), "radius": 0.9},
            (0, 0.1, 0.2, 0.1 * np.sqrt(122) - 0.9),
        ),
        (
            {"shape": "cylinder", "start": (0, 0, 0), "end": (2, 0, 0), "radius": 0.05},
            (0, 0, 0, 0.05),
        ),
        ({"shape": "half space", "centre": (1.0, 0, 0), "direction": (-5, 0, 0)}, (0, 0, 0.1, 0.1)),
    ],
)
def test_distances_to_zones(zone, distances):
    points = np.array([[0, 0, 0], [1, 0, 0], [1.1, 0, 0], [1.1, -0.1, 0]])
    zone = NoCutZone("z", **zone)
    assert zone.distance(points) == pytest.approx(np.array(distances), abs=1e-12)
    assert zone.holds(points).tolist() == [bool(d <= 0) for d in zone.distance(points)]


def test_distance_beyond_the_end_and_beside_a_cylinder():
    zone = NoCutZone("z", "cylinder", start=(0, 0, 0), end=(0, 0, 2), radius=0.5)
    points = np.array([[0, 0, 2.3], [0.9, 0, 2.3], [0, -0.9, 1.0]])
    assert zone.distance(points) == pytest.approx([0.3, 0.5, 0.4])


def test_clearance_of_a_zone_removes_and_says_so(brick):
    def left(room):
        zone = NoCutZone("latch", "sphere", centre=(0.2, 0, 0.4), radius=0.06, clearance=room)
        return search(brick, region(low=(0, 0, 0), high=(0.6, 0, 0.6), spacing=0.1), [zone])

    # the aft edge of the opening at x = 0 lies at 0.05: 0.2 - 0.05 - 0.06 = 0.09 from the latch
    assert left(0.0).removed["in no-cut zone latch"] == 3
    assert left(0.089).removed["in no-cut zone latch or nearer to it than 89 mm"] == 3
    assert left(0.091).removed["in no-cut zone latch or nearer to it than 91 mm"] == 5


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"low": (-0.6, -0.2, 0.5), "high": (0.6, 0.2, 0.9)},
            "the skin there lies at WL 400 to 400 mm, the box at WL 500 to 900 mm",
        ),
        (
            {"low": (3.0, -0.2, 0.0), "high": (3.5, 0.2, 0.9)},
            "the body lies at STA -1000 to 1000 mm and BL -500 to 500 mm, the box at STA 3000 to",
        ),
        (
            {"low": (0.9, -0.2, 0.0), "high": (0.9, 0.2, 0.9), "length": 0.5},
            "The opening, 500 x 60 mm, is larger than the skin there: the box leaves 400 x 0 mm",
        ),
        (
            {"length": 1.5, "width": 1.2},
            "the opening, 1500 x 1200 mm, is larger than the body, which seen from the top is "
            "2000 x 1000 mm",
        ),
    ],
)
def test_searches_that_cannot_succeed_say_why(brick, changes, words):
    with pytest.raises(PlacementError) as caught:
        search(brick, region(**changes))
    assert words in str(caught.value)


def test_everything_inside_one_zone_is_said(brick):
    zone = NoCutZone("tank", "box", low=(-2, -2, -2), high=(2, 2, 2))
    with pytest.raises(PlacementError, match="All of the skin in the box is in no-cut zone tank"):
        search(brick, region(), [zone])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"pairs": "both"}, "pairs = 'both' is not known; choose one of single, mirrored"),
        ({"edge_distance": -0.1}, "edge_distance -0.1 m is not 0 or more"),
        ({"least_radius": np.nan}, "least_radius nan m is not 0 or more"),
    ],
)
def test_rules_that_make_no_sense(changes, message):
    with pytest.raises(PlacementError, match=message):
        region(**changes)


def test_clearance_of_a_zone_is_not_negative():
    with pytest.raises(PlacementError, match="clearance -10 mm is not 0 or more"):
        NoCutZone("tank", "sphere", centre=(0, 0, 0), radius=0.1, clearance=-0.01)
