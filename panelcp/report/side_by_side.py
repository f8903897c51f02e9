"""Several cases side by side: record, answer, page, table and summary; and one ranking's tables."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from panelcp.placement.comparing import CaseDifferences, OpeningDifferences, PairedDifference
from panelcp.report.contents import (
    CAUTIONS,
    RunContents,
    likely_reversed,
    listed,
    opening_line,
    percent,
    reversed_conditions,
)
from panelcp.report.files import write_folder, write_text
from panelcp.report.markup import html_list, html_row, html_table
from panelcp.report.page import STYLE
from panelcp.report.summary import summary_json
from panelcp.report.tables import IN_H2O, pressures_csv, ranking_csv
from panelcp.report.writing import run_log, write_network_tables
from panelcp.surface.mesh import frozen_array

FORMAT = 1
MOST_CHANGES = 60
"""Changes listed on the page; summary.json holds all."""

LONGEST_VALUE = 90
"""Letters of a value in the list of changes."""

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
EASE = "choose by ease of building"
SIDE_STYLE = """
.bars { max-width:760px; margin:.8rem 0 1.2rem }
.bars div { display:grid; grid-template-columns:minmax(9rem,14rem) 1fr 8rem; gap:.8rem;
            align-items:center; padding:.15rem 0; border-bottom:1px solid var(--line) }
.bars span { overflow-wrap:anywhere } .bars .n { text-align:right }
.bars .lead { font-weight:600 } .bars .ends { color:var(--soft); font-size:.85rem; border:0 }
.ends .track { display:flex; justify-content:space-between; background:none; height:auto }
.bars .track { position:relative; height:1.3rem; background:var(--pale) }
.track i { position:absolute; display:block }
.track .zero { left:50%; top:0; bottom:0; border-left:1px solid var(--soft) }
.track .band { top:.45rem; height:.4rem; background:var(--good); opacity:.55 }
.track .band.tie { background:var(--soft) }
.track .dot { top:.3rem; width:.7rem; height:.7rem; margin-left:-.35rem; border-radius:50%;
              background:var(--good) }
.track .dot.tie { background:var(--soft) }
td.v { white-space:normal; text-align:left; min-width:20ch; max-width:44ch;
       overflow-wrap:anywhere }
@media (max-width:640px) {
  .bars div { grid-template-columns:1fr 8.5rem } .bars .track { grid-column:1 / 3; grid-row:2 }
  .bars .ends .track { grid-row:1 } .bars .ends span:empty { display:none }
  td.v { min-width:0; max-width:none } }
