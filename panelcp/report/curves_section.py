"""The page's section on curves: figures, each with the numbers it shows."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from urllib.parse import quote

from panelcp.placement.curves import Curves
from panelcp.report.curves import FigurePlan, figure_plans

NOTE = (
    "Everything is summed from the flows that were solved; boundary layers are not followed anew, "
    "and what separated air adds goes with q and mean rise together. The needed pressure goes with "
    "power^1.7 (common practice). Far from the condition itself a curve is less sure than its band "
    "says."
)


def curves_section(
    curves: Curves,
    pictures: Sequence[tuple[str, str, Path]],
    table,
    row,
    folder: str = "curves",
    source: Callable[[Path], str] | None = None,
) -> str:
    """HTML of the section; every text is escaped.

    Parameters
    ----------
    curves : Curves
    pictures : (title, caption, path) of each PNG, as `write_curves` returns them for these curves
    table, row : functions of the page that make tables
    folder : in which the pictures lie, beside the page
    source : gives what stands in the `src` of a picture; the picture itself by default

    Returns
    -------
    str, with the pictures inside
    """
    plans = {plan.title: plan for plan in figure_plans(curves)}
    figures = [
        _figure(plans[title], path, table, row, folder, source or _embedded)
        for title, _, path in pictures
        if title in plans
    ]
    if not figures:
        return "<p>No curve can be drawn for this case.</p>"
    return f"<p class='soft'>{escape(NOTE)}</p>" + "".join(figures)


def _embedded(path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    return f"data:image/png;base64,{data}"


def _figure(plan: FigurePlan, path: Path, table, row, folder: str, source) -> str:
    """One figure with its caption, and its numbers folded away."""
    link = f'<a href="{quote(f"{folder}/{path.name}")}">{escape(f"{folder}/{path.name}")}</a>'
    picture = (
        f'<img alt="{escape(plan.alt, quote=True)}" style="max-width:840px" src="{source(path)}">'
    )
    caption = f"<figcaption>{escape(plan.caption)} {link}</figcaption>"
    numbers = _numbers(plan, table, row)
    return f"<h3>{escape(plan.title)}</h3><figure>{picture}{caption}</figure>{numbers}"


def _numbers(plan: FigurePlan, table, row) -> str:
    if not plan.rows:
        return ""
    head = row([(heading, "t") for heading in plan.headings], "th")
    rows = [row([(cells[0], "t"), *((text, "r") for text in cells[1:])]) for cells in plan.rows]
    return (
        f"<details><summary>Numbers: {escape(plan.title.lower())}</summary>"
        f"{table(head, rows)}</details>"
    )
