"""Places for text on a map: numbers on lines, labels beside marks, none over another.

All lengths here are points (1/72 inch) on the paper, counted from the lower left corner of
the axes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

_LABEL_DISTANCES = (12.0, 20.0, 30.0, 42.0, 58.0, 78.0, 104.0)
_TURNS = np.radians(np.arange(0, 360, 15))
_LABEL_WAYS = np.stack([np.cos(_TURNS), np.sin(_TURNS)], axis=1).tolist()
_MORE_TURNS = 3
_FAR, _COVER_COST = 50.0, 0.6  # a label goes 30 points further to leave the body free
_NUMBER_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
_NUMBER_GAP = 4.4  # points, between a number and its line: a dash must not look like a minus
_STRAIGHT = 0.95  # least chord / arc of the piece of line under a number
_LEAST_LENGTH = 3.5  # of a line, in widths of its number


@dataclass(frozen=True)
class Box:
    """Upright box on the paper."""

    left: float
    bottom: float
    right: float
    top: float

    @classmethod
    def around(cls, middle, half) -> Box:
        """Box of the half sizes (2,) `half` round the point `middle`."""
        return cls(*(np.asarray(middle) - half).tolist(), *(np.asarray(middle) + half).tolist())

    @property
    def middle(self) -> np.ndarray:
        """(2,) float."""
        return 0.5 * np.array([self.left + self.right, self.bottom + self.top])

    def overlaps(self, other: Box) -> bool:
        """Whether the two have area in common.

        >>> Box(0, 0, 2, 2).overlaps(Box(1, 1, 3, 3)), Box(0, 0, 1, 1).overlaps(Box(1, 0, 2, 1))
        (True, False)
        """
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    def inside(self, frame, gap: float = 1.0) -> bool:
        """Whether it lies in the frame (width, height), `gap` away from its border."""
        return (
            self.left > gap
            and self.bottom > gap
            and self.right < frame[0] - gap
            and self.top < frame[1] - gap
        )


@dataclass(frozen=True, eq=False)
class Paper:
    """How axes coordinates and points on the paper belong together, at one moment.

    Attributes
    ----------
    start : (2,) float, axes coordinates of the lower left corner
    per_point : (2,) float, axes units per point, negative where the axis runs backwards
    frame : (2,) float, width and height of the axes, points
    """

    start: np.ndarray
    per_point: np.ndarray
    frame: np.ndarray

    @classmethod
    def of(cls, axes) -> Paper:
        """The paper of a matplotlib Axes whose limits are final."""
        axes.apply_aspect()
        box = axes.get_position()
        frame = np.array([box.width, box.height]) * axes.figure.get_size_inches() * 72.0
        limits = np.array([axes.get_xlim(), axes.get_ylim()])
        return cls(limits[:, 0], (limits[:, 1] - limits[:, 0]) / frame, frame)

    def points(self, plane) -> np.ndarray:
        """(..., 2) points on the paper of axes coordinates."""
        return (np.asarray(plane) - self.start) / self.per_point

    def plane(self, points) -> np.ndarray:
        """(..., 2) axes coordinates of points on the paper."""
        return self.start + np.asarray(points) * self.per_point


@lru_cache(maxsize=4096)
def text_size(text: str, font: float) -> tuple[float, float]:
    """Width and height in points of one line of text of a font size."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    width, height, _ = text_to_path.get_text_width_height_descent(
        text, FontProperties(size=font), ismath=False
    )
    return float(width), float(height)


def wrapped(text: str, width: float, font: float) -> list[str]:
    """Lines of a text that fit into a width in points."""
    lines = []
    for paragraph in text.splitlines():
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}".strip()
            if line and text_size(longer, font)[0] > width:
                lines.append(line)
                longer = word
            line = longer
        lines.append(line)
    return lines


def steps(line) -> np.ndarray:
    """(n - 1,) float: lengths of the segments of a line."""
    return np.linalg.norm(np.diff(line, axis=0), axis=1)


@dataclass(frozen=True)
class NumberPlace:
    """Place of a number on a line: middle, angle in degrees, box, gap along the line."""

    middle: np.ndarray
    angle: float
    box: Box
    gap: tuple[float, float]


def number_place(line, size, taken: Sequence[Box], frame) -> NumberPlace | None:
    """Where a number of size (2,) fits on a line (n, 2); None where there is no room.

    The piece of line must be nearly straight, inside the frame and clear of `taken`.
    """
    length = np.concatenate([[0.0], np.cumsum(steps(line))])
    half = 0.5 * size[0] + _NUMBER_GAP
    if length[-1] < 2.0 * half * _LEAST_LENGTH:
        return None
    for share in _NUMBER_SHARES:
        gap = (share * length[-1] - half, share * length[-1] + half)
        start, end = _at(line, length, gap[0]), _at(line, length, gap[1])
        chord = end - start
        if np.hypot(*chord) < _STRAIGHT * 2.0 * half:
            continue
        middle = 0.5 * (start + end)
        box = Box.around(middle, 0.5 * np.abs(chord) + 0.6 * size[1])
        if box.inside(frame) and not any(box.overlaps(other) for other in taken):
            angle = (np.degrees(np.arctan2(chord[1], chord[0])) + 90.0) % 180.0 - 90.0
            return NumberPlace(middle, float(angle), box, gap)
    return None


