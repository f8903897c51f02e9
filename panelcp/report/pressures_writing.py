"""Results of the pressures alone: maps, cuts, exports, a page, tables."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

from panelcp.report.contents import CAUTIONS, AirContents, condition_line
from panelcp.report.cuts_section import CUTS_STYLE, cuts_section
from panelcp.report.files import write_folder, write_text
from panelcp.report.markup import html_list
from panelcp.report.page import LARGEST_PAGE
from panelcp.report.page_pictures import PagePictures
from panelcp.report.page_style import STYLE, screen_only_dark
from panelcp.report.paper.writing import write_report
from panelcp.report.pictures_section import maps_section
from panelcp.report.section_sheets import write_section_sheets
from panelcp.report.sections import PageParts, Pictures
from panelcp.report.sheets import write_map_sheets
from panelcp.report.summary import air_summary, as_json
from panelcp.report.tables import pressures_csv
from panelcp.report.writing import run_log, write_surface


def write_pressures(
    contents: AirContents, results: Path, progress: Callable[[str], None] = lambda text: None
) -> Path:
    """Write the folder pressures-<hash>.

    Parameters
    ----------
    contents : AirContents
    results : folder of all runs
    progress : called with a short text before each step

    Returns
    -------
    Path of the folder: pressures.html, pressures.pdf, maps/*.png, sections/*, surface.vtu,
    surface.glb, pressures.csv (where the case names openings), pressures.json, run.log
    """

    def fill(folder: Path):
        progress("drawing pressure maps")
        maps = write_map_sheets(contents, folder / "maps", progress)
        progress("drawing cuts")
        cuts = write_section_sheets(contents, folder / "sections")
        progress("writing page, surface and tables")
        write_surface(contents, folder)
        if contents.openings.openings:
            write_text(folder / "pressures.csv", pressures_csv(contents))
        summary = as_json(air_summary(contents))
        write_text(folder / "pressures.json", summary)
        write_text(folder / "pressures.html", pressures_page(contents, maps, cuts))
        # the caption of a cut stands in its picture
        pictures = [(title, "", path) for title, _, path in cuts]
        write_report(contents, folder / "pressures.pdf", maps, pictures, summary=summary)
        write_text(folder / "run.log", run_log(contents))

    return write_folder(Path(results), f"pressures-{contents.input_hash}", fill)


def pressures_page(contents: AirContents, maps: Pictures, cuts: Pictures) -> str:
    """A self-contained page of the maps; every text of the case is escaped."""
    pictures = PagePictures()
    parts = PageParts(contents, tuple(maps), source=pictures.source, cuts=tuple(cuts))
    flow, name = contents.flow, escape(contents.name)
    conditions = [
        condition_line(*one)
        for one in zip(flow.conditions, flow.mean_rise, flow.predicted, strict=True)
    ]
    sections = (
        ("Pressure maps", maps_section(parts)),
        ("Pressure along the body", cuts_section(parts)),
        ("Conditions", html_list(conditions)),
        ("Surface and solution", html_list(contents.log)),
        ("Not modelled", html_list(contents.air_not_modelled)),
        ("Cautions", html_list(CAUTIONS)),
    )
    body = "".join(f"<section><h2>{title}</h2>{html}</section>" for title, html in sections if html)
    style = screen_only_dark(STYLE + CUTS_STYLE)
    page = (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>{name}: pressure on the skin</title>'
        f"<style>{style}</style></head><body><header><h1>{name}</h1>{_head(contents)}</header>"
        f"<main>{body}</main></body></html>\n"
    )
    return pictures.filled(page, LARGEST_PAGE - len(page.encode("utf-8")))


def _head(contents: AirContents) -> str:
    texts = [f"Notice: {text}." for text in contents.notices]
    texts += [f"{CAUTIONS[0]} {CAUTIONS[2]}"]
    texts += [f"Warning: {text}." for text in contents.warnings]
    notices = "".join(f'<p class="notice">{escape(text)}</p>' for text in texts)
    question = f"<p>{escape(contents.question)}</p>" if contents.question else ""
    return (
        f"{question}{notices}<p class='soft'>Pressures alone: no place was ranked and no air "
        f"runs through the cowl. panelcp {escape(contents.version)}, inputs "
        f"{escape(contents.input_hash)}</p>"
    )
