"""Drawing many map sheets, in this process and in others beside it.

Each process draws all that the sheets have in common by itself, and then takes sheets that nobody
has begun: this one from the first on, the others from the last on. A sheet is taken by making its
file, which only one process can do. What another process does not finish is drawn here, so that
the sheets are complete, and the same, wherever no other process can start.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panelcp.report import maps
from panelcp.report.beside import processors
from panelcp.report.colours import PressureScale
from panelcp.report.sheet_base import own_look, sheet_base, sheet_pixels
from panelcp.surface.mesh import SurfaceMesh

LEAST_SHEETS = 4
"""From so many sheets on another process is worth its start."""
SHEETS_EACH = 4
"""Sheets for every process, at least."""
MOST_PROCESSES = 4
PATIENCE = 120.0
"""s, for the sheets that another process has begun."""

COMMAND = (
    "import sys; sys.path.insert(0, sys.argv[1]); "
    "from panelcp.report.sheet_drawing import help_drawing; help_drawing()"
)


@dataclass(frozen=True, eq=False)
class Sheet:
    """One sheet to draw.

    Attributes
    ----------
    name : of the condition
    path : of the PNG
    title : str
    values : (n_panels, 3) float
    scale : PressureScale
    hatched : (n_panels,) int, or None
    """

    name: str
    path: Path
    title: str
    values: np.ndarray
    scale: PressureScale
    hatched: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class SheetPlan:
    """All sheets of a run.

    Attributes
    ----------
    vertices, triangles : of the surface that is drawn
    views : names of views
    markers : sequence of Marker
    notice : str
    dots_per_inch : int
    sheets : sequence of Sheet
    """

    vertices: np.ndarray
    triangles: np.ndarray
    views: tuple[str, ...]
    markers: tuple
    notice: str
    dots_per_inch: int
    sheets: tuple[Sheet, ...]


def draw_sheets(
    plan: SheetPlan,
    progress: Callable[[str], None] = lambda text: None,
    processes: int | None = None,
):
    """Write all sheets of a plan.

    Parameters
    ----------
    plan : SheetPlan
    progress : called with a short text before each sheet that this process draws
    processes : this one and others; by default as the processors and the sheets allow
    """
    if processes is None:
        processes = usual_processes(len(plan.sheets))
    with _helpers(plan, processes - 1) as helpers:
        draw = _drawer(plan)
        own = set()
        for number, sheet in enumerate(plan.sheets, start=1):
            if _taken(sheet):
                progress(f"map {number} of {len(plan.sheets)}: {sheet.name}")
                draw(sheet)
                own.add(sheet.path)
        rest = [sheet for sheet in plan.sheets if sheet.path not in own]
        if rest and not all([_finished(helper) for helper in helpers]):
            for sheet in rest:
                draw(sheet)


def usual_processes(n_sheets: int) -> int:
    """How many processes draw so many sheets."""
    if n_sheets < LEAST_SHEETS:
        return 1
    return max(1, min(processors(), n_sheets // SHEETS_EACH + 1, MOST_PROCESSES))


def help_drawing():
    """Draw sheets of the plan that comes in, from the last on, until all are taken."""
    plan = pickle.load(sys.stdin.buffer)
    draw = None
    for sheet in reversed(plan.sheets):
        if sheet.path.exists():
            continue
        if draw is None:
            draw = _drawer(plan)
        if _taken(sheet):
            draw(sheet)


def _taken(sheet: Sheet) -> bool:
    """Whether this process may draw a sheet: no other has made its file."""
    try:
        sheet.path.open("xb").close()
    except FileExistsError:
        return False
    return True


def _drawer(plan: SheetPlan) -> Callable[[Sheet], None]:
    """A function that draws one sheet of a plan into its file."""
    surface = SurfaceMesh(plan.vertices, plan.triangles)
    with own_look():
        base = sheet_base(
            surface,
            plan.views,
            plan.markers,
            titles=[sheet.title for sheet in plan.sheets],
            notice=plan.notice,
            legend=maps.legend_of(*(sheet.hatched for sheet in plan.sheets)),
            dots_per_inch=plan.dots_per_inch,
        )

    def draw(sheet: Sheet):
        with own_look():
            pixels = sheet_pixels(base, sheet.values, sheet.scale, sheet.title, sheet.hatched)
        maps.write_picture(sheet.path, pixels, plan.dots_per_inch)

    return draw


@contextmanager
def _helpers(plan: SheetPlan, count: int):
    """Other processes that draw; none where they cannot start. They end with it at the latest."""
    helpers: list[subprocess.Popen] = []
    try:
        for _ in range(count):
            helpers.append(_started(plan))
    except (OSError, pickle.PicklingError):
        pass
    try:
        yield helpers
    finally:
        for helper in helpers:
            helper.kill()
        for helper in helpers:
            helper.wait()


def _started(plan: SheetPlan) -> subprocess.Popen:
    """Another process, with the plan as what it reads.

    Not by `multiprocessing`: that would run a user's script once more, which may have no guard
    against it.
    """
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    root = str(Path(maps.__file__).parents[2])
    with tempfile.TemporaryFile() as file:
        pickle.dump(plan, file, protocol=pickle.HIGHEST_PROTOCOL)
        file.flush()
        file.seek(0)
        return subprocess.Popen([sys.executable, "-P", "-c", COMMAND, root], stdin=file, **quiet)


def _finished(helper: subprocess.Popen) -> bool:
    """Wait for a process that draws; whether it has finished what it began."""
    try:
        return helper.wait(PATIENCE) == 0
    except subprocess.TimeoutExpired:
        return False
