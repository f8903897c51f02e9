"""Mesh files of one kind of list: STL, OBJ, OFF and PLY.

Every reader takes the bytes of the file and gives parts. No size is believed that a file only
promises: memory is taken for what is there.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.parts import Part, compact_part, require_known_vertices, unique_names
from panelcp.surface.polygons import split_polygons

_BLOCK = 1 << 22
_STL_BATCH = 50_000
_STL_SOLID = re.compile(rb"\s*solid\b([^\r\n]*)", re.IGNORECASE)
_STL_END = re.compile(rb"\s*endsolid\b[^\r\n]*", re.IGNORECASE)
_STL_FACET = re.compile(
    rb"\s*facet\b[^\r\n]*?\s+outer\s+loop"
    + 3 * rb"\s+vertex\s+(\S+\s+\S+\s+\S+)"
    + rb"\s+endloop\s+endfacet\b",
    re.IGNORECASE,
)
_STL_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
_PLY_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2",
    "ushort": "u2", "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
_PLY_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}


def read_stl(data: bytes) -> list[Part]:
    """Parts of an STL file, text or binary; a text may hold several solids.

    Parameters
    ----------
    data : bytes of the file

    Returns
    -------
    list of Part

    Raises
    ------
    SurfaceError : damaged, cut short, or no STL
    """
    if is_binary_stl(data):
        corners = np.frombuffer(data, _STL_RECORD, offset=84)["corners"].reshape(-1, 3)
        return [Part("body", corners, np.arange(len(corners)).reshape(-1, 3))]
    if data.lstrip()[:5].lower() != b"solid":
        raise SurfaceError(_no_stl(data))
    names, solids, at = [], [], 0
    while solid := _STL_SOLID.match(data, at):
        names.append(solid.group(1).decode("utf-8", "replace"))
        corners, at = _stl_facets(data, solid.end())
        solids.append(corners)
        end = _STL_END.match(data, at)
        if end is None:
            raise SurfaceError(_stl_fault(data[at : at + 2000], sum(map(len, solids)) // 3))
        at = end.end()
    if data[at:].strip():
        raise SurfaceError(
            f"after its last solid stands something else: {_shown(data[at:].strip())}"
        )
    return [
        Part(name, corners, np.arange(len(corners)).reshape(-1, 3))
        for name, corners in zip(unique_names(names), solids, strict=True)
        if len(corners)
    ]


def _stl_facets(data: bytes, at: int) -> tuple[np.ndarray, int]:
    """Corners, three for each facet from a place on, and the place after the last."""
    blocks, rows = [], []
    while facet := _STL_FACET.match(data, at):
        rows += facet.groups()
        at = facet.end()
        if len(rows) >= _STL_BATCH:
            blocks.append(_table(rows, 3, float, "vertex"))
            rows = []
    blocks.append(_table(rows, 3, float, "vertex"))
    return np.concatenate(blocks), at


def _stl_fault(rest: bytes, number: int) -> str:
    """What is wrong after a number of whole facets."""
    if len(rest) < 2000 and b"endfacet" not in rest.lower():
        return (
            f"it ends after {number} triangles without endsolid: cut short; copy or export it again"
        )
    return (
        f"facet number {number} of it, counted from 0, is not made of facet, outer loop, three "
        f"times vertex with three numbers, endloop, endfacet: {_shown(rest.strip())}"
    )


def is_binary_stl(data: bytes, size: int | None = None) -> bool:
    """Whether the length is the one that the head of a binary STL file promises."""
    size = len(data) if size is None else size
    return size >= 84 and size == 84 + 50 * int.from_bytes(data[80:84], "little")


def read_obj(data: bytes) -> list[Part]:
    """Parts of an OBJ file: one for each object or group that has faces.

    Parameters
    ----------
    data : bytes of the file

    Returns
    -------
    list of Part

    Raises
    ------
    SurfaceError : numbers that cannot be read, points that are not there, curved surfaces only
    """
    if b"\\" in data:
        data = re.sub(rb"\\[ \t]*\r?\n", b" ", data)
    points, blocks, names, curved = [], [], ["body"], 0
    for lines in _line_blocks(data, remarks=True):
        known = sum(len(block) for block in points)
        rows, faces, seen, owners = [], [], [], []
        for line in lines:
            word, _, rest = line.replace(b"\t", b" ").partition(b" ")
            if word == b"v":
                rows.append(rest)
            elif word == b"f":
                faces.append(rest)
                seen.append(known + len(rows))
                owners.append(len(names) - 1)
            elif word in (b"o", b"g"):
                names.append(rest.decode("utf-8", "replace"))
            curved += word in (b"curv", b"curv2", b"surf")
        points.append(_table(rows, 3, float, "v", more=True))
        blocks.append((*_obj_faces(faces, np.array(seen, dtype=np.int64)), owners))
    if curved and not any(len(block[1]) for block in blocks):
        raise SurfaceError("it holds curved surfaces only, no faces; export triangles")
    vertices = np.concatenate(points)
    corners, counts, owners = (np.concatenate(rows) for rows in zip(*blocks, strict=True))
    return _grouped(vertices, corners, counts, owners.astype(np.int64), names)


def read_off(data: bytes) -> list[Part]:
    """The one part of an OFF file in text form.

    Parameters
    ----------
    data : bytes of the file

    Returns
    -------
    list of one Part

    Raises
    ------
    SurfaceError : binary or four-dimensional form, cut short, numbers that cannot be read
    """
    lines = [line for block in _line_blocks(data, remarks=True) for line in block]
    head = lines.pop(0).split() if lines else [b""]
    kind = head[0].upper()
    if kind not in (b"OFF", b"COFF", b"NOFF", b"CNOFF", b"STOFF", b"STCOFF"):
        raise SurfaceError("it does not begin with OFF in text form")
    if b"BINARY" in (word.upper() for word in head):
        raise SurfaceError("it is binary; export it as text")
    counts = head[1:] or (lines.pop(0).split() if lines else [])
    n_vertices, n_faces = _promised(counts[:2], len(lines))
    vertices = _table(lines[:n_vertices], 3, float, "vertex", more=True)
    faces = lines[n_vertices : n_vertices + n_faces]
    corners, widths = _counted_rows(faces)
    return _grouped(vertices, corners, widths, np.zeros(len(widths), dtype=np.int64), ["body"])


def _promised(words, available: int) -> tuple[int, int]:
    """Numbers of vertices and faces, if the file has as many lines."""
    try:
        n_vertices, n_faces = (int(word) for word in words)
    except ValueError:
        raise SurfaceError("the numbers of points and faces cannot be read") from None
    if n_vertices < 0 or n_faces < 0 or n_vertices + n_faces > available:
        raise SurfaceError(
            f"it promises {n_vertices} points and {n_faces} faces, but has {available} lines for "
            "them: cut short or damaged"
        )
    return n_vertices, n_faces


def read_ply(data: bytes) -> list[Part]:
    """The one part of a PLY file, text or binary of either byte order.

    Parameters
    ----------
    data : bytes of the file

    Returns
    -------
    list of one Part

    Raises
    ------
    SurfaceError : no head, unknown types, cut short, triangle strips, numbers that cannot be read
    """
    order, elements, start = _ply_head(data)
    names = [name for name, _, _ in elements]
    if "tristrips" in names and "face" not in names:
        raise SurfaceError("it holds triangle strips; export single faces")
    if "vertex" not in names:
        raise SurfaceError("its head names no points")
    reader = _PlyText(data[start:]) if order == "" else _PlyBytes(data, start, order)
    vertices, corners = np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    counts = np.zeros(0, dtype=np.int64)
    for name, count, properties in elements:
        if name == "vertex":
            vertices = reader.points(count, properties)
        elif name == "face":
            corners, counts = reader.faces(count, properties)
            break
        else:
            reader.skip(count, properties)
    owners = np.zeros(len(counts), dtype=np.int64)
    return _grouped(vertices, corners, counts, owners, ["body"])


def _ply_head(data: bytes) -> tuple[str, list, int]:
    """Byte order ("" for text), elements (name, count, properties) and where the body starts."""
    end = re.search(rb"[\r\n]end_header[ \t]*(\r\n|\n|\r)", data[: 1 << 16])
    if data[:3] != b"ply" or end is None:
        raise SurfaceError("its head does not begin with ply and end with end_header")
    order, elements = None, []
    for line in data[: end.start()].decode("latin-1").splitlines():
        words = line.split()
        try:
            if words[:1] == ["format"]:
                order = _PLY_ORDERS[words[1]]
            elif words[:1] == ["element"]:
                elements.append((words[1], int(words[2]), []))
            elif words[:1] == ["property"] and words[1] == "list":
                kinds = (_PLY_TYPES[words[2]], _PLY_TYPES[words[3]])
                elements[-1][2].append((words[4], *kinds))
            elif words[:1] == ["property"]:
                elements[-1][2].append((words[2], _PLY_TYPES[words[1]]))
        except (IndexError, KeyError, ValueError):
            raise SurfaceError(f"a line of its head cannot be read: {line[:60]!r}") from None
    if order is None:
        raise SurfaceError("its head does not say text or binary (no format)")
    _require_ply_counts(elements, len(data))
    return order, elements, end.end()


def _require_ply_counts(elements, size: int):
    for name, count, properties in elements:
        if not 0 <= count <= size:
            raise SurfaceError(
                f"its head promises {count} of {name} in {size} bytes: cut short or damaged"
            )
        if count and not properties:
            raise SurfaceError(f"its head says nothing of what a {name} is")


def _ply_columns(properties) -> list[int]:
    names = [entry[0] for entry in properties]
    if any(len(entry) == 3 for entry in properties) or not {"x", "y", "z"} <= set(names):
        raise SurfaceError("its head does not give x, y and z of the points")
    return [names.index(letter) for letter in "xyz"]


def _ply_list(properties) -> int:
    """Place of the list of corners among the properties of a face."""
    for place, entry in enumerate(properties):
        if len(entry) == 3 and entry[0] in ("vertex_indices", "vertex_index"):
            if "f" in entry[1] + entry[2]:
                raise SurfaceError("its head gives corners of faces that are not whole numbers")
            return place
    raise SurfaceError("its head does not give the corners of the faces (vertex_indices)")


class _PlyText:
    """Body of a text PLY, one line for each element."""

    def __init__(self, body: bytes):
        self._lines = [line for block in _line_blocks(body) for line in block]
        self._at = 0

    def _take(self, count: int) -> list[bytes]:
        rows = self._lines[self._at : self._at + count]
        if len(rows) < count:
            raise SurfaceError(f"{count} lines are promised, but only {len(rows)} are there")
        self._at += count
        return rows

    def skip(self, count: int, properties):
        self._take(count)

    def points(self, count: int, properties) -> np.ndarray:
        columns = _ply_columns(properties)
        rows = _table(self._take(count), len(properties), float, "vertex", more=True)
        return rows[:, columns]

    def faces(self, count: int, properties) -> tuple[np.ndarray, np.ndarray]:
        place = _ply_list(properties)
        if any(len(entry) == 3 for entry in properties[:place]):
            raise SurfaceError("other lists stand before the corners of its faces")
        rows = self._take(count)
        return _counted_rows([b" ".join(row.split()[place:]) for row in rows] if place else rows)


class _PlyBytes:
    """Body of a binary PLY."""

    def __init__(self, data: bytes, start: int, order: str):
        self._data, self._at, self._order = data, start, order

    def _take(self, dtype: np.dtype, count: int) -> np.ndarray:
        size = dtype.itemsize * count
        if self._at + size > len(self._data):
            raise SurfaceError(
                f"{size} bytes are promised, but only {len(self._data) - self._at} are left: cut "
                "short or damaged"
            )
        found = np.frombuffer(self._data, dtype, count, self._at)
        self._at += size
        return found

    def _dtype(self, properties) -> np.dtype:
        return np.dtype([(f"p{k}", self._order + e[1]) for k, e in enumerate(properties)])

    def skip(self, count: int, properties):
        if all(len(entry) == 2 for entry in properties):
            self._take(self._dtype(properties), count)
            return
        for _ in range(count):
            for entry in properties:
                self._one(entry)

    def _one(self, entry) -> np.ndarray:
        kind = np.dtype(self._order + entry[1])
        if len(entry) == 2:
            return self._take(kind, 1)
        length = int(self._take(kind, 1)[0])
        return self._take(np.dtype(self._order + entry[2]), max(length, 0))

    def points(self, count: int, properties) -> np.ndarray:
        columns = _ply_columns(properties)
        rows = self._take(self._dtype(properties), count)
        return np.stack([rows[f"p{column}"].astype(float) for column in columns], axis=1)

    def faces(self, count: int, properties) -> tuple[np.ndarray, np.ndarray]:
        place = _ply_list(properties)
        if count == 0:
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        same = self._equal_faces(count, properties, place)
        if same is not None:
            return same
        corners, counts = [], []
        for _ in range(count):
            row = [self._one(entry) for entry in properties][place]
            corners.append(row)
            counts.append(len(row))
        return np.concatenate(corners).astype(np.int64), np.array(counts)

    def _equal_faces(self, count: int, properties, place: int):
        """Corners and counts when all faces have as many corners as the first, else None."""
        if sum(len(entry) == 3 for entry in properties) > 1:
            return None
        start = self._at
        n = len([self._one(entry) for entry in properties][place])
        self._at = start
        fields = []
        for k, entry in enumerate(properties):
            if len(entry) == 2:
                fields.append((f"p{k}", self._order + entry[1]))
            else:
                fields += [("n", self._order + entry[1]), ("c", self._order + entry[2], (n,))]
        dtype = np.dtype(fields)
        if start + dtype.itemsize * count > len(self._data):
            return None
        rows = np.frombuffer(self._data, dtype, count, start)
        if n == 0 or (rows["n"] != n).any():
            return None
        self._at = start + dtype.itemsize * count
        return rows["c"].astype(np.int64).ravel(), np.full(count, n)


def _line_blocks(data: bytes, remarks: bool = False) -> Iterator[list[bytes]]:
    """The lines without blank ends and empty lines, some at a time to spare memory.

    `remarks` cuts off what follows a #.
    """
    start = 0
    while start < len(data):
        end = data.find(b"\n", start + _BLOCK)
        end = len(data) if end < 0 else end + 1
        block = data[start:end]
        lines = block.splitlines()
        if remarks and b"#" in block:
            lines = [line.partition(b"#")[0] for line in lines]
        yield [line for line in map(bytes.strip, lines) if line]
        start = end


def _table(rows: list[bytes], columns: int, dtype, what: str, more: bool = False) -> np.ndarray:
    """(len(rows), columns) numbers; `more` allows further words in a row, which are left out."""
    widths = np.fromiter((len(row.split()) for row in rows), dtype=np.int64, count=len(rows))
    wrong = widths < columns if more else widths != columns
    if wrong.any():
        row = rows[np.flatnonzero(wrong)[0]]
        raise SurfaceError(
            f"{np.count_nonzero(wrong)} of {len(rows)} lines of kind {what} do not have {columns} "
            f"numbers (first: {_shown(row)})"
        )
    if (widths > columns).any():
        rows = [b" ".join(row.split()[:columns]) for row in rows]
    return _numbers(rows, dtype, what).reshape(-1, columns)


def _numbers(rows: list[bytes], dtype, what: str) -> np.ndarray:
    """All numbers in the rows, one after the other."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return np.fromstring(b" ".join(rows), dtype=dtype, sep=" ")
        except (DeprecationWarning, ValueError):
            pass
    kind = float if dtype is float else int
    for row in rows:
        try:
            [kind(word) for word in row.split()]
        except ValueError:
            raise SurfaceError(f"a {what} that cannot be read: {_shown(row)}") from None
    raise SurfaceError(f"numbers of kind {what} that cannot be read")


