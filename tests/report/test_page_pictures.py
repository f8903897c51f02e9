"""Pictures inside the page: they fit the room there is, and stay sharp where there is room."""

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image

from panelcp.report import page_pictures
from panelcp.report.page_pictures import CLEAR, STEPS, PagePictures

SIZE = (1500, 400)


@pytest.fixture(scope="module")
def paths(tmp_path_factory):
    """Two pictures with fields and lines."""
    folder = tmp_path_factory.mktemp("pictures")
    found = []
    for seed in (50411, 50412):
        y, x = np.mgrid[: SIZE[1], : SIZE[0]]
        waves = np.sin(x / 40.0 + seed % 7) * np.cos(y / 55.0)
        field = np.stack([127 + 120 * waves, 127 - 90 * waves, 160 + 0 * waves], axis=2)
        field[(np.abs(waves * 8) % 1) < 0.04] = 0.0
        path = folder / f"{seed}.png"
        Image.fromarray(field.astype(np.uint8)).save(path)
        found.append(path)
    return found


def filled(paths, room):
    pictures = PagePictures()
    html = "".join(f'<img src="{pictures.source(path)}">' for path in paths)
    return pictures.filled(html, room)


def decoded(html):
    return [
        Image.open(io.BytesIO(base64.b64decode(data)))
        for data in re.findall(r'src="data:image/\w+;base64,([^"]*)"', html)
    ]


def test_with_room_pictures_are_wide_and_true(paths):
    found = decoded(filled(paths, 10_000_000))
    assert [picture.width for picture in found] == [STEPS[0][0]] * len(paths)
    shown = np.asarray(found[0].convert("RGB"), dtype=float)
    with Image.open(paths[0]) as given:
        whole = np.asarray(given.convert("RGB").resize(found[0].size), dtype=float)
    assert np.abs(shown - whole).mean() < 6.0


def test_all_pictures_fit_the_room(paths):
    room = int(0.5 * len(filled(paths, 10_000_000)))
    html = filled(paths, room)
    assert len(html) <= room + 100
    (width,) = {picture.width for picture in decoded(html)}
    assert STEPS[-1][0] < width < STEPS[0][0]


def test_pictures_fit_though_a_few_of_them_promised_too_much(paths, monkeypatch):
    monkeypatch.setattr(page_pictures, "_likely_step", lambda pictures, room, wish: 0)
    room = int(0.5 * len(filled(paths, 10_000_000)))
    assert len(filled(paths, room)) <= room + 100


def test_without_room_the_smallest_are_taken(paths):
    found = decoded(filled(paths, 0))
    assert [picture.width for picture in found] == [STEPS[-1][0]] * len(paths)


def test_a_picture_twice_is_put_in_twice_and_none_is_nothing(paths):
    assert len(decoded(filled([paths[0], paths[0]], 10_000_000))) == 2
    assert PagePictures().filled("<p>text</p>", 100) == "<p>text</p>"


def test_sharper_pictures_than_needed_keep_to_the_wish(paths):
    pictures = PagePictures()
    html = "".join(f'<img src="{pictures.source(path)}">' for path in paths)
    free = len(pictures.filled(html, 10_000_000))
    few = pictures.filled(html, 10_000_000, int(0.9 * free))
    assert STEPS[CLEAR][0] <= decoded(few)[0].width < STEPS[0][0]
    assert len(few) <= 0.9 * free + 100
    none = pictures.filled(html, 10_000_000, 0)
    assert decoded(none)[0].width == STEPS[CLEAR][0], "clear at least, where there is room"
    tight = pictures.filled(html, len(none) // 2, 0)
    assert decoded(tight)[0].width < STEPS[CLEAR][0]


def test_drawings_of_lines_are_kept_without_loss(tmp_path):
    """Two colours of line and a text-like comb on white: every colour is met, and it is small."""
    drawing = np.full((500, 900, 3), 255, np.uint8)
    drawing[100:103], drawing[:, 300:302] = (31, 111, 125), (194, 125, 21)
    drawing[200:220, 400:600:4] = (29, 35, 38)
    path = tmp_path / "drawing.png"
    Image.fromarray(drawing).save(path)
    html = filled([path], 10_000_000)
    assert np.array_equal(np.asarray(decoded(html)[0].convert("RGB")), drawing)
    assert len(html) < 2_000
