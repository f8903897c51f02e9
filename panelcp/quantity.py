"""The one form of a number that is not known exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from numbers import Real
from typing import Any

from panelcp.display import Column, block, table, words
from panelcp.errors import QuantityError
from panelcp.units import format_quantity, parse_quantity, si_unit

MARKS = ("published", "derived", "common practice", "memory", "yours")
"""Where a number comes from: a source that can be opened, a calculation from such sources, what
builders do without a source, what somebody remembers, what the user gave."""

_KEYS = ("value", "low", "high", "mark", "source")


@dataclass(frozen=True)
class UncertainValue:
    """A number with its band, its mark and its source.

    Attributes
    ----------
    value : float, SI (angles in degrees, temperatures in kelvin)
    low, high : float or None, SI, low <= value <= high. One standard deviation to each side,
        unless `source` says that they are the ends of a range. Both None: no band was stated,
        which does not mean that the number is exact
    mark : one of `MARKS`
    source : str, author, title, number and year, or a word on where it comes from; must not be
        empty for the mark "published"
    kind : str, a key of `panelcp.units.UNITS`

    Raises
    ------
    QuantityError : numbers that are not finite, a value outside its band, half a band, an
        unknown mark, a published number without a source
    ValueError : unknown kind (a mistake of the program)

    Examples
    --------
    >>> recovery = UncertainValue(0.6, 0.45, 0.8, "common practice")
    >>> round(recovery.low_deviation, 3), round(recovery.high_deviation, 3)
    (0.15, 0.2)
    >>> UncertainValue(0.6).has_band
    False
    """

    value: float
    low: float | None = None
    high: float | None = None
    mark: str = "yours"
    source: str = ""
    kind: str = "fraction"

    def __post_init__(self):
        object.__setattr__(self, "kind", self.kind.replace("_", " "))
        si_unit(self.kind)
        _check_mark(self.mark)
        _check_band(self)
        if not isinstance(self.source, str):
            raise QuantityError(f"source is {self.source!r}; expected a text")
        if self.mark == "published" and not self.source.strip():
            raise QuantityError(
                f"{self._text(self.value)} is marked 'published' without a source; name author, "
                f"title, number and year, or mark it 'memory'"
            )

    @property
    def has_band(self) -> bool:
        """True where low and high were stated."""
        return self.low is not None

    @property
    def low_deviation(self) -> float | None:
        """Distance from value down to low, SI, not negative; None without a band."""
        return None if self.low is None else self.value - self.low

    @property
    def high_deviation(self) -> float | None:
        """Distance from value up to high, SI, not negative; None without a band."""
        return None if self.high is None else self.high - self.value

    def to_dict(self) -> dict[str, Any]:
        """Record for JSON.

        Returns
        -------
        dict
            value, unit, low, high, mark, source; the numbers in the SI unit that is named.

        Examples
        --------
        >>> UncertainValue(996.0, 900.0, 1100.0, "memory", kind="pressure").to_dict()
        {'value': 996.0, 'unit': 'Pa', 'low': 900.0, 'high': 1100.0, 'mark': 'memory', 'source': ''}
        """
        return {
            "value": self.value,
            "unit": si_unit(self.kind),
            "low": self.low,
            "high": self.high,
            "mark": self.mark,
            "source": self.source,
        }

    def _text(self, number):
        return format_quantity(number, self.kind)

    @property
    def _with_band(self) -> str:
        """The number and its band in the metric set."""
        if not self.has_band:
            return self._text(self.value)
        low, high = self.low_deviation, self.high_deviation
        alike = math.isclose(low, high, rel_tol=1e-6, abs_tol=1e-12)
        if alike and self.kind != "temperature":
            return f"{self._text(self.value)} ± {self._text(low)}"
        return f"{self._text(self.value)} ({self._text(self.low)} to {self._text(self.high)})"

    def __str__(self):
        return f"{self._with_band}, {self.mark}"

    def _repr_html_(self) -> str:
        columns = [Column(self.kind.capitalize(), words=True), *words("Mark", "Source")]
        note = "" if self.has_band else "No band was stated; it is not exact for that."
        row = (self._with_band, self.mark, self.source or "none given")
        return block(table("Uncertain number", columns, [row], note))


def read_uncertain(raw: Any, kind: str, default_mark: str = "yours") -> UncertainValue:
    """Read a number with or without a band, as it stands in a case file.

    Parameters
    ----------
    raw : number, str or mapping
        0.6, "0.6", "4 inH2O", or a mapping with the keys value (needed), low and high (both
        or neither), mark, source. An `UncertainValue` of the same kind is returned as it is.
    kind : str, a key of `panelcp.units.UNITS`
    default_mark : str, one of `MARKS`, taken where the mapping has none

    Returns
    -------
    UncertainValue

    Raises
    ------
    QuantityError : a text that cannot be read, unknown keys, a missing value, a value outside
        its band, half a band, an unknown mark
    ValueError : unknown kind (a mistake of the program)

    Examples
    --------
    >>> read_uncertain("4 inH2O", "pressure").value
    996.35564
    >>> read_uncertain(
    ...     {"value": "0.6", "low": "45 %", "high": 0.8, "mark": "memory"}, "fraction"
    ... )
    UncertainValue(value=0.6, low=0.45, high=0.8, mark='memory', source='', kind='fraction')
    >>> read_uncertain({"value": 0.6, "hihg": 0.8}, "fraction")
    Traceback (most recent call last):
    panelcp.errors.QuantityError: not a known entry of an uncertain value: 'hihg' (did you mean
    'high'?); known: value, low, high, mark, source
    """
    if isinstance(raw, UncertainValue):
        return _same_kind(raw, kind)
    if not isinstance(raw, Mapping):
        return UncertainValue(parse_quantity(raw, kind), mark=default_mark, kind=kind)
    _check_keys(raw)
    numbers = {key: _read_entry(raw, key, kind) for key in ("value", "low", "high") if key in raw}
    return UncertainValue(
        **numbers,
        mark=raw.get("mark", default_mark),
        source=raw.get("source", ""),
        kind=kind,
    )


def _same_kind(value, kind):
    if value.kind != kind.replace("_", " "):
        raise QuantityError(f"expected the kind {kind!r}, got a value of the kind {value.kind!r}")
    return value


def _check_keys(raw):
    unknown = [key for key in raw if key not in _KEYS]
    if unknown:
        found = " and ".join(repr(key) + _suggestion(key, _KEYS) for key in unknown)
        raise QuantityError(
            f"not a known entry of an uncertain value: {found}; known: {', '.join(_KEYS)}"
        )
    if "value" not in raw:
        given = ", ".join(raw) or "nothing"
        raise QuantityError(f"an uncertain value needs the entry 'value'; given: {given}")


def _suggestion(word, known):
    nearest = get_close_matches(str(word).casefold(), known, n=1)
    return f" (did you mean {nearest[0]!r}?)" if nearest else ""


def _read_entry(raw, key, kind):
    try:
        return parse_quantity(raw[key], kind)
    except QuantityError as error:
        raise QuantityError(f"entry {key!r}: {error}") from None


def _check_mark(mark):
    if mark not in MARKS:
        raise QuantityError(
            f"unknown mark {mark!r}{_suggestion(mark, MARKS)}; choose one of {', '.join(MARKS)}"
        )


def _check_band(record):
    for name in ("value", "low", "high"):
        number = getattr(record, name)
        if number is None and name != "value":
            continue
        if not isinstance(number, Real) or isinstance(number, bool) or not math.isfinite(number):
            raise QuantityError(f"{name} is {number!r}; expected a finite number")
        object.__setattr__(record, name, float(number))
    if (record.low is None) != (record.high is None):
        given, missing = ("high", "low") if record.low is None else ("low", "high")
        raise QuantityError(f"{given} is given without {missing}; give both, or neither")
    if record.low is not None and not record.low <= record.value <= record.high:
        low, value, high = map(record._text, (record.low, record.value, record.high))
        raise QuantityError(
            f"the value {value} is not between low {low} and high {high}; "
            f"expected low <= value <= high"
        )
