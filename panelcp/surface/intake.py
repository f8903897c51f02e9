"""From any mesh or scan to the closed surface that the panels stand on, step by step.

Every step leaves lines in the notes of the surface: what, how many, where.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.afterbody import with_afterbody
from panelcp.surface.checking import least_angles, require_closed, require_outward
from panelcp.surface.closing import closed_openings, ducts_cut
from panelcp.surface.crossings import require_no_crossings
from panelcp.surface.formats import load_parts
from panelcp.surface.mending import LOOSE, MendingOptions, mended
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.surface.panelling import panelled
from panelcp.surface.parts import Part
from panelcp.surface.reading import (
    ReadingOptions,
    as_right_half,
    axis_matrix,
    body_from_parts,
    connected_pieces,
    in_body_axes,
    require_open_at_plane,
)
from panelcp.surface.repair import merge_points, remove_flat
from panelcp.surface.scanning import reduced, scaled_to_tape
from panelcp.surface.scenes import parts_message
from panelcp.surface.smoothing import smoothed
from panelcp.surface.symmetry import (
    PlaneFit,
    cut_to_half,
    laid_to_plane,
    symmetry_plane_from_both_sides,
    symmetry_plane_from_edge,
    symmetry_plane_from_points,
)
from panelcp.surface.windings import consistent_windings
from panelcp.units import UNITS

Progress = Callable[[str], None]
CENTRE_LINES = ("as given", "edge", "both sides", "points")
WAYS = ("flush", "inside")
DEFAULT_PANELS = 8000
"""Panels of one half when a surface is panelled anew without a wanted number."""

MOST_PANELS = 40000
"""A whole body of more triangles than this is panelled anew."""

THIN_ANGLE = 10.0
MOST_THIN = 0.05
"""A surface is panelled anew when more than this part of its triangles have an angle under
THIN_ANGLE degrees."""

MOST_SCANNED = 500000
"""A scan of more triangles than this is reduced before it is panelled."""


@dataclass(frozen=True)
class ScanOptions:
    """How to take a scan; places in the file's own coordinates and unit.

    Attributes
    ----------
    tape_from, tape_to : two places whose distance was taped, or None
    taped_length : m, that distance on the aeroplane
    centre_line : where the plane of symmetry comes from: "as given" (it is BL 0 already), "edge"
        (open edge of a scan of one side), "both sides" or "points"
    centre_points : three or more places on the centre line, for "points"
    beyond : m, how far a scan of one side goes past the centre line, for "edge"
    level_from, level_to : two places of equal waterline, the first ahead of the second, that
        settle which way is aft, for a scan that lies turned; the datum is then that of the reading
    side : "right" or "left", the side that is kept
    reach : m, an edge that stops short of the centre line by no more is carried on to it
    smooth : m, no point is moved farther by smoothing; 0 for none
    """

    tape_from: tuple[float, float, float] | None = None
    tape_to: tuple[float, float, float] | None = None
    taped_length: float | None = None
    centre_line: str = "as given"
    centre_points: tuple[tuple[float, float, float], ...] = ()
    beyond: float = 0.0
    level_from: tuple[float, float, float] | None = None
    level_to: tuple[float, float, float] | None = None
    side: str = "right"
    reach: float = 0.03
    smooth: float = 0.003

    def __post_init__(self):
        tape = (self.tape_from, self.tape_to, self.taped_length)
        if any(part is None for part in tape) and any(part is not None for part in tape):
            raise SurfaceError("scan: tape_from, tape_to and taped_length belong together")
        if (self.level_from is None) != (self.level_to is None):
            raise SurfaceError("scan: level_from and level_to belong together")
        if self.centre_line not in CENTRE_LINES:
            raise SurfaceError(
                f"scan: centre_line {self.centre_line!r} is not known; choose one of "
                f"{', '.join(CENTRE_LINES)}"
            )
        if (self.centre_line == "points") != bool(self.centre_points):
            raise SurfaceError('scan: centre_points belong to centre_line = "points"')


@dataclass(frozen=True)
class Closing:
    """One opening for air that the file leaves open and the panels must close.

    Attributes
    ----------
    name : of the opening
    place : (3,) m, body axes, in its middle
    way : "flush" (a cap that carries on the skin) or "inside" (a duct is kept up to a depth and
        closed there)
    depth : m, for "inside"; one width of the opening when None
    direction : (3,) inward, for "inside"
    """

    name: str
    place: tuple[float, float, float]
    way: str = "flush"
    depth: float | None = None
    direction: tuple[float, float, float] = (1.0, 0.0, 0.0)

    def __post_init__(self):
        if self.way not in WAYS:
            raise SurfaceError(
                f"closing {self.name}: way {self.way!r} is not known; choose flush or inside"
            )
        if not np.linalg.norm(self.direction) > 0.0:
            raise SurfaceError(f"closing {self.name}: the direction is zero")


@dataclass(frozen=True)
class IntakeOptions:
    """Everything that may be done to a surface between its file and the panels.

    Attributes
    ----------
    reading : unit, axes, datum, parts of the file, half or whole
    largest_hole : m, holes up to this are filled
    widest_gap : m, gaps between two edges up to this are bridged
    closings : openings for air to close, by their places
    largest_opening : m, all other openings up to this are closed flush; 0 for none
    afterbody : True closes an open rear end with a faired afterbody
    afterbody_length : m, or None for one in proportion
    replace_wall : True puts the afterbody in the place of a flat wall
    scan : ScanOptions for a scan, or None
    panels : wanted number of panels of one half; 0 keeps the triangles as they are; None keeps
        them when they are fit
    """

    reading: ReadingOptions = field(default_factory=ReadingOptions)
    largest_hole: float = 0.05
    widest_gap: float = 0.025
    closings: tuple[Closing, ...] = ()
    largest_opening: float = 0.0
    afterbody: bool = False
    afterbody_length: float | None = None
    replace_wall: bool = False
    scan: ScanOptions | None = None
    panels: int | None = None


def read_surface(path, unit: str = "m", **options) -> SurfaceMesh:
    """Read a mesh file and make it a closed, outward, whole surface with panels of good shape.

    Parameters
    ----------
    path : STL (text or binary), OBJ, PLY, OFF, GLB, glTF, 3MF or STEP file
    unit : length unit of the file
    options : other fields of `ReadingOptions` and `IntakeOptions`

    Returns
    -------
    SurfaceMesh whose `notes` say everything that was changed

    Raises
    ------
    SurfaceError : no such file, not a mesh, what cannot be mended, several bodies, wrong unit, ...
    """
    ours = {name for name in IntakeOptions.__dataclass_fields__ if name != "reading"}
    intake = {name: value for name, value in options.items() if name in ours}
    reading = {name: value for name, value in options.items() if name not in ours}
    chosen = IntakeOptions(ReadingOptions(unit=unit, **reading), **intake)
    name = Path(path).name
    surface = surface_from_parts(load_file(path, chosen), chosen, name)
    try:
        return with_fit_panels(surface, chosen)
    except SurfaceError as error:
        raise SurfaceError(f"{name}: {error}") from None


def load_file(path, options: IntakeOptions):
    """Parts of a mesh file, as `load_parts` gives them with the step size of the options."""
    step = options.reading.step_size
    return load_parts(path, step and step * 1e3)


def surface_from_parts(
    parts, options: IntakeOptions, name: str, progress: Progress = lambda text: None
) -> SurfaceMesh:
    """Closed surface from the parts of a file; its triangles are those of the file, mended.

    Parameters
    ----------
    parts : sequence of Part, as `load_parts` gives them
    options : IntakeOptions
    name : of the file, for messages
    progress : called with a short text before each long step

    Returns
    -------
    SurfaceMesh, closed, outward, one body

    Raises
    ------
    SurfaceError : with the name of the file
    """
    try:
        return _closed_surface(parts, options, progress)
    except SurfaceError as error:
        message = str(error)
        loose = "separate bodies in one surface" in message or LOOSE in message
        if loose and len(parts) == 1:
            message = f"{message}\n  {parts_message(connected_pieces(parts, options.reading))}"
        raise SurfaceError(f"{name}: {message}") from None


def surface_from_triangles(vertices, triangles, options: IntakeOptions | None = None):
    """Closed surface from loose triangles in the file's own unit and axes: see above.

    Parameters
    ----------
    vertices : (n, 3) float
    triangles : (m, 3) int
    options : IntakeOptions

    Returns
    -------
    SurfaceMesh
    """
    part = Part("surface", vertices, triangles)
    return _closed_surface([part], options or IntakeOptions(), lambda text: None)


def _closed_surface(parts, options: IntakeOptions, progress: Progress) -> SurfaceMesh:
    reading = options.reading
    vertices, triangles, history = body_from_parts(parts, reading)
    steps = _Steps(vertices, triangles)
    steps.take(in_body_axes, reading)
    steps.notes[1:1] = history
    if options.scan is not None:
        _lay_scan(steps, options, progress)
        reading = replace(reading, part="auto")
    vertices, triangles, part = as_right_half(steps.vertices, steps.triangles, reading)
    steps.vertices, steps.triangles = vertices, triangles
    progress("mending the skin")
    _close(steps, options, part != "whole")
    return _finished(steps, part)


def with_fit_panels(
    surface: SurfaceMesh,
    options: IntakeOptions,
    progress: Progress = lambda text: None,
    lines=(),
    finer=(),
) -> SurfaceMesh:
    """The surface itself where its triangles are fit for panels; else panelled anew.

    Parameters
    ----------
    surface : SurfaceMesh
    options : IntakeOptions; of them `panels` and `scan`
    progress : called with a short text before each long step
    lines, finer : see `panelled`

    Returns
    -------
    SurfaceMesh

    Raises
    ------
    SurfaceError : panels that cross
    """
    reason = _unfit(surface, options)
    if not reason:
        if options.scan is not None:  # not looked at before
            require_no_crossings(surface.vertices, surface.triangles)
        return surface
    wanted = options.panels or DEFAULT_PANELS
    progress(f"panelling: {wanted} panels on one half")
    result = panelled(
        surface,
        2 * wanted,
        lines=lines,
        finer=finer,
        folds=options.scan is not None,
        progress=progress,
    )
    require_no_crossings(result.vertices, result.triangles)
    return result.with_notes(f"panelled anew because {reason}")


def _unfit(surface: SurfaceMesh, options: IntakeOptions) -> str:
    """Why the triangles cannot serve as panels, or nothing."""
    if options.panels is not None:
        return f"{options.panels} panels on one half are asked for" if options.panels else ""
    if options.scan is not None:
        return "it is a scan"
    if surface.n_panels > MOST_PANELS:
        return f"{surface.n_panels} triangles are more than {MOST_PANELS}"
    thin = float((least_angles(surface) < THIN_ANGLE).mean())
    if thin > MOST_THIN:
        return f"{100 * thin:.0f} % of the triangles have an angle under {THIN_ANGLE:g} deg"
    return ""


class _Steps:
    """Triangles on their way, with what was done to them."""

    def __init__(self, vertices, triangles):
        self.vertices, self.triangles, self.notes = vertices, triangles, []

    def take(self, step, *arguments, **options):
        """Replace the triangles by what one step makes of them; keep its notes."""
        self.vertices, self.triangles, notes = step(
            self.vertices, self.triangles, *arguments, **options
        )
        self.notes += notes


def _lay_scan(steps: _Steps, options: IntakeOptions, progress: Progress):
    """Scale to the tape, smooth, lay the plane of symmetry onto BL 0 and cut there."""
    scan, reading = options.scan, options.reading
    steps.take(merge_points)
    steps.take(remove_flat)
    steps.take(consistent_windings)
    places = {
        name: _in_body(getattr(scan, name), reading)
        for name in ("tape_from", "tape_to", "level_from", "level_to")
        if getattr(scan, name) is not None
    }
    factor = 1.0
    if scan.taped_length is not None:
        tape = (places["tape_from"], places["tape_to"], scan.taped_length)
        before = np.linalg.norm(steps.vertices)
        steps.take(scaled_to_tape, *tape)
        factor = float(np.linalg.norm(steps.vertices) / before)
    if scan.smooth > 0.0:
        progress("smoothing the scan")
        steps.take(smoothed, scan.smooth)
        steps.take(reduced, MOST_SCANNED)
    progress("laying the scan onto the centre line")
    plane = _plane_of_symmetry(steps, scan, reading, factor)
    if "level_from" in places:
        aft = places["level_to"] - places["level_from"]
        steps.take(laid_to_plane, plane, aft=aft, datum=np.zeros(3))
    elif scan.centre_line != "as given":
        steps.take(laid_to_plane, plane)
    steps.take(cut_to_half, scan.side, scan.reach)


def _plane_of_symmetry(steps: _Steps, scan: ScanOptions, reading, factor: float) -> PlaneFit:
    if scan.centre_line == "points":
        points = [factor * _in_body(point, reading) for point in scan.centre_points]
        return symmetry_plane_from_points(points)
    skin = (steps.vertices, steps.triangles)
    if scan.centre_line == "both sides":
        return symmetry_plane_from_both_sides(*skin)
    if scan.centre_line == "as given":
        return PlaneFit(np.zeros(3), [0.0, 1.0, 0.0], 0.0, 0.0, 0, "the file")
    plane = symmetry_plane_from_edge(*skin, beyond=scan.beyond)
    if scan.beyond > 0.0:
        # the strip past the centre line settles the plane better than a ragged edge
        plane = symmetry_plane_from_both_sides(*skin, plane)
    return plane


def _in_body(point, reading: ReadingOptions) -> np.ndarray:
    """A place in the file's coordinates, in body axes, m."""
    offset = np.asarray(point, dtype=float) - reading.datum
    return axis_matrix(dict(reading.axes)) @ offset * UNITS["length"][reading.unit]


