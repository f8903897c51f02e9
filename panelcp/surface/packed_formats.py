"""Mesh files with a tree of placed objects: GLB, glTF and 3MF.

Sizes, references and depths that a file promises are checked before memory is taken.
"""

from __future__ import annotations

import base64
import binascii
import io
import json
import lzma
import math
import re
import struct
import urllib.parse
import zipfile
import zlib
from array import array
from pathlib import Path
from xml.parsers import expat

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.parts import Part, compact_part, require_known_vertices, unique_names

MOST_TRIANGLES = 5_000_000
"""Triangles of all placed copies together; more are taken for damage."""

MOST_COPIES = 20_000
"""Placed copies of objects in one file."""

MOST_DEPTH = 60
"""Depth of objects placed in objects."""

MOST_UNPACKED = 1 << 30
"""Bytes that a packed file may have when unpacked."""

UNITS_3MF = {
    "micron": ("mm", 1e-3),
    "millimeter": ("mm", 1.0),
    "centimeter": ("cm", 1.0),
    "inch": ("in", 1.0),
    "foot": ("ft", 1.0),
    "meter": ("m", 1.0),
}
_UNPACKING = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    NotImplementedError,
    RuntimeError,
    EOFError,
    OSError,
    ValueError,
)
_COMPONENTS = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}


def read_glb(data: bytes, folder: Path | None = None) -> list[Part]:
    """Parts of a GLB file, nodes placed, in m.

    Parameters
    ----------
    data : bytes of the file
    folder : where the other files lie that it may name

    Returns
    -------
    list of Part, one for each placed mesh
    """
    if data[:4] != b"glTF" or len(data) < 20:
        raise SurfaceError("it does not begin as a GLB file does")
    version, length = (int.from_bytes(data[k : k + 4], "little") for k in (4, 8))
    if version != 2:
        raise SurfaceError(f"it is of version {version}; only version 2 can be read")
    if length != len(data):
        raise SurfaceError(f"its head promises {length} bytes, but it has {len(data)}: cut short")
    chunks, at = [], 12
    while at + 8 <= length:
        size, kind = int.from_bytes(data[at : at + 4], "little"), data[at + 4 : at + 8]
        if at + 8 + size > length:
            raise SurfaceError(f"a chunk promises {size} bytes, but {length - at - 8} are left")
        chunks.append((kind, data[at + 8 : at + 8 + size]))
        at += 8 + size
    if not chunks or chunks[0][0] != b"JSON":
        raise SurfaceError("its first chunk is no JSON")
    binary = next((content for kind, content in chunks[1:] if kind == b"BIN\0"), None)
    return _Gltf(chunks[0][1], binary, folder).parts()


def read_gltf(data: bytes, folder: Path | None = None) -> list[Part]:
    """Parts of a glTF file, nodes placed, in m; its buffers inside it or in files beside it.

    Parameters
    ----------
    data : bytes of the file
    folder : where the other files lie that it names

    Returns
    -------
    list of Part, one for each placed mesh
    """
    return _Gltf(data, None, folder).parts()


def gltf_companions(data: bytes, folder: Path) -> list[Path]:
    """The files beside a glTF file that hold its numbers."""
    buffers = _Gltf(data, None, folder).items("buffers")
    uris = [buffer.get("uri") for buffer in buffers if isinstance(buffer, dict)]
    return [_beside(folder, uri) for uri in uris if isinstance(uri, str) and uri[:5] != "data:"]


def _beside(folder: Path | None, uri: str) -> Path:
    """Path of a file that another names; only files in its folder or below are allowed."""
    name = urllib.parse.unquote(uri)
    wrong = folder is None or ":" in name or "\\" in name or "\0" in name
    if wrong or name.startswith("/") or ".." in name.split("/"):
        raise SurfaceError(f"it names the file {uri[:60]!r}, which is not one beside it")
    return folder / name


