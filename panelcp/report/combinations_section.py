"""The page's section on inlets and exits that share one bay, its lines and its numbers."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from panelcp.placement.combinations import KEPT, Combinations
from panelcp.report.contents import CERTAIN, LIKELY, POSSIBLE, listed, percent

SHOWN = 10
"""Combinations in the table of the page; summary.json holds all that were looked at closely."""

IN_FULL = 4
"""Combinations whose flows are shown in every condition, the preferred one besides."""

COUNTS = ("no", "one", "two", "three")
WORDS = ("would", "would more likely than not", "may")
"""Of a flow the wrong way, with a probability above CERTAIN, LIKELY and POSSIBLE."""

ESTIMATE = (
    "Estimate: steady air through the inlets into one plenum, through the core into one bay, and "
    "out of the exits that share it. Two exits that share a bay do not simply add up: the one in "
    "higher pressure passes less, and draws air in where the bay lies below it. One density is "
    "taken, though the air leaves the core warmer: air that is 40 K warmer than the hot day's 38 "
    "°C wants 13 % more pressure at the exits. Areas are those of the "
    "outlines; the open area of louvres is less, and so is their discharge coefficient. Leaks, "
    "fans, ducts and what openings do to each other's pressure are left out. Tuft "
    "and measure before cutting a second exit."
)


def combination_lines(found: Combinations, conditions) -> list[str]:
    """What the search found, in a few sentences.

    Parameters
    ----------
    found : Combinations
    conditions : of FlightCondition
    """
    lines = [
        f"{_searched(found)}: {described(found, 0)}; air flow over needed "
        f"{ratio_text(found, 0)}, where 1 is just enough, in its hardest condition, "
        f"{listed([conditions[found.limiting[0]].name])}{_chance(found, 0)}."
    ]
    if found.preferred:
        k = found.preferred
        lines.append(
            f"Equal to it within the uncertainty of the difference, with fewer or smaller "
            f"openings: {described(found, k)}; air flow over needed {ratio_text(found, k)}"
            f"{_chance(found, k)}. {_advice(found, k)}"
        )
    for k in dict.fromkeys((0, found.preferred)):
        warned = sign_warnings(found, conditions, k)
        which = "the best combination" if k == 0 else "the smaller one"
        lines.append(
            f"Flow sign of {_count(found, k)} that {_share(found, k)} a bay, {which}: "
            + ("; ".join(warned) if warned else "all openings keep their direction")
            + "."
        )
    return lines


def size_line(found: Combinations, conditions) -> str:
    """What the sizes of the openings make of the answer, in one sentence."""
    k = found.preferred
    return (
        "That is pressure alone, not size. With the areas counted, of the best combinations that "
        f"cannot be told apart the one with fewest and smallest openings: {described(found, k)}; "
        f"air flow over needed {ratio_text(found, k)} in "
        f"{listed([conditions[found.limiting[k]].name])}{_chance(found, k)}. "
        f"{_advice(found, k)} (See inlets and exits that share a bay.)"
    )


def _advice(found: Combinations, k: int) -> str:
    """Whether a combination is enough to be taken, as likely as not or surely."""
    if found.sufficiency[k] > CERTAIN or (
        np.isnan(found.sufficiency[k]) and found.least_ratio[k] >= 1.0
    ):
        return "Take the smaller of equal ones, unless building speaks against it."
    return (
        "That is not surely enough: larger openings, a core with less resistance or another place "
        "are wanted before anything is cut."
    )


def exits_to_mark(found: Combinations) -> list:
    """Exits of the best combination and of the preferred one, each once."""
    numbers = dict.fromkeys((0, found.preferred))
    exits = [opening for k in numbers for opening, _ in found.exits_of(k)]
    return list({opening.name: opening for opening in exits}.values())


def _searched(found: Combinations) -> str:
    if found.exact:
        return f"Best of all {found.possible} combinations of openings that share one bay"
    return (
        f"Best combination of openings that share one bay, of {found.looked_at} that a search "
        f"looked at among {found.possible}"
    )


def _count(found: Combinations, k: int) -> str:
    number = len(found.exits_of(k))
    return f"{COUNTS[number]} exit{'s' if number > 1 else ''}"


def _share(found: Combinations, k: int) -> str:
    return "share" if len(found.exits_of(k)) > 1 else "has"


def _chance(found: Combinations, k: int) -> str:
    chance = found.sufficiency[k]
    return "" if np.isnan(chance) else f"; enough with a probability of {percent(chance)}"


def described(found: Combinations, k: int) -> str:
    """Inlets and exits of a combination in words."""
    into = " and ".join(opening.name for opening in found.inlets_of(k))
    out = " and ".join(exit_text(opening, factor) for opening, factor in found.exits_of(k))
    return f"air in at {into}, out at {out}"


def exit_text(opening, factor: float) -> str:
    """Name of an exit with its area, and the factor where that is not its own."""
    times = "" if factor == 1.0 else f", ×{factor:g}"
    return f"{opening.name} ({1e4 * opening.area * factor:.0f} cm²{times})"


def ratio_text(found: Combinations, k: int) -> str:
    """Least flow over needed flow with its deviation."""
    deviation = found.deviation[k]
    return f"{found.least_ratio[k]:.2f}" + ("" if np.isnan(deviation) else f" ± {deviation:.2f}")


def sign_warnings(found: Combinations, conditions, k: int, possible: bool = True) -> list[str]:
    """Which openings of a combination take, or may take, air the wrong way, and where.

    Parameters
    ----------
    found : Combinations
    conditions : of FlightCondition
    k : number of the combination
    possible : False leaves out what only may happen
    """
    inlets = {opening.name for opening in found.inlets_of(k)}
    where: dict[tuple[str, str], list[str]] = {}
    for name, c, flow, chance in found.reversals(k):
        word = _how_sure(flow, chance)
        if word and (possible or word != WORDS[-1]):
            where.setdefault((word, name), []).append(conditions[c].name)
    alike: dict[tuple[str, bool, tuple[str, ...]], list[str]] = {}
    for (word, name), names in where.items():
        alike.setdefault((word, name in inlets, tuple(names)), []).append(name)
    does = {True: "blow air out", False: "draw air in"}
    return [
        f"{' and '.join(names)} {word} {does[inlet]} during {listed(during)}"
        for (word, inlet, during), names in sorted(
            alike.items(), key=lambda row: WORDS.index(row[0][0])
        )
    ]


def _how_sure(flow: float, chance: float) -> str:
    if np.isnan(chance):
        return WORDS[0] if flow < 0.0 else ""
    for word, least in zip(WORDS, (CERTAIN, LIKELY, POSSIBLE), strict=True):
        if chance > least:
            return word
    return ""


def combinations_section(found: Combinations, conditions, table, row) -> str:
    """HTML of the section.

    Parameters
    ----------
    found : Combinations
    conditions : of FlightCondition
    table, row : functions of the page that make tables
    """
    lines = "".join(f"<li>{escape(line)}</li>" for line in combination_lines(found, conditions))
    full = [k for k in range(len(found)) if k < IN_FULL or k == found.preferred]
    details = "".join(_details(found, conditions, k, table, row) for k in full)
    return (
        f"<p>{escape(ESTIMATE)}</p><ol>{lines}</ol>"
        + _best(found, conditions, table, row)
        + f"<p class='soft'>{escape(_note(found))}</p>"
        + "<h3>Flow through every opening</h3>"
        + "<p class='soft'>m³/s; → the right way: into an inlet, out of an exit. ← the wrong way. "
        "In brackets the probability of the wrong way, where it is 1 % or more. Where the wind "
        "from behind is not predicted, only the sign may be looked at.</p>" + details
    )


def _note(found: Combinations) -> str:
    settings = found.settings
    factors = ", ".join(f"{factor:g}" for factor in settings.area_factors)
    how = "all were looked at" if found.exact else f"a search looked at {found.looked_at}"
    return (
        f"{len(found.inlets)} inlets and {len(found.exits)} exits entered, every exit with "
        f"{factors} times its area (× behind the area; an exit that grows does so alike in length "
        f"and width about its centre): {found.possible} combinations, {how}. The order goes by the "
        f"least flow over needed flow of the deciding conditions, then by the mean. The table "
        f"shows the best of every number of openings and the best of different openings, at most "
        f"{min(SHOWN, KEPT)}. Best of these: the probability that no other one listed has more. "
        "Of those that are equal within the paired deviation the fewest and smallest openings are "
        "preferred: every cut costs drag, work and strength."
    )


def _best(found: Combinations, conditions, table, row) -> str:
    titles = (("No.", ""), ("Least flow / needed", ""), ("Enough, probability", ""))
    titles += (("Best of these", ""), ("Inlets", "t"), ("Exits", "t"), ("Decided by", "t"))
    titles += (("Flow there, m³/s", ""), ("Needed", ""), ("Mean", ""))
    rows, tied = [], found.tied()
    for k in _shown(found):
        c = int(found.limiting[k])
        warned = sign_warnings(found, conditions, k, possible=False)
        possible = len(sign_warnings(found, conditions, k)) > len(warned)
        clear = "none is likely; see below" if possible else "none"
        note = ", preferred" if k == found.preferred else ", equal" if k and tied[k] else ""
        cells = [
            (f"{k + 1}{note}", "r"),
            (ratio_text(found, k), _style(found, k)),
            (_percent(found.sufficiency[k]), ""),
            (_percent(found.chance_best[k]), ""),
            (", ".join(opening.name for opening in found.inlets_of(k)), "p"),
            (", ".join(exit_text(o, factor) for o, factor in found.exits_of(k)), "w"),
            (conditions[c].name, "p"),
            (f"{found.flows.core[k, c]:.3f}", ""),
            (f"{found.needed_flow[c]:.3f}", ""),
            (f"{found.mean_ratio[k]:.2f}", ""),
        ]
        rows.append(row(cells, titles=titles))
        style = "w bad" if warned else "w"
        text = escape(f"Wrong way: {'; '.join(warned) or clear}")
        rows.append(f'<tr><td></td><td class="{style}" colspan="9">{text}</td></tr>')
    return table(row(titles, "th"), rows, "cards")


def _shown(found: Combinations) -> list[int]:
    """Numbers in the table: the first ones, the best of every size, and the preferred one."""
    _, first = np.unique(found.sets.sizes.sum(axis=1), return_index=True)
    chosen = {found.preferred, *first.tolist()}
    for k in range(len(found)):
        if len(chosen) >= SHOWN:
            break
        chosen.add(k)
    return sorted(chosen)


def _style(found: Combinations, k: int) -> str:
    """Red below 1; green above 1.3 when one deviation less is still enough."""
    ratio, deviation = found.least_ratio[k], np.nan_to_num(found.deviation[k])
    return "bad" if ratio < 1.0 else "good" if ratio > 1.3 and ratio - deviation >= 1.0 else ""


def _percent(share: float) -> str:
    return "" if np.isnan(share) else percent(share)


def _details(found: Combinations, conditions, k: int, table, row) -> str:
    """Flows of one combination in every condition."""
    inlets, exits = found.inlets_of(k), found.exits_of(k)
    titles = [("Condition", "t"), ("Core", ""), ("Flow / needed", "")]
    titles += [(f"in: {opening.name}", "") for opening in inlets]
    titles += [(f"out: {exit_text(opening, factor)}", "") for opening, factor in exits]
    rows = []
    for c, condition in enumerate(conditions):
        ratio = found.ratio[c, k]
        cells = [(condition.name, "t"), (f"{found.flows.core[k, c]:.3f}".replace("-", "−"), "")]
        cells.append(("" if np.isnan(ratio) else f"{ratio:.2f}".replace("-", "−"), ""))
        cells += [
            _flow_cell(found, c, found.flows.inlets[k, c, i], found.inlet_reversal[c, k, i], "out")
            for i in range(len(inlets))
        ]
        cells += [
            _flow_cell(found, c, found.flows.exits[k, c, i], found.exit_reversal[c, k, i], "in")
            for i in range(len(exits))
        ]
        rows.append(row(cells))
    title = f"{k + 1}: {described(found, k)}"
    opened = " open" if k == found.preferred else ""
    return (
        f"<details{opened}><summary>{escape(title)}</summary>{table(row(titles, 'th'), rows)}"
        "</details>"
    )


def _flow_cell(found: Combinations, c: int, flow: float, chance: float, wrong: str):
    """Flow with its arrow; the wrong way in words too."""
    if not found.moving[c]:
        return "at rest", ""
    text = f"→ {flow:.3f}" if flow >= 0.0 else f"← {-flow:.3f} {wrong}"
    if not found.predicted[c]:
        return f"{text}? not predicted", "bad"
    if chance >= 0.01:
        text += f" ({percent(chance)})"
    return text, "bad r" if flow < 0.0 or chance > POSSIBLE else ""


def combinations_summary(found: Combinations | None, conditions) -> dict[str, Any] | None:
    """All numbers for summary.json; None without a search."""
    if found is None:
        return None
    return {
        "possible": found.possible,
        "looked_at": found.looked_at,
        "exact": found.exact,
        "inlets": [opening.name for opening in found.inlets],
        "exits": [opening.name for opening in found.exits],
        "area_factors": list(found.settings.area_factors),
        "needed_flow": found.needed_flow,
        "needed_core_pressure": found.needed_core,
        "preferred": found.preferred + 1,
        "combinations": [_combination(found, conditions, k) for k in range(len(found))],
    }


def _combination(found: Combinations, conditions, k: int) -> dict[str, Any]:
    inlets, exits = found.inlets_of(k), found.exits_of(k)
    return {
        "rank": k + 1,
        "least_flow_ratio": found.least_ratio[k],
        "deviation": found.deviation[k],
        "mean_flow_ratio": found.mean_ratio[k],
        "limiting_condition": conditions[found.limiting[k]].name,
        "probability_enough": found.sufficiency[k],
        "probability_best_of_these": found.chance_best[k],
        "difference_deviation": found.difference_deviation[k],
        "equal_to_the_best": bool(found.tied()[k]),
        "exit_area": found.exit_area[k],
        "flow": found.flows.core[k],
        "flow_ratio": found.ratio[:, k],
        "flow_ratio_deviation": found.ratio_deviation[:, k],
        "core_pressure_ratio": found.core_ratio[:, k],
        "plenum_pressure": found.flows.plenum[k],
        "bay_pressure": found.flows.bay[k],
        "inlets": [
            {
                "name": opening.name,
                "flow_in": found.flows.inlets[k, :, i],
                "probability_reversed": found.inlet_reversal[:, k, i],
            }
            for i, opening in enumerate(inlets)
        ],
        "exits": [
            {
                "name": opening.name,
                "area_factor": factor,
                "area": opening.area * factor,
                "flow_out": found.flows.exits[k, :, i],
                "probability_reversed": found.exit_reversal[:, k, i],
            }
            for i, (opening, factor) in enumerate(exits)
        ],
        "warnings": sign_warnings(found, conditions, k),
    }
