"""Several solids in one file: listed, chosen, united."""

import builtins

import numpy as np
import pytest

from panelcp.errors import SurfaceError
from panelcp.surface.formats import load_parts
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.parts import Part, compact_part, joined_parts, unique_names
from panelcp.surface.reading import ReadingOptions, body_from_parts
from panelcp.surface.scenes import (
    choose_parts,
    connected_parts,
    part_facts,
    unite,
    welded,
)
from tests import bodies


def ball(name, centre, radius, level=2):
    vertices, triangles = bodies.icosphere(level)
    return Part(name, radius * vertices + centre, triangles)


def brick(name, low, high):
    unit = bodies.box()
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    share = (unit.vertices - unit.bounds[0]) / unit.size
    return Part(name, low + share * (high - low), unit.triangles)


def loose(part):
    """The part as a soup: every triangle with corners of its own."""
    corners = part.vertices[part.triangles].reshape(-1, 3)
    return Part(part.name, corners, np.arange(len(corners)).reshape(-1, 3))


def volume(vertices, triangles):
    return SurfaceMesh(vertices, triangles).volume


SKIN = ball("skin", [0.0, 0.0, 0.0], 1.0, level=3)
ENGINE = brick("engine", [-0.2, -0.2, -0.2], [0.2, 0.2, 0.2])
SCREWS = [ball(f"screw {k}", [0.3 + 0.1 * k, 0.3, 0.1], 0.01, level=1) for k in range(3)]
STUB = brick("stub", [0.5, -0.2, -0.2], [1.4, 0.2, 0.2])
SCENE = [SKIN, ENGINE, *SCREWS, STUB]


def names(parts):
    return [part.name for part in parts]


def test_facts_of_parts():
    facts = {fact.name: fact for fact in part_facts(SCENE)}
    assert [n for n, fact in facts.items() if fact.inside] == ["engine", *names(SCREWS)]
    assert [n for n, fact in facts.items() if fact.small] == names(SCREWS)
    assert all(fact.closed for fact in facts.values())
    assert facts["stub"].size == pytest.approx([0.9, 0.4, 0.4])
    assert facts["stub"].middle == pytest.approx([0.95, 0.0, 0.0])
    assert facts["stub"].n_triangles == len(STUB.triangles)
    assert facts["screw 0"].line() == (
        "screw 0: 80 triangles, 0.02 x 0.02 x 0.02 about (0.3, 0.3, 0.1), closed, inside, small"
    )


def test_parts_inside_are_found_when_the_skin_is_open_behind_or_loose():
    ahead = SKIN.vertices[SKIN.triangles].mean(axis=1)[:, 0] < 0.6
    cowl = loose(compact_part("cowl", SKIN.vertices, SKIN.triangles[ahead]))
    facts = part_facts([cowl, ENGINE, *SCREWS])
    assert [fact.inside for fact in facts] == [False, True, True, True, True]
    assert [fact.closed for fact in facts] == [False, True, True, True, True]


def test_part_on_the_outside_or_through_the_skin_is_not_inside():
    head = ball("head", [0.0, 0.0, 1.02], 0.015)
    facts = part_facts([SKIN, head, STUB])
    assert not any(fact.inside for fact in facts)
    assert facts[1].small


def test_several_parts_and_nothing_chosen_are_listed_with_what_to_write():
    with pytest.raises(SurfaceError) as caught:
        choose_parts(SCENE)
    lines = str(caught.value).splitlines()
    assert lines[0] == "6 unconnected parts in the file:"
    assert lines[1] == "  skin: 1280 triangles, 2 x 2 x 2 about (0, 0, 0), closed"
    assert lines[2].startswith("  stub: ")
    assert lines[-4:] == [
        '  keep = ["NAME", ...] or drop = ["NAME", "screw*"], by name',
        "  drop_inside = true leaves out the 4 that lie wholly inside",
        "  drop_small = true leaves out the 3 small ones",
        "  unite = true makes one body of closed parts that overlap",
    ]


