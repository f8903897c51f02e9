"""What the tool makes of a file, in a few lines."""

from __future__ import annotations

from pathlib import Path

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import Case, read_case
from panelcp.errors import CaseError, SurfaceError
from panelcp.report.contents import condition_line, opening_line
from panelcp.surface.checking import SurfaceCheck, check_surface
from panelcp.surface.formats import FORMATS, load_parts
from panelcp.surface.intake import IntakeOptions, surface_from_parts, with_fit_panels
from panelcp.surface.parts import joined_parts
from panelcp.surface.proposals import AxesProposal, propose_axes, propose_unit, size_words
from panelcp.surface.reading import (
    DEFAULT_AXES,
    ReadingOptions,
    body_from_parts,
    parse_axes,
)


def check_file(path, unit: str | None = None, axes: str | None = None) -> list[str]:
    """Describe a mesh or a case file.

    Parameters
    ----------
    path : of a mesh (STL, OBJ, PLY, OFF, GLB, glTF, 3MF, STEP) or a case (TOML)
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
    pointing = tuple(DEFAULT_AXES.items()) if axes is None else parse_axes(axes)
    parts = load_parts(path)
    unit, lines = proposed_unit(parts, path.name, unit, pointing)
    options = ReadingOptions(unit=unit, axes=pointing)
    proposal = None if axes is not None else _proposal(parts, options)
    try:
        surface = surface_from_parts(parts, IntakeOptions(options), path.name)
        check = check_surface(with_fit_panels(surface, IntakeOptions(options)))
    except SurfaceError as error:
        raise SurfaceError(f"{error}{_advice(proposal)}") from None
    if proposal is not None:
        lines += _axes_lines(proposal)
    return [path.name, *lines, *check.lines(), _verdict(check, "fit for panels")]


def proposed_unit(parts, name: str, unit: str | None, axes) -> tuple[str, list[str]]:
    """The length unit given, or else the one that the file or its size proposes.

    Parameters
    ----------
    parts : of the mesh
    name : of the file, for messages
    unit : as given, or None
    axes : of the file that point aft, right and up

    Returns
    -------
    unit : str
    lines : what is proposed and why; none when a unit is given

    Raises
    ------
    SurfaceError : no unit, or no single one, fits
    """
    if unit is not None:
        return unit, []
    vertices, triangles = joined_parts(parts)
    unit, reason = propose_unit(vertices, parts[0].unit)
    if unit is None:
        size = size_words(vertices, triangles, axes, None)
        raise SurfaceError(f"{name}: in its own unit {size}. So {reason}")
    return unit, [f"length unit: {unit}, proposed because {reason}; say so in the case"]


def _proposal(parts, options: ReadingOptions) -> AxesProposal | None:
    """Axes proposed from the skin, or none when it cannot be chosen or has no size."""
    try:
        vertices, triangles, _ = body_from_parts(parts, options)
        return propose_axes(vertices, triangles)
    except SurfaceError:
        return None


def _axes_lines(proposal: AxesProposal) -> list[str]:
    lines = [proposal.line()]
    if not proposal.agrees(DEFAULT_AXES):
        lines.append(
            f"taken as +x,+y,+z all the same; if the proposal is right: --axes={proposal.option}, "
            f"in a case {proposal.case_line()}"
        )
    return lines


def _advice(proposal: AxesProposal | None) -> str:
    if proposal is None or proposal.agrees(DEFAULT_AXES):
        return ""
    return f". The shape suggests other axes: --axes={proposal.option}"


def _case_lines(case: Case) -> list[str]:
    prepared = prepare_case(case)
    lines = [f"{case.path.name}: {case.name}"]
    if case.question:
        lines.append(f"question: {case.question}")
    check = check_surface(prepared.surface)
    lines += [f"surface: {case.surface_path.name}", *check.lines()]
    lines += [f"condition {_condition_text(case, condition)}" for condition in case.conditions]
    lines += [f"opening: {opening_line(opening)}" for opening in prepared.openings]
    lines += [found.line() for found in prepared.searches]
    lines += [f"no-cut zone: {zone.name} ({zone.shape})" for zone in case.zones]
    lines += _network_lines(case)
    return [*lines, _verdict(check, "no mistakes found")]


def _network_lines(case: Case) -> list[str]:
    """What the cooling network is made of, and what is taken for granted."""
    found = case.installation
    if found is None:
        return []
    groups = {
        "inlet": found.inlets,
        "exit": found.exits,
        "core": found.cores,
        "duct": found.ducts,
        "fan": found.fans,
        "leak": found.leaks,
    }
    parts = [
        f"{word}{'s' if len(things) > 1 else ''} {', '.join(thing.name for thing in things)}"
        for word, things in groups.items()
        if things
    ]
    return [f"cooling network: {'; '.join(parts)}", *(f"note: {note}" for note in found.notes)]


def _condition_text(case: Case, condition) -> str:
    """The condition with its slipstream, where there is one."""
    slipstream = case.surroundings.slipstream(condition)
    line = condition_line(condition)
    return f"{line}; {slipstream.line()}" if slipstream else line


def _verdict(check: SurfaceCheck, good: str) -> str:
    """The last line: that all is well, or the doubts again."""
    return f"doubts: {'; '.join(check.doubts)}" if check.doubts else good
