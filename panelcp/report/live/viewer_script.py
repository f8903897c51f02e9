"""The surface viewer as one script to be put into a page."""

from __future__ import annotations

from panelcp.report.live.colour_table import colour_table_script
from panelcp.report.live.script_text import joined_scripts

VIEWER_FILES = (
    "colours.js",
    "geometry.js",
    "picking.js",
    "camera.js",
    "controls.js",
    "gl_painter.js",
    "canvas_painter.js",
    "labels.js",
    "viewer.js",
)
"""Files beside this one, in the order in which they build on each other."""


def viewer_script() -> str:
    """One classic script: colour tables and viewer; safe inside a `<script>` element.

    Returns
    -------
    str, which defines the global object `Panelcp`; how to use it stands at the top of viewer.js

    Examples
    --------
    >>> script = viewer_script()
    >>> "Panelcp.Viewer" in script, "</script" in script
    (True, False)
    """
    return f"{colour_table_script()}\n{joined_scripts(VIEWER_FILES)}"
