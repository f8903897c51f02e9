"""Mesh files of every format, taken by what is in them, as named parts."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface import packed_formats, plain_formats, step_worker
from panelcp.surface.parts import Part, joined_parts

FORMATS = (".3mf", ".glb", ".gltf", ".obj", ".off", ".ply", ".step", ".stl", ".stp")

STATED_UNITS = {".glb": "m", ".gltf": "m"}
"""Formats whose length unit is fixed; 3MF and STEP state theirs in the file."""

_READERS = {
    ".stl": plain_formats.read_stl,
    ".obj": plain_formats.read_obj,
    ".off": plain_formats.read_off,
    ".ply": plain_formats.read_ply,
}
_PACKED = {
    ".glb": packed_formats.read_glb,
    ".gltf": packed_formats.read_gltf,
    ".3mf": packed_formats.read_3mf,
}
_OTHER = (
    (rb"\s*(<!doctype html|<html)", "a page of the web, not the file itself; download it again"),
    (rb"\x1f\x8b", "packed (gzip); unpack it"),
    (rb"7z\xbc\xaf|Rar!", "a packed archive; unpack it"),
    (rb"\s*<\?xml", "an XML file of another kind; export the skin as STL"),
    (rb"%PDF|\x89PNG|\xff\xd8\xff", "a document or a picture; export the skin as STL"),
    (rb"(.{72}S\s*1\s)", "a file of exact surfaces (IGES); export STEP or STL"),
    (rb"\s*0\r?\nSECTION", "a drawing (DXF); export the skin as STL"),
)


def load_parts(path, step_size: float | None = None) -> list[Part]:
    """Named parts of a mesh file, nothing merged and nothing changed.

    Parameters
    ----------
    path : STL, OBJ, PLY, OFF, GLB, glTF, 3MF or STEP file; letter case of its suffix is free
    step_size : longest edge in mm of triangles laid onto STEP surfaces; from their size when None

    Returns
    -------
    list of Part, at least one, each with triangles; names are unique

    Raises
    ------
    SurfaceError : no such file, wrong suffix for the content, damaged, cut short, no triangles

    Notes
    -----
    Faces with more than three corners are split. Objects of GLB, glTF and 3MF files stand where
    the file places them, once for each copy.
    """
    path = Path(path)
    _require_readable(path)
    suffix = path.suffix.lower()
    if suffix in (".step", ".stp"):
        _require_kind(path, suffix, _head(path), path.stat().st_size)
        return _with_triangles(path, step_worker.mesh_step(path, step_size))
    data = path.read_bytes()
    _require_kind(path, suffix, data[: 1 << 16], len(data))
    try:
        with np.errstate(all="ignore"):  # numbers that are none are found and named later
            if suffix in _READERS:
                parts = _READERS[suffix](_plain_text(data, suffix))
            else:
                parts = _PACKED[suffix](data, path.parent)
    except SurfaceError as error:
        known = str(error).startswith("not a mesh") or "triangles name points" in str(error)
        words = "" if known else f"not a mesh that can be read as {suffix}: "
        raise SurfaceError(f"{path.name}: {words}{error}") from None
    return _with_triangles(path, parts)


def load_triangles(path) -> tuple[np.ndarray, np.ndarray]:
    """Bare triangles of all parts of a mesh file, nothing merged and nothing changed.

    Parameters
    ----------
    path : of the file

    Returns
    -------
    vertices : (n, 3) float
    triangles : (m, 3) int
    """
    return joined_parts(load_parts(path))


def companion_files(path) -> list[Path]:
    """All files that a mesh is read from: itself, and those that a glTF file names.

    Parameters
    ----------
    path : of the mesh

    Returns
    -------
    list of Path, the mesh first
    """
    path = Path(path)
    if path.suffix.lower() != ".gltf":
        return [path]
    _require_readable(path)
    try:
        return [path, *packed_formats.gltf_companions(path.read_bytes(), path.parent)]
    except SurfaceError as error:
        raise SurfaceError(f"{path.name}: {error}") from None


def sniffed_format(head: bytes, size: int) -> str | None:
    """The suffix that fits the content, or None when it cannot be told.

    Parameters
    ----------
    head : the first bytes of the file, 64 kB or all
    size : of the file in bytes

    Returns
    -------
    One of `FORMATS`, or None
    """
    begins = head.lstrip()[:64]
    for start, suffix in ((b"glTF", ".glb"), (b"PK\x03\x04", ".3mf"), (b"ISO-10303-21", ".step")):
        if begins.startswith(start):
            return suffix
    if re.match(rb"ply\s", begins):
        return ".ply"
    if plain_formats.is_binary_stl(head, size):
        return ".stl"
    if re.match(rb"(ST)?C?N?OFF\b", begins):
        return ".off"
    if begins[:5].lower() == b"solid" and re.search(rb"(?i)facet|endsolid", head):
        return ".stl"
    if begins.startswith(b"{") and b'"asset"' in head:
        return ".gltf"
    if re.search(rb"(?m)^\s*v\s+\S+\s+\S+\s+\S+", head) and re.search(rb"(?m)^\s*(v|f)\s", head):
        return ".obj"
    return None


def _require_kind(path: Path, suffix: str, head: bytes, size: int):
    found = sniffed_format(head, size)
    if found is None:
        for pattern, words in _OTHER:
            if re.match(pattern, head[:200], re.IGNORECASE):
                raise SurfaceError(f"{path.name}: is {words}")
    same = {found, suffix} <= {".step", ".stp"} or found == suffix
    if found is not None and not same:
        raise SurfaceError(
            f"{path.name}: its content is {found[1:].upper()}, not what its suffix {suffix} says; "
            f"rename it to {path.stem}{found}, also in the case"
        )


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(1 << 16)


def _plain_text(data: bytes, suffix: str) -> bytes:
    """Text without the byte order mark; UTF-16, as some editors write it, as UTF-8."""
    if suffix == ".stl" and plain_formats.is_binary_stl(data):
        return data
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace").encode("utf-8")
    return data.removeprefix(b"\xef\xbb\xbf")


def _with_triangles(path: Path, parts: list[Part]) -> list[Part]:
    found = [part for part in parts if len(part.triangles)]
    if not found:
        raise SurfaceError(
            f"{path.name}: no triangles in the file; export the skin as a triangle mesh"
        )
    if len(found) == 1 and found[0].name in ("body", "part"):
        only = found[0]
        return [Part(path.stem, only.vertices, only.triangles, only.unit)]
    return found


def _require_readable(path: Path):
    if path.is_dir():
        raise SurfaceError(f"{path}: is a folder; give a mesh file ({', '.join(FORMATS)})")
    if not path.exists():
        raise SurfaceError(f"{path}: no such file")
    if path.suffix.lower() not in FORMATS:
        raise SurfaceError(
            f"unknown mesh format {path.suffix!r} for {path.name}; known: {', '.join(FORMATS)}"
        )
    if not os.access(path, os.R_OK):
        raise SurfaceError(f"{path}: may not be read (permissions)")
    if path.stat().st_size == 0:
        raise SurfaceError(f"{path.name}: the file is empty")
