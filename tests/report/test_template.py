"""What stands on a template."""

import numpy as np
import pytest

from panelcp.report.drawing_formats import Drawing
from panelcp.report.template import (
    LEAST,
    facts,
    heading,
    piece_drawing,
    pieces_of,
    stretch_lines,
    turned,
    whole_drawing,
)
from panelcp.surface.flat_opening import FlatErrors
from tests.report.templates import template


def words_of(drawing):
    return [words.text for words in drawing.words]


def test_heading_names_case_date_hashes_and_version():
    text = "\n".join(heading(template()))
    for part in ("Größe <1> vent", "Invented", "2026-05-01", "ababababab", "cdcdcdcdcd", "0.1.0"):
        assert part in text


def test_facts_tell_size_place_and_stretch():
    text = "\n".join(facts(template()))
    assert "rectangle 220 mm along the air, 150 mm across" in text
    assert "740 mm round along the skin" in text
    assert "on the top centre line, 300 mm ahead of the firewall" in text
    assert "along the outline within 0.0 mm, across it within 0.0 mm" in text
    assert "Round every one of them" in text
    oval = "\n".join(facts(template(shape="oval")))
    assert "no corners" in oval


def test_an_error_that_is_left_is_said_loudly():
    small = FlatErrors(0.0004, 0.0002, 0.999, 1.001, 1.0, 0.7)
    assert small.small
    assert len(stretch_lines(small)) == 1
    large = FlatErrors(0.004, 0.0002, 0.97, 1.001, 0.995, 0.7)
    assert "within 4.0 mm" in stretch_lines(large)[0]
    assert "-3.00 to +0.10" in stretch_lines(large)[0]
    assert "WARNING" in stretch_lines(large)[1]


@pytest.mark.parametrize("turns", range(4))
def test_arrows_show_forward_and_the_air_on_a_plate(turns):
    """On top of a plate the air goes aft: along; forward is against it."""
    (piece,) = pieces_of(template())
    drawing = piece_drawing(template(), piece, turns)
    arrows = [
        line.points for line in drawing.lines if line.layer == "AXES" and len(line.points) == 2
    ]
    runs = [(line[1] - line[0]) / np.linalg.norm(line[1] - line[0]) for line in arrows]
    aft = turned([[1.0, 0.0]], turns)[0] / 1e3
    np.testing.assert_allclose(runs, [-aft, aft], atol=1e-9)
    assert {"FORWARD", "AIR FLOW", "THIS SIDE OUT"} <= set(words_of(drawing))


def test_upright_brings_forward_up_on_top_and_up_up_on_a_side():
    (piece,) = pieces_of(template())
    ahead = turned([[-1.0, 0.0]], piece.upright)[0]
    np.testing.assert_allclose(ahead, [0.0, 1000.0])
    side = pieces_of(template(body="ellipsoid", length=0.1, width=0.08))[0]
    up = np.array([side.opening.along[2], side.opening.across[2]])
    assert turned([up], side.upright)[0][1] > 990.0


def test_the_grid_measures_25_mm():
    (piece,) = pieces_of(template())
    lines = [
        line.points for line in piece_drawing(template(), piece, 0).lines if line.layer == "GRID"
    ]
    upright = np.unique([line[0, 0] for line in lines if line[0, 0] == line[1, 0]])
    np.testing.assert_allclose(np.diff(upright), 25.0)
    assert 0.0 in upright


@pytest.mark.parametrize("size", [(0.22, 0.15), (0.1, 0.08), (0.06, 0.06)])
@pytest.mark.parametrize("turns", [0, 1])
@pytest.mark.parametrize("shape", ["rectangle", "oval"])
def test_words_inside_the_outline_do_not_cross_it(shape, turns, size):
    whole = template(length=size[0], width=size[1], shape=shape)
    (piece,) = pieces_of(whole)
    half = 0.5 * np.ptp(turned(piece.flat.outline, turns), axis=0)
    inside = [
        words
        for words in piece_drawing(whole, piece, turns).words
        if words.text in (whole.name, "THIS SIDE OUT", "FORWARD", "AIR FLOW")
    ]
    assert len(inside) == 4
    for words in inside:
        for corner in Drawing(words=(words,)).bounds:
            if words.height == LEAST and corner[1] < -half[1]:
                continue  # too small inside, so it stands below
            share = np.abs(corner) / half
            assert (np.linalg.norm(share) if shape == "oval" else share.max()) < 1.0


def test_pieces_of_a_split_opening_have_labels_letters_and_dashed_joints():
    whole = template("ellipsoid", 0.3, 0.2)
    pieces = pieces_of(whole)
    assert [piece.label for piece in pieces] == [
        f"piece {k} of {len(pieces)}" for k in (1, 2, 3, 4)
    ]
    for piece in pieces:
        drawing = piece_drawing(whole, piece, piece.upright)
        assert any(line.style == "dashed" for line in drawing.lines)
        assert not any(line.closed for line in drawing.lines)
        assert {letter for letter, _ in piece.flat.letters} <= set(words_of(drawing))
    text = "\n".join(facts(whole))
    assert "letters on like letters" in text
    # the rims of the pieces together are the way round
    round_ = float(text.split(" mm round along")[0].split()[-1])
    parts = sum(
        np.linalg.norm(np.diff(line.points, axis=0), axis=1).sum()
        for piece in pieces
        for line in piece_drawing(whole, piece, 0).lines
        if line.layer == "OUTLINE"
    )
    assert parts == pytest.approx(round_, abs=4.0)


def test_a_mirrored_pair_has_a_template_for_each_side():
    pair = template("ellipsoid", 0.08, 0.06, both=True)
    pieces = pieces_of(pair)
    assert [piece.label for piece in pieces] == ["right side", "left side"]
    right, left = (turned(p.flat.outline, p.upright) for p in pieces)
    # one is the mirror image of the other, left and right changed
    image = right * [-1.0, 1.0]
    gaps = np.linalg.norm(image[:, None] - left[None], axis=2).min(axis=1)
    assert gaps.max() < 0.2
    assert "Do not turn one over" in "\n".join(facts(pair))


def test_the_whole_drawing_holds_bars_cautions_and_nothing_over_another_piece():
    whole = template("ellipsoid", 0.08, 0.06, both=True)
    text = " ".join(words_of(whole_drawing(whole)))
    assert text.count("measure me before cutting") == 2
    assert "Nothing here says that a cut is strong enough" in text
    outlines = [line.points for line in whole_drawing(whole).lines if line.layer == "OUTLINE"]
    assert outlines[1].max(axis=0)[1] < outlines[0].min(axis=0)[1]
