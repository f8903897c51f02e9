"""Rows, tables and lists of the pages; every text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape


def html_row(cells, tag: str = "td", titles=()) -> str:
    """Row of (text, style) cells; titles stand beside the cells on narrow screens."""
    parts = []
    for number, (text, style) in enumerate(cells):
        marks = f' class="{style}"' if style else ""
        if titles:
            marks += f' data-label="{escape(titles[number][0])}"'
        parts.append(f"<{tag}{marks}>{escape(text)}</{tag}>")
    return "<tr>" + "".join(parts) + "</tr>"


def html_table(head: str, rows: Sequence[str], style: str = "wide") -> str:
    """Table of rows that are made already; `style` is its class."""
    return (
        f'<div class="scroll"><table class="{style}"><thead>{head}</thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def html_list(lines: Sequence[str]) -> str:
    """List with a dot before every line."""
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"
