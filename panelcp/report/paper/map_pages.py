"""Maps and other pictures: large ones each on a page of its own, small ones below each other."""

from __future__ import annotations

from panelcp.report.hardest import hardest_condition
from panelcp.report.paper.blocks import Block, Picture, Plate
from panelcp.report.paper.pixels import PaperPicture
from panelcp.report.paper.registry import PaperParts

SMALL_PICTURE = 1200
"""Pixels across of pictures that a page of their own would not make any clearer."""

SMALL_DOTS, MOST_HEIGHT = 222.0, 600.0
"""Dots per inch of small pictures, so that their letters have one size, that of the maps; points
they may be high."""

SMALL_SHARE = 0.54
"""Part of the width up to which a small picture has its caption beside it."""


LOW_SHAPE, LOW_HEIGHT = 0.66, 324.0
"""Height over width up to which a large picture stands across the text; points it may be high, so
that two fit on a page."""


def maps_blocks(parts: PaperParts) -> list[Block]:
    """The map sheets, that of the hardest condition first, then as in the case.

    A sheet has its condition and its caption inside; the name below can be searched for.
    """
    maps = list(parts.maps)
    c = hardest_condition(parts.contents)
    if not maps or c is None:
        return []
    first = parts.contents.flow.conditions[c].name
    maps.sort(key=lambda sheet: sheet[0] != first)
    return [
        Plate("", f"The hardest condition: {name}" if name == first else name, source)
        for name, _, source in maps
    ]


def pictures_blocks(parts: PaperParts) -> list[Block]:
    """Vent maps, section plots and others, in the order given.

    All have their title inside. One that has its caption inside too is given without, and named
    by its title, which can be searched for.
    """
    return [_picture(caption or title, source) for title, caption, source in parts.pictures]


def _picture(text: str, source: PaperPicture) -> Block:
    if source.width > SMALL_PICTURE and source.shape <= LOW_SHAPE:
        return Picture(source, LOW_HEIGHT, text)
    if source.width > SMALL_PICTURE or source.height > 2 * SMALL_PICTURE:
        return Plate("", text, source)
    height = min(MOST_HEIGHT, 72.0 / SMALL_DOTS * source.height)
    return Picture(source, height, text, beside=SMALL_SHARE)
