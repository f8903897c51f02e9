"""Marks on numbers, and what they mean, told at the foot of every page that bears one."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

OUTSIDE = "†"
"""On a central value that lies outside its own band."""

NOTES = {
    OUTSIDE: (
        f"{OUTSIDE} The central value lies outside its own band, 16 to 84 % of the sampled worlds, "
        "as it can where next to no air flows. Go by the band and the chances; this number alone "
        "says little."
    )
}
"""What every mark means."""

_MARKED = re.compile(r"(?<=\d)[" + "".join(NOTES) + "]")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def outside(value, low, high) -> bool:
    """Whether a value lies outside its band; False where one of them is not known.

    Examples
    --------
    >>> outside(-2.0, 3.0, 10.0), outside(5.0, 3.0, 10.0), outside(5.0, None, float("nan"))
    (True, False, False)
    """
    if any(number is None or not np.isfinite(number) for number in (value, low, high)):
        return False
    return not low <= value <= high


def marked(text: str, value, low, high) -> str:
    """The text of a value, with the mark behind its first number where it lies outside its band.

    Examples
    --------
    >>> marked("−1.7 K (3 to 10)", -1.7, 2.9, 10.3), marked("0.05", 0.05, -0.2, 0.4)
    ('−1.7† K (3 to 10)', '0.05')
    """
    if not outside(value, low, high):
        return text
    return _NUMBER.sub(rf"\g<0>{OUTSIDE}", text, count=1)


def notes_of(texts: Iterable[str]) -> list[str]:
    """What the marks in some texts mean, each once."""
    found = {mark for text in texts for mark in _MARKED.findall(text)}
    return [note for mark, note in NOTES.items() if mark in found]
