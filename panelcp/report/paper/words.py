"""Numbers in both sets of units, and names of fitting length, as the paper writes them."""

from __future__ import annotations

from panelcp.report.tables import IN_H2O
from panelcp.units import UNITS

INCH, FOOT, KNOT = (float(UNITS[k][u]) for k, u in (("length", "in"), ("length", "ft"),
                                                    ("speed", "kt")))  # fmt: skip
IN2 = float(UNITS["area"]["in2"])


def signed(text: str) -> str:
    """A number with a true minus sign, none before nothing.

    Examples
    --------
    >>> signed("-0.0"), signed("-12")
    ('0.0', '−12')
    """
    if text.startswith("-") and not text.strip("-0."):
        text = text[1:]
    return text.replace("-", "−")


def told(value, digits: int = 0, unknown: str = "") -> str:
    """A number with so many decimals; `unknown` where there is none.

    Examples
    --------
    >>> told(12.34, 1), told(None), told(float("nan"), 1, "?")
    ('12.3', '', '?')
    """
    if value is None or value != value or abs(value) == float("inf"):
        return unknown
    return signed(f"{value:.{digits}f}")


def inches(metres: float, digits: int = 2) -> str:
    """A length in inches, without its unit.

    Examples
    --------
    >>> inches(0.254), inches(-0.1)
    ('10.00', '−3.94')
    """
    return signed(f"{metres / INCH:.{digits}f}")


def in_h2o(pascal: float) -> str:
    """A pressure in inches of water, without its unit.

    Examples
    --------
    >>> in_h2o(249.08891), in_h2o(-1000.0)
    ('1.00', '−4.01')
    """
    return told(pascal / IN_H2O, 2)


def both_pressures(pascal: float) -> str:
    """A pressure in Pa and inH2O.

    Examples
    --------
    >>> both_pressures(450.0)
    '450 Pa (1.81 inH2O)'
    """
    return f"{told(pascal)} Pa ({in_h2o(pascal)} inH2O)"


def shortened(text: str, letters: int) -> str:
    """A text, or its beginning with an ellipsis.

    Examples
    --------
    >>> shortened("a long name", 7)
    'a long…'
    """
    return text if len(text) <= letters else text[: letters - 1].rstrip() + "…"
