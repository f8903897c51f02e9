"""report.pdf: all registered parts, laid out and written beside, then put in its place."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from panelcp.report.contents import AirContents, RunContents
from panelcp.report.cooling_tables import cooling_summary
from panelcp.report.paper import pages as _standard  # noqa: F401  (registers the parts)
from panelcp.report.paper.blocks import Block, Heading
from panelcp.report.paper.drawing import pdf_metadata, write_pages
from panelcp.report.paper.laying import Foot, LaidPage, laid_out
from panelcp.report.paper.letters import clean
from panelcp.report.paper.pixels import paper_pictures
from panelcp.report.paper.registry import PaperPage, PaperParts, Pictures, registered
from panelcp.report.revisions import Revision
from panelcp.report.summary import air_summary, as_json, summary_json
from panelcp.report.template_pages import paper_size


def write_report(
    contents: AirContents,
    path: str | Path,
    maps: Pictures = (),
    pictures: Pictures = (),
    revision: Revision | None = None,
    paper: str | None = None,
    summary: str | None = None,
) -> Path:
    """Write the report on paper, for an inspector, an adviser or the build log.

    The bytes depend on the arguments alone.

    Parameters
    ----------
    contents : RunContents, or AirContents of the pressures alone: what is not there is left out
    path : of the PDF; written beside, then renamed
    maps : (condition name, caption, path of the PNG or pixels) of the map sheets, as
        `write_map_sheets` gives them
    pictures : (title, caption, path or pixels) of vent maps, section plots and others
    revision : what `revision_of` gives; None is the first
    paper : "A4" or "Letter"; None takes that of the contents
    summary : what `summary_json` gives for the contents, where it is at hand; `air_summary` as
        JSON for the pressures alone

    Returns
    -------
    Path of the PDF

    Raises
    ------
    CaseError : a paper that is not known
    OSError : the file cannot be written, or a picture cannot be read
    """
    path, paper = Path(path), contents.paper if paper is None else paper
    paper_size(paper)
    revision = Revision() if revision is None else revision
    laid = report_pages(contents, maps, pictures, revision, paper, summary)
    metadata = pdf_metadata(
        f"{clean(contents.name)}: cooling air, report",
        clean(f"Revision {revision.number}, inputs {contents.input_hash}. {contents.question}"),
        f"panelcp {contents.version}",
        contents.date,
    )
    handle, draft = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    os.close(handle)
    try:
        write_pages(laid, Path(draft), metadata)
        os.chmod(draft, 0o644)
        os.replace(draft, path)
    finally:
        with suppress(FileNotFoundError):
            Path(draft).unlink()
    return path


def report_pages(
    contents: AirContents,
    maps: Pictures = (),
    pictures: Pictures = (),
    revision: Revision | None = None,
    paper: str = "A4",
    summary: str | None = None,
) -> tuple[LaidPage, ...]:
    """All pages of the report with everything in its place; see `write_report`."""
    revision = Revision() if revision is None else revision
    told = json.loads(_summary(contents) if summary is None else summary)
    ready = paper_pictures([*maps, *pictures])
    parts = PaperParts(
        contents, told, tuple(ready[: len(maps)]), tuple(ready[len(maps) :]), revision
    )
    day = f", {contents.date}" if contents.date else ""
    foot = Foot(
        contents.name,
        f"revision {revision.number}{day}",
        f"inputs {contents.input_hash}, panelcp {contents.version}",
    )
    return laid_out(_parts(registered(), parts), paper, foot)


def _summary(contents: AirContents) -> str:
    """All numbers that are there, as JSON."""
    ranked = contents.ranking is not None and contents.ranking.n_pairs > 0
    if ranked and isinstance(contents, RunContents):
        return summary_json(contents)
    found = air_summary(contents)
    cooling = getattr(contents, "cooling", None)
    if cooling is not None:
        found |= {"not_modelled": list(contents.not_modelled), "cooling": cooling_summary(cooling)}
    return as_json(found)


def _parts(
    pages: Sequence[PaperPage], parts: PaperParts
) -> list[tuple[str, bool, bool, list[Block]]]:
    """The parts that have something to show, with their headings."""
    found = []
    for page in pages:
        blocks = list(page.make(parts))
        if not blocks:
            continue
        if page.title:
            blocks.insert(0, Heading(page.title))
        found.append((page.key, page.lying, page.begins_page, blocks))
    return found
