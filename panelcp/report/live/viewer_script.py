"""The surface viewer as one script to be put into a page."""

from __future__ import annotations

from pathlib import Path

from panelcp.report.live.colour_table import colour_table_script

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
    folder = Path(__file__).parent
    parts = [(folder / name).read_text(encoding="utf-8") for name in VIEWER_FILES]
    return "\n".join([colour_table_script(), *parts])
