"""From the parts of a mesh file to triangles in metres and body axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface import repair, scenes
from panelcp.surface.doubts import require_lengthwise
from panelcp.surface.parts import Part, joined_parts
from panelcp.surface.proposals import fitting_units, require_finite
from panelcp.units import UNITS

EXPECTED_LENGTH = (0.3, 40.0)
"""Longest dimension in m that is believed; outside it the length unit is probably wrong."""

DEFAULT_AXES = {"aft": "+x", "right": "+y", "up": "+z"}
PARTS = ("auto", "whole", "right half", "left half")


@dataclass(frozen=True)
class ReadingOptions:
    """How to take a mesh file.

    Attributes
    ----------
    unit : length unit of the file ("mm", "in", "m", ...)
    axes : for each of "aft", "right", "up" the axis of the file that points there ("+x", "-z")
    datum : (3,) position of the datum in the file's own coordinates and unit
    part : "auto", "whole", "right half" or "left half"
    plane_tolerance : m, points of a half this near to BL 0 are put onto it
    crack_tolerance : m, open edges nearer than this to each other are joined
    reverse : True turns all triangles over
    keep, drop : names of parts of the file to take, or to leave out; * and ? for any letters
    drop_inside : True leaves out parts that lie wholly inside the skin
    drop_small : True leaves out tiny parts
    unite : True makes one body of closed parts that overlap
    step_size : m, longest edge of triangles laid onto STEP surfaces; from their size when None
    """

    unit: str = "m"
    axes: tuple[tuple[str, str], ...] = tuple(DEFAULT_AXES.items())
    datum: tuple[float, float, float] = (0.0, 0.0, 0.0)
    part: str = "auto"
    plane_tolerance: float = 0.5e-3
    crack_tolerance: float = 0.5e-3
    reverse: bool = False
    keep: tuple[str, ...] = ()
    drop: tuple[str, ...] = ()
    drop_inside: bool = False
    drop_small: bool = False
    unite: bool = False
    step_size: float | None = None

    def __post_init__(self):
        object.__setattr__(self, "keep", _words(self.keep))
        object.__setattr__(self, "drop", _words(self.drop))
        if self.unit not in UNITS["length"]:
            raise SurfaceError(
                f"unknown length unit {self.unit!r}; known: {', '.join(UNITS['length'])}"
            )
        if self.part not in PARTS:
            raise SurfaceError(f"unknown part {self.part!r}; choose one of {', '.join(PARTS)}")
        axis_matrix(dict(self.axes))


def body_from_parts(parts, options: ReadingOptions) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Triangles of the parts that make the skin, in the unit and axes of the file.

    Parameters
    ----------
    parts : sequence of Part
    options : ReadingOptions; of them keep, drop, drop_inside, drop_small and unite

    Returns
    -------
    vertices : (n, 3) float
    triangles : (m, 3) int
    notes : what was left out and united, and a unit of the file that is not the one given

    Raises
    ------
    SurfaceError : unknown names, several unconnected parts and nothing chosen, open parts to unite

    Notes
    -----
    A file of one part is split into its connected pieces, "part 1" being that of most triangles,
    when the choice asks for more than its own name.
    """
    parts = list(parts)
    choice = {name: getattr(options, name) for name in ("keep", "drop", "drop_inside")}
    choice["drop_small"] = options.drop_small
    asked = any(choice.values()) or options.unite
    if len(parts) == 1 and asked and not {*options.keep, *options.drop} & {parts[0].name}:
        parts = connected_pieces(parts, options)
    if options.unite and not any(choice.values()):
        choice["keep"] = ("*",)
    tolerance = _in_file_unit(options.crack_tolerance, options)
    chosen, notes = scenes.choose_parts(parts, **choice, tolerance=tolerance)
    stated = parts[0].unit
    if stated is not None and stated != options.unit:
        notes.append(f"the file states the length unit {stated}, but {options.unit} was asked for")
    if options.unite:
        vertices, triangles, lines = scenes.unite(chosen)
        return vertices, triangles, notes + lines
    return (*joined_parts(chosen), notes)


def connected_pieces(parts, options: ReadingOptions) -> list[Part]:
    """The connected pieces of parts, as parts of their own: "part 1" has most triangles."""
    return scenes.connected_parts(parts, _in_file_unit(options.crack_tolerance, options))


def _in_file_unit(length: float, options: ReadingOptions) -> float:
    return length / UNITS["length"][options.unit]


