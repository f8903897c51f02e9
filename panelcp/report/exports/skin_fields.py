"""What is known at every panel, each with a name that says condition, quantity and unit.

Names are "01 tow, hot day: gauge pressure Pa". The number in front is that of the condition, so
that lists in order of the alphabet keep the order of the case, and names are told apart whatever
the conditions are called. Numbers that stand for words (state of the air, region, opening) and
the figures of the conditions are in the key: name -> number, such as "region 3 is cowl" -> 3,
because texts as data are refused by some general-purpose readers.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import numpy as np

from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.flow.superposition import SurfaceFlow, unit_weights
from panelcp.report import places
from panelcp.report.contents import AirContents
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening, panel_cover

NOTES = (
    "Lengths m; axes x aft (station), y to the right wing (butt line), z up (waterline).",
    "Every value belongs to a whole panel and is that at its control point; at corners the "
    "pressure may jump across a sharp edge, so no values of points are given.",
    "Gauge pressure is against outside air at the same height; Cp is gauge pressure over the "
    "dynamic pressure of the free stream. Both hold what separated air adds, as the maps do.",
    "In a slipstream it is not known which air wets the skin: pressure, Cp and rise of total "
    "pressure are in the middle between the bounds; velocity is that with the air of the "
    "undisturbed radius, so Cp does not follow from it there. Behind separation it is that of "
    "attached air.",
    "Deviations are one standard deviation, or half the width of the band of separated air; the "
    "model error of Cp, which goes by region, is not in them: see marks in summary.json.",
)
"""What a reader of the fields must know."""


@dataclass(frozen=True, eq=False)
class SkinField:
    """One field over the panels.

    Attributes
    ----------
    name : with condition and unit
    values : (n_panels,) or (n_panels, 3), float or int
    """

    name: str
    values: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "values", frozen_array(self.values, np.asarray(self.values).dtype))


def flow_of(source: AirContents | SurfaceFlow) -> SurfaceFlow:
    """The flow of a run, or the flow itself."""
    return source if isinstance(source, SurfaceFlow) else source.flow


def plain_name(text: str) -> str:
    """A name without letters that cannot be seen, its gaps single.

    Examples
    --------
    >>> plain_name("tow,  hot\\tday\\u202e")
    'tow, hot day'
    """
    seen = (" " if letter.isspace() else letter for letter in text)
    kept = [letter for letter in seen if unicodedata.category(letter) not in ("Cc", "Cf", "Cs")]
    return " ".join("".join(kept).split())


def condition_label(flow: SurfaceFlow, c: int) -> str:
    """Number and name of a condition, the number as long as that of the last one.

    Numbers begin with 1 and have two digits at least.
    """
    digits = max(2, len(str(len(flow.conditions))))
    return f"{c + 1:0{digits}d} {plain_name(flow.conditions[c].name)}"


def felt_pressure(flow: SurfaceFlow) -> np.ndarray:
    """(n_conditions, n_panels) float, Pa: gauge pressure with what separated air adds."""
    return flow.gauge_pressure + flow.separation_change


def total_pressure_rise(flow: SurfaceFlow) -> np.ndarray:
    """Rise of total pressure over that of the free stream, of the air that wets the skin.

    Returns
    -------
    (n_conditions, n_panels) float, Pa, in the middle between its bounds; zero without slipstream
    """
    return flow.wetting * flow.total_pressure - flow.dynamic_pressure[:, None]


def slipstream_deviation(flow: SurfaceFlow) -> np.ndarray:
    """How well the pressure is known for not knowing which air of the slipstream is there.

    Returns
    -------
    (n_conditions, n_panels) float, Pa: bounds of the wetting, and the total pressure of the air of
    one radius, of which the skin feels the part that its own pressure has of the total
    """
    total = flow.wetting * flow.total_pressure
    felt = np.divide(flow.gauge_pressure, total, out=np.ones_like(total), where=total > 0.0)
    return np.hypot(flow.wetting_deviation, np.clip(felt, -1.0, 1.0) * flow.head_deviation)


def condition_fields(source: AirContents | SurfaceFlow) -> list[SkinField]:
    """Fields of every condition; one that is nothing in all conditions is left out.

    Parameters
    ----------
    source : RunContents or AirContents, or a SurfaceFlow alone, which knows neither layers nor
        source strengths

    Returns
    -------
    list of SkinField, by condition and in the same order in each
    """
    flow = flow_of(source)
    pressure, q = felt_pressure(flow), flow.dynamic_pressure
    blocks = [
        ("Cp", np.divide(pressure, q[:, None], out=_nothing(flow), where=q[:, None] > 0.0)),
        ("gauge pressure Pa", pressure),
        ("velocity m/s", flow.velocity),
        ("air state", getattr(source, "skin_state", None)),
        ("layer thickness m", getattr(source, "skin_thickness", None)),
        ("total pressure rise Pa", _if_any(total_pressure_rise(flow), 1e-6 * q.max(initial=1.0))),
        ("pressure added by separated air Pa", _if_any(flow.separation_change)),
        ("pressure deviation by slipstream Pa", _if_any(slipstream_deviation(flow))),
        ("pressure deviation by separated air Pa", _if_any(flow.separation_deviation)),
        ("source strength m/s", _source_strength(source)),
    ]
    return [
        SkinField(f"{condition_label(flow, c)}: {quantity}", block[c])
        for c in range(len(flow.conditions))
        for quantity, block in blocks
        if block is not None and not (quantity == "Cp" and q[c] == 0.0)
    ]


def _nothing(flow: SurfaceFlow) -> np.ndarray:
    return np.full(flow.gauge_pressure.shape, np.nan)


def _if_any(block: np.ndarray, least: float = 0.0) -> np.ndarray | None:
    """The values, or None where none is greater than what rounding leaves."""
    return block if (np.abs(block) > least).any() else None


def _source_strength(source) -> np.ndarray | None:
    """(n_conditions, n_panels) float, m/s: sums of the unit solutions, closed skin."""
    if isinstance(source, SurfaceFlow):
        return None
    strength = np.zeros(source.flow.gauge_pressure.shape)
    for part in source.solutions.parts:
        weights = unit_weights(part.units, part.onset, {})
        strength[list(part.numbers)] = weights @ part.units.source_strength
    return strength


def lasting_fields(source: AirContents | SurfaceFlow) -> list[SkinField]:
    """Fields that do not change with the condition: area, normal, region, opening.

    Returns
    -------
    list of SkinField: area and normal are those of the flat triangle; the opening is that which
    covers most of the panel, 0 where none does
    """
    flow = flow_of(source)
    surface = flow.surface
    fields = [
        SkinField("area m2", surface.areas),
        SkinField("normal", surface.normals),
        SkinField("region", surface.region_index),
    ]
    openings = shown_openings(source)
    if openings:
        cover = opening_cover(surface, openings)
        number = np.where(cover.max(axis=0) > 0.0, cover.argmax(axis=0) + 1, 0)
        fields.append(SkinField("opening", number))
        fields.append(SkinField("part of panel inside opening", cover.max(axis=0)))
    return fields


def shown_openings(source: AirContents | SurfaceFlow) -> list[Opening]:
    """Openings of the case, of the best places and the best combinations, each once."""
    return [] if isinstance(source, SurfaceFlow) else places.shown_openings(source)


def opening_cover(surface: SurfaceMesh, openings: list[Opening]) -> np.ndarray:
    """(n_openings, n_panels) float: part of every panel inside each opening, twins included."""
    cover = np.zeros((len(openings), surface.n_panels))
    for k, opening in enumerate(openings):
        for one in (opening, opening.twin):
            if one is not None:
                cover[k] = np.maximum(cover[k], panel_cover(surface, one))
    return cover


def key(source: AirContents | SurfaceFlow) -> list[tuple[str, float]]:
    """What numbers mean, and the figures of the conditions.

    Returns
    -------
    list of (name, number), names unique
    """
    flow = flow_of(source)
    rows: list[tuple[str, float]] = []
    if getattr(source, "skin_state", None) is not None:
        rows += [(f"air state {n} is {word}", n) for n, word in sorted(STATE_NAMES.items())]
    names = enumerate(flow.surface.region_names)
    rows += [(f"region {k} is {plain_name(name)}", k) for k, name in names]
    shown = enumerate(shown_openings(source), start=1)
    rows += [(f"opening {k} is {plain_name(opening.name)}", k) for k, opening in shown]
    for c, condition in enumerate(flow.conditions):
        figures = (
            ("dynamic pressure Pa", condition.dynamic_pressure),
            ("true airspeed m/s", condition.speed),
            ("angle of attack or attitude deg", _angle(condition)),
            ("sideslip deg", condition.beta),
            ("density kg/m3", condition.air.density),
            ("mean total pressure rise of the propeller Pa", flow.mean_rise[c]),
            ("predicted (1) or sign only (0)", float(flow.predicted[c])),
        )
        label = condition_label(flow, c)
        rows += [(f"{label}: {name}", float(value)) for name, value in figures]
    return rows


def _angle(condition) -> float:
    return (condition.attitude or 0.0) if condition.on_ground else condition.alpha
