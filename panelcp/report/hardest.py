"""The condition that is shown where only one can be."""

from __future__ import annotations

import numpy as np

from panelcp.report.contents import AirContents, RunContents
from panelcp.report.cooling_section import hardest
from panelcp.report.cooling_tables import readable


def hardest_condition(contents: AirContents) -> int | None:
    """Number of the condition in which least is left.

    Parameters
    ----------
    contents : AirContents or RunContents

    Returns
    -------
    int, or None where no air moves in any condition: where the cooling network has its least
    margin, else where the best pair has its least available over needed pressure, else the first
    that decides; always one with moving air
    """
    flow = contents.flow
    moving = np.flatnonzero(flow.moving).tolist()
    wanted: list[int | None] = []
    if isinstance(contents, RunContents) and contents.cooling is not None:
        wanted.append(hardest(readable(contents.cooling)))
    if contents.ranking is not None and contents.ranking.n_pairs:
        wanted.append(int(contents.ranking.limiting[0]))
    wanted += [c for c in moving if flow.conditions[c].decides] + moving
    return next((c for c in wanted if c in moving), None)
