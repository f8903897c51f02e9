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

BREADTHS = (2.0, 2.8, 4.0, 5.6, 8.0, 11.0)
"""Radii of the fitted surfaces, in mean edges of the vertex."""

TURNS = (25.0, 60.0)
"""deg; neighbours whose normals differ by more have no part in a fit: at a sharp edge, elsewhere.
"""

GAIN = 0.06
"""A fit of the smaller turn is taken where it foretells better by this part of the variance."""

INDIFFERENT = 0.02
"""The broadest fit is taken that foretells worse than the best by no more than this part."""

POOLED, POOLED_TURN = 6.0, 45.0
"""Mean edges, and deg, over which the misfits are averaged, twice."""

EVENED = 3
"""Times that the distances left to the rough points are averaged before they are added."""

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
    First means over 1, 2, 4, ... steps along the edges, each freed of most of its shrinkage by
    2 M - M M (M the mean; a bump of long wave keeps its height to the second order). At each
    vertex the broadest of them is taken that agrees with all narrower ones within the noise they
    can have; a lip or an edge does not, and gets a narrow one. Source of the choice: O. V.
    Lepskii, On a problem of adaptive estimation in Gaussian white noise, Theory of Probability and
    its Applications 35, 1990 (from memory).

    Then quadratic surfaces are fitted to the rough points round each vertex, of several breadths
    and of neighbours that face alike only, so that none reaches round a sharp edge and those on a
    rounded one are long and narrow. Of these the broadest is taken that foretells the points left
    out of it as well as any. Sources: M. Stone, Cross-validatory choice and assessment of
    statistical predictions, Journal of the Royal Statistical Society B 36, 1974; S. Fleishman, I.
    Drori and D. Cohen-Or, Bilateral mesh denoising, SIGGRAPH 2003 (both from memory).

    What the rough points still stand off in the broad mean is added, so that the volume is kept
    (twicing: J. W. Tukey, Exploratory data analysis, 1977, from memory).

    Where a move is longer than allowed, the part along the skin is given up first. Noise that is
    alike over many edges looks like shape and stays, unless a higher noise is given.
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
    first = _broadest_in_agreement(points, averaging, normals, level)
    wanted = _refitted(points, triangles, first, max(0.0, level**2 - before**2))
    wanted[averaging.on_plane, 1] = 0.0
    result, limited = _held(points, wanted, normals, largest_move)
    result[averaging.on_plane, 1] = 0.0
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


