"""report.html: one self-contained page that opens from disk without network."""

from __future__ import annotations

import base64
from html import escape
from pathlib import Path
from urllib.parse import quote

import numpy as np

from panelcp.flow.skin_layers import POSSIBLE, SEPARATED_STATES, STATE_NAMES, UNKNOWN
from panelcp.report.answers import whole_answer
from panelcp.report.cards import CARD_STYLE, cards_section, tape_text
from panelcp.report.combinations_section import combinations_section, exits_to_mark
from panelcp.report.contents import (
    CAUTIONS,
    RunContents,
    bearing,
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
from panelcp.report.cooling_section import COOLING_STYLE, cooling_section
from panelcp.report.curves_section import curves_section
from panelcp.report.exit_air_section import exit_air_section
from panelcp.report.margin_section import margin_section
from panelcp.report.markup import html_list, html_row, html_table
from panelcp.report.spoilers_section import spoilers_section
from panelcp.report.tables import IN_H2O, pressure_at_effects
from panelcp.units import UNITS, format_quantity

EFFECT_TITLES = {"slipstream": "Slip\u00adstream"}
"""Titles that may be broken on narrow screens."""

STYLE = """
:root { --ink:#1d2326; --soft:#566067; --line:#cfd5d8; --paper:#ffffff; --pale:#f3f5f6;
        --warn:#7a4300; --warn-paper:#fff3df; --bad:#8c1d18; --good:#0d5c4a; }
@media (prefers-color-scheme: dark) {
  :root { --ink:#e6eaec; --soft:#a3adb3; --line:#3d464b; --paper:#15191b; --pale:#1e2427;
          --warn:#ffc978; --warn-paper:#352711; --bad:#ff9d96; --good:#74d3bb; } }
* { box-sizing:border-box }
body { margin:0; background:var(--paper); color:var(--ink);
       font:16px/1.5 system-ui, -apple-system, "Segoe UI", Roboto, sans-serif; }
main, header { max-width:1180px; margin:0 auto; padding:0 20px; }
h1 { font-size:1.7rem; margin:1.2rem 0 .2rem; overflow-wrap:anywhere }
h2 { font-size:1.2rem; margin:2.4rem 0 .6rem; border-bottom:1px solid var(--line);
     padding-bottom:.2rem }
p, li { max-width:76ch; overflow-wrap:anywhere } .soft { color:var(--soft) }
.notice { background:var(--warn-paper); color:var(--warn); border-left:5px solid var(--warn);
          padding:.6rem .9rem; margin:.8rem 0; font-weight:600; max-width:none }
.scroll { overflow-x:auto; margin:.6rem 0 }
table { border-collapse:collapse; font-variant-numeric:tabular-nums; font-size:.92rem }
th, td { padding:.3rem .7rem; border-bottom:1px solid var(--line); text-align:right;
         vertical-align:top; white-space:nowrap }
th { background:var(--pale); text-align:right; font-weight:600 }
th { white-space:normal; vertical-align:bottom } th.t, td.t, td.p { text-align:left }
td.p, td.r { white-space:normal; min-width:15ch }
td.w { white-space:normal; text-align:left; min-width:24ch }
.bad { color:var(--bad); font-weight:600 } .good { color:var(--good); font-weight:600 }
details { margin:.4rem 0 } summary { cursor:pointer; font-weight:600 }
figure { margin:1.4rem 0 } figure img { width:100%; height:auto; background:#fff;
         border:1px solid var(--line) } figcaption { color:var(--soft); font-size:.9rem }
h3 { font-size:1rem; margin:1.6rem 0 .4rem }
h3, figcaption, summary { overflow-wrap:anywhere }
nav a { display:inline-block; margin-right:1rem } a { color:inherit }
footer { margin:3rem 0 2rem; color:var(--soft); font-size:.85rem }
@media (max-width:640px) {
  main, header { padding:0 14px } ol, ul { padding-left:1.3rem }
  table { font-size:.85rem } th, td { padding:.3rem .3rem }
  th, td.t, td.p, td.r { white-space:normal; min-width:0 } td.t { min-width:9ch }
  .cards, .cards tbody, .cards tr, .cards td { display:block }
  .cards thead, .cards td:empty { display:none }
  .cards tr { padding:.5rem 0; border-bottom:1px solid var(--line) }
  .cards td { display:flex; justify-content:space-between; gap:1rem; border:0;
              padding:.1rem 0; text-align:right; white-space:normal; overflow-wrap:anywhere }
  .cards td::before { content:attr(data-label); color:var(--soft); text-align:left;
                      flex:none; font-weight:400 }
  .cards td:first-child { font-weight:600 }
  .cards td[colspan] { display:block; text-align:left; color:var(--soft) }
  .cards td[colspan]::before { content:none }
  .wide th:first-child, .wide td:first-child { position:sticky; left:0; max-width:24vw }
  .wide td:first-child { background:var(--paper) } }
@media print { nav { display:none } figure { break-inside:avoid } body { font-size:11pt } }
"""


Pictures = list[tuple[str, str, Path]]


def report_page(
    contents: RunContents, maps: Pictures, curves: Pictures = (), vent_maps: Pictures = ()
) -> str:
    """The page as UTF-8 text; every text of the case is escaped.

    Parameters
    ----------
    contents : RunContents
    maps : (condition name, caption, path of the PNG), as `write_map_sheets` returns them
    curves, vent_maps : the same, of `write_curves` and `write_vent_maps`

    Returns
    -------
    str, with the pictures inside
    """
    sections = [
        ("answer", "Answer", _answer(contents)),
        ("sides", "Top against bottom against side", _sides(contents)),
        *_network_sections(contents),
        ("ranking", "Ranking of places", _ranking(contents)),
        ("cards", "The best places one by one", cards_section(contents)),
        *_choice_sections(contents, curves, vent_maps),
        ("maps", "Pressure maps", _maps(maps)),
        ("openings", "Openings of the case", _openings(contents)),
        *_air_sections(contents),
        ("conditions", "Conditions", _conditions(contents)),
        ("inputs", "Uncertain numbers used", _marks(contents)),
        ("surface", "Surface and solution", html_list(contents.log)),
        ("model", "Not modelled", html_list(contents.not_modelled)),
        ("cautions", "Cautions", html_list(CAUTIONS)),
    ]
    links = "".join(f'<a href="#{name}">{escape(title)}</a>' for name, title, _ in sections)
    body = "".join(
        f'<section id="{name}"><h2>{escape(title)}</h2>{content}</section>'
        for name, title, content in sections
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<title>{escape(contents.name)}: cooling-air openings</title>"
        f"<style>{STYLE}{CARD_STYLE}{COOLING_STYLE}</style></head>"
        f"<body><header>{_head(contents)}<nav>{links}</nav></header><main>{body}</main></body></html>\n"
    )


def _head(contents: RunContents) -> str:
    parts = [f"<h1>{escape(contents.name)}</h1>"]
    if contents.question:
        parts.append(f"<p>{escape(contents.question)}</p>")
    parts += [f'<p class="notice">Notice: {escape(text)}.</p>' for text in contents.notices]
    parts.append(f'<p class="notice">{escape(CAUTIONS[0])} {escape(CAUTIONS[2])}</p>')
    parts += [f'<p class="notice">Warning: {escape(text)}.</p>' for text in contents.warnings]
    if contents.note:
        parts.append(f'<p class="soft">{escape(contents.note)}</p>')
    parts.append(
        f'<p class="soft">panelcp {escape(contents.version)}, inputs {contents.input_hash}</p>'
    )
    return "".join(parts)


def _answer(contents: RunContents) -> str:
    return "<ol>" + "".join(f"<li>{escape(line)}</li>" for line in whole_answer(contents)) + "</ol>"


def _sides(contents: RunContents) -> str:
    ranking, conditions = contents.ranking, contents.flow.conditions
    sides = side_rows(contents)
    head = html_row([("Best exit of each side", "t"), *((side, "") for side, _, _ in sides)], "th")
    rows = [
        html_row(
            [("place", "t"), *((kept(place_line(ranking.exit(p))), "r") for _, p, _ in sides)]
        ),
        html_row(
            [("least available / needed", "t"), *(_ratio_cell(contents, p) for _, p, _ in sides)]
        ),
    ]
    rows += [
        _pressure_row(condition, [pressure[c] for _, _, pressure in sides])
        for c, condition in enumerate(conditions)
    ]
    note = (
        "<p class='soft'>Negative Cp draws air out; on the ground the pressure is given "
        "in Pa. The best exit of each side is taken with its "
        "best inlet.</p>"
    )
    return html_table(head, rows) + note


def _pressure_row(condition, pressures) -> str:
    """Row of pressures: Cp in flight, Pa on the ground and at rest."""
    if in_pascal(condition):
        return html_row(
            [(f"Pa: {condition.name}", "t"), *((_whole(value), "") for value in pressures)]
        )
    q = condition.dynamic_pressure
    return html_row([(f"Cp: {condition.name}", "t"), *((_signed(v / q), "") for v in pressures)])


def _ranking(contents: RunContents) -> str:
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
            _ratio_cell(contents, pair),
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


def _choice_sections(contents: RunContents, curves, vent_maps) -> list[tuple[str, str, str]]:
    """What spoils places, vent maps, curves and combinations, where there are any."""
    sections = []
    if contents.spoilers:
        body = spoilers_section(contents.spoilers, html_table, html_row)
        sections.append(("spoilers", "What spoils a place", body))
    if vent_maps:
        sections.append(("vent-map", "Vent map", _vent_maps(vent_maps)))
    if contents.curves is not None:
        body = _pocket(contents) + curves_section(contents.curves, curves, html_table, html_row)
        sections.append(("curves", "Curves", body))
    if contents.combinations is not None:
        found, conditions = contents.combinations, contents.flow.conditions
        body = combinations_section(found, conditions, html_table, html_row)
        body += _places_on_a_bay(contents)
        sections.append(("combinations", "Inlets and exits that share a bay", body))
    return sections


def _network_sections(contents: RunContents) -> list[tuple[str, str, str]]:
    """The cooling network and the places ranked by its margins."""
    sections = []
    if contents.cooling is not None:
        sections.append(
            ("cooling", "Enough air through every core", cooling_section(contents.cooling))
        )
    if contents.margins or contents.margin_notes:
        words = html_list(contents.margin_notes) if contents.margin_notes else ""
        sections.append(("margins", "Places by margin", margin_section(contents.margins) + words))
    return sections


def _pocket(contents: RunContents) -> str:
    """How far forward a top vent must end to lie outside the pocket of separated air."""
    edges = contents.pocket_edges
    if not edges:
        return ""
    note = (
        "<p class='soft'>The layer on top is followed towards the windshield. Its shape factor H "
        "grows towards separation: from 1.8 on the air may separate, at 2.4 it does (both from "
        "memory). An opening that ends ahead of the first, and of the second criterion where one "
        "is named, lies outside the pocket.</p>"
    )
    lines = html_list(edge.line() for edge in edges)
    return (
        f"<h3>Outside the windshield pocket</h3><p>{escape(_foremost_edge(contents))}</p>{note}"
        f"<details><summary>In every condition</summary>{lines}</details>"
    )


def _foremost_edge(contents: RunContents) -> str:
    """The condition in flight whose pocket begins farthest forward."""
    both = zip(contents.pocket_edges, contents.flow.conditions, strict=True)
    told = [edge for edge, c in both if not c.on_ground and edge.has_pocket]
    if not told:
        return "In flight no pocket is found ahead of the windshield."
    first = min(told, key=lambda edge: edge.warned_station)
    return f"In flight the pocket reaches farthest forward in {first.line()}."


def _places_on_a_bay(contents: RunContents) -> str:
    """Where the exits of the best combination, and of the preferred one, are marked."""
    lines = [
        f"{opening_line(o)}: {tape_text(contents, o.name)}"
        for o in exits_to_mark(contents.combinations)
    ]
    return f"<h3>Where these exits lie</h3>{html_list(lines)}"


def _vent_maps(pictures) -> str:
    note = (
        "<p class='soft'>What a small opening would be worth at every place of the searched skin: "
        "the least available / needed over the deciding conditions, with the best pair's other "
        "opening. Below 1 it does not cool. It shows where to look; an opening of real size is in "
        "the ranking.</p>"
    )
    figures = [
        _figure(name, caption, path, path.name, f"Vent map: {name}")
        for name, caption, path in pictures
    ]
    return note + "".join(figures)


def _figure(name: str, caption: str, path: Path, link: str, words: str) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    return (
        f'<figure><img alt="{escape(words, quote=True)}" '
        f'src="data:image/png;base64,{data}"><figcaption>{escape(caption)}; '
        f'<a href="{quote(link)}">{escape(link)}</a></figcaption></figure>'
    )


def _maps(maps) -> str:
    if not maps:
        return "<p>No condition has moving air, so there is no pressure to show.</p>"
    figures = [
        _figure(name, caption, path, f"maps/{path.name}", f"Pressure in {name}")
        for name, caption, path in maps
    ]
    note = (
        "<p class='soft'>Colour shows Cp: blue-green is suction (lines dashed), amber is pressure "
        "(lines solid), zero is grey (thick line). A colour means the same in all conditions in "
        "flight; on the ground the maps show Pa, each on its own scale.</p>"
    )
    return note + "".join(figures)


def _openings(contents: RunContents) -> str:
    group, conditions = contents.openings, contents.flow.conditions
    if not group.openings:
        return "<p>The case names no openings of its own.</p>"
    head = html_row([("Opening", "t"), *((opening.name, "") for opening in group.openings)], "th")
    rows = [
        html_row([("place", "t"), *((kept(place_line(o)), "r") for o in group.openings)]),
        html_row([("use, kind", "t"), *((f"{o.use}, {o.kind}", "r") for o in group.openings)]),
        html_row([("area cm²", "t"), *((f"{o.area * 1e4:.0f}", "") for o in group.openings)]),
    ]
    rows += [
        _pressure_row(condition, group.patch_pressure[c]) for c, condition in enumerate(conditions)
    ]
    return html_table(head, rows)


def _air_sections(contents: RunContents) -> list[tuple[str, str, str]]:
    """Sections on effects and given flows, where there are any."""
    sections = []
    if contents.effects is not None:
        sections.append(("effects", "Slipstream, swirl, wing, ground", _effects(contents)))
    if contents.layers is not None:
        sections.append(("layers", "Boundary layer and separation", _layers(contents)))
    hits = exit_air_section(
        contents.exit_air, contents.static_ports, contents.flow.conditions, html_table, html_row
    )
    sections.append(("exit-air", "Where the exit air goes", hits))
    if contents.through is not None:
        sections.append(("flows", "Given flow through openings", _through(contents)))
    return sections


def _effects(contents: RunContents) -> str:
    effects, conditions = contents.effects, contents.flow.conditions
    titles = [("All in Pa", "t"), ("Pressure", "")]
    titles += [(EFFECT_TITLES.get(name, name.capitalize()), "") for name in effects.effects]
    pressure = pressure_at_effects(contents)
    parts = [
        "<p class='soft'>Pressure on the closed skin with everything, and by how much each effect "
        "changes it: with all effects, less without that one. The shares do not add up, since "
        "the pressure goes with the square of the speed; they are those of attached air, without "
        "pockets.</p>"
    ]
    for k, opening in enumerate(effects.openings):
        rows = []
        for c, condition in enumerate(conditions):
            values = [pressure[c, k], *effects.share[:, c, k]]
            rows.append(html_row([(condition.name, "t"), *((_whole(v), "") for v in values)]))
        inside = html_table(html_row(titles, "th"), rows)
        parts.append(
            f"<details{' open' if k == 0 else ''}><summary>{escape(kept(opening_line(opening)))}"
            f"</summary>{inside}</details>"
        )
    return "".join(parts)


def _layers(contents: RunContents) -> str:
    """State, thickness and way to separation at every opening shown."""
    layers, conditions = contents.layers, contents.flow.conditions
    head = html_row([("Opening", "t"), *((condition.name, "") for condition in conditions)], "th")
    rows = []
    for k, opening in enumerate(layers.openings):
        cells = [_layer_cell(layers, c, k) for c in range(len(conditions))]
        rows.append(html_row([(opening.name, "t"), *cells]))
    note = (
        "<p class='soft'>Thickness of the boundary layer in mm, and in brackets the way from the "
        "opening on to turbulent separation, mm (from where the layer comes near it, H 1.8, to H "
        "2.4: from memory). A pocket is separated air that comes back to the skin, as ahead of a "
        "windshield: its pressure lies between that at separation and the attached one, and both "
        "stand in the deviation. Behind separation that does not close, and in the lee of a wind "
        "across, the pressure is a band from memory. A flush inlet keeps the part of its recovery "
        "that is given in percent. Behind the propeller the layer is turbulent from the nose.</p>"
    )
    return note + html_table(head, rows)


def _layer_cell(layers, c: int, k: int) -> tuple[str, str]:
    state = int(layers.state[c, k])
    if state == UNKNOWN:
        return "", ""
    if state in (*SEPARATED_STATES, POSSIBLE):
        return STATE_NAMES[state], "bad r"
    text = f"{1e3 * layers.thickness[c, k]:.0f}" if np.isfinite(layers.thickness[c, k]) else "?"
    soft, hard = layers.warned_margin[c, k], layers.margin[c, k]
    ends = sorted(1e3 * way for way in (soft, hard) if np.isfinite(way) and way >= 0.0)
    if ends and layers.openings[k].kind != "forward-facing":
        text += f" ({' to '.join(dict.fromkeys(f'{end:.0f}' for end in ends))})"
    share = layers.recovery_share[c, k]
    return (f"{text}, {100 * share:.0f} %" if share < 1.0 else text), ""


def _through(contents: RunContents) -> str:
    through, conditions = contents.through, contents.flow.conditions
    titles = (("Opening", "t"), ("Condition", "t"), ("Flow, m³/s", ""), ("Speed ratio", ""))
    titles += (("Spillage", ""), ("Lowest on the lip, Pa", ""), ("By other openings, Pa", ""))
    rows = []
    for k, opening in enumerate(through.openings):
        for c, condition in enumerate(conditions):
            if not through.volume_flow[c].any():
                continue
            ratio, spilled = through.velocity_ratio[c, k], through.spillage[c, k]
            cells = [
                (opening.name, "p"),
                (condition.name, "p"),
                (_flow_text(through.volume_flow[c, k]), ""),
                ("" if np.isnan(ratio) or not ratio else f"{ratio:.2f}", ""),
                (_spillage_text(spilled), ""),
                (_whole(through.lip_pressure[c, k]), ""),
                (_whole(through.others[c, k]), ""),
            ]
            rows.append(html_row(cells, titles=titles))
    note = (
        "<p class='soft'>Flow out of the body is positive. Speed ratio: mean speed through the "
        "opening over the speed the air there has at outside pressure. Spillage: part of the air "
        "ahead of an inlet's face that goes round it; drawn in where the inlet takes more, from "
        "round its lip. The lip is looked at a quarter of the width outside the outline. The "
        "ranking leaves these flows out.</p>"
    )
    return note + html_table(html_row(titles, "th"), rows, "cards")


def _conditions(contents: RunContents) -> str:
    titles = (("Condition", "t"), ("Decides", "t"), ("Air", "t"), ("Angle of attack, attitude", ""))
    titles += (("Sideslip", ""), ("Altitude, ft", ""), ("Air, °C", ""), ("q, Pa", ""))
    titles += (("Propeller's mean rise, Pa", ""), ("Needed pressure", ""), ("Mark", "t"))
    rows, flow = [], contents.flow
    for c, (condition, needed) in enumerate(
        zip(flow.conditions, contents.needed_pressure, strict=True)
    ):
        rise = f"{flow.mean_rise[c]:.0f}" if flow.mean_rise[c] else ""
        cells = [
            (condition.name, "p"),
            ("yes" if condition.decides else "no", "t"),
            *_air_cells(condition),
            (f"{condition.altitude / UNITS['length']['ft']:.0f}".replace("-", "−"), ""),
            (f"{condition.air.temperature - 273.15:.0f}".replace("-", "−"), ""),
            (f"{condition.dynamic_pressure:.0f}", ""),
            (rise if flow.predicted[c] else f"{rise}, sign only", ""),
            (format_quantity(needed.value, "pressure", digits=3) if needed else "not given", ""),
            (needed.mark if needed else "", "t"),
        ]
        rows.append(html_row(cells, titles=titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _air_cells(condition) -> list[tuple[str, str]]:
    """Speed, angle of attack and sideslip; on the ground the wheels' speed and the wind."""
    knots = float(UNITS["speed"]["kt"])
    if condition.ground_speed is None:
        angles = [condition.attitude or condition.alpha, condition.beta]
        cells = [(f"{condition.speed / knots:.0f} kt true", "p")]
        return cells + [(f"{angle:g}°".replace("-", "−"), "") for angle in angles]
    text = f"ground {condition.ground_speed / knots:.0f} kt"
    if condition.wind_speed:
        text += f", wind {condition.wind_speed / knots:.0f} kt {bearing(condition.wind_from)}"
    return [
        (text.replace("-", "−"), "p"),
        (f"{condition.attitude or 0.0:g}°".replace("-", "−"), ""),
        ("", ""),
    ]


def _marks(contents: RunContents) -> str:
    titles = (("Number", "t"), ("Value", ""), ("Low", ""), ("High", ""))
    titles += (("Mark", "t"), ("Source", "t"))
    rows = []
    for place, value in contents.marks:
        numbers = [value.value, value.low, value.high]
        cells = [(place, "p")]
        cells += [("" if n is None else format_quantity(n, value.kind), "") for n in numbers]
        rows.append(html_row([*cells, (value.mark, "t"), (value.source, "w")], titles=titles))
    return html_table(html_row(titles, "th"), rows, "cards")


def _ratio_cell(contents: RunContents, pair: int) -> tuple[str, str]:
    """Red below 1; green above 1.3 when one deviation less is still enough."""
    ranking = contents.ranking
    ratio, deviation = ranking.least_ratio[pair], ranking.least_ratio_deviation(pair)
    style = "bad" if ratio < 1.0 else "good" if ratio > 1.3 and ratio - deviation >= 1.0 else ""
    return ratio_text(contents, pair), style


def _signed(value: float) -> str:
    return "" if np.isnan(value) else f"{value:+.2f}".replace("-", "−")


def _whole(value: float) -> str:
    if np.isnan(value):
        return ""
    return f"{value:+.0f}".replace("-", "−") if abs(value) >= 0.5 else "0"


def _spillage_text(share: float) -> str:
    if np.isnan(share):
        return ""
    return f"{100 * share:.0f} %" if share >= 0.0 else "drawn in"


def _flow_text(flow: float) -> str:
    return f"{flow:+.3f}".replace("-", "−") if flow else "none"
