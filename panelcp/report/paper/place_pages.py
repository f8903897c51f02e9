"""Ranking of places, a card for every place of the short list, exit air, what bands are made of."""

from __future__ import annotations

import numpy as np

from panelcp.placement.choices import ENOUGH
from panelcp.placement.spoilers import worst_of_each
from panelcp.report.cards import tape_text, whole, zone_text
from panelcp.report.contents import (
    CAUTIONS,
    LIKELY,
    POSSIBLE,
    AirContents,
    RunContents,
    explain,
    kept,
    listed,
    percent,
    place_line,
    ratio_text,
)
from panelcp.report.cooling_diagram import budget_parts
from panelcp.report.cooling_section import hardest
from panelcp.report.cooling_tables import readable
from panelcp.report.exit_air_section import LOOK_HERE, exit_air_section, grouped
from panelcp.report.markup import html_row, html_table
from panelcp.report.paper.blocks import (
    Answers,
    Beside,
    Block,
    Bullets,
    Caution,
    Drawing,
    Group,
    Heading,
    Paragraph,
    note,
)
from panelcp.report.paper.charts import Bar, bar_strips, share_strips
from panelcp.report.paper.footnotes import marked
from panelcp.report.paper.from_html import blocks_of_html, tables_of_html
from panelcp.report.paper.grids import Cell, Table, number
from panelcp.report.paper.letters import clean, text_width
from panelcp.report.paper.registry import PaperParts
from panelcp.report.paper.words import both_pressures, inches, told
from panelcp.report.ranking_section import ranking_section, sides_section
from panelcp.report.sensitivity_section import LEAST_SHARE, sensitivity_section
from panelcp.report.tables import any_reversal

SHADES = ((1.0, "#d3a297"), (1.3, "#eee3c6"))
"""Grounds of cells below a ratio; above, where one deviation less is still enough, ROOMY."""
ROOMY = "#dcebe7"

CARD_SHARE, CARD_LEAD = 0.42, 52.0
"""Part of the width of what stands left of the bars; points of its leads."""

PEOPLE = {"air into the cabin", "air at the wing root", "air towards the windshield"}
"""Kinds of spoilers that bring the air of an exit to people."""

CARD_ROW, CARD_TYPE, BAR_TYPE = 8.7, 7.4, 6.8
"""Points from bar to bar on a card, and of its small types: two cards fill a page."""

NAMED_CONDITIONS = 2
"""Conditions that exit air is said to reach by name; of more the number is told."""

NOTHING_NEAR = "Nothing that is looked for lies near the air of an exit."


def ranking_blocks(parts: PaperParts) -> list[Block]:
    """Short list, heat table, chances and regret, the best exit of each side."""
    contents = parts.contents
    if not parts.is_ranked:
        return []
    blocks = blocks_of_html(ranking_section(contents))
    tables = [block for block in blocks if isinstance(block, Table)]
    return [
        tables[0],
        blocks[0],
        Caution(CAUTIONS[2]),
        Heading("Available over needed, by condition", 2),
        heat_table(contents),
        note(
            "Numbers at the heads are places of the list. Below 1 there is not enough (dark, "
            "bold); from 1 to 1.3 look (pale yellow); above 1.3, with one deviation less still "
            "enough, green. rev: air flows backwards, more likely than not; a percentage is the "
            "chance of that. out? and in?: not predicted, at most the sign is known."
        ),
        *_choices(contents),
        Heading("Top against bottom against side", 2),
        *blocks_of_html(sides_section(contents)),
    ]


def heat_table(contents: RunContents) -> Table:
    """Available over needed of the short list in every condition, shaded."""
    short = contents.short_list
    titles = ("Condition", "Decides", number("Needed, Pa", bold=True))
    titles += tuple(number(str(k), bold=True) for k in range(1, len(short) + 1))
    rows = []
    for c, condition in enumerate(contents.flow.conditions):
        needed = contents.ranking.needed[c]
        cells = [condition.name, "yes" if condition.decides else "no", number(told(needed))]
        rows.append(tuple(cells + [_heat_cell(contents, c, pair) for pair in short]))
    return Table(titles, tuple(rows))


