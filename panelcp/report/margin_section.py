"""Places ranked by the margins of the cooling network: table, CSV, summary and lines.

Units of the CSV stand in its headings; in summary.json areas are in m2, margins in K and flows in
kg/s.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

from panelcp.cooling.placing import MarginRanking
from panelcp.report.markup import html_row, html_table
from panelcp.report.tables import _csv

SHOWN = 12
"""Places that the page and the terminal show; the CSV holds all. The page adds named ones."""
TITLES = (
    ("Place", "t"), ("Rank", ""), ("Side", "t"), ("Kind", "t"), ("Least margin, K", ""),
    ("Limiting", "t"), ("Air, kg/s", ""), ("As searched, cm²", ""), ("Margin so, K", ""),
    ("Backwards", "t"),
)  # fmt: skip
ROUND = {
    "exit": "Each place stands alone for all exits on the common bay and gets their whole area, "
    "{area:.0f} cm², so that places are compared and not sizes; beside it the margin with the size "
    "of its search alone. Kinds differ in how much of their area counts.",
    "inlet": "Each place stands for the network's only inlet and gets its area, {area:.0f} cm²; "
    "beside it the margin with the size of its search.",
}


def margin_csv(rankings: tuple[MarginRanking, ...]) -> str:
    """Every place, best first: least margin, and by condition margin, flow and sign."""
    heading = ["use", "rank", "place", "kind", "side", "x_m", "y_m", "z_m", "area_m2"]
    heading += ["compared_area_m2", "least_margin_K", "limiting_condition", "own_least_margin_K"]
    rows = []
    for ranking in rankings:
        for k, name in enumerate(ranking.names):
            row = [ranking.use, k + 1, name, ranking.kinds[k], ranking.sides[k]]
            row += [f"{x:.4f}" for x in ranking.centre[k]] + [f"{ranking.area[k]:.6f}"]
            row += [f"{ranking.common_area:.6f}", _number(ranking.least[k], 2)]
            row += [ranking.conditions[ranking.limiting[k]], _number(ranking.own_least[k], 2)]
            for c in range(len(ranking.conditions)):
                row += [_number(ranking.margin[k, c], 2), _number(ranking.flow[k, c], 4)]
                row.append("yes" if ranking.reversed[k, c] else "no")
            rows.append(row)
    if rankings:
        for name in rankings[0].conditions:
            heading += [f"{name}: margin_K", f"{name}: flow_kg_per_s", f"{name}: backwards"]
    return _csv(heading, rows)


def margin_summary(rankings: tuple[MarginRanking, ...]) -> list[dict[str, Any]]:
    """The same for summary.json; SHOWN places of each use."""
    return [
        {
            "use": ranking.use,
            "compared_area": float(ranking.common_area),
            "places": [
                {
                    "name": ranking.names[k],
                    "kind": ranking.kinds[k],
                    "side": ranking.sides[k],
                    "area": float(ranking.area[k]),
                    "least_margin": _plain(ranking.least[k]),
                    "least_margin_with_own_area": _plain(ranking.own_least[k]),
                    "limiting_condition": ranking.conditions[ranking.limiting[k]],
                    "margin": [_plain(x) for x in ranking.margin[k]],
                    "flow": [_plain(x) for x in ranking.flow[k]],
                    "reversed": [bool(x) for x in ranking.reversed[k]],
                }
                for k in range(min(SHOWN, len(ranking.names)))
            ],
        }
        for ranking in rankings
    ]


def margin_section(rankings: tuple[MarginRanking, ...], named: Collection[str] = ()) -> str:
    """Tables of the best places by margin.

    Parameters
    ----------
    rankings : tuple of MarginRanking
    named : places that are shown whatever their rank: the best by pressure, those of the case
    """
    parts = [
        '<p class="soft">Least room up to a temperature limit in the deciding conditions, with the '
        "cooling network of the case. Estimates. The pressures of the other openings and the "
        "influence of the flows on them are kept as they are.</p>"
    ]
    for ranking in rankings:
        count = len(ranking.names)
        shown = list(range(min(SHOWN, count)))
        added = [k for k in range(len(shown), count) if ranking.names[k] in named]
        rows = [_row(ranking, k) for k in shown + added]
        parts.append(f"<h3>{ranking.use.capitalize()}s by margin</h3>")
        parts.append(html_table(html_row(TITLES, "th"), rows, "wide cards"))
        words = ROUND[ranking.use].format(area=1e4 * ranking.common_area)
        if added:
            words += (
                f" The best {len(shown)} of {count} by margin; below them the best places by "
                "pressure and those of the case, with their ranks."
            )
        parts.append(f'<p class="soft">{words}</p>')
    return "".join(parts)


def _row(ranking: MarginRanking, k: int) -> str:
    return html_row(
        [
            (ranking.names[k], "t"),
            (str(k + 1), ""),
            (ranking.sides[k], "t"),
            (ranking.kinds[k], "t"),
            (_text(ranking.least[k]), "bad" if not ranking.least[k] >= 0.0 else ""),
            (ranking.conditions[ranking.limiting[k]], "t"),
            (f"{ranking.flow[k, ranking.limiting[k]]:.2f}", ""),
            (f"{1e4 * ranking.area[k]:.0f}", ""),
            (_text(ranking.own_least[k]), ""),
            (_backwards(ranking, k), "w"),
        ],
        titles=TITLES,
    )


def margin_lines(rankings: tuple[MarginRanking, ...]) -> list[str]:
    """The best places for the terminal."""
    lines = []
    for ranking in rankings:
        area = f"{1e4 * ranking.common_area:.0f} cm2"
        lines.append(f"{ranking.use}s by least margin in the deciding conditions, all with {area}:")
        for k in range(min(SHOWN, len(ranking.names))):
            limiting = ranking.limiting[k]
            numbers = f"{_text(ranking.least[k]):>6} K  {ranking.flow[k, limiting]:5.2f} kg/s"
            place = f"{ranking.names[k]}, {ranking.sides[k]}"
            lines.append(f"  {k + 1:>3}  {numbers}  {place} ({ranking.conditions[limiting]})")
    return lines


def _backwards(ranking: MarginRanking, k: int) -> str:
    names = [n for n, back in zip(ranking.conditions, ranking.reversed[k], strict=True) if back]
    return "; ".join(names) or "nowhere"


def margin_kelvin(margin: float) -> str:
    """A margin with its unit for a sentence.

    Examples
    --------
    >>> margin_kelvin(4.04), margin_kelvin(-61.3), margin_kelvin(float("-inf"))
    ('4.0 K', '−61.3 K', 'no air')
    """
    text = _text(margin).replace("-", "−")
    return f"{text} K" if np.isfinite(margin) else text


def _text(margin: float) -> str:
    if np.isfinite(margin):
        return f"{margin:.1f}"
    return "no air" if margin < 0.0 else "not known"


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if np.isfinite(value) else ""


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
