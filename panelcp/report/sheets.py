"""Map sheets of a run: one page of views for every condition with a stream."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from panelcp.flow import skin_layers
from panelcp.flow.superposition import interpolated_pressure
from panelcp.report.contents import RunContents, condition_line, in_pascal
from panelcp.report.hatching import MAY_SEPARATE, SEPARATED
from panelcp.surface.interpolation import corner_operator
from panelcp.surface.mesh import SurfaceMesh

if TYPE_CHECKING:
    from panelcp.report.sheet_drawing import SheetPlan

RESOLUTION = 300
"""Dots per inch of the sheets."""

CAPTION = "Estimate from potential flow. Not approved data."
BEST_CAPTION = " Black outlines: the best places, by number in the short list."
SUSPECT_CAPTION = " Red triangles: panels whose pressure is doubtful."
MOST_SUSPECTS = 400
"""At most so many doubtful panels are outlined, those first in the surface."""

ROOM_AFT = 0.12
"""Room drawn aft of the last opening, parts of the body's length."""

WHOLE_SHARE = 0.7
"""From this part of its length on the whole body is drawn."""

RARE_SHARE = 0.005
"""Part of the area whose Cp may lie beyond the ends of the colour scale."""
LONGEST_TITLE, LONGEST_LABEL = 44, 24
"""Letters of a name that are shown in a title and at a mark."""


_HATCHES = {
    "POCKET": SEPARATED,
    "OPEN": SEPARATED,
    "LEE": SEPARATED,
    "POSSIBLE": MAY_SEPARATE,
}
"""Names of the states of `flow.skin_layers` that are hatched, and how."""


def hatch_levels(states) -> np.ndarray:
    """How panels are hatched whose air is in a state of `flow.skin_layers`.

    Parameters
    ----------
    states : array of int

    Returns
    -------
    array of int of the same shape: 2 where the air is separated, 1 where it may be, 0 elsewhere

    Examples
    --------
    >>> hatch_levels([skin_layers.ATTACHED, skin_layers.POCKET, skin_layers.OPEN])
    array([0, 2, 2])
    """
    levels = np.zeros(np.shape(states), dtype=np.int64)
    for name, level in _HATCHES.items():
        levels[np.asarray(states) == getattr(skin_layers, name)] = level
    return levels


def write_map_sheets(
    contents: RunContents,
    folder: Path,
    progress: Callable[[str], None] = lambda text: None,
    processes: int | None = None,
) -> list[tuple[str, str, Path]]:
    """Write one PNG for every condition with a stream.

    Parameters
    ----------
    contents : RunContents; where it has `skin_state`, separated air is hatched
    folder : made here
    progress : called with a short text before each sheet
    processes : how many draw at once; by default as processors and number of sheets allow

    Returns
    -------
    (condition name, caption, path) of each sheet
    """
    from panelcp.report.sheet_drawing import draw_sheets

    folder.mkdir()
    flow = contents.flow
    moving = np.flatnonzero(flow.moving)
    if not len(moving):
        return []
    plan = _sheet_plan(contents, folder, moving)
    draw_sheets(plan, progress, processes)
    captions = [
        condition_line(flow.conditions[c], flow.mean_rise[c], flow.predicted[c]) for c in moving
    ]
    return [
        (sheet.name, caption, sheet.path)
        for sheet, caption in zip(plan.sheets, captions, strict=True)
    ]


def _sheet_plan(contents: RunContents, folder: Path, moving: np.ndarray) -> SheetPlan:
    """What is drawn of the conditions with a stream."""
    from panelcp.report.sheet_drawing import Sheet, SheetPlan

    flow, shown = contents.flow, shown_panels(contents)
    part = cut_at_station(flow.surface, last_station(contents))
    values_of = shown_values(flow, moving, part)
    scales = map_scales(contents, moving, values_of, part.surface.areas)
    state = getattr(contents, "skin_state", None)
    sheets = []
    for number, (c, values, scale) in enumerate(zip(moving, values_of, scales, strict=True), 1):
        name = flow.conditions[c].name
        path = folder / f"{number:02d}-{file_word(name)}.png"
        hatched = None if state is None else hatch_levels(state[c])[part.panels]
        sheets.append(Sheet(name, path, _title(contents, c), values, scale, hatched))
    suspects = _suspect_panels(contents, shown)
    best = "" if contents.ranking is None else BEST_CAPTION
    caption = f"{CAPTION} {contents.trace}{best}{SUSPECT_CAPTION if suspects else ''}"
    captions = [caption, *_notices(contents)]
    return SheetPlan(
        part.surface.vertices,
        part.surface.triangles,
        tuple(contents.views),
        (*suspects, *map_markers(contents)),
        "\n".join(captions),
        RESOLUTION,
        tuple(sheets),
    )