"""


@dataclass(frozen=True)
class Change:
    """One thing that is not the same in two cases.

    Attributes
    ----------
    where : what it is, such as `condition "climb".alpha`
    first, second : what stands there in each
    """

    where: str
    first: str
    second: str


@dataclass(frozen=True, eq=False)
class Variant:
    """One case against the first one.

    Attributes
    ----------
    changes : all that is not the same, in order
    unlike : names of compared conditions that are not the same in both
    pairs : pairs of the same names in both
    openings : openings of the same name in both
    """

    changes: tuple[Change, ...]
    unlike: tuple[str, ...]
    pairs: tuple[CaseDifferences, ...]
    openings: tuple[OpeningDifferences, ...]


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Everything that several cases in the same worlds have shown.

    Attributes
    ----------
    version : of the program
    input_hash : of the inputs of all cases
    names, files : of the cases, in the order given
    contents : RunContents of each
    conditions : names of those that decide in all cases
    alone : names of those that decide in this case, but not in all, for each case
    least, deviation : (n_cases,) float, least available/needed of the best pair of each case over
        `conditions`
    hardest : for each case the condition with the least ratio
    enough : (n_cases,) float, probability that it reaches 1
    best : (n_cases,) float, in what part of the worlds this case is the best of all
    differences : of the best pairs of two cases, (number, number) -> CaseDifferences
    variants : every case but the first against the first
    common : lines on what the cases have in common in every world
    """

    version: str
    input_hash: str
    names: tuple[str, ...]
    files: tuple[str, ...]
    contents: tuple[RunContents, ...]
    conditions: tuple[str, ...]
    alone: tuple[tuple[str, ...], ...]
    least: np.ndarray
    deviation: np.ndarray
    hardest: tuple[str, ...]
    enough: np.ndarray
    best: np.ndarray
    differences: dict[tuple[int, int], CaseDifferences]
    variants: tuple[Variant, ...]
    common: tuple[str, ...]

    def __post_init__(self):
        for name in ("least", "deviation", "enough", "best"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def letters(self) -> tuple[str, ...]:
        """Short names: A, B, C; after Z numbers."""
        return tuple(ALPHABET[k] if k < 26 else f"case {k + 1}" for k in range(self.n_cases))

    @property
    def n_cases(self) -> int:
        """Number of cases."""
        return len(self.names)

    @property
    def count(self) -> int:
        """Number of worlds."""
        return self.contents[0].ranking.bands.samples.count

    @property
    def order(self) -> list[int]:
        """Numbers of the cases, best first; of equal ones the earlier."""
        return [int(k) for k in np.argsort(-self.least, kind="stable")]


# --- answer --------------------------------------------------------------------------------


def verdict(found: PairedDifference, first: str, second: str) -> str:
    """Which is better, or that it is not shown.

    Examples
    --------
    >>> found = PairedDifference(1.2, 1.0, 0.1, 0.3, 0.98, [0.1, 0.2, 0.3])
    >>> verdict(found, "A", "B")
    'A is better'
    """
    if found.tie:
        return "tie"
    return f"{first if found.chance > 0.5 else second} is better"


def side_by_side_answer(sides: SideBySide) -> list[str]:
    """The answer in a few sentences."""
    leader, *others = sides.order
    lines = [_names_line(sides), _leader_line(sides, leader)]
    lines += [_against_line(sides, leader, other) for other in others]
    if sides.n_cases > 2:
        parts = [f"{sides.letters[k]} {percent(sides.best[k])}" for k in sides.order]
        lines.append(f"Best of all, probability: {', '.join(parts)}.")
    if len(sides.conditions) > 1:
        lines += [_conditions_line(sides, leader, other) for other in others]
    for letter, alone in zip(sides.letters, sides.alone, strict=True):
        if alone:
            names = listed(alone)
            lines.append(f"Not compared, since not all cases decide by it: {names} (in {letter}).")
    return lines


def _names_line(sides: SideBySide) -> str:
    both = zip(sides.letters, sides.names, strict=True)
    return "; ".join(f"{letter} is {name}" for letter, name in both) + "."


def _leader_line(sides: SideBySide, leader: int) -> str:
    ranking, lead = sides.contents[leader].ranking, sides.letters[leader]
    tied = [sides.letters[k] for k in sides.order[1:] if _oriented(sides, leader, k).least.tie]
    return (
        f"Ahead: {lead}{', tied with ' if tied else ''}{listed(tied)}. The best pair of {lead} has "
        f"{least_text(sides, leader)} available over needed, where 1 is just enough: air in at "
        f"{opening_line(ranking.inlet(0))}, out at {opening_line(ranking.exit(0))}."
    )


def _against_line(sides: SideBySide, leader: int, other: int) -> str:
    found = _oriented(sides, leader, other).least
    ahead, behind = sides.letters[leader], sides.letters[other]
    line = f"{ahead} against {behind} ({least_text(sides, other)}): "
    if found.difference == 0.0 and found.deviation == 0.0:
        return f"{line}no difference in any world, by these pairs; {EASE}."
    line += (
        f"the difference is {_gap(found).lstrip('+')}; {ahead} is better with "
        f"a probability of {percent(found.chance)}. "
    )
    if found.tie:
        return (
            f"{line}A tie: the difference is smaller than the uncertainty and not shown to be "
            f"real; {EASE}."
        )
    return f"{line}The difference is larger than the uncertainty: real, as far as the model goes."


def _conditions_line(sides: SideBySide, leader: int, other: int) -> str:
    """Where one is better, where the other, and where it is a tie."""
    found = _oriented(sides, leader, other)
    groups: dict[str, list[str]] = {}
    letters = sides.letters[leader], sides.letters[other]
    for condition, ratio in zip(found.conditions, found.ratios, strict=True):
        groups.setdefault(verdict(ratio, *letters), []).append(condition)
    parts = [f"{words} in {listed(conditions)}" for words, conditions in sorted(groups.items())]
    return f"{letters[0]} against {letters[1]}, condition by condition: {'; '.join(parts)}."


def _oriented(sides: SideBySide, first: int, second: int) -> CaseDifferences:
    """Differences of two cases in the wanted order."""
    if (first, second) in sides.differences:
        return sides.differences[first, second]
    return turned(sides.differences[second, first])


def turned(found: CaseDifferences) -> CaseDifferences:
    """The same with both cases exchanged."""
    return CaseDifferences(
        pairs=found.pairs[::-1],
        conditions=found.conditions,
        least=_turned(found.least),
        ratios=tuple(map(_turned, found.ratios)),
        available=tuple(map(_turned, found.available)),
    )


def _turned(found: PairedDifference) -> PairedDifference:
    return PairedDifference(
        first=found.second,
        second=found.first,
        deviation=found.deviation,
        apart=found.apart,
        chance=1.0 - found.chance,
        band=-found.band[::-1],
    )


def least_text(sides: SideBySide, number: int) -> str:
    """Least available over needed of a case with its deviation."""
    return f"{sides.least[number]:.2f} ± {sides.deviation[number]:.2f}"


def cautions_of(sides: SideBySide) -> list[tuple[str, str]]:
    """(kind, text) of notices and warnings, each once, with the cases that have it."""
    found: dict[tuple[str, str], list[str]] = {}
    for letter, contents in zip(sides.letters, sides.contents, strict=True):
        for kind, lines in (("Notice", contents.notices), ("Warning", contents.warnings)):
            for line in lines:
                found.setdefault((kind, line), []).append(letter)
    rows = []
    for (kind, line), letters in found.items():
        where = "all cases" if len(letters) == sides.n_cases else ", ".join(letters)
        rows.append((kind, f"{where}: {line}"))
    for letter, variant in zip(sides.letters[1:], sides.variants, strict=True):
        if variant.unlike:
            text = f"of the same name, but not the same: {listed(variant.unlike)}"
            rows.append(("Notice", f"A, {letter}: {text}"))
    return rows


# --- terminal ------------------------------------------------------------------------------


def side_by_side_lines(sides: SideBySide) -> list[str]:
    """Answer and short table for the terminal."""
    lines = [f"  {line}" for line in side_by_side_answer(sides)]
    lines += [
        "",
        f"  {'least':>11}  {'enough':>16}  {'Pa':>6} {'inH2O':>6}  case: in -> out (limiting)",
    ]
    for number in sides.order:
        ranking, hardest = sides.contents[number].ranking, sides.hardest[number]
        available = _available(sides, number)
        lines.append(
            f"  {least_text(sides, number):>11}  {percent(sides.enough[number]):>16}  "
            f"{available:>6.0f} {available / IN_H2O:>6.2f}  {sides.letters[number]}: "
            f"{ranking.inlet(0).name} -> {ranking.exit(0).name} ({hardest})"
        )
    lines.append("")
    for letter, variant in zip(sides.letters[1:], sides.variants, strict=True):
        count = len(variant.changes)
        lines.append(f"  {letter} differs from A in {count} entries, listed on the page")
    lines += [f"  {kind.lower()}: {text}" for kind, text in cautions_of(sides)]
    return [*lines, f"  {CAUTIONS[0]}"]


def _available(sides: SideBySide, number: int) -> float:
    """Pa: of the best pair of a case in its hardest condition."""
    contents = sides.contents[number]
    names = [condition.name for condition in contents.flow.conditions]
    return float(contents.ranking.available[names.index(sides.hardest[number]), 0])


# --- page ----------------------------------------------------------------------------------


def side_by_side_page(sides: SideBySide) -> str:
    """The self-contained page as UTF-8 text; every text of the cases is escaped."""
    sections = [
        ("answer", "Answer", _ordered(side_by_side_answer(sides))),
        ("cases", "Cases", _cases(sides)),
        ("differences", "Best pair against best pair", _differences(sides)),
        ("pairs", "The same pairs in both", _pairs(sides)),
        ("openings", "The same openings in both", _openings(sides)),
        ("changes", "What is not the same", _changes(sides)),
        ("common", "What the cases share", html_list(sides.common)),
        ("model", "Not modelled", html_list(_not_modelled(sides))),
        ("cautions", "Cautions", html_list(CAUTIONS)),
    ]
    sections = [section for section in sections if section[2]]
    links = "".join(f'<a href="#{name}">{escape(title)}</a>' for name, title, _ in sections)
    body = "".join(
        f'<section id="{name}"><h2>{escape(title)}</h2>{content}</section>'
        for name, title, content in sections
    )
    title = escape(" · ".join(sides.names))
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<title>{title}: side by side</title><style>{STYLE}{SIDE_STYLE}</style></head>"
        f"<body><header>{_head(sides)}<nav>{links}</nav></header><main>{body}</main></body></html>\n"
    )


