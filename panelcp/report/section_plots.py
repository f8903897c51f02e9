"""Plots of pressure along the skin: the centre line, and cuts at a station or along the body."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.errors import FlowError
from panelcp.flow.superposition import SurfaceFlow
from panelcp.onset.conditions import FlightCondition
from panelcp.report.contents import condition_number
from panelcp.report.cut_air import MODEL_ERROR, CutAir, air_on_cut
from panelcp.report.cut_points import NEAR, MeasuredPoint, PlacedPoints, cut_openings, placed_points
from panelcp.report.section_drawing import ShownCut, draw_along, draw_girth, new_cut_figure
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import hatch_levels
from panelcp.surface.opening import Opening

BAND_HOLDS = (
    "Band: one standard deviation of the model error of Cp by region, the slipstream's wetting and "
    "mixing, separated air and the roughness of the mesh; without angles, strength of the "
    "slipstream and panelling, which the bands of the openings hold besides."
)
ESTIMATE = "Estimate from potential flow. Not approved data."


def plot_centre_line(
    flow: SurfaceFlow,
    condition,
    axes=None,
    *,
    deviation: float | np.ndarray | None = None,
    state: np.ndarray | None = None,
    openings: Sequence[Opening] = (),
    landmarks: Sequence[tuple[str, float]] = (),
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    last_station: float | None = None,
    air: CutAir | None = None,
):
    """Pressure along the top and bottom centre line, with the outline of the body to scale below.

    Parameters
    ----------
    flow : SurfaceFlow
    condition : name or number of a condition, or several; the first is thick and has its band
    axes : matplotlib Axes, whose place plot and outline share; on a new figure when not given
    deviation, state : see `air_on_cut`
    openings : laid onto the surface; those that the plane goes through are marked
    landmarks : (name, station in m), as of the firewall
    measured : MeasuredPoint; see `placed_points` for which are shown
    near : m
    last_station : m, end of the axis; the end of the body when not given
    air : CutAir of this plane, when it is there already; `deviation` and `state` are not used then

    Returns
    -------
    matplotlib Axes of the pressure: Cp, or Pa where a condition is on the ground or at rest;
    suction is up

    Raises
    ------
    FlowError : a condition that is not there
    """
    air = air or air_on_cut(flow, "butt line", 0.0, deviation, state)
    end = float(flow.surface.bounds[1, 0]) if last_station is None else float(last_station)
    shown = _shown(air, flow, condition, openings, landmarks, measured, near, end)
    return _plotted(shown, axes)


def plot_section(
    flow: SurfaceFlow,
    condition,
    station: float | None = None,
    axes=None,
    *,
    butt_line: float | None = None,
    waterline: float | None = None,
    deviation: float | np.ndarray | None = None,
    state: np.ndarray | None = None,
    openings: Sequence[Opening] = (),
    landmarks: Sequence[tuple[str, float]] = (),
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    last_station: float | None = None,
    air: CutAir | None = None,
):
    """Pressure round the section at a station, or along a cut at a butt line or waterline.

    Parameters
    ----------
    flow, condition, axes, deviation, state, openings, landmarks, measured, near, last_station,
        air : see `plot_centre_line`
    station, butt_line, waterline : m, one of them. At a station pressure stands against the way
        along the skin from the top centre line, left negative, with a drawing of the section
        beside it; else against the station, with the outline below

    Returns
    -------
    matplotlib Axes of the pressure

    Raises
    ------
    FlowError : not one place, a condition that is not there
    SurfaceError : the plane misses the body
    """
    places = zip(
        ("station", "butt line", "waterline"), (station, butt_line, waterline), strict=True
    )
    given = [(plane, place) for plane, place in places if place is not None]
    if len(given) != 1:
        raise FlowError(
            f"a section at {len(given)} places; expected one of station, butt_line and waterline, "
            "in m"
        )
    air = air or air_on_cut(flow, *given[0], deviation, state)
    end = float(flow.surface.bounds[1, 0]) if last_station is None else float(last_station)
    shown = _shown(air, flow, condition, openings, landmarks, measured, near, end)
    return _plotted(shown, axes)


def cut_caption(
    air: CutAir,
    condition,
    measured: Sequence[MeasuredPoint] = (),
    near: float = NEAR,
    given_error: bool = True,
) -> str:
    """What a plot of a cut shows, what its band holds and what not, which points are left out.

    Parameters
    ----------
    air, condition, measured, near : as of the plot
    given_error : False where MODEL_ERROR was taken
    """
    numbers = condition_numbers(air.conditions, condition)
    words = [BAND_HOLDS]
    lines = -(-len(air.sides) // 2)
    if lines > 1:
        begin = "each begins at its own top" if air.plane == "station" else "all are shown"
        words.append(f"The plane cuts the body in {lines} lines; {begin}.")
    if not given_error:
        words.append(f"Model error {MODEL_ERROR.value:g} ({MODEL_ERROR.mark}).")
    states = [side.state[numbers[0]] for side in air.sides if side.state is not None]
    if not states:
        words.append("Where the air separates was not looked at.")
    elif any((hatch_levels(part) > 0).any() for part in states):
        words.append("Hatched: the air is or may be separated; there the pressure is a band.")
    if measured:
        words.append(_measured_words(placed_points(air, numbers, measured, near), near))
    words.append("Peaks at edges beyond the axis are cut off.")
    return " ".join([*words, ESTIMATE])


def _measured_words(placed: PlacedPoints, near: float) -> str:
    text = f"{len(placed.points)} measured points with one standard deviation"
    if placed.far:
        text += f"; {placed.far} left out, more than {1e3 * near:.0f} mm from the cut"
    if placed.others:
        text += f"; {placed.others} of other conditions left out"
    return f"{text}."


def condition_numbers(conditions: Sequence[FlightCondition], wanted) -> tuple[int, ...]:
    """Numbers of conditions given by name or number, one or several.

    Raises
    ------
    FlowError : none, or one that is not there
    """
    one = isinstance(wanted, str | int | np.integer)
    numbers = [condition_number(conditions, item) for item in ([wanted] if one else wanted)]
    if not numbers:
        names = ", ".join(condition.name for condition in conditions)
        raise FlowError(f"no condition to plot; there are: {names}")
    return tuple(dict.fromkeys(numbers))


def _shown(air, flow, condition, openings, landmarks, measured, near, end) -> ShownCut:
    numbers = condition_numbers(air.conditions, condition)
    along = np.concatenate([side.along for side in air.sides])
    first, last = float(along.min()), float(along.max())
    if air.plane != "station":
        first, last = first, max(min(end, last), first + 0.02 * (last - first))
    placed = placed_points(air, numbers, measured, near)
    cuts = tuple(cut_openings(air, openings))
    return ShownCut(air, numbers, cuts, tuple(landmarks), placed, first, last)


def _plotted(shown: ShownCut, axes):
    with own_look():
        if axes is None:
            axes = new_cut_figure(shown.air, shown.first, shown.last)
        draw = draw_girth if shown.air.plane == "station" else draw_along
        return draw(axes, shown)
