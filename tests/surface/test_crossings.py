"""Skins that pass through each other or lie on each other are found, all of them."""

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.crossings import crossing_zones, meeting_pairs, require_no_crossings
from tests import bodies


def crossing_by_sight(first, second):
    """Segment against triangle by the signs of five volumes, all pairs."""

    def volume(a, b, c, d):
        return np.einsum("...i,...i->...", np.cross(b - a, c - a), d - a)

    found = np.zeros((len(first), len(second)), dtype=bool)
    for one, two, turned in ((first, second, False), (second, first, True)):
        a, b, c = (two[None, :, k] for k in range(3))
        for k in range(3):
            p, q = one[:, None, k], one[:, None, (k + 1) % 3]
            split = volume(a, b, c, p) * volume(a, b, c, q) < 0.0
            sides = [volume(p, q, u, v) > 0.0 for u, v in ((a, b), (b, c), (c, a))]
            inside = (sides[0] == sides[1]) & (sides[1] == sides[2])
            found |= (split & inside).T if turned else split & inside
    return found


def test_clean_bodies_cross_nothing(sphere):
    for body in (sphere, bodies.egg(4), bodies.box(), bodies.slab()):
        assert len(meeting_pairs(body.vertices, body.triangles)[0]) == 0
        require_no_crossings(body.vertices, body.triangles)


def test_all_crossing_pairs_of_two_bodies_are_found():
    first, second = bodies.egg(3), bodies.egg(2).translated([1.31, 0.42, 0.17])
    both = bodies.together(first, second)
    pairs, touching = meeting_pairs(both.vertices, both.triangles)
    seen = np.argwhere(crossing_by_sight(first.corners, second.corners))
    assert len(seen) > 50
    assert not touching.any()
    assert np.array_equal(pairs - [0, first.n_panels], seen)


def test_triangle_with_many_partners_loses_none():
    plate = bodies.box((2.0, 2.0, 0.1), (1, 1, 1))
    comb = [
        bodies.box((0.01, 0.01, 1.0), (1, 1, 1), (x, 0.3, 0.0)) for x in np.linspace(-0.9, 0.9, 40)
    ]
    body = plate
    for tooth in comb:
        body = bodies.together(body, tooth)
    pairs, _ = meeting_pairs(body.vertices, body.triangles)
    assert len(crossing_zones(body.vertices, body.triangles)) == 1
    large = np.unique(pairs[:, 1][pairs[:, 0] < 12] - 12) // 12
    assert np.array_equal(np.unique(large), np.arange(40))


@pytest.mark.parametrize("gap", [0.0, 1e-7, -1e-7])
def test_boxes_face_to_face_touch(gap):
    box = bodies.box((1.0, 1.0, 1.0), (2, 2, 2))
    both = bodies.together(box, box.translated([1.0 + gap, 0.21, 0.13]))
    pairs, touching = meeting_pairs(both.vertices, both.triangles)
    assert len(pairs) > 0
    assert touching.all()
    with pytest.raises(
        SurfaceError, match=r"lies on itself .\d+ pairs of triangles touch., at STA"
    ):
        require_no_crossings(both.vertices, both.triangles)


def test_boxes_near_each_other_do_not_touch():
    box = bodies.box((1.0, 1.0, 1.0), (2, 2, 2))
    both = bodies.together(box, box.translated([1.0 + 1e-4, 0.21, 0.13]))
    assert len(meeting_pairs(both.vertices, both.triangles)[0]) == 0
    assert meeting_pairs(both.vertices, both.triangles, 1e-3)[1].all()


def test_places_are_grouped_and_told():
    ball = bodies.ellipsoid((0.1, 0.1, 0.1), 2)
    body = bodies.ellipsoid((3.0, 1.0, 1.0), 4)
    both = bodies.together(body, ball.translated([3.0, 0.0, 0.0]))
    both = bodies.together(both, ball.translated([0.0, 1.0, 0.0]))
    zones = crossing_zones(both.vertices, both.triangles)
    assert len(zones) == 2
    places = sorted((zone.centre for zone in zones), key=lambda place: place[0])
    assert places[0] == pytest.approx([0.0, 1.0, 0.0], abs=0.06)
    assert places[1] == pytest.approx([3.0, 0.0, 0.0], abs=0.06)
    count = sum(zone.n_crossing for zone in zones)
    with pytest.raises(
        SurfaceError, match=rf"passes through itself .{count} pairs.* at STA"
    ) as error:
        require_no_crossings(both.vertices, both.triangles)
    assert str(error.value).count("mm across") == 2
