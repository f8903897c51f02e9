"""What may stand in a case file, and reading of one table after another.

Every mistake is kept with its line, so that all can be shown at once.
"""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any
from unicodedata import category

from panelcp.errors import CaseError, PanelcpError, QuantityError
from panelcp.quantity import read_uncertain
from panelcp.units import format_quantity, parse_quantity

FARTHEST = 1e5
"""m; no length, place or height in a case is larger."""

SHORTEST = 1e-5
"""m; no size in a case is smaller."""

LARGEST_NUMBER = 1e9
"""No plain number of a place in a mesh file is larger."""

_HEADING = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*\]\]?")
_KEY = re.compile(r"^\s*([A-Za-z0-9_-]+|\"[^\"]*\")\s*=")
_BARE_QUANTITY = re.compile(r"[=\[,]\s*([-+]?[\d.][\d.,]*\s*[A-Za-z%][^,\]}]*)")
_BARE_TEXT = re.compile(r"=\s*([A-Za-z][^,\]}]*)")
_TOML_ADVICE = (
    (r"overwrite", "this entry stands here a second time; keep one"),
    (r"twice", "this table stands here a second time; keep one"),
    (r"\\|hex value|escaped", "write / in place of \\ in paths and texts"),
)
"""Pattern that is sought in the parser's reason, advice."""


@dataclass(frozen=True)
class Entry:
    """One key of a table.

    Attributes
    ----------
    read : function of the raw value that returns the converted one or raises QuantityError
    required : True when the table makes no sense without it
    default : value when it is absent
    """

    read: Callable[[Any], Any]
    required: bool = False
    default: Any = None


def quantity(
    kind: str, least: float | None = None, above: float | None = None, most: float | None = None
) -> Callable:
    """Reader of a number with unit, in SI, with bounds if wanted."""

    def read(raw):
        value = _believable(parse_quantity(raw, kind), raw, kind)
        if kind == "length" and above == 0.0 and 0.0 < value < SHORTEST:
            raise QuantityError(f"{raw!r} is too small; expected at least 0.01 mm")
        if (least is not None and value < least) or (above is not None and value <= above):
            bound = (
                f"at least {_bound(least, kind)}"
                if least is not None
                else f"more than {_bound(above, kind)}"
            )
            raise QuantityError(f"{raw!r} is too small; expected {bound}")
        if most is not None and value > most:
            advice = ' (with a sign: "65 %")' if kind == "fraction" else ""
            raise QuantityError(
                f"{raw!r} is too large; expected at most {_bound(most, kind)}{advice}"
            )
        return value

    return read


def _believable(value: float, raw, kind: str) -> float:
    """The value; a length that only a slip of the pen explains is refused."""
    if kind == "length" and abs(value) > FARTHEST:
        raise QuantityError(f"{raw!r} is {abs(value):.3g} m, which is not believable")
    return value


def band(kind: str, least: float = -math.inf, most: float = math.inf) -> Callable:
    """Reader of an uncertain number that lies within bounds with its whole band."""

    def read(raw):
        value = read_uncertain(raw, kind)
        for name in ("value", "low", "high"):
            number = getattr(value, name)
            if number is not None and not least <= number <= most:
                low = _bound(least, kind)
                raise QuantityError(
                    f"{name} is {format_quantity(number, kind)}; expected "
                    + (f"{low} to {_bound(most, kind)}" if most < math.inf else f"at least {low}")
                )
        return value

    return read


def _bound(value: float, kind: str) -> str:
    """A limit with its unit; zero of what has no other zero needs none."""
    if value == 0.0 and kind != "temperature":
        return "0"
    return format_quantity(value, kind) if math.isfinite(value) else f"{value:g}"


def text(raw) -> str:
    """Reader of a text of one or more lines that is not empty."""
    if not isinstance(raw, str):
        raise QuantityError(f"{raw!r} is not a text; put it into quotes")
    if not raw.strip():
        raise QuantityError("the text is empty")
    if any(category(letter) == "Cc" and letter not in "\t\n\r" for letter in raw):
        raise QuantityError("the text holds control characters; take them out")
    return raw.strip()


def line(raw) -> str:
    """Reader of a text of one line, such as a name."""
    value = text(raw)
    if any(category(letter) == "Cc" for letter in value):
        raise QuantityError("the text must stand on one line")
    return value


