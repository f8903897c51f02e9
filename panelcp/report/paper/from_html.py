"""Sections of the page turned into blocks of paper, so that both say the same.

Understood are paragraphs, headings, lists, tables and details of the page's own sections; pictures
and styles are left out. Only HTML that this program wrote is read.
"""

from __future__ import annotations

from html.parser import HTMLParser

from panelcp.report.paper.blocks import (
    BAD,
    GOOD,
    INK,
    Block,
    Bullets,
    Caution,
    Heading,
    Paragraph,
    note,
)
from panelcp.report.paper.grids import Cell, Table

_LEFT = {"t", "p", "w", "n"}
"""Classes of cells that are set to the left; others hold numbers, or in class "r" words."""

_TEXTS = {"p", "li", "h3", "h4", "summary", "td", "th", "dt", "dd"}


def blocks_of_html(html: str, rank: int = 2) -> list[Block]:
    """Blocks of a section.

    Parameters
    ----------
    html : body of a section of the page
    rank : of its headings

    Returns
    -------
    list of Block
    """
    reader = _Reader(rank)
    reader.feed(html)
    reader.close()
    return reader.blocks


def tables_of_html(html: str) -> list[Table]:
    """The tables of a section alone."""
    return [block for block in blocks_of_html(html) if isinstance(block, Table)]


class _Reader(HTMLParser):
    """Reads our own HTML into blocks."""

    def __init__(self, rank: int):
        super().__init__(convert_charrefs=True)
        self.rank, self.blocks = rank, []
        self.text, self.style, self.inside = "", "", ""
        self.list, self.ordered = [], False
        self.rows, self.row, self.span = [], [], 1
        self.skipped = 0

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag in ("svg", "style", "script") or self.skipped:
            self.skipped += tag in ("svg", "style", "script")
            return
        if tag in _TEXTS:
            self.text, self.inside = "", tag
            self.style, self.span = given.get("class", ""), int(given.get("colspan", 1))
        elif tag in ("ul", "ol"):
            self.list, self.ordered = [], tag == "ol"
        elif tag == "table":
            self.rows = []
        elif tag == "tr":
            self.row = []

    def handle_endtag(self, tag):
        if self.skipped:
            self.skipped -= tag in ("svg", "style", "script")
            return
        if tag in ("td", "th"):
            self.row.append(_cell(self.text, self.style, self.span, tag == "th"))
        elif tag == "tr":
            self.rows.append(tuple(self.row))
        elif tag == "table" and len(self.rows) > 1:
            head, *rows = self.rows
            self.blocks.append(Table(head, tuple(rows)))
        elif tag in ("ul", "ol") and self.list:
            mark = "number" if self.ordered else "dot"
            self.blocks.append(Bullets(tuple(self.list), mark))
            self.list = []
        elif tag == "li":
            self.list.append(self.text)
        elif tag in ("h3", "h4", "summary"):
            extra = tag != "h3"
            self.blocks.append(Heading(self.text, min(3, self.rank + extra)))
        elif tag == "p":
            self._paragraph()
        if tag in _TEXTS:
            self.inside, self.text = "", ""

    def handle_data(self, data):
        if self.inside and not self.skipped:
            self.text += data

    def _paragraph(self):
        """A remark, a notice, a caution or plain text; a caution may stand behind a remark."""
        text, _, caution = self.text.strip().partition("Caution: ")
        text = text.strip()
        if "notice" in self.style and text:
            self.blocks.append(Caution(text, "Look"))
        elif text:
            self.blocks.append(note(text) if self.style else Paragraph(text))
        if caution:
            self.blocks.append(Caution(caution))


def _cell(text: str, style: str, span: int, head: bool) -> Cell:
    marks = set(style.split())
    colour = BAD if marks & {"bad", "look"} else GOOD if "good" in marks else INK
    right = not marks & _LEFT
    text = text.replace(" ± ", "\u00a0±\u00a0")
    return Cell(text, right, bold=head or "bad" in marks, colour=colour, span=span)
