"""Where the air of exits goes along the skin, as lines for the live page."""

from __future__ import annotations

from typing import Any

import numpy as np

from panelcp.flow.streamlines import skin_velocity, trace
from panelcp.placement.exit_air import LONGEST
from panelcp.report.contents import RunContents
from panelcp.surface.interpolation import corner_operator

EVERY = 0.04
"""m, at most, between the points of a line."""


def exit_traces(contents: RunContents) -> list[dict[str, Any]]:
    """The line from the middle of every exit of the case and of the short list.

    Parameters
    ----------
    contents : RunContents

    Returns
    -------
    list of plain records, one for each moving condition: `condition` (its number) and `lines`, of
    `name` (of the exit) and `points` (x, y, z in whole millimetres, first the start, then steps)

    Notes
    -----
    As in `panelcp.placement.exit_air`: the air is taken to stay at the skin. Only the middle line
    is kept, for the eye; what a widening plume reaches is in the hits.
    """
    flow, exits = contents.flow, _exits(contents)
    if not exits:
        return []
    operator = corner_operator(flow.surface)
    starts = [_middle(outlet) for outlet in exits]
    panels, points = [panel for panel, _ in starts], np.array([point for _, point in starts])
    records = []
    for c in np.flatnonzero(flow.moving):
        velocity = skin_velocity(flow.surface, flow.velocity[c], operator)
        lines = trace(velocity, panels, points, longest=LONGEST)
        rows = [
            {"name": outlet.name, "points": _steps(lines.points[k], lines.distance[k])}
            for k, outlet in enumerate(exits)
        ]
        records.append({"condition": int(c), "lines": [row for row in rows if row["points"]]})
    return records


def _exits(contents: RunContents) -> list:
    """Exits of the case, then those of the short list, each name once."""
    ranking = contents.ranking
    named = [o for o in contents.openings.openings if o.use in ("exit", "both")]
    named += [ranking.exit(pair) for pair in contents.short_list]
    return list({opening.name: opening for opening in named}.values())


def _middle(outlet) -> tuple[int, np.ndarray]:
    """Panel and place of the sample nearest to the middle."""
    offset = np.linalg.norm(outlet.sample_points - outlet.centre, axis=1)
    nearest = int(np.argmin(offset))
    return int(outlet.sample_panels[nearest]), outlet.sample_points[nearest]


def _steps(points, distance) -> list[int]:
    """Places of one line, equally far apart, as changes of their steps; empty for no line."""
    known = ~np.isnan(distance)
    points, distance = points[known], distance[known]
    if len(points) < 2:
        return []
    even = np.linspace(0.0, distance[-1], 1 + max(int(np.ceil(distance[-1] / EVERY)), 1))
    places = np.column_stack([np.interp(even, distance, values) for values in points.T])
    whole = np.round(1e3 * places).astype(int)
    nowhere = np.zeros((1, 3), dtype=int)
    steps = np.diff(whole, axis=0, prepend=nowhere)
    return np.diff(steps, axis=0, prepend=nowhere).ravel().tolist()
