"""Results of the cooling network alone: a folder with a page, tables and the summary."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

from panelcp.report.contents import CAUTIONS, RunContents
from panelcp.report.cooling_section import COOLING_STYLE, cooling_section
from panelcp.report.files import write_folder, write_text
from panelcp.report.markup import html_list
from panelcp.report.page_style import STYLE, screen_only_dark
from panelcp.report.summary import summary_json
from panelcp.report.tables import pressures_csv
from panelcp.report.writing import run_log, write_network_tables


def write_cooling(
    contents: RunContents, results: Path, progress: Callable[[str], None] = lambda text: None
) -> Path:
    """Write the folder cool-<hash>.

    Parameters
    ----------
    contents : RunContents with a cooling network
    results : folder of all runs
    progress : called with a short text before each step

    Returns
    -------
    Path of the folder: cooling.html, cooling.csv, pressures.csv, summary.json, run.log
    """

    def fill(folder: Path):
        progress("writing page and tables")
        write_network_tables(contents, folder)
        write_text(folder / "pressures.csv", pressures_csv(contents))
        write_text(folder / "summary.json", summary_json(contents))
        write_text(folder / "cooling.html", cooling_page(contents))
        write_text(folder / "run.log", run_log(contents))

    return write_folder(Path(results), f"cool-{contents.input_hash}", fill)


def cooling_page(contents: RunContents) -> str:
    """A self-contained page about the cooling network; every text of the case is escaped."""
    name = escape(contents.name)
    warnings = "".join(
        f'<p class="notice">Warning: {escape(text)}.</p>' for text in contents.warnings
    )
    question = f"<p>{escape(contents.question)}</p>" if contents.question else ""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>{name}: cooling network</title>'
        f"<style>{screen_only_dark(STYLE + COOLING_STYLE)}</style></head>"
        f"<body><header><h1>{name}</h1>{question}"
        f'<p class="notice">{escape(CAUTIONS[0])} {escape(CAUTIONS[3])}</p>{warnings}'
        f'<p class="soft">panelcp {escape(contents.version)}, inputs {contents.input_hash}</p>'
        f"</header><main><section>{cooling_section(contents.cooling)}</section>"
        f"<section><h2>Not modelled</h2>{html_list(contents.not_modelled)}</section>"
        f"<section><h2>Cautions</h2>{html_list(CAUTIONS)}</section></main></body></html>\n"
    )
