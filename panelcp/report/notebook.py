"""Runs, comparisons and templates as HTML for notebooks: short, with one picture and links."""

from __future__ import annotations

import os
from base64 import b64encode
from collections.abc import Sequence
from html import escape
from pathlib import Path
from urllib.parse import quote

import numpy as np

from panelcp.display import (
    Column,
    Judged,
    banded,
    block,
    caution,
    line,
    lines,
    percent,
    place,
    ratio_word,
    table,
    words,
)
from panelcp.report.answer_section import deciding_lines, worst_first
from panelcp.report.contents import CAUTIONS, AirContents, condition_line, kept
from panelcp.report.cooling_section import cooling_lines
from panelcp.report.cooling_tables import readable
from panelcp.report.hardest import hardest_condition
from panelcp.report.page_pictures import PagePictures
from panelcp.report.side_by_side import SideBySide, cautions_of, side_by_side_answer
from panelcp.report.template import Template, heading
from panelcp.report.template import facts as template_facts

ROOM = 110_000
"""Bytes for the picture, so that a notebook with a few runs can still be sent."""

DRAWING_ROOM = 150_000
"""Bytes of a drawing of a template that is still shown."""

PAGES = (
    ("report.html", "the page of this run, with the live picture"),
    ("report.pdf", "the report on paper"),
    ("cooling.html", "the page of the cooling network"),
    ("pressures.html", "the page of the pressures"),
    ("side-by-side.html", "the page of the comparison"),
)
_HEAD = "font-size:125%;font-weight:bold;margin:.3em 0;"
_PICTURE = "max-width:100%;width:720px;background:#ffffff;"


def run_html(folder: Path, contents: AirContents) -> str:
    """HTML of a run: the answer, warnings, the map of the hardest condition, tables, links.

    Parameters
    ----------
    folder : of the run
    contents : RunContents, or AirContents of a run without ranking

    Returns
    -------
    str
    """
    cooling = getattr(contents, "cooling", None)
    network_alone = cooling is not None and Path(folder).name.startswith("cool-")
    ranked = contents.ranking is not None and not network_alone
    names = [condition.name for condition in contents.flow.conditions]
    parts = [_head(contents.name, contents.question)]
    if ranked:
        parts.append(_answer(deciding_lines(contents)))
    elif network_alone:
        parts.append(_answer([("", text) for text in cooling_lines(cooling)]))
    parts += [lines([f"Warning: {text}." for text in worst_first(contents.warnings)])]
    parts.append(_map_of(Path(folder), contents, hardest_condition(contents)))
    parts.append(contents.ranking.short_table(names, contents.best) if ranked else "")
    if cooling is not None:
        parts.append(readable(cooling).margin_table())
    elif not ranked:
        parts.append(contents.flow._repr_html_())
    parts += [_links(Path(folder)), caution(CAUTIONS[0]), caution(CAUTIONS[3])]
    return block(*parts)


def _head(name: str, question: str) -> str:
    return f'<p style="{_HEAD}">{escape(name)}</p>{line(question)}'


def _answer(found: Sequence[tuple[str, str]]) -> str:
    rows = "".join(
        f"<li>{f'<b>{escape(lead)}</b> ' if lead else ''}{escape(kept(text))}</li>"
        for lead, text in found
    )
    return f'<ol style="max-width:60em;padding-left:1.5em;">{rows}</ol>'


def _map_of(folder: Path, contents: AirContents, c: int | None) -> str:
    """The sheet of a condition made small; "" where there is none."""
    flow = contents.flow
    moving = np.flatnonzero(flow.moving).tolist()
    if c is None and moving:
        c = moving[0]
    if c not in moving:
        return ""
    sheets = sorted((folder / "maps").glob(f"{moving.index(c) + 1:02d}-*.png"))
    if not sheets:
        return ""
    pictures = PagePictures()
    source = pictures.filled(pictures.source(sheets[0]), ROOM)
    words_below = condition_line(flow.conditions[c], flow.mean_rise[c], flow.predicted[c])
    spoken = escape(f"Map of the pressure over the skin in {flow.conditions[c].name}")
    return (
        f'<p style="margin:.4em 0 0;"><img src="{source}" alt="{spoken}" style="{_PICTURE}"></p>'
        f"{line(f'{words_below}. The sharp sheets of all conditions lie in maps/.')}"
    )


def _links(folder: Path) -> str:
    """Links to the pages that are there, and where the folder is."""
    found = [
        f'<a href="{escape(_address(folder / name))}">{name}</a> ({escape(what)})'
        for name, what in PAGES
        if (folder / name).is_file()
    ]
    text = f"{'; '.join(found)}; " if found else ""
    return f'<p style="margin:.4em 0;">{text}all files in {escape(str(folder))}</p>'


def _address(path: Path) -> str:
    """Address of a file as seen from the notebook, which lies where the program runs."""
    try:
        return quote(Path(os.path.relpath(path)).as_posix())
    except ValueError:  # another drive
        return path.resolve().as_uri()


def comparison_html(folder: Path, sides: SideBySide) -> str:
    """HTML of several cases side by side.

    Parameters
    ----------
    folder : with the results
    sides : SideBySide
    """
    columns = [*words("Case", "Name", "Least available / needed"), Column("Enough, probability")]
    columns += [Column("Best of all, probability"), *words("Exit", "Place", "Inlet", "Decided by")]
    rows = []
    for k in sides.order:
        ranking, ratio, deviation = sides.contents[k].ranking, sides.least[k], sides.deviation[k]
        exit_ = ranking.exit(0)
        rows.append([
            *(sides.letters[k], sides.names[k]),
            Judged(banded(ratio, deviation, 2), ratio_word(ratio, deviation)),
            *(percent(sides.enough[k]), percent(sides.best[k]), exit_.name),
            *(f"{exit_.side}, {place(exit_.centre)}", ranking.inlet(0).name, sides.hardest[k]),
        ])  # fmt: skip
    return block(
        _head("Side by side", ""),
        _answer([("", text) for text in side_by_side_answer(sides)]),
        table("Best pair of every case, in the same worlds", columns, rows),
        lines([f"{kind}: {text}." for kind, text in cautions_of(sides)]),
        _links(Path(folder)),
        caution(CAUTIONS[0]),
    )


def template_html(template: Template, files: Sequence[Path]) -> str:
    """HTML of a marking template: what to know, and the outline where it was written.

    Parameters
    ----------
    template : Template
    files : that were written
    """
    drawn = ""
    for path in map(Path, files):
        if path.suffix == ".svg" and path.is_file() and path.stat().st_size <= DRAWING_ROOM:
            text = b64encode(path.read_bytes()).decode("ascii")
            drawn = (
                f'<p><img src="data:image/svg+xml;base64,{text}" '
                f'alt="{escape(f"Outline of {template.name}, not to scale here")}" '
                f'style="max-width:100%;width:480px;background:#ffffff;"></p>'
            )
    links = "; ".join(
        f'<a href="{escape(_address(Path(path)))}">{escape(Path(path).name)}</a>' for path in files
    )
    title, *others = heading(template)
    found = [*others, *template_facts(template)]
    return block(
        _head(title, ""),
        lines(found, shown=len(found)),
        drawn,
        f'<p style="margin:.4em 0;">{links}. Print at 100 %; only paper is to scale.</p>',
        *(caution(text) for text in template.warnings),
        caution(CAUTIONS[2]),
    )
