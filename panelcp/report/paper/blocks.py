"""What pages are made of: strips of drawing, and blocks of text that give them.

All lengths are points (1/72 inch). A strip is what is never divided between two pages; in it x
counts from the left edge of the text and y downward from the strip's top.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from panelcp.report.paper.letters import FALL, LINE, RISE, clean, lines_of, text_width
from panelcp.report.paper.pixels import PaperPicture

INK, SOFT, RULE, PALE = "#1d2326", "#4d565c", "#b9c0c4", "#f0f2f3"
BAD, GOOD, ACCENT = "#8c2318", "#1f5c53", "#1f5c53"
BODY, SMALL, TABLE = 8.8, 7.8, 7.6
"""Sizes of type: body text, notes, tables."""

CAPTION_GAP, CAPTION_DROP = 14.0, 24.0
"""Points between a picture and the caption beside it, and how far that begins below the top."""

HEADINGS = {1: 14.0, 2: 10.5, 3: 9.0}


@dataclass(frozen=True)
class Words:
    """One line of clean text that begins at x on the line y."""

    x: float
    y: float
    text: str
    size: float = BODY
    bold: bool = False
    colour: str = INK

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        right = self.x + text_width(self.text, self.size, self.bold)
        return self.x, self.y - RISE * self.size, right, self.y + FALL * self.size


@dataclass(frozen=True)
class Stroke:
    """A line through points (x, y)."""

    points: tuple[tuple[float, float], ...]
    width: float = 0.5
    colour: str = RULE
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Area:
    """A filled box, or with `edge` and no colour an empty one."""

    left: float
    top: float
    width: float
    height: float
    colour: str | None = PALE
    edge: str | None = None


@dataclass(frozen=True, eq=False)
class Image:
    """A picture in a box."""

    left: float
    top: float
    width: float
    height: float
    source: PaperPicture


Item = Words | Stroke | Area | Image


@dataclass(frozen=True, eq=False)
class Strip:
    """A piece of a page.

    Attributes
    ----------
    height : points
    items : drawn in this order
    above : room above, left out at the top of a page
    joined : never the last on a page: the next strip stays with it
    head : drawn again above this strip where it begins a page
    """

    height: float
    items: tuple[Item, ...] = ()
    above: float = 0.0
    joined: bool = False
    head: Strip | None = None


def moved(item: Item, x: float, y: float) -> Item:
    """An item farther to the right and lower, points."""
    if isinstance(item, Words):
        return replace(item, x=item.x + x, y=item.y + y)
    if isinstance(item, Stroke):
        return replace(item, points=tuple((a + x, b + y) for a, b in item.points))
    return replace(item, left=item.left + x, top=item.top + y)


class Block(Protocol):
    """Anything that gives strips for a width."""

    def strips(self, width: float) -> list[Strip]:
        """Its strips from top to bottom."""
        ...


def _line_strips(
    text: str, width: float, size: float, *, x: float = 0.0, bold=False, colour=INK, above=0.0
) -> list[Strip]:
    """Lines of a text; the first two and the last two stay together."""
    lines = lines_of(text, width - x, size, bold)
    step, last = LINE * size, len(lines) - 1
    return [
        Strip(
            step,
            (Words(x, RISE * size + 0.5 * (step - size), line, size, bold, colour),),
            above if k == 0 else 0.0,
            joined=last > 0 and k in (0, last - 1),
        )
        for k, line in enumerate(lines)
    ]


@dataclass(frozen=True)
class Heading:
    """A heading of a rank from 1 to 3; it stays with what follows."""

    text: str
    rank: int = 1

    def strips(self, width: float) -> list[Strip]:
        """Its lines; a first heading has a rule under it."""
        size = HEADINGS[self.rank]
        colour = ACCENT if self.rank == 1 else INK
        above = {1: 22.0, 2: 13.0, 3: 9.0}[self.rank]
        lines = _line_strips(self.text, width, size, bold=True, colour=colour, above=above)
        found = [Strip(s.height, s.items, s.above, joined=True) for s in lines]
        rule = (Stroke(((0.0, 1.5), (width, 1.5)), 0.9, ACCENT),) if self.rank == 1 else ()
        return [*found, Strip(8.0 if self.rank == 1 else 2.5, rule, joined=True)]


@dataclass(frozen=True)
class Paragraph:
    """Text in lines."""

    text: str
    size: float = BODY
    colour: str = INK
    bold: bool = False
    above: float = 4.0

    def strips(self, width: float) -> list[Strip]:
        """Its lines; none where the text is empty."""
        if not clean(self.text):
            return []
        return _line_strips(
            self.text, width, self.size, bold=self.bold, colour=self.colour, above=self.above
        )


def note(text: str) -> Paragraph:
    """A small remark."""
    return Paragraph(text, SMALL, SOFT)


@dataclass(frozen=True)
class Bullets:
    """A list with a mark before every text: a dot, its number, or a box to be ticked."""

    texts: tuple[str, ...]
    mark: str = "dot"
    size: float = BODY
    above: float = 2.5

    def strips(self, width: float) -> list[Strip]:
        """Its lines."""
        found, indent = [], 1.5 * self.size if self.mark != "number" else 2.2 * self.size
        for number, text in enumerate(self.texts, start=1):
            lines = _line_strips(text, width, self.size, x=indent, above=self.above)
            first = lines[0]
            mark = self._mark(number, first.items[0].y)
            lines[0] = Strip(first.height, (*mark, *first.items), first.above, first.joined)
            found += lines
        return found

    def _mark(self, number: int, y: float) -> tuple[Item, ...]:
        if self.mark == "box":
            side = 0.85 * self.size
            return (Area(0.0, y - side + 0.5, side, side, None, INK),)
        text = f"{number}." if self.mark == "number" else "•"
        return (Words(0.0, y, text, self.size),)


@dataclass(frozen=True)
class Caution:
    """A caution at the place where it matters: framed, with a bold word before it."""

    text: str
    word: str = "Caution"
    strong: bool = False

    def strips(self, width: float) -> list[Strip]:
        """One strip, or one per line where the text is long."""
        size, bar, room = 8.5, 2.4, 9.0
        lines = lines_of(f"{self.word}: {self.text}", width - room - 6.0, size, self.strong)
        step, found = LINE * size, []
        for k, line in enumerate(lines):
            first, last = k == 0, k == len(lines) - 1
            top = 3.0 if first else 0.0
            height = step + top + (3.0 if last else 0.0)
            y = top + RISE * size + 0.5 * (step - size)
            items = [Area(0.0, 0.0, width, height), Area(0.0, 0.0, bar, height, BAD)]
            items.append(Words(room, y, line, size, self.strong))
            above = 6.0 if first else 0.0
            found.append(Strip(height, tuple(items), above, joined=not last and len(lines) < 9))
        return found


@dataclass(frozen=True)
class Answers:
    """Lines that answer: what is asked in bold on the left, the answer beside it."""

    pairs: tuple[tuple[str, str], ...]
    left: float = 84.0
    size: float = BODY
    above: float = 4.0

    def strips(self, width: float) -> list[Strip]:
        """Its lines."""
        found = []
        for lead, text in self.pairs:
            leads = _line_strips(lead, self.left - 8.0, self.size, bold=True, above=self.above)
            lines = _line_strips(text, width, self.size, x=self.left, above=self.above)
            for k in range(max(len(leads), len(lines))):
                parts = [group[k] for group in (leads, lines) if k < len(group)]
                items = tuple(item for part in parts for item in part.items)
                joined = any(part.joined for part in parts)
                found.append(Strip(parts[0].height, items, parts[0].above, joined))
        return found


@dataclass(frozen=True)
class Drawing:
    """Strips that a function makes for the width."""

    make: Callable[[float], Sequence[Strip]]

    def strips(self, width: float) -> list[Strip]:
        """What the function gives."""
        return list(self.make(width))


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture across the text, at most so high.

    Its caption stands below, or beside a picture that takes no more than a part of the width.
    """

    source: PaperPicture
    most: float = 260.0
    caption: str = ""
    beside: float = 0.0

    def strips(self, width: float) -> list[Strip]:
        """The picture, and its caption."""
        height = min(self.most, self.source.shape * width)
        wide = height / self.source.shape
        if self.caption and wide <= self.beside * width:
            x = self.beside * width + CAPTION_GAP
            tall, words = _column((note(self.caption),), width - x, x)
            lower = max(0.0, min(CAPTION_DROP, height - tall))
            items = [moved(item, 0.0, lower) for item in words]
            image = Image(0.5 * (self.beside * width - wide), 0.0, wide, height, self.source)
            return [Strip(max(height, lower + tall), (image, *items), above=6.0)]
        image = Image(0.5 * (width - wide), 0.0, wide, height, self.source)
        found = [Strip(height, (image,), above=6.0, joined=bool(self.caption))]
        return found + note(self.caption).strips(width)


