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
    case_text: CaseText, cores: Mapping[str, CoreAhead], narrow: Collection[str]
) -> tuple[list[Duct], list[str]]:
    """All ducts and what is to be said of them; mistakes are added to the text's.

    Parameters
    ----------
    case_text : CaseText
    cores : place ahead of a core -> CoreAhead
    narrow : names of openings and places ahead of cores; all other places are wide rooms

    Returns
    -------
    ducts, notes
    """
    ducts, notes = [], []
    for number, row in enumerate(case_text.tables("duct", DUCT), start=1):
        pieces = _read_pieces(case_text, number, row, cores)
        if not pieces or ("duct", number) in case_text.wrong:
            continue
        kinds = [raw["kind"] for raw in row["pieces"]]
        rooms = [None if row[key] in narrow else row[key] for key in ("from", "to")]
        ends = ends_of(pieces, kinds, *rooms)
        parts = [piece.part for piece in pieces]
        parts = [part for part in (ends[0], *parts, ends[1]) if part is not None]
        if not any(_resists(part) for part in parts):
            message = "nothing in it resists the air; give its losses, or join its two ends"
            case_text.add("duct", number, "pieces", message)
        ducts.append(Duct(row["name"], row["from"], row["to"], tuple(parts)))
        added = [f"{end.what} (K {end.coefficient.value:.2g})" for end in ends if end is not None]
        if added:
            notes.append(f"duct {row['name']}: counted besides its pieces: {' and '.join(added)}")
        notes += _jumps(row, pieces, cores)
    return ducts, notes


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
