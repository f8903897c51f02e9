"""The page's section on the cooling network, its lines for the terminal and for the log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

import numpy as np

from panelcp.cooling.results import CoolingResult
from panelcp.display import ENOUGH_MARGIN, GOOD_CHANCE, LEAST_MARGIN, STOP_CHANCE
from panelcp.report.contents import CAUTIONS, LIKELY, POSSIBLE, listed, percent
from panelcp.report.cooling_diagram import (
    DIAGRAM_STYLE,
    band_text,
    budget_parts,
    budget_picture,
    flow_text,
    kelvin_text,
    margin_picture,
    margin_text,
    network_layout,
    network_picture,
    signed,
)
from panelcp.report.cooling_tables import (
    ZERO_CELSIUS,
    UsualCheck,
    all_notes,
    condition_word,
    core_flags,
    core_word,
    fan_flags,
    port_flags,
    readable,
    usual_checks,
    watched,
)
from panelcp.report.markup import html_list, html_row, html_table
from panelcp.report.tables import IN_H2O

SHOWN_WARNINGS = 3
NAMED_CONDITIONS = 2
"""Conditions that a sentence on the flow's sign names; of more it gives the number."""
COOLING_STYLE = (
    DIAGRAM_STYLE
    + """
.cooling .look { color:var(--warn); font-weight:600 }
.cooling td.p, .cooling td.w, .cooling .n, .cooling summary, .cooling .cards td
  { overflow-wrap:anywhere }
.cooling td.p, .cooling td.w { max-width:44ch } .cooling th.n { min-width:12ch; max-width:30ch }
.cooling td.n { text-align:left; white-space:normal; min-width:16ch; max-width:30ch }
.cooling .cards td::before { flex:0 0 44%; overflow-wrap:anywhere }
.cooling .notice ul { margin:.3rem 0; font-weight:400 }
.cooling .cards td[colspan].bad { color:var(--bad) }
.cooling .cards td[colspan].look { color:var(--warn) }
.cooling details > details { margin-left:1rem }
"""
)
"""To stand on the page behind its own style."""

LOSS, ELECTRIC = (
    CAUTIONS[3],
    "Fan load, fuse, wire and alternator margin have to be checked by others, and a fan that fails "
    "must leave time to land. No sparks near fuel vapour.",
)
HOT_DAY = (
    "Every condition is reckoned in its own outside air. A test on a cooler day is carried over by "
    "adding the difference of the outside temperatures, degree for degree, to coolant and oil "
    "temperatures at the time they were highest; it does not hold for cylinder barrels, nor where "
    "a thermostat still governs. The engine's own document rules."
)
MARGIN_NOTE = (
    f"Margin: limit less temperature; good above {ENOUGH_MARGIN:g} K, look from "
    f"{LEAST_MARGIN:g} to {ENOUGH_MARGIN:g} K, stop below {LEAST_MARGIN:g} K (common practice for "
    "coolant on a hot day, used here for all cores; no source). In brackets 16 and 84 % of the "
    "sampled worlds. A core whose limit is not given has no margin. Pressure available over "
    "needed is left out where a fan runs or no core has a limit. With a chance of more than "
    f"{100 * GOOD_CHANCE:g} % to be too hot no margin is called good, with more than "
    f"{100 * STOP_CHANCE:g} % it is a stop (ours). All are steady states, how hot it would get if "
    "the condition lasted: a roll of 20 s does not get there, a tow of eight minutes may."
)
NETWORK_NOTE = (
    "Air goes from left to right where it flows as it is meant; thick lines carry much of it. "
    "Lines that are red and dashed flow backwards, and their box says so. Boxes with round corners "
    "are places with their total gauge pressure and temperature; small bars show pressures of one "
    "condition on one scale, suction to the left of the tick. Wide pictures can be moved sideways."
)
USUAL_NOTE = (
    "Common practice, no source: what builders usually meet, over the deciding conditions. These "
    "ranges are never used as an input; a number outside is a reason to look, not a fault. The "
    "inlet range is that of a climb; the exit area that of an open flap. Fewer leaks than usual "
    "are welcome, if they were measured. A slow core is large or starved, a fast one costs drag."
)
BUDGET_NOTE = (
    "From the pressure outside behind the inlet to that outside at the exit. What drives the air "
    "is ram pressure, suction outside the exit and running fans; every step on its way takes some "
    "of it until nothing is left. In the bars the core itself is amber; numbers are those of the "
    "list and the table; a negative number in the table helps the air along."
)
SERIOUS = ("too hot", "backwards")
"""Flags that hold one of these words are a reason to stop, the others one to look."""
LINES = 6
"""Lines at most for the terminal and the answer."""
MOST_NAMED = 4
"""Conditions that are named in a sentence; of more the number is told."""