def _head(sides: SideBySide) -> str:
    parts = [f"<h1>{escape(' · '.join(sides.names))}</h1>"]
    parts.append("<p>Which of these is better, and is the difference real?</p>")
    parts.append(f'<p class="notice">{escape(CAUTIONS[0])} {escape(CAUTIONS[2])}</p>')
    parts += [f'<p class="notice">{kind}, {escape(text)}.</p>' for kind, text in cautions_of(sides)]
    parts.append(
        f'<p class="soft">panelcp {escape(sides.version)}, inputs {sides.input_hash}, '
        f"{sides.count} sampled worlds, the same for all cases</p>"
    )
    return "".join(parts)


def _ordered(lines: Sequence[str]) -> str:
    return "<ol>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ol>"


def _cases(sides: SideBySide) -> str:
    titles = (("Case", "t"), ("Least available / needed", ""), ("Enough, probability", ""))
    titles += (("Best of all, probability", ""), ("Available, Pa", ""), ("Decided by", "t"))
    titles += (("Inlet", "t"), ("Exit", "t"), ("Flow", "t"))
    rows = []
    for number in sides.order:
        contents = sides.contents[number]
        ratio = sides.least[number]
        style = "bad" if ratio < 1.0 else "good" if ratio - sides.deviation[number] >= 1.0 else ""
        cells = [
            (f"{sides.letters[number]}: {sides.names[number]}", "p"),
            (least_text(sides, number), style),
            (percent(sides.enough[number]), ""),
            (percent(sides.best[number]), ""),
            (f"{_available(sides, number):.0f}", ""),
            (sides.hardest[number], "p"),
            (contents.ranking.inlet(0).name, "p"),
            (opening_line(contents.ranking.exit(0)), "p"),
            (_sign_text(contents), "p"),
        ]
        rows.append(html_row(cells, titles=titles))
    files = "; ".join(f"{a}: {b}" for a, b in zip(sides.letters, sides.files, strict=True))
    note = (
        "<p class='soft'>Best pair of every case, best case first, over the conditions that decide "
        f"in all cases: {escape(listed(sides.conditions))}. Files: {escape(files)}.</p>"
    )
    return html_table(html_row(titles, "th"), rows, "cards") + note


