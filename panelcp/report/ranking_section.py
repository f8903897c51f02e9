"""The page's sections on the ranking: top against bottom against side, and the best places."""

from __future__ import annotations

import numpy as np

from panelcp.report.contents import (
    CAUTIONS,
    RunContents,
    in_pascal,
    kept,
    likely_reversed,
    opening_line,
    percent,
    place_line,
    ratio_text,
    reversed_conditions,
    side_rows,
)
from panelcp.report.markup import html_row, html_table
from panelcp.report.sections import caution_line
from panelcp.report.tables import IN_H2O


def sides_section(contents: RunContents) -> str:
    """HTML of the section on the best exit of each side."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    sides = side_rows(contents)
    head = html_row([("Best exit of each side", "t"), *((side, "") for side, _, _ in sides)], "th")
    rows = [
        html_row(
            [("place", "t"), *((kept(place_line(ranking.exit(p))), "r") for _, p, _ in sides)]
        ),
        html_row(
            [("least available / needed", "t"), *(ratio_cell(contents, p) for _, p, _ in sides)]
        ),
    ]
    rows += [
        pressure_row(condition, [pressure[c] for _, _, pressure in sides])
        for c, condition in enumerate(conditions)
    ]
    note = (
        "<p class='soft'>Negative Cp draws air out; on the ground the pressure is given "
        "in Pa. The best exit of each side is taken with its "
        "best inlet.</p>"
    )
    fire = any(side == "top" for side, _, _ in sides)
    return html_table(head, rows) + note + (caution_line(CAUTIONS[4]) if fire else "")


def pressure_row(condition, pressures) -> str:
    """Row of pressures: Cp in flight, Pa on the ground and at rest."""
    if in_pascal(condition):
        return html_row(
            [(f"Pa: {condition.name}", "t"), *((whole(value), "") for value in pressures)]
        )
    q = condition.dynamic_pressure
    return html_row([(f"Cp: {condition.name}", "t"), *((signed(v / q), "") for v in pressures)])


def ranking_section(contents: RunContents) -> str:
    """HTML of the section on the best places."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    titles = (("No.", ""), ("Least available / needed", ""), ("Enough, probability", ""))
    titles += (("Exit", "t"), ("Inlet", "t"))
    titles += (("Available, Pa ± deviation", ""), ("inH2O", ""), ("Decided by", "t"))
    titles += (("Mean", ""), ("Rank of all", ""))
    rows = []
    for number, pair in enumerate(contents.short_list, start=1):
        c = int(ranking.limiting[pair])
        available, deviation = ranking.available[c, pair], ranking.deviation[c, pair]
        cells = [
            (str(number), ""),
            ratio_cell(contents, pair),
            (percent(ranking.least_sufficiency[pair]), ""),
            (kept(opening_line(ranking.exit(pair))), "p"),
            (ranking.inlet(pair).name, "p"),
            (f"{available:.0f} ± {deviation:.0f}", ""),
            (f"{available / IN_H2O:.2f}", ""),
            (conditions[c].name, "p"),
            (f"{ranking.mean_ratio[pair]:.2f}", ""),
            (str(pair + 1), ""),
        ]
        rows.append(html_row(cells, titles=titles))
    note = (
        f"<p class='soft'>The best places that do not overlap, of {ranking.n_pairs} pairs of inlet "
        "and exit; the number is that on maps and cards, ranking.csv lists all. Available is the "
        "pressure behind the inlet less the pressure at the exit, both on the closed skin; needed "
        "is what inlet, core and exit use up. The deviation is one standard deviation of the "
        f"estimate. Deviations and probabilities come from {_drawn(ranking)} of all that is not "
        "known exactly, the same for all places, so that what two places have in common leaves "
        "their difference; enough means in all deciding conditions together.</p>"
    )
    return (
        note
        + html_table(html_row(titles, "th"), rows, "cards")
        + "<h3>In every condition</h3>"
        + _available(contents)
    )


def _drawn(ranking) -> str:
    if ranking.bands is None:
        return "normal distributions"
    return f"{ranking.bands.samples.count} draws".replace("000", "\u202f000")


def _available(contents: RunContents) -> str:
    """Available pressure of the short list in every condition."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    head = html_row(
        [("Available, Pa", "t"), ("Decides", "t"), ("Needed", "")]
        + [
            (f"{number}: {ranking.exit(pair).name}", "")
            for number, pair in enumerate(contents.short_list, start=1)
        ],
        "th",
    )
    rows = []
    for c, condition in enumerate(conditions):
        needed = ranking.needed[c]
        cells = [(condition.name, "t"), ("yes" if condition.decides else "no", "t")]
        cells.append(("" if np.isnan(needed) else f"{needed:.0f}", ""))
        for pair in contents.short_list:
            cells.append(_available_cell(contents, c, pair))
        rows.append(html_row(cells))
    return html_table(head, rows)


def _available_cell(contents: RunContents, c: int, pair: int) -> tuple[str, str]:
    ranking, name = contents.ranking, contents.flow.conditions[c].name
    certain, possible = reversed_conditions(contents, pair)
    text = f"{ranking.available[c, pair]:.0f}".replace("-", "−")
    if name in certain:
        return f"{text} reversed ({percent(ranking.reversal[c, pair])})", "bad r"
    if not contents.flow.predicted[c]:
        return f"{'out' if ranking.available[c, pair] > 0.0 else 'in'}? not predicted", "bad"
    if name in likely_reversed(contents, pair):
        return f"{text} likely reversed ({percent(ranking.reversal[c, pair])})", "bad r"
    if name in possible:
        return f"{text} may reverse ({percent(ranking.reversal[c, pair])})", "bad r"
    if contents.flow.moving[c] and ranking.ratio[c, pair] < 1.0:
        return f"{text} not enough", "bad"
    return text, ""


def ratio_cell(contents: RunContents, pair: int) -> tuple[str, str]:
    """Red below 1; green above 1.3 when one deviation less is still enough."""
    ranking = contents.ranking
    ratio, deviation = ranking.least_ratio[pair], ranking.least_ratio_deviation(pair)
    style = "bad" if ratio < 1.0 else "good" if ratio > 1.3 and ratio - deviation >= 1.0 else ""
    return ratio_text(contents, pair), style


def signed(value: float) -> str:
    """A number with its sign and two decimals; "" for one that does not exist."""
    if np.isnan(value):
        return ""
    return f"{value:+.2f}".replace("-", "−") if abs(value) >= 0.005 else "0.00"


def whole(value: float) -> str:
    """A number with its sign, without decimals; "" for one that does not exist."""
    if np.isnan(value):
        return ""
    return f"{value:+.0f}".replace("-", "−") if abs(value) >= 0.5 else "0"
