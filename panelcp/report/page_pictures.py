"""Pictures inside the page: small enough that the page can be sent, the sharp ones lie beside it.

While sections are made, a picture is a short word. When all else of the page is there, its room is
known, and the pictures are put in as sharp as that room allows.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from pathlib import Path

PictureSource = Callable[[Path], str]

STEPS = (
    *((1400, 70), (1200, 55), (1100, 45), (1050, 41), (1000, 38), (950, 35), (900, 32)),
    *((850, 29), (800, 26), (750, 23), (700, 20)),
)
"""Width in pixels and quality of the pictures, from the sharpest; the first that fits is taken."""

COLOURS = 48
"""Colours of a picture where only PNG can be written."""

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

    def filled(self, html: str, room: int) -> str:
        """HTML with the pictures inside.

        Parameters
        ----------
        html : with the words of `source`
        room : bytes for all pictures; when even the smallest are larger, they are taken

        Returns
        -------
        str
        """
        if not self._paths:
            return html
        pictures = [_opened(path) for path in self._paths]
        for width, quality in STEPS[_likely_step(pictures, room) :]:
            sources = [_embedded(picture, width, quality) for picture in pictures]
            if sum(map(len, sources)) <= room:
                break
        for path, source in zip(self._paths, sources, strict=True):
            html = html.replace(self.source(path), source)
        return html


def _likely_step(pictures, room: int) -> int:
    """The sharpest step that fits, judged by a few of the pictures and their areas."""
    few = pictures[:: -(-len(pictures) // SAMPLE)]
    part = sum(p.width * p.height for p in few) / sum(p.width * p.height for p in pictures)
    for number, (width, quality) in enumerate(STEPS):
        size = sum(len(_embedded(picture, width, quality)) for picture in few)
        if size <= 0.93 * part * room:
            return number
    return len(STEPS) - 1


def _opened(path: Path):
    from PIL import Image

    with Image.open(path) as picture:
        picture = picture.convert("RGB")
    factor = picture.width // STEPS[0][0]
    return picture.reduce(factor) if factor > 1 else picture


def _embedded(picture, width: int, quality: int) -> str:
    """A picture as the text of its `src`."""
    from PIL import Image, features

    small = picture
    if small.width > width:
        height = round(small.height * width / small.width)
        small = small.resize((width, height), Image.Resampling.LANCZOS, reducing_gap=2.0)
    stream = io.BytesIO()
    if features.check("webp"):
        small.save(stream, "WEBP", quality=quality, method=3)
        kind = "webp"
    else:
        flat = small.quantize(COLOURS, dither=Image.Dither.NONE)
        flat.save(stream, "PNG", optimize=True)
        kind = "png"
    return f"data:image/{kind};base64,{base64.b64encode(stream.getvalue()).decode('ascii')}"
