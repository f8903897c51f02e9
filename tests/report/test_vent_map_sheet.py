"""The vent map on paper: threshold, colours, lines, what decides, files."""

from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from panelcp.errors import PlacementError
from panelcp.report.colours import lab_from_srgb, srgb_from_lab
from panelcp.report.hatching import HATCH_ORDER
from panelcp.report.maps import Marker
from panelcp.report.vent_map_colours import (
    VentScale,
    condition_colours,
    grey_condition_colours,
    unsearched_colour,
    vent_scale,
)
from panelcp.report.vent_map_sheet import corner_means, vent_map_figure, write_vent_map_sheet
from panelcp.surface.mesh import SurfaceMesh
from tests.report.test_colours import SIGHTS, seen_by

SCALES = [VentScale(-0.5, 2.0, 0.5), VentScale(0.5, 1.5, 0.5), VentScale(-1.0, 9.0, 1.0)]


def block(n=12):
    """A box 2 m long, its sides divided n by n, invented."""
    step = np.linspace(0.0, 1.0, n + 1)
    u, v = np.meshgrid(step, step, indexing="ij")
    points, triangles = [], []
    number = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    side = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    for axis in range(3):
        for end in (0.0, 1.0):
            place = np.empty((*u.shape, 3))
            place[..., axis], place[..., axis - 2], place[..., axis - 1] = end, u, v
            points.append(place.reshape(-1, 3))
            wound = side if end else side[:, ::-1]
            triangles.append(wound + len(triangles) * (n + 1) ** 2)
    points, index = np.unique(np.vstack(points).round(12), axis=0, return_inverse=True)
    surface = SurfaceMesh(points * [2.0, 1.0, 1.0], index.reshape(-1)[np.vstack(triangles)])
    assert surface.volume == pytest.approx(2.0)
    return surface


@pytest.fixture(scope="module")
def body():
    return block()


def vent_map(surface, use="exit", kind=""):
    """Ratio x on the skin from x = 0.2 m on; two conditions decide, one on each half."""
    x, y, _ = surface.centroids.T
    searched = x > 0.2
    return SimpleNamespace(
        use=use,
        partners=("cheek",),
        searched=searched,
        least_ratio=np.where(searched, x, np.nan),
        mean_ratio=np.where(searched, x, np.nan),
        deciding=np.where(searched, np.where(y > 0.5, 2, 0), -1),
        kind=kind,
    )


# --- colours ------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("sight", SIGHTS)
def test_what_suffices_and_what_does_not_differ_in_every_sight(scale, sight):
    lab = lab_from_srgb(seen_by(scale.colours, sight))
    count = len(lab)
    ratio = scale.low + (np.arange(count) + 0.5) * (scale.high - scale.low) / count
    below, above = lab[ratio < 1.0], lab[ratio > 1.0]
    apart = np.linalg.norm(below[:, None] - above[None], axis=2)
    assert apart.min() > 35.0  # many times what is just seen side by side: common practice


@pytest.mark.parametrize("scale", SCALES)
def test_threshold_is_seen_in_grey_print(scale):
    lightness = lab_from_srgb(scale.colours)[:, 0]
    count = len(lightness)
    ratio = scale.low + (np.arange(count) + 0.5) * (scale.high - scale.low) / count
    assert lightness[ratio < 1.0].min() - lightness[ratio > 1.0].max() > 12.0
    assert np.all(np.diff(lightness[ratio > 1.0]) < 0.0)  # darker is more, above the threshold
    assert np.all(np.diff(lightness[ratio < 1.0]) > 0.0)
    assert lightness.min() > 40.0  # black lines stay readable
    assert lab_from_srgb(unsearched_colour())[0] - lightness[ratio > 1.0].max() > 12.0


@pytest.mark.parametrize("scale", SCALES)
def test_steps_of_colour_are_even_on_both_sides(scale):
    lab = lab_from_srgb(scale.colours)
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    threshold = np.argmax(steps)
    assert steps[threshold] > 20.0
    for part in (steps[:threshold], steps[threshold + 1 :]):
        # Straight in lightness, chroma and hue: the arc in hue is as even as that.
        assert part.max() < 1.2 * part.min()


def test_colours_are_those_a_screen_can_show():
    for colours in (SCALES[0].colours, condition_colours(), unsearched_colour()[None]):
        assert colours.min() > 0.0
        assert colours.max() < 1.0
        np.testing.assert_allclose(srgb_from_lab(lab_from_srgb(colours)), colours, atol=1e-6)
    assert np.ptp(unsearched_colour()) < 1e-3


@pytest.mark.parametrize("sight", SIGHTS)
def test_conditions_are_told_apart(sight):
    colours = np.vstack([condition_colours(), unsearched_colour()])
    lab = lab_from_srgb(seen_by(colours, sight))
    apart = np.linalg.norm(lab[:, None] - lab[None], axis=2) + 1e9 * np.eye(len(lab))
    assert apart.min() > 20.0  # letters stand on them as well


