"""An opening's outline and marks on paper, with the error that laying the skin flat leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.flattening import stretches
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place
from panelcp.surface.skin_patch import WHOLE, SkinPatch, patch_round

MOST_ERROR, MOST_STRETCH = 1e-3, 0.02
"""m and parts: a template with a greater error of lengths or stretch is split."""

TOO_CURVED = 0.05
"""A stretch above this even in four pieces is refused."""

SPACING = 1 / 400
"""Of the points of the outline, parts of its way round."""

BEYOND = 0.012
"""m; the cross reaches so far over the outline."""

LINES_ACROSS, POINTS_ACROSS = 24, 61
LETTERS = "ABCDEFGH"
_QUARTERS = (-0.375, -0.125, 0.125, 0.375)


@dataclass(frozen=True)
class FlatErrors:
    """What paper cannot follow. Lengths along the skin are the yardstick.

    Attributes
    ----------
    along : m, largest error of a length between any two points of the outline, along it
    across : m, largest error of a length straight across
    shortest, longest : length on the paper over length on the skin, of the worst triangle and
        direction inside the outline
    area : area inside the outline on the paper over that on the skin
    girth : m, way round on the skin
    """

    along: float
    across: float
    shortest: float
    longest: float
    area: float
    girth: float

    @property
    def length(self) -> float:
        """m: the larger of the two errors of length."""
        return max(self.along, self.across)

    @property
    def stretch(self) -> float:
        """Greatest stretch or shrinkage, parts."""
        return max(self.longest - 1.0, 1.0 - self.shortest)

    @property
    def small(self) -> bool:
        """Whether a template need not be split."""
        return self.length <= MOST_ERROR and self.stretch <= MOST_STRETCH


@dataclass(frozen=True, eq=False)
class FlatPiece:
    """An opening, or a piece of a split one, on paper: x along it, y across it, seen from outside.

    Attributes
    ----------
    outline : closed by its first point, (n, 2) float, m
    outline_on_skin : the same points, (n, 3) float, m
    joint : (n,) bool, where the line from a point to the next is no cut but the joint to another
        piece
    cross : lines (k, 2) float, m, along and across through the centre
    levels : (name, line (k, 2) m) of constant station, butt line or waterline through the centre
    letters : (letter, place (2,) m) of the marks that meet those of another piece
    patch : SkinPatch
    errors : FlatErrors
    """

    outline: np.ndarray
    outline_on_skin: np.ndarray
    joint: np.ndarray
    cross: tuple[np.ndarray, ...]
    levels: tuple[tuple[str, np.ndarray], ...]
    letters: tuple[tuple[str, np.ndarray], ...]
    patch: SkinPatch
    errors: FlatErrors

    def __post_init__(self):
        for name in ("outline", "outline_on_skin"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "joint", frozen_array(self.joint, bool))


def flat_opening(skin: SkinFinder | SurfaceMesh, opening: Opening) -> tuple[FlatPiece, ...]:
    """Lay an opening flat, in one piece where that is good enough, else in two or four.

    Parameters
    ----------
    skin : SurfaceMesh, or a SkinFinder of it
    opening : laid onto it; of a mirrored pair the one, its twin is not looked at

    Returns
    -------
    tuple of FlatPiece
        One, two (split along the line through the centre that leaves the smaller error) or four.

    Raises
    ------
    SurfaceError : sharp fold or hole inside the outline; skin too tightly curved for paper
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    low, high, both = (-np.inf, 0.0), (0.0, np.inf), (-np.inf, np.inf)
    tries = (
        [[WHOLE]],
        [[(low, both), (high, both)], [(both, low), (both, high)]],
        [[(first, second) for first in (low, high) for second in (low, high)]],
    )
    for ways in tries:
        cut = [tuple(_flat_piece(finder, opening, piece) for piece in way) for way in ways]
        best = min(cut, key=lambda pieces: max(piece.errors.length for piece in pieces))
        if all(piece.errors.small for piece in best):
            return best
    worst = max(piece.errors.stretch for piece in best)
    if worst > TOO_CURVED:
        raise SurfaceError(
            f"opening {opening.name}: the skin at {format_place(opening.centre)} is too tightly "
            f"curved for paper: {100 * worst:.0f} % stretch even in four pieces (at most "
            f"{100 * TOO_CURVED:.0f} %). Mark it with a tape from the centre, or move it"
        )
    return best


