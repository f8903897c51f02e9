"""Texts with units in, SI numbers out, and back again.

Everything inside the program is SI (angles in degrees, temperatures in kelvin). Users write
texts such as "62 kt" or "4 inH2O"; `parse_quantity` and `format_quantity` are the only places
where the two meet.

Notes
-----
Inch, foot, pound, standard gravity, litre, nautical mile, gallons and the International Table
BTU are exact. Source: A. Thompson and B. N. Taylor, Guide for the Use of the International
System of Units, NIST Special Publication 811, 2008, appendix B. The others follow from them:

- kt = 1852 m / 3600 s; mph = 5280 ft / 3600 s
- lbf = 0.45359237 kg x 9.80665 m/s2; psi = lbf / in2
- hp = 550 ft lbf/s = 745.69987158 W (mechanical); PS = 75 kgf m/s = 735.49875 W
- inH2O = 249.08891 Pa, mmH2O = 9.80665 Pa: the conventional columns of SP 811, water of
  exactly 1000 kg/m3. Water at 4 degC (39.2 degF) gives 249.082 Pa (same table), 0.003 % less
- inHg = 3386.38864 Pa, mmHg = 133.322387 Pa: conventional, mercury of 13595.1 kg/m3
- degC: K = degC + 273.15; degF: K = (degF + 459.67) x 5/9
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from numbers import Real
from types import MappingProxyType

from panelcp.errors import QuantityError

_INCH = Fraction("0.0254")
_FOOT = 12 * _INCH
_POUND = Fraction("0.45359237")
_GRAVITY = Fraction("9.80665")
_POUND_FORCE = _POUND * _GRAVITY
_MERCURY = Fraction("13595.1")
_LITRE = Fraction(1, 1000)
_US_GALLON = 231 * _INCH**3
_IMPERIAL_GALLON = Fraction("0.00454609")
_TURN = Fraction(math.tau)
_MINUTE, _HOUR = 60, 3600

# The first unit of each kind is its SI unit (angle: the degree) and has the factor 1.
_FACTORS: dict[str, dict[str, Fraction | int]] = {
    "length": {
        "m": 1,
        "mm": Fraction(1, 10**3),
        "cm": Fraction(1, 10**2),
        "km": 1000,
        "in": _INCH,
        "ft": _FOOT,
    },
    "area": {
        "m2": 1,
        "mm2": Fraction(1, 10**6),
        "cm2": Fraction(1, 10**4),
        "in2": _INCH**2,
        "ft2": _FOOT**2,
    },
    "volume": {
        "m3": 1,
        "cm3": Fraction(1, 10**6),
        "l": _LITRE,
        "in3": _INCH**3,
        "ft3": _FOOT**3,
        "US gal": _US_GALLON,
        "imp gal": _IMPERIAL_GALLON,
    },
    "speed": {
        "m/s": 1,
        "kt": Fraction(1852, _HOUR),
        "km/h": Fraction(1000, _HOUR),
        "mph": 5280 * _FOOT / _HOUR,
        "ft/s": _FOOT,
        "ft/min": _FOOT / _MINUTE,
    },
    "pressure": {
        "Pa": 1,
        "hPa": 100,
        "kPa": 1000,
        "mbar": 100,
        "bar": 10**5,
        "psi": _POUND_FORCE / _INCH**2,
        "inH2O": 1000 * _GRAVITY * _INCH,
        "mmH2O": _GRAVITY,
        "inHg": _MERCURY * _GRAVITY * _INCH,
        "mmHg": _MERCURY * _GRAVITY / 1000,
    },
    "angle": {"deg": 1, "rad": Fraction(math.degrees(1.0))},
    "temperature": {"K": 1, "degC": 1, "degF": Fraction(5, 9)},
    "temperature difference": {"K": 1, "degC": 1, "degF": Fraction(5, 9)},
    "power": {"W": 1, "kW": 1000, "hp": 550 * _FOOT * _POUND_FORCE, "PS": 75 * _GRAVITY},
    "mass": {"kg": 1, "g": Fraction(1, 1000), "t": 1000, "lb": _POUND, "oz": _POUND / 16},
    "mass flow": {
        "kg/s": 1,
        "g/s": Fraction(1, 1000),
        "kg/min": Fraction(1, _MINUTE),
        "kg/h": Fraction(1, _HOUR),
        "lb/s": _POUND,
        "lb/min": _POUND / _MINUTE,
        "lb/h": _POUND / _HOUR,
    },
    "volume flow": {
        "m3/s": 1,
        "m3/min": Fraction(1, _MINUTE),
        "m3/h": Fraction(1, _HOUR),
        "l/s": _LITRE,
        "l/min": _LITRE / _MINUTE,
        "l/h": _LITRE / _HOUR,
        "ft3/s": _FOOT**3,
        "ft3/min": _FOOT**3 / _MINUTE,
        "US gal/min": _US_GALLON / _MINUTE,
        "US gal/h": _US_GALLON / _HOUR,
        "imp gal/h": _IMPERIAL_GALLON / _HOUR,
    },
    "time": {"s": 1, "min": _MINUTE, "h": _HOUR},
    "density": {"kg/m3": 1, "kg/l": 1000, "g/cm3": 1000, "lb/ft3": _POUND / _FOOT**3},
    "rotational speed": {"rad/s": 1, "rpm": _TURN / _MINUTE, "rev/s": _TURN},
    "force": {"N": 1, "kN": 1000, "lbf": _POUND_FORCE, "kgf": _GRAVITY},
    "energy": {
        "J": 1,
        "kJ": 10**3,
        "MJ": 10**6,
        "Wh": _HOUR,
        "kWh": 1000 * _HOUR,
        "BTU": Fraction("1055.05585262"),
    },
    "conductance": {"W/K": 1, "kW/K": 1000},
    "specific heat": {"J/(kg K)": 1, "kJ/(kg K)": 1000},
    "fraction": {"": 1, "%": Fraction(1, 100)},
    "number": {"": 1},
}
# Kelvin = (number + offset) x factor.
_OFFSETS = {"temperature": {"degC": Fraction("273.15"), "degF": Fraction("459.67")}}

UNITS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        kind: MappingProxyType({unit: float(factor) for unit, factor in factors.items()})
        for kind, factors in _FACTORS.items()
    }
)
"""kind -> unit -> factor to SI; the first unit of each kind is the SI one, "" is a bare number.
The kind "temperature" has zero points besides, which only the functions below apply."""

_METRIC = {
    "length": "mm",
    "area": "cm2",
    "volume": "l",
    "temperature": "degC",
    "power": "kW",
    "rotational speed": "rpm",
    "energy": "kJ",
}
_COCKPIT = {
    "length": "in",
    "area": "in2",
    "volume": "US gal",
    "speed": "kt",
    "pressure": "inH2O",
    "temperature": "degF",
    "temperature difference": "degF",
    "power": "hp",
    "mass": "lb",
    "mass flow": "lb/s",
    "volume flow": "ft3/min",
    "time": "min",
    "density": "lb/ft3",
    "rotational speed": "rpm",
    "force": "lbf",
    "energy": "BTU",
}
UNIT_SETS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        name: MappingProxyType({kind: chosen.get(kind, next(iter(UNITS[kind]))) for kind in UNITS})
        for name, chosen in {"metric": _METRIC, "cockpit": _COCKPIT}.items()
    }
)
"""The unit sets that displays offer: "metric" or "cockpit" -> kind -> unit."""

_WHOLE_ALIASES = {
    "1/min": "rpm",
    "rev/min": "rpm",
    "r/min": "rpm",
    "min-1": "rpm",
    "fpm": "ft/min",
    "cfm": "ft3/min",
    "kph": "km/h",
    "kmh": "km/h",
    "percent": "%",
    "pct": "%",
}
_ALIASES = {
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
    "metre": "m",
    "meter": "m",
    "millimetre": "mm",
    "millimeter": "mm",
    "litre": "l",
    "liter": "l",
    "us gallon": "US gal",
    "imperial gallon": "imp gal",
    "cc": "cm3",
    "ccm": "cm3",
    "knot": "kt",
    "kn": "kt",
    "pascal": "Pa",
    "degree": "deg",
    "radian": "rad",
    "kelvin": "K",
    "c": "degC",
    "celsius": "degC",
    "f": "degF",
    "fahrenheit": "degF",
    "watt": "W",
    "kilowatt": "kW",
    "horsepower": "hp",
    "bhp": "hp",
    "newton": "N",
    "joule": "J",
    "kilogram": "kg",
    "gram": "g",
    "tonne": "t",
    "pound": "lb",
    "ounce": "oz",
    "sec": "s",
    "second": "s",
    "minute": "min",
    "hr": "h",
    "hour": "h",
}
# "kn" is the knot for a speed and the kilonewton for a force; a kind takes only its own units.
_PIECES = {
    piece.casefold()
    for factors in _FACTORS.values()
    for unit in factors
    for piece in unit.split("/")
}
_MILLI_UNITS = frozenset({"mm", "mm2", "mbar", "mmH2O", "mmHg"})
_COMPOUNDS = {"length": {"ft": "in"}, "time": {"h": "min", "min": "s"}}
_CHARACTERS = str.maketrans(
    {
        "−": "-",
        "⁄": "/",
        "°": " deg ",
        "º": " deg ",
        "℃": " degC",
        "℉": " degF",
        "′": "'",
        "’": "'",
        "″": '"',
        "”": '"',
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
    }
)
_RAISED = {"²": "2", "³": "3", "₂": "2", "⁻¹": "-1"}
_NUMBER = re.compile(
    r"(?:(?P<whole>\d+) )?(?P<top>\d+)/(?P<bottom>\d+)"
    r"|(?P<decimal>(?:\d+(?:\.\d*|,\d+)?|[.,]\d+)(?:e[+-]?\d{1,3}(?!\d))?)",
    re.ASCII | re.IGNORECASE,
)
_AIRSPEED_WORD = re.compile(r"(?:k|kts?|kn|knots?|m|mph|km/h)? ?[tice]as", re.IGNORECASE)
_GALLON_WORD = re.compile(r"gal(?:lon)?s?(?:/.*)?|gp[hm]", re.IGNORECASE)
_LONGEST = 100


class _Unreadable(Exception):
    """Why a text cannot be read; becomes a QuantityError at the door."""


def parse_quantity(text: str | float, kind: str) -> float:
    """Read a number with its unit as SI (angles in degrees, temperatures in kelvin).

    Parameters
    ----------
    text : str, or a plain number for the kinds "fraction" and "number"
        Number and unit: "62 kt", "1 1/2 in", 5'6", "8 min 30 s", "-4 degC", "60 %". Decimal
        point, or one decimal comma that is not followed by exactly three digits. Any letter
        case, except where it would decide between milli and mega.
    kind : str, a key of `UNITS`; "mass_flow" is the same as "mass flow"

    Returns
    -------
    float
        The correctly rounded SI value, finite.

    Raises
    ------
    QuantityError : text that cannot be read; the one line says what was read, for which kind,
        why not, and which units are allowed
    ValueError : unknown kind (a mistake of the program)

    Notes
    -----
    Factors and sources stand in the docstring of the module. A temperature is absolute, a
    "temperature difference" is scaled only: 36 degF is a difference of 20 K.

    Examples
    --------
    >>> parse_quantity("1 1/2 in", "length"), parse_quantity("5'6\\"", "length")
    (0.0381, 1.6764)
    >>> parse_quantity("36 degF", "temperature difference")
    20.0
    >>> parse_quantity("350", "length")
    Traceback (most recent call last):
    panelcp.errors.QuantityError: cannot read '350' as a length: put a unit behind it;
    units allowed: m, mm, cm, km, in, ft
    """
    kind = _known_kind(kind)
    try:
        value = _kelvin_or_si(text, kind)
    except _Unreadable as reason:
        shown = repr(text)
        shown = shown if len(shown) <= _LONGEST else shown[:_LONGEST] + "..."
        raise QuantityError(
            f"cannot read {shown} as {_with_article(kind)}: {reason}; "
            f"units allowed: {_allowed_units(kind)}"
        ) from None
    return value


def format_quantity(value: float, kind: str, unit: str | None = None, digits: int = 4) -> str:
    """Text of an SI value in a unit, rounded to significant digits.

    Parameters
    ----------
    value : float, SI (degrees, kelvin), finite
    kind : str, a key of `UNITS`
    unit : str or None, a unit of the kind in any accepted spelling; None takes the metric set
    digits : int, significant digits, at least 1; zeros at the end of decimals are left out

    Returns
    -------
    str
        Readable again by `parse_quantity`.

    Raises
    ------
    QuantityError : a value that is not finite, or a unit that does not belong to the kind
    ValueError : unknown kind, or digits below 1

    Examples
    --------
    >>> format_quantity(31.8956, "speed", "kt"), format_quantity(0.0254, "length")
    ('62 kt', '25.4 mm')
    >>> format_quantity(996.3556, "pressure", UNIT_SETS["cockpit"]["pressure"], digits=2)
    '4 inH2O'
    >>> format_quantity(0.6, "fraction", "%")
    '60 %'
    """
    kind = _known_kind(kind)
    if digits < 1:
        raise ValueError(f"digits is {digits}; expected 1 or more")
    if not math.isfinite(value):
        raise QuantityError(f"cannot write {value!r} as {_with_article(kind)}: it is not finite")
    wanted = UNIT_SETS["metric"][kind] if unit is None else _find_unit(_cleaned(unit), kind)
    if wanted is None:
        raise QuantityError(
            f"cannot write {_with_article(kind)} in {unit!r}; units allowed: {_allowed_units(kind)}"
        )
    number = Fraction(value) / _FACTORS[kind][wanted] - _offset(kind, wanted)
    return f"{_significant(float(number), digits)} {wanted}".rstrip()


def si_unit(kind: str) -> str:
    """Name of the unit in which the program holds a kind; "" for a bare number.

    Parameters
    ----------
    kind : str, a key of `UNITS`

    Returns
    -------
    str

    Raises
    ------
    ValueError : unknown kind

    Examples
    --------
    >>> si_unit("pressure"), si_unit("angle"), si_unit("fraction")
    ('Pa', 'deg', '')
    """
    return next(iter(_FACTORS[_known_kind(kind)]))


def _known_kind(kind):
    spaced = kind.replace("_", " ")
    if spaced not in _FACTORS:
        raise ValueError(f"unknown kind of quantity {kind!r}; known: {', '.join(_FACTORS)}")
    return spaced


def _with_article(kind):
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _allowed_units(kind):
    return ", ".join(unit or "none (a bare number)" for unit in _FACTORS[kind])


def _offset(kind, unit):
    return _OFFSETS.get(kind, {}).get(unit, 0)


def _kelvin_or_si(text, kind):
    """SI value of a text or a plain number, checked to be finite and physical."""
    if isinstance(text, Real) and not isinstance(text, bool):
        if "" not in _FACTORS[kind]:
            raise _Unreadable("put a unit behind it, in quotes")
        exact = text
    elif isinstance(text, str):
        exact = _read_signed(text, kind)
    else:
        raise _Unreadable(f"expected a text with a number, got {type(text).__name__}")
    try:
        value = float(exact)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise _Unreadable("it is not a finite number")
    if kind == "temperature" and value < 0.0:
        raise _Unreadable("it is below absolute zero")
    return value


def _cleaned(text):
    """Text in the characters of the tables, spaces collapsed."""
    text = text.translate(_CHARACTERS)
    for raised, plain in _RAISED.items():
        text = re.sub(rf"(?<=[A-Za-z]){raised}", plain, text)
    text = re.sub(r"(?<=[A-Za-z]) ?(?:\^|\*\*) ?(?=-?\d)", "", text)
    text = " ".join(re.sub(r"(?<=[A-Za-z])\.(?=\s|$)", " ", text).split())
    return re.sub(r" ?/ ?| per ", "/", text)


def _read_signed(text, kind):
    if len(text) > _LONGEST:
        raise _Unreadable(f"it is longer than {_LONGEST} characters")
    sign, unsigned = re.fullmatch(r"([+-]?) ?(.*)", _cleaned(text)).groups()
    number, unit, rest = _read_part(unsigned, kind)
    number += _offset(kind, unit) * (-1 if sign == "-" else 1)
    return (-1 if sign == "-" else 1) * (number * _FACTORS[kind][unit] + rest)


def _read_part(text, kind):
    """Number, unit and the SI value of what follows: 5, "ft" and 6 inches for 5'6"."""
    match = _NUMBER.match(text)
    if match is None:
        raise _Unreadable("it does not begin with a number" if text else "it is empty")
    number = _number(match)
    written = text[match.end() :].strip()
    if written[:1] in (".", ","):
        raise _Unreadable("it has a second decimal mark")
    if not written and "" not in _FACTORS[kind]:
        raise _Unreadable("put a unit behind it")
    unit = _find_unit(written, kind)
    if unit is not None:
        return number, unit, 0
    return number, *_read_compound(number, written, kind)


def _number(match):
    if match["decimal"] is None:
        return _mixed_fraction(match)
    decimal = match["decimal"]
    if re.search(r",\d{3}(?!\d)", decimal):
        plain = decimal.replace(",", "")
        raise _Unreadable(
            f"is the comma a decimal mark? Write {decimal.replace(',', '.')} or {plain}"
        )
    return Fraction(decimal.replace(",", ".").rstrip("."))


def _mixed_fraction(match):
    top, bottom = int(match["top"]), int(match["bottom"])
    if bottom == 0:
        raise _Unreadable("the fraction divides by zero")
    if match["whole"] and top >= bottom:
        raise _Unreadable("the fraction behind the whole number is not below 1")
    return int(match["whole"] or 0) + Fraction(top, bottom)


def _read_compound(number, written, kind):
    """Unit of the first part and SI value of the second, as in 5 ft 6 in or 1 h 30 min."""
    match = re.fullmatch(r"(?P<unit>[A-Za-z]+|')[ -]?(?P<tail>[\d.].*)", written, re.ASCII)
    unit = _find_unit(match["unit"], kind) if match else None
    following = _COMPOUNDS.get(kind, {}).get(unit)
    if following is None:
        raise _Unreadable(_unit_hint(written, kind))
    tail_number, tail_unit, rest = _read_part(match["tail"], kind)
    tail = tail_number * _FACTORS[kind][tail_unit] + rest
    if tail_unit != following or number.denominator != 1 or tail >= _FACTORS[kind][unit]:
        raise _Unreadable(f"expected whole {unit} and less than one {unit} in {following}")
    return unit, tail


def _unit_hint(written, kind):
    if _AIRSPEED_WORD.fullmatch(written):
        return (
            "write only the unit, such as kt; the name of the entry says whether the "
            "airspeed is true or calibrated"
        )
    if _GALLON_WORD.fullmatch(written):
        return "which gallon? Write US gal or imp gal"
    if re.match(r"\d", written, re.ASCII):
        return "write the number without spaces or thousands marks"
    in_doubt = [spelled for spelled, unit in _matches(written, kind) if _in_doubt(spelled, unit)]
    if in_doubt:
        return f"{in_doubt[0]!r} may be milli or mega; write the letters in their own case"
    others = [other for other in _FACTORS if _find_unit(written, other)]
    if others:
        return f"{written!r} is a unit of {' or '.join(others)}"
    return f"the unit {written!r} is not known here"


def _find_unit(written, kind):
    """The unit of the kind that was written, or None."""
    if written in _FACTORS[kind]:
        return written
    matches = _matches(written, kind)
    return next((unit for spelled, unit in matches if not _in_doubt(spelled, unit)), None)


def _matches(written, kind):
    """Spellings of what was written, each with a unit that differs in letter case at most."""
    return [
        (spelled, unit)
        for spelled in (written, _respelled(written))
        for unit in _FACTORS[kind]
        if unit.casefold() == spelled.casefold()
    ]


def _in_doubt(spelled, unit):
    """Whether the letter case would decide between milli and mega."""
    if unit[:1] == "M":
        return spelled[0] == "m"
    return unit in _MILLI_UNITS and spelled[0] == "M" and not spelled.isupper()


def _respelled(unit):
    """Unit with words, marks and plurals replaced by the spelling of the tables."""
    if unit.casefold() in _WHOLE_ALIASES:
        return _WHOLE_ALIASES[unit.casefold()]
    unit = re.sub(r"^deg(?:ree)?s? (?=(?:[cfk]|celsius|fahrenheit)$)", "", unit, flags=re.I)
    power = re.fullmatch(r"(sq|square|cu|cubic) ([a-z]+)", unit, re.I)
    if power:
        return _piece(power[2]) + ("2" if power[1][0] in "sS" else "3")
    column = re.fullmatch(r'(mm|in|inch|inches|") ?(?:of )?(h2o|water|hg|mercury)', unit, re.I)
    if column:
        length = "mm" if column[1] in ("mm", "MM") else "in"
        return length + ("H2O" if column[2].casefold() in ("h2o", "water") else "Hg")
    return "/".join(_piece(piece) for piece in unit.split("/"))


def _piece(piece):
    folded = piece.casefold()
    singular = folded[:-1] if folded.endswith("s") and len(folded) > 2 else folded
    for word in (folded, singular):
        if word in _ALIASES:
            return _ALIASES[word]
    return piece[:-1] if folded not in _PIECES and singular in _PIECES else piece


def _significant(number, digits):
    """Decimal text, with a power of ten only for very small or large numbers."""
    scientific = f"{number:.{digits - 1}e}"
    if 1e-4 <= abs(float(scientific)) < 1e7:
        return _without_end_zeros(format(Decimal(scientific), "f"))
    mantissa, exponent = scientific.split("e")
    if float(mantissa) == 0.0:
        return "0"
    return f"{_without_end_zeros(mantissa)}e{int(exponent)}"


def _without_end_zeros(text):
    return text.rstrip("0").rstrip(".") if "." in text else text