def in_body_axes(
    vertices, triangles, options: ReadingOptions
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Metres, x aft, y right, z up, from the datum; triangles outward as before.

    Parameters
    ----------
    vertices : (n, 3) float, in the unit and axes of the file
    triangles : (m, 3) int
    options : ReadingOptions

    Returns
    -------
    vertices : (n, 3) float, m, body axes
    triangles : (m, 3) int
    notes : unit, number of triangles, and whether they were turned over

    Raises
    ------
    SurfaceError : numbers that are none, a size that is not believable, wrong axes
    """
    require_finite(vertices)
    matrix = axis_matrix(dict(options.axes))
    scale = UNITS["length"][options.unit]
    vertices = (np.asarray(vertices, dtype=float) - options.datum) @ matrix.T * scale
    notes = [f"read {len(triangles)} triangles, length unit {options.unit}"]
    if (np.linalg.det(matrix) < 0) != options.reverse:
        triangles = np.asarray(triangles)[:, [0, 2, 1]]
        notes.append("all triangles turned over (left-handed axes or reverse asked for)")
    _require_believable_size(vertices, options.unit)
    require_lengthwise(vertices)
    return vertices, triangles, notes


def _words(names) -> tuple[str, ...]:
    return (names,) if isinstance(names, str) else tuple(str(name) for name in names)


def axis_matrix(axes: dict[str, str]) -> np.ndarray:
    """(3, 3) matrix that takes the file's coordinates to x aft, y right, z up.

    Examples
    --------
    >>> axis_matrix({"aft": "-z", "right": "+x", "up": "+y"}) @ [0.0, 0.0, -2.0]
    array([2., 0., 0.])
    """
    matrix = np.zeros((3, 3))
    for row, direction in enumerate(("aft", "right", "up")):
        text = str(axes.get(direction, "")).strip().lower()
        sign, letter = (text[0], text[1:]) if text[:1] in "+-" and text else ("+", text)
        if letter not in ("x", "y", "z"):
            raise SurfaceError(
                f"axes: {direction} = {axes.get(direction)!r} is not an axis of the file; "
                'write for example aft = "+x", right = "+y", up = "+z"'
            )
        matrix[row, "xyz".index(letter)] = -1.0 if sign == "-" else 1.0
    if abs(np.linalg.det(matrix)) < 0.5:
        raise SurfaceError(
            f"axes: aft, right and up must be three different axes of the file, not {axes}"
        )
    return matrix


def parse_axes(text: str) -> tuple[tuple[str, str], ...]:
    """Axes of a file from one text: those that point aft, right and up.

    Examples
    --------
    >>> parse_axes("-z,+x,+y")
    (('aft', '-z'), ('right', '+x'), ('up', '+y'))
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 3:
        raise SurfaceError(
            f"axes {text!r} are not three; write the axes of the file that point aft, right and "
            "up: --axes=+x,+y,+z"
        )
    axes = tuple(zip(DEFAULT_AXES, parts, strict=True))
    axis_matrix(dict(axes))
    return axes


def _require_believable_size(vertices: np.ndarray, unit: str):
    size = np.ptp(vertices, axis=0)
    longest = size.max()
    low, high = EXPECTED_LENGTH
    if low <= longest <= high:
        return
    in_unit = longest / UNITS["length"][unit]
    fitting = fitting_units(in_unit)
    advice = f"; the length unit is perhaps {' or '.join(fitting)}" if fitting else ""
    raise SurfaceError(
        f"surface is {longest:.4g} m long when its unit is {unit!r}; expected {low:g} to "
        f"{high:g} m{advice}. Set the unit in [surface], or --unit"
    )


def as_right_half(
    vertices, triangles, options: ReadingOptions
) -> tuple[np.ndarray, np.ndarray, str]:
    """Decide whether a half was given; a left half is moved to the right.

    Parameters
    ----------
    vertices : (n, 3) float, m, body axes
    triangles : (m, 3) int
    options : ReadingOptions

    Returns
    -------
    vertices : (n, 3) float, m
    triangles : (m, 3) int
    part : "whole", "right half" or "left half"

    Raises
    ------
    SurfaceError : given as a half, but it reaches across BL 0
    """
    low, high = vertices[:, 1].min(), vertices[:, 1].max()
    tolerance = max(options.plane_tolerance, 1e-9)
    part = options.part
    if part == "auto":
        part = "whole"
        if low >= -tolerance and high > tolerance:
            part = "right half"
        elif high <= tolerance and low < -tolerance:
            part = "left half"
    wrong_side = -low if part == "right half" else high if part == "left half" else 0.0
    if wrong_side > tolerance:
        raise SurfaceError(
            f"given as {part}, but points reach {wrong_side * 1e3:.3g} mm across BL 0 "
            f"(tolerance {tolerance * 1e3:g} mm); check the axes and the datum, or set part"
        )
    if part == "left half":
        return vertices * [1.0, -1.0, 1.0], triangles[:, [0, 2, 1]], part
    return vertices, triangles, part


def require_open_at_plane(triangles, part: str):
    """Refuse a half that is closed at BL 0: mirrored it would be two bodies.

    Parameters
    ----------
    triangles : (m, 3) int
    part : "right half" or "left half", for the message

    Raises
    ------
    SurfaceError : no open edge
    """
    if len(repair.open_vertices(triangles)) == 0:
        raise SurfaceError(
            f"taken as {part}, since it lies on one side of BL 0 only, but it is closed there: "
            "mirrored it would be two bodies. Check axes and datum; delete a wall that closes the "
            'half at BL 0; or set part = "whole" for a body that does lie beside BL 0'
        )
