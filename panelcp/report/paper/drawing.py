"""Laid pages drawn into a PDF: text that can be searched, lines, boxes, pictures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from panelcp.report.paper.blocks import Area, Image, Item, Stroke, Words
from panelcp.report.paper.faces import new_file, take_face
from panelcp.report.paper.laying import LaidPage

if TYPE_CHECKING:
    from fpdf import FPDF


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
    file = new_file()
    for page in pages:
        file.add_page(format=page.size)
        with file.local_context(stroke_cap_style="butt"):
            for item in page.items:
                _DRAWN[type(item)](file, item)
    Path(path).write_bytes(_ended(file, metadata))


def _ended(file: FPDF, metadata: Mapping[str, str]) -> bytes:
    """The whole file, with nothing in it that changes from one writing to the next.

    The library dates every file; where no day is given the date is taken out again.
    """
    from fpdf.output import OutputProducer

    class Output(OutputProducer):
        def _add_info(self):
            info = super()._add_info()
            if not metadata["CreationDate"]:
                info.creation_date = None
            return info

    file.set_title(metadata["Title"])
    file.set_author(metadata["Author"])
    file.set_subject(metadata["Subject"])
    file.set_creator(metadata["Creator"])
    day = datetime.fromisoformat(metadata["CreationDate"] or "1970-01-01")
    file.set_creation_date(day.replace(tzinfo=UTC))
    return bytes(file.output(output_producer_class=Output))


def _words(file: FPDF, words: Words):
    take_face(file, words.size, words.bold)
    file.set_text_color(words.colour)
    file.text(words.x, words.y, words.text)


def _stroke(file: FPDF, stroke: Stroke):
    _take_pen(file, stroke.colour, stroke.width, stroke.dashes)
    file.polyline(stroke.points)


def _area(file: FPDF, area: Area):
    if area.colour:
        file.set_fill_color(area.colour)
    if area.edge:
        _take_pen(file, area.edge, 0.7)
    style = ("D" if area.edge else "") + ("F" if area.colour else "")
    file.rect(area.left, area.top, area.width, area.height, style)


def _take_pen(file: FPDF, colour: str, width: float, dashes: tuple[float, ...] = ()):
    file.set_draw_color(colour)
    file.set_line_width(width)
    file.set_dash_pattern(*dashes)


def _image(file: FPDF, image: Image):
    """A picture; it is put among those that the library has read, as it is packed already."""
    from fpdf.image_datastructures import RasterImageInfo

    picture, known = image.source, file.image_cache.images
    name = str(id(picture))
    if name not in known:
        known[name] = RasterImageInfo(
            i=len(known) + 1,
            usages=0,
            w=picture.width,
            h=picture.height,
            cs="Indexed",
            pal=picture.palette,
            bpc=8,
            f="FlateDecode",
            dp="",
            data=picture.packed,
        )
    file.image(name, image.left, image.top, image.width, image.height)


_DRAWN: dict[type[Item], Callable[..., None]] = {
    Words: _words,
    Stroke: _stroke,
    Area: _area,
    Image: _image,
}