def shown_values(flow, moving, part) -> list[np.ndarray]:
    """(n_shown, 3) float for each condition: Cp, or Pa where Cp says nothing."""
    pressure = interpolated_pressure(flow, corner_operator(flow.surface))
    values = []
    for c in moving:
        unit = 1.0 if in_pascal(flow.conditions[c]) else flow.dynamic_pressure[c]
        values.append(part.corner_values((pressure[c] / unit).reshape(-1, 3)))
    return values


def map_scales(contents, moving, values_of, areas) -> list:
    """The common scale of Cp for most conditions, one of its own for those in Pa.

    Where the run does not want the same limits everywhere, each condition has its own.
    """
    from panelcp.report.colours import pressure_scale

    grey = contents.grey_print
    pascal = [in_pascal(contents.flow.conditions[c]) for c in moving]
    cp = [values for values, absolute in zip(values_of, pascal, strict=True) if not absolute]
    common = usual_limit(cp, areas) if cp else None
    return [
        pressure_scale(usual_limit([values], areas, least=1.0), label="Pa", grey_print=grey)
        if absolute
        else pressure_scale(
            common if contents.same_limits else usual_limit([values], areas, least=0.2),
            grey_print=grey,
        )
        for values, absolute in zip(values_of, pascal, strict=True)
    ]


def last_station(contents: RunContents) -> float:
    """m, the station up to which maps show the body."""
    surface = contents.flow.surface
    end = contents.last_station
    if end is None:
        low, high = surface.bounds[:, 0]
        groups = [contents.openings]
        if contents.ranking is not None:
            groups += [contents.ranking.inlets, contents.ranking.exits]
        places = [opening.centre[0] for group in groups for opening in group.openings]
        end = max(places, default=high) + ROOM_AFT * (high - low)
        if end > low + WHOLE_SHARE * (high - low):
            end = high
    return float(end)


def shown_panels(contents: RunContents) -> np.ndarray:
    """(n_panels,) bool: panels ahead of the last station that is drawn."""
    return contents.flow.surface.centroids[:, 0] <= last_station(contents)


@dataclass(frozen=True, eq=False)
class CutSurface:
    """Part of a surface, cut straight.

    Attributes
    ----------
    surface : SurfaceMesh
    panels : (n_panels,) int, panel of the whole surface to which each panel belongs
    weights : (n_panels, 3, 3) float, of each corner: the shares of the corners of that panel
    """

    surface: SurfaceMesh
    panels: np.ndarray
    weights: np.ndarray

    def corner_values(self, values: np.ndarray) -> np.ndarray:
        """(n_panels, 3) float from (n, 3) values at the corners of the whole surface's panels."""
        return np.einsum("pij,pj->pi", self.weights, values[self.panels])


def cut_at_station(surface: SurfaceMesh, station: float) -> CutSurface:
    """What lies ahead of a station, m; panels that cross it are cut along it.

    Examples
    --------
    >>> tip = SurfaceMesh(
    ...     [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ...     [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    ... )
    >>> ahead = cut_at_station(tip, 0.25)
    >>> ahead.surface.n_panels, ahead.surface.size.tolist()
    (7, [0.25, 1.0, 1.0])
    """
    triangles, station = surface.triangles, float(station)
    ahead = surface.vertices[:, 0] <= station
    count = ahead[triangles].sum(axis=1)
    whole = np.flatnonzero(count == 3)
    crossing = np.flatnonzero((count == 1) | (count == 2))
    if not len(crossing) and len(whole) == surface.n_panels:
        weights = np.broadcast_to(np.eye(3), (surface.n_panels, 3, 3))
        return CutSurface(surface, np.arange(surface.n_panels), weights)
    one = count[crossing] == 1
    lone = np.argmax(ahead[triangles[crossing]] == one[:, None], axis=1)
    turned = (lone[:, None] + np.arange(3)) % 3  # the lone corner first
    unit = np.eye(3)[turned]
    vertices = triangles[crossing[:, None], turned]
    x = surface.vertices[vertices, 0]
    share = (station - x[:, :1]) / (x[:, 1:] - x[:, :1])
    cuts = (1.0 - share)[..., None] * unit[:, :1] + share[..., None] * unit[:, 1:]
    edges = np.sort(np.stack([vertices[:, [0, 0]], vertices[:, 1:]], axis=-1), axis=-1)
    keys, number = np.unique(edges.reshape(-1, 2), axis=0, return_inverse=True)
    number = number.reshape(-1, 2) + surface.n_vertices
    (x0, x1), ends = surface.vertices[keys, 0].T, surface.vertices[keys]
    part = ((station - x0) / (x1 - x0))[:, None]
    new = (1.0 - part) * ends[:, 0] + part * ends[:, 1]
    new[:, 0] = station

    def chosen(mask, *corners):
        """Triangles and weights of panels: 0 to 2 a corner, 3 and 4 a cut."""
        points, shares = np.hstack([vertices, number]), np.concatenate([unit, cuts], axis=1)
        return points[mask][:, corners], shares[mask][:, corners], crossing[mask]

    parts = [
        (triangles[whole], np.broadcast_to(np.eye(3), (len(whole), 3, 3)), whole),
        chosen(one, 0, 3, 4),
        chosen(~one, 3, 1, 2),
        chosen(~one, 3, 2, 4),
    ]
    corners, weights, panels = (np.concatenate(found) for found in zip(*parts, strict=True))
    used, corners = np.unique(corners, return_inverse=True)
    points = np.vstack([surface.vertices, new])[used]
    return CutSurface(SurfaceMesh(points, corners.reshape(-1, 3)), panels, weights)


