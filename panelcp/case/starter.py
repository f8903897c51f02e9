"""A commented starter case for a surface."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np

from panelcp.case.checking import proposed_unit
from panelcp.errors import CaseError, SurfaceError
from panelcp.report.files import replace_text
from panelcp.surface.formats import FORMATS, load_parts
from panelcp.surface.intake import IntakeOptions, surface_from_parts
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening, lay_opening
from panelcp.surface.parts import joined_parts
from panelcp.surface.proposals import propose_axes
from panelcp.surface.rays import SkinFinder
from panelcp.surface.reading import (
    DEFAULT_AXES,
    ReadingOptions,
    axis_matrix,
    parse_axes,
)

TEMPLATE = """\
# Case for panelcp, written as a start for {file}.
# Lengths, speeds, pressures and so on are texts with a unit: "350 mm", "62 kt", "4 inH2O".
# Places are [station, butt line, waterline]: x aft, y to the right wing, z up, from the datum.
# An uncertain number may carry its band and where it comes from:
#   recovery = {{ value = "0.8", low = "0.7", high = "0.9", mark = "memory", source = "..." }}
#   marks: published, derived, common practice, memory, yours

[project]
name = {name}
question = "Where does the cooling air go in and out?"

[surface]
file = {file}
unit = {unit}                 # check: the surface is then {size}
axes = {axes}   # axes of the file that point there
{remark}part = {part}
{closing}# Wanted at times (all have defaults; what is done stands in run.log):
# firewall = "1100 mm"          # its station: places are marked with a tape from there
# panels = 8000                # of one half; left out: the triangles serve if they are fit
# largest_hole = "50 mm"       # holes up to this are filled
# largest_opening = "400 mm"   # openings for air that were left open are closed flush up to this
# afterbody = true             # an open rear end is closed by a faired afterbody
# keep = ["cowl*"]             # parts of the file that make the skin; also drop, drop_inside, unite

# Names for parts of the skin (boxes; a later one wins). Wanted for the model error of Cp:
# [[region]]
# name = "windshield pocket"
# low = ["1000 mm", "-400 mm", "200 mm"]
# high = ["1300 mm", "400 mm", "500 mm"]
# cp_deviation = {{ value = "0.20", mark = "memory" }}

[engine]
# Pressure that duct, core and exit need together at full power on the hot day at sea level:
# from a bench test of the core if you can; duct and diffuser belong to it too. This is a
# placeholder of common size: replace it.
needed_pressure = {needed}
limit_temperature = "115 degC"    # of the coolant; the engine's own document governs
# rated_power = "75 kW"           # of the shaft; wanted as soon as there is a propeller

# Without a propeller the tow, slow climb and run-up are not usable: take out the marks and fill in.
# [propeller]
# diameter = "1750 mm"
# centre = ["-100 mm", "0 mm", "0 mm"]   # of the disc, on the thrust line
# rotation = "clockwise"                 # seen from behind
# rpm = "2500 rpm"                       # of the propeller at rated power
# efficiency = {{ value = "0.78", low = "0.74", high = "0.82", mark = "memory" }}   # in fast flight
# tilt_down = "0 deg"                    # of the thrust line; tilt_right likewise
# hub_diameter = "200 mm"
# [wing]                                 # its lift bends the air ahead of it
# span = "9 m"
# area = "11 m2"
# centre = ["1800 mm", "0 mm", "-400 mm"]   # quarter chord at the centre line: low or high wing
# mass = "600 kg"
# [ground]                               # for conditions with ground_speed
# height = "1.1 m"                       # of the datum above the ground
# attitude = "0 deg"                     # datum to the ground, nose up positive
# [usual_conditions]                     # the trade's set; a condition of its name overrides it
# include = ["run-up, full power", "taxi, tail wind", "go-around"]   # or ["all"]

[[condition]]
name = "climb, hot day"
calibrated_airspeed = "70 kt"
alpha = "4 deg"           # cowl datum to the stream far ahead, nose up positive
beta = "0 deg"            # wind from the right positive
day = "hot day"
power = "100 %"
decides = true            # the ranking depends on this condition

[[condition]]
name = "cruise"
calibrated_airspeed = "110 kt"
altitude = "4000 ft"
power = "65 %"
decides = true

[[condition]]
name = "sideslip"
calibrated_airspeed = "70 kt"
alpha = "3 deg"
beta = "10 deg"
power = "40 %"
decides = false           # watched for the sign of the flow only

