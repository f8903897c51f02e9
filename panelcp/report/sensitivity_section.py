"""The page's section on what the bands are made of."""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.report.contents import RunContents, percent, ratio_text
from panelcp.report.markup import html_row, html_table

LEAST_SHARE = 0.005
"""Parts of the variance that are shown: at least so much for one of the places."""


def sensitivity_section(contents: RunContents) -> str:
    """HTML of the section; "" where nothing was sampled."""
    ranking = contents.ranking
    if ranking.bands is None or not ranking.contributors(0):
        return ""
    outlet, inlet = ranking.exit(0).name, ranking.inlet(0).name
    lead = (
        f"Least available over needed of {outlet} with {inlet}: {ratio_text(contents, 0)}. This is "
        "what the deviation is made of, in parts of its variance:"
    )
    note = (
        "<p class='soft'>Parts are those of each kind alone over their sum. Whatever is first is "
        "worth measuring first: to know it exactly would take its part out of the variance. The "
        "needed pressure is drawn for all places alike, so it moves all of them together and says "
        "little about which is best.</p>"
    )
    return (
        f"<p>{escape(lead)}</p>{_bars(ranking.contributors(0))}{note}"
        f"<h3>The same for all places of the list</h3>{_places(contents)}"
        f"<details><summary>Deviation of the best place by condition</summary>"
        f"{_conditions(contents)}</details>"
    )


def _bars(shares: dict[str, float]) -> str:
    rows = "".join(
        f'<li><span>{escape(name)}</span><i style="width:{100 * share:.1f}%"></i>'
        f"<b>{percent(share)}</b></li>"
        for name, share in shares.items()
        if share >= LEAST_SHARE
    )
    return f'<ul class="shares">{rows}</ul>'


def _places(contents: RunContents) -> str:
    """Parts of the variance of every place of the short list."""
    ranking = contents.ranking
    shares = [ranking.contributors(pair) for pair in contents.short_list]
    names = sorted(
        {name for place in shares for name, share in place.items() if share >= LEAST_SHARE},
        key=lambda name: -max(place.get(name, 0.0) for place in shares),
    )
    head = html_row(
        [("Part of the variance", "t")]
        + [
            (f"{number}: {ranking.exit(pair).name}", "")
            for number, pair in enumerate(contents.short_list, start=1)
        ],
        "th",
    )
    rows = [
        html_row([(name, "t"), *((_short(place.get(name, 0.0)), "") for place in shares)])
        for name in names
    ]
    return html_table(head, rows)


def _short(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= LEAST_SHARE else "< 1 %"


def _conditions(contents: RunContents) -> str:
    """Deviation of the available pressure of the best pair from every kind alone, Pa."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    bands, place = ranking.bands, (ranking.inlet_index[0], ranking.exit_index[0])
    deviation = np.sqrt(bands.variance[(..., *place)])
    kinds = [k for k in np.argsort(-deviation.max(axis=1)) if deviation[k].max() >= 0.5]
    names = [bands.samples.kind_names[k] for k in kinds]
    head = html_row([("All in Pa", "t"), *((name, "") for name in names), ("together", "")], "th")
    rows = [
        html_row(
            [(condition.name, "t")]
            + [(f"{deviation[k, c]:.0f}", "") for k in kinds]
            + [(f"{ranking.deviation[c, 0]:.0f}", "")]
        )
        for c, condition in enumerate(conditions)
    ]
    return html_table(head, rows)
