"""report.html: one self-contained page that opens from disk without network."""

from __future__ import annotations

from html import escape

from panelcp.report.air_section import (
    effects_section,
    layers_section,
    openings_section,
    through_section,
)
from panelcp.report.answer_section import answer_section
from panelcp.report.cards import CARD_STYLE, cards_section, tape_text
from panelcp.report.combinations_section import combinations_section, exits_to_mark
from panelcp.report.contents import CAUTIONS, RunContents, opening_line
from panelcp.report.cooling_section import COOLING_STYLE, cooling_section
from panelcp.report.curves_section import curves_section
from panelcp.report.cuts_section import CUTS_STYLE, cuts_section
from panelcp.report.exit_air_section import exit_air_section
from panelcp.report.inputs_section import conditions_section, marks_section, versions_section
from panelcp.report.margin_section import margin_section
from panelcp.report.markup import html_list, html_row, html_table
from panelcp.report.page_lean import lean_html, lean_scripts
from panelcp.report.page_pictures import PagePictures
from panelcp.report.page_style import STYLE, screen_only_dark
from panelcp.report.page_tables import finished_tables
from panelcp.report.pictures_section import maps_section, vent_maps_section
from panelcp.report.ranking_section import ranking_section, sides_section
from panelcp.report.sections import (
    MadeSection,
    PageParts,
    Pictures,
    Section,
    caution_line,
    made_sections,
    register,
    registered,
    text_of,
)
from panelcp.report.sensitivity_section import sensitivity_section
from panelcp.report.spoilers_section import spoilers_section
from panelcp.report.units_switch import switch_control, switch_script, switchable, texts_of

LARGEST_PAGE = 3_000_000
"""Bytes of the page; pictures are made as small as that needs."""

USUAL_PAGE = 2_300_000
"""Bytes that a page does not pass for the sake of sharper pictures than are needed on a screen."""


def report_page(
    contents: RunContents,
    maps: Pictures,
    curves: Pictures = (),
    vent_maps: Pictures = (),
    cuts: Pictures = (),
) -> str:
    """The page as UTF-8 text; every text of the case is escaped.

    Parameters
    ----------
    contents : RunContents
    maps : (condition name, caption, path of the PNG), as `write_map_sheets` returns them
    curves, vent_maps, cuts : the same, of `write_curves`, `write_vent_maps` and
        `write_section_sheets`

    Returns
    -------
    str, with the pictures inside
    """
    pictures = PagePictures()
    sheets = (tuple(part) for part in (maps, curves, vent_maps))
    parts = PageParts(contents, *sheets, pictures.source, tuple(cuts))
    made = made_sections(registered(), parts)
    names = _names(contents)
    body, labels = finished_tables("".join(_switched(one, names) for one in made))
    styles = [STYLE, *(text_of(one.section.style, parts) for one in made), labels, _breaks(made)]
    scripts = [f"<script>{switch_script()}</script>"]
    scripts += [text_of(one.section.script, parts) for one in made]
    scripts = [lean_scripts(script) for script in scripts]
    page = (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<title>{escape(contents.name)}: cooling-air openings</title>"
        f"<style>{screen_only_dark(''.join(styles))}</style></head>"
        f'<body><a class="skip" href="#answer">Skip to the answer</a>'
        f'<header>{_head(contents)}<div class="bar">{switch_control()}{_links(made)}</div></header>'
        f"<main>{lean_html(body)}</main>{_foot(contents)}{''.join(scripts)}</body></html>\n"
    )
    size = len(page.encode("utf-8"))
    return pictures.filled(page, LARGEST_PAGE - size, max(USUAL_PAGE - size, 0))


def _switched(one: MadeSection, names) -> str:
    return one.html() if one.section.own_units else switchable(one.html(), names)


def _names(contents: RunContents) -> set[str]:
    """Texts of the case, whose numbers are no quantities."""
    names = texts_of(contents.inputs) | {contents.name, contents.question, contents.note}
    names |= {condition.name for condition in contents.flow.conditions}
    return names | {opening.name for opening in contents.openings.openings}


def _links(made: list[MadeSection]) -> str:
    links = "".join(one.link() for one in made)
    return (
        '<nav aria-label="Parts of the page"><details>'
        f"<summary>The {len(made)} parts of this page</summary><ul>{links}</ul></details></nav>"
    )


def _breaks(made: list[MadeSection]) -> str:
    """Where new pages begin on paper."""
    keys = [f"#{one.section.key}" for one in made if one.section.begins_page]
    return f"@media print{{{','.join(keys)}{{break-before:page}}}}\n" if keys else ""


def _head(contents: RunContents) -> str:
    parts = [f"<h1>{escape(contents.name)}</h1>"]
    if contents.question:
        parts.append(f"<p>{escape(contents.question)}</p>")
    parts += [f'<p class="notice">Notice: {escape(text)}.</p>' for text in contents.notices]
    parts.append(f'<p class="notice">{escape(CAUTIONS[0])} {escape(CAUTIONS[2])}</p>')
    if contents.note:
        parts.append(f'<p class="soft">{escape(contents.note)}</p>')
    return "".join(parts)


