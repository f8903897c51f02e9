"""Seconds that the map sheets of the tug take, and their size.

Question: what does a run pay for its maps at 300 dots per inch? Twelve conditions in five views
with marks and hatches, in one process and in two. Wanted: 15 s in two processes. Nothing is
solved: the values are an invented smooth field with both signs. The first sheets, which compile,
are not counted.

Run: python studies/benchmarks/bench_maps.py
"""

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.report.colours import PressureScale
from panelcp.report.maps import SHEET_VIEWS, Marker
from panelcp.report.sheet_drawing import Sheet, SheetPlan, draw_sheets
from panelcp.report.sheets import RESOLUTION, cut_at_station
from panelcp.surface.coarsening import coarsened

TUG = Path(__file__).resolve().parents[2] / "geometries" / "glider_tug" / "case.toml"
N_CONDITIONS = 12
LAST_STATION = 1.9  # m: cowl and windshield
SCALE = PressureScale(1.6, 0.2)


def field(surface, number: int) -> np.ndarray:
    """(n_panels, 3): an invented field at the corners, another for every number."""
    x, y, z = np.moveaxis(surface.corners, -1, 0)
    return 0.7 * np.cos(4.0 * x + 0.2 * number) - 0.8 * z + 0.5 * y * np.sin(3.0 * x)


def marks(surface) -> tuple[Marker, ...]:
    """Every 250th panel with a name of its own."""
    return tuple(
        Marker(surface.corners[panel], f"place {k}", "exit")
        for k, panel in enumerate(range(0, surface.n_panels, 250))
    )


def plan_of(surface, folder: Path, n_sheets: int, dots_per_inch: int) -> SheetPlan:
    """What is drawn into a folder."""
    folder.mkdir()
    levels = np.where(surface.centroids[:, 2] < -0.3, 2, 0)
    sheets = [
        Sheet(f"{k}", folder / f"{k:02d}.png", f"condition {k}", field(surface, k), SCALE, levels)
        for k in range(n_sheets)
    ]
    return SheetPlan(
        *(surface.vertices, surface.triangles, SHEET_VIEWS, marks(surface)),
        *("Invented values.", dots_per_inch, tuple(sheets)),
    )


def main(quick=False):
    """Print the numbers, and hand them back.

    quick: one sheet of a quarter of the panels at 60 dots per inch, in one process.
    """
    # places are not asked for
    surface = prepare_case(replace(read_case(TUG), searches=())).surface
    surface = cut_at_station(coarsened(surface) if quick else surface, LAST_STATION).surface
    n_sheets, dots_per_inch = (1, 60) if quick else (N_CONDITIONS, RESOLUTION)
    numbers = {"panels": float(surface.n_panels)}
    with tempfile.TemporaryDirectory() as root:
        draw_sheets(plan_of(surface, Path(root) / "first", 1, dots_per_inch), processes=1)
        for processes in (1,) if quick else (1, 2):
            folder = Path(root) / str(processes)
            plan = plan_of(surface, folder, n_sheets, dots_per_inch)
            start, used = perf_counter(), process_time()
            draw_sheets(plan, processes=processes)
            numbers[f"seconds {processes}"] = perf_counter() - start
            numbers[f"processor {processes}"] = process_time() - used
        sizes = [sheet.path.stat().st_size for sheet in plan.sheets]
    numbers["megabytes"] = float(np.mean(sizes)) / 1e6
    print(
        f"{surface.n_panels} panels, {n_sheets} sheets of {len(SHEET_VIEWS)} views at "
        f"{dots_per_inch} dots per inch, {os.cpu_count()} processors"
    )
    for name, value in numbers.items():
        print(f"  {name:12s} {value:8.2f}")
    return numbers


if __name__ == "__main__":
    main()
