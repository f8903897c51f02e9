"""surface.vtu: the surface with all its fields in all conditions, as an unstructured grid.

The format is the open XML format of the Visualization Toolkit (its file formats are described in
the VTK documentation): triangles, places as Float64, fields as Float32, cut into zlib blocks and
written in base64 within the XML, so that the file is plain XML too.

Written here in some sixty lines instead of by a library. The candidate, meshio (MIT licence),
reads this file and is the tests' reader. As a writer it serves less: it leaves field data out of
such files, so that regions, openings, states and conditions would be numbers without meaning; it
turns no name down, but writes the places with the fields' own numbers only; its newest version,
5.3.5, is of January 2024 (so the package index); and it would bring rich, pygments, markdown-it-py
and mdurl into every installation.

The bytes depend on the contents only: no dates, fixed order, little-endian everywhere. The zlib
that Python was built with decides how the blocks are packed.
"""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Iterable
from os import PathLike
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from panelcp.flow.superposition import SurfaceFlow
from panelcp.report.contents import AirContents
from panelcp.report.exports.skin_fields import (
    NOTES,
    SkinField,
    condition_fields,
    flow_of,
    key,
    lasting_fields,
)

BLOCK = 1 << 20
"""Bytes that are compressed together."""

LEVEL = 6
"""Of zlib; 9 saves one part in five thousand more."""

_TRIANGLE = 5
_TYPES = {"f4": "Float32", "f8": "Float64", "i4": "Int32", "i1": "Int8", "u1": "UInt8"}


def write_vtu(source: AirContents | SurfaceFlow, path: str | PathLike):
    """Write the surface with all fields as surface.vtu.

    Parameters
    ----------
    source : RunContents or AirContents of a run, or a SurfaceFlow alone
    path : of the file
    """
    Path(path).write_bytes(vtu_bytes(source))


def vtu_bytes(source: AirContents | SurfaceFlow) -> bytes:
    """The file as bytes; see the head of this module and of `skin_fields` for what it holds.

    Parameters
    ----------
    source : RunContents or AirContents of a run, or a SurfaceFlow alone

    Returns
    -------
    bytes, UTF-8 text
    """
    surface = flow_of(source).surface
    fields = [*lasting_fields(source), *condition_fields(source)]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f"<!-- {_comment(source)} -->",
        '<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian" '
        'header_type="UInt32" compressor="vtkZLibDataCompressor">',
        "<UnstructuredGrid>",
        "<FieldData>",
        *(_number(name, value) for name, value in key(source)),
        "</FieldData>",
        f'<Piece NumberOfPoints="{surface.n_vertices}" NumberOfCells="{surface.n_panels}">',
        "<Points>",
        _array("Points", surface.vertices, "f8"),
        "</Points>",
        *_cells(surface.triangles),
        f'<CellData Scalars="{_attribute(_first_scalar(fields))}" Normals="normal">',
        *(_array(field.name, field.values, _kind(field)) for field in fields),
        "</CellData>",
        "</Piece>",
        "</UnstructuredGrid>",
        "</VTKFile>",
    ]
    return ("\n".join(lines) + "\n").encode()


def _comment(source) -> str:
    """What the file holds, for a reader of the text; two hyphens must not meet in a comment."""
    lines = ["Pressures over the surface, panelcp."]
    if not isinstance(source, SurfaceFlow):
        lines = [
            f"Pressures over the surface, panelcp {source.version}, inputs {source.input_hash}."
        ]
    return "\n".join([*lines, *NOTES]).replace("--", "- -")


def _cells(triangles: np.ndarray) -> Iterable[str]:
    n = len(triangles)
    return (
        "<Cells>",
        _array("connectivity", triangles.ravel(), "i4"),
        _array("offsets", 3 * np.arange(1, n + 1), "i4"),
        _array("types", np.full(n, _TRIANGLE), "u1"),
        "</Cells>",
    )


def _first_scalar(fields: list[SkinField]) -> str:
    """The field that a viewer may show first: the pressure of the first condition."""
    pressures = (field.name for field in fields if field.name.endswith(": gauge pressure Pa"))
    return next(pressures)


def _kind(field: SkinField) -> str:
    """Short name of the type of a field in the file."""
    if not np.issubdtype(field.values.dtype, np.integer):
        return "f4"
    return "i1" if np.abs(field.values).max(initial=0) < 128 else "i4"


def _number(name: str, value: float) -> str:
    """One number as an array of its own."""
    kind = "Float64" if isinstance(value, float) else "Int32"
    return (
        f'<DataArray type="{kind}" Name="{_attribute(name)}" NumberOfTuples="1" format="ascii">'
        f"{value!r}</DataArray>"
    )


def _array(name: str, values: np.ndarray, kind: str) -> str:
    """One array, compressed, in base64."""
    values = np.ascontiguousarray(values, dtype=f"<{kind}")
    components = f' NumberOfComponents="{values.shape[1]}"' if values.ndim == 2 else ""
    return (
        f'<DataArray type="{_TYPES[kind]}" Name="{_attribute(name)}"{components} format="binary">'
        f"{_packed(values.tobytes())}</DataArray>"
    )


def _packed(data: bytes) -> str:
    """Header and blocks, each in base64.

    Notes
    -----
    Header, UInt32 each: number of blocks, bytes of a block, bytes of the last one (0 when whole),
    packed bytes of every block.
    """
    blocks = [zlib.compress(data[at : at + BLOCK], LEVEL) for at in range(0, len(data), BLOCK)]
    size = BLOCK if len(data) > BLOCK else len(data)
    last = len(data) % size if size else 0
    head = struct.pack(f"<{3 + len(blocks)}I", len(blocks), size, last, *map(len, blocks))
    return (base64.b64encode(head) + base64.b64encode(b"".join(blocks))).decode()


def _attribute(text: str) -> str:
    """A text within double quotes."""
    return escape(text, {'"': "&quot;"})
