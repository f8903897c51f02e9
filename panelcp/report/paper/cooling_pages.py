"""The cooling network on paper: margins, numbers by condition, budget, fans, places by margin."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from panelcp.cooling.results import CoolingResult
from panelcp.report.cooling_diagram import band_text, budget_parts, kelvin_text
from panelcp.report.cooling_section import ELECTRIC, cooling_lines, cooling_section, hardest
from panelcp.report.cooling_tables import ZERO_CELSIUS, core_word, readable
from panelcp.report.margin_section import margin_section
from panelcp.report.paper.blocks import (
    BAD,
    INK,
    Block,
    Bullets,
    Caution,
    Drawing,
    Group,
    Heading,
    Paragraph,
    note,
)
from panelcp.report.paper.charts import SIZE, Bar, bar_strips, stacked_strip
from panelcp.report.paper.footnotes import marked, outside
from panelcp.report.paper.from_html import blocks_of_html
from panelcp.report.paper.grids import Cell, Table, number
from panelcp.report.paper.letters import clean, text_width
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import both_pressures, in_h2o, told

STEAM = (
    "Coolant is hot and under pressure, and its steam burns. Open the system only when it is cold. "
    "Drains and the relief of the cap must not point at people, exhaust or electrics."
)
MARGIN_SIZE = 7.1
"""Points, type of the wide tables of margins."""

MOST_NAMES = 0.47
"""Part of the width that the names at the bars take at most."""

FAR = 60.0
"""K: margins beyond it are cut in the picture."""


HOTTEST_TOLD = 300.0
"""°C; above that next to no air flows, and a number would look like a prediction."""

_LOAD_COLUMNS = (
    *(("Fan", False, 15.0), ("Largest load, W", True, 9.0), ("In", False, 20.0)),
    *(("Bus voltage, V", False, 10.0), ("Current, A = W / V", False, 11.0)),
    *(("Fuse, A", False, 8.0), ("Wire, mm² or gauge", False, 11.0), ("By, date", False, 12.0)),
)
"""Title, whether set to the right, part of the width."""


def cooling_blocks(parts: PaperParts) -> list[Block]:
    """All of the network."""
    cooling = parts.found("cooling")
    if cooling is None:
        return []
    result, found = readable(cooling), parts.summary["cooling"]
    sections = by_heading(blocks_of_html(cooling_section(cooling)))
    return [
        Bullets(tuple(marked_margins(line, result) for line in cooling_lines(cooling))),
        *_margins(result, sections),
        *_numbers(result, found),
        *_budget(result, sections),
        *_fans(result, found, sections),
        *_section(sections, "Beside what builders usually meet"),
        *_states(sections),
        *_section(sections, "Taken for granted"),
    ]


def by_heading(blocks: list[Block]) -> dict[str, list[Block]]:
    """Blocks by the heading of rank 2 that they stand under; those before any under ""."""
    found: dict[str, list[Block]] = {"": []}
    title = ""
    for block in blocks:
        if isinstance(block, Heading) and block.rank == 2:
            title = block.text
            found[title] = []
        else:
            found[title].append(block)
    return found


def _section(sections, title: str, keep=object) -> list[Block]:
    """A part of the page's section with its heading."""
    inside = [block for block in sections.get(title, []) if isinstance(block, keep)]
    return [Heading(title, 2), *inside] if inside else []


def _margins(result: CoolingResult, sections) -> list[Block]:
    """Bars of the least margins, hardest first, and the table of all."""
    blocks = list(sections.get("Margins", []))
    table = next((k for k, block in enumerate(blocks) if isinstance(block, Table)), None)
    if table is None:
        return [Heading("Margins", 2), *blocks]
    rest = blocks[table + 1 :]
    stop = next((k for k, block in enumerate(rest) if isinstance(block, Heading)), None)
    after = [b for b in rest if not isinstance(b, Heading)] if stop is not None else rest
    return [
        Group((Heading("Margins", 2), Drawing(lambda width: _margin_bars(result, width)))),
        _marked_table(blocks[table], result),
        *blocks[:table],
        *after,
    ]


