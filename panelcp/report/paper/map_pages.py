"""Maps and other pictures, each on a page of its own."""

from __future__ import annotations

from panelcp.report.paper.blocks import Block, Plate
from panelcp.report.paper.front_page import hardest_condition
from panelcp.report.paper.registry import PaperParts


def maps_blocks(parts: PaperParts) -> list[Block]:
    """The map sheets, that of the hardest condition first, then as in the case."""
    maps = list(parts.maps)
    if not maps:
        return []
    contents = parts.contents
    first = contents.flow.conditions[hardest_condition(contents)].name
    maps.sort(key=lambda sheet: sheet[0] != first)
    return [
        Plate("", _caption(caption, k == 0 and name == first), source)
        for k, (name, caption, source) in enumerate(maps)
    ]


def _caption(caption: str, is_first: bool) -> str:
    return f"{'The hardest condition. ' if is_first else ''}{caption}"


def pictures_blocks(parts: PaperParts) -> list[Block]:
    """Vent maps, section plots and others, in the order given."""
    return [
        Plate("", f"{title}: {caption}" if caption else title, source)
        for title, caption, source in parts.pictures
    ]