def _close(steps: _Steps, options: IntakeOptions, half: bool):
    """Mend; close openings and the rear end; then fill what is left, and refuse what is wrong."""
    mending = MendingOptions(
        crack_tolerance=options.reading.crack_tolerance,
        plane_tolerance=options.reading.plane_tolerance,
        largest_hole=options.largest_hole,
        widest_gap=options.widest_gap,
        # the rough skin of a scan folds over in small places; its panels are looked at instead
        crossings=options.scan is None,
    )
    wider = (options.closings, options.largest_opening, options.afterbody, options.replace_wall)
    if any(wider):
        first = replace(mending, one_body=False, crossings=False)
        steps.take(mended, first, half, leave_larger=True)
        _close_openings(steps, options)
    steps.take(mended, mending, half)


def _close_openings(steps: _Steps, options: IntakeOptions):
    inside = [closing for closing in options.closings if closing.way == "inside"]
    flush = [closing for closing in options.closings if closing.way == "flush"]
    if inside:
        steps.take(
            ducts_cut,
            [closing.place for closing in inside],
            axes=[closing.direction for closing in inside],
            depths=[closing.depth for closing in inside],
            names=[closing.name for closing in inside],
        )
    if flush:
        names = [closing.name for closing in flush]
        steps.take(closed_openings, [closing.place for closing in flush], names)
    if options.afterbody or options.replace_wall:
        steps.take(with_afterbody, options.afterbody_length, options.replace_wall)
    if options.largest_opening > 0.0:
        steps.take(closed_openings, largest=options.largest_opening)


def _finished(steps: _Steps, part: str) -> SurfaceMesh:
    if part == "whole":
        surface = SurfaceMesh(steps.vertices, steps.triangles, notes=steps.notes)
    else:
        require_open_at_plane(steps.triangles, part)
        notes = [*steps.notes, f"{part} mirrored about BL 0"]
        surface = mirrored_whole(steps.vertices, steps.triangles, notes=notes)
        require_closed(surface.vertices, surface.triangles)
    require_outward(surface)
    return surface