class _Gltf:
    """A glTF document with its buffers."""

    def __init__(self, text: bytes, binary: bytes | None, folder: Path | None):
        try:
            self._tree = json.loads(text.decode("utf-8-sig"))
        except (ValueError, RecursionError) as error:
            raise SurfaceError(f"its JSON cannot be read ({str(error)[:80]})") from None
        if not isinstance(self._tree, dict):
            raise SurfaceError("its JSON is not a glTF document")
        self._binary, self._folder, self._buffers = binary, folder, {}
        required = self.items("extensionsRequired")
        packed = [name for name in map(str, required) if "compression" in name]
        if packed:
            raise SurfaceError(
                f"its numbers are compressed ({packed[0]}); export it without compression"
            )

    def items(self, name: str) -> list:
        found = self._tree.get(name, [])
        if not isinstance(found, list):
            raise SurfaceError(f"{name} is not a list")
        return found

    def _item(self, name: str, index) -> dict:
        found = self.items(name)
        whole = isinstance(index, int) and not isinstance(index, bool)
        if not whole or not 0 <= index < len(found) or not isinstance(found[index], dict):
            raise SurfaceError(f"it names {name} {str(index)[:20]}, but has {len(found)} of them")
        return found[index]

    def parts(self) -> list[Part]:
        parts, names, total = [], [], 0
        for name, mesh, matrix in self._placed():
            vertices, triangles = self._mesh(mesh)
            total += len(triangles)
            if total > MOST_TRIANGLES:
                raise SurfaceError(f"its placed copies have more than {MOST_TRIANGLES} triangles")
            if np.linalg.det(matrix[:3, :3]) < 0.0:
                triangles = triangles[:, [0, 2, 1]]
            if len(triangles):
                names.append(name)
                parts.append((vertices @ matrix[:3, :3].T + matrix[:3, 3], triangles))
        named = zip(unique_names(names), parts, strict=True)
        return [compact_part(name, *part, unit="m") for name, part in named]

    def _placed(self) -> list:
        """Name, mesh index and (4, 4) matrix of every node with a mesh, from the root down."""
        nodes = self.items("nodes")
        scenes = self.items("scenes")
        if scenes:
            roots = self._item("scenes", self._tree.get("scene", 0)).get("nodes", [])
        else:
            below = [c for node in nodes if isinstance(node, dict) for c in _list(node, "children")]
            roots = [k for k in range(len(nodes)) if k not in below]
        if not nodes:
            return [(_name(m), k, np.eye(4)) for k, m in enumerate(self.items("meshes"))]
        found, waiting, visits = [], [(k, np.eye(4), 0) for k in reversed(roots)], 0
        while waiting:
            index, above, depth = waiting.pop()
            node, visits = self._item("nodes", index), visits + 1
            if depth > MOST_DEPTH or visits > MOST_COPIES:
                raise SurfaceError(
                    f"its nodes are nested in a circle, deeper than {MOST_DEPTH}, or placed more "
                    f"than {MOST_COPIES} times"
                )
            matrix = above @ _node_matrix(node)
            if "mesh" in node:
                name = _name(node) or _name(self._item("meshes", node["mesh"]))
                found.append((name, node["mesh"], matrix))
            waiting += [(k, matrix, depth + 1) for k in reversed(_list(node, "children"))]
        return found

    def _mesh(self, index) -> tuple[np.ndarray, np.ndarray]:
        vertices, triangles, start = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)], 0
        for primitive in _list(self._item("meshes", index), "primitives"):
            mode = primitive.get("mode", 4) if isinstance(primitive, dict) else None
            if mode in (0, 1, 2, 3):
                continue
            attributes = primitive.get("attributes") if isinstance(primitive, dict) else None
            if mode not in (4, 5, 6) or not isinstance(attributes, dict):
                raise SurfaceError(f"a mesh is of unknown mode {str(mode)[:20]}")
            points = self._accessor(attributes.get("POSITION"), 3).astype(float)
            if "indices" in primitive:
                corners = self._accessor(primitive["indices"], 1)[:, 0]
            else:
                corners = np.arange(len(points))
            faces = _faces_of_mode(corners, mode)
            require_known_vertices(len(points), faces)
            vertices.append(points)
            triangles.append(faces + start)
            start += len(points)
        return np.concatenate(vertices), np.concatenate(triangles)

    def _accessor(self, index, width: int) -> np.ndarray:
        """(count, width) numbers, floats or whole."""
        entry = self._item("accessors", index)
        kind = _COMPONENTS.get(_whole(entry, "componentType", 0))
        count = _whole(entry, "count", 0)
        if kind is None or _WIDTHS.get(entry.get("type")) != width:
            raise SurfaceError(f"accessor {index} is not of a kind that can be read")
        if width == 1 and kind not in ("u1", "<u2", "<u4"):
            raise SurfaceError(f"accessor {index} gives corners that are not whole numbers")
        if "sparse" in entry:
            raise SurfaceError("it holds sparse numbers; export it plainly")
        dtype = np.dtype(kind)
        view = self._item("bufferViews", entry.get("bufferView"))
        data = self._view(view)
        step = _whole(view, "byteStride", 0) or dtype.itemsize * width
        start = _whole(entry, "byteOffset", 0)
        end = start + (count - 1) * step + dtype.itemsize * width if count else start
        if step < dtype.itemsize * width or end > len(data):
            raise SurfaceError(f"accessor {index} promises {end} bytes of {len(data)}: cut short")
        found = np.ndarray((count, width), dtype, data, start, (step, dtype.itemsize))
        if entry.get("normalized") is True and kind != "<f4":
            return found.astype(float) / np.iinfo(dtype).max
        return found if kind == "<f4" else found.astype(np.int64)

    def _view(self, view: dict) -> bytes:
        buffer = self._buffer(view.get("buffer"))
        start = _whole(view, "byteOffset", 0)
        end = start + _whole(view, "byteLength", 0)
        if end > len(buffer):
            raise SurfaceError(f"a view promises {end} bytes of {len(buffer)}: cut short")
        return memoryview(buffer)[start:end]

    def _buffer(self, index) -> bytes:
        entry = self._item("buffers", index)
        if index not in self._buffers:
            self._buffers[index] = self._load(entry, index)
        return self._buffers[index]

    def _load(self, entry: dict, index: int) -> bytes:
        uri = entry.get("uri")
        if uri is None and index == 0 and self._binary is not None:
            return self._binary
        if not isinstance(uri, str):
            raise SurfaceError(f"buffer {index} is not there")
        if uri.startswith("data:"):
            try:
                return base64.b64decode(uri.partition(",")[2], validate=True)
            except (binascii.Error, ValueError):
                raise SurfaceError(f"buffer {index} cannot be decoded") from None
        path = _beside(self._folder, uri)
        try:
            return path.read_bytes()
        except (OSError, ValueError):
            raise SurfaceError(
                f"its numbers are in {uri[:80]!r}, which is not beside it; copy both files "
                "together, or export one .glb"
            ) from None


