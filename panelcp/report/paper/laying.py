"""Blocks laid onto pages of paper: where every item stands, and the foot of every page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from panelcp.report.paper.blocks import (
    INK,
    RULE,
    SMALL,
    SOFT,
    Area,
    Block,
    Image,
    Item,
    NewPage,
    Plate,
    Strip,
    Stroke,
    Words,
    moved,
)
from panelcp.report.paper.footnotes import notes_of
from panelcp.report.paper.letters import LINE, RISE, fitted, lines_of, text_width
from panelcp.report.template_pages import paper_size

POINTS = 72.0 / 25.4
"""Points per mm."""

LEFT, RIGHT, TOP, BOTTOM = 18.0 * POINTS, 15.0 * POINTS, 14.0 * POINTS, 21.0 * POINTS
"""Margins, points; the foot stands in the lower one."""

PLATE_EDGE = 9.0 * POINTS
PLATE_TITLE, MOST_CAPTION = 9.5, 4
"""Of a picture's page: size of the title; lines of the caption at most."""

_FOOT, _FOOT_SIZE = 13.0 * POINTS, 7.5
_NOTE_SIZE, _NOTE_ROOM, _NOTE_RULE = 7.2, 7.0, 90.0
_CAUTION = "Estimate for study. Not approved data."


@dataclass(frozen=True)
class Foot:
    """What stands at the foot of every page.

    Attributes
    ----------
    name : of the case
    left : revision and date
    right : hash and version
    """

    name: str
    left: str
    right: str


@dataclass(frozen=True, eq=False)
class LaidPage:
    """A page with everything in its place.

    Attributes
    ----------
    size : (width, height), points
    items : x from the left, y downward from the top of the page
    sections : keys of the parts that begin on it
    """

    size: tuple[float, float]
    items: tuple[Item, ...]
    sections: tuple[str, ...] = ()


def page_size(paper: str, lying: bool = False) -> tuple[float, float]:
    """Width and height in points.

    Raises
    ------
    CaseError : a paper that is not known
    """
    width, height = (POINTS * side for side in paper_size(paper))
    return (height, width) if lying else (width, height)


class _Pages:
    """Pages that are being filled."""

    def __init__(self, paper: str):
        self.paper, self.lying = paper, False
        self.pages: list[tuple[tuple[float, float], list[Item], list[str]]] = []
        self.y = None
        self.waiting: list[str] = []
        self.notes: list[str] = []

    @property
    def size(self):
        return page_size(self.paper, self.lying)

    @property
    def width(self) -> float:
        return self.size[0] - LEFT - RIGHT

    def begin(self):
        self.end()
        self.pages.append((self.size, [], self.waiting))
        self.waiting, self.y = [], TOP

    def room(self, strips: Sequence[Strip] = ()) -> float:
        """Points left on the page above its notes and those that the strips bring."""
        if self.y is None:
            return -1.0
        notes = dict.fromkeys([*self.notes, *(note for strip in strips for note in _notes(strip))])
        lines = self._note_lines(notes)
        room = _NOTE_ROOM + LINE * _NOTE_SIZE * len(lines) if lines else 0.0
        return self.size[1] - BOTTOM - self.y - room

    def _note_lines(self, notes) -> list[str]:
        width = self.pages[-1][0][0] - LEFT - RIGHT
        return [line for note in notes for line in lines_of(note, width, _NOTE_SIZE)]

    def end(self):
        """Write the notes at the foot of the page; what follows begins another."""
        if self.y is not None and self.notes:
            (width, height), items, _ = self.pages[-1]
            lines, step = self._note_lines(self.notes), LINE * _NOTE_SIZE
            top = height - BOTTOM - step * len(lines)
            rule = ((LEFT, top - 3.0), (min(LEFT + _NOTE_RULE, width - RIGHT), top - 3.0))
            items.append(Stroke(rule, 0.5, SOFT))
            for k, line in enumerate(lines):
                y = top + step * k + RISE * _NOTE_SIZE
                items.append(Words(LEFT, y, line, _NOTE_SIZE, colour=INK))
        self.y, self.notes = None, []

    def place(self, strip: Strip):
        if self.y != TOP:
            self.y += strip.above
        self.pages[-1][1].extend(moved(item, LEFT, self.y) for item in strip.items)
        self.y += strip.height
        self.notes += [note for note in _notes(strip) if note not in self.notes]

    def group(self, strips: Sequence[Strip]):
        """Place strips that stay together where a page can hold them."""
        need = sum(s.height + s.above for s in strips)
        if need > self.room(strips) + 1e-6 and self.y != TOP:
            self.begin()
        for strip in strips:
            if strip.height + strip.above > self.room([strip]) + 1e-6 and self.y != TOP:
                self.begin()
            if self.y == TOP and strip.head is not None:
                self.place(strip.head)
            self.place(strip)