def _sign_text(contents: RunContents) -> str:
    """Conditions in which the best pair would, likely would or may blow backwards."""
    certain, possible = reversed_conditions(contents, 0)
    likely = likely_reversed(contents, 0)
    possible = [name for name in possible if name not in likely]
    parts = [
        f"{words} in {listed(names)}"
        for words, names in (
            ("reverses", certain),
            ("likely reverses", likely),
            ("may reverse", possible),
        )
        if names
    ]
    return "; ".join(parts) or "no reversal found"


def _differences(sides: SideBySide) -> str:
    """All pairs of two and three cases; of more, every case against the leader."""
    leader = sides.order[0]
    pairs = list(combinations(range(sides.n_cases), 2))
    if sides.n_cases > 3:
        pairs = [(leader, other) for other in sides.order[1:]]
    note = (
        "<p class='soft'>Of available over needed; the bar is one standard deviation to both "
        "sides, grey where the difference is not larger than that. Deviation of the difference: "
        "in the same worlds, so that what both cases have in common leaves it; in brackets what "
        "it would be without.</p>"
    )
    return note + "".join(_one_difference(sides, *pair) for pair in pairs)


def _one_difference(sides: SideBySide, first: int, second: int) -> str:
    found = _oriented(sides, first, second)
    names = sides.letters[first], sides.letters[second]
    rows = [("least of these", found.least, None)]
    rows += zip(found.conditions, found.ratios, found.available, strict=True)
    titles = (("Condition", "t"), (names[0], ""), (names[1], ""), ("Difference (apart)", ""))
    titles += ((f"{names[0]} better, probability", ""), ("Verdict", "t"))
    titles += (("Difference, Pa", ""),)
    lines = []
    for condition, ratio, available in rows:
        cells = [
            (condition, "p"),
            (f"{ratio.first:.2f}", ""),
            (f"{ratio.second:.2f}", ""),
            (f"{_gap(ratio)} ({ratio.apart:.2f})", ""),
            (percent(ratio.chance), ""),
            (verdict(ratio, *names), "p"),
            (_gap(available, 0) if available else "", ""),
        ]
        lines.append(html_row(cells, titles=titles))
    title = _against(sides, first, second)
    return title + _bars(names, rows) + html_table(html_row(titles, "th"), lines, "cards")


