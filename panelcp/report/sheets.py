"""Map sheets of a run: one page of views for every condition with a stream."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from panelcp.report.contents import RunContents, condition_line
from panelcp.surface.interpolation import corner_operator

RESOLUTION = 150
"""Dots per inch of the sheets."""
LONGEST_TITLE, LONGEST_LABEL = 44, 24
"""Letters of a name that are shown in a title and at a mark."""


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
    from matplotlib import rc_context

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
        path = folder / f"{number:02d}-{file_word(condition.name)}.png"
        with rc_context({"text.parse_math": False}):
            figure = pressure_figure(
                surface,
                values,
                views,
                scale=scale,
                markers=markers,
                title=_title(contents, condition),
                notice="\n".join(
                    ["Estimate from potential flow. Not approved data.", *_notices(contents)]
                ),
            )
            write_picture(path, figure, RESOLUTION)
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


def _title(contents: RunContents, condition) -> str:
    short = replace(condition, name=picture_text(condition.name, LONGEST_TITLE))
    return f"{picture_text(contents.name, LONGEST_TITLE)}: {condition_line(short)}"


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
        markers.append(Marker(opening.outline, picture_text(opening.name, LONGEST_LABEL), style))
    for name, (_, opening) in best.items():
        if name not in named:
            markers.append(Marker(opening.outline, picture_text(name, LONGEST_LABEL), "best"))
    return markers


def _notices(contents: RunContents) -> list[str]:
    return [notice[0].upper() + notice[1:] + "." for notice in contents.notices]