def _foot(contents: RunContents) -> str:
    return (
        f"<footer>panelcp {escape(contents.version)}, inputs {escape(contents.input_hash)}</footer>"
    )


# --- sections ------------------------------------------------------------------------------


def _of_contents(make):
    """A section that needs the contents alone."""
    return lambda parts: make(parts.contents)


def _live(parts: PageParts) -> str:
    from panelcp.report.live.live_section import live_section

    if not parts.contents.flow.moving.any():
        return ""
    still = '<p><a href="#maps">Pressure maps</a></p>' if parts.maps else ""
    return live_section(parts.contents, parts.block, still)


def _live_style(parts: PageParts) -> str:
    from panelcp.report.live.live_section import LIVE_STYLE

    return LIVE_STYLE + "@media print { #live { display:none } }\n"


def _live_script(parts: PageParts) -> str:
    from panelcp.report.live.live_section import live_script

    return live_script(parts.contents, parts.block)


def _cooling(parts: PageParts) -> str:
    cooling = parts.contents.cooling
    return "" if cooling is None else cooling_section(cooling)


def _margins(parts: PageParts) -> str:
    """The places ranked by the margins of the network."""
    contents = parts.contents
    if not (contents.margins or contents.margin_notes):
        return ""
    words = html_list(contents.margin_notes) if contents.margin_notes else ""
    ranking = contents.ranking
    named = {opening.name for opening in contents.openings.openings}
    for pair in contents.short_list:
        named |= {ranking.exit(pair).name, ranking.inlet(pair).name}
    return margin_section(contents.margins, named) + words


def _spoilers(parts: PageParts) -> str:
    found = parts.contents.spoilers
    return spoilers_section(found, html_table, html_row) if found else ""


def _curves(parts: PageParts) -> str:
    contents = parts.contents
    if contents.curves is None:
        return ""
    body = curves_section(contents.curves, parts.curves, html_table, html_row, source=parts.source)
    return _pocket(contents) + body


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
        f"{caution_line(CAUTIONS[4])}"
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


def _combinations(parts: PageParts) -> str:
    """Openings on one bay, and where the exits of the best ones are marked."""
    contents = parts.contents
    found = contents.combinations
    if found is None:
        return ""
    lines = [f"{opening_line(o)}: {tape_text(contents, o.name)}" for o in exits_to_mark(found)]
    return (
        combinations_section(found, contents.flow.conditions, html_table, html_row)
        + f"<h3>Where these exits lie</h3>{html_list(lines)}"
    )


def _exit_air(parts: PageParts) -> str:
    found, conditions = parts.contents, parts.contents.flow.conditions
    hits = exit_air_section(found.exit_air, found.static_ports, conditions, html_table, html_row)
    return hits + caution_line(CAUTIONS[5])


SECTIONS = (
    Section("answer", "Answer", _of_contents(answer_section)),
    Section("live", "Turn it, read it, try an opening", _live, _live_style, _live_script,
            own_units=True),
    Section("cooling", "Enough air through every core", _cooling, COOLING_STYLE, begins_page=True),
    Section("ranking", "Ranking of places", _of_contents(ranking_section), begins_page=True),
    Section("cards", "The best places one by one", _of_contents(cards_section), CARD_STYLE),
    Section("sides", "Top against bottom against side", _of_contents(sides_section),
            begins_page=True),
    Section("spoilers", "What spoils a place", _spoilers),
    Section("vent-map", "Vent map", vent_maps_section, begins_page=True),
    Section("curves", "Curves", _curves, begins_page=True),
    Section("combinations", "Inlets and exits that share a bay", _combinations),
    Section("margins", "Places by margin", _margins),
    Section("sensitivity", "What the bands are made of", _of_contents(sensitivity_section)),
    Section("maps", "Pressure maps", maps_section, begins_page=True),
    Section("cuts", "Pressure along the body", cuts_section, CUTS_STYLE),
    Section("openings", "Openings of the case", _of_contents(openings_section)),
    Section("effects", "Slipstream, swirl, wing, ground", _of_contents(effects_section)),
    Section("layers", "Boundary layer and separation", _of_contents(layers_section)),
    Section("exit-air", "Where the exit air goes", _exit_air),
    Section("flows", "Given flow through openings", _of_contents(through_section)),
    Section("conditions", "Conditions", _of_contents(conditions_section), begins_page=True),
    Section("inputs", "Uncertain numbers used", _of_contents(marks_section)),
    Section("surface", "Surface and solution", lambda parts: html_list(parts.contents.log)),
    Section("cautions", "Cautions", lambda parts: html_list(CAUTIONS)),
    Section("model", "Not modelled", lambda parts: html_list(parts.contents.not_modelled)),
    Section("versions", "Versions and hashes", _of_contents(versions_section)),
)  # fmt: skip
"""What every page has, where there is something to show; later parts register their own."""

for _section in SECTIONS:
    register(_section)
