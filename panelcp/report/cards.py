"""A card for every place of the short list: numbers, picture, reason, what spoils it, cautions."""

from __future__ import annotations

from html import escape

import numpy as np

from panelcp.placement.choices import ENOUGH
from panelcp.placement.spoilers import SHIFT, worst_of_each
from panelcp.report.contents import (
    CAUTIONS,
    RunContents,
    explain,
    kept,
    percent,
    place_line,
    ratio_text,
)
from panelcp.report.tables import any_reversal

WIDTH, ROW, NAMES, NUMBERS = 640, 22, 210, 130
"""Units of the picture: its width, a row's height, room for names on the left and numbers on the
right."""

LONGEST_NAME = 32
"""Letters of a condition's name in the picture."""

CARD_STYLE = """
.card { border:1px solid var(--line); border-radius:6px; padding:.2rem 1rem 1rem; margin:1rem 0;
        break-inside:avoid }
.card dl { display:grid; grid-template-columns:max-content 1fr; gap:.1rem 1rem; margin:.5rem 0 }
.card dt { color:var(--soft) } .card dd { margin:0; overflow-wrap:anywhere }
.card svg { width:100%; max-width:760px; height:auto; display:block; margin:.6rem 0 }
.card svg text { fill:var(--ink); font-size:12px } .card svg .s { fill:var(--soft) }
.card .enough { fill:var(--good) } .card .short { fill:var(--bad) }
.card .watched { opacity:.55 } .card .axis { stroke:var(--ink); stroke-width:1 }
.card .band { stroke:var(--ink); stroke-width:1.2 } .card .need { stroke:var(--ink);
              stroke-width:2.6 }
@media (max-width:640px) { .card { padding:.1rem .6rem .7rem }
  .card dl { grid-template-columns:1fr } .card dt { margin-top:.3rem } }
@media print { .card { margin:.4rem 0; padding:.1rem .6rem .3rem }
  .card svg { max-width:100mm; margin:.2rem 0 } .card h3 { margin:.3rem 0 }
  .card dl, .card p, .card ul { font-size:8pt; line-height:1.3; margin:.2rem 0 } }
"""


def cards_section(contents: RunContents) -> str:
    """HTML of the cards; every text of the case is escaped."""
    note = (
        "<p class='soft'>Bars: available pressure in every condition, on one scale for all places, "
        "pale where it does not decide; the thin line is one standard deviation to both sides, the "
        "thick tick the needed pressure. Chance of being best: the part of all sampled worlds in "
        "which this exit, or one that overlaps it, is the best of all that were tried, whatever "
        "the inlet; a finer grid of places lowers it. Regret: by how much available / needed falls "
        "behind the best place of this list in a condition; more than "
        f"{ENOUGH:g} counts as {ENOUGH:g}.</p>"
    )
    cards = [_card(contents, k, pair) for k, pair in enumerate(contents.short_list)]
    return note + "".join(cards)


def _card(contents: RunContents, k: int, pair: int) -> str:
    outlet = contents.ranking.exit(pair)
    size = f"{1e3 * outlet.length:.0f} × {1e3 * outlet.width:.0f} mm"
    title = f"{k + 1}: {outlet.name}"
    rows = "".join(
        f"<dt>{escape(name)}</dt><dd>{escape(kept(value))}</dd>"
        for name, value in [
            ("Exit", f"{outlet.kind}, {size}, {place_line(outlet)}{_twin(outlet)}"),
            ("Along the skin", tape_text(contents, outlet.name)),
            ("Nearest no-cut zone", zone_text(contents, outlet.name)),
            ("Air in at", contents.ranking.inlet(pair).name),
            *_numbers(contents, k, pair),
        ]
        if value
    )
    reason = f"<p>{escape(kept(explain(contents, pair)))}</p>"
    parts = (rows and f"<dl>{rows}</dl>", _bars(contents, pair), reason, _spoiled(contents, pair))
    cautions = "".join(f"<li>{escape(text)}</li>" for text in _cautions(contents, outlet))
    return (
        f'<article class="card"><h3>{escape(title)}</h3>{"".join(parts)}'
        f"<p><b>Cautions</b></p><ul>{cautions}</ul></article>"
    )


def _twin(opening) -> str:
    return "" if opening.twin is None else ", and its mirror image: both together are one exit"


def tape_text(contents: RunContents, name: str) -> str:
    """Where a builder marks the centre with a tape, or nothing."""
    tape = contents.tape.get(name)
    if tape is None:
        return ""
    return f"{tape.text()} (centre of the opening, tape on the skin)"


def zone_text(contents: RunContents, name: str) -> str:
    """How near the next no-cut zone is, and whether that is less than a cut by hand may be off."""
    found = contents.near_zones.get(name)
    if found is None:
        return ""
    zone, way = found
    text = f"{zone}, {1e3 * way:.0f} mm"
    if way < SHIFT.value:
        text += f"; look: a cut marked by hand may be {1e3 * SHIFT.value:.0f} mm off (memory)"
    return text


