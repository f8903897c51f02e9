"""From a mesh file to a closed, oriented surface in metres and body axes."""

from __future__ import annotations

import io
import logging
import os
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface import repair
from panelcp.surface.checking import require_closed, require_one_body, require_outward
from panelcp.surface.doubts import require_lengthwise
from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from panelcp.units import UNITS

FORMATS = (".obj", ".ply", ".stl")
EXPECTED_LENGTH = (0.3, 40.0)
"""Longest dimension in m that is believed; outside it the length unit is probably wrong."""

_PROPOSED = ("m", "cm", "mm", "in", "ft")
_SURE_LENGTHS = (("m", 1.0, 12.0), ("in", 40.0, 500.0), ("mm", 1000.0, 20000.0))

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
    """

    unit: str = "m"
    axes: tuple[tuple[str, str], ...] = tuple(DEFAULT_AXES.items())
    datum: tuple[float, float, float] = (0.0, 0.0, 0.0)
    part: str = "auto"
    plane_tolerance: float = 0.5e-3
    crack_tolerance: float = 0.5e-3
    reverse: bool = False

    def __post_init__(self):
        if self.unit not in UNITS["length"]:
            raise SurfaceError(
                f"unknown length unit {self.unit!r}; known: {', '.join(UNITS['length'])}"
            )
        if self.part not in PARTS:
            raise SurfaceError(f"unknown part {self.part!r}; choose one of {', '.join(PARTS)}")
        axis_matrix(dict(self.axes))


def read_surface(path, unit: str = "m", **options) -> SurfaceMesh:
    """Read a mesh file and make it a closed, outward, whole surface.

    Parameters
    ----------
    path : file in STL (text or binary), OBJ or PLY format
    unit : length unit of the file
    options : the other fields of `ReadingOptions`

    Returns
    -------
    SurfaceMesh whose `notes` say everything that was changed

    Raises
    ------
    SurfaceError : no such file, not a mesh, open, inside out, several bodies, wrong unit, ...
    """
    chosen = ReadingOptions(unit=unit, **options)
    vertices, triangles = load_triangles(path)
    name = Path(path).name
    try:
        return surface_from_triangles(vertices, triangles, chosen)
    except SurfaceError as error:
        raise SurfaceError(f"{name}: {error}") from None


def surface_from_triangles(vertices, triangles, options: ReadingOptions) -> SurfaceMesh:
    """Closed surface from loose triangles in the file's own unit and axes.

    Parameters
    ----------
    vertices : (n, 3) float, as in the file
    triangles : (m, 3) int
    options : ReadingOptions

    Returns
    -------
    SurfaceMesh
    """
    _require_finite(vertices)
    matrix = axis_matrix(dict(options.axes))
    scale = UNITS["length"][options.unit]
    vertices = (np.asarray(vertices, dtype=float) - options.datum) @ matrix.T * scale
    notes = [f"read {len(triangles)} triangles, length unit {options.unit}"]
    if (np.linalg.det(matrix) < 0) != options.reverse:
        triangles = np.asarray(triangles)[:, [0, 2, 1]]
        notes.append("all triangles turned over (left-handed axes or reverse asked for)")
    _require_believable_size(vertices, options.unit)
    require_lengthwise(vertices)
    vertices, triangles, lines = repair.merge_coincident(vertices, triangles)
    notes += lines
    vertices, triangles, part = _as_right_half(vertices, triangles, options)
    if part == "whole":
        return _finish_whole(vertices, triangles, options, notes)
    return _finish_half(vertices, triangles, options, part, notes)


def load_triangles(path) -> tuple[np.ndarray, np.ndarray]:
    """Bare triangles of a mesh file, nothing merged and nothing changed.

    Returns
    -------
    vertices : (n, 3) float
    triangles : (m, 3) int
    """
    path = Path(path)
    _require_readable(path)
    data = _plain_text(_require_whole_stl(path, path.read_bytes()), path.suffix.lower())
    try:
        vertices, triangles = _parsed(data, path.suffix[1:].lower())
    except Exception as error:
        raise SurfaceError(
            f"{path.name}: not a mesh that can be read as {path.suffix.lower()} "
            f"({_one_line(error)}); export it again as STL"
        ) from error
    if triangles.ndim != 2 or len(triangles) == 0:
        raise SurfaceError(
            f"{path.name}: no triangles in the file; export the skin as a triangle mesh"
        )
    _require_known_vertices(path, vertices, triangles)
    return vertices, triangles


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


def _parsed(data: bytes, file_type: str) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and triangles; what the reader logs or warns about shows in the result."""
    import trimesh

    log = logging.getLogger("trimesh")
    level = log.level
    log.setLevel(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(
                io.BytesIO(data), file_type=file_type, process=False, skip_materials=True
            )
            mesh = scene.to_mesh()
            return np.asarray(mesh.vertices, float), np.asarray(mesh.faces)
    finally:
        log.setLevel(level)


def _plain_text(data: bytes, suffix: str) -> bytes:
    """Text files in UTF-8; old exporters write names and remarks in Latin-1."""
    if suffix == ".ply" and b"format ascii" not in data[:200]:
        return data
    if suffix == ".stl" and _is_binary_stl(data):
        return data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1").encode("utf-8")
    return data


def _is_binary_stl(data: bytes) -> bool:
    return len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")


def _require_whole_stl(path: Path, data: bytes) -> bytes:
    """The data unchanged; neither text nor binary of the promised length is an error."""
    if path.suffix.lower() != ".stl" or _is_binary_stl(data):
        return data
    if data.lstrip()[:5].lower() == b"solid":
        return data
    if len(data) < 84:
        raise SurfaceError(
            f"{path.name}: not a mesh: {len(data)} bytes that do not begin with 'solid' are too "
            "few for an STL file; export it again"
        )
    promised = int.from_bytes(data[80:84], "little")
    raise SurfaceError(
        f"{path.name}: not a mesh that can be read as .stl: as a binary file it promises "
        f"{promised} triangles in {84 + 50 * promised} bytes, but has {len(data)} bytes. It is "
        "cut short or no STL; copy or export it again"
    )


def _require_known_vertices(path: Path, vertices: np.ndarray, triangles: np.ndarray):
    if vertices.ndim != 2 or vertices.shape[1] != 3:
        raise SurfaceError(
            f"{path.name}: its points do not have three coordinates each; export it again"
        )
    wrong = ((triangles < 0) | (triangles >= len(vertices))).any(axis=1)
    if wrong.any():
        raise SurfaceError(
            f"{path.name}: {np.count_nonzero(wrong)} of {len(triangles)} triangles name points "
            f"that the file does not have (first: triangle {np.flatnonzero(wrong)[0]}; there are "
            f"{len(vertices)} points). The file is damaged; export it again"
        )


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return text if len(text) <= 120 else text[:117] + "..."


def _require_readable(path: Path):
    if path.is_dir():
        raise SurfaceError(f"{path}: is a folder; give a mesh file ({', '.join(FORMATS)})")
    if not path.exists():
        raise SurfaceError(f"{path}: no such file")
    if path.suffix.lower() not in FORMATS:
        raise SurfaceError(
            f"unknown mesh format {path.suffix!r} for {path.name}; known: {', '.join(FORMATS)}"
        )
    if not os.access(path, os.R_OK):
        raise SurfaceError(f"{path}: may not be read (permissions)")
    if path.stat().st_size == 0:
        raise SurfaceError(f"{path.name}: the file is empty")


def _require_finite(vertices):
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        raise SurfaceError(
            f"{np.count_nonzero(bad)} of {len(vertices)} vertices are not finite numbers "
            f"(first: vertex {np.flatnonzero(bad)[0]}); export the surface again"
        )


def _require_believable_size(vertices: np.ndarray, unit: str):
    size = np.ptp(vertices, axis=0)
    longest = size.max()
    low, high = EXPECTED_LENGTH
    if low <= longest <= high:
        return
    in_unit = longest / UNITS["length"][unit]
    fitting = [name for name in _PROPOSED if _fits(in_unit, name)]
    advice = f"; the length unit is perhaps {' or '.join(fitting)}" if fitting else ""
    raise SurfaceError(
        f"surface is {longest:.4g} m long when its unit is {unit!r}; expected {low:g} to "
        f"{high:g} m{advice}. Set the unit in [surface], or --unit"
    )


def _fits(length: float, unit: str) -> bool:
    return 3.0 <= length * UNITS["length"][unit] <= 15.0


def _as_right_half(vertices, triangles, options: ReadingOptions):
    """Decide whether a half was given; a left half is moved to the right."""
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


def _finish_whole(vertices, triangles, options, notes) -> SurfaceMesh:
    vertices, triangles, lines = repair.close_cracks(vertices, triangles, options.crack_tolerance)
    require_one_body(vertices, triangles)
    require_closed(vertices, triangles)
    surface = SurfaceMesh(vertices, triangles, notes=[*notes, *lines])
    require_outward(surface)
    return surface


def _finish_half(vertices, triangles, options, part, notes) -> SurfaceMesh:
    vertices, lines = repair.snap_to_plane(vertices, triangles, options.plane_tolerance)
    notes = [*notes, *lines]
    vertices, triangles, lines = repair.close_cracks(vertices, triangles, options.crack_tolerance)
    require_one_body(vertices, triangles)
    require_closed(vertices, triangles, open_at_plane=True)
    _require_open_at_plane(triangles, part)
    notes = [*notes, *lines, f"{part} mirrored about BL 0"]
    surface = mirrored_whole(vertices, triangles, notes=notes)
    require_closed(surface.vertices, surface.triangles)
    require_outward(surface)
    return surface


def propose_unit(vertices) -> tuple[str | None, str]:
    """Length unit that makes a body the size of a light aircraft's nose or fuselage.

    Parameters
    ----------
    vertices : (n, 3) float, in the file's own unit

    Returns
    -------
    unit : "m", "mm", "in", ... or None when no unit or no single one fits
    reason : why, for a person

    Examples
    --------
    >>> propose_unit(np.array([[0.0, 0, 0], [6900.0, 500, 900]]))
    ('mm', 'the surface is 6900 long')
    """
    _require_finite(vertices)
    longest = float(np.ptp(vertices, axis=0).max())
    reason = f"the surface is {longest:.4g} long"
    for unit, low, high in _SURE_LENGTHS:
        if low <= longest <= high:
            return unit, reason
    fitting = [unit for unit in _PROPOSED if _fits(longest, unit)]
    if not fitting:
        return None, f"{reason}: no usual length unit fits it; give --unit"
    sizes = [f"{unit} ({longest * UNITS['length'][unit]:.3g} m)" for unit in fitting]
    advice = " or ".join(f"--unit {unit}" for unit in fitting)
    return None, (
        f"{reason}: no usual length unit fits surely; perhaps {' or '.join(sizes)}: give {advice}"
    )


def _require_open_at_plane(triangles, part):
    if len(repair.open_vertices(triangles)) == 0:
        raise SurfaceError(
            f"taken as {part}, since it lies on one side of BL 0 only, but it is closed there: "
            "mirrored it would be two bodies. Check axes and datum; delete a wall that closes the "
            'half at BL 0; or set part = "whole" for a body that does lie beside BL 0'
        )