# One inlet to begin with, a placeholder clear of the propeller axis: replace its place and size.
# The centre is put onto the nearest skin (within 50 mm).
[[opening]]
name = "inlet"
use = "inlet"
kind = "forward-facing"   # forward-facing, scoop, submerged, flush hole, louvre, ...
shape = "oval"
centre = {inlet}
length = {inlet_size}
width = {inlet_size}

# Exits to try, on a grid laid on from one side. The boxes are placeholders too: end them ahead
# of the firewall, and the upper one well ahead of the windshield.
[[search]]
name = "top"
use = "exit"
kind = "flush hole"
side = "top"
low = {top_low}
high = {top_high}
spacing = {spacing}
length = {exit_size}
width = {exit_size}

[[search]]
name = "bottom"
use = "exit"
kind = "plain exit"
side = "bottom"
low = {bottom_low}
high = {bottom_high}
spacing = {spacing}
length = {exit_size}
width = {exit_size}

# More that a [[search]] may ask for:
# edge_distance = "30 mm"        # from sharp edges and from the border of the searched skin
# windshield_distance = "610 mm" # from a [[region]] called windshield
# least_radius = "400 mm"        # of the skin under it: a set of louvres does not bend
# opening_distance = "40 mm"     # from the case's own openings, and between the places found
# pairs = "mirrored"             # right and left together are one opening
# find = 3                       # best places looked for between the grid points

# Where nothing may be cut: box (low, high), cylinder (start, end, radius), sphere (centre,
# radius), half space (centre, direction as three plain numbers).
# [[no_cut]]
# name = "latch"
# shape = "sphere"
# centre = ["600 mm", "300 mm", "100 mm"]
# radius = "60 mm"
# clearance = "30 mm"            # kept round it

# Inlets and exits that share one bay, with their areas: give what the core needs.
# [combinations]
# air_flow = {{ value = "0.8 kg/s", low = "0.7 kg/s", high = "0.95 kg/s", mark = "yours" }}
# core_pressure = {{ value = "250 Pa", low = "200 Pa", high = "320 Pa", mark = "yours" }}
# inlets = 1                     # at most
# exits = 2                      # at most; area_factors = [0.7, 1.0, 1.4] are tried

# Enough air through every core? Take the first "# " away before all lines of [[opening]], [cooling]
# and [[core]], put in your own numbers, and try it: panelcp cool. Those here are placeholders
# of common size, for which inlet and exit want to be larger. Every condition needs its power.
# [[opening]]                    # the network needs an exit of your own; the inlet is the one above
# name = "exit"
# use = "exit"
# kind = "plain exit"            # also flush hole, louvre, flapped exit
# centre = {exit}
# length = {exit_size}
# width = {exit_size}
# [cooling]
# arrangement = "one inlet, one core"   # or "one inlet, divided", "two inlets"; out: own [[duct]]s
# lip_radius = "10 mm"           # of the inlet, on its inner side; left out: sharp
# bay_height = {bay_height}          # waterline of the hot air in the bay; left out: no buoyancy
# [[core]]                       # one for each; several on one inlet: "one inlet, divided"
# name = "radiator"
# cools = "coolant"              # or "oil", "charge air"
# width = "320 mm"
# height = "220 mm"
# drop_test = [["4 m/s", "110 Pa"], ["8 m/s", "370 Pa"]]   # measured: speed on its face, drop
# conductance = {{ value = "900 W/K", air_flow = "0.8 kg/s" }}   # or heat_test, effectiveness
# flow = "90 l/min"              # of the coolant at rated power
# heat = {{ value = "45 kW", low = "38 kW", high = "53 kW", mark = "yours" }}   # at rated power; or
#                                # heat_share = "60 %" of the shaft's, with rated_power in [engine]
# limit = "115 degC"             # left out: limit_temperature of [engine]
# thermostat = true
# cap_pressure = "100 kPa"       # of its cap: then boiling is looked at

# Ducts of your own, in place of `arrangement`. from and to: an opening, a core, "bay", "outside",
# or a name of your own for a plenum. Pieces stand in the order of the air.
# [[duct]]
# name = "inlet duct"
# from = "inlet"
# to = "radiator"
# pieces = [
#     {{ kind = "straight", length = "150 mm", diameter = {inlet_size} }},
#     {{ kind = "trumpet", diameter_in = {inlet_size}, length = "200 mm" }},
# ]

