"""What unit and axes a file probably has: proposals for a person, never taken silently."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from panelcp.errors import SurfaceError
from panelcp.units import UNITS

PROPOSED_UNITS = ("m", "cm", "mm", "in", "ft")
SURE_LENGTHS = (("m", 1.0, 12.0), ("in", 40.0, 500.0), ("mm", 1000.0, 20000.0))
"""Longest dimension in the unit of the file that makes this unit sure (common practice)."""

_N_SAMPLES = 4000
_SAME_SYMMETRY = 0.004  # part of the diagonal: sides that differ by less are mirror images
_NO_SYMMETRY = 0.012  # part of the diagonal: sides that differ by more are none
_HALF = 0.85  # net over gross projected area of a half, seen across its plane
_END = 0.25  # part of the length that is an end
_CLOSED, _OPEN = 0.55, 0.35  # skin of an end seen along the axis, parts of its section
_WALL = 0.5  # part of the section that is one flat wall
_HUMP = 0.1  # part of the height by which a profile dips ahead of or behind a canopy
_SLICES = 24


@dataclass(frozen=True)
class AxesProposal:
    """Axes of a file that seem to point aft, right and up.

    Attributes
    ----------
    axes : (("aft", "+x"), ("right", "+y"), ("up", "+z")) or others
    confidence : for aft, right and up one of "likely", "unclear"
    reasons : for aft, right and up a few words
    """

    axes: tuple[tuple[str, str], ...]
    confidence: tuple[str, str, str]
    reasons: tuple[str, str, str]

    @property
    def option(self) -> str:
        """As the command line takes it: "+x,+y,+z"."""
        return ",".join(axis for _, axis in self.axes)

    def case_line(self) -> str:
        """The line for the [surface] table of a case."""
        inside = ", ".join(f'{word} = "{axis}"' for word, axis in self.axes)
        return f"axes = {{ {inside} }}"

    def line(self) -> str:
        """The proposal with how sure each direction is, and why."""
        words = [
            f"{word} {axis} {sure} ({reason})"
            for (word, axis), sure, reason in zip(
                self.axes, self.confidence, self.reasons, strict=True
            )
        ]
        return f"axes proposed from the shape: {'; '.join(words)}"

    def agrees(self, axes) -> bool:
        """Whether nothing that is likely speaks against other axes.

        Which side is right cannot be seen, so its sign does not count.
        """
        other = {word: _signed(axis) for word, axis in dict(axes).items()}
        for (word, axis), sure in zip(self.axes, self.confidence, strict=True):
            same = axis == other[word] or (word == "right" and axis[1] == other[word][1])
            if sure == "likely" and not same:
                return False
        return True


def _signed(axis: str) -> str:
    text = str(axis).strip().lower()
    return text if text[:1] in ("+", "-") else f"+{text}"


def propose_unit(vertices, stated: str | None = None) -> tuple[str | None, str]:
    """Length unit that the size of a surface suggests, or that the file states.

    Parameters
    ----------
    vertices : (n, 3) float, in the unit of the file
    stated : unit that the file states, if its format has one

    Returns
    -------
    unit : "m", "mm", "in", ... or None when no unit or no single one fits
    reason : why, for a person

    Examples
    --------
    >>> propose_unit(np.array([[0.0, 0, 0], [6900.0, 500, 900]]))
    ('mm', 'the surface is 6900 long')
    """
    require_finite(vertices)
    longest = float(np.ptp(vertices, axis=0).max())
    reason = f"the surface is {longest:.4g} long"
    if stated is not None:
        return stated, f"the file states it ({reason})"
    for unit, low, high in SURE_LENGTHS:
        if low <= longest <= high:
            return unit, reason
    fitting = fitting_units(longest)
    if not fitting:
        return None, f"{reason}: no usual length unit fits it; give --unit"
    sizes = [f"{unit} ({longest * UNITS['length'][unit]:.3g} m)" for unit in fitting]
    advice = " or ".join(f"--unit {unit}" for unit in fitting)
    return None, (
        f"{reason}: no usual length unit fits surely; perhaps {' or '.join(sizes)}: give {advice}"
    )


def fitting_units(longest: float) -> list[str]:
    """Units in which a longest dimension is that of a cowl with its fuselage."""
    return [u for u in PROPOSED_UNITS if 3.0 <= longest * UNITS["length"][u] <= 15.0]


def require_finite(vertices):
    """Refuse coordinates that are not finite numbers."""
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        raise SurfaceError(
            f"{np.count_nonzero(bad)} of {len(vertices)} vertices are not finite numbers "
            f"(first: vertex {np.flatnonzero(bad)[0]}); export the surface again"
        )


def propose_axes(vertices, triangles) -> AxesProposal:
    """Which axis of the file points aft, right and up, from the shape alone.

    Parameters
    ----------
    vertices : (n, 3) float, in the unit and axes of the file
    triangles : (m, 3) int; open, loose or half surfaces are taken as well

    Returns
    -------
    AxesProposal

    Raises
    ------
    SurfaceError : coordinates that are not finite, or a surface without extent or area

    Notes
    -----
    Right lies across the plane of symmetry (or the open plane of a half), aft is the longer of
    the other two axes. The nose is the closed end when the other is open, the end without a flat
    wall, else the fuller end, as on a tractor. Up is the side with a hump, as of a canopy. What
    cannot be told is taken along the axis of the file. The axes stay right-handed. All limits are
    common practice, no source.
    """
    skin = _Skin(vertices, triangles)
    right, sure_right, why_right = _symmetry_axis(skin)
    others = [k for k in range(3) if k != right]
    aft = max(others, key=lambda k: (skin.size[k], -k))
    up = 3 - right - aft
    ratio = skin.size[aft] / max(skin.size[up], 1e-30)
    sign_aft, sure_aft, why_aft = _nose(skin, aft, right, up)
    sure_aft = sure_aft if ratio > 1.25 else "unclear"
    sign_up, sure_up, why_up = _up(skin, aft, up)
    if sure_right == "unclear":
        sure_up = "unclear"
    frame = np.zeros((3, 3))
    frame[0, aft], frame[2, up] = sign_aft, sign_up
    frame[1] = np.cross(frame[2], frame[0])
    names = [f"{'+' if row.sum() > 0 else '-'}{'xyz'[np.argmax(np.abs(row))]}" for row in frame]
    return AxesProposal(
        axes=tuple(zip(("aft", "right", "up"), names, strict=True)),
        confidence=(sure_aft, sure_right, sure_up),
        reasons=(why_aft, why_right, why_up),
    )


class _Skin:
    """Area vectors, centroids and even samples of triangles, in parts of the diagonal."""

    def __init__(self, vertices, triangles):
        vertices = np.asarray(vertices, dtype=float)
        require_finite(vertices)
        corners = vertices[np.asarray(triangles)]
        low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
        with np.errstate(over="ignore", invalid="ignore"):
            diagonal = float(np.linalg.norm(high - low))
            corners = (corners - 0.5 * (low + high)) / (diagonal or 1.0)
            a, b, c = np.moveaxis(corners, 1, 0)
            self.vectors = 0.5 * np.cross(b - a, c - a)
        self.areas = np.linalg.norm(self.vectors, axis=1)
        if not 0.0 < diagonal < np.inf or not 0.0 < self.areas.sum() < np.inf:
            raise SurfaceError("the surface has no believable size; check the export")
        self.size = (high - low) / diagonal
        self.centroids = corners.mean(axis=1)
        self.samples = _even_samples(corners, self.areas)


def _even_samples(corners, areas) -> np.ndarray:
    """(n, 3) float: points spread over the skin by area, always the same ones."""
    random = np.random.default_rng(1)
    n = 4 * _N_SAMPLES
    share = np.cumsum(areas) / areas.sum()
    rows = np.searchsorted(share, (np.arange(n) + random.random(n)) / n)
    first, second = random.random((2, n))
    first, second = np.where(first + second > 1.0, (1.0 - first, 1.0 - second), (first, second))
    a, b, c = np.moveaxis(corners[np.minimum(rows, len(areas) - 1)], 1, 0)
    return a + first[:, None] * (b - a) + second[:, None] * (c - a)


def _symmetry_axis(skin: _Skin) -> tuple[int, str, str]:
    """Axis across the plane of symmetry, how sure, and why."""
    net = np.abs(skin.vectors.sum(axis=0)) / np.maximum(np.abs(skin.vectors).sum(axis=0), 1e-12)
    longest = int(np.argmax(skin.size))
    halves = [k for k in range(3) if net[k] > _HALF and k != longest]
    if len(halves) == 1:
        return halves[0], "likely", "open at one plane: a half"
    misfit = np.array([_mirror_misfit(skin.samples, k) for k in range(3)])
    fitting = [k for k in range(3) if misfit[k] < max(_SAME_SYMMETRY, 1.3 * misfit.min())]
    words = f"left and right differ least across it, by {100 * misfit.min():.1f} % of the size"
    if len(fitting) == 1:
        sure = "likely" if misfit.min() < _NO_SYMMETRY else "unclear"
        return fitting[0], sure, words
    usual = {0: (1, 2, 0), 1: (0, 2, 1), 2: (0, 1, 2)}[longest]
    chosen = next(k for k in usual if k in fitting)
    return chosen, "unclear", "several planes of symmetry, taken as is usual"


def _mirror_misfit(samples, axis: int) -> float:
    """Median distance of mirrored points from the skin beyond that of the sampling itself."""
    half = len(samples) // 2
    kept, moved = samples[::2], samples[1::2]
    tree = cKDTree(kept)
    mirror = np.ones(3)
    mirror[axis] = -1.0
    own = np.sort(tree.query(moved)[0])
    distance = np.sort(tree.query(moved * mirror)[0])
    top = slice(half // 2, int(0.95 * half))
    return float(max(np.mean(distance[top] - own[top]), 0.0))


def _nose(skin: _Skin, aft: int, right: int, up: int) -> tuple[float, str, str]:
    """+1 when the least coordinate is the nose, how sure, and why."""
    low, high = _end_facts(skin, aft, right, up, -1.0), _end_facts(skin, aft, right, up, 1.0)
    for front, rear, sign in ((low, high, 1.0), (high, low, -1.0)):
        if front["cover"] > _CLOSED and rear["cover"] < _OPEN:
            return sign, "likely", "the long side; its other end is open"
    for front, rear, sign in ((low, high, 1.0), (high, low, -1.0)):
        if rear["wall"] > _WALL and front["wall"] < 0.5 * rear["wall"]:
            return sign, "likely", "the long side; its other end is a flat wall"
    fuller = low["section"] / max(high["section"], 1e-12)
    sure = "likely" if max(fuller, 1.0 / max(fuller, 1e-12)) > 1.5 else "unclear"
    if sure == "unclear":
        return 1.0, sure, "the long side; both ends are about as full"
    return (1.0 if fuller > 1.0 else -1.0), sure, "the long side; the fuller end taken as nose"


def _end_facts(skin: _Skin, aft: int, right: int, up: int, sign: float) -> dict[str, float]:
    """Mean section of an end, and of it the parts covered by skin and by one flat wall."""
    length = skin.size[aft]
    limit = (0.5 - _END) * length
    inside = sign * skin.samples[:, aft] > limit
    section, at_limit = _mean_section(skin, aft, right, up, sign)
    near = sign * skin.centroids[:, aft] > limit
    facing = np.abs(skin.vectors[near, aft])
    flat = (facing > 0.985 * skin.areas[near]) & (sign * skin.centroids[near, aft] > 0.46 * length)
    area = max(at_limit, 1e-12)
    cover = facing.sum() / area if inside.any() else 0.0
    return {"section": section, "cover": cover, "wall": facing[flat].sum() / area}


def _mean_section(skin: _Skin, aft: int, right: int, up: int, sign: float) -> tuple[float, float]:
    """Mean size of the sections of an end, and the size where it begins, as ellipses."""
    place = (sign * skin.samples[:, aft] / skin.size[aft] + 0.5) * _SLICES
    first = int(_SLICES * (1.0 - _END))
    found = []
    for k in range(first, _SLICES):
        points = skin.samples[(place >= k) & (place < k + 1)][:, [right, up]]
        spread = np.ptp(points, axis=0) if len(points) > 2 else np.zeros(2)
        found.append(np.pi / 4.0 * float(spread.prod()))
    return float(np.mean(found)), found[0]


def _up(skin: _Skin, aft: int, up: int) -> tuple[float, str, str]:
    """Sign of the side with the hump of a canopy, how sure, and why."""
    above, below = _dip(skin, aft, up, 1.0), _dip(skin, aft, up, -1.0)
    deeper, other = max(above, below), min(above, below)
    if deeper > _HUMP and deeper > 2.5 * other:
        return (1.0 if above > below else -1.0), "likely", "a hump on that side, as a canopy"
    return 1.0, "unclear", "no hump of a canopy to tell by"


def _dip(skin: _Skin, aft: int, up: int, sign: float) -> float:
    """Deepest place of one side's profile below its chords, parts of the height."""
    place = (skin.samples[:, aft] / skin.size[aft] + 0.5) * _SLICES
    slices = np.clip(place.astype(int), 0, _SLICES - 1)
    profile = np.full(_SLICES, -np.inf)
    np.maximum.at(profile, slices, sign * skin.samples[:, up])
    at = np.flatnonzero(np.isfinite(profile))
    x, z = at.astype(float), profile[at]
    step = x[None, :, None] - x[:, None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (x - x[:, None, None]) / step
        chord = z[:, None, None] + share * (z[None, :, None] - z[:, None, None])
    chord[~((share > 0.0) & (share < 1.0))] = -np.inf
    return float((chord.max(axis=(0, 1)) - z).max() / max(skin.size[up], 1e-12))


def require_stated(vertices, triangles, stated: str | None, unit: str | None, axes):
    """Stop with a proposal when a case does not say what unit and axes its mesh has.

    Parameters
    ----------
    vertices : (n, 3) float, in the unit and axes of the file
    triangles : (m, 3) int
    stated : unit that the file states, or None
    unit, axes : as the case gives them, None where it does not

    Raises
    ------
    SurfaceError : unit or axes not given; names the lines to write into [surface]
    """
    if unit is not None and axes is not None:
        return
    proposal = propose_axes(vertices, triangles)
    chosen = proposal.axes if axes is None else axes
    proposed, reason = (unit, "") if unit is not None else propose_unit(vertices, stated)
    lines = [f"with them it is {size_words(vertices, triangles, chosen, proposed)}"]
    if unit is None:
        lines.append(f"unit: {reason.partition('; give --unit')[0].partition(': give --unit')[0]}")
    if axes is None:
        lines.append(proposal.line())
    lines.append("if that is right, write into [surface]:")
    if unit is None:
        lines.append(f'unit = "{proposed or fallback_unit(vertices)}"')
    if axes is None:
        lines.append(proposal.case_line())
    missing = " and ".join(w for w, v in (("unit", unit), ("axes", axes)) if v is None)
    raise SurfaceError("\n  ".join([f"{missing} of the mesh not stated", *lines]))


def fallback_unit(vertices) -> str:
    """A unit to show in a line that a person must decide on."""
    fitting = fitting_units(float(np.ptp(vertices, axis=0).max()))
    return fitting[0] if fitting else "mm"


def size_words(vertices, triangles, axes, unit: str | None) -> str:
    """Length, width and height in m, or in the unit of the file when its unit is not known."""
    used = np.asarray(vertices)[np.unique(triangles)]
    size = np.ptp(used, axis=0) * (UNITS["length"][unit] if unit else 1.0)
    order = ["xyz".index(_signed(axis)[1]) for axis in dict(axes).values()]
    length, width, height = size[order]
    metres = " m" if unit else ""
    return f"{length:.4g}{metres} long, {width:.4g}{metres} wide, {height:.4g}{metres} high"
