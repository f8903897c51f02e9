"""The faces of the report: widths and numbers of their letters, and what of them a PDF needs.

A face is a TrueType file: tables of big-endian numbers, found by a directory at its head
("OpenType specification", tables head, hhea, hmtx, maxp, cmap, loca, glyf). Numbers of glyphs are
kept, so what a PDF shows are glyph numbers.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np

FILES = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
"""Plain and bold face, as matplotlib ships them."""

_KEPT = ("cvt ", "fpgm", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "prep")
_COMPOSITE = {"words": 0x0001, "scale": 0x0008, "more": 0x0020, "two": 0x0040, "four": 0x0080}


@cache
def face_path(bold: bool) -> Path:
    """The file of a face."""
    from matplotlib import get_data_path

    return Path(get_data_path()) / "fonts" / "ttf" / FILES[bold]


@cache
def face(bold: bool) -> Face:
    """The plain or the bold face."""
    return Face(face_path(bold))


class Face:
    """A TrueType file.

    Attributes
    ----------
    name : of the file, without its ending
    per_em : units in the size of the type
    advances : (n_glyphs,) float, widths in parts of the size
    glyph_of : glyph numbers of code points
    box : least x, least y, most x, most y of all letters, parts of the size
    rise, fall : above and below the line, parts of the size; fall is negative
    """

    def __init__(self, path: Path):
        data = path.read_bytes()
        self.name, self.tables = path.stem, {}
        for k in range(struct.unpack_from(">H", data, 4)[0]):
            tag, _, start, length = struct.unpack_from(">4sLLL", data, 12 + 16 * k)
            self.tables[tag.decode("latin-1")] = data[start : start + length]
        head, hhea = self.tables["head"], self.tables["hhea"]
        self.per_em = struct.unpack_from(">H", head, 18)[0]
        self.box = tuple(n / self.per_em for n in struct.unpack_from(">4h", head, 36))
        self.rise, self.fall = (n / self.per_em for n in struct.unpack_from(">2h", hhea, 4))
        count, own = self.n_glyphs, struct.unpack_from(">H", hhea, 34)[0]
        pairs = np.frombuffer(self.tables["hmtx"], ">u2", 2 * own)[0::2].astype(float)
        self.advances = np.append(pairs, np.full(count - own, pairs[-1])) / self.per_em
        self.glyph_of = _code_points(self.tables["cmap"])

    @property
    def n_glyphs(self) -> int:
        """Number of glyphs in the file."""
        return struct.unpack_from(">H", self.tables["maxp"], 4)[0]

    @property
    def places(self) -> np.ndarray:
        """(n_glyphs + 1,) int: where each glyph begins in the table of outlines."""
        long = struct.unpack_from(">h", self.tables["head"], 50)[0]
        kind, unit = (">u4", 1) if long else (">u2", 2)
        return unit * np.frombuffer(self.tables["loca"], kind, self.n_glyphs + 1).astype(int)

    def part(self, glyphs: Iterable[int]) -> bytes:
        """A TrueType file with the outlines of these glyphs alone, under their numbers."""
        wanted, places = self._with_parts({0, *glyphs}), self.places
        outlines, starts = b"", [0]
        for glyph in range(max(wanted) + 1):
            if glyph in wanted:
                piece = self.tables["glyf"][places[glyph] : places[glyph + 1]]
                outlines += piece + bytes(-len(piece) % 4)
            starts.append(len(outlines))
        count = len(starts) - 1
        tables = {tag: self.tables[tag] for tag in _KEPT if tag in self.tables}
        tables["glyf"], tables["loca"] = outlines, np.array(starts, ">u4").tobytes()
        tables["hmtx"] = self._metrics(count)
        tables["maxp"] = _changed(tables["maxp"], 4, ">H", count)
        tables["hhea"] = _changed(tables["hhea"], 34, ">H", count)
        tables["head"] = _changed(_changed(tables["head"], 50, ">h", 1), 8, ">L", 0)
        return _file(tables)

    def _with_parts(self, glyphs: set[int]) -> set[int]:
        """Glyphs and those they are put together from."""
        found, waiting, places = set(), sorted(glyphs), self.places
        while waiting:
            glyph = waiting.pop()
            if glyph not in found:
                found.add(glyph)
                outline = self.tables["glyf"][places[glyph] : places[glyph + 1]]
                waiting += _components(outline)
        return found

    def _metrics(self, count: int) -> bytes:
        """Widths and left bearings of the first glyphs, each with its own width."""
        own, table = struct.unpack_from(">H", self.tables["hhea"], 34)[0], self.tables["hmtx"]
        if count <= own:
            return table[: 4 * count]
        last = table[4 * own - 4 : 4 * own - 2]
        bearings = (table[4 * own + 2 * k : 4 * own + 2 * k + 2] for k in range(count - own))
        return table[: 4 * own] + b"".join(last + bearing for bearing in bearings)


def _components(outline: bytes) -> list[int]:
    """Glyphs that an outline is put together from; none for a plain one."""
    if not outline or struct.unpack_from(">h", outline)[0] >= 0:
        return []
    found, at, flags = [], 10, _COMPOSITE["more"]
    while flags & _COMPOSITE["more"]:
        flags, glyph = struct.unpack_from(">HH", outline, at)
        found.append(glyph)
        at += 8 if flags & _COMPOSITE["words"] else 6
        for name, size in (("scale", 2), ("two", 4), ("four", 8)):
            at += size if flags & _COMPOSITE[name] else 0
    return found


def _code_points(table: bytes) -> dict[int, int]:
    """Glyph of every code point, from the subtable of segments of 32 bits (format 12)."""
    for k in range(struct.unpack_from(">H", table, 2)[0]):
        start = struct.unpack_from(">L", table, 8 + 8 * k)[0]
        if struct.unpack_from(">H", table, start)[0] == 12:
            count = struct.unpack_from(">L", table, start + 12)[0]
            groups = np.frombuffer(table, ">u4", 3 * count, start + 16).reshape(-1, 3).tolist()
            return {c: g + c - a for a, b, g in groups for c in range(a, b + 1)}
    raise ValueError("the face has no table of code points of 32 bits")


def _changed(table: bytes, at: int, kind: str, value: int) -> bytes:
    return table[:at] + struct.pack(kind, value) + table[at + struct.calcsize(kind) :]


def _file(tables: dict[str, bytes]) -> bytes:
    """A TrueType file of tables."""
    count = len(tables)
    power = count.bit_length() - 1
    head = struct.pack(">LHHHH", 0x00010000, count, 16 << power, power, 16 * (count - (1 << power)))
    body, at = b"", 12 + 16 * count
    for tag in sorted(tables):
        data = tables[tag] + bytes(-len(tables[tag]) % 4)
        total = int(np.frombuffer(data, ">u4").sum(dtype=np.uint64)) & 0xFFFFFFFF
        head += struct.pack(">4sLLL", tag.encode(), total, at + len(body), len(tables[tag]))
        body += data
    return head + body
