"""The cooling network of a case alone."""

from __future__ import annotations

from dataclasses import replace

from panelcp.case.preparing import Progress, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.running import Run, finished_run
from panelcp.errors import CaseError
from panelcp.report.cooling_page import write_cooling

NO_NETWORK = (
    "has no cooling network: give at least one [[core]], and the [[duct]]s that lead air to it, "
    "or an arrangement in [cooling]"
)


def cool_case(case, results=None, progress: Progress = quiet) -> Run:
    """Solve the cooling network of a case, without searches and maps, into results/cool-<hash>/.

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
    PanelcpError : a mistake in the input, no cooling network; nothing is written then
    """
    case = case if isinstance(case, Case) else read_case(case)
    if case.installation is None:
        raise CaseError(f"{case.path.name}: {NO_NETWORK}")
    alone = replace(case, searches=(), combinations=None)
    return finished_run(alone, results, progress, write_cooling, only="cooling")
