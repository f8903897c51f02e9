"""What all tables of a page need, added to the finished HTML in one pass.

Captions, made from the heading above and shown to screen readers only; scopes of headings; and the
labels that stand beside the cells on narrow screens, written once per table instead of once per
cell.
"""

from __future__ import annotations

import re
from html import unescape

NARROW = 640
"""px: up to this width, tables of class "cards" are shown cell by cell."""

_PART = re.compile(
    r"<(h[2-4]|summary)\b[^>]*>(?P<title>.*?)</\1>|<table\b(?P<more>[^>]*)>(?P<table>.*?)</table>",
    re.DOTALL,
)
_ROW = re.compile(r"<tr\b[^>]*>.*?</tr>", re.DOTALL)
_CELL = re.compile(r"<t[dh]\b([^>]*)>")
_LABEL = re.compile(r' data-label="([^"]*)"')
_OTHER_LABEL = re.compile(r' data-label-cockpit="([^"]*)"')
_FIRST = re.compile(r"<tr><td\b([^>]*)>(.*?)</td>", re.DOTALL)
_HEAD = re.compile(r"<th(?=[ >])")


def finished_tables(html: str) -> tuple[str, str]:
    """Tables with captions, scopes and labels.

    Parameters
    ----------
    html : well formed, with the tables of `panelcp.report.markup`, none in another

    Returns
    -------
    html, and the style of the labels, to stand behind that of the page

    Examples
    --------
    >>> finished_tables('<h3>Air</h3><table class="wide"><tr><th>A</th></tr></table>')[0]
    '<h3>Air</h3><table class="wide"><caption>Air</caption><tr><th scope="col">A</th></tr></table>'
    """
    titles: list[str] = [""]
    rules: dict[tuple, int] = {}

    def changed(found: re.Match) -> str:
        if found["table"] is None:
            titles[0] = re.sub(r"<[^>]*>", "", found["title"])
            return found.group()
        return _finished(found["more"], found["table"], titles[0], rules)

    content = _PART.sub(changed, html)
    return content, "".join(_style(labels, number) for labels, number in rules.items())


def _finished(more: str, inside: str, title: str, rules) -> str:
    labels = _labels(inside)
    if labels:
        number = rules.setdefault(labels, len(rules))
        more = re.sub(r'class="([^"]*)"', rf'class="\1 h{number}"', more)
        inside = _OTHER_LABEL.sub("", _LABEL.sub("", inside))
    inside = _HEAD.sub('<th scope="col"', inside)
    if "wide" in more and "cards" not in more:
        inside = _FIRST.sub(r'<tr><th scope="row"\1>\2</th>', inside)
    caption = f"<caption>{title}</caption>" if title else ""
    return f"<table{more}>{caption}{inside}</table>"


def _labels(inside: str) -> tuple[tuple[int, str, str], ...]:
    """Number of the column, label in metric and in cockpit units, from the first row with some."""
    for row in _ROW.findall(inside):
        found = []
        for number, marks in enumerate(_CELL.findall(row), start=1):
            label, other = _LABEL.search(marks), _OTHER_LABEL.search(marks)
            if label is not None:
                found.append((number, label[1], other[1] if other else ""))
        if found:
            return tuple(found)
    return ()


def _style(labels, number: int) -> str:
    rules = []
    for column, label, other in labels:
        cell = f".h{number} td:nth-child({column}):not([colspan])::before"
        rules.append(f'{cell}{{content:"{_css_text(label)}"}}')
        if other:
            rules.append(f'[data-units="cockpit"] {cell}{{content:"{_css_text(other)}"}}')
    return f"@media (max-width:{NARROW}px){{{''.join(rules)}}}\n"


def _css_text(label: str) -> str:
    """Text inside a quoted CSS string within a style element; whatever is special is a number.

    Examples
    --------
    >>> _css_text("Air, kg/s"), _css_text("&lt;/style&gt;&quot;")
    ('Air, kg/s', '\\\\3c /style\\\\3e \\\\22 ')
    """
    return re.sub(r"[^\w ,.()%/°²³·±→←\u2212\u00a0-]", _as_number, unescape(label))


def _as_number(found: re.Match) -> str:
    return f"\\{ord(found.group()):x} "