def outline_places(opening: Opening, piece=WHOLE) -> tuple[np.ndarray, np.ndarray]:
    """Outline of an opening, or of a piece of it, in the opening's plane.

    Returns
    -------
    places : (n, 2) float, m, along and across from the centre, counter-clockwise
    joint : (n,) bool, where the line to the next point is where the opening was split
    """
    half = 0.5 * np.array([opening.length, opening.width])
    if opening.shape == "oval":
        angle = 2.0 * np.pi * np.arange(int(1 / SPACING)) * SPACING
        corners = half * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    else:
        corners = half * [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
    limits = np.clip(np.array(piece), -half[:, None], half[:, None])
    for axis in range(2):
        corners = _cut(corners, axis, limits[axis, 0], 1.0)
        corners = _cut(corners, axis, limits[axis, 1], -1.0)
    ahead = np.roll(corners, -1, axis=0)
    split = np.zeros(len(corners), dtype=bool)
    for axis in range(2):
        level = np.array(piece)[axis]
        for side in level[np.isfinite(level)]:
            split |= (corners[:, axis] == side) & (ahead[:, axis] == side)
    spacing = np.linalg.norm(ahead - corners, axis=1).sum() * SPACING
    places, joint = [], []
    for a, b, is_joint in zip(corners, ahead, split, strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / spacing - 1e-6)))
        places.append(a + (np.arange(count) / count)[:, None] * (b - a))
        joint += [is_joint] * count
    return np.concatenate(places), np.array(joint)


def _cut(corners: np.ndarray, axis: int, level: float, sign: float) -> np.ndarray:
    """Part of a convex polygon (n, 2) with sign * (place - level) >= 0."""
    kept = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        first, second = sign * (a[axis] - level), sign * (b[axis] - level)
        if first >= 0.0:
            kept.append(a)
        if first * second < 0.0:
            point = a + first / (first - second) * (b - a)
            point[axis] = level
            kept.append(point)
    return np.array(kept)


def _flat_piece(finder: SkinFinder, opening: Opening, piece) -> FlatPiece:
    patch = patch_round(finder, opening, piece)
    places, joint = outline_places(opening, piece)
    on_skin, paper = patch.projected(opening, places)
    missing = int(np.isnan(paper).any(axis=1).sum())
    if missing:
        raise SurfaceError(
            f"opening {opening.name}: {missing} of {len(paper)} points of its outline at "
            f"{format_place(opening.centre)} lie on no smooth skin round the centre; it reaches "
            "over a sharp edge or the rim of the body"
        )
    return FlatPiece(
        outline=paper,
        outline_on_skin=on_skin,
        joint=joint,
        cross=_cross(patch, opening, piece),
        levels=_levels(patch, opening),
        letters=_letters(patch, opening, piece),
        patch=patch,
        errors=_errors(patch, on_skin, paper),
    )


def _cross(patch: SkinPatch, opening: Opening, piece) -> tuple[np.ndarray, ...]:
    """Lines along and across through the centre, a little over the outline."""
    lines = []
    for axis, size in enumerate((opening.length, opening.width)):
        low, high = np.clip(piece[axis], -0.5 * size - BEYOND, 0.5 * size + BEYOND)
        places = np.zeros((POINTS_ACROSS, 2))
        places[:, axis] = np.linspace(low, high, POINTS_ACROSS)
        paper = patch.projected(opening, places)[1]
        lines.append(paper[np.isfinite(paper).all(axis=1)])
    return tuple(lines)


