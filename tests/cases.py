"""A small invented case: a body of 4 m by 1 m by 1 m with a few openings, written to a folder."""

import time
from collections.abc import Callable
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from tests import bodies

CASE = """\
[project]
name = "Small body"
question = "Above or below?"
note = "Invented."

[surface]
file = "body.stl"
unit = "m"
part = "whole"
axes = { aft = "+x", right = "+y", up = "+z" }

[engine]
rated_power = "75 kW"
needed_pressure = { value = "500 Pa", low = "400 Pa", high = "650 Pa", mark = "memory" }
limit_temperature = "115 degC"

[[condition]]
name = "climb"
calibrated_airspeed = "70 kt"
alpha = "6 deg"
day = "hot day"
power = "100 %"

[[condition]]
name = "sideslip"
true_airspeed = "40 m/s"
beta = "10 deg"
decides = false

[[condition]]
name = "parked"
true_airspeed = "0 kt"
decides = false

[[opening]]
name = "nose"
use = "inlet"
kind = "forward-facing"
shape = "oval"
centre = ["-2 m", "0 m", "0 m"]
length = "80 mm"
width = "80 mm"
recovery = { value = "0.8", low = "0.7", high = "0.9", mark = "published", source = "invented" }

[[opening]]
name = "chin"
use = "exit"
kind = "plain exit"
centre = ["-1 m", "0 m", "-433 mm"]
length = "100 mm"
width = "150 mm"

[[search]]
name = "top"
use = "exit"
kind = "flush hole"
side = "top"
low = ["-1.45 m", "-0.25 m", "0 m"]
high = ["-0.75 m", "0.25 m", "0.5 m"]
spacing = "200 mm"
length = "100 mm"
width = "100 mm"

[[no_cut]]
name = "latch"
shape = "sphere"
centre = ["-1.4 m", "0 m", "350 mm"]
radius = "80 mm"

[report]
views = ["left"]
best = 3
"""


DAY = "2026-05-01"
"""On the report of the run that all tests share."""


def write_body(path: Path, level: int = 2):
    """Ellipsoid of 20 * 4**level panels, 4 m long, 1 m wide and high, in a file in metres."""
    write_mesh(path, *_ellipsoid(level))


def write_mesh(path: Path, vertices, triangles):
    """Mesh file in the format of its suffix."""
    import trimesh

    trimesh.Trimesh(vertices, triangles, process=False).export(path)


def write_case(folder: Path, text: str = CASE, name: str = "case.toml") -> Path:
    """Case file beside its body; the path of the case."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "body.stl").exists():
        write_body(folder / "body.stl")
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@cache
def ranked(text: str = CASE):
    """The case made ready and what is found for it, without curves; solved once per run."""
    from panelcp.case.preparing import prepare_case
    from panelcp.case.reading import read_case
    from panelcp.case.solving import solve_case

    with TemporaryDirectory() as folder:
        prepared = prepare_case(read_case(write_case(Path(folder), text)))
    return prepared, solve_case(prepared, only="ranking")


@contextmanager
def few_dots(dots: int = 100):
    """Results are written whole, by all of the program, but their pictures have few dots.

    A run of the small case takes half the time then. For tests of anything but the dots.
    """
    with pytest.MonkeyPatch.context() as patch:
        for module in ("sheets", "section_sheets", "curves"):
            patch.setattr(f"panelcp.report.{module}.RESOLUTION", dots)
        from panelcp.report import writing

        sheet = partial(writing.write_vent_map_sheet, dots_per_inch=dots)
        patch.setattr(writing, "write_vent_map_sheet", sheet)
        yield


def filled_once(folder: Path, fill: Callable[[Path], None], patience: float = 300.0) -> Path:
    """A folder that one process fills and the others wait for; all may read it, none change it.

    Parameters
    ----------
    folder : the same in all processes of a run of the tests
    fill : called with a folder that is there and empty
    patience : s; whoever has waited so long, or sees that the other has failed, fills its own

    Returns
    -------
    Path of the folder that was filled
    """
    try:
        folder.mkdir()
    except FileExistsError:
        end = time.monotonic() + patience
        while not _mark(folder, "filled").exists():
            if _mark(folder, "failed").exists() or time.monotonic() > end:
                return filled_once(folder.with_name(f"{folder.name} again"), fill, patience)
            time.sleep(0.1)
        return folder
    try:
        fill(folder)
    except BaseException:
        _mark(folder, "failed").touch()
        raise
    _mark(folder, "filled").touch()
    return folder


def _mark(folder: Path, word: str) -> Path:
    """File beside a folder that tells what became of it."""
    return folder.with_name(f"{folder.name}.{word}")


def changed(old: str, new: str, text: str = CASE) -> str:
    """The case with the first place of a text replaced; the text must be there."""
    assert old in text, old
    return text.replace(old, new, 1)


def line_of(part: str, text: str) -> int:
    """Number of the first line that holds a text."""
    return next(n for n, line in enumerate(text.split("\n"), start=1) if part in line)


def _ellipsoid(level):
    vertices, triangles = bodies.icosphere(level)
    return vertices * np.array([2.0, 0.5, 0.5]), triangles
