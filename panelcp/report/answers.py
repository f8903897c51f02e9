"""The whole answer of a run: the ranking, and what a shared bay makes of it."""

from __future__ import annotations

from panelcp.report.combinations_section import size_line
from panelcp.report.contents import RunContents, answer
from panelcp.report.cooling_section import cooling_lines

NETWORK_LINES = 2
"""Lines of the cooling network in the answer; its own section holds all."""


def whole_answer(contents: RunContents) -> list[str]:
    """The answer in a few sentences, with the openings' sizes where the case asks for them."""
    lines, more = answer(contents), []
    if contents.cooling is not None:
        more = cooling_lines(contents.cooling)[:NETWORK_LINES]
    if contents.combinations is not None:
        more.append(size_line(contents.combinations, contents.flow.conditions))
    return [*lines[:2], *more, *lines[2:]]
