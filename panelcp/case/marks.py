"""Every uncertain number that a run uses, with its place, band and mark."""

from __future__ import annotations

from panelcp.case.deviations import ANGLE_DEVIATIONS, WIND_DEVIATION
from panelcp.case.preparing import PreparedCase
from panelcp.flow.skin_layers import BASE_PRESSURE, LEE_PRESSURE
from panelcp.placement.exit_air import PLUME_GROWTH
from panelcp.placement.requirement import EXPONENT
from panelcp.placement.spoilers import LIMITS
from panelcp.quantity import UncertainValue


def marks_of(prepared: PreparedCase) -> tuple[tuple[str, UncertainValue], ...]:
    """(place, number) of all of them."""
    case = prepared.case
    marks = [("surface: model error of a patch-mean Cp", case.cp_deviation)]
    marks += [(f"{name}: how well it is known", band) for name, band in ANGLE_DEVIATIONS.items()]
    if any(condition.ground_speed is not None for condition in case.conditions):
        marks.append(("wind on the ground: how well it is known", WIND_DEVIATION))
    marks += [
        (f"region {box.name}: model error of a patch-mean Cp", box.cp_deviation)
        for box in case.regions
        if box.cp_deviation
    ]
    marks += _propeller_marks(case)
    marks.append(("exit air: growth of the plume's half width", PLUME_GROWTH))
    if case.needed:
        marks.append(("engine: needed pressure at full power", case.needed.reference))
        marks.append(("engine: exponent of flow in the core pressure drop", EXPONENT))
    marks += [
        (f"condition {condition.name}: needed pressure", needed)
        for condition, needed in zip(case.conditions, case.needed_pressure, strict=True)
        if needed
    ]
    inlets = [entry for entry in case.openings if entry.use in ("inlet", "both")]
    marks += [(f"opening {entry.name}: recovery fraction", entry.recovery) for entry in inlets]
    marks += [
        (f"search {entry.region.name}: recovery fraction", entry.recovery)
        for entry in case.searches
        if entry.region.use in ("inlet", "both")
    ]
    marks += [(f"what spoils a place: {what}", value) for what, value in LIMITS]
    if case.combinations is not None:
        exits = [o for o in (*prepared.openings, *prepared.candidates) if o.lets_air_out]
        marks += case.combinations.marks(exits)
    if case.installation is not None:
        marks += case.installation.marks
    marks += [
        ("base pressure behind separation, of q and mean rise", BASE_PRESSURE),
        ("pressure in the lee of a wind across, of its own q", LEE_PRESSURE),
    ]
    return tuple(marks)


def _propeller_marks(case) -> list[tuple[str, UncertainValue]]:
    propeller = case.surroundings.propeller
    if propeller is None:
        return []
    return [
        ("propeller: efficiency in fast flight", propeller.efficiency),
        ("propeller: static figure of merit", propeller.figure_of_merit),
        ("propeller: slipstream factor", propeller.factor),
    ]