def _heat_cell(contents: RunContents, c: int, pair: int) -> Cell:
    ranking, flow = contents.ranking, contents.flow
    if not flow.moving[c]:
        return number("still")
    available = ranking.available[c, pair]
    if not flow.predicted[c]:
        return number("out?" if available > 0.0 else "in?")
    ratio, needed = ranking.ratio[c, pair], ranking.needed[c]
    chance = ranking.reversal[c, pair]
    more = f" {_chance(chance)}" if chance > POSSIBLE else ""
    if chance > LIKELY or available < 0.0:
        return number(f"rev{more}", bold=True, shade=SHADES[0][1])
    if not np.isfinite(ratio) or not needed > 0.0:
        return number(f"{told(available)} Pa{more}")
    text = f"{ratio:.2f}{more}" if ratio < 9.995 else f"{ratio:.0f}{more}"
    if ratio < 1.0:
        return number(text, bold=True, shade=SHADES[0][1])
    if ratio < SHADES[1][0]:
        return number(text, shade=SHADES[1][1])
    sure = ratio * (1.0 - ranking.deviation[c, pair] / max(available, 1e-9)) >= 1.0
    return number(text, shade=ROOMY if sure else SHADES[1][1])


def _chance(share: float) -> str:
    """A chance in one word."""
    return percent(share).replace("more than ", ">").replace(" ", "\u00a0")


def _choices(contents: RunContents) -> list[Block]:
    """Chances of being best, ties and regret of the short list."""
    chosen = contents.choices
    if chosen is None:
        return []
    titles = ("Place", number("Best of all, chance", bold=True))
    titles += (number("Best of the list, chance", bold=True), "Equal within the uncertainty")
    titles += (number("Regret, worst", bold=True), number("16 to 84 %", bold=True))
    titles += (number("Regret, mean", bold=True),)
    rows = []
    for k, pair in enumerate(chosen.pairs):
        equal = [str(j + 1) for j in np.flatnonzero(chosen.tie[k]) if j != k]
        low, _, high = chosen.regret_band[:, k]
        rows.append(
            (
                f"{k + 1}: {contents.ranking.exit(int(pair)).name}",
                number(percent(chosen.chance_of_exit[k])),
                number(percent(chosen.chance_among[k])),
                ", ".join(equal) or "none",
                number(marked(f"{chosen.worst_regret[k]:.2f}", chosen.worst_regret[k], low, high)),
                number(f"{low:.2f} to {high:.2f}"),
                number(f"{chosen.mean_regret[k]:.2f}"),
            )
        )
    return [
        Heading("Chance of being best, ties, regret", 2),
        Table(titles, tuple(rows)),
        note(
            "Chance: part of the sampled worlds in which this exit, or one that overlaps it, is "
            "the best. Equal: the difference is not larger than its deviation; choose by ease of "
            "building. Regret: by how much available over needed falls behind the best place of "
            f"the list in a condition; more than {ENOUGH:g} counts as {ENOUGH:g}."
        ),
    ]


# --------------------------------------------------------------------------------- cards


def cards_blocks(parts: PaperParts) -> list[Block]:
    """A card for every place of the short list."""
    contents = parts.contents
    if not parts.is_ranked:
        return []
    blocks: list[Block] = [
        note(
            "Bars: available pressure in every condition, on one scale for all places; dark is not "
            "enough, pale does not decide; the thin line is one standard deviation to both sides, "
            "the thick tick the needed pressure."
        )
    ]
    blocks += _cautions(contents)
    for k, pair in enumerate(contents.short_list):
        blocks += _card(contents, k, pair)
    return blocks


