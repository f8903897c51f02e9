"""Pressure maps and vent maps in matplotlib axes: of your own, or made here.

For notebooks and scripts. What is drawn is what stands on the sheets of a run.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelcp.errors import FlowError, PlacementError, SurfaceError
from panelcp.flow.superposition import SurfaceFlow, interpolated_pressure
from panelcp.report.colours import PressureScale, pressure_scale
from panelcp.report.contents import condition_number, in_pascal
from panelcp.report.hatching import checked_hatch
from panelcp.report.maps import (
    Marker,
    ProjectedView,
    View,
    draw_colour_bar,
    draw_pressure_map,
    fitted_view,
)
from panelcp.report.plots import own_classes
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import cut_at_station, usual_limit
from panelcp.report.sheets import last_station as last_station_of
from panelcp.report.vent_map_colours import VentScale, vent_scale
from panelcp.report.vent_map_sheet import draw_vent_bar, draw_vent_ratio, vent_lines, vent_ratio
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import SurfaceMesh

SIZE = (7.0, 4.5)
"""inch, width and height of a figure that is made here."""
BAR_SIZE = (1.1, 4.0)
# parts of a figure: a map with room for the bar beside it, that bar, and a bar alone
_MAP_PLACE, _BESIDE = (0.09, 0.11, 0.78, 0.81), (0.9, 0.2, 0.022, 0.62)
_BAR_PLACE = (0.12, 0.06, 0.16, 0.82)
_PRESSURES = ("Cp", "Pa")


def plot_pressure_map(
    flow: SurfaceFlow | SurfaceMesh,
    condition: str | int | None = 0,
    view: str | View | ProjectedView = "left",
    axes=None,
    *,
    values=None,
    pressure: str | None = None,
    scale: PressureScale | None = None,
    same_limits: bool | Sequence = False,
    markers: Sequence = (),
    hatched=None,
    draw_lines: bool = True,
    grey_print: bool = False,
    last_station: float | None = None,
):
    """Draw one view of a body, coloured by its pressure.

    Parameters
    ----------
    flow : SurfaceFlow, or a finished run or its contents, which have one; or a SurfaceMesh, whose
        `values` must be given
    condition : name or number of a condition of the flow; not used with a SurfaceMesh
    view : "left", "right", "top", "bottom", "front" or "three-quarter"; a View of your own; or
        what `project_view` gives, which is quicker for several conditions
    axes : matplotlib Axes, which is filled; None makes a figure of 7 by 4.5 inch with a colour
        bar, which shows itself in a notebook
    values : (n_panels, 3) float, at the corners of the panels, in place of the flow's pressure
    pressure : "Cp", or "Pa" for gauge pressure; None takes Cp in flight, Pa on the ground and
        at rest, as the sheets of a run do
    scale : PressureScale; None makes one, see `map_scale`
    same_limits : one scale for several conditions: True for all in which air moves, or names and
        numbers of conditions; False takes the values of this one alone
    markers : sequence of Marker, or of Opening: drawn with their names
    hatched : (n_panels,) int, 2 where the air is separated, 1 where it may be, 0 elsewhere
    draw_lines : bool, lines of equal pressure: suction dashed, pressure solid, zero thick
    grey_print : bool, one-hue colours for printers without colour
    last_station : float, m, the body is drawn up to there; None draws all of it, or of a run what
        its sheets show. Not used with what `project_view` gives

    Returns
    -------
    matplotlib Axes in mm. `axes.figure.savefig("left.pdf")` writes it, the coloured skin as one
    picture and all else as lines and text

    Raises
    ------
    FlowError : no condition of that name or number, values of a wrong shape or not finite, a
        pressure that is neither Cp nor Pa, Cp of a condition at rest, nothing but zeros
    SurfaceError : no view of that name, wrong `hatched`, a mark that cannot be drawn

    Examples
    --------
    >>> body = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> axes = plot_pressure_map(body, view="top", values=body.corners[..., 0] - 0.4)
    >>> axes.get_xlabel(), axes.get_title(loc="left")
    ('STA mm', 'from above')
    """
    end = _end_of(flow, view, last_station)
    flow = _flow_of(flow)
    surface, found, label = _values(flow, condition, values, pressure)
    if scale is None:
        if same_limits is False:
            scale = _scale_of([found], surface, label, grey_print)
        else:
            chosen = None if same_limits is True else same_limits
            scale = map_scale(flow, chosen, pressure=label, grey_print=grey_print)
    marks = [_marker(mark) for mark in markers]
    if end is not None:
        hatched = checked_hatch(surface, hatched)
        part = cut_at_station(surface, end)
        surface, found = part.surface, part.corner_values(found)
        hatched = None if hatched is None else hatched[part.panels]
    with own_look():
        own, axes = axes is None, _axes(axes, SIZE, _MAP_PLACE)
        what = (surface, found, view, scale, marks, draw_lines, None, hatched)
        draw_pressure_map(axes, *what)
        if own:
            bar = axes.figure.add_axes(_BESIDE)
            draw_colour_bar(bar, scale, float(found.min()), float(found.max()))
    return axes


def map_scale(
    flow: SurfaceFlow,
    conditions: Sequence | None = None,
    *,
    pressure: str = "Cp",
    grey_print: bool = False,
) -> PressureScale:
    """One scale for the maps of several conditions.

    Parameters
    ----------
    flow : SurfaceFlow, or a finished run or its contents
    conditions : names or numbers; None takes all in which air moves, for Cp those in flight
    pressure : "Cp" or "Pa"
    grey_print : bool

    Returns
    -------
    PressureScale that holds all but 0.5 % of the area in these conditions together

    Raises
    ------
    FlowError : see `plot_pressure_map`; also where no condition is left
    """
    flow = _flow_of(flow)
    if not isinstance(flow, SurfaceFlow):
        raise FlowError(
            "one scale for several conditions needs a SurfaceFlow; for values of your own make a "
            "scale with pressure_scale and give it as scale"
        )
    if conditions is None:
        conditions = [
            c
            for c in np.flatnonzero(flow.moving).tolist()
            if pressure != "Cp" or not in_pascal(flow.conditions[c])
        ]
    if isinstance(conditions, str) or np.ndim(conditions) == 0:
        conditions = [conditions]
    values = [_values(flow, condition, None, pressure)[1] for condition in conditions]
    if not values:
        raise FlowError(f"no condition is left whose {pressure} could be shown")
    return _scale_of(values, flow.surface, pressure, grey_print)


def plot_colour_bar(
    scale: PressureScale | VentScale,
    low: float | None = None,
    high: float | None = None,
    axes=None,
):
    """Draw the colours and lines of a scale.

    Parameters
    ----------
    scale : PressureScale, as `map_scale` or `pressure_scale` give it; or VentScale
    low, high : float, the part of a PressureScale that is shown; all of it by default
    axes : matplotlib Axes, narrow and tall; None makes a figure of 1.1 by 4 inch for it

    Returns
    -------
    the Axes
    """
    with own_look():
        axes = _axes(axes, BAR_SIZE, _BAR_PLACE)
        if isinstance(scale, VentScale):
            return draw_vent_bar(axes, scale)
        low, high = -scale.limit if low is None else low, scale.limit if high is None else high
        return draw_colour_bar(axes, scale, low, high)


def plot_vent_map(
    surface: SurfaceMesh,
    vent_map,
    view: str | View | ProjectedView = "top",
    axes=None,
    *,
    scale: VentScale | None = None,
    markers: Sequence = (),
    last_station: float | None = None,
):
    """Draw one view of a vent map: least available over needed pressure of a small opening.

    Parameters
    ----------
    surface : SurfaceMesh of the map
    vent_map : VentMap; or (n_panels,) float, the ratio, nan where the skin was not searched
    view, axes, markers, last_station : see `plot_pressure_map`
    scale : VentScale; None makes one of all that was searched. For several maps alike:
        `vent_scale` of all their ratios

    Returns
    -------
    matplotlib Axes in mm: blue where the pressure suffices, pale and hatched where it does not, a
    thick line where it is just enough, grey where the skin was not searched. Light and dark differ
    on both sides of that line, so it reads in grey print as well

    Raises
    ------
    PlacementError : a map of another number of panels, or without a searched panel
    SurfaceError : no view of that name, a mark that cannot be drawn
    """
    ratio = np.asarray(
        vent_ratio(vent_map) if hasattr(vent_map, "least_ratio") else vent_map, dtype=float
    )
    if ratio.shape != (surface.n_panels,):
        raise PlacementError(
            f"vent map has the shape {ratio.shape}; expected ({surface.n_panels},), one ratio for "
            "each panel of the surface"
        )
    if not np.isfinite(ratio).any():
        raise PlacementError("vent map has no searched panel; its ratios are all nan")
    scale = vent_scale(ratio) if scale is None else scale
    marks = [_marker(mark) for mark in markers]
    end = _end_of(surface, view, last_station)
    if end is not None:
        part = cut_at_station(surface, end)
        surface, ratio = part.surface, ratio[part.panels]
    with own_look():
        own, axes = axes is None, _axes(axes, SIZE, _MAP_PLACE)
        projected = fitted_view(axes, surface, view, bool(marks))
        draw_vent_ratio(axes, projected, *vent_lines(surface, ratio, scale), scale, marks)
        if own:
            bar = axes.figure.add_axes(_BESIDE)
            draw_vent_bar(bar, scale)
    return axes


def _flow_of(found):
    """The flow of a run or of its contents; anything else as it is."""
    found = getattr(found, "contents", found)
    return getattr(found, "flow", found)


def _end_of(found, view, station) -> float | None:
    """m, where the part that is drawn ends; None draws all."""
    if isinstance(view, ProjectedView):
        return None
    found = getattr(found, "contents", found)
    if station is None:
        return last_station_of(found) if hasattr(found, "last_station") else None
    surface = found if isinstance(found, SurfaceMesh) else _flow_of(found).surface
    low, high = surface.bounds[:, 0]
    if not station > low:
        raise SurfaceError(
            f"last station is {station} m, but the body runs from {low:.3f} to {high:.3f} m; "
            "nothing would be drawn"
        )
    return float(station)


def _values(flow, condition, values, pressure):
    """Surface, (n_panels, 3) values at the corners, and what they are: Cp or Pa."""
    if pressure not in (None, *_PRESSURES):
        raise FlowError(f"pressure is {pressure!r}; there are: 'Cp', 'Pa'")
    if isinstance(flow, SurfaceMesh):
        if values is None:
            raise FlowError(
                "a SurfaceMesh has no pressure of its own; give values, (n_panels, 3) at the "
                "corners of the panels, or a SurfaceFlow"
            )
        return flow, np.asarray(values, dtype=float), pressure or "Cp"
    c = condition_number(flow.conditions, condition)
    at_rest = in_pascal(flow.conditions[c])
    label = pressure or ("Pa" if at_rest else "Cp")
    if values is not None:
        return flow.surface, np.asarray(values, dtype=float), label
    if label == "Cp" and not flow.dynamic_pressure[c] > 0.0:
        raise FlowError(
            f"condition {flow.conditions[c].name!r} is at rest and has no Cp; take pressure='Pa'"
        )
    found = interpolated_pressure(flow, corner_operator(flow.surface))[c].reshape(-1, 3)
    return flow.surface, found if label == "Pa" else found / flow.dynamic_pressure[c], label


def _scale_of(values, surface, label, grey_print) -> PressureScale:
    """Scale of values that are checked where they are drawn."""
    for found in values:
        if found.shape != (surface.n_panels, 3):
            raise FlowError(
                f"values has shape {found.shape}; expected ({surface.n_panels}, 3), one value at "
                "each of the three corners of each panel"
            )
    limit = usual_limit(values, surface.areas, least=0.0)
    return pressure_scale(limit, label=label, grey_print=grey_print)


def _marker(mark):
    """A mark for the drawing: the mark itself, or an opening's outline with its name."""
    if hasattr(mark, "label"):
        return mark
    if not hasattr(mark, "outline"):
        raise SurfaceError(
            f"{mark!r} cannot be drawn as a mark; expected a Marker or an Opening, something with "
            "an outline"
        )
    style = "inlet" if mark.takes_air_in else "exit" if mark.lets_air_out else "other"
    return Marker(mark.outline, mark.name, style)


def _axes(axes, size, place):
    """The axes given, or those of a figure made for them."""
    if axes is not None:
        return axes
    figure_class, axes_class, _ = own_classes()
    figure = figure_class(figsize=size, facecolor="white")
    return figure.add_axes(place, axes_class=axes_class)
