"""The finished page written with fewer letters; a browser makes the same of it.

What HTML does not need is left out: quotes around simple values, end tags of cells, rows and list
items that the next tag implies, and zeros behind the decimal point of coordinates. A number that
fills its cell has its cockpit reading in the cell's own ``data-q``; see `live/units.js`.
"""

from __future__ import annotations

import re

from panelcp.report.live.script_text import lean_script

_PIECE = re.compile(
    r"(<(?:script|style|textarea|pre)\b.*?</(?:script|style|textarea|pre)>)", re.DOTALL
)
_TAG = re.compile(r"<[a-zA-Z][^>]*>")
_VALUE = re.compile(r'="([\w.,:#%()+\u2212-]+)"(?=[ >])')
_CELL = re.compile(r'(<t[dh]\b[^>]*)><data value="([^"]*)">([^<]*)</data>(?=</t[dh]>)')
_IN_DRAWING = '<tspan class="q" data-cockpit='
_IMPLIED = re.compile(
    r"</t[dh]>(?=<t[dh][ >]|<tr[ >]|</tr>|</tbody>|</thead>|</table>)"
    r"|</tr>(?=<tr[ >]|</tbody>|</thead>|</table>)"
    r"|</li>(?=<li[ >]|</ul>|</ol>)"
)
_COORDINATES = re.compile(r' (?:[dxy]|r?[xy]|[xy][12]|c[xy]|width|height|points)="[^"]*"')
_ZERO = re.compile(r"(\d)\.0+(?=[^\d]|$)")


def lean_html(html: str) -> str:
    """HTML of a body with what a browser adds itself left out.

    Parameters
    ----------
    html : well formed, every text escaped

    Returns
    -------
    str; scripts, styles and preformatted texts are left as they are

    Examples
    --------
    >>> lean_html('<table><tr><td class="t">a</td><td>b</td></tr></table>')
    '<table><tr><td class=t>a<td>b</table>'
    >>> lean_html('<rect x="63.0" y="1.5" width="10"/><p title="two words">1.0</p>')
    '<rect x=63 y=1.5 width="10"/><p title="two words">1.0</p>'
    >>> lean_html('<table><tr><td><data value="0.49">123</data></td></tr></table>')
    '<table><tr><td data-q=0.49>123</table>'
    """
    pieces = _PIECE.split(html)
    pieces[::2] = [_lean_piece(piece) for piece in pieces[::2]]
    return "".join(pieces)


def _lean_piece(html: str) -> str:
    html = _CELL.sub(r'\1 data-q="\2">\3', html).replace(_IN_DRAWING, "<tspan data-q=")
    return _IMPLIED.sub("", _TAG.sub(_lean_tag, html))


def _lean_tag(found: re.Match) -> str:
    tag = _COORDINATES.sub(lambda one: _ZERO.sub(r"\1", one.group()), found.group())
    return _VALUE.sub(r"=\1", tag)


def lean_scripts(html: str) -> str:
    """Script elements without indentation, empty lines and lines that are comments.

    Examples
    --------
    >>> lean_scripts("<script>// what it does\\n  run();\\n\\n  // end\\n</script>")
    '<script>run();</script>'
    """
    return re.sub(
        r"<script>(.*?)</script>",
        lambda found: f"<script>{lean_script(found.group(1))}</script>",
        html,
        flags=re.DOTALL,
    )