def _card(contents: RunContents, k: int, pair: int) -> list[Block]:
    outlet = contents.ranking.exit(pair)
    near = zone_text(contents, outlet.name)
    rows = [
        ("Exit", f"{outlet.kind}, {outlet.shape}, {size_text(outlet)}"),
        ("Centre", centre_text(outlet)),
        ("Along the skin", tape_words(contents, outlet.name) or "not measured"),
        *([("No-cut zone", f"nearest: {near}")] if near else []),
        ("Air in at", _inlet_text(contents, pair)),
        ("Least ratio", _least_text(contents, pair)),
    ]
    return [
        Group(
            (
                Heading(f"Place {k + 1}: {outlet.name}", 2),
                Beside(
                    (_answers(rows, 1.5),),
                    (Drawing(lambda width: _bars(contents, pair, width)),),
                    share=CARD_SHARE,
                ),
                _answers([("Chances", _chances_text(contents, k, pair))], 0.5),
                Paragraph(kept(explain(contents, pair)), CARD_TYPE, above=2.5),
                *_spoiled(contents, k, pair),
            )
        )
    ]


def _answers(rows: list[tuple[str, str]], above: float) -> Answers:
    return Answers(tuple((lead, kept(text)) for lead, text in rows), CARD_LEAD, CARD_TYPE, above)


def tape_words(contents: AirContents, name: str) -> str:
    """Where the centre of an opening lies along the skin; "" where it was not measured."""
    if not isinstance(contents, RunContents):
        return ""
    return tape_text(contents, name).removesuffix(" (centre of the opening, tape on the skin)")


def size_text(opening) -> str:
    """Outline of an opening in both sets of units."""
    length, width = opening.length, opening.width
    text = f"{told(1e3 * length)} × {told(1e3 * width)} mm"
    text += f" ({inches(length)} × {inches(width)} in)"
    return text + ("" if opening.twin is None else ", and its mirror image: both are one exit")


def centre_text(opening) -> str:
    """Side and centre of an opening in both sets of units."""
    x, y, z = (inches(value) for value in opening.centre)
    return f"{place_line(opening)} (STA {x} BL {y} WL {z} in)".replace("-", "−")


def _inlet_text(contents: RunContents, pair: int) -> str:
    inlet = contents.ranking.inlet(pair)
    return f"{inlet.name}, {centre_text(inlet)}"


def _least_text(contents: RunContents, pair: int) -> str:
    """Least available over needed, and what it is made of."""
    ranking = contents.ranking
    c = int(ranking.limiting[pair])
    return (
        f"{ratio_text(contents, pair)} available over needed, decided by "
        f"{contents.flow.conditions[c].name}: {both_pressures(ranking.available[c, pair])} "
        f"available, {both_pressures(ranking.needed[c])} needed; weighted mean "
        f"{ranking.mean_ratio[pair]:.2f}"
    )


def _chances_text(contents: RunContents, k: int, pair: int) -> str:
    """How likely it is enough, the best, and blows backwards; what it may lose."""
    ranking, chosen = contents.ranking, contents.choices
    chances = [f"enough everywhere {percent(ranking.least_sufficiency[pair])}"]
    if chosen is not None:
        chances.append(f"best of all {percent(chosen.chance_of_exit[k])}")
    chance = any_reversal(ranking, pair)
    if not np.isnan(chance):
        chances.append(f"backwards somewhere {percent(chance)}")
    if chosen is not None:
        worst, mean = chosen.worst_regret[k], chosen.mean_regret[k]
        chances.append(f"regret at worst {worst:.2f}, mean {mean:.2f}")
    return "; ".join(chances)


