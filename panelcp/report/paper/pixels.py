"""Pictures of the report: read, cut to what they show, made as fine as paper needs."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

DOTS = 200.0
"""Dots per inch of pictures on the paper."""

_WHITE, _ROOM = 250, 8
_COLOURS = 256


@lru_cache(maxsize=1)
def _read(path: Path):
    """The picture in a file, without its white border."""
    from PIL import Image

    with Image.open(path) as opened:
        return _cropped(opened.convert("RGB"))


def _cropped(picture):
    """A picture without the white round it, but for a little."""
    dark = picture.convert("L").point(lambda level: 255 if level < _WHITE else 0)
    box = dark.getbbox()
    if box is None:
        return picture
    left, top = max(0, box[0] - _ROOM), max(0, box[1] - _ROOM)
    right, bottom = min(picture.width, box[2] + _ROOM), min(picture.height, box[3] + _ROOM)
    return picture.crop((left, top, right, bottom))


def _picture(source):
    from PIL import Image

    if isinstance(source, str | Path):
        return _read(Path(source))
    return _cropped(Image.fromarray(np.ascontiguousarray(source, dtype=np.uint8)).convert("RGB"))


def picture_shape(source) -> float:
    """Height over width of what a picture shows.

    Parameters
    ----------
    source : path of a PNG, or (height, width, 3 or 4) uint8
    """
    picture = _picture(source)
    return picture.height / picture.width


def paper_pixels(source, width: float) -> np.ndarray:
    """A picture for a width in points, at most DOTS per inch, in at most 256 colours.

    Returns
    -------
    (height, width, 3) uint8
    """
    from PIL import Image

    picture = _picture(source)
    most = max(1, round(DOTS * width / 72.0))
    if picture.width > most:
        height = max(1, round(picture.height * most / picture.width))
        picture = picture.resize((most, height), Image.Resampling.BOX, reducing_gap=2.0)
    few = picture.quantize(_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    return np.asarray(few.convert("RGB"))
