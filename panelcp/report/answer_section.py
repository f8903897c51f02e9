"""The answer of a run in five lines, all else that can be said behind them; and the warnings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

import numpy as np

from panelcp.cooling.results import CoolingResult
from panelcp.display import LEAST_MARGIN
from panelcp.placement.choices import Choices
from panelcp.placement.spoilers import Spoiler, worst_of_each
from panelcp.report.answers import whole_answer
from panelcp.report.contents import (
    CAUTIONS,
    NAMED_SHARE,
    RunContents,
    kept,
    likely_reversed,
    listed,
    opening_line,
    percent,
    ratio_text,
    reversed_conditions,
)
from panelcp.report.cooling_diagram import budget_parts
from panelcp.report.cooling_section import cooling_lines, hardest
from panelcp.report.cooling_tables import readable, watched
from panelcp.report.margin_section import margin_kelvin
from panelcp.report.markup import html_list
from panelcp.report.sections import caution_line
from panelcp.report.tables import IN_H2O

SHOWN_WARNINGS = 3

SERIOUS = (
    r"not solved|do not use|must not be used",
    r"above its limit|too hot",
    r"flows backwards|would reverse|would flow backwards",
    r"flame|fire|carbon monoxide",
    r"stays too cold|over-cooled",
    r"not predicted|cannot be predicted",
    r"may flow backwards|may reverse",
    r"too coarse|at fault|limit",
)
"""Kinds of warnings by what they say, the worst first; whatever fits none comes last."""

NAMED = 4
"""Conditions that are named in a line; of more the number is told."""

PIECES = 3
"""Largest parts of the pressure that the first line names."""

PEOPLE = (
    "air into the cabin",
    "air at the wing root",
    "air towards the windshield",
    "glass near",
)
"""Kinds of spoilers that endanger people, in the order in which they are named; first of all."""

NAMED_SPOILERS = 2
"""Kinds of spoilers that a line names."""


def answer_section(contents: RunContents) -> str:
    """HTML of the section."""
    lines = "".join(
        f"<li><b>{escape(lead)}</b> {escape(kept(text))}</li>"
        for lead, text in deciding_lines(contents)
    )
    more = "".join(f"<li>{escape(kept(line))}</li>" for line in whole_answer(contents))
    return (
        f'<div class="answer"><ol>{lines}</ol>{caution_line(CAUTIONS[3])}'
        f"{warnings_box(contents.warnings)}"
        f'<details class="paper"><summary>More</summary><ol>{more}</ol></details></div>'
    )


def deciding_lines(contents: RunContents) -> list[tuple[str, str]]:
    """The five lines that decide, each with what it answers.

    Parameters
    ----------
    contents : RunContents

    Returns
    -------
    list of (lead, text)
    """
    return [
        ("Does it work?", _works_line(contents)),
        ("Best exit:", _exit_line(contents)),
        ("Best inlet:", _inlet_line(contents)),
        ("What spoils it:", _spoils_line(contents)),
        ("Test first:", _test_line(contents)),
    ]


def _works_line(contents: RunContents) -> str:
    """Whether the network cools; without one, whether there is pressure enough."""
    if contents.cooling is not None:
        return _network_line(readable(contents.cooling))
    ranking = contents.ranking
    notice = "".join(f" ({text})" for text in contents.notices)
    return (
        "By pressure alone, for the case names no cores: the best places have "
        f"{ratio_text(contents, 0)} times the needed pressure in the deciding condition that is "
        f"hardest for them, and enough in all with a probability of "
        f"{percent(ranking.least_sufficiency[0])}{notice}."
    )


def _network_line(result: CoolingResult) -> str:
    """Conditions above a limit and close to one, the least margin, and what takes the pressure."""
    line = cooling_lines(result)[0].removeprefix("Cooling: ")
    line = line[:1].upper() + line[1:]
    if hardest(result) is None:
        return line
    head, joint, rest = line.partition("; ")
    head = head.replace("Not enough air in", "Not enough air: above a limit in")
    return f"{head}{_close_words(result)}{joint}{rest}{_pieces(result)}"


def _close_words(result: CoolingResult) -> str:
    """In how many looked-at conditions there is room, but less than LEAST_MARGIN."""
    least, looked = result.least_margin, [c for c in watched(result) if result.converged[c]]
    close = [c for c in looked if 0.0 <= least[c] < LEAST_MARGIN]
    if not close:
        return ""
    more = " more" if any(least[c] < 0.0 for c in looked) else ""
    names = listed([result.conditions[c] for c in close[:NAMED]])
    names += f" and {len(close) - NAMED} more" if len(close) > NAMED else ""
    return f", less than {LEAST_MARGIN:g} K left in {len(close)}{more} ({names})"


def _pieces(result: CoolingResult) -> str:
    """The largest parts of the pressure on the way through the core with the least margin."""
    c = hardest(result)
    core = result.limiting_core[c]
    drives, takes, _ = budget_parts(result, core, c)
    if not drives or not takes:
        return ""
    largest = sorted(takes, key=lambda part: -part[2])[:PIECES]
    told = ", ".join(f"{what} {value:.0f} Pa" for _, what, value in largest)
    total = sum(value for _, _, value in drives)
    where = listed([result.conditions[c]])
    return f" What takes the pressure of {core} in {where}, of {total:.0f} Pa: {told}."


def _exit_line(contents: RunContents) -> str:
    ranking, chosen = contents.ranking, contents.choices
    alone = " by pressure alone" if contents.cooling is not None else ""
    line = (
        f"{opening_line(ranking.exit(0))}, the best of {ranking.n_pairs} pairs of inlet and exit"
        f"{alone}: available over needed {ratio_text(contents, 0)}, where 1 is just enough"
        f"{_margin_words(contents)}"
    )
    if chosen is None or chosen.first != 0:
        return f"{line}."
    line += f"; really the best of all with a chance of {percent(chosen.chance_of_exit[0])}"
    line += _likelier(contents, chosen)
    equal = [str(j + 1) for j in np.flatnonzero(chosen.tie[0]) if j != 0]
    if not equal:
        return f"{line}."
    places = "place" if len(equal) == 1 else "places"
    return (
        f"{line}. Equal within the uncertainty: {places} {', '.join(equal)} of the list; choose by "
        "ease of building."
    )


def _likelier(contents: RunContents, chosen: Choices) -> str:
    """The place that is the best of all more often than the first one."""
    j = int(np.argmax(chosen.chance_of_exit))
    if chosen.chance_of_exit[j] <= chosen.chance_of_exit[0]:
        return ""
    name = contents.ranking.exit(int(chosen.pairs[j])).name
    return f", {name} more often ({percent(chosen.chance_of_exit[j])})"


def _margin_words(contents: RunContents) -> str:
    """Where the best exit by pressure stands among the exits ranked by margin."""
    found = next((margins for margins in contents.margins if margins.use == "exit"), None)
    if found is None or not found.names:
        return ""
    name = contents.ranking.exit(0).name
    text = f"; by margin with the cooling network: {found.names[0]}, "
    text += margin_kelvin(found.least[0])
    if name == found.names[0]:
        return f"{text}, this place too"
    if name not in found.names:
        return f"{text}; this place is not among those ranked so: do not cut by pressure alone"
    k = found.names.index(name)
    return (
        f"{text}; this place {margin_kelvin(found.least[k])}, rank {k + 1} of {len(found.names)}: "
        "the two do not agree: do not cut by pressure alone"
    )


def _inlet_line(contents: RunContents) -> str:
    ranking = contents.ranking
    c = int(ranking.limiting[0])
    same_exit = np.flatnonzero(ranking.exit_index == ranking.exit_index[0])[1:]
    equal = [
        ranking.inlet(int(pair)).name
        for pair in same_exit
        if ranking.available[c, 0] - ranking.available[c, pair]
        < ranking.difference_deviation(0, int(pair), c)
    ]
    line = opening_line(ranking.inlet(0))
    line += f" (equal within the uncertainty: {listed(equal)})" if equal else ""
    return (
        f"{line}. The limiting condition is {_quoted(contents, c)}: "
        f"{ranking.available[c, 0]:.0f} ± {ranking.deviation[c, 0]:.0f} Pa available, "
        f"{ranking.needed[c]:.0f} ± {ranking.needed_deviation[c]:.0f} Pa needed."
    )


def _spoils_line(contents: RunContents) -> str:
    """What endangers people, backward flow, and the worst else found at the best places."""
    found = _worst_spoilers(contents)
    people = [_spoiler_words(worst) for worst in found if worst.kind in PEOPLE]
    others = [_spoiler_words(worst) for worst in found if worst.kind not in PEOPLE]
    parts = [*people, _sign(contents), *others]
    if contents.cooling is not None:
        lines = cooling_lines(contents.cooling)
        parts += [f"o{line[1:]}" for line in lines if line.startswith("Over-cooled")]
    text = "; ".join(part.rstrip(".") for part in parts if part)
    if not text:
        return "Nothing of what is looked for was found; that does not make it good."
    return f"{text[:1].upper()}{text[1:]}."


def _worst_spoilers(contents: RunContents) -> list[Spoiler]:
    """At the best places, one of each kind: first what endangers people, then what spoils."""
    names = {contents.ranking.exit(0).name, contents.ranking.inlet(0).name}
    found = [worst for worst, _ in worst_of_each(contents.spoilers) if worst.opening in names]

    def rank(worst: Spoiler) -> tuple[int, bool]:
        kind = PEOPLE.index(worst.kind) if worst.kind in PEOPLE else len(PEOPLE)
        return kind, worst.severity != "spoils"

    kinds: dict[str, Spoiler] = {}
    for worst in sorted(found, key=rank):
        kinds.setdefault(worst.kind, worst)
    return list(kinds.values())[:NAMED_SPOILERS]


def _spoiler_words(worst: Spoiler) -> str:
    word = "" if worst.severity == "spoils" else "look at "
    return f"{word}{worst.kind}, {_first_sentence(worst.line())}"


def _first_sentence(text: str) -> str:
    return text.split(". ")[0]


def _sign(contents: RunContents) -> str:
    """In which conditions the best exit blows inward."""
    certain, possible = reversed_conditions(contents, 0)
    likely = likely_reversed(contents, 0)
    possible = [name for name in possible if name not in likely]
    for names, words in (
        (certain, "flow would reverse in"),
        (likely, "flow would more likely reverse than not in"),
        (possible, "flow may reverse in"),
    ):
        if names:
            more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
            return f"{words} {listed(names[:NAMED])}{more}"
    return ""


def _test_line(contents: RunContents) -> str:
    """The measurement that tells most, with what to expect, the hard condition last."""
    least = _least_known(contents)
    if contents.cooling is not None:
        result = readable(contents.cooling)
        c = hardest(result)
        if c is not None:
            return _network_test(result, c) + (f"; then {least}." if least else ".")
    ranking = contents.ranking
    c = int(ranking.limiting[0])
    available, deviation = ranking.available[c, 0], ranking.deviation[c, 0]
    line = (
        f"In cruise first, the hard condition last and on a cool day: the pressure behind "
        f"{ranking.inlet(0).name} against that at {ranking.exit(0).name}. In "
        f"{_quoted(contents, c)} {available:.0f} ± {deviation:.0f} Pa "
        f"({available / IN_H2O:.2f} inH2O) are expected, {ranking.needed[c]:.0f} Pa are needed."
    )
    return f"{line} Least known: {least}." if least else line


def _network_test(result: CoolingResult, c: int) -> str:
    """What to measure with the openings as they are, the easy conditions first."""
    name = result.limiting_core[c]
    role = next(core.role for core in result.cores if core.name == name)
    return (
        "Measure with the openings you have: cruise first, then climb, the hard condition "
        f"({listed([result.conditions[c]])}) last and on a cool day: pressure ahead of and behind "
        f"{name} and {role} temperature"
    )


def _least_known(contents: RunContents) -> str:
    """The numbers that make most of the variance of the first pair."""
    shares = list(contents.ranking.contributors(0).items())
    told = [part for k, part in enumerate(shares[:2]) if k == 0 or part[1] >= NAMED_SHARE]
    return " and ".join(f"{name} ({percent(share)} of the variance)" for name, share in told)


def _quoted(contents: RunContents, c: int) -> str:
    return listed([contents.flow.conditions[c].name])


# --- warnings ------------------------------------------------------------------------------


def warnings_box(warnings: Sequence[str]) -> str:
    """HTML of all warnings: the worst in full, the others to be opened.

    Parameters
    ----------
    warnings : texts without a full stop

    Returns
    -------
    str; "" without warnings
    """
    if not warnings:
        return ""
    texts = worst_first(warnings)
    shown, others = texts[:SHOWN_WARNINGS], texts[SHOWN_WARNINGS:]
    if len(texts) == 1:
        return f'<p class="notice">Warning: {escape(texts[0])}.</p>'
    count = f"{len(texts)} warnings" + (f", the {len(shown)} worst first" if others else "")
    more = ""
    if others:
        more = (
            f'<details class="paper"><summary>The other {len(others)}</summary>'
            f"{html_list([f'{text}.' for text in others])}</details>"
        )
    first = html_list([f"{text}." for text in shown])
    return f'<div class="notice"><p>{count}</p>{first}{more}</div>'


def worst_first(warnings: Sequence[str]) -> list[str]:
    """Warnings in the order of what they say: first the worst of every kind, then the others.

    Examples
    --------
    >>> worst_first(["panels too coarse", "oil above its limit in 2 conditions",
    ...              "coolant above its limit in 6 conditions", "air flows backwards"])[:2]
    ['coolant above its limit in 6 conditions', 'air flows backwards']
    """
    kinds: dict[int, list[str]] = {}
    for text in warnings:
        kinds.setdefault(_kind(text), []).append(text)
    ranks = [sorted(kinds[kind], key=_extent, reverse=True) for kind in sorted(kinds)]
    return [texts[0] for texts in ranks] + [text for texts in ranks for text in texts[1:]]


def _kind(text: str) -> int:
    found = [k for k, words in enumerate(SERIOUS) if re.search(words, text, re.IGNORECASE)]
    return found[0] if found else len(SERIOUS)


def _extent(text: str) -> int:
    """In how many conditions."""
    found = re.search(r"in (\d+) conditions?", text)
    return int(found.group(1)) if found else 0
