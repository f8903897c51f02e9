"""A block of bytes that holds a header and arrays of whole numbers.

Layout, little-endian: the four bytes ``PCLB``, the length of the header as a 32-bit whole number,
the header as JSON in UTF-8, filled with blanks to a multiple of four, then the arrays. The header
lists every array with type, shape and place; the bytes of whole numbers lie in planes, first the
lowest byte of all, then the next, which deflates better.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

MAGIC = b"PCLB"


class BlockArrays:
    """Arrays of a block, in order."""

    def __init__(self):
        self._entries, self._bytes, self._size = [], [], 0

    def add(self, name: str, values, dtype: str, **more) -> str:
        """Append an array, with more entries for its line in the header; gives its name back."""
        values = np.ascontiguousarray(values, dtype=dtype)
        raw, size = values.tobytes(), values.itemsize
        raw = b"".join(raw[k::size] for k in range(size))
        entry = {"name": name, "type": dtype[1:], "shape": list(values.shape), "at": self._size}
        self._entries.append(entry | more)
        self._bytes.append(raw + bytes(-len(raw) % 4))
        self._size += len(self._bytes[-1])
        return name

    def joined(self, header: dict[str, Any]) -> bytes:
        """The whole block."""
        text = json.dumps(
            plain({**header, "arrays": self._entries}), ensure_ascii=False, separators=(",", ":")
        )
        head = text.encode("utf-8")
        head += b" " * (-len(head) % 4)
        return b"".join([MAGIC, len(head).to_bytes(4, "little"), head, *self._bytes])


def block_header(block: bytes) -> dict[str, Any]:
    """The header of a block.

    Examples
    --------
    >>> block_header(BlockArrays().joined({"format": 1}))
    {'format': 1, 'arrays': []}
    """
    return json.loads(block[8 : 8 + _header_size(block)])


def block_arrays(block: bytes) -> dict[str, np.ndarray]:
    """Name -> array of whole numbers, of the types and shapes that the header names.

    Examples
    --------
    >>> arrays = BlockArrays()
    >>> name = arrays.add("a", [[1, -300]], "<i2")
    >>> block_arrays(arrays.joined({}))["a"].tolist()
    [[1, -300]]
    """
    start, found = 8 + _header_size(block), {}
    for entry in block_header(block)["arrays"]:
        kind = np.dtype("<" + entry["type"])
        size = int(np.prod(entry["shape"]))
        at = start + entry["at"]
        planes = np.frombuffer(block[at : at + size * kind.itemsize], np.uint8)
        raw = planes.reshape(kind.itemsize, size).T.tobytes()
        found[entry["name"]] = np.frombuffer(raw, kind).reshape(entry["shape"])
    return found


def _header_size(block: bytes) -> int:
    return int.from_bytes(block[4:8], "little")


def plain(value):
    """Numbers that JSON has; those that do not exist are null."""
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.10g}") if np.isfinite(value) else None
    return value
