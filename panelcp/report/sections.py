"""The parts of the page: each is registered once, and the page is made of what is registered.

A new part of the page is a function that makes its HTML, registered from the file that holds it::

    register(Section("shutdown", "After shutdown", shutdown_section, after="cooling"))

and that file imported by `panelcp.report.page`. Navigation, style and scripts follow from it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape
from pathlib import Path

from panelcp.report.contents import RunContents
from panelcp.report.page_pictures import PictureSource

Pictures = Sequence[tuple[str, str, Path]]
"""(title, caption, path of the PNG) of each."""


@dataclass(frozen=True, eq=False)
class PageParts:
    """What sections are made from.

    Attributes
    ----------
    contents : RunContents
    maps, curves, vent_maps : Pictures, lying beside the page
    source : gives what stands in the `src` of a picture
    cuts : Pictures of the cuts, in sections/ beside the page
    """

    contents: RunContents
    maps: Pictures = ()
    curves: Pictures = ()
    vent_maps: Pictures = ()
    source: PictureSource = str
    cuts: Pictures = ()

    @cached_property
    def block(self) -> bytes:
        """Data of the live page, made once."""
        from panelcp.report.live.block import block_of_run

        return block_of_run(self.contents)


Text = str | Callable[[PageParts], str]


@dataclass(frozen=True)
class Section:
    """One part of the page.

    Attributes
    ----------
    key : its id, and the end of its link
    title : heading and link
    make : PageParts -> HTML without the heading; "" leaves the section out
    style : CSS, or a function of PageParts
    script : HTML for the end of the page (script elements), or a function of PageParts
    after : key of the section it follows; "" puts it behind all before it
    own_units : whether the script of the section shows its units itself
    begins_page : whether it begins a new page on paper
    """

    key: str
    title: str
    make: Callable[[PageParts], str]
    style: Text = ""
    script: Text = ""
    after: str = ""
    own_units: bool = False
    begins_page: bool = False


@dataclass(frozen=True)
class MadeSection:
    """A section that is on the page, with its HTML."""

    section: Section
    body: str

    def html(self) -> str:
        """The section with its heading."""
        title = escape(self.section.title)
        return f'<section id="{self.section.key}"><h2>{title}</h2>{self.body}</section>'

    def link(self) -> str:
        """Its entry in the navigation."""
        return f'<li><a href="#{self.section.key}">{escape(self.section.title)}</a></li>'


_REGISTERED: dict[str, Section] = {}


def register(section: Section) -> Section:
    """Put a section on all pages to come.

    Raises
    ------
    ValueError : another section has its key, or the key cannot be the end of a link (mistakes of
        the program)
    """
    if section.key in _REGISTERED:
        raise ValueError(f"section {section.key!r} is registered already; give it another key")
    if not section.key.replace("-", "").isalnum() or not section.key.isascii():
        raise ValueError(f"key {section.key!r}: expected letters, digits and hyphens")
    _REGISTERED[section.key] = section
    return section


def registered() -> tuple[Section, ...]:
    """All sections in the order of the page."""
    return ordered(tuple(_REGISTERED.values()))


def ordered(sections: Sequence[Section]) -> tuple[Section, ...]:
    """Sections in the order of the page: as given, but those with `after` behind that one.

    Several behind the same one keep their order.

    Raises
    ------
    ValueError : `after` names no section, or sections wait for each other
    """
    keys = {section.key for section in sections}
    followers: dict[str, list[Section]] = {}
    for section in sections:
        if section.after and section.after not in keys:
            raise ValueError(
                f"section {section.key!r} is to follow {section.after!r}; known: "
                f"{', '.join(sorted(keys))}"
            )
        followers.setdefault(section.after, []).append(section)
    found: list[Section] = []

    def place(section: Section):
        found.append(section)
        for follower in followers.get(section.key, ()):
            place(follower)

    for section in followers.get("", ()):
        place(section)
    if len(found) < len(sections):
        lost = sorted(keys - {section.key for section in found})
        raise ValueError(f"sections wait for each other: {', '.join(lost)}")
    return tuple(found)


def made_sections(sections: Sequence[Section], parts: PageParts) -> list[MadeSection]:
    """The sections that have something to show."""
    made = [MadeSection(section, section.make(parts)) for section in sections]
    return [one for one in made if one.body]


def caution_line(text: str) -> str:
    """HTML of a caution at the place where it matters."""
    return f'<p class="caution"><b>Caution:</b> {escape(text)}</p>'


def text_of(text: Text, parts: PageParts) -> str:
    """Style or script of a section for a page."""
    return text if isinstance(text, str) else text(parts)