def marked_margins(text: str, result: CoolingResult) -> str:
    """A text with a mark on every margin beside its band that it lies outside of."""
    for core in result.cores:
        margin = core.margin
        for value, low, high in zip(margin.value, margin.low, margin.high, strict=True):
            if outside(value, low, high):
                piece = f"{kelvin_text(value)} ({band_text(low, high)})"
                text = text.replace(piece, marked(piece, value, low, high))
    return text


def _marked_table(table: Table, result: CoolingResult) -> Table:
    """The table of the margins with small type, and marks on those outside their bands."""
    numbers = {name: c for c, name in enumerate(result.conditions)}
    columns = {cell.text: k for k, cell in enumerate(table.titles)}
    rows = []
    for row in table.rows:
        row, c = list(row), numbers.get(row[0].text)
        for core in result.cores if c is not None else ():
            k, margin = columns.get(core.name), core.margin
            if k is not None and k < len(row) and f"({band_text_of(margin, c)})" in row[k].text:
                band = margin.value[c], margin.low[c], margin.high[c]
                row[k] = replace(row[k], text=marked(row[k].text, *band))
        rows.append(tuple(row))
    return replace(table, rows=tuple(rows), size=MARGIN_SIZE)


def band_text_of(margin, c: int) -> str:
    """Both ends of the band of a margin in a condition, K; "" where it is not known."""
    low, high = margin.low[c], margin.high[c]
    return band_text(low, high) if np.isfinite(low) and np.isfinite(high) else ""


def _margin_bars(result: CoolingResult, width: float):
    least = result.least_margin
    known = [c for c in range(len(result.conditions)) if not np.isnan(least[c]) and result.told(c)]
    bars = []
    for c in sorted(known, key=lambda c: (not result.decides[c], least[c])):
        k = next(k for k, core in enumerate(result.cores) if core.name == result.limiting_core[c])
        margin = result.cores[k].margin
        low, high = margin.low[c], margin.high[c]
        value = marked(kelvin_text(margin.value[c]), margin.value[c], low, high)
        words = f"{value} {core_word(result, k, c)}"
        if np.isfinite(low) and np.isfinite(high):
            words += f" ({band_text(low, high)})"
        name = f"{result.conditions[c]}: {result.cores[k].name}"
        bars.append(
            Bar(name, words, margin.value[c], low, high, short=bool(margin.value[c] < 0.0),
                decides=bool(result.decides[c]))
        )  # fmt: skip
    ends = [v for b in bars for v in (b.value, b.low, b.high) if np.isfinite(v)]
    if not ends:
        return []
    scale = max(-FAR, min(0.0, *ends)), min(FAR, max(0.0, *ends))
    longest = max(text_width(clean(bar.name), SIZE) for bar in bars)
    return bar_strips(bars, width, scale, names=min(MOST_NAMES, (longest + 8.5) / width))


def _numbers(result: CoolingResult, found: dict[str, Any]) -> list[Block]:
    """Cores and openings in every condition, from the summary."""
    return [
        Heading("Cores in every condition", 2),
        _core_table(result, found),
        note(
            "Air in kg/s with 16 and 84 % of the sampled worlds. Hot: where coolant or oil leave "
            "the engine, charge air ahead of its cooler; cold: behind the core. Limits not in the "
            "case are common practice, not the engine's own: see the uncertain numbers. "
            f"Over {HOTTEST_TOLD:.0f} °C next to no air flows: no prediction."
        ),
        Caution(STEAM),
        Heading("Air through the openings, kg/s", 2),
        _port_table(found, _flow_cell),
        note("Positive: into inlets and out of exits. back: against what the opening is for."),
        Heading("Pressure outside the openings, Pa and inH2O", 2),
        _port_table(found, _pressure_cell),
        note("Behind an inlet with its recovery, at an exit on the skin."),
    ]


