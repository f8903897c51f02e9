"""A case from its file to a folder of results."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from panelcp.case.preparing import Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.solving import solve_case
from panelcp.case.warming import warming
from panelcp.panels.influence import is_compiled
from panelcp.report.contents import RunContents


@dataclass(frozen=True, eq=False)
class Run:
    """A finished run.

    Attributes
    ----------
    folder : with the results
    contents : RunContents, everything that was found
    """

    folder: Path
    contents: RunContents


def run_case(case, results=None, progress: Progress = quiet) -> Run:
    """Everything the case asks for, written into results/run-<hash>/.

    Parameters
    ----------
    case : path of a case file, or a Case
    results : folder for the results; `results` beside the case file when not given
    progress : called with a short text before each step

    Returns
    -------
    Run

    Raises
    ------
    PanelcpError : a mistake in the input; nothing is written then
    """
    from panelcp.report.files import require_folder
    from panelcp.report.writing import write_results

    case = case if isinstance(case, Case) else read_case(case)
    root = Path(results) if results is not None else case.path.parent / "results"
    first = not is_compiled()
    if first:
        progress("first run: compiling the inner loops on the way, about a minute in all")
    with warming(first):
        prepared = prepare_case(case, progress)
        require_folder(root)
        contents = solve_case(prepared, progress)
        return Run(write_results(contents, root, progress), contents)
