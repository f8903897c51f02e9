"""One switch for the whole page: metric or cockpit units.

Everything is written in metric units, so that the page reads without JavaScript. A last pass over
the finished HTML finds the numbers that have a counterpart and puts both readings beside each
other: ``<data value="0.49 inH2O">123 Pa</data>``, in drawings a tspan of class q. The script
`live/units.js` shows the one or the other; it reckons nothing.

The pass knows two things. In a text, numbers with their unit behind them. In a table, a heading
that ends with a unit ("Drop, Pa"): it holds for the numbers of its column; "All in Pa" above the
first column holds for all columns. Texts of the case are left as they are: a condition may be
called "tow at 62 kt".
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

from panelcp.units import UNITS

SPACE = "[ \u00a0]"
NUMBER = r"[+\u2212-]?\d+(?:\.\d+)?"
JOINED = rf"{NUMBER}(?:(?: ± | to | × ){NUMBER})*(?: \({NUMBER} to {NUMBER}\))?"
"""Numbers that share a unit: "12 ± 3", "0.43 (0.40 to 0.46)", "300 × 120"."""

KELVIN_AT_ZERO, FAHRENHEIT = 273.15, 9.0 / 5.0


def _factor(kind: str, one: str, other: str) -> float:
    return float(UNITS[kind][one]) / float(UNITS[kind][other])


@dataclass(frozen=True)
class Reading:
    """How a number in a written unit is shown in one set of units.

    Attributes
    ----------
    unit : as it is shown
    factor, shift : shown = factor * written + shift
    least : decimals at least
    """

    unit: str
    factor: float = 1.0
    shift: float = 0.0
    least: int = 0

    def number(self, written: str) -> str:
        """A written number in this unit, about as exact as it was written.

        Examples
        --------
        >>> Reading("inH2O", _factor("pressure", "Pa", "inH2O")).number("−123")
        '−0.49'
        """
        if self.factor == 1.0 and not self.shift:
            return written
        value = float(written.replace("\u2212", "-"))
        decimals = len(written.partition(".")[2])
        digits = max(self.least, math.floor(decimals - math.log10(self.factor) + 0.4), 0)
        text = f"{self.factor * value + self.shift:.{digits}f}"
        text = text.removeprefix("-") if not float(text) else text
        sign = "+" if written.startswith("+") and not text.startswith("-") else ""
        return sign + text.replace("-", "\u2212")


def _both(kind: str, unit: str, other: str, shown: str = "", least: int = 0):
    """Metric unit with its counterpart."""
    return Reading(shown or unit), Reading(other, _factor(kind, unit, other), least=least)


def _area(unit: str, other: str) -> tuple[Reading, Reading]:
    factor = _factor("area", unit, other)
    return Reading(unit.replace("2", "²")), Reading(other.replace("2", "²"), factor)


READINGS: dict[str, tuple[Reading, Reading]] = {
    "mm": _both("length", "mm", "in"),
    "m": _both("length", "m", "ft"),
    "ft": (Reading("m", _factor("length", "ft", "m")), Reading("ft")),
    "cm²": _area("cm2", "in2"),
    "m²": _area("m2", "ft2"),
    "Pa": _both("pressure", "Pa", "inH2O"),
    "inH2O": (Reading("inH2O"), Reading("Pa", _factor("pressure", "inH2O", "Pa"))),
    "m/s": _both("speed", "m/s", "kt"),
    "kt": (Reading("m/s", _factor("speed", "kt", "m/s"), least=1), Reading("kt")),
    "kg/s": _both("mass flow", "kg/s", "lb/min"),
    "m³/s": (Reading("m³/s"), Reading("ft³/min", _factor("volume flow", "m3/s", "ft3/min"))),
    "kW": _both("power", "kW", "hp"),
    "°C": (Reading("°C"), Reading("°F", FAHRENHEIT, 32.0)),
    "degC": (Reading("°C"), Reading("°F", FAHRENHEIT, 32.0)),
    "K": (Reading("K"), Reading("°F", FAHRENHEIT)),
}
"""Written unit -> metric reading, cockpit reading. A column of inH2O beside one of Pa becomes one
of Pa when the other becomes one of inH2O. K is always a difference."""

UNIT = "|".join(sorted(map(re.escape, READINGS), key=len, reverse=True))
PLACE = rf"STA{SPACE}{NUMBER} BL{SPACE}{NUMBER} WL{SPACE}{NUMBER}{SPACE}mm"
IN_BOTH = re.compile(rf"{NUMBER}{SPACE}in{SPACE}\({NUMBER}{SPACE}mm\)")
"""A length that is written in both units already, as of a rule: "24 in (610 mm)"."""

IN_TEXT = re.compile(
    rf"{IN_BOTH.pattern}|{PLACE}|(?<![\w.,\u2212-])±?{JOINED}{SPACE}(?:{UNIT})(?![\w²³/])"
    rf"(?: \({NUMBER} to {NUMBER}\))?"
)
LAST_UNIT = re.compile(rf"(?:{UNIT})(?![\w²³/])")
HEADING = re.compile(rf"(?:^|, |in )({UNIT})(?= ± deviation$|; Cp$|$)")
FOR_ALL = re.compile(r"(?:All in|Available,|Step,|Layer,) ")
"""Headings of the first column whose unit is that of all columns."""
ROW_UNITS = re.compile(rf"(?:(Pa): |area ({UNIT})$)")
"""Rows that name their own unit in the first cell."""
IN_CELL = re.compile(rf"^{JOINED}(?=$|[ ,;]|\u00a0)(?!{SPACE}(?:{UNIT}|%)(?:\W|$))")
LENGTHS = re.compile(rf"^{NUMBER} \({NUMBER}\)(?=$|,)")
"""A cell of lengths with one more in brackets, as the way to separation behind a thickness."""

TOKEN = re.compile(r"(<[^>]*>)")
TAG = re.compile(r"<(/?)([a-zA-Z0-9]+)")
LABEL = re.compile(r' data-label="([^"]*)"')
UNTOUCHED = ("script", "style", "title", "desc", "option", "textarea", "button", "code")


def switchable(html: str, names: Iterable[str] = ()) -> str:
    """HTML whose numbers can be read in both sets of units.

    Parameters
    ----------
    html : well formed; every text of the case is escaped
    names : texts of the case, which are left as they are

    Returns
    -------
    str; written in metric units

    Examples
    --------
    >>> switchable("<p>about 62 kt in tow at 62 kt</p>", ["tow at 62 kt"])
    '<p>about <data value="62 kt">31.9 m/s</data> in tow at 62 kt</p>'
    """
    return _Pass(frozenset(name for name in names if name)).over(html)


def switch_control() -> str:
    """HTML of the switch; hidden until the script is there to work it."""
    choices = "".join(
        f'<label><input type="radio" name="units" value="{value}"{checked}> {words}</label>'
        for value, words, checked in (
            ("metric", "metric", " checked"),
            ("cockpit", "cockpit (kt, ft, inH2O, in)", ""),
        )
    )
    return f'<fieldset class="units" id="units" hidden><legend>Units</legend>{choices}</fieldset>'


@cache
def switch_script() -> str:
    """The script of the switch."""
    return (Path(__file__).parent / "live" / "units.js").read_text(encoding="utf-8")


def texts_of(record: Any) -> set[str]:
    """All texts in nested lists and dictionaries, those of numbers with a unit left out.

    Examples
    --------
    >>> sorted(texts_of({"name": "tow at 62 kt", "speed": "62 kt", "more": [{"mark": "memory"}]}))
    ['memory', 'tow at 62 kt']
    """
    if isinstance(record, str):
        return set() if re.fullmatch(rf"±?{JOINED}{SPACE}(?:{UNIT})", record) else {record}
    if isinstance(record, dict):
        record = record.values()
    elif not isinstance(record, list | tuple):
        return set()
    return set().union(*(texts_of(part) for part in record))


def marked(readings: tuple[str, str], in_drawing: bool = False) -> str:
    """One thing in its metric and its cockpit reading; only escaped texts may be given.

    Examples
    --------
    >>> marked(("123 Pa", "0.49 inH2O"))
    '<data value="0.49 inH2O">123 Pa</data>'
    """
    metric, cockpit = readings
    if metric == cockpit:
        return metric
    if in_drawing:
        return f'<tspan class="q" data-cockpit="{cockpit}">{metric}</tspan>'
    return f'<data value="{cockpit}">{metric}</data>'


def _readings(text: str, unit: str) -> tuple[str, str]:
    """Numbers, and the unit where it stands among them, in both sets."""
    texts = []
    for reading in READINGS[unit]:
        numbers = re.sub(
            rf"(?<![\w.]){NUMBER}", lambda found, r=reading: r.number(found.group()), text
        )
        texts.append(LAST_UNIT.sub(reading.unit, numbers, count=1))
    return texts[0], texts[1]


def _named(text: str, start: int, unit: str) -> tuple[str, str]:
    """A heading that names a unit, in both sets."""
    ends = [f"{text[:start]}{r.unit}{text[start + len(unit) :]}" for r in READINGS[unit]]
    return ends[0], ends[1]


@dataclass(eq=False)
class _Pass:
    """Walk over HTML: where it stands, and what the table it stands in says of units."""

    names: frozenset[str]
    output: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    columns: list[str] = field(default_factory=list)
    common: str = ""
    row: str = ""
    column: int = -1
    heading: bool = False

    def __post_init__(self):
        escaped = sorted(map(escape, self.names), key=len, reverse=True)
        own = [name for name in escaped if IN_TEXT.search(name)]
        patterns = [re.escape(name).replace(r"\ ", SPACE) for name in own]
        self.own = re.compile("|".join(patterns)) if patterns else None
        self.cut = tuple(own)
        self.like_headings = tuple(name for name in escaped if HEADING.search(name))
        self.like_rows = frozenset(name for name in escaped if ROW_UNITS.search(name))

    def over(self, html: str) -> str:
        for token in TOKEN.split(html):
            if token.startswith("<"):
                self.output.append(self._tag(token))
            elif token:
                self.output.append(self._text(token))
        return "".join(self.output)

    def _tag(self, token: str) -> str:
        found = TAG.match(token)
        if found is None:
            return token
        closing, name = bool(found.group(1)), found.group(2).lower()
        if closing:
            if name in self.open:
                while self.open.pop() != name:
                    pass
        elif name in (*UNTOUCHED, "svg", "a"):
            self.open.append(name)
        if name == "table":
            self.columns, self.common = [], ""
        elif name == "tr" and not closing:
            self.column, self.row = -1, ""
        elif name in ("td", "th"):
            self._cell(token, name, closing)
            if not closing:
                return LABEL.sub(self._label, token)
        return token

    def _cell(self, token: str, name: str, closing: bool):
        self.heading = name == "th" and not closing
        if closing:
            return
        self.column += 1
        if self.heading:
            self.columns.append("")

    def _label(self, found: re.Match) -> str:
        """Label of a cell on narrow screens."""
        unit = self._unit_of(found.group(1))
        if not unit:
            return found.group()
        start = HEADING.search(found.group(1).replace("\u00a0", " ")).start(1)
        texts = _named(found.group(1), start, unit)
        return f' data-label="{texts[0]}" data-label-cockpit="{texts[1]}"'

    def _unit_of(self, heading: str) -> str:
        """Unit at the end of a heading that is not a text of the case."""
        found = HEADING.search(heading.replace("\u00a0", " "))
        if found is None or heading.endswith(self.like_headings):
            return ""
        return found.group(1)

    def _text(self, text: str) -> str:
        if any(name in UNTOUCHED for name in self.open):
            return text
        if self.heading:
            return self._heading(text)
        row = ROW_UNITS.match(text) if self.column == 0 and text not in self.like_rows else None
        if row is not None:
            self.row = row.group(1) or row.group(2)
            return marked(_named(text, row.start(row.lastindex), self.row))
        unit = self._unit_here()
        lengths = LENGTHS.match(text) if unit == "mm" else None
        whole = lengths or (IN_CELL.match(text) if unit else None)
        if whole is None:
            return self._sentence(text)
        return marked(_readings(whole.group(), unit)) + text[whole.end() :]

    def _unit_here(self) -> str:
        if self.column < 0:
            return ""
        own = self.columns[self.column] if self.column < len(self.columns) else ""
        return self.row or own or (self.common if self.column else "")

    def _heading(self, text: str) -> str:
        unit = self._unit_of(text)
        if not unit:
            return self._sentence(text)
        if len(self.columns) == 1 and FOR_ALL.match(text):
            self.common = unit
        else:
            self.columns[-1] = unit
        return marked(_named(text, HEADING.search(text).start(1), unit))

    def _sentence(self, text: str) -> str:
        """Numbers with units in a text, but for those in names."""
        if not any(character.isdigit() for character in text):
            return text
        if text.endswith("…") and any(name.startswith(text[:-1]) for name in self.cut):
            return text
        if self.own is None:
            return self._between(text)
        parts, last = [], 0
        for name in self.own.finditer(text):
            parts += [self._between(text[last : name.start()]), name.group()]
            last = name.end()
        return "".join([*parts, self._between(text[last:])])

    def _between(self, text: str) -> str:
        return IN_TEXT.sub(lambda found: self._quantity(found.group()), text)

    def _quantity(self, text: str) -> str:
        if IN_BOTH.fullmatch(text):
            return text
        unit = "mm" if text.startswith("STA") else LAST_UNIT.findall(text)[-1]
        return marked(_readings(text, unit), "svg" in self.open)