def _against(sides: SideBySide, first: int, second: int, between: str = "against") -> str:
    """Heading of what stands of two cases."""
    names = [f"{sides.letters[k]} ({sides.names[k]})" for k in (first, second)]
    return f"<h3>{escape(f' {between} '.join(names))}</h3>"


def _gap(found: PairedDifference, digits: int = 2) -> str:
    """Difference with sign and deviation; a digit more where the deviation would be zero."""
    if 0.0 < found.deviation < 0.5 * 10.0**-digits:
        digits += 1
    value = round(found.difference, digits) + 0.0
    sign = "+" if value > 0.0 else ""
    return f"{sign}{value:.{digits}f} ± {found.deviation:.{digits}f}".replace("-", "−")


def _bars(names, rows) -> str:
    """One bar per condition on a common scale about zero; the better first case is to the right."""
    reach = max(abs(ratio.difference) + ratio.deviation for _, ratio, _ in rows) or 1.0
    parts = [
        '<div class="ends"><span></span><span class="track">'
        f"<span>← {escape(names[1])} better</span><span>{escape(names[0])} better →</span></span>"
        "<span></span></div>"
    ]
    for number, (condition, ratio, _) in enumerate(rows):
        middle, half = (50.0 * part / reach for part in (ratio.difference, ratio.deviation))
        tie = " tie" if ratio.tie else ""
        lead = ' class="lead"' if number == 0 else ""
        parts.append(
            f"<div{lead}><span>{escape(condition)}</span><span class='track'>"
            f'<i class="zero"></i><i class="band{tie}" style="left:{50.0 + middle - half:.2f}%;'
            f'width:{2.0 * half:.2f}%"></i><i class="dot{tie}" style="left:{50.0 + middle:.2f}%">'
            f"</i></span><span class='n'>{_gap(ratio)}</span></div>"
        )
    return f'<div class="bars">{"".join(parts)}</div>'


def _pairs(sides: SideBySide) -> str:
    """Pairs of the same names, every case against the first."""
    parts = []
    for number, variant in enumerate(sides.variants, start=1):
        if not variant.pairs:
            continue
        names = sides.letters[0], sides.letters[number]
        titles = (("Pair", "t"), (names[0], ""), (names[1], ""), ("Difference (apart)", ""))
        titles += ((f"{names[0]} better, probability", ""), ("Verdict", "t"))
        rows = [
            html_row(
                [
                    (" → ".join(found.pairs[0]), "p"),
                    (f"{found.least.first:.2f}", ""),
                    (f"{found.least.second:.2f}", ""),
                    (f"{_gap(found.least)} ({found.least.apart:.2f})", ""),
                    (percent(found.least.chance), ""),
                    (verdict(found.least, *names), "p"),
                ],
                titles=titles,
            )
            for found in variant.pairs
        ]
        parts.append(_against(sides, 0, number))
        parts.append(html_table(html_row(titles, "th"), rows, "cards"))
    note = (
        "<p class='soft'>Least available over needed of pairs whose openings both cases name; "
        "places of a search only where they are the same places.</p>"
    )
    return note + "".join(parts) if parts else ""