# --------------------------------------------------------------------------------- lines


def cooling_lines(result: CoolingResult) -> list[str]:
    """The answer in a few plain lines, the most important first.

    Parameters
    ----------
    result : CoolingResult

    Returns
    -------
    list of str, at most LINES
    """
    result = readable(result)
    lines = [
        _enough_line(result),
        _solved_line(result),
        _pressure_line(result),
        _backwards_line(result),
        _cold_line(result),
        _fan_line(result),
        _states_line(result),
    ]
    return [line for line in lines if line][:LINES]


def hardest(result: CoolingResult) -> int | None:
    """Number of the looked-at condition with the least margin; None where none has a margin.

    Conditions that are not solved are left out.
    """
    known = _with_margin(result)
    return min(known, key=lambda c: result.least_margin[c]) if known else None


def _with_margin(result: CoolingResult) -> list[int]:
    """Looked-at conditions that are solved and have a margin."""
    least = result.least_margin
    return [c for c in watched(result) if result.converged[c] and not np.isnan(least[c])]


def _enough_line(result: CoolingResult) -> str:
    least, looked, worst = result.least_margin, watched(result), hardest(result)
    count = f"{_count(looked, 'deciding condition')}"
    if not result.decides.any():
        count = f"{_count(looked, 'condition')}, of which none decides"
    if worst is None:
        return f"Cooling: no margin is known in {count}: no core there has a limit, or not solved."
    known = _with_margin(result)
    short = [c for c in known if least[c] < 0.0]
    if short:
        text = f"Cooling: not enough air in {len(short)} of {count}"
    elif len(known) < len(looked):
        text = f"Cooling: enough air in {len(known)} of {count}"
    else:
        all_of = "the" if len(looked) == 1 else f"all {len(looked)}"
        text = f"Cooling: enough air in {all_of} {count.split(' ', 1)[1]}"
    unknown = [result.conditions[c] for c in looked if c not in known]
    text += f"; margin not known in {_names(unknown)}" if unknown else ""
    k = _core_number(result, worst)
    text += (
        f"; least margin {_margin(result, k, worst)}, {core_word(result, k, worst)}: "
        f"{result.limiting_core[worst]} in {listed([result.conditions[worst]])}"
    )
    return f"{text}{_hot_chance(result, k, worst)}.{_watched_line(result)}"


def _hot_chance(result, k, c) -> str:
    chance = result.cores[k].chance_too_hot[c]
    return "" if np.isnan(chance) else f", too hot with a probability of {percent(chance)}"


def _watched_line(result: CoolingResult) -> str:
    """Conditions that do not decide and yet get too hot."""
    least = result.least_margin
    hot = [c for c in range(len(result.conditions)) if c not in watched(result) and least[c] < 0.0]
    if not hot:
        return ""
    names = _names(
        f"{result.conditions[c]} ({result.limiting_core[c]} {kelvin_text(least[c])})" for c in hot
    )
    return f" Too hot, though not deciding, in {names}."


def _solved_line(result: CoolingResult) -> str:
    bad = [name for name, good in zip(result.conditions, result.converged, strict=True) if not good]
    if not bad:
        return ""
    return f"Not solved, its numbers must not be used: {_names(bad)}."


def _pressure_line(result: CoolingResult) -> str:
    ratio, looked, parts = result.available_over_needed, watched(result), []
    known = [c for c in looked if not np.isnan(ratio[c])]
    if known:
        c = min(known, key=lambda c: ratio[c])
        name = listed([result.conditions[c]])
        text = f"Pressure available over needed at least {ratio[c]:.2f} ({name}; 1 is just enough)"
        free = "No pressure is needed in any deciding condition"
        parts.append(text if np.isfinite(ratio[c]) else free)
    outside = result.highest_outside
    known = [c for c in looked if np.isfinite(outside[c])]
    if known:
        c = min(known, key=lambda c: outside[c])
        parts.append(
            f"no margin is left at {_celsius(whole_below(outside[c]))} outside in "
            f"{listed([result.conditions[c]])} (central estimate: about an even chance to be too "
            "hot there)"
        )
    return _sentence("; ".join(parts)) if parts else ""