def _list(entry: dict, name: str) -> list:
    found = entry.get(name, [])
    if not isinstance(found, list):
        raise SurfaceError(f"{name} is not a list")
    return found


def _name(entry) -> str:
    return str(entry.get("name", "")) if isinstance(entry, dict) else ""


def _whole(entry: dict, name: str, default: int) -> int:
    value = entry.get(name, default)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 1 << 40:
        raise SurfaceError(f"{name} is {str(value)[:20]}, not a possible number")
    return value


def _node_matrix(node: dict) -> np.ndarray:
    """(4, 4) float: place of a node in the one above it."""
    matrix = np.eye(4)
    if "matrix" in node:
        return _plain_numbers(node, "matrix", 16).reshape(4, 4).T
    if "rotation" in node:
        x, y, z, w = _unit_quaternion(_plain_numbers(node, "rotation", 4))
        matrix[:3, :3] = [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    if "scale" in node:
        matrix[:3, :3] *= _plain_numbers(node, "scale", 3)
    if "translation" in node:
        matrix[:3, 3] = _plain_numbers(node, "translation", 3)
    return matrix


def _unit_quaternion(values: np.ndarray) -> np.ndarray:
    size = np.linalg.norm(values)
    if not 0.9 < size < 1.1:
        raise SurfaceError(f"a rotation has the length {size:.3g}, not 1")
    return values / size


def _plain_numbers(node: dict, name: str, count: int) -> np.ndarray:
    values = node[name]
    plain = isinstance(values, list) and all(
        isinstance(value, int | float) and abs(value) < 1e12 for value in values
    )
    if not plain or len(values) != count:
        raise SurfaceError(f"{name} of a node is not {count} believable numbers")
    return np.array(values, dtype=float)


def _faces_of_mode(corners: np.ndarray, mode: int) -> np.ndarray:
    """(m, 3) int: triangles of a list (4), a strip (5) or a fan (6)."""
    if mode == 4:
        if len(corners) % 3:
            raise SurfaceError(f"{len(corners)} corners do not make whole triangles")
        return corners.reshape(-1, 3).astype(np.int64)
    n = max(len(corners) - 2, 0)
    k = np.arange(n)
    if mode == 6:
        return np.stack([np.broadcast_to(corners[:1], n), corners[k + 1], corners[k + 2]], axis=1)
    odd = k % 2
    return np.stack([corners[k], corners[k + 1 + odd], corners[k + 2 - odd]], axis=1)


def read_3mf(data: bytes, folder: Path | None = None) -> list[Part]:
    """Parts of a 3MF file, one for each item that is built, in the unit that it states.

    Parameters
    ----------
    data : bytes of the file
    folder : not used

    Returns
    -------
    list of Part
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _Package(archive).parts()
    except SurfaceError:
        raise
    except _UNPACKING as error:
        raise SurfaceError(f"it cannot be unpacked ({str(error)[:80]}); copy it again") from None


class _Package:
    """An opened 3MF archive with the models in it."""

    def __init__(self, archive: zipfile.ZipFile):
        self._archive, self._left, self._models = archive, MOST_UNPACKED, {}
        self._names = {name.lower(): name for name in archive.namelist()}
        promised = sum(entry.file_size for entry in archive.infolist())
        packed = sum(entry.compress_size for entry in archive.infolist())
        if promised > MOST_UNPACKED or promised > 200 * packed + (1 << 20):
            raise SurfaceError(
                f"unpacked it would have {promised / 1e6:.0f} MB from {packed / 1e6:.1f} MB; "
                f"{MOST_UNPACKED / 1e6:.0f} MB and 200 times are allowed"
            )
        self._root = self._root_path()

    def _root_path(self) -> str:
        relations = self._names.get("_rels/.rels")
        if relations is not None:
            text = self._bytes(relations, 1 << 20).decode("utf-8", "replace")
            for tag in re.findall(r"<Relationship\b[^>]*>", text):
                target = re.search(r"\bTarget\s*=\s*[\"']/?([^\"']+)[\"']", tag)
                if target and re.search(r"\bType\s*=\s*[\"'][^\"']*/3dmodel[\"']", tag):
                    return target.group(1)
        return "3D/3dmodel.model"

    def _bytes(self, name: str, most: int) -> bytes:
        with self._archive.open(name) as stream:
            found = stream.read(most + 1)
        if len(found) > most:
            raise SurfaceError(f"{name} in it is larger than {most} bytes")
        return found

    def _model(self, path: str) -> _Model:
        key = path.lstrip("/").lower()
        if key not in self._models:
            if key not in self._names:
                raise SurfaceError(f"it holds no model {path[:80]!r}")
            model = _Model()
            with self._archive.open(self._names[key]) as stream:
                while block := stream.read(1 << 20):
                    self._left -= len(block)
                    if self._left < 0:
                        raise SurfaceError(f"unpacked it is larger than {MOST_UNPACKED} bytes")
                    model.feed(block)
            model.feed(b"", last=True)
            self._models[key] = model
        return self._models[key]

    def parts(self) -> list[Part]:
        root = self._model(self._root)
        unit, factor = UNITS_3MF[root.unit]
        found, names, total = [], [], 0
        for reference, matrix in root.items:
            meshes = self._placed(self._root, reference, matrix)
            name = root.names.get(reference.key, "") or f"object {reference.key}"
            vertices, triangles, start = [], [], 0
            for points, faces in meshes:
                total += len(faces)
                if total > MOST_TRIANGLES:
                    raise SurfaceError(f"its copies have more than {MOST_TRIANGLES} triangles")
                vertices.append(points)
                triangles.append(faces + start)
                start += len(points)
            if sum(map(len, triangles)):
                names.append(name)
                found.append((np.concatenate(vertices) * factor, np.concatenate(triangles)))
        named = zip(unique_names(names), found, strict=True)
        return [compact_part(name, *part, unit=unit) for name, part in named]

    def _placed(self, path: str, reference: _Reference, matrix: np.ndarray):
        """Points and triangles of every mesh below a reference, placed."""
        waiting, visits = [(path, reference, matrix, 0)], 0
        while waiting:
            path, reference, above, depth = waiting.pop()
            visits += 1
            if depth > MOST_DEPTH or visits > MOST_COPIES:
                raise SurfaceError(
                    f"its objects are made of each other in a circle, deeper than {MOST_DEPTH}, "
                    f"or placed more than {MOST_COPIES} times"
                )
            path = reference.path or path
            model = self._model(path)
            if reference.key in model.components:
                below = model.components[reference.key]
                waiting += [(path, r, above @ m, depth + 1) for r, m in reversed(below)]
            elif reference.key in model.meshes:
                yield _at(model.meshes[reference.key], above)
            else:
                raise SurfaceError(f"it places an object {reference.key!r} that it does not hold")


class _Reference:
    """Which object of which model."""

    def __init__(self, path: str | None, key: str):
        self.path, self.key = path, key


class _Model:
    """One model of a 3MF package, read as it arrives."""

    def __init__(self):
        self.unit, self.names, self.meshes = "millimeter", {}, {}
        self.components: dict[str, list] = {}
        self.items: list = []
        self._key = ""
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._start
        self._parser.StartDoctypeDeclHandler = self._refuse
        self._parser.EntityDeclHandler = self._refuse

    def feed(self, block: bytes, last: bool = False):
        try:
            self._parser.Parse(block, last)
        except expat.ExpatError as error:
            raise SurfaceError(f"its model is no whole XML ({error})") from None
        except SurfaceError:
            raise
        except (LookupError, ValueError, OverflowError) as error:
            line = self._parser.CurrentLineNumber
            raise SurfaceError(
                f"line {line} of its model cannot be read ({type(error).__name__}: "
                f"{str(error)[:60]})"
            ) from None

    def _refuse(self, *_):
        raise SurfaceError("its model declares a document type or entities; that is not allowed")

    def _start(self, tag: str, given: dict[str, str]):
        kind = tag[tag.rfind(" ") + 1 :]
        if kind == "vertex":
            points = self.meshes[self._key][0]
            points.append(float(given["x"]))
            points.append(float(given["y"]))
            points.append(float(given["z"]))
        elif kind == "triangle":
            self.meshes[self._key][1].extend((int(given["v1"]), int(given["v2"]), int(given["v3"])))
        elif kind in ("model", "object", "mesh", "component", "item"):
            self._start_other(kind, given)

    def _start_other(self, kind: str, given: dict[str, str]):
        if kind == "model":
            self.unit = given.get("unit", "millimeter")
            if self.unit not in UNITS_3MF:
                raise SurfaceError(
                    f"its unit {self.unit[:30]!r} is not one of {', '.join(UNITS_3MF)}"
                )
        elif kind == "object":
            self._key = given["id"]
            self.names[self._key] = given.get("name", "")
        elif kind == "mesh":
            self.meshes[self._key] = (array("d"), array("q"))
        else:
            path = next((given[name] for name in given if name.endswith(" path")), None)
            entry = (_Reference(path, given["objectid"]), _matrix_3mf(given.get("transform")))
            place = self.items if kind == "item" else self.components.setdefault(self._key, [])
            place.append(entry)


def _matrix_3mf(text: str | None) -> np.ndarray:
    """(4, 4) float from twelve numbers, row by row of the transposed matrix."""
    matrix = np.eye(4)
    if text is not None:
        values = [float(word) for word in text.split()]
        if len(values) != 12 or not all(math.isfinite(v) and abs(v) < 1e12 for v in values):
            raise ValueError("a transform is not twelve believable numbers")
        matrix[:3, :] = np.reshape(values, (4, 3)).T
    return matrix


def _at(mesh, matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    vertices = np.frombuffer(mesh[0], float).reshape(-1, 3) if mesh[0] else np.zeros((0, 3))
    triangles = np.array(mesh[1], dtype=np.int64).reshape(-1, 3)
    require_known_vertices(len(vertices), triangles)
    if np.linalg.det(matrix[:3, :3]) < 0.0:
        triangles = triangles[:, [0, 2, 1]]
    return vertices @ matrix[:3, :3].T + matrix[:3, 3], triangles