def _openings(sides: SideBySide) -> str:
    parts = []
    for number, variant in enumerate(sides.variants, start=1):
        if not variant.openings:
            continue
        titles = (("Opening", "t"), ("Use", "t"), ("Moved, mm", ""))
        titles += tuple((condition, "") for condition in sides.conditions)
        rows = []
        for opening in variant.openings:
            cells = [(opening.name, "p"), (opening.use, "t"), (f"{1e3 * opening.moved:.0f}", "")]
            cells += [(_pressures_text(found), "r") for found in opening.pressures]
            rows.append(html_row(cells, titles=titles))
        parts.append(_against(sides, 0, number, "less"))
        parts.append(html_table(html_row(titles, "th"), rows, "cards"))
    note = (
        "<p class='soft'>Pa. At an inlet the pressure behind it, where more is better; at an exit "
        "that on the closed skin, where less is better.</p>"
    )
    return note + "".join(parts) if parts else ""


def _pressures_text(found: PairedDifference) -> str:
    """Both pressures and their difference, which stays on one line."""
    gap = _gap(found, 0).replace(" ", "\u00a0")
    return f"{found.first:.0f} less {found.second:.0f}: {gap}".replace("-", "−")


def _changes(sides: SideBySide) -> str:
    parts = []
    for number, variant in enumerate(sides.variants, start=1):
        titles = (("What", "t"), (sides.letters[0], "t"), (sides.letters[number], "t"))
        shown, more = variant.changes[:MOST_CHANGES], len(variant.changes) - MOST_CHANGES
        rows = [
            html_row([(c.where, "v"), (c.first, "v"), (c.second, "v")], titles=titles)
            for c in shown
        ]
        parts.append(_against(sides, 0, number))
        if rows:
            parts.append(html_table(html_row(titles, "th"), rows, "cards"))
        else:
            parts.append("<p>Nothing: the same entries, the same surface.</p>")
        if more > 0:
            parts.append(f"<p class='soft'>and {more} more, in summary.json</p>")
    return "".join(parts)


def _not_modelled(sides: SideBySide) -> list[str]:
    return list(dict.fromkeys(line for c in sides.contents for line in c.not_modelled))


# --- files ---------------------------------------------------------------------------------


def _numbers(sides: SideBySide) -> Iterator[tuple[str, str, str, int, int, PairedDifference]]:
    """Every difference: what, of what, unit, numbers of both cases, difference."""
    for (first, second), found in sides.differences.items():
        yield from _of_pair("best pairs", found, first, second)
    for number, variant in enumerate(sides.variants, start=1):
        for found in variant.pairs:
            yield from _of_pair("same pair: " + " -> ".join(found.pairs[0]), found, 0, number)
        for opening in variant.openings:
            for condition, found in zip(opening.conditions, opening.pressures, strict=True):
                what = f"pressure, {opening.use} {opening.name}"
                yield what, condition, "Pa", 0, number, found


def _of_pair(what: str, found: CaseDifferences, first: int, second: int):
    yield f"{what}: least available/needed", "", "", first, second, found.least
    for name, ratio in zip(found.conditions, found.ratios, strict=True):
        yield f"{what}: available/needed", name, "", first, second, ratio
    for name, available in zip(found.conditions, found.available, strict=True):
        yield f"{what}: available pressure", name, "Pa", first, second, available


def side_by_side_csv(sides: SideBySide) -> str:
    """Every difference, one row each."""
    heading = ["what", "condition", "unit", "first_case", "second_case", "first", "second"]
    heading += ["difference", "deviation", "deviation_if_nothing_in_common"]
    heading += ["difference_16_percent", "difference_50_percent", "difference_84_percent"]
    heading += ["probability_first_better", "tie"]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(heading)
    for what, condition, unit, first, second, found in _numbers(sides):
        numbers = (found.first, found.second, found.difference, found.deviation, found.apart)
        row = [what, condition, unit, sides.names[first], sides.names[second]]
        row += [f"{value:.6g}" for value in (*numbers, *found.band)]
        writer.writerow([*row, f"{found.chance:.4f}", "yes" if found.tie else "no"])
    return stream.getvalue()


