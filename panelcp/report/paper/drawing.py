"""Laid pages drawn into a PDF: text that can be searched, lines, boxes, pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import cache
from pathlib import Path

import numpy as np

from panelcp.report.paper.blocks import Area, Image, Stroke, Words
from panelcp.report.paper.laying import LaidPage
from panelcp.report.paper.letters import face_path
from panelcp.report.paper.pixels import paper_pixels
from panelcp.report.sheet_base import own_look


def pdf_metadata(title: str, subject: str, creator: str, day: str) -> dict[str, object]:
    """Metadata that depend on the contents alone; without a day there is no date of creation."""
    created = None
    if day:
        known = date.fromisoformat(day)
        created = datetime(known.year, known.month, known.day)
    return {
        "Title": title,
        "Author": "",
        "Subject": subject,
        "Creator": creator,
        "Producer": None,
        "CreationDate": created,
    }


def write_pages(pages: Sequence[LaidPage], path: Path, metadata: Mapping[str, object]):
    """Write pages to a PDF.

    Parameters
    ----------
    pages : LaidPage, one or more
    path : is overwritten
    metadata : see `pdf_metadata`
    """
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    with own_look():
        from matplotlib import rcParams

        # within own_look: both are put back; every line keeps all its points
        rcParams["pdf.fonttype"], rcParams["path.simplify"] = 42, False
        with PdfPages(path, metadata=dict(metadata)) as file:
            for page in pages:
                size = [side / 72.0 for side in page.size]
                figure = Figure(figsize=size, facecolor="white")
                figure.patch.set_visible(False)
                figure.add_artist(_artist(page))
                file.savefig(figure)


def _artist(page: LaidPage):
    """Everything on a page as one artist, which draws it item by item."""
    from matplotlib.artist import Artist

    class PageArtist(Artist):
        def draw(self, renderer):
            for item in page.items:
                _DRAW[type(item)](renderer, item, page.size[1])

    return PageArtist()


@cache
def _type(size: float, bold: bool):
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=face_path(bold), size=size)


def _context(renderer, colour: str, width: float = 0.5, dashes=()):
    context = renderer.new_gc()
    context.set_foreground(colour)
    context.set_linewidth(width)
    if dashes:
        context.set_dashes(0.0, list(dashes))
    return context


def _draw_words(renderer, words: Words, height: float):
    if not words.text:
        return
    context = _context(renderer, words.colour)
    place = words.x, height - words.y
    renderer.draw_text(context, *place, words.text, _type(words.size, words.bold), 0.0)
    context.restore()


def _draw_stroke(renderer, stroke: Stroke, height: float):
    from matplotlib.path import Path as Line
    from matplotlib.transforms import IdentityTransform

    points = np.array([(x, height - y) for x, y in stroke.points])
    context = _context(renderer, stroke.colour, stroke.width, stroke.dashes)
    renderer.draw_path(context, Line(points), IdentityTransform())
    context.restore()


def _draw_area(renderer, area: Area, height: float):
    from matplotlib.colors import to_rgb
    from matplotlib.path import Path as Line
    from matplotlib.transforms import IdentityTransform

    right, bottom = area.left + area.width, area.top + area.height
    corners = [(area.left, area.top), (right, area.top), (right, bottom), (area.left, bottom)]
    points = np.array([(x, height - y) for x, y in (*corners, corners[0])])
    context = _context(renderer, area.edge or area.colour, 0.7 if area.edge else 0.0)
    fill = None if area.colour is None else to_rgb(area.colour)
    renderer.draw_path(context, Line(points, closed=True), IdentityTransform(), fill)
    context.restore()


def _draw_image(renderer, image: Image, height: float):
    from matplotlib.transforms import Affine2D

    pixels = paper_pixels(image.source, image.width)
    opaque = np.full((*pixels.shape[:2], 4), 255, dtype=np.uint8)
    opaque[..., :3] = pixels[::-1]
    place = Affine2D().scale(image.width, image.height)
    place.translate(image.left, height - image.top - image.height)
    context = _context(renderer, "black")
    renderer.draw_image(context, 0.0, 0.0, opaque, place)
    context.restore()


_DRAW = {Words: _draw_words, Stroke: _draw_stroke, Area: _draw_area, Image: _draw_image}
