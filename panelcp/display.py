"""Records as HTML for notebooks: small pure helpers that make tables and lines of given texts.

Every text is escaped. Styles stand in the elements and take colours from the page round them, so
that tables can be read on light and dark; nothing is loaded from elsewhere, and there are no
scripts. Whatever has a colour also says its word.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

GOOD, LOOK, STOP = "good", "look", "stop"
ENOUGH_MARGIN, LEAST_MARGIN = 10.0, 5.0
"""K: a margin above the first is good, below the second a reason to stop (common practice)."""
GOOD_CHANCE, STOP_CHANCE = 0.05, 0.5
"""Of being too hot: above the first a margin is not good, above the second a stop (ours)."""
MOST_TOLD = 200.0
"""K; a margin farther below zero is no number of use."""

FILLS = {GOOD: "#0b6b78", LOOK: "#8a6210", STOP: "#7a0018"}
"""Behind white letters: told apart by every kind of sight, and read on light and dark alike."""

MOST_ROWS = 12
"""Rows of a long list that are shown; of more the number is told."""

_WORDS = "text-align:left;vertical-align:top;padding:.15em .7em .15em 0;"
_NUMBERS = "text-align:right;vertical-align:top;padding:.15em .7em .15em 0;"
_LINE = "border-bottom:1px solid rgba(128,128,128,.45);"
_TABLE = "border-collapse:collapse;margin:.4em 0;font-variant-numeric:tabular-nums;"
_CAPTION = "caption-side:top;text-align:left;font-weight:bold;color:inherit;padding:.2em 0;"
_NOTE = "margin:.2em 0 .6em;font-size:90%;max-width:60em;"


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    title : str
    unit : of its numbers; "" for words and ratios
    words : whether it holds words, which begin at the left
    """

    title: str
    unit: str = ""
    words: bool = False

    @property
    def heading(self) -> str:
        """Title and unit."""
        return f"{self.title}, {self.unit}" if self.unit else self.title


@dataclass(frozen=True)
class Judged:
    """A text of a cell with its judgement.

    Attributes
    ----------
    text : str
    word : "good", "look", "stop", or "" for none
    """

    text: str
    word: str = ""


def words(*titles: str) -> list[Column]:
    """Columns of words.

    Examples
    --------
    >>> [column.heading for column in words("Condition", "Decides")]
    ['Condition', 'Decides']
    """
    return [Column(title, words=True) for title in titles]


def table(
    caption: str, columns: Sequence[Column], rows: Iterable[Sequence[str | Judged]], note: str = ""
) -> str:
    """HTML of a table; the first cell of every row is its heading.

    Parameters
    ----------
    caption : says what it shows
    columns : Column of each cell
    rows : texts, or Judged; as many as there are columns
    note : a sentence below it

    Returns
    -------
    str

    Raises
    ------
    ValueError : a row with another number of cells than columns (a mistake of the program)

    Examples
    --------
    >>> html = table("Cores", [*words("Core"), Column("Air", "kg/s")], [("a & b", "0.41")])
    >>> "Air, kg/s" in html, "a &amp; b" in html
    (True, True)
    """
    heads = "".join(
        f'<th scope="col" style="{_WORDS if column.words else _NUMBERS}{_LINE}">'
        f"{escape(column.heading)}</th>"
        for column in columns
    )
    body = "".join(_row(columns, cells) for cells in rows)
    return (
        f'<div style="overflow-x:auto"><table style="{_TABLE}">'
        f'<caption style="{_CAPTION}">{escape(caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>{line(note)}"
    )


def _row(columns: Sequence[Column], cells: Sequence[str | Judged]) -> str:
    parts = []
    for column, cell in zip(columns, cells, strict=True):
        style = _WORDS if column.words else _NUMBERS
        text = _judged(cell) if isinstance(cell, Judged) else _kept(cell)
        tag, scope = ("td", "") if parts else ("th", ' scope="row"')
        style += "" if column.words else "white-space:nowrap;"
        if not parts:
            style += f"font-weight:normal;{'min-width:9em;' if column.words else ''}"
        parts.append(f'<{tag}{scope} style="{style}">{text}</{tag}>')
    return f"<tr>{''.join(parts)}</tr>"