def _bars(contents: RunContents, pair: int, width: float):
    """Available against needed pressure in every moving condition."""
    ranking, flow = contents.ranking, contents.flow
    shown = np.flatnonzero(flow.moving)
    if not len(shown):
        return []
    bars = []
    for c in shown:
        value, spread = ranking.available[c, pair], ranking.deviation[c, pair]
        needed = ranking.needed[c]
        has_need = needed > 0.0
        words = f"{whole(value)} ± {spread:.0f}"
        if not flow.predicted[c]:
            words = f"{'out' if value > 0.0 else 'in'}? not predicted"
        elif has_need:
            words += f" of {needed:.0f}"
        short = value < 0.0 or (has_need and value < needed)
        tick = needed if has_need else np.nan
        condition = flow.conditions[c]
        ends = (value - spread, value + spread)
        bars.append(Bar(condition.name, words, value, *ends, tick, bool(short), condition.decides))
    names, numbers = (
        min(most, 0.001 + max(text_width(clean(text), BAR_TYPE) + 8.0 for text in texts) / width)
        for texts, most in (([b.name for b in bars], 0.47), ([b.words for b in bars], 0.3))
    )
    scale = _ends(contents, shown)
    head = note("Available of needed, Pa").strips(width)
    return head + bar_strips(bars, width, scale, names, numbers, CARD_ROW, BAR_TYPE)


def _ends(contents: RunContents, shown) -> tuple[float, float]:
    """Least and greatest pressure in the bars of all cards, Pa."""
    ranking, pairs = contents.ranking, contents.short_list
    available, needed = ranking.available[shown][:, pairs], ranking.needed[shown]
    spread = ranking.deviation[shown][:, pairs]
    ends = [*(available - spread).flat, *(available + spread).flat, *needed[needed > 0.0], 0.0]
    return float(np.nanmin(ends)), float(np.nanmax(ends))


def _spoiled(contents: RunContents, k: int, pair: int) -> list[Block]:
    """What spoils the exit, and its inlet where no card before has the same inlet."""
    ranking = contents.ranking
    inlet = ranking.inlet(pair).name
    before = [ranking.inlet(other).name for other in contents.short_list[:k]]
    texts = _looks(contents, ranking.exit(pair).name)
    inlet_texts = _looks(contents, inlet)
    if inlet in before and inlet_texts:
        texts.append(f"Of the inlet: as at place {before.index(inlet) + 1}.")
    else:
        texts += inlet_texts
    return [Bullets(tuple(texts), size=CARD_TYPE, above=0.8)] if texts else []


def _looks(contents: RunContents, name: str) -> list[str]:
    """What spoils an opening, each kind once, with its worst condition."""
    texts = []
    for worst, conditions in worst_of_each([s for s in contents.spoilers if s.opening == name]):
        more = len(conditions) - 1
        also = f" (and in {more} more condition{'s' if more > 1 else ''})" if more > 0 else ""
        word = "Spoils it" if worst.severity == "spoils" else "Look"
        texts.append(kept(f"{word}: {worst.kind}, {worst.line()}{also}"))
    return texts


def _cautions(contents: RunContents) -> list[Block]:
    """Cautions that the places call for, each once with the numbers of its places."""
    kinds: dict[str, set[str]] = {}
    for spoiler in contents.spoilers:
        kinds.setdefault(spoiler.opening, set()).add(spoiler.kind)
    called: dict[str, list[str]] = {CAUTIONS[4]: [], CAUTIONS[5]: []}
    for k, pair in enumerate(contents.short_list, start=1):
        outlet = contents.ranking.exit(pair)
        found = kinds.get(outlet.name, set())
        if outlet.side == "top" or "glass near" in found:
            called[CAUTIONS[4]].append(str(k))
        if found & PEOPLE:
            called[CAUTIONS[5]].append(str(k))
    return [
        Caution(text, f"Caution, place{'s' if len(places) > 1 else ''} {', '.join(places)}")
        for text, places in called.items()
        if places
    ]


# ------------------------------------------------------------------- exit air, sensitivity