def _levels(patch: SkinPatch, opening: Opening) -> tuple[tuple[str, np.ndarray], ...]:
    """Lines of constant station, butt line, waterline through the centre, where they cross it."""
    lines = []
    for axis, name in enumerate(("STA", "BL", "WL")):
        if abs(opening.normal[axis]) > 0.7:
            continue
        level = float(opening.centre[axis])
        height = patch.vertices[:, axis] - level
        points = []
        for k in range(3):
            first, second = patch.triangles[:, k], patch.triangles[:, (k + 1) % 3]
            a, b = height[first], height[second]
            # every crossed edge of two triangles, once: from below to above
            crossed = (a < 0.0) & (b >= 0.0)
            share = (a[crossed] / (a[crossed] - b[crossed]))[:, None]
            start, end = patch.flat[first[crossed]], patch.flat[second[crossed]]
            points.append(start + share * (end - start))
        line = np.concatenate(points)
        along = np.linalg.svd(line - line.mean(axis=0), full_matrices=False)[2][0]
        lines.append((f"{name} {1e3 * level + 0.0:.0f}", line[np.argsort(line @ along)]))
    return tuple(lines)


def _letters(patch: SkinPatch, opening: Opening, piece) -> tuple[tuple[str, np.ndarray], ...]:
    """Marks on the joints; each letter is on the two pieces that meet there."""
    marks = []
    for axis, letters in ((0, LETTERS[:4]), (1, LETTERS[4:])):
        other = 1 - axis
        if not np.isfinite(piece[axis]).any():
            continue
        for letter, share in zip(letters, _QUARTERS, strict=True):
            place = np.zeros(2)
            place[other] = share * (opening.length, opening.width)[other]
            low, high = piece[other]
            if low <= place[other] <= high:
                marks.append((letter, patch.projected(opening, [place])[1][0]))
    return tuple(marks)


def _errors(patch: SkinPatch, on_skin, paper) -> FlatErrors:
    steps = [np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1) for line in (on_skin, paper)]
    stretch = stretches(patch.vertices, patch.triangles[patch.inside], patch.flat)
    return FlatErrors(
        along=_worst_along(steps[1] - steps[0]),
        across=max(abs(paper - skin) for paper, skin in lengths_across(patch, paper)),
        shortest=float(stretch.min()),
        longest=float(stretch.max()),
        area=_area_ratio(patch),
        girth=float(steps[0].sum()),
    )


def _worst_along(errors: np.ndarray) -> float:
    """Largest sum of errors (n,) over any run of steps of a closed line."""
    drift = np.cumsum(errors)
    between = drift[None, :] - drift[:, None]
    between[np.tril_indices(len(drift))] += drift[-1]
    return float(np.abs(between).max())


def lengths_across(patch: SkinPatch, outline: np.ndarray) -> Sequence[tuple[float, float]]:
    """Lengths of straight lines between points of the outline that lie opposite.

    Parameters
    ----------
    patch : SkinPatch
    outline : (n, 2) float, m, on its paper

    Returns
    -------
    (on the paper, on the skin), m, of every line; lines that leave the patch are left out

    Notes
    -----
    On the skin the image of the straight line is measured. The shortest way between its ends is
    shorter by the square of the stretch only.
    """
    n, lengths = len(outline), []
    share = np.linspace(0.0, 1.0, POINTS_ACROSS)[:, None]
    for k in range(LINES_ACROSS):
        first = k * n // (2 * LINES_ACROSS)
        a, b = outline[first], outline[(first + n // 2) % n]
        skin = patch.on_skin(a + share * (b - a))
        if np.isfinite(skin).all():
            way = np.linalg.norm(np.diff(skin, axis=0), axis=1).sum()
            lengths.append((float(np.linalg.norm(b - a)), float(way)))
    return lengths or [(0.0, 0.0)]


def _area_ratio(patch: SkinPatch) -> float:
    """Area on the paper over area on the skin, of the triangles inside the outline."""
    triangles = patch.triangles[patch.inside]
    a, b, c = np.moveaxis(patch.flat[triangles], 1, 0)
    u, v = b - a, c - a
    paper = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum()
    a, b, c = np.moveaxis(patch.vertices[triangles], 1, 0)
    return float(paper / (0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()))
