"""What the tool makes of a file, in a few lines."""

from __future__ import annotations

from pathlib import Path

from panelcp.case.reading import Case, read_case
from panelcp.case.running import prepare_case
from panelcp.errors import CaseError, SurfaceError
from panelcp.report.contents import condition_line, opening_line
from panelcp.surface.checking import SurfaceCheck, check_surface
from panelcp.surface.reading import (
    FORMATS,
    load_triangles,
    parse_axes,
    propose_unit,
    read_surface,
)


def check_file(path, unit: str | None = None, axes: str | None = None) -> list[str]:
    """Describe a mesh or a case file.

    Parameters
    ----------
    path : of a mesh (STL, OBJ, PLY) or a case (TOML)
    unit : length unit of a mesh; proposed from its size when not given
    axes : axes of a mesh that point aft, right and up, as "+x,+y,+z", when they are others

    Returns
    -------
    Lines of text

    Raises
    ------
    PanelcpError : mistakes in the file, all that were found
    """
    path = Path(path)
    if path.suffix.lower() == ".toml":
        if unit is not None or axes is not None:
            raise CaseError(f"{path.name}: unit and axes of a case stand in its [surface] table")
        return _case_lines(read_case(path))
    if path.is_file() and path.suffix.lower() not in FORMATS:
        raise CaseError(
            f"{path.name}: neither a case (.toml) nor a mesh that can be read "
            f"({', '.join(FORMATS)})"
        )
    return _mesh_lines(path, unit, axes)


def _mesh_lines(path: Path, unit: str | None, axes: str | None) -> list[str]:
    given = {} if axes is None else {"axes": parse_axes(axes)}
    vertices, _ = load_triangles(path)
    lines = [f"{path.name}"]
    if unit is None:
        unit, reason = propose_unit(vertices)
        if unit is None:
            raise SurfaceError(f"{path.name}: {reason}")
        lines.append(f"length unit: {unit}, proposed because {reason}; say so in the case")
    check = check_surface(read_surface(path, unit=unit, **given))
    return [*lines, *check.lines(), _verdict(check, "fit for panels")]


def _case_lines(case: Case) -> list[str]:
    prepared = prepare_case(case)
    lines = [f"{case.path.name}: {case.name}"]
    if case.question:
        lines.append(f"question: {case.question}")
    check = check_surface(prepared.surface)
    lines += [f"surface: {case.surface_path.name}", *check.lines()]
    lines += [f"condition {condition_line(condition)}" for condition in case.conditions]
    lines += [f"opening: {opening_line(opening)}" for opening in prepared.openings]
    lines += [found.line() for found in prepared.searches]
    lines += [f"no-cut zone: {zone.name} ({zone.shape})" for zone in case.zones]
    return [*lines, _verdict(check, "no mistakes found")]


def _verdict(check: SurfaceCheck, good: str) -> str:
    """The last line: that all is well, or the doubts again."""
    return f"doubts: {'; '.join(check.doubts)}" if check.doubts else good