def exit_air_blocks(parts: PaperParts) -> list[Block]:
    """Where the air of the exits goes, with the caution on carbon monoxide."""
    contents = parts.contents
    if not parts.found("exit_air") and parts.found("static_ports") is None:
        return []
    blocks: list[Block] = [Group((Paragraph(LOOK_HERE), Caution(CAUTIONS[5])))]
    blocks += [_exit_air_table(contents)] if contents.exit_air else [Paragraph(NOTHING_NEAR)]
    blocks.append(
        note(
            "The nearest condition of each is shown. Way: along the skin from the exit. Clear: "
            "from the edge of the widening plume to the target, less than nothing lies inside it. "
            "Pressure: at the exit less at the opening; positive drives air from the bay to it."
        )
    )
    if contents.static_ports is not None:
        html = exit_air_section(
            (), contents.static_ports, contents.flow.conditions, html_table, html_row
        )
        blocks += [Heading("Static ports on the body", 2), *tables_of_html(html)]
    return blocks


def _exit_air_table(contents: RunContents) -> Table:
    conditions, rows = contents.flow.conditions, []
    for nearest, reached in grouped(contents.exit_air):
        names = [conditions[hit.condition].name for hit in reached]
        inside = bool(nearest.reached)
        rows.append(
            (
                nearest.exit,
                nearest.target,
                nearest.kind,
                _reached(names, len(conditions)),
                number(f"{nearest.way:.2f}"),
                number(told(1e3 * nearest.clearance), bold=inside),
                number(inches(nearest.clearance, 1), bold=inside),
                number(told(nearest.pressure_difference)),
            )
        )
    heads = ("Way, m", "Clear of the plume by, mm", "in", "Pressure against it, Pa")
    titles = ("Exit", "Target", "What", "Reached in", *(number(t, bold=True) for t in heads))
    return Table(titles, tuple(rows))


def _reached(names: list[str], count: int) -> str:
    """Conditions in which the air comes there: few by name, of more the number."""
    if not names:
        return "none"
    if len(names) == count:
        return "all conditions"
    if len(names) <= NAMED_CONDITIONS:
        return listed(names)
    return f"{len(names)} of {count} conditions"


def sensitivity_blocks(parts: PaperParts) -> list[Block]:
    """Shares of the variance of the best place, and of the others."""
    contents = parts.contents
    html = sensitivity_section(contents) if parts.is_ranked else ""
    if not html:
        return []
    blocks = [block for block in blocks_of_html(html) if not isinstance(block, Bullets)]
    last = next(k for k, block in enumerate(blocks) if isinstance(block, Table))
    shares = [
        (name, share, percent(share))
        for name, share in contents.ranking.contributors(0).items()
        if share >= LEAST_SHARE
    ]
    return [
        Group((blocks[0], Drawing(lambda width: share_strips(shares, width)))),
        *blocks[1 : last + 1],
        *_used_up(contents),
    ]


def _used_up(contents: RunContents) -> list[Block]:
    """What uses up the pressure, and so the margin, of every core in the hardest condition."""
    if contents.cooling is None:
        return []
    result = readable(contents.cooling)
    c = hardest(result)
    if c is None:
        return []
    blocks: list[Block] = []
    lead: tuple[Block, ...] = (
        Heading("What uses up the margins", 2),
        Paragraph(
            f"Parts of the pressure that drives the air, in the hardest condition, "
            f"{result.conditions[c]}. The largest is worth changing first."
        ),
    )
    for name in dict.fromkeys(step.core for step in result.budget):
        drives, takes, _ = budget_parts(result, name, c)
        total = sum(value for *_, value in drives)
        if not total or not takes:
            continue
        takes = sorted(takes, key=lambda part: -part[2])
        shares = [(what, value / total, both_pressures(value)) for _, what, value in takes]
        kept_shares = [share for share in shares if share[1] >= LEAST_SHARE]
        blocks.append(Group((*lead, Heading(name, 3), _shares(kept_shares))))
        lead = ()
    return blocks


def _shares(shares) -> Drawing:
    return Drawing(lambda width: share_strips(shares, width))
