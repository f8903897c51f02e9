"""Sheets of cuts for a run's folder: centre line and sections as SVG and PNG, and their numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.report.contents import AirContents, RunContents
from panelcp.report.cut_air import CutAir, air_on_cut, air_with_errors, panel_errors
from panelcp.report.cut_points import MeasuredPoint
from panelcp.report.files import write_text
from panelcp.report.hardest import hardest_condition
from panelcp.report.labels import wrapped
from panelcp.report.places import shown_openings
from panelcp.report.section_drawing import WIDTH, new_cut_figure
from panelcp.report.section_plots import cut_caption, plot_centre_line, plot_section
from panelcp.report.sheet_base import own_look
from panelcp.report.sheets import file_word, shown_panels
from panelcp.units import parse_quantity

RESOLUTION = 300
"""Dots per inch of the PNG."""

MOST_STATIONS = 3
"""So many sections are chosen where the case names none."""

APART = 0.1
"""m; chosen sections lie at least so far from each other."""

AT_END = 0.005
"""No section is chosen so near to the ends of the body, parts of its length."""

MODEL_MARK = "model error of a patch-mean Cp"
"""Words of the marks of a run that name the model error of the surface and of its regions."""

HEADING = ("cut", "side", "condition", "STA_m", "BL_m", "WL_m", "arc_m", "cp")
HEADING += ("pressure_Pa", "deviation_Pa", "air")
"""Columns of sections.csv; arc_m is the way along the skin from the nose, or from the top down to
each side (the plots show the left side negative)."""

_FOOT_FONT, _FOOT_LINE = 7.0, 0.125


def write_section_sheets(
    contents: AirContents, folder: Path, measured: Sequence[MeasuredPoint] = ()
) -> list[tuple[str, str, Path]]:
    """Write centre-line and station-... as SVG and PNG, and sections.csv, into a folder.

    Parameters
    ----------
    contents : AirContents or RunContents
    folder : made here
    measured : MeasuredPoint, shown where they lie on a cut

    Returns
    -------
    (name, caption, path of the PNG) of each; none where no condition has moving air. The SVG lies
    beside it
    """
    numbers = shown_conditions(contents)
    if not numbers:
        return []
    folder.mkdir()
    cuts, missed = cuts_of(contents)
    written = []
    for air in cuts:
        caption = _caption(contents, air, numbers, measured, "" if written else missed)
        path = folder / f"{_file_name(air)}.png"
        _write_sheet(contents, air, numbers, measured, caption, path)
        written.append((air.name[0].upper() + air.name[1:], caption, path))
    write_text(folder / "sections.csv", sections_csv(cuts, numbers))
    return written


def shown_conditions(contents: AirContents) -> list[int]:
    """The hardest condition, then those that decide; with moving air only."""
    flow, first = contents.flow, hardest_condition(contents)
    if first is None:
        return []
    ranking = contents.ranking
    decides = [c.decides for c in flow.conditions] if ranking is None else ranking.decides
    return list(dict.fromkeys([first, *np.flatnonzero(flow.moving & decides).tolist()]))


def model_errors(contents: AirContents) -> np.ndarray | None:
    """(n_panels,) float: model error of Cp by region, as the bands of the openings have it.

    Read from the marks of the run; None where these hold no model error.
    """
    marks, surface = dict(contents.marks), contents.flow.surface
    base = marks.get(f"surface: {MODEL_MARK}")
    if base is None:
        return None
    by_region = [marks.get(f"region {name}: {MODEL_MARK}", base) for name in surface.region_names]
    return np.array([band.value for band in by_region])[surface.region_index]


def section_stations(contents: AirContents) -> tuple[float, ...]:
    """m: stations of the sections.

    Those of the case; else of the best exit and inlet, then of the openings of the case, as far as
    they lie apart and not at the ends of the body, at most MOST_STATIONS.
    """
    given = tuple(contents.section_stations)
    if given:
        return given
    ranking, chosen = contents.ranking, []
    best = [] if ranking is None else [ranking.exit(0), ranking.inlet(0)]
    low, high = contents.flow.surface.bounds[:, 0]
    room = AT_END * (high - low)
    for opening in (*best, *contents.openings.openings):
        station = float(opening.centre[0])
        apart = all(abs(station - other) >= APART for other in chosen)
        if apart and low + room < station < high - room and len(chosen) < MOST_STATIONS:
            chosen.append(station)
    return tuple(chosen)


def centre_line_air(contents: AirContents) -> CutAir:
    """Pressure along the centre line with its deviation and the state of the air.

    Raises
    ------
    SurfaceError : BL 0 misses the body
    """
    return air_on_cut(contents.flow, "butt line", 0.0, model_errors(contents), contents.skin_state)


def cuts_of(contents: AirContents) -> tuple[list[CutAir], str]:
    """Centre line and sections of a run, and a sentence on stations that miss the body."""
    flow, cuts, missed = contents.flow, [], []
    errors = panel_errors(flow.surface, model_errors(contents))
    stations = dict.fromkeys(section_stations(contents))
    for plane, place in (("butt line", 0.0), *(("station", station) for station in stations)):
        try:
            cuts.append(air_with_errors(flow, plane, place, errors, contents.skin_state))
        except SurfaceError as error:
            missed.append(f"No section: {error}.")
    return cuts, " ".join(missed)


def landmarks(contents: AirContents) -> list[tuple[str, float]]:
    """Names and stations, m, of firewall and windshield base, where they are known."""
    given = contents.inputs.get("case", {}).get("surface", {}).get("firewall")
    found = [] if given is None else [("firewall", float(parse_quantity(given, "length")))]
    curves = contents.curves if isinstance(contents, RunContents) else None
    foot = None if curves is None else curves.foot
    return found + ([] if foot is None else [("windshield base", float(foot))])


def last_shown_station(contents: AirContents) -> float:
    """m: how far aft the centre line is shown, as far as the maps."""
    surface = contents.flow.surface
    return float(surface.corners[shown_panels(contents)][..., 0].max())


def _file_name(air: CutAir) -> str:
    if air.plane == "butt line":
        return "centre-line"
    place = round(1e3 * air.place)
    return file_word(f"station {'minus ' if place < 0 else ''}{abs(place)} mm")


def _caption(contents: AirContents, air: CutAir, numbers, measured, more: str) -> str:
    known = model_errors(contents) is not None
    caption = cut_caption(air, numbers, measured, given_error=known)
    notices = [notice[0].upper() + notice[1:] + "." for notice in contents.notices]
    return " ".join([caption, *notices, *([more] if more else [])])


def _write_sheet(contents: AirContents, air: CutAir, numbers, measured, caption: str, path: Path):
    """Draw one sheet and write it as PNG and SVG."""
    surface, end = contents.flow.surface, last_shown_station(contents)
    options = {
        "openings": shown_openings(contents),
        "landmarks": landmarks(contents),
        "measured": measured,
        "last_station": end,
        "air": air,
    }
    with own_look():
        text = f"{contents.name}. {caption} {contents.trace}"
        lines = wrapped(text, (WIDTH - 0.7) * 72.0, _FOOT_FONT)
        foot = 0.15 + _FOOT_LINE * len(lines)
        axes = new_cut_figure(air, float(surface.bounds[0, 0]), end, foot)
        figure = axes.figure
        width, height = figure.get_size_inches()
        place = 0.35 / width, 0.12 / height
        figure.text(*place, "\n".join(lines), fontsize=_FOOT_FONT, va="bottom")
        if air.plane == "station":
            plot_section(contents.flow, numbers, air.place, axes, **options)
        else:
            plot_centre_line(contents.flow, numbers, axes, **options)
    _write_figure(figure, path)


def _write_figure(figure, path: Path):
    """Write a figure as PNG and, beside it, as SVG: the same bytes each time."""
    from matplotlib import rc_context
    from PIL import Image

    from panelcp.report.maps import figure_pixels

    with own_look(), rc_context({"svg.hashsalt": "panelcp", "svg.fonttype": "none"}):
        pixels = figure_pixels(figure, RESOLUTION)
        dots = (RESOLUTION, RESOLUTION)
        Image.fromarray(pixels).save(path, format="png", compress_level=2, dpi=dots)
        nothing = {"Date": None, "Creator": None}
        figure.savefig(path.with_suffix(".svg"), format="svg", metadata=nothing)


def sections_csv(cuts: Sequence[CutAir], numbers: Sequence[int]) -> str:
    """Every point of every cut in some conditions: place, pressure, deviation, state of the air.

    Parameters
    ----------
    cuts : CutAir
    numbers : of the conditions
    """
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(HEADING)
    for air in cuts:
        for c in numbers:
            for side in air.sides:
                table.writerows(_rows(air, side, c))
    return stream.getvalue()


def _rows(air: CutAir, side, c: int):
    """The rows of one side in one condition."""
    condition, q = air.conditions[c], air.conditions[c].dynamic_pressure
    states = ["not looked at"] * len(side.arc)
    if side.state is not None:
        states = [STATE_NAMES[int(state)] for state in side.state[c]]
    values = zip(*(side.points, side.arc, side.pressure[c], side.deviation[c], states), strict=True)
    for (x, y, z), arc, pressure, deviation, state in values:
        cp = f"{pressure / q:.4f}" if q > 0.0 else ""
        place = [f"{round(float(value), 4) + 0.0:.4f}" for value in (x, y, z, arc)]
        yield [
            *(air.name, side.name, condition.name, *place, cp),
            *(f"{pressure:.2f}", f"{deviation:.2f}", state),
        ]
