"""The tables [[duct]] and [[leak]] of a case."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import pairwise
from typing import Any

from panelcp.case.duct_pieces import CoreAhead, Piece, ends_of, read_piece
from panelcp.case.schema import CaseText, Entry, band, line
from panelcp.cooling.installation import OUTSIDE, Duct, Leak, Loss
from panelcp.cooling.vents import SHARP_OPENING
from panelcp.errors import QuantityError

_ENDS = ("from", "to")
JUMP = 1.1
"""Areas of neighbouring pieces that differ by more than this factor are told."""


def _pieces(raw) -> list:
    if not isinstance(raw, list):
        raise QuantityError(f'{raw!r} is no list of pieces; write [ {{ kind = "bend", ... }} ]')
    return raw


def _leak_area(raw):
    value = band("area", least=0.0)(raw)
    if not value.value > 0.0:
        raise QuantityError("the area is 0; leave the leak out, or give what it may be")
    return value


DUCT = {
    "name": Entry(line, required=True),
    "from": Entry(line, required=True),
    "to": Entry(line, required=True),
    "pieces": Entry(_pieces, default=()),
}
LEAK = {
    "name": Entry(line, required=True),
    "from": Entry(line, required=True),
    "to": Entry(line, default=OUTSIDE),
    "area": Entry(_leak_area, required=True),
    "discharge": Entry(band("fraction", least=1e-3, most=1.0), default=SHARP_OPENING),
}


def read_leaks(case_text: CaseText) -> list[Leak]:
    """All leaks; mistakes are added to the text's."""
    rows = case_text.tables("leak", LEAK)
    return [
        Leak(row["name"], row["from"], row["to"], row["area"], row["discharge"]) for row in rows
    ]


def read_ducts(
    case_text: CaseText,
    cores: Mapping[str, CoreAhead],
    openings: Mapping[str, float],
    ahead: Collection[str],
) -> tuple[list[Duct], list[str]]:
    """All ducts and what is to be said of them; mistakes are added to the text's.

    Parameters
    ----------
    case_text : CaseText
    cores : name -> CoreAhead
    openings : name -> m2, of their outlines
    ahead : names of places right ahead of cores; what is neither this nor an opening is a wide room

    Returns
    -------
    ducts, notes
    """
    ducts, notes, taken, brought = [], [], {}, {}
    for number, row in enumerate(case_text.tables("duct", DUCT), start=1):
        pieces = _read_pieces(case_text, number, row, cores)
        if not pieces or ("duct", number) in case_text.wrong:
            continue
        kinds = [raw["kind"] for raw in row["pieces"]]
        narrow = [row[key] in openings or row[key] in ahead for key in _ENDS]
        ends = ends_of(
            pieces, kinds, *(None if n else row[k] for n, k in zip(narrow, _ENDS, strict=True))
        )
        parts = tuple(part for part in (ends[0], *(p.part for p in pieces), ends[1]) if part)
        if not any(_resists(part) for part in parts):
            message = "nothing in it resists the air; give its losses, or join its two ends"
            case_text.add("duct", number, "pieces", message)
        ducts.append(Duct(row["name"], row["from"], row["to"], parts))
        added = [f"{end.what} (K {end.coefficient.value:.2g})" for end in ends if end is not None]
        if added:
            notes.append(f"duct {row['name']}: counted besides its pieces: {' and '.join(added)}")
        notes += _jumps(row, pieces, cores)
        taken[row["from"]] = taken.get(row["from"], 0.0) + pieces[0].inlet.area
        brought[row["to"]] = brought.get(row["to"], 0.0) + pieces[-1].outlet.area
    return ducts, notes + _inlet_jumps(openings, taken) + _exit_jumps(openings, brought)


def _inlet_jumps(openings: Mapping[str, float], taken: Mapping[str, float]) -> list[str]:
    """Openings whose ducts together begin with another area."""
    return [
        f"opening {name}: {1e4 * openings[name]:.4g} cm2, but what begins there has "
        f"{1e4 * area:.4g} cm2; the loss of this step is not counted"
        for name, area in taken.items()
        if name in openings and max(area, openings[name]) > JUMP * min(area, openings[name])
    ]


def _exit_jumps(openings: Mapping[str, float], brought: Mapping[str, float]) -> list[str]:
    """Openings into which narrower ducts lead; what a wider one loses is in the discharge."""
    return [
        f"opening {name}: {1e4 * openings[name]:.4g} cm2, but what ends there has "
        f"{1e4 * area:.4g} cm2; the loss of this step is not counted: add a diffuser or a sudden "
        "expansion"
        for name, area in brought.items()
        if name in openings and openings[name] > JUMP * area
    ]


def _resists(part) -> bool:
    if isinstance(part, Loss):
        return part.coefficient.value > 0.0
    return part.length > 0.0


def _read_pieces(case_text: CaseText, number: int, row: dict[str, Any], cores) -> tuple[Piece, ...]:
    if not row["pieces"] and ("duct", number) not in case_text.wrong:
        case_text.add(
            "duct",
            number,
            "pieces",
            "no pieces: such a way would not resist the air; give what it consists of, such as "
            'pieces = [ { kind = "straight", length = "400 mm", diameter = "100 mm" } ]',
        )
    pieces = []
    for place, raw in enumerate(row["pieces"], start=1):
        if case_text.any_wrong("core") and "trumpet" in str(raw):
            continue  # its core is not known
        try:
            pieces.append(read_piece(raw, cores, row["to"] if row["to"] in cores else None))
        except QuantityError as error:
            case_text.add("duct", number, "pieces", f"piece {place}: {error}")
    return tuple(pieces)


def _jumps(row, pieces, cores) -> list[str]:
    """Steps of area that no piece of the duct accounts for."""
    found = []
    areas = [(piece.outlet.area, after.inlet.area) for piece, after in pairwise(pieces)]
    for place, (one, other) in enumerate(areas, start=1):
        if max(one, other) > JUMP * min(one, other):
            found.append(
                f"duct {row['name']}: from piece {place} to piece {place + 1} the area goes from "
                f"{1e4 * one:.4g} to {1e4 * other:.4g} cm2, whose loss is not counted"
            )
    if row["to"] in cores and cores[row["to"]].face_area > JUMP * pieces[-1].outlet.area:
        found.append(
            f"duct {row['name']}: ends with {1e4 * pieces[-1].outlet.area:.4g} cm2 ahead of the "
            f"face of {row['to']} with {1e4 * cores[row['to']].face_area:.4g} cm2; the loss of "
            "this step is not counted: add a diffuser, a trumpet or a sudden expansion"
        )
    return found
