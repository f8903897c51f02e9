"""Pictures of the report: read once, cut to what they show, made as fine as paper needs."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

DOTS = 200.0
"""Dots per inch of pictures on the paper."""

LARGEST = (280.0, 192.0)
"""Longer and shorter side that a picture can have on a page, mm."""

_WHITE, _ROOM = 250, 8
_COLOURS = 256
_PACKING = 6


@dataclass(frozen=True, eq=False)
class PaperPicture:
    """A picture as the PDF holds it.

    Attributes
    ----------
    width, height : pixels
    palette : red, green, blue of every colour, at most 256
    packed : number of the colour of every pixel, row by row from the top, packed with zlib
    """

    width: int
    height: int
    palette: bytes
    packed: bytes

    @property
    def shape(self) -> float:
        """Height over width."""
        return self.height / self.width


def paper_picture(source: Any) -> PaperPicture:
    """What a picture shows, without its white border, at most DOTS per inch on a whole page.

    Parameters
    ----------
    source : path of a PNG, or (height, width, 3 or 4) uint8, or a PaperPicture

    Raises
    ------
    OSError : the file cannot be read
    """
    from PIL import Image

    if isinstance(source, PaperPicture):
        return source
    picture = _reduced(_cropped(_opened(source)))
    few = picture.quantize(_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    colours = np.array(few.getpalette("RGB"), dtype=np.uint8).reshape(-1, 3)
    colours[colours.min(axis=1) >= _WHITE] = 255
    packed = zlib.compress(few.tobytes(), _PACKING)
    return PaperPicture(*few.size, colours.tobytes(), packed)


def paper_pictures(pictures: Sequence[tuple[str, str, Any]]) -> list[tuple[str, str, PaperPicture]]:
    """Pictures (title, caption, source) made ready, two at a time: most of it is unpacking."""
    with ThreadPoolExecutor(max_workers=2) as workers:
        ready = workers.map(paper_picture, [source for *_, source in pictures])
        return [
            (title, text, found) for (title, text, _), found in zip(pictures, ready, strict=True)
        ]


def _opened(source):
    from PIL import Image

    if isinstance(source, str | Path):
        with Image.open(source) as opened:
            opened.load()
            return opened if opened.mode == "RGB" else opened.convert("RGB")
    return Image.fromarray(np.ascontiguousarray(source, dtype=np.uint8)).convert("RGB")


def _cropped(picture):
    """A picture without the white round it, but for a little."""
    dark = picture.convert("L").point(lambda level: 255 if level < _WHITE else 0)
    box = dark.getbbox()
    if box is None:
        return picture
    left, top = max(0, box[0] - _ROOM), max(0, box[1] - _ROOM)
    right, bottom = min(picture.width, box[2] + _ROOM), min(picture.height, box[3] + _ROOM)
    return picture.crop((left, top, right, bottom))


def _reduced(picture):
    """A picture with no more pixels than a page of its own can show."""
    from PIL import Image

    longer, shorter = (side / 25.4 * DOTS for side in LARGEST)
    wide = picture.width >= picture.height
    most = (longer, shorter) if wide else (shorter, longer)
    part = min(limit / side for limit, side in zip(most, picture.size, strict=True))
    if part >= 1.0:
        return picture
    size = tuple(max(1, round(part * side)) for side in picture.size)
    return picture.resize(size, Image.Resampling.BOX, reducing_gap=2.0)