def _backwards_line(result: CoolingResult) -> str:
    surely, likely, possible = [], [], []
    for part in (*result.ports, *result.cores):
        back, chance = part.reversed, np.nan_to_num(part.chance_reversed)
        for group, where in (
            (surely, back),
            (likely, ~back & (chance > LIKELY)),
            (possible, ~back & (chance > POSSIBLE) & (chance <= LIKELY)),
        ):
            if where.any():
                names = _names(np.array(result.conditions, dtype=object)[where])
                many = np.count_nonzero(where) > NAMED_CONDITIONS
                words = f"{np.count_nonzero(where)} conditions" if many else names
                group.append(f"{part.name} in {words}")
    if not (surely or likely or possible):
        return "Air flows the way it is meant through every opening and core in all conditions."
    texts = [f"Air flows backwards through {'; '.join(surely)}."] if surely else []
    texts += [f"More likely than not also through {'; '.join(likely)}."] if likely else []
    texts += [f"It may flow backwards through {'; '.join(possible)}."] if possible else []
    return " ".join(texts)


def _cold_line(result: CoolingResult) -> str:
    parts = [
        f"{core.name} in {_names(np.array(result.conditions, dtype=object)[core.too_cold])}"
        for core in result.cores
        if core.too_cold.any()
    ]
    return f"Over-cooled: {'; '.join(parts)}." if parts else ""


def _fan_line(result: CoolingResult) -> str:
    parts = []
    for fan in result.fans:
        for words, where in (
            ("holds the ram air back", fan.holds_back),
            ("works near its stall dip", fan.near_dip),
        ):
            if where.any():
                names = _names(np.array(result.conditions, dtype=object)[where])
                parts.append(f"{fan.name} {words} in {names}")
    return f"Fans: {'; '.join(parts)}." if parts else ""


def _states_line(result: CoolingResult) -> str:
    if not result.other_states:
        return ""
    names = dict.fromkeys(result.conditions[state.condition] for state in result.other_states)
    return f"The air can also settle in another steady state in {_names(names)}."


def cooling_log(result: CoolingResult) -> list[str]:
    """Lines for the log: how every condition was solved and what came of it.

    Parameters
    ----------
    result : CoolingResult

    Returns
    -------
    list of str
    """
    result = readable(result)
    parts = result.installation
    lines = [
        f"cooling network: {_count(parts.inlets, 'inlet')}, {_count(parts.exits, 'exit')}, "
        f"{_count(parts.ducts, 'duct')}, {_count(parts.cores, 'core')}, "
        f"{_count(parts.fans, 'fan')}, {_count(parts.leaks, 'leak')}; {_samples(result)}",
        f"cooling network: {_coupling(result)}",
    ]
    for c, name in enumerate(result.conditions):
        state = "solved" if result.converged[c] else "NOT SOLVED"
        lines.append(
            f"cooling, {name}: {state} in {int(result.steps[c])} steps, pressure imbalance "
            f"{result.residual[c]:.1e}, heat error {result.heat_error[c]:.1e}, lost samples "
            f"{int(result.lost_samples[c])}"
        )
        for k, core in enumerate(result.cores):
            flags = "".join(f"; {flag}" for flag in core_flags(result, k, c))
            lines.append(
                f"cooling, {name}, {core.name}: {flow_text(core.flow.value[c])}, "
                f"{margin_text(core.margin.value[c], core_word(result, k, c))}{flags}"
            )
    lines += [f"cooling: {_state_words(result, state)}" for state in result.other_states]
    lines += [f"cooling, note: {note}" for note in all_notes(result)]
    return lines + [f"cooling, warning: {warning}" for warning in result.warnings]


# ------------------------------------------------------------------------------- section


def cooling_section(result: CoolingResult) -> str:
    """HTML of the section; needs COOLING_STYLE on the page.

    Parameters
    ----------
    result : CoolingResult

    Returns
    -------
    str; every text of the case is escaped
    """
    result = readable(result)
    parts = [
        html_list([_held(line) for line in cooling_lines(result)]),
        _warnings(result),
        _margins(result),
        "<h3>The network, condition by condition</h3>",
        f"<p class='soft'>{escape(NETWORK_NOTE)}</p>",
        _conditions(result),
        _budget(result),
        _fans(result),
        _usual(result),
        _solution(result),
        _taken(result),
    ]
    return f'<div class="cooling">{"".join(parts)}</div>'