def part_of(surface: SurfaceMesh, shown: np.ndarray) -> SurfaceMesh:
    """The chosen panels as a surface of their own, in the same order."""
    if shown.all():
        return surface
    used, triangles = np.unique(surface.triangles[shown], return_inverse=True)
    return SurfaceMesh(surface.vertices[used], triangles.reshape(-1, 3))


def usual_limit(cp: list[np.ndarray], areas: np.ndarray, least: float = 0.5) -> float:
    """Value that all but 0.5 % of the area shown stays within, in all conditions."""
    size = np.abs(np.concatenate([values.mean(axis=1) for values in cp]))
    order = np.argsort(size)
    share = np.cumsum(np.tile(areas, len(cp))[order])
    usual = size[order][np.searchsorted(share, (1.0 - RARE_SHARE) * share[-1])]
    return max(least, float(usual))


def file_word(name: str) -> str:
    """A name made fit for a file on any system.

    Examples
    --------
    >>> file_word("tow, hot day (62 kt)")
    'tow-hot-day-62-kt'
    >>> file_word("Größte Höhe")
    'grosste-hohe'
    """
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss"))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].rstrip("-") or "condition"


def picture_text(text: str, longest: int) -> str:
    """A text that the font of the pictures can show, cut to a number of letters.

    Examples
    --------
    >>> picture_text("left cheek \U0001f525 inlet", 40)
    'left cheek □ inlet'
    >>> picture_text("inlet beside the spinner", 12)
    'inlet besid…'
    """
    seen = [letter for letter in text if unicodedata.category(letter) not in ("Cc", "Cf")]
    shown = "".join(letter if ord(letter) in _letters() else "□" for letter in seen)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


@cache
def _letters() -> frozenset[int]:
    """Code points that the default font of the pictures has."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties())).get_charmap())


def _title(contents: RunContents, c: int) -> str:
    flow = contents.flow
    name = picture_text(flow.conditions[c].name, LONGEST_TITLE)
    short = replace(flow.conditions[c], name=name)
    line = condition_line(short, flow.mean_rise[c], flow.predicted[c])
    return f"{picture_text(contents.name, LONGEST_TITLE)}: {line}"


def map_markers(contents: RunContents) -> list:
    """Outlines of the case's openings and of the best places, each once."""
    from panelcp.report.maps import Marker

    best = [] if contents.ranking is None else contents.short_list
    exits = {
        contents.ranking.exit(pair).name: (place, contents.ranking.exit(pair))
        for place, pair in enumerate(best, start=1)
    }
    inlets = {contents.ranking.inlet(pair).name: pair for pair in best}
    named = {opening.name for opening in contents.openings.openings}
    markers = []
    for opening in contents.openings.openings:
        style = "inlet" if opening.takes_air_in else "exit" if opening.lets_air_out else "other"
        label = picture_text(opening.name, LONGEST_LABEL)
        if opening.name in exits:
            label = f"{exits[opening.name][0]}: {label}"
        markers.append(Marker(opening.outline, label, style))
    for name, pair in inlets.items():
        if name not in named:
            outline = contents.ranking.inlet(pair).outline
            markers.append(Marker(outline, picture_text(name, LONGEST_LABEL), "inlet"))
    for name, (place, opening) in exits.items():
        if name not in named:
            markers.append(Marker(opening.outline, str(place), "best"))
            if opening.twin is not None:
                markers.append(Marker(opening.twin.outline, str(place), "best"))
    return markers


def _suspect_panels(contents: RunContents, shown: np.ndarray) -> list:
    """Outlines of the panels that failed a check of the solution, where they are shown."""
    from panelcp.report.maps import Marker

    failed = [check.panels for check in contents.checks if check.failed]
    suspect = np.any([shown & panels for panels in failed], axis=0) if failed else []
    corners = contents.flow.surface.corners[np.flatnonzero(suspect)[:MOST_SUSPECTS]]
    return [Marker(outline, "", "suspect") for outline in corners]


def _notices(contents: RunContents) -> list[str]:
    return [notice[0].upper() + notice[1:] + "." for notice in contents.notices]