@dataclass(frozen=True, eq=False)
class _Skin:
    """Rough points, places near them on a smoother skin, and its mirror image beside BL 0.

    image : (n_places,) int, which row of what is known of the half belongs to each place
    edge : (n_places,) float, m, mean length of the edges round each
    """

    rough: np.ndarray
    places: np.ndarray
    normals: np.ndarray
    joined: Adjacency
    image: np.ndarray
    edge: np.ndarray

    def pooled(self, values, reach: float) -> np.ndarray:
        """Means of values (n, k), one row for each vertex of the half, within so many edges."""
        from panelcp.surface.scanning_kernels import pooled

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        least = np.cos(np.radians(POOLED_TURN))
        return pooled(len(values), values, self.image, *around, reach * self.edge, least)

    def fits(self, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Heights, m, and squared misfits, m2, (n, k), of all surfaces; those of TURNS in turn.

        Those of the smaller turn only where the skin turns by more nearby.
        """
        from panelcp.surface.scanning_kernels import adapted_fits, least_facing

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        cosines, radii = np.cos(np.radians(TURNS)), np.array(BREADTHS)
        bent = least_facing(n, *around, POOLED * self.edge) < cosines[0]
        heights, misfits = np.zeros((n, 2, len(radii))), np.full((n, 2, len(radii)), np.nan)
        for k, chosen in enumerate((np.flatnonzero(bent), np.arange(n))):
            found = adapted_fits(chosen, self.rough, *around, self.edge, radii, cosines[k])
            heights[chosen, k], misfits[chosen, k] = found
        return heights.reshape(n, -1), misfits.reshape(n, -1)


def _refitted(points, triangles, first, allowed: float) -> np.ndarray:
    """Vertices on the quadratic surfaces that foretell best, over their first estimates.

    `allowed`, m2, is what a broader surface may foretell worse because the noise is known.
    """
    n = len(points)
    skin = _with_mirror_image(points, first, triangles)
    heights, misfits = skin.fits(n)
    risks = skin.pooled(skin.pooled(misfits, POOLED), POOLED)
    possible = np.isfinite(misfits) & np.isfinite(risks)
    chosen = _foretelling_best(np.where(possible, risks, np.inf), allowed)
    shares = np.where(possible, np.nan_to_num(skin.pooled(chosen, POOLED)), 0.0)
    shares /= np.maximum(shares.sum(axis=1, keepdims=True), 1e-300)
    fitted = first + (shares * heights).sum(axis=1)[:, None] * skin.normals[:n]
    left = ((points - fitted) * skin.normals[:n]).sum(axis=1, keepdims=True)
    for _ in range(EVENED):
        left = skin.pooled(left, POOLED)
    return fitted + np.nan_to_num(left) * skin.normals[:n]


def _foretelling_best(risks, allowed: float) -> np.ndarray:
    """(n, k) float, 1 for the surface taken at each vertex, 0 for the others or for all."""
    n, k = len(risks), len(BREADTHS)
    best = risks.reshape(n, len(TURNS), k).min(axis=2)
    narrow = best[:, 0] + allowed < (1.0 - GAIN) * best[:, 1]
    turn = np.where(narrow, 0, 1)
    own = np.take_along_axis(risks.reshape(n, len(TURNS), k), turn[:, None, None], 1)[:, 0]
    limit = (1.0 + INDIFFERENT) * own.min(axis=1) + allowed
    good = (own <= limit[:, None]) & np.isfinite(own)
    broadest = k - 1 - np.argmax(good[:, ::-1], axis=1)
    rows = np.flatnonzero(good.any(axis=1))
    chosen = np.zeros((n, len(TURNS) * k))
    chosen[rows, (turn * k + broadest)[rows]] = 1.0
    return chosen


def _with_mirror_image(points, first, triangles) -> _Skin:
    """The skin with as much of its mirror image about BL 0 as the broadest surface can reach."""
    n, joined = len(points), adjacency(len(points), triangles)
    edge = _mean_edges(first, joined)
    on_plane = joined.on_rim & (points[:, 1] == 0.0)
    image = np.arange(n)
    if on_plane.any():
        near = first[:, 1] <= 1.5 * BREADTHS[-1] * edge.max()
        copied = triangles[near[triangles].any(axis=1)]
        others = np.setdiff1d(copied, np.flatnonzero(on_plane))
        renamed = np.arange(n)
        renamed[others] = n + np.arange(len(others))
        triangles = np.vstack([triangles, renamed[copied][:, ::-1]])
        image = np.concatenate([image, others])
        joined = adjacency(len(image), triangles)
    across = np.ones((len(image), 3))
    across[n:, 1] = -1.0
    places = across * first[image]
    normals = vertex_normals(places, triangles)
    return _Skin(across * points[image], places, normals, joined, image, edge[image])


def _mean_edges(points, joined: Adjacency) -> np.ndarray:
    """(n,) float, m: mean length of the edges at each vertex, evened out over its neighbours."""
    rows = joined.rows
    count = np.maximum(np.bincount(rows, minlength=len(points)), 1)
    step = np.linalg.norm(points[rows] - points[joined.links], axis=1)
    edge = np.bincount(rows, weights=step, minlength=len(points)) / count
    for _ in range(3):
        mean = np.bincount(rows, weights=edge[joined.links], minlength=len(points)) / count
        edge = 0.5 * (edge + mean)
    return edge


def _held(points, wanted, normals, largest_move: float) -> tuple[np.ndarray, np.ndarray]:
    """Vertices moved no farther than allowed, first along the normal; which of them were held."""
    move = wanted - points
    limited = np.linalg.norm(move, axis=1) > largest_move
    largest = largest_move * (1.0 - 1e-12)
    along = np.clip((move * normals).sum(axis=1), -largest, largest)[:, None] * normals
    across = move - (move * normals).sum(axis=1, keepdims=True) * normals
    room = np.sqrt(np.maximum(0.0, largest**2 - (along**2).sum(axis=1)))
    length = np.linalg.norm(across, axis=1)
    share = np.minimum(1.0, np.divide(room, length, out=np.ones_like(room), where=length > 0.0))
    held = points + along + share[:, None] * across
    return np.where(limited[:, None], held, wanted), limited


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