def parted(station, gap=0.0, factor=1.0):
    """The skin as two open parts; the front moved ahead by a gap, in another unit by a factor."""
    ahead = SKIN.vertices[SKIN.triangles].mean(axis=1)[:, 0] < station
    front = compact_part("cowl", SKIN.vertices, SKIN.triangles[ahead])
    moved = Part("cowl", factor * (front.vertices - [gap, 0.0, 0.0]), front.triangles)
    return [moved, compact_part("fuselage", SKIN.vertices, SKIN.triangles[~ahead])]


def test_open_parts_are_not_offered_to_be_united_but_to_be_taken_together():
    with pytest.raises(SurfaceError) as caught:
        choose_parts(parted(-0.3, gap=0.01))
    assert "unite" not in str(caught.value)
    assert str(caught.value).splitlines()[-1] == (
        '  keep = ["*"] takes all: open edges that face each other within widest_gap are joined'
    )


@pytest.mark.parametrize("factor", [0.001, 1 / 25.4, 25.4, 1000.0])
def test_part_in_another_unit_is_told(factor):
    with pytest.raises(SurfaceError) as caught:
        choose_parts(parted(-0.3, factor=factor))
    told = [line for line in str(caught.value).splitlines() if "another length unit" in line]
    smaller, larger = ("cowl", "fuselage") if factor < 1.0 else ("fuselage", "cowl")
    assert told == [
        f"  {smaller} is probably in another length unit: {max(factor, 1 / factor):g} times as "
        f"large its edge lies on that of {larger}; export both in one unit"
    ]


def test_part_in_the_same_unit_is_not_told_to_be_in_another():
    with pytest.raises(SurfaceError) as caught:
        choose_parts([*parted(-0.3, gap=0.01), *SCREWS])
    assert "another length unit" not in str(caught.value)


def test_a_long_list_is_cut():
    many = [ball(f"bolt {k}", [0.02 * k - 0.5, 0.0, 0.0], 0.005, level=1) for k in range(40)]
    with pytest.raises(SurfaceError, match=r"41 unconnected parts(.|\n)*\n  and 16 more\n"):
        choose_parts([SKIN, *many])


@pytest.mark.parametrize(
    ("request_", "left", "note"),
    [
        ({"keep": ["skin"]}, ["skin"], "5 parts left out by name: engine, screw 0, screw 1"),
        ({"keep": ["s?in", "stub"]}, ["skin", "stub"], "4 parts left out by name: engine"),
        ({"drop": ["screw*", "engine"]}, ["skin", "stub"], "4 parts left out by name"),
        ({"keep": ["s*"], "drop": ["screw*"]}, ["skin", "stub"], "4 parts left out by name"),
        ({"drop_inside": True}, ["skin", "stub"], "4 parts left out, wholly inside the skin: eng"),
        ({"drop_small": True}, ["skin", "engine", "stub"], "3 parts left out, small: screw 0"),
    ],
)
def test_choice_by_name_and_by_place(request_, left, note):
    chosen, notes = choose_parts(SCENE, **request_)
    assert names(chosen) == left
    assert len(notes) == 1
    assert notes[0].startswith(note)


def test_names_with_brackets_are_taken_literally_first():
    odd = Part("lid [2]", SKIN.vertices, SKIN.triangles)
    chosen, _ = choose_parts([odd, ENGINE], keep=["lid [2]"])
    assert names(chosen) == ["lid [2]"]


def test_unknown_names_are_an_error_with_near_ones():
    with pytest.raises(SurfaceError, match=r"keep: no part is called 'skn'; near to it: skin; th"):
        choose_parts(SCENE, keep=["skn"])
    with pytest.raises(SurfaceError, match=r"drop: no part is called 'q\*'; there are: skin, e"):
        choose_parts(SCENE, drop=["q*"])
    with pytest.raises(SurfaceError, match="no part is left"):
        choose_parts(SCENE, drop=["*"])