def true_or_false(raw) -> bool:
    """Reader of true or false."""
    if not isinstance(raw, bool):
        raise QuantityError(f"{raw!r} is neither true nor false (without quotes)")
    return raw


def whole_number(least: int, most: int) -> Callable:
    """Reader of a whole number within limits."""

    def read(raw):
        if not isinstance(raw, int) or isinstance(raw, bool) or not least <= raw <= most:
            raise QuantityError(f"{raw!r} is not a whole number from {least} to {most}")
        return raw

    return read


def choice(*words: str) -> Callable:
    """Reader of one of a few words."""

    def read(raw):
        if raw not in words:
            near = get_close_matches(str(raw), words, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise QuantityError(f"{raw!r} is not known; choose one of {', '.join(words)}{hint}")
        return raw

    return read


def point(raw) -> tuple[float, float, float]:
    """Reader of a place: three lengths, station, butt line and waterline."""
    if not isinstance(raw, list) or len(raw) != 3:
        raise QuantityError(
            f'{raw!r} is not a point; write three lengths: ["350 mm", "0 mm", "-120 mm"] '
            "(station, butt line, waterline)"
        )
    return tuple(_believable(parse_quantity(part, "length"), part, "length") for part in raw)


def three_numbers(raw) -> tuple[float, float, float]:
    """Reader of three plain numbers."""
    good = isinstance(raw, list) and len(raw) == 3
    if not good or not all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in raw):
        raise QuantityError(f"{raw!r} is not a list of three plain numbers")
    if not all(math.isfinite(v) for v in raw):
        raise QuantityError(f"{raw!r} holds a number that is not finite")
    if max(abs(v) for v in raw) > LARGEST_NUMBER:
        raise QuantityError(f"{raw!r} holds a number that is not believable")
    return tuple(float(v) for v in raw)


def words(*known: str) -> Callable:
    """Reader of a list of some known words."""
    one = choice(*known)

    def read(raw):
        if not isinstance(raw, list) or not raw:
            raise QuantityError(f"{raw!r} is not a list of words")
        return tuple(one(word) for word in raw)

    return read


def texts(raw) -> tuple[str, ...]:
    """Reader of a text of one line, or of a list of them."""
    rows = raw if isinstance(raw, list) else [raw]
    if not rows:
        raise QuantityError("the list is empty; leave the entry out")
    return tuple(line(row) for row in rows)


def list_of(read: Callable) -> Callable:
    """Reader of a list whose entries all have one form."""

    def read_all(raw):
        if not isinstance(raw, list) or not raw:
            raise QuantityError(f"{raw!r} is not a list with at least one entry")
        return tuple(read(row) for row in raw)

    return read_all


def inline_table(entries: Mapping[str, Entry]) -> Callable:
    """Reader of a table in braces; all that is wrong with it stands in one text."""

    def read(raw):
        if not isinstance(raw, dict):
            keys = ", ".join(f"{key} = ..." for key in entries)
            raise QuantityError(f"{raw!r} is not a table in braces; write {{ {keys} }}")
        wrong = [
            f"{key!r} is not a known entry{nearest(key, entries)}"
            for key in raw
            if key not in entries
        ]
        values = {}
        for key, entry in entries.items():
            values[key] = entry.default
            if key not in raw:
                wrong += [f"{key} is missing"] if entry.required else []
                continue
            try:
                values[key] = entry.read(raw[key])
            except PanelcpError as error:
                wrong.append(f"{key}: {error}")
        if wrong:
            raise QuantityError("; ".join(wrong))
        return values

    return read


def pairs(first: Callable, second: Callable, example: str) -> Callable:
    """Reader of a list of pairs, such as the points of a curve."""

    def read(raw):
        good = isinstance(raw, list) and len(raw) > 0
        if not good or not all(isinstance(row, list) and len(row) == 2 for row in raw):
            raise QuantityError(f"{raw!r} is not a list of pairs; write {example}")
        return tuple((first(row[0]), second(row[1])) for row in raw)

    return read


def one_or_by_name(read: Callable) -> Callable:
    """Reader of one value for all, or of a table of names and values.

    A table with the entry "value" is one uncertain value.
    """

    def read_all(raw):
        if not isinstance(raw, dict) or "value" in raw:
            return read(raw)
        if not raw:
            raise QuantityError("the table is empty; leave the entry out")
        return {name: read(value) for name, value in raw.items()}

    return read_all


