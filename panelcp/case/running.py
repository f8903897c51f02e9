"""A case from its file to a folder of results."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date as Date
from pathlib import Path

from panelcp.case.preparing import Progress, prepare_case, quiet
from panelcp.case.reading import Case, read_case
from panelcp.case.report_table import paper_name, printed_day
from panelcp.case.solving import solve_case
from panelcp.case.warming import warming
from panelcp.display import counted
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

    def __repr__(self):
        flow = self.contents.flow
        return (
            f"Run({self.folder.name}, {counted(len(flow.conditions), 'condition')}, "
            f"{counted(flow.surface.n_panels, 'panel')}, {self.contents.ranking!r})"
        )

    def _repr_html_(self) -> str:
        from panelcp.report.notebook import run_html

        return run_html(self.folder, self.contents)


def run_case(
    case,
    results=None,
    progress: Progress = quiet,
    date: str | Date | None = None,
    paper: str | None = None,
) -> Run:
    """Everything the case asks for, written into results/run-<hash>/.

    Parameters
    ----------
    case : path of a case file, or a Case
    results : folder for the results; `results` beside the case file when not given
    progress : called with a short text before each step
    date : printed on the report, a date or "2026-05-01"; that of the case, else today, when not
        given
    paper : of the report, "A4" or "Letter"; that of the case when not given

    Returns
    -------
    Run

    Raises
    ------
    PanelcpError : a mistake in the input; nothing is written then
    """
    from panelcp.report.writing import write_results

    case = case if isinstance(case, Case) else read_case(case)
    return finished_run(printed_so(case, date, paper), results, progress, write_results)


def printed_so(case: Case, date: str | Date | None = None, paper: str | None = None) -> Case:
    """The case with a date and a paper of its report, where they are given.

    Raises
    ------
    CaseError : a date or a paper that is not known
    """
    settings = case.report
    if date is not None:
        settings = replace(settings, date=printed_day(date))
    if paper is not None:
        settings = replace(settings, paper=paper_name(paper))
    return replace(case, report=settings)


def finished_run(case, results, progress: Progress, write: Callable, only: str = "") -> Run:
    """A case solved and written.

    Parameters
    ----------
    case, results, progress : see `run_case`
    write : function of contents, folder of all results and progress; gives the folder it made
    only : see `solve_case`
    """
    from panelcp.report.files import require_folder

    case = case if isinstance(case, Case) else read_case(case)
    root = Path(results) if results is not None else case.path.parent / "results"
    require_folder(root)
    with compiling(progress):
        prepared = prepare_case(case, progress)
        contents = solve_case(prepared, progress, only)
        return Run(write(contents, root, progress), contents)


@contextmanager
def compiling(progress: Progress):
    """Say so when loops are compiled on the way, and compile the late ones beside it."""
    first = not is_compiled()
    if first:
        progress("first run: compiling the inner loops on the way, about a minute in all")
    with warming(first):
        yield
