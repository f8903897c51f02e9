"""A shorter way to write the block of the live page, without any loss.

Neighbours on the skin are much alike. So an array is written as what is left of it when it is
foretold from what comes before, which deflates to about two thirds:

- triangles: the next new vertex; on the second half of a mirrored surface, the twin's image
- vertices: the fourth corner of a parallelogram with the triangle across the edge, or the twin's
  image
- points: the middle of the corners, and as far from it as the neighbours' points
- normals: that of the flat triangle; the largest component from the other two
- velocities: the mean of the neighbours', turned into the frame of the panel; over a ground, what
  is left beside a field of the free air
- thickness: the mean of the neighbours

Neighbours are those across an edge that come earlier. `block_coding.js` does the same steps
backwards. Both must foretell the same whole numbers, so here every floating-point step is written
out: sums from left to right, square roots, halves rounded up.
"""

from __future__ import annotations

import base64
import zlib

import numpy as np

from panelcp.report.live.block_bytes import BlockArrays, block_arrays, block_header

DENSE = 32767
"""Length of a stored normal."""


def packed_block(block: bytes) -> str:
    """A block, coded, deflated and written in base64, for a page."""
    return packed_bytes(coded_block(block))


def packed_bytes(data: bytes) -> str:
    """Bytes deflated and written in base64, for a page."""
    return base64.b64encode(zlib.compress(data, 9)).decode("ascii")


def coded_block(block: bytes) -> bytes:
    """The block with what is left of its arrays instead of the arrays.

    Parameters
    ----------
    block : see `panelcp.report.live.block.live_block`

    Returns
    -------
    bytes of the same layout; coded arrays have the entries `code`, `of` (type and shape of the
    array itself) and for some fields `like` (name of the array they are foretold from)
    """
    header, arrays = block_header(block), block_arrays(block)
    left, like = _what_is_left(header, {k: v.astype(np.int64) for k, v in arrays.items()})
    written = BlockArrays()
    for entry in header.pop("arrays"):
        name, kind = entry["name"], entry["type"]
        if name not in left:
            written.add(name, arrays[name], "<" + kind)
            continue
        more = {"code": name.split(" ")[0], "of": kind, "like": like.get(name)}
        numbers = _folded(left[name])
        written.add(name, numbers, _least_type(numbers), size=entry["shape"], **more)
    return written.joined(header)


def frames_of(numbers) -> tuple[np.ndarray, np.ndarray]:
    """Two axes (n, 3) along the skin, from normals (n, 3) of any length."""
    normals = _unit(np.asarray(numbers, dtype=float))
    axis = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    first = _unit(np.cross(normals, axis))
    return first, np.cross(normals, first)


def _folded(values) -> np.ndarray:
    """0, -1, 1, -2, 2 ... as 0, 1, 2, 3, 4 ..."""
    return np.where(values < 0, -2 * values - 1, 2 * values)


def _least_type(numbers) -> str:
    most = int(numbers.max(initial=0))
    return "<u1" if most < 2**8 else "<u2" if most < 2**16 else "<u4"


def _rounded(values) -> np.ndarray:
    return np.floor(values + 0.5).astype(np.int64)


def _length(vectors) -> np.ndarray:
    x, y, z = vectors.T
    return np.sqrt(x * x + y * y + z * z)


def _unit(vectors) -> np.ndarray:
    return vectors / _length(vectors)[:, None]


def _what_is_left(header, arrays) -> tuple[dict[str, np.ndarray], dict[str, str]]:
    """Name -> what is left of the array, and name -> the array it is foretold from."""
    triangles, stored = arrays["triangles"], header["n_stored"]
    half = stored if header["mirrored"] else len(triangles)
    across = _neighbours(triangles)
    corners = _placed(arrays["vertices"], header["vertex_box"])[triangles[:stored]]
    left = {
        "triangles": _left_of_triangles(triangles, half),
        "vertices": _left_of_vertices(arrays["vertices"], triangles, half, header["levels"]),
        "points": _left_of_points(arrays["points"], corners, across[:stored], header["point_box"]),
        "normals": _left_of_normals(arrays["normals"], corners),
    }
    if "thickness" in arrays:
        codes = arrays["thickness"]
        beside = codes - _rounded(_mean(codes.T, across).T)
        left["thickness"] = (beside + 128) % 256 - 128  # one byte: it is added modulo 256
    velocities, like = _left_of_velocities(header, arrays, across)
    return left | velocities, like


def _placed(numbers, box) -> np.ndarray:
    return np.array(box["low"]) + np.array(box["step"]) * numbers


# --- triangles and vertices ------------------------------------------------------------------


