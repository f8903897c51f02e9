"""The test plan on paper: easiest first, limits, where to stop, lines to be filled in."""

from types import SimpleNamespace

import numpy as np

from panelcp.report.paper.blocks import Paragraph
from panelcp.report.paper.footnotes import OUTSIDE
from panelcp.report.paper.grids import Cell, Table
from panelcp.report.paper.plan_pages import COLUMNS, HOPELESS, STOP_BELOW, plan_blocks
from tests.report.test_cooling_section import margins, tug


def told(cooling):
    blocks = plan_blocks(SimpleNamespace(contents=SimpleNamespace(cooling=cooling)))
    table = next((block for block in blocks if isinstance(block, Table)), None)
    rows = [] if table is None else [
        [cell.text if isinstance(cell, Cell) else cell for cell in row] for row in table.rows
    ]  # fmt: skip
    return rows, " ".join(block.text for block in blocks if isinstance(block, Paragraph))


def test_conditions_that_decide_the_one_with_most_room_first():
    result = margins(tug(), 0, 2.0, 16, 38, 6, 60, 12)
    rows, words = told(result)
    wanted = [c for c in range(6) if result.decides[c] and np.isfinite(result.least_margin[c])]
    wanted.sort(key=lambda c: -result.least_margin[c])
    assert [row[1] for row in rows] == [result.conditions[c] for c in wanted]
    assert [row[0] for row in rows] == [str(n) for n in range(1, len(wanted) + 1)]
    assert all(len(row) == len(COLUMNS) for row in rows)
    assert "common practice" in words
    assert "engine's own document governs" in words


def test_limits_and_where_to_stop():
    result = margins(tug(), 0, 2.0, 16, 38, 6, 60, 12)
    rows, _ = told(result)
    cores = {core.name: core for core in result.cores}
    for row in rows:
        c = result.conditions.index(row[1])
        core = cores[result.limiting_core[c]]
        limit = core.limit[c] - 273.15
        expected = limit - core.margin.value[c]
        assert row[2] == f"{core.name}: {core.role}"
        ends = limit - core.margin.high[c], limit - core.margin.low[c]
        assert row[3].endswith(OUTSIDE) == (not ends[0] <= expected <= ends[1])
        assert float(row[3].replace("−", "-").removesuffix(OUTSIDE)) == round(expected)
        assert float(row[5]) == round(limit, 1)
        assert float(row[6]) == round(limit - STOP_BELOW.value, 1)
        assert (row[7] == HOPELESS) == (core.margin.value[c] <= STOP_BELOW.value)
        assert row[8:] == [""] * 4
    assert any(row[7] == HOPELESS for row in rows)


def test_nothing_without_a_network():
    assert plan_blocks(SimpleNamespace(contents=SimpleNamespace(cooling=None))) == []