def axes(raw) -> tuple[tuple[str, str], ...]:
    """Reader of the three directions of a file."""
    known = ("aft", "right", "up")
    if not isinstance(raw, dict) or sorted(raw) != sorted(known):
        raise QuantityError(
            f'{raw!r} is not a set of axes; write {{ aft = "+x", right = "+y", up = "+z" }}'
        )
    return tuple((key, str(raw[key])) for key in known)


@dataclass
class CaseText:
    """A parsed case file that collects mistakes while its tables are read.

    Attributes
    ----------
    path : of the file
    raw : the parsed tables
    lines : (table, number from 1 or 0, key) -> line in the file
    mistakes : (line, text) of everything found so far
    wrong : (table, number from 1 or 0) of the tables with a mistake, and of those that an
        unknown name was perhaps meant for
    """

    path: Path
    raw: Mapping[str, Any]
    lines: dict[tuple[str, int, str], int]
    mistakes: list[tuple[int, str]] = field(default_factory=list)
    wrong: set[tuple[str, int]] = field(default_factory=set)

    def add(self, table: str, number: int, key: str, message: str):
        """Note one mistake."""
        place = f"{table}[{number}]" if number else table
        places = ((table, number, key), (table, number, ""), (table, 0, ""))
        line = next((self.lines[place] for place in places if place in self.lines), 0)
        name = ".".join(part for part in (place, key) if part)
        self.wrong.add((table, number))
        self.mistakes.append((line, f"{name}: {' '.join(message.split())}"))

    def check_tables(self, known: Mapping[str, bool]):
        """Note tables that are not known, or not of the kind (single, list) they should be."""
        for name, value in self.raw.items():
            if name not in known:
                self.add(name, 0, "", f"not a known table{nearest(name, known)}")
                self.wrong |= {(near, 0) for near in get_close_matches(name, known, n=1)}
                continue
            many = known[name]
            good = isinstance(value, list) and all(isinstance(v, dict) for v in value)
            if many and not good:
                self.add(name, 0, "", f"must be a list of tables: write [[{name}]]")
            if not many and not isinstance(value, dict):
                self.add(name, 0, "", f"must be one table: write [{name}]")

    def table(self, name: str, entries: Mapping[str, Entry]) -> dict[str, Any]:
        """Read a single table; what is absent gets its default."""
        raw = self.raw.get(name, {})
        return self._read(raw if isinstance(raw, dict) else {}, name, 0, entries)

    def tables(self, name: str, entries: Mapping[str, Entry]) -> list[dict[str, Any]]:
        """Read a list of tables."""
        raw = self.raw.get(name, [])
        if not isinstance(raw, list):
            return []
        return [
            self._read(part, name, number, entries)
            for number, part in enumerate(raw, start=1)
            if isinstance(part, dict)
        ]

    def _read(self, raw, name, number, entries) -> dict[str, Any]:
        for key in raw:
            if key not in entries:
                self.add(name, number, key, f"not a known entry{nearest(key, entries)}")
        values = {}
        for key, entry in entries.items():
            values[key] = entry.default
            if key not in raw:
                if entry.required:
                    self.add(name, number, "", f"{key} is missing")
                continue
            try:
                values[key] = entry.read(raw[key])
            except PanelcpError as error:
                self.add(name, number, key, str(error))
        return values

    def require_unique(self, name: str, rows: list[dict[str, Any]]):
        """Note names that stand twice in a list of tables."""
        seen: dict[str, int] = {}
        for number, row in enumerate(rows, start=1):
            label = row.get("name")
            if label is None:
                continue
            if label in seen:
                self.add(
                    name, number, "name", f"{label!r} is already the name of number {seen[label]}"
                )
            seen.setdefault(label, number)

    def any_wrong(self, *tables: str) -> bool:
        """Whether a mistake was found in one of these tables: what follows from it is not told."""
        return any(table in tables for table, _ in self.wrong)

    def raise_if_wrong(self):
        """Raise one CaseError that lists every mistake, in the order of the file."""
        if not self.mistakes:
            return
        count = len(self.mistakes)
        rows = [f"  {_line_text(line)}{message}" for line, message in sorted(self.mistakes)]
        title = f"{self.path.name}: {count} mistake{'s' if count > 1 else ''}"
        raise CaseError("\n".join([title, *rows]))


