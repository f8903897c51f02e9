"""Sections of ducts as a case gives them: round, rectangular, or an area alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from panelcp.case.schema import Entry, quantity
from panelcp.cooling.ducts import rectangle_diameter
from panelcp.errors import QuantityError

SIZE = quantity("length", above=0.0)
AREA = quantity("area", above=0.0)
_SIZES = ("diameter", "width", "height", "area")


@dataclass(frozen=True)
class Section:
    """Section across a duct.

    Attributes
    ----------
    area : m2
    diameter : m, hydraulic; that of a circle where only the area is known
    width, height : m, of a rectangle, else None
    """

    area: float
    diameter: float
    width: float | None = None
    height: float | None = None

    @property
    def aspect(self) -> float | None:
        """Short over long side of a rectangle, else None."""
        if self.width is None:
            return None
        return min(self.width, self.height) / max(self.width, self.height)

    @classmethod
    def round(cls, area: float) -> Section:
        """A circle of an area."""
        return cls(area, math.sqrt(4.0 * area / math.pi))


def section_entries(ending: str = "") -> dict[str, Entry]:
    """Entries of one section; two sections of a piece end in "_in" and "_out"."""
    return {f"{name}{ending}": Entry(AREA if name == "area" else SIZE) for name in _SIZES}


def read_section(values: dict[str, Any], ending: str = "") -> Section:
    """The section that a piece gives.

    Raises
    ------
    QuantityError : no size, or more than one

    Examples
    --------
    >>> round(read_section({"diameter": 0.1}).area, 6)
    0.007854
    >>> read_section({"width": 0.2, "height": 0.1}).aspect
    0.5
    """
    diameter, width, height, area = (values.get(f"{name}{ending}") for name in _SIZES)
    given = [diameter is not None, width is not None or height is not None, area is not None]
    if sum(given) != 1 or (width is None) != (height is None):
        raise QuantityError(
            f"give the section once: diameter{ending}, or width{ending} and height{ending}, or "
            f"area{ending}"
        )
    if diameter is not None:
        return Section(0.25 * math.pi * diameter**2, diameter)
    if area is not None:
        return Section.round(area)
    return Section(width * height, float(rectangle_diameter(width, height)), width, height)
