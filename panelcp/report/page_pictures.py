"""Pictures inside the page: small enough that the page can be sent, the sharp ones lie beside it.

While sections are made, a picture is a short word. When all else of the page is there, its room is
known, and the pictures are put in as sharp as that room allows.
"""

from __future__ import annotations

import base64
import io
from bisect import bisect_left
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

PictureSource = Callable[[Path], str]

STEPS = (
    *((1400, 70), (1200, 55), (1100, 45), (1050, 41), (1000, 38), (950, 35), (900, 32)),
    *((850, 29), (800, 26), (750, 23), (700, 20)),
)
"""Width in pixels and quality of the pictures, from the sharpest; the first that fits is taken."""

CLEAR = STEPS.index((950, 35))
"""The step that reads well on a screen. Sharper ones are for pages that stay small with them."""

COLOURS = 48
"""Colours of a picture where only PNG can be written."""

PURE, MIXED, LINE_ERROR = 24, 16, 1.0
"""Drawings of lines hardly change with so few colours, of which the pure ones are kept as they are:
by so much of 255 in the mean. They are written without further loss, which is smaller and sharper;
shaded pictures are not."""

SAMPLE = 4
"""Pictures that are tried to find the step."""


class PagePictures:
    """Pictures of one page.

    Examples
    --------
    >>> pictures = PagePictures()
    >>> pictures.source(Path("map.png")), pictures.source(Path("map.png"))
    ('data:,picture-0;', 'data:,picture-0;')
    """

    def __init__(self):
        self._paths: list[Path] = []

    def source(self, path: Path) -> str:
        """What stands for a picture until the page is filled."""
        path = Path(path)
        if path not in self._paths:
            self._paths.append(path)
        return f"data:,picture-{self._paths.index(path)};"

    def filled(self, html: str, room: int, wish: int | None = None) -> str:
        """HTML with the pictures inside.

        Parameters
        ----------
        html : with the words of `source`
        room : bytes for all pictures; when even the smallest are larger, they are taken
        wish : bytes that pictures sharper than `CLEAR` must not pass; as `room` when not given

        Returns
        -------
        str
        """
        if not self._paths:
            return html
        pictures = [_Picture(path) for path in self._paths]
        wish = room if wish is None else min(wish, room)
        for step in range(_likely_step(pictures, room, wish), len(STEPS)):
            sources = [picture.embedded(*STEPS[step]) for picture in pictures]
            if sum(map(len, sources)) <= (wish if step < CLEAR else room):
                break
        for path, source in zip(self._paths, sources, strict=True):
            html = html.replace(self.source(path), source)
        return html


class _Picture:
    """One picture, reduced to about what is needed at most."""

    def __init__(self, path: Path):
        from PIL import Image

        with Image.open(path) as picture:
            picture = picture.convert("RGB")
        factor = picture.width // STEPS[0][0]
        self.whole = picture.reduce(factor) if factor > 1 else picture
        self.area = self.whole.width * self.whole.height
        self._drawn: dict[int, str] = {}
        self._made: dict[tuple[int, int], str] = {}

    @cached_property
    def is_drawing(self) -> bool:
        """Whether few colours are enough."""
        part = _part(self.whole)
        few = np.asarray(_in_few_colours(part), dtype=int)
        return bool(np.abs(few - np.asarray(part)).max(axis=2).mean() <= LINE_ERROR)

    def embedded(self, width: int, quality: int) -> str:
        """The picture as the text of its `src`."""
        if (width, quality) not in self._made:
            self._made[width, quality] = self._encoded(width, quality)
        return self._made[width, quality]

    def _encoded(self, width: int, quality: int) -> str:
        from PIL import features

        if not features.check("webp"):
            return _source(self._sized(width).quantize(COLOURS, dither=0), "PNG", optimize=True)
        shaded = _source(self._sized(width), "WEBP", quality=quality, method=6)
        if not self.is_drawing:
            return shaded
        return min(self._lossless(min(width, self.whole.width)), shaded, key=len)

    def _lossless(self, width: int) -> str:
        if width not in self._drawn:
            few = _in_few_colours(self._sized(width))
            self._drawn[width] = _source(few, "WEBP", lossless=True, quality=50, method=3)
        return self._drawn[width]

    def _sized(self, width: int):
        """At most so wide; made small without the rims that sharper filters draw beside lines."""
        from PIL import Image

        if self.whole.width <= width:
            return self.whole
        height = round(self.whole.height * width / self.whole.width)
        return self.whole.resize((width, height), Image.Resampling.HAMMING)


def _part(picture):
    """Every third point of every third row: its colours are those of the picture."""
    from PIL import Image

    size = (-(-picture.width // 3), -(-picture.height // 3))
    return picture.resize(size, Image.Resampling.NEAREST)


def _in_few_colours(picture):
    """The picture in its most frequent colours and some that stand for all others."""
    from PIL import Image

    points = np.asarray(picture).reshape(-1, 3).astype(np.int64)
    code, place, counts = np.unique(
        points @ [65536, 256, 1], return_inverse=True, return_counts=True
    )
    colours = np.stack([code >> 16, code >> 8 & 255, code & 255], axis=1)
    pure = colours[np.argsort(-counts, kind="stable")[:PURE]]
    mixed = _part(picture).quantize(MIXED, dither=0).getpalette()
    palette = np.concatenate([pure, np.reshape(mixed, (-1, 3))[:MIXED]])
    _, nearest = cKDTree(palette).query(colours)
    few = palette[nearest][place].reshape(picture.height, picture.width, 3)
    return Image.fromarray(few.astype(np.uint8))


def _likely_step(pictures: list[_Picture], room: int, wish: int) -> int:
    """The sharpest step that fits, judged by a few of the pictures and their areas."""
    few = pictures[:: -(-len(pictures) // SAMPLE)]
    part = sum(p.area for p in few) / sum(p.area for p in pictures)

    def fits(step: int) -> bool:
        size = sum(len(picture.embedded(*STEPS[step])) for picture in few)
        return size <= 0.93 * part * (wish if step < CLEAR else room)

    return bisect_left(range(len(STEPS) - 1), True, key=fits)


def _source(picture, kind: str, **options) -> str:
    stream = io.BytesIO()
    picture.save(stream, kind, **options)
    text = base64.b64encode(stream.getvalue()).decode("ascii")
    return f"data:image/{kind.lower()};base64,{text}"
