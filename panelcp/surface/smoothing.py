"""Noise of a scan: estimated, and smoothed away no more than is asked."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.scanning import Adjacency, adjacency, reduced, vertex_normals

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

FITTED = 100_000
"""Where there are more vertices, surfaces are fitted at some of those on even skin only."""

MOST_SMOOTHED = 300_000
"""A scan of more triangles than this is reduced before surfaces are fitted."""

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
    largest_move : m, no vertex is moved farther (from the mean, where several became one)
    noise : m, rms along the normal; estimated when not given

    Returns
    -------
    vertices : smoothed; those of an open edge at y = 0 keep y = 0
    triangles : as given; of more than 300 000 so many are left (see `reduced`)
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

    Of more than 100 000 vertices, only some on even skin get surfaces of their own, which settle
    their neighbours too; all do where the skin turns by more than 25 degrees nearby.

    What the rough points still stand off in the broad mean is added, so that the volume is kept
    (twicing: J. W. Tukey, Exploratory data analysis, 1977, from memory).

    Where a move is longer than allowed, the part along the skin is given up first. Noise that is
    alike over many edges looks like shape and stays, unless a higher noise is given.
    """
    points = np.array(vertices, dtype=float, order="C")
    triangles = np.asarray(triangles)
    for value, name in ((largest_move, "largest move"), (noise, "noise")):
        if value is not None and not (np.isfinite(value) and value > 0.0):
            raise SurfaceError(f"smoothing: {name} is {value} m; expected more than 0")
    averaging = _averaging(points, triangles)
    before = _roughness(points, triangles, averaging)[0]
    level = before if noise is None else noise
    if level < NOISELESS:
        return points, triangles, [f"no smoothing: noise only {level * 1e6:.0f} micrometres"]
    unseen, notes = level**2 - before**2, []
    if len(triangles) > MOST_SMOOTHED:
        calm = _calm(points, averaging, NORMAL_STEPS)
        points, triangles, notes = reduced(points, triangles, MOST_SMOOTHED, calm)
        averaging = _averaging(points, triangles)
    result, normals, limited = _smoothed(points, triangles, averaging, unseen, largest_move)
    levels = before, _roughness(result, triangles, averaging)[0], noise
    return result, triangles, notes + _notes(result - points, normals, levels, limited)


def _smoothed(points, triangles, averaging: _Averaging, unseen: float, largest_move: float):
    """Smoothed vertices, normals along which they moved, and which were held; see above.

    `unseen`, m2, is what the squared noise is known to be more, or less, than is seen of it.
    """
    seen, normals = _roughness(points, triangles, averaging)
    level = float(np.sqrt(max(0.0, seen**2 + unseen)))
    first = _broadest_in_agreement(points, averaging, normals, level)
    wanted = _refitted(points, triangles, first, max(0.0, unseen))
    wanted[averaging.on_plane, 1] = 0.0
    result, limited = _held(points, wanted, normals, largest_move)
    result[averaging.on_plane, 1] = 0.0
    return result, normals, limited


def noise_estimate(vertices, triangles) -> float:
    """Roughness, m: median rms distance along the normal from local quadratic surfaces.

    Each is fitted to a vertex and its two rings of neighbours; 20 000 vertices are looked at.
    Noise that is alike over two rings is not seen.
    """
    points = np.array(vertices, dtype=float, order="C")
    return _roughness(points, triangles, _averaging(points, triangles))[0]


def calmed(vertices, triangles, steps: int = NORMAL_STEPS) -> tuple[np.ndarray, np.ndarray]:
    """Vertices after a few steps of averaging, and their normals: a first look at a noisy skin."""
    points = np.array(vertices, dtype=float, order="C")
    averaging = _averaging(points, triangles)
    points = _calm(points, averaging, steps)
    return points, vertex_normals(points, triangles)


