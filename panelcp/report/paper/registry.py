"""The parts of the paper: each is registered once, and the report is made of what is registered.

A new part is a function that makes its blocks, registered from the file that holds it::

    register(PaperPage("shutdown", "After shutdown", shutdown_blocks, after="cooling"))

and that file imported by `panelcp.report.paper.writing`. It gives blocks of
`panelcp.report.paper.blocks` and tables of `panelcp.report.paper.grids`, or turns the HTML of a
section of the page into them with `panelcp.report.paper.from_html.blocks_of_html`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from panelcp.report.contents import AirContents
from panelcp.report.paper.blocks import Block
from panelcp.report.revisions import Revision
from panelcp.report.sections import ordered

Pictures = Sequence[tuple[str, str, Any]]
"""(title, caption, path of a PNG, pixels or a PaperPicture) of each."""


@dataclass(frozen=True, eq=False)
class PaperParts:
    """What pages are made from.

    Attributes
    ----------
    contents : RunContents, or AirContents of the pressures alone
    summary : what `panelcp.report.summary` gives for them
    maps : the map sheet of every condition with a stream, each a PaperPicture
    pictures : vent maps, section plots and others, each a PaperPicture
    revision : Revision
    """

    contents: AirContents
    summary: dict[str, Any]
    maps: Pictures = ()
    pictures: Pictures = ()
    revision: Revision = field(default_factory=Revision)

    @property
    def is_ranked(self) -> bool:
        """Whether any pair of inlet and exit was ranked."""
        ranking = self.contents.ranking
        return ranking is not None and ranking.n_pairs > 0

    def found(self, name: str, otherwise: Any = None) -> Any:
        """What only a run has, as `cooling`; `otherwise` for pressures alone."""
        return getattr(self.contents, name, otherwise)


@dataclass(frozen=True)
class PaperPage:
    """One part of the report on paper.

    Attributes
    ----------
    key : tells it from others
    title : its heading; "" for none
    make : gives its blocks; it is left out where there are none
    after : key of the part it follows; "" puts it behind all before it
    lying : whether its pages lie, for wide tables
    begins_page : whether it begins a page
    """

    key: str
    title: str
    make: Callable[[PaperParts], Sequence[Block]]
    after: str = ""
    lying: bool = False
    begins_page: bool = False


_REGISTERED: dict[str, PaperPage] = {}


def register(page: PaperPage) -> PaperPage:
    """Put a part into all reports to come.

    Raises
    ------
    ValueError : another part has its key (a mistake of the program)
    """
    if page.key in _REGISTERED:
        raise ValueError(f"part {page.key!r} is registered already; give it another key")
    _REGISTERED[page.key] = page
    return page


def registered() -> tuple[PaperPage, ...]:
    """All parts in the order of the report."""
    return ordered(tuple(_REGISTERED.values()))