def side_by_side_summary(sides: SideBySide) -> dict[str, Any]:
    """All numbers of a comparison as plain Python values.

    Schema, version 1: `format`, `version`, `inputs_hash`, `samples`, `answer`, `conditions`
    (compared), `cases` (in the order given), `differences` (rows of side-by-side.csv),
    `changes` (of every case against the first), `common`, `notices`, `cautions`. SI units.
    """
    return {
        "format": FORMAT,
        "version": sides.version,
        "inputs_hash": sides.input_hash,
        "samples": sides.count,
        "answer": side_by_side_answer(sides),
        "conditions": list(sides.conditions),
        "cases": [_case_summary(sides, number) for number in range(sides.n_cases)],
        "differences": [_number_summary(sides, *row) for row in _numbers(sides)],
        "changes": [
            {
                "first": sides.names[0],
                "second": name,
                "list": [vars(change) for change in variant.changes],
            }
            for name, variant in zip(sides.names[1:], sides.variants, strict=True)
        ],
        "common": list(sides.common),
        "notices": [f"{kind}: {text}" for kind, text in cautions_of(sides)],
        "cautions": list(CAUTIONS),
    }


def _case_summary(sides: SideBySide, number: int) -> dict[str, Any]:
    contents = sides.contents[number]
    ranking = contents.ranking
    return {
        "name": sides.names[number],
        "file": sides.files[number],
        "inputs_hash": contents.input_hash,
        "inlet": ranking.inlet(0).name,
        "exit": ranking.exit(0).name,
        "exit_centre": ranking.exit(0).centre,
        "least_ratio": sides.least[number],
        "least_ratio_deviation": sides.deviation[number],
        "limiting_condition": sides.hardest[number],
        "probability_enough": sides.enough[number],
        "probability_best": sides.best[number],
        "not_compared": list(sides.alone[number]),
        "inputs": contents.inputs,
    }


def _number_summary(sides, what, condition, unit, first, second, found) -> dict[str, Any]:
    return {
        "what": what,
        "condition": condition or None,
        "unit": unit or None,
        "first_case": sides.names[first],
        "second_case": sides.names[second],
        "first": found.first,
        "second": found.second,
        "difference": found.difference,
        "deviation": found.deviation,
        "deviation_if_nothing_in_common": found.apart,
        "band": found.band,
        "probability_first_better": found.chance,
        "tie": found.tie,
    }


def write_side_by_side(sides: SideBySide, results: Path) -> Path:
    """Write the folder side-by-side-<hash>: side-by-side.html and .csv, summary.json.

    Parameters
    ----------
    sides : SideBySide
    results : folder of all runs

    Returns
    -------
    Path of the folder
    """

    def fill(folder: Path):
        summary = json.dumps(
            side_by_side_summary(sides), indent=1, ensure_ascii=False, default=_listed_numbers
        )
        write_text(folder / "side-by-side.html", side_by_side_page(sides))
        write_text(folder / "side-by-side.csv", side_by_side_csv(sides))
        write_text(folder / "summary.json", summary + "\n")

    return write_folder(Path(results), f"side-by-side-{sides.input_hash}", fill)


def _listed_numbers(value):
    """Arrays and numbers of numpy for JSON."""
    return value.tolist()


def write_ranking(
    contents: RunContents, results: Path, progress: Callable[[str], None] = lambda text: None
) -> Path:
    """Write the folder rank-<hash>: the tables of a run, without maps and page.

    Parameters
    ----------
    contents : RunContents
    results : folder of all runs
    progress : called with a short text before each step

    Returns
    -------
    Path of the folder: ranking.csv, pressures.csv, cooling.csv and ranking-by-margin.csv (where the
    network was solved), summary.json, run.log
    """

    def fill(folder: Path):
        progress("writing tables")
        write_text(folder / "ranking.csv", ranking_csv(contents))
        write_text(folder / "pressures.csv", pressures_csv(contents))
        write_network_tables(contents, folder)
        write_text(folder / "summary.json", summary_json(contents))
        write_text(folder / "run.log", run_log(contents))

    return write_folder(Path(results), f"rank-{contents.input_hash}", fill)