def _core_table(result: CoolingResult, found: dict[str, Any]) -> Table:
    texts = ("Core", "Air, kg/s", "16 to 84 %", "Drop, Pa", "inH2O", "Air in, °C", "Air out, °C")
    texts += ("Heat, kW", "Hot, °C", "Cold, °C", "Limit, °C", "Margin, K", "")
    left = (0, 12)
    titles = tuple(t if k in left else number(t, bold=True) for k, t in enumerate(texts))
    rows: list[tuple[Cell | str, ...]] = []
    for c, condition in enumerate(found["conditions"]):
        rows.append((Cell(condition, bold=True, span=len(texts)),))
        rows += [_core_row(result, core, c) for core in found["cores"]]
    return Table(titles, tuple(rows), size=7.1, gap=4.5, together=True)


def _core_row(result: CoolingResult, core: dict[str, Any], c: int):
    flow, word = core["flow_kg_per_s"], core["judgement"][c] or ""
    if not result.told(c):
        word = "not predicted"
    band = ""
    if flow["low"][c] is not None and flow["high"][c] is not None:
        band = f"{told(flow['low'][c], 2)}\u00a0to\u00a0{told(flow['high'][c], 2)}"
    drop, margin = core["pressure_drop_Pa"][c], core["margin_K"]["value"][c]
    air = marked(told(flow["value"][c], 3), *(flow[end][c] for end in ("value", "low", "high")))
    warm = ("air_inlet", "air_outlet", "hot", "cold", "limit")
    celsius = [number(_degrees(core[f"{name}_temperature_K"][c], name)) for name in warm]
    bad = word == "stop" or core["reversed"][c]
    return (
        core["name"],
        number(air, bold=core["reversed"][c]),
        number(band),
        number(told(drop)),
        number("" if drop is None else in_h2o(drop)),
        *celsius[:2],
        number(told(None if core["heat_W"][c] is None else core["heat_W"][c] / 1e3, 1)),
        *celsius[2:],
        number(_margin_text(core, margin, c), bold=bool(bad)),
        Cell(word, bold=bool(bad), colour=BAD if bad else INK),
    )  # fmt: skip


def _degrees(temperature: float | None, name: str) -> str:
    """°C; a limit to a tenth, since it is not always whole; beyond sense only that it is."""
    if temperature is None:
        return "?"
    celsius = temperature - ZERO_CELSIUS
    if celsius > HOTTEST_TOLD:
        return f"over {HOTTEST_TOLD:.0f}"
    text = told(celsius, 1 if name == "limit" else 0)
    return text.removesuffix(".0")


def _margin_text(core: dict[str, Any], margin: float | None, c: int) -> str:
    """The margin as the bars tell it, so that no limit is rounded over."""
    if core["limit_temperature_K"][c] is None:
        return "no limit"
    if margin is None:
        return "none"
    found = core["margin_K"]
    return marked(kelvin_text(margin).removesuffix(" K"), margin, found["low"][c], found["high"][c])


def _port_table(found: dict[str, Any], cell) -> Table:
    ports = found["openings"]
    titles = ("Condition", *(number(f"{p['name']} ({p['use']})", bold=True) for p in ports))
    rows = [
        (condition, *(cell(port, c) for port in ports))
        for c, condition in enumerate(found["conditions"])
    ]
    return Table(titles, tuple(rows))


def _flow_cell(port: dict[str, Any], c: int) -> Cell:
    flow, back = port["flow_kg_per_s"], bool(port["reversed"][c])
    text = told(flow["value"][c], 3)
    if "low" in flow:
        text = marked(text, flow["value"][c], flow["low"][c], flow["high"][c])
    return number(f"{text} back" if back else text, bold=back, colour=BAD if back else INK)


def _pressure_cell(port: dict[str, Any], c: int) -> Cell:
    value = port["pressure_Pa"][c]
    return number("" if value is None else f"{told(value)} ({in_h2o(value)})")