def _numbers(contents: RunContents, k: int, pair: int) -> list[tuple[str, str]]:
    ranking, chosen = contents.ranking, contents.choices
    decided = contents.flow.conditions[ranking.limiting[pair]].name
    rows = [
        ("Least available / needed", f"{ratio_text(contents, pair)}, decided by {decided}"),
        ("Weighted mean", f"{ranking.mean_ratio[pair]:.2f}"),
        ("Enough everywhere", percent(ranking.least_sufficiency[pair])),
    ]
    if chosen is not None:
        low, _, high = chosen.regret_band[:, k]
        rows += [
            ("Chance of being best", f"{percent(chosen.chance_of_exit[k])}, of all exits tried"),
            (
                "Regret",
                f"{chosen.worst_regret[k]:.2f} at worst ({low:.2f} to {high:.2f} over the sampled "
                f"worlds), {chosen.mean_regret[k]:.2f} in the mean",
            ),
        ]
    chance = any_reversal(ranking, pair)
    if not np.isnan(chance):
        rows.append(("Reversed somewhere", f"{percent(chance)} in at least one condition"))
    return rows


def _bars(contents: RunContents, pair: int) -> str:
    """Picture of available against needed pressure in every moving condition."""
    ranking, flow = contents.ranking, contents.flow
    shown = np.flatnonzero(flow.moving)
    if not len(shown):
        return ""
    available, spread = ranking.available[shown, pair], ranking.deviation[shown, pair]
    needed = ranking.needed[shown]
    low, high = _ends(contents, shown)
    scale = (WIDTH - NAMES - NUMBERS) / max(high - low, 1e-9)

    def x(value) -> float:
        return NAMES + (value - low) * scale

    def said(c) -> str:
        value = ranking.available[c, pair]
        return whole(value) if flow.predicted[c] else _direction(value)

    rows = []
    for row, c in enumerate(shown):
        condition, top = flow.conditions[c], ROW * row + 6
        numbers = available[row], spread[row], needed[row]
        rows.append(_bar(condition, top, numbers, x, flow.predicted[c]))
    height = ROW * len(shown) + 8
    axis = f'<line class="axis" x1="{x(0):.1f}" x2="{x(0):.1f}" y1="2" y2="{height - 4}"/>'
    label = f"Available pressure with {ranking.exit(pair).name}, Pa: " + "; ".join(
        f"{flow.conditions[c].name} {said(c)}" for c in shown
    )
    return (
        f'<svg viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(label, quote=True)}">'
        f"{axis}{''.join(rows)}</svg>"
    )


def _ends(contents: RunContents, shown) -> tuple[float, float]:
    """Least and greatest pressure in the pictures of all cards, Pa."""
    ranking, pairs = contents.ranking, contents.short_list
    available, needed = ranking.available[shown][:, pairs], ranking.needed[shown]
    spread = ranking.deviation[shown][:, pairs]
    ends = [*(available - spread).flat, *(available + spread).flat, *needed[needed > 0.0], 0.0]
    return float(min(ends)), float(max(ends))


def _bar(condition, top: float, numbers, x, predicted: bool) -> str:
    """One condition: name, bar, deviation, needed pressure, number or that there is none."""
    value, spread, needed = numbers
    left, right = sorted((x(0.0), x(value)))
    style = "short" if value < 0.0 or (needed > 0.0 and value < needed) else "enough"
    style += "" if condition.decides else " watched"
    middle, name = top + 6, condition.name
    name = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
    tick = ""
    if needed > 0.0:
        tick = f'<line class="need" x1="{x(needed):.1f}" x2="{x(needed):.1f}" y1="{top - 3}" '
        tick += f'y2="{top + 15}"/>'
    number = f"{whole(value)} ± {spread:.0f} Pa" if predicted else _direction(value)
    return (
        f'<text x="{NAMES - 8}" y="{middle + 4}" text-anchor="end">{escape(name)}</text>'
        f'<rect class="{style}" x="{left:.1f}" y="{top}" width="{right - left:.1f}" height="12"/>'
        f'<line class="band" x1="{x(value - spread):.1f}" x2="{x(value + spread):.1f}" '
        f'y1="{middle}" y2="{middle}"/>{tick}'
        f'<text class="s" x="{WIDTH - 2}" y="{middle + 4}" text-anchor="end">{number}</text>'
    )


def whole(value: float) -> str:
    """A number without its decimals.

    Examples
    --------
    >>> whole(-12.6), whole(-0.2), whole(3.5)
    ('−13', '0', '4')
    """
    return f"{round(value)}".replace("-", "−")


def _direction(value: float) -> str:
    """All that is known where the pressure is not predicted."""
    return f"{'out' if value > 0.0 else 'in'}? not predicted"


def _spoiled(contents: RunContents, pair: int) -> str:
    """What spoils the exit, or its inlet, by this pair."""
    names = (contents.ranking.exit(pair).name, contents.ranking.inlet(pair).name)
    rows = []
    for name in names:
        for worst, conditions in worst_of_each([s for s in contents.spoilers if s.opening == name]):
            more = len(conditions) - 1
            also = f" (and in {more} more condition{'s' if more > 1 else ''})" if more > 0 else ""
            word = "Spoils it" if worst.severity == "spoils" else "Look"
            style = ' class="bad"' if worst.severity == "spoils" else ""
            text = f"{worst.kind}, {worst.line()}{also}"
            rows.append(f"<li><b{style}>{word}:</b> {escape(kept(text))}</li>")
    if not rows:
        return ""
    head = f"<summary>What to look at ({len(rows)})</summary>"
    return f'<details class="paper">{head}<ul>{"".join(rows)}</ul></details>'


def _cautions(contents: RunContents, outlet) -> list[str]:
    """Cautions that this place calls for."""
    cut, fire, monoxide = CAUTIONS[2], CAUTIONS[4], CAUTIONS[5]
    glass = any(s.opening == outlet.name and s.kind == "glass near" for s in contents.spoilers)
    ahead = outlet.side == "top" or glass
    return [cut, *([fire] if ahead else []), monoxide]