def _shown(row: bytes) -> str:
    return repr(row[:60].decode("latin-1"))


def _counted_rows(rows: list[bytes]) -> tuple[np.ndarray, np.ndarray]:
    """Corners and counts of faces "3 0 1 2 ...": a count, as many corners, then anything."""
    words = [row.split() for row in rows]
    counts = _numbers([row[0] for row in words], np.int64, "face")
    widths = np.array([len(row) - 1 for row in words], dtype=np.int64)
    short = (counts < 0) | (counts > widths)
    if short.any():
        raise SurfaceError(
            f"{np.count_nonzero(short)} of {len(rows)} faces do not have the corners that they "
            f"promise (first: {_shown(rows[np.flatnonzero(short)[0]])})"
        )
    corners = [b" ".join(row[1 : n + 1]) for row, n in zip(words, counts.tolist(), strict=True)]
    return _numbers(corners, np.int64, "face"), counts


def _obj_faces(faces: list[bytes], seen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners, counted from 0, and counts; those below zero count back from the last point."""
    text = re.sub(rb"/[^\s]*", b"", b"\n".join(faces))
    rows = text.split(b"\n") if faces else []
    counts = np.fromiter((len(row.split()) for row in rows), dtype=np.int64, count=len(rows))
    corners = _numbers(rows, np.int64, "f")
    if (corners == 0).any():
        raise SurfaceError("a face names the point 0, but points are counted from 1")
    return np.where(corners > 0, corners - 1, corners + np.repeat(seen, counts)), counts


def _grouped(vertices, corners, counts, owners, names) -> list[Part]:
    """Parts from faces of any number of corners; faces of the same owner make one part."""
    ends = np.cumsum(counts)
    wrong = (corners < 0) | (corners >= len(vertices))
    if wrong.any():
        faces = np.unique(np.searchsorted(ends, np.flatnonzero(wrong), side="right"))
        mask = np.zeros((len(counts), 1), dtype=np.int64)
        mask[faces] = -1
        require_known_vertices(len(vertices), mask)
    triangles, face = split_polygons(vertices, corners, counts)
    owner = owners[face]
    found = [k for k in range(len(names)) if (owner == k).any()] if len(names) > 1 else [0]
    chosen = unique_names(names[k] for k in found)
    if len(found) == 1:
        return [Part(chosen[0], vertices, triangles)]
    return [
        compact_part(name, vertices, triangles[owner == k])
        for name, k in zip(chosen, found, strict=True)
    ]


def _no_stl(data: bytes) -> str:
    if len(data) < 84:
        return (
            f"not a mesh: {len(data)} bytes that do not begin with 'solid' are too few for an "
            "STL file; export it again"
        )
    promised = int.from_bytes(data[80:84], "little")
    return (
        f"not a mesh that can be read as .stl: as a binary file it promises {promised} triangles "
        f"in {84 + 50 * promised} bytes, but has {len(data)} bytes. It is cut short or no STL; "
        "copy or export it again"
    )