@pytest.mark.parametrize(
    ("ratios", "known"),
    [
        ([0.2, 1.9], (0.0, 2.0, 0.5)),
        ([1.2, 1.3], (0.5, 1.5, 0.5)),
        ([-7.0, 0.3], (-1.0, 1.5, 0.5)),
        ([0.1, 8.0], (0.0, 8.0, 1.0)),
        ([np.nan, 0.7, 40.0], (0.0, 40.0, 5.0)),
        ([np.nan], (0.5, 1.5, 0.5)),
    ],
)
def test_scale_holds_the_threshold_and_what_occurs(ratios, known):
    scale = vent_scale(ratios)
    assert (scale.low, scale.high, scale.step) == known
    assert 1.0 in scale.levels
    assert scale.low < 1.0 < scale.high


@pytest.mark.parametrize("scale", [*SCALES, VentScale(0.0, 40.0, 5.0)])
def test_threshold_falls_between_two_entries_of_the_table(scale):
    table = scale.colour_table
    ratio = np.array([np.nan, -9.0, scale.low, 1.0 - 1e-6, 1.0 + 1e-6, scale.high - 1e-6, 99.0])
    entry = np.clip((scale.places(ratio) + 1.0) * 0.5 * len(table), 0, len(table) - 1).astype(int)
    assert entry[0] == 0
    assert entry[1] == entry[2] == 1
    assert entry[4] == entry[3] + 1
    assert entry[5] == entry[6] == len(table) - 1
    lightness = lab_from_srgb(table)[:, 0]
    assert lightness[entry[3]] - lightness[entry[4]] > 15.0


# --- values -------------------------------------------------------------------------------


def test_corner_values_are_the_mean_round_the_corner_and_keep_to_one_side_of_an_edge(body):
    ends = body.normals[:, 0]  # 1, -1 at the ends, 0 on the long sides
    np.testing.assert_allclose(corner_means(body, ends), np.tile(ends[:, None], 3), atol=1e-12)
    top = np.abs(body.normals[:, 2] - 1.0) < 1e-9
    values = np.where(top, body.centroids[:, 0], np.nan)
    means = corner_means(body, values)
    assert np.array_equal(np.isfinite(means).all(axis=1), top)
    corners = body.corners
    inner = (np.abs(corners[..., 0] - 1.0) < 0.9) & (np.abs(corners[..., 1] - 0.5) < 0.45)
    inner &= top[:, None]
    # Round an inner corner of this even grid the mean of a linear field is its value there.
    np.testing.assert_allclose(means[inner], corners[..., 0][inner], atol=1e-12)


def figure_of(body, view="top", markers=()):
    found = vent_map(body)
    names = ["tow", "cruise", "climb"]
    ratio = np.where(found.searched, found.least_ratio, np.nan)
    given = (ratio, found.deciding, markers, names, "vent map")
    return vent_map_figure(body, [view], *given, dots_per_inch=100)


def test_line_of_one_is_thick_lies_at_one_and_hatch_on_its_lower_side(body):
    axes = figure_of(body).axes[1]
    (lines,) = [found for found in axes.collections if found.zorder == 2.0]
    thick = [
        path.vertices
        for path, width in zip(lines.get_paths(), lines.get_linewidths(), strict=True)
        if width > 1.0
    ]
    station = np.concatenate(thick)[:, 0]
    assert np.median(station) == pytest.approx(1000.0, abs=30.0)  # a fifth of a panel
    (hatch,) = [found for found in axes.collections if found.zorder == HATCH_ORDER]
    hatched = np.concatenate([path.vertices for path in hatch.get_paths()])
    assert hatched[:, 0].max() < 1100.0
    assert hatched[:, 0].min() < 250.0
    assert hatched[:, 0].min() > 80.0  # skin that was not searched has no hatch
    numbers = {text.get_text() for text in axes.texts}
    assert {"0.5", "1", "1.5"} <= numbers


def test_conditions_have_letters_and_names(body):
    figure = figure_of(body)
    texts = [text.get_text() for text in figure.texts]
    assert {"A", "B", "tow", "climb"} <= set(texts)
    assert "cruise" not in texts  # decides nowhere
    lower = figure.axes[0]
    placed = {
        text.get_text(): text.get_position() for text in lower.texts if text.get_text() in "AB"
    }
    assert set(placed) == {"A", "B"}
    names = dict(zip(texts[texts.index("A") :: 2], texts[texts.index("A") + 1 :: 2], strict=False))
    right = {letter: place[1] > 500.0 for letter, place in placed.items()}
    assert {names[letter]: side for letter, side in right.items()} == {"tow": False, "climb": True}


# --- files --------------------------------------------------------------------------------


