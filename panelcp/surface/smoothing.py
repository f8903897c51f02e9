"""Noise of a scan: estimated, and smoothed away no more than is asked."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.scanning import Adjacency, adjacency

SHARE = 0.6
"""Part of the way to the mean of the neighbours in one step; more would overshoot."""

DOUBLINGS = 7
"""The broadest mean takes 2**7 steps: about nine edges wide."""

CONFIDENCE = 2.5
"""A difference of so many standard deviations of the noise is a feature."""

NORMAL_STEPS = 8
"""Steps after which the skin is smooth enough for its normals."""

LEVEL_STEPS = 6
"""Steps by which the chosen breadth is evened out over the skin."""

SAMPLE = 20_000
NOISELESS = 2e-5
"""m; a skin rougher than this by less is left alone."""


@dataclass(frozen=True, eq=False)
class _Averaging:
    """Weights of the neighbours in the mean at each vertex; vertices on BL 0 have y = 0."""

    joined: Adjacency
    weights: np.ndarray
    on_plane: np.ndarray

    def steps(self, values, count: int, moves_y: bool = True) -> np.ndarray:
        """Values after a number of steps towards the mean."""
        from panelcp.surface.scanning_kernels import relaxed

        for _ in range(count):
            values = relaxed(values, self.joined.starts, self.joined.links, self.weights, SHARE)
            if moves_y:
                values[self.on_plane, 1] = 0.0
        return values


def smoothed(
    vertices, triangles, largest_move: float, noise: float | None = None
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Take the noise out of a scan; what stands out above the noise stays.

    Parameters
    ----------
    vertices : (n, 3) float, m
    triangles : (m, 3) int, one winding, open or closed; open edges with y = 0 are the centre line
    largest_move : m, no vertex is moved farther
    noise : m, rms along the normal; estimated when not given

    Returns
    -------
    vertices : smoothed; those of an open edge at y = 0 keep y = 0
    triangles : as given
    notes : lines that say what was done, with the noise before and after

    Raises
    ------
    SurfaceError : a largest move or a noise that is not positive

    Notes
    -----
    Means over 1, 2, 4, ... steps along the edges, each freed of most of its shrinkage by
    2 M - M M (M the mean; a bump of long wave keeps its height to the second order). At each
    vertex the broadest of them is taken that agrees with all narrower ones within the noise they
    can have; a lip or an edge does not, and gets a narrow one. Source of the choice: O. V.
    Lepskii, On a problem of adaptive estimation in Gaussian white noise, Theory of Probability and
    its Applications 35, 1990 (from memory). Noise that is alike over many edges looks like shape
    and stays.
    """
    points = np.ascontiguousarray(vertices, dtype=float)
    triangles = np.asarray(triangles)
    for value, name in ((largest_move, "largest move"), (noise, "noise")):
        if value is not None and not (np.isfinite(value) and value > 0.0):
            raise SurfaceError(f"smoothing: {name} is {value} m; expected more than 0")
    averaging = _averaging(points, triangles)
    before, normals = _roughness(points, triangles, averaging)
    level = before if noise is None else noise
    if level < NOISELESS:
        return points, triangles, [f"no smoothing: noise only {level * 1e6:.0f} micrometres"]
    wanted = _broadest_in_agreement(points, averaging, normals, level)
    move = wanted - points
    length = np.linalg.norm(move, axis=1)
    limited = length > largest_move
    share = np.divide(largest_move, length, out=np.ones_like(length), where=limited)
    result = points + share[:, None] * move * (1.0 - 1e-12 * limited[:, None])
    after, _ = _roughness(result, triangles, averaging)
    return result, triangles, _notes(result - points, normals, (before, after, noise), limited)


def noise_estimate(vertices, triangles) -> float:
    """Roughness, m: median rms distance along the normal from local quadratic surfaces.

    Each is fitted to a vertex and its two rings of neighbours; 20 000 vertices are looked at.
    Noise that is alike over two rings is not seen.
    """
    points = np.ascontiguousarray(vertices, dtype=float)
    return _roughness(points, triangles, _averaging(points, triangles))[0]


def vertex_normals(vertices, triangles) -> np.ndarray:
    """(n, 3) float, unit: mean of the triangles at a vertex, weighted with their area."""
    a, b, c = np.moveaxis(np.asarray(vertices)[triangles], 1, 0)
    vectors = np.cross(b - a, c - a)
    sums = np.zeros((len(vertices), 3))
    for axis in range(3):
        for corner in range(3):
            sums[:, axis] += np.bincount(
                np.asarray(triangles)[:, corner], weights=vectors[:, axis], minlength=len(sums)
            )
    return sums / np.maximum(np.linalg.norm(sums, axis=1, keepdims=True), 1e-300)


