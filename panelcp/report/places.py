"""The openings that a report names, with all that is needed to lay them onto the skin again."""

from __future__ import annotations

from typing import Any

from panelcp.report.combinations_section import exits_to_mark
from panelcp.report.contents import AirContents, RunContents
from panelcp.surface.opening import Opening, lay_opening, paired
from panelcp.surface.rays import SkinFinder


def shown_openings(contents: AirContents) -> list[Opening]:
    """Openings of the case, of the short list and of the best combinations, each once."""
    found = {opening.name: opening for opening in contents.openings.openings}
    ranking = contents.ranking
    for pair in contents.short_list:
        found |= {o.name: o for o in (ranking.inlet(pair), ranking.exit(pair))}
    if isinstance(contents, RunContents) and contents.combinations is not None:
        found |= {o.name: o for o in exits_to_mark(contents.combinations)}
    return list(found.values())


def places_summary(contents: RunContents) -> list[dict[str, Any]]:
    """Use, kind, outline and centre of each of them; of a mirrored pair both centres."""
    return [_entry(opening) for opening in shown_openings(contents)]


def opening_of(entry: dict[str, Any], finder: SkinFinder) -> Opening:
    """An opening laid onto the skin again.

    Parameters
    ----------
    entry : as `places_summary` gives it
    finder : SkinFinder of the same surface

    Returns
    -------
    Opening
    """
    own = _laid(entry, entry, finder)
    if entry["twin"] is None:
        return own
    return paired(own, _laid(entry, entry["twin"], finder), entry["name"])


def _entry(opening: Opening) -> dict[str, Any]:
    twin = opening.twin
    return {
        "name": opening.name,
        "use": opening.use,
        "kind": opening.kind,
        "shape": opening.shape,
        "length": opening.length,
        "width": opening.width,
        "turn": opening.turn,
        "centre": opening.centre,
        "twin": None
        if twin is None
        else {"name": twin.name, "turn": twin.turn, "centre": twin.centre},
    }


def _laid(entry: dict[str, Any], place: dict[str, Any], finder: SkinFinder) -> Opening:
    return lay_opening(
        finder,
        place["name"],
        place["centre"],
        entry["length"],
        entry["width"],
        use=entry["use"],
        kind=entry["kind"],
        shape=entry["shape"],
        turn=place["turn"],
    )
