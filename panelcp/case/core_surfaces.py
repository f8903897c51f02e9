"""The compact surface of a core, from which its pressure drop and conductance are worked out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from panelcp.atmosphere import GAS_CONSTANT, Air, standard_air
from panelcp.case.schema import Entry, band, choice, inline_table, list_of, quantity
from panelcp.cooling.conductance import AIR_RESISTANCE_SHARE, ConductanceLaw
from panelcp.cooling.core_laws import FREE_SHARE, DropLaw, core_drop, fit_drop_law
from panelcp.cooling.loads import AIR_SPECIFIC_HEAT
from panelcp.cooling.surfaces import (
    FIN_GEOMETRIES,
    TUBE_BANKS,
    SurfaceTable,
    heat_transfer_coefficient,
    surface_efficiency,
)
from panelcp.errors import QuantityError
from panelcp.quantity import UncertainValue

FACE_SPEEDS = np.array([2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0])
"""m/s; the law is fitted through what the surface gives there."""
CONTRACTION = UncertainValue(0.4, 0.3, 0.5, "memory", "entrance of a plate-fin core", "number")
EXPANSION = UncertainValue(0.2, 0.1, 0.3, "memory", "exit of a plate-fin core", "number")

_SIZE = quantity("length", above=0.0)
_NUMBERS = list_of(quantity("number", above=0.0))
SURFACE = {
    "table": Entry(choice(*TUBE_BANKS)),
    "reynolds": Entry(_NUMBERS),
    "friction": Entry(_NUMBERS),
    "colburn": Entry(_NUMBERS),
    "fins": Entry(choice(*FIN_GEOMETRIES)),
    "hydraulic_diameter": Entry(_SIZE),
    "plate_spacing": Entry(_SIZE),
    "fin_thickness": Entry(_SIZE),
    "fin_share": Entry(quantity("fraction", least=0.0, most=1.0)),
    "free_share": Entry(band("fraction", least=0.05, most=1.0), default=FREE_SHARE),
}
_FIN_KEYS = ("plate_spacing", "fin_thickness", "fin_share")


@dataclass(frozen=True, eq=False)
class CoreSurface:
    """Surface of the air side of a core.

    Attributes
    ----------
    table : SurfaceTable, f and j
    hydraulic_diameter : m
    free_share : free-flow area over face area
    plate_spacing, fin_thickness, fin_share : of its fins; share 0 for bare tubes
    """

    table: SurfaceTable
    hydraulic_diameter: float
    free_share: UncertainValue
    plate_spacing: float = 1.0
    fin_thickness: float = 1.0
    fin_share: float = 0.0

    def reynolds(self, face_speed, air: Air) -> np.ndarray:
        """Reynolds number of the hydraulic diameter at face speeds, m/s."""
        flux = air.density * np.asarray(face_speed) / self.free_share.value
        return flux * self.hydraulic_diameter / air.viscosity

    def speeds(self, air: Air) -> np.ndarray:
        """Face speeds, of `FACE_SPEEDS`, within the measured Reynolds numbers.

        Raises
        ------
        QuantityError : fewer than two
        """
        good = FACE_SPEEDS[~self.table.outside(self.reynolds(FACE_SPEEDS, air))]
        if len(good) < 2:
            first, last = self.reynolds(FACE_SPEEDS[[0, -1]], air)
            raise QuantityError(
                f"surface: Reynolds numbers {self.table.reynolds[0]:g} to "
                f"{self.table.reynolds[-1]:g}, but face speeds of {FACE_SPEEDS[0]:g} to "
                f"{FACE_SPEEDS[-1]:g} m/s need {first:.0f} to {last:.0f}; look at "
                "hydraulic_diameter, or give more points"
            )
        return good

    def drop_law(self, depth: float, air: Air) -> DropLaw:
        """Law through the drops, without heating, at the face speeds of `speeds`.

        Parameters
        ----------
        depth : m, of the core
        air : of the test that this stands for
        """
        speeds = self.speeds(air)
        friction = self.table.friction_at(self.reynolds(speeds, air))
        drop = core_drop(
            air.density * speeds / self.free_share.value,
            air.density,
            air.density,
            self.free_share.value,
            CONTRACTION.value,
            EXPANSION.value,
            friction,
            4.0 * depth / self.hydraulic_diameter,
        )
        source = f"from the surface {self.table.name}"
        mark = self.table.mark
        return fit_drop_law(speeds, drop, air.density, air.viscosity, mark, source)

    def conductance_law(
        self, depth: float, face_area: float, other_flow: float, air: Air
    ) -> ConductanceLaw:
        """Conductance at the middle of the face speeds.

        Parameters
        ----------
        depth, face_area : m and m2, of the core
        other_flow : kg/s, of what it cools

        Notes
        -----
        Air side: efficiency h A, A = 4 free_share face_area depth / D by the definition of the
        hydraulic diameter. The other side is not known: the air side has `AIR_RESISTANCE_SHARE` of
        the resistance. The exponent is the slope of the air side between the ends of the speeds.
        """
        speeds = self.speeds(air)[[0, -1]]
        middle = float(np.sqrt(speeds[0] * speeds[1]))
        side = self._air_side(np.array([*speeds, middle]), depth, face_area, air)
        exponent = float(np.log(side[1] / side[0]) / np.log(speeds[1] / speeds[0]))
        return ConductanceLaw(
            float(side[2]) * AIR_RESISTANCE_SHARE.value,
            air.density * middle * face_area,
            other_flow,
            air_exponent=exponent,
        )

    def _air_side(self, speed, depth, face_area, air):
        """Conductance, W/K, of the air side alone at face speeds."""
        free = self.free_share.value
        colburn = self.table.colburn_at(self.reynolds(speed, air))
        coefficient = heat_transfer_coefficient(
            colburn, air.density * speed / free, AIR_SPECIFIC_HEAT
        )
        efficiency = surface_efficiency(
            coefficient, 0.5 * self.plate_spacing, self.fin_thickness, self.fin_share
        )
        return efficiency * coefficient * 4.0 * free * face_area * depth / self.hydraulic_diameter


def air_of_test(temperature: float, pressure: float) -> Air:
    """Air of a temperature, K, and absolute pressure, Pa.

    Examples
    --------
    >>> round(air_of_test(288.15, 101325.0).density, 4)
    1.225
    """
    air = standard_air(0.0, temperature=temperature)
    return replace(air, pressure=pressure, density=pressure / (GAS_CONSTANT * temperature))


def read_surface(raw) -> CoreSurface:
    """Reader of the entry `surface` of a core.

    Raises
    ------
    QuantityError : no table of f and j or two, no hydraulic diameter, fins half given
    """
    values = inline_table(SURFACE)(raw)
    own = [values[key] for key in ("reynolds", "friction", "colburn")]
    whole = all(numbers is not None for numbers in own)
    if (values["table"] is not None) == any(numbers is not None for numbers in own) or not (
        whole or values["table"] is not None
    ):
        raise QuantityError(
            "give either reynolds, friction and colburn, three lists of one length, or table, one "
            f"of {', '.join(TUBE_BANKS)}"
        )
    table = TUBE_BANKS[values["table"]] if values["table"] else SurfaceTable("own", *own)
    geometry = _geometry(values)
    return CoreSurface(table=table, free_share=values["free_share"], **geometry)


def _geometry(values) -> dict[str, Any]:
    known = {}
    if values["fins"] is not None:
        fins = FIN_GEOMETRIES[values["fins"]]
        known = {key: getattr(fins, key) for key in ("hydraulic_diameter", *_FIN_KEYS)}
    given = {key: values[key] for key in ("hydraulic_diameter", *_FIN_KEYS)}
    known |= {key: value for key, value in given.items() if value is not None}
    if "hydraulic_diameter" not in known:
        raise QuantityError("hydraulic_diameter is missing: give it, or fins by their name")
    lacking = [key for key in _FIN_KEYS if key not in known]
    if 0 < len(lacking) < len(_FIN_KEYS):
        raise QuantityError(f"{' and '.join(lacking)} missing: fins need {', '.join(_FIN_KEYS)}")
    return known
