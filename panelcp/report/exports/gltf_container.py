"""A binary glTF 2.0 file from arrays: accessors, buffer views, and the two chunks.

Follows the open specification "glTF 2.0" of the Khronos Group (ISO/IEC 12113:2022). Written here
because what is wanted is small and no library writes all of it: trimesh, which is a dependency
already, puts colours into eight bits of their own and knows no unlit material; pygltflib writes
what it is given, so that the accessors would be made here all the same, and brings
dataclasses-json, marshmallow, typing-inspect and deprecated. Both read the file in the tests.
"""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np

FLOAT, UNSIGNED_SHORT, UNSIGNED_INT = 5126, 5123, 5125
_TYPES = {np.dtype("<f4"): FLOAT, np.dtype("<u2"): UNSIGNED_SHORT, np.dtype("<u4"): UNSIGNED_INT}
_SHAPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}
_VERTICES, _INDICES = 34962, 34963  # what a buffer view is for

_MAGIC, _VERSION, _JSON, _BINARY = 0x46546C67, 2, 0x4E4F534A, 0x004E4942
_RESTART = 65535
"""An index of two bytes that no vertex may have."""


class Buffer:
    """Arrays one behind the other, each on four bytes, with its accessor.

    Attributes
    ----------
    accessors, views : for the document
    """

    def __init__(self):
        self.accessors: list[dict[str, Any]] = []
        self.views: list[dict[str, Any]] = []
        self._parts: list[bytes] = []
        self._length = 0

    def vertices(self, values, normalized: bool = False) -> int:
        """Number of the accessor of an attribute of the vertices.

        Parameters
        ----------
        values : (n,), (n, 3) or (n, 4), written as float32; as they are when normalized
        normalized : unsigned 16-bit numbers that stand for 0 to 1
        """
        array = np.ascontiguousarray(values, dtype="<u2" if normalized else "<f4")
        return self._added(array, _VERTICES, normalized)

    def indices(self, values) -> int:
        """Number of the accessor of the vertices of triangles."""
        short = int(np.max(values, initial=0)) < _RESTART
        array = np.ascontiguousarray(values, dtype="<u2" if short else "<u4").ravel()
        return self._added(array, _INDICES, False)

    def _added(self, array: np.ndarray, target: int, normalized: bool) -> int:
        data = array.tobytes()
        self.views.append(
            {
                "buffer": 0,
                "byteOffset": self._length,
                "byteLength": len(data),
                "target": target,
            }
        )
        flat = array.reshape(len(array), -1)
        accessor = {
            "bufferView": len(self.views) - 1,
            "componentType": _TYPES[array.dtype],
            "count": len(array),
            "type": _SHAPES[flat.shape[1]],
            "min": flat.min(axis=0).tolist(),
            "max": flat.max(axis=0).tolist(),
        }
        if normalized:
            accessor["normalized"] = True
        self.accessors.append(accessor)
        padded = data + b"\0" * (-len(data) % 4)
        self._parts.append(padded)
        self._length += len(padded)
        return len(self.accessors) - 1

    @property
    def data(self) -> bytes:
        """All arrays."""
        return b"".join(self._parts)


def packed(document: dict[str, Any], buffer: Buffer) -> bytes:
    """The file as bytes: header, JSON padded with spaces, arrays.

    Parameters
    ----------
    document : all but accessors, bufferViews and buffers
    buffer : that its accessors stand in
    """
    data = buffer.data
    document = {
        **document,
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": len(data)}],
    }
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    encoded = text.encode()
    encoded += b" " * (-len(encoded) % 4)
    length = 12 + 8 + len(encoded) + 8 + len(data)
    return b"".join(
        [
            struct.pack("<3I", _MAGIC, _VERSION, length),
            struct.pack("<2I", len(encoded), _JSON),
            encoded,
            struct.pack("<2I", len(data), _BINARY),
            data,
        ]
    )
