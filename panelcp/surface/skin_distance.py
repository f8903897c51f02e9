"""How far it is along the skin: what a builder reads off a tape."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.errors import SurfaceError
from panelcp.surface.curved import curved_panels, evaluate
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.opening import Opening
from panelcp.surface.rays import SkinFinder
from panelcp.surface.repair import format_place

DIRECTIONS = 720
"""Directions that are tried from a point, half a degree apart."""

CLOSER = 21
"""Directions in each of two closer looks about the best."""

FLAT = 0.25
"""An opening whose normal is steeper to the vertical than this cosine looks neither up nor down."""

PIECES = 4
"""Straight pieces that measure the way over one curved patch."""

STEEPEST = 0.1
"""A way nearly along the plane is not made longer to meet it."""

ON_LINE = 5e-4
"""m; nearer to the centre line than this a mark lies on it."""

TOUCHING = 1e-6
"""m; so near to a plane a point lies in it."""


@dataclass(frozen=True)
class TapeDistances:
    """Where the centre of an opening lies, measured with a tape pressed onto the skin.

    Attributes
    ----------
    centre_line : m, the shortest way along the skin to BL 0
    side : "top" or "bottom": the centre line that was measured to
    firewall : m, the shortest way along the skin to the plane of the firewall, negative for a
        centre behind it; None when no station of the firewall is known
    hand : "left" or "right" of the centre line, as the pilot sees it; "" on it
    """

    centre_line: float
    side: str
    firewall: float | None = None
    hand: str = ""

    def text(self) -> str:
        """What a builder reads off the tape.

        Examples
        --------
        >>> TapeDistances(0.2221, "top", 0.31, "left").text()
        '222 mm to the left of the top centre line, 310 mm ahead of the firewall'
        >>> TapeDistances(0.0, "bottom", -0.05).text()
        'on the bottom centre line, 50 mm behind the firewall'
        """
        text = f"on the {self.side} centre line"
        if self.centre_line >= ON_LINE:
            way = f"to the {self.hand} of" if self.hand else "from"
            text = f"{1e3 * self.centre_line:.0f} mm {way} the {self.side} centre line"
        if self.firewall is not None:
            where = "ahead of" if self.firewall >= 0.0 else "behind"
            text += f", {1e3 * abs(self.firewall):.0f} mm {where} the firewall"
        return text


def tape_distances(
    skin: SkinFinder | SurfaceMesh, opening: Opening, firewall_station: float | None = None
) -> TapeDistances:
    """Distances of an opening's centre from the centre line and from the firewall.

    Parameters
    ----------
    skin : SurfaceMesh, or a SkinFinder of it (faster for many openings)
    opening : laid onto the skin
    firewall_station : m, of the firewall's plane, when it is known

    Returns
    -------
    TapeDistances

    Raises
    ------
    SurfaceError : no way along the skin leads to the centre line, or to the firewall

    Notes
    -----
    A builder holds one end of a tape on the mark, swings the other along the line and keeps the
    least reading. That is the shortest way along the skin, not the girth in the section of one
    station: on a cowl that tapers they differ by little. Over a hollow the tape is pressed onto
    the skin. An opening that looks up is measured to the top centre line, one that looks down to
    the bottom one, one that looks to the side to the nearer one.

    The shortest way is straight on every panel and goes straight on over every edge; the least
    of the ways in all directions is taken, and measured on the curved patches over the panels.
    """
    finder = skin if isinstance(skin, SkinFinder) else SkinFinder(skin)
    start, panel, _ = finder.nearest(opening.centre)
    vertical = float(opening.normal[2])
    sides = ("top", "bottom") if abs(vertical) < FLAT else (("bottom", "top")[vertical > 0.0],)
    if abs(start[1]) <= TOUCHING:
        centre_line, side = 0.0, ("bottom", "top")[vertical > 0.0]
    else:
        ways = [(_shortest(finder, start, panel, 1, 0.0, side), side) for side in sides]
        centre_line, side = min(ways)
    _require_way(opening, centre_line, f"the {' or '.join(sides)} centre line")
    firewall = None
    if firewall_station is not None:
        ahead = firewall_station - float(start[0])
        firewall = 0.0
        if abs(ahead) > TOUCHING:
            way = _shortest(finder, start, panel, 0, firewall_station)
            firewall = float(np.copysign(way, ahead))
        _require_way(opening, firewall, f"the firewall at STA {1e3 * firewall_station:.0f} mm")
    hand = "" if centre_line == 0.0 else "right" if start[1] > 0.0 else "left"
    return TapeDistances(centre_line, side, firewall, hand)


def _require_way(opening: Opening, way: float, where: str):
    if not np.isfinite(way):
        raise SurfaceError(
            f"opening {opening.name} at {format_place(opening.centre)}: no way along the skin "
            f"leads straight to {where}; check its place, and the station of the firewall"
        )


def _shortest(finder, start, panel, axis, level, side: str = "") -> float:
    """m: shortest straight way to a plane, inf when none leads there."""
    surface = finder.surface
    first = surface.corners[panel, 1] - surface.corners[panel, 0]
    first /= np.linalg.norm(first)
    second = np.cross(surface.normals[panel], first)
    # copies, so that the compiled loop meets one kind of array only
    arrays = [np.array(v) for v in (surface.vertices, surface.triangles, surface.edge_neighbours)]
    target = np.array(start, dtype=float), int(panel), axis, float(level)
    step = 2.0 * np.pi / DIRECTIONS
    angles, best, longest = step * np.arange(DIRECTIONS), None, 4.0 * float(surface.size.max())
    for _ in range(3):
        directions = np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second
        ways = _ways(surface, target, directions, arrays, side, longest)
        least = int(np.argmin(ways))
        if not np.isfinite(ways[least]):
            break
        if best is None or ways[least] < best[0]:
            best = float(ways[least]), directions[least]
        angles = angles[least] + step * np.linspace(-1.0, 1.0, CLOSER)
        step, longest = 2.0 * step / (CLOSER - 1), 1.01 * best[0]
    return np.inf if best is None else _on_patches(surface, target, best[1], arrays, longest)


def _ways(surface: SurfaceMesh, target, directions, arrays, side, longest) -> np.ndarray:
    """(n,) m: straight ways to a plane, inf for those that arrive on the wrong side or never."""
    from panelcp.surface.skin_distance_kernels import straight_ways

    start, panel, axis, level = target
    way, arrival = straight_ways(start, panel, directions, axis, level, *arrays, longest)
    if side:
        upward = surface.normals[arrival, 2] > 0.0
        way[upward != (side == "top")] = np.inf
    return way


def _on_patches(surface: SurfaceMesh, target, direction, arrays, longest) -> float:
    """m: length of a straight way when it is lifted from the panels onto their curved patches."""
    from panelcp.surface.skin_distance_kernels import one_way

    start, panel, axis, level = target
    points, panels = one_way(
        start, panel, direction, axis, level, *arrays, longest, surface.n_panels
    )
    share = np.linspace(0.0, 1.0, PIECES + 1)[:, None, None]
    flat = points[:-1] + share * (points[1:] - points[:-1])
    coefficients = curved_panels(surface).coefficients[panels]
    lifted = np.array(
        [evaluate(coefficients, *_coordinates(surface.corners[panels], row)) for row in flat]
    )
    pieces = lifted[1:] - lifted[:-1]
    lengths = np.linalg.norm(pieces, axis=2)
    # lifting moves the end a little off the plane
    missing = level - lifted[-1, -1, axis]
    slope = pieces[-1, -1, axis] / max(lengths[-1, -1], 1e-300)
    beyond = missing / slope if abs(slope) > STEEPEST else 0.0
    return float(lengths.sum() + beyond)


def _coordinates(corners, points) -> tuple[np.ndarray, np.ndarray]:
    """xi and eta, (n,) each, of points on flat triangles: shares of the second and third corner."""
    a, b, c = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    aa, ab, bb = ((u * v).sum(axis=1) for u, v in ((a, a), (a, b), (b, b)))
    ca, cb = (c * a).sum(axis=1), (c * b).sum(axis=1)
    area = aa * bb - ab * ab
    return (ca * bb - cb * ab) / area, (cb * aa - ca * ab) / area