def _warnings(result: CoolingResult) -> str:
    if not result.warnings:
        return ""
    texts = [_held(text) for text in result.warnings]
    first, rest = html_list(texts[:SHOWN_WARNINGS]), texts[SHOWN_WARNINGS:]
    if rest:
        first += f"<details><summary>The other {len(rest)}</summary>{html_list(rest)}</details>"
    return f'<div class="notice"><b>Warnings of the solution</b>{first}</div>'


def _margins(result: CoolingResult) -> str:
    if not result.cores:
        return "<p>The case names no cores, so there are no margins.</p>"
    told = [c for c in range(len(result.conditions)) if result.told(c)]
    everything = [(c, k) for c in told for k in range(len(result.cores))]
    least = result.least_margin
    known = [c for c in range(len(result.conditions)) if not np.isnan(least[c]) and result.told(c)]
    sizing = sorted(known, key=lambda c: (not result.decides[c], least[c]))
    bars = margin_picture(
        result, [(c, _core_number(result, c)) for c in sizing], "Least margin by condition"
    )
    pale = "Pale bars do not decide. " if not result.decides.all() else ""
    note = (
        f"<p class='soft'>Least margin of every condition with the core that limits it, hardest "
        f"first; thin lines are the bands. {pale}{escape(MARGIN_NOTE)}</p>"
    )
    all_bars = margin_picture(result, everything, "Margins of all cores")
    more = ""
    if len(result.cores) > 1 and all_bars:
        more = f"<details><summary>Bars of all cores</summary>{all_bars}</details>"
    caution = f'<p class="soft"><b>Caution:</b> {escape(LOSS)}</p>'
    hot_day = f'<p class="soft">{escape(HOT_DAY)}</p>'
    return f"<h3>Margins</h3>{bars}{note}{_margin_table(result)}{more}{caution}{hot_day}"