@dataclass(frozen=True)
class NewPage:
    """What follows begins a page."""

    def strips(self, width: float) -> list[Strip]:
        """Nothing is drawn."""
        return []


@dataclass(frozen=True, eq=False)
class Plate:
    """A picture with a page of its own; a wide one lies."""

    title: str
    caption: str
    source: PaperPicture

    def strips(self, width: float) -> list[Strip]:
        """Nothing: it has its page."""
        return []


@dataclass(frozen=True)
class Group:
    """Blocks of which the first stays with the next."""

    blocks: tuple[Block, ...] = field(default=())

    def strips(self, width: float) -> list[Strip]:
        """All strips, joined into one piece; a heading alone stays with what follows."""
        found = [strip for block in self.blocks for strip in block.strips(width)]
        return [
            Strip(s.height, s.items, s.above, joined=s.joined or k < len(found) - 1, head=s.head)
            for k, s in enumerate(found)
        ]


@dataclass(frozen=True)
class Beside:
    """Blocks in two columns, in one strip that is never divided.

    Where the taller column is taller than `most`, the right one comes below the left one.

    Attributes
    ----------
    left, right : blocks of the columns
    share : part of the width of the left column
    gap : points between the columns
    most : points
    above : room above
    """

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float = 0.5
    gap: float = 14.0
    most: float = 420.0
    above: float = 2.0

    def strips(self, width: float) -> list[Strip]:
        """One strip with both columns, or the strips of one below the other."""
        room = width - self.gap
        columns = [
            _column(self.left, self.share * room, 0.0),
            _column(self.right, (1.0 - self.share) * room, self.share * room + self.gap),
        ]
        tall = max(height for height, _ in columns)
        if tall > self.most:
            return Group((*self.left, *self.right)).strips(width)
        return [Strip(tall, tuple(item for _, items in columns for item in items), self.above)]


def _column(blocks: tuple[Block, ...], width: float, x: float) -> tuple[float, list[Item]]:
    """Height of some blocks below each other, and their items."""
    y, items = 0.0, []
    for strip in (strip for block in blocks for strip in block.strips(width)):
        y += strip.above if items else 0.0
        items += [moved(item, x, y) for item in strip.items]
        y += strip.height
    return y, items