def test_groups_of_one_skin_need_no_choice():
    upper = SKIN.vertices[SKIN.triangles].mean(axis=1)[:, 2] > 0.0
    groups = [
        compact_part("top", SKIN.vertices, SKIN.triangles[upper]),
        compact_part("bottom", SKIN.vertices, SKIN.triangles[~upper]),
    ]
    chosen, notes = choose_parts(groups)
    assert names(chosen) == ["top", "bottom"]
    assert notes == []
    moved = Part("bottom", groups[1].vertices - [0.0, 0.0, 1e-4], groups[1].triangles)
    with pytest.raises(SurfaceError, match="2 unconnected parts"):
        choose_parts([groups[0], moved])
    assert names(choose_parts([groups[0], moved], tolerance=2e-4)[0]) == ["top", "bottom"]


def test_soup_falls_into_its_connected_pieces_by_size():
    vertices, triangles = joined_parts([loose(SCREWS[0]), loose(STUB), loose(SKIN)])
    pieces = connected_parts(Part("soup", vertices, triangles, unit="in"))
    assert names(pieces) == ["part 1", "part 2", "part 3"]
    expected = [len(part.triangles) for part in (SKIN, SCREWS[0], STUB)]
    assert [len(piece.triangles) for piece in pieces] == sorted(expected, reverse=True)
    assert len(pieces[0].vertices) == len(SKIN.vertices)
    assert pieces[0].unit == "in"
    assert volume(pieces[0].vertices, pieces[0].triangles) == pytest.approx(
        volume(SKIN.vertices, SKIN.triangles), rel=1e-12
    )


def test_welding_joins_equal_points_only():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0], [1, 1e-15, 0], [9, 9, 9]])
    joined, triangles = welded(vertices, [[0, 1, 2], [3, 2, 4]])
    assert len(joined) == 4
    assert joined[triangles].tolist() == vertices[[[0, 1, 2], [3, 2, 4]]].tolist()
    assert triangles[0, 0] == triangles[1, 0]
    assert triangles[0, 1] != triangles[1, 2]


def test_welding_of_points_that_differ_in_sign_only():
    # mirrored points have nearly the same bits
    joined, _ = welded(*joined_parts([loose(SKIN)]))
    assert len(joined) == len(SKIN.vertices)


def test_overlapping_bricks_are_united_exactly():
    long = brick("long", [0, 0, 0], [3, 1, 1])
    across = brick("across", [1, -1, 0.25], [2, 2, 0.75])
    vertices, triangles, notes = unite([long, across])
    # 3 + 1.5 less the 0.5 in both
    assert volume(vertices, triangles) == pytest.approx(4.0, rel=1e-12)
    before = len(long.triangles) + len(across.triangles)
    assert notes == [
        f"2 parts united: {before} triangles before, {len(triangles)} after; "
        "12.5 % of the volume belonged to more than one part"
    ]


def test_touching_bricks_become_one():
    vertices, triangles, notes = unite(
        [brick("a", [0, 0, 0], [1, 1, 1]), brick("b", [1, 0, 0], [2, 1, 1])]
    )
    assert volume(vertices, triangles) == pytest.approx(2.0, rel=1e-12)
    assert notes[0].endswith("after; 0 % of the volume belonged to more than one part")


def test_part_inside_vanishes_and_a_hollow_is_filled():
    vertices, triangles, _ = unite([SKIN, ENGINE])
    assert volume(vertices, triangles) == pytest.approx(
        volume(SKIN.vertices, SKIN.triangles), rel=1e-9
    )
    walls = [
        brick("floor", [0, 0, 0], [3, 3, 1]),
        brick("roof", [0, 0, 2], [3, 3, 3]),
        brick("left", [0, 0, 0.5], [1, 3, 2.5]),
        brick("right", [2, 0, 0.5], [3, 3, 2.5]),
        brick("front", [0, 0, 0.5], [3, 1, 2.5]),
        brick("rear", [0, 2, 0.5], [3, 3, 2.5]),
    ]
    vertices, triangles, notes = unite(walls)
    assert volume(vertices, triangles) == pytest.approx(27.0, rel=1e-12)
    assert notes[1] == "1 hollows inside the united body filled"


