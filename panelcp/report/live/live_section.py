"""The section of the live page: its place in the page, its style, its scripts and data.

The scripts build everything inside the section. Without JavaScript a still picture and a few words
stay. Later parts of the page add to the live picture through `Panelcp.live.onReady`; see the head
of app.js.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from panelcp.flow.skin_layers import POSSIBLE, SEPARATED_STATES
from panelcp.report.colours import pressure_scale
from panelcp.report.contents import RunContents, in_pascal
from panelcp.report.hatching import MAY_SEPARATE, SEPARATED
from panelcp.report.live.block import block_script
from panelcp.report.live.block_coding import packed_block, packed_bytes
from panelcp.report.live.script_text import joined_scripts, lean_script
from panelcp.report.live.traces import exit_traces
from panelcp.report.live.viewer_script import viewer_script
from panelcp.report.sheets import shown_panels
from panelcp.surface.opening import KINDS, MAX_DISTANCE, SHAPES

APP_FILES = (
    "app_units.js",
    "app_model.js",
    "app_picture.js",
    "app_readout.js",
    "app_controls.js",
    "app_bars.js",
    "app_toml.js",
    "app_opening.js",
    "app.js",
)
"""Files beside this one, in the order in which they build on each other."""

STARTERS = ("unpacking.js", "starting.js")
"""Files beside this one that unpack the others and run them."""

RARE_SHARE = 0.005
"""Part of the area shown whose pressures may lie beyond the ends of the colours."""

LEAST_CP, LEAST_PRESSURE = 0.5, 1.0
"""Smallest ends of the colours, Cp and Pa."""

LIVE_STYLE = (Path(__file__).parent / "app.css").read_text(encoding="utf-8")
"""Style of the section; it uses the colours of the page."""

_WORDS = (
    "This page can turn the body, read the pressure at any point and move an opening over the "
    "skin, but for that it needs JavaScript. The maps and tables of the page show the same results."
)


def live_section(contents: RunContents, block: bytes, picture: str = "") -> str:
    """HTML of the section, without its heading.

    Parameters
    ----------
    contents : RunContents
    block : of the run, see `block_of_run`
    picture : HTML of a still picture, shown without JavaScript and on paper

    Returns
    -------
    str
    """
    return (
        f'<div class="live" id="live-root"><noscript><p>{_WORDS}</p></noscript>'
        f'<div class="live-still">{picture}</div>'
        '<div class="live-app" id="live-app"></div></div>'
    )


def live_script(contents: RunContents, block: bytes) -> str:
    """HTML of the data and scripts, for the end of the body.

    Parameters
    ----------
    contents : RunContents
    block : of the run, see `block_of_run`

    Returns
    -------
    str
    """
    settings = json.dumps(live_settings(contents), ensure_ascii=False, separators=(",", ":"))
    return (
        f'<script type="text/plain" id="live-data">{packed_block(block)}</script>'
        f'<script type="text/plain" id="live-settings">{packed_bytes(settings.encode())}</script>'
        f'<script type="text/plain" id="live-code">{_packed_code()}</script>'
        f"<script>{joined_scripts(STARTERS)}</script>"
    )


@cache
def _packed_code() -> str:
    """The scripts that build the picture, deflated: in clear they are twice as long."""
    code = f"{viewer_script()}\n{block_script()}\n{app_script()}"
    return packed_bytes(lean_script(code).encode())


@cache
def app_script() -> str:
    """One classic script, the parts of the live page; safe inside a `<script>` element.

    Examples
    --------
    >>> "Panelcp.live" in app_script(), "</script" in app_script()
    (True, False)
    """
    return joined_scripts(APP_FILES)


def live_settings(contents: RunContents) -> dict[str, Any]:
    """What the scripts need besides the block: the part that is shown, ends of the colours, words.

    Parameters
    ----------
    contents : RunContents

    Returns
    -------
    dict of plain values: `focus` (box, m), `cp` (greatest value and step of the common scale),
    `pascal` (whether a condition is shown in Pa), `hatch` (state of the air -> hatching), `kinds`
    and `shapes` of openings, `farthest` (m, of a centre from the skin), `traces` of exit air
    """
    surface, shown = contents.flow.surface, shown_panels(contents)
    corners = surface.corners[shown].reshape(-1, 3)
    pascal = [bool(in_pascal(condition)) for condition in contents.flow.conditions]
    scale = pressure_scale(_usual_cp(contents, shown, pascal))
    hatch = {str(state): SEPARATED for state in SEPARATED_STATES}
    return {
        "focus": {"low": corners.min(axis=0).tolist(), "high": corners.max(axis=0).tolist()},
        "cp": {"limit": float(scale.limit), "step": float(scale.step)},
        "pascal": pascal,
        "hatch": {**hatch, str(POSSIBLE): MAY_SEPARATE},
        "kinds": list(KINDS),
        "shapes": list(SHAPES),
        "farthest": MAX_DISTANCE,
        "traces": exit_traces(contents),
    }


def _usual_cp(contents: RunContents, shown, pascal) -> float:
    """Amount of Cp that all but a small part of the area shown stays within, in flight."""
    flow, surface = contents.flow, contents.flow.surface
    flown = [c for c, absolute in enumerate(pascal) if not absolute]
    if not flown:
        return LEAST_CP
    gauge = (flow.gauge_pressure + flow.separation_change)[flown][:, shown]
    size = np.abs(gauge / flow.dynamic_pressure[flown, None]).ravel()
    order = np.argsort(size)
    share = np.cumsum(np.tile(surface.areas[shown], len(flown))[order])
    usual = size[order][np.searchsorted(share, (1.0 - RARE_SHARE) * share[-1])]
    return max(LEAST_CP, float(usual))
