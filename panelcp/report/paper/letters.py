"""Widths of text in the one type family of the report, its lines, and what its letters can show."""

from __future__ import annotations

import re
from functools import cache, lru_cache

from panelcp.report.paper.faces import face_path, new_file, take_face
from panelcp.report.sheets import picture_text

RISE, FALL = 0.78, 0.24
"""How far letters reach above and below their line, parts of the size."""

LINE = 1.32
"""From line to line, parts of the size."""

_LONGEST = 10**9
_JOINTS = re.compile(r"(?<=[^\W\d][-/_])(?=[^\W\d]{2})")
"""Inside words, between letters, where a word may be broken before any other place."""


_measuring = cache(new_file)
"""A PDF that stays empty."""


@lru_cache(maxsize=4096)
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter as the PDF tells it, parts of the size."""
    take_face(_measuring(), 1000.0, bold)
    return _measuring().get_string_width(letter) / 1000.0


@lru_cache(maxsize=65536)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of clean text in points.

    Parameters
    ----------
    text : clean, see `clean`
    size : points
    bold : whether the bold face is taken
    """
    return size * sum(_advance(letter, bold) for letter in text)


@lru_cache(maxsize=16384)
def clean(text: str) -> str:
    """A text in one line that the type can show: what it lacks becomes a box.

    Examples
    --------
    >>> clean("hot\\n air \\U0001f525 $x_2$")
    'hot air □ $x_2$'
    """
    line = re.sub(r"[ \t\r\n\f\v]+", " ", text).strip(" ")
    return picture_text(line, _LONGEST).translate(_plain_alone())


@cache
def _plain_alone() -> dict[int, str]:
    """A box for every code point that the bold face lacks."""
    from matplotlib.font_manager import get_font

    plain, bold = (get_font(face_path(bold)).get_charmap() for bold in (False, True))
    return dict.fromkeys(plain.keys() - bold.keys(), "□")


def fitted(text: str, width: float, size: float, bold: bool = False) -> str:
    """A text, or its beginning with an ellipsis, that is not wider than `width` points.

    Examples
    --------
    >>> fitted("oil cooler", 100.0, 8.0), fitted("oil cooler", 30.0, 8.0)
    ('oil cooler', 'oil co…')
    """
    text = clean(text)
    if text_width(text, size, bold) <= width:
        return text
    while text and text_width(text + "…", size, bold) > width:
        text = text[:-1]
    return text + "…"


@lru_cache(maxsize=16384)
def lines_of(text: str, width: float, size: float, bold: bool = False) -> tuple[str, ...]:
    """Lines of a text not wider than `width` points; at least one.

    Lines break at spaces, and where a word is too wide, behind hyphens and the like, else anywhere.

    Parameters
    ----------
    text : any; it is made clean
    width, size : points
    bold : whether the bold face is taken

    Examples
    --------
    >>> lines_of("one two three", 40.0, 8.0)
    ('one two', 'three')
    >>> lines_of("", 40.0, 8.0)
    ('',)
    """
    found, line = [], ""
    for word in clean(text).split(" "):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size, bold) <= width:
            line = longer
            continue
        if line:
            found.append(line)
        *whole, line = _broken(word, width, size, bold)
        found += whole
    return (*found, line)


def _broken(word: str, width: float, size: float, bold: bool) -> list[str]:
    """Pieces of a word that fit."""
    pieces = [""]
    for part in _JOINTS.split(word):
        if text_width(pieces[-1] + part, size, bold) <= width:
            pieces[-1] += part
            continue
        if pieces[-1]:
            pieces.append("")
        for letter in part:
            if pieces[-1] and text_width(pieces[-1] + letter, size, bold) > width:
                pieces.append("")
            pieces[-1] += letter
    return pieces


def longest_word(text: str, size: float, bold: bool = False) -> float:
    """Width in points of the widest piece of a text that is not broken."""
    words = [part for word in clean(text).split(" ") for part in _JOINTS.split(word)]
    return max(text_width(word, size, bold) for word in words)
