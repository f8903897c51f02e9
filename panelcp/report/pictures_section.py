"""The page's sections that are pictures: pressure maps and vent maps."""

from __future__ import annotations

from html import escape
from pathlib import Path
from urllib.parse import quote

from panelcp.report.contents import CAUTIONS, AirContents
from panelcp.report.sections import PageParts, caution_line

NO_AIR = "No condition has moving air, so there is no pressure to show."


def maps_section(parts: PageParts) -> str:
    """HTML of the pressure maps."""
    if not parts.maps:
        return f"<p>{NO_AIR}</p>"
    figures = [
        picture_figure(parts.source(path), caption, f"maps/{path.name}", f"Pressure in {name}")
        for name, caption, path in parts.maps
    ]
    return f"<p class='soft'>{map_note(parts.contents)}</p>" + "".join(figures)


def map_note(contents: AirContents) -> str:
    """How the maps are read."""
    colours = "blue-green is suction (lines dashed), amber is pressure (lines solid), zero is grey"
    if contents.grey_print:
        colours = "light is suction (lines dashed), dark is pressure (lines solid)"
    scale = "every map has its own scale"
    if contents.same_limits:
        scale = (
            "a colour means the same in all conditions in flight; on the ground the maps show Pa, "
            "each on its own scale"
        )
    return (
        f"Colour shows Cp: {colours}; the thick line is zero. {scale[:1].upper()}{scale[1:]}. The "
        "pictures on this page are made small; the sharp ones lie beside it."
    )


def vent_maps_section(parts: PageParts) -> str:
    """HTML of the vent maps; "" without any."""
    if not parts.vent_maps:
        return ""
    note = (
        "<p class='soft'>What a small opening would be worth at every place of the searched skin: "
        "the least available / needed over the deciding conditions, with the best pair's other "
        "opening. Below 1 it does not cool. It shows where to look; an opening of real size is in "
        "the ranking.</p>"
    )
    figures = [
        picture_figure(parts.source(path), caption, path.name, f"Vent map: {name}. {caption}")
        for name, caption, path in parts.vent_maps
    ]
    return note + caution_line(CAUTIONS[2]) + "".join(figures)


def picture_figure(source: str, caption: str, link: Path | str, words: str) -> str:
    """A picture with its caption and a link to the sharp one."""
    link = str(link)
    return (
        f'<figure><img alt="{escape(words, quote=True)}" src="{source}">'
        f'<figcaption>{escape(caption)}; <a href="{quote(link)}">{escape(link)}</a></figcaption>'
        "</figure>"
    )
