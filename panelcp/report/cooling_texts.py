"""Texts of the pictures of cooling: numbers with their units, and words cut to their room."""

from __future__ import annotations

import unicodedata

import numpy as np

from panelcp.display import kelvin as kelvin_text
from panelcp.report.cooling_tables import ZERO_CELSIUS, margin_word


def text_width(text: str, size: float = 12.0) -> float:
    """Rough width of a text in a common sans-serif type, on the wide side.

    Examples
    --------
    >>> text_width("ll") < text_width("WW") < text_width("漢字")
    True
    """
    return size * sum(_letter_width(letter) for letter in text)


def _letter_width(letter: str) -> float:
    if unicodedata.combining(letter) or unicodedata.category(letter) == "Cf":
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF" or ord(letter) > 0x1F000:
        return 1.35
    if letter in "ijltfI.,;:'| ()[]!":
        return 0.36
    if letter in "mwMW@%":
        return 0.95
    return 0.72 if letter.isupper() else 0.6


def fitted(text: str, width: float, size: float = 12.0) -> str:
    """The text, or its beginning with an ellipsis where it is too wide.

    Examples
    --------
    >>> fitted("oil cooler", 200), fitted("oil cooler", 45)
    ('oil cooler', 'oil co…')
    """
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return _whole(text.rstrip() + "…")


def _whole(text: str) -> str:
    """A piece of a text whose marks of isolation are in pairs again."""
    opened, closed = text.count("\u2068"), text.count("\u2069")
    return "\u2068" * (closed - opened) + text + "\u2069" * (opened - closed)


def wrapped(text: str, width: float, size: float = 12.0, lines: int = 2) -> list[str]:
    """The text in so many lines at most, broken between words where that can be done.

    Examples
    --------
    >>> wrapped("charge-air cooler", 90), wrapped("oil cooler", 90)
    (['charge-air', 'cooler'], ['oil cooler'])
    """
    text = " ".join(text.split())
    if lines == 1 or text_width(text, size) <= width:
        return [fitted(text, width, size)]
    end = len(text)
    while text_width(text[:end], size) > width:
        end -= 1
    space = text.rfind(" ", 1, end + 1)
    end = space if space > 0 else max(end, 1)
    first, rest = _whole(text[:end].rstrip()), _whole(text[end:].strip())
    return [first, *wrapped(rest, width, size, lines - 1)]


def signed(value: float, unit: str = "Pa") -> str:
    """A number with its sign and unit; nothing known is a question mark.

    Examples
    --------
    >>> signed(311.6), signed(-0.2), signed(-59.7), signed(float("nan"))
    ('+312 Pa', '0 Pa', '−60 Pa', '? Pa')
    """
    if not np.isfinite(value):
        return f"? {unit}"
    number = round(float(value))
    return f"{number:+d} {unit}".replace("-", "−") if number else f"0 {unit}"


def flow_text(flow: float) -> str:
    """Size of a flow, kg/s.

    Examples
    --------
    >>> flow_text(0.8234), flow_text(-0.0042), flow_text(0.00001), flow_text(float("nan"))
    ('0.823 kg/s', '0.0042 kg/s', 'no flow', 'flow not known')
    """
    if not np.isfinite(flow):
        return "flow not known"
    size = abs(flow)
    if size < 5e-5:
        return "no flow"
    return f"{size:.4f} kg/s" if size < 0.00995 else f"{size:.3f} kg/s"


def size_text(drop: float) -> str:
    """A fall of pressure in whole Pa, without a sign where it is a fall."""
    return f"{round(float(drop))} Pa".replace("-", "−") if np.isfinite(drop) else "? Pa"


def celsius_text(kelvin: float) -> str:
    """A temperature in whole degrees Celsius."""
    if not np.isfinite(kelvin):
        return "? °C"
    return f"{kelvin - ZERO_CELSIUS:.0f} °C".replace("-", "−")


def margin_text(margin: float, word: str | None = None) -> str:
    """A margin with its judgement in words, that of the margin alone where none is given.

    Examples
    --------
    >>> margin_text(7.3), margin_text(-4.2), margin_text(float("nan"))
    ('margin 7.3 K, look', 'margin −4.2 K, stop', 'no limit given')
    """
    if np.isnan(margin):
        return "no limit given"
    if word == "":
        return "margin not predicted"
    return f"margin {kelvin_text(margin)}, {margin_word(margin) if word is None else word}"


def band_text(low: float, high: float) -> str:
    """Both ends of a band in K.

    Examples
    --------
    >>> band_text(3.2, 11.4), band_text(-2.0, 5.0)
    ('3 to 11', '−2 to 5')
    """
    return f"{round(low)} to {round(high)}".replace("-", "−")