def _judged(cell: Judged) -> str:
    return f"{chip(cell.word)} {_kept(cell.text)}" if cell.word else _kept(cell.text)


def _kept(text: str) -> str:
    """Escaped text whose lines do not break between a number and what follows it closely."""
    return re.sub(r"(?<=\d) (?=[%±]|K\b|mm\b|Pa\b)|(?<=±) ", "\u00a0", escape(text))


def chip(word: str) -> str:
    """HTML of a judgement: its word on its colour.

    Examples
    --------
    >>> "#7a0018" in chip("stop"), chip("stop").endswith(">stop</b>")
    (True, True)
    """
    return (
        f'<b style="background:{FILLS[word]};color:#ffffff;padding:0 .35em;'
        f'border-radius:.25em">{word}</b>'
    )


def facts(caption: str, pairs: Iterable[tuple[str, str]], note: str = "") -> str:
    """HTML of a table of two columns, what and its text; empty texts are left out.

    Examples
    --------
    >>> html = facts("Body", [("length", "3 m"), ("note", "")])
    >>> "3 m" in html, "note" in html
    (True, False)
    """
    return table(caption, words("What", "Found"), [pair for pair in pairs if pair[1]], note)


def line(text: str) -> str:
    """HTML of a sentence; "" without one."""
    return f'<p style="{_NOTE}">{_kept(text)}</p>' if text else ""


def lines(texts: Sequence[str], shown: int = 3) -> str:
    """HTML of a list of sentences, those behind the first ones to be opened.

    Examples
    --------
    >>> lines([]), "The other 2" in lines(["a", "b", "c", "d", "e"])
    ('', True)
    """
    if not texts:
        return ""
    first, others = texts[:shown], texts[shown:]
    html = _listed(first)
    if others:
        html += f"<details><summary>The other {len(others)}</summary>{_listed(others)}</details>"
    return html


def _listed(texts: Sequence[str]) -> str:
    items = "".join(f"<li>{_kept(text)}</li>" for text in texts)
    return f'<ul style="{_NOTE}padding-left:1.3em;">{items}</ul>'


def caution(text: str) -> str:
    """HTML of a caution."""
    return f'<p style="{_NOTE}"><b>Caution:</b> {escape(text)}</p>'


def block(*parts: str) -> str:
    """HTML of one record from parts that are HTML already; formulas are not looked for in it."""
    return f'<div class="tex2jax_ignore mathjax_ignore">{"".join(parts)}</div>'


def number(value: float | None, digits: int = 0, sign: bool = False) -> str:
    """A number with a true minus sign; "" for one that does not exist.

    Examples
    --------
    >>> number(-3.14159, 2), number(0.31, 2, sign=True), number(-0.2), number(float("nan"))
    ('−3.14', '+0.31', '0', '')
    >>> number(float("inf")), number(None)
    ('no end', '')
    """
    if value is None or math.isnan(value):
        return ""
    if math.isinf(value):
        return "no end" if value > 0.0 else "none"
    if round(value, digits) == 0.0:
        return f"{0.0:.{digits}f}"
    return f"{value:{'+' if sign else ''}.{digits}f}".replace("-", "−")


def banded(value: float, deviation: float, digits: int = 0) -> str:
    """A number and its standard deviation, where there is one.

    Examples
    --------
    >>> banded(1.234, 0.1, 2), banded(310.2, float("nan"))
    ('1.23 ± 0.10', '310')
    """
    text, spread = number(value, digits), number(deviation, digits)
    return f"{text} ± {spread}" if text and spread else text


def percent(share: float) -> str:
    """Whole percents; what is not quite none or all is said so; "" for what does not exist.

    Examples
    --------
    >>> percent(0.873), percent(0.0005), percent(0.9991), percent(float("nan"))
    ('87 %', 'less than 1 %', 'more than 99 %', '')
    """
    if math.isnan(share):
        return ""
    if share < 0.005:
        return "less than 1 %"
    return "more than 99 %" if share > 0.995 else f"{100 * share:.0f} %"