def read_case_text(path) -> CaseText:
    """Parse a case file.

    Raises
    ------
    CaseError : no such file, a folder, not UTF-8, not TOML
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise CaseError(f"{path}: no such file") from None
    except OSError as error:
        if os.path.isdir(path):
            raise CaseError(
                f"{path}: is a folder; give the case file in it, for example case.toml"
            ) from None
        raise CaseError(f"{path}: cannot be read ({error.strerror})") from None
    try:
        content = content.decode("utf-8-sig")
        raw = tomllib.loads(content)
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise CaseError(f"{path.name}: line {line} is not UTF-8; save the file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise CaseError(f"{path.name}: {_toml_advice(str(error), content)}") from None
    return CaseText(path, raw, find_lines(content))


def find_lines(content: str) -> dict[tuple[str, int, str], int]:
    """Lines of tables and keys, by a light second look at the text.

    Examples
    --------
    >>> lines = find_lines('[surface]\\nunit = "mm"\\n\\n[[condition]]\\nname = "tow"\\n')
    >>> lines["surface", 0, "unit"], lines["condition", 1, ""], lines["condition", 1, "name"]
    (2, 4, 5)
    """
    lines: dict[tuple[str, int, str], int] = {}
    counts: dict[str, int] = {}
    table, number, inside = "", 0, ""
    for index, line in enumerate(content.split("\n"), start=1):
        inside, before = _open_text(line, inside), inside
        if before:
            continue
        heading = _HEADING.match(line)
        if heading:
            table, number = heading.group(2), 0
            if heading.group(1) == "[[":
                number = counts[table] = counts.get(table, 0) + 1
            lines.setdefault((table, number, ""), index)
            lines.setdefault((table, 0, ""), index)
        elif key := _KEY.match(line):
            lines.setdefault((table, number, key.group(1).strip('"')), index)
            if not table:
                lines.setdefault((key.group(1), 0, ""), index)
    return lines


def _open_text(line: str, inside: str) -> str:
    """The triple quotes that are open behind a line, or nothing."""
    for quotes in re.findall(r'"""|\'\'\'', line):
        inside = "" if inside == quotes else inside or quotes
    return inside


def _toml_advice(message: str, content: str) -> str:
    match = re.search(r" \(at line (\d+), column \d+\)", message)
    reason = message.replace(match.group(), "") if match else message
    number = int(match.group(1)) if match else 0
    if re.search(r"Unterminated string|Expected \"'|Illegal character '\\n'", reason):
        number = number or _unclosed_line(content)
        return f"line {number}: {_shown(content, number)}: the closing quote is missing"
    if not number:
        return f"not TOML: {message[0].lower()}{message[1:]}"
    return f"line {number}: {_shown(content, number)}: {_line_advice(reason, content, number)}"


def _line_advice(reason: str, content: str, number: int) -> str:
    """What to do about a line that the parser does not take."""
    line = _without_texts(content.split("\n")[number - 1])
    for pattern, advice in _TOML_ADVICE:
        if re.search(pattern, reason):
            return advice
    if '"' in line or "'" in line:
        return "a quote is missing: every text begins and ends with one"
    if bare := _BARE_QUANTITY.search(line):
        return f'put quotes: "{bare.group(1).strip()}"'
    bare = _BARE_TEXT.search(line)
    if bare and bare.group(1).split()[0] not in ("true", "false"):
        return f'put quotes: "{bare.group(1).strip()}" (but not round true, false)'
    return f"not TOML: {reason[0].lower()}{reason[1:]}"


def _without_texts(line: str) -> str:
    """A line without the texts in quotes and the remark, so that what stands outside is left."""
    return re.sub(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'", "", line).split("#")[0]


def _unclosed_line(content: str) -> int:
    """Line of the quote that is open at the end of the file."""
    inside, opened = "", 0
    for number, line in enumerate(content.split("\n"), start=1):
        inside, before = _open_text(line, inside), inside
        if inside and not before:
            opened = number
        left = _without_texts(line)
        if not inside and not before and ('"' in left or "'" in left):
            return number
    return opened or number


def _shown(content: str, number: int) -> str:
    """A line of the file, not too long for a message."""
    return content.split("\n")[number - 1].strip()[:60]


def nearest(word: str, known) -> str:
    """Words that point from an unknown word to the nearest known one, or to all."""
    near = get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else f"; known: {', '.join(known)}"


def _line_text(line: int) -> str:
    return f"line {line}: " if line else ""