def laid_out(
    parts: Sequence[tuple[str, bool, bool, Sequence[Block]]], paper: str, foot: Foot
) -> tuple[LaidPage, ...]:
    """Put blocks onto pages.

    Parameters
    ----------
    parts : (key, whether its pages lie, whether it begins a page, blocks) in their order
    paper : "A4" or "Letter"
    foot : Foot

    Returns
    -------
    tuple of LaidPage, each with its foot
    """
    pages = _Pages(paper)
    for key, lying, begins, blocks in parts:
        if begins or lying != pages.lying:
            pages.end()
        pages.lying = lying
        pages.waiting.append(key)
        if pages.y is not None and not isinstance(blocks[0], Plate | NewPage):
            pages.pages[-1][2].append(pages.waiting.pop())
        for strips in _grouped(blocks, pages):
            pages.group(strips)
    pages.end()
    count = len(pages.pages)
    return tuple(
        LaidPage(size, (*items, *_foot(foot, size, n, count)), tuple(keys))
        for n, (size, items, keys) in enumerate(pages.pages, start=1)
    )


def _grouped(blocks, pages: _Pages):
    """Strips of the blocks in groups that stay together; plates are placed at once."""
    group: list[Strip] = []
    for block in blocks:
        if isinstance(block, Plate | NewPage):
            if group:
                yield group
                group = []
            pages.end()
            if isinstance(block, Plate):
                _place_plate(block, pages)
            continue
        for strip in block.strips(pages.width):
            group.append(strip)
            if not strip.joined:
                yield group
                group = []
    if group:
        yield group


def _place_plate(plate: Plate, pages: _Pages):
    """A page of its own with a picture as large as it can be; it lies for a wide one."""
    shape = plate.source.shape
    size = page_size(pages.paper, lying=shape <= 1.0)
    width = size[0] - LEFT - RIGHT
    titles = lines_of(plate.title, width, PLATE_TITLE, True)[:2] if plate.title else ()
    lines = lines_of(plate.caption, width, SMALL)[:MOST_CAPTION] if plate.caption else ()
    step = LINE * PLATE_TITLE
    items: list[Item] = [
        Words(LEFT, PLATE_EDGE + k * step + RISE * PLATE_TITLE, line, PLATE_TITLE, True)
        for k, line in enumerate(titles)
    ]
    top = PLATE_EDGE + step * len(titles)
    below = size[1] - _FOOT - 3.0 - LINE * SMALL * len(lines)
    tall, most = below - top - 4.0, size[0] - 2.0 * PLATE_EDGE
    wide = min(most, tall / shape)
    items.append(Image(0.5 * (size[0] - wide), top, wide, shape * wide, plate.source))
    for k, line in enumerate(lines):
        y = below + LINE * SMALL * k + RISE * SMALL
        items.append(Words(LEFT, y, line, SMALL, colour=SOFT))
    pages.pages.append((size, items, pages.waiting))
    pages.waiting, pages.y = [], None


def _notes(strip: Strip) -> list[str]:
    """What the marks of a strip mean."""
    return notes_of(item.text for item in strip.items if isinstance(item, Words))


def _foot(foot: Foot, size, number: int, count: int) -> list[Item]:
    """Rule and two lines at the foot of a page."""
    width, height = size
    top, left, right = height - _FOOT, LEFT, width - RIGHT
    page = f"page {number} of {count}"
    first, second = top + 10.0, top + 20.5
    beside = text_width(page, _FOOT_SIZE)
    mid = text_width(foot.left, _FOOT_SIZE)
    name = fitted(foot.name, right - left - beside - mid - 30.0, _FOOT_SIZE, True)
    end = left + text_width(name, _FOOT_SIZE, True)
    last = fitted(foot.right, 0.55 * (right - left), _FOOT_SIZE)
    return [
        Stroke(((left, top), (right, top)), 0.5, RULE),
        Words(left, first, name, _FOOT_SIZE, True, SOFT),
        Words(end + 8.0, first, foot.left, _FOOT_SIZE, colour=SOFT),
        Words(right - beside, first, page, _FOOT_SIZE, colour=SOFT),
        Words(left, second, _CAUTION, _FOOT_SIZE, True, INK),
        Words(right - text_width(last, _FOOT_SIZE), second, last, _FOOT_SIZE, colour=SOFT),
    ]


def words_of(page: LaidPage) -> list[Words]:
    """All text of a page."""
    return [item for item in page.items if isinstance(item, Words)]


def _box(item: Item) -> tuple[float, float, float, float]:
    if isinstance(item, Words):
        return item.box
    if isinstance(item, Area | Image):
        return item.left, item.top, item.left + item.width, item.top + item.height
    across, down = zip(*item.points, strict=True)
    return min(across), min(down), max(across), max(down)


def faults_of(page: LaidPage) -> list[str]:
    """What of a page lies outside the paper, and texts that lie over each other.

    Returns
    -------
    list of str, empty for a good page
    """
    found = []
    for item in page.items:
        left, top, right, bottom = _box(item)
        if left < 0.0 or top < 0.0 or right > page.size[0] or bottom > page.size[1]:
            found.append(f"outside the page: {item}")
    texts = sorted((words for words in words_of(page) if words.text), key=lambda w: w.box[1])
    for k, one in enumerate(texts):
        a = one.box
        for other in texts[k + 1 :]:
            b = other.box
            if b[1] >= a[3] - 0.5:
                break
            if min(a[2], b[2]) - max(a[0], b[0]) > 0.05:
                found.append(f"over each other: {one.text!r} and {other.text!r}")
    return found