# A fan at a core, and what leaks past it.
# [[fan]]
# name = "fan"
# behind = "radiator"            # or ahead_of; left out `on`: it runs on the ground with the engine
# curve = [["0 m3/s", "190 Pa"], ["0.3 m3/s", "140 Pa"], ["0.6 m3/s", "0 Pa"]]
# diameter = "280 mm"
# doors = "200 cm2"              # flaps beside it that ram air pushes open
# [[leak]]
# name = "radiator seal"
# from = "radiator"              # the place ahead of it
# to = "bay"
# area = {{ value = "10 cm2", low = "5 cm2", high = "20 cm2", mark = "memory" }}

# How results are shown.
# [report]
# views = ["left", "top", "bottom", "front", "three-quarter"]   # also right
# best = 8                       # places in the short list
# paper = "A4"                   # or "Letter"
# date = "2026-05-01"            # on the report; left out: today
# same_limits = false            # each map on its own scale; left out: one scale of Cp for all
# grey_print = true              # maps for printers without colour
# section_stations = [{section}]   # where the body is cut across
"""

NEEDED_PRESSURE = (
    '{ value = "500 Pa", low = "350 Pa", high = "700 Pa", mark = "memory", '
    'source = "placeholder of the starter case: replace it" }'
)


def write_starter_case(
    mesh, unit: str | None = None, output=None, axes: str | None = None
) -> tuple[Path, str]:
    """Write a commented case for a mesh; never over an existing file.

    Parameters
    ----------
    mesh : path of the mesh
    unit : its length unit; proposed from the size when not given
    output : path of the case file; beside the mesh, with the suffix .toml, when not given
    axes : axes of the file that point aft, right and up, as "+x,+y,+z", when they are others

    Returns
    -------
    path of the case file, and the unit

    Raises
    ------
    SurfaceError : the mesh cannot be used, or no unit fits
    CaseError : the case file exists already, or a case is given in place of a mesh
    """
    mesh = Path(mesh)
    if mesh.suffix.lower() == ".toml":
        raise CaseError(
            f"{mesh.name}: is a case, not a mesh; check it with 'panelcp check', or give the mesh "
            f"({', '.join(FORMATS)})"
        )
    pointing = tuple(DEFAULT_AXES.items()) if axes is None else parse_axes(axes)
    output = mesh.with_suffix(".toml") if output is None else Path(output)
    if output.exists():
        raise CaseError(f"{output} exists already; give another name with --output")
    parts = load_parts(mesh)
    unit, _ = proposed_unit(parts, mesh.name, unit, pointing)
    vertices, triangles = joined_parts(parts)
    surface, closing = _closed(parts, ReadingOptions(unit=unit, axes=pointing), mesh.name)
    part = "whole"
    if surface.mirrored:
        sideways = (vertices @ axis_matrix(dict(pointing)).T)[:, 1]
        part = "left half" if sideways.mean() < 0.0 else "right half"
    remark = _axes_remark(vertices, triangles, pointing)
    file = _relative(mesh, output)
    content = starter_case(surface, file, unit, mesh.stem, part, pointing, remark, closing)
    try:
        replace_text(output, content)
    except OSError as error:
        raise CaseError(f"{output}: cannot be written ({error.strerror})") from None
    return output, unit


def starter_case(
    surface: SurfaceMesh,
    file: str,
    unit: str,
    name: str,
    part: str,
    axes: tuple[tuple[str, str], ...] = tuple(DEFAULT_AXES.items()),
    remark: str = "",
    closing: tuple[str, ...] = (),
) -> str:
    """Text of a case with one inlet below the nose and exits searched on the forward part."""
    low, high = surface.bounds
    length, width, height = surface.size
    inlet_size = min(0.10, 0.15 * min(width, height))
    front, top_rear, bottom_rear = low[0] + np.array([0.10, 0.22, 0.30]) * length
    half = 0.2 * width
    exit_size = min(0.12, 0.2 * min(width, height))
    return TEMPLATE.format(
        file=_quoted(file),
        name=_quoted(name),
        unit=_quoted(unit),
        axes="{ " + ", ".join(f"{key} = {_quoted(axis)}" for key, axis in axes) + " }",
        part=_quoted(part),
        closing="".join(f"{line}\n" for line in closing),
        size=f"{length:.2f} m long, {width:.2f} m wide, {height:.2f} m high",
        remark=remark,
        needed=NEEDED_PRESSURE,
        inlet=_place(inlet_place(surface, inlet_size)),
        inlet_size=_length(inlet_size),
        exit_size=_length(exit_size),
        spacing=_length(max(exit_size, length / 40.0)),
        top_low=_place([front, -half, 0.5 * (low[2] + high[2])]),
        top_high=_place([top_rear, half, high[2]]),
        bottom_low=_place([front, -half, low[2]]),
        bottom_high=_place([bottom_rear, half, 0.5 * (low[2] + high[2])]),
        exit=_place(exit_place(surface, 0.5 * (front + bottom_rear))),
        bay_height=_length(round(0.5 * (low[2] + high[2]), 3) + 0.0),
        section=_length(round(0.5 * (front + bottom_rear), 3) + 0.0),
    )


def _axes_remark(vertices, triangles, axes) -> str:
    """Remark for the case when the shape suggests other axes than those taken."""
    proposal = propose_axes(vertices, triangles)
    if proposal.agrees(axes):
        return ""
    return f"# {proposal.line()}:\n# {proposal.case_line()}\n"


TRIALS = (
    (),
    ("afterbody",),
    ("largest_opening",),
    ("afterbody", "largest_opening"),
)
"""What is tried in turn on a surface that is not closed."""

_CLOSING = {
    "afterbody": (True, "afterbody = true"),
    "largest_opening": (0.7, 'largest_opening = "700 mm"'),
}


def _closed(parts, reading: ReadingOptions, name: str) -> tuple[SurfaceMesh, tuple[str, ...]]:
    """The closed surface, and the lines of [surface] that it takes to close it."""
    reason = None
    for trial in TRIALS:
        options = {key: _CLOSING[key][0] for key in trial}
        try:
            surface = surface_from_parts(parts, IntakeOptions(reading, **options), name)
        except SurfaceError as error:
            reason = reason or error
            if "not closed" not in str(error):
                break
            continue
        lines = [_CLOSING[key][1] for key in trial]
        if lines:
            lines.insert(0, f"# As it is, {' '.join(str(reason).split('. ')[0].split())}")
        return surface, tuple(lines)
    raise reason


def inlet_place(surface: SurfaceMesh, size: float) -> np.ndarray:
    """Low place on the front fifth where a round inlet fits that looks forward.

    It keeps clear of the nose point, where a propeller is likely; on a body without such a place
    it is the nose point.

    Parameters
    ----------
    surface : SurfaceMesh
    size : m, of the inlet

    Returns
    -------
    (3,) float, m
    """
    foremost = surface.vertices[:, 0] <= surface.bounds[0, 0] + 1e-6 * surface.size[0]
    nose = surface.vertices[foremost].mean(axis=0)
    places = surface.centroids
    aside = np.linalg.norm((places - nose)[:, 1:], axis=1)
    usable = (places[:, 0] <= nose[0] + 0.2 * surface.size[0]) & (aside >= 1.2 * size)
    usable &= places[:, 2] <= nose[2]
    finder = SkinFinder(surface)
    for looking_forward in (0.85, 0.75, 0.65, 0.55):
        rows = np.flatnonzero(usable & (surface.normals[:, 0] <= -looking_forward))
        for row in rows[np.argsort(places[rows, 2] + np.abs(places[rows, 1]))]:
            on_middle = abs(places[row, 1]) < 0.5 * size
            opening = _laid(finder, places[row] * [1.0, 0.0 if on_middle else 1.0, 1.0], size)
            if opening is not None and opening.normal[0] <= -looking_forward:
                return opening.centre
    return nose


def exit_place(surface: SurfaceMesh, station: float) -> np.ndarray:
    """Place of the skin near the lowest of the middle at a station.

    Parameters
    ----------
    surface : SurfaceMesh
    station : m

    Returns
    -------
    (3,) float, m
    """
    return SkinFinder(surface).nearest([station, 0.0, surface.bounds[0, 2]])[0] * [1.0, 0.0, 1.0]


def _laid(finder: SkinFinder, centre, size: float) -> Opening | None:
    try:
        return lay_opening(finder, "inlet", centre, size, size, shape="oval")
    except SurfaceError:
        return None


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _length(metres: float) -> str:
    return _quoted(f"{metres * 1e3:.0f} mm")


def _place(point) -> str:
    return "[" + ", ".join(_length(round(float(value), 3) + 0.0) for value in point) + "]"


def _relative(mesh: Path, output: Path) -> str:
    try:
        return Path(os.path.relpath(mesh.resolve(), output.resolve().parent)).as_posix()
    except ValueError:
        return mesh.resolve().as_posix()
