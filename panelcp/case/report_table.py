"""The table [report]: how results are shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Date
from datetime import datetime

from panelcp.case import schema
from panelcp.case.schema import Entry, choice, quantity, true_or_false
from panelcp.errors import CaseError, QuantityError

MAP_VIEWS = ("left", "right", "top", "bottom", "front", "three-quarter")
SHEET_VIEWS = ("left", "top", "bottom", "front", "three-quarter")
"""Views of a map sheet where the case names none."""

PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class ReportSettings:
    """How results are shown.

    Attributes
    ----------
    views : of the map sheets
    best : number of places in the short list
    last_station : m, the maps show the body up to there; None leaves it to the openings
    compressibility : whether its size is to be reckoned
    same_limits : whether the maps of all conditions have one scale of Cp
    grey_print : maps for printers without colour
    paper : one of PAPERS
    date : printed on the report, "2026-05-01"; None for the day on which it is made
    section_stations : m, where the body is cut across; none leaves it to the places found
    """

    views: tuple[str, ...] = SHEET_VIEWS
    best: int = 8
    last_station: float | None = None
    compressibility: bool = False
    same_limits: bool = True
    grey_print: bool = False
    paper: str = PAPERS[0]
    date: str | None = None
    section_stations: tuple[float, ...] = ()


def day(raw) -> str:
    """Reader of a day, "2026-05-01", with or without quotes.

    Examples
    --------
    >>> day("2026-05-01"), day(Date(2026, 5, 1))
    ('2026-05-01', '2026-05-01')
    """
    if isinstance(raw, Date) and not isinstance(raw, datetime):
        return raw.isoformat()
    try:
        if isinstance(raw, str) and len(raw.strip()) == len("2026-05-01"):
            return Date.fromisoformat(raw.strip()).isoformat()
    except ValueError:
        pass
    raise QuantityError(f"{str(raw)!r} is not a day; write year-month-day, as in 2026-05-01")


def printed_day(date=None) -> str:
    """A day as it is printed: one given as a date or a text, else today.

    Raises
    ------
    CaseError : a text that is not a day

    Examples
    --------
    >>> printed_day("2026-05-01")
    '2026-05-01'
    """
    try:
        return day(Date.today() if date is None else date)
    except QuantityError as error:
        raise CaseError(f"date {error}") from None


def paper_name(paper: str) -> str:
    """One of PAPERS, however its letters are written.

    Raises
    ------
    CaseError : a paper that is not known

    Examples
    --------
    >>> paper_name("letter")
    'Letter'
    """
    for name in PAPERS:
        if paper.lower() == name.lower():
            return name
    raise CaseError(f"paper {paper!r} is not known; choose one of {', '.join(PAPERS)}")


REPORT = {
    "views": Entry(schema.words(*MAP_VIEWS), default=SHEET_VIEWS),
    "best": Entry(schema.whole_number(1, 50), default=8),
    "last_station": Entry(quantity("length")),
    "compressibility": Entry(true_or_false, default=False),
    "same_limits": Entry(true_or_false, default=True),
    "grey_print": Entry(true_or_false, default=False),
    "paper": Entry(choice(*PAPERS), default=PAPERS[0]),
    "date": Entry(day),
    "section_stations": Entry(schema.list_of(quantity("length")), default=()),
}