def test_sheets_have_their_names_words_and_the_same_bytes_each_time(body, tmp_path):
    maps = [vent_map(body), vent_map(body, "inlet")]
    mark = Marker(np.array([[0.5, 0.4, 1], [0.8, 0.4, 1], [0.8, 0.6, 1]]), "vent", "exit")
    options = {"conditions": ["tow", "cruise", "climb"], "views": ("top",), "dots_per_inch": 60}
    digests = []
    for name in ("first", "second"):
        folder = tmp_path / name
        folder.mkdir()
        sheets = write_vent_map_sheet(body, maps, [mark], folder, name="Tug", **options)
        assert [path.name for *_, path in sheets] == ["vent-map-exit.png", "vent-map-inlet.png"]
        digests.append([path.read_bytes() for *_, path in sheets])
    assert digests[0] == digests[1]
    title, caption, path = sheets[0]
    assert title.startswith("Tug: vent map, exits:")
    enough = np.count_nonzero(maps[0].least_ratio >= 1.0)
    searched = np.count_nonzero(maps[0].searched)
    assert f"at least 1 on {enough} of {searched} searched panels" in caption
    with Image.open(path) as picture:
        assert picture.size == (701, 992)


@pytest.mark.parametrize(("paper", "shape"), [("A4", 1.415), ("Letter", 1.232)])
def test_a_sheet_of_two_rows_has_the_shape_of_the_paper(body, tmp_path, paper, shape):
    given = ([vent_map(body)], (), tmp_path)
    options = {
        "conditions": ["tow", "cruise", "climb"],
        "views": ["left"],
        "dots_per_inch": 20,
        "paper": paper,
    }
    ((_, _, path),) = write_vent_map_sheet(body, *given, **options)
    with Image.open(path) as picture:
        assert picture.height / picture.width == pytest.approx(shape, rel=0.01)


def test_one_condition_that_decides_everywhere_stands_in_the_title(body, tmp_path):
    found = vent_map(body)
    found.deciding = np.where(found.searched, 1, -1)
    (sheet,) = write_vent_map_sheet(
        body, [found], [], tmp_path, conditions=["tow", "cruise"], views=("top",), dots_per_inch=50
    )
    assert sheet[0].endswith("decided by cruise")
    with Image.open(sheet[2]) as picture:
        assert picture.size[0] > picture.size[1]


def test_kinds_of_inlets_have_sheets_and_words_of_their_own(body, tmp_path):
    kinds = ["submerged, recovery 0.45", "flush hole, recovery 0.2"]
    sheets = write_vent_map_sheet(
        body,
        [vent_map(body), *(vent_map(body, "inlet", kind) for kind in kinds)],
        [],
        tmp_path,
        conditions=["tow", "cruise", "climb"],
        views=("top",),
        dots_per_inch=30,
    )
    names = [path.name for *_, path in sheets]
    assert names[0] == "vent-map-exit.png"
    assert names[1].startswith("vent-map-inlet-submerged")
    assert names[2].startswith("vent-map-inlet-flush-hole")
    for (title, caption, path), kind in zip(sheets[1:], kinds, strict=True):
        assert f"inlets ({kind})" in title
        assert f"a small inlet ({kind}) at every panel" in caption
        assert path.is_file()


def test_part_of_the_body_is_drawn(body, tmp_path):
    shown = body.centroids[:, 0] < 1.0
    (sheet,) = write_vent_map_sheet(
        body,
        [vent_map(body)],
        [],
        tmp_path,
        conditions=["tow", "cruise", "climb"],
        views=("top",),
        shown=shown,
        dots_per_inch=50,
    )
    assert sheet[2].exists()


def test_greys_of_conditions_are_greys_and_apart():
    lab = lab_from_srgb(grey_condition_colours())
    assert np.abs(lab[:, 1:]).max() < 0.1
    assert len(lab) == len(condition_colours())
    lightness = np.sort(np.append(lab[:, 0], lab_from_srgb(unsearched_colour())[0]))
    assert np.diff(lightness).min() > 6.0  # and a letter stands on each


def test_sheets_for_grey_print_and_on_one_scale(body, tmp_path, monkeypatch):
    from panelcp.report import vent_map_sheet

    maps, scales = [vent_map(body), vent_map(body, "inlet")], []
    maps[1].least_ratio = 3.0 * maps[1].least_ratio
    bar = vent_map_sheet.draw_vent_bar
    monkeypatch.setattr(
        vent_map_sheet,
        "draw_vent_bar",
        lambda axes, scale: scales.append(scale) or bar(axes, scale),
    )
    options = {"conditions": ["tow", "cruise", "climb"], "views": ("top",), "dots_per_inch": 60}
    reds = []
    for grey in (False, True):
        folder = tmp_path / str(grey)
        folder.mkdir()
        (path, _) = [
            sheet[2]
            for sheet in write_vent_map_sheet(
                body, maps, [], folder, same_limits=grey, grey_print=grey, **options
            )
        ]
        with Image.open(path) as picture:
            lower = np.asarray(picture.convert("RGB"), dtype=int)[picture.height // 2 :]
        reds.append(np.ptp(lower, axis=2).max())
    assert scales[0] != scales[1]
    assert scales[2] == scales[3] == VentScale(scales[0].low, scales[1].high, 0.5)
    assert reds[0] > 60 > 25 > reds[1]


def test_map_of_another_surface_is_refused(body, tmp_path):
    with pytest.raises(PlacementError, match=r"vent map for an exit has 48 panels; expected the"):
        write_vent_map_sheet(body, [vent_map(block(2))], [], tmp_path, conditions=["tow"] * 3)
