"""The whole answer of a run: the ranking, and what a shared bay makes of it."""

from __future__ import annotations

from panelcp.report.combinations_section import size_line
from panelcp.report.contents import RunContents, answer


def whole_answer(contents: RunContents) -> list[str]:
    """The answer in a few sentences, with the openings' sizes where the case asks for them."""
    lines = answer(contents)
    if contents.combinations is None:
        return lines
    return [*lines[:2], size_line(contents.combinations, contents.flow.conditions), *lines[2:]]
