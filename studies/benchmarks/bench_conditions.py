"""What does the tug cost with propeller, wing and ground, and what does one condition more cost?

Question: seconds from the panels to the flow in 12 conditions, with a slipstream of its own in
each, swirl and wing; the same with the ground in three of them; how much one condition more adds.
Method: the shipped glider tug as it is solved in its case (4 650 panels, mirrored); everything
loaded and compiled by one untimed solution; median of five. Ratios are within one run.
Known answer: all conditions share the panels' influence; one more is one more right-hand side.
Command: python studies/benchmarks/bench_conditions.py
"""

import os
import platform
import statistics
import time
from dataclasses import replace
from pathlib import Path

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.flow.solutions import solve_conditions
from panelcp.surface.coarsening import coarsened

TUG = Path(__file__).resolve().parents[2] / "geometries" / "glider_tug" / "case.toml"
RUNS = 5
COUNT = 12


def seconds(surface, conditions, around, runs):
    """Median time of a whole solution."""
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        solve_conditions(surface, conditions, around).flow()
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def cases(count):
    """(name, conditions) of the twelve in the free air, one more, and three over the ground."""
    case = read_case(TUG)
    flying = [condition for condition in case.conditions if not condition.on_ground]
    taxiing = [condition for condition in case.conditions if condition.on_ground][:3]
    extra = [replace(condition, name=f"{condition.name} again") for condition in flying]
    free = (flying + extra)[:count]
    return case, {
        "12 conditions in the free air": free,
        "13 conditions in the free air": [*free, replace(free[0], name="one more")],
        "9 in the free air and 3 over the ground": free[: count - 3] + taxiing,
    }


def main(quick=False):
    """Time every set, print the table, return its numbers.

    quick: four conditions on a quarter of the panels, one run, which compiles.
    """
    print(f"{platform.machine()}, {os.cpu_count()} cores, python {platform.python_version()}")
    case, sets = cases(4 if quick else COUNT)
    # places are not asked for
    surface = prepare_case(replace(case, searches=())).surface
    runs = 1 if quick else RUNS
    if quick:
        surface = coarsened(coarsened(surface))
    else:
        solve_conditions(surface, case.conditions[-4:], case.surroundings)
    found = {name: seconds(surface, c, case.surroundings, runs) for name, c in sets.items()}
    twelve, thirteen, _ = found.values()
    found["12 conditions without propeller and wing"] = seconds(
        surface, sets["12 conditions in the free air"], None, runs
    )
    for name, value in found.items():
        print(f"{name:44}{value:8.2f} s  (at most 10)")
    found["one condition more"] = thirteen - twelve
    print(f"{'one condition more':44}{thirteen - twelve:8.2f} s  (at most 0.5)")
    return found


if __name__ == "__main__":
    main()
