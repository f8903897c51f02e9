"""Laid pages drawn into a PDF: text that can be searched, lines, boxes, pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path

from panelcp.report.paper.blocks import Area, Image, Stroke, Words
from panelcp.report.paper.laying import LaidPage
from panelcp.report.paper.pdf_file import PdfFile


def pdf_metadata(title: str, subject: str, creator: str, day: str) -> dict[str, str]:
    """Metadata that depend on the contents alone; without a day there is no date of creation."""
    return {
        "Title": title,
        "Author": "",
        "Subject": subject,
        "Creator": creator,
        "CreationDate": day,
    }


def write_pages(pages: Sequence[LaidPage], path: Path, metadata: Mapping[str, str]):
    """Write pages to a PDF.

    Parameters
    ----------
    pages : LaidPage, one or more
    path : is overwritten
    metadata : see `pdf_metadata`
    """
    file = PdfFile()
    for page in pages:
        pictures: dict[str, int] = {}
        drawn = "\n".join(_operators(page, file, pictures))
        file.add_page(page.size, drawn, pictures)
    Path(path).write_bytes(file.bytes(metadata))


def _operators(page: LaidPage, file: PdfFile, pictures: dict[str, int]) -> Iterable[str]:
    """What draws the items of a page, in their order; words that follow each other together."""
    height, in_words = page.size[1], False
    for item in page.items:
        if isinstance(item, Words):
            if item.text:
                yield ("" if in_words else "BT ") + _words(item, height, file)
                in_words = True
            continue
        if in_words:
            yield "ET"
            in_words = False
        if isinstance(item, Image):
            name = f"P{len(pictures)}"
            pictures[name] = file.add_picture(item.source)
            yield _image(item, height, name)
        else:
            yield _SHAPES[type(item)](item, height)
    if in_words:
        yield "ET"


def _words(words: Words, height: float, file: PdfFile) -> str:
    font = f"/F{int(words.bold)} {_short(words.size)} Tf"
    place = f"1 0 0 1 {_short(words.x)} {_short(height - words.y)} Tm"
    shown = file.shown(words.text, words.bold)
    return f"{_colour(words.colour)} rg {font} {place} {shown} Tj"


def _stroke(stroke: Stroke, height: float) -> str:
    (x, y), *others = ((a, height - b) for a, b in stroke.points)
    line = "".join(f" {_short(a)} {_short(b)} l" for a, b in others)
    dashes = " ".join(_short(dash) for dash in stroke.dashes)
    pen = f"{_colour(stroke.colour)} RG {_short(stroke.width)} w [{dashes}] 0 d"
    return f"{pen} {_short(x)} {_short(y)} m{line} S"


def _area(area: Area, height: float) -> str:
    sides = (area.left, height - area.top - area.height, area.width, area.height)
    box = " ".join(_short(side) for side in sides) + " re"
    fill = f"{_colour(area.colour)} rg" if area.colour else ""
    pen = f"{_colour(area.edge)} RG 0.7 w [] 0 d" if area.edge else ""
    return f"{fill} {pen} {box} {'B' if fill and pen else 'f' if fill else 'S'}"


def _image(image: Image, height: float, name: str) -> str:
    low = height - image.top - image.height
    sides = f"{_short(image.width)} 0 0 {_short(image.height)} {_short(image.left)} {_short(low)}"
    return f"q {sides} cm /{name} Do Q"


_SHAPES: dict[type, Callable[..., str]] = {Stroke: _stroke, Area: _area}


def _short(value: float) -> str:
    """A length of the page to a hundredth of a point, without needless digits."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@cache
def _colour(code: str) -> str:
    """Red, green, blue from 0 to 1 of a colour "#rrggbb"."""
    return " ".join(_short3(int(code[k : k + 2], 16) / 255.0) for k in (1, 3, 5))


def _short3(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
