"""A commented starter case for a surface."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np

from panelcp.errors import CaseError, SurfaceError
from panelcp.report.files import replace_text
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.reading import load_triangles, propose_unit, read_surface

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
unit = {unit}                 # check: the surface is then {length:.2f} m long
axes = {{ aft = "+x", right = "+y", up = "+z" }}   # axes of the file that point there
part = {part}

# Names for parts of the skin (boxes; a later one wins). Wanted for the model error of Cp:
# [[region]]
# name = "windshield pocket"
# low = ["1000 mm", "-400 mm", "200 mm"]
# high = ["1300 mm", "400 mm", "500 mm"]
# cp_deviation = {{ value = "0.20", mark = "memory" }}

[engine]
rated_power = "75 kW"
# Pressure that inlet, core and exit need together at full power on the hot day at sea level:
# from a bench test of the core if you can. This is a placeholder of common size: replace it.
needed_pressure = {{ value = "500 Pa", low = "350 Pa", high = "700 Pa", mark = "memory" }}
limit_temperature = "115 degC"    # of the coolant; the engine's own document governs

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

# One inlet to begin with; the centre is put onto the nearest skin (within 50 mm).
[[opening]]
name = "inlet"
use = "inlet"
kind = "forward-facing"   # forward-facing, scoop, submerged, flush hole, louvre, ...
shape = "oval"
centre = {inlet}
length = {inlet_size}
width = {inlet_size}

# Exits to try, on a grid laid on from one side:
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

# Where nothing may be cut: box (low, high), cylinder (start, end, radius), sphere (centre,
# radius), half space (centre, direction as three plain numbers).
# [[no_cut]]
# name = "latch"
# shape = "sphere"
# centre = ["600 mm", "300 mm", "100 mm"]
# radius = "60 mm"
"""


def write_starter_case(mesh, unit: str | None = None, output=None) -> tuple[Path, str]:
    """Write a commented case for a mesh; never over an existing file.

    Parameters
    ----------
    mesh : path of the mesh
    unit : its length unit; proposed from the size when not given
    output : path of the case file; beside the mesh, with the suffix .toml, when not given

    Returns
    -------
    path of the case file, and the unit

    Raises
    ------
    SurfaceError : the mesh cannot be used, or no unit fits
    CaseError : the case file exists already
    """
    mesh = Path(mesh)
    output = mesh.with_suffix(".toml") if output is None else Path(output)
    if output.exists():
        raise CaseError(f"{output} exists already; give another name with --output")
    vertices, _ = load_triangles(mesh)
    if unit is None:
        unit, reason = propose_unit(vertices)
        if unit is None:
            raise SurfaceError(f"{mesh.name}: {reason} with --unit")
    surface = read_surface(mesh, unit=unit)
    part = "whole"
    if surface.mirrored:
        part = "left half" if vertices[:, 1].mean() < 0.0 else "right half"
    content = starter_case(surface, _relative(mesh, output), unit, mesh.stem, part)
    try:
        replace_text(output, content)
    except OSError as error:
        raise CaseError(f"{output}: cannot be written ({error.strerror})") from None
    return output, unit


def starter_case(surface: SurfaceMesh, file: str, unit: str, name: str, part: str) -> str:
    """Text of a case with one inlet at the nose and exits searched on the forward third."""
    low, high = surface.bounds
    length, width, height = surface.size
    nose = surface.vertices[np.argmin(surface.vertices[:, 0])]
    front, rear = low[0] + 0.10 * length, low[0] + 0.30 * length
    half = 0.2 * width
    exit_size = min(0.12, 0.2 * min(width, height))
    return TEMPLATE.format(
        file=_quoted(file),
        name=_quoted(name),
        unit=_quoted(unit),
        part=_quoted(part),
        length=length,
        inlet=_place(nose),
        inlet_size=_length(min(0.10, 0.15 * min(width, height))),
        exit_size=_length(exit_size),
        spacing=_length(max(exit_size, length / 40.0)),
        top_low=_place([front, -half, 0.5 * (low[2] + high[2])]),
        top_high=_place([rear, half, high[2]]),
        bottom_low=_place([front, -half, low[2]]),
        bottom_high=_place([rear, half, 0.5 * (low[2] + high[2])]),
    )


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