def _calm(points, averaging: _Averaging, steps: int) -> np.ndarray:
    """Vertices after steps of averaging, freed of most of their shrinkage."""
    once = averaging.steps(points, steps)
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

    calm = _calm(points, averaging, NORMAL_STEPS)
    normals = vertex_normals(calm, triangles)
    inner = np.flatnonzero(~averaging.joined.on_rim)
    if len(inner) == 0:
        return 0.0, normals
    chosen = inner[:: max(1, len(inner) // SAMPLE)].copy()
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

    def nodes(self, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Vertices of the half at which surfaces are fitted; at which of them the skin is bent.

        All where the skin is bent nearby or ends, and of many others no two neighbours.
        """
        from panelcp.surface.scanning_kernels import apart_nodes, least_facing

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        rows, links = self.joined.rows, self.joined.links
        apart = apart_nodes(self.joined.starts, links, n) if n > FITTED else np.ones(n, dtype=bool)
        some = np.flatnonzero(apart)
        bent = np.zeros(len(self.places), dtype=bool)
        bent[some] = least_facing(some, *around, POOLED * self.edge) < np.cos(np.radians(TURNS[0]))
        if n > FITTED:
            bent[links[bent[rows]]] = True
        bent = bent[:n]
        chosen = np.flatnonzero(apart | bent | self.joined.on_rim[:n])
        return chosen, bent[chosen]

    def pooled(self, values, reach: float, known, wanted) -> np.ndarray:
        """Means of values (len(known), k) at vertices, within so many edges of the wanted ones."""
        from panelcp.surface.scanning_kernels import pooled

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        least = np.cos(np.radians(POOLED_TURN))
        return pooled(wanted, values, self._row(known), *around, reach * self.edge, least)

    def fits(self, nodes, bent) -> tuple[np.ndarray, np.ndarray]:
        """All surfaces, (n, k, 6), and squared misfits, m2, (n, k); those of TURNS in turn.

        Those of the smaller turn only where the skin turns by more nearby.
        """
        from panelcp.surface.scanning_kernels import adapted_fits

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        n, cosines, radii = len(nodes), np.cos(np.radians(TURNS)), np.array(BREADTHS)
        surfaces = np.zeros((n, 2, len(radii), 6))
        misfits = np.full((n, 2, len(radii)), np.nan)
        for k, chosen in enumerate((bent, np.ones(n, dtype=bool))):
            found = adapted_fits(nodes[chosen], self.rough, *around, self.edge, radii, cosines[k])
            surfaces[chosen, k], misfits[chosen, k] = found
        return surfaces.reshape(n, -1, 6), misfits.reshape(n, -1)

    def on_surfaces(self, surfaces, nodes, n: int) -> np.ndarray:
        """The n vertices of the half put onto the surfaces (len(nodes), 6) of the nodes."""
        from panelcp.surface.scanning_kernels import heights_on

        around = (self.places, self.normals, self.joined.starts, self.joined.links)
        row = np.full(len(self.places), -1)
        row[nodes] = np.arange(len(nodes))
        heights = heights_on(n, row, surfaces, *around, BREADTHS[-1] * self.edge)
        return self.places[:n] + heights[:, None] * self.normals[:n]

    def _row(self, known) -> np.ndarray:
        """(n_places,) int: which of the known vertices each place is, or is the image of."""
        row = np.full(len(self.places), -1)
        row[known] = np.arange(len(known))
        return row[self.image]


def _refitted(points, triangles, first, allowed: float) -> np.ndarray:
    """Vertices on the quadratic surfaces that foretell best, over their first estimates.

    `allowed`, m2, is what a broader surface may foretell worse because the noise is known.
    """
    n = len(points)
    skin = _with_mirror_image(points, first, triangles)
    nodes, bent = skin.nodes(n)
    surfaces, misfits = skin.fits(nodes, bent)
    risks = misfits
    for _ in range(2):
        risks = skin.pooled(risks, POOLED, nodes, nodes)
    possible = np.isfinite(misfits) & np.isfinite(risks)
    chosen = _foretelling_best(np.where(possible, risks, np.inf), allowed)
    shares = np.nan_to_num(skin.pooled(chosen, POOLED, nodes, nodes))
    shares = np.where(possible, shares, 0.0)
    shares /= np.maximum(shares.sum(axis=1, keepdims=True), 1e-300)
    surface = np.ascontiguousarray(np.einsum("nk,nkc->nc", shares, surfaces))
    fitted = skin.on_surfaces(surface, nodes, n)
    left = ((points - fitted) * skin.normals[:n]).sum(axis=1, keepdims=True)
    known = np.arange(n)
    for _ in range(EVENED):
        left, known = skin.pooled(left, POOLED, known, nodes), nodes
    surface[:, 0] += np.nan_to_num(left[:, 0]) / (BREADTHS[-1] * skin.edge[nodes])
    return skin.on_surfaces(surface, nodes, n)


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