def without_gap(line, gap) -> tuple[np.ndarray, np.ndarray]:
    """The parts of a line (n, 2) before and after a gap, given as lengths along it."""
    length = np.concatenate([[0.0], np.cumsum(steps(line))])
    before = np.vstack([line[length < gap[0]], _at(line, length, gap[0])])
    after = np.vstack([_at(line, length, gap[1]), line[length > gap[1]]])
    return before, after


def _at(line, length, place):
    return np.array([np.interp(place, length, line[:, 0]), np.interp(place, length, line[:, 1])])


@dataclass(frozen=True)
class LabelPlace:
    """Box of a label and its leader (2, 2): from the outline to the box."""

    box: Box
    leader: np.ndarray

    def __eq__(self, other) -> bool:
        return self.box == other.box  # the leader follows from it


def label_places(
    wanted: Sequence, outlines: Sequence[Box], taken: Sequence[Box], frame, covered
) -> list[LabelPlace | None]:
    """Places of all labels of a view: one after another, then those in conflict once more.

    Parameters
    ----------
    wanted : (size, outline) of each label, see `label_place`
    outlines, taken, frame, covered : see `label_place`

    Returns
    -------
    list of LabelPlace, None for labels that are larger than the frame
    """
    places: list[LabelPlace | None] = [None] * len(wanted)
    for turn in range(1 + _MORE_TURNS):
        before = list(places)
        for k, (size, outline) in enumerate(wanted):
            others = [place for place in places[:k] + places[k + 1 :] if place is not None]
            if turn and (places[k] is None or not _conflicts(places[k], outlines, others)):
                continue
            places[k] = label_place(size, outline, outlines, others, frame, covered, taken)
        if turn and places == before:
            break
    return places


def label_place(
    size,
    outline,
    outlines: Sequence[Box],
    placed: Sequence[LabelPlace],
    frame,
    covered: Callable[[Box], float],
    taken: Sequence[Box] = (),
) -> LabelPlace | None:
    """Where a label fits beside its mark: near, off the body, clear of the others.

    Parameters
    ----------
    size : (2,) float, of the label
    outline : (n, 2) float, points of the mark's outline
    outlines : boxes that should stay free: all marks
    placed : labels placed already; never covered if any free place is left
    frame : (2,) float, width and height of the axes
    covered : gives the share of a box that lies over the body
    taken : boxes as little to be covered as other labels

    Returns
    -------
    LabelPlace, or None when the label is larger than the frame
    """
    low, high = outline.min(axis=0), outline.max(axis=0)
    centre, half = 0.5 * (low + high), 0.5 * (high - low + size)
    (across, upward), (x, y), (half_x, half_y) = 0.5 * np.asarray(size), centre, half
    best, least = None, np.inf
    for distance in _LABEL_DISTANCES:
        if distance / _FAR >= least:
            break
        for way_x, way_y in _LABEL_WAYS:
            left = x + way_x * (half_x + distance) - across
            lower = y + way_y * (half_y + distance) - upward
            box = Box(left, lower, left + 2.0 * across, lower + 2.0 * upward)
            if not box.inside(frame):
                continue
            cost = distance / _FAR + _COVER_COST * covered(box)
            cost += 9.0 * any(box.overlaps(other) for other in taken)
            if cost >= least:
                continue
            place = LabelPlace(box, _leader(outline, centre, box))
            cost += _conflicts(place, outlines, placed)
            if cost < least:
                best, least = place, cost
    return best


def _leader(outline, centre, box):
    start = outline[np.argmin(((outline - box.middle) ** 2).sum(axis=1))]
    return np.array([start, np.clip(centre, [box.left, box.bottom], [box.right, box.top])])


def _conflicts(place, outlines, placed):
    """Penalty for covering marks and labels and for crossing leaders."""
    cost = 3.0 * sum(place.box.overlaps(other) for other in outlines)
    for other in placed:
        cost += 9.0 * place.box.overlaps(other.box)
        cost += 3.0 * (_hits(place.leader, other.box) + _hits(other.leader, place.box))
        cost += 2.0 * _cross(place.leader, other.leader)
    return cost


def _cross(first, second):
    """Whether two straight lines cross."""

    def side(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    p, q = first
    r, s = second
    return bool(side(p, q, r) * side(p, q, s) < 0.0 and side(r, s, p) * side(r, s, q) < 0.0)


def _hits(leader, box):
    """Whether a leader, straight from one point to another, runs through a box."""
    (x, y), (end_x, end_y) = leader.tolist()
    first, last = 0.0, 1.0
    for start, end, low, high in (
        (x, end_x, box.left, box.right),
        (y, end_y, box.bottom, box.top),
    ):
        way = end - start
        if way == 0.0:
            if not low < start < high:
                return False
            continue
        enter, leave = sorted(((low - start) / way, (high - start) / way))
        first, last = max(first, enter), min(last, leave)
    return first < last