def kelvin(value: float) -> str:
    """A margin; below 10 K, where it matters, never rounded up over a limit.

    Examples
    --------
    >>> kelvin(12.4), kelvin(4.96), kelvin(-0.3), kelvin(float("-inf")), kelvin(-1522.0)
    ('12 K', '4.9 K', '−0.3 K', 'no cooling', 'below −200 K')
    >>> kelvin(7.0), kelvin(10.04), kelvin(-12.6)
    ('7 K', '10 K', '−13 K')
    """
    if -math.inf < value < -MOST_TOLD:
        return f"below −{MOST_TOLD:.0f} K"
    if not math.isfinite(value):
        return "not known" if math.isnan(value) else "no end" if value > 0.0 else "no cooling"
    if abs(value) < 10.0:
        tenths = math.floor(value * 10.0 + 1e-9) / 10.0
        return f"{tenths:.1f}".removesuffix(".0").replace("-", "−") + " K"
    return f"{round(value)} K".replace("-", "−")


def judgement(margin: float, chance: float = 0.0) -> str:
    """Judgement of a margin in K with its chance of being too hot; "" where there is none.

    Examples
    --------
    >>> judgement(12.0), judgement(10.0), judgement(5.0), judgement(4.9), judgement(12.0, 0.6)
    ('good', 'look', 'look', 'stop', 'stop')
    >>> judgement(12.0, 0.3), judgement(float("nan"))
    ('look', '')
    """
    if math.isnan(margin):
        return ""
    if margin < LEAST_MARGIN or chance > STOP_CHANCE:
        return STOP
    return GOOD if margin > ENOUGH_MARGIN and not chance > GOOD_CHANCE else LOOK


def ratio_word(ratio: float, deviation: float = 0.0) -> str:
    """Judgement of available over needed: stop below 1; good above 1.3, if sure by a deviation.

    Examples
    --------
    >>> ratio_word(0.9), ratio_word(1.1), ratio_word(1.5, 0.2), ratio_word(1.5, 0.6)
    ('stop', 'look', 'good', 'look')
    """
    if math.isnan(ratio):
        return ""
    if ratio < 1.0:
        return STOP
    return GOOD if ratio > 1.3 and not ratio - deviation < 1.0 else LOOK


def place(point) -> str:
    """Station, butt line and waterline of a point in m.

    Examples
    --------
    >>> place((0.35, -0.02, 0.1104)).replace("\\u00a0", " ")
    'STA 350 BL -20 WL 110 mm'
    """
    x, y, z = (round(1e3 * float(part)) for part in point)
    return f"STA {x} BL {y} WL {z} mm".replace(" ", "\u00a0")


def counted(count: int, word: str) -> str:
    """A number of things.

    Examples
    --------
    >>> counted(1, "condition"), counted(12, "panel"), counted(2, "search")
    ('1 condition', '12 panels', '2 searches')
    """
    if count == 1:
        return f"1 {word}"
    return f"{count} {word}{'es' if word.endswith(('s', 'ch')) else 's'}"


def more(total: int, shown: int = MOST_ROWS) -> str:
    """What is said below a list that is cut; "" for one that is not.

    Examples
    --------
    >>> more(40), more(3)
    ('12 of 40 are shown.', '')
    """
    return f"{shown} of {total} are shown." if total > shown else ""


def knots(speed: float) -> str:
    """A speed in m/s, in knots to a tenth.

    Examples
    --------
    >>> knots(33.1), knots(6.1733), knots(float("nan"))
    ('64.3', '12', '')
    """
    return number(speed * 3600.0 / 1852.0, 1).removesuffix(".0")


def degrees(angle: float) -> str:
    """An angle to a tenth of a degree.

    Examples
    --------
    >>> degrees(6.0), degrees(-2.5)
    ('6', '−2.5')
    """
    return number(angle, 1).removesuffix(".0")
