"""The test plan: conditions from the easiest to the hardest, what to expect, where to stop."""

from __future__ import annotations

import numpy as np

from panelcp.cooling.results import CoreFlow
from panelcp.quantity import UncertainValue
from panelcp.report.contents import CAUTIONS
from panelcp.report.cooling_tables import ZERO_CELSIUS, readable
from panelcp.report.paper.blocks import Block, Caution, note
from panelcp.report.paper.footnotes import marked
from panelcp.report.paper.grids import Cell, Table, number
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import told

STOP_BELOW = UncertainValue(
    3.0, mark="common practice", source="below the limit, where a test is broken off"
)
"""K."""

COLUMNS = (
    *(("No.", True, 3.0), ("Condition", False, 16.0), ("Watch", False, 12.0)),
    *(("Expected, °C", True, 7.0), ("16 to 84 %", True, 9.0), ("Limit, °C", True, 6.0)),
    *(("Stop at, °C", True, 6.0), ("Place to land", False, 12.0), ("Least height", False, 8.0)),
    *(("Flies", False, 7.0), ("Reads", False, 7.0), ("Found, °C", False, 7.0)),
)
"""Title, whether set to the right, part of the width."""

HOPELESS = "mend first"


def plan_blocks(parts: PaperParts) -> list[Block]:
    """Conditions that decide, the one with most room first, with lines to be filled in."""
    cooling = getattr(parts.contents, "cooling", None)
    if cooling is None:
        return []
    result = readable(cooling)
    chosen = [
        (result.least_margin[c], c)
        for c in range(len(result.conditions))
        if result.decides[c] and result.told(c) and np.isfinite(result.least_margin[c])
    ]
    if not chosen:
        return []
    cores = {core.name: core for core in result.cores}
    rows = [
        _row(n, result.conditions[c], cores[result.limiting_core[c]], c)
        for n, (_, c) in enumerate(sorted(chosen, reverse=True), start=1)
    ]
    titles = tuple(number(t, bold=True) if right else t for t, right, _ in COLUMNS)
    parts_of_width = tuple(part for *_, part in COLUMNS)
    table = Table(titles, tuple(rows), least_height=24.0, parts=parts_of_width, upright=True)
    return [
        Caution(CAUTIONS[3]),
        table,
        note(
            "Temperatures are estimates at the day of the case; on a cooler day expect less, and "
            "never begin with the last rows. Stop: "
            f"{STOP_BELOW.value:g} K below the limit ({STOP_BELOW.mark}); the engine's own "
            f"document governs. Where the expected temperature is at or above that, {HOPELESS}. "
            "Ground tests go before all of these: leaks, fan, run-up, carbon monoxide."
        ),
    ]


def _row(n: int, condition: str, core: CoreFlow, c: int):
    limit, margin = core.limit[c] - ZERO_CELSIUS, core.margin
    expected = limit - margin.value[c]
    ends = [limit - margin.high[c], limit - margin.low[c]]
    band = f"{told(ends[0])} to {told(ends[1])}" if np.isfinite(ends).all() else ""
    stop = limit - STOP_BELOW.value
    hopeless = expected >= stop
    return (
        number(str(n)),
        condition,
        f"{core.name}: {core.role}",
        number(marked(told(expected), expected, *ends), bold=bool(hopeless)),
        number(band),
        number(told(limit, 1).removesuffix(".0")),
        number(told(stop, 1).removesuffix(".0")),
        Cell(HOPELESS, bold=True) if hopeless else "",
        *("",) * 4,
    )