def _margin_table(result: CoolingResult) -> str:
    titles = [("Condition", "t"), ("Decides", "t")]
    titles += [(core.name, "n") for core in result.cores]
    titles += [("Pressure available over needed", ""), ("No margin left at, outside", "")]
    rows = []
    for c, condition in enumerate(result.conditions):
        cells = [(condition, "p"), ("yes" if result.decides[c] else "no", "t")]
        cells += [_margin_cell(result, k, c) for k in range(len(result.cores))]
        cells += [_ratio_cell(result.available_over_needed[c])]
        cells.append((_celsius(whole_below(result.highest_outside[c]), ""), ""))
        rows.append(html_row(cells, titles=titles))
        found = [(core.name, core_flags(result, k, c)) for k, core in enumerate(result.cores)]
        rows += _flag_row([f"{name}: {', '.join(f)}" for name, f in found if f], len(titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _margin_cell(result: CoolingResult, k: int, c: int) -> tuple[str, str]:
    core, value = result.cores[k], result.cores[k].margin.value[c]
    if np.isnan(value):
        return "no limit", ""
    if not result.told(c):
        return "not predicted", ""
    word = core_word(result, k, c)
    text = f"{_margin(result, k, c)} {word}"
    chance = core.chance_too_hot[c]
    if not np.isnan(chance):
        text += f"; too hot: {percent(chance)}"
    return _held(text.replace("too hot: ", "too\u00a0hot:\u00a0")), f"{_style(word)} r"


def _flag_row(flags: Sequence[str], columns: int) -> list[str]:
    """A row below another that says what to look at; none where there is nothing."""
    if not flags:
        return []
    text = "; ".join(flags)
    word, style = ("Stop", "bad") if any(bad in text for bad in SERIOUS) else ("Look", "look")
    text = escape(f"{word}: {text}")
    return [f'<tr><td></td><td class="w {style}" colspan="{columns - 1}">{text}</td></tr>']


def _style(word: str) -> str:
    return {"stop": "bad", "look": "look", "good": "good"}.get(word, "")


def _margin(result: CoolingResult, k: int, c: int) -> str:
    """A margin with its band."""
    margin = result.cores[k].margin
    value, low, high = margin.value[c], margin.low[c], margin.high[c]
    if not (np.isfinite(low) and np.isfinite(high)):
        return kelvin_text(value)
    return f"{kelvin_text(value)} ({band_text(low, high)})"


def _ratio_cell(ratio: float) -> tuple[str, str]:
    if np.isnan(ratio):
        return "", ""
    if np.isposinf(ratio):
        return "none needed", ""
    word = "good" if ratio > 1.3 else "look" if ratio >= 1.0 else "stop"
    return f"{ratio:.2f} {word}", _style(word)


def _conditions(result: CoolingResult) -> str:
    """Network and numbers of every condition, the deciding ones first, the hardest one open."""
    layout = network_layout(result.installation)
    first = hardest(result)
    order = sorted(range(len(result.conditions)), key=lambda c: (not result.decides[c], c))
    first = order[0] if first is None and order else first
    parts = []
    for c in order:
        opened = " open" if c == first else ""
        parts.append(
            f"<details{opened}><summary>{escape(_condition_words(result, c))}</summary>"
            f"{network_picture(result, c, layout)}{_cores_table(result, c)}"
            f"{_ports_table(result, c)}{_ways_table(result, c)}</details>"
        )
    return "".join(parts)


def _condition_words(result: CoolingResult, c: int) -> str:
    """Heading of a condition: margin, core, what flows backwards."""
    text = result.conditions[c] + ("" if result.decides[c] else " (does not decide)")
    if not result.converged[c]:
        return f"{text}: not solved, do not use its numbers"
    if not result.told(c):
        return f"{text}: the air outside is not predicted, a guess only"
    if result.limiting_core[c]:
        word = condition_word(result, c)
        text += f": {margin_text(result.least_margin[c], word)} ({result.limiting_core[c]})"
    back = [part.name for part in (*result.ports, *result.cores) if part.reversed[c]]
    return f"{text}; backwards: {listed(back)}" if back else text


def _cores_table(result: CoolingResult, c: int) -> str:
    if not result.cores:
        return ""
    titles = (("Core", "t"), ("Air, kg/s", ""), ("Face velocity, m/s", ""), ("Drop, Pa", ""))
    titles += (("inH2O", ""), ("Air in, °C", ""), ("Air out, °C", ""), ("Heat, kW", ""))
    titles += (("Hot, °C", ""), ("Cold, °C", ""), ("Limit, °C", ""), ("Margin", ""))
    titles += (("Thermostat open", ""),)
    rows = []
    for k, core in enumerate(result.cores):
        governed = result.installation.cores[k].thermostat is not None
        governed = governed and np.isfinite(core.thermostat_share[c])
        share = f"{100 * core.thermostat_share[c]:.0f} %" if governed else ""
        cells = [
            (f"{core.name} ({core.role})", "p"),
            (_flow_band(core.flow, c), "bad" if core.reversed[c] else ""),
            (_number(core.face_velocity[c], 1), ""),
            (_number(core.drop[c], 0), ""),
            (_number(core.drop[c] / IN_H2O, 2), ""),
            *((_degrees(v[c]), "") for v in (core.air_inlet, core.air_outlet)),
            (_number(core.heat[c] / 1e3, 1), ""),
            *((_degrees(v[c]), "") for v in (core.hot, core.cold, core.limit)),
            _short_margin(core.margin.value[c], core_word(result, k, c)),
            (share, ""),
        ]
        rows.append(html_row(cells, titles=titles))
        rows += _flag_row(core_flags(result, k, c), len(titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _short_margin(margin: float, word: str) -> tuple[str, str]:
    if np.isnan(margin):
        return "no limit", ""
    if not word:
        return "not predicted", ""
    return f"{kelvin_text(margin)} {word}", _style(word)


def _flag_cell(flags: Sequence[str]) -> tuple[str, str]:
    return "; ".join(flags), "w look" if flags else ""


def _ports_table(result: CoolingResult, c: int) -> str:
    titles = (("Opening", "t"), ("Air, kg/s", ""), ("Velocity, m/s", ""))
    titles += (("Velocity over airspeed", ""), ("Pressure outside, Pa", ""), ("inH2O", ""))
    titles += (("By other openings' flows, Pa", ""), ("Air, °C", ""), ("Chance of backwards", ""))
    rows = []
    for k, port in enumerate(result.ports):
        chance = port.chance_reversed[c]
        cells = [
            (f"{port.name} ({port.use})", "p"),
            (_flow_band(port.flow, c), "bad" if port.reversed[c] else ""),
            (_number(port.velocity[c], 1), ""),
            (_number(port.velocity_ratio[c], 2), ""),
            (_number(port.pressure[c], 0), ""),
            (_number(port.pressure[c] / IN_H2O, 2), ""),
            (_number(port.coupling[c], 0), ""),
            (_degrees(port.temperature[c]), ""),
            ("" if np.isnan(chance) else percent(chance), "bad" if chance > POSSIBLE else ""),
        ]
        rows.append(html_row(cells, titles=titles))
        rows += _flag_row(port_flags(result, k, c), len(titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _ways_table(result: CoolingResult, c: int) -> str:
    """Ducts, leaks, doors and fans of one condition."""
    titles = (("Way", "t"), ("Air, kg/s", ""), ("Takes, Pa", ""), ("To look at", "t"))
    rows = []
    for way in result.ways:
        back = ["air flows backwards"] if way.flow[c] < -5e-5 else []
        cells = [
            (way.name if way.kind == "doors" else f"{way.name} ({way.kind})", "p"),
            (_number(way.flow[c], 4), "bad" if back else ""),
            (_number(way.drop[c], 0), ""),
            _flag_cell(back),
        ]
        rows.append(html_row(cells, titles=titles))
    share = result.leak_share[c]
    leaks = ""
    if not np.isnan(share):
        leaks = f"<p class='soft'>Leaks let {100 * share:.0f} % of the air past the cores.</p>"
    if not rows:
        return leaks
    table = html_table(html_row(titles, "th"), rows, "cards")
    return f"<details><summary>Ducts and leaks</summary>{table}</details>{leaks}"


def _budget(result: CoolingResult) -> str:
    names = {step.core for step in result.budget}
    rows = [
        (k, _own_hardest(result, k)) for k, core in enumerate(result.cores) if core.name in names
    ]
    if not rows:
        return ""
    tables = "".join(_budget_table(result, k, c) for k, c in rows)
    return (
        f"<h3>Where the pressure goes</h3>{budget_picture(result, rows)}"
        f"{html_list([_held(_budget_line(result, k, c)) for k, c in rows])}"
        f"<p class='soft'>Every core in its own hardest condition. {escape(BUDGET_NOTE)}</p>"
        f"{tables}"
    )


def _budget_line(result: CoolingResult, k: int, c: int) -> str:
    """The steps of one core in words, with their numbers in the bars."""
    drives, takes, _ = budget_parts(result, result.cores[k].name, c)
    driven = ", ".join(f"{number} {what} {value:.0f} Pa" for number, what, value in drives)
    taken = ", ".join(f"{number} {what} {value:.0f} Pa" for number, what, value in takes)
    name = f"{result.cores[k].name} in {listed([result.conditions[c]])}"
    return f"{name}: driven by {driven or 'nothing'}; taken by {taken or 'nothing'}."


def _own_hardest(result: CoolingResult, k: int) -> int:
    """The looked-at condition in which a core has its least margin."""
    margin, looked = result.cores[k].margin.value, watched(result)
    return min(looked, key=lambda c: np.inf if np.isnan(margin[c]) else margin[c])


def _budget_table(result: CoolingResult, k: int, shown: int) -> str:
    core = result.cores[k]
    steps = [step for step in result.budget if step.core == core.name]
    titles = [("Step, Pa", "t"), *((name, "n") for name in result.conditions)]
    rows = []
    for number, step in enumerate(steps):
        cells = [(f"{number + 1} {step.what}", "n")]
        cells += [(_number(value, 0), "") for value in step.pressure]
        rows.append(html_row(cells))
    lefts = [budget_parts(result, core.name, c)[2] for c in range(len(result.conditions))]
    drives = [
        sum(p for _, _, p in budget_parts(result, core.name, c)[0])
        for c in range(len(result.conditions))
    ]
    open_ends = [
        name
        for name, left, drive in zip(result.conditions, lefts, drives, strict=True)
        if abs(left) > max(1.0, 0.01 * drive)
    ]
    note = ""
    if open_ends:
        note = f"<p class='bad'>The steps do not add up in {escape(_names(open_ends))}.</p>"
    total = [("drives in all", "t"), *((_number(value, 0), "") for value in drives)]
    rows.append(html_row(total))
    table = html_table(html_row(titles, "th"), rows)
    name = escape(f"{core.name}: steps in every condition, Pa")
    return f"<details><summary>{name}</summary>{table}</details>{note}"


def _fans(result: CoolingResult) -> str:
    if not result.fans:
        return ""
    titles = (("Fan", "t"), ("Condition", "t"), ("Flow, m³/s", ""), ("Rise, Pa", ""))
    titles += (("Electrical, W", ""), ("State", "t"))
    rows = []
    for k, fan in enumerate(result.fans):
        for c, condition in enumerate(result.conditions):
            flags = fan_flags(result, k, c)
            cells = [
                (fan.name, "p"),
                (condition, "p"),
                (_number(fan.flow[c], 3), ""),
                (_number(fan.pressure_rise[c], 0), ""),
                (_number(fan.electrical_power[c], 0), ""),
                ("; ".join(flags), "w look" if len(flags) > 1 else "w"),
            ]
            rows.append(html_row(cells, titles=titles))
    note = (
        "<p class='soft'>A negative rise takes pressure from the air: an idle fan in the way of "
        "ram air, or one that turns slower than the air wants. Near the stall dip the flow may "
        f"jump and hum; choose another fan or speed. <b>Caution:</b> {escape(ELECTRIC)}</p>"
    )
    return f"<h3>Fans</h3>{html_table(html_row(titles, 'th'), rows, 'cards')}{note}"


def _usual(result: CoolingResult) -> str:
    checks = usual_checks(result)
    if not checks:
        return ""
    titles = (("What", "t"), ("Of", "t"), ("Found", ""), ("Usual", ""), ("", "t"), ("Where", "t"))
    rows = []
    for check in checks:
        word = " and ".join(w for w in ("below", "above") if getattr(check, w))
        word = f"look: {word}" if word else "usual"
        cells = [
            (check.what, "p"),
            (check.name or "all", "p"),
            (_range(check.least, check.most, check.unit), ""),
            (_usual_text(check), ""),
            (word, "t" if check.inside else "t look"),
            (_check_place(check), "p"),
        ]
        rows.append(html_row(cells, titles=titles))
    table = html_table(html_row(titles, "th"), rows, "cards")
    return (
        f"<h3>Beside what builders usually meet</h3>{table}<p class='soft'>{escape(USUAL_NOTE)}</p>"
    )


def _usual_text(check: UsualCheck) -> str:
    if np.isinf(check.high):
        return f"above {check.low:g}{_unit(check.unit)}"
    return f"{check.low:g} to {check.high:g}{_unit(check.unit)}"


def _unit(unit: str) -> str:
    return f" {unit}" if unit else ""


def _range(least: float, most: float, unit: str) -> str:
    ends = [
        f"{v:.3g}".replace("-", "−") if np.isfinite(v) else "none needed" for v in (least, most)
    ]
    return " to ".join(dict.fromkeys(ends)) + _unit(unit)


def _check_place(check: UsualCheck) -> str:
    """Conditions of the ends that lie outside, or of both."""
    if not check.least_in:
        return ""
    if check.below == check.above:
        return " to ".join(dict.fromkeys([check.least_in, check.most_in]))
    return f"least in {check.least_in}" if check.below else f"most in {check.most_in}"


def _solution(result: CoolingResult) -> str:
    titles = (("Condition", "t"), ("Solved", "t"), ("Pressure imbalance round a loop", ""))
    titles += (("Heat to the air against heat of the cores", ""), ("Newton steps", ""))
    titles += (("Samples lost", ""),)
    rows = []
    for c, condition in enumerate(result.conditions):
        good = bool(result.converged[c])
        cells = [
            (condition, "p"),
            ("yes" if good else "NO: do not use", "t" if good else "t bad"),
            (_tiny(result.residual[c]), ""),
            (_tiny(result.heat_error[c]), ""),
            (str(int(result.steps[c])), ""),
            (_lost(result, c), ""),
        ]
        rows.append(html_row(cells, titles=titles))
    lines = [_sentence(_samples(result)), _sentence(_coupling(result))]
    if result.other_states:
        lines += [_state_words(result, state) for state in result.other_states]
    else:
        lines.append("No other steady state was found from the other starts.")
    return (
        f"<h3>How well it is solved</h3>{html_table(html_row(titles, 'th'), rows, 'cards')}"
        f"{html_list(lines)}"
    )


def _lost(result: CoolingResult, c: int) -> str:
    return f"{int(result.lost_samples[c])} of {result.samples}" if result.samples else ""


def whole_below(temperature: float) -> float:
    """K: the whole degree Celsius below, so that no room is promised that is not there."""
    return float(np.floor(temperature - 273.15) + 273.15)


def _samples(result: CoolingResult) -> str:
    if not result.samples:
        return "nothing was sampled, so there are no bands and no probabilities"
    c = int(np.argmax(result.lost_samples))
    lost = int(result.lost_samples[c])
    worlds = f"bands and probabilities from {result.samples} sampled worlds in every condition"
    if not lost:
        return worlds
    where = listed([result.conditions[c]])
    return f"{worlds}; up to {lost} of them ({where}) found no steady state and are left out there"


def _coupling(result: CoolingResult) -> str:
    """What the flows through openings do to each other's pressures, in words."""
    if not result.coupling_rounds:
        return "what the flows through the openings do to each other's pressures is left out"
    worst = max(
        ((abs(port.coupling[c]), port, c) for port in result.ports
         for c in range(len(result.conditions)) if np.isfinite(port.coupling[c])),
        key=lambda found: found[0],
        default=None,
    )  # fmt: skip
    rounds = f"{result.coupling_rounds} round{'s' if result.coupling_rounds > 1 else ''}"
    text = ""
    if worst is not None:
        _, port, c = worst
        text = (
            f"at most {signed(port.coupling[c])}, at {port.name} in "
            f"{listed([result.conditions[c]])}; "
        )
    return (
        f"what the flows through the openings do to each other's pressures: {text}flows and "
        f"pressures agreed after {rounds}, the last one changed a flow by "
        f"{result.coupling_change:.1g} kg/s at most"
    )


def _state_words(result: CoolingResult, state) -> str:
    flows = ", ".join(
        f"{name} {flow_text(flow)}{' backwards' if flow < 0.0 else ''}"
        for name, flow in state.flows.items()
    )
    margins = ", ".join(f"{name} {kelvin_text(margin)}" for name, margin in state.margins.items())
    text = (
        f"Another steady state in {listed([result.conditions[state.condition]])}, reached from the "
        f"start “{state.start}”: {flows or 'flows not kept'}"
    )
    text += f"; margins: {margins}" if margins else ""
    return f"{text}. Which of them is flown depends on how the air was before."


def _taken(result: CoolingResult) -> str:
    notes = all_notes(result)
    if not notes:
        return ""
    return f"<h3>Taken for granted</h3>{html_list(notes)}"


# --------------------------------------------------------------------------------- words


def _core_number(result: CoolingResult, c: int) -> int:
    """Number of the core with the least margin of a condition."""
    margins = [core.margin.value[c] for core in result.cores]
    return int(np.nanargmin(margins))


def _names(names) -> str:
    names = list(names)
    if len(names) > MOST_NAMED:
        return f"{listed(names[: MOST_NAMED - 1])} and {len(names) - MOST_NAMED + 1} more"
    return listed(names)


def _held(text: str) -> str:
    """Text whose lines do not break between a number and its unit."""
    return re.sub(r"(?<=\d) (?=(?:K|Pa|°C|%|kg/s|m/s|W)(?:\W|$))", "\u00a0", text)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _count(things, word: str) -> str:
    number = len(things)
    return f"{number} {word}{'' if number == 1 else 's'}"


def _number(value: float, digits: int) -> str:
    if np.isnan(value):
        return ""
    if np.isinf(value):
        return "no end"
    text = f"{value:.{digits}f}"
    text = text.removeprefix("-") if float(text) == 0.0 else text
    return text.replace("-", "−")


def _degrees(kelvin: float) -> str:
    return _number(kelvin - ZERO_CELSIUS, 0)


def _celsius(kelvin: float, unknown: str = "?") -> str:
    if np.isnan(kelvin):
        return unknown
    return f"{_degrees(kelvin)} °C" if np.isfinite(kelvin) else "no end"


def _tiny(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.1e}".replace("-", "−")


def _flow_band(flow, c: int) -> str:
    """Flow with its band."""
    text = _number(flow.value[c], 3)
    if not (np.isfinite(flow.low[c]) and np.isfinite(flow.high[c])):
        return text
    return f"{text} ({_number(flow.low[c], 3)} to {_number(flow.high[c], 3)})"
