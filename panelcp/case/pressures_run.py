"""The pressures over the skin of a case alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from panelcp.case.preparing import Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.running import compiling
from panelcp.case.solving import solve_pressures
from panelcp.report.contents import AirContents


@dataclass(frozen=True, eq=False)
class PressureRun:
    """Pressures that were solved and written.

    Attributes
    ----------
    folder : with the results
    contents : AirContents
    """

    folder: Path
    contents: AirContents

    def __repr__(self):
        return f"PressureRun({self.folder.name}, {self.contents.flow!r})"

    def _repr_html_(self) -> str:
        from panelcp.report.notebook import run_html

        return run_html(self.folder, self.contents)


def pressures_case(case, results=None, progress: Progress = quiet) -> PressureRun:
    """Pressure maps, cuts and exports of a case, without ranking: results/pressures-<hash>/.

    Parameters
    ----------
    case : path of a case file, which needs no opening, or a Case
    results : folder for the results; `results` beside the case file when not given
    progress : called with a short text before each step

    Returns
    -------
    PressureRun

    Raises
    ------
    PanelcpError : a mistake in the input; nothing is written then
    """
    from panelcp.report.files import require_folder
    from panelcp.report.pressures_writing import write_pressures

    case = case if isinstance(case, Case) else read_case(case, both_uses=False)
    alone = replace(case, searches=(), combinations=None, installation=None)
    root = Path(results) if results is not None else case.path.parent / "results"
    require_folder(root)
    with compiling(progress):
        prepared = prepare_case(alone, progress)
        contents = solve_pressures(prepared, progress)
        return PressureRun(write_pressures(contents, root, progress), contents)