def _budget(result: CoolingResult, sections) -> list[Block]:
    """Where the pressure goes in the hardest condition, core by core; then in words."""
    c = hardest(result)
    if c is None:
        return []
    names = dict.fromkeys(step.core for step in result.budget)
    found = [(name, *budget_parts(result, name, c)) for name in names]
    found = [row for row in found if row[1] and row[2]]
    if not found:
        return []
    most = max(sum(p for *_, p in parts) for row in found for parts in row[1:3])
    blocks: list[Block] = [
        Heading("Where the pressure goes", 2),
        Paragraph(f"In the hardest condition, {result.conditions[c]}:"),
    ]
    for name, drives, takes, _ in found:
        blocks += _budget_core(name, drives, takes, most)
    lines = [block for block in sections.get("Where the pressure goes", [])
             if isinstance(block, Bullets)]  # fmt: skip
    if lines:
        blocks += [Heading("Every core in its own hardest condition", 3), *lines]
    return blocks


def _budget_core(name: str, drives, takes, most: float) -> list[Block]:
    """Two bars of a core, what drives above, what takes below, and the list of their parts."""

    def bars(width: float):
        return [
            stacked_strip([(str(n), value) for n, _, value in parts], most, width)
            for parts in (drives, takes)
        ]

    def listed(parts) -> str:
        return "; ".join(f"{n} {what} {both_pressures(value)}" for n, what, value in parts)

    total = sum(value for *_, value in drives)
    words = f"Upper bar, drives: {listed(drives)}. Lower bar, takes: {listed(takes)}."
    title = Heading(f"{name}: {both_pressures(total)} drive the air", 3)
    return [Group((title, Drawing(bars), note(words)))]


def _fans(result: CoolingResult, found: dict[str, Any], sections) -> list[Block]:
    if not result.fans:
        return []
    inside = [block for block in sections.get("Fans", []) if not isinstance(block, Caution)]
    return [Heading("Fans", 2), *inside, Caution(ELECTRIC), *electrical_load(found)]


def electrical_load(found: dict[str, Any]) -> list[Block]:
    """The largest load of every fan, with blanks for current, fuse and wire.

    The case knows no voltage, so the current is left to the person who knows it.
    """
    rows = []
    for fan in found["fans"]:
        loads = [0.0 if load is None else load for load in fan["electrical_power_W"]]
        most = max(loads, default=0.0)
        where = found["conditions"][loads.index(most)] if most > 0.0 else ""
        rows.append((fan["name"], number(told(most) if most > 0.0 else "not given"), where,
                     *("",) * 5))  # fmt: skip
    titles = tuple(number(t, bold=True) if right else t for t, right, _ in _LOAD_COLUMNS)
    parts = tuple(part for *_, part in _LOAD_COLUMNS)
    return [
        Heading("Electrical load of the fans, to be filled in", 3),
        Table(titles, tuple(rows), least_height=24.0, parts=parts, upright=True),
        note(
            "The load is an estimate. The case gives no voltage of the bus: write down the one "
            "with the engine idling, and the current A = W / V. The current at the start is "
            "higher: take it from the fan's own sheet, or measure it. Add all loads of the bus, "
            "and compare with what the alternator gives at that speed."
        ),
    ]


def _states(sections) -> list[Block]:
    """How well it is solved, other steady states included: the words, not the table."""
    return _section(sections, "How well it is solved", Bullets)


def margins_blocks(parts: PaperParts) -> list[Block]:
    """Places ranked by the margins of the network."""
    contents = parts.contents
    if not (parts.found("margins") or parts.found("margin_notes")):
        return []
    ranking = contents.ranking
    named = {opening.name for opening in contents.openings.openings}
    for pair in contents.short_list:
        named |= {ranking.exit(pair).name, ranking.inlet(pair).name}
    blocks = blocks_of_html(margin_section(contents.margins, named)) if contents.margins else []
    notes = [Bullets(tuple(contents.margin_notes))] if contents.margin_notes else []
    small = [replace(b, size=MARGIN_SIZE) if isinstance(b, Table) else b for b in blocks]
    return [*small, *notes]