def calmed(vertices, triangles, steps: int = NORMAL_STEPS) -> tuple[np.ndarray, np.ndarray]:
    """Vertices after a few steps of averaging, and their normals: a first look at a noisy skin."""
    points = np.ascontiguousarray(vertices, dtype=float)
    averaging = _averaging(points, triangles)
    points = _unshrunk(averaging.steps(points, steps), averaging, steps)
    return points, vertex_normals(points, triangles)


def _unshrunk(once: np.ndarray, averaging: _Averaging, steps: int) -> np.ndarray:
    return 2.0 * once - averaging.steps(once, steps)


def _averaging(points, triangles) -> _Averaging:
    """Even weights inside; along the edge only on open edges; both sides of it on BL 0."""
    joined = adjacency(len(points), triangles)
    rows, rim = joined.rows, joined.on_rim
    on_plane = rim & (points[:, 1] == 0.0)
    weights = np.ones(len(joined.links))
    weights[rim[rows] & ~on_plane[rows] & ~joined.single] = 0.0
    weights[on_plane[rows] & ~joined.single] = 2.0
    weights[on_plane[rows] & joined.single & ~on_plane[joined.links]] = 0.0
    sums = np.bincount(rows, weights=weights, minlength=len(points))
    return _Averaging(joined, weights / np.maximum(sums[rows], 1e-300), on_plane)


def _roughness(points, triangles, averaging: _Averaging) -> tuple[float, np.ndarray]:
    from panelcp.surface.scanning_kernels import fit_residuals

    calm = _unshrunk(averaging.steps(points, NORMAL_STEPS), averaging, NORMAL_STEPS)
    normals = vertex_normals(calm, triangles)
    inner = np.flatnonzero(~averaging.joined.on_rim)
    if len(inner) == 0:
        return 0.0, normals
    chosen = inner[:: max(1, len(inner) // SAMPLE)]
    joined = averaging.joined
    variance = fit_residuals(chosen, points, normals, joined.starts, joined.links)
    variance = variance[np.isfinite(variance)]
    if len(variance) == 0:
        return 0.0, normals
    # the median of chi squared with 13 degrees of freedom is 0.949 of its mean
    return float(np.sqrt(np.median(variance) / 0.949)), normals


def _broadest_in_agreement(points, averaging: _Averaging, normals, noise: float) -> np.ndarray:
    """Mean at each vertex over the broadest neighbourhood that shows no feature."""
    random = np.random.default_rng(1).normal(size=(len(points), 1))
    means, tests = [points], [random]
    for k in range(DOUBLINGS):
        count = 2 ** max(k - 1, 0)
        means.append(averaging.steps(means[-1], count))
        tests.append(averaging.steps(tests[-1], count, moves_y=False))
    estimates = [points] + [2.0 * a - b for a, b in itertools.pairwise(means[1:])]
    spreads = [random] + [2.0 * a - b for a, b in itertools.pairwise(tests[1:])]
    heights = [((e - points) * normals).sum(axis=1) for e in estimates]
    chosen = np.zeros(len(points))
    agrees = np.ones(len(points), dtype=bool)
    for k in range(1, len(estimates)):
        for j in range(k):
            allowed = CONFIDENCE * noise * float(np.std(spreads[k] - spreads[j]))
            if j == 0:
                allowed *= 4.0 / CONFIDENCE  # the vertex itself, with all of its noise
            agrees &= np.abs(heights[k] - heights[j]) <= allowed
        chosen[agrees] = k
    even = averaging.steps(chosen[:, None], LEVEL_STEPS, moves_y=False)[:, 0]
    return _between(estimates, np.clip(even, 0.0, len(estimates) - 1.0))


def _between(estimates, level) -> np.ndarray:
    """Estimates interpolated linearly in their number."""
    result = np.zeros_like(estimates[0])
    for k, estimate in enumerate(estimates):
        result += np.maximum(0.0, 1.0 - np.abs(level - k))[:, None] * estimate
    return result


def _notes(move, normals, levels, limited) -> list[str]:
    before, after, given = levels
    length = np.linalg.norm(move, axis=1)
    outward = float((move * normals).sum(axis=1).mean())
    told = "" if given is None else f" (taken as {given * 1e3:.2f} mm, as given)"
    lines = [
        f"smoothed: noise {before * 1e3:.2f} mm before{told}, {after * 1e3:.2f} mm after; vertices "
        f"moved {np.sqrt((length**2).mean()) * 1e3:.2f} mm rms, {length.max() * 1e3:.2f} mm at "
        f"most, {outward * 1e3:+.3f} mm outward in the mean"
    ]
    if limited.any():
        lines.append(
            f"{np.count_nonzero(limited)} of {len(limited)} vertices wanted to move farther than "
            "allowed and were held"
        )
    return lines
