"""All result files of one run, written together."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from panelcp.report.beside import Beside, beside
from panelcp.report.combinations_section import combination_lines
from panelcp.report.contents import AirContents, RunContents
from panelcp.report.cooling_section import cooling_log
from panelcp.report.cooling_tables import cooling_csv
from panelcp.report.curves import write_curves
from panelcp.report.exports import write_glb, write_vtu
from panelcp.report.files import write_folder, write_text
from panelcp.report.margin_section import margin_csv
from panelcp.report.page import report_page
from panelcp.report.paper.writing import write_report
from panelcp.report.revisions import Revision, record_revision, revision_of
from panelcp.report.section_sheets import write_section_sheets
from panelcp.report.sheet_drawing import usual_processes
from panelcp.report.sheets import map_markers, shown_panels, write_map_sheets
from panelcp.report.summary import summary_json
from panelcp.report.summary_schema import schema_json
from panelcp.report.tables import effects_csv, pressures_csv, ranking_csv, spoilers_csv
from panelcp.report.vent_map_sheet import write_vent_map_sheet


def write_results(
    contents: RunContents, results: Path, progress: Callable[[str], None] = lambda text: None
) -> Path:
    """Write the folder run-<hash>, point latest.json at it and put it into revisions.json.

    Parameters
    ----------
    contents : RunContents
    results : folder of all runs
    progress : called with a short text before each step

    Returns
    -------
    Path of the run's folder: report.html, report.pdf, maps/*.png, sections/*, curves/*.png,
    vent-map-exit.png, vent-map-inlet.png, surface.vtu, surface.glb, ranking.csv, pressures.csv,
    cooling.csv and ranking-by-margin.csv (with a cooling network), effects.csv (with propeller,
    wing or ground), spoilers.csv, summary.json with summary.schema.json, run.log
    """
    results = Path(results)
    revision = revision_of(results, contents)

    def fill(folder: Path):
        with beside(usual_processes(int(contents.flow.moving.sum())) > 1) as other:
            _fill(contents, folder, revision, progress, other)

    folder = write_folder(results, f"run-{contents.input_hash}", fill)
    record_revision(results, contents)
    return folder


def _fill(contents: RunContents, folder: Path, revision: Revision, progress, other: Beside):
    """All files of the run; what takes long is shared with another process."""
    drawn = other.start(_write_more_pictures, contents, folder)
    progress("drawing pressure maps")
    maps = write_map_sheets(contents, folder / "maps", progress)
    progress("drawing cuts and curves")
    cuts = write_section_sheets(contents, folder / "sections")
    progress("writing tables and surface")
    summary = _write_tables(contents, folder)
    write_surface(contents, folder)
    vent_maps, curves = drawn.result()
    progress("writing report.html and report.pdf")
    # the caption of a cut stands in its picture
    pictures = [*vent_maps, *((title, "", path) for title, _, path in cuts), *curves]
    paper = other.start(_write_paper, contents, folder, maps, pictures, revision, summary)
    page = report_page(contents, maps, curves, vent_maps, cuts)
    write_text(folder / "report.html", page)
    paper.result()
    write_text(folder / "run.log", run_log(contents, revision))


def _write_more_pictures(contents: RunContents, folder: Path) -> tuple[list, list]:
    """Vent maps and curves: (title, caption, path) of each."""
    shutil.rmtree(folder / "curves", ignore_errors=True)  # of a process that did not finish
    curves = write_curves(contents, folder / "curves") if contents.curves else []
    return _write_vent_maps(contents, folder), curves


def _write_paper(contents: RunContents, folder: Path, maps, pictures, revision, summary: str):
    path = folder / "report.pdf"
    write_report(contents, path, maps, pictures, revision, summary=summary)


def _write_tables(contents: RunContents, folder: Path) -> str:
    """All CSV, and summary.json with its schema; the text of the summary."""
    write_text(folder / "ranking.csv", ranking_csv(contents))
    write_text(folder / "pressures.csv", pressures_csv(contents))
    if contents.effects is not None:
        write_text(folder / "effects.csv", effects_csv(contents))
    write_network_tables(contents, folder)
    if contents.spoilers:
        write_text(folder / "spoilers.csv", spoilers_csv(contents))
    summary = summary_json(contents)
    write_text(folder / "summary.json", summary)
    write_text(folder / "summary.schema.json", schema_json())
    return summary


def write_surface(contents: AirContents, folder: Path):
    """surface.vtu, and surface.glb where any air moves."""
    write_vtu(contents, folder / "surface.vtu")
    if contents.flow.moving.any():
        write_glb(contents, folder / "surface.glb")


def write_network_tables(contents: RunContents, folder: Path):
    """cooling.csv and ranking-by-margin.csv, where the case has a cooling network."""
    if contents.cooling is not None:
        write_text(folder / "cooling.csv", cooling_csv(contents.cooling))
    if contents.margins:
        write_text(folder / "ranking-by-margin.csv", margin_csv(contents.margins))


def _write_vent_maps(contents: RunContents, folder: Path):
    conditions = [condition.name for condition in contents.flow.conditions]
    return write_vent_map_sheet(
        contents.flow.surface,
        contents.vent_maps,
        map_markers(contents),
        folder,
        conditions=conditions,
        views=contents.views,
        shown=shown_panels(contents),
        name=contents.name,
        trace=contents.trace,
        same_limits=contents.same_limits,
        grey_print=contents.grey_print,
        paper=contents.paper,
    )


def run_log(contents: AirContents, revision: Revision | None = None) -> str:
    """What was done, line by line."""
    lines = [f"panelcp {contents.version}, inputs {contents.input_hash}", f"case: {contents.name}"]
    if revision is not None:
        lines.append(f"report: revision {revision.number}")
        lines += [f"note: {revision.note}"] if revision.note else []
    lines += [f"notice: {notice}" for notice in contents.notices]
    lines += contents.log
    lines += _more_log(contents) if isinstance(contents, RunContents) else []
    lines += [f"warning: {warning}" for warning in contents.warnings]
    return "\n".join(lines) + "\n"


def _more_log(contents: RunContents) -> list[str]:
    """What a ranking adds to the log."""
    lines = []
    if contents.combinations is not None:
        lines += combination_lines(contents.combinations, contents.flow.conditions)
    if contents.cooling is not None:
        lines += cooling_log(contents.cooling)
    return lines + [f"note: {note}" for note in contents.margin_notes]