def _neighbours(triangles) -> np.ndarray:
    """(n, 3) int: across each edge the first triangle that has it; -1 where it is the same one."""
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    keys = edges[:, 0] * (int(triangles.max(initial=0)) + 1) + edges[:, 1]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    found = (first[inverse] // 3).reshape(-1, 3)
    return np.where(found == np.arange(len(triangles))[:, None], -1, found)


def _twin(triangles, t: int, half: int):
    """Corners of the triangle whose image this is, in the order of its own corners."""
    a, b, c = triangles[t - half]
    return a, c, b


def _left_of_triangles(triangles, half: int) -> np.ndarray:
    """What is foretold less the vertex, corner by corner."""
    rows, new, image, left = triangles.tolist(), 0, {}, []
    for t, corners in enumerate(rows):
        twins = corners if t < half else _twin(rows, t, half)
        for vertex, twin in zip(corners, twins, strict=True):
            foretold = new if t < half else image.get(twin, new)
            left.append(foretold - vertex)
            new = max(new, vertex + 1)
            if t >= half:
                image[twin] = vertex
    return np.array(left, dtype=np.int64).reshape(-1, 3).T


def _left_of_vertices(vertices, triangles, half: int, levels: int) -> np.ndarray:
    """(3, n_vertices): in the order in which triangles have them, then those that none has."""
    places, rows = vertices.tolist(), triangles.tolist()
    known, third, left, last = set(), {}, [], [0, 0, 0]
    for t, corners in enumerate(rows):
        for k, vertex in enumerate(corners):
            if vertex in known:
                continue
            if t < half:
                foretold = _fourth_corner(places, corners, k, known, third, last)
            else:
                x, y, z = places[_twin(rows, t, half)[k]]
                foretold = [x, levels - y, z]
            last = places[vertex]
            left.append([a - b for a, b in zip(last, foretold, strict=True)])
            known.add(vertex)
        for k in range(3):
            one, other = corners[k], corners[(k + 1) % 3]
            third.setdefault((min(one, other), max(one, other)), corners[(k + 2) % 3])
    for vertex, place in enumerate(places):
        if vertex not in known:
            left.append(place)
    return np.array(left, dtype=np.int64).reshape(-1, 3).T


def _fourth_corner(places, corners, k, known, third, last) -> list[int]:
    """Where a new corner may lie: a parallelogram, else a known corner, else the last new one."""
    one, other = corners[(k + 1) % 3], corners[(k + 2) % 3]
    across = third.get((min(one, other), max(one, other)))
    if across is not None:
        parts = zip(places[one], places[other], places[across], strict=True)
        return [a + b - c for a, b, c in parts]
    for vertex in (one, other):
        if vertex in known:
            return places[vertex]
    return last


# --- what lies on the panels -----------------------------------------------------------------


def _mean(values, across) -> np.ndarray:
    """Mean (n, k) of the neighbours' values (n, k); 0 where there is none."""
    total, count = np.zeros(values.shape), np.zeros(len(values))
    for neighbour in across.T:
        there = neighbour >= 0
        total[there] += values[neighbour[there]]
        count += there
    return total / np.maximum(count, 1.0)[:, None]


def _left_of_points(points, corners, across, box) -> np.ndarray:
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    beside = points - _rounded((middle - np.array(box["low"])) / np.array(box["step"]))
    return (beside - _rounded(_mean(beside, across))).T


def _left_of_normals(normals, corners) -> np.ndarray:
    """(3, n): of the two smaller components, then of the largest."""
    flat = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = _length(flat)
    flat = _rounded(DENSE * flat / np.where(length > 0.0, length, 1.0)[:, None])
    largest = np.argmax(np.abs(flat), axis=1)
    others = np.array([[1, 2], [0, 2], [0, 1]])[largest]
    row = np.arange(len(normals))
    one, two = (normals[row, others[:, k]] for k in range(2))
    size = _rounded(np.sqrt(np.maximum(float(DENSE) ** 2 - one * one - two * two, 0.0)))
    foretold = np.where(flat[row, largest] < 0, -size, size)
    beside = [normals[row, others[:, k]] - flat[row, others[:, k]] for k in range(2)]
    return np.stack([*beside, normals[row, largest] - foretold])


def _left_of_velocities(header, arrays, across):
    """Of every field; those of a later part beside the field of the first that leaves least."""
    frames = frames_of(arrays["normals"])
    if header["mirrored"]:
        image = np.array([1.0, -1.0, 1.0])
        frames = tuple(np.concatenate([axis, axis * image]) for axis in frames)
    left, like, first = {}, {}, header["parts"][0]["fields"]
    for number, part in enumerate(header["parts"]):
        for field in part["fields"]:
            name = field["array"]
            tried = [(None, _beside_neighbours(arrays[name], frames, across))]
            for other in first if number else ():
                if _of_one_kind(field, other):
                    ratio = other["step"] / field["step"]
                    change = arrays[name] - _rounded(ratio * arrays[other["array"]])
                    tried.append((other["array"], _beside_neighbours(change, frames, across)))
            chosen, left[name] = min(tried, key=lambda one: _cost(one[1]))
            if chosen is not None:
                like[name] = chosen
    return left, like


def _of_one_kind(field, other) -> bool:
    return all(field.get(key) == other.get(key) for key in ("kind", "axis", "parity"))


def _cost(left) -> int:
    """Bytes that the numbers take."""
    return len(zlib.compress(_folded(left).astype("<u4").T.tobytes()))


def _beside_neighbours(along, frames, across) -> np.ndarray:
    """(2, n) components less the mean of the neighbours in the frame of the panel."""
    n = along.shape[1]
    first, second = (axis[:n] for axis in frames)
    one, two = along
    mean = _mean(one[:, None] * first + two[:, None] * second, across[:n])
    foretold = [
        _rounded(mean[:, 0] * axis[:, 0] + mean[:, 1] * axis[:, 1] + mean[:, 2] * axis[:, 2])
        for axis in (first, second)
    ]
    return along - np.stack(foretold)
