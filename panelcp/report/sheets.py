"""Map sheets of a run: one page of views for every condition with a stream."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from pathlib import Path

import numpy as np

from panelcp.report.contents import RunContents, condition_line
from panelcp.surface.interpolation import corner_operator

RESOLUTION = 150
"""Dots per inch of the sheets."""


def write_map_sheets(
    contents: RunContents, folder: Path, progress: Callable[[str], None] = lambda text: None
) -> list[tuple[str, str, Path]]:
    """Write one PNG for every condition with a stream.

    Parameters
    ----------
    contents : RunContents
    folder : made here
    progress : called with a short text before each sheet

    Returns
    -------
    (condition name, caption, path) of each sheet
    """
    from panelcp.report.colours import pressure_scale
    from panelcp.report.maps import pressure_figure, project_view, write_picture

    folder.mkdir()
    surface, flow = contents.flow.surface, contents.flow
    moving = [c for c, condition in enumerate(flow.conditions) if condition.speed > 0.0]
    if not moving:
        return []
    corners = corner_operator(surface)
    cp = [(corners @ flow.cp[c]).reshape(-1, 3) for c in moving]
    scale = pressure_scale(np.concatenate(cp))
    views = [project_view(surface, view.replace("-", "_")) for view in contents.views]
    markers = _markers(contents)
    sheets = []
    for number, (c, values) in enumerate(zip(moving, cp, strict=True), start=1):
        condition = flow.conditions[c]
        progress(f"map {number} of {len(moving)}: {condition.name}")
        figure = pressure_figure(
            surface,
            values,
            views,
            scale=scale,
            markers=markers,
            title=f"{contents.name}: {condition_line(condition)}",
            notice="\n".join(
                ["Estimate from potential flow. Not approved data.", *_notices(contents)]
            ),
        )
        path = folder / f"{number:02d}-{file_word(condition.name)}.png"
        write_picture(figure, path, dpi=RESOLUTION)
        sheets.append((condition.name, condition_line(condition), path))
    return sheets


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
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60] or "condition"


def _markers(contents: RunContents) -> list:
    """Outlines of the case's openings and of the best places, each once."""
    from panelcp.report.maps import Marker

    best = {}
    for place, pair in enumerate(contents.short_list, start=1):
        for opening in (contents.ranking.exit(pair), contents.ranking.inlet(pair)):
            best.setdefault(opening.name, (place, opening))
    named = {opening.name for opening in contents.openings.openings}
    markers = []
    for opening in contents.openings.openings:
        style = "inlet" if opening.takes_air_in else "exit" if opening.lets_air_out else "other"
        markers.append(Marker(opening.outline, opening.name, style))
    for name, (_, opening) in best.items():
        if name not in named:
            markers.append(Marker(opening.outline, name, "best"))
    return markers


def _notices(contents: RunContents) -> list[str]:
    return [notice[0].upper() + notice[1:] + "." for notice in contents.notices]