def test_one_part_is_united_with_nothing():
    vertices, triangles, notes = unite([loose(SKIN)])
    assert notes == []
    assert len(vertices) == len(SKIN.vertices)
    assert len(triangles) == len(SKIN.triangles)


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ([SKIN, STUB, ball("far", [5, 0, 0], 0.3)], "2 bodies, not one; apart from skin, stub st"),
        ([Part("lid", SKIN.vertices, SKIN.triangles[5:]), STUB], r"part lid cannot.*9 open edges"),
        (
            [Part("turned", SKIN.vertices, SKIN.triangles[:, [0, 2, 1]]), STUB],
            "part turned cannot be united: it is inside out",
        ),
        ([Part("odd", SKIN.vertices * np.nan, SKIN.triangles), STUB], "of odd are not finite"),
    ],
)
def test_parts_that_cannot_be_united_are_named(parts, message):
    with pytest.raises(SurfaceError, match=message):
        unite(parts)


def test_missing_package_is_said(monkeypatch):
    real = builtins.__import__

    def without(name, *rest, **more):
        if name == "manifold3d":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(SurfaceError, match="uniting parts needs the package manifold3d: pip inst"):
        unite([SKIN, STUB])


def test_names_are_unique_and_on_one_line():
    assert unique_names(["a", "a", " a\nb ", "", "", "a (2)"]) == [
        "a",
        "a (2)",
        "a b",
        "part",
        "part (2)",
        "a (2) (2)",
    ]


def test_body_from_parts_takes_the_pieces_of_a_soup():
    soup = [Part("cowl", *joined_parts([loose(SKIN), loose(SCREWS[0])]))]
    _, triangles, notes = body_from_parts(soup, ReadingOptions(drop_small=True))
    assert len(triangles) == len(SKIN.triangles)
    assert notes == ["1 parts left out, small: part 2"]
    assert len(body_from_parts(soup, ReadingOptions())[1]) == len(triangles) + 80
    assert len(body_from_parts(soup, ReadingOptions(keep="part 2"))[1]) == 80
    with pytest.raises(SurfaceError, match=r"make 2 bodies, not one"):
        body_from_parts([SKIN, ball("far", [5, 0, 0], 1)], ReadingOptions(unite=True))


def test_unit_of_the_file_that_is_not_the_one_asked_for_is_noted():
    part = Part("skin", SKIN.vertices, SKIN.triangles, unit="mm")
    _, _, notes = body_from_parts([part], ReadingOptions(unit="in"))
    assert notes == ["the file states the length unit mm, but in was asked for"]
    assert body_from_parts([part], ReadingOptions(unit="mm"))[2] == []


def write_obj(path, parts):
    lines, start = [], 1
    for part in parts:
        lines.append(f"o {part.name}")
        lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in part.vertices.tolist()]
        lines += [f"f {a} {b} {c}" for a, b, c in (part.triangles + start).tolist()]
        start += len(part.vertices)
    path.write_text("\n".join(lines))
    return path


def test_file_of_several_solids_to_one_body(tmp_path):
    parts = load_parts(write_obj(tmp_path / "scene.obj", SCENE))
    assert names(parts) == names(SCENE)
    with pytest.raises(SurfaceError, match=r"^6 unconnected parts in the file:"):
        body_from_parts(parts, ReadingOptions())
    options = ReadingOptions(drop_inside=True, unite=True)
    vertices, triangles, notes = body_from_parts(parts, options)
    assert notes[0].startswith("4 parts left out, wholly inside the skin: engine, screw 0")
    assert notes[1].startswith(f"2 parts united: {1280 + len(STUB.triangles)} triangles")
    assert vertices[triangles].max(axis=(0, 1))[0] == pytest.approx(1.4)
    united, whole = volume(vertices, triangles), volume(SKIN.vertices, SKIN.triangles)
    # the stub sticks out of the ball of radius 1 by its section less the cap
    assert whole + 0.4 * 0.16 < united < whole + 0.45 * 0.16
    alone = body_from_parts(parts, ReadingOptions(keep=["skin"]))
    assert volume(*alone[:2]) == pytest.approx(whole, rel=1e-12)
