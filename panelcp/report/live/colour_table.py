"""The colour tables of the pressure maps as text for the browser."""

from __future__ import annotations

import base64
import json

import numpy as np

from panelcp.report.colours import grey_print_colours, pressure_colours


def colour_table(grey_print: bool = False) -> np.ndarray:
    """Colours of the static maps, rounded as a screen shows them.

    Parameters
    ----------
    grey_print : bool, the one-hue map for printers without colour

    Returns
    -------
    (N_COLOURS, 3) uint8, red, green, blue, from -limit to +limit

    Examples
    --------
    >>> colour_table().shape
    (511, 3)
    """
    colours = grey_print_colours() if grey_print else pressure_colours()
    return np.rint(np.asarray(colours.colors) * 255.0).astype(np.uint8)


def colour_table_script() -> str:
    """Script that puts both tables, base64 of their bytes, into `Panelcp.colourTables`."""
    tables = {
        name: base64.b64encode(colour_table(grey).tobytes()).decode("ascii")
        for name, grey in (("pressure", False), ("grey", True))
    }
    lines = (
        "globalThis.Panelcp = globalThis.Panelcp || {};",
        f"Panelcp.colourTables = {json.dumps(tables)};",
    )
    return "\n".join(lines) + "\n"
